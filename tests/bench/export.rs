//! A scene's triangles, surfaces, faces and camera as files that other renderers can be given: one
//! PLY for each material and a JSON value that says the rest. It is made from the very records that
//! the kernels read, so both sides trace the same thing.

use serde_json::{Value, json};
use std::fs;
use std::io;
use std::path::Path;
use swatchlight::scene::Scene;
use swatchlight::scene::records::{
    Emitter, Material, NOTHING, SHAPE_DISK, SHAPE_GLOBE, SHAPE_RECT, TABLE_UNIFORM, TOP_COAT,
    TOP_NONE,
};

/// Writes the meshes and maps of `scene` into `folder`, under names that begin with `name`, and
/// returns its description. Lengths in metres; radiance per lumen times the layer's weights (1 where none
/// are given).
///
/// # Errors
/// When a file cannot be written, or the scene has what the description does not know (emission
/// tables, sheen, metal, sheets that pass light, an open lens off its axis).
pub fn export(scene: &Scene, weights: &[[f64; 3]], folder: &Path, name: &str) -> io::Result<Value> {
    let objects = (0..scene.materials.len())
        .filter(|m| triangles_of(scene, *m).next().is_some())
        .map(|m| object(scene, m, folder, name))
        .collect::<io::Result<Vec<_>>>()?;
    let emitters = scene
        .emitters
        .iter()
        .map(|e| {
            emitter(
                e,
                weights.get(e.layer as usize).copied().unwrap_or([1.0; 3]),
            )
        })
        .collect::<io::Result<Vec<_>>>()?;
    Ok(json!({ "camera": camera(scene)?, "emitters": emitters, "objects": objects }))
}

fn camera(scene: &Scene) -> io::Result<Value> {
    let p = &scene.params;
    let shift = [
        p.shift_x_m / p.sensor_width_m,
        p.shift_y_m / p.sensor_height_m,
    ];
    if p.lens_radius_m > 0.0 && shift != [0.0; 2] {
        return Err(unknown("an open lens off its axis"));
    }
    Ok(json!({
        "centre_m": array(&p.lens_centre),
        "forward": array(&p.forward),
        "up": array(&p.up),
        "width_over_distance": p.sensor_width_m / p.image_distance_m,
        "shift_over_size": shift,
        "lens_radius_m": p.lens_radius_m,
        "focus_distance_m": p.focus_distance_m,
        "pixels": [p.width, p.height],
    }))
}

fn emitter(e: &Emitter, weight: [f64; 3]) -> io::Result<Value> {
    if e.table_kind != TABLE_UNIFORM.0 {
        return Err(unknown("an emission table"));
    }
    let shape = match e.shape {
        s if s == SHAPE_DISK.0 => "disk",
        s if s == SHAPE_RECT.0 => "rectangle",
        s if s == SHAPE_GLOBE.0 => "sphere",
        _ => "cylinder",
    };
    Ok(json!({
        "shape": shape,
        "centre_m": array(&e.centre),
        "x": array(&e.axis_x),
        "y": array(&e.axis_y),
        "z": array(&e.normal),
        "half_m": [e.half_x_m, e.half_y_m],
        "radiance": weight.map(|w| w * f64::from(e.luminance_per_lm)),
    }))
}

fn object(scene: &Scene, material: usize, folder: &Path, name: &str) -> io::Result<Value> {
    let m = &scene.materials[material];
    if m.straight > 0.0 || array(&m.through) != [0.0; 3] {
        return Err(unknown("a sheet that passes light"));
    }
    let file = format!("{name}.{material}.ply");
    fs::write(folder.join(&file), ply(scene, material))?;
    let mut surface = json!({ "base": array(&m.base) });
    match m.top {
        t if t == TOP_NONE.0 => {}
        t if t == TOP_COAT.0 => {
            surface["coat"] =
                json!({ "alpha": m.alpha, "eta": m.eta, "feedback": m.couple_feedback });
        }
        _ => return Err(unknown("a metal or a sheen")),
    }
    if m.relief != NOTHING.0 {
        let map = format!("{name}.{material}.normals.f32");
        let first = m.relief as usize;
        let texels = &scene.texels[first..first + (m.relief_width * m.relief_height) as usize];
        let values: Vec<u8> = texels
            .iter()
            .flat_map(|t| &t[..3])
            .flat_map(|v| v.to_le_bytes())
            .collect();
        fs::write(folder.join(&map), values)?;
        surface["normals"] =
            json!({ "file": map, "width": m.relief_width, "height": m.relief_height });
    }
    Ok(json!({ "file": file, "surface": surface }))
}

fn triangles_of(scene: &Scene, material: usize) -> impl Iterator<Item = [u32; 3]> {
    scene
        .triangles
        .iter()
        .filter(move |t| t.material as usize == material)
        .map(|t| [t.a, t.b, t.c])
}

/// The material's triangles as binary PLY. Texture coordinates count whole repeats of its map.
fn ply(scene: &Scene, material: usize) -> Vec<u8> {
    let m = &scene.materials[material];
    let repeat = repeat_cm(m);
    let mut numbers = vec![u32::MAX; scene.vertices.len()];
    let mut corners: Vec<u8> = Vec::new();
    let mut faces: Vec<u8> = Vec::new();
    let (mut corner_count, mut face_count) = (0_u32, 0_u32);
    for triangle in triangles_of(scene, material) {
        faces.push(3);
        face_count += 1;
        for index in triangle {
            let number = &mut numbers[index as usize];
            if *number == u32::MAX {
                *number = corner_count;
                corner_count += 1;
                let v = &scene.vertices[index as usize];
                let uv = [v.weft_cm / repeat[0], v.warp_cm / repeat[1]];
                let values = array(&v.position)
                    .into_iter()
                    .chain(array(&v.normal))
                    .chain(uv);
                corners.extend(values.flat_map(f32::to_le_bytes));
            }
            faces.extend(number.to_le_bytes());
        }
    }
    let properties: String = ["x", "y", "z", "nx", "ny", "nz", "u", "v"]
        .map(|p| format!("property float {p}\n"))
        .concat();
    let head = format!(
        "ply\nformat binary_little_endian 1.0\nelement vertex {corner_count}\n{properties}\
         element face {face_count}\nproperty list uchar uint vertex_indices\nend_header\n"
    );
    [head.into_bytes(), corners, faces].concat()
}

fn repeat_cm(m: &Material) -> [f32; 2] {
    if m.relief == NOTHING.0 {
        return [1.0; 2];
    }
    [m.relief_width, m.relief_height].map(|n| n as f32 * m.relief_texel_cm)
}

fn array(v: &naga_rust_rt::Vec3<f32>) -> [f32; 3] {
    [v.x, v.y, v.z]
}

fn unknown(what: &str) -> io::Error {
    io::Error::other(format!("{what} cannot be exported"))
}
