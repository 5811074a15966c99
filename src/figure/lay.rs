//! Where the pieces of a garment lie around the body before sewing and falling.

use super::body::Body;
use super::sdf::{Field, step};
use glam::{DVec2, DVec3, dvec2, dvec3};

/// Above the armpit: straight ahead of (or behind) the rib cage until the body is met.
pub fn upper_place(body: &Body, panel: usize, u: f64, y: f64) -> DVec3 {
    let out = if panel == 0 { 1.0 } else { -1.0 };
    let base = body.on_thorax(dvec3(0.0, 130.0, 0.0));
    let front = (body.on_thorax(dvec3(0.0, 130.0, 1.0)) - base).normalize() * out;
    let across = (body.on_thorax(dvec3(1.0, 130.0, 0.0)) - base).normalize() * out;
    let up = front.cross(across).normalize() * out;
    let up = if up.y < 0.0 { -up } else { up };
    let centre = base + up * (y - base.y) + across * (u * 0.96) - front * out * 2.0;
    let mut ahead = 24.0;
    while ahead > 0.0 {
        let d = body.distance(centre + front * ahead) - 0.7;
        if d < 0.01 {
            break;
        }
        ahead -= (0.8 * d).max(0.01);
    }
    centre + front * ahead.max(0.2)
}

/// Closed rings of cloth around trunk and legs, one for each height.
pub struct Rings {
    low: f64,
    pitch: f64,
    /// Points at even shares of each ring's length, from the front centre to the
    /// camera's right and round the back.
    rings: Vec<Vec<DVec3>>,
}

const RING: usize = 360;

impl Rings {
    /// `length_at` gives the cloth's girth at a height over the hem.
    pub fn new(body: &Body, length_at: &dyn Fn(f64) -> f64, seed: u32, hem: f64, top: f64) -> Self {
        let count = 64;
        let pitch = (top - hem) / (count - 1) as f64;
        let rings = (0..count)
            .map(|r| {
                let y = hem + pitch * r as f64;
                let length = length_at(y - hem);
                ring(body, y, length, (y - hem) / (top - hem), seed)
            })
            .collect();
        Self {
            low: hem,
            pitch,
            rings,
        }
    }

    /// The place at a height and a share of the ring's length.
    pub fn place(&self, y: f64, share: f64) -> DVec3 {
        let last = self.rings.len() - 1;
        let r = ((y - self.low) / self.pitch).clamp(0.0, last as f64 - 1e-6);
        let k = share.rem_euclid(1.0) * RING as f64;
        let (r0, k0) = (r as usize, k as usize % RING);
        let read = |r: usize| self.rings[r][k0].lerp(self.rings[r][(k0 + 1) % RING], k.fract());
        let mut p = read(r0).lerp(read((r0 + 1).min(last)), r.fract());
        p.y = y;
        p
    }
}

