//! The shift dress: cut flat, sewn on the body, left to fall.
//!
//! Front and back are drafted as flat pattern pieces, each a grid of points
//! from hem to shoulder; the grid is both the cloth's rest shape and its UVs,
//! so UVs are centimetres along the cloth by construction. The pieces are laid
//! around the body, sewn at sides and shoulders, relaxed coarse and then fine,
//! levelled at the hem like a dressmaker does, and given turned edges.

use super::body::Body;
use super::cloth::{Bend, Cloth, Link, Run, Solid};
use super::lay::{Rings, upper_place};
use super::pattern::{Layout, Piece, UNDERARM};
use super::recipe::GarmentRecipe;
use super::sdf::{Field, Table, step};
use super::sheet::Sheet;
use glam::{DVec2, DVec3, dvec2, dvec3};

/// A finished garment in centimetres.
pub struct Garment {
    pub positions: Vec<DVec3>,
    pub uvs: Vec<DVec2>,
    pub triangles: Vec<[u32; 3]>,
    /// Height of the levelled hem over the floor.
    pub hem_height_cm: f64,
}

/// Cuts, sews and drapes the garment. `coarseness` 1 is the baked grid.
pub fn make(body: &Body, recipe: &GarmentRecipe, coarseness: f64) -> Garment {
    let solid = Solid::sample(
        body,
        dvec3(-30.0, 40.0, -24.0),
        dvec3(32.0, 158.0, 26.0),
        0.6,
    );
    let fine = Layout::new((1.0 / coarseness).clamp(0.3, 1.0));
    let coarse = Layout::new((0.5 / coarseness).clamp(0.3, 0.5));
    let mut sewn = Sewn::new(recipe, coarse);
    let start = sewn.laid_around(body, recipe);
    let mut cloth = sewn.cloth(recipe, start);
    let run = Run {
        seconds: 0.25,
        substep_s: 1.0 / 1200.0,
        drag: 12.0,
        gap_cm: 0.3,
        friction: 0.1,
    };
    cloth.fall(run, &solid);
    cloth.fall(
        Run {
            seconds: 1.6,
            drag: 2.5,
            friction: 0.3,
            ..run
        },
        &solid,
    );

    let finer = Sewn::new(recipe, fine);
    let start = sewn.resampled(&cloth.positions, &finer);
    sewn = finer;
    let mut cloth = sewn.cloth(recipe, start);
    let run = Run {
        seconds: 0.5,
        substep_s: 1.0 / 2400.0,
        drag: 4.0,
        gap_cm: 0.3,
        friction: 0.3,
    };
    cloth.fall(run, &solid);
    cloth.fall(
        Run {
            seconds: 0.15,
            drag: 20.0,
            ..run
        },
        &solid,
    );
    sewn.finish(body, recipe, cloth.positions)
}

/// Both panels (0 front, 1 back) and which particle each grid point is.
struct Sewn {
    layout: Layout,
    flat: [Vec<DVec2>; 2],
    particle: [Vec<u32>; 2],
    count: usize,
    lengths: [f64; 2],
    widths: [Table<1>; 2],
}

impl Sewn {
    fn new(recipe: &GarmentRecipe, layout: Layout) -> Self {
        let pieces = [Piece::new(recipe, true), Piece::new(recipe, false)];
        let flat = [pieces[0].grid(layout), pieces[1].grid(layout)];
        let front: Vec<u32> = (0..layout.count() as u32).collect();
        let mut back = Vec::with_capacity(layout.count());
        let mut count = layout.count();
        let n = layout.across;
        for j in 0..=layout.up {
            for i in 0..=n {
                // Seen from behind, the back's left edge meets the front's right edge.
                let at_side = (i == 0 || i == n) && j <= layout.seam;
                let at_shoulder =
                    j == layout.up && (i <= layout.shoulder || i >= n - layout.shoulder);
                if at_side || at_shoulder {
                    back.push(front[layout.index(n - i, j)]);
                } else {
                    back.push(count as u32);
                    count += 1;
                }
            }
        }
        let [a, b] = pieces;
        Self {
            layout,
            flat,
            particle: [front, back],
            count,
            lengths: [a.length, b.length],
            widths: [a.width, b.width],
        }
    }

