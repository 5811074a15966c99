//! Setups side by side: what differs in them, in their pictures, and how it is shown.
//!
//! Outside authorities: twice the light is one stop (common practice); Content Security Policy Level 3 (W3C)
//! for what a page may run; HTML's own rules for text in content and attributes.

#[path = "common/vary.rs"]
mod vary;

use assert_cmd::Command;
use base64::Engine;
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fs;
use swatchlight::measure::vary::{Exposing, Made};
use swatchlight::report::compare::{Bands, Side, apart, draw, figures, html};
use swatchlight::report::contact::Head;
use swatchlight::report::drawing::{Shape, text_width_mm};
use swatchlight::setup::differ::differences;
use swatchlight::setup::{Setup, parse};
use tempfile::TempDir;
use vary::{CARD, goals, models, take};

fn setup(text: &str) -> Setup {
    parse(text, "card.toml", &models())
        .expect("a good setup")
        .setup
}

fn taken(setups: &[&Setup]) -> Vec<Made> {
    take(setups, goals(Some(16), Exposing::Alike))
}

#[test]
fn differences_are_told_key_by_key_in_resolved_values() {
    let a = setup(CARD);
    assert!(differences(&[&a, &a, &a]).is_empty());
    // Another way to write the same place is no difference.
    let same = setup(
        &CARD
            .replace("distance = \"4 m\"", "distance = \"400 cm\"")
            .replace("\"Card\"", "\"Other\""),
    );
    assert!(differences(&[&a, &same]).is_empty());

    let b = setup(
        &CARD
            .replace("distance = \"4 m\"", "distance = \"3 m\"")
            .replace("finish = \"grey\"", "finish = \"white\"")
            .replace("iso = 100", "")
            .replace("[meter]", "[[flag]]\nname = \"cutter\"\nsize = \"20 x 20 cm\"\nat = [1, 1, 1]\naim = [0, 1, 0]\n[meter]"),
    );
    let found = differences(&[&a, &b]);
    let of = |key: &str| {
        let row = found.iter().find(|d| d.key == key).expect(key);
        row.values.iter().map(|v| v.as_deref()).collect::<Vec<_>>()
    };
    assert_eq!(of("key.distance"), [Some("4 m"), Some("3 m")]);
    assert_eq!(of("card.finish"), [Some("grey"), Some("white")]);
    assert_eq!(of("cutter"), [None, Some("flag, black")]);
    // Lights before boards, as in a file.
    assert_eq!(found[0].key, "key.distance");
    assert!(found.len() <= 4, "{found:?}");
}

#[test]
fn a_setup_differs_from_itself_by_no_stop_anywhere() {
    let a = setup(CARD);
    let made = taken(&[&a, &a]);
    let picture = |k: usize| made[k].picture.as_ref().expect("a picture");
    let found = apart(picture(0), picture(1)).expect("one size");
    assert!(found.stops.iter().all(|s| *s == Some(0.0)), "{found:?}");
    assert_eq!(found.shares, [0.0; 3]);
    assert_eq!(found.words(), "No difference.");
    assert_eq!(Bands::reaching(found.reach()).width, 0.1);
}

#[test]
fn twice_the_power_is_one_stop_everywhere() {
    let half = setup(&CARD.replace("output = ", "power = \"1/2\"\noutput = "));
    let full = setup(CARD);
    let made = taken(&[&half, &full]);
    let picture = |k: usize| made[k].picture.as_ref().expect("a picture");
    let found = apart(picture(0), picture(1)).expect("one size");
    for stops in found.stops.iter().flatten() {
        assert!((stops - 1.0).abs() < 1e-5, "{stops}");
    }
    assert_eq!(found.words(), "+1.0 stops all over.");
    // At one exposure the lens and the gain are the first's.
    assert_eq!(made[0].f_number, made[1].f_number);
    assert_eq!(made[0].development, made[1].development);
    // Each as metered, both cards are grey.
    let each = take(&[&half, &full], goals(Some(64), Exposing::Each));
    let each: Vec<f64> = each
        .iter()
        .filter_map(|m| m.picture.as_ref())
        .map(vary::mean)
        .collect();
    assert!((each[0] / each[1]).log2().abs() < 0.03, "{each:?}");
}

/// Another ISO or f-number in the second does not change what "one exposure" shows.
#[test]
fn at_one_exposure_the_first_ones_camera_counts() {
    let a = setup(CARD);
    let b = setup(&CARD.replace(
        "f_number = \"as metered\"",
        "f_number = \"f/2.8\"\niso = 400",
    ));
    let made = taken(&[&a, &b]);
    assert_eq!(made[0].development, made[1].development);
    let [a, b] =
        [0, 1].map(|k: usize| made[k].picture.as_ref().map(vary::mean).expect("a picture"));
    assert!((a / b - 1.0).abs() < 0.01, "{a} {b}");
}

