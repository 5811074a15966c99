//! How fast stills and readings are, for the demo setups. It measures and judges nothing.
//!
//! `cargo bench --bench speed -- [--quick] [--setup NAME] [--mitsuba]`
//!
//! - `--quick` renders a few samples and extrapolates (errors fall as one over the root of the samples;
//!   ours fall faster, so the figure errs on the safe side);
//! - `--setup` takes one setup of `models/setups/`;
//! - `--mitsuba` also races Mitsuba 3 (`SWATCHLIGHT_PYTHON` or `python3` must have it) on each setup with
//!   plain stand-ins for what it does not know: the same triangles, faces and colours on both sides.
//!
//! Every figure comes from a process of its own, so that peak memory is the setup's.

#[path = "export.rs"]
mod export;
#[path = "independent.rs"]
mod independent;
#[path = "process.rs"]
mod process;

use process::processor_s;
use serde_json::{Value, json};
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::AtomicBool;
use std::time::Instant;
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::take::Take;
use swatchlight::render::choose::{Wish, choose};
use swatchlight::render::cpu::Cpu;
use swatchlight::render::driver::{Goal, render};
use swatchlight::render::executor::Executor;
use swatchlight::render::film::Film;
use swatchlight::scene::Scene;
use swatchlight::scene::models::Models;
use swatchlight::scene::records::{NOTHING, TABLE_UNIFORM, TOP_COAT, TOP_CONDUCTOR, TOP_NONE};
use swatchlight::setup::{Options, parse_with};

/// What times are given for: 900 x 1200, or as many in a setup's own proportions.
const PIXELS: f64 = 1_080_000.0;
const QUICK_SAMPLES: u32 = 16;
/// Enough for the goals here in any of the setups.
const MOST_SAMPLES: u32 = 4096;
static GO: AtomicBool = AtomicBool::new(false);

fn main() -> Result<(), Box<dyn Error>> {
    // Cargo hands benches a flag of its own.
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let has = |flag: &str| args.iter().any(|a| a == flag);
    let after = |flag: &str| {
        let at = args.iter().position(|a| a == flag)?;
        args.get(at + 1).cloned()
    };
    if let Some(setup) = after("--still") {
        return say(still(Path::new(&setup), has("--gpu"), has("--quick"))?);
    }
    if let Some(setup) = after("--race") {
        let folder = after("--folder").ok_or("--race needs --folder")?;
        return say(race(Path::new(&setup), Path::new(&folder), has("--quick"))?);
    }
    let setups = setups(after("--setup").as_deref())?;
    println!("load: {}", load());
    stills(&setups, has("--quick"))?;
    if has("--mitsuba") {
        races(&setups, has("--quick"))?;
    }
    Ok(())
}

fn say(value: Value) -> Result<(), Box<dyn Error>> {
    println!("{value}");
    Ok(())
}

fn setups(only: Option<&str>) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/setups");
    let mut found: Vec<PathBuf> = fs::read_dir(&folder)?
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .filter(|p| only.is_none_or(|name| name_of(p) == name))
        .collect();
    found.sort();
    if found.is_empty() {
        return Err(format!("no such setup in {}", folder.display()).into());
    }
    Ok(found)
}

fn name_of(setup: &Path) -> String {
    setup
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

/// This program again, in a process of its own; its last line is what it has to say.
fn child(args: &[&str]) -> Result<Value, Box<dyn Error>> {
    let out = Command::new(std::env::current_exe()?)
        .args(args)
        .stderr(Stdio::inherit())
        .output()?;
    last_line(&out.stdout, args[1])
}

fn last_line(out: &[u8], of: &str) -> Result<Value, Box<dyn Error>> {
    let text = String::from_utf8_lossy(out);
    let line = text
        .lines()
        .last()
        .ok_or_else(|| format!("{of}: nothing was measured"))?;
    Ok(serde_json::from_str(line)?)
}

fn number(of: &Value, key: &str) -> f64 {
    of[key].as_f64().unwrap_or(f64::NAN)
}

/// Runnable processes, which compete for the cores.
fn load() -> String {
    fs::read_to_string("/proc/loadavg").map_or("unknown".into(), |l| {
        l.split(' ').take(3).collect::<Vec<_>>().join(" ")
    })
}

/// The most memory this process ever held, MB, where the system tells.
fn peak_mb() -> Option<f64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? * 1024e-6)
}

// --- Stills and readings -------------------------------------------------------------------------

