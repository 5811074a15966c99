//! Setups: defaults, geometry against closed forms, the shipped setups, the handbook's
//! tables, and writing a setup back.

#[path = "common/library.rs"]
mod library;

use std::collections::BTreeSet;
use std::f64::consts::PI;

use glam::DVec3;
use library::{Fake, models};
use proptest::prelude::*;
use swatchlight::photometry::exposure::Receptor;
use swatchlight::setup::{
    Aperture, Backdrop, BoardKind, CellShape, Checked, CoverSide, Facing, Finish, Framing,
    FullOutput, Kind, ModifierKind, Options, Place, Setting, Setup, Severity, Stand, SwatchPlace,
    WhiteBalance, keys, parse, parse_modifier, parse_modifier_with, parse_with, templates, to_toml,
};

fn good(text: &str) -> Checked {
    parse(text, "test.toml", &Fake).unwrap_or_else(|p| panic!("{p}\n{text}"))
}

/// A subject and a camera 4 m off with an 85 mm lens, and what else is given.
fn with(more: &str) -> Setup {
    good(&format!(
        "[figure]\nmodel = \"woman\"\n\
         [camera]\ndistance = \"4 m\"\nheight = \"1.3 m\"\naim = [0, 1.3, 0]\nfocus = \"4 m\"\n{more}"
    ))
    .setup
}

fn demos() -> Vec<(String, String)> {
    let mut all: Vec<_> = std::fs::read_dir(models().join("setups"))
        .expect("models/setups")
        .map(|entry| entry.expect("entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .map(|path| {
            let name = path
                .file_name()
                .expect("name")
                .to_string_lossy()
                .into_owned();
            (name, std::fs::read_to_string(&path).expect("text"))
        })
        .collect();
    all.sort();
    all
}

#[track_caller]
fn near(a: f64, b: f64, tolerance: f64) {
    assert!(
        (a - b).abs() <= tolerance,
        "{a} is not {b} within {tolerance}"
    );
}

#[track_caller]
fn near_point(a: DVec3, b: impl Into<DVec3>, tolerance: f64) {
    let b = b.into();
    assert!(
        a.distance(b) <= tolerance,
        "{a} is not {b} within {tolerance}"
    );
}

// ---- what stands where

#[test]
fn left_is_the_cameras_left() {
    let s = with(
        "[[light]]\nname = \"a\"\nmodifier = { kind = \"disk\", diameter = \"50 cm\" }\n\
         distance = \"2 m\"\nbearing = \"90 deg left\"\nheight = \"1.5 m\"\naim = [0, 1.5, 0]\nmeters = \"f/8\"\n",
    );
    let light = &s.lights[0];
    near_point(light.position_m(), [-2.0, 1.5, 0.0], 1e-12);
    near_point(light.direction(), [1.0, 0.0, 0.0], 1e-12);
    // What is left in the room is left in the picture.
    let [x, _] = s
        .camera
        .project(DVec3::new(-0.2, 1.3, 0.0))
        .expect("in front");
    assert!(x < 0.0);
    near_point(s.camera.right, [1.0, 0.0, 0.0], 1e-12);
    near_point(s.camera.up, [0.0, 1.0, 0.0], 1e-12);
    near_point(s.camera.position_m, [0.0, 1.3, 4.0], 1e-12);
}

#[test]
fn feet_and_inches_are_metres() {
    // 6 ft 2 in = 74 in of 25.4 mm exactly (international inch, 1959).
    let s = with(
        "[[light]]\nname = \"a\"\nmodifier = { kind = \"globe\", diameter = \"4 in\" }\n\
         distance = \"7 ft\"\nheight = \"6 ft 2 in\"\nmeters = \"f/8\"\n",
    );
    near_point(
        s.lights[0].position_m(),
        [0.0, 74.0 * 0.0254, 84.0 * 0.0254],
        1e-12,
    );
}

#[test]
fn feathering_turns_off_the_aim_by_its_angle() {
    let light = |feather: &str| {
        with(&format!(
            "[[light]]\nname = \"a\"\nmodifier = {{ kind = \"panel\", size = \"50 x 50 cm\" }}\n\
             distance = \"2 m\"\nbearing = \"90 deg left\"\nheight = \"1.5 m\"\naim = [0, 1.5, 0]\n\
             meters = \"f/8\"\nfeather = {feather}\n"
        ))
        .lights[0]
            .clone()
    };
    let a = 15_f64.to_radians();
    // A light at the left that points right (+x), turned toward the camera (+z).
    near_point(
        light("\"15 deg toward camera\"").direction(),
        [a.cos(), 0.0, a.sin()],
        1e-12,
    );
    near_point(
        light("\"15 deg background\"").direction(),
        [a.cos(), 0.0, -a.sin()],
        1e-12,
    );
    near_point(
        light("[\"15 deg up\"]").direction(),
        [a.cos(), a.sin(), 0.0],
        1e-12,
    );
    // The aim stays what it was, for the table.
    near_point(light("\"15 deg down\"").aim_point_m, [0.0, 1.5, 0.0], 1e-12);
}

#[test]
fn an_upright_board_faces_what_it_aims_at_with_its_width_level() {
    let s = with(
        "[[board]]\nname = \"b\"\nfinish = \"white\"\nsize = \"1 x 2 m\"\ndistance = \"1 m\"\n\
         bearing = \"90 deg right\"\nheight = \"1.0 m\"\naim = [0, 1, 0]\n",
    );
    let board = &s.boards[0];
    near_point(board.frame.z, [-1.0, 0.0, 0.0], 1e-12);
    near_point(board.frame.y, [0.0, 1.0, 0.0], 1e-12);
    near_point(
        board.frame.corners(board.size_m)[0],
        [1.0, 0.0, -0.5],
        1e-12,
    );
    assert_eq!(board.thickness_m, 0.01);
}

