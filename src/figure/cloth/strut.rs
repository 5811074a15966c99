//! How sharply a mesh may fold: across each inner edge the corners beyond it keep apart.
//!
//! Cloth has no such limit, its mesh has: two neighbours folded flat onto each other can turn inside out, and neighbours
//! are left out where folds are kept off each other ([`super::touch`]). With the corners kept apart a fold spans a few
//! edges, and its flanks are far enough from each other in the cloth to be told apart.

use super::ClothMesh;
use glam::DVec3;
use std::collections::BTreeMap;

/// Least distance of the corners beyond an edge, as a share of their distance in the flat: an angle of some 75 degrees
/// between the triangles.
const OPEN: f64 = 0.6;
/// Share of the missing distance that is made good in a sweep.
const FIRM: f64 = 0.35;

/// Two particles that keep apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Strut {
    pub a: u32,
    pub b: u32,
    /// Their least distance, in centimetres.
    pub least: f64,
}

/// The struts across all inner edges; `triangles` are of particles.
pub(super) fn across_edges(mesh: &ClothMesh, triangles: &[[u32; 3]]) -> Vec<Strut> {
    let mut edges: BTreeMap<(u32, u32), (usize, usize)> = BTreeMap::new();
    let mut out = Vec::new();
    for (t, v) in triangles.iter().enumerate() {
        for k in 0..3 {
            let (a, b) = (v[k], v[(k + 1) % 3]);
            let Some((s, j)) = edges.insert((a.min(b), a.max(b)), (t, k)) else {
                continue;
            };
            // Each triangle's corner beyond the edge: how far along it from its lower particle, and how far off.
            let beyond = |t: usize, k: usize| {
                let q = &mesh.flat[t];
                let (mut from, mut to) = (k, (k + 1) % 3);
                if triangles[t][from] > triangles[t][to] {
                    (from, to) = (to, from);
                }
                let along = (q[to] - q[from]).normalize_or_zero();
                let off = q[(k + 2) % 3] - q[from];
                (off.dot(along), off.perp_dot(along).abs())
            };
            let ((xa, ya), (xb, yb)) = (beyond(t, k), beyond(s, j));
            let (a, b) = (v[(k + 2) % 3], triangles[s][(j + 2) % 3]);
            if a != b {
                let least = OPEN * (xa - xb).hypot(ya + yb);
                out.push(Strut { a, b, least });
            }
        }
    }
    out
}

/// One sweep over the struts.
pub(super) fn keep_open(struts: &[Strut], x: &mut [DVec3], w: &[f64]) {
    for s in struts {
        let (a, b) = (s.a as usize, s.b as usize);
        let d = x[b] - x[a];
        let square = d.length_squared();
        let sum = w[a] + w[b];
        if square >= s.least * s.least || square < 1e-12 || sum <= 0.0 {
            continue;
        }
        let length = square.sqrt();
        let step = d * (FIRM * (s.least - length).min(0.2) / (length * sum));
        x[a] -= step * w[a];
        x[b] += step * w[b];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::{dvec2, dvec3};

    #[test]
    fn a_fold_pressed_flat_opens_and_flat_cloth_is_left() {
        // Two triangles over one edge, their far corners 4 cm apart in the flat.
        let triangles = [[0, 1, 2], [1, 0, 3]];
        let mesh = ClothMesh {
            flat: vec![
                [dvec2(0.0, 0.0), dvec2(2.0, 0.0), dvec2(1.0, 2.0)],
                [dvec2(2.0, 0.0), dvec2(0.0, 0.0), dvec2(1.0, -2.0)],
            ],
            ..ClothMesh::default()
        };
        let struts = across_edges(&mesh, &triangles);
        assert_eq!(struts.len(), 1);
        assert!((struts[0].least - OPEN * 4.0).abs() < 1e-12);
        let laid = |last: DVec3| {
            let (a, b) = (dvec3(0.0, 0.0, 0.0), dvec3(2.0, 0.0, 0.0));
            [a, b, dvec3(1.0, 2.0, 0.0), last]
        };
        let mut folded = laid(dvec3(1.0, 2.0, 0.1));
        for _ in 0..100 {
            keep_open(&struts, &mut folded, &[1.0; 4]);
        }
        let apart = folded[2].distance(folded[3]);
        assert!((apart - struts[0].least).abs() < 0.02, "{apart}");
        let open = laid(dvec3(1.0, -2.0, 0.0));
        let mut x = open;
        keep_open(&struts, &mut x, &[1.0; 4]);
        assert_eq!(x, open);
    }
}
