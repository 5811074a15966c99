// The platform seam on a GPU: scene tables in buffers, a binary-tree traversal, and sums in
// private memory. The host writes two constants in front of this text (src/render/gpu/program.rs):
//   LAYERS  layers to hold apart, at least the scene's
//   STACK   nodes a traversal may have waiting, at least the tree's depth

@group(0) @binding(0) var<uniform> scene_params: Params;
// What rays and hits read most comes in rows of four words, which load at once (a seventh faster
// on a data-centre GPU, measured); the functions below take them apart.
@group(0) @binding(1) var<storage, read> vertices: array<vec4f>;
@group(0) @binding(2) var<storage, read> triangles: array<vec4u>;
@group(0) @binding(3) var<storage, read> materials: array<Material>;
@group(0) @binding(4) var<storage, read> emitters: array<Emitter>;
@group(0) @binding(5) var<storage, read> texels: array<vec4f>;
@group(0) @binding(6) var<storage, read> pairs: array<vec4f>;
@group(0) @binding(7) var<storage, read> facets: array<vec4f>;

// Two children of a binary node with their bounds. A child with count 0 is the node `first`,
// otherwise the facets first .. first + count. Mirrors: src/scene/accel.rs.
struct NodePair {
    left_low: vec3f,
    left_first: u32,
    left_high: vec3f,
    left_count: u32,
    right_low: vec3f,
    right_first: u32,
    right_high: vec3f,
    right_count: u32,
}

struct Facet {
    corner: vec3f,
    triangle: u32,
    edge_b: vec3f,
    passing: u32,
    edge_c: vec3f,
    spare: u32,
}

// A waiting child in one word: a node's index, or a leaf's first facet with its count (1 to 7)
// in the upper four bits.
const LEAF_SHIFT: u32 = 28u;
const LEAF: u32 = 0x10000000u;

var<private> layers: array<vec3f, LAYERS>;
var<private> seen_albedo: vec3f;
var<private> seen_depth_m: f32;
var<private> seen_normal: vec3f;
var<private> seen_met: f32;
var<private> rays: u32;
var<private> refused: u32;
// Private rather than local to `trace`: a local array is cleared at every call.
var<private> stack: array<u32, STACK>;

fn params() -> Params { return scene_params; }
fn load_vertex(index: u32) -> Vertex {
    let position = vertices[2u * index];
    let normal = vertices[2u * index + 1u];
    return Vertex(position.xyz, position.w, normal.xyz, normal.w);
}
fn load_triangle(index: u32) -> Triangle {
    let t = triangles[index];
    return Triangle(t.x, t.y, t.z, t.w);
}
fn load_material(index: u32) -> Material { return materials[index]; }
fn load_emitter(index: u32) -> Emitter { return emitters[index]; }
fn load_receptor(index: u32) -> Receptor { return receptors[index - job.first_receptor]; }
fn load_texel(index: u32) -> vec4f { return texels[index]; }
fn root(x: f32) -> f32 { return sqrt(x); }
fn reverse(x: u32) -> u32 { return reverseBits(x); }

fn load_pair(index: u32) -> NodePair {
    let a = pairs[4u * index];
    let b = pairs[4u * index + 1u];
    let c = pairs[4u * index + 2u];
    let d = pairs[4u * index + 3u];
    return NodePair(
        a.xyz, bitcast<u32>(a.w), b.xyz, bitcast<u32>(b.w), c.xyz, bitcast<u32>(c.w), d.xyz, bitcast<u32>(d.w),
    );
}

fn load_facet(index: u32) -> Facet {
    let a = facets[3u * index];
    let b = facets[3u * index + 1u];
    let c = facets[3u * index + 2u];
    return Facet(a.xyz, bitcast<u32>(a.w), b.xyz, bitcast<u32>(b.w), c.xyz, bitcast<u32>(c.w));
}

fn deposit(layer: u32, light: vec3f) {
    // The one guard: a contribution that is not finite is refused and counted. By its bits, since
    // a driver may take it that numbers are finite.
    if ((bitcast<u32>(light.x + light.y + light.z) & 0x7f800000u) == 0x7f800000u) {
        refused += 1u;
        return;
    }
    layers[layer] += light;
}

