//! Evenness of a light over the frame, from the picture of a plain grey card.

use super::StereoError;
use crate::fabric::maps::Picture;

/// Most blocks along a side.
const BLOCKS: usize = 24;

/// A card's light by channel: means over blocks, read bilinearly between their middles. Light is
/// smooth over a swatch, the card's own grain is not.
pub(super) struct Card {
    size: [usize; 2],
    blocks: [usize; 2],
    means: Vec<[f32; 3]>,
}

impl Card {
    /// Reads the card's picture of `shot`; values at or above `clip` are burnt out.
    pub fn new(picture: &Picture, shot: usize, clip: f32) -> Result<Self, StereoError> {
        /// Share of the card's brightest block below which it is not lit, and the least at all.
        const BLACK: (f32, f32) = (0.02, 1e-6);
        let size = [picture.width, picture.height];
        let blocks = size.map(|n| n.min(BLOCKS));
        let mut means = Vec::new();
        let starts = |n: usize, blocks: usize, b: usize| b * n / blocks..(b + 1) * n / blocks;
        for v in 0..blocks[1] {
            for u in 0..blocks[0] {
                let (rows, columns) =
                    (starts(size[1], blocks[1], v), starts(size[0], blocks[0], u));
                let count = (rows.len() * columns.len()) as f64;
                let mut sum = [0.0f64; 3];
                for j in rows {
                    for pixel in &picture.rgb[j * size[0]..][columns.clone()] {
                        (0..3).for_each(|c| sum[c] += f64::from(pixel[c]));
                    }
                }
                means.push(sum.map(|s| (s / count) as f32));
            }
        }
        let brightest = means.iter().flatten().fold(0.0, |a: f32, &b| a.max(b));
        let bad = |m: &[f32; 3]| {
            m.iter()
                .any(|&v| v <= BLACK.0 * brightest || v <= BLACK.1 || v >= clip)
        };
        if let Some(at) = means.iter().position(bad) {
            return Err(StereoError::Card {
                shot,
                clipped: means[at].iter().any(|&v| v >= clip),
                column: (at % blocks[0]) * size[0] / blocks[0] + 1,
                row: (at / blocks[0]) * size[1] / blocks[1] + 1,
            });
        }
        Ok(Self {
            size,
            blocks,
            means,
        })
    }

    /// Writes one over the light of row `j`, times `scale`, into `out`.
    pub fn fill_gains(&self, j: usize, scale: f32, out: &mut [[f32; 3]]) {
        let (upper, v) = place(j, self.size[1], self.blocks[1]);
        let row = |b: usize| &self.means[b * self.blocks[0]..][..self.blocks[0]];
        let (above, below) = (row(upper), row((upper + 1).min(self.blocks[1] - 1)));
        let at = |b: usize, c: usize| above[b][c] + v * (below[b][c] - above[b][c]);
        for (i, out) in out.iter_mut().enumerate() {
            let (left, u) = place(i, self.size[0], self.blocks[0]);
            let right = (left + 1).min(self.blocks[0] - 1);
            for (c, out) in out.iter_mut().enumerate() {
                let (a, b) = (at(left, c), at(right, c));
                // Going on past the last middles must not turn a steep fall into nothing.
                *out = scale / (a + u * (b - a)).max(0.25 * a.min(b));
            }
        }
    }
}

/// The block whose middle lies before pixel `i`, and how far on to the next; goes straight on past
/// the last middles.
fn place(i: usize, n: usize, blocks: usize) -> (usize, f32) {
    if blocks == 1 {
        return (0, 0.0);
    }
    let at = (i as f32 + 0.5) * blocks as f32 / n as f32 - 0.5;
    let before = (at.max(0.0) as usize).min(blocks - 2);
    (before, at - before as f32)
}

#[cfg(test)]
mod tests {
    use super::Card;
    use crate::fabric::maps::Picture;

    /// A plane is what bilinear reading keeps exactly, up to the corners.
    #[test]
    fn a_slanting_light_comes_back() {
        let (width, height) = (96, 48);
        let light = |i: usize, j: usize| 0.4 + 0.003 * i as f32 + 0.002 * j as f32;
        let rgb: Vec<_> = (0..width * height)
            .map(|k| [light(k % width, k / width); 3])
            .collect();
        let picture = Picture {
            width,
            height,
            rgb: &rgb,
        };
        let card = Card::new(&picture, 1, 1.0).unwrap();
        let mut row = vec![[0.0; 3]; width];
        for j in [0, 20, 47] {
            card.fill_gains(j, 2.0, &mut row);
            for (i, gain) in row.iter().enumerate() {
                assert!((gain[1] * light(i, j) - 2.0).abs() < 1e-4);
            }
        }
    }

    #[test]
    fn a_black_corner_is_refused() {
        let mut rgb = vec![[0.5; 3]; 64 * 64];
        rgb[64 * 64 - 1] = [0.5, 0.0, 0.5];
        let picture = Picture {
            width: 64,
            height: 64,
            rgb: &rgb,
        };
        assert!(Card::new(&picture, 1, 1.0).is_ok());
        for j in 60..64 {
            for i in 60..64 {
                rgb[j * 64 + i] = [0.0; 3];
            }
        }
        let picture = Picture {
            width: 64,
            height: 64,
            rgb: &rgb,
        };
        let error = Card::new(&picture, 7, 1.0).err().unwrap().to_string();
        assert!(
            error.starts_with("the grey card of shot 7 is black"),
            "{error}"
        );
    }
}
