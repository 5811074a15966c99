// What light does on cloth. Near, each thread is shaded as it lies (its structure tells how:
// thread.wgsl); far off, what the near model comes to on average, tabulated by the host from these very
// functions (src/fabric/far.rs), with the fibres' highlights kept as lobes. Between, both values are
// mixed by the footprint alone.
//
// Rows of a cloth's record among the texels, from the material's `cloth` on; src/fabric/record.rs packs them:
//   0  structure, first texel of its form, its pitch (mm), lowest height (mm)
//   1  gloss, its spread (rad), glow, its spread (rad)
//   2  translucency, depth of a leaking shadow (mm), cavity, share left for the base
//   3  sheen, its alpha, its white share, GGX alpha
//   4  reflectance facing (below 0: a metal of the threads' colour), highest height (mm), least opening,
//      thickness below which a shadow counts (mm)
//   5  behind: colour; height that only 2 % of the face lie under (mm)
//   6  mean colour, cover
//   7  first texel of the far tables, first texel of the hairs' form (below 0: none), GGX alpha far off,
//      chance of following the mirror's lobe
//   8  warp far off: share, then its two parts: share of the first, mean tilt and its spread (rad)
//   9  mean tilt and spread of the second, the fibre's direction along x and y
//  10, 11  the same for the weft
//  12 mean slopes of a solid's mirror lobe far off, one reflectance for all threads (below 0: their own), height that only 2 % lie over (mm)
//   9, 11 of a pile: mean squares of its fibres' x, y, z; mean products xy, xz, yz
//  13 mean colour that `cloth_tint` finds, 1 where a solid's mirror lobe is kept far off, 2 for a pile
//  14 width of a pixel on the cloth at which its structure is gone (mm)
// The far tables: for each direction what tells what light let in is to be raised by (`cloth_raise`), then for each pair
// of directions colour and the lobes' share, then for each pair what near is raised by (`cloth_pair`), of four lights a texel.

const CLOTH_WOVEN: u32 = 0u;
const CLOTH_KNIT: u32 = 1u;
const CLOTH_NET: u32 = 2u;
const CLOTH_LACE: u32 = 3u;
const CLOTH_VELVET: u32 = 4u;
const CLOTH_CORDUROY: u32 = 5u;
const CLOTH_LEATHER: u32 = 6u;
const CLOTH_SEQUINS: u32 = 7u;
const CLOTH_MAPS: u32 = 8u;

// Nodes along each side of the far table's grid of directions.
const FAR_SIDE: u32 = 9u;
const FAR_NODES: u32 = 81u;
// Least that faces are taken to meet of straight light, over what the flat cloth would.
const LEAST_MET: f32 = 0.4;
// Share below which near or far view is left out of their mixture.
const FADE_END: f32 = 0.01;
// Most steps of a shadow's march over the threads, and how many of them a pitch is worth.
const SHADOW_STEPS: u32 = 4u;
const STEPS_A_PITCH: f32 = 6.0;
// Depth, over that of leaking light, past which no more of it is looked for (1.8 % is left).
const DEEP_ENOUGH: f32 = 4.0;
// Far under every cloth: heights asked for over it are all answered.
const UNDER_ALL_MM: f32 = -1e6;
// Threads thicker than this have no underside to be seen: the cloth is no sheer.
const NO_UNDERSIDE_MM: f32 = 100.0;
// Depth under the surface, over a sheer thread's thickness, past which it is met from below.
const UNDERSIDE_SHARE: f32 = 0.2;
// The side of a wall: what is left of its normal's rise.
const WALL_SIDE: f32 = 0.05;
// Depth under the surface, over the pitch, past which a thick thread is met on its side.
const WALL_SHARE: f32 = 0.05;
// Refractive index 1.55 of most fibres: reflectance facing them (Morton and Hearle, "Physical Properties
// of Textile Fibres", from memory: 1.53 to 1.58).
const FIBRE_FACING: f32 = 0.046;

// A cloth at a place where a path turns.
struct Cloth {
    thread: Thread,
    // What lies loose over it.
    loose: Loose,
    at_mm: vec2f,
    // The side of it in sight: 1, `WALL_SIDE` where a thick thread is met on its flank, -1 where a sheer's is met
    // from below. Its normal's rise is taken times that.
    side: f32,
    // Share of the near model: 1 threads are seen apart, 0 far off.
    near: f32,
    // Share of the far view: the rest, but of a sheer as gaps and threads divide it (`sheer_fade`).
    veil: f32,
    // Where the march of a shadow starts within its first step, 0..1.
    start: f32,
    // Colour here over the mean colour, far off.
    tint: vec3f,
    // GGX alpha of the mirror lobe to be followed, and the normal it is about.
    alpha: f32,
    mirror: vec3f,
    first: u32,
}

fn no_cloth() -> Cloth {
    return Cloth(gap(0.0), nothing_loose(), vec2f(0.0), 1.0, 0.0, 1.0, 0.0, vec3f(1.0), 1.0, vec3f(0.0, 0.0, 1.0), NOTHING);
}