    /// Places every particle around the body before sewing pulls it in.
    fn laid_around(&self, body: &Body, recipe: &GarmentRecipe) -> Vec<DVec3> {
        let top_of_shoulder = body.on_thorax(dvec3(8.4, 145.5, -2.0)).y;
        let hem = top_of_shoulder - recipe.length_cm + 1.5;
        let under = UNDERARM + recipe.length_cm - 97.0;
        let girth = |v: f64| 2.0 * (self.widths[0].at(v)[0] + self.widths[1].at(v)[0]);
        let rings = Rings::new(body, &girth, recipe.seed, hem, hem + under);
        let mut sum = vec![DVec3::ZERO; self.count];
        let mut hits = vec![0.0; self.count];
        for panel in 0..2 {
            for (g, uv) in self.flat[panel].iter().enumerate() {
                let place = if uv.y <= under {
                    let other = self.widths[1 - panel].at(uv.y)[0];
                    let own = self.widths[panel].at(uv.y)[0];
                    let along = if panel == 0 { uv.x } else { own + other + uv.x };
                    rings.place(hem + uv.y, along / (2.0 * (own + other)))
                } else {
                    let t = (uv.y - under) / (self.lengths[panel] - under);
                    let y = hem + under + t * (top_of_shoulder + 0.8 - hem - under);
                    upper_place(body, panel, uv.x, y)
                };
                let p = self.particle[panel][g] as usize;
                sum[p] += place;
                hits[p] += 1.0;
            }
        }
        sum.iter().zip(&hits).map(|(s, n)| *s / *n).collect()
    }

