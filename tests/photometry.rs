//! F-numbers, exposure, metering and flash, against the standards and trade practice.

#[path = "common/checks.rs"]
mod checks;

use std::f64::consts::PI;

use checks::{check, checks_beginning};
use proptest::prelude::*;
use swatchlight::photometry::colour::{encode_srgb8, srgb_encode};
use swatchlight::photometry::exposure::*;
use swatchlight::photometry::flash::*;
use swatchlight::photometry::fnumber::{full_mark, half_mark, third_mark};
use swatchlight::photometry::{FNumber, Mark, MeterConstants, PowerFraction, units};

fn f(n: f64) -> FNumber {
    FNumber::exact(n).expect("an f-number")
}

fn mark(text: &str, tenths: i32) -> Mark {
    Mark {
        mark: text.to_owned(),
        tenths,
    }
}

/// ISO 2720:1974, ISO 10157; also a colour library's `average_illuminance(8, 1, 100) = 160`.
#[test]
fn exposure_and_f_number() {
    for c in checks_beginning("S1.flash.H_") {
        c.assert_close(exposure_from_fnumber_lx_s(
            f(c.input("N")),
            c.input("S"),
            c.input("C"),
        ));
    }
    for c in checks_beginning("S1.flash.N_") {
        let n = fnumber_from_exposure(c.input("H_lxs"), c.input("S"), c.input("C")).unwrap();
        c.assert_close(n.value());
    }
    for dark in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(fnumber_from_exposure(dark, 100.0, 250.0), None);
    }
}

/// ISO 2720:1974 recommends the ranges; 15.7 % and 17.6 % are printed on public exposure-meter
/// pages.
#[test]
fn meter_constants() {
    check("S1.C.iso_range_ratio_stops").assert_close(stops_between(240.0, 320.0));
    check("S1.K.stops_12p5_14").assert_close(stops_between(12.5, 14.0));
    for c in checks_beginning("S1.KC.") {
        c.assert_close(implied_reflectance(c.input("K"), c.input("C")));
    }
    let usual = MeterConstants::default();
    assert_eq!(
        (usual.flat, usual.dome, usual.reflected_k),
        (250.0, 330.0, 12.5)
    );
    assert_eq!(usual.validate(), Ok(()));
    assert!(usual.outside_iso_2720().is_empty());
    let other = MeterConstants {
        reflected_k: 14.0,
        ..usual
    };
    assert_eq!(other.validate(), Ok(()));
    assert_eq!(other.outside_iso_2720(), ["reflected_k"]);
    for wrong in [0.0, -250.0, 25.0, 2500.0, f64::NAN, f64::INFINITY] {
        let error = MeterConstants {
            flat: wrong,
            ..usual
        }
        .validate()
        .unwrap_err();
        assert!(error.to_string().contains("`flat`"), "{error}");
        assert!(error.to_string().contains("120 to 800"), "{error}");
    }
}

/// ISO 2720, APEX (EXIF 2.3 Annex C).
#[test]
fn exposure_values() {
    for c in checks_beginning("S1.EV.lux_") {
        c.assert_close(illuminance_from_ev_lx(
            c.input("EV"),
            c.input("S"),
            c.input("C"),
        ));
    }
    for c in checks_beginning("S1.EV.lum_") {
        c.assert_close(luminance_from_ev_cd_m2(
            c.input("EV"),
            c.input("S"),
            c.input("K"),
        ));
    }
    for id in ["S1.EV.N_t", "S1.EV.sunny16"] {
        let c = check(id);
        c.assert_close(ev_of_setting(f(c.input("N")), c.input("t")));
    }
    let c = check("S1.apex");
    c.assert_field("Av", f(c.input("N")).stops());
    c.assert_field("Tv", -c.input("t").log2());
    c.assert_field("Ev", ev_of_setting(f(c.input("N")), c.input("t")));
}

