//! `[[light]]`.

use glam::DVec3;

use crate::photometry::PowerFraction;
use crate::photometry::flash::PowerRange;

use super::frame::Frame;
use super::keys;
use super::library::Library;
use super::model::{FullOutput, Light, LightColour, Modifier, ModifierKind, Output, Setting};
use super::place::{Points, read_aim, read_place, read_stand};
use super::problem::Kind;
use super::quantity::{F_NUMBER, KELVIN, MIRED, POWER, RANGE, ROLL, STEP, YIELD, output};
use super::read_extras::{read_extras, with_article};
use super::read_meter::MeterPointDraft;
use super::read_modifier::read_modifier;
use super::read_scale::read_setting;
use super::reader::{Fault, Log, Table, Value, type_name};
use super::values::{flag, items, number_in, quantity, refuse, rgb, written};

/// A usual tube's light for each stored joule; published measurements lie between 15 and 50.
pub(super) const USUAL_YIELD: f64 = 30.0;
/// Eight stops, as many heads have (common practice).
const USUAL_LEAST: f64 = 1.0 / 256.0;
const USUAL_KELVIN: f64 = 5600.0;

/// A light whose target reading still lacks its direction.
pub(super) struct LightDraft<'t> {
    pub table: Table<'t>,
    pub name: String,
    /// `None` when something about it is wrong.
    pub light: Option<Light>,
    /// With `meters`: the f-number, and where, unless that is `meter.expose_at`.
    pub target: Target<'t>,
}

pub(super) fn read_light<'t>(
    log: &Log,
    file: &'t str,
    value: Value<'t>,
    label: String,
    name: Option<String>,
    library: &dyn Library,
    points: &Points,
) -> Option<LightDraft<'t>> {
    let t = Table::open(log, file, value, &keys::LIGHT, label)?;
    if !t.has("name") {
        t.missing(
            log,
            &["name"],
            "`name`",
            "add name = \"key\" or another short label",
        );
    }
    let on = t.read(log, "on", flag).unwrap_or(true);
    let mut modifier = read_modifier(log, &t, library);
    if let Some(modifier) = &mut modifier {
        read_extras(log, &t).put_on(log, &t, modifier);
    } else {
        // Their own mistakes are told all the same.
        read_extras(log, &t);
    }
    let focus = t.read(log, "focus", number_in(0.0, 1.0));
    if let (Some(modifier), true) = (&mut modifier, t.has("focus")) {
        set_focus(log, &t, modifier, focus);
    }
    let (spread, by_mark) = read_setting(log, &t, modifier.as_ref());
    let place = read_place(log, &t);
    let aim = read_aim(log, &t, points, place.as_ref().map(|p| p.point_m()));
    let roll_rad = t.read(log, "roll", quantity(&ROLL)).unwrap_or(0.0);
    let stand = read_stand(log, &t);
    let (light_output, target, head) = read_output(log, &t, points);
    let colour = read_colour(log, &t);

    let known_name = name.clone().unwrap_or_default();
    let light = (|| {
        let (aim, aim_point_m, direction) = aim?;
        let place = place?;
        Some(Light {
            name: name?,
            modifier: modifier?,
            spread,
            by_mark,
            frame: Frame::facing(place.point_m(), direction, roll_rad),
            place,
            aim,
            aim_point_m,
            roll_rad,
            stand,
            output: light_output?,
            colour,
            on,
            head,
        })
    })();
    Some(LightDraft {
        table: t,
        name: known_name,
        light,
        target,
    })
}

fn set_focus(log: &Log, t: &Table<'_>, modifier: &mut Modifier, focus: Option<f64>) {
    match &mut modifier.kind {
        ModifierKind::LensSpot(spot) => spot.focus = focus.unwrap_or(spot.focus),
        kind => {
            let message = format!("{} has no focus", with_article(kind.word()));
            t.conflict(
                log,
                "focus",
                message,
                "remove focus: only a lens-spot has one",
            );
        }
    }
}

type Target<'t> = Option<(f64, Option<MeterPointDraft<'t>>)>;

