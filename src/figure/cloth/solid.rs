//! A field sampled on a grid, so that thousands of particles can look it up.

use crate::figure::sdf::Field;
use glam::DVec3;
use rayon::prelude::*;

/// A signed distance sampled on a grid, in centimetres.
#[derive(Debug, Clone)]
pub struct Solid {
    lo: DVec3,
    pitch: f64,
    n: [usize; 3],
    values: Vec<f32>,
}

impl Solid {
    /// Samples `distance` in the box `lo`..`hi`. Outside the box the nearest
    /// value inside it stands.
    pub fn sample(field: &dyn Field, lo: DVec3, hi: DVec3, pitch: f64) -> Self {
        Self::sample_with(&|p| field.distance(p), lo, hi, pitch)
    }

    /// Samples any distance function, for example the trunk without its arms.
    pub fn sample_with(
        distance: &(dyn Fn(DVec3) -> f64 + Sync),
        lo: DVec3,
        hi: DVec3,
        pitch: f64,
    ) -> Self {
        let n = ((hi - lo) / pitch)
            .ceil()
            .to_array()
            .map(|v| (v as usize + 1).max(2));
        let mut values = vec![0.0_f32; n[0] * n[1] * n[2]];
        values
            .par_chunks_mut(n[1] * n[2])
            .enumerate()
            .for_each(|(i, plane)| {
                for j in 0..n[1] {
                    for k in 0..n[2] {
                        let p = lo + DVec3::new(i as f64, j as f64, k as f64) * pitch;
                        plane[j * n[2] + k] = distance(p) as f32;
                    }
                }
            });
        Self {
            lo,
            pitch,
            n,
            values,
        }
    }

    /// Distance and gradient at `p`, both from the eight samples round it.
    pub fn look(&self, p: DVec3) -> (f64, DVec3) {
        let q = ((p - self.lo) / self.pitch).to_array();
        let mut cell = [0; 3];
        let mut f = [0.0; 3];
        for c in 0..3 {
            let x = q[c].clamp(0.0, self.n[c] as f64 - 1.001);
            cell[c] = x as usize;
            f[c] = x - cell[c] as f64;
        }
        let row = self.n[2];
        let first = (cell[0] * self.n[1] + cell[1]) * row + cell[2];
        let at = |corner: usize| {
            let step = (corner & 1) * self.n[1] * row + (corner >> 1 & 1) * row + (corner >> 2);
            f64::from(self.values[first + step])
        };
        let v: [f64; 8] = std::array::from_fn(at);
        let mix = |a: f64, b: f64, t: f64| a + (b - a) * t;
        let face = |i: [usize; 4], s: f64, t: f64| {
            mix(mix(v[i[0]], v[i[1]], s), mix(v[i[2]], v[i[3]], s), t)
        };
        let gx = face([1, 3, 5, 7], f[1], f[2]) - face([0, 2, 4, 6], f[1], f[2]);
        let gy = face([2, 3, 6, 7], f[0], f[2]) - face([0, 1, 4, 5], f[0], f[2]);
        let low = face([0, 1, 2, 3], f[0], f[1]);
        let high = face([4, 5, 6, 7], f[0], f[1]);
        (
            mix(low, high, f[2]),
            DVec3::new(gx, gy, high - low) / self.pitch,
        )
    }
}
