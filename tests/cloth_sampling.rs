//! How paths go on from cloth: directions fall as the density says that weighs them. Cosine about the
//! cloth's normal; on sequins, and on leather from afar, also mirrored in facets (GGX) about the thread's own.
//!
//! Source: Pearson's chi-square test, in the use that Subr and Arvo make of it for samplers ("Statistical
//! Hypothesis Testing for Assessing Monte Carlo Estimators", Pacific Graphics 2007).

#[path = "common/cloths.rs"]
mod cloths;

use cloths::*;
use naga_rust_rt::{Scalar, Vec2, Vec4};
use std::f64::consts::{PI, TAU};
use swatchlight::scene::kernels::{Kernels, Place};
use swatchlight::scene::records::*;

/// Cells over the sphere, even in cos θ and φ.
const RINGS: usize = 24;
const SECTORS: usize = 24;
/// Directions drawn for a test.
const DRAWN: usize = 40_000;
/// Cells with less expected in them are pooled (common practice: five).
const LEAST_EXPECTED: f64 = 8.0;
/// Chance that any of all tests fails though the sampler is right.
const FALSE_ALARM: f64 = 1e-3;
const SEEDS: [u64; 3] = [
    0x9e37_79b9_7f4a_7c15,
    0xd1b5_4a32_d192_ed03,
    0x8cb9_2ba7_2f3d_8dd7,
];

/// A piece of cloth two metres wide in the plane z = 0, weft along x.
struct Plane<'a> {
    made: &'a Made,
}

/// Weft and warp of its corners, metres.
const CORNERS_M: [[f32; 2]; 3] = [[-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0]];

impl Plane<'_> {
    /// The place at weft and warp `at_mm` as seen from a direction over so wide a footprint.
    fn place(&self, at_mm: [f32; 2], out: V, footprint_mm: f32) -> Place {
        let share = |mm: f32| 0.5 + 0.0005 * mm;
        let hit = Hit {
            t: 1.0,
            triangle: 0,
            u: share(at_mm[0]),
            v: share(at_mm[1]),
        };
        let down = V {
            x: -out.x,
            y: -out.y,
            z: -out.z,
        };
        self.place_of(hit, down, Scalar(footprint_mm), Scalar(0.5))
    }
}

impl Kernels for Plane<'_> {
    fn params(&self) -> Params {
        Params::default()
    }
    fn load_vertex(&self, i: Scalar<u32>) -> Vertex {
        let [x, y] = CORNERS_M[i.0 as usize];
        Vertex {
            position: V { x, y, z: 0.0 },
            weft_cm: 100.0 * x,
            normal: V {
                x: 0.0,
                y: 0.0,
                z: 1.0,
            },
            warp_cm: 100.0 * y,
        }
    }
    fn load_triangle(&self, _: Scalar<u32>) -> Triangle {
        Triangle {
            a: 0,
            b: 1,
            c: 2,
            material: 0,
        }
    }
    fn load_material(&self, _: Scalar<u32>) -> Material {
        // Beyond the cloth's own texels its corners' weft is told.
        Material {
            paint: self.made.texels.len() as u32,
            ..self.made.record.material
        }
    }
    fn load_emitter(&self, _: Scalar<u32>) -> Emitter {
        Emitter::default()
    }
    fn load_receptor(&self, _: Scalar<u32>) -> Receptor {
        Receptor::default()
    }
    fn load_texel(&self, i: Scalar<u32>) -> Vec4<f32> {
        let weft = [1.0, 0.0, 0.0, 0.0];
        let [x, y, z, w] = *self.made.texels.get(i.0 as usize).unwrap_or(&weft);
        Vec4 { x, y, z, w }
    }
    fn trace(&self, _: V, _: V, t: Scalar<f32>, _: Scalar<u32>) -> Hit {
        Hit {
            t: t.0,
            triangle: NOTHING.0,
            ..Hit::default()
        }
    }
    fn deposit(&self, _: Scalar<u32>, _: V) {}
    fn describe(&self, _: V, _: V, _: Scalar<f32>) {}
    fn root(&self, x: Scalar<f32>) -> Scalar<f32> {
        Scalar(x.0.sqrt())
    }
    fn reverse(&self, x: Scalar<u32>) -> Scalar<u32> {
        Scalar(x.0.reverse_bits())
    }
}

