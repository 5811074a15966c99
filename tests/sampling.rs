//! The kernels' parts by themselves: random numbers, lobes, densities, emitters, emission tables.

#[path = "common/cloths.rs"]
mod cloths;
#[path = "common/tracing.rs"]
mod tracing;

use glam::{DVec3, Vec2 as Flat, Vec3 as Point};
use naga_rust_rt::{Scalar, Vec2, Vec3, Vec4};
use std::cell::Cell as Slot;
use std::f64::consts::PI;
use swatchlight::optics::grid::{Cell, transmission};
use swatchlight::optics::plain::{self, GridCells, lambertian, spot};
use swatchlight::optics::table::{Emission, Face, Pattern};
use swatchlight::render::film::Spread;
use swatchlight::scene::Scene;
use swatchlight::scene::builder::Mesh;
use swatchlight::scene::cloth::Dye;
use swatchlight::scene::kernels::{EmitterHit, Kernels, Place};
use swatchlight::scene::materials::{ALBEDO_ENTRIES, Surface};
use swatchlight::scene::records::*;
use tracing::*;

type V = Vec3<f32>;

// --- A platform for the kernels: one endless plane, some lights -----------------------------------

/// The kernels over a scene whose only surface, if any, is the plane z = 0 facing up.
struct Bench {
    scene: Scene,
    light: Slot<f64>,
}

impl Bench {
    fn new(scene: Scene) -> Self {
        Self {
            scene,
            light: Slot::new(0.0),
        }
    }

    /// With one surface on the plane.
    fn with_plane(
        surface: Surface,
        lights: &[(Emission, swatchlight::scene::builder::Axes)],
    ) -> Self {
        let mut b = builder();
        let layer = b.layer("all");
        for (emission, axes) in lights {
            b.emitter(emission, *axes, layer);
        }
        let number = b.surface(surface);
        b.mesh(
            &plate(turned(DVec3::ZERO, DVec3::Z, DVec3::X), 2e3, 2e3),
            number,
        );
        Self::new(b.build())
    }

    /// The place where a ray down along `-out` meets the plane at the origin.
    fn place(&self, out: V) -> Place {
        // The first triangle is corners 0, 1, 2 of the square: the origin is the middle of its long side.
        self.place_of(
            Hit {
                t: 1.0,
                triangle: 0,
                u: 0.0,
                v: 0.5,
            },
            minus(out),
            Scalar(1e6),
            Scalar(0.5),
        )
    }
}

impl Kernels for Bench {
    fn params(&self) -> Params {
        self.scene.params
    }
    fn load_vertex(&self, i: Scalar<u32>) -> Vertex {
        self.scene.vertices[i.0 as usize]
    }
    fn load_triangle(&self, i: Scalar<u32>) -> Triangle {
        self.scene.triangles[i.0 as usize]
    }
    fn load_material(&self, i: Scalar<u32>) -> Material {
        self.scene.materials[i.0 as usize]
    }
    fn load_emitter(&self, i: Scalar<u32>) -> Emitter {
        self.scene.emitters[i.0 as usize]
    }
    fn load_receptor(&self, i: Scalar<u32>) -> Receptor {
        self.scene.receptors[i.0 as usize]
    }
    fn load_texel(&self, i: Scalar<u32>) -> Vec4<f32> {
        let [x, y, z, w] = self.scene.texels[i.0 as usize];
        Vec4 { x, y, z, w }
    }
    fn trace(&self, origin: V, direction: V, t_max: Scalar<f32>, _: Scalar<u32>) -> Hit {
        let t = -origin.z / direction.z;
        let met = !self.scene.triangles.is_empty() && t > 0.0 && t < t_max.0;
        Hit {
            t: if met { t } else { t_max.0 },
            triangle: if met { 0 } else { NOTHING.0 },
            u: 0.0,
            v: 0.5,
        }
    }
    fn deposit(&self, _: Scalar<u32>, light: V) {
        self.light.set(self.light.get() + f64::from(light.y));
    }
    fn describe(&self, _: V, _: V, _: Scalar<f32>) {}
    fn root(&self, x: Scalar<f32>) -> Scalar<f32> {
        Scalar(x.0.sqrt())
    }
    fn reverse(&self, x: Scalar<u32>) -> Scalar<u32> {
        Scalar(x.0.reverse_bits())
    }
}

fn v(x: f64, y: f64, z: f64) -> V {
    V {
        x: x as f32,
        y: y as f32,
        z: z as f32,
    }
}

fn of(d: DVec3) -> V {
    v(d.x, d.y, d.z)
}

fn minus(a: V) -> V {
    V {
        x: -a.x,
        y: -a.y,
        z: -a.z,
    }
}

fn at_angle(theta: f64, phi: f64) -> V {
    v(
        theta.sin() * phi.cos(),
        theta.sin() * phi.sin(),
        theta.cos(),
    )
}

/// Independent numbers in 0..1 that are not the kernels' own (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11) as f64 / (1_u64 << 53) as f64
    }
    fn pair(&mut self) -> Vec2<f32> {
        // Below 1 in f32 too.
        let mut one = || (self.roll() as f32).min(0.999_999_9);
        Vec2 { x: one(), y: one() }
    }
}

fn bare() -> Bench {
    Bench::new(Scene::default())
}

/// One of every kind, more than one roughness.
fn surfaces() -> Vec<Surface> {
    vec![
        Surface::Diffuse([0.7; 3]),
        Surface::Coated {
            base: [0.5; 3],
            alpha: 0.2,
            eta: 1.5,
        },
        Surface::Coated {
            base: [0.9; 3],
            alpha: 0.6,
            eta: 1.8,
        },
        Surface::Metal {
            facing: [0.8; 3],
            alpha: 0.25,
        },
        Surface::Metal {
            facing: [0.5; 3],
            alpha: 0.8,
        },
        Surface::Sheen {
            base: [0.4; 3],
            sheen: [0.6; 3],
            alpha: 0.3,
        },
        Surface::Sheet {
            back: [0.5; 3],
            through: [0.3; 3],
            straight: 0.0,
        },
        Surface::Sheet {
            back: [0.2; 3],
            through: [0.6; 3],
            straight: 0.2,
        },
    ]
}

// --- Random numbers ------------------------------------------------------------------------------

