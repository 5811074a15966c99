//! White furnaces: what arrives evenly from everywhere must leave again, neither more nor less.
//! And the film that gathers it: its sums, its error estimate, its threads, its lens.

#[path = "common/checks.rs"]
mod checks;
#[path = "common/tracing.rs"]
mod tracing;

use checks::{check, checks_beginning};
use glam::DVec3;
use std::f64::consts::PI;
use swatchlight::photometry::lens::ThinLens;
use swatchlight::render::{
    cpu::Cpu,
    executor::{Executor, READING_BLOCK},
    film::Film,
};
use swatchlight::scene::builder::{Lens, Relief, SceneBuilder};
use swatchlight::scene::materials::Surface;
use tracing::*;

/// A builder with a surround of luminance 1.
fn furnace() -> SceneBuilder {
    let mut b = builder();
    let layer = b.layer("surround");
    b.surround([1.0; 3], layer);
    b
}

/// Luminance of a wide flat surface seen at an angle from its normal.
fn seen_at(surface: Surface, angle_deg: f64, samples: u32) -> Reading {
    let mut b = furnace();
    let number = b.surface(surface);
    b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 100.0, 100.0), number);
    let (s, c) = angle_deg.to_radians().sin_cos();
    luminance_at(b, DVec3::new(s, 0.0, c), DVec3::ZERO, samples)
}

// --- Surfaces ------------------------------------------------------------------------------------

/// Convex diffuse bodies show exactly ρ, flat or round.
#[test]
fn convex_diffuse_bodies() {
    let mut cases: Vec<(f64, f64)> = checks_beginning("S4.furnace.convex_")
        .iter()
        .map(|c| (c.input("rho"), c.expected()))
        .collect();
    cases.push((0.02, 0.02));
    for (rho, expected) in cases {
        for angle in [0.0, 45.0, 80.0] {
            seen_at(Surface::Diffuse([rho as f32; 3]), angle, 1 << 10).is(expected, 2e-6);
        }
        for smooth in [false, true] {
            let mut b = furnace();
            let body = b.surface(Surface::Diffuse([rho as f32; 3]));
            b.mesh(&sphere(1.0, 48, 0.0, smooth), body);
            // The middle half of the ball: past it lies the surround.
            b.lens(&eye(DVec3::new(3.0, 4.0, 12.0), DVec3::ZERO, 0.08, 16));
            let film = picture(&b.build(), 1, 64);
            let all = over_pixels(&film, 0);
            if smooth {
                // Light from between a facet and the horizon of its round normal is refused: a few
                // 1e-4 at this fineness; never added.
                assert!(all.value <= expected * (1.0 + 1e-6));
                all.is(expected, 1e-3);
            } else {
                all.is(expected, 2e-6);
            }
        }
    }
}

/// A white V groove: whatever it sends into itself comes out in the end.
#[test]
fn a_white_groove() {
    let c = check("S4.furnace.groove");
    let mut b = furnace();
    let white = b.surface(Surface::Diffuse([1.0; 3]));
    for side in [-1.0, 1.0] {
        let corners = [
            DVec3::new(0.0, -50.0, 0.0),
            DVec3::new(side, -50.0, 1.0),
            DVec3::new(side, 50.0, 1.0),
            DVec3::new(0.0, 50.0, 0.0),
        ];
        b.mesh(&polygon_mesh(&corners), white);
    }
    luminance_at(
        b,
        DVec3::new(0.1, 0.0, 3.0),
        DVec3::new(0.3, 0.0, 0.3),
        1 << 15,
    )
    .is(c.expected(), 5e-3);
}

/// White under any top layer is 1 at every angle to within the tables' fineness (`below`), and never
/// above by more than `above`. (Kulla and Conty 2017; Kelemen and Szirmay-Kalos 2001 for the
/// coupling.)
#[track_caller]
fn assert_white(surface: Surface, below: f64, above: f64) {
    for angle in [0.0, 20.0, 40.0, 55.0, 70.0, 80.0, 85.0, 88.0] {
        // Glancing views are where a narrow lobe scatters its samples' weights most.
        let r = seen_at(surface, angle, if angle > 82.0 { 1 << 18 } else { 1 << 15 });
        assert!(
            3.0 * r.error < below.max(1e-6),
            "{surface:?} at {angle}: too noisy, {r:?}"
        );
        assert!(
            r.value < 1.0 + above + 3.0 * r.error && r.value > 1.0 - below - 3.0 * r.error,
            "{surface:?} at {angle}: {r:?}"
        );
    }
}