    /// Particles, springs and bending of the sewn garment.
    fn cloth(&self, recipe: &GarmentRecipe, positions: Vec<DVec3>) -> Cloth {
        const STRETCH: f64 = 1.0 / 4e5;
        const SHEAR: f64 = 1.0 / 2.5e4;
        // Micronewton metres to dyne centimetres.
        let rigidity = recipe.bending_un_m * 10.0;
        let density = recipe.weight_g_m2 * 1e-4;
        let n = self.layout.across;
        let mut mass = vec![0.0; self.count];
        let mut extra = vec![1.0; self.count];
        let mut links = Vec::new();
        let mut bends = Vec::new();
        // A seam edge belongs to both panels and is held once.
        let mut held = std::collections::HashSet::new();
        for panel in 0..2 {
            let flat = &self.flat[panel];
            let id = |i: usize, j: usize| self.particle[panel][self.layout.index(i, j)];
            let at = |i: usize, j: usize| flat[self.layout.index(i, j)];
            let mut link = |p: (usize, usize), q: (usize, usize), compliance: f64| {
                let (a, b) = (id(p.0, p.1), id(q.0, q.1));
                if held.insert((a.min(b), a.max(b))) {
                    let rest_cm = at(p.0, p.1).distance(at(q.0, q.1));
                    links.push(Link {
                        a,
                        b,
                        rest_cm,
                        compliance,
                    });
                }
            };
            // From the shoulder down, so that one sweep carries the weight.
            for j in (0..=self.layout.up).rev() {
                for i in 0..=n {
                    let high = step(0.55, 0.95, at(i, j).y / recipe.length_cm);
                    extra[id(i, j) as usize] = 1.0 + 30.0 * high;
                    if j > 0 {
                        link((i, j), (i, j - 1), STRETCH);
                    }
                    if i < n {
                        link((i, j), (i + 1, j), STRETCH);
                    }
                    if i < n && j > 0 {
                        link((i, j), (i + 1, j - 1), SHEAR);
                        link((i + 1, j), (i, j - 1), SHEAR);
                        let area = (at(i + 1, j) - at(i, j - 1))
                            .perp_dot(at(i, j) - at(i + 1, j - 1))
                            .abs()
                            * 0.5;
                        for (a, b) in [(i, j), (i + 1, j), (i, j - 1), (i + 1, j - 1)] {
                            mass[id(a, b) as usize] += 0.25 * area * density;
                        }
                    }
                    let mut bend = |p: (usize, usize), r: (usize, usize)| {
                        let (a, b, c) = (at(p.0, p.1), at(i, j), at(r.0, r.1));
                        let ids = [id(p.0, p.1), id(i, j), id(r.0, r.1)];
                        bends.extend(bend_of(
                            ids,
                            a.distance(b),
                            c.distance(b),
                            [a, b, c],
                            rigidity,
                        ));
                    };
                    if i > 0 && i < n {
                        bend((i - 1, j), (i + 1, j));
                    }
                    if j > 0 && j < self.layout.up {
                        bend((i, j - 1), (i, j + 1));
                    }
                }
            }
        }
        // Across the side seams the cloth bends on as one piece.
        for j in 0..self.layout.seam {
            for (front_in, back_in, edge) in [(1, n - 1, 0), (n - 1, 1, n)] {
                let f = |i: usize| self.flat[0][self.layout.index(i, j)];
                let b = |i: usize| self.flat[1][self.layout.index(i, j)];
                let la = f(front_in).distance(f(edge));
                let lc = b(back_in).distance(b(n - edge));
                let ids = [
                    self.particle[0][self.layout.index(front_in, j)],
                    self.particle[0][self.layout.index(edge, j)],
                    self.particle[1][self.layout.index(back_in, j)],
                ];
                let line = [dvec2(-la, 0.0), DVec2::ZERO, dvec2(lc, 0.0)];
                bends.extend(bend_of(ids, la, lc, line, rigidity));
            }
        }
        Cloth {
            velocities: vec![DVec3::ZERO; self.count],
            inverse_mass: mass
                .iter()
                .zip(&extra)
                .map(|(m, e)| 1.0 / (m * e).max(1e-6))
                .collect(),
            weight_share: extra.iter().map(|e| 1.0 / e).collect(),
            positions,
            links,
            bends,
        }
    }

    /// The same drape on another grid.
    fn resampled(&self, positions: &[DVec3], to: &Sewn) -> Vec<DVec3> {
        let mut out = vec![DVec3::ZERO; to.count];
        for panel in 0..2 {
            for j in 0..=to.layout.up {
                let y = rescale(
                    j,
                    to.layout.seam,
                    to.layout.up,
                    self.layout.seam,
                    self.layout.up,
                );
                for i in 0..=to.layout.across {
                    let (half, shoulder) = (to.layout.across / 2, to.layout.shoulder);
                    let k = i.min(to.layout.across - i);
                    let x = rescale(
                        k,
                        shoulder,
                        half,
                        self.layout.shoulder,
                        self.layout.across / 2,
                    );
                    let x = if i <= half {
                        x
                    } else {
                        self.layout.across as f64 - x
                    };
                    let p = to.particle[panel][to.layout.index(i, j)] as usize;
                    out[p] = self.smooth_at(panel, positions, x, y);
                }
            }
        }
        out
    }

