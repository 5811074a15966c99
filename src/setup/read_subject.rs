//! `[figure]` and `[swatch]`.

use std::collections::BTreeMap;

use glam::DVec3;

use super::keys::{self, nearest};
use super::library::{Capsule, FigureSpec, Library, Looks, UnknownName, Wind, Worn};
use super::model::{Facing, Figure, Lay, SwatchPlace};
use super::place::{Points, has_place, read_facing, read_place};
use super::problem::Kind;
use super::quantity::{BEARING, OFFSET, ROLL, SIDE, size_2d};
use super::reader::{Log, Place as FilePlace, Table, Value, clip};
use super::values::{flag, name, names, number_in, quantity, text, word, written};

/// The error for a name that the library does not have, at a key of a table.
pub(super) fn report_unknown(log: &Log, place: &FilePlace<'_>, unknown: &UnknownName) {
    const SHOWN: usize = 12;
    let known = || unknown.known.iter().map(String::as_str);
    let mut list = known().take(SHOWN).collect::<Vec<_>>().join(", ");
    if unknown.known.len() > SHOWN {
        list.push_str(" and more");
    }
    let mut hint = match nearest(&unknown.name, known()) {
        Some(near) => format!("did you mean \"{near}\"? Known: {list}"),
        None if unknown.known.is_empty() => String::new(),
        None => format!("known: {list}"),
    };
    if !unknown.detail.is_empty() {
        hint = [unknown.detail.clone(), hint]
            .join("; ")
            .trim_end_matches("; ")
            .to_owned();
    }
    let message = match unknown.what {
        "file" => format!("the file {} cannot be used", clip(&unknown.name)),
        what => format!("there is no {what} \"{}\"", clip(&unknown.name)),
    };
    log.error(Kind::UnknownName, place, message, hint);
}

pub(super) fn read_figure(
    log: &Log,
    file: &str,
    value: Value<'_>,
    library: &dyn Library,
) -> Option<Figure> {
    let t = Table::open(log, file, value, &keys::FIGURE, "the figure")?;
    let model = t.require(log, "model", name);
    let pose = t
        .read(log, "pose", name)
        .unwrap_or_else(|| "front".to_owned());
    let turn_rad = t.read(log, "turn", quantity(&BEARING)).unwrap_or(0.0);
    let garments = read_garments(log, &t, library)?;
    let looks = read_looks(log, &t, turn_rad);
    let spec = FigureSpec {
        model: model?,
        pose,
        fabric: garments.1,
        garments: garments.0,
        looks,
    };
    let facts = match library.figure(&spec) {
        Ok(facts) => facts,
        Err(unknown) => {
            let key = keys::FIGURE.keys.iter().find(|k| k.name == unknown.what);
            let key = key.map_or("model", |k| k.name);
            report_unknown(log, &t.place_of(key), &unknown);
            return None;
        }
    };
    let mut figure = Figure {
        spec,
        turn_rad,
        height_m: facts.height_m,
        body_points_m: BTreeMap::new(),
        blocks: Vec::new(),
    };
    figure.body_points_m = facts
        .body_points_m
        .into_iter()
        .map(|(point, p)| (point, figure.room_from_figure(p)))
        .collect();
    figure.blocks = facts
        .blocks
        .into_iter()
        .map(|c| Capsule {
            a_m: figure.room_from_figure(c.a_m),
            b_m: figure.room_from_figure(c.b_m),
            radius_m: c.radius_m,
        })
        .collect();
    Some(figure)
}

/// Garments, each with its cloth, and the cloth of the outermost (or of none).
fn read_garments(log: &Log, t: &Table<'_>, library: &dyn Library) -> Option<(Vec<Worn>, String)> {
    let garments = t.read(log, "garment", names).unwrap_or_default();
    let fabrics = t
        .read(log, "fabric", names)
        .unwrap_or_else(|| vec!["cotton-plain".to_owned()]);
    for fabric in &fabrics {
        if let Err(unknown) = library.fabric(fabric) {
            report_unknown(log, &t.place_of("fabric"), &unknown);
        }
    }
    if fabrics.len() != 1 && fabrics.len() != garments.len() {
        log.error(
            Kind::Conflict,
            &t.place_of("fabric"),
            format!(
                "{} cloths are named for {} garments",
                fabrics.len(),
                garments.len()
            ),
            "name one for each garment, in their order, or one for all",
        );
        return None;
    }
    let outermost = fabrics.last()?.clone();
    let cloth = |i: usize| fabrics.get(i).unwrap_or(&outermost).clone();
    let worn = garments.into_iter().enumerate().map(|(i, garment)| Worn {
        garment,
        fabric: cloth(i),
    });
    Some((worn.collect(), outermost))
}

