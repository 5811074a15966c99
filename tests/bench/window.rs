//! How the window keeps up, without a screen: from opening to the first picture, from a change to the new
//! readings, a re-mix, and a frame while the light is traced. Prints what one run gives: first with nothing
//! kept of cloths and modifiers, then with what the first round kept.

use egui::Vec2;
use egui_kittest::Harness;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use swatchlight::app::desk::{Desk, Surroundings};
use swatchlight::app::engine::{Opener, Tell};
use swatchlight::app::sheet;
use swatchlight::render::relay::Relay;
use swatchlight::scene::models::Models;
use swatchlight::scene::tables::Tables;

const SETUPS: [&str; 2] = ["front-full-length", "side-key-linen"];

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    for (round, kept) in [(1, "nothing kept"), (2, "kept from before")] {
        for name in SETUPS {
            measure(name, kept, folder.path());
        }
        if round == 2 {
            println!("most memory: {}", most_memory());
        }
    }
    // Not around a driver that may still be compiling kernels.
    drop(folder);
    signal_hook::low_level::exit(0);
}

fn measure(name: &str, kept: &str, folder: &Path) {
    let started = Instant::now();
    let mut window = window(name, folder);
    let first = until(&mut window, started, |d| d.shown.picture.is_some());
    let readings = until(&mut window, started, |d| d.mix.is_some());
    let quality = until(&mut window, started, |d| d.shown.weave.is_some());
    let frame = frames(&mut window, 40);
    let changed = Instant::now();
    edit(&mut window, "key.height", "1.75 m");
    let follows = until(&mut window, changed, |d| {
        d.mix.as_ref().is_some_and(|(_, fresh)| *fresh)
    });
    let anew = until(&mut window, changed, |d| {
        let basis = d.shown.basis.as_ref().map(|b| b.number);
        d.shown.picture.as_ref().map(|p| p.number) == basis
    });
    let weave = until(&mut window, changed, |d| {
        let basis = d.shown.basis.as_ref().map(|b| b.number);
        d.shown.weave.as_ref().map(|w| w.number) == basis
    });
    edit(&mut window, "key.meters", "f/9");
    window.step();
    let remix = window.state().remix_took;
    println!(
        "{name}, {kept}: first picture {first:.2?}, readings {readings:.2?}, weave {quality:.2?}, a frame while \
         tracing {frame:.1?} at the most; after a move: readings {follows:.2?}, picture {anew:.2?}, weave \
         {weave:.2?}; re-mix {remix:.2?}; on {}",
        window.state().shown.at_work.executor
    );
}

/// The most that this process has held, as Linux tells it.
fn most_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.map_or("not told".into(), |l| l.trim().to_owned())
}

fn window(name: &str, folder: &Path) -> Harness<'static, Desk> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("models/setups/{name}.toml"));
    let tables = Arc::new(Tables::new(Some(folder.to_owned())));
    let around = Surroundings {
        journal: None,
        models: Arc::new(move |p: &Path| {
            Models::for_setup(p)
                .with_tables(Arc::clone(&tables))
                .keeping_grounds()
        }),
        program: None,
    };
    let open: Opener = Box::new(|tell: Tell| {
        Ok((
            Box::new(Relay::to_graphics(0, Arc::default(), tell)?),
            String::new(),
        ))
    });
    let mut desk = Desk::new(around, open, || ());
    desk.open(&path);
    Harness::builder()
        .with_size(Vec2::new(1280.0, 800.0))
        .build_ui_state(|ui, desk: &mut Desk| sheet::show(desk, ui), desk)
}

fn edit(window: &mut Harness<'_, Desk>, key: &str, typed: &str) {
    let changes = [(key.to_owned(), typed.to_owned())];
    window.state_mut().edit(&changes, None);
    window.step();
}

/// Steps until something holds; the time since `from`.
fn until(window: &mut Harness<'_, Desk>, from: Instant, holds: impl Fn(&Desk) -> bool) -> Duration {
    while !holds(window.state()) {
        std::thread::sleep(Duration::from_millis(5));
        window.step();
        if from.elapsed() > Duration::from_secs(120) {
            break;
        }
    }
    from.elapsed()
}

/// The longest of some frames.
fn frames(window: &mut Harness<'_, Desk>, number: usize) -> Duration {
    (0..number)
        .map(|_| {
            std::thread::sleep(Duration::from_millis(15));
            let started = Instant::now();
            window.step();
            started.elapsed()
        })
        .max()
        .unwrap_or_default()
}
