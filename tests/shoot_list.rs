//! Shoot lists: what may be written, what is said when it is wrong, the frames that come out, and the
//! order of the day. The lists are invented. No outside authority knows this format: these are the
//! handbook's own promises (docs/shoot-list.md).

use std::fs;
use std::path::PathBuf;
use swatchlight::scene::models::Models;
use swatchlight::setup::Problems;
use swatchlight::setup::list::moves::{minutes_between, moves};
use swatchlight::setup::list::{Arrangement, DayOrder, Frame, Minutes, ShootList, keys};
use swatchlight::setup::parse;
use swatchlight::setup::written::Written;

const SETUP: &str = r#"title = "Cloth on a table"
[swatch]
fabric = "cotton-plain"
at = [0, 1, 0]
[camera]
framing = "swatch"
[[light]]
name = "key"
modifier = { kind = "panel", size = "60 x 90 cm" }
distance = "1.2 m"
bearing = "40 deg left"
height = "1.5 m"
aim = [0, 1, 0]
output = "3000 lm s"
[[light]]
name = "fill"
modifier = { kind = "disk", diameter = "40 cm" }
distance = "1.5 m"
bearing = "50 deg right"
height = "1.2 m"
aim = [0, 1, 0]
output = "900 lm s"
[meter]
expose_at = "swatch"
points = ["swatch"]
"#;

fn reader(path: &str) -> Result<String, String> {
    match path {
        "a.toml" | "b.toml" => Ok(SETUP.replace("Cloth on", path)),
        _ => Err("there is no file of that name".into()),
    }
}

fn list(text: &str) -> ShootList {
    ShootList::parse(text, "day.toml").unwrap_or_else(|p| panic!("{}", p.render(false)))
}

fn frames(text: &str) -> Vec<Frame> {
    list(text)
        .frames(&reader)
        .unwrap_or_else(|p| panic!("{}", p.render(false)))
}

/// What is said of a list that is wrong, at parsing or when it is laid out.
fn said(text: &str) -> Problems {
    match ShootList::parse(text, "day.toml") {
        Err(problems) => problems,
        Ok(list) => list.frames(&reader).expect_err("this list is wrong"),
    }
}

/// The crate's root, also where tests are built from a folder inside it.
fn root() -> PathBuf {
    let mut at = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    while !at.join("docs/shoot-list.md").is_file() {
        assert!(at.pop(), "docs/shoot-list.md is above the tests");
    }
    at
}

const GOOD: &str = r#"
title = "Two looks"
setup = "a.toml"
order = "as written"
tolerance = "1/2 stop"
set = { "camera.iso" = 200, key.height = "1.6 m" }
[[look]]
name = "plain"
set = { "swatch.fabric" = "linen-slub" }
[[look]]
name = "shiny"
set = { "swatch.fabric" = "silk-satin", "camera.iso" = 400 }
framings = "near"
without = ["fill"]
[[framing]]
name = "near"
focal_length = "100 mm"
pixels = "40 x 60"
[[framing]]
name = "far"
[[lighting]]
name = "soft"
[[lighting]]
name = "hard"
setup = "b.toml"
set = { "key.modifier" = { kind = "disk", diameter = "5 cm" } }
[[frame]]
name = "both off"
look = "shiny"
without = ["key"]
set = { "camera.iso" = 800 }
[minutes]
garment = 30
"#;

#[test]
fn looks_lightings_and_framings_make_frames() {
    let list = list(GOOD);
    assert_eq!(list.order, DayOrder::AsWritten);
    assert!((list.tolerance_stops - 0.5).abs() < 1e-12);
    assert_eq!(list.minutes.garment, 30.0);
    assert_eq!(list.minutes.modifier, Minutes::default().modifier);
    let frames = frames(GOOD);
    let names: Vec<&str> = frames.iter().map(|f| f.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "plain, near, soft",
            "plain, far, soft",
            "plain, near, hard",
            "plain, far, hard",
            "shiny, near, soft",
            "shiny, near, hard",
            "both off"
        ]
    );
    let value = |frame: &Frame, path: &str| {
        let written = Written::parse(&frame.setup_toml, "frame").expect("TOML");
        let path = written.path(path).expect("a key of the setup");
        written.value(&path)
    };
    let is = |frame: usize, path: &str, wanted: &str| {
        assert_eq!(
            value(&frames[frame], path).as_deref(),
            Some(wanted),
            "{path}"
        );
    };
    // The common kit, then the look, then the frame has the last word.
    is(0, "camera.iso", "200");
    is(4, "camera.iso", "400");
    is(6, "camera.iso", "800");
    is(0, "key.height", "1.6 m");
    is(0, "swatch.fabric", "linen-slub");
    is(5, "swatch.fabric", "silk-satin");
    is(0, "camera.focal_length", "100 mm");
    assert_eq!(value(&frames[1], "camera.focal_length"), None);
    is(2, "key.modifier.diameter", "5 cm");
    is(0, "title", "plain, near, soft");
    assert_eq!(frames[2].setup_path, "b.toml");
    let things = |frame: &Frame| {
        let written = Written::parse(&frame.setup_toml, "frame").expect("TOML");
        written
            .things()
            .into_iter()
            .map(|(_, n)| n)
            .collect::<Vec<_>>()
    };
    assert_eq!(things(&frames[0]), ["key", "fill"]);
    assert_eq!(things(&frames[4]), ["key"]);
    assert!(things(&frames[6]).is_empty());
}

