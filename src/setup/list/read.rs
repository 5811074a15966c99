//! Reads a shoot list's text.

use super::keys;
use super::{Change, Changes, DayOrder, Entry, Minutes, SetupName, ShootList, Single};
use crate::photometry::units;
use crate::setup::keys::{Section, nearest};
use crate::setup::problem::{Kind, Problems};
use crate::setup::reader::{Fault, Log, Table, Taken, Value, clip, type_name};
use crate::setup::values::{name, names, number_in, prose, text};
use crate::setup::written::Written;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The longest path that is taken.
const LONGEST_PATH: usize = 1024;
/// Looks, framings, lightings and single frames have an end each.
const MOST_ENTRIES: usize = 500;
/// The longest that anything on set may be said to take, minutes.
const MOST_MINUTES: f64 = 1000.0;
/// How far apart is still called even, where the list does not say.
const USUAL_TOLERANCE_STOPS: f64 = 1.0 / 3.0;

pub(super) fn read(text: &str, file: &str) -> Result<ShootList, Problems> {
    // The document editor tells what breaks TOML in the words of setups.
    Written::parse(text, file)?;
    let log = Log::default();
    log.add_file(file, text);
    let (table, _) = DeTable::parse_recoverable(text);
    let span = table.span();
    let value = Spanned::new(span, DeValue::Table(table.into_inner()));
    let list = Reader {
        log: &log,
        text,
        file,
    }
    .list(&value);
    let mut problems = log.into_problems();
    problems.sort();
    match list {
        Some(list) if !problems.has_errors() => Ok(list),
        _ => Err(problems),
    }
}

struct Reader<'t> {
    log: &'t Log,
    text: &'t str,
    file: &'t str,
}

impl<'t> Reader<'t> {
    fn list(&self, value: Value<'t>) -> Option<ShootList> {
        let log = self.log;
        let mut top = Table::open(log, self.file, value, &keys::LIST, "the list")?;
        top.span = 0..0;
        let order = top.read(log, "order", |v| {
            let words = ["least moves", "as written"];
            match text(v)? {
                "least moves" => Ok(DayOrder::LeastMoves),
                "as written" => Ok(DayOrder::AsWritten),
                other => Err(unknown_word(other, words)),
            }
        });
        let tolerance = top.read(log, "tolerance", |v| {
            let stops = units::stops(text(v)?).map_err(|e| {
                Fault::new(Kind::WrongQuantity, e.problem, e.hint).at_bytes(v, Some(e.span))
            })?;
            let sensible = (0.01..=10.0).contains(&stops);
            let fault = || {
                Fault::new(
                    Kind::OutOfRange,
                    format!("{stops} stops is out of range"),
                    "it can be 0.01 to 10 stops",
                )
            };
            sensible.then_some(stops).ok_or_else(fault)
        });
        let framings = self.entries(&top, "framing", &keys::FRAMING, &[]);
        let lightings = self.entries(&top, "lighting", &keys::LIGHTING, &[]);
        let looks = self.entries(&top, "look", &keys::LOOK, &[&framings, &lightings]);
        let singles = self.singles(&top, [&looks, &framings, &lightings]);
        if looks.is_empty() && singles.is_empty() && !top.has("look") && !top.has("frame") {
            top.missing(
                log,
                &["look", "frame"],
                "looks and no frames",
                "add one under a heading [[look]] with name = \"…\" and garment = \"…\"",
            );
        }
        let list = ShootList {
            title: top.read(log, "title", prose).unwrap_or_default(),
            notes: top.read(log, "notes", prose).unwrap_or_default(),
            setup: self.setup(&top),
            order: order.unwrap_or_default(),
            tolerance_stops: tolerance.unwrap_or(USUAL_TOLERANCE_STOPS),
            common: self.changes(&top, &[]),
            minutes: self.minutes(&top),
            looks,
            framings,
            lightings,
            singles,
            text: self.text.to_owned(),
            file: self.file.to_owned(),
        };
        self.setups_are_there(&top, &list);
        Some(list)
    }

    /// Every frame needs a setup to start from.
    fn setups_are_there(&self, top: &Table<'t>, list: &ShootList) {
        let lit =
            |lighting: Option<usize>| lighting.is_some_and(|i| list.lightings[i].setup.is_some());
        let by_looks = list.looks.is_empty()
            || !list.lightings.is_empty() && list.lightings.iter().all(|l| l.setup.is_some());
        let by_singles = list
            .singles
            .iter()
            .all(|s| s.entry.setup.is_some() || lit(s.lighting));
        if list.setup.is_none() && !(by_looks && by_singles) {
            top.missing(
                self.log,
                &["setup"],
                "`setup` to start from",
                "add setup = \"my-setup.toml\" at the top, or one to every [[lighting]] or [[frame]]",
            );
        }
    }

