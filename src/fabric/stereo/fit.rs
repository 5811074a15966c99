//! One pixel: albedo times normal from its intensities, robust to shadow and highlight.

use super::rig::{LANES, Lanes, Rig, Triple, add_outer, dot, solve};

/// Share of a pixel's brightest sample below which a sample is taken for shadow at first.
const DARK: f32 = 0.06;

/// Misfit, against albedo, that needs no explanation.
const FINE: f64 = 0.01;

/// Least and greatest misfit, against albedo, beyond which a sample is left out.
const LEAVE_OUT: (f64, f64) = (0.015, 0.15);

/// A pixel's answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    /// Albedo times unit normal.
    pub g: [f64; 3],
    /// A bit for each shot that it rests on.
    pub kept: u16,
}

/// Albedo times normal of a surface without shine, out of shadow: the least squares solution of
/// `L g = I` (R. J. Woodham, Opt. Eng. 19, 1980, 139). Nothing for fewer than three lights, for
/// lights almost in one plane, and where lights and intensities are not as many.
pub fn albedo_normal(lights: &[[f64; 3]], intensities: &[f64]) -> Option<[f64; 3]> {
    if lights.len() < 3 || lights.len() != intensities.len() {
        return None;
    }
    let (mut m, mut v) = ([0.0; 6], [0.0; 3]);
    for (&light, &intensity) in lights.iter().zip(intensities) {
        add_outer(&mut m, light, 1.0);
        (0..3).for_each(|k| v[k] += light[k] * intensity);
    }
    let g = solve(m, v)?;
    g.iter().all(|v| v.is_finite()).then_some(g)
}

impl Rig {
    /// Fits a pixel. `y` are its intensities over the lights' strengths, `clipped` has a bit for
    /// each that is burnt out. Nothing where fewer than three say anything.
    ///
    /// Samples that are dark beside the brightest stay out at first. Where the rest do not agree,
    /// the fit is the one whose better half of the residuals is least (least trimmed squares, P. J.
    /// Rousseeuw, J. Am. Stat. Assoc. 79, 1984, 871), from triples of lights; then all samples
    /// near it are let in, dark ones too, and fitted once more.
    pub fn fit(&self, y: &Lanes, clipped: u16) -> Option<Fit> {
        // Take what can say anything.
        let all = (1u16 << self.directions.len()) - 1;
        let valid = all & !clipped;
        let brightest = bits(valid).fold(0.0, |most: f32, k| y[k].max(most));
        if brightest <= 0.0 || brightest.is_nan() {
            return None;
        }
        let lit = bits(valid)
            .filter(|&k| y[k] > DARK * brightest)
            .fold(0, |mask, k| mask | 1 << k);
        let Some(start) = self.least_squares(y, lit) else {
            // So deep that hardly any light reaches it: the shadows are all there is to go by.
            let g = self.least_squares(y, valid)?;
            return Some(Fit { g, kept: valid });
        };

        // Find what most of it agrees on.
        let near = match lit.count_ones() {
            3 => {
                return Some(Fit {
                    g: start,
                    kept: lit,
                });
            }
            4 => match self.odd_one_of_four(y, lit, start) {
                None => start,
                Some(odd) => match self.least_squares(y, lit & !(1 << odd)) {
                    // Three lights fit any three samples: there is nothing more to learn.
                    Some(g) => {
                        let kept = lit & !(1 << odd);
                        return Some(Fit { g, kept });
                    }
                    None => start,
                },
            },
            _ => self.trimmed(y, lit, start),
        };

        // Let in all that is near, and fit once more.
        let mut fit = Fit { g: near, kept: lit };
        for _ in 0..2 {
            let limit = self.limit(y, lit, fit.g);
            let kept = bits(valid)
                .filter(|&k| {
                    let wanted = dot(self.directions[k], fit.g);
                    wanted > 0.0 && (f64::from(y[k]) - wanted).abs() <= limit
                })
                .fold(0, |mask, k| mask | 1 << k);
            match self.least_squares(y, kept) {
                Some(g) => fit = Fit { g, kept },
                None => break,
            }
        }
        Some(fit)
    }

    fn least_squares(&self, y: &Lanes, mask: u16) -> Option<[f64; 3]> {
        let [xx, xy, xz, yy, yz, zz] = self.inverse(mask)?;
        let mut v = [0.0; 3];
        for k in bits(mask) {
            let (light, y) = (self.directions[k], f64::from(y[k]));
            (0..3).for_each(|c| v[c] += light[c] * y);
        }
        Some([
            dot([xx, xy, xz], v),
            dot([xy, yy, yz], v),
            dot([xz, yz, zz], v),
        ])
    }

