//! What light meets between the lamp and the subject, resolved to one setting.
//!
//! The frame of a modifier: origin in the middle of its face, z toward the subject, x along its
//! width, y up. The face is the plane z = 0 (a shoot-through's cloth bulges in front of it). Lengths in
//! metres, slopes in radians, everything per lumen of the lamp.
#![allow(missing_docs)] // a name with its unit says all

use super::drum::Drum;

/// A modifier at one setting, without its grid (which is a factor on what leaves:
/// [`super::table::Screen`]).
#[derive(Debug, Clone, PartialEq)]
pub struct Prescription {
    pub lamp: Lamp,
    pub shell: Shell,
    /// A disk before the lamp that it cannot be seen past.
    pub plate: Option<Plate>,
    /// Cloths inside, from the back to the front.
    pub baffles: Vec<Baffle>,
    /// Cloth across the whole face.
    pub front: Option<Cloth>,
    /// A lens in the face.
    pub lens: Option<Lens>,
}

impl Prescription {
    /// What of the lamp's head stands in the open, before an open face or behind a canopy's mouth.
    ///
    /// Its shadow is sharper than a table's cells. So tables are made without it ([`super::trace`]), and
    /// whoever reads one cuts what the head hides ([`Drum::hides`]).
    pub fn head_in_the_open(&self) -> Option<Drum> {
        let head = self.lamp.head()?;
        let head = match self.shell {
            Shell::Canopy { .. } => Drum {
                to_z_m: head.to_z_m.min(0.0),
                ..head
            },
            _ if self.front.is_some() || self.lens.is_some() => return None,
            _ => Drum {
                from_z_m: head.from_z_m.max(0.0),
                ..head
            },
        };
        (head.from_z_m < head.to_z_m).then_some(head)
    }
}

/// The lit part: Lambertian, and the black head behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamp {
    pub source: Source,
    /// Middle of the lit part.
    pub centre_z_m: f64,
    pub facing: Facing,
    /// Black cylinder right behind the lit part, away from where the lamp faces.
    pub housing: Option<Housing>,
}

impl Lamp {
    /// The head in the modifier's frame.
    pub fn head(&self) -> Option<Drum> {
        let half_m = match self.source {
            Source::Capsule { radius_m, length_m } => 0.5 * length_m.max(2.0 * radius_m),
            Source::Disk { .. } => 0.0,
        };
        let back = match self.facing {
            Facing::Front => -1.0,
            Facing::Back => 1.0,
        };
        self.housing.map(|h| {
            let near = self.centre_z_m + back * half_m;
            let far = near + back * h.length_m;
            Drum {
                radius_m: h.radius_m,
                from_z_m: near.min(far),
                to_z_m: near.max(far),
            }
        })
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Source {
    /// A cylinder along z with round ends, `length_m` over all (a sphere when that is 2 r). All of
    /// its surface is lit, 2 π r length. An end that stands on a housing is flat and hidden (the
    /// lit area is the same).
    Capsule { radius_m: f64, length_m: f64 },
    /// A disk, lit on the side it faces.
    Disk { radius_m: f64 },
}

/// Where a lamp is turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Facing {
    /// Into the bowl: all light comes back off it.
    Back,
    /// At the subject.
    Front,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Housing {
    pub radius_m: f64,
    pub length_m: f64,
}

/// What surrounds the lamp.
#[derive(Debug, Clone, PartialEq)]
pub enum Shell {
    /// Surface of revolution, vertex at z = -depth:
    /// z + depth = r² / (R + √(R² − (1 + k) r²)), R the radius at the vertex, k the conic constant
    /// (−1 a paraboloid, 0 a sphere).
    Conic {
        radius_m: f64,
        depth_m: f64,
        vertex_radius_m: f64,
        conic: f64,
        finish: Finish,
        /// Sides of the rim; none is a circle. Its light is traced as the circle of equal area.
        sides: Option<u32>,
    },
    /// A straight cone from a flat back of `back_radius_m` at z = -depth to the face.
    Cone {
        radius_m: f64,
        back_radius_m: f64,
        depth_m: f64,
        finish: Finish,
        sides: Option<u32>,
    },
    /// Four flat walls from a flat back to the face; half sides along x and y.
    Tray {
        half_m: [f64; 2],
        back_half_m: [f64; 2],
        depth_m: f64,
        finish: Finish,
    },
    /// A cloth cap whose rim is the face's circle and which bulges toward the subject by
    /// `depth_m`, part of a sphere. Light goes through it, and back out of its open mouth.
    Canopy {
        radius_m: f64,
        depth_m: f64,
        cloth: Cloth,
        sides: Option<u32>,
    },
}

/// How a wall sends light back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finish {
    /// Metal, its small facets' slopes Gaussian with this deviation in each axis; 0 is a mirror.
    Silver {
        reflectance: f64,
        slope_rad: f64,
        /// Flat panels: rings from vertex to rim, and panels in each.
        panels: Option<[u32; 2]>,
    },
    /// Lambertian.
    Matt { reflectance: f64 },
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plate {
    pub radius_m: f64,
    pub z_m: f64,
    /// Of the side toward the lamp; the other side is black.
    pub finish: Finish,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Baffle {
    pub z_m: f64,
    /// Half sides in a tray, the radius twice in a round shell.
    pub half_m: [f64; 2],
    pub cloth: Cloth,
}

/// A cloth: what goes straight on, what is spread by a Gaussian in direction cosines, what leaves
/// as Lambert's law has it, and what is sent back so. The sum is at most one; the rest is lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cloth {
    pub straight: f64,
    pub spread: f64,
    /// Standard deviation of the spread, in direction cosines, each axis.
    pub spread_sigma: f64,
    pub scattered: f64,
    pub reflected: f64,
}

/// A thin stepped lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    pub radius_m: f64,
    pub focal_length_m: f64,
    pub transmission: f64,
    /// Deviation of its steps' slopes, as seen in the light's direction, each axis.
    pub slope_rad: f64,
}
