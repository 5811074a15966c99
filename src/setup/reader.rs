//! Reading values out of TOML with their places, so that every complaint can point.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::keys::{Section, nearest};
use super::problem::{Kind, Problems, Severity};

/// A TOML value and where it stands.
pub(super) type Value<'t> = &'t Spanned<DeValue<'t>>;

/// Collects problems while a file is read. Reading goes on after an error, with the
/// default in place of the faulty value, so that all errors come out at once.
#[derive(Default)]
pub(super) struct Log {
    problems: RefCell<Problems>,
}

impl Log {
    pub(super) fn add_file(&self, name: &str, text: &str) {
        self.problems.borrow_mut().add_file(name, text);
    }

    pub(super) fn error(
        &self,
        kind: Kind,
        place: &Place<'_>,
        message: impl Into<String>,
        hint: impl Into<String>,
    ) {
        self.add(Severity::Error, kind, place, message, hint);
    }

    pub(super) fn add(
        &self,
        severity: Severity,
        kind: Kind,
        place: &Place<'_>,
        message: impl Into<String>,
        hint: impl Into<String>,
    ) {
        self.problems.borrow_mut().add(
            (severity, kind),
            place.file,
            place.span.clone(),
            message,
            hint,
        );
    }

    pub(super) fn error_count(&self) -> usize {
        self.problems.borrow().of(Severity::Error).count()
    }

    /// The lines on which problems of a kind are.
    pub(super) fn lines_of(&self, kind: Kind) -> Vec<usize> {
        let problems = self.problems.borrow();
        let of_kind = problems.list().iter().filter(|p| p.kind == kind);
        of_kind.map(|p| p.line).collect()
    }

    pub(super) fn into_problems(self) -> Problems {
        self.problems.into_inner()
    }
}

/// A byte range of a named file.
#[derive(Debug, Clone)]
pub(super) struct Place<'t> {
    pub file: &'t str,
    pub span: Range<usize>,
}

/// Why a value was refused; the reader adds the place and the key.
#[derive(Debug)]
pub(super) struct Fault {
    pub kind: Kind,
    pub message: String,
    pub hint: String,
    /// Where inside the value, when not all of it.
    pub span: Option<Range<usize>>,
}

impl Fault {
    pub(super) fn new(kind: Kind, message: impl Into<String>, hint: impl Into<String>) -> Fault {
        Fault {
            kind,
            message: message.into(),
            hint: hint.into(),
            span: None,
        }
    }

    /// Points at the value, unless it points inside it already.
    pub(super) fn at(mut self, value: Value<'_>) -> Fault {
        self.span.get_or_insert(value.span());
        self
    }

    /// Points at some bytes of a text value. With escapes in the text they cannot be told,
    /// and the whole value is meant.
    pub(super) fn at_bytes(self, value: Value<'_>, bytes: Option<Range<usize>>) -> Fault {
        let span = value.span();
        let plain = value
            .get_ref()
            .as_str()
            .is_some_and(|s| span.len() == s.len() + 2);
        let span = match bytes {
            Some(bytes) if plain && !bytes.is_empty() => {
                span.start + 1 + bytes.start..span.start + 1 + bytes.end
            }
            _ => span,
        };
        Fault {
            span: Some(span),
            ..self
        }
    }
}

/// One table of the file, read by the keys of its section.
#[derive(Clone)]
pub(super) struct Table<'t> {
    pub file: &'t str,
    pub table: &'t DeTable<'t>,
    pub span: Range<usize>,
    pub section: &'static Section,
    /// What messages call this table: `light "key"`.
    pub label: String,
    /// Known keys that unknown ones look like: not to be called missing as well.
    slips: Vec<&'static str>,
}

