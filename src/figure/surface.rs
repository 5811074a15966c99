//! From a signed-distance field to a closed triangle mesh.
//!
//! Dual contouring of a regular grid: one vertex for each sheet of surface that
//! passes through a cell, one quad across each grid edge that changes sign. A
//! cell that two sheets cross gets two vertices (as in dual marching cubes,
//! Nielson 2004), so that the mesh stays two-manifold between fingers and toes.

use super::sdf::Field;
use glam::DVec3;
use rayon::prelude::*;
use std::collections::HashMap;

/// A bare triangle mesh, counter-clockwise from outside.
#[derive(Debug, Clone, Default)]
pub struct Mesh {
    /// Where the vertices are, in the unit of the field that was meshed.
    pub positions: Vec<DVec3>,
    /// Indices into `positions`, three a triangle.
    pub triangles: Vec<[u32; 3]>,
}

/// Edges of a cell as corner pairs; corner bits are x, y, z.
const EDGES: [[usize; 2]; 12] = [
    [0, 1],
    [2, 3],
    [4, 5],
    [6, 7],
    [0, 2],
    [1, 3],
    [4, 6],
    [5, 7],
    [0, 4],
    [1, 5],
    [2, 6],
    [3, 7],
];
/// Faces of a cell as corner loops.
const FACES: [[usize; 4]; 6] = [
    [0, 1, 3, 2],
    [4, 5, 7, 6],
    [0, 1, 5, 4],
    [2, 3, 7, 6],
    [0, 2, 6, 4],
    [1, 3, 7, 5],
];

/// Meshes the zero set of `field` inside the box `lo`..`hi` on a grid of pitch `h`.
///
/// The surface must not touch the box. Vertices lie on the zero set.
pub fn extract(field: &dyn Field, lo: DVec3, hi: DVec3, h: f64) -> Mesh {
    let grid = Grid::sample(field, lo, hi, h);
    let sheets = Sheets::new(&grid);
    let mut mesh = Mesh::default();
    let mut first_vertex: HashMap<usize, u32> = HashMap::new();
    let [nx, ny, nz] = grid.n;
    for cell in grid.cells() {
        let case = grid.case(cell);
        if case == 0 || case == 255 {
            continue;
        }
        first_vertex.insert(grid.index(cell), mesh.positions.len() as u32);
        let labels = sheets.of(&grid, cell);
        let last = labels.iter().filter(|l| **l != NO_SHEET).max();
        let count = last.map_or(0, |&m| m + 1);
        for sheet in 0..count {
            let (mut sum, mut n) = (DVec3::ZERO, 0.0);
            for (e, _) in labels.iter().enumerate().filter(|(_, l)| **l == sheet) {
                sum += grid.crossing(cell, EDGES[e]);
                n += 1.0;
            }
            mesh.positions.push(lo + sum / n * h);
        }
    }
    for i in 1..nx - 1 {
        for j in 1..ny - 1 {
            for k in 1..nz - 1 {
                for axis in 0..3 {
                    grid.quad([i, j, k], axis, &sheets, &first_vertex, &mut mesh);
                }
            }
        }
    }
    mesh.positions
        .par_iter_mut()
        .for_each(|p| *p = field.project(*p, 0.3 * h, 2));
    largest_piece(mesh)
}

/// Drops all but the piece with the most triangles: a coarse grid can leave
/// bubbles where fingers or toes nearly touch.
fn largest_piece(mesh: Mesh) -> Mesh {
    let mut parent: Vec<u32> = (0..mesh.positions.len() as u32).collect();
    fn root(parent: &mut [u32], mut v: u32) -> u32 {
        while parent[v as usize] != v {
            parent[v as usize] = parent[parent[v as usize] as usize];
            v = parent[v as usize];
        }
        v
    }
    for t in &mesh.triangles {
        let a = root(&mut parent, t[0]);
        for &v in &t[1..] {
            let b = root(&mut parent, v);
            parent[b as usize] = a;
        }
    }
    let mut sizes: HashMap<u32, usize> = HashMap::new();
    for t in &mesh.triangles {
        *sizes.entry(root(&mut parent, t[0])).or_default() += 1;
    }
    let Some(keep) = sizes
        .into_iter()
        .max_by_key(|&(r, n)| (n, r))
        .map(|(r, _)| r)
    else {
        return mesh;
    };
    let mut new_index = vec![u32::MAX; mesh.positions.len()];
    let mut out = Mesh::default();
    for (v, p) in mesh.positions.iter().enumerate() {
        if root(&mut parent, v as u32) == keep {
            new_index[v] = out.positions.len() as u32;
            out.positions.push(*p);
        }
    }
    let kept = mesh
        .triangles
        .iter()
        .filter(|t| new_index[t[0] as usize] != u32::MAX);
    out.triangles = kept.map(|t| t.map(|v| new_index[v as usize])).collect();
    out
}

