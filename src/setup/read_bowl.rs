//! The kinds with a round shell: focusing bowls, umbrellas, dishes and bowl reflectors.

use super::fits::{At, SLACK_M, USUAL_HOUSING, USUAL_LAMP, lamp_of, usual_at_m};
use super::model::{
    Bowl, Canopy, CentrePlate, Cloth, Curve, Cylinder, Lining, ModifierKind, Travel,
};
use super::quantity::{BOWL_DEPTH, PLACE, SIDE, metres};
use super::read_lamp::{read_cup_or_lamp, read_housing, read_lamp, read_lining};
use super::read_scale::{LEAST_TRAVEL_M, read_travel};
use super::reader::{Log, Table};
use super::values::{quantity, word};

const USUAL_CONE_BACK_M: f64 = 0.1;
/// The lamp of a focusing bowl goes this many focal lengths beyond the focus: farther out a dark
/// middle forms.
const PARABOLOID_REACH: f64 = 1.1;

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Shape {
    Parabola,
    Sphere,
    Cone,
}

const SHAPES: [(&str, Shape); 3] = [
    ("parabola", Shape::Parabola),
    ("sphere", Shape::Sphere),
    ("cone", Shape::Cone),
];
/// Without the cone, which needs a back.
const CURVED: [(&str, Shape); 2] = [("parabola", Shape::Parabola), ("sphere", Shape::Sphere)];

/// A kind that was read, with its travel and the depth of its body.
pub(super) type Traced = (ModifierKind, Option<Travel>, f64);

/// `paraboloid`.
pub(super) fn read_paraboloid(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let diameter_m = at.need("diameter", quantity(&SIDE));
    let depth_m = at.need("depth", quantity(&BOWL_DEPTH));
    let sides = at.sides(None);
    let lining = read_lining(log, t, "silver");
    let lit = read_lamp(log, t, USUAL_LAMP);
    let housing = read_housing(log, t, Some(USUAL_HOUSING));
    let travel = read_travel(log, t);
    let (lit, housing, travel) = (lit?, housing?, travel?);
    let mut bowl = Bowl {
        diameter_m: diameter_m?,
        depth_m: depth_m?,
        curve: Curve::Parabola,
        sides,
        lining: lining?,
        lamp: lamp_of(lit, 0.0, housing),
    };
    let front_m = bowl.depth_m - 0.5 * lit.length_m;
    let travel = match travel {
        Some(travel) => {
            for at_m in [travel.tight_m, travel.wide_m] {
                at.check_along("travel", lit, at_m, "bottom", (bowl.depth_m, "rim"));
            }
            travel
        }
        None => {
            let f = bowl.focal_length_m();
            let wide_m = (f * (1.0 + PARABOLOID_REACH)).min(front_m);
            if f < 0.5 * lit.length_m || wide_m - f < LEAST_TRAVEL_M {
                at.refuse(
                    "depth",
                    format!(
                        "the focus is {} from the bottom, where a lamp {} long has no room in a bowl {} deep",
                        metres(f),
                        metres(lit.length_m),
                        metres(bowl.depth_m)
                    ),
                    "measure diameter and depth once more, or give travel = { tight = …, wide = … }, the \
                     lamp's middle from the bottom"
                        .to_owned(),
                );
                return None;
            }
            Travel { tight_m: f, wide_m }
        }
    };
    bowl.lamp.at_m = travel.tight_m;
    check_facing_back(&at, &bowl, "travel", travel.tight_m.min(travel.wide_m));
    Some((ModifierKind::Paraboloid(bowl), Some(travel), bowl.depth_m))
}

/// A lamp and its head that face the bottom, at the deepest that they stand.
fn check_facing_back(at: &At<'_, '_, '_>, bowl: &Bowl, key: &str, at_m: f64) {
    let lit = bowl.lamp.lit();
    at.check_lamp_fits(key, lit, at_m, |z| bowl.radius_at_m(z));
    if let Some(housing) = bowl.lamp.housing {
        let from_m = at_m + 0.5 * lit.length_m;
        at.check_across(
            "housing",
            "housing",
            |_| 0.5 * housing.diameter_m,
            |share| bowl.radius_at_m(from_m + share * housing.length_m),
        );
    }
}

