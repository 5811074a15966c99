//! What people write, and what they get wrong.

use super::*;
use std::f64::consts::PI;

/// Asserts closeness to 1e-12 relative.
#[track_caller]
fn close(got: f64, want: f64) {
    assert!(
        (got - want).abs() <= 1e-12 * want.abs().max(1e-12),
        "got {got}, want {want}"
    );
}

#[track_caller]
fn each(read: fn(&str) -> Result<f64, UnitError>, cases: &[(&str, f64)]) {
    for (text, want) in cases {
        match read(text) {
            Ok(got) => close(got, *want),
            Err(error) => panic!("{text:?}: {error}"),
        }
    }
}

/// Asserts that a string is refused at a byte, with these words in the problem and in the hint.
#[track_caller]
fn refused<T: std::fmt::Debug>(got: Result<T, UnitError>, at: usize, problem: &str, hint: &str) {
    let error = got.expect_err("should be refused");
    assert_eq!(error.at(), at, "{error:?}");
    assert!(error.problem.contains(problem), "{error:?}");
    assert!(error.hint.contains(hint), "{error:?}");
}

#[test]
fn lengths() {
    each(
        length_m,
        &[
            ("2.1 m", 2.1),
            ("2.1m", 2.1),
            (" 85 mm ", 0.085),
            ("30 cm", 0.3),
            ("-0.3 m", -0.3),
            ("+.5 M", 0.5),
            ("\u{2212}3 m", -3.0),
            ("2 metres", 2.0),
            ("1.5e2 cm", 1.5),
            ("12 in", 0.3048),
            ("12\"", 0.3048),
            ("3 ft", 0.9144),
            // 6 ft 2 in is 74 in of 25.4 mm exactly (international yard and pound agreement, 1959).
            ("6 ft 2 in", 1.8796),
            ("6ft2in", 1.8796),
            ("6 feet 2 inches", 1.8796),
            ("6'2\"", 1.8796),
            ("6′ 2″", 1.8796),
            ("6’2”", 1.8796),
            ("-6 ft 2 in", -1.8796),
            ("-0 ft 2 in", -0.0508),
        ],
    );
}

#[test]
fn lengths_refused() {
    refused(length_m("2.1"), 0, "`2.1` has no unit", "\"2.1 m\"");
    refused(length_m("2,1 m"), 1, "comma in the number `2,1`", "`2.1`");
    refused(length_m(" 1,200 mm"), 2, "comma", "`1200`");
    refused(
        length_m("2.1 deg"),
        4,
        "`deg` is not a unit of length",
        "type a length",
    );
    refused(
        length_m("2.1 mtr"),
        4,
        "`mtr` is not a unit",
        "type a length",
    );
    refused(
        length_m("two metres"),
        0,
        "expected a number, found `two`",
        "type a length",
    );
    refused(length_m(""), 0, "nothing here", "type a length");
    refused(length_m("   "), 3, "nothing here", "type a length");
    refused(
        length_m("2 m 30"),
        4,
        "`30` is left over after `2 m`",
        "type a length",
    );
    refused(length_m("6 ft 2"), 5, "`2` has no unit", "6 ft 2 in");
    refused(
        length_m("6 ft 2 m"),
        7,
        "`m` is not a unit of length",
        "6 ft 2 in",
    );
    refused(length_m("1e999 m"), 0, "too large", "type a length");
    refused(length_m("nan m"), 0, "expected a number", "type a length");
    refused(length_m("inf m"), 0, "expected a number", "type a length");
    refused(
        length_m("1.2.3 m"),
        3,
        "`.3` is not a unit",
        "type a length",
    );
    refused(
        length_m("- m"),
        0,
        "expected a number, found `-`",
        "type a length",
    );
}

#[test]
fn sizes() {
    assert_eq!(size_2d_m("0.9 x 1.2 m"), Ok([0.9, 1.2]));
    assert_eq!(size_2d_m("0.9x1.2m"), Ok([0.9, 1.2]));
    assert_eq!(size_2d_m("0.9 m × 1.2 m"), Ok([0.9, 1.2]));
    assert_eq!(size_2d_m("0.9 by 1.2 m"), Ok([0.9, 1.2]));
    assert_eq!(
        size_2d_m("36 x 24 mm").map(|s| s.map(|v| (v * 1e6).round())),
        Ok([36000.0, 24000.0])
    );
    assert_eq!(size_3d_m("6 x 8 x 3.2 m"), Ok([6.0, 8.0, 3.2]));
    for (text, want) in [
        ("90 x 120 cm", [0.9, 1.2]),
        ("90 cm x 1.2 m", [0.9, 1.2]),
        ("3 ft x 4 ft", [0.9144, 1.2192]),
        ("3ftx4ft", [0.9144, 1.2192]),
        ("3 x 4 ft", [0.9144, 1.2192]),
        ("3 x 4 ft 6 in", [0.9144, 1.3716]),
        ("3'x4'", [0.9144, 1.2192]),
    ] {
        let got = size_2d_m(text).unwrap_or_else(|error| panic!("{text:?}: {error}"));
        close(got[0], want[0]);
        close(got[1], want[1]);
    }
}

