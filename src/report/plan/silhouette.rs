//! The figure's outline: its capsules seen from one side, run together.

use super::geometry::Point;
use super::map::View;
use crate::setup::Capsule;
use std::collections::BTreeMap;

/// Width of a cell that the outline is looked for in, metres.
const CELL_M: f64 = 0.008;
/// Most cells each way.
const MOST_CELLS: usize = 500;
/// Where two limbs meet, the crease is filled as if with a ball of about this size, metres.
const BLEND_M: f64 = 0.03;

/// Outlines in metres of the page, right and up, the longest first; more than one where limbs stand
/// apart or enclose a gap. Empty without capsules.
pub(super) fn silhouette(capsules: &[Capsule], view: View) -> Vec<Vec<Point>> {
    let flat: Vec<Flat> = capsules
        .iter()
        .map(|c| Flat {
            a: view.flat(c.a_m),
            b: view.flat(c.b_m),
            radius: c.radius_m,
        })
        .filter(|f| f.a.iter().chain(&f.b).all(|v| v.is_finite()) && f.radius > 0.0)
        .collect();
    let Some(grid) = Grid::around(&flat) else {
        return Vec::new();
    };
    let mut loops = grid.contours(&flat);
    loops.sort_by_key(|l| std::cmp::Reverse(l.len()));
    loops
}

/// A capsule seen from one side is one still.
struct Flat {
    a: Point,
    b: Point,
    radius: f64,
}

impl Flat {
    fn distance(&self, p: Point) -> f64 {
        let along = [self.b[0] - self.a[0], self.b[1] - self.a[1]];
        let from = [p[0] - self.a[0], p[1] - self.a[1]];
        let square = along[0] * along[0] + along[1] * along[1];
        let t = if square > 0.0 {
            ((from[0] * along[0] + from[1] * along[1]) / square).clamp(0.0, 1.0)
        } else {
            0.0
        };
        (from[0] - t * along[0]).hypot(from[1] - t * along[1]) - self.radius
    }
}

/// Distance to all of them, creases filled (the polynomial smooth minimum).
fn distance(flat: &[Flat], p: Point) -> f64 {
    flat.iter().fold(f64::INFINITY, |least, f| {
        let d = f.distance(p);
        if least.is_infinite() {
            return d;
        }
        let h = (BLEND_M - (least - d).abs()).max(0.0) / BLEND_M;
        least.min(d) - 0.25 * BLEND_M * h * h
    })
}

struct Grid {
    low: Point,
    cell: f64,
    size: [usize; 2],
}

impl Grid {
    fn around(flat: &[Flat]) -> Option<Self> {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for f in flat {
            for k in 0..2 {
                low[k] = low[k].min(f.a[k].min(f.b[k]) - f.radius - BLEND_M);
                high[k] = high[k].max(f.a[k].max(f.b[k]) + f.radius + BLEND_M);
            }
        }
        let longest = (high[0] - low[0]).max(high[1] - low[1]);
        if !longest.is_finite() {
            return None;
        }
        let cell = CELL_M.max(longest / MOST_CELLS as f64);
        let size = [0, 1].map(|k| ((high[k] - low[k]) / cell).ceil() as usize + 1);
        Some(Self { low, cell, size })
    }

    fn at(&self, i: usize, j: usize) -> Point {
        [
            self.low[0] + i as f64 * self.cell,
            self.low[1] + j as f64 * self.cell,
        ]
    }

    /// Marching squares (the plane's case of Lorensen and Cline 1987). Along each piece the inside is
    /// to one side, so that pieces join end to start.
    fn contours(&self, flat: &[Flat]) -> Vec<Vec<Point>> {
        let [w, h] = self.size;
        let values: Vec<f64> = (0..(w + 1) * (h + 1))
            .map(|k| distance(flat, self.at(k % (w + 1), k / (w + 1))))
            .collect();
        let value = |i: usize, j: usize| values[j * (w + 1) + i];
        // An edge's number: along the row from its corner, or up the column.
        let edge = |i: usize, j: usize, up: usize| 2 * (j * (w + 1) + i) + up;
        let mut next: BTreeMap<usize, usize> = BTreeMap::new();
        for j in 0..h {
            for i in 0..w {
                let corners = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)];
                let sides = [
                    edge(i, j, 0),
                    edge(i + 1, j, 1),
                    edge(i, j + 1, 0),
                    edge(i, j, 1),
                ];
                let inside = corners.map(|(a, b)| value(a, b) < 0.0);
                // A piece starts where going round the cell leaves the inside, and ends at the side
                // before, where it was entered.
                for k in 0..4 {
                    if inside[k] && !inside[(k + 1) % 4] {
                        let entered = (1..4)
                            .map(|back| (k + 4 - back) % 4)
                            .find(|&s| !inside[s] && inside[(s + 1) % 4]);
                        if let Some(entered) = entered {
                            next.insert(sides[k], sides[entered]);
                        }
                    }
                }
            }
        }
        let place = |edge: usize| {
            let (corner, up) = (edge / 2, edge % 2);
            let (i, j) = (corner % (w + 1), corner / (w + 1));
            let (di, dj) = if up == 1 { (0, 1) } else { (1, 0) };
            let (a, b) = (value(i, j), value(i + di, j + dj));
            super::geometry::between(self.at(i, j), self.at(i + di, j + dj), a / (a - b))
        };
        let mut loops = Vec::new();
        while let Some((&start, _)) = next.first_key_value() {
            let mut outline = Vec::new();
            let mut here = start;
            while let Some(to) = next.remove(&here) {
                outline.push(place(here));
                here = to;
            }
            // Every second point tells enough at any scale that a room is drawn at.
            let thin: Vec<Point> = outline.into_iter().step_by(2).collect();
            if thin.len() > 2 {
                loops.push(thin);
            }
        }
        loops
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::DVec3;

    #[test]
    fn a_ball_is_a_circle_and_two_are_two() {
        let ball = |x: f64| Capsule {
            a_m: DVec3::new(x, 1.0, 0.0),
            b_m: DVec3::new(x, 1.0, 0.0),
            radius_m: 0.2,
        };
        let one = silhouette(&[ball(0.0)], View::Front);
        assert_eq!(one.len(), 1);
        for [x, y] in &one[0] {
            assert!((x.hypot(y - 1.0) - 0.2).abs() < 1e-3, "{x} {y}");
        }
        assert_eq!(silhouette(&[ball(0.0), ball(1.0)], View::Front).len(), 2);
        // From the side one hides the other.
        assert_eq!(silhouette(&[ball(0.0), ball(1.0)], View::Side).len(), 1);
        assert!(silhouette(&[], View::Plan).is_empty());
    }
}