    /// Catmull-Rom interpolation of the drape at grid coordinates.
    fn smooth_at(&self, panel: usize, positions: &[DVec3], x: f64, y: f64) -> DVec3 {
        let weights = |t: f64| {
            let (t2, t3) = (t * t, t * t * t);
            [
                0.5 * (-t + 2.0 * t2 - t3),
                0.5 * (2.0 - 5.0 * t2 + 3.0 * t3),
                0.5 * (t + 4.0 * t2 - 3.0 * t3),
                0.5 * (t3 - t2),
            ]
        };
        let split = |v: f64, top: usize| {
            let c = v.clamp(0.0, top as f64);
            let i = (c as usize).min(top - 1);
            (i, c - i as f64)
        };
        let (i0, fx) = split(x, self.layout.across);
        let (j0, fy) = split(y, self.layout.up);
        let (wx, wy) = (weights(fx), weights(fy));
        let read = |i: isize, j: isize| {
            let get = |i: isize, j: isize| {
                positions[self.particle[panel][self.layout.index(i as usize, j as usize)] as usize]
            };
            // Beyond an edge, go straight on.
            let (n, m) = (self.layout.across as isize, self.layout.up as isize);
            let (ci, cj) = (i.clamp(0, n), j.clamp(0, m));
            if ci == i && cj == j {
                get(i, j)
            } else {
                let (ri, rj) = ((2 * ci - i).clamp(0, n), (2 * cj - j).clamp(0, m));
                2.0 * get(ci, cj) - get(ri, rj)
            }
        };
        let mut sum = DVec3::ZERO;
        for (b, wyb) in wy.iter().enumerate() {
            for (a, wxa) in wx.iter().enumerate() {
                let (i, j) = (i0 as isize + a as isize - 1, j0 as isize + b as isize - 1);
                sum += read(i, j) * (wxa * wyb);
            }
        }
        sum
    }

    fn finish(
        &mut self,
        body: &Body,
        recipe: &GarmentRecipe,
        mut positions: Vec<DVec3>,
    ) -> Garment {
        let hem_height_cm = self.level_hem(&mut positions);
        for p in &mut positions {
            *p = pushed_out(body, *p, recipe.edge_cm + 0.1);
        }
        let normals = self.normals(&positions);
        let mut sheet = Sheet::default();
        for panel in 0..2 {
            self.add_panel(panel, &positions, &normals, recipe.edge_cm, &mut sheet);
        }
        for p in &mut sheet.positions {
            *p = pushed_out(body, *p, 0.03);
        }
        Garment {
            positions: sheet.positions,
            uvs: sheet.uvs,
            triangles: sheet.triangles,
            hem_height_cm,
        }
    }

    /// Cuts every column where it crosses the median hem height and spreads its
    /// points anew between there and the top. Returns that height.
    fn level_hem(&mut self, positions: &mut [DVec3]) -> f64 {
        let layout = self.layout;
        let mut heights: Vec<f64> = (0..2)
            .flat_map(|p| (0..=layout.across).map(move |i| (p, i)))
            .map(|(p, i)| positions[self.particle[p][layout.index(i, 0)] as usize].y)
            .collect();
        heights.sort_by(f64::total_cmp);
        let level = heights[heights.len() / 2];
        let old = positions.to_vec();
        for panel in 0..2 {
            let flat = self.flat[panel].clone();
            for i in 0..=layout.across {
                let at = |j: usize| old[self.particle[panel][layout.index(i, j)] as usize];
                let cut = (0..layout.seam / 2).rev().find(|&j| at(j).y <= level);
                let first = cut.map_or(0.0, |j| {
                    let (a, b) = (at(j).y, at(j + 1).y);
                    j as f64 + ((level - a) / (b - a).max(1e-9)).clamp(0.0, 1.0)
                });
                // Rows near the hem close up; from the waist up nothing moves.
                let fixed = (layout.seam * 3 / 5) as f64;
                for j in 0..fixed as usize {
                    let y = first + (fixed - first) * j as f64 / fixed;
                    let (j0, f) = (y as usize, y.fract());
                    let (g0, g1) = (layout.index(i, j0), layout.index(i, j0 + 1));
                    self.flat[panel][layout.index(i, j)] = flat[g0].lerp(flat[g1], f);
                    positions[self.particle[panel][layout.index(i, j)] as usize] =
                        at(j0).lerp(at(j0 + 1), f);
                }
            }
        }
        level
    }

