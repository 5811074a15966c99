//! Takes every state of a plan: builds, meters, balances, exposes and pictures it, with as little light
//! traced as the states ask for.

use crate::measure::balance::Balanced;
use crate::measure::gather::{GatherGoal, Gathered};
use crate::measure::readings::{PointReading, Ratio};
use crate::measure::take::{
    EdgeReading, Expose, Take, TakeError, bounce_pays, brightest, colour_lights, gather,
};
use crate::photometry::exposure::Development;
use crate::render::bounce;
use crate::render::driver::Goal;
use crate::render::even::render_evenly;
use crate::render::executor::Executor;
use crate::render::film::Film;
use crate::scene::models::Models;
use crate::scene::studio::Studio;
use crate::setup::{Aperture, LightColour, Setting, Setup};
use std::sync::atomic::{AtomicBool, Ordering};

/// BT.709 luminance.
const LUMINANCE: [f64; 3] = [0.212_639, 0.715_169, 0.072_192];

/// At which exposure the states are developed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Exposing {
    /// The f-number and white balance of the first, or those that a setup sets itself.
    #[default]
    Held,
    /// Exactly as the first, whatever the others say: for setups side by side.
    Alike,
    /// Each as it meters.
    Each,
}

/// How far to go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Goals {
    /// At meters.
    pub readings: GatherGoal,
    /// In pictures; none are made without it.
    pub pictures: Option<Goal>,
    /// Whether paths of pictures are followed in full.
    pub exact: bool,
    /// How states are exposed.
    pub exposing: Exposing,
}

/// A state taken.
#[derive(Debug, Clone)]
pub struct Made {
    /// What each light gives.
    pub balanced: Vec<Balanced>,
    /// What leaves each light's face, of what it is given.
    pub efficiency: Vec<f64>,
    /// Readings at the setup's points.
    pub points: Vec<PointReading>,
    /// The reading that exposes.
    pub expose_at: PointReading,
    /// Ratios there.
    pub ratios: Vec<Ratio>,
    /// Face to hem.
    pub evenness_stops: Option<f64>,
    /// Shadow edges there.
    pub edges: Vec<EdgeReading>,
    /// The camera's.
    pub f_number: f64,
    /// From exposure to display values.
    pub development: Development,
    /// The picture.
    pub picture: Option<Linear>,
    /// The state whose film this one's picture was mixed from: itself, where it was rendered.
    pub film_of: usize,
}

/// A developed picture before the display's curve: 1 is full value, 0.18 the metered grey card.
#[derive(Debug, Clone, PartialEq)]
pub struct Linear {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Linear sRGB, row by row from the top.
    pub rgb: Vec<[f32; 3]>,
    /// Samples to a pixel.
    pub samples: u32,
    /// Relative error at the median pixel, where it can be told.
    pub relative_error: Option<f64>,
}

/// Where a run stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Index of the state.
    pub state: usize,
    /// What is done with it.
    pub stage: Stage,
    /// Share of the whole run.
    pub share: f64,
}

/// What is done with a state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Its meters are read.
    Reading,
    /// The light that the set bounces is found.
    Bounce,
    /// Its picture is rendered.
    Picture,
}

/// Why a state cannot be taken.
#[derive(Debug, thiserror::Error)]
#[error("{source}")]
pub struct VaryError {
    /// Index of the state.
    pub state: usize,
    /// What stands in the way.
    pub source: TakeError,
}

/// Takes all of `setups`, in their order, each with the models that it may name; `None` when `stop` was set, with nothing kept.
///
/// # Errors
/// The first [`VaryError`].
pub fn run(
    setups: &[&Setup],
    models: &[&Models],
    executor: &mut dyn Executor,
    goals: Goals,
    stop: &AtomicBool,
    told: &mut dyn FnMut(&Step),
) -> Result<Option<Vec<Made>>, VaryError> {
    let mut made: Vec<Option<Made>> = setups.iter().map(|_| None).collect();
    let mut run = Run {
        setups,
        executor,
        goals,
        stop,
        told,
        held: None,
        done: 0.0,
    };
    for group in groups(setups, models) {
        let Some(of_group) = run.group(&group, models[group[0]])? else {
            return Ok(None);
        };
        for (k, one) in group.iter().zip(of_group) {
            made[*k] = Some(one);
        }
    }
    Ok(made.into_iter().collect())
}

