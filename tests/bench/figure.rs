//! What a stand-in costs: triangles, bytes and seconds to build; then time a sample in two demo frames as stills
//! are made, with hair and without, and the time to equal noise.
//!
//! `cargo bench --bench figure -- [--frames] [HAIR...]`: `--frames` leaves out the building, names of hair take only
//! those. Ratios are taken in one run, in processor seconds, the least of four rounds taken in turns.

#[path = "process.rs"]
mod process;

use std::fs;
use std::path::Path;
use std::sync::LazyLock;
use std::sync::atomic::AtomicBool;
use std::time::Instant;
use swatchlight::figure::cloth::Mechanics;
use swatchlight::figure::{Body, Build, Model, Pose, StandIn, Wearing, pack};
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::take::Take;
use swatchlight::render::cpu::Cpu;
use swatchlight::render::executor::{Executor, Passes};
use swatchlight::render::film::Film;
use swatchlight::scene::models::Models;
use swatchlight::setup::{Options, parse_with};

/// Full length, and head and shoulders.
const FRAMES: [(&str, [u32; 2]); 2] = [
    ("front-full-length", [320, 480]),
    ("overhead-beauty", [384, 480]),
];
/// The figure as it was first is the one without.
const HAIR: [&str; 6] = ["none", "bun", "tied-back", "short", "curled", "loose"];
const ROUNDS: u32 = 4;
const SAMPLES: u32 = 8;
static GO: AtomicBool = AtomicBool::new(false);

fn main() {
    // Cargo hands benches a flag of its own.
    let args: Vec<String> = std::env::args().skip(1).collect();
    if !args.iter().any(|a| a == "--frames") {
        build_one(Build::Woman, &["fit-and-flare-dress", "slip-dress"]);
        build_one(Build::Man, &["suit-trousers", "cotton-shirt"]);
    }
    let asked = |hair: &str| args.iter().any(|a| a == hair);
    let named = HAIR.iter().any(|hair| asked(hair));
    for (setup, pixels) in FRAMES {
        let hair = HAIR
            .into_iter()
            .filter(|h| !named || *h == "none" || asked(h));
        frames(setup, pixels, hair);
    }
}

fn build_one(build: Build, garments: &[&str]) {
    let models = Models::for_setup(Path::new("models/setups/bench.toml"));
    let who = StandIn::new("bench", build);
    let pose = Pose::upright();
    let body = Body::new(&who.person, &pose);
    println!("\n{:22} seconds  triangles  packed MB", build.word());
    let row = |name: &str, seconds: f64, model: &Model| {
        let packed = pack(model).len() as f64 / 1e6;
        println!(
            "{name:22} {seconds:7.1} {:10} {packed:10.2}",
            model.triangle_count()
        );
    };
    let start = Instant::now();
    let bare = who.bare(&body);
    row("body, eyes, shoes", start.elapsed().as_secs_f64(), &bare);
    let start = Instant::now();
    let hair = who.hair(&body, &body);
    row("hair", start.elapsed().as_secs_f64(), &hair);
    for name in garments {
        let garment = models.garment_file(name).expect("a shipped garment");
        let on = Wearing {
            person: &who.person,
            pose: &pose,
            body: &body,
            under: None,
            tucked_in: None,
        };
        let wool = Mechanics::of_fabric("wool-suiting").expect("a shipped fabric");
        let start = Instant::now();
        let never = AtomicBool::new(false);
        if let Some(model) = garment.make(&on, &wool, &|_| (), &never) {
            row(name, start.elapsed().as_secs_f64(), &model);
        }
    }
}

/// One way of wearing hair, and what was measured of it.
struct Worn {
    hair: &'static str,
    take: Take,
    film: Film,
    /// Of the quickest round.
    seconds: f64,
    rays: u64,
}

