//! All that a ray can meet, and what it meets next.

use super::draw::Draw;
use super::lamp::{Head, NEAR, disk};
use super::sheet::Sheet;
use super::shell::{Part, Wall};
use super::wall::{Bounce, reflect};
use crate::optics::drum::Drum;
use crate::optics::prescription::{Finish, Lens, Plate, Prescription, Shell};
use crate::optics::table::Face;
use glam::DVec3;

/// A prescription ready to be traced.
///
/// Space has two zones, parted by the plane of the face: inside, between the face and the wall, and
/// the open. A bowl's inside lies at z < 0, a canopy's at z > 0.
pub(super) struct Stage {
    pub head: Head,
    pub wall: Wall,
    /// None where the wall is a canopy's cloth.
    pub finish: Option<Finish>,
    pub canopy: Option<Sheet>,
    pub plate: Option<Plate>,
    pub plate_faces_up: bool,
    pub baffles: Vec<Sheet>,
    pub front: Option<Sheet>,
    pub lens: Option<Lens>,
    pub outline: Outline,
    /// +1 where the open lies at z > 0.
    pub open: f64,
    /// What of the head stands in the open and lets rays in the open pass nevertheless.
    pub unheeded: Option<Drum>,
}

/// The outline of the face.
#[derive(Clone, Copy)]
pub(super) enum Outline {
    Round(f64),
    Rect([f64; 2]),
}

impl Outline {
    pub(super) fn holds(self, p: DVec3) -> bool {
        match self {
            Self::Round(radius) => p.x * p.x + p.y * p.y <= radius * radius,
            Self::Rect([x, y]) => p.x.abs() <= x && p.y.abs() <= y,
        }
    }
}

#[derive(Clone, Copy)]
pub(super) struct Ray {
    pub from: DVec3,
    /// Of length one.
    pub along: DVec3,
    pub inside: bool,
}

/// What a ray meets.
#[derive(Clone, Copy)]
pub(super) enum Met {
    Lamp,
    Housing,
    Plate,
    Wall(Part),
    Baffle(usize),
    /// The plane of the face, within its outline.
    Face,
    /// That plane, past the rim.
    Past,
    /// Nothing more.
    Away,
}

impl Stage {
    pub(super) fn new(prescription: &Prescription) -> Self {
        let (shell, scale) = rounded(&prescription.shell);
        let (finish, canopy) = match shell {
            Shell::Conic { finish, .. }
            | Shell::Cone { finish, .. }
            | Shell::Tray { finish, .. } => (Some(finish), None),
            Shell::Canopy { cloth, .. } => (None, Some(Sheet::new(cloth, 0.0, None))),
        };
        let outline = match shell {
            Shell::Tray { half_m, .. } => Outline::Rect(half_m),
            Shell::Conic { radius_m, .. }
            | Shell::Cone { radius_m, .. }
            | Shell::Canopy { radius_m, .. } => Outline::Round(radius_m),
        };
        let square = matches!(outline, Outline::Rect(_));
        let baffles = prescription.baffles.iter().map(|b| {
            let extent = if square {
                Outline::Rect(b.half_m)
            } else {
                Outline::Round(b.half_m[0] * scale)
            };
            Sheet::new(b.cloth, b.z_m, Some(extent))
        });
        let is_canopy = canopy.is_some();
        Self {
            head: Head::new(&prescription.lamp),
            wall: Wall::new(&shell),
            finish,
            canopy,
            plate: prescription.plate,
            plate_faces_up: prescription
                .plate
                .is_some_and(|p| p.z_m < prescription.lamp.centre_z_m),
            baffles: baffles.collect(),
            // A canopy's mouth stays open.
            front: prescription
                .front
                .filter(|_| !is_canopy)
                .map(|cloth| Sheet::new(cloth, 0.0, None)),
            lens: prescription.lens.filter(|_| !is_canopy),
            outline,
            open: if is_canopy { -1.0 } else { 1.0 },
            unheeded: None,
        }
    }

    /// The same for a table, which does without what of the head stands in the open.
    pub(super) fn for_table(prescription: &Prescription) -> Self {
        Self {
            unheeded: prescription.head_in_the_open(),
            ..Self::new(prescription)
        }
    }

    /// Whether no part of the lamp stands inside to throw a shadow there.
    pub(super) fn is_lamp_outside(&self) -> bool {
        self.head.begins_m() * self.open > 0.0
    }

    /// Whether cloth or lens closes the face.
    pub(super) fn is_closed(&self) -> bool {
        self.front.is_some() || self.lens.is_some()
    }

    /// A lens that nothing hangs before.
    pub(super) fn clear_lens(&self) -> Option<&Lens> {
        self.lens.as_ref().filter(|_| self.front.is_none())
    }

    /// Whether light can leave in the direction it takes from a surface or the lamp.
    pub(super) fn can_glimpse(&self) -> bool {
        let last = self.front.as_ref().or(self.canopy.as_ref());
        self.lens.is_none() && last.is_none_or(|cloth| cloth.cloth.straight > 0.0)
    }

