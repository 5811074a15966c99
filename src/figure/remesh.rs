//! Even triangles of a wanted size, on the surface of a field.
//!
//! Rounds of split, collapse, flip and relax (after Botsch and Kobbelt 2004),
//! each vertex put back onto the zero set after it moved. A closed two-manifold
//! stays one: a collapse must pass the link condition and may flip no triangle.

use super::sdf::Field;
use super::surface::Mesh;
use glam::DVec3;
use rayon::prelude::*;
use std::collections::{HashMap, HashSet};

/// Wanted edge length at a place, in the field's unit.
pub type Size<'a> = &'a (dyn Fn(DVec3) -> f64 + Sync);

/// Remeshes `mesh` to the wanted size in `rounds` rounds.
pub fn remesh(mesh: &mut Mesh, field: &dyn Field, size: Size, rounds: usize) {
    for round in 0..rounds {
        let mut sizes = sizes_of(mesh, size);
        split_long(mesh, &mut sizes, field, size);
        for _ in 0..24 {
            let before = mesh.triangles.len();
            let removed = collapse_short(mesh, &mut sizes);
            if removed * 200 < before {
                break;
            }
        }
        flip(mesh);
        let steps = if round + 1 == rounds { 2 } else { 1 };
        relax(mesh, &sizes, field, steps);
    }
}

fn sizes_of(mesh: &Mesh, size: Size) -> Vec<f64> {
    mesh.positions.par_iter().map(|&p| size(p)).collect()
}

fn key(a: u32, b: u32) -> u64 {
    u64::from(a.min(b)) << 32 | u64::from(a.max(b))
}

fn split_long(mesh: &mut Mesh, sizes: &mut Vec<f64>, field: &dyn Field, size: Size) {
    let mut middle: HashMap<u64, u32> = HashMap::new();
    let first_new = mesh.positions.len();
    for t in &mesh.triangles {
        for s in 0..3 {
            let (a, b) = (t[s], t[(s + 1) % 3]);
            let (pa, pb) = (mesh.positions[a as usize], mesh.positions[b as usize]);
            let wanted = sizes[a as usize].min(sizes[b as usize]);
            if pa.distance(pb) > 4.0 / 3.0 * wanted && !middle.contains_key(&key(a, b)) {
                middle.insert(key(a, b), mesh.positions.len() as u32);
                mesh.positions.push(0.5 * (pa + pb));
            }
        }
    }
    let added: Vec<f64> = mesh.positions[first_new..]
        .par_iter_mut()
        .map(|p| {
            let wanted = size(*p);
            *p = field.project(*p, 0.05 * wanted.min(1.0), 1);
            wanted
        })
        .collect();
    sizes.extend(added);
    let mut out = Vec::with_capacity(mesh.triangles.len() * 2);
    for &[a, b, c] in &mesh.triangles {
        let m = [(a, b), (b, c), (c, a)].map(|(p, q)| middle.get(&key(p, q)).copied());
        // Turn the triangle so that its cut edges come first.
        let (v, m) = match m {
            [Some(_), None, None] | [Some(_), Some(_), None] | [None, None, None] => ([a, b, c], m),
            [None, Some(_), None] | [None, Some(_), Some(_)] => ([b, c, a], [m[1], m[2], m[0]]),
            [None, None, Some(_)] | [Some(_), None, Some(_)] => ([c, a, b], [m[2], m[0], m[1]]),
            [Some(_), Some(_), Some(_)] => ([a, b, c], m),
        };
        match m {
            [Some(p), Some(q), Some(r)] => {
                out.extend([[v[0], p, r], [p, v[1], q], [r, q, v[2]], [p, q, r]]);
            }
            [Some(p), Some(q), None] => out.extend([[v[0], p, q], [p, v[1], q], [v[0], q, v[2]]]),
            [Some(p), None, None] => out.extend([[v[0], p, v[2]], [p, v[1], v[2]]]),
            _ => out.push(v),
        }
    }
    mesh.triangles = out;
}

/// Triangles around each vertex, in compressed rows.
struct Fans {
    start: Vec<u32>,
    items: Vec<u32>,
}

impl Fans {
    fn new(mesh: &Mesh) -> Self {
        let mut start = vec![0_u32; mesh.positions.len() + 1];
        for v in mesh.triangles.iter().flatten() {
            start[*v as usize + 1] += 1;
        }
        for i in 1..start.len() {
            start[i] += start[i - 1];
        }
        let mut fill = start.clone();
        let mut items = vec![0; mesh.triangles.len() * 3];
        for (t, tri) in mesh.triangles.iter().enumerate() {
            for v in tri {
                items[fill[*v as usize] as usize] = t as u32;
                fill[*v as usize] += 1;
            }
        }
        Self { start, items }
    }