#[test]
fn white_under_a_coat() {
    for (alpha, eta) in [(0.02, 1.5), (0.1, 1.5), (0.3, 1.3), (0.5, 1.8), (1.0, 1.5)] {
        assert_white(
            Surface::Coated {
                base: [1.0; 3],
                alpha,
                eta,
            },
            0.01,
            2e-3,
        );
    }
}

#[test]
fn white_metal() {
    for alpha in [0.02, 0.1, 0.3, 0.6, 1.0] {
        assert_white(
            Surface::Metal {
                facing: [1.0; 3],
                alpha,
            },
            0.01,
            2e-3,
        );
    }
}

#[test]
fn white_under_sheen() {
    for alpha in [0.0025, 0.05, 0.1, 0.25, 0.5, 1.0] {
        assert_white(
            Surface::Sheen {
                base: [1.0; 3],
                sheen: [1.0; 3],
                alpha,
            },
            0.02,
            2e-3,
        );
    }
}

/// A thin sheet between surrounds returns what it reflects and passes, however it divides it.
#[test]
fn white_sheets() {
    for (back, through, straight) in [
        (0.5, 0.3, 0.2),
        (0.0, 1.0, 0.0),
        (0.2, 0.0, 0.8),
        (0.6, 0.4, 0.0),
    ] {
        assert_white(
            Surface::Sheet {
                back: [back; 3],
                through: [through; 3],
                straight,
            },
            5e-3,
            1e-5,
        );
    }
    let r = seen_at(
        Surface::Sheet {
            back: [0.2; 3],
            through: [0.25; 3],
            straight: 0.1,
        },
        30.0,
        1 << 16,
    );
    r.is(0.55, 0.01);
}

/// A grey base under a coat gives back less than a grey base; a gold-like metal between its facing
/// reflectance and 1.
#[test]
fn coloured_surfaces_stay_in_bounds() {
    for angle in [0.0, 60.0] {
        let coated = seen_at(
            Surface::Coated {
                base: [0.5; 3],
                alpha: 0.2,
                eta: 1.5,
            },
            angle,
            1 << 16,
        );
        // Fresnel's 4 % on top and the light kept in below (Saunderson 1942): between .3 and .55.
        assert!(coated.value > 0.3 && coated.value < 0.55, "{coated:?}");
        let metal = seen_at(
            Surface::Metal {
                facing: [0.6; 3],
                alpha: 0.4,
            },
            angle,
            1 << 16,
        );
        assert!(metal.value < 0.75 && metal.value > 0.5, "{metal:?}");
    }
}

/// A normal map on a white plane takes nothing from nowhere: never above 1 (Schüssler et al. 2017
/// give the test), at any angle, for rough maps too.
#[test]
fn normal_maps_never_add_light() {
    let size = 16;
    for slope in [0.3, 1.0] {
        // Pseudo-random slopes, the same each time.
        let mut state = 7_u32;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1 << 24) * 2.0 - 1.0
        };
        let normals = (0..size * size)
            .map(|_| {
                DVec3::new(slope * next(), slope * next(), 1.0)
                    .normalize()
                    .as_vec3()
                    .to_array()
            })
            .collect();
        let relief = Relief {
            width: size,
            height: size,
            texel_cm: 0.5,
            normals,
        };
        for surface in [
            Surface::Diffuse([1.0; 3]),
            Surface::Sheen {
                base: [1.0; 3],
                sheen: [1.0; 3],
                alpha: 0.3,
            },
            Surface::Coated {
                base: [1.0; 3],
                alpha: 0.3,
                eta: 1.5,
            },
            Surface::Metal {
                facing: [1.0; 3],
                alpha: 0.3,
            },
        ] {
            for angle in [0.0_f64, 50.0, 75.0, 85.0] {
                let mut b = furnace();
                let number = b.surface_with_relief(surface, &relief);
                b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 100.0, 100.0), number);
                let (s, c) = angle.to_radians().sin_cos();
                // A hand's breadth of cloth.
                b.lens(&eye(DVec3::new(s, 0.0, c), DVec3::ZERO, 0.1, 16));
                let film = picture(&b.build(), 1, 512);
                let all = over_pixels(&film, 0);
                assert!(
                    all.value < 1.0 + 2e-3 + 3.0 * all.error,
                    "{surface:?} at {angle}: {all:?}"
                );
                assert!(all.value > 0.6, "{surface:?} at {angle}: {all:?}");
                for row in 0..16 {
                    for x in 0..16 {
                        // One pixel has 512 samples of a spread below 1.
                        assert!(film.mean(x, row, 0)[1] < 1.2);
                    }
                }
            }
        }
    }
}

