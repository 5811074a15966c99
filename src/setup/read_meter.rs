//! `[meter]` and the points it reads.

use glam::DVec3;

use crate::photometry::MeterConstants;
use crate::photometry::exposure::Receptor;

use super::keys;
use super::model::{Facing, Meter, MeterPoint, PointSpec};
use super::place::{Facts, Points, read_facing};
use super::problem::{Kind, Severity};
use super::quantity::tidy;
use super::reader::{Fault, Log, Place, Table, Taken, Value, clip, type_name};
use super::values::{items, name, number_in, word};

/// More would flood every table.
const MOST_POINTS: usize = 60;

pub(super) const RECEPTORS: [(&str, Receptor); 2] =
    [("flat", Receptor::Flat), ("dome", Receptor::Dome)];

/// A meter point as written; its direction needs camera, lights and swatch.
#[derive(Clone)]
pub(super) struct MeterPointDraft<'t> {
    place: Place<'t>,
    /// Where it stands in the file, for messages: "`expose_at` of the meter".
    label: String,
    name: Option<String>,
    /// `None` for a bare name, which may also be that of a listed point.
    at: Option<(PointSpec, DVec3)>,
    bare: String,
    facing: Option<Facing>,
    receptor: Option<Receptor>,
}

/// The meter before directions are known.
pub(super) struct MeterDraft<'t> {
    constants: MeterConstants,
    receptor: Receptor,
    expose_at: Option<MeterPointDraft<'t>>,
    points: Vec<MeterPointDraft<'t>>,
    place: Place<'t>,
}

/// What the meter's points are worked out against.
pub(super) struct MeterFacts<'s> {
    pub points: &'s Points,
    pub facts: Facts<'s>,
    /// How the swatch faces, if there is one.
    pub swatch_facing: Option<Facing>,
    pub listed: Vec<MeterPoint>,
    pub receptor: Receptor,
}

/// Reads one point: a name, `[x, y, z]`, or a table.
pub(super) fn read_point<'t>(
    log: &Log,
    owner: &Table<'t>,
    key: &str,
    value: Value<'t>,
    points: &Points,
) -> Option<MeterPointDraft<'t>> {
    let label = format!("`{key}` of {}", owner.label);
    let mut draft = MeterPointDraft {
        place: Place {
            file: owner.file,
            span: value.span(),
        },
        label: label.clone(),
        name: None,
        at: None,
        bare: String::new(),
        facing: None,
        receptor: None,
    };
    if let Some(bare) = value.get_ref().as_str() {
        draft.bare = bare.to_owned();
        return Some(draft);
    }
    if value.get_ref().is_array() {
        return match points.read(value) {
            Ok(at) => Some(MeterPointDraft {
                at: Some(at),
                ..draft
            }),
            Err(fault) => {
                owner.fault(log, key, value, fault);
                None
            }
        };
    }
    if !value.get_ref().is_table() {
        let fault = Fault::new(
            Kind::WrongType,
            format!("must be a point, not {}", type_name(value)),
            "write \"chest\", [0, 1.3, 0.1] or { at = \"chest\", receptor = \"dome\" }",
        );
        owner.fault(log, key, value, fault);
        return None;
    }
    let t = Table::open(log, owner.file, value, &keys::METER_POINT, label)?;
    draft.name = t.read(log, "name", name);
    draft.facing = t.read(log, "facing", read_facing);
    draft.receptor = t.read(log, "receptor", word(&RECEPTORS));
    draft.at = Some(t.require(log, "at", |v| points.read(v))?);
    Some(draft)
}

/// Settles a point: its position, direction and receptor.
pub(super) fn settle(
    log: &Log,
    draft: &MeterPointDraft<'_>,
    m: &MeterFacts<'_>,
) -> Option<MeterPoint> {
    let say = |fault: Fault| {
        log.error(
            fault.kind,
            &draft.place,
            format!("{}: {}", draft.label, fault.message),
            fault.hint,
        );
    };
    let (at, position_m) = match &draft.at {
        Some(at) => at.clone(),
        None => {
            if let Some(listed) = m.listed.iter().find(|p| p.name == draft.bare) {
                return Some(listed.clone());
            }
            match m.points.find(&draft.bare) {
                Ok(p) => (PointSpec::Named(draft.bare.clone()), p),
                Err(fault) => {
                    say(fault);
                    return None;
                }
            }
        }
    };
    if position_m.y < -1e-9 {
        say(Fault::new(
            Kind::Collision,
            "is below the floor",
            "give it a height of 0 or more",
        ));
        return None;
    }
    let usual = match &at {
        PointSpec::Named(n) if n == "swatch" => m.swatch_facing.clone(),
        PointSpec::Named(n) if n == "floor" => Some(Facing::Up),
        _ => None,
    };
    let facing = draft.facing.clone().or(usual).unwrap_or(Facing::Camera);
    let direction = match m.facts.direction(&facing, position_m) {
        Ok(d) => d,
        Err(fault) => {
            say(fault);
            return None;
        }
    };
    let shown = match &at {
        PointSpec::Named(n) => n.clone(),
        PointSpec::At(p) => format!("at {}, {}, {}", tidy(p.x), tidy(p.y), tidy(p.z)),
    };
    Some(MeterPoint {
        name: draft.name.clone().unwrap_or(shown),
        position_m,
        direction,
        receptor: draft.receptor.unwrap_or(m.receptor),
        facing,
        at,
    })
}

