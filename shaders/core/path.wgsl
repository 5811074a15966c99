// Paths of light, walked from the camera or from a meter's receptor: next-event
// estimation by resampling the emission tables, weighed against emitters met by
// scattering; every contribution goes to its own light's layer.

// Most paths that go on from a place where threads are seen apart.
const NEAR_BRANCHES: u32 = 1u;
// Most from hair: they go from hair to hair, each a walk of several rays that brings little light.
const HAIR_BRANCHES: u32 = 3u;
// A footprint under which no thread is seen.
const FAR_OFF_MM: f32 = 1e6;
// Solid angle from which on a light is wide beside what a disc mirrors of it: about a lobe's own (PI alpha^2, alpha .1).
const WIDE_SR: f32 = 0.03;

struct LightSample {
    direction: vec3f,
    distance_m: f32,
    luminance: f32,
    // Resampling weight: 1 / (density of the choice, as it came out).
    weight: f32,
    emitter: u32,
    pdf: f32,
}

// Light of the whole sample `number` of one pixel, into the layers.
// Its samples belong to two nets of their own, so that how the two differ tells how far
// both together are off (random replications; Owen, "Monte Carlo theory, methods and examples", 17.6).
fn camera_path(x: u32, y: u32, number: u32) {
    let p = params();
    let seed = hash_pair(hash_pair(hash_pair(p.seed, x), y), select(0u, 1u, in_second_net(number)));
    let index = number_in_net(number);
    // Four spots one pixel apart, each seen through a pixel's square: together a square of twice the side.
    let four = draw_four(seed, index);
    let on_pixel = (four.xy - 0.5) * (1.0 + p.low_pass_px) + 0.5;
    // The picture's x runs right and its y down; the sensor is taken as upright in front of the lens.
    let sx = ((f32(x) + on_pixel.x) / f32(p.width) - 0.5) * p.sensor_width_m + p.shift_x_m;
    let sy = (0.5 - (f32(y) + on_pixel.y) / f32(p.height)) * p.sensor_height_m + p.shift_y_m;
    let ray = p.forward * p.image_distance_m + p.right * sx + p.up * sy;
    var origin = p.lens_centre;
    var direction = normalize(ray);
    if (p.lens_radius_m > 0.0) {
        // Thin lens: all rays of one sensor point meet on the plane of focus.
        let focus = p.lens_centre + ray * (p.focus_distance_m / p.image_distance_m);
        let lens = disk_of(draw_net(seed, index, 1u)) * p.lens_radius_m;
        origin = p.lens_centre + p.right * lens.x + p.up * lens.y;
        direction = normalize(focus - origin);
    }
    see(origin, direction, vec2f(four.z, four.w), seed, index);
}

// Whether a pixel's sample is one of its second net. The nets double by turns, the first in the first half of what lies
// between two powers of two: a net is most even where it is whole, and so one of them is whole half-way too.
fn in_second_net(number: u32) -> bool {
    return number == 1u || (number & (highest_bit(number) >> 1u)) != 0u;
}

// Which sample of its net a pixel's sample is.
fn number_in_net(number: u32) -> u32 {
    let half = highest_bit(number) >> 1u;
    return half + (number & (max(half, 1u) - 1u));
}

// The greatest power of two in a number, or 0.
fn highest_bit(number: u32) -> u32 {
    var v = number | (number >> 1u);
    v |= v >> 2u;
    v |= v >> 4u;
    v |= v >> 8u;
    v |= v >> 16u;
    return v - (v >> 1u);
}

