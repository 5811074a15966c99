//! Modifiers as taped out: the shipped files, their cloths and scales, and what they come to in
//! optics, against closed forms.

#[path = "common/library.rs"]
mod library;

use std::collections::BTreeSet;
use std::f64::consts::PI;

use library::{Fake, models};
use proptest::prelude::*;
use swatchlight::optics::prescribe::{bare_lamp, lens_spot, prescribe};
use swatchlight::optics::prescription::{Facing, Finish, Prescription, Shell, Source};
use swatchlight::optics::table::{Emission, Face, Pattern};
use swatchlight::setup::{
    LensSpot, Lining, Modifier, ModifierKind, Scale, parse_modifier, parse_modifier_with,
};

#[track_caller]
fn near(a: f64, b: f64, tolerance: f64) {
    assert!(
        (a - b).abs() <= tolerance,
        "{a} is not {b} within {tolerance}"
    );
}

#[track_caller]
fn read(text: &str) -> Modifier {
    parse_modifier(text, "m.toml", "m").unwrap_or_else(|p| panic!("{p}"))
}

/// Name, text and model of each file in models/modifiers.
fn shipped() -> Vec<(String, String, Modifier)> {
    let mut all: Vec<_> = std::fs::read_dir(models().join("modifiers"))
        .expect("models/modifiers")
        .map(|entry| entry.expect("entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .map(|path| {
            let text = std::fs::read_to_string(&path).expect("text");
            let name = path.file_stem().expect("name").to_string_lossy();
            let read = parse_modifier_with(&text, &name, &name, &Fake);
            let (modifier, _) = read.unwrap_or_else(|p| panic!("{p}"));
            (name.into_owned(), text, modifier)
        })
        .collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

fn file(name: &str) -> Modifier {
    let found = shipped().into_iter().find(|(n, ..)| n == name);
    found.unwrap_or_else(|| panic!("{name} is shipped")).2
}

fn prescribed(modifier: &Modifier, spread: f64) -> Prescription {
    prescribe(modifier, spread).expect("a traced kind")
}

fn spot_of(modifier: &Modifier) -> LensSpot {
    let ModifierKind::LensSpot(spot) = modifier.kind else {
        panic!("a lens-spot")
    };
    spot
}

// ---- the shipped files

#[test]
fn shipped_files_are_invented_and_cover_the_trades_types() {
    let mut kinds = BTreeSet::new();
    let mut titles = BTreeSet::new();
    for (name, text, modifier) in shipped() {
        assert!(text.starts_with("# Invented"), "{name} says it is invented");
        assert!(
            titles.insert(modifier.title.clone()),
            "{name}: {}",
            modifier.title
        );
        assert!(!modifier.title.is_empty(), "{name} has a title");
        kinds.insert(modifier.kind.word());
    }
    assert_eq!(kinds.len(), 17, "{kinds:?}");
    let sizes: BTreeSet<String> = shipped()
        .iter()
        .filter_map(|(.., m)| match m.kind {
            ModifierKind::Paraboloid(b) => Some(format!("{} {}", b.diameter_m, b.depth_m)),
            _ => None,
        })
        .collect();
    assert!(sizes.len() >= 3, "three paraboloids of different size");
    let dishes: BTreeSet<bool> = shipped()
        .iter()
        .filter_map(|(.., m)| match m.kind {
            ModifierKind::Dish { bowl, .. } => Some(matches!(bowl.lining, Lining::Matt { .. })),
            _ => None,
        })
        .collect();
    assert_eq!(dishes.len(), 2, "a white and a silver dish");
}

/// What is shipped can be traced at any setting: everything in its place, in order, of one sign.
#[test]
fn shipped_files_come_to_sound_prescriptions() {
    let mut traced = 0;
    for (name, _, modifier) in shipped() {
        for spread in [0.0, 0.3, 1.0] {
            let Some(p) = prescribe(&modifier, spread) else {
                let plain = matches!(
                    modifier.kind.word(),
                    "panel"
                        | "disk"
                        | "globe"
                        | "tube"
                        | "strip"
                        | "spot"
                        | "lens-spot"
                        | "bare-lamp"
                        | "measured"
                );
                assert!(plain, "{name} is traced");
                continue;
            };
            traced += 1;
            let cloths = p.baffles.iter().map(|b| b.cloth).chain(p.front);
            for c in cloths {
                let sum = c.straight + c.spread + c.scattered + c.reflected;
                assert!(
                    sum <= 1.0 && c.straight + c.spread + c.scattered > 0.0,
                    "{name}"
                );
            }
            let z: Vec<f64> = p.baffles.iter().map(|b| b.z_m).collect();
            assert!(z.windows(2).all(|w| w[0] < w[1]), "{name}: back to front");
            assert!(
                z.iter().all(|z| *z < 0.0 && *z > p.lamp.centre_z_m),
                "{name}"
            );
            let faces_back = ["paraboloid", "umbrella"].contains(&modifier.kind.word());
            assert_eq!(p.lamp.facing == Facing::Back, faces_back, "{name}");
        }
    }
    assert!(traced >= 3 * 14);
}

// ---- bowls

#[test]
fn a_paraboloid_has_its_focus_and_rim_angle() {
    let m = file("paraboloid-120");
    let tight = prescribed(&m, 0.0);
    let Shell::Conic {
        radius_m,
        depth_m,
        vertex_radius_m,
        conic,
        ..
    } = tight.shell
    else {
        panic!("a conic")
    };
    // z = r² / 4f, f = (D/2)² / 4h = 180 mm; the radius at the bottom is 2f.
    near(vertex_radius_m, 0.36, 1e-12);
    assert_eq!(conic, -1.0);
    near(tight.lamp.centre_z_m + depth_m, 0.18, 1e-12);
    // The angle of the rim from the bottom, seen from the focus: tan(θ/2) = D/4f (antenna
    // handbooks, from memory), 118.07 degrees.
    let lamp_m = tight.lamp.centre_z_m;
    let rim = PI - (radius_m / -lamp_m).atan();
    near(rim, 2.0 * (2.0 * radius_m / (4.0 * 0.18)).atan(), 1e-12);
    near(rim.to_degrees(), 118.07, 0.005);
    // Spread carries the lamp from the focus 1.1 f toward the subject, evenly.
    for spread in [0.0, 0.25, 1.0] {
        let p = prescribed(&m, spread);
        near(p.lamp.centre_z_m - lamp_m, 1.1 * 0.18 * spread, 1e-12);
    }
    let housing = tight.lamp.housing.expect("a head");
    assert_eq!((housing.radius_m, housing.length_m), (0.06, 0.15));
    assert_eq!(
        tight.lamp.source,
        Source::Capsule {
            radius_m: 0.025,
            length_m: 0.08
        }
    );
}

#[test]
fn in_a_flat_paraboloid_the_lamp_stops_at_the_rim() {
    // f = 1.4² / (16 · 0.4) = 306.25 mm; 2.1 f would be far in front of the rim.
    let m = read("kind = \"paraboloid\"\ndiameter = \"1.4 m\"\ndepth = \"40 cm\"");
    near(m.lamp_at_m(0.0).expect("travels"), 0.30625, 1e-12);
    near(m.lamp_at_m(1.0).expect("travels"), 0.40 - 0.04, 1e-12);
}

#[test]
fn shells_pass_through_bottom_and_rim() {
    // Any conic of revolution: z = r² / (R + √(R² − (1 + k) r²)) (optics texts).
    let sag = |r: f64, radius: f64, k: f64| {
        r * r / (radius + (radius * radius - (1.0 + k) * r * r).sqrt())
    };
    for (.., m) in shipped() {
        let Some(p) = prescribe(&m, 0.0) else {
            continue;
        };
        if let Shell::Conic {
            radius_m,
            depth_m,
            vertex_radius_m,
            conic,
            ..
        } = p.shell
        {
            near(sag(radius_m, vertex_radius_m, conic), depth_m, 1e-12);
            near(m.kind.face_m()[0], 2.0 * radius_m, 1e-12);
            if let ModifierKind::Umbrella(bowl) | ModifierKind::Bowl(bowl) = m.kind {
                for z in [0.2 * depth_m, 0.7 * depth_m] {
                    near(sag(bowl.radius_at_m(z), vertex_radius_m, conic), z, 1e-12);
                }
            }
        }
    }
    // Half a ball: its radius at the bottom is the rim's.
    let ball = read("kind = \"bowl\"\ndiameter = \"40 cm\"\ndepth = \"20 cm\"\nshape = \"sphere\"");
    let Shell::Conic {
        vertex_radius_m, ..
    } = prescribed(&ball, 0.0).shell
    else {
        panic!("a conic")
    };
    near(vertex_radius_m, 0.2, 1e-12);
}

#[test]
fn umbrella_lamps_are_measured_from_the_top_of_the_shaft() {
    let m = file("umbrella-100-white");
    // 55 cm from the top of an umbrella 18 cm deep: 37 cm in front of the rim.
    near(prescribed(&m, 0.5).lamp.centre_z_m, 0.37, 1e-12);
    // Its head begins at the cup's mouth, is 15 cm long and no wider than the cup.
    let [before_m, wide_m] = m.head_in_front_m(0.0).expect("in front");
    near(before_m, 0.37 + 0.15, 1e-12);
    near(wide_m, 0.16, 1e-12);
    let cup = prescribed(&m, 0.5).lamp;
    assert_eq!(cup.source, Source::Disk { radius_m: 0.08 });
    assert_eq!(cup.housing.map(|h| h.radius_m), Some(0.08));
    // A bare lamp's head begins where the lit part ends, 4 cm beyond its middle.
    let bare =
        read("kind = \"umbrella\"\ndiameter = \"1 m\"\ndepth = \"18 cm\"\nlamp_at = \"55 cm\"");
    let [before_m, wide_m] = bare.head_in_front_m(0.0).expect("in front");
    near(before_m, 0.37 + 0.04 + 0.15, 1e-12);
    near(wide_m, 0.12, 1e-12);
    let m = file("shoot-through-100");
    let p = prescribed(&m, 0.5);
    // The top of its cloth is 20 cm in front of the rim, the lamp 55 cm behind that top.
    near(p.lamp.centre_z_m, -0.35, 1e-12);
    assert!(matches!(p.shell, Shell::Canopy { depth_m, sides: Some(8), .. } if depth_m == 0.2));
}

#[test]
fn a_head_reaches_from_the_bottom_to_the_lamp_at_most() {
    let bowl = |at: &str| {
        let m = read(&format!(
            "kind = \"bowl\"\ndiameter = \"40 cm\"\ndepth = \"25 cm\"\nlamp_at = \"{at}\"\n\
             housing = {{ diameter = \"10 cm\", length = \"30 cm\" }}"
        ));
        prescribed(&m, 0.0).lamp.housing.map(|h| h.length_m)
    };
    // The lit part is 8 cm long: 11 cm from the bottom to its near end.
    near(bowl("15 cm").expect("a head"), 0.11, 1e-12);
    assert_eq!(bowl("4 cm"), None);
}

#[test]
fn a_dish_has_its_plate_before_the_lamp() {
    let p = prescribed(&file("dish-55-white"), 0.0);
    let plate = p.plate.expect("a plate");
    near(plate.z_m, 0.14 - 0.18, 1e-12);
    near(plate.radius_m, 0.085, 1e-12);
    assert!(plate.z_m > p.lamp.centre_z_m);
    // White .85, from memory.
    assert_eq!(plate.finish, Finish::Matt { reflectance: 0.85 });
}

// ---- boxes and cloths

#[test]
fn boxes_hang_their_cloths_back_to_front() {
    let p = prescribed(&file("softbox-60x90"), 0.0);
    assert_eq!(p.baffles.len(), 1);
    // 18 of 40 cm from a face of 60 x 90 to a back of 20 x 20 cm, along straight walls.
    let share = 18.0 / 40.0;
    near(p.baffles[0].half_m[0], 0.5 * (0.6 - 0.4 * share), 1e-12);
    near(p.baffles[0].half_m[1], 0.5 * (0.9 - 0.7 * share), 1e-12);
    assert!(p.front.is_some());
    // Recessed, the front cloth hangs inside, and the walls run on.
    let p = prescribed(&file("softbox-90x120-recessed"), 0.0);
    assert!(p.front.is_none());
    near(p.baffles[0].z_m, -0.08, 1e-12);
    let p = prescribed(&file("octabox-140"), 0.0);
    assert_eq!(p.baffles.len(), 2);
    // Half way between the front cloth, 4 cm in, and the lamp, whose end is 40 cm in.
    near(p.baffles[0].z_m, -0.5 * (0.04 + 0.40), 1e-12);
}

#[test]
fn cloths_lose_their_stops() {
    // Common practice: light ½ stop, half 1 stop, full 1¾ stops.
    for (word, stops) in [
        ("\"light\"", 0.5),
        ("\"half\"", 1.0),
        ("\"full\"", 1.75),
        ("\"2.5 stops\"", 2.5),
    ] {
        let m = read(&format!(
            "kind = \"octabox\"\ndiameter = \"90 cm\"\ndepth = \"40 cm\"\ncloth = {word}\nbaffle = {word}"
        ));
        let cloth = m.cloth.expect("a cloth");
        near(-cloth.passed().log2(), stops, 0.005);
        assert!(cloth.passed() + cloth.reflected <= 1.0);
        assert_eq!(m.baffle, m.cloth);
    }
    let none = "kind = \"octabox\"\ndiameter = \"90 cm\"\ndepth = \"40 cm\"\ncloth = \"none\"";
    assert_eq!(read(none).cloth, None);
    let own = "kind = \"octabox\"\ndiameter = \"90 cm\"\ndepth = \"40 cm\"\ncloth = { spread = 0.3, scattered = 0.1 }";
    let cloth = read(own).cloth.expect("a cloth");
    near(cloth.reflected, 0.3, 1e-12);
}

// ---- lenses and domes

/// ∫ L cos dω over the face, seen from a point on the axis: what falls there per lumen.
fn lux_on_axis(emission: &Emission, at_m: f64) -> f64 {
    const STEPS: usize = 400;
    let Face::Disk { radius_m } = emission.face else {
        panic!("a disk")
    };
    (0..STEPS)
        .map(|k| {
            let rho = ((k as f64 + 0.5) / STEPS as f64).sqrt();
            let r = rho * radius_m;
            let sine = r / r.hypot(at_m);
            let cosine2 = 1.0 - sine * sine;
            let l = emission.luminance([rho, 0.0], [-sine, 0.0]);
            l * cosine2 * cosine2 / (at_m * at_m) * emission.face.area_m2() / STEPS as f64
        })
        .sum()
}

#[test]
fn a_lens_images_its_gate() {
    let m = read(
        "kind = \"lens-spot\"\ndiameter = \"10 cm\"\ngate = \"40 mm\"\nfocal_length = \"15 cm\"",
    );
    let spot = spot_of(&m);
    let emission = lens_spot(&spot, None);
    let Pattern::Gate {
        luminance,
        distance_m,
        radius_m,
        ..
    } = emission.pattern
    else {
        panic!("a gate")
    };
    // Thin lens: f = 150 mm, sharp at 3 m: s = 157.89 mm, 19 times as large.
    near(spot.gate_at_m(0.0), 0.15 * 3.0 / (3.0 - 0.15), 1e-12);
    near(distance_m, 3.0, 1e-9);
    near(radius_m, 19.0 * 0.02, 1e-9);
    // In the middle of the image the whole lens is seen at its luminance: E = π L sin²
    // (configuration factor of a disk).
    let sine2 = 0.05 * 0.05 / (0.05 * 0.05 + 9.0);
    let lux = lux_on_axis(&emission, 3.0);
    near(lux / (PI * luminance * sine2), 1.0, 1e-4);
    // A gate looks no brighter than the lamp (étendue): 1/(π · π d l) per lumen.
    assert!(luminance <= 0.9 / (PI * PI * 0.02 * 0.03) * (1.0 + 1e-12));
    // Softer: the lens moves out by a quarter, and the image comes nearer.
    let soft = lens_spot(&LensSpot { focus: 1.0, ..spot }, None);
    let Pattern::Gate {
        distance_m: near_m, ..
    } = soft.pattern
    else {
        panic!("a gate")
    };
    let s = 1.25 * spot.gate_at_m(0.0);
    near(near_m, 0.15 * s / (s - 0.15), 1e-9);
}

/// Illuminance across the beam at 3 m, from the axis out: half and 10-90 % radii.
fn edge_at_3_m(focus: f64) -> f64 {
    let m = file("lens-spot-20");
    let emission = lens_spot(
        &LensSpot {
            focus,
            ..spot_of(&m)
        },
        None,
    );
    let Face::Disk { radius_m } = emission.face else {
        panic!("a disk")
    };
    let lux = |x: f64| {
        let mut sum = 0.0;
        for i in 0..24 {
            for j in 0..32 {
                let rho = ((f64::from(i) + 0.5) / 24.0).sqrt();
                let turn = (f64::from(j) + 0.5) / 32.0 * 2.0 * PI;
                let (s, c) = turn.sin_cos();
                let to = [x - rho * radius_m * c, -rho * radius_m * s];
                let far = (to[0] * to[0] + to[1] * to[1] + 9.0).sqrt();
                sum += emission.luminance([rho * c, rho * s], to.map(|t| t / far));
            }
        }
        sum
    };
    let full = lux(0.0);
    let radius_at = |share: f64| {
        let found = (0..1500).map(|k| f64::from(k) * 0.001);
        found
            .take_while(|x| lux(*x) > share * full)
            .last()
            .expect("lit in the middle")
    };
    radius_at(0.1) - radius_at(0.9)
}

#[test]
fn focus_runs_from_sharp_to_soft() {
    let edges: Vec<f64> = [0.0, 0.1, 0.5].into_iter().map(edge_at_3_m).collect();
    assert!(edges[0] < 0.02, "{edges:?}");
    assert!(edges[0] < edges[1] && edges[1] < edges[2], "{edges:?}");
    // Similar triangles: the lens, 10 cm wide, is spread over 10 cm · (3/s' − 1) at 3 m, of which the
    // middle 80 % of a disk's chords takes 0.687 (uniform disk, y90 − y10 = 1.3741 R).
    let m = file("lens-spot-20");
    let Pattern::Gate { distance_m, .. } = lens_spot(
        &LensSpot {
            focus: 0.1,
            ..spot_of(&m)
        },
        None,
    )
    .pattern
    else {
        panic!("a gate")
    };
    let blur = 1.3741 * 0.05 * (3.0 / distance_m - 1.0);
    near(edges[1] / blur, 1.0, 0.05);
}

#[test]
fn a_lens_spots_beam_is_the_angle_that_was_asked_for() {
    let emission = lens_spot(&spot_of(&file("lens-spot-20")), None);
    let Pattern::Gate {
        distance_m,
        radius_m,
        ..
    } = emission.pattern
    else {
        panic!("a gate")
    };
    near(
        2.0 * (radius_m / distance_m).atan().to_degrees(),
        20.0,
        1e-9,
    );
}

#[test]
fn a_lens_spot_gives_less_than_its_lamp() {
    // With a lamp small enough, the condenser's share times the transmission: .6 · .9, both from
    // memory. The emission is integrated over face and directions.
    let small = "lamp = { diameter = \"2 mm\", length = \"2 mm\" }";
    for focus in [0.0, 1.0] {
        let m = read(&format!(
            "kind = \"lens-spot\"\ndiameter = \"10 cm\"\ngate = \"40 mm\"\nbeam = \"20 deg\"\nfocus = {focus}\n{small}"
        ));
        near(lens_spot(&spot_of(&m), None).efficiency(), 0.54, 0.01);
    }
    let m = file("lens-spot-20");
    let usual = lens_spot(&spot_of(&m), None).efficiency();
    assert!((0.02..0.54).contains(&usual), "{usual}");
}

#[test]
fn a_bare_lamps_dome_is_free_of_its_head() {
    let ModifierKind::BareLamp(lamp) = file("bare-lamp-10").kind else {
        panic!("a bare lamp")
    };
    // 10 cm dome on a head 8 cm wide: 3, 4, 5. The free part is 8 cm high: 2 π R h (Archimedes).
    near(lamp.neck_m(), 0.03, 1e-12);
    let emission = bare_lamp(&lamp);
    near(emission.face.area_m2(), 2.0 * PI * 0.05 * 0.08, 1e-12);
    near(emission.efficiency(), 0.9, 1e-9);
}

#[test]
fn a_fresnels_lamp_goes_from_the_focus_toward_the_lens() {
    let m = file("fresnel-20");
    let (spot, flood) = (prescribed(&m, 0.0), prescribed(&m, 1.0));
    near(spot.lamp.centre_z_m, -0.20, 1e-12);
    near(flood.lamp.centre_z_m, -0.08, 1e-12);
    let lens = spot.lens.expect("a lens");
    assert_eq!((lens.focal_length_m, lens.radius_m), (0.2, 0.1));
    near(lens.slope_rad.to_degrees(), 1.5, 1e-9);
}

// ---- the printed scale

#[test]
fn a_rod_printed_0_for_soft_and_10_for_hard_speaks_its_marks() {
    // Common practice: many print it so.
    let m = file("paraboloid-120");
    assert_eq!(m.scale.as_ref().map(|s| s.name.as_str()), Some("rod"));
    near(m.mark_of_spread(0.0).expect("a scale"), 10.0, 1e-12);
    near(m.mark_of_spread(1.0).expect("a scale"), 0.0, 1e-12);
    near(m.spread_of_mark(3.0).expect("on it"), 0.7, 1e-12);
    assert_eq!(m.spread_of_mark(11.0), None);
    assert_eq!(file("paraboloid-75-deep").mark_of_spread(0.5), None);
}

#[test]
fn uneven_marks_lie_where_they_were_measured() {
    let m = file("paraboloid-165");
    // Ring 3 at 39 cm of a travel from 31 to 50 cm.
    let spread = m.spread_of_mark(3.0).expect("on it");
    near(spread, 8.0 / 19.0, 1e-9);
    near(m.lamp_at_m(spread).expect("travels"), 0.39, 1e-9);
    // Half way between rings 3 and 4, at 42.5 cm.
    near(m.spread_of_mark(3.5).expect("on it"), 11.5 / 19.0, 1e-9);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn marks_and_spreads_undo_each_other(steps in prop::collection::vec((0.1..3.0_f64, 0.01..1.0_f64), 2..8),
                                         falling: bool, first in -20.0..20.0_f64, share in 0.0..1.0_f64) {
        let sign = if falling { -1.0 } else { 1.0 };
        let whole: f64 = steps[1..].iter().map(|s| s.1).sum();
        let (mut mark, mut spread) = (first, 0.0);
        let mut marks = vec![[mark, spread]];
        for (step, along) in &steps[1..] {
            mark += sign * step;
            spread += along / whole;
            marks.push([mark, spread.min(1.0)]);
        }
        let scale = Scale { name: "rod".to_owned(), marks: marks.clone() };
        let at = scale.mark_of_spread(share);
        let back = scale.spread_of_mark(at).expect("on the scale");
        prop_assert!((back - share).abs() < 1e-9);
        for [mark, spread] in marks {
            prop_assert!((scale.mark_of_spread(spread) - mark).abs() < 1e-9);
        }
        prop_assert_eq!(scale.spread_of_mark(first - sign * 0.5), None);
    }
}
