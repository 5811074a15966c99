//! Sheets: what a PDF reader and a browser make of them. Poppler's tools and Chromium judge; where they
//! are missing the tests fail and say what to install.

use std::fs;
use std::io::ErrorKind;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::swatch_view::SwatchShot;
use swatchlight::measure::take::Take;
use swatchlight::photometry::colour::light::{LightKind, linear_srgb_through_gel, luminance};
use swatchlight::render::cpu::Cpu;
use swatchlight::render::driver::{Goal, render};
use swatchlight::render::film::Film;
use swatchlight::report::sheet::{ClothSeen, Paper, Seen, Sheet, html, pdf};
use swatchlight::report::{BitDepth, Layer, Picture, develop};
use swatchlight::scene::models::Models;
use swatchlight::setup::{Checked, parse_bytes};

/// Two lights, a board, a swatch; every name does its worst.
const SETUP: &str = r##"
title = "</title><script>document.title='owned'</script> שלום 漢字 👗 & \"more\" <b>bold</b>"
notes = "Read <i>this</i> & that"
[room]
walls = "open"
reflectance = { floor = 0.2 }
[swatch]
fabric = "cotton-plain"
at = [0, 1.3, 0]
facing = "camera"
size = "40 x 40 cm"
[camera]
at = [0, 1.3, 1.6]
aim = "swatch"
focal_length = "60 mm"
f_number = "as metered"
pixels = "60 x 90"
white_balance = "grey card"
[[light]]
name = "<img src=http://127.0.0.1:PORT/a>"
modifier = { kind = "panel", size = "0.6 x 0.6 m" }
at = [-1.2, 1.8, 1.2]
aim = "swatch"
meters = "f/8"
metered_at = { name = "cloth", at = [0, 1.3, 0], facing = [0, 0, 1] }
colour = "5600 K"
head = { energy = "400 J", least = "1/128", step = "1/3 stop" }
[[light]]
name = "LONG"
modifier = { kind = "panel", size = "1 x 1 m" }
at = [1.5, 2.2, 1.0]
aim = "swatch"
feather = "10 deg toward camera"
output = "800 lm s"
colour = "4300 K"
gel = "+60 mired"
[[light]]
name = "מנורה ضوء"
modifier = { kind = "panel", size = "0.3 x 1.2 m" }
at = [0.2, 2.4, -0.6]
aim = "swatch"
stand = "boom"
output = "500 lm s"
[[board]]
name = "card"
finish = "white"
size = "0.6 x 0.9 m"
distance = "0.9 m"
bearing = "80 deg right"
height = "1.2 m"
aim = "swatch"
[meter]
expose_at = { name = "cloth", at = [0, 1.3, 0], facing = [0, 0, 1] }
points = [{ name = "cloth", at = [0, 1.3, 0], facing = [0, 0, 1] }]
"##;

/// A sheet and the light it was made from.
struct Made {
    take: Take,
    picture: Picture,
    sheet: Sheet,
}

fn made(text: &str) -> Made {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let root = if root.join("models").is_dir() {
        root.to_owned()
    } else {
        root.join("..")
    };
    let models = Models::for_setup(&root.join("models/setups/sheet-test.toml"));
    let parsed = parse_bytes(
        text.as_bytes(),
        "sheet-test.toml",
        &models,
        Default::default(),
    );
    let Checked { setup, notes } = parsed.unwrap_or_else(|e| panic!("{e}"));
    let stop = AtomicBool::new(false);
    let mut cpu = Cpu::new(0).expect("an executor");
    let rough = GatherGoal {
        relative_error: 0.02,
        most_blocks: 256,
    };
    let take = Take::new(setup, &models, &mut cpu, rough, &stop).unwrap_or_else(|e| panic!("{e}"));
    let [width, height] = take.setup.camera.pixels;
    let layers = take.weights.len() as u32;
    let mut film = Film::new(width, 0, height, layers);
    let goal = Goal {
        samples: 8,
        relative_error: None,
    };
    render(&mut cpu, &take.studio.scene, &mut film, goal, &stop, |_| {}).expect("a picture");
    let mixed = |(k, weight): (usize, &[f64; 3])| Layer {
        name: take.setup.lights[k].name.clone(),
        rgb: (0..height)
            .flat_map(|y| (0..width).map(move |x| (x, y)))
            .map(|(x, y)| {
                let light = film.mean(x, y, k as u32);
                std::array::from_fn(|c| (f64::from(light[c]) * weight[c]) as f32)
            })
            .collect(),
    };
    let picture = Picture {
        width,
        height,
        layers: take.weights.iter().enumerate().map(mixed).collect(),
        ..Picture::default()
    };
    let cloth = ClothSeen {
        fabric: "cotton-plain".into(),
        true_size: shot(),
        magnified: shot(),
        weave: None,
    };
    let sheet = Sheet::new(&Seen {
        take: &take,
        models: &models,
        notes: &notes,
        picture: Some(&picture),
        cloth: Some(&cloth),
        date: "4 May 2031",
    })
    .expect("a sheet");
    Made {
        take,
        picture,
        sheet,
    }
}

