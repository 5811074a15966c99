//! Rings of cloth around trunk and legs: what trousers are measured from and
//! where they are laid.

use super::tube::{Axis, Net, even, leave};
use crate::figure::body::Body;
use crate::figure::sdf::step;
use glam::{DVec3, dvec3};
use rayon::prelude::*;

/// Stations of the leg's axis: waist 0, hip joint 1, knee 2, ankle 3, sole 4.
pub const HIP: f64 = 1.0;
pub const KNEE: f64 = 2.0;
pub const ANKLE: f64 = 3.0;

/// Around one leg: the front arc runs from the outseam to the inseam (below the
/// crotch) or the centre front (above it); the back arc likewise.
pub struct LegRings {
    pub axis: Axis,
    /// Station of the crotch.
    pub crotch: f64,
    pub front: Net,
    pub back: Net,
}

/// How the rings stand off the body.
pub struct LegEase<'a> {
    /// Distance from the body at a station, in centimetres.
    pub gap: &'a (dyn Fn(f64) -> f64 + Sync),
    /// Girth the ring must at least have below the crotch, in centimetres.
    pub girth: &'a (dyn Fn(f64) -> f64 + Sync),
    /// Station of the waist edge.
    pub top: f64,
    /// Distance to trunk and legs, and to what they wear already.
    pub below: &'a (dyn Fn(DVec3) -> f64 + Sync),
}

/// Height of the natural waist in base-pose pelvis coordinates.
pub const WAIST: f64 = 108.0;

const ROWS: usize = 110;
const RAYS: usize = 96;
const SHARES: usize = 33;

/// Where trunk and legs part, in base-pose pelvis coordinates.
fn crotch_height(body: &Body) -> f64 {
    let mut y = 88.0;
    while y > 74.0 && body.trunk_and_legs(body.on_pelvis(dvec3(0.0, y, 0.6))) < 0.0 {
        y -= 0.1;
    }
    y.clamp(75.0, 80.0)
}

/// The line through the leg on `side`, its front the pelvis's.
pub fn leg_axis(body: &Body, side: usize) -> Axis {
    let j = body.joints();
    let front = body.on_pelvis(DVec3::Z) - body.on_pelvis(DVec3::ZERO);
    let hip_base = body.pelvis_back(j.hip[side]);
    let waist = body.on_pelvis(dvec3(0.75 * hip_base.x, WAIST, hip_base.z));
    let shin = (j.ankle[side] - j.knee[side]).normalize();
    let joints = [
        waist,
        j.hip[side],
        j.knee[side],
        j.ankle[side],
        j.ankle[side] + shin * 12.0,
    ];
    Axis::new(&joints, front.normalize(), 9.0)
}

/// Measures the rings of one leg of `body`.
pub fn leg_rings(body: &Body, side: usize, ease: &LegEase) -> LegRings {
    let s = [1.0, -1.0][side];
    let j = body.joints();
    let hip_x = (body.on_pelvis(dvec3(1.0, 0.0, 0.0)) - body.on_pelvis(DVec3::ZERO)).normalize();
    let origin = body.on_pelvis(DVec3::ZERO);
    let hip_base = body.pelvis_back(j.hip[side]);
    let axis = leg_axis(body, side);
    let crotch_y = crotch_height(body);
    let crotch = HIP + (hip_base.y - crotch_y) * body.scale() / j.hip[side].distance(j.knee[side]);
    let sagittal = |p: DVec3| -s * (p - origin).dot(hip_x);
    let between = |p: DVec3| 0.5 * (body.leg(side, p) - body.leg(1 - side, p));
    let rows: Vec<(Vec<DVec3>, Vec<DVec3>)> = (0..=ROWS)
        .into_par_iter()
        .map(|r| {
            let t = ease.top + (4.0 - ease.top) * r as f64 / ROWS as f64;
            let st = axis.at(t);
            let gap = (ease.gap)(t);
            let below = step(crotch - 0.02, crotch + 0.12, t);
            let mid = |p: DVec3| {
                if below <= 0.0 {
                    sagittal(p)
                } else if below >= 1.0 {
                    between(p)
                } else {
                    sagittal(p) * (1.0 - below) + between(p) * below
                }
            };
            let cloth = |p: DVec3| (ease.below)(p) - gap;
            let field = |p: DVec3| {
                let d = cloth(p);
                if t > crotch + 0.7 {
                    d
                } else {
                    d.max(mid(p) + 0.15)
                }
            };
            let out = st.side * s;
            let foot = step(2.55, 2.9, t);
            let round = (ease.girth)(t) / std::f64::consts::TAU;
            let ray = |k: i32| {
                let turn = std::f64::consts::TAU * f64::from(k) / RAYS as f64;
                out * turn.cos() + st.front * turn.sin()
            };
            let reach = |k: i32| {
                let r = if foot < 1.0 {
                    leave(&field, st.origin, ray(k), 36.0)
                } else {
                    round
                };
                r * (1.0 - foot) + round * foot
            };
            let half = RAYS as i32 / 2;
            let trace = |direction: i32| -> Vec<DVec3> {
                let mut arc = Vec::new();
                for k in 0..=half {
                    let p = st.origin + ray(direction * k) * reach(direction * k);
                    // Above the crotch the arc ends at the centre line.
                    if t < crotch && k > half / 4 && mid(p) + 0.15 > cloth(p) + 0.05 {
                        // Only once the plane is met for good.
                        break;
                    }
                    arc.push(p);
                }
                arc
            };
            let mut arcs = (trace(1), trace(-1));
            if t > crotch {
                // Let the ring out to the girth of the cut.
                let girth: f64 = [&arcs.0, &arcs.1]
                    .iter()
                    .map(|a| a.windows(2).map(|w| w[0].distance(w[1])).sum::<f64>())
                    .sum();
                let factor = ((ease.girth)(t) / girth).max(1.0);
                let factor = 1.0 + (factor - 1.0) * step(crotch, crotch + 0.15, t);
                for p in arcs.0.iter_mut().chain(&mut arcs.1) {
                    *p = st.origin + (*p - st.origin) * factor;
                }
            }
            (even(&arcs.0, SHARES).0, even(&arcs.1, SHARES).0)
        })
        .collect();
    let (front, back) = rows.into_iter().unzip();
    let net = |rows| Net {
        first: ease.top,
        last: 4.0,
        rows,
    };
    LegRings {
        axis,
        crotch,
        front: net(front),
        back: net(back),
    }
}