/// Reads output, power, yield, head, meters and metered_at, which lean on each other. With
/// `meters` the output's setting is filled in once the meter's points are known.
fn read_output<'t>(
    log: &Log,
    t: &Table<'t>,
    points: &Points,
) -> (Option<Output>, Target<'t>, Option<PowerRange>) {
    let yield_lm_s_per_j = t
        .read(log, "yield", quantity(&YIELD))
        .unwrap_or(USUAL_YIELD);
    let read_full =
        |v: Value<'_>| written("an output", "400 J", |s| output(s, yield_lm_s_per_j))(v);
    let head = t.get("head").and_then(|v| {
        Table::open(
            log,
            t.file,
            v,
            &keys::HEAD,
            format!("the head of {}", t.label),
        )
    });
    let head_has_energy = head.as_ref().is_some_and(|h| h.has("energy"));
    if t.has("output") && head_has_energy {
        t.conflict(
            log,
            "output",
            "`output` and the head's `energy` say the same thing",
            "keep one of them",
        );
    }
    let full = if t.has("output") {
        t.read(log, "output", read_full)
    } else {
        head.as_ref().and_then(|h| h.read(log, "energy", read_full))
    };
    let tried_full = t.has("output") || head_has_energy;
    if t.has("yield")
        && matches!(
            full,
            Some(FullOutput::LuminousEnergy { .. } | FullOutput::Flux { .. })
        )
    {
        t.conflict(
            log,
            "yield",
            "`yield` only goes with an output in joules",
            "remove yield, or write the output in J",
        );
    }
    let range = head
        .as_ref()
        .and_then(|h| read_head(log, h, full, tried_full, yield_lm_s_per_j));
    let power = t.read(log, "power", quantity(&POWER));
    let f_number = t.read(log, "meters", quantity(&F_NUMBER));
    let at = t
        .get("metered_at")
        .and_then(|v| super::read_meter::read_point(log, t, "metered_at", v, points));
    if t.has("metered_at") && !t.has("meters") {
        t.conflict(
            log,
            "metered_at",
            "`metered_at` says where, but nothing says what it meters",
            "add meters = \"f/8\", or remove metered_at",
        );
    }
    if t.has("power") && t.has("meters") {
        t.conflict(
            log,
            "power",
            "`power` and `meters` both set how bright it is",
            "keep one of them",
        );
    }
    let full_slipped = t.slipped(&["output", "meters", "head"]);
    if t.has("power") && !tried_full && !full_slipped {
        t.conflict(
            log,
            "power",
            "`power` is a share of an output that is not given",
            "add output = \"400 J\"",
        );
    } else if !tried_full && !t.has("meters") {
        t.missing(
            log,
            &["output", "meters", "head"],
            "output",
            "add output = \"400 J\" (flash), \"9000 lm s\" (flash) or \"5000 lm\" (continuous), \
             or meters = \"f/8\"",
        );
    }
    // The setting of a metered light stands in until its point is known.
    let metered = f_number.is_some();
    let usable = if tried_full { full.is_some() } else { metered };
    let output = usable.then(|| Output {
        full,
        setting: Setting::Power(power.unwrap_or(1.0)),
        continuous: matches!(full, Some(FullOutput::Flux { .. })),
    });
    (output, f_number.map(|f| (f, at)), range)
}

fn read_head(
    log: &Log,
    h: &Table<'_>,
    full: Option<FullOutput>,
    tried_full: bool,
    yield_lm_s_per_j: f64,
) -> Option<PowerRange> {
    if !tried_full {
        h.missing(
            log,
            &["energy"],
            "`energy`",
            "add energy = \"400 J\", or an output to the light",
        );
    }
    let most = h.read(log, "most", quantity(&POWER)).unwrap_or(1.0);
    let least_given = h.read(log, "least", |v| {
        let energy = v
            .get_ref()
            .as_str()
            .and_then(|s| output(s, yield_lm_s_per_j).ok());
        match (energy, full) {
            (Some(least), Some(full)) => share(least, full, v),
            _ => quantity(&POWER)(v),
        }
    });
    let range_stops = h.read(log, "range", quantity(&RANGE));
    if h.has("least") && h.has("range") {
        h.conflict(
            log,
            "range",
            "`least` and `range` both give the least setting",
            "keep one of them",
        );
    }
    let step_stops = h.read(log, "step", quantity(&STEP)).unwrap_or(0.0);
    let least = least_given
        .or(range_stops.map(|stops| most * (-stops).exp2()))
        .unwrap_or(USUAL_LEAST.min(most));
    if least > most {
        h.conflict(
            log,
            "least",
            "its least setting is above its greatest",
            "swap least and most",
        );
        return None;
    }
    Some(PowerRange {
        least: PowerFraction::new(least)?,
        most: PowerFraction::new(most)?,
        step_stops,
    })
}