/// A (0,2)-sequence in base 2 (Niederreiter 1987): every aligned block of 2^k samples has just one in
/// each elementary interval of area 2^-k, whatever the seed and the dimension.
#[test]
fn nets_are_stratified() {
    let k = bare();
    for (seed, dimension) in [(1, 0), (77, 3), (0xdead_beef, 7), (0, 4)] {
        for log in 0..=10_u32 {
            let count = 1_u32 << log;
            for block in 0..3 {
                let samples: Vec<(u32, u32)> = (block * count..(block + 1) * count)
                    .map(|i| k.draw_net(Scalar(seed), Scalar(i), Scalar(dimension)))
                    .map(|p| {
                        (
                            (f64::from(p.x) * 2_f64.powi(20)) as u32,
                            (f64::from(p.y) * 2_f64.powi(20)) as u32,
                        )
                    })
                    .collect();
                for wide in 0..=log {
                    let high = log - wide;
                    let mut seen = vec![0_u8; count as usize];
                    for (x, y) in &samples {
                        seen[((x >> (20 - wide) << high) | (y >> (20 - high))) as usize] += 1;
                    }
                    assert!(
                        seen.iter().all(|n| *n == 1),
                        "seed {seed}, dimension {dimension}, block {block} of {count}: 2^{wide} × 2^{high}"
                    );
                }
            }
        }
    }
}

/// The first four dimensions of Sobol's sequence are a (3,4)-sequence in base 2 (t is the sum of the degrees of its polynomials, each
/// less one: Niederreiter 1992, theorem 4.49, from memory): every aligned block of 2^k samples has just eight in each
/// elementary interval of volume 2^(3-k), and no scramble changes that. The first two alone are a (0,2)-sequence.
#[test]
fn nets_of_four_are_stratified() {
    let k = bare();
    let cell = |x: f32, bits: u32| (f64::from(x) * f64::from(1 << bits)) as usize;
    for seed in [1, 77, 0xdead_beef] {
        for log in 3..=9_u32 {
            let count = 1_u32 << log;
            for block in 0..3 {
                let drawn: Vec<[f32; 4]> = (block * count..(block + 1) * count)
                    .map(|i| k.draw_four(Scalar(seed), Scalar(i)))
                    .map(|p| [p.x, p.y, p.z, p.w])
                    .collect();
                let all_have = |bits: [u32; 4], n: usize| {
                    let mut seen = vec![0; 1 << bits.iter().sum::<u32>()];
                    for p in &drawn {
                        let at = (0..4).fold(0, |at, d| at << bits[d] | cell(p[d], bits[d]));
                        seen[at] += 1;
                    }
                    assert!(
                        seen.iter().all(|s| *s == n),
                        "seed {seed}, block {block} of {count}: {bits:?}"
                    );
                };
                let left = log - 3;
                for a in 0..=left {
                    for b in 0..=left - a {
                        for c in 0..=left - a - b {
                            all_have([a, b, c, left - a - b - c], 8);
                        }
                    }
                }
                for a in 0..=log {
                    all_have([a, log - a, 0, 0], 1);
                }
                all_have([0, 0, log, 0], 1);
                all_have([0, 0, 0, log], 1);
            }
        }
    }
}

/// Each of a pixel's two nets has its samples once and in order, and the film knows how many are of the second.
#[test]
fn two_nets_share_a_pixels_samples() {
    let k = bare();
    let mut next = [0, 0];
    for number in 0..1000_u32 {
        let net = usize::from(k.in_second_net(Scalar(number)).0);
        assert_eq!(k.number_in_net(Scalar(number)).0, next[net], "{number}");
        next[net] += 1;
        let samples = number + 1;
        // Were every sample 1, both nets would have one mean.
        let ones = Spread {
            sum: samples as f32,
            second: next[1] as f32,
        };
        assert_eq!(ones.mean_and_variance(samples), (1.0, 0.0), "{samples}");
        if samples.is_power_of_two() && samples > 1 {
            assert_eq!(next, [samples / 2; 2]);
        }
    }
}

/// Plain draws fill 16 × 16 cells evenly, and two dimensions of one sample do not go together.
#[test]
fn plain_draws_are_even() {
    let k = bare();
    let n = 1 << 18;
    let mut cells = vec![0.0; 256];
    let mut product = 0.0;
    for i in 0..n {
        let p = k.draw_plain(Scalar(9), Scalar(i), Scalar(5));
        let q = k.draw_plain(Scalar(9), Scalar(i), Scalar(6));
        assert!(p.x < 1.0 && p.y < 1.0 && p.x >= 0.0 && p.y >= 0.0);
        cells[(p.x * 16.0) as usize * 16 + (p.y * 16.0) as usize] += 1.0;
        product += (f64::from(p.x) - 0.5) * (f64::from(q.x) - 0.5);
    }
    let expected = f64::from(n) / 256.0;
    let chi2: f64 = cells
        .iter()
        .map(|c: &f64| (c - expected).powi(2) / expected)
        .sum();
    // 255 degrees of freedom: mean 255, standard deviation 22.6; four of them to each side.
    assert!((165.0..345.0).contains(&chi2), "{chi2}");
    // Its standard deviation is (1/12) / √n.
    assert!((product / f64::from(n)).abs() < 4.0 / 12.0 / f64::from(n).sqrt());
}

