//! From a draped sheet to a garment: seams, turned hems, faced edges, parts.

use super::panel::{Join, Sewn};
use super::spec::GarmentSpec;
use super::wear::Made;
use crate::figure::body::Body;
use crate::figure::cloth::Mechanics;
use crate::figure::sdf::Field;
use crate::figure::{Part, Role};
use glam::{DVec2, DVec3, dvec2};
use std::collections::BTreeMap;

/// How far from a seam its strip reaches, and where the ridge beside it lies, in centimetres.
const STRIP: [f64; 2] = [0.34, 0.13];

/// How an edge is worked: height of the cloth over its own plane at the edge and
/// on the ridge beside it, in centimetres.
fn profile(join: Join, thick: f64) -> [f64; 2] {
    match join {
        // A pressed seam: a fine valley between two soft ridges over the allowances.
        Join::Seam(_) => [-0.045 - 0.2 * thick, 0.012 + 0.25 * thick],
        // Two folded edges that meet over the teeth.
        Join::Zip(_) => [-0.10 - 0.3 * thick, 0.02 + 0.5 * thick],
        // Thread pulls the hem's two plies together.
        Join::Stitches(_) => [-0.035 - 0.2 * thick, 0.0],
        Join::Open => [0.0, 0.0],
    }
}

/// Works seams, hems and edges of a draped and pressed garment and makes its part.
pub fn finish(
    spec: &GarmentSpec,
    sewn: &Sewn,
    fabric: &Mechanics,
    body: &Body,
    hems: Vec<u32>,
) -> Made {
    let thick = (0.1 * fabric.thickness_mm).clamp(0.02, 0.2);
    let mut work = Work::new(sewn);
    let mesh = &sewn.mesh;
    let normals = vertex_normals(&mesh.positions, &mesh.triangles);
    // Corners on an edge are drawn in; strips fill the gap.
    for (t, v) in mesh.triangles.iter().enumerate() {
        let g = mesh.group[t];
        let tri = [0, 1, 2].map(|k| work.inner(v[k], g, mesh.flat[t][k]));
        work.triangles.push(tri);
        work.group.push(g);
    }
    let edges = work.edges.clone();
    for (&(a, b), &(g, join, t)) in &edges {
        let flat_of = |v: u32| {
            let k = mesh.triangles[t].iter().position(|&w| w == v).unwrap_or(0);
            mesh.flat[t][k]
        };
        let rows =
            [a, b].map(|v| work.strip(v, g, flat_of(v), profile(join, thick), normals[v as usize]));
        let [[a0, a1, a2], [b0, b1, b2]] = rows;
        work.quad([b0, a0, a1, b1], g);
        work.quad([b1, a1, a2, b2], g);
        if join == Join::Open {
            work.rims.push((a2, b2));
        }
    }
    work.face_edges(&hems, thick);
    for p in &mut work.positions {
        *p = pushed_out(body, *p, 0.04);
    }
    let stretch = measured(sewn);
    let (range, median) = hem_heights(sewn, &hems);
    let positions_m: Vec<_> = work
        .positions
        .iter()
        .map(|p| (*p * 0.01).as_vec3())
        .collect();
    let normals: Vec<_> = vertex_normals(&work.positions, &work.triangles)
        .iter()
        .map(|n| n.as_vec3())
        .collect();
    let name = if spec.bodice.is_some() || spec.slip.is_some() || spec.shift.is_some() {
        "dress"
    } else {
        "skirt"
    };
    Made {
        parts: vec![Part {
            paint: Vec::new(),
            name: name.into(),
            role: Role::Cloth,
            positions_m,
            normals,
            uvs_cm: work.uvs.iter().map(|t| t.as_vec2()).collect(),
            triangles: work.triangles,
        }],
        hem_height_cm: median,
        hem_range_cm: range,
        stretch,
    }
}

/// An edge of a piece, by its directed vertices: piece, what it is sewn to, and
/// the triangle to its left.
type Edges = BTreeMap<(u32, u32), (u32, Join, usize)>;

struct Work<'a> {
    sewn: &'a Sewn,
    edges: Edges,
    /// Unit direction into the piece at an edge vertex, in the flat, and the
    /// factor by which a corner is drawn in further.
    into: BTreeMap<(u32, u32, [i64; 2]), DVec2>,
    fan: Vec<Vec<u32>>,
    made: BTreeMap<(u32, u32, [i64; 2], u8), u32>,
    positions: Vec<DVec3>,
    uvs: Vec<DVec2>,
    triangles: Vec<[u32; 3]>,
    group: Vec<u32>,
    /// Outer edges of open strips, with the cloth on their left.
    rims: Vec<(u32, u32)>,
}

