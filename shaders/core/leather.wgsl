// Leather: pebbles of grain with creases between them, finer cells on each, hair pores.
//
// Texels from `form` on, as src/fabric/structure/leather.rs packs them:
//   0 colour, depth of the creases (mm)
//   1 pebble (mm), its length over its width, seed, pores' spacing (mm; 0: none)
//   2 how much darker creases are, rise of the fine grain (mm), least and greatest slope variance of
//     grain too fine to be drawn (dull and glossy places)
//   3 pore radius, pore depth (mm), cloudiness of the colour, 0

// Two values in -1..1 of one hash, for two whole numbers and a label.
fn leather_pair(a: i32, b: i32, label: u32) -> vec2f {
    var v = u32(a) * 374761393u + u32(b) * 668265263u + label * 1442695041u;
    v = (v ^ (v >> 13u)) * 1274126177u;
    v = (v ^ (v >> 16u)) * 2246822519u;
    v = v ^ (v >> 15u);
    return vec2f(f32(v & 0xffffu), f32(v >> 16u)) * (1.0 / 32767.5) - vec2f(1.0);
}

struct LeatherShift {
    shift: vec2f,
    by_x: vec2f,
    by_y: vec2f,
}

// Smooth noise of two values, with slopes.
fn leather_shift(x: f32, y: f32, label: u32) -> LeatherShift {
    let whole_x = floor(x);
    let whole_y = floor(y);
    let i = i32(whole_x);
    let j = i32(whole_y);
    let f = x - whole_x;
    let g = y - whole_y;
    let ease_x = f * f * (3.0 - 2.0 * f);
    let ease_y = g * g * (3.0 - 2.0 * g);
    let a = leather_pair(i, j, label);
    let b = leather_pair(i + 1, j, label);
    let c = leather_pair(i, j + 1, label);
    let d = leather_pair(i + 1, j + 1, label);
    let low = a + (b - a) * ease_x;
    let high = c + (d - c) * ease_x;
    return LeatherShift(
        low + (high - low) * ease_y,
        ((b - a) + (d - c - b + a) * ease_y) * (6.0 * f * (1.0 - f)),
        (high - low) * (6.0 * g * (1.0 - g)),
    );
}

struct LeatherCell {
    // How much nearer its own centre is than the next: 0 on the border (Worley 1996: F2 - F1).
    inner: f32,
    slope: vec2f,
    // The cell's own number, -1..1.
    own: f32,
}

// The cells about scattered points, in units of the cell.
fn leather_cell(at_cell: vec2f, label: u32) -> LeatherCell {
    let whole = floor(at_cell);
    let i = i32(whole.x);
    let j = i32(whole.y);
    let inside = at_cell - whole;
    var first = 9.0;
    var second = 9.0;
    var first_x = 1.0;
    var first_y = 0.0;
    var second_x = 1.0;
    var second_y = 0.0;
    var own = 0.0;
    for (var b = -1; b < 2; b += 1) {
        for (var a = -1; a < 2; a += 1) {
            let jitter = leather_pair(i + a, j + b, label);
            let off = inside - vec2f(f32(a) + 0.5, f32(b) + 0.5) - 0.42 * jitter;
            let away = dot(off, off);
            // Written without branches: they would be guessed wrong half the time.
            let closer = away < first;
            let next = away < second;
            second_x = select(select(second_x, off.x, next), first_x, closer);
            second_y = select(select(second_y, off.y, next), first_y, closer);
            second = min(second, max(first, away));
            first_x = select(first_x, off.x, closer);
            first_y = select(first_y, off.y, closer);
            own = select(own, jitter.x + jitter.y, closer);
            first = min(first, away);
        }
    }
    let near = root(first);
    let next = root(second);
    return LeatherCell(
        next - near,
        vec2f(second_x, second_y) * (1.0 / max(next, 1e-4))
            - vec2f(first_x, first_y) * (1.0 / max(near, 1e-4)),
        0.5 * own,
    );
}

struct LeatherGrain {
    height_mm: f32,
    slope: vec2f,
    // 1 down in a crease, 0 on a pebble.
    crease: f32,
    // The pebble's own number, -1..1, and a slow one over the hide, -1..1.
    own: f32,
    broad: f32,
}

