//! What of a cloth is seen, and lit, from each direction of its far table.

use super::survey::Survey;
use super::{Bare, SIDE, V, node_direction, start_of};
use crate::scene::kernels::{Cloth, Kernels, Thread};
use crate::scene::records::*;
use naga_rust_rt::{Scalar, Vec2, Vec4};
use rayon::prelude::*;
use std::ops::Range;

/// Places on the cloth over which the far view is averaged.
const PLACES: usize = 8192;
/// The same of a sheer, most of which is gaps.
const SHEER_PLACES: usize = 16384;
/// Parts that the places are cut into, each spread over the whole cloth. A pair of nodes takes one part, its
/// neighbours others, so that what is read between nodes is an average over many more places than are looked at for
/// any of them.
const PARTS: usize = 8;
/// The same of the lines of sight from one node.
const SIGHT_PARTS: usize = 4;
/// Levels that threads are sorted into by their height, as many on each; gaps come after them.
const LEVELS: usize = 4;
pub(super) const GAP: usize = LEVELS;
/// Areas as seen, over that of the flat cloth, by which threads of a level are sorted.
const TURNS: [f32; 2] = [0.7, 1.4];
/// What threads are sorted into for one direction.
pub(super) const KINDS: usize = LEVELS * (TURNS.len() + 1);
/// Threads met from below that are kept of each node.
const MOST_UNDERSIDES: usize = 96;
/// Cosine from which on a node is the one straight up.
const ALL_BUT_UP: f32 = 0.999;
/// What light may be raised by.
const LEAST_GAIN: f64 = 0.4;
const MOST_GAIN: f64 = 2.5;

/// Places on the cloth, what is seen of them, and how light from each direction falls on them.
pub(super) struct Seen {
    pub nodes: Vec<V>,
    pub places: Vec<Place>,
    /// For each node what tells what light let in is to be raised by (`cloth_raise` in cloth.wgsl).
    pub kept: Vec<[f32; 4]>,
    /// What that is.
    pub gains: Vec<[f32; 4]>,
    /// For each node the share of lines of sight that meet a thread from above, by its kind.
    pub faces: Vec<[f64; KINDS]>,
    /// For each node the share of lines of sight that meet a thread on its side or from below, and some of those.
    pub below: Vec<f64>,
    pub undersides: Vec<Vec<Underside>>,
}

/// A place, straight from above.
pub(super) struct Place {
    pub cloth: Cloth,
    /// The thread under fibres that lie loose: what decides whether the place is seen.
    bare: Thread,
    /// Which of the levels its thread lies on; `GAP` where there is none.
    pub level: usize,
    /// For each node how clear the way is to the light, and to the eye.
    pub clear: Vec<f32>,
    pub open: Vec<f32>,
}

impl Place {
    /// Area of its surface as seen from a direction, over that of the flat cloth.
    pub fn area(&self, k: &Bare<'_>, d: V) -> f32 {
        area(k, self.bare, d)
    }
}

fn area(k: &Bare<'_>, t: Thread, d: V) -> f32 {
    let n = k.thread_normal(t);
    (n.dot(d).0 / n.z).max(0.0)
}

/// The kind of a thread on a level, its area as seen from a direction known.
pub(super) fn kind(level: usize, area: f32, d: V) -> usize {
    let turned = TURNS.iter().filter(|&&t| area > t * d.z).count();
    level * (TURNS.len() + 1) + turned
}

/// A thread met on its side or from below.
pub(super) struct Underside {
    pub thread: Thread,
    /// As `Cloth::side` has it.
    pub side: f32,
    /// For each node how clear the way is to the light.
    pub clear: Vec<f32>,
}

/// What one node's lines of sight meet.
struct Met {
    faces: [f64; KINDS],
    below: f64,
    undersides: Vec<Underside>,
    /// Light that neighbours throw in at what is seen, summed.
    around: f64,
}

impl Seen {
    pub fn look(texels: &[[f32; 4]], first: u32, survey: &Survey) -> Self {
        let k = Bare { texels };
        let nodes: Vec<V> = (0..SIDE * SIDE)
            .map(|n| node_direction(n % SIDE, n / SIDE))
            .collect();
        let sheer = texels[first as usize + 4][3] < NO_UNDERSIDE_MM.0;
        let mut places: Vec<Place> = survey
            .places
            .par_iter()
            .take(if sheer { SHEER_PLACES } else { PLACES })
            .enumerate()
            .map(|(i, &at)| place(&k, first, at, start_of(i), &nodes, sheer))
            .collect();
        let steps = levels(&places);
        for p in &mut places {
            p.level = level_of(&steps, p.bare);
        }
        let threads = |places: &[Place]| places.iter().filter(|p| p.level != GAP).count() as f64;
        let cover = threads(&places) / places.len() as f64;
        let met: Vec<Met> = nodes
            .par_iter()
            .enumerate()
            .map(|(n, &out)| {
                let part = cut(places.len(), SIGHT_PARTS, n % SIDE + 2 * (n / SIDE));
                let part = &places[part];
                let mut met = meet(&k, first, part, &steps, &nodes, out);
                // As many threads as all places have: this part has somewhat more or fewer.
                let fair = cover * part.len() as f64 / threads(part).max(1.0);
                met.faces = met.faces.map(|f| f * fair);
                met
            })
            .collect();
        let mut seen = Self {
            kept: Vec::new(),
            gains: Vec::new(),
            faces: met.iter().map(|m| m.faces).collect(),
            below: met.iter().map(|m| m.below).collect(),
            undersides: Vec::new(),
            nodes,
            places,
        };
        let around: Vec<f64> = met.iter().map(|m| m.around).collect();
        seen.undersides = met.into_iter().map(|m| m.undersides).collect();
        let kept = seen.raise(&k, sheer, &around);
        let both = kept.iter().zip(&seen.nodes);
        seen.gains = both
            .map(|(&[x, y, z, w], &d)| {
                let gain = k.cloth_raise(Vec4 { x, y, z, w }, d);
                [gain.x, gain.y, gain.z, gain.w]
            })
            .collect();
        seen.kept = past_the_rim(&seen.nodes, kept);
        seen
    }

