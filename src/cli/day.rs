//! `day`: what a real meter said, beside what was predicted; why; and what is learnt from it.

use super::cache;
use super::day_args::DayRun;
use super::day_page::{self, Document, Group, Session};
use super::exit::Exit;
use super::exit::Failure;
use super::interrupt::Interrupt;
use super::take::open;
use super::voice::Voice;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use swatchlight::measure::day::cause::causes;
use swatchlight::measure::day::fit::{Difference, Fit, Part, fit};
use swatchlight::measure::day::rank::{SMALL_THINGS_STOPS, rank};
use swatchlight::measure::day::save::{corrected, correction_stops};
use swatchlight::measure::day::sheet::{Sheet, SheetFault, parse_sheet};
use swatchlight::measure::day::{Row, as_stood, compare};
use swatchlight::measure::take::Take;
use swatchlight::render::steady::Steady;
use swatchlight::report::write_whole;
use swatchlight::scene::models::Models;
use swatchlight::setup::written::Written;
use swatchlight::setup::{Checked, Library, ModifierSource, parse};

/// Longest file of readings.
const LONGEST_SHEET: u64 = 1 << 20;
/// A difference of so many standard deviations asks for a reason.
const ASKS_FOR_REASON_SDS: f64 = 1.5;

/// Compares, gives reasons, learns, and saves where that is asked for.
///
/// # Errors
/// What is wrong with the readings or the setup, and what keeps the file from being written.
pub fn day(run: &DayRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let interrupt = Interrupt::listen(voice, "Stopping; press Ctrl-C again to stop at once.")?;
    let sheets = sheets(run)?;
    let mut source = run.setup.read()?;
    source.models = source
        .models
        .with_tables(cache::tables(&run.executing, voice))
        .with_stock(cache::stock(
            cache::folder(&run.executing),
            voice,
            interrupt.shared(),
        ));
    let written = Written::parse(&source.text(), &source.shown).map_err(Failure::Problems)?;
    let mut executor = open(&run.executing, voice)?;
    let mut sessions = Vec::new();
    let mut differences = Vec::new();
    let mut texts = Vec::new();
    for (number, sheet) in sheets.into_iter().enumerate() {
        let stood = as_stood(&written, &sheet.stood).map_err(one)?;
        let parsed = parse(&stood.text(), &source.shown, &source.models);
        let Checked { setup, notes } = parsed.map_err(Failure::Problems)?;
        if number == 0 {
            voice.notes(&notes);
        }
        let take = Take::new(
            setup,
            &source.models,
            &mut executor,
            run.goal,
            interrupt.flag(),
        )?;
        let rows = compare(&take, &sheet).map_err(all)?;
        if interrupt.asked() {
            return Err(Failure::interrupted(
                "stopped before the readings were compared",
            ));
        }
        remember(&mut texts, &take, &source.models);
        let groups = reasons(&take, &source.models, &rows, &texts, voice);
        voice.end_progress();
        differences.extend(rows.iter().map(|row| part(number, &take, &sheet, row)));
        sessions.push(Session::new(&take, sheet, rows, groups));
    }
    drop::<Steady>(executor);
    let fit = fit(&differences);
    let saved = match &run.save {
        Some(path) => Some(save(run, path, &fit, &texts, &sessions)?),
        None => None,
    };
    let document = Document {
        setup: run.setup.shown(),
        sessions,
        fit,
        saved,
    };
    match voice.json() {
        true => voice.print_json(&document)?,
        false => voice.print(&day_page::page(&document))?,
    }
    Ok(Exit::Done)
}

fn one(fault: SheetFault) -> Failure {
    Failure::wrong(fault.to_string(), fault.hint)
}

fn all(faults: Vec<SheetFault>) -> Failure {
    let lines: Vec<String> = faults.iter().map(|f| format!("{f} ({})", f.hint)).collect();
    match &faults[..] {
        [only] => one(only.clone()),
        _ => Failure::wrong(lines.join("\nerror: "), "mend each as said"),
    }
}

/// The days, the typed one last.
fn sheets(run: &DayRun) -> Result<Vec<Sheet>, Failure> {
    let mut sheets = Vec::new();
    for path in &run.files {
        let shown = path.display();
        let unreadable = |e: std::io::Error| {
            Failure::wrong(
                format!("cannot read {shown}: {e}"),
                "give a file of readings; docs/day.md shows one",
            )
        };
        if fs::metadata(path).map_err(unreadable)?.len() > LONGEST_SHEET {
            return Err(Failure::wrong(
                format!("{shown} is too long to be a file of readings"),
                "docs/day.md shows one",
            ));
        }
        let text = fs::read_to_string(path).map_err(unreadable)?;
        sheets.push(parse_sheet(&text, &shown.to_string()).map_err(all)?);
    }
    if !run.typed.readings.is_empty() {
        sheets.push(run.typed.clone());
    }
    Ok(sheets)
}

/// A modifier's name in the setup, and its file's text where it has one.
type ModifierText = (String, Option<String>);

fn remember(texts: &mut Vec<ModifierText>, take: &Take, models: &Models) {
    for light in &take.setup.lights {
        let name = &light.modifier.name;
        if texts.iter().any(|(known, _)| known == name) {
            continue;
        }
        let text = match &light.modifier.source {
            ModifierSource::Named(called) => models.modifier(called).ok().map(|found| found.text),
            ModifierSource::Inline => None,
        };
        texts.push((name.clone(), text));
    }
}

/// Whether a light's modifier was corrected by readings before.
fn known(take: &Take, texts: &[ModifierText]) -> Vec<bool> {
    let is_known = |name: &str| {
        let text = texts.iter().find(|(known, _)| known == name);
        let text = text.and_then(|(_, text)| text.as_deref());
        text.is_some_and(|t| matches!(correction_stops(t), Ok(Some(_))))
    };
    let lights = take.setup.lights.iter();
    lights.map(|l| is_known(&l.modifier.name)).collect()
}

