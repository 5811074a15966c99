//! `still --swatch`: a cloth close by under the setup's light, beside a reference.

use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::json::{Readings, Weave};
use super::resolved::StillRun;
use super::swatch_args::SwatchRun;
use super::table::{Table, WIDEST};
use super::take::{Taken, take};
use super::voice::Voice;
use super::{still, words};
use serde::Serialize;
use std::sync::Arc;
use std::time::Instant;
use swatchlight::measure::cloth_at::{
    Bright, ClothAt, ClothAtError, Look, WeaveSeen, bright, reference_picture, reference_weave,
};
use swatchlight::measure::gather::{Estimate, GatherGoal};
use swatchlight::measure::swatch_view::SwatchShot;
use swatchlight::measure::weave_contrast::{ContrastError, WeaveContrast};
use swatchlight::photometry::exposure::Development;
use swatchlight::render::bounce;
use swatchlight::render::driver::Progress;
use swatchlight::render::executor::Executor;
use swatchlight::report::swatch_page::{Panel, ScaleBar, side_by_side};
use swatchlight::report::{Rendering, WholeFile, write_still};
use swatchlight::scene::patch::{PatchError, facing_word, frame_at};
use swatchlight::setup::{Options, Setup};

/// What `still --swatch --json` prints, and what the picture carries beside its readings.
#[derive(Debug, Serialize)]
struct Report {
    still: String,
    width: u32,
    height: u32,
    executor: String,
    seconds: f64,
    interrupted: bool,
    swatch: Swatch,
    readings: Readings,
}

/// What the picture carries inside.
#[derive(Debug, Serialize)]
struct Inside<'a> {
    #[serde(flatten)]
    readings: &'a Readings,
    swatch: &'a Swatch,
}

#[derive(Debug, Serialize)]
struct Swatch {
    point: String,
    fabric: String,
    lay: &'static str,
    across_m: f64,
    mm_per_px: f64,
    position_m: [f64; 3],
    direction: [f64; 3],
    shown: Vec<Shown>,
}

/// One of the pair.
#[derive(Debug, Serialize)]
struct Shown {
    /// "setup", or the reference's word.
    light: &'static str,
    samples_per_pixel: u32,
    /// Of the flat cloth; none where it is dark or the view was interrupted.
    weave_contrast: Option<Weave>,
    highlight_share: Share,
    clipped_share: Share,
}

#[derive(Debug, Serialize)]
struct Share {
    share: f64,
    error: f64,
}

/// One of the pair as made.
struct Made {
    light: &'static str,
    shot: SwatchShot,
    weave: Option<WeaveSeen>,
    bright: Bright,
}

/// Meters a setup and makes its swatch view.
///
/// # Errors
/// What keeps it from being made or written.
pub fn swatch_still(run: &StillRun, view: &SwatchRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let started = Instant::now();
    let interrupt = Interrupt::listen(
        voice,
        "Ending with the samples so far; press Ctrl-C again to leave nothing.",
    )?;
    drop(WholeFile::open(&run.out, run.options.overwrite)?);
    let mut taken = take(
        &run.setup,
        Options::default(),
        &run.executing,
        GatherGoal::default(),
        voice,
        &interrupt,
    )?;
    if interrupt.asked() {
        return Ok(still::nothing_yet(voice));
    }
    let fabric = fabric_of(&taken.take.setup, view)?;
    let made = make(run, view, &fabric, &mut taken, voice, &interrupt)?;
    let swatch = describe(view, &fabric, &taken, &made)?;
    let executor = taken.executor.name();
    let readings = Readings::new(
        &run.setup.shown(),
        &taken.take,
        &taken.notes,
        executor.clone(),
    );
    let picture = side_by_side(
        &panels(&taken.take.setup, view, &fabric, &made),
        view.pixels,
        &scale_bar(view),
    )?;
    let mut metadata = still::metadata(run, &taken)?;
    metadata.description = format!(
        "Swatch of {fabric}, {} across, {}, at {}. {}",
        length(view.across_m),
        view.lay.word(),
        view.point,
        metadata.description
    );
    metadata.readings_json = serde_json::to_string(&Inside {
        readings: &readings,
        swatch: &swatch,
    })
    .map_err(|e| Failure::working(format!("cannot write the readings: {e}")))?;
    write_still(
        &run.out,
        &picture,
        // Both pictures are exposed already, each by its own light.
        &Development { gain: [1.0; 3] },
        &metadata,
        &Rendering {
            samples_per_pixel: made.iter().map(|m| m.shot.samples).min().unwrap_or(0),
            relative_error: None,
            executor: executor.clone(),
        },
        run.options,
    )?;
    if voice.json() {
        voice.print_json(&Report {
            still: run.out.display().to_string(),
            width: picture.width,
            height: picture.height,
            executor,
            seconds: started.elapsed().as_secs_f64(),
            interrupted: interrupt.asked(),
            swatch,
            readings,
        })?;
    } else {
        let page = page(&taken.take.setup, view, &fabric, &made);
        voice.print(&format!(
            "{page}{}: {} x {} pixels, {}\n",
            run.out.display(),
            picture.width,
            picture.height,
            words::time(started.elapsed())
        ))?;
    }
    Ok(if interrupt.asked() {
        Exit::Interrupted
    } else {
        Exit::Done
    })
}

