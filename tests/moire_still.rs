//! Moiré in pictures: a plain weave rendered as a sensor samples it shows its threads at the folded frequency that
//! sampling theory gives (Shannon 1949), and an optical low-pass takes what its four spots take
//! (J. E. Greivenkamp, Appl. Opt. 29, 1990, from memory).

use glam::DVec3;
use std::f64::consts::{PI, TAU};
use std::sync::atomic::AtomicBool;
use swatchlight::fabric::Fabric;
use swatchlight::figure::swatch;
use swatchlight::measure::swatch_view::shoot_scene;
use swatchlight::optics::table::{Emission, Face};
use swatchlight::render::cpu::Cpu;
use swatchlight::render::driver::Goal;
use swatchlight::scene::Scene;
use swatchlight::scene::builder::{Axes, Lens, SceneBuilder};
use swatchlight::scene::cloth::Dye;
use swatchlight::scene::shapes;
use swatchlight::setup::Lay;

/// 30 ends to the centimetre, evenly spun, so that its threads keep one frequency.
const CLOTH: &str = r#"
title = "Invented: a plain weave for tests"
[behind]
colour = [0.1, 0.1, 0.1]
[woven]
weave = "plain"
ends_per_cm = 30
picks_per_cm = 30
stray = 0.0
pinch = 0.0
[woven.warp]
count = "16 tex"
unevenness = 0.02
colour = [0.5, 0.5, 0.5]
[woven.weft]
count = "16 tex"
unevenness = 0.02
colour = [0.5, 0.5, 0.5]
"#;

const FOCAL_M: f64 = 0.085;
const PITCH_M: f64 = 6e-6;
const COLUMNS: u32 = 256;
const ROWS: u32 = 40;

#[derive(Clone, Copy, PartialEq)]
enum Pixels {
    /// As a picture that is only to look smooth.
    Smooth,
    Sensor,
    LowPass,
}

/// The cloth square to a lens that far off, lit along its rows from 60 degrees off its normal.
fn scene(distance_m: f64, pitch_m: f64, pixels: Pixels) -> Scene {
    let fabric = Fabric::parse(CLOTH, &|_| Err("no file".into())).expect("a cloth");
    let mut b = SceneBuilder::new();
    let layer = b.layer("side");
    let toward = DVec3::new(60_f64.to_radians().sin(), 0.0, 60_f64.to_radians().cos());
    let face = Emission::lambertian(Face::Disk { radius_m: 0.02 });
    b.emitter(&face, Axes::facing(toward * 3.0, -toward, 0.0), layer);
    let cloth = b.cloth(&fabric, Dye::Own).expect("a cloth");
    for part in &swatch::patch(0.22, 0.05, Lay::Flat).parts {
        let mesh = shapes::placed(
            &part.positions_m,
            &part.normals,
            &part.uvs_cm,
            &part.triangles,
            |v| v,
            |v| v,
        );
        b.mesh(&mesh, cloth);
    }
    // A thin lens: 1/v = 1/f - 1/s.
    let image_distance_m = FOCAL_M * distance_m / (distance_m - FOCAL_M);
    b.lens(&Lens {
        centre_m: DVec3::Z * distance_m,
        right: DVec3::X,
        up: DVec3::Y,
        forward: DVec3::NEG_Z,
        image_distance_m,
        focus_distance_m: distance_m,
        radius_m: 0.0,
        picture_m: [COLUMNS, ROWS].map(|n| f64::from(n) * pitch_m),
        shift_m: [0.0; 2],
        pixels: [COLUMNS, ROWS],
    });
    b.bounces(0, 0);
    let mut scene = b.build();
    if pixels != Pixels::Smooth {
        scene.sample_as_sensor(pixels == Pixels::LowPass);
    }
    scene
}

/// Means over the columns, over their own mean.
fn columns(scene: &Scene) -> Vec<f64> {
    let goal = Goal {
        samples: 64,
        relative_error: None,
    };
    let stop = AtomicBool::new(false);
    let mut executor = Cpu::new(0).expect("an executor");
    let shot = shoot_scene(scene, &[[1.0; 3]], 1.0, goal, &mut executor, &stop, |_| ())
        .expect("a picture");
    let mut columns = vec![0.0; shot.width];
    for row in shot.luminance.chunks(shot.width) {
        for (sum, v) in columns.iter_mut().zip(row) {
            *sum += f64::from(*v);
        }
    }
    let mean = columns.iter().sum::<f64>() / columns.len() as f64;
    columns.iter().map(|c| c / mean - 1.0).collect()
}