fn key(q: DVec2) -> [i64; 2] {
    [(q.x * 1e4).round() as i64, (q.y * 1e4).round() as i64]
}

impl<'a> Work<'a> {
    fn new(sewn: &'a Sewn) -> Self {
        let mesh = &sewn.mesh;
        // Directed edges with their flat ends, to tell a seam within one piece
        // from its inside.
        let mut twin: BTreeMap<(u32, u32), (usize, usize)> = BTreeMap::new();
        for (t, v) in mesh.triangles.iter().enumerate() {
            for k in 0..3 {
                twin.insert((v[k], v[(k + 1) % 3]), (t, k));
            }
        }
        let mut edges = Edges::new();
        for (&(a, b), &(t, _)) in &twin {
            let g = mesh.group[t];
            let join = match twin.get(&(b, a)) {
                None => Some(Join::Open),
                Some(&(s, _)) if mesh.group[s] != g => {
                    let h = mesh.group[s];
                    sewn.joins.get(&(g.min(h), g.max(h))).copied()
                }
                Some(_) => None,
            };
            if let Some(join) = join {
                edges.insert((a, b), (g, join, t));
            }
        }
        let mut into: BTreeMap<(u32, u32, [i64; 2]), DVec2> = BTreeMap::new();
        let mut count: BTreeMap<(u32, u32, [i64; 2]), Vec<DVec2>> = BTreeMap::new();
        for (&(a, b), &(g, _, t)) in &edges {
            let v = mesh.triangles[t];
            let k = v.iter().position(|&w| w == a).unwrap_or(0);
            let (p, q) = (mesh.flat[t][k], mesh.flat[t][(k + 1) % 3]);
            let inward = (q - p).perp().normalize_or_zero();
            for (w, at) in [(a, p), (b, q)] {
                count.entry((w, g, key(at))).or_default().push(inward);
            }
        }
        for (at, all) in count {
            let sum: DVec2 = all.iter().copied().sum();
            // Mitre: each edge is left by the full strip; very sharp corners by less.
            let mitre = sum * (all.len() as f64 / sum.length_squared().max(0.5)).min(1.6);
            into.insert(at, mitre);
        }
        let mut fan = vec![Vec::new(); mesh.positions.len()];
        for (t, v) in mesh.triangles.iter().enumerate() {
            for &i in v {
                fan[i as usize].push(t as u32);
            }
        }
        Self {
            sewn,
            edges,
            into,
            fan,
            made: BTreeMap::new(),
            positions: Vec::new(),
            uvs: Vec::new(),
            triangles: Vec::new(),
            group: Vec::new(),
            rims: Vec::new(),
        }
    }

    /// The vertex that the piece's own triangles use: drawn in at edges.
    fn inner(&mut self, v: u32, g: u32, q: DVec2) -> u32 {
        let off = self
            .into
            .get(&(v, g, key(q)))
            .map_or(DVec2::ZERO, |d| *d * STRIP[0]);
        self.vertex(v, g, q, off, DVec3::ZERO, 0)
    }

    /// Vertices across a strip: inner rim, ridge, edge.
    fn strip(&mut self, v: u32, g: u32, q: DVec2, lift: [f64; 2], n: DVec3) -> [u32; 3] {
        let into = self.into.get(&(v, g, key(q))).copied().unwrap_or_default();
        let [edge, ridge] = lift;
        [
            self.inner(v, g, q),
            self.vertex(v, g, q, into * STRIP[1], n * ridge, 1),
            self.vertex(v, g, q, DVec2::ZERO, n * edge, 2),
        ]
    }

    fn vertex(&mut self, v: u32, g: u32, q: DVec2, off: DVec2, lift: DVec3, kind: u8) -> u32 {
        // At a corner of two kinds of edge the first one made stands for both.
        let at = (v, g, key(q), kind);
        if let Some(&i) = self.made.get(&at) {
            return i;
        }
        let place = self.sewn.mesh.positions[v as usize] + self.moved(v, g, q, off) + lift;
        let i = self.push(place, q + off);
        self.made.insert(at, i);
        i
    }