/// States that differ in nothing but what their lights give and how the camera is exposed, by the first of
/// each, in order.
fn groups(setups: &[&Setup], models: &[&Models]) -> Vec<Vec<usize>> {
    let mut groups: Vec<(Setup, Vec<usize>)> = Vec::new();
    // A name may mean something else in another folder.
    let same = |a: usize, b: usize| models[a].roots() == models[b].roots();
    for (k, setup) in setups.iter().enumerate() {
        let bare = without_amounts(setup);
        match groups
            .iter_mut()
            .find(|(of, m)| *of == bare && same(m[0], k))
        {
            Some((_, members)) => members.push(k),
            None => groups.push((bare, vec![k])),
        }
    }
    groups.into_iter().map(|(_, members)| members).collect()
}

/// A setup stripped of all that only weighs layers: amounts, colours and switches of lights, exposure.
fn without_amounts(setup: &Setup) -> Setup {
    let mut bare = setup.clone();
    bare.title.clear();
    bare.notes.clear();
    for light in &mut bare.lights {
        light.on = true;
        light.head = None;
        light.output.full = None;
        light.colour = LightColour {
            kelvin: 5600.0,
            gel_mired: 0.0,
            filter: [1.0; 3],
        };
        light.output.continuous = false;
        if let Setting::Meters { f_number, .. } = &mut light.output.setting {
            // Where it is metered counts: there is a receptor there.
            *f_number = 1.0;
        } else {
            light.output.setting = Setting::Power(1.0);
        }
    }
    let camera = &mut bare.camera;
    camera.f_number = Aperture::AsMetered;
    camera.iso = 100.0;
    camera.shutter_s = 1.0;
    camera.white_balance = crate::setup::WhiteBalance::None;
    bare
}

struct Run<'r> {
    setups: &'r [&'r Setup],
    executor: &'r mut dyn Executor,
    goals: Goals,
    stop: &'r AtomicBool,
    told: &'r mut dyn FnMut(&Step),
    /// f-number, grey card and development of the first.
    held: Option<(f64, [f64; 3], Development)>,
    /// States done.
    done: f64,
}

/// A state of a group before its picture: all of a take but the studio, which the group shares.
struct Metered {
    state: usize,
    weights: Vec<[f64; 3]>,
    made: Made,
}

