//! Fabrics of one's own: the command that lists, imports and photographs them, and the handbook's list of
//! keys, held to what the reader takes.

use assert_cmd::Command;
use assert_cmd::assert::Assert;
use serde_json::Value;
use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::fs;
use std::path::{Path, PathBuf};
use swatchlight::fabric::draft::{Drawdown, read_wif};
use swatchlight::fabric::{Fabric, Structure};
use swatchlight::report::fabric_page::maps_png::{MapKind, map_png};
use tempfile::TempDir;

/// A right-hand 2/1 twill of blue ends and white picks.
const WIF: &str = "[WIF]\nVersion=1.1\nDate=April 20, 1997\nDevelopers=nobody\nSource Program=invented\n\
[CONTENTS]\nTEXT=yes\nWEAVING=yes\nWARP=yes\nWEFT=yes\nCOLOR PALETTE=yes\nCOLOR TABLE=yes\nTHREADING=yes\n\
TIEUP=yes\nTREADLING=yes\n[TEXT]\nTitle=Invented twill\n[WEAVING]\nShafts=3\nTreadles=3\nRising Shed=yes\n\
[WARP]\nThreads=3\nColor=1\nUnits=centimeters\nSpacing=0.04\n[WEFT]\nThreads=3\nColor=2\n\
[COLOR PALETTE]\nEntries=2\nRange=0,255\n[COLOR TABLE]\n1=30,40,160\n2=250,250,250\n\
[THREADING]\n1=1\n2=2\n3=3\n[TIEUP]\n1=1,2\n2=2,3\n3=3,1\n[TREADLING]\n1=1\n2=2\n3=3\n";

struct Desk(TempDir);

impl Desk {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn put(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs::write(self.path(name), bytes).unwrap();
    }

    fn read(&self, name: &str) -> Fabric {
        read(&self.path(name))
    }

    fn run(&self, arguments: &[&str]) -> Assert {
        Command::new(env!("CARGO_BIN_EXE_swatchlight"))
            .current_dir(self.0.path())
            .arg("fabric")
            .args(arguments)
            .assert()
    }

    fn files(&self) -> Vec<String> {
        let mut all: Vec<String> = fs::read_dir(self.0.path())
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        all.sort();
        all
    }
}

fn read(path: &Path) -> Fabric {
    let text = fs::read_to_string(path).unwrap();
    let beside = |name: &str| fs::read(path.with_file_name(name)).map_err(|e| e.to_string());
    Fabric::parse(&text, &beside).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn out(assert: &Assert) -> String {
    String::from_utf8(assert.get_output().stdout.clone()).unwrap()
}

fn err(assert: &Assert) -> String {
    String::from_utf8(assert.get_output().stderr.clone()).unwrap()
}

fn json(assert: &Assert) -> Value {
    serde_json::from_str(&out(assert)).unwrap()
}

// --- Listing and showing -------------------------------------------------------------------------

#[test]
fn the_command_lists_and_shows() {
    let desk = Desk::new();
    let list = out(&desk.run(&[]).code(0));
    for name in ["denim", "silk-satin", "single-jersey", "leather"] {
        assert!(list.contains(name), "{list}");
    }
    let listed = json(&desk.run(&["--json"]).code(0));
    let listed = listed["fabrics"].as_array().unwrap();
    assert!(listed.len() >= 17 && listed.iter().all(|f| f["error"].is_null()));

    let shown = desk.run(&[
        "poplin",
        "--samples",
        "4",
        "--executor",
        "cpu",
        "--threads",
        "2",
        "--out",
        "p.svg",
        "--quiet",
    ]);
    let text = out(&shown.code(0));
    assert!(
        text.contains("weave contrast, relief") && text.contains("g/m²"),
        "{text}"
    );
    assert!(text.lines().all(|l| l.chars().count() <= 100), "{text}");
    let svg = fs::read_to_string(desk.path("p.svg")).unwrap();
    assert!(svg.starts_with("<?xml") && svg.trim_end().ends_with("</svg>"));
}

#[test]
fn the_command_says_what_is_wrong() {
    let desk = Desk::new();
    desk.put("old.png", "mine");
    desk.put(
        "bad.toml",
        "title = \"x\"\n[velvet]\ncolour = [0.1, 0.1, 0.1]\npile_cm = 1\n",
    );
    desk.put("none.toml", "title = \"x\"\n");
    desk.put("draft.txt", "X.\n.Q\n");
    desk.put("bad.wif", "[WIF]\nVersion=1.1\n[WEAVING]\nShafts=many\n");
    let typed = ["--warp", "Ne 30", "--out", "made.toml"];
    let setts = ["--ends-per-cm", "30", "--picks-per-cm", "30"];
    let import = |file: &'static str, more: &[&'static str]| -> Vec<&'static str> {
        ["import", file]
            .iter()
            .chain(&typed)
            .chain(more)
            .copied()
            .collect()
    };
    for (arguments, said) in [
        (vec!["deni"], "did you mean denim"),
        (vec!["nothing-like-it"], "lists all there are"),
        (vec!["./missing.toml"], "there is no file"),
        (vec!["bad.toml"], "line 4"),
        (vec!["bad.toml"], "pile_cm"),
        (vec!["none.toml"], "woven, jersey"),
        (vec!["denim", "--out", "old.png"], "--force"),
        (vec!["denim", "--out", "old.pdf"], ".png or .svg"),
        (vec!["velvet", "--wif", "v.wif"], "not woven"),
        (vec!["--out", "page.png"], "NAME"),
        (import("draft.txt", &setts), "draft.txt:2:2"),
        (import("bad.wif", &setts), "bad.wif:4"),
        (import("lost.wif", &setts), "lost.wif"),
        (vec!["photograph", "bad.toml", "--out", "a.png"], ".toml"),
        (
            vec!["photograph", "bad.toml", "--out", "a.toml"],
            "bad.toml: line",
        ),
    ] {
        let failed = desk.run(&arguments).code(2);
        assert!(
            err(&failed).contains(said),
            "{arguments:?}: {}",
            err(&failed)
        );
        assert_eq!(out(&failed), "");
    }
    let left = ["bad.toml", "bad.wif", "draft.txt", "none.toml", "old.png"];
    assert_eq!(desk.files(), left, "nothing else is left");
}

