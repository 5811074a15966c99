//! A real window on a virtual screen, drawn by a software Vulkan and worked with a virtual hand: open, drag
//! a light, type a reading, save, close; or be killed in the middle. Where things are is asked of the same sheet without a screen.
//!
//! Wants the Debian packages xvfb, xdotool, imagemagick and mesa-vulkan-drivers, which `.ci/run` installs.

use egui::Vec2;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};
use swatchlight::app::desk::{Desk, Question, Surroundings};
use swatchlight::app::engine::{Opener, Tell};
use swatchlight::app::journal::Left;
use swatchlight::app::sheet;
use swatchlight::render::choose::{Wish, choose};
use swatchlight::render::steady::Steady;
use swatchlight::scene::models::Models;

/// Invented: a piece of cloth under one panel.
const SETUP: &str = r#"title = "One panel"   # invented
[room]
walls = "open"

[swatch]
fabric = "poplin"
at = [0, 1.2, 0]

[camera]
framing = "swatch"
focal_length = "100 mm"
pixels = "600 x 900"

[[light]]
name = "key"
modifier = { kind = "panel", size = "0.6 x 0.6 m" }
distance = "1.5 m"   # taped
bearing = "45 deg left"
height = "1.6 m"
aim = "swatch"
meters = "f/8"
metered_at = "swatch"

[meter]
expose_at = "swatch"
points = ["swatch"]
"#;
const SIZE: [u32; 2] = [1280, 800];
/// Around what is shown without a screen.
const FRAME: f32 = 8.0;

/// A program that is ended with the test, however that goes.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A screen of its own.
struct Screen {
    display: String,
    _server: Ended,
}

impl Screen {
    fn new() -> Self {
        // Far from what a person's screens are numbered; each test has its own.
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let number = 90 + std::process::id() % 900 + 1000 * NEXT.fetch_add(1, Ordering::Relaxed);
        let display = format!(":{number}");
        let server = Command::new("Xvfb")
            .args([
                &display,
                "-screen",
                "0",
                &format!("{}x{}x24", SIZE[0], SIZE[1]),
            ])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("install the Debian package xvfb");
        let screen = Self {
            display,
            _server: Ended(server),
        };
        screen.until("the screen", Duration::from_secs(20), |s| {
            s.hand(&["getmouselocation"]).status.success()
        });
        screen
    }

    fn command(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        command
            .env("DISPLAY", &self.display)
            .env_remove("WAYLAND_DISPLAY");
        command
    }

    /// The virtual hand.
    fn hand(&self, arguments: &[&str]) -> Output {
        let mut command = self.command("xdotool");
        command
            .args(arguments)
            .output()
            .expect("install the Debian package xdotool")
    }

    fn go(&self, [x, y]: [f32; 2]) {
        self.hand(&["mousemove", &format!("{x:.0}"), &format!("{y:.0}")]);
        std::thread::sleep(Duration::from_millis(150));
    }

    /// Does something with the hand until the program's journal of unsaved work shows it. A busy machine may
    /// miss a click.
    fn doing(&self, what: &str, folder: &Path, done: impl Fn(&str) -> bool, work: impl Fn(&Self)) {
        for _ in 0..4 {
            work(self);
            let started = Instant::now();
            while started.elapsed() < Duration::from_secs(8) {
                if journal(folder).is_some_and(|text| done(&text)) {
                    return;
                }
                std::thread::sleep(Duration::from_millis(200));
            }
        }
        panic!("{what} was not taken up: {:?}", journal(folder));
    }

    fn until(&self, what: &str, most: Duration, holds: impl Fn(&Self) -> bool) {
        let started = Instant::now();
        while !holds(self) {
            assert!(started.elapsed() < most, "waited for {what}");
            std::thread::sleep(Duration::from_millis(200));
        }
    }
}