    /// Share of a node's lines of sight that meet a thread.
    pub fn cover(&self, node: usize) -> f64 {
        self.faces[node].iter().sum::<f64>() + self.below[node]
    }

    /// What tells what all light let in is to be raised by.
    fn raise(&self, k: &Bare<'_>, sheer: bool, around: &[f64]) -> Vec<[f32; 4]> {
        let n = self.places.len() as f64;
        let is_thread = |p: &&Place| p.bare.part != PART_GAP.0;
        // Of light from each direction what faces meet, over what they would if nothing stood in its way; and how clear
        // the way is on average.
        let (met, clear): (Vec<f64>, Vec<f64>) = (0..self.nodes.len())
            .map(|d| {
                let toward = self.nodes[d];
                let area = |p: &Place| f64::from(p.area(k, toward));
                let of = |p: &Place| area(p) * f64::from(p.open[d]);
                let faces = || self.places.iter().filter(|p| !sheer || is_thread(p));
                let all = if sheer {
                    self.faces[d].iter().sum()
                } else {
                    1.0 - self.below[d]
                };
                let (bare, met): (f64, f64) = (faces().map(area).sum(), faces().map(of).sum());
                (met / (n * f64::max(all, 1e-9)), met / bare.max(1e-9))
            })
            .unzip();
        let slant: Vec<f64> = (0..self.nodes.len())
            .map(|d| {
                let level = f64::from(self.nodes[d].z);
                (met[d] - level) / (1.0 - level * level).sqrt().max(1e-3)
            })
            .collect();
        let straight = |d: usize| {
            let level = f64::from(self.nodes[d].z);
            level / met[d].max(f64::from(LEAST_MET.0) * level)
        };
        let through: Vec<f64> = (0..self.nodes.len())
            .map(|d| {
                let threads = self.places.iter().filter(is_thread);
                let sum: f64 = threads
                    .map(|p| 0.45 + 0.55 * straight(d) * f64::from(p.clear[d]))
                    .sum();
                sum / n
            })
            .collect();
        // So that even light brings what it brought: means over the half space.
        let mean = |f: &dyn Fn(usize) -> f64| {
            let over = self.nodes.iter().enumerate();
            over.filter(|(d, _)| in_half_space(*d))
                .map(|(d, v)| f64::from(v.z) * f(d))
                .sum::<f64>()
        };
        let threads = self.places.iter().filter(is_thread).count() as f64 / n;
        let by_cover = mean(&|d| through[d]) / mean(&|d| self.cover(d)).max(1e-9);
        let by_around = mean(&|_| 1.0) / mean(&|d| around[d]).max(1e-9);
        (0..self.nodes.len())
            .map(|d| {
                let through = by_cover * self.cover(d) / through[d].max(1e-9);
                let around = if threads > 0.0 {
                    by_around * around[d]
                } else {
                    1.0
                };
                let even = 0.45 + 0.55 * straight(d) * clear[d];
                let slant = if self.nodes[d].z > ALL_BUT_UP {
                    // Straight up there is no slant: that of the directions around.
                    [d - 1, d + 1, d - SIDE, d + SIDE]
                        .map(|b| slant[b])
                        .iter()
                        .sum::<f64>()
                        / 4.0
                } else {
                    slant[d]
                };
                [slant, held(through) * even, held(around), clear[d]].map(|g| g as f32)
            })
            .collect()
    }

    /// Which places a pair of nodes takes: the sixteen pairs that a value is read between take nearly all of them.
    pub fn part(&self, out: usize, toward: usize) -> Range<usize> {
        let [x, y] = [out % SIDE, out / SIDE];
        let [u, v] = [toward % SIDE, toward / SIDE];
        cut(self.places.len(), PARTS, x + 2 * y + 3 * u + 5 * v)
    }
}

