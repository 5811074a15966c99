// What the host dispatches. Each invocation leaves its sums in `gathered`; the host adds them to
// the film, or to the blocks of a reading, in a fixed order.

// One dispatch's share of the work. Mirror: src/render/gpu/program.rs.
struct Job {
    // Pixels in a row, rows in the band, and the picture's row that the band starts at.
    width: u32,
    rows: u32,
    first_row: u32,
    first_sample: u32,
    sample_count: u32,
    first_receptor: u32,
    first_block: u32,
    block_count: u32,
    layer_count: u32,
    // Samples in a block, and invocations that share them.
    block_samples: u32,
    lanes: u32,
    // Samples in a pass, those of the passes that earlier dispatches did, and the band's pixels.
    pass_samples: u32,
    done: u32,
    pixels: u32,
    // Blocks of 8 x 8 pixels in a row of blocks, where only some are asked for; otherwise 0.
    block_columns: u32,
    spare: u32,
    // The layers' weights in the mix.
    mix: array<vec4f, 16>,
    // The blocks asked for, a bit to each, from the one that holds the band's first pixel.
    chosen: array<vec4u, 128>,
}

// Receptors to a dispatch.
const RECEPTORS: u32 = 512u;

@group(0) @binding(8) var<storage, read_write> gathered: array<u32>;
@group(0) @binding(9) var<uniform> job: Job;
@group(0) @binding(10) var<uniform> receptors: array<Receptor, RECEPTORS>;

// A film pixel in `gathered`: three words to a layer, then these. Behind all pixels come the layers
// of the pass in work, which the host does not need.
const SEEN_WORDS: u32 = 12u;

// Samples of one pass, one pixel to an invocation, in tiles of 8 x 8 so that neighbours on the
// processor are neighbours in the picture.
@compute @workgroup_size(8, 8)
fn render(@builtin(global_invocation_id) id: vec3u) {
    if (id.x >= job.width || id.y >= job.rows) {
        return;
    }
    if (job.block_columns != 0u && !is_chosen(id.x, job.first_row + id.y)) {
        return;
    }
    let words = 3u * job.layer_count;
    let pixel = id.y * job.width + id.x;
    let first = pixel * (words + SEEN_WORDS);
    let seen = first + words;
    let pending = job.pixels * (words + SEEN_WORDS) + pixel * words;
    var in_pass = job.done % job.pass_samples;
    if (job.done != 0u) {
        if (in_pass != 0u) {
            for (var l = 0u; l < job.layer_count; l++) {
                layers[l] = kept_vector(pending + 3u * l);
            }
        }
        seen_albedo = kept_vector(seen);
        seen_depth_m = bitcast<f32>(gathered[seen + 3u]);
        seen_normal = kept_vector(seen + 4u);
        seen_met = bitcast<f32>(gathered[seen + 7u]);
        rays = gathered[seen + 8u];
        refused = gathered[seen + 9u];
    }
    // What the second net's samples bring to the mix is summed by itself too.
    var second = select(0.0, bitcast<f32>(gathered[seen + 11u]), job.done != 0u);
    var before = mixed();
    let end = job.first_sample + job.sample_count;
    for (var index = job.first_sample; index != end; index++) {
        camera_path(id.x, job.first_row + id.y, index);
        let after = mixed();
        if (in_second_net(index)) {
            second += after - before;
        }
        before = after;
        in_pass += 1u;
        if (in_pass == job.pass_samples) {
            end_pass(first, seen, job.done + index + 1u - job.first_sample == job.pass_samples);
            in_pass = 0u;
            before = 0.0;
        }
    }
    gathered[seen + 11u] = bitcast<u32>(second);
    if (in_pass != 0u) {
        for (var l = 0u; l < job.layer_count; l++) {
            keep_vector(pending + 3u * l, layers[l]);
        }
    }
    keep_vector(seen, seen_albedo);
    gathered[seen + 3u] = bitcast<u32>(seen_depth_m);
    keep_vector(seen + 4u, seen_normal);
    gathered[seen + 7u] = bitcast<u32>(seen_met);
    gathered[seen + 8u] = rays;
    gathered[seen + 9u] = refused;
}

// Whether a pixel of the picture belongs to a block that is asked for.
fn is_chosen(x: u32, row: u32) -> bool {
    let block = (row / 8u - job.first_row / 8u) * job.block_columns + x / 8u;
    return ((job.chosen[block / 128u][block / 32u % 4u] >> (block % 32u)) & 1u) != 0u;
}

// The samples of the pass in work, mixed.
fn mixed() -> f32 {
    var sum = 0.0;
    for (var l = 0u; l < job.layer_count; l++) {
        sum += dot(layers[l], job.mix[l].xyz);
    }
    return sum;
}

// Adds a pass to the sums of passes.
fn end_pass(first: u32, seen: u32, first_pass: bool) {
    var sum = 0.0;
    for (var l = 0u; l < job.layer_count; l++) {
        let light = layers[l];
        let at = first + 3u * l;
        if (first_pass) {
            keep_vector(at, light);
        } else {
            keep_vector(at, kept_vector(at) + light);
        }
        sum += dot(light, job.mix[l].xyz);
        layers[l] = vec3f(0.0);
    }
    if (!first_pass) {
        sum += bitcast<f32>(gathered[seen + 10u]);
    }
    gathered[seen + 10u] = bitcast<u32>(sum);
}

// Blocks of a reading: x runs over the blocks' lanes, y over the receptors.
@compute @workgroup_size(64)
fn reading(@builtin(global_invocation_id) id: vec3u) {
    let block = id.x / job.lanes;
    if (block >= job.block_count) {
        return;
    }
    let lane = id.x % job.lanes;
    for (var i = lane; i < job.block_samples; i += job.lanes) {
        receptor_path(job.first_receptor + id.y, (job.first_block + block) * job.block_samples + i);
    }
    let words = 3u * job.layer_count;
    let first = ((id.y * job.block_count + block) * job.lanes + lane) * (words + 1u);
    for (var l = 0u; l < job.layer_count; l++) {
        keep_vector(first + 3u * l, layers[l]);
    }
    gathered[first + words] = rays;
}

fn kept_vector(at: u32) -> vec3f {
    return bitcast<vec3f>(vec3u(gathered[at], gathered[at + 1u], gathered[at + 2u]));
}

fn keep_vector(at: u32, v: vec3f) {
    let bits = bitcast<vec3u>(v);
    gathered[at] = bits.x;
    gathered[at + 1u] = bits.y;
    gathered[at + 2u] = bits.z;
}
