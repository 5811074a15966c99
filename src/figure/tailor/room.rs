//! What a piece of cloth may not enter, by the limb it goes round.
//!
//! Where two limbs press on each other (an arm on the ribs, a thigh on the other, the seat below) there is no room for the
//! cloth between them: pushed out of both it would come through its own folds at the mouth of the crease. So there cloth
//! gives way into its own limb, unseen, and only keeps to its own side of the surface halfway between both.

use crate::figure::body::Body;
use crate::figure::sdf::{Field, step};
use glam::DVec3;

/// Which limb a panel goes round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Round {
    /// Trunk and legs.
    Trunk,
    /// An arm of that side.
    Arm(usize),
    /// A leg of that side, with the trunk above it.
    Leg(usize),
    /// Whatever is nearest: where pieces of two limbs are sewn together.
    Nearest,
}

/// Cloth begins to give way where the other limb is no further off than the second, and does so wholly so deep in it as
/// the first says, in centimetres.
const CREASE_CM: [f64; 2] = [-0.9, 0.3];
/// Where an arm flows into the shoulder creases are so much shallower.
const FILLED_CM: f64 = 1.8;
/// So far it gives way into its own limb.
const GIVES_CM: f64 = 6.0;
/// Cloth may come this much nearer to the surface halfway than to the limb itself.
const SLACK_CM: f64 = 0.15;

/// A body with its shoes, floor and seat, and what is worn below.
#[derive(Clone, Copy)]
pub struct Obstacle<'a> {
    pub body: &'a Body,
    pub under: Option<&'a dyn Field>,
    /// Creases of the joints are filled, see [`Body::filled`].
    pub filled_cm: f64,
    /// Whether cloth gives way in creases: where limbs are bent far, not in a standing figure's armpits.
    pub gives: bool,
    /// Whether feet and shoes are left out: on the way hems fall past them, or they would be caught and turned up.
    pub footless: bool,
}

impl Obstacle<'_> {
    /// Distance for cloth that goes round `limb`, in centimetres.
    pub fn for_cloth(&self, limb: Round, p: DVec3) -> f64 {
        let body = self.body;
        let arm = [0, 1].map(|side| body.arm(side, p));
        let arms = || arm[0].min(arm[1]);
        let (own, other, apart) = match limb {
            Round::Arm(side) => {
                let other = body.trunk_and_legs(p).min(arm[1 - side]);
                (arm[side], other, below_armpit(body, p))
            }
            Round::Trunk => (body.trunk_and_legs(p), arms(), below_armpit(body, p)),
            Round::Leg(side) => {
                let other = body.leg(1 - side, p) + 20.0 * fork(body, p);
                (body.trunk(p).min(body.leg(side, p)), other.min(arms()), 1.0)
            }
            Round::Nearest => {
                let trunk = body.trunk_and_legs(p);
                let legs = body.leg(0, p).max(body.leg(1, p)) + 20.0 * fork(body, p);
                let mut all = [trunk, arm[0], arm[1]];
                all.sort_by(f64::total_cmp);
                (all[0], all[1].min(legs), 0.0)
            }
        };
        let seat = body.seat().map_or(f64::INFINITY, |s| s.distance(p));
        let other = other.min(seat);
        // What flesh fills is no crease.
        let filled = match limb {
            Round::Leg(_) => 0.0,
            _ => FILLED_CM * body.arm_flows(p),
        };
        let gives = if self.gives {
            GIVES_CM * (1.0 - step(CREASE_CM[0], CREASE_CM[1], other + filled))
        } else {
            0.0
        };
        let halfway = 0.5 * (other - own) + SLACK_CM + 20.0 * (1.0 - apart);
        let all = body.filled(p, self.filled_cm).max(self.past_ankle(p));
        let all = self.under.map_or(all, |u| all.min(u.distance(p)));
        (all + gives).min(halfway).min(self.fixed(p))
    }

    /// How far past the nearer ankle a place lies, where there is nothing for feet.
    fn past_ankle(&self, p: DVec3) -> f64 {
        let joints = self.body.joints();
        if !self.footless || joints.knee.iter().all(|k| p.distance(*k) < p.y) {
            return f64::NEG_INFINITY;
        }
        let side = usize::from(self.body.leg(1, p) < self.body.leg(0, p));
        let shin = (joints.ankle[side] - joints.knee[side]).normalize_or_zero();
        (p - joints.ankle[side]).dot(shin)
    }

    /// Floor and shoes.
    fn fixed(&self, p: DVec3) -> f64 {
        let shoes = (self.body.shoes()).filter(|_| p.y < 25.0 && !self.footless);
        shoes.map_or(p.y, |s| p.y.min(s.distance(p)))
    }
}

/// All of it, whatever the cloth goes round.
impl Field for Obstacle<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        let d = self.body.distance(p).min(self.fixed(p));
        let d = self.body.seat().map_or(d, |s| d.min(s.distance(p)));
        self.under.map_or(d, |u| d.min(u.distance(p)))
    }
}

/// 1 in the fork, where both legs are one with the trunk.
fn fork(body: &Body, p: DVec3) -> f64 {
    1.0 - step(0.6, 3.0, body.trunk(p))
}

/// 1 where arms hang beside the trunk, 0 where they are one with the shoulder.
fn below_armpit(body: &Body, p: DVec3) -> f64 {
    1.0 - step(129.0, 135.0, body.thorax_back(p).y)
}
