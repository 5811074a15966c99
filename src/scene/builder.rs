//! Puts a scene together from meshes, surfaces, emissions and meters.

use super::accel::TreeShelf;
use super::cloth::{Dye, Shelf};
use super::materials::Surface;
use super::records::*;
use super::{Flat, Scene};
use crate::fabric::{Fabric, FabricError};
use crate::optics::table::{Emission, Face, Pattern};
/// Frames in the room are the setup's.
pub use crate::setup::Frame as Axes;
use glam::{DVec3, Vec2, Vec3};
use naga_rust_rt::Vec3 as KernelVec3;
use rayon::prelude::*;
use std::path::Path;

/// A triangle mesh in the room. Normals and cloth coordinates are one to a corner.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mesh {
    /// Corners, metres.
    pub positions_m: Vec<Vec3>,
    /// Unit normals of the smooth surface.
    pub normals: Vec<Vec3>,
    /// Cloth coordinates, cm.
    pub uvs_cm: Vec<Vec2>,
    /// Corner numbers.
    pub triangles: Vec<[u32; 3]>,
}

impl Mesh {
    /// Unit direction of the weft at each corner of the mesh: of the triangles about it, each by its area. A
    /// triangle's own direction jumps to its neighbour's where cloth is sheared. Zero where nothing tells.
    pub fn wefts(&self) -> Vec<Vec3> {
        let mut sums = vec![Vec3::ZERO; self.positions_m.len()];
        for t in &self.triangles {
            let [a, b, c] = t.map(|i| i as usize);
            let [edge_b, edge_c] = [b, c].map(|i| self.positions_m[i] - self.positions_m[a]);
            let [uv_b, uv_c] = [b, c].map(|i| self.uvs_cm[i] - self.uvs_cm[a]);
            let turned = uv_b.perp_dot(uv_c).signum();
            let along = (edge_b * uv_c.y - edge_c * uv_b.y) * turned;
            let weft = along.normalize_or_zero() * edge_b.cross(edge_c).length();
            for i in [a, b, c] {
                sums[i] += weft;
            }
        }
        let corners = sums.iter().zip(&self.normals);
        corners
            .map(|(sum, n)| (*sum - *n * sum.dot(*n)).normalize_or_zero())
            .collect()
    }
}

/// A normal map: `xyz` of unit normals over the cloth, rows from v = 0 up, repeated.
#[derive(Debug, Clone, PartialEq)]
pub struct Relief {
    /// Texels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Width of one texel on the cloth.
    pub texel_cm: f32,
    /// Normals, x along u, y along v.
    pub normals: Vec<[f32; 3]>,
}

/// A pinhole or thin-lens camera. Lengths in metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    /// Middle of the lens.
    pub centre_m: DVec3,
    /// Unit, to the picture's right.
    pub right: DVec3,
    /// Unit, to the picture's top.
    pub up: DVec3,
    /// Unit, out of the camera.
    pub forward: DVec3,
    /// Lens to sensor.
    pub image_distance_m: f64,
    /// Lens to the plane of focus.
    pub focus_distance_m: f64,
    /// Radius of the opening; 0 for a pinhole.
    pub radius_m: f64,
    /// The part of the sensor that makes the picture.
    pub picture_m: [f64; 2],
    /// The picture's middle off the axis, on the sensor, as it appears right way up.
    pub shift_m: [f64; 2],
    /// Width and height of the picture.
    pub pixels: [u32; 2],
}

/// Corners or triangles that are worth another core.
pub(super) const AT_ONCE: usize = 4096;

/// Collects the parts of a [`Scene`].
#[derive(Debug, Clone, Default)]
pub struct SceneBuilder {
    scene: Scene,
    /// Of the triangles that have no tree yet.
    corners: Vec<[Vec3; 3]>,
    passing: Vec<bool>,
    surfaces: Vec<Surface>,
    /// Triangles that the scene's tree holds already.
    settled: u32,
    /// Where cloths are known from.
    shelf: Shelf,
    /// Where trees are.
    trees: TreeShelf,
}

