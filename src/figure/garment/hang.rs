//! Where a tube of cloth starts: rings round the wearer, from its upper edge down.

use super::stand::Stand;
use crate::figure::body::Body;
use crate::figure::hull::{along_ray, convex};
use crate::figure::sdf::step;
use glam::{DVec2, DVec3, dvec2, dvec3};
use rayon::prelude::*;

const RING: usize = 240;
const ROWS: usize = 56;

/// Rings of cloth from the upper edge to below the hem.
pub struct Hang {
    deepest: f64,
    /// Points at even shares of each ring's length, from the wearer's front
    /// centre to the camera's right and round the back.
    rings: Vec<Vec<DVec3>>,
}

/// What the rings follow.
pub struct Tube<'a> {
    /// Height of the upper edge on the stand, in base centimetres.
    pub top: f64,
    /// Length down from there, in centimetres.
    pub length_cm: f64,
    /// Girth of the cloth at a depth below the upper edge, in centimetres.
    pub girth_cm: &'a (dyn Fn(f64) -> f64 + Sync),
    /// How many flutes the fullness falls into.
    pub flutes: f64,
    /// Seed of their unevenness.
    pub seed: u32,
}

impl Hang {
    /// Lays the rings round `body`.
    pub fn new(stand: &Stand, body: &Body, tube: &Tube) -> Self {
        let deepest = tube.length_cm * 1.08;
        let frame = Upright::of(body);
        // Down to the hip the cloth follows the stand; below, the legs as they stand.
        let hip = stand.level(86.0, 98.0, true);
        let rings: Vec<Vec<DVec3>> = (0..ROWS)
            .into_par_iter()
            .map(|r| {
                let depth = deepest * r as f64 / (ROWS - 1) as f64;
                let girth = (tube.girth_cm)(depth);
                let height = tube.top - depth / stand.scale();
                let low = step(hip + 8.0, hip - 1.0, height);
                let close = (low < 1.0).then(|| on_stand(stand, height.max(hip - 4.0), girth));
                let wide = (low > 0.0).then(|| {
                    let y = stand.on_wearer(dvec3(0.0, tube.top, 0.0)).y - 0.975 * depth;
                    round_legs(body, &frame, y, girth, tube)
                });
                match (close, wide) {
                    (Some(a), Some(b)) => a.iter().zip(b).map(|(a, b)| a.lerp(b, low)).collect(),
                    (Some(a), None) => a,
                    (None, b) => b.unwrap_or_default(),
                }
            })
            .collect();
        Self { deepest, rings }
    }

    /// The place at a share of the way round and a depth below the upper edge.
    pub fn place(&self, share: f64, depth: f64) -> DVec3 {
        let last = ROWS - 1;
        let r = (depth / self.deepest * last as f64).clamp(0.0, last as f64 - 1e-6);
        let k = share.rem_euclid(1.0) * RING as f64;
        let (r0, k0) = (r as usize, k as usize % RING);
        let read = |r: usize| self.rings[r][k0].lerp(self.rings[r][(k0 + 1) % RING], k.fract());
        read(r0).lerp(read(r0 + 1), r.fract())
    }
}

/// The wearer's own directions on the floor.
struct Upright {
    hips: DVec3,
    chest: DVec3,
    front: DVec2,
    across: DVec2,
}

impl Upright {
    fn of(body: &Body) -> Self {
        let at = |z: f64| body.on_pelvis(dvec3(0.0, 92.0, z));
        let ahead = at(1.0) - at(0.0);
        let front = dvec2(ahead.x, ahead.z).normalize_or(DVec2::Y);
        let j = body.joints();
        Self {
            hips: 0.5 * (j.hip[0] + j.hip[1]),
            chest: body.on_thorax(dvec3(0.0, 128.0, 0.0)),
            front,
            across: dvec2(front.y, -front.x),
        }
    }

    /// Direction at an angle from the front, towards the wearer's left.
    fn ray(&self, angle: f64) -> DVec2 {
        self.front * angle.cos() + self.across * angle.sin()
    }
}