fn describe(albedo: vec3f, normal: vec3f, depth_m: f32) {
    seen_albedo += albedo;
    seen_depth_m += depth_m;
    seen_normal += normal;
    seen_met += 1.0;
}

// A zero component gets a huge but finite inverse: no NaN where a plane lies on the origin.
fn inverse_of(d: f32) -> f32 {
    if (abs(d) < 1e-20) {
        return select(1e20, -1e20, d < 0.0);
    }
    return 1.0 / d;
}

fn trace(origin: vec3f, direction: vec3f, t_max: f32, mode: u32) -> Hit {
    rays += 1u;
    var best = Hit(t_max, NOTHING, 0.0, 0.0);
    if (scene_params.node_count == 0u) {
        return best;
    }
    let inverse = vec3f(inverse_of(direction.x), inverse_of(direction.y), inverse_of(direction.z));
    // Along these axes the ray runs down, so that its near plane is the high one.
    let down = inverse < vec3f(0.0);
    var top = 0u;
    var at = 0u;
    loop {
        while (at < LEAF) {
            let pair = load_pair(at);
            let left_in = (select(pair.left_low, pair.left_high, down) - origin) * inverse;
            let left_out = (select(pair.left_high, pair.left_low, down) - origin) * inverse;
            let right_in = (select(pair.right_low, pair.right_high, down) - origin) * inverse;
            let right_out = (select(pair.right_high, pair.right_low, down) - origin) * inverse;
            let left_near = max(max(left_in.x, left_in.y), max(left_in.z, 0.0));
            let right_near = max(max(right_in.x, right_in.y), max(right_in.z, 0.0));
            let left_far = min(min(left_out.x, left_out.y), min(left_out.z, best.t));
            let right_far = min(min(right_out.x, right_out.y), min(right_out.z, best.t));
            // The far side is let out by a few roundings, so that no edge between boxes leaks.
            let left_met = left_near <= left_far * 1.0000004;
            let right_met = right_near <= right_far * 1.0000004;
            let left = pair.left_first | (pair.left_count << LEAF_SHIFT);
            let right = pair.right_first | (pair.right_count << LEAF_SHIFT);
            if (left_met && right_met) {
                let left_first = left_near <= right_near;
                stack[top] = select(left, right, left_first);
                top += 1u;
                at = select(right, left, left_first);
            } else if (left_met || right_met) {
                at = select(right, left, left_met);
            } else {
                if (top == 0u) {
                    return best;
                }
                top -= 1u;
                at = stack[top];
            }
        }
        let first = at & (LEAF - 1u);
        let end = first + (at >> LEAF_SHIFT);
        for (var i = first; i < end; i++) {
            best = meet(load_facet(i), origin, direction, best, mode);
        }
        if (top == 0u || (mode == TRACE_OPAQUE && best.triangle != NOTHING)) {
            return best;
        }
        top -= 1u;
        at = stack[top];
    }
    return best;
}

// Moeller and Trumbore 1997; the margins are those of src/render/cpu/traverse.rs.
fn meet(f: Facet, origin: vec3f, direction: vec3f, best: Hit, mode: u32) -> Hit {
    let h = cross(direction, f.edge_c);
    let inverse = 1.0 / dot(f.edge_b, h);
    let to = origin - f.corner;
    let u = dot(to, h) * inverse;
    let q = cross(to, f.edge_b);
    let v = dot(direction, q) * inverse;
    let t = dot(f.edge_c, q) * inverse;
    // An edge-on facet divides by zero; comparisons with NaN and infinity are all false.
    let met = u >= -1e-7 && v >= -1e-7 && u + v <= 1.0000002 && t > 0.0 && t < best.t;
    if (!met || (mode == TRACE_PASSING && f.passing == 0u)) {
        return best;
    }
    if (mode == TRACE_OPAQUE && f.passing != 0u) {
        // Tell that a sheet is in the way, so that only such rays are followed through it.
        return Hit(best.t, best.triangle, 1.0, best.v);
    }
    return Hit(t, f.triangle, u, v);
}
