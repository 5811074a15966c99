// Light sources. Each is a face (or closed shape) whose luminance per lumen comes from one
// emission table over place and direction; every light in a setup, traced or plain,
// renders through this interface. Layouts of the tables: src/optics/table.rs.

struct EmitterPoint {
    point: vec3f,
    normal: vec3f,
    // Place on the face in -1..1 (disk, rectangle).
    place: vec2f,
    // Density per solid angle at the receiver; 0 where nothing can arrive.
    pdf: f32,
}

struct EmitterHit {
    t: f32,
    emitter: u32,
    place: vec2f,
    normal: vec3f,
}

// Mean of four neighbours, the index clamped: cell averages are read between cell centres.
fn table_radial(e: Emitter, rho: f32, sin_theta: f32, cos_phi: f32) -> f32 {
    // theta cells are even in t with sin(theta) = t^2.
    let t = root(clamp(sin_theta, 0.0, 1.0));
    let nr = e.cells_place;
    let nt = e.cells_theta;
    let np = e.cells_phi;
    let x = clamp(rho * f32(nr) - 0.5, 0.0, f32(nr) - 1.0);
    let y = clamp(t * f32(nt) - 0.5, 0.0, f32(nt) - 1.0);
    var z = 0.0;
    if (np > 1u) {
        z = clamp(acos(clamp(cos_phi, -1.0, 1.0)) * INV_PI * f32(np) - 0.5, 0.0, f32(np) - 1.0);
    }
    let x0 = u32(x);
    let y0 = u32(y);
    let z0 = u32(z);
    let fx = x - f32(x0);
    let fy = y - f32(y0);
    let fz = z - f32(z0);
    let x1 = min(x0 + 1u, nr - 1u);
    let y1 = min(y0 + 1u, nt - 1u);
    let z1 = min(z0 + 1u, np - 1u);
    let low = mix(
        mix(table_cell(e, x0, y0, z0), table_cell(e, x1, y0, z0), fx),
        mix(table_cell(e, x0, y1, z0), table_cell(e, x1, y1, z0), fx),
        fy,
    );
    if (np == 1u || fz == 0.0) {
        return low;
    }
    let high = mix(
        mix(table_cell(e, x0, y0, z1), table_cell(e, x1, y0, z1), fx),
        mix(table_cell(e, x0, y1, z1), table_cell(e, x1, y1, z1), fx),
        fy,
    );
    return mix(low, high, fz);
}

fn table_cell(e: Emitter, r: u32, t: u32, p: u32) -> f32 {
    return table_value(e.table, (p * e.cells_theta + t) * e.cells_place + r);
}

// Four values to a texel.
fn table_value(first: u32, index: u32) -> f32 {
    let four = load_texel(first + (index >> 2u));
    let lane = index & 3u;
    return select(select(four.x, four.y, lane == 1u), select(four.z, four.w, lane == 3u), lane >= 2u);
}

// A rectangle's quarter, [y][x][phi][theta], mirrored into the others: four places around, and at
// each four directions.
fn table_quarter(e: Emitter, place: vec2f, sin_theta: f32, along: vec2f) -> f32 {
    let nx = e.cells_place;
    let ny = e.cells_place_y;
    let x = clamp(abs(place.x) * f32(nx) - 0.5, 0.0, f32(nx) - 1.0);
    let y = clamp(abs(place.y) * f32(ny) - 0.5, 0.0, f32(ny) - 1.0);
    let x0 = u32(x);
    let y0 = u32(y);
    let x1 = min(x0 + 1u, nx - 1u);
    let y1 = min(y0 + 1u, ny - 1u);
    let fx = x - f32(x0);
    let fy = y - f32(y0);
    let d = direction_cells(
        sin_theta,
        vec2f(select(along.x, -along.x, place.x < 0.0), select(along.y, -along.y, place.y < 0.0)),
        e.cells_theta,
        e.cells_phi,
    );
    let size = e.cells_theta * e.cells_phi;
    let low = mix(
        table_direction(e.table, (y0 * nx + x0) * size, d),
        table_direction(e.table, (y0 * nx + x1) * size, d),
        fx,
    );
    let high = mix(
        table_direction(e.table, (y1 * nx + x0) * size, d),
        table_direction(e.table, (y1 * nx + x1) * size, d),
        fx,
    );
    return mix(low, high, fy);
}

