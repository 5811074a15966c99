//! The day: what a real meter said, against what was predicted; why they may differ; and what the
//! lamps and modifiers must really give, learnt from several readings and kept for the next setup.
//!
//! [`sheet`] reads what was said, [`compare`] sets it beside the prediction, [`cause`] works out what
//! each likely slip would do to the readings, [`rank`] weighs them, [`fit`] learns, [`save`] writes
//! what was learnt into a modifier's own file.

pub mod cause;
pub mod fit;
pub mod gauss;
pub mod rank;
pub mod save;
pub mod sheet;

use crate::measure::balance::exposure_amounts;
use crate::measure::take::Take;
use crate::photometry::FNumber;
use crate::photometry::exposure::exposure_from_fnumber_lx_s;
use crate::setup::keys::nearest;
use crate::setup::written::{EditError, Written};
use crate::setup::{MeterPoint, Setting};
use sheet::{Said, Sheet, SheetFault, Stood};

/// A reading beside its prediction.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The light's place in the setup, or `None` for all together.
    pub light: Option<usize>,
    /// Where, and how the receptor stands.
    pub meter: MeterPoint,
    /// What the meter said.
    pub said: FNumber,
    /// What was predicted.
    pub predicted: FNumber,
    /// Said less predicted, stops; positive: more light than predicted.
    pub difference_stops: f64,
    /// Standard deviation of that difference, stops: the meter's and the tracing's.
    pub sd_stops: f64,
    /// Of the predicted exposure there, each light's share; 1 and 0 for a light read alone.
    pub shares: Vec<f64>,
    /// Predicted exposure, lx s.
    pub exposure_lx_s: f64,
}

/// The text of a setup with its lights as they really stood.
///
/// # Errors
/// A light that is not there, or a key that lights do not have.
pub fn as_stood(text: &Written, stood: &[Stood]) -> Result<Written, SheetFault> {
    let mut text = text.clone();
    for s in stood {
        let at = |e: EditError| SheetFault {
            place: s.place.clone(),
            what: e.what,
            hint: e.hint,
        };
        let known = text.things();
        let lights = || {
            let lights = known.iter().filter(|(kind, _)| *kind == "light");
            lights.map(|(_, name)| name.as_str())
        };
        if !lights().any(|name| name == s.light) {
            return Err(no_light(&s.place, &s.light, lights()));
        }
        for (key, value) in &s.keys {
            let no = (key == "name").then(|| EditError {
                what: "a light keeps its name".into(),
                hint: "leave name out".into(),
            });
            if let Some(no) = no {
                return Err(at(no));
            }
            let path = text.path(&format!("light.{}.{key}", s.light)).map_err(at)?;
            text.set(&path, value).map_err(at)?;
        }
    }
    Ok(text)
}

fn no_light<'a>(
    place: &str,
    light: &str,
    lights: impl Iterator<Item = &'a str> + Clone,
) -> SheetFault {
    let hint = match nearest(light, lights.clone().chain([sheet::TOGETHER])) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!(
            "there is {}, and {} for all at once",
            lights.collect::<Vec<_>>().join(", "),
            sheet::TOGETHER
        ),
    };
    SheetFault {
        place: place.to_owned(),
        what: format!("the setup has no light \"{light}\""),
        hint,
    }
}

/// Sets what was said beside what a take predicts.
///
/// # Errors
/// A light or a point that the setup does not have, or one that is dark there.
pub fn compare(take: &Take, sheet: &Sheet) -> Result<Vec<Row>, Vec<SheetFault>> {
    let mut rows = Vec::new();
    let mut faults = Vec::new();
    for said in &sheet.readings {
        match row(take, sheet, said) {
            Ok(row) => rows.push(row),
            Err(fault) => faults.push(fault),
        }
    }
    match faults.is_empty() {
        true => Ok(rows),
        false => Err(faults),
    }
}

/// Exposure of each light at a meter point, and relative error of the whole.
struct There {
    meter: MeterPoint,
    lights_lx_s: Vec<f64>,
    relative_error: f64,
}