/// `umbrella`.
pub(super) fn read_umbrella(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let diameter_m = at.need("diameter", quantity(&SIDE));
    let depth_m = at.need("depth", quantity(&BOWL_DEPTH));
    let shape = t.read(log, "shape", word(&CURVED)).unwrap_or(Shape::Sphere);
    let sides = at.sides(None);
    let lining = read_lining(log, t, "white");
    let lit = read_cup_or_lamp(log, t, USUAL_LAMP);
    let housing = read_housing(log, t, Some(USUAL_HOUSING));
    let place = read_place_or_travel(&at);
    let (lit, housing, (own_at_m, travel)) = (lit?, housing?, place?);
    let (diameter_m, depth_m) = (diameter_m?, depth_m?);
    if shape == Shape::Sphere {
        at.check_ball(diameter_m, depth_m);
    }
    let at_m = own_at_m.unwrap_or((0.5 * diameter_m).max(usual_at_m(lit)));
    let bowl = Bowl {
        diameter_m,
        depth_m,
        curve: match shape {
            Shape::Parabola => Curve::Parabola,
            _ => Curve::Sphere,
        },
        sides,
        lining: lining?,
        lamp: lamp_of(lit, at_m, housing),
    };
    let key = if travel.is_some() {
        "travel"
    } else {
        "lamp_at"
    };
    for end_m in ends_of(travel, at_m) {
        // On its shaft it may well stand in front of the rim.
        at.check_along(key, lit, end_m, "top", (f64::INFINITY, "rim"));
    }
    check_facing_back(&at, &bowl, key, deepest_m(travel, at_m));
    Some((ModifierKind::Umbrella(bowl), travel, depth_m))
}

/// Where a lamp stands, or both ends of its travel.
fn ends_of(travel: Option<Travel>, at_m: f64) -> Vec<f64> {
    travel.map_or(vec![at_m], |t| vec![t.tight_m, t.wide_m])
}

fn deepest_m(travel: Option<Travel>, at_m: f64) -> f64 {
    travel.map_or(at_m, |t| t.tight_m.min(t.wide_m))
}

/// `lamp_at`, or `travel` in its stead. `None` when one of them is faulty.
fn read_place_or_travel(at: &At<'_, '_, '_>) -> Option<(Option<f64>, Option<Travel>)> {
    let (log, t) = (at.log, at.t);
    let own_at_m = t.read(log, "lamp_at", quantity(&PLACE));
    let travel = read_travel(log, t)?;
    if t.has("lamp_at") && t.has("travel") {
        at.refuse(
            "travel",
            "`lamp_at` and `travel` both say where its lamp is".to_owned(),
            "keep one of them".to_owned(),
        );
        return None;
    }
    if t.has("lamp_at") && own_at_m.is_none() {
        return None;
    }
    Some((travel.map(|t| t.tight_m).or(own_at_m), travel))
}

/// `shoot-through`, whose cloth has been read.
pub(super) fn read_shoot_through(log: &Log, t: &Table<'_>, cloth: Cloth) -> Option<Traced> {
    let at = At { log, t };
    let diameter_m = at.need("diameter", quantity(&SIDE));
    let depth_m = at.need("depth", quantity(&BOWL_DEPTH));
    let sides = at.sides(None);
    let lit = read_cup_or_lamp(log, t, USUAL_LAMP);
    let housing = read_housing(log, t, Some(USUAL_HOUSING));
    let own_at_m = t.read(log, "lamp_at", quantity(&PLACE));
    let (diameter_m, depth_m) = (diameter_m?, depth_m?);
    at.check_ball(diameter_m, depth_m);
    let (lit, housing) = (lit?, housing?);
    let at_m = own_at_m.unwrap_or((0.5 * diameter_m).max(usual_at_m(lit)));
    at.check_along("lamp_at", lit, at_m, "top", (f64::INFINITY, "rim"));
    let canopy = Canopy {
        diameter_m,
        depth_m,
        sides,
        cloth,
        lamp: lamp_of(lit, at_m, housing),
    };
    let behind_m = at_m + 0.5 * lit.length_m + housing.map_or(0.0, |h| h.length_m) - depth_m;
    Some((ModifierKind::ShootThrough(canopy), None, behind_m.max(0.0)))
}

/// `bowl`, and the shell of a `dish`.
pub(super) fn read_bowl(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let diameter_m = at.need("diameter", quantity(&SIDE));
    let depth_m = at.need("depth", quantity(&BOWL_DEPTH));
    let shape = t
        .read(log, "shape", word(&SHAPES))
        .unwrap_or(Shape::Parabola);
    let back_m = at.read("back", USUAL_CONE_BACK_M, quantity(&SIDE));
    if t.has("back") && shape != Shape::Cone {
        at.refuse(
            "back",
            "only a cone has a flat back".to_owned(),
            "remove back, or write shape = \"cone\"".to_owned(),
        );
    }
    let place = read_place_or_travel(&at);
    let parts = read_parts(&at, None, "silver");
    let (own_at_m, travel) = place?;
    let bowl = front_bowl(
        &at,
        (diameter_m?, depth_m?),
        (shape, back_m),
        parts,
        own_at_m,
    )?;
    let lit = bowl.lamp.lit();
    let key = if travel.is_some() {
        "travel"
    } else {
        "lamp_at"
    };
    for end_m in ends_of(travel, bowl.lamp.at_m) {
        at.check_along(key, lit, end_m, "bottom", (bowl.depth_m, "rim"));
    }
    at.check_lamp_fits(key, lit, deepest_m(travel, bowl.lamp.at_m), |z| {
        bowl.radius_at_m(z)
    });
    Some((ModifierKind::Bowl(bowl), travel, bowl.depth_m))
}

