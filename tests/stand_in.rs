//! Paint, skin and eyes against optics: energy, random walks, refraction and mirrors traced apart.

#[path = "common/stand_in.rs"]
mod stand_in;
#[path = "common/tracing.rs"]
mod tracing;

use glam::{DVec2, DVec3};
use stand_in::{Random, ball, eyeball, light_box, upright};
use std::f64::consts::{PI, TAU};
use swatchlight::render::film::Film;
use swatchlight::scene::builder::SceneBuilder;
use swatchlight::scene::finish::{Eye, Painted, Skin};
use swatchlight::scene::materials::Surface;
use tracing::*;

// --- Paint ---------------------------------------------------------------------------------------

/// Colour runs evenly between the corners, whatever was put in the scene before; unpainted meshes keep
/// the surface's own.
#[test]
fn paint_runs_between_corners() {
    let mut b = builder();
    let surface = b.surface(Surface::Painted(Painted::default()));
    b.mesh(
        &plate(facing(DVec3::new(0.0, 0.0, -0.5), DVec3::Z), 0.1, 0.1),
        surface,
    );
    let at = turned(DVec3::ZERO, DVec3::Z, DVec3::X);
    let paint = |x: f32, y: f32| [0.2 + 0.6 * x, 0.2 + 0.6 * y, 0.4, 0.5];
    // Corners as `plate` has them.
    let corners = [
        paint(0.0, 0.0),
        paint(1.0, 0.0),
        paint(1.0, 1.0),
        paint(0.0, 1.0),
    ];
    b.mesh_painted(&plate(at, 1.0, 1.0), surface, &corners);
    let layer = b.layer("open");
    b.surround([1.0; 3], layer);
    b.lens(&upright(DVec3::new(0.0, 0.0, 4.0), DVec3::ZERO, 0.8, 16));
    let film = picture(&b.build(), 1, 64);
    for (x, y) in [(2_usize, 3_usize), (8, 8), (13, 1), (5, 12)] {
        let seen = film.seen[y * 16 + x].albedo[0] / 64.0;
        let share = 0.1 + 0.8 * (x as f32 + 0.5) / 16.0;
        assert!((seen - 0.2 - 0.6 * share).abs() < 0.005, "{seen} at {x}");
        let seen = film.seen[y * 16 + x].albedo[1] / 64.0;
        let share = 0.9 - 0.8 * (y as f32 + 0.5) / 16.0;
        assert!((seen - 0.2 - 0.6 * share).abs() < 0.005, "{seen} at {y}");
    }
}

// --- Skin ----------------------------------------------------------------------------------------

fn white_skin(relief: f32) -> Surface {
    Surface::Skin(Skin {
        base: [1.0; 3],
        relief,
        ..Skin::default()
    })
}

/// A white furnace: white skin sends back what arrives, from the middle of a ball to near its limb, where the
/// light under it spreads over the edge; whether lights are looked at or found by scattering.
#[test]
fn even_light_comes_back_from_skin() {
    for off in [0.0, 0.6, 0.9, 0.98] {
        let aim = DVec3::new(0.02 * off, 0.0, 0.02 * (1.0_f64 - off * off).sqrt());
        for lights in [true, false] {
            let mut b = builder();
            let surface = b.surface(white_skin(0.0));
            b.mesh(&ball(DVec3::ZERO, 0.02, 128), surface);
            let even = if lights {
                light_box(&mut b)
            } else {
                let layer = b.layer("open");
                b.surround([1.0; 3], layer);
                1.0
            };
            let from = DVec3::new(aim.x, 0.0, 0.9);
            let r = luminance_at(b, from, aim, 1 << 15).times(1.0 / even);
            println!("skin at {off}, lights {lights}: {r:?}");
            assert!(3.0 * r.error < 0.012, "too noisy: {r:?}");
            assert!(
                r.value < 1.004 + 3.0 * r.error && r.value > 0.985 - 3.0 * r.error,
                "at {off}, lights {lights}: {r:?}"
            );
        }
    }
}

