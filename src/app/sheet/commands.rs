//! What can be done beside typing and dragging: words in the margin, and the platform's own keys.

use crate::app::desk::{Desk, Held, Next, Question};
use crate::app::mixing::{self, Solo};
use crate::app::theme::{Theme, small};
use crate::report::Overwrite;
use crate::report::plan::{Kind, View};
use egui::{Key, KeyboardShortcut, Modifiers, Ui};
use std::path::PathBuf;

/// Something to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// One step back.
    Undo,
    /// One step forth again.
    Redo,
    /// To the setup's own file.
    Save,
    /// To another file.
    SaveAs,
    /// Another setup, or a still that carries one.
    Open,
    /// A new setup, from a few kinds.
    New,
    /// A finished still.
    Still,
    /// Keep the picture to compare with, or let it go.
    Hold,
    /// All lights, the selected one only, all but it.
    OneLight,
    /// Mark what clips and what is crushed.
    Clipping,
    /// Stops in false colour.
    Steps,
    /// Paper, or darkened.
    Theme,
    /// Metres or feet, tenths or thirds.
    Units,
    /// The other elevation.
    Elevation,
    /// Close the window; asks first where there is unsaved work.
    Close,
}

const KEYS: [(Command, KeyboardShortcut); 9] = [
    (
        Command::Close,
        KeyboardShortcut::new(Modifiers::COMMAND, Key::Q),
    ),
    (
        Command::SaveAs,
        KeyboardShortcut::new(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::S),
    ),
    (
        Command::Save,
        KeyboardShortcut::new(Modifiers::COMMAND, Key::S),
    ),
    (
        Command::Redo,
        KeyboardShortcut::new(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::Z),
    ),
    (
        Command::Redo,
        KeyboardShortcut::new(Modifiers::COMMAND, Key::Y),
    ),
    (
        Command::Undo,
        KeyboardShortcut::new(Modifiers::COMMAND, Key::Z),
    ),
    (
        Command::Open,
        KeyboardShortcut::new(Modifiers::COMMAND, Key::O),
    ),
    (
        Command::New,
        KeyboardShortcut::new(Modifiers::COMMAND, Key::N),
    ),
    (
        Command::Still,
        KeyboardShortcut::new(Modifiers::COMMAND, Key::E),
    ),
];

/// Takes the platform's keys, before any cell does.
pub fn shortcuts(desk: &mut Desk, ui: &Ui) {
    for (command, keys) in &KEYS {
        if ui.input_mut(|i| i.consume_shortcut(keys)) {
            run(desk, *command, ui.ctx());
        }
    }
    let dropped = ui.input(|i| i.raw.dropped_files.first().map(|f| f.path().to_path_buf()));
    if let Some(path) = dropped {
        desk.open(&path);
    }
}

/// Does it.
pub fn run(desk: &mut Desk, command: Command, ctx: &egui::Context) {
    match command {
        Command::Close => desk.close(),
        Command::Undo => step(desk, true),
        Command::Redo => step(desk, false),
        Command::Save => save(desk, None),
        Command::SaveAs => desk.question = Some(save_as_question(desk, None)),
        Command::Open => desk.question = Some(Question::Open(String::new())),
        Command::New => match desk.document.as_ref().is_some_and(|d| d.is_unsaved()) {
            true => desk.say("Save this setup first, or undo what is not to be kept."),
            false => {
                desk.document = None;
                desk.look_behind();
            }
        },
        Command::Still => desk.question = Some(Question::Still(still_of(desk), "64".into())),
        Command::Hold => hold(desk, ctx),
        Command::OneLight => one_light(desk),
        Command::Clipping => desk.looking.marks = !desk.looking.marks,
        Command::Steps => desk.looking.steps = !desk.looking.steps,
        Command::Theme => desk.dark = !desk.dark,
        Command::Units => {
            // Metres and tenths, metres and thirds, feet and thirds.
            let u = &mut desk.units;
            (u.feet, u.thirds) = match (u.feet, u.thirds) {
                (false, false) => (false, true),
                (false, true) => (true, true),
                _ => (false, false),
            };
        }
        Command::Elevation => {
            desk.elevation = match desk.elevation {
                View::Side => View::Front,
                _ => View::Side,
            }
        }
    }
}

fn step(desk: &mut Desk, back: bool) {
    let Some(document) = &mut desk.document else {
        return;
    };
    let done = if back {
        document.undo()
    } else {
        document.redo()
    };
    if !done {
        desk.say(if back {
            "There is nothing to undo."
        } else {
            "There is nothing to do again."
        });
    }
}

