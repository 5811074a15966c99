//! From a shoot list to its frames: each setup's text with its keys changed.

use super::{Changes, Entry, Frame, SetupName, ShootList};
use crate::setup::keys::nearest;
use crate::setup::problem::{Kind, Problems};
use crate::setup::reader::{Log, Place, clip};
use crate::setup::written::Written;
use std::collections::HashMap;
use std::ops::Range;

/// More frames than this are a slip.
const MOST_FRAMES: usize = 5000;

/// Which entries make a frame.
struct Made<'l> {
    look: Option<&'l Entry>,
    framing: Option<&'l Entry>,
    lighting: Option<&'l Entry>,
    single: Option<&'l Entry>,
}

pub(super) fn frames(
    list: &ShootList,
    read: &dyn Fn(&str) -> Result<String, String>,
) -> Result<Vec<Frame>, Problems> {
    let log = Log::default();
    log.add_file(&list.file, &list.text);
    let made = made(list);
    if made.len() > MOST_FRAMES {
        let message = format!(
            "the list makes {} frames, at most {MOST_FRAMES} are taken",
            made.len()
        );
        say(
            &log,
            list,
            Kind::OutOfRange,
            0..0,
            message,
            "split it over several files",
        );
        return Err(log.into_problems());
    }
    let mut setups: HashMap<&str, Option<Written>> = HashMap::new();
    let mut frames = Vec::new();
    let mut broken = Problems::default();
    for (index, made) in made.iter().enumerate() {
        let Some(setup) = made.setup(list) else {
            continue;
        };
        let start = setups
            .entry(&setup.path)
            .or_insert_with(|| open(&log, list, setup, read, &mut broken));
        let Some(mut written) = start.clone() else {
            continue;
        };
        let errors = log.error_count();
        let name = made.name();
        entitle(&mut written, &name);
        for changes in made.changes(list) {
            change(&log, list, &mut written, changes, &setup.path);
        }
        if log.error_count() == errors {
            frames.push(Frame {
                index,
                look: of(made.look),
                framing: of(made.framing),
                lighting: of(made.lighting),
                single: made.single.is_some(),
                setup_path: setup.path.clone(),
                setup_toml: written.text(),
                name,
            });
        }
    }
    let mut problems = log.into_problems();
    problems.sort();
    if !broken.is_empty() {
        return Err(broken);
    }
    if problems.has_errors() {
        return Err(problems);
    }
    Ok(frames)
}

/// The frame's label is its picture's title, unless the list sets another.
fn entitle(written: &mut Written, name: &str) {
    let typed = toml_edit::Value::from(name).to_string();
    if let Ok(title) = written.path("title") {
        // A title can stand in every setup.
        let _ = written.set(&title, &typed);
    }
}

fn of(entry: Option<&Entry>) -> String {
    entry.map_or(String::new(), |e| e.name.clone())
}

/// Looks outermost: a figure is dressed once for all that it is taken in.
fn made(list: &ShootList) -> Vec<Made<'_>> {
    let all = |entries: &'_ [Entry]| -> Vec<Option<usize>> {
        match entries.len() {
            0 => vec![None],
            n => (0..n).map(Some).collect(),
        }
    };
    let chosen = |only: &Option<Vec<usize>>, entries: &[Entry]| match only {
        Some(places) => places.iter().copied().map(Some).collect(),
        None => all(entries),
    };
    let mut found = Vec::new();
    for look in &list.looks {
        for lighting in chosen(&look.only[1], &list.lightings) {
            for framing in chosen(&look.only[0], &list.framings) {
                found.push(Made {
                    look: Some(look),
                    framing: framing.map(|i| &list.framings[i]),
                    lighting: lighting.map(|i| &list.lightings[i]),
                    single: None,
                });
            }
        }
    }
    found.extend(list.singles.iter().map(|s| Made {
        look: s.look.map(|i| &list.looks[i]),
        framing: s.framing.map(|i| &list.framings[i]),
        lighting: s.lighting.map(|i| &list.lightings[i]),
        single: Some(&s.entry),
    }));
    found
}

impl<'l> Made<'l> {
    fn setup(&self, list: &'l ShootList) -> Option<&'l SetupName> {
        let own = self.single.and_then(|s| s.setup.as_ref());
        let lit = self.lighting.and_then(|l| l.setup.as_ref());
        own.or(lit).or(list.setup.as_ref())
    }

    /// From the most general to the most particular, which has the last word.
    fn changes(&self, list: &'l ShootList) -> Vec<&'l Changes> {
        let entries = [self.lighting, self.look, self.framing, self.single];
        [&list.common]
            .into_iter()
            .chain(entries.into_iter().flatten().map(|e| &e.changes))
            .collect()
    }

    fn name(&self) -> String {
        match self.single {
            Some(single) => single.name.clone(),
            None => [self.look, self.framing, self.lighting]
                .into_iter()
                .flatten()
                .map(|e| e.name.as_str())
                .collect::<Vec<_>>()
                .join(", "),
        }
    }
}

fn say(
    log: &Log,
    list: &ShootList,
    kind: Kind,
    span: Range<usize>,
    message: String,
    hint: impl Into<String>,
) {
    let place = Place {
        file: &list.file,
        span,
    };
    log.error(kind, &place, message, hint);
}

fn open(
    log: &Log,
    list: &ShootList,
    setup: &SetupName,
    read: &dyn Fn(&str) -> Result<String, String>,
    broken: &mut Problems,
) -> Option<Written> {
    let text = match read(&setup.path) {
        Ok(text) => text,
        Err(why) => {
            say(
                log,
                list,
                Kind::UnknownName,
                setup.span.clone(),
                format!("the setup {} cannot be used: {why}", clip(&setup.path)),
                "name a setup file by its path from the list's folder",
            );
            return None;
        }
    };
    match Written::parse(&text, &setup.path) {
        Ok(written) => Some(written),
        Err(problems) => {
            if broken.is_empty() {
                *broken = problems;
            }
            None
        }
    }
}

fn change(log: &Log, list: &ShootList, written: &mut Written, changes: &Changes, setup: &str) {
    for c in &changes.set {
        let done = written
            .path(&c.path)
            .and_then(|path| written.set(&path, &c.typed));
        if let Err(error) = done {
            let message = format!("{} (in {})", error.what, clip(setup));
            say(
                log,
                list,
                Kind::UnknownKey,
                c.span.clone(),
                message,
                error.hint,
            );
        }
    }
    for (name, span) in &changes.without {
        if !written.take_away(name) {
            let things: Vec<String> = written.things().into_iter().map(|(_, n)| n).collect();
            let hint = match nearest(name, things.iter().map(String::as_str)) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => format!("there is {}", things.join(", ")),
            };
            let message = format!("{} has no \"{}\" to leave away", clip(setup), clip(name));
            say(log, list, Kind::UnknownName, span.clone(), message, hint);
        }
    }
}
