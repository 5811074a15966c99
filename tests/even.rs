//! Going over what is noisiest: it helps where it is asked for, brings no light in or away, and touches
//! nothing else. Held against the same scene rendered evenly with many samples.

#[path = "common/tracing.rs"]
mod tracing;

use glam::DVec3;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use swatchlight::render::blocks::Blocks;
use swatchlight::render::cpu::Cpu;
use swatchlight::render::driver::{Goal, render};
use swatchlight::render::even::render_evenly;
use swatchlight::render::executor::{Executor, Passes};
use swatchlight::render::film::Film;
use swatchlight::render::gpu::{Choice, Gpu};
use swatchlight::scene::Scene;
use swatchlight::scene::materials::Surface;
use tracing::*;

const SIDE: u32 = 100;

/// A floor half in the shadow of a plate under a wide disk, seen from the side the light is on: a quarter
/// of the picture is penumbra.
fn scene() -> Scene {
    let mut b = builder();
    let layer = b.layer("key");
    let above = turned(DVec3::Z * 2.0, DVec3::NEG_Z, DVec3::X);
    b.emitter(&lambert(disk(0.3)), above, layer);
    let black = b.surface(BLACK);
    let plate_axes = turned(DVec3::new(-1.0, 0.0, 0.6), DVec3::Z, DVec3::X);
    b.mesh(&plate(plate_axes, 2.0, 4.0), black);
    let grey = b.surface(Surface::Diffuse([0.5; 3]));
    b.mesh(
        &plate(turned(DVec3::ZERO, DVec3::Z, DVec3::X), 8.0, 8.0),
        grey,
    );
    b.lens(&eye(DVec3::new(2.2, 0.0, 0.5), DVec3::X * 0.4, 0.5, SIDE));
    b.build()
}

fn film() -> Film {
    Film::new(SIDE, 0, SIDE, 1)
}

fn go() -> AtomicBool {
    AtomicBool::new(false)
}

fn executors() -> Vec<Box<dyn Executor>> {
    let mut all: Vec<Box<dyn Executor>> = vec![Box::new(Cpu::new(2).unwrap())];
    match Gpu::open(Choice::Any) {
        Ok(gpu) => all.push(Box::new(gpu)),
        Err(_) if std::env::var_os("SWATCHLIGHT_SKIP_GPU_TESTS").is_some() => {}
        Err(e) => {
            panic!("{e}: install a driver (lavapipe will do), or set SWATCHLIGHT_SKIP_GPU_TESTS=1")
        }
    }
    all
}

const GOAL: Goal = Goal {
    samples: 1024,
    relative_error: Some(0.02),
};

fn means(film: &Film) -> Vec<f64> {
    (0..film.rows)
        .flat_map(|row| (0..film.width).map(move |x| (x, row)))
        .map(|(x, row)| f64::from(film.mean(x, row, 0)[1]))
        .collect()
}

/// Errors of lit pixels against a reference as they are seen, in order: relative ones, weighed by the
/// cube root of luminance over the mean (L* of CIE 1976).
fn errors(film: &Film, reference: &[f64]) -> Vec<f64> {
    let mean = reference.iter().sum::<f64>() / reference.len() as f64;
    let mut errors: Vec<f64> = means(film)
        .iter()
        .zip(reference)
        .filter(|(_, want)| **want > 0.0)
        .map(|(have, want)| (have / want - 1.0).abs() * (want / mean).cbrt())
        .collect();
    errors.sort_by(f64::total_cmp);
    errors
}

/// What is worst gets better by what its samples promise, what is well stays as it was to the bit, and
/// the whole is as bright as it was.
#[test]
fn the_worst_gets_better_and_nothing_brighter() {
    let mut scene = scene();
    let mut cpu = Cpu::new(0).unwrap();
    let reference = means(&picture(&scene, 16, 256));
    let mut even = film();
    let reached = render(&mut cpu, &scene, &mut even, GOAL, &go(), |_| {}).unwrap();
    let mut over = film();
    let mut shares = vec![];
    let evened = render_evenly(&mut cpu, &mut scene, &mut over, GOAL, &go(), |p| {
        shares.push(p.done);
    })
    .unwrap();
    println!("{reached:?}\n{evened:?}");
    assert_eq!(over.samples(), reached.samples);
    assert!(evened.most_samples >= 4 * reached.samples && evened.most_samples <= 1024);
    assert!(evened.share > 0.05 && evened.share < 0.5);
    assert!(
        shares.is_sorted() && shares.last() == Some(&1.0),
        "{shares:?}"
    );
    let (before, after) = (errors(&even, &reference), errors(&over, &reference));
    let at = |e: &[f64], share: f64| e[((e.len() - 1) as f64 * share) as usize];
    println!(
        "half {:.4} {:.4}, 95 % {:.4} {:.4}, 99 % {:.4} {:.4}",
        at(&before, 0.5),
        at(&after, 0.5),
        at(&before, 0.95),
        at(&after, 0.95),
        at(&before, 0.99),
        at(&after, 0.99)
    );
    assert!(at(&after, 0.95) < 0.7 * at(&before, 0.95));
    assert!(at(&after, 0.99) < 0.6 * at(&before, 0.99));
    // What was not gone over is as it was; in the dark there is nothing that could change.
    let changed = means(&even)
        .iter()
        .zip(&means(&over))
        .filter(|(a, b)| a != b)
        .count() as f64
        / f64::from(SIDE * SIDE);
    println!("changed {changed:.3} of {:.3}", evened.share);
    assert!(changed <= evened.share && changed > 0.3 * evened.share);
    // Counts of what was met stay whole, as tones by depth want them: none is nearly all.
    let all = reached.samples as f32;
    let met = |s: &swatchlight::render::film::Seen| s.met == all || s.met < 0.999 * all;
    assert!(over.seen.iter().all(met));
    assert!(over.seen.iter().filter(|s| s.met == all).count() > over.seen.len() / 2);
    // The mean of the whole, by how pixels part from the reference.
    let parts: Vec<f64> = means(&over)
        .iter()
        .zip(&reference)
        .map(|(a, b)| a - b)
        .collect();
    let n = parts.len() as f64;
    let mean = parts.iter().sum::<f64>() / n;
    let error = (parts.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0) / n).sqrt();
    let whole = reference.iter().sum::<f64>() / n;
    println!(
        "bias {:.1e} ± {:.1e} of the mean",
        mean / whole,
        error / whole
    );
    assert!(mean.abs() < 3.0 * error + 2e-4 * whole && error < 1e-3 * whole);
    assert!(over.median_relative_error().unwrap() <= 0.02);
}

