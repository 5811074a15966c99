// Hair: a ribbon is met as the cylinder that it stands for, across which the place of the ray tells how
// light mirrors off it (R), goes through (TT), comes back from its far side (TRT) and what
// remains. Marschner, Jensen, Cammarano, Worley and Hanrahan, "Light Scattering from Human Hair Fibers", ACM TOG
// 22(3), 2003; d'Eon, Francois, Hill, Letteri and Aubry, "An Energy-Conserving Hair Reflectance Model", CGF 30(4),
// 2011; logistic azimuth and the near field after Chiang, Bitterli, Tappan and Burley, "A Practical and
// Controllable Hair and Fur Model for Production Path Tracing", CGF 35(2), 2016.
//
// A place on hair has `frame.x` along the strand, from the root, `across` from -1 to 1, `across_seen` of the fibre's
// breadth in sight, and in `material.specular` the absorption over a radius. All values are with the cosine of the light's inclination.
// Texels of hair, from the material's `albedo_table` on; src/scene/finish.rs packs them:
//   0  longitudinal variances: R, TT, TRT; fibres that a ribbon stands for
//   1  azimuthal scale s, 1 / (what its logistic has between -pi and pi), refractive index, colour from absorption
//      (`exp(-k root(absorption))`, k)
//   2  sine and cosine of the cuticle's tilt, and of twice it
//   3  sine and cosine of four times it; what a lock's fibres add to variances: of all lobes where light comes back, of TT
//   4  absorption where none is painted

const LOBES: u32 = 4u;
// Places across the fibre that stand for all of it where a sample sees more than one.
const SLICES: u32 = 4u;

// What all places across a fibre have in common, seen from one side.
struct Strand {
    sine_out: f32,
    cosine_out: f32,
    // Index across the fibre, where it looks larger (Bravais; Marschner et al. 2003).
    steep: f32,
    // Absorption along a line through the middle.
    passed: vec3f,
    // Azimuthal scale, 1 / (what its logistic has between -pi and pi), index.
    body: vec3f,
    slices: u32,
}

// One place across it.
struct Slice {
    // Angle on the cylinder of the place and of the refracted ray.
    gamma_out: f32,
    gamma_in: f32,
    // Share of the light that each lobe takes: Fresnel's and what is absorbed.
    r: vec3f,
    tt: vec3f,
    trt: vec3f,
    rest: vec3f,
}

fn strand_at(p: Place) -> Strand {
    let body = load_texel(p.material.albedo_table + 1u).xyz;
    let sine_out = clamp(p.out.x, -0.9999, 0.9999);
    let cosine_out = root(1.0 - sine_out * sine_out);
    let eta = body.z;
    let steep = root(eta * eta - sine_out * sine_out) / cosine_out;
    let below = sine_out / eta;
    let passed = p.material.specular * (-2.0 / root(1.0 - below * below));
    return Strand(sine_out, cosine_out, steep, passed, body, select(1u, SLICES, p.across_seen > 0.0));
}

// What lies on both sides of the place is seen with it: as far as a sample reaches, past the fibre's edge on its other
// side (the next fibre's, where a ribbon stands for several), so that all places together count alike
// whatever a sample sees. With all of a fibre in sight this is the far field, without its noise.
fn strand_slice(p: Place, s: Strand, slice: u32) -> Slice {
    var place = 0.5 * (p.across + 1.0);
    if (s.slices > 1u) {
        place += p.across_seen * ((f32(slice) + 0.5) / f32(SLICES) - 0.5);
        place -= floor(place);
    }
    let h = clamp(2.0 * place - 1.0, -0.9999, 0.9999);
    let sine_in = h / s.steep;
    let cosine_in = root(max(1.0 - sine_in * sine_in, 0.0));
    let passed = exp(s.passed * cosine_in);
    let f = fresnel(s.cosine_out * root(1.0 - h * h), s.body.z);
    let tt = passed * ((1.0 - f) * (1.0 - f));
    let trt = tt * passed * f;
    let rest = trt * passed * f / (vec3f(1.0) - passed * f);
    return Slice(signed_arc_sine(h), signed_arc_sine(sine_in), vec3f(f), tt, trt, rest);
}