// --- The film ------------------------------------------------------------------------------------

/// A million samples of the same light come to that light. One running f32 sum would not: the control.
#[test]
fn the_film_keeps_a_million_samples() {
    let (light, passes, each) = (0.7_f32, 1000, 1000);
    let mut b = builder();
    let layer = b.layer("surround");
    b.surround([light; 3], layer);
    b.lens(&eye(DVec3::ZERO, DVec3::Z, 0.1, 2));
    let film = picture(&b.build(), passes, each);
    assert_eq!(film.samples(), 1_000_000);
    let kept = f64::from(film.mean(1, 1, 0)[1]) / f64::from(light);
    assert!((kept - 1.0).abs() < 1e-5, "{kept}");
    // Light that f32 holds exactly stays exact.
    let mut b = builder();
    let layer = b.layer("surround");
    b.surround([0.5; 3], layer);
    b.lens(&eye(DVec3::ZERO, DVec3::Z, 0.1, 2));
    assert_eq!(picture(&b.build(), passes, each).mean(0, 0, 0), [0.5; 3]);
    let naive: f32 = (0..1_000_000).fold(0.0, |sum, _| sum + light) / 1e6;
    assert!((naive / light - 1.0).abs() > 0.005, "{naive}");
}

/// A scene with a penumbra and some bounced light.
fn corner(seed: u32) -> SceneBuilder {
    let mut b = builder();
    let key = b.layer("key");
    let fill = b.layer("fill");
    b.emitter(
        &lambert(disk(0.3)),
        facing(DVec3::new(0.6, 0.4, 1.6), DVec3::new(-0.4, -0.2, -1.0)),
        key,
    );
    b.emitter(
        &lambert(globe(0.05)),
        facing(DVec3::new(-0.5, 0.7, 0.9), DVec3::Z),
        fill,
    );
    let wall = b.surface(Surface::Diffuse([0.7, 0.6, 0.5]));
    let satin = b.surface(Surface::Coated {
        base: [0.3; 3],
        alpha: 0.2,
        eta: 1.5,
    });
    b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 3.0, 3.0), wall);
    b.mesh(&plate(facing(DVec3::X * -0.8, DVec3::X), 3.0, 3.0), wall);
    b.mesh(
        &plate(facing(DVec3::new(0.2, 0.0, 0.4), DVec3::Z), 0.3, 0.3),
        satin,
    );
    b.lens(&eye(
        DVec3::new(1.0, -2.0, 1.5),
        DVec3::new(0.0, 0.0, 0.2),
        0.4,
        16,
    ));
    b.seed(seed);
    b
}

/// The film's own estimate of its error against how pictures of other seeds really scatter: not
/// below, and at most half as much again.
#[test]
fn the_error_estimate_is_honest() {
    let (seeds, passes, each) = (24_u32, 8, 16);
    let films: Vec<_> = (0..seeds)
        .map(|s| picture(&corner(1000 + s).build(), passes, each))
        .collect();
    let estimate = films
        .iter()
        .map(|f| f.median_relative_error().unwrap())
        .sum::<f64>()
        / f64::from(seeds);
    // The median over pixels of the true spread over seeds.
    let mix = [0.2126, 0.7152, 0.0722];
    let value = |f: &Film, x: u32, row: u32| -> f64 {
        (0..2)
            .map(|layer| {
                f.mean(x, row, layer)
                    .iter()
                    .zip(mix)
                    .map(|(l, w)| f64::from(*l) * w)
                    .sum::<f64>()
            })
            .sum()
    };
    let mut errors: Vec<f64> = (0..256)
        .map(|pixel| {
            let values: Vec<f64> = films
                .iter()
                .map(|f| value(f, pixel % 16, pixel / 16))
                .collect();
            let r = Reading::of(&values);
            r.error * f64::from(seeds).sqrt() / r.value
        })
        .collect();
    errors.sort_by(f64::total_cmp);
    let truth = errors[128];
    let ratio = estimate / truth;
    assert!(
        ratio > 0.95,
        "the estimate {estimate} hides part of {truth}"
    );
    assert!(ratio < 1.5, "the estimate {estimate} is far over {truth}");
    // It shrinks with more passes, as the truth does.
    let more = picture(&corner(1000).build(), 4 * passes, each)
        .median_relative_error()
        .unwrap();
    assert!(more < 0.7 * estimate, "{more} {estimate}");
}

