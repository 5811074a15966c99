//! Pictures as maps take them: their checks, and bringing them to one size.

use rayon::prelude::*;

use super::MapsError;

/// Most pixels of a picture's side.
pub const MOST_SIDE: usize = 16384;

/// A picture: rows from the top, pixels from the left, three numbers each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Picture<'a> {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// `width * height` pixels.
    pub rgb: &'a [[f32; 3]],
}

impl Picture<'_> {
    /// Column and row, counted from 1, and value of the first number that `is_bad` takes.
    pub fn first(&self, is_bad: impl Fn(f32) -> bool + Sync) -> Option<([usize; 2], f32)> {
        let at = self
            .rgb
            .par_iter()
            .position_first(|pixel| pixel.iter().any(|&v| is_bad(v)))?;
        let value = self.rgb[at].into_iter().find(|&v| is_bad(v))?;
        let width = self.width.max(1);
        Some(([at % width + 1, at / width + 1], value))
    }

    /// Checks size and number of values.
    pub(super) fn check(&self, map: &'static str) -> Result<(), MapsError> {
        let (width, height) = (self.width, self.height);
        let sides = 2..=MOST_SIDE;
        if !sides.contains(&width) || !sides.contains(&height) {
            return Err(MapsError::Size { map, width, height });
        }
        if self.rgb.len() != width * height {
            return Err(MapsError::Length {
                map,
                given: self.rgb.len(),
                width,
                height,
            });
        }
        Ok(())
    }

    /// Checks that all values lie between 0 and 1.
    pub(super) fn check_values(&self, map: &'static str) -> Result<(), MapsError> {
        match self.first(|v| !(0.0..=1.0).contains(&v)) {
            None => Ok(()),
            Some(([column, row], value)) => Err(MapsError::Value {
                map,
                value,
                column,
                row,
            }),
        }
    }

    /// The values of a grey picture.
    pub(super) fn grey(&self, map: &'static str) -> Result<Vec<[f32; 1]>, MapsError> {
        /// Mean difference of the channels that a lossy file may have.
        const STRAY: f64 = 0.02;
        self.check_values(map)?;
        let apart: f64 = self
            .rgb
            .par_iter()
            .map(|&[r, g, b]| f64::from((r - g).abs().max((g - b).abs())))
            .sum();
        if apart > STRAY * self.rgb.len() as f64 {
            return Err(MapsError::Coloured { map });
        }
        Ok(self
            .rgb
            .par_iter()
            .map(|&[r, g, b]| [(r + g + b) / 3.0])
            .collect())
    }
}

/// Values brought from one number of pixels to another, bilinear between pixel centres, on the
/// torus: the cloth goes on at the other side. `from` and `to` are pixels across and down.
pub(super) fn resize<const N: usize>(
    values: Vec<[f32; N]>,
    from: [usize; 2],
    to: [usize; 2],
) -> Vec<[f32; N]> {
    if from == to {
        return values;
    }
    let columns = places(from[0], to[0]);
    let rows = places(from[1], to[1]);
    let mut out = vec![[0.0; N]; to[0] * to[1]];
    out.par_chunks_mut(to[0])
        .zip(&rows)
        .for_each(|(row, &(j0, j1, v))| {
            for (texel, &(i0, i1, u)) in row.iter_mut().zip(&columns) {
                let at = |i: usize, j: usize| values[j * from[0] + i];
                let (a, b, c, d) = (at(i0, j0), at(i1, j0), at(i0, j1), at(i1, j1));
                for n in 0..N {
                    let upper = a[n] + u * (b[n] - a[n]);
                    let lower = c[n] + u * (d[n] - c[n]);
                    texel[n] = upper + v * (lower - upper);
                }
            }
        });
    out
}

/// For each of `to` places the two of `from` places that it lies between, and how far along.
fn places(from: usize, to: usize) -> Vec<(usize, usize, f32)> {
    (0..to)
        .map(|i| {
            let at = (i as f64 + 0.5) * from as f64 / to as f64 - 0.5;
            let before = (at.floor() as i64).rem_euclid(from as i64) as usize;
            (before, (before + 1) % from, (at - at.floor()) as f32)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{Picture, resize};

    #[test]
    fn resizing_keeps_planes_and_goes_round_the_torus() {
        let small = vec![[0.0f32], [1.0], [0.0], [1.0]];
        let large = resize(small, [2, 2], [4, 2]);
        // Halfway between pixel centres a quarter and three quarters.
        assert_eq!(large[0], [0.25]);
        assert_eq!(large[1], [0.25]);
        assert_eq!(large[2], [0.75]);
        assert_eq!(large[3], [0.75]);
    }

    #[test]
    fn bad_values_are_named_with_their_place() {
        let rgb = vec![[0.0, 0.5, 1.0], [0.0, f32::NAN, 0.0]];
        let picture = Picture {
            width: 1,
            height: 2,
            rgb: &rgb,
        };
        let (place, value) = picture.first(f32::is_nan).unwrap();
        assert_eq!(place, [1, 2]);
        assert!(value.is_nan());
        assert!(picture.check("height").is_err());
    }
}