#[test]
fn sizes_refused() {
    refused(size_2d_m("0.9 x 1.2"), 6, "`1.2` has no unit", "two sides");
    refused(
        size_2d_m("0.9 m x 1.2"),
        8,
        "`1.2` has no unit",
        "two sides",
    );
    refused(size_2d_m("0.9 m"), 5, "side 2 of 2", "two sides");
    refused(size_3d_m("6 x 8 m"), 7, "side 3 of 3", "three sides");
    refused(
        size_2d_m("1 x 2 x 3 m"),
        6,
        "`x` is not a unit",
        "two sides",
    );
    refused(size_2d_m("0 x 2 m"), 0, "more than 0", "two sides");
    refused(size_2d_m("1 x -2 m"), 4, "more than 0", "two sides");
    refused(size_2d_m("0,9 x 1,2 m"), 1, "comma", "`0.9`");
}

#[test]
fn angles() {
    each(
        angle_rad,
        &[
            ("45 deg", PI / 4.0),
            ("45°", PI / 4.0),
            ("-180 degrees", -PI),
            ("0.3 rad", 0.3),
            ("90DEG", PI / 2.0),
        ],
    );
    refused(angle_rad("45"), 0, "`45` has no unit", "45 deg");
    refused(angle_rad("45 m"), 3, "`m` is not a unit of angle", "45 deg");
    each(
        sided_angle_rad,
        &[
            ("45 deg left", -PI / 4.0),
            ("90° right", PI / 2.0),
            ("0 deg", 0.0),
            ("180 deg", PI),
            ("0.5 rad Left", -0.5),
        ],
    );
    refused(sided_angle_rad("45 deg"), 6, "which side", "left");
    refused(
        sided_angle_rad("45 left"),
        3,
        "`left` is not a unit",
        "45 deg left",
    );
    refused(
        sided_angle_rad("-45 deg left"),
        0,
        "negative",
        "name the side",
    );
    refused(sided_angle_rad("45 deg up"), 7, "`up` is left over", "left");
}

#[test]
fn f_numbers() {
    for (text, want) in [
        ("f/8", 8.0),
        ("f 5.6", 5.6),
        ("F8", 8.0),
        ("8", 8.0),
        ("ƒ/7.1", 7.1),
        ("f / 0.95", 0.95),
    ] {
        close(f_number(text).unwrap().value(), want);
    }
    // Meter convention: tenths of a stop beyond the mark (common practice).
    for (text, want) in [
        ("f/8 and 4 tenths", 8.0 * 0.2_f64.exp2()),
        ("f/8 +1/3 stop", 8.0 * (1.0 / 6.0_f64).exp2()),
        ("f/5.6 + 0.5 stops", 2.0_f64.powf(2.75)),
        ("f/9 - 3 tenths", 2.0_f64.powf(19.0 / 6.0 - 0.15)),
    ] {
        close(f_number(text).unwrap().value(), want);
    }
    refused(f_number("f/0"), 2, "no lens", "f/8");
    refused(f_number("-8"), 0, "no lens", "f/8");
    refused(f_number("f/"), 2, "missing", "f/8");
    refused(f_number("f/5,6"), 3, "comma", "`5.6`");
    refused(f_number("f/8 m"), 4, "`m` is left over", "f/8");
    refused(f_number("f/8 and 4"), 8, "`4` has no unit", "4 tenths");
}

#[test]
fn shutter_times() {
    each(
        shutter_s,
        &[
            ("1/125 s", 0.008),
            ("1/125", 0.008),
            ("0.5 s", 0.5),
            ("8 ms", 0.008),
            ("2 sec", 2.0),
            ("1 / 60 S", 1.0 / 60.0),
        ],
    );
    refused(
        shutter_s("125"),
        0,
        "`125` has no unit",
        "\"1/125 s\" or \"125 s\"",
    );
    refused(shutter_s("0.5"), 0, "has no unit", "\"0.5 s\"");
    refused(shutter_s("1/0 s"), 2, "fraction bar", "1/125 s");
    refused(shutter_s("1/-2 s"), 2, "fraction bar", "1/125 s");
    refused(shutter_s("-1 s"), 0, "more than 0", "1/125 s");
    refused(
        shutter_s("1/125 deg"),
        6,
        "`deg` is not a unit of shutter time",
        "1/125 s",
    );
}

