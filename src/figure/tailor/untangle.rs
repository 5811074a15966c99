//! Folds that came to lie inside out are smoothed away, to fall anew.

use super::cover::Cover;
use super::sew::Sewn;
use crate::figure::sdf::Field;
use glam::DVec3;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Cloth turned this far towards the body (cosine) lies inside out where nothing lies over it.
const TURNED: f64 = -0.25;
/// A fold that is right side out has its turned flank covered within this, in centimetres.
const COVERED_CM: f32 = 5.0;
/// Rows around the place that are smoothed with it, and how often.
const ROWS: usize = 5;
const ROUNDS: usize = 40;

/// Smooths `places` where cloth lies inside out around `body`; tells whether there was any.
pub fn smoothed(sewn: &Sewn, places: &mut [DVec3], body: &dyn Field, pinned: &[u32]) -> bool {
    let triangles: Vec<[u32; 3]> = (sewn.panels.iter().zip(&sewn.particles))
        .flat_map(|(panel, particles)| {
            let of_particles = |t: &[u32; 3]| t.map(|v| particles[v as usize]);
            panel.triangles.iter().map(of_particles)
        })
        .collect();
    let wrong = inside_out(&triangles, places, body);
    if wrong.is_empty() {
        return false;
    }
    smooth(&triangles, places, &wrong, pinned);
    true
}

/// The triangles that lie inside out around `body` with nothing over them.
fn inside_out(triangles: &[[u32; 3]], places: &[DVec3], body: &dyn Field) -> Vec<usize> {
    let corners = |t: &[u32; 3]| t.map(|v| places[v as usize]);
    let cover = Cover::new(triangles.iter().map(|t| corners(t).map(|p| p.as_vec3())));
    (triangles.par_iter().enumerate())
        .filter(|(_, t)| {
            let [a, b, c] = corners(t);
            let normal = (b - a).cross(c - a).normalize_or_zero();
            let middle = (a + b + c) / 3.0;
            let out = body.gradient(middle, 0.3).normalize_or_zero();
            normal.dot(out) < TURNED
                && body.distance(middle) > 0.0
                && (cover.first(middle.as_vec3(), out.as_vec3(), COVERED_CM)).is_none()
        })
        .map(|(k, _)| k)
        .collect()
}

