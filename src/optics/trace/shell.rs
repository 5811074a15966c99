//! The shell's shape: where a ray from inside meets it, and its normal there.

use super::lamp::NEAR;
use crate::optics::prescription::Shell;
use glam::DVec3;

/// A shell's walls. All are convex seen from outside, so a ray from inside meets them once.
pub(super) enum Wall {
    Conic {
        vertex_radius: f64,
        /// 1 + k.
        factor: f64,
        depth: f64,
    },
    Cone {
        back: f64,
        /// Growth of the radius along z.
        growth: f64,
        depth: f64,
    },
    /// Planes: normals into the shell, and n · p on the plane.
    Tray([(DVec3, f64); 5]),
    /// A sphere's part before the face.
    Cap { radius: f64, centre_z: f64 },
}

/// Which part of a shell was met.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Part {
    Side,
    /// The flat back of a cone.
    Back,
    /// A plane of a tray.
    Plane(usize),
}

impl Wall {
    pub(super) fn new(shell: &Shell) -> Self {
        match *shell {
            Shell::Conic {
                depth_m,
                vertex_radius_m,
                conic,
                ..
            } => Self::Conic {
                vertex_radius: vertex_radius_m,
                factor: 1.0 + conic,
                depth: depth_m,
            },
            Shell::Cone {
                radius_m,
                back_radius_m,
                depth_m,
                ..
            } => Self::Cone {
                back: back_radius_m,
                growth: (radius_m - back_radius_m) / depth_m,
                depth: depth_m,
            },
            Shell::Tray {
                half_m,
                back_half_m,
                depth_m,
                ..
            } => {
                let side = |axis: DVec3, k: usize| {
                    let growth = (half_m[k] - back_half_m[k]) / depth_m;
                    let normal = (DVec3::Z * growth - axis).normalize();
                    (normal, normal.dot(axis * half_m[k]))
                };
                Self::Tray([
                    side(DVec3::X, 0),
                    side(DVec3::NEG_X, 0),
                    side(DVec3::Y, 1),
                    side(DVec3::NEG_Y, 1),
                    (DVec3::Z, -depth_m),
                ])
            }
            Shell::Canopy {
                radius_m, depth_m, ..
            } => {
                let radius = (radius_m * radius_m + depth_m * depth_m) / (2.0 * depth_m);
                Self::Cap {
                    radius,
                    centre_z: depth_m - radius,
                }
            }
        }
    }

    /// Distance along a ray from inside to the wall, infinite where it is not met.
    pub(super) fn distance(&self, from: DVec3, along: DVec3) -> (f64, Part) {
        let flat = along.x * along.x + along.y * along.y;
        let out = from.x * along.x + from.y * along.y;
        let r2 = from.x * from.x + from.y * from.y;
        match self {
            // r² − 2 R s + (1 + k) s² = 0, s the height over the vertex.
            Self::Conic {
                vertex_radius,
                factor,
                depth,
            } => {
                let s = from.z + depth;
                let t = leaving(
                    flat + factor * along.z * along.z,
                    out + (factor * s - vertex_radius) * along.z,
                    r2 - (2.0 * vertex_radius - factor * s) * s,
                );
                (t, Part::Side)
            }
            Self::Cone {
                back,
                growth,
                depth,
            } => {
                let here = back + growth * (from.z + depth);
                let side = leaving(
                    flat - (growth * along.z).powi(2),
                    out - growth * along.z * here,
                    r2 - here * here,
                );
                let behind = if along.z < 0.0 {
                    (-depth - from.z) / along.z
                } else {
                    f64::INFINITY
                };
                if behind < side {
                    (behind, Part::Back)
                } else {
                    (side, Part::Side)
                }
            }
            Self::Tray(planes) => {
                let mut nearest = (f64::INFINITY, Part::Side);
                for (k, (normal, offset)) in planes.iter().enumerate() {
                    let falls = normal.dot(along);
                    if falls < 0.0 {
                        let t = (offset - normal.dot(from)) / falls;
                        if t < nearest.0 {
                            nearest = (t.max(0.0), Part::Plane(k));
                        }
                    }
                }
                nearest
            }
            Self::Cap { radius, centre_z } => {
                let p = from - DVec3::new(0.0, 0.0, *centre_z);
                let t = leaving(1.0, p.dot(along), p.length_squared() - radius * radius);
                (t, Part::Side)
            }
        }
    }

