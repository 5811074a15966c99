//! The ear: a tilted plate with its relief as a height over the plate.

use super::{Traits, bell, join_near};
use crate::figure::sdf::{smax, step};
use glam::DVec3;

/// Middle of the figure's left ear, in millimetres.
pub const CENTRE_MM: DVec3 = DVec3::new(69.5, -14.0, -9.0);
/// Half the height of an ear of size 1, in millimetres (62 mm is about the adult mean).
pub const HALF_HEIGHT_MM: f64 = 31.0;
/// Half its breadth, in millimetres, at its broadest and leaning as it does.
pub const HALF_BREADTH_MM: f64 = 17.0;

/// Unites the ear with the head. `a` has |x|, so that one ear serves both sides.
pub fn join(t: &Traits, d: f64, a: DVec3) -> f64 {
    let near = a.x > 40.0 && a.z > -75.0 && a.z < 50.0 && a.y > -80.0 && a.y < 55.0;
    join_near(d, near, || plate(t.ear, a), 5.5)
}

fn plate(size: f64, a: DVec3) -> f64 {
    // Into the ear's own plane: leaning back 13 degrees, its back edge out 22.
    let q = (a - CENTRE_MM) / size;
    let (s, c) = (-13f64).to_radians().sin_cos();
    let (y, z) = (c * q.y - s * q.z, s * q.y + c * q.z);
    let (s, c) = 22f64.to_radians().sin_cos();
    let (z, x) = (c * z - s * q.x, s * z + c * q.x);
    // Outline: an egg whose broad end is up, its lower end a rounded lobe.
    let half = (14.6 + 0.11 * y - 0.0016 * y * y).max(6.0);
    let n = if y < 0.0 {
        2.0 - 0.022 * y.max(-25.0)
    } else {
        2.0
    };
    let (u, v) = ((z / half).abs(), (y / HALF_HEIGHT_MM).abs());
    let k = (u.powf(n) + v.powf(n)).powf(1.0 / n);
    let slope = (u / half).hypot(v / HALF_HEIGHT_MM).max(1e-6);
    let rim = u.hypot(v) * (k - 1.0) / slope;
    if rim > 25.0 {
        return rim * size;
    }
    let angle = (y / HALF_HEIGHT_MM).atan2(-z / half); // 0 behind, π/2 on top
    // Helix: a roll along the rim from the lobe round to the root above the tragus.
    let helix = step(-1.15, -0.5, angle) * (1.0 - step(2.55, 2.95, angle));
    let mut h = 1.4 + helix * 2.9 * bell(rim + 2.3, 2.1) - helix * 0.9 * bell(rim + 5.6, 1.8);
    // Its root runs into the bowl.
    h += 1.8 * bell((y - 1.5) + 0.45 * (z - 5.0), 1.6) * bell(z - 5.5, 5.0);
    // Antihelix, parting in two at the top.
    let w = (half * 0.62).max(4.0);
    let inner = ((z - 0.8) / w).hypot((y + 2.0) / 17.5) - 1.0;
    let ridge = inner * w.min(17.5);
    let present = step(-1.25, -0.6, angle) * (1.0 - step(1.2, 1.75, angle));
    h += present * 2.6 * bell(ridge, 2.0);
    let lower_leg = (y - 11.5) + 0.30 * (z + 2.0);
    h += 1.5 * bell(lower_leg, 1.8) * step(8.0, 1.0, z) * step(-9.0, -4.0, z);
    // The bowl, deepest beside the opening, and the two knobs that guard it.
    h -= 6.6 * bell(y + 5.5, 9.5) * bell(z - 2.0, 6.4);
    h += 5.4 * bell(y + 6.5, 4.8) * bell(z - 12.0, 3.4);
    h += 3.0 * bell(y + 16.5, 3.4) * bell(z + 1.5, 4.2);
    // Lobe.
    h += 1.2 * bell(y + 25.5, 5.5) * bell(z - 1.5, 6.5);
    // Heights are steep: shorten the distance so that it never overshoots.
    let front = (x - h) * 0.72;
    let bowl = 6.8 * bell(y + 5.5, 11.5) * bell(z - 2.0, 8.4);
    let back = -(x + 2.2 + bowl) * 0.9;
    let d = smax(smax(front, back, 2.4), rim, 2.6);
    d * size
}
