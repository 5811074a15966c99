//! Beam and field angles.

use std::f64::consts::{FRAC_PI_2, PI};

use super::table::{Goniometry, Table};

/// Full angles in the plane of zero and the one square to it, rad: on both sides of the aim up to
/// the outermost direction with at least `share` of the peak.
pub(super) fn full_angles_rad(table: &Table, share: f64) -> [Option<f64>; 2] {
    let least = share * table.peak();
    if least <= 0.0 || !least.is_finite() {
        return [None, None];
    }
    [0.0, FRAC_PI_2].map(|phi| {
        let angles = entries_rad(table, phi);
        let sides = [phi, phi + PI].map(|side| outermost_rad(table, &angles, side, least));
        match sides {
            [None, None] => None,
            [one, other] => Some(one.unwrap_or(0.0) + other.unwrap_or(0.0)),
        }
    })
}

/// Angles from the aim, ascending, between which the intensity in a plane through it is linear.
fn entries_rad(table: &Table, phi: f64) -> Vec<f64> {
    let own = match table.goniometry() {
        Goniometry::A | Goniometry::B if phi > 0.0 => table.horizontal_deg(),
        _ => table.vertical_deg(),
    };
    let mut angles: Vec<f64> = own.iter().map(|d| d.abs().to_radians()).collect();
    angles.push(0.0);
    angles.sort_by(f64::total_cmp);
    angles.dedup();
    angles
}

/// The outermost angle in a half-plane at which the intensity is at least so much.
fn outermost_rad(table: &Table, angles: &[f64], phi: f64, least: f64) -> Option<f64> {
    let last = angles.iter().rposition(|a| table.at(*a, phi) >= least)?;
    let inside = table.at(angles[last], phi);
    let Some(next) = angles.get(last + 1) else {
        return Some(angles[last]);
    };
    let outside = table.at(*next, phi);
    // Where the table ends, it drops to nothing at once.
    let just_beyond = angles[last] + 1e-3 * (next - angles[last]);
    if table.at(just_beyond, phi) == 0.0 {
        return Some(angles[last]);
    }
    Some(angles[last] + (next - angles[last]) * (inside - least) / (inside - outside))
}