// Height of the surface; where it is under `over_mm`, any number up to that (thread.wgsl).
fn cloth_height(first: u32, at_mm: vec2f, over_mm: f32) -> f32 {
    let shape = load_texel(first);
    let form = u32(shape.y);
    switch u32(shape.x) {
        case CLOTH_WOVEN: { if (HAS_WOVEN) { return weave_height(form, at_mm, over_mm); } }
        case CLOTH_KNIT: { if (HAS_KNIT) { return knit_height(form, at_mm, over_mm); } }
        case CLOTH_NET: { if (HAS_NET) { return net_height(form, at_mm, over_mm); } }
        case CLOTH_LACE: { if (HAS_LACE) { return lace_height(form, at_mm, over_mm); } }
        case CLOTH_VELVET: { if (HAS_VELVET) { return velvet_height(form, at_mm); } }
        case CLOTH_CORDUROY: { if (HAS_CORDUROY) { return corduroy_height(form, at_mm); } }
        case CLOTH_LEATHER: { if (HAS_LEATHER) { return leather_height(form, at_mm, over_mm); } }
        case CLOTH_SEQUINS: { if (HAS_SEQUINS) { return sequins_height(form, at_mm); } }
        case CLOTH_MAPS: { if (HAS_MAPS) { return maps_height(form, at_mm); } }
        default: { }
    }
    return 0.0;
}

// The topmost thread or fibre, as from close by.
fn cloth_thread(first: u32, at_mm: vec2f) -> Thread {
    let all = cloth_layers(first, at_mm, 0.0);
    let over = all.loose;
    if (over.share > 0.0) {
        return Thread(over.colour, PART_HAIR, over.fibre, over.height_mm, vec2f(0.0), 0.0, all.under.blur);
    }
    return all.under;
}

// The thread at a place and what lies loose over it.
fn cloth_layers(first: u32, at_mm: vec2f, footprint_mm: f32) -> Covered {
    var all = Covered(cloth_bare_thread(first, at_mm, footprint_mm), nothing_loose());
    let hairs = load_texel(first + 7u).y;
    if (HAS_FIBRES && hairs >= 0.0) {
        all = hair_over(u32(hairs), at_mm, footprint_mm, all.under);
    }
    let undyed = load_texel(first + 12u).z;
    if (undyed >= 0.0) {
        all.under.colour = vec3f(undyed);
        all.loose.colour = vec3f(undyed);
        all.loose.faded_colour = vec3f(undyed);
    }
    return all;
}

fn cloth_bare_thread(first: u32, at_mm: vec2f, footprint_mm: f32) -> Thread {
    let shape = load_texel(first);
    let form = u32(shape.y);
    switch u32(shape.x) {
        case CLOTH_WOVEN: { if (HAS_WOVEN) { return weave_thread(form, at_mm, footprint_mm); } }
        case CLOTH_KNIT: { if (HAS_KNIT) { return knit_thread(form, at_mm, footprint_mm); } }
        case CLOTH_NET: { if (HAS_NET) { return net_thread(form, at_mm, footprint_mm); } }
        case CLOTH_LACE: { if (HAS_LACE) { return lace_thread(form, at_mm, footprint_mm); } }
        case CLOTH_VELVET: { if (HAS_VELVET) { return velvet_thread(form, at_mm, footprint_mm); } }
        case CLOTH_CORDUROY: { if (HAS_CORDUROY) { return corduroy_thread(form, at_mm, footprint_mm); } }
        case CLOTH_LEATHER: { if (HAS_LEATHER) { return leather_thread(form, at_mm, footprint_mm); } }
        case CLOTH_SEQUINS: { if (HAS_SEQUINS) { return sequins_thread(form, at_mm, footprint_mm); } }
        case CLOTH_MAPS: { if (HAS_MAPS) { return maps_thread(form, at_mm, footprint_mm); } }
        default: { }
    }
    return gap(0.0);
}

// The cloth where a ray met it: `out` toward the viewer and `at_mm` on the cloth's middle plane, in the
// cloth's frame. `footprint_mm` is a pixel's width on the cloth; far off it may be anything large. Where `close` is known to be
// false, a compiler leaves the near model out.
fn cloth_at(first: u32, at_mm: vec2f, out: vec3f, footprint_mm: f32, start: f32, close: bool) -> Cloth {
    let far = load_texel(first + 7u);
    let ratio = footprint_mm / load_texel(first + 14u).x;
    var near = 0.0;
    if (close && ratio < 1.6) {
        let square = ratio * ratio;
        near = exp(-square * square);
        // The last hundredth of either is not worth working out.
        near = select(select(near, 0.0, near < FADE_END), 1.0, near > 1.0 - FADE_END);
    }
    var c = no_cloth();
    c.first = first;
    c.at_mm = at_mm;
    c.near = near;
    c.veil = 1.0 - near;
    c.start = start;
    c.alpha = far.z;
    let slopes = load_texel(first + 12u).xy;
    c.mirror = normalize(vec3f(-slopes, 1.0));
    if (near < 1.0) {
        c.tint = cloth_tint(first, at_mm, footprint_mm);
    }
    if (near > 0.0) {
        let sight = cloth_seen(first, at_mm, out);
        c.at_mm = sight.at_mm;
        c.side = sight.side;
        if (sight.side == 0.0) {
            c.thread = gap(load_texel(first).w);
        } else {
            // Where there is no far view, as finely as the structure itself asks for.
            let all = cloth_layers(first, c.at_mm, min(footprint_mm, load_texel(first).z));
            c.thread = all.under;
            c.loose = all.loose;
        }
        if (near > 0.5) {
            c.alpha = load_texel(first + 3u).w;
            c.mirror = thread_normal(c.thread);
        }
    }
    return c;
}

