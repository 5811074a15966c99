// Skin: fine relief in its surface, and light that spreads under it.
//
// Texels of skin, from the finish's second row on; src/scene/finish.rs packs them:
//   0  reach of light by channel (mm: d of the profile below), farthest distance looked at (mm)
//   1  strength of the relief
//   2 on: 64 radii (mm), the inverse of their distribution at even shares

const RADII: u32 = 64u;
// Height of the relief, furrows and pores apart: replicas of facial skin have a mean roughness of some
// 15 to 25 um, single pores 0.1 mm and more (order of magnitude, from memory).
const FURROW_MM: f32 = 0.030;
const PORE_MM: f32 = 0.045;
// Mean sizes of the fields between furrows and of the coarse lines' fields, and widths of either's lines over them.
const FIELD_MM: f32 = 0.55;
const COARSE_MM: f32 = 1.4;
const FURROW_WIDTH: f32 = 0.30;
const COARSE_WIDTH: f32 = 0.16;
// Size that a footprint must be under for the relief to be seen.
const RELIEF_SEEN_MM: f32 = 1.43;
// Other things that a look for skin may pass on its way: hairs, cloth.
const SPREAD_PASSES: u32 = 3u;
// Cosine between two places' facets, under which light does not spread between them here.
const LEAST_TURN: f32 = 0.2;

// Nearest two points of a jittered grid of unit cells (Worley 1996).
struct Cells {
    to_nearest: vec3f,
    nearest: f32,
    to_second: vec3f,
    second: f32,
    label: u32,
}

fn cell_label(a: i32, b: i32, c: i32, label: u32) -> u32 {
    var v = u32(a) * 374761393u + u32(b) * 668265263u + u32(c) * 2246822519u + label * 1442695041u;
    v = (v ^ (v >> 13u)) * 1274126177u;
    v = (v ^ (v >> 16u)) * 2246822519u;
    return v ^ (v >> 15u);
}

fn cells_about(at: vec3f, label: u32) -> Cells {
    let whole = floor(at);
    let i = i32(whole.x);
    let j = i32(whole.y);
    let k = i32(whole.z);
    let within = at - whole;
    var found = Cells(vec3f(1.0), 100.0, vec3f(1.0), 100.0, 0u);
    for (var n = 0u; n < 27u; n++) {
        let x = i32(n % 3u) - 1;
        let y = i32((n / 3u) % 3u) - 1;
        let z = i32(n / 9u) - 1;
        let bits = cell_label(i + x, j + y, k + z, label);
        let jitter = vec3f(f32(bits & 1023u), f32((bits >> 10u) & 1023u), f32((bits >> 20u) & 1023u)) * (1.0 / 1023.0);
        let to = vec3f(f32(x), f32(y), f32(z)) + jitter - within;
        let square = dot(to, to);
        if (square < found.nearest) {
            found.to_second = found.to_nearest;
            found.second = found.nearest;
            found.to_nearest = to;
            found.nearest = square;
            found.label = bits;
        } else if (square < found.second) {
            found.to_second = to;
            found.second = square;
        }
    }
    found.nearest = root(max(found.nearest, 1e-8));
    found.second = root(max(found.second, 1e-8));
    return found;
}

// How the floor of the furrows between cells rises: gradient over the cell's size, 0 in the fields.
fn furrow_slope(c: Cells, width: f32) -> vec3f {
    let q = (c.second - c.nearest) / width;
    if (q >= 1.0) {
        return vec3f(0.0);
    }
    return (c.to_nearest / c.nearest - c.to_second / c.second) * (6.0 * q * (1.0 - q) / width);
}

// Gradient of the skin's height in space at a place, without unit: the surface cuts through a relief
// that fills space, so that nothing has to be laid out flat and no seam shows.
fn skin_slope(at_mm: vec3f) -> vec3f {
    let fine = cells_about(at_mm / FIELD_MM, 11u);
    let coarse = cells_about(at_mm / COARSE_MM, 12u);
    var slope = furrow_slope(fine, FURROW_WIDTH) * (FURROW_MM / FIELD_MM)
        + furrow_slope(coarse, COARSE_WIDTH) * (0.7 * FURROW_MM / COARSE_MM);
    // Pores: round pits about some of the coarse points, of a quarter millimetre at most.
    let radius = (0.07 + 0.07 * f32(coarse.label >> 30u) / 3.0) * (1.0 / COARSE_MM);
    let inside = 1.0 - coarse.nearest * coarse.nearest / (radius * radius);
    if (inside > 0.0) {
        slope -= coarse.to_nearest * (4.0 * inside / (radius * radius) * PORE_MM / COARSE_MM);
    }
    return slope;
}

