// Knitted cloth, face to the viewer: plain jersey and ribs.
//
// Each course is one yarn that runs from sinker loop (low, between two wales) up a leg to the head
// of its needle loop and down again. From node to node it is two arcs and the straight leg that
// touches both (Peirce 1947 and Leaf 1955 drew loops so, from memory), so that the nearest place of
// its middle line has a closed form. A face loop's legs lie over the head of the loop that they are
// drawn through; of a purl loop only head and sinker show.
//
// Texels from `form` on, as src/fabric/structure/knit.rs packs them:
//   0 half a wale, course (mm), face wales in a rib's repeat (0: jersey), purl wales' width factor
//   1 yarn's radius, its section's height factor, height of the legs' middle line, half a loop's height
//   2 arcs' radius over half a wale, irregularity, unevenness of the yarn, height of a rib
//   3 seed, where the skin starts (from form), length of yarn from node to node, lowest height
//   4 colour, 1 where the yarn is plied

struct Knit {
    half_mm: f32,
    course_mm: f32,
    face_wales: f32,
    purl_width: f32,
    radius_mm: f32,
    fullness: f32,
    rise_mm: f32,
    reach_mm: f32,
    bend: f32,
    stray: f32,
    uneven: f32,
    rib_mm: f32,
    label: u32,
    skin: u32,
    between_mm: f32,
    low_mm: f32,
}

// Half a wale: from the line between two wales to a wale's middle, or on from there.
struct KnitHalf {
    // Of all the cloth's: even ones start at a sinker loop, odd ones at a head.
    number: i32,
    left_mm: f32,
    width_mm: f32,
    // 1 face, -1 purl; nearing 0 where a sinker loop crosses from face to back.
    face: f32,
    sinker_face: f32,
}

// The middle line's nearest place to a point, in a frame where the yarn rises to the right.
struct KnitPlace {
    // From the middle line, positive to the left of the yarn's way up.
    aside_mm: f32,
    // Over the course's middle.
    up_mm: f32,
    radius_mm: f32,
    tangent: vec2f,
    // How much slower the nearest place moves than the point does.
    drag: f32,
    // 0 sinker's arc, 1 leg, 2 head's arc.
    piece: u32,
    leg: vec2f,
    leg_mm: f32,
    along_leg_mm: f32,
    arc_mm: f32,
    turned: f32,
}

struct KnitNode {
    shift: vec2f,
    thick: f32,
}

struct KnitTop {
    height_mm: f32,
    course: i32,
    // Which half: 0 the point's own, or its neighbour.
    beside: i32,
}

fn knit_load(form: u32) -> Knit {
    let a = load_texel(form);
    let b = load_texel(form + 1u);
    let c = load_texel(form + 2u);
    let d = load_texel(form + 3u);
    return Knit(
        a.x, a.y, a.z, a.w, b.x, b.y, b.z, b.w, c.x, c.y, c.z, c.w, u32(d.x), form + u32(d.y), d.z, d.w,
    );
}

// Three even numbers from one hash.
fn knit_node(knit: Knit, node: i32, course: i32) -> KnitNode {
    let bits = u32((lattice(node, course, knit.label) + 1.0) * 8388607.0);
    let x = f32(bits & 255u) * (1.0 / 127.5) - 1.0;
    let y = f32((bits >> 8u) & 255u) * (1.0 / 127.5) - 1.0;
    let z = f32((bits >> 16u) & 255u) * (1.0 / 127.5) - 1.0;
    return KnitNode(
        vec2f(0.6 * x * knit.half_mm, y * knit.course_mm) * knit.stray,
        z,
    );
}

// Wales and courses wander a little.
fn knit_wander(knit: Knit, at_mm: vec2f) -> vec2f {
    let x = at_mm.x / knit.half_mm;
    let y = at_mm.y / knit.course_mm;
    // Oblique waves: half the hashes of a pattern over the plane.
    let aside = noise_along(0, 0.11 * x + 0.07 * y, knit.label + 1u);
    let up = noise_along(1, 0.19 * y - 0.03 * x, knit.label + 2u);
    return at_mm + vec2f(1.6 * knit.half_mm * aside, 0.8 * knit.course_mm * up) * knit.stray;
}

