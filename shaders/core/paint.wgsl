// Painted surfaces: a dielectric coat over a base whose colour and gloss are told at each corner of
// the mesh. Shoes, buttons, skin and eyes are such.
//
// Texels of a finish, from the material's `albedo_table` on; src/scene/finish.rs packs them:
//   0  GGX alpha at gloss 0 and at gloss 1, alpha of the first table, step from table to table
//   1  first texel of what is special to skin or to an eye, last table, gloss where none is painted, variance of
//      slopes that the skin's relief has
//   2 on: for each alpha the coupling's two numbers (surface.wgsl), then the coat's directional albedo

const FINISH_ROWS: u32 = 17u;

// What a painted surface, skin or an eye is at one place.
struct Finish {
    // A plain coat over a base.
    material: Material,
    normal: vec3f,
    // As `Place` has it.
    under: u32,
}

// `side` is 1 where the mesh's outside is seen. Far off, relief is folded into the coat, and an eye is white.
fn finish_at(
    m: Material, t: Triangle, hit: Hit, direction: vec3f, footprint_mm: f32, point: vec3f, normal: vec3f, side: f32,
) -> Finish {
    let paint = paint_at(m, t, hit);
    let special = load_texel(m.albedo_table + 1u);
    if (HAS_SKIN && m.top == TOP_SKIN) {
        let first = u32(special.x);
        let left = select(0.0, detail_left(footprint_mm, RELIEF_SEEN_MM), footprint_mm < FAR_OFF_MM);
        var rough = normal;
        if (left > 0.02) {
            rough = skin_normal(normal, 1000.0 * point, left * load_texel(first + 1u).x);
        }
        return Finish(painted(m, paint, special.w * (1.0 - left * left)), rough, select(NOTHING, first, side > 0.0));
    }
    if (HAS_EYES && m.top == TOP_EYE && footprint_mm < FAR_OFF_MM) {
        let eye = eye_seen(u32(special.x), point, normal, direction, paint.xyz);
        return Finish(painted(m, vec4f(eye.colour, paint.w), 0.0), eye.normal, NOTHING);
    }
    return Finish(painted(m, paint, 0.0), normal, NOTHING);
}

// Colour and gloss between the corners of a triangle; its own where nothing is painted.
fn paint_at(m: Material, t: Triangle, hit: Hit) -> vec4f {
    if (m.paint == NOTHING) {
        return vec4f(m.base, load_texel(m.albedo_table + 1u).z);
    }
    return load_texel(m.paint + t.a) * (1.0 - hit.u - hit.v)
        + load_texel(m.paint + t.b) * hit.u + load_texel(m.paint + t.c) * hit.v;
}

// The coat at one place. `blur` is the variance of slopes too fine to be seen, which widen the lobe: twice
// it for GGX's alpha squared, as for Beckmann's (Walter et al. 2007).
fn painted(whole: Material, paint: vec4f, blur: f32) -> Material {
    var m = whole;
    let shape = load_texel(m.albedo_table);
    let smooth_alpha = mix(shape.x, shape.y, clamp(paint.w, 0.0, 1.0));
    let last = load_texel(m.albedo_table + 1u).y;
    m.alpha = min(root(smooth_alpha * smooth_alpha + 2.0 * blur), 1.0);
    let which = u32(clamp((m.alpha - shape.z) / shape.w + 0.5, 0.0, last));
    let table = m.albedo_table + 2u + which * FINISH_ROWS;
    let couple = load_texel(table);
    m.base = paint.xyz;
    m.top = TOP_COAT;
    m.couple_gain = couple.x;
    m.couple_feedback = couple.y;
    m.albedo_table = table + 1u;
    return m;
}
