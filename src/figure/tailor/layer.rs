//! A worn garment as a solid, for what is worn over it.

use crate::figure::body::Body;
use crate::figure::sdf::Field;
use crate::figure::{Part, Role};
use glam::DVec3;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// The outer surface of garments already made: negative on the body's side of
/// the cloth, far off it a large distance.
pub struct Layer {
    /// Points of the cloth with outward normals, in centimetres, by grid cell.
    cells: BTreeMap<[i32; 3], Vec<(DVec3, DVec3)>>,
}

const CELL: f64 = 1.5;
/// The cloth is felt no further off than this.
const REACH: f64 = 1.5;

impl Layer {
    /// Adds the cloth of `parts`, worn by `body`, over what is below already.
    /// Facings and linings, which look at the body, do not count.
    pub fn over<'p>(
        below: Option<Self>,
        parts: impl IntoIterator<Item = &'p Part>,
        body: &Body,
    ) -> Option<Self> {
        let mut layer = below.unwrap_or(Self {
            cells: BTreeMap::new(),
        });
        for part in parts.into_iter().filter(|p| p.role == Role::Cloth) {
            let outer: Vec<Option<(DVec3, DVec3)>> = part
                .positions_m
                .par_iter()
                .zip(&part.normals)
                .map(|(p, n)| {
                    let (p, n) = (p.as_dvec3() * 100.0, n.as_dvec3());
                    (body.gradient(p, 0.1).dot(n) > -0.2).then_some((p, n))
                })
                .collect();
            for (p, n) in outer.into_iter().flatten() {
                let cell = (p / CELL).floor().to_array().map(|v| v as i32);
                layer.cells.entry(cell).or_default().push((p, n));
            }
        }
        (!layer.cells.is_empty()).then_some(layer)
    }
}

impl Field for Layer {
    fn distance(&self, p: DVec3) -> f64 {
        let c = (p / CELL).floor().to_array().map(|v| v as i32);
        // The farthest-out cloth near by decides; each point stands for a small
        // plane across its normal.
        let (mut sum, mut weight) = (0.0, 0.0);
        let mut nearest = f64::INFINITY;
        for x in -1..=1 {
            for y in -1..=1 {
                for z in -1..=1 {
                    let Some(points) = self.cells.get(&[c[0] + x, c[1] + y, c[2] + z]) else {
                        continue;
                    };
                    for (q, n) in points {
                        let d = p - *q;
                        let far = d.length();
                        if far > REACH {
                            continue;
                        }
                        nearest = nearest.min(far);
                        let w = (1.0 - far / REACH).powi(4);
                        sum += w * d.dot(*n);
                        weight += w;
                    }
                }
            }
        }
        if weight > 1e-9 { sum / weight } else { REACH }
    }
}
