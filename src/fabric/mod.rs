//! Fabrics: a data file each (models/fabrics), read into what the light needs to know of the
//! cloth: how it is put together, thread by thread at true scale, and how its fibres shine.

pub mod construction;
pub mod draft;
mod error;
pub mod maps;
pub mod stereo;
pub mod structure;

pub use error::FabricError;
pub use structure::{Shading, Structure};

use serde::Deserialize;
use structure::hairs::Hairs;

/// A cloth as its data file describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fabric {
    /// Shown to people.
    pub title: String,
    /// How it is put together.
    pub structure: Structure,
    /// How its fibres shine.
    pub light: Light,
    /// Fibres come loose.
    pub hairs: Option<Hairs>,
    /// What its gaps show.
    pub behind: Behind,
    /// Where its irregularities start: two cloths of one file are the same piece.
    pub seed: u32,
}

/// How fibres shine, and how light gets on among the threads.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case", default)]
pub struct Light {
    /// White reflection off the fibres' surface: its strength.
    pub gloss: f64,
    /// Its spread along the fibres.
    pub gloss_spread_rad: f64,
    /// Coloured reflection out of the fibres: its strength.
    pub glow: f64,
    /// Its spread along the fibres.
    pub glow_spread_rad: f64,
    /// Share of a thread's light that comes through it.
    pub translucency: f64,
    /// Depth under a thread's flank at which light leaking through has sunk to 1/e.
    pub leak_mm: f64,
    /// How much of the light in the valleys neighbours throw on.
    pub cavity: f64,
    /// Share of the sky that the deepest valley sees.
    pub open_least: f64,
    /// Sheen of fibres standing off, seen along the cloth: its strength.
    pub sheen: f64,
    /// Its roughness, 0.05 to 1.
    pub sheen_roughness: f64,
    /// How white it is: 0 the cloth's colour.
    pub sheen_white: f64,
    /// Diffuse light that gets to the far side.
    pub through: f64,
    /// Of leather and sequins: roughness of the surface (GGX alpha).
    pub roughness: f64,
    /// Their reflectance facing them.
    pub facing: f64,
    /// Whether they mirror in their own colour.
    pub metal: bool,
}

impl Default for Light {
    fn default() -> Self {
        Self {
            gloss: 0.03,
            gloss_spread_rad: 0.25,
            glow: 0.10,
            glow_spread_rad: 0.45,
            translucency: 0.2,
            leak_mm: 0.03,
            cavity: 0.85,
            open_least: 0.4,
            sheen: 0.0,
            sheen_roughness: 0.7,
            sheen_white: 0.5,
            through: 0.0,
            roughness: 0.3,
            facing: 0.05,
            metal: false,
        }
    }
}

/// What a gap between threads shows.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case", default)]
pub struct Behind {
    /// Reflectance of what lies close behind, as a rule the cloth's own other side.
    pub colour: [f64; 3],
    /// How far behind.
    pub depth_mm: f64,
    /// Whether the gaps let what is behind be seen.
    pub sheer: bool,
    /// How deep under a thread a shadow still counts; left out, any depth.
    pub thickness_mm: Option<f64>,
}

impl Default for Behind {
    fn default() -> Self {
        Self {
            colour: [0.05; 3],
            depth_mm: 0.4,
            sheer: false,
            thickness_mm: None,
        }
    }
}

/// The file as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
struct File {
    title: String,
    #[serde(default)]
    seed: u32,
    #[serde(default)]
    light: Light,
    hairs: Option<Hairs>,
    #[serde(default)]
    behind: Behind,
    woven: Option<structure::woven::Woven>,
    jersey: Option<structure::knit::Jersey>,
    rib: Option<structure::knit::Rib>,
    net: Option<structure::net::Net>,
    lace: Option<structure::lace::Lace>,
    velvet: Option<structure::velvet::Velvet>,
    corduroy: Option<structure::corduroy::Corduroy>,
    leather: Option<structure::leather::Leather>,
    sequins: Option<structure::sequins::Sequins>,
    maps: Option<maps::Maps>,
}

impl Fabric {
    /// Reads a data file's text. `file` reads a file that it names, found beside it.
    ///
    /// # Errors
    /// [`FabricError`] for broken TOML, unknown keys and numbers out of range.
    pub fn parse(text: &str, file: structure::ReadFile<'_>) -> Result<Self, FabricError> {
        let read: File = toml::from_str(text)
            .map_err(|e| FabricError::Text(crate::setup::toml_reason(text, &e)))?;
        let tables = structure::Tables {
            woven: read.woven,
            jersey: read.jersey,
            rib: read.rib,
            net: read.net,
            lace: read.lace,
            velvet: read.velvet,
            corduroy: read.corduroy,
            leather: read.leather,
            sequins: read.sequins,
            maps: read.maps,
        };
        let fabric = Self {
            title: read.title,
            structure: tables.one(file)?,
            light: read.light,
            hairs: read.hairs,
            behind: read.behind,
            seed: read.seed,
        };
        fabric.check()?;
        Ok(fabric)
    }

    fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        let l = &self.light;
        range("light.gloss", l.gloss, 0.0, 1.0)?;
        range("light.gloss_spread_rad", l.gloss_spread_rad, 0.02, 2.0)?;
        range("light.glow", l.glow, 0.0, 1.0)?;
        range("light.glow_spread_rad", l.glow_spread_rad, 0.02, 2.0)?;
        range("light.translucency", l.translucency, 0.0, 1.0)?;
        range("light.leak_mm", l.leak_mm, 0.001, 5.0)?;
        range("light.cavity", l.cavity, 0.0, 1.0)?;
        range("light.open_least", l.open_least, 0.0, 1.0)?;
        range("light.sheen", l.sheen, 0.0, 1.0)?;
        range("light.sheen_roughness", l.sheen_roughness, 0.05, 1.0)?;
        range("light.sheen_white", l.sheen_white, 0.0, 1.0)?;
        range("light.through", l.through, 0.0, 0.9)?;
        range("light.roughness", l.roughness, 0.02, 1.0)?;
        range("light.facing", l.facing, 0.0, 1.0)?;
        for value in self.behind.colour {
            range("behind.colour", value, 0.0, 1.0)?;
        }
        range("behind.depth_mm", self.behind.depth_mm, 0.0, 50.0)?;
        if let Some(thick) = self.behind.thickness_mm {
            range("behind.thickness_mm", thick, 0.001, 50.0)?;
        }
        if let Some(hairs) = &self.hairs {
            hairs.check()?;
        }
        self.structure.check()
    }
}
