//! Which part of a sheet is in sight.

use super::moves::Held;
use crate::report::plan::Thing;
use egui::{Pos2, Rect, Vec2};

/// The farthest one can go in.
const CLOSEST: f64 = 16.0;

/// What a drawing in the window remembers from frame to frame: where one looks, and what one holds.
#[derive(Debug, Clone)]
pub struct ViewState {
    /// 1 shows the whole sheet.
    zoom: f64,
    /// In the middle of the frame, as shares of the sheet.
    middle: [f64; 2],
    rect: Rect,
    size_mm: [f64; 2],
    pub(super) held: Option<Held>,
    /// What the pointer is on.
    pub hovered: Option<Thing>,
}

impl Default for ViewState {
    fn default() -> Self {
        Self {
            zoom: 1.0,
            middle: [0.5; 2],
            rect: Rect::ZERO,
            size_mm: [1.0; 2],
            held: None,
            hovered: None,
        }
    }
}

impl ViewState {
    /// Whether a thing is being moved or aimed.
    pub fn is_held(&self) -> bool {
        self.held.as_ref().is_some_and(|h| h.hold.thing().is_some())
    }

    /// How much larger than the whole sheet.
    pub fn zoom(&self) -> f64 {
        self.zoom
    }

    /// The whole sheet again.
    pub fn whole(&mut self) {
        self.zoom = 1.0;
        self.middle = [0.5; 2];
    }

    /// The place of the sheet at a place on the screen, as last shown, millimetres.
    pub fn mm_of_screen(&self, at: Pos2) -> [f64; 2] {
        self.sight().mm(at)
    }

    /// The place on the screen of a place of the sheet, as last shown.
    pub fn screen_of_mm(&self, at_mm: [f64; 2]) -> Pos2 {
        self.sight().at(at_mm)
    }

    /// Takes in where on the screen, and how large a sheet.
    pub(super) fn fit(&mut self, rect: Rect, size_mm: [f64; 2]) {
        self.rect = rect;
        self.size_mm = size_mm.map(|v| v.max(1.0));
    }

    pub(super) fn sight(&self) -> Sight {
        let size = [self.rect.width(), self.rect.height()].map(|v| f64::from(v).max(1.0));
        let whole = (0..2)
            .map(|k| size[k] / self.size_mm[k])
            .fold(f64::INFINITY, f64::min);
        Sight {
            centre: self.rect.center(),
            middle_mm: [0, 1].map(|k| self.middle[k] * self.size_mm[k]),
            points_per_mm: whole * self.zoom,
        }
    }

    /// Closer by a factor; what is under `about` stays there, as far as the sheet's edges let it.
    pub(super) fn zoom_about(&mut self, about: Pos2, factor: f64) {
        if !factor.is_finite() || factor <= 0.0 || factor == 1.0 {
            return;
        }
        let kept_mm = self.sight().mm(about);
        self.zoom = (self.zoom * factor).clamp(1.0, CLOSEST);
        let now_mm = self.sight().mm(about);
        self.shift([0, 1].map(|k| kept_mm[k] - now_mm[k]));
    }

    pub(super) fn pan(&mut self, by: Vec2) {
        let per_mm = self.sight().points_per_mm;
        self.shift([by.x, by.y].map(|v| -f64::from(v) / per_mm));
    }

    /// Moves the middle; the sheet stays in the frame.
    fn shift(&mut self, by_mm: [f64; 2]) {
        let size = [self.rect.width(), self.rect.height()].map(f64::from);
        let per_mm = self.sight().points_per_mm;
        for k in 0..2 {
            let in_sight = (size[k] / per_mm / self.size_mm[k]).min(1.0);
            let wanted = self.middle[k] + by_mm[k] / self.size_mm[k];
            self.middle[k] = wanted.clamp(0.5 * in_sight, 1.0 - 0.5 * in_sight);
        }
    }
}

/// From sheet to screen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sight {
    centre: Pos2,
    middle_mm: [f64; 2],
    pub points_per_mm: f64,
}

impl Sight {
    pub fn at(&self, mm: [f64; 2]) -> Pos2 {
        let [x, y] = [0, 1].map(|k| ((mm[k] - self.middle_mm[k]) * self.points_per_mm) as f32);
        self.centre + Vec2::new(x, y)
    }

    pub fn mm(&self, at: Pos2) -> [f64; 2] {
        let by = at - self.centre;
        [
            self.middle_mm[0] + f64::from(by.x) / self.points_per_mm,
            self.middle_mm[1] + f64::from(by.y) / self.points_per_mm,
        ]
    }

    pub fn length(&self, mm: f64) -> f32 {
        (mm * self.points_per_mm) as f32
    }
}