/// A ring of the given length around the body at height `y`: the convex outline,
/// let out evenly above the hip and in flutes below it.
fn ring(body: &Body, y: f64, length: f64, up: f64, seed: u32) -> Vec<DVec3> {
    let j = body.joints();
    let hips = 0.5 * (j.hip[0] + j.hip[1]);
    let chest = body.on_thorax(dvec3(0.0, 128.0, 0.0));
    let centre = hips.lerp(chest, ((y - hips.y) / (chest.y - hips.y)).clamp(0.0, 1.0));
    let ray = |k: usize| {
        let turn = std::f64::consts::TAU * k as f64 / RING as f64;
        dvec2(turn.sin(), turn.cos())
    };
    let outline: Vec<DVec2> = (0..RING)
        .map(|k| {
            let mut r = 40.0;
            while r > 0.5 {
                let p = dvec3(centre.x + ray(k).x * r, y, centre.z + ray(k).y * r);
                let d = body.trunk_and_legs(p);
                if d < 0.01 {
                    break;
                }
                r -= (0.7 * d).max(0.01);
            }
            ray(k) * r
        })
        .collect();
    let hull = convex(&outline);
    let radius: Vec<f64> = (0..RING).map(|k| along_ray(&hull, ray(k))).collect();
    // Flutes: an uneven row of them, gone by the hip.
    let phase = f64::from(seed);
    let flute: Vec<f64> = (0..RING)
        .map(|k| {
            let a = std::f64::consts::TAU * k as f64 / RING as f64;
            let b = 8.0 * a
                + 0.55 * (2.0 * a + 1.0 + phase).sin()
                + 0.4 * (3.0 * a + 2.2 * phase).sin();
            (0.5 + 0.5 * b.cos()) * (0.75 + 0.25 * (5.0 * a + 0.7 + phase).sin())
        })
        .collect();
    let share = 1.0 - step(0.18, 0.62, up);
    let points = |ease: f64, depth: f64| -> Vec<DVec2> {
        (0..RING)
            .map(|k| ray(k) * (radius[k] + ease + depth * flute[k]))
            .collect()
    };
    let perimeter = |q: &[DVec2]| -> f64 {
        (0..q.len())
            .map(|k| q[k].distance(q[(k + 1) % q.len()]))
            .sum()
    };
    let bisect = |f: &dyn Fn(f64) -> f64, goal: f64| {
        let (mut lo, mut hi) = (0.0, 30.0);
        for _ in 0..40 {
            let mid = 0.5 * (lo + hi);
            if f(mid) < goal {
                lo = mid;
            } else {
                hi = mid;
            }
        }
        0.5 * (lo + hi)
    };
    let snug = perimeter(&points(0.6, 0.0));
    let even = bisect(
        &|e| perimeter(&points(0.6 + e, 0.0)),
        snug + (length - snug) * (1.0 - 0.6 * share),
    );
    let depth = bisect(&|d| perimeter(&points(0.6 + even, d)), length);
    let q = points(0.6 + even, depth);
    // Even shares of the length, from the front centre.
    let mut along = vec![0.0];
    for k in 0..RING {
        along.push(along[k] + q[k].distance(q[(k + 1) % RING]));
    }
    (0..RING)
        .map(|s| {
            let goal = along[RING] * s as f64 / RING as f64;
            let k = along.partition_point(|&a| a <= goal).clamp(1, RING) - 1;
            let t = (goal - along[k]) / (along[k + 1] - along[k]).max(1e-9);
            let p = q[k].lerp(q[(k + 1) % RING], t);
            dvec3(centre.x + p.x, y, centre.z + p.y)
        })
        .collect()
}

/// Convex hull, counter-clockwise (Andrew 1979).
fn convex(points: &[DVec2]) -> Vec<DVec2> {
    let mut p = points.to_vec();
    p.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    let half = |points: &mut dyn Iterator<Item = DVec2>| {
        let mut h: Vec<DVec2> = Vec::new();
        for q in points {
            while h.len() >= 2
                && (h[h.len() - 1] - h[h.len() - 2]).perp_dot(q - h[h.len() - 1]) <= 0.0
            {
                h.pop();
            }
            h.push(q);
        }
        h.pop();
        h
    };
    let mut hull = half(&mut p.iter().copied());
    hull.extend(half(&mut p.iter().rev().copied()));
    hull
}

/// How far along `ray` from the origin the hull's edge is.
fn along_ray(hull: &[DVec2], ray: DVec2) -> f64 {
    let mut best: f64 = 0.0;
    for k in 0..hull.len() {
        let (a, b) = (hull[k], hull[(k + 1) % hull.len()]);
        let den = ray.perp_dot(b - a);
        if den.abs() < 1e-12 {
            continue;
        }
        let t = a.perp_dot(b - a) / den;
        let u = a.perp_dot(ray) / den;
        if t > 0.0 && (-1e-9..=1.0 + 1e-9).contains(&u) {
            best = best.max(t);
        }
    }
    best
}
