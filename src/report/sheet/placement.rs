//! Where each light and board stands, in the words the assistant tapes it out with.

use super::content::{Cell, Column, SheetTable};
use super::figures::{cm, degrees, length, percent, sides_cm, significant};
use crate::report::labels;
use crate::setup::{
    Aim, Board, BoardKind, Feather, Finish, Light, MeterPoint, Modifier, Place, PointSpec, Setup,
    Stand,
};
use glam::DVec3;

/// Nearer to the mark than this no bearing can be taken.
const AT_MARK_M: f64 = 0.005;

/// The table of all lights, then all boards.
pub(super) fn table(setup: &Setup) -> SheetTable {
    use labels::column as head;
    let mut table = SheetTable::new(
        labels::PLACEMENT,
        vec![
            Column::words(head::WHAT, 36.0),
            Column::numbers(head::DISTANCE, 16.0),
            Column::words(head::BEARING, 20.0),
            Column::numbers(head::HEIGHT, 15.0),
            Column::words(head::AIM, 32.0),
            Column::words(head::SET_TO, 26.0),
            Column::words(head::FITTED, 35.0),
        ],
    );
    table.rows.extend(setup.lights.iter().map(of_light));
    table.rows.extend(setup.boards.iter().map(of_board));
    table.note = labels::PLACEMENT_NOTE.into();
    table
}

fn of_light(light: &Light) -> Vec<Cell> {
    let [distance, bearing, height] = taped(&light.place);
    let face = light.modifier.kind.face_m();
    vec![
        Cell::with(
            &light.name,
            labels::joined(&[&modifier_name(&light.modifier), &sides_cm(face)]),
        ),
        distance,
        bearing,
        height,
        aim(
            &light.aim,
            light.aim_point_m,
            light.position_m(),
            light.direction(),
        ),
        spread(light),
        fitted(light),
    ]
}

fn of_board(board: &Board) -> Vec<Cell> {
    let [distance, bearing, height] = taped(&board.place);
    vec![
        Cell::with(
            &board.name,
            labels::joined(&[board.kind.word(), &sides_cm(board.size_m)]),
        ),
        distance,
        bearing,
        height,
        aim(
            &board.aim,
            board.aim_point_m,
            board.frame.origin_m,
            board.frame.z,
        ),
        finish(&board.kind),
        Cell::new(match held(board.stand, board.roll_rad).join(", ") {
            nothing if nothing.is_empty() => "–".into(),
            held => held,
        }),
    ]
}

/// What the modifier is called: its title if it has one.
pub(super) fn modifier_name(modifier: &Modifier) -> String {
    if modifier.title.is_empty() {
        modifier.name.clone()
    } else {
        modifier.title.clone()
    }
}

fn taped(place: &Place) -> [Cell; 3] {
    let (distance_m, bearing_rad, height_m) = place.taped();
    [
        Cell::new(length(distance_m)),
        Cell::new(bearing(distance_m, bearing_rad)),
        Cell::new(length(height_m)),
    ]
}

/// "45° left", by the camera's left.
pub(super) fn bearing(distance_m: f64, bearing_rad: f64) -> String {
    let off = bearing_rad.to_degrees().abs();
    if distance_m < AT_MARK_M {
        labels::ON_THE_MARK.into()
    } else if off < 0.5 {
        labels::TOWARD_CAMERA.into()
    } else if off > 179.5 {
        labels::STRAIGHT_BEHIND.into()
    } else {
        labels::to_side(&degrees(bearing_rad), bearing_rad < 0.0)
    }
}

/// A meter's point: its name, or where it is where it has none of its own.
pub(super) fn metered_at(meter: &MeterPoint) -> String {
    match meter.at {
        PointSpec::At(_) if meter.name.starts_with("at ") => point(&meter.at),
        _ => meter.name.clone(),
    }
}

/// The point's name, or its coordinates taped out.
pub(super) fn point(spec: &PointSpec) -> String {
    match spec {
        PointSpec::Named(name) => name.clone(),
        PointSpec::At(p) => {
            let (distance_m, bearing_rad, height_m) = Place::At(*p).taped();
            let height = length(height_m);
            if distance_m < AT_MARK_M {
                return labels::over_mark(&height);
            }
            let bearing = bearing(distance_m, bearing_rad);
            labels::point_at(&length(distance_m), &bearing, &height)
        }
    }
}

fn aim(aim: &Aim, aim_point_m: DVec3, from_m: DVec3, direction: DVec3) -> Cell {
    let mut under = vec![
        labels::to_point(&length(from_m.distance(aim_point_m))),
        tilt(direction),
    ];
    under.extend(aim.feather.iter().map(feather));
    Cell::with(point(&aim.at), under.join(", "))
}

