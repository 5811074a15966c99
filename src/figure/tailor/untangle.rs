//! Folds that came to lie inside out are smoothed away, to fall anew.

use super::sew::Sewn;
use crate::figure::sdf::Field;
use glam::DVec3;
use rayon::prelude::*;

/// Cloth turned this far towards the body (cosine) lies inside out where nothing lies over it.
const TURNED: f64 = -0.25;
/// A fold that is right side out has its turned flank covered within this, in centimetres.
const COVERED_CM: f64 = 5.0;
/// Rows around the place that are smoothed with it, and how often.
const ROWS: usize = 5;
const ROUNDS: usize = 40;

/// Smooths `places` where cloth lies inside out around `body`; tells whether there was any.
pub fn smoothed(sewn: &Sewn, places: &mut [DVec3], body: &dyn Field, pinned: &[u32]) -> bool {
    let triangles: Vec<[u32; 3]> = (sewn.panels.iter().zip(&sewn.particles))
        .flat_map(|(panel, particles)| {
            panel
                .triangles
                .iter()
                .map(|t| t.map(|v| particles[v as usize]))
        })
        .collect();
    let corners = |t: &[u32; 3]| t.map(|v| places[v as usize]);
    let inside_out: Vec<bool> = (triangles.par_iter())
        .map(|t| {
            let [a, b, c] = corners(t);
            let normal = (b - a).cross(c - a).normalize_or_zero();
            let middle = (a + b + c) / 3.0;
            let out = body.gradient(middle, 0.3).normalize_or_zero();
            normal.dot(out) < TURNED
                && body.distance(middle) > 0.0
                && !triangles.iter().any(|u| covers(&corners(u), middle, out))
        })
        .collect();
    let mut chosen = vec![false; places.len()];
    for (t, _) in triangles
        .iter()
        .zip(&inside_out)
        .filter(|(_, wrong)| **wrong)
    {
        for &v in t {
            chosen[v as usize] = true;
        }
    }
    if !chosen.contains(&true) {
        return false;
    }
    for _ in 0..ROWS {
        let before = chosen.clone();
        for t in triangles
            .iter()
            .filter(|t| t.iter().any(|&v| before[v as usize]))
        {
            for &v in t {
                chosen[v as usize] = true;
            }
        }
    }
    for &v in pinned {
        chosen[v as usize] = false;
    }
    let mut sums = vec![(DVec3::ZERO, 0.0); places.len()];
    for _ in 0..ROUNDS {
        sums.fill((DVec3::ZERO, 0.0));
        for t in &triangles {
            for k in 0..3 {
                let (a, b) = (t[k] as usize, t[(k + 1) % 3] as usize);
                sums[a].0 += places[b];
                sums[a].1 += 1.0;
            }
        }
        for (v, (sum, n)) in sums.iter().enumerate() {
            if chosen[v] && *n > 0.0 {
                places[v] = *sum / *n;
            }
        }
    }
    true
}

/// Whether a triangle is met from `from` along the unit `along` (Möller and Trumbore 1997), from either side.
fn covers(t: &[DVec3; 3], from: DVec3, along: DVec3) -> bool {
    if t[0].distance_squared(from) > (COVERED_CM + 4.0) * (COVERED_CM + 4.0) {
        return false;
    }
    let (e, f) = (t[1] - t[0], t[2] - t[0]);
    let h = along.cross(f);
    let det = e.dot(h);
    if det.abs() < 1e-9 {
        return false;
    }
    let s = from - t[0];
    let u = s.dot(h) / det;
    let q = s.cross(e);
    let v = along.dot(q) / det;
    let d = f.dot(q) / det;
    u >= 0.0 && v >= 0.0 && u + v <= 1.0 && d > 0.05 && d < COVERED_CM
}
