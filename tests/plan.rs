//! Plans and elevations of a setup: true to scale, legible, safe to open, and the same both ways
//! between room and paper.
//!
//! Scale, mirror images and round trips are checked by geometry alone; what a plan must tell is common
//! practice.

use glam::DVec3;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use swatchlight::optics::shine::Shine;
use swatchlight::report::drawing::{Anchor, Shape, Text, png, svg, text_width_mm};
use swatchlight::report::plan::{
    Area, BeamAngles, Kind, Map, Options, Palette, Plan, SCALES, Thing, Units, View, beam_angles,
    bearing_words, draw, plain_name,
};
use swatchlight::scene::models::Models;
use swatchlight::setup::{Place, Setup, parse};

const VIEWS: [View; 3] = [View::Plan, View::Side, View::Front];
/// A sheet's box and a window's.
const SIZES_MM: [[f64; 2]; 2] = [[146.0, 110.0], [90.0, 120.0]];

fn setups() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("models/setups")
}

fn read(text: &str) -> Setup {
    let models = Models::for_setup(&setups().join("test.toml"));
    match parse(text, "test.toml", &models) {
        Ok(checked) => checked.setup,
        Err(problems) => panic!("{}", problems.render(false)),
    }
}

fn demo_files() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(setups())
        .expect("it can be listed")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 9);
    files
}

/// All demo setups, read once.
fn demos() -> Vec<(String, Setup)> {
    static DEMOS: OnceLock<Vec<(String, Setup)>> = OnceLock::new();
    let all = DEMOS.get_or_init(|| {
        demo_files()
            .into_iter()
            .map(|file| {
                let text = fs::read_to_string(&file).expect("it can be read");
                (file.display().to_string(), read(&text))
            })
            .collect()
    });
    all.clone()
}

/// A light of every width, so that beams are drawn without a trace.
fn options(setup: &Setup) -> Options {
    let widths = [12.0, 47.0, 120.0];
    Options {
        beams: (0..setup.lights.len())
            .map(|k| {
                Some(BeamAngles {
                    half_deg: [widths[k % 3]; 2],
                    tenth_deg: [1.4 * widths[k % 3]; 2],
                })
            })
            .collect(),
        ..Options::default()
    }
}

fn texts(plan: &Plan) -> Vec<&Text> {
    plan.drawing
        .shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Text(text) => Some(text),
            _ => None,
        })
        .collect()
}

/// What a text's letters take up: as far as it is wide, from the tops of capitals to the descenders.
fn letters(text: &Text) -> Area {
    let wide = text_width_mm(&text.words, text.size_mm);
    let [x, y] = text.at_mm;
    let left = match text.anchor {
        Anchor::Start => x,
        Anchor::Middle => x - 0.5 * wide,
        Anchor::End => x - wide,
    };
    Area {
        low_mm: [left, y - 0.72 * text.size_mm],
        high_mm: [left + wide, y + 0.2 * text.size_mm],
    }
}

/// No two texts share a place, and all are on the sheet.
fn assert_legible(plan: &Plan, what: &str) {
    let all = texts(plan);
    for (k, a) in all.iter().enumerate() {
        let area = letters(a);
        assert!(
            plan.field.holds_all(&area),
            "{what}: \"{}\" leaves the sheet",
            a.words
        );
        for b in &all[..k] {
            assert!(
                !area.meets(&letters(b)),
                "{what}: \"{}\" over \"{}\"",
                a.words,
                b.words
            );
        }
    }
}

/// The scale that a sheet states.
fn stated(plan: &Plan) -> f64 {
    let all = texts(plan);
    let title = all
        .iter()
        .find_map(|t| t.words.split_once(" · 1:"))
        .expect("the scale is stated");
    title.1.parse().expect("a number")
}

/// The numbers of an attribute.
fn numbers(element: &str, attribute: &str) -> Vec<f64> {
    let rest = element
        .split_once(&format!(" {attribute}=\""))
        .map_or("", |(_, rest)| rest);
    rest.split('"')
        .next()
        .unwrap_or_default()
        .split([' ', ','])
        .filter_map(|n| n.parse().ok())
        .collect()
}

