//! The order of the build, step by step, from what the setup says.

use super::content::Step;
use super::figures::{degrees, length, shutter, sides_cm, significant};
use super::placement::{self, bearing, point};
use super::readings::{self, f_number, held, read, target};
use crate::measure::take::Take;
use crate::report::labels::{self, step};
use crate::setup::{
    Aim, Backdrop, Board, Light, Place, PointSpec, Seamless, Setting, Setup, Stand, WhiteBalance,
};
use glam::DVec3;

/// Heights and faces from which a stand needs more weight (common practice).
pub(super) const TALL_M: f64 = 2.0;
pub(super) const SAIL_M2: f64 = 0.8;

/// All steps: backdrop, mark, camera, weights, boards and flags from the rear (the large first), lights
/// from the rear, cables, the figure, each light metered alone, all together. Weights come before the
/// loads they hold.
pub(super) fn steps(take: &Take) -> Vec<Step> {
    let setup = &take.setup;
    let mut steps = vec![
        backdrop(setup),
        Step::new(step::MARK, step::MARK_BODY),
        camera(setup),
    ];
    let mut boards: Vec<&Board> = setup.boards.iter().collect();
    boards.sort_by(|a, b| {
        let rear = |board: &Board| board.frame.origin_m.z;
        let area = |board: &Board| board.size_m[0] * board.size_m[1];
        rear(a)
            .total_cmp(&rear(b))
            .then(area(b).total_cmp(&area(a)))
    });
    let mut lights: Vec<&Light> = setup.lights.iter().collect();
    lights.sort_by(|a, b| a.position_m().z.total_cmp(&b.position_m().z));
    if !(boards.is_empty() && lights.is_empty()) {
        steps.push(sandbags(setup));
    }
    steps.extend(boards.into_iter().map(board));
    steps.extend(lights.into_iter().map(light));
    if !setup.lights.is_empty() {
        steps.push(Step::new(step::CABLES, step::CABLES_BODY));
    }
    if let Some(figure) = &setup.figure {
        let turn = (figure.turn_rad.to_degrees().abs() >= 0.5)
            .then(|| labels::to_side(&degrees(figure.turn_rad), figure.turn_rad < 0.0));
        steps.push(Step::new(step::FIGURE, step::figure(turn)));
    }
    steps.extend(metering(take));
    steps.push(together(take));
    steps
}

impl Step {
    fn new(head: impl Into<String>, body: impl Into<String>) -> Self {
        Self {
            head: head.into(),
            body: body.into(),
        }
    }
}

fn backdrop(setup: &Setup) -> Step {
    let mut body = match &setup.backdrop {
        Backdrop::None => step::BACKDROP_CLEAR.to_owned(),
        Backdrop::Seamless(paper) => seamless(paper),
    };
    if let Some(shell) = &setup.room.shell {
        let across = |[from, to]: [f64; 2]| length(to - from);
        body = format!(
            "{} {body}",
            step::room(
                &across(shell.x_m),
                &across(shell.z_m),
                &length(shell.height_m)
            )
        );
    }
    Step::new(step::BACKDROP, body)
}

fn seamless(paper: &Seamless) -> String {
    step::seamless(
        &length(paper.width_m),
        &length(paper.behind_m),
        &length(paper.height_m),
        &step::reach(&length(paper.forward_m.abs()), paper.forward_m >= 0.0),
    )
}

fn camera(setup: &Setup) -> Step {
    let camera = &setup.camera;
    let (distance_m, bearing_rad, height_m) = Place::At(camera.position_m).taped();
    let stands = labels::camera_stands(
        &length(distance_m),
        &bearing(distance_m, bearing_rad),
        &length(height_m),
    );
    let lens = format!("{} mm", significant(1000.0 * camera.focal_length_m, 3));
    let aimed = point(&PointSpec::At(camera.aim_point_m));
    let body = step::camera(&stands, &aimed, &lens, camera.upright)
        + &step::camera_set(
            &shutter(camera.shutter_s),
            &significant(camera.iso, 4),
            &length(camera.focus_m),
        );
    Step::new(step::CAMERA, body)
}

fn board(board: &Board) -> Step {
    let size = step::size(
        &sides_cm(board.size_m),
        &placement::finish_in_words(&board.kind),
    );
    let body = [
        stood(board.stand, &board.place),
        aimed(
            &board.aim,
            board.aim_point_m,
            board.frame.origin_m,
            board.frame.z,
        ),
    ];
    Step::new(
        step::head(&board.name, board.kind.word()),
        format!("{}. {}.", capital(&size), body.join(", ")),
    )
}

