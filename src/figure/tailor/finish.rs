//! From settled particles to a finished part: subdivision, relief, turned edges.

use super::sew::Sewn;
use crate::figure::sdf::Field;
use crate::figure::{Part, Role};
use glam::{DVec2, DVec3, Vec2, Vec3};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// The cloth's surface, vertices doubled at seams.
#[derive(Default, Clone)]
pub struct Surface {
    pub positions: Vec<DVec3>,
    pub normals: Vec<DVec3>,
    pub uvs: Vec<DVec2>,
    /// Panel of each vertex.
    pub panel: Vec<u32>,
    /// Particle of each vertex: equal on both sides of a seam.
    pub particle: Vec<u32>,
    /// 1 on a seam, fading to 0 within one edge.
    pub seam: Vec<f64>,
    pub triangles: Vec<[u32; 3]>,
    /// Edges on free sides: panel vertex pairs with the side's name.
    pub free: Vec<(&'static str, u32, u32)>,
}

/// A seam draws the cloth in and lifts it a little on both sides, in centimetres.
pub fn seam_relief(seam: f64) -> f64 {
    if seam > 0.75 {
        -0.09
    } else if seam > 0.25 {
        0.035
    } else {
        0.0
    }
}

/// So often triangles are moved out of a body at most.
const FACE_ROUNDS: usize = 6;

/// The push that takes the middle of a triangle and those of its edges out of `field` to `gap`; zero where they are out
/// of it, and none where they are so far out that its neighbours' pushes do not bring them in either.
fn out_of(field: &dyn Field, [a, b, c]: [DVec3; 3], gap: f64) -> Option<DVec3> {
    let middle = (a + b + c) / 3.0;
    let reach = (a.distance(middle))
        .max(b.distance(middle))
        .max(c.distance(middle));
    if field.distance(middle) > gap + reach {
        return None;
    }
    let places = [middle, 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)];
    let deepest = (places.into_iter().map(|p| (field.distance(p), p)))
        .min_by(|x, y| x.0.total_cmp(&y.0))
        .filter(|(d, _)| *d < gap);
    Some(deepest.map_or(DVec3::ZERO, |(d, p)| {
        let g = field.gradient(p, 0.1);
        g.normalize_or_zero() * ((gap - d) / g.length().max(0.6))
    }))
}

fn key(a: u32, b: u32) -> (u32, u32) {
    (a.min(b), a.max(b))
}

impl Surface {
    /// The sewn panels with particles at `positions`. Sides named in `free` are edges.
    pub fn new(sewn: &Sewn, positions: &[DVec3], free: &[&str]) -> Self {
        let mut out = Self::default();
        for (k, (panel, particles)) in sewn.panels.iter().zip(&sewn.particles).enumerate() {
            let base = out.positions.len() as u32;
            for (uv, &p) in panel.uvs.iter().zip(particles) {
                out.positions.push(positions[p as usize]);
                out.uvs.push(*uv);
                out.panel.push(k as u32);
                out.particle.push(p);
                out.seam
                    .push(if sewn.on_seam[p as usize] { 1.0 } else { 0.0 });
            }
            out.triangles
                .extend(panel.triangles.iter().map(|t| t.map(|v| v + base)));
            for (name, side) in &panel.sides {
                if free.contains(name) {
                    out.free
                        .extend(side.windows(2).map(|w| (*name, w[0] + base, w[1] + base)));
                }
            }
        }
        out.refresh();
        out
    }

    /// Smooth normals, the same on both sides of a seam.
    pub fn refresh(&mut self) {
        let count = self.particle.iter().max().map_or(0, |m| *m as usize + 1);
        let mut sum = vec![DVec3::ZERO; count];
        for t in &self.triangles {
            let [a, b, c] = t.map(|v| self.positions[v as usize]);
            let n = (b - a).cross(c - a);
            for v in t {
                sum[self.particle[*v as usize] as usize] += n;
            }
        }
        self.normals = self
            .particle
            .iter()
            .map(|p| sum[*p as usize].normalize_or_zero())
            .collect();
    }

