//! `read`: what a meter reads.

use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::json::Readings;
use super::resolved::ReadRun;
use super::take::take;
use super::voice::Voice;
use super::{readings, words};
use std::sync::Arc;
use swatchlight::render::executor::Executor;
use swatchlight::setup::Options;

/// Reads the meters and shows what they read.
///
/// # Errors
/// What stands in the way of readings.
pub fn read(run: &ReadRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let interrupt = Interrupt::listen(
        voice,
        "Ending with the readings so far; press Ctrl-C again to stop at once.",
    )?;
    let taken = take(
        &run.setup,
        Options::default(),
        &run.executing,
        run.goal,
        voice,
        &interrupt,
    )?;
    if voice.json() {
        let document = Readings::new(
            &run.setup.shown(),
            &taken.take,
            &taken.notes,
            taken.executor.name(),
        );
        voice.print_json(&document)?;
    } else {
        voice.print(&readings::page(&taken.take))?;
    }
    // Say so where the readings did not become as exact as was asked.
    let worst = taken
        .take
        .points
        .iter()
        .map(|p| p.together.exposure_lx_s.relative())
        .fold(0.0, f64::max);
    if worst > run.goal.relative_error {
        let least_exact = if worst.is_finite() {
            words::percent(worst)
        } else {
            "unknown".into()
        };
        voice.note(&format!(
            "warning: the least exact reading has an error of {least_exact}, not the {} asked for.",
            words::percent(run.goal.relative_error)
        ));
    }
    Ok(if interrupt.asked() {
        Exit::Interrupted
    } else {
        Exit::Done
    })
}