/// Independent numbers in 0..1 that are not the kernels' own (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> f32 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let even = (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11) as f64 / (1_u64 << 53) as f64;
        // Below 1 in f32 too.
        (even as f32).min(0.999_999_9)
    }
}

/// The density integrated over each cell (midpoints; finer where the mirror's lobe is narrow), and over all.
fn expected(plane: &Plane<'_>, place: Place) -> Vec<f64> {
    const FINE: usize = 40;
    let mut cells = vec![0.0; RINGS * SECTORS];
    let each = 2.0 * TAU / (RINGS * SECTORS * FINE * FINE) as f64;
    for ring in 0..RINGS * FINE {
        let z = 1.0 - 2.0 * (ring as f64 + 0.5) / (RINGS * FINE) as f64;
        let across = (1.0 - z * z).sqrt();
        for sector in 0..SECTORS * FINE {
            let (s, c) = (TAU * (sector as f64 + 0.5) / (SECTORS * FINE) as f64).sin_cos();
            let d = V {
                x: (across * c) as f32,
                y: (across * s) as f32,
                z: z as f32,
            };
            cells[ring / FINE * SECTORS + sector / FINE] +=
                f64::from(plane.place_pdf(place, d).0) * each;
        }
    }
    cells
}

/// Directions drawn, counted by cell, and how many were lost below the horizon.
fn drawn(plane: &Plane<'_>, place: Place, seed: u64) -> (Vec<f64>, f64) {
    let mut dice = Dice(seed);
    let mut cells = vec![0.0; RINGS * SECTORS];
    let mut lost = 0.0;
    for _ in 0..DRAWN {
        let lobe = Scalar(dice.roll());
        let square = Vec2 {
            x: dice.roll(),
            y: dice.roll(),
        };
        let s = plane.place_scatter(place, lobe, square);
        if s.pdf <= 0.0 {
            lost += 1.0;
            continue;
        }
        let claimed = plane.place_pdf(place, s.direction).0;
        assert!((s.pdf / claimed - 1.0).abs() < 1e-3, "{} {claimed}", s.pdf);
        let d = s.direction;
        let ring = ((1.0 - f64::from(d.z)) * 0.5 * RINGS as f64) as usize;
        let turn = f64::from(d.y).atan2(f64::from(d.x)).rem_euclid(TAU) / TAU;
        let sector = (turn * SECTORS as f64) as usize;
        cells[ring.min(RINGS - 1) * SECTORS + sector.min(SECTORS - 1)] += 1.0;
    }
    (cells, lost)
}

/// How far chi-square lies above what chance gives, in standard deviations of a normal variable (Wilson and
/// Hilferty 1931). What is lost below the horizon is a cell of its own.
fn departure(expected: &[f64], (found, lost): &(Vec<f64>, f64)) -> f64 {
    let n = DRAWN as f64;
    let kept: f64 = expected.iter().sum();
    let all = expected.iter().map(|e| e * n).zip(found.iter().copied());
    let all = all.chain([((1.0 - kept).max(0.0) * n, *lost)]);
    let (mut chi2, mut cells, mut rest) = (0.0, 0.0, (0.0, 0.0));
    for (e, f) in all {
        if e > LEAST_EXPECTED {
            chi2 += (f - e) * (f - e) / e;
            cells += 1.0;
        } else {
            rest = (rest.0 + e, rest.1 + f);
        }
    }
    if rest.0 > LEAST_EXPECTED {
        chi2 += (rest.1 - rest.0).powi(2) / rest.0;
        cells += 1.0;
    } else if rest.1 > 4.0 * LEAST_EXPECTED {
        // Where nothing should fall.
        return f64::INFINITY;
    }
    let freedom: f64 = cells - 1.0;
    let spread = 2.0 / (9.0 * freedom);
    ((chi2 / freedom).cbrt() - (1.0 - spread)) / spread.sqrt()
}

