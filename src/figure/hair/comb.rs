//! The way hair is combed before it hangs: from a parting and a crown, sideways and back.

use super::Ground;
use super::noise::{Dice, noise};
use super::roots::Root;
use crate::figure::sdf::step;
use glam::{DVec3, dvec3};

/// A side parting that runs from the hairline to the crown.
#[derive(Debug, Clone, Copy)]
pub(super) struct Parting {
    pub front: DVec3,
    pub crown: DVec3,
}

impl Parting {
    /// `aside_mm` to the figure's left at the hairline, nearer the middle at the crown.
    pub fn new(aside_mm: f64) -> Self {
        Self {
            front: dvec3(aside_mm, 88.0, 78.0),
            crown: dvec3(0.45 * aside_mm, 98.0, -42.0),
        }
    }

    /// Which side of the parting's line a place lies on, in millimetres across it.
    pub fn across(&self, p: DVec3) -> f64 {
        let along = self.crown - self.front;
        let t = (p.z - self.front.z) / along.z;
        p.x - (self.front.x + along.x * t)
    }

    /// Whether two places on the scalp are combed apart.
    pub fn divides(&self, a: DVec3, b: DVec3) -> bool {
        let on_top = a.z > self.crown.z + 12.0 && b.z > self.crown.z + 12.0;
        on_top && self.across(a) * self.across(b) < 0.0
    }

    /// Unit direction along the skin that the hair at `root` is combed in.
    pub fn direction(&self, root: &Root) -> DVec3 {
        let along = self.crown - self.front;
        let t = ((root.at - self.front).dot(along) / along.length_squared()).clamp(0.0, 1.0);
        let from = root.at - (self.front + along * t);
        let side = self.across(root.at).signum();
        // Off the face: hair near the forehead is led back as well as aside.
        let front = step(10.0, 62.0, root.at.z);
        let away = from.normalize_or_zero() + dvec3(0.0, -0.25, -0.25);
        let led = dvec3(side * 0.9, -0.3, -0.5);
        let d = away * (1.0 - front) + led * front;
        (d - root.normal * d.dot(root.normal))
            .try_normalize()
            .unwrap_or(DVec3::NEG_Y)
    }
}

/// How combed hair leaves the head.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fall {
    pub length_mm: f64,
    pub points: usize,
    /// Thickness of the hair over the lower skull, in millimetres.
    pub thick_mm: f64,
    /// How steeply hair rises at its root, as a slope.
    pub lift: f64,
}

/// One guide: combed along the skin, then down, on top of the hair rooted below it.
pub(super) fn combed_fall(
    ground: &Ground,
    parting: &Parting,
    root: &Root,
    fall: &Fall,
) -> Vec<DVec3> {
    let mut dice = Dice::new(ground.seed, 0xfa11, root.index);
    let ease = dice.range(0.55, 1.0);
    let length = fall.length_mm * dice.range(0.93, 1.0);
    let seg = length / (fall.points - 1) as f64;
    let comb = parting.direction(root);
    let near_parting = step(16.0, 2.0, parting.across(root.at).abs());
    let lift = fall.lift * (1.0 - 0.55 * near_parting);
    let mut d = (comb + root.normal * lift).normalize();
    let mut p = root.at;
    // Turning is given per 7 mm of hair.
    let turn = 1.0 - 0.70f64.powf(seg / 7.0);
    let sway = 0.22 * noise(root.at / 26.0, 51);
    let inner = (0.3 + root.behind_mm / 22.0).min(1.0);
    let mut points = Vec::with_capacity(fall.points);
    for k in 0..fall.points {
        points.push(p);
        let a = k as f64 * seg;
        let hang = step(10.0, 105.0, a);
        let mut aim = comb * (1.0 - hang) + ground.down * hang;
        aim += comb.cross(root.normal) * (sway * (1.0 - hang));
        // Clear of the face: what would cross brow and cheek is led back.
        aim.z -= 0.7
            * step(66.0, 54.0, p.x.abs())
            * step(8.0, 45.0, p.z)
            * step(80.0, 25.0, p.y)
            * step(-75.0, -40.0, p.y)
            * step(20.0, 60.0, a);
        d = (d + (aim.normalize_or_zero() - d) * turn).normalize_or(ground.down);
        p += d * seg;
        // Hair that has come a longer way lies on top of hair rooted below.
        let layer = 0.4 + fall.thick_mm * inner * ease * (1.0 - (-a / 75.0).exp());
        if let Some(n) = ground.obstacle.push_out(&mut p, layer) {
            let into = d.dot(n).min(0.0);
            d = (d - n * into).normalize_or(ground.down);
        } else if a < 150.0 {
            // Skull-hugging: hair does not leave the head in an arc.
            let n = ground.obstacle.away(p);
            let gap = ground.obstacle.distance(p) - layer;
            let out = d.dot(n).max(0.0) * step(0.0, 8.0, a) * step(60.0, 5.0, gap);
            d = (d - n * (0.5 * out)).normalize_or(ground.down);
        }
    }
    points
}