struct Grid {
    n: [usize; 3],
    values: Vec<f32>,
}

impl Grid {
    fn sample(field: &dyn Field, lo: DVec3, hi: DVec3, h: f64) -> Self {
        let n = ((hi - lo) / h).ceil().to_array().map(|v| v as usize + 1);
        let mut values = vec![0.0_f32; n[0] * n[1] * n[2]];
        const B: usize = 8;
        // One slab of blocks a task; blocks far from the surface take their centre's value.
        values
            .par_chunks_mut(B * n[1] * n[2])
            .enumerate()
            .for_each(|(slab, out)| {
                let half = 0.5 * B as f64 * h;
                let far = half * 3f64.sqrt() * 1.35 + 2.0 * h;
                let depth = out.len() / (n[1] * n[2]);
                let at = |i: usize, j: usize, k: usize| {
                    lo + DVec3::new((slab * B + i) as f64, j as f64, k as f64) * h
                };
                for j0 in (0..n[1]).step_by(B) {
                    for k0 in (0..n[2]).step_by(B) {
                        let d = field.distance(at(0, j0, k0) + DVec3::splat(half));
                        for i in 0..depth {
                            for j in j0..(j0 + B).min(n[1]) {
                                for k in k0..(k0 + B).min(n[2]) {
                                    let v = if d.abs() > far {
                                        d
                                    } else {
                                        field.distance(at(i, j, k))
                                    };
                                    out[(i * n[1] + j) * n[2] + k] = v as f32;
                                }
                            }
                        }
                    }
                }
            });
        Self { n, values }
    }

    fn cells(&self) -> impl Iterator<Item = [usize; 3]> + use<> {
        let [nx, ny, nz] = self.n;
        (0..nx - 1)
            .flat_map(move |i| (0..ny - 1).flat_map(move |j| (0..nz - 1).map(move |k| [i, j, k])))
    }

    fn index(&self, [i, j, k]: [usize; 3]) -> usize {
        (i * self.n[1] + j) * self.n[2] + k
    }

    fn corner(&self, c: [usize; 3], corner: usize) -> f64 {
        let at = [
            c[0] + (corner & 1),
            c[1] + (corner >> 1 & 1),
            c[2] + (corner >> 2),
        ];
        f64::from(self.values[self.index(at)])
    }

    fn case(&self, cell: [usize; 3]) -> usize {
        (0..8)
            .filter(|&c| self.corner(cell, c) < 0.0)
            .map(|c| 1 << c)
            .sum()
    }

    fn crossing(&self, cell: [usize; 3], [a, b]: [usize; 2]) -> DVec3 {
        let (va, vb) = (self.corner(cell, a), self.corner(cell, b));
        let place = |c: usize| DVec3::new((c & 1) as f64, (c >> 1 & 1) as f64, (c >> 2) as f64);
        let base = DVec3::new(cell[0] as f64, cell[1] as f64, cell[2] as f64);
        base + place(a).lerp(place(b), va / (va - vb))
    }

    fn quad(
        &self,
        node: [usize; 3],
        axis: usize,
        sheets: &Sheets,
        first_vertex: &HashMap<usize, u32>,
        mesh: &mut Mesh,
    ) {
        let mut next = node;
        next[axis] += 1;
        let inside = self.values[self.index(node)] < 0.0;
        if inside == (self.values[self.index(next)] < 0.0) {
            return;
        }
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        // The four cells around the edge, counter-clockwise seen from +axis.
        let around = [(1, 1), (0, 1), (0, 0), (1, 0)].map(|(du, dv)| {
            let mut cell = node;
            cell[u] -= du;
            cell[v] -= dv;
            let from = (du << u) | (dv << v);
            let edge = EDGES
                .iter()
                .position(|e| *e == [from, from | 1 << axis])
                .unwrap_or_default();
            let sheet = sheets.of(self, cell)[edge];
            first_vertex[&self.index(cell)] + u32::from(sheet)
        });
        let mut q = around;
        if !inside {
            q.reverse();
        }
        let p = q.map(|i| mesh.positions[i as usize]);
        if p[0].distance_squared(p[2]) <= p[1].distance_squared(p[3]) {
            mesh.triangles
                .extend([[q[0], q[1], q[2]], [q[0], q[2], q[3]]]);
        } else {
            mesh.triangles
                .extend([[q[1], q[2], q[3]], [q[1], q[3], q[0]]]);
        }
    }
}

