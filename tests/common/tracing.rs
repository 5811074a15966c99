//! Small scenes, and what meters and cameras read in them.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use glam::{DVec3, Vec2};
use std::sync::atomic::AtomicBool;
use swatchlight::optics::table::{Emission, Face};
use swatchlight::render::executor::Passes;
use swatchlight::render::{
    cpu::Cpu,
    executor::{Executor, READING_BLOCK},
    film::Film,
};
use swatchlight::scene::Scene;
use swatchlight::scene::builder::{Axes, Lens, Mesh, SceneBuilder};
use swatchlight::scene::materials::Surface;

pub const BLACK: Surface = Surface::Diffuse([0.0; 3]);

pub fn builder() -> SceneBuilder {
    SceneBuilder::new()
}

/// A frame at a point whose z faces a direction.
pub fn facing(origin_m: DVec3, z: DVec3) -> Axes {
    let z = z.normalize();
    let x = z.any_orthonormal_vector();
    Axes {
        origin_m,
        x,
        y: z.cross(x),
        z,
    }
}

/// A frame at a point whose z faces a direction and whose x lies as near another as may be.
pub fn turned(origin_m: DVec3, z: DVec3, x: DVec3) -> Axes {
    let z = z.normalize();
    let x = (x - z * x.dot(z)).normalize();
    Axes {
        origin_m,
        x,
        y: z.cross(x),
        z,
    }
}

/// A Lambertian face of one lumen.
pub fn lambert(face: Face) -> Emission {
    Emission::lambertian(face)
}

pub fn disk(radius_m: f64) -> Face {
    Face::Disk { radius_m }
}

/// A rectangle of full sides.
pub fn rect(w: f64, h: f64) -> Face {
    Face::Rect {
        half_x_m: 0.5 * w,
        half_y_m: 0.5 * h,
    }
}

pub fn globe(radius_m: f64) -> Face {
    Face::Globe { radius_m }
}

// --- Readings ------------------------------------------------------------------------------------

/// A measured value and its standard error.
#[derive(Debug, Clone, Copy)]
pub struct Reading {
    pub value: f64,
    pub error: f64,
}

impl Reading {
    /// Mean and standard error of independent values.
    pub fn of(values: &[f64]) -> Self {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        Self {
            value: mean,
            error: (variance / n).sqrt(),
        }
    }

    pub fn times(self, scale: f64) -> Self {
        Self {
            value: self.value * scale,
            error: self.error * scale.abs(),
        }
    }

    /// Ratio to another, independent reading.
    pub fn over(self, other: Self) -> Self {
        let scale = 1.0 / other.value;
        let value = self.value * scale;
        Self {
            value,
            error: (self.error * scale).hypot(other.error * scale * value),
        }
    }

    /// In stops.
    pub fn stops(self) -> Self {
        Self {
            value: self.value.log2(),
            error: self.error / self.value / std::f64::consts::LN_2,
        }
    }

    /// Within a relative tolerance, which must itself be at least three standard errors wide.
    #[track_caller]
    pub fn is(&self, expected: f64, relative: f64) {
        self.is_within(expected, relative * expected.abs());
    }

    /// Within an absolute tolerance, which must itself be at least three standard errors wide.
    #[track_caller]
    pub fn is_within(&self, expected: f64, allowed: f64) {
        assert!(
            3.0 * self.error <= allowed,
            "too noisy to tell: {self:?}, allowed {allowed:.3e}"
        );
        assert!(
            (self.value - expected).abs() <= allowed,
            "{self:?} is not {expected} within {allowed:.3e}"
        );
    }
}

/// Weighted sum of independent readings.
pub fn weighted(parts: impl IntoIterator<Item = (f64, Reading)>) -> Reading {
    let (value, square) = parts.into_iter().fold((0.0, 0.0), |(v, s), (w, r)| {
        (v + w * r.value, s + (w * r.error).powi(2))
    });
    Reading {
        value,
        error: square.sqrt(),
    }
}

/// `[receptor][layer]`, lux per lumen, from 1024-sample blocks on the CPU.
pub fn read(scene: Scene, blocks: u32) -> Vec<Vec<Reading>> {
    read_with(&mut Cpu::new(0).unwrap(), &scene, blocks)
}

pub fn read_with(executor: &mut dyn Executor, scene: &Scene, blocks: u32) -> Vec<Vec<Reading>> {
    let layers = 0..scene.layers.len();
    let receptors = executor.read(scene, READING_BLOCK, 0, blocks).unwrap();
    receptors
        .iter()
        .map(|receptor| {
            let of_layer =
                |layer: usize| receptor.iter().map(|b| b[layer][1]).collect::<Vec<f64>>();
            layers
                .clone()
                .map(|layer| Reading::of(&of_layer(layer)))
                .collect()
        })
        .collect()
}

/// The one layer of every receptor.
pub fn read_all(scene: Scene, blocks: u32) -> Vec<Reading> {
    read(scene, blocks).into_iter().map(|r| r[0]).collect()
}

// --- Pictures ------------------------------------------------------------------------------------

/// A pinhole camera at a point, looking at another, whose picture spans `field` (a share of the
/// distance).
pub fn eye(from: DVec3, to: DVec3, field: f64, pixels: u32) -> Lens {
    let forward = (to - from).normalize();
    let right = forward.any_orthonormal_vector();
    Lens {
        centre_m: from,
        right,
        up: right.cross(forward),
        forward,
        image_distance_m: 1.0,
        focus_distance_m: 1.0,
        radius_m: 0.0,
        picture_m: [field; 2],
        shift_m: [0.0; 2],
        pixels: [pixels; 2],
    }
}

