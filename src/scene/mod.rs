//! Setup to flat arrays: triangles, acceleration structure, materials, emitters.

pub mod accel;
pub mod builder;
mod changes;
pub mod cloth;
pub mod finish;
pub mod ground;
pub mod kept;
pub mod kernels;
pub mod lights;
pub mod materials;
pub mod models;
pub mod needs;
pub mod patch;
pub mod records;
pub mod shapes;
pub mod stock;
pub mod studio;
pub mod tables;
pub mod wardrobe;

use accel::Accel;
use needs::Needs;
use records::{Emitter, Material, Params, Receptor, Triangle, Vertex};

/// All that the kernels read. Made by [`builder::SceneBuilder`] or from a setup.
#[derive(Debug, Clone, Default)]
pub struct Scene {
    /// Camera, sizes and limits.
    pub params: Params,
    /// Corners with their normals and cloth coordinates.
    pub vertices: Vec<Vertex>,
    /// Corner numbers and material of each triangle.
    pub triangles: Vec<Triangle>,
    /// Materials, as triangles number them.
    pub materials: Vec<Material>,
    /// Emitting faces; several may share a layer.
    pub emitters: Vec<Emitter>,
    /// Meters to read.
    pub receptors: Vec<Receptor>,
    /// Tables and maps: emission, directional albedo, relief.
    pub texels: Vec<[f32; 4]>,
    /// The tree over the triangles.
    pub accel: Accel,
    /// Flats whose bounced light can be found beforehand.
    pub flats: Vec<Flat>,
    /// Kernels on a GPU are compiled for a scene that has at least these.
    pub least_needs: Needs,
    /// Where the flats' cells begin among the texels, once filled.
    bounce_texels: Option<usize>,
    /// Names of the film's layers: the lights, in the setup's order.
    pub layers: Vec<String>,
    /// For each layer, what one unit of it weighs in the picture's luminance, by channel: steers
    /// the choice among lights and the estimate of noise, nothing else.
    pub mix: Vec<[f32; 3]>,
}

/// A diffuse flat in cells.
#[derive(Debug, Clone)]
pub struct Flat {
    /// Its material, its own.
    pub material: u32,
    /// Place (metres) and unit normal of each cell's middle, row by row.
    pub cells: Vec<(glam::Vec3, glam::Vec3)>,
    /// Linear reflectance.
    pub reflectance: [f32; 3],
}

/// Light that leaves a flat, `[cell][layer]`: linear sRGB radiance per lumen.
pub type FlatRadiance = Vec<Vec<[f32; 3]>>;