/// The deviation that chance passes at most this often: φ(z)/z lies above the normal's tail.
fn limit(chance: f64) -> f64 {
    let tail = |z: f64| (-0.5 * z * z).exp() / ((2.0 * PI).sqrt() * z);
    (100..1000)
        .map(|k| f64::from(k) * 0.01)
        .find(|z| tail(*z) < chance)
        .expect("a chance that is not absurd")
}

/// Fabrics of every way of shading: yarns, a knit, pile, a sheer, leather, sequins.
const NAMES: [&str; 7] = [
    "cotton-plain",
    "silk-satin",
    "single-jersey",
    "velvet",
    "chiffon",
    "leather",
    "sequins",
];

/// Places seen close and from afar, steeply and along the cloth.
fn looks() -> Vec<([f32; 2], V, f32)> {
    let mut all = Vec::new();
    for (off, around) in [(0.0, 0.0), (35.0, 200.0), (60.0, 80.0), (78.0, 310.0)] {
        let out = direction(off, around);
        for at in [[1.3, 2.1], [-4.7, 8.9]] {
            all.push((at, out, 0.0));
        }
        all.push(([0.4, 0.7], out, FAR_MM));
    }
    all
}

#[test]
fn directions_on_cloth_fall_as_their_density_says() {
    let looks = looks();
    let tests = NAMES.len() * looks.len() * SEEDS.len();
    let limit = limit(FALSE_ALARM / tests as f64);
    let mut worst = (f64::NEG_INFINITY, String::new());
    let mut mirrors = 0;
    for name in NAMES {
        let made = made(&fabric(name));
        let plane = Plane { made: &made };
        for &(at_mm, out, footprint_mm) in &looks {
            let place = plane.place(at_mm, out, footprint_mm);
            let follows_mirror = place.top_chance > 0.0;
            // Close by, of a broad coat lights are looked at alone, and a disc's thread and ground mirror nothing.
            let mirrors_here = match name {
                "leather" => place.cloth.near == 0.0,
                "sequins" => place.cloth.thread.part == PART_SOLID.0,
                _ => false,
            };
            assert_eq!(follows_mirror, mirrors_here, "{name} at {at_mm:?}");
            let expected = expected(&plane, place);
            // A density about another normal, or wider, has to be found out.
            let mut other = place;
            other.cloth.alpha *= 1.25;
            let (s, c) = 0.06_f32.sin_cos();
            let m = place.cloth.mirror;
            other.cloth.mirror = V {
                x: m.x * c + m.z * s,
                y: m.y,
                z: m.z * c - m.x * s,
            };
            let wrong = self::expected(&plane, other);
            for seed in SEEDS {
                let drawn = drawn(&plane, place, seed);
                let off = departure(&expected, &drawn);
                let what =
                    format!("{name} at {at_mm:?}, footprint {footprint_mm} mm, from {out:?}");
                assert!(off < limit, "{what}, seed {seed:x}: {off} deviations");
                if off > worst.0 {
                    worst = (off, what.clone());
                }
                let seen = m.dot(out).0 > 0.2;
                if follows_mirror && seen {
                    let off = departure(&wrong, &drawn);
                    assert!(off > limit, "{what}: a wrong density passes, {off}");
                    mirrors += 1;
                }
            }
        }
    }
    assert!(mirrors > 30, "{mirrors}");
    println!(
        "{tests} tests, limit {limit}; the worst {:.2} deviations: {}",
        worst.0, worst.1
    );
}
