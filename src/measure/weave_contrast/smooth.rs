//! A Gaussian mean over the pixels there are: beyond the picture's edge and outside the cloth
//! weights are 0, and the rest is divided by the weights' sum (normalised convolution; H. Knutsson
//! and C.-F. Westin, CVPR 1993, from memory).

use super::Luminance;
use rayon::prelude::*;

/// Standard deviations to where the Gaussian is cut off.
const REACH: f64 = 4.0;

/// A Gaussian over one picture.
pub(super) struct Smooth<'a> {
    picture: &'a Luminance<'a>,
    /// Half of it, from the middle; not normalised.
    kernel: Vec<f64>,
    /// Sum of the weights that fall on cloth.
    weights: Vec<f64>,
}

impl<'a> Smooth<'a> {
    pub(super) fn new(picture: &'a Luminance, sigma_px: f64) -> Self {
        // No further than the picture is long, however small its pixels.
        let most = picture.width.max(picture.height);
        let reach = ((REACH * sigma_px).ceil() as usize).min(most);
        let kernel = (0..=reach)
            .map(|k| (-0.5 * (k as f64 / sigma_px).powi(2)).exp())
            .collect();
        let mut smooth = Self {
            picture,
            kernel,
            weights: Vec::new(),
        };
        smooth.weights = smooth.convolved(|_| 1.0, &smooth.kernel);
        smooth
    }

    /// The Gaussian mean at every pixel; not a number where no cloth is near.
    pub(super) fn mean(&self, value: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut sums = self.convolved(value, &self.kernel);
        for (sum, weight) in sums.iter_mut().zip(&self.weights) {
            *sum /= weight;
        }
        sums
    }

    /// Covariance of that mean with another at every pixel, from each pixel's own variance.
    pub(super) fn covariance(&self, other: &Self, variance: impl Fn(usize) -> f64) -> Vec<f64> {
        let both = self.kernel.iter().zip(&other.kernel);
        let product: Vec<f64> = both.map(|(a, b)| a * b).collect();
        let mut sums = self.convolved(variance, &product);
        for (i, sum) in sums.iter_mut().enumerate() {
            *sum /= self.weights[i] * other.weights[i];
        }
        sums
    }

    /// The weight of a pixel in its own mean.
    pub(super) fn own_weight(&self, pixel: usize) -> f64 {
        1.0 / self.weights[pixel]
    }

    fn convolved(&self, value: impl Fn(usize) -> f64, kernel: &[f64]) -> Vec<f64> {
        let (width, height) = (self.picture.width, self.picture.height);
        let reach = kernel.len() - 1;
        let inside = |i: usize| self.picture.inside.is_none_or(|inside| inside[i]);
        let values: Vec<f64> = (0..width * height)
            .map(|i| if inside(i) { value(i) } else { 0.0 })
            .collect();
        let mut across = vec![0.0; values.len()];
        across
            .par_chunks_mut(width)
            .zip(values.par_chunks(width))
            .for_each(|(out, row)| {
                for (x, sum) in out.iter_mut().enumerate() {
                    let near = x.saturating_sub(reach)..(x + reach + 1).min(width);
                    *sum = near.map(|k| kernel[k.abs_diff(x)] * row[k]).sum();
                }
            });
        let mut both = vec![0.0; values.len()];
        both.par_chunks_mut(width).enumerate().for_each(|(y, out)| {
            for k in y.saturating_sub(reach)..(y + reach + 1).min(height) {
                let weight = kernel[k.abs_diff(y)];
                for (sum, v) in out.iter_mut().zip(&across[k * width..(k + 1) * width]) {
                    *sum += weight * v;
                }
            }
        });
        both
    }
}
