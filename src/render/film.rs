//! The film: linear light, one layer per light, held as sums over samples.
//!
//! Sums are in two steps: an executor sums the samples of one pass in registers and the film
//! adds whole passes, so an f32 accumulator never meets an addend too small to count. (With one
//! running f32 sum, light is lost from about 10⁵ samples on.)

use super::blocks::Blocks;
use rayon::prelude::*;
use std::sync::Arc;

/// Layers an executor can hold apart.
pub const MAX_LAYERS: usize = 16;

/// Rows of a picture as they gather light. Pixels run from the top left, row by row.
#[derive(Debug, Clone)]
pub struct Film {
    /// Pixels in a row.
    pub width: u32,
    /// The picture's row that this film starts at.
    pub first_row: u32,
    /// Rows held.
    pub rows: u32,
    /// Layers, in the scene's order.
    pub layers: u32,
    /// Sums over samples, `[pixel][layer]`, linear sRGB, per lumen (cd/m² per lm, or cd·s/m² per lm·s).
    pub light: Vec<[f32; 3]>,
    /// Sums over samples of what the camera sees first.
    pub seen: Vec<Seen>,
    /// For the error: the mix's luminance, summed over all samples and over the second net's.
    pub spread: Vec<Spread>,
    /// Samples in each row; rows differ only after an interrupted pass.
    pub row_samples: Vec<u32>,
    /// Passes in each row.
    pub row_passes: Vec<u32>,
    /// Where only some blocks get the next passes: theirs. Rows count passes all the same.
    pub only: Option<Arc<Blocks>>,
    /// Contributions refused because they were not finite.
    pub refused: u64,
}

/// First-hit facts, summed over samples.
#[derive(Debug, Clone, Copy, Default, PartialEq, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub struct Seen {
    /// Linear reflectance.
    pub albedo: [f32; 3],
    /// Distance from the lens, metres; 0 where nothing was met.
    pub depth_m: f32,
    /// Shading normal in the room.
    pub normal: [f32; 3],
    /// Samples that met something.
    pub met: f32,
}

/// The mix's luminance summed over samples. They are two nets of their own (`camera_path`), so their difference tells the error of both together.
#[derive(Debug, Clone, Copy, Default, PartialEq, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub struct Spread {
    /// Sum of the samples.
    pub sum: f32,
    /// Sum of those of the second net.
    pub second: f32,
}

impl Spread {
    /// Mean of `samples` samples, and what is known of the variance of that mean: one degree of
    /// freedom, to be pooled over pixels. Unbiased when both nets err alike per sample.
    pub fn mean_and_variance(&self, samples: u32) -> (f64, f64) {
        let n = f64::from(samples.max(1));
        let second = f64::from(second_of(samples));
        let first = n - second;
        let sum = f64::from(self.sum);
        if second == 0.0 {
            return (sum / n, 0.0);
        }
        let of_second = f64::from(self.second);
        let apart = of_second / second - (sum - of_second) / first;
        (sum / n, apart * apart * first * second / (n * n))
    }
}

/// How many of a pixel's first samples belong to its second net (`in_second_net` in path.wgsl).
fn second_of(samples: u32) -> u32 {
    let whole = samples.checked_ilog2().map_or(0, |power| 1 << power);
    whole / 2 + (samples - whole).saturating_sub(whole / 2)
}

/// Samples that a pixel's sums count as, and those of them in its second net.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Counted {
    all: u32,
    second: u32,
}

impl Counted {
    /// A pixel's first `samples`.
    pub(super) fn first(samples: u32) -> Self {
        Self {
            all: samples,
            second: second_of(samples),
        }
    }

    /// The first `samples`, those up to `twice` counted twice.
    pub(super) fn first_with_twice(samples: u32, twice: u32) -> Self {
        let (all, twice) = (Self::first(samples), Self::first(twice));
        Self {
            all: all.all + twice.all,
            second: all.second + twice.second,
        }
    }
}

