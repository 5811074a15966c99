//! Figures and garments from outside: OBJ and glTF 2.0, at true scale, with what was made up told.

mod gltf;
mod obj;
mod sound;

pub(crate) use sound::smooth_normals;

use super::{BodyPoints, FigureError, Model, Part, Role};
use glam::{Vec2, Vec3};
use std::io::Read;

/// How to read a mesh file.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadOptions {
    /// Title for the model.
    pub title: String,
    /// What one of the file's units is.
    pub scale: Scale,
    /// Most triangles accepted.
    pub max_triangles: u64,
    /// Longest file accepted, in bytes.
    pub max_bytes: u64,
    /// Skin may have holes: cut off under the garment, say.
    pub open_skin: bool,
}

/// How large a model from outside is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// Metres in one of the file's units: 1 for metres, 0.01 for centimetres.
    MetresPerUnit(f64),
    /// Scaled so that it is so many metres high, feet on the floor.
    HeightM(f64),
}

impl Default for LoadOptions {
    fn default() -> Self {
        Self {
            title: String::new(),
            scale: Scale::MetresPerUnit(1.0),
            max_triangles: 8_000_000,
            max_bytes: 1 << 30,
            open_skin: false,
        }
    }
}

/// A model and what had to be made up or mended, for people.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported {
    /// The model; without body points and blocking.
    pub model: Model,
    /// One sentence each.
    pub notes: Vec<String>,
}

/// A part as its file has it.
struct RawPart {
    name: String,
    positions: Vec<Vec3>,
    normals: Option<Vec<Vec3>>,
    uvs: Option<Vec<Vec2>>,
    paint: Vec<[f32; 4]>,
    triangles: Vec<[u32; 3]>,
}

/// Reads a figure or garment from OBJ text. Parts are the file's `o` or `g`
/// names; material files are ignored; faces with more than three corners are
/// cut into fans. UVs are taken as centimetres along the cloth.
///
/// # Errors
/// Unreadable text, no faces, too much data, numbers that are not finite,
/// indices out of range, holes in skin, and a size no figure has (under 1 cm or over 20 m).
pub fn import_obj<R: Read>(reader: R, options: &LoadOptions) -> Result<Imported, FigureError> {
    let bytes = limited(reader, options)?;
    sound::finish(obj::read(&bytes, options.max_triangles)?, options)
}

/// Reads a figure or garment from glTF 2.0, text or binary. Parts are its nodes' (or meshes') names, placed as
/// its scene places them; `beside` reads the buffers of a text file that lie beside it. `COLOR_0` becomes the
/// parts' paint; materials, bones and movement are left out.
///
/// # Errors
/// As [`import_obj`], and buffers that are not there.
pub fn import_gltf<R: Read>(
    reader: R,
    beside: &dyn Fn(&str) -> Result<Vec<u8>, String>,
    options: &LoadOptions,
) -> Result<Imported, FigureError> {
    let bytes = limited(reader, options)?;
    sound::finish(gltf::read(&bytes, beside, options)?, options)
}

/// As [`import_obj`], for files of our own: skin may be open, nothing is told.
///
/// # Errors
/// As [`import_obj`].
pub fn load_obj<R: Read>(reader: R, options: &LoadOptions) -> Result<Model, FigureError> {
    let open = LoadOptions {
        open_skin: true,
        ..options.clone()
    };
    Ok(import_obj(reader, &open)?.model)
}

fn limited<R: Read>(reader: R, options: &LoadOptions) -> Result<Vec<u8>, FigureError> {
    let mut bytes = Vec::new();
    reader
        .take(options.max_bytes.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(|e| FigureError::Unreadable(e.to_string()))?;
    if bytes.len() as u64 > options.max_bytes {
        return Err(FigureError::TooLarge {
            what: "bytes",
            count: bytes.len() as u64,
            limit: options.max_bytes,
        });
    }
    Ok(bytes)
}

fn too_many(count: u64, limit: u64) -> Result<(), FigureError> {
    if count > limit {
        return Err(FigureError::TooLarge {
            what: "triangles",
            count,
            limit,
        });
    }
    Ok(())
}