impl SceneBuilder {
    /// A scene with nothing in it: bounces before roulette 6, no limit that matters after.
    pub fn new() -> Self {
        let mut builder = Self::default();
        let p = &mut builder.scene.params;
        p.bounces_before_roulette = 6;
        p.bounce_limit = 4096;
        p.branches = 1;
        p.surround_layer = NOTHING.0;
        p.seed = 1;
        builder
    }

    /// Takes cloths that were worked out before from a shelf, and puts new ones there; trees likewise.
    #[must_use]
    pub fn with_shelf(self, shelf: Shelf) -> Self {
        let trees = TreeShelf::new(shelf.folder().map(Path::to_owned));
        Self {
            shelf,
            trees,
            ..self
        }
    }

    /// Makes room for so many more corners, all of them perhaps painted, and triangles.
    pub(super) fn reserve(&mut self, corners: usize, triangles: usize) {
        // And for what the room, a swatch and tables add: grown for those, all would be copied.
        self.scene.vertices.reserve(corners + ROOM);
        self.scene.texels.reserve(corners + ROOM);
        self.scene.triangles.reserve(triangles + ROOM);
        self.corners.reserve(triangles + ROOM);
        self.passing.reserve(triangles + ROOM);
    }

    /// A copy with room for what is yet to come, where a plain one would be copied again for the first corner.
    pub(super) fn with_room(&self) -> Self {
        let scene = &self.scene;
        Self {
            scene: Scene {
                vertices: roomy(&scene.vertices),
                triangles: roomy(&scene.triangles),
                texels: roomy(&scene.texels),
                materials: scene.materials.clone(),
                emitters: scene.emitters.clone(),
                receptors: scene.receptors.clone(),
                accel: scene.accel.clone(),
                flats: scene.flats.clone(),
                layers: scene.layers.clone(),
                mix: scene.mix.clone(),
                ..*scene
            },
            corners: self.corners.clone(),
            passing: self.passing.clone(),
            surfaces: self.surfaces.clone(),
            settled: self.settled,
            shelf: self.shelf.clone(),
            trees: self.trees.clone(),
        }
    }

    /// Adds a surface; the answer numbers it.
    pub fn surface(&mut self, surface: Surface) -> u32 {
        let same = self.surfaces.iter().enumerate().position(|(i, s)| {
            let m = &self.scene.materials[i];
            *s == surface && [m.relief, m.cloth, m.paint] == [NOTHING.0; 3] && m.bounce_columns == 0
        });
        if let Some(at) = same {
            return at as u32;
        }
        let record = surface.record(&mut self.scene.texels);
        self.scene.materials.push(record);
        self.surfaces.push(surface);
        self.scene.materials.len() as u32 - 1
    }

    /// Adds a surface with a normal map of its own.
    pub fn surface_with_relief(&mut self, surface: Surface, relief: &Relief) -> u32 {
        let mut record = surface.record(&mut self.scene.texels);
        record.relief = self.scene.texels.len() as u32;
        record.relief_width = relief.width;
        record.relief_height = relief.height;
        record.relief_texel_cm = relief.texel_cm;
        self.scene
            .texels
            .extend(relief.normals.iter().map(|n| [n[0], n[1], n[2], 0.0]));
        self.scene.materials.push(record);
        self.surfaces.push(surface);
        self.scene.materials.len() as u32 - 1
    }

    /// Adds a cloth.
    ///
    /// # Errors
    /// What reading the fabric's file finds too.
    pub fn cloth(&mut self, fabric: &Fabric, dye: Dye) -> Result<u32, FabricError> {
        let cloth = self.shelf.add(fabric, dye, &mut self.scene.texels)?;
        Ok(self.cloth_record(&cloth))
    }

    /// As [`Self::cloth`], from what was kept of the same cloth at the same place in another scene.
    pub(super) fn cloth_kept(
        &mut self,
        fabric: &Fabric,
        dye: Dye,
        kept: &super::ground::Cloths,
    ) -> Result<u32, FabricError> {
        let cloth = kept.add(&self.shelf, fabric, dye, &mut self.scene.texels)?;
        Ok(self.cloth_record(&cloth))
    }

    fn cloth_record(&mut self, cloth: &super::cloth::ClothRecord) -> u32 {
        self.scene.materials.push(cloth.material);
        self.surfaces.push(Surface::Sheet {
            back: cloth.survey.mean_colour.map(|c| c as f32),
            through: [0.0; 3],
            straight: cloth.material.straight,
        });
        self.scene.materials.len() as u32 - 1
    }