// Four cells around a direction, and how far it lies between them.
struct DirectionCells {
    low_low: u32,
    low_high: u32,
    high_low: u32,
    high_high: u32,
    theta: f32,
    phi: f32,
}

// theta cells even in t with sin(theta) = t^2, phi even over the full turn: [phi][theta].
fn direction_cells(sin_theta: f32, along: vec2f, nt: u32, np: u32) -> DirectionCells {
    let t = clamp(root(clamp(sin_theta, 0.0, 1.0)) * f32(nt) - 0.5, 0.0, f32(nt) - 1.0);
    let t0 = u32(t);
    let t1 = min(t0 + 1u, nt - 1u);
    if (np == 1u) {
        return DirectionCells(t0, t1, t0, t1, t - f32(t0), 0.0);
    }
    let azimuth = atan2(along.y, along.x) * (0.5 * INV_PI);
    let p = (azimuth + select(0.0, 1.0, azimuth < 0.0)) * f32(np) - 0.5;
    let p_floor = floor(p);
    let p0 = u32(i32(p_floor) + i32(np)) % np;
    let p1 = (p0 + 1u) % np;
    return DirectionCells(p0 * nt + t0, p0 * nt + t1, p1 * nt + t0, p1 * nt + t1, t - f32(t0), p - p_floor);
}

fn table_direction(table: u32, first: u32, d: DirectionCells) -> f32 {
    let low = mix(table_value(table, first + d.low_low), table_value(table, first + d.low_high), d.theta);
    if (d.phi == 0.0) {
        return low;
    }
    let high = mix(table_value(table, first + d.high_low), table_value(table, first + d.high_high), d.theta);
    return mix(low, high, d.phi);
}

// The image of a gate: where the ray passes its plane, inside or out (thin lens; see
// src/optics/table.rs).
fn through_gate(e: Emitter, place: vec2f, sin_theta: f32, along: vec2f) -> f32 {
    let cosine = root(max(1.0 - sin_theta * sin_theta, 1e-12));
    let at = place * e.half_x_m + along * (e.gate_distance_m / cosine);
    return clamp((e.gate_radius_m - root(dot(at, at))) / max(e.gate_soft_m, 1e-9) + 0.5, 0.0, 1.0);
}

// Radius of a regular polygon of corner radius one, toward a place.
fn polygon_edge(sides: u32, place: vec2f) -> f32 {
    let sector = 2.0 * PI / f32(sides);
    let azimuth = atan2(place.y, place.x) + 2.0 * PI;
    let within = azimuth - floor(azimuth / sector) * sector - 0.5 * sector;
    return cos(0.5 * sector) / cos(within);
}

// Luminance per lumen seen when looking along -out at a place on the emitter.
fn emitter_luminance(e: Emitter, place: vec2f, normal: vec3f, out: vec3f) -> f32 {
    let cosine = dot(normal, out);
    if (cosine <= 0.0) {
        return 0.0;
    }
    if (e.table_kind == TABLE_UNIFORM && e.screen == NOTHING) {
        return e.luminance_per_lm;
    }
    if (HAS_CAPS && e.shape == SHAPE_CAP) {
        return e.luminance_per_lm * cap_luminance(e, place, normal, out);
    }
    let along = vec2f(dot(e.axis_x, out), dot(e.axis_y, out));
    let sin_theta = root(min(1.0, dot(along, along)));
    if (sin_theta > e.sine_limit) {
        return 0.0;
    }
    var value = e.luminance_per_lm;
    if (HAS_SCREENS && e.screen != NOTHING) {
        value *= table_direction(e.screen, 0u, direction_cells(sin_theta, along, e.screen_theta, e.screen_phi));
    }
    if (HAS_QUARTERS && e.table_kind == TABLE_QUARTER) {
        return value * table_quarter(e, place, sin_theta, along);
    }
    if (HAS_GATES && e.table_kind == TABLE_GATE) {
        return value * through_gate(e, place, sin_theta, along);
    }
    if (HAS_RADIALS && e.table_kind == TABLE_RADIAL) {
        let length = root(min(1.0, dot(place, place)));
        var rho = length;
        if (HAS_SIDES && e.sides > 0u) {
            rho = min(1.0, length / polygon_edge(e.sides, place));
        }
        // Azimuth of the direction against the radius it leaves from.
        let cos_phi = dot(place, along) / max(length * sin_theta, 1e-9);
        return value * table_radial(e, rho, sin_theta, cos_phi);
    }
    return value;
}