// Colour of this place over the cloth's mean, far off: stripes, checks, streaks and slubs outlive
// the threads.
fn cloth_tint(first: u32, at_mm: vec2f, footprint_mm: f32) -> vec3f {
    let shape = load_texel(first);
    if (!HAS_WOVEN || u32(shape.x) != CLOTH_WOVEN || load_texel(first + 12u).z >= 0.0) {
        return vec3f(1.0);
    }
    let here = weave_far(u32(shape.y), at_mm, footprint_mm);
    let colour = mix(here.weft, here.warp, here.warp_share);
    return colour / max(load_texel(first + 13u).xyz, vec3f(1e-4));
}

// Where a line of sight ends.
struct Sight {
    at_mm: vec2f,
    // As a cloth's; 0 where it has passed all threads.
    side: f32,
}

// Where a line of sight that would cross the middle plane at `at_mm` meets the threads: a march
// down through the relief (after Policarpo, Oliveira and Comba 2005).
fn cloth_seen(first: u32, at_mm: vec2f, out: vec3f) -> Sight {
    let shape = load_texel(first);
    let low = shape.w;
    let top = load_texel(first + 4u);
    let high = top.y;
    let thick = top.w;
    let thin = thick < NO_UNDERSIDE_MM;
    let lean = out.xy / max(out.z, 0.2);
    let travel = root(dot(lean, lean)) * (high - low);
    let fine = min(0.08 * shape.z, 0.25 * thick);
    if (travel < fine) {
        return Sight(at_mm, 1.0);
    }
    let steps = min(u32(travel / fine) + 1u, select(12u, 48u, thin));
    let drop = (high - low) / f32(steps);
    // The garment's own surface is taken as the middle of the relief.
    let middle = 0.5 * (low + high);
    for (var i = 0u; i <= steps; i++) {
        let level = high - drop * f32(i);
        let here = at_mm + lean * (level - middle);
        let clear = level - cloth_height(first, here, level - drop);
        // Deeper under a surface than it is thick: past it, below.
        if (clear <= 0.0 && clear > -thick) {
            if (i == 0u) {
                return Sight(here, 1.0);
            }
            if (thin || u32(shape.x) == CLOTH_KNIT) {
                return edge_sight(first, at_mm, lean, level, drop);
            }
            // Between the last clear level, asked for in full, and this one.
            let before = level + drop;
            let over = before - cloth_height(first, at_mm + lean * (before - middle), UNDER_ALL_MM);
            let back = clear / min(clear - over, -1e-6);
            return Sight(at_mm + lean * (level + drop * clamp(back, 0.0, 1.0) - middle), 1.0);
        }
    }
    return Sight(at_mm + lean * (low - middle), 0.0);
}

// Where a line of sight enters a thread between a clear level and one `drop` lower: by halves, since an edge is a
// step. Where the surface is well above that place, a sheer's thread was met from below, a thick one on its side.
fn edge_sight(first: u32, at_mm: vec2f, lean: vec2f, level: f32, drop: f32) -> Sight {
    let shape = load_texel(first);
    let top = load_texel(first + 4u);
    let middle = 0.5 * (shape.w + top.y);
    var inside = level;
    var half = drop;
    var depth = cloth_height(first, at_mm + lean * (inside - middle), UNDER_ALL_MM) - inside;
    for (var i = 0u; i < 3u; i++) {
        half *= 0.5;
        let between = inside + half;
        let under = cloth_height(first, at_mm + lean * (between - middle), UNDER_ALL_MM) - between;
        if (under >= 0.0 && under < top.w) {
            inside = between;
            depth = under;
        }
    }
    let here = at_mm + lean * (inside - middle);
    if (top.w < NO_UNDERSIDE_MM) {
        return Sight(here, select(1.0, -1.0, depth > UNDERSIDE_SHARE * top.w));
    }
    return Sight(here, select(1.0, WALL_SIDE, depth > WALL_SHARE * shape.z));
}