#[test]
fn powers() {
    let read = |text: &str| power(text).map(PowerFraction::fraction);
    for (text, want) in [
        ("full", 1.0),
        ("1/1", 1.0),
        ("1/4", 0.25),
        ("0.25", 0.25),
        ("50 %", 0.5),
        ("50%", 0.5),
        ("-1.3 stops", (-1.3_f64).exp2()),
        ("-1 stop", 0.5),
        ("0 stops", 1.0),
        ("1/4 +0.3", (-1.7_f64).exp2()),
        ("1/4+0.3", (-1.7_f64).exp2()),
        ("1/4 -1/3 stop", (-2.0 - 1.0 / 3.0_f64).exp2()),
        ("Full -1.3 stops", (-1.3_f64).exp2()),
    ] {
        close(
            read(text).unwrap_or_else(|error| panic!("{text:?}: {error}")),
            want,
        );
    }
    refused(power("-1.3"), 0, "not more than 0", "-1.3 stops");
    refused(power("4"), 0, "more than full", "1/4");
    refused(power("+1 stop"), 0, "more than full", "1/4");
    refused(power("full +1"), 0, "more than full", "1/4");
    refused(
        power("1/4 0.3"),
        4,
        "`0.3` is left over after `1/4`",
        "1/4 +0.3",
    );
    refused(power("-99999 stops"), 0, "so low", "1/4");
    refused(power("quarter"), 0, "expected a number", "1/4");
}

#[test]
fn light_quantities() {
    each(
        temperature_k,
        &[
            ("5600 K", 5600.0),
            ("3200k", 3200.0),
            ("5600 kelvin", 5600.0),
        ],
    );
    each(gel_mired, &[("+130 mired", 130.0), ("-80 mired", -80.0)]);
    each(
        energy_j,
        &[
            ("400 J", 400.0),
            ("400 Ws", 400.0),
            ("400 W s", 400.0),
            ("1.2 kJ", 1200.0),
            ("0 J", 0.0),
        ],
    );
    each(
        luminous_energy_lm_s,
        &[
            ("9000 lm s", 9000.0),
            ("9000 lm·s", 9000.0),
            ("9 klm s", 9000.0),
            ("9000 lumen-seconds", 9000.0),
        ],
    );
    each(
        flux_lm,
        &[
            ("12000 lm", 12000.0),
            ("12 klm", 12000.0),
            ("900 lumens", 900.0),
        ],
    );
    each(
        luminous_yield_lm_s_per_j,
        &[("30 lm s/J", 30.0), ("30 lm/W", 30.0)],
    );
    each(percent, &[("50 %", 0.5), ("2 percent", 0.02)]);
    each(
        stops,
        &[
            ("-1.3 stops", -1.3),
            ("+1/3 stop", 1.0 / 3.0),
            ("4 tenths", 0.4),
            ("3 tenths of a stop", 0.3),
        ],
    );
    refused(temperature_k("5600"), 0, "no unit", "5600 K");
    refused(temperature_k("0 K"), 0, "more than 0", "5600 K");
    refused(
        flux_lm("12000 lm s"),
        9,
        "`s` is left over after `12000 lm`",
        "12000 lm",
    );
    refused(flux_lm("-1 lm"), 0, "0 or more", "12000 lm");
    refused(flux_lm("1e308 klm"), 0, "finite", "12000 lm");
    refused(
        energy_j("400 W"),
        4,
        "`W` is not a unit of energy",
        "400 Ws",
    );
    refused(stops("1/3"), 0, "`1/3` has no unit", "stops");
}

#[test]
fn lamp_outputs() {
    assert_eq!(
        lamp_output("400 Ws"),
        Ok(LampOutput::Energy { energy_j: 400.0 })
    );
    assert_eq!(
        lamp_output("9000 lm s"),
        Ok(LampOutput::LuminousEnergy {
            luminous_energy_lm_s: 9000.0
        })
    );
    assert_eq!(
        lamp_output("12000 lm"),
        Ok(LampOutput::Flux { flux_lm: 12000.0 })
    );
    refused(lamp_output("400"), 0, "no unit", "9000 lm s");
    refused(
        lamp_output("400 W"),
        4,
        "`W` is not a unit of light's output",
        "400 J",
    );
    refused(lamp_output("-1 J"), 0, "0 or more", "400 J");
}

#[test]
fn errors_read_as_a_sentence() {
    let error = length_m("2.1 deg").unwrap_err();
    assert_eq!(
        error.to_string(),
        "`deg` is not a unit of length; type a length such as \"2.1 m\", \"85 mm\", \"30 cm\" or \"6 ft 2 in\""
    );
    assert_eq!(error.span, 4..7);
}
