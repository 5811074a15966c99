//! Corduroy: cords of cut pile over a ground weave, as `shaders/core/corduroy.wgsl` reads it.

use serde::Deserialize;

use super::Form;
use crate::fabric::FabricError;

/// A corduroy: `[corduroy]` in a fabric's file. All but the colours has defaults, those of a
/// mid-wale trouser cord (common practice).
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Corduroy {
    /// Reflectance of the pile's fibres, linear sRGB.
    pub colour: [f64; 3],
    /// Reflectance of the ground weave in the grooves, linear sRGB: the same dye, in the dark.
    pub ground_colour: [f64; 3],
    /// Cords to an inch, as the trade counts them: 8 jumbo, 11 mid wale, 14 fine, 21 needlecord.
    #[serde(default = "defaults::wales_per_inch")]
    pub wales_per_inch: f64,
    /// Height of a cord's back over the ground.
    #[serde(default = "defaults::pile_mm")]
    pub pile_mm: f64,
    /// Share of the wale that the cord takes; the groove has the rest.
    #[serde(default = "defaults::cord_share")]
    pub cord_share: f64,
    /// How far a wale wanders sideways, as a share of its width.
    #[serde(default = "defaults::wander")]
    pub wander: f64,
    /// Where the nap lies: degrees from the weft towards the warp; 270 is down the cloth.
    #[serde(default = "defaults::nap_deg")]
    pub nap_deg: f64,
    /// How far the fibres lean from the cord's surface upright.
    #[serde(default = "defaults::lean_deg")]
    pub lean_deg: f64,
    /// How far the nap's direction wanders over a few centimetres.
    #[serde(default = "defaults::nap_wander_deg")]
    pub nap_wander_deg: f64,
    /// Tufts to a centimetre along a cord.
    #[serde(default = "defaults::tufts_per_cm")]
    pub tufts_per_cm: f64,
    /// How far tufts stand out of the shorn surface.
    #[serde(default = "defaults::tip_mm")]
    pub tip_mm: f64,
    /// Width of a fibre's tip as it is seen.
    #[serde(default = "defaults::fibre_width_mm")]
    pub fibre_width_mm: f64,
    /// Picks of the ground weave to a centimetre.
    #[serde(default = "defaults::ground_picks_per_cm")]
    pub ground_picks_per_cm: f64,
}

/// What a file may leave out.
mod defaults {
    pub fn wales_per_inch() -> f64 {
        11.0
    }
    pub fn pile_mm() -> f64 {
        0.9
    }
    pub fn cord_share() -> f64 {
        0.86
    }
    pub fn wander() -> f64 {
        0.021
    }
    pub fn nap_deg() -> f64 {
        270.0
    }
    pub fn lean_deg() -> f64 {
        37.0
    }
    pub fn nap_wander_deg() -> f64 {
        28.0
    }
    pub fn tufts_per_cm() -> f64 {
        33.0
    }
    pub fn tip_mm() -> f64 {
        0.03
    }
    pub fn fibre_width_mm() -> f64 {
        0.06
    }
    pub fn ground_picks_per_cm() -> f64 {
        28.0
    }
}

/// Exact by the definition of the inch (international yard and pound agreement, 1959).
const MM_PER_INCH: f64 = 25.4;
/// What corduroy.wgsl lets a cord stand over its mean height: .05 a wale and .06 along it.
const TALLEST: f64 = 1.11;
/// Rise of the ground's picks, as corduroy.wgsl has it.
const GROUND_MM: f64 = 0.03;
/// Relief of single fibres, drawn by the shading alone.
const FIBRE_MM: f64 = 0.006;

impl Corduroy {
    /// Spacing of the cords.
    #[must_use]
    pub fn wale_mm(&self) -> f64 {
        MM_PER_INCH / self.wales_per_inch
    }

    /// Whether every number is one that corduroy can have.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        for value in self.colour {
            range("colour", value, 0.0, 1.0)?;
        }
        for value in self.ground_colour {
            range("ground_colour", value, 0.0, 1.0)?;
        }
        range("wales_per_inch", self.wales_per_inch, 1.5, 30.0)?;
        range("pile_mm", self.pile_mm, 0.1, 8.0)?;
        range("cord_share", self.cord_share, 0.3, 0.98)?;
        range("wander", self.wander, 0.0, 0.2)?;
        range("nap_deg", self.nap_deg, 0.0, 360.0)?;
        range("lean_deg", self.lean_deg, 0.0, 75.0)?;
        range("nap_wander_deg", self.nap_wander_deg, 0.0, 90.0)?;
        range("tufts_per_cm", self.tufts_per_cm, 4.0, 150.0)?;
        range("tip_mm", self.tip_mm, 0.0, 0.3)?;
        range("fibre_width_mm", self.fibre_width_mm, 0.01, 0.5)?;
        range("ground_picks_per_cm", self.ground_picks_per_cm, 5.0, 80.0)
    }

    /// Puts the corduroy's numbers among the texels.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Form {
        let first = texels.len() as u32;
        let [red, green, blue] = self.colour.map(|value| value as f32);
        let ground = self.ground_colour.map(|value| value as f32);
        let wale_mm = self.wale_mm() as f32;
        let nap = self.nap_deg.to_radians();
        texels.extend([
            [red, green, blue, self.pile_mm as f32],
            [ground[0], ground[1], ground[2], wale_mm],
            [
                (self.nap_deg / 360.0) as f32,
                self.lean_deg.to_radians().tan() as f32,
                (self.nap_wander_deg / 360.0) as f32,
                self.cord_share as f32,
            ],
            [
                (self.tufts_per_cm * 0.1) as f32,
                (1.0 / self.fibre_width_mm) as f32,
                self.wander as f32,
                (seed & 0xff_ffff) as f32,
            ],
            [
                nap.cos() as f32,
                nap.sin() as f32,
                self.tip_mm as f32,
                (self.ground_picks_per_cm * 0.1) as f32,
            ],
        ]);
        Form {
            first,
            pitch_mm: wale_mm,
            low_mm: -(GROUND_MM.max(self.tip_mm) + FIBRE_MM) as f32,
            high_mm: (TALLEST * self.pile_mm + self.tip_mm + FIBRE_MM) as f32,
        }
    }
}
