// What light does at a surface. A material is a diffuse base under an optional top layer
// (dielectric coat, metal, or fibre sheen), or a thin sheet that also passes light.
//
// The base sees the light that the top lets through, both ways, so that a white base under
// any top returns exactly what arrives (Kelemen and Szirmay-Kalos 2001):
//   f = top + base' (1 - E(o)) (1 - E(i)) / pi,  base' = base c1 / (1 - base c2)
// with E the top's directional albedo, tabulated by the host for each material from the very
// lobe below. Coat: c1 = 1/eta^2, c2 = 1 - (1 - E_mean)/eta^2, the light that the interface
// sends back inside (Saunderson 1942). Metal and sheen: c1 = 1/(1 - E_mean), c2 = 0.
// A metal's base is its multiply scattered light (Kulla and Conty 2017).

const KIND_SURFACE: u32 = 0u;
const KIND_FLAT: u32 = 1u;
const KIND_DOME: u32 = 2u;
const KIND_NOWHERE: u32 = 3u;

// A place where a path turns: a point on a surface, or a meter's receptor.
struct Place {
    // Where paths leave on the near side: on the smooth surface the triangles stand for.
    point: vec3f,
    kind: u32,
    // On the triangle itself.
    point_on_facet: vec3f,
    // Albedo of the top layer toward the viewer.
    top_out: f32,
    // Geometric normal, on the viewer's side.
    facet: vec3f,
    // Chance of sampling the top layer.
    top_chance: f32,
    frame: Frame,
    // Toward the viewer, in `frame`.
    out: vec3f,
    // Cell of the light known to leave here, counted from the material's first, or NOTHING.
    bounce_cell: u32,
    // On hair: across the fibre, -1 to 1; `frame.x` is then along it.
    across: f32,
    // Share of the fibre's breadth that a sample stands for, 0: the place alone, to 1.
    across_seen: f32,
    // First texel of how light spreads under a skin (skin.wgsl), or NOTHING.
    under: u32,
    // Where the material is one; `frame` is then the cloth's: along the weft, along the warp, out of it.
    cloth: Cloth,
    material: Material,
}

// GGX alpha from which on a coat mirrors lights so broadly that they are found by looking at them alone.
const BROAD_COAT_ALPHA: f32 = 0.2;

struct Scatter {
    // World direction.
    direction: vec3f,
    // Value over density.
    weight: vec3f,
    pdf: f32,
}

fn top_albedo(m: Material, cosine: f32) -> f32 {
    if (!HAS_TOPS || m.albedo_table == NOTHING) {
        return 0.0;
    }
    let x = clamp(cosine, 0.0, 1.0) * 63.0;
    let i = min(u32(x), 62u);
    return mix(table_value(m.albedo_table, i), table_value(m.albedo_table, i + 1u), x - f32(i));
}

fn nowhere() -> Place {
    let z = vec3f(0.0, 0.0, 1.0);
    return Place(vec3f(0.0), KIND_NOWHERE, vec3f(0.0), 0.0, z, 0.0, frame_about(z), z, NOTHING, 0.0, 0.0, NOTHING, no_cloth(), no_material());
}

fn no_material() -> Material {
    var m = Material();
    m.cloth = NOTHING;
    return m;
}

fn coupled_base(m: Material) -> vec3f {
    return m.base * m.couple_gain / (vec3f(1.0) - m.base * m.couple_feedback);
}

// The top layer's lobe, without cosine; both directions above the surface.
fn top_value(m: Material, out: vec3f, toward: vec3f) -> vec3f {
    if (HAS_SHEEN && m.top == TOP_SHEEN) {
        return m.specular * sheen_value(m.alpha, out, toward);
    }
    let h = normalize(out + toward);
    let shape = ggx_density(h.z, m.alpha)
        / (4.0 * out.z * toward.z * (1.0 + ggx_lambda(out.z, m.alpha) + ggx_lambda(toward.z, m.alpha)));
    let c = dot(out, h);
    if (HAS_METAL && m.top == TOP_CONDUCTOR) {
        return fresnel_metal(c, m.specular) * shape;
    }
    return vec3f(fresnel(c, m.eta) * shape);
}