/// What bowls whose lamp faces the front have in common. An inner `None` is a fault.
pub(super) struct Parts {
    sides: Option<u32>,
    lining: Option<Lining>,
    lit: Option<Cylinder>,
    housing: Option<Option<Cylinder>>,
}

pub(super) fn read_parts(at: &At<'_, '_, '_>, usual_sides: Option<u32>, usual: &str) -> Parts {
    let (log, t) = (at.log, at.t);
    Parts {
        sides: at.sides(usual_sides),
        lining: read_lining(log, t, usual),
        lit: read_lamp(log, t, USUAL_LAMP),
        housing: read_housing(log, t, None),
    }
}

/// A bowl whose lamp at the back faces the front.
pub(super) fn front_bowl(
    at: &At<'_, '_, '_>,
    (diameter_m, depth_m): (f64, f64),
    (shape, back_m): (Shape, f64),
    parts: Parts,
    own_at_m: Option<f64>,
) -> Option<Bowl> {
    match shape {
        Shape::Sphere => at.check_ball(diameter_m, depth_m),
        Shape::Cone if back_m > diameter_m + SLACK_M => at.refuse(
            "back",
            format!("the back is wider than the rim of {}", metres(diameter_m)),
            "write a smaller back".to_owned(),
        ),
        _ => {}
    }
    let lit = parts.lit?;
    Some(Bowl {
        diameter_m,
        depth_m,
        curve: match shape {
            Shape::Parabola => Curve::Parabola,
            Shape::Sphere => Curve::Sphere,
            Shape::Cone => Curve::Cone { back_m },
        },
        sides: parts.sides,
        lining: parts.lining?,
        lamp: lamp_of(lit, own_at_m.unwrap_or(usual_at_m(lit)), parts.housing?),
    })
}

/// `dish`.
pub(super) fn read_dish(log: &Log, t: &Table<'_>) -> Option<Traced> {
    let at = At { log, t };
    let diameter_m = at.need("diameter", quantity(&SIDE));
    let depth_m = at.need("depth", quantity(&BOWL_DEPTH));
    let shape = t
        .read(log, "shape", word(&CURVED))
        .unwrap_or(Shape::Parabola);
    let own_plate_m = t.read(log, "plate", quantity(&SIDE));
    let own_plate_at_m = t.read(log, "plate_at", quantity(&PLACE));
    let own_at_m = t.read(log, "lamp_at", quantity(&PLACE));
    let parts = read_parts(&at, None, "white");
    let bowl = front_bowl(&at, (diameter_m?, depth_m?), (shape, 0.0), parts, own_at_m)?;
    let lit = bowl.lamp.lit();
    at.check_along(
        "lamp_at",
        lit,
        bowl.lamp.at_m,
        "bottom",
        (bowl.depth_m, "rim"),
    );
    at.check_lamp_fits("lamp_at", lit, bowl.lamp.at_m, |z| bowl.radius_at_m(z));
    let lit_end_m = bowl.lamp.at_m + 0.5 * lit.length_m;
    let plate = CentrePlate {
        diameter_m: own_plate_m.unwrap_or(0.3 * bowl.diameter_m),
        at_m: own_plate_at_m.unwrap_or(0.5 * (lit_end_m + bowl.depth_m)),
    };
    if plate.diameter_m >= bowl.diameter_m {
        at.refuse(
            "plate",
            format!(
                "the plate of {} is larger than the dish of {}",
                metres(plate.diameter_m),
                metres(bowl.diameter_m)
            ),
            "write the diameter of the plate before the lamp".to_owned(),
        );
    } else if own_plate_at_m.is_some()
        && !(lit_end_m - SLACK_M..=bowl.depth_m + SLACK_M).contains(&plate.at_m)
    {
        at.refuse(
            "plate_at",
            format!(
                "the plate is {} from the bottom, but it must be between the lamp and the rim",
                metres(plate.at_m)
            ),
            format!(
                "it can be {} to {}",
                metres(lit_end_m),
                metres(bowl.depth_m)
            ),
        );
    } else if 0.5 * plate.diameter_m > bowl.radius_at_m(plate.at_m) + SLACK_M {
        at.refuse(
            if own_plate_at_m.is_some() {
                "plate_at"
            } else {
                "plate"
            },
            format!(
                "the plate of {} does not fit: there the dish is only {} wide",
                metres(plate.diameter_m),
                metres(2.0 * bowl.radius_at_m(plate.at_m))
            ),
            "write a smaller plate, or one farther from the bottom".to_owned(),
        );
    }
    Some((ModifierKind::Dish { bowl, plate }, None, bowl.depth_m))
}
