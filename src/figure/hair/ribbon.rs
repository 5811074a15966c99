//! Strands as flat ribbons.
//!
//! A ribbon stands for several hairs. Scalp hair is 60 to 80 µm thick and a head
//! bears 80 000 to 120 000 of them (dermatology handbooks, from memory); ten
//! thousand ribbons of 0.4 mm cover as much.

use super::colour::{HairColour, bleach};
use super::noise::Dice;
use super::obstacle::Obstacle;
use super::scalp::Scalp;
use crate::figure::{Part, Role};
use glam::{DVec3, Vec2, Vec3};
use rayon::prelude::*;

/// One strand in head millimetres, root first.
#[derive(Debug, Clone)]
pub(super) struct Strand {
    pub points: Vec<DVec3>,
    /// Widest breadth of its ribbon.
    pub width_mm: f64,
    /// Breadth at the root and at the tip against the widest.
    pub taper: (f64, f64),
    /// Length over which it widens from the root, in millimetres.
    pub widens_mm: f64,
    /// How far ribbons roll about their own axis, in radians, one standard deviation.
    pub roll: f64,
}

/// Ribbons of `strands` as one part. Without `obstacle` they face the front.
pub(super) fn ribbons(
    name: &str,
    strands: &[Strand],
    scalp: &dyn Scalp,
    obstacle: Option<&Obstacle>,
    colour: HairColour,
    seed: u32,
) -> Part {
    let made: Vec<Ribbon> = strands
        .par_iter()
        .enumerate()
        .map(|(i, strand)| {
            let mut dice = Dice::new(seed, 0x51b0, i);
            Ribbon::new(strand, scalp, obstacle, colour, &mut dice)
        })
        .collect();
    let vertices = made.iter().map(|r| r.positions_m.len()).sum();
    let mut part = Part {
        name: name.into(),
        role: Role::Hair,
        positions_m: Vec::with_capacity(vertices),
        normals: Vec::with_capacity(vertices),
        uvs_cm: Vec::with_capacity(vertices),
        triangles: Vec::with_capacity(vertices),
        paint: Vec::with_capacity(vertices),
    };
    for ribbon in made {
        let first = part.positions_m.len() as u32;
        for k in 0..ribbon.positions_m.len() as u32 / 2 - 1 {
            let a = first + 2 * k;
            part.triangles.push([a, a + 2, a + 1]);
            part.triangles.push([a + 1, a + 2, a + 3]);
        }
        part.positions_m.extend(ribbon.positions_m);
        part.normals.extend(ribbon.normals);
        part.uvs_cm.extend(ribbon.uvs_cm);
        part.paint.extend(ribbon.paint);
    }
    part
}

struct Ribbon {
    positions_m: Vec<Vec3>,
    normals: Vec<Vec3>,
    uvs_cm: Vec<Vec2>,
    paint: Vec<[f32; 4]>,
}

impl Ribbon {
    fn new(
        strand: &Strand,
        scalp: &dyn Scalp,
        obstacle: Option<&Obstacle>,
        colour: HairColour,
        dice: &mut Dice,
    ) -> Self {
        let n = strand.points.len();
        let base = colour.one_strand(dice);
        let (sine, cosine) = (strand.roll * dice.normal()).sin_cos();
        let origin = scalp.to_world_cm(DVec3::ZERO);
        let cm_per_mm = scalp.cm_per_mm();
        let arcs = arcs(&strand.points);
        let total = arcs[n - 1].max(1e-9);
        let mut ribbon = Self {
            positions_m: Vec::with_capacity(2 * n),
            normals: Vec::with_capacity(2 * n),
            uvs_cm: Vec::with_capacity(2 * n),
            paint: Vec::with_capacity(2 * n),
        };
        let mut facing = DVec3::Z;
        for (j, &arc) in arcs.iter().enumerate() {
            let p = strand.points[j];
            let along = tangent(&strand.points, j);
            // Where the surface's normal runs along the strand, keep the last facing.
            let wanted = obstacle.map_or(DVec3::new(0.3 * p.x.signum(), 0.15, 1.0), |o| o.away(p));
            let blend = wanted + facing * if j == 0 { 0.0 } else { 1.0 };
            facing = square_to(blend, along)
                .or_else(|| square_to(facing, along))
                .unwrap_or_else(|| along.any_orthonormal_vector());
            let across = along.cross(facing);
            let normal = facing * cosine + across * sine;
            let edge = along.cross(normal) * (0.5 * strand.breadth(arc, arc / total));
            let turned = (scalp.to_world_cm(normal * 10.0) - origin)
                .normalize()
                .as_vec3();
            let shade = bleach(arc, arc / total);
            for (side, v) in [(-1.0, 0.0), (1.0, 1.0)] {
                let at = scalp.to_world_cm(p + edge * side) * 0.01;
                ribbon.positions_m.push(at.as_vec3());
                ribbon.normals.push(turned);
                ribbon.uvs_cm.push(Vec2::new((arc * cm_per_mm) as f32, v));
                let [r, g, b] = base.map(|c| (c * shade) as f32);
                ribbon.paint.push([r, g, b, 0.0]);
            }
        }
        ribbon
    }
}

impl Strand {
    /// Breadth of the ribbon in millimetres, `from_root_mm` along and at `t` of its length.
    fn breadth(&self, from_root_mm: f64, t: f64) -> f64 {
        let ease = |t: f64| {
            let t = t.clamp(0.0, 1.0);
            t * t * (3.0 - 2.0 * t)
        };
        let (root, tip) = self.taper;
        let from_root = root + (1.0 - root) * ease(from_root_mm / self.widens_mm);
        self.width_mm * from_root * (1.0 - (1.0 - tip) * ease((t - 0.6) / 0.4))
    }
}

/// Distance from the root to every point.
pub(super) fn arcs(points: &[DVec3]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut last = points[0];
    points
        .iter()
        .map(|&p| {
            sum += p.distance(last);
            last = p;
            sum
        })
        .collect()
}

fn tangent(points: &[DVec3], j: usize) -> DVec3 {
    let (a, b) = (j.saturating_sub(1), (j + 1).min(points.len() - 1));
    (points[b] - points[a])
        .try_normalize()
        .unwrap_or(DVec3::NEG_Y)
}

/// The part of `v` square to the unit vector `axis`, unit length.
pub(super) fn square_to(v: DVec3, axis: DVec3) -> Option<DVec3> {
    let q = v - axis * v.dot(axis);
    (q.length_squared() > 1e-6).then(|| q.normalize())
}
