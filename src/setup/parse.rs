//! From the text of a setup to a checked [`Setup`], with every problem at once.
#![allow(missing_docs)] // a name with its unit says all

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::check::{Places, check};
use super::frame::Frame;
use super::keys;
use super::library::Library;
use super::model::{
    Backdrop, Board, Facing, Figure, Light, Meter, Modifier, Setting, Setup, Swatch,
};
use super::place::{Facts, Points};
use super::problem::{Kind, Problems};
use super::quantity::tidy;
use super::read_board::{Which, read_board};
use super::read_camera::{Subject, read_camera};
use super::read_light::{LightDraft, light_middles, read_light};
use super::read_meter::{MeterFacts, read_meter, settle, settle_meter};
use super::read_modifier::parse_modifier_file;
use super::read_room::{open_room, read_backdrop, read_room};
use super::read_subject::{SwatchDraft, read_figure, read_swatch};
use super::reader::{Log, Place, Table, Taken, Value, clip, type_name};
use super::values::{name, prose};

/// A setup with what there is to say about it; no errors.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    pub setup: Setup,
    /// Warnings and cautions.
    pub notes: Problems,
}

/// What the command line may lay over a file.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Options {
    /// Width and height of the picture, instead of `camera.pixels`.
    pub pixels: Option<[u32; 2]>,
}

/// Film layers, and rows in tables, have an end.
const MOST_THINGS: usize = 64;

/// Parses and checks the text of a setup. `file_name` is how messages call it.
///
/// # Errors
/// All problems found, warnings and cautions among them, in the order of the file.
pub fn parse(text: &str, file_name: &str, library: &dyn Library) -> Result<Checked, Problems> {
    parse_with(text, file_name, library, Options::default())
}

/// As [`parse`], with something laid over the file.
///
/// # Errors
/// As [`parse`].
pub fn parse_with(
    text: &str,
    file_name: &str,
    library: &dyn Library,
    options: Options,
) -> Result<Checked, Problems> {
    let log = Log::default();
    log.add_file(file_name, text);
    let (table, errors) = DeTable::parse_recoverable(text);
    let syntax_lines = report_syntax(&log, file_name, &errors);
    let span = table.span();
    let value = Spanned::new(span, DeValue::Table(table.into_inner()));
    let setup = read_setup(&log, file_name, &value, library, options);
    let mut problems = log.into_problems();
    if !errors.is_empty() {
        // What could be read of a broken file is checked all the same, but nothing that may
        // be a consequence of the break is said.
        problems.retain(|p| {
            p.kind == Kind::Syntax
                || (!syntax_lines.contains(&p.line)
                    && matches!(
                        p.kind,
                        Kind::WrongQuantity
                            | Kind::OutOfRange
                            | Kind::UnknownWord
                            | Kind::UnknownKey
                    ))
        });
    }
    problems.sort();
    match setup {
        Some(setup) if !problems.has_errors() => Ok(Checked {
            setup,
            notes: problems,
        }),
        _ => Err(problems),
    }
}

/// As [`parse_with`], from bytes that may not be text.
///
/// # Errors
/// As [`parse`]; bytes that are not UTF-8 are a problem with a place.
pub fn parse_bytes(
    bytes: &[u8],
    file_name: &str,
    library: &dyn Library,
    options: Options,
) -> Result<Checked, Problems> {
    match std::str::from_utf8(bytes) {
        Ok(text) => parse_with(text, file_name, library, options),
        Err(error) => {
            let good = String::from_utf8_lossy(&bytes[..error.valid_up_to()]).into_owned();
            let end = good.len();
            let log = Log::default();
            log.add_file(file_name, &good);
            log.error(
                Kind::Syntax,
                &Place {
                    file: file_name,
                    span: end..end,
                },
                "this is not a text file: a byte here is not UTF-8",
                "save the file as UTF-8, or give the setup's .toml file",
            );
            Err(log.into_problems())
        }
    }
}

/// Parses the text of a modifier file on its own. It cannot be one that needs a file beside it.
///
/// # Errors
/// All problems found.
pub fn parse_modifier(text: &str, display_path: &str, called: &str) -> Result<Modifier, Problems> {
    modifier_from(text, display_path, called, None).map(|(modifier, _)| modifier)
}

