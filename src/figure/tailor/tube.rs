//! Axes through limbs and the rings of cloth around them.

use glam::DVec3;

/// A smooth line through the joints of a limb, with a frame at every place on it.
///
/// Places are named by joint number: 1.5 is half way from joint 1 to joint 2.
pub struct Axis {
    origins: Vec<DVec3>,
    tangents: Vec<DVec3>,
    fronts: Vec<DVec3>,
    /// Length from the first joint.
    along: Vec<f64>,
    per_joint: usize,
}

/// Where a ring lies: centre, direction along the limb, front, and the side.
#[derive(Debug, Clone, Copy)]
pub struct Station {
    pub origin: DVec3,
    pub tangent: DVec3,
    pub front: DVec3,
    /// `front × tangent`: for a limb that hangs down, the figure's left.
    pub side: DVec3,
}

impl Axis {
    /// Through `joints`, bends rounded over about `round_cm`; the front direction
    /// is carried along without twist from the first joint.
    pub fn new(joints: &[DVec3], front: DVec3, round_cm: f64) -> Self {
        const PER_JOINT: usize = 64;
        let count = (joints.len() - 1) * PER_JOINT + 1;
        let raw = |i: isize| -> DVec3 {
            let last = count as isize - 1;
            let c = i.clamp(0, last);
            let k = (c as usize / PER_JOINT).min(joints.len() - 2);
            let t = (c - (k * PER_JOINT) as isize) as f64 / PER_JOINT as f64;
            let p = joints[k].lerp(joints[k + 1], t);
            // Beyond the ends the line goes straight on.
            let step = if i < 0 {
                (joints[1] - joints[0]) / PER_JOINT as f64 * i as f64
            } else {
                let n = joints.len();
                (joints[n - 1] - joints[n - 2]) / PER_JOINT as f64 * (i - c) as f64
            };
            p + step
        };
        let origins: Vec<DVec3> = (0..count as isize)
            .map(|i| {
                let here = raw(i);
                let (mut sum, mut weight) = (DVec3::ZERO, 0.0);
                for k in -60..=60 {
                    let q = raw(i + k);
                    let w = (-0.5 * (q.distance(here) / (0.5 * round_cm)).powi(2)).exp();
                    sum += q * w;
                    weight += w;
                }
                sum / weight
            })
            .collect();
        let tangents: Vec<DVec3> = (0..count)
            .map(|i| {
                let (a, b) = (i.saturating_sub(1), (i + 1).min(count - 1));
                (origins[b] - origins[a]).normalize()
            })
            .collect();
        let mut fronts = Vec::with_capacity(count);
        let mut f = front;
        for t in &tangents {
            f = (f - *t * f.dot(*t)).normalize();
            fronts.push(f);
        }
        let mut along = vec![0.0];
        for w in origins.windows(2) {
            along.push(along[along.len() - 1] + w[0].distance(w[1]));
        }
        Self {
            origins,
            tangents,
            fronts,
            along,
            per_joint: PER_JOINT,
        }
    }

    fn mixed(&self, t: f64) -> (usize, f64) {
        let u = (t * self.per_joint as f64).clamp(0.0, self.origins.len() as f64 - 1.000_001);
        (u as usize, u.fract())
    }

    /// The frame at place `t`.
    pub fn at(&self, t: f64) -> Station {
        let (i, f) = self.mixed(t);
        let tangent = self.tangents[i].lerp(self.tangents[i + 1], f).normalize();
        let front = self.fronts[i].lerp(self.fronts[i + 1], f);
        let front = (front - tangent * front.dot(tangent)).normalize();
        Station {
            origin: self.origins[i].lerp(self.origins[i + 1], f),
            tangent,
            front,
            side: front.cross(tangent),
        }
    }

    /// Length in centimetres from the first joint to place `t`.
    pub fn along(&self, t: f64) -> f64 {
        let (i, f) = self.mixed(t);
        self.along[i] + (self.along[i + 1] - self.along[i]) * f
    }

