//! Where things stand and what they face: from tape and names to points and directions.

use std::collections::BTreeMap;

use glam::{DQuat, DVec3};

use super::keys::nearest;
use super::model::{Aim, Facing, Feather, FeatherToward, Place, PointSpec, Stand};
use super::problem::Kind;
use super::quantity::{BEARING, DISTANCE, FEATHER, HEIGHT};
use super::reader::{Fault, Log, Table, Value, clip};
use super::values::{coordinates, direction, items, quantity, text, word};

/// The named points of a setup.
#[derive(Debug, Clone, Default)]
pub(super) struct Points {
    pub named_m: BTreeMap<String, DVec3>,
    pub has_figure: bool,
    /// The figure or the swatch is there but faulty: any name passes, so that one error
    /// does not drag others behind it.
    pub lenient: bool,
}

impl Points {
    /// A point by name, or a fault that lists the names.
    pub fn find(&self, name: &str) -> Result<DVec3, Fault> {
        if let Some(p) = self.named_m.get(name) {
            return Ok(*p);
        }
        if self.lenient {
            return Ok(DVec3::Y);
        }
        let known = self
            .named_m
            .keys()
            .map(String::as_str)
            .collect::<Vec<_>>()
            .join(", ");
        let hint = match nearest(name, self.named_m.keys().map(String::as_str)) {
            Some(near) => format!("did you mean \"{near}\"? Known points: {known}"),
            None if !self.has_figure => {
                format!("body points need a [figure]; known points: {known}")
            }
            None => format!("known points: {known}; or write [x, y, z]"),
        };
        Err(Fault::new(
            Kind::UnknownName,
            format!("there is no point \"{}\"", clip(name)),
            hint,
        ))
    }

    /// The first of these names that exists.
    pub fn first_of<'n>(&self, names: &[&'n str]) -> Option<(&'n str, DVec3)> {
        names
            .iter()
            .find_map(|name| Some((*name, *self.named_m.get(*name)?)))
    }

    /// A named point or `[x, y, z]`.
    pub fn read(&self, value: Value<'_>) -> Result<(PointSpec, DVec3), Fault> {
        if let Some(name) = value.get_ref().as_str() {
            let p = self.find(name).map_err(|fault| fault.at(value))?;
            return Ok((PointSpec::Named(name.to_owned()), p));
        }
        if value.get_ref().is_array() {
            let p = coordinates(value)?;
            return Ok((PointSpec::At(p), p));
        }
        Err(Fault::new(
            Kind::WrongType,
            format!(
                "must be a named point or [x, y, z], not {}",
                super::reader::type_name(value)
            ),
            "write \"chest\" or [0, 1.3, 0]",
        )
        .at(value))
    }
}

/// Whether any of the keys that place a thing is there.
pub(super) fn has_place(t: &Table<'_>) -> bool {
    ["distance", "bearing", "height", "at"]
        .iter()
        .any(|k| t.has(k))
}

/// Reads `distance`, `bearing` and `height`, or `at`. Reports what is missing.
pub(super) fn read_place(log: &Log, t: &Table<'_>) -> Option<Place> {
    let taped = ["distance", "bearing", "height"];
    if t.has("at") {
        if let Some(other) = taped.into_iter().find(|k| t.has(k)) {
            t.conflict(
                log,
                "at",
                format!("`at` and `{other}` both say where it stands"),
                "keep distance, bearing and height, or keep at",
            );
        }
        return t.read(log, "at", coordinates).map(Place::At);
    }
    if !has_place(t) {
        t.missing(
            log,
            &["distance", "bearing", "height", "at"], "place",
            "add distance = \"2 m\", bearing = \"45 deg left\" and height = \"1.8 m\", or at = [x, y, z]",
        );
        return None;
    }
    let distance_m = t.require(log, "distance", quantity(&DISTANCE));
    let bearing_rad = if t.has("bearing") {
        t.read(log, "bearing", quantity(&BEARING))
    } else {
        Some(0.0)
    };
    let height_m = t.require(log, "height", quantity(&HEIGHT));
    Some(Place::Taped {
        distance_m: distance_m?,
        bearing_rad: bearing_rad?,
        height_m: height_m?,
    })
}

