//! The slow trend of a swatch's slopes, which is not the cloth's: it lay flat.

use rayon::prelude::*;

use super::rig::{add_outer, solve};

/// What to take out of the slopes of a swatch that lay flat. Lights nearer than infinity, falling
/// off over the frame, make a flat cloth look like a bowl.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Trend {
    /// Nothing.
    Keep,
    /// The mean slope.
    Tilt,
    /// The mean slope and its change across and along the frame.
    #[default]
    Bowl,
}

/// What was taken out of the slopes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TrendTaken {
    /// Mean slope to the right and up.
    pub tilt: [f64; 2],
    /// Change of the slope to the right from the frame's left to its right edge and from its lower
    /// to its upper, then the same of the slope up.
    pub bend: [[f64; 2]; 2],
}

/// Takes the trend out of slopes (rows from the top, `dz/dx` right, `dz/dy` up); entries that are
/// not finite stay so and do not count. A plain least squares fit, no robust one: whole repeats of
/// a weave have no slope on the mean, but a twill's median has.
pub(super) fn take_out(slopes: &mut [[f32; 2]], width: usize, trend: Trend) -> TrendTaken {
    if trend == Trend::Keep {
        return TrendTaken::default();
    }
    let height = slopes.len() / width;
    let across = |i: usize| (i as f64 + 0.5) / width as f64 - 0.5;
    let up = |j: usize| 0.5 - (j as f64 + 0.5) / height as f64;
    let (m, p, q) = slopes
        .par_chunks(width)
        .enumerate()
        .map(|(j, row)| {
            let (mut m, mut p, mut q) = ([0.0; 6], [0.0; 3], [0.0; 3]);
            for (i, s) in row.iter().enumerate().filter(|(_, s)| s[0].is_finite()) {
                let basis = [1.0, across(i), up(j)];
                add_outer(&mut m, basis, 1.0);
                for k in 0..3 {
                    p[k] += basis[k] * f64::from(s[0]);
                    q[k] += basis[k] * f64::from(s[1]);
                }
            }
            (m, p, q)
        })
        .reduce(
            || ([0.0; 6], [0.0; 3], [0.0; 3]),
            |mut a, b| {
                (0..6).for_each(|k| a.0[k] += b.0[k]);
                (0..3).for_each(|k| a.1[k] += b.1[k]);
                (0..3).for_each(|k| a.2[k] += b.2[k]);
                a
            },
        );
    let count = m[0];
    if count < 1.0 {
        return TrendTaken::default();
    }
    let mean = |v: [f64; 3]| [v[0] / count, 0.0, 0.0];
    let fit = |v: [f64; 3]| match trend {
        Trend::Bowl => solve(m, v).unwrap_or(mean(v)),
        _ => mean(v),
    };
    let (p, q) = (fit(p), fit(q));
    slopes
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(j, row)| {
            for (i, s) in row.iter_mut().enumerate() {
                let of = |t: [f64; 3]| (t[0] + t[1] * across(i) + t[2] * up(j)) as f32;
                s[0] -= of(p);
                s[1] -= of(q);
            }
        });
    TrendTaken {
        tilt: [p[0], q[0]],
        bend: [[p[1], p[2]], [q[1], q[2]]],
    }
}

#[cfg(test)]
mod tests {
    use super::{Trend, take_out};

    #[test]
    fn a_bowl_is_taken_out_and_the_weave_is_left() {
        // Few repeats would leave a bend of their own.
        let (width, height) = (800, 40);
        let weave = |i: usize| [0.3, -0.1, -0.2, 0.0][i % 4];
        let mut slopes: Vec<[f32; 2]> = (0..width * height)
            .map(|k| {
                let x = (k % width) as f32 / 800.0 - 0.5;
                let y = 0.5 - (k / width) as f32 / 40.0;
                [weave(k % width) + 0.02 + 0.1 * x, -0.03 + 0.2 * y]
            })
            .collect();
        slopes[7] = [f32::NAN; 2];
        let taken = take_out(&mut slopes, width, Trend::Bowl);
        assert!((taken.bend[0][0] - 0.1).abs() < 3e-3, "{taken:?}");
        assert!((taken.bend[1][1] - 0.2).abs() < 1e-3, "{taken:?}");
        assert!(slopes[7][0].is_nan());
        for (k, s) in slopes.iter().enumerate().filter(|(k, _)| *k != 7) {
            assert!((s[0] - weave(k % width)).abs() < 3e-3 && s[1].abs() < 1e-3);
        }
    }
}