/// A piece of even grey, 12 pixels to the millimetre of paper.
fn shot() -> SwatchShot {
    let (width, height) = (720, 480);
    SwatchShot {
        width,
        height,
        mm_per_px: 1.0 / 12.0,
        rgb: vec![[0.18; 3]; width * height],
        luminance: vec![0.18; width * height],
        errors: vec![0.0; width * height],
        samples: 1,
    }
}

/// The hostile sheet, and what listens where its names would fetch from.
fn hostile() -> &'static (Made, TcpListener) {
    static MADE: OnceLock<(Made, TcpListener)> = OnceLock::new();
    MADE.get_or_init(|| {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        listener.set_nonblocking(true).expect("a listener");
        let port = listener.local_addr().expect("an address").port();
        let text = SETUP
            .replace("PORT", &port.to_string())
            .replace("LONG", &"W".repeat(40));
        (made(&text), listener)
    })
}

/// Whether what other tools judge is to be left out, as on a machine with nothing but Rust.
fn left_out() -> bool {
    let asked = std::env::var_os("SWATCHLIGHT_SKIP_TOOL_TESTS").is_some();
    if asked {
        eprintln!("left out, as asked for");
    }
    asked
}

/// Runs a tool that judges; says what to install where it is missing.
fn tool(name: &str, package: &str, arguments: &[&str]) -> String {
    let output = Command::new(name).args(arguments).output();
    let output = output.unwrap_or_else(|e| {
        panic!("cannot run {name} ({e}): install the Debian package {package}, or set SWATCHLIGHT_SKIP_TOOL_TESTS=1")
    });
    assert!(
        output.status.success(),
        "{name}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn poppler(name: &str, arguments: &[&str]) -> String {
    tool(name, "poppler-utils", arguments)
}

/// The page's document after its scripts have run.
fn browsed(page: &Path) -> String {
    let profile = tempfile::tempdir().expect("a folder");
    tool(
        "chromium",
        "chromium",
        &[
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            &format!("--user-data-dir={}", profile.path().display()),
            "--virtual-time-budget=30000",
            "--dump-dom",
            &format!("file://{}", page.display()),
        ],
    )
}

fn written(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    fs::write(&path, bytes).expect("a file");
    path
}

#[test]
fn a_pdf_is_tagged_and_the_same_each_time() {
    let (made, _) = hostile();
    let one = pdf(std::slice::from_ref(&made.sheet), Paper::A4).expect("a document");
    let again = pdf(std::slice::from_ref(&made.sheet), Paper::A4).expect("a document");
    assert!(one == again, "the same sheet gives the same bytes");
    let has = |bytes: &[u8], word: &[u8]| bytes.windows(word.len()).any(|w| w == word);
    assert!(one.starts_with(b"%PDF-"));
    assert!(has(&one, b"pdfuaid:part"), "it says that it is PDF/UA");
    let two = [made.sheet.clone(), made.sheet.clone()];
    let both = pdf(&two, Paper::Letter).expect("a document");
    assert!(both.starts_with(b"%PDF-") && both.len() > one.len());
}

#[test]
fn a_pdf_reader_finds_text_typefaces_and_true_sizes() {
    if left_out() {
        return;
    }
    let (made, _) = hostile();
    let folder = tempfile::tempdir().expect("a folder");
    for (paper, size) in [
        (Paper::A4, "595.276 x 841.89 pts (A4)"),
        (Paper::Letter, "612 x 792 pts (letter)"),
    ] {
        let bytes = pdf(std::slice::from_ref(&made.sheet), paper).expect("a document");
        let path = written(folder.path(), "sheet.pdf", &bytes);
        let path = path.to_str().expect("a path");

        let info = poppler("pdfinfo", &[path]);
        assert!(info.contains(size), "{info}");
        assert!(info.contains("Tagged:          yes"), "{info}");
        assert!(info.contains("Title:           </title><script>"), "{info}");

        // Name, type, encoding, embedded, subset, with a way back to text.
        let fonts = poppler("pdffonts", &[path]);
        let fonts: Vec<&str> = fonts.lines().skip(2).collect();
        assert!(!fonts.is_empty());
        for font in fonts {
            assert!(font.contains("yes yes yes"), "{font}");
        }

        let text = poppler("pdftotext", &["-raw", path, "-"]);
        let text: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for words in [
            "document.title='owned'",
            "漢字",
            "👗",
            "Read <i>this</i> & that",
            "4 May 2031",
            "made by Swatchlight",
            "What the meter reads",
            "Where everything stands",
            "Build in this order",
            "card",
            "0.90 m",
            "80° right",
            "feathered 10° to camera",
            "gel +60 mired",
            "f/8 at cloth",
            "Flash heads store a dangerous charge",
            "a safety wire",
        ] {
            assert!(text.contains(words), "{words} is not in\n{text}");
        }

        // What is written from the right is told in the order it is drawn in.
        let turned: String = "שלום".chars().rev().collect();
        assert!(text.contains("שלום") || text.contains(&turned), "{text}");

        // 720 pixels over 60 mm of paper are 305 to the inch: a millimetre of cloth is one of paper.
        let images = poppler("pdfimages", &["-list", path]);
        let cloths = images.lines().filter(|l| {
            let columns: Vec<&str> = l.split_whitespace().collect();
            columns.get(3..5) == Some(&["720", "480"])
        });
        let cloths: Vec<&str> = cloths.collect();
        assert_eq!(cloths.len(), 2, "{images}");
        for cloth in cloths {
            let columns: Vec<&str> = cloth.split_whitespace().collect();
            assert_eq!(columns[12..14], ["305", "305"], "{cloth}");
        }
        let structure = poppler("pdfinfo", &["-struct", path]);
        for kind in [
            "H1", "H2", "Figure", "Table", "TR", "TH", "TD", "L", "LI", "LBody",
        ] {
            assert!(
                structure
                    .lines()
                    .any(|l| l.trim_start().split([' ', ':']).next() == Some(kind)),
                "{kind} is not in\n{structure}"
            );
        }
    }
}

#[test]
fn hostile_names_stay_text_in_a_page_and_nothing_is_fetched() {
    if left_out() {
        return;
    }
    let (made, listener) = hostile();
    let page = html(&made.sheet, Paper::A4).expect("a page");
    let policy = page
        .split("Content-Security-Policy\" content=\"")
        .nth(1)
        .and_then(|rest| rest.split('"').next())
        .expect("a policy");
    assert!(
        policy.starts_with("default-src 'none';") && !policy.contains("unsafe"),
        "{policy}"
    );
    for source in policy.split_whitespace().filter(|s| s.contains(':')) {
        assert_eq!(source.trim_end_matches(';'), "data:", "{policy}");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = written(folder.path(), "sheet.html", page.as_bytes());
    let document = browsed(&path);
    assert!(
        document.contains("data-ready=\"yes\""),
        "the page's own script ran"
    );
    assert!(document.contains("<title>&lt;/title&gt;&lt;script&gt;document"));
    assert!(!document.contains("<title>owned"));
    assert!(!document.contains("<b>bold") && !document.contains("<img src=\"http"));
    let since = Instant::now();
    while since.elapsed() < Duration::from_millis(200) {
        match listener.accept() {
            Ok((_, who)) => panic!("{who} was asked for something"),
            Err(e) => assert_eq!(e.kind(), ErrorKind::WouldBlock),
        }
    }
}

const FRAMES: &str =
    "<script>window.requestAnimationFrame = (draw) => setTimeout(draw, 16);</script>";

/// Moves sliders, and writes what the picture then shows into the document.
const PROBE: &str = r#"<script>
(async () => {
  while (document.documentElement.dataset.ready !== "yes") await new Promise((r) => setTimeout(r, 20));
  const rows = document.querySelectorAll("fieldset[data-light]");
  const move = (row, part, value) => {
    const input = rows[row].querySelector(`[data-part="${part}"]`);
    if (input.type === "checkbox") input.checked = value; else input.value = value;
    input.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const canvas = document.getElementById("live");
  const shown = (id) => {
    const codes = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
    const text = document.createElement("pre");
    text.id = id;
    text.textContent = Array.from(codes).filter((_, i) => i % 4 < 3).join(" ");
    document.body.append(text);
  };
  const drawn = () => new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)));
  shown("before");
  move(0, "power", "-1.3");
  move(1, "kelvin", "3200");
  move(2, "on", false);
  await drawn();
  shown("after");
  canvas.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight" }));
  const told = document.createElement("pre");
  told.id = "told";
  told.textContent = document.getElementById("spot").textContent;
  document.body.append(told);
  document.getElementById("reset").click();
  await drawn();
  shown("again");
})();
</script>"#;