/// Common practice for the marks; the exact series are powers of two.
#[test]
fn f_number_series() {
    let exact: Vec<f64> = (0..=36)
        .map(|n| FNumber::from_thirds(n).unwrap().value())
        .collect();
    check("S1.fnum.third").assert_close_all(&exact);
    let marks: Vec<f64> = (0..=36).map(third_mark).collect();
    check("S1.fnum.third_nominal").assert_close_all(&marks);
    let halves: Vec<f64> = (0..=20)
        .map(|n| FNumber::from_halves(n).unwrap().value())
        .collect();
    check("S1.fnum.half").assert_close_all(&halves);
    let marks: Vec<f64> = (0..=20).map(half_mark).collect();
    check("S1.fnum.half_nominal").assert_close_all(&marks);
    let c = check("S1.fnum.tenth_f8_4");
    let base_tenths = 10 * f(c.input("base")).stops() as i32;
    c.assert_close(
        FNumber::from_tenths(base_tenths + c.input("tenths") as i32)
            .unwrap()
            .value(),
    );
    let gap = |n| (f(third_mark(n)).stops() - FNumber::from_thirds(n).unwrap().stops()).abs();
    check("S1.fnum.third_nominal_maxdev").assert_close((0..=36).map(gap).fold(0.0, f64::max));
    // Beyond the table (common practice): f/0.95 aside, lenses are marked f/0.7 and enlargers f/90.
    assert_eq!(
        (-6..=-1).map(third_mark).collect::<Vec<_>>(),
        [0.5, 0.55, 0.6, 0.7, 0.8, 0.9]
    );
    assert_eq!(
        (37..=42).map(third_mark).collect::<Vec<_>>(),
        [72.0, 80.0, 90.0, 102.0, 114.0, 128.0]
    );
    assert_eq!(
        (-1..=5).map(full_mark).collect::<Vec<_>>(),
        [0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6]
    );
    assert_eq!([-1, 21, 22, 23].map(half_mark), [0.85, 38.0, 45.0, 54.0]);
    // Every mark, off the table too, leads back to its own place in the series.
    for n in -18..=60 {
        assert_eq!(
            FNumber::from_mark(third_mark(n)),
            FNumber::from_thirds(n),
            "mark {}",
            third_mark(n)
        );
        // A mark is what is printed: f/0.1375, halved from f/1.1, reads f/0.138 and means it.
        assert_eq!(f(third_mark(n)).to_string()[2..].parse(), Ok(third_mark(n)));
    }
    for (also, n) in [(1.3, 2), (3.6, 11), (28.0, 29)] {
        assert_eq!(
            FNumber::from_mark(also),
            FNumber::from_thirds(n),
            "also engraved: {also}"
        );
    }
}

/// The reading: a third-stop mark at or below and the tenths left, carried over.
#[test]
fn marks_and_tenths() {
    for (n, want, tenths) in [
        (8.0, "f/8", 0),
        (9.0, "f/9", 0),
        (10.0, "f/10", 0), // as printed; exact is 10.08
        (5.6, "f/5.6", 0),
        (22.0, "f/22", 0), // as printed; exact is 22.63
        (22.63, "f/22", 0),
        (10.08, "f/10", 0),
        (9.19, "f/9", 1),
        (8.97, "f/9", 0),
        (7.80232, "f/7.1", 3),
        (0.71, "f/0.7", 0),
        (0.6, "f/0.6", 0),
        (1.0, "f/1", 0),
        (64.0, "f/64", 0),
        (95.0, "f/90", 1),
    ] {
        assert_eq!(f(n).mark(), mark(want, tenths), "{n}");
    }
    // Meter convention, common practice: full stop and tenths.
    let c = check("S1.fnum.tenth_f8_4");
    assert_eq!(f(c.expected()).full_stop_reading(), mark("f/8", 4));
    assert_eq!(f(7.99).full_stop_reading(), mark("f/8", 0));
    assert_eq!(f(0.8).full_stop_reading(), mark("f/0.7", 4));
    assert_eq!(
        f(c.expected()).full_stop_reading().to_string(),
        "f/8 and 4 tenths"
    );
    assert_eq!(f(9.19).mark().to_string(), "f/9 and 1 tenth");
    assert_eq!(f(7.80232).to_string(), "f/7.8");
}

