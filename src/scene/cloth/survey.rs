//! What a cloth's face is on average: shares and colours of its parts, and how its yarns tilt.

use super::Bare;
use crate::scene::records::*;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Places looked at.
const PLACES: usize = 16384;
/// Side of the piece of cloth over which they are spread.
const PIECE_MM: f64 = 1000.0;

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// Share of the cloth that is no gap.
    pub cover: f64,
    /// Mean colour of what is no gap, linear.
    pub mean_colour: [f64; 3],
    /// Warp, or a knit's yarn.
    pub warp: Family,
    /// Weft.
    pub weft: Family,
    /// Share of pile.
    pub pile: f64,
    /// Means of x², y², z², xy, xz, yz of its fibres' directions.
    pub pile_fibres: [f64; 6],
    /// Mean slopes of what is no gap.
    pub mean_slope: [f64; 2],
    /// Variance of one slope about its mean (mean of both).
    pub slope_variance: f64,
    /// Mean variance of slopes too fine to be drawn.
    pub blur: f64,
    /// Heights that 2 % of the face lie under, and over.
    pub heights_mm: [f64; 2],
    /// The places, in millimetres along the cloth; any first part of them is spread evenly.
    pub places: Vec<[f32; 2]>,
}

/// A family of yarns as they show on the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Family {
    /// Of the whole cloth.
    pub share: f64,
    /// Mean colour, linear.
    pub colour: [f64; 3],
    /// Mean direction of its fibres.
    pub direction: [f64; 2],
    /// Tilts out of the cloth along the fibres, as two Gaussians: weight of the first.
    pub first_part: f64,
    /// Their means.
    pub means_rad: [f64; 2],
    /// Their standard deviations.
    pub spreads_rad: [f64; 2],
}

/// The places that are looked at: the plane's most even additive sequence (Roberts 2018, the plastic number).
pub(super) fn places() -> Vec<[f32; 2]> {
    (1..=PLACES).map(place).collect()
}

/// One of the places, counted from 1, without end.
pub(super) fn place(i: usize) -> [f32; 2] {
    let u = (i as f64 * 0.754_877_666_246_692_8) % 1.0;
    let v = (i as f64 * 0.569_840_290_998_053_2) % 1.0;
    [(u * PIECE_MM) as f32, (v * PIECE_MM) as f32]
}

/// Looks at the cloth whose record starts at `first`.
pub(super) fn of(texels: &[[f32; 4]], first: u32) -> Survey {
    let k = Bare { texels };
    let places = places();
    let threads: Vec<_> = places.par_iter().map(|&at| k.thread(first, at)).collect();
    let all = threads.len() as f64;
    let solid: Vec<_> = threads.iter().filter(|t| t.part != PART_GAP.0).collect();
    let n = solid.len().max(1) as f64;
    let mean = |f: &dyn Fn(&crate::scene::kernels::Thread) -> f64| {
        solid.iter().map(|t| f(t)).sum::<f64>() / n
    };
    let mean_slope = [
        mean(&|t| f64::from(t.slope.x)),
        mean(&|t| f64::from(t.slope.y)),
    ];
    let variance = 0.5
        * mean(&|t| {
            (f64::from(t.slope.x) - mean_slope[0]).powi(2)
                + (f64::from(t.slope.y) - mean_slope[1]).powi(2)
        });
    let mut heights: Vec<f64> = solid.iter().map(|t| f64::from(t.height_mm)).collect();
    heights.sort_by(f64::total_cmp);
    let rank = |share: f64| {
        let at = (share * heights.len().saturating_sub(1) as f64) as usize;
        heights.get(at).copied().unwrap_or(0.0)
    };
    let heights_mm = [rank(0.02), rank(0.98)];
    let family = |part: u32| {
        let of_it: Vec<_> = threads.iter().filter(|t| t.part == part).copied().collect();
        family(&of_it, all)
    };
    Survey {
        cover: solid.len() as f64 / all,
        mean_colour: [
            mean(&|t| f64::from(t.colour.x)),
            mean(&|t| f64::from(t.colour.y)),
            mean(&|t| f64::from(t.colour.z)),
        ],
        warp: family(PART_WARP.0),
        weft: family(PART_WEFT.0),
        pile_fibres: pile_fibres(&threads),
        pile: threads.iter().filter(|t| t.part == PART_PILE.0).count() as f64 / all,
        mean_slope,
        slope_variance: variance,
        blur: mean(&|t| f64::from(t.blur)),
        heights_mm,
        places,
    }
}

