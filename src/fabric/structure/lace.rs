//! Lace: what a lace maker says of it, and its numbers as `shaders/core/lace.wgsl` reads them.

mod drawing;
mod motifs;

use serde::Deserialize;

use super::{Form, net::Net, yarn::Skin};
use crate::fabric::FabricError;
use drawing::Tile;

/// Lace with flowers and leaves on a net ground, as its table in a fabric's data file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Lace {
    /// From the middle of a motif to the next one's, on the mean.
    #[serde(default = "Lace::spacing")]
    pub spacing_mm: f64,
    /// How many motifs are drawn; each comes back turned, mirrored and in other sizes.
    #[serde(default = "Lace::motifs")]
    pub motifs: u32,
    /// Width of the cord about the motifs.
    #[serde(default = "Lace::cord")]
    pub cord_mm: f64,
    /// Width of stems, veins, picots and loose ends.
    #[serde(default = "Lace::line")]
    pub line_mm: f64,
    /// From thread to thread in close work.
    #[serde(default = "Lace::thread")]
    pub thread_spacing_mm: f64,
    /// Reflectance of the motifs' threads, linear sRGB.
    pub colour: [f64; 3],
    /// Their surface.
    #[serde(default)]
    pub skin: Skin,
    /// The ground.
    pub net: Net,
}

/// Texels before the tiles.
const HEAD: usize = 5;
/// Texels to a millimetre of a tile: finer than any line is wide.
const TEXELS_PER_MM: f64 = 9.0;
/// Farthest that a motif reaches from its middle, over the spacing.
const REACH: f64 = 0.60;
/// Height of the close work's middle over the net's.
const LIFT_MM: f64 = 0.10;

impl Lace {
    fn spacing() -> f64 {
        18.0
    }

    fn motifs() -> u32 {
        7
    }

    fn cord() -> f64 {
        0.34
    }

    fn line() -> f64 {
        0.24
    }

    fn thread() -> f64 {
        0.25
    }

    /// Whether every number is one that lace can have.
    ///
    /// # Errors
    /// The first number out of its range, or a count that is none.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        range("spacing_mm", self.spacing_mm, 8.0, 40.0)?;
        range("motifs", f64::from(self.motifs), 1.0, 16.0)?;
        range("cord_mm", self.cord_mm, 0.2, 1.5)?;
        range("line_mm", self.line_mm, 0.2, 1.5)?;
        range("thread_spacing_mm", self.thread_spacing_mm, 0.08, 1.0)?;
        for value in self.colour {
            range("colour", value, 0.0, 1.0)?;
        }
        self.skin.check()?;
        self.net.check()
    }

    /// Share of the cloth that threads hide: the motifs' share of their drawings, the net's of the
    /// rest. An estimate: it does not know where motifs overlap.
    ///
    /// # Errors
    /// A count or fibre of the net that is none.
    pub fn cover(&self) -> Result<f64, FabricError> {
        let tiles = self.tiles(0);
        let hidden: f64 = tiles.iter().map(|tile| self.hidden_sqmm(tile)).sum();
        // Motifs are scaled by 0.84 to 1, evenly: mean square.
        let scale = 0.848_5;
        let room = 0.87 * self.spacing_mm * self.spacing_mm;
        let share = 1.0 - (-scale * hidden / (tiles.len() as f64 * room)).exp();
        Ok(share + (1.0 - share) * self.net.cover()?)
    }

    fn hidden_sqmm(&self, tile: &Tile) -> f64 {
        let hidden = |texel: &&[f32; 4]| {
            texel[0] < 0.5 * self.cord_mm as f32 || texel[1] < 0.5 * self.line_mm as f32
        };
        tile.texels.iter().filter(hidden).count() as f64 / (TEXELS_PER_MM * TEXELS_PER_MM)
    }

    fn tiles(&self, seed: u32) -> Vec<Tile> {
        let reach_mm = REACH * self.spacing_mm;
        (0..self.motifs)
            .map(|number| {
                let drawing = motifs::draw(number, seed, reach_mm - 0.5 * self.cord_mm);
                drawing.tile(reach_mm, TEXELS_PER_MM)
            })
            .collect()
    }

    /// Puts the lace among the texels.
    ///
    /// # Errors
    /// What [`Lace::check`] finds.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Result<Form, FabricError> {
        self.check()?;
        let first = texels.len();
        texels.resize(first + HEAD, [0.0; 4]);
        let here = |texels: &Vec<[f32; 4]>| (texels.len() - first) as f64;

        let mut skin = self.skin.clone();
        skin.plies.get_or_insert(2);
        let skin_at = here(texels);
        skin.pack(seed, texels);
        let net_start = texels.len();
        let net = self.net.pack(seed, texels)?;
        let net_at = f64::from(net.first) - first as f64;
        debug_assert_eq!(net_start, net.first as usize);
        let tiles_at = here(texels);
        let tiles = self.tiles(seed);
        let across = tiles.first().map_or(0, |tile| tile.across);
        for tile in &tiles {
            texels.extend(&tile.texels);
        }

        let (cord, line) = (0.5 * self.cord_mm, 0.5 * self.line_mm);
        let ply = skin.ply_depth * cord;
        let low = f64::from(net.low_mm).min(LIFT_MM - 0.2 * self.thread_spacing_mm - ply);
        let tops = [
            2.0 * LIFT_MM + 0.9 * cord,
            1.8 * LIFT_MM + 0.9 * line,
            LIFT_MM + 0.48 * self.thread_spacing_mm,
        ];
        let high = tops.into_iter().fold(f64::from(net.high_mm), f64::max) + 0.4 * ply;
        let row = |values: [f64; 4]| values.map(|value| value as f32);
        let [red, green, blue] = self.colour;
        let head = [
            row([
                self.spacing_mm,
                REACH * self.spacing_mm,
                tiles.len() as f64,
                f64::from(seed & 0xff_ffff),
            ]),
            row([across as f64, TEXELS_PER_MM, tiles_at, net_at]),
            row([cord, line, self.thread_spacing_mm, LIFT_MM]),
            row([red, green, blue, low]),
            row([skin_at, 0.0, 0.0, 0.0]),
        ];
        texels[first..first + HEAD].copy_from_slice(&head);
        Ok(Form {
            first: first as u32,
            // What has to be seen apart for lace to be lace: the hole of its ground.
            pitch_mm: self.net.hole_mm as f32,
            low_mm: low as f32,
            high_mm: high as f32,
        })
    }
}