#[test]
fn a_metre_of_tape_is_a_metre_at_the_stated_scale() {
    for (name, setup) in demos() {
        for view in VIEWS {
            let plan = draw(&setup, view, SIZES_MM[0], &options(&setup));
            let one_to = stated(&plan);
            assert!(SCALES.contains(&one_to), "{name}: 1:{one_to}");
            assert_eq!(one_to, plan.map.one_to);
            // The tape at the edge, as written in the file: the line that ends just before "1 m".
            let file = svg(&plan.drawing);
            let words = file
                .lines()
                .find(|l| l.ends_with(">1 m</text>"))
                .expect("the tape says its length");
            let (x, y) = (numbers(words, "x")[0], numbers(words, "y")[0]);
            let tape = file
                .lines()
                .filter(|l| l.starts_with("<polyline"))
                .map(|l| numbers(l, "points"))
                .find(|p| p.len() == 4 && p[1] == y && p[3] == y && (x - p[2] - 1.0).abs() < 2e-3)
                .expect("the tape is drawn");
            let metres = (tape[2] - tape[0]) * one_to / 1000.0;
            assert!(
                (metres - 1.0).abs() < 1e-3 * one_to / 1000.0 + 1e-9,
                "{name}: {metres}"
            );
        }
    }
}

#[test]
fn squares_are_half_a_metre() {
    let (_, setup) = demos().remove(0);
    let plan = draw(&setup, View::Plan, SIZES_MM[0], &Options::default());
    let palette = Palette::PAPER;
    let mut upright: Vec<f64> = plan
        .drawing
        .shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Path {
                points_mm, paint, ..
            } if paint
                .line
                .is_some_and(|l| [palette.squares, palette.metres].contains(&l.colour))
                && points_mm.len() == 2
                && points_mm[0][0] == points_mm[1][0] =>
            {
                Some(points_mm[0][0])
            }
            _ => None,
        })
        .collect();
    upright.sort_by(f64::total_cmp);
    assert!(upright.len() > 4);
    for pair in upright.windows(2) {
        assert!((pair[1] - pair[0] - plan.map.mm(0.5)).abs() < 1e-9);
    }
    // One of them goes through the mark.
    let through = upright
        .iter()
        .any(|x| (x - plan.map.origin_mm[0]).abs() < 1e-9);
    assert!(through);
}

#[test]
fn every_demo_fits_and_no_name_lies_over_another() {
    for (name, setup) in demos() {
        for view in VIEWS {
            for size in SIZES_MM {
                for units in [Units::Metres, Units::Feet] {
                    let mut how = options(&setup);
                    how.units = units;
                    how.selected = setup
                        .lights
                        .first()
                        .map(|l| Thing::new(Kind::Light, &*l.name));
                    let plan = draw(&setup, view, size, &how);
                    let what = format!("{name} {view:?} {size:?}");
                    assert_legible(&plan, &what);
                    for placed in &plan.placed {
                        assert!(!placed.outline_mm.is_empty(), "{what}: {:?}", placed.thing);
                        for p in &placed.outline_mm {
                            assert!(plan.field.holds(*p), "{what}: {:?} at {p:?}", placed.thing);
                        }
                    }
                    // All that is drawn stays on the sheet.
                    for shape in &plan.drawing.shapes {
                        if let Shape::Path { points_mm, .. } = shape {
                            let slack = 2.0;
                            for p in points_mm {
                                assert!(
                                    (0..2).all(|k| p[k] > -slack && p[k] < size[k] + slack),
                                    "{what}: {p:?}"
                                );
                            }
                        }
                    }
                }
            }
        }
    }
}

#[test]
fn each_light_and_board_is_named_with_its_tape() {
    for (name, setup) in demos() {
        let plan = draw(&setup, View::Plan, SIZES_MM[0], &options(&setup));
        let words: Vec<&str> = texts(&plan).iter().map(|t| t.words.as_str()).collect();
        let lights = setup.lights.iter().map(|l| (&l.name, l.place));
        let boards = setup.boards.iter().map(|b| (&b.name, b.place));
        for (thing, place) in lights.chain(boards) {
            assert!(
                words.contains(&thing.as_str()),
                "{name}: {thing} in {words:?}"
            );
            let (distance_m, bearing_rad, _) = place.taped();
            let tape = format!("{distance_m:.2} m, {}", bearing_words(bearing_rad));
            assert!(
                words.contains(&tape.as_str()),
                "{name}: {tape} in {words:?}"
            );
        }
    }
}

