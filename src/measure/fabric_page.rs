//! What a cloth is, and what light makes of it: the figures of a fabric's data page.
//!
//! Construction follows from counts and setts alone (`fabric::construction`); its face is looked at
//! through the kernels (`scene::cloth`); contrast is read from pictures under the two reference
//! lights ([`super::swatch_view`]), so that cloths compare.

mod draft_of;
mod facts;
mod moire_of;

pub use draft_of::{draft_of, drawn_draft};
pub use facts::{Dimension, KnitFacts, SystemFacts, WovenFacts, structure_word, weave_word};
pub use moire_of::{MoireFacts, Worst};

use super::swatch_view::{Reference, SwatchError, SwatchShot, SwatchView, shoot};
use super::weave_contrast::{ContrastError, Luminance, highlights, weave_contrast};
use crate::fabric::{Behind, Fabric, FabricError, Shading, Structure};
use crate::render::driver::{Goal, Progress};
use crate::render::executor::{Executor, ExecutorError};
use crate::scene::cloth::{Dye, Shelf, Survey};
use crate::setup::Lay;
use serde::Serialize;
use std::sync::atomic::AtomicBool;

/// Side of the piece that contrast is read from.
pub const READ_MM: f64 = super::weave_contrast::WEAVE_SIDE_MM;
/// Pixels to a millimetre of it.
pub const READ_PIXELS_PER_MM: f64 = 20.0;
/// The one reflectance of all threads that relief is read in.
pub const RELIEF_REFLECTANCE: f32 = 0.4;
/// What a sheer is read over.
pub const GROUND_REFLECTANCE: f64 = 0.05;
/// Width of the broad pictures.
pub const BROAD_MM: f64 = 100.0;
/// Widths that a thread view has.
const CLOSE_MM: [f64; 3] = [10.0, 20.0, 40.0];
/// Threads, loops or pebbles that it should show at least.
const SHOWN: f64 = 9.0;
/// Mean float from which a cloth is shown in folds: its shine is what it is bought for.
const SATIN_FLOAT: f64 = 2.5;

/// A fabric's data page.
#[derive(Debug, Clone, Serialize)]
pub struct FabricPage {
    /// Its name.
    pub fabric: String,
    /// What its file calls it.
    pub title: String,
    /// How it is put together: its table in the file.
    pub structure: &'static str,
    /// Of a woven cloth.
    pub woven: Option<WovenFacts>,
    /// Of a knit.
    pub knit: Option<KnitFacts>,
    /// Of all others: what a rule would measure.
    pub dimensions: Vec<Dimension>,
    /// Its face.
    pub face: FaceFacts,
    /// What the two reference lights make of it, raking first.
    pub light: Vec<UnderLight>,
    /// What the figures are stated for.
    pub geometry: Geometry,
    /// Whether its threads beat with pixels.
    pub moire: Option<MoireFacts>,
    /// Why it could not be woven, and what is doubtful in its maps.
    pub warnings: Vec<String>,
}

/// What the figures are stated for.
#[allow(missing_docs)] // a name with its unit says all
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Geometry {
    pub read_mm: f64,
    pub pixels_per_mm: f64,
    pub samples: u32,
    pub relief_reflectance: f32,
    /// What a sheer was laid over for its figures.
    pub over_ground: Option<f64>,
}

/// What the face of a cloth is made of, by looking at it in thousands of places.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FaceFacts {
    /// Share of the cloth that is no gap.
    pub cover: f64,
    /// Mean reflectance of its threads, linear sRGB.
    pub reflectance_rgb: [f64; 3],
    /// The luminance of that.
    pub reflectance: f64,
    /// Share of the face that is warp, of a woven cloth.
    pub warp_share: Option<f64>,
    /// Share that is weft.
    pub weft_share: Option<f64>,
}

/// A cloth under one of the reference lights.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct UnderLight {
    /// Its word.
    pub light: &'static str,
    /// Weave contrast of all threads in one reflectance: what the light does.
    pub relief: Contrast,
    /// The same in its own colours: what is seen.
    pub as_dyed: Contrast,
    /// As light as a card of this reflectance: the median over the piece.
    pub like_a_card_of: f64,
    /// Share more than 1.5 stops above that.
    pub highlight_share: f64,
    /// Share that is white where a card of 18 % is exposed right: a luminance of 1.
    pub clipped_share: f64,
}