    /// The place `length` centimetres from the first joint.
    pub fn place_of(&self, length: f64) -> f64 {
        let i = self
            .along
            .partition_point(|&a| a <= length)
            .clamp(1, self.along.len() - 1);
        let f = (length - self.along[i - 1]) / (self.along[i] - self.along[i - 1]).max(1e-9);
        ((i - 1) as f64 + f.clamp(0.0, 1.0)) / self.per_joint as f64
    }
}

/// Marches from `origin` along `ray` to where `field` leaves the solid.
pub fn leave(field: &dyn Fn(DVec3) -> f64, origin: DVec3, ray: DVec3, limit: f64) -> f64 {
    let mut r = 0.0;
    while r < limit {
        let d = field(origin + ray * r);
        if d > -0.01 {
            // One secant step back to the surface.
            return (r - d.min(2.0) * 0.8).max(0.1);
        }
        r += (-0.8 * d).max(0.04);
    }
    limit
}

/// Marches from outside back along `ray` towards `origin` until the solid is met.
pub fn meet(field: &dyn Fn(DVec3) -> f64, origin: DVec3, ray: DVec3, from: f64) -> f64 {
    let mut r = from;
    while r > 0.0 {
        let d = field(origin + ray * r);
        if d < 0.01 {
            break;
        }
        r -= (0.75 * d).max(0.02);
    }
    r.max(0.0)
}

/// Points at even shares of a polyline's length, and that length.
pub fn even(points: &[DVec3], count: usize) -> (Vec<DVec3>, f64) {
    let mut along = vec![0.0];
    for w in points.windows(2) {
        along.push(along[along.len() - 1] + w[0].distance(w[1]));
    }
    let total = along[along.len() - 1];
    let out = (0..count)
        .map(|i| {
            let goal = total * i as f64 / (count - 1) as f64;
            let k = along
                .partition_point(|&a| a <= goal)
                .clamp(1, points.len() - 1);
            let t = (goal - along[k - 1]) / (along[k] - along[k - 1]).max(1e-9);
            points[k - 1].lerp(points[k], t.clamp(0.0, 1.0))
        })
        .collect();
    (out, total)
}

/// A table of points over stations and shares of an arc, read bilinearly.
#[derive(Debug, Clone, Default)]
pub struct Net {
    pub first: f64,
    pub last: f64,
    pub rows: Vec<Vec<DVec3>>,
}

impl Net {
    /// The point at station `t` and share `s` (0 to 1) of its row.
    pub fn at(&self, t: f64, s: f64) -> DVec3 {
        let n = self.rows.len() - 1;
        let x =
            ((t - self.first) / (self.last - self.first) * n as f64).clamp(0.0, n as f64 - 1e-6);
        let row = |r: usize| {
            let m = self.rows[r].len() - 1;
            let y = (s * m as f64).clamp(0.0, m as f64 - 1e-6);
            self.rows[r][y as usize].lerp(self.rows[r][y as usize + 1], y.fract())
        };
        row(x as usize).lerp(row(x as usize + 1), x.fract())
    }

    /// Length of row `t`.
    pub fn width(&self, t: f64) -> f64 {
        let n = self.rows.len() - 1;
        let x =
            ((t - self.first) / (self.last - self.first) * n as f64).clamp(0.0, n as f64 - 1e-6);
        let row = |r: usize| {
            self.rows[r]
                .windows(2)
                .map(|w| w[0].distance(w[1]))
                .sum::<f64>()
        };
        row(x as usize) * (1.0 - x.fract()) + row(x as usize + 1) * x.fract()
    }

    /// Length down the column at share `s` from the first row to station `t`.
    pub fn length_to(&self, s: f64, t: f64) -> f64 {
        let n = self.rows.len() - 1;
        let step = (self.last - self.first) / n as f64;
        let mut sum = 0.0;
        for r in 0..n {
            let (a, b) = (
                self.first + step * r as f64,
                self.first + step * (r + 1) as f64,
            );
            if a >= t {
                break;
            }
            sum += self.at(a, s).distance(self.at(b.min(t), s));
        }
        sum
    }
}
