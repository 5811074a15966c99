//! A setup as written: its text, changed key by key, with comments and order kept.
//!
//! Windows, sweeps and shoot lists change a setup by naming a key as a person would, such as
//! `key.spread` or `camera.framing`, and by typing its new value. What comes out is a setup file
//! like any other: [`super::parse()`] judges it.

mod points;

use super::keys::{self, Section, nearest};
use super::model::Place;
use super::parse::syntax_problems;
use super::problem::Problems;
use super::quantity::tidy;
use crate::photometry::units::length_m;
use glam::DVec3;
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

/// A setup's text that can be changed.
#[derive(Debug, Clone)]
pub struct Written {
    document: DocumentMut,
}

/// Which key of a setup: `key.spread`, `bounce.finish`, `camera.framing`, `key.modifier.size`,
/// `meter.points.2.receptor` (points count from 1), `title`. The owner is the name of a light, board, flag or scrim, or a section of the file. Where
/// a light is called as a section is, write `light.camera.spread`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct KeyPath {
    owner: Owner,
    /// The key, then keys inside its table.
    keys: Vec<String>,
}

/// Whose key it is.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Owner {
    /// The top of the file.
    Top,
    /// A section that is there at most once.
    Section(&'static str),
    /// A light, board, flag or scrim, by name.
    Thing {
        /// `light`, `board`, `flag` or `scrim`.
        kind: &'static str,
        /// Its name.
        name: String,
    },
}

/// Why a setup cannot be changed so.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct EditError {
    /// What is wrong.
    pub what: String,
    /// What to type.
    pub hint: String,
}

/// Arrays of named things, as their headings are written.
pub const KINDS: [&str; 4] = ["light", "board", "flag", "scrim"];
const ONCE: [&str; 6] = ["room", "backdrop", "figure", "swatch", "camera", "meter"];

impl Written {
    /// Takes up the text of a setup. It need not be a good one, but it must be TOML.
    ///
    /// # Errors
    /// Every break of TOML, with its place.
    pub fn parse(text: &str, file_name: &str) -> Result<Self, Problems> {
        match text.parse::<DocumentMut>() {
            Ok(document) => Ok(Self { document }),
            Err(_) => Err(syntax_problems(text, file_name)),
        }
    }

    /// The text as it stands.
    pub fn text(&self) -> String {
        self.document.to_string()
    }