// How clear the way from a place on the threads toward a light is of other threads: the deepest the
// way runs under the surface, seen through as far as light leaks (`exp(-depth/leak)`).
fn cloth_clear(c: Cloth, toward: vec3f) -> f32 {
    let shape = load_texel(c.first);
    let top = load_texel(c.first + 4u);
    let leak = load_texel(c.first + 2u).y;
    let flat = root(toward.x * toward.x + toward.y * toward.y);
    if (flat < 0.02 || toward.z <= 0.0) {
        return 1.0;
    }
    let rise = toward.z / flat;
    let from_height = c.thread.height_mm + 0.1 * leak;
    // As far as anything but a rare slub can stand in the way, or four times the relief.
    let level_low = load_texel(c.first + 5u).w;
    let level_high = load_texel(c.first + 12u).w;
    let high = min(top.y, level_high + 0.25 * (level_high - level_low));
    let reach = min((high - from_height) / rise, 4.0 * (top.y - shape.w));
    if (reach <= 0.0) {
        return 1.0;
    }
    let along = toward.xy / flat;
    let steps = min(u32(reach * STEPS_A_PITCH / shape.z) + 2u, SHADOW_STEPS);
    let per_step = 1.0 / (f32(steps) + 0.15);
    let enough = DEEP_ENOUGH * leak;
    var deepest = 0.0;
    // Steps that lengthen: fine near the place. Against forty a pitch the brightness of single places is off by 3 to
    // 5 % (denim 14) of their mean, and what all lose by it is raised again by the gains.
    for (var i = 0u; i < steps; i++) {
        let u = (f32(i) + c.start + 0.15) * per_step;
        let way = reach * u * (0.4 + 0.6 * u);
        let level = from_height + rise * way;
        let depth = cloth_height(c.first, c.at_mm + along * way, level + deepest) - level;
        // A field of heights has no underside: what lies deeper than a thread is thick is not one.
        if (depth > deepest && depth < top.w) {
            deepest = depth;
            if (deepest > enough) {
                break;
            }
        }
    }
    return exp(-deepest / leak);
}

fn thread_normal(t: Thread) -> vec3f {
    return normalize(vec3f(-t.slope, 1.0));
}

// Value times cosine in the cloth's frame, both directions above the cloth.
fn cloth_value(c: Cloth, out: vec3f, toward: vec3f) -> vec3f {
    var falls = Falls(1.0, 1.0, 1.0);
    if (c.near > 0.0) {
        var clear = 1.0;
        if (c.side > 0.0) {
            clear = cloth_clear(c, toward);
        }
        falls = cloth_falls(cloth_gain(c.first, toward), c.side, clear);
    }
    return cloth_value_under(c, out, toward, falls);
}

// The same for light that comes from all round (what the room throws back): each place lies as clear in each
// direction as all do on average, which spares the march.
fn cloth_value_even(c: Cloth, out: vec3f, toward: vec3f) -> vec3f {
    var falls = Falls(1.0, 1.0, 1.0);
    if (c.near > 0.0) {
        let gain = cloth_gain(c.first, toward);
        falls = Falls(gain.w, (0.45 + 0.55 * gain.w) * gain.y, gain.z);
    }
    return cloth_value_under(c, out, toward, falls);
}

fn cloth_value_under(c: Cloth, out: vec3f, toward: vec3f, falls: Falls) -> vec3f {
    var value = vec3f(0.0);
    if (c.near > 0.0) {
        value = thread_value(c.first, c.thread, c.side, out, toward, falls);
        if (HAS_FIBRES && c.loose.faded > 0.0) {
            value = mix(value, hairs_value(c.loose.faded_colour, out, toward), c.loose.faded);
        }
        if (HAS_FIBRES && c.loose.share > 0.0) {
            value = mix(value, hair_value(c.first, c.loose.colour, c.loose.fibre, out, toward), c.loose.share);
        }
        value *= c.near * cloth_pair(c.first, out, toward);
    }
    if (c.near < 1.0) {
        value += far_value(c.first, c.tint, out, toward) * c.veil;
    }
    return value;
}

// How light from a direction comes to a thread, over what falls on the flat cloth.
struct Falls {
    // Straight, past what stands in the way.
    straight: f32,
    // Through yarns, and by way of fibres that stand off: half of it whatever stands in the way.
    through: f32,
    // Thrown in by neighbours.
    around: f32,
}

// `clear` the way to the light (1 open), `gain` what there is to raise.
fn cloth_falls(gain: vec4f, side: f32, clear: f32) -> Falls {
    var straight = clear;
    if (side > 0.5) {
        straight *= gain.x;
    }
    return Falls(straight, (0.45 + 0.55 * straight) * gain.y, gain.z);
}

// What light from a direction has to be raised by on the threads. x: what comes straight, so that all that comes
// down on them is met by their faces: a field of heights keeps what falls on steep flanks and under edges from being
// seen (within a tenth, as a rule). y, z: what comes through yarns and by way of neighbours, as much from
// each direction as is seen of it from there (a sheer's threads stand closer at a slant), so that exchanging
// the directions leaves the cloth as it is; even light gives what it gave. w: what comes straight to a place on
// average, raised.
fn cloth_gain(first: u32, toward: vec3f) -> vec4f {
    return cloth_raise(far_row(u32(load_texel(first + 7u).x), far_spot(toward)), toward);
}

