//! The substep: predict, hold together, keep out, read the speed.

use super::build::{Block, Held, Sweep, Tri, yielding};
use super::strut::keep_open;
use super::{Cloth, Ended, Motion, Rod, Run, Solid, Watch};
use glam::DVec3;
use rayon::prelude::*;
use std::sync::atomic::Ordering;

const GRAVITY: DVec3 = DVec3::new(0.0, -981.0, 0.0);
const TOP_SPEED: f64 = 300.0;
/// Density of air in grams a cubic centimetre.
const AIR: f64 = 1.2e-3;
/// Drag of a plate across the flow (Hoerner 1965, about 1.1 to 1.2).
const PLATE: f64 = 1.15;
/// Bending is felt where the cloth will be this many substeps on, which damps
/// its ripples.
pub(super) const LEAD: f64 = 1.5;
/// What the multipliers carry over grows by this share of the damping. A sweep
/// alone leaves the cloth too long by weight times substep squared; the carried
/// part takes that up like the integral part of a controller, which stays
/// stable while it is slower than the damping (Routh's criterion for inertia,
/// damping, proportional and integral action).
const CARRY: f64 = 0.2;
/// Substeps between fresh normals and fresh neighbours.
const REFRESH: usize = 8;

/// One block's particles, free to be written.
struct View<'a> {
    block: &'a mut Block,
    x: &'a mut [DVec3],
    v: &'a mut [DVec3],
    old: &'a mut [DVec3],
    seen: &'a mut [DVec3],
    clear: &'a mut [f64],
}

impl Cloth {
    /// Lets the cloth fall against `solids` and `rods` for a while, or until it rests. Each particle is kept out of the solid
    /// that [`super::ClothMesh::against`] names; without solids all fall freely.
    pub fn fall(&mut self, run: &Run, solids: &[Solid], rods: &[Rod], watch: Watch) -> Ended {
        let dt = run.substep_s;
        self.prepare(dt);
        let steps = (run.seconds / dt).round().max(1.0) as usize;
        let window = ((0.1 / dt) as usize).max(1);
        let mut calm = 0;
        for s in 0..steps {
            if s % REFRESH == 0 {
                if watch.cancel.load(Ordering::Relaxed) {
                    return Ended::Cancelled;
                }
                self.read_normals();
                if run.self_gap_cm > 0.0 && s % (2 * REFRESH) == 0 {
                    self.touch.find(&self.x, &self.normal, run.self_gap_cm);
                }
                if run.keeps_faces {
                    let (x, against) = (&self.x, &self.against);
                    self.faces
                        .find(&self.triangles, x, against, solids, run.gap_cm);
                }
                (watch.progress)(s as f32 / steps as f32);
            }
            let square = self.substep(run, solids, rods);
            let speed = (square / self.x.len().max(1) as f64).sqrt();
            calm = if speed < run.rest_speed { calm + 1 } else { 0 };
            if calm >= window {
                return Ended::Settled(s as f64 * dt);
            }
        }
        Ended::TimeUp
    }

