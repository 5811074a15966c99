//! Ranges as people type them: `0..1:6`, `1.5m..4m:5`, `20 deg left..80 deg left:4`, `f/4..f/11:4`.

use super::axis::{AxisError, MOST_ON_AN_AXIS};
use crate::photometry::units::length_m;

/// Values from one end to the other.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Range {
    pub typed: Vec<String>,
    pub at: Vec<f64>,
    pub unit: String,
}

/// One end, or one value: a number and what stands around it.
#[derive(Debug, Clone, PartialEq)]
struct End {
    /// Written f/N.
    f_number: bool,
    /// Written a/b.
    fraction: bool,
    value: f64,
    /// What follows, without its side.
    unit: String,
    side: Option<&'static str>,
}

/// Words that turn a number round, each with its opposite; the first of a pair is negative.
const SIDES: [[&str; 2]; 2] = [["left", "right"], ["down", "up"]];

/// Reads a range; `None` where the text is none, and so perhaps a list.
///
/// # Errors
/// For a range that does not say how many values, or whose ends do not fit together.
pub(super) fn range(key: &str, text: &str) -> Result<Option<Range>, AxisError> {
    let Some((from, rest)) = text.split_once("..") else {
        return Ok(None);
    };
    if !begins_as_number(from) {
        return Ok(None);
    }
    let wrong = |what: String, hint: String| Err(AxisError { what, hint });
    let Some((to, count)) = rest.rsplit_once(':') else {
        return wrong(
            format!("the range {text} does not say how many values"),
            format!("write how many after a colon: {key}={text}:6"),
        );
    };
    let shown = |end: &str| format!("\"{}\"", end.trim());
    let Some(count) = count
        .trim()
        .parse()
        .ok()
        .filter(|n| (2..=MOST_ON_AN_AXIS).contains(n))
    else {
        return wrong(
            format!("{} is no number of values", shown(count)),
            format!("give 2 to {MOST_ON_AN_AXIS}: {key}={from}..{to}:6"),
        );
    };
    let read = [from, to].map(End::read);
    let plain = match &read {
        [Some(a), Some(b)] => same_unit(a, b),
        _ => None,
    };
    // Lengths in different units, or in feet and inches, meet in metres.
    let metres = || match (length_m(from.trim()), length_m(to.trim())) {
        (Ok(a), Ok(b)) => Some((End::metres(a), End::metres(b))),
        _ => None,
    };
    let Some((a, b)) = plain.or_else(metres) else {
        let unread = [from, to].into_iter().zip(&read).find(|(_, r)| r.is_none());
        return match unread {
            Some((end, _)) => wrong(
                format!("{} is no number with a unit", shown(end)),
                format!("write both ends as numbers: {key}=FROM..TO:{count}, such as 1.5m..4m"),
            ),
            None => wrong(
                format!("{} and {} are in different units", shown(from), shown(to)),
                "write both ends in one unit".into(),
            ),
        };
    };
    if a.signed() == b.signed() {
        return wrong(
            format!("{} and {} are the same", shown(from), shown(to)),
            format!("write different ends: {key}=FROM..TO:{count}"),
        );
    }
    between(&a, &b, count).map(Some).ok_or_else(|| AxisError {
        what: format!("{} and {} are no stops apart", shown(from), shown(to)),
        hint: "f-numbers, fractions and times are over 0".into(),
    })
}

/// The numbers of a list, where all its values are numbers in one unit.
pub(super) fn numbers(list: &[String]) -> Option<(Vec<f64>, String)> {
    let ends: Vec<End> = list.iter().map(|t| End::read(t)).collect::<Option<_>>()?;
    let first = ends.first()?;
    let alike = |e: &End| e.unit == first.unit && e.f_number == first.f_number;
    if !ends.iter().all(alike) {
        return None;
    }
    let at: Vec<f64> = ends.iter().map(End::signed).collect();
    let rising = at.windows(2).all(|w| w[0] < w[1]) || at.windows(2).all(|w| w[0] > w[1]);
    rising.then(|| (at, first.counted_in()))
}

fn begins_as_number(text: &str) -> bool {
    let text = text.trim_start();
    let text = text.strip_prefix("f/").unwrap_or(text);
    text.starts_with(|c: char| c.is_ascii_digit() || "+-.−".contains(c))
        && text.contains(|c: char| c.is_ascii_digit())
}

/// Both ends in the unit of either.
fn same_unit(a: &End, b: &End) -> Option<(End, End)> {
    if a.f_number != b.f_number {
        return None;
    }
    let (mut a, mut b) = (a.clone(), b.clone());
    let spaceless = |unit: &str| unit.replace(' ', "");
    match (a.unit.is_empty(), b.unit.is_empty()) {
        (true, false) => a.unit = b.unit.clone(),
        (false, true) => b.unit = a.unit.clone(),
        _ => b.unit = (spaceless(&a.unit) == spaceless(&b.unit)).then(|| a.unit.clone())?,
    }
    // Sides are of one pair; an end without one takes the other's, as 0 deg may.
    let pair = |side: &str| SIDES.iter().position(|p| p.contains(&side));
    match (a.side, b.side) {
        (None, side) => a.side = side,
        (side, None) => b.side = side,
        (Some(x), Some(y)) if pair(x) != pair(y) => return None,
        _ => {}
    }
    Some((a, b))
}

