//! Signed-distance building blocks that the figure is sculpted from.
//!
//! Every function returns an estimate of the distance from a point to a solid,
//! negative inside. Lengths carry whatever unit the caller works in (the body
//! is sculpted in centimetres, the head in millimetres); nothing here knows.
//! Ellipsoids and lofts give first-order distances: exact on the surface, a few
//! tens of per cent off far away, which is why meshing projects every vertex
//! back onto the zero set.

use glam::{DMat3, DVec2, DVec3};

/// A solid that can be asked how far away its surface is.
pub trait Field: Sync {
    /// Distance estimate at `p`, negative inside, in the field's own unit.
    fn distance(&self, p: DVec3) -> f64;

    /// Gradient of the distance by a tetrahedron of four samples, step `e`.
    fn gradient(&self, p: DVec3, e: f64) -> DVec3 {
        const K: [DVec3; 4] = [
            DVec3::new(1.0, -1.0, -1.0),
            DVec3::new(-1.0, -1.0, 1.0),
            DVec3::new(-1.0, 1.0, -1.0),
            DVec3::new(1.0, 1.0, 1.0),
        ];
        K.iter()
            .map(|&k| k * self.distance(p + k * e))
            .sum::<DVec3>()
            / (4.0 * e)
    }

    /// Moves `p` onto the zero set by `steps` damped Newton steps.
    fn project(&self, mut p: DVec3, e: f64, steps: usize) -> DVec3 {
        for _ in 0..steps {
            let g = self.gradient(p, e);
            let slope = g.length().max(0.3);
            let step = (self.distance(p) / slope).clamp(-4.0 * e, 4.0 * e);
            p -= g.normalize_or_zero() * step;
        }
        p
    }
}

/// Smooth union: the polynomial smooth minimum with blend width `k`.
pub fn smin(a: f64, b: f64, k: f64) -> f64 {
    let h = k - (a - b).abs();
    if h <= 0.0 {
        a.min(b)
    } else {
        a.min(b) - h * h * 0.25 / k
    }
}

/// Smooth union with continuous curvature, as proud as [`smin`] of the same `k` but
/// half as wide again: no line shows where the blend begins under raking light.
pub fn soft_min(a: f64, b: f64, k: f64) -> f64 {
    let wide = 1.5 * k;
    let h = wide - (a - b).abs();
    if h <= 0.0 {
        a.min(b)
    } else {
        a.min(b) - h * h * h / (6.0 * wide * wide)
    }
}

/// Smooth intersection with continuous curvature.
pub fn soft_max(a: f64, b: f64, k: f64) -> f64 {
    -soft_min(-a, -b, k)
}

/// Smooth intersection, the mirror of [`smin`]; `smax(a, -b, k)` carves b out of a.
pub fn smax(a: f64, b: f64, k: f64) -> f64 {
    -smin(-a, -b, k)
}

/// Hermite step from 0 at `a` to 1 at `b`.
pub fn step(a: f64, b: f64, x: f64) -> f64 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Ellipsoid at the origin with semi-axes `r`.
pub fn ellipsoid(p: DVec3, r: DVec3) -> f64 {
    let k0 = (p / r).length();
    let k1 = (p / (r * r)).length();
    if k1 < 1e-9 {
        -r.min_element()
    } else {
        k0 * (k0 - 1.0) / k1
    }
}

/// Capsule from `a` to `b` whose radius runs from `ra` to `rb`.
pub fn cone(p: DVec3, a: DVec3, b: DVec3, ra: f64, rb: f64) -> f64 {
    let axis = b - a;
    let length = axis.length();
    let t = (p - a).dot(axis) / (length * length);
    // Lean the foot point along the slope of the flank, so that the distance is square to it.
    let rho = (p - a - axis * t).length();
    let sine = ((ra - rb) / length).clamp(-0.95, 0.95);
    let foot = (t - rho * sine / (1.0 - sine * sine).sqrt() / length).clamp(0.0, 1.0);
    (p - a - axis * foot).length() - (ra + (rb - ra) * foot)
}

/// Distance in the plane to the superellipse |x/a|ⁿ + |z/b|ⁿ = 1, first order.
pub fn superellipse(q: DVec2, half: DVec2, n: f64) -> f64 {
    let u = (q / half).abs();
    let k0 = (u.x.powf(n) + u.y.powf(n)).powf(1.0 / n);
    let slope = (u / half).length();
    if slope < 1e-6 {
        -half.min_element()
    } else {
        u.length() * (k0 - 1.0) / slope
    }
}