// --- Drafts --------------------------------------------------------------------------------------

#[test]
fn a_wif_becomes_a_fabric_and_goes_out_again() {
    let desk = Desk::new();
    desk.put("mine.wif", WIF);
    let made = desk.run(&[
        "import",
        "mine.wif",
        "--warp",
        "Ne 30",
        "--weft",
        "Nm 40",
        "--picks-per-cm",
        "22",
        "--out",
        "twill.toml",
        "--json",
    ]);
    assert_eq!(json(&made.code(0))["wif"], "twill.wif");
    assert_eq!(
        fs::read_to_string(desk.path("twill.wif")).unwrap(),
        WIF,
        "copied as it is"
    );
    let fabric = desk.read("twill.toml");
    assert_eq!(fabric.title, "Invented twill");
    let Structure::Woven(cloth) = &fabric.structure else {
        panic!("woven")
    };
    // 0.04 cm apart: 25 to the centimetre, by the file itself.
    assert!((cloth.spec.ends_per_cm - 25.0).abs() < 1e-9);
    assert_eq!(cloth.spec.picks_per_cm, 22.0);
    let twill = Drawdown::from_grid("X.X\n.XX\nXX.\n").unwrap();
    for (end, pick) in (0..9).flat_map(|e| (0..9).map(move |p| (e, p))) {
        let drafted = &cloth.drafted.drawdown;
        assert_eq!(drafted.warp_on_top(end, pick), twill.warp_on_top(end, pick));
    }
    // IEC 61966-2-1: 30/255 is 0.012983 of full light.
    assert!((cloth.drafted.warp[0][0] - 0.012_983).abs() < 1e-5);

    desk.run(&["./twill.toml", "--wif", "again.wif", "--quiet"])
        .code(0);
    let again = read_wif(&fs::read(desk.path("again.wif")).unwrap())
        .unwrap()
        .draft;
    let made = again.drawdown().unwrap();
    assert!(made.warp_on_top(0, 0) == twill.warp_on_top(0, 0) && made.ends() == 3);
    let colour = again.warp_reflectance(0).unwrap();
    assert!((colour[0] - 0.012_983).abs() < 1e-5);

    // Never over another, unless told to.
    let again = [
        "import",
        "mine.wif",
        "--warp",
        "Ne 30",
        "--picks-per-cm",
        "22",
        "--out",
        "twill.toml",
    ];
    assert!(err(&desk.run(&again).code(2)).contains("--force"));
    desk.run(&[&again[..], &["--force"]].concat()).code(0);
}

