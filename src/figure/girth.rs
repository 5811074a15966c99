//! A tailor's measures, taken on the body field with a taut tape.

use super::body::Body;
use super::hull::convex;
use super::person::{Person, Shod};
use super::pose::{ArmAngles, Pose, Reach};
use super::sdf::Field;
use glam::{DVec2, DVec3, dvec3};

/// Measures of an upright, barefoot person, in centimetres.
///
/// Girths are the perimeter of the convex hull of a section, as a tape spans
/// hollows. Definitions follow ISO 8559-1 where it has them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Measures {
    /// Crown over the floor.
    pub stature: f64,
    /// Nape over the floor.
    pub nape_height: f64,
    /// Tip of the shoulder bone over the floor.
    pub shoulder_height: f64,
    /// Narrowest girth of the waist over the floor.
    pub waist_height: f64,
    /// Inside leg: the fork over the floor.
    pub inside_leg: f64,
    /// Middle of the kneecap over the floor.
    pub knee_height: f64,
    /// Largest girth of the chest, over the bust points.
    pub chest: f64,
    /// Narrowest girth of the waist.
    pub waist: f64,
    /// Girth at the navel, 0.602 of the stature.
    pub navel: f64,
    /// Largest girth of the seat.
    pub hip: f64,
    /// Girth of the neck at its middle.
    pub neck: f64,
    /// Girth of the head over the brows.
    pub head: f64,
    /// Largest girth of the upper arm below the armpit.
    pub upper_arm: f64,
    /// Largest girth of the forearm.
    pub forearm: f64,
    /// Girth of the thigh just under the fork.
    pub thigh: f64,
    /// Largest girth of the calf.
    pub calf: f64,
    /// Between the tips of the shoulder bones.
    pub shoulder_breadth: f64,
    /// Across the upper arms.
    pub across_arms: f64,
    /// Largest breadth of the hips.
    pub hip_breadth: f64,
    /// Depth of the chest at its largest girth.
    pub chest_depth: f64,
    /// From the tip of the shoulder bone to under the bent elbow.
    pub shoulder_elbow: f64,
    /// From the elbow joint to the wrist joint.
    pub forearm_length: f64,
    /// From the wrist to the tip of the middle finger.
    pub hand_length: f64,
    /// Back of the heel to the longest toe.
    pub foot_length: f64,
    /// Chin to crown.
    pub head_height: f64,
}

/// From the shoulder joint to the tip of the shoulder bone, left side, at base size.
const SHOULDER_TIP: DVec3 = dvec3(2.9, 3.9, 0.0);
/// The nape (seventh neck vertebra) in the rib cage.
const NAPE: DVec3 = dvec3(0.0, 148.3, -7.0);