/// A weave contrast.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Contrast {
    /// Standard deviation over mean, noise taken off.
    pub rms: f64,
    /// Its standard error, from the picture's noise alone.
    pub standard_error: f64,
    /// Between the 1st and the 99th percentile.
    pub michelson: f64,
}

/// What looks at the cloth.
pub struct Looking<'a> {
    /// Traces the light.
    pub executor: &'a mut dyn Executor,
    /// Where the cloth is known from.
    pub shelf: &'a Shelf,
    /// Samples a pixel.
    pub samples: u32,
    /// Ends it early.
    pub stop: &'a AtomicBool,
    /// Told what is being looked at, and how far that is.
    pub told: &'a mut dyn FnMut(&str, &Progress),
}

/// A picture of the page.
#[derive(Debug, Clone)]
pub struct Pictured {
    /// Under which light.
    pub light: Reference,
    /// How the cloth lies.
    pub lay: Lay,
    /// Width and height of cloth.
    pub width_mm: f64,
    /// Linear light.
    pub shot: SwatchShot,
}

/// Why there is no page.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    /// The cloth cannot be made.
    #[error(transparent)]
    Fabric(#[from] FabricError),
    /// Tracing failed.
    #[error(transparent)]
    Executor(#[from] ExecutorError),
    /// A picture without contrast.
    #[error(transparent)]
    Contrast(#[from] ContrastError),
}

impl From<SwatchError> for PageError {
    fn from(error: SwatchError) -> Self {
        match error {
            SwatchError::Fabric(e) => Self::Fabric(e),
            SwatchError::Executor(e) => Self::Executor(e),
        }
    }
}

/// Works out the page of a fabric of this name.
///
/// # Errors
/// [`PageError`] says what stands in the way.
pub fn fabric_page(
    name: &str,
    fabric: &Fabric,
    looking: &mut Looking<'_>,
) -> Result<FabricPage, PageError> {
    let survey = survey(fabric, looking.shelf)?;
    // Gaps that show a card's edge would count as contrast of the weave.
    let over_ground = fabric.behind.sheer.then_some(GROUND_REFLECTANCE);
    let read = match over_ground {
        Some(ground) => &Fabric {
            behind: Behind {
                sheer: false,
                colour: [ground; 3],
                ..fabric.behind
            },
            ..fabric.clone()
        },
        None => fabric,
    };
    let light = Reference::NAMED
        .iter()
        .map(|(_, light)| under(read, *light, looking))
        .collect::<Result<Vec<UnderLight>, PageError>>()?;
    let (woven, knit) = (facts::woven(fabric)?, facts::knit(fabric)?);
    let is_woven = woven.is_some();
    let [r, g, b] = survey.mean_colour;
    Ok(FabricPage {
        fabric: name.to_owned(),
        title: fabric.title.clone(),
        structure: structure_word(&fabric.structure),
        dimensions: facts::dimensions(fabric)?,
        face: FaceFacts {
            cover: survey.cover,
            reflectance_rgb: survey.mean_colour,
            reflectance: 0.212_639 * r + 0.715_169 * g + 0.072_192 * b,
            warp_share: is_woven.then(|| survey.warp.share / survey.cover.max(1e-9)),
            weft_share: is_woven.then(|| survey.weft.share / survey.cover.max(1e-9)),
        },
        geometry: Geometry {
            read_mm: READ_MM,
            pixels_per_mm: READ_PIXELS_PER_MM,
            samples: looking.samples,
            relief_reflectance: RELIEF_REFLECTANCE,
            over_ground,
        },
        moire: moire_of::moire_of(fabric, &light[0])?,
        warnings: facts::warnings(fabric)?,
        woven,
        knit,
        light,
    })
}

/// Raking and soft, close by and from afar, as the page shows them: square, so many pixels a side.
///
/// # Errors
/// [`PageError`] says what stands in the way.
pub fn pictures(
    fabric: &Fabric,
    pixels: u32,
    looking: &mut Looking<'_>,
) -> Result<Vec<Pictured>, PageError> {
    let close = (close_mm(fabric)?, Lay::Flat);
    let broad = (BROAD_MM, broad_lay(fabric));
    let mut made = Vec::new();
    for (width_mm, lay) in [close, broad] {
        for (word, light) in Reference::NAMED {
            let view = SwatchView {
                width_m: 1e-3 * width_mm,
                pixels: [pixels; 2],
                lay,
                light,
                dye: Dye::Own,
                goal: goal(looking.samples),
            };
            let told = &mut *looking.told;
            let said = format!("{word} light, {width_mm} mm");
            let shot = shoot(
                fabric,
                looking.shelf,
                &view,
                looking.executor,
                looking.stop,
                |now| {
                    told(&said, now);
                },
            )?;
            made.push(Pictured {
                light,
                lay,
                width_mm,
                shot,
            });
        }
    }
    Ok(made)
}

/// Width of cloth at which its threads, loops or grain are seen apart.
///
/// # Errors
/// A cloth that cannot be made.
pub fn close_mm(fabric: &Fabric) -> Result<f64, FabricError> {
    let mut texels = Vec::new();
    let pitch_mm = f64::from(fabric.structure.pack(fabric.seed, &mut texels)?.pitch_mm);
    let fits = |width: &f64| *width >= SHOWN * pitch_mm;
    Ok(CLOSE_MM.into_iter().find(fits).unwrap_or(CLOSE_MM[2]))
}

/// Piles and satins are shown in folds, which their shine is all about; others flat.
pub fn broad_lay(fabric: &Fabric) -> Lay {
    use crate::fabric::draft::Yarn;
    let satin = match &fabric.structure {
        Structure::Woven(cloth) => {
            let mean = |system| cloth.drafted.drawdown.floats(system).mean;
            let float = mean(Yarn::Warp).max(mean(Yarn::Weft));
            float.is_finite() && float >= SATIN_FLOAT
        }
        _ => false,
    };
    match satin || fabric.structure.shading() == Shading::Pile {
        true => Lay::Draped,
        false => Lay::Flat,
    }
}

fn survey(fabric: &Fabric, shelf: &Shelf) -> Result<Survey, FabricError> {
    Ok(shelf.add(fabric, Dye::Own, &mut Vec::new())?.survey)
}

fn goal(samples: u32) -> Goal {
    Goal {
        samples,
        relative_error: None,
    }
}

fn under(
    fabric: &Fabric,
    light: Reference,
    looking: &mut Looking<'_>,
) -> Result<UnderLight, PageError> {
    let mut look = |dye: Dye, what: &str| {
        let view = SwatchView {
            width_m: 1e-3 * READ_MM,
            pixels: [(READ_MM * READ_PIXELS_PER_MM) as u32; 2],
            lay: Lay::Flat,
            light,
            dye,
            goal: goal(looking.samples),
        };
        let told = &mut *looking.told;
        let said = format!("{} light, {what}", light.word());
        shoot(
            fabric,
            looking.shelf,
            &view,
            looking.executor,
            looking.stop,
            |now| {
                told(&said, now);
            },
        )
    };
    let relief = look(Dye::One(RELIEF_REFLECTANCE), "all in one colour")?;
    let own = look(Dye::Own, "in its colours")?;
    let found = highlights(&luminance(&own), 1.0)?;
    Ok(UnderLight {
        light: light.word(),
        relief: contrast(&relief)?,
        as_dyed: contrast(&own)?,
        like_a_card_of: found.median,
        highlight_share: found.highlight_share,
        clipped_share: found.clipped_share,
    })
}

fn contrast(shot: &SwatchShot) -> Result<Contrast, ContrastError> {
    let found = weave_contrast(&luminance(shot))?;
    let (rms, standard_error) = match found.rms_without_noise {
        Some(c) => (c.value, c.standard_error),
        None => (found.rms, 0.0),
    };
    Ok(Contrast {
        rms,
        standard_error,
        michelson: found.michelson,
    })
}

fn luminance(shot: &SwatchShot) -> Luminance<'_> {
    Luminance {
        width: shot.width,
        height: shot.height,
        mm_per_px: shot.mm_per_px,
        values: &shot.luminance,
        standard_errors: Some(&shot.errors),
        inside: None,
    }
}