fn stills(setups: &[PathBuf], quick: bool) -> Result<(), Box<dyn Error>> {
    let auto = choose(Wish::Auto, 0)?;
    let mut executors = vec![false];
    if auto.on_cpu {
        println!("no graphics adapter is timed: {}", auto.reason);
    } else {
        executors.push(true);
    }
    drop(auto);
    println!(
        "\n{:<20}{:<28}{:>7}{:>9}{:>10}{:>10}{:>9}{:>9}{:>8}",
        "as 900 x 1200",
        "executor",
        "cores",
        "Mrays/s",
        "read, s",
        "bounce, s",
        "2 %, s",
        "1 %, s",
        "MB"
    );
    for setup in setups {
        for gpu in &executors {
            let path = setup.to_string_lossy();
            let mut args = vec!["--still", &path];
            args.extend(gpu.then_some("--gpu"));
            args.extend(quick.then_some("--quick"));
            let m = child(&args)?;
            println!(
                "{:<20}{:<28}{:>7.2}{:>9.1}{:>10.1}{:>10.1}{:>9.1}{:>9.1}{:>8.0}",
                name_of(setup),
                m["executor"].as_str().unwrap_or_default(),
                number(&m, "cores"),
                number(&m, "mrays_per_s"),
                number(&m, "read_s"),
                number(&m, "bounce_s"),
                number(&m, "to_2_percent_s"),
                number(&m, "to_1_percent_s"),
                number(&m, "peak_mb"),
            );
        }
    }
    let how = if quick {
        "extrapolated from 16 samples"
    } else {
        "rendered to that end"
    };
    println!(
        "Times to an error at the median pixel are {how}, with reading and bounce. Cores are what \
         rendering got of the processor, beside whatever else ran."
    );
    Ok(())
}

/// Times one setup as `still` makes it.
fn still(setup: &Path, gpu: bool, quick: bool) -> Result<Value, Box<dyn Error>> {
    let wish = if gpu { Wish::Auto } else { Wish::Cpu };
    let mut executor = choose(wish, 0)?.executor;
    let executor = executor.as_mut();
    let start = Instant::now();
    let mut take = taken(setup, PIXELS, executor)?;
    let read_s = start.elapsed().as_secs_f64();
    let start = Instant::now();
    take.find_bounce(executor, &GO, |_| ())?;
    let bounce_s = start.elapsed().as_secs_f64();

    let scene = &take.studio.scene;
    let [width, height] = take.setup.camera.pixels;
    let mut film = Film::new(width, 0, height, scene.layers.len() as u32);
    let rays = executor.rays().unwrap_or_default();
    let goal = if quick {
        Goal {
            samples: QUICK_SAMPLES,
            relative_error: None,
        }
    } else {
        Goal {
            samples: MOST_SAMPLES,
            relative_error: Some(0.01),
        }
    };
    let mut to_2 = None;
    let spent = processor_s();
    let reached = render(executor, scene, &mut film, goal, &GO, |p| {
        if p.relative_error.is_some_and(|e| e <= 0.02) {
            to_2.get_or_insert(p.elapsed.as_secs_f64());
        }
    })?;
    let render_s = reached.elapsed.as_secs_f64();
    let cores = processor_s()
        .zip(spent)
        .map(|(now, then)| (now - then) / render_s);
    let error = reached.relative_error.unwrap_or(f64::NAN);
    let to = |want: f64| render_s * (error / want).powi(2);
    let before = read_s + bounce_s;
    Ok(json!({
        "executor": executor.name(),
        "mrays_per_s": (executor.rays().unwrap_or_default() - rays) as f64 * 1e-6 / render_s,
        "cores": cores,
        "read_s": read_s,
        "bounce_s": bounce_s,
        "to_2_percent_s": before + if quick { to(0.02) } else { to_2.unwrap_or(f64::NAN) },
        "to_1_percent_s": before + if quick { to(0.01) } else { render_s },
        "samples": reached.samples,
        "error": error,
        "peak_mb": peak_mb(),
    }))
}

/// A setup metered at `pixels` pixels or a little fewer.
fn taken(setup: &Path, pixels: f64, executor: &mut dyn Executor) -> Result<Take, Box<dyn Error>> {
    let text = fs::read_to_string(setup)?;
    let models = Models::for_setup(setup);
    let read =
        |options| parse_with(&text, &name_of(setup), &models, options).map_err(|p| p.render(false));
    let own = read(Options::default())?.setup.camera.pixels.map(f64::from);
    let scale = (pixels / (own[0] * own[1])).sqrt();
    let pixels = own.map(|side| (side * scale) as u32);
    let setup = read(Options {
        pixels: Some(pixels),
    })?
    .setup;
    Ok(Take::new(
        setup,
        &models,
        executor,
        GatherGoal::default(),
        &GO,
    )?)
}

// --- Beside Mitsuba ------------------------------------------------------------------------------

