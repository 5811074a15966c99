//! The relief of woven cloth as a normal map: yarns as flattened tubes that rise and fall by the
//! draft (after Peirce 1937), the highest on top, with each yarn a little uneven. The tile repeats
//! without a seam.

use super::Fabric;
use rayon::prelude::*;

/// Normals over one tile of the cloth, rows from the first pick up.
#[derive(Debug, Clone, PartialEq)]
pub struct ThreadRelief {
    /// Texels along the weft.
    pub width: u32,
    /// Texels along the warp.
    pub height: u32,
    /// Size of a texel.
    pub texel_cm: f32,
    /// Unit normals, x along the weft, y along the warp, z out of the cloth.
    pub normals: Vec<[f32; 3]>,
}

/// Texels to the finer yarn's spacing: enough for the round of a yarn to be round.
const TEXELS_PER_YARN: f64 = 14.0;
/// Yarns of each system in a tile, at least (rounded up to whole repeats).
const YARNS: usize = 30;

/// Relief of a woven fabric.
pub fn weave_relief(fabric: &Fabric) -> ThreadRelief {
    let repeat = fabric.weave.repeat();
    let ends = YARNS.div_ceil(repeat) * repeat;
    let end_mm = 10.0 / fabric.ends_per_cm;
    let texel_mm = end_mm.min(10.0 / fabric.picks_per_cm) / TEXELS_PER_YARN;
    let width = (ends as f64 * end_mm / texel_mm).round() as usize;
    // One texel size serves both directions; the picks are eased by under half a texel to fit.
    let picks_wanted = width as f64 * texel_mm * fabric.picks_per_cm / 10.0;
    let picks = ((picks_wanted / repeat as f64).round().max(1.0) as usize) * repeat;
    let height = (picks as f64 * 10.0 / fabric.picks_per_cm / texel_mm).round() as usize;
    let cloth = Cloth {
        fabric,
        ends,
        picks,
        warp_texels: width as f64 / ends as f64,
        weft_texels: height as f64 / picks as f64,
        texel_mm,
    };
    let heights: Vec<f64> = (0..width * height)
        .into_par_iter()
        .map(|i| cloth.height_mm((i % width) as f64 + 0.5, (i / width) as f64 + 0.5))
        .collect();
    let at = |x: usize, y: usize| heights[(y % height) * width + x % width];
    let normals = (0..width * height)
        .into_par_iter()
        .map(|i| {
            let (x, y) = (i % width, i / width);
            let slope_x = (at(x + 1, y) - at(x + width - 1, y)) / (2.0 * texel_mm);
            let slope_y = (at(x, y + 1) - at(x, y + height - 1)) / (2.0 * texel_mm);
            let length = (1.0 + slope_x * slope_x + slope_y * slope_y).sqrt();
            [
                (-slope_x / length) as f32,
                (-slope_y / length) as f32,
                (1.0 / length) as f32,
            ]
        })
        .collect();
    ThreadRelief {
        width: width as u32,
        height: height as u32,
        texel_cm: (texel_mm / 10.0) as f32,
        normals,
    }
}

struct Cloth<'a> {
    fabric: &'a Fabric,
    ends: usize,
    picks: usize,
    warp_texels: f64,
    weft_texels: f64,
    texel_mm: f64,
}

impl Cloth<'_> {
    /// Height over the cloth's middle, at a place in texels.
    fn height_mm(&self, x: f64, y: f64) -> f64 {
        let f = self.fabric;
        // Neighbours too: a fat yarn covers its spacing's edge.
        let warp = (-1..=1).map(|d| {
            let k = (x / self.warp_texels).floor() as i64 + d;
            let up = |j: i64| {
                f.weave.warp_up(
                    k.rem_euclid(self.ends as i64),
                    j.rem_euclid(self.picks as i64),
                )
            };
            let across = (x / self.warp_texels - k as f64 - 0.5) * self.warp_texels * self.texel_mm;
            self.yarn(
                across,
                y / self.weft_texels,
                f.warp_width_mm,
                up,
                k.rem_euclid(self.ends as i64),
                self.picks as i64,
                0,
            )
        });
        let weft = (-1..=1).map(|d| {
            let j = (y / self.weft_texels).floor() as i64 + d;
            let up = |k: i64| {
                !f.weave.warp_up(
                    k.rem_euclid(self.ends as i64),
                    j.rem_euclid(self.picks as i64),
                )
            };
            let across = (y / self.weft_texels - j as f64 - 0.5) * self.weft_texels * self.texel_mm;
            self.yarn(
                across,
                x / self.warp_texels,
                f.weft_width_mm,
                up,
                j.rem_euclid(self.picks as i64),
                self.ends as i64,
                1,
            )
        });
        // Between yarns the eye falls a yarn's height below the lowest back.
        warp.chain(weft)
            .fold(-f.crimp_mm - 0.5 * f.yarn_height_mm, f64::max)
    }

    /// Height of one yarn at a distance across it and a place along it (in crossings).
    #[allow(clippy::too_many_arguments)]
    fn yarn(
        &self,
        across_mm: f64,
        along: f64,
        width_mm: f64,
        up: impl Fn(i64) -> bool,
        number: i64,
        crossings: i64,
        system: u64,
    ) -> f64 {
        let f = self.fabric;
        let v = along - 0.5;
        let j = v.floor();
        let t = v - j;
        let ease = t * t * (3.0 - 2.0 * t);
        let side = |at: i64| if up(at) { 1.0 } else { -1.0 };
        let u = side(j as i64) + (side(j as i64 + 1) - side(j as i64)) * ease;
        let slow = noise(number, along / 5.0, crossings / 5, 2 * system)
            + 0.6 * noise(number, along, crossings, 2 * system + 1);
        let thick = 1.0 + f.unevenness * (0.6 * slow + 0.5 * hash(number, 0, 7 + system));
        let wander =
            0.12 * width_mm * f.unevenness * noise(number, along / 3.0, crossings / 3, 11 + system);
        let half = 0.5 * width_mm * thick.max(0.3);
        let q = (across_mm - wander) / half;
        if q.abs() >= 1.0 {
            return f64::NEG_INFINITY;
        }
        f.crimp_mm * u + f.yarn_height_mm * (0.35 + 0.65 * thick) * (1.0 - q * q).sqrt()
    }
}

/// Even in -1..1 by hash.
fn hash(a: i64, b: i64, seed: u64) -> f64 {
    let mut v = (a as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)
        ^ (b as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f)
        ^ seed.wrapping_mul(0x1656_67b1_9e37_79f9);
    v = (v ^ (v >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    v = (v ^ (v >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((v ^ (v >> 31)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// Smooth noise along a yarn, repeating after `period` cells.
fn noise(yarn: i64, x: f64, period: i64, seed: u64) -> f64 {
    let period = period.max(1);
    let i = x.floor();
    let t = x - i;
    let ease = t * t * (3.0 - 2.0 * t);
    let a = hash(yarn, (i as i64).rem_euclid(period), seed);
    let b = hash(yarn, (i as i64 + 1).rem_euclid(period), seed);
    a + (b - a) * ease
}