    /// Vertices along the free sides of that name, joined over seams into one
    /// closed chain with the cloth on its left; `None` where it does not close.
    pub fn chain(&self, name: &str) -> Option<Vec<u32>> {
        let next: BTreeMap<u32, (u32, u32)> = self
            .free
            .iter()
            .filter(|e| e.0 == name)
            .map(|e| {
                (
                    self.particle[e.1 as usize],
                    (e.1, self.particle[e.2 as usize]),
                )
            })
            .collect();
        let first = *next.keys().next()?;
        let mut chain = Vec::new();
        let mut at = first;
        for _ in 0..next.len() {
            let (v, to) = *next.get(&at)?;
            chain.push(v);
            at = to;
        }
        (at == first).then_some(chain)
    }

    /// Moves every vertex out of its panel's field until it is `gap(vertex)` away.
    pub fn clear_of<F: Field>(&mut self, of_panel: &[F], gap: &(dyn Fn(usize) -> f64 + Sync)) {
        let panel = &self.panel;
        self.positions
            .par_iter_mut()
            .enumerate()
            .for_each(|(v, p)| {
                *p = super::bands::clear(&of_panel[panel[v] as usize], *p, gap(v));
            });
        self.refresh();
    }

    /// Moves triangles out whose middle or edges are nearer than `gap` centimetres to what their panel goes round: their
    /// corners may all lie outside of a pointed elbow that comes through between them.
    pub fn clear_faces<F: Field>(&mut self, of_panel: &[F], gap: f64) {
        let count = self.particle.iter().max().map_or(0, |m| *m as usize + 1);
        let mut watched = self.triangles.clone();
        for _ in 0..FACE_ROUNDS {
            let pushes: Vec<([u32; 3], DVec3)> = (watched.par_iter())
                .filter_map(|&t| {
                    let corners = t.map(|v| self.positions[v as usize]);
                    let field = &of_panel[self.panel[t[0] as usize] as usize];
                    Some((t, out_of(field, corners, gap)?))
                })
                .collect();
            let mut moves = vec![DVec3::ZERO; count];
            for (t, push) in &pushes {
                for v in t {
                    let by = &mut moves[self.particle[*v as usize] as usize];
                    if push.length_squared() > by.length_squared() {
                        *by = *push;
                    }
                }
            }
            if pushes.iter().all(|(_, push)| *push == DVec3::ZERO) {
                break;
            }
            for (x, p) in self.positions.iter_mut().zip(&self.particle) {
                *x += moves[*p as usize];
            }
            watched = pushes.into_iter().map(|(t, _)| t).collect();
        }
        self.refresh();
    }