/// Where cloth is sheared, triangles beside each other have grains of their own; what is seen of them has one that runs on over
/// their common edge, along the weft, on both sides of the sheet.
#[test]
fn threads_run_on_across_a_sheared_mesh() {
    // Two squares of cloth; the upper row is pushed along the weft, more at its end, and climbs.
    let pushed = [0.0, 0.2, 0.5];
    let mut mesh = Mesh::default();
    for row in 0..2_u8 {
        for (column, push) in (0_u8..).zip(pushed) {
            let uv = Flat::new(f32::from(column), f32::from(row));
            mesh.uvs_cm.push(uv);
            let x = uv.x + push * uv.y;
            let y = uv.y * (1.0 + 0.3 * uv.x);
            mesh.positions_m.push(Point::new(x, y, 0.0) * 0.01);
            mesh.normals.push(Point::Z);
        }
    }
    // Each with the edge that it shares with the next from its second corner to its third.
    mesh.triangles = vec![[0, 1, 3], [4, 3, 1], [4, 1, 5], [2, 5, 1]];
    let (_, satin) = cloths::fabrics()
        .into_iter()
        .find(|(name, _)| name == "silk-satin")
        .unwrap();
    let mut b = builder();
    let cloth = b.cloth(&satin, Dye::Own).unwrap();
    b.mesh(&mesh, cloth);
    let bench = Bench::new(b.build());
    let grain = |triangle: u32, [u, v_]: [f32; 2], from: f64| {
        let hit = Hit {
            t: 1.0,
            triangle,
            u,
            v: v_,
        };
        let place = bench.place_of(hit, v(0.0, 0.0, -from), Scalar(1e6), Scalar(0.5));
        let f = place.frame;
        [f.x, f.y, f.z].map(|a| DVec3::new(a.x.into(), a.y.into(), a.z.into()))
    };
    for from in [1.0, -1.0] {
        for s in [0.1, 0.5, 0.9] {
            let here = grain(0, [1.0 - s, s], from);
            let there = grain(1, [s, 1.0 - s], from);
            let turn = here[0].angle_between(there[0]).to_degrees();
            assert!(turn < 0.01, "{turn}° between the first two");
            let right_handed = here[0].cross(here[1]).dot(here[2]);
            assert!((right_handed * from - 1.0).abs() < 1e-4, "{right_handed}");
            assert!(here[0].x > 0.8 && here[1].y > 0.5, "{here:?}");
        }
    }
    // The triangles' own directions do jump: it is not the mesh that is smooth.
    let own = [0, 1].map(|i| {
        let alone = Mesh {
            triangles: vec![mesh.triangles[i]],
            ..mesh.clone()
        };
        alone.wefts()[1]
    });
    let jump = own[0].angle_between(own[1]).to_degrees();
    assert!(jump > 10.0, "{jump}°");
}

/// The warps keep what they promise: sines by series, evenness over a disk, density cos/π.
#[test]
fn warps() {
    let k = bare();
    for i in 0..=1000 {
        let u = i as f32 / 1000.0;
        let t = k.turn(Scalar(u));
        let (s, c) = (f64::from(u) * 2.0 * PI).sin_cos();
        assert!(
            (f64::from(t.sine) - s).abs() < 6e-7 && (f64::from(t.cosine) - c).abs() < 6e-7,
            "{u}"
        );
    }
    let n = 200;
    let (mut mean_r2, mut mean_z, mut mean_z2) = (0.0, 0.0, 0.0);
    for i in 0..n {
        for j in 0..n {
            let square = Vec2 {
                x: (i as f32 + 0.5) / n as f32,
                y: (j as f32 + 0.5) / n as f32,
            };
            let d = k.disk_of(square);
            let w = k.cosine_direction(square);
            mean_r2 += f64::from(d.x * d.x + d.y * d.y);
            mean_z += f64::from(w.z);
            mean_z2 += f64::from(w.z * w.z);
        }
    }
    let n2 = f64::from(n * n);
    // Over an even disk r² has mean 1/2; under cos/π, cos has mean 2/3 and cos² 1/2.
    assert!((mean_r2 / n2 - 0.5).abs() < 1e-4);
    // At the rim z falls as a root, which a regular grid misses a little of.
    assert!((mean_z / n2 - 2.0 / 3.0).abs() < 1e-3);
    assert!((mean_z2 / n2 - 0.5).abs() < 1e-4);
}

// --- Lobes ---------------------------------------------------------------------------------------

/// Directional albedo of GGX, F = 1, height-correlated: exactly 1 - ln 2 at α = 1 facing; the others
/// by an independent quadrature (four digits).
#[test]
fn ggx_energy() {
    for (alpha, mu, expected) in [
        (1.0, 1.0, 1.0 - 2_f64.ln()),
        (0.5, 1.0, 0.68785),
        (0.5, 0.5, 0.69825),
        (0.25, 1.0, 0.91581),
    ] {
        // As tabulated for a white metal: read as the kernels read it.
        let bench = Bench::with_plane(
            Surface::Metal {
                facing: [1.0; 3],
                alpha: alpha as f32,
            },
            &[],
        );
        let m = bench.scene.materials[0];
        let table = f64::from(bench.top_albedo(m, Scalar(mu as f32)).0);
        assert!(
            (table - expected).abs() < 1.5e-3,
            "α {alpha}, μ {mu}: {table} for {expected}"
        );
        // And by plain quadrature of the lobe itself, without its sampling.
        let (n, out) = (600, at_angle(f64::acos(mu), 0.0));
        let mut sum = 0.0;
        for i in 0..n {
            let z = (f64::from(i) + 0.5) / f64::from(n);
            for j in 0..n {
                let toward = at_angle(z.acos(), 2.0 * PI * (f64::from(j) + 0.5) / f64::from(n));
                sum += f64::from(bench.top_value(m, out, toward).y) * z;
            }
        }
        let lobe = sum * 2.0 * PI / f64::from(n * n);
        assert!(
            (lobe - expected).abs() < 2e-4,
            "α {alpha}, μ {mu}: {lobe} for {expected}"
        );
    }
}

/// GGX is normalised: ∫ D cos = 1 (Walter et al. 2007).
#[test]
fn ggx_distribution() {
    let k = bare();
    for alpha in [0.1, 0.4, 1.0] {
        // In t = tan θ, D cos dω = D cos⁴ 2π t dt; t = s/(1 - s) takes it to 0..1.
        let n = 20_000;
        let sum: f64 = (0..n)
            .map(|i| (f64::from(i) + 0.5) / f64::from(n))
            .map(|s| {
                let t = s / (1.0 - s);
                let c = 1.0 / (1.0 + t * t).sqrt();
                f64::from(k.ggx_density(Scalar(c as f32), Scalar(alpha)).0)
                    * c.powi(4)
                    * 2.0
                    * PI
                    * t
                    / (1.0 - s).powi(2)
            })
            .sum::<f64>()
            / f64::from(n);
        assert!((sum - 1.0).abs() < 1e-3, "{alpha}: {sum}");
    }
}