    fn push(&mut self, p: DVec3, uv: DVec2) -> u32 {
        self.positions.push(p);
        self.uvs.push(uv);
        self.positions.len() as u32 - 1
    }

    /// The step in space that a flat step at a vertex of a piece makes.
    fn moved(&self, v: u32, g: u32, q: DVec2, off: DVec2) -> DVec3 {
        if off == DVec2::ZERO {
            return DVec3::ZERO;
        }
        let mesh = &self.sewn.mesh;
        let mut best = (f64::NEG_INFINITY, DVec3::ZERO);
        for &t in &self.fan[v as usize] {
            let t = t as usize;
            if mesh.group[t] != g {
                continue;
            }
            let k = mesh.triangles[t].iter().position(|&w| w == v).unwrap_or(0);
            if key(mesh.flat[t][k]) != key(q) {
                continue;
            }
            let (i, j) = ((k + 1) % 3, (k + 2) % 3);
            let (e, f) = (mesh.flat[t][i] - q, mesh.flat[t][j] - q);
            let at = |k: usize| mesh.positions[mesh.triangles[t][k] as usize];
            let (pe, pf) = (at(i) - at(k), at(j) - at(k));
            let det = e.perp_dot(f);
            if det.abs() < 1e-9 {
                continue;
            }
            let (u, w) = (off.perp_dot(f) / det, e.perp_dot(off) / det);
            // The triangle that the step leads into.
            let fit = u.min(w);
            if fit > best.0 {
                best = (fit, pe * u + pf * w);
            }
        }
        best.1
    }

    /// Two triangles, cut along the shorter diagonal.
    fn quad(&mut self, q: [u32; 4], g: u32) {
        let p = q.map(|v| self.positions[v as usize]);
        let both = if p[0].distance_squared(p[2]) <= p[1].distance_squared(p[3]) {
            [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]
        } else {
            [[q[0], q[1], q[3]], [q[1], q[2], q[3]]]
        };
        for t in both {
            if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
                self.triangles.push(t);
                self.group.push(g);
            }
        }
    }

    /// Gives open edges a rounded rim and an inner ply: the whole turned hem, or
    /// a facing a few triangles deep.
    fn face_edges(&mut self, hems: &[u32], thick: f64) {
        let depth = (1.6 * thick).clamp(0.07, 0.26);
        let n = self.positions.len();
        let normals = vertex_normals(&self.positions, &self.triangles);
        let mut near = vec![false; n];
        for &(a, b) in &self.rims {
            near[a as usize] = true;
            near[b as usize] = true;
        }
        // Facings grow from the rim inward, three rows of triangles.
        for _ in 0..3 {
            let before = near.clone();
            for t in &self.triangles {
                if t.iter().any(|&v| before[v as usize]) {
                    for &v in t {
                        near[v as usize] = true;
                    }
                }
            }
        }
        let inner: Vec<[u32; 3]> = self
            .triangles
            .iter()
            .zip(&self.group)
            .filter(|(t, g)| hems.contains(g) || t.iter().all(|&v| near[v as usize]))
            .map(|(t, _)| *t)
            .collect();
        let mut below = vec![u32::MAX; n];
        let rims = self.rims.clone();
        for &v in inner
            .iter()
            .flatten()
            .chain(rims.iter().flat_map(|(a, b)| [a, b]))
        {
            if below[v as usize] == u32::MAX {
                let p = self.positions[v as usize] - normals[v as usize] * depth;
                let uv = self.uvs[v as usize];
                below[v as usize] = self.push(p, dvec2(-uv.x, uv.y));
            }
        }
        for t in inner {
            let [a, b, c] = t.map(|v| below[v as usize]);
            self.triangles.push([a, c, b]);
        }
        // Out direction along the rim: across the cloth, away from it.
        let mut out = vec![DVec3::ZERO; n];
        for &(a, b) in &rims {
            let along = self.positions[b as usize] - self.positions[a as usize];
            for v in [a, b] {
                out[v as usize] += along.cross(normals[v as usize]).normalize_or_zero();
            }
        }
        let mut round: BTreeMap<u32, [u32; 4]> = BTreeMap::new();
        for &(a, b) in &rims {
            for v in [a, b] {
                if round.contains_key(&v) {
                    continue;
                }
                let (p, n, uv) = (
                    self.positions[v as usize],
                    normals[v as usize],
                    self.uvs[v as usize],
                );
                let o = out[v as usize].normalize_or_zero() * (0.35 * depth);
                let inside = self.positions[below[v as usize] as usize];
                let row = [
                    v,
                    self.push(p - n * (0.18 * depth) + o, uv),
                    self.push(p - n * (0.82 * depth) + o, uv),
                    // The inner ply's map runs the other way: a vertex of its own.
                    self.push(inside, uv),
                ];
                round.insert(v, row);
            }
        }
        for (a, b) in rims {
            let (ra, rb) = (round[&a], round[&b]);
            for k in 0..3 {
                self.quad([rb[k], ra[k], ra[k + 1], rb[k + 1]], u32::MAX);
            }
        }
    }
}

