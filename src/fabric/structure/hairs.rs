//! Loose fibres over a cloth, as `shaders/core/hairs.wgsl` reads them.

use serde::Deserialize;

use crate::fabric::FabricError;

/// Fibres that have come loose and lie over a cloth, as their table in a fabric's data file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Hairs {
    /// How many to a square millimetre.
    pub per_sqmm: f64,
    /// The shortest and the longest.
    pub length_mm: [f64; 2],
    /// How high above the cloth their arcs rise: the lowest and the highest.
    #[serde(default = "Hairs::height_mm")]
    pub height_mm: [f64; 2],
    /// How far they turn over half their length, radians: 0 straight.
    #[serde(default = "Hairs::curl")]
    pub curl: f64,
    /// The way most of them lie, from the weft.
    #[serde(default)]
    pub direction_rad: f64,
    /// Spread about it (standard deviation); from about 1.6 they lie every way.
    #[serde(default = "Hairs::spread_rad")]
    pub spread_rad: f64,
    /// Width of a fibre.
    #[serde(default = "Hairs::width_mm")]
    pub width_mm: f64,
    /// Reflectance, linear sRGB.
    pub colour: [f64; 3],
    /// Share that is darker.
    #[serde(default)]
    pub dark: f64,
    /// Share that has the light colour.
    #[serde(default)]
    pub light: f64,
    /// Reflectance of the light ones, linear sRGB.
    #[serde(default = "Hairs::light_colour")]
    pub light_colour: [f64; 3],
}

/// Layers that any cloth has, so that fibres lie more ways than one, and that no cloth exceeds.
const LAYERS: [f64; 2] = [6.0, 14.0];
/// Widest cell: room for a fibre's own bow.
const WIDEST_CELL_MM: f64 = 0.25;
/// Share of cells that may hold a fibre, so that rows do not show.
const FULLEST: f64 = 0.9;
/// Reflectance of dark fibres over that of others, as the kernel has it.
const DARK: f64 = 0.45;
/// Root mean square slope of value noise along one axis: differences of even numbers in ±1 have
/// variance 2/3, times 6/5 for the smooth step's slope, times 26/35 for the blend across.
const NOISE_SLOPE: f64 = 0.771;

impl Hairs {
    fn height_mm() -> [f64; 2] {
        [0.02, 0.12]
    }
    fn curl() -> f64 {
        1.4
    }
    fn spread_rad() -> f64 {
        1.6
    }
    fn width_mm() -> f64 {
        0.022
    }
    fn light_colour() -> [f64; 3] {
        [0.42; 3]
    }

    /// Whether every number is one that hairs can have.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        range("hairs.per_sqmm", self.per_sqmm, 0.0, 200.0)?;
        range("hairs.length_mm", self.length_mm[0], 0.1, 20.0)?;
        range(
            "hairs.length_mm",
            self.length_mm[1],
            self.length_mm[0],
            20.0,
        )?;
        range("hairs.height_mm", self.height_mm[0], 0.0, 5.0)?;
        range("hairs.height_mm", self.height_mm[1], self.height_mm[0], 5.0)?;
        range("hairs.curl", self.curl, 0.0, 4.0)?;
        range("hairs.direction_rad", self.direction_rad, -7.0, 7.0)?;
        range("hairs.spread_rad", self.spread_rad, 0.0, 7.0)?;
        range("hairs.width_mm", self.width_mm, 0.004, 0.2)?;
        range("hairs.dark", self.dark, 0.0, 1.0)?;
        range("hairs.light", self.light, 0.0, 1.0 - self.dark)?;
        for value in self.colour.into_iter().chain(self.light_colour) {
            range("hairs.colour", value, 0.0, 1.0)?;
        }
        Ok(())
    }

    /// Share of the cloth that they hide, lying where chance has them (Poisson): `1 - exp(-n l w)`.
    pub fn cover(&self) -> f64 {
        let mean_mm = 0.5 * (self.length_mm[0] + self.length_mm[1]);
        1.0 - (-self.per_sqmm * mean_mm * self.width_mm).exp()
    }

    /// Mean reflectance.
    pub fn mean_colour(&self) -> [f64; 3] {
        let rest = (1.0 - self.dark - self.light).max(0.0);
        std::array::from_fn(|i| {
            self.colour[i] * (rest + DARK * self.dark) + self.light_colour[i] * self.light
        })
    }

    /// Puts the hairs among the texels; their first one.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> u32 {
        let first = texels.len() as u32;
        let seed = seed.wrapping_mul(0x85eb) & 0xff_ffff;
        let mean_mm = 0.5 * (self.length_mm[0] + self.length_mm[1]);
        // Bends as long as the fibres, steep enough to turn them; what bends is longer than its cell.
        let bend_mm = 0.9 * mean_mm;
        let steep = 0.45 * self.curl.min(2.5);
        let stretch = (1.0 + 2.0 * (NOISE_SLOPE * steep).powi(2)).sqrt();
        let length_mm = self.length_mm.map(|length| length / stretch);
        let cell_mm = 1.08 * length_mm[1];
        let [least, most] = LAYERS;
        let width_mm = WIDEST_CELL_MM.min(most * FULLEST / (self.per_sqmm * cell_mm).max(1e-6));
        let wanted = self.per_sqmm * cell_mm * width_mm;
        let layers = (wanted / FULLEST).ceil().clamp(least, most);
        let colour = |rgb: [f64; 3], last: f64| [rgb[0], rgb[1], rgb[2], last].map(|v| v as f32);
        texels.extend([
            [
                layers as f32,
                seed as f32,
                (0.5 * self.width_mm) as f32,
                self.cover() as f32,
            ],
            [
                length_mm[0] as f32,
                length_mm[1] as f32,
                self.height_mm[0] as f32,
                self.height_mm[1] as f32,
            ],
            colour(self.colour, self.dark),
            colour(self.light_colour, self.light),
            colour(self.mean_colour(), 1.0 / bend_mm),
            [
                (1.0 / cell_mm) as f32,
                (1.0 / width_mm) as f32,
                (wanted / layers) as f32,
                cell_mm as f32,
            ],
        ]);
        for layer in 0..layers as u32 {
            // Directions stand evenly in the spread, in an order that puts unlike ones together.
            let place = (f64::from(layer) * 0.618_033_988_75 + 0.31).fract();
            let angle = self.direction_rad + self.spread_rad * normal_quantile(place);
            let turn = std::f64::consts::TAU * (f64::from(layer) * 0.381_966 + 0.1);
            let bend = steep * bend_mm;
            texels.push(
                [
                    angle.cos(),
                    angle.sin(),
                    bend * turn.cos(),
                    bend * turn.sin(),
                ]
                .map(|v| v as f32),
            );
        }
        first
    }
}

/// Where the share `p` of a normal distribution lies below, to 0.02: Tukey's lambda, 0.14
/// (from memory).
fn normal_quantile(p: f64) -> f64 {
    const LAMBDA: f64 = 0.135;
    let p = p.clamp(0.001, 0.999);
    (p.powf(LAMBDA) - (1.0 - p).powf(LAMBDA)) / 0.1975
}
