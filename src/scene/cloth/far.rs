//! The far view: what the near view comes to on average, for each pair of directions.

use super::seen::{GAP, KINDS, Seen, kind};
use super::survey::place;
use super::{Bare, SIDE, V, vector};
use crate::scene::kernels::{Kernels, Thread};
use crate::scene::records::PART_GAP;
use naga_rust_rt::{Scalar, Vec4};
use rayon::prelude::*;
use std::f64::consts::PI;

/// Most, of itself, that a value is changed by along one side of the table against reading along straight lines.
const MOST_SHARPER: f32 = 0.05;
/// Places that the brightness of all is taken from.
const MANY: usize = 65_536;
/// What near may be raised by.
const LEAST_RAISE: f32 = 0.5;
const MOST_RAISE: f32 = 2.0;

/// The far view, and what near is raised by to be that on average.
pub(super) struct Far {
    pub table: Vec<[f32; 4]>,
    pub near: Vec<[f32; 4]>,
}

/// For each pair of nodes what the near view comes to on average there, less its lobes; and the share of the
/// lobes that is lit and seen. Made the same both ways round.
pub(super) fn table(texels: &[[f32; 4]], first: u32, seen: &Seen) -> Far {
    let k = Bare { texels };
    let nodes = &seen.nodes;
    let count = nodes.len();
    let all = AllPlaces::look(&k, first, seen);
    let steady = against_many(&k, first, seen);
    let one_way: Vec<[f32; 4]> = (0..count * count)
        .into_par_iter()
        .map(|pair| {
            let (o, i) = (pair / count, pair % count);
            let [x, y, z, w] = one_way(&k, first, seen, &all, o, i);
            let [a, b, c, d] = steady;
            [x * a, y * b, z * c, w * d]
        })
        .collect();
    let near = raise_near(&one_way, count);
    let white = vector([1.0; 3]);
    let mut table: Vec<[f32; 4]> = (0..count * count)
        .map(|pair| {
            let (o, i) = (pair / count, pair % count);
            let back = one_way[i * count + o];
            let both: [f32; 4] = std::array::from_fn(|n| 0.5 * (one_way[pair][n] + back[n]));
            let lobes = k.far_lobes(Scalar(first), white, nodes[o], nodes[i]);
            let shape = k.far_shape(Scalar(first), nodes[o], nodes[i]).0;
            // Below nothing where the lobes alone are too bright.
            let rest = |all: f32, lobe: f32| (all - lobe * both[3]) * PI as f32 / shape;
            [
                rest(both[0], lobes.x),
                rest(both[1], lobes.y),
                rest(both[2], lobes.z),
                both[3],
            ]
        })
        .collect();
    sharpen(&mut table);
    // Where nothing may fall below nothing, the order of the sides told: even that out.
    let table = (0..count * count)
        .map(|pair| {
            let back = pair % count * count + pair / count;
            std::array::from_fn(|n| 0.5 * (table[pair][n] + table[back][n]))
        })
        .collect();
    Far { table, near }
}

/// What near is to be raised by for each pair of nodes, to be on average what it is both ways round: four lights a texel,
/// which a light between them is read from (`cloth_pair` in cloth.wgsl).
fn raise_near(one_way: &[[f32; 4]], count: usize) -> Vec<[f32; 4]> {
    let bright = |v: [f32; 4]| 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
    let raise = |o: usize, i: usize| {
        let (here, back) = (
            bright(one_way[o * count + i]),
            bright(one_way[i * count + o]),
        );
        if here > 0.0 {
            (0.5 * (1.0 + back / here)).clamp(LEAST_RAISE, MOST_RAISE)
        } else {
            1.0
        }
    };
    (0..count * count)
        .map(|pair| {
            let (o, i) = (pair / count, pair % count);
            [i, i + 1, i + SIDE, i + SIDE + 1].map(|i| raise(o, i.min(count - 1)))
        })
        .collect()
}

