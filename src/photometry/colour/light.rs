//! The colour of lights, gels and the grey card.

use thiserror::Error;

use super::chromaticity::{DAYLIGHT_KELVIN, daylight, planckian, through_gel_kelvin};
use super::matrix::apply;
use super::rgb::RgbSpace;

/// What kind of light a colour temperature stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LightKind {
    /// A black body: lamps with a filament, flames.
    Planckian,
    /// A phase of daylight, which flash tubes lie nearer to than to a black body (from memory; no
    /// standard illuminant exists for xenon flash, and D50 to D65 stands in by common practice).
    Daylight,
    /// By temperature: a black body up to 4000 K, daylight from 5000 K, and between them the two
    /// mixed in proportion at equal luminance, as the reference of CIE 224:2017 (from memory) is,
    /// so that no temperature jumps.
    #[default]
    Auto,
}

/// The temperatures a light can have, K. Below, the colour leaves every RGB space in use; above, it
/// hardly changes.
pub const LIGHT_KELVIN: std::ops::RangeInclusive<f64> = 1000.0..=25000.0;

/// A colour temperature that gives no colour.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum TemperatureError {
    /// Outside [`LIGHT_KELVIN`].
    #[error("a light of {0} K is out of range; use 1000 K to 25000 K")]
    OutOfRange(f64),
    /// Outside the range of daylight.
    #[error("daylight is defined from 4000 K to 25000 K, not at {0} K; use a black body there")]
    NotDaylight(f64),
    /// The gel takes the light past infinite temperature.
    #[error("a gel of {gel_mired} mired is too blue for a light of {kelvin} K; use a weaker one")]
    GelTooBlue {
        /// The bare light, K.
        kelvin: f64,
        /// The gel, mired.
        gel_mired: f64,
    },
}

/// XYZ with Y = 1 of a light at a colour temperature in K.
///
/// # Errors
/// A temperature outside the kind's range.
pub fn xyz_of_light(kelvin: f64, kind: LightKind) -> Result<[f64; 3], TemperatureError> {
    if !LIGHT_KELVIN.contains(&kelvin) {
        return Err(TemperatureError::OutOfRange(kelvin));
    }
    let black_body = || planckian(kelvin).xyz();
    let phase = || {
        daylight(kelvin)
            .map(|xy| xy.xyz())
            .ok_or(TemperatureError::NotDaylight(kelvin))
    };
    match kind {
        LightKind::Planckian => Ok(black_body()),
        LightKind::Daylight => phase(),
        LightKind::Auto if kelvin <= *DAYLIGHT_KELVIN.start() => Ok(black_body()),
        LightKind::Auto => {
            let share = ((kelvin - 4000.0) / 1000.0).min(1.0);
            let (a, b) = (black_body(), phase()?);
            Ok(std::array::from_fn(|i| (1.0 - share) * a[i] + share * b[i]))
        }
    }
}

/// Linear sRGB with luminance 1 of a light at a colour temperature in K, not adapted: what a camera
/// balanced for D65 records. Channels may be negative below about 1900 K.
///
/// # Errors
/// A temperature outside the kind's range.
pub fn linear_srgb_of_light(kelvin: f64, kind: LightKind) -> Result<[f64; 3], TemperatureError> {
    Ok(apply(
        &RgbSpace::SRGB.rgb_from_xyz(),
        xyz_of_light(kelvin, kind)?,
    ))
}

/// Linear sRGB with luminance 1 of a light behind a gel of a mired shift (positive warms).
///
/// The gel shifts the colour temperature; what it absorbs is for its transmittance to say.
///
/// # Errors
/// A temperature out of range, before or behind the gel.
pub fn linear_srgb_through_gel(
    kelvin: f64,
    kind: LightKind,
    gel_mired: f64,
) -> Result<[f64; 3], TemperatureError> {
    let shifted = through_gel_kelvin(kelvin, gel_mired)
        .ok_or(TemperatureError::GelTooBlue { kelvin, gel_mired })?;
    linear_srgb_of_light(shifted, kind)
}

/// A filter colour: the share of each linear sRGB channel it passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilterColour([f64; 3]);

impl FilterColour {
    /// Passes everything.
    pub const CLEAR: Self = Self([1.0; 3]);

    /// `None` unless each channel lies in 0..=1.
    pub fn new(transmittance: [f64; 3]) -> Option<Self> {
        transmittance
            .iter()
            .all(|t| (0.0..=1.0).contains(t))
            .then_some(Self(transmittance))
    }

    /// The share of each channel passed.
    pub fn transmittance(self) -> [f64; 3] {
        self.0
    }

    /// A light's linear sRGB behind the filter.
    pub fn apply(self, light: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|i| light[i] * self.0[i])
    }

    /// The share of a light's luminance that passes.
    pub fn luminous_transmittance(self, light: [f64; 3]) -> f64 {
        luminance(self.apply(light)) / luminance(light)
    }
}

/// Relative luminance of a linear sRGB colour.
pub fn luminance(rgb: [f64; 3]) -> f64 {
    let weights = RgbSpace::SRGB.luminance_weights();
    (0..3).map(|i| weights[i] * rgb[i]).sum()
}

/// The gains that make a grey card's picture neutral: green over each channel, so green keeps its
/// value. `None` unless every channel is positive.
pub fn white_balance_gains(card_rgb: [f64; 3]) -> Option<[f64; 3]> {
    let gains = card_rgb.map(|channel| card_rgb[1] / channel);
    let usable = card_rgb
        .iter()
        .chain(&gains)
        .all(|v| *v > 0.0 && v.is_finite());
    usable.then_some(gains)
}
