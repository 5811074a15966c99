//! Modifiers whose light was measured: a far field from an IES LM-63 file.
#![allow(missing_docs)] // a name with its unit says all

use super::library::{Library, UnknownName};
use super::modifier::ModifierKind;
use super::problem::{Kind, Severity};
use super::quantity::{DEPTH, SIDE, metres, size_2d};
use super::read_subject::report_unknown;
use super::reader::{Log, Place, Table, clip};
use super::values::{name, quantity, written};
use crate::photometry::lm63::{self, Goniometry, Photometry, Rule, Shape};
use std::f64::consts::FRAC_PI_2;
use std::ops::Range;
use std::sync::Arc;

const USUAL_DEPTH_M: f64 = 0.1;
/// Problems of one file that are told.
const MOST_TOLD: usize = 12;
/// Shares of the light under which nothing is said of it.
const LITTLE: f64 = 0.001;

/// Where a modifier was described, which its files are found from.
#[derive(Clone, Copy)]
pub(super) struct Origin<'a> {
    pub library: Option<&'a dyn Library>,
    /// The modifier file's name or path as written in the setup; `None` in the setup itself.
    pub called: Option<&'a str>,
}

/// A far field as a modifier's light.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredField {
    /// The file, as written.
    pub file: String,
    /// What is in it. Its aim is the modifier's axis; how it lies about that,
    /// [`MeasuredField::intensity_cd`] says.
    pub photometry: Photometry,
    /// Lumens in it that stand for one of the light's output: those of its lamps, or with absolute
    /// photometry all that it gives, times its own.
    pub rated_lm: f64,
    /// Lumens within 90 degrees of the axis.
    pub in_front_lm: f64,
}

impl MeasuredField {
    /// Intensity in the file's candelas, `theta_rad` from the modifier's axis and `azimuth_rad` about it
    /// from its +x to its +y.
    ///
    /// Of type C the plane of 0 holds +x (right as seen from in front), and that of 90 −y: planes
    /// turn counterclockwise as seen from behind. Of types A and B vertical angles rise toward +y.
    pub fn intensity_cd(&self, theta_rad: f64, azimuth_rad: f64) -> f64 {
        let from_rad = if stands_up(&self.photometry) {
            FRAC_PI_2
        } else {
            0.0
        };
        self.photometry
            .intensity_cd(theta_rad, from_rad - azimuth_rad)
    }

    /// Light in front per lumen of output.
    pub fn efficiency(&self) -> f64 {
        self.in_front_lm / self.rated_lm
    }

    fn of(file: String, photometry: Photometry) -> Self {
        let lamps_lm = photometry
            .lumens_per_lamp
            .map(|one| one * f64::from(photometry.lamps));
        Self {
            rated_lm: lamps_lm.unwrap_or_else(|| photometry.lumens(Rule::Linear)),
            in_front_lm: in_front_lm(&photometry),
            file,
            photometry,
        }
    }
}

/// Whether the plane of 0 is upright: types A and B are measured level, with up as up.
fn stands_up(photometry: &Photometry) -> bool {
    photometry.table().goniometry() != Goniometry::C
}

/// Lumens within 90 degrees of the aim.
fn in_front_lm(photometry: &Photometry) -> f64 {
    let table = photometry.table();
    let (angles, planes) = (table.vertical_deg(), table.horizontal_deg());
    let reaches_back = angles.last().is_some_and(|last| *last > 90.0);
    // Types A and B have no angles behind.
    if table.goniometry() != Goniometry::C || !reaches_back {
        return photometry.lumens(Rule::Linear);
    }
    if angles[0] > 0.0 {
        return 0.0;
    }
    let inside = angles.iter().filter(|a| **a < 90.0).count();
    let level = |plane_deg: f64| {
        photometry.intensity_cd(FRAC_PI_2, plane_deg.to_radians()) / photometry.factor()
    };
    let candela = table
        .planes()
        .zip(planes)
        .flat_map(|(plane, deg)| plane[..inside].iter().copied().chain([level(*deg)]))
        .collect();
    let vertical_deg = angles[..inside].iter().copied().chain([90.0]).collect();
    lm63::Table::new(Goniometry::C, vertical_deg, planes.to_vec(), candela).map_or(0.0, |front| {
        Photometry::new(front).lumens(Rule::Linear) * photometry.factor()
    })
}

