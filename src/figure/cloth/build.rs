//! From a mesh and a fabric to particles, blocks and sweeps.

use super::strut::{Strut, across_edges};
use super::{Cloth, ClothMesh, Mechanics, face::Faces, touch::Touch};
use glam::{DVec2, DVec3};
use std::collections::BTreeMap;

/// Newtons a metre in dynes a centimetre.
const DYN_CM: f64 = 1e3;
/// Micronewton metres in dyne centimetres.
const DYNE_CM: f64 = 10.0;
/// How much softer cloth is in compression than in tension: yarns bow out of the
/// plane at a scale below the mesh.
const COMPRESSED: f64 = 6.0;

/// Against the hinge energy of an ideal mesh: makes Peirce's cantilever come out
/// right on the meshes used here (between 1 for planar quads and 3 for one fold
/// direction only).
const CALIBRATED: f64 = 1.4;

/// One triangle's resistance in its plane.
#[derive(Debug, Clone)]
pub(super) struct Tri {
    pub v: [u32; 3],
    /// How the stretched warp and weft directions follow each corner:
    /// weft in x, warp in y.
    pub g: [DVec2; 3],
    /// Σ w g gᵀ as (xx, xy, yy), where w is inverse inertia.
    pub h: [f64; 3],
    /// Compliance of weft, warp and shear, in units of one over dyne centimetres.
    pub compliance: [f64; 3],
    /// Multipliers, in gram square centimetres.
    pub lambda: [f64; 3],
}

/// A link during sweeps.
#[derive(Debug, Clone)]
pub(super) struct Held {
    pub a: u32,
    pub b: u32,
    pub rest: f64,
    pub compliance: f64,
    pub slack: bool,
    pub lambda: f64,
}

/// What is swept in order by one thread.
#[derive(Debug, Clone, Default)]
pub(super) struct Sweep {
    pub triangles: Vec<Tri>,
    pub links: Vec<Held>,
    pub struts: Vec<Strut>,
}

/// A run of particles and what lies wholly within it; indices count from `first`.
#[derive(Debug, Clone, Default)]
pub(super) struct Block {
    pub first: usize,
    pub count: usize,
    pub sweep: Sweep,
}

/// The bending matrix, row by row.
#[derive(Debug, Clone, Default)]
pub(super) struct Rows {
    pub start: Vec<u32>,
    pub entries: Vec<(u32, f64)>,
    /// Sum of absolute entries: a bound on the row's stiffness.
    pub bound: Vec<f64>,
}

impl Cloth {
    /// Particles of `mesh` made of that fabric, at rest where they are.
    ///
    /// Triangles whose flat corners enclose no area carry nothing.
    pub fn new(mesh: &ClothMesh, fabric: &Mechanics) -> Self {
        let order = sorted_into_blocks(&mesh.positions);
        let mut particle = vec![0_u32; order.vertex.len()];
        for (i, &v) in order.vertex.iter().enumerate() {
            particle[v as usize] = i as u32;
        }
        let n = particle.len();
        let triangles: Vec<[u32; 3]> = mesh
            .triangles
            .iter()
            .map(|t| t.map(|v| particle[v as usize]))
            .collect();
        let plies = |t: usize| {
            let group = mesh.group.get(t).map_or(0, |&g| g as usize);
            mesh.plies.get(group).copied().unwrap_or(1.0)
        };
        let (mut mass, mut area) = (vec![0.0; n], vec![0.0; n]);
        for (t, v) in triangles.iter().enumerate() {
            let third = flat_area(&mesh.flat[t]) / 3.0;
            for &i in v {
                area[i as usize] += third;
                mass[i as usize] += third * fabric.weight_g_m2 * 1e-4 * plies(t);
            }
        }
        let x: Vec<DVec3> = order
            .vertex
            .iter()
            .map(|&v| mesh.positions[v as usize])
            .collect();
        let mut cloth = Self {
            v: vec![DVec3::ZERO; n],
            old: x.clone(),
            seen: x.clone(),
            clear: vec![0.0; n],
            normal: vec![DVec3::ZERO; n],
            inverse: mass.iter().map(|m| 1.0 / m.max(1e-9)).collect(),
            rows: bending_rows(mesh, &triangles, fabric, &plies),
            blocks: order.blocks,
            border: Sweep::default(),
            touch: Touch::new(n, &triangles),
            faces: Faces::default(),
            drag: fabric.drag,
            against: (order.vertex.iter())
                .map(|&v| mesh.against.get(v as usize).copied().unwrap_or(0))
                .collect(),
            slow: order
                .vertex
                .iter()
                .map(|&v| {
                    mesh.inertia
                        .get(v as usize)
                        .copied()
                        .unwrap_or(1.0)
                        .max(1.0)
                })
                .collect(),
            substep_s: 0.0,
            vertex: order.vertex,
            x,
            mass,
            area,
            triangles,
        };
        for (i, &v) in cloth.vertex.iter().enumerate() {
            if mesh.pinned.get(v as usize).copied().unwrap_or(false) {
                cloth.inverse[i] = 0.0;
            }
        }
        cloth.share_out(mesh, fabric, &plies, &particle);
        cloth
    }

