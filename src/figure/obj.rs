//! OBJ in and out.

use super::{BodyPoints, FigureError, Model, Part, Role};
use glam::{Vec2, Vec3};
use std::collections::HashMap;
use std::fmt::Write as _;
use std::io::{BufReader, Read};

/// How to read an OBJ file.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadOptions {
    /// Title for the model.
    pub title: String,
    /// Metres in one of the file's units: 1 for metres, 0.01 for centimetres.
    pub metres_per_unit: f64,
    /// Most triangles accepted.
    pub max_triangles: u64,
    /// Longest file accepted, in bytes.
    pub max_bytes: u64,
}

impl Default for LoadOptions {
    fn default() -> Self {
        Self {
            title: String::new(),
            metres_per_unit: 1.0,
            max_triangles: 8_000_000,
            max_bytes: 1 << 30,
        }
    }
}

/// Reads a figure or garment from OBJ text. Parts are the file's `o` or `g`
/// names; material files are ignored; faces with more than three corners are
/// cut into fans. UVs are taken as centimetres; a part without them is laid out
/// flat as the camera sees it, at true scale. Missing or unusable normals are
/// computed, weighted by angle and smooth across UV seams.
///
/// # Errors
/// Unreadable text, no faces, too much data, numbers that are not finite,
/// indices out of range, and a size no figure has (under 1 cm or over 20 m).
pub fn load_obj<R: Read>(reader: R, options: &LoadOptions) -> Result<Model, FigureError> {
    let mut bytes = Vec::new();
    let mut limited = BufReader::new(reader).take(options.max_bytes.saturating_add(1));
    limited
        .read_to_end(&mut bytes)
        .map_err(|e| FigureError::Obj(e.to_string()))?;
    if bytes.len() as u64 > options.max_bytes {
        return Err(FigureError::TooLarge {
            what: "bytes",
            count: bytes.len() as u64,
            limit: options.max_bytes,
        });
    }
    count_triangles(&bytes, options.max_triangles)?;
    let load = tobj::LoadOptions {
        single_index: true,
        triangulate: true,
        ignore_points: true,
        ignore_lines: true,
    };
    let no_materials = |_: &std::path::Path| Ok((Vec::new(), Default::default()));
    let (models, _) = tobj::load_obj_buf(&mut bytes.as_slice(), &load, no_materials)
        .map_err(|e| FigureError::Obj(e.to_string()))?;
    let mut parts = Vec::new();
    for model in models {
        if let Some(part) = part_of(&model.name, &model.mesh, options)? {
            parts.push(part);
        }
    }
    if parts.is_empty() {
        return Err(FigureError::Empty);
    }
    check_size(&parts)?;
    Ok(Model {
        title: options.title.clone(),
        parts,
        points: BodyPoints::default(),
        blocking: Vec::new(),
    })
}

/// Refuses a file with too many triangles before any memory is spent on them.
fn count_triangles(bytes: &[u8], limit: u64) -> Result<(), FigureError> {
    let mut count = 0_u64;
    for line in bytes.split(|&b| b == b'\n') {
        let mut words = line
            .split(u8::is_ascii_whitespace)
            .filter(|w| !w.is_empty());
        if words.next() == Some(b"f") {
            count += (words.count() as u64).saturating_sub(2);
        }
    }
    if count > limit {
        return Err(FigureError::TooLarge {
            what: "triangles",
            count,
            limit,
        });
    }
    Ok(())
}

fn part_of(
    name: &str,
    mesh: &tobj::Mesh,
    options: &LoadOptions,
) -> Result<Option<Part>, FigureError> {
    if mesh.indices.len() < 3 {
        return Ok(None);
    }
    let part = || name.to_owned();
    let scale = options.metres_per_unit as f32;
    let positions_m: Vec<Vec3> = mesh
        .positions
        .as_chunks::<3>()
        .0
        .iter()
        .map(|&p| Vec3::from(p) * scale)
        .collect();
    if positions_m.iter().any(|p| !p.is_finite()) {
        return Err(FigureError::NotFinite { part: part() });
    }
    let (triangles, rest) = mesh.indices.as_chunks::<3>();
    if !rest.is_empty() {
        return Err(FigureError::Obj(format!(
            "part \"{name}\" has a face of two corners"
        )));
    }
    if triangles
        .iter()
        .flatten()
        .any(|&i| i as usize >= positions_m.len())
    {
        return Err(FigureError::OutOfRange { part: part() });
    }
    let uvs_cm: Vec<Vec2> = if mesh.texcoords.len() == positions_m.len() * 2 {
        mesh.texcoords
            .as_chunks::<2>()
            .0
            .iter()
            .map(|&t| Vec2::from(t))
            .collect()
    } else {
        positions_m.iter().map(|p| p.truncate() * 100.0).collect()
    };
    if uvs_cm.iter().any(|t| !t.is_finite()) {
        return Err(FigureError::NotFinite { part: part() });
    }
    let mut normals = smooth_normals(&positions_m, triangles);
    if mesh.normals.len() == positions_m.len() * 3 {
        for (n, given) in normals.iter_mut().zip(mesh.normals.as_chunks::<3>().0) {
            let given = Vec3::from(*given);
            if given.is_finite() && given.length_squared() > 1e-12 {
                *n = given.normalize();
            }
        }
    }
    Ok(Some(Part {
        name: part(),
        role: Role::from_name(name),
        positions_m,
        normals,
        uvs_cm,
        triangles: triangles.to_vec(),
        paint: Vec::new(),
    }))
}

