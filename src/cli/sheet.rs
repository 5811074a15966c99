//! `sheet`: what goes to the client, the stylist and the assistant.

use super::close_up::CloseUp;
use super::dark_points::note_dark_points;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::json::Readings;
use super::moire::note_moire;
use super::sheet_args::{SheetFormat, SheetRun, fits};
use super::still::{nothing_yet, render_band};
use super::take::{Taken, take};
use super::voice::Voice;
use super::words;
use serde::Serialize;
use std::io::Write;
use std::sync::Arc;
use std::time::Instant;
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::take::bounce_pays;
use swatchlight::render::bounce;
use swatchlight::render::driver::Progress;
use swatchlight::render::executor::Executor;
use swatchlight::render::film::Film;
use swatchlight::report::sheet::{Seen, Sheet, html, pdf};
use swatchlight::report::{Picture, PictureShape, WholeFile, mixed, write_whole};
use swatchlight::scene::FlatRadiance;

/// What `sheet --json` prints.
#[derive(Debug, Serialize)]
struct Report {
    sheet: String,
    format: &'static str,
    bytes: usize,
    width: u32,
    height: u32,
    samples_per_pixel: u32,
    relative_error: Option<f64>,
    interrupted: bool,
    executor: String,
    seconds: f64,
    readings: Readings,
}

/// Meters, renders and writes a sheet.
///
/// # Errors
/// What keeps it from being made or written.
pub fn sheet(run: &SheetRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let started = Instant::now();
    let interrupt = Interrupt::listen(
        voice,
        "Ending the sheet with the samples so far; press Ctrl-C again to leave nothing.",
    )?;
    // Refuse now what would be refused in the end.
    drop(WholeFile::open(&run.out, run.overwrite)?);
    let mut taken = take(
        &run.setup,
        run.laid_over,
        &run.executing,
        GatherGoal::default(),
        voice,
        &interrupt,
    )?;
    if interrupt.asked() {
        return Ok(nothing_yet(voice));
    }
    fits(taken.take.setup.camera.pixels)?;
    note_moire(&mut taken, voice);
    note_dark_points(&mut taken, voice);
    let flats = flats(run, &mut taken, voice, &interrupt)?;
    if interrupt.asked() {
        return Ok(nothing_yet(voice));
    }
    let (film, reached) = render(run, &mut taken, voice, &interrupt)?;
    let cloth = match run.cloth && !interrupt.asked() {
        true => {
            let close = CloseUp {
                take: &taken.take,
                models: &taken.source.models,
                flats: &flats,
                goal: run.goal,
            };
            let show = |share, what: &str| voice.stage(share, what);
            close.cloth(&mut taken.executor, &interrupt, show, voice)?
        }
        false => None,
    };
    let picture = layers(&taken, &film);
    let sheet = Sheet::new(&Seen {
        take: &taken.take,
        models: &taken.source.models,
        notes: &taken.notes,
        picture: Some(&picture),
        cloth: cloth.as_ref(),
        date: &run.date,
    })?;
    let (format, bytes) = match run.format {
        SheetFormat::Pdf => ("pdf", pdf(std::slice::from_ref(&sheet), run.paper)?),
        SheetFormat::Html => ("html", html(&sheet, run.paper)?.into_bytes()),
    };
    write_whole(&run.out, run.overwrite, |file| file.write_all(&bytes))?;

    let executor = taken.executor.name();
    if voice.json() {
        voice.print_json(&Report {
            sheet: run.out.display().to_string(),
            format,
            bytes: bytes.len(),
            width: picture.width,
            height: picture.height,
            samples_per_pixel: reached.samples,
            relative_error: reached.relative_error,
            interrupted: interrupt.asked(),
            executor: executor.clone(),
            seconds: started.elapsed().as_secs_f64(),
            readings: Readings::new(&run.setup.shown(), &taken.take, &taken.notes, executor),
        })?;
    } else {
        voice.print(&format!(
            "{}: {} kB, picture of {} x {} pixels, {}, {}\n",
            run.out.display(),
            bytes.len().div_ceil(1000),
            picture.width,
            picture.height,
            words::count(reached.samples, "sample"),
            words::time(started.elapsed())
        ))?;
    }
    Ok(if interrupt.asked() {
        Exit::Interrupted
    } else {
        Exit::Done
    })
}

/// What the set's flats give off, where finding it saves work; known to the picture's scene too.
fn flats(
    run: &SheetRun,
    taken: &mut Taken,
    voice: &Voice,
    interrupt: &Interrupt,
) -> Result<Vec<FlatRadiance>, Failure> {
    let take = &taken.take;
    if !bounce_pays(&take.studio.scene, take.setup.camera.pixels, run.goal) {
        return Ok(Vec::new());
    }
    let show = |share| voice.stage(share, "finding the light that the set bounces");
    let scene = &mut taken.take.studio.scene;
    let found = bounce::find(&mut taken.executor, scene, interrupt.flag(), show)?;
    voice.end_progress();
    let found = found.unwrap_or_default();
    if !found.is_empty() {
        scene.set_bounce(&found);
    }
    Ok(found)
}

fn render(
    run: &SheetRun,
    taken: &mut Taken,
    voice: &Voice,
    interrupt: &Interrupt,
) -> Result<(Film, super::still::Reached), Failure> {
    let [width, height] = taken.take.setup.camera.pixels;
    let layers = taken.take.studio.scene.layers.len() as u32;
    voice.note(&format!("Rendering {width} x {height} pixels."));
    let mut film = Film::new(width, 0, height, layers);
    let show = |now: &Progress| voice.progress(now.done, now, now.left);
    let reached = render_band(run.goal, taken, &mut film, interrupt, show)?;
    voice.end_progress();
    Ok((film, reached))
}

/// The picture, a layer to each light.
fn layers(taken: &Taken, film: &Film) -> Picture {
    let shape = PictureShape {
        width: film.width,
        height: film.rows,
        layer_names: taken.take.studio.scene.layers.clone(),
        ..PictureShape::default()
    };
    mixed(film, &taken.take.weights, &shape, 0, film.rows)
}
