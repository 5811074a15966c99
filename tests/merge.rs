//! Parts of a list put together: the same pictures as in a single run, to the bit, or a refusal that says
//! why. The list is invented; these are the handbook's own promises (docs/many-machines.md).

#[path = "common/day.rs"]
mod day;

use day::{LIST, Place, SETUP};
use std::fs;
use std::io::Cursor;
use swatchlight::render::film::Film;
use swatchlight::render::film_part::{About, PartError, PartReader, PartWriter, Step, merge};

fn batch<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [
        &["batch", "day.toml", "--samples", "22", "--no-cloth"][..],
        more,
    ]
    .concat()
}

/// However the samples are cut, merged pictures are those of the single run to the byte, and have the
/// pixels of `still`; on one thread or two.
#[test]
fn merged_parts_are_the_single_run_to_the_bit() {
    let place = Place::new();
    place.json(&batch(&["--out", "single"]));
    let single = place.files("single/pictures");
    assert_eq!(single.len(), 4);
    for (parts, split) in [(2, "pictures"), (3, "samples"), (5, "")] {
        let folder = format!("of-{parts}");
        for part in 1..=parts {
            let number = format!("{part}/{parts}");
            let threads = if part % 2 == 0 { "1" } else { "2" };
            let mut args = batch(&["--out", &folder, "--part", &number, "--threads", threads]);
            if !split.is_empty() {
                args.extend(["--split", split]);
            }
            place.json(&args);
        }
        let merged = place.json(&["merge", &folder]);
        let cut = merged["put_together"].as_u64().expect("a number");
        assert!(
            (cut == 0) == (split == "pictures"),
            "{cut} were cut in {parts} parts"
        );
        assert!(
            place.files(&format!("{folder}/pictures")) == single,
            "{parts} parts, split {split}"
        );
        assert!(
            fs::read(place.at(&folder).join("sheets.pdf")).expect("sheets")
                == fs::read(place.at("single/sheets.pdf")).expect("sheets"),
            "the sheets of {parts} parts, split {split}"
        );
        // Again gives the same, from the pictures that are there now.
        assert_eq!(place.json(&["merge", &folder])["put_together"], 0);
    }
    let setup = place
        .at("single/setups/003-slub-near.toml")
        .display()
        .to_string();
    let still = [
        "still",
        &setup,
        "--out",
        "still.png",
        "--samples",
        "22",
        "--executor",
        "cpu",
    ];
    place.json(&still);
    let pixels = |bytes: &[u8]| image::load_from_memory(bytes).expect("a picture").to_rgb8();
    let still = fs::read(place.at("still.png")).expect("a still");
    assert!(
        pixels(&still) == pixels(&single[2].1),
        "batch and still give the same pixels"
    );
}

/// Each part in a folder of its own, and a part that was rendered before is not rendered twice.
#[test]
fn folders_are_merged_into_another() {
    let place = Place::new();
    let part = |n: &'static str, out: &'static str| {
        batch(&["--out", out, "--part", n, "--split", "samples"])
    };
    for (n, out) in [("1/3", "a"), ("2/3", "b"), ("3/3", "c")] {
        place.json(&part(n, out));
    }
    let again = place.json(&part("2/3", "b"));
    assert_eq!(again["rendered"], 0);
    let (code, _, err) = place.run(&["merge", "a", "b", "c"]);
    assert!(code == 2 && err.contains("--out FOLDER"), "{err}");
    let (code, _, err) = place.run(&["merge", "a", "c", "--out", "all"]);
    assert_eq!(code, 2, "{err}");
    assert!(
        err.contains("not there: plain, far") || err.contains("lacks samples"),
        "{err}"
    );
    assert!(
        !place.at("all").exists(),
        "nothing is written before all is there"
    );
    let told = place.json(&["merge", "a", "b", "c", "--out", "all"]);
    assert_eq!(told["report"]["frames"].as_array().map(Vec::len), Some(4));
    place.json(&batch(&["--out", "single"]));
    assert!(place.files("all/pictures") == place.files("single/pictures"));
    assert!(place.at("all/contact.png").is_file());

    // The film parts of one picture by themselves.
    let films: Vec<String> = ["a", "b", "c"]
        .iter()
        .flat_map(|f| {
            let folder = format!("{f}/films");
            let files = place.files(&folder).into_iter();
            files
                .map(move |(n, _)| format!("{folder}/{n}"))
                .collect::<Vec<_>>()
        })
        .filter(|f| f.contains("002-"))
        .collect();
    assert!(films.len() >= 2, "{films:?}");
    let mut args: Vec<&str> = vec!["merge"];
    args.extend(films.iter().map(String::as_str));
    args.extend(["--out", "one.png"]);
    place.json(&args);
    let one = fs::read(place.at("one.png")).expect("a picture");
    assert!(one == place.files("single/pictures")[1].1);
    let (code, _, err) = place.run(&args);
    assert!(code == 2 && err.contains("--force"), "{err}");
}