    /// Kind and name of every light, board, flag and scrim, in the order of the file.
    pub fn things(&self) -> Vec<(&'static str, String)> {
        let named = |kind: &'static str| {
            let tables = self.document.get(kind).and_then(Item::as_array_of_tables);
            let name = |t: &Table| Some(t.get("name")?.as_str()?.to_owned());
            tables
                .into_iter()
                .flatten()
                .filter_map(name)
                .map(move |name| (kind, name))
                .collect::<Vec<_>>()
        };
        KINDS.iter().flat_map(|k| named(k)).collect()
    }

    /// Reads a key path as typed, against what this setup holds.
    ///
    /// # Errors
    /// When there is no such thing or it has no such key.
    pub fn path(&self, typed: &str) -> Result<KeyPath, EditError> {
        let typed = typed.trim();
        if ["title", "notes"].contains(&typed) {
            return Ok(KeyPath {
                owner: Owner::Top,
                keys: vec![typed.to_owned()],
            });
        }
        let (owner, rest) = self.owner(typed)?;
        let keys: Vec<String> = rest.split('.').map(|k| k.trim().to_owned()).collect();
        if keys.iter().any(String::is_empty) {
            return Err(EditError {
                what: format!("\"{typed}\" names no key"),
                hint: "write OWNER.KEY, such as key.spread or camera.framing".into(),
            });
        }
        let section = owner.section();
        let known = || section.keys.iter().map(|k| k.name);
        if !known().any(|k| k == keys[0]) {
            let hint = match nearest(&keys[0], known()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("known keys: {}", known().collect::<Vec<_>>().join(", ")),
            };
            return Err(EditError {
                what: format!("{} has no key `{}`", owner.shown(), keys[0]),
                hint,
            });
        }
        let path = KeyPath { owner, keys };
        if let Some(point) = path.point() {
            points::check(point)?;
        }
        Ok(path)
    }

    /// The owner that a typed path begins with, and what follows it. Names may hold dots: the
    /// longest that fits counts.
    fn owner<'t>(&self, typed: &'t str) -> Result<(Owner, &'t str), EditError> {
        for section in ONCE {
            if let Some(rest) = typed
                .strip_prefix(section)
                .and_then(|r| r.strip_prefix('.'))
            {
                return Ok((Owner::Section(section), rest));
            }
        }
        let things = self.things();
        let fits = |kind: &str, name: &str| {
            let of = |t: &'t str| t.strip_prefix(name)?.strip_prefix('.');
            let by_kind = typed.strip_prefix(kind).and_then(|r| r.strip_prefix('.'));
            of(typed).or_else(|| of(by_kind?))
        };
        let best = things
            .iter()
            .filter_map(|(kind, name)| Some((kind, name, fits(kind, name)?)))
            .max_by_key(|(_, name, _)| name.len());
        if let Some((kind, name, rest)) = best {
            let owner = Owner::Thing {
                kind,
                name: name.clone(),
            };
            return Ok((owner, rest));
        }
        let first = typed.split('.').next().unwrap_or_default();
        let known = || {
            things
                .iter()
                .map(|(_, name)| name.as_str())
                .chain(ONCE)
                .chain(["title", "notes"])
        };
        let hint = match nearest(first, known()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are: {}", known().collect::<Vec<_>>().join(", ")),
        };
        Err(EditError {
            what: format!("the setup has no \"{first}\""),
            hint,
        })
    }

    /// What a key holds, as a person types it (text without its quotes), or nothing where it is left
    /// out.
    pub fn value(&self, path: &KeyPath) -> Option<String> {
        let mut item = self.owner_table(&path.owner)?.get(&path.keys[0])?;
        if let Some(point) = path.point() {
            return points::value(item, point);
        }
        for key in &path.keys[1..] {
            item = item.as_table_like()?.get(key)?;
        }
        typed_text(item.as_value()?)
    }

    /// Types a value into a key. Keys that cannot stand beside it go: `mark` when `spread` is typed,
    /// `power` when `meters` is, coordinates when a tape measure is (the other two are worked out).
    /// A new modifier takes the old one's spread and mark away.
    ///
    /// # Errors
    /// When the owner is not there, or the path leads through something that is no table.
    pub fn set(&mut self, path: &KeyPath, typed: &str) -> Result<(), EditError> {
        let value = typed_value(typed);
        let owner = path.owner.clone();
        let table = self.owner_table_mut(&owner)?;
        if let Some(point) = path.point() {
            let mut none = Item::None;
            let list = table.get_mut(&path.keys[0]).unwrap_or(&mut none);
            return points::set(list, point, value);
        }
        if path.keys.len() == 1 {
            make_room(table, owner.kind(), &path.keys[0]);
        }
        put(table, &path.keys, value, &owner.shown())
    }

    /// Leaves a key out; nothing happens where it is not there.
    pub fn remove(&mut self, path: &KeyPath) {
        let Ok(table) = self.owner_table_mut(&path.owner.clone()) else {
            return;
        };
        if let Some(point) = path.point() {
            if let Some(list) = table.get_mut(&path.keys[0]) {
                points::remove(list, point);
            }
            return;
        }
        let Some((last, way)) = path.keys.split_last() else {
            return;
        };
        let mut at: &mut dyn TableLike = table;
        for key in way {
            match at.get_mut(key).and_then(Item::as_table_like_mut) {
                Some(inner) => at = inner,
                None => return,
            }
        }
        at.remove(last);
    }

    /// Adds a light, board, flag or scrim after those that there are.
    ///
    /// # Errors
    /// When `kind` is none of [`KINDS`] or the name is taken.
    pub fn add(&mut self, kind: &str, name: &str, keys: &[(&str, &str)]) -> Result<(), EditError> {
        if !KINDS.contains(&kind) {
            return Err(EditError {
                what: format!("\"{kind}\" cannot be added to a setup"),
                hint: format!("it can be {}", KINDS.join(", ")),
            });
        }
        let same = |(_, have): &(_, String)| have.to_lowercase() == name.to_lowercase();
        if self.things().iter().any(same) {
            return Err(EditError {
                what: format!("the name \"{name}\" is taken already"),
                hint: "give each light, board, flag and scrim a name of its own".into(),
            });
        }
        let mut table = Table::new();
        table.insert("name", Item::Value(name.into()));
        for (key, typed) in keys {
            table.insert(key, Item::Value(typed_value(typed)));
        }
        table.decor_mut().set_prefix("\n");
        let tables = self
            .document
            .entry(kind)
            .or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
        let kind_is_no_array = || EditError {
            what: format!("`{kind}` is not written as [[{kind}]]"),
            hint: format!("write each of them under a heading [[{kind}]]"),
        };
        let tables = tables.as_array_of_tables_mut();
        tables.ok_or_else(kind_is_no_array)?.push(table);
        Ok(())
    }

    /// Takes a light, board, flag or scrim away, with its comments. Whether there was one.
    pub fn take_away(&mut self, name: &str) -> bool {
        for kind in KINDS {
            let tables = self.document.get_mut(kind);
            let Some(tables) = tables.and_then(Item::as_array_of_tables_mut) else {
                continue;
            };
            let named = |t: &Table| t.get("name").and_then(Item::as_str) == Some(name);
            let Some(index) = tables.iter().position(named) else {
                continue;
            };
            tables.remove(index);
            if tables.is_empty() {
                self.document.remove(kind);
            }
            return true;
        }
        false
    }

    fn owner_table(&self, owner: &Owner) -> Option<&dyn TableLike> {
        match owner {
            Owner::Top => Some(self.document.as_table()),
            Owner::Section(name) => self.document.get(name)?.as_table_like(),
            Owner::Thing { kind, name } => {
                let tables = self.document.get(kind)?.as_array_of_tables()?;
                let named = |t: &&Table| t.get("name").and_then(Item::as_str) == Some(name);
                tables.iter().find(named).map(|t| t as &dyn TableLike)
            }
        }
    }

    fn owner_table_mut(&mut self, owner: &Owner) -> Result<&mut dyn TableLike, EditError> {
        let gone = EditError {
            what: format!("the setup has no {}", owner.shown()),
            hint: "add it first".into(),
        };
        match owner {
            Owner::Top => Ok(self.document.as_table_mut()),
            Owner::Section(name) => {
                // A section that is left out is begun.
                let begin = || {
                    let mut table = Table::new();
                    table.decor_mut().set_prefix("\n");
                    Item::Table(table)
                };
                let item = self.document.entry(name).or_insert_with(begin);
                item.as_table_like_mut().ok_or(gone)
            }
            Owner::Thing { kind, name } => {
                let tables = self.document.get_mut(kind);
                let tables = tables.and_then(Item::as_array_of_tables_mut);
                let named = |t: &&mut Table| t.get("name").and_then(Item::as_str) == Some(name);
                let table = tables.and_then(|t| t.iter_mut().find(named));
                table.map(|t| t as &mut dyn TableLike).ok_or(gone)
            }
        }
    }
}