#[test]
fn left_is_left_and_the_camera_is_at_the_bottom() {
    let (_, setup) = demos()
        .into_iter()
        .find(|(n, _)| n.contains("focused-key"))
        .expect("a demo");
    let plan = draw(&setup, View::Plan, SIZES_MM[0], &Options::default());
    let [x0, y0] = plan.map.origin_mm;
    let at = |kind, name: &str| {
        plan.find(&Thing::new(kind, name))
            .expect("it is drawn")
            .body
            .at_mm
    };
    // The key is taped out to the left, toward the camera; the edge light to the right, behind.
    let key = at(Kind::Light, "key");
    assert!(key[0] < x0 && key[1] > y0, "{key:?}");
    let edge = at(Kind::Light, "edge");
    assert!(edge[0] > x0 && edge[1] < y0, "{edge:?}");
    assert!(at(Kind::Camera, "")[1] > y0);
    let side = draw(&setup, View::Side, SIZES_MM[0], &Options::default());
    let camera = side.find(&Thing::new(Kind::Camera, "")).expect("drawn");
    assert!(camera.body.at_mm[0] < side.map.origin_mm[0]);
    assert!(
        texts(&plan)
            .iter()
            .any(|t| t.words.contains("left and right are the camera's"))
    );
}

#[test]
fn a_mirrored_setup_is_drawn_mirrored() {
    let file = demo_files()
        .into_iter()
        .find(|f| f.ends_with("dish-beauty.toml"))
        .expect("a demo");
    // The figure itself has a left and a right; what is aimed at must have none.
    let text = fs::read_to_string(file)
        .expect("it can be read")
        .replace("aim = \"face\"", "aim = [0, 1.55, 0]");
    let mirrored = text
        .replace("deg left", "deg TURNED")
        .replace("deg right", "deg left")
        .replace("deg TURNED", "deg right");
    let (one, other) = (read(&text), read(&mirrored));
    // Least and greatest place of a light's outline from the mark, across and up the page.
    let span = |plan: &Plan, name: &str, mirror: f64| {
        let placed = plan.find(&Thing::new(Kind::Light, name)).expect("drawn");
        let mut span = [[f64::MAX, f64::MIN]; 2];
        for p in &placed.outline_mm {
            let [x0, y0] = plan.map.origin_mm;
            for (k, v) in [mirror * (p[0] - x0), p[1] - y0].into_iter().enumerate() {
                span[k] = [span[k][0].min(v), span[k][1].max(v)];
            }
        }
        span
    };
    for view in [View::Plan, View::Front] {
        let a = draw(&one, view, SIZES_MM[0], &Options::default());
        let b = draw(&other, view, SIZES_MM[0], &Options::default());
        assert_eq!(a.map.one_to, b.map.one_to);
        for light in &one.lights {
            let (p, q) = (span(&a, &light.name, 1.0), span(&b, &light.name, -1.0));
            assert!(p[0][1] - p[0][0] > 1.0, "it has a size");
            for (u, v) in p.as_flattened().iter().zip(q.as_flattened()) {
                assert!((u - v).abs() < 1e-6, "{view:?} {}: {u} {v}", light.name);
            }
        }
    }
}

#[test]
fn paper_and_room_agree_both_ways() {
    for view in VIEWS {
        for one_to in [10.0, 33.0, 75.0] {
            let map = Map {
                view,
                one_to,
                origin_mm: [71.3, 52.9],
            };
            for k in 0..200 {
                let t = f64::from(k) * 0.37;
                let room = DVec3::new(
                    4.0 * t.sin(),
                    1.5 + 1.4 * (1.7 * t).cos(),
                    5.0 * (0.6 * t).cos(),
                );
                let back = map.room_of_mm(map.mm_of_room(room), room);
                assert!(back.distance(room) < 1e-9, "{view:?} {room} {back}");
                let mm = [3.0 * t, 140.0 - t];
                let there = map.mm_of_room(map.room_of_mm(mm, room));
                assert!((there[0] - mm[0]).abs() < 1e-9 && (there[1] - mm[1]).abs() < 1e-9);
            }
        }
    }
}

