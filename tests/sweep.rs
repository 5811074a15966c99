//! Sweeps: what is typed, what comes of it, and how it is shown.
//!
//! Outside authorities: the inverse square law of illuminance (CIE S 017:2020, 17-21-089, "photometric
//! distance law") and the closed form of a Lambertian disk on its axis, E = Φ / (π (r² + d²)), from which it
//! follows far away; WCAG 2.2, 2.3.1 (W3C, 2023) for flashes; RFC 4180 for tables; PNG, Third Edition (W3C,
//! 2025), 5.9, for pictures that move. That an 18 % card shows 0.18 at the metered exposure is this tool's
//! stated convention; that twice the light is one stop is common practice.

#[path = "common/vary.rs"]
mod vary;

use assert_cmd::Command;
use serde_json::Value;
use std::f64::consts::PI;
use std::fs;
use std::io::Cursor;
use swatchlight::measure::vary::{
    Axis, Exposing, Linear, MOST_ON_AN_AXIS, Plan, PlanError, Spacing,
};
use swatchlight::report::contact::{
    FADE_S, HOLD_S, Head, MOST_FLASHES_PER_S, csv, draw, flashes, moving, watched,
};
use swatchlight::report::drawing::{Shape, svg};
use swatchlight::setup::Options;
use tempfile::TempDir;
use vary::{CARD, goals, mean, models, plan, take_plan, written};

// --- What is typed -------------------------------------------------------------------------------

fn typed(over: &str) -> Vec<String> {
    Axis::typed(over, &written(CARD)).expect(over).values
}

#[test]
fn ranges_are_read_with_their_units() {
    for (over, values) in [
        (
            "key.spread=0..1:6",
            &["0", "0.2", "0.4", "0.6", "0.8", "1"][..],
        ),
        ("key.spread=1..0:3", &["1", "0.5", "0"]),
        ("key.distance=1.5m..4m:3", &["1.5 m", "2.75 m", "4 m"]),
        ("key.distance=1.5..4 m:3", &["1.5 m", "2.75 m", "4 m"]),
        ("key.distance=50cm..2m:4", &["0.5 m", "1 m", "1.5 m", "2 m"]),
        ("key.distance=2 ft 6 in..10 ft:2", &["0.762 m", "3.048 m"]),
        (
            "key.bearing=20 deg left..80 deg left:4",
            &["20 deg left", "40 deg left", "60 deg left", "80 deg left"],
        ),
        (
            "key.bearing=\"20 deg left..20 deg right:3\"",
            &["20 deg left", "0 deg right", "20 deg right"],
        ),
        (
            "key.bearing=0 deg..40 deg left:2",
            &["0 deg right", "40 deg left"],
        ),
        // Even stops.
        ("key.meters=f/4..f/8:3", &["f/4", "f/5.66", "f/8"]),
        ("key.power=1/8..1:4", &["0.125", "0.25", "0.5", "1"]),
        (
            "camera.shutter=1/200 s..1/50 s:3",
            &["1/200 s", "1/100 s", "1/50 s"],
        ),
        (
            "key.power=-3 stops..0 stops:4",
            &["-3 stops", "-2 stops", "-1 stops", "0 stops"],
        ),
        // Lists.
        (
            "card.finish=white, black ,silver",
            &["white", "black", "silver"],
        ),
        ("swatch.fabric='linen-slub,denim'", &["linen-slub", "denim"]),
        ("key.at=[0, 1, 2],[0, 2, 2]", &["[0, 1, 2]", "[0, 2, 2]"]),
        (
            "key.modifier=../a.toml,../b.toml",
            &["../a.toml", "../b.toml"],
        ),
    ] {
        assert_eq!(typed(over), values, "{over}");
    }
}

#[test]
fn numbers_lie_on_a_plot_where_they_belong() {
    let spacing = |over| Axis::typed(over, &written(CARD)).expect(over).spacing;
    let Spacing::Numbers { at, unit } = spacing("key.bearing=30 deg left,0 deg,45 deg right")
    else {
        panic!("numbers");
    };
    assert_eq!((at, unit.as_str()), (vec![-30.0, 0.0, 45.0], "deg right"));
    assert_eq!(spacing("card.finish=white,black"), Spacing::Names);
    // In no order, or in several units, they are names.
    assert_eq!(spacing("key.distance=2 m,1 m,3 m"), Spacing::Names);
    assert_eq!(spacing("key.distance=2 m,50 cm"), Spacing::Names);
}

