//! Hair drawn back and tied: bun and ponytail.

use super::Ground;
use super::hang::{Guides, settle};
use super::interpolate::{Curl, Lock, fill};
use super::noise::{Dice, noise, noise_along};
use super::ribbon::Strand;
use super::roots::{CRANIUM, Edge, Root, roots, weighted};
use super::scalp::Ear;
use crate::figure::sdf::{smax, step};
use glam::{DMat3, DVec3, dvec3};
use rayon::prelude::*;
use std::f64::consts::{PI, TAU};

/// Points of a strand between its root and the tie.
const POINTS: usize = 15;
/// Tallest layer of drawn-back hair, in millimetres: smoothed flat, or it stands off the temples like cropped hair.
const VOLUME_MM: f64 = 3.2;
/// How far hair rises over the crown, in millimetres.
const CROWN_MM: f64 = 5.0;
/// Single hairs that the comb has left standing off the others.
const FLYAWAYS: f64 = 440.0;

/// The place where the hair is gathered.
struct Tie {
    /// On the skin.
    at: DVec3,
    /// Columns: left, up, out of the head.
    axes: DMat3,
}

impl Tie {
    fn new(ground: &Ground, toward: DVec3) -> Self {
        let outward = toward.normalize();
        let at = CRANIUM + outward * ground.skull_radius(outward);
        let out = ground.obstacle.away(at);
        let left = DVec3::Y.cross(out).normalize();
        Self {
            at,
            axes: DMat3::from_cols(left, out.cross(left), out),
        }
    }

    fn place(&self, left: f64, up: f64, out: f64) -> DVec3 {
        self.at + self.axes * dvec3(left, up, out)
    }
}

/// Drawn back into a coil at the back of the head.
pub(super) fn bun(ground: &Ground) -> Vec<Strand> {
    let tie = Tie::new(ground, dvec3(0.0, 0.12, -1.0));
    let mut strands = drawn_back(ground, &tie, 7000.0);
    strands.extend(coil(ground, &tie, 18.0, 14.0, 16.0, 800.0));
    // The end of the length, tucked into the middle of the coil.
    strands.extend(coil(ground, &tie, 6.5, 8.0, 21.0, 170.0));
    strands.extend(wisps(ground));
    strands
}

/// Drawn back into a tail that hangs and blows.
pub(super) fn tail(ground: &Ground, length_mm: f64) -> Vec<Strand> {
    let tie = Tie::new(ground, dvec3(0.0, 0.30, -1.0));
    let mut strands = drawn_back(ground, &tie, 6300.0);
    strands.extend(coil(ground, &tie, 8.5, 3.6, 8.0, 150.0));
    strands.extend(hanging_tail(ground, &tie, length_mm));
    strands.extend(wisps(ground));
    strands
}

fn drawn_back(ground: &Ground, tie: &Tie, usual: f64) -> Vec<Strand> {
    let width_mm = ground.width(0.48);
    let ear = ground.scalp.ear();
    // What lies low in front of the tie is seen through what lies over it.
    let near_tie = |p: DVec3| 0.55 + 0.45 * step(50.0, 110.0, p.distance(tie.at));
    let mut all = weighted(ground, ground.count(usual), 0x7e, Edge::Soft, &near_tie);
    // Along the hairline, where one sees between them, finer and shorter ones.
    let long = all.len();
    all.extend(roots(
        ground,
        ground.count(22_000.0),
        0x7f,
        Edge::Strip(36.0),
    ));
    let mut strands: Vec<Strand> = all
        .par_iter()
        .enumerate()
        .filter(|(_, root)| !before_the_ear(&ear, root))
        .map(|(i, root)| Strand {
            points: combed(
                ground,
                tie,
                root,
                if i < long { POINTS } else { 5 + root.index % 5 },
                0.0,
            ),
            width_mm: width_mm * (0.75 + 0.25 * step(3.0, 14.0, root.behind_mm)),
            taper: (
                0.35 + 0.55 * step(2.0, 16.0, root.behind_mm),
                if i < long { 0.6 } else { 0.3 },
            ),
            widens_mm: 6.0,
            roll: 0.35,
        })
        .collect();
    let off = roots(ground, ground.count(FLYAWAYS), 0x80, Edge::Soft);
    strands.extend(
        off.iter()
            .filter(|root| !before_the_ear(&ear, root))
            .map(|root| {
                let mut dice = Dice::new(ground.seed, 0x81, root.index);
                let off_mm = 1.5 + 7.5 * dice.unit().powi(2);
                Strand {
                    points: combed(ground, tie, root, 6 + root.index % 5, off_mm),
                    width_mm: 0.1,
                    taper: (0.7, 0.4),
                    widens_mm: 4.0,
                    roll: 0.6,
                }
            }),
    );
    strands
}

