//! Whether a cloth's threads would beat with the pixels of one named camera.

use super::UnderLight;
use crate::fabric::{Fabric, FabricError, Structure};
use crate::measure::moire::{
    ClothPattern, ClothView, PatternSeen, Sensing, Verdict, moire, of_knit, of_weave,
};
use serde::Serialize;

/// The camera: a sensor of 36 mm and 6000 pixels across, a lens of 85 mm at f/8, 3 m from the cloth.
const DISTANCE_M: f64 = 3.0;
const FOCAL_M: f64 = 0.085;
const F_NUMBER: f64 = 8.0;
const SENSOR_M: f64 = 0.036;
const PIXELS: u32 = 6000;

/// What pixels make of the threads.
#[allow(missing_docs)] // a name with its unit says all
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MoireFacts {
    pub distance_m: f64,
    pub focal_length_mm: f64,
    pub f_number: f64,
    pub sensor_width_mm: f64,
    pub pixels_across: u32,
    /// Side of a pixel on the cloth.
    pub pixel_on_cloth_mm: f64,
    /// "clear", "may show" or "will show".
    pub verdict: &'static str,
    /// The pattern that is worst off; none where all are clear.
    pub worst: Option<Worst>,
    /// The camera this near, or a little nearer, is clear; none where none is.
    pub clear_nearer_m: Option<f64>,
    /// This far, or a little farther.
    pub clear_farther_m: Option<f64>,
}

/// A pattern that beats.
#[allow(missing_docs)]
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Worst {
    pub pattern: String,
    pub period_mm: f64,
    pub alias_period_px: f64,
    pub contrast: f64,
}

/// By the contrasts that the raking light found; none for cloth without even threads.
pub(super) fn moire_of(
    fabric: &Fabric,
    raking: &UnderLight,
) -> Result<Option<MoireFacts>, FabricError> {
    let relief = raking.relief.michelson.clamp(0.0, 1.0);
    let own = raking.as_dyed.michelson.clamp(0.0, 1.0);
    let patterns: Vec<ClothPattern> = match &fabric.structure {
        Structure::Woven(cloth) => of_weave(
            cloth.spec.ends_per_cm,
            cloth.spec.picks_per_cm,
            &cloth.drafted.drawdown,
            relief,
            own,
        ),
        Structure::Jersey(s) => {
            let g = s.geometry()?;
            of_knit(g.wales_per_cm, g.courses_per_cm, own)
        }
        Structure::Rib(s) => {
            let g = s.geometry()?;
            of_knit(g.wales_per_cm, g.courses_per_cm, own)
        }
        _ => return Ok(None),
    };
    let sensing = Sensing::of_sensor(FOCAL_M, F_NUMBER, SENSOR_M, PIXELS);
    let found = moire(&patterns, &ClothView::square(DISTANCE_M), &sensing)
        .map_err(|e| FabricError::Text(e.to_string()))?;
    let worst = found
        .seen
        .iter()
        .filter(|p| p.verdict == found.verdict && p.verdict != Verdict::Clear)
        .max_by(|a, b| a.contrast_shown.total_cmp(&b.contrast_shown))
        .map(|p: &PatternSeen| Worst {
            pattern: p.pattern.thread.to_string(),
            period_mm: p.pattern.period_mm(),
            alias_period_px: p.alias_period_px,
            contrast: p.contrast_shown,
        });
    Ok(Some(MoireFacts {
        distance_m: DISTANCE_M,
        focal_length_mm: 1e3 * FOCAL_M,
        f_number: F_NUMBER,
        sensor_width_mm: 1e3 * SENSOR_M,
        pixels_across: PIXELS,
        pixel_on_cloth_mm: 1e3 * sensing.footprint_m(DISTANCE_M),
        verdict: match found.verdict {
            Verdict::Clear => "clear",
            Verdict::MayShow => "may show",
            Verdict::WillShow => "will show",
        },
        worst,
        clear_nearer_m: found.moves.and_then(|m| m.nearer_m),
        clear_farther_m: found.moves.and_then(|m| m.farther_m),
    }))
}