#[test]
fn a_turned_figure_takes_its_points_along() {
    let text = "[figure]\nmodel = \"woman\"\nturn = \"90 deg left\"\n\
                [camera]\nframing = \"full-length\"\n";
    let figure = good(text).setup.figure.expect("figure");
    // Facing the camera's left: what was in front (+z) is at -x.
    near_point(figure.room_from_figure(DVec3::Z), [-1.0, 0.0, 0.0], 1e-12);
    // The chest of the stand-in's facts is at (0.02, 1.3, 0.12).
    near_point(figure.body_points_m["chest"], [-0.12, 1.3, 0.02], 1e-12);
}

// ---- the camera

#[test]
fn the_field_of_view_is_that_of_a_thin_lens() {
    // S7.fov: 36 mm side, 85 mm, focused at 4 m: 1658.1176 mm (similar triangles).
    let s = with("");
    let [_, half] = s.camera.half_tan();
    near(2.0 * half * 4000.0, 1658.1176, 1e-3);
    // Portrait 2:3 unless said.
    assert_eq!(s.camera.pixels, [800, 1200]);
    near(s.camera.picture_m[0], 0.024, 1e-15);
}

#[test]
fn a_framing_fills_the_picture_exactly() {
    for framing in ["full-length", "three-quarter", "half", "beauty"] {
        for (more, name) in [
            ("", "plain"),
            ("upright = true\nheight = \"1 m\"\n", "upright"),
            ("height = \"1.5 m\"\nbearing = \"10 deg right\"\n", "tilted"),
        ] {
            let s = good(&format!(
                "[figure]\nmodel = \"woman\"\n[camera]\nframing = \"{framing}\"\n{more}"
            ))
            .setup;
            let camera = &s.camera;
            // The aim is the middle of the picture.
            let [x, y] = camera.project(camera.aim_point_m).expect("in front");
            near(x.hypot(y), 0.0, 1e-9);
            if name != "tilted" {
                // The crown (1.76 m) plus its margin is the upper edge.
                let margin = match framing {
                    "half" => 1.05,
                    "beauty" => 1.035,
                    _ => 1.06,
                };
                let top = DVec3::new(camera.aim_point_m.x, 1.76 * margin, camera.aim_point_m.z);
                near(camera.project(top).expect("in front")[1], 1.0, 1e-9);
            }
        }
    }
}

#[test]
fn an_upright_camera_keeps_verticals_vertical() {
    let s = good(
        "[figure]\nmodel = \"woman\"\n\
         [camera]\nframing = \"full-length\"\nheight = \"0.6 m\"\nupright = true\n",
    )
    .setup;
    near(s.camera.direction.y, 0.0, 1e-12);
    let column = |y: f64| {
        s.camera
            .project(DVec3::new(0.4, y, -1.0))
            .expect("in front")[0]
    };
    near(column(0.0), column(3.0), 1e-12);
    assert!(
        s.camera.shift_tan[1] > 0.0,
        "the lens is low, so the picture rises"
    );
}

#[test]
fn framing_and_distance_choose_the_lens() {
    let s = good(
        "[figure]\nmodel = \"woman\"\n\
         [camera]\nframing = \"full-length\"\ndistance = \"6 m\"\n",
    )
    .setup;
    near(s.camera.position_m.z, 6.0, 1e-12);
    let top = DVec3::new(0.0, 1.76 * 1.06, 0.0);
    near(s.camera.project(top).expect("in front")[1], 1.0, 1e-9);
    // Framed at infinity the lens would be 6 m x 36 mm over the field.
    near(s.camera.focal_length_m, 6.0 * 0.036 / (1.11 * 1.76), 0.004);
}

#[test]
fn a_swatch_framing_looks_along_the_swatchs_normal() {
    let s = good(
        "[swatch]\nfabric = \"linen-slub\"\nat = [0, 0.8, 0]\nfacing = \"up\"\n\
         [camera]\nframing = \"swatch\"\npixels = \"600 x 600\"\n",
    )
    .setup;
    near_point(s.camera.direction, [0.0, -1.0, 0.0], 1e-12);
    // From above, the top of the picture is toward the background.
    near_point(s.camera.up, [0.0, 0.0, -1.0], 1e-12);
    // 112 % of 10 cm on 24 mm with 85 mm: s = f (1 + field/sensor).
    near(
        s.camera.position_m.y - 0.8,
        0.085 * (1.0 + 0.112 / 0.024),
        1e-9,
    );
    assert_eq!(s.camera.framing, Some(Framing::Swatch));
}