    /// The tables of one kind, each opened and read by `read`.
    fn tables<T>(
        &self,
        top: &Table<'t>,
        kind: &'static str,
        section: &'static Section,
        mut read: impl FnMut(&Table<'t>, String) -> T,
    ) -> Vec<T> {
        let Some(value) = top.get(kind) else {
            return Vec::new();
        };
        let Some(list) = value.get_ref().as_array() else {
            let fault = Fault::new(
                Kind::WrongType,
                format!("must be tables, not {}", type_name(value)),
                format!("write each of them under a heading [[{kind}]]"),
            );
            top.fault(self.log, kind, value, fault);
            return Vec::new();
        };
        if list.len() > MOST_ENTRIES {
            let fault = Fault::new(
                Kind::OutOfRange,
                format!("there are {}, at most {MOST_ENTRIES} are taken", list.len()),
                "split the list over several files",
            );
            top.fault(self.log, kind, value, fault);
            return Vec::new();
        }
        let mut taken = Taken::default();
        let mut found = Vec::new();
        for (i, value) in list.iter().enumerate() {
            let written = value.get_ref().as_table().and_then(|t| t.get("name"));
            // A name that is refused is not said either: it may steer a terminal.
            let label = match written.map(name) {
                Some(Ok(name)) => format!("{kind} \"{}\"", clip(&name)),
                _ => format!("{kind} {}", i + 1),
            };
            let Some(table) = Table::open(self.log, self.file, value, section, label) else {
                continue;
            };
            let called = table.require(self.log, "name", name).unwrap_or_default();
            if !called.is_empty() && !taken.take(&called) {
                self.log.error(
                    Kind::Duplicate,
                    &table.place_of("name"),
                    format!("the {kind} \"{}\" is there twice", clip(&called)),
                    format!("give each {kind} a name of its own"),
                );
            }
            found.push(read(&table, called));
        }
        found
    }

    fn entries(
        &self,
        top: &Table<'t>,
        kind: &'static str,
        section: &'static Section,
        among: &[&[Entry]],
    ) -> Vec<Entry> {
        let shorts: Vec<(&'static str, String)> = section
            .keys
            .iter()
            .filter_map(|k| Some((k.name, k.takes.strip_prefix("as ")?.to_owned())))
            .collect();
        self.tables(top, kind, section, |table, name| {
            let only = |key: &'static str, of: Option<&&[Entry]>| {
                let value = table.has(key).then(|| table.get(key)).flatten()?;
                let wanted = table.read(self.log, key, names)?;
                let places = wanted
                    .iter()
                    .filter_map(|w| self.find(table, key, value, w, of?));
                Some(places.collect())
            };
            let is_look = kind == "look";
            Entry {
                setup: (kind == "lighting").then(|| self.setup(table)).flatten(),
                changes: self.changes(table, &shorts),
                only: [
                    is_look.then(|| only("framings", among.first())).flatten(),
                    is_look.then(|| only("lightings", among.get(1))).flatten(),
                ],
                name,
            }
        })
    }

    fn singles(&self, top: &Table<'t>, among: [&[Entry]; 3]) -> Vec<Single> {
        self.tables(top, "frame", &keys::FRAME, |table, called| {
            let [look, framing, lighting] = [0, 1, 2].map(|i| {
                let key = ["look", "framing", "lighting"][i];
                let value = table.get(key)?;
                let wanted = table.read(self.log, key, name)?;
                self.find(table, key, value, &wanted, among[i])
            });
            Single {
                entry: Entry {
                    name: called,
                    setup: self.setup(table),
                    changes: self.changes(table, &[]),
                    only: [None, None],
                },
                look,
                framing,
                lighting,
            }
        })
    }

    /// The place of an entry by its name.
    fn find(
        &self,
        table: &Table<'t>,
        key: &str,
        value: Value<'t>,
        wanted: &str,
        among: &[Entry],
    ) -> Option<usize> {
        let found = among.iter().position(|e| e.name == wanted);
        if found.is_none() {
            let kind = key.trim_end_matches('s');
            let known = || among.iter().map(|e| e.name.as_str());
            let hint = match nearest(wanted, known()) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None if among.is_empty() => format!("add it under a heading [[{kind}]]"),
                None => format!("there is {}", known().collect::<Vec<_>>().join(", ")),
            };
            let fault = Fault::new(
                Kind::UnknownName,
                format!("there is no {kind} \"{}\"", clip(wanted)),
                hint,
            );
            table.fault(self.log, key, value, fault);
        }
        found
    }

