//! The lamp of a traced modifier, its head, and the finish inside.

use super::keys;
use super::model::{Cylinder, Lining};
use super::problem::Kind;
use super::quantity::{SIDE, SLOPE, metres};
use super::reader::{Fault, Log, Table, Value, clip, type_name};
use super::values::{number_in, quantity, text, word};

/// Usual finishes, from memory: aluminised cloth and spun metal .80 to .90, good white paint or
/// cloth about .85; slopes of hammered metal 5 to 8 degrees.
const SILVER: f64 = 0.85;
const WHITE: f64 = 0.85;
const BLACK: f64 = 0.04;

/// The words for what a bowl or box is inside.
pub(super) const LININGS: [(&str, Lining); 5] = [
    ("silver", silver(4.0)),
    ("hammered", silver(6.0)),
    ("polished", silver(1.0)),
    ("white", Lining::Matt { reflectance: WHITE }),
    ("black", Lining::Matt { reflectance: BLACK }),
];

const fn silver(slope_deg: f64) -> Lining {
    Lining::Silver {
        reflectance: SILVER,
        slope_rad: slope_deg * std::f64::consts::PI / 180.0,
        panels: None,
    }
}

/// Reads `lamp`: diameter and length of the lit part. `None` when it is faulty.
pub(super) fn read_lamp(log: &Log, owner: &Table<'_>, usual: Cylinder) -> Option<Cylinder> {
    let Some(value) = owner.get("lamp") else {
        return Some(usual);
    };
    let label = format!("the lamp of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::LAMP, label)?;
    let before = log.error_count();
    let diameter_m = t
        .read(log, "diameter", quantity(&SIDE))
        .unwrap_or(usual.diameter_m);
    let length_m = t
        .read(log, "length", quantity(&SIDE))
        .unwrap_or(usual.length_m.max(diameter_m));
    if log.error_count() == before && length_m < diameter_m - 1e-6 {
        t.conflict(
            log,
            "length",
            format!(
                "the lit part is {} long but {} wide: its ends are round, so it is at least as long",
                metres(length_m),
                metres(diameter_m)
            ),
            "write a longer length; the same as the diameter makes a ball",
        );
    }
    (log.error_count() == before).then_some(Cylinder {
        diameter_m,
        length_m,
    })
}

/// Reads `cup`, or `lamp` in its stead: a cup's mouth is lit as a whole and has no length.
pub(super) fn read_cup_or_lamp(log: &Log, t: &Table<'_>, usual: Cylinder) -> Option<Cylinder> {
    let lamp = read_lamp(log, t, usual);
    if !t.has("cup") {
        return lamp;
    }
    if t.has("lamp") {
        t.conflict(
            log,
            "cup",
            "`lamp` and `cup` both say what is lit",
            "keep one of them: lamp for a bare tube, cup for the mouth of the head's own reflector",
        );
        return None;
    }
    let diameter_m = t.read(log, "cup", quantity(&SIDE))?;
    Some(Cylinder {
        diameter_m,
        length_m: 0.0,
    })
}

/// Reads `housing`: "none", or diameter and length of the head. The outer `None` is a fault.
pub(super) fn read_housing(
    log: &Log,
    owner: &Table<'_>,
    usual: Option<Cylinder>,
) -> Option<Option<Cylinder>> {
    let Some(value) = owner.get("housing") else {
        return Some(usual);
    };
    let says_none = |s: &str| s.trim().eq_ignore_ascii_case("none");
    if value.get_ref().as_str().is_some_and(says_none) {
        return Some(None);
    }
    let label = format!("the housing of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::HOUSING, label)?;
    let before = log.error_count();
    let diameter_m = t.require(log, "diameter", quantity(&SIDE));
    let length_m = t.require(log, "length", quantity(&SIDE));
    if log.error_count() > before {
        return None;
    }
    Some(Some(Cylinder {
        diameter_m: diameter_m?,
        length_m: length_m?,
    }))
}

/// Reads `finish`: a word or a table. `None` when it is faulty.
pub(super) fn read_lining(log: &Log, owner: &Table<'_>, usual: &str) -> Option<Lining> {
    let Some(value) = owner.get("finish") else {
        return LININGS.iter().find(|(w, _)| *w == usual).map(|(_, l)| *l);
    };
    if !value.get_ref().is_table() {
        return owner.read(log, "finish", word(&LININGS));
    }
    let label = format!("the finish of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::FINISH, label)?;
    let before = log.error_count();
    let base = t.require(log, "surface", word(&LININGS));
    let own_reflectance = t.read(log, "reflectance", number_in(0.0, 1.0));
    let own_slope_rad = t.read(log, "slope", quantity(&SLOPE));
    let own_panels = t.read(log, "panels", panel_counts);
    let mut lining = base?;
    match &mut lining {
        Lining::Silver {
            reflectance,
            slope_rad,
            panels,
        } => {
            *reflectance = own_reflectance.unwrap_or(*reflectance);
            *slope_rad = own_slope_rad.unwrap_or(*slope_rad);
            *panels = own_panels.or(*panels);
        }
        Lining::Matt { reflectance } => {
            *reflectance = own_reflectance.unwrap_or(*reflectance);
            for key in ["slope", "panels"] {
                if t.has(key) {
                    t.conflict(
                        log,
                        key,
                        format!("a matt surface has no `{key}`"),
                        format!("remove {key}, or write surface = \"silver\""),
                    );
                }
            }
        }
    }
    (log.error_count() == before).then_some(lining)
}

/// "6 x 16": rings, and panels in each.
fn panel_counts(value: Value<'_>) -> Result<[u32; 2], Fault> {
    let hint = "write rings x panels in each, such as \"6 x 16\": 1 to 100 rings of 3 to 200";
    if value.get_ref().as_str().is_none() {
        return Err(Fault::new(
            Kind::WrongType,
            format!("must be rings x panels, not {}", type_name(value)),
            hint,
        )
        .at(value));
    }
    let written = text(value)?;
    let counts: Vec<u32> = written
        .split(['x', 'X', '×', '*'])
        .filter_map(|n| n.trim().parse().ok())
        .collect();
    match counts[..] {
        [rings @ 1..=100, each @ 3..=200] => Ok([rings, each]),
        _ => Err(Fault::new(
            Kind::OutOfRange,
            format!("\"{}\" is not rings x panels", clip(written)),
            hint,
        )
        .at(value)),
    }
}