#[test]
fn what_is_dragged_is_taped_out_where_it_was_dropped() {
    for (name, setup) in demos() {
        let plan = draw(&setup, View::Plan, SIZES_MM[0], &Options::default());
        for placed in plan
            .placed
            .iter()
            .filter(|p| p.movable && p.thing.kind == Kind::Light)
        {
            for step in [[0.0, 0.0], [6.0, -3.5], [-11.0, 8.25]] {
                let to = [0, 1].map(|k| placed.body.at_mm[k] + step[k]);
                let room = plan.map.room_of_mm(to, placed.body.at_m);
                let (distance_m, bearing_rad, height_m) = Place::At(room).taped();
                // Laid out on the paper with a ruler and a protractor.
                let [x, y] = [0, 1].map(|k| to[k] - plan.map.origin_mm[k]);
                let ruler_m = x.hypot(y) * plan.map.one_to / 1000.0;
                assert!((distance_m - ruler_m).abs() < 1e-9, "{name}");
                let protractor_rad = x.atan2(y);
                assert!((bearing_rad - protractor_rad).abs() < 1e-9, "{name}");
                assert_eq!(height_m, placed.body.at_m.y);
                let again = Place::Taped {
                    distance_m,
                    bearing_rad,
                    height_m,
                };
                assert!(again.point_m().distance(room) < 1e-9);
            }
            // Not dragged at all, it stands where the setup says.
            let written = placed.place.expect("a light has a place").point_m();
            let drawn = plan.map.room_of_mm(placed.body.at_mm, written);
            assert!(drawn.distance(written) < 1e-9, "{name}");
        }
    }
}

#[test]
fn names_are_inert_and_find_a_place() {
    let names = [
        "<script>alert(1)</script>&\"'",
        "\u{202e}thgil\u{2066} \u{5d0}\u{5d5}\u{5e8} \u{636}\u{648}\u{621}",
        "💡🔦\u{0}\u{7}\n\t",
        "",
    ];
    let long = "very ".repeat(20_000) + "long";
    let (_, mut setup) = demos()
        .into_iter()
        .find(|(n, _)| n.contains("white-background"))
        .expect("a demo");
    let all = names.iter().copied().chain([long.as_str()]);
    for (k, name) in all.enumerate() {
        setup.title = name.to_owned();
        match k {
            0..4 => setup.lights[k].name = name.to_owned(),
            _ => setup.boards[0].name = name.to_owned(),
        }
        setup.meter.points[0].name = name.to_owned();
        for view in VIEWS {
            let plan = draw(&setup, view, SIZES_MM[0], &options(&setup));
            assert_legible(&plan, name.get(..20).unwrap_or(name));
            let file = svg(&plan.drawing);
            assert!(!file.contains("<script") && !file.contains('\u{202e}'));
            assert!(file.chars().all(|c| c == '\n' || !c.is_control()));
            for text in texts(&plan) {
                assert!(letters(text).size_mm()[0] < 60.0, "{}", text.words.len());
            }
            png(&plan.drawing, 1.0).expect("it can be painted");
        }
    }
    assert_eq!(plain_name("key\u{200f}\u{202e}\u{7} one"), "key one");
    assert!(plain_name(&long).chars().count() < 60);
}

#[test]
fn a_crowd_of_sixty_lights_stays_legible() {
    let (_, mut setup) = demos().remove(0);
    let light = setup.lights[0].clone();
    setup.lights = (0..60)
        .map(|k| {
            let mut one = light.clone();
            one.name = format!("light number {k}");
            let t = f64::from(k);
            one.frame.origin_m = DVec3::new(2.4 * (0.7 * t).sin(), 1.0 + 0.02 * t, 2.0 * t.cos());
            one.place = Place::At(one.frame.origin_m);
            one
        })
        .collect();
    for view in VIEWS {
        let plan = draw(&setup, view, SIZES_MM[1], &options(&setup));
        assert_legible(&plan, &format!("{view:?}"));
        assert!(plan.placed.iter().all(|p| !p.outline_mm.is_empty()));
    }
}

#[test]
fn what_is_selected_is_in_the_accent_with_its_numbers() {
    let (_, setup) = demos()
        .into_iter()
        .find(|(n, _)| n.contains("focused-key"))
        .expect("a demo");
    let accent = Palette::PAPER.accent;
    let coloured = |plan: &Plan| texts(plan).iter().filter(|t| t.colour == accent).count();
    let plain = draw(&setup, View::Plan, SIZES_MM[0], &options(&setup));
    assert_eq!(coloured(&plain), 0);
    let mut how = options(&setup);
    how.selected = Some(Thing::new(Kind::Light, "key"));
    how.tapes = false;
    let plan = draw(&setup, View::Plan, SIZES_MM[0], &how);
    let words: Vec<&str> = texts(&plan)
        .into_iter()
        .filter(|t| t.colour == accent)
        .map(|t| t.words.as_str())
        .collect();
    assert!(
        ["key", "2.60 m", "50° left"]
            .iter()
            .all(|w| words.contains(w)),
        "{words:?}"
    );
    // Without tapes the others have names alone.
    assert!(!texts(&plan).iter().any(|t| t.words.contains("20° right")));
}

