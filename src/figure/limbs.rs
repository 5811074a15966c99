//! The solids of arms and legs, and how two bones' flesh meets at a joint.

use super::hand::{Hand, Hold, Rod};
use super::person::Build;
use super::sdf::{frame, soft_min, step};
use super::shapes::{Shape, ball};
use super::skeleton::{Arm, Leg, Skeleton, side_sign};
use glam::{DMat3, DVec3, dvec3};

/// Where two tubes of a limb meet.
///
/// Straight, one tube fades into the other along the limb and no ring shows;
/// bent, two rounded ends are joined by a smooth union.
pub struct Hinge {
    joint: DVec3,
    /// Along the limb, half way between its two bones.
    along: DVec3,
    /// 0 straight to 1 well bent.
    pub bend: f64,
    /// Half the length of the fade, and the blend width when bent.
    fade: f64,
    blend: f64,
}

impl Hinge {
    fn new(joint: DVec3, upper: DVec3, lower: DVec3, fade: f64, blend: f64) -> Self {
        Self {
            joint,
            along: (upper + lower).normalize_or(upper),
            bend: step(0.25, 1.15, upper.angle_between(lower)),
            fade,
            blend,
        }
    }

    pub fn elbow(arm: &Arm) -> Self {
        Self::new(arm.elbow, arm.upper, arm.fore, 2.4, 1.6)
    }

    pub fn knee(leg: &Leg) -> Self {
        let (thigh, shin) = (leg.knee - leg.hip, leg.ankle - leg.knee);
        Self::new(leg.knee, thigh.normalize(), shin.normalize(), 3.2, 3.0)
    }

    pub fn joined(&self, upper: f64, lower: f64, p: DVec3) -> f64 {
        let bent = soft_min(upper, lower, self.blend);
        if self.bend >= 1.0 {
            return bent;
        }
        let w = step(-self.fade, self.fade, (p - self.joint).dot(self.along));
        let straight = upper + (lower - upper) * w;
        straight + (bent - straight) * self.bend
    }
}

/// The hand at the end of an arm, and its capsules.
pub fn hand_of(skeleton: &Skeleton, arm: &Arm, curl: f64) -> (Hand, Vec<Rod>) {
    let [scale, breadth] = skeleton.lengths.hand;
    let hand = Hand::new(&Hold {
        wrist: arm.wrist,
        along: arm.hand,
        palm: arm.palm,
        thumb: arm.thumb,
        curl,
        scale,
        breadth,
    });
    let rods = hand.rods();
    (hand, rods)
}

pub type Shapes = Vec<(f64, Shape)>;

/// Upper arm, and forearm without the hand.
pub fn arm_shapes(
    build: Build,
    muscle: f64,
    skeleton: &Skeleton,
    arm: &Arm,
    side: usize,
) -> (Shapes, Shapes) {
    let s = side_sign(side);
    let thorax = skeleton.thorax.rotation;
    let front = thorax * DVec3::Z;
    let hint = if arm.upper.dot(front).abs() < 0.85 {
        front
    } else {
        thorax * DVec3::Y
    };
    let axes = frame(arm.upper, hint);
    let out = thorax * dvec3(s, 0.25, 0.0);
    let out = (out - arm.upper * out.dot(arm.upper)).normalize_or(axes.x_axis * s);
    let (joint, deltoid, down, outward) = match build {
        Build::Woman => ([3.4, 3.5, 3.8], [3.2, 6.6, 4.1], 5.0, 0.9),
        Build::Man => ([4.2, 4.2, 4.6], [3.9, 7.2, 5.0], 5.2, 1.4),
    };
    let bend = Hinge::elbow(arm).bend;
    let upper = vec![
        (
            1.0,
            Shape::Limb {
                section: 2,
                origin: arm.shoulder,
                axes,
                length: skeleton.lengths.upper_arm,
                over: [0.0, 3.2 * (1.0 - bend)],
                flip: -s,
            },
        ),
        (
            3.0,
            ball(
                arm.shoulder - arm.upper * 0.2,
                thorax,
                joint.map(|r| r * muscle),
            ),
        ),
        (
            4.0,
            ball(
                arm.shoulder + arm.upper * down + out * outward,
                axes,
                [deltoid[0] * muscle, deltoid[1], deltoid[2] * muscle],
            ),
        ),
    ];
    let back = (arm.fore - arm.upper + hint * 1e-3).normalize_or(hint);
    let fore = vec![
        (
            1.0,
            Shape::Limb {
                section: 3,
                origin: arm.elbow,
                axes: frame(arm.fore, arm.palm),
                length: skeleton.lengths.forearm,
                over: [3.2 * (1.0 - bend), 0.0],
                flip: 1.0,
            },
        ),
        (
            1.4,
            ball(
                arm.elbow - back * (0.9 + 0.4 * bend),
                DMat3::IDENTITY,
                [1.9; 3],
            ),
        ),
    ];
    (upper, fore)
}

/// Thigh, and shin with kneecap and ankle.
pub fn leg_shapes(leg: &Leg, side: usize, calf: f64) -> (Shapes, Shapes) {
    let s = side_sign(side);
    let thigh = (leg.knee - leg.hip).normalize();
    let shin = (leg.ankle - leg.knee).normalize();
    let length = |a: DVec3, b: DVec3| a.distance(b);
    // The kneecap sinks between the bones as the knee bends.
    let bend = Hinge::knee(leg).bend;
    let cap_axes = frame(-(thigh + shin), leg.pole);
    let cap = leg.knee + cap_axes * dvec3(0.0, 0.6 - 0.4 * bend, (3.6 - 2.4 * bend) * calf);
    let shin_axes = frame(shin, leg.pole);
    let ankle_bone = |x: f64, y: f64, z: f64| {
        let at = leg.ankle - shin_axes * dvec3(x * s, y, -z);
        (1.3, ball(at, shin_axes, [0.85, 1.3, 1.1]))
    };
    let upper = vec![(
        1.0,
        Shape::Limb {
            section: 0,
            origin: leg.hip,
            axes: frame(thigh, leg.pole),
            length: length(leg.hip, leg.knee),
            over: [4.6, 4.2 * (1.0 - bend)],
            flip: -s,
        },
    )];
    let lower = vec![
        (
            1.0,
            Shape::Limb {
                section: 1,
                origin: leg.knee,
                axes: shin_axes,
                length: length(leg.knee, leg.ankle),
                over: [4.2 * (1.0 - bend), 0.0],
                flip: -s,
            },
        ),
        (
            2.2 + 1.6 * bend,
            ball(
                cap,
                cap_axes,
                [2.6 + 1.6 * bend, 3.2 + 0.4 * bend, 1.7 + 1.9 * bend],
            ),
        ),
        // Ankle bones, the outer one lower and further back.
        ankle_bone(2.05, -0.1, -0.6),
        ankle_bone(-2.0, 0.7, 0.1),
    ];
    (upper, lower)
}