// All the light that comes against a ray, into the layers; `square` is where on the lights.
fn see(origin: vec3f, direction: vec3f, square: vec2f, seed: u32, index: u32) {
    let first = first_place(origin, direction, seed, index);
    var most = 0xffffffffu;
    if (first.place.cloth.near > 0.0) {
        // Threads seen apart need many samples whatever falls on them: fewer paths each.
        most = NEAR_BRANCHES;
    }
    if (HAS_HAIR && first.place.kind == KIND_SURFACE && first.place.material.top == TOP_HAIR) {
        most = min(most, HAIR_BRANCHES);
    }
    let branches = min(max(params().branches, 1u), most);
    // Where fewer go on than before, their numbers are none that were used: each doubling of the samples
    // begins where it would have begun.
    let doubling = highest_bit(index);
    let first_number = doubling * min(max(params().branches_before, branches), most) + (index - doubling) * branches;
    if (first.place.kind != KIND_SURFACE) {
        return;
    }
    var lit = first.place;
    var below = nowhere();
    if (HAS_SKIN && lit.under != NOTHING) {
        // Light that falls on skin leaves it here and at a place near by (spread_below).
        lit.material.base = coupled_base(lit.material);
        lit.material.couple_gain = 1.0;
        lit.material.couple_feedback = 0.0;
        let spread = spread_below(lit, seed, index);
        below = spread.place;
        lit.material.base *= vec3f(1.0) - spread.share;
    }
    loop {
        gather_each(lit, vec3f(first.carried), square, seed, index);
        if (below.kind == KIND_NOWHERE) {
            break;
        }
        lit = below;
        below.kind = KIND_NOWHERE;
    }
    var share = first.carried;
    if (only_lights_light(first.place) && first.place.cloth.thread.part != PART_SOLID) {
        // What the room throws back on threads is smooth beside their texture: every other sample asks for all of it.
        if (odd_bits(index)) {
            return;
        }
        share *= 2.0;
    }
    let mirrored = chosen_by_lobe(first.place);
    // Looking at lights is all but free of noise and takes most of the rays; what bounces is
    // neither. So several paths go on from here, on the net of `branches` times as many samples.
    for (var branch = 0u; branch < branches; branch++) {
        let number = first_number + branch;
        var lobe = draw(seed, number, 2u, 0u).x;
        if (HAS_SHEETS && first.passes > 0u) {
            lobe = draw_plain(seed, number, 2u + (first.passes << 16u)).x;
        }
        let s = place_scatter(first.place, lobe, draw(seed, number, 4u, 0u));
        if (s.pdf > 0.0) {
            let near = dot(first.place.facet, s.direction) >= 0.0;
            let from_here = side_of(first.place, near);
            let throughput = s.weight * (share / f32(branches));
            var to_lights = throughput;
            if (HAS_SKIN && first.place.under != NOTHING) {
                // What lights bring to the base of skin has been looked at, all of it; of what bounces, spread is smooth.
                to_lights -= base_value(first.place, s.direction) * (share / (f32(branches) * s.pdf));
            }
            if (only_lights_light(first.place) && near) {
                to_lights = vec3f(0.0);
            }
            // What is dark behind a sheet is compared with itself alone: paths from there end no sooner than from what is light.
            let whole = select(1.0, clamp(largest(throughput), 1e-3, 1.0), HAS_SHEETS && first.passes > 0u);
            let begun = Begun(from_here, leave(from_here, first.place.facet, s.direction), s.direction, throughput, to_lights, s.pdf, whole, mirrored);
            walk(begun, seed, number);
        }
    }
}

// Whether a number has an odd number of bits: half of any 2^k in a row have, on no side of a net's squares.
fn odd_bits(number: u32) -> bool {
    var v = number ^ (number >> 16u);
    v ^= v >> 8u;
    v ^= v >> 4u;
    v ^= v >> 2u;
    return ((v ^ (v >> 1u)) & 1u) == 1u;
}

struct FirstPlace {
    // Of kind KIND_NOWHERE where the ray met no surface.
    place: Place,
    // What the sheets on the way have left of the light; it is the chance of each that decides.
    carried: f32,
    passes: u32,
}