/// Relief makes no light, and keeps all but what its shading normals turn under the surface.
#[test]
fn relief_keeps_energy() {
    let mut b = builder();
    let surface = b.surface(white_skin(1.0));
    b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 0.1, 0.1), surface);
    let layer = b.layer("open");
    b.surround([1.0; 3], layer);
    b.lens(&upright(DVec3::new(0.2, 0.0, 0.5), DVec3::ZERO, 0.008, 64));
    let r = over_pixels(&picture(&b.build(), 1, 64), 0);
    println!("relief: {r:?}");
    assert!(r.value < 1.0 + 3.0 * r.error && r.value > 0.96, "{r:?}");
}

/// Seen from so far that it is folded into the coat's roughness, the relief sends as much of a light
/// toward the camera as it does seen facet by facet, in the mirror's direction and beside it.
#[test]
fn relief_folds_into_roughness() {
    for tilt_deg in [0.0_f64, 20.0] {
        let seen = |pixels: u32| {
            let mut b = builder();
            let surface = b.surface(Surface::Skin(Skin {
                base: [0.0; 3],
                glossy_alpha: 0.25,
                matt_alpha: 0.25,
                ..Skin::default()
            }));
            b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 0.2, 0.2), surface);
            let layer = b.layer("key");
            let (s, c) = (40.0 + tilt_deg).to_radians().sin_cos();
            let toward = DVec3::new(-s, 0.0, c);
            b.emitter(&lambert(disk(0.15)), facing(toward * 1.0, -toward), layer);
            let (s, c) = 40.0_f64.to_radians().sin_cos();
            b.lens(&upright(
                DVec3::new(s, 0.0, c) * 2.0,
                DVec3::ZERO,
                0.04,
                pixels,
            ));
            over_pixels(&picture(&b.build(), 1, 65536 / (pixels * pixels)), 0)
        };
        // Pixels of 0.16 mm, and of 5 mm.
        let (near, far) = (seen(256), seen(8));
        println!("tilt {tilt_deg}: near {near:?}, far {far:?}");
        // Slopes in furrows are steeper than a lobe of their variance has them.
        far.over(near).is(1.0, 0.18);
    }
}

/// Scattering and absorption of skin for red light, per mm: Jensen, Marschner, Levoy and Hanrahan, "A Practical
/// Model for Subsurface Light Transport", 2001, table "skin1" (from memory).
const SCATTER: f64 = 0.74;
const ABSORB: f64 = 0.032;

/// Light that leaves a homogeneous ball (radius in mm) lit from +x by parallel light, in bins of the angle from +x,
/// per unit of solid angle about the ball and of light that falls on it; and all of it. A random walk:
/// isotropic scattering, no mirroring at the surface, light enters scattered as by a rough skin.
fn walked(radius_mm: f64, photons: u32, bins: usize) -> (Vec<f64>, f64) {
    let extinct = SCATTER + ABSORB;
    let mut random = Random(11);
    let mut sums = vec![0.0; bins];
    let mut all = 0.0;
    for _ in 0..photons {
        let (s, c) = (TAU * random.next()).sin_cos();
        let r = random.next().sqrt();
        let up = DVec3::new((1.0 - r * r).sqrt(), r * c, r * s);
        let mut at = up * radius_mm;
        let mut toward = random.about(-up);
        let mut weight = 1.0;
        loop {
            let step = -(1.0 - random.next()).ln() / extinct;
            // To the ball's surface.
            let b = at.dot(toward);
            let inside = b * b - at.length_squared() + radius_mm * radius_mm;
            let out = -b + inside.max(0.0).sqrt();
            if step >= out {
                let leaves = (at + toward * out) / radius_mm;
                let angle = leaves.x.clamp(-1.0, 1.0).acos();
                sums[((angle / PI * bins as f64) as usize).min(bins - 1)] += weight;
                all += weight;
                break;
            }
            at += toward * step;
            weight *= SCATTER / extinct;
            if weight < 0.05 {
                if random.next() < 0.5 {
                    break;
                }
                weight *= 2.0;
            }
            toward = random.direction();
        }
    }
    let n = f64::from(photons);
    let width = PI / bins as f64;
    let density = sums
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let (a, b) = (i as f64 * width, (i as f64 + 1.0) * width);
            s / n / (TAU * (a.cos() - b.cos()))
        })
        .collect();
    (density, all / n)
}

