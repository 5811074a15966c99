// Frames, warps and small formulas.

struct Frame {
    x: vec3f,
    y: vec3f,
    z: vec3f,
}

struct Turn {
    sine: f32,
    cosine: f32,
}

// Sine and cosine of a fraction of a full turn, u in [0, 1]. Written out (Taylor to
// r^8 on +-pi/4, error below 4e-7) because built-in trigonometry differs between drivers.
fn turn(u: f32) -> Turn {
    let quadrant = floor(4.0 * u + 0.5);
    let r = (u - 0.25 * quadrant) * (2.0 * PI);
    let r2 = r * r;
    let s = r * (1.0 - r2 * (1.0 / 6.0 - r2 * (1.0 / 120.0 - r2 * (1.0 / 5040.0))));
    let c = 1.0 - r2 * (0.5 - r2 * (1.0 / 24.0 - r2 * (1.0 / 720.0 - r2 * (1.0 / 40320.0))));
    let q = u32(quadrant) & 3u;
    if (q == 0u) { return Turn(s, c); }
    if (q == 1u) { return Turn(c, -s); }
    if (q == 2u) { return Turn(-s, -c); }
    return Turn(-c, s);
}

// Any right-handed frame about a unit z axis: Duff et al., "Building an Orthonormal
// Basis, Revisited", JCGT 6(1), 2017.
fn frame_about(z: vec3f) -> Frame {
    let s = select(-1.0, 1.0, z.z >= 0.0);
    let a = -1.0 / (s + z.z);
    let b = z.x * z.y * a;
    return Frame(
        vec3f(1.0 + s * z.x * z.x * a, s * b, -s * z.x),
        vec3f(b, s + z.y * z.y * a, -z.y),
        z,
    );
}

fn to_world(f: Frame, v: vec3f) -> vec3f {
    return f.x * v.x + f.y * v.y + f.z * v.z;
}

fn to_local(f: Frame, v: vec3f) -> vec3f {
    return vec3f(dot(f.x, v), dot(f.y, v), dot(f.z, v));
}

fn largest(v: vec3f) -> f32 {
    return max(v.x, max(v.y, v.z));
}

// ITU-R BT.709 luminance weights.
fn luminance(v: vec3f) -> f32 {
    return dot(v, vec3f(0.2126390059, 0.7151686788, 0.0721923154));
}

// Square to unit disk, keeping neighbours neighbours: Shirley and Chiu, "A Low
// Distortion Map Between Disk and Square", 1997.
fn disk_of(square: vec2f) -> vec2f {
    let p = 2.0 * square - vec2f(1.0);
    if (p.x == 0.0 && p.y == 0.0) {
        return vec2f(0.0);
    }
    if (abs(p.x) > abs(p.y)) {
        let eighth = 0.125 * (p.y / p.x);
        let t = turn(select(eighth, 1.0 + eighth, eighth < 0.0));
        return p.x * vec2f(t.cosine, t.sine);
    }
    let t = turn(0.25 - 0.125 * (p.x / p.y));
    return p.y * vec2f(t.cosine, t.sine);
}

// Direction about +z with density cos/pi (Malley's method).
fn cosine_direction(square: vec2f) -> vec3f {
    let d = disk_of(square);
    return vec3f(d, root(max(0.0, 1.0 - dot(d, d))));
}

// Where a path leaves a surface: a step off it along the side it leaves to, larger
// than the rounding of a coordinate in f32.
fn leave(point: vec3f, normal: vec3f, direction: vec3f) -> vec3f {
    let side = select(-1.0, 1.0, dot(normal, direction) >= 0.0);
    let size = max(abs(point.x), max(abs(point.y), abs(point.z)));
    return point + normal * (side * (2e-5 + 2e-6 * size));
}

// Unpolarised Fresnel reflectance of a dielectric, cosine on the outside, eta > 1 inside.
fn fresnel(cosine: f32, eta: f32) -> f32 {
    let c = clamp(cosine, 0.0, 1.0);
    let g2 = eta * eta - 1.0 + c * c;
    let g = root(max(g2, 0.0));
    let a = (g - c) / (g + c);
    let b = ((g + c) * c - 1.0) / ((g - c) * c + 1.0);
    return 0.5 * a * a * (1.0 + b * b);
}

// Schlick 1994.
fn fresnel_metal(cosine: f32, facing: vec3f) -> vec3f {
    let m = 1.0 - clamp(cosine, 0.0, 1.0);
    let m2 = m * m;
    return facing + (vec3f(1.0) - facing) * (m2 * m2 * m);
}

// GGX distribution of normals (Trowbridge and Reitz 1975; Walter et al. 2007).
fn ggx_density(cos_h: f32, alpha: f32) -> f32 {
    let a2 = alpha * alpha;
    let d = cos_h * cos_h * (a2 - 1.0) + 1.0;
    return a2 / (PI * d * d);
}

// Smith's Lambda for GGX.
fn ggx_lambda(cosine: f32, alpha: f32) -> f32 {
    let c2 = cosine * cosine;
    let t2 = max(0.0, 1.0 - c2) / max(c2, 1e-12);
    return 0.5 * (root(1.0 + alpha * alpha * t2) - 1.0);
}

// Visible normal of GGX: Dupuy and Benyoub, "Sampling Visible GGX Normals with
// Spherical Caps", HPG 2023.
fn ggx_visible_normal(wo: vec3f, alpha: f32, square: vec2f) -> vec3f {
    let stretched = normalize(vec3f(alpha * wo.x, alpha * wo.y, wo.z));
    let around = turn(square.x);
    let z = (1.0 - square.y) * (1.0 + stretched.z) - stretched.z;
    let r = root(clamp(1.0 - z * z, 0.0, 1.0));
    let h = vec3f(r * around.cosine, r * around.sine, z) + stretched;
    return normalize(vec3f(alpha * h.x, alpha * h.y, max(h.z, 1e-7)));
}