#[test]
fn a_drawing_can_keep_its_place_while_things_move() {
    let (_, mut setup) = demos().remove(0);
    let first = draw(&setup, View::Plan, SIZES_MM[0], &Options::default());
    setup.lights[0].frame.origin_m += DVec3::new(-3.0, 0.0, 2.0);
    let kept = Options {
        map: Some(first.map),
        ..Options::default()
    };
    assert_eq!(draw(&setup, View::Plan, SIZES_MM[0], &kept).map, first.map);
    // A map of another view is of no use.
    let side = draw(&setup, View::Side, SIZES_MM[0], &kept);
    assert_eq!(side.map.view, View::Side);
}

#[test]
fn a_pointer_finds_the_smaller_of_two() {
    let (_, setup) = demos()
        .into_iter()
        .find(|(n, _)| n.contains("white-background"))
        .expect("a demo");
    let plan = draw(&setup, View::Plan, SIZES_MM[0], &Options::default());
    let at = |mm| {
        plan.thing_at(mm, 0.8)
            .map(|k| plan.placed[k].thing.called())
    };
    let of = |kind, name: &str| {
        plan.find(&Thing::new(kind, name))
            .expect("drawn")
            .body
            .at_mm
    };
    assert_eq!(at(of(Kind::Light, "key")).as_deref(), Some("light key"));
    assert_eq!(at(of(Kind::Scrim, "frame")).as_deref(), Some("scrim frame"));
    assert_eq!(
        at(of(Kind::MeterPoint, "paper")).as_deref(),
        Some("meter point paper")
    );
    assert_eq!(at([1.0, 60.0]), None);
}

/// A spot's angles are given: intensity falls to 50 % at half its beam and to 10 % at half its field.
#[test]
fn beams_are_those_of_the_light() {
    let (_, setup) = demos()
        .into_iter()
        .find(|(n, _)| n.contains("raking-swatch"))
        .expect("a demo");
    let rake = &setup.lights[0];
    let shine = Shine::at_once(&rake.modifier).expect("a plain kind");
    let angles = beam_angles(rake, &shine).expect("it has a front");
    for k in 0..2 {
        assert!((angles.half_deg[k] - 12.0).abs() < 0.1, "{angles:?}");
        assert!((angles.tenth_deg[k] - 20.0).abs() < 0.1, "{angles:?}");
    }
    // A Lambertian face: cos θ is a half at 60 degrees, a tenth at 84.26.
    let soft = &setup.lights[1];
    let shine = Shine::at_once(&soft.modifier).expect("a plain kind");
    let angles = beam_angles(soft, &shine).expect("it has a front");
    assert!((angles.half_deg[0] - 120.0).abs() < 0.1, "{angles:?}");
    assert!((angles.tenth_deg[0] - 2.0 * 0.1_f64.acos().to_degrees()).abs() < 0.1);
    let (_, tubes) = demos()
        .into_iter()
        .find(|(n, _)| n.contains("overhead-beauty"))
        .expect("a demo");
    let tube = &tubes.lights[1];
    let shine = Shine::at_once(&tube.modifier).expect("a plain kind");
    assert_eq!(beam_angles(tube, &shine), None);
}

#[test]
fn lengths_are_written_as_taped() {
    assert_eq!(Units::Metres.length(2.204), "2.20 m");
    assert_eq!(Units::Metres.length(-0.0), "0.00 m");
    // 7 ft is 2.1336 m, an inch 25.4 mm, by definition.
    assert_eq!(Units::Feet.length(2.1336), "7 ft 0 in");
    assert_eq!(Units::Feet.length(2.1336 + 2.5 * 0.0254), "7 ft 2½ in");
    assert_eq!(Units::Feet.length(0.0127), "½ in");
    assert_eq!(bearing_words(-0.5_f64.to_radians()), "0.5° left");
    assert_eq!(bearing_words(57.0_f64.to_radians()), "57° right");
    assert_eq!(bearing_words(0.001), "0°");
}

#[test]
fn sheets_of_any_size_are_drawn() {
    let (_, setup) = demos().remove(0);
    for size in [[f64::NAN, 100.0], [0.0, 0.0], [35.0, 400.0], [1e9, 50.0]] {
        let plan = draw(&setup, View::Plan, size, &options(&setup));
        assert!(
            plan.drawing
                .size_mm
                .iter()
                .all(|v| (30.0..=2000.0).contains(v))
        );
        assert_legible(&plan, &format!("{size:?}"));
    }
}
