//! `read`: what a meter reads.

use super::dark_points::note_dark_points;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::json::Readings;
use super::moire::note_moire;
use super::resolved::ReadRun;
use super::swatch_still::{contrast, readable};
use super::table::{Table, WIDEST, name};
use super::take::{Taken, take};
use super::voice::Voice;
use super::{readings, words};
use std::sync::Arc;
use swatchlight::measure::cloth_at::{ClothAt, WeaveSeen};
use swatchlight::render::bounce;
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
    let mut taken = take(
        &run.setup,
        Options::default(),
        &run.executing,
        run.goal,
        voice,
        &interrupt,
    )?;
    note_moire(&mut taken, voice);
    note_dark_points(&mut taken, voice);
    let weaves = match run.cloth {
        true => weaves(&mut taken, voice, &interrupt)?,
        false => Vec::new(),
    };
    if voice.json() {
        let mut document = Readings::new(
            &run.setup.shown(),
            &taken.take,
            &taken.notes,
            taken.executor.name(),
        );
        for w in &weaves {
            document.add_weave(&w.point, &w.fabric, &w.seen);
        }
        voice.print_json(&document)?;
    } else {
        let page = readings::page(&taken.take);
        voice.print(&format!("{page}{}", weave_page(&weaves)))?;
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

/// What was seen of the weave at a point.
struct WeaveAt {
    point: String,
    fabric: String,
    seen: WeaveSeen,
}

/// The garment's weave at the setup's points, and the swatch's own where it lies.
fn weaves(
    taken: &mut Taken,
    voice: &Voice,
    interrupt: &Interrupt,
) -> Result<Vec<WeaveAt>, Failure> {
    let stop = interrupt.flag();
    let show = |share| voice.stage(share, "finding the light that the set bounces");
    let scene = &mut taken.take.studio.scene;
    let flats = bounce::find(&mut taken.executor, scene, stop, show)?.unwrap_or_default();
    let setup = &taken.take.setup;
    let worn = setup.figure.as_ref().map(|f| f.spec.fabric.clone());
    let own = setup.swatch.as_ref().map(|s| s.fabric.clone());
    let worn = worn.or_else(|| own.clone());
    let points: Vec<(String, String)> = setup
        .meter
        .points
        .iter()
        .filter_map(|m| Some((m.name.clone(), worn.clone()?)))
        .filter(|(point, _)| point != "swatch")
        .chain(own.map(|fabric| ("swatch".to_owned(), fabric)))
        .collect();
    let mut found = Vec::new();
    let all = points.len() as f64;
    for (k, (point, fabric)) in points.into_iter().enumerate() {
        if interrupt.asked() {
            break;
        }
        let cloth =
            taken.source.models.fabric(&fabric).map_err(|e| {
                Failure::wrong(e.to_string(), "see models/fabrics for what there is")
            })?;
        let at = ClothAt {
            take: &taken.take,
            models: &taken.source.models,
            fabric: &cloth,
            point: &point,
            flats: &flats,
        };
        let show = |share: f64| voice.stage((k as f64 + share) / all, "reading the weave");
        let seen = readable(at.weave(&mut taken.executor, stop, show), voice)?;
        // What was cut short has no error to go by.
        found.extend(seen.filter(|_| !interrupt.asked()).map(|seen| WeaveAt {
            point,
            fabric,
            seen,
        }));
    }
    voice.end_progress();
    Ok(found)
}

fn weave_page(weaves: &[WeaveAt]) -> String {
    if weaves.is_empty() {
        return String::new();
    }
    let mut table = Table::new(["weave contrast at", "of", "relief", "as dyed"]);
    for w in weaves {
        table.row([
            name(&w.point),
            name(&w.fabric),
            contrast(&w.seen.relief),
            contrast(&w.seen.as_dyed),
        ]);
    }
    format!("\n{}", table.render(WIDEST))
}
