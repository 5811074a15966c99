//! Slopes and heights of a tile, from a normal map, a height map, or both.

use rayon::prelude::*;

use super::integrate::heights_mm;
use super::{Edges, Green, MapsError, Picture};

/// Slopes and heights of a tile, rows from the top.
#[derive(Debug, Clone, PartialEq)]
pub struct Relief {
    /// `dz/dx` to the right and `dz/dy` upwards.
    pub slopes: Vec<[f32; 2]>,
    /// Over the lowest place.
    pub heights_mm: Vec<f32>,
    /// The highest place.
    pub top_mm: f32,
    /// What was found on the way.
    pub notes: ReliefNotes,
}

/// What was found in the relief's pictures and put right, or should be.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ReliefNotes {
    /// Normals of no length, from behind the cloth or no numbers: taken as flat.
    pub flattened: usize,
    /// Normals more than 85° from upright: taken as 85°.
    pub steep: usize,
    /// Mean slope of the normal map, right and up, that was taken out.
    pub tilt: [f32; 2],
    /// The normal map fits one surface much better with its green channel the other way round.
    pub green_doubtful: bool,
}

/// Tangent of 85°.
const STEEPEST: f32 = 11.43;

impl Relief {
    /// Puts together what the pictures gave, all at `size`, texels `pitch_mm` apart.
    pub(super) fn join(
        normals: Option<(Vec<[f32; 2]>, ReliefNotes)>,
        heights: Option<Vec<f32>>,
        size: [usize; 2],
        pitch_mm: f64,
    ) -> Result<Option<Self>, MapsError> {
        let [width, height] = size;
        let (slopes, mut heights_mm, notes) = match (normals, heights) {
            (None, None) => return Ok(None),
            (None, Some(heights)) => {
                let slopes = from_heights(&heights, size, pitch_mm);
                (slopes, heights, ReliefNotes::default())
            }
            (Some((mut slopes, mut notes)), heights) => {
                notes.tilt = take_out_mean(&mut slopes);
                notes.green_doubtful = match &heights {
                    Some(heights) => runs_against(&slopes, &from_heights(heights, size, pitch_mm)),
                    None => curls(&slopes, size),
                };
                let heights = match heights {
                    Some(heights) => heights,
                    None => heights_mm(&slopes, width, height, pitch_mm, Edges::Torus)?,
                };
                (slopes, heights, notes)
            }
        };
        let lowest = heights_mm.par_iter().copied().reduce(|| f32::MAX, f32::min);
        heights_mm.par_iter_mut().for_each(|h| *h -= lowest);
        let top_mm = heights_mm.par_iter().copied().reduce(|| 0.0, f32::max);
        Ok(Some(Self {
            slopes,
            heights_mm,
            top_mm,
            notes,
        }))
    }
}

/// Slopes of a normal map; counts what had to be put right.
pub(super) fn from_normals(
    picture: &Picture,
    green: Green,
    notes: &mut ReliefNotes,
) -> Vec<[f32; 2]> {
    let slope = |&code: &[f32; 3]| {
        let [x, y, z] = green.decode(code);
        let flat = !(x.is_finite() && y.is_finite() && z.is_finite()) || z <= 0.0;
        let across = x.hypot(y);
        let steep = !flat && across > STEEPEST * z;
        let slope = if flat {
            [0.0; 2]
        } else if steep {
            [-x, -y].map(|v| v / across * STEEPEST)
        } else {
            [-x / z, -y / z]
        };
        (slope, flat, steep)
    };
    let read: Vec<_> = picture.rgb.par_iter().map(slope).collect();
    notes.flattened = read.par_iter().filter(|r| r.1).count();
    notes.steep = read.par_iter().filter(|r| r.2).count();
    read.into_par_iter().map(|r| r.0).collect()
}

