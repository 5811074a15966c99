// Records shared with the host. Every struct here has a `#[repr(C)]` mirror in
// src/scene/records.rs; tests/layout.rs compares names, offsets and sizes.
// Lengths in metres, angles in radians, colours linear with sRGB primaries,
// light per lumen (or lumen-second) leaving the emitter's face.

const PI: f32 = 3.14159265358979;
const INV_PI: f32 = 0.318309886183791;
const NOTHING: u32 = 0xffffffffu;

const SHAPE_DISK: u32 = 0u;
const SHAPE_RECT: u32 = 1u;
const SHAPE_GLOBE: u32 = 2u;
const SHAPE_TUBE: u32 = 3u;
const SHAPE_CAP: u32 = 4u;

const TABLE_UNIFORM: u32 = 0u;
const TABLE_RADIAL: u32 = 1u;
const TABLE_QUARTER: u32 = 2u;
const TABLE_GATE: u32 = 3u;

const TOP_NONE: u32 = 0u;
const TOP_COAT: u32 = 1u;
const TOP_CONDUCTOR: u32 = 2u;
const TOP_SHEEN: u32 = 3u;
// A coat over what is painted on the mesh (paint.wgsl); a place turns these three into TOP_COAT.
const TOP_PAINTED: u32 = 4u;
const TOP_SKIN: u32 = 5u;
const TOP_EYE: u32 = 6u;
// A fibre, all of it (strand.wgsl).
const TOP_HAIR: u32 = 7u;
// The base under a coat, without what the coat mirrors; only places have it.
const TOP_UNDER: u32 = 8u;

const RECEPTOR_FLAT: u32 = 0u;
const RECEPTOR_DOME: u32 = 1u;

const TRACE_NEAREST: u32 = 0u;
// Any opaque hit will do. Where there is none, the answer's u is 1 if sheets that pass light
// were met, else 0.
const TRACE_OPAQUE: u32 = 1u;
// The nearest sheet that passes light; opaque surfaces are ignored.
const TRACE_PASSING: u32 = 2u;

struct Params {
    lens_centre: vec3f,
    lens_radius_m: f32,
    right: vec3f,
    focus_distance_m: f32,
    up: vec3f,
    image_distance_m: f32,
    forward: vec3f,
    sensor_width_m: f32,
    // Sensor centre off the optical axis (rise and shift), metres on the sensor.
    shift_x_m: f32,
    shift_y_m: f32,
    sensor_height_m: f32,
    bounces_before_roulette: u32,
    width: u32,
    height: u32,
    first_row: u32,
    layer_count: u32,
    emitter_count: u32,
    point_count: u32,
    seed: u32,
    // 1 where some emitter has no body that would hide what is behind it.
    bare: u32,
    // Radiance of a uniform surround (an enclosing white furnace, or open air).
    surround: vec3f,
    surround_layer: u32,
    bounce_limit: u32,
    first_sample: u32,
    sample_count: u32,
    node_count: u32,
    // Paths that go on from each first place.
    branches: u32,
    // Angle of a pixel, for fading what is too fine on cloth to be seen apart.
    pixel_rad: f32,
    // How far an optical low-pass spreads a pixel's light, in pixels; 0 for none.
    low_pass_px: f32,
    // Paths that went on where more did before than do now; none where it is less than `branches`.
    branches_before: u32,
}

struct Vertex {
    position: vec3f,
    weft_cm: f32,
    normal: vec3f,
    warp_cm: f32,
}

struct Triangle {
    a: u32,
    b: u32,
    c: u32,
    material: u32,
}

struct Material {
    base: vec3f,
    top: u32,
    // Conductor: reflectance facing (F0). Sheen: colour of the sheen. Hair, at a place: absorption over a radius.
    specular: vec3f,
    // GGX or sheen roughness (alpha).
    alpha: f32,
    // Thin sheets: diffuse light passed to the far side.
    through: vec3f,
    // Thin sheets: fraction passed straight, unscattered.
    straight: f32,
    eta: f32,
    // base' = base c1 / (1 - base c2): the host fills these in (see surface.wgsl).
    couple_gain: f32,
    couple_feedback: f32,
    // First texel of the top layer's directional albedo, or NOTHING; of painted surfaces and hair their finish.
    albedo_table: u32,
    // First texel of the normal map, or NOTHING.
    relief: u32,
    relief_width: u32,
    relief_height: u32,
    // Width of one texel on the cloth.
    relief_texel_cm: f32,
    // First texel of the light known to leave this flat (see bounce.wgsl), or NOTHING.
    bounce: u32,
    bounce_columns: u32,
    bounce_rows: u32,
    bounce_cell_cm: f32,
    // Cloth coordinates of the first cell's corner.
    bounce_weft_cm: f32,
    bounce_warp_cm: f32,
    // First texel of the cloth's record (cloth.wgsl), or NOTHING.
    cloth: u32,
    // Texel of what is told of vertex 0, were it this surface's (counts wrap): its paint, or the direction of a
    // cloth's weft there; or NOTHING.
    paint: u32,
}

struct Emitter {
    centre: vec3f,
    shape: u32,
    axis_x: vec3f,
    // Disk, globe, cap: radius. Rectangle: half width. Tube: half length along axis_x.
    half_x_m: f32,
    axis_y: vec3f,
    // Rectangle: half height. Tube: radius. Cap: greatest chord from its pole.
    half_y_m: f32,
    normal: vec3f,
    area_sqm: f32,
    table_kind: u32,
    table: u32,
    cells_place: u32,
    cells_theta: u32,
    cells_phi: u32,
    cells_place_y: u32,
    layer: u32,
    candidates: u32,
    // Luminance per lumen: of the whole face, or the scale of the table.
    luminance_per_lm: f32,
    // Mix of this light as rendered, for choosing among lights.
    weight: f32,
    // Nothing leaves beyond this sine from the normal.
    sine_limit: f32,
    // Disk: sides of the polygon that it is, a corner on axis_x; 0 is round.
    sides: u32,
    // First texel of what a grid passes, or NOTHING.
    screen: u32,
    screen_theta: u32,
    screen_phi: u32,
    // Gate: where its image stands before the face, its radius, the width of its edge.
    gate_distance_m: f32,
    gate_radius_m: f32,
    gate_soft_m: f32,
    spare_a: f32,
    spare_b: f32,
}

struct Receptor {
    position: vec3f,
    kind: u32,
    facing: vec3f,
    spare: f32,
}

struct Hit {
    t: f32,
    triangle: u32,
    u: f32,
    v: f32,
}
