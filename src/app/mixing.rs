//! From layers of light to pixels on the screen: mixed by weight, developed, and marked where asked.
//! Cheap enough to do anew for every change of power, gel or switch.

use super::engine::Layers;
use crate::photometry::colour::encode_srgb8;
use crate::photometry::colour::light::luminance;
use crate::photometry::exposure::Development;
use crate::report::drawing::ramp::Ramp;
use egui::{Color32, ColorImage};
use std::sync::LazyLock;

/// What to look at.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Looking {
    /// One light only, or all but one, by its layer.
    pub solo: Option<Solo>,
    /// Marks what clips and what is crushed.
    pub marks: bool,
    /// Shows stops against the metered exposure in false colour.
    pub steps: bool,
}

/// A light by itself, or the rest without it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Solo {
    /// Only this layer.
    Only(usize),
    /// All but this layer.
    Without(usize),
}

/// Linear values from 0 to 1 in the table: a step is a fifth of a code where codes are finest.
const CODES: usize = 1 << 14;
/// Under this an 8-bit picture shows nothing: half of code 1.
const CRUSHED: f64 = 0.5 / 255.0 / 12.92;
/// Stops against middle grey that the false colours span.
pub const STEPS_FROM: f64 = -5.0;
/// See [`STEPS_FROM`].
pub const STEPS_TO: f64 = 3.0;
/// Width of the stripes that mark clipping.
const STRIPE_PX: usize = 5;

static SRGB: LazyLock<Vec<u8>> = LazyLock::new(|| {
    (0..=CODES)
        .map(|i| encode_srgb8(i as f64 / CODES as f64))
        .collect()
});
static RAMP: LazyLock<Ramp> = LazyLock::new(Ramp::new);

/// Weight of each layer in what is looked at, gain included.
pub fn weights(mix: &[[f64; 3]], development: &Development, looking: &Looking) -> Vec<[f32; 3]> {
    let seen = |layer: usize| match looking.solo {
        None => true,
        Some(Solo::Only(one)) => layer == one,
        Some(Solo::Without(one)) => layer != one,
    };
    mix.iter()
        .enumerate()
        .map(|(layer, weight)| {
            std::array::from_fn(|c| {
                if seen(layer) {
                    weight[c] as f32 * development.gain[c]
                } else {
                    0.0
                }
            })
        })
        .collect()
}

/// Display-linear light of a pixel: 1 is white, a card of 18 % gives 0.18 at the metered exposure.
pub fn pixel(layers: &Layers, weights: &[[f32; 3]], index: usize) -> [f32; 3] {
    let first = index * layers.layers;
    let mut sum = [0.0_f32; 3];
    for (light, weight) in layers.light[first..first + layers.layers]
        .iter()
        .zip(weights)
    {
        for c in 0..3 {
            sum[c] += light[c] * weight[c];
        }
    }
    sum
}

/// The picture.
pub fn picture(layers: &Layers, weights: &[[f32; 3]], looking: &Looking) -> ColorImage {
    let mut pixels = Vec::with_capacity(layers.width * layers.height);
    for row in 0..layers.height {
        for x in 0..layers.width {
            let linear = pixel(layers, weights, row * layers.width + x);
            let colour = if looking.steps {
                step_colour(stops(linear))
            } else {
                let [r, g, b] = linear.map(code);
                Color32::from_rgb(r, g, b)
            };
            pixels.push(match looking.marks {
                true => marked(linear, colour, ((x + row) / STRIPE_PX).is_multiple_of(2)),
                false => colour,
            });
        }
    }
    ColorImage::new([layers.width, layers.height], pixels)
}

/// The 8-bit sRGB code of a display-linear value.
pub fn code(linear: f32) -> u8 {
    // `as` saturates, and takes what is no number to 0.
    SRGB[((linear * CODES as f32 + 0.5) as usize).min(CODES)]
}

/// Stops against the metered exposure, at which a card of 18 % stands.
pub fn stops(linear: [f32; 3]) -> f64 {
    (luminance(linear.map(f64::from)) / 0.18).log2()
}

/// The false colour of a tone, in steps of a third.
pub fn step_colour(stops: f64) -> Color32 {
    if stops.is_nan() || stops < STEPS_FROM {
        return Color32::BLACK;
    }
    let step = (stops * 3.0).floor() / 3.0;
    let [r, g, b] = RAMP.at((step - STEPS_FROM) / (STEPS_TO - STEPS_FROM));
    Color32::from_rgb(r, g, b)
}

/// Stripes that stand still: dark over what clips, light over what is crushed.
fn marked(linear: [f32; 3], colour: Color32, stripe: bool) -> Color32 {
    let most = linear.iter().copied().fold(0.0, f32::max);
    match stripe {
        true if most >= 1.0 => Color32::from_gray(40),
        true if f64::from(most) < CRUSHED => Color32::from_gray(150),
        _ => colour,
    }
}
