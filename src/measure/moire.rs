//! Moiré: whether a cloth's threads beat with the pixels that photograph it, and what moves it off.
//!
//! A weave's frequency is a vector along the cloth; the lens shrinks it onto the sensor, tilt
//! stretches it, and pixels fold what they cannot hold to `f - round(f)` cycles per pixel, axis by
//! axis (Shannon 1949; on a square lattice Petersen and Middleton, Inform. Control 5, 1962, from
//! memory). Before that, diffraction and the pixels' own size take contrast off, and an optical
//! low-pass where there is one. The cloth counts as in focus, pixels as square, without gaps and all
//! seeing the same colour: behind a colour mosaic false colours begin at half the frequency.

mod moves;
mod patterns;

pub use moves::{Moves, STAYS_CLEAR};
pub use patterns::{ClothPattern, Thread, of_knit, of_weave};

use crate::photometry::lens::{ThinLens, diffraction_mtf, pixel_mtf};
use std::f64::consts::PI;
use thiserror::Error;

/// Light that diffraction is worked out for: green, where the eye sees most.
pub const WAVELENGTH_M: f64 = 550e-9;

/// Michelson contrast in the picture from which a false pattern will show. About what is seen
/// without looking for it (common practice; the eye's own limit is near a quarter of it).
pub const SHOWS: f64 = 0.02;

/// Michelson contrast in the picture below which nobody sees a false pattern, sharpened or not
/// (convention, as [`SHOWS`]).
pub const HIDDEN: f64 = 0.005;

/// Cycles per pixel up to which pixels hold a pattern without beating. From here to the sampling
/// limit of 0.5 nothing is false, but the pattern swells and fades over ten pixels and more until
/// it is enlarged well.
pub const HELD: f64 = 0.45;

/// How the cloth lies before the camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClothView {
    /// From the lens to the cloth, along the view.
    pub distance_m: f64,
    /// Between the cloth's normal and the view: 0 squarely seen, below 90.
    pub tilt_deg: f64,
    /// Which way in the picture the cloth falls away: 0 to the right, 90 upward.
    pub falls_toward_deg: f64,
    /// The weft against the picture's rows, before it is tilted, turned to the left.
    pub grain_deg: f64,
}

impl ClothView {
    /// Square to the camera, threads along the pixels: the plainest case.
    pub fn square(distance_m: f64) -> Self {
        Self {
            distance_m,
            tilt_deg: 0.0,
            falls_toward_deg: 0.0,
            grain_deg: 0.0,
        }
    }
}

/// A sheet before the sensor that splits each ray into four, at the corners of a square along the
/// pixels: it leaves `|cos πdx cos πdy|` (J. E. Greivenkamp, Appl. Opt. 29, 1990, from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LowPass {
    /// Side of the square d, in pixels; 1 takes away all that is on the sampling limit.
    pub split_px: f64,
}

/// What photographs the cloth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensing {
    /// Focal length.
    pub focal_length_m: f64,
    /// The marked f-number.
    pub f_number: f64,
    /// From one pixel to the next, on the sensor.
    pub pixel_pitch_m: f64,
    /// None on many sensors of today.
    pub low_pass: Option<LowPass>,
}

impl Sensing {
    /// By a side of the sensor and its pixels.
    pub fn of_sensor(focal_length_m: f64, f_number: f64, side_m: f64, pixels: u32) -> Self {
        Self {
            focal_length_m,
            f_number,
            pixel_pitch_m: side_m / f64::from(pixels),
            low_pass: None,
        }
    }

    /// A pixel's side on a square cloth at a distance.
    pub fn footprint_m(&self, distance_m: f64) -> f64 {
        self.lens(distance_m).on_subject_m(self.pixel_pitch_m)
    }

    fn lens(&self, focus_m: f64) -> ThinLens {
        ThinLens {
            focal_length_m: self.focal_length_m,
            f_number: self.f_number,
            focus_m,
        }
    }

