//! Figure, camera, and the rest of what is selected: lines of cells under the rows.

use super::cells::{aim_words, choice, place_nudged};
use super::meter::renamed;
use super::{COLUMNS, Changes, LINE};
use crate::app::cell::{self, Cell, Did};
use crate::app::desk::Desk;
use crate::app::document::Document;
use crate::app::sheet::moved::framing_gives_way;
use crate::app::theme::{BODY, Theme};
use crate::app::words;
use crate::report::plan::{Kind, Thing};
use crate::setup::Place;
use egui::{Align2, FontId, Pos2, Rect, Stroke, Ui, vec2};

/// A labelled cell.
struct Field {
    key: String,
    /// What it shows, which may have been worked out.
    shown: String,
    /// What the file says; nothing where it leaves it out.
    written: Option<String>,
    /// What can be chosen, where it is a choice.
    known: Option<Vec<String>>,
    nudges: bool,
    /// Of the line's width.
    share: f32,
}

/// Shows the lines, and how tall they are.
pub(super) fn subject(
    desk: &mut Desk,
    ui: &mut Ui,
    at: Rect,
    theme: &Theme,
    changes: &mut Changes,
) {
    let Some(document) = &desk.document else {
        return;
    };
    ui.painter()
        .hline(at.x_range(), at.top(), Stroke::new(1.0, theme.mid));
    let lines = [
        (String::new(), figure(document), theme.mid),
        ("camera".to_owned(), camera(document, desk.units), theme.mid),
        selected(desk, document, theme),
    ];
    let indent = COLUMNS[0].1 * at.width();
    for (k, (whose, fields, colour)) in lines.iter().enumerate() {
        let top = at.top() + k as f32 * LINE;
        let whose = if k == 0 && document.setup.figure.is_some() {
            "figure"
        } else if k == 0 {
            "swatch"
        } else {
            whose
        };
        let head = Rect::from_min_size(Pos2::new(at.left(), top), vec2(indent - 4.0, LINE));
        ui.painter().with_clip_rect(head).text(
            head.left_top() + vec2(3.0, 18.0),
            Align2::LEFT_TOP,
            whose,
            FontId::proportional(BODY),
            *colour,
        );
        let all: f32 = fields.iter().map(|f| f.share).sum();
        let mut left = at.left() + indent;
        for field in fields {
            let width = (at.width() - indent) * field.share / all;
            let place = Rect::from_min_size(Pos2::new(left, top), vec2(width, LINE));
            if let Some(did) = show(ui, place, field, *colour, theme) {
                changes.extend(changed(document, field, did));
            }
            left += width;
        }
    }
}

/// One field; a typed or chosen value comes back.
fn show(ui: &mut Ui, at: Rect, field: &Field, colour: egui::Color32, theme: &Theme) -> Option<Did> {
    let label = match field.key.rsplit('.').next().unwrap_or_default() {
        "f_number" => "f-number".to_owned(),
        "iso" => "ISO".to_owned(),
        "expose_at" => "metered at".to_owned(),
        key => key.replace('_', " "),
    };
    ui.painter().with_clip_rect(at).text(
        at.left_top() + vec2(3.0, 4.0),
        Align2::LEFT_TOP,
        label,
        FontId::proportional(10.5),
        colour,
    );
    let place = Rect::from_min_size(
        at.left_top() + vec2(0.0, 17.0),
        vec2(at.width() - 4.0, 22.0),
    );
    let called = field.key.replace(['.', '_'], " ");
    if let Some(known) = &field.known {
        let mut chosen = None;
        let place = place.translate(vec2(0.0, -2.0));
        choice(ui, place, &called, &field.shown, known, theme, |c| {
            chosen = Some(Did::Typed(c.to_owned()));
        });
        return chosen;
    }
    let home = cell::place(ui, place, &called);
    let cell = Cell {
        name: called,
        shown: if field.shown.is_empty() {
            "–"
        } else {
            &field.shown
        },
        // A place worked out can be typed over where the file leaves it out.
        written: field
            .written
            .as_deref()
            .or(field.shown.is_empty().then_some("")),
        width: at.width() - 10.0,
        nudges: field.nudges,
        strong: false,
        hint: "",
        size: None,
    };
    cell.show(&mut ui.new_child(home), theme).1
}

/// The keys that a typed or nudged field changes.
fn changed(document: &Document, field: &Field, did: Did) -> Changes {
    let key = field.key.as_str();
    let camera = &document.setup.camera;
    let typed = match did {
        Did::Typed(typed) => typed,
        Did::Nudged { steps, fine } => {
            let last = key.rsplit('.').next().unwrap_or_default();
            // What is shown is always taped out, whichever way the file says it.
            let taped = Place::At(camera.position_m).taped();
            place_nudged(last, &taped, f64::from(steps), fine)
        }
    };
    if key.starts_with("meter.points.") {
        return renamed(document, key, &typed);
    }
    let mut changes = Changes::new();
    match key {
        "camera.distance" => changes.extend(framing_gives_way(document)),
        // A framing works out the distance.
        "camera.framing" if document.value("camera.focal_length").is_some() => {
            for other in ["camera.distance", "camera.at"] {
                if document.value(other).is_some() {
                    changes.push((other.into(), String::new()));
                }
            }
        }
        _ => {}
    }
    changes.push((key.to_owned(), typed));
    changes
}