/// Even steps, or even stops.
fn between(a: &End, b: &End, count: usize) -> Option<Range> {
    let by_stops = a.f_number || a.fraction || b.fraction;
    let (from, to) = (a.signed(), b.signed());
    if by_stops && (from <= 0.0 || to <= 0.0) {
        return None;
    }
    let share = |k: usize| k as f64 / (count - 1) as f64;
    let at: Vec<f64> = (0..count)
        .map(|k| match by_stops {
            true => from * (to / from).powf(share(k)),
            false => from + (to - from) * share(k),
        })
        .collect();
    let step = (to - from).abs() / (count - 1) as f64;
    let typed: Vec<String> = at
        .iter()
        .map(|v| match (a.f_number, by_stops) {
            (true, _) => format!("f/{}", significant(*v, 3)),
            (_, true) if a.unit.is_empty() => significant(*v, 4),
            (_, true) if a.unit == "s" && *v < 0.4 => format!("1/{} s", significant(1.0 / v, 3)),
            (_, true) => format!("{} {}", significant(*v, 4), a.unit),
            _ => a.spelt(*v, step),
        })
        .collect();
    Some(Range {
        typed,
        at,
        unit: a.counted_in(),
    })
}

impl End {
    fn metres(value: f64) -> Self {
        Self {
            f_number: false,
            fraction: false,
            value,
            unit: "m".into(),
            side: None,
        }
    }

    fn read(text: &str) -> Option<Self> {
        let text = text.trim();
        let (f_number, text) = match text.strip_prefix("f/") {
            Some(rest) => (true, rest),
            None => (false, text),
        };
        let digits = |t: &str| {
            t.char_indices()
                .take_while(|(k, c)| {
                    c.is_ascii_digit() || *c == '.' || (*k == 0 && "+-".contains(*c))
                })
                .count()
        };
        let text = &text.replace('−', "-");
        let (number, mut rest) = text.split_at(digits(text));
        let mut value: f64 = number.parse().ok()?;
        let mut fraction = false;
        if let Some(under) = rest.strip_prefix('/') {
            let (number, after) = under.split_at(digits(under));
            value /= number.parse::<f64>().ok()?;
            (fraction, rest) = (true, after);
        }
        let mut unit = rest.trim();
        let mut side = None;
        for word in SIDES.iter().flatten() {
            if let Some(before) = unit.strip_suffix(word) {
                (unit, side) = (before.trim_end(), Some(*word));
            }
        }
        // Feet and inches are no number with a unit.
        let plain = !unit.contains(|c: char| c.is_ascii_digit() || "[]{}\"'".contains(c));
        let alone = !f_number || unit.is_empty();
        (value.is_finite() && plain && alone).then(|| Self {
            f_number,
            fraction,
            value,
            unit: unit.to_owned(),
            side,
        })
    }

    /// With the side in its sign.
    fn signed(&self) -> f64 {
        let negative = SIDES.iter().any(|[n, _]| self.side == Some(n));
        if negative { -self.value } else { self.value }
    }

    /// A value as it is typed, as fine as the steps need.
    fn spelt(&self, value: f64, step: f64) -> String {
        let fine = (2.0 - step.log10().floor()).clamp(0.0, 6.0) as usize;
        // Feet and inches are told in metres: to the millimetre.
        let decimals = if self.unit == "m" { fine.max(3) } else { fine };
        let text = |v: f64| {
            let text = format!("{v:.decimals$}");
            let text = match text.contains('.') {
                true => text.trim_end_matches('0').trim_end_matches('.'),
                false => &text,
            };
            if text == "-0" { "0" } else { text }.to_owned()
        };
        let unit = match self.unit.is_empty() {
            true => String::new(),
            false => format!(" {}", self.unit),
        };
        let pair = SIDES
            .iter()
            .find(|p| self.side.is_some_and(|side| p.contains(&side)));
        match pair {
            Some([negative, positive]) => {
                let side = if value < 0.0 { negative } else { positive };
                format!("{}{unit} {side}", text(value.abs()))
            }
            None => format!("{}{unit}", text(value)),
        }
    }

    fn counted_in(&self) -> String {
        let pair = SIDES
            .iter()
            .find(|p| self.side.is_some_and(|side| p.contains(&side)));
        match pair {
            Some([_, positive]) => format!("{} {positive}", self.unit),
            None if self.f_number => "f-number".into(),
            None => self.unit.clone(),
        }
    }
}

fn significant(value: f64, digits: i32) -> String {
    let decimals = (digits - 1 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{value:.decimals$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}
