//! A light's row: its modifier and place, its reading and power, its edge and its glimpse.

use super::cells::{choice, place_cells, put, stepped, tidy, travel_change};
use super::{COLUMNS, Changes, ROW};
use crate::app::cell::{Did, name};
use crate::app::desk::Desk;
use crate::app::theme::Theme;
use crate::app::words;
use crate::measure::take::Mix;
use crate::photometry::fnumber::FNumber;
use crate::report::drawing::ramp::Ramp;
use crate::setup::Light;
use egui::{
    Align2, Color32, ColorImage, FontId, Pos2, Rect, Sense, Stroke, TextureOptions, Ui, vec2,
};
use std::sync::Arc;

/// Stops between the brightest and the darkest colour of a glimpse.
const GLIMPSE_STOPS: f32 = 6.0;
/// Room for an edge's width, in words.
const EDGE_WORDS: f32 = 36.0;

#[allow(clippy::too_many_arguments)]
pub(super) fn light_row(
    desk: &mut Desk,
    ui: &mut Ui,
    row: Rect,
    lefts: &[f32; 11],
    index: usize,
    light: &Light,
    theme: &Theme,
    changes: &mut Changes,
) {
    let units = desk.units;
    let n = &light.name;
    let mix = desk.mix.as_ref().map(|(m, fresh)| (Arc::clone(m), *fresh));
    switch(ui, row, light, theme, changes);
    modifier_cell(desk, ui, row, lefts, light, theme, changes);
    let travel = match (light.mark(), light.spread) {
        (Some(mark), _) => Some(("mark", tidy(mark))),
        (None, Some(spread)) => Some(("spread", tidy(spread))),
        (None, None) => None,
    };
    if let Some((key, shown)) = travel {
        let did = put(
            ui,
            row,
            lefts,
            2,
            format!("{n} {key}"),
            &shown,
            None,
            true,
            false,
            "where the lamp stands between tight and wide: a mark of its own scale, or spread 0 to 1",
            theme,
        );
        if let Some(did) = did {
            changes.extend(travel_change(light, key, did));
        }
    }
    place_cells(
        desk,
        ui,
        row,
        lefts,
        n,
        &light.place.taped(),
        (
            &light.aim.at,
            "a body point such as chest, floor, swatch, or [x, y, z] in metres",
        ),
        theme,
        changes,
    );
    if let Some((mix, fresh)) = &mix {
        reading_cells(
            ui, row, lefts, index, light, mix, *fresh, units, theme, changes,
        );
    }
    edge_curve(desk, ui, row, lefts, n, theme);
    glimpse(desk, ui, row, lefts, n);
}

/// On or off: a small square, filled when on.
fn switch(ui: &mut Ui, row: Rect, light: &Light, theme: &Theme, changes: &mut Changes) {
    let middle = Pos2::new(
        row.left() + COLUMNS[0].1 * row.width() - 12.0,
        row.center().y,
    );
    let square = Rect::from_center_size(middle, vec2(10.0, 10.0));
    let response = ui.interact(
        square.expand(4.0),
        ui.scope_id().with(("on", &light.name)),
        Sense::click(),
    );
    let word = if light.on { "on" } else { "off" };
    name(ui, &response, &format!("{} is {word}", light.name));
    if light.on {
        ui.painter().rect_filled(square.shrink(2.0), 0.0, theme.ink);
    }
    let line = if response.has_focus() {
        theme.accent
    } else {
        theme.mid
    };
    ui.painter().rect_stroke(
        square,
        0.0,
        Stroke::new(1.0, line),
        egui::StrokeKind::Inside,
    );
    let pressed = response.has_focus() && ui.input(|i| i.key_pressed(egui::Key::Space));
    if response.clicked() || pressed {
        changes.push((format!("{}.on", light.name), (!light.on).to_string()));
    }
}