impl Measures {
    /// Measures `person`, upright and barefoot. Takes some tens of milliseconds.
    pub fn of(person: &Person) -> Self {
        let person = person.clone().shod(Shod::Bare);
        let mut pose = Pose::upright();
        let body = Body::new(&person, &pose);
        for arm in &mut pose.arms {
            arm.reach = Reach::Angles(ArmAngles::default());
        }
        let arms_down = Body::new(&person, &pose);
        let (s, j) = (body.scale(), body.joints());
        let trunk = |p: DVec3| body.trunk(p);
        let lower = |p: DVec3| body.trunk_and_legs(p);
        let level = |y: f64| dvec3(0.0, y * s, -0.6 * s);
        let tape = |f: Solid, y: f64| girth(f, level(y), DVec3::Y);
        let chest_y = highest(122.0, 132.0, |y| tape(&trunk, y));
        let waist_y = highest(106.0, 112.5, |y| -tape(&lower, y));
        let hip_y = highest(83.0, 95.0, |y| tape(&lower, y));
        let stature = crown(&body);
        let fork = fork_height(&body);
        let under_fork = dvec3(0.8 * j.hip[0].x + 0.2 * j.knee[0].x, fork - 3.0, j.hip[0].z);
        let nod = body.on_head(dvec3(0.0, -28.0, -18.0));
        let skull = |p: DVec3| body.head().distance(body.head_mm(p)) * body.head_scale();
        let brow = body.on_head(dvec3(0.0, 22.0, -5.0));
        let around = |f: Solid, a: DVec3, b: DVec3, from: f64, to: f64| {
            let at = |t: f64| girth(f, a.lerp(b, t), (b - a).normalize());
            at(highest(from, to, at))
        };
        let across_hips =
            |y: f64| span(&lower, level(y), DVec3::X) + span(&lower, level(y), DVec3::NEG_X);
        let arms = |p: DVec3| arms_down.upper_arm(0, p).min(arms_down.upper_arm(1, p));
        let across_arms =
            |y: f64| span(&arms, level(y), DVec3::X) + span(&arms, level(y), DVec3::NEG_X);
        let joint = body.skeleton().lengths.shoulder;
        let tip = body.on_thorax(joint + SHOULDER_TIP);
        let chest = level(chest_y);
        Self {
            stature,
            nape_height: body.on_thorax(NAPE).y,
            shoulder_height: tip.y,
            waist_height: waist_y * s,
            inside_leg: fork,
            knee_height: j.knee[0].y,
            chest: tape(&trunk, chest_y),
            waist: tape(&lower, waist_y),
            navel: tape(&lower, 0.602 * stature / s),
            hip: tape(&lower, hip_y),
            neck: girth(
                &|p| body.neck(p),
                j.neck.lerp(nod, 0.5),
                (nod - j.neck).normalize(),
            ),
            head: girth(&skull, brow, dvec3(0.0, 0.985, -0.17)),
            upper_arm: around(
                &|p| body.upper_arm(0, p),
                j.shoulder[0],
                j.elbow[0],
                0.4,
                0.7,
            ),
            forearm: around(&|p| body.forearm(0, p), j.elbow[0], j.wrist[0], 0.1, 0.4),
            thigh: girth(&|p| body.leg(0, p), under_fork, DVec3::Y),
            calf: around(&|p| body.leg(0, p), j.knee[0], j.ankle[0], 0.15, 0.5),
            shoulder_breadth: 2.0 * tip.x,
            across_arms: across_arms(highest(124.0, 138.0, across_arms)),
            hip_breadth: across_hips(highest(78.0, 96.0, across_hips)),
            chest_depth: span(&trunk, chest, DVec3::Z) + span(&trunk, chest, DVec3::NEG_Z),
            shoulder_elbow: tip.y - under_elbow(&person, &mut pose),
            forearm_length: j.elbow[0].distance(j.wrist[0]),
            hand_length: j.wrist[0].distance(j.fingertip[0]),
            foot_length: foot_length(&body),
            head_height: stature - chin(&body),
        }
    }
}

type Solid<'a> = &'a dyn Fn(DVec3) -> f64;

/// Where in `from`..`to` the measure is largest.
fn highest(from: f64, to: f64, measure: impl Fn(f64) -> f64) -> f64 {
    const STEPS: usize = 16;
    let mut best = (f64::NEG_INFINITY, from);
    for i in 0..=STEPS {
        let t = from + (to - from) * i as f64 / STEPS as f64;
        let v = measure(t);
        if v > best.0 {
            best = (v, t);
        }
    }
    best.1
}

/// Farthest point of a solid from `centre` along a direction, found from outside.
fn span(solid: Solid, centre: DVec3, along: DVec3) -> f64 {
    let mut r: f64 = 45.0;
    for _ in 0..80 {
        let d = solid(centre + along * r);
        if d < 1e-3 || r <= 0.0 {
            break;
        }
        r -= 0.75 * d.min(8.0);
    }
    r.max(0.0)
}