    /// One substep; returns the sum of squared speeds.
    fn substep(&mut self, run: &Run, solids: &[Solid], rods: &[Rod]) -> f64 {
        let dt = run.substep_s;
        let keep = (-run.damping * dt).exp();
        let mut seen = std::mem::take(&mut self.seen);
        {
            let rows = &self.rows;
            let (mass, inverse) = (&self.mass, &self.inverse);
            let (area, normal) = (&self.area, &self.normal);
            let drag = 0.5 * AIR * PLATE * self.drag;
            let motion = &run.motion;
            let felt = &seen;
            views(
                &mut self.blocks,
                [&mut self.x, &mut self.v, &mut self.old, &mut Vec::new()],
                &mut self.clear,
            )
            .into_par_iter()
            .for_each(|view| {
                let first = view.block.first;
                for k in 0..view.x.len() {
                    let i = first + k;
                    view.old[k] = view.x[k];
                    let w = inverse[i];
                    if w == 0.0 {
                        view.v[k] = DVec3::ZERO;
                        continue;
                    }
                    let mut force = (GRAVITY + inertia(motion, view.x[k], view.v[k])) * mass[i];
                    let (from, to) = (rows.start[i] as usize, rows.start[i + 1] as usize);
                    for &(j, q) in &rows.entries[from..to] {
                        force -= felt[j as usize] * q;
                    }
                    let v = (view.v[k] + force * (w * dt)) * keep;
                    // Air pushes square to the cloth; taken implicitly.
                    let past = v - air(motion, view.x[k]);
                    let square = past.dot(normal[i]);
                    let rate = drag * area[i] * square.abs() * w * dt;
                    view.v[k] = v - normal[i] * (square * rate / (1.0 + rate));
                    view.x[k] += view.v[k] * dt;
                }
            });
        }
        push(&self.border, &mut self.x, &self.inverse);
        let soft = 1.0 / (dt * dt);
        let carry = (CARRY * run.damping * dt).min(0.05);
        {
            let inverse = &self.inverse;
            views(
                &mut self.blocks,
                [&mut self.x, &mut self.v, &mut self.old, &mut Vec::new()],
                &mut self.clear,
            )
            .into_par_iter()
            .for_each(|view| {
                let w = &inverse[view.block.first..][..view.block.count];
                push(&view.block.sweep, view.x, w);
                hold(&mut view.block.sweep, view.x, w, soft, carry);
            });
        }
        hold(&mut self.border, &mut self.x, &self.inverse, soft, carry);
        if run.self_gap_cm > 0.0 {
            self.touch
                .keep_apart(&mut self.x, &self.old, &self.inverse, run.self_gap_cm);
        }
        if run.keeps_faces {
            self.faces
                .keep_out(&mut self.x, &self.inverse, solids, run.gap_cm);
        }
        let (inverse, against) = (&self.inverse, &self.against);
        let sums: Vec<f64> = views(
            &mut self.blocks,
            [&mut self.x, &mut self.v, &mut self.old, &mut seen],
            &mut self.clear,
        )
        .into_par_iter()
        .map(|view| {
            let first = view.block.first;
            let mut sum = 0.0;
            for k in 0..view.x.len() {
                if inverse[first + k] == 0.0 {
                    view.x[k] = view.old[k];
                    view.seen[k] = view.x[k];
                    continue;
                }
                let (x, old) = (&mut view.x[k], view.old[k]);
                view.clear[k] -= x.distance(old);
                if view.clear[k] <= 0.0 {
                    let solid = solids.get(against[first + k] as usize);
                    view.clear[k] = solid.map_or(f64::INFINITY, |s| keep_out(x, old, run, s));
                }
                for rod in rods {
                    keep_off(x, rod, run.gap_cm);
                }
                view.v[k] = ((*x - old) / dt).clamp_length_max(TOP_SPEED);
                view.seen[k] = *x + view.v[k] * (LEAD * dt);
                sum += view.v[k].length_squared();
            }
            sum
        })
        .collect();
        self.seen = seen;
        sums.iter().sum()
    }

    fn read_normals(&mut self) {
        self.normal.fill(DVec3::ZERO);
        for t in &self.triangles {
            let p = t.map(|v| self.x[v as usize]);
            let n = (p[1] - p[0]).cross(p[2] - p[0]);
            for &v in t {
                self.normal[v as usize] += n;
            }
        }
        for n in &mut self.normal {
            *n = n.normalize_or_zero();
        }
    }
}

/// Splits the particle arrays into blocks. The last array may be empty.
fn views<'a>(
    blocks: &'a mut [Block],
    arrays: [&'a mut Vec<DVec3>; 4],
    clear: &'a mut [f64],
) -> Vec<View<'a>> {
    let [x, v, old, seen] = arrays;
    let (mut x, mut v, mut old) = (&mut x[..], &mut v[..], &mut old[..]);
    let (mut seen, mut clear) = (&mut seen[..], clear);
    let mut out = Vec::with_capacity(blocks.len());
    for block in blocks {
        let n = block.count;
        let take = |rest: &mut &'a mut [DVec3]| {
            let n = n.min(rest.len());
            let (head, tail) = std::mem::take(rest).split_at_mut(n);
            *rest = tail;
            head
        };
        let (c, tail) = std::mem::take(&mut clear).split_at_mut(n);
        clear = tail;
        out.push(View {
            x: take(&mut x),
            v: take(&mut v),
            old: take(&mut old),
            seen: take(&mut seen),
            clear: c,
            block,
        });
    }
    out
}

/// Accelerations that the cloth feels in the body's frame.
fn inertia(motion: &Motion, x: DVec3, v: DVec3) -> DVec3 {
    let mut a = -motion.acceleration;
    if motion.spin != 0.0 || motion.spin_rise != 0.0 {
        let arm = DVec3::new(x.x - motion.axis.x, 0.0, x.z - motion.axis.z);
        let turn = DVec3::Y * motion.spin;
        a += arm * (motion.spin * motion.spin) - 2.0 * turn.cross(v);
        a -= (DVec3::Y * motion.spin_rise).cross(arm);
    }
    a
}

/// Velocity of the air at `x` in the body's frame.
fn air(motion: &Motion, x: DVec3) -> DVec3 {
    let arm = DVec3::new(x.x - motion.axis.x, 0.0, x.z - motion.axis.z);
    motion.wind - (DVec3::Y * motion.spin).cross(arm)
}

