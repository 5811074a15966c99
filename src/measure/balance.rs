//! What each light must give: as set, or solved on its own layer so that it alone reads its
//! target; and what its head can make of that.

use super::gather::Gathered;
use crate::photometry::PowerFraction;
use crate::photometry::exposure::exposure_from_fnumber_lx_s;
use crate::photometry::flash::{PowerLimit, PowerRange};
use crate::photometry::fnumber::FNumber;
use crate::scene::studio::Studio;
use crate::setup::{Light, MeterPoint, Setting, Setup};

/// What one light is set to.
#[derive(Debug, Clone, PartialEq)]
pub struct Balanced {
    /// The light's name.
    pub light: String,
    /// Lumen-seconds, or lumens for a continuous lamp.
    pub amount: f64,
    /// Whether `amount` is in lumens.
    pub continuous: bool,
    /// Share of full output, where the setup states full output.
    pub power: Option<PowerFraction>,
    /// The target that `amount` was solved for: f-number, and the point's name.
    pub target: Option<(f64, String)>,
    /// What the head can be set to instead, where the setup states its range.
    pub head: Option<HeadSetting>,
    /// Whether it is switched on.
    pub on: bool,
}

/// The nearest that a head can do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeadSetting {
    /// Setting on the dial.
    pub power: PowerFraction,
    /// How much brighter than wanted, in stops.
    pub error_stops: f64,
    /// The end of the range that the wish lay beyond.
    pub limit: Option<PowerLimit>,
}

/// Why a target cannot be solved.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "light \"{light}\": next to none of its light reaches the meter at \"{point}\", so no output makes it read f/{f_number}; \
     aim it there, turn the meter to it (facing = \"light {light}\"), or move the target"
)]
pub struct OutOfReach {
    /// The light's name.
    pub light: String,
    /// The meter point's name.
    pub point: String,
    /// The target.
    pub f_number: f64,
}

/// Solves every light. Amounts are exact; heads' steps are reported beside them.
///
/// # Errors
/// [`OutOfReach`] where a light does not reach its target's meter.
pub fn balance(
    setup: &Setup,
    studio: &Studio,
    gathered: &Gathered,
) -> Result<Vec<Balanced>, OutOfReach> {
    setup
        .lights
        .iter()
        .enumerate()
        .map(|(i, light)| {
            let (amount, target) = match &light.output.setting {
                Setting::Power(_) => (light.output.set_amount().unwrap_or(0.0), None),
                Setting::Meters { f_number, at } => (
                    solve(setup, studio, gathered, i, *f_number, at)?,
                    Some((*f_number, at.name.clone())),
                ),
            };
            let power = light
                .output
                .full
                .and_then(|full| PowerFraction::new(amount / full.amount()));
            let head = power.and_then(|wanted| head_setting(light.head?, wanted));
            Ok(Balanced {
                light: light.name.clone(),
                amount,
                continuous: light.output.continuous,
                power,
                target,
                head,
                on: light.on,
            })
        })
        .collect()
}

fn head_setting(range: PowerRange, wanted: PowerFraction) -> Option<HeadSetting> {
    let nearest = range.nearest(wanted);
    Some(HeadSetting {
        power: nearest.power,
        error_stops: nearest.error_stops,
        limit: nearest.limit,
    })
}

fn solve(
    setup: &Setup,
    studio: &Studio,
    gathered: &Gathered,
    light: usize,
    f_number: f64,
    at: &MeterPoint,
) -> Result<f64, OutOfReach> {
    let out_of_reach = || OutOfReach {
        light: setup.lights[light].name.clone(),
        point: at.name.clone(),
        f_number,
    };
    let meter = studio.meter(at).ok_or_else(out_of_reach)?;
    let unit = gathered.alone(meter, light, studio.light_rgb[light]);
    let wanted = FNumber::exact(f_number).ok_or_else(out_of_reach)?;
    let constant = at.receptor.constant(&setup.meter.constants);
    let exposure = exposure_from_fnumber_lx_s(wanted, setup.camera.iso, constant);
    // A reading that is nothing but noise is no reading.
    if unit.value <= 0.0 || unit.value < 3.0 * unit.error {
        return Err(out_of_reach());
    }
    Ok(exposure / (unit.value * time_s(setup, &setup.lights[light])))
}

/// What turns an amount into exposure: 1 for a flash, the shutter for a continuous lamp.
pub fn time_s(setup: &Setup, light: &Light) -> f64 {
    if light.output.continuous {
        setup.camera.shutter_s
    } else {
        1.0
    }
}

/// Exposure that each light puts into the mix: amount times time, 0 when off.
pub fn exposure_amounts(setup: &Setup, balanced: &[Balanced]) -> Vec<f64> {
    setup
        .lights
        .iter()
        .zip(balanced)
        .map(|(light, b)| {
            if b.on {
                b.amount * time_s(setup, light)
            } else {
                0.0
            }
        })
        .collect()
}
