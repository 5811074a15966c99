//! The meter itself: its constant, and how it was held.

use super::build::{OUTPUT_SD_STOPS, in_the_mix, stops};
use super::*;
use crate::setup::Facing;

/// Two good meters agree within this (common practice).
const METER_SD_STOPS: f64 = 0.15;

/// What the meter's constant does, known a little from what other lights read.
pub(super) fn meter(take: &Take, rows: &[&Row], others: &[f64]) -> Cause {
    // Each other light says what the meter does to within what its own output is known.
    let (own, other) = (
        METER_SD_STOPS.powi(-2),
        OUTPUT_SD_STOPS.hypot(0.15).powi(-2),
    );
    let precision = own + other * others.len() as f64;
    let mean = other * others.iter().sum::<f64>() / precision;
    let sd = precision.powf(-0.5);
    let constants = take.setup.meter.constants;
    let receptor = rows.first().map_or(Receptor::Flat, |r| r.meter.receptor);
    let constant = receptor.constant(&constants);
    let at = [mean - 12.0 * sd, mean + 12.0 * sd];
    Cause {
        kind: CauseKind::Meter,
        plausibility: 0.08,
        beforehand: "two good meters agree within 0.15 stop; then all lights read off alike \
                     (common practice)"
            .into(),
        words: Box::new(move |x| {
            let way = if x < 0.0 { "low" } else { "high" };
            let then = constant * (-x).exp2();
            let off = stops(x);
            format!("the meter reads {off} {way}: constant {then:.0} instead of {constant:.0}")
        }),
        likely: Likely::About {
            mean,
            sd,
            limits: [-2.0, 2.0],
        },
        nodes: at.map(|x| (x, vec![x; rows.len()])).to_vec(),
    }
}

/// The meter held otherwise: with its other receptor, or turned the other way.
pub(super) fn held(take: &Take, tables: &Tables, rows: &[&Row], lights: &[usize]) -> Vec<Cause> {
    let Some(first) = rows.first() else {
        return Vec::new();
    };
    let shining: Vec<Changed> = take
        .setup
        .lights
        .iter()
        .map(|light| Changed::new(light.clone(), tables))
        .collect();
    let constants = &take.setup.meter.constants;
    // What each reading changes by when its meter is another one; what comes by way of walls is
    // taken to change with the rest.
    let effect = |row: &Row, other: &MeterPoint| {
        let times = shining.iter().zip(&row.shares).map(|(light, share)| {
            let seen = light.at(&row.meter, row.meter.receptor);
            match *share > 0.0 && seen > 0.0 {
                true => share * light.at(other, other.receptor) / seen,
                false => *share,
            }
        });
        let times: f64 = times.sum();
        let constant = row.meter.receptor.constant(constants) / other.receptor.constant(constants);
        in_the_mix(1.0, times * constant)
    };
    let cause =
        |kind, plausibility, says: String, other: &dyn Fn(&MeterPoint) -> MeterPoint| Cause {
            kind,
            plausibility,
            beforehand: "forgotten a few times in a hundred (common practice)".into(),
            words: Box::new(move |_| says.clone()),
            likely: Likely::OneOf(vec![(1.0, 1.0)]),
            nodes: vec![(
                1.0,
                rows.iter()
                    .map(|row| effect(row, &other(&row.meter)))
                    .collect(),
            )],
        };
    let (says, other) = match first.meter.receptor {
        Receptor::Flat => (
            "read with the dome instead of the flat disc",
            Receptor::Dome,
        ),
        Receptor::Dome => (
            "read with the flat disc instead of the dome",
            Receptor::Flat,
        ),
    };
    let mut found = vec![cause(CauseKind::Receptor, 0.04, says.into(), &|meter| {
        MeterPoint {
            receptor: other,
            ..meter.clone()
        }
    })];
    let turned_to = |to_m: DVec3, meter: &MeterPoint| MeterPoint {
        direction: (to_m - meter.position_m).normalize_or(meter.direction),
        ..meter.clone()
    };
    match (&first.meter.facing, lights) {
        (Facing::Camera, &[one]) => {
            let light = &take.setup.lights[one];
            let says = format!("the meter turned to {} instead of the camera", light.name);
            let to_m = light.position_m();
            let turn = |meter: &MeterPoint| turned_to(to_m, meter);
            found.push(cause(CauseKind::Facing, 0.06, says, &turn));
        }
        (Facing::Light(name), _) => {
            let says = format!("the meter turned to the camera instead of {name}");
            let to_m = take.setup.camera.position_m;
            let turn = |meter: &MeterPoint| turned_to(to_m, meter);
            found.push(cause(CauseKind::Facing, 0.06, says, &turn));
        }
        _ => {}
    }
    found
}
