//! How the window keeps up, without a screen: from opening to the first picture, from a change to the new
//! readings, a re-mix, and a frame while the light is traced. Prints what one run gives.

use egui::Vec2;
use egui_kittest::Harness;
use std::path::Path;
use std::time::{Duration, Instant};
use swatchlight::app::desk::{Desk, Surroundings};
use swatchlight::app::engine::{Opener, Tell};
use swatchlight::app::sheet;
use swatchlight::render::choose::{Wish, choose};
use swatchlight::render::steady::Steady;
use swatchlight::scene::models::Models;

const SETUPS: [&str; 2] = ["front-full-length", "side-key-linen"];

fn main() {
    for name in SETUPS {
        let started = Instant::now();
        let mut window = window(name);
        let first = until(&mut window, started, |d| d.shown.picture.is_some());
        let readings = until(&mut window, started, |d| d.mix.is_some());
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
        edit(&mut window, "key.meters", "f/9");
        window.step();
        let remix = window.state().remix_took;
        println!(
            "{name}: first picture {first:.2?}, readings {readings:.2?}, a frame while tracing {frame:.1?} at the most; \
             after a move: readings {follows:.2?}, picture {anew:.2?}; re-mix {remix:.2?}"
        );
    }
}

fn window(name: &str) -> Harness<'static, Desk> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("models/setups/{name}.toml"));
    let around = Surroundings {
        journal: None,
        models: Box::new(|p: &Path| Models::for_setup(p).keeping_grounds()),
        program: None,
    };
    let open: Opener = Box::new(|tell: Tell| {
        let chosen = choose(Wish::Auto, 0)?;
        let reason = chosen.reason.clone();
        Ok((Box::new(Steady::new(chosen, 0, tell)), reason))
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