#[test]
fn a_grid_becomes_a_fabric() {
    let desk = Desk::new();
    desk.put("basket.txt", "..XX\n..XX\nXX..\nXX..\n");
    let made = desk.run(&[
        "import",
        "basket.txt",
        "--warp",
        "Nm 2/40",
        "--fibre",
        "wool",
        "--ends-per-cm",
        "14",
        "--picks-per-cm",
        "13",
        "--title",
        "Say \"hopsack\"",
        "--out",
        "basket.toml",
    ]);
    assert_eq!(out(&made.code(0)), "basket.toml\n");
    let fabric = desk.read("basket.toml");
    assert_eq!(fabric.title, "Say \"hopsack\"");
    let Structure::Woven(cloth) = &fabric.structure else {
        panic!("woven")
    };
    assert_eq!(
        cloth.drafted.drawdown.to_string(),
        "..XX\n..XX\nXX..\nXX..\n"
    );
    assert_eq!(cloth.spec.warp.fibre, "wool");
    assert_eq!(desk.files(), ["basket.toml", "basket.txt"]);

    // Without setts there is none to go by; too many are warned of.
    let bare = [
        "import",
        "basket.txt",
        "--warp",
        "Nm 2/40",
        "--out",
        "b.toml",
    ];
    assert!(err(&desk.run(&bare).code(2)).contains("--ends-per-cm"));
    let dense = [&bare[..], &["--ends-per-cm", "80", "--picks-per-cm", "80"]].concat();
    assert!(err(&desk.run(&dense).code(0)).contains("too dense"));
    let absurd = [
        "import",
        "basket.txt",
        "--warp",
        "Ne 3000000",
        "--ends-per-cm",
        "8",
        "--picks-per-cm",
        "8",
        "--out",
        "c.toml",
    ];
    assert!(err(&desk.run(&absurd).code(2)).contains("tex"));
}

// --- Photographs ---------------------------------------------------------------------------------

const SIDE: usize = 48;

/// Slopes of an invented relief, right and up.
fn slope(column: usize, row: usize) -> [f64; 2] {
    let (x, y) = (column as f64 / SIDE as f64, -(row as f64) / SIDE as f64);
    [
        0.35 * (3.0 * TAU * x).cos() + 0.1 * (2.0 * TAU * y).sin(),
        0.3 * (4.0 * TAU * y).cos(),
    ]
}

fn normal(column: usize, row: usize) -> [f64; 3] {
    let [p, q] = slope(column, row);
    let length = (1.0 + p * p + q * q).sqrt();
    [-p / length, -q / length, 1.0 / length]
}

/// Matt pictures (Lambert's law: I = albedo L·n) under six lights 40° off, as linear PNGs.
fn shoot(desk: &Desk) -> String {
    let mut list =
        String::from("title = \"Invented relief\"\nwidth_mm = 12\nencoding = \"linear\"\n");
    for k in 0..6 {
        let around = 60.0 * k as f64;
        let (s, c) = 40f64.to_radians().sin_cos();
        let (sa, ca) = around.to_radians().sin_cos();
        let light = [s * ca, s * sa, c];
        let pixels: Vec<[f32; 3]> = (0..SIDE * SIDE)
            .map(|at| {
                let n = normal(at % SIDE, at / SIDE);
                let cosine: f64 = (0..3).map(|i| n[i] * light[i]).sum();
                [0.5, 0.4, 0.3].map(|a| (a * cosine.max(0.0)) as f32)
            })
            .collect();
        let name = format!("shot-{k}.png");
        desk.put(
            &name,
            map_png(SIDE, SIDE, MapKind::Vectors, &pixels).unwrap(),
        );
        list += &format!(
            "[[shot]]\npicture = \"{name}\"\nfrom_normal_deg = 40\naround_deg = {around}\n"
        );
    }
    list
}

