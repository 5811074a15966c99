//! `fabric`: the fabrics there are, what one is, and new ones from drafts and photographs.

mod import;
mod photograph;
mod written;

pub use import::import;
pub use photograph::photograph;

use super::cache;
use super::exit::{Exit, Failure};
use super::resolved::{Executing, FabricRun};
use super::table::{Table, WIDEST};
use super::voice::Voice;
use super::words::significant;
use serde::Serialize;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use swatchlight::fabric::draft::write_wif;
use swatchlight::fabric::{Fabric, Structure};
use swatchlight::measure::fabric_page::{
    FabricPage, Looking, PageError, draft_of, fabric_page, pictures, structure_word, weave_word,
};
use swatchlight::render::choose::choose;
use swatchlight::render::steady::Steady;
use swatchlight::report::drawing::write_drawing;
use swatchlight::report::{WholeFile, fabric_page as page_drawing};
use swatchlight::scene::cloth::Shelf;
use swatchlight::scene::models::{ModelError, Models};

/// Larger than any fabric file should be.
const LONGEST_TEXT: u64 = 1 << 20;
/// Pictures that figures are read from, and that a page shows.
const READ: usize = 4;
const SHOWN: usize = 4;

/// All fabrics.
#[derive(Debug, Serialize)]
struct Listing {
    fabrics: Vec<Listed>,
}

#[derive(Debug, Serialize)]
struct Listed {
    name: String,
    title: Option<String>,
    structure: Option<&'static str>,
    /// Of a woven one.
    weave: Option<String>,
    /// Why it cannot be used.
    error: Option<String>,
}

/// Lists the fabrics, or works out one's data page and reports it.
///
/// # Errors
/// An unknown name, a faulty file, a picture that cannot be made or written.
pub fn fabric(run: &FabricRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    // Paths as typed start from the working folder.
    let models = Models::for_setup(Path::new("fabric.toml"));
    match &run.name {
        None => list(&models, voice),
        Some(name) => show(run, name, &models, voice),
    }
}

fn show(
    run: &FabricRun,
    typed: &str,
    models: &Models,
    voice: &Arc<Voice>,
) -> Result<Exit, Failure> {
    let (name, fabric) = find(models, typed)?;
    // What would keep files from being written is said before any light is traced; they are opened
    // anew after that, so that an interruption leaves nothing.
    for path in run.out.iter().map(|(path, _)| path).chain(&run.wif) {
        drop(WholeFile::open(path, run.overwrite)?);
    }
    if let Some(path) = &run.wif {
        let Structure::Woven(cloth) = &fabric.structure else {
            return Err(Failure::wrong(
                format!("{name} is not woven, so it has no weave to write"),
                "leave out --wif",
            ));
        };
        let draft = draft_of(&fabric.title, cloth).map_err(|e| unusable(&name, &e))?;
        let file = WholeFile::open(path, run.overwrite)?;
        let shown = file.path().display().to_string();
        commit(file, write_wif(&draft).as_bytes())?;
        voice.note(&format!(
            "weave of {} ends and {} picks written to {shown}",
            draft.ends(),
            draft.picks()
        ));
        if run.out.is_none() {
            if voice.json() {
                voice.print_json(&serde_json::json!({
                    "fabric": name, "wif": shown, "ends": draft.ends(), "picks": draft.picks()
                }))?;
            }
            return Ok(Exit::Done);
        }
    }
    let page = worked_out(run, &name, &fabric, voice)?;
    if voice.json() {
        voice.print_json(&page)?;
    } else {
        voice.print(&text(&page))?;
    }
    Ok(Exit::Done)
}

