//! What light does on cloth, for every shipped fabric: it gives back no more than it gets, the far view is
//! what the near view comes to, and both can be exchanged end for end as far as they say.
//!
//! Sources: energy conservation and Helmholtz reciprocity; the lobe of Sadeghi et al. (ACM TOG 32(2),
//! 2013); half widths of satin measured in the study that the recipe reports (computed, not measured on cloth).

#[path = "common/cloths.rs"]
mod cloths;

use cloths::*;
use naga_rust_rt::{Scalar, Vec4};
use swatchlight::fabric::Shading;
use swatchlight::scene::kernels::Kernels;
use swatchlight::scene::records::*;

/// In even light of 1 no cloth sends back more than 1, in any channel, near or far.
#[test]
fn no_cloth_gives_back_more_than_it_gets() {
    let (all, each) = half_space(20);
    for (name, fabric) in fabrics() {
        let m = made(&fabric);
        let k = m.bare();
        for out in [
            direction(0.0, 0.0),
            direction(40.0, 20.0),
            direction(60.0, 270.0),
            direction(80.0, 100.0),
        ] {
            for (footprint, count) in [(FAR_MM, 1), (0.0, 48)] {
                let mut sum = [0.0_f64; 3];
                for (i, at) in places(count, 150.0).into_iter().enumerate() {
                    let c = m.at(at, out, footprint, (i as f32 * 0.618) % 1.0);
                    for &toward in &all {
                        let v = k.cloth_value(c, out, toward);
                        for (s, v) in sum.iter_mut().zip([v.x, v.y, v.z]) {
                            *s += f64::from(v * each) / count as f64;
                        }
                    }
                }
                let most = sum.into_iter().fold(0.0, f64::max);
                assert!(most <= 1.005, "{name}, footprint {footprint}: {most}");
                assert!(most > 0.0, "{name} is black");
            }
        }
    }
}

/// How far the far view may be off the near one's mean, beside three standard errors.
const ALLOWED: f64 = 0.03;

/// The far view is the mean of the near one, within 3 % at five views under a hard and a broad light.
#[test]
fn the_far_view_is_the_near_one_from_afar() {
    let views = [
        (0.0, 0.0),
        (20.0, 60.0),
        (35.0, 190.0),
        (50.0, 300.0),
        (60.0, 90.0),
    ];
    let mut worst = Vec::new();
    for (name, fabric) in fabrics() {
        let m = made(&fabric);
        let k = m.bare();
        // A broad light 22 degrees off, and one of 20 degrees' half width at 45 degrees.
        let lights: [Vec<V>; 2] = [
            (0..24)
                .map(|i| {
                    direction(
                        22.0 + 24.0 * ((i as f32 * 0.618) % 1.0 - 0.5),
                        100.0 + 60.0 * (i as f32 / 24.0 - 0.5),
                    )
                })
                .collect(),
            (0..24)
                .map(|i| {
                    direction(
                        45.0 + 16.0 * ((i as f32 * 0.618) % 1.0 - 0.5),
                        160.0 + 20.0 * (i as f32 / 24.0 - 0.5),
                    )
                })
                .collect(),
        ];
        let spots = places(6000, 1000.0);
        for (off, around) in views {
            let out = direction(off, around);
            for (which, light) in lights.iter().enumerate() {
                let (mut near, mut far, mut squares) = (0.0, 0.0, 0.0);
                for (i, &at) in spots.iter().enumerate() {
                    let start = (i as f32 * 0.414_213_6) % 1.0;
                    let toward = light[i % light.len()];
                    let c = m.at(at, out, 0.0, start);
                    let v = luminance(k.cloth_value(c, out, toward));
                    near += v;
                    squares += v * v;
                    far += luminance(k.cloth_value(m.at(at, out, FAR_MM, start), out, toward));
                }
                let n = spots.len() as f64;
                let error = ((squares / n - (near / n).powi(2)) / n).sqrt() / (near / n);
                worst.push((
                    far / near - 1.0,
                    error,
                    format!("{name} view {off} light {which}"),
                ));
            }
        }
    }
    worst.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    for (off, error, what) in worst.iter().take(60) {
        println!(
            "{:+.1} % (standard error {:.1} %) {what}",
            100.0 * off,
            100.0 * error
        );
    }
    for (off, error, what) in &worst {
        assert!(off.abs() <= ALLOWED + 3.0 * error, "{what}: {off}");
    }
}

/// Far off, either way round is the same.
#[test]
fn the_far_view_can_be_exchanged_end_for_end() {
    for (name, fabric) in fabrics() {
        let m = made(&fabric);
        let k = m.bare();
        let white = V {
            x: 1.0,
            y: 1.0,
            z: 1.0,
        };
        for (a, b) in [
            (direction(10.0, 30.0), direction(50.0, 200.0)),
            (direction(70.0, 80.0), direction(33.0, 300.0)),
            (direction(80.0, 10.0), direction(75.0, 170.0)),
        ] {
            let one = luminance(k.far_value(m.first(), white, a, b)) / f64::from(b.z);
            let other = luminance(k.far_value(m.first(), white, b, a)) / f64::from(a.z);
            assert!(
                (one - other).abs() <= 1e-4 * one.abs().max(1e-6),
                "{name}: {one} {other}"
            );
        }
    }
}

