//! Differences as people tape them out and set them: centimetres, tenths of a degree, fractions of full
//! power, tenths of a stop.

use crate::photometry::flash::PowerFraction;
use crate::setup::differ::Difference;

/// The keys in which setups differ, with a value for each setup, as far as a tape and a dial can tell them
/// apart; "–" where one has no such key.
pub fn rows(differences: &[Difference]) -> Vec<(String, Vec<String>)> {
    let row = |d: &Difference| {
        let value = |v: &Option<String>| match v {
            Some(text) => taped(&d.key, text),
            None => "–".to_owned(),
        };
        (d.key.clone(), d.values.iter().map(value).collect())
    };
    let differs = |(_, values): &(String, Vec<String>)| values.windows(2).any(|w| w[0] != w[1]);
    differences.iter().map(row).filter(differs).collect()
}

/// One value, given as a setup's file has it: "1.261266894 m", "12.5 deg left", "0.287174589".
fn taped(key: &str, value: &str) -> String {
    let last = key.rsplit('.').next().unwrap_or(key);
    let number = value.parse::<f64>().ok();
    if let Some(power) = number
        .filter(|_| ["power", "least", "most"].contains(&last))
        .and_then(PowerFraction::new)
    {
        return power.to_string();
    }
    let words: Vec<&str> = value.split(' ').collect();
    let numbers = words.iter().filter_map(|w| number_of(w)).count();
    let bare = words.len() == numbers;
    if numbers == 3 && bare && ["at", "aim", "beside"].contains(&last) {
        let each = words.iter().filter_map(|w| number_of(w));
        let each: Vec<String> = each.map(|(v, _)| trimmed(v, 2)).collect();
        return format!("{} m", each.join(", "));
    }
    match lengths_m(&words).as_deref() {
        Some([one]) if one.abs() >= 0.1 => format!("{one:.2} m"),
        Some([one]) => format!("{} cm", trimmed(100.0 * one, 1)),
        Some(sides) => {
            let large = sides.iter().any(|m| *m >= 3.0);
            let side = |m: &f64| match large {
                true => format!("{m:.2}"),
                false => trimmed(100.0 * m, 1),
            };
            let each: Vec<String> = sides.iter().map(side).collect();
            format!("{} {}", each.join(" × "), if large { "m" } else { "cm" })
        }
        None => others(&words),
    }
}

/// A word that is a number, with what follows it at once: "1.5," gives 1.5 and ",".
fn number_of(word: &str) -> Option<(f64, &str)> {
    let end = word.trim_end_matches([',', ')', ']', '}']);
    Some((end.parse().ok()?, &word[end.len()..]))
}

/// Where a text is one length or several sides in metres, its numbers.
fn lengths_m(words: &[&str]) -> Option<Vec<f64>> {
    let (unit, sides) = words.split_last()?;
    if *unit != "m" || sides.is_empty() {
        return None;
    }
    let mut found = Vec::new();
    for (k, word) in sides.iter().enumerate() {
        match (k % 2, *word) {
            (0, word) => found.push(word.parse().ok()?),
            (_, "x") => {}
            _ => return None,
        }
    }
    Some(found)
}

/// Each number as its unit wants it; words stay.
fn others(words: &[&str]) -> String {
    let mut out: Vec<String> = Vec::new();
    let mut k = 0;
    while let Some(word) = words.get(k) {
        let unit = words.get(k + 1).copied().unwrap_or("");
        let (unit, after) = match unit.strip_suffix(',') {
            Some(unit) => (unit, ","),
            None => (unit, ""),
        };
        k += 1;
        let Some((value, end)) = number_of(word) else {
            out.push(match f_number(word) {
                Some(n) => format!("f/{}", significant(n)),
                None => (*word).to_owned(),
            });
            continue;
        };
        if !end.is_empty() || unit.is_empty() {
            out.push(format!("{}{end}", bare(word, value)));
            continue;
        }
        match unit {
            "deg" => {
                let degrees = trimmed(value, 1);
                // Straight ahead is on neither side.
                let sides = ["left", "right", "up", "down"];
                let aside = words.get(k + 1).is_some_and(|s| sides.contains(s));
                k += if degrees == "0" && aside { 2 } else { 1 };
                out.push(format!("{degrees}°{after}"));
            }
            "m" => {
                k += 1;
                out.push(format!("{value:.2} m{after}"));
            }
            "s" if value > 0.0 && value < 0.4 => {
                k += 1;
                out.push(format!("1/{} s{after}", significant(1.0 / value)));
            }
            "K" | "mired" => {
                k += 1;
                out.push(format!("{} {unit}{after}", trimmed(value, 0)));
            }
            "stop" | "stops" => {
                k += 1;
                out.push(format!("{} {unit}{after}", trimmed(value, 1)));
            }
            _ => out.push(bare(word, value)),
        }
    }
    out.join(" ")
}

