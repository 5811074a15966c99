//! Fabrics: a data file each (models/fabrics), read into what the light needs to know of the
//! cloth: its colour, its sheen, and the relief of its threads at true scale.

pub mod construction;
pub mod draft;
mod relief;

pub use relief::{ThreadRelief, weave_relief};

use serde::Deserialize;

/// A cloth as its data file describes it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Fabric {
    /// Shown to people.
    pub title: String,
    /// How the yarns cross.
    pub weave: Weave,
    /// Warp yarns to a centimetre.
    pub ends_per_cm: f64,
    /// Weft yarns to a centimetre.
    pub picks_per_cm: f64,
    /// Width of the warp yarns as they lie.
    pub warp_width_mm: f64,
    /// Width of the weft yarns as they lie.
    pub weft_width_mm: f64,
    /// Height of a yarn's back over its edges.
    pub yarn_height_mm: f64,
    /// How far a yarn rises and falls over the other, from its middle.
    pub crimp_mm: f64,
    /// Spread of yarn width along and among yarns, as a fraction.
    #[serde(default)]
    pub unevenness: f64,
    /// Diffuse reflectance, linear sRGB.
    pub reflectance: [f64; 3],
    /// How the surface of the yarns shines.
    pub finish: Finish,
}

/// How yarns cross.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Weave {
    /// Over one, under one.
    Plain,
    /// Two over, two under, each pick a step to the right.
    Twill,
    /// Warp-faced, bound once in five ends, two apart.
    Satin,
}

impl Weave {
    /// Whether the warp lies on top where end `k` crosses pick `j`.
    pub fn warp_up(self, k: i64, j: i64) -> bool {
        match self {
            Weave::Plain => (k + j).rem_euclid(2) == 0,
            Weave::Twill => (k - j).rem_euclid(4) < 2,
            Weave::Satin => (k - 2 * j).rem_euclid(5) != 0,
        }
    }

    /// Ends and picks after which the draft repeats.
    pub fn repeat(self) -> usize {
        match self {
            Weave::Plain => 2,
            Weave::Twill => 4,
            Weave::Satin => 5,
        }
    }
}

/// Shine of the yarns' surface.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", tag = "kind")]
pub enum Finish {
    /// Fibres stand off: a bright rim at grazing angles.
    Sheen {
        /// Strength, by channel.
        strength: [f64; 3],
        /// 0.05 to 1.
        roughness: f64,
    },
    /// Smooth filament: a broad highlight.
    Lustre {
        /// GGX alpha, 0.02 to 1.
        roughness: f64,
        /// Refractive index of the fibre.
        index: f64,
    },
}

/// Why a fabric file cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FabricError {
    /// Not the TOML that is expected, with place and reason.
    #[error("{0}")]
    Text(String),
    /// A number out of its range.
    #[error("{key} = {value}: must lie between {low} and {high}")]
    Range {
        /// Which key.
        key: &'static str,
        /// What it says.
        value: f64,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
    },
}

impl Fabric {
    /// Reads a data file's text.
    ///
    /// # Errors
    /// [`FabricError`] for broken TOML, unknown keys and numbers out of range.
    pub fn parse(text: &str) -> Result<Self, FabricError> {
        let fabric: Self = toml::from_str(text)
            .map_err(|e| FabricError::Text(crate::setup::toml_reason(text, &e)))?;
        let check = |key, value: f64, low, high| {
            if (low..=high).contains(&value) {
                Ok(())
            } else {
                Err(FabricError::Range {
                    key,
                    value,
                    low,
                    high,
                })
            }
        };
        check("ends_per_cm", fabric.ends_per_cm, 1.0, 300.0)?;
        check("picks_per_cm", fabric.picks_per_cm, 1.0, 300.0)?;
        check("warp_width_mm", fabric.warp_width_mm, 0.01, 10.0)?;
        check("weft_width_mm", fabric.weft_width_mm, 0.01, 10.0)?;
        check("yarn_height_mm", fabric.yarn_height_mm, 0.0, 5.0)?;
        check("crimp_mm", fabric.crimp_mm, 0.0, 5.0)?;
        check("unevenness", fabric.unevenness, 0.0, 1.0)?;
        for value in fabric.reflectance {
            check("reflectance", value, 0.0, 1.0)?;
        }
        match fabric.finish {
            Finish::Sheen {
                strength,
                roughness,
            } => {
                for value in strength {
                    check("finish.strength", value, 0.0, 1.0)?;
                }
                check("finish.roughness", roughness, 0.05, 1.0)?;
            }
            Finish::Lustre { roughness, index } => {
                check("finish.roughness", roughness, 0.02, 1.0)?;
                check("finish.index", index, 1.05, 3.0)?;
            }
        }
        Ok(fabric)
    }
}

#[cfg(test)]
mod tests {
    use super::Fabric;

    const LINEN: &str = include_str!("../../models/fabrics/linen-plain.toml");

    #[test]
    fn errors_name_the_place_or_the_key() {
        let error = |text: &str| Fabric::parse(text).unwrap_err().to_string();
        assert!(Fabric::parse(LINEN).is_ok());
        let misspelt = error(&LINEN.replace("picks_per_cm", "pics_per_cm"));
        assert!(
            misspelt.starts_with("line 5, column 1: unknown field `pics_per_cm`"),
            "{misspelt}"
        );
        assert!(!misspelt.contains('\n'), "{misspelt}");
        for bad in ["nan", "inf", "-3", "1e9"] {
            let wrong = error(&LINEN.replace("ends_per_cm = 15", &format!("ends_per_cm = {bad}")));
            assert!(wrong.starts_with("ends_per_cm = "), "{wrong}");
        }
        assert!(error("title = ").starts_with("line 1, column 9: "));
    }
}