impl KeyPath {
    /// Whose key it is.
    pub fn owner(&self) -> &Owner {
        &self.owner
    }

    /// The key, without keys inside its table.
    pub fn key(&self) -> &str {
        &self.keys[0]
    }

    /// Which of the meter's points it is in, and the key there; none for all other keys.
    fn point(&self) -> Option<&[String]> {
        let meter = self.owner == Owner::Section("meter") && self.keys[0] == "points";
        Some(&self.keys[1..]).filter(|rest| meter && !rest.is_empty())
    }

    /// As typed, in its shortest form.
    pub fn shown(&self) -> String {
        let keys = self.keys.join(".");
        match &self.owner {
            Owner::Top => keys,
            Owner::Section(name) => format!("{name}.{keys}"),
            Owner::Thing { kind, name } if ONCE.contains(&name.as_str()) => {
                format!("{kind}.{name}.{keys}")
            }
            Owner::Thing { name, .. } => format!("{name}.{keys}"),
        }
    }
}

impl Owner {
    fn kind(&self) -> &'static str {
        match self {
            Self::Top => "setup",
            Self::Section(name) => name,
            Self::Thing { kind, .. } => kind,
        }
    }

    fn shown(&self) -> String {
        match self {
            Self::Top => "the setup".into(),
            Self::Section(name) => format!("[{name}]"),
            Self::Thing { kind, name } => format!("{kind} \"{name}\""),
        }
    }

    /// The keys it may hold.
    pub fn section(&self) -> &'static Section {
        match self.kind() {
            "room" => &keys::ROOM,
            "backdrop" => &keys::BACKDROP,
            "figure" => &keys::FIGURE,
            "swatch" => &keys::SWATCH,
            "camera" => &keys::CAMERA,
            "meter" => &keys::METER,
            "light" => &keys::LIGHT,
            "board" | "flag" => &keys::BOARD,
            "scrim" => &keys::SCRIM,
            _ => &keys::SETUP,
        }
    }
}