fn modifier_cell(
    desk: &Desk,
    ui: &mut Ui,
    row: Rect,
    lefts: &[f32; 11],
    light: &Light,
    theme: &Theme,
    changes: &mut Changes,
) {
    let key = format!("{}.modifier", light.name);
    let Some(document) = &desk.document else {
        return;
    };
    let now = document.value(&key).unwrap_or_default();
    let shown = if now.starts_with('{') {
        "own, in the file"
    } else {
        &now
    };
    let width = COLUMNS[1].1 * row.width() - 8.0;
    let at = Rect::from_min_size(
        Pos2::new(lefts[1], row.top() + 5.0),
        vec2(width, ROW - 10.0),
    );
    let known = document.memory.names("modifiers");
    choice(
        ui,
        at,
        &format!("{} modifier", light.name),
        shown,
        &known,
        theme,
        |chosen| {
            changes.push((key.clone(), chosen.to_owned()));
        },
    );
}

/// The reading alone, which can be typed as a target, and the power that gives it.
#[allow(clippy::too_many_arguments)]
fn reading_cells(
    ui: &mut Ui,
    row: Rect,
    lefts: &[f32; 11],
    index: usize,
    light: &Light,
    mix: &Mix,
    fresh: bool,
    units: words::Units,
    theme: &Theme,
    changes: &mut Changes,
) {
    let n = &light.name;
    let Some((alone, balanced)) = mix.expose_at.lights.get(index).zip(mix.balanced.get(index))
    else {
        return;
    };
    let reading = if light.on {
        words::reading(alone, units)
    } else {
        "off".into()
    };
    let target = words::target(&light.output.setting, units);
    let shown = target.as_ref().map_or(reading.clone(), |t| t.clone());
    let at = balanced
        .target
        .as_ref()
        .map_or(String::new(), |(_, at)| format!(", metered at {at}"));
    let hint = format!(
        "reads {reading} at {}{at}; type a reading and its power follows",
        mix.expose_at.meter.name
    );
    let did = put(
        ui,
        row,
        lefts,
        7,
        format!("{n} alone"),
        &shown,
        None,
        true,
        fresh,
        &hint,
        theme,
    );
    let base = match &light.output.setting {
        crate::setup::Setting::Meters { f_number, .. } => FNumber::exact(*f_number),
        crate::setup::Setting::Power(_) => alone.f_number,
    };
    match did {
        Some(Did::Typed(typed)) => changes.push((format!("{n}.meters"), typed)),
        Some(Did::Nudged { steps, fine }) => {
            if let Some(next) = base.and_then(|b| stepped(b, steps, fine)) {
                changes.push((format!("{n}.meters"), next));
            }
        }
        None => {}
    }
    let power = words::power(balanced);
    let did = put(
        ui,
        row,
        lefts,
        8,
        format!("{n} power"),
        &power,
        None,
        true,
        false,
        "1/4, -1.3 stops, 25 %; the reading follows",
        theme,
    );
    match did {
        Some(Did::Typed(typed)) => changes.push((format!("{n}.power"), typed)),
        Some(Did::Nudged { steps, fine }) => {
            if let Some(now) = balanced.power {
                let stops =
                    (now.stops() + f64::from(steps) * if fine { 0.1 } else { 1.0 / 3.0 }).min(0.0);
                changes.push((format!("{n}.power"), format!("{:.2} stops", stops)));
            }
        }
        None => {}
    }
    if let Some(short) = words::shortfall(balanced) {
        let place = Pos2::new(lefts[8] + 3.0, row.bottom() - 1.0);
        ui.painter().text(
            place,
            Align2::LEFT_BOTTOM,
            short,
            FontId::proportional(9.5),
            theme.accent,
        );
    }
}

