//! Closed forms of light from area sources, to hold traced light against.
//!
//! `F` is the illuminance over what a uniform source of the same luminance all round would give, `E
//! / (π L)`: the form factor of the source from a flat receptor. Sources are Lambertian unless
//! said. Howell: J. R. Howell, *A Catalog of Radiation Configuration Factors*, with its section
//! labels.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use std::f64::consts::PI;

pub type Point = [f64; 3];

// --- A flat receptor and one source --------------------------------------------------------------

/// A disk of radius r, faced on its axis at distance d (Howell B-12).
pub fn disk_on_axis(r: f64, d: f64) -> f64 {
    r * r / (r * r + d * d)
}

/// A disk of radius r in a plane parallel to the receptor, h away and a off its axis (Howell B-13).
pub fn disk_off_axis(r: f64, h: f64, a: f64) -> f64 {
    let sum = h * h + a * a + r * r;
    0.5 * (1.0 - (sum - 2.0 * r * r) / (sum * sum - 4.0 * a * a * r * r).sqrt())
}

/// A disk of radius r whose axis is at right angles to the receptor's, which points at that axis; h
/// along it and a off it, with a > r so that the disk is all before the receptor (Howell B-14).
pub fn disk_at_right_angles(r: f64, h: f64, a: f64) -> f64 {
    let (big_h, q) = (h / a, r / a);
    let z = 1.0 + big_h * big_h + q * q;
    0.5 * big_h * (z / (z * z - 4.0 * q * q).sqrt() - 1.0)
}

/// A rectangle a × b at distance c, parallel, the receptor under one corner (Howell B-4).
pub fn rectangle_over_corner(a: f64, b: f64, c: f64) -> f64 {
    let (a, b) = (a / c, b / c);
    let side = |a: f64, b: f64| {
        let root = (1.0 + a * a).sqrt();
        a / root * (b / root).atan()
    };
    (side(a, b) + side(b, a)) / (2.0 * PI)
}

/// A rectangle w × h at distance d, faced at its centre.
pub fn rectangle_on_axis(w: f64, h: f64, d: f64) -> f64 {
    4.0 * rectangle_over_corner(0.5 * w, 0.5 * h, d)
}

/// A polygon seen from `at` by a receptor with a normal, clipped at the receptor's horizon first
/// (Lambert 1760; Howell B-5). The sign of turning does not matter.
pub fn polygon(vertices: &[Point], at: Point, normal: Point) -> f64 {
    let normal = unit(normal);
    let seen: Vec<Point> = vertices.iter().map(|v| sub(*v, at)).collect();
    edge_sum(&above_horizon(&seen, normal), normal).abs()
}

/// The same without clipping: wrong wherever the polygon crosses the horizon. A negative control.
pub fn polygon_unclipped(vertices: &[Point], at: Point, normal: Point) -> f64 {
    let seen: Vec<Point> = vertices.iter().map(|v| sub(*v, at)).collect();
    edge_sum(&seen, unit(normal)).abs()
}

/// `(1/2π) Σ Θᵢ (Γᵢ · n)`: each edge's angle times its plane's normal.
fn edge_sum(seen: &[Point], normal: Point) -> f64 {
    let next = seen.iter().cycle().skip(1);
    let sum: f64 = seen
        .iter()
        .zip(next)
        .map(|(a, b)| {
            let across = cross(*a, *b);
            let size = length(across);
            if size == 0.0 {
                0.0
            } else {
                size.atan2(dot(*a, *b)) * dot(across, normal) / size
            }
        })
        .sum();
    sum / (2.0 * PI)
}

/// The part of a polygon on the normal's side of the origin's plane (Sutherland and Hodgman 1974).
fn above_horizon(vertices: &[Point], normal: Point) -> Vec<Point> {
    let mut kept = Vec::new();
    let next = vertices.iter().cycle().skip(1);
    for (a, b) in vertices.iter().zip(next) {
        let (height_a, height_b) = (dot(*a, normal), dot(*b, normal));
        if height_a >= 0.0 {
            kept.push(*a);
        }
        if (height_a < 0.0) != (height_b < 0.0) {
            kept.push(add(
                *a,
                scale(sub(*b, *a), height_a / (height_a - height_b)),
            ));
        }
    }
    kept
}