/// The page's figures; its pictures are made and drawn where that is asked for.
fn worked_out(
    run: &FabricRun,
    name: &str,
    fabric: &Fabric,
    voice: &Arc<Voice>,
) -> Result<FabricPage, Failure> {
    let mut executor = open(&run.executing, voice)?;
    let all = READ + if run.out.is_some() { SHOWN } else { 0 };
    let mut done = 0;
    let mut told = |what: &str, now: &swatchlight::render::driver::Progress| {
        voice.stage((done as f64 + now.done) / all as f64, what);
        if now.done >= 1.0 {
            done += 1;
        }
    };
    let stop = AtomicBool::new(false);
    let shelf = Shelf::new(cache::folder(&run.executing));
    let mut looking = Looking {
        executor: &mut executor,
        shelf: &shelf,
        samples: run.samples,
        stop: &stop,
        told: &mut told,
    };
    let failed = |e: PageError| match e {
        PageError::Executor(e) => e.into(),
        other => unusable(name, &other),
    };
    let page = fabric_page(name, fabric, &mut looking).map_err(failed)?;
    if let Some((path, format)) = &run.out {
        let side = page_drawing::picture_pixels(fabric);
        let shots = pictures(fabric, side, &mut looking).map_err(failed)?;
        voice.end_progress();
        let drawing = page_drawing::draw(fabric, &page, &shots).map_err(|e| unusable(name, &e))?;
        let file = WholeFile::open(path, run.overwrite)?;
        let path = file.path().display().to_string();
        write_drawing(file, *format, &drawing)?;
        voice.note(&format!("drawn into {path}"));
    }
    voice.end_progress();
    Ok(page)
}

fn open(executing: &Executing, voice: &Arc<Voice>) -> Result<Steady, Failure> {
    if executing.threads > 0 {
        // It fails only where a pool is there already, which is as good.
        let _ = rayon::ThreadPoolBuilder::new()
            .num_threads(executing.threads)
            .build_global();
    }
    let chosen = choose(executing.wish, executing.threads)?;
    let telling = Arc::clone(voice);
    Ok(Steady::new(chosen, executing.threads, move |text| {
        telling.note(&format!("warning: {text}"));
    }))
}

fn unusable(name: &str, error: &dyn std::fmt::Display) -> Failure {
    Failure::wrong(
        format!("{name}: {error}"),
        "docs/fabrics.md lists every key with its unit",
    )
}

/// A file's whole content, and the file in its place.
fn commit(file: WholeFile, bytes: &[u8]) -> Result<(), Failure> {
    let failed = |e: std::io::Error| {
        Failure::working(format!("cannot write {}: {e}", file.path().display()))
    };
    file.writer().write_all(bytes).map_err(failed)?;
    Ok(file.commit()?)
}

/// A fabric by its name, or by its file's path; and the name to call it by.
fn find(models: &Models, typed: &str) -> Result<(String, Fabric), Failure> {
    if !typed.contains(['/', '\\', '.']) {
        let found = models.fabric(typed).map_err(|e| missing(&e))?;
        return Ok((typed.to_owned(), found));
    }
    let path = PathBuf::from(typed);
    let name = path
        .file_stem()
        .map_or(typed.to_owned(), |n| n.to_string_lossy().into_owned());
    Ok((name, read_file(&path)?))
}

/// Reads a fabric's file.
fn read_file(path: &Path) -> Result<Fabric, Failure> {
    let text = read_text(path, "the name of a fabric, or a fabric file's path")?;
    let beside = |name: &str| {
        let file = path.with_file_name(name);
        fs::read(&file).map_err(|e| format!("cannot read {}: {e}", file.display()))
    };
    Fabric::parse(&text, &beside).map_err(|e| unusable(&path.display().to_string(), &e))
}

/// Reads a small text file.
fn read_text(path: &Path, wanted: &str) -> Result<String, Failure> {
    let shown = path.display();
    let size = fs::metadata(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => Failure::wrong(
            format!("there is no file {shown}"),
            format!("give {wanted}"),
        ),
        _ => Failure::wrong(
            format!("cannot read {shown}: {e}"),
            format!("give {wanted}"),
        ),
    })?;
    if size.is_dir() || size.len() > LONGEST_TEXT {
        return Err(Failure::wrong(
            format!("{shown} is no such file"),
            format!("give {wanted}"),
        ));
    }
    fs::read_to_string(path)
        .map_err(|e| Failure::wrong(format!("{shown}: {e}"), format!("give {wanted}")))
}

