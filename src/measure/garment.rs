//! What a picture shows of what is worn: how strongly the light models its folds, and how much of it is
//! highlight or clipped. Read from the camera's own picture, so it costs no light of its own.

use super::cloth_at::{Bright, bright};
use super::swatch_view::SwatchShot;
use super::weave_contrast::{FOLD_SIDE_MM, FoldContrast, Luminance, fold_contrast};
use crate::photometry::colour::light::luminance;
use crate::render::film::Film;
use crate::render::sight::first_met;
use crate::scene::Scene;
use crate::scene::records::NOTHING;
use crate::setup::{Setup, Swatch};
use glam::DVec3;

/// Cloth around the square that folds are read from, which the mean they are divided by looks at.
const AROUND_MM: f64 = 90.0;
/// Least of the picture that counts as seen.
const LEAST_PIXELS: usize = 400;
/// A patch shown beside the figure is no garment: what is met so near its plane is the patch.
const PATCH_M: f64 = 0.03;

/// Where a picture shows what is worn.
#[derive(Debug, Clone)]
pub struct GarmentView {
    width: usize,
    rows: usize,
    inside: Vec<bool>,
    /// The pixel where folds are read, from the left and the top.
    about_px: [f64; 2],
    /// Side of a pixel there.
    mm_per_px: f64,
}

/// A picture in layers of linear light.
#[derive(Debug, Clone, Copy)]
pub struct Layered<'a> {
    /// Mean light, `[pixel][layer]`.
    pub light: &'a [[f32; 3]],
    /// Relative error of each pixel ([`relative_errors`]).
    pub relative_errors: &'a [f32],
    /// Samples of each pixel.
    pub samples: u32,
}

/// What was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GarmentSeen {
    /// Folds about the point; none where less than enough of the garment is seen there.
    pub folds: Option<FoldContrast>,
    /// Of all of the garment that is seen.
    pub bright: Bright,
}

impl GarmentView {
    /// Finds the garment in the picture that the setup's camera takes of `scene`, about `point_m`. None
    /// where nothing is worn, or next to nothing of it is seen.
    pub fn of(setup: &Setup, scene: &Scene, point_m: DVec3) -> Option<Self> {
        let worn = setup.figure.as_ref()?;
        if worn.spec.garments.is_empty() {
            return None;
        }
        let c = &setup.camera;
        let [width, rows] = c.pixels.map(|p| p as usize);
        let half = c.half_tan();
        let middle = c.direction + c.right * c.shift_tan[0] + c.up * c.shift_tan[1];
        let direction = |pixel: usize| {
            let (x, y) = ((pixel % width) as f64, (pixel / width) as f64);
            let across = (2.0 * x + 1.0) / width as f64 - 1.0;
            let up = 1.0 - (2.0 * y + 1.0) / rows as f64;
            (middle + c.right * (half[0] * across) + c.up * (half[1] * up)).normalize()
        };
        let rays: Vec<_> = (0..width * rows).map(|p| direction(p).as_vec3()).collect();
        let met = first_met(scene, c.position_m.as_vec3(), &rays);
        let patch = setup.swatch.as_ref().filter(|s| s.shown);
        let is_worn = |(pixel, met): (usize, &Option<crate::render::sight::Met>)| {
            met.is_some_and(|m| {
                let is_cloth = scene.materials[m.material as usize].cloth != NOTHING.0;
                let at = || c.position_m + rays[pixel].as_dvec3() * f64::from(m.distance_m);
                is_cloth && !patch.is_some_and(|p| is_on(p, at()))
            })
        };
        let worn_there: Vec<bool> = met.iter().enumerate().map(is_worn).collect();
        // A pixel at the edge shows what lies behind too.
        let within = |pixel: usize| {
            let (x, y) = (pixel % width, pixel / width);
            let inner = x > 0 && y > 0 && x + 1 < width && y + 1 < rows;
            let around = || [pixel - 1, pixel + 1, pixel - width, pixel + width];
            worn_there[pixel] && inner && around().iter().all(|p| worn_there[*p])
        };
        let inside: Vec<bool> = (0..width * rows).map(within).collect();
        if inside.iter().filter(|i| **i).count() < LEAST_PIXELS {
            return None;
        }
        let to = point_m - c.position_m;
        let depth_m = to.dot(c.direction).max(0.01);
        let tan = [to.dot(c.right) / depth_m, to.dot(c.up) / depth_m];
        let place = [0, 1].map(|k| (tan[k] - c.shift_tan[k]) / half[k]);
        Some(Self {
            width,
            rows,
            inside,
            about_px: [
                0.5 * (place[0] + 1.0) * width as f64,
                0.5 * (1.0 - place[1]) * rows as f64,
            ],
            mm_per_px: 2e3 * half[0] * depth_m / width as f64,
        })
    }