    /// The unit normal into the shell at a place on it.
    pub(super) fn normal(&self, at: DVec3, part: Part) -> DVec3 {
        match self {
            Self::Conic {
                vertex_radius,
                factor,
                depth,
            } => DVec3::new(-at.x, -at.y, vertex_radius - factor * (at.z + depth)).normalize(),
            Self::Cone { .. } if part == Part::Back => DVec3::Z,
            Self::Cone { growth, .. } => {
                let r = at.x.hypot(at.y);
                DVec3::new(-at.x, -at.y, growth * r).normalize_or(DVec3::Z)
            }
            Self::Tray(planes) => match part {
                Part::Plane(k) => planes[k].0,
                _ => DVec3::Z,
            },
            Self::Cap { radius, centre_z } => (DVec3::new(0.0, 0.0, *centre_z) - at) / *radius,
        }
    }

    /// The normal in the middle of the flat panel that a place lies on: `panels` rings even in the
    /// radius, and panels in each.
    pub(super) fn panel_normal(
        &self,
        at: DVec3,
        part: Part,
        rim_m: f64,
        panels: [u32; 2],
    ) -> DVec3 {
        let [rings, round] = panels.map(|n| f64::from(n.max(1)));
        let middle = |value: f64| value.floor() + 0.5;
        let r = middle((at.x.hypot(at.y) / rim_m * rings).min(rings - 0.5)) / rings * rim_m;
        let turn = std::f64::consts::TAU / round;
        let (s, c) = (middle(at.y.atan2(at.x) / turn) * turn).sin_cos();
        match self {
            Self::Conic {
                vertex_radius,
                factor,
                depth,
            } => {
                let root = vertex_radius * vertex_radius - factor * r * r;
                let height = r * r / (vertex_radius + root.max(0.0).sqrt());
                self.normal(DVec3::new(r * c, r * s, height - depth), part)
            }
            Self::Cone { .. } => self.normal(DVec3::new(r * c, r * s, at.z), part),
            _ => self.normal(at, part),
        }
    }

    /// Whether a place behind the face lies inside.
    pub(super) fn holds(&self, p: DVec3) -> bool {
        let r2 = p.x * p.x + p.y * p.y;
        match self {
            Self::Conic {
                vertex_radius,
                factor,
                depth,
            } => {
                let s = p.z + depth;
                s >= 0.0 && r2 <= (2.0 * vertex_radius - factor * s) * s
            }
            Self::Cone {
                back,
                growth,
                depth,
            } => p.z >= -depth && r2 <= (back + growth * (p.z + depth)).powi(2),
            Self::Tray(planes) => planes.iter().all(|(n, offset)| n.dot(p) >= *offset),
            Self::Cap { radius, centre_z } => r2 + (p.z - centre_z).powi(2) <= radius * radius,
        }
    }
}

/// Where a ray inside F ≤ 0 leaves it: F = a t² + 2 b t + c along the ray. Written so that a start
/// on the surface, or a ray along an asymptote, costs no digits.
fn leaving(a: f64, b: f64, c: f64) -> f64 {
    let c = c.min(0.0);
    let root = (b * b - a * c).max(0.0).sqrt();
    let t = if b > 0.0 {
        -c / (b + root)
    } else if a > 0.0 {
        (root - b) / a
    } else {
        f64::INFINITY
    };
    if t.is_finite() {
        t.max(NEAR)
    } else {
        f64::INFINITY
    }
}