// The same from what is kept of a direction, which is smooth between nodes where gains are not. x: what faces meet of
// its light, less the cosine, over the sine: toward the horizon faces go on meeting some of what the flat cloth would not.
// y: what is seen of the cloth from there, times what comes through on average. z: what comes by way of neighbours is
// raised by. w: how clear the way is on average.
fn cloth_raise(kept: vec4f, toward: vec3f) -> vec4f {
    let level = max(toward.z, 1e-3);
    let met = level + kept.x * root(max(1.0 - level * level, 0.0));
    let straight = level / max(met, LEAST_MET * level);
    let even = straight * kept.w;
    return vec4f(straight, kept.y / (0.45 + 0.55 * even), kept.z, even);
}

// What near is raised by for a pair of directions, so that on average it is what far off it is: the same both ways round.
fn cloth_pair(first: u32, out: vec3f, toward: vec3f) -> f32 {
    let table = u32(load_texel(first + 7u).x) + FAR_NODES + FAR_NODES * FAR_NODES;
    let a = far_spot(out);
    let b = far_spot(toward);
    let low = vec2f(1.0 - b.across, b.across) * (1.0 - b.up);
    let high = vec2f(1.0 - b.across, b.across) * b.up;
    let four = vec4f(low, high);
    let from_node = table + a.node * FAR_NODES + b.node;
    let up = from_node + FAR_SIDE * FAR_NODES;
    return mix(
        mix(dot(load_texel(from_node), four), dot(load_texel(from_node + FAR_NODES), four), a.across),
        mix(dot(load_texel(up), four), dot(load_texel(up + FAR_NODES), four), a.across),
        a.up,
    );
}

// Value times cosine of one thread, the `side` of it in sight.
fn thread_value(first: u32, t: Thread, side: f32, out: vec3f, toward: vec3f, falls: Falls) -> vec3f {
    let above = max(toward.z, 0.0);
    if (t.part == PART_GAP) {
        return load_texel(first + 5u).xyz * (INV_PI * above * falls.straight * 0.8);
    }
    if ((HAS_VELVET || HAS_CORDUROY) && t.part == PART_PILE) {
        return pile_value(first, t, out, toward) * falls.straight + sheen_over(first, t, out, toward, falls);
    }
    if ((HAS_LEATHER || HAS_SEQUINS) && t.part == PART_SOLID) {
        return solid_value(first, t, out, toward, falls);
    }
    if (HAS_FIBRES && t.part == PART_HAIR) {
        return hair_value(first, t.colour, t.fibre, out, toward);
    }
    return yarn_value(first, t, side, out, toward, falls) + sheen_over(first, t, out, toward, falls);
}

// A yarn: fibres' lobes, the yarn's body about its own normal, light through the yarn about the cloth's
// (so that exchanging the directions leaves each share as it is), and what neighbours throw in.
fn yarn_value(first: u32, t: Thread, side: f32, out: vec3f, toward: vec3f, falls: Falls) -> vec3f {
    let lobes = load_texel(first + 1u);
    let body = load_texel(first + 2u);
    let n = thread_normal(t) * vec3f(1.0, 1.0, side);
    let facing = max(dot(n, toward), 0.0);
    let above = max(toward.z, 0.0);
    let open = thread_open(first, t);
    var value = t.colour * (body.w * INV_PI
        * ((1.0 - body.x) * facing * falls.straight + body.x * above * falls.through));
    value += cavity_light(first, t, open) * (INV_PI * above * body.w * falls.around);
    if (facing > 0.0) {
        let fibre = normalize(vec3f(t.fibre.xy, dot(t.slope, t.fibre.xy)));
        let a = fibre_angles(fibre, out, toward);
        let mirror = fibre_mirror(out, toward);
        let gloss = lobes.x * (mirror / FIBRE_FACING) * fibre_lobe(a, 0.0, lobes.y * lobes.y + t.blur);
        let glow = lobes.z * (1.0 - mirror) * fibre_lobe(a, 0.0, lobes.w * lobes.w + t.blur);
        value += (vec3f(gloss) + deep_colour(t.colour) * glow) * (facing * falls.straight * open);
    }
    return value;
}

// Share of the sky that the threads around leave open at a place: by its height among theirs, and less on a
// yarn's flanks.
fn thread_open(first: u32, t: Thread) -> f32 {
    let low = load_texel(first + 5u).w;
    let high = load_texel(first + 12u).w;
    let least = load_texel(first + 4u).z;
    let level = clamp((t.height_mm - low) / max(high - low, 1e-4), 0.0, 1.0);
    let cube = abs(t.across * t.across * t.across);
    return (least + (1.0 - least) * level) * (1.0 - 0.55 * cube);
}

