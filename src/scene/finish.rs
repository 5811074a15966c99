//! The stand-in's surfaces: painted coats, skin, eyes and hair, as shaders/core reads them
//! (paint.wgsl, skin.wgsl, eye.wgsl, strand.wgsl list the texels).

use super::kernels::Kernels;
use super::materials::{Lobe, colour, tabulate};
use super::records::*;
use naga_rust_rt::Vec3 as KernelVec3;
use rayon::prelude::*;

/// A dielectric coat over a painted base: shoes, buttons, lacquer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Painted {
    /// Reflectance of the base where the mesh is not painted.
    pub base: [f32; 3],
    /// Gloss where the mesh is not painted, 0 to 1.
    pub gloss: f32,
    /// GGX roughness at gloss 0, 0.02 to 1.
    pub matt_alpha: f32,
    /// GGX roughness at gloss 1, 0.02 to 1.
    pub glossy_alpha: f32,
    /// Refractive index of the coat, above 1.
    pub eta: f32,
}

impl Default for Painted {
    /// Leather as shoes are made of (common practice).
    fn default() -> Self {
        Self {
            base: [0.03, 0.03, 0.032],
            gloss: 0.7,
            matt_alpha: 0.4,
            glossy_alpha: 0.08,
            eta: 1.5,
        }
    }
}

/// Skin: an oily coat with fine relief, over a base under which light spreads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Skin {
    /// Reflectance of the base where the mesh is not painted.
    pub base: [f32; 3],
    /// Oiliness where the mesh is not painted, 0 to 1.
    pub gloss: f32,
    /// GGX roughness of dry skin.
    pub matt_alpha: f32,
    /// GGX roughness of oily skin.
    pub glossy_alpha: f32,
    /// Refractive index: 1.4 (Jensen et al. 2001 take 1.3, others to 1.45).
    pub eta: f32,
    /// How far light spreads, by channel: the d of Christensen and Burley 2015, mm. The distance's root
    /// mean square is 3.74 of it.
    pub reach_mm: [f32; 3],
    /// Height of the relief over that of a grown person's face.
    pub relief: f32,
}

impl Default for Skin {
    /// Light skin. Its reach has the root mean square distances, 1.66, 0.37 and 0.22 mm, of the six Gaussians
    /// that d'Eon and Luebke, "Advanced Techniques for Realistic Real-Time Skin Rendering", GPU
    /// Gems 3, 2007, fitted to a three-layered skin (from memory).
    fn default() -> Self {
        Self {
            base: [0.58, 0.385, 0.29],
            gloss: 0.25,
            matt_alpha: 0.42,
            glossy_alpha: 0.22,
            eta: 1.4,
            reach_mm: [0.444, 0.099, 0.060],
            relief: 1.0,
        }
    }
}

/// An eyeball. The mesh's shape is the globe with its cornea, about `centre_m`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Eye {
    /// Middle of the globe in the room, metres.
    pub centre_m: [f32; 3],
    /// Unit, where it looks.
    pub gaze: [f32; 3],
    /// Unit, across the gaze, toward the brow.
    pub up: [f32; 3],
    /// Size over that of an average eye, whose globe has a radius of 12.3 mm.
    pub scale: f32,
    /// Reflectance of the white where the mesh is not painted.
    pub white: [f32; 3],
    /// Reflectance of the iris.
    pub iris: [f32; 3],
    /// Reflectance of the iris about the pupil.
    pub iris_inner: [f32; 3],
    /// Radius of the pupil, mm.
    pub pupil_mm: f32,
    /// Radius of the iris, mm.
    pub iris_mm: f32,
    /// Numbers the pattern of the iris's fibres, below 2^16.
    pub pattern: u32,
}

impl Default for Eye {
    /// Hazel, looking along +z from the origin.
    fn default() -> Self {
        Self {
            centre_m: [0.0; 3],
            gaze: [0.0, 0.0, 1.0],
            up: [0.0, 1.0, 0.0],
            scale: 1.0,
            white: [0.62, 0.585, 0.55],
            iris: [0.150, 0.110, 0.060],
            iris_inner: [0.210, 0.120, 0.045],
            pupil_mm: 2.0,
            iris_mm: 6.0,
            pattern: 7,
        }
    }
}

