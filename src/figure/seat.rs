//! The block that a seated figure sits on.

use super::body::Body;
use super::sdf::Field;
use glam::{DVec2, DVec3, dvec3};

/// An upright round block on the floor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Block {
    /// Axis on the floor: x and z, in centimetres.
    pub centre_cm: DVec2,
    /// Radius in centimetres.
    pub radius_cm: f64,
    /// Height of the top in centimetres.
    pub top_cm: f64,
}

/// How far flesh gives under the weight of the body.
const GIVE_CM: f64 = 1.4;
const EDGE_CM: f64 = 0.6;

impl Block {
    /// The block that just carries `body`, at base size.
    pub(super) fn under(body: &Body) -> Self {
        let pelvis = body.skeleton().pelvis;
        let forward = pelvis.rotation.z_axis.with_y(0.0).normalize_or(DVec3::Z);
        let middle = pelvis.origin + forward * 3.5;
        let radius_cm = 18.0;
        let mut lowest = f64::INFINITY;
        for i in -5..=5 {
            for k in -5..=5 {
                let (x, z) = (f64::from(i) * 3.2, f64::from(k) * 3.2);
                if x.hypot(z) > radius_cm - 1.0 {
                    continue;
                }
                let mut p = middle + dvec3(x, -26.0, z);
                for _ in 0..30 {
                    p.y += (body.base_trunk_and_legs(p) * 0.8).clamp(-1.0, 3.0);
                }
                if body.base_trunk_and_legs(p).abs() < 0.05 {
                    lowest = lowest.min(p.y);
                }
            }
        }
        Self {
            centre_cm: DVec2::new(middle.x, middle.z),
            radius_cm,
            top_cm: if lowest.is_finite() {
                lowest + GIVE_CM
            } else {
                middle.y - 9.0
            },
        }
    }

    pub(super) fn base_distance(&self, p: DVec3) -> f64 {
        let across = DVec2::new(p.x, p.z).distance(self.centre_cm) - self.radius_cm + EDGE_CM;
        let up = (p.y - 0.5 * self.top_cm).abs() - 0.5 * self.top_cm + EDGE_CM;
        let outside = DVec2::new(across.max(0.0), up.max(0.0)).length();
        outside + across.max(up).min(0.0) - EDGE_CM
    }

    pub(super) fn scaled(self, s: f64) -> Self {
        Self {
            centre_cm: self.centre_cm * s,
            radius_cm: self.radius_cm * s,
            top_cm: self.top_cm * s,
        }
    }
}

impl Field for Block {
    fn distance(&self, p: DVec3) -> f64 {
        self.base_distance(p)
    }
}
