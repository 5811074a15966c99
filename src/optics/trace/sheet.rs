//! What cloth and lens do to a ray.

use super::draw::Draw;
use super::stage::Outline;
use crate::optics::prescription::{Cloth, Lens};
use glam::DVec3;
use std::f64::consts::PI;

/// A cloth in its place.
pub(super) struct Sheet {
    pub cloth: Cloth,
    pub z: f64,
    /// None where it fills the face or is the shell.
    pub extent: Option<Outline>,
}

/// Which way light takes at a cloth.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Way {
    Straight,
    Spread,
    Scattered,
    Reflected,
}

impl Sheet {
    pub(super) fn new(cloth: Cloth, z: f64, extent: Option<Outline>) -> Self {
        Self { cloth, z, extent }
    }

    /// Share that is not lost.
    pub(super) fn share(&self) -> f64 {
        let c = &self.cloth;
        c.straight + c.spread + c.scattered + c.reflected
    }

    /// Whether light leaves it with no memory of where it came from.
    pub(super) fn forgets(&self) -> bool {
        self.cloth.straight == 0.0 && self.cloth.spread == 0.0
    }

    /// One way, each with its share of what is not lost.
    pub(super) fn choose(&self, draw: &mut Draw) -> Way {
        let c = &self.cloth;
        let u = draw.even() * self.share();
        if u < c.straight {
            Way::Straight
        } else if u < c.straight + c.spread {
            Way::Spread
        } else if u < c.straight + c.spread + c.scattered {
            Way::Scattered
        } else {
            Way::Reflected
        }
    }

    /// The direction on from the cloth; `through` is its normal on the side the light goes to.
    pub(super) fn turn(&self, way: Way, through: DVec3, along: DVec3, draw: &mut Draw) -> DVec3 {
        match way {
            Way::Straight => along,
            Way::Spread => spread(self.cloth.spread_sigma, through, along, draw),
            Way::Scattered => draw.lambert(through),
            Way::Reflected => draw.lambert(-through),
        }
    }
}

/// A Gaussian step in direction cosines. Steps that leave the unit disk are drawn anew, so that what
/// stays is scaled up to the whole; the next to last resort after many is no step at all.
fn spread(sigma: f64, through: DVec3, along: DVec3, draw: &mut Draw) -> DVec3 {
    let (x, y) = through.any_orthonormal_pair();
    for _ in 0..64 {
        let [u, v] = draw.normals();
        let (a, b) = (along.dot(x) + sigma * u, along.dot(y) + sigma * v);
        let rest = 1.0 - a * a - b * b;
        if rest > 0.0 {
            return x * a + y * b + through * rest.sqrt();
        }
    }
    along
}

/// The share of a Gaussian about a direction of this sine that lies in the unit disk, by quadrature
/// over the disk: what [`spread`] scales by.
pub(super) fn kept(sigma: f64, sine: f64) -> f64 {
    const STEPS: usize = 96;
    let mut sum = 0.0;
    for r in 0..STEPS {
        let rho = (r as f64 + 0.5) / STEPS as f64;
        for k in 0..STEPS {
            let c = ((k as f64 + 0.5) / STEPS as f64 * PI).cos();
            let away2 = rho * rho + sine * sine - 2.0 * rho * sine * c;
            sum += rho * (-0.5 * away2 / (sigma * sigma)).exp();
        }
    }
    sum / (STEPS * STEPS) as f64 / (sigma * sigma)
}

/// A thin lens met going up: tangents turn by −p/f, then scatter. `None` past its edge.
pub(super) fn bend(lens: &Lens, at: DVec3, along: DVec3, draw: &mut Draw) -> Option<DVec3> {
    turn_at_lens(lens, at, along, -1.0 / lens.focal_length_m, draw)
}

/// The same light followed backwards, and the factor on its luminance: the map keeps tangents' areas,
/// and an area of tangents is the projected solid angle over cos⁴.
pub(super) fn bend_back(
    lens: &Lens,
    at: DVec3,
    along: DVec3,
    draw: &mut Draw,
) -> Option<(DVec3, f64)> {
    // Backwards along −along, which goes up.
    let before = -turn_at_lens(lens, at, -along, 1.0 / lens.focal_length_m, draw)?;
    Some((before, lens.transmission * (before.z / along.z).powi(4)))
}

fn turn_at_lens(
    lens: &Lens,
    at: DVec3,
    along: DVec3,
    power: f64,
    draw: &mut Draw,
) -> Option<DVec3> {
    if at.x * at.x + at.y * at.y > lens.radius_m * lens.radius_m {
        return None;
    }
    let [u, v] = draw.normals();
    let tangent = |k: usize, step: f64| along[k] / along.z + at[k] * power + lens.slope_rad * step;
    Some(DVec3::new(tangent(0, u), tangent(1, v), 1.0).normalize())
}
