//! Skin, eyes and hair against optics: energy, random walks, refraction and mirrors traced apart.

#[path = "common/stand_in.rs"]
mod stand_in;
#[path = "common/texels.rs"]
mod texels;
#[path = "common/tracing.rs"]
mod tracing;

use glam::{DVec2, DVec3};
use naga_rust_rt::{Scalar, Vec2 as KernelVec2, Vec3 as KernelVec3};
use stand_in::{Random, ball, eyeball, ribbon};
use std::f64::consts::{FRAC_PI_2, PI, TAU};
use swatchlight::render::film::Film;
use swatchlight::scene::builder::{Lens, Mesh, SceneBuilder};
use swatchlight::scene::finish::{Eye, Hair, Painted, Skin};
use swatchlight::scene::kernels::{Kernels, Place};
use swatchlight::scene::materials::Surface;
use texels::Texels;
use tracing::*;

type V = KernelVec3<f32>;

fn of(d: DVec3) -> V {
    let d = d.as_vec3();
    V {
        x: d.x,
        y: d.y,
        z: d.z,
    }
}

fn from(v: V) -> DVec3 {
    DVec3::new(v.x.into(), v.y.into(), v.z.into())
}

/// As `eye`, its picture's sides along x and y, `across_m` wide where it aims.
fn upright(at: DVec3, to: DVec3, across_m: f64, pixels: u32) -> Lens {
    let forward = (to - at).normalize();
    let right = forward.cross(DVec3::Y).normalize();
    Lens {
        right,
        up: right.cross(forward),
        ..eye(at, to, across_m / (to - at).length(), pixels)
    }
}

/// Six faces of two metres that look at each other: everything between them is lit evenly, by
/// lights rather than by the surround.
fn light_box(b: &mut SceneBuilder) -> f64 {
    let layer = b.layer("box");
    for z in [DVec3::X, DVec3::Y, DVec3::Z] {
        for side in [-1.0, 1.0] {
            let x = z.any_orthonormal_vector();
            b.emitter(
                &lambert(rect(2.0, 2.0)),
                turned(z * side, z * -side, x),
                layer,
            );
        }
    }
    // One lumen leaves four square metres.
    1.0 / (4.0 * PI)
}

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
    // White base: all that falls on it leaves.
    assert!((plain_all - 1.0).abs() < 0.01, "{plain_all}");
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

// --- Hair ----------------------------------------------------------------------------------------

struct Fibre {
    kernels: Texels,
    place: Place,
}

impl Fibre {
    /// A fibre along x seen from `out`, where a ray meets it at `across`.
    fn new(hair: Hair, absorption: f32, out: DVec3, across: f64) -> Self {
        let mut texels = Vec::new();
        let material = Surface::Hair(hair).record(&mut texels);
        let kernels = Texels(texels);
        let mut place = kernels.nowhere();
        place.material = material;
        place.material.specular = of(DVec3::splat(absorption.into()));
        place.frame.x = of(DVec3::X);
        place.frame.y = of(DVec3::Y);
        place.frame.z = of(DVec3::Z);
        place.out = of(out);
        place.across = across as f32;
        Self { kernels, place }
    }

    fn value(&self, toward: DVec3) -> f64 {
        self.kernels.strand_value(self.place, of(toward)).y.into()
    }

    fn pdf(&self, toward: DVec3) -> f64 {
        self.kernels.strand_pdf(self.place, of(toward)).0.into()
    }
}

/// Inclination to the plane across the fibre, and angle around it from +y to +z.
fn about_x(inclination: f64, around: f64) -> DVec3 {
    let (s, c) = inclination.sin_cos();
    DVec3::new(s, c * around.cos(), c * around.sin())
}

/// Integral over all directions, even in the sine and the angle.
fn over_sphere(f: impl Fn(DVec3) -> f64) -> f64 {
    const N: u32 = 240;
    let mut sum = 0.0;
    for i in 0..N {
        let sine = 2.0 * (f64::from(i) + 0.5) / f64::from(N) - 1.0;
        for j in 0..2 * N {
            let around = PI * (f64::from(j) + 0.5) / f64::from(N);
            sum += f(about_x(sine.asin(), around));
        }
    }
    sum * 4.0 * PI / f64::from(2 * N * N)
}