    /// Of four samples that do not agree the one to leave out. Any three fit, so the residuals do
    /// not tell; physics does: the darkest in shadow, or else the brightest, a highlight (E. N.
    /// Coleman and R. Jain, CGIP 18, 1982, 309, whose least albedo is this).
    fn odd_one_of_four(&self, y: &Lanes, mask: u16, g: [f64; 3]) -> Option<usize> {
        /// Misfit, against albedo, from which one is left out.
        const AGREE: f64 = 0.02;
        /// Share of the brightest up to which a sample can be in shadow.
        const SHADOW: f32 = 0.25;
        let off = |k: usize| f64::from(y[k]) - dot(self.directions[k], g);
        let rms = (bits(mask).map(|k| off(k).powi(2)).sum::<f64>() / 4.0).sqrt();
        if rms <= AGREE * dot(g, g).sqrt() {
            return None;
        }
        let by_value = |a: &usize, b: &usize| y[*a].total_cmp(&y[*b]);
        let below = bits(mask).filter(|&k| off(k) < 0.0).min_by(by_value);
        let above = bits(mask).filter(|&k| off(k) > 0.0).max_by(by_value);
        let brightest = bits(mask).max_by(by_value)?;
        match below {
            Some(k) if y[k] < SHADOW * y[brightest] => Some(k),
            _ => above,
        }
    }

    /// Least trimmed squares over five or more samples.
    fn trimmed(&self, y: &Lanes, mask: u16, start: [f64; 3]) -> [f64; 3] {
        let half = half(mask);
        let start32 = start.map(|v| v as f32);
        let off2 = self.off2(y, mask, start32);
        let albedo2 = |g: [f32; 3]| g.iter().map(|v| v * v).sum::<f32>();
        // Where all samples lie near, nothing needs leaving out.
        let limit2 = (FINE * FINE) as f32 * albedo2(start32);
        if bits(mask).all(|k| off2[k] <= limit2) {
            return start;
        }
        let mut best = start32;
        let mut least = self.spread(&off2, half).0;
        for triple in self.triples.iter().filter(|t| t.mask & !mask == 0) {
            let g = triple.solve(y);
            let spread = self.spread(&self.off2(y, mask, g), half).0;
            if spread < least {
                (best, least) = (g, spread);
                if spread <= half as f32 * (0.25 * FINE * FINE) as f32 * albedo2(g) {
                    break;
                }
            }
        }
        // Settle it: fit the better half, choose the better half anew.
        let mut g = best.map(f64::from);
        for _ in 0..2 {
            let off2 = self.off2(y, mask, g.map(|v| v as f32));
            let (_, within) = self.spread(&off2, half);
            match self.least_squares(y, chosen(&off2, mask, within)) {
                Some(better) => g = better,
                None => break,
            }
        }
        g
    }

    /// Squared residuals; past all bounds for samples not in the mask.
    fn off2(&self, y: &Lanes, mask: u16, g: [f32; 3]) -> Lanes {
        let [x, up, z] = &self.lanes;
        let mut off2 = [0.0; LANES];
        for k in 0..LANES {
            let off = y[k] - (x[k] * g[0] + up[k] * g[1] + z[k] * g[2]);
            let out = mask >> k & 1 == 0;
            off2[k] = if out { f32::INFINITY } else { off * off };
        }
        off2
    }

    /// Sum of the `half` least squared residuals, and the greatest of them. Ranks by comparing all
    /// with all: that runs in vectors, and sorting does not.
    fn spread(&self, off2: &Lanes, half: usize) -> (f32, f32) {
        let mut rank = [0.0f32; LANES];
        for &other in &off2[..self.directions.len()] {
            for (rank, &own) in rank.iter_mut().zip(off2) {
                *rank += if other < own { 1.0 } else { 0.0 };
            }
        }
        let half = half as f32;
        let mut parts = [(0.0f32, 0.0f32); 4];
        for k in 0..LANES {
            let own = if rank[k] < half { off2[k] } else { 0.0 };
            // An all but unbounded one ranks so low only where fewer are in the mask.
            let own = if own < f32::INFINITY { own } else { 0.0 };
            let part = &mut parts[k % 4];
            *part = (part.0 + own, if own > part.1 { own } else { part.1 });
        }
        parts.iter().fold((0.0, 0.0), |a, b| {
            (a.0 + b.0, if b.1 > a.1 { b.1 } else { a.1 })
        })
    }

