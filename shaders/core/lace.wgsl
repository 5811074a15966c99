// Lace: motifs of close work on a net ground, outlined with a cord.
//
// Motifs lie about the points of a lattice, each strayed, turned, mirrored and scaled by its own hash,
// and drawn from a few tiles that hold how far a place is from the drawing's lines. Tiles are read
// through a quadratic B-spline, so that distances and their slopes are smooth at any magnification.
//
// Texels from `form` on, as src/fabric/structure/lace.rs packs them:
//   0 distance of motifs, farthest a motif reaches, how many tiles, seed (mm)
//   1 texels across a tile, texels a mm, where tiles, net and skin start (from form)
//   2 cord's radius, line's radius, spacing of the close work's threads, height of its middle
//   3 colour, lowest height
//   4 skin's start, 0, 0, 0
// Texels of a tile: distance to the edge of close work (mm, negative inside), distance to the nearest
// line, direction of the close work (half turns; 2 more where it is open) and 4 times the
// nearest stroke's direction (in LACE_WAYS of a turn), place along that stroke.

struct Lace {
    pitch_mm: f32,
    reach_mm: f32,
    tiles: f32,
    label: u32,
    across: i32,
    per_mm: f32,
    first: u32,
    net: u32,
    cord_mm: f32,
    line_mm: f32,
    thread_mm: f32,
    lift_mm: f32,
}

// A motif's drawing about a place.
struct LaceDrawn {
    edge_mm: f32,
    line_mm: f32,
    // In the cloth's frame, of length 1 where the drawing is even.
    edge_slope: vec2f,
    line_slope: vec2f,
    // In the motif's frame.
    at: vec2f,
    // Sine and cosine of the motif's turn, and -1 where mirrored.
    spin: vec3f,
    nearest: u32,
    offset: vec2f,
    number: i32,
}

struct LaceTop {
    height_mm: f32,
    slope: vec2f,
    fibre: vec2f,
    across: f32,
    along_mm: f32,
    radius_mm: f32,
    number: i32,
}

const LACE_ROW: f32 = 0.87;
const LACE_STRAY: f32 = 0.10;
// Directions of the nearest stroke that tiles tell apart.
const LACE_WAYS: f32 = 16.0;

fn lace_load(form: u32) -> Lace {
    let a = load_texel(form);
    let b = load_texel(form + 1u);
    let c = load_texel(form + 2u);
    return Lace(
        a.x, a.y, a.z, u32(a.w), i32(b.x), b.y, form + u32(b.z), form + u32(b.w), c.x, c.y, c.z, c.w,
    );
}

// The motif of lattice point (i, j), whose drawing is all beyond reach where edge_mm is 9.
fn lace_drawn(lace: Lace, at_mm: vec2f, i: i32, j: i32) -> LaceDrawn {
    var drawn = LaceDrawn(
        9.0, 9.0, vec2f(0.0), vec2f(0.0), vec2f(0.0), vec3f(0.0), 0u, vec2f(0.0), 0,
    );
    let centre = vec2f(f32(i) + 0.5 * f32(j & 1), LACE_ROW * f32(j)) * lace.pitch_mm;
    let even = at_mm - centre;
    let most = lace.reach_mm + 1.5 * LACE_STRAY * lace.pitch_mm;
    if (dot(even, even) > most * most) {
        return drawn;
    }
    let bits = u32((lattice(i, j, lace.label) + 1.0) * 8388607.0);
    let stray_x = f32(bits & 255u) * (1.0 / 127.5) - 1.0;
    let stray_y = f32((bits >> 8u) & 255u) * (1.0 / 127.5) - 1.0;
    let shrink = 0.84 + 0.16 / 127.0 * f32((bits >> 16u) & 127u);
    let q = even - vec2f(stray_x, stray_y) * (LACE_STRAY * lace.pitch_mm);
    let reach = lace.reach_mm * shrink;
    if (dot(q, q) > reach * reach) {
        return drawn;
    }
    let more = u32((lattice(i, j, lace.label + 1u) + 1.0) * 8388607.0);
    let spin = turn(f32(more & 1023u) * (1.0 / 1024.0));
    let mirror = select(-1.0, 1.0, ((more >> 10u) & 1u) == 1u);
    let tile = u32(f32((more >> 11u) & 1023u) * (1.0 / 1024.0) * lace.tiles);
    let turned = vec2f(q.x * spin.cosine + q.y * spin.sine, q.y * spin.cosine - q.x * spin.sine);
    drawn.at = vec2f(turned.x * mirror, turned.y) * (1.0 / shrink);
    drawn.spin = vec3f(spin.sine, spin.cosine, mirror);
    drawn.number = 64 * (i * 977 + j);

    let grid = drawn.at * lace.per_mm + vec2f(0.5 * f32(lace.across));
    let whole_x = floor(grid.x);
    let whole_y = floor(grid.y);
    let x = clamp(i32(whole_x), 1, lace.across - 2);
    let y = clamp(i32(whole_y), 1, lace.across - 2);
    drawn.nearest = lace.first + tile * u32(lace.across * lace.across)
        + u32(y * lace.across + x);
    // From the middle of the nearest texel.
    let f = grid.x - whole_x - 0.5;
    let g = grid.y - whole_y - 0.5;
    drawn.offset = vec2f(f, g) / lace.per_mm;
    let fx = vec3f(0.5 * (0.5 - f) * (0.5 - f), 0.75 - f * f, 0.5 * (0.5 + f) * (0.5 + f));
    let gx = vec3f(f - 0.5, -2.0 * f, f + 0.5);
    let fy = vec3f(0.5 * (0.5 - g) * (0.5 - g), 0.75 - g * g, 0.5 * (0.5 + g) * (0.5 + g));
    let gy = vec3f(g - 0.5, -2.0 * g, g + 0.5);
    let row = u32(lace.across);
    var value = vec2f(0.0);
    var by_x = vec2f(0.0);
    var by_y = vec2f(0.0);
    for (var k = 0u; k < 3u; k++) {
        let start = drawn.nearest + k * row - row;
        let a = load_texel(start - 1u).xy;
        let b = load_texel(start).xy;
        let c = load_texel(start + 1u).xy;
        let across = a * fx.x + b * fx.y + c * fx.z;
        var weight = fy.x;
        var rate = gy.x;
        if (k == 1u) {
            weight = fy.y;
            rate = gy.y;
        } else if (k == 2u) {
            weight = fy.z;
            rate = gy.z;
        }
        value += across * weight;
        by_x += (a * gx.x + b * gx.y + c * gx.z) * weight;
        by_y += across * rate;
    }
    drawn.edge_mm = value.x * shrink;
    drawn.line_mm = value.y * shrink;
    drawn.edge_slope = lace_out(drawn, vec2f(by_x.x, by_y.x) * lace.per_mm);
    drawn.line_slope = lace_out(drawn, vec2f(by_x.y, by_y.y) * lace.per_mm);
    return drawn;
}

