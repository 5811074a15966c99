//! Rings of cloth around an arm.

use super::tube::{Axis, leave};
use crate::figure::body::Body;
use glam::{DVec3, dvec3};
use rayon::prelude::*;

/// Stations of the arm's axis: 12 cm above the shoulder joint 0, shoulder 1,
/// elbow 2, wrist 3, 8 cm past it 4.
pub const SHOULDER: f64 = 1.0;
pub const WRIST: f64 = 3.0;
const ABOVE: f64 = 12.0;

/// The arm as seen from its axis: radius against station and turn.
pub struct ArmRings {
    pub axis: Axis,
    /// +1 for the left arm.
    sign: f64,
    radii: Vec<Vec<f64>>,
}

const ROWS: usize = 72;
const RAYS: usize = 48;

/// The line through the arm on `side`, its front the body's.
pub fn arm_axis(body: &Body, side: usize) -> Axis {
    let j = body.joints();
    let (shoulder, elbow, wrist) = (j.shoulder[side], j.elbow[side], j.wrist[side]);
    let upper = (elbow - shoulder).normalize();
    let fore = (wrist - elbow).normalize();
    let joints = [
        shoulder - upper * ABOVE,
        shoulder,
        elbow,
        wrist,
        wrist + fore * 8.0,
    ];
    let chest = body.on_thorax(dvec3(0.0, 130.0, 0.0));
    let front = (body.on_thorax(dvec3(0.0, 130.0, 1.0)) - chest).normalize();
    // A raised arm has another front.
    let front = if front.dot(upper).abs() > 0.9 {
        (body.on_thorax(dvec3(0.0, 131.0, 0.0)) - chest).normalize()
    } else {
        front
    };
    Axis::new(&joints, front, 4.0)
}

/// How far a bent elbow draws a cuff up the arm, in centimetres: on the outside of the bend the way is longer than on the
/// axis, by its radius times the angle, and the sleeve's ease takes up about half of that and small bends. Held at the
/// wrist a sleeve was stretched threefold over the elbow, and the elbow came through.
pub fn drawn_up_cm(body: &Body, side: usize) -> f64 {
    const EASE_RAD: f64 = 0.4;
    const CM_A_RAD: f64 = 2.5;
    let j = body.joints();
    let (upper, fore) = (
        j.elbow[side] - j.shoulder[side],
        j.wrist[side] - j.elbow[side],
    );
    CM_A_RAD * body.scale() * (upper.angle_between(fore) - EASE_RAD).max(0.0)
}

impl ArmRings {
    /// Measures the arm of `body` on `side`.
    pub fn new(body: &Body, side: usize) -> Self {
        let sign = [1.0, -1.0][side];
        let axis = arm_axis(body, side);
        let radii = (0..=ROWS)
            .into_par_iter()
            .map(|r| {
                let st = axis.at(4.0 * r as f64 / ROWS as f64);
                (0..RAYS)
                    .map(|k| {
                        let turn = std::f64::consts::TAU * k as f64 / RAYS as f64;
                        let ray = st.side * (sign * turn.cos()) - st.front * turn.sin();
                        let reach = leave(&|p| body.arm(side, p), st.origin, ray, 9.0);
                        reach.clamp(1.8, 8.5)
                    })
                    .collect()
            })
            .collect();
        Self { axis, sign, radii }
    }

    fn radius(&self, t: f64, turn: f64) -> f64 {
        let x = (t / 4.0 * ROWS as f64).clamp(0.0, ROWS as f64 - 1e-6);
        let y = turn.rem_euclid(std::f64::consts::TAU) / std::f64::consts::TAU * RAYS as f64;
        let (r, k) = (x as usize, y as usize % RAYS);
        let row = |r: usize| {
            let (a, b) = (self.radii[r][k], self.radii[r][(k + 1) % RAYS]);
            a + (b - a) * y.fract()
        };
        row(r) + (row(r + 1) - row(r)) * x.fract()
    }

    /// Girth of the bare arm at station `t`.
    pub fn girth(&self, t: f64) -> f64 {
        (0..RAYS)
            .map(|k| {
                let at = |k: usize| {
                    self.place(t, std::f64::consts::TAU * k as f64 / RAYS as f64, 0.0, 1.0)
                };
                at(k).distance(at(k + 1))
            })
            .sum()
    }

    /// A place around the arm: `turn` 0 is outward, positive to the back; the
    /// body's radius times `scale`, plus `gap`.
    pub fn place(&self, t: f64, turn: f64, gap: f64, scale: f64) -> DVec3 {
        let st = self.axis.at(t);
        let ray = st.side * (self.sign * turn.cos()) - st.front * turn.sin();
        st.origin + ray * (self.radius(t, turn) * scale + gap)
    }
}
