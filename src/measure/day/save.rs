//! What was learnt, in a modifier's own file: its comments and order stay.

use super::fit::{Learnt, SDS_OF_95};
use crate::photometry::units;
use toml_edit::{DocumentMut, Item, Value};

/// The key of a modifier that holds it.
pub const KEY: &str = "correction";

/// Why a modifier's text cannot take a correction.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct SaveError {
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

/// The correction that a modifier's text has, stops; none counts as zero.
///
/// # Errors
/// When the text is no TOML or the key no number of stops.
pub fn correction_stops(text: &str) -> Result<Option<f64>, SaveError> {
    let document = parse(text)?;
    let Some(item) = document.get(KEY) else {
        return Ok(None);
    };
    let stops = item.as_str().map(units::stops);
    match stops {
        Some(Ok(stops)) => Ok(Some(stops)),
        _ => Err(SaveError {
            what: format!("`{KEY}` is no number of stops"),
            hint: format!("write {KEY} = \"-0.2 stop\""),
        }),
    }
}

/// The text with `more` added to its correction, and beside it what that rests on.
///
/// # Errors
/// As [`correction_stops`].
pub fn corrected(
    text: &str,
    more: Learnt,
    date: &str,
    readings: usize,
) -> Result<String, SaveError> {
    let before = correction_stops(text)?.unwrap_or(0.0);
    let mut document = parse(text)?;
    let stops = before + more.stops;
    let unit = if stops.abs() > 1.0 { "stops" } else { "stop" };
    let mut value = Value::from(format!("{stops:+.2} {unit}"));
    let when = match date.trim() {
        "" => String::new(),
        date => format!(", {}", date.replace(['\n', '\r'], " ")),
    };
    let many = if readings == 1 { "reading" } else { "readings" };
    value.decor_mut().set_suffix(format!(
        "    # ± {:.2} (95 %), from {readings} {many}{when}",
        SDS_OF_95 * more.sd_stops
    ));
    value.decor_mut().set_prefix(" ");
    match document.get_mut(KEY) {
        Some(item) => *item = Item::Value(value),
        None => {
            document.insert(KEY, Item::Value(value));
        }
    }
    Ok(document.to_string())
}

fn parse(text: &str) -> Result<DocumentMut, SaveError> {
    text.parse().map_err(|e: toml_edit::TomlError| SaveError {
        what: format!("it is no TOML: {}", e.message()),
        hint: "give a modifier's file".into(),
    })
}
