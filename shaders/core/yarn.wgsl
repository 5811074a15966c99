// The skin of a yarn: what twist, ply and single fibres add to its bare surface.
//
// Along a yarn runs its own length, across it -1 to 1, positive to the LEFT of its fibre direction
// as seen from the face: a warp end that runs up (0, 1) has its left at -x, a pick that runs to the
// right (1, 0) at +y. `number` is the yarn's own, unwrapped, and of no other yarn of the cloth.
//
// Texels from `skin` on, as src/fabric/structure/yarn.rs packs them:
//   0 twist (turns a mm, Z positive), 1 / fibre width, 1 / fibre length, fibre relief (mm)
//   1 contrast of fibres, of yarns, along a yarn, pale core showing (ring dye)
//   2 plies (0: none), ply twist (turns a mm), ply depth (of the half width), fibre width (mm)
//   3 melange share, seed, 0, 0
//   4 melange colour, how far it covers

// A flattened yarn's girth over that of a round one as wide.
const YARN_GIRTH: f32 = 0.75;
// Mean of max(F, 0)^2 of the fibre pattern.
const YARN_PALE_MEAN: f32 = 0.048;

// Value noise over a plane, smooth, with its slope along x.
fn yarn_pattern(x: f32, y: f32, label: u32) -> vec2f {
    let whole_x = floor(x);
    let whole_y = floor(y);
    let i = i32(whole_x);
    let j = i32(whole_y);
    let f = x - whole_x;
    let g = y - whole_y;
    let ease_x = f * f * (3.0 - 2.0 * f);
    let ease_y = g * g * (3.0 - 2.0 * g);
    let left = mix(lattice(i, j, label), lattice(i, j + 1, label), ease_y);
    let right = mix(lattice(i + 1, j, label), lattice(i + 1, j + 1, label), ease_y);
    return vec2f(left + (right - left) * ease_x, (right - left) * 6.0 * f * (1.0 - f));
}

// Value noise over the cloth and its slopes.
fn yarn_noise_over(x: f32, y: f32, label: u32) -> vec3f {
    let whole_x = floor(x);
    let whole_y = floor(y);
    let i = i32(whole_x);
    let j = i32(whole_y);
    let f = x - whole_x;
    let g = y - whole_y;
    let ease_x = f * f * (3.0 - 2.0 * f);
    let ease_y = g * g * (3.0 - 2.0 * g);
    let a = lattice(i, j, label);
    let b = lattice(i + 1, j, label);
    let c = lattice(i, j + 1, label);
    let d = lattice(i + 1, j + 1, label);
    return vec3f(
        mix(mix(a, b, ease_x), mix(c, d, ease_x), ease_y),
        mix(b - a, d - c, ease_y) * 6.0 * f * (1.0 - f),
        mix(c - a, d - b, ease_x) * 6.0 * g * (1.0 - g),
    );
}

// Angle whose sine is q, by Abramowitz and Stegun 4.4.45 (error below 7e-5).
fn yarn_angle(q: f32) -> f32 {
    let x = min(abs(q), 1.0);
    let rest = root(1.0 - x) * (1.5707288 + x * (-0.2121144 + x * (0.0742610 - 0.0187293 * x)));
    let angle = 0.5 * PI - rest;
    return select(-angle, angle, q >= 0.0);
}

// Where a place on the yarn lies in its plies: whole numbers in the grooves between them.
fn yarn_in_plies(ply: vec4f, along_mm: f32, angle: f32) -> f32 {
    return ply.x * (along_mm * ply.y + angle * (0.5 * INV_PI));
}

// What plies add to the height of the bare yarn, for both height and thread.
fn yarn_ply_height(skin: u32, along_mm: f32, across: f32, half_width_mm: f32) -> f32 {
    let ply = load_texel(skin + 2u);
    if (ply.x < 2.0) {
        return 0.0;
    }
    let place = yarn_in_plies(ply, along_mm, yarn_angle(across));
    let f = place - floor(place);
    return ply.z * half_width_mm * (4.0 * f * (1.0 - f) - 0.6);
}

// The most that it is.
fn yarn_ply_most(skin: u32, half_width_mm: f32) -> f32 {
    let ply = load_texel(skin + 2u);
    return select(0.0, 0.4 * ply.z * half_width_mm, ply.x >= 2.0);
}

// How much lighter or darker a yarn is here than its colour: the yarn's own, and slowly along it.
fn yarn_shade(skin: u32, along_mm: f32, number: i32) -> f32 {
    let contrast = load_texel(skin + 1u);
    let label = u32(load_texel(skin + 3u).y);
    return 1.0 + contrast.y * lattice(number, 3, label + 5u)
        + contrast.z
            * (noise_along(number, along_mm * 0.27, label + 6u)
                + 0.5 * noise_along(number, along_mm * 1.1, label + 7u));
}