/// The same read from the picture of a ball of skin, over its equator.
fn pictured(radius_mm: f64, reach_mm: f32, bins: usize) -> (Vec<f64>, f64) {
    let radius_m = 0.001 * radius_mm;
    let mut b = builder();
    let surface = b.surface(Surface::Skin(Skin {
        base: [1.0; 3],
        eta: 1.0005,
        reach_mm: [reach_mm; 3],
        relief: 0.0,
        ..Skin::default()
    }));
    b.mesh(&ball(DVec3::ZERO, radius_m, 256), surface);
    let layer = b.layer("sun");
    // So far that its light is parallel to 0.03 deg.
    let lamp = disk(0.02);
    b.emitter(&lambert(lamp), facing(DVec3::X * 40.0, DVec3::NEG_X), layer);
    const SIDE: u32 = 256;
    b.lens(&upright(DVec3::Z * 20.0, DVec3::ZERO, 2.0 * radius_m, SIDE));
    let film = picture(&b.build(), 1, 64);
    let mut sums = vec![[0.0; 2]; bins];
    for y in 0..SIDE {
        for x in 0..SIDE {
            let place =
                (DVec2::new(f64::from(x), f64::from(y)) + 0.5) / f64::from(SIDE) * 2.0 - 1.0;
            if place.length() < 0.97 {
                let angle = place.x.acos();
                let bin = &mut sums[((angle / PI * bins as f64) as usize).min(bins - 1)];
                bin[0] += f64::from(film.mean(x, y, 0)[1]);
                bin[1] += 1.0;
            }
        }
    }
    // One lumen at 40 m: L A / d² = 1/(π d²) lux on the ball's disk of π r²; what leaves a unit solid angle is
    // π L r².
    let lux = 1.0 / (PI * 40.0 * 40.0);
    let density: Vec<f64> = sums
        .iter()
        .map(|[sum, n]| sum / n.max(1.0) * PI / (lux * PI))
        .collect();
    let width = PI / bins as f64;
    let all = density
        .iter()
        .enumerate()
        .map(|(i, d)| {
            let (a, b) = (i as f64 * width, (i as f64 + 1.0) * width);
            d * TAU * (a.cos() - b.cos())
        })
        .sum();
    (density, all)
}

/// Past the terminator of a ball of skin, light that has spread under it falls off as a random walk has it, and in
/// sum no light is made or lost. The profile's scale from the medium: Christensen and Burley 2015, diffuse light:
/// d = l / s, s = 1.9 - A + 3.5 (A - .8)², l the mean free path and A the medium's albedo (here the walk's own).
#[test]
fn skin_spreads_light_as_a_random_walk_does() {
    const RADIUS_MM: f64 = 20.0;
    const BINS: usize = 60;
    let (walk, albedo) = walked(RADIUS_MM, 1_500_000, BINS);
    let shape = 1.9 - albedo + 3.5 * (albedo - 0.8).powi(2);
    let reach_mm = 1.0 / (SCATTER + ABSORB) / shape;
    let (seen, all) = pictured(RADIUS_MM, reach_mm as f32, BINS);
    let (plain, plain_all) = pictured(RADIUS_MM, 1e-4, BINS);
    println!("albedo {albedo:.3}, reach {reach_mm:.3} mm, all {all:.4}, without {plain_all:.4}");
    // A white base without spread is Lambert's ball; spread changes its sum (but for the cap about the light, that
    // the picture does not show) no more than noise does.
    for (i, seen) in plain.iter().enumerate().take(25).skip(6) {
        let lambert = ((i as f64 + 0.5) * PI / BINS as f64).cos();
        assert!((seen * PI / lambert - 1.0).abs() < 0.02, "bin {i}: {seen}");
    }
    assert!(
        (all / plain_all - 1.0).abs() < 0.01,
        "{all} for {plain_all}"
    );
    for i in 0..BINS {
        println!(
            "{:5.1} deg: walk {:.4}, picture {:.4}, without {:.4}",
            (i as f64 + 0.5) * 180.0 / BINS as f64,
            walk[i] / albedo * PI,
            seen[i] * PI,
            plain[i] * PI
        );
    }
    // Light on the dark half, over all: the walk's and the picture's.
    let past = |d: &[f64]| {
        let width = PI / BINS as f64;
        (BINS / 2..BINS)
            .map(|i| {
                let (a, b) = (i as f64 * width, (i as f64 + 1.0) * width);
                d[i] * TAU * (a.cos() - b.cos())
            })
            .sum::<f64>()
    };
    let (walk_past, seen_past) = (past(&walk) / albedo, past(&seen));
    println!("past the terminator: walk {walk_past:.4}, picture {seen_past:.4}");
    assert!(past(&plain) < 0.002, "without spread nothing is there");
    assert!((seen_past / walk_past - 1.0).abs() < 0.15);
    // How far it falls to a tenth of what it is at 60 deg.
    let tenth = |d: &[f64]| {
        let level = 0.1 * d[BINS / 3];
        let i = (BINS / 3..BINS).find(|&i| d[i] < level).unwrap();
        let t = (d[i - 1] - level) / (d[i - 1] - d[i]);
        (i as f64 - 0.5 + t) * 180.0 / BINS as f64
    };
    let [a, b, c] = [tenth(&walk), tenth(&seen), tenth(&plain)];
    println!("tenth at: walk {a:.2} deg, picture {b:.2}, without {c:.2}");
    assert!(a - c > 2.0, "the walk shows a softer edge");
    assert!(
        ((b - c) / (a - c) - 1.0).abs() < 0.2,
        "{b} for {a}, {c} without"
    );
}

