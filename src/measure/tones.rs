//! Tones of a finished picture that a set is to have in common: the background's and the skin's, from
//! linear light.
//!
//! Both are medians of luminance after development, told in stops from the 18 % that a grey card at the
//! exposing meter shows.

use crate::photometry::colour::light::luminance;
use crate::render::film::Film;
use crate::setup::{Backdrop, Setup};
use glam::DVec3;
use serde::{Deserialize, Serialize};

/// Half the width of the skin that is looked at about the face point.
const SKIN_M: f64 = 0.015;
/// A pixel farther than this from where the face is shows something else.
const FACE_DEPTH_M: f64 = 0.06;
/// Fewer pixels of background are none.
const LEAST_BACKGROUND: f64 = 0.005;
/// What a grey card reflects.
const GREY: f64 = 0.18;

/// Where tones are looked for in a picture: all that is needed beside the film.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Probe {
    lens_m: [f64; 3],
    /// Through the picture's middle, and to its right and top edge, in units along the optical axis.
    middle: [f64; 3],
    right: [f64; 3],
    top: [f64; 3],
    /// What lies behind this (z) is background.
    behind_z_m: Option<f64>,
    face_m: Option<[f64; 3]>,
}

/// Tones in stops over (or under, negative) an 18 % card.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Tones {
    /// The background's median; none where too little of it is seen, or it is black.
    pub background_stops: Option<f64>,
    /// Between a tenth of the background and nine tenths of it.
    pub background_range_stops: Option<f64>,
    /// The skin's median about the face point; none where the face is not seen.
    pub skin_stops: Option<f64>,
}

impl Probe {
    /// For a setup's picture.
    pub fn of(setup: &Setup) -> Self {
        let c = &setup.camera;
        let half = c.half_tan();
        let middle = c.direction + c.right * c.shift_tan[0] + c.up * c.shift_tan[1];
        let wall = setup.room.shell.as_ref().map(|s| s.z_m[0] + 0.3);
        let behind_z_m = match &setup.backdrop {
            // Where the paper has left the floor.
            Backdrop::Seamless(s) => Some(-s.behind_m + 0.5 * s.curve_m),
            Backdrop::None => wall,
        };
        let face = setup
            .figure
            .as_ref()
            .and_then(|f| f.body_points_m.get("face"));
        Self {
            lens_m: c.position_m.into(),
            middle: middle.into(),
            right: (c.right * half[0]).into(),
            top: (c.up * half[1]).into(),
            behind_z_m,
            face_m: face.map(|p| (*p).into()),
        }
    }

    /// The tones of a film mixed with `weights` and developed with `gain`.
    pub fn tones(&self, film: &Film, weights: &[[f64; 3]], gain: [f64; 3]) -> Tones {
        let lens = DVec3::from(self.lens_m);
        let (middle, right, top) = (
            DVec3::from(self.middle),
            DVec3::from(self.right),
            DVec3::from(self.top),
        );
        let face = self.face_m.map(DVec3::from);
        let (mut background, mut skin) = (Vec::new(), Vec::new());
        for y in 0..film.rows {
            for x in 0..film.width {
                let pixel = y as usize * film.width as usize + x as usize;
                let seen = &film.seen[pixel];
                // Edges see two things at once.
                if seen.met < film.row_samples[y as usize] as f32 || seen.met <= 0.0 {
                    continue;
                }
                let across = (2.0 * f64::from(x) + 1.0) / f64::from(film.width) - 1.0;
                let up = 1.0 - (2.0 * f64::from(film.first_row + y) + 1.0) / f64::from(film.rows);
                let ray = (middle + right * across + top * up).normalize_or_zero();
                let at = lens + ray * f64::from(seen.depth_m / seen.met);
                let tone = || luminance(developed(film, x, y, weights, gain));
                if self.behind_z_m.is_some_and(|z| at.z < z) {
                    background.push(tone());
                }
                let near = |f: DVec3| {
                    let depth = (f - lens).length();
                    let off = (at - f).reject_from_normalized(ray).length();
                    off < SKIN_M && ((at - lens).length() - depth).abs() < FACE_DEPTH_M
                };
                if face.is_some_and(near) {
                    skin.push(tone());
                }
            }
        }
        let pixels = f64::from(film.width) * f64::from(film.rows);
        let enough = background.len() as f64 >= LEAST_BACKGROUND * pixels;
        background.sort_by(f64::total_cmp);
        skin.sort_by(f64::total_cmp);
        let background_at = |share| enough.then(|| quantile(&background, share)).flatten();
        Tones {
            background_stops: background_at(0.5),
            background_range_stops: background_at(0.9)
                .zip(background_at(0.1))
                .map(|(a, b)| a - b),
            skin_stops: quantile(&skin, 0.5),
        }
    }
}

/// In stops from grey; none in the dark.
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let value = sorted[(share * last as f64).round() as usize];
    (value > 0.0).then(|| (value / GREY).log2())
}

fn developed(film: &Film, x: u32, y: u32, weights: &[[f64; 3]], gain: [f64; 3]) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for (layer, weight) in weights.iter().enumerate() {
        let light = film.mean(x, y, layer as u32);
        for c in 0..3 {
            sum[c] += f64::from(light[c]) * weight[c] * gain[c];
        }
    }
    sum
}
