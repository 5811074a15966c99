//! Strands between guides: blended at the root, gathered into locks towards the tip.

use super::Ground;
use super::comb::Parting;
use super::hang::Guides;
use super::noise::{Dice, noise, noise_along};
use super::ribbon::{Strand, square_to};
use super::roots::Root;
use crate::figure::sdf::step;
use glam::{DVec3, dvec3};
use rayon::prelude::*;
use std::f64::consts::TAU;

/// How strands gather about their guides.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lock {
    /// Radius of a lock at its middle, in millimetres.
    pub spread_mm: f64,
    /// Least and most that a strand belongs to its own lock at the tip, 0..1.
    pub gather: (f64, f64),
    /// Height and length of the slow wave along a lock, in millimetres.
    pub wave: (f64, f64),
    pub curl: Option<Curl>,
    /// Length of the shortest strand against its guide.
    pub shortest: f64,
    /// Points of a strand.
    pub points: usize,
    pub width_mm: f64,
    /// Share of strands that keep to no lock.
    pub stray: f64,
}

/// A helix that a lock winds in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Curl {
    pub radius_mm: f64,
    /// Length of one turn along the lock's axis.
    pub pitch_mm: f64,
    /// Distance between roots over which locks wind alike.
    pub alike_mm: f64,
}

impl Curl {
    /// Length of the axis against the length of the hair, about.
    pub fn shortening(&self) -> f64 {
        let turn = TAU * self.radius_mm / self.pitch_mm;
        1.0 / (1.0 + 0.75 * turn * turn).sqrt()
    }
}

/// Strands at `starts` that follow `guides`.
pub(super) fn fill(ground: &Ground, guides: &Guides, starts: &[Root], lock: &Lock) -> Vec<Strand> {
    fill_parted(ground, guides, starts, lock, None)
}

/// [`fill`], no strand following guides from the other side of a parting.
pub(super) fn fill_parted(
    ground: &Ground,
    guides: &Guides,
    starts: &[Root],
    lock: &Lock,
    parting: Option<&Parting>,
) -> Vec<Strand> {
    starts
        .par_iter()
        .map(|root| {
            let near = nearest(guides, root, parting);
            strand(ground, guides, root, lock, near)
        })
        .collect()
}

/// The three nearest guides and their weights.
fn nearest(guides: &Guides, root: &Root, parting: Option<&Parting>) -> [(usize, f64); 3] {
    let mut best = [(0, f64::INFINITY); 3];
    for i in 0..guides.count() {
        let foot = guides.guide(i)[0];
        let mut d = foot.distance_squared(root.at);
        if parting.is_some_and(|p| p.divides(foot, root.at)) {
            d += 1e4;
        }
        if d < best[2].1 {
            best[2] = (i, d);
            best.sort_by(|a, b| a.1.total_cmp(&b.1));
        }
    }
    let weights = best.map(|(i, d)| (i, 1.0 / (d + 9.0)));
    let sum: f64 = weights.iter().map(|w| w.1).sum();
    weights.map(|(i, w)| (i, w / sum))
}

