//! What a meter reads, what each light is set to, how the camera stands and how the light is.

use super::content::{Cell, ClothSeen, Column, Fact, SheetTable};
use super::figures;
use super::figures::{amount, length, mm, ratio, shutter, significant};
use super::placement::{bearing, metered_at};
use crate::measure::edge::Edge;
use crate::measure::readings::{PointReading, Reading};
use crate::measure::take::Take;
use crate::measure::weave_contrast::WeaveContrast;
use crate::photometry::dial::on_dial;
use crate::photometry::exposure::Receptor;
use crate::photometry::fnumber::FNumber;
use crate::report::labels;
use crate::setup::{Aperture, Facing, MeterPoint, Place, Setting, WhiteBalance};

/// Points beside each other in one table.
const MOST_POINTS: usize = 7;

/// A row for each light alone and one for all together, a column for each point; as many tables as
/// the points need.
pub(super) fn tables(take: &Take) -> Vec<SheetTable> {
    let mut tables: Vec<SheetTable> = take
        .points
        .chunks(MOST_POINTS)
        .map(|points| table(take, points))
        .collect();
    if let Some(last) = tables.last_mut() {
        last.note = labels::READINGS_NOTE.into();
    }
    tables
}

fn table(take: &Take, points: &[PointReading]) -> SheetTable {
    let mut columns = vec![Column::words(labels::column::ALONE, 30.0)];
    columns.extend(
        points
            .iter()
            .map(|p| Column::words(&p.meter.name, 150.0 / points.len() as f64)),
    );
    let mut table = SheetTable::new(labels::READINGS, columns);
    let row = |name: String, of: &dyn Fn(&PointReading) -> String| {
        let mut cells = vec![Cell::new(name)];
        cells.extend(points.iter().map(|p| Cell::new(of(p))));
        cells
    };
    for (i, light) in take.setup.lights.iter().enumerate() {
        table.rows.push(row(light.name.clone(), &|p| {
            if light.on {
                p.lights.get(i).map_or("–".into(), read)
            } else {
                labels::OFF.into()
            }
        }));
    }
    table
        .rows
        .push(row(labels::TOGETHER.into(), &|p| read(&p.together)));
    table
        .rows
        .push(row(labels::RECEPTOR.into(), &|p| held(&p.meter)));
    table
}

/// "f/8 +.3", or that there is no light.
pub(super) fn read(reading: &Reading) -> String {
    reading.f_number.map_or(labels::DARK.into(), on_dial)
}

/// How the meter is held: "flat, to the camera".
pub(super) fn held(meter: &MeterPoint) -> String {
    let kind = match meter.receptor {
        Receptor::Flat => labels::FLAT,
        Receptor::Dome => labels::DOME,
    };
    let to = match &meter.facing {
        Facing::Camera => labels::TO_CAMERA.into(),
        Facing::Light(light) => labels::to_light(light),
        Facing::Up => labels::TO_CEILING.into(),
        Facing::Direction(d) => labels::to_direction(
            &bearing(d.x.hypot(d.z), d.x.atan2(d.z)),
            &super::placement::tilt(*d),
        ),
    };
    format!("{kind}, {to}")
}

/// A row for each light: what it should read alone, what its head is set to, how much stronger the
/// key is, how soft its shadow.
pub(super) fn settings(take: &Take) -> SheetTable {
    use labels::column as head;
    let mut table = SheetTable::new(
        labels::SETTINGS,
        vec![
            Column::words(head::LIGHT, 34.0),
            Column::words(head::METERS_ALONE, 40.0),
            Column::words(head::POWER, 34.0),
            Column::numbers(head::OUTPUT, 26.0),
            Column::numbers(head::KEY_TO_IT, 22.0),
            Column::numbers(head::EDGE, 24.0),
        ],
    );
    for (i, (light, b)) in take.setup.lights.iter().zip(&take.balanced).enumerate() {
        let target = match (&light.output.setting, light.on) {
            (_, false) => Cell::new(labels::OFF),
            (Setting::Meters { f_number, at }, true) => Cell::with(
                labels::reading_at(&target(*f_number), &metered_at(at)),
                held(at),
            ),
            (Setting::Power(_), true) => {
                let at = &take.expose_at;
                let text = at.lights.get(i).map_or("–".into(), read);
                Cell::with(labels::reading_at(&text, &at.meter.name), labels::AS_SET)
            }
        };
        let ratio_of = take.ratios.iter().find(|r| r.fill == light.name);
        let is_key = take.ratios.iter().any(|r| r.key == light.name);
        let edge = take.edges.iter().find(|e| e.light == light.name);
        table.rows.push(vec![
            Cell::new(&light.name),
            target,
            power(take, i),
            Cell::new(amount(b.amount, b.continuous)),
            Cell::new(match (ratio_of, is_key) {
                (Some(r), _) => ratio(r.key_to_fill),
                (None, true) => labels::KEY.into(),
                (None, false) => "–".into(),
            }),
            edge.map_or(Cell::new("–"), |e| Cell::new(edge_mm(&e.edge))),
        ]);
    }
    table.note = labels::settings_note(&take.expose_at.meter.name);
    table
}

