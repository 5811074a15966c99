//! Pieces sewn together: which vertices are one particle, and the cloth's rest shape.

use super::finish::Surface;
use super::panel::Panel;
use super::sides::{Kept, Sides};
use super::trim::Finder;
use crate::figure::cloth::{Cloth, ClothMesh, Mechanics, Motion, Run, Solid, Watch};
use glam::DVec3;
use std::sync::atomic::AtomicBool;

/// Folds keep this far from each other, in centimetres.
const FOLD_GAP: f64 = 0.25;

/// A fall is watched so many times.
const SLICES: f64 = 10.0;

/// Panels whose seams are joined.
pub struct Sewn {
    pub panels: Vec<Panel>,
    /// For each panel, the particle of each of its vertices.
    pub particles: Vec<Vec<u32>>,
    pub count: usize,
    /// Particles on a seam.
    pub on_seam: Vec<bool>,
}

/// A seam: side `a.1` of panel `a.0` to side `b.1` of panel `b.0`.
pub type Seam = ((usize, &'static str), (usize, &'static str));

impl Sewn {
    /// Joins panels along `seams`. Sides of one seam must have equal counts;
    /// which way round they meet is told by where their ends were laid.
    pub fn new(panels: Vec<Panel>, laid: &[Vec<DVec3>], seams: &[Seam]) -> Self {
        let starts: Vec<usize> = panels
            .iter()
            .scan(0, |sum, p| {
                let at = *sum;
                *sum += p.uvs.len();
                Some(at)
            })
            .collect();
        let total: usize = panels.iter().map(|p| p.uvs.len()).sum();
        let mut parent: Vec<usize> = (0..total).collect();
        fn root(parent: &mut [usize], mut v: usize) -> usize {
            while parent[v] != v {
                parent[v] = parent[parent[v]];
                v = parent[v];
            }
            v
        }
        let mut seamed = vec![false; total];
        for ((pa, sa), (pb, sb)) in seams {
            let (a, b) = (panels[*pa].side(sa), panels[*pb].side(sb));
            let n = a.len().min(b.len());
            if n == 0 {
                continue;
            }
            let place = |p: usize, v: u32| laid[p][v as usize];
            let ends = |x: u32, y: u32| place(*pa, x).distance(place(*pb, y));
            let straight = ends(a[0], b[0]) + ends(a[n - 1], b[b.len() - 1]);
            let turned = ends(a[0], b[b.len() - 1]) + ends(a[n - 1], b[0]);
            for k in 0..n {
                let other = if straight <= turned {
                    b[k]
                } else {
                    b[b.len() - 1 - k]
                };
                let (i, k) = (starts[*pa] + a[k] as usize, starts[*pb] + other as usize);
                seamed[i] = true;
                seamed[k] = true;
                let (i, k) = (root(&mut parent, i), root(&mut parent, k));
                parent[i.max(k)] = i.min(k);
            }
        }
        let mut index = vec![u32::MAX; total];
        let mut count = 0;
        let mut on_seam = Vec::new();
        let mut flat = vec![0_u32; total];
        for v in 0..total {
            let r = root(&mut parent, v);
            if index[r] == u32::MAX {
                index[r] = count;
                count += 1;
                on_seam.push(false);
            }
            flat[v] = index[r];
            on_seam[index[r] as usize] |= seamed[v];
        }
        let particles = panels
            .iter()
            .zip(&starts)
            .map(|(p, &s)| flat[s..s + p.uvs.len()].to_vec())
            .collect();
        Self {
            panels,
            particles,
            count: count as usize,
            on_seam,
        }
    }

    /// One value a particle from values a panel vertex, averaged over seams.
    pub fn gathered(&self, laid: &[Vec<DVec3>]) -> Vec<DVec3> {
        let mut sum = vec![DVec3::ZERO; self.count];
        let mut hits = vec![0.0; self.count];
        for (particles, points) in self.particles.iter().zip(laid) {
            for (&p, x) in particles.iter().zip(points) {
                sum[p as usize] += *x;
                hits[p as usize] += 1.0;
            }
        }
        sum.iter().zip(&hits).map(|(s, n)| *s / *n).collect()
    }
}

/// A garment cut, sewn and laid around the body, before it settles.
pub struct Laid {
    pub sewn: Sewn,
    /// Where each particle starts.
    pub start: Vec<DVec3>,
    /// Particles held where they start.
    pub pinned: Vec<u32>,
    /// Plies of each panel; single beyond the end.
    pub plies: Vec<f64>,
}