/// A sphere of radius r with its centre d away, at an angle to the receptor's normal; whole, cut by
/// the horizon or below it (Howell B-16 family, Juul 1979; the cut form as in Martínez, Radiative
/// view factors).
pub fn sphere(r: f64, d: f64, angle_rad: f64) -> f64 {
    let half_angle = (r / d).asin();
    if angle_rad <= PI / 2.0 - half_angle {
        return (r / d).powi(2) * angle_rad.cos();
    }
    if angle_rad >= PI / 2.0 + half_angle {
        return 0.0;
    }
    let h = d / r;
    let x = (h * h - 1.0).sqrt();
    let y = -x / angle_rad.tan();
    let root = (1.0 - y * y).max(0.0).sqrt();
    let sin = angle_rad.sin();
    ((angle_rad.cos() * y.acos() - x * sin * root) / (h * h) + (sin * root / x).atan()) / PI
}

/// An endless thin tube of radius r at distance d, the receptor facing it.
pub fn tube_endless(r: f64, d: f64) -> f64 {
    r / d
}

/// A thin tube of radius r and half length l at distance d, the receptor facing its middle:
/// `(2r/πd)(p + sin p cos p)`, `tan p = l/d`.
pub fn tube(r: f64, d: f64, half_length: f64) -> f64 {
    let p = (half_length / d).atan();
    2.0 * r / (PI * d) * (p + p.sin() * p.cos())
}

/// Illuminance of a line of points that each radiate evenly all round, I' in cd/m, half length l,
/// at distance d, the receptor facing its middle: `2 I' sin p / d`, lx.
pub fn line_of_points_lx(intensity_cd_per_m: f64, half_length: f64, d: f64) -> f64 {
    2.0 * intensity_cd_per_m * (half_length / d).atan().sin() / d
}

/// A dome's reading over the luminance of a disk of radius r at distance d whose axis, which runs
/// through the dome, makes an angle with the dome's: half of solid angle plus illuminance vector.
pub fn dome_of_disk(r: f64, d: f64, angle_rad: f64) -> f64 {
    0.5 * (solid_angle_of_disk(r, d) + PI * disk_on_axis(r, d) * angle_rad.cos())
}

// --- Solid angles --------------------------------------------------------------------------------

/// A disk of radius r seen on its axis at distance d, sr.
pub fn solid_angle_of_disk(r: f64, d: f64) -> f64 {
    2.0 * PI * (1.0 - d / r.hypot(d))
}

/// A rectangle w × h seen on its axis at distance d, sr.
pub fn solid_angle_of_rectangle(w: f64, h: f64, d: f64) -> f64 {
    let (a, b) = (0.5 * w, 0.5 * h);
    4.0 * (a * b / (a.hypot(d) * b.hypot(d))).asin()
}

/// A triangle seen from the origin, sr (Van Oosterom and Strackee 1983).
pub fn solid_angle_of_triangle(a: Point, b: Point, c: Point) -> f64 {
    let (la, lb, lc) = (length(a), length(b), length(c));
    let volume = dot(a, cross(b, c)).abs();
    let below = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb;
    2.0 * volume.atan2(below)
}

// --- Between areas -------------------------------------------------------------------------------

/// View factor of identical, facing rectangles a × b at distance c (Howell C-11).
pub fn between_facing_rectangles(a: f64, b: f64, c: f64) -> f64 {
    let (x, y) = (a / c, b / c);
    let (x1, y1) = (1.0 + x * x, 1.0 + y * y);
    let log = 0.5 * (x1 * y1 / (1.0 + x * x + y * y)).ln();
    let atans = x * y1.sqrt() * (x / y1.sqrt()).atan() + y * x1.sqrt() * (y / x1.sqrt()).atan()
        - x * x.atan()
        - y * y.atan();
    2.0 / (PI * x * y) * (log + atans)
}

/// View factor from a disk of radius r1 to a coaxial one of radius r2 at distance h (Howell C-41).
pub fn between_coaxial_disks(r1: f64, r2: f64, h: f64) -> f64 {
    let (a, b) = (r1 / h, r2 / h);
    let x = 1.0 + (1.0 + b * b) / (a * a);
    0.5 * (x - (x * x - 4.0 * (b / a).powi(2)).sqrt())
}

