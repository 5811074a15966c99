// Random numbers by hashing: no state, so any sample of any pixel can be redone alone.

// Jarzynski and Olano, "Hash Functions for GPU Rendering", JCGT 9(3), 2020: pcg.
fn hash(v: u32) -> u32 {
    let state = v * 747796405u + 2891336453u;
    let word = ((state >> ((state >> 28u) + 4u)) ^ state) * 277803737u;
    return (word >> 22u) ^ word;
}

fn hash_pair(a: u32, b: u32) -> u32 {
    return hash(a ^ (hash(b) + 0x9e3779b9u));
}

// 24 bits, so that the result is below 1 in f32.
fn unit(v: u32) -> f32 {
    return f32(v >> 8u) * 5.9604644775390625e-8;
}

// Nested uniform (Owen) scramble of bit-reversed input: Laine and Karras,
// "Stratified Sampling for Stochastic Transparency", EGSR 2011, with the constants
// of Vegdahl's revision as printed in Burley, "Practical Hash-based Owen
// Scrambling", JCGT 9(4), 2020 (from memory; only the scramble's quality hangs on them).
fn scramble_reversed(v: u32, seed: u32) -> u32 {
    var x = v ^ (v * 0x3d20adeau);
    x += seed;
    x *= (seed >> 16u) | 1u;
    x ^= x * 0x05526c56u;
    x ^= x * 0x53a22864u;
    return x;
}

fn scramble(v: u32, seed: u32) -> u32 {
    return reverse(scramble_reversed(reverse(v), seed));
}

// Second dimension of the (0,2)-sequence, bit-reversed: the generator matrix is Pascal's
// triangle mod 2, a Kronecker power, so five butterfly steps apply it.
fn pascal(v: u32) -> u32 {
    var x = v;
    x ^= (x >> 16u);
    x ^= (x & 0xff00ff00u) >> 8u;
    x ^= (x & 0xf0f0f0f0u) >> 4u;
    x ^= (x & 0xccccccccu) >> 2u;
    x ^= (x & 0xaaaaaaaau) >> 1u;
    return x;
}

// Sample `index` of a scrambled, shuffled (0,2)-sequence: Burley 2020, section 5 (padding).
fn draw_net(seed: u32, index: u32, dimension: u32) -> vec2f {
    let key = hash_pair(seed, dimension);
    // Shuffle the order, so that padded dimensions do not correlate.
    let shuffled_reversed = scramble_reversed(reverse(index), key);
    let shuffled = reverse(shuffled_reversed);
    let x = reverse(scramble_reversed(shuffled, hash(key ^ 0x68bc21ebu)));
    let y = reverse(scramble_reversed(pascal(shuffled), hash(key ^ 0x02e5be93u)));
    return vec2f(unit(x), unit(y));
}

// Sample `index` of the first four dimensions of a scrambled Sobol sequence, for two squares whose numbers work
// together: where on a pixel, and where on a light. Their strata are those of all four at once, which two padded
// nets' are not. Direction numbers by recurrence, from the polynomials 1 + x + x^2 and 1 + x + x^3 with first
// numbers 1, 3 and 1, 3, 1 (Joe and Kuo, "Constructing Sobol sequences with better two-dimensional projections",
// SIAM J. Sci. Comput. 30, 2008); scrambled as Burley 2020 has it. In the sequence's own order: no other square has it.
fn draw_four(seed: u32, index: u32) -> vec4f {
    let key = hash_pair(seed, 0u);
    let x = reverse(scramble_reversed(index, hash(key ^ 0x68bc21ebu)));
    let y = reverse(scramble_reversed(pascal(index), hash(key ^ 0x02e5be93u)));
    var third = 0u;
    var fourth = 0u;
    var p = vec2u(0x80000000u, 0xc0000000u);
    var q = vec3u(0x80000000u, 0xc0000000u, 0x20000000u);
    for (var left = index; left > 0u; left = left >> 1u) {
        if ((left & 1u) == 1u) {
            third ^= p.x;
            fourth ^= q.x;
        }
        p = vec2u(p.y, p.y ^ p.x ^ (p.x >> 2u));
        q = vec3u(q.y, q.z, q.y ^ q.x ^ (q.x >> 3u));
    }
    let z = scramble(third, hash(key ^ 0x5bd1e995u));
    let w = scramble(fourth, hash(key ^ 0x1b873593u));
    return vec4f(unit(x), unit(y), unit(z), unit(w));
}

// Independent numbers, for dimensions too deep to gain from a net.
fn draw_plain(seed: u32, index: u32, dimension: u32) -> vec2f {
    let a = hash(hash_pair(seed, index) + dimension * 0x9e3779b9u);
    return vec2f(unit(a), unit(hash(a ^ 0x7feb352du)));
}

fn draw(seed: u32, index: u32, dimension: u32, depth: u32) -> vec2f {
    if (depth < 2u) {
        return draw_net(seed, index, dimension);
    }
    return draw_plain(seed, index, dimension);
}
