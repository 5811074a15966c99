//! Numbers as people read them.

use std::time::Duration;
use swatchlight::setup::{Light, Modifier};

/// Up to so many significant digits, without an exponent and without trailing zeros: 131, 20.3,
/// 0.0042.
pub fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".into() } else { "-".into() };
    }
    let decimals = (digits - 1 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    if text == "-0" {
        "0".into()
    } else {
        text.into()
    }
}

/// A share as "2 %", "0.35 %".
pub fn percent(share: f64) -> String {
    format!("{} %", significant(100.0 * share, 2))
}

/// A length of stops without a sign: "0.4 stop", "1.2 stops".
pub fn stops(stops: f64) -> String {
    let text = format!("{:.1}", stops.abs());
    let unit = if text == "0.0" || stops.abs() > 1.0 {
        "stops"
    } else {
        "stop"
    };
    format!("{text} {unit}")
}

/// A light's modifier as it is set: "paraboloid-120, spread 0.7, rod at 3".
pub fn modifier_as_set(light: &Light) -> String {
    [light.modifier.name.clone()]
        .into_iter()
        .chain(
            light
                .spread
                .map(|spread| spread_and_mark(&light.modifier, spread)),
        )
        .chain(extras(&light.modifier))
        .collect::<Vec<_>>()
        .join(", ")
}

/// A spread, beside the mark of the modifier's own scale: "spread 0.7, rod at 3".
pub fn spread_and_mark(modifier: &Modifier, spread: f64) -> String {
    let mark = modifier
        .mark_of_spread(spread)
        .zip(modifier.scale.as_ref())
        .map_or(String::new(), |(mark, scale)| {
            // A mark that is zero but for rounding is zero.
            let mark = if mark.abs() < 1e-6 { 0.0 } else { mark };
            format!(", {} at {}", scale.name, significant(mark, 3))
        });
    format!("spread {}{mark}", significant(spread, 2))
}

/// What hangs on or before a modifier.
fn extras(modifier: &Modifier) -> Vec<String> {
    let mut found = Vec::new();
    if modifier.grid.is_some() {
        found.push("grid".to_owned());
    }
    if let Some(skirt_m) = modifier.skirt_m {
        found.push(format!("skirt {} cm", significant(100.0 * skirt_m, 3)));
    }
    if let Some(cover) = modifier.cover {
        found.push(format!("{} covered", percent(cover.share)));
    }
    found
}

/// An exposure time: "1/125 s", "0.5 s".
pub fn shutter(seconds: f64) -> String {
    if seconds < 0.4 {
        format!("1/{} s", significant(1.0 / seconds, 3))
    } else {
        format!("{} s", significant(seconds, 3))
    }
}

/// What a lamp gives: "3480 lm s", or "1200 lm" where it burns.
pub fn amount(amount: f64, continuous: bool) -> String {
    format!(
        "{} {}",
        significant(amount, 3),
        if continuous { "lm" } else { "lm s" }
    )
}

/// A time as "12 s", "3 min 20 s", "1 h 5 min".
pub fn time(time: Duration) -> String {
    match time.as_secs() {
        s @ 0..60 => format!("{s} s"),
        s @ 60..3600 => format!("{} min {} s", s / 60, s % 60),
        s => format!("{} h {} min", s / 3600, s % 3600 / 60),
    }
}

/// A number of things: "1 sample", "16 samples".
pub fn count(number: u32, thing: &str) -> String {
    let s = if number == 1 { "" } else { "s" };
    format!("{number} {thing}{s}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        for (value, text) in [
            (131.26, "131"),
            (20.34, "20.3"),
            (20.0, "20"),
            (0.004213, "0.00421"),
            (12345.6, "12346"),
            (0.0, "0"),
            (-0.52, "-0.52"),
            (f64::NAN, "-"),
        ] {
            assert_eq!(significant(value, 3), text);
        }
        assert_eq!(percent(0.02), "2 %");
        assert_eq!(percent(0.0035), "0.35 %");
        assert_eq!(stops(-0.72), "0.7 stop");
        assert_eq!(stops(1.24), "1.2 stops");
        assert_eq!(shutter(1.0 / 125.0), "1/125 s");
        assert_eq!(shutter(0.5), "0.5 s");
        assert_eq!(amount(3480.2, false), "3480 lm s");
        assert_eq!(amount(1200.0, true), "1200 lm");
        assert_eq!(time(Duration::from_secs(200)), "3 min 20 s");
        assert_eq!(count(1, "sample"), "1 sample");
    }
}