/// Reads `[meter]`; without one, the usual constants and points.
pub(super) fn read_meter<'t>(
    log: &Log,
    file: &'t str,
    value: Option<Value<'t>>,
    points: &Points,
) -> Option<MeterDraft<'t>> {
    let Some(value) = value else {
        return Some(MeterDraft {
            constants: MeterConstants::default(),
            receptor: Receptor::Flat,
            expose_at: None,
            points: Vec::new(),
            place: Place { file, span: 0..0 },
        });
    };
    let t = Table::open(log, file, value, &keys::METER, "the meter")?;
    let usual = MeterConstants::default();
    // Half the low end to twice the high end of ISO 2720's ranges; beyond, it is a slip.
    let constants = MeterConstants {
        flat: t
            .read(log, "flat", number_in(120.0, 800.0))
            .unwrap_or(usual.flat),
        dome: t
            .read(log, "dome", number_in(160.0, 1080.0))
            .unwrap_or(usual.dome),
        reflected_k: t
            .read(log, "reflected", number_in(5.3, 26.8))
            .unwrap_or(usual.reflected_k),
    };
    for field in constants.outside_iso_2720() {
        let key = if field == "reflected_k" {
            "reflected"
        } else {
            field
        };
        log.add(
            Severity::Warning,
            Kind::OutOfRange,
            &t.place_of(key),
            format!("`{key}` of the meter is outside the range of ISO 2720"),
            "readings will differ from an ordinary meter's; flat is 240 to 400, dome 320 to 540, \
             reflected 10.6 to 13.4",
        );
    }
    let receptor = t
        .read(log, "receptor", word(&RECEPTORS))
        .unwrap_or(Receptor::Flat);
    let expose_at = t
        .get("expose_at")
        .and_then(|v| read_point(log, &t, "expose_at", v, points));
    let mut drafts = Vec::new();
    if let Some(value) = t.get("points") {
        match items(value) {
            Some(list) if list.len() <= MOST_POINTS => {
                drafts.extend(
                    list.into_iter()
                        .filter_map(|v| read_point(log, &t, "points", v, points)),
                );
            }
            Some(list) => t.fault(
                log,
                "points",
                value,
                Fault::new(
                    Kind::OutOfRange,
                    format!("{} points are too many", list.len()),
                    format!("list at most {MOST_POINTS}"),
                ),
            ),
            None => t.fault(
                log,
                "points",
                value,
                Fault::new(
                    Kind::WrongType,
                    format!("must be a list, not {}", type_name(value)),
                    "write [\"face\", \"chest\", \"hem\"]",
                ),
            ),
        }
    }
    Some(MeterDraft {
        constants,
        receptor,
        expose_at,
        points: drafts,
        place: t.place(),
    })
}

/// Settles the meter's points into `m.listed` and the exposing point.
pub(super) fn settle_meter(
    log: &Log,
    draft: &MeterDraft<'_>,
    m: &mut MeterFacts<'_>,
) -> Option<Meter> {
    m.receptor = draft.receptor;
    let plain = |name: &str| MeterPointDraft {
        place: draft.place.clone(),
        label: "the meter".to_owned(),
        name: None,
        at: None,
        bare: name.to_owned(),
        facing: None,
        receptor: None,
    };
    // Settle those listed, or the usual ones that exist.
    let mut taken = Taken::default();
    if draft.points.is_empty() {
        let usual: &[&str] = if m.points.has_figure {
            &["face", "chest", "hem"]
        } else {
            &["swatch"]
        };
        let usual = usual.iter().filter(|n| m.points.named_m.contains_key(**n));
        m.listed = usual.filter_map(|n| settle(log, &plain(n), m)).collect();
    }
    for point in &draft.points {
        let Some(settled) = settle(log, point, m) else {
            continue;
        };
        if taken.take(&settled.name) {
            m.listed.push(settled);
        } else {
            log.error(
                Kind::Duplicate,
                &point.place,
                format!("the meter has two points named \"{}\"", clip(&settled.name)),
                "give one of them another name, as { name = \"chest, dome\", at = \"chest\", … }",
            );
        }
    }
    // Settle the exposing one.
    let expose_at = match &draft.expose_at {
        Some(point) => settle(log, point, m)?,
        None => {
            let Some((name, _)) = m.points.first_of(&["chest", "swatch"]) else {
                if !m.points.lenient {
                    log.error(
                        Kind::Missing,
                        &draft.place,
                        "the meter has no `expose_at`",
                        "add expose_at = [x, y, z]",
                    );
                }
                return None;
            };
            settle(log, &plain(name), m)?
        }
    };
    Some(Meter {
        constants: draft.constants,
        receptor: draft.receptor,
        expose_at,
        points: m.listed.clone(),
    })
}
