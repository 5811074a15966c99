// Light known to leave the set's flats: walls, floor, paper, matt boards. Where a path that has
// already turned once arrives at such a flat from some way off, it takes the light that a
// pass of full paths found to leave that cell, instead of following it further: a final
// gather (Reichert 1992; Jensen 1996). Whatever a picture shows directly, and all
// that lies close by, is still traced in full. The host fills the cells: src/render/bounce.rs.

//
// Looking at the cells as at lights (resampled, weighed against scattering) was tried: it breaks
// up the net that spreads the gather's directions, and comes out behind from 64 samples on.

// Texels hold, for each cell, one colour a layer: radiance per lumen.
fn leave_by_bounce(place: Place, throughput: vec3f) {
    let layers = params().layer_count;
    let first = place.material.bounce + place.bounce_cell * layers;
    for (var layer = 0u; layer < layers; layer++) {
        deposit(layer, throughput * load_texel(first + layer).xyz);
    }
}

fn bounce_cell(m: Material, cloth_cm: vec2f) -> u32 {
    let x = clamp((cloth_cm.x - m.bounce_weft_cm) / m.bounce_cell_cm, 0.0, f32(m.bounce_columns) - 0.5);
    let y = clamp((cloth_cm.y - m.bounce_warp_cm) / m.bounce_cell_cm, 0.0, f32(m.bounce_rows) - 0.5);
    return u32(y) * m.bounce_columns + u32(x);
}

// Cells look like tiles from close by: from four widths off they do not.
fn bounce_reaches(m: Material, distance_m: f32) -> bool {
    return distance_m > 0.04 * m.bounce_cell_cm;
}
