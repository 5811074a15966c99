// Corduroy: cords of cut pile with the ground weave between them.
//
// Texels from `form` on, as src/fabric/structure/corduroy.rs packs them:
//   0 colour of the pile, height of a cord (mm)
//   1 colour of the ground, wale (mm)
//   2 nap (turns from the weft towards the warp), lean (its tangent from upright), wander (turns), share of
//     the wale that the cord takes
//   3 tufts a mm, fibres a mm, straightness (share of the wale that it wanders), seed
//   4 cosine and sine of the nap, unevenness of the tips (mm), ground's picks a mm

struct CorduroyPlace {
    wale: i32,
    // -1 to 1 over the wale, and its slopes by x and y.
    u: f32,
    slope: vec2f,
}

fn corduroy_place(form: u32, at_mm: vec2f, label: u32) -> CorduroyPlace {
    let wale = load_texel(form + 1u).w;
    let stray = wale * load_texel(form + 3u).z;
    let slow = pile_noise(at_mm.x * 0.11, at_mm.y * 0.071, label + 1u);
    let quick = pile_noise(at_mm.x * 0.43, at_mm.y * 0.37, label + 2u);
    let place = (at_mm.x + stray * (slow.value + 0.6 * quick.value)) / wale;
    let whole = floor(place);
    return CorduroyPlace(
        i32(whole),
        2.0 * (place - whole) - 1.0,
        (2.0 / wale)
            * vec2f(
                1.0 + stray * (0.11 * slow.slope.x + 0.6 * 0.43 * quick.slope.x),
                stray * (0.071 * slow.slope.y + 0.6 * 0.37 * quick.slope.y),
            ),
    );
}

// How tall a cord is here, and its slope along the wale.
fn corduroy_tall(pile_mm: f32, wale: i32, along_mm: f32, label: u32) -> vec2f {
    let slow = pile_noise(f32(wale) * 7.31, along_mm * 0.19, label + 3u);
    return pile_mm
        * vec2f(1.0 + 0.05 * lattice(wale, 1, label + 4u) + 0.06 * slow.value, 0.06 * 0.19 * slow.slope.y);
}

// The cord's section: height over its top at `au` of its half width. (1 - au^2.5)^(1/2): rounder than
// a circle, as brushed and singed pile is.
fn corduroy_section(au: f32) -> f32 {
    return root(max(1.0 - au * au * root(au), 0.0));
}

// The ground between cords: picks over ends.
fn corduroy_ground(at_mm: vec2f, picks: f32) -> Turn {
    let place = at_mm.y * picks;
    return turn(place - floor(place));
}

fn corduroy_height(form: u32, at_mm: vec2f) -> f32 {
    let fine = load_texel(form + 3u);
    let more = load_texel(form + 4u);
    let label = u32(fine.w);
    let place = corduroy_place(form, at_mm, label);
    let au = abs(place.u) / load_texel(form + 2u).w;
    if (au >= 1.0) {
        return 0.03 * corduroy_ground(at_mm, more.w).cosine;
    }
    let tall = corduroy_tall(load_texel(form).w, place.wale, at_mm.y, label);
    return tall.x * corduroy_section(au)
        + more.z * noise_over(at_mm.x * fine.x, 0.83 * at_mm.y * fine.x, label + 5u);
}

fn corduroy_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let pile = load_texel(form);
    let nap = load_texel(form + 2u);
    let fine = load_texel(form + 3u);
    let more = load_texel(form + 4u);
    let label = u32(fine.w);
    let place = corduroy_place(form, at_mm, label);
    let au = abs(place.u) / nap.w;
    let fibres_left = detail_left(footprint_mm, 3.0 / fine.y);

    if (au >= 1.0) {
        let wave = corduroy_ground(at_mm, more.w);
        var tone = 1.0 + 0.15 * wave.cosine;
        if (fibres_left > 0.01) {
            tone += fibres_left * 0.25 * noise_over(at_mm.x * 8.0, at_mm.y * 33.0, label + 6u);
        }
        return Thread(
            load_texel(form + 1u).xyz * tone,
            PART_WEFT,
            vec3f(1.0, 0.0, 0.0),
            0.03 * wave.cosine,
            vec2f(0.0, -0.03 * 2.0 * PI * more.w * wave.sine),
            0.0,
            0.0,
        );
    }

    let tall = corduroy_tall(pile.w, place.wale, at_mm.y, label);
    let section = corduroy_section(au);
    // The foot stands upright: no slope steeper than fibres there show.
    let fall = -1.25 * au * root(au) / (nap.w * max(section, 0.18));
    let flank = tall.x * fall * select(-1.0, 1.0, place.u >= 0.0);
    let cord = flank * place.slope + vec2f(0.0, tall.y * section);
    let tuft = pile_noise(at_mm.x * fine.x, 0.83 * at_mm.y * fine.x, label + 5u);
    let tufted = more.z * fine.x * vec2f(tuft.slope.x, 0.83 * tuft.slope.y);
    let tufts_left = detail_left(footprint_mm, 1.2 / fine.x);
    var height = tall.x * section + more.z * tuft.value;
    var steep = cord + tufted;
    var tone = (1.0 - 0.75 * (1.0 - section)) * (1.0 + 0.14 * tuft.value);

    // Fibres stand on the cord's back, fan out over its flanks and lie down the nap, with pressed places.
    let wander = noise_over(at_mm.x * 0.26, at_mm.y * 0.19, label + 11u)
        + 0.4 * noise_over(at_mm.x * 0.047 + 0.02 * at_mm.y, at_mm.y * 0.031, label + 12u);
    let pressed = noise_over(at_mm.x * 0.59, at_mm.y * 0.37, label + 13u);
    let at_turn = nap.x + nap.z * wander;
    let way = turn(at_turn - floor(at_turn));
    let far = nap.y * max(1.0 + 0.35 * pressed, 0.2);
    var lean = far * vec2f(way.cosine, way.sine) + vec2f(0.35 * place.u, 0.0) - 0.9 * tufts_left * tufted;
    if (fibres_left > 0.01) {
        let x = fine.y * (at_mm.y * more.x - at_mm.x * more.y);
        let y = 0.45 * fine.y * (at_mm.x * more.x + at_mm.y * more.y);
        let across = pile_noise(x, y, label + 21u);
        let along = noise_over(0.83 * x + 0.31 * y, 1.07 * y, label + 22u);
        let glint = lattice(i32(floor(x)), i32(floor(y + 0.5 * across.value)), label + 23u);
        lean += fibres_left * 0.24
            * vec2f(along * more.x - across.value * more.y, along * more.y + across.value * more.x);
        tone *= 1.0 + fibres_left * (0.16 * along + 0.12 * glint);
        let rough = 0.006 * fibres_left;
        height += rough * across.value;
        steep += rough * fine.y
            * vec2f(
                0.45 * more.x * across.slope.y - more.y * across.slope.x,
                more.x * across.slope.x + 0.45 * more.y * across.slope.y,
            );
    }
    let stand = clamp(cord, vec2f(-1.6), vec2f(1.6));
    let up = normalize(vec3f(-stand, 1.0));
    // Combed along the cord's surface, but never hanging down.
    let combed = up + vec3f(lean, dot(stand, lean));
    return Thread(
        pile.xyz * max(tone, 0.05),
        PART_PILE,
        normalize(vec3f(combed.x, combed.y, max(combed.z, 0.1))),
        height,
        clamp(steep, vec2f(-3.0), vec2f(3.0)),
        0.0,
        (1.0 - fibres_left * fibres_left) * (0.0576 * PILE_NOISE_VARIANCE),
    );
}
