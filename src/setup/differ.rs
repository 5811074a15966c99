//! What differs between setups, key by key, in resolved values: every default filled in, whatever way
//! they were written.

use super::Setup;
use super::to_toml;
use toml::{Table, Value};

/// One key in which setups differ.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// `key.distance`, `camera.iso`, `bounce`.
    pub key: String,
    /// Its value in each setup; `None` where there is no such key or thing.
    pub values: Vec<Option<String>>,
}

/// Every key in which these setups differ, by sections and things in the order of a setup's file. Lights, boards, flags and
/// scrims are matched by name; one that not all have is one row. Titles and notes do not count.
pub fn differences(setups: &[&Setup]) -> Vec<Difference> {
    let tables: Vec<Option<Value>> = setups
        .iter()
        .map(|s| to_toml(s).parse::<Table>().ok().map(named))
        .collect();
    let each: Vec<Option<&Value>> = tables.iter().map(Option::as_ref).collect();
    let mut found = Vec::new();
    walk(&mut found, "", &each);
    found.retain(|d| !["title", "notes"].contains(&d.key.as_str()));
    let order = owners(setups);
    let is_of = |key: &str, owner: &str| {
        key.strip_prefix(owner)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
    };
    found.sort_by_key(|d| order.iter().position(|o| is_of(&d.key, o)));
    found
}

/// Sections and things in the order of a setup's file.
fn owners(setups: &[&Setup]) -> Vec<String> {
    let before = ["room", "backdrop", "figure", "swatch", "camera"].map(str::to_owned);
    let lights = setups.iter().flat_map(|s| s.lights.iter().map(|l| &l.name));
    let boards = setups.iter().flat_map(|s| s.boards.iter().map(|b| &b.name));
    let things = lights.chain(boards).cloned();
    before
        .into_iter()
        .chain(things)
        .chain(["meter".to_owned()])
        .collect()
}

/// Lists of named things become tables by name, sections and things side by side.
fn named(table: Table) -> Value {
    let mut out = Table::new();
    for (key, value) in table {
        match value {
            Value::Array(list) if list.iter().all(Value::is_table) && !list.is_empty() => {
                for (k, item) in list.into_iter().enumerate() {
                    let Value::Table(mut item) = item else {
                        continue;
                    };
                    let name = match item.remove("name") {
                        Some(Value::String(name)) => name,
                        _ => format!("{key} {}", k + 1),
                    };
                    item.insert("kind of thing".into(), key.clone().into());
                    out.insert(name, Value::Table(item));
                }
            }
            Value::Table(mut inner) => {
                for value in inner.iter_mut().map(|(_, v)| v) {
                    if let Value::Array(list) = value
                        && list.iter().all(|v| v.get("name").is_some())
                        && !list.is_empty()
                    {
                        *value = by_name(list);
                    }
                }
                out.insert(key, Value::Table(inner));
            }
            other => {
                out.insert(key, other);
            }
        }
    }
    Value::Table(out)
}

fn by_name(list: &[Value]) -> Value {
    let each = list.iter().filter_map(|v| {
        let name = v.get("name")?.as_str()?.to_owned();
        let mut inner = v.as_table()?.clone();
        inner.remove("name");
        Some((name, Value::Table(inner)))
    });
    Value::Table(each.collect())
}

fn walk(found: &mut Vec<Difference>, key: &str, each: &[Option<&Value>]) {
    if each.windows(2).all(|w| w[0] == w[1]) {
        return;
    }
    let tables: Option<Vec<&Table>> = each.iter().map(|v| v.and_then(Value::as_table)).collect();
    let Some(tables) = tables else {
        found.push(Difference {
            key: key.to_owned(),
            values: each.iter().map(|v| v.map(shown)).collect(),
        });
        return;
    };
    let mut keys: Vec<&String> = Vec::new();
    for inner in tables.iter().flat_map(|t| t.keys()) {
        if !keys.contains(&inner) {
            keys.push(inner);
        }
    }
    for inner in keys {
        let path = match key.is_empty() {
            true => inner.clone(),
            false => format!("{key}.{inner}"),
        };
        let values: Vec<Option<&Value>> = tables.iter().map(|t| t.get(inner)).collect();
        walk(found, &path, &values);
    }
}

/// A value in a table: text without quotes, a thing by what it is.
fn shown(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Float(number) => number.to_string(),
        Value::Array(list) => {
            let each: Vec<String> = list.iter().map(shown).collect();
            each.join(", ")
        }
        Value::Table(table) => {
            let pick = |key: &str| table.get(key).map(shown);
            match (pick("kind of thing"), pick("modifier"), pick("finish")) {
                (Some(kind), Some(with), _) | (Some(kind), None, Some(with)) => {
                    format!("{kind}, {with}")
                }
                (Some(kind), None, None) => kind,
                _ => {
                    let each: Vec<String> = table
                        .iter()
                        .map(|(k, v)| format!("{k} {}", shown(v)))
                        .collect();
                    each.join(", ")
                }
            }
        }
        other => other.to_string(),
    }
}