impl Run<'_> {
    fn group(&mut self, group: &[usize], models: &Models) -> Result<Option<Vec<Made>>, VaryError> {
        let first = group[0];
        let failed = |state| move |source: TakeError| VaryError { state, source };
        self.tell(first, Stage::Reading, 0.0);
        let mut studio =
            Studio::build(self.setups[first], models).map_err(|e| failed(first)(e.into()))?;
        let members: Vec<&Setup> = group.iter().map(|k| self.setups[*k]).collect();
        let gathered = gather(
            &members,
            &mut studio,
            self.executor,
            self.goals.readings,
            self.stop,
        )
        .map_err(|e| failed(first)(e.into()))?;
        if self.stopped() {
            return Ok(None);
        }
        let mut metered = Vec::new();
        for &state in group {
            let (one, back) = self
                .meter(state, studio, &gathered)
                .map_err(failed(state))?;
            metered.push(one);
            studio = back;
        }
        if let Some(goal) = self.goals.pictures
            && !self
                .pictures(&mut metered, &mut studio, goal)
                .map_err(failed(first))?
        {
            return Ok(None);
        }
        self.done += group.len() as f64;
        Ok(Some(metered.into_iter().map(|m| m.made).collect()))
    }

    fn meter(
        &mut self,
        state: usize,
        mut studio: Studio,
        gathered: &Gathered,
    ) -> Result<(Metered, Studio), TakeError> {
        let setup = self.setups[state].clone();
        colour_lights(&mut studio, &setup)?;
        let expose = match (self.goals.exposing, self.held) {
            (Exposing::Held, Some((f_number, card_rgb, _))) => Expose::Held { f_number, card_rgb },
            (Exposing::Alike, Some((f_number, _, development))) => Expose::Like {
                f_number,
                development,
            },
            _ => Expose::Own,
        };
        let take = Take::of_gathered(setup, studio, gathered, expose)?;
        if state == 0 {
            self.held = Some((take.f_number, take.card_rgb, take.development));
        }
        let made = Made {
            balanced: take.balanced,
            efficiency: take.studio.efficiency.clone(),
            points: take.points,
            expose_at: take.expose_at,
            ratios: take.ratios,
            evenness_stops: take.evenness_stops,
            edges: take.edges,
            f_number: take.f_number,
            development: take.development,
            picture: None,
            film_of: state,
        };
        let metered = Metered {
            state,
            weights: take.weights,
            made,
        };
        Ok((metered, take.studio))
    }

    /// Renders a film for each opening of the lens and mixes the pictures from it; whether it came to an end.
    fn pictures(
        &mut self,
        metered: &mut [Metered],
        studio: &mut Studio,
        goal: Goal,
    ) -> Result<bool, TakeError> {
        let first = metered[0].state;
        let pixels = self.setups[first].camera.pixels;
        let all = metered.iter().map(|m| m.weights.clone());
        let mix = all.reduce(brightest).unwrap_or_default();
        studio.scene.set_mix(&mix);
        if !self.goals.exact && bounce_pays(&studio.scene, pixels, goal) {
            self.tell(first, Stage::Bounce, 0.1);
            bounce::fill(self.executor, &mut studio.scene, self.stop, |_| {})?;
        }
        let mut films: Vec<(f64, usize, Film)> = Vec::new();
        for (k, m) in metered.iter_mut().enumerate() {
            let f_number = m.made.f_number;
            let have = films.iter().position(|(n, _, _)| *n == f_number);
            let index = match have {
                Some(index) => index,
                None => {
                    studio.set_aperture(self.setups[m.state], f_number);
                    let layers = studio.scene.layers.len() as u32;
                    let mut film = Film::new(pixels[0], 0, pixels[1], layers);
                    let (state, done, all) = (m.state, self.done + k as f64, self.setups.len());
                    let told = &mut *self.told;
                    let show = |now: &crate::render::driver::Progress| {
                        told(&Step {
                            state,
                            stage: Stage::Picture,
                            share: (done + 0.2 + 0.8 * now.done) / all as f64,
                        });
                    };
                    render_evenly(
                        self.executor,
                        &mut studio.scene,
                        &mut film,
                        goal,
                        self.stop,
                        show,
                    )?;
                    films.push((f_number, m.state, film));
                    films.len() - 1
                }
            };
            if self.stopped() {
                return Ok(false);
            }
            let (_, of, film) = &films[index];
            m.made.film_of = *of;
            m.made.picture = Some(mixed(film, &m.weights, &m.made.development));
        }
        Ok(true)
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    fn tell(&mut self, state: usize, stage: Stage, part: f64) {
        let share = (self.done + part) / self.setups.len() as f64;
        (self.told)(&Step {
            state,
            stage,
            share,
        });
    }
}

/// The film's layers by their weights, developed.
fn mixed(film: &Film, weights: &[[f64; 3]], development: &Development) -> Linear {
    let pixel = |x: u32, row: u32| {
        let mut sum = [0.0_f64; 3];
        for (layer, weight) in weights.iter().enumerate() {
            let light = film.mean(x, row, layer as u32);
            for c in 0..3 {
                sum[c] += f64::from(light[c]) * weight[c];
            }
        }
        std::array::from_fn(|c| (sum[c] * f64::from(development.gain[c])) as f32)
    };
    Linear {
        width: film.width,
        height: film.rows,
        rgb: (0..film.rows)
            .flat_map(|row| (0..film.width).map(move |x| (x, row)))
            .map(|(x, row)| pixel(x, row))
            .collect(),
        samples: film.samples(),
        relative_error: film.median_relative_error(),
    }
}

impl Linear {
    /// Relative luminance of a pixel, 1 for full value.
    pub fn luminance(&self, index: usize) -> f64 {
        let rgb = self.rgb[index];
        (0..3).map(|c| LUMINANCE[c] * f64::from(rgb[c])).sum()
    }
}

impl Made {
    /// Whether the picture was mixed from another state's film.
    pub fn was_mixed(&self, state: usize) -> bool {
        self.film_of != state
    }

    /// The shadow edge of a light where the exposure is read.
    pub fn edge_of(&self, light: &str) -> Option<&EdgeReading> {
        self.edges.iter().find(|e| e.light == light)
    }
}
