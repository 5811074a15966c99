//! Folds and highlights of what is worn, in pictures whose light is drawn by hand so that the answers are
//! known: a wave of s stops at its crests has a standard deviation of s / √2.

use std::path::Path;
use swatchlight::measure::garment::{GarmentView, Layered};
use swatchlight::scene::models::Models;
use swatchlight::scene::studio::Studio;
use swatchlight::setup::{Setup, parse};

const PIXELS: [u32; 2] = [240, 360];

fn seen(name: &str) -> (Setup, GarmentView) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("models/setups/{name}.toml"));
    let text = std::fs::read_to_string(&path).expect("a setup");
    let models = Models::for_setup(&path);
    let mut setup = parse(&text, name, &models).expect("a good one").setup;
    setup.camera.pixels = PIXELS;
    let studio = Studio::build(&setup, &models).expect("a scene");
    let chest = setup.figure.as_ref().expect("a figure").body_points_m["chest"];
    let view = GarmentView::of(&setup, &studio.scene, chest).expect("it is seen");
    (setup, view)
}

/// Reads a picture of one layer, drawn pixel by pixel.
fn read(
    view: &GarmentView,
    light: impl Fn(usize) -> f32,
) -> swatchlight::measure::garment::GarmentSeen {
    let light: Vec<[f32; 3]> = (0..view.inside().len()).map(|p| [light(p); 3]).collect();
    let picture = Layered {
        light: &light,
        relative_errors: &vec![0.0; light.len()],
        samples: 1,
    };
    view.read(&picture, &[[1.0; 3]], [1.0; 3]).expect("it fits")
}

#[test]
fn the_garment_is_found_and_the_swatch_beside_it_is_not() {
    let (setup, view) = seen("front-full-length");
    let width = PIXELS[0] as usize;
    let worn = view.inside().iter().filter(|i| **i).count();
    let share = worn as f64 / view.inside().len() as f64;
    // A dress to the knee in a full length: more than the skin, less than the background.
    assert!((0.06..0.3).contains(&share), "{share}");
    let camera = &setup.camera;
    let pixel_of = |at: glam::DVec3| {
        let to = at - camera.position_m;
        let depth = to.dot(camera.direction);
        let half = camera.half_tan();
        let x = (to.dot(camera.right) / depth - camera.shift_tan[0]) / half[0];
        let y = (to.dot(camera.up) / depth - camera.shift_tan[1]) / half[1];
        let (x, y) = (
            0.5 * (x + 1.0) * f64::from(PIXELS[0]),
            0.5 * (1.0 - y) * f64::from(PIXELS[1]),
        );
        y as usize * width + x as usize
    };
    let points = &setup.figure.as_ref().expect("a figure").body_points_m;
    assert!(view.inside()[pixel_of(points["chest"])]);
    assert!(!view.inside()[pixel_of(points["face"])]);
    let patch = setup.swatch.as_ref().expect("a swatch").frame.origin_m;
    assert!(!view.inside()[pixel_of(patch)]);
}

#[test]
fn highlights_and_clipping_are_counted_on_the_garment_alone() {
    let (_, view) = seen("front-full-length");
    let worn: Vec<usize> = (0..view.inside().len())
        .filter(|p| view.inside()[*p])
        .collect();
    let bright: std::collections::BTreeSet<usize> = worn.iter().copied().step_by(10).collect();
    let clipped: std::collections::BTreeSet<usize> = worn.iter().copied().step_by(50).collect();
    let seen = read(&view, |p| {
        match (clipped.contains(&p), bright.contains(&p)) {
            (true, _) => 1.2,
            // 1.6 stops over the rest.
            (_, true) => 0.2 * 1.6_f32.exp2(),
            // All else is white, which is none of the garment's business.
            _ if view.inside()[p] => 0.2,
            _ => 5.0,
        }
    });
    let near = |a: f64, b: f64| (a - b).abs() < 0.002;
    assert!(near(seen.bright.highlight_share.value, 0.1), "{seen:?}");
    assert!(near(seen.bright.clipped_share.value, 0.02), "{seen:?}");
}

#[test]
fn folds_are_the_stops_of_a_known_wave() {
    let (_, view) = seen("front-full-length");
    let (mm_per_px, about) = view.scale();
    let width = PIXELS[0] as usize;
    let wave = |period_mm: f64, crest_stops: f64| {
        let seen = read(&view, |p| {
            let across_mm = ((p % width) as f64 - about[0]) * mm_per_px;
            let turn = std::f64::consts::TAU * across_mm / period_mm;
            (0.2 * (crest_stops * turn.sin()).exp2()) as f32
        });
        seen.folds.expect("the chest is in the picture").rms_stops
    };
    let even = read(&view, |_| 0.2).folds.expect("it is seen").rms_stops;
    assert!(even < 1e-6, "{even}");
    // In the middle of the band (1 to 12 cm) nearly all of it is passed.
    let middle = wave(40.0, 0.5);
    let known = 0.5 / 2.0_f64.sqrt();
    assert!((middle / known - 1.0).abs() < 0.12, "{middle} {known}");
    // Twice the stops, twice the folds; the light's own slow change is no fold.
    assert!((wave(40.0, 1.0) / middle - 2.0).abs() < 0.1);
    assert!(wave(900.0, 0.5) < 0.2 * middle);
}
