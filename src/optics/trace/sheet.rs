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
    /// Of a spread about a direction, by its sine, the share that stays in the unit disk.
    kept: Vec<f64>,
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
        const STEPS: usize = 64;
        let kept = if cloth.spread > 0.0 {
            let by_sine = |k: usize| kept(cloth.spread_sigma, k as f64 / STEPS as f64);
            (0..=STEPS).map(by_sine).collect()
        } else {
            Vec::new()
        };
        Self {
            cloth,
            z,
            extent,
            kept,
        }
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

    /// The share of a spread about a direction of this sine that lies in the unit disk.
    pub(super) fn kept(&self, sine: f64) -> f64 {
        let Some(last) = self.kept.len().checked_sub(2) else {
            return 1.0;
        };
        let x = sine.min(1.0) * (last + 1) as f64;
        let low = (x as usize).min(last);
        self.kept[low] + (self.kept[low + 1] - self.kept[low]) * (x - low as f64)
    }

    /// Directions of a spread with their shares of it: two are drawn, one as chance has it and one even
    /// over a table's cells (sin θ = t²), and each is weighed by both densities (Veach 1997).
    pub(super) fn spread_evenly(
        &self,
        through: DVec3,
        along: DVec3,
        draw: &mut Draw,
        mut count: impl FnMut(DVec3, f64),
    ) {
        let sigma = self.cloth.spread_sigma;
        let (x, y) = through.any_orthonormal_pair();
        let by_chance = spread(sigma, through, along, draw);
        let sine = draw.even().powi(2);
        let (s, c) = (2.0 * PI * draw.even()).sin_cos();
        let evenly = (x * c + y * s) * sine + through * (1.0 - sine * sine).max(0.0).sqrt();
        let kept = self.kept(along.cross(through).length());
        for v in [by_chance, evenly] {
            // Both per projected solid angle.
            let step = v - along;
            let off2 = step.dot(x).powi(2) + step.dot(y).powi(2);
            let chance = (-0.5 * off2 / (sigma * sigma)).exp() / (2.0 * PI * sigma * sigma * kept);
            let sine = v.cross(through).length().max(1e-12);
            let even = 1.0 / (4.0 * PI * sine * sine.sqrt());
            count(v, chance / (chance + even));
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
fn kept(sigma: f64, sine: f64) -> f64 {
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

/// Standard deviations that [`haze`] looks about.
const HAZE_REACH: f64 = 5.0;

/// Directions that a lens spreads light into, with their shares of it. One is drawn as chance has it and
/// two even over a table's cells of direction around (sin θ = t²), and each is weighed by both
/// densities (Veach 1997): cells near the normal are tiny, and a haze's skirt gets few rays.
pub(super) fn haze(
    lens: &Lens,
    at: DVec3,
    along: DVec3,
    draw: &mut Draw,
    mut count: impl FnMut(DVec3, f64),
) {
    let clear = Lens {
        slope_rad: 0.0,
        ..*lens
    };
    let Some(middle) = bend(&clear, at, along, draw) else {
        return;
    };
    let sigma = lens.slope_rad;
    if sigma <= 0.0 {
        count(middle, lens.transmission);
        return;
    }
    let sine = middle.x.hypot(middle.y);
    let reach = HAZE_REACH * sigma;
    let t = [
        (sine - reach).max(0.0).sqrt(),
        (sine + reach).min(1.0).sqrt(),
    ];
    let azimuth = middle.y.atan2(middle.x);
    let turn = if reach < sine {
        (reach / sine).asin()
    } else {
        PI
    };
    // Per solid angle.
    let chance = |v: DVec3| {
        let step = [0, 1].map(|k| v[k] / v.z - middle[k] / middle.z);
        let off2 = (step[0] * step[0] + step[1] * step[1]) / (sigma * sigma);
        (-0.5 * off2).exp() / (2.0 * PI * sigma * sigma * v.z.powi(3))
    };
    let even = |v: DVec3| {
        let sine = v.x.hypot(v.y).max(1e-12);
        let root = sine.sqrt();
        let away = (v.y.atan2(v.x) - azimuth + 3.0 * PI).rem_euclid(2.0 * PI) - PI;
        if root < t[0] || root > t[1] || away.abs() > turn {
            return 0.0;
        }
        v.z / (4.0 * (t[1] - t[0]) * turn * sine * root)
    };
    let [u, v] = draw.normals();
    let tangent = |k: usize, step: f64| middle[k] / middle.z + sigma * step;
    let by_chance = DVec3::new(tangent(0, u), tangent(1, v), 1.0).normalize();
    let mut evenly = || {
        let sine = (t[0] + (t[1] - t[0]) * draw.even()).powi(2).min(1.0);
        let (s, c) = (azimuth + turn * (2.0 * draw.even() - 1.0)).sin_cos();
        DVec3::new(sine * c, sine * s, (1.0 - sine * sine).max(0.0).sqrt())
    };
    for v in [by_chance, evenly(), evenly()] {
        if v.z > 0.0 {
            let chance = chance(v);
            let share = chance / (chance + 2.0 * even(v));
            if share > 0.0 {
                count(v, lens.transmission * share);
            }
        }
    }
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
