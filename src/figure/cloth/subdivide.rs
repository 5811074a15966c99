//! One level of refinement: every triangle becomes four.

use super::{ClothMesh, Link};
use glam::DVec3;
use std::collections::BTreeMap;

/// What lies round one edge.
#[derive(Default, Clone, Copy)]
struct Around {
    opposite: [u32; 2],
    count: usize,
    middle: u32,
}

impl ClothMesh {
    /// The same cloth with four triangles for each one: places by Loop's masks
    /// (1987), flat places halved exactly. Pins and links go over to the new
    /// points that lie between two pinned or two linked pairs.
    pub fn subdivided(&self) -> ClothMesh {
        let edges = self.edges();
        let mut out = ClothMesh {
            positions: self.smoothed(&edges),
            pinned: self.pinned.clone(),
            against: self.against.clone(),
            links: self.links.clone(),
            inertia: self.inertia.clone(),
            plies: self.plies.clone(),
            faced: self.faced,
            ..ClothMesh::default()
        };
        for (&(a, b), around) in &edges {
            let (pa, pb) = (self.positions[a as usize], self.positions[b as usize]);
            out.positions.push(if around.count == 2 {
                let [c, d] = around.opposite.map(|v| self.positions[v as usize]);
                (pa + pb) * 0.375 + (c + d) * 0.125
            } else {
                (pa + pb) * 0.5
            });
            out.pinned
                .push(self.pinned[a as usize] && self.pinned[b as usize]);
        }
        if !self.inertia.is_empty() {
            let mean =
                |&(a, b): &(u32, u32)| 0.5 * (self.inertia[a as usize] + self.inertia[b as usize]);
            out.inertia.extend(edges.keys().map(mean));
        }
        if !self.against.is_empty() {
            out.against
                .extend(edges.keys().map(|&(a, _)| self.against[a as usize]));
        }
        // A pinned point stays exactly where it was put.
        for (v, &held) in self.pinned.iter().enumerate() {
            if held {
                out.positions[v] = self.positions[v];
            }
        }
        let middle = |a: u32, b: u32| edges.get(&(a.min(b), a.max(b))).map(|e| e.middle);
        for (t, v) in self.triangles.iter().enumerate() {
            let q = self.flat[t];
            // Every edge of a triangle is in the map.
            let m = [0, 1, 2].map(|k| middle(v[k], v[(k + 1) % 3]).unwrap_or(v[k]));
            let h = [0, 1, 2].map(|k| (q[k] + q[(k + 1) % 3]) * 0.5);
            for (tri, flat) in [
                ([v[0], m[0], m[2]], [q[0], h[0], h[2]]),
                ([m[0], v[1], m[1]], [h[0], q[1], h[1]]),
                ([m[2], m[1], v[2]], [h[2], h[1], q[2]]),
                ([m[0], m[1], m[2]], [h[0], h[1], h[2]]),
            ] {
                out.triangles.push(tri);
                out.flat.push(flat);
                out.group.push(self.group[t]);
            }
        }
        for (k, l) in self.links.iter().enumerate() {
            for m in &self.links[k + 1..] {
                for (a, b) in [(m.a, m.b), (m.b, m.a)] {
                    if let (Some(x), Some(y)) = (middle(l.a, a), middle(l.b, b))
                        && x != y
                    {
                        out.links.push(Link { a: x, b: y, ..*l });
                    }
                }
            }
        }
        out
    }

    fn edges(&self) -> BTreeMap<(u32, u32), Around> {
        let mut edges: BTreeMap<(u32, u32), Around> = BTreeMap::new();
        for v in &self.triangles {
            for k in 0..3 {
                let (a, b) = (v[k], v[(k + 1) % 3]);
                let e = edges.entry((a.min(b), a.max(b))).or_default();
                if e.count < 2 {
                    e.opposite[e.count] = v[(k + 2) % 3];
                }
                e.count += 1;
            }
        }
        for (i, e) in edges.values_mut().enumerate() {
            e.middle = (self.positions.len() + i) as u32;
        }
        edges
    }

    fn smoothed(&self, edges: &BTreeMap<(u32, u32), Around>) -> Vec<DVec3> {
        let n = self.positions.len();
        let (mut ring, mut rim) = (
            vec![(DVec3::ZERO, 0.0_f64); n],
            vec![(DVec3::ZERO, 0_u32); n],
        );
        for (&(a, b), e) in edges {
            for (v, other) in [(a, b), (b, a)] {
                let p = self.positions[other as usize];
                ring[v as usize].0 += p;
                ring[v as usize].1 += 1.0;
                if e.count == 1 {
                    rim[v as usize].0 += p;
                    rim[v as usize].1 += 1;
                }
            }
        }
        (0..n)
            .map(|v| {
                let p = self.positions[v];
                match rim[v].1 {
                    0 if ring[v].1 > 0.0 => {
                        // Warren's weights (1995).
                        let beta = if ring[v].1 > 3.0 {
                            0.375 / ring[v].1
                        } else {
                            0.1875
                        };
                        p * (1.0 - beta * ring[v].1) + ring[v].0 * beta
                    }
                    2 => p * 0.75 + rim[v].0 * 0.125,
                    _ => p,
                }
            })
            .collect()
    }
}
