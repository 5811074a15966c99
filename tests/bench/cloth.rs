//! What cloth costs: its tables, its shading against plain diffuse on the same scene, as stills are made and in full
//! paths, on each executor; and a swatch view to 2 %. It measures and judges nothing.
//!
//! `cargo bench --bench cloth -- [NAME …]` takes fabrics of `models/fabrics/` for the swatch views, three unless said.
//! Those are of a small part of the picture and told for all of it: its pixels are alike.

use std::error::Error;
use std::path::Path;
use std::sync::atomic::AtomicBool;
use std::time::Instant;
use swatchlight::fabric::Fabric;
use swatchlight::measure::swatch_view::{Reference, SwatchView, shoot};
use swatchlight::render::bounce::fill;
use swatchlight::render::cpu::Cpu;
use swatchlight::render::driver::Goal;
use swatchlight::render::executor::{Executor, Passes};
use swatchlight::render::film::Film;
use swatchlight::render::gpu::{Choice, Gpu};
use swatchlight::scene::Scene;
use swatchlight::scene::cloth::{Dye, Shelf, add};
use swatchlight::scene::models::Models;
use swatchlight::scene::records::NOTHING;
use swatchlight::scene::studio::Studio;
use swatchlight::setup::{Lay, Options, parse_with};

/// Fabrics whose swatches are taken.
const SWATCHES: [&str; 3] = ["linen-slub", "denim", "silk-satin"];
/// Part of a swatch view's side that is taken.
const PART: u32 = 5;

static GO: AtomicBool = AtomicBool::new(false);

fn main() -> Result<(), Box<dyn Error>> {
    let names: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let models = Models::for_setup(Path::new("models/setups/bench.toml"));
    let names = if names.is_empty() {
        SWATCHES.map(String::from).to_vec()
    } else {
        names
    };
    let mut executors: Vec<Box<dyn Executor>> = vec![Box::new(Cpu::new(0)?)];
    if let Ok(gpu) = Gpu::open(Choice::Real) {
        executors.push(Box::new(gpu));
    }
    println!(
        "{:<20}{:>10}{:>9}{:>22}{:>14}",
        "fabric", "tables, s", "kB", "swatch to 2 %, s", "samples"
    );
    for name in &names {
        let fabric = models.fabric(name)?;
        let (seconds, texels) = tables(&fabric)?;
        print!("{name:<20}{seconds:>10.2}{:>9.0}", texels as f64 * 0.016);
        for light in [Reference::Raking, Reference::Soft] {
            let (seconds, samples) = swatch(&fabric, light, seconds, executors[0].as_mut())?;
            print!("{seconds:>11.1}{samples:>7}");
        }
        println!();
    }
    println!(
        "\n{:<52}{:>10}{:>10}{:>8}",
        "four samples a pixel", "plain, s", "cloth, s", "ratio"
    );
    for (setup, as_stills) in [
        ("front-full-length", true),
        ("side-key-linen", true),
        ("side-key-linen", false),
        ("raking-swatch", false),
    ] {
        for executor in &mut executors {
            let [mut plain, mut cloth] =
                [scene(setup, &models, false)?, scene(setup, &models, true)?];
            if as_stills {
                for scene in [&mut plain, &mut cloth] {
                    fill(executor.as_mut(), scene, &GO, |_| ())?;
                }
            }
            let (plain, cloth) = shaded(&plain, &cloth, executor.as_mut())?;
            let how = if as_stills { "as stills" } else { "full paths" };
            println!(
                "{:<52}{plain:>10.2}{cloth:>10.2}{:>8.2}",
                format!("{setup}, {how}, {}", executor.name()),
                cloth / plain
            );
        }
    }
    Ok(())
}

/// Seconds to make a fabric's tables, and texels that they take.
fn tables(fabric: &Fabric) -> Result<(f64, usize), Box<dyn Error>> {
    let start = Instant::now();
    let mut texels = Vec::new();
    add(fabric, Dye::Own, &mut texels)?;
    Ok((start.elapsed().as_secs_f64(), texels.len()))
}

/// Seconds and samples to 2 % at the median pixel of 900 x 900, ten centimetres of cloth, or 256 samples.
fn swatch(
    fabric: &Fabric,
    light: Reference,
    tables_s: f64,
    executor: &mut dyn Executor,
) -> Result<(f64, u32), Box<dyn Error>> {
    let view = SwatchView {
        width_m: 0.1 / f64::from(PART),
        pixels: [900 / PART; 2],
        lay: Lay::Flat,
        light,
        dye: Dye::Own,
        goal: Goal {
            samples: 256,
            relative_error: Some(0.02),
        },
    };
    let start = Instant::now();
    let shot = shoot(fabric, &Shelf::default(), &view, executor, &GO, |_| ())?;
    let traced_s = (start.elapsed().as_secs_f64() - tables_s).max(0.0);
    Ok((tables_s + f64::from(PART * PART) * traced_s, shot.samples))
}

/// A demo setup's scene, its cloth as it is or as plain diffuse of the same colour.
fn scene(name: &str, models: &Models, cloth: bool) -> Result<Scene, Box<dyn Error>> {
    let path = format!("models/setups/{name}.toml");
    let size = Options {
        pixels: Some([400, 600]),
    };
    let setup = parse_with(&std::fs::read_to_string(&path)?, &path, models, size)
        .map_err(|e| format!("{e:?}"))?
        .setup;
    let mut scene = Studio::build(&setup, models)?.scene;
    if !cloth {
        for m in &mut scene.materials {
            m.cloth = NOTHING.0;
            m.straight = 0.0;
        }
    }
    Ok(scene)
}

/// Seconds for four samples a pixel, plain and cloth in turn, the least of three each.
fn shaded(
    plain: &Scene,
    cloth: &Scene,
    executor: &mut dyn Executor,
) -> Result<(f64, f64), Box<dyn Error>> {
    let mut least = [f64::INFINITY; 2];
    for _ in 0..3 {
        for (scene, least) in [plain, cloth].into_iter().zip(&mut least) {
            let (width, height) = (scene.params.width, scene.params.height);
            let mut film = Film::new(width, 0, height, scene.layers.len() as u32);
            let start = Instant::now();
            executor.render(scene, &mut film, Passes::one(0, 4), &GO)?;
            *least = least.min(start.elapsed().as_secs_f64());
        }
    }
    Ok((least[0], least[1]))
}
