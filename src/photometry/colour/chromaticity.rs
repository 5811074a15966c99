//! Chromaticity, colour temperature and mired.

use super::cmf::{COLOUR_MATCHING, FIRST_NM, STEP_NM};

/// A CIE 1931 chromaticity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chromaticity {
    /// CIE x.
    pub x: f64,
    /// CIE y.
    pub y: f64,
}

impl Chromaticity {
    /// Standard illuminant A (incandescent), as tabulated by CIE 15.
    pub const A: Self = Self {
        x: 0.44758,
        y: 0.40745,
    };
    /// Illuminant D50, as tabulated by CIE 15 to four places.
    pub const D50: Self = Self {
        x: 0.3457,
        y: 0.3585,
    };
    /// Illuminant D55, as tabulated by CIE 15.
    pub const D55: Self = Self {
        x: 0.33243,
        y: 0.34744,
    };
    /// Standard illuminant D65, as tabulated by CIE 15 to four places; white of sRGB.
    pub const D65: Self = Self {
        x: 0.3127,
        y: 0.3290,
    };

    /// Of a colour in XYZ.
    pub fn of_xyz([x, y, z]: [f64; 3]) -> Self {
        let sum = x + y + z;
        Self {
            x: x / sum,
            y: y / sum,
        }
    }

    /// XYZ with Y = 1.
    pub fn xyz(self) -> [f64; 3] {
        [self.x / self.y, 1.0, (1.0 - self.x - self.y) / self.y]
    }

    /// CIE 1960 (u, v), in which colour temperature is defined.
    pub fn uv_1960(self) -> [f64; 2] {
        let d = -2.0 * self.x + 12.0 * self.y + 3.0;
        [4.0 * self.x / d, 6.0 * self.y / d]
    }

    /// From CIE 1960 (u, v).
    pub fn from_uv_1960([u, v]: [f64; 2]) -> Self {
        let d = 2.0 * u - 8.0 * v + 4.0;
        Self {
            x: 3.0 * u / d,
            y: 2.0 * v / d,
        }
    }

    /// Correlated colour temperature and distance from the black-body locus.
    ///
    /// The nearest point of the locus in CIE 1960 (u, v) (CIE 15), found by direct search between
    /// 1000 K and 100000 K. `None` farther than 0.05 from the locus, where CIE 15 says the term has
    /// no meaning, or beyond either end.
    pub fn cct(self) -> Option<Cct> {
        const COARSE_STEPS: u32 = 64;
        const MIRED: (f64, f64) = (10.0, 1000.0);
        let target = self.uv_1960();
        let distance = |mired: f64| {
            let [u, v] = planckian(1e6 / mired).uv_1960();
            (u - target[0]).hypot(v - target[1])
        };
        if !(target[0].is_finite() && target[1].is_finite()) {
            return None;
        }
        // Find the nearest of coarse steps, even in mired since the eye sees those as about even.
        let step = (MIRED.1 - MIRED.0) / f64::from(COARSE_STEPS);
        let nearest = (0..=COARSE_STEPS)
            .map(|i| MIRED.0 + step * f64::from(i))
            .min_by(|a, b| distance(*a).total_cmp(&distance(*b)))?;
        // Close in by golden section.
        const GOLDEN: f64 = 0.618_033_988_749_894_9;
        let (mut low, mut high) = ((nearest - step).max(MIRED.0), (nearest + step).min(MIRED.1));
        while high - low > 1e-5 {
            let third = GOLDEN * (high - low);
            if distance(high - third) < distance(low + third) {
                high = low + third;
            } else {
                low = high - third;
            }
        }
        let mired = 0.5 * (low + high);
        let off_the_end = mired < MIRED.0 + 1e-3 || mired > MIRED.1 - 1e-3;
        let [_, v_locus] = planckian(1e6 / mired).uv_1960();
        let duv = distance(mired).copysign(target[1] - v_locus);
        (!off_the_end && duv.abs() <= 0.05).then_some(Cct {
            kelvin: 1e6 / mired,
            duv,
        })
    }
}

/// A correlated colour temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cct {
    /// Temperature of the nearest black body, K.
    pub kelvin: f64,
    /// Distance from it in CIE 1960 (u, v): positive above the locus (greenish), negative below
    /// (pinkish); the sign of ANSI C78.377.
    pub duv: f64,
}

/// The second radiation constant of Planck's law, m K (ITS-90, as CIE 15 takes it).
pub const C2_M_K: f64 = 1.4388e-2;

/// The chromaticity of a black body at a temperature in K.
///
/// Planck's law summed with the CIE 1931 observer from 360 to 780 nm.
pub fn planckian(kelvin: f64) -> Chromaticity {
    let mut xyz = [0.0; 3];
    for (row, bar) in COLOUR_MATCHING.iter().enumerate() {
        let wavelength_m = (FIRST_NM + STEP_NM * row as f64) * 1e-9;
        let power = planck_relative(wavelength_m, kelvin);
        for channel in 0..3 {
            xyz[channel] += power * bar[channel];
        }
    }
    Chromaticity::of_xyz(xyz)
}

/// Planck's law over a wavelength in m, scaled to 1 at the longest one, where a black body's
/// exponential is least, so that no temperature overflows.
fn planck_relative(wavelength_m: f64, kelvin: f64) -> f64 {
    const REFERENCE_M: f64 = 780e-9;
    let exponent = |m: f64| C2_M_K / (m * kelvin);
    let (a, b) = (exponent(REFERENCE_M), exponent(wavelength_m));
    // (e^a - 1)/(e^b - 1), with the large exponents cancelled first.
    let ratio = (a - b).exp() * (-(-a).exp_m1()) / (-(-b).exp_m1());
    (REFERENCE_M / wavelength_m).powi(5) * ratio
}

/// The temperatures for which CIE 15 defines daylight, K.
pub const DAYLIGHT_KELVIN: std::ops::RangeInclusive<f64> = 4000.0..=25000.0;

/// The chromaticity of a phase of daylight at a correlated colour temperature in K.
///
/// The polynomial of CIE 15. `None` outside [`DAYLIGHT_KELVIN`].
pub fn daylight(kelvin: f64) -> Option<Chromaticity> {
    if !DAYLIGHT_KELVIN.contains(&kelvin) {
        return None;
    }
    let r = 1e3 / kelvin;
    let x = if kelvin <= 7000.0 {
        ((-4.6070 * r + 2.9678) * r + 0.09911) * r + 0.244063
    } else {
        ((-2.0064 * r + 1.9018) * r + 0.24748) * r + 0.237040
    };
    Some(Chromaticity {
        x,
        y: (-3.0 * x + 2.870) * x - 0.275,
    })
}

/// Micro reciprocal degrees: `10⁶ / T`, MK⁻¹.
pub fn mired(kelvin: f64) -> f64 {
    1e6 / kelvin
}

/// The mired shift that takes one temperature to another; positive is warmer.
pub fn mired_shift(from_kelvin: f64, to_kelvin: f64) -> f64 {
    mired(to_kelvin) - mired(from_kelvin)
}

/// The temperature of a light behind a gel of a mired shift, K. `None` where the gel would take it
/// past infinite temperature.
pub fn through_gel_kelvin(kelvin: f64, gel_mired: f64) -> Option<f64> {
    let shifted = mired(kelvin) + gel_mired;
    (shifted > 0.0).then_some(1e6 / shifted)
}
