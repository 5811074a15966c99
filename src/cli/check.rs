//! `check`: what is wrong with setups, all at once.

use super::cache;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::json::{Note, notes_of};
use super::moire::add_moire;
use super::source::{SetupFrom, Source};
use super::voice::{Voice, colour};
use super::words;
use serde::Serialize;
use std::io::stdout;
use std::sync::Arc;
use swatchlight::scene::stock::Stock;
use swatchlight::scene::studio::Studio;
use swatchlight::setup::{Checked, Options, Problems, Severity};

/// What was found in all setups.
#[derive(Debug, Serialize)]
struct Report {
    ok: bool,
    setups: Vec<Verdict>,
}

/// What was found in one.
#[derive(Debug, Serialize)]
struct Verdict {
    setup: String,
    ok: bool,
    title: Option<String>,
    problems: Vec<Note>,
    /// What is wrong with no place in the file: a file that is not there, a broken model.
    error: Option<Trouble>,
}

#[derive(Debug, Serialize)]
struct Trouble {
    message: String,
    hint: Option<String>,
}

/// Checks setups and reports on stdout.
///
/// # Errors
/// When the report cannot be written.
pub fn check(setups: &[SetupFrom], voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let interrupt = Interrupt::listen(voice, "Stopping.")?;
    let mut text = String::new();
    let mut verdicts = Vec::new();
    for setup in setups {
        let stock = cache::stock(cache::system_folder(), voice, interrupt.shared());
        let (problems, verdict) = examine(setup, stock);
        if interrupt.asked() {
            return Err(Failure::interrupted(
                "stopped before all setups were checked",
            ));
        }
        text += &problems.render(colour(&stdout()));
        if let Some(trouble) = &verdict.error {
            text += &format!("{}: error: {}\n", setup.shown(), trouble.message);
            text += &trouble
                .hint
                .as_ref()
                .map_or(String::new(), |h| format!("  = {h}\n"));
        }
        text += &format!("{}: {}\n", setup.shown(), summary(&problems, &verdict));
        verdicts.push(verdict);
    }
    let ok = verdicts.iter().all(|v| v.ok);
    if voice.json() {
        voice.print_json(&Report {
            ok,
            setups: verdicts,
        })?;
    } else {
        voice.print(&text)?;
    }
    Ok(if ok { Exit::Done } else { Exit::Wrong })
}

/// Parses a setup and builds its scene, which needs its models whole.
fn examine(setup: &SetupFrom, stock: Stock) -> (Problems, Verdict) {
    let mut source = match setup.read() {
        Ok(source) => source,
        Err(failure) => {
            return (
                Problems::default(),
                verdict(setup, None, &Problems::default(), trouble(failure)),
            );
        }
    };
    source.models = source.models.with_stock(stock);
    match source.parse(Options::default()) {
        Err(problems) => {
            let verdict = verdict(setup, None, &problems, None);
            (problems, verdict)
        }
        Ok(Checked {
            setup: checked,
            notes,
        }) => {
            let mut notes = notes;
            let error = build(&checked, &source);
            if error.is_none() {
                add_moire(&mut notes, &checked, &source.models, None);
            }
            let verdict = verdict(setup, Some(checked.title), &notes, error);
            (notes, verdict)
        }
    }
}

fn build(setup: &swatchlight::setup::Setup, source: &Source) -> Option<Trouble> {
    let error = Studio::build(setup, &source.models).err()?;
    trouble(swatchlight::measure::take::TakeError::from(error).into())
}

fn trouble(failure: Failure) -> Option<Trouble> {
    match failure {
        Failure::Message { what, hint, .. } => Some(Trouble {
            message: what,
            hint,
        }),
        Failure::Problems(_) | Failure::ReaderGone => None,
    }
}

fn verdict(
    setup: &SetupFrom,
    title: Option<String>,
    problems: &Problems,
    error: Option<Trouble>,
) -> Verdict {
    Verdict {
        setup: setup.shown(),
        ok: error.is_none() && !problems.has_errors(),
        title,
        problems: notes_of(problems),
        error,
    }
}

fn summary(problems: &Problems, verdict: &Verdict) -> String {
    let count = |severity| problems.of(severity).count() as u32;
    let errors = count(Severity::Error) + u32::from(verdict.error.is_some());
    let found: Vec<String> = [
        (errors, "error"),
        (count(Severity::Warning), "warning"),
        (count(Severity::Caution), "caution"),
    ]
    .into_iter()
    .filter(|(n, _)| *n > 0)
    .map(|(n, word)| words::count(n, word))
    .collect();
    match found.is_empty() {
        true => "nothing wrong".into(),
        false => found.join(", "),
    }
}
