//! Reading single values: text, numbers, quantities, words, points, colours.

use glam::DVec3;
use toml::de::DeValue;

use super::keys::nearest;
use super::problem::Kind;
use super::quantity::{Bad, COORDINATE, Measure, hex_colour};
use super::reader::{Fault, Value, clip, type_name};

/// The longest name or label that tables and drawings take.
const LONGEST_NAME: usize = 40;
fn wrong_type(value: Value<'_>, wanted: &str, example: &str) -> Fault {
    Fault::new(
        Kind::WrongType,
        format!("must be {wanted}, not {}", type_name(value)),
        format!("write {example}"),
    )
    .at(value)
}

/// Text.
pub(super) fn text<'t>(value: Value<'t>) -> Result<&'t str, Fault> {
    value
        .get_ref()
        .as_str()
        .ok_or_else(|| wrong_type(value, "text", "it in quotes, such as \"text\""))
}

/// A label: not empty, one line, of sensible length.
pub(super) fn name(value: Value<'_>) -> Result<String, Fault> {
    let name = text(value)?;
    if name.trim().is_empty() {
        return Err(Fault::new(
            Kind::OutOfRange,
            "is empty",
            "write a short label",
        ));
    }
    if name.trim() != name {
        return Err(Fault::new(
            Kind::OutOfRange,
            "begins or ends with a space",
            format!("write \"{}\"", clip(name.trim())),
        ));
    }
    if name.chars().count() > LONGEST_NAME {
        return Err(Fault::new(
            Kind::OutOfRange,
            format!("has more than {LONGEST_NAME} characters"),
            "write a shorter one: it labels tables and drawings",
        ));
    }
    if name.chars().any(|c| c.is_control() || is_direction_mark(c)) {
        return Err(Fault::new(
            Kind::OutOfRange,
            "holds a control character",
            "write letters, digits, spaces or signs",
        ));
    }
    Ok(name.to_owned())
}

/// A label, or a list of at least one.
pub(super) fn names(value: Value<'_>) -> Result<Vec<String>, Fault> {
    let Some(list) = value.get_ref().as_array() else {
        return Ok(vec![name(value)?]);
    };
    if list.is_empty() {
        return Err(Fault::new(
            Kind::OutOfRange,
            "is an empty list",
            "name one, or leave the key out",
        )
        .at(value));
    }
    list.iter().map(|v| name(v).map_err(|f| f.at(v))).collect()
}

/// Characters that turn the writing direction of what follows them.
fn is_direction_mark(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Longer text, of any content, at most 10 000 characters.
pub(super) fn prose(value: Value<'_>) -> Result<String, Fault> {
    let prose = text(value)?;
    if prose.chars().count() > 10_000 {
        return Err(Fault::new(
            Kind::OutOfRange,
            "has more than 10 000 characters",
            "keep it shorter",
        ));
    }
    Ok(prose.to_owned())
}

/// `true` or `false`.
pub(super) fn flag(value: Value<'_>) -> Result<bool, Fault> {
    value
        .get_ref()
        .as_bool()
        .ok_or_else(|| wrong_type(value, "true or false", "true or false, without quotes"))
}

/// A bare number, finite.
pub(super) fn number(value: Value<'_>) -> Result<f64, Fault> {
    let parsed = match value.get_ref() {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
            .ok()
            .map(|n| n as f64),
        DeValue::Float(f) => f.as_str().parse::<f64>().ok(),
        _ => {
            return Err(wrong_type(
                value,
                "a number",
                "it without quotes, such as 0.5",
            ));
        }
    };
    match parsed {
        Some(n) if n.is_finite() => Ok(n),
        _ => Err(Fault::new(
            Kind::OutOfRange,
            "is not a finite number",
            "write an ordinary number",
        )
        .at(value)),
    }
}

/// A bare number in a closed range.
pub(super) fn number_in(least: f64, most: f64) -> impl Fn(Value<'_>) -> Result<f64, Fault> {
    move |value| {
        let n = number(value)?;
        if n < least || n > most {
            return Err(
                out_of_range(&n.to_string(), &least.to_string(), &most.to_string()).at(value),
            );
        }
        Ok(n)
    }
}

/// The fault of a value outside its range.
pub(super) fn out_of_range(shown: &str, least: &str, most: &str) -> Fault {
    Fault::new(
        Kind::OutOfRange,
        format!("{shown} is out of range"),
        format!("it can be {least} to {most}"),
    )
}

/// A quantity with its unit, in the measure's range.
pub(super) fn quantity(measure: &'static Measure) -> impl Fn(Value<'_>) -> Result<f64, Fault> {
    move |value| match value.get_ref() {
        DeValue::String(written) => {
            let read = (measure.parse)(written).map_err(|bad| refuse(bad, value))?;
            measure.check(read).map_err(|bad| refuse(bad, value))
        }
        DeValue::Integer(_) | DeValue::Float(_) => {
            let n = number(value)?;
            if let Some(bare) = measure.bare {
                let read = bare(n);
                return measure.check(read).map_err(|bad| refuse(bad, value));
            }
            let unit = measure.example.split_once(' ').map_or("", |(_, unit)| unit);
            Err(Fault::new(
                Kind::WrongQuantity,
                format!("{n} has no unit"),
                format!(
                    "write {} in quotes with its unit: \"{n} {unit}\"",
                    measure.what
                ),
            )
            .at(value))
        }
        _ => Err(wrong_type(
            value,
            measure.what,
            &format!("\"{}\"", measure.example),
        )),
    }
}

/// A reading of the measure's text by another function (sizes, outputs and the like).
pub(super) fn written<T>(
    what: &'static str,
    example: &'static str,
    parse: impl Fn(&str) -> Result<T, Bad>,
) -> impl Fn(Value<'_>) -> Result<T, Fault> {
    move |value| match value.get_ref() {
        DeValue::String(s) => parse(s).map_err(|bad| refuse(bad, value)),
        DeValue::Integer(_) | DeValue::Float(_) => Err(Fault::new(
            Kind::WrongQuantity,
            "has no unit",
            format!("write {what} in quotes, such as \"{example}\""),
        )
        .at(value)),
        _ => Err(wrong_type(value, what, &format!("\"{example}\""))),
    }
}

/// What the quantity parser said, as a fault of a value.
pub(super) fn refuse(bad: Bad, value: Value<'_>) -> Fault {
    let kind = if bad.out_of_range {
        Kind::OutOfRange
    } else {
        Kind::WrongQuantity
    };
    Fault::new(kind, bad.message, bad.hint).at_bytes(value, bad.span)
}

/// One word of several.
pub(super) fn word<T: Copy>(
    words: &'static [(&'static str, T)],
) -> impl Fn(Value<'_>) -> Result<T, Fault> {
    move |value| {
        let choices = || {
            words
                .iter()
                .map(|(w, _)| format!("\"{w}\""))
                .collect::<Vec<_>>()
                .join(", ")
        };
        let Some(written) = value.get_ref().as_str() else {
            return Err(wrong_type(
                value,
                "one of a few words",
                &format!("one of {}", choices()),
            ));
        };
        let same = |w: &str| w.to_lowercase().replace([' ', '_'], "-");
        if let Some((_, v)) = words.iter().find(|(w, _)| same(w) == same(written)) {
            return Ok(*v);
        }
        let hint = match nearest(written, words.iter().map(|(w, _)| *w)) {
            Some(near) => format!("did you mean \"{near}\"? It can be {}", choices()),
            None => format!("it can be {}", choices()),
        };
        Err(Fault::new(
            Kind::UnknownWord,
            format!("\"{}\" is not known", clip(written)),
            hint,
        )
        .at(value))
    }
}