// A cap's table stands on the normal at the place, its azimuth counted from straight away from the
// pole.
fn cap_luminance(e: Emitter, place: vec2f, normal: vec3f, out: vec3f) -> f32 {
    let rho = root(min(1.0, dot(place, place)));
    let outward = (e.axis_x * place.x + e.axis_y * place.y) / max(rho, 1e-9);
    let away = outward * dot(normal, e.normal) - e.normal * dot(normal, outward);
    let flat_out = out - normal * dot(normal, out);
    let sin_theta = root(min(1.0, dot(flat_out, flat_out)));
    return table_radial(e, rho, sin_theta, dot(away, flat_out) / max(sin_theta, 1e-9));
}

// A point of the emitter to look at from `receiver`, by its face's area (disk, rectangle,
// tube: the half turned to the receiver) or by the cone it fills (globe).
fn emitter_point(e: Emitter, receiver: vec3f, square: vec2f) -> EmitterPoint {
    if (HAS_GLOBES && e.shape == SHAPE_GLOBE) {
        return globe_point(e, receiver, square);
    }
    if (HAS_TUBES && e.shape == SHAPE_TUBE) {
        return tube_point(e, receiver, square);
    }
    if (HAS_CAPS && e.shape == SHAPE_CAP) {
        return cap_point(e, receiver, square);
    }
    var place = vec2f(0.0);
    var area = e.area_sqm;
    if (e.shape == SHAPE_DISK) {
        place = disk_of(square);
        if (HAS_SIDES && e.sides > 0u) {
            // Drawn out to the polygon; the area that a place stands for goes with its square.
            let edge = polygon_edge(e.sides, place);
            place *= edge;
            area = PI * e.half_x_m * e.half_x_m * edge * edge;
        }
    } else {
        let window = rectangle_window(e, receiver);
        place = window.xy + vec2f(window.z - window.x, window.w - window.y) * square;
        area = window_area(e, window);
    }
    let point = e.centre + e.axis_x * (place.x * e.half_x_m) + e.axis_y * (place.y * e.half_y_m);
    let away = receiver - point;
    let d2 = dot(away, away);
    let cosine = dot(e.normal, away) / root(max(d2, 1e-12));
    let pdf = select(0.0, d2 / max(area * cosine, 1e-12), cosine > 0.0 && area > 0.0);
    return EmitterPoint(point, e.normal, place, pdf);
}

// The part of a rectangle that a receiver can be lit from, as places (low, high): a grid's cut-off
// leaves only what lies within reach of the foot of the perpendicular.
fn rectangle_window(e: Emitter, receiver: vec3f) -> vec4f {
    if (e.sine_limit > 0.999) {
        return vec4f(-1.0, -1.0, 1.0, 1.0);
    }
    let to = receiver - e.centre;
    let reach = max(dot(to, e.normal), 0.0) * e.sine_limit / root(1.0 - e.sine_limit * e.sine_limit);
    let half = vec2f(e.half_x_m, e.half_y_m);
    let foot = vec2f(dot(to, e.axis_x), dot(to, e.axis_y)) / half;
    let low = clamp(foot - vec2f(reach) / half, vec2f(-1.0), vec2f(1.0));
    let high = clamp(foot + vec2f(reach) / half, vec2f(-1.0), vec2f(1.0));
    return vec4f(low, high);
}

fn window_area(e: Emitter, window: vec4f) -> f32 {
    return (window.z - window.x) * (window.w - window.y) * e.half_x_m * e.half_y_m;
}

// Uniform in the cone of the sphere: Shirley, Wang and Zimmerman, "Monte Carlo
// Techniques for Direct Lighting Calculations", TOG 15(1), 1996.
fn globe_point(e: Emitter, receiver: vec3f, square: vec2f) -> EmitterPoint {
    let to_centre = e.centre - receiver;
    let d2 = dot(to_centre, to_centre);
    let r2 = e.half_x_m * e.half_x_m;
    if (d2 <= r2) {
        return EmitterPoint(e.centre, e.normal, vec2f(0.0), 0.0);
    }
    let sin2_max = r2 / d2;
    let cos_max = root(max(0.0, 1.0 - sin2_max));
    // 1 - cos(max), without cancellation for small, far globes.
    let cap = sin2_max / (1.0 + cos_max);
    let one_minus = square.x * cap;
    let cosine = 1.0 - one_minus;
    let sine2 = max(0.0, one_minus * (2.0 - one_minus));
    let sine = root(sine2);
    let around = turn(square.y);
    let f = frame_about(to_centre / root(d2));
    let direction = to_world(f, vec3f(sine * around.cosine, sine * around.sine, cosine));
    let t = root(d2) * cosine - root(max(0.0, r2 - d2 * sine2));
    let point = receiver + direction * t;
    return EmitterPoint(point, (point - e.centre) / e.half_x_m, vec2f(0.0), 1.0 / (2.0 * PI * cap));
}