    /// Adds a mesh painted corner by corner: linear reflectance, and gloss from 0 (matt) to 1 (wet or
    /// oily). For surfaces that take paint; without any, as [`Self::mesh`].
    ///
    /// # Panics
    /// When the mesh's lists and the paint do not fit together.
    pub fn mesh_painted(&mut self, mesh: &Mesh, surface: u32, paint: &[[f32; 4]]) {
        if paint.is_empty() {
            return self.mesh(mesh, surface);
        }
        assert_eq!(mesh.positions_m.len(), paint.len(), "one paint a corner");
        let of = self.surfaces[surface as usize];
        let paint = paint.par_iter().with_min_len(AT_ONCE);
        let painted = self.with_corners(surface, paint.map(|p| of.paint(*p)));
        self.add(mesh, painted);
    }

    /// Adds a mesh with a surface. Where it is a cloth, its threads run on from triangle to triangle.
    ///
    /// # Panics
    /// When the mesh's lists do not fit together.
    pub fn mesh(&mut self, mesh: &Mesh, surface: u32) {
        if self.scene.materials[surface as usize].cloth == NOTHING.0 {
            return self.add(mesh, surface);
        }
        let wefts = mesh.wefts();
        let wefts = wefts.par_iter().with_min_len(AT_ONCE);
        let woven = self.with_corners(surface, wefts.map(|w| [w.x, w.y, w.z, 0.0]));
        self.add(mesh, woven);
    }

    /// A surface's like with something told at each corner of the next mesh.
    fn with_corners(
        &mut self,
        surface: u32,
        told: impl IndexedParallelIterator<Item = [f32; 4]>,
    ) -> u32 {
        let first_vertex = self.scene.vertices.len() as u32;
        // The number that would stand for nothing told.
        if (self.scene.texels.len() as u32).wrapping_sub(first_vertex) == NOTHING.0 {
            self.scene.texels.push([0.0; 4]);
        }
        let mut record = self.scene.materials[surface as usize];
        record.paint = (self.scene.texels.len() as u32).wrapping_sub(first_vertex);
        self.scene.texels.par_extend(told);
        self.scene.materials.push(record);
        self.surfaces.push(self.surfaces[surface as usize]);
        self.scene.materials.len() as u32 - 1
    }

    fn add(&mut self, mesh: &Mesh, surface: u32) {
        assert_eq!(
            mesh.positions_m.len(),
            mesh.normals.len(),
            "one normal a corner"
        );
        assert_eq!(
            mesh.positions_m.len(),
            mesh.uvs_cm.len(),
            "one coordinate a corner"
        );
        let first = self.scene.vertices.len() as u32;
        let places = mesh.positions_m.par_iter().zip(&mesh.normals);
        let vertices = places.zip(&mesh.uvs_cm).with_min_len(AT_ONCE);
        self.scene
            .vertices
            .par_extend(vertices.map(|((p, n), uv)| Vertex {
                position: record(*p),
                weft_cm: uv.x,
                normal: record(*n),
                warp_cm: uv.y,
            }));
        let passes = self.surfaces[surface as usize].passes_straight();
        let many = self.passing.len() + mesh.triangles.len();
        self.passing.resize(many, passes);
        let triangles = || mesh.triangles.par_iter().with_min_len(AT_ONCE);
        self.corners
            .par_extend(triangles().map(|t| t.map(|i| mesh.positions_m[i as usize])));
        self.scene
            .triangles
            .par_extend(triangles().map(|t| Triangle {
                a: first + t[0],
                b: first + t[1],
                c: first + t[2],
                material: surface,
            }));
    }