// A bare yarn's surface with its skin. `bare` holds the yarn's direction (unit, z = 0), its slopes,
// its colour, its height and the place across.
fn yarn_skin(
    skin: u32,
    bare: Thread,
    along_mm: f32,
    number: i32,
    half_width_mm: f32,
    footprint_mm: f32,
) -> Thread {
    let form = load_texel(skin);
    let contrast = load_texel(skin + 1u);
    let ply = load_texel(skin + 2u);
    let blend = load_texel(skin + 3u);
    let label = u32(blend.y) + u32(number) * 40503u;
    var made = bare;
    let left = vec2f(-bare.fibre.y, bare.fibre.x);
    let cosine = root(max(1.0 - bare.across * bare.across, 0.02));
    let angle = yarn_angle(bare.across);

    // Plies: their grooves, and how they wind about each other.
    // Of fibres to the left; a Z leans to the right.
    var lean = -YARN_GIRTH * 2.0 * PI * half_width_mm * form.x;
    var strand = 0u;
    let fine = detail_left(footprint_mm, 3.0 * ply.w);
    if (ply.x >= 2.0) {
        let lay_left = detail_left(footprint_mm, 0.5 / abs(ply.y));
        let place = yarn_in_plies(ply, along_mm, angle);
        let whole = floor(place);
        let f = place - whole;
        let depth = ply.z * half_width_mm;
        made.height_mm += depth * (4.0 * f * (1.0 - f) - 0.6);
        let steep = depth * 4.0 * (1.0 - 2.0 * f) * ply.x * lay_left;
        made.slope += steep
            * (left * (0.5 * INV_PI / (half_width_mm * cosine)) + bare.fibre.xy * ply.y);
        strand = u32(i32(whole));
        // A ply's own twist, mostly undone by the winding.
        lean = 0.5 * lean - PI * half_width_mm * ply.y * 0.5;
        made.blur += (1.0 - lay_left * lay_left) * 0.04;
    }

    var tone = yarn_shade(skin, along_mm, number);
    var share = blend.x;
    var pale = YARN_PALE_MEAN;
    if (blend.x > 0.0) {
        // Blends are uneven: clumps and lean lengths.
        share *= 1.0 + 0.6 * noise_along(number, along_mm * 0.21, label + 21u);
    }
    if (fine > 0.01) {
        // Fibres wind around: the same one is met further around at a place further along.
        let around = (angle * half_width_mm - along_mm * lean) * form.y;
        let ends = along_mm * form.z;
        let seed = label + strand * 9176u;
        let broad = yarn_pattern(around, ends, seed + 11u);
        let narrow = yarn_pattern(2.0 * around, 1.7 * ends, seed + 12u);
        let pattern = 0.6 * broad.x + 0.4 * narrow.x;
        let steep = form.w * (0.6 * broad.y + 0.8 * narrow.y) * form.y * fine;
        made.height_mm += form.w * fine * pattern;
        made.slope += steep * (left * (1.0 / max(cosine, 0.4)) - bare.fibre.xy * lean);
        tone += fine * contrast.x * pattern;
        let up = max(pattern, 0.0);
        pale += fine * (up * up - YARN_PALE_MEAN);
        lean += 0.05 * fine * noise_along(i32(floor(around)), along_mm * 2.9, label + 13u);
        if (share > 0.0) {
            let strip = floor(around);
            let shift = 0.5 + 0.5 * lattice(i32(strip), 1, seed + 14u);
            let one = lattice(i32(strip), i32(floor(along_mm * 0.45 + shift)), seed + 15u);
            let there = select(0.0, 1.0, 0.5 + 0.5 * one < share);
            share = mix(share, there, fine);
        }
    }
    made.blur += (1.0 - fine * fine) * 0.0025;

    var colour = bare.colour;
    if (share > 0.0) {
        let other = load_texel(skin + 4u);
        colour = mix(colour, other.xyz, other.w * share);
    }
    made.colour = colour * max(tone, 0.05) + vec3f(contrast.w * pale);
    // Lines that wind around a yarn lie along it at its edges.
    let turned = bare.fibre.xy + left * (lean * cosine);
    made.fibre = vec3f(turned * (1.0 / root(dot(turned, turned))), 0.0);
    made.slope = clamp(made.slope, vec2f(-3.0), vec2f(3.0));
    return made;
}