fn figure(document: &Document) -> Vec<Field> {
    let plain = |key: &str, otherwise: &str, share| field(document, key, otherwise, share);
    if document.setup.figure.is_none() {
        return vec![
            choose(
                document,
                "swatch.fabric",
                document.memory.names("fabrics").to_vec(),
                1.2,
            ),
            plain("swatch.size", "10 x 10 cm", 1.0),
            choose(
                document,
                "swatch.lay",
                ["flat", "draped", "folded"].map(str::to_owned).to_vec(),
                0.8,
            ),
            plain("swatch.facing", "camera", 1.0),
            plain("swatch.roll", "0 deg", 0.8),
        ];
    }
    let list = |key: &str, folder: &str, share| {
        choose(document, key, document.memory.names(folder).to_vec(), share)
    };
    vec![
        list("figure.model", "figures", 1.0),
        list("figure.pose", "poses", 1.0),
        list("figure.garment", "garments", 1.35),
        list("figure.fabric", "fabrics", 1.2),
        plain("figure.turn", "0 deg", 0.9),
        plain("figure.size", "", 0.5),
        plain("figure.hair", "", 0.8),
    ]
}

fn camera(document: &Document, units: words::Units) -> Vec<Field> {
    let camera = &document.setup.camera;
    let (distance_m, bearing_rad, height_m) = Place::At(camera.position_m).taped();
    let worked_out = |key: &str, shown: String, nudges, share| Field {
        written: document.value(key),
        key: key.into(),
        shown,
        known: None,
        nudges,
        share,
    };
    let framings = ["full-length", "three-quarter", "half", "beauty", "swatch"];
    vec![
        choose(
            document,
            "camera.framing",
            framings.map(str::to_owned).to_vec(),
            1.25,
        ),
        worked_out(
            "camera.focal_length",
            format!("{:.0} mm", 1e3 * camera.focal_length_m),
            false,
            0.85,
        ),
        worked_out(
            "camera.distance",
            words::length(distance_m, units),
            true,
            0.85,
        ),
        worked_out("camera.bearing", words::bearing(bearing_rad), true, 0.95),
        worked_out("camera.height", words::length(height_m, units), true, 0.85),
        worked_out("camera.aim", aim_words(&camera.aim.at), false, 1.0),
        field(document, "camera.f_number", "as metered", 1.05),
        field(document, "camera.shutter", "1/125 s", 0.8),
        field(document, "camera.iso", "100", 0.6),
        worked_out(
            "meter.expose_at",
            document.setup.meter.expose_at.name.clone(),
            false,
            1.0,
        ),
    ]
}

/// The rest of what is selected.
fn selected(
    desk: &Desk,
    document: &Document,
    theme: &Theme,
) -> (String, Vec<Field>, egui::Color32) {
    let Some(thing) = &desk.selected else {
        return (String::new(), Vec::new(), theme.mid);
    };
    if thing.kind == Kind::MeterPoint {
        return meter_point(document, thing, theme);
    }
    let keys: &[&str] = match thing.kind {
        Kind::Light => &["cloth", "grid", "feather", "roll", "colour", "gel", "stand"],
        Kind::Board | Kind::Flag => &["feather", "roll", "stand"],
        Kind::Scrim => &["cloth", "feather", "roll", "stand"],
        Kind::Figure | Kind::Camera | Kind::MeterPoint => &[],
    };
    // A feather is told in a few words.
    let share = |key: &str| if key == "feather" { 1.7 } else { 1.0 };
    let fields = keys.iter().map(|key| {
        let name = format!("{}.{key}", thing.name);
        field(document, &name, "", share(key))
    });
    (thing.name.clone(), fields.collect(), theme.accent)
}

/// How a meter point is called, which may be another name than its place has.
fn meter_point(
    document: &Document,
    thing: &Thing,
    theme: &Theme,
) -> (String, Vec<Field>, egui::Color32) {
    let points = &document.setup.meter.points;
    let index = points.iter().position(|p| p.name == thing.name);
    let fields = index.map(|i| {
        let key = format!("meter.points.{}.name", i + 1);
        Field {
            shown: thing.name.clone(),
            ..field(document, &key, &thing.name, 1.0)
        }
    });
    (
        thing.name.clone(),
        fields.into_iter().collect(),
        theme.accent,
    )
}

fn field(document: &Document, key: &str, otherwise: &str, share: f32) -> Field {
    let written = document.value(key);
    Field {
        key: key.into(),
        shown: written.clone().unwrap_or_else(|| otherwise.into()),
        written,
        known: None,
        nudges: false,
        share,
    }
}

fn choose(document: &Document, key: &str, known: Vec<String>, share: f32) -> Field {
    Field {
        known: Some(known),
        ..field(document, key, "–", share)
    }
}