/// The light of a measured modifier, its kind, and the depth of its body.
pub(super) fn read_measured(
    log: &Log,
    t: &Table<'_>,
    from: Origin<'_>,
) -> Option<(ModifierKind, Arc<MeasuredField>, f64)> {
    let depth_m = t.read(log, "depth", quantity(&DEPTH));
    let own_face = own_face(log, t);
    let file = t.require(log, "file", name)?;
    let photometry = read_file(log, t, &file, from)?;
    let kind = own_face?.or_else(|| file_face(log, t, &photometry))?;
    let field = MeasuredField::of(file, photometry);
    check_light(log, t, &field)?;
    Some((kind, Arc::new(field), depth_m.unwrap_or(USUAL_DEPTH_M)))
}

/// The face by `size` or `diameter`: `Some(None)` where neither is there, `None` where it is faulty.
fn own_face(log: &Log, t: &Table<'_>) -> Option<Option<ModifierKind>> {
    let how = written("width x height", "0.9 x 1.2 m", |s| size_2d(s, &SIDE));
    match (t.has("size"), t.has("diameter")) {
        (false, false) => Some(None),
        (true, false) => {
            let [w_m, h_m] = t.read(log, "size", how)?;
            Some(Some(ModifierKind::Measured {
                w_m,
                h_m,
                is_round: false,
            }))
        }
        (false, true) => {
            let diameter_m = t.read(log, "diameter", quantity(&SIDE))?;
            Some(Some(round(diameter_m)))
        }
        (true, true) => {
            t.conflict(
                log,
                "diameter",
                "a face has a size or a diameter, not both",
                "remove the one that it has not",
            );
            None
        }
    }
}

fn round(diameter_m: f64) -> ModifierKind {
    ModifierKind::Measured {
        w_m: diameter_m,
        h_m: diameter_m,
        is_round: true,
    }
}

/// The face by the file's opening, as seen along the axis.
fn file_face(log: &Log, t: &Table<'_>, photometry: &Photometry) -> Option<ModifierKind> {
    let opening = photometry.opening;
    // Its length lies in the plane of 0.
    let (length_m, width_m) = (opening.length_m, opening.width_m);
    let [w_m, h_m] = if stands_up(photometry) {
        [width_m, length_m]
    } else {
        [length_m, width_m]
    };
    let kind = match opening.shape {
        // An ellipse as the circle of its area.
        Shape::Disc | Shape::UprightCylinder | Shape::Ball => round((w_m * h_m).sqrt()),
        Shape::Point
        | Shape::Rectangle
        | Shape::CylinderAlongLength
        | Shape::CylinderAlongWidth
        | Shape::UprightDisc => ModifierKind::Measured {
            w_m,
            h_m,
            is_round: false,
        },
    };
    let sides = kind.face_m();
    if sides.iter().all(|s| SIDE.check(*s).is_ok()) {
        return Some(kind);
    }
    let said = if opening.facing_area_m2() > 0.0 {
        format!(
            "an opening of {} by {}, which is no face",
            metres(sides[0]),
            metres(sides[1])
        )
    } else {
        "no opening with an area, only a point or a line".to_owned()
    };
    log.error(
        Kind::Missing,
        &t.place_of("file"),
        format!("{}: its file has {said}", t.label),
        "add size = \"60 x 90 cm\" or diameter = \"20 cm\": what shines, from a tape measure",
    );
    None
}

