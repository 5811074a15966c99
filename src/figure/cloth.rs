//! A sheet of cloth that falls under its own weight against a solid.
//!
//! Extended position-based dynamics (Macklin, Mueller and Chentanez 2016) in
//! small substeps of one sweep each. Units are centimetres, grams and seconds,
//! so forces are dynes. Sweeps run in one order on one thread: the same cloth
//! always falls into the same folds.

use super::sdf::Field;
use glam::DVec3;
use rayon::prelude::*;

/// Distance held between two particles.
#[derive(Debug, Clone, Copy)]
pub struct Link {
    pub a: u32,
    pub b: u32,
    pub rest_cm: f64,
    /// Inverse stiffness in centimetres per dyne.
    pub compliance: f64,
}

/// Bending at `b` between `a` and `c`: `wa·a + wc·c - b` is held at zero.
#[derive(Debug, Clone, Copy)]
pub struct Bend {
    pub a: u32,
    pub b: u32,
    pub c: u32,
    pub wa: f64,
    pub wc: f64,
    /// Inverse stiffness in centimetres per dyne.
    pub compliance: f64,
}

/// Particles and what holds them together.
#[derive(Debug, Clone, Default)]
pub struct Cloth {
    pub positions: Vec<DVec3>,
    pub velocities: Vec<DVec3>,
    /// Inverse inertial masses, one over grams.
    pub inverse_mass: Vec<f64>,
    /// Weighing mass over inertial mass. Where a lot of cloth hangs from little
    /// (a shoulder), extra inertia lets one sweep hold the load; at rest only the
    /// weight counts.
    pub weight_share: Vec<f64>,
    pub links: Vec<Link>,
    pub bends: Vec<Bend>,
}

/// How a stretch of simulation runs.
#[derive(Debug, Clone, Copy)]
pub struct Run {
    pub seconds: f64,
    pub substep_s: f64,
    /// Velocity lost per second.
    pub drag: f64,
    /// Distance kept from the solid, in centimetres.
    pub gap_cm: f64,
    pub friction: f64,
}

const GRAVITY: DVec3 = DVec3::new(0.0, -981.0, 0.0);
const TOP_SPEED: f64 = 250.0;

impl Cloth {
    /// Lets the cloth fall for a while.
    pub fn fall(&mut self, run: Run, solid: &Solid) {
        let dt = run.substep_s;
        let keep = (-run.drag * dt).exp();
        let softness = 1.0 / (dt * dt);
        let mut before = self.positions.clone();
        for _ in 0..(run.seconds / dt).round() as usize {
            before.copy_from_slice(&self.positions);
            let shares = &self.weight_share;
            for ((p, v), share) in self
                .positions
                .iter_mut()
                .zip(&mut self.velocities)
                .zip(shares)
            {
                *v = (*v + GRAVITY * (share * dt)) * keep;
                *p += *v * dt;
            }
            self.hold(softness);
            for (p, old) in self.positions.iter_mut().zip(&before) {
                *p = solid.keep_out(*p, *old, run.gap_cm, run.friction);
            }
            for ((p, old), v) in self.positions.iter().zip(&before).zip(&mut self.velocities) {
                *v = ((*p - *old) / dt).clamp_length_max(TOP_SPEED);
            }
        }
    }

    fn hold(&mut self, softness: f64) {
        let (x, w) = (&mut self.positions, &self.inverse_mass);
        for l in &self.links {
            let (a, b) = (l.a as usize, l.b as usize);
            let d = x[b] - x[a];
            let length = d.length().max(1e-9);
            let push = (length - l.rest_cm) / (w[a] + w[b] + l.compliance * softness) / length;
            x[a] += d * (w[a] * push);
            x[b] -= d * (w[b] * push);
        }
        for s in &self.bends {
            let (a, b, c) = (s.a as usize, s.b as usize, s.c as usize);
            let off = x[a] * s.wa + x[c] * s.wc - x[b];
            let weight = w[a] * s.wa * s.wa + w[b] + w[c] * s.wc * s.wc;
            let push = off / (weight + s.compliance * softness);
            x[a] -= push * (w[a] * s.wa);
            x[b] += push * w[b];
            x[c] -= push * (w[c] * s.wc);
        }
    }
}

/// A field sampled on a grid, for fast collision.
pub struct Solid {
    lo: DVec3,
    pitch: f64,
    n: [usize; 3],
    values: Vec<f32>,
}

impl Solid {
    /// Samples `distance` in the box `lo`..`hi`.
    pub fn sample(field: &dyn Field, lo: DVec3, hi: DVec3, pitch: f64) -> Self {
        let n = ((hi - lo) / pitch)
            .ceil()
            .to_array()
            .map(|v| v as usize + 1);
        let mut values = vec![0.0_f32; n[0] * n[1] * n[2]];
        values
            .par_chunks_mut(n[1] * n[2])
            .enumerate()
            .for_each(|(i, plane)| {
                for j in 0..n[1] {
                    for k in 0..n[2] {
                        let p = lo + DVec3::new(i as f64, j as f64, k as f64) * pitch;
                        plane[j * n[2] + k] = field.distance(p) as f32;
                    }
                }
            });
        Self {
            lo,
            pitch,
            n,
            values,
        }
    }

    fn at(&self, cell: [usize; 3], corner: usize) -> f64 {
        let [i, j, k] = [
            cell[0] + (corner & 1),
            cell[1] + (corner >> 1 & 1),
            cell[2] + (corner >> 2),
        ];
        f64::from(self.values[(i * self.n[1] + j) * self.n[2] + k])
    }

    /// Distance and gradient, both trilinear.
    pub fn look(&self, p: DVec3) -> (f64, DVec3) {
        let q = ((p - self.lo) / self.pitch).to_array();
        let mut cell = [0; 3];
        let mut f = [0.0; 3];
        for c in 0..3 {
            let x = q[c].clamp(0.0, self.n[c] as f64 - 1.001);
            cell[c] = x as usize;
            f[c] = x - cell[c] as f64;
        }
        let v: [f64; 8] = std::array::from_fn(|corner| self.at(cell, corner));
        let mix = |a: f64, b: f64, t: f64| a + (b - a) * t;
        let face = |i: [usize; 4], s: f64, t: f64| {
            mix(mix(v[i[0]], v[i[1]], s), mix(v[i[2]], v[i[3]], s), t)
        };
        let gx = face([1, 3, 5, 7], f[1], f[2]) - face([0, 2, 4, 6], f[1], f[2]);
        let gy = face([2, 3, 6, 7], f[0], f[2]) - face([0, 1, 4, 5], f[0], f[2]);
        let low = face([0, 1, 2, 3], f[0], f[1]);
        let high = face([4, 5, 6, 7], f[0], f[1]);
        (
            mix(low, high, f[2]),
            DVec3::new(gx, gy, high - low) / self.pitch,
        )
    }

    /// Pushes `p` out to the gap and rubs off part of its sliding since `old`.
    fn keep_out(&self, p: DVec3, old: DVec3, gap: f64, friction: f64) -> DVec3 {
        let (d, gradient) = self.look(p);
        let depth = gap - d;
        if depth <= 0.0 {
            return p;
        }
        let n = gradient.normalize_or_zero();
        let depth = depth.min(0.8);
        let out = p + n * depth;
        let slide = (out - old) - n * (out - old).dot(n);
        let length = slide.length();
        if length < 1e-12 {
            out
        } else {
            out - slide * (friction * depth / length).min(1.0)
        }
    }
}