fn row(take: &Take, sheet: &Sheet, said: &Said) -> Result<Row, SheetFault> {
    let setup = &take.setup;
    let light = match &said.light {
        None => None,
        Some(name) => {
            let found = setup.lights.iter().position(|l| l.name == *name);
            let names = || setup.lights.iter().map(|l| l.name.as_str());
            Some(found.ok_or_else(|| no_light(&said.place, name, names()))?)
        }
    };
    let there = there(take, said, light)?;
    let shares: Vec<f64> = match light {
        None => {
            let sum: f64 = there.lights_lx_s.iter().sum();
            there.lights_lx_s.iter().map(|e| e / sum).collect()
        }
        Some(light) => (0..setup.lights.len())
            .map(|i| f64::from(u8::from(i == light)))
            .collect(),
    };
    let exposure_lx_s: f64 = match light {
        None => there.lights_lx_s.iter().sum(),
        Some(light) => there.lights_lx_s[light],
    };
    let constant = there.meter.receptor.constant(&setup.meter.constants);
    let predicted = crate::photometry::exposure::fnumber_from_exposure(
        exposure_lx_s,
        setup.camera.iso,
        constant,
    )
    .ok_or_else(|| dark(said, &there.meter))?;
    let traced_stops = (1.0 + there.relative_error).log2();
    Ok(Row {
        light,
        said: said.f_number,
        predicted,
        difference_stops: said.f_number.stops() - predicted.stops(),
        sd_stops: sheet.meter_sd_stops().hypot(traced_stops),
        shares,
        exposure_lx_s,
        meter: there.meter,
    })
}

fn dark(said: &Said, meter: &MeterPoint) -> SheetFault {
    SheetFault {
        place: said.place.clone(),
        what: format!("next to no light is predicted at \"{}\"", meter.name),
        hint: "look whether the light is on, and whether the point and the receptor's facing are \
               as they were on the day"
            .into(),
    }
}

/// Finds a reading's point. A light without one is read where it is set, or else where the exposure is.
fn there(take: &Take, said: &Said, light: Option<usize>) -> Result<There, SheetFault> {
    let setup = &take.setup;
    let target = light.and_then(|l| match &setup.lights[l].output.setting {
        Setting::Meters { f_number, at } => Some((l, *f_number, at)),
        Setting::Power(_) => None,
    });
    let gathered = || take.points.iter().chain([&take.expose_at]);
    let found = match (&said.point, target) {
        (None, Some((.., at))) => gathered().find(|p| p.meter == *at),
        (None, None) => Some(&take.expose_at),
        (Some(name), _) => gathered().find(|p| p.meter.name == *name),
    };
    if let Some(point) = found {
        let read = match light {
            None => &point.together,
            Some(light) => &point.lights[light],
        };
        let lit = point.lights.iter().map(|r| r.exposure_lx_s.value);
        let relative_error = read.exposure_lx_s.relative();
        if read.exposure_lx_s.value <= 0.0 || relative_error > 0.2 {
            return Err(dark(said, &point.meter));
        }
        return Ok(There {
            meter: point.meter.clone(),
            lights_lx_s: lit.collect(),
            relative_error,
        });
    }
    // Where a light alone is set, it reads its target by construction.
    if let Some((light, f_number, at)) = target
        && said.point.as_ref().is_none_or(|name| *name == at.name)
        && let Some(f_number) = FNumber::exact(f_number)
    {
        let constant = at.receptor.constant(&setup.meter.constants);
        let mut lights_lx_s = vec![0.0; setup.lights.len()];
        lights_lx_s[light] = exposure_from_fnumber_lx_s(f_number, setup.camera.iso, constant);
        return Ok(There {
            meter: at.clone(),
            lights_lx_s,
            relative_error: 0.0,
        });
    }
    let name = said.point.clone().unwrap_or_default();
    let known: Vec<&str> = gathered().map(|p| p.meter.name.as_str()).collect();
    Err(SheetFault {
        place: said.place.clone(),
        hint: match nearest(&name, known.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!(
                "there is {}; or add \"{name}\" to meter.points",
                known.join(", ")
            ),
        },
        what: format!("the setup reads no point \"{name}\""),
    })
}

/// What each light puts into the mix, lm s.
pub(crate) fn amounts(take: &Take) -> Vec<f64> {
    exposure_amounts(&take.setup, &take.balanced)
}
