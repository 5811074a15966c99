//! Which limb a piece of cloth belongs to: where two come close, each keeps its own.

use super::sew::Sewn;
use glam::DVec3;
use rayon::prelude::*;

/// Cloth keeps this far, in centimetres, on its own side of the surface halfway between two limbs.
const MARGIN: f64 = 0.14;
/// Rows of triangles next to cloth of the other side in which the rule sets in.
const ROWS: u32 = 2;

/// How far a place lies on the wrong side, in centimetres: own distance less the other's.
pub type Wrong<'a> = dyn Fn(DVec3) -> f64 + Sync + 'a;

/// Keeps the panels of a garment on their own sides of the body.
pub struct Sides<'a> {
    /// For each panel, which of the rules holds.
    pub of_panel: Vec<usize>,
    /// For each side, how far a place is on the wrong one; far from both it is at most 0.
    pub wrong: Vec<Box<Wrong<'a>>>,
}

/// [`Sides`] for the particles of one cut.
pub struct Kept<'a> {
    sides: &'a Sides<'a>,
    /// Side of each particle, and how firmly it is kept there.
    firm: Vec<(usize, f64)>,
}

impl<'a> Sides<'a> {
    /// For the particles of `sewn`; those in `pinned` stay where they are.
    pub fn of(&'a self, sewn: &Sewn, pinned: &[u32]) -> Kept<'a> {
        let mut side = vec![usize::MAX; sewn.count];
        let mut rows = vec![ROWS; sewn.count];
        for (k, particles) in sewn.particles.iter().enumerate() {
            let own = self.of_panel[k];
            for &p in particles {
                let p = p as usize;
                if side[p] != usize::MAX && side[p] != own {
                    rows[p] = 0;
                }
                side[p] = own;
            }
        }
        for _ in 0..ROWS {
            let before = rows.clone();
            for (panel, particles) in sewn.panels.iter().zip(&sewn.particles) {
                for t in &panel.triangles {
                    let corners = t.map(|v| particles[v as usize] as usize);
                    let least = corners.iter().map(|&p| before[p]).min().unwrap_or(ROWS);
                    for p in corners {
                        rows[p] = rows[p].min(least + 1);
                    }
                }
            }
        }
        for &p in pinned {
            rows[p as usize] = 0;
        }
        let firm = side.iter().zip(&rows);
        Kept {
            sides: self,
            firm: firm
                .map(|(&s, &r)| (s, f64::from(r) / f64::from(ROWS)))
                .collect(),
        }
    }
}

impl Sides<'_> {
    /// Moves a place to `margin` centimetres on that side of halfway.
    pub fn put_back(&self, side: usize, margin: f64, p: &mut DVec3) {
        let Some(wrong) = self.wrong.get(side) else {
            return;
        };
        for _ in 0..6 {
            let off = wrong(*p) + margin;
            if off <= 0.0 {
                break;
            }
            let h = 0.05;
            let slope = |axis: DVec3| (wrong(*p + axis * h) - wrong(*p - axis * h)) / (2.0 * h);
            let g = DVec3::new(slope(DVec3::X), slope(DVec3::Y), slope(DVec3::Z));
            *p -= g.normalize_or_zero() * (off / g.length().max(0.5)).min(1.0);
        }
    }
}

impl Kept<'_> {
    /// Moves what lies on the wrong side back to its own.
    pub fn put_back(&self, places: &mut [DVec3]) {
        places
            .par_iter_mut()
            .zip(&self.firm)
            .filter(|(_, (_, firm))| *firm > 0.0)
            .for_each(|(p, &(side, firm))| {
                let mut to = *p;
                self.sides.put_back(side, MARGIN, &mut to);
                *p += (to - *p) * firm;
            });
    }
}