/// Unit normals by the areas round each vertex.
pub fn vertex_normals(positions: &[DVec3], triangles: &[[u32; 3]]) -> Vec<DVec3> {
    let mut sum = vec![DVec3::ZERO; positions.len()];
    for t in triangles {
        let p = t.map(|v| positions[v as usize]);
        let n = (p[1] - p[0]).cross(p[2] - p[0]);
        for &v in t {
            sum[v as usize] += n;
        }
    }
    sum.iter().map(|n| n.normalize_or(DVec3::Y)).collect()
}

/// All that hanging cloth lies on: the body without arms, shoes, seat and floor.
struct Ground<'a>(&'a Body);

impl Field for Ground<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        let d = self.0.trunk_and_legs(p).min(p.y);
        let d = self.0.seat().map_or(d, |s| d.min(s.distance(p)));
        let shoes = self.0.shoes().filter(|_| p.y < 25.0);
        shoes.map_or(d, |s| d.min(s.distance(p)))
    }
}

fn pushed_out(body: &Body, mut p: DVec3, gap: f64) -> DVec3 {
    let ground = Ground(body);
    for _ in 0..6 {
        let d = ground.distance(p);
        if d >= gap {
            break;
        }
        let g = ground.gradient(p, 0.02);
        p += g.normalize_or_zero() * (gap - d) / g.length().max(0.5);
    }
    p
}

/// Mean stretch along weft and warp, and the share of area over 3 % in either.
fn measured(sewn: &Sewn) -> [f64; 3] {
    let mesh = &sewn.mesh;
    let (mut sum, mut area) = ([0.0; 3], 0.0);
    for (t, v) in mesh.triangles.iter().enumerate() {
        let q = mesh.flat[t];
        let p = v.map(|i| mesh.positions[i as usize]);
        let (a, b) = (q[1] - q[0], q[2] - q[0]);
        let det = a.perp_dot(b);
        if det.abs() < 1e-6 {
            continue;
        }
        let (e, f) = (p[1] - p[0], p[2] - p[0]);
        let weft = ((e * b.y - f * a.y) / det).length();
        let warp = ((f * a.x - e * b.x) / det).length();
        let w = 0.5 * det.abs();
        area += w;
        sum[0] += w * weft;
        sum[1] += w * warp;
        if weft.max(warp) > 1.03 {
            sum[2] += w;
        }
    }
    sum.map(|s| s / area.max(1e-9))
}

fn hem_heights(sewn: &Sewn, hems: &[u32]) -> ([f64; 2], f64) {
    let mesh = &sewn.mesh;
    let mut count: BTreeMap<(u32, u32), i32> = BTreeMap::new();
    for (t, v) in mesh.triangles.iter().enumerate() {
        if hems.contains(&mesh.group[t]) {
            for k in 0..3 {
                let (a, b) = (v[k], v[(k + 1) % 3]);
                *count.entry((a.min(b), a.max(b))).or_default() += 1;
            }
        }
    }
    // Edges of the turned hem that nothing hangs on: drop those sewn to the gore.
    let mut all: BTreeMap<(u32, u32), i32> = BTreeMap::new();
    for v in &mesh.triangles {
        for k in 0..3 {
            let (a, b) = (v[k], v[(k + 1) % 3]);
            *all.entry((a.min(b), a.max(b))).or_default() += 1;
        }
    }
    let mut heights: Vec<f64> = count
        .keys()
        .filter(|e| all[e] == 1)
        .map(|&(a, _)| mesh.positions[a as usize].y)
        .collect();
    heights.sort_by(f64::total_cmp);
    match heights.len() {
        0 => ([0.0; 2], 0.0),
        n => ([heights[0], heights[n - 1]], heights[n / 2]),
    }
}