#[test]
fn bands_are_even_labelled_and_centred() {
    for (reach, width, each_side) in [
        (0.0, 0.1, 5),
        (0.5, 0.1, 5),
        (1.0, 1.0 / 3.0, 6),
        (3.0, 1.0, 5),
        (40.0, 1.0, 5),
    ] {
        let bands = Bands::reaching(reach);
        assert_eq!(
            (bands.width, bands.each_side),
            (width, each_side),
            "{reach}"
        );
        let steps = bands.steps();
        assert_eq!(steps.len() as i32, 2 * each_side + 1);
        // No difference is near white and has no hue.
        let [r, g, b] = bands.colour(Some(0.0));
        assert!(
            r.abs_diff(b) < 6 && r.abs_diff(g) < 6 && r > 235,
            "{r} {g} {b}"
        );
        // Brighter is orange, darker is blue; neighbours are told apart.
        let [r, _, b] = bands.colour(Some(width as f32 * 2.0));
        assert!(r > b);
        let [r, _, b] = bands.colour(Some(width as f32 * -2.0));
        assert!(b > r);
        for pair in steps.windows(2) {
            let [a, b] = [pair[0], pair[1]].map(|s| bands.colour(Some(s as f32)));
            let far: u32 = a.iter().zip(b).map(|(x, y)| u32::from(x.abs_diff(y))).sum();
            assert!(far > 12, "{a:?} {b:?}");
        }
    }
    let bands = Bands::reaching(1.0);
    let words: Vec<String> = bands.steps().into_iter().map(|s| bands.words(s)).collect();
    assert_eq!(
        words[5..],
        [
            "−1/3",
            "0",
            "+1/3",
            "+2/3",
            "+1",
            "+1 1/3",
            "+1 2/3",
            "+2 or more"
        ]
    );
    assert_eq!(Bands::reaching(0.2).words(-0.3), "−0.3");
}

fn sides<'a>(names: &[&'a str], setups: &[&'a Setup], made: &'a [Made]) -> Vec<Side<'a>> {
    let each = names.iter().zip(setups).zip(made);
    each.map(|((name, setup), made)| Side { name, setup, made })
        .collect()
}

#[test]
fn the_web_page_fetches_nothing_runs_its_own_script_and_keeps_names_text() {
    let a = setup(CARD);
    let hostile = "<img src=x onerror=alert(1)>'\"&\u{202e}";
    let b = setup(&CARD.replace("\"Card\"", "\"</title><script>alert(2)</script>\""));
    let made = taken(&[&a, &b]);
    let head = Head {
        title: format!("a, {hostile}"),
        exposure: "All at <b>f/8</b>.".into(),
    };
    let page = html(
        &sides(&["a", hostile], &[&a, &b], &made),
        &differences(&[&a, &b]),
        &head,
    )
    .expect("a page");
    for raw in ["<img src=x", "<b>", "\u{202e}", "http:", "https:"] {
        assert!(!page.contains(raw), "{raw}");
    }
    assert!(page.contains("&lt;img src=x onerror=alert(1)&gt;&#39;&quot;&amp;\u{fffd}"));
    // The policy names the one script and the one style that are there.
    let between = |from: &str, to: &str| {
        let rest = page.split_once(from).expect(from).1;
        rest.split_once(to).expect(to).0.to_owned()
    };
    let policy = between("Content-Security-Policy\" content=\"", "\"");
    assert!(
        policy.starts_with("default-src 'none'; img-src data:;"),
        "{policy}"
    );
    assert!(!policy.contains("unsafe"), "{policy}");
    let base64 = base64::engine::general_purpose::STANDARD;
    for (tag, key) in [("style", "style-src"), ("script", "script-src")] {
        assert_eq!(page.matches(&format!("<{tag}>")).count(), 1);
        let text = between(&format!("<{tag}>"), &format!("</{tag}>"));
        let hash = base64.encode(Sha256::digest(text.as_bytes()));
        assert!(
            policy.contains(&format!("{key} 'sha256-{hash}'")),
            "{tag}: {policy}"
        );
    }
    // Nothing in attributes would run.
    assert!(!page.contains(" style=") && !page.contains(" onclick"));
    // Keys work it, and readers are told what it is.
    assert!(page.contains("<label for=\"wipe\">Wipe from left to right</label>"));
    assert!(page.contains("<input type=\"range\" id=\"wipe\" min=\"0\" max=\"100\""));
    assert!(page.contains("<html lang=\"en\">"));
    assert_eq!(page.matches("<figure").count(), 2);
    assert_eq!(page.matches(" alt=\"").count(), 2);
}

