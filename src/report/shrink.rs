//! A picture made smaller.

use crate::photometry::colour::{encode_srgb8, srgb_decode};
use crate::report::drawing::Colour;

/// A picture made smaller, each of its pixels the mean of the light that it covers, parts of pixels by
/// their area. `rgb` are sRGB codes, row by row from the top; sides that are no smaller stay as they are.
pub fn shrink([width, height]: [u32; 2], rgb: &[Colour], to: [u32; 2]) -> ([u32; 2], Vec<Colour>) {
    let [columns, rows] = [
        to[0].clamp(1, width.max(1)) as usize,
        to[1].clamp(1, height.max(1)) as usize,
    ];
    let (width, height) = (width as usize, height as usize);
    if [columns, rows] == [width, height] {
        return ([width as u32, height as u32], rgb.to_vec());
    }
    let light: Vec<f32> = (0..256)
        .map(|code| srgb_decode(f64::from(code) / 255.0) as f32)
        .collect();
    let across = shares(width, columns);
    let down = shares(height, rows);
    let mut pixels = Vec::with_capacity(columns * rows);
    for of_row in &down {
        let mut sums = vec![[0.0_f32; 3]; columns];
        for &(y, share_y) in of_row {
            for (sum, of_column) in sums.iter_mut().zip(&across) {
                for &(x, share_x) in of_column {
                    let code = rgb.get(y * width + x).copied().unwrap_or_default();
                    for c in 0..3 {
                        sum[c] += share_y * share_x * light[code[c] as usize];
                    }
                }
            }
        }
        pixels.extend(sums.iter().map(|s| s.map(|v| encode_srgb8(f64::from(v)))));
    }
    ([columns as u32, rows as u32], pixels)
}

/// For each of `to` cells the cells of `from` that it covers, with their share of it.
fn shares(from: usize, to: usize) -> Vec<Vec<(usize, f32)>> {
    let scale = from as f64 / to as f64;
    let cell = |i: usize| {
        let (start, end) = (i as f64 * scale, (i + 1) as f64 * scale);
        let covered = start.floor() as usize..(end.ceil() as usize).min(from);
        covered
            .map(|k| {
                let overlap = end.min((k + 1) as f64) - start.max(k as f64);
                (k, (overlap.max(0.0) / scale) as f32)
            })
            .collect()
    };
    (0..to).map(cell).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of black and white in turn half the light is left: sRGB 188, from the curve of IEC 61966-2-1;
    /// whatever the ratio of the sides, no light is lost.
    #[test]
    fn light_is_kept() {
        let rgb: Vec<Colour> = (0..120 * 120)
            .map(|i| [if (i + i / 120) % 2 == 0 { 0 } else { 255 }; 3])
            .collect();
        let (sides, small) = shrink([120, 120], &rgb, [30, 20]);
        assert_eq!(sides, [30, 20]);
        assert!(small.iter().all(|p| *p == [188; 3]), "{small:?}");
    }

    /// Each pixel gives all of its light, each cell takes as much as it covers.
    #[test]
    fn shares_add_up() {
        for (from, to) in [(90, 7), (60, 11), (5, 5), (1, 1), (1000, 999)] {
            let mut given = vec![0.0; from];
            for cell in shares(from, to) {
                let taken: f32 = cell.iter().map(|(_, share)| share).sum();
                assert!((taken - 1.0).abs() < 1e-4, "{from} {to}: {taken}");
                for (k, share) in cell {
                    given[k] += f64::from(share);
                }
            }
            let each = to as f64 / from as f64;
            assert!(given.iter().all(|g| (g - each).abs() < 1e-4), "{from} {to}");
        }
    }

    #[test]
    fn what_is_small_stays() {
        let rgb = [[1, 2, 3], [4, 5, 6]];
        assert_eq!(shrink([2, 1], &rgb, [9, 9]), ([2, 1], rgb.to_vec()));
    }
}
