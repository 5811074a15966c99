//! Velvet: cut pile all over, as `shaders/core/velvet.wgsl` reads it.

use serde::Deserialize;

use super::Form;
use crate::fabric::FabricError;

/// A velvet: `[velvet]` in a fabric's file. All but the colour has defaults, those of a cotton or
/// viscose velvet (common practice).
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Velvet {
    /// Reflectance of the pile's fibres, linear sRGB.
    pub colour: [f64; 3],
    /// Height of the pile.
    #[serde(default = "defaults::pile_mm")]
    pub pile_mm: f64,
    /// Where the nap lies: degrees from the weft towards the warp; 270 is down the cloth.
    #[serde(default = "defaults::nap_deg")]
    pub nap_deg: f64,
    /// How far the fibres lean from upright.
    #[serde(default = "defaults::lean_deg")]
    pub lean_deg: f64,
    /// How far the nap's direction wanders over a few centimetres.
    #[serde(default = "defaults::wander_deg")]
    pub wander_deg: f64,
    /// How unevenly the pile is laid and crushed: spread of the lean, as a fraction.
    #[serde(default = "defaults::crush")]
    pub crush: f64,
    /// Tufts to a centimetre.
    #[serde(default = "defaults::tufts_per_cm")]
    pub tufts_per_cm: f64,
    /// Width of a fibre's tip as it is seen.
    #[serde(default = "defaults::fibre_width_mm")]
    pub fibre_width_mm: f64,
    /// How far tips stand out of the shorn surface.
    #[serde(default = "defaults::tip_mm")]
    pub tip_mm: f64,
    /// Strokes that hands have left in the pile, to a square metre.
    #[serde(default)]
    pub strokes_per_sqm: f64,
    /// Width of a stroke.
    #[serde(default = "defaults::stroke_width_mm")]
    pub stroke_width_mm: f64,
    /// Length of a stroke.
    #[serde(default = "defaults::stroke_length_mm")]
    pub stroke_length_mm: f64,
    /// By how much a stroke turns the nap.
    #[serde(default = "defaults::stroke_turn_deg")]
    pub stroke_turn_deg: f64,
}

/// What a file may leave out.
mod defaults {
    pub fn pile_mm() -> f64 {
        1.6
    }
    pub fn nap_deg() -> f64 {
        270.0
    }
    pub fn lean_deg() -> f64 {
        23.0
    }
    pub fn wander_deg() -> f64 {
        20.0
    }
    pub fn crush() -> f64 {
        0.55
    }
    pub fn tufts_per_cm() -> f64 {
        22.0
    }
    pub fn fibre_width_mm() -> f64 {
        0.05
    }
    pub fn tip_mm() -> f64 {
        0.03
    }
    pub fn stroke_width_mm() -> f64 {
        26.0
    }
    pub fn stroke_length_mm() -> f64 {
        150.0
    }
    pub fn stroke_turn_deg() -> f64 {
        115.0
    }
}

/// How far over half its length a stroke may reach from the middle of its cell, in cells: its
/// place strays by .2 of a cell, and cells beyond 1 from a point are not looked at.
const STROKE_REACH_CELLS: f64 = 0.7;

impl Velvet {
    /// Whether every number is one that velvet can have.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        for value in self.colour {
            range("colour", value, 0.0, 1.0)?;
        }
        range("pile_mm", self.pile_mm, 0.2, 20.0)?;
        range("nap_deg", self.nap_deg, 0.0, 360.0)?;
        range("lean_deg", self.lean_deg, 0.0, 75.0)?;
        range("wander_deg", self.wander_deg, 0.0, 90.0)?;
        range("crush", self.crush, 0.0, 1.0)?;
        range("tufts_per_cm", self.tufts_per_cm, 2.0, 100.0)?;
        range("fibre_width_mm", self.fibre_width_mm, 0.01, 0.5)?;
        range("tip_mm", self.tip_mm, 0.0, 0.3)?;
        range("stroke_width_mm", self.stroke_width_mm, 2.0, 200.0)?;
        range("stroke_length_mm", self.stroke_length_mm, 5.0, 1000.0)?;
        range("stroke_turn_deg", self.stroke_turn_deg, 0.0, 180.0)?;
        range(
            "strokes_per_sqm",
            self.strokes_per_sqm,
            0.0,
            self.most_strokes_per_sqm(),
        )
    }

    /// More strokes than this would have to overlap.
    fn most_strokes_per_sqm(&self) -> f64 {
        let reach_mm = 0.5 * self.stroke_length_mm + self.stroke_width_mm;
        (1000.0 * STROKE_REACH_CELLS / reach_mm).powi(2)
    }

    /// Puts the velvet's numbers among the texels.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Form {
        let first = texels.len() as u32;
        let [red, green, blue] = self.colour.map(|value| value as f32);
        let nap = self.nap_deg.to_radians();
        let cells_per_mm = self.strokes_per_sqm.sqrt() * 1e-3;
        texels.extend([
            [red, green, blue, self.pile_mm as f32],
            [
                (self.nap_deg / 360.0) as f32,
                self.lean_deg.to_radians().tan() as f32,
                (self.wander_deg / 360.0) as f32,
                self.crush as f32,
            ],
            [
                (self.tufts_per_cm * 0.1) as f32,
                (1.0 / self.fibre_width_mm) as f32,
                self.tip_mm as f32,
                (seed & 0xff_ffff) as f32,
            ],
            [
                cells_per_mm as f32,
                (0.5 * self.stroke_width_mm) as f32,
                (0.5 * self.stroke_length_mm) as f32,
                (self.stroke_turn_deg / 360.0) as f32,
            ],
            [nap.cos() as f32, nap.sin() as f32, 0.0, 0.0],
        ]);
        Form {
            first,
            pitch_mm: (10.0 / self.tufts_per_cm) as f32,
            low_mm: (self.pile_mm - self.tip_mm) as f32,
            high_mm: (self.pile_mm + self.tip_mm) as f32,
        }
    }
}
