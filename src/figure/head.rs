//! The head of the stand-in: a calm shop mannequin, eyes closed, no hair.
//!
//! Sculpted in millimetres in its own frame: the origin lies midway between
//! the pupils, +y up, +z forward, z = 0 in the plane of the ear openings. The
//! planes that light needs are all there (brow, lid, nose, cheekbone, lips,
//! chin, jaw); lashes, nostrils and hair are left out on purpose, since a
//! smooth mannequin misleads nobody.

use super::sdf::{Table, cone, ellipsoid, smax, smin, step, superellipse};
use glam::{DMat3, DVec2, DVec3, EulerRot, dvec3};

/// The head as a signed-distance field, in millimetres.
#[derive(Debug, Clone)]
pub struct Head {
    /// (half breadth, front z) against height.
    face: Table<2>,
}

/// Height of the crown above the pupils, in millimetres.
pub const CROWN_MM: f64 = 109.5;

impl Head {
    /// Builds the face table.
    pub fn new() -> Self {
        let rows = [
            (-115.0, [16.0, 72.0]),
            (-103.0, [24.0, 79.0]),
            (-93.0, [30.0, 84.0]),
            (-80.0, [36.5, 87.5]),
            (-68.0, [42.0, 90.0]),
            (-55.0, [49.0, 91.5]),
            (-40.0, [55.0, 91.5]),
            (-25.0, [60.5, 89.5]),
            (-12.0, [63.5, 88.5]),
            (0.0, [64.5, 89.0]),
            (12.0, [65.5, 92.5]),
            (25.0, [67.5, 95.5]),
            (40.0, [68.0, 94.5]),
            (60.0, [64.0, 86.0]),
            (90.0, [50.0, 64.0]),
        ];
        Self {
            face: Table::new(&rows, 128, 2.5),
        }
    }

    /// Distance in millimetres at `p`, negative inside.
    pub fn distance(&self, p: DVec3) -> f64 {
        // The face is symmetric; a softened |x| keeps the midline free of a crease.
        let a = dvec3(p.x.abs(), p.y, p.z);
        let s = dvec3((p.x * p.x + 4.0).sqrt(), p.y, p.z);
        let mut d = self.skull(a, s);
        d = cheeks_and_jaw(d, a, s);
        d = brow_and_lids(d, a, s);
        d = nose(d, p);
        d = mouth(d, a, s, p);
        smin(d, ear(dvec3(a.x * 1.02, a.y, a.z)), 5.0)
    }

    fn skull(&self, a: DVec3, s: DVec3) -> f64 {
        let mut d = ball(a, [0.0, 36.0, -6.0], [71.0, 73.5, 94.0]);
        d = smin(d, ball(a, [0.0, 31.0, 30.0], [61.5, 62.0, 65.0]), 30.0);
        d = smin(d, ball(a, [0.0, 0.0, -42.0], [57.0, 46.0, 44.0]), 25.0);
        // The front of the face is a loft, cut away above the forehead and below the jaw.
        let [half, front] = self.face.at(s.y);
        const AXIS_Z: f64 = 8.0;
        let depth = if s.z > AXIS_Z {
            front - AXIS_Z
        } else {
            18.0 + if s.y > -20.0 {
                40.0
            } else {
                40.0 * ((s.y + 60.0) / 40.0).max(0.0)
            }
        };
        let mut face = superellipse(DVec2::new(s.x, s.z - AXIS_Z), DVec2::new(half, depth), 2.1);
        face = smax(face, s.y - 58.0, 34.0);
        face = smax(face, (s.y + 101.0) * -0.89 + (s.z - 78.0) * -0.455, 24.0);
        smin(d, face, 16.0)
    }
}

impl Default for Head {
    fn default() -> Self {
        Self::new()
    }
}

fn ball(p: DVec3, centre: [f64; 3], r: [f64; 3]) -> f64 {
    ellipsoid(p - DVec3::from(centre), DVec3::from(r))
}

/// Ellipsoid turned by Euler angles (degrees about x, then y, then z).
fn turned(p: DVec3, centre: [f64; 3], r: [f64; 3], euler_deg: [f64; 3]) -> f64 {
    let [x, y, z] = euler_deg.map(f64::to_radians);
    let m = DMat3::from_euler(EulerRot::ZYX, z, y, x);
    ellipsoid(m.transpose() * (p - DVec3::from(centre)), DVec3::from(r))
}

