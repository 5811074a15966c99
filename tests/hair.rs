//! Hair against optics: energy, densities, rays through a glass rod, where highlights lie.

#[path = "common/stand_in.rs"]
mod stand_in;
#[path = "common/texels.rs"]
mod texels;
#[path = "common/tracing.rs"]
mod tracing;

use glam::{DVec2, DVec3};
use naga_rust_rt::{Scalar, Vec2 as KernelVec2, Vec3 as KernelVec3};
use stand_in::{Random, light_box, ribbon, upright};
use std::f64::consts::{FRAC_PI_2, PI, TAU};
use swatchlight::scene::builder::{Mesh, SceneBuilder};
use swatchlight::scene::finish::Hair;
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

/// Light mirrored off a fibre comes from facets that lean along it as half-way vectors tell, whatever the angle
/// around: one bell of facets, as wide as the first highlight straight back asks, and no wider toward the rim.
#[test]
fn facets_that_lean_give_the_first_highlight_its_width() {
    let hair = Hair {
        rough_along: 0.1,
        rough_around: 0.3,
        tilt_deg: 0.0,
        ..Hair::default()
    };
    // Chiang et al. 2016, equation 7; light turns twice as far as a facet.
    let width: f64 = 0.5 * (0.726 * 0.1 + 0.812 * 0.01);
    for around_deg in [0.0_f64, 60.0, 100.0, 130.0] {
        let around = around_deg.to_radians();
        let f = Fibre::new(hair, 50.0, DVec3::Y, (0.5 * around).sin());
        let straight = f.value(about_x(0.0, around));
        for inclination in [-0.08, 0.06, 0.1_f64] {
            let toward = about_x(inclination * (0.5 * around).cos(), around);
            let lean = (toward + DVec3::Y).normalize().x.asin();
            let (ratio, expected) = (
                f.value(toward) / straight,
                (-0.5 * (lean / width).powi(2)).exp(),
            );
            println!("{around_deg} {inclination}: {ratio:.4} for {expected:.4}");
            assert!((ratio - expected).abs() < 0.02, "{ratio} for {expected}");
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
    for (rough, seen) in [(0.2, 0.0), (0.3, 0.0), (0.2, 1.0)] {
        for (inclination, h) in VIEWS {
            let hair = Hair {
                rough_along: rough,
                rough_around: rough,
                ..Hair::default()
            };
            let mut f = Fibre::new(hair, 0.3, about_x(inclination, 1.0), h);
            f.place.across_seen = seen;
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
            println!("{rough} {seen} {inclination} {h}: all {all:.4}, chi² {chi:.0} of {cells}");
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
