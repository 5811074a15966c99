//! `compare`: setups side by side, and what differs.

use super::compare_args::CompareRun;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::source::Source;
use super::sweep::{checked, of_state, put, read, say_notes, stage_words, stopped};
use super::table::{Table, WIDEST, name};
use super::take::open;
use super::vary_json::StateFound;
use super::voice::Voice;
use super::words;
use serde::Serialize;
use std::sync::Arc;
use std::time::{Duration, Instant};
use swatchlight::measure::vary::{Exposing, Step, run};
use swatchlight::photometry::FNumber;
use swatchlight::photometry::dial::on_dial;
use swatchlight::render::executor::Executor;
use swatchlight::report::compare::{Side, apart, draw, figures, html, rows};
use swatchlight::report::contact::Head;
use swatchlight::report::{WholeFile, write_page};
use swatchlight::setup::Setup;
use swatchlight::setup::differ::{Difference, differences};

/// What `compare --json` prints.
#[derive(Debug, Serialize)]
struct Report {
    exposure: &'static str,
    setups: Vec<SetupReport>,
    differences: Vec<DifferenceReport>,
    pictures_apart: Vec<Option<ApartReport>>,
    files: Vec<String>,
    executor: String,
    seconds: f64,
}

#[derive(Debug, Serialize)]
struct SetupReport {
    setup: String,
    title: String,
    #[serde(flatten)]
    found: StateFound,
}

#[derive(Debug, Serialize)]
struct DifferenceReport {
    key: String,
    values: Vec<Option<String>>,
}

/// A picture against the first: the stops that 5 %, half and 95 % of the pixels lie under.
#[derive(Debug, Serialize)]
struct ApartReport {
    setup: String,
    low_stops: f64,
    median_stops: f64,
    high_stops: f64,
}

/// Takes all setups, and writes and shows how they differ.
///
/// # Errors
/// What stands in the way of any of them; nothing is written then.
pub fn compare(compare: &CompareRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let started = Instant::now();
    let interrupt = Interrupt::listen(voice, "Stopping; nothing is written.")?;
    for path in [Some(&compare.out.0), compare.wipe.as_ref()]
        .into_iter()
        .flatten()
    {
        drop(WholeFile::open(path, compare.overwrite)?);
    }
    let mut sources: Vec<Source> = Vec::new();
    let mut all = Vec::new();
    for from in &compare.setups {
        let source = read(from, &compare.executing, voice, &interrupt)?;
        all.push(checked(&source, compare.size, &interrupt)?.0);
        sources.push(source);
    }
    let names = names(compare);
    let shown: Vec<&str> = names.iter().map(String::as_str).collect();
    say_notes(
        shown.iter().copied().zip(all.iter().map(|c| &c.notes)),
        voice,
    );
    let mut executor = open(&compare.executing, voice)?;
    let setups: Vec<&Setup> = all.iter().map(|c| &c.setup).collect();
    let models: Vec<_> = sources.iter().map(|s| &s.models).collect();
    let mut show = |step: &Step| voice.stage(step.share, &stage_words(step, &shown));
    let made = run(
        &setups,
        &models,
        &mut executor,
        compare.goals,
        interrupt.flag(),
        &mut show,
    );
    voice.end_progress();
    let Some(made) = made.map_err(|e| of_state(e, &shown))? else {
        return Ok(stopped(voice));
    };
    let sides: Vec<Side<'_>> = names
        .iter()
        .zip(&setups)
        .zip(&made)
        .map(|((name, setup), made)| Side { name, setup, made })
        .collect();
    let differ = differences(&setups);
    let head = Head {
        title: shown.join(", "),
        exposure: exposure_words(compare.goals.exposing, &sides[0]),
    };
    let wipe = compare
        .wipe
        .as_ref()
        .map(|path| Ok((path, html(&sides, &differ, &head)?)));
    let wipe: Option<(_, String)> = wipe
        .transpose()
        .map_err(|e: swatchlight::report::StillError| Failure::from(e))?;
    if interrupt.asked() {
        return Ok(stopped(voice));
    }
    let (path, format) = &compare.out;
    let file = WholeFile::open(path, compare.overwrite)?;
    write_page(file, *format, &draw(&sides, &differ, &head))?;
    let mut written = vec![path.display().to_string()];
    if let Some((path, text)) = wipe {
        put(path, compare.overwrite, text.as_bytes())?;
        written.push(path.display().to_string());
    }
    if voice.json() {
        voice.print_json(&report(
            compare,
            &sides,
            &differ,
            written,
            executor.name(),
            started.elapsed(),
        ))?;
    } else {
        voice.print(&text(&sides, &differ, &head))?;
        voice.note(&format!(
            "Wrote {} in {}.",
            written.join(", "),
            words::time(started.elapsed())
        ));
    }
    Ok(Exit::Done)
}