    /// How far from a fit a sample may lie: by the spread of its better half.
    fn limit(&self, y: &Lanes, mask: u16, g: [f64; 3]) -> f64 {
        /// Standard deviations, and how much the better half of so few underrates them.
        const WIDE: f64 = 2.5 * 1.7;
        let half = half(mask);
        let (sum, _) = self.spread(&self.off2(y, mask, g.map(|v| v as f32)), half);
        let deviation = (f64::from(sum) / (half as f64 - 3.0).max(1.0)).sqrt();
        let albedo = dot(g, g).sqrt();
        (WIDE * deviation).clamp(LEAVE_OUT.0 * albedo, LEAVE_OUT.1 * albedo)
    }
}

/// The samples of a mask whose squared residual is no greater.
fn chosen(off2: &Lanes, mask: u16, within: f32) -> u16 {
    bits(mask)
        .filter(|&k| off2[k] <= within)
        .fold(0, |chosen, k| chosen | 1 << k)
}

impl Triple {
    fn solve(&self, y: &Lanes) -> [f32; 3] {
        let [a, b, c] = self.shots.map(|k| y[k]);
        self.inverse.map(|row| row[0] * a + row[1] * b + row[2] * c)
    }
}

/// How many of some samples the trimmed fit rests on: `(n + p + 1) / 2` for p = 3 unknowns, which
/// bears most outliers.
fn half(mask: u16) -> usize {
    let n = mask.count_ones() as usize;
    ((n + 4) / 2).min(n)
}

/// The places of a mask's bits.
pub(super) fn bits(mask: u16) -> impl Iterator<Item = usize> + Clone {
    let rest = |mask: &u16| Some(mask & mask.wrapping_sub(1)).filter(|&m| m != 0);
    std::iter::successors(Some(mask).filter(|&m| m != 0), rest).map(|m| m.trailing_zeros() as usize)
}

#[cfg(test)]
mod tests {
    use super::super::rig::{LANES, Lanes, Rig, dot};
    use super::albedo_normal;

    fn ring(count: usize, slant_deg: f64) -> Vec<[f64; 3]> {
        let (s, c) = slant_deg.to_radians().sin_cos();
        (0..count)
            .map(|k| {
                let azimuth = std::f64::consts::TAU * k as f64 / count as f64;
                [s * azimuth.cos(), s * azimuth.sin(), c]
            })
            .collect()
    }

    fn samples(lights: &[[f64; 3]], g: [f64; 3]) -> Lanes {
        let mut y = [0.0; LANES];
        for (y, &light) in y.iter_mut().zip(lights) {
            *y = dot(light, g).max(0.0) as f32;
        }
        y
    }

    fn near(a: [f64; 3], b: [f64; 3]) -> bool {
        a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-5)
    }

    /// The intensities are Lambert's law, so the answer is known.
    #[test]
    fn shadows_and_highlights_are_left_out() {
        let g = [0.1, -0.06, 0.5];
        for count in [4, 5, 6, 8, 12] {
            let lights = ring(count, 40.0);
            let rig = Rig::new(&lights).unwrap();
            let clean = samples(&lights, g);
            let fit = rig.fit(&clean, 0).unwrap();
            assert!(near(fit.g, g) && fit.kept.count_ones() == count as u32);
            for odd in 0..count {
                // A cast shadow with some stray light, and a burnt-out sample.
                let mut y = clean;
                y[odd] = 0.01;
                assert!(near(rig.fit(&y, 0).unwrap().g, g), "{count} shadow {odd}");
                y[odd] = 1.0;
                assert!(near(rig.fit(&y, 1 << odd).unwrap().g, g));
                // A highlight that is not burnt out.
                if count > 4 || clean[odd] > 0.37 {
                    let fit = rig.fit(&y, 0).unwrap();
                    assert!(near(fit.g, g), "{count} highlight {odd}: {fit:?}");
                    assert_eq!(fit.kept >> odd & 1, 0);
                }
            }
        }
    }

    #[test]
    fn several_shadows_and_a_highlight_together() {
        let g = [0.2, 0.1, 0.6];
        let lights = ring(12, 60.0);
        let rig = Rig::new(&lights).unwrap();
        let mut y = samples(&lights, g);
        for k in [5, 6, 7] {
            y[k] = 0.12 * y[0];
        }
        y[1] += 0.4;
        assert!(near(rig.fit(&y, 0).unwrap().g, g));
    }

    #[test]
    fn too_little_gives_nothing() {
        let rig = Rig::new(&ring(4, 40.0)).unwrap();
        assert_eq!(rig.fit(&[0.0; LANES], 0), None);
        assert_eq!(rig.fit(&[0.5; LANES], 0b111), None);
        assert_eq!(rig.fit(&[-0.5; LANES], 0), None);
        assert_eq!(albedo_normal(&[[0.0, 0.0, 1.0]; 4], &[1.0; 4]), None);
        assert_eq!(albedo_normal(&ring(3, 30.0), &[1.0; 2]), None);
    }
}
