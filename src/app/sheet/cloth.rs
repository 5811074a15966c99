//! The cloth under the same light, from whole piece to thread, and what was measured of the light.

use super::picture::{BORDER, Looks, callout, paint, reading_at};
use crate::app::cell::name;
use crate::app::desk::Desk;
use crate::app::theme::{BODY, SMALL, Theme};
use crate::measure::weave_contrast::WeaveContrast;
use egui::{Align2, Color32, FontId, Key, Pos2, Rect, Sense, Stroke, Ui, vec2};

/// The widths of cloth that can be seen: thread to whole piece.
const NARROWEST_M: f64 = 0.004;
const WIDEST_M: f64 = 0.4;
/// A wheel's notch.
const NOTCH: f64 = 1.189_207;

/// Shows cloth and figures.
pub fn show(desk: &mut Desk, ui: &mut Ui, at: Rect, quality: Rect, theme: &Theme) {
    ui.painter().rect_filled(at, 0.0, theme.surround);
    let inside = at.shrink(BORDER);
    let layers = desk.shown.cloth.clone();
    if let (Some(layers), Some((mix, _))) = (&layers, &desk.mix) {
        let looks = Looks {
            mix,
            looking: desk.looking,
        };
        desk.views.cloth.refresh(ui, "cloth", &looks, layers);
    }
    let response = ui.interact(inside, ui.scope_id().with("cloth"), Sense::click_and_drag());
    name(ui, &response, &format!("cloth at {}", desk.cloth_point));
    pull(desk, ui, &response);
    match desk.views.cloth.texture.clone() {
        Some(texture) => paint(ui, &texture, inside),
        None => drop(ui.painter().text(
            inside.center(),
            Align2::CENTER_CENTER,
            "the cloth follows",
            FontId::proportional(BODY),
            Color32::from_gray(225),
        )),
    }
    if let (Some(layers), Some(pointer)) = (&layers, response.hover_pos())
        && !ui.input(|i| i.pointer.any_down())
    {
        let uv = [
            (pointer.x - inside.left()) / inside.width(),
            (pointer.y - inside.top()) / inside.height(),
        ];
        if let Some((words, _)) = reading_at(desk, layers, uv) {
            callout(ui, inside, pointer, &words);
        }
    }
    ruler(desk, ui, inside, at.bottom() + 3.0, theme);
    figures(desk, ui, quality, theme);
}

/// Pulls the cloth nearer or farther: wheel, a drag up or down, or the keys + and -.
fn pull(desk: &mut Desk, ui: &Ui, response: &egui::Response) {
    let mut by = 1.0;
    if response.hovered() {
        let scrolled = ui.input(|i| i.smooth_scroll_delta.y);
        by *= (-f64::from(scrolled) * 0.006).exp();
        by /= f64::from(ui.input(|i| i.zoom_delta()));
    }
    if response.dragged() {
        by *= (f64::from(response.drag_delta().y) * 0.01).exp();
    }
    if response.has_focus() {
        let pressed = |k| ui.input(|i| i.key_pressed(k));
        if pressed(Key::Plus) || pressed(Key::Equals) {
            by /= NOTCH;
        }
        if pressed(Key::Minus) {
            by *= NOTCH;
        }
    }
    desk.cloth_width_m = (desk.cloth_width_m * by).clamp(NARROWEST_M, WIDEST_M);
}

/// A rule in mm or cm under the cloth.
fn ruler(desk: &Desk, ui: &Ui, over: Rect, top: f32, theme: &Theme) {
    let width_mm = 1e3 * desk.cloth_width_m;
    let step = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0]
        .into_iter()
        .find(|s| width_mm / s <= 6.0)
        .unwrap_or(100.0);
    let painter = ui.painter();
    let x = |mm: f64| over.left() + (mm / width_mm) as f32 * over.width();
    let mut mm = 0.0;
    while mm <= width_mm + 1e-9 {
        painter.vline(x(mm), top..=top + 5.0, Stroke::new(1.0, theme.ink));
        let words = match (mm, step >= 10.0) {
            (0.0, _) => "0".to_owned(),
            (mm, true) => format!("{} cm", mm / 10.0),
            (mm, false) => format!("{mm} mm"),
        };
        let align = if mm == 0.0 {
            Align2::LEFT_TOP
        } else {
            Align2::CENTER_TOP
        };
        if x(mm) < over.right() - 8.0 {
            painter.text(
                Pos2::new(x(mm), top + 6.0),
                align,
                words,
                FontId::proportional(10.0),
                theme.mid,
            );
        }
        mm += step;
    }
}

