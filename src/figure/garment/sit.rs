//! How a hung garment that was put on standing goes along when its wearer sits down.
//!
//! Laid straight onto a seated figure, a skirt's tube is pierced by the thighs. Put on standing, it goes along through
//! the bodies in between: its cloth is carried by trunk and legs and falls a little in each frame.

use super::against::Meets;
use super::panel::Sewn;
use crate::figure::body::Body;
use crate::figure::cloth::{Cloth, Ended, Run, Watch};
use crate::figure::sdf::step;
use crate::figure::tailor::bones::{
    BONES, Bones, EMPTIED, FILLED_CM, FRAME_S, PARTS, PELVIS, ROOM_CM, SHIN, THIGH, THORAX,
    Weights, carry,
};
use glam::{DVec2, DVec3, dvec2};
use std::slice;

/// Grid of the body that is gone past.
const PITCH_CM: f64 = 1.2;
/// Cloth further before the hips than this is smoothed over the lap no more than cloth there.
const AHEAD_CM: f64 = 10.0;
/// The seat comes up from the floor, past legs that have left its place, from this share of the way on.
const SEAT_FROM: f64 = 0.45;

/// Takes `cloth`, which hangs on the first of `bodies`, along to `posed`; `None` where it was stopped.
pub fn down(
    sewn: &mut Sewn,
    cloth: &mut Cloth,
    (bodies, posed): (&[Body], &Body),
    (worn_below, reach): (bool, [f64; 2]),
    run: &Run,
    watch: Watch<'_>,
) -> Option<()> {
    let mesh = &mut sewn.mesh;
    let start = cloth.positions();
    let weights: Vec<Weights> = start.iter().map(|&p| weight(p, &bodies[0])).collect();
    let hips = bodies[0].joints().hip.map(|h| bodies[0].pelvis_back(h).z);
    let ahead_cm: Vec<f64> = (start.iter())
        .map(|&p| bodies[0].pelvis_back(p).z - 0.5 * (hips[0] + hips[1]))
        .map(|ahead| ahead.clamp(0.0, AHEAD_CM))
        .collect();
    let bones: Vec<Bones> = bodies.iter().chain([posed]).map(Bones::of).collect();
    let part = Run {
        seconds: FRAME_S / PARTS as f64,
        damping: 8.0,
        friction: 0.1,
        gap_cm: run.gap_cm + if worn_below { ROOM_CM } else { 0.0 },
        rest_speed: 0.0,
        ..*run
    };
    let last = bodies.len();
    let frames = last + EMPTIED;
    for k in 1..frames {
        let body = bodies.get(k).unwrap_or(posed);
        let share = (k as f64 / last as f64).min(1.0);
        let left = (frames - k).min(EMPTIED + 1) as f64 / (EMPTIED + 1) as f64;
        let meets = Meets {
            body,
            under: None,
            seat: posed.seat().map(|mut seat| {
                seat.top_cm *= step(SEAT_FROM, 1.0, share);
                seat
            }),
            filled_cm: FILLED_CM * left,
        };
        let solid = meets.solid(reach, PITCH_CM);
        let watch = Watch {
            progress: &|_| (watch.progress)(k as f32 / frames as f32),
            cancel: watch.cancel,
        };
        for i in 0..PARTS {
            let (from, to) = (&bones[(k - 1).min(last)], &bones[k.min(last)]);
            let at = |i: usize| from.towards(to, i as f64 / PARTS as f64);
            let mut places = cloth.positions();
            carry(&mut places, &weights, &at(i), &at(i + 1));
            let by = folded(&bones[0], &at(i + 1)) - folded(&bones[0], &at(i));
            slide(&mut places, &weights, &ahead_cm, by, &at(i + 1));
            // Bands and straps stay where they were put on the trunk.
            let mut pinned = start.clone();
            carry(&mut pinned, &weights, &bones[0], &at(i + 1));
            for (v, held) in mesh.pinned.iter().enumerate() {
                if *held {
                    places[v] = pinned[v];
                }
            }
            cloth.place(&places);
            if cloth.fall(&part, slice::from_ref(&solid), &[], watch) == Ended::Cancelled {
                return None;
            }
        }
    }
    mesh.positions = cloth.positions();
    Some(())
}

/// How much of its path over the lap cloth loses for each centimetre that it lies before the hips: twice the tangent of
/// half the fold, for both thighs.
fn folded(upright: &Bones, now: &Bones) -> DVec2 {
    let bend = |side: usize| {
        let thigh = |b: &Bones| b.0[PELVIS].turn.transpose() * b.0[THIGH + side].turn.y_axis;
        2.0 * (0.5 * thigh(upright).angle_between(thigh(now))).tan()
    };
    dvec2(bend(0), bend(1))
}

/// Smooths what is too long over the lap towards the knees, as a hand would.
fn slide(places: &mut [DVec3], weights: &[Weights], ahead_cm: &[f64], by: DVec2, bones: &Bones) {
    for ((p, w), ahead) in places.iter_mut().zip(weights).zip(ahead_cm) {
        for side in 0..2 {
            let down = |bone: usize| bones.0[bone + side].turn.y_axis * w[bone + side];
            *p += (down(THIGH) + down(SHIN)) * (ahead * by[side]);
        }
    }
}

/// How the bones carry a particle that hangs on the upright `body`.
fn weight(p: DVec3, body: &Body) -> Weights {
    let mut out = [0.0; BONES];
    let base = body.pelvis_back(p);
    // Trunk and legs, as the body itself bends.
    let ribs = step(98.0, 126.0, base.y);
    let legs = 1.0 - step(66.0, 98.0, base.y);
    let left = step(-9.0, 9.0, base.x);
    for side in 0..2 {
        let own = legs * if side == 0 { left } else { 1.0 - left };
        let past = 1.0 - step(-7.0, 7.0, p.y - body.joints().knee[side].y);
        out[THIGH + side] = own * (1.0 - past);
        out[SHIN + side] = own * past;
    }
    out[THORAX] = (1.0 - legs) * ribs;
    out[PELVIS] = (1.0 - legs) * (1.0 - ribs);
    out
}
