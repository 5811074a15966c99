//! Contrast of a cloth, read from its linear luminance: of its weave, of its folds, and how much of
//! it is highlight.
//!
//! **Weave contrast**: the picture over its own Gaussian mean ([`WEAVE_SIGMA_MM`]), so that the
//! light's slow changes drop out; of the middle [`WEAVE_SIDE_MM`] square the standard deviation over
//! the mean (RMS contrast, E. Peli, J. Opt. Soc. Am. A 7, 1990) and beside it Michelson's contrast
//! between the 1st and 99th percentile. **Fold contrast**: structure between [`FOLD_MM`] over
//! [`FOLD_SIDE_MM`], in stops. Pixels take in what they cover, so both belong to the picture's
//! scale, which is to be told with them.

mod smooth;

use smooth::Smooth;
use thiserror::Error;

/// Standard deviation of the Gaussian whose mean a weave is divided by.
pub const WEAVE_SIGMA_MM: f64 = 1.5;
/// Side of the square that weave contrast is read from.
pub const WEAVE_SIDE_MM: f64 = 20.0;
/// Shortest and longest wave that counts as a fold; half of either passes.
pub const FOLD_MM: [f64; 2] = [10.0, 120.0];
/// Side of the square that fold contrast is read from.
pub const FOLD_SIDE_MM: f64 = 250.0;
/// Stops above its own median from which a cloth counts as highlight.
pub const HIGHLIGHT_STOPS: f64 = 1.5;

/// A cloth has to be this many times the smoothing wide, or its mean is the cloth itself.
const LEAST_SIGMAS: f64 = 2.0;
/// And a percentile wants this many pixels.
const LEAST_PIXELS: usize = 400;

/// A picture of a cloth in linear luminance, in any one unit.
#[derive(Debug, Clone, Copy)]
pub struct Luminance<'a> {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Side of a pixel on the cloth.
    pub mm_per_px: f64,
    /// Row by row.
    pub values: &'a [f32],
    /// Each value's standard error, where they are known; taken for independent.
    pub standard_errors: Option<&'a [f32]>,
    /// Which pixels show the cloth; all where there is none.
    pub inside: Option<&'a [bool]>,
}

/// A number read from a noisy picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corrected {
    /// With the noise's own part taken off; 0 where the noise explains it all.
    pub value: f64,
    /// Standard error, of the picture's noise alone: another piece of cloth differs by more.
    pub standard_error: f64,
}

/// How much a weave shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeaveContrast {
    /// Standard deviation over mean, the picture's noise in it.
    pub rms: f64,
    /// The same without noise, where the picture's errors are known.
    pub rms_without_noise: Option<Corrected>,
    /// Between the 1st and the 99th percentile, noise in it.
    pub michelson: f64,
    /// Width and height that were read, mm: [`WEAVE_SIDE_MM`], or what there is.
    pub read_mm: [f64; 2],
}

/// How much folds show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoldContrast {
    /// Standard deviation, stops, the picture's noise in it.
    pub rms_stops: f64,
    /// The same without noise, where the picture's errors are known.
    pub rms_stops_without_noise: Option<Corrected>,
    /// From the 1st to the 99th percentile, stops.
    pub span_stops: f64,
    /// Width and height that were read, mm: [`FOLD_SIDE_MM`], or what there is.
    pub read_mm: [f64; 2],
}

/// How much of a cloth is bright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Highlights {
    /// Share more than [`HIGHLIGHT_STOPS`] above the median.
    pub highlight_share: f64,
    /// Share at or above white.
    pub clipped_share: f64,
    /// The cloth's median luminance.
    pub median: f64,
}