// Light that neighbours throw into a cavity, over what falls on the flat cloth: a well of opening A
// and reflectance C sends back CA/(1 - C(1 - A)) of even light; here all but the first bounce
// (the sum of a geometric series; Buck 1927 for the sphere).
fn cavity_light(first: u32, t: Thread, open: f32) -> vec3f {
    let again = t.colour * (load_texel(first + 2u).z * (1.0 - open));
    return t.colour * again / (vec3f(1.0) - again) * open;
}

// Colour of light that has gone through a fibre once: less saturated than what many give.
fn deep_colour(colour: vec3f) -> vec3f {
    return pow(max(colour, vec3f(1e-5)), vec3f(0.7));
}

struct FibreAngles {
    // Half the sum of both inclinations to the plane across the fibre.
    half_rad: f32,
    // cos(φ/2) / (4 cos² θd).
    fold: f32,
}

// Directions about a fibre, for the lobe below: inclinations θ from the plane across it, φ around it.
fn fibre_angles(fibre: vec3f, out: vec3f, toward: vec3f) -> FibreAngles {
    let sine_out = clamp(dot(fibre, out), -1.0, 1.0);
    let sine_in = clamp(dot(fibre, toward), -1.0, 1.0);
    let cosine_out = root(max(1.0 - sine_out * sine_out, 1e-6));
    let cosine_in = root(max(1.0 - sine_in * sine_in, 1e-6));
    let product = cosine_out * cosine_in;
    let around = clamp((dot(out, toward) - sine_out * sine_in) / product, -1.0, 1.0);
    // cos(θi + θo) and cos(θi - θo), halved.
    let half_sine = root(clamp(0.5 * (1.0 - product + sine_in * sine_out), 0.0, 1.0));
    let difference = max(0.5 * (1.0 + product + sine_in * sine_out), 1e-3);
    let sum = sine_in * cosine_out + sine_out * cosine_in;
    let half_angle = arc_sine(half_sine);
    return FibreAngles(select(-half_angle, half_angle, sum >= 0.0), root(0.5 * (1.0 + around)) / (4.0 * difference));
}

// One fibre's lobe about inclination `mean_rad`, with variance `spread` of its directions: Sadeghi, Bisker, De
// Deken and Jensen, "A Practical Microcylinder Appearance Model for Cloth Rendering", ACM TOG 32(2), 2013.
fn fibre_lobe(a: FibreAngles, mean_rad: f32, spread: f32) -> f32 {
    let x = a.half_rad - mean_rad;
    return a.fold * exp(-0.5 * x * x / spread) * (0.39894228 / root(spread));
}

// Fresnel reflectance of a fibre between two directions (Schlick 1994).
fn fibre_mirror(out: vec3f, toward: vec3f) -> f32 {
    let h = normalize(out + toward);
    return fresnel_metal(dot(h, out), vec3f(FIBRE_FACING)).x;
}

// Abramowitz and Stegun 4.4.45, for x in 0..1: error below 7e-5.
fn arc_sine(x: f32) -> f32 {
    let p = 1.5707288 + x * (-0.2121144 + x * (0.0742610 - x * 0.0187293));
    return 1.57079633 - root(max(1.0 - x, 0.0)) * p;
}

// Sheen of fibres that stand off, about the cloth's normal; half in shadow where threads are.
fn sheen_over(first: u32, t: Thread, out: vec3f, toward: vec3f, falls: Falls) -> vec3f {
    let sheen = load_texel(first + 3u);
    if (sheen.x <= 0.0 || toward.z <= 0.0 || out.z <= 0.0) {
        return vec3f(0.0);
    }
    let tint = mix(t.colour, vec3f(1.0), sheen.z);
    return tint * (sheen.x * sheen_value(sheen.y, out, toward) * toward.z * falls.through);
}

// A layer of leaning fibres, scattering once (the form of Lommel and Seeliger for fibres, whose
// cross-section toward a direction goes with the sine of its angle to them). Looking down the fibres is dark,
// along the layer bright. Both cosines are eased, so that exchanging the directions leaves it as it is.
fn pile_value(first: u32, t: Thread, out: vec3f, toward: vec3f) -> vec3f {
    if (toward.z <= 0.0) {
        return vec3f(0.0);
    }
    let lobes = load_texel(first + 1u);
    let body = load_texel(first + 2u);
    let n = thread_normal(t);
    let facing_in = eased(dot(n, toward));
    let facing_out = eased(dot(n, out));
    let along_in = dot(t.fibre, toward);
    let along_out = dot(t.fibre, out);
    let across_in = root(max(1.0 - along_in * along_in, 1e-4));
    let across_out = root(max(1.0 - along_out * along_out, 1e-4));
    let share = 2.0 * across_in * across_out * facing_in / (across_in * facing_out + across_out * facing_in);
    let a = fibre_angles(t.fibre, out, toward);
    let mirror = fibre_mirror(out, toward);
    let gloss = lobes.x * (mirror / FIBRE_FACING) * fibre_lobe(a, 0.0, lobes.y * lobes.y + t.blur);
    let glow = lobes.z * (1.0 - mirror) * fibre_lobe(a, 0.0, lobes.w * lobes.w + t.blur);
    return (t.colour * (body.w * INV_PI) + vec3f(gloss) + deep_colour(t.colour) * glow) * share;
}