    /// Which pixels show what is worn, row by row.
    pub fn inside(&self) -> &[bool] {
        &self.inside
    }

    /// Side of a pixel where folds are read, and that place, from the picture's left and top.
    pub fn scale(&self) -> (f64, [f64; 2]) {
        (self.mm_per_px, self.about_px)
    }

    /// Reads the picture, its layers mixed with `weights` and developed with `gain`. None where the picture
    /// has other pixels or layers.
    pub fn read(
        &self,
        picture: &Layered<'_>,
        weights: &[[f64; 3]],
        gain: [f64; 3],
    ) -> Option<GarmentSeen> {
        let layers = weights.len();
        let fits = picture.light.len() == self.inside.len() * layers
            && picture.relative_errors.len() == self.inside.len();
        if !fits || layers == 0 {
            return None;
        }
        let rgb = |pixel: usize| {
            let mut sum = [0.0; 3];
            let light = &picture.light[pixel * layers..(pixel + 1) * layers];
            for (mean, weight) in light.iter().zip(weights) {
                for k in 0..3 {
                    sum[k] += f64::from(mean[k]) * weight[k] * gain[k];
                }
            }
            sum
        };
        let seen = self.inside.iter().filter(|i| **i).count();
        let mut shot = SwatchShot {
            width: seen,
            height: 1,
            mm_per_px: self.mm_per_px,
            rgb: Vec::with_capacity(seen),
            luminance: Vec::with_capacity(seen),
            errors: Vec::with_capacity(seen),
            samples: picture.samples,
        };
        let mut all = vec![(0.0_f32, 0.0_f32); self.inside.len()];
        for pixel in (0..self.inside.len()).filter(|p| self.inside[*p]) {
            let c = rgb(pixel);
            let tone = luminance(c).max(0.0) as f32;
            let error = tone * picture.relative_errors[pixel];
            shot.rgb.push(c.map(|v| v as f32));
            shot.luminance.push(tone);
            shot.errors.push(error);
            all[pixel] = (tone, error);
        }
        Some(GarmentSeen {
            folds: self.folds(&all),
            bright: bright(&shot),
        })
    }

    /// Folds in the square about the point, of pixels' luminance and error.
    fn folds(&self, all: &[(f32, f32)]) -> Option<FoldContrast> {
        let reach = (0.5 * FOLD_SIDE_MM + AROUND_MM) / self.mm_per_px;
        let span = |k: usize, most: usize| {
            let from = (self.about_px[k] - reach).max(0.0).round() as usize;
            let to = ((self.about_px[k] + reach).round().max(0.0) as usize).min(most);
            from.min(to)..to
        };
        let (columns, rows) = (span(0, self.width), span(1, self.rows));
        let pixels: Vec<usize> = rows
            .clone()
            .flat_map(|y| columns.clone().map(move |x| y * self.width + x))
            .collect();
        let inside: Vec<bool> = pixels.iter().map(|p| self.inside[*p]).collect();
        // Half of it other than garment is an edge, not a fold.
        if 2 * inside.iter().filter(|i| **i).count() < pixels.len() {
            return None;
        }
        let values: Vec<f32> = pixels.iter().map(|p| all[*p].0).collect();
        let errors: Vec<f32> = pixels.iter().map(|p| all[*p].1).collect();
        let picture = Luminance {
            width: columns.len(),
            height: rows.len(),
            mm_per_px: self.mm_per_px,
            values: &values,
            standard_errors: Some(&errors),
            inside: Some(&inside),
        };
        fold_contrast(&picture).ok()
    }
}

/// Relative standard error of each pixel of a film's mix. What two nets of samples tell of one pixel is
/// little, and neighbours err alike, so it is pooled over three by three.
pub fn relative_errors(film: &Film) -> Vec<f32> {
    let (width, rows) = (film.width as usize, film.rows as usize);
    let near = |v: usize, most: usize| v.saturating_sub(1)..(v + 2).min(most);
    let of = |pixel: usize| {
        let (columns, rows) = (near(pixel % width, width), near(pixel / width, rows));
        let pixels = (columns.len() * rows.len()) as f64;
        let (mut mean, mut variance) = (0.0, 0.0);
        for row in rows {
            for spread in &film.spread[row * width..][columns.clone()] {
                let (m, v) = spread.mean_and_variance(film.row_samples[row]);
                mean += m;
                variance += v;
            }
        }
        // Of one pixel: √(v / n) / (m / n).
        let relative = (variance * pixels).sqrt() / mean;
        if mean > 0.0 { relative as f32 } else { 0.0 }
    };
    (0..width * rows).map(of).collect()
}

fn is_on(patch: &Swatch, at_m: DVec3) -> bool {
    let p = patch.frame.point_in_frame(at_m);
    p.z.abs() < PATCH_M && (0..2).all(|k| p[k].abs() < 0.5 * patch.size_m[k] + PATCH_M)
}