    /// Adds a diffuse flat whose bounced light is found beforehand, in cells of about `cell_m`. The
    /// mesh's cloth coordinates must run evenly, in cm, over a rectangle; `at` gives the place and
    /// unit normal (lit side) of such a coordinate. Nothing changes in what is seen until
    /// [`crate::render::bounce::fill`] fills the cells.
    pub fn flat(
        &mut self,
        mesh: &Mesh,
        reflectance: [f32; 3],
        cell_m: f64,
        at: impl Fn(Vec2) -> (Vec3, Vec3),
    ) {
        let (low, high) = mesh
            .uvs_cm
            .iter()
            .fold((Vec2::INFINITY, Vec2::NEG_INFINITY), |(l, h), uv| {
                (l.min(*uv), h.max(*uv))
            });
        let size_cm = high - low;
        let cell_cm = (100.0 * cell_m as f32)
            .min(size_cm.x)
            .min(size_cm.y)
            .max(0.5);
        let count = |length: f32| (length / cell_cm).ceil().max(1.0) as u32;
        let (columns, rows) = (count(size_cm.x), count(size_cm.y));
        let mut record = Surface::Diffuse(reflectance).record(&mut self.scene.texels);
        record.bounce_columns = columns;
        record.bounce_rows = rows;
        record.bounce_cell_cm = cell_cm;
        record.bounce_weft_cm = low.x;
        record.bounce_warp_cm = low.y;
        self.scene.materials.push(record);
        self.surfaces.push(Surface::Diffuse(reflectance));
        let material = self.scene.materials.len() as u32 - 1;
        let cells = (0..rows)
            .flat_map(|r| (0..columns).map(move |c| (r, c)))
            .map(|(r, c)| {
                // The last row and column are cut at the edge.
                let from = low + Vec2::new(c as f32, r as f32) * cell_cm;
                at(0.5 * (from + (from + cell_cm).min(high)))
            })
            .collect();
        self.scene.flats.push(Flat {
            material,
            cells,
            reflectance,
        });
        self.mesh(mesh, material);
    }

    /// Adds a film layer.
    pub fn layer(&mut self, name: &str) -> u32 {
        self.scene.layers.push(name.to_string());
        self.scene.mix.push([0.2126, 0.7152, 0.0722]);
        self.scene.layers.len() as u32 - 1
    }

    /// Adds an emitting face at `axes` (a disk or rectangle faces `z`; a tube lies along `x`),
    /// counted in `layer`. Give a face that has something behind it a body too ([`Self::bodied_emitter`]).
    pub fn emitter(&mut self, emission: &Emission, axes: Axes, layer: u32) {
        self.scene.params.bare = 1;
        self.bodied_emitter(emission, axes, layer);
    }

    /// As [`Self::emitter`], for a face with a mesh close behind it that hides all that it hides.
    pub fn bodied_emitter(&mut self, emission: &Emission, axes: Axes, layer: u32) {
        let (shape, half_x, half_y) = match emission.face {
            Face::Disk { radius_m } | Face::Polygon { radius_m, .. } => {
                (SHAPE_DISK, radius_m, radius_m)
            }
            Face::Cap { radius_m, chord_m } => (SHAPE_CAP, radius_m, chord_m),
            Face::Rect { half_x_m, half_y_m } => (SHAPE_RECT, half_x_m, half_y_m),
            Face::Globe { radius_m } => (SHAPE_GLOBE, radius_m, radius_m),
            Face::Tube {
                half_length_m,
                radius_m,
            } => (SHAPE_TUBE, half_length_m, radius_m),
        };
        let mut e = Emitter {
            centre: record(axes.origin_m.as_vec3()),
            shape: shape.0,
            axis_x: record(axes.x.as_vec3()),
            half_x_m: half_x as f32,
            axis_y: record(axes.y.as_vec3()),
            half_y_m: half_y as f32,
            normal: record(axes.z.as_vec3()),
            area_sqm: emission.face.area_m2() as f32,
            layer,
            candidates: emission.candidates(),
            luminance_per_lm: 1.0,
            weight: 1.0,
            table_kind: TABLE_UNIFORM.0,
            sine_limit: emission.sine_limit() as f32,
            sides: match emission.face {
                Face::Polygon { sides, .. } => sides,
                _ => 0,
            },
            screen: NOTHING.0,
            ..Emitter::default()
        };
        match &emission.pattern {
            Pattern::Uniform(l) => e.luminance_per_lm = *l as f32,
            Pattern::Radial {
                radii,
                thetas,
                phis,
                values,
            } => {
                e.table_kind = TABLE_RADIAL.0;
                e.cells_place = *radii as u32;
                e.cells_theta = *thetas as u32;
                e.cells_phi = *phis as u32;
                e.table = self.table(values);
            }
            Pattern::Quarter {
                columns,
                rows,
                thetas,
                phis,
                values,
            } => {
                e.table_kind = TABLE_QUARTER.0;
                e.cells_place = *columns as u32;
                e.cells_place_y = *rows as u32;
                e.cells_theta = *thetas as u32;
                e.cells_phi = *phis as u32;
                e.table = self.table(values);
            }
            Pattern::Gate {
                luminance,
                distance_m,
                radius_m,
                soft_m,
            } => {
                e.table_kind = TABLE_GATE.0;
                e.luminance_per_lm = *luminance as f32;
                e.gate_distance_m = *distance_m as f32;
                e.gate_radius_m = *radius_m as f32;
                e.gate_soft_m = *soft_m as f32;
            }
        }
        if let Some(screen) = &emission.screen {
            e.screen = self.table(&screen.values);
            e.screen_theta = screen.thetas as u32;
            e.screen_phi = screen.phis as u32;
        }
        self.scene.emitters.push(e);
    }