fn frames(setup: &str, pixels: [u32; 2], hair: impl Iterator<Item = &'static str>) {
    let mut cpu = Cpu::new(0).expect("threads");
    let mut all: Vec<Worn> = hair
        .map(|hair| worn(setup, pixels, hair, &mut cpu))
        .collect();
    for round in 0..ROUNDS {
        for worn in &mut all {
            let (start, rays) = (processor_s(), cpu.rays().unwrap_or_default());
            let passes = Passes::one(round * SAMPLES, SAMPLES);
            cpu.render(&worn.take.studio.scene, &mut worn.film, passes, &GO)
                .expect("a pass");
            worn.seconds = worn.seconds.min(processor_s() - start);
            worn.rays = cpu.rays().unwrap_or_default() - rays;
        }
    }
    println!(
        "\n{setup}, {} x {}\n{:10} {:>10} {:>9} {:>9} {:>8} {:>13} {:>10} {:>10} {:>13}",
        pixels[0],
        pixels[1],
        "hair",
        "triangles",
        "rays",
        "µs",
        "Mrays/s",
        "against none",
        "median %",
        "mean %",
        "equal noise"
    );
    let samples = f64::from(pixels[0] * pixels[1] * SAMPLES);
    let bare = (all[0].seconds, noise(&all[0].film));
    for worn in &all {
        let mean = noise(&worn.film);
        println!(
            "{:10} {:10} {:9.2} {:9.2} {:8.2} {:13.2} {:10.2} {:10.2} {:13.2}",
            worn.hair,
            worn.take.studio.scene.triangles.len(),
            worn.rays as f64 / samples,
            worn.seconds * 1e6 / samples,
            worn.rays as f64 * 1e-6 / worn.seconds,
            worn.seconds / bare.0,
            100.0 * worn.film.median_relative_error().unwrap_or(f64::NAN),
            100.0 * mean,
            worn.seconds / bare.0 * (mean / bare.1).powi(2)
        );
    }
    println!(
        "Rays and processor microseconds are a sample's; noise is that of {} samples.",
        ROUNDS * SAMPLES
    );
}

/// The setup with its figure's hair so, as a still begins.
fn worn(setup: &str, pixels: [u32; 2], hair: &'static str, cpu: &mut Cpu) -> Worn {
    let path = format!("models/setups/{setup}.toml");
    let models = Models::for_setup(Path::new(&path));
    let text = fs::read_to_string(&path).expect("a shipped setup");
    let text = text.replacen("[figure]", &format!("[figure]\nhair = \"{hair}\""), 1);
    let options = Options {
        pixels: Some(pixels),
    };
    let read = parse_with(&text, setup, &models, options).map_err(|p| p.render(false));
    let setup = read.expect("a setup").setup;
    let goal = GatherGoal::default();
    let mut take = Take::new(setup, &models, cpu, goal, &GO).expect("a take");
    take.find_bounce(cpu, &GO, |_| ())
        .expect("the flats' light");
    let film = Film::new(
        pixels[0],
        0,
        pixels[1],
        take.studio.scene.layers.len() as u32,
    );
    Worn {
        hair,
        take,
        film,
        seconds: f64::INFINITY,
        rays: 0,
    }
}

/// Root mean square of the pixels' errors over the mean picture: hair makes its own pixels noisy, and few others.
fn noise(film: &Film) -> f64 {
    let samples = film.samples();
    let pixels = film.spread.iter().map(|s| s.mean_and_variance(samples));
    let (sum, variance) = pixels.fold((0.0, 0.0), |(sum, all), (m, v)| (sum + m, all + v));
    (variance / film.spread.len() as f64).sqrt() / (sum / film.spread.len() as f64)
}

/// Processor seconds of this process, or wall seconds where the system does not tell.
fn processor_s() -> f64 {
    static BEGUN: LazyLock<Instant> = LazyLock::new(Instant::now);
    process::processor_s().unwrap_or_else(|| BEGUN.elapsed().as_secs_f64())
}
