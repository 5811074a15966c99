// Velvet: cut pile all over, seen by its fibres' lean; the ground never shows.
//
// Texels from `form` on, as src/fabric/structure/velvet.rs packs them:
//   0 colour, height of the tips (mm)
//   1 nap (turns from the weft towards the warp), lean (its tangent from upright), wander (turns), crush
//   2 tufts a mm, fibres a mm, unevenness of the tips (mm), seed
//   3 strokes: cells a mm (0: none), half width, half length (mm), turn (turns)
//   4 cosine and sine of the nap

struct PileNoise {
    value: f32,
    // By x and y of the noise's own plane.
    slope: vec2f,
}

// Value noise over a plane (see noise_over) with its slopes.
fn pile_noise(x: f32, y: f32, label: u32) -> PileNoise {
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
    let low = a + (b - a) * ease_x;
    let high = c + (d - c) * ease_x;
    return PileNoise(
        low + (high - low) * ease_y,
        6.0 * vec2f(
            mix(b - a, d - c, ease_y) * f * (1.0 - f),
            (high - low) * g * (1.0 - g),
        ),
    );
}

// Variance of value noise over a plane: 1/3 (even in -1..1) times the mean square weight of its
// corners, .743 an axis (closed form of the smooth step).
const PILE_NOISE_VARIANCE: f32 = 0.184;

// Tips of the pile over their mean, as a share of the unevenness: tufts, and clumps of some. The
// second is turned (3-4-5 triangle), so that no grid of noise shows.
fn velvet_tips(at_mm: vec2f, tufts: f32, label: u32) -> PileNoise {
    let a = pile_noise(at_mm.x * tufts, at_mm.y * tufts, label + 1u);
    let coarse = 0.41 * tufts;
    let turned = coarse * vec2f(0.8 * at_mm.x + 0.6 * at_mm.y, 0.8 * at_mm.y - 0.6 * at_mm.x);
    let b = pile_noise(turned.x, turned.y, label + 2u);
    return PileNoise(
        0.55 * a.value + 0.45 * b.value,
        0.55 * tufts * a.slope
            + 0.45 * coarse
                * vec2f(0.8 * b.slope.x - 0.6 * b.slope.y, 0.6 * b.slope.x + 0.8 * b.slope.y),
    );
}

fn velvet_height(form: u32, at_mm: vec2f) -> f32 {
    let fine = load_texel(form + 2u);
    return load_texel(form).w + fine.z * velvet_tips(at_mm, fine.x, u32(fine.w)).value;
}

// How far hands have stroked the nap here, -1 to 1 (to its right, to its left): one stroke a cell, of
// hashed place, direction, bend and length.
fn velvet_stroked(form: u32, at_mm: vec2f, label: u32) -> f32 {
    let stroke = load_texel(form + 3u);
    if (stroke.x == 0.0) {
        return 0.0;
    }
    let place = at_mm * stroke.x;
    let low_i = i32(floor(place.x - 0.5));
    let low_j = i32(floor(place.y - 0.5));
    var sum = 0.0;
    for (var n = 0; n < 4; n += 1) {
        let i = low_i + (n & 1);
        let j = low_j + (n >> 1u);
        let off = place
            - vec2f(f32(i), f32(j))
            - vec2f(0.5 + 0.2 * lattice(i, j, label + 31u), 0.5 + 0.2 * lattice(i, j, label + 32u));
        let way = turn(0.5 + 0.4999 * lattice(i, j, label + 33u));
        let far = off * (1.0 / stroke.x);
        let along = far.x * way.cosine + far.y * way.sine;
        let half_length = stroke.z * (0.85 + 0.15 * lattice(i, j, label + 34u));
        if (abs(along) < half_length) {
            let bend = 0.3 / half_length * lattice(i, j, label + 35u);
            let aside = (far.y * way.cosine - far.x * way.sine + bend * along * along) / stroke.y;
            // Lighter where the hand comes down and lifts off.
            let rest = 1.0 - along * along / (half_length * half_length);
            let press = rest * rest * (3.0 - 2.0 * rest);
            let side = select(-1.0, 1.0, lattice(i, j, label + 36u) > 0.0);
            sum += side * press * exp(-aside * aside);
        }
    }
    return clamp(sum, -1.0, 1.0);
}