fn read_looks(log: &Log, t: &Table<'_>, turn_rad: f64) -> Looks {
    let strength = t.read(log, "wind_strength", number_in(0.0, 1.0));
    let wind = t.read(log, "wind", quantity(&BEARING));
    if strength.is_some() && wind.is_none() && !t.has("wind") {
        log.error(
            Kind::Missing,
            &t.place_of("wind_strength"),
            "a wind's strength is given, but not where it blows to",
            "add wind = \"90 deg left\"",
        );
    }
    let mut looks = Looks {
        wind: wind.map(|in_room_rad| Wind {
            toward_rad: in_room_rad - turn_rad,
            strength: strength.unwrap_or(0.5),
        }),
        ..Looks::default()
    };
    for (key, _) in Looks::default().words() {
        if let Some(place) = looks.word_mut(key) {
            *place = t.read(log, key, name);
        }
    }
    looks
}

/// A swatch before its direction is known.
#[derive(Debug, Clone)]
pub(super) struct SwatchDraft {
    pub fabric: String,
    pub size_m: [f64; 2],
    pub place: SwatchPlace,
    pub middle_m: DVec3,
    pub facing: Facing,
    pub roll_rad: f64,
    pub lay: Lay,
    pub shown: bool,
}

/// What faces what is settled later; `points` has no swatch yet.
pub(super) fn read_swatch(
    log: &Log,
    t: &Table<'_>,
    library: &dyn Library,
    figure: Option<&Figure>,
    points: &Points,
) -> Option<SwatchDraft> {
    let size_m = t
        .read(
            log,
            "size",
            written("width x height", "10 x 10 cm", |s| size_2d(s, &SIDE)),
        )
        .unwrap_or([0.1; 2]);
    let fabric = read_swatch_fabric(log, t, library, figure, points);
    let facing = t.read(log, "facing", read_facing).unwrap_or(Facing::Camera);
    let roll_rad = t.read(log, "roll", quantity(&ROLL)).unwrap_or(0.0);
    let lay = t.read(log, "lay", word(&Lay::NAMED)).unwrap_or_default();
    let shown = t.read(log, "show", flag).unwrap_or(true);
    let place = read_swatch_place(log, t, points)?;
    Some(SwatchDraft {
        fabric: fabric?,
        size_m,
        middle_m: swatch_middle(&place, points),
        place,
        facing,
        roll_rad,
        lay,
        shown,
    })
}

fn read_swatch_fabric(
    log: &Log,
    t: &Table<'_>,
    library: &dyn Library,
    figure: Option<&Figure>,
    points: &Points,
) -> Option<String> {
    if t.has("fabric") {
        let fabric = t.read(log, "fabric", name)?;
        if let Err(unknown) = library.fabric(&fabric) {
            report_unknown(log, &t.place_of("fabric"), &unknown);
            return None;
        }
        return Some(fabric);
    }
    match figure {
        Some(figure) => Some(figure.spec.fabric.clone()),
        None => {
            if !points.lenient {
                t.missing(
                    log,
                    &["fabric"],
                    "`fabric`",
                    "add fabric = \"linen-slub\", or a [figure] whose fabric it takes",
                );
            }
            None
        }
    }
}

fn read_swatch_place(log: &Log, t: &Table<'_>, points: &Points) -> Option<SwatchPlace> {
    let beside = t.has("beside") || t.has("offset");
    if has_place(t) {
        if beside {
            t.conflict(
                log,
                if t.has("beside") { "beside" } else { "offset" },
                "it stands beside a point and elsewhere at once",
                "keep beside and offset, or keep distance, bearing and height, or keep at",
            );
        }
        return read_place(log, t).map(SwatchPlace::At);
    }
    if !beside && !points.has_figure {
        if !points.lenient {
            t.missing(
                log,
                &["distance", "bearing", "height", "at"],
                "place",
                "add at = [x, y, z], or distance, bearing and height",
            );
        }
        return None;
    }
    let offset_m = t.read(log, "offset", quantity(&OFFSET)).unwrap_or(0.45);
    let point = match t.get("beside") {
        Some(value) => t.read(log, "beside", |v| {
            let point = text(v)?;
            points.find(point).map_err(|fault| fault.at(value))?;
            Ok(point.to_owned())
        })?,
        None => match points.first_of(&["chest"]) {
            Some((point, _)) => point.to_owned(),
            None => {
                if !points.lenient {
                    t.missing(
                        log,
                        &["beside"],
                        "`beside`",
                        "add beside = and one of the figure's points",
                    );
                }
                return None;
            }
        },
    };
    Some(SwatchPlace::Beside { point, offset_m })
}

fn swatch_middle(place: &SwatchPlace, points: &Points) -> DVec3 {
    match place {
        SwatchPlace::At(place) => place.point_m(),
        SwatchPlace::Beside { point, offset_m } => {
            points.named_m.get(point).copied().unwrap_or(DVec3::Y) + DVec3::X * *offset_m
        }
    }
}