/// Reasons for each light that was read alone, or for the whole where none was.
fn reasons(
    take: &Take,
    models: &Models,
    rows: &[Row],
    texts: &[ModifierText],
    voice: &Voice,
) -> Vec<Group> {
    let known = known(take, texts);
    let alone: Vec<usize> = (0..take.setup.lights.len())
        .filter(|l| rows.iter().any(|r| r.light == Some(*l)))
        .collect();
    let all: Vec<usize> = (0..take.setup.lights.len())
        .filter(|l| take.setup.lights[*l].on)
        .collect();
    let groups: Vec<(Option<usize>, Vec<usize>)> = match alone.is_empty() {
        true => vec![(None, all)],
        false => alone.iter().map(|l| (Some(*l), vec![*l])).collect(),
    };
    let many = groups.len() as f64;
    let mut found = Vec::new();
    for (done, (light, lights)) in groups.into_iter().enumerate() {
        let of: Vec<&Row> = rows.iter().filter(|r| r.light == light).collect();
        let differences: Vec<f64> = of.iter().map(|r| r.difference_stops).collect();
        let sds: Vec<f64> = of.iter().map(|r| r.sd_stops).collect();
        let others: Vec<f64> = alone
            .iter()
            .filter(|l| Some(**l) != light)
            .filter_map(|l| mean(rows.iter().filter(|r| r.light == Some(*l))))
            .collect();
        let asks = differences
            .iter()
            .zip(&sds)
            .any(|(d, sd)| d.abs() > ASKS_FOR_REASON_SDS * sd.hypot(SMALL_THINGS_STOPS));
        let ranked = match asks {
            true => {
                voice.stage(done as f64 / many, "weighing the reasons");
                let causes = causes(take, models.tables(), &of, &lights, &known, &others);
                rank(&causes, &differences, &sds)
            }
            false => Vec::new(),
        };
        found.push(Group {
            light: light.map(|l| take.setup.lights[l].name.clone()),
            difference_stops: mean(of.iter().copied()).unwrap_or_default(),
            reasons: ranked,
        });
    }
    found
}

fn mean<'a>(rows: impl Iterator<Item = &'a Row>) -> Option<f64> {
    let (sum, count) = rows.fold((0.0, 0), |(s, n), r| (s + r.difference_stops, n + 1));
    (count > 0).then(|| sum / f64::from(count))
}

/// A reading for the fit. A light's own name stands for its head where the sheet names none.
fn part(number: usize, take: &Take, sheet: &Sheet, row: &Row) -> Difference {
    let lights = take.setup.lights.iter().zip(&row.shares);
    let parts = lights.map(|(light, share)| {
        let stood = sheet.stood.iter().find(|s| s.light == light.name);
        let lamp = stood.and_then(|s| s.lamp.as_ref()).unwrap_or(&light.name);
        Part {
            lamp: lamp.clone(),
            modifier: light.modifier.name.clone(),
            placing: format!("{number} {}", light.name),
            share: *share,
        }
    });
    Difference {
        stops: row.difference_stops,
        sd_stops: row.sd_stops,
        parts: parts.collect(),
    }
}

fn save(
    run: &DayRun,
    path: &Path,
    fit: &Fit,
    texts: &[ModifierText],
    sessions: &[Session],
) -> Result<day_page::Saved, Failure> {
    let mut names: Vec<&str> = fit.pairs.iter().map(|p| p.modifier.as_str()).collect();
    names.dedup();
    let list = names.join(", ");
    let name = match (&run.modifier, &names[..]) {
        (Some(name), _) if names.contains(&name.as_str()) => name.as_str(),
        (Some(name), _) => {
            return Err(Failure::wrong(
                format!("no reading is of the modifier \"{name}\""),
                format!("there are readings of {list}"),
            ));
        }
        (None, [only]) => only,
        (None, _) => {
            let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned());
            let by_file = names.iter().find(|n| stem.as_deref() == Some(**n));
            *by_file.ok_or_else(|| {
                Failure::wrong(
                    format!("there are readings of several modifiers: {list}"),
                    "say which one is saved: --modifier NAME",
                )
            })?
        }
    };
    let more = fit.correction(name).unwrap_or_default();
    let own = texts.iter().find(|(n, _)| n == name);
    let Some(own) = own.and_then(|(_, text)| text.as_ref()) else {
        return Err(Failure::wrong(
            format!("the modifier \"{name}\" is written in the setup and has no file"),
            format!(
                "write correction = \"{:+.2} stop\" into its table there",
                more.stops
            ),
        ));
    };
    let shown = path.display();
    let wrong = |e: swatchlight::measure::day::save::SaveError| {
        Failure::wrong(format!("{shown}: {e}"), e.hint)
    };
    let readings = fit.pairs.iter().filter(|p| p.modifier == name);
    let readings = readings.map(|p| p.readings).sum();
    let dates: Vec<&str> = sessions
        .iter()
        .map(|s| s.date.trim())
        .filter(|d| !d.is_empty())
        .collect();
    // The predictions were made with the modifier as the setup finds it, so that is what is corrected.
    let text = corrected(own, more, &dates.join(", "), readings).map_err(wrong)?;
    write_whole(path, run.overwrite, |file| file.write_all(text.as_bytes()))?;
    let correction = correction_stops(&text).map_err(wrong)?;
    Ok(day_page::Saved {
        path: shown.to_string(),
        modifier: name.to_owned(),
        correction_stops: correction.unwrap_or_default(),
    })
}
