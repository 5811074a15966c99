//! The bones that carry cloth from upright into a pose that is far from it, and the postures in between.

use super::arms::arm_axis;
use super::legs::leg_axis;
use crate::figure::body::Body;
use crate::figure::person::Person;
use crate::figure::pose::Pose;
use glam::{DMat3, DQuat, DVec3, dvec3};
use rayon::prelude::*;

/// The bone that turns farthest does so by about this much from one frame to the next, arms and legs each in two
/// thirds of the frames.
const STEP_DEG: f64 = 3.0;
/// Poses whose bones all are so near to upright are dressed as they stand.
const NEAR_DEG: f64 = 32.0;

/// Seconds of the cloth's own time from frame to frame.
pub const FRAME_S: f64 = 0.04;
/// A frame is gone in so many parts, so that no fold is carried through another.
pub const PARTS: usize = 3;
/// Creases of the joints are filled by so much on the way, so that cloth rides over them and is not drawn in, and emptied
/// in so many frames at its end.
pub const FILLED_CM: f64 = 5.0;
/// See [`FILLED_CM`].
pub const EMPTIED: usize = 6;
/// What is worn below is not carried along: so much room is left for it, in centimetres.
pub const ROOM_CM: f64 = 0.7;

pub const BONES: usize = 10;
pub const PELVIS: usize = 0;
pub const THORAX: usize = 1;
/// The first of two, left and right.
pub const UPPER_ARM: usize = 2;
pub const FOREARM: usize = 4;
pub const THIGH: usize = 6;
pub const SHIN: usize = 8;

/// Whether `posed`, turned by `turn_deg`, is far from upright: arms, legs and all.
pub fn is_far(person: &Person, posed: &Body, turn_deg: f64) -> bool {
    let standing = Body::new(person, &upright(turn_deg));
    furthest_deg(&standing, posed, 0) >= NEAR_DEG
}

/// Whether its legs are.
pub fn sits(person: &Person, posed: &Body, turn_deg: f64) -> bool {
    let standing = Body::new(person, &upright(turn_deg));
    furthest_deg(&standing, posed, THIGH) >= NEAR_DEG
}

/// The postures from upright, which is the first, on the way to `posed`, which would follow the last.
pub fn between(person: &Person, pose: &Pose, posed: &Body) -> Vec<Body> {
    let upright = upright(pose.turn_deg);
    let standing = Body::new(person, &upright);
    let count = (1.5 * furthest_deg(&standing, posed, 0) / STEP_DEG).ceil() as usize;
    let at = |k: usize| {
        let share = k as f64 / count as f64;
        Body::between(person, (&upright, &standing), (pose, posed), share)
    };
    let mut bodies: Vec<Body> = (1..count).into_par_iter().map(at).collect();
    bodies.insert(0, standing);
    bodies
}

fn upright(turn_deg: f64) -> Pose {
    Pose {
        turn_deg,
        ..Pose::upright()
    }
}

/// The largest turn of a bone, from the numbered one on, from one posture to another, in degrees.
fn furthest_deg(from: &Body, to: &Body, first: usize) -> f64 {
    (Bones::of(from).0[first..].iter())
        .zip(&Bones::of(to).0[first..])
        .map(|(a, b)| angle(&(b.turn * a.turn.transpose())))
        .fold(0.0, f64::max)
        .to_degrees()
}

fn angle(turn: &DMat3) -> f64 {
    let trace = turn.x_axis.x + turn.y_axis.y + turn.z_axis.z;
    (0.5 * (trace - 1.0)).clamp(-1.0, 1.0).acos()
}

/// A bone: where it is and how it is turned.
#[derive(Debug, Clone, Copy)]
pub struct Bone {
    /// A point of it.
    pub at: DVec3,
    /// Its directions.
    pub turn: DMat3,
}

/// The bones that cloth is carried by.
pub struct Bones(pub [Bone; BONES]);

impl Bones {
    pub fn of(body: &Body) -> Self {
        let trunk = |on: &dyn Fn(DVec3) -> DVec3, y: f64| {
            let at = on(dvec3(0.0, y, 0.0));
            let axis = |v: DVec3| (on(dvec3(0.0, y, 0.0) + v) - at).normalize();
            Bone {
                at,
                turn: DMat3::from_cols(axis(DVec3::X), axis(DVec3::Y), axis(DVec3::Z)),
            }
        };
        let pelvis = trunk(&|p| body.on_pelvis(p), 92.0);
        let thorax = trunk(&|p| body.on_thorax(p), 112.0);
        let arms = [0, 1].map(|side| arm_axis(body, side));
        let legs = [0, 1].map(|side| leg_axis(body, side));
        let limb = |axis: &super::tube::Axis, station: f64| {
            let st = axis.at(station);
            Bone {
                at: st.origin,
                turn: DMat3::from_cols(st.side, st.tangent, st.front),
            }
        };
        Self([
            pelvis,
            thorax,
            limb(&arms[0], 1.5),
            limb(&arms[1], 1.5),
            limb(&arms[0], 2.5),
            limb(&arms[1], 2.5),
            limb(&legs[0], 1.5),
            limb(&legs[1], 1.5),
            limb(&legs[0], 2.5),
            limb(&legs[1], 2.5),
        ])
    }
}

