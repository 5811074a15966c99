//! The camera's picture: as large as the page allows, on middle grey; pointed at, it tells its stops.

use crate::app::cell::name;
use crate::app::desk::{Desk, Held};
use crate::app::engine::Layers;
use crate::app::mixing::{self, Looking, STEPS_FROM, STEPS_TO};
use crate::app::theme::{SMALL, Theme};
use crate::photometry::colour::light::luminance;
use egui::{
    Align2, Color32, FontId, LayerId, Order, Painter, Pos2, Rect, Sense, Stroke, TextureOptions,
    Ui, vec2,
};
use std::sync::Arc;

/// Grey around a picture.
pub const BORDER: f32 = 10.0;

/// A picture on the screen, and what it was made from.
#[derive(Default)]
pub struct PictureView {
    pub(super) texture: Option<egui::TextureHandle>,
    made_of: Option<(u64, usize, Looking, bool)>,
}

impl PictureView {
    /// Makes the texture anew where light, mix or looks have changed.
    pub(super) fn refresh(&mut self, ui: &Ui, called: &str, desk: &Looks<'_>, layers: &Layers) {
        let made_of = (
            layers.version,
            desk.mix as *const _ as usize,
            desk.looking,
            layers.coarse,
        );
        if self.made_of == Some(made_of) && self.texture.is_some() {
            return;
        }
        let weights = mixing::weights(&desk.mix.weights, &desk.mix.development, &desk.looking);
        if weights.len() != layers.layers {
            // Light of another setup: what there is stands until the new comes.
            return;
        }
        let image = mixing::picture(layers, &weights, &desk.looking);
        let options = if layers.coarse {
            TextureOptions::LINEAR
        } else {
            TextureOptions::NEAREST
        };
        match &mut self.texture {
            Some(texture) => texture.set(image, options),
            None => self.texture = Some(ui.ctx().load_texture(called, image, options)),
        }
        self.made_of = Some(made_of);
    }
}

/// How to look at layers.
pub(super) struct Looks<'a> {
    pub mix: &'a crate::measure::take::Mix,
    pub looking: Looking,
}

/// Shows it.
pub fn show(desk: &mut Desk, ui: &mut Ui, at: Rect, theme: &Theme) {
    ui.painter().rect_filled(at, 0.0, theme.surround);
    let inside = at.shrink(BORDER);
    let layers = desk.shown.picture.clone();
    if let (Some(layers), Some((mix, _))) = (&layers, &desk.mix) {
        let looks = Looks {
            mix,
            looking: desk.looking,
        };
        desk.views.picture.refresh(ui, "picture", &looks, layers);
    }
    let response = ui.interact(
        inside,
        ui.scope_id().with("picture"),
        Sense::click_and_drag(),
    );
    name(ui, &response, "picture through the camera");
    let Some(texture) = desk.views.picture.texture.clone() else {
        let words = desk
            .shown
            .trouble
            .as_ref()
            .map_or(desk.shown.at_work.stage.as_str(), |(_, t)| t);
        ui.painter().text(
            inside.center(),
            Align2::CENTER_CENTER,
            words,
            FontId::proportional(13.0),
            Color32::from_gray(225),
        );
        return;
    };
    paint(ui, &texture, inside);
    if let Some(held) = desk.held.clone() {
        wipe(desk, ui, inside, &held, &response);
    }
    if desk.looking.steps {
        key(ui, inside);
    }
    if let (Some(layers), Some(pointer)) = (&layers, response.hover_pos())
        && !ui.input(|i| i.pointer.any_down())
    {
        point_at(desk, ui, inside, layers, pointer);
    }
    if response.clicked()
        && let Some(pointer) = response.interact_pointer_pos()
    {
        lay_cloth_at(desk, inside, pointer);
    }
}

