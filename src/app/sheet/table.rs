//! The table: a row for each light and board, in the words the assistant tapes out. Every cell is
//! typed into in place.

mod boards;
mod cells;
mod lights;
mod meter;
mod subject;

use crate::app::cell::{name, place};
use crate::app::desk::{Desk, Question};
use crate::app::theme::{BODY, SMALL, Theme, small};
use crate::app::words;
use crate::report::plan::{Kind, Thing};
use crate::setup::{Board, BoardKind};
use boards::board_row;
use egui::{Align2, FontId, Pos2, Rect, Sense, Stroke, Ui, vec2};
use lights::light_row;
pub use meter::with as with_meter_point;
use std::sync::Arc;
use subject::subject;

/// Columns: heading, and share of the width.
const COLUMNS: [(&str, f32); 11] = [
    ("", 0.095),
    ("modifier", 0.145),
    ("mark", 0.05),
    ("distance", 0.075),
    ("bearing", 0.095),
    ("height", 0.075),
    ("aim", 0.135),
    ("alone", 0.08),
    ("power", 0.09),
    ("edge", 0.105),
    ("glimpse", 0.055),
];
const ROW: f32 = 30.0;
const HEAD: f32 = 18.0;
/// Height of the line of the sum.
const SUM: f32 = 30.0;
/// Height of a line of subject, camera and the selected light.
const LINE: f32 = 38.0;

/// One cell's change, and what to undo it as.
type Changes = Vec<(String, String)>;

/// How tall it would be with every light and board in sight, and what of the meter's points, in whole rows,
/// fits into `most`.
pub fn wanted_height(desk: &Desk, most: f32) -> f32 {
    let setup = desk.document.as_ref().map(|d| &d.setup);
    let rows = setup.map_or(0, |s| s.lights.len() + s.boards.len());
    let least = HEAD + rows as f32 * ROW + SUM + 3.0 * LINE + 4.0;
    let points = setup.map_or(0, |s| s.meter.points.len());
    least + meter::height(points, most - least)
}

/// Shows it.
pub fn show(desk: &mut Desk, ui: &mut Ui, at: Rect, theme: &Theme) {
    let Some(document) = &desk.document else {
        return;
    };
    let setup = Arc::clone(&document.setup);
    let lefts = lefts(at);
    let painter = ui.painter().clone();
    for ((title, _), left) in COLUMNS.iter().zip(lefts) {
        painter.text(
            Pos2::new(left + 3.0, at.top()),
            Align2::LEFT_TOP,
            title,
            FontId::proportional(SMALL),
            theme.mid,
        );
    }
    painter.hline(at.x_range(), at.top() + HEAD, Stroke::new(1.0, theme.mid));
    let subject_height = 3.0 * LINE + 2.0;
    let rows = Rect::from_min_max(
        Pos2::new(at.left(), at.top() + HEAD + 1.0),
        Pos2::new(at.right(), at.bottom() - subject_height),
    );
    let mut changes = Changes::new();
    let points = setup.meter.points.len();
    let above = (setup.lights.len() + setup.boards.len()) as f32 * ROW + SUM;
    let hidden = above + meter::height(points, f32::INFINITY) > rows.height() + 0.5;
    let mut go_there = false;
    ui.scope_builder(place(ui, rows, "rows"), |ui| {
        egui::ScrollArea::vertical()
            .auto_shrink([false, false])
            .show(ui, |ui| {
                ui.spacing_mut().item_spacing.y = 0.0;
                for (index, light) in setup.lights.iter().enumerate() {
                    let row = row(desk, ui, Thing::new(Kind::Light, &*light.name), theme);
                    light_row(desk, ui, row, &lefts, index, light, theme, &mut changes);
                }
                for board in &setup.boards {
                    let row = row(desk, ui, Thing::new(kind_of(board), &*board.name), theme);
                    board_row(desk, ui, row, &lefts, board, theme, &mut changes);
                }
                together(desk, ui, &lefts, theme, hidden.then_some(&mut go_there));
                meter::meter_rows(desk, ui, &lefts, theme, go_there, &mut changes);
            });
    });
    let below = Rect::from_min_max(Pos2::new(at.left(), rows.bottom() + 4.0), at.max);
    subject(desk, ui, below, theme, &mut changes);
    if let Some((key, _)) = changes.last() {
        // Each cell is a step of its own; nudges of one cell join.
        let part = format!("cell {key}");
        desk.edit(&changes, Some(&part));
    }
}

fn lefts(at: Rect) -> [f32; 11] {
    let mut left = at.left();
    COLUMNS.map(|(_, share)| {
        let here = left;
        left += share * at.width();
        here
    })
}