fn turn_of(k: usize) -> f64 {
    std::f64::consts::TAU * k as f64 / RING as f64
}

/// A ring on the stand, eased out evenly to that girth, on the posed wearer.
fn on_stand(stand: &Stand, height: f64, girth: f64) -> Vec<DVec3> {
    let (mut lo, mut hi) = (-1.0, 30.0);
    for _ in 0..28 {
        let mid = 0.5 * (lo + hi);
        if stand.girth(height, mid) < girth {
            lo = mid;
        } else {
            hi = mid;
        }
    }
    let off = lo.max(0.25);
    let ring: Vec<DVec3> = (0..RING)
        .map(|k| stand.surface(turn_of(k), height, off))
        .collect();
    evenly(&ring).iter().map(|&p| stand.on_wearer(p)).collect()
}

/// A level ring of that girth round trunk and legs: their taut outline, let out
/// evenly and in flutes.
fn round_legs(body: &Body, frame: &Upright, y: f64, girth: f64, tube: &Tube) -> Vec<DVec3> {
    let up = ((y - frame.hips.y) / (frame.chest.y - frame.hips.y)).clamp(0.0, 1.0);
    let axis = frame.hips.lerp(frame.chest, up);
    let outline: Vec<DVec2> = (0..RING)
        .map(|k| {
            let along = frame.ray(turn_of(k));
            let mut r = 55.0;
            while r > 0.5 {
                let d = body.trunk_and_legs(dvec3(axis.x + along.x * r, y, axis.z + along.y * r));
                if d < 0.02 {
                    break;
                }
                r -= (0.7 * d).max(0.02);
            }
            along * r
        })
        .collect();
    let hull = convex(&outline);
    let reach: Vec<f64> = (0..RING)
        .map(|k| along_ray(&hull, frame.ray(turn_of(k))))
        .collect();
    let phase = f64::from(tube.seed);
    let flute: Vec<f64> = (0..RING)
        .map(|k| {
            let a = turn_of(k);
            let b = tube.flutes.round() * a
                + 0.6 * (2.0 * a + 1.0 + phase).sin()
                + 0.45 * (3.0 * a + 2.2 * phase).sin();
            (0.5 + 0.5 * b.cos()) * (0.75 + 0.25 * (5.0 * a + 0.7 + phase).sin())
        })
        .collect();
    let points = |ease: f64, depth: f64| -> Vec<DVec3> {
        (0..RING)
            .map(|k| {
                let q = frame.ray(turn_of(k)) * (reach[k] + 0.6 + ease + depth * flute[k]);
                dvec3(axis.x + q.x, y, axis.z + q.y)
            })
            .collect()
    };
    let around = |p: &[DVec3]| -> f64 { (0..RING).map(|k| p[k].distance(p[(k + 1) % RING])).sum() };
    let solve = |f: &dyn Fn(f64) -> f64, goal: f64| {
        let (mut lo, mut hi) = (0.0, 60.0);
        for _ in 0..34 {
            let mid = 0.5 * (lo + hi);
            if f(mid) < goal {
                lo = mid;
            } else {
                hi = mid;
            }
        }
        lo
    };
    let snug = around(&points(0.0, 0.0));
    let ease = solve(&|e| around(&points(e, 0.0)), snug + 0.5 * (girth - snug));
    let depth = solve(&|d| around(&points(ease, d)), girth);
    evenly(&points(ease, depth))
}

/// The same closed ring at even shares of its length.
fn evenly(ring: &[DVec3]) -> Vec<DVec3> {
    let n = ring.len();
    let mut along = vec![0.0];
    for k in 0..n {
        along.push(along[k] + ring[k].distance(ring[(k + 1) % n]));
    }
    (0..n)
        .map(|s| {
            let goal = along[n] * s as f64 / n as f64;
            let k = along.partition_point(|&a| a <= goal).clamp(1, n) - 1;
            let t = (goal - along[k]) / (along[k + 1] - along[k]).max(1e-9);
            ring[k].lerp(ring[(k + 1) % n], t)
        })
        .collect()
}