// A direction of the motif's frame in the cloth's.
fn lace_out(drawn: LaceDrawn, d: vec2f) -> vec2f {
    let x = d.x * drawn.spin.z;
    return vec2f(
        x * drawn.spin.y - d.y * drawn.spin.x,
        x * drawn.spin.x + d.y * drawn.spin.y,
    );
}

// A cord about the zero of a distance: `off_mm` from its middle.
fn lace_cord(lace: Lace, drawn: LaceDrawn, off_mm: f32, slope: vec2f, radius: f32, middle: f32)
    -> LaceTop {
    let rest = root(max(radius * radius - off_mm * off_mm, 1e-3 * radius * radius));
    let length2 = max(dot(slope, slope), 1e-6);
    let n = slope * (1.0 / root(length2));
    let texel = load_texel(drawn.nearest);
    let drawn_way = turn((floor(0.25 * texel.z) + 0.5) * (1.0 / LACE_WAYS));
    var t = vec2f(n.y, -n.x);
    var across = clamp(off_mm / radius, -1.0, 1.0);
    if (dot(t, lace_out(drawn, vec2f(drawn_way.cosine, drawn_way.sine))) < 0.0) {
        t = -t;
        across = -across;
    }
    // Along the drawing: the nearest texel's place, and on from there.
    let way = lace_out(drawn, drawn.offset);
    return LaceTop(
        middle + 0.9 * rest,
        slope * (-0.9 * off_mm / rest),
        t,
        across,
        texel.w + dot(way, t),
        radius,
        drawn.number,
    );
}

// Threads in plain weave, or open trellis, inside a motif; height -1e6 in its holes.
fn lace_close(lace: Lace, drawn: LaceDrawn) -> LaceTop {
    let texel = load_texel(drawn.nearest);
    var half_turns = texel.z - 4.0 * floor(0.25 * texel.z);
    var pitch = lace.thread_mm;
    var width = 0.88;
    if (half_turns > 1.5) {
        half_turns -= 2.0;
        pitch = 2.1 * lace.thread_mm;
        width = 0.46;
    }
    let angle = turn(clamp(0.5 * half_turns, 0.0, 1.0));
    let axis = vec2f(angle.cosine, angle.sine);
    let u = dot(drawn.at, axis) / pitch;
    let v = (drawn.at.y * axis.x - drawn.at.x * axis.y) / pitch;
    let ku = i32(floor(u));
    let kv = i32(floor(v));
    let du = 2.0 * (u - floor(u)) - 1.0 + 0.14 * lattice(ku, drawn.number, lace.label + 3u);
    let dv = 2.0 * (v - floor(v)) - 1.0 + 0.14 * lattice(kv, drawn.number, lace.label + 4u);
    let side = 1.0 - 2.0 * f32((ku + kv) & 1);
    let r = 0.5 * pitch * width;
    let b = 0.28 * lace.thread_mm;
    let swing = 0.2 * lace.thread_mm;
    let qu = du / width;
    let qv = dv / width;
    var best = LaceTop(-1e6, vec2f(0.0), axis, 0.0, 0.0, r, 0);
    if (abs(qv) < 1.0) {
        let rest = root(max(1.0 - qv * qv, 0.002));
        best.height_mm = lace.lift_mm + b * rest + swing * side * (1.0 - du * du);
        let s = lace_out(drawn, axis) * (-4.0 * swing * side * du / pitch)
            + lace_out(drawn, vec2f(-axis.y, axis.x)) * (-2.0 * b * qv / (rest * width * pitch));
        best.slope = s;
        best.fibre = lace_out(drawn, axis);
        best.across = qv * drawn.spin.z;
        best.along_mm = u * pitch;
        best.number = drawn.number + 2 * kv + 1000003;
    }
    if (abs(qu) < 1.0) {
        let rest = root(max(1.0 - qu * qu, 0.002));
        let height = lace.lift_mm + b * rest - swing * side * (1.0 - dv * dv);
        if (height > best.height_mm) {
            best.height_mm = height;
            let s = lace_out(drawn, vec2f(-axis.y, axis.x)) * (4.0 * swing * side * dv / pitch)
                + lace_out(drawn, axis) * (-2.0 * b * qu / (rest * width * pitch));
            best.slope = s;
            best.fibre = lace_out(drawn, vec2f(-axis.y, axis.x));
            best.across = -qu * drawn.spin.z;
            best.along_mm = v * pitch;
            best.number = drawn.number + 2 * ku + 1000002;
        }
    }
    return best;
}

