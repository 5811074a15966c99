//! `sheet`: what goes to the client, the stylist and the assistant.

use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::json::Readings;
use super::moire::note_moire;
use super::sheet_args::{SheetFormat, SheetRun, fits};
use super::still::{nothing_yet, render_band};
use super::swatch_still::{failure as cloth_failure, readable};
use super::take::{Taken, take};
use super::voice::Voice;
use super::words;
use serde::Serialize;
use std::io::Write;
use std::sync::Arc;
use std::time::Instant;
use swatchlight::fabric::Fabric;
use swatchlight::measure::cloth_at::{ClothAt, Look};
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::take::bounce_pays;
use swatchlight::render::bounce;
use swatchlight::render::driver::{Goal, Progress};
use swatchlight::render::executor::Executor;
use swatchlight::render::film::Film;
use swatchlight::report::sheet::{ClothPictures, ClothSeen, Seen, Sheet, html, pdf};
use swatchlight::report::{Picture, PictureShape, WholeFile, mixed, write_whole};
use swatchlight::scene::FlatRadiance;
use swatchlight::setup::{Lay, Setup};

/// Of both pictures of the cloth: 300 to the inch.
const CLOTH_PIXELS: [u32; 2] = [720, 480];
/// Samples of the cloth's pixels at the most: it is printed small, or smooth between its threads.
const CLOTH_SAMPLES: u32 = 64;

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
    let flats = flats(run, &mut taken, voice, &interrupt)?;
    if interrupt.asked() {
        return Ok(nothing_yet(voice));
    }
    let (film, reached) = render(run, &mut taken, voice, &interrupt)?;
    let cloth = match run.cloth && !interrupt.asked() {
        true => cloth(run, &mut taken, &flats, voice, &interrupt)?,
        false => None,
    };
    let picture = layers(&taken, &film);
    let sheet = Sheet::new(&Seen {
        take: &taken.take,
        models: &taken.source.models,
        notes: &taken.notes,
        picture: &picture,
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

/// The cloth where the exposure is read: the swatch's there, else what the figure wears; none where
/// there is no cloth.
fn cloth(
    run: &SheetRun,
    taken: &mut Taken,
    flats: &[FlatRadiance],
    voice: &Voice,
    interrupt: &Interrupt,
) -> Result<Option<ClothSeen>, Failure> {
    let point = taken.take.expose_at.meter.name.clone();
    let Some(name) = fabric_at(&taken.take.setup, &point) else {
        return Ok(None);
    };
    let models = &taken.source.models;
    let fabric: Fabric = models
        .fabric(&name)
        .map_err(|e| Failure::wrong(e.to_string(), "see models/fabrics for what there is"))?;
    let cloth = ClothAt {
        take: &taken.take,
        models,
        fabric: &fabric,
        point: &point,
        flats,
    };
    let [printed_mm, _] = ClothPictures::PRINTED_MM;
    let goal = Goal {
        samples: run.goal.samples.min(CLOTH_SAMPLES),
        relative_error: run.goal.relative_error,
    };
    let stop = interrupt.flag();
    let mut shots = Vec::new();
    for (what, width_mm) in [
        ("the cloth at true size", printed_mm),
        ("the cloth magnified", printed_mm / ClothPictures::TIMES),
    ] {
        let look = Look {
            width_m: 1e-3 * width_mm,
            pixels: CLOTH_PIXELS,
            lay: Lay::Flat,
            goal,
        };
        let show = |now: &Progress| voice.stage(now.done, what);
        shots.push(
            cloth
                .picture(&look, &mut taken.executor, stop, show)
                .map_err(cloth_failure)?,
        );
        if interrupt.asked() {
            return Ok(None);
        }
    }
    let show = |share: f64| voice.stage(share, "reading its weave");
    let weave = readable(cloth.weave(&mut taken.executor, stop, show), voice)?;
    voice.end_progress();
    // Read from the half of it that was seen it would be another.
    let weave = weave.filter(|_| !interrupt.asked());
    let mut shots = shots.into_iter();
    Ok(shots
        .next()
        .zip(shots.next())
        .map(|(true_size, magnified)| ClothSeen {
            fabric: name,
            true_size,
            magnified,
            weave: weave.map(|w| [w.relief, w.as_dyed]),
        }))
}

fn fabric_at(setup: &Setup, point: &str) -> Option<String> {
    let swatch = || setup.swatch.as_ref().map(|s| s.fabric.clone());
    let figure = || setup.figure.as_ref().map(|f| f.spec.fabric.clone());
    if point == "swatch" {
        swatch().or_else(figure)
    } else {
        figure().or_else(swatch)
    }
}
