//! A ramp of false colours: from near black over blue and red to pale yellow, lightness rising all
//! the way, equal steps equally different (CIELAB distance), so that a stop looks like a stop.

use super::Colour;
use crate::photometry::colour::chromaticity::Chromaticity;
use crate::photometry::colour::matrix::apply;
use crate::photometry::colour::rgb::RgbSpace;
use crate::photometry::colour::transfer::encode_srgb8;

/// Steps that the ramp is walked in to even it out.
const STEPS: usize = 256;

/// A ramp of false colours.
#[derive(Debug, Clone)]
pub struct Ramp {
    /// Distance from the dark end, 0 to 1, and colour, at even steps of the path.
    path: Vec<(f64, [f64; 3])>,
}

impl Default for Ramp {
    fn default() -> Self {
        Self::new()
    }
}

impl Ramp {
    /// Walks the path.
    pub fn new() -> Self {
        let labs: Vec<[f64; 3]> = (0..=STEPS).map(|k| lab(k as f64 / STEPS as f64)).collect();
        let mut length = 0.0;
        let mut path = vec![(0.0, labs[0])];
        for pair in labs.windows(2) {
            length += (0..3)
                .map(|i| (pair[1][i] - pair[0][i]).powi(2))
                .sum::<f64>()
                .sqrt();
            path.push((length, pair[1]));
        }
        for (at, _) in &mut path {
            *at /= length;
        }
        Self { path }
    }

    /// The colour at a place: 0 dark to 1 light.
    pub fn at(&self, place: f64) -> Colour {
        let place = if place.is_finite() {
            place.clamp(0.0, 1.0)
        } else {
            0.0
        };
        let after = self.path.partition_point(|(at, _)| *at < place).max(1);
        let (low, high) = (self.path[after - 1], self.path[after]);
        let part = (place - low.0) / (high.0 - low.0);
        srgb_of_lab(std::array::from_fn(|i| {
            low.1[i] + (high.1[i] - low.1[i]) * part
        }))
    }
}

/// The path: lightness even, hue from violet blue over red to yellow, chroma fullest in the middle,
/// where sRGB holds it.
fn lab(place: f64) -> [f64; 3] {
    let lightness = 6.0 + 90.0 * place;
    let hue = (285.0 + 170.0 * place).to_radians();
    let chroma = 8.0 + 52.0 * (place * std::f64::consts::PI).sin().powf(0.9);
    [lightness, chroma * hue.cos(), chroma * hue.sin()]
}

/// CIELAB under D65 to sRGB codes (ISO/CIE 11664-4 backward).
pub fn srgb_of_lab([l, a, b]: [f64; 3]) -> Colour {
    let fy = (l + 16.0) / 116.0;
    let back = |f: f64| {
        if f > 6.0 / 29.0 {
            f.powi(3)
        } else {
            3.0 * (6.0_f64 / 29.0).powi(2) * (f - 4.0 / 29.0)
        }
    };
    let white = Chromaticity::D65.xyz();
    let f = [fy + a / 500.0, fy, fy - b / 200.0];
    let xyz = std::array::from_fn(|i| white[i] * back(f[i]));
    apply(&RgbSpace::SRGB.rgb_from_xyz(), xyz).map(encode_srgb8)
}