/// Parts of other lists, setups or samples are refused.
#[test]
fn strangers_are_refused() {
    let place = Place::new();
    let render = |part: &str, out: &str, samples: &str| {
        place.json(&[
            "batch",
            "day.toml",
            "--no-cloth",
            "--samples",
            samples,
            "--out",
            out,
            "--part",
            part,
            "--split",
            "samples",
        ]);
    };
    render("1/2", "a", "8");
    render("2/2", "b", "8");
    let refused = |folders: [&str; 2], words: &[&str]| {
        let (code, out, err) = place.run(&["merge", folders[0], folders[1], "--out", "all"]);
        assert_eq!(code, 2, "{out}{err}");
        assert!(words.iter().any(|w| err.contains(w)), "{words:?}: {err}");
        assert!(!place.at("all").exists());
    };
    refused(["a", "nothing"], &["holds no part"]);
    refused(["a", "a"], &["are not there", "lacks samples", "both hold"]);
    // The same list to other samples: three parts cut pictures where two do not.
    render("2/3", "samples", "16");
    refused(
        ["a", "samples"],
        &["are not there", "do not belong together"],
    );
    place.write("cloth.toml", &SETUP.replace("f/8", "f/9"));
    render("2/2", "setup", "8");
    refused(["a", "setup"], &["do not belong together"]);
    place.write("cloth.toml", SETUP);
    place.write("day.toml", &LIST.replace("135 mm", "120 mm"));
    render("2/2", "list", "8");
    refused(["a", "list"], &["do not belong together"]);
    place.json(&["merge", "a", "b", "--out", "all"]);
}

/// A film of one pixel with something in it.
fn film(value: f32) -> Film {
    let mut film = Film::new(2, 0, 3, 2);
    for (i, l) in film.light.iter_mut().enumerate() {
        *l = [value + i as f32, 0.1 * value, value * 1e-6];
    }
    for s in &mut film.spread {
        s.sum = value;
    }
    for s in &mut film.seen {
        s.depth_m = value;
    }
    film
}

fn about() -> About {
    let step = |first| Step {
        first,
        each: 4,
        passes: 1,
    };
    About {
        identity: "one".into(),
        picture: "a picture".into(),
        executor: "processor".into(),
        width: 2,
        height: 3,
        layers: 2,
        steps: (0..4).map(|i| step(4 * i)).collect(),
        held: [0, 4],
        card: "{}".into(),
    }
}

fn part(about: &About) -> Vec<u8> {
    let mut part = PartWriter::new(Vec::new(), about).expect("memory");
    for step in about.held[0]..about.held[1] {
        part.step(&film(0.1 + step as f32)).expect("memory");
    }
    part.finish().expect("memory")
}

fn held(from: usize, to: usize) -> About {
    About {
        held: [from, to],
        ..about()
    }
}

fn opened(abouts: &[About]) -> Vec<PartReader<Cursor<Vec<u8>>>> {
    let open = |(i, about): (usize, &About)| {
        PartReader::open(Cursor::new(part(about)), &format!("part {i}")).expect("a part")
    };
    abouts.iter().enumerate().map(open).collect()
}

fn refusal(abouts: &[About]) -> String {
    merge(opened(abouts))
        .expect_err("these make no picture")
        .to_string()
}

/// The sums of f32 in the order of the steps, in whichever order parts come.
#[test]
fn films_add_in_the_order_of_the_steps() {
    let mut wanted = Film::new(2, 0, 3, 2);
    for step in 0..4 {
        let more = film(0.1 + step as f32);
        for (a, b) in wanted.light.iter_mut().zip(&more.light) {
            for c in 0..3 {
                a[c] += b[c];
            }
        }
    }
    for cut in [
        vec![held(0, 4)],
        vec![held(2, 4), held(0, 2)],
        vec![held(1, 3), held(3, 4), held(0, 1)],
    ] {
        let film = merge(opened(&cut)).expect("a film");
        let bits = |f: &Film| {
            f.light
                .iter()
                .flatten()
                .map(|v| v.to_bits())
                .collect::<Vec<_>>()
        };
        assert_eq!(bits(&film), bits(&wanted));
        assert_eq!(film.row_samples, [16; 3]);
        assert_eq!(film.row_passes, [4; 3]);
    }
}

