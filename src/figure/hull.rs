//! Convex outlines in the plane: what a taut tape or cloth spans.

use glam::DVec2;

/// Convex hull, counter-clockwise (Andrew 1979).
pub fn convex(points: &[DVec2]) -> Vec<DVec2> {
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
pub fn along_ray(hull: &[DVec2], ray: DVec2) -> f64 {
    let mut best: f64 = 0.0;
    for (k, &a) in hull.iter().enumerate() {
        let b = hull[(k + 1) % hull.len()];
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