// On the side of a tube turned to the receiver, by projected width.
fn tube_point(e: Emitter, receiver: vec3f, square: vec2f) -> EmitterPoint {
    let along = 2.0 * square.x - 1.0;
    let axis_point = e.centre + e.axis_x * (along * e.half_x_m);
    let away = receiver - axis_point;
    let across = away - e.axis_x * dot(away, e.axis_x);
    let distance = root(dot(across, across));
    if (distance <= e.half_y_m) {
        return EmitterPoint(axis_point, e.normal, vec2f(0.0), 0.0);
    }
    let facing = across / distance;
    let side = cross(e.axis_x, facing);
    // Only the part in sight: the half width seen is cos(a), sin(a) = r / distance.
    let limit = root(max(0.0, 1.0 - (e.half_y_m * e.half_y_m) / (distance * distance)));
    let s = (2.0 * square.y - 1.0) * limit;
    let c = root(max(0.0, 1.0 - s * s));
    let normal = facing * c + side * s;
    let point = axis_point + normal * e.half_y_m;
    let to_receiver = receiver - point;
    let d2 = dot(to_receiver, to_receiver);
    let cosine = dot(normal, to_receiver) / root(max(d2, 1e-12));
    // Area density: ds = cos(angle) d(angle), area = r d(angle) dl.
    let pdf_area = c / (2.0 * limit * e.half_y_m * 2.0 * e.half_x_m);
    let pdf = select(0.0, pdf_area * d2 / max(cosine, 1e-9), cosine > 0.0);
    return EmitterPoint(point, normal, vec2f(along, 0.0), pdf);
}

// On a cap, by area: chord squared from the pole is even over its areas (Archimedes).
fn cap_point(e: Emitter, receiver: vec3f, square: vec2f) -> EmitterPoint {
    let place = disk_of(square);
    let normal = cap_normal(e, place);
    let point = e.centre + normal * e.half_x_m;
    let away = receiver - point;
    let d2 = dot(away, away);
    let cosine = dot(normal, away) / root(max(d2, 1e-12));
    return EmitterPoint(point, normal, place, select(0.0, d2 / max(e.area_sqm * cosine, 1e-12), cosine > 0.0));
}

fn cap_normal(e: Emitter, place: vec2f) -> vec3f {
    // Half the angle from the pole has sine s = chord / 2R; sin = 2 s √(1 - s²), cos = 1 - 2 s².
    let k = e.half_y_m / (2.0 * e.half_x_m);
    let s2 = min(1.0, dot(place, place) * k * k);
    return (e.axis_x * place.x + e.axis_y * place.y) * (2.0 * k * root(1.0 - s2)) + e.normal * (1.0 - 2.0 * s2);
}

// The density emitter_point would have had for the place a ray hit.
fn emitter_pdf(e: Emitter, receiver: vec3f, hit: EmitterHit, direction: vec3f) -> f32 {
    if (HAS_GLOBES && e.shape == SHAPE_GLOBE) {
        let to_centre = e.centre - receiver;
        let sin2_max = min(1.0, e.half_x_m * e.half_x_m / dot(to_centre, to_centre));
        let cos_max = root(max(0.0, 1.0 - sin2_max));
        return (1.0 + cos_max) / (2.0 * PI * sin2_max);
    }
    let cosine = max(-dot(hit.normal, direction), 1e-9);
    if (HAS_TUBES && e.shape == SHAPE_TUBE) {
        let axis_point = e.centre + e.axis_x * (hit.place.x * e.half_x_m);
        let away = receiver - axis_point;
        let across = away - e.axis_x * dot(away, e.axis_x);
        let distance = root(max(dot(across, across), 1e-12));
        let limit = root(max(1e-9, 1.0 - (e.half_y_m * e.half_y_m) / (distance * distance)));
        let c = max(dot(hit.normal, across) / distance, 0.0);
        let pdf_area = c / (2.0 * limit * e.half_y_m * 2.0 * e.half_x_m);
        return pdf_area * hit.t * hit.t / cosine;
    }
    var area = e.area_sqm;
    if (e.shape == SHAPE_RECT) {
        area = window_area(e, rectangle_window(e, receiver));
    } else if (HAS_SIDES && e.sides > 0u) {
        let edge = polygon_edge(e.sides, hit.place);
        area = PI * e.half_x_m * e.half_x_m * edge * edge;
    }
    return hit.t * hit.t / max(area * cosine, 1e-12);
}