/// What to turn the head's dial to, and how far that is off.
pub(super) fn power(take: &Take, light: usize) -> Cell {
    let Some(b) = take.balanced.get(light) else {
        return Cell::new("–");
    };
    match (b.head, b.power) {
        (Some(head), _) => {
            let off = match head.limit {
                Some(limit) => labels::beyond(limit, &signed_stops(head.error_stops)),
                None if head.error_stops.abs() >= 0.05 => {
                    labels::off_by(&signed_stops(head.error_stops))
                }
                None => String::new(),
            };
            Cell::with(head.power.to_string(), off)
        }
        (None, Some(power)) => Cell::new(power.to_string()),
        (None, None) => Cell::new(labels::BY_METER),
    }
}

fn signed_stops(stops: f64) -> String {
    let sign = if stops < 0.0 { '−' } else { '+' };
    format!("{sign}{:.1}", stops.abs())
}

fn edge_mm(edge: &Edge) -> String {
    let (least, greatest) = (
        significant(edge.least_mm, 2),
        significant(edge.greatest_mm, 2),
    );
    if least == greatest {
        mm(edge.least_mm)
    } else {
        format!("{least}–{greatest} mm")
    }
}

/// A target as it was written: "f/2.8".
pub(super) fn target(n: f64) -> String {
    format!("f/{}", significant(n, 3))
}

/// "f/8", "f/8 +.3".
pub(super) fn f_number(n: f64) -> String {
    FNumber::exact(n).map_or("–".into(), on_dial)
}

/// How the camera is set and where it stands.
pub(super) fn camera(take: &Take) -> Vec<Fact> {
    let camera = &take.setup.camera;
    let (distance_m, bearing_rad, height_m) = Place::At(camera.position_m).taped();
    let aperture = match camera.f_number {
        Aperture::AsMetered => {
            labels::as_metered_at(&f_number(take.f_number), &take.expose_at.meter.name)
        }
        Aperture::Set(n) => labels::as_set_meter_reads(
            &target(n),
            &take.expose_at.meter.name,
            &read(&take.expose_at.together),
        ),
    };
    vec![
        Fact::new(labels::APERTURE, aperture),
        Fact::new(
            labels::SHUTTER,
            labels::shutter_and_iso(&shutter(camera.shutter_s), &significant(camera.iso, 4)),
        ),
        Fact::new(
            labels::LENS,
            labels::lens_and_focus(
                &significant(1000.0 * camera.focal_length_m, 3),
                &length(camera.focus_m),
            ),
        ),
        Fact::new(
            labels::STANDS,
            labels::camera_stands(
                &length(distance_m),
                &bearing(distance_m, bearing_rad),
                &length(height_m),
            ),
        ),
        Fact::new(
            labels::WHITE_BALANCE,
            match camera.white_balance {
                WhiteBalance::GreyCard => labels::grey_card_at(&take.expose_at.meter.name),
                WhiteBalance::Kelvin(k) => format!("{k:.0} K"),
                WhiteBalance::None => labels::NO_BALANCE.into(),
            },
        ),
    ]
}

/// How the light is, as far as it is measured.
pub(super) fn quality(take: &Take, cloth: Option<&ClothSeen>) -> Vec<Fact> {
    let mut facts: Vec<Fact> = Vec::new();
    let edges: Vec<String> = take
        .edges
        .iter()
        .map(|e| format!("{} {}", e.light, edge_mm(&e.edge)))
        .collect();
    if !edges.is_empty() {
        facts.push(Fact::new(labels::SHADOW_EDGE, edges.join(", ")));
    }
    if let Some(stops) = take.evenness_stops {
        facts.push(Fact::new(labels::EVENNESS, labels::evenness(stops)));
    }
    let ratios: Vec<String> = take
        .ratios
        .iter()
        .map(|r| labels::key_to(&r.key, &r.fill, &ratio(r.key_to_fill)))
        .collect();
    if !ratios.is_empty() {
        facts.push(Fact::new(labels::RATIO, ratios.join(", ")));
    }
    if let Some([relief, as_dyed]) = cloth.and_then(|c| c.weave.as_ref()) {
        facts.push(Fact::new(
            labels::TEXTURE,
            labels::texture(&contrast(relief), &contrast(as_dyed)),
        ));
    }
    facts
}

fn contrast(weave: &WeaveContrast) -> String {
    figures::percent(weave.rms_without_noise.map_or(weave.rms, |n| n.value))
}