    /// One round of Loop's subdivision (1987); free edges by the cubic curve rule.
    pub fn subdivided(&self) -> Self {
        let count = self.particle.iter().max().map_or(0, |m| *m as usize + 1);
        let (mut place, mut normal) = (vec![DVec3::ZERO; count], vec![DVec3::ZERO; count]);
        for (i, p) in self.particle.iter().enumerate() {
            place[*p as usize] = self.positions[i];
            normal[*p as usize] = self.normals[i];
        }
        // Only the part of the move that leaves the surface is taken: along it the
        // cloth, and with it the UVs, stay evenly spaced.
        let off = |from: DVec3, to: DVec3, n: DVec3| {
            let n = n.normalize_or_zero();
            from + n * n.dot(to - from)
        };
        // Particle edges with the particles across from them.
        let mut edges: BTreeMap<(u32, u32), Vec<u32>> = BTreeMap::new();
        for t in &self.triangles {
            let q = t.map(|v| self.particle[v as usize]);
            for k in 0..3 {
                edges
                    .entry(key(q[k], q[(k + 1) % 3]))
                    .or_default()
                    .push(q[(k + 2) % 3]);
            }
        }
        let mut ring = vec![(DVec3::ZERO, 0.0); count];
        let mut rim = vec![(DVec3::ZERO, 0.0); count];
        let mut middle: BTreeMap<(u32, u32), (u32, DVec3)> = BTreeMap::new();
        for (n, (&(a, b), across)) in edges.iter().enumerate() {
            let (pa, pb) = (place[a as usize], place[b as usize]);
            let m = if across.len() == 2 {
                let far = place[across[0] as usize] + place[across[1] as usize];
                let loose = 0.375 * (pa + pb) + 0.125 * far;
                off(
                    0.5 * (pa + pb),
                    loose,
                    normal[a as usize] + normal[b as usize],
                )
            } else {
                for (v, o) in [(a, pb), (b, pa)] {
                    rim[v as usize].0 += o;
                    rim[v as usize].1 += 1.0;
                }
                0.5 * (pa + pb)
            };
            for (v, o) in [(a, pb), (b, pa)] {
                ring[v as usize].0 += o;
                ring[v as usize].1 += 1.0;
            }
            middle.insert((a, b), ((count + n) as u32, m));
        }
        let smooth: Vec<DVec3> = (0..count)
            .map(|v| {
                let p = place[v];
                if rim[v].1 >= 2.0 {
                    0.75 * p + 0.25 * rim[v].0 / rim[v].1
                } else if ring[v].1 > 2.0 {
                    let n = ring[v].1;
                    let beta = if n > 3.5 { 0.375 / n } else { 0.1875 };
                    off(p, p * (1.0 - n * beta) + ring[v].0 * beta, normal[v])
                } else {
                    p
                }
            })
            .collect();
        let mut out = self.clone();
        for (x, p) in out.positions.iter_mut().zip(&self.particle) {
            *x = smooth[*p as usize];
        }
        out.triangles.clear();
        let mut split: BTreeMap<(u32, u32), u32> = BTreeMap::new();
        for t in &self.triangles {
            let m: [u32; 3] = std::array::from_fn(|k| {
                let (a, b) = (t[k], t[(k + 1) % 3]);
                *split.entry(key(a, b)).or_insert_with(|| {
                    let (id, at) =
                        middle[&key(self.particle[a as usize], self.particle[b as usize])];
                    out.positions.push(at);
                    out.uvs
                        .push(0.5 * (self.uvs[a as usize] + self.uvs[b as usize]));
                    out.panel.push(self.panel[a as usize]);
                    out.particle.push(id);
                    out.seam
                        .push(0.5 * (self.seam[a as usize] + self.seam[b as usize]));
                    (out.positions.len() - 1) as u32
                })
            });
            out.triangles.extend([
                [t[0], m[0], m[2]],
                [t[1], m[1], m[0]],
                [t[2], m[2], m[1]],
                m,
            ]);
        }
        out.free = self
            .free
            .iter()
            .flat_map(|&(name, a, b)| {
                let m = split[&key(a, b)];
                [(name, a, m), (name, m, b)]
            })
            .collect();
        out.refresh();
        out
    }

    /// Moves every vertex along its normal by `relief(vertex)` centimetres.
    pub fn raise(&mut self, relief: &dyn Fn(&Self, usize) -> f64) {
        // The mean on a seam, so that both sides stay together.
        let count = self.particle.iter().max().map_or(0, |m| *m as usize + 1);
        let mut sum = vec![(0.0, 0.0); count];
        for v in 0..self.positions.len() {
            let s = &mut sum[self.particle[v] as usize];
            s.0 += relief(self, v);
            s.1 += 1.0;
        }
        for v in 0..self.positions.len() {
            let (h, n) = sum[self.particle[v] as usize];
            self.positions[v] += self.normals[v] * (h / n);
        }
        self.refresh();
    }

    /// Distance in the flat from the free side of that name, up to `limit`; larger beyond.
    pub fn side_distance(&self, name: &str, limit: f64) -> Vec<f64> {
        self.nearest_on_side(name, limit)
            .iter()
            .map(|n| n.0)
            .collect()
    }

    /// For each vertex the distance in the flat to the free side of that name, and
    /// the place on it that is nearest.
    fn nearest_on_side(&self, name: &str, limit: f64) -> Vec<(f64, DVec2)> {
        let mut out = vec![(f64::INFINITY, DVec2::ZERO); self.positions.len()];
        let panels = self.panel.iter().max().map_or(0, |m| m + 1);
        for panel in 0..panels {
            let rim: Vec<(DVec2, DVec2)> = self
                .free
                .iter()
                .filter(|e| e.0 == name && self.panel[e.1 as usize] == panel)
                .map(|e| (self.uvs[e.1 as usize], self.uvs[e.2 as usize]))
                .collect();
            if rim.is_empty() {
                continue;
            }
            let lo = rim.iter().fold(rim[0].0, |m, e| m.min(e.0).min(e.1)) - limit;
            let hi = rim.iter().fold(rim[0].0, |m, e| m.max(e.0).max(e.1)) + limit;
            for (v, nearest) in out.iter_mut().enumerate() {
                let p = self.uvs[v];
                if self.panel[v] != panel || p.cmplt(lo).any() || p.cmpgt(hi).any() {
                    continue;
                }
                for (a, b) in &rim {
                    let d = *b - *a;
                    let t = ((p - *a).dot(d) / d.length_squared().max(1e-12)).clamp(0.0, 1.0);
                    let at = *a + d * t;
                    if at.distance(p) < nearest.0 {
                        *nearest = (at.distance(p), at);
                    }
                }
            }
        }
        out
    }