#[test]
fn pixels_of_another_shape_crop_the_sensor() {
    let camera = |more: &str| with(more).camera;
    let portrait = camera("pixels = \"900 x 1200\"\n");
    near(portrait.picture_m[0], 0.024, 1e-15);
    near(portrait.picture_m[1], 0.032, 1e-15);
    let landscape = camera("pixels = \"1200 x 600\"\n");
    near(landscape.picture_m[0], 0.036, 1e-15);
    near(landscape.picture_m[1], 0.018, 1e-15);
    assert_eq!(camera("orientation = \"landscape\"\n").pixels, [1200, 800]);
    let laid_over = parse_with(
        "[figure]\nmodel = \"woman\"\n[camera]\nframing = \"half\"\npixels = \"800 x 1200\"\n",
        "t",
        &Fake,
        Options {
            pixels: Some([600, 600]),
        },
    )
    .expect("good")
    .setup;
    assert_eq!(laid_over.camera.pixels, [600, 600]);
    near(laid_over.camera.picture_m[1], 0.024, 1e-15);
    let top = DVec3::new(0.0, 1.76 * 1.05, 0.0);
    near(
        laid_over.camera.project(top).expect("in front")[1],
        1.0,
        1e-9,
    );
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn projecting_undoes_a_ray(x in -1.0..1.0, y in -1.0..1.0, far in 0.2..20.0_f64,
                               height in 0.3..2.5_f64, upright: bool) {
        let s = good(&format!(
            "[figure]\nmodel = \"woman\"\n[camera]\nframing = \"full-length\"\n\
             height = \"{height} m\"\nupright = {upright}\n"
        )).setup;
        let p = s.camera.position_m + s.camera.ray([x, y]) * far;
        let back = s.camera.project(p).expect("in front");
        prop_assert!((back[0] - x).abs() < 1e-9 && (back[1] - y).abs() < 1e-9);
    }
}

// ---- lights

#[test]
fn outputs_in_all_their_units() {
    let light = |lines: &str| {
        with(&format!(
            "[[light]]\nname = \"a\"\nmodifier = {{ kind = \"globe\", diameter = \"20 cm\" }}\n\
             distance = \"2 m\"\nbearing = \"60 deg left\"\nheight = \"2.5 m\"\n{lines}\n"
        ))
        .lights[0]
            .clone()
    };
    // 500 J x 30 lm s/J, a quarter of it (the worked example of the yield, without its fixture).
    let flash = light("output = \"500 J\"\nyield = \"30 lm s/J\"\npower = \"1/4\"");
    near(flash.output.set_amount().expect("set"), 3750.0, 1e-9);
    assert!(!flash.output.continuous);
    let stops = light("output = \"9000 lm s\"\npower = \"-1.3 stops\"");
    near(
        stops.output.set_amount().expect("set"),
        9000.0 * 2_f64.powf(-1.3),
        1e-9,
    );
    let burning = light("output = \"5000 lm\"\npower = \"25 %\"");
    near(burning.output.set_amount().expect("set"), 1250.0, 1e-9);
    assert!(burning.output.continuous);
    // A head says what it can give: 400 J down to 12.5 J is five stops, in tenths.
    let head = light(
        "meters = \"f/5.6\"\nhead = { energy = \"400 J\", least = \"12.5 J\", step = \"1/10 stop\" }",
    );
    let range = head.head.expect("range");
    near(range.least.stops(), -5.0, 1e-9);
    near(range.step_stops, 0.1, 1e-12);
    assert_eq!(head.output.set_amount(), None, "solved later");
    assert!(matches!(
        head.output.full,
        Some(FullOutput::FlashEnergy {
            energy_j: 400.0,
            ..
        })
    ));
    let Setting::Meters { f_number, at } = &head.output.setting else {
        panic!("metered")
    };
    assert_eq!((*f_number, at.name.as_str()), (5.6, "chest"));
    // Gels add in mired, filters multiply.
    let gels = light(
        "meters = \"f/8\"\ncolour = \"3200 K\"\ngel = [\"+20 mired\", \"-50 mired\", [1, 0.5, 0.25], [0.5, 0.5, 0.5]]",
    );
    near(gels.colour.gel_mired, -30.0, 1e-12);
    assert_eq!(gels.colour.filter, [0.5, 0.25, 0.125]);
    assert_eq!(
        light("meters = \"f/8\"\ngel = [1, 0.5, 0.25]")
            .colour
            .filter,
        [1.0, 0.5, 0.25]
    );
}

#[test]
fn grids_by_angle_and_by_cells() {
    let grid = |grid: &str| {
        with(&format!(
            "[[light]]\nname = \"a\"\nmodifier = {{ kind = \"strip\", size = \"0.3 x 1.4 m\" }}\n\
             distance = \"2 m\"\nbearing = \"60 deg left\"\nheight = \"1.8 m\"\nmeters = \"f/8\"\ngrid = {grid}\n"
        ))
        .lights[0]
            .modifier
            .grid
            .expect("grid")
    };
    // Cut-off atan(cell / depth), both sides of the axis: 40 degrees in all.
    near(grid("\"40 deg\"").cutoff_rad(), 20_f64.to_radians(), 1e-12);
    let cells = grid("{ cell = \"5 cm\", depth = \"5 cm\", shape = \"square\", open = 0.9 }");
    near(cells.cutoff_rad(), PI / 4.0, 1e-12);
    assert_eq!((cells.shape, cells.open_fraction), (CellShape::Square, 0.9));
}

/// A light at the left with a modifier and more lines.
fn lit(modifier: &str, lines: &str) -> Setup {
    with(&format!(
        "[[light]]\nname = \"a\"\nmodifier = {modifier}\ndistance = \"3 m\"\nbearing = \"70 deg left\"\n\
         height = \"1.8 m\"\nmeters = \"f/8\"\n{lines}"
    ))
}

