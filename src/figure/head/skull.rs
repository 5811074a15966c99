//! Skull, cheeks, jaw, chin, brow and sockets.

use super::{Traits, Turned, ball, rod};
use crate::figure::sdf::{Table, smax, smin, superellipse};
use glam::{DVec2, DVec3};

/// The turned ellipsoids, made once.
#[derive(Debug, Clone)]
pub struct Skull {
    cheek_hollow: Turned,
    cheekbone: Turned,
    jaw_angle: Turned,
    socket: Turned,
}

impl Skull {
    pub fn new(t: &Traits) -> Self {
        Self {
            cheek_hollow: Turned::new([81.0, -57.0, 54.0], [13.0, 19.0, 24.0], [0.0, 0.0, -22.0]),
            cheekbone: Turned::new([43.5, -22.5, 57.5], [17.5, 12.5, 17.0], [0.0, 30.0, 14.0]),
            jaw_angle: Turned::new(
                [t.jaw_half + 3.0, -38.0, 26.0],
                [6.5, 20.0, 15.0],
                [0.0, 10.0, 8.0],
            ),
            socket: Turned::new([32.0, -1.0, 91.5], [20.0, 13.5, 14.2], [0.0, 20.0, -6.0]),
        }
    }

    /// `a` has |x|, `s` a softened |x|.
    pub fn distance(&self, t: &Traits, face: &Table<2>, a: DVec3, s: DVec3) -> f64 {
        let mut d = ball(a, [0.0, 36.0, -5.0], [71.5, 73.5, 87.5]);
        d = smin(d, ball(a, [0.0, 31.0, 30.0], [61.5, 62.0, 65.0]), 30.0);
        d = smin(d, ball(a, [0.0, 0.0, -42.0], [57.0, 46.0, 39.0]), 25.0);
        if a.z < -60.0 {
            return d;
        }
        d = smin(d, loft(face, s), 16.0);
        // Temple and cheek, hollowed a little.
        d = smax(d, -ball(a, [88.0, 14.0, 50.0], [15.0, 22.0, 25.0]), 16.0);
        d = smax(d, -self.cheek_hollow.distance(a), 26.0);
        d = self.cheeks(t, d, a, s);
        d = self.jaw(t, d, a);
        if a.z < 40.0 {
            return d;
        }
        self.brow(t, d, s)
    }

    fn cheeks(&self, t: &Traits, mut d: f64, a: DVec3, s: DVec3) -> f64 {
        // Cheekbone, its arch towards the ear, and the apple.
        d = smin(d, self.cheekbone.distance(a), 22.0);
        d = smin(
            d,
            rod(a, [50.0, -17.0, 46.0], [61.0, -9.0, 12.0], 6.0, 4.0),
            18.0,
        );
        let apple = ball(
            s,
            [29.5, -43.0, 58.5 - 2.0 * (1.0 - t.cheek)],
            [15.5, 18.0, 20.0],
        );
        smin(d, apple, 22.0)
    }

    fn jaw(&self, t: &Traits, mut d: f64, a: DVec3) -> f64 {
        let s = DVec3::new((a.x * a.x + 49.0).sqrt(), a.y, a.z);
        // The body of the jaw bows outwards between its angle and the chin.
        let angle = [t.jaw_half, -55.0, 10.0];
        let middle = [
            0.62 * t.jaw_half + 0.38 * t.chin_half + 3.0,
            0.38 * -55.0 + 0.62 * t.chin_y + 0.5,
            0.45 * t.chin_z + 9.0,
        ];
        let front = [t.chin_half + 2.0, t.chin_y - 3.0, t.chin_z - 4.0];
        let edge = smin(
            rod(s, angle, middle, t.jaw_radius, 6.8),
            rod(s, middle, front, 7.8, 7.0),
            10.0,
        );
        d = smin(d, edge, t.jaw_blend);
        d = smin(d, self.jaw_angle.distance(a), 24.0);
        let chin = ball(
            a,
            [0.0, t.chin_y + 1.0, t.chin_z],
            [1.2 * t.chin_half + 7.0, 11.0, 13.5],
        );
        smin(d, chin, 18.0)
    }

    fn brow(&self, t: &Traits, mut d: f64, s: DVec3) -> f64 {
        let r = t.brow_ridge;
        d = smin(
            d,
            rod(
                s,
                [12.0, 16.0, 84.0 + 2.0 * r],
                [30.0, 20.5, 79.0 + 1.2 * r],
                5.2 + r,
                6.0,
            ),
            14.0,
        );
        d = smin(
            d,
            rod(
                s,
                [30.0, 20.5, 79.8 + 1.4 * r],
                [50.0, 13.5, 60.0],
                6.0,
                5.0,
            ),
            14.0,
        );
        d = smax(d, -self.socket.distance(s), 14.0);
        smax(d, -ball(s, [18.0, 1.0, 94.5], [7.5, 8.5, 13.0]), 10.0)
    }
}

/// The front of the face through landmark sections, cut away above the
/// forehead and below the jaw.
fn loft(face: &Table<2>, s: DVec3) -> f64 {
    let [half, front] = face.at(s.y);
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
    let mut d = superellipse(DVec2::new(s.x, s.z - AXIS_Z), DVec2::new(half, depth), 2.1);
    d = smax(d, s.y - 58.0, 34.0);
    smax(d, (s.y + 103.0) * -0.89 + (s.z - 78.0) * -0.455, 24.0)
}
