//! One thing about a light changed, and nothing else.

use super::{DQuat, DVec3, Frame, Light, Place};

/// Moved along the floor and up, aimed at the same point again, feathered as before.
pub(super) fn moved(light: &Light, farther_m: f64, higher_m: f64) -> Frame {
    let (distance_m, bearing_rad, height_m) = light.place.taped();
    let place = Place::Taped {
        distance_m: distance_m + farther_m,
        bearing_rad,
        height_m: height_m + higher_m,
    };
    let from = light.frame.origin_m;
    let to = place.point_m();
    let before = (light.aim_point_m - from).normalize_or(light.frame.z);
    let after = (light.aim_point_m - to).normalize_or(before);
    let direction = DQuat::from_rotation_arc(before, after) * light.frame.z;
    Frame::facing(to, direction.normalize(), light.roll_rad)
}

/// Aimed higher by an angle.
pub(super) fn tilted(light: &Light, up_rad: f64) -> Frame {
    let f = light.frame;
    let level = DVec3::Y.cross(f.z);
    let axis = level.try_normalize().unwrap_or(f.x);
    // A turn about the level axis by a negative angle raises the direction.
    Frame::facing(
        f.origin_m,
        DQuat::from_axis_angle(axis, -up_rad) * f.z,
        light.roll_rad,
    )
}

/// Aimed to a side by an angle, as seen from above anticlockwise.
pub(super) fn turned(light: &Light, by_rad: f64) -> Frame {
    let f = light.frame;
    let direction = DQuat::from_axis_angle(DVec3::Y, by_rad) * f.z;
    Frame::facing(f.origin_m, direction, light.roll_rad)
}

/// Where a turn goes, in the words of `feather`.
pub(super) fn turned_toward(light: &Light, by_rad: f64) -> &'static str {
    let change = turned(light, by_rad).z - light.frame.z;
    match (
        change.x.abs() >= change.z.abs(),
        change.x > 0.0,
        change.z > 0.0,
    ) {
        (true, true, _) => "right",
        (true, false, _) => "left",
        (false, _, true) => "toward camera",
        (false, _, false) => "toward background",
    }
}