/// The cloth asked for, else that of the swatch where it is looked at, else the garment's.
fn fabric_of(setup: &Setup, view: &SwatchRun) -> Result<String, Failure> {
    let swatch = || setup.swatch.as_ref().map(|s| s.fabric.clone());
    let figure = || setup.figure.as_ref().map(|f| f.spec.fabric.clone());
    let own = || {
        if view.point == "swatch" {
            swatch().or_else(figure)
        } else {
            figure().or_else(swatch)
        }
    };
    view.fabric.clone().or_else(own).ok_or_else(|| {
        Failure::wrong(
            "the setup has no cloth",
            "say which: --fabric linen-slub, or another that `swatchlight fabric` lists",
        )
    })
}

/// Renders the pair and reads its contrasts.
fn make(
    run: &StillRun,
    view: &SwatchRun,
    name: &str,
    taken: &mut Taken,
    voice: &Arc<Voice>,
    interrupt: &Interrupt,
) -> Result<Vec<Made>, Failure> {
    let models = &taken.source.models;
    let fabric = models
        .fabric(name)
        .map_err(|e| Failure::wrong(e.to_string(), "see models/fabrics for what there is"))?;
    let stop = interrupt.flag();
    // A point that is not there is said before anything is traced.
    frame_at(&taken.take.setup, models, &view.point, [view.across_m; 2])
        .map_err(|e| failure(e.into()))?;
    let flats = if run.exact {
        None
    } else {
        let show = |share| voice.stage(share, "finding the light that the set bounces");
        bounce::find(
            &mut taken.executor,
            &mut taken.take.studio.scene,
            stop,
            show,
        )?
    };
    let look = Look {
        width_m: view.across_m,
        pixels: view.pixels,
        lay: view.lay,
        goal: run.goal,
    };
    let cloth = ClothAt {
        take: &taken.take,
        models,
        fabric: &fabric,
        point: &view.point,
        flats: flats.as_deref().unwrap_or_default(),
    };
    let executor = &mut taken.executor;
    let mut made = Vec::new();
    let rendering = |what: &'static str| {
        move |now: &Progress| voice.stage(now.done, &format!("the swatch under {what}"))
    };
    let reading = |share: f64| voice.stage(share, "reading its weave");
    let shot = cloth
        .picture(&look, executor, stop, rendering("the setup's light"))
        .map_err(failure)?;
    let weave = if interrupt.asked() {
        None
    } else {
        readable(cloth.weave(executor, stop, reading), voice)?
    };
    made.push(Made {
        light: "setup",
        bright: bright(&shot),
        shot,
        weave,
    });
    if let Some(light) = view.beside.filter(|_| !interrupt.asked()) {
        let shelf = models.shelf();
        let told = rendering("the reference");
        let shot = reference_picture(&fabric, &shelf, light, &look, executor, stop, told)
            .map_err(|e| failure(e.into()))?;
        let weave = if interrupt.asked() {
            None
        } else {
            readable(
                reference_weave(&fabric, &shelf, light, executor, stop, reading),
                voice,
            )?
        };
        made.push(Made {
            light: light.word(),
            bright: bright(&shot),
            shot,
            weave,
        });
    }
    voice.end_progress();
    Ok(made)
}

/// A cloth in the dark has no contrast, and that is no failure.
pub fn readable(
    weave: Result<WeaveSeen, ClothAtError>,
    voice: &Voice,
) -> Result<Option<WeaveSeen>, Failure> {
    match weave {
        Ok(weave) => Ok(Some(weave)),
        Err(ClothAtError::Contrast(dark @ ContrastError::Dark)) => {
            voice.note(&format!("warning: {dark}"));
            Ok(None)
        }
        Err(other) => Err(failure(other)),
    }
}

/// As a message of the command line.
pub fn failure(error: ClothAtError) -> Failure {
    match error {
        ClothAtError::Executor(e) => e.into(),
        ClothAtError::Patch(PatchError::Unknown { ref known, .. }) => Failure::wrong(
            error.to_string(),
            format!("known points: {}", known.join(", ")),
        ),
        other => Failure::wrong(other.to_string(), "see swatchlight still --help"),
    }
}