/// Reads `aim` and `feather` for something at `position_m`; gives the aim, the point and
/// the direction after feathering.
pub(super) fn read_aim(
    log: &Log,
    t: &Table<'_>,
    points: &Points,
    position_m: Option<DVec3>,
) -> Option<(Aim, DVec3, DVec3)> {
    let target = if t.has("aim") {
        t.read(log, "aim", |v| points.read(v))
    } else {
        let found = points.first_of(&["chest", "swatch"]);
        if found.is_none() && !points.lenient {
            t.missing(
                log,
                &["aim"],
                "`aim`",
                "add aim = \"floor\" or aim = [x, y, z]",
            );
        }
        found.map(|(name, p)| (PointSpec::Named(name.to_owned()), p))
    };
    let feather = match t.get("feather") {
        Some(value) => t.read(log, "feather", |_| read_feathers(value))?,
        None => Vec::new(),
    };
    let (at, aim_m) = target?;
    let position_m = position_m?;
    let toward = aim_m - position_m;
    if toward.length() < 1e-3 {
        log.error(
            Kind::Conflict,
            &t.place_of("aim"),
            format!("{} stands at the point it aims at", t.label),
            "move it or aim it elsewhere",
        );
        return None;
    }
    let mut direction = toward.normalize();
    for f in &feather {
        match feathered(direction, *f) {
            Ok(turned) => direction = turned,
            Err(fault) => {
                if let Some(value) = t.get("feather") {
                    t.fault(log, "feather", value, fault);
                }
                return None;
            }
        }
    }
    Some((Aim { at, feather }, aim_m, direction))
}

/// One feather text or a list of them.
fn read_feathers(value: Value<'_>) -> Result<Vec<Feather>, Fault> {
    match items(value) {
        Some(list) => list.into_iter().map(read_feather).collect(),
        None => Ok(vec![read_feather(value)?]),
    }
}

const TOWARD: [(&str, FeatherToward); 6] = [
    ("camera", FeatherToward::Camera),
    ("background", FeatherToward::Background),
    ("left", FeatherToward::Left),
    ("right", FeatherToward::Right),
    ("up", FeatherToward::Up),
    ("down", FeatherToward::Down),
];

/// The word in the file.
pub(super) fn toward_word(toward: FeatherToward) -> &'static str {
    TOWARD
        .iter()
        .find(|(_, t)| *t == toward)
        .map_or("camera", |(word, _)| word)
}

/// "15 deg toward camera", "5 deg up".
fn read_feather(value: Value<'_>) -> Result<Feather, Fault> {
    let written = text(value)?.trim();
    let lower = written.to_ascii_lowercase();
    let hint = "write an angle and where it turns, such as \"15 deg toward camera\" or \"5 deg up\"; \
                it can be toward camera, background, left, right, up, down";
    let Some((word, toward)) = TOWARD.iter().find(|(word, _)| lower.ends_with(word)) else {
        return Err(Fault::new(
            Kind::WrongQuantity,
            format!("\"{}\" does not say which way", clip(written)),
            hint,
        )
        .at(value));
    };
    let mut angle = written[..written.len() - word.len()].trim_end();
    for filler in ["the", "towards", "toward", "to"] {
        if angle.to_ascii_lowercase().ends_with(filler) {
            angle = angle[..angle.len() - filler.len()].trim_end();
        }
    }
    let angle_rad = (FEATHER.parse)(angle)
        .and_then(|a| FEATHER.check(a))
        .map_err(|bad| {
            Fault::new(
                if bad.out_of_range {
                    Kind::OutOfRange
                } else {
                    Kind::WrongQuantity
                },
                bad.message,
                hint,
            )
            .at(value)
        })?;
    Ok(Feather {
        angle_rad,
        toward: *toward,
    })
}