/// Slopes of heights by central differences on the torus.
fn from_heights(heights_mm: &[f32], size: [usize; 2], pitch_mm: f64) -> Vec<[f32; 2]> {
    let [width, height] = size;
    let scale = (0.5 / pitch_mm) as f32;
    let mut slopes = vec![[0.0; 2]; heights_mm.len()];
    slopes
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(j, out)| {
            let row = |j: usize| &heights_mm[j % height * width..][..width];
            let (above, mid, below) = (row(j + height - 1), row(j), row(j + 1));
            for (i, slope) in out.iter_mut().enumerate() {
                let (left, right) = ((i + width - 1) % width, (i + 1) % width);
                *slope = [
                    scale * (mid[right] - mid[left]),
                    scale * (above[i] - below[i]),
                ];
            }
        });
    slopes
}

/// Takes the mean out, and gives it.
fn take_out_mean(slopes: &mut [[f32; 2]]) -> [f32; 2] {
    let sum = slopes
        .par_iter()
        .map(|s| s.map(f64::from))
        .reduce(|| [0.0; 2], |a, b| [a[0] + b[0], a[1] + b[1]]);
    let mean = sum.map(|s| (s / slopes.len() as f64) as f32);
    slopes.par_iter_mut().for_each(|s| {
        s[0] -= mean[0];
        s[1] -= mean[1];
    });
    mean
}

/// Whether up-and-down slopes run against those of another map of the same cloth.
fn runs_against(slopes: &[[f32; 2]], others: &[[f32; 2]]) -> bool {
    /// Correlation from which it is no chance.
    const CLEAR: f64 = -0.3;
    let sums = slopes
        .par_iter()
        .zip(others)
        .map(|(a, b)| {
            let (a, b) = (f64::from(a[1]), f64::from(b[1]));
            [a * b, a * a, b * b]
        })
        .reduce(|| [0.0; 3], |a, b| [0, 1, 2].map(|k| a[k] + b[k]));
    sums[0] < CLEAR * (sums[1] * sums[2]).sqrt()
}