/// Light adds, so N² adds (ISO 2720 with additivity of illuminance).
#[test]
fn adding_lights() {
    let sum = |ns: &[f64]| FNumber::sum_of(&ns.iter().map(|n| f(*n)).collect::<Vec<_>>()).unwrap();
    for id in [
        "S1.add.3p2_7p1_nominal",
        "S1.add.pair_8_8",
        "S1.add.pair_4_8",
        "S1.add.pair_2p83_8",
    ] {
        let c = check(id);
        c.assert_close(sum(&c.input_all("N")).value());
    }
    let c = check("S1.add.3p2_7p1_exact");
    let parts: Vec<f64> = c
        .input_all("n_thirds")
        .iter()
        .map(|n| FNumber::from_thirds(*n as i32).unwrap().value())
        .collect();
    let exact = sum(&parts);
    c.assert_close(exact.value());
    let from_marks = [3.2, 7.1].map(|m| FNumber::from_mark(m).unwrap());
    assert_eq!(FNumber::sum_of(&from_marks), Some(exact));
    check("S1.add.3p2_7p1_mark").assert_close(exact.nearest_mark());
    check("S1.add.3p2_7p1_mark").assert_close(sum(&[3.2, 7.1]).nearest_mark());
    check("S1.add.gain_over_7p1").assert_close(exact.stops() - from_marks[1].stops());
    check("S1.add.short_of_f8").assert_close(f(8.0).stops() - exact.stops());
    for c in checks_beginning("S1.add.gain_d") {
        let weaker = f(8.0).offset(-c.input("d")).unwrap();
        c.assert_close(FNumber::sum_of(&[f(8.0), weaker]).unwrap().stops() - f(8.0).stops());
    }
    assert_eq!(FNumber::sum_of(&[]), None);
}

/// Common practice, both conventions labelled.
#[test]
fn ratios() {
    for c in checks_beginning("S1.ratio.keyplusfill_") {
        let key = c.input("d_stops").exp2();
        c.assert_close(lighting_ratio(key, 1.0).unwrap());
        assert!((key_to_fill(key, 1.0).unwrap() - (c.expected() - 1.0)).abs() < 1e-6);
    }
    let c = check("S1.ratio.example");
    let [key, fill] =
        ["key", "fill"].map(|l| exposure_from_fnumber_lx_s(f(c.input(l)), 100.0, 250.0));
    c.assert_close(lighting_ratio(key, fill).unwrap());
    check("S1.ratio.3to1_stops").assert_close(stops_between(1.0, 3.0));
    assert_eq!(
        (lighting_ratio(1.0, 0.0), key_to_fill(0.0, 0.0)),
        (None, None)
    );
    assert_eq!(evenness_stops(&[100.0, 400.0, 200.0]), Some(2.0));
    assert_eq!(
        (evenness_stops(&[]), evenness_stops(&[1.0, 0.0])),
        (None, None)
    );
}

/// Guide number by its definition; the trade's constants for it are no meter's.
#[test]
fn flash_heads() {
    let c = check("S1.GN.I1000");
    let gn = guide_number_m(c.input("I_cds"), c.input("S"), c.input("C"));
    c.assert_close(gn);
    check("S1.GN.feet").assert_close(gn / METRES_PER_FOOT);
    check("S1.GN.ISO400").assert_close(guide_number_m(1000.0, 400.0, 250.0));
    let eighth = PowerFraction::from_stops(-3.0).unwrap();
    check("S1.GN.power_1_8").assert_close(guide_number_m(1000.0 * eighth.fraction(), 100.0, 250.0));
    assert!((intensity_from_guide_number_cd_s(gn, 100.0, 250.0) - 1000.0).abs() < 1e-9);
    // GN_ft = √(k BCPS ISO): the C at which our formula gives the same.
    for (id, k) in [("S1.GN.bcps_0063_C", 0.063), ("S1.GN.bcps_005_C", 0.05)] {
        let gn_m = (k * 1000.0 * 100.0_f64).sqrt() * METRES_PER_FOOT;
        check(id).assert_close(1000.0 * 100.0 / (gn_m * gn_m));
    }
    let c = check("S1.energy.I");
    let light = luminous_energy_lm_s(c.input("J"), c.input("eff"), c.input("fixture"));
    c.assert_close(isotropic_intensity_cd_s(light));
    let at_2_m = isotropic_intensity_cd_s(light) / 4.0;
    check("S1.energy.N_2m")
        .assert_close(fnumber_from_exposure(at_2_m, 100.0, 250.0).unwrap().value());
    // A Lambertian face sends π times its axial intensity: four times the isotropic one.
    let axial = lambertian_intensity_cd_s(light);
    assert!((axial - 4.0 * isotropic_intensity_cd_s(light)).abs() < 1e-9);
}