// Conty Estevez and Kulla, "Production Friendly Microfacet Sheen BRDF", SIGGRAPH courses 2017;
// visibility after Neubelt and Pettineo 2013.
fn sheen_value(alpha: f32, out: vec3f, toward: vec3f) -> f32 {
    let h = normalize(out + toward);
    let sine = root(max(0.0, 1.0 - h.z * h.z));
    let density = (2.0 + 1.0 / alpha) * pow(max(sine, 1e-6), 1.0 / alpha) * (0.5 * INV_PI);
    return density / (4.0 * (out.z + toward.z - out.z * toward.z));
}

// Value times cosine, for a direction in the world.
fn place_value(p: Place, direction: vec3f) -> vec3f {
    if (p.kind != KIND_SURFACE) {
        return vec3f(place_response(p, direction));
    }
    let toward = to_local(p.frame, direction);
    if (HAS_HAIR && p.material.top == TOP_HAIR) {
        return strand_value(p, toward);
    }
    let above = dot(p.facet, direction);
    if (toward.z * above <= 0.0 || p.out.z <= 0.0) {
        return vec3f(0.0);
    }
    if (toward.z < 0.0) {
        return p.material.through * (INV_PI * -toward.z);
    }
    if (HAS_CLOTH && p.material.cloth != NOTHING) {
        return cloth_value(p.cloth, p.out, toward);
    }
    var value = coupled_base(p.material) * (INV_PI * toward.z);
    if (HAS_TOPS && p.material.top != TOP_NONE) {
        value *= (1.0 - p.top_out) * (1.0 - top_albedo(p.material, toward.z));
        if (p.material.top != TOP_UNDER) {
            value += top_value(p.material, p.out, toward) * toward.z;
        }
    }
    return value;
}

// The part of `place_value` that the base under a coat has.
fn base_value(p: Place, direction: vec3f) -> vec3f {
    let cosine = dot(p.frame.z, direction);
    if (cosine <= 0.0 || dot(p.facet, direction) <= 0.0 || p.out.z <= 0.0) {
        return vec3f(0.0);
    }
    return coupled_base(p.material) * (INV_PI * cosine * (1.0 - p.top_out) * (1.0 - top_albedo(p.material, cosine)));
}

// What steers the choice among points of light: the receiver's own cosine.
fn place_response(p: Place, direction: vec3f) -> f32 {
    let c = dot(p.frame.z, direction);
    if (p.kind == KIND_DOME) {
        return 0.5 * (1.0 + c);
    }
    if (p.kind == KIND_SURFACE && largest(p.material.through) > 0.0) {
        if (HAS_HAIR && p.material.top == TOP_HAIR) {
            let along = dot(p.frame.x, direction);
            return root(max(1.0 - along * along, 0.0));
        }
        return abs(c);
    }
    return max(c, 0.0);
}

// Density per solid angle of place_scatter.
fn place_pdf(p: Place, direction: vec3f) -> f32 {
    let toward = to_local(p.frame, direction);
    if (p.kind == KIND_DOME) {
        return (1.0 + toward.z) * (0.25 * INV_PI);
    }
    let diffuse = abs(toward.z) * INV_PI;
    if (p.kind == KIND_FLAT) {
        return select(0.0, diffuse, toward.z > 0.0);
    }
    if (HAS_HAIR && p.material.top == TOP_HAIR) {
        return strand_pdf(p, toward);
    }
    let through = through_chance(p.material);
    if (toward.z < 0.0) {
        return through * diffuse;
    }
    if (!HAS_TOPS || p.top_chance == 0.0) {
        return (1.0 - through) * diffuse;
    }
    return mix((1.0 - through) * diffuse, top_pdf(p, toward), p.top_chance);
}

// Density of directions mirrored in the top layer's facets; on cloth they lie about the thread's normal.
fn top_pdf(p: Place, toward: vec3f) -> f32 {
    let h = normalize(p.out + toward);
    if (!HAS_CLOTH || p.material.cloth == NOTHING) {
        return ggx_density(h.z, p.material.alpha)
            / (4.0 * p.out.z * (1.0 + ggx_lambda(p.out.z, p.material.alpha)));
    }
    let facing = dot(p.cloth.mirror, p.out);
    if (facing <= 0.02) {
        return 0.0;
    }
    return ggx_density(dot(h, p.cloth.mirror), p.cloth.alpha)
        / (4.0 * facing * (1.0 + ggx_lambda(facing, p.cloth.alpha)));
}

