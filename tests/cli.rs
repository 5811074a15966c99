//! The command line as a shell meets it: exit codes, what goes where, files whole or not at all.
//!
//! Outside authority: ISO 2720:1974 for what a meter makes of light (N² = H S / C); adding N² of
//! lights read alone is common practice. The rest is this program's own contract with its users.

use assert_cmd::Command;
use assert_cmd::assert::Assert;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// An invented setup that traces fast: cloth in an open room, a flash and a lamp that burns.
const CLOTH: &str = r#"title = "Cloth on a table"

[room]
walls = "open"

[swatch]
fabric = "cotton-plain"
size = "20 x 20 cm"
at = [0, 1, 0]
facing = "camera"

[camera]
framing = "swatch"
focal_length = "100 mm"
shutter = "1/60 s"

[[light]]
name = "key"
modifier = { kind = "panel", size = "60 x 90 cm" }
distance = "1.2 m"
bearing = "40 deg left"
height = "1.5 m"
aim = [0, 1, 0]
meters = "f/8"
metered_at = "cloth"
output = "100 J"
yield = "30 lm s/J"
head = { range = "5 stops", step = "1/3 stop" }

[[light]]
name = "lamp"
modifier = { kind = "disk", diameter = "40 cm" }
distance = "1.5 m"
bearing = "50 deg right"
height = "1.2 m"
aim = [0, 1, 0]
output = "20000 lm"

[meter]
expose_at = "cloth"
points = [
  { name = "cloth", at = [0, 1, 0.02] },
  { name = "dome", at = [0, 1, 0.02], receptor = "dome" },
]
"#;

/// What makes a still quick.
const QUICK: [&str; 5] = ["--size", "24x32", "--samples", "2", "--json"];

/// A folder with the setup in it, to run the program in.
struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        let desk = Self {
            folder: TempDir::new().unwrap(),
        };
        desk.put("cloth.toml", CLOTH);
        desk
    }

    fn put(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_swatchlight"));
        command.current_dir(self.folder.path());
        command
    }

    fn run(&self, arguments: &[&str]) -> Assert {
        self.command().args(arguments).assert()
    }

    /// Runs on two threads of the processor, where the command traces light.
    fn trace(&self, arguments: &[&str]) -> Assert {
        self.command()
            .args(arguments)
            .args(["--executor", "cpu", "--threads", "2"])
            .assert()
    }

    /// Renders a quick still.
    fn still(&self, setup: &str, more: &[&str]) -> Assert {
        self.trace(&[&["still", setup], &QUICK[..], more].concat())
    }

    /// The names of all files, hidden ones too.
    fn files(&self) -> Vec<String> {
        let names = fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<String> = names
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }
}

fn out(assert: &Assert) -> String {
    String::from_utf8(assert.get_output().stdout.clone()).unwrap()
}

fn err(assert: &Assert) -> String {
    String::from_utf8(assert.get_output().stderr.clone()).unwrap()
}

/// The one document on stdout.
fn json(assert: &Assert) -> Value {
    serde_json::from_str(&out(assert)).unwrap()
}

fn keys(object: &Value) -> Vec<&str> {
    object
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect()
}

fn pixels(path: &Path) -> Vec<u8> {
    image::open(path).unwrap().into_rgb8().into_raw()
}

// --- Help, and the command line itself -----------------------------------------------------------

#[test]
fn alone_it_says_what_it_is_for() {
    let said = out(&Desk::new().run(&[]).code(0));
    assert!(
        said.contains("swatchlight new") && said.contains("swatchlight still"),
        "{said}"
    );
    assert!(said.lines().count() <= 22, "short: {said}");
}