// The nearest emitter in front of t_max, faces from their lit side only.
fn nearest_emitter(origin: vec3f, direction: vec3f, t_max: f32, count: u32) -> EmitterHit {
    var best = EmitterHit(t_max, NOTHING, vec2f(0.0), vec3f(0.0));
    for (var i = 0u; i < count; i++) {
        let e = load_emitter(i);
        let h = emitter_hit(e, origin, direction, best.t);
        if (h.t < best.t) {
            best = EmitterHit(h.t, i, h.place, h.normal);
        }
    }
    return best;
}

fn emitter_hit(e: Emitter, origin: vec3f, direction: vec3f, t_max: f32) -> EmitterHit {
    let miss = EmitterHit(t_max, NOTHING, vec2f(0.0), vec3f(0.0));
    let receiver = origin - e.centre;
    if ((HAS_GLOBES || HAS_CAPS) && (e.shape == SHAPE_GLOBE || e.shape == SHAPE_CAP)) {
        let b = dot(receiver, direction);
        // Distance of the line from the centre, kept accurate for far, small globes.
        let off = receiver - direction * b;
        let reach = e.half_x_m * e.half_x_m - dot(off, off);
        if (reach <= 0.0) {
            return miss;
        }
        let t = -b - root(reach);
        if (t <= 1e-5 || t >= t_max) {
            return miss;
        }
        let normal = (receiver + direction * t) / e.half_x_m;
        if (e.shape == SHAPE_GLOBE) {
            return EmitterHit(t, 0u, vec2f(0.0), normal);
        }
        // Chord squared from the pole: 2 R² (1 - cos).
        let across = vec2f(dot(normal, e.axis_x), dot(normal, e.axis_y));
        let chord = e.half_x_m * root(max(0.0, 2.0 - 2.0 * dot(normal, e.normal)));
        if (chord > e.half_y_m) {
            return miss;
        }
        let place = across * (chord / (e.half_y_m * max(root(dot(across, across)), 1e-9)));
        return EmitterHit(t, 0u, place, normal);
    }
    if (HAS_TUBES && e.shape == SHAPE_TUBE) {
        let da = dot(direction, e.axis_x);
        let fa = dot(receiver, e.axis_x);
        let d = direction - e.axis_x * da;
        let f = receiver - e.axis_x * fa;
        let a = dot(d, d);
        if (a < 1e-12) {
            return miss;
        }
        let b = dot(d, f);
        let closest = f - d * (b / a);
        let reach = e.half_y_m * e.half_y_m - dot(closest, closest);
        if (reach <= 0.0) {
            return miss;
        }
        let t = -b / a - root(reach / a);
        let along = fa + t * da;
        if (t <= 1e-5 || t >= t_max || abs(along) > e.half_x_m) {
            return miss;
        }
        return EmitterHit(t, 0u, vec2f(along / e.half_x_m, 0.0), (f + d * t) / e.half_y_m);
    }
    let facing = dot(direction, e.normal);
    if (facing >= 0.0) {
        return miss;
    }
    let t = -dot(receiver, e.normal) / facing;
    if (t <= 1e-5 || t >= t_max) {
        return miss;
    }
    let p = receiver + direction * t;
    let place = vec2f(dot(p, e.axis_x) / e.half_x_m, dot(p, e.axis_y) / e.half_y_m);
    let size = select(max(abs(place.x), abs(place.y)), dot(place, place), e.shape == SHAPE_DISK);
    var limit = 1.0;
    if (HAS_SIDES && e.sides > 0u) {
        limit = polygon_edge(e.sides, place);
        limit *= limit;
    }
    if (size > limit) {
        return miss;
    }
    return EmitterHit(t, 0u, place, e.normal);
}
