//! Beams as seen on paper, and from where their angles come.

use super::geometry::{Area, Point, hull};
use super::look::BeamAngles;
use super::map::Map;
use crate::measure::beam::beams;
use crate::optics::shine::Shine;
use crate::optics::view::View;
use crate::setup::{Frame, Light};
use glam::DVec3;
use std::f64::consts::PI;

/// Beams end so far behind what they aim at, metres.
const PAST_M: f64 = 0.4;
/// Where intensity never falls to a tenth, light goes all the way round the front.
const ALL_DEG: f64 = 180.0;

/// The angles of a light's beam, by the light that leaves its modifier; `None` for what shines all
/// round, or gives nothing along its axis.
pub fn beam_angles(light: &Light, shine: &Shine) -> Option<BeamAngles> {
    if !light.modifier.kind.has_front() {
        return None;
    }
    let view = View::new(shine, &light.modifier).coarser();
    if view.intensity_cd(DVec3::Z) <= 0.0 {
        return None;
    }
    let found = beams(shine, &light.modifier, &view);
    // One plane stands for both where the light is round.
    let (across, up) = (found.first()?, found.last()?);
    let or_all = |deg: Option<f64>| deg.unwrap_or(ALL_DEG);
    Some(BeamAngles {
        half_deg: [or_all(across.beam_deg), or_all(up.beam_deg)],
        tenth_deg: [or_all(across.field_deg), or_all(up.field_deg)],
    })
}

/// The outline of all that a beam fills within `reach_m`, cut at the drawing's edge.
pub(super) fn beam(
    map: &Map,
    frame: &Frame,
    full_deg: [f64; 2],
    reach_m: f64,
    within: &Area,
) -> Vec<Point> {
    const TURNS: usize = 48;
    const RINGS: usize = 6;
    let half = full_deg.map(|deg| (0.5 * deg).to_radians().clamp(0.0, PI));
    let mut points = vec![map.mm_of_room(frame.origin_m)];
    for ring in 0..=RINGS {
        let share = ring as f64 / RINGS as f64;
        for turn in 0..TURNS {
            let (s, c) = (turn as f64 / TURNS as f64 * 2.0 * PI).sin_cos();
            let (x, y) = (share * half[0] * c, share * half[1] * s);
            let angle = x.hypot(y);
            // Off the axis by that angle, toward there.
            let away = if angle > 0.0 {
                angle.sin() / angle
            } else {
                0.0
            };
            let p = DVec3::new(away * x, away * y, angle.cos()) * reach_m;
            points.push(map.mm_of_room(frame.point_in_room(p.x, p.y, p.z)));
        }
    }
    within.cut_outline(&hull(&points))
}

/// How far a light's beam is drawn, metres.
pub(super) fn reach_m(light: &Light) -> f64 {
    light.aim_point_m.distance(light.frame.origin_m) + PAST_M
}
