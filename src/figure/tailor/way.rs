//! From upright into a pose that is far from it: a garment is put on standing and goes along, so that its cloth
//! comes to lie as it would on somebody who sits down or folds their arms, and never starts crossed.

use super::Fitting;
use super::arms::arm_axis;
use super::legs::leg_axis;
use super::room::{Obstacle, Round};
use super::sew::{Laid, Settling};
use crate::figure::body::Body;
use crate::figure::cloth::{Mechanics, Run, Watch};
use crate::figure::person::Person;
use crate::figure::pose::Pose;
use crate::figure::sdf::step;
use glam::{DMat3, DQuat, DVec3, dvec3};
use rayon::prelude::*;
use std::sync::atomic::Ordering;

/// The bone that turns farthest does so by about this much from one frame to the next, arms and legs each in two
/// thirds of the frames.
const STEP_DEG: f64 = 3.0;
/// Poses whose bones all are so near to upright are dressed as they stand.
const NEAR_DEG: f64 = 32.0;
/// Seconds of the cloth's own time from frame to frame.
const FRAME_S: f64 = 0.04;
/// A frame is gone in so many parts.
const PARTS: usize = 3;
/// Its substep.
pub const WAY_SUBSTEP_S: f64 = 1.0 / 900.0;
/// Grid of the body that is gone past.
const PITCH_CM: f64 = 1.0;
/// Creases of the joints are filled by so much on the way, so that cloth rides over them and is not drawn in, and emptied
/// in so many frames at its end.
const FILLED_CM: f64 = 5.0;
const EMPTIED: usize = 6;
/// What is worn below is not carried along: so much room is left for it, in centimetres.
pub const ROOM_CM: f64 = 0.7;

const BONES: usize = 10;
const PELVIS: usize = 0;
const THORAX: usize = 1;
/// The first of two, left and right.
const UPPER_ARM: usize = 2;
const FOREARM: usize = 4;
const THIGH: usize = 6;
const SHIN: usize = 8;

/// The postures between upright and the pose.
pub struct Way<'a> {
    fit: &'a Fitting<'a>,
    /// Upright first; the pose itself follows the last.
    pub bodies: Vec<Body>,
}

/// Edge length of the cloth that goes a way, in centimetres: fine enough for the folds of armpits and laps, and not so
/// fine that stiff cloth grows sluggish (see [`crate::figure::cloth`] on substeps).
pub fn edge_cm(mechanics: &Mechanics) -> f64 {
    let [warp, weft] = mechanics.bending_un_m;
    1.3 + 0.4 * step(7.0, 12.0, 0.5 * (warp + weft))
}

/// Whether `posed`, turned by `turn_deg`, is far from upright.
pub fn is_far(person: &Person, posed: &Body, turn_deg: f64) -> bool {
    let upright = Pose {
        turn_deg,
        ..Pose::upright()
    };
    furthest_deg(&Body::new(person, &upright), posed) >= NEAR_DEG
}

impl<'a> Way<'a> {
    /// The way of the wearer; `None` where the pose is near upright.
    pub(crate) fn of(fit: &'a Fitting<'a>) -> Option<Self> {
        if !fit.far {
            return None;
        }
        let upright = Pose {
            turn_deg: fit.pose.turn_deg,
            ..Pose::upright()
        };
        let standing = Body::new(fit.person, &upright);
        let furthest = furthest_deg(&standing, fit.posed);
        let count = (1.5 * furthest / STEP_DEG).ceil() as usize;
        let between = |k: usize| {
            let share = k as f64 / count as f64;
            Body::between(
                fit.person,
                (&upright, &standing),
                (fit.pose, fit.posed),
                share,
            )
        };
        let mut bodies: Vec<Body> = (1..count).into_par_iter().map(between).collect();
        bodies.insert(0, standing);
        Some(Self { fit, bodies })
    }

