//! The sheet: what the window shows. The picture large at the left, the cloth and what was measured of
//! it beside, the drawings at the right, the table under them, the margin below.

mod answers;
mod cloth;
mod commands;
mod drawings;
mod margin;
mod moved;
mod picture;
mod table;

use super::desk::Desk;
use super::theme::{Theme, small};
use super::words::f_number;
use crate::photometry::fnumber::FNumber;
use crate::setup::Setup;
use egui::{Align2, FontId, Pos2, Rect, Sense, Ui, vec2};
use std::collections::HashMap;
use std::sync::Arc;

pub use commands::Command;

/// Textures and places of the views.
#[derive(Default)]
pub struct Views {
    pub(super) picture: picture::PictureView,
    pub(super) cloth: picture::PictureView,
    pub(super) glimpses: HashMap<String, (u64, egui::TextureHandle)>,
    pub(super) drawings: drawings::Drawings,
    /// While the figure is dragged: the setup as it was, and metres it has stepped toward the camera.
    pub(super) stepped: Option<(Arc<Setup>, f64)>,
    /// Sides of the pictures as last laid out, in pixels of the screen.
    pub(super) asked_px: ([u32; 2], [u32; 2]),
}

/// Of a page whose cells hold what they have to.
const LEAST: egui::Vec2 = vec2(1180.0, 720.0);
/// Space around the page, and between its parts.
const EDGE: f32 = 18.0;
const GAP: f32 = 16.0;
const TOP: f32 = 42.0;
const BOTTOM: f32 = 52.0;
/// The rule under the cloth.
const CLOTH_RULE: f32 = 22.0;

/// Shows the sheet and lets it be worked on. In less room than its type needs it is moved about in.
pub fn show(desk: &mut Desk, ui: &mut Ui) {
    let size = ui.max_rect().size();
    ui.painter()
        .rect_filled(ui.max_rect(), 0.0, desk.theme().page);
    commands::shortcuts(desk, ui);
    if size.x >= LEAST.x && size.y >= LEAST.y {
        return show_page(desk, ui);
    }
    ui.spacing_mut().scroll = egui::style::ScrollStyle::thin();
    egui::ScrollArea::both()
        .auto_shrink([false, false])
        .show(ui, |ui| {
            let (rect, _) = ui.allocate_exact_size(size.max(LEAST), Sense::hover());
            ui.scope_builder(super::cell::place(ui, rect, "page"), |ui| {
                show_page(desk, ui)
            });
        });
}

fn show_page(desk: &mut Desk, ui: &mut Ui) {
    let theme = desk.theme();
    let page = ui.max_rect();
    let inner = page.shrink2(vec2(EDGE, 10.0));
    desk.receive();
    if desk.document.is_none() {
        answers::welcome(desk, ui, inner, &theme);
        answers::show(desk, ui, &theme);
        return;
    }
    let top = Rect::from_min_max(inner.min, Pos2::new(inner.right(), inner.top() + TOP));
    let bottom = Rect::from_min_max(Pos2::new(inner.left(), inner.bottom() - BOTTOM), inner.max);
    let middle = Rect::from_min_max(
        Pos2::new(inner.left(), top.bottom() + 8.0),
        Pos2::new(inner.right(), bottom.top() - 8.0),
    );
    heading(desk, ui, top, &theme);
    // The meter's points come into sight where the drawings stay large; elsewhere they are scrolled to.
    let wanted = table::wanted_height(desk, 0.46 * middle.height());
    let places = Places::of(middle, aspect(desk), wanted);
    let scale = ui.ctx().pixels_per_point();
    desk.views.asked_px = (
        pixels_of(places.picture.shrink(picture::BORDER).size(), scale),
        pixels_of(places.cloth.shrink(picture::BORDER).size(), scale),
    );
    let (px, cloth_px) = desk.views.asked_px;
    desk.tick(px, cloth_px);
    picture::show(desk, ui, places.picture, &theme);
    cloth::show(desk, ui, places.cloth, places.quality, &theme);
    drawings::show(desk, ui, places.plan, places.elevation, &theme);
    table::show(desk, ui, places.table, &theme);
    margin::show(desk, ui, bottom, &theme);
    answers::show(desk, ui, &theme);
}

/// Where the parts of the page are.
struct Places {
    picture: Rect,
    cloth: Rect,
    quality: Rect,
    plan: Rect,
    elevation: Rect,
    table: Rect,
}