/// Whether slopes belong to one surface much better with up and down exchanged: a surface has
/// `∂(dz/dx)/∂y = ∂(dz/dy)/∂x`.
fn curls(slopes: &[[f32; 2]], size: [usize; 2]) -> bool {
    /// How much smaller the curl must be the other way round.
    const CLEAR: f64 = 0.25;
    let [width, height] = size;
    let (as_given, exchanged) = (0..height)
        .into_par_iter()
        .map(|j| {
            let row = |j: usize| &slopes[j % height * width..][..width];
            let (above, mid, below) = (row(j + height - 1), row(j), row(j + 1));
            let mut sums = (0.0, 0.0);
            for i in 0..width {
                let (left, right) = ((i + width - 1) % width, (i + 1) % width);
                let along = f64::from(above[i][0] - below[i][0]);
                let across = f64::from(mid[right][1] - mid[left][1]);
                sums.0 += (along - across).powi(2);
                sums.1 += (along + across).powi(2);
            }
            sums
        })
        .reduce(|| (0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
    exchanged < CLEAR * as_given
}

#[cfg(test)]
mod tests {
    use super::super::{Green, Maps, Picture, Pictures};
    use std::f64::consts::TAU;

    const SIZE: [usize; 2] = [64, 48];
    const WIDTH_MM: f64 = 6.4;
    const TOP_MM: f64 = 0.2;

    fn keys() -> Maps {
        Maps {
            width_mm: WIDTH_MM,
            normal: None,
            green: None,
            height: None,
            height_full_mm: None,
            albedo: None,
            albedo_encoding: None,
            opacity: None,
        }
    }

    /// Height in mm and slopes, right and up, of a wave that runs aslant over the tile.
    fn wave(i: usize, j: usize) -> (f64, [f64; 2]) {
        let pitch = WIDTH_MM / SIZE[0] as f64;
        let (k, l) = (TAU * 3.0 / SIZE[0] as f64, TAU * 2.0 / SIZE[1] as f64);
        let phase = k * i as f64 - l * j as f64;
        let half = TOP_MM / 2.0;
        let slope = half * phase.cos() / pitch;
        (half * (1.0 + phase.sin()), [slope * k, slope * l])
    }

    fn over_pixels(pixel: impl Fn(usize, usize) -> [f32; 3]) -> Vec<[f32; 3]> {
        (0..SIZE[0] * SIZE[1])
            .map(|at| pixel(at % SIZE[0], at / SIZE[0]))
            .collect()
    }

    fn normals(green: Green) -> Vec<[f32; 3]> {
        over_pixels(|i, j| {
            let [p, q] = wave(i, j).1;
            let n = [-p, -q, 1.0].map(|v| (v / (p * p + q * q + 1.0).sqrt()) as f32);
            green.encode(n)
        })
    }

    fn picture(rgb: &[[f32; 3]]) -> Option<Picture<'_>> {
        Some(Picture {
            width: SIZE[0],
            height: SIZE[1],
            rgb,
        })
    }

    #[test]
    fn normal_and_height_maps_give_the_same_relief() {
        let grey = over_pixels(|i, j| [(wave(i, j).0 / TOP_MM) as f32; 3]);
        let coded = normals(Green::Down);
        let from_height = Maps {
            height: Some("h.png".into()),
            height_full_mm: Some(TOP_MM),
            ..keys()
        }
        .assemble(&Pictures {
            height: picture(&grey),
            ..Pictures::default()
        });
        let from_normal = Maps {
            normal: Some("n.png".into()),
            green: Some(Green::Down),
            ..keys()
        }
        .assemble(&Pictures {
            normal: picture(&coded),
            ..Pictures::default()
        });
        for set in [from_height.unwrap(), from_normal.unwrap()] {
            let relief = set.relief.unwrap();
            assert_eq!(relief.notes.flattened, 0);
            assert!(!relief.notes.green_doubtful);
            assert!((f64::from(relief.top_mm) - TOP_MM).abs() < 0.01 * TOP_MM);
            for at in 0..SIZE[0] * SIZE[1] {
                let (h, slopes) = wave(at % SIZE[0], at / SIZE[0]);
                assert!((f64::from(relief.heights_mm[at]) - h).abs() < 0.01 * TOP_MM);
                for (found, wanted) in relief.slopes[at].iter().zip(slopes) {
                    // Central differences are 1.5 % low at 21 texels a wave.
                    assert!((f64::from(*found) - wanted).abs() < 0.01);
                }
            }
        }
    }

    #[test]
    fn the_wrong_green_is_noticed_and_turns_slopes_round() {
        let (up, grey) = (
            normals(Green::Up),
            over_pixels(|i, j| [(wave(i, j).0 / TOP_MM) as f32; 3]),
        );
        let mut keys = Maps {
            normal: Some("n.png".into()),
            green: Some(Green::Up),
            ..keys()
        };
        let mut pictures = Pictures {
            normal: picture(&up),
            ..Pictures::default()
        };
        let right = keys.assemble(&pictures).unwrap().relief.unwrap();
        keys.green = Some(Green::Down);
        let wrong = keys.assemble(&pictures).unwrap().relief.unwrap();
        assert!(!right.notes.green_doubtful && wrong.notes.green_doubtful);
        for (a, b) in right.slopes.iter().zip(&wrong.slopes) {
            assert!((a[0] - b[0]).abs() < 1e-5 && (a[1] + b[1]).abs() < 1e-5);
        }
        // With a height map beside it, that one decides.
        keys.height = Some("h.png".into());
        keys.height_full_mm = Some(TOP_MM);
        pictures.height = picture(&grey);
        assert!(
            keys.assemble(&pictures)
                .unwrap()
                .relief
                .unwrap()
                .notes
                .green_doubtful
        );
    }

    #[test]
    fn normals_that_are_none_lie_flat_and_are_counted() {
        let mut coded = vec![[0.5, 0.5, 1.0]; SIZE[0] * SIZE[1]];
        coded[0] = [f32::NAN, 0.5, 1.0];
        coded[1] = [0.5, 0.5, 0.5];
        coded[2] = [0.5, 0.5, 0.0];
        coded[3] = [0.5, f32::INFINITY, 1.0];
        coded[4] = [1.0, 0.5, 0.5001];
        let keys = Maps {
            normal: Some("n.png".into()),
            green: Some(Green::Up),
            ..keys()
        };
        let pictures = Pictures {
            normal: picture(&coded),
            ..Pictures::default()
        };
        let notes = keys.assemble(&pictures).unwrap().relief.unwrap().notes;
        assert_eq!((notes.flattened, notes.steep), (4, 1));
    }
}