    fn setup(&self, table: &Table<'t>) -> Option<SetupName> {
        table.read(self.log, "setup", |v| {
            let path = text(v)?;
            let fault = |message: &str| {
                Fault::new(Kind::OutOfRange, message, "write the path of a setup file")
            };
            if path.trim().is_empty() {
                return Err(fault("is empty"));
            }
            if path.len() > LONGEST_PATH || path.chars().any(char::is_control) {
                return Err(fault("is no path of a file"));
            }
            Ok(SetupName {
                path: path.to_owned(),
                span: v.span(),
            })
        })
    }

    /// Short forms first, so that `set` has the last word.
    fn changes(&self, table: &Table<'t>, shorts: &[(&'static str, String)]) -> Changes {
        let mut changes = Changes::default();
        for (key, path) in shorts {
            if let Some(value) = table.get(key) {
                changes.set.push(self.change(path.clone(), value));
            }
        }
        if let Some(value) = table.get("set") {
            match value.get_ref().as_table() {
                Some(set) => self.set(table, set, &mut changes.set),
                None => table.fault(
                    self.log,
                    "set",
                    value,
                    Fault::new(
                        Kind::WrongType,
                        format!("must be a table, not {}", type_name(value)),
                        "write set = { \"key.meters\" = \"f/9\" }",
                    ),
                ),
            }
        }
        if let Some(value) = table.get("without") {
            let wanted = table.read(self.log, "without", names).unwrap_or_default();
            let spans: Vec<_> = match value.get_ref().as_array() {
                Some(list) => list.iter().map(Spanned::span).collect(),
                None => vec![value.span()],
            };
            changes.without = wanted.into_iter().zip(spans).collect();
        }
        changes
    }

    /// `"key.spread" = 0.5`, or `key.spread = 0.5`, which TOML reads as a table in a table.
    fn set(&self, table: &Table<'t>, set: &'t DeTable<'t>, into: &mut Vec<Change>) {
        for (key, value) in set.iter() {
            let owner = key.get_ref().as_ref();
            let inner = value.get_ref().as_table();
            match inner.filter(|_| !owner.contains('.')) {
                Some(inner) => {
                    for (key, value) in inner.iter() {
                        let path = format!("{owner}.{}", key.get_ref());
                        into.push(self.change(path, value));
                    }
                }
                None => into.push(self.change(owner.to_owned(), value)),
            }
            if inner.is_some_and(|i| i.is_empty()) {
                let fault = Fault::new(
                    Kind::OutOfRange,
                    format!("changes nothing of \"{}\"", clip(owner)),
                    "write a key of it, such as key.spread = 0.5",
                );
                table.fault(self.log, "set", value, fault);
            }
        }
    }

    fn change(&self, path: String, value: Value<'t>) -> Change {
        let span = value.span();
        Change {
            path,
            typed: self.text.get(span.clone()).unwrap_or_default().to_owned(),
            span,
        }
    }

    fn minutes(&self, top: &Table<'t>) -> Minutes {
        let mut minutes = Minutes::default();
        let opened = top.get("minutes");
        let opened =
            opened.and_then(|v| Table::open(self.log, self.file, v, &keys::MINUTES, "the minutes"));
        for key in keys::MINUTES.keys {
            let read = |v| number_in(0.0, MOST_MINUTES)(v);
            let typed = opened
                .as_ref()
                .and_then(|t| t.read(self.log, key.name, read));
            if let (Some(typed), Some(place)) = (typed, minutes.of_mut(key.name)) {
                *place = typed;
            }
        }
        minutes
    }
}

fn unknown_word<'a>(wanted: &str, known: impl IntoIterator<Item = &'a str> + Clone) -> Fault {
    let hint = match nearest(wanted, known.clone()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => {
            let all: Vec<String> = known.into_iter().map(|k| format!("\"{k}\"")).collect();
            format!("write {}", all.join(" or "))
        }
    };
    Fault::new(
        Kind::UnknownWord,
        format!("\"{}\" is no word for it", clip(wanted)),
        hint,
    )
}
