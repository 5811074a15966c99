//! The documents of `--json`. Numbers that are not finite become null.

use serde::Serialize;
use swatchlight::measure::cloth_at::WeaveSeen;
use swatchlight::measure::readings::{PointReading, Reading};
use swatchlight::measure::take::Take;
use swatchlight::measure::weave_contrast::WeaveContrast;
use swatchlight::photometry::exposure::Receptor;
use swatchlight::photometry::flash::PowerLimit;
use swatchlight::scene::studio::METER_STANDOFF_M;
use swatchlight::setup::{Aperture, PointSpec, Problem, Problems};

/// What `read` found. The first keys are a contract; more may join them.
#[derive(Debug, Serialize)]
pub struct Readings {
    setup: String,
    title: String,
    iso: f64,
    shutter_s: f64,
    constant: Constants,
    points: Vec<Point>,
    evenness_stops: Option<f64>,
    quality: Vec<Quality>,
    warnings: Vec<Note>,
    camera: CameraSetting,
    ratios: Vec<Ratio>,
    balance: Vec<Balance>,
    lights: Vec<LightSet>,
    executor: String,
}

/// A light as it is set. `efficiency`: what leaves its modifier of what it is given.
#[derive(Debug, Serialize)]
struct LightSet {
    light: String,
    modifier: String,
    spread: Option<f64>,
    mark: Option<f64>,
    scale: Option<String>,
    efficiency: f64,
}

#[derive(Debug, Serialize)]
struct Constants {
    flat: f64,
    dome: f64,
}

#[derive(Debug, Serialize)]
struct Point {
    point: String,
    position_m: [f64; 3],
    receptor: Receptor,
    direction: [f64; 3],
    together: Read,
    lights: Vec<LightRead>,
}

#[derive(Debug, Serialize)]
struct LightRead {
    light: String,
    #[serde(flatten)]
    read: Read,
}

#[derive(Debug, Serialize)]
struct Read {
    flash_lx_s: f64,
    ambient_lx: f64,
    f_number: Option<f64>,
    mark: Option<String>,
    tenths: Option<i32>,
    rel_error: f64,
}

/// One thing measured of the light's quality.
#[derive(Debug, Serialize)]
#[serde(untagged)]
enum Quality {
    Edge {
        point: String,
        light: String,
        edge_least_mm: f64,
        edge_greatest_mm: f64,
    },
    Weave {
        point: String,
        fabric: String,
        weave_contrast: Weave,
    },
}

/// Weave contrast, as `read` and `still --swatch` tell it.
#[derive(Debug, Serialize)]
pub struct Weave {
    relief: Contrast,
    as_dyed: Contrast,
    mm_per_px: f64,
}

/// `rms` without the picture's noise, with its standard error; Michelson's with the noise in it.
#[derive(Debug, Serialize)]
struct Contrast {
    rms: f64,
    error: Option<f64>,
    michelson: f64,
}

impl Weave {
    /// What was seen.
    pub fn new(seen: &WeaveSeen) -> Self {
        let one = |c: &WeaveContrast| Contrast {
            rms: c.rms_without_noise.map_or(c.rms, |n| n.value),
            error: c.rms_without_noise.map(|n| n.standard_error),
            michelson: c.michelson,
        };
        Self {
            relief: one(&seen.relief),
            as_dyed: one(&seen.as_dyed),
            mm_per_px: seen.mm_per_px,
        }
    }
}

#[derive(Debug, Serialize)]
struct CameraSetting {
    f_number: f64,
    as_metered: bool,
    expose_at: String,
}

#[derive(Debug, Serialize)]
struct Ratio {
    point: String,
    key: String,
    fill: String,
    key_and_fill_to_fill: f64,
    key_to_fill: f64,
}

/// What one light is to give, and what its head can.
#[derive(Debug, Serialize)]
pub struct Balance {
    light: String,
    on: bool,
    target_f_number: Option<f64>,
    target_point: Option<String>,
    amount: f64,
    unit: &'static str,
    power: Option<f64>,
    head: Option<Head>,
}

#[derive(Debug, Serialize)]
struct Head {
    power: f64,
    error_stops: f64,
    limit: Option<&'static str>,
}

/// Something to mind about a setup.
#[derive(Debug, Serialize)]
pub struct Note {
    severity: &'static str,
    kind: &'static str,
    message: String,
    hint: String,
    file: String,
    line: usize,
    column: usize,
}