/// View factor from a parallelogram, a corner and two sides with its normal, to a polygon:
/// Lambert's polygon formula averaged over the first by Gauss and Legendre's rule.
pub fn between_areas(
    corner: Point,
    side_1: Point,
    side_2: Point,
    normal: Point,
    to: &[Point],
) -> f64 {
    // Many short panels, so that an edge in common (where F bends sharply) converges too.
    const PANELS: usize = 64;
    let mut sum = 0.0;
    for (s, weight_s) in gauss_points(PANELS) {
        for (t, weight_t) in gauss_points(PANELS) {
            let at = add(corner, add(scale(side_1, s), scale(side_2, t)));
            sum += weight_s * weight_t * polygon(to, at, normal);
        }
    }
    sum
}

/// Points and weights over 0..1: four-point Gauss-Legendre (Abramowitz and Stegun table 25.4) in
/// panels.
fn gauss_points(panels: usize) -> impl Iterator<Item = (f64, f64)> {
    const RULE: [(f64, f64); 4] = [
        (-0.861_136_311_594_052_6, 0.347_854_845_137_453_85),
        (-0.339_981_043_584_856_26, 0.652_145_154_862_546_2),
        (0.339_981_043_584_856_26, 0.652_145_154_862_546_2),
        (0.861_136_311_594_052_6, 0.347_854_845_137_453_85),
    ];
    let width = 1.0 / panels as f64;
    (0..panels).flat_map(move |panel| {
        RULE.map(|(x, weight)| (width * (panel as f64 + 0.5 + 0.5 * x), 0.5 * width * weight))
    })
}

// --- Shadows -------------------------------------------------------------------------------------

/// Width of the penumbra of a source of width D, a from the edge, on a receiver b beyond it.
pub fn penumbra(source: f64, a: f64, b: f64) -> f64 {
    source * b / a
}

/// Width of the full shadow of an occluder of width w; negative past its end.
pub fn umbra(source: f64, occluder: f64, a: f64, b: f64) -> f64 {
    occluder - (source - occluder) * b / a
}

/// Share of a small disk that shows past a straight edge, at u = -1..1 of the half penumbra.
pub fn edge_of_disk(u: f64) -> f64 {
    let u = u.clamp(-1.0, 1.0);
    0.5 + (u.asin() + u * (1.0 - u * u).sqrt()) / PI
}

/// The same of a square with a side along the edge.
pub fn edge_of_square(u: f64) -> f64 {
    0.5 * (1.0 + u.clamp(-1.0, 1.0))
}

/// The same of a square with a diagonal across the edge.
pub fn edge_of_diamond(u: f64) -> f64 {
    let u = u.clamp(-1.0, 1.0);
    if u > 0.0 {
        1.0 - 0.5 * (1.0 - u).powi(2)
    } else {
        0.5 * (1.0 + u).powi(2)
    }
}

/// The same of a thin ring.
pub fn edge_of_ring(u: f64) -> f64 {
    0.5 + u.clamp(-1.0, 1.0).asin() / PI
}

/// The same of a ring whose hole is `inner` of its radius: a disk less a disk.
pub fn edge_of_annulus(u: f64, inner: f64) -> f64 {
    let hole = inner * inner;
    (edge_of_disk(u) - hole * edge_of_disk(u / inner)) / (1.0 - hole)
}

/// From where an edge curve over u = -1..1 passes a tenth to where it passes nine tenths, as a
/// share of the whole penumbra.
pub fn width_10_90(curve: impl Fn(f64) -> f64) -> f64 {
    0.5 * (crossing(&curve, 0.9) - crossing(&curve, 0.1))
}

/// Where a rising curve over -1..1 passes a level.
pub fn crossing(curve: impl Fn(f64) -> f64, level: f64) -> f64 {
    root(-1.0, 1.0, |u| curve(u) - level)
}

/// Share of the illuminance of a disk of radius r at height z that reaches (x, 0, 0), facing it,
/// past a half plane at `z_edge` that blocks x < 0: exact, with no small-angle approximation.
pub fn edge_of_near_disk(x: f64, r: f64, z: f64, z_edge: f64) -> f64 {
    // The source shows from where the line of sight over the edge meets its plane.
    let shows_from = x * (1.0 - z / z_edge);
    strips_of_disk(x, r, z, shows_from) / strips_of_disk(x, r, z, -r)
}