fn strand(
    ground: &Ground,
    guides: &Guides,
    root: &Root,
    lock: &Lock,
    near: [(usize, f64); 3],
) -> Strand {
    let mut dice = Dice::new(ground.seed, 0x57a0, root.index);
    let own = near[0].0;
    let guide = guides.guide(own);
    let feet: Vec<DVec3> = near.iter().map(|&(i, _)| guides.guide(i)[0]).collect();
    let guide_length = guide[0].distance(guide[1]) * (guides.points - 1) as f64;
    let stray = dice.unit() < lock.stray;
    let gather = if stray {
        0.0
    } else {
        dice.range(lock.gather.0, lock.gather.1)
    };
    // Most ends lie close together; a few are much shorter.
    let share = 1.0 - (1.0 - lock.shortest) * dice.unit().powf(1.8);
    let (dx, dy) = dice.disc();
    let alike = lock.curl.map_or(30.0, |c| c.alike_mm);
    let phase = 1.5 * TAU * noise(guide[0] / alike, 71) + 0.28 * dice.normal();
    let wave = lock.wave.0 * (0.6 + 0.5 * dice.unit()) * if stray { 2.6 } else { 1.0 };
    // Both sides wind away from the face, with an odd lock the other way.
    let odd = noise(guide[0] / (0.8 * alike), 72) > 0.72;
    let sense = if odd == (guide[0].x > 0.0) { 1.0 } else { -1.0 };
    let start_mm = 55.0 + 25.0 * noise(guide[0] / alike, 73);
    let row = own as f64 * 3.1 + if stray { dice.range(0.0, 900.0) } else { 0.0 };
    let mut side = square_to(root.normal, sample(guide, 0.02).1).unwrap_or(DVec3::X);
    let mut points = Vec::with_capacity(lock.points);
    for k in 0..lock.points {
        // Shorter steps over the curve of the skull.
        let t = (k as f64 / (lock.points - 1) as f64).powf(1.12) * share;
        let a = t * guide_length;
        let mut blended = root.at;
        for (&(i, w), foot) in near.iter().zip(&feet) {
            blended += (sample(guides.guide(i), t).0 - *foot) * w;
        }
        let (centre, along) = sample(guide, t);
        side = square_to(side, along).unwrap_or(side);
        let other = along.cross(side);
        // A lock swells at mid-length and closes at its tip.
        let radius = lock.spread_mm * (0.75 + 0.45 * step(0.1, 0.5, t) - 0.75 * step(0.55, 1.0, t));
        let locked = centre + (side * dx + other * dy) * radius;
        let mut p = blended.lerp(locked, gather * step(0.08, 0.65, t));
        let free = step(30.0, 130.0, a);
        let u = a / lock.wave.1;
        p += (side * noise_along(u + phase * 0.1, row, 74) + other * noise_along(u, row + 0.5, 75))
            * (wave * free);
        if let Some(curl) = lock.curl {
            let grow = step(start_mm - 30.0, start_mm + 70.0, a);
            let angle = sense * (a - start_mm) / curl.pitch_mm * TAU + phase;
            let r = curl.radius_mm * grow * (0.9 + 0.25 * noise(guide[0] / alike, 76));
            p += (side * angle.cos() + other * angle.sin()) * r;
        }
        if k == 0 {
            p = root.at;
        } else {
            let rise = 1.0 - (-a / 12.0).exp();
            ground.obstacle.push_out(&mut p, 0.15 + 0.5 * rise);
        }
        points.push(p);
    }
    Strand {
        points,
        width_mm: lock.width_mm * if stray { 0.6 } else { 1.0 },
        taper: (0.25 + 0.7 * step(3.0, 20.0, root.behind_mm), 0.3),
        widens_mm: 12.0,
        roll: 0.6,
    }
}

/// Place and unit direction at `t` (0..1) of a chain of evenly spaced points
/// (Catmull and Rom 1974).
fn sample(chain: &[DVec3], t: f64) -> (DVec3, DVec3) {
    let last = chain.len() - 1;
    let u = (t * last as f64).clamp(0.0, last as f64 - 1e-9);
    let (i, f) = (u as usize, u.fract());
    let (b, c) = (chain[i], chain[i + 1]);
    let a = if i > 0 { chain[i - 1] } else { 2.0 * b - c };
    let d = if i + 2 <= last {
        chain[i + 2]
    } else {
        2.0 * c - b
    };
    let (m, n) = (0.5 * (c - a), 0.5 * (d - b));
    let (f2, f3) = (f * f, f * f * f);
    let at = b * (2.0 * f3 - 3.0 * f2 + 1.0)
        + m * (f3 - 2.0 * f2 + f)
        + c * (3.0 * f2 - 2.0 * f3)
        + n * (f3 - f2);
    let slope =
        (b - c) * (6.0 * f2 - 6.0 * f) + m * (3.0 * f2 - 4.0 * f + 1.0) + n * (3.0 * f2 - 2.0 * f);
    (at, slope.try_normalize().unwrap_or(dvec3(0.0, -1.0, 0.0)))
}
