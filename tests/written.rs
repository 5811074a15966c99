//! A setup's text, changed key by key: comments and order stay, and what comes out is what the
//! parser reads.

use swatchlight::scene::models::Models;
use swatchlight::setup::templates::TEMPLATES;
use swatchlight::setup::written::Written;
use swatchlight::setup::{Setup, parse};

const SETUP: &str = include_str!("../models/setups/side-key-linen.toml");

fn written() -> Written {
    Written::parse(SETUP, "test.toml").expect("the demo is TOML")
}

fn set(written: &mut Written, path: &str, typed: &str) {
    let path = written.path(path).expect("the key is there");
    written.set(&path, typed).expect("it can be set");
}

fn read(written: &Written) -> Setup {
    let models = Models::for_setup(std::path::Path::new("models/setups/side-key-linen.toml"));
    match parse(&written.text(), "test.toml", &models) {
        Ok(checked) => checked.setup,
        Err(problems) => panic!("{problems:?}"),
    }
}

/// The lines that differ.
fn changed(written: &Written) -> Vec<String> {
    let before: Vec<&str> = SETUP.lines().collect();
    let after = written.text();
    let fresh = after.lines().filter(|l| !before.contains(l));
    fresh.map(str::to_owned).collect()
}

#[test]
fn an_untouched_setup_is_the_same_to_the_byte() {
    assert_eq!(written().text(), SETUP);
    for template in &TEMPLATES {
        let text = template.text("A title");
        assert_eq!(Written::parse(&text, "t").expect("TOML").text(), text);
    }
}

#[test]
fn one_key_changes_one_line() {
    let mut w = written();
    set(&mut w, "key.meters", "f/9");
    assert_eq!(changed(&w), ["meters = \"f/9\""]);
    set(&mut w, "bounce.finish", "silver");
    set(&mut w, "camera.framing", "half");
    assert_eq!(changed(&w).len(), 3);
    assert!(w.text().contains("# Three stops under the key."));
    let f_number = |w: &Written| match &read(w).lights[0].output.setting {
        swatchlight::setup::Setting::Meters { f_number, .. } => *f_number,
        other => panic!("{other:?}"),
    };
    assert!((f_number(&w) - 9.0).abs() < 0.1);
}

#[test]
fn keys_that_cannot_stand_together_give_way() {
    let mut w = written();
    set(&mut w, "key.modifier", "paraboloid-120");
    set(&mut w, "key.spread", "0.25");
    set(&mut w, "key.mark", "3");
    let key = w.path("key.spread").expect("a key");
    assert_eq!(w.value(&key), None);
    set(&mut w, "key.spread", "0.25");
    set(&mut w, "edge.meters", "f/4");
    set(&mut w, "edge.output", "400 J");
    set(&mut w, "edge.power", "1/4");
    assert_eq!(w.value(&w.path("edge.meters").expect("a key")), None);
    let setup = read(&w);
    assert_eq!(setup.lights[0].spread, Some(0.25));
    assert_eq!(
        setup.lights[2].output.set_amount(),
        Some(400.0 * 30.0 / 4.0)
    );
}

#[test]
fn coordinates_become_a_tape_measure() {
    let mut w = written();
    let before = read(&w).lights[1].position_m();
    set(&mut w, "fill.height", "1.9 m");
    let after = read(&w).lights[1].position_m();
    assert!((after.y - 1.9).abs() < 1e-9);
    let moved = (after - before).with_y(0.0).length();
    assert!(moved < 0.01, "the tape is read to the centimetre: {moved}");
    let tape = w.value(&w.path("fill.bearing").expect("a key"));
    assert_eq!(tape.as_deref(), Some("15.7 deg right"));
}

#[test]
fn lights_come_and_go() {
    let mut w = written();
    let keys = [
        ("modifier", "strip-30x140"),
        ("distance", "1.8 m"),
        ("bearing", "125 deg left"),
        ("height", "1.6 m"),
        ("output", "400 J"),
        ("power", "1/8"),
    ];
    w.add("light", "hair light", &keys).expect("it is new");
    assert!(w.add("board", "Hair Light", &[]).is_err());
    assert_eq!(read(&w).lights[3].name, "hair light");
    set(&mut w, "hair light.height", "2.2 m");
    assert!((read(&w).lights[3].position_m().y - 2.2).abs() < 1e-9);
    assert!(w.take_away("hair light") && !w.take_away("hair light"));
    assert_eq!(w.text(), SETUP);
    assert!(w.take_away("bounce") && read(&w).boards.len() == 1);
}

#[test]
fn what_is_not_there_is_said_with_what_to_type() {
    let w = written();
    for (typed, hint) in [
        ("kye.spread", "did you mean \"key\"?"),
        ("key.spred", "did you mean `spread`?"),
        ("camera.framings", "did you mean `framing`?"),
        ("nothing", "there are: key, fill, edge"),
        ("key.", "write OWNER.KEY"),
    ] {
        let error = w.path(typed).expect_err(typed);
        assert!(
            error.hint.contains(hint),
            "{typed}: {} / {}",
            error.what,
            error.hint
        );
    }
    let mut w = written();
    let through = w.path("key.modifier.size").expect("a known key");
    assert!(w.set(&through, "1 x 1 m").is_err(), "a name has no size");
    let through = w.path("fill.modifier.size").expect("a known key");
    w.set(&through, "1.2 x 1.2 m").expect("a table has one");
    assert!(read(&w).lights[1].modifier != read(&written()).lights[1].modifier);
    assert!(Written::parse("[camera\nx = 1", "broken.toml").is_err());
}