#[test]
fn power_settings() {
    let p = |fraction| PowerFraction::new(fraction).unwrap();
    assert_eq!(p(0.25).stops(), -2.0);
    assert_eq!(p(0.25).offset(1.0), Some(p(0.5)));
    for (fraction, text) in [
        (1.0, "full"),
        (0.25, "1/4"),
        ((-1.7_f64).exp2(), "1/4 +0.3 stops"),
        ((-0.04_f64).exp2(), "full"),
        ((-0.1_f64).exp2(), "1/2 +0.9 stops"),
        (0.5_f64.exp2(), "full +0.5 stops"),
        (1e-9, "-29.9 stops"),
    ] {
        assert_eq!(p(fraction).to_string(), text);
    }
    for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(PowerFraction::new(wrong), None);
    }
    // A head of five stops in tenths; one in thirds; one with a stepless dial.
    let tenths = PowerRange {
        least: p(1.0 / 32.0),
        most: PowerFraction::FULL,
        step_stops: 0.1,
    };
    let set = tenths.nearest(p((-1.234_f64).exp2()));
    assert!((set.power.stops() + 1.2).abs() < 1e-9 && (set.error_stops - 0.034).abs() < 1e-9);
    assert_eq!(set.limit, None);
    let over = tenths.nearest(p(2.0));
    assert_eq!(
        (over.power, over.limit),
        (PowerFraction::FULL, Some(PowerLimit::CannotGoHigher))
    );
    assert_eq!(over.error_stops, -1.0);
    let under = tenths.nearest(p(1.0 / 64.0));
    assert!((under.power.stops() + 5.0).abs() < 1e-9 && (under.error_stops - 1.0).abs() < 1e-9);
    assert_eq!(under.limit, Some(PowerLimit::CannotGoLower));
    let thirds = PowerRange {
        least: p(0.25),
        most: p(1.0),
        step_stops: 1.0 / 3.0,
    };
    assert!((thirds.nearest(p(0.25)).power.fraction() - 0.25).abs() < 1e-12);
    assert_eq!(thirds.nearest(p(0.25)).limit, None);
    let stepless = PowerRange {
        least: p(0.25),
        most: p(1.0),
        step_stops: 0.0,
    };
    assert!((stepless.nearest(p(0.3)).power.fraction() - 0.3).abs() < 1e-12);
    assert!((stepless.nearest(p(0.2)).power.fraction() - 0.25).abs() < 1e-12);
    assert_eq!(
        stepless.nearest(p(0.2)).limit,
        Some(PowerLimit::CannotGoLower)
    );
}

/// IEC 61966-2-1, ISO 12232: what the tool's convention is, and how far the standards' own chain
/// lies from it.
#[test]
fn grey_card() {
    // By the convention, a card at the metered exposure shows its reflectance whatever the setting.
    for (n, iso, constant) in [(8.0, 100.0, 250.0), (5.6, 400.0, 330.0)] {
        let h = exposure_from_fnumber_lx_s(f(n), iso, constant);
        let value = picture_value(GREY_CARD * h / PI, f(n), iso, constant);
        assert!((value - GREY_CARD).abs() < 1e-12);
        check("S1.srgb8.18_int").assert_close(f64::from(encode_srgb8(value)));
        for c in checks_beginning("S1.srgb8.grey_") {
            let brighter = picture_value(
                GREY_CARD * h / PI * c.input("stops").exp2(),
                f(n),
                iso,
                constant,
            );
            c.assert_close(255.0 * srgb_encode(brighter));
        }
    }
    let c = check("S1.chain.HS_C320");
    assert_eq!(c.input("q"), LENS_FACTOR_Q);
    c.assert_close(focal_plane_exposure_times_iso(c.input("rho"), c.input("C")));
    for c in checks_beginning("S1.chain.offset_C") {
        c.assert_close(iso_12232_offset_stops(c.input("C")));
    }
    let c = check("S1.chain.sRGB8_C340");
    let linear = GREY_CARD * iso_12232_offset_stops(c.input("C")).exp2();
    c.assert_close(255.0 * srgb_encode(linear));
    // q K is what a reflected meter puts on the sensor; the mean of the output sensitivity is 10 lx
    // s / S.
    let reflected = LENS_FACTOR_Q * MeterConstants::default().reflected_k;
    check("S1.chain.K_offset").assert_close(stops_between(reflected, 10.0));
    check("S1.iso12232.headroom_stops").assert_close(stops_between(10.0, 78.0));
}

