//! Pieces sewn together: which vertices are one particle, and the cloth's rest shape.

use super::finish::Surface;
use super::panel::Panel;
use super::room::{Obstacle, Round};
use super::trim::Finder;
use super::untangle::smoothed;
use super::way::{WAY_SUBSTEP_S, Way, edge_cm};
use crate::figure::cloth::{Cloth, ClothMesh, Mechanics, Motion, Run, Solid, Watch};
use glam::DVec3;
use std::sync::atomic::{AtomicBool, Ordering};

/// Folds keep this far from each other, in centimetres.
const FOLD_GAP: f64 = 0.25;

/// Grid of what keeps cloth out, and how far it reaches past the cloth, in centimetres.
const FINE_CM: f64 = 0.65;
const MORE_CM: f64 = 4.0;
/// Cloth this near to a seam of two limbs goes round neither, in centimetres: in poses near upright, and in others.
const SEAM_CM: [f64; 2] = [1.6, 5.0];

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
    pub obstacle: Obstacle<'a>,
    /// The way into the pose, if it is far from upright: what is cut is then laid on the first body of the way.
    pub way: Option<&'a Way<'a>>,
    /// Which limb each panel goes round.
    pub round: &'a [Round],
    /// Where pinned particles are held in the pose, in the order of [`Laid::pinned`].
    pub held: &'a dyn Fn(&Laid) -> Vec<DVec3>,
    pub mechanics: &'a Mechanics,
    pub motion: Motion,
    pub gap_cm: f64,
    /// As [`Run::keeps_faces`]. Not for hems that lie folded on a foot: it crumples them.
    pub keeps_faces: bool,
    /// Edge lengths of the first fall (without a way) and of the second, in centimetres.
    pub edges_cm: [f64; 2],
    /// Seconds of both falls.
    pub seconds: [f64; 2],
    pub progress: &'a (dyn Fn(f32) + Sync),
    pub cancel: &'a AtomicBool,
}

impl Settling<'_> {
    /// How cloth falls, before a fall's own length and damping.
    pub fn run(&self) -> Run {
        Run {
            gap_cm: self.gap_cm,
            motion: self.motion,
            friction: 0.25,
            self_gap_cm: FOLD_GAP,
            keeps_faces: self.keeps_faces,
            rest_speed: 0.6,
            ..Run::default()
        }
    }
}