/// Illuminance at (x, 0, 0) of a disk's part beyond `from`, by strips across it, each in closed
/// form.
fn strips_of_disk(x: f64, r: f64, z: f64, from: f64) -> f64 {
    let start = (from / r).clamp(-1.0, 1.0).asin();
    let span = PI / 2.0 - start;
    gauss_points(32)
        .map(|(share, weight)| {
            // Position r sin t, so that the strips' length r cos t stays smooth to the ends.
            let t = start + span * share;
            let y = r * t.cos();
            let a2 = z * z + (r * t.sin() - x).powi(2);
            let a = a2.sqrt();
            let strip = z * z * (y / (a2 * (a2 + y * y)) + (y / a).atan() / (a2 * a));
            weight * span * strip * r * t.cos()
        })
        .sum()
}

// --- Fall-off and feathering ---------------------------------------------------------------------

/// Stops lost from distance d1 to d2 of a point source.
pub fn inverse_square_stops(d1: f64, d2: f64) -> f64 {
    2.0 * (d2 / d1).log2()
}

/// Head over toe, in stops, of a point source at a height and horizontal distance, the meter aimed
/// at it.
pub fn head_to_toe_aimed_stops(distance: f64, height: f64, head: f64, toe: f64) -> f64 {
    2.0 * (distance.hypot(height - toe) / distance.hypot(height - head)).log2()
}

/// The same, the meter upright and turned to the light.
pub fn head_to_toe_upright_stops(distance: f64, height: f64, head: f64, toe: f64) -> f64 {
    1.5 * head_to_toe_aimed_stops(distance, height, head, toe)
}

/// A over B, in stops, of a small Lambertian source turned `axis_rad` from A towards B and beyond,
/// with A and B at their distances and an angle between.
pub fn feathered_stops(d_a: f64, d_b: f64, between_rad: f64, axis_rad: f64) -> f64 {
    let a = axis_rad.cos() / (d_a * d_a);
    let b = (axis_rad - between_rad).cos() / (d_b * d_b);
    (a / b).log2()
}

/// The axis angle at which A and B get the same: `tan α = ((dB/dA)² - cos γ)/sin γ`.
pub fn feather_for_even_rad(d_a: f64, d_b: f64, between_rad: f64) -> f64 {
    ((d_b / d_a).powi(2) - between_rad.cos()).atan2(between_rad.sin())
}

/// Corners of an upright panel w × h centred at a point, its face turned from -y by `turn_rad`
/// about the vertical so that its +x edge moves away (+y); z is up.
pub fn upright_panel(centre: Point, w: f64, h: f64, turn_rad: f64) -> [Point; 4] {
    let half_w = [0.5 * w * turn_rad.cos(), 0.5 * w * turn_rad.sin(), 0.0];
    let half_h = [0.0, 0.0, 0.5 * h];
    [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
        .map(|(s, t)| add(centre, add(scale(half_w, s), scale(half_h, t))))
}

/// A root between two ends of opposite sign, by halving.
pub fn root(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let rising = f(high) > 0.0;
    assert!(
        f(low) * f(high) <= 0.0,
        "no sign change between {low} and {high}"
    );
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if (f(middle) > 0.0) == rising {
            high = middle
        } else {
            low = middle
        }
    }
    0.5 * (low + high)
}

// --- Vectors -------------------------------------------------------------------------------------

fn add(a: Point, b: Point) -> Point {
    std::array::from_fn(|i| a[i] + b[i])
}

fn sub(a: Point, b: Point) -> Point {
    std::array::from_fn(|i| a[i] - b[i])
}

fn scale(a: Point, s: f64) -> Point {
    a.map(|v| v * s)
}

fn dot(a: Point, b: Point) -> f64 {
    (0..3).map(|i| a[i] * b[i]).sum()
}

fn cross(a: Point, b: Point) -> Point {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

fn length(a: Point) -> f64 {
    dot(a, a).sqrt()
}

fn unit(a: Point) -> Point {
    scale(a, 1.0 / length(a))
}
