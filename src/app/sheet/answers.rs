//! What must be answered before work goes on, and the page before there is a setup.

use crate::app::cell;
use crate::app::desk::{Desk, Next, Question};
use crate::app::sheet::commands;
use crate::app::sheet::table::with_meter_point;
use crate::app::theme::{TITLE, Theme, small};
use crate::report::Overwrite;
use crate::report::plan::{Kind, Thing};
use crate::setup::templates::TEMPLATES;
use egui::{Key, Rect, Ui, vec2};
use std::path::{Path, PathBuf};

/// The page before there is a setup: a few kinds to start from, or a file.
pub fn welcome(desk: &mut Desk, ui: &mut Ui, at: Rect, theme: &Theme) {
    let left = desk.left_behind();
    let mut start = None;
    let place = Rect::from_min_max(at.min + vec2(0.12 * at.width(), 0.14 * at.height()), at.max);
    ui.scope_builder(cell::place(ui, place, "welcome"), |ui| {
        ui.label(egui::RichText::new("Swatchlight").size(26.0));
        ui.add_space(2.0);
        ui.label(small(
            theme,
            "What a setup's light does to this cloth, before the day.",
        ));
        ui.add_space(26.0);
        ui.label(egui::RichText::new("Start from").size(TITLE));
        ui.add_space(4.0);
        for template in &TEMPLATES {
            let words = format!("{}:  {}", template.kind, template.about);
            if ui.add(egui::Button::new(words).frame(false)).clicked() {
                start = Some(template.text("A new setup"));
            }
        }
        ui.add_space(18.0);
        if ui
            .add(egui::Button::new("open a setup or a still…").frame(false))
            .clicked()
        {
            desk.question = Some(Question::Open(String::new()));
        }
        ui.label(small(theme, "or drop a file on this window"));
        if let Some(left) = left {
            ui.add_space(18.0);
            if ui
                .add(egui::Button::new("take up the unsaved setup of last time").frame(false))
                .clicked()
            {
                start = Some(left.text);
            }
        }
        if let Some(opening) = desk.opening() {
            ui.add_space(18.0);
            ui.label(format!("Reading {opening}."));
        }
        if let Some(said) = desk.saying() {
            ui.add_space(18.0);
            ui.label(egui::RichText::new(said).color(theme.accent));
        }
    });
    if let Some(text) = start {
        desk.start_new(text);
    }
}