/// What a thread sends to `out` of light from node `i` that comes to it `clear`, and how much of that comes straight on it.
fn value(
    (k, first, seen): (&Bare<'_>, u32, &Seen),
    (t, side, clear): (Thread, f32, f32),
    out: V,
    i: usize,
) -> [f32; 4] {
    let toward = seen.nodes[i];
    let [x, y, z, w] = seen.gains[i];
    let gain = Vec4 { x, y, z, w };
    let falls = k.cloth_falls(gain, Scalar(side), Scalar(clear));
    let v = k.thread_value(Scalar(first), t, Scalar(side), out, toward, falls);
    let mut n = k.thread_normal(t);
    n.z *= side;
    let lit = n.dot(toward).0.max(0.0) * falls.straight;
    [v.x, v.y, v.z, if t.part == PART_GAP.0 { 0.0 } else { lit }]
}

/// What is known of all places, since it takes one direction alone.
struct AllPlaces {
    /// For each node what each place weighs there, its area as seen if it is seen, and its kind.
    weights: Vec<Vec<(f32, u8)>>,
    /// For each node what each place sends straight up of light from there.
    upward: Vec<Vec<[f32; 4]>>,
}

impl AllPlaces {
    fn look(k: &Bare<'_>, first: u32, seen: &Seen) -> Self {
        let up = vector([0.0, 0.0, 1.0]);
        let each = |n: usize| {
            let out = seen.nodes[n];
            let places = seen.places.iter();
            places
                .map(|p| {
                    let area = p.area(k, out);
                    let kind = if p.level == GAP {
                        KINDS
                    } else {
                        kind(p.level, area, out)
                    };
                    let thread = (p.cloth.thread, 1.0, p.clear[n]);
                    let sent = value((k, first, seen), thread, up, n);
                    ((area * p.open[n], kind as u8), sent)
                })
                .unzip()
        };
        let nodes = (0..seen.nodes.len()).into_par_iter();
        let (weights, upward) = nodes.map(each).unzip();
        Self { weights, upward }
    }
}

/// How much brighter many more places are than those that are looked at, since stripes, streaks and slubs are seldom:
/// colours by those of threads and by how many there are, the last by how many alone.
fn against_many(k: &Bare<'_>, first: u32, seen: &Seen) -> [f32; 4] {
    let add = |sum: [f64; 4], t: Thread| {
        if t.part == PART_GAP.0 {
            return sum;
        }
        let of = [t.colour.x, t.colour.y, t.colour.z, 1.0];
        std::array::from_fn(|n| sum[n] + f64::from(of[n]))
    };
    let many: Vec<Thread> = (1..=MANY)
        .into_par_iter()
        .map(|i| k.thread(first, place(i)))
        .collect();
    let many = many.into_iter().fold([0.0; 4], add);
    let these = seen.places.iter().map(|p| p.cloth.thread);
    let these = these.fold([0.0; 4], add);
    let part = seen.places.len() as f64 / MANY as f64;
    std::array::from_fn(|n| {
        let ratio = if these[n] > 0.0 {
            many[n] * part / these[n]
        } else {
            1.0
        };
        ratio.clamp(0.8, 1.25) as f32
    })
}

/// What is seen from one node under light from another, over the cosine to the light: colour, share of the lobes.
fn one_way(k: &Bare<'_>, first: u32, seen: &Seen, all: &AllPlaces, o: usize, i: usize) -> [f32; 4] {
    let (out, toward) = (seen.nodes[o], seen.nodes[i]);
    // Threads by their height and turn, their undersides and gaps apart: how much of each is seen is known by the near view
    // itself, which also meets threads on flanks too steep for a field of heights.
    let shares: [f64; KINDS + 1] = std::array::from_fn(|n| {
        let faces = seen.faces[o].get(n).copied();
        faces.unwrap_or(1.0 - seen.cover(o))
    });
    let mut found = ByKind::default();
    let (mut told, mut told_of_all) = (ByKind::default(), ByKind::default());
    // One part of the places this way round, mostly another the other way: both are averaged.
    let part = seen.part(o, i);
    let places = all.weights[o].iter().zip(&all.upward[i]).enumerate();
    for (n, (&(weight, kind), &upward)) in places {
        if weight <= 0.0 {
            continue;
        }
        let (weight, kind) = (f64::from(weight), usize::from(kind));
        told_of_all.0[kind].add(upward, weight);
        if part.contains(&n) {
            let p = &seen.places[n];
            let thread = (p.cloth.thread, 1.0, p.clear[i]);
            told.0[kind].add(upward, weight);
            found.0[kind].add(value((k, first, seen), thread, out, i), weight);
        }
    }
    let mut under = Mean::default();
    for u in &seen.undersides[o] {
        under.add(
            value((k, first, seen), (u.thread, u.side, u.clear[i]), out, i),
            1.0,
        );
    }
    std::array::from_fn(|n| {
        // What the part misses all places by, seen straight from above, it misses them by here (a ratio estimate; Cochran,
        // "Sampling Techniques", chapter 6).
        let fair = match told.of(&shares, n) {
            some if some > 1e-9 => (told_of_all.of(&shares, n) / some).clamp(0.5, 2.0),
            _ => 1.0,
        };
        let met = fair * found.of(&shares, n) + seen.below[o] * under.of(n);
        (met / f64::from(toward.z)) as f32
    })
}

/// Means over places of each kind; the last are gaps.
#[derive(Default)]
struct ByKind([Mean; KINDS + 1]);

impl ByKind {
    /// The mean over all kinds by their shares. Where no place is of a kind, threads of the others stand for it.
    fn of(&self, shares: &[f64; KINDS + 1], n: usize) -> f64 {
        let threads = &self.0[..KINDS];
        let sum: f64 = threads.iter().map(|m| m.sums[n]).sum();
        let weight: f64 = threads.iter().map(|m| m.weight).sum();
        let mean = |(kind, m): (usize, &Mean)| {
            if m.weight > 0.0 || kind == KINDS {
                m.of(n)
            } else {
                sum / weight.max(1e-12)
            }
        };
        let kinds = self.0.iter().enumerate().map(mean);
        kinds.zip(shares).map(|(mean, share)| mean * share).sum()
    }
}

#[derive(Clone, Copy, Default)]
struct Mean {
    sums: [f64; 4],
    weight: f64,
}

impl Mean {
    fn add(&mut self, values: [f32; 4], weight: f64) {
        for (sum, v) in self.sums.iter_mut().zip(values) {
            *sum += weight * f64::from(v);
        }
        self.weight += weight;
    }

    fn of(&self, n: usize) -> f64 {
        self.sums[n] / self.weight.max(1e-12)
    }
}

/// Reading between nodes along straight lines lies above a function that bends up, by h²/12 of its second
/// derivative on average (h a cell): each node gives that beforehand, along all four sides of the table.
fn sharpen(table: &mut [[f32; 4]]) {
    for stride in [1, SIDE, SIDE * SIDE, SIDE * SIDE * SIDE] {
        let before = table.to_vec();
        for (n, texel) in table.iter_mut().enumerate() {
            let at = n / stride % SIDE;
            if at == 0 || at == SIDE - 1 {
                continue;
            }
            let (low, here, high) = (before[n - stride], before[n], before[n + stride]);
            *texel = std::array::from_fn(|i| {
                let bend = (low[i] - 2.0 * here[i] + high[i]) / 12.0;
                let most = MOST_SHARPER * here[i].abs();
                here[i] - bend.clamp(-most, most)
            });
        }
    }
}
