//! `balance`: what to set each light to, and what its head cannot give.

use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::resolved::ReadRun;
use super::table::{Table, WIDEST, name};
use super::take::take;
use super::voice::Voice;
use super::{json, readings, words};
use serde::Serialize;
use std::sync::Arc;
use swatchlight::measure::balance::{Balanced, HeadSetting};
use swatchlight::measure::readings::PointReading;
use swatchlight::measure::take::Take;
use swatchlight::photometry::FNumber;
use swatchlight::photometry::dial::on_dial;
use swatchlight::photometry::exposure::fnumber_from_exposure;
use swatchlight::photometry::flash::PowerLimit;
use swatchlight::render::executor::Executor;
use swatchlight::setup::Options;

/// A head this near its target is on it: a tenth of a stop is what meters show.
const NEAR_STOPS: f64 = 0.05;

/// What `balance --json` prints.
#[derive(Debug, Serialize)]
struct Report {
    setup: String,
    title: String,
    lights: Vec<json::Balance>,
    /// With every head at its nearest step.
    with_heads_set: Vec<Resulting>,
    executor: String,
}

/// What a point reads with every head at its nearest step.
#[derive(Debug, Serialize)]
struct Resulting {
    point: String,
    together: ResultingRead,
    lights: Vec<ResultingLight>,
}

#[derive(Debug, Serialize)]
struct ResultingLight {
    light: String,
    #[serde(flatten)]
    read: ResultingRead,
}

#[derive(Debug, Serialize)]
struct ResultingRead {
    exposure_lx_s: f64,
    f_number: Option<f64>,
    mark: Option<String>,
    tenths: Option<i32>,
}

/// Solves the powers and shows them.
///
/// # Errors
/// Targets that no output can meet, and what stands in the way of readings.
pub fn balance(run: &ReadRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
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
    let take = &taken.take;
    let resulting: Vec<Resulting> = take.points.iter().map(|p| resulting(take, p)).collect();
    if voice.json() {
        voice.print_json(&Report {
            setup: run.setup.shown(),
            title: take.setup.title.clone(),
            lights: json::balance(take),
            with_heads_set: resulting,
            executor: taken.executor.name(),
        })?;
    } else {
        voice.print(&page(take, &resulting))?;
    }
    Ok(if interrupt.asked() {
        Exit::Interrupted
    } else {
        Exit::Done
    })
}

fn page(take: &Take, resulting: &[Resulting]) -> String {
    let title = &take.setup.title;
    let mut text = if title.is_empty() {
        String::new()
    } else {
        format!("{title}\n\n")
    };
    text += &format!("{}\n", readings::lights(take));
    text += &powers(take);
    let cannot: String = take
        .balanced
        .iter()
        .enumerate()
        .filter_map(|(i, b)| shortfall(take, i, b))
        .collect();
    if !cannot.is_empty() {
        text += &format!("\n{cannot}");
    }
    if take.balanced.iter().any(|b| b.on && b.head.is_some()) {
        text += &format!(
            "\nWith every head at that step:\n{}",
            results(take, resulting)
        );
    }
    text
}

fn powers(take: &Take) -> String {
    let mut table = Table::new([
        "light",
        "target",
        "must give",
        "power",
        "set the head to",
        "which is",
    ]);
    for b in &take.balanced {
        let target = match &b.target {
            Some((f_number, point)) => {
                let mark = FNumber::exact(*f_number).map_or(String::new(), on_dial);
                // A point without a name of its own is called "at x, y, z".
                let at = if point.starts_with("at ") { "" } else { "at " };
                format!("{mark} {at}{}", name(point))
            }
            None => "as set".into(),
        };
        let (head, off) = match b.head {
            Some(head) => (head.power.to_string(), off_by(head)),
            None => ("-".into(), String::new()),
        };
        let light = if b.on {
            name(&b.light)
        } else {
            format!("{} (off)", name(&b.light))
        };
        table.row([
            light,
            target,
            words::amount(b.amount, b.continuous),
            b.power.map_or("-".into(), |p| power(p.fraction())),
            head,
            off,
        ]);
    }
    table.render(WIDEST)
}

/// A power as a fraction; one that no head has as so many times full.
fn power(fraction: f64) -> String {
    if fraction > 1.005 {
        return format!("{} x full", words::significant(fraction, 2));
    }
    swatchlight::photometry::PowerFraction::new(fraction).map_or("-".into(), |p| p.to_string())
}

fn off_by(head: HeadSetting) -> String {
    match head.error_stops {
        e if head.limit.is_none() && e.abs() < NEAR_STOPS => "right".into(),
        e if e < 0.0 => format!("{} short", words::stops(e)),
        e => format!("{} over", words::stops(e)),
    }
}

/// What a light cannot give, and what to do about it.
fn shortfall(take: &Take, index: usize, b: &Balanced) -> Option<String> {
    let head = b.head?;
    let by = words::stops(head.error_stops);
    // Far from a light, twice the distance takes two stops away.
    let (distance_m, ..) = take.setup.lights[index].place.taped();
    let other_m = distance_m * (head.error_stops / 2.0).exp2();
    match head.limit? {
        PowerLimit::CannotGoHigher => Some(format!(
            "{}: the head cannot give that, it is {by} short. Move the light nearer (to about {} m), open the lens,\n\
             raise the ISO, or use a stronger head.\n",
            b.light,
            words::significant(other_m, 2)
        )),
        PowerLimit::CannotGoLower => Some(format!(
            "{}: the head cannot go so low, it gives {by} too much. Move the light away (to about {} m), put a neutral\n\
             filter on it, or use a smaller head.\n",
            b.light,
            words::significant(other_m, 2)
        )),
    }
}

/// Readings scale with output, so no light is traced again.
fn resulting(take: &Take, point: &PointReading) -> Resulting {
    let setup = &take.setup;
    let constant = point.meter.receptor.constant(&setup.meter.constants);
    let show = |exposure_lx_s: f64| {
        let f_number = fnumber_from_exposure(exposure_lx_s, setup.camera.iso, constant);
        let mark = f_number.map(FNumber::mark);
        ResultingRead {
            exposure_lx_s,
            f_number: f_number.map(FNumber::value),
            mark: mark.as_ref().map(|m| m.mark.clone()),
            tenths: mark.map(|m| m.tenths),
        }
    };
    let alone: Vec<f64> = take
        .balanced
        .iter()
        .zip(&point.lights)
        .map(|(b, r)| r.exposure_lx_s.value * b.head.map_or(1.0, |h| h.error_stops.exp2()))
        .collect();
    Resulting {
        point: point.meter.name.clone(),
        together: show(alone.iter().sum()),
        lights: take
            .balanced
            .iter()
            .zip(&alone)
            .map(|(b, e)| ResultingLight {
                light: b.light.clone(),
                read: show(*e),
            })
            .collect(),
    }
}

fn results(take: &Take, resulting: &[Resulting]) -> String {
    let names = take.balanced.iter().map(|b| name(&b.light));
    let mut table = Table::new(
        ["point".to_owned()]
            .into_iter()
            .chain(names)
            .chain(["together".into()]),
    );
    let mark = |read: &ResultingRead| {
        let n = read.f_number.and_then(FNumber::exact);
        n.map_or("dark".into(), on_dial)
    };
    for r in resulting {
        let lights = r
            .lights
            .iter()
            .zip(&take.balanced)
            .map(|(l, b)| if b.on { mark(&l.read) } else { "off".into() });
        table.row(
            [name(&r.point)]
                .into_iter()
                .chain(lights)
                .chain([mark(&r.together)]),
        );
    }
    table.render(WIDEST)
}
