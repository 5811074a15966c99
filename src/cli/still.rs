//! `still`: renders a reference picture.

use super::dark_points::note_dark_points;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::json::Readings;
use super::moire::note_moire;
use super::resolved::StillRun;
use super::take::{Taken, take_cropped};
use super::voice::Voice;
use super::{readings, words};
use serde::Serialize;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::take::{Take, bounce_pays};
use swatchlight::render::driver::{Goal, Progress};
use swatchlight::render::even::{Evened, render_evenly};
use swatchlight::render::executor::{Executor, ExecutorError};
use swatchlight::render::film::Film;
use swatchlight::render::steady::fill_empty_rows;
use swatchlight::report::{
    Exposure, Metadata, PictureShape, Rendering, StillFormat, StillSink, WholeFile, hand_over,
    open_still,
};

/// What `still --json` prints.
#[derive(Debug, Serialize)]
struct Report {
    still: String,
    width: u32,
    height: u32,
    samples_per_pixel: u32,
    most_samples_per_pixel: u32,
    relative_error: Option<f64>,
    goal_met: bool,
    interrupted: bool,
    executor: String,
    seconds: f64,
    readings: Readings,
}

/// Meters, renders and writes a still.
///
/// # Errors
/// What keeps the picture from being rendered or written.
pub fn still(run: &StillRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let started = Instant::now();
    let interrupt = Interrupt::listen(
        voice,
        "Ending the picture with the samples so far; press Ctrl-C again to leave nothing.",
    )?;
    // Refuse now what would be refused in the end.
    drop(WholeFile::open(&run.out, run.options.overwrite)?);

    let mut taken = take_cropped(
        &run.setup,
        run.laid_over,
        run.crop.as_ref(),
        &run.executing,
        GatherGoal::default(),
        voice,
        &interrupt,
    )?;
    if interrupt.asked() {
        return Ok(nothing_yet(voice));
    }
    note_moire(&mut taken, voice);
    note_dark_points(&mut taken, voice);
    let shape = shape(&taken.take, run.format);
    let metadata = metadata(run, &taken)?;
    let mut sink = open_still(
        &run.out,
        &shape,
        &taken.take.development,
        &metadata,
        run.options,
    )?;

    let pays = || {
        let take = &taken.take;
        bounce_pays(&take.studio.scene, take.setup.camera.pixels, run.goal)
    };
    if !run.exact && pays() {
        let show = |share| voice.stage(share, "finding the light that the set bounces");
        taken
            .take
            .find_bounce(&mut taken.executor, interrupt.flag(), show)?;
        voice.end_progress();
        if interrupt.asked() {
            return Ok(nothing_yet(voice));
        }
    }
    let reached = render_bands(run, &mut taken, &shape, sink.as_mut(), voice, &interrupt)?;
    let executor = taken.executor.name();
    sink.finish(&Rendering {
        samples_per_pixel: reached.samples,
        relative_error: reached.relative_error,
        executor: executor.clone(),
    })?;

    let goal_met = run
        .goal
        .relative_error
        .is_none_or(|want| reached.relative_error.is_some_and(|have| have <= want));
    if voice.json() {
        voice.print_json(&Report {
            still: run.out.display().to_string(),
            width: shape.width,
            height: shape.height,
            samples_per_pixel: reached.samples,
            most_samples_per_pixel: reached.most_samples,
            relative_error: reached.relative_error,
            goal_met,
            interrupted: interrupt.asked(),
            executor: executor.clone(),
            seconds: started.elapsed().as_secs_f64(),
            readings: Readings::new(&run.setup.shown(), &taken.take, &taken.notes, executor),
        })?;
    } else {
        let page = readings::page(&taken.take);
        voice.print(&format!(
            "{page}\n{}",
            summary(run, &shape, &reached, goal_met, started.elapsed())
        ))?;
    }
    Ok(if interrupt.asked() {
        Exit::Interrupted
    } else {
        Exit::Done
    })
}

/// Says that an interrupted picture left nothing.
pub fn nothing_yet(voice: &Voice) -> Exit {
    voice.note("Interrupted before there was a picture; nothing was written.");
    Exit::Interrupted
}

fn summary(
    run: &StillRun,
    shape: &PictureShape,
    reached: &Reached,
    goal_met: bool,
    took: Duration,
) -> String {
    let noise = reached
        .relative_error
        .map_or(String::new(), |e| format!(", noise {}", words::percent(e)));
    let short = match run.goal.relative_error {
        Some(want) if !goal_met => format!(" (not the {} asked for)", words::percent(want)),
        _ => String::new(),
    };
    let most = if reached.most_samples > reached.samples {
        format!(" (up to {} where it is noisiest)", reached.most_samples)
    } else {
        String::new()
    };
    format!(
        "{}: {} x {} pixels, {}{most}{noise}{short}, {}\n",
        run.out.display(),
        shape.width,
        shape.height,
        words::count(reached.samples, "sample"),
        words::time(took)
    )
}

/// What the whole picture reached: the fewest samples and the greatest noise of its bands.
#[derive(Debug, Clone, Copy)]
pub struct Reached {
    pub samples: u32,
    /// Samples of the pixels that got most.
    pub most_samples: u32,
    pub relative_error: Option<f64>,
}