fn knit_half(knit: Knit, x_mm: f32, beside: i32) -> KnitHalf {
    if (knit.face_wales < 0.5) {
        let whole = floor(x_mm / knit.half_mm);
        let number = i32(whole) + beside;
        let left = (whole + f32(beside)) * knit.half_mm;
        return KnitHalf(number, left, knit.half_mm, 1.0, 1.0);
    }
    let halves = i32(2.0 * knit.face_wales);
    let face_mm = 2.0 * knit.face_wales * knit.half_mm;
    let purl_mm = knit.purl_width * knit.half_mm;
    let period_mm = face_mm * (1.0 + knit.purl_width);
    let period = floor(x_mm / period_mm);
    let x = x_mm - period * period_mm;
    var index = 0;
    if (x < face_mm) {
        index = i32(x / knit.half_mm);
    } else {
        index = halves + i32((x - face_mm) / purl_mm);
    }
    index = clamp(index, 0, 2 * halves - 1) + beside;
    let number = i32(period) * 2 * halves + index;
    // Halves 0 .. halves are face ones; the one before 0 and those after are purl.
    let start = period * period_mm;
    if (index >= 2 * halves) {
        return KnitHalf(number, start + period_mm, knit.half_mm, 1.0, 0.0);
    }
    var face = -1.0;
    var left = start + face_mm + f32(index - halves) * purl_mm;
    var width = purl_mm;
    if (index < 0) {
        left = start - purl_mm;
    } else if (index < halves) {
        face = 1.0;
        left = start + f32(index) * knit.half_mm;
        width = knit.half_mm;
    }
    let edge = index == -1 || index == 0 || index == halves - 1 || index == halves
        || index == 2 * halves - 1;
    return KnitHalf(number, left, width, face, select(face, 0.0, edge));
}

fn knit_place(knit: Knit, half: KnitHalf, at_mm: vec2f, course: i32) -> KnitPlace {
    let odd = half.number & 1;
    let sinker = knit_node(knit, half.number + odd, course);
    let head = knit_node(knit, half.number + 1 - odd, course);
    // Odd halves are seen in a mirror.
    let side = 1.0 - 2.0 * f32(odd);
    let left = half.left_mm + f32(odd) * half.width_mm;
    let p = vec2f(side * (at_mm.x - left), at_mm.y - f32(course) * knit.course_mm);
    let arc = knit.bend * half.width_mm;
    // Purl wales lie looser than face wales.
    let looser = select(1.0, 3.0, half.face < 0.0);
    let low = vec2f(side * sinker.shift.x, sinker.shift.y - knit.reach_mm + arc);
    let high = vec2f(
        half.width_mm + side * looser * head.shift.x,
        looser * head.shift.y + knit.reach_mm - arc,
    );
    // The common tangent that crosses between the circles.
    let between = high - low;
    let far2 = dot(between, between);
    let per_far = 1.0 / root(far2);
    let sine = min(2.0 * arc * per_far, 0.98);
    let cosine = root(1.0 - sine * sine);
    let v = between * per_far;
    let leg = vec2f(v.x * cosine - v.y * sine, v.x * sine + v.y * cosine);
    let right = vec2f(leg.y, -leg.x);
    let leg_mm = far2 * per_far * cosine;
    let base = low + right * arc;
    let q = p - base;
    let along = dot(q, leg);

    var aside = -dot(q, right);
    var foot = base.y + along * leg.y;
    var tangent = leg;
    var drag = 1.0;
    var piece = 1u;
    if (along < 0.0) {
        let out = p - low;
        let r = max(root(dot(out, out)), 1e-4);
        let n = out * (1.0 / r);
        aside = arc - r;
        foot = low.y + arc * n.y;
        tangent = vec2f(-n.y, n.x);
        drag = min(arc / r, 4.0);
        piece = 0u;
        if (p.x < low.x && out.y < 0.0) {
            // Past the node it is the next half's yarn: a round end, out of the way.
            let rest = out + vec2f(0.0, arc);
            let far = max(root(dot(rest, rest)), 1e-4);
            let way = select(-1.0, 1.0, rest.y > 0.0);
            aside = way * far;
            foot = low.y - arc;
            tangent = vec2f(rest.y, -rest.x) * (way / far);
            drag = 0.0;
        }
    } else if (along > leg_mm) {
        let out = p - high;
        let r = max(root(dot(out, out)), 1e-4);
        let n = out * (1.0 / r);
        aside = r - arc;
        foot = high.y + arc * n.y;
        tangent = vec2f(n.y, -n.x);
        drag = min(arc / r, 4.0);
        piece = 2u;
        if (p.x > high.x && out.y > 0.0) {
            let rest = out - vec2f(0.0, arc);
            let far = max(root(dot(rest, rest)), 1e-4);
            let way = select(-1.0, 1.0, rest.y > 0.0);
            aside = way * far;
            foot = high.y + arc;
            tangent = vec2f(rest.y, -rest.x) * (way / far);
            drag = 0.0;
        }
    }
    let share = clamp(0.5 + 0.5 * foot / knit.reach_mm, 0.0, 1.0);
    var thick = 1.0 + knit.uneven * (sinker.thick + (head.thick - sinker.thick) * share);
    if (half.face < 0.0) {
        // Purl wales are drawn in, and their yarn is squeezed with them.
        let squeezed = clamp(0.85 * arc / knit.radius_mm, 0.5, 1.0);
        thick *= mix(select(squeezed, 1.0, half.sinker_face == 0.0), squeezed, share);
    }
    return KnitPlace(
        aside, foot, knit.radius_mm * thick, tangent, drag, piece, leg, leg_mm, along, arc,
        side,
    );
}

