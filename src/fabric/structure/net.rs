//! Net: what a lace maker says of it, and its numbers as `shaders/core/net.wgsl` reads them.

use serde::Deserialize;

use super::{Form, yarn::Skin};
use crate::fabric::FabricError;
use crate::fabric::construction::{
    Count, FIBRE_DENSITIES_G_CM3, diameter_mm, specific_volume_cm3_g,
};

/// Net with hexagonal holes (tulle, bobbinet), as its table in a fabric's data file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Net {
    /// Across a hole and one of its sides: from the middle of a side to the middle of the next one.
    pub hole_mm: f64,
    /// Count of the yarn, with its unit: "50 denier".
    pub count: String,
    /// What it is spun of: a name of [`FIBRE_DENSITIES_G_CM3`].
    #[serde(default = "Net::nylon")]
    pub fibre: String,
    /// Share of the yarn's section that is fibre: 0.9 filament (common practice).
    #[serde(default = "Net::packing")]
    pub packing: f64,
    /// How far knots stray from their places, over the hole.
    #[serde(default = "Net::stray")]
    pub stray: f64,
    /// Turns of the two yarns of a side about each other.
    #[serde(default = "Net::side_turns")]
    pub side_turns: f64,
    /// How much fatter the yarn is at a knot, as a fraction.
    #[serde(default = "Net::knot")]
    pub knot: f64,
    /// Reflectance, linear sRGB.
    pub colour: [f64; 3],
    /// The yarn's surface.
    #[serde(default = "Net::filament")]
    pub skin: Skin,
}

/// Texels before the skin.
const HEAD: u32 = 4;
/// Width of a single slanting side over the yarn's.
const SINGLE: f64 = 1.15;
/// Height of a yarn's section over its width.
const FULLNESS: f64 = 0.9;
/// Bow of a slanting side over the hole.
const BOW: f64 = 0.015;
/// How far the middles of twisted yarns swing, over the radius: aside, and up (see the kernel).
const ASIDE: f64 = 0.62;
const LIFT: f64 = 0.75;

impl Net {
    fn nylon() -> String {
        "nylon".to_owned()
    }

    fn packing() -> f64 {
        0.9
    }

    fn stray() -> f64 {
        0.04
    }

    fn side_turns() -> f64 {
        1.5
    }

    fn knot() -> f64 {
        0.3
    }

    /// Skin of a filament yarn with little twist.
    fn filament() -> Skin {
        Skin {
            twist_per_m: 300.0,
            fibre_width_mm: 0.014,
            fibre_length_mm: 0.6,
            fibre_relief_mm: 0.001,
            fibre_contrast: 0.06,
            yarn_contrast: 0.02,
            along_contrast: 0.03,
            ..Skin::default()
        }
    }

    /// Whether every number is one that net can have.
    ///
    /// # Errors
    /// The first number out of its range, or a count that is none.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        range("hole_mm", self.hole_mm, 0.3, 60.0)?;
        range("packing", self.packing, 0.2, 0.95)?;
        range("stray", self.stray, 0.0, 0.12)?;
        range("side_turns", self.side_turns, 0.0, 12.0)?;
        range("knot", self.knot, 0.0, 1.0)?;
        for value in self.colour {
            range("colour", value, 0.0, 1.0)?;
        }
        self.skin.check()?;
        range(
            "yarn's width in mm",
            self.diameter_mm()?,
            0.005,
            0.2 * self.hole_mm,
        )
    }

    /// Holes to a square centimetre: regular hexagons, `2 / (√3 hole²)`.
    pub fn holes_per_sqcm(&self) -> f64 {
        200.0 / (3f64.sqrt() * self.hole_mm * self.hole_mm)
    }

    /// Share of the cloth that yarn hides: the width of the three sides that belong to a hole,
    /// less what they share at its two knots.
    ///
    /// # Errors
    /// A count or fibre that is none.
    pub fn cover(&self) -> Result<f64, FabricError> {
        let d = self.diameter_mm()?;
        let side = self.hole_mm / 3f64.sqrt();
        // Mean over a turn of |cos|, 2/π, is how far apart two twisted yarns are seen.
        let twisted = d * (1.0 + ASIDE * 2.0 / std::f64::consts::PI);
        let single = SINGLE * d;
        // Strips that meet at 120° overlap up to w / (2√3) from the knot.
        let mean = (twisted + 2.0 * single) / 3.0;
        let overlap = 2.0 * 3f64.sqrt() / 4.0 * mean * mean;
        // What a knot adds to the end of a side: ∫ knot n² over 4 radii.
        let swell = 2.0 * self.knot * d * (4.0 * 0.5 * d) / 3.0;
        let area = side * (twisted + 2.0 * single) - overlap + swell;
        Ok((area / (side * 1.5 * self.hole_mm)).clamp(0.0, 1.0))
    }

    /// Mass of a square metre.
    ///
    /// # Errors
    /// A count or fibre that is none.
    pub fn weight_g_m2(&self) -> Result<f64, FabricError> {
        let side = self.hole_mm / 3f64.sqrt();
        // Two yarns in the twisted side, one doubled to width in the slanting ones.
        let yarn_mm = side * (2.0 + 2.0 * SINGLE * SINGLE);
        Ok(yarn_mm / (1.5 * side * self.hole_mm) * self.count()?.tex)
    }

    /// Puts the net among the texels.
    ///
    /// # Errors
    /// What [`Net::check`] finds.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Result<Form, FabricError> {
        self.check()?;
        let mut skin = self.skin.clone();
        if skin.plies.is_none() {
            skin.plies = Some(self.count()?.plies);
        }
        let radius = 0.5 * self.diameter_mm()?;
        let fat = radius * SINGLE.max(1.0) * (1.0 + self.knot);
        let ply = skin.ply_depth * fat;
        let low = -LIFT * radius - ply;
        let high = LIFT * radius + FULLNESS * fat + 0.4 * ply;
        let first = texels.len() as u32;
        let row = |values: [f64; 4]| values.map(|value| value as f32);
        let [red, green, blue] = self.colour;
        texels.extend([
            row([self.hole_mm, self.stray, radius, SINGLE]),
            row([
                FULLNESS,
                self.side_turns,
                f64::from(seed & 0xff_ffff),
                f64::from(HEAD),
            ]),
            row([red, green, blue, low]),
            row([self.knot, BOW * self.hole_mm, 0.0, 0.0]),
        ]);
        skin.pack(seed, texels);
        Ok(Form {
            first,
            pitch_mm: self.hole_mm as f32,
            low_mm: low as f32,
            high_mm: high as f32,
        })
    }

    /// Of the yarn.
    ///
    /// # Errors
    /// A count or fibre that is none.
    pub fn diameter_mm(&self) -> Result<f64, FabricError> {
        let density = FIBRE_DENSITIES_G_CM3
            .iter()
            .find(|(name, _)| *name == self.fibre)
            .map(|(_, density)| *density)
            .ok_or_else(|| {
                let names: Vec<&str> = FIBRE_DENSITIES_G_CM3.iter().map(|(n, _)| *n).collect();
                FabricError::Text(format!(
                    "fibre = \"{}\": no fibre of this name; write one of {}",
                    self.fibre,
                    names.join(", ")
                ))
            })?;
        let volume = specific_volume_cm3_g(density, self.packing);
        Ok(diameter_mm(self.count()?.tex, volume))
    }

    fn count(&self) -> Result<Count, FabricError> {
        Count::parse(&self.count).map_err(|e| FabricError::Text(format!("count: {e}")))
    }
}
