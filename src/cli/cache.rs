//! Where what was worked out before is kept.

use super::resolved::Executing;
use super::voice::Voice;
use super::words;
use std::env;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use swatchlight::scene::stock::{Building, Stock};
use swatchlight::scene::tables::Tables;

/// The tables of traced modifiers, kept where the command line says or the system keeps such.
pub fn tables(executing: &Executing, voice: &Arc<Voice>) -> Arc<Tables> {
    let says = Arc::clone(voice);
    let told = move |name: &str| says.note(&format!("tracing the light of {name}"));
    Arc::new(Tables::new(folder(executing)).telling(Box::new(told)))
}

/// Figures and garments that were built, kept at the same place. Building them stops when `stop` is set.
pub fn stock(folder: Option<PathBuf>, voice: &Arc<Voice>, stop: Arc<AtomicBool>) -> Stock {
    let says = Arc::clone(voice);
    let told = move |step: &Building<'_>| {
        if step.done >= 1.0 {
            says.end_progress();
            return;
        }
        let left = step.left.map_or(String::new(), |left| {
            format!(", {} left", words::time(left))
        });
        says.stage(step.done, &format!("building {}{left}", step.what));
    };
    Stock::new(folder).telling(Box::new(told)).stopped_by(stop)
}

/// The folder; none where the system names none.
pub fn folder(executing: &Executing) -> Option<PathBuf> {
    executing.cache.clone().or_else(system_folder)
}

/// As the XDG base directory specification has it, or the system's own custom.
pub fn system_folder() -> Option<PathBuf> {
    let of = |name: &str| {
        env::var_os(name)
            .map(PathBuf::from)
            .filter(|p| p.is_absolute())
    };
    let folder = if cfg!(windows) {
        of("LOCALAPPDATA")?
    } else if cfg!(target_os = "macos") {
        of("HOME")?.join("Library/Caches")
    } else {
        of("XDG_CACHE_HOME").or_else(|| Some(of("HOME")?.join(".cache")))?
    };
    Some(folder.join("swatchlight"))
}