/// One thread or two: the same bits, in pictures and readings; and other seeds, other bits.
#[test]
fn threads_change_nothing() {
    let set = |seed: u32| {
        let mut b = corner(seed);
        b.receptor(DVec3::new(0.1, 0.1, 0.2), DVec3::Z, true);
        b.build()
    };
    let of = |threads: usize, seed: u32| {
        let mut cpu = Cpu::new(threads).unwrap();
        let scene = set(seed);
        let film = picture_with(&mut cpu, &scene, 2, 8);
        let read = cpu.read(&scene, READING_BLOCK, 0, 4).unwrap();
        let bits: Vec<[u32; 3]> = film.light.iter().map(|l| l.map(f32::to_bits)).collect();
        let seen: Vec<_> = film
            .seen
            .iter()
            .map(|s| bytemuck::bytes_of(s).to_vec())
            .collect();
        (
            bits,
            seen,
            read.iter()
                .flatten()
                .flatten()
                .flatten()
                .map(|v| v.to_bits())
                .collect::<Vec<_>>(),
        )
    };
    let one = of(1, 5);
    assert_eq!(one, of(2, 5));
    assert_ne!(one.0, of(1, 6).0);
}

/// A small disk out of focus: its picture is spread evenly over the blur circle
/// (`photometry::lens`, Gauss), whose diameter c shows as a spread of c²/16 along either axis.
#[test]
fn a_blur_circle() {
    let optics = ThinLens {
        focal_length_m: 0.085,
        f_number: 1.4,
        focus_m: 4.0,
    };
    for distance in [2.5, 4.0, 7.0] {
        let mut b = builder();
        let layer = b.layer("lamp");
        let radius = 0.004;
        b.emitter(
            &lambert(disk(radius)),
            facing(DVec3::Z * distance, DVec3::NEG_Z),
            layer,
        );
        let side = 1.6e-3;
        let pixels = 64;
        b.lens(&Lens {
            image_distance_m: optics.image_distance_m(),
            focus_distance_m: optics.focus_m,
            radius_m: 0.5 * optics.aperture_diameter_m(),
            picture_m: [side; 2],
            ..eye(DVec3::ZERO, DVec3::Z, 1.0, pixels)
        });
        let film = picture(&b.build(), 1, 256);
        let pitch = side / f64::from(pixels);
        let (mut total, mut first, mut second) = (0.0, 0.0, 0.0);
        for row in 0..pixels {
            for x in 0..pixels {
                let light = f64::from(film.mean(x, row, 0)[1]);
                let at = (f64::from(x) + 0.5) * pitch - 0.5 * side;
                total += light;
                first += light * at;
                second += light * at * at;
            }
        }
        assert!((first / total).abs() < 0.02 * side);
        // The disk's own image and the pixel have spreads r²/4 and pitch²/12.
        let image = radius * optics.image_distance_m() / distance;
        let variance = second / total - 0.25 * image * image - pitch * pitch / 12.0;
        let blur = 4.0 * variance.max(0.0).sqrt();
        let expected = optics.blur_circle_m(distance);
        assert!(
            (blur - expected).abs()
                < 0.015 * expected + 0.04e-3 * f64::from(u8::from(expected == 0.0)),
            "{distance} m: {blur} {expected}"
        );
        // And all of its light is there: sum of L over pixels = L of the disk × its image's area.
        let l = 1.0 / (PI * PI * radius * radius);
        let all = total * pitch * pitch / (PI * image * image * l);
        assert!((all - 1.0).abs() < 0.02, "{distance} m: {all}");
    }
}
