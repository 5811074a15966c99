//! Modifiers and their grids, inline or from a file.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::keys;
use super::library::Library;
use super::model::{CellShape, Grid, Modifier, ModifierKind, ModifierSource};
use super::problem::Kind;
use super::quantity::{CELL, CONE, DEPTH, SIDE, size_2d};
use super::read_subject::report_unknown;
use super::reader::{Log, Table, Value, clip, type_name};
use super::values::{number, prose, quantity, refuse, word, written};

/// The cell of a grid that is given by its angle alone; only the angle matters to its light.
const USUAL_CELL_M: f64 = 0.01;
const USUAL_OPEN: f64 = 0.95;
const USUAL_DEPTH_M: f64 = 0.1;
const USUAL_SPOT_M: f64 = 0.1;

#[derive(Clone, Copy)]
enum Word {
    Panel,
    Disk,
    Globe,
    Tube,
    Strip,
    Spot,
}

const KINDS: [(&str, Word); 6] = [
    ("panel", Word::Panel),
    ("disk", Word::Disk),
    ("globe", Word::Globe),
    ("tube", Word::Tube),
    ("strip", Word::Strip),
    ("spot", Word::Spot),
];

pub(super) const SHAPES: [(&str, CellShape); 3] = [
    ("square", CellShape::Square),
    ("hex", CellShape::Hex),
    ("round", CellShape::Round),
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
        return read_shape(log, &t, None);
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
            let modifier = parse_modifier_file(log, &found.display_path, &found.text, called);
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
    read_shape(log, &t, Some(called))
}

fn read_shape(log: &Log, t: &Table<'_>, called: Option<&str>) -> Option<Modifier> {
    t.read(log, "title", prose);
    let grid = read_grid(log, t);
    let depth_m = t.read(log, "depth", quantity(&DEPTH));
    let kind = t.require(log, "kind", word(&KINDS))?;
    let side = |key: &str| t.require(log, key, quantity(&SIDE));
    let size = || {
        t.require(
            log,
            "size",
            written("width x height", "0.9 x 1.2 m", |s| size_2d(s, &SIDE)),
        )
    };
    let (own, shape) = match kind {
        Word::Panel => (
            &["size", "depth"][..],
            size().map(|[w_m, h_m]| ModifierKind::Panel { w_m, h_m }),
        ),
        Word::Strip => (
            &["size", "depth"][..],
            size().map(|[w_m, h_m]| ModifierKind::Strip { w_m, h_m }),
        ),
        Word::Disk => (
            &["diameter", "depth"][..],
            side("diameter").map(|diameter_m| ModifierKind::Disk { diameter_m }),
        ),
        Word::Globe => (
            &["diameter"][..],
            side("diameter").map(|diameter_m| ModifierKind::Globe { diameter_m }),
        ),
        Word::Tube => {
            let (length_m, diameter_m) = (side("length"), side("diameter"));
            (
                &["length", "diameter"][..],
                length_m
                    .zip(diameter_m)
                    .map(|(length_m, diameter_m)| ModifierKind::Tube {
                        length_m,
                        diameter_m,
                    }),
            )
        }
        Word::Spot => (
            &["beam", "field", "diameter", "depth"][..],
            read_spot(log, t),
        ),
    };
    let kind_word = t
        .get("kind")
        .and_then(|v| v.get_ref().as_str())
        .unwrap_or_default();
    for key in ["size", "diameter", "length", "beam", "field", "depth"] {
        if t.has(key) && !own.contains(&key) {
            t.conflict(
                log,
                key,
                format!("a {kind_word} has no `{key}`"),
                format!("a {kind_word} takes {}", own.join(", ")),
            );
        }
    }
    let kind = shape?;
    if grid.is_some() && !kind.has_front() {
        t.conflict(
            log,
            "grid",
            format!("a {} has no front to put a grid on", kind.word()),
            "remove the grid",
        );
    }
    let usual_depth = if kind.has_front() { USUAL_DEPTH_M } else { 0.0 };
    Some(Modifier {
        name: called.unwrap_or(kind.word()).to_owned(),
        source: match called {
            Some(called) => ModifierSource::Named(called.to_owned()),
            None => ModifierSource::Inline,
        },
        kind,
        grid,
        body_depth_m: depth_m.unwrap_or(usual_depth),
    })
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

/// Reads `grid`: the full cut-off angle, or its cells.
pub(super) fn read_grid(log: &Log, owner: &Table<'_>) -> Option<Grid> {
    let value = owner.get("grid")?;
    if !value.get_ref().is_table() {
        // The full angle within which light passes: twice the cut-off.
        let angle_rad = owner.read(log, "grid", quantity(&CONE))?;
        return Some(Grid {
            cell_m: USUAL_CELL_M,
            depth_m: USUAL_CELL_M / (angle_rad / 2.0).tan(),
            shape: CellShape::Hex,
            open_fraction: USUAL_OPEN,
        });
    }
    let label = format!("the grid of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::GRID, label)?;
    let cell_m = t.require(log, "cell", quantity(&CELL));
    let depth_m = t.require(log, "depth", quantity(&CELL));
    let shape = t
        .read(log, "shape", word(&SHAPES))
        .unwrap_or(CellShape::Hex);
    let open_fraction = t.read(log, "open", open_share).unwrap_or(USUAL_OPEN);
    Some(Grid {
        cell_m: cell_m?,
        depth_m: depth_m?,
        shape,
        open_fraction,
    })
}

fn open_share(value: Value<'_>) -> Result<f64, super::reader::Fault> {
    let n = number(value)?;
    if n > 0.0 && n <= 1.0 {
        return Ok(n);
    }
    Err(refuse(
        super::quantity::Bad {
            message: format!("{n} is out of range"),
            hint: "it can be over 0 and up to 1".to_owned(),
            out_of_range: true,
            span: None,
        },
        value,
    ))
}
