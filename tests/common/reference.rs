//! The kernels over the plainest platform there can be: every ray tries every triangle. What the
//! executors' trees find is held against it.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use glam::Vec3;
use naga_rust_rt::{Scalar, Vec3 as KernelVec3, Vec4 as KernelVec4};
use std::cell::{Cell, RefCell};
use swatchlight::render::film::Seen;
use swatchlight::scene::Scene;
use swatchlight::scene::kernels::Kernels;
use swatchlight::scene::records::*;

pub struct Reference<'a> {
    scene: &'a Scene,
    layers: RefCell<Vec<[f32; 3]>>,
    seen: Cell<Seen>,
}

impl<'a> Reference<'a> {
    pub fn new(scene: &'a Scene) -> Self {
        Self {
            scene,
            layers: RefCell::new(vec![[0.0; 3]; scene.layers.len()]),
            seen: Cell::new(Seen::default()),
        }
    }

    /// One pixel's sums of light, by layer, and what it sees first.
    pub fn pixel(scene: &'a Scene, x: u32, y: u32, samples: u32) -> (Vec<[f32; 3]>, Seen) {
        let platform = Self::new(scene);
        for index in 0..samples {
            platform.camera_path(Scalar(x), Scalar(y), Scalar(index));
        }
        (platform.layers.into_inner(), platform.seen.get())
    }
}

fn vector(v: KernelVec3<f32>) -> Vec3 {
    Vec3::new(v.x, v.y, v.z)
}

impl Kernels for Reference<'_> {
    fn params(&self) -> Params {
        self.scene.params
    }
    fn load_vertex(&self, index: Scalar<u32>) -> Vertex {
        self.scene.vertices[index.0 as usize]
    }
    fn load_triangle(&self, index: Scalar<u32>) -> Triangle {
        self.scene.triangles[index.0 as usize]
    }
    fn load_material(&self, index: Scalar<u32>) -> Material {
        self.scene.materials[index.0 as usize]
    }
    fn load_emitter(&self, index: Scalar<u32>) -> Emitter {
        self.scene.emitters[index.0 as usize]
    }
    fn load_receptor(&self, index: Scalar<u32>) -> Receptor {
        self.scene.receptors[index.0 as usize]
    }
    fn load_texel(&self, index: Scalar<u32>) -> KernelVec4<f32> {
        let [x, y, z, w] = self.scene.texels[index.0 as usize];
        KernelVec4 { x, y, z, w }
    }
    // Moeller and Trumbore 1997, with the executors' margins.
    fn trace(
        &self,
        origin: KernelVec3<f32>,
        direction: KernelVec3<f32>,
        t_max: Scalar<f32>,
        mode: Scalar<u32>,
    ) -> Hit {
        let (origin, direction) = (vector(origin), vector(direction));
        let mut best = Hit {
            t: t_max.0,
            triangle: NOTHING.0,
            u: 0.0,
            v: 0.0,
        };
        for (number, triangle) in self.scene.triangles.iter().enumerate() {
            let passing = self.scene.materials[triangle.material as usize].straight > 0.0;
            let corner = |i: u32| vector(self.scene.vertices[i as usize].position);
            let a = corner(triangle.a);
            let (edge_b, edge_c) = (corner(triangle.b) - a, corner(triangle.c) - a);
            let h = direction.cross(edge_c);
            let inverse = 1.0 / edge_b.dot(h);
            let to = origin - a;
            let u = to.dot(h) * inverse;
            let q = to.cross(edge_b);
            let v = direction.dot(q) * inverse;
            let t = edge_c.dot(q) * inverse;
            let met = u >= -1e-7 && v >= -1e-7 && u + v <= 1.000_000_2 && t > 0.0 && t < best.t;
            if met && (mode.0 == TRACE_NEAREST.0 || passing == (mode.0 == TRACE_PASSING.0)) {
                best = Hit {
                    t,
                    triangle: number as u32,
                    u,
                    v,
                };
            } else if met && mode.0 == TRACE_OPAQUE.0 && best.triangle == NOTHING.0 {
                // Tells that a sheet that passes light is in the way.
                best.u = 1.0;
            }
        }
        best
    }
    fn deposit(&self, layer: Scalar<u32>, light: KernelVec3<f32>) {
        let sum = &mut self.layers.borrow_mut()[layer.0 as usize];
        *sum = [sum[0] + light.x, sum[1] + light.y, sum[2] + light.z];
    }
    fn describe(&self, albedo: KernelVec3<f32>, normal: KernelVec3<f32>, depth_m: Scalar<f32>) {
        let mut seen = self.seen.get();
        for (sum, more) in seen.albedo.iter_mut().zip([albedo.x, albedo.y, albedo.z]) {
            *sum += more;
        }
        for (sum, more) in seen.normal.iter_mut().zip([normal.x, normal.y, normal.z]) {
            *sum += more;
        }
        seen.depth_m += depth_m.0;
        seen.met += 1.0;
        self.seen.set(seen);
    }
    fn root(&self, x: Scalar<f32>) -> Scalar<f32> {
        Scalar(x.0.sqrt())
    }
    fn reverse(&self, x: Scalar<u32>) -> Scalar<u32> {
        Scalar(x.0.reverse_bits())
    }
}
