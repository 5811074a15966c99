//! `batch` as a shell meets it: what it renders, what it leaves alone, and what is left when it is
//! killed, when the disk is full or the folder closed. The list is invented; these are the handbook's own
//! promises (docs/shoot-list.md, docs/many-machines.md).

#[path = "common/day.rs"]
mod day;

use day::{LIST, Place, SETUP};
use std::fs;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// The cloth on the sheets takes longer than all the rest of such a list.
const QUICK: [&str; 5] = ["batch", "day.toml", "--samples", "4", "--no-cloth"];
const PICTURES: [&str; 4] = [
    "001-plain-near.png",
    "002-plain-far.png",
    "003-slub-near.png",
    "004-slub-far.png",
];

fn names(files: &[(String, Vec<u8>)]) -> Vec<&str> {
    files.iter().map(|(name, _)| name.as_str()).collect()
}

/// Asserts that nothing lies in the folder but whole files under their names.
fn nothing_half_written(place: &Place, folder: &str) {
    for inside in ["", "/pictures", "/records", "/setups", "/sheets", "/films"] {
        for (name, bytes) in place.files(&format!("{folder}{inside}")) {
            assert!(!name.contains(".part"), "{folder}{inside}/{name}");
            if name.ends_with(".png") {
                image::load_from_memory(&bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
            }
        }
    }
}

#[test]
fn a_list_is_rendered_once() {
    let place = Place::new();
    let first = place.json(&QUICK);
    assert_eq!(
        (&first["rendered"], &first["up_to_date"]),
        (&4.into(), &0.into())
    );
    let pictures = place.files("day-frames/pictures");
    assert_eq!(names(&pictures), PICTURES);
    nothing_half_written(&place, "day-frames");
    let report = &first["report"];
    assert_eq!(report["frames"][3]["name"], "slub, far");
    assert_eq!(report["frames"][3]["samples_per_pixel"], 4);
    assert_eq!(
        report["coverage"][0]["taken"],
        serde_json::json!(["near", "far"])
    );
    // Both lights are solved for their targets, so that N² adds: f/8 and f/4 give f/8.94 (incident light
    // of several sources adds, ISO 2720; common practice).
    let read = &report["frames"][0]["readings"]["points"][0]["together"]["f_number"];
    assert!(
        (read.as_f64().expect("a reading") - 80.0_f64.sqrt()).abs() < 0.03,
        "{read}"
    );
    assert_eq!(report["consistency"][0]["within"], true);
    for file in ["contact.png", "sheets.pdf", "day.txt", "report.json"] {
        assert!(place.at("day-frames").join(file).is_file(), "{file}");
    }
    // Each picture's setup is one by itself.
    let own = place.at("day-frames/pictures/003-slub-near.png");
    let (code, _, err) = place.run(&["check", &own.display().to_string()]);
    assert_eq!(code, 0, "{err}");

    let again = place.json(&QUICK);
    assert_eq!(
        (&again["rendered"], &again["up_to_date"]),
        (&0.into(), &4.into())
    );
    assert_eq!(place.files("day-frames/pictures"), pictures);
    assert_eq!(
        place.json(&[&QUICK[..], &["--force"]].concat())["rendered"],
        4
    );
    assert_eq!(place.files("day-frames/pictures"), pictures);
}

/// What changed is rendered again, and nothing else.
#[test]
fn what_changed_is_rendered_again() {
    let place = Place::new();
    place.json(&QUICK);
    let rendered = |args: &[&str]| place.json(args)["rendered"].as_u64().expect("a number");
    place.write("day.toml", &LIST.replace("linen-slub", "denim"));
    assert_eq!(rendered(&QUICK), 2, "another cloth in one look");
    place.write("cloth.toml", &SETUP.replace("f/8", "f/9"));
    assert_eq!(rendered(&QUICK), 4, "another setup");
    assert_eq!(
        rendered(&["batch", "day.toml", "--samples", "5", "--no-cloth"]),
        4,
        "another goal"
    );
    assert_eq!(
        rendered(&[
            "batch",
            "day.toml",
            "--samples",
            "5",
            "--no-cloth",
            "--exact"
        ]),
        4,
        "another way"
    );
    let sized = [
        "batch",
        "day.toml",
        "--samples",
        "5",
        "--no-cloth",
        "--size",
        "30x40",
    ];
    assert_eq!(rendered(&sized), 4, "another size");
    // A model of one's own beside the list goes before the one that ships.
    let own = place.at("models/fabrics");
    fs::create_dir_all(&own).expect("a folder");
    let shipped = swatchlight::scene::models::Models::for_setup(&place.at("cloth.toml"));
    let mut denim = shipped.roots().iter().map(|r| r.join("fabrics/denim.toml"));
    let denim = denim.rfind(|p| p.is_file()).expect("it ships");
    let text = fs::read_to_string(denim).expect("text");
    fs::write(own.join("denim.toml"), format!("{text}\n# another\n")).expect("written");
    assert_eq!(rendered(&sized), 2, "another model");
    // A picture that was touched, or that is gone.
    let picture = place.at("day-frames/pictures/001-plain-near.png");
    fs::write(&picture, b"not a picture").expect("written");
    fs::remove_file(place.at("day-frames/pictures/002-plain-far.png")).expect("removed");
    assert_eq!(rendered(&sized), 2, "pictures spoilt");
    // Frames that the list no longer has stay, and are named.
    place.write(
        "day.toml",
        &LIST.replace("linen-slub", "denim").replace("far", "wide"),
    );
    let (code, _, err) = place.run(&sized);
    assert_eq!(code, 0);
    assert!(err.contains("002-plain-far.png"), "{err}");
}

/// The words of each leaf of a document, by poppler.
fn leaves(place: &Place, file: &str) -> Vec<String> {
    let path = place.at(file);
    let out = Command::new("pdftotext")
        .args(["-raw".as_ref(), path.as_os_str(), "-".as_ref()])
        .output()
        .expect("poppler-utils");
    assert!(out.status.success(), "{out:?}");
    let text = String::from_utf8(out.stdout).expect("text");
    text.split_terminator('\u{c}').map(str::to_owned).collect()
}

fn written_at(place: &Place, file: &str) -> std::time::SystemTime {
    let facts = fs::metadata(place.at(file)).expect("it is there");
    facts.modified().expect("a time")
}

/// The day first, then a sheet for each frame in the order of the day; kept until something changes.
#[test]
fn all_sheets_are_one_document() {
    let place = Place::new();
    let told = place.json(&QUICK);
    assert_eq!(told["report"]["sheets"]["sheets"], 4);
    let first = leaves(&place, "day-frames/sheets.pdf");
    let order: Vec<&str> = told["report"]["day"]["order"]
        .as_array()
        .expect("an order")
        .iter()
        .map(|next| next["frame"].as_str().expect("a name"))
        .collect();
    assert_eq!(order.len(), 4);
    assert!(first[0].starts_with("Two cloths\n"), "{}", first[0]);
    let mut last = 0;
    for (k, name) in order.iter().enumerate() {
        assert!(first[0].contains(name), "{name} is not on {}", first[0]);
        let own = first
            .iter()
            .position(|l| l.starts_with(&format!("{name}\n")));
        let own = own.unwrap_or_else(|| panic!("{name} has no sheet"));
        assert!(own > last, "in the order of the day");
        last = own;
        let turn = format!("shot {}, frame ", k + 1);
        assert!(first[own].contains(&turn), "{}", first[own]);
        assert!(first[own].contains("What the meter reads"));
        let changed = first[own..own + 2].concat();
        assert_eq!(changed.contains("Changed since the sheet before"), k > 0);
    }
    let images = Command::new("pdfimages")
        .arg("-list")
        .arg(place.at("day-frames/sheets.pdf"))
        .output()
        .expect("poppler-utils");
    let images = String::from_utf8(images.stdout).expect("text");
    // Each still as it was rendered: 40 x 60.
    let still = |l: &&str| {
        let columns: Vec<&str> = l.split_whitespace().collect();
        columns.get(3..5) == Some(&["40", "60"])
    };
    assert_eq!(images.lines().filter(still).count(), 4, "{images}");

    let file = "day-frames/sheets.pdf";
    let (bytes, when) = (
        fs::read(place.at(file)).expect("read"),
        written_at(&place, file),
    );
    place.json(&QUICK);
    assert_eq!(
        written_at(&place, file),
        when,
        "nothing changed, so it stays"
    );
    // One that was touched is made again, to the byte; so is one whose paper changes.
    fs::write(place.at(file), b"spoilt").expect("written");
    place.json(&QUICK);
    assert!(fs::read(place.at(file)).expect("read") == bytes);
    place.json(&[&QUICK[..], &["--paper", "letter"]].concat());
    assert!(fs::read(place.at(file)).expect("read") != bytes);
    // What is kept of one sheet is lost: that is made again, and no picture.
    let kept = place.at("day-frames/sheets/002-plain-far.json");
    let text = fs::read(&kept).expect("kept");
    fs::remove_file(&kept).expect("removed");
    assert_eq!(place.json(&QUICK)["rendered"], 0);
    assert!(fs::read(&kept).expect("kept") == text);
    assert!(fs::read(place.at(file)).expect("read") == bytes);
}

/// Frames of one setup are one sheet with both names, and without sheets there is none.
#[test]
fn a_sheet_to_each_setup() {
    let place = Place::new();
    let list = "title = \"One\"\nsetup = \"cloth.toml\"\nframing = [{ name = \"once\" }, { name = \"twice\" }]\n\
                look = [{ name = \"plain\" }]\n";
    place.write("day.toml", list);
    let none = place.json(&["batch", "day.toml", "--samples", "2", "--no-sheets"]);
    assert_eq!(none["report"]["sheets"], serde_json::Value::Null);
    assert!(!place.at("day-frames/sheets.pdf").exists());
    assert!(place.files("day-frames/sheets").is_empty());
    let with = place.json(&["batch", "day.toml", "--samples", "2", "--no-cloth"]);
    assert_eq!(with["rendered"], 0, "the pictures are there");
    assert_eq!(with["report"]["sheets"]["sheets"], 1);
    let leaves = leaves(&place, "day-frames/sheets.pdf");
    assert!(
        leaves[1].starts_with("plain, once / plain, twice\n"),
        "{}",
        leaves[1]
    );
    assert!(leaves[1].contains("shot 1, frame 1; shot 2, frame 2"));
    // The cloth is asked for later.
    let cloth = place.json(&["batch", "day.toml", "--samples", "2"]);
    assert_eq!(cloth["rendered"], 0, "the pictures are there");
    assert!(self::leaves(&place, "day-frames/sheets.pdf")[1].contains("cotton-plain at swatch"));
}

#[test]
fn a_plan_renders_nothing() {
    let place = Place::new();
    let (code, out, err) = place.run(&["batch", "day.toml", "--plan"]);
    assert_eq!(code, 0, "{err}");
    assert!(
        out.contains("4 frames") && out.contains("Swatch: linen-slub"),
        "{out}"
    );
    assert!(!place.at("day-frames").exists());
    let plan = place.json(&["batch", "day.toml", "--plan"]);
    assert_eq!(plan["plan"]["day"]["how"], "exact");
    assert_eq!(plan["plan"]["frames"].as_array().map(Vec::len), Some(4));
}

/// Pictures with a record; one that is being written has another name.
fn finished_in(place: &Place, folder: &str) -> u64 {
    let records = place.files(&format!("{folder}/records"));
    let whole = records.iter().filter(|(name, _)| name.ends_with(".json"));
    whole.count() as u64
}

/// Starts a run that takes a while, and waits for its first finished picture.
fn begun(place: &Place, folder: &str) -> std::process::Child {
    let program = place.command(&["batch"]).get_program().to_owned();
    let mut child = Command::new(program)
        .args([
            "batch",
            "day.toml",
            "--no-cloth",
            "--out",
            folder,
            "--samples",
            "96",
            "--size",
            "120x180",
        ])
        .args(["--executor", "cpu", "--quiet"])
        .current_dir(place.at(""))
        .env("XDG_CACHE_HOME", place.at("cache"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    let started = Instant::now();
    while finished_in(place, folder) == 0 {
        assert!(
            started.elapsed() < Duration::from_secs(300),
            "no picture in five minutes"
        );
        assert!(
            child.try_wait().expect("a child").is_none(),
            "it ended by itself"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
    child
}

#[cfg(unix)]
#[test]
fn a_killed_run_goes_on() {
    let place = Place::new();
    let whole = [
        "batch",
        "day.toml",
        "--samples",
        "96",
        "--no-cloth",
        "--size",
        "120x180",
    ];
    let undisturbed = place.json(&[&whole[..], &["--out", "calm"]].concat());
    assert_eq!(undisturbed["rendered"], 4);
    let mut child = begun(&place, "killed");
    // SIGKILL, which no program can answer.
    child.kill().expect("killed");
    child.wait().expect("gone");
    let there = finished_in(&place, "killed");
    assert!(
        (1..4).contains(&there),
        "{there} of 4 were finished when it was killed"
    );
    for (name, bytes) in place.files("killed/pictures") {
        if name.ends_with(".png") {
            image::load_from_memory(&bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
        }
    }
    let rest = place.json(&[&whole[..], &["--out", "killed"]].concat());
    assert_eq!(rest["up_to_date"].as_u64(), Some(there));
    assert_eq!(rest["rendered"].as_u64(), Some(4 - there));
    let finished = |folder: &str| -> Vec<(String, Vec<u8>)> {
        let files = place.files(&format!("{folder}/pictures"));
        files
            .into_iter()
            .filter(|(n, _)| n.ends_with(".png"))
            .collect()
    };
    assert!(
        finished("calm") == finished("killed"),
        "the same pictures, to the byte"
    );
}

#[cfg(unix)]
#[test]
fn ctrl_c_leaves_whole_pictures() {
    let place = Place::new();
    let mut child = begun(&place, "stopped");
    let id = child.id().to_string();
    let sent = Command::new("kill")
        .args(["-INT", &id])
        .status()
        .expect("kill");
    assert!(sent.success());
    assert_eq!(child.wait().expect("it ends").code(), Some(130));
    nothing_half_written(&place, "stopped");
    assert!(!place.at("stopped/contact.png").exists());
}

/// A disk of 48 kB where the system lets us mount one; files that may not grow beyond 4 kB where it does
/// not, and in any case. Both end with a message and exit code 1, leave nothing half written, and the
/// run goes on when there is room.
#[cfg(unix)]
#[test]
fn a_full_disk_is_told_and_got_over() {
    let place = Place::new();
    let program = place.command(&["batch"]).get_program().to_owned();
    let batch = "\"$P\" batch day.toml --samples 4 --no-cloth --executor cpu --out full";
    let shell = |script: &str| {
        Command::new("sh")
            .args(["-c", script])
            .env("P", &program)
            .env("XDG_CACHE_HOME", place.at("cache"))
            .current_dir(place.at(""))
            .output()
            .expect("a shell")
    };
    let said = |out: &std::process::Output| String::from_utf8_lossy(&out.stderr).into_owned();
    let limited = shell(&format!("trap '' XFSZ; ulimit -f 8; exec {batch}"));
    assert_eq!(limited.status.code(), Some(1), "{}", said(&limited));
    assert!(
        said(&limited).contains("error: cannot write"),
        "{}",
        said(&limited)
    );
    nothing_half_written(&place, "full");
    assert!(place.files("full/pictures").is_empty());

    // In a namespace of its own, so that nothing stays mounted.
    for unshare in ["unshare -m", "unshare -Urm"] {
        let mount = "mount -t tmpfs -o size=48k none full";
        if !shell(&format!("{unshare} sh -c '{mount}'"))
            .status
            .success()
        {
            continue;
        }
        // What is left on the small disk is looked at before it goes.
        let script =
            format!("{mount} && {batch}; code=$?; find full -name \"*.part\" >&2; exit $code");
        let out = shell(&format!("export P; {unshare} sh -c '{script}'"));
        assert_eq!(out.status.code(), Some(1), "{}", said(&out));
        assert!(said(&out).contains("no space left"), "{}", said(&out));
        assert!(!said(&out).contains(".part"), "{}", said(&out));
        break;
    }
    let after = place.json(&[&QUICK[..], &["--out", "full"]].concat());
    assert_eq!(after["rendered"], 4);
}

/// Places where nobody can write, root neither.
#[cfg(target_os = "linux")]
#[test]
fn closed_folders_are_told() {
    let place = Place::new();
    place.write("file", "not a folder");
    for out in ["file", "file/inside", "/proc/no/such", "/dev/null/x"] {
        let (code, _, err) = place.run(&[&QUICK[..], &["--out", out]].concat());
        assert_eq!(code, 2, "{out}: {err}");
        assert!(
            err.contains(out) && err.contains("--out FOLDER"),
            "{out}: {err}"
        );
    }
    for list in ["nothing.toml", ".", "/dev/null"] {
        let (code, _, err) = place.run(&["batch", list]);
        assert_eq!(code, 2, "{list}: {err}");
        assert!(err.contains("shoot list"), "{list}: {err}");
    }
    fs::write(place.at("bytes.toml"), [0xff, 0xfe, b'a']).expect("written");
    let (code, _, err) = place.run(&["batch", "bytes.toml"]);
    assert!(code == 2 && err.contains("UTF-8"), "{err}");
}

/// A setup that a list breaks is told before anything is rendered, with the frame that breaks it.
#[test]
fn frames_that_cannot_be_set_up_are_told_first() {
    let place = Place::new();
    place.write("day.toml", &LIST.replace("linen-slub", "moonlight"));
    let (code, _, err) = place.run(&QUICK);
    assert_eq!(code, 2, "{err}");
    assert!(err.contains("cloth.toml as \"slub, near\""), "{err}");
    assert!(
        err.contains("moonlight") && err.contains("2 frames"),
        "{err}"
    );
    assert!(place.files("day-frames/pictures").is_empty());
}

/// One frame whose light cannot be had does not keep the others.
#[test]
fn a_frame_out_of_reach_does_not_keep_the_others() {
    let place = Place::new();
    let dark = LIST.replace(
        "[\n  { name = \"plain\"",
        "[\n  { name = \"dark\", set = { \"key.on\" = false, \"fill.on\" = false } },\n  { name = \"plain\"",
    );
    place.write("day.toml", &dark);
    let (code, out, err) = place.run(&QUICK);
    assert_eq!(code, 1, "{err}");
    assert!(
        out.contains("could not be taken: dark, near; dark, far"),
        "{out}"
    );
    assert_eq!(place.files("day-frames/pictures").len(), 4);
    assert!(!place.at("day-frames/contact.png").exists());
}

/// The job file's own commands, run as its engine would.
#[cfg(unix)]
#[test]
fn job_files_render_the_list() {
    let place = Place::new();
    let jobs = [
        "batch",
        "day.toml",
        "--no-cloth",
        "--jobs",
        "slurm",
        "--parts",
        "3",
        "--samples",
        "4",
        "--into",
        "many",
        "--out",
        "job.sh",
    ];
    let told = place.json(&jobs);
    assert_eq!((&told["parts"], &told["frames"]), (&3.into(), &4.into()));
    let (code, _, err) = place.run(&jobs);
    assert!(
        code == 2 && err.contains("--force"),
        "never over another: {err}"
    );
    let program = place.command(&["batch"]).get_program().to_owned();
    for (task, of_its_own) in [("10", false), ("12", false), ("14", true)] {
        let mut job = Command::new("sh");
        job.arg("job.sh")
            .env("SWATCHLIGHT", &program)
            .env("XDG_CACHE_HOME", place.at("cache"))
            .env("SLURM_ARRAY_TASK_ID", task)
            .env("SLURM_ARRAY_TASK_MIN", "10")
            .env("SLURM_ARRAY_TASK_STEP", "2")
            .current_dir(place.at(""));
        if !of_its_own {
            job.env("SLURM_ARRAY_TASK_COUNT", "3");
        }
        let out = job.output().expect("a shell");
        assert!(
            out.status.success(),
            "{}",
            String::from_utf8_lossy(&out.stderr)
        );
    }
    let merged = place.json(&["merge", "many"]);
    assert_eq!(merged["taken_over"], 4);
    place.json(&QUICK);
    assert!(place.files("many/pictures") == place.files("day-frames/pictures"));

    place.json(&[
        "batch",
        "day.toml",
        "--no-cloth",
        "--jobs",
        "kubernetes",
        "--samples",
        "4",
        "--out",
        "job.yaml",
    ]);
    let yaml = fs::read_to_string(place.at("job.yaml")).expect("text");
    for line in ["completionMode: Indexed", "completions: 4", "\"env/4\""] {
        assert!(yaml.contains(line), "{line}\n{yaml}");
    }
    let mut part = place.command(&[
        "batch",
        "day.toml",
        "--samples",
        "4",
        "--no-cloth",
        "--part",
        "env/4",
    ]);
    part.env("JOB_COMPLETION_INDEX", "2").assert().success();
    let mut lost = place.command(&["batch", "day.toml", "--part", "env/4"]);
    let out = lost
        .env_remove("JOB_COMPLETION_INDEX")
        .env_remove("SLURM_ARRAY_TASK_ID")
        .output();
    let out = out.expect("it runs");
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("JOB_COMPLETION_INDEX"));
}