/// As [`parse_modifier`], with the files that it names, and with warnings. `called` is the name or
/// path that the library finds the modifier by.
///
/// # Errors
/// All problems found.
pub fn parse_modifier_with(
    text: &str,
    display_path: &str,
    called: &str,
    library: &dyn Library,
) -> Result<(Modifier, Problems), Problems> {
    modifier_from(text, display_path, called, Some(library))
}

fn modifier_from(
    text: &str,
    display_path: &str,
    called: &str,
    library: Option<&dyn Library>,
) -> Result<(Modifier, Problems), Problems> {
    let log = Log::default();
    let modifier = parse_modifier_file(&log, display_path, text, called, library);
    let mut problems = log.into_problems();
    problems.sort();
    match modifier {
        Some(modifier) if !problems.has_errors() => Ok((modifier, problems)),
        _ => Err(problems),
    }
}

/// What keeps a text from being TOML.
pub(super) fn syntax_problems(text: &str, file_name: &str) -> Problems {
    let log = Log::default();
    log.add_file(file_name, text);
    let (_, errors) = DeTable::parse_recoverable(text);
    report_syntax(&log, file_name, &errors);
    if errors.is_empty() {
        // The two readers of TOML disagree: say so rather than nothing.
        let place = Place {
            file: file_name,
            span: 0..0,
        };
        log.error(
            Kind::Syntax,
            &place,
            "this cannot be read as a setup",
            "a line is key = value, a heading [camera] or [[light]], or a # comment",
        );
    }
    log.into_problems()
}

/// Reports TOML's own errors; gives the lines they are on.
pub(super) fn report_syntax(log: &Log, file: &str, errors: &[toml::de::Error]) -> Vec<usize> {
    for error in errors {
        let place = Place {
            file,
            span: error.span().unwrap_or(0..0),
        };
        let message = error.message().trim();
        let hint = if message.contains("duplicate key") {
            "remove one of the two; several lights, boards, flags or scrims are written [[light]] and so on"
        } else if message.contains("string") || message.contains("quote") {
            "text and quantities stand in quotes: height = \"2.1 m\""
        } else {
            "a line is key = value, a heading [camera] or [[light]], or a # comment"
        };
        log.error(Kind::Syntax, &place, message, hint);
    }
    log.lines_of(Kind::Syntax)
}

