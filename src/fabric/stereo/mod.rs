//! Photometric stereo: a real swatch, photographed from one place under 4 to 12 known light
//! directions, becomes normals and albedo (R. J. Woodham, "Photometric method for determining
//! surface orientation from multiple images", Opt. Eng. 19, 1980, 139).
//!
//! The camera looks straight down on the swatch from far off. Directions and normals are **right,
//! up, toward the camera** as the picture shows them; picture rows go from the top. Intensities
//! are linear: `I = strength · albedo · (L·n)`.

mod ball;
mod card;
mod error;
mod fit;
mod rig;
mod trend;

pub use ball::Ball;
pub use error::StereoError;
pub use fit::albedo_normal;
pub use trend::{Trend, TrendTaken};

use rayon::prelude::*;

use super::maps::{Edges, Green, MOST_SIDE, MapsError, Picture, heights_mm};
use card::Card;
use rig::{LANES, Lanes, MOST_SHOTS, Rig, dot, list};

/// Greatest value of a picture: what is squared on the way must stay within f32.
const MOST_VALUE: f32 = 1e9;

/// One picture of the swatch under one light.
#[derive(Debug, Clone, Copy)]
pub struct Shot<'a> {
    /// Linear: the camera's own values or decoded sRGB.
    pub picture: Picture<'a>,
    /// Toward the light: right, up, toward the camera. Of any length.
    pub direction: [f64; 3],
    /// Light on the swatch against the other shots', facing the light. A card takes its place.
    pub strength: f64,
    /// The same frame with a plain grey card lying in place of the swatch, same light and
    /// exposure.
    pub card: Option<Picture<'a>>,
}

/// How a swatch is got from its shots.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Value at which the pictures are burnt out; infinity where they never are. Samples within
    /// 2 % of it are left out.
    pub clip: f32,
    /// Reflectance of the grey cards.
    pub card_reflectance: f64,
    /// What is taken out of the slopes.
    pub trend: Trend,
}

/// What the shots say of the swatch, rows from the top.
#[derive(Debug, Clone, PartialEq)]
pub struct Swatch {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// Unit normals: right, up, toward the camera.
    pub normals: Vec<[f32; 3]>,
    /// By linear channel. Reflectance if there were cards, otherwise in the pictures' own scale.
    pub albedo: Vec<[f32; 3]>,
    /// Standard deviation of the samples that a pixel rests on, against its albedo; 0 where it
    /// rests on no more than three.
    pub residual: Vec<f32>,
    /// How many samples it rests on; 0 where there was too little to go by and it was taken as
    /// flat.
    pub used: Vec<u8>,
    /// The whole in numbers.
    pub report: Report,
}

/// How well shots and swatch agree.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Report {
    /// Greatest over least singular value of the light directions; 1.4 is best, 15 the most.
    pub condition: f64,
    /// Root mean square of the pixels' residuals, against their albedo.
    pub residual_rms: f64,
    /// Root mean square misfit of all samples, shadows and highlights with them, against the root
    /// mean square sample. Far above the residual where the cloth shines.
    pub misfit_rms: f64,
    /// Mean number of samples that a pixel rests on.
    pub mean_used: f64,
    /// Pixels taken as flat, because fewer than three samples said anything.
    pub unsolved: usize,
    /// What was taken out of the slopes.
    pub trend: TrendTaken,
    /// Whether albedo is reflectance.
    pub albedo_is_reflectance: bool,
    /// Each shot's part in it.
    pub shots: Vec<ShotReport>,
}

/// One shot's part in a swatch. A shot that is left out nearly everywhere has a wrong strength or
/// direction.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ShotReport {
    /// Unit direction toward the light.
    pub direction: [f64; 3],
    /// Share of the pixels where it was left out as too dark.
    pub shadow_share: f64,
    /// Share of the pixels where it was left out as too bright.
    pub highlight_share: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            clip: 1.0,
            card_reflectance: 0.18,
            trend: Trend::default(),
        }
    }
}