#[test]
fn every_command_explains_itself_with_examples() {
    let desk = Desk::new();
    let all = out(&desk.run(&["--help"]).code(0));
    for command in [
        "still",
        "read",
        "balance",
        "check",
        "new",
        "system",
        "completions",
    ] {
        assert!(
            all.contains(&format!("\n  {command} ")),
            "{command} in {all}"
        );
        let help = out(&desk.run(&[command, "--help"]).code(0));
        assert!(
            help.contains(&format!("Examples:\n  swatchlight {command}")),
            "{help}"
        );
        assert!(help.lines().all(|l| l.chars().count() <= 100), "{help}");
    }
    assert!(
        !all.contains("make-ready"),
        "maintenance is not for users: {all}"
    );
    let version = out(&desk.run(&["--version"]).code(0));
    assert_eq!(
        version.trim(),
        format!("swatchlight {}", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn a_wrong_command_line_is_exit_2_with_a_hint() {
    let desk = Desk::new();
    for (arguments, hint) in [
        (&["stil", "cloth.toml"][..], "'still'"),
        (&["still", "cloth.toml", "--sample", "3"], "'--samples'"),
        (&["still"], "<SETUP>"),
        (&["still", "cloth.toml", "--size", "900"], "900x1200"),
        (&["still", "cloth.toml", "--samples", "-3"], "1..=1048576"),
        (&["still", "cloth.toml", "--noise", "-3"], "over 0"),
        (&["read", "cloth.toml", "--noise", "nan"], "over 0"),
        (
            &["read", "cloth.toml", "--executor", "tpu"],
            "auto, cpu, gpu",
        ),
        (&["new", "x", "--kind", "sideways"], "side"),
        (&["new", ""], "needs a name"),
        (&["still", "cloth.toml", "--out", "x.bmp"], ".png, .exr"),
        (
            &[
                "still",
                "cloth.toml",
                "--out",
                "x.jpg",
                "--depth",
                "16",
                "--executor",
                "cpu",
            ],
            "8 bits",
        ),
    ] {
        let said = desk.run(arguments).code(2);
        assert!(err(&said).contains(hint), "{arguments:?}: {}", err(&said));
        assert_eq!(out(&said), "", "{arguments:?}");
    }
    assert_eq!(desk.files(), ["cloth.toml"]);
}

#[test]
fn shells_can_complete_every_command() {
    let desk = Desk::new();
    for shell in ["bash", "zsh", "fish"] {
        let script = out(&desk.run(&["completions", shell]).code(0));
        for command in ["still", "read", "balance", "check", "new", "system"] {
            assert!(script.contains(command), "{command} in {shell}");
        }
    }
    assert!(err(&desk.run(&["completions", "csh"]).code(2)).contains("bash"));
}

#[test]
fn the_system_report_names_an_executor() {
    let report = json(
        &Desk::new()
            .run(&["system", "--json", "--executor", "cpu", "--threads", "2"])
            .code(0),
    );
    assert_eq!(report["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!(report["executor"], "processor, 2 threads");
    assert!(report["threads"].as_u64().unwrap() >= 1);
    assert!(report["adapters"].is_array());
    let models = report["models"].as_array().unwrap();
    assert!(
        models
            .iter()
            .any(|m| Path::new(m.as_str().unwrap()).join("figures").is_dir()),
        "{models:?}"
    );
}

/// Where no driver is found, `gpu` fails with advice and `auto` goes on and says why.
#[cfg(target_os = "linux")]
#[test]
fn without_an_adapter_the_processor_is_used() {
    let desk = Desk::new();
    let run = |executor| {
        let mut command = desk.command();
        // The Vulkan loader looks for drivers only in these.
        command
            .env("VK_DRIVER_FILES", "/nowhere.json")
            .env("VK_ICD_FILENAMES", "/nowhere.json");
        command
            .args(["read", "cloth.toml", "--noise", "5", "--executor", executor])
            .assert()
    };
    let refused = run("gpu").code(1);
    assert!(
        err(&refused).contains("no graphics adapter") && err(&refused).contains("--executor cpu"),
        "{}",
        err(&refused)
    );
    let chosen = run("auto").code(0);
    assert!(
        err(&chosen).contains("processor") && err(&chosen).contains("no graphics adapter"),
        "{}",
        err(&chosen)
    );
}

// --- read ----------------------------------------------------------------------------------------

#[test]
fn read_keeps_its_contract() {
    let desk = Desk::new();
    let asked = desk.trace(&["read", "cloth.toml", "--json", "-q"]).code(0);
    assert_eq!(err(&asked), "");
    let doc = json(&asked);
    for key in [
        "setup",
        "iso",
        "shutter_s",
        "constant",
        "points",
        "evenness_stops",
        "quality",
        "warnings",
    ] {
        assert!(keys(&doc).contains(&key), "{key}");
    }
    assert_eq!(doc["setup"], "cloth.toml");
    assert_eq!(doc["iso"], 100.0);
    assert_eq!(doc["shutter_s"], 1.0 / 60.0);
    assert_eq!(
        doc["constant"],
        serde_json::json!({"flat": 250.0, "dome": 330.0})
    );
    assert_eq!(doc["evenness_stops"], Value::Null);

    let points = doc["points"].as_array().unwrap();
    assert_eq!(points.len(), 2);
    let cloth = &points[0];
    assert_eq!(
        keys(cloth),
        [
            "direction",
            "lights",
            "point",
            "position_m",
            "receptor",
            "together"
        ]
    );
    assert_eq!(
        (&cloth["point"], &cloth["receptor"]),
        (&"cloth".into(), &"flat".into())
    );
    assert_eq!(cloth["position_m"], serde_json::json!([0.0, 1.0, 0.02]));
    let reading = [
        "ambient_lx",
        "f_number",
        "flash_lx_s",
        "mark",
        "rel_error",
        "tenths",
    ];
    assert_eq!(keys(&cloth["together"]), reading);
    let key = &cloth["lights"][0];
    assert_eq!(
        keys(key),
        [
            "ambient_lx",
            "f_number",
            "flash_lx_s",
            "light",
            "mark",
            "rel_error",
            "tenths"
        ]
    );
    assert_eq!(
        (&key["light"], &key["mark"], &key["tenths"]),
        (&"key".into(), &"f/8".into(), &0.into())
    );
    for key in ["point", "light", "edge_least_mm", "edge_greatest_mm"] {
        assert!(keys(&doc["quality"][0]).contains(&key), "{key}");
    }
    for key in [
        "point",
        "key",
        "fill",
        "key_and_fill_to_fill",
        "key_to_fill",
    ] {
        assert!(keys(&doc["ratios"][0]).contains(&key), "{key}");
    }
}

/// A point between two black boards, two centimetres apart, is told for what it is; the others are not.
#[test]
fn a_point_in_the_dark_is_told() {
    let desk = Desk::new();
    let board = |name: &str, z: f64| {
        format!(
            "[[board]]\nname = \"{name}\"\nfinish = \"black\"\nsize = \"1.5 x 1.5 m\"\nat = [2, 1, {z}]\naim = [2, 1, 5]\nstand = \"none\"\n"
        )
    };
    let points = "points = [\n  { name = \"lost\", at = [2, 1, -1] },";
    let text =
        CLOTH.replace("points = [", points) + &board("before", -0.99) + &board("behind", -1.02);
    desk.put("lost.toml", &text);
    let told = err(&desk.trace(&["read", "lost.toml"]).success());
    assert!(
        told.contains("warning: the point \"lost\" reads 1"),
        "{told}"
    );
    assert!(told.contains("stops under the brightest one"), "{told}");
    assert!(!told.contains("the point \"cloth\""), "{told}");
}

/// ISO 2720:1974: N² = H S / C, H being all light that the shutter lets in; and N² adds (common
/// practice).
#[test]
fn readings_follow_the_meter_equation() {
    let desk = Desk::new();
    let doc = json(&desk.trace(&["read", "cloth.toml", "--json"]).code(0));
    let number = |v: &Value| v.as_f64().unwrap();
    for (point, constant) in doc["points"].as_array().unwrap().iter().zip([250.0, 330.0]) {
        let squared = |r: &Value| {
            let exposure_lx_s = number(&r["flash_lx_s"]) + number(&r["ambient_lx"]) / 60.0;
            let n2 = number(&r["f_number"]).powi(2);
            assert!(
                (n2 / (exposure_lx_s * 100.0 / constant) - 1.0).abs() < 1e-9,
                "{r}"
            );
            assert!(number(&r["rel_error"]) <= 0.005, "{r}");
            n2
        };
        let alone: f64 = point["lights"]
            .as_array()
            .unwrap()
            .iter()
            .map(squared)
            .sum();
        assert!(
            (alone / squared(&point["together"]) - 1.0).abs() < 1e-9,
            "{point}"
        );
    }
    // A target of f/8 at C = 250 and ISO 100 is 64 · 250 / 100 = 160 lx s.
    let key = &doc["points"][0]["lights"][0];
    assert!((number(&key["flash_lx_s"]) - 160.0).abs() < 1e-6, "{key}");
    assert_eq!(number(&doc["points"][0]["lights"][1]["flash_lx_s"]), 0.0);
}

#[test]
fn the_readings_table_says_it_all() {
    let desk = Desk::new();
    let said = out(&desk.trace(&["read", "cloth.toml"]).code(0));
    for words in [
        "Cloth on a table",
        "C = 250 (flat receptor)",
        "C = 330 (dome)",
        "f/8",
        "160 lx s ±",
        " lx ±",
        "together",
    ] {
        assert!(said.contains(words), "{words} in {said}");
    }
    for words in [
        "(key + fill) : fill",
        "key : fill",
        "as metered at \"cloth\"",
        "shadow edge",
        " mm",
    ] {
        assert!(said.contains(words), "{words} in {said}");
    }
    assert!(
        said.lines()
            .all(|l| l.chars().count() <= 100 && l.trim_end() == l),
        "{said}"
    );
}

#[test]
fn eight_lights_wrap_into_blocks() {
    let desk = Desk::new();
    let light = CLOTH
        .split("[[light]]")
        .nth(2)
        .unwrap()
        .split("[meter]")
        .next()
        .unwrap();
    let more: String = (0..6)
        .map(|i| {
            format!(
                "[[light]]{}",
                light.replace("\"lamp\"", &format!("\"lamp number {i}\""))
            )
        })
        .collect();
    // All in one place is no set that could be built; they need not collide to be listed.
    let apart: String = more
        .split_inclusive("[[light]]")
        .enumerate()
        .map(|(i, part)| {
            part.replace("1.5 m", &format!("{}.5 m", i + 1))
                .replace("50 deg", "60 deg")
        })
        .collect();
    desk.put(
        "many.toml",
        &CLOTH.replace("[meter]", &format!("{apart}\n[meter]")),
    );
    let said = out(&desk.trace(&["read", "many.toml", "--noise", "3"]).code(0));
    assert!(said.lines().all(|l| l.chars().count() <= 100), "{said}");
    for i in 0..6 {
        assert!(said.contains(&format!("lamp number {i}")), "{said}");
    }
}

#[test]
fn setups_come_through_stdin_too() {
    let desk = Desk::new();
    let piped = |arguments: &[&str], input: &str| {
        let command = &mut desk.command();
        command
            .args(arguments)
            .args(["--executor", "cpu"])
            .write_stdin(input.to_owned())
            .assert()
    };
    assert_eq!(
        json(&piped(&["read", "-", "--json"], CLOTH).code(0))["setup"],
        "stdin"
    );
    piped(&["still", "-", "--size", "24x32", "--samples", "1"], CLOTH).code(0);
    assert_eq!(desk.files(), ["cloth.toml", "still.png"]);
    assert!(err(&piped(&["read", "-"], "").code(2)).contains("nothing came from stdin"));
}

// --- What is wrong with a setup ------------------------------------------------------------------

#[test]
fn a_misspelt_key_is_shown_in_its_place() {
    let desk = Desk::new();
    desk.put("typo.toml", &CLOTH.replace("shutter =", "shuter ="));
    let line = 1 + CLOTH
        .lines()
        .position(|l| l.starts_with("shutter"))
        .unwrap();
    for command in ["read", "still", "balance"] {
        let said = desk.run(&[command, "typo.toml"]).code(2);
        let text = err(&said);
        assert!(
            text.contains(&format!("typo.toml:{line}:1: error:")),
            "{text}"
        );
        assert!(
            text.contains("shuter = \"1/60 s\"") && text.contains("`shutter`"),
            "{text}"
        );
        assert_eq!(out(&said), "");
    }
}

#[test]
fn check_reports_everything_at_once() {
    let desk = Desk::new();
    let broken = CLOTH
        .replace("\"f/8\"", "\"8 m\"")
        .replace("1.5 m", "1.5 parsecs")
        .replace("cotton-plain", "cloth-of-gold");
    desk.put("broken.toml", &broken);
    let text = desk
        .run(&["check", "cloth.toml", "broken.toml", "missing.toml"])
        .code(2);
    for words in [
        "cloth.toml: 2 cautions",
        "broken.toml: 4 errors",
        "cloth-of-gold",
        "there is no file missing.toml",
    ] {
        assert!(out(&text).contains(words), "{words} in {}", out(&text));
    }

    let doc = json(
        &desk
            .run(&["check", "broken.toml", "cloth.toml", "--json"])
            .code(2),
    );
    assert_eq!(doc["ok"], false);
    let [broken, good] = &doc["setups"].as_array().unwrap()[..] else {
        panic!("{doc}")
    };
    assert_eq!(
        (&broken["ok"], &good["ok"], &good["title"]),
        (&false.into(), &true.into(), &"Cloth on a table".into())
    );
    let errors: Vec<&Value> = broken["problems"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|p| p["severity"] == "error")
        .collect();
    assert_eq!(errors.len(), 4, "{broken}");
    for e in errors {
        assert!(
            e["line"].as_u64().unwrap() > 1 && e["column"].as_u64().unwrap() > 1,
            "{e}"
        );
        assert!(
            e["file"] == "broken.toml" && e["message"] != "" && e["hint"] != "",
            "{e}"
        );
    }
    desk.run(&["check", "cloth.toml"]).code(0);
}

#[test]
fn bad_paths_are_exit_2() {
    let desk = Desk::new();
    desk.put("empty.toml", "");
    fs::write(desk.path("noise.bin"), [0xff_u8; 64]).unwrap();
    fs::write(desk.path("cut.png"), b"\x89PNG\r\n\x1a\n\0\0").unwrap();
    fs::write(desk.path("long.toml"), vec![b'#'; 5 << 20]).unwrap();
    fs::create_dir(desk.path("folder")).unwrap();
    for (setup, words) in [
        ("missing.toml", "there is no file missing.toml"),
        ("cloth", "cloth.toml?"),
        ("folder", "is a folder"),
        ("empty.toml", "error"),
        ("noise.bin", "UTF-8"),
        ("cut.png", "damaged"),
        ("long.toml", "too long"),
    ] {
        let said = desk.run(&["read", setup]).code(2);
        assert!(err(&said).contains(words), "{setup}: {}", err(&said));
    }
}

#[test]
fn a_target_that_no_light_reaches_is_exit_2() {
    let desk = Desk::new();
    let key_away = CLOTH
        .replace(
            "walls = \"open\"",
            "walls = \"open\"\nreflectance = { floor = 0 }",
        )
        .replacen("aim = [0, 1, 0]", "aim = [-9, 1, 9]", 1);
    desk.put("away.toml", &key_away);
    let said = desk.trace(&["balance", "away.toml"]).code(2);
    assert!(
        err(&said).contains("light \"key\"") && err(&said).contains("hint:"),
        "{}",
        err(&said)
    );
}

// --- balance -------------------------------------------------------------------------------------

#[test]
fn balance_says_what_a_head_cannot_give() {
    let desk = Desk::new();
    let doc = json(&desk.trace(&["balance", "cloth.toml", "--json"]).code(0));
    let key = &doc["lights"][0];
    assert_eq!(
        (&key["target_f_number"], &key["target_point"]),
        (&8.0.into(), &"cloth".into())
    );
    let (amount, power) = (
        key["amount"].as_f64().unwrap(),
        key["power"].as_f64().unwrap(),
    );
    // Full output is 100 J at 30 lm s/J.
    assert!((power * 3000.0 / amount - 1.0).abs() < 1e-9, "{key}");
    let (head, error) = (
        key["head"]["power"].as_f64().unwrap(),
        key["head"]["error_stops"].as_f64().unwrap(),
    );
    assert!(
        ((head / power).log2() - error).abs() < 1e-9 && error.abs() <= 1.0 / 6.0 + 1e-9,
        "{key}"
    );
    assert!(
        ((3.0 * head.log2()).round() - 3.0 * head.log2()).abs() < 1e-6,
        "thirds of a stop: {head}"
    );
    // With the head at that step the key reads as much brighter.
    let set = &doc["with_heads_set"][0]["lights"][0];
    assert!(
        (set["exposure_lx_s"].as_f64().unwrap() / 160.0 - error.exp2()).abs() < 1e-6,
        "{set}"
    );

    desk.put("weak.toml", &CLOTH.replace("\"100 J\"", "\"10 J\""));
    let said = out(&desk.trace(&["balance", "weak.toml"]).code(0));
    assert!(
        said.contains("cannot give that") && said.contains("short") && said.contains("nearer"),
        "{said}"
    );
    desk.put("strong.toml", &CLOTH.replace("\"100 J\"", "\"10000 J\""));
    let said = out(&desk.trace(&["balance", "strong.toml"]).code(0));
    assert!(
        said.contains("cannot go so low") && said.contains("over"),
        "{said}"
    );
}

// --- new -----------------------------------------------------------------------------------------

#[test]
fn new_setups_are_sound_and_never_replace_a_file() {
    let desk = Desk::new();
    for kind in ["front", "side", "overhead", "swatch"] {
        let name = format!("my-{kind}");
        let said = desk.run(&["new", &name, "--kind", kind]).code(0);
        assert_eq!(out(&said), format!("my-{kind}.toml\n"));
        let said = out(&desk.run(&["check", &format!("{name}.toml")]).code(0));
        // That a fine cloth may show moiré on a sensor is no fault of the setup.
        let warnings = said.matches("warning: ").count();
        let moire = said.matches("moiré").count();
        assert!(!said.contains("error") && warnings <= moire, "{said}");
    }
    desk.put("mine.toml", "precious");
    assert!(err(&desk.run(&["new", "mine"]).code(2)).contains("--force"));
    assert_eq!(
        fs::read_to_string(desk.path("mine.toml")).unwrap(),
        "precious"
    );
    desk.run(&["new", "mine", "--force", "-q"]).code(0);
    let text = fs::read_to_string(desk.path("mine.toml")).unwrap();
    assert!(
        text.starts_with("title = \"Mine\"\n") && text.contains('#'),
        "{text}"
    );
    desk.run(&["new", "Other name", "--out", "there.toml"])
        .code(0);
    assert!(
        fs::read_to_string(desk.path("there.toml"))
            .unwrap()
            .starts_with("title = \"Other name\"\n")
    );
    assert!(err(&desk.run(&["new", "no/such/folder"]).code(2)).contains("mkdir"));
}

// --- still ---------------------------------------------------------------------------------------

#[test]
fn a_still_carries_its_setup_and_opens_as_one() {
    let desk = Desk::new();
    let doc = json(&desk.still("cloth.toml", &[]).code(0));
    assert_eq!(
        (&doc["still"], &doc["width"], &doc["height"]),
        (&"cloth.png".into(), &24.into(), &32.into())
    );
    assert_eq!(
        (&doc["samples_per_pixel"], &doc["interrupted"]),
        (&2.into(), &false.into())
    );
    assert_eq!(doc["readings"]["points"][0]["together"]["mark"], "f/8");

    let inside = swatchlight::report::read_still(&desk.path("cloth.png")).unwrap();
    assert_eq!(inside.setup_toml, CLOTH);
    assert_eq!(inside.title.as_deref(), Some("Cloth on a table"));
    let readings: Value = serde_json::from_str(&inside.readings_json.unwrap()).unwrap();
    assert_eq!(readings["points"], doc["readings"]["points"]);
    let rendering: Value = serde_json::from_str(&inside.rendering_json.unwrap()).unwrap();
    assert_eq!(rendering["samples_per_pixel"], 2);
    assert_eq!(rendering["executor"], "processor, 2 threads");

    desk.run(&["check", "cloth.png"]).code(0);
    let read = json(&desk.trace(&["read", "cloth.png", "--json"]).code(0));
    assert_eq!(read["points"], doc["readings"]["points"]);
    desk.still("cloth.png", &["--out", "again.png"]).code(0);
    assert_eq!(
        pixels(&desk.path("again.png")),
        pixels(&desk.path("cloth.png"))
    );
    assert!(
        pixels(&desk.path("cloth.png")).iter().any(|p| *p > 50),
        "there is light in it"
    );
}

#[test]
fn stills_never_replace_a_file_unless_forced() {
    let desk = Desk::new();
    desk.put("cloth.png", "precious");
    let refused = desk.still("cloth.toml", &[]).code(2);
    assert!(
        err(&refused).contains("already there") && err(&refused).contains("--force"),
        "{}",
        err(&refused)
    );
    assert!(
        !err(&refused).contains("Executor:"),
        "at once: {}",
        err(&refused)
    );
    assert_eq!(
        fs::read_to_string(desk.path("cloth.png")).unwrap(),
        "precious"
    );
    assert!(err(&desk.still("cloth.toml", &["--out", "no/x.png"]).code(2)).contains("mkdir"));
    assert_eq!(desk.files(), ["cloth.png", "cloth.toml"]);
    desk.still("cloth.toml", &["--force"]).code(0);
    assert_eq!(pixels(&desk.path("cloth.png")).len(), 3 * 24 * 32);
    assert_eq!(desk.files(), ["cloth.png", "cloth.toml"]);
}

#[test]
fn every_format_is_written_and_opens_again() {
    let desk = Desk::new();
    for name in ["a.png", "a.exr", "a.jpg", "a.tif"] {
        desk.still("cloth.toml", &["--out", name]).code(0);
        desk.run(&["check", name]).code(0);
    }
    desk.still("cloth.toml", &["--out", "deep.png", "--depth", "16"])
        .code(0);
    assert_eq!(
        image::open(desk.path("deep.png")).unwrap().color(),
        image::ColorType::Rgb16
    );
}

#[test]
fn threads_and_bands_leave_no_trace_in_the_picture() {
    let desk = Desk::new();
    for threads in ["1", "2"] {
        let name = format!("threads-{threads}.png");
        let command = &mut desk.command();
        command
            .args([
                "still",
                "cloth.toml",
                "--executor",
                "cpu",
                "--out",
                &name,
                "--threads",
                threads,
            ])
            .args(QUICK);
        command.assert().code(0);
    }
    assert_eq!(
        pixels(&desk.path("threads-1.png")),
        pixels(&desk.path("threads-2.png"))
    );
    for extension in ["png", "exr"] {
        let [whole, bands] = ["whole", "bands"].map(|name| format!("{name}.{extension}"));
        desk.still("cloth.toml", &["--out", &whole]).code(0);
        // A row takes 24 pixels of 64 bytes: seven rows to a band, and four in the last.
        let said = desk
            .still("cloth.toml", &["--out", &bands, "--film-memory", "0.011"])
            .code(0);
        assert!(err(&said).contains("in 5 bands"), "{}", err(&said));
        assert_eq!(
            fs::read(desk.path(&whole)).unwrap(),
            fs::read(desk.path(&bands)).unwrap(),
            "{extension}"
        );
    }
}

#[test]
fn a_still_stops_at_its_noise_or_says_that_it_did_not() {
    let desk = Desk::new();
    let still = |more: &[&str]| {
        let fixed = [
            "still",
            "cloth.toml",
            "--json",
            "--force",
            "--size",
            "24x32",
        ];
        json(&desk.trace(&[&fixed[..], more].concat()).code(0))
    };
    let met = still(&["--noise", "8"]);
    assert!(
        met["relative_error"].as_f64().unwrap() <= 0.08 && met["goal_met"] == true,
        "{met}"
    );
    let samples = |doc: &Value, key: &str| doc[key].as_u64().unwrap();
    assert!(samples(&met, "most_samples_per_pixel") >= samples(&met, "samples_per_pixel"));
    let unmet = still(&["--noise", "0.01", "--samples", "4"]);
    assert_eq!(
        (&unmet["samples_per_pixel"], &unmet["goal_met"]),
        (&4.into(), &false.into())
    );
    // What may be spent on a pixel holds for the noisiest too.
    assert_eq!(unmet["most_samples_per_pixel"], 4);
    let said = desk.trace(&[
        "still",
        "cloth.toml",
        "--force",
        "--size",
        "24x32",
        "--noise",
        "0.01",
        "--samples",
        "4",
    ]);
    assert!(out(&said.code(0)).contains("not the 0.01 % asked for"));
}

// --- Streams -------------------------------------------------------------------------------------

#[test]
fn quiet_says_only_results_and_errors() {
    let desk = Desk::new();
    for arguments in [
        &["read", "cloth.toml", "-q"][..],
        &[
            "still",
            "cloth.toml",
            "-q",
            "--size",
            "24x32",
            "--samples",
            "1",
        ],
    ] {
        let said = desk.trace(arguments).code(0);
        assert_eq!(err(&said), "");
        assert!(out(&said).contains("f/8"));
    }
    let said = desk.trace(&["read", "missing.toml", "-q"]).code(2);
    assert!(
        err(&said).starts_with("error: ") && err(&said).contains("\nhint: "),
        "{}",
        err(&said)
    );
    let loud = desk.trace(&["read", "cloth.toml"]).code(0);
    assert!(
        err(&loud).contains("Executor: processor, 2 threads (as asked for)"),
        "{}",
        err(&loud)
    );
}

#[cfg(unix)]
mod unix {
    use super::*;
    use std::io::{BufRead, BufReader};
    use std::os::unix::fs::PermissionsExt;
    use std::process::{Child, Command as Process, Stdio};
    use std::time::Duration;

    fn spawn(desk: &Desk, arguments: &[&str]) -> Child {
        Process::new(env!("CARGO_BIN_EXE_swatchlight"))
            .args(arguments)
            .args(["--executor", "cpu"])
            .current_dir(desk.folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    }

    /// Starts a still that would take hours, and waits until it renders.
    fn long_still(desk: &Desk, size: &str) -> (Child, BufReader<std::process::ChildStderr>) {
        let mut child = spawn(
            desk,
            &[
                "still",
                "cloth.toml",
                "--samples",
                "1000000",
                "--json",
                "--size",
                size,
            ],
        );
        let mut said = BufReader::new(child.stderr.take().unwrap());
        let mut line = String::new();
        while !line.starts_with("Rendering") {
            line.clear();
            assert!(
                said.read_line(&mut line).unwrap() > 0,
                "it ended before it rendered"
            );
        }
        (child, said)
    }

    fn interrupt(child: &Child) {
        assert!(
            Process::new("kill")
                .args(["-INT", &child.id().to_string()])
                .status()
                .unwrap()
                .success()
        );
    }

    #[test]
    fn an_interrupt_finishes_the_picture_with_what_it_has() {
        let desk = Desk::new();
        let (child, _said) = long_still(&desk, "60x80");
        std::thread::sleep(Duration::from_millis(300));
        interrupt(&child);
        let ended = child.wait_with_output().unwrap();
        assert_eq!(ended.status.code(), Some(130));
        let doc: Value = serde_json::from_slice(&ended.stdout).unwrap();
        assert_eq!(doc["interrupted"], true);
        assert!(
            (1..1_000_000).contains(&doc["samples_per_pixel"].as_u64().unwrap()),
            "{doc}"
        );
        assert_eq!(desk.files(), ["cloth.png", "cloth.toml"]);
        // Every row has its light.
        desk.trace(&[
            "still",
            "cloth.toml",
            "--samples",
            "16",
            "--size",
            "60x80",
            "--out",
            "calm.png",
        ])
        .code(0);
        let rows = |name| -> Vec<f64> {
            let sum = |row: &[u8]| row.iter().map(|p| f64::from(*p)).sum();
            pixels(&desk.path(name)).chunks(3 * 60).map(sum).collect()
        };
        let (calm, interrupted) = (rows("calm.png"), rows("cloth.png"));
        assert!(
            calm.iter().filter(|c| **c > 5000.0).count() > 40,
            "{calm:?}"
        );
        for (calm, interrupted) in calm.iter().zip(&interrupted).filter(|(c, _)| **c > 5000.0) {
            assert!(
                (interrupted / calm - 1.0).abs() < 0.2,
                "{interrupted} for {calm}"
            );
        }
        desk.run(&["check", "cloth.png"]).code(0);
    }

    #[test]
    fn a_second_interrupt_leaves_nothing() {
        let desk = Desk::new();
        // So large that finishing it takes far longer than the second interrupt.
        let (mut child, mut said) = long_still(&desk, "12000x12000");
        assert_eq!(
            desk.files().len(),
            2,
            "the picture is under way: {:?}",
            desk.files()
        );
        interrupt(&child);
        let mut line = String::new();
        said.read_line(&mut line).unwrap();
        assert!(line.contains("Ctrl-C again"), "{line}");
        std::thread::sleep(Duration::from_millis(100));
        interrupt(&child);
        assert_eq!(child.wait().unwrap().code(), Some(130));
        assert_eq!(desk.files(), ["cloth.toml"]);
    }

    #[test]
    fn a_closed_pipe_is_quiet_success() {
        let desk = Desk::new();
        for arguments in [
            &["read", "cloth.toml", "-q"][..],
            &["read", "cloth.toml", "-q", "--json"],
        ] {
            let mut child = spawn(&desk, arguments);
            drop(child.stdout.take());
            let ended = child.wait_with_output().unwrap();
            assert_eq!(ended.status.code(), Some(0));
            assert_eq!(String::from_utf8_lossy(&ended.stderr), "");
        }
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_full_disk_under_stdout_is_exit_1() {
        let desk = Desk::new();
        let full = fs::File::options().write(true).open("/dev/full").unwrap();
        let mut command = Process::new(env!("CARGO_BIN_EXE_swatchlight"));
        let ended = command
            .args(["new", "x"])
            .current_dir(desk.folder.path())
            .stdout(full)
            .output()
            .unwrap();
        assert_eq!(ended.status.code(), Some(1));
        assert!(
            String::from_utf8_lossy(&ended.stderr).starts_with("error: cannot write the result")
        );
    }

    /// Refused at once, with advice.
    #[test]
    fn a_closed_folder_is_exit_2() {
        let desk = Desk::new();
        let closed = desk.path("closed");
        fs::create_dir(&closed).unwrap();
        fs::set_permissions(&closed, fs::Permissions::from_mode(0o555)).unwrap();
        // The superuser may write there all the same, but not here.
        let closed = if fs::write(closed.join("probe"), "").is_ok() {
            PathBuf::from("/sys/kernel")
        } else {
            closed
        };
        let picture = closed.join("x.png");
        let said = desk
            .still("cloth.toml", &["--out", picture.to_str().unwrap()])
            .code(2);
        assert!(
            err(&said).contains("no permission to write") && err(&said).contains("--out"),
            "{}",
            err(&said)
        );
        assert!(!err(&said).contains("Executor:"), "{}", err(&said));
    }
}

/// Where no window can be opened it is said what to do, in words of our own, and that the rest works.
#[test]
#[cfg(all(unix, not(target_os = "macos")))]
fn without_a_screen_the_window_says_what_to_do() {
    for (display, wayland) in [(None, None), (Some(":7777"), None), (None, Some("none"))] {
        let place = Desk::new();
        let mut command = place.command();
        for (key, value) in [("DISPLAY", display), ("WAYLAND_DISPLAY", wayland)] {
            match value {
                Some(value) => command.env(key, value),
                None => command.env_remove(key),
            };
        }
        let run = command.env_remove("WAYLAND_SOCKET").arg("open").assert();
        let said = err(&run.code(1).stdout(""));
        assert!(said.starts_with("error: no window can be opened"), "{said}");
        assert!(
            said.contains("DISPLAY")
                && said.contains("xvfb")
                && said.contains("command line works"),
            "{said}"
        );
        assert!(
            !said.contains(".rs") && !said.contains("registry"),
            "{said}"
        );
    }
}

/// A folder that holds no setups is nobody's to empty.
#[test]
fn making_ready_empties_nothing_beside_no_setups() {
    let desk = Desk::new();
    let kept = desk.folder.path().join("made/kept.txt");
    fs::create_dir(kept.parent().unwrap()).unwrap();
    fs::write(&kept, "mine").unwrap();
    let said = err(&desk.run(&["make-ready", "."]).code(2));
    assert!(
        said.contains("setups") && said.contains("make-ready models"),
        "{said}"
    );
    assert_eq!(fs::read_to_string(kept).unwrap(), "mine");
}
