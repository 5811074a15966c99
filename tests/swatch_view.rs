//! The swatch view: where the patch lies, and that both pictures of a pair are exposed alike.

use std::path::Path;
use std::sync::atomic::AtomicBool;
use swatchlight::figure::Role;
use swatchlight::measure::cloth_at::{ClothAt, Look, bright, reference_picture};
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::swatch_view::{Reference, SwatchShot};
use swatchlight::measure::take::Take;
use swatchlight::render::cpu::Cpu;
use swatchlight::render::driver::Goal;
use swatchlight::scene::cloth::Shelf;
use swatchlight::scene::models::Models;
use swatchlight::scene::patch::{PATCH_STANDOFF_M, PatchError, frame_at};
use swatchlight::setup::{Checked, Crop, CropPlace, Lay, Options, Setup, parse_bytes};

fn models() -> Models {
    Models::for_setup(Path::new("models/setups/side-key-linen.toml"))
}

fn setup(text: &str) -> Setup {
    match parse_bytes(text.as_bytes(), "test.toml", &models(), Options::default()) {
        Ok(Checked { setup, .. }) => setup,
        Err(problems) => panic!("{}", problems.render(false)),
    }
}

/// A swatch in an open hall under the soft reference's very panel: 1.25 m square, 1.3 m off, 22 degrees from the
/// cloth's normal, 100 degrees round. The camera's own convention (an 18 % card at the metered f-number
/// shows .18, design by definition) exposes it as the reference is, so that both pictures of the pair are as bright.
/// They differ by the reference's even surround, which lights the cloth from all round: by less than 2 % of the mean here.
#[test]
fn both_of_a_pair_are_exposed_alike() {
    let setup = setup(
        r#"
title = "Invented: the soft reference as a setup"
[room]
walls = "open"
reflectance = { floor = 0.0 }
[swatch]
fabric = "cotton-plain"
at = [0, 1.3, 0]
show = false
[camera]
at = [0, 1.3, 0.9]
aim = "swatch"
f_number = "as metered"
white_balance = "none"
[[light]]
name = "panel"
modifier = { kind = "panel", size = "1.25 x 1.25 m" }
at = [-0.08457, 1.77957, 1.20534]
aim = "swatch"
output = "2000 lm s"
stand = "none"
[meter]
expose_at = { name = "cloth", at = [0, 1.3, 0], facing = [0, 0, 1] }
points = [{ name = "cloth", at = [0, 1.3, 0], facing = [0, 0, 1] }]
"#,
    );
    let models = models();
    let stop = AtomicBool::new(false);
    let mut cpu = Cpu::new(0).expect("an executor");
    let goal = GatherGoal::default();
    let take = Take::new(setup, &models, &mut cpu, goal, &stop).expect("a take");
    let fabric = models.fabric("cotton-plain").expect("a cloth");
    let look = Look {
        width_m: 0.02,
        pixels: [64, 64],
        lay: Lay::Flat,
        goal: Goal {
            samples: 64,
            relative_error: None,
        },
    };
    let at = ClothAt {
        take: &take,
        models: &models,
        fabric: &fabric,
        point: "swatch",
        flats: &[],
    };
    let own = at
        .picture(&look, &mut cpu, &stop, |_| ())
        .expect("a picture");
    let soft = reference_picture(
        &fabric,
        &Shelf::default(),
        Reference::Soft,
        &look,
        &mut cpu,
        &stop,
        |_| (),
    )
    .expect("a picture");
    let ratio = mean(&own) / mean(&soft);
    println!(
        "own {:.4}, soft {:.4}, ratio {ratio:.4}",
        mean(&own),
        mean(&soft)
    );
    // Readings are good to 0.5 %, pictures of 262 144 samples to far less.
    assert!((ratio - 1.0).abs() < 0.02 + 3.0 * 0.005, "{ratio}");
    // Nothing of a cotton of .5 is near white.
    assert_eq!(bright(&own).clipped_share.value, 0.0);
}

fn mean(shot: &SwatchShot) -> f64 {
    shot.luminance.iter().map(|v| f64::from(*v)).sum::<f64>() / shot.luminance.len() as f64
}

