//! A take: a setup metered, balanced and exposed, ready to be rendered.

use super::balance::{Balanced, OutOfReach, balance, exposure_amounts};
use super::edge::{Edge, edge_and_curve};
use super::gather::{GatherGoal, Gathered, weights};
use super::readings::{PointReading, Ratio, evenness, ratios, read_point};
use crate::photometry::colour::light::{LightKind, linear_srgb_of_light, luminance};
use crate::photometry::exposure::Development;
use crate::photometry::fnumber::FNumber;
use crate::render::bounce;
use crate::render::executor::{Executor, ExecutorError};
use crate::scene::models::Models;
use crate::scene::studio::{Studio, StudioError};
use crate::setup::{Aperture, MeterPoint, Setup, WhiteBalance};
use std::sync::atomic::AtomicBool;

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
        // Before anything is solved every light counts the same; the choice among lights at deeper
        // places does not bias what is read.
        let rough: Vec<[f64; 3]> = studio.light_rgb.clone();
        studio.scene.set_mix(&rough);
        let mix = |gathered: &Gathered| match balance(&setup, &studio, gathered) {
            Ok(balanced) => weights(&studio, &exposure_amounts(&setup, &balanced)),
            Err(_) => rough.clone(),
        };
        let gathered = Gathered::gather(executor, &studio.scene, goal, mix, stop)?;
        let mix = Mix::new(&setup, &studio, &gathered)?;
        let edges = edges_of(&setup, &studio);
        studio.set_aperture(&setup, mix.f_number);
        studio.scene.set_mix(&mix.weights);
        Ok(Self {
            setup,
            studio,
            gathered,
            balanced: mix.balanced,
            points: mix.points,
            expose_at: mix.expose_at,
            ratios: mix.ratios,
            evenness_stops: mix.evenness_stops,
            edges,
            f_number: mix.f_number,
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
    pub fn new(setup: &Setup, studio: &Studio, gathered: &Gathered) -> Result<Self, TakeError> {
        let balanced = balance(setup, studio, gathered)?;
        let amounts = exposure_amounts(setup, &balanced);
        let weights = weights(studio, &amounts);
        let read = |m: &MeterPoint| {
            let index = studio.meter(m).unwrap_or_default();
            read_point(setup, studio, gathered, &balanced, index)
        };
        let points: Vec<PointReading> = setup.meter.points.iter().map(read).collect();
        let expose_at = read(&setup.meter.expose_at);
        let f_number = match setup.camera.f_number {
            Aperture::Set(n) => n,
            Aperture::AsMetered => expose_at
                .together
                .f_number
                .map(FNumber::value)
                .ok_or_else(|| TakeError::Dark(setup.meter.expose_at.name.clone()))?,
        };
        let card = gathered.colour(
            studio.meter(&setup.meter.expose_at).unwrap_or_default(),
            &weights,
        );
        Ok(Self {
            ratios: ratios(setup, &expose_at),
            evenness_stops: evenness(&points),
            development: development(setup, f_number, card),
            balanced,
            points,
            expose_at,
            f_number,
            weights,
        })
    }
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
            weights: self.weights.clone(),
            development: self.development,
        }
    }

    /// Takes up light gathered anew, such as longer.
    ///
    /// # Errors
    /// As [`Mix::new`]; nothing has changed then.
    pub fn remix(&mut self, gathered: Gathered) -> Result<(), TakeError> {
        let mix = Mix::new(&self.setup, &self.studio, &gathered)?;
        self.gathered = gathered;
        self.balanced = mix.balanced;
        self.points = mix.points;
        self.expose_at = mix.expose_at;
        self.ratios = mix.ratios;
        self.evenness_stops = mix.evenness_stops;
        self.f_number = mix.f_number;
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

fn edges_of(setup: &Setup, studio: &Studio) -> Vec<EdgeReading> {
    let mut edges = Vec::new();
    let m = &setup.meter.expose_at;
    for (layer, light) in setup.lights.iter().enumerate().filter(|(_, l)| l.on) {
        let found = edge_and_curve(&studio.scene, layer as u32, m.position_m);
        edges.extend(found.map(|(edge, course)| EdgeReading {
            point: m.name.clone(),
            light: light.name.clone(),
            edge,
            course,
        }));
    }
    edges
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