    /// Gives every triangle and link to the block it lies in, or to the border.
    fn share_out(
        &mut self,
        mesh: &ClothMesh,
        fabric: &Mechanics,
        plies: &dyn Fn(usize) -> f64,
        particle: &[u32],
    ) {
        let block_of = |i: u32| {
            self.blocks
                .partition_point(|b| b.first + b.count <= i as usize)
        };
        // From the top down: one sweep then carries the weight from where it hangs.
        let height = |t: &[u32; 3]| t.iter().map(|&i| self.x[i as usize].y).sum::<f64>();
        let mut down: Vec<usize> = (0..self.triangles.len()).collect();
        down.sort_by(|&a, &b| {
            height(&self.triangles[b])
                .total_cmp(&height(&self.triangles[a]))
                .then(a.cmp(&b))
        });
        let mut shares: Vec<Sweep> = vec![Sweep::default(); self.blocks.len()];
        let mut border = Sweep::default();
        for t in down {
            let v = self.triangles[t];
            let Some(mut tri) = resistance(v, &mesh.flat[t], fabric, plies(t)) else {
                continue;
            };
            let b = v.map(block_of);
            if b[0] == b[1] && b[1] == b[2] {
                tri.v = v.map(|i| i - self.blocks[b[0]].first as u32);
                shares[b[0]].triangles.push(tri);
            } else {
                border.triangles.push(tri);
            }
        }
        for l in &mesh.links {
            let (a, b) = (particle[l.a as usize], particle[l.b as usize]);
            let mut held = Held {
                a,
                b,
                rest: l.rest_cm,
                compliance: l.compliance,
                slack: l.slack,
                lambda: 0.0,
            };
            if block_of(a) == block_of(b) {
                let first = self.blocks[block_of(a)].first as u32;
                (held.a, held.b) = (a - first, b - first);
                shares[block_of(a)].links.push(held);
            } else {
                border.links.push(held);
            }
        }
        for strut in across_edges(mesh, &self.triangles) {
            let block = block_of(strut.a);
            if block == block_of(strut.b) {
                let first = self.blocks[block].first as u32;
                shares[block].struts.push(Strut {
                    a: strut.a - first,
                    b: strut.b - first,
                    ..strut
                });
            } else {
                border.struts.push(strut);
            }
        }
        for (block, sweep) in self.blocks.iter_mut().zip(shares) {
            block.sweep = sweep;
        }
        self.border = border;
    }

    /// Sets inertia for that substep: bending is a force, and a force must not
    /// throw a particle past its neighbours within one substep. Only inertia
    /// grows, not weight, so the drape at rest is not touched.
    pub(super) fn prepare(&mut self, substep_s: f64) {
        if self.substep_s == substep_s {
            return;
        }
        self.substep_s = substep_s;
        // Lead of the places at which bending is felt, see `LEAD` in the step.
        let share = 1.0 / 3.0 + super::step::LEAD;
        for i in 0..self.x.len() {
            if self.inverse[i] > 0.0 {
                let least = self.rows.bound[i] * substep_s * substep_s * share;
                self.inverse[i] = 1.0 / (self.mass[i] * self.slow[i]).max(least).max(1e-9);
            }
        }
        let inverse = &self.inverse;
        for block in &mut self.blocks {
            let first = block.first;
            ready(&mut block.sweep, |i| inverse[first + i as usize]);
        }
        ready(&mut self.border, |i| inverse[i as usize]);
    }
}