/// Red spreads farther than blue: under white light the far side of the terminator is red.
#[test]
fn terminators_are_red() {
    let mut b = builder();
    let surface = b.surface(Surface::Skin(Skin {
        base: [0.5; 3],
        ..Skin::default()
    }));
    b.mesh(&ball(DVec3::ZERO, 0.02, 200), surface);
    let layer = b.layer("key");
    b.emitter(
        &lambert(disk(0.01)),
        facing(DVec3::X * 3.0, DVec3::NEG_X),
        layer,
    );
    // Three degrees into the shadow.
    let (s, c) = 93.0_f64.to_radians().sin_cos();
    let aim = DVec3::new(c, 0.0, s) * 0.02;
    b.lens(&upright(aim + DVec3::Z, aim, 2e-4, 8));
    let film = picture(&b.build(), 1, 1024);
    let mean = |channel: usize| {
        let all = (0..64).map(|i| f64::from(film.mean(i % 8, i / 8, 0)[channel]));
        all.sum::<f64>()
    };
    let [red, green, blue] = [mean(0), mean(1), mean(2)];
    println!("red {red:.3e}, green {green:.3e}, blue {blue:.3e}");
    assert!(red > 2.0 * green && green > blue && blue >= -0.01 * red);
}

// --- Eye -----------------------------------------------------------------------------------------

fn eye_scene(eye: Eye) -> SceneBuilder {
    let mut b = builder();
    let surface = b.surface(Surface::Eye(eye));
    b.mesh(&eyeball(DVec3::ZERO, 1.0, 100), surface);
    b
}

/// Pixels of a layer brighter than a share of its brightest: least and greatest column and row, and their number.
fn bright(film: &Film, layer: u32, share: f32) -> ([u32; 4], u32) {
    let at = |x, y| film.mean(x, y, layer)[1];
    let pixels = || (0..film.rows).flat_map(|y| (0..film.width).map(move |x| (x, y)));
    let level = share * pixels().map(|(x, y)| at(x, y)).fold(0.0, f32::max);
    let start = ([u32::MAX, 0, u32::MAX, 0], 0);
    pixels()
        .filter(|&(x, y)| at(x, y) > level)
        .fold(start, |([a, b, c, d], n), (x, y)| {
            ([a.min(x), b.max(x), c.min(y), d.max(y)], n + 1)
        })
}