/// Only blocks that are chosen get samples, and what those get is what they would have got among others.
#[test]
fn only_what_is_chosen_is_rendered() {
    let scene = scene();
    let passes = Passes {
        first: 4,
        each: 4,
        number: 2,
    };
    let mut found: Vec<Film> = vec![];
    for mut executor in executors() {
        let start = {
            let mut film = film();
            executor
                .render(&scene, &mut film, Passes::one(0, 4), &go())
                .unwrap();
            film
        };
        let mut all = start.clone();
        executor.render(&scene, &mut all, passes, &go()).unwrap();
        let mut blocks = Blocks::none(SIDE, 0, SIDE);
        (0..blocks.len())
            .filter(|b| b % 3 == 1)
            .for_each(|b| blocks.choose(b));
        let mut some = start.clone();
        some.only = Some(Arc::new(blocks.clone()));
        executor.render(&scene, &mut some, passes, &go()).unwrap();
        for row in 0..SIDE {
            for x in 0..SIDE {
                let want = if blocks.holds(x, row) { &all } else { &start };
                let pixel = (row * SIDE + x) as usize;
                assert_eq!(
                    some.light[pixel],
                    want.light[pixel],
                    "{} {x} {row}",
                    executor.name()
                );
                assert_eq!(some.seen[pixel], want.seen[pixel]);
                assert_eq!(some.spread[pixel], want.spread[pixel]);
            }
        }
        // A film of some rows sees the same grid.
        let mut part = Film::new(SIDE, 13, 30, 1);
        part.only = Some(Arc::new(blocks.clone()));
        executor
            .render(&scene, &mut part, Passes::one(0, 4), &go())
            .unwrap();
        for row in 0..30 {
            for x in 0..SIDE {
                let pixel = (row * SIDE + x) as usize;
                let whole = start.light[pixel + 13 * SIDE as usize];
                let want = if blocks.holds(x, row + 13) {
                    whole
                } else {
                    [0.0; 3]
                };
                assert_eq!(part.light[pixel], want, "{} {x} {row}", executor.name());
            }
        }
        found.push(some);
    }
    if let [cpu, gpu] = &found[..] {
        let apart = means(cpu)
            .iter()
            .zip(means(gpu))
            .filter(|(a, b)| (*a - b).abs() > 1e-3 * (*a + b))
            .count();
        assert!(apart < (SIDE * SIDE / 100) as usize, "{apart} pixels apart");
    }
}

/// Stopped on the way, a film has what it has: every pixel's mean stays that of its own samples.
#[test]
fn stopping_on_the_way_leaves_a_sound_film() {
    let mut scene = scene();
    let mut cpu = Cpu::new(2).unwrap();
    let reference = means(&picture(&scene, 16, 256));
    let stop = go();
    let mut even = film();
    render(&mut cpu, &scene, &mut even, GOAL, &go(), |_| {}).unwrap();
    let mut film = film();
    let branches = scene.params.branches;
    let mut calls = 0;
    let evened = render_evenly(&mut cpu, &mut scene, &mut film, GOAL, &stop, |p| {
        calls += 1;
        if p.left.is_some() && p.samples >= even.samples() && calls > 4 {
            stop.store(true, Ordering::Relaxed);
        }
    })
    .unwrap();
    println!("{evened:?}");
    assert_eq!(
        (film.samples(), film.only.is_none()),
        (even.samples(), true)
    );
    assert_eq!(scene.params.branches, branches);
    let (before, after) = (errors(&even, &reference), errors(&film, &reference));
    let at = |e: &[f64]| e[e.len() * 9 / 10];
    assert!(
        at(&after) <= 1.05 * at(&before),
        "{} {}",
        at(&after),
        at(&before)
    );
}

/// So many samples asked for are so many, everywhere.
#[test]
fn samples_asked_for_are_even() {
    let mut scene = scene();
    let mut cpu = Cpu::new(2).unwrap();
    let goal = Goal {
        samples: 12,
        relative_error: None,
    };
    let (mut a, mut b) = (film(), film());
    render(&mut cpu, &scene, &mut a, goal, &go(), |_| {}).unwrap();
    let evened = render_evenly(&mut cpu, &mut scene, &mut b, goal, &go(), |_| {}).unwrap();
    assert_eq!((evened.most_samples, evened.share), (12, 0.0));
    assert_eq!((a.light, a.row_samples), (b.light, b.row_samples));
    // Nor does going over take more than may be spent on a pixel.
    let most = Goal {
        samples: 40,
        relative_error: Some(0.02),
    };
    let mut film = film();
    let evened = render_evenly(&mut cpu, &mut scene, &mut film, most, &go(), |_| {}).unwrap();
    assert!(evened.most_samples <= 40, "{evened:?}");
}