/// Whether a root lies on the sideburn: too low and too short to reach the tie.
fn before_the_ear(ear: &Ear, root: &Root) -> bool {
    let low = root.at.y < ear.centre_mm.y + 0.6 * ear.half_height_mm;
    low && root.at.z > ear.centre_mm.z && root.at.x.abs() > 45.0
}

/// The first `points` of a strand combed over the head from its root to the tie, standing
/// `off_mm` off the others half-way.
fn combed(ground: &Ground, tie: &Tie, root: &Root, points: usize, off_mm: f64) -> Vec<DVec3> {
    let mut dice = Dice::new(ground.seed, 0x7e1, root.index);
    let from = (root.at - CRANIUM).normalize();
    let (dx, dy) = dice.disc();
    let to = (tie.place(8.5 * dx, 8.5 * dy, 0.0) - CRANIUM).normalize();
    let angle = from.dot(to).clamp(-1.0, 1.0).acos() + 1e-4;
    let aside = from.cross(to).try_normalize().unwrap_or(DVec3::Y);
    let ear = ground.scalp.ear();
    // Strands whose roots lie side by side run as one lock.
    let q = tie.axes.transpose() * (root.at - tie.at);
    let lock = q.x.atan2(q.y) * 7.0;
    let inner = (root.behind_mm / 26.0).clamp(0.0, 1.0);
    // Layers crowd at the top, where they make one smooth face: strands that stand off it throw shadows on it, strand by
    // strand, under light from the side, and make the outline bristly.
    let layer = 0.4 + VOLUME_MM * dice.unit().powf(0.05) * (0.25 + 0.75 * inner);
    let stray = if dice.unit() > 0.992 {
        1.0 + 1.8 * dice.unit()
    } else {
        off_mm
    };
    let own = dice.range(-1.0, 1.0);
    let phase = TAU * dice.unit();
    (0..points)
        .map(|k| {
            let t = k as f64 / (POINTS - 1) as f64;
            let mut d = (from * ((1.0 - t) * angle).sin() + to * (t * angle).sin()) / angle.sin();
            let wave = 0.011 * noise_along(t * 2.2 + 3.0, lock * 0.6, 21)
                + 0.004 * noise_along(t * 4.0, lock * 3.1, 22)
                + 0.002 * own * (t * 9.0 + phase).sin()
                + 0.014 * stray * own * (t * 6.2).sin();
            d = (d + aside * (wave * (t * PI).sin())).normalize();
            if k > 0 {
                d = past_the_ear(ground, &ear, root, d);
            }
            let radius = ground.skull_radius(d);
            let ridge = noise_along(t * 1.2, lock * 0.7 + 20.0, 23)
                + 0.1 * noise_along(t * 2.0, lock * 4.0 + 9.0, 24);
            let crown = CROWN_MM * (-((d.y - 0.55) / 0.6).powi(2)).exp();
            let rise = 1.0 - (-t * 9.0).exp();
            let slow = 1.0 - (-t * 5.0).exp();
            let height =
                layer * rise + slow * inner * (crown + 0.4 * ridge) + stray * (t * PI).sin() + 0.05;
            let lowest = 0.05 + 0.25 * rise;
            CRANIUM + d * (radius + if k == 0 { 0.0 } else { height.max(lowest) })
        })
        .collect()
}

/// Turns a direction that runs across an ear up over its top, so that the ear stays
/// free and the hair is tucked behind it.
fn past_the_ear(ground: &Ground, ear: &Ear, root: &Root, d: DVec3) -> DVec3 {
    if d.x.abs() < 0.45 {
        return d;
    }
    let p = CRANIUM + d * ground.skull_radius(d).min(84.0);
    let left = dvec3(p.x.abs(), p.y, p.z);
    let q = ear.plane(left);
    // The hair may touch the top of the rim.
    let (rim, from_front) = (0.90, root.at.z > ear.centre_mm.z);
    if q.length() > 1.7 || !from_front {
        return d;
    }
    let over = (rim * rim - q.y * q.y).max(0.0).sqrt();
    let lifted = smax(q.x, over, 0.6);
    let fade = step(1.7, 1.2, q.length());
    let moved = p + DVec3::Y * ((lifted - q.x) * ear.half_height_mm * fade);
    (moved - CRANIUM).normalize()
}