fn read_setup(
    log: &Log,
    file: &str,
    value: Value<'_>,
    library: &dyn Library,
    options: Options,
) -> Option<Setup> {
    let mut top = Table::open(log, file, value, &keys::SETUP, "the setup")?;
    top.span = 0..0;
    let title = top.read(log, "title", prose).unwrap_or_default();
    let notes = top.read(log, "notes", prose).unwrap_or_default();

    // The room and the subject come first: they name the points that others aim at.
    let room = match top.get("room") {
        Some(v) => read_room(log, file, v),
        None => Some(open_room()),
    };
    let backdrop = match top.get("backdrop") {
        Some(v) => read_backdrop(log, file, v, room.as_ref().unwrap_or(&open_room())),
        None => Some(Backdrop::None),
    };
    let figure = top
        .get("figure")
        .map(|v| read_figure(log, file, v, library));
    let mut points = Points {
        has_figure: figure.is_some(),
        // Without a subject there is one error to make, not one for every aim.
        lenient: matches!(figure, Some(None)) || !(top.has("figure") || top.has("swatch")),
        ..Points::default()
    };
    points.named_m.insert("floor".to_owned(), glam::DVec3::ZERO);
    let figure: Option<Figure> = figure.flatten();
    if let Some(figure) = &figure {
        points.named_m.extend(figure.body_points_m.clone());
    }
    let swatch_table = top
        .get("swatch")
        .and_then(|v| Table::open(log, file, v, &keys::SWATCH, "the swatch"));
    let swatch = swatch_table
        .as_ref()
        .and_then(|t| read_swatch(log, t, library, figure.as_ref(), &points));
    if let Some(swatch) = &swatch {
        points.named_m.insert("swatch".to_owned(), swatch.middle_m);
    }
    points.lenient |= top.has("swatch") && swatch.is_none() || top.slipped(&["figure", "swatch"]);
    if !top.has("figure") && !top.has("swatch") {
        top.missing(
            log,
            &["figure", "swatch"],
            "subject",
            "add [figure] or [swatch]",
        );
    }

    // Lights and boards, then the camera, then what faces any of them.
    let mut taken = Taken::default();
    let lights = read_lights(log, &top, library, &points, &mut taken);
    let boards = read_boards(log, &top, &points, &mut taken);
    let lights_m = light_middles(&lights);
    let swatch_normal = swatch.as_ref().and_then(|s| {
        let facts = Facts {
            lens_m: None,
            lights_m: &lights_m,
        };
        (s.facing != Facing::Camera)
            .then(|| facts.direction(&s.facing, s.middle_m).ok())
            .flatten()
    });
    let subject = Subject {
        points: &points,
        figure: figure.as_ref(),
        swatch: swatch
            .as_ref()
            .map(|s| (s.middle_m, s.size_m, swatch_normal)),
    };
    let camera = match top.get("camera") {
        Some(v) => read_camera(log, file, v, &subject, options.pixels),
        None => {
            top.missing(
                log,
                &["camera"],
                "`[camera]`",
                "add [camera] with framing = \"full-length\"",
            );
            None
        }
    };
    let facts = || Facts {
        lens_m: camera.as_ref().map(|c| c.position_m),
        lights_m: &lights_m,
    };
    let swatch_facing = swatch.as_ref().map(|s| s.facing.clone());
    let had_swatch = swatch.is_some();
    let swatch = swatch.and_then(|s| settle_swatch(log, swatch_table.as_ref()?, s, &facts()));
    let mut meter_facts = MeterFacts {
        points: &points,
        facts: facts(),
        swatch_facing,
        listed: Vec::new(),
        receptor: crate::photometry::exposure::Receptor::Flat,
    };
    let meter_draft = read_meter(log, file, top.get("meter"), &points);
    let meter = meter_draft
        .as_ref()
        .and_then(|draft| settle_meter(log, draft, &mut meter_facts));
    let (lights, light_places) = settle_lights(log, lights, meter.as_ref(), &meter_facts);
    let (boards, board_places): (Vec<Option<Board>>, Vec<Place<'_>>) = boards
        .into_iter()
        .map(|(t, board)| (board, t.place_of("name")))
        .unzip();

    if had_swatch && swatch.is_none() {
        return None;
    }
    let setup = Setup {
        title,
        notes,
        room: room?,
        backdrop: backdrop?,
        figure,
        swatch,
        camera: camera?,
        lights: lights.into_iter().collect::<Option<_>>()?,
        boards: boards.into_iter().collect::<Option<_>>()?,
        meter: meter?,
    };
    // Geometry is judged only when everything could be read.
    if log.error_count() == 0 {
        let place_of = |key: &str| Place {
            file,
            span: top.get(key).map_or(0..0, |v| v.span()),
        };
        let places = Places {
            figure: setup.figure.as_ref().map(|_| place_of("figure")),
            swatch: setup.swatch.as_ref().map(|_| place_of("swatch")),
            camera: place_of("camera"),
            lights: light_places,
            boards: board_places,
        };
        check(log, &setup, &places);
        check_points(log, &setup, top.place_of("meter"));
    }
    Some(setup)
}

/// The tables of one array, each with a label and its name if it has a good one.
fn each<'t>(
    log: &Log,
    top: &Table<'t>,
    key: &'static str,
    taken: &mut Taken,
    mut read: impl FnMut(Value<'t>, String, Option<String>),
) {
    let Some(value) = top.get(key) else { return };
    let Some(list) = value.get_ref().as_array() else {
        let found = if value.get_ref().is_table() {
            "a single table"
        } else {
            type_name(value)
        };
        log.error(
            Kind::WrongType,
            &top.place_of(key),
            format!("`{key}` must be a list of tables, not {found}"),
            format!("write [[{key}]] with two brackets"),
        );
        return;
    };
    if list.len() > MOST_THINGS {
        log.error(
            Kind::OutOfRange,
            &top.place_of(key),
            format!("{} {key}s are too many", list.len()),
            format!("a setup can hold {MOST_THINGS} of them"),
        );
        return;
    }
    for (i, item) in list.iter().enumerate() {
        let Some(given) = item.get_ref().as_table().and_then(|t| t.get("name")) else {
            read(item, format!("{key} {}", i + 1), None);
            continue;
        };
        let place = Place {
            file: top.file,
            span: given.span(),
        };
        match name(given) {
            Ok(good) => {
                let fresh = taken.take(&good);
                if !fresh {
                    log.error(
                        Kind::Duplicate,
                        &place,
                        format!("the name \"{good}\" is taken already"),
                        "give each light, board, flag and scrim a name of its own",
                    );
                }
                read(item, format!("{key} \"{good}\""), Some(good));
            }
            Err(fault) => {
                log.error(
                    fault.kind,
                    &place,
                    format!("`name` of {key} {}: {}", i + 1, fault.message),
                    fault.hint,
                );
                read(item, format!("{key} {}", i + 1), None);
            }
        }
    }
}

fn read_lights<'t>(
    log: &Log,
    top: &Table<'t>,
    library: &dyn Library,
    points: &Points,
    taken: &mut Taken,
) -> Vec<LightDraft<'t>> {
    let mut lights = Vec::new();
    each(log, top, "light", taken, |value, label, name| {
        lights.extend(read_light(
            log, top.file, value, label, name, library, points,
        ));
    });
    lights
}

