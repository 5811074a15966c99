//! Contrast and highlights read from pictures whose own are known in closed form.

#[path = "common/checks.rs"]
mod checks;
#[path = "common/cloth_picture.rs"]
mod cloth_picture;

use checks::check;
use cloth_picture::*;
use std::f64::consts::TAU;
use swatchlight::measure::weave_contrast::*;

/// S6.metric.mich (Michelson 1927) and S6.metric.rms (Peli 1990): halves of 120 and 100.
#[test]
fn halves() {
    let values = picture(|x, y| if (x + y) % 2 == 0 { 120.0 } else { 100.0 });
    let read = weave_contrast(&of(&values)).unwrap();
    check("S6.metric.mich").assert_close(read.michelson);
    check("S6.metric.rms").assert_close(read.rms);
    assert!(read.rms_without_noise.is_none());
}

/// A light that falls off slowly drops out, and so does the edge of a cloth cut to 20 mm, or to a
/// disk: the mean is taken over what there is.
#[test]
fn falling_light_and_edges_drop_out() {
    let checker = |x: usize, y: usize| {
        if (x / 4 + y / 4).is_multiple_of(2) {
            1.2
        } else {
            1.0
        }
    };
    let falling = |x: usize| 1.0 + x as f64 / SIDE as f64;
    let even = weave_contrast(&of(&picture(checker))).unwrap();
    within(even.rms, 0.1 / 1.1, 1e-3);
    let values = picture(|x, y| checker(x, y) * falling(x));
    within(weave_contrast(&of(&values)).unwrap().rms, even.rms, 2e-3);
    let cut: Vec<f32> = (0..400 * 400)
        .map(|i| checker(i % 400, i / 400) as f32)
        .collect();
    let cut = Luminance {
        width: 400,
        height: 400,
        values: &cut,
        ..of(&[])
    };
    within(weave_contrast(&cut).unwrap().rms, even.rms, 0.02);
    // Black all round, which is not cloth.
    let on_disk = |i: usize| {
        let [x, y] = [i % SIDE, i / SIDE].map(|k| k as f64 - 399.5);
        x.hypot(y) < 180.0
    };
    let inside: Vec<bool> = (0..SIDE * SIDE).map(on_disk).collect();
    let mut values = picture(checker);
    for (value, shown) in values.iter_mut().zip(&inside) {
        if !shown {
            *value = 0.0;
        }
    }
    let disk = Luminance {
        inside: Some(&inside),
        ..of(&values)
    };
    within(weave_contrast(&disk).unwrap().rms, even.rms, 0.02);
}

/// Numbers without a seed of the library's, each of mean 0 and variance 1 (the sum of twelve even
/// ones).
struct Noise(u64);

