//! Renders until a goal is reached, pass by pass.

use super::executor::{Executor, ExecutorError, Passes};
use super::film::Film;
use crate::scene::Scene;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// When a picture is done: at whichever comes first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Goal {
    /// Samples to a pixel, at the most.
    pub samples: u32,
    /// Relative error at the median pixel.
    pub relative_error: Option<f64>,
}

/// Where rendering stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Samples every pixel has.
    pub samples: u32,
    /// Relative error at the median pixel, once it can be told.
    pub relative_error: Option<f64>,
    /// Time spent.
    pub elapsed: Duration,
    /// Share of the way to the goal, 0 to 1.
    pub done: f64,
    /// Time left, once it can be told.
    pub left: Option<Duration>,
}

/// Renders into the film until the goal, telling `progress` after each pass. When `stop` is set it
/// ends with the samples that there are.
///
/// # Errors
/// The executor's; the film keeps what it has.
pub fn render(
    executor: &mut dyn Executor,
    scene: &Scene,
    film: &mut Film,
    goal: Goal,
    stop: &AtomicBool,
    mut progress: impl FnMut(&Progress),
) -> Result<Progress, ExecutorError> {
    let start = Instant::now();
    let already = film.samples();
    loop {
        let samples = film.samples();
        let relative_error = film.median_relative_error();
        let elapsed = start.elapsed();
        // Errors fall as 1/√n.
        let needed = match (goal.relative_error, relative_error) {
            (Some(want), Some(have)) => {
                (f64::from(samples) * (have / want).powi(2)).min(f64::from(goal.samples))
            }
            _ => f64::from(goal.samples),
        };
        let reached = samples >= goal.samples
            || matches!((goal.relative_error, relative_error), (Some(want), Some(have)) if have <= want);
        let made = f64::from(samples - already);
        let done = if reached {
            1.0
        } else {
            (f64::from(samples) / needed.max(1.0)).min(1.0)
        };
        // Before the error can be told there is no telling how far its goal is.
        let known = goal.relative_error.is_none() || relative_error.is_some();
        let left = (made > 0.0 && !reached && known).then(|| {
            Duration::from_secs_f64(
                elapsed.as_secs_f64() * (needed - f64::from(samples)).max(0.0) / made,
            )
        });
        let now = Progress {
            samples,
            relative_error,
            elapsed,
            done,
            left,
        };
        if samples > already || reached {
            progress(&now);
        }
        if reached || stop.load(Ordering::Relaxed) {
            return Ok(now);
        }
        let each = pass_size(samples, goal.samples);
        let useful = ((needed - f64::from(samples)) / f64::from(each)).ceil() as u32;
        let number = executor.appetite(samples, each).min(useful).max(1);
        let passes = Passes {
            first: samples,
            each,
            // The last one may be shorter; it comes by itself.
            number: number.min((goal.samples - samples) / each),
        };
        executor.render(scene, film, passes, stop)?;
    }
}

/// Samples in the next pass: blocks of the net, each a well-spread set of its own; short, so that an
/// interruption costs little and the error has enough passes to be told from.
pub(super) fn pass_size(samples: u32, most: u32) -> u32 {
    let size = match samples {
        0..32 => 4,
        32..64 => 8,
        _ => 16,
    };
    size.min(most - samples)
}
