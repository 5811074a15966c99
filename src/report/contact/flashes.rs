//! Whether moving pictures flash: the general and red flash definitions of WCAG 2.2, success criterion
//! 2.3.1 and its glossary (World Wide Web Consortium, 2023), without its allowance for small areas.
//!
//! A general flash is a pair of opposing changes in relative luminance of 10 % or more of the greatest
//! (1.0), where the darker of the two is below 0.80. A red flash is a pair of opposing transitions
//! involving a saturated red: R/(R+G+B) ≥ 0.8, and (R − G − B) · 320 changes by more than 20 (ITU-R
//! BT.1702), in linear values.

use crate::photometry::colour::srgb_decode;
use crate::report::drawing::Colour;

/// The most flashes that any place of the picture shows within any second.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Flashes {
    /// General flashes.
    pub general: usize,
    /// Red flashes.
    pub red: usize,
}

/// Pixels along a side of the places looked at: noise of single pixels is no flash.
const PLACE: usize = 4;

/// Counts flashes of frames, each shown for so many seconds, played over and over.
pub fn flashes(columns: usize, frames: &[(Vec<Colour>, f64)]) -> Flashes {
    let rows = frames.first().map_or(0, |f| f.0.len() / columns.max(1));
    let mut worst = Flashes::default();
    let linear: Vec<f64> = (0..=255_u8)
        .map(|code| srgb_decode(f64::from(code) / 255.0))
        .collect();
    // Twice round: the end leads into the beginning.
    let times: Vec<f64> = frames
        .iter()
        .chain(frames)
        .scan(0.0, |now, (_, seconds)| {
            let begins = *now;
            *now += seconds;
            Some(begins)
        })
        .collect();
    for top in (0..rows).step_by(PLACE) {
        for left in (0..columns).step_by(PLACE) {
            let means = frames
                .iter()
                .map(|(pixels, _)| mean(pixels, columns, [left, top], rows, &linear));
            let means: Vec<[f64; 3]> = means.collect();
            let twice = || means.iter().chain(&means);
            let luminance: Vec<f64> = twice()
                .map(|[r, g, b]| 0.2126 * r + 0.7152 * g + 0.0722 * b)
                .collect();
            let general = turns(&luminance, 0.1, |a, b| a.min(b) < 0.8);
            worst.general = worst.general.max(most_in_a_second(&general, &times) / 2);
            let redness: Vec<f64> = twice()
                .map(|[r, g, b]| {
                    let saturated = *r > 0.0 && r / (r + g + b) >= 0.8;
                    if saturated {
                        ((r - g - b) * 320.0).max(0.0)
                    } else {
                        0.0
                    }
                })
                .collect();
            let red = turns(&redness, 20.0, |_, _| true);
            worst.red = worst.red.max(most_in_a_second(&red, &times) / 2);
        }
    }
    worst
}

fn mean(
    pixels: &[Colour],
    columns: usize,
    [left, top]: [usize; 2],
    rows: usize,
    linear: &[f64],
) -> [f64; 3] {
    let mut sum = [0.0; 3];
    let mut count = 0.0;
    for y in top..(top + PLACE).min(rows) {
        for x in left..(left + PLACE).min(columns) {
            for (sum, code) in sum.iter_mut().zip(pixels[y * columns + x]) {
                *sum += linear[usize::from(code)];
            }
            count += 1.0;
        }
    }
    sum.map(|s| s / count)
}

/// Where a run of values has changed by `least` or more, turning each time: indices of the frames that
/// complete the changes.
fn turns(values: &[f64], least: f64, counts: impl Fn(f64, f64) -> bool) -> Vec<usize> {
    let mut found = Vec::new();
    let (mut low, mut high) = (values[0], values[0]);
    let mut rising: Option<bool> = None;
    for (k, &v) in values.iter().enumerate() {
        match rising {
            // From an extreme far enough the other way: a change is complete.
            Some(true) if v > high => high = v,
            Some(false) if v < low => low = v,
            Some(true) if high - v >= least && counts(high, v) => {
                found.push(k);
                (rising, low) = (Some(false), v);
            }
            Some(false) if v - low >= least && counts(low, v) => {
                found.push(k);
                (rising, high) = (Some(true), v);
            }
            None => {
                low = low.min(v);
                high = high.max(v);
                if v - low >= least && counts(low, v) {
                    found.push(k);
                    (rising, high) = (Some(true), v);
                } else if high - v >= least && counts(high, v) {
                    found.push(k);
                    (rising, low) = (Some(false), v);
                }
            }
            _ => {}
        }
    }
    found
}

/// The most of these frames that begin within one second.
fn most_in_a_second(frames: &[usize], times: &[f64]) -> usize {
    let within = |k: &usize| {
        let begins = times[*k];
        frames
            .iter()
            .filter(|other| (begins..begins + 1.0).contains(&times[**other]))
            .count()
    };
    frames.iter().map(within).max().unwrap_or(0)
}