// What the pile's lean is, before its single fibres: nap that lies, wanders, is crushed and stroked.
fn velvet_lean(form: u32, at_mm: vec2f, label: u32) -> vec2f {
    let nap = load_texel(form + 1u);
    // Each noise on a grid turned against the others.
    let p = vec2f(0.8 * at_mm.x + 0.6 * at_mm.y, 0.8 * at_mm.y - 0.6 * at_mm.x);
    let q = vec2f(0.923077 * at_mm.x - 0.384615 * at_mm.y, 0.923077 * at_mm.y + 0.384615 * at_mm.x);
    let crushed = 0.45 * noise_over(p.x * 0.047, p.y * 0.039, label + 11u)
        + 0.25 * noise_over(q.x * 0.163, q.y * 0.127, label + 12u)
        + 0.12 * noise_over(p.x * 0.61, p.y * 0.52, label + 13u);
    let wander = noise_over(q.x * 0.041, q.y * 0.053, label + 14u)
        + 0.5 * noise_over(p.x * 0.21, p.y * 0.17, label + 15u);
    // A stroke turns the lean and lays it flatter, and never shrinks it: a lean that passed through
    // upright would draw a dark outline on flat cloth.
    let stroked = velvet_stroked(form, at_mm, label);
    let at_turn = nap.x + nap.z * wander + load_texel(form + 3u).w * stroked;
    let way = turn(at_turn - floor(at_turn));
    let far = nap.y * max(1.0 + nap.w * crushed, 0.15) * (1.0 + 0.35 * abs(stroked));
    return far * vec2f(way.cosine, way.sine);
}

fn velvet_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let pile = load_texel(form);
    let fine = load_texel(form + 2u);
    let along_nap = load_texel(form + 4u);
    let label = u32(fine.w);
    let tips = velvet_tips(at_mm, fine.x, label);
    let tufts_left = detail_left(footprint_mm, 1.2 / fine.x);
    var lean = velvet_lean(form, at_mm, label);
    var tone = 1.0 + 0.16 * tips.value;
    // Tufts part: their fibres lean away from a clump's middle.
    lean -= 0.8 * fine.z * tufts_left * tips.slope;
    let fibres_left = detail_left(footprint_mm, 3.0 / fine.y);
    if (fibres_left > 0.01) {
        // Leaning fibres are seen from their side: longer along the nap than wide.
        let x = fine.y * (at_mm.y * along_nap.x - at_mm.x * along_nap.y);
        let y = 0.4 * fine.y * (at_mm.x * along_nap.x + at_mm.y * along_nap.y);
        // No noise keeps to its grid: each is turned and swayed by a slower one, or cells would show on bare pile.
        let sway = vec2f(noise_over(0.31 * x + 0.17 * y, 0.29 * y - 0.13 * x, label + 24u),
            noise_over(0.23 * x - 0.19 * y, 0.37 * y + 0.11 * x, label + 25u));
        let u = x + 1.1 * sway.x;
        let v = y + 0.7 * sway.y;
        let across = 0.65 * noise_over(0.92 * u + 0.38 * v, 0.92 * v - 0.38 * u, label + 21u)
            + 0.5 * noise_over(1.71 * u - 0.83 * v, 1.09 * v + 0.67 * u, label + 26u);
        let along = 0.65 * noise_over(0.81 * u - 0.59 * v, 0.87 * v + 0.52 * u, label + 22u)
            + 0.5 * noise_over(1.53 * u + 0.91 * v, 1.21 * v - 0.73 * u, label + 27u);
        let glint = noise_over(2.3 * u + 0.6 * v, 1.4 * v - 0.9 * u, label + 23u);
        lean += fibres_left * 0.20
            * vec2f(
                along * along_nap.x - across * along_nap.y,
                along * along_nap.y + across * along_nap.x,
            );
        tone += fibres_left * (0.12 * along + 0.10 * glint);
    }
    let steep = fine.z * tips.slope;
    return Thread(
        pile.xyz * max(tone, 0.1),
        PART_PILE,
        normalize(vec3f(lean, 1.0)),
        pile.w + fine.z * tips.value,
        clamp(steep, vec2f(-3.0), vec2f(3.0)),
        0.0,
        (1.0 - fibres_left * fibres_left) * (0.04 * PILE_NOISE_VARIANCE),
    );
}