fn missing(error: &ModelError) -> Failure {
    match error {
        ModelError::Unreadable { path, reason } => unusable(&path.display().to_string(), reason),
        ModelError::Unknown { name, known, .. } => {
            let like = |known: &&String| {
                !name.is_empty() && (known.contains(name) || name.contains(known.as_str()))
            };
            let near: Vec<&str> = known.iter().filter(like).map(String::as_str).collect();
            let hint = if near.is_empty() {
                "swatchlight fabric lists all there are".to_owned()
            } else {
                format!("did you mean {}?", near.join(" or "))
            };
            Failure::wrong(format!("there is no fabric \"{name}\""), hint)
        }
        ModelError::Stopped(_) => Failure::interrupted(error.to_string()),
    }
}

fn list(models: &Models, voice: &Voice) -> Result<Exit, Failure> {
    let listed: Vec<Listed> = models
        .list("fabrics")
        .into_iter()
        .map(|name| match models.fabric(&name) {
            Ok(fabric) => Listed {
                name,
                title: Some(fabric.title.clone()),
                structure: Some(structure_word(&fabric.structure)),
                weave: match &fabric.structure {
                    Structure::Woven(cloth) => Some(weave_word(cloth)),
                    _ => None,
                },
                error: None,
            },
            Err(error) => Listed {
                name,
                title: None,
                structure: None,
                weave: None,
                error: Some(match error {
                    ModelError::Unreadable { reason, .. } => reason,
                    other => other.to_string(),
                }),
            },
        })
        .collect();
    if voice.json() {
        voice.print_json(&Listing { fabrics: listed })?;
        return Ok(Exit::Done);
    }
    let mut table = Table::new(["fabric", "structure", "what it is"]);
    for f in &listed {
        let structure = match (f.structure, &f.weave) {
            (Some(word), Some(weave)) => format!("{word}, {}", super::table::name(weave)),
            (word, _) => word.unwrap_or("?").to_owned(),
        };
        let what = match (&f.error, &f.title) {
            (Some(error), _) => format!("cannot be used: {error}"),
            (None, title) => title.clone().unwrap_or_default(),
        };
        table.row([f.name.as_str(), &structure, &what]);
    }
    voice.print(&table.render(120))?;
    voice.note("swatchlight fabric NAME shows what light makes of one");
    Ok(Exit::Done)
}

/// The page, in blocks.
fn text(page: &FabricPage) -> String {
    let mut out = format!("{} ({}, {})\n", page.title, page.fabric, page.structure);
    if let Some(w) = &page.woven {
        out += &format!("weave {}\n", w.weave);
    }
    for block in page_drawing::blocks(page) {
        let header = [block.heading.to_owned()]
            .into_iter()
            .chain(block.columns.iter().map(|c| (*c).to_owned()));
        let mut table = Table::new(header);
        for (name, values) in block.rows {
            table.row([format!("  {name}")].into_iter().chain(values));
        }
        out.push('\n');
        out += &table.render(WIDEST);
    }
    let g = &page.geometry;
    let over = match g.over_ground {
        Some(ground) => format!(
            " The cloth is sheer: these figures are over a ground of {}.",
            significant(ground, 2)
        ),
        None => String::new(),
    };
    out += &wrapped(&format!(
        "{}: standard deviation over mean, of {} mm flat at {} pixels per mm; relief: all in one reflectance, \
         {}; as light as: the median, under a light that shows a card of 18 % as 18 %.{over}",
        page_drawing::contrast_word(page),
        significant(g.read_mm, 3),
        significant(g.pixels_per_mm, 3),
        significant(f64::from(g.relief_reflectance), 2)
    ));
    out.push('\n');
    for warning in &page.warnings {
        out += &wrapped(&format!("warning: {warning}"));
    }
    if let Some(found) = &page.moire {
        out += &wrapped(&page_drawing::moire_words(found));
    }
    out.trim_end().to_owned() + "\n"
}

/// In lines that fit a terminal.
fn wrapped(words: &str) -> String {
    let mut out = String::new();
    let mut used = 0;
    for word in words.split_whitespace() {
        let length = word.chars().count();
        if used > 0 && used + 1 + length > WIDEST {
            out.push('\n');
            used = 0;
        } else if used > 0 {
            out.push(' ');
            used += 1;
        }
        out += word;
        used += length;
    }
    out + "\n"
}