/// Every error says what to type.
#[test]
fn what_is_no_axis_is_told_with_what_to_type() {
    let many = (0..=MOST_ON_AN_AXIS).map(|k| format!("0.{k:02}"));
    let many = format!("key.spread={}", many.collect::<Vec<_>>().join(","));
    for (over, what, hint) in [
        ("key.spread", "gives no values", "key.spread=0..1:6"),
        ("kye.spread=0..1:6", "no \"kye\"", "did you mean \"key\"?"),
        (
            "key.spraed=0..1:6",
            "no key `spraed`",
            "did you mean `spread`?",
        ),
        ("key=0..1:6", "no \"key\"", ""),
        ("key.spread=0..1", "how many values", "key.spread=0..1:6"),
        (
            "key.spread=0..1:1",
            "\"1\" is no number of values",
            "2 to 12",
        ),
        (
            "key.spread=0..1:99",
            "\"99\" is no number of values",
            "2 to 12",
        ),
        (
            "key.spread=0..1:six",
            "\"six\" is no number of values",
            "2 to 12",
        ),
        (
            "key.spread=0..wide:6",
            "\"wide\" is no number",
            "FROM..TO:6",
        ),
        ("key.distance=1m..30deg:3", "different units", "in one unit"),
        ("key.meters=f/4..8:3", "different units", "in one unit"),
        ("key.spread=0.5..0.5:3", "are the same", "different ends"),
        ("key.power=0..1/1:3", "no stops apart", "over 0"),
        ("key.spread=0.5", "only one value", "key.spread=0.5,…"),
        ("key.spread=0.5,,1", "is empty", "no comma too many"),
        ("key.spread=", "is empty", "key.spread=A,B,C"),
        ("key.spread=0.5,0.5", "0.5 twice", "once"),
        (&many, "13 values", "up to 12"),
        ("camera.pixels=10 x 10,20 x 20", "one size", "--size"),
        ("title=a,b", "nothing that can be seen", "key.distance"),
        ("key.name=a,b", "nothing that can be seen", "distance"),
    ] {
        let error = Axis::typed(over, &written(CARD)).expect_err(over);
        assert!(error.what.contains(what), "{over}: {}", error.what);
        assert!(error.hint.contains(hint), "{over}: {}", error.hint);
        assert!(!error.hint.is_empty(), "{over}");
    }
}

#[test]
fn states_are_judged_and_named() {
    let written = written(CARD);
    let axes = |over: &[&str]| -> Vec<Axis> {
        over.iter()
            .map(|o| Axis::typed(o, &written).expect("an axis"))
            .collect()
    };
    let plan = |over: &[&str]| {
        Plan::new(
            &written,
            "card.toml",
            axes(over),
            &models(),
            Options::default(),
        )
    };
    match plan(&["key.distance=0 m,4 m"]) {
        Err(PlanError::States(bad)) => {
            assert_eq!(bad.len(), 1);
            assert_eq!(bad[0].0, "key.distance 0 m");
            let problem = &bad[0].1.list()[0];
            assert_eq!(problem.file, "card.toml with key.distance 0 m");
            assert!(problem.line > 0 && !problem.hint.is_empty(), "{problem:?}");
        }
        other => panic!("{other:?}"),
    }
    for (over, what) in [
        (&[][..], "nothing is swept"),
        (
            &["key.power=0.1,1", "key.power=0.2,0.3"],
            "key.power is swept twice",
        ),
        (&["key.power=0.1..1:9", "key.height=1m..2m:9"], "81 states"),
        (
            &["key.power=0.1,1", "key.height=1m,2m", "key.distance=3m,4m"],
            "3 keys",
        ),
        (
            &["key.power=0.1,1", "key.meters=f/4,f/8"],
            "cannot stand side by side",
        ),
    ] {
        match plan(over) {
            Err(PlanError::Axes(error)) => {
                assert!(error.what.contains(what), "{}", error.what);
                assert!(!error.hint.is_empty());
            }
            other => panic!("{over:?}: {other:?}"),
        }
    }
    let good = plan(&["key.power=0.1,1", "card.finish=white,grey,black"]).expect("six states");
    assert_eq!((good.columns(), good.rows(), good.states.len()), (2, 3, 6));
    assert_eq!(good.states[3].name, "key.power 1, card.finish grey");
    assert_eq!(good.label(&good.states[3]), "1, grey");
    assert_eq!(good.axes[1].words(), "finish of card");
}

