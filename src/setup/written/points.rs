//! The meter's points in a setup's text, each by its number in the list, counted from 1:
//! `meter.points.2.receptor`. A point that is written as a bare name or place is its own `at`.

use super::{EditError, put};
use crate::setup::keys::{self, nearest};
use toml_edit::{Array, InlineTable, Item, Table, Value};

/// Whether the keys after `points` lead to a point that may be written so.
///
/// # Errors
/// What is wrong with them.
pub(super) fn check(keys: &[String]) -> Result<(), EditError> {
    let wrong = |what: String, hint: &str| EditError {
        what,
        hint: hint.into(),
    };
    if number(&keys[0]).is_none() {
        return Err(wrong(
            format!("\"{}\" is no number of a meter point", keys[0]),
            "count the points of the list from 1: meter.points.1.receptor",
        ));
    }
    let known = || keys::METER_POINT.keys.iter().map(|k| k.name);
    match keys.get(1) {
        Some(key) if !known().any(|k| k == key) => {
            let near = nearest(key, known()).map(|near| format!("did you mean `{near}`?"));
            let all = || format!("known keys: {}", known().collect::<Vec<_>>().join(", "));
            Err(wrong(
                format!("a meter point has no key `{key}`"),
                &near.unwrap_or_else(all),
            ))
        }
        _ if keys.len() > 2 => Err(wrong(
            format!("`{}` of a meter point holds no keys", keys[1]),
            "write meter.points.1.receptor",
        )),
        _ => Ok(()),
    }
}

/// What a point holds, as typed.
pub(super) fn value(list: &Item, keys: &[String]) -> Option<String> {
    let index = number(&keys[0])?;
    let key = keys.get(1).map(String::as_str);
    if let Some(tables) = list.as_array_of_tables() {
        return super::typed_text(tables.get(index)?.get(key?)?.as_value()?);
    }
    let point = list.as_array()?.get(index)?;
    let held = match (point, key) {
        (Value::InlineTable(table), Some(key)) => table.get(key)?,
        (bare, None | Some("at")) => bare,
        _ => return None,
    };
    super::typed_text(held)
}

/// Types a value into a point, or a whole point into the list; the number after the last one adds one.
///
/// # Errors
/// Where there is no such point.
pub(super) fn set(list: &mut Item, keys: &[String], mut typed: Value) -> Result<(), EditError> {
    let index = number(&keys[0]).unwrap_or(usize::MAX);
    let key = keys.get(1).map_or("at", String::as_str);
    if let Some(tables) = list.as_array_of_tables_mut() {
        if tables.len() == index {
            tables.push(Table::new());
        }
        let known = tables.len();
        let table = tables.get_mut(index).ok_or_else(|| gone(known))?;
        return put(table, &[key.to_owned()], typed, "the meter point");
    }
    let array = list.as_array_mut().ok_or_else(|| gone(0))?;
    if array.len() == index && key == "at" {
        add(array, typed);
        return Ok(());
    }
    let known = array.len();
    let point = array.get_mut(index).ok_or_else(|| gone(known))?;
    match point {
        Value::InlineTable(table) if keys.len() > 1 => {
            let fresh = !table.contains_key(key);
            put(table, &[key.to_owned()], typed, "the meter point")?;
            if fresh {
                // Evenly spaced; there are no comments inside.
                table.fmt();
            }
            Ok(())
        }
        bare if key == "at" => {
            *typed.decor_mut() = bare.decor().clone();
            *bare = typed;
            Ok(())
        }
        bare => {
            let mut table = InlineTable::new();
            table.insert("at", bare.clone().decorated("", ""));
            table.insert(key, typed);
            table.fmt();
            let mut table = Value::InlineTable(table);
            *table.decor_mut() = bare.decor().clone();
            *bare = table;
            Ok(())
        }
    }
}

