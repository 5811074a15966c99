//! The meter's points: where each is, what receptor reads it and where that looks, and what it reads.

use super::cells::{aim_words, choice, put};
use super::{COLUMNS, Changes, HEAD, ROW, row};
use crate::app::cell::{Did, name, place};
use crate::app::desk::{Desk, Question};
use crate::app::document::Document;
use crate::app::theme::{SMALL, Theme, small};
use crate::app::words;
use crate::photometry::exposure::Receptor;
use crate::report::plan::{Kind, Thing};
use crate::setup::{Facing, MeterPoint};
use egui::{Align2, FontId, Pos2, Rect, Sense, Stroke, Ui, vec2};
use std::sync::Arc;

/// Height of the heading.
const TOP: f32 = HEAD + 6.0;
/// Rows under which it is not worth its heading.
const FEW: f32 = 2.0;

/// Height of all of it, or of as many whole rows as there is room for; 0 for a few.
pub(super) fn height(points: usize, room: f32) -> f32 {
    let rows = ((room - TOP) / ROW).floor().min(points as f32 + 1.0);
    if rows < FEW { 0.0 } else { TOP + rows * ROW }
}

/// Shows the points, and what adds one.
pub(super) fn meter_rows(
    desk: &mut Desk,
    ui: &mut Ui,
    lefts: &[f32; 11],
    theme: &Theme,
    go_there: bool,
    changes: &mut Changes,
) {
    let Some(setup) = desk.document.as_ref().map(|d| Arc::clone(&d.setup)) else {
        return;
    };
    let (head, _) = ui.allocate_exact_size(vec2(ui.available_width(), TOP), Sense::hover());
    if go_there {
        let at_once = egui::style::ScrollAnimation::none();
        ui.scroll_to_rect_animation(head, Some(egui::Align::TOP), at_once);
    }
    for (column, words) in [
        (0, "metered at"),
        (1, "receptor"),
        (3, "where"),
        (6, "looks to"),
        (7, "together"),
    ] {
        ui.painter().text(
            Pos2::new(lefts[column] + 3.0, head.bottom() - HEAD),
            Align2::LEFT_TOP,
            words,
            FontId::proportional(SMALL),
            theme.mid,
        );
    }
    ui.painter()
        .hline(head.x_range(), head.bottom(), Stroke::new(1.0, theme.rule));
    for (index, point) in setup.meter.points.iter().enumerate() {
        let at = row(desk, ui, Thing::new(Kind::MeterPoint, &*point.name), theme);
        let typed = meter_row(desk, ui, at, lefts, point, theme);
        if let (Some((key, typed)), Some(document)) = (typed, &desk.document) {
            changes.extend(changed(document, index, key, typed));
        }
    }
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), ROW), Sense::hover());
    let layout = egui::Layout::left_to_right(egui::Align::Center);
    let mut ui = ui.new_child(place(ui, rect, "add a meter point").layout(layout));
    ui.spacing_mut().button_padding.x = 3.0;
    let button = egui::Button::new(small(theme, "add a meter point")).frame(false);
    if ui.add(button).clicked() {
        desk.question = Some(Question::Add("meter point", String::new()));
    }
}

/// One row; what was typed comes back with its key.
fn meter_row(
    desk: &Desk,
    ui: &mut Ui,
    at: Rect,
    lefts: &[f32; 11],
    point: &MeterPoint,
    theme: &Theme,
) -> Option<(&'static str, String)> {
    let n = &point.name;
    let mut typed = None;
    let width = (COLUMNS[1].1 + COLUMNS[2].1) * at.width();
    let place = Rect::from_min_size(
        Pos2::new(lefts[1], at.top() + 5.0),
        vec2(width - 8.0, ROW - 10.0),
    );
    let known = ["flat", "dome"].map(str::to_owned);
    let shown = receptor(point);
    let called = format!("{n} receptor");
    choice(ui, place, &called, shown, &known, theme, |chosen| {
        typed = Some(("receptor", chosen.to_owned()));
    });
    let mut cell = |column, key: &'static str, shown: &str, hint| {
        let called = format!("{n} {}", if key == "at" { "where" } else { "looks to" });
        let did = put(
            ui, at, lefts, column, called, shown, None, false, false, hint, theme,
        );
        if let Some(Did::Typed(text)) = did {
            typed = Some((key, text));
        }
    };
    let place = aim_words(&point.at);
    cell(
        3,
        "at",
        &place,
        "a body point such as chest, floor, swatch, or [x, y, z] in metres",
    );
    let facing = facing_words(&point.facing);
    cell(6, "facing", &facing, "camera, up, light NAME, or [x, y, z]");
    // What was typed counts before anything is read.
    if let Some(mix) = &desk.mix
        && let Some(read) = mix.0.points.iter().find(|p| p.meter == *point)
    {
        let reading = words::reading(&read.together, desk.units);
        let colour = if mix.1 { theme.ink } else { theme.mid };
        let spoken = Rect::from_min_max(
            Pos2::new(lefts[7], at.top()),
            Pos2::new(lefts[8], at.bottom()),
        );
        ui.painter().text(
            Pos2::new(lefts[7] + 3.0, at.center().y),
            Align2::LEFT_CENTER,
            &reading,
            FontId::proportional(crate::app::theme::BODY),
            colour,
        );
        let spoken = ui.interact(spoken, ui.scope_id().with(("reads", n)), Sense::hover());
        name(ui, &spoken, &format!("{n} reads {reading}"));
    }
    typed
}