// Normal of the relief about a smooth one, in the same space as `at_mm`.
fn skin_normal(normal: vec3f, at_mm: vec3f, strength: f32) -> vec3f {
    let slope = skin_slope(at_mm) * strength;
    return normalize(normal - slope + normal * dot(normal, slope));
}

// Another place under whose surface light enters that leaves at the first one.
struct Spread {
    // Of kind KIND_NOWHERE where there is none.
    place: Place,
    // By channel, what it counts against the place itself: on average 1 where skin lies about.
    share: vec3f,
}

// Light leaves the skin not only where it entered. With a place of the skin chosen at a distance r about the first,
// E the light that falls on either and R the profile, the light to leave is E + w (E' - E), w = R(d)/density:
// as many places, so it comes to the convolution of E with R, for any density that reaches all of R; where no skin
// is found the light leaves where it fell, so that no energy is lost or made; and where the light is even it adds no
// noise. R is the normalised diffusion of Christensen and Burley, "Approximate Reflectance Profiles for
// Efficient Subsurface Scattering", SIGGRAPH talks 2015:
//   R(d) = (exp(-d/D) + exp(-d/3D)) / (8 pi D d),
// sampled over all three channels at once and weighed by their mean density (one-sample balance heuristic,
// Veach 1997), by one ray along the facet's normal as King et al., "BSSRDF Importance Sampling", SIGGRAPH
// talks 2013. Their rays along the tangents are left out: places that turn away by more than
// `LEAST_TURN` count as the place itself.
fn spread_below(place: Place, seed: u32, index: u32) -> Spread {
    let none = Spread(nowhere(), vec3f(0.0));
    let reach = load_texel(place.under);
    let square = draw_net(seed, index, 40u);
    let x = min(square.x, 0.9999999) * f32(RADII - 1u);
    let cell = u32(x);
    let low = table_value(place.under + 2u, cell);
    let step = table_value(place.under + 2u, cell + 1u) - low;
    let radius_mm = low + step * (x - f32(cell));
    let around = turn(square.y);
    let frame = frame_about(place.facet);
    // Skin is sought no farther above and below than it can be curved and still face the same way.
    let height_m = 0.001 * (0.3 + radius_mm);
    let down = -place.facet;
    var origin = place.point_on_facet + place.facet * height_m
        + (frame.x * around.cosine + frame.y * around.sine) * (0.001 * radius_mm);
    var left = 2.0 * height_m;
    for (var i = 0u; i <= SPREAD_PASSES; i++) {
        let hit = trace(origin, down, left, TRACE_NEAREST);
        if (hit.triangle == NOTHING) {
            return none;
        }
        let triangle = load_triangle(hit.triangle);
        if (load_material(triangle.material).top != TOP_SKIN) {
            let on = hit.t + 2e-5;
            origin += down * on;
            left -= on;
            continue;
        }
        if (dot(load_vertex(triangle.a).normal, down) >= 0.0) {
            return none;
        }
        var found = place_of(hit, down, FAR_OFF_MM, 0.5);
        let apart = found.point_on_facet - place.point_on_facet;
        let distance_mm = 1000.0 * root(max(dot(apart, apart), 1e-14));
        let facing = dot(found.facet, place.facet);
        if (distance_mm > reach.w || facing < LEAST_TURN) {
            return none;
        }
        let tail = exp(vec3f(-distance_mm) / (3.0 * reach.xyz));
        let profile = (tail * tail * tail + tail) / (reach.xyz * (8.0 * PI * distance_mm));
        // Even between two radii of the table: of `RADII` - 1 shares, one over `step`, all around.
        let density = facing / (f32(RADII - 1u) * max(step, 1e-6) * 2.0 * PI * max(radius_mm, 1e-6));
        let share = profile / density;
        found.material.base = place.material.base * share;
        found.material.couple_gain = 1.0;
        found.material.couple_feedback = 0.0;
        found.material.top = TOP_UNDER;
        found.top_chance = 0.0;
        found.top_out = place.top_out;
        found.under = place.under;
        return Spread(found, share);
    }
    return none;
}
