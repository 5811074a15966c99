//! A take: a setup metered, balanced and exposed, ready to be rendered.

use super::balance::{Balanced, OutOfReach, balance, exposure_amounts};
use super::edge::{Edge, edge_and_curve};
use super::gather::{GatherGoal, Gathered, weights};
use super::readings::{PointReading, Ratio, evenness, ratios, read_point};
use crate::photometry::colour::light::{LightKind, linear_srgb_of_light, luminance};
use crate::photometry::exposure::Development;
use crate::photometry::fnumber::FNumber;
use crate::render::bounce;
use crate::render::driver::Goal;
use crate::render::executor::{Executor, ExecutorError};
use crate::scene::Scene;
use crate::scene::models::Models;
use crate::scene::studio::{Studio, StudioError, light_rgb};
use crate::setup::{Aperture, MeterPoint, Setup, WhiteBalance};
use rayon::prelude::*;
use std::sync::atomic::AtomicBool;

/// About what a usual noise goal takes.
const SAMPLES_OF_A_NOISE_GOAL: u32 = 64;

/// All that is known before the picture is rendered.
#[derive(Debug)]
pub struct Take {
    /// The setup.
    pub setup: Setup,
    /// Its scene, with the lens opened and the mix set.
    pub studio: Studio,
    /// Light at its meters, per unit of each light.
    pub gathered: Gathered,
    /// What each light gives.
    pub balanced: Vec<Balanced>,
    /// Readings at the setup's points.
    pub points: Vec<PointReading>,
    /// The reading that exposes.
    pub expose_at: PointReading,
    /// Ratios there.
    pub ratios: Vec<Ratio>,
    /// Face to hem, in stops.
    pub evenness_stops: Option<f64>,
    /// For each point and light that is on: the shadow edge.
    pub edges: Vec<EdgeReading>,
    /// The camera's f-number.
    pub f_number: f64,
    /// Light on a grey card where the exposure is read, linear sRGB.
    pub card_rgb: [f64; 3],
    /// Weight of each layer: colour times exposure amount.
    pub weights: Vec<[f64; 3]>,
    /// From luminance exposure to display values.
    pub development: Development,
}

/// The shadow edge of a light at a point.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeReading {
    /// The point's name.
    pub point: String,
    /// The light's name.
    pub light: String,
    /// Its edge.
    pub edge: Edge,
    /// How the light rises across it where it is softest: mm across, and share of the light.
    pub course: Vec<[f64; 2]>,
}

/// Whose exposure a take is developed at.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum Expose {
    /// The setup's own.
    #[default]
    Own,
    /// Another take's f-number and grey card, where the setup asks for what it meters; its own ISO.
    Held {
        /// The other's f-number.
        f_number: f64,
        /// The other's [`Take::card_rgb`].
        card_rgb: [f64; 3],
    },
    /// Just as another take, whatever the setup says.
    Like {
        /// The other's f-number.
        f_number: f64,
        /// The other's development.
        development: Development,
    },
}

/// Why there is no take.
#[derive(Debug, thiserror::Error)]
pub enum TakeError {
    /// The scene cannot be built.
    #[error(transparent)]
    Studio(#[from] StudioError),
    /// A target cannot be met.
    #[error(transparent)]
    OutOfReach(#[from] OutOfReach),
    /// Tracing failed.
    #[error(transparent)]
    Executor(#[from] ExecutorError),
    /// No light where the exposure is read.
    #[error(
        "there is no light to read at \"{0}\", so \"as metered\" gives no exposure; light it, or set camera.f_number"
    )]
    Dark(String),
}

impl Take {
    /// Builds, meters, balances and exposes a setup.
    ///
    /// # Errors
    /// [`TakeError`] says what stands in the way and what to change.
    pub fn new(
        setup: Setup,
        models: &Models,
        executor: &mut dyn Executor,
        goal: GatherGoal,
        stop: &AtomicBool,
    ) -> Result<Self, TakeError> {
        let mut studio = Studio::build(&setup, models)?;
        let gathered = gather(&[&setup], &mut studio, executor, goal, stop)?;
        Self::of_gathered(setup, studio, &gathered, Expose::Own)
    }

    /// Balances and exposes a setup whose light was gathered before: in its own studio, or in that of a
    /// setup that differs in nothing but what its lights give, with the colours put right
    /// ([`colour_lights`]).
    ///
    /// # Errors
    /// As [`Take::new`].
    pub fn of_gathered(
        setup: Setup,
        studio: Studio,
        gathered: &Gathered,
        expose: Expose,
    ) -> Result<Self, TakeError> {
        let mut take = Self::without_edges(setup, studio, gathered, expose)?;
        take.find_edges();
        Ok(take)
    }