impl Film {
    /// An empty film of `rows` rows from `first_row`.
    ///
    /// # Panics
    /// For more layers than [`MAX_LAYERS`].
    pub fn new(width: u32, first_row: u32, rows: u32, layers: u32) -> Self {
        assert!(layers as usize <= MAX_LAYERS, "at most {MAX_LAYERS} layers");
        let pixels = width as usize * rows as usize;
        Self {
            width,
            first_row,
            rows,
            layers,
            light: vec![[0.0; 3]; pixels * layers as usize],
            seen: vec![Seen::default(); pixels],
            spread: vec![Spread::default(); pixels],
            row_samples: vec![0; rows as usize],
            row_passes: vec![0; rows as usize],
            only: None,
            refused: 0,
        }
    }

    /// Bytes that a film of this size takes for each row.
    pub fn bytes_per_row(width: u32, layers: u32) -> usize {
        width as usize * (12 * layers as usize + size_of::<Seen>() + size_of::<Spread>())
    }

    /// The fewest samples any row has.
    pub fn samples(&self) -> u32 {
        self.row_samples.iter().copied().min().unwrap_or(0)
    }

    /// Mean light of one layer at a pixel of this film (row counted from the film's first).
    pub fn mean(&self, x: u32, row: u32, layer: u32) -> [f32; 3] {
        let n = self.row_samples[row as usize].max(1) as f32;
        let pixel = row as usize * self.width as usize + x as usize;
        self.light[pixel * self.layers as usize + layer as usize].map(|s| s / n)
    }

    /// Brings the sums of a row's chosen pixels from the samples that they count as to what another number
    /// would have summed to.
    pub(super) fn rescale(&mut self, row: u32, chosen: &Blocks, have: Counted, wanted: Counted) {
        // Multiplied first, so that whole counts stay whole.
        let scaled = |sum: f32, from: u32, to: u32| {
            (f64::from(sum) * f64::from(to) / f64::from(from.max(1))) as f32
        };
        let all = |sum: f32| scaled(sum, have.all, wanted.all);
        for x in (0..self.width).filter(|x| chosen.holds(*x, self.first_row + row)) {
            let pixel = row as usize * self.width as usize + x as usize;
            let layers = self.layers as usize;
            for light in &mut self.light[pixel * layers..(pixel + 1) * layers] {
                *light = light.map(all);
            }
            let seen = &mut self.seen[pixel];
            *seen = Seen {
                albedo: seen.albedo.map(all),
                depth_m: all(seen.depth_m),
                normal: seen.normal.map(all),
                met: all(seen.met),
            };
            let spread = &mut self.spread[pixel];
            *spread = Spread {
                sum: all(spread.sum),
                second: scaled(spread.second, have.second, wanted.second),
            };
        }
    }

    /// Relative standard error of the mix at the median pixel, from how its two nets of samples
    /// differ. Variances are pooled over 2 × 2 pixels, since one difference estimates one pixel's
    /// poorly, and more would have an edge's error told of all pixels around it. `None` until every row has two passes. Blocks that get no light do not count.
    pub fn median_relative_error(&self) -> Option<f64> {
        const SIDE: usize = 2;
        // Median of the root of a chi-square variable over its SIDE² degrees of freedom (3.3567 of four).
        const MEDIAN: f64 = 0.916_07;
        let passes = self.row_passes.iter().copied().min()?;
        if passes < 2 {
            return None;
        }
        let width = self.width as usize;
        let bands: Vec<usize> = (0..self.rows as usize).step_by(SIDE).collect();
        let mut errors: Vec<f32> = bands
            .par_iter()
            .flat_map_iter(|&top| {
                (0..width).step_by(SIDE).filter_map(move |left| {
                    let (mut variance, mut mean, mut count) = (0.0_f64, 0.0_f64, 0.0_f64);
                    for row in top..(top + SIDE).min(self.rows as usize) {
                        let right = (left + SIDE).min(width);
                        for s in &self.spread[row * width + left..row * width + right] {
                            let (m, v) = s.mean_and_variance(self.row_samples[row]);
                            variance += v;
                            mean += m;
                            count += 1.0;
                        }
                    }
                    (mean > 0.0).then(|| ((variance / count).sqrt() / (mean / count)) as f32)
                })
            })
            .collect();
        if errors.is_empty() {
            return Some(0.0);
        }
        let middle = errors.len() / 2;
        let (_, median, _) = errors.select_nth_unstable_by(middle, f32::total_cmp);
        Some(f64::from(*median) / MEDIAN)
    }
}
