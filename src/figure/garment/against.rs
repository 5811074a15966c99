//! What hung garments meet: the wearer, its arms, and what is worn below.

use crate::figure::body::Body;
use crate::figure::cloth::{Rod, Solid};
use crate::figure::sdf::{Field, step};
use crate::figure::seat::Block;
use glam::{DVec3, dvec3};

/// What cloth meets: the body with no arms below the armpits and the whole shoulder above, shoes, seat and floor.
pub struct Meets<'a> {
    pub body: &'a Body,
    pub under: Option<&'a dyn Field>,
    pub seat: Option<Block>,
    /// Creases of hips and knees are filled, see [`Body::filled`].
    pub filled_cm: f64,
}

/// Cloth that is sat upon has no room between flesh and seat: so far the seat gives way below the body, and how near to it.
const GIVES_CM: f64 = 2.3;
const SAT_UPON_CM: [f64; 2] = [0.6, 3.0];

impl<'a> Meets<'a> {
    /// All of it in the wearer's pose.
    pub fn posed(body: &'a Body, under: Option<&'a dyn Field>) -> Self {
        Self {
            body,
            under,
            seat: body.seat(),
            filled_cm: 0.0,
        }
    }

    /// On a grid; `reach` is the lowest and the highest that cloth comes to.
    pub fn solid(&self, reach: [f64; 2], pitch_cm: f64) -> Solid {
        let (mut lo, mut hi) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        let j = self.body.joints();
        for p in [j.hip, j.knee, j.ankle, j.shoulder].iter().flatten() {
            lo = lo.min(*p);
            hi = hi.max(*p);
        }
        let margin = dvec3(22.0, 10.0, 24.0);
        lo -= margin;
        hi += margin;
        lo.y = reach[0].max(-2.0);
        hi.y = hi.y.min(reach[1]);
        Solid::sample(self, lo, hi, pitch_cm)
    }
}

impl Field for Meets<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        let body = self.body;
        let w = step(129.0, 134.0, body.thorax_back(p).y);
        let low = if w < 1.0 { body.trunk_and_legs(p) } else { 0.0 };
        let high = if w > 0.0 { shouldered(body, p) } else { 0.0 };
        let flesh = low + (high - low) * w;
        let flesh = if flesh < self.filled_cm && w < 1.0 {
            flesh.min(body.legs_filling(p, self.filled_cm))
        } else {
            flesh
        };
        let d = self.under.map_or(flesh, |u| flesh.min(u.distance(p)));
        let d = self.seat.map_or(d, |seat| {
            let near = 1.0 - step(SAT_UPON_CM[0], SAT_UPON_CM[1], flesh);
            d.min(seat.distance(p) + GIVES_CM * near)
        });
        let d = d.min(p.y);
        let shoes = body.shoes().filter(|_| p.y < 25.0);
        shoes.map_or(d, |s| d.min(s.distance(p)))
    }
}

/// Forearms and hands as rods; with `away` 1 they are swung out of the way. A
/// hand that rests on the body is left out, for it would drag the cloth along.
pub fn arms(body: &Body, away: f64) -> Vec<Rod> {
    let j = body.joints();
    let mut rods = Vec::new();
    for side in 0..2 {
        let palm = j.wrist[side].lerp(j.fingertip[side], 0.5);
        let rests = [j.wrist[side], palm, j.fingertip[side]]
            .iter()
            .any(|&p| body.trunk_and_legs(p) < 4.0);
        if rests {
            continue;
        }
        let shoulder = j.shoulder[side];
        let across = (j.shoulder[0] - j.shoulder[1]).normalize_or(DVec3::X);
        let ahead = across.cross(DVec3::Y).normalize_or(DVec3::Z);
        let angle = [0.7, -0.7][side] * away;
        let swung = glam::DQuat::from_axis_angle(ahead, angle);
        let put = |p: DVec3| shoulder + swung * (p - shoulder);
        for (a, b, ra, rb) in [
            (j.elbow[side], j.wrist[side], 3.6, 2.5),
            (j.wrist[side], palm, 2.4, 2.6),
            (palm, j.fingertip[side], 2.4, 1.2),
        ] {
            rods.push(Rod {
                a: put(a),
                b: put(b),
                ra,
                rb,
            });
        }
    }
    rods
}

/// The wearer, arms and all, with what is worn below.
pub struct Dressed<'a> {
    pub body: &'a Body,
    pub under: Option<&'a dyn Field>,
}

impl Field for Dressed<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        let d = shouldered(self.body, p);
        self.under.map_or(d, |u| d.min(u.distance(p)))
    }
}

/// The body as a sleeveless garment meets it. An arm that is held forward passes before the edge of the armhole: past the
/// shoulder it does not push that edge down over the chest.
fn shouldered(body: &Body, p: DVec3) -> f64 {
    const SHOULDER_CM: [f64; 2] = [7.0, 11.0];
    let all = body.distance(p);
    let trunk = body.trunk_and_legs(p).min(body.neck(p));
    if all >= trunk {
        return all;
    }
    let j = body.joints();
    let side = usize::from(body.arm(1, p) < body.arm(0, p));
    let ahead = body.on_thorax(DVec3::Z) - body.on_thorax(DVec3::ZERO);
    let upper = (j.elbow[side] - j.shoulder[side]).normalize_or_zero();
    let forward = step(0.25, 0.55, upper.dot(ahead.normalize_or_zero()));
    let past = step(SHOULDER_CM[0], SHOULDER_CM[1], p.distance(j.shoulder[side]));
    // Head, neck, forearm and hand stay.
    if body.upper_arm(side, p) < trunk.min(body.forearm(side, p)) {
        all + (trunk - all) * forward * past
    } else {
        all
    }
}