/// Normals and albedo of a swatch.
///
/// # Errors
/// [`StereoError`]: fewer than 4 or more than 12 shots, pictures of different size or with values
/// that are no numbers, directions that are none or lie almost in one plane, cards for some shots
/// only, a card that is black or burnt out.
pub fn recover(shots: &[Shot], options: &Options) -> Result<Swatch, StereoError> {
    let rig = check(shots, options)?;
    let cards = cards(shots, options)?;
    let (width, height) = (shots[0].picture.width, shots[0].picture.height);

    // Fit each pixel.
    let mut swatch = Swatch {
        width,
        height,
        normals: vec![[0.0, 0.0, 1.0]; width * height],
        albedo: vec![[0.0; 3]; width * height],
        residual: vec![0.0; width * height],
        used: vec![0; width * height],
        report: Report::default(),
    };
    let mut slopes = vec![[f32::NAN; 2]; width * height];
    let tally = (
        slopes.par_chunks_mut(width),
        swatch.albedo.par_chunks_mut(width),
        swatch.residual.par_chunks_mut(width),
        swatch.used.par_chunks_mut(width),
    )
        .into_par_iter()
        .enumerate()
        .map(|(j, (slopes, albedo, residual, used))| {
            let gains = gains(shots, &rig, &cards, options, j);
            let mut tally = Tally::default();
            for i in 0..width {
                let pixel = Samples::take(shots, &gains, options.clip, j * width + i, i);
                let answer = pixel.answer(&rig, &mut tally);
                (slopes[i], albedo[i]) = (answer.slope, answer.albedo);
                (residual[i], used[i]) = (answer.residual, answer.used);
            }
            tally
        })
        .reduce(Tally::default, Tally::plus);

    // Lay it flat.
    let trend = trend::take_out(&mut slopes, width, options.trend);
    swatch
        .normals
        .par_iter_mut()
        .zip(&slopes)
        .filter(|(_, slope)| slope[0].is_finite())
        .for_each(|(normal, [p, q])| {
            let over = (1.0 + p * p + q * q).sqrt().recip();
            *normal = [-p * over, -q * over, over];
        });
    swatch.report = tally.report(&rig, width * height, trend, !cards.is_empty());
    Ok(swatch)
}

impl Swatch {
    /// `dz/dx` to the right and `dz/dy` up.
    pub fn slopes(&self) -> Vec<[f32; 2]> {
        self.normals
            .par_iter()
            .map(|&[x, y, z]| [-x / z, -y / z])
            .collect()
    }

    /// Heights of mean 0, the frame being `width_mm` wide.
    ///
    /// # Errors
    /// [`MapsError::Range`] for a width that is none.
    pub fn heights_mm(&self, width_mm: f64) -> Result<Vec<f32>, MapsError> {
        let pitch_mm = width_mm / self.width as f64;
        heights_mm(
            &self.slopes(),
            self.width,
            self.height,
            pitch_mm,
            Edges::Free,
        )
    }

    /// The normal map, 0 to 1, as a file holds it.
    pub fn normal_map(&self, green: Green) -> Vec<[f32; 3]> {
        self.normals.par_iter().map(|&n| green.encode(n)).collect()
    }
}

/// Checks shots and options; gives their lights.
fn check(shots: &[Shot], options: &Options) -> Result<Rig, StereoError> {
    let count = shots.len();
    if !(4..=MOST_SHOTS).contains(&count) {
        return Err(StereoError::Count { count });
    }
    let range = |option, value: f64, low, high| {
        if (low..=high).contains(&value) {
            Ok(())
        } else {
            Err(StereoError::Range {
                option,
                value,
                low,
                high,
            })
        }
    };
    range("clip", f64::from(options.clip), 1e-6, f64::INFINITY)?;
    range("card_reflectance", options.card_reflectance, 0.01, 1.0)?;
    for (k, shot) in shots.iter().enumerate() {
        check_picture(&shot.picture, format!("shot {}", k + 1), &shots[0].picture)?;
        if let Some(card) = &shot.card {
            let what = format!("the grey card of shot {}", k + 1);
            check_picture(card, what, &shots[0].picture)?;
        }
        if !(1e-6..=1e6).contains(&shot.strength) {
            return Err(StereoError::Strength {
                shot: k + 1,
                strength: shot.strength,
            });
        }
    }
    let directions: Vec<_> = shots.iter().map(|shot| shot.direction).collect();
    Rig::new(&directions)
}

