//! Leather: grain of pebbles and creases, as `shaders/core/leather.wgsl` reads it.

use serde::Deserialize;

use super::Form;
use crate::fabric::FabricError;

/// A grained leather: `[leather]` in a fabric's file. All but the colour has defaults, those of a
/// pebbled bag or jacket leather (common practice).
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Leather {
    /// Reflectance, linear sRGB.
    pub colour: [f64; 3],
    /// Width of a pebble of the grain.
    #[serde(default = "defaults::pebble_mm")]
    pub pebble_mm: f64,
    /// A pebble's extent across the hide (x) over that along it.
    #[serde(default = "defaults::pebble_stretch")]
    pub pebble_stretch: f64,
    /// Depth of the creases between pebbles.
    #[serde(default = "defaults::crease_mm")]
    pub crease_mm: f64,
    /// How much darker a crease is, as a fraction.
    #[serde(default = "defaults::crease_dark")]
    pub crease_dark: f64,
    /// Rise of the fine grain upon the pebbles.
    #[serde(default = "defaults::grain_mm")]
    pub grain_mm: f64,
    /// Spacing of the hair pores; 0 for none.
    #[serde(default = "defaults::pore_spacing_mm")]
    pub pore_spacing_mm: f64,
    /// Radius of a pore.
    #[serde(default = "defaults::pore_radius_mm")]
    pub pore_radius_mm: f64,
    /// Depth of a pore.
    #[serde(default = "defaults::pore_depth_mm")]
    pub pore_depth_mm: f64,
    /// How cloudy the dye lies, as a fraction.
    #[serde(default = "defaults::cloudiness")]
    pub cloudiness: f64,
    /// Slopes (rms) of grain too fine to be drawn, in the glossiest and the dullest places.
    #[serde(default = "defaults::finish_slope")]
    pub finish_slope: [f64; 2],
}

/// What a file may leave out.
mod defaults {
    pub fn pebble_mm() -> f64 {
        1.3
    }
    pub fn pebble_stretch() -> f64 {
        1.22
    }
    pub fn crease_mm() -> f64 {
        0.17
    }
    pub fn crease_dark() -> f64 {
        0.45
    }
    pub fn grain_mm() -> f64 {
        0.009
    }
    pub fn pore_spacing_mm() -> f64 {
        0.9
    }
    pub fn pore_radius_mm() -> f64 {
        0.045
    }
    pub fn pore_depth_mm() -> f64 {
        0.05
    }
    pub fn cloudiness() -> f64 {
        0.1
    }
    pub fn finish_slope() -> [f64; 2] {
        [0.0, 0.18]
    }
}

/// Most that leather.wgsl lets pebbles and the finer cells upon them stand over the creases, in
/// depths of a crease: 1.25 (over the hide) x 1.22 (from pebble to pebble) + .14.
const TALLEST: f64 = 1.25 * 1.22 + 0.14;

impl Leather {
    /// Whether every number is one that leather can have.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        for value in self.colour {
            range("colour", value, 0.0, 1.0)?;
        }
        range("pebble_mm", self.pebble_mm, 0.2, 20.0)?;
        range("pebble_stretch", self.pebble_stretch, 0.4, 2.5)?;
        range("crease_mm", self.crease_mm, 0.0, 2.0)?;
        range("crease_dark", self.crease_dark, 0.0, 1.0)?;
        range("grain_mm", self.grain_mm, 0.0, 0.01)?;
        if self.pore_spacing_mm != 0.0 {
            // A pore stays inside its cell: .14 of the spacing from the edge at least.
            range("pore_spacing_mm", self.pore_spacing_mm, 0.1, 20.0)?;
            let widest = 0.07 * self.pore_spacing_mm;
            range("pore_radius_mm", self.pore_radius_mm, 0.005, widest)?;
        }
        range("pore_depth_mm", self.pore_depth_mm, 0.0, 0.5)?;
        range("cloudiness", self.cloudiness, 0.0, 0.5)?;
        for value in self.finish_slope {
            range("finish_slope", value, 0.0, 0.5)?;
        }
        Ok(())
    }

    /// Puts the leather's numbers among the texels.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Form {
        let first = texels.len() as u32;
        let [red, green, blue] = self.colour.map(|value| value as f32);
        let [glossy, dull] = self.finish_slope.map(|slope| (slope * slope) as f32);
        texels.extend([
            [red, green, blue, self.crease_mm as f32],
            [
                self.pebble_mm as f32,
                self.pebble_stretch as f32,
                (seed & 0xff_ffff) as f32,
                self.pore_spacing_mm as f32,
            ],
            [self.crease_dark as f32, self.grain_mm as f32, glossy, dull],
            [
                self.pore_radius_mm as f32,
                self.pore_depth_mm as f32,
                self.cloudiness as f32,
                0.0,
            ],
        ]);
        let pore_mm = if self.pore_spacing_mm == 0.0 {
            0.0
        } else {
            self.pore_depth_mm
        };
        Form {
            first,
            pitch_mm: self.pebble_mm as f32,
            low_mm: -(pore_mm + self.grain_mm) as f32,
            high_mm: (TALLEST * self.crease_mm + self.grain_mm) as f32,
        }
    }
}
