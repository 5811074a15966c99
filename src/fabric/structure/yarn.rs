//! The skin of a yarn: twist, ply, fibres and blend, as `shaders/core/yarn.wgsl` reads them.

use serde::Deserialize;

use crate::fabric::FabricError;

/// What single fibres do to a yarn's surface and colour.
///
/// All of it has defaults: those of a carded cotton yarn.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case", default)]
pub struct Skin {
    /// Turns a metre of the yarn, or of its plies each; positive for Z, negative for S.
    pub twist_per_m: f64,
    /// Yarns twisted into this one; left out, those of the yarn's count where it says so.
    pub plies: Option<u32>,
    /// Turns a metre by which plies are wound about each other; most yarns' is against their twist.
    pub ply_twist_per_m: f64,
    /// Depth of the groove between plies, over half the yarn's width.
    pub ply_depth: f64,
    /// Width of a fibre as it is seen on the yarn.
    pub fibre_width_mm: f64,
    /// Length over which a fibre stays on the yarn's surface.
    pub fibre_length_mm: f64,
    /// How far fibres stand out of the yarn's surface.
    pub fibre_relief_mm: f64,
    /// Spread of reflectance from fibre to fibre, as a fraction.
    pub fibre_contrast: f64,
    /// Spread of reflectance from yarn to yarn, as a fraction.
    pub yarn_contrast: f64,
    /// Spread of reflectance along a yarn, as a fraction.
    pub along_contrast: f64,
    /// Share of fibres of another colour blended in.
    pub melange: f64,
    /// Their reflectance, linear sRGB.
    pub melange_colour: [f64; 3],
    /// Reflectance that the undyed core of a ring-dyed yarn adds where it shows.
    pub pale_core: f64,
}

impl Default for Skin {
    fn default() -> Self {
        Self {
            twist_per_m: 700.0,
            plies: None,
            ply_twist_per_m: -500.0,
            ply_depth: 0.2,
            fibre_width_mm: 0.022,
            fibre_length_mm: 0.5,
            fibre_relief_mm: 0.004,
            fibre_contrast: 0.15,
            yarn_contrast: 0.05,
            along_contrast: 0.05,
            melange: 0.0,
            melange_colour: [0.3; 3],
            pale_core: 0.0,
        }
    }
}

/// How far a fibre of another colour hides those beneath it.
const MELANGE_COVER: f32 = 0.65;

impl Skin {
    /// Texels of a skin.
    pub const TEXELS: u32 = 5;

    /// Whether every number is one that yarn can have.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        range("twist_per_m", self.twist_per_m, -5000.0, 5000.0)?;
        range("plies", f64::from(self.plies.unwrap_or(1)), 1.0, 24.0)?;
        range("ply_twist_per_m", self.ply_twist_per_m, -5000.0, 5000.0)?;
        range("ply_depth", self.ply_depth, 0.0, 0.6)?;
        range("fibre_width_mm", self.fibre_width_mm, 0.004, 0.5)?;
        range("fibre_length_mm", self.fibre_length_mm, 0.02, 50.0)?;
        range("fibre_relief_mm", self.fibre_relief_mm, 0.0, 0.05)?;
        range("fibre_contrast", self.fibre_contrast, 0.0, 1.0)?;
        range("yarn_contrast", self.yarn_contrast, 0.0, 1.0)?;
        range("along_contrast", self.along_contrast, 0.0, 1.0)?;
        range("melange", self.melange, 0.0, 1.0)?;
        for value in self.melange_colour {
            range("melange_colour", value, 0.0, 1.0)?;
        }
        range("pale_core", self.pale_core, 0.0, 1.0)
    }

    /// Puts the skin among the texels; its first one.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> u32 {
        let first = texels.len() as u32;
        let plies = self.plies.unwrap_or(1);
        // A ply twist of none has no lay to fade at.
        let wound = plies > 1 && self.ply_twist_per_m != 0.0;
        let melange = self.melange_colour.map(|value| value as f32);
        texels.extend([
            [
                (self.twist_per_m * 1e-3) as f32,
                (1.0 / self.fibre_width_mm) as f32,
                (1.0 / self.fibre_length_mm) as f32,
                self.fibre_relief_mm as f32,
            ],
            [
                self.fibre_contrast as f32,
                self.yarn_contrast as f32,
                self.along_contrast as f32,
                self.pale_core as f32,
            ],
            [
                if wound { plies as f32 } else { 0.0 },
                (self.ply_twist_per_m * 1e-3) as f32,
                self.ply_depth as f32,
                self.fibre_width_mm as f32,
            ],
            [self.melange as f32, (seed & 0xff_ffff) as f32, 0.0, 0.0],
            [melange[0], melange[1], melange[2], MELANGE_COVER],
        ]);
        first
    }
}