fn check_picture(picture: &Picture, what: String, first: &Picture) -> Result<(), StereoError> {
    let (width, height) = (picture.width, picture.height);
    let sides = 2..=MOST_SIDE;
    let given = picture.rgb.len();
    if !sides.contains(&width) || !sides.contains(&height) || given != width * height {
        return Err(StereoError::Length {
            what,
            given,
            width,
            height,
        });
    }
    let (size, first) = ([width, height], [first.width, first.height]);
    if size != first {
        return Err(StereoError::Size { what, size, first });
    }
    match picture.first(|v| v.is_nan() || v.abs() > MOST_VALUE) {
        None => Ok(()),
        Some(([column, row], value)) => Err(StereoError::NotFinite {
            what,
            value,
            column,
            row,
        }),
    }
}

/// The shots' cards: all or none.
fn cards(shots: &[Shot], options: &Options) -> Result<Vec<Card>, StereoError> {
    let missing = |(k, shot): (usize, &Shot)| shot.card.is_none().then_some(k + 1);
    let missing: Vec<usize> = shots.iter().enumerate().filter_map(missing).collect();
    if !missing.is_empty() && missing.len() < shots.len() {
        return Err(StereoError::CardsMissing {
            missing: list(missing),
        });
    }
    shots
        .iter()
        .enumerate()
        .filter_map(|(k, shot)| Some(Card::new(&shot.card?, k + 1, options.clip)))
        .collect()
}

/// For each shot, one over the light on each pixel of row `j`, or on all where there is no card.
///
/// A card of reflectance ρ lying flat shows `ρ E L_z`, so the light is `E = card / (ρ L_z)`.
fn gains(
    shots: &[Shot],
    rig: &Rig,
    cards: &[Card],
    options: &Options,
    j: usize,
) -> Vec<Vec<[f32; 3]>> {
    if cards.is_empty() {
        let gain = |shot: &Shot| vec![[(1.0 / shot.strength) as f32; 3]];
        return shots.iter().map(gain).collect();
    }
    let row = |(card, direction): (&Card, &[f64; 3])| {
        let mut row = vec![[0.0; 3]; shots[0].picture.width];
        card.fill_gains(
            j,
            (options.card_reflectance * direction[2]) as f32,
            &mut row,
        );
        row
    };
    cards.iter().zip(&rig.directions).map(row).collect()
}

/// A pixel's samples over the lights' strengths.
struct Samples {
    rgb: [[f32; 3]; MOST_SHOTS],
    grey: Lanes,
    /// A bit for each that is burnt out.
    clipped: u16,
}

/// What is known of a pixel; the slope is no number where nothing is.
struct Answer {
    slope: [f32; 2],
    albedo: [f32; 3],
    residual: f32,
    used: u8,
}

impl Samples {
    fn take(shots: &[Shot], gains: &[Vec<[f32; 3]>], clip: f32, at: usize, i: usize) -> Self {
        let mut samples = Self {
            rgb: [[0.0; 3]; MOST_SHOTS],
            grey: [0.0; LANES],
            clipped: 0,
        };
        let mut sum = [0.0f32; 3];
        for (k, (shot, gains)) in shots.iter().zip(gains).enumerate() {
            let raw = shot.picture.rgb[at];
            if raw.iter().any(|&v| v >= 0.98 * clip) {
                samples.clipped |= 1 << k;
            }
            // Without a card one gain stands for the whole row.
            let gain = gains.get(i).unwrap_or(&gains[0]);
            let rgb = [0, 1, 2].map(|c| raw[c] * gain[c]);
            (0..3).for_each(|c| sum[c] += rgb[c].max(0.0));
            samples.rgb[k] = rgb;
        }
        // Weigh channels by the pixel's own colour: where a dyed cloth is dark, there is little
        // but shine and noise.
        let total = (sum[0] + sum[1] + sum[2]).max(f32::MIN_POSITIVE);
        let weight = sum.map(|s| s / total);
        for (grey, rgb) in samples.grey.iter_mut().zip(&samples.rgb) {
            *grey = rgb[0] * weight[0] + rgb[1] * weight[1] + rgb[2] * weight[2];
        }
        samples
    }