/// The least output as a share of the full one, both in the same unit.
fn share(least: FullOutput, full: FullOutput, value: Value<'_>) -> Result<f64, Fault> {
    if std::mem::discriminant(&least) != std::mem::discriminant(&full) {
        return Err(Fault::new(
            Kind::WrongQuantity,
            "is in another unit than the output",
            "write both in J, both in lm s or both in lm",
        )
        .at(value));
    }
    let share = least.amount() / full.amount();
    POWER.check(share).map_err(|_| {
        Fault::new(
            Kind::OutOfRange,
            "is more than the full output",
            "write a smaller one",
        )
        .at(value)
    })
}

fn read_colour(log: &Log, t: &Table<'_>) -> LightColour {
    let kelvin = t
        .read(log, "colour", quantity(&KELVIN))
        .unwrap_or(USUAL_KELVIN);
    let mut colour = LightColour {
        kelvin,
        gel_mired: 0.0,
        filter: [1.0; 3],
    };
    let Some(value) = t.get("gel") else {
        return colour;
    };
    let is_colour = |list: &[Value<'_>]| {
        list.len() == 3
            && list
                .iter()
                .all(|v| v.get_ref().is_float() || v.get_ref().is_integer())
    };
    let gels = match items(value) {
        Some(list) if !is_colour(&list) => list,
        _ => vec![value],
    };
    for gel in gels {
        let fault = match read_gel(gel, &mut colour) {
            Ok(()) => continue,
            Err(fault) => fault,
        };
        t.fault(log, "gel", gel, fault);
    }
    check_gelled(log, t, &colour);
    colour
}

/// Takes one gel into the colour.
fn read_gel(value: Value<'_>, colour: &mut LightColour) -> Result<(), Fault> {
    let hint = "write \"+26 mired\" (warmer), \"-26 mired\" (cooler), or a filter colour \"#ffd0a0\"; \
                a full daylight-to-tungsten gel is about +160 mired, half of it +80 (common practice)";
    match value.get_ref().as_str() {
        Some(s) if !s.trim_start().starts_with('#') => {
            let shift = (MIRED.parse)(s)
                .and_then(|m| MIRED.check(m))
                .map_err(|bad| Fault {
                    hint: hint.to_owned(),
                    ..refuse(bad, value)
                })?;
            colour.gel_mired += shift;
        }
        None if !value.get_ref().is_array() => {
            return Err(Fault::new(
                Kind::WrongType,
                format!("must be a gel, not {}", type_name(value)),
                hint,
            )
            .at(value));
        }
        _ => {
            let filter = rgb(value)?;
            if filter.iter().all(|c| *c == 0.0) {
                return Err(Fault::new(
                    Kind::OutOfRange,
                    "passes no light at all",
                    "write on = false to switch the light off",
                )
                .at(value));
            }
            for (product, channel) in colour.filter.iter_mut().zip(filter) {
                *product *= channel;
            }
        }
    }
    Ok(())
}

/// The colour through all mired gels has to stay a colour temperature.
fn check_gelled(log: &Log, t: &Table<'_>, colour: &LightColour) {
    let mired = 1e6 / colour.kelvin + colour.gel_mired;
    let (least, most) = (1e6 / KELVIN.most, 1e6 / KELVIN.least);
    if !(least..=most).contains(&mired) {
        log.error(
            Kind::OutOfRange,
            &t.place_of("gel"),
            format!(
                "`gel` of {}: {:+} mired on {} K leaves 1000 K to 25000 K",
                t.label, colour.gel_mired, colour.kelvin
            ),
            "write a weaker gel, or a filter colour \"#rrggbb\"",
        );
    }
}

/// The names and middles of lights, for what faces them.
pub(super) fn light_middles(drafts: &[LightDraft<'_>]) -> Vec<(String, Option<DVec3>)> {
    drafts
        .iter()
        .map(|d| (d.name.clone(), d.light.as_ref().map(Light::position_m)))
        .collect()
}
