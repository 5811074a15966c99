//! What a stand-in costs: triangles, bytes, seconds to build, and time a sample in two frames, with hair and
//! without. `cargo bench --bench figure`; ratios are taken in one run.

use std::path::Path;
use std::sync::atomic::AtomicBool;
use std::time::Instant;
use swatchlight::figure::cloth::Mechanics;
use swatchlight::figure::{Body, Build, Model, Pose, StandIn, Wearing, pack};
use swatchlight::render::cpu::Cpu;
use swatchlight::render::executor::{Executor, Passes};
use swatchlight::render::film::Film;
use swatchlight::scene::models::Models;
use swatchlight::scene::studio::Studio;
use swatchlight::setup::parse;

fn main() {
    build_one(Build::Woman, &["fit-and-flare-dress", "slip-dress"]);
    build_one(Build::Man, &["suit-trousers", "cotton-shirt"]);
    let time = |framing: &str, hair: &str| a_sample_us(framing, hair);
    println!("\nframe         hair       µs a sample and core   against none");
    for framing in ["full-length", "beauty"] {
        let bare = time(framing, "none");
        println!("{framing:13} none       {bare:8.2}");
        for hair in ["bun", "loose"] {
            let with = time(framing, hair);
            println!(
                "{framing:13} {hair:10} {with:8.2}               {:.2}",
                with / bare
            );
        }
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
        };
        let wool = Mechanics::of_fabric("wool-suiting").expect("a shipped fabric");
        let start = Instant::now();
        let never = AtomicBool::new(false);
        if let Some(model) = garment.make(&on, &wool, &|_| (), &never) {
            row(name, start.elapsed().as_secs_f64(), &model);
        }
    }
}

/// Microseconds a sample and core, one light, full paths.
fn a_sample_us(framing: &str, hair: &str) -> f64 {
    const SIDE: u32 = 240;
    let text = format!(
        "[figure]\nmodel = \"woman\"\ngarment = \"shift\"\nfabric = \"linen-slub\"\nhair = \"{hair}\"\n\
         [camera]\nframing = \"{framing}\"\npixels = \"{SIDE} x {SIDE}\"\n[[light]]\nname = \"key\"\n\
         modifier = \"round-panel-120\"\ndistance = \"2.4 m\"\nbearing = \"40 deg left\"\nheight = \"2.2 m\"\n\
         aim = \"chest\"\noutput = \"3000 lm s\"\n"
    );
    let models = Models::for_setup(Path::new("models/setups/bench.toml"));
    let setup = parse(&text, "bench.toml", &models).expect("a setup").setup;
    let scene = Studio::build(&setup, &models).expect("a scene").scene;
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut cpu = Cpu::new(threads).expect("threads");
    let mut film = Film::new(SIDE, 0, SIDE, scene.layers.len() as u32);
    let stop = AtomicBool::new(false);
    let passes = Passes::one(0, 8);
    let start = Instant::now();
    cpu.render(&scene, &mut film, passes, &stop)
        .expect("a pass");
    start.elapsed().as_secs_f64() * 1e6 * threads as f64 / f64::from(SIDE * SIDE * 8)
}
