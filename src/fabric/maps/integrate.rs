//! Heights from slopes.

use rayon::prelude::*;

use super::MapsError;
use super::multigrid::{Edges, solve};

/// The heights in mm, of mean 0, whose differences come nearest to the slopes in the sense of
/// least squares (B. K. P. Horn and M. J. Brooks, CVGIP 33, 1986, 174: Poisson's equation with
/// natural boundaries).
///
/// `slopes` are `dz/dx` to the right and `dz/dy` **upwards**, rows from the top, pixels
/// `pitch_mm` apart. Between two pixels a cubic through four slopes is integrated exactly, so that
/// waves down to eight pixels keep their height within 1 %. On the torus a slope common to all
/// pixels has no height and is left out.
///
/// # Errors
/// [`MapsError::Length`] where there is not a slope for each pixel, [`MapsError::Range`] for a
/// pitch that is no length, [`MapsError::Value`] for a slope that is no number.
pub fn heights_mm(
    slopes: &[[f32; 2]],
    width: usize,
    height: usize,
    pitch_mm: f64,
    edges: Edges,
) -> Result<Vec<f32>, MapsError> {
    // Check.
    if width == 0 || height == 0 || width.checked_mul(height) != Some(slopes.len()) {
        return Err(MapsError::Length {
            map: "slope",
            given: slopes.len(),
            width,
            height,
        });
    }
    if !(1e-9..=1e6).contains(&pitch_mm) {
        return Err(MapsError::Range {
            key: "width_mm over its pixels",
            value: pitch_mm,
            low: 1e-9,
            high: 1e6,
        });
    }
    let bad = |s: &[f32; 2]| !s.iter().all(|v| v.abs() < 1e6);
    if let Some(at) = slopes.par_iter().position_first(bad) {
        return Err(MapsError::Value {
            map: "slope",
            value: slopes[at][usize::from(slopes[at][0].abs() < 1e6)],
            column: at % width + 1,
            row: at / width + 1,
        });
    }

    // What flows into each pixel, in pixels of height.
    let mut b = vec![0.0f32; width * height];
    b.par_chunks_mut(width).enumerate().for_each(|(j, out)| {
        let row = |j: usize| &slopes[j * width..(j + 1) * width];
        let mid = row(j);
        let mut before = rise(width - 1, width, edges, |i| mid[i][0]);
        for (i, out) in out.iter_mut().enumerate() {
            let after = rise(i, width, edges, |i| mid[i][0]);
            // Rows go down, slopes up.
            let above = rise((j + height - 1) % height, height, edges, |j| -row(j)[i][1]);
            let below = rise(j, height, edges, |j| -row(j)[i][1]);
            *out = before - after + above - below;
            before = after;
        }
    });
    let pixels = solve(&b, width, height, edges);
    Ok(pixels
        .into_par_iter()
        .map(|h| (h * pitch_mm) as f32)
        .collect())
}

/// Rise from pixel `at` of `n` to the next one, 0 where none follows.
#[inline(always)]
fn rise(at: usize, n: usize, edges: Edges, slope: impl Fn(usize) -> f32) -> f32 {
    let inside = at >= 1 && at + 2 < n;
    if inside {
        let [a, b, c, d] = [at - 1, at, at + 1, at + 2].map(&slope);
        return (13.0 * (b + c) - a - d) / 24.0;
    }
    match edges {
        Edges::Torus if n >= 4 => {
            let [a, b, c, d] = [at + n - 1, at, at + 1, at + 2].map(|i| slope(i % n));
            (13.0 * (b + c) - a - d) / 24.0
        }
        Edges::Torus if n > 1 => 0.5 * (slope(at) + slope((at + 1) % n)),
        Edges::Free if at + 1 < n => 0.5 * (slope(at) + slope(at + 1)),
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::{Edges, heights_mm};
    use std::f64::consts::TAU;

    /// Waves of known height: `h = a sin(kx) cos(ly)`, slopes by differentiation.
    #[test]
    fn waves_keep_their_height() {
        let (width, height, pitch) = (96usize, 64usize, 0.05);
        let (k, l) = (TAU * 12.0 / 96.0, TAU * 4.0 / 64.0);
        let amplitude = 0.1;
        let mut slopes = Vec::new();
        let mut wanted = Vec::new();
        for j in 0..height {
            for i in 0..width {
                // Upwards is against the rows.
                let (x, y) = (k * i as f64, -l * j as f64);
                wanted.push(amplitude * x.sin() * y.cos());
                slopes.push([
                    (amplitude * k / pitch * x.cos() * y.cos()) as f32,
                    (-amplitude * l / pitch * x.sin() * y.sin()) as f32,
                ]);
            }
        }
        for edges in [Edges::Torus, Edges::Free] {
            let found = heights_mm(&slopes, width, height, pitch, edges).unwrap();
            let error: f64 = found
                .iter()
                .zip(&wanted)
                .map(|(&h, w)| (f64::from(h) - w).powi(2))
                .sum();
            let rms = (error / wanted.len() as f64).sqrt();
            // The rms of the wave itself is half its amplitude.
            assert!(rms < 0.01 * amplitude / 2.0, "{edges:?}: {rms}");
        }
    }

    #[test]
    fn a_ramp_with_free_edges_is_a_ramp_and_a_tile_has_none() {
        let slopes = vec![[0.5f32, 0.25]; 15];
        let ramp = heights_mm(&slopes, 5, 3, 2.0, Edges::Free).unwrap();
        assert!((ramp[4] - ramp[0] - 4.0).abs() < 1e-4);
        assert!((ramp[0] - ramp[10] - 1.0).abs() < 1e-4);
        let tile = heights_mm(&slopes, 5, 3, 2.0, Edges::Torus).unwrap();
        assert!(tile.iter().all(|h| h.abs() < 1e-5));
    }

    #[test]
    fn bad_slopes_are_refused_with_their_place() {
        let mut slopes = vec![[0.0f32; 2]; 6];
        slopes[4][1] = f32::NAN;
        let error = heights_mm(&slopes, 3, 2, 1.0, Edges::Torus).unwrap_err();
        assert!(
            error.to_string().contains("NaN at column 2, row 2"),
            "{error}"
        );
        assert!(heights_mm(&slopes, 3, 3, 1.0, Edges::Torus).is_err());
        assert!(heights_mm(&[], 0, 0, 1.0, Edges::Torus).is_err());
        assert!(heights_mm(&[[0.0; 2]], 1, 1, f64::NAN, Edges::Torus).is_err());
    }
}