fn light(light: &Light) -> Step {
    let mut body = vec![
        stood(light.stand, &light.place),
        aimed(
            &light.aim,
            light.aim_point_m,
            light.position_m(),
            light.direction(),
        ),
    ];
    body.extend(placement::spread_in_words(light));
    body.extend(placement::extras(&light.modifier));
    body.extend(placement::colour(light));
    let off = if light.on {
        String::new()
    } else {
        format!(" {}", step::off())
    };
    Step::new(
        step::head(&light.name, &placement::modifier_name(&light.modifier)),
        format!("{}.{off}", body.join(", ")),
    )
}

fn stood(stand: Stand, place: &Place) -> String {
    let (distance_m, bearing_rad, height_m) = place.taped();
    let (distance, bearing) = (length(distance_m), bearing(distance_m, bearing_rad));
    let stood = match stand {
        Stand::Upright => step::stand(&distance, &bearing),
        Stand::Boom => step::boom(&distance, &bearing),
        Stand::None => step::held(&distance, &bearing),
    };
    format!("{stood}, {}", step::up(&length(height_m)))
}

fn aimed(aim: &Aim, at_m: DVec3, from_m: DVec3, direction: DVec3) -> String {
    let string = labels::to_point(&length(from_m.distance(at_m)));
    let mut text = step::aimed(&point(&aim.at), &string, &placement::tilt(direction));
    for feather in &aim.feather {
        text = format!("{text}, {}", placement::feather(feather));
    }
    text
}

/// Names of lights and boards on stands, each with its height, face area and how it is held.
pub(super) fn loads(setup: &Setup) -> impl Iterator<Item = (&str, DVec3, f64, Stand)> {
    let lights = setup.lights.iter().map(|l| {
        let [w, h] = l.modifier.kind.face_m();
        (l.name.as_str(), l.position_m(), w * h, l.stand)
    });
    let boards = setup.boards.iter().map(|b| {
        let area = b.size_m[0] * b.size_m[1];
        (b.name.as_str(), b.frame.origin_m, area, b.stand)
    });
    lights.chain(boards)
}

fn sandbags(setup: &Setup) -> Step {
    let named = |keep: &dyn Fn(DVec3, f64, Stand) -> bool| -> String {
        let names: Vec<&str> = loads(setup)
            .filter(|(_, at, area, stand)| keep(*at, *area, *stand))
            .map(|(name, ..)| name)
            .collect();
        names.join(", ")
    };
    let booms = named(&|_, _, stand| stand == Stand::Boom);
    let tall =
        named(&|at, area, stand| stand == Stand::Upright && (at.y >= TALL_M || area >= SAIL_M2));
    let mut body = step::SANDBAGS_BODY.to_owned();
    if !tall.is_empty() {
        body += &step::tall(&tall);
    }
    if !booms.is_empty() {
        body += &step::booms(&booms);
    }
    Step::new(step::SANDBAGS, body)
}

/// Each light that is on, the strongest where the exposure is read first.
fn metering(take: &Take) -> Vec<Step> {
    let strength = |i: usize| {
        let alone = take.expose_at.lights.get(i);
        alone.map_or(0.0, |r| r.exposure_lx_s.value)
    };
    let mut order: Vec<usize> = (0..take.setup.lights.len())
        .filter(|i| take.setup.lights[*i].on)
        .collect();
    order.sort_by(|a, b| strength(*b).total_cmp(&strength(*a)));
    order.into_iter().map(|i| meter(take, i)).collect()
}

fn meter(take: &Take, i: usize) -> Step {
    let light = &take.setup.lights[i];
    let cell = readings::power(take, i);
    let power = match take.balanced.get(i).and_then(|b| b.power) {
        Some(_) => step::start_from(&labels::joined(&[&cell.text, &cell.under])),
        None => String::new(),
    };
    let body = match &light.output.setting {
        Setting::Meters { f_number: n, at } => {
            step::meter(&placement::metered_at(at), &held(at), &target(*n), &power)
        }
        Setting::Power(_) => {
            let at = &take.expose_at;
            let reading = at.lights.get(i).map_or("–".into(), read);
            step::meter(&at.meter.name, &held(&at.meter), &reading, &power)
        }
    };
    Step::new(step::meter_head(&light.name), body)
}

fn together(take: &Take) -> Step {
    let readings: Vec<String> = std::iter::once(&take.expose_at)
        .chain(
            take.points
                .iter()
                .filter(|p| p.meter != take.expose_at.meter),
        )
        .map(|p| format!("{} {}", p.meter.name, read(&p.together)))
        .collect();
    let balance = match take.setup.camera.white_balance {
        WhiteBalance::GreyCard => labels::grey_card_at(&take.expose_at.meter.name),
        WhiteBalance::Kelvin(k) => format!("{k:.0} K"),
        WhiteBalance::None => labels::NO_BALANCE.into(),
    };
    Step::new(
        step::TOGETHER,
        step::together(&readings.join(", "), &f_number(take.f_number)) + &step::test(&balance),
    )
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}
