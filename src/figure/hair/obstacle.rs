//! What hair lies on: head, neck and dressed body as sampled distances.

use super::scalp::Scalp;
use crate::figure::sdf::Field;
use glam::{DVec3, dvec3};
use rayon::prelude::*;

/// Head, neck, shoulders and clothes in head millimetres: fine about the head,
/// coarse below.
pub(super) struct Obstacle {
    head: Grid,
    body: Grid,
}

const HEAD_LOW: DVec3 = DVec3::new(-102.0, -132.0, -132.0);
const HEAD_HIGH: DVec3 = DVec3::new(102.0, 126.0, 122.0);

impl Obstacle {
    /// Samples the scalp and `collider` as far down as hair of `reach_mm` can hang.
    pub fn new(scalp: &dyn Scalp, collider: &dyn Field, reach_mm: f64) -> Self {
        let cm_per_mm = scalp.cm_per_mm();
        let below = |p: DVec3| collider.distance(scalp.to_world_cm(p)) / cm_per_mm;
        let head = Grid::new(HEAD_LOW, HEAD_HIGH, 3.0, |p| {
            let d = scalp.distance_mm(p);
            if p.y < 5.0 && p.z < 60.0 {
                d.min(below(p))
            } else {
                d
            }
        });
        let side = (reach_mm * 0.8).clamp(150.0, 330.0);
        let low = dvec3(-side, -90.0 - reach_mm, -side * 0.9);
        let high = dvec3(side, 40.0, side * 0.8);
        let body = Grid::new(low, high, 9.0, below);
        Self { head, body }
    }

    /// Distance in millimetres, negative inside.
    pub fn distance(&self, p: DVec3) -> f64 {
        if self.head.holds(p) {
            self.head.distance(p)
        } else {
            self.body.distance(p)
        }
    }

    /// Unit direction away from the nearest surface.
    pub fn away(&self, p: DVec3) -> DVec3 {
        let e = if self.head.holds(p) { 1.5 } else { 5.0 };
        let d = |x, y, z| self.distance(p + dvec3(x, y, z));
        dvec3(
            d(e, 0.0, 0.0) - d(-e, 0.0, 0.0),
            d(0.0, e, 0.0) - d(0.0, -e, 0.0),
            d(0.0, 0.0, e) - d(0.0, 0.0, -e),
        )
        .try_normalize()
        .unwrap_or(DVec3::Y)
    }

    /// Moves `p` out until it clears the surface by `clearance_mm`; the surface's
    /// normal where it had to move.
    pub fn push_out(&self, p: &mut DVec3, clearance_mm: f64) -> Option<DVec3> {
        let mut touched = None;
        for _ in 0..10 {
            let short = clearance_mm - self.distance(*p);
            if short <= 0.0 {
                break;
            }
            let n = self.away(*p);
            *p += n * short;
            touched = Some(n);
        }
        touched
    }
}

/// Distances on a box of cubes, straight-line interpolation between.
struct Grid {
    low: DVec3,
    cell: f64,
    count: [usize; 3],
    samples: Vec<f32>,
}

impl Grid {
    /// Samples `field`, exactly near its surface and four times as coarsely away from it.
    fn new(low: DVec3, high: DVec3, cell: f64, field: impl Fn(DVec3) -> f64 + Sync) -> Self {
        const COARSE: f64 = 4.0;
        let coarse = Self::filled(low, high, cell * COARSE, &field);
        // Interpolation over a coarse cube is good enough beyond this.
        let near = cell * COARSE * 1.2;
        Self::filled(low, high, cell, |p| {
            let d = coarse.distance(p);
            if d.abs() > near { d } else { field(p) }
        })
    }

    fn filled(low: DVec3, high: DVec3, cell: f64, field: impl Fn(DVec3) -> f64 + Sync) -> Self {
        let count = ((high - low) / cell)
            .ceil()
            .to_array()
            .map(|n| n as usize + 1);
        let [nx, ny, nz] = count;
        let samples = (0..nz)
            .into_par_iter()
            .flat_map_iter(|k| {
                let field = &field;
                (0..ny).flat_map(move |j| {
                    (0..nx).map(move |i| {
                        field(low + dvec3(i as f64, j as f64, k as f64) * cell) as f32
                    })
                })
            })
            .collect();
        Self {
            low,
            cell,
            count,
            samples,
        }
    }

    fn holds(&self, p: DVec3) -> bool {
        let q = (p - self.low) / self.cell;
        let [nx, ny, nz] = self.count.map(|n| n as f64 - 1.0);
        q.min_element() >= 0.0 && q.x <= nx && q.y <= ny && q.z <= nz
    }

    fn distance(&self, p: DVec3) -> f64 {
        let [nx, ny, nz] = self.count;
        let top = dvec3(nx as f64, ny as f64, nz as f64) - DVec3::splat(1.0);
        let q = (p - self.low) / self.cell;
        let c = q.clamp(DVec3::ZERO, top - DVec3::splat(1e-6));
        let base = c.floor();
        let f = c - base;
        let (i, j, k) = (base.x as usize, base.y as usize, base.z as usize);
        let at = |i: usize, j: usize, k: usize| f64::from(self.samples[(k * ny + j) * nx + i]);
        let edge = |j, k| at(i, j, k) * (1.0 - f.x) + at(i + 1, j, k) * f.x;
        let face = |k| edge(j, k) * (1.0 - f.y) + edge(j + 1, k) * f.y;
        face(k) * (1.0 - f.z) + face(k + 1) * f.z + (q - c).length() * self.cell
    }
}