/// Lets a garment settle coarse and then fine; `sew` cuts it at an edge length.
pub fn settled(sew: &dyn Fn(f64) -> Laid, how: &Settling) -> (Laid, Vec<DVec3>) {
    let (first_cm, substep_s) = match how.way {
        Some(_) => (edge_cm(how.mechanics), WAY_SUBSTEP_S),
        None => (how.edges_cm[0], 1.0 / 700.0),
    };
    let mut coarse = sew(first_cm);
    if let Some(way) = how.way {
        let going = |s: f32| (how.progress)(0.1 + 0.25 * s);
        coarse.start = way.gone(&coarse, how, &going);
    }
    coarse.hold(how);
    let first = |s: f32| (how.progress)(0.35 + 0.1 * s);
    let base = how.run();
    let solids = coarse.settling_solids(how);
    let mut rough = coarse.fall(
        &coarse.start,
        &solids,
        how,
        &[Run {
            seconds: how.seconds[0],
            substep_s,
            damping: 4.0,
            ..base
        }],
        &first,
    );
    coarse.untangle(&mut rough, &solids, how, (4, substep_s), &first);
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
    fine.start = fine.sewn.gathered(&laid);
    fine.hold(how);
    let second = |s: f32| (how.progress)(0.45 + 0.5 * s);
    let solids = fine.settling_solids(how);
    let mut positions = fine.fall(
        &fine.start,
        &solids,
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
    fine.untangle(&mut positions, &solids, how, (2, 1.0 / 1200.0), &second);
    (fine, positions)
}

impl Laid {
    /// Puts what is pinned where the pose holds it.
    fn hold(&mut self, how: &Settling) {
        let held = (how.held)(self);
        for (&p, at) in self.pinned.iter().zip(held) {
            self.start[p as usize] = at;
        }
    }

    /// What keeps its cloth out while it settles.
    fn settling_solids(&self, how: &Settling) -> Vec<Solid> {
        self.solids(&how.obstacle, how.round, &[&self.start], FINE_CM)
    }

    /// What still came to lie inside out on its way falls anew, at most so many `times`.
    fn untangle(
        &self,
        places: &mut Vec<DVec3>,
        solids: &[Solid],
        how: &Settling,
        (times, substep_s): (usize, f64),
        progress: &(dyn Fn(f32) + Sync),
    ) {
        let again = Run {
            seconds: 0.12,
            substep_s,
            damping: 6.0,
            ..how.run()
        };
        for _ in 0..times {
            let over = how.way.is_none() || how.cancel.load(Ordering::Relaxed);
            if over || !smoothed(&self.sewn, places, &how.obstacle, &self.pinned) {
                break;
            }
            *places = self.fall(places, solids, how, &[again], progress);
        }
    }

    /// Its cloth, with particles at `places`.
    pub fn cloth(&self, places: &[DVec3], how: &Settling) -> Cloth {
        let round = how.round;
        let mut mesh = ClothMesh {
            positions: places.to_vec(),
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
        mesh.against = self.against(round, how.obstacle.gives);
        mesh.pinned = vec![false; self.sewn.count];
        for &p in &self.pinned {
            mesh.pinned[p as usize] = true;
        }
        Cloth::new(&mesh, how.mechanics)
    }

    fn fall(
        &self,
        start: &[DVec3],
        solids: &[Solid],
        how: &Settling,
        runs: &[Run],
        progress: &(dyn Fn(f32) + Sync),
    ) -> Vec<DVec3> {
        let mut cloth = self.cloth(start, how);
        for run in runs {
            let watch = Watch {
                progress,
                cancel: how.cancel,
            };
            cloth.fall(run, solids, &[], watch);
        }
        cloth.positions()
    }

    /// Which of [`Self::solids`] keeps each particle out: that of its panel's limb, and next to a seam of two limbs the last.
    fn against(&self, round: &[Round], far: bool) -> Vec<u8> {
        let seam_cm = SEAM_CM[usize::from(far)];
        let limbs = limbs(round);
        let both = limbs.len() as u8;
        let mut out = vec![u8::MAX; self.sewn.count];
        // How far off a seam of two limbs a particle is in the cloth, in centimetres.
        let mut off_cm = vec![f64::INFINITY; self.sewn.count];
        for (particles, limb) in self.sewn.particles.iter().zip(round) {
            let own = limbs.iter().position(|l| l == limb).unwrap_or(0) as u8;
            for &p in particles {
                let p = p as usize;
                if out[p] != u8::MAX && out[p] != own {
                    off_cm[p] = 0.0;
                }
                out[p] = own;
            }
        }
        // Along the edges, until nothing comes nearer any more.
        let mut changed = true;
        while changed {
            changed = false;
            for (panel, particles) in self.sewn.panels.iter().zip(&self.sewn.particles) {
                for t in &panel.triangles {
                    for k in 0..3 {
                        let (a, b) = (t[k] as usize, t[(k + 1) % 3] as usize);
                        let long = panel.uvs[a].distance(panel.uvs[b]);
                        let (p, q) = (particles[a] as usize, particles[b] as usize);
                        for (p, q) in [(p, q), (q, p)] {
                            let by_way = off_cm[p] + long;
                            if by_way < seam_cm && by_way < off_cm[q] - 1e-9 {
                                off_cm[q] = by_way;
                                changed = true;
                            }
                        }
                    }
                }
            }
        }
        for (out, off) in out.iter_mut().zip(&off_cm) {
            if *off < seam_cm {
                *out = both;
            }
        }
        out
    }

    /// What keeps out the cloth of each limb, and last what does so where limbs are sewn together, on grids around where
    /// the cloth is at all `places`.
    pub fn solids(
        &self,
        obstacle: &Obstacle,
        round: &[Round],
        places: &[&[DVec3]],
        pitch_cm: f64,
    ) -> Vec<Solid> {
        let mut limbs = limbs(round);
        limbs.push(Round::Nearest);
        let mut boxes = vec![(DVec3::INFINITY, DVec3::NEG_INFINITY); limbs.len()];
        let against = self.against(round, obstacle.gives);
        for places in places {
            for (&at, &k) in places.iter().zip(&against) {
                let (lo, hi) = &mut boxes[k as usize];
                (*lo, *hi) = (lo.min(at), hi.max(at));
            }
        }
        (limbs.iter().zip(boxes))
            .map(|(&limb, (lo, hi))| {
                // A short sleeve may have no cloth but next to its seam: then nothing asks this one.
                let (lo, hi) = if lo.cmple(hi).all() {
                    (lo, hi)
                } else {
                    (DVec3::ZERO, DVec3::ZERO)
                };
                let field = |p: DVec3| obstacle.for_cloth(limb, p);
                Solid::sample_with(&field, lo - MORE_CM, hi + MORE_CM, pitch_cm)
            })
            .collect()
    }
}

/// The limbs that panels go round, each once.
fn limbs(round: &[Round]) -> Vec<Round> {
    let mut out: Vec<Round> = Vec::new();
    for &limb in round {
        if !out.contains(&limb) {
            out.push(limb);
        }
    }
    out
}
