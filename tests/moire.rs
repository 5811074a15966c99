//! Moiré of a cloth before a sensor, against worked numbers and a sampled wave.

#[path = "common/checks.rs"]
mod checks;

use checks::check;
use proptest::prelude::*;
use std::f64::consts::TAU;
use swatchlight::fabric::draft::{Drawdown, StandardWeave};
use swatchlight::measure::moire::*;
use swatchlight::photometry::lens::{distance_for_footprint_m, pixel_mtf};

const MM: f64 = 1e-3;

/// The camera of the worked example: 85 mm at f/8, 36 mm of 6000 px, four metres off.
fn sensing() -> Sensing {
    Sensing::of_sensor(85.0 * MM, 8.0, 36.0 * MM, 6000)
}

fn square() -> ClothView {
    ClothView::square(4.0)
}

/// A pattern along the weft.
fn lines(period_mm: f64) -> ClothPattern {
    ClothPattern {
        thread: Thread::Ends,
        cycles_per_mm: [1.0 / period_mm, 0.0],
        contrast: 1.0,
    }
}

fn weave(name: &str) -> Drawdown {
    let weave = StandardWeave::by_name(name).expect("a named weave");
    weave.drawdown().expect("small")
}

#[track_caller]
fn close(value: f64, expected: f64, within: f64) {
    assert!(
        (value - expected).abs() <= within,
        "{value} for {expected} ± {within}"
    );
}

#[track_caller]
fn one(pattern: ClothPattern, view: &ClothView, sensing: &Sensing) -> PatternSeen {
    let found = moire(&[pattern], view, sensing).unwrap();
    assert_eq!(found.verdict, found.seen[0].verdict);
    assert_eq!(found.moves.is_none(), found.verdict == Verdict::Clear);
    found.seen[0]
}

/// S7.alias.*: sampling folds f to |f - round(f)| (Shannon 1949).
#[test]
fn threads_fold() {
    for (id, verdict) in [
        ("S7.alias.plain30", Verdict::Clear),
        ("S7.alias.yarn30", Verdict::WillShow),
        ("S7.alias.denim25", Verdict::WillShow),
        ("S7.alias.suit28_22twill", Verdict::Clear),
    ] {
        let c = check(id);
        let seen = one(lines(c.input("period_mm")), &square(), &sensing());
        c.assert_field("cyc_per_px", seen.cycles_per_px[0]);
        c.assert_field("alias_cyc_per_px", seen.alias_cycles_per_px[0].abs());
        c.assert_field("alias_period_px", seen.alias_period_px);
        assert_eq!(seen.is_folded(), c.expected_field("cyc_per_px") > 0.5);
        assert_eq!(
            (seen.cycles_per_px[1], seen.verdict),
            (0.0, verdict),
            "{id}"
        );
    }
    // S7.footprint, and 1/3 mm on the limit: two pixels a period.
    check("S7.footprint").assert_close(sensing().footprint_m(4.0) / MM);
    let c = check("S7.alias.distance");
    let view = ClothView::square(c.expected() * MM);
    let seen = one(lines(1.0 / 3.0), &view, &sensing());
    close(seen.alias_period_px, 2.0, 1e-6);
    assert_eq!(seen.verdict, Verdict::MayShow);
}

/// S7.mtf.8 and S7.pixelMTF: at the sampling limit a lens of effective f/8 leaves .5438, pixels 2/π.
/// A low-pass that splits by a pixel leaves nothing there, by half a pixel cos(π/4).
#[test]
fn lens_pixels_and_low_pass_take_contrast() {
    let pitch_mm = 0.006;
    let mut camera = sensing();
    let magnification = pitch_mm * MM / camera.footprint_m(4.0);
    camera.f_number = 8.0 / (1.0 + magnification);
    let on_limit = lines(2.0 * camera.footprint_m(4.0) / MM);
    let left = one(on_limit, &square(), &camera).contrast_left;
    let expected = check("S7.mtf.8").expected() * check("S7.pixelMTF").expected();
    close(left, expected, 1e-6);
    for (split_px, leaves) in [(1.0, 0.0), (0.5, 0.5_f64.sqrt())] {
        camera.low_pass = Some(LowPass { split_px });
        let split = one(on_limit, &square(), &camera);
        close(split.contrast_left, leaves * left, 1e-9);
    }
    // Half the cloth's contrast is half of what shows.
    let faint = ClothPattern {
        contrast: 0.5,
        ..lines(1.0 / 3.0)
    };
    let seen = one(faint, &square(), &sensing());
    close(seen.contrast_shown, 0.5 * seen.contrast_left, 1e-15);
}