fn strand_share(s: Slice, lobe: u32) -> vec3f {
    if (lobe == 0u) { return s.r; }
    if (lobe == 1u) { return s.tt; }
    if (lobe == 2u) { return s.trt; }
    return s.rest;
}

// Sine and cosine of a lobe's inclination as seen: the cuticle's scales lean towards the tip, so that what mirrors off
// them turns twice their tilt towards the root, and each way through turns by the tilt or twice it the other way
// (Marschner et al. 2003, figure 5; Chiang et al. 2016, section 3). Mirrored around the fibre it turns less, as its width does.
fn strand_tilted(p: Place, s: Strand, lobe: u32, half_squared: f32) -> vec2f {
    let two = load_texel(p.material.albedo_table + 2u);
    if (lobe == 0u) {
        let sine = two.z * root(half_squared);
        let cosine = root(1.0 - sine * sine);
        return vec2f(s.sine_out * cosine + s.cosine_out * sine, abs(s.cosine_out * cosine - s.sine_out * sine));
    }
    if (lobe == 1u) {
        return vec2f(s.sine_out * two.y - s.cosine_out * two.x, abs(s.cosine_out * two.y + s.sine_out * two.x));
    }
    if (lobe == 2u) {
        let four = load_texel(p.material.albedo_table + 3u);
        return vec2f(s.sine_out * four.y - s.cosine_out * four.x, abs(s.cosine_out * four.y + s.sine_out * four.x));
    }
    return vec2f(s.sine_out, s.cosine_out);
}

// Longitudinal variance of a lobe at `half_squared`, the square of the cosine of half the angle around the strand. A facet that
// leans along a fibre by d turns what it mirrors by 2 d cos(half the angle) (d'Eon, Marschner and Hanika, "A Fiber
// Scattering Model with Non-Separable Lobes", SIGGRAPH talks 2014), so R is widest where light comes back; it is held to
// a third of that width. A fibre that leans itself does the same to every lobe: so far as a sample sees
// the whole ribbon, it sees fibres that lie a little apart.
fn strand_variance(p: Place, lobe: u32, half_squared: f32) -> f32 {
    let v = load_texel(p.material.albedo_table);
    let lock = load_texel(p.material.albedo_table + 3u);
    let spread = lock.z * half_squared * p.across_seen;
    if (lobe == 0u) { return v.x * max(half_squared, 0.11) + spread; }
    if (lobe == 1u) { return v.y + lock.w * p.across_seen + spread; }
    return v.z + spread;
}

// Longitudinal lobe, per unit of the sine, the same all around (d'Eon et al. 2011):
//   exp(-sin sin'/v) I0(cos cos'/v) / (2 v sinh(1/v)), written so that nothing overflows.
fn strand_along(sine_in: f32, cosine_in: f32, seen: vec2f, variance: f32) -> f32 {
    let x = cosine_in * seen.y / variance;
    let away = (cosine_in * seen.y - sine_in * seen.x - 1.0) / variance;
    return exp(away) * bessel_scaled(x) / (variance * (1.0 - exp(-2.0 / variance)));
}

// I0(x) exp(-x), x >= 0: Abramowitz and Stegun 9.8.1 and 9.8.2.
fn bessel_scaled(x: f32) -> f32 {
    if (x < 3.75) {
        let t = x * x * (1.0 / 14.0625);
        let sum = 1.0 + t * (3.5156229 + t * (3.0899424 + t * (1.2067492 + t * (0.2659732 + t * (0.0360768 + t * 0.0045813)))));
        return sum * exp(-x);
    }
    let t = 3.75 / x;
    let sum = 0.39894228 + t * (0.01328592 + t * (0.00225319 + t * (-0.00157565 + t * (0.00916281
        + t * (-0.02057706 + t * (0.02635537 + t * (-0.01647633 + t * 0.00392377)))))));
    return sum / root(x);
}