    /// Share of contrast that lens, low-pass and pixels leave at a frequency.
    fn contrast_left(&self, distance_m: f64, cycles_per_px: [f64; 2]) -> f64 {
        let [x, y] = cycles_per_px;
        let lens = diffraction_mtf(
            x.hypot(y) / self.pixel_pitch_m,
            WAVELENGTH_M,
            self.lens(distance_m).effective_f_number(),
        );
        let split = self.low_pass.map_or(1.0, |low_pass| {
            let leaves = |f: f64| (PI * low_pass.split_px * f).cos();
            (leaves(x) * leaves(y)).abs()
        });
        lens * split * pixel_mtf(x, 1.0) * pixel_mtf(y, 1.0)
    }
}

/// What to expect of a pattern, from best to worst.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// The pixels hold it ([`HELD`]), or nothing of it is left ([`HIDDEN`]).
    Clear,
    /// It comes near the sampling limit, or little of a false pattern is left.
    MayShow,
    /// A false pattern with a contrast of [`SHOWS`] or more.
    WillShow,
}

/// One of the cloth's patterns as the pixels get it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatternSeen {
    /// Which.
    pub pattern: ClothPattern,
    /// Its own frequency along rows and columns; above 0.5 in either it is folded.
    pub cycles_per_px: [f64; 2],
    /// What is recorded in its place, each from -0.5 to 0.5.
    pub alias_cycles_per_px: [f64; 2],
    /// Pixels from one band of what is recorded to the next; infinite where it beats exactly.
    pub alias_period_px: f64,
    /// Share of its contrast that lens, low-pass and pixels leave.
    pub contrast_left: f64,
    /// Michelson contrast that is recorded: the cloth's own times what is left.
    pub contrast_shown: f64,
    /// What to expect.
    pub verdict: Verdict,
}

impl PatternSeen {
    /// Whether what is recorded is false.
    pub fn is_folded(&self) -> bool {
        largest(self.cycles_per_px) > 0.5
    }
}

/// A cloth before a sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Moire {
    /// Every pattern, as they were given.
    pub seen: Vec<PatternSeen>,
    /// The worst of theirs.
    pub verdict: Verdict,
    /// What moves it off, where it is not clear.
    pub moves: Option<Moves>,
}

/// Numbers that no picture is taken with.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MoireError {
    /// One of them out of its range.
    #[error("{what} is {value}; give a number {range}")]
    OutOfRange {
        /// Which.
        what: &'static str,
        /// The number.
        value: f64,
        /// What it can be.
        range: &'static str,
    },
    /// Nothing to look at.
    #[error("the cloth has no pattern; give its threads per cm")]
    NoPattern,
}

/// What pixels make of a cloth's patterns.
///
/// # Errors
/// Numbers out of range, and a cloth without patterns.
pub fn moire(
    patterns: &[ClothPattern],
    view: &ClothView,
    sensing: &Sensing,
) -> Result<Moire, MoireError> {
    check(patterns, view, sensing)?;
    let seen: Vec<PatternSeen> = patterns.iter().map(|p| see(p, view, sensing)).collect();
    let verdict = worst(patterns, view, sensing);
    let moves = (verdict != Verdict::Clear).then(|| Moves::find(patterns, view, sensing));
    Ok(Moire {
        seen,
        verdict,
        moves,
    })
}

/// The worst verdict over the patterns.
fn worst(patterns: &[ClothPattern], view: &ClothView, sensing: &Sensing) -> Verdict {
    let verdicts = patterns.iter().map(|p| see(p, view, sensing).verdict);
    verdicts.max().unwrap_or(Verdict::Clear)
}

