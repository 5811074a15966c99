//! From upright into a pose that is far from it: a garment is put on standing and goes along, so that its cloth
//! comes to lie as it would on somebody who sits down or folds their arms, and never starts crossed.

use super::Fitting;
use super::bones::{
    BONES, Bones, EMPTIED, FILLED_CM, FOREARM, FRAME_S, PARTS, PELVIS, ROOM_CM, SHIN, THIGH,
    THORAX, UPPER_ARM, Weights, between, carry,
};
use super::room::{Obstacle, Round};
use super::sew::{Laid, Settling};
use crate::figure::body::Body;
use crate::figure::cloth::{Mechanics, Run, Watch};
use crate::figure::sdf::step;
use glam::DVec3;
use std::sync::atomic::Ordering;

/// Substep of cloth that goes a way.
pub const WAY_SUBSTEP_S: f64 = 1.0 / 900.0;
/// Grid of the body that is gone past.
const PITCH_CM: f64 = 1.0;

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

impl<'a> Way<'a> {
    /// The way of the wearer; `None` where the pose is near upright.
    pub(crate) fn of(fit: &'a Fitting<'a>) -> Option<Self> {
        if !fit.far {
            return None;
        }
        let bodies = between(fit.person, fit.pose, fit.posed);
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
                footless: true,
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
    let legs = 1.0 - step(70.0, 88.0, in_pelvis.y);
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
