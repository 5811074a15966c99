//! Modifiers, inline or from a file: which kind, and what its kind takes.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::keys;
use super::library::Library;
use super::measured::{Origin, read_measured};
use super::model::{Modifier, ModifierKind, ModifierSource, Travel};
use super::problem::Kind;
use super::quantity::{CONE, CORRECTION, DEPTH, PLACE, SIDE, size_2d};
use super::read_bowl::{read_bowl, read_dish, read_paraboloid, read_shoot_through, read_umbrella};
use super::read_box::{read_octabox, read_softbox};
use super::read_extras::{Extras, read_extras, with_article};
use super::read_lens::{read_bare_lamp, read_fresnel, read_lens_spot};
use super::read_scale::read_scale;
use super::read_subject::report_unknown;
use super::reader::{Log, Table, clip, type_name};
use super::values::{prose, quantity, word, written};

const USUAL_DEPTH_M: f64 = 0.1;
const USUAL_SPOT_M: f64 = 0.1;

/// A kind's word, and the keys of its shape. Besides these there are `title`, `kind`, and what is
/// put on its front.
type Word = (&'static str, &'static [&'static str]);

#[rustfmt::skip]
const KINDS: [(&str, Word); 17] = [
    kind("panel", &["size", "depth"]),
    kind("disk", &["diameter", "depth"]),
    kind("globe", &["diameter"]),
    kind("tube", &["length", "diameter"]),
    kind("strip", &["size", "depth"]),
    kind("spot", &["beam", "field", "diameter", "depth"]),
    kind("paraboloid", &["diameter", "depth", "sides", "finish", "lamp", "housing", "travel", "scale"]),
    kind("softbox", &["size", "depth", "back", "finish", "recess", "baffle_at", "lamp", "housing", "lamp_at"]),
    kind("octabox", &["diameter", "depth", "sides", "back", "finish", "recess", "baffle_at", "lamp", "housing", "lamp_at"]),
    kind("umbrella", &["diameter", "depth", "shape", "sides", "finish", "lamp", "cup", "housing", "lamp_at", "travel", "scale"]),
    kind("shoot-through", &["diameter", "depth", "sides", "cloth", "lamp", "cup", "housing", "lamp_at"]),
    kind("dish", &["diameter", "depth", "shape", "sides", "finish", "plate", "plate_at", "lamp", "housing", "lamp_at"]),
    kind("bowl", &["diameter", "depth", "shape", "back", "sides", "finish", "lamp", "housing", "lamp_at", "travel", "scale"]),
    kind("lens-spot", &["diameter", "gate", "focal_length", "beam", "focus", "sharp_at", "transmission", "lamp", "depth"]),
    kind("fresnel", &["diameter", "focal_length", "transmission", "haze", "lamp", "depth", "travel", "scale"]),
    kind("bare-lamp", &["diameter", "transmission", "housing"]),
    kind("measured", &["file", "size", "diameter", "depth"]),
];

const fn kind(word: &'static str, keys: &'static [&'static str]) -> (&'static str, Word) {
    (word, (word, keys))
}

/// Keys that some kind has and another has not.
const SHAPE_KEYS: [&str; 27] = [
    "file",
    "size",
    "diameter",
    "length",
    "beam",
    "field",
    "depth",
    "back",
    "shape",
    "sides",
    "finish",
    "lamp",
    "cup",
    "housing",
    "lamp_at",
    "travel",
    "scale",
    "plate",
    "plate_at",
    "recess",
    "baffle_at",
    "gate",
    "focal_length",
    "focus",
    "sharp_at",
    "transmission",
    "haze",
];

/// Reads the `modifier` of a light: a name or path, or an inline table.
pub(super) fn read_modifier(
    log: &Log,
    light: &Table<'_>,
    library: &dyn Library,
) -> Option<Modifier> {
    let Some(value) = light.get("modifier") else {
        light.missing(
            log,
            &["modifier"], "`modifier`",
            "add modifier = { kind = \"panel\", size = \"0.9 x 1.2 m\" } or the name of a modifier file",
        );
        return None;
    };
    if value.get_ref().is_table() {
        let label = format!("the modifier of {}", light.label);
        let t = Table::open(log, light.file, value, &keys::MODIFIER, label)?;
        let from = Origin {
            library: Some(library),
            called: None,
        };
        return read_shape(log, &t, from);
    }
    let Some(called) = value.get_ref().as_str() else {
        log.error(
            Kind::WrongType,
            &light.place_of("modifier"),
            format!(
                "`modifier` of {} must be a name or a table, not {}",
                light.label,
                type_name(value)
            ),
            "write { kind = \"panel\", size = \"0.9 x 1.2 m\" } or the name of a modifier file",
        );
        return None;
    };
    match library.modifier(called) {
        Ok(found) => {
            let before = log.error_count();
            let modifier =
                parse_modifier_file(log, &found.display_path, &found.text, called, Some(library));
            if modifier.is_none() && log.error_count() > before {
                log.error(
                    Kind::UnknownName,
                    &light.place_of("modifier"),
                    format!(
                        "the modifier \"{}\" of {} cannot be used",
                        clip(called),
                        light.label
                    ),
                    format!("mend {} as said there", found.display_path),
                );
            }
            modifier
        }
        Err(unknown) => {
            report_unknown(log, &light.place_of("modifier"), &unknown);
            None
        }
    }
}

/// Parses the text of a modifier file; its problems carry `display_path`.
pub(super) fn parse_modifier_file(
    log: &Log,
    display_path: &str,
    text: &str,
    called: &str,
    library: Option<&dyn Library>,
) -> Option<Modifier> {
    log.add_file(display_path, text);
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        super::parse::report_syntax(log, display_path, &errors);
        return None;
    }
    let span = table.span();
    let value = Spanned::new(span, DeValue::Table(table.into_inner()));
    let label = format!("modifier \"{}\"", clip(called));
    let mut t = Table::open(log, display_path, &value, &keys::MODIFIER, label)?;
    // A whole file would be marked; its beginning is enough.
    t.span = 0..0;
    let from = Origin {
        library,
        called: Some(called),
    };
    read_shape(log, &t, from)
}

fn read_shape(log: &Log, t: &Table<'_>, from: Origin<'_>) -> Option<Modifier> {
    let title = t.read(log, "title", prose).unwrap_or_default();
    let mut extras = read_extras(log, t);
    let (kind_word, own) = t.require(log, "kind", word(&KINDS))?;
    for key in SHAPE_KEYS {
        if t.has(key) && !own.contains(&key) {
            t.conflict(
                log,
                key,
                format!("{} has no `{key}`", with_article(kind_word)),
                format!("{} takes {}", with_article(kind_word), own.join(", ")),
            );
        }
    }
    let before = log.error_count();
    let mut measured = None;
    let shape = match kind_word {
        "paraboloid" => read_paraboloid(log, t),
        "softbox" => read_softbox(log, t),
        "octabox" => read_octabox(log, t),
        "umbrella" => read_umbrella(log, t),
        "shoot-through" => read_canopy(log, t, &mut extras),
        "dish" => read_dish(log, t),
        "bowl" => read_bowl(log, t),
        "lens-spot" => read_lens_spot(log, t),
        "fresnel" => read_fresnel(log, t),
        "bare-lamp" => read_bare_lamp(log, t),
        "measured" => read_measured(log, t, from).map(|(kind, field, depth_m)| {
            measured = Some(field);
            (kind, None, depth_m)
        }),
        plain => read_plain(log, t, plain).map(|(kind, depth_m)| (kind, None, depth_m)),
    };
    let travel = match shape {
        Some((_, travel, _)) if log.error_count() == before => travel,
        // The shape is faulty. A scale is read all the same, on a travel that reaches everywhere.
        _ => Some(Travel {
            tight_m: 0.0,
            wide_m: PLACE.most,
        }),
    };
    let scale = own
        .contains(&"scale")
        .then(|| read_scale(log, t, travel))
        .flatten();
    let correction_stops = t.read(log, "correction", quantity(&CORRECTION));
    let (kind, travel, body_depth_m) = shape?;
    let mut modifier = Modifier {
        name: from.called.unwrap_or(kind.word()).to_owned(),
        title,
        source: match from.called {
            Some(called) => ModifierSource::Named(called.to_owned()),
            None => ModifierSource::Inline,
        },
        kind,
        measured,
        cloth: None,
        baffle: None,
        grid: None,
        skirt_m: None,
        cover: None,
        travel,
        scale,
        body_depth_m,
        correction_stops: correction_stops.unwrap_or(0.0),
    };
    extras.put_on(log, t, &mut modifier);
    Some(modifier)
}

/// A shoot-through, which takes the cloth that others have in front.
fn read_canopy(log: &Log, t: &Table<'_>, extras: &mut Extras) -> Option<super::read_bowl::Traced> {
    if !t.has("cloth") {
        t.missing(
            log,
            &["cloth"],
            "`cloth`",
            "add cloth = \"half\", or \"light\", \"full\" or its shares: a shoot-through is made of it",
        );
    }
    if extras.cloth == Some(None) {
        t.conflict(
            log,
            "cloth",
            "a shoot-through is made of its cloth",
            "write cloth = \"half\", or \"light\", \"full\" or its shares",
        );
    }
    let stand_in = super::read_extras::CLOTHS[1].1;
    let cloth = extras.cloth.take().flatten().unwrap_or(stand_in);
    read_shoot_through(log, t, cloth)
}

/// The plain kinds, and the depth of their housing.
fn read_plain(log: &Log, t: &Table<'_>, kind_word: &str) -> Option<(ModifierKind, f64)> {
    let depth_m = t.read(log, "depth", quantity(&DEPTH));
    let side = |key: &str| t.require(log, key, quantity(&SIDE));
    let size = || {
        t.require(
            log,
            "size",
            written("width x height", "0.9 x 1.2 m", |s| size_2d(s, &SIDE)),
        )
    };
    let kind = match kind_word {
        "panel" => size().map(|[w_m, h_m]| ModifierKind::Panel { w_m, h_m }),
        "strip" => size().map(|[w_m, h_m]| ModifierKind::Strip { w_m, h_m }),
        "disk" => side("diameter").map(|diameter_m| ModifierKind::Disk { diameter_m }),
        "globe" => side("diameter").map(|diameter_m| ModifierKind::Globe { diameter_m }),
        "tube" => {
            let (length_m, diameter_m) = (side("length"), side("diameter"));
            length_m
                .zip(diameter_m)
                .map(|(length_m, diameter_m)| ModifierKind::Tube {
                    length_m,
                    diameter_m,
                })
        }
        _ => read_spot(log, t),
    }?;
    let usual_depth = if kind.has_front() { USUAL_DEPTH_M } else { 0.0 };
    Some((kind, depth_m.unwrap_or(usual_depth)))
}

fn read_spot(log: &Log, t: &Table<'_>) -> Option<ModifierKind> {
    let beam_rad = t.require(log, "beam", quantity(&CONE));
    let field_rad = t.require(log, "field", quantity(&CONE));
    let diameter_m = t
        .read(log, "diameter", quantity(&SIDE))
        .unwrap_or(USUAL_SPOT_M);
    let (beam_rad, field_rad) = (beam_rad?, field_rad?);
    if field_rad <= beam_rad {
        t.conflict(
            log,
            "field",
            format!(
                "the field of {} is not wider than the beam of {}",
                (CONE.show)(field_rad),
                (CONE.show)(beam_rad)
            ),
            "field is the full angle at a tenth of the intensity, beam the one at half",
        );
        return None;
    }
    Some(ModifierKind::Spot {
        beam_rad,
        field_rad,
        diameter_m,
    })
}