/// Charlie's distribution at 60° (Conty Estevez and Kulla 2017) and the visibility after Neubelt and
/// Pettineo, through the product the kernels use. α is the square of the roughness r.
#[test]
fn sheen_values() {
    let k = bare();
    let visibility = |v: f64, l: f64| 0.25 / (v + l - v * l);
    assert!(
        (visibility(0.9, 0.7) - 0.257732).abs() < 1e-6
            && (visibility(0.3, 0.6) - 0.347222).abs() < 1e-6
    );
    for (r, density) in [(0.3, 0.422042), (0.5, 0.537148), (1.0, 0.413497)] {
        let h = at_angle(PI / 3.0, 0.3);
        let value = f64::from(k.sheen_value(Scalar((r * r) as f32), h, h).0);
        assert!(
            (value / visibility(0.5, 0.5) - density).abs() < 2e-5,
            "r {r}: {value}"
        );
    }
    // Another pair of directions, half vector worked out here.
    let (out, toward) = (at_angle(0.9_f64.acos(), 0.0), at_angle(0.7_f64.acos(), 2.0));
    let h = DVec3::new(
        f64::from(out.x + toward.x),
        f64::from(out.y + toward.y),
        f64::from(out.z + toward.z),
    )
    .normalize();
    let (alpha, sine) = (0.25, (1.0 - h.z * h.z).sqrt());
    let expected = (2.0 + 1.0 / alpha) * sine.powf(1.0 / alpha) / (2.0 * PI) * visibility(0.9, 0.7);
    let value = f64::from(k.sheen_value(Scalar(alpha as f32), out, toward).0);
    assert!((value / expected - 1.0).abs() < 1e-4, "{value} {expected}");
}

/// No sheen sends back more than arrives, at any angle.
#[test]
fn sheen_stays_below_one() {
    for alpha in [0.0025, 0.05, 0.1, 0.25, 0.5, 1.0] {
        let bench = Bench::with_plane(
            Surface::Sheen {
                base: [0.0; 3],
                sheen: [1.0; 3],
                alpha,
            },
            &[],
        );
        let m = bench.scene.materials[0];
        for mu in [0.01, 0.02, 0.05, 0.1, 0.3, 0.7, 1.0_f64] {
            let (n, out) = (400, at_angle(mu.acos(), 0.0));
            let mut sum = 0.0;
            for i in 0..n {
                // Even in z²: close at grazing, where the lobe lives.
                let z = ((f64::from(i) + 0.5) / f64::from(n)).powi(2);
                for j in 0..n {
                    let toward = at_angle(z.acos(), 2.0 * PI * (f64::from(j) + 0.5) / f64::from(n));
                    sum += f64::from(bench.top_value(m, out, toward).y) * z * 2.0 * z.sqrt();
                }
            }
            let lobe = sum * 2.0 * PI / f64::from(n * n);
            let table = f64::from(bench.top_albedo(m, Scalar(mu as f32)).0);
            assert!(lobe < 1.003, "α {alpha}, μ {mu}: {lobe}");
            // What the base is dimmed by is what the lobe takes.
            assert!(
                (table - lobe).abs() < 0.02,
                "α {alpha}, μ {mu}: {lobe} table {table}"
            );
        }
    }
}

/// Fresnel: ((n-1)/(n+1))² facing, 1 grazing, at Brewster's angle half of the s share
/// (Born and Wolf); Schlick 1994 for metals.
#[test]
fn fresnel_limits() {
    let k = bare();
    for n in [1.3_f64, 1.5, 1.8, 2.4] {
        let at = |c: f64| f64::from(k.fresnel(Scalar(c as f32), Scalar(n as f32)).0);
        assert!((at(1.0) - ((n - 1.0) / (n + 1.0)).powi(2)).abs() < 1e-6);
        assert!((at(0.0) - 1.0).abs() < 1e-6);
        let s_share = ((n * n - 1.0) / (n * n + 1.0)).powi(2);
        assert!((at(1.0 / (1.0 + n * n).sqrt()) - 0.5 * s_share).abs() < 1e-6);
    }
    let at = |c: f32| k.fresnel_metal(Scalar(c), v(0.9, 0.6, 0.3));
    assert_eq!(at(1.0), v(0.9, 0.6, 0.3));
    assert!((at(0.0).z - 1.0).abs() < 1e-6);
    assert!((at(0.5).y - (0.6 + 0.4 / 32.0)).abs() < 1e-6);
}

/// f(o, i) = f(i, o) for every kind of surface (Helmholtz).
#[test]
fn reciprocity() {
    let mut dice = Dice(11);
    for surface in surfaces() {
        let bench = Bench::with_plane(surface, &[]);
        for _ in 0..200 {
            let mut direction =
                || at_angle((0.05 + 0.95 * dice.roll()).acos(), 2.0 * PI * dice.roll());
            let (a, b) = (direction(), direction());
            let f = |out: V, toward: V| {
                f64::from(bench.place_value(bench.place(out), toward).y) / f64::from(toward.z.abs())
            };
            let (ab, ba) = (f(a, b), f(b, a));
            assert!(
                ab > 0.0 && (ab / ba - 1.0).abs() < 2e-4,
                "{surface:?}: {ab} {ba}"
            );
        }
        // Through a sheet, from either side.
        let (a, b) = (at_angle(0.4, 1.0), at_angle(2.0, 3.0));
        let through = f64::from(bench.place_value(bench.place(a), b).y) / f64::from(b.z.abs());
        let back = f64::from(bench.place_value(bench.place(b), a).y) / f64::from(a.z.abs());
        assert!(
            (through - back).abs() < 1e-6,
            "{surface:?}: {through} {back}"
        );
    }
}

// --- Densities -----------------------------------------------------------------------------------

const RINGS: usize = 16;
const SECTORS: usize = 16;

/// Places of every kind: surfaces under steep and shallow views, and both receptors.
fn places() -> Vec<(String, Bench, Place)> {
    let mut all = Vec::new();
    for surface in surfaces() {
        for angle in [0.2, 1.0, 1.35] {
            let bench = Bench::with_plane(surface, &[]);
            let place = bench.place(at_angle(angle, 0.5));
            all.push((format!("{surface:?} seen at {angle}"), bench, place));
        }
    }
    for kind in [KIND_FLAT, KIND_DOME] {
        let bench = Bench::with_plane(Surface::Diffuse([0.5; 3]), &[]);
        let mut place = bench.place(v(0.0, 0.0, 1.0));
        place.kind = kind.0;
        all.push((format!("receptor {}", kind.0), bench, place));
    }
    all
}