/// Strands wound round the tie: a torus that they also twist about.
fn coil(ground: &Ground, tie: &Tie, ring: f64, tube: f64, out: f64, usual: f64) -> Vec<Strand> {
    let turns = if tube > 10.0 { 1.35 } else { 1.1 };
    let points = if tube > 10.0 { 40 } else { 26 };
    (0..ground.count(usual))
        .into_par_iter()
        .map(|i| {
            let mut dice = Dice::new(ground.seed, 0xc011, i);
            let start = TAU * dice.unit();
            let depth = dice.range(0.5, 1.0).sqrt();
            let lean = TAU * dice.unit();
            let twist = 1.15 + 0.08 * dice.normal();
            let stray = if dice.unit() < 0.03 { 0.2 } else { 0.0 };
            let shape = (0..points)
                .map(|k| {
                    let t = k as f64 / (points - 1) as f64;
                    let around = start + t * turns * TAU;
                    let about = lean + around * twist;
                    let locks = 1.0
                        + 0.055 * (about * 3.0 + around * 0.7).sin()
                        + 0.035 * (about * 7.0 + 1.0).sin()
                        + 0.02 * noise_along(around * 2.0, depth * 9.0, 31);
                    // Both ends are tucked inside.
                    let tuck = step(0.0, 0.07, t) * step(1.0, 0.93, t);
                    let r = tube
                        * depth
                        * locks
                        * (0.55 + 0.45 * tuck)
                        * (1.0 + stray * (9.0 * t).sin());
                    let from_axis = ring + r * about.cos();
                    // Slightly flattened against the head, a little taller than wide.
                    let mut p = tie.place(
                        from_axis * around.cos(),
                        0.97 * from_axis * around.sin(),
                        out + 0.92 * r * about.sin(),
                    );
                    ground.obstacle.push_out(&mut p, 0.3);
                    p
                })
                .collect();
            Strand {
                points: shape,
                width_mm: ground.width(0.44),
                taper: (0.5, 0.5),
                widens_mm: 6.0,
                roll: 0.5,
            }
        })
        .collect()
}

fn hanging_tail(ground: &Ground, tie: &Tie, length_mm: f64) -> Vec<Strand> {
    const GUIDES: usize = 150;
    let points = 34;
    let mut guides = Guides::new(points);
    for i in 0..GUIDES {
        let mut dice = Dice::new(ground.seed, 0x7a11, i);
        let (x, y) = dice.disc();
        let length = length_mm * dice.range(0.9, 1.0);
        let seg = length / (points - 1) as f64;
        let mut p = tie.place(5.5 * x, 5.5 * y, 2.0);
        let spread = tie.axes * dvec3(x * 0.6, y * 0.6, 0.0);
        let mut d = (tie.axes.z_axis + spread).normalize();
        let shape = (0..points)
            .map(|k| {
                let here = p;
                let a = k as f64 * seg;
                // Stiff out of the tie, then over in an arc.
                d = (d + (ground.down - d) * step(4.0, 70.0, a) * 0.02 * seg).normalize();
                p += d * seg;
                ground.obstacle.push_out(&mut p, 1.5);
                here
            })
            .collect();
        guides.push(shape, [1.5, 3.0]);
    }
    guides.hold = (14.0, 60.0);
    guides.room_mm2 = 15.0;
    settle(ground, &mut guides);
    let lock = Lock {
        spread_mm: 6.0,
        gather: (0.05, 0.6),
        wave: (3.0, 110.0),
        curl: Some(Curl {
            radius_mm: 4.0,
            pitch_mm: 150.0,
            alike_mm: 12.0,
        }),
        shortest: 0.5,
        points: 26,
        width_mm: ground.width(0.42),
        stray: 0.025,
    };
    let starts: Vec<Root> = (0..ground.count(1800.0))
        .map(|index| {
            let mut dice = Dice::new(ground.seed, 0x7a12, index);
            let (x, y) = dice.disc();
            Root {
                at: tie.place(6.5 * x, 6.5 * y, 1.0),
                normal: tie.axes.z_axis,
                behind_mm: 60.0,
                index,
            }
        })
        .collect();
    fill(ground, &guides, &starts, &lock)
}

/// Short fine hair along the hairline that no tie holds.
fn wisps(ground: &Ground) -> Vec<Strand> {
    let ear = ground.scalp.ear();
    roots(ground, ground.count(5200.0), 0x3157, Edge::Strip(7.0))
        .par_iter()
        .map(|root| {
            let mut dice = Dice::new(ground.seed, 0x3158, root.index);
            let length = dice.range(7.0, 20.0);
            let way = if before_the_ear(&ear, root) {
                dvec3(0.0, -1.0, -0.25)
            } else {
                dvec3(0.0, 0.55, -1.0)
            };
            let back = way + dvec3(dice.normal(), dice.normal(), dice.normal()) * 0.22;
            let flat = back - root.normal * back.dot(root.normal);
            let mut d = (flat.normalize_or_zero() + root.normal * dice.range(0.1, 0.5)).normalize();
            let bend = noise(root.at / 15.0, 41) * 0.09;
            let aside = root.normal.cross(d);
            let mut p = root.at;
            let points = (0..6)
                .map(|_| {
                    let here = p;
                    d = (d + aside * bend - root.normal * 0.06).normalize();
                    p += d * (length / 5.0);
                    ground.obstacle.push_out(&mut p, 0.25);
                    here
                })
                .collect();
            Strand {
                points,
                width_mm: 0.11,
                taper: (0.6, 0.3),
                widens_mm: 4.0,
                roll: 0.6,
            }
        })
        .collect()
}
