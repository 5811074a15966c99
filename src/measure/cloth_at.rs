//! A cloth at a point of a setup, under that setup's own light: the picture of a patch laid there, and
//! how much of its weave shows, beside the same under a reference light.
//!
//! Values are display-linear: 1 is white, and a card of 18 % gives 0.18 where the exposure is read.

use super::gather::Estimate;
use super::swatch_view::{Reference, SwatchError, SwatchShot, SwatchView, shoot_from, shoot_scene};
use super::take::Take;
use super::weave_contrast::{
    ContrastError, HIGHLIGHT_STOPS, Luminance, WeaveContrast, weave_contrast,
};
use crate::fabric::Fabric;
use crate::render::driver::{Goal, Progress};
use crate::render::executor::{Executor, ExecutorError};
use crate::scene::FlatRadiance;
use crate::scene::cloth::{Dye, Shelf};
use crate::scene::models::Models;
use crate::scene::patch::{ONE_REFLECTANCE, PATCH_LENS_M, Patch, PatchError, frame_at};
use crate::scene::studio::{Studio, StudioError};
use crate::setup::Lay;
use std::sync::atomic::AtomicBool;

/// Weave contrast is read from a flat patch seen this wide: the 2 cm that count, and what its smoothing
/// needs around.
const WEAVE_WIDTH_M: f64 = 0.026;
/// Side of its pixels: 0.05 mm.
const WEAVE_PIXELS: u32 = 520;
/// Samples of each: enough, since the noise is known and taken off; two passes, so that it is known.
const WEAVE_SAMPLES: u32 = 8;
/// A glance at a weave: as fine, but of the least cloth that gives a contrast with something over, and of
/// the fewest samples that tell their own error.
const GLANCE_WIDTH_M: f64 = 0.008;
const GLANCE_PIXELS: u32 = 160;
const GLANCE_SAMPLES: u32 = 2;
/// Cloth beyond what is seen, which still shades it.
const MARGIN_M: f64 = 0.02;

/// A cloth at a point.
#[derive(Clone, Copy)]
pub struct ClothAt<'a> {
    /// The metered setup.
    pub take: &'a Take,
    /// Its models.
    pub models: &'a Models,
    /// The cloth.
    pub fabric: &'a Fabric,
    /// A body point, a meter point, or "swatch".
    pub point: &'a str,
    /// Light that the set's flats are known to give; empty where paths are to be followed in full.
    pub flats: &'a [FlatRadiance],
}

/// What to show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Width of cloth in the picture.
    pub width_m: f64,
    /// Width and height of the picture.
    pub pixels: [u32; 2],
    /// How the cloth lies.
    pub lay: Lay,
    /// When it is done.
    pub goal: Goal,
}

/// How much of a weave shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeaveSeen {
    /// All in one reflectance: what the light does.
    pub relief: WeaveContrast,
    /// In its own colours.
    pub as_dyed: WeaveContrast,
    /// The scale both were read at.
    pub mm_per_px: f64,
}

/// How much of a picture is bright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bright {
    /// Share more than 1.5 stops above the median.
    pub highlight_share: Estimate,
    /// Share where a channel is at white or above.
    pub clipped_share: Estimate,
}