// Where a ray from the lens first has to turn. Lights and the surround in sight are dealt with here.
fn first_place(start: vec3f, direction: vec3f, seed: u32, index: u32) -> FirstPlace {
    let p = params();
    var origin = start;
    var travelled = 0.0;
    var carried = 1.0;
    var passes = 0u;
    var found = FirstPlace(nowhere(), 0.0, 0u);
    loop {
        let hit = trace(origin, direction, 1e30, TRACE_NEAREST);
        let reach = select(hit.t, 1e30, hit.triangle == NOTHING);
        let lit = nearest_emitter(origin, direction, reach, p.emitter_count);
        if (lit.emitter != NOTHING) {
            meet_emitter(lit, start, direction, vec3f(carried), 0.0, false, false, travelled);
            describe(vec3f(1.0), -direction, travelled + lit.t);
            break;
        }
        if (hit.triangle == NOTHING) {
            meet_surround(vec3f(carried));
            break;
        }
        let across_mm = 1000.0 * p.pixel_rad * (travelled + hit.t);
        let place = place_of(hit, direction, across_mm, draw_plain(seed, index, 7u).x);
        if (HAS_SHEETS && place.material.straight > 0.0) {
            // Numbers of its own for every sheet, here and in `walk`, or what two let through would not multiply.
            var chance = draw_net(seed, index, 9u).x;
            if (passes > 0u) {
                chance = draw_plain(seed, index, 9u + (passes << 16u)).x;
            }
            if (chance < place.material.straight && passes < 32u) {
                origin = leave(place.point_on_facet, place.facet, direction);
                travelled += hit.t;
                passes += 1u;
                continue;
            }
            carried /= 1.0 - place.material.straight;
        }
        describe(place.material.base, place.frame.z, travelled + hit.t);
        found = FirstPlace(place, carried, passes);
        break;
    }
    return found;
}

fn meet_surround(throughput: vec3f) {
    let p = params();
    if (p.surround_layer != NOTHING) {
        deposit(p.surround_layer, throughput * p.surround);
    }
}

// One sample of what a meter's receptor gathers, lux (or lux-seconds) per lumen, into the layers.
fn receptor_path(which: u32, index: u32) {
    let p = params();
    let r = load_receptor(which);
    let seed = hash_pair(hash_pair(p.seed, 0x51ed270bu), which);
    let kind = select(KIND_FLAT, KIND_DOME, r.kind == RECEPTOR_DOME);
    let frame = frame_about(r.facing);
    let place = Place(r.position, kind, r.position, 0.0, r.facing, 0.0, frame, vec3f(0.0, 0.0, 1.0), NOTHING, 0.0, 0.0, NOTHING, no_cloth(), no_material());
    // No pixel shares its square: the best net of two dimensions.
    gather_each(place, vec3f(1.0), draw_net(seed, index, 3u), seed, index);
    let s = place_scatter(place, 0.5, draw_net(seed, index, 4u));
    walk(Begun(r.position, r.position, s.direction, s.weight, s.weight, s.pdf, 1.0, false), seed, index);
}

// A path's way out of its first place.
struct Begun {
    // The place, and where the ray starts.
    from_here: vec3f,
    start: vec3f,
    direction: vec3f,
    // What it carries, and what of that lights count for that it meets at once.
    throughput: vec3f,
    to_lights: vec3f,
    // Density with which its direction was chosen.
    pdf: f32,
    // What its strength is measured by where chance ends it.
    whole: f32,
    // Whether lights were looked at by the lobe of the place (`chosen_by_lobe`).
    mirrored: bool,
}