/// Every slip has a place, a kind and something to type.
#[test]
fn slips_are_told_with_place_and_hint() {
    let with = |line: &str| format!("setup = \"a.toml\"\n{line}\n[[look]]\nname = \"one\"\n");
    for (text, place, word, hint) in [
        (
            with("titel = \"x\""),
            (2, 1),
            "unknown key `titel`",
            "`title`",
        ),
        (
            with("order = \"least move\""),
            (2, 9),
            "no word for it",
            "least moves",
        ),
        (with("tolerance = 0.3"), (2, 13), "text", "quotes"),
        (
            with("tolerance = \"40 stops\""),
            (2, 13),
            "out of range",
            "10 stops",
        ),
        (with("tolerance = \"3 m\""), (2, 16), "tolerance", "stop"),
        (with("set = 5"), (2, 7), "table", "key.meters"),
        (
            with("set = { \"kee.spread\" = 1 }"),
            (2, 24),
            "no \"kee\"",
            "\"key\"",
        ),
        (
            with("set = { \"key.sprad\" = 1 }"),
            (2, 23),
            "no key `sprad`",
            "spread",
        ),
        (
            with("set = { key = {} }"),
            (2, 15),
            "changes nothing",
            "key.spread",
        ),
        (
            with("without = \"fil\""),
            (2, 11),
            "\"fil\" to leave away",
            "\"fill\"",
        ),
        (with("without = [\"key\", 3]"), (2, 19), "text", "quotes"),
        (
            with("minutes = { garmnet = 3 }"),
            (2, 13),
            "unknown key",
            "garment",
        ),
        (
            with("minutes = { garment = -1 }"),
            (2, 23),
            "out of range",
            "0 to 1000",
        ),
        (with("minutes = { garment = nan }"), (2, 23), "", ""),
        (with("look = 3"), (3, 3), "", ""),
        (with("framing = 3"), (2, 11), "tables", "[[framing]]"),
        (with("framing = [3]"), (2, 12), "table", "[[framing]]"),
        (
            with("framing = [{ name = \"a\" }, { name = \"A\" }]"),
            (2, 37),
            "twice",
            "name of its own",
        ),
        (with("framing = [{ }]"), (2, 12), "name", "name = "),
        (
            with("framing = [{ name = \"a\", lens = 3 }]"),
            (2, 26),
            "unknown key `lens`",
            "",
        ),
        (
            "setup = \"c.toml\"\nlook = [{ name = \"a\" }]".into(),
            (1, 9),
            "no file",
            "path",
        ),
        (
            "setup = \"\"\nlook = [{ name = \"a\" }]".into(),
            (1, 9),
            "empty",
            "path",
        ),
        (
            "look = [{ name = \"a\" }]".into(),
            (1, 1),
            "no `setup`",
            "setup = ",
        ),
        ("setup = \"a.toml\"".into(), (1, 1), "no looks", "[[look]]"),
        (
            "setup = \"a.toml\"\nlook = [{ name = \"a\", framings = \"b\" }]".into(),
            (2, 34),
            "no framing \"b\"",
            "[[framing]]",
        ),
        (
            "setup = \"a.toml\"\nframe = [{ name = \"a\", look = \"b\" }]".into(),
            (2, 31),
            "no look \"b\"",
            "[[look]]",
        ),
        (
            "setup = \"a.toml\"\nlook = [{ name = \"a\", garment = 3 }]".into(),
            (0, 0),
            "",
            "",
        ),
        ("setup = a.toml".into(), (1, 9), "", ""),
    ] {
        if place == (0, 0) {
            // The setup's own reader judges values; the list lets them through.
            assert_eq!(frames(&text).len(), 1, "{text}");
            continue;
        }
        let problems = said(&text);
        let found = problems.list().iter().any(|p| {
            (p.line, p.column) == place && p.message.contains(word) && p.hint.contains(hint)
        });
        assert!(found, "{text}\n{}", problems.render(false));
        assert!(
            problems
                .render(false)
                .contains(&format!("day.toml:{}:{}: error", place.0, place.1)),
            "{}",
            problems.render(false)
        );
    }
}