#[test]
fn a_light_puts_on_and_takes_off() {
    let light = |lines: &str| lit("\"softbox-30x120-egg-crate\"", lines).lights[0].clone();
    let own = light("").modifier;
    // As deep as wide: 45 degrees.
    near(own.grid.expect("its own").cutoff_rad(), PI / 4.0, 1e-12);
    assert!(own.cloth.is_some() && own.baffle.is_some() && own.skirt_m.is_none());
    let bare = light("cloth = \"none\"\nbaffle = \"none\"\ngrid = \"none\"\n").modifier;
    assert!(bare.cloth.is_none() && bare.baffle.is_none() && bare.grid.is_none());
    let clad =
        light("skirt = \"25 cm\"\ncover = { side = \"top\", share = 0.4 }\ncloth = \"full\"\n");
    assert_eq!(clad.modifier.skirt_m, Some(0.25));
    let cover = clad.modifier.cover.expect("a cover");
    assert_eq!((cover.side, cover.share), (CoverSide::Top, 0.4));
    near(clad.modifier.cloth.expect("full").scattered, 0.297, 1e-12);
    // What it does not speak of stays.
    assert_eq!(clad.modifier.grid, own.grid);
    assert_eq!(clad.spread, None);
}

#[test]
fn spread_is_set_by_number_by_mark_or_half_way() {
    let set = |modifier: &str, lines: &str| {
        let light = lit(modifier, lines).lights[0].clone();
        (light.spread, light.by_mark)
    };
    let paraboloid = "\"paraboloid-120\"";
    assert_eq!(set(paraboloid, ""), (Some(0.5), false));
    assert_eq!(set(paraboloid, "spread = 0.25\n"), (Some(0.25), false));
    // Printed 10 (tight) to 0 (wide).
    for mark in ["\"3\"", "3", "3.0"] {
        let (spread, by_mark) = set(paraboloid, &format!("mark = {mark}\n"));
        near(spread.expect("set"), 0.7, 1e-12);
        assert!(by_mark);
    }
    assert_eq!(set("\"octabox-140\"", ""), (None, false));
    let ModifierKind::LensSpot(spot) = lit("\"lens-spot-20\"", "focus = 0.6\n").lights[0]
        .modifier
        .kind
    else {
        panic!("a lens-spot")
    };
    assert_eq!(spot.focus, 0.6);
}

#[test]
fn scrim_cloths_lose_their_stops() {
    let cloth = |cloth: &str| {
        let s = with(&format!(
            "[[scrim]]\nname = \"s\"\ncloth = {cloth}\nsize = \"1 x 1 m\"\ndistance = \"1.5 m\"\n\
             bearing = \"60 deg left\"\nheight = \"1.5 m\"\n"
        ));
        let BoardKind::Scrim(cloth) = s.boards[0].kind else {
            panic!("a scrim")
        };
        cloth
    };
    // Common practice: light ½ stop, half 1 stop, full 1¾ stops.
    for (word, stops) in [
        ("\"light\"", 0.5),
        ("\"half\"", 1.0),
        ("\"full\"", 1.75),
        ("\"2 stops\"", 2.0),
    ] {
        let c = cloth(word);
        near((c.straight + c.scattered).log2(), -stops, 0.005);
        assert!(c.straight + c.scattered + c.reflected <= 1.0);
    }
    let own = cloth("{ straight = 0.5, scattered = 0.2 }");
    assert_eq!((own.straight, own.scattered), (0.5, 0.2));
    near(own.reflected, 0.15, 1e-12);
}

// ---- defaults

#[test]
fn a_short_setup_gets_usual_values() {
    let s = good("[figure]\nmodel = \"woman\"\n[camera]\nframing = \"full-length\"\n").setup;
    assert!(s.room.shell.is_none() && s.backdrop == Backdrop::None);
    let figure = s.figure.as_ref().expect("figure");
    assert_eq!(
        (figure.spec.pose.as_str(), figure.spec.fabric.as_str()),
        ("front", "cotton-plain")
    );
    assert_eq!(s.camera.f_number, Aperture::AsMetered);
    assert_eq!((s.camera.iso, s.camera.shutter_s), (100.0, 1.0 / 125.0));
    assert_eq!(s.camera.white_balance, WhiteBalance::GreyCard);
    near(s.camera.focal_length_m, 0.085, 1e-15);
    // ISO 2720 usual values: 250 flat, 330 dome, 12.5 reflected.
    let c = s.meter.constants;
    assert_eq!((c.flat, c.dome, c.reflected_k), (250.0, 330.0, 12.5));
    assert_eq!(s.meter.expose_at.name, "chest");
    assert_eq!(s.meter.expose_at.receptor, Receptor::Flat);
    let names: Vec<_> = s.meter.points.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["face", "chest", "hem"]);
    // Receptors face the lens.
    let chest = &s.meter.points[1];
    near_point(
        chest.direction,
        (s.camera.position_m - chest.position_m).normalize(),
        1e-12,
    );
}

#[test]
fn a_room_is_centred_on_the_mark_unless_told() {
    let shell = |lines: &str| {
        let room = with(&format!("[room]\nsize = \"6 x 10 x 3.2 m\"\n{lines}")).room;
        room.shell.expect("closed")
    };
    let half = shell("");
    assert_eq!((half.x_m, half.z_m), ([-3.0, 3.0], [-5.0, 5.0]));
    assert_eq!(half.height_m, 3.2);
    let told =
        shell("behind = \"2 m\"\nleft = \"4 m\"\nreflectance = { walls = 0.6, back_wall = 0.1 }\n");
    assert_eq!((told.x_m, told.z_m), ([-4.0, 2.0], [-2.0, 8.0]));
    assert_eq!(told.walls_reflectance, [0.6; 3]);
    assert_eq!(told.back_wall_reflectance, [0.1; 3]);
}

