//! How softly a modifier ends a shadow, and the even disk that would do the same.
//!
//! Exact but for the raster of [`View`]: what arrives is sorted by the place from which a straight
//! edge hides it, so there is no noise.

use super::view::View;
use glam::DVec3;
use std::f64::consts::PI;

/// The shadow of a straight edge at a point, on a plane that faces the light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shadow {
    /// 10-90 % width, least over the edge's orientation, mm.
    pub least_mm: f64,
    /// The greatest, mm.
    pub greatest_mm: f64,
    /// Diameter of the disk of even luminance, facing the point from as far, whose shadow is as the
    /// least, metres; `None` where no disk is large enough.
    pub least_source_m: Option<f64>,
    /// As the greatest, metres.
    pub greatest_source_m: Option<f64>,
    /// Diameter that holds 90 % of the arriving light, about its middle, metres.
    pub encircled_m: f64,
}

/// Orientations of the edge over half a turn.
const ORIENTATIONS: usize = 24;
/// Light that arrives closer together than this share of the whole is at one place: a raster's row.
const SAME_PLACE: f64 = 1e-7;

/// The shadow of a straight edge `edge_m` in front of a point; `None` where no light arrives or it
/// comes from nearer than the edge.
pub fn shadow(view: &View<'_>, point_m: DVec3, edge_m: f64) -> Option<Shadow> {
    let lights: Vec<(DVec3, f64)> = view
        .arrivals(point_m)
        .into_iter()
        .map(|light| {
            let to = light.place_m - point_m;
            (to, light.intensity_cd / to.length_squared())
        })
        .collect();
    let towards: DVec3 = lights.iter().map(|(to, e)| to.normalize() * *e).sum();
    let normal = towards.try_normalize()?;
    let (x, y) = normal.any_orthonormal_pair();

    // On the plane: by the cosine.
    let lights: Vec<(DVec3, f64)> = lights
        .into_iter()
        .filter(|(to, _)| to.dot(normal) > edge_m)
        .map(|(to, e)| (to, e * to.dot(normal) / to.length()))
        .collect();
    let total: f64 = lights.iter().map(|l| l.1).sum();
    let middle: DVec3 = lights.iter().map(|(to, e)| *to * *e).sum::<DVec3>() / total;
    let distance_m = middle.dot(normal);

    let (mut least_m, mut greatest_m) = (f64::INFINITY, 0.0_f64);
    for k in 0..ORIENTATIONS {
        let (s, c) = (k as f64 / ORIENTATIONS as f64 * PI).sin_cos();
        let across = x * c + y * s;
        // A place at lateral Y and distance d is uncovered beyond x = -Y h/(d - h).
        let at = |to: DVec3| -to.dot(across) * edge_m / (to.dot(normal) - edge_m);
        let steps = lights.iter().map(|(to, e)| (at(*to), *e)).collect();
        let [low, high] = quantiles(steps, [0.1, 0.9])?;
        least_m = least_m.min(high - low);
        greatest_m = greatest_m.max(high - low);
    }
    let off = lights.iter().map(|(to, e)| {
        let lateral = *to - middle;
        ((lateral - normal * lateral.dot(normal)).length(), *e)
    });
    let [radius_m, _] = quantiles(off.collect(), [0.9; 2])?;
    let source = |width_m: f64| disk_with_edge_m(width_m, distance_m, edge_m);
    Some(Shadow {
        least_mm: 1000.0 * least_m,
        greatest_mm: 1000.0 * greatest_m,
        least_source_m: source(least_m),
        greatest_source_m: source(greatest_m),
        encircled_m: 2.0 * radius_m,
    })
}

/// Where these shares of the weights lie. A place's weight is spread evenly to the next ones.
fn quantiles(mut steps: Vec<(f64, f64)>, shares: [f64; 2]) -> Option<[f64; 2]> {
    steps.sort_by(|a, b| a.0.total_cmp(&b.0));
    let reach = steps.last()?.0 - steps.first()?.0;
    let total: f64 = steps.iter().map(|s| s.1).sum();
    // Rows of the raster as one place each; the sum up to the middle of its weight.
    let mut sums: Vec<(f64, f64)> = Vec::new();
    let (mut sum, mut k) = (0.0, 0);
    while k < steps.len() {
        let first = steps[k].0;
        let mut weight = 0.0;
        while k < steps.len() && steps[k].0 - first <= SAME_PLACE * reach {
            weight += steps[k].1;
            k += 1;
        }
        sums.push((first, sum + 0.5 * weight));
        sum += weight;
    }
    Some(shares.map(|share| {
        let wanted = share * total;
        let after = sums.partition_point(|s| s.1 < wanted).min(sums.len() - 1);
        let (high, low) = (sums[after], sums[after.saturating_sub(1)]);
        if high.1 > low.1 {
            let part = ((wanted - low.1) / (high.1 - low.1)).clamp(0.0, 1.0);
            low.0 + (high.0 - low.0) * part
        } else {
            high.0
        }
    }))
}

/// 10-90 % width in metres of the shadow that a disk of even luminance facing the receiver makes of
/// a straight edge `edge_m` before it. A strip of the disk at lateral y gives
/// ∫ d²/(d² + x² + y²)² dx, in closed form.
pub fn disk_edge_m(diameter_m: f64, distance_m: f64, edge_m: f64) -> f64 {
    const STRIPS: usize = 400;
    let radius = 0.5 * diameter_m;
    // Even in angle about the middle, where the disk's ends are smooth. Half of it will do.
    let strips: Vec<(f64, f64)> = (0..STRIPS)
        .map(|k| {
            let (s, c) = ((k as f64 + 0.5) / STRIPS as f64 * 0.5 * PI).sin_cos();
            let (y, half) = (radius * s, radius * c);
            let a = distance_m.hypot(y);
            let across = half / (a * a * (a * a + half * half)) + (half / a).atan() / a.powi(3);
            (y, across * c)
        })
        .collect();
    // Of the half, 80 % lie within the place where 90 % of all are passed.
    let y = quantiles(strips, [0.8; 2]).map_or(0.0, |at| at[0]);
    2.0 * y * edge_m / (distance_m - edge_m)
}

/// Diameter of the disk with that edge, metres.
fn disk_with_edge_m(width_m: f64, distance_m: f64, edge_m: f64) -> Option<f64> {
    let (mut low, mut high) = (0.0, 20.0 * distance_m);
    if distance_m <= edge_m || disk_edge_m(high, distance_m, edge_m) < width_m {
        return None;
    }
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if disk_edge_m(middle, distance_m, edge_m) < width_m {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}
