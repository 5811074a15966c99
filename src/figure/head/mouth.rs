//! Muzzle, lips, the line between them, philtrum and the fold over the chin.

use super::{Traits, ball, bell};
use crate::figure::sdf::{smin, step};
use glam::DVec3;

/// Half breadth of the mouth in millimetres.
pub const HALF_MOUTH_MM: f64 = 24.5;

/// The outline of the lips at one place, heights in millimetres in the
/// symmetric head's frame.
#[derive(Debug, Clone, Copy)]
pub struct LipLine {
    /// Upper edge of the red.
    pub top: f64,
    /// Lower edge of the red.
    pub bottom: f64,
    /// Where the lips meet.
    pub middle: f64,
    /// Distance from the midline, 1 at the corner.
    pub u: f64,
}

impl LipLine {
    /// The outline at `x` (either side) for lips of the given fullness.
    pub fn at(x: f64, fullness: f64) -> Self {
        let ax = x.abs();
        let u = ax / HALF_MOUTH_MM;
        let k = u.min(1.0);
        let full = fullness.powf(0.6);
        let middle = meeting(x);
        let bow = 8.4 * full * (1.0 - k.powf(1.5)).powf(0.95) - 1.4 * bell(ax, 2.9);
        let bow = bow * (1.0 - 0.13 * step(4.0, 22.0, ax));
        Self {
            top: -61.3 + bow + 1.3 * k * k,
            bottom: -61.3 - 10.4 * full * (1.0 - k * k).powf(0.8) + 1.3 * k * k,
            middle,
            u,
        }
    }
}

/// Height of the line where the lips meet: a soft bow, its corners lifted a hair.
fn meeting(x: f64) -> f64 {
    let t = (x.abs() / HALF_MOUTH_MM).min(1.15);
    -61.3 - 0.55 * (1.0 - t * t).max(0.0) * (4.2 * t).cos() + 1.3 * t * t
}

pub fn join(t: &Traits, d: f64, p: DVec3, a: DVec3) -> f64 {
    if p.z < 45.0 || a.x > 55.0 || p.y < -105.0 || p.y > -28.0 {
        return d;
    }
    // The arch of the teeth.
    let mut d = smin(d, ball(p, [0.0, -58.0, 72.0], [24.5, 20.0, 24.8]), 13.0);
    let ahead = step(68.0, 80.0, p.z);
    // Philtrum: a soft channel between two columns.
    let height = bell(p.y + 48.8, 5.2) * ahead;
    d += height * (0.6 * bell(p.x, 2.4) - 0.25 * bell(a.x - 4.6, 2.4));
    d = smin(d, upper_lip(t.lips, p), 3.4);
    d = smin(d, lower_lip(t.lips, p), 3.8);
    // The line is a displacement of the field, which fades into a shallow groove
    // past the corner instead of ending in a pit.
    let q = p.y - meeting(p.x);
    if ahead > 0.0 {
        let sharp = step(25.5, 18.0, a.x);
        let soft = step(31.0, 19.0, a.x);
        d += ahead * (0.9 * sharp * bell(q, 0.75) + 0.8 * soft * bell(q, 2.2));
    }
    // The soft fullness beside the corner, and the fold over the chin.
    d -= 0.3 * bell(a.x - 32.0, 6.0) * bell(p.y + 62.0, 9.0) * ahead;
    d + 2.6 * bell(p.y + 78.5 - 0.004 * a.x * a.x, 5.8) * bell(a.x, 15.0) * ahead
}

/// A lip as a tube swept along a bow in plan: centre and radius against x.
fn tube(p: DVec3, y: f64, z: f64, bend: f64, r: f64) -> f64 {
    let slope = 2.0 * bend * p.x;
    let plan = (1.0 + slope * slope).sqrt();
    (p.y - y).hypot((p.z - z + bend * p.x * p.x) / plan) - r
}

fn upper_lip(f: f64, p: DVec3) -> f64 {
    let u = (p.x.abs() / 25.0).min(1.3);
    // The bow: highest beside the midline, a little lower and prouder on it.
    let y = -56.3 - 4.3 * u.powf(1.6) - 0.7 * bell(p.x, 3.0);
    let r = 4.3 * f * (1.0 - u * u) + 0.35 * bell(p.x, 3.5);
    tube(p, y, 96.3, 0.0212, r)
}

fn lower_lip(f: f64, p: DVec3) -> f64 {
    let u = (p.x.abs() / 25.0).min(1.3);
    let y = -66.3 + 4.9 * u * u;
    let r = 5.5 * f * (1.0 - u * u) - 0.15 * bell(p.x, 2.6);
    tube(p, y, 93.4, 0.0190, r)
}