/// Length of a taut tape around a solid, in the plane through `centre` square to `axis`.
pub fn girth(solid: Solid, centre: DVec3, axis: DVec3) -> f64 {
    const RAYS: usize = 144;
    let (u, v) = axis.normalize().any_orthonormal_pair();
    let points = (0..RAYS).map(|i| {
        let angle = std::f64::consts::TAU * i as f64 / RAYS as f64;
        let along = DVec2::from_angle(angle);
        along * span(solid, centre, u * along.x + v * along.y)
    });
    let hull = convex(&points.collect::<Vec<_>>());
    let next = hull.iter().cycle().skip(1);
    hull.iter().zip(next).map(|(a, b)| a.distance(*b)).sum()
}

/// Marches along `way` from `p` onto a solid; `None` where it misses.
fn first_hit(solid: Solid, mut p: DVec3, way: DVec3, reach: f64) -> Option<DVec3> {
    let start = p;
    for _ in 0..160 {
        let d = solid(p);
        if d < 1e-3 {
            return Some(p);
        }
        p += way * (0.75 * d.min(8.0));
        if p.distance(start) > reach {
            break;
        }
    }
    None
}

fn crown(body: &Body) -> f64 {
    let whole = |p: DVec3| body.distance(p);
    let top = body.joints().pupils + DVec3::Y * 20.0;
    (-10..=10)
        .filter_map(|k| {
            let from = top + DVec3::Z * (f64::from(k) - 6.0);
            first_hit(&whole, from, DVec3::NEG_Y, 20.0)
        })
        .map(|p| p.y)
        .fold(0.0, f64::max)
}

/// Height of the underside of an elbow bent square, the upper arm hanging.
fn under_elbow(person: &Person, pose: &mut Pose) -> f64 {
    for arm in &mut pose.arms {
        arm.reach = Reach::Angles(ArmAngles {
            elbow_deg: 90.0,
            ..ArmAngles::default()
        });
    }
    let body = Body::new(person, pose);
    let elbow = body.joints().elbow[0];
    let arm = |p: DVec3| body.arm(0, p);
    (-3..=3)
        .filter_map(|k| {
            let from = elbow + dvec3(0.0, -12.0, f64::from(k));
            first_hit(&arm, from, DVec3::Y, 12.0)
        })
        .map(|p| p.y)
        .fold(f64::INFINITY, f64::min)
        .min(elbow.y)
}

/// Lowest point of the trunk between the legs, thighs parted.
fn fork_height(body: &Body) -> f64 {
    let lower = |p: DVec3| body.trunk(p);
    let below = body.on_pelvis(dvec3(0.0, 60.0, 0.0));
    (-2..=4)
        .filter_map(|k| first_hit(&lower, below + DVec3::Z * f64::from(k), DVec3::Y, 40.0))
        .map(|p| p.y)
        .fold(f64::INFINITY, f64::min)
}

fn chin(body: &Body) -> f64 {
    let skull = |p: DVec3| body.head().distance(body.head_mm(p)) * body.head_scale();
    (0..=12)
        .filter_map(|k| {
            let from = body.on_head(dvec3(0.0, -150.0, 66.0 + 2.0 * f64::from(k)));
            first_hit(&skull, from, DVec3::Y, 9.0)
        })
        .map(|p| p.y)
        .fold(f64::INFINITY, f64::min)
}

fn foot_length(body: &Body) -> f64 {
    let j = body.joints();
    let along = (j.toe[0] - j.ankle[0]).with_y(0.0).normalize();
    let across = along.cross(DVec3::Y);
    let leg = |p: DVec3| body.leg(0, p);
    let mut reach = [0.0_f64; 2];
    for (slot, way) in reach.iter_mut().zip([along, -along]) {
        for x in -5..=5 {
            for y in 1..=4 {
                let middle = j.ankle[0].with_y(f64::from(y) * 0.7) + across * f64::from(x);
                let from = middle + way * 40.0;
                if let Some(hit) = first_hit(&leg, from, -way, 40.0) {
                    *slot = slot.max((hit - middle).dot(way));
                }
            }
        }
    }
    reach[0] + reach[1]
}