// Where the grain stays under `over_mm`, some height up to that and no more.
fn leather_grain(form: u32, at_mm: vec2f, over_mm: f32) -> LeatherGrain {
    let head = load_texel(form);
    let shape = load_texel(form + 1u);
    let pores = load_texel(form + 3u);
    let size = shape.x;
    let per = 1.0 / size;
    let label = u32(shape.z);
    // The hide is stretched unevenly, cells wander, their borders are ragged.
    let slow = leather_shift(at_mm.x * per * 0.076, at_mm.y * per * 0.076, label + 1u);
    let whole_mm = head.w * (1.0 + 0.25 * slow.shift.x);
    if (over_mm >= whole_mm * 1.22 + 0.14 * head.w) {
        return LeatherGrain(over_mm, vec2f(0.0), 0.0, 0.0, 0.0);
    }
    let wave = leather_shift(at_mm.x * per * 0.8, at_mm.y * per * 0.8, label + 2u);
    let ragged = leather_shift(at_mm.x * per * 3.7, at_mm.y * per * 3.7, label + 3u);
    let moved = at_mm * per + 1.7 * slow.shift + 0.22 * wave.shift + 0.10 * ragged.shift;
    let by_x = per
        * (vec2f(1.0, 0.0) + 1.7 * 0.076 * slow.by_x + 0.22 * 0.8 * wave.by_x + 0.37 * ragged.by_x);
    let by_y = per
        * (vec2f(0.0, 1.0) + 1.7 * 0.076 * slow.by_y + 0.22 * 0.8 * wave.by_y + 0.37 * ragged.by_y);

    let flat = vec2f(1.0, shape.y);
    let large = leather_cell(moved * flat, label + 4u);
    // A rounded valley: inner^2 / (inner + e) is flat at its bottom.
    let e = 0.05;
    let valley = large.inner * large.inner / (large.inner + e);
    let fade = exp(-3.0 * valley);
    let tall = whole_mm * (1.0 + 0.22 * large.own);
    if (over_mm >= tall * (1.0 - fade) + 0.14 * head.w) {
        return LeatherGrain(over_mm, vec2f(0.0), 0.0, 0.0, 0.0);
    }
    // Turned against the first (5-12-13 triangle).
    let turned = 2.5
        * vec2f(
            0.923077 * moved.x - 0.384615 * moved.y,
            0.923077 * moved.y + 0.384615 * moved.x,
        );
    let small = leather_cell(turned, label + 5u);

    let valley_slope = large.inner * (large.inner + 2.0 * e) / ((large.inner + e) * (large.inner + e));
    let crackle = exp(-4.0 * small.inner);
    let low = 0.14 * head.w * (0.6 + 0.4 * small.own);
    var height = tall * (1.0 - fade) + low * (1.0 - crackle);
    // By the moved place, then by x and y.
    let steep_large = (3.0 * tall * fade * valley_slope) * large.slope * flat;
    let steep_small = (4.0 * low * crackle * 2.5)
        * vec2f(
            0.923077 * small.slope.x + 0.384615 * small.slope.y,
            0.923077 * small.slope.y - 0.384615 * small.slope.x,
        );
    let steep = steep_large + steep_small;
    let broad_steep = 0.25 * head.w * (1.0 + 0.22 * large.own) * (1.0 - fade) * 0.076 * per;
    var slope = vec2f(
        dot(steep, by_x) + broad_steep * slow.by_x.x,
        dot(steep, by_y) + broad_steep * slow.by_y.x,
    );

    if (shape.w > 0.0) {
        let place = at_mm / shape.w;
        let whole = floor(place);
        let i = i32(whole.x);
        let j = i32(whole.y);
        let spot = leather_pair(i, j, label + 6u);
        let off = (place - whole - vec2f(0.5) - 0.36 * spot) * shape.w;
        let away = dot(off, off) / (pores.x * pores.x);
        if (away < 9.0 && spot.x + spot.y > -0.3) {
            let pit = pores.y * exp(-away);
            height -= pit;
            slope += (2.0 * pit / (pores.x * pores.x)) * off;
        }
    }
    return LeatherGrain(height, slope, exp(-9.0 * large.inner), large.own, slow.shift.y);
}

fn leather_height(form: u32, at_mm: vec2f, over_mm: f32) -> f32 {
    return leather_grain(form, at_mm, over_mm).height_mm;
}

fn leather_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let head = load_texel(form);
    let shape = load_texel(form + 1u);
    let finish = load_texel(form + 2u);
    let cloudiness = load_texel(form + 3u).z;
    let label = u32(shape.z);
    let grain = leather_grain(form, at_mm, UNDER_ALL_MM);
    // Dull and glossy places: in clouds, and backs polished by wear against creases that never are.
    let clouds = 0.5 * grain.broad + 0.5 * noise_over(at_mm.x * 0.113, at_mm.y * 0.097, label + 11u);
    let dull = clamp(0.4 + 0.8 * clouds + 0.5 * grain.own + 0.6 * grain.crease, 0.0, 1.0);
    var height = grain.height_mm;
    var slope = grain.slope;
    var fine = 0.0;
    let grain_left = detail_left(footprint_mm, 0.15);
    if (grain_left > 0.01) {
        let a = pile_noise(at_mm.x * 13.0 + 2.1 * at_mm.y, at_mm.y * 13.7, label + 12u);
        let b = pile_noise(at_mm.x * 4.3, at_mm.y * 4.7 - 0.9 * at_mm.x, label + 13u);
        let rise = finish.y * grain_left * (0.35 + 0.65 * dull);
        fine = 0.35 * a.value + 0.65 * b.value;
        height += rise * fine;
        slope += rise
            * (0.35 * vec2f(13.0 * a.slope.x, 2.1 * a.slope.x + 13.7 * a.slope.y)
                + 0.65 * vec2f(4.3 * b.slope.x - 0.9 * b.slope.y, 4.7 * b.slope.y));
    }
    let tone = (1.0 - finish.x * grain.crease)
        * (1.0
            + cloudiness * (clouds + 0.5 * noise_over(at_mm.x * 0.93, at_mm.y * 0.87, label + 14u))
            + 0.05 * grain.own
            + 0.06 * grain_left * fine);
    // Variance of the grain's slopes, about (2.3 rise)^2 an axis, once the footprint has taken it.
    let lost = finish.y * (0.35 + 0.65 * dull) * 2.3;
    return Thread(
        head.xyz * max(tone, 0.05),
        PART_SOLID,
        vec3f(1.0, 0.0, 0.0),
        height,
        clamp(slope, vec2f(-3.0), vec2f(3.0)),
        0.0,
        mix(finish.z, finish.w, dull) + (1.0 - grain_left * grain_left) * lost * lost,
    );
}