    fn of(&self, v: u32) -> &[u32] {
        &self.items[self.start[v as usize] as usize..self.start[v as usize + 1] as usize]
    }
}

fn neighbours(mesh: &Mesh, fans: &Fans, v: u32, out: &mut Vec<u32>) {
    out.clear();
    for &t in fans.of(v) {
        out.extend(mesh.triangles[t as usize].iter().filter(|&&w| w != v));
    }
    out.sort_unstable();
    out.dedup();
}

fn normal(p: [DVec3; 3]) -> DVec3 {
    (p[1] - p[0]).cross(p[2] - p[0])
}

/// Collapses an independent set of short edges; returns how many.
fn collapse_short(mesh: &mut Mesh, sizes: &mut Vec<f64>) -> usize {
    let fans = Fans::new(mesh);
    let mut short: Vec<(f64, u32, u32)> = Vec::new();
    for t in &mesh.triangles {
        for s in 0..3 {
            let (a, b) = (t[s], t[(s + 1) % 3]);
            if a < b {
                let l = mesh.positions[a as usize].distance(mesh.positions[b as usize]);
                let r = l / (0.5 * (sizes[a as usize] + sizes[b as usize]));
                if r < 0.75 {
                    short.push((r, a, b));
                }
            }
        }
    }
    short.sort_by(|x, y| x.0.total_cmp(&y.0).then((x.1, x.2).cmp(&(y.1, y.2))));
    let mut locked = vec![false; mesh.positions.len()];
    let mut merged: Vec<u32> = (0..mesh.positions.len() as u32).collect();
    let (mut ring_a, mut ring_b) = (Vec::new(), Vec::new());
    let mut count = 0;
    for (_, a, b) in short {
        if locked[a as usize] || locked[b as usize] {
            continue;
        }
        neighbours(mesh, &fans, a, &mut ring_a);
        neighbours(mesh, &fans, b, &mut ring_b);
        if ring_a.iter().chain(&ring_b).any(|&v| locked[v as usize]) {
            continue;
        }
        let shared = ring_a
            .iter()
            .filter(|v| ring_b.binary_search(v).is_ok())
            .count();
        if shared != 2 || ring_a.len() + ring_b.len() < 10 || ring_a.len() + ring_b.len() > 18 {
            continue;
        }
        let to = 0.5 * (mesh.positions[a as usize] + mesh.positions[b as usize]);
        let wanted = 0.5 * (sizes[a as usize] + sizes[b as usize]);
        let too_long = ring_a
            .iter()
            .chain(&ring_b)
            .any(|&v| v != a && v != b && mesh.positions[v as usize].distance(to) > 1.4 * wanted);
        if too_long || turns_over(mesh, &fans, a, b, to) {
            continue;
        }
        mesh.positions[a as usize] = to;
        merged[b as usize] = a;
        for &v in ring_a.iter().chain(&ring_b) {
            locked[v as usize] = true;
        }
        locked[a as usize] = true;
        locked[b as usize] = true;
        count += 1;
    }
    if count > 0 {
        apply_merge(mesh, sizes, &merged);
    }
    count
}

fn turns_over(mesh: &Mesh, fans: &Fans, a: u32, b: u32, to: DVec3) -> bool {
    for (moved, other) in [(a, b), (b, a)] {
        for &t in fans.of(moved) {
            let tri = mesh.triangles[t as usize];
            if tri.contains(&other) {
                continue;
            }
            let old = tri.map(|v| mesh.positions[v as usize]);
            let new = tri.map(|v| {
                if v == moved {
                    to
                } else {
                    mesh.positions[v as usize]
                }
            });
            let (n0, n1) = (normal(old), normal(new));
            if n1.length() < 1e-12 || n0.normalize_or_zero().dot(n1.normalize_or_zero()) < 0.5 {
                return true;
            }
        }
    }
    false
}