/// What a garment settles against, and how.
pub struct Settling<'a> {
    pub solid: &'a Solid,
    /// Which limb each panel keeps to.
    pub sides: &'a Sides<'a>,
    pub mechanics: &'a Mechanics,
    pub motion: Motion,
    pub gap_cm: f64,
    /// Edge lengths of the first and the second fall, in centimetres.
    pub edges_cm: [f64; 2],
    /// Seconds of both falls.
    pub seconds: [f64; 2],
    pub progress: &'a (dyn Fn(f32) + Sync),
    pub cancel: &'a AtomicBool,
}

/// Lets a garment settle coarse and then fine; `sew` cuts it at an edge length.
pub fn settled(sew: &dyn Fn(f64) -> Laid, how: &Settling) -> (Laid, Vec<DVec3>) {
    let coarse = sew(how.edges_cm[0]);
    let first = |s: f32| (how.progress)(0.1 + 0.3 * s);
    let base = Run {
        gap_cm: how.gap_cm,
        motion: how.motion,
        friction: 0.25,
        self_gap_cm: FOLD_GAP,
        rest_speed: 0.6,
        ..Run::default()
    };
    let rough = coarse.fall(
        coarse.start.clone(),
        how,
        &[Run {
            seconds: how.seconds[0],
            substep_s: 1.0 / 700.0,
            damping: 4.0,
            ..base
        }],
        &first,
    );
    let mut fine = sew(how.edges_cm[1]);
    // The fine cloth starts where the coarse one came to lie.
    let surface = Surface::new(&coarse.sewn, &rough, &[]).subdivided();
    let laid: Vec<Vec<DVec3>> = fine
        .sewn
        .panels
        .iter()
        .enumerate()
        .map(|(k, panel)| {
            let finder = Finder::new(&surface, k);
            panel
                .uvs
                .iter()
                .zip(&fine.sewn.particles[k])
                .map(|(uv, p)| finder.at(*uv).map_or(fine.start[*p as usize], |f| f.0))
                .collect()
        })
        .collect();
    let mut start = fine.sewn.gathered(&laid);
    for &p in &fine.pinned {
        start[p as usize] = fine.start[p as usize];
    }
    fine.start = start.clone();
    let second = |s: f32| (how.progress)(0.4 + 0.55 * s);
    let positions = fine.fall(
        start,
        how,
        &[
            Run {
                seconds: how.seconds[1],
                substep_s: 1.0 / 1200.0,
                damping: 4.0,
                ..base
            },
            Run {
                seconds: 0.2,
                substep_s: 1.0 / 1200.0,
                damping: 12.0,
                ..base
            },
        ],
        &second,
    );
    (fine, positions)
}

impl Laid {
    fn fall(
        &self,
        start: Vec<DVec3>,
        how: &Settling,
        runs: &[Run],
        progress: &(dyn Fn(f32) + Sync),
    ) -> Vec<DVec3> {
        let mut mesh = ClothMesh {
            positions: start,
            plies: self.plies.clone(),
            ..ClothMesh::default()
        };
        for (k, (panel, particles)) in self
            .sewn
            .panels
            .iter()
            .zip(&self.sewn.particles)
            .enumerate()
        {
            for t in &panel.triangles {
                mesh.triangles.push(t.map(|v| particles[v as usize]));
                mesh.flat.push(t.map(|v| panel.uvs[v as usize]));
                mesh.group.push(k as u32);
            }
        }
        mesh.pinned = vec![false; self.sewn.count];
        for &p in &self.pinned {
            mesh.pinned[p as usize] = true;
        }
        let kept: Kept = how.sides.of(&self.sewn, &self.pinned);
        kept.put_back(&mut mesh.positions);
        let mut cloth = Cloth::new(&mesh, how.mechanics);
        for run in runs {
            // In slices, so that limbs that come close do not trade cloth.
            let slice = Run {
                seconds: run.seconds / SLICES,
                ..*run
            };
            for _ in 0..SLICES as usize {
                cloth.fall(
                    &slice,
                    how.solid,
                    &[],
                    Watch {
                        progress,
                        cancel: how.cancel,
                    },
                );
                let mut places = cloth.positions();
                kept.put_back(&mut places);
                cloth.place(&places);
            }
        }
        cloth.positions()
    }
}
