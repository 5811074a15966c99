//! The dress stand: the wearer upright and symmetric, on which patterns are
//! measured, and the way from there to the posed wearer.

use crate::figure::body::Body;
use crate::figure::sdf::step;
use glam::{DVec2, DVec3, dvec2, dvec3};
use rayon::prelude::*;

/// Level from which rays fan out upward, in base centimetres: about the bust line.
const FAN: f64 = 124.0;
/// Centimetres of the upright coordinate a radian of elevation.
const FAN_RADIUS: f64 = 14.0;
const TURNS: usize = 120;
const LOW: f64 = 78.0;
const ROWS: usize = 82;

/// The stand. Places on it are (turn, height): the turn in radians from the
/// front centre, positive to the camera's right, and a height in base
/// centimetres that follows the floor up to the bust and the ray's elevation
/// above it.
pub struct Stand<'a> {
    posed: &'a Body,
    scale: f64,
    /// Distance of the taut surface from the ray's origin, row by row.
    reach: Vec<[f64; TURNS]>,
}

impl<'a> Stand<'a> {
    /// Measures `neutral`, which must be the wearer upright with all trunk
    /// angles and shifts at zero; `posed` is what the garment goes onto.
    pub fn new(neutral: &Body, posed: &'a Body) -> Self {
        let scale = neutral.on_thorax(dvec3(0.0, 100.0, 0.0)).y / 100.0;
        let rows: Vec<[f64; TURNS]> = (0..ROWS)
            .into_par_iter()
            .map(|r| {
                let h = LOW + r as f64;
                let raw: Vec<f64> = (0..TURNS)
                    .map(|k| {
                        let (from, along) = ray(turn_of(k), h);
                        let mut t = 42.0;
                        while t > 0.5 {
                            let p = (from + along * t) * scale;
                            let d = neutral.trunk_and_legs(p) / scale;
                            if d < 0.01 {
                                break;
                            }
                            t -= (0.6 * d).max(0.02);
                        }
                        t
                    })
                    .collect();
                // Cloth spans hollows like a tape measure; over the shoulders it lies close.
                let taut = taut(&raw);
                let close = step(0.25, 0.75, (h - FAN) / FAN_RADIUS);
                std::array::from_fn(|k| taut[k] + (raw[k] - taut[k]) * close)
            })
            .collect();
        Self {
            posed,
            scale,
            reach: rows,
        }
    }

    /// Base centimetres to true ones.
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// The place on the stand, `off` base centimetres outside the taut surface,
    /// in base coordinates.
    pub fn surface(&self, turn: f64, height: f64, off: f64) -> DVec3 {
        let r = (height - LOW).clamp(0.0, ROWS as f64 - 1.001);
        let k = (turn / std::f64::consts::TAU).rem_euclid(1.0) * TURNS as f64;
        let (r0, k0) = (r as usize, k as usize % TURNS);
        let row = |r: usize| {
            let (a, b) = (self.reach[r][k0], self.reach[r][(k0 + 1) % TURNS]);
            a + (b - a) * k.fract()
        };
        let reach = row(r0) + (row(r0 + 1) - row(r0)) * r.fract();
        let (from, along) = ray(turn, height);
        from + along * (reach + off)
    }

    /// The (turn, height) whose place on the stand shows at (x, y) from the
    /// front (or, with `back`, from behind), in base centimetres.
    pub fn seen_at(&self, x: f64, y: f64, back: bool) -> DVec2 {
        let depth = if back { -8.0 } else { 9.0 };
        let mut turn = x.atan2(depth);
        let mut height = self.height_of(y, x.hypot(depth));
        for _ in 0..24 {
            let p = self.surface(turn, height, 0.3);
            let e = 0.02;
            let du = (self.surface(turn + e, height, 0.3) - p) / e;
            let dv = (self.surface(turn, height + e, 0.3) - p) / e;
            let det = du.x * dv.y - dv.x * du.y;
            if det.abs() < 1e-6 {
                break;
            }
            let (ex, ey) = (x - p.x, y - p.y);
            turn += ((ex * dv.y - dv.x * ey) / det).clamp(-0.1, 0.1);
            height += ((du.x * ey - ex * du.y) / det).clamp(-1.5, 1.5);
        }
        dvec2(turn, height)
    }

    /// The upright coordinate of a point `out` from the axis at level `y`.
    pub fn height_of(&self, y: f64, out: f64) -> f64 {
        if y <= FAN {
            y
        } else {
            FAN + FAN_RADIUS * (y - FAN).atan2(out)
        }
    }

    /// Length of the taut girth at a level below the bust, in true centimetres.
    pub fn girth(&self, height: f64, off: f64) -> f64 {
        let at = |k: usize| self.surface(turn_of(k), height, off);
        (0..TURNS)
            .map(|k| at(k).distance(at((k + 1) % TURNS)))
            .sum::<f64>()
            * self.scale
    }

    /// The level between `low` and `high` at which the girth is smallest (or largest).
    pub fn level(&self, low: f64, high: f64, largest: bool) -> f64 {
        let n = ((high - low) * 2.0) as usize;
        let sign = if largest { -1.0 } else { 1.0 };
        (0..=n)
            .map(|i| low + 0.5 * i as f64)
            .min_by(|&a, &b| (sign * self.girth(a, 0.0)).total_cmp(&(sign * self.girth(b, 0.0))))
            .unwrap_or(low)
    }

    /// From base coordinates to the posed wearer, in centimetres: pelvis and rib
    /// cage mixed as the body itself bends.
    pub fn on_wearer(&self, base: DVec3) -> DVec3 {
        let w = step(98.0, 126.0, base.y);
        self.posed
            .on_pelvis(base)
            .lerp(self.posed.on_thorax(base), w)
    }
}

fn turn_of(k: usize) -> f64 {
    std::f64::consts::TAU * k as f64 / TURNS as f64
}

fn ray(turn: f64, height: f64) -> (DVec3, DVec3) {
    let flat = dvec3(turn.sin(), 0.0, turn.cos());
    if height <= FAN {
        (dvec3(0.0, height, -1.0), flat)
    } else {
        let (s, c) = ((height - FAN) / FAN_RADIUS).sin_cos();
        (dvec3(0.0, FAN, -1.0), flat * c + DVec3::Y * s)
    }
}

/// Reach of the convex hull of a star-shaped outline, ray by ray.
fn taut(reach: &[f64]) -> Vec<f64> {
    let n = reach.len();
    let at = |k: usize| dvec2(turn_of(k).sin(), turn_of(k).cos()) * reach[k % n];
    (0..n)
        .map(|k| {
            let along = dvec2(turn_of(k).sin(), turn_of(k).cos());
            let mut best = reach[k];
            // A chord from any point up to a quarter turn before to any after.
            for i in 1..n / 4 {
                for j in 1..n / 4 {
                    let (a, b) = (at((k + n - i) % n), at((k + j) % n));
                    let t = a.perp_dot(b - a) / along.perp_dot(b - a);
                    if t.is_finite() {
                        best = best.max(t);
                    }
                }
            }
            best
        })
        .collect()
}