// A direction mirrored in the top layer's facets, in the place's frame.
fn top_direction(p: Place, square: vec2f) -> vec3f {
    if (!HAS_CLOTH || p.material.cloth == NOTHING) {
        let h = ggx_visible_normal(p.out, p.material.alpha, square);
        return 2.0 * dot(p.out, h) * h - p.out;
    }
    let about = frame_about(p.cloth.mirror);
    let seen = to_local(about, p.out);
    if (seen.z <= 0.02) {
        return vec3f(0.0, 0.0, -1.0);
    }
    let h = ggx_visible_normal(seen, p.cloth.alpha, square);
    return to_world(about, 2.0 * dot(seen, h) * h - seen);
}

fn through_chance(m: Material) -> f32 {
    let passed = largest(m.through);
    if (passed <= 0.0) {
        return 0.0;
    }
    return passed / (passed + largest(m.base));
}

// Chooses how the path goes on. `lobe` and `square` are uniform in 0..1.
fn place_scatter(p: Place, lobe: f32, square: vec2f) -> Scatter {
    if (p.kind == KIND_DOME) {
        // Inverse of the response's integral: cos = 2 sqrt(u) - 1.
        let c = 2.0 * root(square.x) - 1.0;
        let s = root(max(0.0, 1.0 - c * c));
        let around = turn(square.y);
        let d = to_world(p.frame, vec3f(s * around.cosine, s * around.sine, c));
        return Scatter(d, vec3f(2.0 * PI), max((1.0 + c) * (0.25 * INV_PI), 1e-9));
    }
    if (p.kind == KIND_FLAT) {
        let d = cosine_direction(square);
        return Scatter(to_world(p.frame, d), vec3f(PI), d.z * INV_PI);
    }
    var toward = vec3f(0.0);
    if (HAS_HAIR && p.material.top == TOP_HAIR) {
        toward = strand_direction(p, lobe, square);
        let light = strand_light(p, toward);
        return Scatter(to_world(p.frame, toward), light.value / max(light.pdf, 1e-20), light.pdf);
    } else if (HAS_TOPS && lobe < p.top_chance) {
        toward = top_direction(p, square);
        if (toward.z <= 0.0) {
            return Scatter(p.frame.z, vec3f(0.0), 0.0);
        }
    } else {
        toward = cosine_direction(square);
        if (lobe < p.top_chance + (1.0 - p.top_chance) * through_chance(p.material)) {
            toward.z = -toward.z;
        }
    }
    let direction = to_world(p.frame, toward);
    let pdf = place_pdf(p, direction);
    if (pdf <= 0.0) {
        return Scatter(direction, vec3f(0.0), 0.0);
    }
    if (only_lights_light(p) && toward.z > 0.0) {
        if (dot(p.facet, direction) <= 0.0 || p.out.z <= 0.0) {
            return Scatter(direction, vec3f(0.0), 0.0);
        }
        return Scatter(direction, cloth_value_even(p.cloth, p.out, toward) / pdf, pdf);
    }
    return Scatter(direction, place_value(p, direction) / pdf, pdf);
}

// Whether lights are only looked at from here, never met by paths that go on: threads seen apart, unless they
// mirror. To weigh both ways against each other takes a march of each path's shadow too, and brings more noise than it
// saves where nothing is sharper than a fibre's lobe.
fn only_lights_light(p: Place) -> bool {
    return p.kind == KIND_SURFACE && p.cloth.near > 0.0 && p.top_chance == 0.0;
}