// --- What comes of it ----------------------------------------------------------------------------

#[test]
fn far_away_a_reading_falls_with_the_square_of_the_distance() {
    // The card out of the meter's sight: only what the key sends counts.
    let text = CARD.replace(
        "at = [0, 1, 0]\naim = [0, 1, 2]",
        "at = [0, 1, -2]\naim = [0, 1, 2]",
    );
    let plan = plan(&text, &["key.distance=2m..8m:4"]);
    let made = take_plan(&plan, goals(None, Exposing::Each));
    for (k, one) in made.iter().enumerate() {
        let d = 2.0 + 2.0 * k as f64;
        // The point faces the key; it stands 1 cm off the mark toward the camera.
        let to_key = &one.points[1].lights[0].exposure_lx_s;
        let from = [
            d * 40_f64.to_radians().sin(),
            d * 40_f64.to_radians().cos() - 0.01,
        ];
        let away = from[0].hypot(from[1]);
        let disk = 9000.0 / (PI * (0.1_f64.powi(2) + away * away));
        let off = to_key.value / disk - 1.0;
        assert!(off.abs() < 0.004, "{d} m: {} for {disk}", to_key.value);
        assert!(
            3.0 * to_key.relative() < 0.012,
            "{d} m: ±{}",
            to_key.relative()
        );
    }
    let [near, far] = [1, 3].map(|k: usize| made[k].points[1].lights[0].exposure_lx_s.value);
    assert!((near / far - 4.0).abs() < 0.04, "{near} {far}");
    // And what differs in place shares no film.
    assert!((0..4).all(|k| made[k].film_of == k));
}

#[test]
fn a_target_is_kept_and_power_follows() {
    let text = CARD.replace(
        "output = \"9000 lm s\"",
        "meters = \"f/8\"\nmetered_at = { at = [0, 1, 0.02], facing = \"light key\" }",
    );
    let plan = plan(&text, &["key.distance=3m,6m"]);
    let made = take_plan(&plan, goals(None, Exposing::Held));
    let [near, far] = [0, 1].map(|k: usize| made[k].balanced[0].amount);
    // Inverse square: four times the light, two stops.
    assert!(((far / near).log2() - 2.0).abs() < 0.02, "{near} {far}");
    let read = |k: usize| made[k].expose_at.together.exposure_lx_s.value;
    assert!((read(0) / read(1) - 1.0).abs() < 0.01);
    assert_eq!(watched(&plan, &made), Some(0));
}

#[test]
fn at_one_exposure_a_card_shows_its_stops() {
    let plan = plan(CARD, &["key.power=1/4..1:3"]);
    let made = take_plan(&plan, goals(Some(64), Exposing::Held));
    let card = |k: usize| made[k].picture.as_ref().map(mean).expect("a picture");
    // The metered card is 18 % grey.
    assert!((card(0) / 0.18 - 1.0).abs() < 0.02, "{}", card(0));
    for k in 1..3 {
        let stops = (card(k) / card(0)).log2();
        assert!((stops - k as f64).abs() < 1e-5, "{stops}");
        // Mixed from the first's film, as power only weighs a layer.
        assert_eq!(made[k].film_of, 0);
        assert_eq!(made[k].f_number, made[0].f_number);
    }
    // Each as metered, all are grey; the lens opens otherwise, so each has its own film.
    let each = take_plan(&plan, goals(Some(64), Exposing::Each));
    for (k, one) in each.iter().enumerate() {
        let grey = one.picture.as_ref().map(mean).expect("a picture");
        assert!((grey / 0.18 - 1.0).abs() < 0.02, "{grey}");
        assert_eq!(one.film_of, k);
    }
}

