//! Fills the outline of a pattern piece with near-equilateral triangles.
//!
//! The outline is clipped into ears (Meisters 1975), then points of a hexagonal
//! lattice are put in one by one and edges flipped until every inner edge is
//! Delaunay (Lawson 1977). Outline edges are never flipped, so neighbours that
//! share an outline share its vertices.

use glam::{DVec2, dvec2};
use std::collections::HashMap;

/// A flat triangulation. The outline's points come first, in their order.
#[derive(Debug, Clone, Default)]
pub struct Flat {
    /// Points in the plane.
    pub points: Vec<DVec2>,
    /// Counter-clockwise triangles.
    pub triangles: Vec<[u32; 3]>,
    /// For each directed edge, the triangle to its left. Only ever looked up.
    left: HashMap<(u32, u32), u32>,
}

/// Fills `outline` (counter-clockwise, closed without repeating its first point)
/// with triangles whose edges are about `spacing` long.
pub fn fill(outline: &[DVec2], spacing: f64) -> Flat {
    let mut flat = Flat {
        points: outline.to_vec(),
        ..Flat::default()
    };
    flat.clip_ears();
    flat.legalise_all();
    let (mut lo, mut hi) = (DVec2::INFINITY, DVec2::NEG_INFINITY);
    for p in outline {
        lo = lo.min(*p);
        hi = hi.max(*p);
    }
    let row = spacing * 0.75_f64.sqrt();
    let rows = ((hi.y - lo.y) / row) as usize;
    let across = ((hi.x - lo.x) / spacing) as usize;
    // Centred, so that a symmetric piece is filled symmetrically.
    let mid = 0.5 * (lo + hi);
    for j in 0..=rows + 1 {
        for i in 0..=across + 1 {
            let shift = if j % 2 == 0 { 0.0 } else { 0.5 };
            let p = dvec2(
                mid.x + (i as f64 - (across / 2) as f64 + shift) * spacing,
                mid.y + (j as f64 - (rows / 2) as f64) * row,
            );
            if inside(outline, p) && off_outline(outline, p) > 0.62 * spacing {
                flat.insert(p);
            }
        }
    }
    flat.relax(outline.len());
    flat
}

/// Whether `p` lies in the polygon (crossing count).
pub fn inside(outline: &[DVec2], p: DVec2) -> bool {
    let mut within = false;
    for (k, a) in outline.iter().enumerate() {
        let b = outline[(k + 1) % outline.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x) {
            within = !within;
        }
    }
    within
}

/// How far `p` is outside a triangle in barycentric terms (0 inside), and its weights.
pub fn within(triangle: &[DVec2; 3], p: DVec2) -> (f64, [f64; 3]) {
    let [a, b, c] = *triangle;
    let det = (b - a).perp_dot(c - a);
    if det.abs() < 1e-9 {
        return (f64::INFINITY, [1.0, 0.0, 0.0]);
    }
    let u = (p - a).perp_dot(c - a) / det;
    let v = (b - a).perp_dot(p - a) / det;
    let out = (-u).max(-v).max(u + v - 1.0).max(0.0);
    (if out < 1e-9 { 0.0 } else { out }, [1.0 - u - v, u, v])
}

fn off_outline(outline: &[DVec2], p: DVec2) -> f64 {
    let mut best = f64::INFINITY;
    for (k, &a) in outline.iter().enumerate() {
        let along = outline[(k + 1) % outline.len()] - a;
        let t = ((p - a).dot(along) / along.length_squared().max(1e-12)).clamp(0.0, 1.0);
        best = best.min(p.distance_squared(a + along * t));
    }
    best.sqrt()
}

impl Flat {
    fn put(&mut self, slot: usize, t: [u32; 3]) {
        if slot == self.triangles.len() {
            self.triangles.push(t);
        } else {
            self.triangles[slot] = t;
        }
        for k in 0..3 {
            self.left.insert((t[k], t[(k + 1) % 3]), slot as u32);
        }
    }

    fn clip_ears(&mut self) {
        let mut rest: Vec<u32> = (0..self.points.len() as u32).collect();
        while rest.len() > 3 {
            let n = rest.len();
            let corner = |k: usize| {
                [rest[(k + n - 1) % n], rest[k], rest[(k + 1) % n]].map(|v| self.points[v as usize])
            };
            // The fattest ear first keeps slivers away; a blunt corner is no ear.
            let mut best = (f64::NEG_INFINITY, 0);
            for k in 0..n {
                let [a, b, c] = corner(k);
                let turn = (b - a).perp_dot(c - b);
                if turn <= 1e-12 {
                    continue;
                }
                let blocked = rest.iter().any(|&v| {
                    let p = self.points[v as usize];
                    p != a
                        && p != b
                        && p != c
                        && (b - a).perp_dot(p - a) >= 0.0
                        && (c - b).perp_dot(p - b) >= 0.0
                        && (a - c).perp_dot(p - c) >= 0.0
                });
                let fat = turn / a.distance_squared(c).max(1e-12);
                if !blocked && fat > best.0 {
                    best = (fat, k);
                }
            }
            let k = best.1;
            let ear = [rest[(k + n - 1) % n], rest[k], rest[(k + 1) % n]];
            self.put(self.triangles.len(), ear);
            rest.remove(k);
        }
        self.put(self.triangles.len(), [rest[0], rest[1], rest[2]]);
    }

