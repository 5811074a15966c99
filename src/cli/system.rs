//! `system`: what this computer offers.

use super::cache;
use super::exit::{Exit, Failure};
use super::resolved::Executing;
use super::table::{Table, WIDEST};
use super::voice::Voice;
use serde::Serialize;
use std::path::Path;
use swatchlight::render::choose::choose;
use swatchlight::render::gpu::{AdapterFacts, Gpu};
use swatchlight::scene::accel::TreeShelf;
use swatchlight::scene::cloth::Shelf;
use swatchlight::scene::models::Models;
use swatchlight::scene::tables::Tables;

#[derive(Debug, Serialize)]
struct Report {
    version: &'static str,
    system: String,
    threads: usize,
    memory_bytes: Option<u64>,
    adapters: Vec<Adapter>,
    executor: Option<String>,
    reason: String,
    models: Vec<String>,
    cache: Option<Cache>,
}

#[derive(Debug, Serialize)]
struct Cache {
    folder: String,
    tables: usize,
    cloths: usize,
    trees: usize,
    bytes: u64,
}

#[derive(Debug, Serialize)]
struct Adapter {
    name: String,
    backend: String,
    kind: String,
    driver: String,
    software: bool,
}

/// Looks around and reports on stdout.
///
/// # Errors
/// When the report cannot be written.
pub fn system(executing: &Executing, voice: &Voice) -> Result<Exit, Failure> {
    let (executor, reason) = match choose(executing.wish, executing.threads) {
        Ok(chosen) => (Some(chosen.executor.name()), chosen.reason),
        Err(e) => (None, e.to_string()),
    };
    let report = Report {
        version: env!("CARGO_PKG_VERSION"),
        system: format!("{} {}", std::env::consts::OS, std::env::consts::ARCH),
        threads: std::thread::available_parallelism().map_or(1, usize::from),
        memory_bytes: memory_bytes(),
        adapters: Gpu::adapters().into_iter().map(adapter).collect(),
        executor,
        reason,
        models: Models::for_setup(Path::new("setup.toml"))
            .roots()
            .iter()
            .map(|r| r.display().to_string())
            .collect(),
        cache: cache::folder(executing).map(|folder| {
            let (tables, lights_bytes) = Tables::new(Some(folder.clone())).kept();
            let (cloths, cloths_bytes) = Shelf::new(Some(folder.clone())).kept();
            let (trees, trees_bytes) = TreeShelf::new(Some(folder.clone())).kept();
            Cache {
                folder: folder.display().to_string(),
                tables,
                cloths,
                trees,
                bytes: lights_bytes + cloths_bytes + trees_bytes,
            }
        }),
    };
    if voice.json() {
        voice.print_json(&report)?
    } else {
        voice.print(&page(&report))?
    }
    Ok(Exit::Done)
}

fn adapter(facts: AdapterFacts) -> Adapter {
    Adapter {
        name: facts.name,
        backend: facts.backend,
        kind: facts.device_type,
        driver: facts.driver,
        software: facts.software,
    }
}

fn page(report: &Report) -> String {
    let memory = report.memory_bytes.map_or(String::new(), |b| {
        format!(", {:.1} GB of memory", b as f64 / 1e9)
    });
    let mut text = format!(
        "swatchlight {}, {}\n\nprocessor: {} threads{memory}\n",
        report.version, report.system, report.threads
    );
    if report.adapters.is_empty() {
        text += "graphics adapters: none found\n";
    } else {
        let mut table = Table::new(["graphics adapter", "kind", "backend", "driver"]);
        for a in &report.adapters {
            table.row([&a.name, &a.kind, &a.backend, &a.driver].map(String::as_str));
        }
        text += &format!("\n{}\n", table.render(WIDEST));
    }
    text += &match &report.executor {
        Some(name) => format!("would trace on: {name} ({})\n", report.reason),
        None => format!("cannot trace: {}\n", report.reason),
    };
    text += &match report.models.as_slice() {
        [] => "models: none found; run in the folder that holds models/\n".into(),
        roots => format!("models: {}\n", roots.join(", ")),
    };
    text + &match &report.cache {
        None => {
            "cache: none, since the system names no folder for it; give one with --cache\n".into()
        }
        Some(c) => format!(
            "cache: {}, {} tables of modifiers, {} of cloths, {} trees, {:.1} MB\n",
            c.folder,
            c.tables,
            c.cloths,
            c.trees,
            c.bytes as f64 / 1e6
        ),
    }
}

/// All memory, where the system says it in a file.
fn memory_bytes() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/meminfo").ok()?;
    let line = text.lines().find(|l| l.starts_with("MemTotal:"))?;
    let kib: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}