#[test]
fn parts_that_do_not_belong_together_are_refused() {
    let other = |change: fn(&mut About)| {
        let mut other = held(2, 4);
        change(&mut other);
        refusal(&[held(0, 2), other])
    };
    type Change = fn(&mut About);
    let changes: [(Change, &str); 6] = [
        (|a| a.identity = "two".into(), "changed between them"),
        (|a| a.executor = "another".into(), "traced by processor"),
        (|a| a.picture = "another".into(), "\"another\""),
        (|a| a.card = "[]".into(), "readings"),
        (
            |a| {
                a.steps.push(Step {
                    first: 16,
                    each: 4,
                    passes: 1,
                });
            },
            "the other of 20",
        ),
        (
            |a| {
                a.steps = vec![
                    Step {
                        first: 0,
                        each: 8,
                        passes: 1,
                    },
                    Step {
                        first: 8,
                        each: 4,
                        passes: 1,
                    },
                    Step {
                        first: 12,
                        each: 4,
                        passes: 1,
                    },
                ];
                a.held = [1, 3];
            },
            "not the same",
        ),
    ];
    for (change, word) in changes {
        let said = other(change);
        assert!(said.contains(word), "{word}: {said}");
    }
    assert!(refusal(&[held(0, 2), held(3, 4)]).contains("lacks samples 8 to 11"));
    assert!(refusal(&[held(1, 3)]).contains("0 to 3, 12 to 15"));
    assert!(refusal(&[held(0, 3), held(2, 4)]).contains("both hold samples 8 to 11"));
    assert!(matches!(
        merge::<Cursor<Vec<u8>>>(Vec::new()),
        Err(PartError::None)
    ));
}

/// Cut anywhere, with any byte changed or one too many, a file is no part; a version of tomorrow is told.
#[test]
fn broken_parts_are_refused() {
    let whole = part(&held(0, 1));
    let open = |bytes: Vec<u8>| PartReader::open(Cursor::new(bytes), "it").map(|_| ());
    assert!(open(whole.clone()).is_ok());
    for cut in 0..whole.len() {
        assert!(open(whole[..cut].to_vec()).is_err(), "cut at {cut}");
    }
    for at in 0..whole.len() {
        let mut other = whole.clone();
        other[at] ^= 0x10;
        assert!(open(other).is_err(), "changed at {at}");
    }
    assert!(open([&whole[..], &[0]].concat()).is_err());
    let mut tomorrow = whole.clone();
    tomorrow[16] = 200;
    assert!(matches!(
        open(tomorrow),
        Err(PartError::Version { found: 200, .. })
    ));
    assert!(matches!(
        open(b"something else".to_vec()),
        Err(PartError::NotAPart { .. })
    ));
    // A header that asks for more than there could be is measured against the file, not believed.
    let huge = About {
        width: u32::MAX,
        height: u32::MAX,
        ..held(0, 1)
    };
    let mut lie = PartWriter::new(Vec::new(), &huge).expect("memory");
    lie.step(&film(1.0)).expect("memory");
    assert!(open(lie.finish().expect("memory")).is_err());
}

#[test]
fn what_is_no_part_is_told() {
    let place = Place::new();
    place.write("x.film", "not a film");
    for (args, word) in [
        (vec!["merge", "x.film", "--out", "y.png"], "is no film part"),
        (vec!["merge", "x.film"], "--out picture.png"),
        (
            vec!["merge", "x.film", "day.toml", "--out", "y.png"],
            "at once",
        ),
        (vec!["merge", "y.film", "--out", "y.png"], "y.film"),
        (vec!["merge", "x.film", "--out", "y.doc"], "y.doc"),
        (vec!["merge", "."], "holds no part"),
        (vec!["merge"], "FOLDER"),
    ] {
        let (code, _, err) = place.run(&args);
        assert_eq!(code, 2, "{args:?}: {err}");
        assert!(err.contains(word), "{args:?}: {err}");
    }
    for args in [
        &["--part", "0/3"][..],
        &["--part", "4/3"],
        &["--part", "x"],
        &["--split", "samples"],
        &["--part", "1/2", "--split", "samples", "--noise", "3"],
        &["--part", "1/9", "--noise", "3"],
        &["--jobs", "slurm"],
        &["--parts", "3"],
    ] {
        let (code, _, err) = place.run(&[&["batch", "day.toml"][..], args].concat());
        assert_eq!(code, 2, "{args:?}: {err}");
    }
}