/// A picture that gives no contrast.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ContrastError {
    /// Rows, columns and values do not fit together.
    #[error("{what} has {have} numbers for {width} × {height} pixels; give one for each")]
    Shape {
        /// Which list.
        what: &'static str,
        /// Its length.
        have: usize,
        /// Columns.
        width: usize,
        /// Rows.
        height: usize,
    },
    /// A scale that no picture has.
    #[error("the picture's scale is {0} mm a pixel; give a number above 0")]
    Scale(f64),
    /// A white level that no picture has.
    #[error("white is at {0}; give a luminance above 0")]
    White(f64),
    /// Light that is none.
    #[error("{what} at column {column}, row {row} is {value}; give linear light, 0 or more")]
    Value {
        /// Value or error.
        what: &'static str,
        /// From 0 at the left.
        column: usize,
        /// From 0 at the top.
        row: usize,
        /// The number.
        value: f32,
    },
    /// Too little cloth.
    #[error(
        "the cloth is {:.1} × {:.1} mm, {pixels} pixels; show at least {least_mm:.1} mm each way \
         and {LEAST_PIXELS} pixels",
        .size_mm[0],
        .size_mm[1]
    )]
    TooSmall {
        /// What there is of it.
        size_mm: [f64; 2],
        /// Its pixels.
        pixels: usize,
        /// What it takes.
        least_mm: f64,
    },
    /// Nothing is lit.
    #[error(
        "no light falls on part of the cloth, so it has no contrast; light it or leave that part out"
    )]
    Dark,
}

/// Contrast of the weave in the middle of a swatch's picture.
///
/// The noise's part is that of independent errors in each pixel and, through the mean it is divided
/// by, in its neighbours, to first order; it is subtracted from the variance.
///
/// # Errors
/// See [`ContrastError`].
pub fn weave_contrast(picture: &Luminance) -> Result<WeaveContrast, ContrastError> {
    let window = Window::of(picture, WEAVE_SIDE_MM, LEAST_SIGMAS * WEAVE_SIGMA_MM)?;
    let smooth = Smooth::new(picture, WEAVE_SIGMA_MM / picture.mm_per_px);
    let mean = smooth.mean(|i| f64::from(picture.values[i]));
    let ratio = |i: usize| f64::from(picture.values[i]) / mean[i];
    let mut ratios: Vec<f64> = window.pixels.iter().map(|&i| ratio(i)).collect();
    if !ratios.iter().all(|r| r.is_finite()) {
        return Err(ContrastError::Dark);
    }
    let noise = picture.standard_errors.map(|errors| {
        let square = |i: usize| f64::from(errors[i]).powi(2);
        let of_mean = smooth.covariance(&smooth, square);
        let variance = |&i: &usize| {
            // A pixel's own error is in its mean too, with the Gaussian's weight in the middle.
            let (r, own) = (ratio(i), smooth.own_weight(i));
            let own_part = square(i) * (1.0 - 2.0 * r * own);
            ((own_part + r * r * of_mean[i]) / mean[i].powi(2)).max(0.0)
        };
        window.pixels.iter().map(variance).collect::<Vec<f64>>()
    });
    let spread = Spread::of(&ratios, noise.as_deref(), [1.0; 2]);
    let [low, high] = percentiles(&mut ratios);
    Ok(WeaveContrast {
        rms: spread.deviation / spread.mean,
        rms_without_noise: spread.corrected.map(|c| Corrected {
            value: c.value / spread.mean,
            standard_error: c.standard_error / spread.mean,
        }),
        michelson: (high - low) / (high + low),
        read_mm: window.size_mm,
    })
}