impl Bones {
    /// These bones, `share` of the way to others.
    pub fn towards(&self, other: &Self, share: f64) -> Self {
        Self(std::array::from_fn(|k| {
            let (a, b) = (self.0[k], other.0[k]);
            let turn = DQuat::from_mat3(&(b.turn * a.turn.transpose()));
            Bone {
                at: a.at.lerp(b.at, share),
                turn: DMat3::from_quat(DQuat::IDENTITY.slerp(turn, share)) * a.turn,
            }
        }))
    }
}

/// How much each bone carries a particle.
pub type Weights = [f64; BONES];

/// Takes places along with the bones (linear blend skinning; steps are small, so that it does not pinch).
pub fn carry(places: &mut [DVec3], weights: &[Weights], from: &Bones, to: &Bones) {
    let moves: Vec<(DMat3, DVec3)> = (from.0.iter().zip(&to.0))
        .map(|(a, b)| {
            let turn = b.turn * a.turn.transpose();
            (turn, b.at - turn * a.at)
        })
        .collect();
    for (p, w) in places.iter_mut().zip(weights) {
        *p = (moves.iter().zip(w))
            .filter(|(_, w)| **w > 0.0)
            .map(|((turn, by), w)| (*turn * *p + *by) * *w)
            .sum();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::Build;

    fn seated() -> (Person, Pose, Pose, Body, Body) {
        let person = Person::new(Build::Woman);
        let pose = Pose::named("seated").expect("it ships");
        let upright = Pose {
            turn_deg: pose.turn_deg,
            ..Pose::upright()
        };
        let (from, to) = (Body::new(&person, &upright), Body::new(&person, &pose));
        (person, upright, pose, from, to)
    }

    #[test]
    fn sitting_and_folded_arms_are_far_from_upright_and_standing_is_not() {
        let person = Person::new(Build::Woman);
        for (name, far) in [("front", false), ("seated", true), ("arms-crossed", true)] {
            let pose = Pose::named(name).expect("it ships");
            let body = Body::new(&person, &pose);
            assert_eq!(is_far(&person, &body, pose.turn_deg), far, "{name}");
        }
    }

    #[test]
    fn the_way_begins_upright_and_ends_in_the_pose() {
        let (person, upright, pose, from, to) = seated();
        for (share, end) in [(0.0, &from), (1.0, &to)] {
            let at = Body::between(&person, (&upright, &from), (&pose, &to), share);
            let (p, q) = (at.joints(), end.joints());
            let pairs = [
                (p.shoulder, q.shoulder),
                (p.elbow, q.elbow),
                (p.wrist, q.wrist),
                (p.hip, q.hip),
                (p.knee, q.knee),
                (p.ankle, q.ankle),
            ];
            for (k, (p, q)) in pairs.iter().enumerate() {
                let off_cm = p[0].distance(q[0]).max(p[1].distance(q[1]));
                assert!(off_cm < 0.05, "joint {k} at {share}: {off_cm} cm");
            }
        }
    }

    #[test]
    fn a_bone_carries_what_is_beside_it_rigidly() {
        let (.., from, to) = seated();
        let (a, b) = (Bones::of(&from), Bones::of(&to));
        for k in 0..BONES {
            let mut only = [0.0; BONES];
            only[k] = 1.0;
            let at = a.0[k].at;
            let start = [at, at + DVec3::X * 3.0, at + DVec3::Y * 4.0];
            let mut places = start;
            carry(&mut places, &[only; 3], &a, &b);
            assert!(places[0].distance(b.0[k].at) < 1e-9);
            assert!((places[1].distance(places[2]) - 5.0).abs() < 1e-9);
            // In two halves it comes to the same.
            let half = a.towards(&b, 0.5);
            let mut halves = start;
            carry(&mut halves, &[only; 3], &a, &half);
            carry(&mut halves, &[only; 3], &half, &b);
            assert!(halves[1].distance(places[1]) < 1e-6, "bone {k}");
        }
    }
}
