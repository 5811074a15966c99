//! Peirce's plain weave of flexible round threads: each bends around those it crosses and is
//! straight between.
//!
//! With `D` the sum of both diameters, `h` the height of a thread's crimp wave from side to side,
//! `p` the pitch of the threads it crosses, `θ` its greatest slope and `l` its length from one to
//! the next (Peirce 1937):
//!
//! ```text
//! p = (l - Dθ) cos θ + D sin θ        h = (l - Dθ) sin θ + D (1 - cos θ)        h₁ + h₂ = D
//! ```
//!
//! Without `l - Dθ`, the straight part, the two say `p sin θ + (D - h) cos θ = D`.

use std::f64::consts::FRAC_PI_4;

/// How a thread of a plain weave runs between two that it crosses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wave {
    /// Its greatest slope against the cloth's plane, θ.
    pub weave_angle_rad: f64,
    /// Its length, l.
    pub length_mm: f64,
    /// `l/p - 1`.
    pub crimp: f64,
}

/// The run of a thread over crossed threads at a pitch, with a crimp wave of a height from side to
/// side, both diameters together being `sum_mm`. Lengths may be in any one unit.
///
/// `None` where the crossed threads stand closer than [`least_pitch_mm`], and for lengths that are
/// not finite, negative, or a height above the sum.
pub fn wave(pitch_mm: f64, height_mm: f64, sum_mm: f64) -> Option<Wave> {
    /// A jammed cloth by computed numbers must pass.
    const ROUNDING: f64 = 1e-9;
    let rest_mm = sum_mm - height_mm;
    let sine = sum_mm / pitch_mm.hypot(rest_mm);
    let fits = pitch_mm > 0.0 && height_mm >= 0.0 && rest_mm >= 0.0 && sine.is_finite();
    if !fits || sine > 1.0 + ROUNDING {
        return None;
    }
    let angle = (sine.min(1.0).asin() - rest_mm.atan2(pitch_mm)).max(0.0);
    // Either equation gives the straight part; take the one that does not divide by nearly nothing.
    let straight_mm = if angle > FRAC_PI_4 {
        (height_mm - sum_mm * (1.0 - angle.cos())) / angle.sin()
    } else {
        (pitch_mm - sum_mm * angle.sin()) / angle.cos()
    };
    let length_mm = straight_mm.max(0.0) + sum_mm * angle;
    Some(Wave {
        weave_angle_rad: angle,
        length_mm,
        crimp: length_mm / pitch_mm - 1.0,
    })
}

/// The closest that crossed threads can stand when a thread has a crimp wave of a height: `l = Dθ`,
/// so `p = √(D² - (D - h)²)`.
pub fn least_pitch_mm(height_mm: f64, sum_mm: f64) -> f64 {
    let rest_mm = sum_mm - height_mm;
    (sum_mm * sum_mm - rest_mm * rest_mm).max(0.0).sqrt()
}

/// How far a plain cloth is jammed, from the pitch of ends and of picks over the sum of both
/// diameters: `√(1 - (p₁/D)²) + √(1 - (p₂/D)²)`, 1 when both systems are jammed (Peirce 1937) and
/// more where it could not be woven. Threads farther apart than D add nothing.
pub fn jam(ends_pitch_over_sum: f64, picks_pitch_over_sum: f64) -> f64 {
    turn_share(ends_pitch_over_sum) + turn_share(picks_pitch_over_sum)
}

/// The share of D that the crossing thread's crimp must have at least; above 1 where there is no
/// room at all.
pub(super) fn turn_share(pitch_over_sum: f64) -> f64 {
    match pitch_over_sum {
        x if x < 0.0 => 1.0 - x,
        x => (1.0 - x * x).max(0.0).sqrt(),
    }
}

/// Height of a crimp wave from side to side, from the pitch of the crossed threads and the crimp:
/// `h = (4/3) p √c`, Peirce's approximation of 1937.
pub fn crimp_height_mm(pitch_mm: f64, crimp: f64) -> f64 {
    4.0 / 3.0 * pitch_mm * crimp.max(0.0).sqrt()
}