/// Right-handed frame whose +y is `y` and whose +z leans towards `z_hint`.
pub fn frame(y: DVec3, z_hint: DVec3) -> DMat3 {
    let y = y.normalize();
    let z = (z_hint - y * z_hint.dot(y)).normalize();
    DMat3::from_cols(y.cross(z), y, z)
}

/// A few smooth curves of one parameter, sampled evenly for speed.
///
/// Built from landmark rows by monotone cubic interpolation (Fritsch and
/// Carlson 1980), which does not overshoot between landmarks, then a Gaussian.
#[derive(Debug, Clone)]
pub struct Table<const N: usize> {
    first: f64,
    last: f64,
    samples: Vec<[f64; N]>,
}

impl<const N: usize> Table<N> {
    /// `rows` are (parameter, values) with rising parameter; `sigma` is in samples.
    pub fn new(rows: &[(f64, [f64; N])], count: usize, sigma: f64) -> Self {
        let x: Vec<f64> = rows.iter().map(|r| r.0).collect();
        let (first, last) = (x[0], x[x.len() - 1]);
        let mut samples = vec![[0.0; N]; count];
        for c in 0..N {
            let y: Vec<f64> = rows.iter().map(|r| r.1[c]).collect();
            let slopes = monotone_slopes(&x, &y);
            let raw: Vec<f64> = (0..count)
                .map(|i| {
                    let t = first + (last - first) * i as f64 / (count - 1) as f64;
                    hermite(&x, &y, &slopes, t)
                })
                .collect();
            for (s, v) in samples.iter_mut().zip(gauss(&raw, sigma)) {
                s[c] = v;
            }
        }
        Self {
            first,
            last,
            samples,
        }
    }

    /// Multiplies value `c` of every sample by `factor`.
    pub fn scaled(mut self, c: usize, factor: f64) -> Self {
        for s in &mut self.samples {
            s[c] *= factor;
        }
        self
    }

    /// Values at `t`, held constant beyond the ends.
    pub fn at(&self, t: f64) -> [f64; N] {
        let top = (self.samples.len() - 1) as f64;
        let u = ((t - self.first) / (self.last - self.first) * top).clamp(0.0, top - 1e-9);
        let (i, f) = (u as usize, u.fract());
        std::array::from_fn(|c| self.samples[i][c] * (1.0 - f) + self.samples[i + 1][c] * f)
    }
}

fn monotone_slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let secant: Vec<f64> = (0..n - 1)
        .map(|i| (y[i + 1] - y[i]) / (x[i + 1] - x[i]))
        .collect();
    let mut m = vec![0.0; n];
    m[0] = secant[0];
    m[n - 1] = secant[n - 2];
    for i in 1..n - 1 {
        let (a, b) = (secant[i - 1], secant[i]);
        if a * b > 0.0 {
            let (ha, hb) = (x[i] - x[i - 1], x[i + 1] - x[i]);
            let (wa, wb) = (2.0 * hb + ha, hb + 2.0 * ha);
            m[i] = (wa + wb) / (wa / a + wb / b);
        }
    }
    m
}

fn hermite(x: &[f64], y: &[f64], m: &[f64], t: f64) -> f64 {
    let i = x.partition_point(|&v| v <= t).clamp(1, x.len() - 1) - 1;
    let h = x[i + 1] - x[i];
    let s = ((t - x[i]) / h).clamp(0.0, 1.0);
    let (s2, s3) = (s * s, s * s * s);
    y[i] * (2.0 * s3 - 3.0 * s2 + 1.0)
        + h * m[i] * (s3 - 2.0 * s2 + s)
        + y[i + 1] * (3.0 * s2 - 2.0 * s3)
        + h * m[i + 1] * (s3 - s2)
}

fn gauss(v: &[f64], sigma: f64) -> Vec<f64> {
    let reach = (3.0 * sigma).ceil() as isize;
    let last = v.len() as isize - 1;
    (0..=last)
        .map(|i| {
            let (mut sum, mut weight) = (0.0, 0.0);
            for k in -reach..=reach {
                let w = (-0.5 * (k as f64 / sigma).powi(2)).exp();
                sum += w * v[(i + k).clamp(0, last) as usize];
                weight += w;
            }
            sum / weight
        })
        .collect()
}
