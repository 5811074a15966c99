//! A desk with an invented setup on it, worked without a screen.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use egui::{Key, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};
use swatchlight::app::desk::{Desk, Surroundings};
use swatchlight::app::engine::{Opener, Tell};
use swatchlight::app::sheet;
use swatchlight::render::choose::Chosen;
use swatchlight::render::cpu::Cpu;
use swatchlight::render::executor::Executor;
use swatchlight::render::steady::Steady;
use swatchlight::scene::models::Models;

/// Invented: a card under two panels.
pub const SETUP: &str = r#"title = "Two panels"   # invented
[room]
walls = "open"

[swatch]
fabric = "poplin"
at = [0, 1.2, 0]

[camera]
framing = "swatch"
focal_length = "100 mm"
pixels = "600 x 900"

# The one that counts.
[[light]]
name = "key"
modifier = { kind = "panel", size = "0.6 x 0.6 m" }
distance = "1.5 m"   # taped
bearing = "45 deg left"
height = "1.6 m"
aim = "swatch"
meters = "f/8"
metered_at = "swatch"
head = { energy = "400 J", range = "6 stops" }

[[light]]
name = "fill"
modifier = { kind = "panel", size = "0.9 x 1.2 m" }
distance = "2 m"
bearing = "30 deg right"
height = "1.5 m"
aim = "swatch"
meters = "f/4"
metered_at = "swatch"

[[board]]
name = "return"
finish = "white"
size = "0.3 x 0.4 m"
distance = "0.5 m"
bearing = "90 deg right"
height = "1.2 m"
aim = "swatch"

[meter]
expose_at = "swatch"
points = ["swatch"]
"#;

pub struct Case {
    pub folder: tempfile::TempDir,
    pub setup: PathBuf,
}

impl Case {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let setup = folder.path().join("two panels.toml");
        fs::write(&setup, SETUP).expect("it can be written");
        Self { folder, setup }
    }

    /// Its desk, still empty, with a journal in the folder.
    pub fn desk(&self, open: Opener) -> Desk {
        self.desk_with_journal(open, self.folder.path().join("journal"))
    }

    pub fn desk_with_journal(&self, open: Opener, journal: PathBuf) -> Desk {
        let models = |_: &Path| {
            Models::for_setup(&Path::new(env!("CARGO_MANIFEST_DIR")).join("models/setups/any.toml"))
                .keeping_grounds()
        };
        let around = Surroundings {
            journal: Some(journal),
            models: Arc::new(models),
            program: None,
        };
        Desk::new(around, open, || ())
    }

    pub fn window(&self) -> Harness<'static, Desk> {
        let mut desk = self.desk(processor());
        desk.open(&self.setup);
        let mut window = window(desk);
        opened(&mut window);
        window
    }

    /// Waits until unsaved work is kept.
    pub fn until_kept(&self, harness: &mut Harness<'_, Desk>) {
        let folder = self.folder.path().join("journal");
        until(harness, "the journal", |_| {
            let files = fs::read_dir(&folder).into_iter().flatten().flatten();
            files
                .into_iter()
                .any(|f| f.path().extension().is_some_and(|e| e == "json"))
        });
    }
}

pub fn processor() -> Opener {
    Box::new(|tell: Tell| {
        Ok((
            Box::new(steady(Box::new(Cpu::new(1)?), tell)),
            "a test".into(),
        ))
    })
}

pub fn steady(executor: Box<dyn Executor>, tell: Tell) -> Steady {
    let chosen = Chosen {
        executor,
        reason: String::new(),
        on_cpu: false,
    };
    Steady::new(chosen, 1, tell)
}

pub fn window(desk: Desk) -> Harness<'static, Desk> {
    let mut harness = Harness::builder()
        .with_size(Vec2::new(1280.0, 800.0))
        .build_ui_state(|ui, desk: &mut Desk| sheet::show(desk, ui), desk);
    harness.run_steps(3);
    harness
}

/// Steps until a setup lies on the desk.
pub fn opened(harness: &mut Harness<'_, Desk>) {
    until(harness, "the setup", |d| d.document.is_some());
    harness.run_steps(2);
}

/// Steps until something holds; a minute and a half at the most.
pub fn until(harness: &mut Harness<'_, Desk>, what: &str, holds: impl Fn(&Desk) -> bool) {
    let started = Instant::now();
    while !holds(harness.state()) {
        assert!(
            started.elapsed() < Duration::from_secs(90),
            "waited for {what}"
        );
        std::thread::sleep(Duration::from_millis(20));
        harness.step();
    }
}

pub fn text(harness: &Harness<'_, Desk>) -> String {
    let document = harness.state().document.as_ref().expect("it is open");
    document.text().to_owned()
}

/// Types into a cell, as a person does: into it, over what is there, Enter.
pub fn type_into(harness: &mut Harness<'_, Desk>, cell: &str, typed: &str) {
    harness.get_by_label(cell).focus();
    harness.run_steps(2);
    harness.event(egui::Event::Text(typed.to_owned()));
    harness.run_steps(1);
    harness.key_press(Key::Enter);
    harness.run_steps(2);
    checked(harness);
}

/// Steps until what was typed or chosen is checked: what names files is checked beside the window.
pub fn checked(harness: &mut Harness<'_, Desk>) {
    until(harness, "the check", |d| {
        d.document.as_ref().is_none_or(|d| !d.is_checking())
    });
    harness.run_steps(2);
}