/// Draws the particles of those triangles, and of some rows around them, to the middle of their neighbours, over and over
/// (Laplacian smoothing).
fn smooth(triangles: &[[u32; 3]], places: &mut [DVec3], wrong: &[usize], pinned: &[u32]) {
    let mut chosen = vec![false; places.len()];
    for &k in wrong {
        for v in triangles[k] {
            chosen[v as usize] = true;
        }
    }
    for _ in 0..ROWS {
        let before = chosen.clone();
        for t in triangles {
            if t.iter().any(|&v| before[v as usize]) {
                for &v in t {
                    chosen[v as usize] = true;
                }
            }
        }
    }
    for &v in pinned {
        chosen[v as usize] = false;
    }
    // Each inner edge goes once either way. What lies on a free edge is drawn along that edge only: drawn into the cloth
    // a hem crept up and fell in ruffles.
    let mut edges: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    for t in triangles {
        for k in 0..3 {
            let (a, b) = (t[k], t[(k + 1) % 3]);
            *edges.entry((a.min(b), a.max(b))).or_default() += 1;
        }
    }
    let mut free = vec![false; places.len()];
    for (&(a, b), _) in edges.iter().filter(|&(_, &n)| n == 1) {
        free[a as usize] = true;
        free[b as usize] = true;
    }
    let mut sums = vec![(DVec3::ZERO, 0.0); places.len()];
    for _ in 0..ROUNDS {
        sums.fill((DVec3::ZERO, 0.0));
        for (&(a, b), &n) in &edges {
            for (a, b) in [(a as usize, b as usize), (b as usize, a as usize)] {
                if n == 1 || !free[a] {
                    sums[a].0 += places[b];
                    sums[a].1 += 1.0;
                }
            }
        }
        for (v, (sum, n)) in sums.iter().enumerate() {
            if chosen[v] && *n > 0.0 {
                places[v] = *sum / *n;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A post of 6 cm radius.
    struct Post;

    impl Field for Post {
        fn distance(&self, p: DVec3) -> f64 {
            p.x.hypot(p.z) - 6.0
        }
    }

    /// A sleeve round the post: `fold` says for each share of the cloth how far round it lies, and how far off.
    fn sleeve(fold: &dyn Fn(f64) -> (f64, f64)) -> (Vec<[u32; 3]>, Vec<DVec3>) {
        const AROUND: u32 = 96;
        const UP: u32 = 12;
        let mut places = Vec::new();
        let mut triangles = Vec::new();
        for j in 0..=UP {
            for i in 0..AROUND {
                let (turn, off) = fold(f64::from(i) / f64::from(AROUND));
                let (s, c) = (std::f64::consts::TAU * turn).sin_cos();
                places.push(DVec3::new(s, 0.0, c) * (6.0 + off) + DVec3::Y * f64::from(j));
            }
        }
        for j in 0..UP {
            for i in 0..AROUND {
                let (a, b) = (j * AROUND + i, j * AROUND + (i + 1) % AROUND);
                triangles.extend([[a, b, b + AROUND], [a, b + AROUND, a + AROUND]]);
            }
        }
        (triangles, places)
    }

    /// Cloth that turns back for `wide` of the way round, and on again, each layer so far off.
    fn pleat(wide: f64, offs_cm: [f64; 3]) -> impl Fn(f64) -> (f64, f64) {
        let (first, last) = (0.25 + 0.5 * wide, 0.25 - 0.5 * wide);
        move |share| {
            if share < 0.25 {
                (share * first / 0.25, offs_cm[0])
            } else if share < 0.25 + wide {
                (first - (share - 0.25), offs_cm[1])
            } else {
                let on = (share - 0.25 - wide) / (0.75 - wide);
                (last + on * (1.0 - last), offs_cm[2])
            }
        }
    }

    /// Drawn into the cloth a hem crept up by centimetres, and fell in ruffles.
    #[test]
    fn a_smoothed_hem_stays_where_it_is() {
        let (triangles, mut places) = sleeve(&|share| (share, 0.5));
        let wrong: Vec<usize> = (0..40).collect();
        smooth(&triangles, &mut places, &wrong, &[]);
        for p in &places[..96] {
            assert!(p.y.abs() < 1e-9, "{p}");
        }
    }

    #[test]
    fn plain_cloth_and_a_covered_fold_are_left() {
        let (triangles, places) = sleeve(&|share| (share, 0.5));
        assert_eq!(inside_out(&triangles, &places, &Post).len(), 0);
        // The flank that is turned lies between the others, whichever of them is above.
        for offs_cm in [[0.4, 0.9, 1.4], [1.4, 0.9, 0.4]] {
            let (triangles, places) = sleeve(&pleat(0.1, offs_cm));
            let found = inside_out(&triangles, &places, &Post).len();
            // But for the turns themselves.
            assert!(found <= 48, "{found} with {offs_cm:?}");
        }
    }

    #[test]
    fn a_fold_inside_out_is_found_and_smoothed() {
        // Its turned flank lies over both others.
        let (triangles, mut places) = sleeve(&pleat(0.04, [0.4, 1.6, 0.9]));
        let wrong = inside_out(&triangles, &places, &Post);
        assert!(wrong.len() > 70, "{}", wrong.len());
        let before = places.clone();
        smooth(&triangles, &mut places, &wrong, &[]);
        let left = inside_out(&triangles, &places, &Post).len();
        assert!(left * 5 < wrong.len(), "{left} of {}", wrong.len());
        // Far from it nothing has moved.
        let far = (before.iter().zip(&places)).filter(|(p, _)| p.x < -3.0);
        assert!(far.map(|(p, q)| p.distance(*q)).fold(0.0, f64::max) < 1e-12);
    }
}
