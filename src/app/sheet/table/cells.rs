//! Cells that rows have in common, and what their steps are.

use super::{COLUMNS, Changes, ROW};
use crate::app::cell::{Cell, Did, name, place};
use crate::app::desk::Desk;
use crate::app::theme::{BODY, Theme};
use crate::app::words;
use crate::photometry::fnumber::FNumber;
use crate::setup::{Light, PointSpec};
use egui::{Pos2, Rect, Ui, vec2};

/// A cell in a column; a typed value goes to a key.
#[allow(clippy::too_many_arguments)]
pub(super) fn put(
    ui: &mut Ui,
    row: Rect,
    lefts: &[f32; 11],
    column: usize,
    called: String,
    shown: &str,
    written: Option<&str>,
    nudges: bool,
    strong: bool,
    hint: &str,
    theme: &Theme,
) -> Option<Did> {
    let width = COLUMNS[column].1 * row.width() - 4.0;
    let at = Rect::from_min_size(
        Pos2::new(lefts[column], row.top() + 6.0),
        vec2(width, ROW - 12.0),
    );
    let home = place(ui, at, (&called, column));
    let cell = Cell {
        name: called,
        shown,
        written,
        width: width - 6.0,
        nudges,
        strong,
        hint,
        size: None,
    };
    cell.show(&mut ui.new_child(home), theme).1
}

/// A choice of a few words that looks like a cell.
pub(super) fn choice(
    ui: &mut Ui,
    at: Rect,
    called: &str,
    shown: &str,
    known: &[String],
    theme: &Theme,
    mut choose: impl FnMut(&str),
) {
    // As far from the edge as what is typed beside it.
    let at = Rect::from_min_max(at.min + vec2(3.0, 0.0), at.max);
    let mut child = ui
        .new_child(place(ui, at, called).layout(egui::Layout::left_to_right(egui::Align::Center)));
    child.spacing_mut().button_padding = vec2(3.0, 2.0);
    let text = egui::RichText::new(shown).size(BODY).color(theme.ink);
    let button = egui::Button::new(text).frame(false).truncate();
    let response = child.add(button);
    name(ui, &response, &format!("{called} {shown}"));
    egui::Popup::menu(&response).show(|ui| {
        egui::ScrollArea::vertical()
            .max_height(320.0)
            .show(ui, |ui| {
                for one in known {
                    if ui.selectable_label(one == shown, one).clicked() {
                        choose(one);
                        ui.close();
                    }
                }
            });
    });
}

/// Distance, bearing, height and aim; `aim` comes with what may be typed there.
#[allow(clippy::too_many_arguments)]
pub(super) fn place_cells(
    desk: &Desk,
    ui: &mut Ui,
    row: Rect,
    lefts: &[f32; 11],
    n: &str,
    taped: &(f64, f64, f64),
    (aim, aim_hint): (&PointSpec, &str),
    theme: &Theme,
    changes: &mut Changes,
) {
    let units = desk.units;
    let shown = [
        (
            "distance",
            words::length(taped.0, units),
            "along the floor from the mark: 2.1 m, 6 ft 2 in",
        ),
        (
            "bearing",
            words::bearing(taped.1),
            "from the line mark to camera: 45 deg left, 90 deg right",
        ),
        (
            "height",
            words::length(taped.2, units),
            "of the middle above the floor: 2.1 m, 7 ft",
        ),
    ];
    for (k, (key, text, hint)) in shown.iter().enumerate() {
        let did = put(
            ui,
            row,
            lefts,
            3 + k,
            format!("{n} {key}"),
            text,
            None,
            true,
            false,
            hint,
            theme,
        );
        let typed = match did {
            None => continue,
            Some(Did::Typed(typed)) => typed,
            Some(Did::Nudged { steps, fine }) => place_nudged(key, taped, f64::from(steps), fine),
        };
        changes.push((format!("{n}.{key}"), typed));
    }
    let called = format!("{n} aim");
    let shown = aim_words(aim);
    let did = put(
        ui, row, lefts, 6, called, &shown, None, false, false, aim_hint, theme,
    );
    if let Some(Did::Typed(typed)) = did {
        changes.push((format!("{n}.aim"), typed));
    }
}

/// Distance, bearing or height after some steps of 5 cm or 5 degrees, or a fifth of that.
pub(super) fn place_nudged(key: &str, taped: &(f64, f64, f64), steps: f64, fine: bool) -> String {
    let metres = |v: f64| {
        let step_m = if fine { 0.01 } else { 0.05 };
        format!("{:.2} m", (v + steps * step_m).max(0.0))
    };
    match key {
        "distance" => metres(taped.0),
        "height" => metres(taped.2),
        _ => {
            let step_deg: f64 = if fine { 1.0 } else { 5.0 };
            words::bearing(taped.1 + (steps * step_deg).to_radians())
        }
    }
}

pub(super) fn travel_change(light: &Light, key: &str, did: Did) -> Option<(String, String)> {
    let n = &light.name;
    match did {
        Did::Typed(typed) => Some((format!("{n}.{key}"), typed)),
        Did::Nudged { steps, fine } => {
            let step = if fine { 0.01 } else { 0.05 };
            let spread = (light.spread? + step * f64::from(steps)).clamp(0.0, 1.0);
            match light
                .modifier
                .mark_of_spread(spread)
                .filter(|_| key == "mark")
            {
                Some(mark) => Some((format!("{n}.mark"), tidy((mark * 10.0).round() / 10.0))),
                None => Some((format!("{n}.spread"), tidy(spread))),
            }
        }
    }
}

/// A third of a stop on, or a tenth.
pub(super) fn stepped(from: FNumber, steps: i32, fine: bool) -> Option<String> {
    if fine {
        let tenths = (from.stops() * 10.0).round() as i32 + steps;
        let next = FNumber::from_tenths(tenths)?.full_stop_reading();
        return Some(match next.tenths {
            0 => next.mark.to_string(),
            t => format!("{} and {t} tenths", next.mark),
        });
    }
    let next = FNumber::from_thirds(from.nearest_third() + steps)?;
    Some(FNumber::exact(next.nearest_mark())?.to_string())
}

pub(super) fn aim_words(spec: &PointSpec) -> String {
    match spec {
        PointSpec::Named(name) => name.clone(),
        PointSpec::At(p) => {
            let [x, y, z] = p.to_array().map(|v| tidy((100.0 * v).round() / 100.0));
            format!("[{x},{y},{z}]")
        }
    }
}

/// A number without trailing noughts.
pub(super) fn tidy(v: f64) -> String {
    let text = format!("{v:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".into()
    } else {
        text.into()
    }
}
