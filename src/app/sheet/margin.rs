//! The margin: notes and cautions, what is computing, how settled it is, and what can be done.

use super::commands;
use crate::app::cell::{self, name};
use crate::app::desk::Desk;
use crate::app::theme::{SMALL, Theme};
use crate::setup::Severity;
use egui::{Align, Align2, FontId, Layout, Pos2, Rect, Sense, Stroke, Ui, vec2};

/// Shows it.
pub fn show(desk: &mut Desk, ui: &mut Ui, at: Rect, theme: &Theme) {
    ui.painter()
        .hline(at.x_range(), at.top(), Stroke::new(1.0, theme.rule));
    let notes = notes(desk);
    let line = Rect::from_min_size(at.min + vec2(0.0, 5.0), vec2(at.width(), 18.0));
    note_line(ui, line, &notes, theme);
    let status = status(desk);
    let painter = ui.painter();
    let y = at.bottom() - 12.0;
    let place = painter.text(
        Pos2::new(at.left(), y),
        Align2::LEFT_CENTER,
        &status,
        FontId::proportional(SMALL),
        theme.mid,
    );
    let spoken = ui.interact(place, ui.scope_id().with("status"), Sense::hover());
    name(ui, &spoken, &format!("at work: {status}"));
    let from = (place.right() + 20.0).min(at.right() - 200.0);
    let right = Rect::from_min_max(Pos2::new(from, at.bottom() - 24.0), at.max);
    ui.scope_builder(
        cell::place(ui, right, "commands").layout(Layout::right_to_left(Align::Center)),
        |ui| {
            ui.spacing_mut().item_spacing.x = 9.0;
            ui.spacing_mut().button_padding.x = 1.0;
            commands::words(desk, ui, theme);
        },
    );
}

struct Note {
    words: String,
    pressing: bool,
}

/// What there is to note, the most pressing first.
fn notes(desk: &Desk) -> Vec<Note> {
    let mut notes = Vec::new();
    let mut add = |words: String, pressing: bool| notes.push(Note { words, pressing });
    if let Some(said) = desk.saying() {
        add(said.to_owned(), true);
    }
    if let Some((_, trouble)) = &desk.shown.trouble {
        add(trouble.clone(), true);
    }
    if let Some(told) = desk.shown.told.last() {
        add(told.clone(), true);
    }
    if let Some(opening) = desk.opening() {
        add(format!("Reading {opening}."), false);
    }
    if let Some(document) = &desk.document {
        if document.is_checking() {
            add("The change is being worked out.".into(), false);
        }
        let of = |severity| document.notes.of(severity);
        for p in of(Severity::Warning).chain(of(Severity::Caution)) {
            add(
                format!("{}: {}", p.message, p.hint),
                p.severity == Severity::Warning,
            );
        }
        if document.journal_trouble().is_some() {
            add("Unsaved work is not kept for after a crash.".into(), false);
        }
    }
    notes
}

/// The first note, and how many more; all of them when pointed at.
fn note_line(ui: &mut Ui, at: Rect, notes: &[Note], theme: &Theme) {
    let Some(first) = notes.first() else {
        return;
    };
    let colour = if first.pressing {
        theme.accent
    } else {
        theme.ink
    };
    let more = match notes.len() - 1 {
        0 => String::new(),
        n => format!("   (and {n} more)"),
    };
    let width = at.width() - 20.0;
    let font = FontId::proportional(SMALL);
    let mut words = format!("{}{more}", first.words.replace('\n', " "));
    let fits = |w: &str| {
        let galley = ui
            .painter()
            .layout_no_wrap(w.to_owned(), font.clone(), colour);
        galley.size().x <= width
    };
    if !fits(&words) {
        let mut kept: Vec<char> = first.words.chars().collect();
        while kept.len() > 8 && !fits(&format!("{}…{more}", kept.iter().collect::<String>())) {
            kept.truncate(kept.len() - 4);
        }
        words = format!("{}…{more}", kept.iter().collect::<String>());
    }
    let place = Pos2::new(at.left(), at.center().y);
    ui.painter()
        .text(place, Align2::LEFT_CENTER, &words, font.clone(), colour);
    let response = ui.interact(at, ui.scope_id().with("notes"), Sense::click());
    let spoken: Vec<&str> = notes.iter().map(|n| n.words.as_str()).collect();
    name(ui, &response, &format!("notes: {}", spoken.join("; ")));
    response.on_hover_ui(|ui| {
        ui.set_max_width(520.0);
        for note in notes {
            ui.label(egui::RichText::new(&note.words).size(SMALL));
        }
    });
}

/// How settled it is, and what is at work.
fn status(desk: &Desk) -> String {
    let work = &desk.shown.at_work;
    let mut parts = Vec::new();
    match &desk.shown.picture {
        Some(p) => match p.noise {
            Some(noise) if !p.coarse => parts.push(format!("settled to {:.1} %", 100.0 * noise)),
            _ => parts.push("a first look".into()),
        },
        None => parts.push("nothing to see yet".into()),
    }
    if let Some(p) = desk.shown.picture.as_ref().filter(|p| !p.coarse) {
        let word = if p.samples == 1 { "sample" } else { "samples" };
        parts.push(format!("{} {word}", p.samples));
    }
    if !work.stage.is_empty() && work.stage != "settling" {
        parts.push(work.stage.clone());
    }
    if !work.executor.is_empty() {
        parts.push(work.executor.clone());
    }
    if work.samples_a_second > 0.0 {
        parts.push(format!("{:.2} M samples/s", work.samples_a_second / 1e6));
    }
    if let Some(bytes) = memory_bytes() {
        parts.push(format!("{} MB", bytes >> 20));
    }
    if desk.making.is_some() {
        parts.push("a still is being made".into());
    }
    parts.join(" · ")
}

/// Memory that the program holds, where the system says so.
fn memory_bytes() -> Option<u64> {
    let pages = std::fs::read_to_string("/proc/self/statm").ok()?;
    let resident: u64 = pages.split_whitespace().nth(1)?.parse().ok()?;
    Some(resident * 4096)
}