fn rod(p: DVec3, a: [f64; 3], b: [f64; 3], ra: f64, rb: f64) -> f64 {
    cone(p, DVec3::from(a), DVec3::from(b), ra, rb)
}

fn cheeks_and_jaw(mut d: f64, a: DVec3, s: DVec3) -> f64 {
    // Temple and cheek, hollowed a little.
    d = smax(d, -ball(a, [88.0, 14.0, 50.0], [15.0, 22.0, 25.0]), 16.0);
    d = smax(
        d,
        -turned(
            a,
            [80.5, -57.0, 54.0],
            [13.0, 19.0, 24.0],
            [0.0, 0.0, -22.0],
        ),
        26.0,
    );
    // Cheekbone, its arch towards the ear, and the apple.
    d = smin(
        d,
        turned(
            a,
            [43.5, -22.5, 57.5],
            [17.5, 12.5, 17.0],
            [0.0, 30.0, 14.0],
        ),
        22.0,
    );
    d = smin(
        d,
        rod(a, [50.0, -17.0, 46.0], [61.0, -9.0, 12.0], 6.0, 4.0),
        18.0,
    );
    d = smin(d, ball(s, [29.5, -43.0, 58.5], [15.5, 18.0, 20.0]), 22.0);
    // Jaw from below the ear to the chin, its angle, and the chin itself.
    d = smin(
        d,
        rod(s, [36.5, -54.0, 11.0], [8.0, -91.0, 71.0], 6.8, 6.6),
        24.0,
    );
    d = smin(
        d,
        turned(s, [38.5, -38.0, 28.0], [7.5, 22.0, 17.0], [0.0, 10.0, 8.0]),
        24.0,
    );
    smin(d, ball(s, [2.0, -88.5, 75.0], [9.5, 11.0, 13.5]), 18.0)
}

const EYE: DVec3 = DVec3::new(31.0, 0.0, 65.5);

fn brow_and_lids(mut d: f64, a: DVec3, s: DVec3) -> f64 {
    d = smin(
        d,
        rod(s, [12.0, 16.5, 84.6], [30.0, 21.0, 79.8], 5.6, 6.2),
        13.0,
    );
    d = smin(
        d,
        rod(s, [30.0, 21.0, 80.4], [50.0, 13.5, 60.5], 6.2, 5.0),
        13.0,
    );
    // Sockets, then the closed lids over the eyeballs.
    d = smax(
        d,
        -turned(s, [32.0, -0.5, 91.5], [20.0, 13.5, 14.4], [0.0, 20.0, -6.0]),
        12.0,
    );
    d = smax(d, -ball(s, [18.0, 2.0, 93.5], [7.5, 8.5, 13.0]), 10.0);
    d = smin(d, ellipsoid(a - EYE, dvec3(17.0, 13.4, 14.4)), 4.5);
    // A soft line where the lids meet, and the fold above: a displacement of the
    // field cannot break up on a coarse mesh as a carved groove does.
    let u = ((a.x - 15.0) / 33.0).clamp(0.0, 1.0);
    let fade = step(13.0, 21.0, a.x) * step(50.0, 43.0, a.x) * step(60.0, 68.0, a.z);
    if fade > 0.0 {
        let bow = 4.0 * u * (1.0 - u);
        let meet = a.y - (-1.6 + 2.2 * u - 6.6 * bow.powf(0.8));
        d += fade
            * (1.0 * (-(meet / 1.6).powi(2)).exp() - 0.45 * (-((meet - 3.2) / 2.2).powi(2)).exp());
        let fold = a.y - (-0.5 + 2.6 * u + 9.4 * bow.powf(0.6));
        d += fade * 0.5 * (-(fold / 1.7).powi(2)).exp();
    }
    d
}

