//! The table: a row for each light and board, in the words the assistant tapes out. Every cell is
//! typed into in place.

use crate::app::cell::{Cell, Did, name};
use crate::app::desk::{Desk, Question};
use crate::app::theme::{BODY, SMALL, Theme, small};
use crate::app::words;
use crate::measure::take::Mix;
use crate::photometry::fnumber::FNumber;
use crate::report::drawing::ramp::Ramp;
use crate::report::plan::{Kind, Thing};
use crate::setup::{Board, BoardKind, Light, PointSpec, Setup};
use egui::{
    Align2, Color32, ColorImage, FontId, Pos2, Rect, Sense, Stroke, TextureOptions, Ui, UiBuilder,
    vec2,
};
use std::sync::Arc;

/// Columns: heading, and share of the width.
const COLUMNS: [(&str, f32); 11] = [
    ("", 0.095),
    ("modifier", 0.165),
    ("mark", 0.055),
    ("distance", 0.08),
    ("bearing", 0.095),
    ("height", 0.075),
    ("aim", 0.08),
    ("alone", 0.08),
    ("power", 0.1),
    ("edge at subject", 0.115),
    ("glimpse", 0.06),
];
const ROW: f32 = 32.0;
const HEAD: f32 = 18.0;
/// Height of a line of subject, camera and the selected light.
const LINE: f32 = 40.0;
/// Stops between the brightest and the darkest colour of a glimpse.
const GLIMPSE_STOPS: f32 = 6.0;

/// One cell's change, and what to undo it as.
type Changes = Vec<(String, String)>;

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
    let subject_height = 2.0 * LINE + 6.0;
    let rows = Rect::from_min_max(
        Pos2::new(at.left(), at.top() + HEAD + 1.0),
        Pos2::new(at.right(), at.bottom() - subject_height),
    );
    let mut changes = Changes::new();
    ui.scope_builder(UiBuilder::new().max_rect(rows), |ui| {
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
                together(desk, ui, &lefts, theme);
            });
    });
    let below = Rect::from_min_max(Pos2::new(at.left(), rows.bottom() + 4.0), at.max);
    subject(desk, ui, below, &setup, theme, &mut changes);
    for change in changes {
        // Each cell is a step of its own; nudges of one cell join.
        let part = format!("cell {}", change.0);
        desk.edit(&[change], Some(&part));
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
        remove(desk, &thing.name);
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
            remove(desk, &thing.name);
        }
    });
    rect
}

fn remove(desk: &mut Desk, name: &str) {
    let done = desk.document.as_mut().map(|d| d.take_away(name));
    match done {
        Some(Err(wrong)) => desk.say(wrong),
        _ => desk.selected = None,
    }
}

/// A cell in a column; a typed value goes to a key.
#[allow(clippy::too_many_arguments)]
fn put(
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
    let width = COLUMNS[column].1 * row.width() - 8.0;
    let at = Rect::from_min_size(
        Pos2::new(lefts[column], row.top() + 6.0),
        vec2(width, ROW - 12.0),
    );
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
    cell.show(
        &mut ui.new_child(UiBuilder::new().max_rect(at).id_salt(column)),
        theme,
    )
    .1
}

#[allow(clippy::too_many_arguments)]
fn light_row(
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
        theme,
        changes,
    );
    let aim = aim_words(&light.aim.at);
    if let Some(Did::Typed(typed)) = put(
        ui,
        row,
        lefts,
        6,
        format!("{n} aim"),
        &aim,
        None,
        false,
        false,
        "a body point such as chest, floor, swatch, or [x, y, z] in metres",
        theme,
    ) {
        changes.push((format!("{n}.aim"), typed));
    }
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
        "as written in the file"
    } else {
        &now
    };
    let width = COLUMNS[1].1 * row.width() - 8.0;
    let at = Rect::from_min_size(
        Pos2::new(lefts[1], row.top() + 5.0),
        vec2(width, ROW - 10.0),
    );
    let known = document.models.list("modifiers");
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

