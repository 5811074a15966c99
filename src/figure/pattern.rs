//! The flat pattern of the shift dress: outlines of front and back, and the grid
//! of points that fills each. Lengths in centimetres; drafted by common practice
//! for a sleeveless dress without darts, not taken from any published pattern.

use super::recipe::GarmentRecipe;
use super::sdf::Table;
use glam::{DVec2, dvec2};

/// Numbers of grid steps.
#[derive(Debug, Clone, Copy)]
pub struct Layout {
    /// Steps across a panel.
    pub across: usize,
    /// Steps from hem to shoulder.
    pub up: usize,
    /// Of `up`, steps along the side seam.
    pub seam: usize,
    /// Of `across`, steps along one shoulder.
    pub shoulder: usize,
}

impl Layout {
    pub fn new(share: f64) -> Self {
        let steps = |n: f64| (n * share / 2.0).round().max(1.0) as usize * 2;
        let shoulder = steps(10.0);
        let neck = steps(60.0);
        let seam = steps(94.0);
        Self {
            across: 2 * shoulder + neck,
            up: seam + steps(32.0),
            seam,
            shoulder,
        }
    }

    pub fn index(&self, i: usize, j: usize) -> usize {
        j * (self.across + 1) + i
    }

    pub fn count(&self) -> usize {
        (self.across + 1) * (self.up + 1)
    }
}

/// The outline of one pattern piece: right half, u outward, d down from the
/// side of the neck, in centimetres.
pub struct Piece {
    /// From underarm to shoulder tip.
    armhole: [DVec2; 4],
    /// From the side of the neck to the centre.
    neckline: [DVec2; 4],
    /// Half width of the piece against height over the hem.
    pub width: Table<1>,
    pub length: f64,
    hem_rise: f64,
}

/// Height of the underarm over the hem, in centimetres, for a length of 97 cm.
pub const UNDERARM: f64 = 72.5;

impl Piece {
    pub fn new(recipe: &GarmentRecipe, front: bool) -> Self {
        let extra = recipe.length_cm - 97.0;
        let top = UNDERARM + extra;
        let length = recipe.length_cm + if front { 1.5 } else { 0.0 };
        let under = length - top;
        let (bust, waist, hip) = if front {
            (25.6, 23.6, 27.6)
        } else {
            (24.4, 22.8, 27.4)
        };
        let hem = recipe.hem_half_width_cm;
        let rows = [
            (0.0, [hem]),
            (0.5 * (top - 36.0), [0.5 * (hem + hip) - 0.4]),
            (top - 36.0, [hip]),
            (top - 18.0, [waist]),
            (top, [bust]),
        ];
        let tip = dvec2(14.3, 2.8);
        let side = dvec2(8.6, 0.0);
        Self {
            armhole: if front {
                [
                    dvec2(bust, under),
                    dvec2(17.5, under - 0.2),
                    dvec2(13.0, 15.0),
                    tip,
                ]
            } else {
                [
                    dvec2(bust, under),
                    dvec2(18.6, under - 0.2),
                    dvec2(14.4, 14.0),
                    tip,
                ]
            },
            neckline: if front {
                [side, dvec2(8.0, 7.0), dvec2(5.2, 11.5), dvec2(0.0, 11.5)]
            } else {
                [side, dvec2(7.6, 3.0), dvec2(4.5, 4.3), dvec2(0.0, 4.3)]
            },
            width: Table::new(&rows, 96, 4.0),
            length,
            hem_rise: 0.5 * hem * (hem - hip) / (top - 36.0),
        }
    }