#[test]
fn photographs_become_a_fabric() {
    let desk = Desk::new();
    let list = shoot(&desk);
    desk.put("shots.toml", format!("take_out = \"nothing\"\n{list}"));
    let made = json(
        &desk
            .run(&["photograph", "shots.toml", "--out", "relief.toml", "--json"])
            .code(0),
    );
    assert!(made["residual_rms"].as_f64().unwrap() < 1e-3, "{made}");
    assert_eq!(made["shots"].as_array().unwrap().len(), 6);

    // The normal map holds what was lit, green up, to within 16 bits and the fit: under 0.1° here.
    let map = image::open(desk.path("relief-normal.png"))
        .unwrap()
        .into_rgb16();
    let mut sum = 0.0;
    for (x, y, p) in map.enumerate_pixels() {
        let n: Vec<f64> =
            p.0.iter()
                .map(|v| 2.0 * f64::from(*v) / 65535.0 - 1.0)
                .collect();
        let wanted = normal(x as usize, y as usize);
        // Codes round a vector's length too.
        let length = n.iter().map(|v| v * v).sum::<f64>().sqrt();
        let cosine: f64 = (0..3).map(|i| n[i] * wanted[i]).sum::<f64>() / length;
        sum += cosine.clamp(-1.0, 1.0).acos().to_degrees();
    }
    let mean = sum / (SIDE * SIDE) as f64;
    assert!(mean < 0.1, "{mean}°");
    let fabric = desk.read("relief.toml");
    let Structure::Maps(maps) = &fabric.structure else {
        panic!("maps")
    };
    let albedo = maps.set.albedo.as_ref().unwrap()[SIDE * 20 + 20];
    for (found, wanted) in albedo.iter().zip([0.5, 0.4, 0.3]) {
        assert!((found - wanted).abs() < 2e-3, "{albedo:?}");
    }
    assert_eq!(maps.set.width_mm, 12.0);
    assert!(!maps.set.relief.as_ref().unwrap().notes.green_doubtful);

    // Never over another; cut out, the maps are as large as the cut.
    let again = ["photograph", "shots.toml", "--out", "relief.toml"];
    assert!(err(&desk.run(&again).code(2)).contains("--force"));
    desk.put(
        "cut.toml",
        format!("crop_px = [8, 4, 30, 20]\nmean_reflectance = 0.2\n{list}"),
    );
    let text = out(&desk
        .run(&["photograph", "cut.toml", "--out", "cut-out.toml"])
        .code(0));
    assert!(
        text.contains("30 × 20 pixels") && text.contains("residual"),
        "{text}"
    );
}

/// A polished ball shows the light where its normal stands halfway between light and camera.
#[test]
fn a_ball_tells_the_light() {
    let desk = Desk::new();
    let list = shoot(&desk);
    // Drawn over the third shot's corner: light from 40° off, 120° around.
    let (s, c) = 20f64.to_radians().sin_cos();
    let (sa, ca) = 120f64.to_radians().sin_cos();
    let (centre, radius) = ([36.0, 36.0], 10.0);
    let spot = [centre[0] + radius * s * ca, centre[1] - radius * s * sa];
    assert!(c > 0.9);
    let mut picture = image::open(desk.path("shot-2.png")).unwrap().into_rgb16();
    for (x, y, p) in picture.enumerate_pixels_mut() {
        let at = [f64::from(x) + 0.5, f64::from(y) + 0.5];
        let far = |p: [f64; 2]| (at[0] - p[0]).hypot(at[1] - p[1]);
        if far(centre) < radius + 1.0 {
            p.0 = [if far(spot) < 1.3 { 60000 } else { 1500 }; 3];
        }
    }
    picture.save(desk.path("shot-2.png")).unwrap();
    let by_ball = "ball = { centre_px = [36, 36], radius_px = 10 }\n";
    let list = list.replace("from_normal_deg = 40\naround_deg = 120\n", by_ball);
    desk.put("shots.toml", format!("crop_px = [0, 0, 24, 24]\n{list}"));
    let made = json(
        &desk
            .run(&["photograph", "shots.toml", "--out", "r.toml", "--json"])
            .code(0),
    );
    let third = &made["shots"][2];
    // A pixel is about 6° here.
    assert!(
        (third["from_normal_deg"].as_f64().unwrap() - 40.0).abs() < 6.0,
        "{third}"
    );
    assert!(
        (third["around_deg"].as_f64().unwrap() - 120.0).abs() < 8.0,
        "{third}"
    );
}

