// Eyes: a wet coat, sharp on the cornea; what lies behind it is found by refraction.
//
// Lengths in millimetres about the middle of the globe, z along the gaze (dimensions of an average eye
// after Gullstrand 1909 and Atchison and Smith, "Optics of the Human Eye", from memory).
// Texels of an eye, from the finish's second row on; src/scene/finish.rs packs them:
//   0  middle of the globe (m), metres a millimetre of the eye
//   1  gaze, radius of the pupil (mm)
//   2  up, radius of the iris (mm)
//   3  colour of the iris, label of its fibres
//   4  colour about the pupil

// Middle and radius of the cornea's sphere; its edge on the globe.
const CORNEA_AHEAD_MM: f32 = 5.4;
const CORNEA_MM: f32 = 7.9;
const CORNEA_EDGE_MM: f32 = 5.64;
// Plane of the iris: 3.2 mm behind the apex.
const IRIS_AHEAD_MM: f32 = 10.1;
// Of cornea and water together.
const EYE_INDEX: f32 = 1.336;

struct EyeSeen {
    // Of the base.
    colour: vec3f,
    // Of the coat, in the room.
    normal: vec3f,
}

// `white` is the sclera's colour there, `normal` the mesh's.
fn eye_seen(first: u32, point: vec3f, normal: vec3f, direction: vec3f, white: vec3f) -> EyeSeen {
    let middle = load_texel(first);
    let gaze = load_texel(first + 1u);
    let upward = load_texel(first + 2u);
    let axes = Frame(cross(upward.xyz, gaze.xyz), upward.xyz, gaze.xyz);
    let at = to_local(axes, point - middle.xyz) / middle.w;
    let off = root(at.x * at.x + at.y * at.y);
    if (at.z <= 0.0 || off > CORNEA_EDGE_MM + 1.2) {
        return EyeSeen(white, normal);
    }
    // The very sphere rather than the mesh that stands for it: what is mirrored in it keeps its shape.
    let sphere = normalize(at - vec3f(0.0, 0.0, CORNEA_AHEAD_MM));
    let on_cornea = 1.0 - eased_step(CORNEA_EDGE_MM - 0.5, CORNEA_EDGE_MM + 0.2, off);
    let coat = normalize(normal + (to_world(axes, sphere) - normal) * on_cornea);
    let seen = to_local(axes, direction);
    // Snell's law, into the eye.
    let ratio = 1.0 / EYE_INDEX;
    let facing = -dot(sphere, seen);
    let inward = 1.0 - ratio * ratio * (1.0 - facing * facing);
    let bent = seen * ratio + sphere * (ratio * facing - root(max(inward, 0.0)));
    if (bent.z > -0.05 || facing <= 0.0) {
        return EyeSeen(white, coat);
    }
    let met = at + bent * ((IRIS_AHEAD_MM - at.z) / bent.z);
    let iris = iris_colour(first, met.xy, gaze.w, upward.w);
    // The sclera runs out over the cornea's edge within a millimetre (the limbus).
    let limbus = eased_step(CORNEA_EDGE_MM - 0.55, CORNEA_EDGE_MM + 0.45, off);
    return EyeSeen(mix(iris, white, limbus), coat);
}

fn iris_colour(first: u32, at: vec2f, pupil_mm: f32, iris_mm: f32) -> vec3f {
    let outer = load_texel(first + 3u);
    let inner = load_texel(first + 4u).xyz;
    let radius = root(max(dot(at, at), 1e-8));
    let way = at / radius;
    let label = u32(outer.w);
    // Fibres run outward: noise over the direction alone, wandering a little with the radius.
    let wander = 0.10 * radius + 0.05 * noise_over(radius * 2.0, 3.5, label);
    let bent = way + vec2f(-way.y, way.x) * (0.10 * wander);
    let wide = noise_over(bent.x * 5.0 + 40.0, bent.y * 5.0 + 0.3 * radius, label + 1u);
    let middle = noise_over(bent.x * 13.0 + 40.0, bent.y * 13.0 + 0.4 * radius, label + 2u);
    let fine = noise_over(bent.x * 31.0 + 60.0, bent.y * 31.0 + 0.5 * radius, label + 3u);
    let fibres = 0.22 * wide + 0.30 * middle + 0.26 * fine;
    // The collarette: a ragged ring, the fibres inside it shorter and of another colour.
    let ring = pupil_mm + 1.25 + 0.28 * noise_over(way.x * 4.0 + 9.0, way.y * 4.0, label + 4u);
    let within = 1.0 - eased_step(ring - 0.35, ring + 0.45, radius);
    let ridge = exp(-9.0 * (radius - ring) * (radius - ring));
    var colour = mix(outer.xyz, inner, within) * max(1.0 + fibres + 0.30 * ridge, 0.15);
    // The limbal ring.
    let edge = (radius - (iris_mm - 1.5)) / 1.5;
    colour *= 1.0 - 0.75 * eased_step(0.0, 1.0, edge);
    // Light falls less deep into the pupil's rim, and what enters the pupil hardly returns.
    let open = eased_step(pupil_mm - 0.06, pupil_mm + 0.16, radius);
    return mix(vec3f(0.002), colour, open);
}

fn eased_step(low: f32, high: f32, x: f32) -> f32 {
    let t = clamp((x - low) / (high - low), 0.0, 1.0);
    return t * t * (3.0 - 2.0 * t);
}
