//! The documents of `sweep --json` and `compare --json`: what they share. Numbers that are not finite become
//! null.

use serde::Serialize;
use swatchlight::measure::readings::Reading;
use swatchlight::measure::vary::Made;
use swatchlight::setup::Setup;

/// What was found of one state, or of one setup of several.
#[derive(Debug, Serialize)]
pub struct StateFound {
    camera_f_number: f64,
    point: String,
    together: Read,
    lights: Vec<LightFound>,
    points: Vec<PointFound>,
    ratios: Vec<RatioFound>,
    evenness_stops: Option<f64>,
    samples_per_pixel: Option<u32>,
    relative_error: Option<f64>,
}

#[derive(Debug, Serialize)]
struct LightFound {
    light: String,
    on: bool,
    alone: Read,
    edge_least_mm: Option<f64>,
    edge_greatest_mm: Option<f64>,
    target_f_number: Option<f64>,
    amount: f64,
    unit: &'static str,
    power: Option<f64>,
    head_power: Option<f64>,
    head_error_stops: Option<f64>,
    efficiency: f64,
}

#[derive(Debug, Serialize)]
struct PointFound {
    point: String,
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
struct RatioFound {
    key: String,
    fill: String,
    key_and_fill_to_fill: f64,
    key_to_fill: f64,
}

/// A reading.
#[derive(Debug, Serialize)]
struct Read {
    exposure_lx_s: f64,
    rel_error: f64,
    f_number: Option<f64>,
    mark: Option<String>,
    tenths: Option<i32>,
}

impl StateFound {
    /// What was made of a setup.
    pub fn new(setup: &Setup, made: &Made) -> Self {
        let lights = setup.lights.iter().enumerate().map(|(k, light)| {
            let b = &made.balanced[k];
            let edge = made.edge_of(&light.name).map(|e| e.edge);
            LightFound {
                light: light.name.clone(),
                on: light.on,
                alone: read(&made.expose_at.lights[k]),
                edge_least_mm: edge.map(|e| e.least_mm),
                edge_greatest_mm: edge.map(|e| e.greatest_mm),
                target_f_number: b.target.as_ref().map(|t| t.0),
                amount: b.amount,
                unit: if b.continuous { "lm" } else { "lm s" },
                power: b.power.map(|p| p.fraction()),
                head_power: b.head.map(|h| h.power.fraction()),
                head_error_stops: b.head.map(|h| h.error_stops),
                efficiency: made.efficiency[k],
            }
        });
        let points = made.points.iter().map(|p| PointFound {
            point: p.meter.name.clone(),
            together: read(&p.together),
            lights: setup
                .lights
                .iter()
                .zip(&p.lights)
                .map(|(light, r)| LightRead {
                    light: light.name.clone(),
                    read: read(r),
                })
                .collect(),
        });
        Self {
            camera_f_number: made.f_number,
            point: made.expose_at.meter.name.clone(),
            together: read(&made.expose_at.together),
            lights: lights.collect(),
            points: points.collect(),
            ratios: made
                .ratios
                .iter()
                .map(|r| RatioFound {
                    key: r.key.clone(),
                    fill: r.fill.clone(),
                    key_and_fill_to_fill: r.key_and_fill_to_fill,
                    key_to_fill: r.key_to_fill,
                })
                .collect(),
            evenness_stops: made.evenness_stops,
            samples_per_pixel: made.picture.as_ref().map(|p| p.samples),
            relative_error: made.picture.as_ref().and_then(|p| p.relative_error),
        }
    }
}

fn read(reading: &Reading) -> Read {
    let mark = reading.mark();
    Read {
        exposure_lx_s: reading.exposure_lx_s.value,
        rel_error: reading.exposure_lx_s.relative(),
        f_number: reading.f_number.map(|n| n.value()),
        mark: mark.as_ref().map(|m| m.mark.clone()),
        tenths: mark.map(|m| m.tenths),
    }
}
