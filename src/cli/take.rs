//! What `still`, `read` and `balance` begin with: a setup read, checked, metered and balanced.

use super::cache;
use super::crop::CropTyped;
use super::exit::Failure;
use super::interrupt::Interrupt;
use super::resolved::Executing;
use super::source::{SetupFrom, Source};
use super::voice::Voice;
use std::sync::Arc;
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::take::Take;
use swatchlight::render::choose::choose;
use swatchlight::render::steady::Steady;
use swatchlight::setup::{Checked, Options, Problems};

/// A metered setup, and what metered it.
pub struct Taken {
    pub source: Source,
    pub take: Take,
    /// Warnings and cautions.
    pub notes: Problems,
    pub executor: Steady,
}

/// Reads, checks, meters and balances a setup, and says its warnings and the executor.
///
/// # Errors
/// Problems in the setup, targets that cannot be met, an executor that cannot be had.
pub fn take(
    setup: &SetupFrom,
    laid_over: Options,
    executing: &Executing,
    goal: GatherGoal,
    voice: &Arc<Voice>,
    interrupt: &Interrupt,
) -> Result<Taken, Failure> {
    take_cropped(setup, laid_over, None, executing, goal, voice, interrupt)
}

/// As [`take`], with the camera's picture a part of the sensor.
///
/// # Errors
/// As [`take`], and for a part that is not on the sensor.
pub fn take_cropped(
    setup: &SetupFrom,
    laid_over: Options,
    crop: Option<&CropTyped>,
    executing: &Executing,
    goal: GatherGoal,
    voice: &Arc<Voice>,
    interrupt: &Interrupt,
) -> Result<Taken, Failure> {
    let mut source = setup.read()?;
    source.models = source
        .models
        .with_tables(cache::tables(executing, voice))
        .with_stock(cache::stock(
            cache::folder(executing),
            voice,
            interrupt.shared(),
        ));
    let parsed = source.parse(laid_over);
    let Checked { mut setup, notes } = parsed.map_err(|problems| {
        if interrupt.asked() {
            Failure::interrupted("stopped while the stand-in was being built")
        } else {
            Failure::Problems(problems)
        }
    })?;
    if let Some(crop) = crop {
        crop.apply(&mut setup)?;
    }
    voice.notes(&notes);
    let mut executor = open(executing, voice)?;
    let take = Take::new(setup, &source.models, &mut executor, goal, interrupt.flag())?;
    Ok(Taken {
        source,
        take,
        notes,
        executor,
    })
}

/// Opens the executor and says which and why.
pub fn open(executing: &Executing, voice: &Arc<Voice>) -> Result<Steady, Failure> {
    if executing.threads > 0 {
        // What the library does beside tracing keeps to the same threads. It fails only where a
        // pool is there already, which is as good.
        let _ = rayon::ThreadPoolBuilder::new()
            .num_threads(executing.threads)
            .build_global();
    }
    let chosen = choose(executing.wish, executing.threads)?;
    voice.note(&format!(
        "Executor: {} ({}).",
        chosen.executor.name(),
        chosen.reason
    ));
    let telling = Arc::clone(voice);
    Ok(Steady::new(chosen, executing.threads, move |text| {
        telling.note(&format!("warning: {text}"))
    }))
}
