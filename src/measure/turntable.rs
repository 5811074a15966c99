//! A figure seen from all round under one soft light, for looking it over: how it stands, what it wears.

use super::gather::GatherGoal;
use super::swatch_view::shoot_scene;
use super::take::{Take, TakeError};
use crate::render::driver::{Goal, Progress};
use crate::render::executor::Executor;
use crate::scene::models::Models;
use crate::setup::{FigureSpec, Options, Problems, figure_toml, parse_with};
use std::sync::atomic::AtomicBool;

/// Turned so far from facing the camera, degrees to the camera's left.
pub const TURNS_DEG: [i32; 6] = [0, 45, 90, 180, 270, 315];

/// One of the views, display-linear.
#[derive(Debug, Clone, PartialEq)]
pub struct TurnView {
    /// Of [`TURNS_DEG`].
    pub turn_deg: i32,
    /// Row by row from the top.
    pub rgb: Vec<[f32; 3]>,
    /// Samples of each pixel.
    pub samples: u32,
}

/// Why there is no view.
#[derive(Debug, thiserror::Error)]
pub enum TurnError {
    /// The figure cannot be set up.
    #[error("{}", .0.list().first().map_or(String::new(), |p| format!("{}; {}", p.message, p.hint)))]
    Setup(Problems),
    /// It cannot be metered.
    #[error(transparent)]
    Take(#[from] TakeError),
    /// Tracing failed.
    #[error(transparent)]
    Executor(#[from] crate::render::executor::ExecutorError),
}

/// The studio around it: a large soft key high on the camera's left, a wide fill, a strip behind.
const AROUND: &str = r#"
[room]
walls = "open"
[backdrop]
kind = "seamless"
width = "4 m"
behind = "2.4 m"
reflectance = 0.4
[camera]
framing = "full-length"
focal_length = "85 mm"
[[light]]
name = "key"
modifier = { kind = "panel", size = "1.2 x 1.6 m" }
distance = "2.6 m"
bearing = "38 deg left"
height = "2.4 m"
aim = "chest"
output = "6000 lm s"
[[light]]
name = "fill"
modifier = { kind = "panel", size = "2 x 2 m" }
distance = "3.4 m"
bearing = "55 deg right"
height = "1.5 m"
aim = "waist"
output = "3500 lm s"
[[light]]
name = "rim"
modifier = { kind = "panel", size = "0.3 x 1.6 m" }
distance = "1.9 m"
bearing = "140 deg right"
height = "1.8 m"
aim = "chest"
output = "900 lm s"
[meter]
expose_at = { at = [0, 1.3, 0.3], facing = [0, 0, 1] }
points = []
"#;

/// Renders the figure as each of [`TURNS_DEG`] shows it, `pixels` wide and high.
///
/// # Errors
/// [`TurnError`] says what stands in the way.
pub fn turntable(
    spec: &FigureSpec,
    pixels: [u32; 2],
    models: &Models,
    goal: Goal,
    executor: &mut dyn Executor,
    stop: &AtomicBool,
    mut told: impl FnMut(usize, &Progress),
) -> Result<Vec<TurnView>, TurnError> {
    let mut views = Vec::new();
    for (i, turn_deg) in TURNS_DEG.into_iter().enumerate() {
        let figure = figure_toml(spec, f64::from(turn_deg).to_radians());
        let text = format!("title = \"Turntable\"\n{AROUND}{figure}");
        let options = Options {
            pixels: Some(pixels),
        };
        let checked = parse_with(&text, "turntable", models, options).map_err(TurnError::Setup)?;
        let take = Take::new(checked.setup, models, executor, GatherGoal::default(), stop)?;
        let scene = &take.studio.scene;
        let shot = shoot_scene(scene, &take.weights, 1.0, goal, executor, stop, |now| {
            told(i, now);
        })?;
        let gain = take.development.gain;
        let develop = |c: &[f32; 3]| [0, 1, 2].map(|k| c[k] * gain[k]);
        views.push(TurnView {
            turn_deg,
            rgb: shot.rgb.iter().map(develop).collect(),
            samples: shot.samples,
        });
    }
    Ok(views)
}