/// How the light rises across its shadow's edge; the held state's beside it.
fn edge_curve(desk: &Desk, ui: &mut Ui, row: Rect, lefts: &[f32; 11], n: &str, theme: &Theme) {
    let at = Rect::from_min_max(
        Pos2::new(lefts[9] + 3.0, row.top() + 6.0),
        Pos2::new(lefts[10] - 10.0, row.bottom() - 6.0),
    );
    let find =
        |basis: &crate::app::engine::Basis| basis.edges.iter().find(|e| e.light == n).cloned();
    let now = desk.shown.basis.as_ref().and_then(|b| find(b));
    let then = desk
        .held
        .as_ref()
        .and_then(|h| h.basis.as_ref())
        .and_then(|b| find(b));
    let Some(now) = now else {
        return;
    };
    let (at, beside) = (at.with_max_x(at.right() - EDGE_WORDS), at.right());
    // One scale for both: what is softer lies flatter.
    let widest = [Some(&now), then.as_ref()]
        .into_iter()
        .flatten()
        .map(|e| e.edge.greatest_mm)
        .fold(10.0, f64::max);
    let half_mm = 0.9 * widest;
    let painter = ui.painter();
    painter.hline(
        at.x_range(),
        at.bottom() - 0.5,
        Stroke::new(1.0, theme.rule),
    );
    for (edge, stroke) in [
        (then.as_ref(), Stroke::new(1.0, theme.mid)),
        (Some(&now), Stroke::new(1.5, theme.ink)),
    ] {
        let Some(edge) = edge else { continue };
        let middle = edge.course.get(edge.course.len() / 2).map_or(0.0, |c| c[0]);
        let place = |c: &[f64; 2]| {
            Pos2::new(
                at.center().x + ((c[0] - middle) / half_mm) as f32 * 0.5 * at.width(),
                at.bottom() - 1.0 - c[1] as f32 * (at.height() - 2.0),
            )
        };
        let mut points: Vec<Pos2> = edge.course.iter().map(place).collect();
        if let (Some(first), Some(last)) = (points.first().copied(), points.last().copied()) {
            points.insert(0, Pos2::new(at.left(), first.y));
            points.push(Pos2::new(at.right(), last.y));
        }
        painter.line(points, stroke);
    }
    let words = format!("{:.0} mm", now.edge.greatest_mm);
    painter.text(
        Pos2::new(beside, at.center().y),
        Align2::RIGHT_CENTER,
        &words,
        FontId::proportional(10.5),
        theme.mid,
    );
    let spoken = ui.interact(at, ui.scope_id().with(("edge", n)), Sense::hover());
    name(ui, &spoken, &format!("{n} shadow edge {words}"));
}

/// The light's face as the subject sees it.
fn glimpse(desk: &mut Desk, ui: &mut Ui, row: Rect, lefts: &[f32; 11], n: &str) {
    let side = ROW - 6.0;
    let at = Rect::from_min_size(
        Pos2::new(lefts[10] + 6.0, row.top() + 3.0),
        vec2(side, side),
    );
    let Some((number, glimpses)) = &desk.shown.glimpses else {
        return;
    };
    let Some(glimpse) = glimpses.iter().find(|g| g.light == n) else {
        return;
    };
    let known = desk
        .views
        .glimpses
        .get(n)
        .is_some_and(|(of, _)| of == number);
    if !known {
        let ramp = Ramp::new();
        let pixels = glimpse.luminance.iter().map(|l| {
            let [r, g, b] = ramp.at(f64::from(1.0 + l.log2() / GLIMPSE_STOPS));
            if *l > 0.0 {
                Color32::from_rgb(r, g, b)
            } else {
                Color32::from_gray(18)
            }
        });
        let image = ColorImage::new([glimpse.side; 2], pixels.collect());
        let texture = ui
            .ctx()
            .load_texture(format!("glimpse {n}"), image, TextureOptions::LINEAR);
        desk.views.glimpses.insert(n.to_owned(), (*number, texture));
    }
    if let Some((_, texture)) = desk.views.glimpses.get(n) {
        crate::app::sheet::picture::paint(ui, texture, at);
    }
    let spoken = ui.interact(at, ui.scope_id().with(("glimpse", n)), Sense::hover());
    name(ui, &spoken, &format!("{n} as the subject sees it"));
}