#[test]
fn a_meter_point_may_borrow_a_listed_one() {
    let s = with(
        "[meter]\nexpose_at = \"cheek\"\npoints = [\"chest\", { name = \"cheek\", at = \"left-cheek\", \
         facing = [1, 0, 1], receptor = \"dome\" }, { at = [0.3, 1, 0.4], facing = \"up\" }, \"floor\"]\n",
    );
    assert_eq!(s.meter.expose_at, s.meter.points[1]);
    assert_eq!(s.meter.expose_at.receptor, Receptor::Dome);
    near_point(
        s.meter.expose_at.direction,
        [0.5_f64.sqrt(), 0.0, 0.5_f64.sqrt()],
        1e-12,
    );
    assert_eq!(s.meter.points[2].name, "at 0.3, 1, 0.4");
    assert_eq!(s.meter.points[3].direction, DVec3::Y);
}

// ---- the shipped files

#[test]
fn shipped_setups_are_clean() {
    let demos = demos();
    assert!(demos.len() >= 6, "six setups at least");
    for (name, text) in demos {
        assert!(
            text.starts_with("# Invented"),
            "{name} must say that it is invented"
        );
        let checked = parse(&text, &name, &Fake).unwrap_or_else(|p| panic!("{p}"));
        let warnings: Vec<_> = checked.notes.of(Severity::Warning).collect();
        assert!(warnings.is_empty(), "{name}: {warnings:?}");
        assert!(!checked.setup.title.is_empty(), "{name} has a title");
    }
}

#[test]
fn shipped_setups_use_everything_between_them() {
    let mut seen = BTreeSet::new();
    for (name, text) in demos() {
        let s = good(&text).setup;
        seen.insert(if s.room.shell.is_some() {
            "closed room"
        } else {
            "open room"
        });
        if s.camera.upright {
            seen.insert("upright");
        }
        seen.insert(match s.camera.framing {
            Some(Framing::FullLength) => "full-length",
            Some(Framing::ThreeQuarter) => "three-quarter",
            Some(Framing::Half) => "half",
            Some(Framing::Beauty) => "beauty",
            Some(Framing::Swatch) => "swatch",
            None => "no framing",
        });
        seen.insert(match s.camera.f_number {
            Aperture::Set(n) => {
                assert!((5.6..=11.0).contains(&n), "{name}");
                "set f-number"
            }
            Aperture::AsMetered => "as metered",
        });
        assert_eq!(s.camera.iso, 100.0, "{name}");
        for light in &s.lights {
            seen.insert(light.modifier.kind.word());
            seen.insert(match (&light.output.full, &light.output.setting) {
                (_, Setting::Meters { f_number, .. }) => {
                    assert!((2.8..=11.0).contains(f_number), "{name}");
                    "meters"
                }
                (Some(FullOutput::FlashEnergy { .. }), _) => "energy and power",
                (Some(FullOutput::LuminousEnergy { .. }), _) => "lm s",
                (Some(FullOutput::Flux { .. }), _) => "lm",
                (None, _) => "nothing",
            });
            seen.insert(match light.place {
                Place::Taped { .. } => "taped",
                Place::At(_) => "coordinates",
            });
            let marks = [
                ("grid", light.modifier.grid.is_some()),
                ("gel", light.colour.gel_mired != 0.0),
                ("filter", light.colour.filter != [1.0; 3]),
                ("off", !light.on),
                ("head", light.head.is_some()),
                ("boom", light.stand == Stand::Boom),
                ("feather", !light.aim.feather.is_empty()),
            ];
            seen.extend(marks.iter().filter(|(_, on)| *on).map(|(mark, _)| *mark));
        }
        for board in &s.boards {
            seen.insert(board.kind.word());
            if let BoardKind::Board { front, .. } = board.kind {
                seen.insert(match front {
                    Finish::White => "white",
                    Finish::Black => "black",
                    Finish::Silver => "silver",
                    Finish::Grey18 => "grey",
                    Finish::Reflectance(_) => "reflectance",
                });
            }
        }
        if text.contains(" ft ") {
            seen.insert("feet");
        }
    }
    for wanted in [
        "closed room",
        "open room",
        "upright",
        "full-length",
        "three-quarter",
        "half",
        "beauty",
        "swatch",
        "set f-number",
        "as metered",
        "panel",
        "disk",
        "globe",
        "tube",
        "strip",
        "spot",
        "grid",
        "gel",
        "filter",
        "off",
        "head",
        "boom",
        "feather",
        "meters",
        "energy and power",
        "lm s",
        "lm",
        "taped",
        "coordinates",
        "board",
        "flag",
        "scrim",
        "white",
        "black",
        "silver",
        "grey",
        "feet",
    ] {
        assert!(seen.contains(wanted), "no shipped setup uses {wanted}");
    }
}

#[test]
fn templates_are_clean_whatever_the_title() {
    for template in &templates::TEMPLATES {
        for title in ["Linen", "\"\"\" = \\ 'x'\n\u{7}", ""] {
            let checked = good(&template.text(title));
            assert_eq!(
                checked.notes.of(Severity::Warning).count(),
                0,
                "{}",
                template.kind
            );
        }
        assert_eq!(
            good(&template.text("A \"b\" \\c")).setup.title,
            "A \"b\" \\c"
        );
        assert!(
            template.text("").matches('#').count() >= 4,
            "{} is commented",
            template.kind
        );
    }
    assert_eq!(templates::template("side").map(|t| t.kind), Some("side"));
    assert_eq!(templates::template("nothing"), None);
}