/// Saves to the setup's own file, or asks for one; goes on with what was to be done then.
pub fn save(desk: &mut Desk, then: Option<Next>) {
    let path = desk.document.as_ref().and_then(|d| d.path.clone());
    match path {
        Some(path) => desk.save_to(path, Overwrite::Force, then),
        None => desk.question = Some(save_as_question(desk, then)),
    }
}

fn save_as_question(desk: &Desk, then: Option<Next>) -> Question {
    Question::SaveAs {
        path: path_of(desk),
        why: None,
        then,
    }
}

fn path_of(desk: &Desk) -> String {
    let path = desk.document.as_ref().and_then(|d| d.path.clone());
    path.unwrap_or_else(|| PathBuf::from("my-setup.toml"))
        .display()
        .to_string()
}

fn still_of(desk: &Desk) -> String {
    PathBuf::from(path_of(desk))
        .with_extension("png")
        .display()
        .to_string()
}

fn hold(desk: &mut Desk, ctx: &egui::Context) {
    if desk.held.take().is_some() {
        return;
    }
    // A copy: the live texture is overwritten in place.
    let shown = desk.shown.picture.clone();
    let (Some(layers), Some((mix, _))) = (shown, &desk.mix) else {
        return;
    };
    let weights = mixing::weights(&mix.weights, &mix.development, &desk.looking);
    if weights.len() != layers.layers {
        return;
    }
    let image = mixing::picture(&layers, &weights, &desk.looking);
    let texture = ctx.load_texture("held", image, egui::TextureOptions::NEAREST);
    desk.held = Some(Held {
        texture,
        basis: desk.shown.basis.clone(),
        mix: Some(std::sync::Arc::clone(mix)),
    });
    desk.wipe = 0.5;
}

fn one_light(desk: &mut Desk) {
    let Some(document) = &desk.document else {
        return;
    };
    let light = desk.selected.as_ref().filter(|t| t.kind == Kind::Light);
    let layer = light.and_then(|t| document.setup.lights.iter().position(|l| l.name == t.name));
    let Some(layer) = layer else {
        desk.looking.solo = None;
        return desk.say("Select a light first.");
    };
    desk.looking.solo = match desk.looking.solo {
        Some(Solo::Only(l)) if l == layer => Some(Solo::Without(layer)),
        Some(Solo::Without(l)) if l == layer => None,
        _ => Some(Solo::Only(layer)),
    };
}

/// The words at the right of the margin.
pub fn words(desk: &mut Desk, ui: &mut Ui, theme: &Theme) {
    let [undo, redo] = desk.document.as_ref().map_or([false; 2], |d| d.steps());
    let light = desk
        .selected
        .as_ref()
        .map_or("one light", |t| t.name.as_str())
        .to_owned();
    let solo = match desk.looking.solo {
        None => "one light".to_owned(),
        Some(Solo::Only(_)) => format!("only {light}"),
        Some(Solo::Without(_)) => format!("without {light}"),
    };
    let units = match (desk.units.feet, desk.units.thirds) {
        (false, false) => "m, tenths",
        (false, true) => "m, thirds",
        _ => "ft, thirds",
    };
    let all = [
        (Command::Undo, "undo".to_owned(), undo, false),
        (Command::Redo, "do again".to_owned(), redo, false),
        (Command::Hold, "hold".to_owned(), true, desk.held.is_some()),
        (Command::OneLight, solo, true, desk.looking.solo.is_some()),
        (Command::Steps, "stops".to_owned(), true, desk.looking.steps),
        (
            Command::Clipping,
            "clipping".to_owned(),
            true,
            desk.looking.marks,
        ),
        (
            Command::Elevation,
            "other side".to_owned(),
            true,
            desk.elevation != View::Side,
        ),
        (Command::Units, units.to_owned(), true, false),
        (Command::Theme, "darken".to_owned(), true, desk.dark),
        (
            Command::Still,
            "still…".to_owned(),
            desk.making.is_none(),
            false,
        ),
        (Command::Save, "save".to_owned(), true, false),
        (Command::Open, "open…".to_owned(), true, false),
        (Command::New, "new".to_owned(), true, false),
    ];
    for (command, words, enabled, chosen) in all.into_iter().rev() {
        let text = if chosen {
            small(theme, words).color(theme.accent).strong()
        } else {
            small(theme, words).color(theme.ink)
        };
        if ui
            .add_enabled(enabled, egui::Button::new(text).frame(false))
            .clicked()
        {
            run(desk, command, ui.ctx());
        }
    }
}