fn see(pattern: &ClothPattern, view: &ClothView, sensing: &Sensing) -> PatternSeen {
    let footprint_mm = 1000.0 * sensing.footprint_m(view.distance_m);
    let cycles_per_px = on_picture(pattern.cycles_per_mm, view).map(|f| f * footprint_mm);
    let alias_cycles_per_px = cycles_per_px.map(|f| f - f.round());
    let contrast_left = sensing.contrast_left(view.distance_m, cycles_per_px);
    let contrast_shown = pattern.contrast * contrast_left;
    let folded = largest(cycles_per_px) > 0.5;
    let verdict = if contrast_shown < HIDDEN || largest(cycles_per_px) <= HELD {
        Verdict::Clear
    } else if folded && contrast_shown >= SHOWS {
        Verdict::WillShow
    } else {
        Verdict::MayShow
    };
    PatternSeen {
        pattern: *pattern,
        cycles_per_px,
        alias_cycles_per_px,
        alias_period_px: alias_cycles_per_px[0].hypot(alias_cycles_per_px[1]).recip(),
        contrast_left,
        contrast_shown,
        verdict,
    }
}

/// A frequency on the cloth as the picture has it, per mm of a square cloth at that distance.
///
/// Tilt shortens lengths the way the cloth falls by its cosine, so it raises that part of the
/// frequency by the reciprocal; the rest stays.
fn on_picture([u, v]: [f64; 2], view: &ClothView) -> [f64; 2] {
    let turned = |[x, y]: [f64; 2], deg: f64| {
        let (s, c) = deg.to_radians().sin_cos();
        [c * x - s * y, s * x + c * y]
    };
    let [along, across] = turned([u, v], view.grain_deg - view.falls_toward_deg);
    let steeper = along / view.tilt_deg.to_radians().cos();
    turned([steeper, across], view.falls_toward_deg)
}

fn largest([x, y]: [f64; 2]) -> f64 {
    x.abs().max(y.abs())
}

fn check(patterns: &[ClothPattern], view: &ClothView, sensing: &Sensing) -> Result<(), MoireError> {
    let within = |what, value: f64, low: f64, high: f64, range| {
        // Not a number is in no range.
        match (low..=high).contains(&value) {
            true => Ok(()),
            false => Err(MoireError::OutOfRange { what, value, range }),
        }
    };
    let focal = sensing.focal_length_m;
    within(
        "the focal length in m",
        focal,
        1e-3,
        10.0,
        "from 0.001 to 10",
    )?;
    within(
        "the f-number",
        sensing.f_number,
        0.5,
        256.0,
        "from 0.5 to 256",
    )?;
    let pitch = sensing.pixel_pitch_m;
    within(
        "the pixel pitch in m",
        pitch,
        1e-7,
        1e-3,
        "from 1e-7 to 0.001",
    )?;
    if let Some(low_pass) = sensing.low_pass {
        let split = low_pass.split_px;
        within(
            "the low-pass split in pixels",
            split,
            0.0,
            16.0,
            "from 0 to 16",
        )?;
    }
    let least_m = 1.0001 * focal;
    let range = "above the focal length, up to 10 000";
    within("the distance in m", view.distance_m, least_m, 1e4, range)?;
    within(
        "the tilt in degrees",
        view.tilt_deg,
        0.0,
        89.0,
        "from 0 to 89",
    )?;
    for (what, deg) in [
        ("the way the cloth falls in degrees", view.falls_toward_deg),
        ("the grain in degrees", view.grain_deg),
    ] {
        within(what, deg, -3600.0, 3600.0, "from -3600 to 3600")?;
    }
    for pattern in patterns {
        for f in pattern.cycles_per_mm {
            within(
                "a pattern's cycles per mm",
                f,
                -1e3,
                1e3,
                "from -1000 to 1000",
            )?;
        }
        within(
            "a pattern's contrast",
            pattern.contrast,
            0.0,
            1.0,
            "from 0 to 1",
        )?;
    }
    match patterns.is_empty() {
        true => Err(MoireError::NoPattern),
        false => Ok(()),
    }
}
