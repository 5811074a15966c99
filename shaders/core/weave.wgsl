// Woven cloth, evaluated from its draft and the hashed unevenness of each yarn: no map, no repeat
// but the draft's own. Each yarn is a flattened tube that rises and falls by the draft; the highest
// at a place is what is seen. Geometry after Peirce 1937, flattened; what makes yarns uneven is by
// eye (see src/fabric/structure/woven.rs for what each number is).
//
// Texels from `form` on:
//   0 pitch of ends, of picks, 1 / each
//   1 half width and half height of ends, the same of picks
//   2 crimp height of ends, of picks, flatness of the section, seed
//   3 jitter (of the pitch), 1 / its length, reed marks (of the pitch), wander of crepe (of the pitch)
//   4 squeeze at the turns, arch of floats, milling, lowest height
//   5 ends: unevenness, slub height, 1 / slub spacing, share of places with a slub
//   6 picks: the same
//   7 ends and picks of the draft, texels a pick, first texel of the draft
//   8 first colour of ends, how many, first colour of picks, how many
//   9 skin of ends, of picks, share of the face that is warp, how far warp floats press over weft's
//   10, 11 mean colour of ends, of picks; in 10 the highest that a floor lies, in 11 how far plies
//      rise over bare yarns
// Texel numbers are counted from `form`.

// The highest yarn at a place.
struct WeaveTop {
    height_mm: f32,
    part: u32,
    number: i32,
    // Across, -1 to 1, positive to the left of the yarn's direction.
    q: f32,
    // Of the yarn on average: a width that varied would unwind the fibres' pattern.
    half_width_mm: f32,
    slope: vec2f,
}

// A place before the yarns wandered, and how it turned: rows of the Jacobian.
struct WeavePlace {
    at_mm: vec2f,
    by_x: vec2f,
    by_y: vec2f,
}

// What a far view still sees at a place.
struct WeaveFar {
    warp: vec3f,
    weft: vec3f,
    // Share of the face that the warp takes.
    warp_share: f32,
}

// Two unlike numbers, even in -1..1 to 16 bits, for a place on a yarn (`lattice` in halves).
fn weave_pair(yarn: i32, place: i32, label: u32) -> vec2f {
    var v = u32(yarn) * 374761393u + u32(place) * 668265263u + label * 1442695041u;
    v = (v ^ (v >> 13u)) * 1274126177u;
    v = (v ^ (v >> 16u)) * 2246822519u;
    v = v ^ (v >> 15u);
    return vec2f(f32(i32(v & 0xffffu)), f32(i32(v >> 16u))) * (1.0 / 32767.5) - vec2f(1.0);
}

// Two value noises along a yarn, and their slopes.
fn weave_noise(yarn: i32, x: f32, label: u32) -> vec4f {
    let whole = floor(x);
    let i = i32(whole);
    let f = x - whole;
    let a = weave_pair(yarn, i, label);
    let step_up = weave_pair(yarn, i + 1, label) - a;
    let value = a + step_up * (f * f * (3.0 - 2.0 * f));
    let slope = step_up * (6.0 * f * (1.0 - f));
    return vec4f(value.x, value.y, slope.x, slope.y);
}

// Of whole numbers held in floats, count above 0.
fn weave_wrap(number: f32, count: f32) -> f32 {
    let rest = number - count * floor(number / count);
    if (rest >= count) {
        return rest - count;
    }
    return max(rest, 0.0);
}

fn weave_next(number: u32, count: u32) -> u32 {
    return select(number + 1u, 0u, number + 1u >= count);
}

fn weave_before(number: u32, count: u32) -> u32 {
    return select(number, count, number == 0u) - 1u;
}

// 1 where the warp is on top of an end inside the draft at a pick whose texels begin at `row`, else -1.
fn weave_side(row: u32, end: u32) -> f32 {
    let texel = load_texel(row + (end >> 6u));
    let second = (end & 32u) != 0u;
    let even = select(texel.x, texel.z, second);
    let odd = select(texel.y, texel.w, second);
    let bits = u32(select(even, odd, (end & 16u) != 0u));
    return select(-1.0, 1.0, ((bits >> (end & 15u)) & 1u) == 1u);
}

