//! Sequins: discs sewn on in rows like scales, as `shaders/core/sequins.wgsl` reads them.

use serde::Deserialize;

use super::Form;
use crate::fabric::FabricError;

/// A sequinned cloth: `[sequins]` in a fabric's file. All but the colours has defaults, those of
/// 5 mm cup sequins sewn scale-wise (common practice).
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Sequins {
    /// Reflectance of a disc facing it, linear sRGB.
    pub colour: [f64; 3],
    /// Reflectance of the ground cloth, linear sRGB.
    pub ground_colour: [f64; 3],
    /// Reflectance of the sewing thread, linear sRGB.
    pub thread_colour: [f64; 3],
    /// Diameter of a disc.
    #[serde(default = "defaults::disc_mm")]
    pub disc_mm: f64,
    /// Diameter of its hole.
    #[serde(default = "defaults::hole_mm")]
    pub hole_mm: f64,
    /// Spacing of discs in a row.
    #[serde(default = "defaults::spacing_mm")]
    pub spacing_mm: f64,
    /// Spacing of the rows; every second one is offset by half a spacing.
    #[serde(default = "defaults::row_mm")]
    pub row_mm: f64,
    /// How far a disc may lie from its place in the grid.
    #[serde(default = "defaults::misplaced_mm")]
    pub misplaced_mm: f64,
    /// How far a disc's lower edge hangs out over the row below.
    #[serde(default = "defaults::hang_deg")]
    pub hang_deg: f64,
    /// How far most discs are tilted from that.
    #[serde(default = "defaults::tilt_deg")]
    pub tilt_deg: f64,
    /// How much further the few are that stand off: they flash.
    #[serde(default = "defaults::stray_deg")]
    pub stray_deg: f64,
    /// Slope of a cupped disc at its edge; 0 is a flat one.
    #[serde(default = "defaults::cup_deg")]
    pub cup_deg: f64,
    /// Width of the sewing thread; 0 for none to be seen.
    #[serde(default = "defaults::thread_mm")]
    pub thread_mm: f64,
    /// Spread of reflectance from disc to disc, as a fraction.
    #[serde(default = "defaults::colour_spread")]
    pub colour_spread: f64,
}

/// What a file may leave out.
mod defaults {
    pub fn disc_mm() -> f64 {
        5.0
    }
    pub fn hole_mm() -> f64 {
        0.8
    }
    pub fn spacing_mm() -> f64 {
        4.1
    }
    pub fn row_mm() -> f64 {
        2.75
    }
    pub fn misplaced_mm() -> f64 {
        0.2
    }
    pub fn hang_deg() -> f64 {
        11.0
    }
    pub fn tilt_deg() -> f64 {
        7.0
    }
    pub fn stray_deg() -> f64 {
        19.0
    }
    pub fn cup_deg() -> f64 {
        8.5
    }
    pub fn thread_mm() -> f64 {
        0.11
    }
    pub fn colour_spread() -> f64 {
        0.06
    }
}

/// Height of a disc's middle over the cloth's middle plane, and of the ground.
const MIDDLE_MM: f64 = 0.3;
const GROUND_MM: f64 = -0.25;
/// Relief of the ground, and of a disc's dents, as sequins.wgsl has them.
const WEAVE_MM: f64 = 0.04;
const DENT_MM: f64 = 0.005;

impl Sequins {
    /// Whether every number is one that sequins can have.
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
        for value in self.thread_colour {
            range("thread_colour", value, 0.0, 1.0)?;
        }
        range("disc_mm", self.disc_mm, 0.5, 50.0)?;
        range("hole_mm", self.hole_mm, 0.0, 0.5 * self.disc_mm)?;
        let radius = 0.5 * self.disc_mm;
        range("misplaced_mm", self.misplaced_mm, 0.0, 0.2 * radius)?;
        // A point lies under two discs of a row at most, and under two rows.
        let least = radius + self.misplaced_mm;
        range("spacing_mm", self.spacing_mm, least, 8.0 * radius)?;
        range("row_mm", self.row_mm, least, 8.0 * radius)?;
        range("hang_deg", self.hang_deg, 0.0, 45.0)?;
        range("tilt_deg", self.tilt_deg, 0.0, 30.0)?;
        range("stray_deg", self.stray_deg, 0.0, 45.0)?;
        range("cup_deg", self.cup_deg, 0.0, 40.0)?;
        range("thread_mm", self.thread_mm, 0.0, 0.2 * self.disc_mm)?;
        range("colour_spread", self.colour_spread, 0.0, 0.5)
    }

    /// Puts the sequins' numbers among the texels.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Form {
        let first = texels.len() as u32;
        let [red, green, blue] = self.colour.map(|value| value as f32);
        let ground = self.ground_colour.map(|value| value as f32);
        let thread = self.thread_colour.map(|value| value as f32);
        let radius = 0.5 * self.disc_mm;
        let slope = |deg: f64| deg.to_radians().tan();
        let [hang, tilt, stray, cup] =
            [self.hang_deg, self.tilt_deg, self.stray_deg, self.cup_deg].map(slope);
        texels.extend([
            [red, green, blue, radius as f32],
            [ground[0], ground[1], ground[2], (0.5 * self.hole_mm) as f32],
            [
                self.spacing_mm as f32,
                self.row_mm as f32,
                self.misplaced_mm as f32,
                (0.5 * self.thread_mm) as f32,
            ],
            [
                hang as f32,
                tilt as f32,
                stray as f32,
                (cup / radius) as f32,
            ],
            [
                (seed & 0xff_ffff) as f32,
                self.colour_spread as f32,
                MIDDLE_MM as f32,
                GROUND_MM as f32,
            ],
            [thread[0], thread[1], thread[2], 0.0],
        ]);
        let steepest = (tilt + stray).hypot(hang + tilt + stray);
        let rise = radius * (steepest + 0.5 * cup) + 0.5 * self.thread_mm + DENT_MM;
        Form {
            first,
            pitch_mm: self.spacing_mm.min(self.row_mm) as f32,
            low_mm: (GROUND_MM - WEAVE_MM - DENT_MM) as f32,
            high_mm: (MIDDLE_MM + rise) as f32,
        }
    }
}