// Height of the middle line where the loop is `up_mm` over its course's middle, and its slope.
fn knit_middle(knit: Knit, half: KnitHalf, up_mm: f32) -> vec2f {
    let u = clamp(up_mm / knit.reach_mm, -1.0, 1.0);
    var fall = 2.0;
    if (u < 0.0 && half.sinker_face == 0.0) {
        fall = 1.0;
    }
    return half.face * knit.rise_mm * vec2f(1.0 - fall * u * u, -2.0 * fall * u / knit.reach_mm);
}

// Face wales stand over purl wales: height, and slope along x.
fn knit_rib(knit: Knit, x_mm: f32) -> vec2f {
    if (knit.face_wales < 0.5) {
        return vec2f(0.0);
    }
    let face_mm = 2.0 * knit.face_wales * knit.half_mm;
    let period_mm = face_mm * (1.0 + knit.purl_width);
    let x = x_mm - floor(x_mm / period_mm) * period_mm;
    var half_turns = x / face_mm;
    var rate = PI / face_mm;
    if (half_turns >= 1.0) {
        half_turns = 1.0 + (x - face_mm) / (period_mm - face_mm);
        rate = PI / (period_mm - face_mm);
    }
    let angle = turn(min(0.5 * half_turns, 1.0));
    let s = 2.0 * angle.sine;
    let k = 1.0 / root(1.0 + s * s);
    return 0.5 * knit.rib_mm * vec2f(s * k, 2.0 * angle.cosine * rate * k * k * k);
}

fn knit_surface(knit: Knit, half: KnitHalf, at_mm: vec2f, course: i32) -> f32 {
    let place = knit_place(knit, half, at_mm, course);
    let inside = place.radius_mm * place.radius_mm - place.aside_mm * place.aside_mm;
    if (inside <= 0.0) {
        return -1e6;
    }
    return knit_middle(knit, half, place.up_mm).x + knit.fullness * root(inside);
}

// What a yarn of one face can reach at most between two shares of a course's half height.
fn knit_most(knit: Knit, half: KnitHalf, least: f32, greatest: f32) -> f32 {
    if (half.face > 0.0) {
        // Face loops sink away from their middle.
        return knit.rise_mm * (1.0 - select(2.0, 1.0, half.sinker_face == 0.0) * least * least);
    }
    // Purl loops rise from it.
    return knit.rise_mm * (2.0 * greatest * greatest - 1.0);
}

// The highest yarn over a place (wandered) and over `over_mm`, without the rib's own height.
fn knit_top(knit: Knit, at_mm: vec2f, over_mm: f32) -> KnitTop {
    let own = knit_half(knit, at_mm.x, 0);
    let fat = knit.radius_mm * (1.0 + knit.uneven);
    // Arcs and legs that bulge over the line to the next half.
    let narrow = knit.half_mm * knit.purl_width;
    let over = max(
        fat - (1.0 - knit.bend) * min(narrow, knit.half_mm) + 1.2 * knit.stray * knit.half_mm,
        0.0,
    );
    let inside = at_mm.x - own.left_mm;
    var beside = 0;
    if (inside < over) {
        beside = -1;
    } else if (inside > own.width_mm - over) {
        beside = 1;
    }
    let other = knit_half(knit, at_mm.x, beside);
    let tall = knit.reach_mm + fat + 3.0 * knit.stray * knit.course_mm;
    let nearest = i32(floor(at_mm.y / knit.course_mm + 0.5));
    let from_nearest = at_mm.y - f32(nearest) * knit.course_mm;
    // Then the side on which the next nearest course lies.
    let way = select(-1, 1, from_nearest > 0.0);
    let loose = fat + knit.stray * knit.course_mm;
    let looser = loose + 2.0 * knit.stray * knit.course_mm;
    var best = KnitTop(over_mm, 0, 0);
    for (var k = 0; k < 4; k++) {
        // 0, 1, -1, 2 steps that way.
        let steps = select(select(k, -1, k == 2), 2, k == 3) * way;
        let off = abs(from_nearest - f32(steps) * knit.course_mm);
        if (off > tall) {
            continue;
        }
        let least = min(max(off - loose, 0.0) / knit.reach_mm, 1.0);
        let greatest = min((off + looser) / knit.reach_mm, 1.0);
        let high = knit.fullness * fat;
        let course = nearest + steps;
        if (knit_most(knit, own, least, greatest) + high > best.height_mm) {
            let height = knit_surface(knit, own, at_mm, course);
            if (height > best.height_mm) {
                best = KnitTop(height, course, 0);
            }
        }
        if (beside != 0 && knit_most(knit, other, least, greatest) + high > best.height_mm) {
            let across = knit_surface(knit, other, at_mm, course);
            if (across > best.height_mm) {
                best = KnitTop(across, course, beside);
            }
        }
    }
    return best;
}