#[test]
fn sliders_show_what_another_mix_would_render() {
    if left_out() {
        return;
    }
    let (made, _) = hostile();
    let page = html(&made.sheet, Paper::A4).expect("a page");
    // The copy lets the probe run too, and gives frames by a clock: a browser without a screen whose
    // time is made to run may draw none.
    let from = page.find("script-src ").expect("a policy");
    let to = from + page[from..].find(';').expect("its end");
    let page = format!(
        "{}script-src 'unsafe-inline'{}",
        &page[..from],
        page[to..]
            .replace("</head>", &format!("{FRAMES}</head>"))
            .replace("</body>", &format!("{PROBE}</body>"))
    );
    let folder = tempfile::tempdir().expect("a folder");
    let path = written(folder.path(), "probed.html", page.as_bytes());
    let document = browsed(&path);
    let found = |id: &str| -> &str {
        let start = format!("<pre id=\"{id}\">");
        let at = document.find(&start).unwrap_or_else(|| panic!("no {id}"));
        let rest = &document[at + start.len()..];
        &rest[..rest.find("</pre>").expect("its end")]
    };
    let codes = |id: &str| -> Vec<i32> {
        let words = found(id).split_whitespace();
        words.map(|w| w.parse().expect("a code")).collect()
    };
    let (take, picture) = (&made.take, &made.picture);
    let rendered = |picture: &Picture| -> Vec<i32> {
        let shown = develop(picture, &take.development, BitDepth::Eight).expect("a picture");
        shown
            .codes
            .iter()
            .flatten()
            .map(|c| i32::from(*c))
            .collect()
    };
    let same = |what: &str, page: &[i32], rendered: &[i32]| {
        assert_eq!(page.len(), rendered.len());
        let worst = page.iter().zip(rendered).map(|(a, b)| (a - b).abs()).max();
        assert!(worst <= Some(1), "{what}: {worst:?} codes off");
    };
    let planned = rendered(picture);
    same("as planned", &codes("before"), &planned);
    same("as planned again", &codes("again"), &planned);

    // The same light weighed anew: what a render of the changed setup gives but for its noise.
    let gelled =
        |kelvin: f64| linear_srgb_through_gel(kelvin, LightKind::Auto, 60.0).expect("a colour");
    let (old, new) = (gelled(4300.0), gelled(3200.0));
    let weights = [
        [(-1.3_f64).exp2(); 3],
        std::array::from_fn(|c| new[c] / old[c]),
        [0.0; 3],
    ];
    let mut changed = picture.clone();
    for (layer, weight) in changed.layers.iter_mut().zip(weights) {
        for rgb in &mut layer.rgb {
            *rgb = std::array::from_fn(|c| (f64::from(rgb[c]) * weight[c]) as f32);
        }
    }
    let expected = rendered(&changed);
    let moved = expected.iter().zip(&planned).filter(|(a, b)| a != b);
    assert!(
        moved.count() > expected.len() / 2,
        "the sliders change the picture"
    );
    same("moved", &codes("after"), &expected);

    // From the middle a step of one in a hundred to the right.
    let pixel = 45 * 60 + 31;
    let gain = take.development.gain.map(f64::from);
    let total = changed.total(pixel);
    let stops = (luminance(std::array::from_fn(|c| total[c] * gain[c])) / 0.18).log2();
    let told = found("told").replace('−', "-");
    let read: f64 = told
        .split_whitespace()
        .next()
        .and_then(|w| w.parse().ok())
        .unwrap_or_else(|| panic!("no stops in {told}"));
    assert!((read - stops).abs() <= 0.06, "{told} for {stops}");
}