fn check_size(parts: &[Part]) -> Result<(), FigureError> {
    let (mut lo, mut hi) = (Vec3::INFINITY, Vec3::NEG_INFINITY);
    for p in parts.iter().flat_map(|p| &p.positions_m) {
        lo = lo.min(*p);
        hi = hi.max(*p);
    }
    let size_m = f64::from((hi - lo).max_element());
    if (0.01..=20.0).contains(&size_m) {
        Ok(())
    } else {
        Err(FigureError::Size { size_m })
    }
}

/// Angle-weighted vertex normals (Thuermer and Wuethrich 1998), shared by all
/// vertices in the same place, so that UV seams do not show.
pub(crate) fn smooth_normals(positions: &[Vec3], triangles: &[[u32; 3]]) -> Vec<Vec3> {
    let mut places: HashMap<[u32; 3], u32> = HashMap::new();
    let place: Vec<u32> = positions
        .iter()
        .map(|p| {
            // Adding zero turns -0 into 0, so that both name one place.
            let next = places.len() as u32;
            *places
                .entry((*p + Vec3::ZERO).to_array().map(f32::to_bits))
                .or_insert(next)
        })
        .collect();
    let mut sums = vec![Vec3::ZERO; places.len()];
    for t in triangles {
        let p = t.map(|v| positions[v as usize]);
        let normal = (p[1] - p[0]).cross(p[2] - p[0]).normalize_or_zero();
        for s in 0..3 {
            let a = (p[(s + 1) % 3] - p[s]).normalize_or_zero();
            let b = (p[(s + 2) % 3] - p[s]).normalize_or_zero();
            sums[place[t[s] as usize] as usize] += normal * a.dot(b).clamp(-1.0, 1.0).acos();
        }
    }
    place
        .iter()
        .map(|&i| sums[i as usize].try_normalize().unwrap_or(Vec3::Y))
        .collect()
}

/// Writes a model as OBJ text, in metres to 0.01 mm (tenths would roughen the
/// shading of a face meshed at 2.5 mm), UVs in centimetres to 0.01 mm.
///
/// Normals are left out: they are computed on loading, which keeps the file
/// small. Neighbouring triangles are written as one quad that the loader's fan
/// cuts back into the same two.
pub fn write_obj(model: &Model) -> String {
    let mut out = String::new();
    // A String cannot fail to grow by formatting.
    let _ = writeln!(out, "# {}", model.title.replace(['\n', '\r'], " "));
    let _ = writeln!(
        out,
        "# metres, origin on the floor, +y up, facing +z; vt in centimetres"
    );
    let mut base = 1;
    for part in &model.parts {
        let _ = writeln!(out, "o {}", part.name.replace(char::is_whitespace, "-"));
        for p in &part.positions_m {
            let [x, y, z] = p.to_array().map(|v| shortest(v, 5));
            let _ = writeln!(out, "v {x} {y} {z}");
        }
        for t in &part.uvs_cm {
            let [u, v] = t.to_array().map(|v| shortest(v, 3));
            let _ = writeln!(out, "vt {u} {v}");
        }
        for face in quads(&part.triangles) {
            out.push('f');
            for v in face {
                let i = v as usize + base;
                let _ = write!(out, " {i}/{i}");
            }
            out.push('\n');
        }
        base += part.positions_m.len();
    }
    out
}

/// Fixed decimals without trailing zeros.
fn shortest(value: f32, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// Pairs neighbouring triangles into quads; the rest stay triangles.
fn quads(triangles: &[[u32; 3]]) -> Vec<Vec<u32>> {
    let mut owner: HashMap<(u32, u32), usize> = HashMap::new();
    for (t, tri) in triangles.iter().enumerate() {
        for s in 0..3 {
            owner.insert((tri[s], tri[(s + 1) % 3]), t);
        }
    }
    let mut done = vec![false; triangles.len()];
    let mut faces = Vec::with_capacity(triangles.len() / 2 + 1);
    for (t, tri) in triangles.iter().enumerate() {
        if done[t] {
            continue;
        }
        done[t] = true;
        let mate = (0..3).find_map(|s| {
            let (a, b, c) = (tri[s], tri[(s + 1) % 3], tri[(s + 2) % 3]);
            let other = *owner.get(&(a, c))?;
            if done[other] {
                return None;
            }
            let d = triangles[other]
                .iter()
                .copied()
                .find(|v| *v != a && *v != c)?;
            Some((other, vec![a, b, c, d]))
        });
        match mate {
            Some((other, face)) => {
                done[other] = true;
                faces.push(face);
            }
            None => faces.push(tri.to_vec()),
        }
    }
    faces
}