// The same of four ends of a draft of so many.
fn weave_sides(row: u32, ends: u32, at: vec4<u32>) -> vec4f {
    if (ends > 16u) {
        return vec4f(weave_side(row, at.x), weave_side(row, at.y), weave_side(row, at.z), weave_side(row, at.w));
    }
    // All in one number.
    let bits = u32(load_texel(row).x);
    return vec4f(weave_sign(bits, at.x), weave_sign(bits, at.y), weave_sign(bits, at.z), weave_sign(bits, at.w));
}

fn weave_sign(bits: u32, at: u32) -> f32 {
    return f32(i32(((bits >> at) & 1u) << 1u)) - 1.0;
}

// How far a yarn has risen at f of the way from crossing a to crossing b, from -1 (back) to 1
// (face), and its slope per crossing. x, z: by the two alone; y, w: floats arched by the crossings
// before and after.
fn weave_rise(form: u32, of_warp: bool, a: f32, b: f32, before: f32, after: f32, f: f32) -> vec4f {
    let even = a + (b - a) * f * f * (3.0 - 2.0 * f);
    // Floats of the face press over what binds them: the binding points get shorter.
    let press = select(-1.0, 1.0, of_warp) * load_texel(form + 9u).w;
    let ease = even + press * (1.0 - even * even);
    let climb = (b - a) * 6.0 * f * (1.0 - f) * (1.0 - 2.0 * press * even);
    let arch = load_texel(form + 4u).y;
    if (arch <= 0.0) {
        return vec4f(ease, ease, climb, climb);
    }
    // A uniform cubic B-spline through four crossings rises in the middle of long floats.
    let g = 1.0 - f;
    let spline = (g * g * g * before + (4.0 - 6.0 * f * f + 3.0 * f * f * f) * a
        + (4.0 - 6.0 * g * g + 3.0 * g * g * g) * b + f * f * f * after) * (1.0 / 6.0);
    let slope = 0.5 * (-g * g * before + (3.0 * f * f - 4.0 * f) * a
        + (4.0 * g - 3.0 * g * g) * b + f * f * after);
    return vec4f(ease, mix(ease, spline, arch), climb, mix(climb, slope, arch));
}

// A yarn's slub at a place: what it adds to the thickness, and how that changes along the yarn.
fn weave_slub(uneven: vec4f, own: f32, number: i32, along_mm: f32, label: u32) -> vec2f {
    // Each yarn's cells begin elsewhere, or all slubs would stand in blocks.
    let place = along_mm * uneven.z + 40.0 + 20.0 * own;
    let cell = floor(place);
    let i = i32(cell);
    let first = weave_pair(number, i, label);
    if (0.5 + 0.5 * first.x >= uneven.w) {
        return vec2f(0.0);
    }
    let size = 0.5 + 0.5 * first.y;
    let width = 0.12 + 0.05 * lattice(number, i, label + 1u);
    let off = (place - cell - 0.35 - 0.3 * size) / width;
    let slub = uneven.y * (0.4 + 0.6 * size) * exp(-off * off);
    return vec2f(slub, -slub * 2.0 * off / width * uneven.z);
}

// What is a yarn's own and what a slub adds: its thickness without the noise along it, how that changes.
fn weave_own(form: u32, of_warp: bool, number: i32, along_mm: f32) -> vec2f {
    let uneven = load_texel(form + select(6u, 5u, of_warp));
    let label = u32(load_texel(form + 2u).w) + select(61u, 41u, of_warp);
    let own = weave_pair(number, 7, label + 2u);
    let base = vec2f(1.0 + uneven.x * 0.4 * own.x, 0.0);
    if (uneven.y <= 0.0) {
        return base;
    }
    return base + weave_slub(uneven, own.y, number, along_mm, label + 3u);
}