// Where a lobe leaves around the fibre against where it is seen from, for a smooth cylinder.
fn strand_turn(s: Slice, lobe: u32) -> f32 {
    return 2.0 * f32(lobe) * s.gamma_in - 2.0 * s.gamma_out + f32(lobe) * PI;
}

// Azimuthal lobe: a logistic about the smooth cylinder's angle, cut off half a turn from it.
fn strand_around(body: vec3f, s: Slice, lobe: u32, around: f32) -> f32 {
    if (lobe == 3u) {
        return 0.5 * INV_PI;
    }
    let turned = (around - strand_turn(s, lobe)) * (0.5 * INV_PI);
    let off = abs(turned - floor(turned + 0.5)) * (2.0 * PI);
    let e = exp(-off / body.x);
    return e * body.y / (body.x * (1.0 + e) * (1.0 + e));
}

// Angle around the strand from the viewer to a direction, both in the place's frame.
fn strand_angle(p: Place, s: Strand, toward: vec3f, cosine_in: f32) -> f32 {
    let scale = 1.0 / max(cosine_in * s.cosine_out, 1e-7);
    let cosine = clamp((p.out.y * toward.y + p.out.z * toward.z) * scale, -1.0, 1.0);
    // From +y toward +z.
    let side = p.out.y * toward.z - p.out.z * toward.y;
    let angle = 0.5 * PI - signed_arc_sine(cosine);
    return select(-angle, angle, side >= 0.0);
}

// Square of the cosine of half the angle around the strand.
fn strand_half_squared(p: Place, s: Strand, toward: vec3f, cosine_in: f32) -> f32 {
    let cosine = (p.out.y * toward.y + p.out.z * toward.z) / max(cosine_in * s.cosine_out, 1e-7);
    return 0.5 + 0.5 * clamp(cosine, -1.0, 1.0);
}

// What a fibre sends on toward a direction, and the density of `strand_direction`: lobes of all slices are chosen by their
// share of light.
struct StrandLight {
    value: vec3f,
    pdf: f32,
}

fn strand_light(p: Place, toward: vec3f) -> StrandLight {
    let s = strand_at(p);
    let sine_in = clamp(toward.x, -1.0, 1.0);
    let cosine_in = root(1.0 - sine_in * sine_in);
    let around = strand_angle(p, s, toward, cosine_in);
    let half_squared = strand_half_squared(p, s, toward, cosine_in);
    let r = strand_along(sine_in, cosine_in, strand_tilted(p, s, 0u, half_squared), strand_variance(p, 0u, half_squared));
    let tt = strand_along(sine_in, cosine_in, strand_tilted(p, s, 1u, half_squared), strand_variance(p, 1u, half_squared));
    let trt = strand_along(sine_in, cosine_in, strand_tilted(p, s, 2u, half_squared), strand_variance(p, 2u, half_squared));
    let rest = strand_along(sine_in, cosine_in, strand_tilted(p, s, 3u, half_squared), strand_variance(p, 3u, half_squared)) * (0.5 * INV_PI);
    var value = vec3f(0.0);
    var all = vec3f(0.0);
    for (var k = 0u; k < s.slices; k++) {
        let slice = strand_slice(p, s, k);
        value += slice.r * (r * strand_around(s.body, slice, 0u, around))
            + slice.tt * (tt * strand_around(s.body, slice, 1u, around))
            + slice.trt * (trt * strand_around(s.body, slice, 2u, around))
            + slice.rest * rest;
        all += slice.r + slice.tt + slice.trt + slice.rest;
    }
    return StrandLight(value / f32(s.slices), luminance(value) / max(luminance(all), 1e-9));
}

fn strand_value(p: Place, toward: vec3f) -> vec3f {
    return strand_light(p, toward).value;
}

fn strand_pdf(p: Place, toward: vec3f) -> f32 {
    return strand_light(p, toward).pdf;
}