#[test]
fn shipped_modifiers_are_clean() {
    let folder = models().join("modifiers");
    let mut kinds = BTreeSet::new();
    for entry in std::fs::read_dir(folder).expect("models/modifiers") {
        let path = entry.expect("entry").path();
        if path.extension().is_none_or(|e| e != "toml") {
            continue;
        }
        let text = std::fs::read_to_string(&path).expect("text");
        let name = path
            .file_stem()
            .expect("name")
            .to_string_lossy()
            .into_owned();
        let read = parse_modifier_with(&text, &name, &name, &Fake);
        let (modifier, notes) = read.unwrap_or_else(|p| panic!("{p}"));
        assert!(notes.is_empty(), "{notes}");
        kinds.insert(modifier.kind.word());
    }
    for kind in [
        "panel",
        "disk",
        "globe",
        "tube",
        "strip",
        "spot",
        "paraboloid",
        "softbox",
        "octabox",
        "umbrella",
        "shoot-through",
        "dish",
        "bowl",
        "lens-spot",
        "fresnel",
        "bare-lamp",
        "measured",
    ] {
        assert!(kinds.contains(kind), "no shipped {kind}");
    }
    let spot = parse_modifier(
        "kind = \"spot\"\nbeam = \"15 deg\"\nfield = \"24 deg\"",
        "s",
        "s",
    );
    let ModifierKind::Spot { beam_rad, .. } = spot.expect("good").kind else {
        panic!("a spot")
    };
    near(beam_rad, 15_f64.to_radians(), 1e-12);
}

/// The handbook's tables are made from the parser's keys. When this fails, put the printed
/// section into docs/setup-file.md.
#[test]
fn the_handbook_lists_every_key() {
    let path = models().join("../docs/setup-file.md");
    let text = std::fs::read_to_string(path).expect("docs/setup-file.md");
    for section in keys::handbook().split_inclusive("\n\n### ") {
        let section = section.trim_end_matches("\n\n### ").trim_end();
        assert!(
            text.contains(section),
            "docs/setup-file.md lacks:\n{section}\n"
        );
    }
    // And every setup in the handbook is a good one.
    let mut examples = 0;
    for block in text.split("```toml\n").skip(1) {
        let example = block.split("```").next().unwrap_or_default();
        if example.contains("[camera]") {
            good(example);
            examples += 1;
        }
    }
    assert!(examples >= 1);
}

// ---- writing back

/// Numbers in a text, for comparing within a tolerance.
fn numbers(text: &str) -> (Vec<f64>, String) {
    let mut found = Vec::new();
    let mut rest = String::new();
    let mut number = String::new();
    for c in text.chars().chain(" ".chars()) {
        let goes_on = match c {
            '-' => number.is_empty() || number.ends_with('e'),
            '.' | 'e' => !number.is_empty(),
            _ => c.is_ascii_digit(),
        };
        if goes_on {
            number.push(c);
            continue;
        }
        match number.parse::<f64>() {
            Ok(n) => found.push(n),
            Err(_) => rest.push_str(&number),
        }
        number.clear();
        rest.push(c);
    }
    (found, rest)
}

/// The same setup to the nanometre.
#[track_caller]
fn same(a: &Setup, b: &Setup) {
    let (na, ra) = numbers(&format!("{a:#?}"));
    let (nb, rb) = numbers(&format!("{b:#?}"));
    for (la, lb) in ra.lines().zip(rb.lines()) {
        assert_eq!(la, lb);
    }
    assert_eq!(na.len(), nb.len());
    for (x, y) in na.iter().zip(&nb) {
        near(*x, *y, 2e-8 * (1.0 + x.abs()));
    }
}

