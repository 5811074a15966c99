//! `lessons` (hidden): fills the handbook for assistants with the numbers that the tool gives now, or
//! looks whether the pages as shipped still hold them.
//!
//! A template is a page with places for numbers: `{{AS SETUP PATH}}` or `{{AS SETUP PATH / SETUP PATH}}`.
//! SETUP names a file of `models/setups/lessons`; PATH leads through what `read --json` says of it, in a
//! list to the item that carries the next word as its point, light, fill or name. AS is `mark` (the
//! reading at PATH), `stops` (how many stops the first reading is over the second), `times` (one number
//! over the other), or the digits to show: `0`, `1`, `2`; `as` shows text as it stands.

use super::cache;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::json::Readings;
use super::lessons_page::{Piece, Place, pieces};
use super::resolved::Executing;
use super::take::open;
use super::voice::Voice;
use super::words;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::take::Take;
use swatchlight::photometry::FNumber;
use swatchlight::photometry::dial::on_dial;
use swatchlight::render::choose::Wish;
use swatchlight::report::{Overwrite, write_whole};
use swatchlight::scene::models::Models;
use swatchlight::setup::{Checked, parse};

/// Where the setups are, from the project's folder.
const SETUPS: &str = "models/setups/lessons";
/// A reading shipped may differ by this from one taken now, stops: a tenth, and a rounding.
const READING_MAY_DIFFER_STOPS: f64 = 0.201;
/// Another number may differ by this share.
const NUMBER_MAY_DIFFER: f64 = 0.06;

/// What to do.
#[derive(Debug)]
pub struct LessonsRun {
    /// `docs/lessons`.
    pub folder: PathBuf,
    /// Compare instead of write.
    pub check: bool,
    /// Only lessons whose name holds this.
    pub only: Option<String>,
    pub relative_error: f64,
}

/// Fills or checks the pages.
///
/// # Errors
/// A template, a setup or a page that cannot be used, or a page that is stale.
pub fn lessons(run: &LessonsRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let templates = run.folder.join("templates");
    let listed = fs::read_dir(&templates).map_err(|e| failed(&templates, &e))?;
    let mut paths: Vec<PathBuf> = listed
        .flatten()
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "md"))
        .filter(|p| {
            let wanted = run.only.as_deref().unwrap_or_default();
            p.file_stem()
                .is_some_and(|s| s.to_string_lossy().contains(wanted))
        })
        .collect();
    paths.sort();
    let mut known = Known::new(run, voice)?;
    let mut stale = Vec::new();
    for template in paths {
        let page = run.folder.join(template.file_name().unwrap_or_default());
        let text = fs::read_to_string(&template).map_err(|e| failed(&template, &e))?;
        let pieces = pieces(&text)
            .map_err(|what| Failure::wrong(format!("{}: {what}", template.display()), USE))?;
        let mut filled = Vec::new();
        for piece in &pieces {
            filled.push(match piece {
                Piece::Text(text) => (text.clone(), None),
                Piece::Place(place) => (known.show(place)?, Some(place)),
            });
        }
        if run.check {
            let shipped = fs::read_to_string(&page).map_err(|e| failed(&page, &e))?;
            stale.extend(differences(&page, &shipped, &filled));
        } else {
            let text: String = filled.into_iter().map(|(text, _)| text).collect();
            write_whole(&page, Overwrite::Force, |f| f.write_all(text.as_bytes()))?;
            voice.print(&format!("{}\n", page.display()))?;
        }
    }
    match stale.is_empty() {
        true => Ok(Exit::Done),
        false => Err(Failure::wrong(
            stale.join("\nerror: "),
            "make the pages anew: docs/lessons/make.sh --pages",
        )),
    }
}

const USE: &str = "write {{AS SETUP PATH}}, such as {{mark hard points.face.together}}";

fn failed(path: &Path, e: &std::io::Error) -> Failure {
    Failure::working(format!("{}: {e}", path.display()))
}