/// Paints a texture over all of a place.
pub(super) fn paint(ui: &Ui, texture: &egui::TextureHandle, at: Rect) {
    let whole = Rect::from_min_max(Pos2::ZERO, Pos2::new(1.0, 1.0));
    ui.painter().image(texture.id(), at, whole, Color32::WHITE);
}

/// The held picture to the left of a line that can be drawn across.
fn wipe(desk: &mut Desk, ui: &Ui, at: Rect, held: &Held, response: &egui::Response) {
    if response.dragged()
        && let Some(pointer) = response.interact_pointer_pos()
    {
        desk.wipe = ((pointer.x - at.left()) / at.width()).clamp(0.0, 1.0);
    }
    let x = at.left() + desk.wipe * at.width();
    let painter = ui
        .painter()
        .with_clip_rect(Rect::from_min_max(at.min, Pos2::new(x, at.bottom())));
    let whole = Rect::from_min_max(Pos2::ZERO, Pos2::new(1.0, 1.0));
    painter.image(held.texture.id(), at, whole, Color32::WHITE);
    let painter = ui.painter();
    painter.vline(x, at.y_range(), Stroke::new(1.0, Color32::WHITE));
    for (dx, align, words) in [
        (-6.0, Align2::RIGHT_BOTTOM, "held"),
        (6.0, Align2::LEFT_BOTTOM, "now"),
    ] {
        let place = Pos2::new(x + dx, at.bottom() - 6.0);
        plate(painter, place, align, words);
    }
}

/// The colours of the steps, with their stops.
fn key(ui: &Ui, at: Rect) {
    let height = (0.5 * at.height()).min(240.0);
    let bar = Rect::from_min_size(
        Pos2::new(at.left() + 8.0, at.bottom() - height - 8.0),
        vec2(14.0, height),
    );
    let rows = ((STEPS_TO - STEPS_FROM) * 3.0) as usize;
    let row = height / rows as f32;
    let painter = ui.painter();
    for k in 0..rows {
        let stops = STEPS_FROM + (k as f64 + 0.5) / 3.0;
        let top = bar.bottom() - (k + 1) as f32 * row;
        let cell = Rect::from_min_size(Pos2::new(bar.left(), top), vec2(bar.width(), row + 0.5));
        painter.rect_filled(cell, 0.0, mixing::step_colour(stops));
    }
    for stop in STEPS_FROM as i32..=STEPS_TO as i32 {
        let y = bar.bottom() - (f64::from(stop) - STEPS_FROM) as f32 * 3.0 * row;
        let words = match stop {
            0 => "18 %".to_owned(),
            s => format!("{s:+}"),
        };
        plate(
            painter,
            Pos2::new(bar.right() + 4.0, y),
            Align2::LEFT_CENTER,
            &words,
        );
    }
}

/// Small white words on a dark plate.
pub(super) fn plate(painter: &Painter, at: Pos2, align: Align2, words: &str) -> Rect {
    let galley = painter.layout_no_wrap(
        words.to_owned(),
        FontId::proportional(SMALL),
        Color32::WHITE,
    );
    let place = align.anchor_size(at, galley.size() + vec2(8.0, 4.0));
    painter.rect_filled(place, 0.0, Color32::from_black_alpha(170));
    painter.galley(place.min + vec2(4.0, 2.0), galley, Color32::WHITE);
    place
}