/// place_scatter falls as place_pdf says: chi-square over cells even in cos θ and φ; the density
/// integrates to the share that is not lost below the horizon.
#[test]
fn scatter_matches_its_density() {
    let n = 60_000;
    for (name, bench, place) in places() {
        // Expected share of each cell, by quadrature.
        const FINE: usize = 24;
        let mut expected = vec![0.0; RINGS * SECTORS];
        for ring in 0..RINGS * FINE {
            let z = 1.0 - 2.0 * (ring as f64 + 0.5) / (RINGS * FINE) as f64;
            for sector in 0..SECTORS * FINE {
                let phi = 2.0 * PI * (sector as f64 + 0.5) / (SECTORS * FINE) as f64;
                let d = at_angle(z.acos(), phi);
                // Below an opaque surface the density has no meaning.
                let pdf = f64::from(bench.place_pdf(place, d).0);
                expected[ring / FINE * SECTORS + sector / FINE] +=
                    pdf * 4.0 * PI / (RINGS * SECTORS * FINE * FINE) as f64;
            }
        }
        let mut dice = Dice(0x1234_5678_9abc);
        let mut found = vec![0.0; RINGS * SECTORS];
        let mut lost = 0.0;
        for _ in 0..n {
            let s = bench.place_scatter(place, Scalar(dice.pair().x), dice.pair());
            if s.pdf <= 0.0 {
                lost += 1.0;
                continue;
            }
            let pdf = f64::from(bench.place_pdf(place, s.direction).0);
            assert!(
                (f64::from(s.pdf) / pdf - 1.0).abs() < 1e-3,
                "{name}: {} {pdf}",
                s.pdf
            );
            let d = s.direction;
            let ring =
                ((1.0 - f64::from(d.z)) * 0.5 * RINGS as f64).min(RINGS as f64 - 1.0) as usize;
            let phi = f64::from(d.y).atan2(f64::from(d.x)).rem_euclid(2.0 * PI);
            found[ring * SECTORS
                + ((phi / (2.0 * PI) * SECTORS as f64) as usize).min(SECTORS - 1)] += 1.0;
        }
        let total: f64 = expected.iter().sum();
        let kept = 1.0 - lost / f64::from(n);
        let deviation = (kept * (1.0 - kept) / f64::from(n)).sqrt();
        assert!(
            (total - kept).abs() < 4.0 * deviation + 2e-3,
            "{name}: density {total}, kept {kept}"
        );
        // Cells with enough in them; the rest pooled.
        let (mut chi2, mut cells, mut rest) = (0.0, 0.0, (0.0, 0.0));
        for (e, f) in expected.iter().zip(&found) {
            let e = e * f64::from(n);
            if e > 10.0 {
                chi2 += (f - e).powi(2) / e;
                cells += 1.0;
            } else {
                rest = (rest.0 + e, rest.1 + f);
            }
        }
        if rest.0 > 10.0 {
            chi2 += (rest.1 - rest.0).powi(2) / rest.0;
            cells += 1.0;
        } else {
            assert!(rest.1 < 30.0, "{name}: {rest:?}");
        }
        let z = (chi2 - cells) / (2.0_f64 * cells).sqrt();
        assert!(z < 4.5, "{name}: χ² {chi2} over {cells} cells");
    }
}

/// Value over density is the weight, so the mean weight is the albedo: against quadrature of the value.
#[test]
fn weights_are_value_over_density() {
    for (name, bench, place) in places()
        .into_iter()
        .filter(|(name, ..)| !name.starts_with("receptor"))
    {
        let fine = 400;
        let mut albedo = 0.0;
        for i in 0..2 * fine {
            let z = 1.0 - (f64::from(i) + 0.5) / f64::from(fine);
            for j in 0..fine {
                let d = at_angle(z.acos(), 2.0 * PI * (f64::from(j) + 0.5) / f64::from(fine));
                albedo += f64::from(bench.place_value(place, d).y);
            }
        }
        albedo *= 2.0 * PI / f64::from(fine * fine);
        let mut dice = Dice(99);
        let weights: Vec<f64> = (0..60_000)
            .map(|_| bench.place_scatter(place, Scalar(dice.pair().x), dice.pair()))
            .map(|s| {
                if s.pdf > 0.0 {
                    f64::from(s.weight.y)
                } else {
                    0.0
                }
            })
            .collect();
        let sampled = Reading::of(&weights);
        assert!(
            (sampled.value - albedo).abs() < 4.0 * sampled.error + 1e-3,
            "{name}: {sampled:?} {albedo}"
        );
    }
}

// --- Emitters ------------------------------------------------------------------------------------

fn faces() -> [Face; 6] {
    [
        disk(0.4),
        Face::Polygon {
            radius_m: 0.4,
            sides: 6,
        },
        Face::Cap {
            radius_m: 0.5,
            chord_m: 0.55,
        },
        rect(0.6, 1.0),
        globe(0.3),
        Face::Tube {
            half_length_m: 0.5,
            radius_m: 0.1,
        },
    ]
}

fn emitter(face: Face) -> (Bench, Emitter) {
    let mut b = builder();
    let layer = b.layer("all");
    b.emitter(
        &lambert(face),
        turned(
            DVec3::new(0.2, -0.1, 1.2),
            DVec3::new(0.1, 0.3, -1.0),
            DVec3::X,
        ),
        layer,
    );
    let bench = Bench::new(b.build());
    let e = bench.scene.emitters[0];
    (bench, e)
}

