//! What may have been otherwise on the day, and what that would do to the readings.
//!
//! Each change is made to the light and its traced table is read again at the meter
//! ([`View`]); nothing is taken from an inverse square. What reaches the meter by way of walls and
//! boards is taken to go with the light that leaves the modifier. How far each thing is usually off,
//! and how often, is common practice, from memory; it is said with every cause.

use super::Row;
use crate::measure::take::Take;
use crate::optics::shine::Shine;
use crate::optics::view::View;
use crate::photometry::exposure::Receptor;
use crate::scene::studio::METER_STANDOFF_M;
use crate::scene::tables::Tables;
use crate::setup::{Frame, FullOutput, Light, MeterPoint, ModifierKind, Place, PointSpec};
use glam::{DQuat, DVec3};
use serde::Serialize;

mod build;
mod changes;
mod held;

pub use build::causes;

/// Kinds of causes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CauseKind {
    /// The meter's repeatability and small things.
    Nothing,
    /// Along the floor.
    Distance,
    /// Above the floor.
    Height,
    /// Aimed higher or lower.
    Tilt,
    /// Aimed to a side.
    Turn,
    /// Where a focusing modifier's lamp stands.
    Spread,
    /// The dial of the head.
    Power,
    /// Cloth across the front, left off or on.
    Cloth,
    /// The inner cloth left out.
    Baffle,
    /// A grid, left off or on.
    Grid,
    /// The lamp's yield, or the share that the modifier lets out.
    Output,
    /// The meter's constant.
    Meter,
    /// Dome for flat disc, or the other way round.
    Receptor,
    /// The meter turned to the camera for the light, or the other way round.
    Facing,
}

/// How a cause's number is thought to lie before the readings.
#[derive(Debug, Clone, PartialEq)]
pub enum Likely {
    /// About a mean with a standard deviation, and in three of ten cases three times as far: a tape
    /// laid to the wrong place, a dial knocked. Never outside the limits.
    About {
        /// Middle.
        mean: f64,
        /// Standard deviation.
        sd: f64,
        /// Least and greatest.
        limits: [f64; 2],
    },
    /// One of these, each with its share.
    OneOf(Vec<(f64, f64)>),
}

/// Share of cases that are farther off, and by how much.
const FAR_SHARE: f64 = 0.3;
const FAR_TIMES: f64 = 3.0;
/// Values looked at of a number that can be anything.
const VALUES: usize = 401;

/// Something that may have been otherwise.
pub struct Cause {
    /// What.
    pub kind: CauseKind,
    /// How often it is so, against the others.
    pub plausibility: f64,
    /// That in words.
    pub beforehand: String,
    /// What it says of a number.
    pub words: Words,
    /// What its number may be.
    pub likely: Likely,
    /// Its number, rising, and what it adds to each reading, stops.
    pub nodes: Vec<(f64, Vec<f64>)>,
}

/// A cause's number in words.
pub type Words = Box<dyn Fn(f64) -> String + Send + Sync>;

impl Cause {
    /// What a number adds to each reading, stops: straight lines between the nodes.
    pub fn effect_stops(&self, x: f64) -> Vec<f64> {
        let after = self.nodes.partition_point(|(at, _)| *at < x);
        let Some((high_at, high)) = self.nodes.get(after).or(self.nodes.last()) else {
            return Vec::new();
        };
        let (low_at, low) = &self.nodes[after.saturating_sub(1).min(self.nodes.len() - 1)];
        let part = match high_at > low_at {
            true => ((x - low_at) / (high_at - low_at)).clamp(0.0, 1.0),
            false => 1.0,
        };
        let between = |(l, h): (&f64, &f64)| l + (h - l) * part;
        low.iter().zip(high).map(between).collect()
    }

    /// Values of its number and their probabilities before the readings.
    pub fn prior(&self) -> Vec<(f64, f64)> {
        let (mean, sd, limits) = match &self.likely {
            Likely::OneOf(values) => return values.clone(),
            Likely::About { mean, sd, limits } => (*mean, *sd, *limits),
        };
        let reach = 4.0 * FAR_TIMES * sd;
        let (low, high) = (limits[0].max(mean - reach), limits[1].min(mean + reach));
        let bell = |x: f64, sd: f64| (-0.5 * ((x - mean) / sd).powi(2)).exp() / sd;
        let values = (0..VALUES).map(|k| {
            let x = low + (high - low) * k as f64 / (VALUES - 1) as f64;
            let near = (1.0 - FAR_SHARE) * bell(x, sd);
            (x, near + FAR_SHARE * bell(x, FAR_TIMES * sd))
        });
        let values: Vec<(f64, f64)> = values.collect();
        let total: f64 = values.iter().map(|(_, p)| p).sum();
        values.into_iter().map(|(x, p)| (x, p / total)).collect()
    }
}

impl std::fmt::Debug for Cause {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Cause")
            .field("kind", &self.kind)
            .field("nodes", &self.nodes)
            .finish_non_exhaustive()
    }
}

/// A light as it would be, with the light of its modifier.
struct Changed {
    light: Light,
    shine: Shine,
}

impl Changed {
    fn new(light: Light, tables: &Tables) -> Self {
        let shine = tables.shine(&light.modifier, light.spread.unwrap_or_default());
        Self { light, shine }
    }

    /// With the same table, otherwise placed.
    fn moved(&self, frame: Frame) -> Self {
        Self {
            light: Light {
                frame,
                ..self.light.clone()
            },
            shine: self.shine.clone(),
        }
    }

    /// Straight from its face to a meter, as the meter weighs it, lx per lm.
    fn at(&self, meter: &MeterPoint, receptor: Receptor) -> f64 {
        let view = View::new(&self.shine, &self.light.modifier).coarser();
        let off = match meter.at {
            PointSpec::Named(_) => METER_STANDOFF_M,
            PointSpec::At(_) => 0.0,
        };
        let frame = &self.light.frame;
        let at = frame.point_in_frame(meter.position_m + meter.direction * off);
        let d = meter.direction;
        let facing = DVec3::new(d.dot(frame.x), d.dot(frame.y), d.dot(frame.z));
        let arriving = view.arrivals(at).into_iter().map(|light| {
            let to = light.place_m - at;
            let cosine = to.dot(facing) / to.length();
            light.intensity_cd * receptor.response(cosine) / to.length_squared()
        });
        arriving.sum()
    }
}
