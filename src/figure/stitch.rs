//! Joins a fine mesh and a coarse one across a gap, into one closed surface.

use super::surface::Mesh;
use glam::DVec3;
use std::collections::BTreeMap;

/// Puts `upper` and `lower` together by a strip of triangles between their one
/// open edge each. `None` where either does not have exactly one open edge.
pub fn zip(upper: &Mesh, lower: &Mesh) -> Option<Mesh> {
    let top = open_edge(upper)?;
    let bottom = open_edge(lower)?;
    let shift = upper.positions.len() as u32;
    let mut mesh = upper.clone();
    mesh.positions.extend_from_slice(&lower.positions);
    mesh.triangles
        .extend(lower.triangles.iter().map(|t| t.map(|v| v + shift)));
    // Both loops run as their triangles do, so that seen along the axis they
    // turn opposite ways: walk the lower one backwards.
    let bottom: Vec<u32> = bottom.iter().rev().map(|v| v + shift).collect();
    strip(&mut mesh, &top, &bottom);
    Some(mesh)
}

/// Removes the triangles that `gone` says, then whatever would leave the open
/// edge touching itself. Positions are kept in order, unused ones dropped.
pub fn cut_away(mesh: Mesh, gone: impl Fn(DVec3) -> bool) -> Mesh {
    let mut drop: Vec<bool> = mesh.positions.iter().map(|&p| gone(p)).collect();
    let mut triangles = mesh.triangles;
    loop {
        triangles.retain(|t| t.iter().all(|&v| !drop[v as usize]));
        let mut starts = vec![0_u8; mesh.positions.len()];
        for (a, _) in open_edges(&triangles) {
            starts[a as usize] += 1;
        }
        let mut pinched = false;
        for (v, n) in starts.iter().enumerate() {
            drop[v] = *n > 1;
            pinched |= drop[v];
        }
        if !pinched {
            break;
        }
    }
    compact(Mesh {
        positions: mesh.positions,
        triangles,
    })
}

fn compact(mesh: Mesh) -> Mesh {
    let mut new_index = vec![u32::MAX; mesh.positions.len()];
    for &v in mesh.triangles.iter().flatten() {
        new_index[v as usize] = 0;
    }
    let mut positions = Vec::new();
    for (v, index) in new_index.iter_mut().enumerate() {
        if *index == 0 {
            *index = positions.len() as u32;
            positions.push(mesh.positions[v]);
        }
    }
    let triangles = mesh
        .triangles
        .iter()
        .map(|t| t.map(|v| new_index[v as usize]))
        .collect();
    Mesh {
        positions,
        triangles,
    }
}

/// Edges with a triangle on one side only, in the direction that triangle runs.
fn open_edges(triangles: &[[u32; 3]]) -> Vec<(u32, u32)> {
    let mut edges: Vec<(u32, u32, bool)> = Vec::with_capacity(triangles.len() * 3);
    for t in triangles {
        for s in 0..3 {
            let (a, b) = (t[s], t[(s + 1) % 3]);
            edges.push((a.min(b), a.max(b), a < b));
        }
    }
    edges.sort_unstable();
    edges
        .chunk_by(|x, y| (x.0, x.1) == (y.0, y.1))
        .filter(|same| same.len() == 1)
        .map(|same| {
            let (a, b, forward) = same[0];
            if forward { (a, b) } else { (b, a) }
        })
        .collect()
}

/// The vertices of the only open edge, in order; `None` if there is none or more.
fn open_edge(mesh: &Mesh) -> Option<Vec<u32>> {
    let next: BTreeMap<u32, u32> = open_edges(&mesh.triangles).into_iter().collect();
    let (&first, _) = next.first_key_value()?;
    let mut around = vec![first];
    let mut at = *next.get(&first)?;
    while at != first {
        around.push(at);
        if around.len() > next.len() {
            return None;
        }
        at = *next.get(&at)?;
    }
    (around.len() == next.len()).then_some(around)
}

/// Triangles between two loops that run the same way round, shorter diagonal first.
fn strip(mesh: &mut Mesh, top: &[u32], bottom: &[u32]) {
    let p = |v: u32| mesh.positions[v as usize];
    let start = (0..bottom.len())
        .min_by(|&a, &b| {
            let d = |k: usize| p(bottom[k]).distance_squared(p(top[0]));
            d(a).total_cmp(&d(b))
        })
        .unwrap_or(0);
    let upper = |i: usize| top[i % top.len()];
    let lower = |k: usize| bottom[(start + k) % bottom.len()];
    let (mut i, mut k) = (0, 0);
    let mut made = Vec::with_capacity(top.len() + bottom.len());
    while i < top.len() || k < bottom.len() {
        let along_top = p(upper(i + 1)).distance_squared(p(lower(k)));
        let along_bottom = p(upper(i)).distance_squared(p(lower(k + 1)));
        let advance_top = k == bottom.len() || (i < top.len() && along_top <= along_bottom);
        if advance_top {
            made.push([upper(i + 1), upper(i), lower(k)]);
            i += 1;
        } else {
            made.push([upper(i), lower(k), lower(k + 1)]);
            k += 1;
        }
    }
    mesh.triangles.extend(made);
}