    /// As [`Take::of_gathered`], with the shadow edges still to be found ([`Take::find_edges`]).
    ///
    /// # Errors
    /// As [`Take::new`].
    pub fn without_edges(
        setup: Setup,
        mut studio: Studio,
        gathered: &Gathered,
        expose: Expose,
    ) -> Result<Self, TakeError> {
        let mix = Mix::new(&setup, &studio, gathered, expose)?;
        studio.set_aperture(&setup, mix.f_number);
        studio.scene.set_mix(&mix.weights);
        Ok(Self {
            setup,
            studio,
            gathered: gathered.clone(),
            balanced: mix.balanced,
            points: mix.points,
            expose_at: mix.expose_at,
            ratios: mix.ratios,
            evenness_stops: mix.evenness_stops,
            edges: Vec::new(),
            f_number: mix.f_number,
            card_rgb: mix.card_rgb,
            weights: mix.weights,
            development: mix.development,
        })
    }
}

/// What follows from gathered light once amounts, colours and switches are known. No light is traced
/// for it, so it can be worked out anew for each change of those.
#[derive(Debug, Clone)]
pub struct Mix {
    /// What each light gives.
    pub balanced: Vec<Balanced>,
    /// Readings at the setup's points.
    pub points: Vec<PointReading>,
    /// The reading that exposes.
    pub expose_at: PointReading,
    /// Ratios there.
    pub ratios: Vec<Ratio>,
    /// Face to hem, in stops.
    pub evenness_stops: Option<f64>,
    /// The camera's f-number.
    pub f_number: f64,
    /// Linear sRGB of the light where the exposure is read, as a grey card has it.
    pub card_rgb: [f64; 3],
    /// Weight of each layer: colour times exposure amount.
    pub weights: Vec<[f64; 3]>,
    /// From luminance exposure to display values.
    pub development: Development,
}

impl Mix {
    /// Balances, reads and exposes. Of the studio it uses colours and meters, not the scene.
    ///
    /// # Errors
    /// [`TakeError`] where a target is out of reach or nothing exposes.
    pub fn new(
        setup: &Setup,
        studio: &Studio,
        gathered: &Gathered,
        expose: Expose,
    ) -> Result<Self, TakeError> {
        let balanced = balance(setup, studio, gathered)?;
        let amounts = exposure_amounts(setup, &balanced);
        let weights = weights(studio, &amounts);
        let read = |m: &MeterPoint| {
            let index = studio.meter(m).unwrap_or_default();
            read_point(setup, studio, gathered, &balanced, index)
        };
        let points: Vec<PointReading> = setup.meter.points.iter().map(read).collect();
        let expose_at = read(&setup.meter.expose_at);
        let metered = expose_at.together.f_number.map(FNumber::value);
        let f_number = match (expose, setup.camera.f_number) {
            (Expose::Like { f_number, .. }, _) => f_number,
            (_, Aperture::Set(n)) => n,
            (Expose::Held { f_number, .. }, Aperture::AsMetered) => f_number,
            (Expose::Own, Aperture::AsMetered) => {
                metered.ok_or_else(|| TakeError::Dark(setup.meter.expose_at.name.clone()))?
            }
        };
        let card_rgb = gathered.colour(
            studio.meter(&setup.meter.expose_at).unwrap_or_default(),
            &weights,
        );
        let development = match expose {
            Expose::Own => development(setup, f_number, card_rgb),
            Expose::Held { card_rgb, .. } => development(setup, f_number, card_rgb),
            Expose::Like { development, .. } => development,
        };
        let (ratios, evenness_stops) = (ratios(setup, &expose_at), evenness(&points));
        Ok(Self {
            balanced,
            points,
            expose_at,
            ratios,
            evenness_stops,
            f_number,
            card_rgb,
            weights,
            development,
        })
    }
}

/// Gathers light at the meters of a studio until what every one of these setups makes of it is exact
/// enough. They may differ in what their lights give, and in nothing else.
///
/// # Errors
/// The executor's.
pub fn gather(
    setups: &[&Setup],
    studio: &mut Studio,
    executor: &mut dyn Executor,
    goal: GatherGoal,
    stop: &AtomicBool,
) -> Result<Gathered, ExecutorError> {
    // Before anything is solved every light counts the same; the choice among lights at deeper
    // places does not bias what is read.
    let rough: Vec<[f64; 3]> = studio.light_rgb.clone();
    studio.scene.set_mix(&rough);
    let mix = |gathered: &Gathered| {
        let each = setups.iter().map(|setup| mix_of(setup, studio, gathered));
        let each: Option<Vec<_>> = each.collect();
        each.and_then(|each| each.into_iter().reduce(brightest))
            .unwrap_or_else(|| rough.clone())
    };
    Gathered::gather(executor, &studio.scene, goal, mix, stop)
}

/// A setup's mix, once its targets can be solved.
fn mix_of(setup: &Setup, studio: &Studio, gathered: &Gathered) -> Option<Vec<[f64; 3]>> {
    let balanced = balance(setup, studio, gathered).ok()?;
    Some(weights(studio, &exposure_amounts(setup, &balanced)))
}

/// Of each layer the greater weight of two mixes: what both need of a film.
pub fn brightest(mut a: Vec<[f64; 3]>, b: Vec<[f64; 3]>) -> Vec<[f64; 3]> {
    for (a, b) in a.iter_mut().zip(&b) {
        *a = std::array::from_fn(|c| a[c].max(b[c]));
    }
    a
}

/// Gives a studio's lights the colours that another setup has for them.
///
/// # Errors
/// [`StudioError::Colour`] for one out of reach.
pub fn colour_lights(studio: &mut Studio, setup: &Setup) -> Result<(), StudioError> {
    studio.light_rgb = setup
        .lights
        .iter()
        .map(light_rgb)
        .collect::<Result<_, _>>()?;
    Ok(())
}

impl Take {
    /// What was made of the gathered light.
    pub fn mix(&self) -> Mix {
        Mix {
            balanced: self.balanced.clone(),
            points: self.points.clone(),
            expose_at: self.expose_at.clone(),
            ratios: self.ratios.clone(),
            evenness_stops: self.evenness_stops,
            f_number: self.f_number,
            card_rgb: self.card_rgb,
            weights: self.weights.clone(),
            development: self.development,
        }
    }