// Follows a path from its first place on.
fn walk(begun: Begun, seed: u32, index: u32) {
    let p = params();
    var origin = begun.start;
    var direction = begun.direction;
    var throughput = begun.throughput;
    var pdf = begun.pdf;
    var depth = 1u;
    var travelled = 0.0;
    var passes = 0u;
    var last = begun.from_here;
    if (p.bounce_limit == 0u) {
        return;
    }
    loop {
        let hit = trace(origin, direction, 1e30, TRACE_NEAREST);
        let reach = select(hit.t, 1e30, hit.triangle == NOTHING);
        let lit = nearest_emitter(origin, direction, reach, p.emitter_count);
        if (lit.emitter != NOTHING) {
            var light = throughput;
            if (depth == 1u) {
                light = begun.to_lights;
            }
            meet_emitter(lit, last, direction, light, pdf, depth == 1u, begun.mirrored, travelled);
            break;
        }
        if (hit.triangle == NOTHING) {
            meet_surround(throughput);
            break;
        }
        let place = place_of(hit, direction, FAR_OFF_MM, 0.5);
        if (HAS_FLATS && place.bounce_cell != NOTHING && bounce_reaches(place.material, travelled + hit.t)) {
            leave_by_bounce(place, throughput);
            break;
        }
        let dimension = 2u + 4u * depth;
        var pick = draw(seed, index, dimension, depth);
        if (HAS_SHEETS && passes > 0u) {
            // Numbers of its own for every sheet, as in first_place.
            pick = draw_plain(seed, index, dimension + (passes << 16u));
        }
        var lobe = pick.x;
        if (HAS_SHEETS && place.material.straight > 0.0) {
            if (lobe < place.material.straight && passes < 32u) {
                origin = leave(place.point_on_facet, place.facet, direction);
                travelled += hit.t;
                passes += 1u;
                continue;
            }
            lobe = (lobe - place.material.straight) / (1.0 - place.material.straight);
            throughput /= 1.0 - place.material.straight;
        }
        gather_one(place, throughput, seed, index, depth, pick.y);
        let s = place_scatter(place, clamp(lobe, 0.0, 1.0), draw(seed, index, dimension + 2u, depth));
        if (s.pdf <= 0.0) {
            break;
        }
        throughput *= s.weight;
        if (HAS_HAIR && place.material.top == TOP_HAIR) {
            // Paths would go on and on from hair to hair, most of them with little left to carry.
            let survive = clamp(1.4 * largest(s.weight), 0.25, 0.75);
            if (draw_plain(seed, index, dimension + 3u).y >= survive) {
                break;
            }
            throughput /= survive;
        }
        let strength = largest(throughput);
        if (strength <= 0.0) {
            break;
        }
        depth += 1u;
        if (depth > p.bounce_limit) {
            break;
        }
        if (depth > p.bounces_before_roulette) {
            let survive = min(strength / begun.whole, 0.95);
            let chance = draw_plain(seed, index, dimension + 3u).x;
            if (chance >= survive) {
                break;
            }
            throughput /= survive;
        }
        direction = s.direction;
        // Through a thin sheet the path leaves from the facet; on the near side from the smooth surface.
        let near = dot(place.facet, direction) >= 0.0;
        last = side_of(place, near);
        origin = leave(last, place.facet, direction);
        pdf = s.pdf;
        travelled = 0.0;
        passes = 0u;
    }
}

// Light met by scattering, weighed against what next-event estimation does there
// (power heuristic, Veach 1997). The density of a resampled choice has no closed form, so
// both sides use the density of its candidates instead: any agreed function keeps the sum right.
fn meet_emitter(
    lit: EmitterHit, last: vec3f, direction: vec3f, throughput: vec3f, pdf: f32, first: bool, mirrored: bool, travelled: f32,
) {
    let e = load_emitter(lit.emitter);
    let l = emitter_luminance(e, lit.place, lit.normal, -direction);
    if (l <= 0.0) {
        return;
    }
    var weight = 1.0;
    if (pdf > 0.0) {
        let from_last = EmitterHit(lit.t + travelled, lit.emitter, lit.place, lit.normal);
        let other = emitter_pdf(e, last, from_last, direction) * light_effort(e, first, mirrored, last);
        weight = power_weight(pdf, other);
    }
    deposit(e.layer, throughput * (l * weight));
}

fn power_weight(mine: f32, other: f32) -> f32 {
    let ratio = other / max(mine, 1e-20);
    return 1.0 / (1.0 + ratio * ratio);
}

fn light_effort(e: Emitter, first: bool, mirrored: bool, from_here: vec3f) -> f32 {
    return select(1.0, f32(candidates_from(e, mirrored, from_here)), first);
}

// Whether a first place mirrors so sharply that a place on a light is best chosen by its lobe.
fn chosen_by_lobe(place: Place) -> bool {
    return (HAS_LEATHER || HAS_SEQUINS) && place.kind == KIND_SURFACE && place.cloth.near > 0.0 && place.top_chance > 0.0;
}

// Candidates on a light at a first place: its own number, or a lattice where it is wide and mirrored.
fn candidates_from(e: Emitter, mirrored: bool, from_here: vec3f) -> u32 {
    let away = e.centre - from_here;
    if (mirrored && e.area_sqm > WIDE_SR * dot(away, away)) {
        return SIDE * SIDE;
    }
    return e.candidates;
}

