//! `sweep`: one setup in several states, side by side.

use super::cache;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::resolved::Executing;
use super::source::{SetupFrom, Source};
use super::sweep_args::SweepRun;
use super::table::{Table, WIDEST, name};
use super::take::open;
use super::vary_json::StateFound;
use super::voice::Voice;
use super::words;
use serde::Serialize;
use std::io::Write as _;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use swatchlight::measure::vary::{
    Axis, AxisError, Exposing, Goals, Made, Plan, PlanError, Stage, Step, VaryError, run,
};
use swatchlight::photometry::FNumber;
use swatchlight::photometry::dial::on_dial;
use swatchlight::render::executor::Executor;
use swatchlight::report::contact::{
    FADE_S, HOLD_S, Head, Moving, amount_in_stops, csv, draw, mark_words, moving, watched,
};
use swatchlight::report::{Overwrite, WholeFile, write_page, write_whole};
use swatchlight::setup::written::Written;
use swatchlight::setup::{Aperture, Checked, Options, Problems, Setup};

/// Height of a picture when nothing is asked for.
pub const USUAL_HEIGHT: u32 = 400;

/// What `sweep --json` prints.
#[derive(Debug, Serialize)]
struct Report {
    setup: String,
    title: String,
    over: Vec<Over>,
    exposure: &'static str,
    files: Vec<String>,
    states: Vec<StateReport>,
    moving: Option<MovingReport>,
    executor: String,
    seconds: f64,
}

#[derive(Debug, Serialize)]
struct Over {
    key: String,
    values: Vec<String>,
}

#[derive(Debug, Serialize)]
struct StateReport {
    values: Vec<String>,
    /// The state whose film the picture was mixed from.
    film_of: Option<usize>,
    #[serde(flatten)]
    found: StateFound,
}

#[derive(Debug, Serialize)]
struct MovingReport {
    frames: usize,
    seconds: f64,
    general_flashes_in_a_second: usize,
    red_flashes_in_a_second: usize,
}

/// Takes all states, and writes and shows what was found.
///
/// # Errors
/// What stands in the way of any state; nothing is written then.
pub fn sweep(sweep: &SweepRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let started = Instant::now();
    let interrupt = Interrupt::listen(voice, "Stopping; nothing is written.")?;
    let pictures = sweep.goals.pictures.is_some();
    let page = pictures.then_some(&sweep.out.0);
    let files = [page, sweep.moving.as_ref(), sweep.table.as_ref()];
    for path in files.into_iter().flatten() {
        // Refuse now what would be refused in the end.
        drop(WholeFile::open(path, sweep.overwrite)?);
    }
    let source = read(&sweep.setup, &sweep.executing, voice, &interrupt)?;
    let plan = plan(sweep, &source, voice, &interrupt)?;
    say_notes(
        plan.states.iter().map(|s| (s.name.as_str(), &s.notes)),
        voice,
    );
    let mut executor = open(&sweep.executing, voice)?;
    voice.note(&intention(&plan, &sweep.goals));
    let setups: Vec<&Setup> = plan.states.iter().map(|s| &s.setup).collect();
    let names: Vec<&str> = plan.states.iter().map(|s| s.name.as_str()).collect();
    let mut show = |step: &Step| voice.stage(step.share, &stage_words(step, &names));
    let made = run(
        &setups,
        &vec![&source.models; setups.len()],
        &mut executor,
        sweep.goals,
        interrupt.flag(),
        &mut show,
    );
    voice.end_progress();
    let Some(made) = made.map_err(|e| of_state(e, &names))? else {
        return Ok(stopped(voice));
    };
    let head = Head {
        title: title(&setups[0].title, &source),
        exposure: exposure_words(&plan, &made, sweep.goals.exposing),
    };
    let moving = sweep.moving.as_ref().map(|_| {
        let all: Vec<_> = made.iter().filter_map(|m| m.picture.as_ref()).collect();
        moving(&all)
    });
    let moving = moving.transpose()?;
    if interrupt.asked() {
        return Ok(stopped(voice));
    }
    let written = write(sweep, &plan, &made, &head, moving.as_ref())?;
    if voice.json() {
        voice.print_json(&report(
            sweep,
            &plan,
            &made,
            moving.as_ref(),
            &written,
            executor.name(),
            started.elapsed(),
        ))?;
    } else {
        voice.print(&text(&plan, &made, &head))?;
        say_written(&written, moving.as_ref(), &made, started.elapsed(), voice);
    }
    Ok(Exit::Done)
}