    /// Finds the shadow edges.
    pub fn find_edges(&mut self) {
        self.edges = edges_of(&self.setup, &self.studio);
    }

    /// Takes up light gathered anew, such as longer.
    ///
    /// # Errors
    /// As [`Mix::new`]; nothing has changed then.
    pub fn remix(&mut self, gathered: Gathered) -> Result<(), TakeError> {
        let mix = Mix::new(&self.setup, &self.studio, &gathered, Expose::Own)?;
        self.gathered = gathered;
        self.balanced = mix.balanced;
        self.points = mix.points;
        self.expose_at = mix.expose_at;
        self.ratios = mix.ratios;
        self.evenness_stops = mix.evenness_stops;
        self.f_number = mix.f_number;
        self.card_rgb = mix.card_rgb;
        self.weights = mix.weights;
        self.development = mix.development;
        Ok(())
    }

    /// Finds the light that leaves the set's flats, for pictures ([`bounce::fill`]). Readings are
    /// traced in full and do not use it.
    ///
    /// # Errors
    /// The executor's.
    pub fn find_bounce(
        &mut self,
        executor: &mut dyn Executor,
        stop: &AtomicBool,
        progress: impl FnMut(f64),
    ) -> Result<(), ExecutorError> {
        bounce::fill(executor, &mut self.studio.scene, stop, progress)
    }
}

/// Whether finding the set's bounced light beforehand costs less than it saves, which is about half
/// of the picture's work. The answer rests on what was asked for alone, so that the same command gives
/// the same pixels.
pub fn bounce_pays(scene: &Scene, pixels: [u32; 2], goal: Goal) -> bool {
    let cells: u64 = scene.flats.iter().map(|f| f.cells.len() as u64).sum();
    let samples = goal
        .relative_error
        .map_or(goal.samples, |_| goal.samples.min(SAMPLES_OF_A_NOISE_GOAL));
    let pixels: u64 = pixels.iter().map(|p| u64::from(*p)).product();
    pixels * u64::from(samples) > 2 * cells * u64::from(bounce::CELL_SAMPLES)
}

fn edges_of(setup: &Setup, studio: &Studio) -> Vec<EdgeReading> {
    let m = &setup.meter.expose_at;
    let lit: Vec<_> = setup
        .lights
        .iter()
        .enumerate()
        .filter(|(_, l)| l.on)
        .collect();
    lit.par_iter()
        .filter_map(|(layer, light)| {
            let (edge, course) = edge_and_curve(&studio.scene, *layer as u32, m.position_m)?;
            Some(EdgeReading {
                point: m.name.clone(),
                light: light.name.clone(),
                edge,
                course,
            })
        })
        .collect()
}

/// The convention: an 18 % card under the metered light at the metered f-number shows 0.18, so a
/// picture value is π L S / (N² C) with L in cd·s/m² and C that of the exposing receptor.
fn development(setup: &Setup, f_number: f64, card_rgb: [f64; 3]) -> Development {
    let constant = setup
        .meter
        .expose_at
        .receptor
        .constant(&setup.meter.constants);
    let gain = std::f64::consts::PI * setup.camera.iso / (f_number * f_number * constant);
    let neutral = match setup.camera.white_balance {
        WhiteBalance::GreyCard => Some(card_rgb),
        WhiteBalance::Kelvin(kelvin) => linear_srgb_of_light(kelvin, LightKind::Auto).ok(),
        WhiteBalance::None => None,
    };
    // Balanced so that what was neutral keeps its luminance.
    let balance = neutral
        .filter(|c| c.iter().all(|v| *v > 0.0))
        .map_or([1.0; 3], |c| c.map(|v| luminance(c) / v));
    Development {
        gain: balance.map(|b| (gain * b) as f32),
    }
}