/// ISO 2720 and ANSI PH3.49: the cosine and the cardioid receptor.
#[test]
fn receptors() {
    for (prefix, receptor) in [
        ("S1.recv.flat_", Receptor::Flat),
        ("S1.recv.dome_", Receptor::Dome),
    ] {
        let by_angle = checks_beginning(prefix)
            .into_iter()
            .filter(|c| c.quantity.contains("response"));
        let mut tested = 0;
        for c in by_angle {
            c.assert_close(receptor.response(c.input("theta_deg").to_radians().cos()));
            tested += 1;
        }
        assert!(tested >= 5);
    }
    // Uniform luminance: the response integrated over the front hemisphere, or the sphere, over π.
    let reading = |from: f64| {
        let steps = 10_000;
        let width = (1.0 - from) / f64::from(steps);
        let cosines = (0..steps).map(|i| from + width * (f64::from(i) + 0.5));
        cosines
            .map(|cos| 2.0 * PI * width * Receptor::Dome.response(cos))
            .sum::<f64>()
            / PI
    };
    check("S1.recv.dome_front_hemi").assert_close(reading(0.0));
    check("S1.recv.dome_sphere").assert_close(reading(-1.0));
    let at = |deg: f64| deg.to_radians().cos();
    let flat = Receptor::Flat.response(at(45.0));
    let dome = Receptor::Dome.response(at(45.0));
    check("S1.recv.dome_key45_fill").assert_close(stops_between(flat, dome));
    let c = check("S1.recv.example");
    for (field, receptor) in [("flat", Receptor::Flat), ("dome", Receptor::Dome)] {
        c.assert_field(
            field,
            1000.0 * receptor.response(at(60.0)) + 250.0 * receptor.response(1.0),
        );
    }
    // The identity that a dome is half of scalar illuminance plus illuminance vector.
    let (scalar, along) = (1250.0, 1000.0 * at(60.0) + 250.0);
    c.assert_field("dome", dome_from_scalar_and_vector(scalar, along));
    let constants = MeterConstants::default();
    assert_eq!(Receptor::Flat.constant(&constants), 250.0);
    assert_eq!(Receptor::Dome.constant(&constants), 330.0);
}

/// Flash and ambient light add in lux-seconds: 160 lx s with 1000 lx for 1/125 s meters f/8.19756.
#[test]
fn flash_with_ambient() {
    let h = total_exposure_lx_s(160.0, 1000.0, 1.0 / 125.0);
    assert!((h - 168.0).abs() < 1e-9);
    assert!((fnumber_from_exposure(h, 100.0, 250.0).unwrap().value() - 8.19756).abs() < 1e-5);
}

/// Each must-have record of these sections is named, whole or by prefix, in a test file.
#[test]
fn strong_records_are_tested() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let files = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let sources: String = files
        .filter(|path| path.extension().is_some_and(|e| e == "rs"))
        .map(|path| std::fs::read_to_string(path).unwrap())
        .collect();
    let named: Vec<&str> = sources
        .split('"')
        .filter(|s| s.starts_with('S') && s.contains('.'))
        .collect();
    let untested: Vec<&str> = checks::all()
        .iter()
        .filter(|c| c.strong && !c.id.starts_with("S4."))
        .map(|c| c.id.as_str())
        .filter(|id| {
            !named
                .iter()
                .any(|name| name == id || name.ends_with(['.', '_']) && id.starts_with(name))
        })
        .collect();
    assert!(untested.is_empty(), "{untested:?}");
}

/// Tolerances are bounded too: none is loose enough to pass anything.
#[test]
fn tolerances_are_tight() {
    for c in checks::all() {
        for (kind, size) in c.tolerances() {
            let most = match kind {
                "rel" => 0.015,
                "CCT_abs" => 5.0,
                _ => 0.5,
            };
            assert!(size <= most, "{}: {kind} {size}", c.id);
        }
    }
}

/// What the tool prints, it reads back.
#[test]
fn printed_readings_parse() {
    for tenths in -20..140 {
        let n = FNumber::from_tenths(tenths).unwrap();
        let back = units::f_number(&n.full_stop_reading().to_string()).unwrap();
        // A mark alone reads as the number printed, up to 0.1 stop from the exact mark's value.
        assert!((back.stops() - n.stops()).abs() < 0.1, "{n}");
    }
    for tenths in -150..=0 {
        let power = PowerFraction::from_stops(f64::from(tenths) / 10.0).unwrap();
        let back = units::power(&power.to_string()).unwrap();
        assert!((back.stops() - power.stops()).abs() < 1e-9, "{power}");
    }
}