#[test]
fn names_of_any_length_stay_on_the_page() {
    let a = setup(CARD);
    let b = setup(&CARD.replace("finish = \"grey\"", "finish = \"black\""));
    let long = "an invented name that is far too long to stand over any picture ".repeat(4);
    let made = taken(&[&a, &b]);
    let head = Head {
        title: long.clone(),
        exposure: long.clone(),
    };
    let sides = sides(&[&long, &long], &[&a, &b], &made);
    let page = draw(&sides, &differences(&[&a, &b]), &head);
    for shape in &page.shapes {
        if let Shape::Text(text) = shape {
            let end = text.at_mm[0] + text_width_mm(&text.words, text.size_mm);
            assert!(end <= page.size_mm[0], "{} ends at {end} mm", text.words);
            assert!(text.at_mm[1] <= page.size_mm[1]);
        }
    }
    let rows = figures(&sides);
    let row = |name: &str| {
        rows.iter()
            .find(|r| r.name == name)
            .map(|r| r.values.clone())
    };
    // A black card throws back less, but not onto itself.
    assert_eq!(row("key alone").map(|v| v[0] == v[1]), Some(true));
    assert!(row("shadow edge of key").is_some_and(|v| v[0].ends_with("mm")));
}

/// However many there are, upright or not, pictures and differences take the page's width and stay on it.
#[test]
fn pictures_fill_the_page() {
    for pixels in ["16 x 24", "24 x 16"] {
        let text = CARD.replace("pixels = \"16 x 24\"", &format!("pixels = \"{pixels}\""));
        let a = setup(&text);
        for count in [2, 3, 6] {
            let setups = vec![&a; count];
            let made = taken(&setups);
            let head = Head {
                title: "Cards".into(),
                exposure: String::new(),
            };
            let names = vec!["card"; count];
            let page = draw(&sides(&names, &setups, &made), &[], &head);
            let rasters: Vec<[f64; 4]> = page
                .shapes
                .iter()
                .filter_map(|shape| match shape {
                    Shape::Raster {
                        corner_mm: [x, y],
                        size_mm: [w, h],
                        ..
                    } => Some([*x, *y, x + w, y + h]),
                    _ => None,
                })
                .collect();
            assert_eq!(rasters.len(), 2 * count - 1, "{count} of {pixels}");
            let right = rasters.iter().map(|r| r[2]).fold(0.0, f64::max);
            let [width, height] = page.size_mm;
            assert!(
                right > 0.75 * width && right < width - 10.0,
                "{right} of {width} mm"
            );
            assert!(rasters.iter().all(|r| r[3] < height));
            // None lies over another.
            for (k, a) in rasters.iter().enumerate() {
                for b in &rasters[..k] {
                    let apart = a[0] >= b[2] || b[0] >= a[2] || a[1] >= b[3] || b[1] >= a[3];
                    assert!(apart, "{a:?} {b:?}");
                }
            }
        }
    }
}

#[test]
fn the_command_writes_what_it_says() {
    let desk = TempDir::new().unwrap();
    let run = |arguments: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_swatchlight"));
        command
            .current_dir(desk.path())
            .arg("compare")
            .args(arguments);
        command.assert()
    };
    fs::write(desk.path().join("a.toml"), CARD).unwrap();
    let nearer = CARD.replace("distance = \"4 m\"", "distance = \"3 m\"");
    fs::write(desk.path().join("b.toml"), nearer).unwrap();
    let quick = [
        "--size",
        "16x24",
        "--samples",
        "4",
        "--executor",
        "cpu",
        "--threads",
        "2",
    ];
    let done = run(&[
        &["a.toml", "b.toml", "--wipe", "w.html", "--json"][..],
        &quick,
    ]
    .concat())
    .code(0);
    let doc: Value = serde_json::from_slice(&done.get_output().stdout).unwrap();
    assert_eq!(doc["differences"][0]["key"], "key.distance");
    assert_eq!(doc["differences"][0]["values"][1], "3 m");
    // Nearer, by the inverse square law.
    let median = doc["pictures_apart"][0]["median_stops"].as_f64().unwrap();
    assert!(
        (median - 2.0 * (4.0_f64 / 3.0).log2()).abs() < 0.05,
        "{median}"
    );
    assert!(desk.path().join("compare.png").is_file() && desk.path().join("w.html").is_file());
    for (arguments, said) in [
        (&["a.toml"][..], "one setup cannot be compared"),
        (&["a.toml"; 7], "7 setups are too many"),
        (&["-", "-"], "only once"),
        (&["a.toml", "b.toml", "--wipe", "w.txt"], ".html"),
        (
            &["a.toml", "b.toml", "--out", "x.pdf"],
            ".png, .jpg or .svg",
        ),
        (&["a.toml", "b.toml"], "--force"),
        (
            &["a.toml", "none.toml", "--out", "y.png"],
            "no file none.toml",
        ),
    ] {
        let done = run(arguments).code(2);
        let err = String::from_utf8_lossy(&done.get_output().stderr).into_owned();
        assert!(err.contains(said), "{arguments:?}: {err}");
    }
}