/// Why there is nothing to see.
#[derive(Debug, thiserror::Error)]
pub enum ClothAtError {
    /// The patch cannot be laid.
    #[error(transparent)]
    Patch(#[from] PatchError),
    /// The scene cannot be built.
    #[error(transparent)]
    Studio(#[from] StudioError),
    /// The reference cannot be made.
    #[error(transparent)]
    Swatch(#[from] SwatchError),
    /// Nothing to read contrast from.
    #[error(transparent)]
    Contrast(#[from] ContrastError),
    /// Tracing failed.
    #[error(transparent)]
    Executor(#[from] ExecutorError),
}

impl ClothAt<'_> {
    /// The picture of the patch.
    ///
    /// # Errors
    /// [`ClothAtError`].
    pub fn picture(
        &self,
        look: &Look,
        executor: &mut dyn Executor,
        stop: &AtomicBool,
        progress: impl FnMut(&Progress),
    ) -> Result<SwatchShot, ClothAtError> {
        let mut studio = self.lay(look)?;
        self.shoot(&mut studio, look, false, executor, stop, progress)
    }

    /// How much of the weave shows, of the flat cloth; `progress` is told the share done.
    ///
    /// # Errors
    /// [`ClothAtError`].
    pub fn weave(
        &self,
        executor: &mut dyn Executor,
        stop: &AtomicBool,
        progress: impl FnMut(f64),
    ) -> Result<WeaveSeen, ClothAtError> {
        self.weave_by(&WEAVE_LOOK, executor, stop, progress)
    }

    /// The same at a glance: of a few threads only, in a twentieth of the time.
    ///
    /// # Errors
    /// [`ClothAtError`].
    pub fn weave_at_a_glance(
        &self,
        executor: &mut dyn Executor,
        stop: &AtomicBool,
    ) -> Result<WeaveSeen, ClothAtError> {
        self.weave_by(&GLANCE_LOOK, executor, stop, |_| ())
    }

    fn weave_by(
        &self,
        look: &Look,
        executor: &mut dyn Executor,
        stop: &AtomicBool,
        mut progress: impl FnMut(f64),
    ) -> Result<WeaveSeen, ClothAtError> {
        let mut studio = self.lay(look)?;
        let mut read = |all_in_one: bool, executor: &mut dyn Executor| {
            let before = if all_in_one { 0.0 } else { 0.5 };
            let told = |p: &Progress| progress(before + 0.5 * p.done);
            self.shoot(&mut studio, look, all_in_one, executor, stop, told)
        };
        let relief = contrast_of(&read(true, executor)?)?;
        let as_dyed = contrast_of(&read(false, executor)?)?;
        Ok(WeaveSeen {
            relief,
            as_dyed,
            mm_per_px: WEAVE_MM_PER_PX,
        })
    }

    /// The setup with the patch in it.
    fn lay(&self, look: &Look) -> Result<Studio, ClothAtError> {
        let setup = &self.take.setup;
        let aspect = f64::from(look.pixels[1]) / f64::from(look.pixels[0].max(1));
        let size_m = [look.width_m, look.width_m * aspect].map(|s| s + 2.0 * MARGIN_M);
        let patch = Patch {
            fabric: self.fabric,
            frame: frame_at(setup, self.models, self.point, size_m)?,
            size_m,
            lay: look.lay,
            is_the_swatch: self.point == "swatch",
        };
        let mut studio = Studio::build_with(setup, self.models, Some(&patch))?;
        if !self.flats.is_empty() {
            studio.scene.set_bounce(self.flats);
        }
        studio.scene.set_mix(&self.take.weights);
        Ok(studio)
    }

    fn shoot(
        &self,
        studio: &mut Studio,
        look: &Look,
        all_in_one: bool,
        executor: &mut dyn Executor,
        stop: &AtomicBool,
        progress: impl FnMut(&Progress),
    ) -> Result<SwatchShot, ClothAtError> {
        if let Some(patch) = studio.patch {
            patch.dye(&mut studio.scene, all_in_one);
            patch.look(&mut studio.scene, look.width_m, look.pixels);
        }
        let gain = self.take.development.gain.map(f64::from);
        let shown = |w: &[f64; 3]| std::array::from_fn(|c| w[c] * gain[c]);
        let weights: Vec<[f64; 3]> = self.take.weights.iter().map(shown).collect();
        let mm_per_px = 1e3 * look.width_m / f64::from(look.pixels[0].max(1));
        Ok(shoot_scene(
            &studio.scene,
            &weights,
            mm_per_px,
            look.goal,
            executor,
            stop,
            progress,
        )?)
    }
}

const WEAVE_LOOK: Look = Look {
    width_m: WEAVE_WIDTH_M,
    pixels: [WEAVE_PIXELS; 2],
    lay: Lay::Flat,
    goal: Goal {
        samples: WEAVE_SAMPLES,
        relative_error: None,
    },
};

const GLANCE_LOOK: Look = Look {
    width_m: GLANCE_WIDTH_M,
    pixels: [GLANCE_PIXELS; 2],
    lay: Lay::Flat,
    goal: Goal {
        samples: GLANCE_SAMPLES,
        relative_error: None,
    },
};

const WEAVE_MM_PER_PX: f64 = 1e3 * WEAVE_WIDTH_M / WEAVE_PIXELS as f64;

/// The picture of the same patch under a reference light, metered flat, the lens as near.
///
/// # Errors
/// [`SwatchError`].
pub fn reference_picture(
    fabric: &Fabric,
    shelf: &Shelf,
    light: Reference,
    look: &Look,
    executor: &mut dyn Executor,
    stop: &AtomicBool,
    progress: impl FnMut(&Progress),
) -> Result<SwatchShot, SwatchError> {
    let view = reference_view(light, look, Dye::Own);
    shoot_from(PATCH_LENS_M, fabric, shelf, &view, executor, stop, progress)
}

/// How much of the weave shows under a reference light.
///
/// # Errors
/// [`ClothAtError`].
pub fn reference_weave(
    fabric: &Fabric,
    shelf: &Shelf,
    light: Reference,
    executor: &mut dyn Executor,
    stop: &AtomicBool,
    mut progress: impl FnMut(f64),
) -> Result<WeaveSeen, ClothAtError> {
    let mut read = |dye: Dye, before: f64| -> Result<WeaveContrast, ClothAtError> {
        let view = reference_view(light, &WEAVE_LOOK, dye);
        let told = |p: &Progress| progress(before + 0.5 * p.done);
        contrast_of(&shoot_from(
            PATCH_LENS_M,
            fabric,
            shelf,
            &view,
            executor,
            stop,
            told,
        )?)
    };
    Ok(WeaveSeen {
        relief: read(Dye::One(ONE_REFLECTANCE), 0.0)?,
        as_dyed: read(Dye::Own, 0.5)?,
        mm_per_px: WEAVE_MM_PER_PX,
    })
}

fn reference_view(light: Reference, look: &Look, dye: Dye) -> SwatchView {
    SwatchView {
        width_m: look.width_m,
        pixels: look.pixels,
        lay: look.lay,
        light,
        dye,
        goal: look.goal,
    }
}

fn contrast_of(shot: &SwatchShot) -> Result<WeaveContrast, ClothAtError> {
    Ok(weave_contrast(&Luminance {
        width: shot.width,
        height: shot.height,
        mm_per_px: shot.mm_per_px,
        values: &shot.luminance,
        standard_errors: Some(&shot.errors),
        inside: None,
    })?)
}

/// How much of a picture is highlight, and how much clips.
pub fn bright(shot: &SwatchShot) -> Bright {
    let mut sorted = shot.luminance.clone();
    sorted.sort_unstable_by(f32::total_cmp);
    let median = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
    let level = f64::from(median) * HIGHLIGHT_STOPS.exp2();
    let luminances = || shot.luminance.iter().zip(&shot.errors);
    let highlight = luminances().map(|(l, e)| (f64::from(*l), f64::from(*e), level));
    let clipped = luminances().zip(&shot.rgb).map(|((l, e), rgb)| {
        let most = rgb.iter().copied().fold(0.0, f32::max);
        // A channel is as exact as the luminance that it belongs to.
        let relative = if *l > 0.0 { e / l } else { 0.0 };
        (f64::from(most), f64::from(most * relative), 1.0)
    });
    Bright {
        highlight_share: share(highlight),
        clipped_share: share(clipped),
    }
}

/// Share of values above a level, from (value, its error, the level). A pixel within its error of the
/// level counts by chance, and that is the share's error.
fn share(of: impl Iterator<Item = (f64, f64, f64)>) -> Estimate {
    let (mut count, mut sum, mut variance) = (0.0, 0.0, 0.0);
    for (value, error, level) in of {
        let above = f64::from(u8::from(value >= level && level > 0.0));
        let chance = if error > 0.0 {
            // The logistic curve of the normal's variance, near enough for an error's error.
            1.0 / (1.0 + (-1.702 * (value - level) / error).exp())
        } else {
            above
        };
        sum += above;
        variance += chance * (1.0 - chance);
        count += 1.0;
    }
    let n = f64::max(count, 1.0);
    Estimate {
        value: sum / n,
        error: variance.sqrt() / n,
    }
}