    /// Goes the way with what is laid on the first body. Returns where the particles are on the pose itself.
    pub fn gone(&self, laid: &Laid, how: &Settling, progress: &(dyn Fn(f32) + Sync)) -> Vec<DVec3> {
        let weights = weights(laid, how.round, &self.bodies[0]);
        let bones: Vec<Bones> = (self.bodies.iter())
            .chain([self.fit.posed])
            .map(Bones::of)
            .collect();
        let mut cloth = laid.cloth(&laid.start, how);
        let mut places = laid.start.clone();
        let room = if self.fit.under.is_some() {
            ROOM_CM
        } else {
            0.0
        };
        let run = Run {
            seconds: FRAME_S / PARTS as f64,
            substep_s: WAY_SUBSTEP_S,
            damping: 8.0,
            friction: 0.1,
            gap_cm: how.gap_cm + room,
            rest_speed: 0.0,
            ..how.run()
        };
        // Then the creases that were filled on the way are emptied.
        let last = self.bodies.len();
        let frames = last + EMPTIED;
        for k in 0..frames {
            if how.cancel.load(Ordering::Relaxed) {
                break;
            }
            let body = self.bodies.get(k).unwrap_or(self.fit.posed);
            let left = (frames - k).min(EMPTIED + 1) as f64 / (EMPTIED + 1) as f64;
            let obstacle = Obstacle {
                body,
                under: None,
                filled_cm: FILLED_CM * left,
                gives: true,
            };
            let watch = Watch {
                progress: &|_| progress(k as f32 / frames as f32),
                cancel: how.cancel,
            };
            let moves = (1..=last).contains(&k);
            let mut there = places.clone();
            if moves {
                carry(&mut there, &weights, &bones[k - 1], &bones[k]);
            }
            let solids = laid.solids(&obstacle, how.round, &[&places, &there], PITCH_CM);
            // By little and little, so that no fold is carried through another.
            for part in 0..PARTS {
                if moves {
                    let at =
                        |part: usize| bones[k - 1].towards(&bones[k], part as f64 / PARTS as f64);
                    carry(&mut places, &weights, &at(part), &at(part + 1));
                }
                cloth.place(&places);
                cloth.fall(&run, &solids, &[], watch);
                places = cloth.positions();
            }
        }
        places
    }
}

/// The largest turn of a bone from one posture to another, in degrees.
fn furthest_deg(from: &Body, to: &Body) -> f64 {
    (Bones::of(from).0.iter())
        .zip(&Bones::of(to).0)
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
struct Bone {
    at: DVec3,
    turn: DMat3,
}

/// The bones that cloth is carried by.
struct Bones([Bone; BONES]);

impl Bones {
    fn of(body: &Body) -> Self {
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
    fn towards(&self, other: &Self, share: f64) -> Self {
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
type Weights = [f64; BONES];

/// Takes places along with the bones (linear blend skinning; steps are small, so that it does not pinch).
fn carry(places: &mut [DVec3], weights: &[Weights], from: &Bones, to: &Bones) {
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

/// The weights of all particles as they are laid on the upright `body`.
fn weights(laid: &Laid, round: &[Round], body: &Body) -> Vec<Weights> {
    let mut sums = vec![[0.0; BONES]; laid.sewn.count];
    for (particles, &round) in laid.sewn.particles.iter().zip(round) {
        for &p in particles {
            let w = weight(laid.start[p as usize], round, body);
            for (sum, w) in sums[p as usize].iter_mut().zip(w) {
                *sum += w;
            }
        }
    }
    for w in &mut sums {
        let total: f64 = w.iter().sum();
        for w in w.iter_mut() {
            *w /= total.max(1e-9);
        }
    }
    sums
}

fn weight(p: DVec3, round: Round, body: &Body) -> Weights {
    let joints = body.joints();
    let mut out = [0.0; BONES];
    let (in_pelvis, in_thorax) = (body.pelvis_back(p), body.thorax_back(p));
    // Trunk and legs, as the body itself bends.
    let ribs = step(98.0, 126.0, 0.5 * (in_pelvis.y + in_thorax.y));
    let legs = 1.0 - step(76.0, 98.0, in_pelvis.y);
    let left = match round {
        Round::Leg(side) => {
            // Above the fork both sides are one.
            let own = 1.0 - side as f64;
            let shared = step(78.0, 86.0, in_pelvis.y);
            own + (step(-4.0, 4.0, in_pelvis.x) - own) * shared
        }
        _ => step(-4.0, 4.0, in_pelvis.x),
    };
    // Trunk, then upper arms.
    let arms = [0, 1].map(|side| {
        let own = match round {
            Round::Arm(s) if s == side => 1.0,
            _ => 0.0,
        };
        // Above the armpit they run into each other.
        let near = step(-6.0, 6.0, body.trunk(p) - body.arm(side, p));
        own + (near - own) * step(127.0, 133.0, in_thorax.y)
    });
    let arm = (arms[0] + arms[1]).min(1.0);
    for side in 0..2 {
        let share = arms[side] / (arms[0] + arms[1]).max(1e-9) * arm;
        let (shoulder, elbow) = (joints.shoulder[side], joints.elbow[side]);
        let (upper, fore) = (elbow - shoulder, joints.wrist[side] - elbow);
        let along = (upper.normalize() + fore.normalize()).normalize();
        let past = step(-6.0, 6.0, (p - elbow).dot(along));
        out[UPPER_ARM + side] = share * (1.0 - past);
        out[FOREARM + side] = share * past;
        let own = (1.0 - arm) * legs * if side == 0 { left } else { 1.0 - left };
        let knee = joints.knee[side];
        let past = 1.0 - step(-7.0, 7.0, p.y - knee.y);
        out[THIGH + side] = own * (1.0 - past);
        out[SHIN + side] = own * past;
    }
    out[THORAX] = (1.0 - arm) * (1.0 - legs) * ribs;
    out[PELVIS] = (1.0 - arm) * (1.0 - legs) * (1.0 - ribs);
    out
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