// A direction in the place's frame. `choice` and `square` are uniform in 0..1; what `choice` has left after it has
// chosen a slice and a lobe turns around the fibre.
fn strand_direction(p: Place, choice: f32, square: vec2f) -> vec3f {
    let s = strand_at(p);
    var all = 0.0;
    for (var k = 0u; k < s.slices; k++) {
        let slice = strand_slice(p, s, k);
        all += luminance(slice.r + slice.tt + slice.trt + slice.rest);
    }
    var slice = strand_slice(p, s, 0u);
    var lobe = 0u;
    var left = choice * all;
    var share = luminance(slice.r);
    for (var i = 1u; i < LOBES * s.slices; i++) {
        if (left < share) {
            break;
        }
        left -= share;
        lobe = i % LOBES;
        if (lobe == 0u) {
            slice = strand_slice(p, s, i / LOBES);
        }
        share = luminance(strand_share(slice, lobe));
    }
    let u = clamp(left / max(share, 1e-9), 0.0, 1.0);
    var angle = 2.0 * PI * u;
    if (lobe < 3u) {
        // Inverse of the logistic's integral between -pi and pi.
        let least = 1.0 / (1.0 + exp(PI / s.body.x));
        let x = clamp(least + u / s.body.y, 1e-6, 0.999999);
        angle = strand_turn(slice, lobe) + clamp(s.body.x * natural_log(x / (1.0 - x)), -PI, PI);
    }
    let turned = angle * (0.5 * INV_PI);
    let t = turn(turned - floor(turned));
    let half_squared = 0.5 + 0.5 * t.cosine;
    // d'Eon, Marschner and Hanika, "Importance Sampling for Physically-Based Hair Fiber Models", SIGGRAPH Asia 2013.
    let seen = strand_tilted(p, s, lobe, half_squared);
    let v = strand_variance(p, lobe, half_squared);
    let c = clamp(1.0 + v * natural_log(max(square.x, 1e-6) + (1.0 - square.x) * exp(-2.0 / v)), -1.0, 1.0);
    let sine = root(max(1.0 - c * c, 0.0));
    let sine_in = clamp(-c * seen.x + sine * turn(square.y).cosine * seen.y, -1.0, 1.0);
    let cosine_in = root(max(1.0 - sine_in * sine_in, 0.0));
    // From the viewer's own direction around the strand.
    let y = p.out.y / s.cosine_out;
    let z = p.out.z / s.cosine_out;
    return vec3f(sine_in, cosine_in * (y * t.cosine - z * t.sine), cosine_in * (z * t.cosine + y * t.sine));
}

// Place across the fibre that a ray meets: a ribbon stands for several side by side.
fn strand_across(first: u32, share: f32) -> f32 {
    let place = clamp(share, 0.0, 0.99999) * max(load_texel(first).w, 1.0);
    return 2.0 * (place - floor(place)) - 1.0;
}

fn signed_arc_sine(x: f32) -> f32 {
    let a = arc_sine(abs(x));
    return select(-a, a, x >= 0.0);
}

// Logarithm for 1e-7..1e7, to 1e-6: halvings, then the series of the area tangent (Abramowitz and Stegun 4.1.27).
fn natural_log(x: f32) -> f32 {
    let sign = select(1.0, -1.0, x > 1.0);
    var m = select(x, 1.0 / x, x > 1.0);
    var halves = 0.0;
    if (m < 1.52587890625e-5) { m *= 65536.0; halves += 16.0; }
    if (m < 3.90625e-3) { m *= 256.0; halves += 8.0; }
    if (m < 6.25e-2) { m *= 16.0; halves += 4.0; }
    if (m < 0.25) { m *= 4.0; halves += 2.0; }
    if (m < 0.70710678) { m *= 2.0; halves += 1.0; }
    let s = (m - 1.0) / (m + 1.0);
    let q = s * s;
    let log = 2.0 * s * (1.0 + q * (0.33333333 + q * (0.2 + q * (0.14285714 + q * 0.11111111))));
    return sign * (log - halves * 0.69314718056);
}