/// Everything that is wrong is said at once.
#[test]
fn all_slips_are_told_together() {
    let problems = said("setup = 3\norder = \"x\"\nfoo = 1\nlook = [{ name = \"\" }, { }]\n");
    assert!(problems.list().len() >= 5, "{}", problems.render(false));
}

#[test]
fn hostile_names_stay_inside() {
    let refused = |name: &str| {
        let text = format!("setup = \"a.toml\"\nlook = [{{ name = {name} }}]");
        said(&text)
    };
    for name in [
        r#""\u001b[2J""#,
        r#""two\nlines""#,
        "\"\\u202Eright to left\"",
        &format!("\"{}\"", "x".repeat(500)),
    ] {
        let shown = refused(name).render(false);
        assert!(
            !shown.contains('\u{1b}') && !shown.contains('\u{202e}'),
            "{shown:?}"
        );
    }
    let named = |name: &str| {
        let text = format!("setup = \"a.toml\"\nlook = [{{ name = {name} }}]");
        frames(&text).remove(0)
    };
    for (name, stem) in [
        (r#""../../etc/passwd""#, "001-etc-passwd"),
        (r#""a/b\\c:d""#, "001-a-b-c-d"),
        (r#""...""#, "001"),
        (r#""\u65e5\u672c""#, "001"),
        (r#""CON""#, "001-con"),
        (r#""it's \"quoted\" $(rm)""#, "001-it-s-quoted-rm"),
    ] {
        let frame = named(name);
        assert_eq!(frame.stem(), stem);
        let written = Written::parse(&frame.setup_toml, "frame").expect("TOML");
        let title = written.path("title").expect("a title");
        assert_eq!(written.value(&title), Some(frame.name.clone()));
    }
    let path = "setup = \"a\\u0000b.toml\"\nlook = [{ name = \"a\" }]";
    assert!(
        said(path).render(false).contains("no path"),
        "{}",
        said(path).render(false)
    );
}

/// Ten thousand looks, or a table ten thousand deep, are an answer, not a crash.
#[test]
fn absurd_lists_get_an_answer() {
    let looks: String = (0..2000)
        .map(|i| format!("[[look]]\nname = \"{i}\"\n"))
        .collect();
    let shown = said(&format!("setup = \"a.toml\"\n{looks}")).render(false);
    assert!(shown.contains("at most"), "{shown}");
    let entries = |kind: &str| -> String {
        (0..400)
            .map(|i| format!("[[{kind}]]\nname = \"{i}\"\n"))
            .collect()
    };
    let text = format!(
        "setup = \"a.toml\"\n{}{}",
        entries("look"),
        entries("framing")
    );
    let shown = said(&text).render(false);
    assert!(shown.contains("160000 frames"), "{shown}");
    let deep = format!("setup = {}1{}", "[".repeat(3000), "]".repeat(3000));
    assert!(ShootList::parse(&deep, "day.toml").is_err());
    for text in ["", "\u{0}", "[[look]", "=", "look = [{}]\nlook = [{}]"] {
        assert!(ShootList::parse(text, "day.toml").is_err(), "{text:?}");
    }
}

/// What moves is told and counted, the same both ways.
#[test]
fn moves_are_told_and_counted() {
    let models = Models::for_setup(&root().join("models/setups/x.toml"));
    let of = |text: &str| {
        let checked = parse(text, "setup", &models);
        let checked = checked.unwrap_or_else(|p| panic!("{}", p.render(false)));
        Arrangement::of(&checked.setup)
    };
    let minutes = Minutes::default();
    let was = of(SETUP);
    assert!(moves(&was, &was, &minutes).is_empty());
    for (from, to, says, cost) in [
        // A stand walked by a metre: a minute, and a half for the metre.
        (
            "\"1.2 m\"\nbearing = \"40 deg left\"",
            "\"2.2 m\"\nbearing = \"40 deg left\"",
            "Move key by 1.00 m, to 2.2 m, 40 deg left, 1.5 m high",
            1.5,
        ),
        (
            "size = \"60 x 90 cm\"",
            "size = \"30 x 90 cm\"",
            "key: change its cloth",
            0.5,
        ),
        (
            "output = \"900 lm s\"",
            "output = \"800 lm s\"",
            "fill: set it to",
            0.5,
        ),
        (
            "kind = \"disk\", diameter = \"40 cm\"",
            "kind = \"globe\", diameter = \"40 cm\"",
            "disk off, globe on",
            4.0,
        ),
        (
            "name = \"fill\"",
            "on = false\nname = \"fill\"",
            "Strike fill",
            4.0,
        ),
        (
            "fabric = \"cotton-plain\"",
            "fabric = \"linen-slub\"",
            "Swatch: linen-slub",
            1.0,
        ),
        (
            "[meter]",
            "[[board]]\nname = \"white\"\nfinish = \"white\"\nsize = \"1 x 1 m\"\nat = [1, 1, 0.4]\n[meter]",
            "Bring in white: board 1 x 1 m",
            1.5,
        ),
        (
            "[camera]",
            "[backdrop]\nwidth = \"2.7 m\"\n[camera]",
            "Backdrop: paper 2.7 m wide",
            15.0,
        ),
    ] {
        assert!(SETUP.contains(from), "{from}");
        let is = of(&SETUP.replacen(from, to, 1));
        let told = moves(&was, &is, &minutes);
        assert!(
            told.iter().any(|m| m.what.contains(says)),
            "{says}: {told:?}"
        );
        let there = minutes_between(&was, &is, &minutes);
        assert!(
            (there - cost).abs() < 0.01,
            "{says}: {there} minutes, {told:?}"
        );
        let back = minutes_between(&is, &was, &minutes);
        assert!(
            (there - back).abs() < 1e-9,
            "{says}: {there} there, {back} back"
        );
    }
}

/// The handbook's tables are made from the reader's keys. When this fails, put the printed section into
/// docs/shoot-list.md.
#[test]
fn the_handbook_lists_every_key() {
    let text = fs::read_to_string(root().join("docs/shoot-list.md")).expect("the handbook");
    for section in keys::handbook().split_inclusive("\n\n### ") {
        let section = section.trim_end_matches("\n\n### ").trim_end();
        assert!(
            text.contains(section),
            "docs/shoot-list.md lacks:\n{section}\n"
        );
    }
    let example = text
        .split("```toml\n")
        .nth(1)
        .and_then(|t| t.split("```").next());
    let list = list(example.expect("an example"));
    let setups = root().join("models/setups");
    let read = |path: &str| {
        let text = fs::read_to_string(setups.join(path)).map_err(|e| e.to_string())?;
        Ok(text)
    };
    let frames = list
        .frames(&read)
        .unwrap_or_else(|p| panic!("{}", p.render(false)));
    assert_eq!(frames.len(), 8);
    // Minutes in the handbook are those that hold.
    let minutes = serde_json::to_value(Minutes::default()).expect("numbers");
    for key in keys::SECTIONS
        .iter()
        .find(|s| s.name == "minutes")
        .expect("minutes")
        .keys
    {
        assert_eq!(
            minutes[key.name].as_f64(),
            key.default.parse().ok(),
            "{}",
            key.name
        );
    }
}

/// The lists that ship can be laid out, and say that they are invented.
#[test]
fn shipped_lists_are_good() {
    let mut seen = 0;
    for entry in fs::read_dir(root().join("models/lists")).expect("lists") {
        let path = entry.expect("an entry").path();
        let text = fs::read_to_string(&path).expect("text");
        assert!(text.starts_with("# Invented"), "{}", path.display());
        let list = ShootList::parse(&text, &path.display().to_string())
            .unwrap_or_else(|p| panic!("{}", p.render(false)));
        let read = |setup: &str| {
            let path = path.parent().expect("a folder").join(setup);
            fs::read_to_string(path).map_err(|e| e.to_string())
        };
        let frames = list
            .frames(&read)
            .unwrap_or_else(|p| panic!("{}", p.render(false)));
        assert!(frames.len() > 1, "{}", path.display());
        seen += 1;
    }
    assert!(seen > 0);
}