/// Mean of the colours that the far view finds in yarns, streaks and stripes, over `places`.
pub(super) fn mean_tint(texels: &mut [[f32; 4]], first: u32, places: &[[f32; 2]]) -> [f32; 3] {
    use crate::scene::kernels::Kernels;
    use naga_rust_rt::{Scalar, Vec2};
    texels[first as usize + 13] = [1.0; 4];
    let k = Bare { texels };
    let tints: Vec<[f64; 3]> = places
        .par_iter()
        .map(|&[x, y]| {
            let t = k.cloth_tint(Scalar(first), Vec2 { x, y }, Scalar(0.0));
            [t.x, t.y, t.z].map(f64::from)
        })
        .collect();
    // In order: a sum over threads as they come would differ in its last bits from run to run.
    std::array::from_fn(|i| {
        let sum: f64 = tints.iter().map(|t| t[i]).sum();
        (sum / places.len() as f64) as f32
    })
}

fn pile_fibres(threads: &[crate::scene::kernels::Thread]) -> [f64; 6] {
    let pile = || threads.iter().filter(|t| t.part == PART_PILE.0);
    let n = pile().count().max(1) as f64;
    let mut means = [0.0; 6];
    for t in pile() {
        let [x, y, z] = [t.fibre.x, t.fibre.y, t.fibre.z].map(f64::from);
        for (mean, m) in means
            .iter_mut()
            .zip([x * x, y * y, z * z, x * y, x * z, y * z])
        {
            *mean += m / n;
        }
    }
    means
}

fn family(threads: &[crate::scene::kernels::Thread], all: f64) -> Family {
    let n = threads.len().max(1) as f64;
    let mut colour = [0.0; 3];
    // Directions have no head: mean of the doubled angle.
    let (mut s, mut c) = (0.0, 0.0);
    for t in threads {
        colour[0] += f64::from(t.colour.x) / n;
        colour[1] += f64::from(t.colour.y) / n;
        colour[2] += f64::from(t.colour.z) / n;
        let (x, y) = (f64::from(t.fibre.x), f64::from(t.fibre.y));
        s += 2.0 * x * y;
        c += x * x - y * y;
    }
    let angle = 0.5 * s.atan2(c);
    let direction = [angle.cos(), angle.sin()];
    let tilts: Vec<f64> = threads
        .iter()
        .map(|t| {
            let (x, y) = (f64::from(t.fibre.x), f64::from(t.fibre.y));
            let head = if x * direction[0] + y * direction[1] < 0.0 {
                -1.0
            } else {
                1.0
            };
            (head * (x * f64::from(t.slope.x) + y * f64::from(t.slope.y))).atan()
        })
        .collect();
    let fit = two_gaussians(&tilts);
    // Fibres also turn in the plane: that widens the lobe as a tilt does for slanting light.
    Family {
        share: threads.len() as f64 / all,
        colour,
        direction,
        first_part: fit.0,
        means_rad: fit.1,
        spreads_rad: fit.2,
    }
}

/// A mixture of two Gaussians by expectation and maximisation (Dempster, Laird and Rubin 1977): weight of
/// the first, means, standard deviations.
fn two_gaussians(values: &[f64]) -> (f64, [f64; 2], [f64; 2]) {
    let n = values.len() as f64;
    if values.len() < 8 {
        return (1.0, [0.0; 2], [0.05; 2]);
    }
    let mean = values.iter().sum::<f64>() / n;
    let variance = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).max(1e-6);
    let fourth = values.iter().map(|v| (v - mean).powi(4)).sum::<f64>() / n;
    let sd = variance.sqrt();
    let mut w = 0.5;
    // Flatter than one Gaussian: rising and falling parts; more peaked: flat parts and dips.
    let (mut m, mut v) = if fourth / (variance * variance) < 2.6 {
        ([mean - 0.9 * sd, mean + 0.9 * sd], [0.2 * variance; 2])
    } else {
        ([mean; 2], [0.05 * variance, 1.6 * variance])
    };
    for _ in 0..60 {
        let (mut sw, mut sm, mut sv) = ([0.0; 2], [0.0; 2], [0.0; 2]);
        for &x in values {
            let p = |i: usize, share: f64| {
                share * (-0.5 * (x - m[i]).powi(2) / v[i]).exp() / (2.0 * PI * v[i]).sqrt()
            };
            let (a, b) = (p(0, w), p(1, 1.0 - w));
            let first = a / (a + b).max(1e-300);
            for (i, r) in [(0, first), (1, 1.0 - first)] {
                sw[i] += r;
                sm[i] += r * x;
                sv[i] += r * x * x;
            }
        }
        for i in 0..2 {
            let share = sw[i].max(1e-9);
            m[i] = sm[i] / share;
            v[i] = (sv[i] / share - m[i] * m[i]).max(1e-5);
        }
        w = (sw[0] / n).clamp(1e-3, 1.0 - 1e-3);
    }
    (w, m, v.map(f64::sqrt))
}