/// The catchlight of a square light lies where a ball of 7.9 mm mirrors it, as large and as square.
#[test]
fn catchlights_show_the_lights_shape() {
    let mut b = eye_scene(Eye {
        iris: [0.0; 3],
        iris_inner: [0.0; 3],
        ..Eye::default()
    });
    let layer = b.layer("window");
    let at = DVec3::new(-0.25, 0.2, 1.0);
    let axes = turned(at, -at, DVec3::X);
    b.emitter(&lambert(rect(0.4, 0.4)), axes, layer);
    const SIDE: u32 = 200;
    const ACROSS_M: f64 = 0.007;
    let from = DVec3::Z * 3.0;
    b.lens(&upright(from, DVec3::ZERO, ACROSS_M, SIDE));
    let film = picture(&b.build(), 1, 64);
    let ([left, right, top, bottom], count) = bright(&film, 0, 0.4);
    // Where the ball about (0, 0, 5.4) mm mirrors a point toward the camera: its normal halves the angle.
    let middle = DVec3::Z * 0.0054;
    let mirrored = |point: DVec3| {
        let mut normal = DVec3::Z;
        for _ in 0..50 {
            let place = middle + normal * 0.0079;
            normal = ((point - place).normalize() + (from - place).normalize()).normalize();
        }
        let place = middle + normal * 0.0079;
        // Perspective onto the plane through the globe's middle.
        let flat = place * (from.z / (from.z - place.z));
        [
            (flat.x / ACROSS_M + 0.5) * f64::from(SIDE),
            (0.5 - flat.y / ACROSS_M) * f64::from(SIDE),
        ]
    };
    let corners = [(-0.2, -0.2), (0.2, -0.2), (0.2, 0.2), (-0.2, 0.2)]
        .map(|(x, y)| mirrored(at + axes.x * x + axes.y * y));
    let least = |k: usize| corners.iter().map(|c| c[k]).fold(f64::MAX, f64::min);
    let most = |k: usize| corners.iter().map(|c| c[k]).fold(0.0, f64::max);
    let expected = [least(0), most(0), least(1), most(1)];
    println!("seen {left} {right} {top} {bottom} ({count}), expected {expected:?}");
    // The wet coat blurs edges by its roughness: some 0.03 of the ball's radius, six pixels.
    for (seen, expected) in [left, right + 1, top, bottom + 1].into_iter().zip(expected) {
        assert!(
            (f64::from(seen) - expected).abs() < 7.0,
            "{seen} for {expected}"
        );
    }
    let box_area = (most(0) - least(0)) * (most(1) - least(1));
    let filled = f64::from(count) / box_area;
    assert!(
        (0.8..1.35).contains(&filled),
        "{filled} of its box: not square"
    );
}

/// The pupil looks larger through the cornea: one surface of radius 7.9 mm, index 1.336, 3.2 mm before it
/// magnifies by n s'/s (Gauss), here 1.113.
#[test]
fn the_pupil_is_magnified() {
    const PUPIL_MM: f64 = 2.0;
    let mut b = eye_scene(Eye {
        pupil_mm: PUPIL_MM as f32,
        iris: [0.5; 3],
        iris_inner: [0.5; 3],
        ..Eye::default()
    });
    let layer = b.layer("open");
    b.surround([1.0; 3], layer);
    const SIDE: u32 = 160;
    const ACROSS_M: f64 = 0.006;
    b.lens(&upright(DVec3::Z * 3.0, DVec3::Z * 0.0101, ACROSS_M, SIDE));
    let film = picture(&b.build(), 1, 64);
    let pixels = (0..SIDE).flat_map(|y| (0..SIDE).map(move |x| (x, y)));
    let dark = pixels
        .filter(|&(x, y)| film.mean(x, y, 0)[1] < 0.12)
        .count();
    let pixel_mm = 1000.0 * ACROSS_M / f64::from(SIDE);
    let radius_mm = (dark as f64 / PI).sqrt() * pixel_mm;
    let (n, depth_mm, cornea_mm) = (1.336_f64, 3.2_f64, 7.9_f64);
    let image_mm = 1.0 / ((n - 1.0) / cornea_mm - n / depth_mm);
    let magnified = -n * image_mm / depth_mm;
    println!("seen {radius_mm:.3} mm, magnification {magnified:.4}");
    assert!((magnified - 1.113).abs() < 1e-3);
    // The pupil's rim is soft over 0.2 mm; a fifth bright where it ends.
    assert!((radius_mm / (PUPIL_MM * magnified) - 1.0).abs() < 0.03);
}