/// Michelson contrast of a wave of that frequency, under a Hann window.
fn wave(columns: &[f64], cycles_per_px: f64) -> f64 {
    let n = columns.len() as f64;
    let (mut re, mut im, mut weight) = (0.0, 0.0, 0.0);
    for (x, c) in columns.iter().enumerate() {
        let w = 0.5 - 0.5 * (TAU * (x as f64 + 0.5) / n).cos();
        let (s, k) = (TAU * cycles_per_px * x as f64).sin_cos();
        re += w * c * k;
        im += w * c * s;
        weight += w;
    }
    2.0 * f64::hypot(re, im) / weight
}

/// The strongest wave's frequency and contrast, and the contrast of the median one.
fn peak(columns: &[f64]) -> (f64, f64, f64) {
    let mut waves: Vec<(f64, f64)> = (8..512)
        .map(|k| f64::from(k) / 1024.0)
        .map(|f| (wave(columns, f), f))
        .collect();
    waves.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (strongest, frequency) = waves[waves.len() - 1];
    (frequency, strongest, waves[waves.len() / 2].0)
}

/// Ends in a pixel's width at a distance: 3 to the mm, on what a thin lens shows of a pixel.
fn cycles_per_px(distance_m: f64, pitch_m: f64) -> f64 {
    3000.0 * pitch_m * (distance_m - FOCAL_M) / FOCAL_M
}

/// 85 mm, 4 m, 6 um: .829 cycles a pixel fold to .171, a band every 5.85 pixels (by hand). The low-pass, whose spots
/// are one pixel apart, leaves |cos .829 π| = .86 of that; where the threads come to .55 cycles a pixel it
/// leaves |cos .55 π| = .16.
#[test]
fn a_sensor_folds_the_threads() {
    let near_m = FOCAL_M * (1.0 + 0.55 / (3000.0 * PITCH_M));
    for distance_m in [4.0, near_m] {
        let own = cycles_per_px(distance_m, PITCH_M);
        let folded = (own - own.round()).abs();
        if distance_m == 4.0 {
            assert!((folded.recip() - 5.85).abs() < 0.01, "{folded}");
        }
        let plain = columns(&scene(distance_m, PITCH_M, Pixels::Sensor));
        let (frequency, contrast, floor) = peak(&plain);
        // A Hann window of 256 pixels is 1/128 wide to its first zero.
        assert!(
            (frequency - folded).abs() < 1.0 / 256.0,
            "{frequency} for {folded}"
        );
        assert!(contrast > 8.0 * floor, "{contrast} over {floor}");
        let filtered = columns(&scene(distance_m, PITCH_M, Pixels::LowPass));
        let left = wave(&filtered, folded) / wave(&plain, folded);
        let expected = (PI * own).cos().abs();
        println!(
            "{distance_m:.3} m: contrast {contrast:.4}, floor {floor:.5}, low-pass leaves {left:.3} of {expected:.3}"
        );
        assert!((left - expected).abs() < 0.08, "{left} for {expected}");
        if distance_m < 4.0 {
            assert!(left < 1.0 / 3.0, "{left}");
        }
    }
}

/// A picture of half as many pixels is an average, in which nothing folds; sampled as a sensor of such
/// pixels would, it would.
#[test]
fn a_small_picture_shows_no_false_threads() {
    let pitch_m = 2.0 * PITCH_M;
    let own = cycles_per_px(4.0, pitch_m);
    let folded = (own - own.round()).abs();
    let sensor = wave(&columns(&scene(4.0, pitch_m, Pixels::Sensor)), folded);
    let smooth = columns(&scene(4.0, pitch_m, Pixels::Smooth));
    println!("sensor {sensor:.4}, smooth {:.5}", wave(&smooth, folded));
    assert!(
        wave(&smooth, folded) < 0.1 * sensor,
        "{} of {sensor}",
        wave(&smooth, folded)
    );
}