/// Says that an interrupted command left nothing.
pub fn stopped(voice: &Voice) -> Exit {
    voice.note("Interrupted; nothing was written.");
    Exit::Interrupted
}

/// A setup's text, and models with what is kept of them.
///
/// # Errors
/// As [`SetupFrom::read`].
pub fn read(
    setup: &SetupFrom,
    executing: &Executing,
    voice: &Arc<Voice>,
    interrupt: &Interrupt,
) -> Result<Source, Failure> {
    let mut source = setup.read()?;
    source.models = source
        .models
        .with_tables(cache::tables(executing, voice))
        .with_stock(cache::stock(
            cache::folder(executing),
            voice,
            interrupt.shared(),
        ));
    Ok(source)
}

/// The setup as it is, and the size that its picture is to have.
///
/// # Errors
/// Its problems.
pub fn checked(
    source: &Source,
    size: Option<[u32; 2]>,
    interrupt: &Interrupt,
) -> Result<(Checked, Options), Failure> {
    let parse = |laid_over: Options| {
        source
            .parse(laid_over)
            .map_err(|problems| match interrupt.asked() {
                true => Failure::interrupted("stopped while the stand-in was being built"),
                false => Failure::Problems(problems),
            })
    };
    let asked = Options { pixels: size };
    let checked = parse(asked)?;
    if size.is_some() {
        return Ok((checked, asked));
    }
    let [w, h] = checked.setup.camera.pixels.map(f64::from);
    let width = (f64::from(USUAL_HEIGHT) * w / h)
        .round()
        .clamp(16.0, 4000.0);
    let small = Options {
        pixels: Some([width as u32, USUAL_HEIGHT]),
    };
    Ok((parse(small)?, small))
}

fn plan(
    sweep: &SweepRun,
    source: &Source,
    voice: &Voice,
    interrupt: &Interrupt,
) -> Result<Plan, Failure> {
    let (_, laid_over) = checked(source, sweep.size, interrupt)?;
    let written = Written::parse(&source.text(), &source.shown).map_err(Failure::Problems)?;
    let axes: Vec<Axis> = sweep
        .over
        .iter()
        .map(|typed| Axis::typed(typed, &written))
        .collect::<Result<_, _>>()
        .map_err(of_axis)?;
    match Plan::new(&written, &source.shown, axes, &source.models, laid_over) {
        Ok(plan) => Ok(plan),
        Err(_) if interrupt.asked() => Err(Failure::interrupted(
            "stopped while a state was being built",
        )),
        Err(PlanError::Axes(error)) => Err(of_axis(error)),
        Err(PlanError::States(mut bad)) => {
            let others: Vec<String> = bad[1..].iter().map(|(name, _)| name.clone()).collect();
            if !others.is_empty() {
                voice.note(&format!(
                    "Of the states, {} are no good setups; the first is told below, the others are: {}.",
                    bad.len(),
                    others.join("; ")
                ));
            }
            Err(Failure::Problems(bad.swap_remove(0).1))
        }
    }
}

fn of_axis(error: AxisError) -> Failure {
    Failure::wrong(error.what, error.hint)
}

/// What stands in the way of a state, with its name.
pub fn of_state(error: VaryError, names: &[&str]) -> Failure {
    let state = names[error.state];
    match Failure::from(error.source) {
        Failure::Message { exit, what, hint } => Failure::Message {
            exit,
            what: format!("with {state}: {what}"),
            hint,
        },
        other => other,
    }
}

/// Says warnings and cautions, each once, though several states may have it.
pub fn say_notes<'a>(states: impl Iterator<Item = (&'a str, &'a Problems)>, voice: &Voice) {
    let mut said: Vec<(String, Vec<&str>)> = Vec::new();
    let states: Vec<_> = states.collect();
    for (name, notes) in &states {
        for note in notes.list() {
            let text = match note.hint.is_empty() {
                true => format!("{}: {}", note.severity.word(), note.message),
                false => format!("{}: {}; {}", note.severity.word(), note.message, note.hint),
            };
            match said.iter_mut().find(|(have, _)| *have == text) {
                Some((_, with)) => with.push(name),
                None => said.push((text, vec![name])),
            }
        }
    }
    for (text, with) in said {
        match with.len() == states.len() {
            true => voice.note(&text),
            false => voice.note(&format!("{text} (with {})", with.join("; "))),
        }
    }
}