/// Finds and reads the file; its problems carry its own path.
fn read_file(log: &Log, t: &Table<'_>, file: &str, from: Origin<'_>) -> Option<Photometry> {
    let found = from
        .library
        .map_or_else(|| Err(no_file(file)), |l| l.far_field(file, from.called));
    let found = match found {
        Ok(found) => found,
        Err(unknown) => {
            report_unknown(log, &t.place_of("file"), &unknown);
            return None;
        }
    };
    let shown = clip(file);
    match lm63::read(&found.bytes) {
        Ok(reading) => {
            if let Some(first) = reading.notes.first() {
                let all = reading.notes.len();
                warn(
                    log,
                    t,
                    format!(
                        "{shown} is not quite by the standard ({all} place{}, the first in line {}: {})",
                        if all == 1 { "" } else { "s" },
                        first.line,
                        first.message
                    ),
                    "it could be read all the same; look whether the light is as you know it",
                );
            }
            if reading.photometry.tilt.is_some() {
                warn(
                    log,
                    t,
                    format!("{shown} says that its lamp changes as it is tilted"),
                    "that is left out: the light is as it was measured, whichever way it hangs",
                );
            }
            Some(reading.photometry)
        }
        Err(problems) => {
            report_file(log, &found.display_path, &found.bytes, &problems.0);
            let message = format!("the photometric file {shown} of {} cannot be used", t.label);
            let hint = format!("mend {} as said there", found.display_path);
            log.error(Kind::UnknownName, &t.place_of("file"), message, hint);
            None
        }
    }
}

fn report_file(log: &Log, path: &str, bytes: &[u8], problems: &[lm63::Problem]) {
    // Lines end as the reader counts them.
    let text = String::from_utf8_lossy(bytes)
        .trim_start_matches('\u{feff}')
        .replace("\r\n", "\n")
        .replace('\r', "\n");
    log.add_file(path, &text);
    for problem in problems.iter().take(MOST_TOLD) {
        let place = Place {
            file: path,
            span: span_at(&text, problem.line, problem.column),
        };
        log.error(Kind::Syntax, &place, &*problem.message, &*problem.hint);
    }
}

/// The word at a line and column, both from 1.
fn span_at(text: &str, line: usize, column: usize) -> Range<usize> {
    let line_start: usize = text
        .split_inclusive('\n')
        .take(line.saturating_sub(1))
        .map(str::len)
        .sum();
    let rest = &text[line_start..];
    let in_line = rest.split('\n').next().unwrap_or("");
    let start = in_line
        .char_indices()
        .nth(column.saturating_sub(1))
        .map_or(in_line.len(), |(at, _)| at);
    let word = in_line[start..]
        .find(|c: char| c.is_whitespace() || c == ',')
        .unwrap_or(in_line.len() - start);
    line_start + start..line_start + start + word
}

/// Whether there is light to use, and what is left of it.
fn check_light(log: &Log, t: &Table<'_>, field: &MeasuredField) -> Option<()> {
    let file = clip(&field.file);
    let all_lm = field.photometry.lumens(Rule::Linear);
    if field.in_front_lm <= 0.0 || !field.efficiency().is_finite() {
        log.error(
            Kind::OutOfRange,
            &t.place_of("file"),
            format!("{}: {file} gives no light in front", t.label),
            "its aim (0 degrees, mostly straight down) must be where the light goes",
        );
        return None;
    }
    let behind = 1.0 - field.in_front_lm / all_lm;
    if behind > LITTLE {
        warn(
            log,
            t,
            format!(
                "{:.1} % of the light of {file} goes more than 90 degrees off the axis, and is left out",
                100.0 * behind
            ),
            "a measured light shines from its face alone",
        );
    }
    if field.efficiency() > 1.0 + LITTLE {
        warn(
            log,
            t,
            format!(
                "{file} gives {:.0} lm, but its lamps only {:.0} lm",
                all_lm, field.rated_lm
            ),
            "for absolute photometry its lumens per lamp must be -1",
        );
    }
    Some(())
}

fn warn(log: &Log, t: &Table<'_>, message: String, hint: &str) {
    let place = t.place_of("file");
    let message = format!("{}: {message}", t.label);
    log.add(Severity::Warning, Kind::OutOfRange, &place, message, hint);
}

/// The answer where no such files are kept.
pub(super) fn no_file(file: &str) -> UnknownName {
    UnknownName {
        what: "photometric file",
        name: file.to_owned(),
        known: Vec::new(),
        detail: "none can be read here".to_owned(),
    }
}