// The place where a ray met a triangle. `footprint_mm` across the ray is what a sample stands for there (large:
// far off), `start` a number in 0..1 for marches over the relief.
fn place_of(hit: Hit, direction: vec3f, footprint_mm: f32, start: f32) -> Place {
    let triangle = load_triangle(hit.triangle);
    var m = load_material(triangle.material);
    let va = load_vertex(triangle.a);
    let vb = load_vertex(triangle.b);
    let vc = load_vertex(triangle.c);
    let wa = 1.0 - hit.u - hit.v;
    let edge_b = vb.position - va.position;
    let edge_c = vc.position - va.position;
    let point = va.position + edge_b * hit.u + edge_c * hit.v;
    let raw = cross(edge_b, edge_c);
    var facet = raw / root(max(dot(raw, raw), 1e-30));
    var normal = normalize(va.normal * wa + vb.normal * hit.u + vc.normal * hit.v);
    if (HAS_RELIEF && m.relief != NOTHING) {
        let uv = vec2f(
            va.weft_cm * wa + vb.weft_cm * hit.u + vc.weft_cm * hit.v,
            va.warp_cm * wa + vb.warp_cm * hit.u + vc.warp_cm * hit.v,
        );
        normal = relief_normal(m, normal, edge_b, edge_c,
            vec2f(vb.weft_cm - va.weft_cm, vb.warp_cm - va.warp_cm), vec2f(vc.weft_cm - va.weft_cm, vc.warp_cm - va.warp_cm), uv);
    }
    // Both normals on the viewer's side.
    let side = select(-1.0, 1.0, dot(facet, direction) < 0.0);
    facet *= side;
    normal *= side;
    var under = NOTHING;
    if ((HAS_HAIR || HAS_PAINT) && m.top >= TOP_PAINTED) {
        if (HAS_HAIR && m.top == TOP_HAIR) {
            return strand_place(m, triangle, hit, direction, footprint_mm, point, facet, normal, dot(normal, raw) >= 0.0);
        }
        let finish = finish_at(m, triangle, hit, direction, footprint_mm, point, normal, side);
        m = finish.material;
        normal = finish.normal;
        under = finish.under;
    }
    // A shading normal that has turned away would see nothing: bring it back to the horizon.
    let away = dot(normal, direction);
    if (away > -0.01) {
        normal = normalize(normal - direction * (away + 0.01));
    }
    let lifted = point + facet_lift(va, wa, point, side) + facet_lift(vb, hit.u, point, side)
        + facet_lift(vc, hit.v, point, side);
    var frame = frame_about(normal);
    var cloth = no_cloth();
    if (HAS_CLOTH && m.cloth != NOTHING) {
        let uv_b = vec2f(vb.weft_cm - va.weft_cm, vb.warp_cm - va.warp_cm);
        let uv_c = vec2f(vc.weft_cm - va.weft_cm, vc.warp_cm - va.warp_cm);
        frame = weft_frame(m, triangle, hit, normal, side * (uv_b.x * uv_c.y - uv_b.y * uv_c.x));
        let at_mm = 10.0 * vec2f(
            va.weft_cm * wa + vb.weft_cm * hit.u + vc.weft_cm * hit.v,
            va.warp_cm * wa + vb.warp_cm * hit.u + vc.warp_cm * hit.v,
        );
        let toward_eye = to_local(frame, -direction);
        cloth = cloth_at(m.cloth, at_mm, toward_eye, footprint_mm / root(max(toward_eye.z, 0.05)), start, footprint_mm < FAR_OFF_MM);
        let whole = m.straight;
        m = cloth_material(m, cloth, toward_eye.z);
        if (HAS_SHEETS && whole > 0.0 && cloth.near > 0.0 && cloth.near < 1.0) {
            let fade = sheer_fade(cloth, cloth_straight(whole, toward_eye.z));
            m.straight = fade.x;
            cloth.veil = fade.y;
        }
    }
    let out = to_local(frame, -direction);
    let top_out = top_albedo(m, out.z);
    var top_chance = 0.0;
    if (HAS_TOPS && m.top == TOP_COAT) {
        let base = largest(coupled_base(m)) * (1.0 - top_out);
        // A coat as sharp as an eye's shows what it mirrors: lights are best found by its own lobe.
        top_chance = clamp(top_out / max(top_out + base, 1e-6), select(0.1, 0.4, m.alpha < 0.05), 0.95);
    } else if (HAS_METAL && m.top == TOP_CONDUCTOR) {
        top_chance = 0.9;
    }
    if (HAS_CLOTH && m.cloth != NOTHING) {
        top_chance = cloth_mirror_chance(cloth, out);
    }
    var cell = NOTHING;
    if (HAS_FLATS && m.bounce != NOTHING && side > 0.0) {
        cell = bounce_cell(m, vec2f(
            va.weft_cm * wa + vb.weft_cm * hit.u + vc.weft_cm * hit.v,
            va.warp_cm * wa + vb.warp_cm * hit.u + vc.warp_cm * hit.v,
        ));
    }
    return Place(lifted, KIND_SURFACE, point, top_out, facet, top_chance, frame, out, cell, 0.0, 0.0, under, cloth, m);
}

