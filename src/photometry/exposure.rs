//! Exposure: what a meter makes of light, and what a camera makes of a reading.
//!
//! ISO 2720:1974 gives `N²/t = E S / C` for an incident meter and `N²/t = L S / K` for a reflected
//! one. With flash (ISO 10157) the product `E t` becomes the light exposure H in lux-seconds:
//! `N² = H S / C`.

use std::f64::consts::PI;

use serde::Serialize;
use thiserror::Error;

use super::fnumber::FNumber;

/// The calibration constants of the virtual meter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MeterConstants {
    /// C of the flat (cosine) receptor, lx s. ISO 2720 recommends 240 to 400.
    pub flat: f64,
    /// C of the dome (cardioid) receptor, lx s. ISO 2720 recommends 320 to 540.
    pub dome: f64,
    /// K of a reflected reading, cd s/m². ISO 2720 recommends 10.6 to 13.4; 14 is also in use.
    pub reflected_k: f64,
}

impl Default for MeterConstants {
    /// C = 250 flat and 330 dome, K = 12.5 (usual values, common practice).
    fn default() -> Self {
        Self {
            flat: 250.0,
            dome: 330.0,
            reflected_k: 12.5,
        }
    }
}

/// A meter constant that no meter can have.
#[derive(Debug, Clone, PartialEq, Error)]
#[error(
    "the meter constant `{name}` is {value}, but ISO 2720 puts it between {least} and {greatest}; \
     use a value from {allowed_least} to {allowed_greatest}"
)]
pub struct ConstantError {
    /// The field of [`MeterConstants`].
    pub name: &'static str,
    /// What was given.
    pub value: f64,
    /// Lower end of the range ISO 2720 recommends.
    pub least: f64,
    /// Upper end of the range ISO 2720 recommends.
    pub greatest: f64,
    /// The least value accepted.
    pub allowed_least: f64,
    /// The greatest value accepted.
    pub allowed_greatest: f64,
}

/// Ranges recommended by ISO 2720:1974 (as quoted in the documentation of a colour library).
const ISO_2720_RANGES: [(&str, f64, f64); 3] = [
    ("flat", 240.0, 400.0),
    ("dome", 320.0, 540.0),
    ("reflected_k", 10.6, 13.4),
];

impl MeterConstants {
    /// Refuses what is no calibration at all: less than half the low end of the range of
    /// ISO 2720 or more than twice its high end, or not a number.
    ///
    /// # Errors
    /// The first constant that is refused.
    pub fn validate(&self) -> Result<(), ConstantError> {
        for ((name, least, greatest), value) in ISO_2720_RANGES.into_iter().zip(self.values()) {
            let (allowed_least, allowed_greatest) = (least / 2.0, greatest * 2.0);
            if !(allowed_least..=allowed_greatest).contains(&value) {
                return Err(ConstantError {
                    name,
                    value,
                    least,
                    greatest,
                    allowed_least,
                    allowed_greatest,
                });
            }
        }
        Ok(())
    }

    /// The constants that lie outside the ranges ISO 2720 recommends, for a warning: a reading
    /// then differs from an ordinary meter's. K = 14 is one such, though in use.
    pub fn outside_iso_2720(&self) -> Vec<&'static str> {
        ISO_2720_RANGES
            .into_iter()
            .zip(self.values())
            .filter(|((_, least, greatest), value)| !(least..=greatest).contains(&value))
            .map(|((name, ..), _)| name)
            .collect()
    }

    /// In the order of [`ISO_2720_RANGES`].
    fn values(&self) -> [f64; 3] {
        [self.flat, self.dome, self.reflected_k]
    }
}

/// The f-number that an incident light exposure meters: `N = √(H S / C)`.
///
/// `exposure_lx_s` is H as the receptor takes it, `iso` the arithmetic speed S, `constant` C.
/// `None` where there is no light to read.
pub fn fnumber_from_exposure(exposure_lx_s: f64, iso: f64, constant: f64) -> Option<FNumber> {
    FNumber::exact((exposure_lx_s * iso / constant).sqrt())
}

/// The light exposure that meters an f-number: `H = N² C / S`, lx s.
pub fn exposure_from_fnumber_lx_s(f_number: FNumber, iso: f64, constant: f64) -> f64 {
    f_number.value().powi(2) * constant / iso
}

/// All the light the shutter lets in: `H = H_flash + E_ambient t`, lx s.
pub fn total_exposure_lx_s(flash_lx_s: f64, ambient_lx: f64, shutter_s: f64) -> f64 {
    flash_lx_s + ambient_lx * shutter_s
}

/// The exposure value of a camera setting: `EV = log2(N²/t)`.
pub fn ev_of_setting(f_number: FNumber, shutter_s: f64) -> f64 {
    f_number.stops() - shutter_s.log2()
}

/// The illuminance that an exposure value stands for: `E = 2^EV C / S`, lx.
pub fn illuminance_from_ev_lx(ev: f64, iso: f64, constant: f64) -> f64 {
    ev.exp2() * constant / iso
}