fn describe(
    view: &SwatchRun,
    fabric: &str,
    taken: &Taken,
    made: &[Made],
) -> Result<Swatch, Failure> {
    let aspect = f64::from(view.pixels[1]) / f64::from(view.pixels[0]);
    let size_m = [view.across_m, view.across_m * aspect];
    let frame = frame_at(&taken.take.setup, &taken.source.models, &view.point, size_m)
        .map_err(|e| failure(e.into()))?;
    let share = |e: Estimate| Share {
        share: e.value,
        error: e.error,
    };
    Ok(Swatch {
        point: view.point.clone(),
        fabric: fabric.to_owned(),
        lay: view.lay.word(),
        across_m: view.across_m,
        mm_per_px: 1e3 * view.across_m / f64::from(view.pixels[0]),
        position_m: frame.origin_m.into(),
        direction: frame.z.into(),
        shown: made
            .iter()
            .map(|m| Shown {
                light: m.light,
                samples_per_pixel: m.shot.samples,
                weave_contrast: m.weave.as_ref().map(Weave::new),
                highlight_share: share(m.bright.highlight_share),
                clipped_share: share(m.bright.clipped_share),
            })
            .collect(),
    })
}

fn panels<'a>(setup: &Setup, view: &SwatchRun, fabric: &str, made: &'a [Made]) -> Vec<Panel<'a>> {
    let one = |m: &'a Made| {
        let title = match m.light {
            "setup" => format!(
                "{fabric} at {}, facing {}",
                view.point,
                facing_word(setup, &view.point)
            ),
            word => format!("{word} reference, metered flat"),
        };
        let mut lines = Vec::new();
        if let Some(weave) = &m.weave {
            lines.push(format!(
                "weave contrast: relief {}, as dyed {}",
                contrast(&weave.relief),
                contrast(&weave.as_dyed)
            ));
        }
        lines.push(format!(
            "highlight {}, clipped {}",
            share_of(m.bright.highlight_share),
            share_of(m.bright.clipped_share)
        ));
        Panel {
            rgb: &m.shot.rgb,
            title,
            lines,
        }
    };
    made.iter().map(one).collect()
}

/// "14.2 ±0.1 %".
pub fn contrast(c: &WeaveContrast) -> String {
    let (value, error) = c
        .rms_without_noise
        .map_or((c.rms, 0.0), |n| (n.value, n.standard_error));
    with_error(Estimate { value, error })
}

/// In per cent, as many digits as the error lets count: "44.0 ±0.2 %", "0.013 ±0.004 %".
fn with_error(e: Estimate) -> String {
    let (value, error) = (100.0 * e.value, 100.0 * e.error);
    if error <= 0.0 {
        return format!("{} %", words::significant(value, 3));
    }
    let decimals = (-error.log10().floor()).clamp(0.0, 4.0) as usize;
    format!("{value:.decimals$} ±{error:.decimals$} %")
}

/// What is next to nothing says so.
fn share_of(e: Estimate) -> String {
    if e.value + 3.0 * e.error < 1e-4 {
        "under 0.01 %".into()
    } else {
        with_error(e)
    }
}

fn page(setup: &Setup, view: &SwatchRun, fabric: &str, made: &[Made]) -> String {
    let mut table = Table::new(
        [format!("{fabric}, {}", view.lay.word())]
            .into_iter()
            .chain(made.iter().map(|m| match m.light {
                "setup" => format!("at {}", view.point),
                word => format!("{word} reference"),
            })),
    );
    let weave = |of: fn(&WeaveSeen) -> String| -> Vec<String> {
        made.iter()
            .map(|m| m.weave.as_ref().map_or("-".into(), of))
            .collect()
    };
    let rows: [(&str, Vec<String>); 6] = [
        ("weave contrast, relief", weave(|w| contrast(&w.relief))),
        (
            "  Michelson",
            weave(|w| format!("{:.0} %", 100.0 * w.relief.michelson)),
        ),
        ("weave contrast, as dyed", weave(|w| contrast(&w.as_dyed))),
        (
            "  Michelson",
            weave(|w| format!("{:.0} %", 100.0 * w.as_dyed.michelson)),
        ),
        (
            "highlight share",
            made.iter()
                .map(|m| share_of(m.bright.highlight_share))
                .collect(),
        ),
        (
            "clipped share",
            made.iter()
                .map(|m| share_of(m.bright.clipped_share))
                .collect(),
        ),
    ];
    for (what, cells) in rows {
        table.row([what.to_owned()].into_iter().chain(cells));
    }
    format!(
        "{}\nThe patch faces {}. Contrast is of 2 x 2 cm lying flat, read at 0.05 mm; highlight is what lies 1.5 stops above the picture's median.\n",
        table.render(WIDEST),
        facing_word(setup, &view.point)
    )
}

/// About a fifth of the width, in a round number.
fn scale_bar(view: &SwatchRun) -> ScaleBar {
    let want_mm = 200.0 * view.across_m;
    let decade = 10_f64.powf(want_mm.log10().floor());
    let round = [5.0, 2.0, 1.0]
        .into_iter()
        .find(|k| k * decade <= want_mm * 1.001);
    let mm = round.unwrap_or(1.0) * decade;
    ScaleBar {
        length_px: mm * 1e-3 / view.across_m * f64::from(view.pixels[0]),
        words: length(mm * 1e-3),
    }
}

fn length(m: f64) -> String {
    if m < 0.01 {
        format!("{} mm", words::significant(1e3 * m, 3))
    } else {
        format!("{} cm", words::significant(1e2 * m, 3))
    }
}
