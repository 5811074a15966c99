//! The stand-in: a figure, what it wears, and the flat swatch.
//!
//! A [`Model`] is a set of named parts (triangles, normals, UVs in centimetres
//! along the cloth) with named body points and blocking capsules. It comes from
//! a [`StandIn`] posed and dressed, or from a mesh file ([`import_obj`],
//! [`import_gltf`]). The frame is the figure's own: metres, origin on the floor
//! under the body, +y up, facing +z, +x to the camera's right when the figure
//! faces the camera.

mod body;
pub mod cloth;
pub mod eye;
mod foot;
pub mod garment;
mod garments;
mod girth;
pub mod hair;
mod hand;
pub mod head;
mod hull;
mod import;
mod limbs;
mod obj;
pub mod paint;
mod person;
pub mod plane;
mod points;
mod pose;
mod pose_file;
mod remesh;
mod rest;
pub mod sdf;
mod seat;
mod shapes;
mod skeleton;
pub mod skin_mesh;
mod stand_in;
mod stitch;
mod store;
mod surface;
pub mod swatch;
pub mod tailor;
mod unwrap;

pub use body::{Body, Joints, Region};
pub use foot::Shoes;
pub use garments::{Garment, Wearing};
pub use girth::Measures;
pub use import::{Imported, LoadOptions, Scale, import_gltf, import_obj, load_obj};
pub use obj::write_obj;
pub use person::{Build, Person, Shod, Size};
pub use points::{body_capsules, body_points, front_of};
pub use pose::{ArmAngles, ArmPose, LegPose, MeasuredFrom, Movement, Pose, Reach, WristTarget};
pub use pose_file::PoseError;
pub use sdf::Field;
pub use seat::Block;
pub use stand_in::{FIGURE_VERSION, FigureFile, Iris, MeshFile, StandIn, UnknownLook};
pub use store::{pack, unpack};
pub use surface::{Mesh, extract};

use glam::{Vec2, Vec3};
use std::collections::BTreeMap;

/// What a part is made of, so that the scene can give it a material.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// Skin, or the mannequin's shell.
    Skin,
    /// The garment: takes the setup's fabric.
    Cloth,
    /// Eyeballs.
    Eye,
    /// Hair.
    Hair,
    /// Shoes.
    Shoe,
    /// A stand or base plate.
    Stand,
    /// Buttons, belts, zips: of its own paint.
    Trim,
    /// Anything else.
    Other,
}

impl Role {
    /// The role a part's name asks for, by its first word: "skin", "skin.hands".
    pub fn from_name(name: &str) -> Self {
        let word: String = name
            .chars()
            .take_while(|c| c.is_ascii_alphabetic())
            .collect::<String>()
            .to_lowercase();
        match word.as_str() {
            "skin" | "body" | "head" | "face" | "hand" | "hands" => Self::Skin,
            "cloth" | "dress" | "skirt" | "shirt" | "trousers" | "jacket" | "coat" | "jumper"
            | "garment" | "swatch" => Self::Cloth,
            "eye" | "eyes" => Self::Eye,
            "hair" => Self::Hair,
            "shoe" | "shoes" => Self::Shoe,
            "stand" | "base" | "seat" => Self::Stand,
            "trim" | "button" | "buttons" | "belt" | "buckle" | "zip" => Self::Trim,
            _ => Self::Other,
        }
    }
}

/// One named piece of a model. All vertex arrays have the same length.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Name in the file, e.g. "skin" or "dress".
    pub name: String,
    /// What it is made of.
    pub role: Role,
    /// Vertex positions in the figure's frame, in metres.
    pub positions_m: Vec<Vec3>,
    /// Unit normals, outward.
    pub normals: Vec<Vec3>,
    /// Place on the cloth in centimetres: x along the weft, y along the warp
    /// (grain); right-handed seen from outside.
    pub uvs_cm: Vec<Vec2>,
    /// Vertex indices, counter-clockwise seen from outside.
    pub triangles: Vec<[u32; 3]>,
    /// Per vertex: linear sRGB reflectance, and gloss from 0 (matt) to 1 (oily, wet). Empty where
    /// the part takes its role's own colour.
    pub paint: Vec<[f32; 4]>,
}