impl Places {
    fn of(page: Rect, aspect: f32, table_height: f32) -> Self {
        // The picture takes all the height it can, but leaves the table its width.
        let border = 2.0 * picture::BORDER;
        let most = 0.42 * page.width();
        let height = page.height().min((most - border) / aspect + border);
        let width = (height - border) * aspect + border;
        let picture = Rect::from_min_size(page.min, vec2(width, height));
        let rest = Rect::from_min_max(Pos2::new(picture.right() + GAP, page.top()), page.max);
        let table_height = table_height.clamp(230.0, 0.5 * rest.height());
        let split = rest.bottom() - table_height;
        let upper = Rect::from_min_max(rest.min, Pos2::new(rest.right(), split - 10.0));
        // Cloth as tall as the drawings, beside the picture; figures over the elevation, which is low.
        let cloth = Rect::from_min_size(
            upper.min,
            vec2(0.25 * upper.width(), upper.height() - CLOTH_RULE),
        );
        let drawings = Rect::from_min_max(Pos2::new(cloth.right() + GAP, upper.top()), upper.max);
        let cut = drawings.left() + 0.53 * drawings.width();
        let plan = Rect::from_min_max(drawings.min, Pos2::new(cut - 0.5 * GAP, drawings.bottom()));
        let side = Rect::from_min_max(Pos2::new(cut + 0.5 * GAP, drawings.top()), drawings.max);
        let low = (0.68 * side.width()).clamp(0.36 * side.height(), 0.55 * side.height());
        let elevation = Rect::from_min_max(Pos2::new(side.left(), side.bottom() - low), side.max);
        let quality = Rect::from_min_max(side.min, Pos2::new(side.right(), elevation.top() - 8.0));
        Self {
            picture,
            cloth,
            quality,
            plan,
            elevation,
            table: Rect::from_min_max(Pos2::new(rest.left(), split), rest.max),
        }
    }
}

fn aspect(desk: &Desk) -> f32 {
    desk.document.as_ref().map_or(2.0 / 3.0, |d| {
        let [w, h] = d.setup.camera.pixels;
        (w as f32 / h.max(1) as f32).clamp(0.3, 3.0)
    })
}

fn pixels_of(size: egui::Vec2, scale: f32) -> [u32; 2] {
    [size.x, size.y].map(|v| (v * scale).round().clamp(0.0, 4096.0) as u32)
}

/// Title, file and exposure.
fn heading(desk: &mut Desk, ui: &mut Ui, at: Rect, theme: &Theme) {
    let Some(document) = &desk.document else {
        return;
    };
    let setup = Arc::clone(&document.setup);
    let unsaved = if document.is_unsaved() {
        " · not saved"
    } else {
        ""
    };
    let file = format!("{}{unsaved}", document.shown);
    let exposure = exposure(desk, &setup);
    let mut typed = None;
    ui.scope_builder(super::cell::place(ui, at, "heading"), |ui| {
        ui.horizontal(|ui| {
            ui.set_height(at.height() - 6.0);
            let width = (0.4 * at.width()).max(160.0);
            let title = super::cell::Cell {
                name: "title".into(),
                shown: if setup.title.is_empty() {
                    "untitled"
                } else {
                    &setup.title
                },
                written: Some(&setup.title),
                width,
                nudges: false,
                strong: true,
                hint: "",
                size: Some(super::theme::TITLE),
            };
            typed = title.show(ui, theme).1;
            ui.add(egui::Label::new(small(theme, file)).truncate());
        });
    });
    let painter = ui.painter();
    let end = Pos2::new(at.right(), at.center().y - 3.0);
    painter.text(
        end,
        Align2::RIGHT_CENTER,
        &exposure,
        FontId::proportional(14.0),
        theme.ink,
    );
    let shown = ui.interact(
        Rect::from_center_size(end - vec2(90.0, 0.0), vec2(180.0, 20.0)),
        ui.scope_id().with("exposure"),
        Sense::hover(),
    );
    super::cell::name(ui, &shown, &format!("exposure {exposure}"));
    painter.hline(at.x_range(), at.bottom(), egui::Stroke::new(1.5, theme.mid));
    if let Some(super::cell::Did::Typed(title)) = typed {
        let quoted = serde_json::to_string(&title).unwrap_or_default();
        desk.edit(&[("title".into(), quoted)], None);
    }
}

fn exposure(desk: &Desk, setup: &Setup) -> String {
    let aperture = desk
        .mix
        .as_ref()
        .and_then(|(m, _)| FNumber::exact(m.f_number))
        .map_or("f/…".into(), |n| f_number(n, desk.units));
    let c = &setup.camera;
    let shutter = if c.shutter_s < 0.3 {
        format!("1/{:.0} s", 1.0 / c.shutter_s)
    } else {
        format!("{} s", c.shutter_s)
    };
    format!(
        "{aperture}   {shutter}   ISO {}   {:.0} mm",
        c.iso,
        1e3 * c.focal_length_m
    )
}