// How thick a yarn is here against its mean, and how far it strays (of the stray); slopes of both.
fn weave_uneven(form: u32, of_warp: bool, number: i32, along_mm: f32, own: vec2f) -> vec4f {
    let unevenness = load_texel(form + select(6u, 5u, of_warp)).x;
    let per_stray = load_texel(form + 3u).y;
    let label = u32(load_texel(form + 2u).w) + select(61u, 41u, of_warp);
    let slow = weave_noise(number, along_mm * per_stray, label);
    let quick = weave_noise(number, along_mm * (1.0 / 1.5), label + 1u);
    var thick = own.x + unevenness * 0.6 * (quick.x + slow.x);
    var slope = own.y + unevenness * (0.6 / 1.5 * quick.z + 0.6 * per_stray * slow.z);
    if (thick < 0.3) {
        thick = 0.3;
        slope = 0.0;
    }
    return vec4f(
        thick,
        slow.y + 0.35 * quick.y,
        slope,
        per_stray * slow.w + 0.35 / 1.5 * quick.w,
    );
}

// A yarn's section: share of its half height at q across, and the slope of that.
fn weave_section(q: f32, flatness: f32, milling: f32) -> vec2f {
    let q2 = q * q;
    // Round has q^2; flat filament yarn keeps its back level further out.
    let fall = q2 * (1.0 - flatness) + q2 * q2 * flatness;
    let rest = max(1.0 - fall, 0.0);
    let tall = root(rest);
    let fall_slope = q * (2.0 * (1.0 - flatness) + 4.0 * flatness * q2);
    let steep = -0.5 * fall_slope / max(tall, 0.05);
    if (milling <= 0.0) {
        return vec2f(tall, steep);
    }
    // Milled yarns run out into each other.
    return vec2f(
        mix(tall, rest * rest, milling),
        mix(steep, -2.0 * rest * fall_slope, milling),
    );
}

// The place under the yarns as they were laid, before crepe twist made them wander.
fn weave_place(form: u32, at_mm: vec2f) -> WeavePlace {
    let wander = load_texel(form + 3u).w;
    if (wander <= 0.0) {
        return WeavePlace(at_mm, vec2f(1.0, 0.0), vec2f(0.0, 1.0));
    }
    let pitches = load_texel(form);
    let label = u32(load_texel(form + 2u).w);
    let broad = hair_bends(at_mm, 1.0 / 1.5, label + 91u);
    let narrow = hair_bends(at_mm, 1.0 / 0.75, label + 93u);
    let across = wander * pitches.x * (broad.first + 0.6 * narrow.first);
    let along = wander * pitches.y * (broad.second + 0.6 * narrow.second);
    return WeavePlace(
        at_mm + vec2f(across.x, along.x),
        vec2f(1.0 + across.y, across.z),
        vec2f(along.y, 1.0 + along.z),
    );
}

// Whether a yarn's section, at least `least_mm` off its middle, at most `wide_mm` and `tall_mm`
// from there, stays under `need_mm`.
fn weave_misses(need_mm: f32, least_mm: f32, wide_mm: f32, tall_mm: f32, flatness: f32) -> bool {
    if (least_mm >= wide_mm || need_mm >= tall_mm) {
        return true;
    }
    if (need_mm <= 0.0 || least_mm <= 0.0) {
        return false;
    }
    let q = least_mm / wide_mm;
    let q2 = q * q;
    return need_mm * need_mm >= tall_mm * tall_mm * (1.0 - q2 * (1.0 - flatness) - q2 * q2 * flatness);
}