/// Hair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hair {
    /// Colour of much hair together, linear, where the mesh is not painted.
    pub colour: [f32; 3],
    /// Longitudinal roughness, 0.05 to 1.
    pub rough_along: f32,
    /// Azimuthal roughness, 0.05 to 1.
    pub rough_around: f32,
    /// Tilt of the cuticle's scales, degrees.
    pub tilt_deg: f32,
    /// Refractive index: 1.55 (Marschner et al. 2003).
    pub eta: f32,
    /// Fibres side by side that a ribbon stands for.
    pub fibres: f32,
    /// Standard deviation of the fibres' directions within a ribbon, degrees, where all of it is seen at once.
    pub spread_deg: f32,
    /// By how much a ribbon seen so widens what goes through it, a standard deviation along the strand, degrees.
    pub through_deg: f32,
}

impl Default for Hair {
    /// Brown. A fibre's first highlight has a standard deviation of 6.7 degrees along the strand, of the 5 to 10 that
    /// Marschner et al. 2003 measured. The spread within a ribbon is small, since ribbons have one among themselves;
    /// what goes through is wider than a fibre's own, against sparks (both chosen here, by eye and by noise).
    fn default() -> Self {
        Self {
            colour: [0.06, 0.035, 0.022],
            rough_along: 0.14,
            rough_around: 0.34,
            tilt_deg: 3.0,
            eta: 1.55,
            fibres: 1.0,
            spread_deg: 2.0,
            through_deg: 11.0,
        }
    }
}

/// Step of GGX roughness from one table of a coat's albedo to the next; between two the albedo differs by
/// 0.4 % of the light at most.
const ALPHA_STEP: f32 = 0.04;

impl Painted {
    pub(super) fn fill(&self, m: &mut Material, texels: &mut Vec<[f32; 4]>) {
        m.top = TOP_PAINTED.0;
        self.coat(m, texels, 0.0, 0.0);
    }

    /// The coat's rows. `special` is the texel of what skin or an eye adds, `blur` the most variance of
    /// slopes that may widen its lobe.
    fn coat(&self, m: &mut Material, texels: &mut Vec<[f32; 4]>, special: f32, blur: f32) {
        m.base = colour(self.base);
        m.eta = self.eta;
        let top = m.top;
        m.top = TOP_COAT.0;
        let low = self.matt_alpha.min(self.glossy_alpha);
        let wide = self.matt_alpha.max(self.glossy_alpha);
        let high = (wide * wide + 2.0 * blur).sqrt().min(1.0);
        let last = ((high - low) / ALPHA_STEP).ceil();
        let step = if last > 0.0 { (high - low) / last } else { 1.0 };
        let first = texels.len();
        texels.push([self.matt_alpha, self.glossy_alpha, low, step]);
        texels.push([special, last, self.gloss, blur]);
        // As of any coat (surface.wgsl).
        let inside = 1.0 / (self.eta * self.eta);
        let rows: Vec<Vec<[f32; 4]>> = (0..=last as u32)
            .into_par_iter()
            .map(|i| {
                let mut of = *m;
                of.alpha = low + step * i as f32;
                let mut row = vec![[0.0; 4]];
                let mean = tabulate(&mut of, &mut row, 1.0);
                row[0] = [inside, 1.0 - (1.0 - mean) * inside, 0.0, 0.0];
                row
            })
            .collect();
        m.alpha = low + step * last;
        texels.extend(rows.into_iter().flatten());
        m.top = top;
        m.albedo_table = first as u32;
    }
}

impl Skin {
    pub(super) fn fill(&self, m: &mut Material, texels: &mut Vec<[f32; 4]>) {
        m.top = TOP_SKIN.0;
        let d = self.reach_mm.map(f64::from);
        let farthest = FARTHEST * d.into_iter().fold(0.0, f64::max);
        let special = texels.len() as f32;
        texels.push([d[0] as f32, d[1] as f32, d[2] as f32, farthest as f32]);
        texels.push([self.relief, 0.0, 0.0, 0.0]);
        let radii = radii_mm(d, farthest);
        texels.extend(radii.chunks(4).map(|c| [c[0], c[1], c[2], c[3]]));
        let coat = Painted {
            base: self.base,
            gloss: self.gloss,
            matt_alpha: self.matt_alpha,
            glossy_alpha: self.glossy_alpha,
            eta: self.eta,
        };
        coat.coat(
            m,
            texels,
            special,
            self.relief * self.relief * relief_variance(),
        );
    }
}

/// Farthest that light is followed under the skin, over the longest reach: half a per cent of that channel's
/// light goes farther.
const FARTHEST: f64 = 15.0;