    /// Turns the free sides of that name under: a round edge `edge` thick and a
    /// facing `depth` wide inside. UVs run on past the edge.
    pub fn turn_under(&mut self, name: &str, edge: f64, depth: f64) {
        let near = self.nearest_on_side(name, depth);
        let rim: Vec<(u32, u32)> = self
            .free
            .iter()
            .filter(|e| e.0 == name)
            .map(|e| (e.1, e.2))
            .collect();
        let mut inner: BTreeMap<u32, u32> = BTreeMap::new();
        let mut round: BTreeMap<u32, u32> = BTreeMap::new();
        let before = self.triangles.len();
        // Direction out of the cloth at each rim vertex, the mean over its edges and seams.
        let mut out: BTreeMap<u32, DVec3> = BTreeMap::new();
        for &(a, b) in &rim {
            let along = self.positions[b as usize] - self.positions[a as usize];
            for v in [a, b] {
                let n = self.normals[v as usize];
                *out.entry(self.particle[v as usize]).or_default() += along.cross(n);
            }
        }
        for t in 0..before {
            let tri = self.triangles[t];
            if tri.iter().any(|&v| near[v as usize].0 > depth) {
                continue;
            }
            let copy = tri.map(|v| self.copied(v, &mut inner, edge, near[v as usize].1));
            self.triangles.push([copy[0], copy[2], copy[1]]);
        }
        for (a, b) in rim {
            let [ia, ib] = [a, b].map(|v| self.copied(v, &mut inner, edge, self.uvs[v as usize]));
            let [ra, rb] = [a, b].map(|v| {
                *round.entry(v).or_insert_with(|| {
                    let o = out[&self.particle[v as usize]].normalize_or_zero();
                    let i = v as usize;
                    self.push(
                        self.positions[i] + o * (0.45 * edge) - self.normals[i] * (0.5 * edge),
                        o,
                        v,
                    )
                })
            });
            // The cloth lies to the left of a→b; the turn lies to the right.
            self.triangles
                .extend([[a, ra, b], [b, ra, rb], [ra, ia, rb], [rb, ia, ib]]);
        }
    }

    fn copied(&mut self, v: u32, seen: &mut BTreeMap<u32, u32>, edge: f64, fold: DVec2) -> u32 {
        if let Some(&c) = seen.get(&v) {
            return c;
        }
        let i = v as usize;
        let c = self.push(
            self.positions[i] - self.normals[i] * edge,
            -self.normals[i],
            v,
        );
        // The cloth runs on past the fold.
        self.uvs[c as usize] = 2.0 * fold - self.uvs[i];
        seen.insert(v, c);
        c
    }

    fn push(&mut self, at: DVec3, normal: DVec3, like: u32) -> u32 {
        let i = like as usize;
        self.positions.push(at);
        self.normals.push(normal);
        self.uvs.push(self.uvs[i]);
        self.panel.push(self.panel[i]);
        self.particle.push(u32::MAX);
        self.seam.push(0.0);
        (self.positions.len() - 1) as u32
    }

    /// The finished part in metres; each panel's UVs stand clear of the others'.
    pub fn part(&self, name: &str) -> Part {
        let gap = 150.0;
        Part {
            name: name.into(),
            role: Role::Cloth,
            positions_m: self
                .positions
                .iter()
                .map(|p| (*p * 0.01).as_vec3())
                .collect(),
            normals: self
                .normals
                .iter()
                .map(|n| n.as_vec3().normalize_or(Vec3::Y))
                .collect(),
            uvs_cm: self
                .uvs
                .iter()
                .zip(&self.panel)
                .map(|(uv, p)| Vec2::new((uv.x + gap * f64::from(*p)) as f32, uv.y as f32))
                .collect(),
            triangles: self.triangles.clone(),
            paint: Vec::new(),
        }
    }
}