fn receptor(point: &MeterPoint) -> &'static str {
    match point.receptor {
        Receptor::Flat => "flat",
        Receptor::Dome => "dome",
    }
}

fn facing_words(facing: &Facing) -> String {
    match facing {
        Facing::Camera => "camera".into(),
        Facing::Up => "up".into(),
        Facing::Light(light) => format!("light {light}"),
        Facing::Direction(d) => {
            let [x, y, z] = d.to_array().map(super::cells::tidy);
            format!("[{x},{y},{z}]")
        }
    }
}

/// The list of points, written out where the file leaves it to what is usual.
pub(super) fn written_out(document: &Document) -> Changes {
    if document.value("meter.points.1").is_some() || document.value("meter.points.1.at").is_some() {
        return Changes::new();
    }
    let usual = &document.setup.meter.points;
    let names: Vec<&str> = usual.iter().map(|p| p.name.as_str()).collect();
    let list = serde_json::to_string(&names).unwrap_or_default();
    vec![("meter.points".into(), list.replace(',', ", "))]
}

/// The keys that a typed cell of the point at `index` changes.
fn changed(document: &Document, index: usize, key: &str, typed: String) -> Changes {
    let mut changes = written_out(document);
    changes.push((format!("meter.points.{}.{key}", index + 1), typed));
    changes
}

/// Calls a point otherwise, and so wherever its name stands for it.
pub(super) fn renamed(document: &Document, key: &str, typed: &str) -> Changes {
    let index = key
        .strip_prefix("meter.points.")
        .and_then(|k| k.strip_suffix(".name"))
        .and_then(|k| k.parse::<usize>().ok()?.checked_sub(1));
    let points = &document.setup.meter.points;
    let (Some(index), Some(was)) = (index, index.and_then(|i| points.get(i))) else {
        return Changes::new();
    };
    let mut changes = written_out(document);
    changes.push((format!("meter.points.{}.name", index + 1), typed.to_owned()));
    let lights = document.setup.lights.iter();
    let elsewhere = lights.map(|l| format!("{}.metered_at", l.name));
    for other in elsewhere.chain(["meter.expose_at".to_owned()]) {
        if !typed.trim().is_empty() && document.value(&other).as_deref() == Some(&*was.name) {
            changes.push((other, typed.to_owned()));
        }
    }
    changes
}

/// Takes a point out of the list.
///
/// # Errors
/// Where none would be left.
pub(super) fn without(document: &Document, called: &str) -> Result<Changes, String> {
    let points = &document.setup.meter.points;
    let index = points.iter().position(|p| p.name == called);
    let Some(index) = index.filter(|_| points.len() > 1) else {
        return Err("The meter reads at one point at least: type another into its cell.".into());
    };
    let mut changes = written_out(document);
    changes.push((format!("meter.points.{}", index + 1), String::new()));
    Ok(changes)
}

/// Adds a point: at the body point of that name, or where the exposure is read, to be typed elsewhere.
pub fn with(document: &Document, called: &str) -> Changes {
    let setup = &document.setup;
    let body = setup.figure.iter().flat_map(|f| f.body_points_m.keys());
    let known = body.map(String::as_str).chain(["floor"]);
    let known = known.chain(setup.swatch.iter().map(|_| "swatch"));
    let mut changes = written_out(document);
    let number = setup.meter.points.len() + 1;
    let quoted = |text: &str| serde_json::to_string(text).unwrap_or_default();
    let point = if known.into_iter().any(|k| k == called) {
        quoted(called)
    } else {
        let at = &setup.meter.expose_at.at;
        let at = match at {
            crate::setup::PointSpec::Named(place) => quoted(place),
            crate::setup::PointSpec::At(_) => aim_words(at),
        };
        format!("{{ name = {}, at = {at} }}", quoted(called))
    };
    changes.push((format!("meter.points.{number}"), point));
    changes
}