/// Turns a direction by the feather's angle straight toward where it says.
fn feathered(direction: DVec3, feather: Feather) -> Result<DVec3, Fault> {
    let toward = match feather.toward {
        FeatherToward::Camera => DVec3::Z,
        FeatherToward::Background => DVec3::NEG_Z,
        FeatherToward::Left => DVec3::NEG_X,
        FeatherToward::Right => DVec3::X,
        FeatherToward::Up => DVec3::Y,
        FeatherToward::Down => DVec3::NEG_Y,
    };
    let axis = direction.cross(toward);
    // Nearly along that line already, either way: the turn has no clear plane.
    if axis.length() < 0.1 {
        let word = toward_word(feather.toward);
        return Err(Fault::new(
            Kind::Conflict,
            format!(
                "it points along that line already, so \"{word}\" does not say which way to turn"
            ),
            if matches!(
                feather.toward,
                FeatherToward::Camera | FeatherToward::Background
            ) {
                "write left, right, up or down"
            } else {
                "write toward camera or toward background"
            },
        ));
    }
    Ok((DQuat::from_axis_angle(axis.normalize(), feather.angle_rad) * direction).normalize())
}

/// Reads "camera", "up", "light NAME" or a direction.
pub(super) fn read_facing(value: Value<'_>) -> Result<Facing, Fault> {
    let hint = "it can be \"camera\", \"up\", \"light NAME\" or a direction [x, y, z]";
    match value.get_ref().as_str() {
        None if value.get_ref().is_array() => direction(value).map(Facing::Direction),
        None => Err(Fault::new(
            Kind::WrongType,
            format!("is {}", super::reader::type_name(value)),
            hint,
        )
        .at(value)),
        Some("camera") => Ok(Facing::Camera),
        Some("up") => Ok(Facing::Up),
        Some(written) => match written.strip_prefix("light ") {
            Some(name) => Ok(Facing::Light(name.trim().to_owned())),
            None => Err(Fault::new(
                Kind::UnknownWord,
                format!("\"{}\" is not known", clip(written)),
                match nearest(written, ["camera", "up"]) {
                    Some(near) => format!("did you mean \"{near}\"? {hint}"),
                    None => hint.to_owned(),
                },
            )
            .at(value)),
        },
    }
}

/// What directions are worked out against.
pub(super) struct Facts<'s> {
    /// The lens; `None` while the camera is faulty.
    pub lens_m: Option<DVec3>,
    /// Middle of each light's face, as far as known.
    pub lights_m: &'s [(String, Option<DVec3>)],
}

impl Facts<'_> {
    /// The unit direction at a point. Unknown lights are a fault; what is faulty elsewhere
    /// stands in as "toward the camera's side", since that error has been reported.
    pub fn direction(&self, facing: &Facing, at_m: DVec3) -> Result<DVec3, Fault> {
        let toward = |target: Option<DVec3>| match target {
            None => Ok(DVec3::Z),
            Some(t) if (t - at_m).length() < 1e-3 => Err(Fault::new(
                Kind::Conflict,
                "it faces the very point where it is",
                "write a direction [x, y, z]",
            )),
            Some(t) => Ok((t - at_m).normalize()),
        };
        match facing {
            Facing::Camera => toward(self.lens_m),
            Facing::Up => Ok(DVec3::Y),
            Facing::Direction(d) => Ok(*d),
            Facing::Light(name) => match self.lights_m.iter().find(|(n, _)| n == name) {
                Some((_, position)) => toward(*position),
                None => {
                    let names = || self.lights_m.iter().map(|(n, _)| n.as_str());
                    Err(Fault::new(
                        Kind::UnknownName,
                        format!("there is no light \"{}\"", clip(name)),
                        match nearest(name, names()) {
                            Some(near) => format!("did you mean \"light {near}\"?"),
                            None => format!("lights: {}", names().collect::<Vec<_>>().join(", ")),
                        },
                    ))
                }
            },
        }
    }
}

/// Reads `stand`.
pub(super) fn read_stand(log: &Log, t: &Table<'_>) -> Stand {
    t.read(log, "stand", word(&STANDS))
        .unwrap_or(Stand::Upright)
}

/// The words for what holds a thing up.
pub(super) const STANDS: [(&str, Stand); 3] = [
    ("upright", Stand::Upright),
    ("boom", Stand::Boom),
    ("none", Stand::None),
];