/// Runs the program in a folder; gives its exit code, stdout and stderr.
fn run(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_swatchlight"))
        .current_dir(folder)
        .args(arguments)
        .args(["--executor", "cpu", "--cache", "cache"])
        .output()
        .expect("the program runs");
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

#[test]
fn the_command_writes_whole_sheets_and_replaces_none() {
    let folder = tempfile::tempdir().expect("a folder");
    let plain = SETUP
        .replace("http://127.0.0.1:PORT/a", "x")
        .replace("LONG", "fill");
    fs::write(folder.path().join("side.toml"), plain).expect("a setup");
    let quick = ["--samples", "2", "--size", "40x60", "--no-cloth"];

    // By itself it is called after the setup.
    let arguments = [
        &["sheet", "side.toml", "--json", "--date", "4 May 2031"],
        &quick[..],
    ]
    .concat();
    let (code, out, err) = run(folder.path(), &arguments);
    assert_eq!(code, Some(0), "{err}");
    let report: serde_json::Value = serde_json::from_str(&out).expect("one document");
    assert_eq!(report["sheet"], "side-sheet.pdf");
    assert_eq!(report["format"], "pdf");
    assert_eq!(
        (&report["width"], &report["height"]),
        (&40.into(), &60.into())
    );
    let sheet = folder.path().join("side-sheet.pdf");
    let bytes = fs::read(&sheet).expect("a sheet");
    assert_eq!(report["bytes"], bytes.len());

    // Never over another, unless told to; and then with the same bytes.
    let (code, out, err) = run(folder.path(), &arguments);
    assert_eq!((code, out.as_str()), (Some(2), ""));
    assert!(
        err.contains("already there") && err.contains("--force"),
        "{err}"
    );
    let (code, _, err) = run(folder.path(), &[&arguments[..], &["--force"]].concat());
    assert_eq!(code, Some(0), "{err}");
    assert!(fs::read(&sheet).expect("a sheet") == bytes);

    let page = [
        &[
            "sheet",
            "side.toml",
            "--out",
            "side.html",
            "--paper",
            "letter",
        ],
        &quick[..],
    ]
    .concat();
    let (code, out, err) = run(folder.path(), &page);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.starts_with("side.html: "), "{out}");
    let page = fs::read_to_string(folder.path().join("side.html")).expect("a page");
    assert!(page.contains("size: letter portrait") && page.trim_end().ends_with("</html>"));

    let long = "9".repeat(61);
    for (wrong, says) in [
        (vec!["--out", "side.png"], "end it in .pdf or .html"),
        (vec!["--out", "side"], "end it in .pdf or .html"),
        (vec!["--paper", "a3"], "a4, letter"),
        (vec!["--size", "4800x60"], "--size 2400x30"),
        (vec!["--date", &long], "up to 60 letters"),
    ] {
        let (code, out, err) = run(
            folder.path(),
            &[&["sheet", "side.toml"], &wrong[..]].concat(),
        );
        assert_eq!((code, out.as_str()), (Some(2), ""), "{wrong:?}");
        assert!(err.contains(says), "{wrong:?}: {err}");
    }
    let mut left: Vec<String> = fs::read_dir(folder.path())
        .expect("a folder")
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .filter(|name| name != "cache")
        .collect();
    left.sort();
    assert_eq!(left, ["side-sheet.pdf", "side.html", "side.toml"]);
}