#[test]
fn setups_survive_writing_and_reading() {
    let templates = templates::TEMPLATES
        .iter()
        .map(|t| (t.kind.to_owned(), t.text("Round")));
    for (name, text) in demos().into_iter().chain(templates) {
        let first = good(&text).setup;
        let written = to_toml(&first);
        let second = parse(&written, &name, &Fake)
            .unwrap_or_else(|p| panic!("{p}\n{written}"))
            .setup;
        same(&first, &second);
        assert_eq!(to_toml(&second), written, "{name}: writing is stable");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_place_survives(distance in 1.0..6.0_f64, bearing in -170.0..170.0_f64, height in 0.8..2.4_f64,
                          roll in -90.0..90.0_f64, offset in 0.5..1.2_f64, f in 2.0..16.0_f64,
                          name in "[\\p{L}\\p{N}\"\\\\'#=\\[\\]]{1,12}") {
        let side = if bearing < 0.0 { "left" } else { "right" };
        let name = toml::Value::String(name).to_string();
        let text = format!(
            "[figure]\nmodel = \"woman\"\n[swatch]\noffset = \"{offset} m left\"\n\
             [camera]\nframing = \"full-length\"\n\
             [[light]]\nname = {name}\nmodifier = {{ kind = \"panel\", size = \"20 x 30 cm\" }}\n\
             distance = \"{distance} m\"\nbearing = \"{} deg {side}\"\nheight = \"{height} m\"\n\
             roll = \"{roll} deg\"\nmeters = \"f/{f}\"\n", bearing.abs());
        let first = parse(&text, "t", &Fake);
        // The few that stand where the camera is are refused, and that is fine.
        prop_assume!(first.is_ok());
        if let Ok(checked) = first {
            let again = parse(&to_toml(&checked.setup), "t", &Fake).expect("written setups are good");
            same(&checked.setup, &again.setup);
            let light = &again.setup.lights[0];
            let p = light.position_m();
            prop_assert!((p.x.hypot(p.z) - distance).abs() < 1e-7 && (p.y - height).abs() < 1e-7);
            prop_assert!((light.frame.x.cross(light.frame.y) - light.frame.z).length() < 1e-9);
            let facing = matches!(again.setup.swatch.as_ref().map(|s| &s.place), Some(SwatchPlace::Beside { .. }));
            prop_assert!(facing);
        }
    }
}

/// An inline modifier of a traced kind with most of its keys, and what a light puts on it.
fn any_traced() -> impl Strategy<Value = (String, String)> {
    let sizes = (0.3..1.8_f64, 0.28..0.5_f64, 0.02..0.05_f64, 0.06..0.1_f64);
    let shares = (0.0..1.0_f64, 0.05..0.6_f64, 1.0..12.0_f64);
    let words = (
        prop::sample::select(vec![
            "paraboloid",
            "softbox",
            "octabox",
            "umbrella",
            "shoot-through",
            "dish",
            "bowl",
            "lens-spot",
            "fresnel",
            "bare-lamp",
        ]),
        prop::sample::select(vec!["silver", "hammered", "polished", "white", "black"]),
        prop::sample::select(vec!["\"light\"", "\"half\"", "\"none\"", "\"1.3 stops\""]),
        prop::sample::select(vec!["\"egg-crate\"", "\"30 deg\"", "\"none\""]),
        prop::sample::select(vec!["left", "right", "top", "bottom"]),
        (3..33_u32, any::<bool>()),
    );
    (sizes, shares, words).prop_map(|(sizes, shares, words)| {
        let (d, deep, lamp_d, lamp_l) = sizes;
        let (x, share, slope) = shares;
        let (kind, finish, cloth, grid, cover_side, (sides, more)) = words;
        let h = d * deep;
        let lamp = format!("lamp = {{ diameter = \"{lamp_d} m\", length = \"{lamp_l} m\" }}");
        let finish = if more && !["white", "black"].contains(&finish) {
            format!("finish = {{ surface = \"{finish}\", reflectance = {share}, slope = \"{slope} deg\", panels = \"{sides} x 12\" }}")
        } else if more {
            format!("finish = {{ surface = \"{finish}\", reflectance = {share} }}")
        } else {
            format!("finish = \"{finish}\"")
        };
        let round = format!("diameter = \"{d} m\", depth = \"{h} m\", sides = {sides}, {lamp}");
        let travel = format!("travel = {{ tight = \"{} m\", wide = \"{} m\" }}", 0.5 * h, 0.5 * h + 0.004 + 0.1 * x * h);
        let scale = format!("scale = {{ marks = [[{}, 0], [{}, {share}], [-3, 1]], name = \"é\" }}", 7.0 + x, 6.5 * x);
        let own_cloth = format!("cloth = {{ straight = {}, spread = {share}, sigma = 0.2, scattered = 0.1, reflected = 0.1 }}", 0.2 * x);
        let inline = match kind {
            "paraboloid" => format!("{round}, {finish}, {travel}, {scale}, title = \"t\""),
            "softbox" => format!("size = \"{d} x {} m\", depth = \"{h} m\", {finish}, recess = \"{} m\", {lamp}, housing = {{ diameter = \"8 cm\", length = \"5 cm\" }}", d * 0.7, 0.2 * h * x),
            "octabox" => format!("{round}, {finish}, recess = \"{} m\"", 0.2 * h * x),
            "umbrella" if more => format!("{round}, {finish}, {travel}, {scale}, housing = \"none\""),
            "umbrella" => format!("{round}, {finish}, shape = \"parabola\", lamp_at = \"{} m\"", d * (0.2 + x)),
            "shoot-through" if more => format!("{}, {own_cloth}", round.replace(&lamp, "cup = \"15 cm\"")),
            "shoot-through" => format!("{round}, {own_cloth}"),
            "dish" => format!("{round}, {finish}, plate = \"{} m\"", d * 0.4 * share),
            "bowl" if more => format!("{round}, {finish}, shape = \"cone\", back = \"{} m\"", d * share),
            "bowl" => format!("{round}, {finish}, shape = \"sphere\", {travel}"),
            "lens-spot" => format!("diameter = \"{} m\", gate = \"{} m\", beam = \"{} deg\", focus = {x}, transmission = {share}, {lamp}", 0.3 * d, 0.1 * d, 10.0 + 3.0 * slope),
            "fresnel" => format!("diameter = \"{d} m\", focal_length = \"{} m\", haze = \"{} deg\", {lamp}", 0.2 + 0.3 * d, 1.0 + 0.2 * slope),
            _ => format!("diameter = \"{} m\", transmission = {share}", 0.2 * d),
        };
        let modifier = format!("{{ kind = \"{kind}\", {inline} }}");
        let flat = !["shoot-through", "bare-lamp"].contains(&kind);
        let mut lines = String::new();
        if flat {
            lines += &format!("grid = {grid}\nskirt = \"{} m\"\ncover = {{ side = \"{cover_side}\", share = {share} }}\n", 0.1 + 0.2 * x);
        }
        if flat && !["umbrella", "lens-spot"].contains(&kind) {
            lines += &format!("cloth = {cloth}\n");
        }
        match kind {
            "softbox" | "octabox" => lines += &own_cloth.replace("cloth", "baffle"),
            "paraboloid" if more => lines += &format!("mark = {}\n", -3.0 + 10.0 * x),
            "paraboloid" | "fresnel" => lines += &format!("spread = {x}\n"),
            "lens-spot" => lines += &format!("focus = {x}\n"),
            _ => {}
        }
        (modifier, lines)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, max_global_rejects: 4000, ..ProptestConfig::default() })]

    #[test]
    fn any_traced_modifier_survives((modifier, lines) in any_traced()) {
        let text = format!(
            "[figure]\nmodel = \"woman\"\n[camera]\nframing = \"full-length\"\n\
             [[light]]\nname = \"a\"\nmodifier = {modifier}\ndistance = \"5 m\"\n\
             bearing = \"70 deg left\"\nheight = \"2.5 m\"\nmeters = \"f/8\"\n{lines}\n");
        // Some of them cannot be built, and are refused.
        let first = parse(&text, "t", &Fake);
        prop_assume!(first.is_ok());
        if let Ok(checked) = first {
            let written = to_toml(&checked.setup);
            let again = parse(&written, "t", &Fake).unwrap_or_else(|p| panic!("{p}"));
            same(&checked.setup, &again.setup);
            prop_assert_eq!(to_toml(&again.setup), written);
        }
    }
}