/// Distances at even shares of the light of all three channels together, up to the farthest: the inverse
/// of the mean of 1 - exp(-r/d)/4 - 3 exp(-r/3d)/4 (Christensen and Burley 2015).
fn radii_mm(reach_mm: [f64; 3], farthest_mm: f64) -> Vec<f32> {
    let within = |r: f64| -> f64 {
        reach_mm
            .iter()
            .map(|d| 1.0 - 0.25 * (-r / d).exp() - 0.75 * (-r / (3.0 * d)).exp())
            .sum::<f64>()
            / 3.0
    };
    let last = f64::from(RADII.0 - 1);
    (0..RADII.0)
        .map(|i| {
            let share = within(farthest_mm) * f64::from(i) / last;
            let (mut low, mut high) = (0.0, farthest_mm);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if within(middle) < share {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            (0.5 * (low + high)) as f32
        })
        .collect()
}

/// Variance of the slopes that skin's relief has along any line on it, from the kernels' own relief.
fn relief_variance() -> f32 {
    const PLACES: u32 = 4096;
    // Steps that share no period with the cells (Roberts' sequence; R. Martin, 2018).
    let step = [0.819_172_5, 0.671_043_6, 0.549_700_5];
    let sum: f32 = (0..PLACES)
        .map(|i| {
            let [x, y, z] = step.map(|s| i as f32 * s);
            let slope = Lobe.skin_slope(KernelVec3 { x, y, z });
            // A third of the gradient's square lies along any axis.
            slope.dot(slope).0 / 3.0
        })
        .sum();
    sum / PLACES as f32
}

impl Eye {
    pub(super) fn fill(&self, m: &mut Material, texels: &mut Vec<[f32; 4]>) {
        m.top = TOP_EYE.0;
        let special = texels.len() as f32;
        let row = |v: [f32; 3], w: f32| [v[0], v[1], v[2], w];
        texels.extend([
            row(self.centre_m, 0.001 * self.scale),
            row(self.gaze, self.pupil_mm),
            row(self.up, self.iris_mm),
            row(self.iris, self.pattern as f32),
            row(self.iris_inner, 0.0),
        ]);
        // The tear film makes the cornea smooth; its index, 1.376, is the cornea's (Gullstrand 1909).
        let coat = Painted {
            base: self.white,
            gloss: 1.0,
            matt_alpha: 0.06,
            glossy_alpha: 0.03,
            eta: 1.376,
        };
        coat.coat(m, texels, special, 0.0);
    }
}

impl Hair {
    pub(super) fn fill(&self, m: &mut Material, texels: &mut Vec<[f32; 4]>) {
        m.top = TOP_HAIR.0;
        m.base = colour(self.colour);
        // Light reaches it from all sides.
        m.through = colour([1.0; 3]);
        m.eta = self.eta;
        let (along, around) = (f64::from(self.rough_along), f64::from(self.rough_around));
        // Chiang et al. 2016, equations 7 and 8.
        let variance =
            (0.726 * along + 0.812 * along * along + 3.7 * along.powi(20)).powi(2) as f32;
        let scale = (std::f64::consts::PI / 8.0).sqrt()
            * (0.265 * around + 1.194 * around * around + 5.372 * around.powi(22));
        let held = (0.5 * std::f64::consts::PI / scale).tanh();
        let tilt = self.tilt_deg.to_radians();
        let one = tilt.sin_cos();
        let two = (2.0 * tilt).sin_cos();
        let four = (4.0 * tilt).sin_cos();
        // Light is turned twice as far as a fibre is.
        let spread = (2.0 * self.spread_deg).to_radians().powi(2);
        let through = self.through_deg.to_radians().powi(2);
        m.albedo_table = texels.len() as u32;
        let [r, g, b, _] = self.absorption(self.colour);
        texels.extend([
            [variance, 0.25 * variance, 4.0 * variance, self.fibres],
            [
                scale as f32,
                (1.0 / held) as f32,
                self.eta,
                self.dye_scale() as f32,
            ],
            [one.0, one.1, two.0, two.1],
            [four.0, four.1, spread, through],
            [r, g, b, 0.0],
        ]);
    }

    /// Absorption over a fibre's radius of hair that has this colour together (Chiang et al. 2016,
    /// equation 9), as the kernels read it.
    pub(super) fn absorption(&self, colour: [f32; 3]) -> [f32; 4] {
        let k = self.dye_scale();
        let [r, g, b] = colour.map(|c| {
            let c = f64::from(c).clamp(1e-4, 1.0);
            (c.ln() / k).powi(2) as f32
        });
        [r, g, b, 0.0]
    }

    fn dye_scale(&self) -> f64 {
        let b = f64::from(self.rough_around);
        5.969 - 0.215 * b + 2.532 * b * b - 10.73 * b.powi(3)
            + 5.574 * b.powi(4)
            + 0.245 * b.powi(5)
    }
}