/// Every kind of table reads the same in the kernels as in `Emission::luminance`.
#[test]
fn tables_read_alike_on_both_sides() {
    let wavy = |n: usize| {
        (0..n)
            .map(|i| 2.0 + (i as f32 * 0.7).sin())
            .collect::<Vec<_>>()
    };
    let radial = Pattern::Radial {
        radii: 5,
        thetas: 8,
        phis: 4,
        values: wavy(160),
    };
    let cells = GridCells {
        cell: Cell::Square,
        cell_m: 0.05,
        depth_m: 0.04,
        open_fraction: 0.9,
    };
    let quarter = Pattern::Quarter {
        columns: 3,
        rows: 4,
        thetas: 6,
        phis: 8,
        values: wavy(576),
    };
    let gate = Pattern::Gate {
        luminance: 3.0,
        distance_m: 0.9,
        radius_m: 0.5,
        soft_m: 0.2,
    };
    let polygon = Face::Polygon {
        radius_m: 0.4,
        sides: 6,
    };
    let cap = Face::Cap {
        radius_m: 0.5,
        chord_m: 0.55,
    };
    let screen = |face| Some(plain::screen(face, cells));
    for (face, pattern, screen) in [
        (disk(0.4), radial.clone(), None),
        (disk(0.4), gate, None),
        (polygon, radial.clone(), screen(polygon)),
        (cap, radial, None),
        (rect(0.6, 1.0), quarter.clone(), None),
        (rect(0.6, 1.0), quarter, screen(rect(0.6, 1.0))),
    ] {
        let emission = Emission {
            face,
            pattern,
            screen,
        };
        let mut b = builder();
        let layer = b.layer("all");
        b.emitter(
            &emission,
            turned(DVec3::ZERO, DVec3::new(0.1, 0.3, -1.0), DVec3::X),
            layer,
        );
        let bench = Bench::new(b.build());
        let e = bench.scene.emitters[0];
        let [x, y, z] = [e.axis_x, e.axis_y, e.normal]
            .map(|a| DVec3::new(f64::from(a.x), f64::from(a.y), f64::from(a.z)));
        let (mut dice, mut worst, mut lit) = (Dice(9), 0.0_f64, 0);
        for _ in 0..2000 {
            let out = (z + 1.5
                * DVec3::new(dice.roll() - 0.5, dice.roll() - 0.5, dice.roll() - 0.5))
            .normalize();
            let point = bench.emitter_point(e, of(9.0 * out), dice.pair());
            let n = DVec3::new(
                f64::from(point.normal.x),
                f64::from(point.normal.y),
                f64::from(point.normal.z),
            );
            if n.dot(out) < 1e-3 {
                continue;
            }
            let place = [f64::from(point.place.x), f64::from(point.place.y)];
            let along = if matches!(face, Face::Cap { .. }) {
                let away = (x * place[0] + y * place[1]).normalize();
                let away = (away - n * away.dot(n)).normalize();
                [out.dot(away), out.dot(n.cross(away))]
            } else {
                [out.dot(x), out.dot(y)]
            };
            let here = emission.luminance(place, along);
            let there = f64::from(
                bench
                    .emitter_luminance(e, point.place, point.normal, of(out))
                    .0,
            );
            worst = worst.max((here - there).abs());
            lit += usize::from(here > 0.0);
        }
        assert!(lit > 300, "{emission:?}");
        // Single precision, in tables whose neighbours differ by about one.
        assert!(worst < 2e-3, "{worst} {emission:?}");
    }
}

/// The density with which emitter_point chooses a place is the one emitter_pdf states for a ray that
/// meets it, and integrates to 1 over directions.
#[test]
fn emitter_densities_agree() {
    for face in faces() {
        let (bench, e) = emitter(face);
        let mut dice = Dice(5);
        for receiver in [
            DVec3::ZERO,
            DVec3::new(0.9, 0.2, 0.1),
            DVec3::new(-0.3, 0.4, 0.5),
        ] {
            let (mut missed, mut behind) = (0, 0);
            for _ in 0..2000 {
                let at = bench.emitter_point(e, of(receiver), dice.pair());
                if matches!(face, Face::Cap { .. }) && at.pdf == 0.0 {
                    // Chosen from the whole cap, of which some is past its own horizon.
                    behind += 1;
                    continue;
                }
                assert!(at.pdf > 0.0, "{face:?}: nothing in sight");
                let to = DVec3::new(
                    f64::from(at.point.x),
                    f64::from(at.point.y),
                    f64::from(at.point.z),
                ) - receiver;
                let direction = of(to.normalize());
                let hit = bench.emitter_hit(e, of(receiver), direction, Scalar(1e30));
                if hit.t >= 1e30 {
                    missed += 1;
                    continue;
                }
                // Near a silhouette the ray's own rounding moves the place.
                let facing = -(hit.normal.x * direction.x
                    + hit.normal.y * direction.y
                    + hit.normal.z * direction.z);
                if facing > 0.05 {
                    assert!(
                        (f64::from(hit.t) - to.length()).abs() < 1e-3 * to.length(),
                        "{face:?}"
                    );
                    let stated = bench.emitter_pdf(e, of(receiver), hit, direction).0;
                    assert!(
                        (stated / at.pdf - 1.0).abs() < 5e-3,
                        "{face:?}: {stated} {}",
                        at.pdf
                    );
                }
            }
            assert!(
                missed < 20,
                "{face:?}: {missed} of 2000 points are not where a ray finds them"
            );
            // ∫ pdf dω, by a regular grid of directions about the line to the emitter's middle, over
            // the cone of a ball that holds the emitter.
            let to_middle = DVec3::new(0.2, -0.1, 1.2) - receiver;
            let frame = facing(DVec3::ZERO, to_middle);
            let cap = 1.0 - (1.0 - (0.6 / to_middle.length()).powi(2)).sqrt();
            let n = 900;
            let mut sum = 0.0;
            for i in 0..n {
                let z = 1.0 - cap * (f64::from(i) + 0.5) / f64::from(n);
                let r = (1.0 - z * z).sqrt();
                for j in 0..n {
                    let (s, c) = (2.0 * PI * (f64::from(j) + 0.5) / f64::from(n)).sin_cos();
                    let direction = of(frame.x * (r * c) + frame.y * (r * s) + frame.z * z);
                    let hit = bench.emitter_hit(e, of(receiver), direction, Scalar(1e30));
                    if hit.t < 1e30 {
                        sum +=
                            cap * f64::from(bench.emitter_pdf(e, of(receiver), hit, direction).0);
                    }
                }
            }
            let integral = sum * 2.0 * PI / f64::from(n * n);
            let in_sight = 1.0 - f64::from(behind) / 2000.0;
            let error = 3.0 * (in_sight * (1.0 - in_sight) / 2000.0).sqrt();
            assert!(
                (integral - in_sight).abs() < 0.01 + error,
                "{face:?} from {receiver}: {integral}"
            );
        }
    }
}