/// The luminance that an exposure value stands for: `L = 2^EV K / S`, cd/m².
pub fn luminance_from_ev_cd_m2(ev: f64, iso: f64, reflected_k: f64) -> f64 {
    ev.exp2() * reflected_k / iso
}

/// The reflectance at which an incident and a reflected meter agree: `π K / C`.
pub fn implied_reflectance(reflected_k: f64, constant: f64) -> f64 {
    PI * reflected_k / constant
}

/// Reflectance of the grey card that the display convention is tied to.
pub const GREY_CARD: f64 = 0.18;

/// The linear picture value of a luminance, by the stated convention.
///
/// The convention: a Lambertian surface lit to exactly the metered exposure shows its own
/// reflectance, so an 18 % card shows 0.18, sRGB code 118. Hence `value = π (L t) S / (N² C)`, with
/// L t in cd s/m² (flash and ambient together). It does not follow from ISO 2720 and ISO 12232
/// together, which differ from it by [`iso_12232_offset_stops`].
pub fn picture_value(luminance_cd_s_m2: f64, f_number: FNumber, iso: f64, constant: f64) -> f64 {
    PI * luminance_cd_s_m2 / exposure_from_fnumber_lx_s(f_number, iso, constant)
}

/// How linear light becomes the display value, applied once: `value = gain * luminance exposure`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Development {
    /// Exposure and white balance, per cd·s/m², for red, green and blue.
    pub gain: [f32; 3],
}

/// The lens factor q of ISO 12232: `H_focal = q L t / N²`, with 0.9 transmittance, 0.98
/// vignetting, 10° off axis, rounded as the standard does.
pub const LENS_FACTOR_Q: f64 = 0.65;

/// Focal-plane exposure times speed, `H S` in lx s, of a Lambertian surface of the given
/// reflectance exposed at the incident reading: `q (ρ/π) C` (ISO 2720 with ISO 12232).
pub fn focal_plane_exposure_times_iso(reflectance: f64, constant: f64) -> f64 {
    LENS_FACTOR_Q * reflectance / PI * constant
}

/// How many stops brighter an 18 % card would be in a camera rated by ISO 12232's standard output
/// sensitivity (mean `H S = 10` lx s at code 118) than by this tool's convention.
pub fn iso_12232_offset_stops(constant: f64) -> f64 {
    stops_between(10.0, focal_plane_exposure_times_iso(GREY_CARD, constant))
}

/// What a meter's receptor makes of light by its direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Receptor {
    /// A flat disk: Lambert's cosine law.
    Flat,
    /// A hemispherical dome: the projected area of a hemisphere, a cardioid.
    Dome,
}

impl Receptor {
    /// The response to light from a direction at the given cosine to the receptor's axis, against 1
    /// on the axis: `max(0, cos)` or `(1 + cos)/2`.
    pub fn response(self, cos_to_axis: f64) -> f64 {
        match self {
            Receptor::Flat => cos_to_axis.max(0.0),
            Receptor::Dome => (0.5 * (1.0 + cos_to_axis)).max(0.0),
        }
    }

    /// This receptor's calibration constant C, lx s.
    pub fn constant(self, constants: &MeterConstants) -> f64 {
        match self {
            Receptor::Flat => constants.flat,
            Receptor::Dome => constants.dome,
        }
    }
}

/// A dome's reading in lx (or lx s) from the scalar illuminance (all directions) and the component
/// along the receptor's axis of the unclipped illuminance vector: `(E_scalar + n · E_vector)/2`.
pub fn dome_from_scalar_and_vector(scalar_lx: f64, vector_along_axis_lx: f64) -> f64 {
    0.5 * (scalar_lx + vector_along_axis_lx)
}

/// Stops from `a` up to `b`: `log2(b/a)`, for exposures, powers or illuminances.
pub fn stops_between(a: f64, b: f64) -> f64 {
    (b / a).log2()
}

/// The lighting ratio `(key + fill) : fill`, from exposures read alone, as a number to 1.
///
/// Common practice, with the fill falling on both sides of the face. `None` without fill.
pub fn lighting_ratio(key_lx_s: f64, fill_lx_s: f64) -> Option<f64> {
    finite((key_lx_s + fill_lx_s) / fill_lx_s)
}

/// The ratio `key : fill`, from exposures read alone, as a number to 1: the other convention, to
/// be labelled as such. `None` without fill.
pub fn key_to_fill(key_lx_s: f64, fill_lx_s: f64) -> Option<f64> {
    finite(key_lx_s / fill_lx_s)
}

/// Evenness: the greatest over the least exposure, in stops. `None` where there are no readings or
/// one is dark.
pub fn evenness_stops(exposures_lx_s: &[f64]) -> Option<f64> {
    let least = exposures_lx_s.iter().copied().reduce(f64::min)?;
    let greatest = exposures_lx_s.iter().copied().reduce(f64::max)?;
    finite(stops_between(least, greatest))
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}