/// What was answered.
enum Answer {
    Open(PathBuf),
    Save(PathBuf, Overwrite, Option<Next>),
    Still(PathBuf, u32),
    TakeDisk(String),
    KeepMine(String),
    Restore(String),
    SaveFirst(Next),
    GiveUp(Next),
    Add(&'static str, String),
    Never,
}

/// Asks what is to be asked.
pub fn show(desk: &mut Desk, ui: &mut Ui, theme: &Theme) {
    let Some(mut question) = desk.question.take() else {
        return;
    };
    let mut answer = None;
    let own = desk.document.as_ref().and_then(|d| d.path.clone());
    let near = own.as_deref().and_then(Path::parent);
    let modal = egui::Modal::new(ui.scope_id().with("question")).show(ui.ctx(), |ui| {
        ui.set_width(460.0);
        ask(&mut question, ui, theme, near, &mut answer);
    });
    if answer.is_none() && modal.should_close() {
        answer = Some(Answer::Never);
    }
    match answer {
        None => desk.question = Some(question),
        Some(answer) => act(desk, answer),
    }
}

/// `near` is the folder of the setup that is open.
fn ask(
    question: &mut Question,
    ui: &mut Ui,
    theme: &Theme,
    near: Option<&Path>,
    answer: &mut Option<Answer>,
) {
    let heading = |ui: &mut Ui, words: &str| {
        ui.label(egui::RichText::new(words).size(15.0));
        ui.add_space(6.0);
    };
    match question {
        Question::Open(path) => {
            heading(ui, "Open a setup, or a still that carries one");
            typed_path(ui, path, "path to open", "open", Answer::Open, answer);
            choose_file(ui, false, path, near);
        }
        Question::SaveAs { path, why, then } => {
            heading(ui, "Save the setup as");
            if let Some(why) = why {
                ui.label(egui::RichText::new(&*why).color(theme.accent));
                ui.add_space(6.0);
            }
            typed_path(
                ui,
                path,
                "path to save to",
                "save",
                |p| Answer::Save(p, Overwrite::Refuse, then.clone()),
                answer,
            );
            choose_file(ui, true, path, near);
        }
        Question::Still(path, samples) => {
            heading(ui, "Make a still");
            ui.horizontal(|ui| {
                let label = ui.label(small(theme, "samples of each pixel"));
                ui.text_edit_singleline(samples).labelled_by(label.id);
            });
            let count = samples
                .trim()
                .parse::<u32>()
                .ok()
                .filter(|n| (1..=16_384).contains(n));
            match count {
                Some(count) => typed_path(
                    ui,
                    path,
                    "path of the still",
                    "make it",
                    |p| Answer::Still(p, count),
                    answer,
                ),
                None => {
                    ui.label(
                        egui::RichText::new("write a number from 1 to 16384").color(theme.accent),
                    );
                }
            }
        }
        Question::Replace(path, then) => {
            heading(ui, "There is a file of that name");
            let (path, then) = (path.clone(), then.clone());
            buttons(
                ui,
                answer,
                &mut [
                    ("keep it", &|| Answer::Never),
                    ("write over it", &|| {
                        Answer::Save(path.clone(), Overwrite::Force, then.clone())
                    }),
                ],
            );
        }
        Question::Clash(text) => {
            heading(
                ui,
                "The file was changed outside, and there is unsaved work here",
            );
            let text = text.clone();
            buttons(
                ui,
                answer,
                &mut [
                    ("keep mine", &|| Answer::KeepMine(text.clone())),
                    ("take the file's", &|| Answer::TakeDisk(text.clone())),
                ],
            );
        }
        Question::Restore(left) => {
            heading(
                ui,
                "There is unsaved work of an earlier window on this setup",
            );
            let text = left.text.clone();
            buttons(
                ui,
                answer,
                &mut [
                    ("leave it", &|| Answer::Never),
                    ("take it up", &|| Answer::Restore(text.clone())),
                ],
            );
        }
        Question::Unsaved(next) => {
            heading(ui, "There is unsaved work");
            let next = next.clone();
            buttons(
                ui,
                answer,
                &mut [
                    ("go back", &|| Answer::Never),
                    ("give it up", &|| Answer::GiveUp(next.clone())),
                    ("save", &|| Answer::SaveFirst(next.clone())),
                ],
            );
        }
        Question::Add(kind, called) => {
            heading(ui, &format!("Add a {kind}"));
            let kind = *kind;
            ui.horizontal(|ui| {
                let label = ui.label(small(theme, "called"));
                let edit = ui.text_edit_singleline(called).labelled_by(label.id);
                edit.request_focus();
                let enter = ui.input(|i| i.key_pressed(Key::Enter));
                if (ui.button("add").clicked() || enter) && !called.trim().is_empty() {
                    *answer = Some(Answer::Add(kind, called.trim().to_owned()));
                }
            });
        }
    }
}

fn typed_path(
    ui: &mut Ui,
    path: &mut String,
    called: &str,
    word: &str,
    made: impl Fn(PathBuf) -> Answer,
    answer: &mut Option<Answer>,
) {
    ui.horizontal(|ui| {
        let edit = ui.add(egui::TextEdit::singleline(path).desired_width(360.0));
        cell::name(ui, &edit, called);
        if ui.memory(|m| m.focused().is_none()) {
            edit.request_focus();
        }
        let enter = ui.input(|i| i.key_pressed(Key::Enter));
        if (ui.button(word).clicked() || enter) && !path.trim().is_empty() {
            *answer = Some(made(PathBuf::from(path.trim())));
        }
    });
}

/// The system's own dialogue, where it has one; the typed path serves without. It begins where what is typed leads,
/// else at `near`.
fn choose_file(ui: &mut Ui, save: bool, path: &mut String, near: Option<&Path>) {
    let id = ui.scope_id().with("system dialogue");
    type Slot = std::sync::Arc<std::sync::Mutex<Option<Option<PathBuf>>>>;
    let waiting = ui.data(|d| d.get_temp::<Slot>(id));
    if let Some(slot) = waiting {
        let came = slot.lock().ok().and_then(|mut s| s.take());
        if let Some(chosen) = came {
            ui.data_mut(|d| d.remove::<Slot>(id));
            if let Some(chosen) = chosen {
                *path = chosen.display().to_string();
            }
        }
        return;
    }
    if ui.button("look for it…").clicked() {
        let slot = Slot::default();
        ui.data_mut(|d| d.insert_temp(id, slot.clone()));
        let ctx = ui.ctx().clone();
        let (folder, name) = begins_at(path, near);
        std::thread::spawn(move || {
            let mut dialogue = rfd::AsyncFileDialog::new()
                .add_filter("setups and stills", &["toml", "png", "exr", "jpg", "tif"]);
            // Asked of the disk here, not where frames are drawn.
            if let Some(folder) = folder.and_then(|f| f.canonicalize().ok()) {
                dialogue = dialogue.set_directory(folder);
            }
            if let Some(name) = name.filter(|_| save) {
                dialogue = dialogue.set_file_name(name);
            }
            let chosen = if save {
                pollster::block_on(dialogue.save_file())
            } else {
                pollster::block_on(dialogue.pick_file())
            };
            if let Ok(mut slot) = slot.lock() {
                *slot = Some(chosen.map(|f| f.path().to_path_buf()));
            }
            ctx.request_repaint();
        });
    }
}

/// The folder and the name that a dialogue begins with.
fn begins_at(typed: &str, near: Option<&Path>) -> (Option<PathBuf>, Option<String>) {
    let typed = Path::new(typed.trim());
    let name = typed.file_name().map(|n| n.to_string_lossy().into_owned());
    let here = |folder: &Path| match folder.as_os_str().is_empty() {
        true => PathBuf::from("."),
        false => folder.to_path_buf(),
    };
    let folder = name.as_ref().and(typed.parent()).or(near).map(here);
    (folder, name)
}

fn buttons(ui: &mut Ui, answer: &mut Option<Answer>, all: &mut [(&str, &dyn Fn() -> Answer)]) {
    ui.horizontal(|ui| {
        for (words, made) in all {
            if ui.button(*words).clicked() {
                *answer = Some(made());
            }
        }
    });
}

fn act(desk: &mut Desk, answer: Answer) {
    match answer {
        // Nothing is lost by looking away: unsaved work stays to be offered again.
        Answer::Never => {}
        Answer::Open(path) => desk.open(&path),
        Answer::Save(path, overwrite, then) => desk.save_to(path, overwrite, then),
        Answer::Still(path, samples) => desk.make_still(&path, samples, false),
        Answer::TakeDisk(text) => with(desk, |d| d.take_from_disk(text)),
        Answer::KeepMine(text) => {
            if let Some(document) = &mut desk.document {
                document.keep_mine(text);
            }
        }
        Answer::Restore(text) => with(desk, |d| d.restore(text)),
        Answer::SaveFirst(next) => commands::save(desk, Some(next)),
        Answer::GiveUp(next) => desk.give_up(next),
        Answer::Add(kind, name) => add(desk, kind, &name),
    }
}

fn with(
    desk: &mut Desk,
    act: impl FnOnce(&mut crate::app::document::Document) -> Result<(), String>,
) {
    let wrong = desk.document.as_mut().and_then(|d| act(d).err());
    if let Some(wrong) = wrong {
        desk.say(wrong);
    }
}

/// Where there may be room for one thing more.
const FREE: [(&str, &str); 6] = [
    ("2 m", "45 deg right"),
    ("2 m", "45 deg left"),
    ("1.5 m", "90 deg right"),
    ("1.5 m", "90 deg left"),
    ("1.2 m", "20 deg right"),
    ("1 m", "60 deg left"),
];

/// A new light or board where there is likely room, to be dragged from there.
fn add(desk: &mut Desk, kind: &'static str, name: &str) {
    if kind == "meter point" {
        with(desk, |d| {
            let changes = with_meter_point(d, name);
            d.edit(&changes, None)
        });
        desk.selected = Some(Thing::new(Kind::MeterPoint, name));
        return;
    }
    let mut keys: Vec<(&str, &str)> = match kind {
        "light" => vec![("modifier", "softbox-60x90")],
        "board" => vec![("finish", "white"), ("size", "1.0 x 2.0 m")],
        "scrim" => vec![("cloth", "half"), ("size", "1.0 x 1.0 m")],
        _ => vec![("size", "0.5 x 1.2 m")],
    };
    if kind == "light" {
        keys.extend([("output", "400 J"), ("power", "1/4")]);
    }
    with(desk, |d| {
        let mut done = Ok(());
        for (distance, bearing) in FREE {
            let place = [
                ("distance", distance),
                ("bearing", bearing),
                ("height", "1.7 m"),
            ];
            done = d.add(kind, name, &[&keys[..], &place].concat());
            if done.is_ok() {
                break;
            }
        }
        done
    });
    let kind = match kind {
        "light" => Kind::Light,
        "board" => Kind::Board,
        "scrim" => Kind::Scrim,
        _ => Kind::Flag,
    };
    desk.selected = Some(Thing::new(kind, name));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dialogue_begins_where_what_is_typed_leads_else_at_the_setup() {
        let near = Some(Path::new("set"));
        let at = |typed| {
            let (folder, name) = begins_at(typed, near);
            let folder = folder.expect("there is a setup");
            (folder.display().to_string(), name.unwrap_or_default())
        };
        let pair = |folder: &str, name: &str| (folder.to_owned(), name.to_owned());
        assert_eq!(at(""), pair("set", ""));
        assert_eq!(at("b.toml"), pair(".", "b.toml"));
        assert_eq!(at(" day/b.toml"), pair("day", "b.toml"));
        assert_eq!(begins_at("", None), (None, None));
    }
}