fn eased(cosine: f32) -> f32 {
    return 0.5 * (cosine + root(cosine * cosine + 0.006));
}

// Leather, sequins: facets (GGX) over a base that gets what they leave (Ashikhmin and Shirley 2000).
fn solid_value(first: u32, t: Thread, out: vec3f, toward: vec3f, falls: Falls) -> vec3f {
    let body = load_texel(first + 2u);
    let n = thread_normal(t);
    let facing_in = dot(n, toward);
    let facing_out = max(dot(n, out), 0.02);
    let above = max(toward.z, 0.0);
    let mirror = load_texel(first + 4u).x;
    var value = vec3f(0.0);
    if (mirror >= 0.0) {
        let through = base_under_facets(mirror, max(facing_in, 0.0), facing_out);
        value = t.colour * (body.w * INV_PI * through * (1.0 - body.x) * max(facing_in, 0.0) * falls.straight
            + body.w * INV_PI * body.x * above * falls.through);
        value += cavity_light(first, t, thread_open(first, t)) * (INV_PI * above * body.w * falls.around);
    }
    if (facing_in > 0.0) {
        let smooth_alpha = load_texel(first + 3u).w;
        let alpha = root(smooth_alpha * smooth_alpha + 2.0 * t.blur);
        value += facet_value(mirror, t.colour, alpha, n, out, toward) * (facing_in * falls.straight);
    }
    return value;
}

fn base_under_facets(mirror: f32, facing_in: f32, facing_out: f32) -> f32 {
    let a = 1.0 - 0.5 * facing_in;
    let b = 1.0 - 0.5 * facing_out;
    return (28.0 / 23.0) * (1.0 - mirror) * (1.0 - a * a * a * a * a) * (1.0 - b * b * b * b * b);
}

fn facet_value(mirror: f32, colour: vec3f, alpha: f32, n: vec3f, out: vec3f, toward: vec3f) -> vec3f {
    let h = normalize(out + toward);
    let facing_in = max(dot(n, toward), 1e-3);
    let facing_out = max(dot(n, out), 0.02);
    let shape = ggx_density(dot(n, h), alpha)
        / (4.0 * facing_in * facing_out * (1.0 + ggx_lambda(facing_in, alpha) + ggx_lambda(facing_out, alpha)));
    if (mirror < 0.0) {
        return fresnel_metal(dot(h, out), colour) * shape;
    }
    return fresnel_metal(dot(h, out), vec3f(mirror)) * shape;
}

// A loose fibre: scatters all round, by the sines of both directions to it, and shines along it.
fn hair_value(first: u32, colour: vec3f, fibre: vec3f, out: vec3f, toward: vec3f) -> vec3f {
    if (toward.z <= 0.0) {
        return vec3f(0.0);
    }
    let lobes = load_texel(first + 1u);
    let along_in = dot(fibre, toward);
    let along_out = dot(fibre, out);
    let across = root(max((1.0 - along_in * along_in) * (1.0 - along_out * along_out), 0.0));
    let a = fibre_angles(fibre, out, toward);
    let gloss = 0.3 * lobes.x * (fibre_mirror(out, toward) / FIBRE_FACING) * fibre_lobe(a, 0.0, 0.0625);
    return (colour * (0.78 * INV_PI * across) + vec3f(gloss)) * toward.z;
}

// Loose fibres that lie every way, on average.
fn hairs_value(colour: vec3f, out: vec3f, toward: vec3f) -> vec3f {
    return colour * (0.78 * INV_PI * hairs_across(out) * hairs_across(toward) * max(toward.z, 0.0));
}

// Mean sine of a direction to fibres that lie every way in the cloth's plane: 2 E(k) / PI, a complete elliptic integral
// of the second kind, with k the direction's own sine to the normal (its series, Abramowitz and Stegun 17.3.12, cut
// short and closed at k = 1; within .7 %).
fn hairs_across(d: vec3f) -> f32 {
    let q = min(d.x * d.x + d.y * d.y, 1.0);
    return 1.0 - q * (0.25 + 0.04 * q + 0.0734 * q * q * q);
}

// Where a direction lies among the far table's nodes.
struct FarSpot {
    node: u32,
    across: f32,
    up: f32,
}

// Directions on a disk of equal areas (Lambert's azimuthal map), cut into squares.
fn far_spot(d: vec3f) -> FarSpot {
    let z = clamp(d.z, 0.0, 1.0);
    let scale = 1.0 / root(1.0 + z);
    let cells = f32(FAR_SIDE - 1u);
    let x = clamp((0.5 + 0.5 * d.x * scale) * cells, 0.0, cells - 1e-3);
    let y = clamp((0.5 + 0.5 * d.y * scale) * cells, 0.0, cells - 1e-3);
    let i = u32(x);
    let j = u32(y);
    return FarSpot(j * FAR_SIDE + i, x - f32(i), y - f32(j));
}