// At the first place: every light, each with a shadow ray. `square` is where on them.
fn gather_each(place: Place, throughput: vec3f, square: vec2f, seed: u32, index: u32) {
    let count = params().emitter_count;
    let mirrored = chosen_by_lobe(place);
    for (var i = 0u; i < count; i++) {
        let e = load_emitter(i);
        // The same nets for all lights, turned on the torus.
        let shift = vec2f(0.618033989, 1.236067977) * f32(i);
        let turned = torus(square + shift);
        var chosen = LightSample(vec3f(0.0), 0.0, 0.0, 0.0, i, 0.0);
        if ((HAS_CHOICES || HAS_LEATHER || HAS_SEQUINS) && candidates_from(e, mirrored, place.point) > 1u) {
            chosen = choose_place(e, i, place, turned, torus(draw_net(seed, index, 5u) + shift), mirrored);
        } else {
            chosen = look_at(e, i, place, turned);
            if (chosen.luminance > 0.0) {
                chosen.weight = 1.0 / chosen.pdf;
            }
        }
        if (chosen.weight > 0.0) {
            light_up(place, e, chosen, throughput, true, mirrored);
        }
    }
}

// Candidates along each side of a face's square (`Emission::candidates` is all of them).
const SIDE: u32 = 3u;

// One place of a face out of a lattice of candidates, each with the chance of the light it would bring
// (resampled importance sampling; Talbot 2005). `within` sets the lattice, `square` chooses on it by
// its columns' and rows' sums, so that neighbours in the net are neighbours on the face and
// penumbrae keep their strata. Where a place mirrors, the chance goes by its lobe.
fn choose_place(e: Emitter, which: u32, place: Place, square: vec2f, within: vec2f, mirrored: bool) -> LightSample {
    var share = array<f32, 9>();
    var sum = 0.0;
    for (var k = 0u; k < SIDE * SIDE; k++) {
        let spot = (vec2f(f32(k / SIDE), f32(k % SIDE)) + within) / f32(SIDE);
        let c = look_at(e, which, place, spot);
        var light = 0.0;
        if (c.luminance > 0.0) {
            var response = 0.0;
            if (mirrored) {
                response = place_pdf(place, c.direction);
            } else {
                response = place_response(place, c.direction);
            }
            light = c.luminance * response / c.pdf;
        }
        share[k] = light;
        sum += light;
    }
    var x = square.x * sum;
    var column = 0u;
    var across = 0.0;
    for (var k = 0u; k < SIDE; k++) {
        across = 0.0;
        for (var j = 0u; j < SIDE; j++) {
            across += share[k * SIDE + j];
        }
        column = k;
        if (x < across) {
            break;
        }
        x -= across;
    }
    var y = square.y * across;
    var row = 0u;
    for (var j = 0u; j < SIDE; j++) {
        row = j;
        if (y < share[column * SIDE + j]) {
            break;
        }
        y -= share[column * SIDE + j];
    }
    let light = share[column * SIDE + row];
    if (light <= 0.0) {
        return LightSample(vec3f(0.0), 0.0, 0.0, 0.0, which, 0.0);
    }
    var chosen = look_at(e, which, place, (vec2f(f32(column), f32(row)) + within) / f32(SIDE));
    chosen.weight = sum / (light * f32(SIDE * SIDE) * chosen.pdf);
    return chosen;
}

// Deeper in: one candidate from each light, one of them chosen by what it would bring.
fn gather_one(place: Place, throughput: vec3f, seed: u32, index: u32, depth: u32, pick: f32) {
    let count = params().emitter_count;
    let square = draw(seed, index, 3u + 4u * depth, depth);
    var u = pick;
    var chosen = LightSample(vec3f(0.0), 0.0, 0.0, 0.0, NOTHING, 0.0);
    var chosen_target = 0.0;
    var sum = 0.0;
    for (var i = 0u; i < count; i++) {
        let e = load_emitter(i);
        let shift = f32(i) * 0.618033989;
        let c = look_at(e, i, place, torus(square + vec2f(shift, 2.0 * shift)));
        let steer = c.luminance * e.weight * place_response(place, c.direction);
        if (steer > 0.0) {
            let w = steer / c.pdf;
            sum += w;
            let chance = w / sum;
            if (u < chance) {
                u = u / chance;
                chosen = c;
                chosen_target = steer;
            } else {
                u = (u - chance) / max(1.0 - chance, 1e-9);
            }
        }
    }
    if (chosen_target > 0.0) {
        chosen.weight = sum / chosen_target;
        light_up(place, load_emitter(chosen.emitter), chosen, throughput, false, false);
    }
}

fn torus(square: vec2f) -> vec2f {
    return square - floor(square);
}

