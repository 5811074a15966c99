//! The lamp: where its light begins, and the lamp and its housing as things in light's way.

use crate::optics::drum::Drum;
pub(super) use crate::optics::drum::NEAR;
use crate::optics::prescription::{Facing, Lamp, Source};
use glam::DVec3;
use std::f64::consts::PI;

/// A lamp ready to be met by rays.
pub(super) struct Head {
    lit: Lit,
    /// Along z, the way it faces.
    facing: f64,
    housing: Option<Drum>,
    /// No part reaches farther from the axis.
    reach: f64,
}

/// The lit part, along z.
enum Lit {
    Capsule {
        radius: f64,
        /// Where it begins and ends.
        ends: [f64; 2],
        /// Where its straight part does: its end on a housing is flat and hidden.
        straight: [f64; 2],
    },
    Disk {
        radius: f64,
        z: f64,
    },
}

impl Head {
    pub(super) fn new(lamp: &Lamp) -> Self {
        let z = lamp.centre_z_m;
        let facing = match lamp.facing {
            Facing::Front => 1.0,
            Facing::Back => -1.0,
        };
        let (lit, radius) = match lamp.source {
            Source::Capsule { radius_m, length_m } => {
                let half = 0.5 * length_m.max(2.0 * radius_m);
                let ends = [z - half, z + half];
                let mut straight = [ends[0] + radius_m, ends[1] - radius_m];
                if lamp.housing.is_some() {
                    let base = usize::from(facing < 0.0);
                    straight[base] = ends[base];
                }
                let lit = Lit::Capsule {
                    radius: radius_m,
                    ends,
                    straight,
                };
                (lit, radius_m)
            }
            Source::Disk { radius_m } => {
                let radius = radius_m;
                (Lit::Disk { radius, z }, radius)
            }
        };
        let housing = lamp.head();
        Self {
            lit,
            facing,
            housing,
            reach: housing.map_or(radius, |h| radius.max(h.radius_m)),
        }
    }

    /// Where the part of it that stands deepest in a bowl begins, along z, metres. (A lamp faces the bowl.)
    pub(super) fn begins_m(&self) -> f64 {
        match self.lit {
            Lit::Capsule { ends, .. } => ends[0],
            Lit::Disk { z, .. } => z,
        }
    }

    /// Lit area, m².
    pub(super) fn area_m2(&self) -> f64 {
        match self.lit {
            // Archimedes: a round end has as much as the cylinder around it.
            Lit::Capsule { radius, ends, .. } => 2.0 * PI * radius * (ends[1] - ends[0]),
            Lit::Disk { radius, .. } => PI * radius * radius,
        }
    }

    /// Luminance of the lit part for one lumen.
    pub(super) fn luminance(&self) -> f64 {
        1.0 / (PI * self.area_m2())
    }

    /// A place on the lit part and its normal, even over its area, from two numbers over 0..1.
    pub(super) fn place(&self, at: [f64; 2]) -> (DVec3, DVec3) {
        let (s, c) = (2.0 * PI * at[1]).sin_cos();
        match self.lit {
            Lit::Capsule {
                radius,
                ends,
                straight,
            } => {
                let z = ends[0] + (ends[1] - ends[0]) * at[0];
                let axis = z.max(straight[0]).min(straight[1]);
                let rise = (z - axis) / radius;
                let across = (1.0 - rise * rise).max(0.0).sqrt();
                let normal = DVec3::new(across * c, across * s, rise);
                (DVec3::new(0.0, 0.0, axis) + normal * radius, normal)
            }
            Lit::Disk { radius, z } => {
                let r = radius * at[0].sqrt();
                (DVec3::new(r * c, r * s, z), DVec3::Z * self.facing)
            }
        }
    }

    /// Whether a ray that meets the source meets its lit side.
    pub(super) fn is_lit_toward(&self, along: DVec3) -> bool {
        match self.lit {
            Lit::Capsule { .. } => true,
            Lit::Disk { .. } => along.z * self.facing < 0.0,
        }
    }

    /// Distances along a ray to the lit part and to the housing, infinite where it misses.
    pub(super) fn distances(&self, from: DVec3, along: DVec3) -> (f64, f64) {
        const MISS: (f64, f64) = (f64::INFINITY, f64::INFINITY);
        // Most rays pass the axis too far off for all of it.
        let flat2 = along.x * along.x + along.y * along.y;
        let moment = from.x * along.y - from.y * along.x;
        if moment * moment > self.reach * self.reach * flat2 {
            return MISS;
        }
        let lit = match self.lit {
            Lit::Capsule {
                radius,
                ends,
                straight,
            } => {
                // The straight part's lids lie within the round ends.
                let middle = Drum {
                    radius_m: radius,
                    from_z_m: straight[0],
                    to_z_m: straight[1],
                };
                let mut t = middle.distance(from, along);
                for (end, z) in ends.into_iter().zip(straight) {
                    if end != z {
                        t = t.min(sphere_entry(from - DVec3::new(0.0, 0.0, z), along, radius));
                    }
                }
                t
            }
            Lit::Disk { radius, z } => disk(from, along, radius, z),
        };
        let housing = self
            .housing
            .map_or(f64::INFINITY, |drum| drum.distance(from, along));
        (lit, housing)
    }
}

/// Distance to a disk about the axis.
pub(super) fn disk(from: DVec3, along: DVec3, radius: f64, z: f64) -> f64 {
    let t = (z - from.z) / along.z;
    if t > NEAR && t.is_finite() {
        let p = from + along * t;
        if p.x * p.x + p.y * p.y <= radius * radius {
            return t;
        }
    }
    f64::INFINITY
}

/// Distance to where a ray enters a sphere about the origin.
fn sphere_entry(from: DVec3, along: DVec3, radius: f64) -> f64 {
    let b = from.dot(along);
    let root = b * b - from.length_squared() + radius * radius;
    if root <= 0.0 {
        return f64::INFINITY;
    }
    let t = -b - root.sqrt();
    if t > NEAR { t } else { f64::INFINITY }
}