#[test]
fn faulty_lists_of_shots_are_refused() {
    let desk = Desk::new();
    let list = shoot(&desk);
    let first_light = "from_normal_deg = 40\naround_deg = 0\n";
    for (text, said) in [
        (list.replace("width_mm = 12\n", ""), "width_mm"),
        (list.replace("width_mm = 12", "width_cm = 12"), "width_cm"),
        (list.replace("width_mm = 12", "width_mm = nan"), "width_mm"),
        (list.replace("shot-3", "shot-9"), "shot-9.png"),
        (list.replace(first_light, ""), "shot 1"),
        (
            list.replacen("from_normal_deg = 40", "from_normal_deg = 95", 1),
            "0 to 89",
        ),
        (format!("crop_px = [40, 0, 20, 20]\n{list}"), "crop_px"),
        (
            format!(
                "ball = {{ centre_px = [500, 5], radius_px = 9 }}\n{}",
                list.replace(first_light, "")
            ),
            "ball",
        ),
        (
            list.split("[[shot]]")
                .take(4)
                .collect::<Vec<_>>()
                .join("[[shot]]"),
            "4 to 12",
        ),
        ("not TOML [".to_owned(), "line 1"),
    ] {
        desk.put("shots.toml", &text);
        let failed = desk
            .run(&["photograph", "shots.toml", "--out", "r.toml"])
            .code(2);
        assert!(err(&failed).contains(said), "{said}: {}", err(&failed));
    }
    assert!(
        !desk.files().iter().any(|f| f.starts_with("r")),
        "nothing is left"
    );
}

// --- The handbook --------------------------------------------------------------------------------

/// A fabric with one table of every kind that `docs/fabrics.md` lists, by the table's name there, and
/// where a line of that table goes in the text.
fn samples() -> BTreeMap<&'static str, (String, &'static str)> {
    const YARN: &str = "count = \"Ne 20\"\ncolour = [0.5, 0.5, 0.5]\n";
    const VELVET: &str = "[velvet]\ncolour = [0.1, 0.1, 0.1]\n";
    let top = "title = \"x\"\n";
    let woven = format!(
        "{top}[woven]\nweave = \"plain\"\nends_per_cm = 20\npicks_per_cm = 20\n#woven\n\
         [woven.warp]\n{YARN}#yarn\n[woven.weft]\n{YARN}\
         [woven.warp.slubs]\n#slubs\n[woven.warp.skin]\n#skin\n"
    );
    let plain = format!("{top}#top\n[light]\n#light\n[behind]\n#behind\n{VELVET}#velvet\n");
    let hairs = format!(
        "{top}{VELVET}[hairs]\nper_sqmm = 3\nlength_mm = [0.4, 1]\ncolour = [0.2, 0.2, 0.2]\n#hairs\n"
    );
    let knit = |table: &str, lines: &str| {
        format!("{top}[{table}]\n{lines}#{table}\n[{table}.yarn]\n{YARN}#knit\n")
    };
    let jersey = knit("jersey", "");
    let rib = knit("rib", "wales_per_cm = 8\ncourses_per_cm = 9\n");
    let net = "hole_mm = 1.5\ncount = \"50 denier\"\ncolour = [0.4, 0.4, 0.4]\n";
    let one = |table: &str, lines: &str| format!("{top}[{table}]\n{lines}#{table}\n");
    let colour = "colour = [0.1, 0.1, 0.1]\n";
    let ground = "ground_colour = [0.1, 0.1, 0.1]\n";
    BTreeMap::from([
        ("title, seed", (plain.clone(), "#top")),
        ("[light]", (plain.clone(), "#light")),
        ("[behind]", (plain.clone(), "#behind")),
        ("[velvet]", (plain, "#velvet")),
        ("[hairs]", (hairs, "#hairs")),
        ("[woven]", (woven.clone(), "#woven")),
        ("[woven.warp], [woven.weft]", (woven.clone(), "#yarn")),
        ("slubs", (woven.clone(), "#slubs")),
        ("skin", (woven, "#skin")),
        ("[jersey]", (jersey.clone(), "#jersey")),
        ("[jersey.yarn], [rib.yarn]", (jersey, "#knit")),
        ("[rib]", (rib, "#rib")),
        ("[net]", (one("net", net), "#net")),
        (
            "[lace]",
            (
                format!("{top}[lace]\n{colour}#lace\n[lace.net]\n{net}"),
                "#lace",
            ),
        ),
        (
            "[corduroy]",
            (one("corduroy", &format!("{colour}{ground}")), "#corduroy"),
        ),
        ("[leather]", (one("leather", colour), "#leather")),
        (
            "[sequins]",
            (
                one("sequins", &format!("{colour}{ground}thread_{colour}")),
                "#sequins",
            ),
        ),
        (
            "[maps]",
            (one("maps", "width_mm = 10\nalbedo = \"a.png\"\n"), "#maps"),
        ),
    ])
}