// One candidate: a point of emitter `which` as seen from the place.
fn look_at(e: Emitter, which: u32, place: Place, square: vec2f) -> LightSample {
    let at = emitter_point(e, place.point, square);
    if (at.pdf <= 0.0) {
        return LightSample(vec3f(0.0), 0.0, 0.0, 0.0, which, 0.0);
    }
    let to_light = at.point - place.point;
    let distance_m = root(max(dot(to_light, to_light), 1e-12));
    let direction = to_light / distance_m;
    let l = emitter_luminance(e, at.place, at.normal, -direction);
    return LightSample(direction, distance_m, l, 0.0, which, at.pdf);
}

fn side_of(place: Place, near: bool) -> vec3f {
    if (near) {
        return place.point;
    }
    return place.point_on_facet;
}

fn light_up(place: Place, e: Emitter, s: LightSample, throughput: vec3f, first: bool, mirrored: bool) {
    // Of hair both at once: its lobes are what takes time.
    let hair = HAS_HAIR && place.kind == KIND_SURFACE && place.material.top == TOP_HAIR;
    var strand = StrandLight(vec3f(0.0), 0.0);
    if (hair) {
        strand = strand_light(place, to_local(place.frame, s.direction));
    }
    var value = strand.value;
    if (!hair) {
        value = place_value(place, s.direction);
    }
    // Of skin, the place itself may count less than nothing where one beside it counts more.
    if (dot(value, value) <= 0.0) {
        return;
    }
    let near = place.kind != KIND_SURFACE || dot(place.facet, s.direction) >= 0.0;
    var origin = place.point;
    if (place.kind == KIND_SURFACE) {
        origin = leave(side_of(place, near), place.facet, s.direction);
    }
    let clear = clear_way(origin, s.direction, s.distance_m * 0.9999 - 1e-5, s.emitter);
    if (clear <= 0.0) {
        return;
    }
    var weight = 1.0;
    if (hair) {
        weight = power_weight(s.pdf * light_effort(e, first, mirrored, place.point), strand.pdf);
    } else if (!(near && only_lights_light(place))) {
        weight = power_weight(s.pdf * light_effort(e, first, mirrored, place.point), place_pdf(place, s.direction));
    }
    value *= weight;
    if (HAS_SKIN && place.under != NOTHING && first) {
        // No path looks for what the base has of the lights.
        value += base_value(place, s.direction) * (1.0 - weight);
    }
    deposit(e.layer, throughput * value * (s.luminance * s.weight * clear));
}

// Fraction of light that passes along a segment to emitter `aim`: 0 behind anything opaque (other
// emitters are, by their bodies or as `walk` has it; `aim` is convex and hides nothing of what was looked at), the
// straight part of each sheet between.
fn clear_way(start: vec3f, direction: vec3f, distance_m: f32, aim: u32) -> f32 {
    let p = params();
    if (HAS_BARE) {
        for (var i = 0u; i < p.emitter_count * p.bare; i++) {
            if (i != aim && emitter_hit(load_emitter(i), start, direction, distance_m).t < distance_m) {
                return 0.0;
            }
        }
    }
    let blocked = trace(start, direction, distance_m, TRACE_OPAQUE);
    if (blocked.triangle != NOTHING) {
        return 0.0;
    }
    if (!HAS_SHEETS || blocked.u == 0.0) {
        return 1.0;
    }
    var origin = start;
    var left = distance_m;
    var clear = 1.0;
    for (var i = 0u; i < 32u; i++) {
        let hit = trace(origin, direction, left, TRACE_PASSING);
        if (hit.triangle == NOTHING) {
            return clear;
        }
        let triangle = load_triangle(hit.triangle);
        let sheet = load_material(triangle.material);
        if (HAS_CLOTH && sheet.cloth != NOTHING) {
            let a = load_vertex(triangle.a).position;
            let across = normalize(cross(load_vertex(triangle.b).position - a, load_vertex(triangle.c).position - a));
            clear *= cloth_straight(sheet.straight, dot(across, direction));
        } else {
            clear *= sheet.straight;
        }
        if (clear <= 0.0) {
            return 0.0;
        }
        let step = hit.t + 2e-5 + 2e-6 * hit.t;
        origin += direction * step;
        left -= step;
    }
    return clear;
}