fn far_row(first: u32, s: FarSpot) -> vec4f {
    let low = mix(load_texel(first + s.node), load_texel(first + s.node + 1u), s.across);
    let high = mix(load_texel(first + s.node + FAR_SIDE), load_texel(first + s.node + FAR_SIDE + 1u), s.across);
    return mix(low, high, s.up);
}

// Value times cosine far off: the table's smooth rest, and the fibres' lobes by the share that the
// relief lets be lit and seen.
fn far_value(first: u32, tint: vec3f, out: vec3f, toward: vec3f) -> vec3f {
    if (toward.z <= 0.0) {
        return vec3f(0.0);
    }
    let table = u32(load_texel(first + 7u).x) + FAR_NODES;
    let a = far_spot(out);
    let b = far_spot(toward);
    let from_node = table + a.node * FAR_NODES;
    let low = mix(far_row(from_node, b), far_row(from_node + FAR_NODES, b), a.across);
    let up = from_node + FAR_SIDE * FAR_NODES;
    let high = mix(far_row(up, b), far_row(up + FAR_NODES, b), a.across);
    let rest = mix(low, high, a.up);
    let shape = far_shape(first, out, toward);
    // The rest is what lobes miss or have too much of.
    let value = rest.xyz * (INV_PI * shape) * tint + far_lobes(first, tint, out, toward) * rest.w;
    return max(value, vec3f(0.0)) * toward.z;
}

// What the table's rest is taken over, since a table that coarse could not follow it: of a pile, a layer of all its
// fibres (as `pile_value`, with the mean square of each direction's sine to them); of others 1.
fn far_shape(first: u32, out: vec3f, toward: vec3f) -> f32 {
    if (load_texel(first + 13u).w < 1.5) {
        return 1.0;
    }
    let squares = load_texel(first + 9u).xyz;
    let products = load_texel(first + 11u).xyz;
    let across_out = pile_across(squares, products, out);
    let across_in = pile_across(squares, products, toward);
    return 2.0 * across_in * across_out / (across_in * eased(out.z) + across_out * eased(toward.z));
}

fn pile_across(squares: vec3f, products: vec3f, d: vec3f) -> f32 {
    let along = dot(squares, d * d) + 2.0 * (products.x * d.x * d.y + products.y * d.x * d.z + products.z * d.y * d.z);
    return root(max(1.0 - along, 1e-3));
}

// The lobes of the far view, without cosine, as if nothing stood in the way.
fn far_lobes(first: u32, tint: vec3f, out: vec3f, toward: vec3f) -> vec3f {
    let far = load_texel(first + 7u);
    if (far.w > 0.0) {
        if (load_texel(first + 13u).w < 0.5) {
            return vec3f(0.0);
        }
        let slopes = load_texel(first + 12u).xy;
        let colour = load_texel(first + 6u).xyz * tint;
        return facet_value(load_texel(first + 4u).x, colour, far.z, normalize(vec3f(-slopes, 1.0)), out, toward);
    }
    return family_lobes(first, 8u, tint, out, toward) + family_lobes(first, 10u, tint, out, toward);
}

// One family of yarns: its tilts along the yarn as two Gaussians, each widening the fibres' lobes.
fn family_lobes(first: u32, row: u32, tint: vec3f, out: vec3f, toward: vec3f) -> vec3f {
    let one = load_texel(first + row);
    if (one.x <= 0.0) {
        return vec3f(0.0);
    }
    let two = load_texel(first + row + 1u);
    let lobes = load_texel(first + 1u);
    let a = fibre_angles(vec3f(two.z, two.w, 0.0), out, toward);
    let mirror = fibre_mirror(out, toward);
    let spread_one = one.w * one.w;
    let spread_two = two.y * two.y;
    let gloss = one.y * fibre_lobe(a, one.z, lobes.y * lobes.y + spread_one)
        + (1.0 - one.y) * fibre_lobe(a, two.x, lobes.y * lobes.y + spread_two);
    let glow = one.y * fibre_lobe(a, one.z, lobes.w * lobes.w + spread_one)
        + (1.0 - one.y) * fibre_lobe(a, two.x, lobes.w * lobes.w + spread_two);
    let colour = deep_colour(load_texel(first + 6u).xyz * tint);
    return (vec3f(lobes.x * (mirror / FIBRE_FACING) * gloss) + colour * (lobes.z * (1.0 - mirror) * glow)) * one.x;
}

// How much light passes straight between the threads toward a direction at `cosine` to the normal: a
// sheer's gaps narrow as it turns away.
fn cloth_straight(straight: f32, cosine: f32) -> f32 {
    return pow(max(straight, 1e-6), 1.0 / max(abs(cosine), 0.15));
}
