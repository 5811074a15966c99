// Sequins: discs sewn through their middles, each row's lower edges lying over the row below.
//
// Texels from `form` on, as src/fabric/structure/sequins.rs packs them:
//   0 colour of the discs, their radius (mm)
//   1 colour of the ground, hole's radius (mm)
//   2 spacing across, along (mm), how far places stray (mm), thread's half width (mm)
//   3 hang, tilt, stray (slopes), cup (slope at the edge over the radius, a mm)
//   4 seed, unevenness of colour, height at the middle (mm), height of the ground (mm)
//   5 colour of the thread, 0

struct SequinsDisc {
    // From its middle to the point.
    off: vec2f,
    tilt: vec2f,
    word: i32,
    // 1 where it covers the point; its hole counts as covered.
    there: u32,
}

// Few discs stand far off: most of h^7 is next to nothing.
fn sequins_tail(h: f32, tilt: f32, stray: f32) -> f32 {
    let cube = h * h * h;
    return tilt * h + stray * cube * cube * h;
}

fn sequins_disc(form: u32, at_mm: vec2f, column: i32, row: i32) -> SequinsDisc {
    let lay = load_texel(form + 2u);
    let stand = load_texel(form + 3u);
    let label = u32(load_texel(form + 4u).x);
    let shift = 0.5 * f32(row & 1);
    let place = lay.xy * vec2f(f32(column) + 0.5 + shift, f32(row) + 0.5);
    let off = at_mm - place - lay.z * leather_pair(column, row, label + 1u);
    let radius = load_texel(form).w;
    if (dot(off, off) >= radius * radius) {
        return SequinsDisc(off, vec2f(0.0), 0, 0u);
    }
    let even = leather_pair(column, row, label + 2u);
    return SequinsDisc(
        off,
        vec2f(
            sequins_tail(even.x, stand.y, stand.z),
            sequins_tail(even.y, stand.y, stand.z) - stand.x,
        ),
        column * 131 + row * 8191,
        1u,
    );
}

// The disc of one row on top here. Where two overlap, the one that stands higher half way between
// them lies over the other as a whole: discs never cut through each other.
fn sequins_in_row(form: u32, at_mm: vec2f, row: i32) -> SequinsDisc {
    let pitch = load_texel(form + 2u).x;
    let hole = load_texel(form + 1u).w;
    let column = i32(floor(at_mm.x / pitch - 0.5 * f32(row & 1) - 0.5));
    let left = sequins_disc(form, at_mm, column, row);
    let right = sequins_disc(form, at_mm, column + 1, row);
    if (right.there == 0u) {
        return left;
    }
    if (left.there == 0u) {
        return right;
    }
    if (left.tilt.x + right.tilt.x > 0.0) {
        if (dot(left.off, left.off) > hole * hole) {
            return left;
        }
        return right;
    }
    if (dot(right.off, right.off) > hole * hole) {
        return right;
    }
    return left;
}

// The disc on top here: the row above hangs over the row below. Through a hole one looks on down.
fn sequins_top(form: u32, at_mm: vec2f) -> SequinsDisc {
    let hole = load_texel(form + 1u).w;
    let row = i32(floor(at_mm.y / load_texel(form + 2u).y - 0.5));
    let upper = sequins_in_row(form, at_mm, row + 1);
    if (upper.there == 1u && dot(upper.off, upper.off) > hole * hole) {
        return upper;
    }
    let lower = sequins_in_row(form, at_mm, row);
    if (lower.there == 1u && dot(lower.off, lower.off) > hole * hole) {
        return lower;
    }
    // The ground: a hole's, or between discs. Its thread is told by the disc whose hole it is.
    if (upper.there == 1u) {
        return SequinsDisc(upper.off, upper.tilt, upper.word, 0u);
    }
    return SequinsDisc(lower.off, lower.tilt, lower.word, 0u);
}

// Width of the rolled rim, and its slope at the edge.
const SEQUINS_RIM_MM: f32 = 0.12;
const SEQUINS_RIM_SLOPE: f32 = 0.35;

// A disc's surface: height (x) and slopes (y, z).
fn sequins_plane(form: u32, disc: SequinsDisc) -> vec3f {
    let cup = load_texel(form + 3u).w;
    let radius = load_texel(form).w;
    let middle = load_texel(form + 4u).z;
    let d = root(dot(disc.off, disc.off));
    let out = max(d - (radius - SEQUINS_RIM_MM), 0.0);
    let bend = SEQUINS_RIM_SLOPE * out / SEQUINS_RIM_MM;
    let slope = disc.tilt + disc.off * (cup - bend / max(d, 1e-4));
    return vec3f(
        middle + dot(disc.tilt, disc.off) + 0.5 * cup * d * d - 0.5 * bend * out,
        slope.x,
        slope.y,
    );
}

