// Noise by hashing whole numbers: no table, no repeat, the same bits on both executors.

// Even in -1..1, for two whole numbers and a label. Multiply and shift by turns; wrapping products
// of unsigned words, so every executor finds the same bits.
fn lattice(a: i32, b: i32, label: u32) -> f32 {
    var v = u32(a) * 374761393u + u32(b) * 668265263u + label * 1442695041u;
    v = (v ^ (v >> 13u)) * 1274126177u;
    v = (v ^ (v >> 16u)) * 2246822519u;
    return f32((v ^ (v >> 15u)) & 0xffffffu) * (1.0 / 8388607.5) - 1.0;
}

// Smooth along one thread: value noise between whole places (Perlin 1985), one value a unit of x.
fn noise_along(thread: i32, x: f32, label: u32) -> f32 {
    let whole = floor(x);
    let i = i32(whole);
    let f = x - whole;
    let ease = f * f * (3.0 - 2.0 * f);
    let a = lattice(thread, i, label);
    return a + (lattice(thread, i + 1, label) - a) * ease;
}

// Smooth over a plane: one value a unit square.
fn noise_over(x: f32, y: f32, label: u32) -> f32 {
    let whole_x = floor(x);
    let whole_y = floor(y);
    let i = i32(whole_x);
    let j = i32(whole_y);
    let f = x - whole_x;
    let g = y - whole_y;
    let ease_x = f * f * (3.0 - 2.0 * f);
    let ease_y = g * g * (3.0 - 2.0 * g);
    let low = mix(lattice(i, j, label), lattice(i + 1, j, label), ease_x);
    let high = mix(lattice(i, j + 1, label), lattice(i + 1, j + 1, label), ease_x);
    return mix(low, high, ease_y);
}