// Angle from +x of a unit direction, 0 .. PI; below +x it counts as negative.
fn knit_angle(v: vec2f) -> f32 {
    let s = clamp(v.x, -1.0, 1.0);
    let angle = 0.5 * PI - yarn_angle(s);
    return select(-angle, angle, v.y >= 0.0);
}

// Place along the yarn, from the cloth's first node.
fn knit_along(knit: Knit, half: KnitHalf, place: KnitPlace) -> f32 {
    let lean = knit_angle(place.leg);
    var here = place.arc_mm * lean + place.along_leg_mm;
    if (place.piece == 0u) {
        here = place.arc_mm * knit_angle(place.tangent);
    } else if (place.piece == 2u) {
        here = place.arc_mm * (2.0 * lean - knit_angle(place.tangent)) + place.leg_mm;
    }
    let share = here / (2.0 * place.arc_mm * lean + place.leg_mm);
    let start = f32(half.number);
    let steps = select(start + 1.0 - share, start + share, place.turned > 0.0);
    return knit.between_mm * steps;
}

fn knit_height(form: u32, at_mm: vec2f, over_mm: f32) -> f32 {
    let knit = knit_load(form);
    let at = knit_wander(knit, at_mm);
    let rib_mm = knit_rib(knit, at.x).x;
    let plied = load_texel(form + 4u).w > 0.0;
    // Above what stands for no yarn.
    var least_mm = max(over_mm - rib_mm, 0.5 * UNDER_ALL_MM);
    if (plied) {
        least_mm -= yarn_ply_most(knit.skin, knit.radius_mm);
    }
    let top = knit_top(knit, at, least_mm);
    if (top.height_mm <= least_mm) {
        return max(knit.low_mm, over_mm);
    }
    var height = top.height_mm + rib_mm;
    if (plied) {
        let half = knit_half(knit, at.x, top.beside);
        let place = knit_place(knit, half, at, top.course);
        let along = knit_along(knit, half, place);
        let across = place.aside_mm / place.radius_mm;
        height += yarn_ply_height(knit.skin, along, across, knit.radius_mm);
    }
    return height;
}

fn knit_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let knit = knit_load(form);
    let at = knit_wander(knit, at_mm);
    let top = knit_top(knit, at, UNDER_ALL_MM);
    if (top.height_mm < -1e5) {
        return gap(knit.low_mm);
    }
    let half = knit_half(knit, at.x, top.beside);
    let place = knit_place(knit, half, at, top.course);
    let middle = knit_middle(knit, half, place.up_mm);
    let rib = knit_rib(knit, at.x);
    let r = place.radius_mm;
    let rest = root(max(r * r - place.aside_mm * place.aside_mm, 1e-4 * r * r));
    let lengthwise = middle.y * place.tangent.y * place.drag;
    let crosswise = -knit.fullness * place.aside_mm / rest;
    // In the mirror's frame; its left is (-t.y, t.x).
    let t = place.tangent;
    let slope = t * lengthwise + vec2f(-t.y, t.x) * crosswise;
    var made = gap(top.height_mm + rib.x);
    made.part = PART_WARP;
    made.colour = load_texel(form + 4u).xyz;
    made.slope = vec2f(slope.x * place.turned + rib.y, slope.y);
    // The yarn runs from left to right: down where halves are odd. Left stays left.
    made.fibre = vec3f(t.x, t.y * place.turned, 0.0);
    made.across = clamp(place.aside_mm / r, -1.0, 1.0);
    let along = knit_along(knit, half, place);
    // A width that varied would unwind the fibres' pattern.
    return yarn_skin(knit.skin, made, along, top.course, knit.radius_mm, footprint_mm);
}