/// Contrast of the folds in the middle of a garment's picture.
///
/// Two Gaussians, each passing half of the waves at its end of [`FOLD_MM`]; the stops between them.
///
/// # Errors
/// See [`ContrastError`].
pub fn fold_contrast(picture: &Luminance) -> Result<FoldContrast, ContrastError> {
    let [fine_mm, broad_mm] = FOLD_MM.map(half_passing_sigma_mm);
    let window = Window::of(picture, FOLD_SIDE_MM, LEAST_SIGMAS * broad_mm)?;
    let luminance = |i: usize| f64::from(picture.values[i]);
    let fine = Smooth::new(picture, fine_mm / picture.mm_per_px);
    let fine_mean = fine.mean(luminance);
    let broad = Smooth::new(picture, broad_mm / picture.mm_per_px);
    let broad_mean = broad.mean(luminance);
    let stops = |&i: &usize| (fine_mean[i] / broad_mean[i]).log2();
    let mut stops: Vec<f64> = window.pixels.iter().map(stops).collect();
    if !stops.iter().all(|s| s.is_finite()) {
        return Err(ContrastError::Dark);
    }
    let noise = picture.standard_errors.map(|errors| {
        // Both means hold the same noise, so their difference holds less.
        let square = |i: usize| f64::from(errors[i]).powi(2);
        let of_fine = fine.covariance(&fine, square);
        let of_broad = broad.covariance(&broad, square);
        let of_both = fine.covariance(&broad, square);
        let variance = |&i: &usize| {
            let (f, b) = (fine_mean[i], broad_mean[i]);
            let of_ratio =
                of_fine[i] / (f * f) + of_broad[i] / (b * b) - 2.0 * of_both[i] / (f * b);
            of_ratio.max(0.0) / std::f64::consts::LN_2.powi(2)
        };
        window.pixels.iter().map(variance).collect::<Vec<f64>>()
    });
    // Pixels over which smoothed noise is alike: the Gaussian's autocorrelation, and its square's.
    let area = (fine_mm / picture.mm_per_px).powi(2) * std::f64::consts::PI;
    let alike = [(4.0 * area).max(1.0), (2.0 * area).max(1.0)];
    let spread = Spread::of(&stops, noise.as_deref(), alike);
    let [low, high] = percentiles(&mut stops);
    Ok(FoldContrast {
        rms_stops: spread.deviation,
        rms_stops_without_noise: spread.corrected,
        span_stops: high - low,
        read_mm: window.size_mm,
    })
}

/// How much of a cloth's picture is highlight, and how much is at or above a white level.
///
/// # Errors
/// See [`ContrastError`].
pub fn highlights(picture: &Luminance, white: f64) -> Result<Highlights, ContrastError> {
    if !(white > 0.0 && white.is_finite()) {
        return Err(ContrastError::White(white));
    }
    let window = Window::of(picture, f64::INFINITY, 0.0)?;
    let mut values: Vec<f64> = (window.pixels.iter())
        .map(|&i| f64::from(picture.values[i]))
        .collect();
    values.sort_unstable_by(f64::total_cmp);
    let median = quantile(&values, 0.5);
    if median <= 0.0 {
        return Err(ContrastError::Dark);
    }
    let share = |below: usize| (values.len() - below) as f64 / values.len() as f64;
    let bright = median * HIGHLIGHT_STOPS.exp2();
    Ok(Highlights {
        highlight_share: share(values.partition_point(|v| *v <= bright)),
        clipped_share: share(values.partition_point(|v| *v < white)),
        median,
    })
}

/// Standard deviation of the Gaussian that lets half of a wave through: `exp(-2π²σ²/λ²) = 1/2`.
fn half_passing_sigma_mm(wave_mm: f64) -> f64 {
    wave_mm * (std::f64::consts::LN_2 / 2.0).sqrt() / std::f64::consts::PI
}

/// The part of a picture that is read.
struct Window {
    /// Places of its pixels that show cloth.
    pixels: Vec<usize>,
    size_mm: [f64; 2],
}