/// A figure, a garment or both.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Model {
    /// Shown to people.
    pub title: String,
    /// The pieces.
    pub parts: Vec<Part>,
    /// Named places on the body that lights aim at and meters stand at.
    pub points: BodyPoints,
    /// Capsules that stand for the body when things must not be placed inside it.
    pub blocking: Vec<Capsule>,
}

impl Model {
    /// Total number of triangles.
    pub fn triangle_count(&self) -> usize {
        self.parts.iter().map(|p| p.triangles.len()).sum()
    }
}

/// Named places on the body, in metres in the figure's frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BodyPoints(pub(crate) BTreeMap<String, Vec3>);

impl BodyPoints {
    /// The names that every figure has, from the crown down.
    pub const NAMES: [&'static str; 11] = [
        "eyes",
        "face",
        "left-cheek",
        "right-cheek",
        "chin",
        "chest",
        "waist",
        "hip",
        "hem",
        "knee",
        "floor",
    ];

    /// The place of that name, if the figure has it.
    pub fn get(&self, name: &str) -> Option<Vec3> {
        self.0.get(name).copied()
    }

    /// Puts a place under a name.
    pub fn put(&mut self, name: &str, place_m: Vec3) {
        self.0.insert(name.to_owned(), place_m);
    }

    /// Takes over another's places: they replace those of the same name.
    pub fn take_over(&mut self, other: &Self) {
        let all = other.0.iter().map(|(n, p)| (n.clone(), *p));
        self.0.extend(all);
    }

    /// All names, in alphabetical order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }
}

impl FromIterator<(String, Vec3)> for BodyPoints {
    fn from_iter<I: IntoIterator<Item = (String, Vec3)>>(pairs: I) -> Self {
        Self(pairs.into_iter().collect())
    }
}

/// All points within `radius_m` of the segment from `a_m` to `b_m`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capsule {
    /// One end of the axis, in metres.
    pub a_m: Vec3,
    /// The other end.
    pub b_m: Vec3,
    /// Radius in metres.
    pub radius_m: f32,
}

impl Capsule {
    /// Distance from `p_m` to the surface, negative inside, in metres.
    pub fn distance_m(&self, p_m: Vec3) -> f32 {
        let axis = self.b_m - self.a_m;
        let t = (p_m - self.a_m).dot(axis) / axis.length_squared().max(1e-12);
        (p_m - self.a_m - axis * t.clamp(0.0, 1.0)).length() - self.radius_m
    }
}

/// Why a figure or garment could not be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FigureError {
    /// Not OBJ, or broken OBJ.
    #[error("this is not a readable OBJ file: {0}")]
    Obj(String),
    /// Not glTF, or broken glTF.
    #[error("this is not a readable glTF file: {0}")]
    Gltf(String),
    /// The file cannot be read at all.
    #[error("the mesh file cannot be read: {0}")]
    Unreadable(String),
    /// Skin with holes in it lets light in.
    #[error(
        "part \"{part}\" has holes: {edges} edges have a face on one side alone, the highest at \
         {:.3}, {:.3}, {:.3} m; close them and export again, or say open = true in the figure's data \
         file where the garment hides them", at_m[0], at_m[1], at_m[2]
    )]
    Holes {
        /// Part they are in.
        part: String,
        /// How many open edges.
        edges: usize,
        /// Where the highest is.
        at_m: [f32; 3],
    },
    /// No triangles in it.
    #[error("the mesh file holds no faces; export the mesh itself, not only curves or points")]
    Empty,
    /// More data than a figure can sensibly have.
    #[error("{what}: {count} is more than the {limit} allowed; thin the mesh out and export again")]
    TooLarge {
        /// What there is too much of.
        what: &'static str,
        /// How many there are.
        count: u64,
        /// How many are allowed.
        limit: u64,
    },
    /// A number that is no number.
    #[error("part \"{part}\": a vertex is not finite; repair the mesh and export again")]
    NotFinite {
        /// Part it is in.
        part: String,
    },
    /// A face names a vertex that is not there.
    #[error("part \"{part}\": a face uses a vertex that the file does not hold")]
    OutOfRange {
        /// Part it is in.
        part: String,
    },
    /// Far from the size of a person.
    #[error(
        "the model is {size_m:.3} m across, which is no size for a figure; \
         give the unit it was made in (the loader takes metres unless told otherwise)"
    )]
    Size {
        /// Largest extent in metres.
        size_m: f64,
    },
    /// The data file beside the model is wrong.
    #[error("{0}")]
    Data(String),
}