/// Points of the meter are typed one by one, on lines of their own with their comments, in a row, or as tables.
#[test]
fn meter_points_change_one_by_one() {
    let cases = [
        (
            "[meter]\npoints = [\n  \"face\",  # nose\n  \"chest\", # card\n]\n",
            "meter.points.2.receptor",
            "dome",
            "[meter]\npoints = [\n  \"face\",  # nose\n  { at = \"chest\", receptor = \"dome\" }, # card\n]\n",
        ),
        (
            "[meter]\npoints = [\n  \"face\",  # nose\n  \"chest\", # card\n]\n",
            "meter.points.3",
            "\"hem\"",
            "[meter]\npoints = [\n  \"face\",  # nose\n  \"chest\", # card\n  \"hem\",\n]\n",
        ),
        (
            "[meter]\npoints = [\n  \"face\",\n  \"chest\" # card\n]\n",
            "meter.points.3",
            "hem",
            "[meter]\npoints = [\n  \"face\",\n  \"chest\" # card\n,\n  \"hem\"\n]\n",
        ),
        (
            "[meter]\npoints = [\n  \"face\",  # nose\n  \"chest\", # card\n  \"hem\",   # shoe\n]\n",
            "meter.points.2",
            "",
            "[meter]\npoints = [\n  \"face\",  # nose\n  \"hem\",   # shoe\n]\n",
        ),
        (
            "[meter]\npoints = [\n  \"face\",  # nose\n  \"chest\", # card\n]\n",
            "meter.points.2",
            "",
            "[meter]\npoints = [\n  \"face\",  # nose\n]\n",
        ),
        (
            "[meter]\npoints = [\"face\", \"chest\", \"hem\"] # three\n",
            "meter.points.1",
            "",
            "[meter]\npoints = [\"chest\", \"hem\"] # three\n",
        ),
        (
            "[meter]\npoints = [\"face\", \"chest\"] # two\n",
            "meter.points.3",
            "{ name = \"low\", at = [0, 0.5, 0] }",
            "[meter]\npoints = [\"face\", \"chest\", { name = \"low\", at = [0, 0.5, 0] }] # two\n",
        ),
        (
            "[meter]\npoints = [\"face\", { at = \"chest\", facing = \"up\" }]\n",
            "meter.points.2.facing",
            "",
            "[meter]\npoints = [\"face\", { at = \"chest\" }]\n",
        ),
        (
            "[meter]\npoints = [\"face\", { at = \"chest\" }]\n",
            "meter.points.1.at",
            "[0, 1.6, 0.1]",
            "[meter]\npoints = [[0, 1.6, 0.1], { at = \"chest\" }]\n",
        ),
        (
            "[[meter.points]]\nat = \"face\" # nose\n",
            "meter.points.1.receptor",
            "dome",
            "[[meter.points]]\nat = \"face\" # nose\nreceptor = \"dome\"\n",
        ),
        (
            "[[meter.points]]\nat = \"face\"\n\n[[meter.points]]\nat = \"chest\"\n",
            "meter.points.1",
            "",
            "\n[[meter.points]]\nat = \"chest\"\n",
        ),
    ];
    for (before, key, typed, after) in cases {
        let mut w = Written::parse(before, "t").expect("TOML");
        let path = w.path(key).expect("a known key");
        if typed.is_empty() {
            w.remove(&path);
        } else {
            w.set(&path, typed).expect("it can be set");
        }
        assert_eq!(w.text(), after, "{key} = {typed}");
        assert!(Written::parse(&w.text(), "t").is_ok());
    }
    let w = Written::parse(
        "[meter]\npoints = [\"face\", { at = \"hem\", facing = \"up\" }]\n",
        "t",
    );
    let mut w = w.expect("TOML");
    let value = |w: &Written, key: &str| w.value(&w.path(key).expect("a known key"));
    for (key, held) in [
        ("meter.points.1.at", Some("face")),
        ("meter.points.1.facing", None),
        ("meter.points.2.at", Some("hem")),
        ("meter.points.2.facing", Some("up")),
        ("meter.points.3.at", None),
    ] {
        assert_eq!(value(&w, key).as_deref(), held, "{key}");
    }
    for (key, hint) in [
        ("meter.points.0.at", "from 1"),
        ("meter.points.x", "from 1"),
        ("meter.points.1.recepter", "did you mean `receptor`?"),
        ("meter.points.1.at.x", "meter.points.1.receptor"),
    ] {
        let error = w.path(key).expect_err(key);
        assert!(error.hint.contains(hint), "{key}: {}", error.hint);
    }
    let far = w.path("meter.points.9.at").expect("a known key");
    let error = w.set(&far, "hem").expect_err("there are two");
    assert!(error.what.contains("2 points"), "{}", error.what);
}