// A place on a ribbon that stands for hair; `outside` as the mesh's own order of corners has it.
fn strand_place(
    whole: Material, t: Triangle, hit: Hit, direction: vec3f, footprint_mm: f32, point: vec3f, facet: vec3f, normal: vec3f,
    outside: bool,
) -> Place {
    var m = whole;
    let va = load_vertex(t.a);
    let vb = load_vertex(t.b);
    let vc = load_vertex(t.c);
    let edge_b = vb.position - va.position;
    let edge_c = vc.position - va.position;
    let uv_b = vec2f(vb.weft_cm - va.weft_cm, vb.warp_cm - va.warp_cm);
    let uv_c = vec2f(vc.weft_cm - va.weft_cm, vc.warp_cm - va.warp_cm);
    let frame = strand_frame(normal, edge_b, edge_c, uv_b, uv_c);
    let share = va.warp_cm * (1.0 - hit.u - hit.v) + vb.warp_cm * hit.u + vc.warp_cm * hit.v;
    let across = strand_across(m.albedo_table, share) * select(-1.0, 1.0, outside);
    m.specular = load_texel(m.albedo_table + 4u).xyz;
    if (m.paint != NOTHING) {
        m.specular = paint_at(m, t, hit).xyz;
    }
    let dye = load_texel(m.albedo_table + 1u).w;
    m.base = exp(-dye * vec3f(root(m.specular.x), root(m.specular.y), root(m.specular.z)));
    let det = uv_b.x * uv_c.y - uv_b.y * uv_c.x;
    let breadth_m = abs(dot(edge_c * uv_b.x - edge_b * uv_c.x, frame.y)) / max(abs(det), 1e-12);
    let seen = clamp(footprint_mm * max(load_texel(m.albedo_table).w, 1.0) / max(1000.0 * breadth_m, 1e-6), 0.0, 1.0);
    let out = to_local(frame, -direction);
    return Place(point, KIND_SURFACE, point, 0.0, facet, 1.0, frame, out, NOTHING, across, seen, NOTHING, no_cloth(), m);
}

// Lift off the triangle onto the surface its normals describe, against the dark
// facets of a coarse mesh: Hanika, "Hacking the Shadow Terminator", Ray Tracing Gems II, 2021.
fn facet_lift(v: Vertex, weight: f32, point: vec3f, side: f32) -> vec3f {
    let n = v.normal * side;
    let below = min(0.0, dot(point - v.position, n));
    return n * (-below * weight);
}

// The cloth's own frame: along the weft as its corners tell it, along the warp, out of it. `turned` is below 0 where
// what is seen has weft and warp the other way round: a cloth's back, or coordinates that are mirrored.
fn weft_frame(m: Material, t: Triangle, hit: Hit, normal: vec3f, turned: f32) -> Frame {
    let weft = load_texel(m.paint + t.a).xyz * (1.0 - hit.u - hit.v)
        + load_texel(m.paint + t.b).xyz * hit.u + load_texel(m.paint + t.c).xyz * hit.v;
    let tangent = weft - normal * dot(weft, normal);
    let length_squared = dot(tangent, tangent);
    if (length_squared < 1e-12) {
        return frame_about(normal);
    }
    let x = tangent / root(length_squared);
    return Frame(x, cross(normal, x) * select(-1.0, 1.0, turned >= 0.0), normal);
}

// The frame of hair on a triangle: along the strand, across it, out of it.
fn strand_frame(normal: vec3f, edge_b: vec3f, edge_c: vec3f, uv_b: vec2f, uv_c: vec2f) -> Frame {
    let det = uv_b.x * uv_c.y - uv_b.y * uv_c.x;
    let along = (edge_b * uv_c.y - edge_c * uv_b.y) * select(-1.0, 1.0, det >= 0.0);
    let tangent = along - normal * dot(along, normal);
    let length_squared = dot(tangent, tangent);
    if (length_squared < 1e-20) {
        return frame_about(normal);
    }
    let x = tangent / root(length_squared);
    return Frame(x, cross(normal, x) * select(-1.0, 1.0, det >= 0.0), normal);
}

