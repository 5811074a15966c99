//! What cloth costs: its tables, its shading against plain diffuse on the same scene, near and far, on each
//! executor; and a swatch view to 2 %. It measures and judges nothing.
//!
//! `cargo bench --bench cloth -- [NAME …]` takes fabrics of `models/fabrics/`.

use std::error::Error;
use std::path::Path;
use std::sync::atomic::AtomicBool;
use std::time::Instant;
use swatchlight::fabric::Fabric;
use swatchlight::measure::swatch_view::{Reference, SwatchView, shoot};
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

static GO: AtomicBool = AtomicBool::new(false);

fn main() -> Result<(), Box<dyn Error>> {
    let names: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let models = Models::for_setup(Path::new("models/setups/bench.toml"));
    let names = if names.is_empty() {
        models.list("fabrics")
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
            let (seconds, samples) = swatch(&fabric, light, executors[0].as_mut())?;
            print!("{seconds:>11.1}{samples:>7}");
        }
        println!();
    }
    println!(
        "\n{:<44}{:>10}{:>10}{:>8}",
        "full paths", "plain, s", "cloth, s", "ratio"
    );
    for setup in ["front-full-length", "side-key-linen", "raking-swatch"] {
        for executor in &mut executors {
            let plain = shaded(&scene(setup, &models, false)?, executor.as_mut())?;
            let cloth = shaded(&scene(setup, &models, true)?, executor.as_mut())?;
            println!(
                "{:<44}{plain:>10.2}{cloth:>10.2}{:>8.2}",
                format!("{setup}, {}", executor.name()),
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

/// Seconds and samples to 2 % at the median pixel of 900 x 900, ten centimetres of cloth, or 64 samples.
fn swatch(
    fabric: &Fabric,
    light: Reference,
    executor: &mut dyn Executor,
) -> Result<(f64, u32), Box<dyn Error>> {
    let view = SwatchView {
        width_m: 0.1,
        pixels: [900, 900],
        lay: Lay::Flat,
        light,
        dye: Dye::Own,
        goal: Goal {
            samples: 64,
            relative_error: Some(0.02),
        },
    };
    let start = Instant::now();
    let shot = shoot(fabric, &Shelf::default(), &view, executor, &GO, |_| ())?;
    Ok((start.elapsed().as_secs_f64(), shot.samples))
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

/// Seconds for four samples a pixel in full paths, the least of three.
fn shaded(scene: &Scene, executor: &mut dyn Executor) -> Result<f64, Box<dyn Error>> {
    let mut least = f64::INFINITY;
    let (width, height) = (scene.params.width, scene.params.height);
    for _ in 0..3 {
        let mut film = Film::new(width, 0, height, scene.layers.len() as u32);
        let start = Instant::now();
        executor.render(scene, &mut film, Passes::one(0, 4), &GO)?;
        least = least.min(start.elapsed().as_secs_f64());
    }
    Ok(least)
}
