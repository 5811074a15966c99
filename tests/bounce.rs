//! The final gather from flats against paths followed in full: the one approximation in pictures,
//! held to what the handbook says of it (docs/trust.md).

use glam::{DVec3, Vec2};
use std::sync::atomic::AtomicBool;
use swatchlight::optics::table::{Emission, Face};
use swatchlight::render::bounce;
use swatchlight::render::cpu::Cpu;
use swatchlight::render::executor::{Executor, Passes};
use swatchlight::render::film::Film;
use swatchlight::scene::Scene;
use swatchlight::scene::builder::{Axes, Lens, SceneBuilder};
use swatchlight::scene::materials::Surface;
use swatchlight::scene::shapes;

const WIDTH: u32 = 48;
const HEIGHT: u32 = 36;

/// A closed room, 4 × 3 × 5 m, with a panel and a white block on the floor, one corner in sight.
fn room() -> Scene {
    let mut b = SceneBuilder::new();
    let layer = b.layer("panel");
    let wall = |origin: [f64; 3], z: DVec3, x: DVec3| Axes {
        origin_m: DVec3::from(origin),
        x,
        y: z.cross(x),
        z,
    };
    let sides = [
        (
            wall([0.0, 0.0, 0.0], DVec3::Y, DVec3::X),
            [4.0, 5.0],
            [0.3; 3],
        ),
        (
            wall([0.0, 3.0, 0.0], DVec3::NEG_Y, DVec3::X),
            [4.0, 5.0],
            [0.8; 3],
        ),
        (
            wall([0.0, 1.5, -2.5], DVec3::Z, DVec3::X),
            [4.0, 3.0],
            [0.6; 3],
        ),
        (
            wall([0.0, 1.5, 2.5], DVec3::NEG_Z, DVec3::NEG_X),
            [4.0, 3.0],
            [0.6; 3],
        ),
        (
            wall([-2.0, 1.5, 0.0], DVec3::X, DVec3::NEG_Z),
            [5.0, 3.0],
            [0.7, 0.5, 0.4],
        ),
        (
            wall([2.0, 1.5, 0.0], DVec3::NEG_X, DVec3::Z),
            [5.0, 3.0],
            [0.6; 3],
        ),
    ];
    for (frame, size, reflectance) in sides {
        let f = frame;
        b.flat(
            &shapes::rectangle(&frame, size),
            reflectance,
            0.14,
            |uv: Vec2| {
                let at = f.origin_m + 0.01 * (f.x * f64::from(uv.x) + f.y * f64::from(uv.y));
                (at.as_vec3(), f.z.as_vec3())
            },
        );
    }
    let white = b.surface(Surface::Diffuse([0.8; 3]));
    let block = wall([0.3, 0.5, -1.2], DVec3::Z, DVec3::X);
    let (front, rest) = shapes::slab(&block, [0.8, 1.0], 0.0, 0.6);
    b.mesh(&front, white);
    b.mesh(&rest, white);
    let panel = wall(
        [-1.5, 2.0, 0.8],
        DVec3::new(0.7, -0.3, -0.64).normalize(),
        DVec3::new(0.64, 0.0, 0.7).normalize(),
    );
    b.bodied_emitter(
        &Emission::lambertian(Face::Rect {
            half_x_m: 0.3,
            half_y_m: 0.4,
        }),
        panel,
        layer,
    );
    let black = b.surface(Surface::Diffuse([0.04; 3]));
    let (face, body) = shapes::slab(&panel, [0.6, 0.8], -0.001, 0.1);
    b.mesh(&face, black);
    b.mesh(&body, black);
    b.lens(&Lens {
        centre_m: DVec3::new(0.2, 1.4, 2.2),
        right: DVec3::X,
        up: DVec3::Y,
        forward: DVec3::NEG_Z,
        image_distance_m: 0.035,
        focus_distance_m: 3.0,
        radius_m: 0.0,
        picture_m: [0.036, 0.027],
        shift_m: [0.0; 2],
        pixels: [WIDTH, HEIGHT],
    });
    b.build()
}

/// Green light of blocks of 12 × 12 pixels, and each one's standard error.
fn blocks(cpu: &mut Cpu, scene: &Scene, samples: u32) -> Vec<(f64, f64)> {
    let mut film = Film::new(WIDTH, 0, HEIGHT, 1);
    // Passes apart in seed would be independent; these continue one net, so the error errs on the safe side.
    let passes = 8;
    let per_pass = samples / passes;
    let mut means: Vec<Vec<f64>> = Vec::new();
    let mut before = vec![0.0; 12];
    for pass in 0..passes {
        cpu.render(
            scene,
            &mut film,
            Passes::one(pass * per_pass, per_pass),
            &AtomicBool::new(false),
        )
        .unwrap();
        let sums: Vec<f64> = (0..12)
            .map(|block| {
                let (bx, by) = (block % 4, block / 4);
                (0..144)
                    .map(|i| {
                        let (x, y) = (bx * 12 + i % 12, by * 12 + i / 12);
                        f64::from(film.light[(y * WIDTH + x) as usize][1])
                    })
                    .sum::<f64>()
            })
            .collect();
        means.push(
            sums.iter()
                .zip(&before)
                .map(|(a, b)| (a - b) / f64::from(per_pass * 144))
                .collect(),
        );
        before = sums;
    }
    (0..12)
        .map(|block| {
            let values: Vec<f64> = means.iter().map(|m| m[block]).collect();
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
            (mean, (variance / n).sqrt())
        })
        .collect()
}