/// The files' names without folders; whole where two are the same, numbered where those are too.
fn names(compare: &CompareRun) -> Vec<String> {
    let stems: Vec<String> = compare.setups.iter().map(|s| s.stem()).collect();
    let whole: Vec<String> = compare.setups.iter().map(|s| s.shown()).collect();
    let twice = |list: &[String], k: usize| list.iter().filter(|n| **n == list[k]).count() > 1;
    let one = |k: usize| match (twice(&stems, k), twice(&whole, k)) {
        (false, _) => stems[k].clone(),
        (true, false) => whole[k].clone(),
        (true, true) => format!("{} ({})", stems[k], k + 1),
    };
    (0..stems.len()).map(one).collect()
}

fn exposure_words(exposing: Exposing, first: &Side<'_>) -> String {
    let mark = FNumber::exact(first.made.f_number).map_or(String::new(), on_dial);
    match exposing {
        Exposing::Each => "Each exposed as its own setup says.".into(),
        _ => format!(
            "All at the exposure of {}: {mark}, ISO {}, its white balance.",
            first.name,
            words::significant(first.setup.camera.iso, 4)
        ),
    }
}

fn text(sides: &[Side<'_>], differ: &[Difference], head: &Head) -> String {
    let mut parts = vec![format!("{}\n", head.exposure)];
    let differ = rows(differ);
    if differ.is_empty() {
        parts.push("Nothing differs in the setups.\n".into());
    } else {
        let mut table = Table::new(
            ["differs"]
                .into_iter()
                .map(str::to_owned)
                .chain(sides.iter().map(|s| name(s.name))),
        );
        for (key, values) in &differ {
            let values = values.iter().map(|v| name(v));
            table.row([name(key)].into_iter().chain(values));
        }
        parts.push(table.render(WIDEST));
    }
    let mut table = Table::new(
        ["reads"]
            .into_iter()
            .map(str::to_owned)
            .chain(sides.iter().map(|s| name(s.name))),
    );
    for f in figures(sides) {
        table.row(
            [name(&f.name)]
                .into_iter()
                .chain(f.values.iter().map(|v| name(v))),
        );
    }
    parts.push(table.render(WIDEST));
    for side in &sides[1..] {
        parts.push(match apart_of(sides, side) {
            Some(a) => format!(
                "Picture of {} against {}: {}\n",
                name(side.name),
                name(sides[0].name),
                a.words()
            ),
            None => format!(
                "The picture of {} has another shape than the first.\n",
                name(side.name)
            ),
        });
    }
    parts.join("\n")
}

fn apart_of(sides: &[Side<'_>], side: &Side<'_>) -> Option<swatchlight::report::compare::Apart> {
    apart(sides[0].made.picture.as_ref()?, side.made.picture.as_ref()?)
}

fn report(
    compare: &CompareRun,
    sides: &[Side<'_>],
    differ: &[Difference],
    files: Vec<String>,
    executor: String,
    took: Duration,
) -> Report {
    Report {
        exposure: match compare.goals.exposing {
            Exposing::Each => "each",
            _ => "same",
        },
        setups: sides
            .iter()
            .zip(&compare.setups)
            .map(|(side, from)| SetupReport {
                setup: from.shown(),
                title: side.setup.title.clone(),
                found: StateFound::new(side.setup, side.made),
            })
            .collect(),
        differences: differ
            .iter()
            .map(|d| DifferenceReport {
                key: d.key.clone(),
                values: d.values.clone(),
            })
            .collect(),
        pictures_apart: sides[1..]
            .iter()
            .map(|side| {
                let a = apart_of(sides, side)?;
                Some(ApartReport {
                    setup: side.name.to_owned(),
                    low_stops: a.shares[0],
                    median_stops: a.shares[1],
                    high_stops: a.shares[2],
                })
            })
            .collect(),
        files,
        executor,
        seconds: took.as_secs_f64(),
    }
}