/// How far it leans: "12° down".
pub(super) fn tilt(direction: DVec3) -> String {
    let up_rad = direction.y.clamp(-1.0, 1.0).asin();
    if up_rad.abs() < 0.5_f64.to_radians() {
        labels::LEVEL.into()
    } else {
        labels::tilted(&degrees(up_rad), up_rad < 0.0)
    }
}

/// "feathered 10° toward the camera".
pub(super) fn feather(feather: &Feather) -> String {
    labels::feathered(&degrees(feather.angle_rad), feather.toward)
}

fn spread(light: &Light) -> Cell {
    let Some(spread) = light.spread else {
        return Cell::new("–");
    };
    let plain = labels::spread(&significant(spread, 2));
    match (light.mark(), &light.modifier.scale) {
        (Some(mark), Some(scale)) => {
            // A mark that is zero but for rounding is zero.
            let mark = if mark.abs() < 1e-6 { 0.0 } else { mark };
            Cell::with(labels::at_mark(&scale.name, &significant(mark, 3)), plain)
        }
        _ => Cell::new(plain),
    }
}

/// How the spread is set, as one text; none where the lamp does not travel.
pub(super) fn spread_in_words(light: &Light) -> Option<String> {
    light.spread?;
    let cell = spread(light);
    Some(match cell.under.is_empty() {
        true => cell.text,
        false => format!("{} ({})", cell.text, cell.under),
    })
}

/// What hangs in, on and before a modifier, and how it is held.
fn fitted(light: &Light) -> Cell {
    let colour = colour(light).join(", ");
    let text: Vec<String> = extras(&light.modifier)
        .into_iter()
        .chain(held(light.stand, light.roll_rad))
        .collect();
    match (text.is_empty(), colour.is_empty()) {
        (true, true) => Cell::new("–"),
        (true, false) => Cell::new(colour),
        (false, _) => Cell::with(text.join(", "), colour),
    }
}

/// Cloths, grid, skirt, cover.
pub(super) fn extras(modifier: &Modifier) -> Vec<String> {
    let mut found = Vec::new();
    if modifier.cloth.is_some() {
        found.push(labels::FRONT_CLOTH.to_owned());
    }
    if modifier.baffle.is_some() {
        found.push(labels::BAFFLE.to_owned());
    }
    if let Some(grid) = modifier.grid {
        found.push(labels::grid(&degrees(grid.cutoff_rad())));
    }
    if let Some(skirt_m) = modifier.skirt_m {
        found.push(labels::skirt(&cm(skirt_m)));
    }
    if let Some(cover) = modifier.cover {
        found.push(labels::covered(&percent(cover.share), cover.side));
    }
    found
}

/// The lamp's colour and the gels before it.
pub(super) fn colour(light: &Light) -> Vec<String> {
    let mut found = vec![format!("{:.0} K", light.colour.kelvin)];
    if light.colour.gel_mired != 0.0 {
        found.push(labels::gel(light.colour.gel_mired));
    }
    if light.colour.filter != [1.0; 3] {
        found.push(labels::filter(light.colour.filter.map(percent)));
    }
    found
}

fn held(stand: Stand, roll_rad: f64) -> Vec<String> {
    let mut found = Vec::new();
    match stand {
        Stand::Upright => {}
        Stand::Boom => found.push(labels::ON_A_BOOM.to_owned()),
        Stand::None => found.push(labels::NO_STAND.to_owned()),
    }
    if roll_rad.to_degrees().abs() >= 0.5 {
        found.push(labels::rolled(&degrees(roll_rad), roll_rad > 0.0));
    }
    found
}

fn finish(kind: &BoardKind) -> Cell {
    match kind {
        BoardKind::Board { front, back } | BoardKind::Flag { front, back } if front == back => {
            Cell::new(finish_word(front))
        }
        BoardKind::Board { front, back } | BoardKind::Flag { front, back } => {
            Cell::with(finish_word(front), labels::back(finish_word(back)))
        }
        BoardKind::Scrim(cloth) => {
            Cell::new(labels::passes(&percent(cloth.straight + cloth.scattered)))
        }
    }
}

/// The front's finish, as one word; what a scrim passes.
pub(super) fn finish_in_words(kind: &BoardKind) -> String {
    finish(kind).text
}

fn finish_word(finish: &Finish) -> &'static str {
    match finish {
        Finish::White => labels::WHITE,
        Finish::Black => labels::BLACK,
        Finish::Silver => labels::SILVER,
        Finish::Grey18 => labels::GREY_18,
        Finish::Reflectance(_) => labels::PAINTED,
    }
}