/// Nodes outside the disk of directions hold what is read toward the rim from within: there what is kept goes on as it
/// does, on average, in the disk's outer half.
fn past_the_rim(nodes: &[V], mut kept: Vec<[f32; 4]>) -> Vec<[f32; 4]> {
    let side = |n: usize| 2.0 * n as f64 / (SIDE - 1) as f64 - 1.0;
    // How far out a node is, and how far out its direction.
    let out: Vec<[f64; 2]> = (0..nodes.len())
        .map(|n| {
            let (x, y) = (side(n % SIDE), side(n / SIDE));
            [(x * x + y * y).sqrt(), f64::from(1.0 - nodes[n].z).sqrt()]
        })
        .collect();
    let outer: Vec<usize> = (0..nodes.len()).filter(|&n| out[n][1] > 0.7).collect();
    let mean =
        |f: &dyn Fn(usize) -> f64| outer.iter().map(|&n| f(n)).sum::<f64>() / outer.len() as f64;
    let middle = mean(&|n| out[n][1]);
    let spread = mean(&|n| (out[n][1] - middle).powi(2));
    for c in 0..4 {
        let slope = mean(&|n| (out[n][1] - middle) * f64::from(kept[n][c])) / spread;
        for (kept, [at, of]) in kept.iter_mut().zip(&out) {
            let on = kept[c] + (slope * (at - of)) as f32;
            kept[c] = if c == 0 { on } else { on.max(0.0) };
        }
    }
    kept
}

/// One of so many equal parts, counted around.
fn cut(count: usize, parts: usize, part: usize) -> Range<usize> {
    let length = count / parts;
    let start = part % parts * length;
    start..start + length
}

fn held(gain: f64) -> f64 {
    gain.clamp(LEAST_GAIN, MOST_GAIN)
}

/// Nodes at the table's corners stand for no direction of their own.
fn in_half_space(node: usize) -> bool {
    let side = |n: usize| 2.0 * n as f32 / (SIDE - 1) as f32 - 1.0;
    let (x, y) = (side(node % SIDE), side(node / SIDE));
    x * x + y * y <= 1.0
}

fn place(k: &Bare<'_>, first: u32, at: [f32; 2], start: f32, nodes: &[V], sheer: bool) -> Place {
    let cloth = k.near(first, at, start);
    if sheer && cloth.thread.part == PART_GAP.0 {
        // What lies behind a sheer is none of its own.
        return Place {
            cloth,
            bare: cloth.thread,
            level: GAP,
            open: vec![0.0; nodes.len()],
            clear: vec![0.0; nodes.len()],
        };
    }
    let clear: Vec<f32> = nodes.iter().map(|&d| k.cloth_clear(cloth, d).0).collect();
    if cloth.thread.part != PART_HAIR.0 {
        return Place {
            cloth,
            bare: cloth.thread,
            level: GAP,
            open: clear.clone(),
            clear,
        };
    }
    let [x, y] = at;
    let bare = k.cloth_bare_thread(Scalar(first), Vec2 { x, y }, Scalar(0.0));
    let without = Cloth {
        thread: bare,
        ..cloth
    };
    let open = nodes.iter().map(|&d| k.cloth_clear(without, d).0).collect();
    Place {
        cloth,
        bare,
        level: GAP,
        clear,
        open,
    }
}

/// Heights between levels.
fn levels(places: &[Place]) -> Vec<f32> {
    let threads = places.iter().filter(|p| p.bare.part != PART_GAP.0);
    let mut heights: Vec<f32> = threads.map(|p| p.bare.height_mm).collect();
    heights.sort_by(f32::total_cmp);
    (1..LEVELS)
        .filter_map(|n| heights.get(n * heights.len() / LEVELS).copied())
        .collect()
}

fn level_of(steps: &[f32], t: Thread) -> usize {
    if t.part == PART_GAP.0 {
        return GAP;
    }
    steps.iter().filter(|&&h| t.height_mm >= h).count()
}

fn meet(k: &Bare<'_>, first: u32, places: &[Place], steps: &[f32], nodes: &[V], out: V) -> Met {
    let mut met = Met {
        faces: [0.0; KINDS],
        below: 0.0,
        undersides: Vec::new(),
        around: 0.0,
    };
    let first = Scalar(first);
    for p in places {
        let sight = k.cloth_seen(first, p.cloth.at_mm, out);
        if sight.side == 0.0 {
            continue;
        }
        let t = k.cloth_bare_thread(first, sight.at_mm, Scalar(0.0));
        if t.part == PART_GAP.0 {
            continue;
        }
        let each = 1.0 / places.len() as f64;
        if sight.side == 1.0 {
            met.faces[kind(level_of(steps, t), area(k, t, out), out)] += each;
        } else {
            met.below += each;
            if met.undersides.len() < MOST_UNDERSIDES {
                let cloth = Cloth {
                    at_mm: sight.at_mm,
                    thread: t,
                    side: sight.side,
                    ..p.cloth
                };
                let clear = |&d: &V| {
                    if sight.side > 0.0 {
                        k.cloth_clear(cloth, d).0
                    } else {
                        1.0
                    }
                };
                met.undersides.push(Underside {
                    thread: t,
                    side: sight.side,
                    clear: nodes.iter().map(clear).collect(),
                });
            }
        }
        let light = k.cavity_light(first, t, k.thread_open(first, t));
        met.around += f64::from(light.x + light.y + light.z);
    }
    met
}