    /// Grid of (u, v): v is height over the hem along the grain.
    pub fn grid(&self, layout: Layout) -> Vec<DVec2> {
        let hem_corner = self.hem_rise;
        let top = self.length - self.armhole[0].y;
        let seam = |t: f64| {
            let v = hem_corner + (top - hem_corner) * t;
            dvec2(self.width.at(v)[0], v)
        };
        let flat = |p: DVec2| dvec2(p.x, self.length - p.y);
        let mut side = evenly(seam, layout.seam);
        side.extend(evenly(|t| flat(bezier(self.armhole, t)), layout.up - layout.seam).drain(1..));
        let half = layout.across / 2;
        let mut crown = evenly(
            |t| flat(self.armhole[3].lerp(self.neckline[0], t)),
            layout.shoulder,
        );
        crown.extend(evenly(|t| flat(bezier(self.neckline, t)), half - layout.shoulder).drain(1..));
        let hem_half = side[0].x;
        let mirror = |p: DVec2| dvec2(-p.x, p.y);
        // The left half of a boundary is the mirror of the right half.
        let right = |j: usize| side[j];
        let upper = |i: usize| {
            if i <= half {
                mirror(crown[i])
            } else {
                crown[layout.across - i]
            }
        };
        let lower = |i: usize| {
            let s = 2.0 * i as f64 / layout.across as f64 - 1.0;
            dvec2(s * hem_half, self.hem_rise * s * s)
        };
        let mut grid = Vec::with_capacity(layout.count());
        for j in 0..=layout.up {
            let t = j as f64 / layout.up as f64;
            for i in 0..=layout.across {
                // Transfinite interpolation between the four boundaries.
                let s = i as f64 / layout.across as f64;
                let (l, r) = (mirror(right(j)), right(j));
                let edges = lower(i) * (1.0 - t) + upper(i) * t + l * (1.0 - s) + r * s;
                let corners = (lower(0) * (1.0 - s) + lower(layout.across) * s) * (1.0 - t)
                    + (upper(0) * (1.0 - s) + upper(layout.across) * s) * t;
                grid.push(edges - corners);
            }
        }
        even_out(&mut grid, layout);
        grid
    }
}

/// Winslow's elliptic smoothing (1966) of the inner grid points: grid lines keep
/// from crossing even at the underarm, where the outline turns inward.
fn even_out(grid: &mut [DVec2], layout: Layout) {
    let sweeps = layout.up * layout.up / 12;
    for _ in 0..sweeps {
        for j in 1..layout.up {
            for i in 1..layout.across {
                let at = |di: usize, dj: usize| grid[layout.index(i + di - 1, j + dj - 1)];
                let (across, up) = (at(2, 1) - at(0, 1), at(1, 2) - at(1, 0));
                let twist = 0.25 * (at(2, 2) - at(2, 0) - at(0, 2) + at(0, 0));
                let (a, b, c) = (
                    up.length_squared() * 0.25,
                    across.dot(up) * 0.25,
                    across.length_squared() * 0.25,
                );
                let sum = a * (at(2, 1) + at(0, 1)) + c * (at(1, 2) + at(1, 0)) - 2.0 * b * twist;
                grid[layout.index(i, j)] = sum / (2.0 * (a + c)).max(1e-12);
            }
        }
    }
}

fn bezier(p: [DVec2; 4], t: f64) -> DVec2 {
    let s = 1.0 - t;
    p[0] * (s * s * s) + p[1] * (3.0 * s * s * t) + p[2] * (3.0 * s * t * t) + p[3] * (t * t * t)
}

/// `steps + 1` points along a curve, equal distances apart.
fn evenly(curve: impl Fn(f64) -> DVec2, steps: usize) -> Vec<DVec2> {
    const N: usize = 400;
    let points: Vec<DVec2> = (0..=N).map(|i| curve(i as f64 / N as f64)).collect();
    let mut along = vec![0.0];
    for w in points.windows(2) {
        along.push(along[along.len() - 1] + w[0].distance(w[1]));
    }
    let total = along[N];
    (0..=steps)
        .map(|s| {
            let goal = total * s as f64 / steps as f64;
            let k = along.partition_point(|&a| a < goal).clamp(1, N);
            let span = (along[k] - along[k - 1]).max(1e-12);
            points[k - 1].lerp(points[k], ((goal - along[k - 1]) / span).clamp(0.0, 1.0))
        })
        .collect()
}