/// What pixels record of a wave, averaged over each of them and taken apart again by a Fourier sum:
/// it has the frequency and the contrast that are told. The lens is wide open on coarse pixels, so
/// that it takes nothing.
#[test]
fn a_sampled_wave_shows_the_alias() {
    const N: usize = 400;
    let camera = Sensing {
        focal_length_m: 0.1,
        f_number: 0.5,
        pixel_pitch_m: 1e-3,
        low_pass: None,
    };
    let footprint_mm = camera.footprint_m(4.0) / MM;
    for cycles in [0.0725, 0.3, 0.62, 0.8275, 1.31, 1.9] {
        let seen = one(lines(footprint_mm / cycles), &square(), &camera);
        let pixels: Vec<f64> = (0..N)
            .map(|x| {
                let inside = (0..200).map(|k| x as f64 + (f64::from(k) + 0.5) / 200.0);
                inside.map(|at| (TAU * cycles * at).cos()).sum::<f64>() / 200.0
            })
            .collect();
        let amplitude = |bin: usize| {
            let (mut s, mut c) = (0.0, 0.0);
            for (x, value) in pixels.iter().enumerate() {
                let turn = TAU * (bin * x % N) as f64 / N as f64;
                s += value * turn.sin();
                c += value * turn.cos();
            }
            2.0 * f64::hypot(s, c) / N as f64
        };
        let strongest = (1..N / 2)
            .max_by(|a, b| amplitude(*a).total_cmp(&amplitude(*b)))
            .unwrap();
        let alias = seen.alias_cycles_per_px[0].abs();
        close(alias, strongest as f64 / N as f64, 1e-9);
        close(seen.contrast_left, amplitude(strongest), 1e-3);
        close(seen.contrast_left, pixel_mtf(cycles, 1.0), 1e-3);
    }
}

/// Tilted by 60 degrees a cloth is half as long the way it falls, and as wide as before; turned by
/// 90 its ends lie along the rows. In between: the tangent plane's projection, worked out by hand.
#[test]
fn tilt_and_grain() {
    let pattern = ClothPattern {
        thread: Thread::Weave,
        cycles_per_mm: [1.5, 1.0],
        contrast: 1.0,
    };
    let footprint_mm = sensing().footprint_m(4.0) / MM;
    let seen = |tilt_deg, falls_toward_deg, grain_deg| {
        let view = ClothView {
            tilt_deg,
            falls_toward_deg,
            grain_deg,
            ..square()
        };
        let cycles = one(pattern, &view, &sensing()).cycles_per_px;
        cycles.map(|f| f / footprint_mm)
    };
    let same = |[a, b]: [f64; 2], [c, d]: [f64; 2]| {
        close(a, c, 1e-12);
        close(b, d, 1e-12);
    };
    same(seen(0.0, 77.0, 0.0), [1.5, 1.0]);
    same(seen(60.0, 0.0, 0.0), [3.0, 1.0]);
    same(seen(60.0, 90.0, 0.0), [1.5, 2.0]);
    same(seen(60.0, 270.0, 0.0), [1.5, 2.0]);
    same(seen(0.0, 0.0, 90.0), [-1.0, 1.5]);
    same(seen(60.0, 0.0, 90.0), [-2.0, 1.5]);
    // Along (1, 1)/√2 the frequency is 2.5/√2, doubled; across it .5/√2 stays.
    same(seen(60.0, 45.0, 0.0), [2.75, 2.25]);
}

