//! Readings as a meter gives them: each light alone and all together, in f-numbers and lux-seconds.

use super::balance::{Balanced, exposure_amounts, time_s};
use super::gather::{Estimate, Gathered, weights};
use crate::photometry::exposure::{
    Receptor, evenness_stops, fnumber_from_exposure, key_to_fill, lighting_ratio,
};
use crate::photometry::fnumber::{FNumber, Mark};
use crate::scene::studio::Studio;
use crate::setup::{Facing, MeterPoint, PointSpec, Setup};

/// One reading: a light alone, or all of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Flash light, lx·s.
    pub flash_lx_s: f64,
    /// Continuous light, lx.
    pub ambient_lx: f64,
    /// All that the shutter lets in, lx·s, with its standard error.
    pub exposure_lx_s: Estimate,
    /// What the meter shows; `None` in the dark.
    pub f_number: Option<FNumber>,
}

impl Reading {
    /// The dial's third mark and tenths over it.
    pub fn mark(&self) -> Option<Mark> {
        self.f_number.map(FNumber::mark)
    }
}

/// All readings at one meter.
#[derive(Debug, Clone, PartialEq)]
pub struct PointReading {
    /// Where, and how the receptor stands.
    pub meter: MeterPoint,
    /// Everything that is on.
    pub together: Reading,
    /// Each light alone, in the setup's order; a light that is off reads nothing.
    pub lights: Vec<Reading>,
}

/// The ratio of two lights at a point, by both conventions in use (common practice).
#[derive(Debug, Clone, PartialEq)]
pub struct Ratio {
    /// The stronger light.
    pub key: String,
    /// The other.
    pub fill: String,
    /// (key + fill) : fill.
    pub key_and_fill_to_fill: f64,
    /// key : fill.
    pub key_to_fill: f64,
}

/// Reads one meter.
pub fn read_point(
    setup: &Setup,
    studio: &Studio,
    gathered: &Gathered,
    balanced: &[Balanced],
    index: usize,
) -> PointReading {
    let meter = &studio.meters[index];
    let amounts = exposure_amounts(setup, balanced);
    let all = weights(studio, &amounts);
    let constant = meter.receptor.constant(&setup.meter.constants);
    let show =
        |exposure: Estimate| fnumber_from_exposure(exposure.value, setup.camera.iso, constant);
    let lights: Vec<Reading> = setup
        .lights
        .iter()
        .enumerate()
        .map(|(i, light)| {
            let exposure = gathered.alone(index, i, all[i]);
            let (flash_lx_s, ambient_lx) = if light.output.continuous {
                (0.0, exposure.value / time_s(setup, light))
            } else {
                (exposure.value, 0.0)
            };
            Reading {
                flash_lx_s,
                ambient_lx,
                exposure_lx_s: exposure,
                f_number: show(exposure),
            }
        })
        .collect();
    let exposure = gathered.together(index, &all);
    PointReading {
        meter: meter.clone(),
        together: Reading {
            flash_lx_s: lights.iter().map(|l| l.flash_lx_s).sum(),
            ambient_lx: lights.iter().map(|l| l.ambient_lx).sum(),
            exposure_lx_s: exposure,
            f_number: show(exposure),
        },
        lights,
    }
}

/// Greatest minus least flat reading toward the camera over the named points from face to hem, in
/// stops. `None` with fewer than two such points.
pub fn evenness(points: &[PointReading]) -> Option<f64> {
    const FACE_TO_HEM: [&str; 6] = ["face", "chest", "waist", "hip", "knee", "hem"];
    let exposures: Vec<f64> = points
        .iter()
        .filter(|p| {
            p.meter.receptor == Receptor::Flat
                && p.meter.facing == Facing::Camera
                && matches!(&p.meter.at, PointSpec::Named(n) if FACE_TO_HEM.contains(&n.as_str()))
        })
        .map(|p| p.together.exposure_lx_s.value)
        .collect();
    if exposures.len() < 2 {
        None
    } else {
        evenness_stops(&exposures)
    }
}

/// Ratios of the strongest light at a point to each of the others that are on there.
pub fn ratios(setup: &Setup, point: &PointReading) -> Vec<Ratio> {
    let read: Vec<(&str, f64)> = setup
        .lights
        .iter()
        .zip(&point.lights)
        .map(|(l, r)| (l.name.as_str(), r.exposure_lx_s.value))
        .filter(|(_, e)| *e > 0.0)
        .collect();
    let Some(key) = read.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)) else {
        return Vec::new();
    };
    read.iter()
        .filter(|l| l.0 != key.0)
        .filter_map(|fill| {
            Some(Ratio {
                key: key.0.to_string(),
                fill: fill.0.to_string(),
                key_and_fill_to_fill: lighting_ratio(key.1, fill.1)?,
                key_to_fill: key_to_fill(key.1, fill.1)?,
            })
        })
        .collect()
}