/// What `read` says of each setup that was asked for.
struct Known {
    read: BTreeMap<String, Value>,
    executor: swatchlight::render::steady::Steady,
    models: Models,
    goal: GatherGoal,
    interrupt: Interrupt,
}

impl Known {
    fn new(run: &LessonsRun, voice: &Arc<Voice>) -> Result<Self, Failure> {
        let executing = Executing {
            wish: Wish::Auto,
            threads: 0,
            cache: None,
        };
        let interrupt = Interrupt::listen(voice, "Stopping.")?;
        let models = Models::for_setup(&Path::new(SETUPS).join("lesson.toml"))
            .with_tables(cache::tables(&executing, voice))
            .with_stock(cache::stock(
                cache::folder(&executing),
                voice,
                interrupt.shared(),
            ));
        Ok(Self {
            read: BTreeMap::new(),
            executor: open(&executing, voice)?,
            models,
            goal: GatherGoal {
                relative_error: run.relative_error,
                ..GatherGoal::default()
            },
            interrupt,
        })
    }

    fn reading(&mut self, setup: &str) -> Result<&Value, Failure> {
        if !self.read.contains_key(setup) {
            let path = Path::new(SETUPS).join(format!("{setup}.toml"));
            let text = fs::read_to_string(&path).map_err(|e| failed(&path, &e))?;
            let shown = path.display().to_string();
            let parsed = parse(&text, &shown, &self.models);
            let Checked { setup: of, notes } = parsed.map_err(Failure::Problems)?;
            let stop = self.interrupt.flag();
            let take = Take::new(of, &self.models, &mut self.executor, self.goal, stop)?;
            if self.interrupt.asked() {
                return Err(Failure::interrupted("stopped before the pages were made"));
            }
            let document = Readings::new(&shown, &take, &notes, String::new());
            let value = serde_json::to_value(&document)
                .map_err(|e| Failure::working(format!("{shown}: {e}")))?;
            self.read.insert(setup.to_owned(), value);
        }
        Ok(&self.read[setup])
    }

    fn at(&mut self, setup: &str, path: &str) -> Result<Value, Failure> {
        let document = self.reading(setup)?;
        let mut at = document;
        for step in path.split('.') {
            at = next(at, step).ok_or_else(|| {
                Failure::wrong(
                    format!("{SETUPS}/{setup}.toml: read says nothing at {path} (from \"{step}\")"),
                    USE,
                )
            })?;
        }
        Ok(at.clone())
    }

    fn show(&mut self, place: &Place) -> Result<String, Failure> {
        let first = self.at(&place.first.0, &place.first.1)?;
        let second = match &place.second {
            Some((setup, path)) => Some(self.at(setup, path)?),
            None => None,
        };
        let said = match (place.how.as_str(), second) {
            ("mark", None) => f_number(&first).map(on_dial),
            ("stops", Some(second)) => f_number(&first)
                .zip(f_number(&second))
                .map(|(a, b)| format!("{:.1}", positive_zero(a.stops() - b.stops()))),
            ("times", Some(second)) => {
                let (a, b) = (first.as_f64(), second.as_f64());
                a.zip(b)
                    .filter(|(_, b)| *b != 0.0)
                    .map(|(a, b)| words::significant(a / b, 2))
            }
            ("as", None) => first.as_str().map(str::to_owned),
            (digits, None) => {
                let digits: Option<usize> = digits.parse().ok();
                digits
                    .zip(first.as_f64())
                    .map(|(digits, value)| format!("{:.digits$}", positive_zero(value)))
            }
            _ => None,
        };
        said.ok_or_else(|| {
            Failure::wrong(format!("{{{{{}}}}} cannot be shown so", place.written), USE)
        })
    }
}

/// What rounds to nothing has no sign.
fn positive_zero(value: f64) -> f64 {
    if value.abs() < 0.05 { 0.0 } else { value }
}