/// A choice of a few words that looks like a cell.
fn choice(
    ui: &mut Ui,
    at: Rect,
    called: &str,
    shown: &str,
    known: &[String],
    theme: &Theme,
    mut choose: impl FnMut(&str),
) {
    let mut child = ui.new_child(
        UiBuilder::new()
            .max_rect(at)
            .id_salt(called)
            .layout(egui::Layout::left_to_right(egui::Align::Center)),
    );
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

fn travel_change(light: &Light, key: &str, did: Did) -> Option<(String, String)> {
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

/// Distance, bearing and height.
#[allow(clippy::too_many_arguments)]
fn place_cells(
    desk: &Desk,
    ui: &mut Ui,
    row: Rect,
    lefts: &[f32; 11],
    n: &str,
    taped: &(f64, f64, f64),
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
            Some(Did::Nudged { steps, fine }) => {
                let steps = f64::from(steps);
                let metres = |v: f64| {
                    format!(
                        "{:.2} m",
                        (v + steps * if fine { 0.01 } else { 0.05 }).max(0.0)
                    )
                };
                match k {
                    0 => metres(taped.0),
                    2 => metres(taped.2),
                    _ => words::bearing(
                        taped.1 + (steps * if fine { 1.0_f64 } else { 5.0 }).to_radians(),
                    ),
                }
            }
        };
        changes.push((format!("{n}.{key}"), typed));
    }
}

fn aim_words(spec: &PointSpec) -> String {
    match spec {
        PointSpec::Named(name) => name.clone(),
        PointSpec::At(p) => format!("[{}, {}, {}]", tidy(p.x), tidy(p.y), tidy(p.z)),
    }
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

/// A third of a stop on, or a tenth.
fn stepped(from: FNumber, steps: i32, fine: bool) -> Option<String> {
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
    // One scale for both: what is softer lies flatter.
    let widest = [Some(&now), then.as_ref()]
        .into_iter()
        .flatten()
        .map(|e| e.edge.greatest_mm)
        .fold(10.0, f64::max);
    let half_mm = 0.9 * widest;
    let painter = ui.painter().with_clip_rect(at);
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
        at.right_bottom() - vec2(0.0, 2.0),
        Align2::RIGHT_BOTTOM,
        &words,
        FontId::proportional(10.0),
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
        super::picture::paint(ui, texture, at);
    }
    let spoken = ui.interact(at, ui.scope_id().with(("glimpse", n)), Sense::hover());
    name(ui, &spoken, &format!("{n} as the subject sees it"));
}

#[allow(clippy::too_many_arguments)]
fn board_row(
    desk: &mut Desk,
    ui: &mut Ui,
    row: Rect,
    lefts: &[f32; 11],
    board: &Board,
    theme: &Theme,
    changes: &mut Changes,
) {
    let n = &board.name;
    let [w, h] = board.size_m;
    let finish = words::finish(&board.kind);
    let key = match board.kind {
        BoardKind::Scrim(_) => "cloth",
        _ => "finish",
    };
    let half = 0.5 * (COLUMNS[1].1 + COLUMNS[2].1) * row.width();
    let at = Rect::from_min_size(
        Pos2::new(lefts[1], row.top() + 5.0),
        vec2(half - 8.0, ROW - 10.0),
    );
    if key == "finish" {
        let known = ["white", "black", "silver", "grey"].map(str::to_owned);
        choice(
            ui,
            at,
            &format!("{n} finish"),
            &finish,
            &known,
            theme,
            |chosen| {
                changes.push((format!("{n}.finish"), chosen.to_owned()));
            },
        );
    } else {
        let known = ["light", "half", "full"].map(str::to_owned);
        choice(
            ui,
            at,
            &format!("{n} cloth"),
            &finish,
            &known,
            theme,
            |chosen| {
                changes.push((format!("{n}.cloth"), chosen.to_owned()));
            },
        );
    }
    let size = format!("{} x {} m", tidy(w), tidy(h));
    let place = Rect::from_min_size(
        Pos2::new(lefts[1] + half, row.top() + 6.0),
        vec2(half - 8.0, ROW - 12.0),
    );
    let cell = Cell {
        name: format!("{n} size"),
        shown: &size,
        written: None,
        width: half - 14.0,
        nudges: false,
        strong: false,
        hint: "width and height: 1.0 x 2.0 m",
        size: None,
    };
    let did = cell
        .show(&mut ui.new_child(UiBuilder::new().max_rect(place)), theme)
        .1;
    if let Some(Did::Typed(typed)) = did {
        changes.push((format!("{n}.size"), typed));
    }
    place_cells(
        desk,
        ui,
        row,
        lefts,
        n,
        &board.place.taped(),
        theme,
        changes,
    );
    let aim = aim_words(&board.aim.at);
    if let Some(Did::Typed(typed)) = put(
        ui,
        row,
        lefts,
        6,
        format!("{n} aim"),
        &aim,
        None,
        false,
        false,
        "what its front faces: a body point, floor, swatch, or [x, y, z]",
        theme,
    ) {
        changes.push((format!("{n}.aim"), typed));
    }
}