/// Leaves a key of a point out, or a whole point.
pub(super) fn remove(list: &mut Item, keys: &[String]) {
    let Some(index) = number(&keys[0]) else {
        return;
    };
    if let Some(tables) = list.as_array_of_tables_mut() {
        match (keys.get(1), tables.get_mut(index)) {
            (Some(key), Some(table)) => drop(table.remove(key)),
            (None, Some(_)) => drop(tables.remove(index)),
            _ => {}
        }
        return;
    }
    let Some(array) = list.as_array_mut().filter(|a| index < a.len()) else {
        return;
    };
    match keys.get(1) {
        Some(key) => {
            if let Some(Value::InlineTable(table)) = array.get_mut(index) {
                table.remove(key);
                table.fmt();
            }
        }
        None => take(array, index),
    }
}

fn number(key: &str) -> Option<usize> {
    key.parse::<usize>().ok()?.checked_sub(1)
}

fn gone(known: usize) -> EditError {
    EditError {
        what: match known {
            0 => "the meter lists no points".into(),
            1 => "the meter lists one point".into(),
            n => format!("the meter lists {n} points"),
        },
        hint: "write them as a list first: points = [\"face\", \"chest\", \"hem\"]".into(),
    }
}

/// Adds a point at the end, on a line of its own where the others have one. Comments stay with whom they
/// stand behind.
fn add(array: &mut Array, mut point: Value) {
    let Some(last) = array.len().checked_sub(1) else {
        return array.push_formatted(point.decorated("", ""));
    };
    let before = space(array.get(last), true);
    let after = space(array.get(last), false);
    let indent = match before.rfind('\n') {
        Some(at) => &before[at..],
        None => " ",
    };
    let trailing = array.trailing().as_str().unwrap_or_default().to_owned();
    let comment = trailing.split('\n').next().unwrap_or_default().trim_end();
    if array.trailing_comma() {
        point = point.decorated(format!("{comment}{indent}"), "");
        let rest = trailing.find('\n').map_or("", |at| &trailing[at..]);
        array.set_trailing(rest.to_owned());
    } else {
        point = point.decorated(indent, after.as_str());
        // A comment that stands behind the last one keeps its line.
        if !after.contains('#')
            && let Some(value) = array.get_mut(last)
        {
            value.decor_mut().set_suffix("");
        } else {
            point.decor_mut().set_suffix("\n");
        }
    }
    array.push_formatted(point);
}

/// Takes a point out. What stands behind the comma before it is a comment on the one before.
fn take(array: &mut Array, index: usize) {
    let before = space(array.get(index), true);
    let after = space(array.get(index), false);
    array.remove(index);
    let followed = array.get(index).is_some();
    if followed {
        let joined = joined(&before, &space(array.get(index), true));
        if let Some(next) = array.get_mut(index) {
            next.decor_mut().set_prefix(joined);
        }
        return;
    }
    if !before.contains('\n') && !after.contains('\n') {
        return;
    }
    if array.trailing_comma() {
        let trailing = array.trailing().as_str().unwrap_or_default().to_owned();
        array.set_trailing(joined(&before, &trailing));
    } else if let Some(last) = array.len().checked_sub(1)
        && let Some(value) = array.get_mut(last)
    {
        value.decor_mut().set_suffix(joined(&before, &after));
    }
}

/// What stands before what was taken out, to the end of its line, and after that what stands before the next.
fn joined(before: &str, after: &str) -> String {
    match (before.find('\n'), after.find('\n')) {
        (Some(b), Some(a)) => format!("{}{}", &before[..b], &after[a..]),
        (None, Some(_)) => after.to_owned(),
        (_, None) => before.to_owned(),
    }
}

fn space(of: Option<&Value>, before: bool) -> String {
    let decor = of.map(Value::decor);
    let raw = decor.and_then(|d| if before { d.prefix() } else { d.suffix() });
    raw.and_then(|r| r.as_str()).unwrap_or_default().to_owned()
}