fn apply_merge(mesh: &mut Mesh, sizes: &mut Vec<f64>, merged: &[u32]) {
    for t in &mut mesh.triangles {
        *t = t.map(|v| merged[v as usize]);
    }
    mesh.triangles
        .retain(|t| t[0] != t[1] && t[1] != t[2] && t[2] != t[0]);
    let mut new_index = vec![u32::MAX; mesh.positions.len()];
    let (mut positions, mut kept) = (Vec::new(), Vec::new());
    for (v, m) in merged.iter().enumerate() {
        if *m as usize == v {
            new_index[v] = positions.len() as u32;
            positions.push(mesh.positions[v]);
            kept.push(sizes[v]);
        }
    }
    for t in &mut mesh.triangles {
        *t = t.map(|v| new_index[v as usize]);
    }
    mesh.positions = positions;
    *sizes = kept;
}

/// Flips edges towards six neighbours a vertex.
fn flip(mesh: &mut Mesh) {
    let mut valence = vec![0_i32; mesh.positions.len()];
    let mut sides: HashMap<u64, [u32; 2]> = HashMap::new();
    let mut edges: HashSet<u64> = HashSet::new();
    let mut order = Vec::new();
    for (t, tri) in mesh.triangles.iter().enumerate() {
        for s in 0..3 {
            let (a, b) = (tri[s], tri[(s + 1) % 3]);
            valence[a as usize] += 1;
            let entry = sides.entry(key(a, b)).or_insert([u32::MAX; 2]);
            if entry[0] == u32::MAX {
                entry[0] = t as u32;
                order.push(key(a, b));
            } else {
                entry[1] = t as u32;
            }
            edges.insert(key(a, b));
        }
    }
    let mut locked = vec![false; mesh.triangles.len()];
    for e in order {
        let [t0, t1] = sides[&e];
        if t1 == u32::MAX || locked[t0 as usize] || locked[t1 as usize] {
            continue;
        }
        let tri = mesh.triangles[t0 as usize];
        let Some(s) = (0..3).find(|&s| key(tri[s], tri[(s + 1) % 3]) == e) else {
            continue;
        };
        let (a, b, c) = (tri[s], tri[(s + 1) % 3], tri[(s + 2) % 3]);
        let Some(&d) = mesh.triangles[t1 as usize]
            .iter()
            .find(|&&v| v != a && v != b)
        else {
            continue;
        };
        if c == d || edges.contains(&key(c, d)) {
            continue;
        }
        let off = |v: u32, change: i32| (valence[v as usize] + change - 6).pow(2);
        let gain = off(a, 0) + off(b, 0) + off(c, 0) + off(d, 0)
            - off(a, -1)
            - off(b, -1)
            - off(c, 1)
            - off(d, 1);
        let p = |v: u32| mesh.positions[v as usize];
        let (n0, n1) = (normal([p(a), p(b), p(c)]), normal([p(b), p(a), p(d)]));
        let (m0, m1) = (normal([p(a), p(d), p(c)]), normal([p(d), p(b), p(c)]));
        let mean = (n0 + n1).normalize_or_zero();
        let fair = |m: DVec3| {
            m.length() > 0.2 * n0.length().min(n1.length()) && m.normalize_or_zero().dot(mean) > 0.7
        };
        if gain <= 0 || !fair(m0) || !fair(m1) {
            continue;
        }
        mesh.triangles[t0 as usize] = [a, d, c];
        mesh.triangles[t1 as usize] = [d, b, c];
        locked[t0 as usize] = true;
        locked[t1 as usize] = true;
        edges.remove(&e);
        edges.insert(key(c, d));
        for (v, change) in [(a, -1), (b, -1), (c, 1), (d, 1)] {
            valence[v as usize] += change;
        }
    }
}

/// Moves each vertex towards its neighbours along the surface, then onto it.
fn relax(mesh: &mut Mesh, sizes: &[f64], field: &dyn Field, steps: usize) {
    for _ in 0..2 {
        let fans = Fans::new(mesh);
        let moved: Vec<DVec3> = (0..mesh.positions.len() as u32)
            .into_par_iter()
            .map(|v| {
                let p = mesh.positions[v as usize];
                let mut ring = Vec::new();
                neighbours(mesh, &fans, v, &mut ring);
                let (mut sum, mut weight) = (DVec3::ZERO, 0.0);
                for &w in &ring {
                    // Equal pull from each side once sizes are as wanted.
                    let f = 1.0 / sizes[w as usize];
                    sum += mesh.positions[w as usize] * f;
                    weight += f;
                }
                if weight == 0.0 {
                    return p;
                }
                let e = 0.05 * sizes[v as usize];
                let n = field.gradient(p, e).normalize_or_zero();
                let shift = sum / weight - p;
                field.project(p + 0.6 * (shift - n * shift.dot(n)), e, steps)
            })
            .collect();
        mesh.positions = moved;
    }
}