const VIEWS: [(f64, f64); 6] = [
    (0.0, 0.0),
    (0.3, 0.5),
    (-0.6, -0.8),
    (0.9, 0.2),
    (-0.2, 0.95),
    (1.2, -0.4),
];

/// All light that comes back from a fibre: with Fresnel's f at both surfaces and T left of light after one
/// crossing, the geometric series f + (1 - f)² T / (1 - f T). Refraction across a slanting fibre as if the
/// index were larger (Bravais; Marschner et al. 2003).
fn series(eta: f64, inclination: f64, h: f64, absorption: f64) -> f64 {
    let (s, c) = inclination.sin_cos();
    let steep = (eta * eta - s * s).sqrt() / c;
    let inside = (1.0 - (h / steep).powi(2)).sqrt();
    let path = 2.0 * inside / (1.0 - (s / eta).powi(2)).sqrt();
    let t = (-absorption * path).exp();
    let cosine = c * (1.0 - h * h).sqrt();
    let refracted = (1.0 - (1.0 - cosine * cosine) / (eta * eta)).sqrt();
    let (rs, rp) = (
        (cosine - eta * refracted) / (cosine + eta * refracted),
        (eta * cosine - refracted) / (eta * cosine + refracted),
    );
    let f = 0.5 * (rs * rs + rp * rp);
    f + (1.0 - f).powi(2) * t / (1.0 - f * t)
}

#[test]
fn fibres_send_back_what_the_series_leaves() {
    for absorption in [0.0, 0.2, 2.0] {
        for (inclination, h) in VIEWS {
            let f = Fibre::new(
                Hair::default(),
                absorption as f32,
                about_x(inclination, FRAC_PI_2),
                h,
            );
            let (sent, expected) = (
                over_sphere(|d| f.value(d)),
                series(1.55, inclination, h, absorption),
            );
            println!("{absorption} {inclination} {h}: {sent:.4} for {expected:.4}");
            assert!((sent - expected).abs() < 0.01 * expected.max(0.2));
        }
    }
}

/// Densities integrate to one, and directions fall as they say (chi-square over 12 × 24 cells).
#[test]
fn fibres_are_sampled_as_their_density_says() {
    const ROWS: usize = 12;
    const COLUMNS: usize = 24;
    const DRAWS: usize = 60_000;
    const FINE: usize = 10;
    for rough in [0.2, 0.3] {
        for (inclination, h) in VIEWS {
            let hair = Hair {
                rough_along: rough,
                rough_around: rough,
                ..Hair::default()
            };
            let f = Fibre::new(hair, 0.3, about_x(inclination, 1.0), h);
            let mut counts = vec![0.0; ROWS * COLUMNS];
            let mut random = Random(3);
            for _ in 0..DRAWS {
                let square = KernelVec2 {
                    x: random.next() as f32,
                    y: random.next() as f32,
                };
                let choice = Scalar(random.next() as f32);
                let d = from(f.kernels.strand_direction(f.place, choice, square));
                assert!((d.length() - 1.0).abs() < 1e-3, "{d}");
                let row = ((d.x + 1.0) * 0.5 * ROWS as f64) as usize;
                let around = d.z.atan2(d.y).rem_euclid(TAU) / TAU;
                let column = (around * COLUMNS as f64) as usize;
                counts[row.min(ROWS - 1) * COLUMNS + column.min(COLUMNS - 1)] += 1.0;
            }
            let (mut chi, mut cells, mut all) = (0.0, 0, 0.0);
            for row in 0..ROWS {
                for column in 0..COLUMNS {
                    let mut share = 0.0;
                    for i in 0..FINE * FINE {
                        let x =
                            (row as f64 + ((i / FINE) as f64 + 0.5) / FINE as f64) / ROWS as f64;
                        let y = (column as f64 + ((i % FINE) as f64 + 0.5) / FINE as f64)
                            / COLUMNS as f64;
                        share += f.pdf(about_x((2.0 * x - 1.0).asin(), TAU * y));
                    }
                    share *= 4.0 * PI / (ROWS * COLUMNS * FINE * FINE) as f64;
                    all += share;
                    let expected = share * DRAWS as f64;
                    if expected > 5.0 {
                        chi += (counts[row * COLUMNS + column] - expected).powi(2) / expected;
                        cells += 1;
                    }
                }
            }
            println!("{rough} {inclination} {h}: all {all:.4}, chi² {chi:.0} of {cells}");
            assert!((all - 1.0).abs() < 0.01, "{all}");
            let degrees = f64::from(cells - 1);
            assert!(
                chi < degrees + 6.0 * (2.0 * degrees).sqrt(),
                "{chi} of {cells}"
            );
        }
    }
}