// The ground weave: a fine plain one, height (x) and slopes (y, z).
fn sequins_ground(form: u32, at_mm: vec2f) -> vec3f {
    let u = at_mm.x * 4.1;
    let v = at_mm.y * 4.1;
    let across = turn(u - floor(u));
    let along = turn(v - floor(v));
    let steep = 0.04 * 4.1 * 2.0 * PI;
    return vec3f(
        load_texel(form + 4u).w + 0.04 * across.sine * along.sine,
        steep * across.cosine * along.sine,
        steep * across.sine * along.cosine,
    );
}

// Whether the thread runs here, from a hole out to its disc's edge, and where across it: -1 to 1.
fn sequins_across_thread(form: u32, disc: SequinsDisc) -> f32 {
    let wide = load_texel(form + 2u).w;
    let hole = load_texel(form + 1u).w;
    if (wide == 0.0 || disc.off.x < -hole) {
        return 2.0;
    }
    return clamp(disc.off.y / wide, -2.0, 2.0);
}

// Height (x) of the thread over what it lies on and its slope (y) along y.
fn sequins_thread_over(across: f32, wide: f32) -> vec2f {
    let rise = root(max(1.0 - across * across, 0.0));
    return vec2f(wide * rise, -across / max(rise, 0.2));
}

fn sequins_height(form: u32, at_mm: vec2f) -> f32 {
    let top = sequins_top(form, at_mm);
    let floor_mm = load_texel(form + 4u).w - 0.04;
    var height = sequins_ground(form, at_mm).x;
    if (top.there == 1u) {
        height = max(sequins_plane(form, top).x, floor_mm);
    }
    let across = sequins_across_thread(form, top);
    let hole = load_texel(form + 1u).w;
    if (abs(across) < 1.0 && (top.there == 1u || dot(top.off, top.off) < hole * hole)) {
        height += sequins_thread_over(across, load_texel(form + 2u).w).x;
    }
    return height;
}

fn sequins_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let discs = load_texel(form);
    let ground = load_texel(form + 1u);
    let wide = load_texel(form + 2u).w;
    let more = load_texel(form + 4u);
    let label = u32(more.x);
    let top = sequins_top(form, at_mm);
    let across = sequins_across_thread(form, top);
    let sewn = abs(across) < 1.0 && (top.there == 1u || dot(top.off, top.off) < ground.w * ground.w);
    var base = sequins_ground(form, at_mm);
    if (top.there == 1u) {
        base = sequins_plane(form, top);
        base.x = max(base.x, more.w - 0.04);
    }
    if (sewn) {
        let over = sequins_thread_over(across, wide);
        let left = detail_left(footprint_mm, wide);
        // Two strands wound about each other.
        let wind = sequins_wave(at_mm.x * 2.3 + 0.25 * across);
        return Thread(
            load_texel(form + 5u).xyz * (1.0 + 0.35 * left * wind),
            PART_WARP,
            normalize(vec3f(1.0, 0.35 * left, 0.0)),
            base.x + over.x,
            clamp(vec2f(base.y, base.z + over.y * left), vec2f(-3.0), vec2f(3.0)),
            across,
            0.03,
        );
    }
    if (top.there == 0u) {
        let left = detail_left(footprint_mm, 0.12);
        let u = i32(floor(at_mm.x * 8.2));
        let v = i32(floor(at_mm.y * 8.2));
        return Thread(
            ground.xyz * (1.0 + 0.2 * left * lattice(u, v, label + 7u)),
            PART_WARP,
            vec3f(1.0, 0.0, 0.0),
            base.x,
            left * vec2f(base.y, base.z),
            0.0,
            0.0,
        );
    }
    let d = root(dot(top.off, top.off));
    let rim = clamp((d - (discs.w - SEQUINS_RIM_MM)) * (1.0 / SEQUINS_RIM_MM), 0.0, 1.0);
    // Pressed from sheet: never quite flat.
    let dent = pile_noise(top.off.x * 1.1, top.off.y * 1.1, label + u32(top.word) + 8u);
    return Thread(
        discs.xyz * (1.0 + more.y * lattice(top.word, 5, label + 6u)) * (1.0 - 0.3 * rim),
        PART_SOLID,
        vec3f(1.0, 0.0, 0.0),
        base.x + 0.005 * dent.value,
        clamp(vec2f(base.y, base.z) + 0.0055 * dent.slope, vec2f(-3.0), vec2f(3.0)),
        0.0,
        0.0,
    );
}

// Sine of a place in turns.
fn sequins_wave(u: f32) -> f32 {
    return turn(u - floor(u)).sine;
}