impl<'t> Table<'t> {
    /// Opens a table and reports the keys that its section does not have.
    pub(super) fn open(
        log: &Log,
        file: &'t str,
        value: Value<'t>,
        section: &'static Section,
        label: impl Into<String>,
    ) -> Option<Table<'t>> {
        let label = label.into();
        let Some(table) = value.get_ref().as_table() else {
            let place = Place {
                file,
                span: value.span(),
            };
            log.error(
                Kind::WrongType,
                &place,
                format!("{label} must be a table, not {}", type_name(value)),
                format!("write it as {}", section.written),
            );
            return None;
        };
        let mut table = Table {
            file,
            table,
            span: value.span(),
            section,
            label,
            slips: Vec::new(),
        };
        table.slips = table.report_unknown_keys(log);
        Some(table)
    }

    fn report_unknown_keys(&self, log: &Log) -> Vec<&'static str> {
        let mut slips = Vec::new();
        for (key, _) in self.table.iter() {
            let name = key.get_ref().as_ref();
            if self.section.keys.iter().any(|k| k.name == name) {
                continue;
            }
            let known = || self.section.keys.iter().map(|k| k.name);
            let hint = match nearest(name, known()) {
                Some(near) => {
                    slips.push(near);
                    format!("did you mean `{near}`?")
                }
                None => format!("known keys: {}", known().collect::<Vec<_>>().join(", ")),
            };
            log.error(
                Kind::UnknownKey,
                &Place {
                    file: self.file,
                    span: key.span(),
                },
                format!("unknown key `{}` in {}", clip(name), self.label),
                hint,
            );
        }
        slips
    }

    /// The value of a key, if it is there.
    pub(super) fn get(&self, key: &str) -> Option<Value<'t>> {
        debug_assert!(
            self.section.keys.iter().any(|k| k.name == key),
            "`{key}` is not in the key table of {}",
            self.section.written
        );
        self.table.get(key)
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// Whether one of these keys is there under a misspelt name.
    pub(super) fn slipped(&self, keys: &[&str]) -> bool {
        keys.iter().any(|key| self.slips.contains(key))
    }

    /// Reads a key; `None` when it is absent or faulty (then it has been reported).
    pub(super) fn read<T>(
        &self,
        log: &Log,
        key: &str,
        read: impl FnOnce(Value<'t>) -> Result<T, Fault>,
    ) -> Option<T> {
        let value = self.get(key)?;
        match read(value) {
            Ok(v) => Some(v),
            Err(fault) => {
                self.fault(log, key, value, fault);
                None
            }
        }
    }

    /// Reports a fault of a key's value.
    pub(super) fn fault(&self, log: &Log, key: &str, value: Value<'_>, fault: Fault) {
        log.error(
            fault.kind,
            &Place {
                file: self.file,
                span: fault.span.unwrap_or(value.span()),
            },
            format!("`{key}` of {}: {}", self.label, fault.message),
            fault.hint,
        );
    }

    /// As [`Table::read`], and reports a key that is not there, with what it takes.
    pub(super) fn require<T>(
        &self,
        log: &Log,
        key: &str,
        read: impl FnOnce(Value<'t>) -> Result<T, Fault>,
    ) -> Option<T> {
        if !self.has(key) {
            let takes = self
                .section
                .keys
                .iter()
                .find(|k| k.name == key)
                .map_or("", |k| k.takes);
            self.missing(
                log,
                &[key],
                &format!("`{key}`"),
                format!("add {key} = … ({takes})"),
            );
        }
        self.read(log, key, read)
    }

    /// Reports something that is not there, unless one of its keys is only misspelt.
    pub(super) fn missing(&self, log: &Log, keys: &[&str], what: &str, hint: impl Into<String>) {
        if self.slipped(keys) {
            return;
        }
        log.error(
            Kind::Missing,
            &self.place(),
            format!("{} has no {what}", self.label),
            hint,
        );
    }

    /// Reports keys that cannot stand together; points at the second.
    pub(super) fn conflict(
        &self,
        log: &Log,
        key: &str,
        message: impl AsRef<str>,
        hint: impl Into<String>,
    ) {
        log.error(
            Kind::Conflict,
            &self.place_of(key),
            format!("{}: {}", self.label, message.as_ref()),
            hint,
        );
    }

    /// The table's place: its header, or the braces of an inline table.
    pub(super) fn place(&self) -> Place<'t> {
        Place {
            file: self.file,
            span: self.span.clone(),
        }
    }

    /// The place of a key's value, or the table's when it is not there.
    pub(super) fn place_of(&self, key: &str) -> Place<'t> {
        Place {
            file: self.file,
            span: self.get(key).map_or(self.span.clone(), |v| v.span()),
        }
    }
}

/// What a TOML value is, for messages.
pub(super) fn type_name(value: Value<'_>) -> &'static str {
    match value.get_ref() {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// Shortens hostile text for a message.
pub(super) fn clip(text: &str) -> String {
    if text.chars().count() <= 60 {
        text.to_owned()
    } else {
        text.chars().take(57).chain("…".chars()).collect()
    }
}

/// A set of names already taken.
#[derive(Default)]
pub(super) struct Taken(BTreeSet<String>);

impl Taken {
    /// Takes a name; false when it was taken before (letter case does not tell names apart).
    pub(super) fn take(&mut self, name: &str) -> bool {
        self.0.insert(name.to_lowercase())
    }
}