pub fn stage_words(step: &Step, names: &[&str]) -> String {
    let doing = match step.stage {
        Stage::Reading => "reading",
        Stage::Bounce => "finding bounced light",
        Stage::Picture => "rendering",
    };
    format!("{doing} {}", names[step.state])
}

fn intention(plan: &Plan, goals: &Goals) -> String {
    let states = words::count(plan.states.len() as u32, "state");
    let [w, h] = plan.states[0].setup.camera.pixels;
    match goals.pictures.map(|g| g.relative_error) {
        None => format!("Reading {states}."),
        Some(Some(noise)) => format!(
            "Taking {states} at {w} x {h} pixels, each to {} noise.",
            words::percent(noise)
        ),
        Some(None) => format!("Taking {states} at {w} x {h} pixels."),
    }
}

pub fn title(title: &str, source: &Source) -> String {
    match title.is_empty() {
        true => Path::new(&source.shown)
            .file_name()
            .map_or(source.shown.clone(), |n| n.to_string_lossy().into_owned()),
        false => title.to_owned(),
    }
}

fn f_number_words(n: f64) -> String {
    FNumber::exact(n).map_or("no f-number".into(), on_dial)
}

fn exposure_words(plan: &Plan, made: &[Made], exposing: Exposing) -> String {
    let first = &plan.states[0].setup;
    let at = f_number_words(made[0].f_number);
    let point = &first.meter.expose_at.name;
    let one = made.iter().all(|m| m.f_number == made[0].f_number);
    match (exposing, first.camera.f_number, one) {
        (Exposing::Each, _, false) => format!("Each exposed as it meters at {point}."),
        (Exposing::Each, _, true) => format!("All exposed at {at}, as each meters at {point}."),
        (_, Aperture::Set(_), true) => format!("All exposed at {at}, as the setup says."),
        (_, _, true) => format!("All exposed at {at}, as the first meters at {point}."),
        (_, _, false) => "Each exposed at the f-number that it sets.".into(),
    }
}

/// The table on the terminal.
fn text(plan: &Plan, made: &[Made], head: &Head) -> String {
    let lights = &plan.states[0].setup.lights;
    let light = watched(plan, made);
    let mut header: Vec<String> = plan.axes.iter().map(|a| a.path.shown()).collect();
    header.extend(lights.iter().map(|l| format!("{} alone", name(&l.name))));
    header.push("together".into());
    let watched_name = light.map(|k| name(&lights[k].name));
    header.extend(watched_name.iter().map(|n| format!("edge of {n}")));
    let follows = |k: usize| made.iter().any(|m| m.balanced[k].target.is_some());
    let powered: Vec<usize> = (0..lights.len()).filter(|k| follows(*k)).collect();
    header.extend(
        powered
            .iter()
            .map(|k| format!("{} power", name(&lights[*k].name))),
    );
    let even = made.iter().any(|m| m.evenness_stops.is_some());
    header.extend(even.then(|| "evenness".to_owned()));
    let ratio = made[0].ratios.first();
    header.extend(ratio.map(|r| format!("{} : {}", name(&r.key), name(&r.fill))));
    let mut table = Table::new(header);
    for (k, (state, one)) in plan.states.iter().zip(made).enumerate() {
        let each = plan.axes.iter().zip(&state.at);
        let mut row: Vec<String> = each.map(|(a, v)| name(&a.label(*v))).collect();
        let of = state.setup.lights.iter().zip(&one.expose_at.lights);
        row.extend(of.map(|(l, r)| if l.on { mark_words(r) } else { "off".into() }));
        row.push(mark_words(&one.expose_at.together));
        row.extend(light.map(|l| edge_words(one, &state.setup.lights[l].name)));
        row.extend(powered.iter().map(|l| power_words(made, k, *l)));
        if even {
            row.push(one.evenness_stops.map_or("-".into(), words::stops));
        }
        row.extend(ratio.map(|r| {
            let same = one
                .ratios
                .iter()
                .find(|o| o.key == r.key && o.fill == r.fill);
            same.map_or("-".into(), |r| {
                format!("{} : 1", words::significant(r.key_to_fill, 2))
            })
        }));
        table.row(row);
    }
    let targets = match powered.is_empty() {
        true => "",
        false => {
            "Lights with a target keep it: their power follows, told in stops from the first state.\n"
        }
    };
    format!(
        "{}\n{} Read at {}.\n{targets}\n{}",
        head.title,
        head.exposure,
        made[0].expose_at.meter.name,
        table.render(WIDEST)
    )
}