/// Renders the picture in as many bands as the film's memory asks for, from the top.
fn render_bands(
    run: &StillRun,
    taken: &mut Taken,
    shape: &PictureShape,
    sink: &mut dyn StillSink,
    voice: &Voice,
    interrupt: &Interrupt,
) -> Result<Reached, Failure> {
    let layers = shape.layer_names.len() as u32;
    let row_bytes = Film::bytes_per_row(shape.width, layers).max(1);
    let most_rows = ((run.film_bytes / row_bytes) as u32).clamp(1, shape.height);
    let bands = shape.height.div_ceil(most_rows);
    voice.note(&intention(run.goal, shape, bands));

    let started = Instant::now();
    let mut reached = Reached {
        samples: u32::MAX,
        most_samples: 0,
        relative_error: Some(0.0),
    };
    let mut refused = 0;
    for band in 0..bands {
        let first_row = band * most_rows;
        let rows = most_rows.min(shape.height - first_row);
        let mut film = Film::new(shape.width, first_row, rows, layers);
        let show = |now: &Progress| {
            let share =
                (f64::from(first_row) + now.done * f64::from(rows)) / f64::from(shape.height);
            let left = if bands == 1 {
                now.left
            } else {
                rest(started.elapsed(), share)
            };
            voice.progress(share, now, left);
        };
        let now = render_band(run.goal, taken, &mut film, interrupt, show)?;
        reached.samples = reached.samples.min(now.samples);
        reached.most_samples = reached.most_samples.max(now.most_samples);
        reached.relative_error = reached
            .relative_error
            .zip(now.relative_error)
            .map(|(a, b)| a.max(b));
        refused += film.refused;
        hand_over(&film, &taken.take.weights, shape, sink)?;
    }
    voice.end_progress();
    if refused > 0 {
        voice.note(&format!("warning: {refused} contributions of light were not numbers and were left out; please report this setup"));
    }
    Ok(reached)
}

/// Renders one band; when interrupted, rows that have nothing yet get one sample.
pub fn render_band(
    goal: Goal,
    taken: &mut Taken,
    film: &mut Film,
    interrupt: &Interrupt,
    show: impl FnMut(&Progress),
) -> Result<Reached, ExecutorError> {
    let scene = &mut taken.take.studio.scene;
    let mut evened = Evened::default();
    if !interrupt.asked() {
        evened = render_evenly(
            &mut taken.executor,
            scene,
            film,
            goal,
            interrupt.flag(),
            show,
        )?;
    }
    if interrupt.asked() {
        fill_empty_rows(&mut taken.executor, scene, film)?;
    }
    Ok(Reached {
        samples: film.samples(),
        most_samples: evened.most_samples.max(film.samples()),
        relative_error: film.median_relative_error(),
    })
}

fn rest(elapsed: Duration, share: f64) -> Option<Duration> {
    (share > 0.0).then(|| elapsed.mul_f64(((1.0 - share) / share).clamp(0.0, 1e6)))
}

fn intention(goal: Goal, shape: &PictureShape, bands: u32) -> String {
    let until = match goal.relative_error {
        Some(noise) => format!(
            "{} noise, at most {}",
            words::percent(noise),
            words::count(goal.samples, "sample")
        ),
        None => words::count(goal.samples, "sample"),
    };
    let bands = if bands > 1 {
        format!(" in {bands} bands")
    } else {
        String::new()
    };
    format!(
        "Rendering {} x {} pixels{bands} to {until}.",
        shape.width, shape.height
    )
}

/// EXR takes what the camera saw too; the other formats have no place for it.
pub fn shape(take: &Take, format: StillFormat) -> PictureShape {
    let [width, height] = take.setup.camera.pixels;
    let described = format == StillFormat::Exr;
    PictureShape {
        width,
        height,
        layer_names: take.studio.scene.layers.clone(),
        albedo: described,
        normal: described,
        depth: described,
    }
}

/// What the picture carries inside.
///
/// # Errors
/// When the readings cannot be written.
pub fn metadata(run: &StillRun, taken: &Taken) -> Result<Metadata, Failure> {
    let setup = &taken.take.setup;
    // Folders are the user's own affair: only the file's name goes into the picture.
    let shown = run.setup.shown();
    let name = Path::new(&shown)
        .file_name()
        .map_or(shown.clone(), |n| n.to_string_lossy().into_owned());
    let readings = Readings::new(&name, &taken.take, &taken.notes, taken.executor.name());
    Ok(Metadata {
        title: setup.title.clone(),
        description: readings::description(setup),
        software: format!("Swatchlight {}", env!("CARGO_PKG_VERSION")),
        setup_toml: taken.source.text(),
        readings_json: serde_json::to_string(&readings)
            .map_err(|e| Failure::working(format!("cannot write the readings: {e}")))?,
        exposure: Some(Exposure {
            shutter_s: setup.camera.shutter_s,
            f_number: taken.take.f_number,
            iso: setup.camera.iso,
            focus_m: Some(setup.camera.focus_m),
        }),
    })
}
