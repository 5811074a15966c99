// Net (tulle, bobbinet): hexagonal holes. The sides that run with the warp are two yarns twisted
// about each other, the slanting ones single, and where three sides meet is a small knot.
//
// Holes' middles form a lattice of triangles, and each triangle's middle is a knot; so the sides near
// a place are the three of the knot in whose triangle it lies.
//
// Texels from `form` on, as src/fabric/structure/net.rs packs them:
//   0 hole (mm across, side to side), irregularity, radius of a yarn, how much fatter a slanting side
//   1 section's height factor, turns of twist in a side, seed, where the skin starts (from form)
//   2 colour, lowest height
//   3 knot (share of the radius), bow of a slanting side (mm), 0, 0

struct Net {
    hole_mm: f32,
    stray: f32,
    radius_mm: f32,
    single: f32,
    fullness: f32,
    turns: f32,
    label: u32,
    skin: u32,
    knot: f32,
    bow_mm: f32,
}

// A yarn's surface over a place; height -1e6 beside it.
struct NetYarn {
    height_mm: f32,
    slope: vec2f,
    tangent: vec2f,
    across: f32,
    along_mm: f32,
    number: i32,
}

struct NetKnot {
    // In triangles.
    i: i32,
    j: i32,
    // 0 where sides go down, up-left and up-right; 1 the other way up.
    upper: i32,
    // From the knot to the place, and to the knots about it.
    here: vec2f,
    first: vec2f,
    second: vec2f,
    third: vec2f,
}

const NET_ROW: f32 = 0.8660254;

fn net_load(form: u32) -> Net {
    let a = load_texel(form);
    let b = load_texel(form + 1u);
    let c = load_texel(form + 3u);
    return Net(a.x, a.y, a.z, a.w, b.x, b.y, u32(b.z), form + u32(b.w), c.x, c.y);
}

// How far a knot lies from its even place.
fn net_shift(net: Net, i: i32, j: i32, upper: i32) -> vec2f {
    let bits = u32((lattice(i, 2 * j + upper, net.label) + 1.0) * 8388607.0);
    let x = f32(bits & 4095u) * (1.0 / 2047.5) - 1.0;
    let y = f32((bits >> 12u) & 4095u) * (1.0 / 2047.5) - 1.0;
    return vec2f(x, y) * (net.stray * net.hole_mm);
}

fn net_knot(net: Net, at_mm: vec2f) -> NetKnot {
    let v = at_mm.y / (NET_ROW * net.hole_mm);
    let u = at_mm.x / net.hole_mm - 0.5 * v;
    let whole_u = floor(u);
    let whole_v = floor(v);
    let fu = u - whole_u;
    let fv = v - whole_v;
    let i = i32(whole_u);
    let j = i32(whole_v);
    let upper = select(0, 1, fu + fv > 1.0);
    let way = 1 - 2 * upper;
    let middle = (1.0 + f32(upper)) / 3.0;
    let own = net_shift(net, i, j, upper);
    let du = fu - middle;
    let dv = fv - middle;
    let here = net.hole_mm * vec2f(du + 0.5 * dv, NET_ROW * dv) - own;
    let side = net.hole_mm * (1.0 / (2.0 * NET_ROW)) * f32(way);
    let other = 1 - upper;
    // Across the triangle's level side, its slanting sides.
    let first = vec2f(0.0, -side) + net_shift(net, i, j - way, other) - own;
    let second = vec2f(-NET_ROW * side, 0.5 * side) + net_shift(net, i - way, j, other) - own;
    let third = vec2f(NET_ROW * side, 0.5 * side) + net_shift(net, i, j, other) - own;
    return NetKnot(i, j, upper, here, first, second, third);
}

// The yarn about the line from the knot (0, 0) to `to`, set off to the left by `off` with slope
// `off_slope`, its middle at `lift` with slope `lift_slope`.
fn net_yarn(
    net: Net,
    p: vec2f,
    to: vec2f,
    off: vec2f,
    lift: vec2f,
    radius_mm: f32,
    number: i32,
) -> NetYarn {
    let span = root(dot(to, to));
    let t = to * (1.0 / span);
    let left = vec2f(-t.y, t.x);
    let along = dot(p, t);
    // Knots: fatter towards both ends.
    let from_end = min(along, span - along);
    let near = clamp(1.0 - from_end / (4.0 * radius_mm), 0.0, 1.0);
    let swell = 1.0 + net.knot * near * near;
    let r = radius_mm * swell;
    var e = dot(p, left) - off.x;
    var pull = 0.0;
    let beyond = max(-from_end, 0.0);
    var inside = r * r - e * e;
    if (beyond > 0.0) {
        inside -= beyond * beyond;
        pull = select(along, along - span, along > 0.5 * span);
    }
    if (inside <= 0.0) {
        return NetYarn(-1e6, vec2f(0.0), t, 0.0, 0.0, number);
    }
    let rest = root(max(inside, 1e-4 * r * r));
    let steep = net.fullness / rest;
    var fatter = 0.0;
    if (near > 0.0 && beyond == 0.0) {
        fatter = select(-0.5, 0.5, along > 0.5 * span) * net.knot * near;
    }
    let lengthwise = lift.y + steep * (e * off.y - pull + fatter * r);
    return NetYarn(
        lift.x + net.fullness * root(inside),
        t * lengthwise - left * (steep * e),
        t,
        e / r,
        along,
        number,
    );
}

