//! The kernels over a list of texels.

use naga_rust_rt::{Scalar, Vec3, Vec4};
use swatchlight::scene::kernels::Kernels;
use swatchlight::scene::records::*;

/// Texels and nothing else: no scene, nothing is hit; a texel that is not there is nought.
pub struct Texels(pub Vec<[f32; 4]>);

impl Kernels for Texels {
    fn params(&self) -> Params {
        Params::default()
    }
    fn load_vertex(&self, _: Scalar<u32>) -> Vertex {
        Vertex::default()
    }
    fn load_triangle(&self, _: Scalar<u32>) -> Triangle {
        Triangle::default()
    }
    fn load_material(&self, _: Scalar<u32>) -> Material {
        Material::default()
    }
    fn load_emitter(&self, _: Scalar<u32>) -> Emitter {
        Emitter::default()
    }
    fn load_receptor(&self, _: Scalar<u32>) -> Receptor {
        Receptor::default()
    }
    fn load_texel(&self, index: Scalar<u32>) -> Vec4<f32> {
        let [x, y, z, w] = self.0.get(index.0 as usize).copied().unwrap_or_default();
        Vec4 { x, y, z, w }
    }
    fn trace(&self, _: Vec3<f32>, _: Vec3<f32>, _: Scalar<f32>, _: Scalar<u32>) -> Hit {
        Hit::default()
    }
    fn deposit(&self, _: Scalar<u32>, _: Vec3<f32>) {}
    fn describe(&self, _: Vec3<f32>, _: Vec3<f32>, _: Scalar<f32>) {}
    fn root(&self, x: Scalar<f32>) -> Scalar<f32> {
        Scalar(x.0.sqrt())
    }
    fn reverse(&self, x: Scalar<u32>) -> Scalar<u32> {
        Scalar(x.0.reverse_bits())
    }
}