/// What is read of a pixel.
pub(super) fn reading_at(
    desk: &Desk,
    layers: &Layers,
    [u, v]: [f32; 2],
) -> Option<(String, [f64; 2])> {
    let (mix, _) = desk.mix.as_ref()?;
    let x = ((u * layers.width as f32) as usize).min(layers.width.checked_sub(1)?);
    let y = ((v * layers.height as f32) as usize).min(layers.height.checked_sub(1)?);
    let index = y * layers.width + x;
    let weights = mixing::weights(&mix.weights, &mix.development, &desk.looking);
    if weights.len() != layers.layers {
        return None;
    }
    let linear = mixing::pixel(layers, &weights, index);
    let rgb = linear.map(mixing::code);
    let stops = mixing::stops(linear);
    let reflectance = layers
        .reflectance
        .get(index)
        .map_or(0.0, |r| luminance(r.map(f64::from)));
    let stops_text = if stops.is_finite() {
        format!("{stops:+.1} stops on 18 %")
    } else {
        "no light".to_owned()
    };
    // What falls on a matt surface that looks so: E = π L / ρ, the display value being π L S / (N² C).
    let iso = desk.document.as_ref()?.setup.camera.iso;
    let constant = mix
        .expose_at
        .meter
        .receptor
        .constant(&desk.document.as_ref()?.setup.meter.constants);
    let exposure = luminance(linear.map(f64::from)) * mix.f_number.powi(2) * constant / iso;
    let falls = if reflectance > 0.01 {
        format!(
            "\n{:.3} reflectance, about {:.0} lx s on it",
            reflectance,
            exposure / reflectance
        )
    } else {
        String::new()
    };
    let text = format!("{stops_text}\nsRGB {} {} {}{falls}", rgb[0], rgb[1], rgb[2]);
    Some((text, [f64::from(u), f64::from(v)]))
}

fn point_at(desk: &Desk, ui: &Ui, at: Rect, layers: &Layers, pointer: Pos2) {
    let uv = [
        (pointer.x - at.left()) / at.width(),
        (pointer.y - at.top()) / at.height(),
    ];
    let Some((words, _)) = reading_at(desk, layers, uv) else {
        return;
    };
    callout(ui, at, pointer, &words);
}

/// Words beside a ring about what is pointed at.
pub(super) fn callout(ui: &Ui, at: Rect, pointer: Pos2, words: &str) {
    // Over what lies beside the picture.
    let layer = LayerId::new(Order::Tooltip, ui.scope_id().with("callout"));
    let painter = &ui.ctx().layer_painter(layer);
    for (radius, colour) in [(8.0, Color32::BLACK), (7.0, Color32::WHITE)] {
        painter.circle_stroke(pointer, radius, Stroke::new(1.0, colour));
    }
    let right = pointer.x < at.center().x;
    let side = if right {
        Align2::LEFT_BOTTOM
    } else {
        Align2::RIGHT_BOTTOM
    };
    let dx = if right { 14.0 } else { -14.0 };
    let y = (pointer.y - 12.0).max(at.top() + 64.0);
    plate(painter, Pos2::new(pointer.x + dx, y), side, words);
}

/// A click chooses the point that is nearest in the picture for the cloth to be looked at.
fn lay_cloth_at(desk: &mut Desk, at: Rect, pointer: Pos2) {
    let Some(document) = &desk.document else {
        return;
    };
    let setup = Arc::clone(&document.setup);
    let uv = vec2(
        (pointer.x - at.left()) / at.width(),
        (pointer.y - at.top()) / at.height(),
    );
    let camera = &setup.camera;
    let on_picture = |p: glam::DVec3| {
        let d = p - camera.position_m;
        let depth = d.dot(camera.direction);
        let image_m = camera.image_distance_m();
        let x = d.dot(camera.right) / depth - camera.shift_tan[0];
        let y = d.dot(camera.up) / depth - camera.shift_tan[1];
        vec2(
            0.5 + (x * image_m / camera.picture_m[0]) as f32,
            0.5 - (y * image_m / camera.picture_m[1]) as f32,
        )
    };
    let points = setup.figure.iter().flat_map(|f| &f.body_points_m);
    let swatch = setup
        .swatch
        .iter()
        .map(|s| ("swatch".to_owned(), s.frame.origin_m));
    let all = points.map(|(n, p)| (n.clone(), *p)).chain(swatch);
    let nearest = all
        .map(|(n, p)| (n, (on_picture(p) - uv).length()))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((point, away)) = nearest
        && away < 0.2
    {
        desk.cloth_point = point;
    }
}