    fn table(&mut self, values: &[f32]) -> u32 {
        let first = self.scene.texels.len() as u32;
        self.scene.texels.extend(values.chunks(4).map(|c| {
            let mut four = [0.0; 4];
            four[..c.len()].copy_from_slice(c);
            four
        }));
        first
    }

    /// Adds a meter at a point (metres), facing a unit direction, with a dome or a flat receptor.
    pub fn receptor(&mut self, position_m: DVec3, facing: DVec3, dome: bool) {
        self.scene.receptors.push(Receptor {
            position: record(position_m.as_vec3()),
            kind: if dome {
                RECEPTOR_DOME.0
            } else {
                RECEPTOR_FLAT.0
            },
            facing: record(facing.normalize().as_vec3()),
            spare: 0.0,
        });
    }

    /// Radiance of everything beyond the scene, in a layer of its own.
    pub fn surround(&mut self, radiance: [f32; 3], layer: u32) {
        self.scene.params.surround = KernelVec3 {
            x: radiance[0],
            y: radiance[1],
            z: radiance[2],
        };
        self.scene.params.surround_layer = layer;
    }

    /// The camera.
    pub fn lens(&mut self, lens: &Lens) {
        self.scene.set_lens(lens);
    }

    /// Bounces traced before roulette may end a path, and the most traced at all.
    pub fn bounces(&mut self, before_roulette: u32, limit: u32) {
        self.scene.params.bounces_before_roulette = before_roulette;
        self.scene.params.bounce_limit = limit;
    }

    /// Seed of the samples.
    pub fn seed(&mut self, seed: u32) {
        self.scene.params.seed = seed;
    }

    /// Builds the tree over all that was added so far. What is added later gets a tree beside it, so a
    /// clone of this builder takes lights and boards at little cost. What is seen stays the same.
    pub fn settle(&mut self) {
        self.scene
            .accel
            .grow(&self.corners, &self.passing, self.settled, &self.trees);
        self.settled = self.scene.triangles.len() as u32;
        self.corners.clear();
        self.passing.clear();
    }

    /// The finished scene, its tree built.
    pub fn build(mut self) -> Scene {
        self.settle();
        let p = &mut self.scene.params;
        p.layer_count = self.scene.layers.len() as u32;
        p.emitter_count = self.scene.emitters.len() as u32;
        p.point_count = self.scene.receptors.len() as u32;
        p.node_count = self.scene.accel.nodes() as u32;
        self.scene
    }
}

/// What lights, boards and a patch may add, and tables and cells besides.
const ROOM: usize = 1 << 16;

fn roomy<T: Clone + Send + Sync>(of: &[T]) -> Vec<T> {
    let mut copy = Vec::with_capacity(of.len() + ROOM);
    copy.par_extend(of.par_iter().with_min_len(AT_ONCE).cloned());
    copy
}

/// A vector as the kernels hold it.
pub fn record(v: Vec3) -> KernelVec3<f32> {
    KernelVec3 {
        x: v.x,
        y: v.y,
        z: v.z,
    }
}
