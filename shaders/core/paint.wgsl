// Painted surfaces: a dielectric coat over a base whose colour and gloss are told at each corner of
// the mesh. Shoes, buttons, skin and eyes are such.
//
// Texels of a finish, from the material's `albedo_table` on; src/scene/finish.rs packs them:
//   0  GGX alpha at gloss 0 and at gloss 1, alpha of the first table, step from table to table
//   1  first texel of what is special to skin or to an eye, last table, gloss where none is painted, variance of
//      slopes that the skin's relief has
//   2 on: for each alpha the coupling's two numbers (surface.wgsl), then the coat's directional albedo

const FINISH_ROWS: u32 = 17u;

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