/// Nearer and longer have a closed form where one pattern is held again: .45 cycles a pixel.
/// Farther and shorter are places where it is clear and just before which it is not.
#[test]
fn what_moves_it_off() {
    let threads = lines(1.0 / 3.0);
    let found = moire(&[threads], &square(), &sensing()).unwrap();
    let moves = found.moves.unwrap();
    let pitch_m = sensing().pixel_pitch_m;
    let footprint_m = HELD * MM / 3.0;
    let nearer = distance_for_footprint_m(85.0 * MM, pitch_m, footprint_m);
    close(nearer, 2.21, 1e-9);
    close(moves.nearer_m.unwrap(), nearer, 1e-9);
    // f = s m/(1 + m).
    let m = pitch_m / footprint_m;
    close(moves.longer_focal_m.unwrap(), 4.0 * m / (1.0 + m), 1e-9);

    let verdict = |distance_m: f64, focal_length_m: f64| {
        let sensing = Sensing {
            focal_length_m,
            ..sensing()
        };
        one(threads, &ClothView::square(distance_m), &sensing).verdict
    };
    let farther = moves.farther_m.unwrap();
    let shorter = moves.shorter_focal_m.unwrap();
    assert!(farther > 4.0 && shorter < 85.0 * MM);
    for k in 0..=100 {
        let on = 1.0 + STAYS_CLEAR * 0.99 * f64::from(k) / 100.0;
        assert_eq!(verdict(farther * on, 85.0 * MM), Verdict::Clear);
        assert_eq!(verdict(4.0, shorter / on), Verdict::Clear);
        assert_eq!(verdict(nearer / on - 1e-9, 85.0 * MM), Verdict::Clear);
    }
    assert_ne!(verdict(farther * (1.0 - 1e-6), 85.0 * MM), Verdict::Clear);
    assert_ne!(verdict(4.0, shorter * (1.0 + 1e-6)), Verdict::Clear);
    // Nothing to move.
    assert!(
        moire(&[lines(5.0)], &square(), &sensing())
            .unwrap()
            .moves
            .is_none()
    );
    // No lens and no place on the way to two focal lengths hold a thread of a micrometre's pitch,
    // but where nothing of it is left there is nothing to move.
    assert_eq!(
        one(lines(1e-3), &square(), &sensing()).verdict,
        Verdict::Clear
    );
}

/// Fourier series of textbook weaves, by hand. Plain: (-1)^(k+j), one part at (1/2, 1/2) of
/// amplitude 1. A 2/2 twill to the right, + + - - moving on an end a pick: (1/4, -1/4) with
/// amplitude 4/(4 sin 45°) = √2, counted as 1. A cord across, two picks alike: as a plain weave of
/// doubled picks, amplitude √2 at (1/2, 1/4).
#[test]
fn a_weave_has_its_own_pattern() {
    for (name, across, along, contrast) in [
        ("plain", 0.5, 0.5, 0.6),
        ("twill-2-2-right", 0.25, -0.25, 0.6 * 2.0_f64.sqrt()),
        ("twill-2-2-left", 0.25, 0.25, 0.6 * 2.0_f64.sqrt()),
        ("cord-across", 0.5, 0.25, 0.6 * 2.0_f64.sqrt()),
        ("twill-3-1-right", 0.25, -0.25, 0.6),
    ] {
        let patterns = of_weave(30.0, 20.0, &weave(name), 0.3, 0.6);
        assert_eq!(patterns[0].thread, Thread::Ends, "{name}");
        assert_eq!(patterns[0].cycles_per_mm, [3.0, 0.0]);
        assert_eq!(patterns[1].cycles_per_mm, [0.0, 2.0]);
        assert_eq!((patterns[0].contrast, patterns[1].contrast), (0.3, 0.3));
        let figure = patterns[2];
        assert_eq!(figure.thread, Thread::Weave);
        close(figure.cycles_per_mm[0], 3.0 * across, 1e-12);
        close(figure.cycles_per_mm[1], 2.0 * along, 1e-12);
        close(figure.contrast, contrast, 1e-9);
        let weaker = patterns[3..].iter().all(|p| p.contrast < 0.95 * contrast);
        assert!(weaker, "{name}: {patterns:?}");
    }
    // A cloth all of one system has threads only; a bold repeat shows as what it is.
    let loose = Drawdown::from_fn(4, 4, |_, _| true).unwrap();
    assert_eq!(of_weave(30.0, 20.0, &loose, 1.0, 1.0).len(), 2);
    let large = Drawdown::from_fn(1000, 3, |end, pick| end * 919 % 1000 < 300 + pick).unwrap();
    assert_eq!(of_weave(30.0, 20.0, &large, 1.0, 1.0).len(), 2);
    let knit = of_knit(15.0, 20.0, 1.0);
    close(knit[0].period_mm(), 1.0 / 1.5, 1e-12);
    close(knit[1].cycles_per_mm[1], 2.0, 1e-12);
    assert_eq!(
        (knit[0].thread, knit[1].thread),
        (Thread::Wales, Thread::Courses)
    );
    assert_eq!(Thread::Weave.to_string(), "weave");
}

