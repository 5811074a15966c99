//! Flash energy, power settings and guide numbers.

use std::f64::consts::PI;
use std::fmt;

use serde::Serialize;

use super::exposure::stops_between;

/// Metres in an international foot.
pub const METRES_PER_FOOT: f64 = 0.3048;

/// The luminous energy a flash head gives: `Q = energy × yield × efficiency`, lm s.
///
/// The yield of the tube in lm s/J lies between 15 and 50 by published measurements; `efficiency`
/// is what the fixture around it passes on, 0 to 1.
pub fn luminous_energy_lm_s(energy_j: f64, yield_lm_s_per_j: f64, efficiency: f64) -> f64 {
    energy_j * yield_lm_s_per_j * efficiency
}

/// Intensity over time of a source that radiates evenly all round: `Q / 4π`, cd s.
pub fn isotropic_intensity_cd_s(luminous_energy_lm_s: f64) -> f64 {
    luminous_energy_lm_s / (4.0 * PI)
}

/// Intensity over time on the axis of a flat Lambertian face: `Q / π`, cd s.
pub fn lambertian_intensity_cd_s(luminous_energy_lm_s: f64) -> f64 {
    luminous_energy_lm_s / PI
}

/// The guide number, f-number times distance in metres: `GN = √(I S / C)`, I in cd s.
///
/// It holds only where the inverse square law does.
pub fn guide_number_m(intensity_cd_s: f64, iso: f64, constant: f64) -> f64 {
    (intensity_cd_s * iso / constant).sqrt()
}

/// The intensity over time that a guide number in metres stands for: `I = GN² C / S`, cd s.
pub fn intensity_from_guide_number_cd_s(guide_number_m: f64, iso: f64, constant: f64) -> f64 {
    guide_number_m.powi(2) * constant / iso
}

/// A power setting as a fraction of full: positive and finite. More than 1 is what a solve may
/// ask for, though no head can give it.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct PowerFraction(f64);

impl PowerFraction {
    /// Full power.
    pub const FULL: Self = Self(1.0);

    /// `None` unless the fraction is positive and finite.
    pub fn new(fraction: f64) -> Option<Self> {
        (fraction > 0.0 && fraction.is_finite()).then_some(Self(fraction))
    }

    /// Stops from full power: -2 is a quarter.
    pub fn from_stops(stops: f64) -> Option<Self> {
        Self::new(stops.exp2())
    }

    /// The fraction of full power.
    pub fn fraction(self) -> f64 {
        self.0
    }

    /// Stops from full power: a quarter is -2.
    pub fn stops(self) -> f64 {
        self.0.log2()
    }

    /// This setting raised (or, negative, lowered) by stops.
    pub fn offset(self, stops: f64) -> Option<Self> {
        Self::new(self.0 * stops.exp2())
    }
}

impl fmt::Display for PowerFraction {
    /// "full", "1/4", "1/4 +0.3 stops", rounded to a tenth of a stop; [`super::units::power`] reads
    /// them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // The halvings shown as a fraction; beyond a millionth the number says nothing.
        const MOST_HALVINGS: i32 = 20;
        let tenths = (self.stops() * 10.0).round() as i32;
        let (whole, rest) = match tenths {
            0.. => (0, tenths),
            _ => (tenths.div_euclid(10), tenths.rem_euclid(10)),
        };
        match -whole {
            0 => f.write_str("full")?,
            halvings if halvings <= MOST_HALVINGS => write!(f, "1/{}", 1_u32 << halvings)?,
            _ => return write!(f, "{:.1} stops", self.stops()),
        }
        match rest {
            0 => Ok(()),
            _ => write!(f, " +{:.1} stops", f64::from(rest) / 10.0),
        }
    }
}

/// What a head can be set to: from `least` to `most` in steps counted down from `most`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerRange {
    /// The lowest setting.
    pub least: PowerFraction,
    /// The highest setting.
    pub most: PowerFraction,
    /// Stops per step; 0 for a stepless dial.
    pub step_stops: f64,
}

/// The nearest setting that a head can give.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerSetting {
    /// What to set.
    pub power: PowerFraction,
    /// How much brighter than wanted that is, in stops; negative where it falls short.
    pub error_stops: f64,
    /// Which end of the range the wish lay beyond, by more than half a step.
    pub limit: Option<PowerLimit>,
}

/// Which end of a head's range a wish ran into.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerLimit {
    /// The head cannot go so low.
    CannotGoLower,
    /// The head cannot give so much.
    CannotGoHigher,
}

impl PowerRange {
    /// The setting of this range nearest to the wanted power, in stops.
    pub fn nearest(&self, wanted: PowerFraction) -> PowerSetting {
        let span_stops = stops_between(self.least.0, self.most.0).max(0.0);
        let wanted_down = stops_between(wanted.0, self.most.0);
        let (down, lowest, tolerance) = if self.step_stops > 0.0 {
            // The slack is for ends given as rounded fractions of steps such as 1/3 stop.
            let last = (span_stops / self.step_stops + 1e-6).floor();
            let steps = (wanted_down / self.step_stops).round().clamp(0.0, last);
            (
                steps * self.step_stops,
                last * self.step_stops,
                0.5 * self.step_stops,
            )
        } else {
            (wanted_down.clamp(0.0, span_stops), span_stops, 0.0)
        };
        let limit = if wanted_down < -tolerance - 1e-9 {
            Some(PowerLimit::CannotGoHigher)
        } else if wanted_down > lowest + tolerance + 1e-9 {
            Some(PowerLimit::CannotGoLower)
        } else {
            None
        };
        PowerSetting {
            power: PowerFraction(self.most.0 * (-down).exp2()),
            error_stops: wanted_down - down,
            limit,
        }
    }
}