#[test]
fn switches_and_gels_are_mixed_from_one_film() {
    let plan = plan(CARD, &["key.on=true,false", "key.gel=+0 mired,+150 mired"]);
    let made = take_plan(&plan, goals(Some(8), Exposing::Held));
    assert!(made.iter().all(|m| m.film_of == 0));
    let picture = |k: usize| made[k].picture.as_ref().expect("a picture");
    assert!(mean(picture(0)) > 0.1);
    // Off, in rows of on and off.
    assert_eq!(mean(picture(1)), 0.0);
    assert!(made[1].expose_at.together.f_number.is_none());
    // The white balance of the first is kept, so a warming gel shows: positive mired shifts warm.
    let [r, _, b] = picture(2).rgb[100];
    assert!(r > 1.3 * b, "{r} {b}");
}

// --- How it is shown -----------------------------------------------------------------------------

fn flat(value: f32, sizes: [u32; 2]) -> Linear {
    Linear {
        width: sizes[0],
        height: sizes[1],
        rgb: vec![[value; 3]; (sizes[0] * sizes[1]) as usize],
        samples: 1,
        relative_error: None,
    }
}

/// WCAG 2.2, 2.3.1 and its glossary: a flash is a pair of opposing changes of a tenth of the greatest
/// luminance or more, where the darker is below 0.80; three in a second are allowed.
#[test]
fn flashes_are_counted_as_the_guideline_has_them() {
    let strobe = |codes: [u8; 2], seconds: f64, count: usize| {
        let frame = |k: usize| (vec![[codes[k % 2]; 3]; 64], seconds);
        flashes(8, &(0..count).map(frame).collect::<Vec<_>>()).general
    };
    // Ten pictures a second, black and white: ten changes, five flashes.
    assert_eq!(strobe([0, 255], 0.1, 20), 5);
    assert_eq!(strobe([0, 255], 0.25, 20), 2);
    // Codes of a relative luminance of .20 and .28, and both over 0.80.
    assert_eq!(strobe([124, 144], 0.1, 20), 0);
    assert_eq!(strobe([232, 255], 0.1, 20), 0);
    // Just under .80 and white.
    assert_eq!(strobe([229, 255], 0.1, 20), 5);
    // A saturated red flashes though its luminance changes by less than a tenth.
    let red = |k: usize| {
        (
            vec![[if k.is_multiple_of(2) { 0 } else { 170 }, 0, 0]; 64],
            0.1,
        )
    };
    let found = flashes(8, &(0..20).map(red).collect::<Vec<_>>());
    assert_eq!((found.general, found.red), (0, 5));
    // A fade over many pictures counts as one change.
    let fade = |k: usize| (vec![[(k % 26 * 10).min(255) as u8; 3]; 64], 0.04);
    assert!(flashes(8, &(0..52).map(fade).collect::<Vec<_>>()).general <= 1);
}

