//! The cloth close by, as a sheet shows it.

use super::exit::Failure;
use super::interrupt::Interrupt;
use super::swatch_still::{failure as cloth_failure, readable};
use super::voice::Voice;
use swatchlight::fabric::Fabric;
use swatchlight::measure::cloth_at::{ClothAt, Look};
use swatchlight::measure::take::Take;
use swatchlight::render::driver::{Goal, Progress};
use swatchlight::render::steady::Steady;
use swatchlight::report::sheet::{ClothPictures, ClothSeen};
use swatchlight::scene::FlatRadiance;
use swatchlight::scene::models::Models;
use swatchlight::setup::{Lay, Setup};

/// Of both pictures of the cloth: 300 to the inch.
const CLOTH_PIXELS: [u32; 2] = [720, 480];
/// Samples of the cloth's pixels at the most: it is printed small, or smooth between its threads.
const CLOTH_SAMPLES: u32 = 64;

/// Where the cloth is looked at.
pub struct CloseUp<'a> {
    pub take: &'a Take,
    pub models: &'a Models,
    /// What the set's flats give off, as far as it was found.
    pub flats: &'a [FlatRadiance],
    /// Of the whole picture.
    pub goal: Goal,
}

impl CloseUp<'_> {
    /// The cloth where the exposure is read: the swatch's there, else what the figure wears; none where
    /// there is no cloth, and when interrupted. `show` is told how far it is, and with what.
    ///
    /// # Errors
    /// When the fabric cannot be read or the cloth not be traced.
    pub fn cloth(
        &self,
        executor: &mut Steady,
        interrupt: &Interrupt,
        show: impl Fn(f64, &str),
        voice: &Voice,
    ) -> Result<Option<ClothSeen>, Failure> {
        let point = self.take.expose_at.meter.name.clone();
        let Some(name) = fabric_at(&self.take.setup, &point) else {
            return Ok(None);
        };
        let fabric: Fabric = self
            .models
            .fabric(&name)
            .map_err(|e| Failure::wrong(e.to_string(), "see models/fabrics for what there is"))?;
        let cloth = ClothAt {
            take: self.take,
            models: self.models,
            fabric: &fabric,
            point: &point,
            flats: self.flats,
        };
        let [printed_mm, _] = ClothPictures::PRINTED_MM;
        let goal = Goal {
            samples: self.goal.samples.min(CLOTH_SAMPLES),
            relative_error: self.goal.relative_error,
        };
        let stop = interrupt.flag();
        let mut shots = Vec::new();
        for (what, width_mm) in [
            ("the cloth at true size", printed_mm),
            ("the cloth magnified", printed_mm / ClothPictures::TIMES),
        ] {
            let look = Look {
                width_m: 1e-3 * width_mm,
                pixels: CLOTH_PIXELS,
                lay: Lay::Flat,
                goal,
            };
            let show = |now: &Progress| show(now.done, what);
            shots.push(
                cloth
                    .picture(&look, executor, stop, show)
                    .map_err(cloth_failure)?,
            );
            if interrupt.asked() {
                return Ok(None);
            }
        }
        let show = |share: f64| show(share, "reading its weave");
        let weave = readable(cloth.weave(executor, stop, show), voice)?;
        voice.end_progress();
        // Read from the half of it that was seen it would be another.
        let weave = weave.filter(|_| !interrupt.asked());
        let mut shots = shots.into_iter();
        Ok(shots
            .next()
            .zip(shots.next())
            .map(|(true_size, magnified)| ClothSeen {
                fabric: name,
                true_size,
                magnified,
                weave: weave.map(|w| [w.relief, w.as_dyed]),
            }))
    }
}

fn fabric_at(setup: &Setup, point: &str) -> Option<String> {
    let swatch = || setup.swatch.as_ref().map(|s| s.fabric.clone());
    let figure = || setup.figure.as_ref().map(|f| f.spec.fabric.clone());
    if point == "swatch" {
        swatch().or_else(figure)
    } else {
        figure().or_else(swatch)
    }
}
