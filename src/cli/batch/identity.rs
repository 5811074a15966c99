//! The hash of all that a frame's picture depends on: it tells what is up to date.

use super::super::exit::Failure;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use swatchlight::figure::FIGURE_VERSION;
use swatchlight::optics::trace::TRACER_VERSION;
use swatchlight::render::driver::Goal;
use swatchlight::render::gpu;
use swatchlight::scene::models::Models;
use swatchlight::setup::Setup;
use swatchlight::setup::list::Frame;

/// Files beside a model that are larger are none of its own.
const READ_WHOLE: u64 = 64 << 20;

/// The hash, in hexadecimal digits.
///
/// # Errors
/// When a model's file cannot be read.
pub fn identity(
    frame: &Frame,
    setup: &Setup,
    models: &Models,
    goal: Goal,
    exact: bool,
) -> Result<String, Failure> {
    let mut hash = Sha256::new();
    let mut add = |what: &str, bytes: &[u8]| {
        hash.update((what.len() as u64).to_le_bytes());
        hash.update(what);
        hash.update((bytes.len() as u64).to_le_bytes());
        hash.update(bytes);
    };
    add("program", env!("CARGO_PKG_VERSION").as_bytes());
    add("kernels", gpu::source(1, 1).as_bytes());
    add(
        "versions",
        format!("{FIGURE_VERSION} {TRACER_VERSION}").as_bytes(),
    );
    add("goal", format!("{goal:?} {exact}").as_bytes());
    // As written, since the picture carries it; and as read, modifiers and far fields among it.
    add("text", frame.setup_toml.as_bytes());
    add("setup", format!("{setup:?}").as_bytes());
    for file in files(setup, models) {
        let bytes = fs::read(&file).map_err(|e| {
            Failure::working(format!("cannot read the model {}: {e}", file.display()))
        })?;
        // Its name, not its folder: another machine may keep it elsewhere.
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        add(&name, &bytes);
    }
    Ok(hash.finalize().iter().map(|b| format!("{b:02x}")).collect())
}

/// The files of the figure, its pose, its garments and all cloth, with what lies beside them and is named
/// in them (meshes, maps, drafts).
fn files(setup: &Setup, models: &Models) -> BTreeSet<PathBuf> {
    let mut wanted: Vec<(&str, &str)> = Vec::new();
    if let Some(figure) = &setup.figure {
        let spec = &figure.spec;
        wanted.extend([("figures", spec.model.as_str()), ("poses", &spec.pose)]);
        for worn in &spec.garments {
            wanted.extend([
                ("garments", worn.garment.as_str()),
                ("fabrics", &worn.fabric),
            ]);
        }
        wanted.push(("fabrics", &spec.fabric));
    }
    wanted.extend(setup.swatch.iter().map(|s| ("fabrics", s.fabric.as_str())));
    let mut found = BTreeSet::new();
    for (folder, name) in wanted {
        let file = |root: &PathBuf| root.join(folder).join(format!("{name}.toml"));
        if let Some(path) = models.roots().iter().map(file).find(|p| p.is_file()) {
            found.extend(named_in(&path));
            found.insert(path);
        }
    }
    found
}

/// Files that a data file names and that lie beside it.
fn named_in(path: &Path) -> Vec<PathBuf> {
    let text = fs::read_to_string(path).unwrap_or_default();
    let Ok(table) = text.parse::<toml::Table>() else {
        return Vec::new();
    };
    let mut names = Vec::new();
    texts(&toml::Value::Table(table), &mut names);
    let folder = path.parent().unwrap_or(Path::new(""));
    names
        .into_iter()
        .filter(|n| n.contains('.') && n.len() < 256)
        .map(|n| folder.join(n))
        .filter(|p| fs::metadata(p).is_ok_and(|m| m.is_file() && m.len() <= READ_WHOLE))
        .collect()
}

fn texts(value: &toml::Value, into: &mut Vec<String>) {
    match value {
        toml::Value::String(text) => into.push(text.clone()),
        toml::Value::Array(list) => list.iter().for_each(|v| texts(v, into)),
        toml::Value::Table(table) => table.values().for_each(|v| texts(v, into)),
        _ => {}
    }
}