impl Readings {
    /// The readings of a take; `setup` is what it was read from.
    pub fn new(setup: &str, take: &Take, notes: &Problems, executor: String) -> Self {
        let s = &take.setup;
        let names = || s.lights.iter().map(|l| l.name.clone());
        Self {
            setup: setup.to_owned(),
            title: s.title.clone(),
            iso: s.camera.iso,
            shutter_s: s.camera.shutter_s,
            constant: Constants {
                flat: s.meter.constants.flat,
                dome: s.meter.constants.dome,
            },
            points: take.points.iter().map(|p| point(p, names())).collect(),
            evenness_stops: take.evenness_stops,
            quality: take
                .edges
                .iter()
                .map(|e| Quality::Edge {
                    point: e.point.clone(),
                    light: e.light.clone(),
                    edge_least_mm: e.edge.least_mm,
                    edge_greatest_mm: e.edge.greatest_mm,
                })
                .collect(),
            warnings: notes_of(notes),
            camera: CameraSetting {
                f_number: take.f_number,
                as_metered: s.camera.f_number == Aperture::AsMetered,
                expose_at: take.expose_at.meter.name.clone(),
            },
            ratios: take
                .ratios
                .iter()
                .map(|r| Ratio {
                    point: take.expose_at.meter.name.clone(),
                    key: r.key.clone(),
                    fill: r.fill.clone(),
                    key_and_fill_to_fill: r.key_and_fill_to_fill,
                    key_to_fill: r.key_to_fill,
                })
                .collect(),
            balance: balance(take),
            lights: lights(take),
            executor,
        }
    }
}

impl Readings {
    /// Adds what was seen of the weave at a point.
    pub fn add_weave(&mut self, point: &str, fabric: &str, seen: &WeaveSeen) {
        self.quality.push(Quality::Weave {
            point: point.to_owned(),
            fabric: fabric.to_owned(),
            weave_contrast: Weave::new(seen),
        });
    }
}

fn lights(take: &Take) -> Vec<LightSet> {
    let lights = take.setup.lights.iter().zip(&take.studio.efficiency);
    lights
        .map(|(light, efficiency)| LightSet {
            light: light.name.clone(),
            modifier: light.modifier.name.clone(),
            spread: light.spread,
            mark: light.mark(),
            scale: light.modifier.scale.as_ref().map(|s| s.name.clone()),
            efficiency: *efficiency,
        })
        .collect()
}

/// What each light is to give.
pub fn balance(take: &Take) -> Vec<Balance> {
    let one = |b: &swatchlight::measure::balance::Balanced| Balance {
        light: b.light.clone(),
        on: b.on,
        target_f_number: b.target.as_ref().map(|t| t.0),
        target_point: b.target.as_ref().map(|t| t.1.clone()),
        amount: b.amount,
        unit: if b.continuous { "lm" } else { "lm s" },
        power: b.power.map(|p| p.fraction()),
        head: b.head.map(|h| Head {
            power: h.power.fraction(),
            error_stops: h.error_stops,
            limit: h.limit.map(|l| match l {
                PowerLimit::CannotGoLower => "cannot-go-lower",
                PowerLimit::CannotGoHigher => "cannot-go-higher",
            }),
        }),
    };
    take.balanced.iter().map(one).collect()
}

/// Problems, as objects.
pub fn notes_of(problems: &Problems) -> Vec<Note> {
    let note = |p: &Problem| Note {
        severity: p.severity.word(),
        kind: p.kind.word(),
        message: p.message.clone(),
        hint: p.hint.clone(),
        file: p.file.clone(),
        line: p.line,
        column: p.column,
    };
    problems.list().iter().map(note).collect()
}

/// Where the receptor was, in the room, and what it read.
fn point(reading: &PointReading, names: impl Iterator<Item = String>) -> Point {
    let meter = &reading.meter;
    let off = if matches!(meter.at, PointSpec::Named(_)) {
        METER_STANDOFF_M
    } else {
        0.0
    };
    Point {
        point: meter.name.clone(),
        position_m: (meter.position_m + meter.direction * off).into(),
        receptor: meter.receptor,
        direction: meter.direction.into(),
        together: read(&reading.together),
        lights: names
            .zip(&reading.lights)
            .map(|(light, r)| LightRead {
                light,
                read: read(r),
            })
            .collect(),
    }
}

fn read(reading: &Reading) -> Read {
    let mark = reading.mark();
    Read {
        flash_lx_s: reading.flash_lx_s,
        ambient_lx: reading.ambient_lx,
        f_number: reading.f_number.map(|n| n.value()),
        mark: mark.as_ref().map(|m| m.mark.clone()),
        tenths: mark.map(|m| m.tenths),
        rel_error: reading.exposure_lx_s.relative(),
    }
}