    /// A ray that starts at a place: inside or in the open; `None` if beyond the wall.
    pub(super) fn ray(&self, from: DVec3, along: DVec3) -> Option<Ray> {
        let inside = from.z * self.open < 0.0;
        (!inside || self.wall.holds(from)).then_some(Ray {
            from,
            along,
            inside,
        })
    }

    /// What a ray meets next and where. A ray from the lamp cannot meet it again: `skip_lamp`.
    pub(super) fn next(&self, ray: &Ray, skip_lamp: bool) -> (Met, DVec3) {
        let Ray {
            from,
            along,
            inside,
        } = *ray;
        let mut nearest = f64::INFINITY;
        let mut met = Met::Away;
        if inside {
            let (t, part) = self.wall.distance(from, along);
            (nearest, met) = (t, Met::Wall(part));
        }
        let toward_open = along.z * self.open > 0.0;
        if inside == toward_open && along.z != 0.0 {
            let t = (-from.z / along.z).max(0.0);
            if t < nearest {
                let p = from + along * t;
                nearest = t;
                met = if inside || self.outline.holds(p) {
                    Met::Face
                } else {
                    Met::Past
                };
            }
        }
        // The lamp itself too, where the head hides it.
        let unheeded = !inside
            && self
                .unheeded
                .is_some_and(|head| head.distance(from, along).is_finite());
        let (lamp, housing) = if unheeded {
            (f64::INFINITY, f64::INFINITY)
        } else {
            self.head.distances(from, along)
        };
        if !skip_lamp && lamp < nearest {
            (nearest, met) = (lamp, Met::Lamp);
        }
        if housing < nearest {
            (nearest, met) = (housing, Met::Housing);
        }
        if let Some(plate) = &self.plate {
            let t = disk(from, along, plate.radius_m, plate.z_m);
            if t < nearest {
                (nearest, met) = (t, Met::Plate);
            }
        }
        for (k, sheet) in self.baffles.iter().enumerate() {
            let t = (sheet.z - from.z) / along.z;
            if t > NEAR && t < nearest && sheet.extent.is_none_or(|e| e.holds(from + along * t)) {
                (nearest, met) = (t, Met::Baffle(k));
            }
        }
        let mut at = if nearest.is_finite() {
            from + along * nearest
        } else {
            from
        };
        // On the plane to the bit, so that it is not met again.
        match met {
            Met::Face | Met::Past => at.z = 0.0,
            Met::Baffle(k) => at.z = self.baffles[k].z,
            Met::Plate => at.z = self.plate.map_or(at.z, |p| p.z_m),
            _ => {}
        }
        (met, at)
    }

    /// What becomes of light at the wall, or `None` if it is a canopy's cloth.
    pub(super) fn bounce(
        &self,
        at: DVec3,
        part: Part,
        along: DVec3,
        draw: &mut Draw,
    ) -> Option<(Bounce, DVec3)> {
        let finish = self.finish?;
        let normal = self.wall.normal(at, part);
        let facet = match (finish, self.outline) {
            (
                Finish::Silver {
                    panels: Some(panels),
                    ..
                },
                Outline::Round(rim),
            ) => self.wall.panel_normal(at, part, rim, panels),
            _ => normal,
        };
        Some((reflect(finish, normal, facet, along, draw), normal))
    }

    /// The plate's finish and normal, if it is met on its lit side.
    pub(super) fn plate_toward(&self, along: DVec3) -> Option<(Finish, DVec3)> {
        let normal = if self.plate_faces_up {
            DVec3::Z
        } else {
            DVec3::NEG_Z
        };
        let plate = self.plate.as_ref()?;
        (normal.dot(along) < 0.0).then_some((plate.finish, normal))
    }
}

/// The shell with the circle of its polygon's area for a rim, and the scale across that takes.
fn rounded(shell: &Shell) -> (Shell, f64) {
    let mut shell = shell.clone();
    let scale = match shell {
        Shell::Conic { sides: Some(n), .. }
        | Shell::Cone { sides: Some(n), .. }
        | Shell::Canopy { sides: Some(n), .. } => {
            let area = |face: Face| face.area_m2().sqrt();
            area(Face::Polygon {
                radius_m: 1.0,
                sides: n.max(3),
            }) / area(Face::Disk { radius_m: 1.0 })
        }
        _ => 1.0,
    };
    match &mut shell {
        Shell::Conic {
            radius_m,
            vertex_radius_m,
            conic,
            ..
        } => {
            // r² = 2 R s − (1 + k) s², across scaled.
            *radius_m *= scale;
            *vertex_radius_m *= scale * scale;
            *conic = (1.0 + *conic) * scale * scale - 1.0;
        }
        Shell::Cone {
            radius_m,
            back_radius_m,
            ..
        } => {
            *radius_m *= scale;
            *back_radius_m *= scale;
        }
        Shell::Canopy { radius_m, .. } => *radius_m *= scale,
        Shell::Tray { .. } => {}
    }
    (shell, scale)
}
