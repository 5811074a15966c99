//! The far view: what the near view comes to on average, for each pair of directions.

use super::seen::{GAP, KINDS, Seen, kind};
use super::{Bare, SIDE, vector};
use crate::scene::kernels::{Kernels, Thread};
use naga_rust_rt::{Scalar, Vec4};
use rayon::prelude::*;
use std::f64::consts::PI;

/// Most, of itself, that a value is changed by along one side of the table against reading along straight lines.
const MOST_SHARPER: f32 = 0.05;

/// For each pair of nodes what the near view comes to on average there, less its lobes; and the share of the
/// lobes that is lit and seen. Made the same both ways round.
pub(super) fn table(texels: &[[f32; 4]], first: u32, seen: &Seen) -> Vec<[f32; 4]> {
    let k = Bare { texels };
    let nodes = &seen.nodes;
    let count = nodes.len();
    let fair = seen.fairness(&k, first);
    let one_way: Vec<[f32; 4]> = (0..count * count)
        .into_par_iter()
        .map(|pair| {
            let (o, i) = (pair / count, pair % count);
            one_way(&k, first, seen, o, i)
        })
        .collect();
    let white = vector([1.0; 3]);
    let mut table: Vec<[f32; 4]> = (0..count * count)
        .map(|pair| {
            let (o, i) = (pair / count, pair % count);
            let back = one_way[i * count + o];
            let both: [f32; 4] =
                std::array::from_fn(|n| 0.5 * fair[n] * (one_way[pair][n] + back[n]));
            let lobes = k.far_lobes(Scalar(first), white, nodes[o], nodes[i]);
            let shape = k.far_shape(Scalar(first), nodes[o], nodes[i]).0;
            let rest = |all: f32, lobe: f32| ((all - lobe * both[3]) * PI as f32 / shape).max(0.0);
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
    (0..count * count)
        .map(|pair| {
            let back = pair % count * count + pair / count;
            std::array::from_fn(|n| 0.5 * (table[pair][n] + table[back][n]))
        })
        .collect()
}

/// What is seen from one node under light from another, over the cosine to the light: colour, share of the lobes.
fn one_way(k: &Bare<'_>, first: u32, seen: &Seen, o: usize, i: usize) -> [f32; 4] {
    let (out, toward) = (seen.nodes[o], seen.nodes[i]);
    let value = |t: Thread, side: f32, clear: f32| {
        let [x, y, z, w] = seen.gains[i];
        let gain = Vec4 { x, y, z, w };
        let falls = k.cloth_falls(gain, Scalar(side), Scalar(clear));
        let v = k.thread_value(Scalar(first), t, Scalar(side), out, toward, falls);
        let mut n = k.thread_normal(t);
        n.z *= side;
        let lit = n.dot(toward).0.max(0.0) * falls.straight;
        [v.x, v.y, v.z, lit].map(f64::from)
    };
    // Threads by their height and turn, their undersides and gaps apart: how much of each is seen is known by the near view
    // itself, which also meets threads on flanks too steep for a field of heights.
    let mut faces = [Mean::default(); KINDS];
    let mut gap = Mean::default();
    let mut thread = Mean::default();
    // One half of the places this way round, the other half the other way: both are averaged.
    for place in seen.places.iter().skip(usize::from(o > i)).step_by(2) {
        // What each place weighs: its area as seen, if it is seen.
        let area = place.area(k, out);
        let weight = f64::from(area * place.open[o]);
        if weight > 0.0 {
            let [x, y, z, lit] = value(place.cloth.thread, 1.0, place.clear[i]);
            if place.level == GAP {
                gap.add([x, y, z, 0.0], weight);
            } else {
                faces[kind(place.level, area, out)].add([x, y, z, lit], weight);
                thread.add([x, y, z, lit], weight);
            }
        }
    }
    let mut under = Mean::default();
    for u in &seen.undersides[o] {
        under.add(value(u.thread, u.side, u.clear[i]), 1.0);
    }
    let kinds = seen.faces[o].iter().zip(&faces);
    let kinds = kinds.map(|(&share, mean)| (share, if mean.weight > 0.0 { *mean } else { thread }));
    let parts: Vec<(f64, Mean)> = kinds
        .chain([(seen.below[o], under), (1.0 - seen.cover(o), gap)])
        .collect();
    std::array::from_fn(|n| {
        let all: f64 = parts.iter().map(|(share, mean)| share * mean.of(n)).sum();
        (all / f64::from(toward.z)) as f32
    })
}

#[derive(Clone, Copy, Default)]
struct Mean {
    sums: [f64; 4],
    weight: f64,
}

impl Mean {
    fn add(&mut self, values: [f64; 4], weight: f64) {
        for (sum, v) in self.sums.iter_mut().zip(values) {
            *sum += weight * v;
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
                here[i] - bend.clamp(-MOST_SHARPER * here[i], MOST_SHARPER * here[i])
            });
        }
    }
}