// The higher of `top` and yarn `number` of a system, risen as `rise` says, at a place.
fn weave_higher(
    form: u32,
    top: WeaveTop,
    of_warp: bool,
    number: i32,
    at_mm: vec2f,
    rise: vec4f,
) -> WeaveTop {
    let pitches = load_texel(form);
    let sizes = load_texel(form + 1u);
    let crimp = load_texel(form + 2u);
    let lie = load_texel(form + 3u);
    let turns = load_texel(form + 4u);
    let uneven = load_texel(form + select(6u, 5u, of_warp));
    let pitch = select(pitches.y, pitches.x, of_warp);
    let wide = select(sizes.z, sizes.x, of_warp);
    let high = select(sizes.w, sizes.y, of_warp);
    let swing = select(crimp.y, crimp.x, of_warp);
    let along_mm = select(at_mm.x, at_mm.y, of_warp);
    let place_mm = select(at_mm.y, at_mm.x, of_warp);
    // Dents of the reed leave pairs of ends closer.
    let reed = select(0.0, select(-lie.z, lie.z, (u32(number) & 1u) == 1u), of_warp);
    let middle_mm = (f32(number) + 0.5 + reed) * pitch;
    // Most yarns are too low or too far off whatever their unevenness.
    let pinch = 1.0 - turns.x * (1.0 - rise.x * rise.x);
    let least_mm = abs(place_mm - middle_mm) - 1.36 * lie.x * pitch;
    let rise_mm = swing * rise.y;
    let need_mm = top.height_mm - rise_mm;
    var most = 1.0 + 1.6 * uneven.x + uneven.y;
    let wide_mm = wide * pinch;
    if (weave_misses(need_mm, least_mm, min(wide_mm * most, 0.85 * pitch), high * (0.35 + 0.65 * most), crimp.z)) {
        return top;
    }
    let own = weave_own(form, of_warp, number, along_mm);
    if (uneven.y > 0.0) {
        // Slubs are rare: without one the same bounds are much closer.
        most = max(own.x, 0.3) + 1.2 * uneven.x;
        let tall_mm = high * (0.35 + 0.65 * most);
        if (weave_misses(need_mm, least_mm, min(wide_mm * most, 0.85 * pitch), tall_mm, crimp.z)) {
            return top;
        }
    }
    let here = weave_uneven(form, of_warp, number, along_mm, own);
    // Never so wide that a yarn two away would be seen.
    let half_width_mm = min(wide * here.x * pinch, 0.85 * pitch);
    let q = (place_mm - middle_mm - lie.x * pitch * here.y) / half_width_mm;
    if (abs(q) >= 1.0) {
        return top;
    }
    let section = weave_section(q, crimp.z, turns.z);
    let half_height_mm = high * (0.35 + 0.65 * here.x);
    let height_mm = rise_mm + half_height_mm * section.x;
    if (height_mm <= top.height_mm) {
        return top;
    }
    let per_crossing = select(pitches.z, pitches.w, of_warp);
    var widen = wide * (here.z * pinch + here.x * turns.x * 2.0 * rise.x * rise.z * per_crossing);
    if (half_width_mm >= 0.85 * pitch) {
        widen = 0.0;
    }
    let steep = half_height_mm * section.y / half_width_mm;
    let climb = swing * rise.w * per_crossing + high * 0.65 * here.z * section.x
        - steep * (lie.x * pitch * here.w + q * widen);
    if (of_warp) {
        return WeaveTop(height_mm, PART_WARP, number, -q, wide, vec2f(steep, climb));
    }
    return WeaveTop(height_mm, PART_WEFT, number, q, wide, vec2f(climb, steep));
}

// What is there where no yarn is: a hole, or the felt that fulling fills valleys with.
fn weave_floor(form: u32, at_mm: vec2f) -> WeaveTop {
    let turns = load_texel(form + 4u);
    if (turns.z <= 0.0) {
        return WeaveTop(turns.w, PART_GAP, 0, 0.0, 1.0, vec2f(0.0));
    }
    let pitches = load_texel(form);
    let felt = yarn_noise_over(at_mm.x * 2.5, at_mm.y * 2.5, u32(load_texel(form + 2u).w) + 97u);
    let tall = -0.2 * turns.w * turns.z;
    return WeaveTop(
        turns.w * (1.0 - turns.z) + tall * felt.x,
        PART_WARP,
        i32(floor(at_mm.x * pitches.z)),
        0.0,
        0.5 * pitches.x,
        2.5 * tall * vec2f(felt.y, felt.z),
    );
}

