//! Short hair: grown strand by strand from the whorl at the crown.

use super::Ground;
use super::noise::{Dice, noise, scattered};
use super::ribbon::Strand;
use super::roots::{Edge, Root, weighted};
use crate::figure::sdf::step;
use glam::{DVec3, dvec3};
use rayon::prelude::*;

/// Where the hair turns about the crown; most whorls lie a little off the middle.
const WHORL: DVec3 = DVec3::new(-12.0, 88.0, -62.0);
/// Distance between tufts, in millimetres.
const TUFT_MM: f64 = 8.0;

/// Short hair, `top_mm` long on the top of the head and `side_mm` over ears and nape.
pub(super) fn short(ground: &Ground, top_mm: f64, side_mm: f64) -> Vec<Strand> {
    let cut = Cut { top_mm, side_mm };
    // The shorter the hair, the more strands it takes to cover the skin.
    let usual =
        33_000.0 + 10_000.0 * step(30.0, 12.0, side_mm) - 6_000.0 * step(45.0, 90.0, top_mm);
    // Long hair on the top covers more than short hair at the sides; the whorl
    // bares what lies about its middle.
    let thick = |p: DVec3| {
        let bare = 0.6 * step(40.0, 14.0, p.distance(WHORL));
        (0.885 - 0.325 * on_top(p) * step(20.0, 45.0, top_mm) + bare).min(1.0)
    };
    weighted(ground, ground.count(usual), 0xc407, Edge::Soft, &thick)
        .par_iter()
        .map(|root| cut.strand(ground, root))
        .collect()
}

struct Cut {
    top_mm: f64,
    side_mm: f64,
}

impl Cut {
    /// Mean length at a place on the scalp.
    fn length(&self, root: &Root) -> f64 {
        let edge = step(0.0, 9.0, root.behind_mm);
        // Graded: shorter towards nape and sideburns, growing into the top.
        let graded =
            0.62 + 0.38 * step(-62.0, 10.0, root.at.y) + 0.35 * step(10.0, 60.0, root.at.y);
        let sides = self.side_mm * graded;
        let top = (self.top_mm - sides).max(0.0) * on_top(root.at).powf(1.4);
        (sides + top) * (0.62 + 0.38 * edge)
    }

    /// Unit direction along the skin: round and out of the whorl, forward and aside
    /// on the top, down over the sides.
    fn comb(&self, root: &Root) -> DVec3 {
        let p = root.at;
        let from = p - WHORL;
        let out = from.normalize_or_zero();
        let spin = root.normal.cross(out) * (2.4 * step(60.0, 4.0, from.length()));
        let top = on_top(p);
        let front = step(0.0, 60.0, p.z) * top;
        // Longer sides are led back over the ears.
        let back = 0.30 + 0.75 * step(20.0, 45.0, self.side_mm);
        let down = dvec3(0.0, -1.0, -back * step(-60.0, 10.0, p.z));
        // The front is brushed up and to the figure's right.
        let swept = dvec3(-0.85, 0.5, -0.15);
        let d =
            out * (1.0 - 0.5 * front) + spin + down * (1.4 * (1.0 - top)) + swept * (1.2 * front);
        (d - root.normal * d.dot(root.normal))
            .try_normalize()
            .unwrap_or(DVec3::NEG_Y)
    }

    fn strand(&self, ground: &Ground, root: &Root) -> Strand {
        let mut dice = Dice::new(ground.seed, 0xc408, root.index);
        let on_top = on_top(root.at);
        let edge = step(0.0, 9.0, root.behind_mm);
        let length = self.length(root) * dice.range(0.74, 1.08);
        let n = ((length / 6.4).ceil() as usize + 1).clamp(4, 10);
        let seg = length / (n - 1) as f64;
        // Uneven on the scale of tufts and of single hairs: no gel holds it.
        let turn = 0.40 * noise(root.at / 19.0, 81)
            + 0.30 * noise(root.at / 7.0, 82)
            + 0.20 * dice.normal();
        let comb = about(
            self.comb(root),
            root.normal,
            turn * (1.0 - 0.3 * step(38.0, 85.0, length)),
        );
        let fringe = on_top * step(30.0, 70.0, root.at.z);
        // What is too long to stand lies down.
        let long = step(38.0, 85.0, length);
        let lift = (0.15 + 0.60 * on_top * on_top + 0.35 * fringe) * (1.0 - 0.35 * long)
            + (0.16 * noise(root.at / 9.0, 83) + 0.13 * dice.normal()) * (1.0 - 0.45 * long);
        let mut d = (comb + root.normal * lift.max(0.08)).normalize();
        let mut p = root.at;
        // Hair is springy: short hair keeps its way, long hair gives in to its weight.
        let droop = 0.0085 * seg * (0.6 + 0.5 * dice.unit()) * (1.0 + 1.6 * long);
        let settle = 0.016 * seg * (1.0 + 1.3 * long);
        let thick = 0.8 + 0.11 * length.min(75.0);
        let layer = dice.unit().sqrt() * thick * (0.25 + 0.75 * edge);
        let sway = 0.022 * seg * (noise(root.at / 5.0, 84) + 0.5 * dice.normal());
        let to_tuft = scattered(root.at / TUFT_MM) * TUFT_MM - root.at;
        let gather = (to_tuft - root.normal * to_tuft.dot(root.normal))
            * dice.range(0.05, 0.3 + 0.4 * on_top);
        let mut points = Vec::with_capacity(n);
        for k in 0..n {
            let t = k as f64 / (n - 1) as f64;
            let mut at = p + gather * (t * t);
            if k > 0 {
                ground.obstacle.push_out(&mut at, 0.12);
            }
            points.push(at);
            let a = (k + 1) as f64 * seg;
            d += (ground.down + ground.wind * 1.6) * droop + (comb - d) * settle;
            d = about(d.normalize(), root.normal, sway);
            p += d * seg;
            let clear = 0.15 + layer.min(0.5 * a) * step(0.0, 12.0, a);
            if let Some(out) = ground.obstacle.push_out(&mut p, clear) {
                d = (d - out * d.dot(out).min(0.0)).normalize_or(comb);
            }
        }
        Strand {
            points,
            width_mm: ground.width(0.49 - 0.09 * step(20.0, 60.0, length)),
            taper: (0.30 + 0.6 * edge, 0.4),
            widens_mm: 5.0,
            roll: 0.7,
        }
    }
}

/// 1 on the top of the head, 0 over sides and nape.
fn on_top(p: DVec3) -> f64 {
    let rim = 48.0 + 16.0 * step(-20.0, -75.0, p.z) - 6.0 * step(20.0, 70.0, p.z);
    step(rim - 16.0, rim + 30.0, p.y + 5.0 * noise(p / 30.0, 85))
}

/// `v` turned about a unit axis by an angle in radians (Rodrigues).
fn about(v: DVec3, axis: DVec3, angle: f64) -> DVec3 {
    let (s, c) = angle.sin_cos();
    v * c + axis.cross(v) * s + axis * (axis.dot(v) * (1.0 - c))
}