/// Looking at lights and meeting them by scattering, weighed, give what scattering alone gives: a
/// large light close by, glossy and rough surfaces, each shape.
#[test]
fn weighing_strategies_changes_nothing() {
    let lights = [
        (lambert(rect(20.0, 20.0)), facing(DVec3::Z, DVec3::NEG_Z)),
        (
            lambert(disk(0.8)),
            facing(DVec3::new(-0.6, -0.2, 0.7), DVec3::new(0.6, 0.2, -0.7)),
        ),
        (
            lambert(Face::Polygon {
                radius_m: 0.8,
                sides: 5,
            }),
            facing(DVec3::new(-0.6, -0.2, 0.7), DVec3::new(0.6, 0.2, -0.7)),
        ),
        (
            lambert(Face::Cap {
                radius_m: 0.6,
                chord_m: 0.7,
            }),
            facing(DVec3::new(-0.6, -0.2, 1.2), DVec3::new(0.6, 0.2, -0.7)),
        ),
        (
            lambert(globe(0.5)),
            facing(DVec3::new(-0.8, 0.0, 0.9), DVec3::Z),
        ),
        (
            lambert(Face::Tube {
                half_length_m: 0.7,
                radius_m: 0.15,
            }),
            turned(DVec3::new(-0.5, 0.0, 0.5), DVec3::Z, DVec3::Y),
        ),
        (
            spot(0.4, 0.6, 1.2, None),
            facing(DVec3::new(-0.5, 0.0, 0.8), DVec3::new(0.5, 0.0, -0.8)),
        ),
    ];
    let surfaces = [
        Surface::Diffuse([0.7; 3]),
        Surface::Metal {
            facing: [0.8; 3],
            alpha: 0.1,
        },
        Surface::Metal {
            facing: [0.8; 3],
            alpha: 0.4,
        },
        Surface::Coated {
            base: [0.3; 3],
            alpha: 0.15,
            eta: 1.5,
        },
        Surface::Sheen {
            base: [0.2; 3],
            sheen: [0.8; 3],
            alpha: 0.2,
        },
    ];
    let out = at_angle(0.7, 0.0);
    for light in &lights {
        for surface in surfaces {
            let bench = Bench::with_plane(surface, std::slice::from_ref(light));
            let n = 40_000;
            let origin = V {
                x: out.x,
                y: out.y,
                z: out.z,
            };
            // The walk as the camera starts it: no density before the first place.
            let both: Vec<f64> = (0..n)
                .map(|i| {
                    bench.light.set(0.0);
                    let four = bench.draw_four(Scalar(1234 + i), Scalar(i));
                    let square = Vec2 {
                        x: four.z,
                        y: four.w,
                    };
                    bench.see(origin, minus(out), square, Scalar(1234 + i), Scalar(i));
                    bench.light.get()
                })
                .collect();
            // Scattering alone: value over density times what the ray meets.
            let place = bench.place(out);
            let mut dice = Dice(17);
            let alone: Vec<f64> = (0..4 * n)
                .map(|_| {
                    let s = bench.place_scatter(place, Scalar(dice.pair().x), dice.pair());
                    if s.pdf <= 0.0 {
                        return 0.0;
                    }
                    let hit: EmitterHit = bench.nearest_emitter(
                        v(0.0, 0.0, 1e-4),
                        s.direction,
                        Scalar(1e30),
                        Scalar(1),
                    );
                    if hit.emitter == NOTHING.0 {
                        return 0.0;
                    }
                    let l = bench
                        .emitter_luminance(
                            bench.scene.emitters[0],
                            hit.place,
                            hit.normal,
                            minus(s.direction),
                        )
                        .0;
                    f64::from(s.weight.y * l)
                })
                .collect();
            let (both, alone) = (Reading::of(&both), Reading::of(&alone));
            let allowed = 4.0 * both.error.hypot(alone.error) + 1e-3 * alone.value;
            assert!(
                allowed < 0.1 * alone.value,
                "{:?} {surface:?}: too noisy",
                light.0.face
            );
            assert!(
                (both.value - alone.value).abs() < allowed,
                "{:?} {surface:?}: {both:?} {alone:?}",
                light.0.face
            );
        }
    }
}

// --- Emission tables -----------------------------------------------------------------------------

/// Intensity (cd per lm) at angles from the face's normal and azimuths about it, from `far` metres.
fn intensity(emission: &Emission, angles: &[(f64, f64)], far: f64, blocks: u32) -> Vec<Reading> {
    let mut b = builder();
    let layer = b.layer("light");
    b.emitter(emission, turned(DVec3::ZERO, DVec3::Z, DVec3::X), layer);
    for (theta, azimuth) in angles {
        let d = at_angle(*theta, *azimuth);
        let towards = DVec3::new(f64::from(d.x), f64::from(d.y), f64::from(d.z));
        b.receptor(towards * far, -towards, false);
    }
    read_all(b.build(), blocks)
        .into_iter()
        .map(|e| e.times(far * far))
        .collect()
}

/// Light out over light in: by the table, and by traced intensity over the hemisphere.
#[test]
fn plain_lights_lose_nothing() {
    for face in faces() {
        assert!((lambert(face).efficiency() - 1.0).abs() < 1e-12);
    }
    for (beam, field) in [
        (8.0_f64, 16.0_f64),
        (20.0, 40.0),
        (60.0, 90.0),
        (100.0, 140.0),
    ] {
        let light = spot(0.05, beam.to_radians(), field.to_radians(), None);
        assert!(
            (light.efficiency() - 1.0).abs() < 0.01,
            "{beam}°: {}",
            light.efficiency()
        );
        // ∫ I 2π sin θ dθ; ten panels of five points.
        let nodes: Vec<(f64, f64)> = (0..10)
            .flat_map(|panel| {
                GAUSS
                    .iter()
                    .map(move |(x, w)| ((f64::from(panel) + x) * 0.05 * PI, w * 0.05 * PI))
            })
            .collect();
        let angles: Vec<(f64, f64)> = nodes.iter().map(|(theta, _)| (*theta, 0.3)).collect();
        let traced = intensity(&light, &angles, 50.0, 4);
        let flux = weighted(
            nodes
                .iter()
                .zip(traced)
                .map(|((theta, w), i)| (w * 2.0 * PI * theta.sin(), i)),
        );
        flux.is(1.0, 0.012);
    }
}

/// Beam and field angles are where the traced intensity is a half and a tenth of that on the axis.
#[test]
fn beam_and_field_angles() {
    for (beam, field) in [(8.0_f64, 16.0_f64), (20.0, 40.0), (60.0, 90.0)] {
        let light = spot(0.05, beam.to_radians(), field.to_radians(), None);
        let at = [
            (0.0, 0.0),
            (0.5 * beam.to_radians(), 1.0),
            (0.5 * field.to_radians(), 2.0),
        ];
        let i = intensity(&light, &at, 50.0, 16);
        i[1].over(i[0]).is(0.5, 0.02);
        i[2].over(i[0]).is(0.1, 0.05);
    }
}