/// Direction of a ray in the plane that has met a smooth glass rod (radius 1) `passes` times inside, entering at
/// height h from above: Snell's and the mirror's law, step by step.
fn through_rod(h: f64, eta: f64, passes: u32) -> DVec2 {
    let mut at = DVec2::new(h, (1.0 - h * h).sqrt());
    let incoming = DVec2::NEG_Y;
    let reflect = |d: DVec2, n: DVec2| d - 2.0 * d.dot(n) * n;
    let refract = |d: DVec2, n: DVec2, ratio: f64| {
        let c = -d.dot(n);
        let k = 1.0 - ratio * ratio * (1.0 - c * c);
        ratio * d + (ratio * c - k.sqrt()) * n
    };
    if passes == 0 {
        return reflect(incoming, at);
    }
    let mut d = refract(incoming, at, 1.0 / eta);
    for pass in 1..=passes {
        at += d * (-2.0 * at.dot(d));
        if pass < passes {
            d = reflect(d, -at);
        }
    }
    refract(d, -at, eta)
}

/// Lobes lie around the fibre where a ray through a glass rod goes.
#[test]
fn lobes_lie_where_rays_through_a_rod_go() {
    let hair = Hair {
        rough_around: 0.06,
        rough_along: 0.2,
        tilt_deg: 0.0,
        ..Hair::default()
    };
    for h in [-0.75, -0.3, 0.2, 0.6] {
        for (passes, absorption) in [(0, 50.0), (1, 0.0), (2, 0.0)] {
            let f = Fibre::new(hair, absorption, DVec3::Z, h);
            let gone = through_rod(h, f64::from(hair.eta), passes);
            let expected = gone.y.atan2(gone.x);
            // The brightest within a fifth of a radian.
            let (_, found) = (-200..=200)
                .map(|i| expected + 1e-3 * f64::from(i))
                .map(|a| (f.value(about_x(0.0, a)), a))
                .fold((0.0, 9.0), |a, b| if b.0 > a.0 { b } else { a });
            println!("h {h}, {passes} passes: {found:.3} for {expected:.3}");
            assert!((found - expected).abs() < 0.01);
        }
    }
}

/// A ribbon along +x, its root at -x, seen from +z.
fn strip(hair: Hair) -> (SceneBuilder, u32) {
    let mut b = builder();
    let surface = b.surface(Surface::Hair(hair));
    let mut mesh = Mesh::default();
    let line: Vec<(DVec3, DVec3)> = (-2..=2)
        .map(|i| (DVec3::X * (0.01 * f64::from(i)), DVec3::Z))
        .collect();
    ribbon(&mut mesh, &line, 0.002);
    b.mesh(&mesh, surface);
    (b, surface)
}