/// A picture for the maps of the samples.
fn any_picture(_: &str) -> Result<Vec<u8>, String> {
    map_png(4, 4, MapKind::Colour, &[[0.5; 3]; 16]).map_err(|e| e.to_string())
}

/// The tables of docs/fabrics.md: by heading, key and default as they stand there.
fn handbook() -> BTreeMap<String, Vec<(String, String)>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/fabrics.md");
    let text = fs::read_to_string(path).expect("docs/fabrics.md");
    let mut tables: BTreeMap<String, Vec<(String, String)>> = BTreeMap::new();
    let mut heading = String::new();
    for line in text.lines() {
        if let Some(found) = line.strip_prefix("#### ") {
            heading = found.replace('`', "");
        } else if line.starts_with('#') {
            heading.clear();
        }
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        if !heading.is_empty() && cells.len() >= 6 && cells[1].starts_with('`') {
            let row = (cells[1].replace('`', ""), cells[3].replace('`', ""));
            tables.entry(heading.clone()).or_default().push(row);
        }
    }
    tables
}

/// The keys that the reader would have taken, by its own words about one that it does not know.
fn known_keys(sample: &str, mark: &str) -> Vec<String> {
    let text = sample.replace(mark, "zzzz = 1");
    let error = Fabric::parse(&text, &any_picture)
        .expect_err("an unknown key")
        .to_string();
    assert!(error.contains("unknown field `zzzz`"), "{error}");
    let list = error.split("expected").nth(1).expect("a list");
    list.split('`')
        .skip(1)
        .step_by(2)
        .map(str::to_owned)
        .collect()
}

#[test]
fn the_handbook_lists_every_key_with_its_default() {
    let (samples, handbook) = (samples(), handbook());
    for (table, (sample, mark)) in &samples {
        let listed = handbook
            .get(*table)
            .unwrap_or_else(|| panic!("docs/fabrics.md has no {table}"));
        let mut keys: Vec<&str> = listed.iter().map(|(key, _)| key.as_str()).collect();
        let mut known = known_keys(sample, mark);
        if *mark == "#top" {
            // The tables have headings of their own.
            known.retain(|k| k == "title" || k == "seed");
        }
        keys.sort_unstable();
        known.sort_unstable();
        assert_eq!(keys, known, "{table}");
        let without =
            Fabric::parse(sample, &any_picture).unwrap_or_else(|e| panic!("{table}: {e}"));
        for (key, default) in listed {
            if ["needed", "none", "below"].contains(&default.as_str()) {
                continue;
            }
            let with = Fabric::parse(
                &sample.replace(mark, &format!("{key} = {default}")),
                &any_picture,
            )
            .unwrap_or_else(|e| panic!("{table}, {key} = {default}: {e}"));
            // What was typed is in the file's own copy of the maps.
            if *table != "[maps]" {
                assert_eq!(with, without, "{table}: {key} is not {default} by itself");
            }
        }
        for (key, default) in listed.iter().filter(|(_, d)| d == "needed") {
            let line = format!("\n{key} = ");
            if let Some(at) = sample.find(&line) {
                let end = at + 1 + sample[at + 1..].find('\n').unwrap_or(0);
                let cut = format!("{}{}", &sample[..at], &sample[end..]);
                assert!(
                    Fabric::parse(&cut, &any_picture).is_err(),
                    "{table}: {key} is {default}"
                );
            }
        }
    }
    assert_eq!(handbook.len(), samples.len(), "{:?}", handbook.keys());
}

/// Cloths that the handbook writes out can be made, and woven.
#[test]
fn the_handbooks_examples_are_fabrics() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/fabrics.md");
    let text = fs::read_to_string(path).expect("docs/fabrics.md");
    let mut seen = 0;
    for block in text.split("```toml\n").skip(1) {
        let block = block.split("```").next().unwrap_or_default();
        if !block.contains("[woven]") {
            continue;
        }
        let fabric = Fabric::parse(block, &any_picture).unwrap_or_else(|e| panic!("{e}\n{block}"));
        let Structure::Woven(cloth) = &fabric.structure else {
            panic!("woven")
        };
        let construction = cloth.spec.construction().unwrap();
        let faults = construction.faults(&cloth.drafted.drawdown).unwrap();
        assert!(faults.is_empty(), "{faults:?}");
        seen += 1;
    }
    assert!(seen > 0);
}