#[test]
fn a_moving_picture_stands_fades_and_does_not_flash() {
    // The hardest case: black, white, black, white, and over full value.
    let sizes = [12, 8];
    let states = [0.0, 1.0, 0.0, 40.0].map(|v| flat(v, sizes));
    let made = moving(&states.iter().collect::<Vec<_>>()).expect("it can be made");
    let mut reader = png::Decoder::new(Cursor::new(&made.bytes))
        .read_info()
        .expect("a PNG");
    let control = reader.info().animation_control.expect("it moves");
    assert_eq!(
        (control.num_frames as usize, control.num_plays),
        (made.frames, 0)
    );
    let mut frames: Vec<(Vec<[u8; 3]>, f64)> = Vec::new();
    for _ in 0..control.num_frames {
        let mut bytes = vec![0; reader.output_buffer_size().expect("a size")];
        reader.next_frame(&mut bytes).expect("a frame");
        let delay = reader.info().frame_control.expect("its time");
        let seconds = f64::from(delay.delay_num) / f64::from(delay.delay_den);
        frames.push((
            bytes.chunks_exact(3).map(|p| [p[0], p[1], p[2]]).collect(),
            seconds,
        ));
    }
    let standing: Vec<u8> = frames
        .iter()
        .filter(|(_, seconds)| *seconds >= HOLD_S - 1e-9)
        .map(|(pixels, _)| pixels[0][0])
        .collect();
    assert_eq!(standing, [0, 255, 0, 255], "each stands once");
    let fading: f64 = frames
        .iter()
        .map(|f| f.1)
        .filter(|s| *s < HOLD_S - 1e-9)
        .sum();
    assert!((fading / 4.0 - FADE_S).abs() < 0.01, "{fading}");
    let found = flashes(sizes[0] as usize, &frames);
    assert_eq!(found, made.flashes);
    assert!(found.general <= MOST_FLASHES_PER_S && found.red <= MOST_FLASHES_PER_S);
    assert!(found.general <= 1, "{found:?}");
    // Nowhere does luminance jump by a half at once.
    let jump = frames
        .windows(2)
        .map(|w| w[0].0[0][0].abs_diff(w[1].0[0][0]))
        .max();
    assert!(jump < Some(120), "{jump:?}");

    assert!(moving(&[&states[0]]).is_err());
    assert!(moving(&[&states[0], &flat(0.0, [3, 3])]).is_err());
}

/// Names come from files of anybody's.
#[test]
fn hostile_names_stay_text_and_stay_on_the_page() {
    // As long as a name may be.
    let name = "<script>alert(1)</script> & a long name";
    let text = CARD
        .replace("name = \"key\"", &format!("name = \"{name}\""))
        .replace("light key", &format!("light {name}"))
        .replace("\"Card\"", "\"</title><svg onload=alert(1)> =1+1\"");
    let plan = plan(&text, &["card.finish=white,grey"]);
    let made = take_plan(&plan, goals(Some(4), Exposing::Held));
    let head = Head {
        title: plan.states[0].setup.title.clone(),
        exposure: "All at f/8.".into(),
    };
    let page = draw(&plan, &made, &head);
    let file = svg(&page);
    for raw in ["<script", "onload=alert(1)>"] {
        assert!(!file.contains(raw), "{raw}");
    }
    for shape in &page.shapes {
        if let Shape::Text(text) = shape {
            let wide = swatchlight::report::drawing::text_width_mm(&text.words, text.size_mm);
            assert!(wide <= page.size_mm[0], "{}", text.words);
            if !text.upward && text.anchor == swatchlight::report::drawing::Anchor::Start {
                let end = text.at_mm[0] + wide;
                assert!(end <= page.size_mm[0], "{} ends at {end} mm", text.words);
            }
        }
    }
    let table = csv(&plan, &made);
    let lines: Vec<&str> = table.split("\r\n").collect();
    assert_eq!(lines.len(), 4, "a heading, two states, and nothing");
    assert!(lines[1].starts_with("white,"), "{table}");
}

#[test]
fn tables_quote_what_needs_it() {
    let plan = plan(CARD, &["key.at=[-2, 1, 3],[2, 1, 3]"]);
    let made = take_plan(&plan, goals(None, Exposing::Held));
    let table = csv(&plan, &made);
    assert!(table.contains("\r\n\"[-2, 1, 3]\","), "{table}");
    // A spreadsheet would take it for a formula.
    let plan = vary::plan(CARD, &["key.power=-3 stops..0 stops:2"]);
    let table = csv(&plan, &take_plan(&plan, goals(None, Exposing::Held)));
    assert!(table.contains("\r\n'-3 stops,"), "{table}");
}

// --- The command ---------------------------------------------------------------------------------

struct Desk(TempDir);

impl Desk {
    fn new() -> Self {
        let desk = Self(TempDir::new().unwrap());
        fs::write(desk.0.path().join("card.toml"), CARD).unwrap();
        desk
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_swatchlight"));
        command.current_dir(self.0.path()).args(arguments);
        command
    }

    fn files(&self) -> Vec<String> {
        let names = fs::read_dir(self.0.path()).unwrap();
        let mut names: Vec<String> = names
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }
}