pub fn edge_words(made: &Made, light: &str) -> String {
    let Some(edge) = made.edge_of(light).map(|e| e.edge) else {
        return "-".into();
    };
    let [least, greatest] = [edge.least_mm, edge.greatest_mm].map(|v| words::significant(v, 2));
    match least == greatest {
        true => format!("{least} mm"),
        false => format!("{least} to {greatest} mm"),
    }
}

fn power_words(made: &[Made], state: usize, light: usize) -> String {
    let b = &made[state].balanced[light];
    let beyond = b
        .head
        .and_then(|h| h.limit)
        .map_or("", |_| " (beyond its head)");
    match amount_in_stops(made, state, light) {
        None => "-".into(),
        Some(_) if state == 0 => format!("{}{beyond}", words::amount(b.amount, b.continuous)),
        Some(stops) => format!("{:+.1}{beyond}", stops + 0.0),
    }
}

fn write(
    sweep: &SweepRun,
    plan: &Plan,
    made: &[Made],
    head: &Head,
    moving: Option<&Moving>,
) -> Result<Vec<String>, Failure> {
    let mut written = Vec::new();
    if sweep.goals.pictures.is_some() {
        let (path, format) = &sweep.out;
        let file = WholeFile::open(path, sweep.overwrite)?;
        write_page(file, *format, &draw(plan, made, head))?;
        written.push(path.display().to_string());
    }
    if let (Some(path), Some(moving)) = (&sweep.moving, moving) {
        put(path, sweep.overwrite, &moving.bytes)?;
        written.push(path.display().to_string());
    }
    if let Some(path) = &sweep.table {
        put(path, sweep.overwrite, csv(plan, made).as_bytes())?;
        written.push(path.display().to_string());
    }
    Ok(written)
}

pub fn put(path: &Path, overwrite: Overwrite, bytes: &[u8]) -> Result<(), Failure> {
    Ok(write_whole(path, overwrite, |file| file.write_all(bytes))?)
}

fn say_written(
    written: &[String],
    moving: Option<&Moving>,
    made: &[Made],
    took: Duration,
    voice: &Voice,
) {
    let mixed = (0..made.len()).filter(|k| made[*k].was_mixed(*k)).count();
    if made[0].picture.is_some() && mixed > 0 {
        voice.note(&format!(
            "{mixed} of {} pictures were mixed from a film that was there already.",
            made.len()
        ));
    }
    if let Some(moving) = moving {
        voice.note(&format!(
            "The moving picture: {} frames in {:.0} s; each state stands {HOLD_S} s and takes {FADE_S} s to fade; \
             at most {} flashes in a second (WCAG 2.2 allows 3).",
            moving.frames,
            moving.seconds,
            moving.flashes.general.max(moving.flashes.red)
        ));
    }
    if !written.is_empty() {
        voice.note(&format!(
            "Wrote {} in {}.",
            written.join(", "),
            words::time(took)
        ));
    }
}

fn report(
    sweep: &SweepRun,
    plan: &Plan,
    made: &[Made],
    moving: Option<&Moving>,
    written: &[String],
    executor: String,
    took: Duration,
) -> Report {
    let each = plan.states.iter().zip(made);
    Report {
        setup: sweep.setup.shown(),
        title: plan.states[0].setup.title.clone(),
        over: plan
            .axes
            .iter()
            .map(|a| Over {
                key: a.path.shown(),
                values: a.values.clone(),
            })
            .collect(),
        exposure: match sweep.goals.exposing {
            Exposing::Each => "each",
            _ => "same",
        },
        files: written.to_vec(),
        states: each
            .map(|(state, one)| StateReport {
                values: plan
                    .axes
                    .iter()
                    .zip(&state.at)
                    .map(|(a, k)| a.values[*k].clone())
                    .collect(),
                film_of: one.picture.as_ref().map(|_| one.film_of),
                found: StateFound::new(&state.setup, one),
            })
            .collect(),
        moving: moving.map(|m| MovingReport {
            frames: m.frames,
            seconds: m.seconds,
            general_flashes_in_a_second: m.flashes.general,
            red_flashes_in_a_second: m.flashes.red,
        }),
        executor,
        seconds: took.as_secs_f64(),
    }
}
