//! What traced modifiers cost: the trace, a look-up, and the shadow rays that resampling saves.
//! It measures and judges nothing.
//!
//! `cargo bench --bench modifiers -- [NAME …]` takes modifiers of `models/modifiers/`.

use glam::DVec3;
use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;
use swatchlight::optics::prescribe::prescribe;
use swatchlight::optics::shine::Shine;
use swatchlight::optics::trace::{Quality, trace};
use swatchlight::render::cpu::Cpu;
use swatchlight::render::executor::Executor;
use swatchlight::scene::Scene;
use swatchlight::scene::builder::{Axes, SceneBuilder};
use swatchlight::scene::materials::Surface;
use swatchlight::scene::models::Models;
use swatchlight::scene::shapes;
use swatchlight::scene::tables::Tables;
use swatchlight::setup::{Library, Modifier, parse_modifier_with};

/// The receiver lies this far before the face, the middle of its shadow's edge.
const DISTANCE_M: f64 = 2.0;
/// And this far beside the axis in the open.
const BESIDE_M: f64 = 0.6;
/// The straight edge stands this far before the receiver.
const EDGE_M: f64 = 0.1;

fn main() -> Result<(), Box<dyn Error>> {
    let names: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let models = Models::for_setup(Path::new("models/setups/bench.toml"));
    let names = if names.is_empty() {
        models.list("modifiers")
    } else {
        names
    };
    println!(
        "{:<28}{:>7}{:>9}{:>9}{:>9}{:>10}{:>8}{:>8}{:>7}{:>8}{:>8}{:>7}{:>8}{:>8}{:>7}",
        "modifier",
        "spread",
        "trace, s",
        "Mrays/s",
        "warm, ms",
        "look-up, ns",
        "even, %",
        "of 9",
        "saved",
        "net, %",
        "of 9",
        "saved",
        "open, %",
        "of 9",
        "saved"
    );
    for name in &names {
        let text = models
            .modifier(name)
            .map_err(|e| format!("no {} {}", e.what, e.name))?;
        let (modifier, _) = parse_modifier_with(&text.text, &text.display_path, name, &models)
            .map_err(|p| p.render(false))?;
        let ends: &[f64] = if modifier.travel.is_some() {
            &[0.0, 1.0]
        } else {
            &[0.0]
        };
        for spread in ends {
            one(name, &modifier, *spread)?;
        }
    }
    println!(
        "\nErrors are of one sample, that is one shadow ray: of a place even on the face, and of one \
         chosen from nine. First at a half-shadowed point on the axis, then there as one of a \
         net of 64, then so in the open, 0.6 m beside the axis. Saved: how many times fewer rays the \
         chosen ones take for the same error."
    );
    Ok(())
}

fn one(name: &str, modifier: &Modifier, spread: f64) -> Result<(), Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let fresh = || Tables::new(Some(folder.path().into()));
    let (mut trace_s, mut rate, mut warm_ms) = (f64::NAN, f64::NAN, f64::NAN);
    if let Some(prescription) = prescribe(modifier, spread) {
        let quality = Quality::default();
        let start = Instant::now();
        black_box(trace(&prescription, quality));
        trace_s = start.elapsed().as_secs_f64();
        rate = quality.rays as f64 * 1e-6 / trace_s;
        fresh().shine(modifier, spread);
        let start = Instant::now();
        black_box(fresh().shine(modifier, spread));
        warm_ms = start.elapsed().as_secs_f64() * 1e3;
    }
    let shine = fresh().shine(modifier, spread);
    let look_up_ns = look_up_ns(&shine);
    let mut edge = receiver(&shine, true);
    let mut open = receiver(&shine, false);
    let (even, even_edge) = errors(&mut edge, 1)?;
    let (chosen, chosen_edge) = errors(&mut edge, 9)?;
    let (_, even_open) = errors(&mut open, 1)?;
    let (_, chosen_open) = errors(&mut open, 9)?;
    println!(
        "{name:<28}{spread:>7}{trace_s:>9.2}{rate:>9.2}{warm_ms:>9.2}{look_up_ns:>10.0}{:>8.0}{:>8.0}{:>7.1}{:>8.0}{:>8.0}{:>7.1}{:>8.0}{:>8.0}{:>7.0}",
        100.0 * even,
        100.0 * chosen,
        (even / chosen).powi(2),
        100.0 * even_edge,
        100.0 * chosen_edge,
        (even_edge / chosen_edge).powi(2),
        100.0 * even_open,
        100.0 * chosen_open,
        (even_open / chosen_open).powi(2),
    );
    Ok(())
}

fn look_up_ns(shine: &Shine) -> f64 {
    let emission = &shine.placed[0].emission;
    let many = 400_000;
    let start = Instant::now();
    let mut sum = 0.0;
    for i in 0..many {
        // Golden steps over place and direction.
        let at = |k: f64| (f64::from(i) * k).fract() - 0.5;
        sum += emission.luminance([at(0.618_034), at(0.754_878)], [at(0.569_84), at(0.438_29)]);
    }
    black_box(sum);
    start.elapsed().as_secs_f64() * 1e9 / f64::from(many)
}

/// The face and a meter before it: on the axis with a board whose edge crosses it, or beside it in
/// the open.
fn receiver(shine: &Shine, half_shadowed: bool) -> Scene {
    let mut b = SceneBuilder::new();
    let layer = b.layer("light");
    let axes = |origin_m: DVec3| Axes {
        origin_m,
        x: DVec3::X,
        y: DVec3::Y,
        z: DVec3::Z,
    };
    let placed = &shine.placed[0];
    b.bodied_emitter(&placed.emission, axes(DVec3::Z * placed.offset_z_m), layer);
    if half_shadowed {
        let black = b.surface(Surface::Diffuse([0.0; 3]));
        let board = axes(DVec3::new(10.0, 0.0, DISTANCE_M - EDGE_M));
        b.mesh(&shapes::rectangle(&board, [20.0, 20.0]), black);
    }
    let beside_m = if half_shadowed { 0.0 } else { BESIDE_M };
    b.receptor(DVec3::new(0.0, beside_m, DISTANCE_M), DVec3::NEG_Z, false);
    b.build()
}

/// Relative errors of one sample: among single samples, and as nets of 64 have it.
fn errors(scene: &mut Scene, candidates: u32) -> Result<(f64, f64), Box<dyn Error>> {
    for e in &mut scene.emitters {
        e.candidates = candidates;
    }
    let mut cpu = Cpu::new(0)?;
    let mut of = |samples: u32, blocks: u32| -> Result<f64, Box<dyn Error>> {
        let read = cpu.read(scene, samples, 0, blocks)?;
        let values: Vec<f64> = read[0].iter().map(|b| b[0][1]).collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        Ok((variance * f64::from(samples)).sqrt() / mean)
    };
    Ok((of(1, 1 << 16)?, of(64, 1 << 12)?))
}