fn kind_of(board: &Board) -> Kind {
    match board.kind {
        BoardKind::Board { .. } => Kind::Board,
        BoardKind::Flag { .. } => Kind::Flag,
        BoardKind::Scrim(_) => Kind::Scrim,
    }
}

/// A row's place; a click on its name selects it.
fn row(desk: &mut Desk, ui: &mut Ui, thing: Thing, theme: &Theme) -> Rect {
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), ROW), Sense::hover());
    let selected = desk.selected.as_ref() == Some(&thing);
    if selected {
        ui.painter().rect_filled(rect, 0.0, theme.row);
    }
    ui.painter()
        .hline(rect.x_range(), rect.bottom(), Stroke::new(1.0, theme.rule));
    let head = Rect::from_min_size(rect.min, vec2(COLUMNS[0].1 * rect.width(), ROW));
    let response = ui.interact(
        head,
        ui.scope_id().with(("row", &thing.name)),
        Sense::click(),
    );
    name(ui, &response, &format!("select {}", thing.called()));
    if response.clicked() || response.gained_focus() {
        desk.selected = Some(thing.clone());
    }
    if response.has_focus() && ui.input(|i| i.key_pressed(egui::Key::Delete)) {
        remove(desk, &thing);
    }
    let colour = if selected { theme.accent } else { theme.ink };
    let galley = ui.painter().layout(
        thing.name.clone(),
        FontId::proportional(BODY),
        colour,
        head.width() - 24.0,
    );
    let place = Pos2::new(head.left() + 3.0, head.center().y - 0.5 * galley.size().y);
    ui.painter()
        .with_clip_rect(head)
        .galley(place, galley, colour);
    if response.has_focus() {
        ui.painter().rect_stroke(
            head,
            0.0,
            Stroke::new(1.0, theme.accent),
            egui::StrokeKind::Inside,
        );
    }
    response.context_menu(|ui| {
        if ui.button(format!("take {} away", thing.name)).clicked() {
            remove(desk, &thing);
        }
    });
    rect
}

fn remove(desk: &mut Desk, thing: &Thing) {
    let Some(document) = &mut desk.document else {
        return;
    };
    let done = match thing.kind {
        Kind::MeterPoint => {
            meter::without(document, &thing.name).and_then(|changes| document.edit(&changes, None))
        }
        _ => document.take_away(&thing.name),
    };
    match done {
        Err(wrong) => desk.say(wrong),
        Ok(()) => desk.selected = None,
    }
}

/// The sum, and what can be added; the way to the meter's points where they are out of sight.
fn together(
    desk: &mut Desk,
    ui: &mut Ui,
    lefts: &[f32; 11],
    theme: &Theme,
    go_there: Option<&mut bool>,
) {
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), SUM), Sense::hover());
    let y = rect.center().y;
    if let Some((mix, fresh)) = &desk.mix {
        let painter = ui.painter();
        let strong = FontId::proportional(BODY);
        let at = format!("together at {}", mix.expose_at.meter.name);
        painter.text(
            Pos2::new(lefts[0] + 3.0, y),
            Align2::LEFT_CENTER,
            &at,
            strong,
            theme.ink,
        );
        let reading = words::reading(&mix.expose_at.together, desk.units);
        let colour = if *fresh { theme.ink } else { theme.mid };
        painter.text(
            Pos2::new(lefts[7] + 3.0, y),
            Align2::LEFT_CENTER,
            &reading,
            FontId::proportional(16.0),
            colour,
        );
        let spoken = ui.interact(
            Rect::from_min_max(
                Pos2::new(lefts[7], rect.top()),
                Pos2::new(lefts[8], rect.bottom()),
            ),
            ui.scope_id().with("together"),
            Sense::hover(),
        );
        name(ui, &spoken, &format!("{at} {reading}"));
    }
    let layout = egui::Layout::left_to_right(egui::Align::Center);
    if let Some(go_there) = go_there {
        let at = Rect::from_min_max(Pos2::new(lefts[8], rect.top()), rect.max);
        let mut ui = ui.new_child(place(ui, at, "meter points").layout(layout));
        ui.spacing_mut().button_padding.x = 3.0;
        let button = egui::Button::new(small(theme, "meter points")).frame(false);
        *go_there = ui.add(button).clicked();
    }
    let at = Rect::from_min_max(
        Pos2::new(lefts[2], rect.top()),
        Pos2::new(lefts[7] - 8.0, rect.bottom()),
    );
    let mut ui = ui.new_child(place(ui, at, "add").layout(layout));
    for (kind, words) in [
        ("light", "add a light"),
        ("board", "add a board"),
        ("flag", "add a flag"),
        ("scrim", "add a scrim"),
    ] {
        if ui
            .add(egui::Button::new(small(theme, words)).frame(false))
            .clicked()
        {
            desk.question = Some(Question::Add(kind, String::new()));
        }
    }
}