/// The camera's picture after some passes.
pub fn picture(scene: &Scene, passes: u32, samples_each: u32) -> Film {
    picture_with(&mut Cpu::new(0).unwrap(), scene, passes, samples_each)
}

pub fn picture_with(
    executor: &mut dyn Executor,
    scene: &Scene,
    passes: u32,
    samples_each: u32,
) -> Film {
    let [width, height] = [scene.params.width, scene.params.height];
    let mut film = Film::new(width, 0, height, scene.layers.len() as u32);
    for pass in 0..passes {
        executor
            .render(
                scene,
                &mut film,
                Passes::one(pass * samples_each, samples_each),
                &AtomicBool::new(false),
            )
            .unwrap();
    }
    assert_eq!(film.refused, 0, "light that is not a finite number");
    film
}

/// Mean of a layer over the picture, taken from its pixels, which are independent.
pub fn over_pixels(film: &Film, layer: u32) -> Reading {
    let pixels = (0..film.rows).flat_map(|row| (0..film.width).map(move |x| (x, row)));
    let values: Vec<f64> = pixels
        .map(|(x, row)| f64::from(film.mean(x, row, layer)[1]))
        .collect();
    Reading::of(&values)
}

/// Luminance per lumen that a camera sees at a point, from so many samples in all.
pub fn luminance_at(b: SceneBuilder, from: DVec3, to: DVec3, samples: u32) -> Reading {
    luminances_at(b, from, to, samples)[0]
}

/// The same by layer.
pub fn luminances_at(mut b: SceneBuilder, from: DVec3, to: DVec3, samples: u32) -> Vec<Reading> {
    // So narrow that all pixels see the same place.
    b.lens(&eye(from, to, 1e-5, 8));
    let scene = b.build();
    let film = picture(&scene, 1, samples / 64);
    (0..scene.layers.len() as u32)
        .map(|layer| over_pixels(&film, layer))
        .collect()
}

// --- Meshes --------------------------------------------------------------------------------------

/// A flat polygon of corners in order, convex.
pub fn polygon_mesh(corners: &[DVec3]) -> Mesh {
    let normal = (corners[1] - corners[0])
        .cross(corners[2] - corners[0])
        .normalize();
    Mesh {
        positions_m: corners.iter().map(|c| c.as_vec3()).collect(),
        normals: vec![normal.as_vec3(); corners.len()],
        uvs_cm: vec![Vec2::ZERO; corners.len()],
        triangles: (1..corners.len() as u32 - 1)
            .map(|i| [0, i, i + 1])
            .collect(),
    }
}

/// A rectangle of full sides in the x-y plane of a frame, cloth coordinates from its middle.
pub fn plate(at: Axes, w: f64, h: f64) -> Mesh {
    let shares = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)];
    let mut mesh =
        polygon_mesh(&shares.map(|(s, t)| at.origin_m + at.x * (s * w) + at.y * (t * h)));
    mesh.uvs_cm = shares
        .map(|(s, t)| 100.0 * Vec2::new((s * w) as f32, (t * h) as f32))
        .to_vec();
    mesh
}

/// A disk in the x-y plane of a frame.
pub fn disk_mesh(at: Axes, radius_m: f64) -> Mesh {
    let rim = (0..256).map(|i| (f64::from(i) / 256.0 * std::f64::consts::TAU).sin_cos());
    polygon_mesh(
        &rim.map(|(s, c)| at.origin_m + (at.x * c + at.y * s) * radius_m)
            .collect::<Vec<_>>(),
    )
}

/// A sphere about the origin in flat facets, `n` from pole to pole, without the cap nearer than
/// `open_rad` to the pole +y. `smooth` gives it the sphere's normals.
pub fn sphere(radius_m: f64, n: u32, open_rad: f64, smooth: bool) -> Mesh {
    let mut m = Mesh::default();
    let span = std::f64::consts::PI - open_rad;
    let at = |i: u32, j: u32| {
        let (st, ct) = (open_rad + span * f64::from(i) / f64::from(n)).sin_cos();
        let (sp, cp) = (std::f64::consts::PI * f64::from(j) / f64::from(n)).sin_cos();
        DVec3::new(st * cp, ct, st * sp)
    };
    for i in 0..n {
        for j in 0..2 * n {
            let corners = [at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)];
            let normal = corners.iter().sum::<DVec3>().normalize();
            let first = m.positions_m.len() as u32;
            for c in corners {
                m.positions_m.push((c * radius_m).as_vec3());
                m.normals.push(if smooth {
                    c.as_vec3()
                } else {
                    normal.as_vec3()
                });
                m.uvs_cm.push(Vec2::ZERO);
            }
            // At a pole one of the two has no area.
            m.triangles
                .extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
        }
    }
    m
}

/// Points and weights of five-point Gauss-Legendre over 0..1 (Abramowitz and Stegun table 25.4).
pub const GAUSS: [(f64, f64); 5] = [
    (0.046_910_077_030_668, 0.118_463_442_528_095),
    (0.230_765_344_947_158, 0.239_314_335_249_683),
    (0.5, 0.284_444_444_444_444),
    (0.769_234_655_052_842, 0.239_314_335_249_683),
    (0.953_089_922_969_332, 0.118_463_442_528_095),
];