fn ready(sweep: &mut Sweep, inverse: impl Fn(u32) -> f64) {
    for t in &mut sweep.triangles {
        t.h = [0.0; 3];
        for k in 0..3 {
            let w = inverse(t.v[k]);
            t.h[0] += w * t.g[k].x * t.g[k].x;
            t.h[1] += w * t.g[k].x * t.g[k].y;
            t.h[2] += w * t.g[k].y * t.g[k].y;
        }
        t.lambda = [0.0; 3];
    }
    for l in &mut sweep.links {
        l.lambda = 0.0;
    }
}

/// Compliance of a stretch along one direction: softer when pressed together.
pub(super) fn yielding(compliance: f64, pressed: bool) -> f64 {
    if pressed {
        compliance * COMPRESSED
    } else {
        compliance
    }
}

fn flat_area(q: &[DVec2; 3]) -> f64 {
    0.5 * (q[1] - q[0]).perp_dot(q[2] - q[0]).abs()
}

fn resistance(v: [u32; 3], q: &[DVec2; 3], fabric: &Mechanics, plies: f64) -> Option<Tri> {
    let (a, b) = (q[1] - q[0], q[2] - q[0]);
    let det = a.perp_dot(b);
    if det.abs() < 1e-6 {
        return None;
    }
    let g1 = DVec2::new(b.y, -b.x) / det;
    let g2 = DVec2::new(-a.y, a.x) / det;
    let area = 0.5 * det.abs() * plies * DYN_CM;
    Some(Tri {
        v,
        g: [-(g1 + g2), g1, g2],
        h: [0.0; 3],
        compliance: [
            1.0 / (fabric.stretch_n_m[1] * area),
            1.0 / (fabric.stretch_n_m[0] * area),
            1.0 / (fabric.shear_n_m * area),
        ],
        lambda: [0.0; 3],
    })
}

/// Hinge bending of all inner edges, B/2 ∫(Δx)² (Bergou et al. 2006).
fn bending_rows(
    mesh: &ClothMesh,
    triangles: &[[u32; 3]],
    fabric: &Mechanics,
    plies: &dyn Fn(usize) -> f64,
) -> Rows {
    let n = mesh.positions.len();
    let mut hinge: Hinges = BTreeMap::new();
    let mut sums: BTreeMap<(u32, u32), f64> = BTreeMap::new();
    for (t, v) in triangles.iter().enumerate() {
        for k in 0..3 {
            let (a, b) = (v[k], v[(k + 1) % 3]);
            let Some((s, j, _)) = hinge.get(&(a.min(b), a.max(b))).copied() else {
                hinge.insert((a.min(b), a.max(b)), (t, k, true));
                continue;
            };
            hinge.insert((a.min(b), a.max(b)), (s, j, false));
            let (q, r) = (&mesh.flat[t], &mesh.flat[s]);
            // Cotangents at both ends of the edge, in each triangle.
            let cot = |q: &[DVec2; 3], k: usize| {
                let at = |i: usize| {
                    let (u, w) = (q[(i + 1) % 3] - q[i], q[(i + 2) % 3] - q[i]);
                    u.dot(w) / u.perp_dot(w).abs().max(1e-9)
                };
                (at(k), at((k + 1) % 3))
            };
            let (ta, tb) = cot(q, k);
            let (sb, sa) = cot(r, j);
            let areas = flat_area(q) + flat_area(r);
            if areas < 1e-6 {
                continue;
            }
            // Fibres across the edge bend; near a seam both sides have a say.
            let across = |q: &[DVec2; 3], k: usize| {
                let e = (q[(k + 1) % 3] - q[k]).normalize_or_zero();
                e.x * e.x * fabric.bending_un_m[0] + e.y * e.y * fabric.bending_un_m[1]
            };
            let ply = (0.5 * (plies(t) + plies(s))).powf(1.6);
            let rigidity = 0.5 * (across(q, k) + across(r, j)) * DYNE_CM * ply;
            let ids = [a, b, v[(k + 2) % 3], triangles[s][(j + 2) % 3]];
            let weights = [tb + sb, ta + sa, -(ta + tb), -(sa + sb)];
            for i in 0..4 {
                for l in 0..4 {
                    *sums.entry((ids[i], ids[l])).or_default() +=
                        CALIBRATED * rigidity / areas * weights[i] * weights[l];
                }
            }
        }
    }
    if mesh.faced {
        stiffen_edges(mesh, triangles, fabric, &hinge, &mut sums);
    }
    let mut rows = Rows {
        start: vec![0; n + 1],
        entries: Vec::with_capacity(sums.len()),
        bound: vec![0.0; n],
    };
    for (&(i, j), &q) in &sums {
        rows.entries.push((j, q));
        rows.start[i as usize + 1] += 1;
        rows.bound[i as usize] += q.abs();
    }
    for i in 0..n {
        rows.start[i + 1] += rows.start[i];
    }
    rows
}

