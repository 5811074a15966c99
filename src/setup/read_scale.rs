//! The lamp's travel, the scale printed along it, and where a light has it set.

use super::keys;
use super::model::{Modifier, Scale, Travel};
use super::problem::Kind;
use super::quantity::{PLACE, metres, tidy};
use super::read_extras::with_article;
use super::reader::{Fault, Log, Table, Value, clip};
use super::values::{items, name, number, number_in, quantity, text};

/// Where a lamp that travels stands when a light does not say.
const USUAL_SPREAD: f64 = 0.5;
const USUAL_NAME: &str = "mark";
const MOST_MARKS: usize = 64;
/// Less than this is no travel.
pub(super) const LEAST_TRAVEL_M: f64 = 0.001;

/// Reads `travel`. The outer `None` is a fault.
pub(super) fn read_travel(log: &Log, owner: &Table<'_>) -> Option<Option<Travel>> {
    let Some(value) = owner.get("travel") else {
        return Some(None);
    };
    let label = format!("the travel of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::TRAVEL, label)?;
    let before = log.error_count();
    let tight_m = t.require(log, "tight", quantity(&PLACE));
    let wide_m = t.require(log, "wide", quantity(&PLACE));
    if log.error_count() > before {
        return None;
    }
    let travel = Travel {
        tight_m: tight_m?,
        wide_m: wide_m?,
    };
    if (travel.wide_m - travel.tight_m).abs() < LEAST_TRAVEL_M {
        t.conflict(
            log,
            "wide",
            format!("both ends of the travel are at {}", metres(travel.wide_m)),
            "measure the lamp's middle at both ends, or remove travel",
        );
        return None;
    }
    Some(Some(travel))
}

/// Reads `scale`, given the travel it lies along. `None` when there is none or it is faulty.
pub(super) fn read_scale(log: &Log, owner: &Table<'_>, travel: Option<Travel>) -> Option<Scale> {
    let value = owner.get("scale")?;
    let Some(travel) = travel else {
        owner.conflict(
            log,
            "scale",
            "its lamp does not travel, so a scale has nothing to mark",
            "remove scale, or add travel = { tight = \"20 cm\", wide = \"40 cm\" }",
        );
        return None;
    };
    let label = format!("the scale of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::SCALE, label)?;
    let before = log.error_count();
    let name = t
        .read(log, "name", name)
        .unwrap_or_else(|| USUAL_NAME.to_owned());
    let ends = ["tight", "wide"].map(|key| t.read(log, key, number_in(-1e6, 1e6)));
    let pairs = t.read(log, "marks", |v| marks_of(v, travel));
    if t.has("marks") {
        for key in ["tight", "wide"] {
            if t.has(key) {
                t.conflict(
                    log,
                    key,
                    format!("`{key}` and `marks` both say where the marks are"),
                    "keep tight and wide, or keep marks",
                );
            }
        }
    } else {
        if let Some(key) = ["tight", "wide"].into_iter().find(|key| !t.has(key)) {
            t.missing(
                log,
                &[key],
                &format!("`{key}`"),
                "add tight = 10 and wide = 0 as they are printed, or marks = [[10, \"12 cm\"], [0, \"30 cm\"]]",
            );
        }
    }
    if log.error_count() > before {
        return None;
    }
    let marks = match pairs {
        Some(pairs) => pairs,
        None => vec![[ends[0]?, 0.0], [ends[1]?, 1.0]],
    };
    let at = if t.has("marks") { "marks" } else { "wide" };
    let place = t.place_of(at);
    if marks.windows(2).any(|p| p[1][1] - p[0][1] < 1e-4) {
        log.error(
            Kind::Conflict,
            &place,
            format!("{}: two marks are at the same place", t.label),
            "give every mark a place of its own along the travel",
        );
        return None;
    }
    let step = |p: &[[f64; 2]]| (p[1][0] - p[0][0]) * (marks[1][0] - marks[0][0]).signum();
    if marks
        .windows(2)
        .any(|p| step(p).is_nan() || step(p) <= 1e-9)
    {
        log.error(
            Kind::Conflict,
            &place,
            format!(
                "{}: its marks do not all rise or all fall along the travel",
                t.label
            ),
            "write the marks as they are printed; 10 to 0 is as good as 0 to 10",
        );
        return None;
    }
    Some(Scale { name, marks })
}

/// `[[mark, place], …]`, in the order of the spread. A place is the lamp's, or a spread.
fn marks_of(value: Value<'_>, travel: Travel) -> Result<Vec<[f64; 2]>, Fault> {
    let hint = "write marks = [[10, \"12 cm\"], [0, \"30 cm\"]]: each mark with the lamp's place, \
                or with a spread of 0 to 1";
    let bad = |message: String, value| Fault::new(Kind::WrongType, message, hint).at(value);
    let Some(list) = items(value) else {
        return Err(bad("must be a list of marks".to_owned(), value));
    };
    if !(2..=MOST_MARKS).contains(&list.len()) {
        return Err(bad(format!("has {} marks", list.len()), value));
    }
    let mut marks = Vec::new();
    for pair in list {
        let Some([mark, place]) = items(pair).and_then(|p| <[_; 2]>::try_from(p).ok()) else {
            return Err(bad("each mark goes with one place".to_owned(), pair));
        };
        let spread = match place.get_ref().as_str() {
            None => number_in(0.0, 1.0)(place)?,
            Some(_) => travel.spread_at(quantity(&PLACE)(place)?),
        };
        if !(-1e-6..=1.0 + 1e-6).contains(&spread) {
            return Err(Fault::new(
                Kind::OutOfRange,
                "the lamp does not travel as far",
                format!(
                    "its middle goes from {} to {}",
                    metres(travel.tight_m),
                    metres(travel.wide_m)
                ),
            )
            .at(place));
        }
        marks.push([number_in(-1e6, 1e6)(mark)?, spread.clamp(0.0, 1.0)]);
    }
    marks.sort_by(|a, b| a[1].total_cmp(&b[1]));
    Ok(marks)
}

/// Reads a light's `spread` or `mark`: the spread, and whether it was given as a mark. Without
/// either, a lamp that travels stands half way. `modifier` is `None` when it is faulty.
pub(super) fn read_setting(
    log: &Log,
    t: &Table<'_>,
    modifier: Option<&Modifier>,
) -> (Option<f64>, bool) {
    let spread = t.read(log, "spread", number_in(0.0, 1.0));
    let mark = t.read(log, "mark", read_mark);
    if t.has("spread") && t.has("mark") {
        t.conflict(
            log,
            "mark",
            "`spread` and `mark` both say where its lamp stands",
            "keep one of them",
        );
    }
    let Some(modifier) = modifier else {
        return (spread, false);
    };
    let kind = modifier.kind;
    for key in ["spread", "mark"] {
        if t.has(key) && modifier.travel.is_none() {
            let hint = match kind.lamp() {
                Some(_) => format!(
                    "remove {key}: the modifier says of no travel = {{ tight = …, wide = … }}"
                ),
                None => format!("remove {key}: only a modifier whose lamp travels has one"),
            };
            t.conflict(
                log,
                key,
                format!("{} has no spread", with_article(kind.word())),
                hint,
            );
        }
    }
    if modifier.travel.is_none() {
        return (None, false);
    }
    let Some(mark) = mark else {
        return (Some(spread.unwrap_or(USUAL_SPREAD)), false);
    };
    let Some(scale) = &modifier.scale else {
        t.conflict(
            log,
            "mark",
            format!("the modifier \"{}\" has no scale", clip(&modifier.name)),
            "write spread = 0 (tight) to 1 (wide), or add scale = { tight = 10, wide = 0 } to the modifier",
        );
        return (None, false);
    };
    let found = scale.spread_of_mark(mark);
    if found.is_none() {
        log.error(
            Kind::OutOfRange,
            &t.place_of("mark"),
            format!(
                "`mark` of {}: {} is not on the scale of \"{}\"",
                t.label,
                tidy(mark),
                clip(&modifier.name)
            ),
            format!(
                "its scale goes from {} (tight) to {} (wide)",
                tidy(scale.mark_of_spread(0.0)),
                tidy(scale.mark_of_spread(1.0))
            ),
        );
    }
    (found, true)
}

/// A mark: a number, in quotes or not.
fn read_mark(value: Value<'_>) -> Result<f64, Fault> {
    if value.get_ref().as_str().is_none() {
        return number(value);
    }
    let written = text(value)?;
    match written.trim().parse::<f64>() {
        Ok(n) if n.is_finite() => Ok(n),
        _ => Err(Fault::new(
            Kind::WrongQuantity,
            format!("\"{}\" is not a mark", clip(written)),
            "write the number on the rod, such as \"3\" or 3.5",
        )
        .at(value)),
    }
}