impl Window {
    /// A square in the middle, or what there is.
    fn of(picture: &Luminance, side_mm: f64, least_mm: f64) -> Result<Self, ContrastError> {
        picture.check()?;
        let scale = picture.mm_per_px;
        // Whole pixels; a picture rounded to 19.99 mm is 20 mm.
        let across = |all: usize| ((side_mm / scale).round().max(1.0) as usize).min(all);
        let sides = [picture.width, picture.height].map(across);
        let size_mm = sides.map(|n| n as f64 * scale);
        let [left, top] = [
            (picture.width - sides[0]) / 2,
            (picture.height - sides[1]) / 2,
        ];
        let inside = |&i: &usize| picture.inside.is_none_or(|inside| inside[i]);
        let pixels: Vec<usize> = (top..top + sides[1])
            .flat_map(|y| (left..left + sides[0]).map(move |x| y * picture.width + x))
            .filter(inside)
            .collect();
        if size_mm.iter().any(|s| *s < least_mm) || pixels.len() < LEAST_PIXELS {
            return Err(ContrastError::TooSmall {
                size_mm,
                pixels: pixels.len(),
                least_mm,
            });
        }
        Ok(Self { pixels, size_mm })
    }
}

impl Luminance<'_> {
    fn check(&self) -> Result<(), ContrastError> {
        let (width, height) = (self.width, self.height);
        if !(self.mm_per_px > 0.0 && self.mm_per_px.is_finite()) {
            return Err(ContrastError::Scale(self.mm_per_px));
        }
        let lists = [
            ("the picture", Some(self.values.len())),
            ("its errors", self.standard_errors.map(<[f32]>::len)),
            ("its mask", self.inside.map(<[bool]>::len)),
        ];
        for (what, have) in lists {
            if let Some(have) = have
                && width.checked_mul(height) != Some(have)
            {
                return Err(ContrastError::Shape {
                    what,
                    have,
                    width,
                    height,
                });
            }
        }
        for (what, list) in [
            ("the luminance", Some(self.values)),
            ("the error", self.standard_errors),
        ] {
            let values = list.unwrap_or_default();
            let bad = |i: &usize| {
                let shown = self.inside.is_none_or(|inside| inside[*i]);
                shown && !(values[*i] >= 0.0 && values[*i].is_finite())
            };
            if let Some(i) = (0..values.len()).find(bad) {
                return Err(ContrastError::Value {
                    what,
                    column: i % width,
                    row: i / width,
                    value: values[i],
                });
            }
        }
        Ok(())
    }
}

/// Mean and standard deviation, with and without noise.
struct Spread {
    mean: f64,
    deviation: f64,
    corrected: Option<Corrected>,
}

impl Spread {
    /// By values and their noise variances; noise is alike over so many pixels, its square over
    /// so many.
    fn of(values: &[f64], noise: Option<&[f64]>, alike: [f64; 2]) -> Self {
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        let variance = squares / (count - 1.0);
        let corrected = noise.map(|noise| {
            let left = variance - noise.iter().sum::<f64>() / count;
            // A square (d + e)² with e of variance v has the variance 4 d² v + 2 v².
            let of_squares: f64 = values
                .iter()
                .zip(noise)
                .map(|(value, v)| {
                    let d2 = ((value - mean).powi(2) - v).max(0.0);
                    4.0 * d2 * v * alike[0] + 2.0 * v * v * alike[1]
                })
                .sum();
            let error_of_variance = of_squares.sqrt() / count;
            let value = left.max(0.0).sqrt();
            // The root's slope; where it has none, the root of the error itself.
            let standard_error = error_of_variance / (2.0 * value).max(error_of_variance.sqrt());
            Corrected {
                value,
                standard_error: if error_of_variance > 0.0 {
                    standard_error
                } else {
                    0.0
                },
            }
        });
        Self {
            mean,
            deviation: variance.sqrt(),
            corrected,
        }
    }
}

/// The 1st and the 99th percentile; sorts.
fn percentiles(values: &mut [f64]) -> [f64; 2] {
    values.sort_unstable_by(f64::total_cmp);
    [0.01, 0.99].map(|share| quantile(values, share))
}

/// Of sorted values, between neighbours on a line.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let at = share * (sorted.len() - 1) as f64;
    let (low, high) = (at.floor() as usize, at.ceil() as usize);
    sorted[low] + (sorted[high] - sorted[low]) * at.fract()
}