#[test]
fn shipped_modifiers_survive_as_they_are_and_as_a_light_has_them() {
    for entry in std::fs::read_dir(models().join("modifiers")).expect("models/modifiers") {
        let path = entry.expect("entry").path();
        if path.extension().is_none_or(|e| e != "toml") {
            continue;
        }
        let name = path
            .file_stem()
            .expect("name")
            .to_string_lossy()
            .into_owned();
        let first = lit(&format!("\"{name}\""), "");
        let mut bare = first.clone();
        let modifier = &mut bare.lights[0].modifier;
        (modifier.cloth, modifier.baffle, modifier.grid) = (None, None, None);
        for setup in [first, bare] {
            let written = to_toml(&setup);
            let again = parse(&written, "t", &Fake).unwrap_or_else(|p| panic!("{p}\n{written}"));
            same(&setup, &again.setup);
        }
    }
}

// ---- what to mind

#[test]
fn cautions_come_where_they_belong() {
    let notes = |more: &str| {
        good(&format!(
            "[figure]\nmodel = \"woman\"\n[camera]\nframing = \"beauty\"\n\
             [[light]]\nname = \"a\"\nmodifier = {{ kind = \"panel\", size = \"50 x 50 cm\" }}\n{more}"
        ))
        .notes
    };
    let cautions = |more: &str| {
        notes(more)
            .of(Severity::Caution)
            .map(|p| {
                assert_eq!(p.kind, Kind::Safety);
                p.message.clone()
            })
            .collect::<Vec<_>>()
    };
    let over =
        cautions("at = [0, 2.6, 0.4]\naim = \"face\"\nstand = \"boom\"\noutput = \"400 J\"\n");
    assert_eq!(
        over,
        ["light \"a\" hangs over a person", "this setup flashes"]
    );
    let high = cautions("at = [-2, 2.6, 2]\noutput = \"5000 lm\"\n");
    assert_eq!(
        high,
        [
            "light \"a\" is high on its stand, at 2.6 m",
            "this setup has lamps that burn"
        ]
    );
    let low = cautions("at = [-2, 1.8, 2]\noutput = \"5000 lm\"\non = false\n");
    assert!(low.is_empty());
}

#[test]
fn facing_words_are_kept_as_written() {
    let s = good(
        "[figure]\nmodel = \"woman\"\n[swatch]\nfacing = \"light key\"\nfabric = \"linen-slub\"\n\
         [camera]\nframing = \"full-length\"\n\
         [[light]]\nname = \"key\"\nmodifier = { kind = \"globe\", diameter = \"20 cm\" }\nat = [-2, 1.3, 2]\nmeters = \"f/8\"\n",
    )
    .setup;
    let swatch = s.swatch.expect("swatch");
    assert_eq!(swatch.facing, Facing::Light("key".to_owned()));
    let toward = (s.lights[0].position_m() - swatch.frame.origin_m).normalize();
    near_point(swatch.frame.z, toward, 1e-12);
}

/// `correction`: stops of either sign, kept when an inline modifier is written again.
#[test]
fn a_correction_is_read_and_written() {
    let of = |line: &str| {
        parse_modifier(
            &format!("kind = \"panel\"\nsize = \"1 x 1 m\"\n{line}"),
            "own.toml",
            "own",
        )
    };
    assert_eq!(of("").expect("none").correction_stops, 0.0);
    let own = of("correction = \"-0.24 stop\"\n").expect("a correction");
    assert!((own.correction_stops + 0.24).abs() < 1e-12);
    for (line, wanted) in [
        ("correction = 3\n", "has no unit"),
        ("correction = \"9 stops\"\n", "too large"),
        ("corection = \"1 stop\"\n", "unknown key"),
    ] {
        let problems = of(line).expect_err(line);
        assert!(problems.list()[0].message.contains(wanted), "{problems:?}");
    }
    let text =
        std::fs::read_to_string(models().join("setups/side-key-linen.toml")).expect("a demo");
    let inline = "modifier = { kind = \"panel\", size = \"0.9 x 1.2 m\"";
    assert!(text.contains(inline));
    let text = text.replace(inline, &format!("{inline}, correction = \"0.3 stop\""));
    let setup = parse(&text, "side.toml", &Fake).expect("a setup").setup;
    let again = parse(&to_toml(&setup), "again.toml", &Fake)
        .expect("again")
        .setup;
    let kept = |s: &Setup| s.lights[1].modifier.correction_stops;
    assert_eq!((kept(&setup), kept(&again)), (0.3, 0.3));
}
