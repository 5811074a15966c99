//! How wide a modifier's beam is far away.

use crate::optics::shine::Shine;
use crate::optics::table::Face;
use crate::optics::view::View;
use crate::setup::Modifier;
use glam::DVec3;
use rayon::prelude::*;
use serde::Serialize;
use std::f64::consts::PI;

/// Directions of a beam's profile, from its axis out.
const DIRECTIONS: usize = 240;

/// A beam far away, in one plane through the axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Beam {
    /// "all" round the axis, or "across" and "up".
    pub plane: &'static str,
    /// Full angle up to which intensity is at least half of that on the axis; none where it never
    /// falls so low before the front (or anywhere, without one).
    pub beam_deg: Option<f64>,
    /// As much, a tenth.
    pub field_deg: Option<f64>,
    /// Degrees off the axis and cd per lm of the lamp.
    pub profile: Vec<[f64; 2]>,
}

/// The beam of a modifier in one plane where its light is round, else across and up.
pub fn beams(shine: &Shine, modifier: &Modifier, view: &View<'_>) -> Vec<Beam> {
    let long = |face: Face| matches!(face, Face::Rect { .. } | Face::Tube { .. });
    let planes: &[(&'static str, DVec3)] =
        if shine.placed.iter().any(|p| long(p.emission.face)) || modifier.cover.is_some() {
            &[("across", DVec3::X), ("up", DVec3::Y)]
        } else {
            &[("all", DVec3::X)]
        };
    let most = if modifier.kind.has_front() && modifier.kind.has_flat_front() {
        0.5 * PI
    } else {
        PI
    };
    planes
        .iter()
        .map(|&(plane, across)| {
            // Finer toward the axis, where beams are narrow.
            let profile: Vec<[f64; 2]> = (0..=DIRECTIONS)
                .into_par_iter()
                .map(|k| {
                    let angle = most * (k as f64 / DIRECTIONS as f64).powi(2);
                    let (s, c) = angle.sin_cos();
                    // The mean of both sides: a cover makes them differ.
                    let both = [across * s + DVec3::Z * c, DVec3::Z * c - across * s];
                    let cd = both.map(|d| view.intensity_cd(d)).iter().sum::<f64>() / 2.0;
                    [angle.to_degrees(), cd]
                })
                .collect();
            Beam {
                plane,
                beam_deg: full_angle_deg(&profile, 0.5, modifier.kind.has_front()),
                field_deg: full_angle_deg(&profile, 0.1, modifier.kind.has_front()),
                profile,
            }
        })
        .collect()
}

/// Twice the greatest angle at which intensity still is this share of that on the axis. What has a
/// front is looked at before it alone.
fn full_angle_deg(profile: &[[f64; 2]], share: f64, has_front: bool) -> Option<f64> {
    let wanted = share * profile[0][1];
    let end = profile.partition_point(|p| !has_front || p[0] <= 90.0);
    let profile = &profile[..end];
    let last = profile.iter().rposition(|p| p[1] >= wanted)?;
    let (inner, outer) = (profile[last], *profile.get(last + 1)?);
    let part = (inner[1] - wanted) / (inner[1] - outer[1]).max(f64::MIN_POSITIVE);
    Some(2.0 * (inner[0] + (outer[0] - inner[0]) * part.clamp(0.0, 1.0)))
}