/// Near, without light through the yarn and from neighbours (which go by the cloth's own cosine), a yarn's
/// reflectance is the same either way round; so is a pile's by its eased cosine.
#[test]
fn near_reflectance_can_be_exchanged_end_for_end() {
    for (name, mut fabric) in fabrics() {
        if fabric.structure.shading() == Shading::Solid {
            continue;
        }
        fabric.light.translucency = 0.0;
        fabric.light.cavity = 0.0;
        fabric.light.sheen = 0.0;
        fabric.hairs = None;
        let m = made(&fabric);
        let k = m.bare();
        let mut tried = 0;
        let even = Vec4 {
            x: 1.0,
            y: 1.0,
            z: 1.0,
            w: 1.0,
        };
        for at in places(60, 100.0) {
            let t = m.at(at, direction(0.0, 0.0), 0.0, 0.5).thread;
            let n = k.thread_normal(t);
            for (a, b) in [
                (direction(10.0, 30.0), direction(50.0, 200.0)),
                (direction(60.0, 80.0), direction(33.0, 300.0)),
            ] {
                let (na, nb) = (n.dot(a), n.dot(b));
                if na.0 < 0.05 || nb.0 < 0.05 || t.part == PART_GAP.0 {
                    continue;
                }
                let cosines = if t.part == PART_PILE.0 {
                    (k.eased(na).0, k.eased(nb).0)
                } else {
                    (na.0, nb.0)
                };
                let (up, open) = (Scalar(1.0), k.cloth_falls(even, Scalar(1.0), Scalar(1.0)));
                let one =
                    luminance(k.thread_value(m.first(), t, up, a, b, open)) / f64::from(cosines.1);
                let other =
                    luminance(k.thread_value(m.first(), t, up, b, a, open)) / f64::from(cosines.0);
                assert!((one - other).abs() <= 2e-4 * one, "{name}: {one} {other}");
                tried += 1;
            }
        }
        assert!(tried > 10, "{name}: {tried}");
    }
}

/// Threads and all that stands between them, seen from one side and lit from another, come to what they do the
/// other way round: within 6 %, beside three standard errors. (A field of heights without undersides and walls
/// missed it by 31 % on chiffon and by 11 % on a rib.)
#[test]
fn near_cloth_can_be_exchanged_end_for_end() {
    for (name, fabric) in fabrics() {
        let m = made(&fabric);
        let k = m.bare();
        let spots = places(4000, 1000.0);
        for (a, b) in [
            (direction(0.0, 0.0), direction(45.0, 160.0)),
            (direction(20.0, 60.0), direction(45.0, 160.0)),
            (direction(60.0, 90.0), direction(22.0, 100.0)),
        ] {
            let (mut one, mut other, mut squares) = (0.0, 0.0, 0.0);
            for (i, &at) in spots.iter().enumerate() {
                let start = (i as f32 * 0.414_213_6) % 1.0;
                let look = |out: V, toward: V| {
                    let c = m.at(at, out, 0.0, start);
                    luminance(k.cloth_value(c, out, toward)) / f64::from(toward.z)
                };
                let (there, back) = (look(a, b), look(b, a));
                one += there;
                other += back;
                squares += (there - back).powi(2);
            }
            let n = spots.len() as f64;
            let off = (other - one) / one;
            let error = (squares / n - ((other - one) / n).powi(2)).max(0.0).sqrt() / n.sqrt();
            let error = error / (one / n);
            println!(
                "{name}: {:+.1} % (standard error {:.1} %)",
                100.0 * off,
                100.0 * error
            );
            assert!(off.abs() <= 0.06 + 3.0 * error, "{name}: {off} {error}");
        }
    }
}

/// Silk satin from afar: along the floats its highlight is about 13 degrees wide (half at half height, in the
/// light's angle), across them it is a fan of more than 45.
#[test]
fn satin_shines_in_a_fan_across_its_floats() {
    let (_, fabric) = fabrics()
        .into_iter()
        .find(|(n, _)| n == "silk-satin")
        .unwrap();
    let m = made(&fabric);
    let k = m.bare();
    let out = direction(0.0, 0.0);
    let half_width = |around: f32| {
        let c = m.at([3.0, 5.0], out, FAR_MM, 0.5);
        let at = |off: f32| {
            let d = direction(off, around);
            let lobes = k.far_lobes(
                m.first(),
                V {
                    x: 1.0,
                    y: 1.0,
                    z: 1.0,
                },
                out,
                d,
            );
            let _ = c;
            luminance(lobes)
        };
        let peak = at(0.0);
        (1..88)
            .map(|d| d as f32)
            .find(|&d| at(d) < 0.5 * peak)
            .unwrap_or(88.0)
    };
    let along = half_width(90.0);
    let across = half_width(0.0);
    assert!((11.0..=17.0).contains(&along), "along {along}");
    assert!(across > 45.0, "across {across}");
}