/// The first highlight of a fibre lit from far lies turned toward the root by twice the scales' tilt, and is
/// white; traced through the whole scene.
#[test]
fn the_first_highlight_leans_to_the_root() {
    const TILT_DEG: f32 = 3.0;
    let (mut b, _) = strip(Hair {
        colour: [1e-4; 3],
        rough_along: 0.1,
        tilt_deg: TILT_DEG,
        ..Hair::default()
    });
    let angles: Vec<f64> = (-7..=0).map(|i| -6.0 + 1.5 * f64::from(i + 3)).collect();
    for deg in &angles {
        let layer = b.layer("lamp");
        let (s, c) = deg.to_radians().sin_cos();
        let toward = DVec3::new(s, 0.0, c);
        b.emitter(&lambert(disk(0.02)), facing(toward * 20.0, -toward), layer);
    }
    // Off the joint of two segments.
    let aim = DVec3::new(0.004, 0.0, 0.0);
    let r = luminances_at(b, aim + DVec3::Z, aim, 1 << 12);
    for (deg, r) in angles.iter().zip(&r) {
        println!("{deg:5.1} deg: {:.4e}", r.value);
    }
    let best = (0..r.len())
        .max_by(|&i, &j| r[i].value.total_cmp(&r[j].value))
        .unwrap();
    assert!(best > 0 && best + 1 < r.len());
    // Where a parabola through three logarithms peaks.
    let [a, m, z] = [-1, 0, 1].map(|k| r[(best as i32 + k) as usize].value.ln());
    let peak = angles[best] + 1.5 * 0.5 * (a - z) / (a - 2.0 * m + z);
    println!("peak at {peak:.2} deg");
    assert!((peak + 2.0 * f64::from(TILT_DEG)).abs() < 0.3, "{peak}");
}

/// A white furnace: hair that absorbs nothing vanishes before an even surround, whether lights are looked at or
/// found by scattering; and brown hair sends back less, red most.
#[test]
fn even_light_comes_back_from_hair() {
    let clear = Hair {
        colour: [1.0; 3],
        ..Hair::default()
    };
    for lights in [true, false] {
        for share in [0.5, 0.8] {
            let (mut b, _) = strip(clear);
            let even = if lights {
                light_box(&mut b)
            } else {
                let layer = b.layer("open");
                b.surround([1.0; 3], layer);
                1.0
            };
            let aim = DVec3::new(0.004, 0.002 * (share - 0.5), 0.0);
            let r = luminance_at(b, aim + DVec3::Z * 0.9, aim, 1 << 16).times(1.0 / even);
            println!("lights {lights}, share {share}: {r:?}");
            r.is(1.0, 0.015);
        }
    }
    let (mut b, _) = strip(Hair::default());
    let layer = b.layer("open");
    b.surround([1.0; 3], layer);
    b.lens(&upright(
        DVec3::new(0.004, 0.0, 1.0),
        DVec3::X * 0.004,
        0.0018,
        16,
    ));
    let film = picture(&b.build(), 1, 64);
    let c = (0..3).map(|c| {
        let all = (0..256).map(|i| f64::from(film.mean(i % 16, i / 16, 0)[c]));
        all.sum::<f64>() / 256.0
    });
    let c: Vec<f64> = c.collect();
    println!("brown: {c:?}");
    assert!(c[0] < 0.9 && c[0] > c[1] && c[1] > c[2] && c[2] > 0.05);
}

/// A ribbon's shadow holds what its fibres pass forward: next to nothing of black hair, some of brown.
#[test]
fn ribbons_cast_shadows() {
    let lit = |colour: Option<[f32; 3]>| {
        let (mut b, _) = match colour {
            Some(colour) => strip(Hair {
                colour,
                ..Hair::default()
            }),
            None => (builder(), 0),
        };
        let layer = b.layer("key");
        b.emitter(&lambert(disk(0.005)), facing(DVec3::Z, DVec3::NEG_Z), layer);
        b.receptor(DVec3::new(0.004, 0.0, -0.01), DVec3::Z, false);
        read_all(b.build(), 2)[0].value
    };
    let open = lit(None);
    let (black, brown) = (lit(Some([1e-4; 3])) / open, lit(Some([0.06; 3])) / open);
    println!("black {black:.4}, brown {brown:.4}");
    assert!(black < 0.02 && brown < 0.15 && brown > 2.0 * black);
}