fn f_number(word: &str) -> Option<f64> {
    word.strip_prefix("f/")?.parse().ok()
}

/// A number without a unit that a tape or a dial has: a whole one as it stands.
fn bare(word: &str, value: f64) -> String {
    match word.contains('.') {
        true => significant(value),
        false => word.trim_end_matches([',', ')', ']', '}']).to_owned(),
    }
}

/// Three significant digits, without trailing zeros.
fn significant(value: f64) -> String {
    let decimals = match value.abs() {
        v if v > 0.0 => (2.0 - v.log10().floor()).clamp(0.0, 9.0) as usize,
        _ => 0,
    };
    trimmed(value, decimals)
}

/// So many decimals at most; no sign on nothing.
fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.'),
        false => &text,
    };
    match text {
        "-0" => "0".into(),
        text => text.replace('-', "−"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_taped_out() {
        for (key, value, told) in [
            ("key.distance", "1.261266894 m", "1.26 m"),
            ("key.distance", "4 m", "4.00 m"),
            ("card.thickness", "0.003 m", "0.3 cm"),
            ("card.size", "0.6 x 0.9 m", "60 × 90 cm"),
            ("room.size", "6 x 8 x 3.2 m", "6.00 × 8.00 × 3.20 m"),
            ("key.head.least", "0.00390625", "1/256"),
            ("key.bearing", "0 deg right", "0°"),
            ("key.bearing", "0.0000004 deg left", "0°"),
            ("key.bearing", "39.96 deg left", "40° left"),
            ("key.tilt", "-12.34 deg", "−12.3°"),
            ("key.power", "0.287174589", "1/4 +0.2 stops"),
            ("key.power", "1", "full"),
            ("key.meters", "f/7.127189745", "f/7.13"),
            ("camera.shutter", "0.008 s", "1/125 s"),
            ("camera.shutter", "0.016666667 s", "1/60 s"),
            ("key.colour", "5600 K", "5600 K"),
            ("key.gel", "60.4 mired", "60 mired"),
            ("key.output", "1283.123456 lm s", "1283 lm s"),
            ("key.spread", "0.333333333", "0.333"),
            ("key.at", "0.123456, 1.3, -0.5", "0.12, 1.3, −0.5 m"),
            ("paper.reflectance", "0.5, 0.25, 0.125", "0.5, 0.25, 0.125"),
            ("camera.pixels", "1234, 1851", "1234, 1851"),
            ("camera.iso", "100", "100"),
            ("key.modifier", "softbox-90x120", "softbox-90x120"),
            ("key.modifier", "octabox 2.5", "octabox 2.5"),
            ("key.feather", "10.04 deg camera", "10° camera"),
            ("key", "light, paraboloid-120", "light, paraboloid-120"),
            ("key.step", "0.333333333 stops", "0.3 stops"),
            ("meter.points", "", ""),
        ] {
            assert_eq!(taped(key, value), told, "{key} {value}");
        }
    }

    #[test]
    fn what_no_tape_can_tell_apart_is_no_difference() {
        let row = |key: &str, a: &str, b: &str| Difference {
            key: key.into(),
            values: vec![Some(a.into()), Some(b.into())],
        };
        let found = rows(&[
            row("key.distance", "1.2612 m", "1.2609 m"),
            row("key.bearing", "0 deg right", "0.01 deg left"),
            row("key.height", "1.5 m", "1.52 m"),
        ]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].1, ["1.50 m", "1.52 m"]);
    }
}