    /// Unit normals of the particles, outward.
    fn normals(&self, positions: &[DVec3]) -> Vec<DVec3> {
        let mut sum = vec![DVec3::ZERO; self.count];
        for particle in &self.particle {
            for j in 0..self.layout.up {
                for i in 0..self.layout.across {
                    let q = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)]
                        .map(|(a, b)| particle[self.layout.index(a, b)]);
                    let p = q.map(|v| positions[v as usize]);
                    let n = (p[2] - p[0]).cross(p[3] - p[1]);
                    for v in q {
                        sum[v as usize] += n;
                    }
                }
            }
        }
        sum.iter().map(|n| n.normalize_or_zero()).collect()
    }

    fn add_panel(
        &self,
        panel: usize,
        positions: &[DVec3],
        normals: &[DVec3],
        edge: f64,
        sheet: &mut Sheet,
    ) {
        let l = self.layout;
        let base = sheet.positions.len() as u32;
        let shift = dvec2(150.0 * panel as f64, 0.0);
        for (g, uv) in self.flat[panel].iter().enumerate() {
            sheet
                .positions
                .push(positions[self.particle[panel][g] as usize]);
            sheet.uvs.push(*uv + shift);
        }
        let id = |i: usize, j: usize| base + l.index(i, j) as u32;
        for j in 0..l.up {
            for i in 0..l.across {
                sheet.quad([id(i, j), id(i + 1, j), id(i + 1, j + 1), id(i, j + 1)]);
            }
        }
        let normal = |v: u32| normals[self.particle[panel][(v - base) as usize] as usize];
        // Turned edges: hem, neckline, both armholes; each chain runs with the
        // cloth on its left.
        let depth = |want: usize| want.min(l.seam / 8).max(2);
        let hem: Vec<Vec<u32>> = (0..=l.across)
            .map(|i| (0..depth(5)).map(|k| id(i, k)).collect())
            .collect();
        let neck: Vec<Vec<u32>> = (l.shoulder..=l.across - l.shoulder)
            .rev()
            .map(|i| (0..depth(4)).map(|k| id(i, l.up - k)).collect())
            .collect();
        let left: Vec<Vec<u32>> = (l.seam..=l.up)
            .rev()
            .map(|j| (0..depth(4)).map(|k| id(k, j)).collect())
            .collect();
        let right: Vec<Vec<u32>> = (l.seam..=l.up)
            .map(|j| (0..depth(4)).map(|k| id(l.across - k, j)).collect())
            .collect();
        for chain in [hem, neck, left, right] {
            sheet.turn_under(&chain, edge, &normal);
        }
    }
}

/// Where grid step `k` of one layout lies in another that shares its corners.
fn rescale(k: usize, mid: usize, end: usize, to_mid: usize, to_end: usize) -> f64 {
    let (k, mid, end) = (k as f64, mid as f64, end as f64);
    let (to_mid, to_end) = (to_mid as f64, to_end as f64);
    if k <= mid {
        k / mid * to_mid
    } else {
        to_mid + (k - mid) / (end - mid) * (to_end - to_mid)
    }
}

fn bend_of(ids: [u32; 3], la: f64, lc: f64, flat: [DVec2; 3], rigidity: f64) -> Option<Bend> {
    let (wa, wc) = (lc / (la + lc), la / (la + lc));
    let kink = (flat[0] * wa + flat[2] * wc - flat[1]).length();
    let h = 0.5 * (la + lc);
    // Where grid lines bend in the flat pattern, bending there means nothing.
    (kink < 0.04 * h).then(|| Bend {
        a: ids[0],
        b: ids[1],
        c: ids[2],
        wa,
        wc,
        // Energy ½Bκ²A with κ = 2|off|/h² and A = h².
        compliance: h * h / (4.0 * rigidity),
    })
}

fn pushed_out(body: &Body, mut p: DVec3, gap: f64) -> DVec3 {
    for _ in 0..4 {
        let d = body.distance(p);
        if d >= gap {
            break;
        }
        let g = body.gradient(p, 0.02);
        p += g.normalize_or_zero() * (gap - d) / g.length().max(0.5);
    }
    p
}