/// At a body point the patch faces the camera and lies before all of the figure that it covers, by a
/// centimetre, however large it is.
#[test]
fn a_patch_lies_before_the_body() {
    let models = models();
    let text = std::fs::read_to_string("models/setups/side-key-linen.toml").expect("a setup");
    let setup = setup(&text);
    let figure = setup.figure.as_ref().expect("a figure");
    let dressed = models.dressed(&figure.spec).expect("a model");
    for side_m in [0.04, 0.1, 0.3] {
        let frame = frame_at(&setup, &models, "chest", [side_m; 2]).expect("a place");
        let toward = (setup.camera.position_m - figure.body_points_m["chest"]).normalize();
        assert!(frame.z.dot(toward) > 0.9999);
        let parts = dressed.pieces.iter().flat_map(|piece| &piece.model.parts);
        let worn = parts.filter(|p| p.role != Role::Hair);
        let vertices = worn.flat_map(|p| &p.positions_m);
        let highest = vertices
            .map(|p| frame.point_in_frame(figure.room_from_figure(p.as_dvec3())))
            .filter(|p| p.x.abs() <= side_m / 2.0 && p.y.abs() <= side_m / 2.0 && p.z < 0.1)
            .map(|p| p.z)
            .fold(f64::NEG_INFINITY, f64::max);
        assert!(highest <= -PATCH_STANDOFF_M + 1e-9, "{side_m}: {highest}");
        let to_point = frame.point_in_frame(figure.body_points_m["chest"]);
        assert!(to_point.z <= -PATCH_STANDOFF_M + 1e-9);
        assert!(to_point.z > -0.15);
    }
    // The setup's own swatch lies as the setup says.
    let own = frame_at(&setup, &models, "swatch", [0.1; 2]).expect("a place");
    assert_eq!(own, setup.swatch.as_ref().expect("a swatch").frame);
    match frame_at(&setup, &models, "chset", [0.1; 2]) {
        Err(PatchError::Unknown { known, .. }) => {
            assert!(known.iter().any(|k| k == "chest") && known.iter().any(|k| k == "dark side"));
        }
        other => panic!("{other:?}"),
    }
}

/// A crop shows what the whole picture shows at that place: a point falls on the same pixel of the sensor.
#[test]
fn a_crop_is_a_part_of_the_picture() {
    let text = std::fs::read_to_string("models/setups/side-key-linen.toml").expect("a setup");
    let whole = setup(&text);
    assert_eq!(whole.camera.sensor_pixels, [6000, 4000]);
    assert!(!whole.camera.has_sensor_pixels());
    let chest = whole.figure.as_ref().expect("a figure").body_points_m["chest"];
    let at = |camera: &swatchlight::setup::Camera, held: [f64; 2], corner: [f64; 2]| {
        let [x, y] = camera.project(chest).expect("in sight");
        [
            corner[0] + held[0] * (0.5 + 0.5 * x),
            corner[1] + held[1] * (0.5 - 0.5 * y),
        ]
    };
    // 800 x 1200 has the sensor's shape, so the picture is all of it.
    let before = at(&whole.camera, [4000.0, 6000.0], [0.0; 2]);
    let mut cropped = whole.camera.clone();
    let corner = [1500, 1800];
    cropped
        .crop(&Crop {
            size_px: [1000, 800],
            place: CropPlace::From(corner),
        })
        .expect("on the sensor");
    assert!(cropped.has_sensor_pixels());
    let after = at(&cropped, [1000.0, 800.0], corner.map(f64::from));
    for i in 0..2 {
        assert!((before[i] - after[i]).abs() < 1e-6, "{before:?} {after:?}");
    }
    // About a point, that point is in the middle, to a pixel's half.
    let mut about = whole.camera.clone();
    about
        .crop(&Crop {
            size_px: [1000, 800],
            place: CropPlace::Around(chest),
        })
        .expect("on the sensor");
    let [x, y] = about.project(chest).expect("in sight");
    assert!(x.abs() <= 1.0 / 1000.0 + 1e-9 && y.abs() <= 1.0 / 800.0 + 1e-9);
    // And what is not on the sensor is refused.
    let mut off = whole.camera.clone();
    let beyond = Crop {
        size_px: [1000, 800],
        place: CropPlace::From([3500, 0]),
    };
    assert!(off.crop(&beyond).is_err());
    assert_eq!(off, whole.camera);
}
