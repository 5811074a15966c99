//! The nose, scaled about its root.

use super::{Traits, Turned, ball, rod};
use crate::figure::sdf::{smax, smin};
use glam::{DVec3, dvec3};

/// Size and the turned ellipsoids of the nose.
#[derive(Debug, Clone)]
pub struct Nose {
    size: f64,
    bridge: f64,
    wing: Turned,
    nostril: Turned,
}

impl Nose {
    pub fn new(t: &Traits) -> Self {
        Self {
            size: t.nose,
            bridge: t.bridge,
            wing: Turned::new([11.2, -32.8, 97.0], [4.4, 5.2, 7.6], [12.0, -22.0, 0.0]),
            nostril: Turned::new([6.3, -39.2, 102.4], [2.5, 3.0, 5.2], [25.0, -14.0, 0.0]),
        }
    }

    /// Joins the nose to the face at distance `d`.
    pub fn join(&self, d: f64, p: DVec3) -> f64 {
        if p.z < 55.0 || p.x.abs() > 48.0 || p.y < -70.0 || p.y > 40.0 {
            return d;
        }
        const ROOT: DVec3 = DVec3::new(0.0, -2.0, 86.0);
        let s = self.size;
        let q = (p - ROOT) / s + dvec3(0.0, 0.0, 86.0);
        let m = dvec3((q.x * q.x + 3.0).sqrt(), q.y, q.z);
        // Bridge, flanks, tip, wings, columella.
        let mut n = rod(
            q,
            [0.0, 12.0, 84.5 + 1.4 * self.bridge],
            [0.0, -25.0, 104.6 + 0.5 * self.bridge],
            4.3,
            5.4,
        );
        n = smin(
            n,
            rod(m, [5.0, 2.0, 77.0], [8.0, -30.0, 90.0], 5.5, 6.6),
            9.0,
        );
        n = smin(n, ball(q, [0.0, -29.6, 106.0], [7.3, 6.8, 8.6]), 9.0);
        n = smin(n, self.wing.distance(m), 6.5);
        n = smin(
            n,
            rod(q, [0.0, -33.4, 106.5], [0.0, -40.0, 97.0], 2.8, 3.2),
            3.4,
        );
        let mut d = smin(d, n * s, 6.5);
        d = smax(d, -s * self.nostril.distance(m), 2.4);
        // The septum stands whatever the nostrils take away.
        let septum = rod(q, [0.0, -31.0, 104.0], [0.0, -38.5, 91.0], 2.0, 2.4);
        let column = rod(q, [0.0, -33.4, 106.0], [0.0, -40.5, 96.5], 2.4, 2.9);
        d = smin(d, s * septum.min(column), 1.0);
        // The groove round the wing.
        let groove = rod(m, [17.5, -32.0, 96.0], [15.2, -26.5, 99.5], 1.3, 0.8);
        smax(d, -s * groove, 6.0)
    }
}
