//! What the hair needs to know of a head: its skin, where hair grows, and where
//! ears, brows and lids are.
//!
//! Everything is in head millimetres: origin midway between the pupils, +y up,
//! +z forward, z = 0 in the plane of the ear openings, +x to the figure's left.

use crate::figure::body::Body;
use crate::figure::head::{BROW_MM, Head, ear};
use crate::figure::sdf::{Field, smin, step};
use glam::{DVec2, DVec3, dvec2, dvec3};

/// An ear as hair sees it: an oval on the side of the head. Left and right mirror.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ear {
    /// Its middle, on the figure's left.
    pub centre_mm: DVec3,
    /// Half its height, in millimetres.
    pub half_height_mm: f64,
    /// Half its breadth from front to back, in millimetres.
    pub half_breadth_mm: f64,
}

impl Ear {
    /// Place in the oval's own plane (up, forward), the rim at length 1.
    pub fn plane(&self, p_mm: DVec3) -> DVec2 {
        let q = p_mm - self.centre_mm;
        dvec2(q.y / self.half_height_mm, q.z / self.half_breadth_mm)
    }
}

/// The brow at one place along it, on the figure's left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brow {
    /// Middle of the brow, seen from the front.
    pub at_mm: DVec2,
    /// Half its breadth, in millimetres.
    pub half_breadth_mm: f64,
}

/// Which lid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Lid {
    /// The one that blinks.
    Upper,
    /// The one below.
    Lower,
}

/// A head that hair can grow on.
pub trait Scalp: Sync {
    /// Distance to the skin of head and neck, in millimetres, negative inside.
    fn distance_mm(&self, p_mm: DVec3) -> f64;
    /// From head millimetres to the figure's frame, in centimetres.
    fn to_world_cm(&self, p_mm: DVec3) -> DVec3;
    /// From the figure's frame, in centimetres, to head millimetres.
    fn to_head_mm(&self, p_cm: DVec3) -> DVec3;
    /// How far behind the hairline a place on the skin lies, in millimetres;
    /// negative where no hair grows.
    fn behind_hairline_mm(&self, p_mm: DVec3) -> f64;
    /// The ears.
    fn ear(&self) -> Ear;
    /// The brow at `t` from 0 (by the nose) to 1 (by the temple).
    fn brow(&self, t: f64) -> Brow;
    /// The lid's edge, seen from the front, at `u` from 0 (by the nose) to 1, on
    /// the figure's left.
    fn lid(&self, lid: Lid, u: f64) -> DVec2;

    /// Centimetres in the figure's frame that one head millimetre measures.
    fn cm_per_mm(&self) -> f64 {
        let top = dvec3(0.0, 100.0, 0.0);
        (self.to_world_cm(top) - self.to_world_cm(DVec3::ZERO)).length() / 100.0
    }

    /// The foremost skin at a place seen from the front.
    fn front_mm(&self, at_mm: DVec2) -> DVec3 {
        let mut p = at_mm.extend(112.0);
        for _ in 0..80 {
            let d = self.distance_mm(p);
            p.z -= d * 0.8;
            if d.abs() < 0.02 || p.z < 0.0 {
                break;
            }
        }
        p
    }
}

/// The scalp of a posed [`Body`].
pub struct BodyScalp<'a> {
    body: &'a Body,
    head: &'a Head,
}

impl<'a> BodyScalp<'a> {
    /// The scalp of `body`.
    pub fn new(body: &'a Body) -> Self {
        Self {
            body,
            head: body.head(),
        }
    }
}

impl Scalp for BodyScalp<'_> {
    fn distance_mm(&self, p: DVec3) -> f64 {
        let head = self.head.distance(p);
        if p.y > 5.0 || p.z > 60.0 {
            return head;
        }
        head.min(self.body.distance(self.to_world_cm(p)) / self.cm_per_mm())
    }

    fn to_world_cm(&self, p: DVec3) -> DVec3 {
        self.body.on_head(p)
    }

    fn to_head_mm(&self, p: DVec3) -> DVec3 {
        self.body.head_mm(p)
    }

    fn behind_hairline_mm(&self, p: DVec3) -> f64 {
        behind_hairline(p, &self.ear())
    }

    fn ear(&self) -> Ear {
        let size = self.head.traits().ear;
        Ear {
            centre_mm: ear::CENTRE_MM,
            half_height_mm: ear::HALF_HEIGHT_MM * size,
            half_breadth_mm: ear::HALF_BREADTH_MM * size,
        }
    }

    fn brow(&self, t: f64) -> Brow {
        let [from, to] = BROW_MM;
        let x = from + (to - from) * t;
        let [y, half_breadth_mm] = self.head.brow_along(t);
        Brow {
            at_mm: dvec2(x, y),
            half_breadth_mm,
        }
    }

    fn lid(&self, lid: Lid, u: f64) -> DVec2 {
        let line = self.head.lid_line();
        let x = line.span_mm(u);
        let place = line.at(x);
        dvec2(
            x,
            if lid == Lid::Upper {
                place.upper
            } else {
                place.lower
            },
        )
    }
}

/// How far behind the hairline a place on the scalp lies, in millimetres.
///
/// A line over the forehead that draws back at the temples, down before the ear
/// to a short sideburn, round behind the ear, and across the nape.
pub fn behind_hairline(p: DVec3, ear: &Ear) -> f64 {
    let x = p.x.abs();
    let brow_z = if p.y > 20.0 {
        let recess = 0.0012 * x * x * (p.y - 20.0) / 40.0;
        76.0 + (p.y - 54.0) * 0.7 - recess
    } else if p.y > -8.0 {
        54.0 - (20.0 - p.y) * 1.25
    } else {
        19.0 - (-8.0 - p.y) * 2.0
    };
    let front = brow_z - p.z;
    let behind_ear = (p.z + 50.0).clamp(0.0, 44.0) * step(20.0, 45.0, x);
    let nape = p.y + 62.0 - 1.05 * behind_ear;
    let round_ear = (ear.plane(dvec3(x, p.y, p.z)).length() - 1.0) * ear.half_breadth_mm;
    let sides = if x > 40.0 { round_ear } else { 60.0 };
    smin(smin(front, nape, 6.0), sides, 4.0)
}