fn net_single(net: Net, p: vec2f, to: vec2f, number: i32, bow_mm: f32) -> NetYarn {
    let span2 = dot(to, to);
    let share = dot(p, to) / span2;
    let off = vec2f(4.0 * share * (1.0 - share), 4.0 * (1.0 - 2.0 * share) / root(span2)) * bow_mm;
    return net_yarn(net, p, to, off, vec2f(0.0), net.radius_mm * net.single, number);
}

// One of the two yarns of a twisted side; `p` from its lower knot.
fn net_twisted(net: Net, p: vec2f, to: vec2f, number: i32, strand: i32) -> NetYarn {
    let span2 = dot(to, to);
    let turns = net.turns * clamp(dot(p, to) / span2, 0.0, 1.0) + 0.5 * f32(strand);
    let angle = turn(turns - floor(turns));
    let rate = net.turns * 2.0 * PI / root(span2);
    let r = net.radius_mm;
    // Right-handed: what lies on top runs up to the right.
    let off = vec2f(angle.cosine, -angle.sine * rate) * (0.62 * r);
    let lift = vec2f(angle.sine, angle.cosine * rate) * (0.75 * r);
    return net_yarn(net, p, to, off, lift, r, 2 * number + strand);
}

// The highest yarn over a place.
fn net_top(net: Net, at_mm: vec2f) -> NetYarn {
    let knot = net_knot(net, at_mm);
    // Sides count from their knot of the lower kind, and run from it.
    let own = 3 * (knot.i * 7919 + knot.j);
    var left_number = own + 1;
    var down_number = own;
    var way = 1.0;
    if (knot.upper == 1) {
        left_number += 3 * 7919;
        down_number += 3;
        way = -1.0;
    }
    var from_knot = knot.here;
    if (knot.upper == 1) { from_knot = knot.here - knot.second; }
    var best = net_single(net, from_knot, knot.second * way, left_number, net.bow_mm);
    if (knot.upper == 1) { from_knot = knot.here - knot.third; }
    let third = net_single(net, from_knot, knot.third * way, own + 2, -net.bow_mm);
    if (third.height_mm > best.height_mm) {
        best = third;
    }
    // The twisted side runs up.
    var p = knot.here;
    var to = knot.first;
    if (knot.upper == 0) {
        p = knot.here - knot.first;
        to = -knot.first;
    }
    let reach = dot(p, vec2f(-to.y, to.x));
    let limit = 2.2 * net.radius_mm * (1.0 + net.knot);
    if (reach * reach < limit * limit * dot(to, to)) {
        for (var strand = 0; strand < 2; strand++) {
            let yarn = net_twisted(net, p, to, down_number, strand);
            if (yarn.height_mm > best.height_mm) {
                best = yarn;
            }
        }
    }
    return best;
}

fn net_height(form: u32, at_mm: vec2f, over_mm: f32) -> f32 {
    let net = net_load(form);
    // Twisted yarns ride over each other; knots are fatter.
    let fat = max(net.fullness * max(net.single, 1.0) * (1.0 + net.knot), 0.75 + net.fullness * (1.0 + net.knot));
    if (over_mm >= net.radius_mm * fat + yarn_ply_most(net.skin, net.radius_mm)) {
        return over_mm;
    }
    let top = net_top(net, at_mm);
    if (top.height_mm < -1e5) {
        return load_texel(form + 2u).w;
    }
    return top.height_mm
        + yarn_ply_height(net.skin, top.along_mm, clamp(top.across, -1.0, 1.0), net.radius_mm);
}

fn net_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let net = net_load(form);
    let paint = load_texel(form + 2u);
    let top = net_top(net, at_mm);
    if (top.height_mm < -1e5) {
        return gap(paint.w);
    }
    var made = gap(top.height_mm);
    made.part = PART_WARP;
    made.colour = paint.xyz;
    made.slope = top.slope;
    made.fibre = vec3f(top.tangent, 0.0);
    made.across = clamp(top.across, -1.0, 1.0);
    return yarn_skin(net.skin, made, top.along_mm, top.number, net.radius_mm, footprint_mm);
}
