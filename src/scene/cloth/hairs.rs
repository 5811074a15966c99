//! The colour that loose fibres turn into where they are too fine to be seen apart.

use super::{Bare, HAIRS_MEAN, V, direction};
use crate::scene::kernels::{Cloth, Kernels};
use naga_rust_rt::{Scalar, Vec2};
use rayon::prelude::*;

/// Places that are looked at, from each side.
const PLACES: usize = 4096;
/// Views and lights, degrees off the normal and around it.
const VIEWS_DEG: [[f32; 2]; 3] = [[0.0, 0.0], [30.0, 120.0], [30.0, 250.0]];
const LIGHTS_DEG: [[f32; 2]; 4] = [[15.0, 40.0], [40.0, 160.0], [50.0, 300.0], [65.0, 80.0]];
/// Footprint under which no fibre is seen apart.
const COARSE_MM: f32 = 1e3;
/// What the mean colour may be changed by.
const LEAST: f64 = 0.25;
const MOST: f64 = 2.5;
/// Steps of the search; each leaves a small part of the miss.
const STEPS: usize = 3;
/// A miss that is none.
const NEAR_ENOUGH: f64 = 0.003;

/// Scales the mean colour of a cloth's loose fibres, which stands for them as they fade, so that the cloth is
/// as bright then as with the fibres drawn: the law for all of them together knows nothing of how they rise out of it and which
/// way they lie.
pub(super) fn settle(texels: &mut [[f32; 4]], first: usize, form: usize, places: &[[f32; 2]]) {
    let mean = texels[form + HAIRS_MEAN];
    let drawn = brightness(texels, first, places, None);
    let mut faded = |scale: f64| {
        texels[form + HAIRS_MEAN] = scaled(mean, scale);
        brightness(texels, first, places, Some(form))
    };
    let mut last = (1.0, faded(1.0));
    let mut scale: f64 = if last.1 > drawn { 0.8 } else { 1.25 };
    for _ in 0..STEPS {
        let found = faded(scale);
        let rise = (found - last.1) / (scale - last.0);
        // Where fibres hide nothing, nothing changes with their colour.
        if (found - drawn).abs() < NEAR_ENOUGH * drawn || !rise.is_normal() {
            break;
        }
        last = (scale, found);
        scale = (scale + (drawn - found) / rise).clamp(LEAST, MOST);
        if scale == last.0 {
            break;
        }
    }
    texels[form + HAIRS_MEAN] = scaled(mean, scale);
}

fn scaled([red, green, blue, bends]: [f32; 4], by: f64) -> [f32; 4] {
    let by = by as f32;
    [red * by, green * by, blue * by, bends]
}

/// Luminance over all views and lights, fibres drawn, or (those of a form) faded.
fn brightness(texels: &[[f32; 4]], first: usize, places: &[[f32; 2]], faded: Option<usize>) -> f64 {
    let k = Bare { texels };
    let number = Scalar(first as u32);
    let toward =
        |[off, around]: [f32; 2]| -> V { direction(off.to_radians().cos(), around.to_radians()) };
    let lights = LIGHTS_DEG.map(toward);
    // Added up in order, so that threads change nothing.
    let each: Vec<f64> = places
        .par_iter()
        .take(PLACES)
        .enumerate()
        .map(|(i, &[x, y])| {
            let start = super::start_of(i);
            let look = |out: V| {
                let at = Vec2 { x, y };
                let all = Scalar(true);
                let mut c = k.cloth_at(number, at, out, Scalar(0.0), Scalar(start), all);
                if let Some(form) = faded {
                    let under = k.cloth_bare_thread(number, c.at_mm, Scalar(0.0));
                    let form = Scalar(form as u32);
                    let all = k.hair_over(form, c.at_mm, Scalar(COARSE_MM), under);
                    c = Cloth {
                        thread: all.under,
                        loose: all.loose,
                        ..c
                    };
                }
                let values = lights.iter().map(|&light| k.cloth_value(c, out, light));
                values
                    .map(|v| f64::from(0.2126 * v.x + 0.7152 * v.y + 0.0722 * v.z))
                    .sum::<f64>()
            };
            VIEWS_DEG.iter().map(|&view| look(toward(view))).sum()
        })
        .collect();
    each.iter().sum()
}