/// Every reader of quantities, with its result thrown away but for the error.
fn read_all(text: &str) -> Vec<Option<units::UnitError>> {
    vec![
        units::length_m(text).err(),
        units::size_2d_m(text).err(),
        units::size_3d_m(text).err(),
        units::angle_rad(text).err(),
        units::sided_angle_rad(text).err(),
        units::f_number(text).err(),
        units::shutter_s(text).err(),
        units::stops(text).err(),
        units::power(text).err(),
        units::temperature_k(text).err(),
        units::gel_mired(text).err(),
        units::energy_j(text).err(),
        units::luminous_energy_lm_s(text).err(),
        units::flux_lm(text).err(),
        units::luminous_yield_lm_s_per_j(text).err(),
        units::percent(text).err(),
        units::lamp_output(text).err(),
    ]
}

/// No string panics, and every error points into its string and says what to type.
fn errors_hold(text: &str) -> Result<(), TestCaseError> {
    for error in read_all(text).into_iter().flatten() {
        prop_assert!(
            text.get(error.span.clone()).is_some(),
            "{text:?}: {error:?}"
        );
        prop_assert!(!error.problem.is_empty() && !error.hint.is_empty());
    }
    Ok(())
}

proptest! {
    #[test]
    fn any_string_is_read_or_refused(text in any::<String>()) {
        errors_hold(&text)?;
    }

    #[test]
    fn near_quantities_are_read_or_refused(
        text in "[-+−–]?[0-9.,eE/]{0,9}[ ·×x%°'\"′″’”]{0,3}(m|ft|in|lm s/J|f/|stops|K|µs|full|and|by|é)?[-+ 0-9x×.]{0,6}(in|ft|deg|stop|🂡)?"
    ) {
        errors_hold(&text)?;
    }

    #[test]
    fn finite_quantities_stay_finite(n in any::<f64>()) {
        for unit in ["m", "ft", "mm", "deg", "J", "klm s", "kJ", "klm", "K", "mired", "%", "stops"] {
            let text = format!("{n} {unit}");
            for value in [
                units::length_m(&text),
                units::angle_rad(&text),
                units::energy_j(&text),
                units::luminous_energy_lm_s(&text),
                units::flux_lm(&text),
                units::temperature_k(&text),
                units::gel_mired(&text),
                units::percent(&text),
                units::stops(&text),
            ].into_iter().flatten() {
                prop_assert!(value.is_finite(), "{text} gave {value}");
            }
        }
    }

    #[test]
    fn lengths_read_back(metres in -1e4..1e4_f64) {
        prop_assert_eq!(units::length_m(&format!("{metres} m")), Ok(metres));
        let size = metres.abs() + 1e-3;
        prop_assert_eq!(units::size_2d_m(&format!("{size} x 2 m")), Ok([size, 2.0]));
    }

    #[test]
    fn a_mark_and_its_tenths_are_within_half_a_tenth(stops in -6.0..16.0_f64) {
        let n = FNumber::from_stops(stops).unwrap();
        let reading = n.mark();
        prop_assert!((0..=3).contains(&reading.tenths));
        let printed: f64 = reading.mark[2..].parse().unwrap();
        let exact = FNumber::from_mark(printed).unwrap().stops();
        let as_printed = FNumber::exact(printed).unwrap().stops();
        let tenths = f64::from(reading.tenths) / 10.0;
        // A mark alone stands for its printed value, its exact one and what lies between.
        let held = match reading.tenths {
            0 => exact.min(as_printed)..=exact.max(as_printed),
            _ => exact + tenths..=exact + tenths,
        };
        let off = (held.start() - stops).max(stops - held.end());
        prop_assert!(off <= 0.05 + 1e-9, "{n} reads {reading}");
        let full = n.full_stop_reading();
        prop_assert!((0..=9).contains(&full.tenths));
        let printed: f64 = full.mark[2..].parse().unwrap();
        let back = FNumber::from_mark(printed).unwrap().stops() + f64::from(full.tenths) / 10.0;
        prop_assert!((back - stops).abs() <= 0.05 + 1e-9, "{n} reads {full}");
    }

    #[test]
    fn a_head_gives_the_nearest_step(wanted in -8.0..3.0_f64, step in 0.0..1.0_f64, span in 0.0..7.0_f64) {
        let range = PowerRange {
            least: PowerFraction::from_stops(-span).unwrap(),
            most: PowerFraction::FULL,
            step_stops: step,
        };
        let set = range.nearest(PowerFraction::from_stops(wanted).unwrap());
        prop_assert!(set.power.stops() <= 1e-9 && set.power.stops() >= -span - 1e-5);
        prop_assert!((set.power.stops() - wanted - set.error_stops).abs() < 1e-9);
        if set.limit.is_none() {
            prop_assert!(set.error_stops.abs() <= 0.5 * step + 1e-6);
        }
    }
}