/// For each edge its first triangle, the corner it starts at, and whether it is open.
type Hinges = BTreeMap<(u32, u32), (usize, usize, bool)>;

/// Open edges are turned or faced, which makes a rod of them: about a
/// centimetre of two plies and interfacing.
fn stiffen_edges(
    mesh: &ClothMesh,
    triangles: &[[u32; 3]],
    fabric: &Mechanics,
    hinge: &Hinges,
    sums: &mut BTreeMap<(u32, u32), f64>,
) {
    const PLIES: f64 = 5.0;
    const LEAST: f64 = 150.0;
    let mut next: BTreeMap<u32, (u32, f64)> = BTreeMap::new();
    for &(t, k, open) in hinge.values() {
        if open {
            let (v, q) = (triangles[t], mesh.flat[t]);
            let length = q[k].distance(q[(k + 1) % 3]);
            next.insert(v[k], (v[(k + 1) % 3], length));
        }
    }
    let rigidity = (PLIES * fabric.bending_un_m[1] * DYNE_CM).max(LEAST);
    for (&a, &(b, la)) in &next {
        let Some(&(c, lc)) = next.get(&b) else {
            continue;
        };
        let mean = 0.5 * (la + lc);
        if mean < 1e-6 {
            continue;
        }
        // Energy B/2 (2 off / h²)² h, where off is how far b is from the chord.
        let ids = [a, b, c];
        let weights = [lc / (la + lc), -1.0, la / (la + lc)];
        for i in 0..3 {
            for j in 0..3 {
                *sums.entry((ids[i], ids[j])).or_default() +=
                    4.0 * rigidity / mean.powi(3) * weights[i] * weights[j];
            }
        }
    }
}

struct Order {
    vertex: Vec<u32>,
    blocks: Vec<Block>,
}

/// Halves the vertices along their longest extent until blocks are small.
fn sorted_into_blocks(positions: &[DVec3]) -> Order {
    let n = positions.len();
    let mut vertex: Vec<u32> = (0..n as u32).collect();
    let mut cuts = vec![0, n];
    while cuts.len() < 9 && n / (cuts.len() - 1) > 700 {
        let mut finer = vec![0];
        for w in cuts.windows(2) {
            let part = &mut vertex[w[0]..w[1]];
            let (mut lo, mut hi) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
            for &v in part.iter() {
                lo = lo.min(positions[v as usize]);
                hi = hi.max(positions[v as usize]);
            }
            let span = (hi - lo).to_array();
            let axis = (0..3).fold(0, |best, c| if span[c] > span[best] { c } else { best });
            part.sort_by(|&a, &b| {
                positions[a as usize][axis]
                    .total_cmp(&positions[b as usize][axis])
                    .then(a.cmp(&b))
            });
            finer.extend([w[0] + (w[1] - w[0]) / 2, w[1]]);
        }
        cuts = finer;
    }
    let blocks = cuts
        .windows(2)
        .map(|w| Block {
            first: w[0],
            count: w[1] - w[0],
            ..Block::default()
        })
        .collect();
    Order { vertex, blocks }
}