    fn answer(&self, rig: &Rig, tally: &mut Tally) -> Answer {
        /// Least cosine of a normal from the camera: 85°.
        const LEAST_COSINE: f64 = 0.087;
        let count = rig.directions.len();
        let fit = rig.fit(&self.grey, self.clipped).filter(|fit| {
            let length = dot(fit.g, fit.g).sqrt();
            length > 0.0 && fit.g[2] >= LEAST_COSINE * length
        });
        let Some(fit) = fit else {
            tally.unsolved += 1;
            let mean = |c: usize| self.rgb[..count].iter().map(|v| v[c]).sum::<f32>();
            return Answer {
                slope: [f32::NAN; 2],
                albedo: [0, 1, 2].map(|c| (mean(c) / count as f32).max(0.0)),
                residual: 0.0,
                used: 0,
            };
        };

        // Albedo by channel over the samples it rests on.
        let length = dot(fit.g, fit.g).sqrt();
        let (mut light2, mut rgb) = (0.0, [0.0; 3]);
        let mut off2 = 0.0;
        for (k, &direction) in rig.directions.iter().enumerate() {
            let light = dot(direction, fit.g).max(0.0) / length;
            let off = f64::from(self.grey[k]) - light * length;
            let kept = fit.kept >> k & 1 == 1;
            if kept {
                light2 += light * light;
                (0..3).for_each(|c| rgb[c] += light * f64::from(self.rgb[k][c]));
                off2 += off * off;
            }
            let clipped = self.clipped >> k & 1 == 1;
            tally.count(k, off, f64::from(self.grey[k]), kept, clipped);
        }
        let used = fit.kept.count_ones();
        let spare = f64::from(used.saturating_sub(3));
        let residual2 = if spare > 0.0 {
            off2 / spare / (length * length)
        } else {
            0.0
        };
        tally.pixel(used, residual2);
        Answer {
            slope: [-fit.g[0] / fit.g[2], -fit.g[1] / fit.g[2]].map(|v| v as f32),
            albedo: rgb.map(|v| (v / light2.max(1e-12)).max(0.0) as f32),
            residual: residual2.sqrt().min(1e6) as f32,
            used: used as u8,
        }
    }
}

/// Sums over pixels.
#[derive(Default)]
struct Tally {
    unsolved: usize,
    used: f64,
    /// Pixels that rest on more than three samples, and the sum of their squared residuals.
    tested: f64,
    residual2: f64,
    off2: f64,
    sample2: f64,
    shadows: [f64; MOST_SHOTS],
    highlights: [f64; MOST_SHOTS],
}

impl Tally {
    fn count(&mut self, k: usize, off: f64, sample: f64, kept: bool, clipped: bool) {
        self.off2 += off * off;
        self.sample2 += sample * sample;
        let bright = clipped || off > 0.0;
        self.highlights[k] += f64::from(u8::from(!kept && bright));
        self.shadows[k] += f64::from(u8::from(!kept && !bright));
    }

    fn pixel(&mut self, used: u32, residual2: f64) {
        self.used += f64::from(used);
        if used > 3 {
            self.tested += 1.0;
            self.residual2 += residual2;
        }
    }

    fn plus(mut self, other: Self) -> Self {
        self.unsolved += other.unsolved;
        self.used += other.used;
        self.tested += other.tested;
        self.residual2 += other.residual2;
        self.off2 += other.off2;
        self.sample2 += other.sample2;
        for k in 0..MOST_SHOTS {
            self.shadows[k] += other.shadows[k];
            self.highlights[k] += other.highlights[k];
        }
        self
    }

    fn report(&self, rig: &Rig, pixels: usize, trend: TrendTaken, cards: bool) -> Report {
        let solved = pixels.saturating_sub(self.unsolved).max(1) as f64;
        let shot = |(k, &direction): (usize, &[f64; 3])| ShotReport {
            direction,
            shadow_share: self.shadows[k] / solved,
            highlight_share: self.highlights[k] / solved,
        };
        Report {
            condition: rig.condition,
            residual_rms: (self.residual2 / self.tested.max(1.0)).sqrt(),
            misfit_rms: (self.off2 / self.sample2.max(f64::MIN_POSITIVE)).sqrt(),
            mean_used: self.used / solved,
            unsolved: self.unsolved,
            trend,
            albedo_is_reflectance: cards,
            shots: rig.directions.iter().enumerate().map(shot).collect(),
        }
    }
}
