//! The kinds with a lens or a dome: `lens-spot`, `fresnel` and `bare-lamp`.

use super::fits::{At, SLACK_M, USUAL_HOUSING, USUAL_LAMP, lamp_of};
use super::model::{BareLamp, Cylinder, Fresnel, LensSpot, ModifierKind, Travel};
use super::quantity::{BOWL_DEPTH, CONE, FOCAL_LENGTH, SIDE, SLOPE, metres};
use super::read_bowl::Traced;
use super::read_lamp::{read_housing, read_lamp};
use super::read_scale::{LEAST_TRAVEL_M, read_travel};
use super::reader::{Log, Table};
use super::values::{number_in, quantity};

/// A lens-spot wants a small lamp.
const SMALL_LAMP: Cylinder = Cylinder {
    diameter_m: 0.02,
    length_m: 0.03,
};
/// Frosted glass, or a thin lens: from memory.
const USUAL_TRANSMISSION: f64 = 0.9;
/// Of a stepped lens, from memory.
const USUAL_HAZE_RAD: f64 = 1.5 * std::f64::consts::PI / 180.0;
const USUAL_SHARP_AT_M: f64 = 3.0;
/// A fresnel's flood end, in focal lengths.
const FLOOD_SHARE: f64 = 0.4;

/// `lens-spot`.
pub(super) fn read_lens_spot(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let diameter_m = at.need("diameter", quantity(&SIDE));
    let gate_m = at.need("gate", quantity(&SIDE));
    let own_f_m = t.read(log, "focal_length", quantity(&FOCAL_LENGTH));
    let own_beam_rad = t.read(log, "beam", quantity(&CONE));
    let sharp_at_m = at.read("sharp_at", USUAL_SHARP_AT_M, quantity(&SIDE));
    let focus = at.read("focus", 0.0, number_in(0.0, 1.0));
    let transmission = at.read("transmission", USUAL_TRANSMISSION, number_in(0.01, 1.0));
    let own_depth_m = t.read(log, "depth", quantity(&BOWL_DEPTH));
    let lit = read_lamp(log, t, SMALL_LAMP);
    match (t.has("focal_length"), t.has("beam")) {
        (true, true) => at.refuse(
            "beam",
            "`focal_length` and `beam` both say how wide it shines".to_owned(),
            "keep one of them".to_owned(),
        ),
        (false, false) => t.missing(
            log,
            &["focal_length", "beam"],
            "`focal_length`",
            "add focal_length = \"15 cm\", or beam = \"20 deg\", the full angle of the sharp beam",
        ),
        _ => {}
    }
    let (diameter_m, gate_m, lit) = (diameter_m?, gate_m?, lit?);
    let focal_length_m = match (own_f_m, own_beam_rad) {
        (Some(f), _) => f,
        // The gate's edge is seen under half the beam from the lens, and 1/f = 1/s + 1/s'.
        (None, Some(beam)) => {
            let gate_at_m = 0.5 * gate_m / (0.5 * beam).tan();
            1.0 / (1.0 / gate_at_m + 1.0 / sharp_at_m)
        }
        (None, None) => return None,
    };
    if sharp_at_m < 1.1 * focal_length_m {
        at.refuse(
            "sharp_at",
            format!(
                "a lens of {} focal length makes no sharp edge at {}",
                metres(focal_length_m),
                metres(sharp_at_m)
            ),
            format!("write {} or more", metres(1.1 * focal_length_m)),
        );
        return None;
    }
    let spot = LensSpot {
        diameter_m,
        focal_length_m,
        gate_m,
        sharp_at_m,
        focus,
        transmission,
        lamp_m: [lit.diameter_m, lit.length_m],
    };
    let farthest_m = spot.gate_at_m(1.0);
    let depth_m = own_depth_m.unwrap_or(farthest_m + 0.1);
    if depth_m < farthest_m - SLACK_M {
        at.refuse(
            "depth",
            format!(
                "the gate goes back to {} behind the lens, but the body is only {} deep",
                metres(farthest_m),
                metres(depth_m)
            ),
            format!("write {} or more, or a shorter lens", metres(farthest_m)),
        );
    }
    Some((ModifierKind::LensSpot(spot), None, depth_m))
}

/// `fresnel`.
pub(super) fn read_fresnel(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let diameter_m = at.need("diameter", quantity(&SIDE));
    let focal_length_m = at.need("focal_length", quantity(&FOCAL_LENGTH));
    let transmission = at.read("transmission", USUAL_TRANSMISSION, number_in(0.01, 1.0));
    let haze_rad = at.read("haze", USUAL_HAZE_RAD, quantity(&SLOPE));
    let own_depth_m = t.read(log, "depth", quantity(&BOWL_DEPTH));
    let travel = read_travel(log, t);
    let lit = read_lamp(log, t, USUAL_LAMP);
    let (diameter_m, f, travel, lit) = (diameter_m?, focal_length_m?, travel?, lit?);
    let half_m = 0.5 * lit.length_m;
    let own_travel = travel.is_some();
    let travel = travel.unwrap_or(Travel {
        tight_m: f,
        wide_m: (FLOOD_SHARE * f).max(half_m + 0.005),
    });
    let farthest_m = travel.tight_m.max(travel.wide_m) + half_m;
    let depth_m = own_depth_m.unwrap_or(farthest_m + 0.05);
    if !own_travel && travel.tight_m - travel.wide_m < LEAST_TRAVEL_M {
        at.refuse(
            "focal_length",
            format!(
                "a lamp {} long has no room to travel behind a lens of {}",
                metres(lit.length_m),
                metres(f)
            ),
            "give travel = { tight = …, wide = … }, the lamp's middle from the lens".to_owned(),
        );
    }
    let key = if own_travel { "travel" } else { "depth" };
    for at_m in [travel.tight_m, travel.wide_m] {
        at.check_along(key, lit, at_m, "lens", (depth_m, "back of the body"));
    }
    at.check_lamp_fits("lamp", lit, travel.tight_m, |_| 0.5 * diameter_m);
    let fresnel = Fresnel {
        diameter_m,
        focal_length_m: f,
        transmission,
        haze_rad,
        lamp: lamp_of(lit, travel.tight_m, None),
    };
    Some((ModifierKind::Fresnel(fresnel), Some(travel), depth_m))
}

/// `bare-lamp`.
pub(super) fn read_bare_lamp(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let dome_m = at.need("diameter", quantity(&SIDE));
    let transmission = at.read("transmission", USUAL_TRANSMISSION, number_in(0.01, 1.0));
    let housing = read_housing(log, t, Some(USUAL_HOUSING))?;
    let dome_m = dome_m?;
    let Some(housing) = housing.map(|h| Cylinder {
        diameter_m: if t.has("housing") {
            h.diameter_m
        } else {
            h.diameter_m.min(0.8 * dome_m)
        },
        ..h
    }) else {
        at.refuse(
            "housing",
            "a bare lamp needs the head that its dome sits on".to_owned(),
            "write its diameter and length, or use kind = \"globe\"".to_owned(),
        );
        return None;
    };
    if housing.diameter_m > dome_m + SLACK_M {
        at.refuse(
            "housing",
            format!(
                "the head of {} is wider than the dome of {}",
                metres(housing.diameter_m),
                metres(dome_m)
            ),
            "write the diameter where the dome sits on it".to_owned(),
        );
        return None;
    }
    let lamp = BareLamp {
        dome_m,
        transmission,
        housing,
    };
    Some((
        ModifierKind::BareLamp(lamp),
        None,
        lamp.neck_m() + housing.length_m,
    ))
}