    fn legalise_all(&mut self) {
        let edges: Vec<(u32, u32)> = self
            .triangles
            .iter()
            .flat_map(|t| (0..3).map(move |k| (t[k], t[(k + 1) % 3])))
            .collect();
        for (a, b) in edges {
            self.legalise(a, b);
        }
    }

    /// Flips the edge from `a` to `b` where that makes it Delaunay, then its neighbours.
    fn legalise(&mut self, a: u32, b: u32) {
        let mut open = vec![(a, b)];
        let mut flips = 0;
        while let Some((a, b)) = open.pop() {
            let (Some(&s), Some(&t)) = (self.left.get(&(a, b)), self.left.get(&(b, a))) else {
                continue;
            };
            let third = |t: u32| {
                let v = self.triangles[t as usize];
                v.into_iter().find(|&v| v != a && v != b).unwrap_or(a)
            };
            let (c, d) = (third(s), third(t));
            let [pa, pb, pc, pd] = [a, b, c, d].map(|v| self.points[v as usize]);
            // Both new triangles must turn left.
            let turns = (pd - pa).perp_dot(pc - pa) > 1e-12 && (pc - pb).perp_dot(pd - pb) > 1e-12;
            if !turns || !within_circle(pa, pb, pc, pd) || flips > 10_000 {
                continue;
            }
            flips += 1;
            self.left.remove(&(a, b));
            self.left.remove(&(b, a));
            self.put(s as usize, [a, d, c]);
            self.put(t as usize, [d, b, c]);
            open.extend([(a, d), (d, b), (b, c), (c, a)]);
        }
    }

    fn insert(&mut self, p: DVec2) {
        let found = self.triangles.iter().position(|t| {
            let [a, b, c] = t.map(|v| self.points[v as usize]);
            (b - a).perp_dot(p - a) > 1e-9
                && (c - b).perp_dot(p - b) > 1e-9
                && (a - c).perp_dot(p - c) > 1e-9
        });
        // On an edge: the next smoothing closes the small gap this leaves.
        let Some(slot) = found else { return };
        let [a, b, c] = self.triangles[slot];
        let v = self.points.len() as u32;
        self.points.push(p);
        self.put(slot, [a, b, v]);
        self.put(self.triangles.len(), [b, c, v]);
        self.put(self.triangles.len(), [c, a, v]);
        for (a, b) in [(a, b), (b, c), (c, a)] {
            self.legalise(a, b);
        }
    }

    /// Evens the inner points out, a few times, and flips again.
    fn relax(&mut self, fixed: usize) {
        for _ in 0..6 {
            let mut sum = vec![(DVec2::ZERO, 0.0); self.points.len()];
            for t in &self.triangles {
                for k in 0..3 {
                    let q = self.points[t[(k + 1) % 3] as usize];
                    sum[t[k] as usize].0 += q;
                    sum[t[k] as usize].1 += 1.0;
                }
            }
            let before = self.points.clone();
            for (point, (around, count)) in self.points.iter_mut().zip(sum).skip(fixed) {
                if count > 0.0 {
                    *point = point.lerp(around / count, 0.6);
                }
            }
            // A step that would turn a triangle over is not taken.
            for t in self.triangles.clone() {
                let [a, b, c] = t.map(|v| self.points[v as usize]);
                if (b - a).perp_dot(c - a) <= 1e-9 {
                    for v in t {
                        self.points[v as usize] = before[v as usize];
                    }
                }
            }
            self.legalise_all();
        }
    }
}

fn within_circle(a: DVec2, b: DVec2, c: DVec2, p: DVec2) -> bool {
    let [a, b, c] = [a - p, b - p, c - p];
    let [la, lb, lc] = [a, b, c].map(|v| v.length_squared());
    a.x * (b.y * lc - c.y * lb) - a.y * (b.x * lc - c.x * lb) + la * b.perp_dot(c) > 1e-9
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_notched_piece_is_filled_without_gaps() {
        // A square with a dart cut into its lower edge.
        let corners = [
            dvec2(0.0, 0.0),
            dvec2(13.0, 0.0),
            dvec2(15.0, 11.0),
            dvec2(17.0, 0.0),
            dvec2(30.0, 0.0),
            dvec2(30.0, 25.0),
            dvec2(0.0, 25.0),
        ];
        let mut outline = Vec::new();
        for (k, a) in corners.iter().enumerate() {
            let b = corners[(k + 1) % corners.len()];
            let steps = (a.distance(b) / 1.5).ceil() as usize;
            outline.extend((0..steps).map(|i| a.lerp(b, i as f64 / steps as f64)));
        }
        let flat = fill(&outline, 1.5);
        let area = |t: &[u32; 3]| {
            let [a, b, c] = t.map(|v| flat.points[v as usize]);
            0.5 * (b - a).perp_dot(c - a)
        };
        assert!(flat.triangles.iter().all(|t| area(t) > 0.02));
        let sum: f64 = flat.triangles.iter().map(area).sum();
        assert!((sum - (30.0 * 25.0 - 22.0)).abs() < 1e-6, "{sum}");
        // Euler: faces = 2 inner + outline - 2.
        let inner = flat.points.len() - outline.len();
        assert_eq!(flat.triangles.len(), 2 * inner + outline.len() - 2);
    }
}