/// Applies what the last substep's multipliers already know.
fn push(sweep: &Sweep, x: &mut [DVec3], w: &[f64]) {
    for t in &sweep.triangles {
        let (u, v) = directions(t, x);
        let [lu, lv, ls] = t.lambda;
        let a = u.normalize_or_zero() * lu + v * ls;
        let b = v.normalize_or_zero() * lv + u * ls;
        for k in 0..3 {
            let i = t.v[k] as usize;
            x[i] += (a * t.g[k].x + b * t.g[k].y) * w[i];
        }
    }
    for l in &sweep.links {
        let (a, b) = (l.a as usize, l.b as usize);
        let along = (x[b] - x[a]).normalize_or_zero() * l.lambda;
        x[a] -= along * w[a];
        x[b] += along * w[b];
    }
}

fn directions(t: &Tri, x: &[DVec3]) -> (DVec3, DVec3) {
    let p = t.v.map(|v| x[v as usize]);
    let (e1, e2) = (p[1] - p[0], p[2] - p[0]);
    (e1 * t.g[1].x + e2 * t.g[2].x, e1 * t.g[1].y + e2 * t.g[2].y)
}

/// One sweep: stretch along the weft, along the warp, shear between them.
fn hold(sweep: &mut Sweep, x: &mut [DVec3], w: &[f64], soft: f64, carry: f64) {
    for t in &mut sweep.triangles {
        let (mut u, mut v) = directions(t, x);
        let [xx, xy, yy] = t.h;
        let length = u.length().max(1e-6);
        let c = yielding(t.compliance[0], length < 1.0) * soft;
        let d = (1.0 - length - c * t.lambda[0]) / (xx + c);
        t.lambda[0] += carry * d;
        let a = u * (d / length);
        u += a * xx;
        v += a * xy;
        let length = v.length().max(1e-6);
        let c = yielding(t.compliance[1], length < 1.0) * soft;
        let d = (1.0 - length - c * t.lambda[1]) / (yy + c);
        t.lambda[1] += carry * d;
        let b = v * (d / length);
        v += b * yy;
        u += b * xy;
        let c = t.compliance[2] * soft;
        let skew = u.dot(v);
        let weight = v.length_squared() * xx + 2.0 * skew * xy + u.length_squared() * yy;
        let d = (-skew - c * t.lambda[2]) / (weight + c);
        t.lambda[2] += carry * d;
        let (a, b) = (a + v * d, b + u * d);
        for k in 0..3 {
            let i = t.v[k] as usize;
            x[i] += (a * t.g[k].x + b * t.g[k].y) * w[i];
        }
    }
    for l in &mut sweep.links {
        hold_link(l, x, w, soft, carry);
    }
    keep_open(&sweep.struts, x, w);
}

fn hold_link(l: &mut Held, x: &mut [DVec3], w: &[f64], soft: f64, carry: f64) {
    let (a, b) = (l.a as usize, l.b as usize);
    let d = x[b] - x[a];
    let length = d.length();
    if length < 1e-9 {
        return;
    }
    let c = l.compliance * soft;
    // A closing seam pulls its ends together without a jerk.
    let off = (length - l.rest).min(0.3);
    let mut step = (-off - c * l.lambda) / (w[a] + w[b] + c).max(1e-12);
    if l.slack {
        step = step.min(-l.lambda);
    }
    l.lambda += carry * step;
    let along = d * (step / length);
    x[a] -= along * w[a];
    x[b] += along * w[b];
}

/// Pushes `x` out to the gap and rubs off part of its sliding since `old`.
/// Returns how far it may travel before it must be asked again.
fn keep_out(x: &mut DVec3, old: DVec3, run: &Run, solid: &Solid) -> f64 {
    let (d, gradient) = solid.look(*x);
    let depth = run.gap_cm - d;
    if depth <= 0.0 {
        // Fields are steeper than distances by a few tens of per cent at most.
        return -depth * 0.6;
    }
    let n = gradient.normalize_or_zero();
    let depth = depth.min(0.8);
    let out = *x + n * depth;
    let slide = (out - old) - n * (out - old).dot(n);
    let length = slide.length();
    *x = if length < 1e-12 {
        out
    } else {
        out - slide * (run.friction * depth / length).min(1.0)
    };
    0.0
}

fn keep_off(x: &mut DVec3, rod: &Rod, gap: f64) {
    let axis = rod.b - rod.a;
    let t = ((*x - rod.a).dot(axis) / axis.length_squared().max(1e-12)).clamp(0.0, 1.0);
    let off = *x - rod.a - axis * t;
    let (length, r) = (off.length(), rod.ra + (rod.rb - rod.ra) * t + gap);
    if length < r && length > 1e-9 {
        *x += off * ((r - length).min(0.8) / length);
    }
}