/// A value as a person types it: text without its quotes.
fn typed_text(value: &Value) -> Option<String> {
    Some(match value {
        Value::String(s) => s.value().clone(),
        other => other.clone().decorated("", "").to_string(),
    })
}

/// A number, list, table, quoted text, true or false as such; all else as text.
fn typed_value(typed: &str) -> Value {
    let typed = typed.trim();
    match typed.parse::<Value>() {
        Ok(Value::Datetime(_)) | Err(_) => Value::from(typed),
        Ok(mut value) => {
            // Spaced as is usual where it will stand.
            value.decor_mut().clear();
            value
        }
    }
}

/// Takes away what cannot stand beside a key that is about to be typed.
fn make_room(table: &mut dyn TableLike, kind: &str, key: &str) {
    let gone: &[&str] = match (kind, key) {
        ("light", "spread") => &["mark"],
        ("light", "mark") => &["spread"],
        ("light", "modifier") => &["spread", "mark"],
        ("light", "meters") => &["power"],
        ("light", "power") => &["meters", "metered_at"],
        ("swatch", "at") => &["distance", "bearing", "height", "beside", "offset"],
        ("swatch", "beside") => &["distance", "bearing", "height", "at"],
        ("swatch", "distance") => &["beside", "offset"],
        (_, "at") => &["distance", "bearing", "height"],
        _ => &[],
    };
    for other in gone {
        table.remove(other);
    }
    if ["distance", "bearing", "height"].contains(&key) {
        let at = table.get("at").and_then(coordinates);
        if let Some(at) = at {
            table.remove("at");
            for (key, text) in ["distance", "bearing", "height"].iter().zip(taped_text(at)) {
                table.insert(key, Item::Value(text.into()));
            }
        }
    }
}

/// Distance, bearing and height of coordinates, as a person tapes them out: to the centimetre and
/// the tenth of a degree.
pub fn taped_text(at_m: [f64; 3]) -> [String; 3] {
    let (distance_m, bearing_rad, height_m) = Place::At(DVec3::from_array(at_m)).taped();
    let degrees = (bearing_rad.to_degrees() * 10.0).round() / 10.0;
    let bearing = match degrees {
        d if d > 0.0 => format!("{} deg right", tidy(d)),
        d if d < 0.0 => format!("{} deg left", tidy(-d)),
        _ => "0 deg".to_owned(),
    };
    [
        format!("{distance_m:.2} m"),
        bearing,
        format!("{height_m:.2} m"),
    ]
}

fn coordinates(item: &Item) -> Option<[f64; 3]> {
    let list = item.as_array()?;
    let number = |v: &Value| {
        v.as_float()
            .or_else(|| v.as_integer().map(|i| i as f64))
            .or_else(|| length_m(v.as_str()?).ok())
    };
    let numbers: Vec<f64> = list.iter().filter_map(number).collect();
    numbers.try_into().ok()
}

/// Puts a value at the end of a way of keys; the comment behind the old value stays.
fn put(
    table: &mut dyn TableLike,
    keys: &[String],
    mut value: Value,
    owner: &str,
) -> Result<(), EditError> {
    let (key, rest) = keys.split_first().ok_or_else(|| EditError {
        what: format!("no key of {owner} is named"),
        hint: "write OWNER.KEY".into(),
    })?;
    if !rest.is_empty() {
        let inner = table
            .entry(key)
            .or_insert_with(|| Item::Value(Value::InlineTable(Default::default())));
        let Some(inner) = inner.as_table_like_mut() else {
            return Err(EditError {
                what: format!("`{key}` of {owner} is no table, so it has no `{}`", rest[0]),
                hint: format!("give {key} = {{ … }} as a whole"),
            });
        };
        return put(inner, rest, value, owner);
    }
    match table.get_mut(key) {
        Some(Item::Value(old)) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        _ => {
            table.insert(key, Item::Value(value));
        }
    }
    Ok(())
}
