//! `softbox` and `octabox`.

use super::fits::{At, SLACK_M, USUAL_LAMP, lamp_of, usual_at_m};
use super::model::{BoxFront, Cylinder, ModifierKind, Softbox};
use super::quantity::{BOWL_DEPTH, PLACE, SIDE, metres, size_2d};
use super::read_bowl::{Shape, Traced, front_bowl, read_parts};
use super::read_lamp::{read_housing, read_lamp, read_lining};
use super::reader::{Log, Table};
use super::values::{quantity, written};

const USUAL_BACK_M: f64 = 0.2;

/// `softbox`.
pub(super) fn read_softbox(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let size = |what: &'static str| written(what, "60 x 90 cm", |s| size_2d(s, &SIDE));
    let size_m = t.require(log, "size", size("width x height"));
    let depth_m = at.need("depth", quantity(&BOWL_DEPTH));
    let own_back_m = t.read(log, "back", size("width x height"));
    let lining = read_lining(log, t, "silver");
    let lit = read_lamp(log, t, USUAL_LAMP);
    let housing = read_housing(log, t, None);
    let lamp_at_m = t.read(log, "lamp_at", quantity(&PLACE));
    let places = read_places(&at);
    let (size_m, depth_m, lit) = (size_m?, depth_m?, lit?);
    let back_m = own_back_m.unwrap_or(size_m.map(|s| s.min(USUAL_BACK_M)));
    if (0..2).any(|i| back_m[i] > size_m[i] + SLACK_M) {
        at.refuse(
            "back",
            format!(
                "the back of {} x {} is larger than the face",
                metres(back_m[0]),
                metres(back_m[1])
            ),
            "write width x height of the flat back, or leave it out".to_owned(),
        );
    }
    let at_m = lamp_at_m.unwrap_or(usual_at_m(lit));
    let front = box_front(&at, depth_m, (at_m, lit), places)?;
    let walls = |z: f64| {
        let share = (z / depth_m).min(1.0);
        let half = [0, 1].map(|i| 0.5 * (back_m[i] + (size_m[i] - back_m[i]) * share));
        half[0].min(half[1])
    };
    at.check_lamp_fits("lamp_at", lit, at_m, walls);
    let softbox = Softbox {
        size_m,
        depth_m,
        back_m,
        lining: lining?,
        front,
        lamp: lamp_of(lit, at_m, housing?),
    };
    Some((ModifierKind::Softbox(softbox), None, depth_m))
}

/// `octabox`.
pub(super) fn read_octabox(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let diameter_m = at.need("diameter", quantity(&SIDE));
    let depth_m = at.need("depth", quantity(&BOWL_DEPTH));
    let own_back_m = t.read(log, "back", quantity(&SIDE));
    let lamp_at_m = t.read(log, "lamp_at", quantity(&PLACE));
    let parts = read_parts(&at, Some(8), "silver");
    let places = read_places(&at);
    let (diameter_m, depth_m) = (diameter_m?, depth_m?);
    let back_m = own_back_m.unwrap_or(USUAL_BACK_M.min(diameter_m));
    let bowl = front_bowl(
        &at,
        (diameter_m, depth_m),
        (Shape::Cone, back_m),
        parts,
        lamp_at_m,
    )?;
    let lit = bowl.lamp.lit();
    let front = box_front(&at, depth_m, (bowl.lamp.at_m, lit), places)?;
    at.check_lamp_fits("lamp_at", lit, bowl.lamp.at_m, |z| bowl.radius_at_m(z));
    Some((ModifierKind::Octabox { bowl, front }, None, depth_m))
}

/// `recess`, and `baffle_at` if it is there.
fn read_places(at: &At<'_, '_, '_>) -> (f64, Option<f64>) {
    (
        at.read("recess", 0.0, quantity(&PLACE)),
        at.t.read(at.log, "baffle_at", quantity(&PLACE)),
    )
}

/// Whether lamp, baffle and front keep their order.
fn box_front(
    at: &At<'_, '_, '_>,
    depth_m: f64,
    (lamp_at_m, lit): (f64, Cylinder),
    (recess_m, own_baffle_m): (f64, Option<f64>),
) -> Option<BoxFront> {
    let before = at.log.error_count();
    let front_m = depth_m - recess_m;
    if front_m <= 0.0 {
        at.refuse(
            "recess",
            format!("the lip is deeper than the box of {}", metres(depth_m)),
            "write how far the front cloth lies behind the edge".to_owned(),
        );
        return None;
    }
    at.check_along("lamp_at", lit, lamp_at_m, "back", (front_m, "front"));
    let lit_end_m = lamp_at_m + 0.5 * lit.length_m;
    let baffle_at_m =
        own_baffle_m.unwrap_or(0.5 * (depth_m - lit_end_m + recess_m).max(2.0 * recess_m));
    if at.log.error_count() > before {
        return None;
    }
    let last_m = depth_m - lit_end_m;
    if own_baffle_m.is_some() && !(recess_m - SLACK_M..=last_m + SLACK_M).contains(&baffle_at_m) {
        let (message, hint) = if baffle_at_m < recess_m {
            ("the baffle is in front of the front cloth", "behind")
        } else if baffle_at_m > depth_m {
            ("the baffle is behind the back of the box", "in front of")
        } else {
            ("the lamp goes through the baffle", "in front of")
        };
        at.refuse(
            "baffle_at",
            message.to_owned(),
            format!(
                "put it {} to {} behind the front edge, {hint} {}",
                metres(recess_m),
                metres(last_m),
                if hint == "behind" {
                    "the cloth"
                } else {
                    "the lamp"
                }
            ),
        );
    }
    Some(BoxFront {
        recess_m,
        baffle_at_m,
    })
}