/// The worst pattern gives the verdict, and a move must clear them all.
#[test]
fn all_patterns_count() {
    let patterns = of_weave(30.0, 28.0, &weave("twill-2-2-right"), 1.0, 1.0);
    let found = moire(&patterns, &square(), &sensing()).unwrap();
    assert_eq!(found.seen.len(), patterns.len());
    assert_eq!(found.verdict, Verdict::WillShow);
    let nearer = found.moves.unwrap().nearer_m.unwrap();
    // The ends are the finest.
    close(nearer, 2.21, 1e-9);
    let there = moire(&patterns, &ClothView::square(nearer), &sensing()).unwrap();
    assert_eq!(there.verdict, Verdict::Clear);
    assert_eq!(there.moves, None);
}

#[test]
fn numbers_out_of_range_say_so() {
    let says = |view: &ClothView, sensing: &Sensing, pattern: ClothPattern, words: &str| {
        let text = moire(&[pattern], view, sensing).unwrap_err().to_string();
        assert!(
            text.starts_with(words) && text.contains("; give a number"),
            "{text}"
        );
    };
    let (view, camera, fine) = (square(), sensing(), lines(1.0));
    for bad in [f64::NAN, f64::INFINITY, -1.0, 1e9] {
        let distance_m = bad;
        says(
            &ClothView { distance_m, ..view },
            &camera,
            fine,
            "the distance in m is ",
        );
        let tilt_deg = bad;
        says(
            &ClothView { tilt_deg, ..view },
            &camera,
            fine,
            "the tilt in degrees is ",
        );
        let f_number = bad;
        says(
            &view,
            &Sensing { f_number, ..camera },
            fine,
            "the f-number is ",
        );
        let focal_length_m = bad;
        let lens = Sensing {
            focal_length_m,
            ..camera
        };
        says(&view, &lens, fine, "the focal length in m is ");
        let pixel_pitch_m = bad;
        let sensor = Sensing {
            pixel_pitch_m,
            ..camera
        };
        says(&view, &sensor, fine, "the pixel pitch in m is ");
        let low_pass = Some(LowPass { split_px: bad });
        says(
            &view,
            &Sensing { low_pass, ..camera },
            fine,
            "the low-pass split",
        );
        let contrast = bad;
        says(
            &view,
            &camera,
            ClothPattern { contrast, ..fine },
            "a pattern's contrast is ",
        );
    }
    let cycles_per_mm = [1.0, f64::NAN];
    says(
        &view,
        &camera,
        ClothPattern {
            cycles_per_mm,
            ..fine
        },
        "a pattern's cycles",
    );
    let inside_lens = ClothView::square(0.085);
    says(&inside_lens, &camera, fine, "the distance in m is 0.085");
    let error = moire(&[], &view, &camera).unwrap_err();
    assert_eq!(error, MoireError::NoPattern);
    assert!(error.to_string().contains("threads per cm"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is in range is answered with finite numbers, and what is named to be clear is.
    #[test]
    fn moves_are_clear(
        distance_m in 0.3..30.0_f64, focal_mm in 12.0..200.0_f64, f_number in 1.0..32.0_f64,
        pitch_um in 1.0..12.0_f64, tilt_deg in 0.0..85.0_f64, falls_toward_deg in 0.0..360.0_f64,
        grain_deg in -90.0..90.0_f64, ends in 1.0..120.0_f64, picks in 1.0..120.0_f64, contrast in 0.0..=1.0_f64,
    ) {
        let camera = Sensing {
            focal_length_m: focal_mm * MM, f_number, pixel_pitch_m: pitch_um * 1e-6, low_pass: None,
        };
        let view = ClothView { distance_m, tilt_deg, falls_toward_deg, grain_deg };
        let patterns = of_weave(ends, picks, &weave("twill-2-1-left"), contrast, contrast);
        let found = moire(&patterns, &view, &camera).unwrap();
        for seen in &found.seen {
            prop_assert!(seen.alias_cycles_per_px.iter().all(|f| f.abs() <= 0.5));
            prop_assert!((0.0..=1.0).contains(&seen.contrast_left));
        }
        if let Some(moves) = found.moves {
            for at in [moves.nearer_m, moves.farther_m].into_iter().flatten() {
                let view = ClothView { distance_m: at, ..view };
                prop_assert_eq!(moire(&patterns, &view, &camera).unwrap().verdict, Verdict::Clear);
            }
            for at in [moves.longer_focal_m, moves.shorter_focal_m].into_iter().flatten() {
                let camera = Sensing { focal_length_m: at, ..camera };
                prop_assert_eq!(moire(&patterns, &view, &camera).unwrap().verdict, Verdict::Clear);
            }
        }
    }
}