/// The item of a list that carries a word, or a key's value.
fn next<'v>(at: &'v Value, step: &str) -> Option<&'v Value> {
    const NAMED_BY: [&str; 4] = ["light", "point", "fill", "name"];
    match at {
        Value::Array(items) => items.iter().find(|item| {
            let named = |key: &&str| item.get(key).and_then(Value::as_str) == Some(step);
            NAMED_BY.iter().any(named)
        }),
        other => other.get(step),
    }
}

fn f_number(reading: &Value) -> Option<FNumber> {
    FNumber::exact(reading.get("f_number")?.as_f64()?)
}

/// What of a shipped page is no longer so.
fn differences(page: &Path, shipped: &str, now: &[(String, Option<&Place>)]) -> Vec<String> {
    let mut found = Vec::new();
    let mut rest = shipped;
    let shown = page.display();
    for (i, (text, place)) in now.iter().enumerate() {
        let Some(place) = place else {
            match rest.strip_prefix(text.as_str()) {
                Some(after) => rest = after,
                None => {
                    let line = text.trim().lines().next().unwrap_or_default();
                    found.push(format!(
                        "{shown}: is not as its template has it near \"{line}\""
                    ));
                    return found;
                }
            }
            continue;
        };
        // A number ends where the next text of the template begins.
        let end = match now.get(i + 1) {
            Some((next, None)) => rest.find(next.as_str()),
            _ => Some(rest.len()),
        };
        let Some(end) = end else {
            found.push(format!("{shown}: has nothing for {}", place.written));
            return found;
        };
        let (was, after) = rest.split_at(end);
        rest = after;
        if !agrees(&place.how, was, text) {
            found.push(format!(
                "{shown}: says {was}, now it is {text} ({})",
                place.written
            ));
        }
    }
    if !rest.is_empty() {
        found.push(format!("{shown}: goes on where its template ends"));
    }
    found
}

fn agrees(how: &str, was: &str, now: &str) -> bool {
    let stops = |mark: &str| {
        let with_unit = match mark.contains('+') {
            true => format!("{mark} stop"),
            false => mark.to_owned(),
        };
        let read = swatchlight::photometry::units::f_number(&with_unit);
        read.ok().map(FNumber::stops)
    };
    let number = |text: &str| text.parse::<f64>().ok();
    match how {
        "mark" => stops(was)
            .zip(stops(now))
            .is_some_and(|(a, b)| (a - b).abs() <= READING_MAY_DIFFER_STOPS),
        "stops" => number(was)
            .zip(number(now))
            .is_some_and(|(a, b)| (a - b).abs() <= READING_MAY_DIFFER_STOPS),
        "as" => was == now,
        _ => number(was).zip(number(now)).is_some_and(|(a, b)| {
            let last_digit = now
                .split_once('.')
                .map_or(1.0, |(_, d)| 0.1_f64.powi(d.len() as i32));
            (a - b).abs() <= (NUMBER_MAY_DIFFER * b.abs()).max(1.01 * last_digit)
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_is_stale_when_a_number_moved_or_a_word_changed() {
        let template = "Soft: {{1 a quality.key.edge_least_mm}} mm.\n";
        let pieces = pieces(template).expect("a template");
        let filled: Vec<(String, Option<&Place>)> = pieces
            .iter()
            .map(|p| match p {
                Piece::Text(text) => (text.clone(), None),
                Piece::Place(place) => ("20.0".to_owned(), Some(place)),
            })
            .collect();
        let of = |page: &str| differences(Path::new("p.md"), page, &filled).len();
        assert_eq!(of("Soft: 20.0 mm.\n"), 0);
        assert_eq!(of("Soft: 20.9 mm.\n"), 0);
        assert_eq!(of("Soft: 22.0 mm.\n"), 1);
        assert_eq!(of("Hard: 20.0 mm.\n"), 1);
        assert_eq!(of("Soft: 20.0 mm.\nMore.\n"), 1);
        assert!(agrees("mark", "f/8 +.1", "f/8") && !agrees("mark", "f/9", "f/8"));
    }
}
