// A cloth known by pictures of it: slope, height, opacity and colour a texel, repeated side by side.
//
// Texels from `form` on, as src/fabric/structure/maps.rs packs them:
//   0  texels across, texels up, texels a millimetre, 1 where fibres are to be thought of as lying along x
//   then the picture, row by row from the cloth's lower edge, two texels each:
//   slope along x, slope along y, height (mm), opacity; colour, 0

struct MapsCorner {
    low_left: u32,
    low_right: u32,
    up_left: u32,
    up_right: u32,
    across: f32,
    up: f32,
}

fn maps_corner(form: u32, at_mm: vec2f) -> MapsCorner {
    let size = load_texel(form);
    let width = u32(size.x);
    let height = u32(size.y);
    let x = at_mm.x * size.z - 0.5;
    let y = at_mm.y * size.z - 0.5;
    let i = wrap(floor(x), width);
    let j = wrap(floor(y), height);
    let right = (i + 1u) % width;
    let over = (j + 1u) % height;
    let first = form + 1u;
    return MapsCorner(
        first + 2u * (j * width + i), first + 2u * (j * width + right),
        first + 2u * (over * width + i), first + 2u * (over * width + right),
        x - floor(x), y - floor(y),
    );
}

fn maps_between(c: MapsCorner, which: u32) -> vec4f {
    let low = mix(load_texel(c.low_left + which), load_texel(c.low_right + which), c.across);
    let high = mix(load_texel(c.up_left + which), load_texel(c.up_right + which), c.across);
    return mix(low, high, c.up);
}

fn maps_height(form: u32, at_mm: vec2f) -> f32 {
    return maps_between(maps_corner(form, at_mm), 0u).z;
}

fn maps_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let corner = maps_corner(form, at_mm);
    let relief = maps_between(corner, 0u);
    if (relief.w < 0.5) {
        return gap(relief.z);
    }
    let colour = maps_between(corner, 1u).xyz;
    return Thread(colour, PART_WARP, vec3f(0.0, 1.0, 0.0), relief.z, relief.xy, 0.0, 0.0);
}
