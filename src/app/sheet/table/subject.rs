//! Subject and camera, and the rest of the selected light: lines of cells under the table.

use super::cells::choice;
use super::{Changes, LINE};
use crate::app::cell::{Cell, Did};
use crate::app::desk::Desk;
use crate::app::theme::Theme;
use crate::report::plan::Kind;
use crate::setup::Setup;
use egui::{Align2, FontId, Pos2, Rect, Stroke, Ui, UiBuilder, vec2};

/// Subject, camera, and the rest of what is selected.
pub(super) fn subject(
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
        let called = key.replace(['.', '_'], " ");
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
