// What a cloth is at one point of it, as its structure tells the shading.
//
// The cloth's frame: x along the weft (a knit's courses), y along the warp (its wales), z out of the
// face; lengths in millimetres along the cloth. Each structure has a file of its own with
//   NAME_height(form, at_mm, over_mm) -> f32   the surface's height alone, for shadows: cheap. Where it
//                                              is under `over_mm`, any number up to that will do.
//   NAME_thread(form, at_mm, footprint_mm) -> Thread    everything, detail finer than the footprint faded
// `form` is the first texel of the structure's own numbers, packed by src/fabric/structure.

const PART_GAP: u32 = 0u;
// Warp, or a knit's yarn.
const PART_WARP: u32 = 1u;
const PART_WEFT: u32 = 2u;
// Fibres standing up: velvet, corduroy.
const PART_PILE: u32 = 3u;
// A fibre that has come loose and lies over the cloth.
const PART_HAIR: u32 = 4u;
// No fibres: leather, sequins.
const PART_SOLID: u32 = 5u;

struct Thread {
    // Reflectance of the mass of fibres here, linear. In a gap: unused.
    colour: vec3f,
    part: u32,
    // Fibre direction, unit. Of yarns in the plane (z = 0): the shading lays it into the surface. Of
    // pile and hair as it stands in the cloth's frame.
    fibre: vec3f,
    // Over the cloth's middle plane.
    height_mm: f32,
    // Of the surface: dz/dx, dz/dy.
    slope: vec2f,
    // Across the yarn, -1 to 1; 0 where there is none.
    across: f32,
    // Variance (square radians) that faded detail adds to the fibres' directions.
    blur: f32,
}

fn gap(height_mm: f32) -> Thread {
    return Thread(vec3f(0.0), PART_GAP, vec3f(1.0, 0.0, 0.0), height_mm, vec2f(0.0), 0.0, 0.0);
}

// What is left of detail of size `size` under a footprint: 1 sharp, 0 gone. A function of the
// footprint alone, so the same samples give the same pixels.
fn detail_left(footprint_mm: f32, size_mm: f32) -> f32 {
    let ratio = footprint_mm / size_mm;
    return exp(-ratio * ratio);
}
