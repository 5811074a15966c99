//! A square picture of a cloth, and what is read from lists of light.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use swatchlight::measure::weave_contrast::Luminance;

pub const PER_MM: usize = 20;
/// Of a picture's side: the middle 400 pixels are read, the rest keeps the mean whole.
pub const SIDE: usize = 800;

/// Standard deviation over mean.
pub fn rms(light: &[f64]) -> f64 {
    let mean = light.iter().sum::<f64>() / light.len() as f64;
    let squares: f64 = light.iter().map(|l| (l - mean).powi(2)).sum();
    (squares / light.len() as f64).sqrt() / mean
}

/// By column and row.
pub fn picture(value: impl Fn(usize, usize) -> f64) -> Vec<f32> {
    (0..SIDE * SIDE)
        .map(|i| value(i % SIDE, i / SIDE) as f32)
        .collect()
}

/// With its scale, without errors.
pub fn of(values: &[f32]) -> Luminance<'_> {
    Luminance {
        width: SIDE,
        height: SIDE,
        mm_per_px: 1.0 / PER_MM as f64,
        values,
        standard_errors: None,
        inside: None,
    }
}

#[track_caller]
pub fn within(value: f64, expected: f64, relative: f64) {
    let off = value / expected - 1.0;
    assert!(off.abs() <= relative, "{value} for {expected}: {off:+.2e}");
}