/// A quarter of the picture each way: what one pixel costs is the same.
const RACE_PIXELS: f64 = PIXELS / 16.0;

fn races(setups: &[PathBuf], quick: bool) -> Result<(), Box<dyn Error>> {
    let python = std::env::var("SWATCHLIGHT_PYTHON").unwrap_or("python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/mitsuba/speed.py");
    println!(
        "\n{:<20}{:>10}{:>11}{:>11}{:>12}{:>12}{:>10}  Mitsuba",
        "2 %, as 900 x 1200",
        "ours, s",
        "in full, s",
        "Mitsuba, s",
        "ours/theirs",
        "in full",
        "means"
    );
    for setup in setups {
        let folder = tempfile::tempdir()?;
        let path = setup.to_string_lossy();
        let folder = folder.path().to_string_lossy().into_owned();
        let mut args = vec!["--race", &path, "--folder", &folder];
        args.extend(quick.then_some("--quick"));
        child(&args)?;
        let mut theirs = Command::new(&python);
        let out = theirs
            .arg(&script)
            .arg(&folder)
            .stderr(Stdio::inherit())
            .output()?;
        let m = last_line(&out.stdout, "Mitsuba")?;
        let [ours, full, theirs] = ["ours_s", "in_full_s", "mitsuba_s"].map(|k| number(&m, k));
        println!(
            "{:<20}{ours:>10.1}{full:>11.1}{theirs:>11.1}{:>12.2}{:>12.2}{:>9.2}%  {}",
            name_of(setup),
            ours / theirs,
            full / theirs,
            100.0 * (number(&m, "mean_ratio") - 1.0),
            m["variant"].as_str().unwrap_or_default(),
        );
    }
    println!(
        "Processor seconds, all cores together; theirs without compiling. \"In full\" follows every \
         bounce; \"ours\" takes light from the set's flats as stills do, finding it included. Coats differ \
         (tests/mitsuba/compare.py), and so may the means where there is skin."
    );
    Ok(())
}

/// Our side of one race: leaves the scene and our pictures in `folder`.
fn race(setup: &Path, folder: &Path, quick: bool) -> Result<Value, Box<dyn Error>> {
    let mut cpu = Cpu::new(0)?;
    let mut take = taken(setup, RACE_PIXELS, &mut cpu)?;
    let weights = take.weights.clone();
    let scene = &mut take.studio.scene;
    stand_in(scene);
    let (seeds, samples) = if quick { (6, 16) } else { (12, 64) };
    let described = export::export(scene, &weights, folder, "scene")?;
    let mut spent = processor_s();
    let mut lap = || {
        let then = std::mem::replace(&mut spent, processor_s());
        spent.zip(then).map(|(now, then)| now - then)
    };
    let full = independent::pictures(&mut cpu, scene, &weights, seeds, samples)?;
    let full_s = lap();
    full.write(folder, "full")?;
    lap();
    take.find_bounce(&mut cpu, &GO, |_| ())?;
    let bounce_s = lap();
    let scene = &mut take.studio.scene;
    let ours = independent::pictures(&mut cpu, scene, &weights, seeds, samples)?;
    let ours_s = lap();
    ours.write(folder, "ours")?;
    let picture_s = |all: Option<f64>| all.map(|s| s / f64::from(seeds));
    let pixels = take.setup.camera.pixels;
    let facts = json!({
        "scene": described,
        "pixels": pixels,
        // The cells are found once for a picture of any size.
        "pixels_ratio": PIXELS / f64::from(pixels[0] * pixels[1]),
        "seeds": seeds,
        "samples": samples,
        "full_s": picture_s(full_s),
        "ours_s": picture_s(ours_s),
        "bounce_s": bounce_s,
    });
    fs::write(folder.join("race.json"), facts.to_string())?;
    Ok(json!({}))
}

/// Makes of a setup's scene one that both sides know: Lambertian faces, smooth and opaque surfaces
/// that are matt or coated, a pinhole.
fn stand_in(scene: &mut Scene) {
    scene.params.lens_radius_m = 0.0;
    for e in &mut scene.emitters {
        e.table_kind = TABLE_UNIFORM.0;
        e.luminance_per_lm = 1.0 / (std::f32::consts::PI * e.area_sqm);
        e.candidates = 1;
    }
    for m in &mut scene.materials {
        m.through = Default::default();
        m.straight = 0.0;
        m.relief = NOTHING.0;
        if m.top == TOP_CONDUCTOR.0 {
            m.base = m.specular;
        }
        if m.top != TOP_COAT.0 {
            m.top = TOP_NONE.0;
            m.albedo_table = NOTHING.0;
            m.couple_gain = 1.0;
            m.couple_feedback = 0.0;
        }
    }
}