/// Every region of the picture, corners and contacts included, within 1.5 %, and the whole within 0.5 %.
#[test]
fn gathering_from_flats_agrees_with_full_paths() {
    let mut cpu = Cpu::new(0).unwrap();
    let mut scene = room();
    let exact = blocks(&mut cpu, &scene, 512);
    bounce::fill(&mut cpu, &mut scene, &AtomicBool::new(false), |_| ()).unwrap();
    let gathered = blocks(&mut cpu, &scene, 512);
    let (mut all_exact, mut all_gathered) = (0.0, 0.0);
    for (i, (e, g)) in exact.iter().zip(&gathered).enumerate() {
        let noise = e.1.hypot(g.1) / e.0;
        assert!(
            3.0 * noise < 0.015,
            "block {i} is too noisy to tell: {noise}"
        );
        let off = g.0 / e.0 - 1.0;
        assert!(
            off.abs() < 0.015,
            "block {i}: gathered light is off by {:.2} %",
            100.0 * off
        );
        all_exact += e.0;
        all_gathered += g.0;
    }
    let off = all_gathered / all_exact - 1.0;
    assert!(
        off.abs() < 0.005,
        "whole picture off by {:.2} %",
        100.0 * off
    );
    // And it is really used: clearing it changes the pixels, filling again brings them back.
    scene.clear_bounce();
    assert_ne!(blocks(&mut cpu, &scene, 8), {
        bounce::fill(&mut cpu, &mut scene, &AtomicBool::new(false), |_| ()).unwrap();
        blocks(&mut cpu, &scene, 8)
    });
}

/// What the gather is for: the same noise for far fewer rays.
#[test]
fn gathering_pays() {
    let mut cpu = Cpu::new(0).unwrap();
    let mut scene = room();
    let rays = |cpu: &Cpu| cpu.rays().unwrap();
    let mut render = |scene: &Scene| {
        let mut film = Film::new(WIDTH, 0, HEIGHT, 1);
        let before = rays(&cpu);
        for pass in 0..4 {
            cpu.render(
                scene,
                &mut film,
                Passes::one(16 * pass, 16),
                &AtomicBool::new(false),
            )
            .unwrap();
        }
        (rays(&cpu) - before, film.median_relative_error().unwrap())
    };
    let exact = render(&scene);
    let mut filler = Cpu::new(0).unwrap();
    bounce::fill(&mut filler, &mut scene, &AtomicBool::new(false), |_| ()).unwrap();
    let gathered = render(&scene);
    // Work for equal error goes as rays times error squared.
    let work = |(rays, error): (u64, f64)| rays as f64 * error * error;
    let gain = work(exact) / work(gathered);
    assert!(
        gain > 3.0,
        "full paths {exact:?}, gathered {gathered:?}: gain {gain:.1}"
    );
}

/// Where fewer paths go on than before, they are none that were taken: their errors do not go with those of
/// the paths before, as those do that begin the net again.
#[test]
fn fewer_paths_are_new_ones() {
    let mut cpu = Cpu::new(0).unwrap();
    let mut scene = room();
    bounce::fill(&mut cpu, &mut scene, &AtomicBool::new(false), |_| ()).unwrap();
    let all = scene.params.branches;
    let mut render = |branches, before, first, samples| {
        scene.params.branches = branches;
        scene.params.branches_before = before;
        let mut film = Film::new(WIDTH, 0, HEIGHT, 1);
        let passes = Passes::one(first, samples);
        cpu.render(&scene, &mut film, passes, &AtomicBool::new(false))
            .unwrap();
        let green = |sum: &[f32; 3]| f64::from(sum[1]) / f64::from(samples);
        film.light.iter().map(green).collect::<Vec<f64>>()
    };
    let reference = render(all, 0, 4096, 512);
    let first = render(all, 0, 0, 16);
    let [new, again] = [all, 0].map(|before| render(2, before, 16, 16));
    let go_together = |a: &[f64], b: &[f64]| {
        let off = |v: &[f64]| -> Vec<f64> {
            let off = v.iter().zip(&reference).map(|(v, r)| v / r - 1.0);
            off.map(|o| o.clamp(-0.5, 0.5)).collect()
        };
        let (a, b) = (off(a), off(b));
        let sum = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        sum(&a, &b) / (sum(&a, &a) * sum(&b, &b)).sqrt()
    };
    let (new, again) = (go_together(&first, &new), go_together(&first, &again));
    println!("errors go together by {new:.3}, were the net begun again by {again:.3}");
    // Over 1728 pixels chance makes .024 of it.
    assert!(new < 0.08 && again > 0.16, "{new} {again}");
}
