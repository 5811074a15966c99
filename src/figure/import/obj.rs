//! OBJ in.

use super::{FigureError, RawPart, too_many};
use glam::{Vec2, Vec3};

pub fn read(bytes: &[u8], max_triangles: u64) -> Result<Vec<RawPart>, FigureError> {
    count_triangles(bytes, max_triangles)?;
    let load = tobj::LoadOptions {
        single_index: true,
        triangulate: true,
        ignore_points: true,
        ignore_lines: true,
    };
    let no_materials = |_: &std::path::Path| Ok((Vec::new(), Default::default()));
    let (models, _) = tobj::load_obj_buf(&mut &bytes[..], &load, no_materials)
        .map_err(|e| FigureError::Obj(e.to_string()))?;
    let parts = models.into_iter().map(|m| part(m.name, &m.mesh));
    Ok(parts
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .flatten()
        .collect())
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
    too_many(count, limit)
}

fn part(name: String, mesh: &tobj::Mesh) -> Result<Option<RawPart>, FigureError> {
    if mesh.indices.len() < 3 {
        return Ok(None);
    }
    let (triangles, rest) = mesh.indices.as_chunks::<3>();
    if !rest.is_empty() {
        return Err(FigureError::Obj(format!(
            "part \"{name}\" has a face of two corners"
        )));
    }
    let vectors =
        |flat: &[f32]| -> Vec<Vec3> { flat.as_chunks::<3>().0.iter().map(|&p| p.into()).collect() };
    let positions = vectors(&mesh.positions);
    let uvs = mesh
        .texcoords
        .as_chunks::<2>()
        .0
        .iter()
        .map(|&t| Vec2::from(t));
    Ok(Some(RawPart {
        uvs: (mesh.texcoords.len() == positions.len() * 2).then(|| uvs.collect()),
        normals: (mesh.normals.len() == positions.len() * 3).then(|| vectors(&mesh.normals)),
        name,
        positions,
        paint: Vec::new(),
        triangles: triangles.to_vec(),
    }))
}