// The highest yarn over `over_mm`: of each system the two whose middles a place lies between.
fn weave_top(form: u32, at_mm: vec2f, over_mm: f32) -> WeaveTop {
    let pitches = load_texel(form);
    let draft = load_texel(form + 7u);
    let first = form + u32(draft.w);
    let per_pick = u32(draft.z);
    let u = at_mm.x * pitches.z - 0.5;
    let v = at_mm.y * pitches.w - 0.5;
    let end = floor(u);
    let pick = floor(v);
    let k = i32(end);
    let j = i32(pick);
    let f = u - end;
    let g = v - pick;
    // The four crossings around, and those beyond them where floats arch.
    let ends = u32(draft.x);
    let picks = u32(draft.y);
    let a = u32(weave_wrap(end, draft.x));
    let pick_c = u32(weave_wrap(pick, draft.y));
    let b = weave_next(a, ends);
    let pick_d = weave_next(pick_c, picks);
    let c = first + pick_c * per_pick;
    let d = first + pick_d * per_pick;
    let arched = load_texel(form + 4u).y > 0.0;
    var around = vec4<u32>(a, a, b, b);
    var under = vec4f(0.0);
    var above = vec4f(0.0);
    if (arched) {
        around = vec4<u32>(weave_before(a, ends), a, b, weave_next(b, ends));
        under = weave_sides(first + weave_before(pick_c, picks) * per_pick, ends, around);
        above = weave_sides(first + weave_next(pick_d, picks) * per_pick, ends, around);
    }
    let low = weave_sides(c, ends, around);
    let high = weave_sides(d, ends, around);
    let rise_a = weave_rise(form, true, low.y, high.y, under.y, above.y, g);
    let rise_b = weave_rise(form, true, low.z, high.z, under.z, above.z, g);
    let rise_c = weave_rise(form, false, -low.y, -low.z, -low.x, -low.w, f);
    let rise_d = weave_rise(form, false, -high.y, -high.z, -high.x, -high.w, f);

    // Nearest first, and of those the one that is up: it mostly spares the others.
    let of_end = f < 0.5;
    let of_pick = g < 0.5;
    let near_k = select(k + 1, k, of_end);
    let far_k = select(k, k + 1, of_end);
    let near_j = select(j + 1, j, of_pick);
    let far_j = select(j, j + 1, of_pick);
    var near_end = rise_b;
    var far_end = rise_a;
    if (of_end) {
        near_end = rise_a;
        far_end = rise_b;
    }
    var near_pick = rise_d;
    var far_pick = rise_c;
    if (of_pick) {
        near_pick = rise_c;
        far_pick = rise_d;
    }
    var top = WeaveTop(over_mm, PART_GAP, 0, 0.0, 1.0, vec2f(0.0));
    if (over_mm < load_texel(form + 10u).w) {
        let ground = weave_floor(form, at_mm);
        if (ground.height_mm > over_mm) {
            top = ground;
        }
    }
    if (near_end.x >= near_pick.x) {
        top = weave_higher(form, top, true, near_k, at_mm, near_end);
        top = weave_higher(form, top, false, near_j, at_mm, near_pick);
    } else {
        top = weave_higher(form, top, false, near_j, at_mm, near_pick);
        top = weave_higher(form, top, true, near_k, at_mm, near_end);
    }
    top = weave_higher(form, top, true, far_k, at_mm, far_end);
    top = weave_higher(form, top, false, far_j, at_mm, far_pick);
    return top;
}

fn weave_height(form: u32, at_mm: vec2f, over_mm: f32) -> f32 {
    let place = weave_place(form, at_mm);
    let top = weave_top(form, place.at_mm, over_mm - load_texel(form + 11u).w);
    if (top.part == PART_GAP) {
        return max(top.height_mm, over_mm);
    }
    let of_warp = top.part == PART_WARP;
    let skins = load_texel(form + 9u);
    let skin = form + u32(select(skins.y, skins.x, of_warp));
    let along_mm = select(place.at_mm.x, place.at_mm.y, of_warp);
    return top.height_mm + yarn_ply_height(skin, along_mm, top.q, top.half_width_mm);
}