/// Optics closed forms: hexagon, azimuth mean, at q = .25, .5, .75; within .005 of it by counting on
/// the hexagon's own overlap; cut-off at atan(w/t).
#[test]
fn grid_transmission() {
    for (q, published) in [(0.25, 0.6953), (0.5, 0.4179), (0.75, 0.1743)] {
        let counted = hexagon_overlap(q);
        assert!((counted - published).abs() < 2e-3, "{q}: {counted}");
        let model = transmission(Cell::Hex, 1.0, 1.0, [q, 0.0]);
        assert!((model - published).abs() < 5e-3, "{q}: {model} {published}");
        // Circle: (2/π)(acos q - q √(1 - q²)); square: Π (1 - |q|).
        let round = 2.0 / PI * (q.acos() - q * (1.0 - q * q).sqrt());
        assert!((transmission(Cell::Round, 2.0, 4.0, [0.3 * q, 0.4 * q]) - round).abs() < 1e-12);
        assert!(
            (transmission(Cell::Square, 2.0, 4.0, [0.5 * q, -0.25]) - (1.0 - q) * 0.5).abs()
                < 1e-12
        );
    }
    for cell in [Cell::Square, Cell::Round] {
        assert!(transmission(cell, 0.01, 0.03, [0.33, 0.0]) > 0.0);
        assert_eq!(transmission(cell, 0.01, 0.03, [0.334, 0.0]), 0.0);
    }
    assert_eq!(transmission(Cell::Square, 0.01, 0.03, [0.0; 2]), 1.0);
}

/// Share of a hexagon (1 flat to flat) that it still covers when shifted by q, mean over azimuth.
fn hexagon_overlap(q: f64) -> f64 {
    let inside = |x: f64, y: f64| {
        (0..3).all(|k| {
            let (s, c) = (f64::from(k) * PI / 3.0).sin_cos();
            (x * c + y * s).abs() <= 0.5
        })
    };
    let (n, turns) = (300, 24);
    let (mut all, mut both) = (0_u32, 0_u32);
    for i in 0..n {
        for j in 0..n {
            let (x, y) = (
                1.2 * ((f64::from(i) + 0.5) / f64::from(n) - 0.5),
                1.2 * ((f64::from(j) + 0.5) / f64::from(n) - 0.5),
            );
            if inside(x, y) {
                all += turns;
                both += (0..turns)
                    .map(|k| ((f64::from(k) + 0.5) / f64::from(turns) * PI / 3.0).sin_cos())
                    .filter(|(s, c)| inside(x + q * c, y + q * s))
                    .count() as u32;
            }
        }
    }
    f64::from(both) / f64::from(all)
}

/// A square grid's table against light traced through a real array of black cells, and against
/// Π (1 - |q|); past the cut-off, nothing.
#[test]
fn a_grid_against_real_cells() {
    let (cell_m, depth_m, cells) = (0.05, 0.1, 2);
    let side = cell_m * f64::from(cells);
    let grid = GridCells {
        cell: Cell::Square,
        cell_m,
        depth_m,
        open_fraction: 1.0,
    };
    let tabled = lambertian(rect(side, side), Some(grid));
    // Toward a side, askew, along the diagonal; the last past the cut-off.
    let directions = [
        (0.0, 0.0),
        (0.15, 0.0),
        (0.25, 0.6),
        (0.35, 0.25 * PI),
        (0.60, 0.0),
    ];
    // Near enough that a shadow ray, which stops 0.1 mm to the metre short, meets the cells' feet.
    let far = 10.0;
    let bare = intensity(&lambert(rect(side, side)), &directions, far, 16);
    let by_table = intensity(&tabled, &directions, far, 16);

    let mut b = builder();
    let layer = b.layer("light");
    b.emitter(
        &lambert(rect(side, side)),
        turned(DVec3::ZERO, DVec3::Z, DVec3::X),
        layer,
    );
    let black = b.surface(BLACK);
    for i in 0..=cells {
        let at = cell_m * f64::from(i) - 0.5 * side;
        for (normal, along) in [(DVec3::X, DVec3::Y), (DVec3::Y, DVec3::X)] {
            let wall = turned(
                normal * at + DVec3::Z * (0.5 * depth_m + 1e-4),
                normal,
                along,
            );
            b.mesh(&plate(wall, side, depth_m), black);
        }
    }
    for (theta, azimuth) in directions {
        let d = at_angle(theta, azimuth);
        let towards = DVec3::new(f64::from(d.x), f64::from(d.y), f64::from(d.z));
        b.receptor(towards * far, -towards, false);
    }
    let real: Vec<Reading> = read_all(b.build(), 64)
        .into_iter()
        .map(|e| e.times(far * far))
        .collect();

    for (i, (theta, azimuth)) in directions.into_iter().enumerate() {
        let q = [azimuth.cos(), azimuth.sin()].map(|part| depth_m * theta.tan() * part / cell_m);
        let t: f64 = q.iter().map(|q| (1.0 - q.abs()).max(0.0)).product();
        let (through_cells, through_table) = (real[i].over(bare[i]), by_table[i].over(bare[i]));
        through_cells.is_within(t, 0.012);
        through_table.is_within(t, 0.02);
    }
    // What the grid takes is lost: T averaged over the cosine-weighted hemisphere.
    let n = 600;
    let mut mean = 0.0;
    for i in 0..n {
        let sine = ((f64::from(i) + 0.5) / f64::from(n)).sqrt();
        let tangent = sine / (1.0 - sine * sine).sqrt();
        for j in 0..n {
            let (s, c) = (2.0 * PI * (f64::from(j) + 0.5) / f64::from(n)).sin_cos();
            mean += transmission(Cell::Square, cell_m, depth_m, [tangent * c, tangent * s]);
        }
    }
    mean /= f64::from(n * n);
    assert!(
        (tabled.efficiency() / mean - 1.0).abs() < 5e-3,
        "{} {mean}",
        tabled.efficiency()
    );
}

/// The tables' entries in the kernels' count.
#[test]
fn albedo_tables_have_the_kernels_length() {
    let bench = Bench::with_plane(
        Surface::Metal {
            facing: [1.0; 3],
            alpha: 0.5,
        },
        &[],
    );
    assert_eq!(bench.scene.texels.len() * 4, ALBEDO_ENTRIES);
    let m = bench.scene.materials[0];
    let last = bench.scene.texels.last().unwrap()[3];
    assert_eq!(bench.top_albedo(m, Scalar(1.0)).0, last);
}