// A cloth's material at one place: its colour there, and what passes straight through.
fn cloth_material(whole: Material, c: Cloth, cosine: f32) -> Material {
    var m = whole;
    let mean = load_texel(c.first + 6u);
    m.base = mean.xyz * c.tint;
    if (c.near > 0.0 && c.thread.part != PART_GAP) {
        m.base = mix(m.base, c.thread.colour, c.near);
    }
    if (m.straight > 0.0) {
        let open = select(0.0, 1.0, c.near > 0.0 && c.thread.part == PART_GAP);
        // A gap passes all (the far share is what counts beyond the fade).
        m.straight = mix(cloth_straight(m.straight, cosine), open, c.near);
    }
    return m;
}

// A sheer that fades, its threads still seen: what passes straight at one place (x), and the far view's share there (y).
// Of what passes on average, `through`, gaps take most and threads what is left; of the far view the other way
// round, so that both come to their shares over all places. Were each place given the mean, a gap would keep a rare
// chance of being cloth, which made half of chiffon's noise.
fn sheer_fade(c: Cloth, through: f32) -> vec2f {
    let left = 1.0 - c.near;
    if (c.thread.part == PART_GAP) {
        return vec2f(1.0 - left * left * (1.0 - through), left * left);
    }
    return vec2f(left * left * through, left * (1.0 + c.near * through / max(1.0 - through, 0.05)));
}

// Chance of following the mirror's lobe of a cloth. Where threads are seen apart, what is not solid mirrors nothing;
// a metal mirrors all; and of a broad coat lights are found by looking at them alone, as of threads.
fn cloth_mirror_chance(c: Cloth, out: vec3f) -> f32 {
    let chance = load_texel(c.first + 7u).w;
    if (c.near <= 0.5 || chance == 0.0) {
        return chance;
    }
    if (c.thread.part != PART_SOLID) {
        return 0.0;
    }
    if (load_texel(c.first + 4u).x < 0.0) {
        return select(chance, 0.98, dot(c.mirror, out) > 0.1);
    }
    return select(chance, 0.0, c.alpha > BROAD_COAT_ALPHA);
}

// Normal map over cloth coordinates in cm, x along u, y along v, repeated; bilinear.
fn relief_normal(
    m: Material, normal: vec3f, edge_b: vec3f, edge_c: vec3f, uv_b: vec2f, uv_c: vec2f, uv: vec2f,
) -> vec3f {
    let det = uv_b.x * uv_c.y - uv_b.y * uv_c.x;
    if (abs(det) < 1e-12) {
        return normal;
    }
    let along = (edge_b * uv_c.y - edge_c * uv_b.y) / det;
    let tangent_raw = along - normal * dot(along, normal);
    let length2 = dot(tangent_raw, tangent_raw);
    if (length2 < 1e-20) {
        return normal;
    }
    let tangent = tangent_raw / root(length2);
    // Mirrored cloth keeps its relief the right way up.
    let across = cross(normal, tangent) * select(-1.0, 1.0, det > 0.0);
    let w = m.relief_width;
    let h = m.relief_height;
    let x = uv.x / m.relief_texel_cm - 0.5;
    let y = uv.y / m.relief_texel_cm - 0.5;
    let fx = x - floor(x);
    let fy = y - floor(y);
    let x0 = wrap(floor(x), w);
    let y0 = wrap(floor(y), h);
    let x1 = (x0 + 1u) % w;
    let y1 = (y0 + 1u) % h;
    let low = mix(load_texel(m.relief + y0 * w + x0), load_texel(m.relief + y0 * w + x1), fx);
    let high = mix(load_texel(m.relief + y1 * w + x0), load_texel(m.relief + y1 * w + x1), fx);
    let n = mix(low, high, fy).xyz;
    return normalize(tangent * n.x + across * n.y + normal * n.z);
}

fn wrap(whole: f32, size: u32) -> u32 {
    let s = f32(size);
    let r = whole - s * floor(whole / s);
    return min(u32(r), size - 1u);
}