/// What was measured, line by line.
fn figures(desk: &Desk, ui: &mut Ui, at: Rect, theme: &Theme) {
    let painter = ui.painter().with_clip_rect(at);
    let fabric = desk.document.as_ref().and_then(|d| {
        let worn = d.setup.figure.as_ref().map(|f| f.spec.fabric.clone());
        worn.or_else(|| d.setup.swatch.as_ref().map(|s| s.fabric.clone()))
    });
    let title = format!("{} at {}", fabric.unwrap_or_default(), desk.cloth_point);
    let strong = FontId::proportional(BODY);
    painter.text(at.min, Align2::LEFT_TOP, title, strong.clone(), theme.ink);
    let lines = lines(desk);
    let mut y = at.top() + 20.0;
    let row = 17.0_f32
        .min((at.height() - 20.0) / lines.len().max(1) as f32)
        .max(12.5);
    for (k, line) in lines.iter().enumerate() {
        let place = Rect::from_min_size(Pos2::new(at.left(), y), vec2(at.width(), row));
        painter.text(
            Pos2::new(at.left(), y),
            Align2::LEFT_TOP,
            &line.label,
            FontId::proportional(SMALL.min(row - 1.5)),
            theme.mid,
        );
        painter.text(
            Pos2::new(at.right(), y),
            Align2::RIGHT_TOP,
            &line.value,
            FontId::proportional(BODY.min(row - 0.5)),
            if line.fresh { theme.ink } else { theme.mid },
        );
        let spoken = ui.interact(place, ui.scope_id().with(("figure", k)), Sense::hover());
        name(ui, &spoken, &format!("{} {}", line.label, line.value));
        y += row;
    }
}

struct Line {
    label: String,
    value: String,
    fresh: bool,
}

fn lines(desk: &Desk) -> Vec<Line> {
    let mut lines = Vec::new();
    let (Some((mix, fresh)), Some(basis)) = (&desk.mix, &desk.shown.basis) else {
        return lines;
    };
    let mut line = |label: String, value: String, fresh: bool| {
        lines.push(Line {
            label,
            value,
            fresh,
        })
    };
    let held = desk.held.as_ref();
    let was = |now: String, then: Option<String>| match then {
        Some(then) if then != now => format!("{now}  (was {then})"),
        _ => now,
    };
    for edge in basis.edges.iter().take(3) {
        let width = |e: &crate::measure::edge::Edge| {
            let (least, greatest) = (e.least_mm, e.greatest_mm);
            if greatest < 1.15 * least {
                format!("{greatest:.1} mm")
            } else {
                format!("{least:.1} to {greatest:.1} mm")
            }
        };
        let then = held
            .and_then(|h| h.basis.as_ref())
            .and_then(|b| b.edges.iter().find(|e| e.light == edge.light))
            .map(|e| width(&e.edge));
        line(
            format!("shadow edge, {}", edge.light),
            was(width(&edge.edge), then),
            *fresh && basis.edges_known,
        );
    }
    let then = held.and_then(|h| h.mix.as_ref());
    if let Some(stops) = mix.evenness_stops {
        let then = then
            .and_then(|m| m.evenness_stops)
            .map(|s| format!("{s:.1} stops"));
        line(
            "face to hem".into(),
            was(format!("{stops:.1} stops"), then),
            *fresh,
        );
    }
    for ratio in mix.ratios.iter().take(2) {
        let text = |r: f64| format!("{r:.1} : 1");
        let then = then
            .and_then(|m| {
                m.ratios
                    .iter()
                    .find(|r| r.key == ratio.key && r.fill == ratio.fill)
            })
            .map(|r| text(r.key_and_fill_to_fill));
        line(
            format!("({} + {}) : {}", ratio.key, ratio.fill, ratio.fill),
            was(text(ratio.key_and_fill_to_fill), then),
            *fresh,
        );
    }
    match &desk.shown.weave {
        Some(weave) => {
            let now = weave.number == basis.number && *fresh;
            let text = |read: &WeaveContrast| {
                // A glance sees a few threads: its second figure is not to be trusted.
                if weave.at_a_glance {
                    format!("about {:.2} rms", sharpest(read))
                } else {
                    format!("{:.3} rms", sharpest(read))
                }
            };
            line("weave, relief".into(), text(&weave.relief), now);
            line("weave, as dyed".into(), text(&weave.as_dyed), now);
        }
        None => line("weave".into(), "being read".into(), false),
    }
    if let Some((seen, now)) = desk.garment() {
        if let Some(folds) = seen.folds {
            let stops = folds
                .rms_stops_without_noise
                .map_or(folds.rms_stops, |c| c.value);
            line("folds".into(), format!("{stops:.2} stops rms"), now);
        }
        let percent = |share: f64| match 100.0 * share {
            p if p > 0.0 && p < 0.1 => "under 0.1 %".to_owned(),
            p => format!("{p:.1} %"),
        };
        let bright = seen.bright;
        line(
            "highlights on garment".into(),
            percent(bright.highlight_share.value),
            now,
        );
        line(
            "clipped on garment".into(),
            percent(bright.clipped_share.value),
            now,
        );
    }
    lines
}

/// Without the picture's own noise where that is known.
fn sharpest(weave: &WeaveContrast) -> f64 {
    weave.rms_without_noise.map_or(weave.rms, |c| c.value)
}
