//! An axis of a sweep: a key and the values that it takes in turn.

use super::range;
use crate::setup::written::{EditError, KeyPath, Owner, Written};

/// Values on one axis, at the most.
pub const MOST_ON_AN_AXIS: usize = 12;

/// A key and its values.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Which key.
    pub path: KeyPath,
    /// What is typed into it, state by state.
    pub values: Vec<String>,
    /// Where the values lie on a plot.
    pub spacing: Spacing,
}

/// Where values lie beside each other.
#[derive(Debug, Clone, PartialEq)]
pub enum Spacing {
    /// Numbers in one unit, which may be none.
    Numbers {
        /// One to a value; left and down are negative.
        at: Vec<f64>,
        /// What they are counted in.
        unit: String,
    },
    /// Names: side by side, in their order.
    Names,
}

/// Why a text is no axis.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct AxisError {
    /// What is wrong.
    pub what: String,
    /// What to type.
    pub hint: String,
}

impl From<EditError> for AxisError {
    fn from(error: EditError) -> Self {
        Self {
            what: error.what,
            hint: error.hint,
        }
    }
}

impl Axis {
    /// Reads `KEY=FROM..TO:COUNT` or `KEY=A,B,C` against a setup. The ends of a range may have units
    /// and sides ("20 deg left..80 deg left:4"); f-numbers, fractions and exposure times go in even stops,
    /// all else in even steps. Commas inside brackets and quotes part no list.
    ///
    /// # Errors
    /// [`AxisError`] for a key that the setup has not, and for values that are no range or list.
    pub fn typed(text: &str, setup: &Written) -> Result<Self, AxisError> {
        let Some((key, values)) = text.split_once('=') else {
            return Err(AxisError {
                what: format!("\"{text}\" gives no values"),
                hint: format!(
                    "write KEY=FROM..TO:COUNT or KEY=A,B,C, such as {}=0..1:6",
                    example_key(text)
                ),
            });
        };
        let path = setup.path(key)?;
        refuse(&path)?;
        let values = unquoted(values.trim());
        let key = key.trim();
        let (values, spacing) = match range::range(key, values)? {
            Some(range) => (
                range.typed,
                Spacing::Numbers {
                    at: range.at,
                    unit: range.unit,
                },
            ),
            None => {
                let list = list(key, values)?;
                let spacing = range::numbers(&list)
                    .map_or(Spacing::Names, |(at, unit)| Spacing::Numbers { at, unit });
                (list, spacing)
            }
        };
        Ok(Self {
            path,
            values,
            spacing,
        })
    }

    /// What is swept, in words: "spread of key", "fabric of figure".
    pub fn words(&self) -> String {
        let shown = self.path.shown();
        let owner = match self.path.owner() {
            Owner::Top => return shown,
            Owner::Section(name) => name,
            Owner::Thing { name, .. } => name.as_str(),
        };
        // The owner's name may hold dots; the keys follow it.
        match shown.find(&format!("{owner}.")) {
            Some(at) => format!(
                "{} of {owner}",
                shown[at + owner.len() + 1..].replace(['_', '.'], " ")
            ),
            None => shown,
        }
    }

    /// The value as people read it in a picture's label.
    pub fn label(&self, index: usize) -> String {
        unquoted(&self.values[index]).to_owned()
    }
}

/// The typed text where it looks like a key.
fn example_key(text: &str) -> &str {
    let plain = |c: char| c.is_alphanumeric() || "._- ".contains(c);
    match text.contains('.') && text.len() < 60 && text.chars().all(plain) {
        true => text.trim(),
        false => "key.spread",
    }
}

/// Keys that mean nothing in a sweep.
fn refuse(path: &KeyPath) -> Result<(), AxisError> {
    match (path.owner(), path.key()) {
        (Owner::Section("camera"), "pixels") => Err(AxisError {
            what: "all pictures of a sweep have one size".into(),
            hint: "give it with --size, such as --size 400x600".into(),
        }),
        (Owner::Top, key) => Err(AxisError {
            what: format!("`{key}` changes nothing that can be seen or read"),
            hint: "sweep a key of a light, a board, the figure or the camera, such as key.distance"
                .into(),
        }),
        (Owner::Thing { .. }, "name") => Err(AxisError {
            what: "a name changes nothing that can be seen or read".into(),
            hint: "sweep another of its keys, such as distance or aim".into(),
        }),
        _ => Ok(()),
    }
}

fn list(key: &str, text: &str) -> Result<Vec<String>, AxisError> {
    let items: Vec<String> = parted(text).iter().map(|i| i.trim().to_owned()).collect();
    let wrong = |what: String, hint: String| Err(AxisError { what, hint });
    if items.iter().any(String::is_empty) {
        return wrong(
            format!("a value of {key} is empty"),
            format!("write {key}=A,B,C with no comma too many, or a range {key}=FROM..TO:COUNT"),
        );
    }
    if items.len() < 2 {
        return wrong(
            format!("{key} takes only one value, {}", items[0]),
            format!(
                "give at least two: {key}={},…, or a range {key}=FROM..TO:COUNT",
                items[0]
            ),
        );
    }
    if items.len() > MOST_ON_AN_AXIS {
        return wrong(
            format!("{} values of {key} are too many", items.len()),
            format!("give up to {MOST_ON_AN_AXIS}"),
        );
    }
    for (k, item) in items.iter().enumerate() {
        if items[..k].contains(item) {
            return wrong(
                format!("{key} takes {item} twice"),
                "give each value once".into(),
            );
        }
    }
    Ok(items)
}

/// At commas that stand in no brackets and no quotes.
fn parted(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let (mut from, mut depth, mut quote) = (0, 0_i32, None);
    for (at, c) in text.char_indices() {
        match (quote, c) {
            (Some(open), c) if c == open => quote = None,
            (Some(_), _) => {}
            (None, '"' | '\'') => quote = Some(c),
            (None, '[' | '{') => depth += 1,
            (None, ']' | '}') => depth -= 1,
            (None, ',') if depth <= 0 => {
                parts.push(&text[from..at]);
                from = at + 1;
            }
            _ => {}
        }
    }
    parts.push(&text[from..]);
    parts
}

/// Without quotes around the whole, which some shells leave there.
fn unquoted(text: &str) -> &str {
    for quote in ['"', '\''] {
        let inner = text.strip_prefix(quote).and_then(|t| t.strip_suffix(quote));
        if let Some(inner) = inner.filter(|i| !i.contains(quote)) {
            return inner;
        }
    }
    text
}