type BoardDraft<'t> = (Table<'t>, Option<Board>);

fn read_boards<'t>(
    log: &Log,
    top: &Table<'t>,
    points: &Points,
    taken: &mut Taken,
) -> Vec<BoardDraft<'t>> {
    let mut boards = Vec::new();
    for which in [Which::Board, Which::Flag, Which::Scrim] {
        each(log, top, which.word(), taken, |value, label, name| {
            boards.extend(read_board(log, top.file, value, which, label, name, points));
        });
    }
    boards
}

fn settle_swatch(
    log: &Log,
    t: &Table<'_>,
    draft: SwatchDraft,
    facts: &Facts<'_>,
) -> Option<Swatch> {
    let direction = match facts.direction(&draft.facing, draft.middle_m) {
        Ok(direction) => direction,
        Err(fault) => {
            if let Some(value) = t.get("facing") {
                t.fault(log, "facing", value, fault);
            }
            return None;
        }
    };
    Some(Swatch {
        fabric: draft.fabric,
        frame: Frame::facing(draft.middle_m, direction, draft.roll_rad),
        size_m: draft.size_m,
        shown: draft.shown,
        place: draft.place,
        facing: draft.facing,
        roll_rad: draft.roll_rad,
        lay: draft.lay,
    })
}

/// Gives metered lights their points.
fn settle_lights<'t>(
    log: &Log,
    drafts: Vec<LightDraft<'t>>,
    meter: Option<&Meter>,
    m: &MeterFacts<'_>,
) -> (Vec<Option<Light>>, Vec<Place<'t>>) {
    drafts
        .into_iter()
        .map(|draft| {
            let place = draft.table.place_of("name");
            let mut light = draft.light;
            if let Some((f_number, at)) = draft.target {
                let at = match at {
                    Some(at) => settle(log, &at, m),
                    None => meter.map(|meter| meter.expose_at.clone()),
                };
                light = light.zip(at).map(|(light, at)| {
                    let mut light = light;
                    light.output.setting = Setting::Meters { f_number, at };
                    light
                });
            }
            (light, place)
        })
        .unzip()
}

/// A point given in coordinates inside the figure would read nothing.
fn check_points(log: &Log, setup: &Setup, place: Place<'_>) {
    use super::library::Capsule;
    use super::model::PointSpec;
    use super::problem::Severity;
    use super::shapes::Solid;
    /// Blocking volumes are rough; a point this deep is surely inside.
    const DEEP_M: f64 = 0.08;
    let Some(figure) = &setup.figure else { return };
    for point in &setup.meter.points {
        let PointSpec::At(p) = point.at else { continue };
        let dot = Solid::Capsule(Capsule {
            a_m: p,
            b_m: p,
            radius_m: 0.0,
        });
        let inside = figure.blocks.iter().any(|b| {
            let core = Capsule {
                radius_m: b.radius_m - DEEP_M,
                ..*b
            };
            dot.meets(&Solid::Capsule(core))
        });
        if inside {
            log.add(
                Severity::Warning,
                Kind::Collision,
                &place,
                format!(
                    "the meter point \"{}\" is inside the figure, where no light comes",
                    clip(&point.name)
                ),
                format!(
                    "move it out: it is at [{}, {}, {}]",
                    tidy(p.x),
                    tidy(p.y),
                    tidy(p.z)
                ),
            );
        }
    }
}
