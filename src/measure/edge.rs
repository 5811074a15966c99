//! The shadow edge: how softly a light ends a straight shadow.
//!
//! Defined once: the 10-90 % width, on a flat receiver at the point and facing the light, of the
//! shadow of a straight edge held 100 mm in front of it, that light alone; the least and the
//! greatest over the edge's orientation. It is read from the emission table as the point sees it, so
//! it is the same edge that a picture shows.

use crate::render::cpu::look;
use crate::scene::Scene;
use glam::DVec3;
use rayon::prelude::*;

/// Distance of the straight edge from the receiver.
pub const EDGE_DISTANCE_M: f64 = 0.1;

/// Width of a light's shadow edge at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// Least over orientation, mm.
    pub least_mm: f64,
    /// Greatest over orientation, mm.
    pub greatest_mm: f64,
}

/// Orientations tried over half a turn.
const ORIENTATIONS: usize = 36;
/// Places looked at, along each side of each emitter's square.
const SIDE: usize = 96;
/// Steps of a curve.
const COURSE: usize = 40;

/// The shadow edge of one layer's light at a point; `None` where none of it arrives.
pub fn shadow_edge(scene: &Scene, layer: u32, point_m: DVec3) -> Option<Edge> {
    edge_and_curve(scene, layer, point_m).map(|(edge, _)| edge)
}

/// As [`shadow_edge`], with the course of the softest orientation: how much of the light is there,
/// 0 to 1, at places across the edge in mm, evenly in the light.
pub fn edge_and_curve(scene: &Scene, layer: u32, point_m: DVec3) -> Option<(Edge, Vec<[f64; 2]>)> {
    let emitters: Vec<usize> = (0..scene.emitters.len())
        .filter(|&e| scene.emitters[e].layer == layer)
        .collect();
    // Face the light: along the mean direction that its light comes from.
    let mut towards = DVec3::ZERO;
    let mut seen: Vec<(DVec3, f64)> = Vec::new();
    for &e in &emitters {
        for i in 0..SIDE * SIDE {
            let square = [i % SIDE, i / SIDE].map(|k| (k as f32 + 0.5) / SIDE as f32);
            let Some(l) = look(scene, e, point_m.as_vec3(), square) else {
                continue;
            };
            let weight = f64::from(l.luminance) / f64::from(l.pdf);
            let to_light = l.direction.as_dvec3() * f64::from(l.distance_m);
            towards += l.direction.as_dvec3() * weight;
            seen.push((to_light, weight));
        }
    }
    let normal = towards.try_normalize()?;
    let x = normal.any_orthonormal_vector();
    let y = normal.cross(x);
    let oriented = |k: usize| {
        let (s, c) = (k as f64 / ORIENTATIONS as f64 * std::f64::consts::PI).sin_cos();
        let across = x * c + y * s;
        // A source point at lateral Y and normal distance d is uncovered beyond x = -Y h/(d - h).
        let mut steps: Vec<(f64, f64)> = seen
            .iter()
            .filter_map(|(to, weight)| {
                let d = to.dot(normal);
                (d > EDGE_DISTANCE_M).then(|| {
                    let at = -to.dot(across) * EDGE_DISTANCE_M / (d - EDGE_DISTANCE_M);
                    (at, weight * d / to.length())
                })
            })
            .collect();
        steps.sort_by(|a, b| a.0.total_cmp(&b.0));
        let width_mm = 1000.0 * (quantile(&steps, 0.9)? - quantile(&steps, 0.1)?);
        Some((width_mm, steps))
    };
    let all: Option<Vec<_>> = (0..ORIENTATIONS).into_par_iter().map(oriented).collect();
    let all = all?;
    let least_mm = all.iter().map(|(w, _)| *w).fold(f64::INFINITY, f64::min);
    // The first of the softest.
    let softest = all
        .iter()
        .reduce(|most, next| if next.0 > most.0 { next } else { most })?;
    let edge = Edge {
        least_mm,
        greatest_mm: softest.0,
    };
    Some((edge, course_of(&softest.1)))
}

/// Places where the light has risen by equal steps.
fn course_of(sorted: &[(f64, f64)]) -> Vec<[f64; 2]> {
    (0..=COURSE)
        .filter_map(|k| {
            let share = k as f64 / COURSE as f64;
            Some([1000.0 * quantile(sorted, share)?, share])
        })
        .collect()
}

fn quantile(sorted: &[(f64, f64)], share: f64) -> Option<f64> {
    let total: f64 = sorted.iter().map(|s| s.1).sum();
    let mut sum = 0.0;
    for (at, weight) in sorted {
        sum += weight;
        if sum >= share * total {
            return Some(*at);
        }
    }
    None
}