const NO_SHEET: u8 = u8::MAX;

/// Which sheet of surface each crossed edge of a cell belongs to.
struct Sheets {
    /// For each of the 256 sign cases.
    usual: Vec<[u8; 12]>,
    /// Cells where a face had to be read the other way.
    special: HashMap<usize, [u8; 12]>,
}

impl Sheets {
    /// Reads every face with two inside corners across from each other as two
    /// separate corners, unless that would join the two cells' vertices by one
    /// edge with four triangles (Wenger 2013, section 5.3): then the other way.
    fn new(grid: &Grid) -> Self {
        let usual: Vec<[u8; 12]> = (0..256).map(|case| sheets_of_case(case, 0)).collect();
        let mut turned: HashMap<usize, ([usize; 3], u8)> = HashMap::new();
        for cell in grid.cells() {
            let case = grid.case(cell);
            if case == 0 || case == 255 {
                continue;
            }
            for (axis, (high, low)) in [(5, 4), (3, 2), (1, 0)].into_iter().enumerate() {
                let mut next = cell;
                next[axis] += 1;
                let joined = next[axis] + 1 < grid.n[axis]
                    && one_sheet(case, &usual, FACES[high])
                    && one_sheet(grid.case(next), &usual, FACES[low]);
                if joined {
                    turned.entry(grid.index(cell)).or_insert((cell, 0)).1 |= 1 << high;
                    turned.entry(grid.index(next)).or_insert((next, 0)).1 |= 1 << low;
                }
            }
        }
        let special = turned
            .into_iter()
            .map(|(index, (cell, faces))| (index, sheets_of_case(grid.case(cell), faces)))
            .collect();
        Self { usual, special }
    }

    fn of(&self, grid: &Grid, cell: [usize; 3]) -> &[u8; 12] {
        self.special
            .get(&grid.index(cell))
            .unwrap_or_else(|| &self.usual[grid.case(cell)])
    }
}

fn edge_of(a: usize, b: usize) -> usize {
    EDGES
        .iter()
        .position(|e| *e == [a.min(b), a.max(b)])
        .unwrap_or_default()
}

/// Whether all four edges of a face are crossed, and by the same sheet.
fn one_sheet(case: usize, usual: &[[u8; 12]], face: [usize; 4]) -> bool {
    let labels = [0, 1, 2, 3].map(|s| usual[case][edge_of(face[s], face[(s + 1) % 4])]);
    labels[0] != NO_SHEET && labels.iter().all(|l| *l == labels[0])
}

/// `turned` has a bit for each face to be read with its inside corners joined.
fn sheets_of_case(case: usize, turned: u8) -> [u8; 12] {
    let inside = |c: usize| case >> c & 1 == 1;
    let mut parent: [usize; 12] = std::array::from_fn(|e| e);
    fn root(parent: &[usize; 12], mut e: usize) -> usize {
        while parent[e] != e {
            e = parent[e];
        }
        e
    }
    for (f, face) in FACES.into_iter().enumerate() {
        let crossed: Vec<usize> = (0..4)
            .filter(|&s| inside(face[s]) != inside(face[(s + 1) % 4]))
            .map(|s| edge_of(face[s], face[(s + 1) % 4]))
            .collect();
        let pairs: Vec<(usize, usize)> = if crossed.len() == 2 {
            vec![(crossed[0], crossed[1])]
        } else if crossed.len() == 4 {
            // Cut off the two inside corners, or on a turned face the two outside ones.
            let cut_off = turned >> f & 1 == 0;
            (0..4)
                .filter(|&s| inside(face[s]) == cut_off)
                .map(|s| {
                    (
                        edge_of(face[(s + 3) % 4], face[s]),
                        edge_of(face[s], face[(s + 1) % 4]),
                    )
                })
                .collect()
        } else {
            Vec::new()
        };
        for (a, b) in pairs {
            let (a, b) = (root(&parent, a), root(&parent, b));
            parent[a] = b;
        }
    }
    let mut labels = [NO_SHEET; 12];
    let mut roots: Vec<usize> = Vec::new();
    for (e, [a, b]) in EDGES.into_iter().enumerate() {
        if inside(a) == inside(b) {
            continue;
        }
        let r = root(&parent, e);
        let sheet = roots.iter().position(|&x| x == r).unwrap_or_else(|| {
            roots.push(r);
            roots.len() - 1
        });
        labels[e] = sheet as u8;
    }
    labels
}