fn nose(d: f64, p: DVec3) -> f64 {
    // Scaled about its root, so that one number sets its size.
    const SIZE: f64 = 0.93;
    const ROOT: DVec3 = DVec3::new(0.0, -2.0, 86.0);
    let q = (p - ROOT) / SIZE + dvec3(0.0, 0.0, 86.0);
    let s = dvec3((q.x * q.x + 3.0).sqrt(), q.y, q.z);
    let mut n = rod(q, [0.0, 13.0, 84.4], [0.0, -24.0, 101.6], 4.6, 5.4);
    n = smin(
        n,
        rod(s, [5.0, 2.0, 77.0], [8.0, -30.0, 90.0], 5.5, 6.6),
        9.0,
    );
    n = smin(n, ball(q, [0.0, -28.6, 101.8], [7.8, 7.2, 8.6]), 9.0);
    n = smin(
        n,
        turned(s, [10.8, -32.2, 95.4], [4.6, 5.6, 7.6], [12.0, -22.0, 0.0]),
        7.0,
    );
    n = smin(
        n,
        rod(q, [0.0, -32.0, 101.8], [0.0, -39.5, 96.0], 3.2, 3.8),
        6.0,
    );
    smin(d, n * SIZE, 6.5)
}

fn mouth(mut d: f64, a: DVec3, s: DVec3, p: DVec3) -> f64 {
    d = smin(d, ball(p, [0.0, -58.0, 72.0], [24.5, 20.0, 24.8]), 13.0);
    // The groove under the nose.
    d = smax(
        d,
        -rod(p, [0.0, -45.0, 103.0], [0.0, -52.0, 104.4], 2.5, 2.9),
        4.5,
    );
    // Upper and lower lip.
    let upper = smin(
        rod(s, [3.8, -56.2, 95.8], [24.5, -61.0, 83.0], 4.5, 2.0),
        ball(p, [0.0, -57.8, 96.4], [5.0, 3.7, 4.7]),
        3.0,
    );
    d = smin(d, upper, 3.8);
    d = smin(
        d,
        rod(s, [5.0, -66.6, 93.2], [23.5, -62.6, 82.6], 5.6, 2.2),
        5.0,
    );
    // The line of the mouth, corners a hair up, as a displacement of the field.
    let t = (s.x / 25.0).min(1.0);
    let line = p.y - (-61.6 - 0.35 * (1.0 - t) + 0.9 * t * t);
    let fade = step(27.5, 16.0, a.x) * step(74.0, 84.0, p.z);
    d += fade * 1.0 * (-(line / 1.6).powi(2)).exp();
    // Corners sink softly; the fold above the chin.
    d = smax(d, -ball(s, [28.0, -60.8, 91.0], [2.2, 2.4, 2.6]), 6.0);
    smax(
        d,
        -rod(s, [0.0, -79.0, 102.5], [12.0, -77.5, 98.0], 5.8, 4.5),
        10.0,
    )
}

/// One ear; `p.x` is positive on both sides.
fn ear(p: DVec3) -> f64 {
    // Into the ear's own plane: tilted back 14 degrees, flared out 26.
    let q = p - dvec3(70.0, -4.0, -10.0);
    let (s, c) = (-14f64).to_radians().sin_cos();
    let (y, z) = (c * q.y - s * q.z, s * q.y + c * q.z);
    let (s, c) = 26f64.to_radians().sin_cos();
    let (z, x) = (c * z - s * q.x, s * z + c * q.x);
    let width = (15.5 + 0.10 * y).max(9.0);
    let outline = ((z / width).hypot(y / 30.0) - 1.0) * width.min(30.0);
    if outline > 40.0 {
        return outline;
    }
    let mut d = smax((x - 1.5).abs() - 2.4, outline, 3.0);
    // The rolled rim, all round but for the front below.
    let angle = (y / 30.0).atan2(-z / width);
    let present = step(-1.3, -0.6, angle) * (1.0 - step(2.3, 2.9, angle));
    let rim = (outline + 2.6).hypot(x - 4.0) - 3.1 + (1.0 - present) * 4.0;
    d = smin(d, rim, 2.8);
    let q = dvec3(x, y, z);
    // Flesh between shell and skull, so that no crevice opens in front of the bowl.
    d = smin(d, ball(q, [-2.0, -5.0, 5.0], [5.5, 17.0, 13.0]), 5.0);
    // The bowl is a dent, not a cut, so that the thin shell cannot open.
    d += 2.0 * (-((y + 3.0) / 9.0).powi(2) - ((z - 2.0) / 6.0).powi(2)).exp() * step(0.0, 3.0, x);
    smin(d, ball(q, [2.5, -25.0, 4.0], [3.6, 7.5, 7.5]), 4.0)
}
