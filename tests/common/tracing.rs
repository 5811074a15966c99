//! Small scenes and readings for tests.

use glam::{DVec3, Vec2, Vec3};
use swatchlight::render::{cpu::Cpu, executor::Executor};
use swatchlight::scene::Scene;
use swatchlight::scene::builder::{Axes, Mesh, SceneBuilder};

pub fn builder() -> SceneBuilder {
    SceneBuilder::new()
}

/// A frame at a point whose z faces a unit direction.
pub fn facing(origin_m: DVec3, z: DVec3) -> Axes {
    let x = z.any_orthonormal_vector();
    Axes { origin_m, x, y: z.cross(x), z }
}

/// Value and standard error of one layer's luminance.
#[derive(Debug, Clone, Copy)]
pub struct Reading {
    pub value: f64,
    pub error: f64,
}

impl Reading {
    /// Within a relative tolerance, which must itself be at least three standard errors wide.
    pub fn is(&self, expected: f64, relative: f64) {
        let allowed = relative * expected.abs();
        assert!(3.0 * self.error <= allowed, "too noisy to tell: {self:?}, allowed {allowed}");
        assert!((self.value - expected).abs() <= allowed, "{self:?} is not {expected} within {relative}");
    }
}

/// `[receptor][layer]` from 1024-sample blocks on the CPU.
pub fn read(scene: Scene, blocks: u32) -> Vec<Vec<Reading>> {
    let mut cpu = Cpu::new(0).unwrap();
    read_with(&mut cpu, &scene, blocks)
}

pub fn read_with(executor: &mut dyn Executor, scene: &Scene, blocks: u32) -> Vec<Vec<Reading>> {
    executor
        .read(scene, 0, blocks)
        .unwrap()
        .into_iter()
        .map(|receptor| {
            (0..scene.layers.len())
                .map(|layer| {
                    let values: Vec<f64> = receptor.iter().map(|b| b[layer][1]).collect();
                    let n = values.len() as f64;
                    let mean = values.iter().sum::<f64>() / n;
                    let var = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
                    Reading { value: mean, error: (var / n).sqrt() }
                })
                .collect()
        })
        .collect()
}

/// A latitude-longitude sphere about the origin with normals outward.
pub fn sphere(radius: f32, n: u32) -> Mesh {
    let mut m = Mesh::default();
    for i in 0..=n {
        for j in 0..=2 * n {
            let theta = std::f32::consts::PI * i as f32 / n as f32;
            let phi = std::f32::consts::PI * j as f32 / n as f32;
            let d = Vec3::new(theta.sin() * phi.cos(), theta.cos(), theta.sin() * phi.sin());
            m.positions_m.push(d * radius);
            m.normals.push(d);
            m.uvs_cm.push(Vec2::ZERO);
        }
    }
    let row = 2 * n + 1;
    for i in 0..n {
        for j in 0..2 * n {
            let a = i * row + j;
            m.triangles.push([a, a + 1, a + row]);
            m.triangles.push([a + 1, a + row + 1, a + row]);
        }
    }
    m
}
