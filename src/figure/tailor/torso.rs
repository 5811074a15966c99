//! Rings of cloth around the trunk, and places above the armpit.

use super::tube::{Axis, meet};
use crate::figure::body::Body;
use crate::figure::hull::{along_ray, convex};
use glam::{DVec2, DVec3, dvec2, dvec3};
use rayon::prelude::*;

/// Stations of the trunk's axis: neck 0, natural waist 1, hip 2, knee height 3.
pub const WAIST: f64 = 1.0;
pub const HIP: f64 = 2.0;
/// Height of the natural waist in the base pose.
pub const WAIST_BASE: f64 = 112.0;

/// Convex rings around trunk and legs.
pub struct TrunkRings<'a> {
    pub axis: Axis,
    pub body: &'a Body,
    under: &'a (dyn Fn(DVec3) -> f64 + Sync),
    /// For each station, points from the centre front round by the figure's left.
    rings: Vec<Vec<DVec3>>,
}

const ROWS: usize = 90;
const RAYS: usize = 144;
const LAST: f64 = 3.0;

impl<'a> TrunkRings<'a> {
    /// Measures `body`; `under` is the distance to trunk and legs and what they wear.
    pub fn new(body: &'a Body, under: &'a (dyn Fn(DVec3) -> f64 + Sync)) -> Self {
        let neck = body.on_thorax(dvec3(0.0, 149.0, -2.0));
        let waist = body.on_thorax(dvec3(0.0, 112.0, -0.5));
        let hip = body.on_pelvis(dvec3(0.0, 88.5, -0.6));
        let down = (hip - body.on_pelvis(dvec3(0.0, 100.0, -0.6))).normalize();
        let front = (body.on_thorax(dvec3(0.0, 112.0, 1.0))
            - body.on_thorax(dvec3(0.0, 112.0, 0.0)))
        .normalize();
        // Below the hip cloth hangs straight down.
        let below = hip + (down * 0.25 + DVec3::NEG_Y * 0.75).normalize() * 55.0;
        let axis = Axis::new(&[neck, waist, hip, below], front, 10.0);
        Self::about(axis, body, under)
    }

    /// The same about a straight line through the pelvis, level as a waistband is, whichever way the rib cage leans. Both
    /// lines have the natural waist and the hip at the same stations.
    pub fn of_pelvis(body: &'a Body, under: &'a (dyn Fn(DVec3) -> f64 + Sync)) -> Self {
        let on = |y: f64| body.on_pelvis(dvec3(0.0, y, -0.6));
        let joints = [149.0, WAIST_BASE, 88.5, 33.5].map(on);
        let front = body.on_pelvis(DVec3::Z) - body.on_pelvis(DVec3::ZERO);
        Self::about(Axis::new(&joints, front, 10.0), body, under)
    }

    fn about(axis: Axis, body: &'a Body, under: &'a (dyn Fn(DVec3) -> f64 + Sync)) -> Self {
        let rings = (0..=ROWS)
            .into_par_iter()
            .map(|r| {
                let st = axis.at(LAST * r as f64 / ROWS as f64);
                let flat: Vec<DVec2> = (0..RAYS)
                    .map(|k| {
                        let turn = std::f64::consts::TAU * k as f64 / RAYS as f64;
                        let ray = st.front * turn.cos() + st.side * turn.sin();
                        let reach = meet(under, st.origin, ray, 42.0);
                        dvec2(turn.sin(), turn.cos()) * reach
                    })
                    .collect();
                let hull = convex(&flat);
                (0..RAYS)
                    .map(|k| {
                        let turn = std::f64::consts::TAU * k as f64 / RAYS as f64;
                        let ray = dvec2(turn.sin(), turn.cos());
                        let q = ray * along_ray(&hull, ray);
                        st.origin + st.side * q.x + st.front * q.y
                    })
                    .collect()
            })
            .collect();
        Self {
            axis,
            body,
            under,
            rings,
        }
    }

    fn ring(&self, t: f64) -> Vec<DVec3> {
        let x = (t / LAST * ROWS as f64).clamp(0.0, ROWS as f64 - 1e-6);
        let (a, b) = (&self.rings[x as usize], &self.rings[x as usize + 1]);
        a.iter()
            .zip(b)
            .map(|(p, q)| p.lerp(*q, x.fract()))
            .collect()
    }

    /// Length of a taut tape at station `t`.
    pub fn girth(&self, t: f64) -> f64 {
        let ring = self.ring(t);
        (0..RAYS)
            .map(|k| ring[k].distance(ring[(k + 1) % RAYS]))
            .sum()
    }

    /// Length of the taut tape from the centre front to the side, at station `t`.
    pub fn front_quarter(&self, t: f64) -> f64 {
        let ring = self.ring(t);
        (0..RAYS / 4).map(|k| ring[k].distance(ring[k + 1])).sum()
    }

    /// A table of rows at stations `first` to `last`, each the quarter arc from
    /// the centre to the side, let out so that the whole ring is `girth(t)` long.
    /// `front`: the front arcs, else the back; `left`: the figure's left.
    pub fn arcs(
        &self,
        stations: &[f64],
        girth: &dyn Fn(f64) -> f64,
        front: bool,
        left: bool,
    ) -> Vec<Vec<DVec3>> {
        stations
            .iter()
            .map(|&t| {
                let st = self.axis.at(t);
                let factor = (girth(t) / self.girth(t)).max(1.0);
                let ring = self.ring(t);
                let quarter = RAYS / 4;
                let arc: Vec<DVec3> = (0..=quarter)
                    .map(|k| {
                        let from_front = if front { k } else { RAYS / 2 - k };
                        let k = if left {
                            from_front
                        } else {
                            (RAYS - from_front) % RAYS
                        };
                        st.origin + (ring[k] - st.origin) * factor
                    })
                    .collect();
                super::tube::even(&arc, 25).0
            })
            .collect()
    }

    /// Straight ahead of (or behind) the rib cage at base-pose thorax `x`, `y`
    /// in scaled centimetres off the centre and over the waist, until the body is met.
    pub fn ahead(&self, x: f64, y: f64, front: bool, gap: f64) -> DVec3 {
        let f = if front { 1.0 } else { -1.0 };
        let s = self.body.scale();
        let base = self.body.on_thorax(dvec3(x / s, 112.0 + y / s, -1.5));
        let ray = (self.body.on_thorax(dvec3(x / s, 112.0 + y / s, f - 1.5)) - base).normalize();
        let body = self.body;
        let field = |p: DVec3| {
            (self.under)(p)
                .min(body.upper_arm(0, p))
                .min(body.upper_arm(1, p))
                .min(body.neck(p))
                - gap
        };
        base + ray * meet(&field, base, ray, 26.0).max(0.1)
    }
}