const QUICK: [&str; 8] = [
    "--size",
    "16x24",
    "--samples",
    "4",
    "--executor",
    "cpu",
    "--threads",
    "2",
];

#[test]
fn the_command_writes_what_it_says() {
    let desk = Desk::new();
    let sweep = [
        "sweep",
        "card.toml",
        "--over",
        "key.power=1/4..1:3",
        "--json",
    ];
    let more = ["--moving", "m.png", "--table", "t.csv"];
    let done = desk
        .command(&[&sweep[..], &QUICK, &more].concat())
        .assert()
        .code(0);
    let doc: Value = serde_json::from_slice(&done.get_output().stdout).unwrap();
    assert_eq!(doc["over"][0]["key"], "key.power");
    assert_eq!(doc["states"][2]["values"][0], "1");
    assert_eq!(doc["states"][2]["film_of"], 0);
    let read = |k: usize| {
        doc["states"][k]["together"]["exposure_lx_s"]
            .as_f64()
            .unwrap()
    };
    assert!((read(2) / read(0) - 4.0).abs() < 1e-6);
    assert_eq!(doc["moving"]["general_flashes_in_a_second"], 0);
    assert_eq!(
        desk.files(),
        ["card-sweep.png", "card.toml", "m.png", "t.csv"]
    );
    // Nothing is replaced unasked.
    desk.command(&[&sweep[..], &QUICK].concat())
        .assert()
        .code(2);
    // Only readings: no picture.
    let done = desk
        .command(&[
            "sweep",
            "card.toml",
            "--over",
            "key.power=1/4,1",
            "--readings-only",
        ])
        .assert()
        .code(0);
    let text = String::from_utf8(done.get_output().stdout.clone()).unwrap();
    assert!(text.contains("key alone") && text.contains("1/4"), "{text}");
    assert_eq!(desk.files().len(), 4);
}

#[test]
fn what_cannot_be_is_said_before_anything_is_traced() {
    let desk = Desk::new();
    for (arguments, said) in [
        (
            &["--over", "key.spraed=0..1:6"][..],
            "did you mean `spread`?",
        ),
        (
            &["--over", "key.power=0.5,1", "--out", "a.txt"],
            ".png, .jpg or .svg",
        ),
        (&["--over", "key.power=0.5,1", "--moving", "a.gif"], ".png"),
        (&["--over", "key.power=0.5,1", "--table", "a.txt"], ".csv"),
        (
            &[
                "--over",
                "key.power=0.5,1",
                "--out",
                "a.png",
                "--moving",
                "a.png",
            ],
            "two files at once",
        ),
        (
            &["--over", "key.power=0.5,1", "--out", "no/a.png"],
            "mkdir -p no",
        ),
        (&["--over", "key.power=0.5,7"], "with key.power 7"),
    ] {
        let done = desk
            .command(&[&["sweep", "card.toml"], arguments].concat())
            .assert()
            .code(2);
        let err = String::from_utf8_lossy(&done.get_output().stderr).into_owned();
        assert!(err.contains(said), "{arguments:?}: {err}");
    }
    assert_eq!(desk.files(), ["card.toml"]);
}

#[cfg(unix)]
#[test]
fn an_interrupt_leaves_nothing() {
    use std::io::{BufRead, BufReader};
    use std::process::{Command, Stdio};
    let desk = Desk::new();
    let mut child = Command::new(env!("CARGO_BIN_EXE_swatchlight"))
        .current_dir(desk.0.path())
        .args(["sweep", "card.toml", "--over", "key.distance=2m..8m:4"])
        .args([
            "--size",
            "100x150",
            "--samples",
            "1000000",
            "--executor",
            "cpu",
            "--threads",
            "2",
        ])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stderr.take().unwrap());
    let mut line = String::new();
    while !line.starts_with("Taking") {
        line.clear();
        assert!(
            said.read_line(&mut line).unwrap() > 0,
            "it ended before it began"
        );
    }
    let kill = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(kill.success());
    assert_eq!(child.wait().unwrap().code(), Some(130));
    assert_eq!(desk.files(), ["card.toml"]);
}
