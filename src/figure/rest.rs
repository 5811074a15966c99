//! Arms kept clear of the body, or laid against it until they touch.

use super::body::Body;
use super::hand::Rod;
use super::limbs::hand_of;
use super::pose::{ArmAngles, WristTarget};
use super::sdf::Field;
use super::skeleton::Arm;
use glam::DVec3;

/// How near a hanging arm comes to the body.
const CLEAR_CM: f64 = 0.5;
/// Gap of a resting hand: nothing that a camera sees, and no overlap.
const TOUCH_CM: f64 = 0.12;

/// An arm by its angles, swung outward until it clears trunk and legs.
pub fn cleared(body: &Body, side: usize, angles: &ArmAngles, curl: f64) -> Arm {
    let mut a = *angles;
    for _ in 0..30 {
        let arm = body.skeleton().arm_by_angles(side, &a);
        let rods = arm_rods(body, &arm, curl);
        if nearest(&rods, |p| body.base_trunk_and_legs(p)) >= CLEAR_CM {
            return arm;
        }
        a.abduct_deg += 1.0;
    }
    body.skeleton().arm_by_angles(side, angles)
}

/// An arm by its wrist; where it rests, the wrist moves until it touches, and the
/// hand tips until it lies along what it touches.
///
/// The right arm, posed last, also rests on the left one.
pub fn laid_down(body: &Body, side: usize, target: &WristTarget, curl: f64) -> Arm {
    let skeleton = body.skeleton();
    if !target.rests {
        return skeleton.arm_by_wrist(side, target, DVec3::ZERO, 0.0);
    }
    // The other arm is there only once it has been posed.
    let other = |p: DVec3| {
        if side == 1 {
            body.base_arm(0, p)
        } else {
            f64::INFINITY
        }
    };
    let obstacle = |p: DVec3| body.base_trunk_and_legs(p).min(other(p));
    let gap = |arm: &Arm| {
        let laid = nearest(&arm_rods(body, arm, curl), obstacle);
        laid.min(nearest(&elbow_rods(body, arm), other))
    };
    let mut best: Option<(f64, Arm)> = None;
    for step in -5..=5 {
        let tip_deg = 6.0 * f64::from(step);
        let arm = touching(body, side, target, tip_deg, &gap);
        let hand = hand_of(skeleton, &arm, curl).1;
        let floating: f64 = hand
            .iter()
            .map(|rod| nearest(std::slice::from_ref(rod), obstacle).clamp(0.0, 4.0))
            .sum();
        let bent = arm.fore.angle_between(arm.hand).to_degrees();
        let cost = floating
            + 2.0 * (bent - 60.0).max(0.0)
            + 0.02 * tip_deg.abs()
            + 100.0 * (-gap(&arm)).max(0.0);
        if best.as_ref().is_none_or(|(c, _)| cost < *c) {
            best = Some((cost, arm));
        }
    }
    best.map_or_else(
        || skeleton.arm_by_wrist(side, target, DVec3::ZERO, 0.0),
        |(_, arm)| arm,
    )
}

/// Brings the arm in from where it is clear, square to the body at the wrist, until
/// it just touches: it cannot end up behind what it should lie on. (Along the palm a
/// full chest would drive the wrist aside and the elbow up in front of it.)
fn touching(
    body: &Body,
    side: usize,
    target: &WristTarget,
    tip_deg: f64,
    gap: &dyn Fn(&Arm) -> f64,
) -> Arm {
    let skeleton = body.skeleton();
    let start = skeleton.arm_by_wrist(side, target, DVec3::ZERO, 0.0);
    let inward = Bare(body)
        .gradient(start.wrist, 0.5)
        .try_normalize()
        .map_or(start.palm, |outward| -outward);
    let at = |way: f64| {
        let arm = skeleton.arm_by_wrist(side, target, inward * way, tip_deg);
        (arm, gap(&arm) - TOUCH_CM)
    };
    let mut way = -4.0;
    let (mut arm, mut miss) = at(way);
    while miss < 0.0 && way > -24.0 {
        way -= 3.0;
        (arm, miss) = at(way);
    }
    for _ in 0..40 {
        if miss.abs() < 0.02 || way > 12.0 {
            break;
        }
        way += (0.9 * miss).clamp(-0.5, 2.0);
        (arm, miss) = at(way);
    }
    arm
}

/// What a resting hand lies on, at base size.
struct Bare<'a>(&'a Body);

impl Field for Bare<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        self.0.base_trunk_and_legs(p)
    }
}

/// The smallest gap between `rods` and a field.
fn nearest(rods: &[Rod], field: impl Fn(DVec3) -> f64) -> f64 {
    let mut best = f64::INFINITY;
    for &(a, b, ra, rb) in rods {
        let steps = (a.distance(b) / 1.2).ceil().max(2.0);
        for i in 0..=steps as usize {
            let t = i as f64 / steps;
            best = best.min(field(a.lerp(b, t)) - (ra + (rb - ra) * t));
        }
    }
    best
}

/// The upper arm from its middle to the elbow.
fn elbow_rods(body: &Body, arm: &Arm) -> [Rod; 1] {
    let middle = arm.shoulder.lerp(arm.elbow, 0.5);
    let thick = [0.5, 1.0].map(|t| body.upper_arm_radius(t));
    [(middle, arm.elbow, thick[0], thick[1])]
}

/// Hand and forearm of an arm as capsules.
fn arm_rods(body: &Body, arm: &Arm, curl: f64) -> Vec<Rod> {
    let mut rods = hand_of(body.skeleton(), arm, curl).1;
    let thick = |t: f64| body.forearm_radius(t);
    let at = |t: f64| arm.elbow.lerp(arm.wrist, t);
    // The elbow's own end may press against the side.
    for i in 1..4 {
        let (t, u) = (0.25 * f64::from(i), 0.25 * f64::from(i + 1));
        rods.push((at(t), at(u), thick(t), thick(u)));
    }
    rods
}