/// A folder with the setup in it; none where tests with tools are to be left out.
fn worked_on() -> Option<(tempfile::TempDir, PathBuf)> {
    if std::env::var_os("SWATCHLIGHT_SKIP_TOOL_TESTS").is_some() {
        eprintln!("left out, as asked for");
        return None;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let setup = folder.path().join("one panel.toml");
    fs::write(&setup, SETUP).expect("it can be written");
    Some((folder, setup))
}

/// The same desk without a screen.
fn desk(setup: &Path, journal: &Path) -> Desk {
    let models = |_: &Path| {
        Models::for_setup(&Path::new(env!("CARGO_MANIFEST_DIR")).join("models/setups/any.toml"))
    };
    let around = Surroundings {
        journal: Some(journal.to_path_buf()),
        models: Arc::new(models),
        program: None,
    };
    let open: Opener = Box::new(|tell: Tell| {
        let chosen = choose(Wish::Cpu, 1)?;
        Ok((Box::new(Steady::new(chosen, 1, tell)), "a test".into()))
    });
    let mut desk = Desk::new(around, open, || ());
    desk.open(setup);
    desk
}

/// Where two controls are at this size of window.
fn places(setup: &Path, journal: &Path) -> [[f32; 2]; 2] {
    let desk = desk(setup, journal);
    let mut harness = Harness::builder()
        .with_size(Vec2::new(
            SIZE[0] as f32 + 2.0 * FRAME,
            SIZE[1] as f32 + 2.0 * FRAME,
        ))
        .build_ui_state(|ui, desk: &mut Desk| sheet::show(desk, ui), desk);
    let started = Instant::now();
    // The drawings take in the beams once these are known.
    while harness.state().mix.is_none() || harness.state().shown.glimpses.is_none() {
        assert!(
            started.elapsed() < Duration::from_secs(90),
            "waited for readings"
        );
        std::thread::sleep(Duration::from_millis(50));
        harness.step();
    }
    harness.run_steps(2);
    ["light key, plan", "key alone"].map(|name| {
        let middle = harness.get_by_label(name).rect().center();
        [middle.x - FRAME, middle.y - FRAME]
    })
}

#[test]
fn a_window_is_opened_worked_saved_and_closed() {
    let Some((folder, setup)) = worked_on() else {
        return;
    };
    let [light, alone] = places(&setup, &folder.path().join("other journal"));
    let screen = Screen::new();
    let mut window = opened(&screen, &setup, folder.path());

    screen.doing(
        "the drag",
        folder.path(),
        |text| !text.contains("distance = \"1.5 m\""),
        |s| {
            s.go(light);
            s.hand(&["mousedown", "1"]);
            for k in 1..=6 {
                s.go([light[0] - 5.0 * k as f32, light[1] + 2.0 * k as f32]);
            }
            s.hand(&["mouseup", "1"]);
        },
    );
    screen.doing("the reading", folder.path(), types_f11, |s| {
        type_f11(s, alone)
    });
    screen.hand(&["key", "ctrl+s"]);
    let saved = || fs::read_to_string(&setup).expect("it is there");
    screen.until("the file", Duration::from_secs(30), |_| saved() != SETUP);

    let now = saved();
    assert!(now.contains("meters = \"f/11\""), "{now}");
    assert!(
        !now.contains("distance = \"1.5 m\"") && now.contains("# taped"),
        "{now}"
    );
    let picture = look(&screen, folder.path());
    if let Some(keep) = std::env::var_os("SWATCHLIGHT_KEEP_SHOT") {
        picture.save(keep).expect("it can be kept");
    }
    assert!(greys(&picture) > 40, "there is a picture on the sheet");

    screen.hand(&["key", "ctrl+q"]);
    let started = Instant::now();
    while window.0.try_wait().expect("it can be asked").is_none() {
        assert!(
            started.elapsed() < Duration::from_secs(30),
            "it does not close"
        );
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn work_survives_a_kill() {
    let Some((folder, setup)) = worked_on() else {
        return;
    };
    let [_, alone] = places(&setup, &folder.path().join("other journal"));
    let screen = Screen::new();
    let mut window = opened(&screen, &setup, folder.path());
    screen.doing("the reading", folder.path(), types_f11, |s| {
        type_f11(s, alone)
    });
    // On Unix this is SIGKILL: nothing of the program runs after it.
    window.0.kill().expect("it can be killed");
    window.0.wait().expect("it has ended");
    assert_eq!(fs::read_to_string(&setup).expect("it is there"), SETUP);

    let journal = folder.path().join("cache").join("unsaved");
    let mut desk = desk(&setup, &journal);
    let started = Instant::now();
    while desk.opening().is_some() && started.elapsed() < Duration::from_secs(90) {
        std::thread::sleep(Duration::from_millis(20));
        desk.receive();
    }
    let Some(Question::Restore(left)) = &desk.question else {
        panic!("{:?}", desk.question);
    };
    assert!(left.text.contains("meters = \"f/11\""), "{}", left.text);
}

fn types_f11(text: &str) -> bool {
    text.contains("meters = \"f/11\"")
}

fn type_f11(screen: &Screen, cell: [f32; 2]) {
    screen.go(cell);
    screen.hand(&["click", "1"]);
    std::thread::sleep(Duration::from_millis(500));
    screen.hand(&["type", "--delay", "40", "f/11"]);
    screen.hand(&["key", "Return"]);
}

/// What the program has put down of unsaved work. A file that is still being written has another ending.
fn journal(folder: &Path) -> Option<String> {
    let files = fs::read_dir(folder.join("cache").join("unsaved")).ok()?;
    let paths = files.filter_map(|f| Some(f.ok()?.path()));
    let whole = paths.filter(|p| p.extension().is_some_and(|e| e == "json"));
    let left = whole.filter_map(|p| serde_json::from_slice(&fs::read(p).ok()?).ok());
    left.map(|l: Left| l.text).next()
}

/// The program with a setup open, showing, and with the keyboard.
fn opened(screen: &Screen, setup: &Path, folder: &Path) -> Ended {
    let size = format!("{}x{}", SIZE[0], SIZE[1]);
    let mut program = screen.command(env!("CARGO_BIN_EXE_swatchlight"));
    program.arg("open").arg(setup);
    program.args(["--executor", "cpu", "--size", &size, "--cache"]);
    program
        .arg(folder.join("cache"))
        .env("XDG_RUNTIME_DIR", folder);
    let started = program.stderr(Stdio::inherit()).spawn();
    let window = Ended(started.expect("the program starts"));
    // It shows once more than a few greys are on the screen.
    screen.until("the window", Duration::from_secs(90), |s| {
        greys(&look(s, folder)) > 40
    });
    std::thread::sleep(Duration::from_secs(3));
    // There is no window manager to give it the keyboard.
    let found = screen.hand(&["search", "--name", "Swatchlight"]);
    let found = String::from_utf8_lossy(&found.stdout).into_owned();
    let id = found.lines().next().unwrap_or_default().to_owned();
    screen.hand(&["windowfocus", "--sync", &id]);
    window
}

fn look(screen: &Screen, folder: &Path) -> image::RgbImage {
    let shot = folder.join("shot.png");
    let taken = screen
        .command("import")
        .args(["-window", "root"])
        .arg(&shot)
        .status();
    assert!(
        taken
            .expect("install the Debian package imagemagick")
            .success()
    );
    image::open(&shot).expect("a picture").to_rgb8()
}

/// Different colours on the screen, as far as they are told apart by 4 in 255.
fn greys(picture: &image::RgbImage) -> usize {
    let seen: std::collections::BTreeSet<[u8; 3]> =
        picture.pixels().map(|p| p.0.map(|c| c / 4)).collect();
    seen.len()
}

/// A screen, but nothing to draw on it with.
#[test]
fn without_an_adapter_it_is_said_what_to_install() {
    let Some((_folder, setup)) = worked_on() else {
        return;
    };
    let screen = Screen::new();
    let mut program = screen.command(env!("CARGO_BIN_EXE_swatchlight"));
    // A kind of graphics that this system has not.
    let backend = if cfg!(target_os = "linux") {
        "metal"
    } else {
        "vulkan"
    };
    let run = program.arg("open").arg(&setup).env("WGPU_BACKEND", backend);
    let run = run.output().expect("the program starts");
    let said = String::from_utf8_lossy(&run.stderr);
    assert_eq!(run.status.code(), Some(1), "{said}");
    assert!(
        said.contains("no graphics adapter") && said.contains("command line works"),
        "{said}"
    );
    assert!(
        !said.contains(".rs") && !said.contains("registry"),
        "{said}"
    );
}
