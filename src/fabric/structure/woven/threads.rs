//! The threads of one system of a woven cloth.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::fabric::FabricError;
use crate::fabric::construction::{Count, FIBRE_DENSITIES_G_CM3, System, specific_volume_cm3_g};
use crate::fabric::structure::yarn::Skin;

/// The threads of one system.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Threads {
    /// Their count, with its unit: "Ne 30", "Nm 2/60", "18.5 tex".
    pub count: String,
    /// What they are spun of: a name of [`FIBRE_DENSITIES_G_CM3`].
    #[serde(default = "Threads::cotton")]
    pub fibre: String,
    /// Share of the yarn's section that is fibre: 0.5 soft, 0.6 firm, 0.9 flat filament (common
    /// practice).
    #[serde(default = "Threads::packing")]
    pub packing: f64,
    /// Width of the yarn as it lies in the finished cloth, over its round diameter.
    #[serde(default = "Threads::width_factor")]
    pub width_factor: f64,
    /// Its height over the same.
    #[serde(default = "Threads::height_factor")]
    pub height_factor: f64,
    /// Spread of thickness along and among yarns, as a fraction.
    #[serde(default = "Threads::unevenness")]
    pub unevenness: f64,
    /// Thick places.
    #[serde(default)]
    pub slubs: Slubs,
    /// Reflectance, linear sRGB, where all have one colour.
    pub colour: Option<[f64; 3]>,
    /// How many threads of which colour follow each other: `[[12, "white"], [12, "red"]]`.
    #[serde(default)]
    pub order: Vec<(u32, String)>,
    /// Whether the order turns back at its last colour and at its first one, as a tartan's does.
    #[serde(default)]
    pub mirrored: bool,
    /// Their surface.
    #[serde(default)]
    pub skin: Skin,
}

/// Thick places of a yarn.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case", default)]
pub struct Slubs {
    /// How much thicker the yarn gets, at most: 1 doubles it.
    pub swell: f64,
    /// Length of yarn with room for one slub.
    pub spacing_mm: f64,
    /// Share of those lengths that have one.
    pub share: f64,
}

impl Default for Slubs {
    fn default() -> Self {
        Self {
            swell: 0.0,
            spacing_mm: 45.0,
            share: 0.3,
        }
    }
}

/// Threads of an order of colours, at most.
const MOST_THREADS: usize = 1 << 16;
impl Threads {
    fn cotton() -> String {
        "cotton".to_owned()
    }
    fn packing() -> f64 {
        0.6
    }
    fn width_factor() -> f64 {
        1.5
    }
    fn height_factor() -> f64 {
        0.75
    }
    fn unevenness() -> f64 {
        0.12
    }

    pub(super) fn check(
        &self,
        colours: &BTreeMap<String, [f64; 3]>,
        of: &str,
    ) -> Result<(), FabricError> {
        let range = FabricError::range;
        self.system(1.0, of)?;
        range("packing", self.packing, 0.15, 1.0)?;
        range("width_factor", self.width_factor, 0.5, 4.0)?;
        range("height_factor", self.height_factor, 0.2, 1.5)?;
        range("unevenness", self.unevenness, 0.0, 0.5)?;
        range("slubs.swell", self.slubs.swell, 0.0, 3.0)?;
        range("slubs.spacing_mm", self.slubs.spacing_mm, 2.0, 2000.0)?;
        range("slubs.share", self.slubs.share, 0.0, 1.0)?;
        for value in self.colour.unwrap_or_default() {
            range("colour", value, 0.0, 1.0)?;
        }
        if self.colour.is_some() != self.order.is_empty() {
            return Err(FabricError::Text(format!(
                "{of}: type either colour = [red, green, blue] or order = [[12, \"white\"], [12, \"red\"]]"
            )));
        }
        let mut threads = 0_usize;
        for (count, name) in &self.order {
            range("order", f64::from(*count), 1.0, MOST_THREADS as f64)?;
            threads += *count as usize;
            if !colours.contains_key(name) {
                return Err(FabricError::Text(format!(
                    "{of}: the order's colour `{name}` is not among the colours; type {name} = [red, green, blue] under [woven.colours]"
                )));
            }
        }
        range("order", threads as f64, 0.0, MOST_THREADS as f64)?;
        self.skin.check()
    }

    /// Their numbers for the geometry.
    pub(super) fn system(&self, threads_per_cm: f64, of: &str) -> Result<System, FabricError> {
        let known = FIBRE_DENSITIES_G_CM3.iter();
        let Some((_, density)) = known.clone().find(|(name, _)| *name == self.fibre) else {
            let names: Vec<&str> = known.map(|(name, _)| *name).collect();
            return Err(FabricError::Text(format!(
                "{of}: fibre `{}` is not known; type one of {}",
                self.fibre,
                names.join(", ")
            )));
        };
        Ok(System {
            threads_per_cm,
            count_tex: self.parsed(of)?.tex,
            specific_volume_cm3_g: specific_volume_cm3_g(*density, self.packing),
            width_factor: self.width_factor,
            height_factor: self.height_factor,
        })
    }

    fn parsed(&self, of: &str) -> Result<Count, FabricError> {
        Count::parse(&self.count)
            .map_err(|e| FabricError::Text(format!("{of}: count = \"{}\": {e}", self.count)))
    }

    /// The colours of one repeat of the order, at least one; `named` are the cloth's.
    pub fn colours(&self, named: &BTreeMap<String, [f64; 3]>) -> Vec<[f64; 3]> {
        let mut bands: Vec<&(u32, String)> = self.order.iter().collect();
        if self.mirrored && self.order.len() > 2 {
            bands.extend(self.order[1..self.order.len() - 1].iter().rev());
        }
        let colour = |name: &String| named.get(name).copied().unwrap_or([0.5; 3]);
        let all: Vec<[f64; 3]> = bands
            .into_iter()
            .flat_map(|(count, name)| std::iter::repeat_n(colour(name), *count as usize))
            .take(2 * MOST_THREADS)
            .collect();
        match all.is_empty() {
            true => vec![self.colour.unwrap_or([0.5; 3])],
            false => all,
        }
    }

    /// Thickest over mean.
    pub(super) fn thickest(&self) -> f64 {
        1.0 + 1.6 * self.unevenness + self.slubs.swell
    }

    pub(super) fn slub_texel(&self) -> [f32; 4] {
        [
            self.unevenness as f32,
            self.slubs.swell as f32,
            (1.0 / self.slubs.spacing_mm) as f32,
            self.slubs.share as f32,
        ]
    }

    /// Its skin, plied as the count says where the skin does not.
    pub(super) fn plied_skin(&self) -> Skin {
        let plies = Count::parse(&self.count).map_or(1, |count| count.plies);
        Skin {
            plies: self.skin.plies.or(Some(plies)),
            ..self.skin.clone()
        }
    }
}