/// The sum, and what can be added.
fn together(desk: &mut Desk, ui: &mut Ui, lefts: &[f32; 11], theme: &Theme) {
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), 30.0), Sense::hover());
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
    let at = Rect::from_min_max(
        Pos2::new(lefts[2], rect.top()),
        Pos2::new(lefts[7] - 8.0, rect.bottom()),
    );
    let layout = egui::Layout::left_to_right(egui::Align::Center);
    let mut ui = ui.new_child(UiBuilder::new().max_rect(at).layout(layout));
    for (kind, words) in [
        ("light", "add a light"),
        ("board", "add a board"),
        ("flag", "add a flag"),
    ] {
        if ui
            .add(egui::Button::new(small(theme, words)).frame(false))
            .clicked()
        {
            desk.question = Some(Question::Add(kind, String::new()));
        }
    }
}

/// Subject, camera, and the rest of what is selected.
fn subject(
    desk: &mut Desk,
    ui: &mut Ui,
    at: Rect,
    setup: &Setup,
    theme: &Theme,
    changes: &mut Changes,
) {
    let Some(document) = &desk.document else {
        return;
    };
    ui.painter()
        .hline(at.x_range(), at.top(), Stroke::new(1.0, theme.mid));
    let mut cells: Vec<(String, String, Option<Vec<String>>)> = Vec::new();
    let models = &document.models;
    if setup.figure.is_some() {
        for (key, folder) in [
            ("model", "figures"),
            ("pose", "poses"),
            ("garment", "garments"),
            ("fabric", "fabrics"),
        ] {
            let value = document.value(&format!("figure.{key}")).unwrap_or_default();
            cells.push((format!("figure.{key}"), value, Some(models.list(folder))));
        }
        cells.push((
            "figure.turn".into(),
            document.value("figure.turn").unwrap_or("0 deg".into()),
            None,
        ));
    }
    let framings = ["full-length", "three-quarter", "half", "beauty", "swatch"]
        .map(str::to_owned)
        .to_vec();
    cells.push((
        "camera.framing".into(),
        document.value("camera.framing").unwrap_or_default(),
        Some(framings),
    ));
    cells.push((
        "camera.focal_length".into(),
        document
            .value("camera.focal_length")
            .unwrap_or("85 mm".into()),
        None,
    ));
    if let Some(thing) = desk.selected.as_ref().filter(|t| t.kind == Kind::Light) {
        for key in ["cloth", "grid", "feather", "colour", "gel"] {
            let value = document
                .value(&format!("{}.{key}", thing.name))
                .unwrap_or_default();
            cells.push((format!("{}.{key}", thing.name), value, None));
        }
    }
    let of_subject = |key: &str| key.starts_with("figure.") || key.starts_with("camera.");
    let (first, second): (Vec<_>, Vec<_>) =
        cells.into_iter().partition(|(key, ..)| of_subject(key));
    let lines = [(first, at.top()), (second, at.top() + LINE)];
    for (key, value, known, left, top, width) in lines.into_iter().flat_map(|(cells, top)| {
        let width = at.width() / cells.len().max(1) as f32;
        cells
            .into_iter()
            .enumerate()
            .map(move |(k, (key, value, known))| {
                (key, value, known, at.left() + k as f32 * width, top, width)
            })
    }) {
        let label = key.rsplit('.').next().unwrap_or_default().replace('_', " ");
        let colour = if of_subject(&key) {
            theme.mid
        } else {
            theme.accent
        };
        ui.painter().text(
            Pos2::new(left + 3.0, top + 4.0),
            Align2::LEFT_TOP,
            &label,
            FontId::proportional(10.5),
            colour,
        );
        let place = Rect::from_min_size(Pos2::new(left, top + 18.0), vec2(width - 6.0, 22.0));
        let called = key.replace('.', " ").replace('_', " ");
        match known {
            Some(known) => choice(ui, place, &called, &value, &known, theme, |chosen| {
                changes.push((key.clone(), chosen.to_owned()));
            }),
            None => {
                let shown = if value.is_empty() { "–" } else { &value };
                let cell = Cell {
                    name: called,
                    shown,
                    written: Some(&value),
                    width: width - 14.0,
                    nudges: false,
                    strong: false,
                    hint: "",
                    size: None,
                };
                let did = cell
                    .show(&mut ui.new_child(UiBuilder::new().max_rect(place)), theme)
                    .1;
                if let Some(Did::Typed(typed)) = did {
                    changes.push((key.clone(), typed));
                }
            }
        }
    }
}

/// A number without trailing noughts.
fn tidy(v: f64) -> String {
    let text = format!("{v:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".into()
    } else {
        text.into()
    }
}