// Colour of a yarn by its system's list, each colour of which may be a band of many yarns.
fn weave_colour(form: u32, of_warp: bool, number: i32) -> vec3f {
    let lists = load_texel(form + 8u);
    let count = select(lists.w, lists.y, of_warp);
    let first = form + u32(select(lists.z, lists.x, of_warp));
    return load_texel(first + u32(weave_wrap(f32(number), count))).xyz;
}

fn weave_thread(form: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let place = weave_place(form, at_mm);
    let top = weave_top(form, place.at_mm, UNDER_ALL_MM);
    if (top.part == PART_GAP) {
        return gap(top.height_mm);
    }
    let of_warp = top.part == PART_WARP;
    // Rows of the Jacobian turn slopes; a yarn runs where the other coordinate stays.
    let slope = top.slope.x * place.by_x + top.slope.y * place.by_y;
    var run = vec2f(place.by_y.y, -place.by_y.x);
    if (of_warp) {
        run = vec2f(-place.by_x.y, place.by_x.x);
    }
    let fibre = vec3f(run * (1.0 / root(max(dot(run, run), 1e-6))), 0.0);
    let bare = Thread(
        weave_colour(form, of_warp, top.number),
        top.part,
        fibre,
        top.height_mm,
        clamp(slope, vec2f(-3.0), vec2f(3.0)),
        top.q,
        0.0,
    );
    let skins = load_texel(form + 9u);
    let skin = form + u32(select(skins.y, skins.x, of_warp));
    let along_mm = select(place.at_mm.x, place.at_mm.y, of_warp);
    // The systems' numbers must not meet.
    let number = select(top.number + 100003, top.number, of_warp);
    return yarn_skin(skin, bare, along_mm, number, top.half_width_mm, footprint_mm);
}

// What outlives single threads in a far view: colours of the nearest end and pick, as their lists
// and their own and slow unevenness have them, and how much of the face is warp where one of them
// is thick. Each fades to its mean where the footprint takes in several yarns.
fn weave_far(form: u32, at_mm: vec2f, footprint_mm: f32) -> WeaveFar {
    let pitches = load_texel(form);
    let lists = load_texel(form + 8u);
    let skins = load_texel(form + 9u);
    let k = i32(floor(at_mm.x * pitches.z));
    let j = i32(floor(at_mm.y * pitches.w));
    let ends_left = detail_left(footprint_mm, 8.0 * pitches.x);
    let picks_left = detail_left(footprint_mm, 8.0 * pitches.y);
    // Stripes outlive the yarns: their bands are wider.
    let bands_x = detail_left(footprint_mm, pitches.x * max(8.0, 0.5 * lists.y));
    let bands_y = detail_left(footprint_mm, pitches.y * max(8.0, 0.5 * lists.w));
    var warp = mix(load_texel(form + 10u).xyz, weave_colour(form, true, k), bands_x);
    var weft = mix(load_texel(form + 11u).xyz, weave_colour(form, false, j), bands_y);
    var share = skins.z;
    if (ends_left > 0.01) {
        let tone = yarn_shade(form + u32(skins.x), at_mm.y, k) - 1.0;
        warp *= max(1.0 + ends_left * tone, 0.05);
    }
    if (picks_left > 0.01) {
        let tone = yarn_shade(form + u32(skins.y), at_mm.x, j + 100003) - 1.0;
        weft *= max(1.0 + picks_left * tone, 0.05);
    }
    let left = max(ends_left, picks_left);
    if (left > 0.01) {
        let own_end = weave_own(form, true, k, at_mm.y);
        let own_pick = weave_own(form, false, j, at_mm.x);
        let end = 1.0 + ends_left * (weave_uneven(form, true, k, at_mm.y, own_end).x - 1.0);
        let pick = 1.0 + picks_left * (weave_uneven(form, false, j, at_mm.x, own_pick).x - 1.0);
        let of_warp = share * end;
        share = of_warp / max(of_warp + (1.0 - share) * pick, 1e-6);
    }
    return WeaveFar(warp, weft, share);
}
