//! Where hair grows: roots spread evenly over the scalp, thinning towards the hairline.

use super::Ground;
use super::noise::{Dice, noise};
use glam::{DVec3, dvec3};
use rayon::prelude::*;

/// One place that a strand grows from, in head millimetres.
#[derive(Debug, Clone, Copy)]
pub(super) struct Root {
    pub at: DVec3,
    pub normal: DVec3,
    /// Distance behind the hairline.
    pub behind_mm: f64,
    /// Number that tells this root from all others, for its dice.
    pub index: usize,
}

/// Middle of the cranium.
pub(super) const CRANIUM: DVec3 = DVec3::new(0.0, 30.0, -4.0);

/// Which roots to keep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Edge {
    /// Thinning over the last millimetres, irregular: what a hairline looks like.
    Soft,
    /// Everything behind the hairline: for guides.
    Full,
    /// Only a strip along the hairline of the given breadth in millimetres.
    Strip(f64),
}

/// About `count` roots over the scalp of `ground`.
pub(super) fn roots(ground: &Ground, count: usize, salt: u32, edge: Edge) -> Vec<Root> {
    weighted(ground, count, salt, edge, &|_| 1.0)
}

/// Roots `count` to the whole scalp where `weight` is 1, fewer where it is less.
pub(super) fn weighted(
    ground: &Ground,
    count: usize,
    salt: u32,
    edge: Edge,
    weight: &(dyn Fn(DVec3) -> f64 + Sync),
) -> Vec<Root> {
    // The scalp covers a bit over half of all directions; the rest is turned down.
    let tries = (count as f64 * TRIES_PER_ROOT) as usize;
    (0..tries)
        .into_par_iter()
        .filter_map(|index| {
            let mut dice = Dice::new(ground.seed, salt, index);
            let outward = direction(index, tries, &mut dice);
            let (at, normal) = on_skin(ground, outward)?;
            // Even over the skin, not over directions: a far or slanting patch is larger.
            let r = at.distance(CRANIUM);
            let area = r * r / normal.dot(outward).max(0.35);
            if dice.unit() > weight(at) * area / 10_500.0 {
                return None;
            }
            // Jagged on the scale of single tufts.
            let jag = 1.8 * noise(at / 9.0, 11) + 1.2 * noise(at / 3.1, 12);
            let behind_mm = ground.scalp.behind_hairline_mm(at);
            let f = behind_mm + if edge == Edge::Full { 0.0 } else { jag };
            let kept = match edge {
                Edge::Soft => dice.unit() < 0.12 + 0.88 * f / 8.0,
                Edge::Full => true,
                Edge::Strip(breadth) => f < breadth && dice.unit() < 1.0 - f / breadth,
            };
            (f > 0.0 && kept).then_some(Root {
                at,
                normal,
                behind_mm,
                index,
            })
        })
        .collect()
}

/// Directions tried for each root kept, measured.
const TRIES_PER_ROOT: f64 = 2.38;

/// Direction `index` of `count` spread evenly over the sphere (Fibonacci lattice),
/// shaken a little so that no rows show.
fn direction(index: usize, count: usize, dice: &mut Dice) -> DVec3 {
    let golden = std::f64::consts::PI * (1.0 + 5f64.sqrt());
    let y = 1.0 - 2.0 * (index as f64 + 0.5) / count as f64;
    let spacing = (4.0 * std::f64::consts::PI / count as f64).sqrt();
    let around = golden * index as f64;
    let ring = (1.0 - y * y).sqrt();
    let shake = dvec3(dice.normal(), dice.normal(), dice.normal()) * (0.3 * spacing);
    (dvec3(ring * around.cos(), y, ring * around.sin()) + shake).normalize()
}

/// Skin and its normal in direction `outward` from the middle of the cranium.
fn on_skin(ground: &Ground, outward: DVec3) -> Option<(DVec3, DVec3)> {
    let mut r = ground.skull_radius(outward);
    // The samples are good to a few tenths; finish on the scalp itself.
    for _ in 0..4 {
        r -= ground.scalp.distance_mm(CRANIUM + outward * r) * 0.95;
    }
    let at = CRANIUM + outward * r;
    if ground.scalp.distance_mm(at).abs() > 0.08 {
        return None;
    }
    Some((at, ground.obstacle.away(at)))
}