// The highest thread of the motifs over a place; height -1e6 where there is none, and `covered` 1 (in
// across) where a motif has taken the net's place.
fn lace_top(lace: Lace, at_mm: vec2f) -> LaceTop {
    var best = LaceTop(-1e6, vec2f(0.0), vec2f(1.0, 0.0), 0.0, 0.0, 0.0, 0);
    let row = floor(at_mm.y / (LACE_ROW * lace.pitch_mm));
    for (var k = 0; k < 2; k++) {
        let j = i32(row) + k;
        let column = floor(at_mm.x / lace.pitch_mm - 0.5 * f32(j & 1));
        for (var l = 0; l < 2; l++) {
            let drawn = lace_drawn(lace, at_mm, i32(column) + l, j);
            if (drawn.edge_mm < 0.0) {
                let close = lace_close(lace, drawn);
                if (close.height_mm > best.height_mm) {
                    best = close;
                } else if (best.height_mm < -1e5) {
                    best.across = 1.0;
                }
            }
            if (abs(drawn.edge_mm) < lace.cord_mm) {
                let cord = lace_cord(
                    lace, drawn, drawn.edge_mm, drawn.edge_slope, lace.cord_mm, 2.0 * lace.lift_mm,
                );
                if (cord.height_mm > best.height_mm) {
                    best = cord;
                }
            }
            if (abs(drawn.line_mm) < lace.line_mm) {
                let line = lace_cord(
                    lace, drawn, drawn.line_mm, drawn.line_slope, lace.line_mm, 1.8 * lace.lift_mm,
                );
                if (line.height_mm > best.height_mm) {
                    best = line;
                }
            }
        }
    }
    return best;
}

fn lace_height(form: u32, at_mm: vec2f, over_mm: f32) -> f32 {
    let lace = lace_load(form);
    // Cord, line and close work at their highest.
    let cord = 2.0 * lace.lift_mm + 0.9 * lace.cord_mm;
    let line = 1.8 * lace.lift_mm + 0.9 * lace.line_mm;
    let close = lace.lift_mm + 0.48 * lace.thread_mm;
    let widest = max(lace.cord_mm, max(lace.line_mm, 1.05 * lace.thread_mm));
    let plies = yarn_ply_most(form + u32(load_texel(form + 4u).x), widest);
    if (over_mm >= max(cord, max(line, close)) + plies) {
        return max(net_height(lace.net, at_mm, over_mm), over_mm);
    }
    let top = lace_top(lace, at_mm);
    let low = load_texel(form + 3u).w;
    if (top.height_mm > -1e5) {
        let skin = form + u32(load_texel(form + 4u).x);
        return top.height_mm
            + yarn_ply_height(skin, top.along_mm, top.across, top.radius_mm);
    }
    if (top.across > 0.5) {
        return low;
    }
    return max(net_height(lace.net, at_mm, over_mm), low);
}

fn lace_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let lace = lace_load(form);
    let top = lace_top(lace, at_mm);
    let paint = load_texel(form + 3u);
    if (top.height_mm < -1e5) {
        if (top.across > 0.5) {
            return gap(paint.w);
        }
        var ground = net_thread(lace.net, at_mm, footprint_mm);
        ground.height_mm = max(ground.height_mm, paint.w);
        return ground;
    }
    var made = gap(top.height_mm);
    made.part = PART_WARP;
    made.colour = paint.xyz;
    made.slope = top.slope;
    made.fibre = vec3f(top.fibre, 0.0);
    made.across = top.across;
    let skin = form + u32(load_texel(form + 4u).x);
    return yarn_skin(skin, made, top.along_mm, top.number, top.radius_mm, footprint_mm);
}
