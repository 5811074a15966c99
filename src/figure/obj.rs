//! OBJ out.

use super::Model;
use std::collections::HashMap;
use std::fmt::Write as _;

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