/// A list's items.
pub(super) fn items<'t>(value: Value<'t>) -> Option<Vec<Value<'t>>> {
    value.get_ref().as_array().map(|a| a.iter().collect())
}

/// `[x, y, z]`, each a number in metres or a length with its unit.
pub(super) fn coordinates(value: Value<'_>) -> Result<DVec3, Fault> {
    let example = "coordinates as [x, y, z] in metres, such as [0.3, 1.7, 2.6]";
    let Some(list) = items(value) else {
        return Err(wrong_type(
            value,
            "coordinates",
            &format!("[x, y, z] in metres, such as {}", "[0.3, 1.7, 2.6]"),
        ));
    };
    if list.len() != 3 {
        return Err(Fault::new(
            Kind::WrongType,
            format!("has {} numbers, but a point has 3", list.len()),
            format!("write {example}"),
        )
        .at(value));
    }
    let mut p = [0.0; 3];
    for (axis, item) in p.iter_mut().zip(list) {
        *axis = match item.get_ref() {
            DeValue::String(_) => quantity(&COORDINATE)(item)?,
            _ => number(item)?,
        };
        COORDINATE.check(*axis).map_err(|bad| refuse(bad, item))?;
    }
    Ok(DVec3::from_array(p))
}

/// `[x, y, z]` as a direction: numbers of any length, not all zero.
pub(super) fn direction(value: Value<'_>) -> Result<DVec3, Fault> {
    let bad = |message: &str| {
        Fault::new(
            Kind::WrongType,
            message,
            "write a direction as [x, y, z], such as [0, 0, 1] toward the camera",
        )
        .at(value)
    };
    let list = items(value).ok_or_else(|| bad("is not a direction"))?;
    if list.len() != 3 {
        return Err(bad("a direction has 3 numbers"));
    }
    let mut d = [0.0; 3];
    for (axis, item) in d.iter_mut().zip(list) {
        *axis = number_in(-1e6, 1e6)(item)?;
    }
    let d = DVec3::from_array(d);
    if d.length() < 1e-6 {
        return Err(bad("has no direction: its length is zero"));
    }
    Ok(d.normalize())
}

/// A reflectance or transmittance: a number 0 to 1, `"#rrggbb"` (sRGB), or linear `[r, g, b]`.
pub(super) fn rgb(value: Value<'_>) -> Result<[f64; 3], Fault> {
    let hint = "write a number 0 to 1, a colour \"#rrggbb\", or linear [r, g, b], each 0 to 1";
    match value.get_ref() {
        DeValue::Integer(_) | DeValue::Float(_) => Ok([number_in(0.0, 1.0)(value)?; 3]),
        DeValue::String(s) => hex_colour(s).ok_or_else(|| {
            Fault::new(
                Kind::WrongQuantity,
                format!("\"{}\" is not a colour", clip(s)),
                hint,
            )
            .at(value)
        }),
        DeValue::Array(list) if list.len() == 3 => {
            let mut c = [0.0; 3];
            for (channel, item) in c.iter_mut().zip(list.iter()) {
                *channel = number_in(0.0, 1.0)(item)?;
            }
            Ok(c)
        }
        _ => Err(Fault::new(
            Kind::WrongType,
            format!("must be a reflectance, not {}", type_name(value)),
            hint,
        )
        .at(value)),
    }
}