impl Noise {
    fn even(&mut self) -> f64 {
        // Knuth's linear congruential generator, MMIX; its upper half.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1_u64 << 31) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// Noise of known size is taken off: over 60 pictures the mean of what is left is the furrows' own
/// RMS, and its scatter is the error that is told. Scatter of 60 is known to 1/√118 = 9.2 %; three
/// standard errors of it.
#[test]
fn noise_is_taken_off() {
    const N: usize = 120;
    let mut noise = Noise(7);
    // 0.1/√2 where the furrows are; 12 whole ones.
    for (amplitude, own) in [(0.1, 0.1 / 2.0_f64.sqrt()), (0.0, 0.0)] {
        let errors: Vec<f32> = (0..N * N).map(|i| 0.05 + 0.1 * (i % 2) as f32).collect();
        let (mut values_read, mut errors_read, mut raw) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..60 {
            let values: Vec<f32> = (0..N * N)
                .map(|i| {
                    let phase = TAU * (i % N) as f64 / 10.0;
                    let own = 1.0 + amplitude * phase.sin();
                    (own + f64::from(errors[i]) * noise.normal()) as f32
                })
                .collect();
            let read = weave_contrast(&Luminance {
                width: N,
                height: N,
                mm_per_px: 0.1,
                values: &values,
                standard_errors: Some(&errors),
                inside: None,
            })
            .unwrap();
            let left = read.rms_without_noise.unwrap();
            values_read.push(left.value);
            errors_read.push(left.standard_error);
            raw.push(read.rms);
        }
        let mean = |list: &[f64]| list.iter().sum::<f64>() / list.len() as f64;
        let scatter = rms(&values_read) * mean(&values_read);
        let told = mean(&errors_read);
        // The raw figure is far off: √(own² + .0125).
        within(mean(&raw), (own * own + 0.0125_f64).sqrt(), 0.02);
        if amplitude > 0.0 {
            let off = mean(&values_read) - own;
            assert!(
                off.abs() < 3.0 * told / 60.0_f64.sqrt() + 1e-3 * own,
                "{off}"
            );
            within(scatter, told, 3.0 / 118.0_f64.sqrt());
        } else {
            // A root of what is left of nothing: within what is told.
            assert!(values_read.iter().all(|v| *v < 4.0 * told), "{told}");
            assert!(told < 0.02, "{told}");
        }
    }
}

/// exp(-2π²σ²/λ²), the Gaussian's transform: half of a wave of 10 mm is left by the finer mean, half
/// of 120 mm by the broader one, of which the rest is the fold.
#[test]
fn folds_between_one_and_twelve_centimetres() {
    const N: usize = 600;
    let depth_stops = 0.1;
    for wave_mm in [5.0, 10.0, 25.0, 50.0, 125.0, 250.0] {
        let values: Vec<f32> = (0..N * N)
            .map(|i| (depth_stops * (TAU * (i % N) as f64 / wave_mm).sin()).exp2() as f32)
            .collect();
        let read = fold_contrast(&Luminance {
            width: N,
            height: N,
            mm_per_px: 1.0,
            values: &values,
            standard_errors: None,
            inside: None,
        })
        .unwrap();
        let left = |half_mm: f64| (-(half_mm / wave_mm).powi(2)).exp2();
        let expected = depth_stops * (left(10.0) - left(120.0));
        within(read.rms_stops, expected / 2.0_f64.sqrt(), 0.01);
        // Shorter waves have too few pixels to show their extremes.
        if wave_mm >= 25.0 {
            within(read.span_stops, 2.0 * expected, 0.02);
        }
        assert_eq!(read.read_mm, [250.0; 2]);
    }
}

/// Folds under noise, as weaves above.
#[test]
fn noise_is_taken_off_folds() {
    const N: usize = 150;
    let mut noise = Noise(11);
    let errors = vec![0.2_f32; N * N];
    let mut read_stops = Vec::new();
    let mut told = 0.0;
    let own = |x: usize| (0.05 * (TAU * x as f64 / 25.0).sin()).exp2();
    let read = |values: &[f32]| {
        fold_contrast(&Luminance {
            width: N,
            height: N,
            mm_per_px: 2.0,
            values,
            standard_errors: Some(&errors),
            inside: None,
        })
        .unwrap()
    };
    let clean: Vec<f32> = (0..N * N).map(|i| own(i % N) as f32).collect();
    let truth = read(&clean).rms_stops;
    for _ in 0..60 {
        let values: Vec<f32> = (0..N * N)
            .map(|i| (own(i % N) + 0.2 * noise.normal()).max(0.0) as f32)
            .collect();
        let left = read(&values).rms_stops_without_noise.unwrap();
        read_stops.push(left.value);
        told += left.standard_error / 60.0;
    }
    let mean = read_stops.iter().sum::<f64>() / 60.0;
    let scatter = rms(&read_stops) * mean;
    eprintln!("{scatter} {told} {mean} {truth}");
    within(scatter, told, 3.0 / 118.0_f64.sqrt());
    assert!((mean - truth).abs() < 3.0 * scatter / 60.0_f64.sqrt() + 0.01 * truth);
}

/// By counting: a tenth of the cloth is two stops up, a fiftieth three.
#[test]
fn highlights_are_counted() {
    let values = picture(|x, _| match x % 50 {
        0 => 8.0,
        1..5 => 4.0,
        // A stop and a half up is not above it.
        5 => 2.0 * 2.0_f64.sqrt() * 0.999_999,
        _ => 1.0,
    });
    let read = highlights(&of(&values), 8.0).unwrap();
    assert_eq!((read.median, read.highlight_share), (1.0, 0.1));
    assert_eq!(read.clipped_share, 0.02);
    assert_eq!(highlights(&of(&values), 8.1).unwrap().clipped_share, 0.0);
    let error = highlights(&of(&values), 0.0).unwrap_err();
    assert_eq!(error, ContrastError::White(0.0));
}

#[test]
fn what_cannot_be_read_says_so() {
    let grey = picture(|_, _| 0.18);
    let whole = of(&grey);
    let refused = |picture: &Luminance| {
        let weave = weave_contrast(picture).unwrap_err();
        let fold = fold_contrast(picture).unwrap_err();
        assert!(!fold.to_string().is_empty());
        weave.to_string()
    };
    let says = |picture: &Luminance, words: &str| {
        let text = refused(picture);
        assert!(text.contains(words), "{text}");
    };
    for scale in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let mm_per_px = scale;
        says(&Luminance { mm_per_px, ..whole }, "a number above 0");
    }
    let width = SIDE + 1;
    says(&Luminance { width, ..whole }, "for 801 × 800 pixels");
    let width = usize::MAX;
    says(&Luminance { width, ..whole }, "the picture has 640000");
    let (width, height) = (0, 0);
    let values: &[f32] = &[];
    let empty = Luminance {
        width,
        height,
        values,
        ..whole
    };
    says(&empty, "at least 3.0 mm each way");
    let mm_per_px = 1e-3;
    says(
        &Luminance { mm_per_px, ..whole },
        "the cloth is 0.8 × 0.8 mm",
    );
    let inside: Option<&[bool]> = Some(&[]);
    says(&Luminance { inside, ..whole }, "its mask has 0");
    let nothing = vec![false; SIDE * SIDE];
    let inside = Some(nothing.as_slice());
    says(&Luminance { inside, ..whole }, "0 pixels");
    for bad in [f32::NAN, f32::INFINITY, -1e-6] {
        let mut values = grey.clone();
        values[SIDE + 3] = bad;
        says(&of(&values), "the luminance at column 3, row 1 is");
        let standard_errors = Some(values.as_slice());
        let noisy = Luminance {
            standard_errors,
            ..whole
        };
        says(&noisy, "the error at column 3, row 1 is");
    }
    says(&of(&vec![0.0; SIDE * SIDE]), "no light falls");
    assert_eq!(
        highlights(&of(&vec![0.0; SIDE * SIDE]), 1.0).unwrap_err(),
        ContrastError::Dark
    );
    // A cloth of one tone has no contrast, and that is an answer.
    assert!(weave_contrast(&whole).unwrap().rms < 1e-6);
}
