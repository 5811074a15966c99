//! A table's cells made smooth: near the normal, and over φ.

use super::Cells;
use crate::optics::table::sine_edge;
use std::f64::consts::PI;

/// A table as rows over φ.
pub(super) struct Rows {
    pub cells: Cells,
    pub detail: Detail,
    /// Places in all.
    pub places: usize,
    /// Whether φ goes round a whole turn, or half of it and mirrored.
    pub whole: bool,
}

impl Rows {
    /// Place and θ of every row.
    pub(super) fn all(&self) -> impl Iterator<Item = (usize, usize)> {
        let (places, thetas) = (self.places, self.cells.thetas);
        (0..places).flat_map(move |k| (0..thetas).map(move |t| (k, t)))
    }

    pub(super) fn cell(&self, (place, theta): (usize, usize), p: usize) -> usize {
        if self.whole {
            (place * self.cells.phis + p) * self.cells.thetas + theta
        } else {
            (p * self.cells.thetas + theta) * self.places + place
        }
    }

    /// Makes luminance near the normal a polynomial of the direction's cosines, fitted to the counted light
    /// (least squares) and with its sum. `lifted`: kept from falling below zero.
    pub(super) fn flatten(&self, flux: &mut [f64], place: usize, lifted: bool) {
        let Cells { thetas, phis, .. } = self.cells;
        let Detail {
            near_sine, order, ..
        } = self.detail;
        let count = (1..=thetas)
            .take_while(|t| sine_edge(*t, thetas) < near_sine)
            .count();
        if count == 0 {
            return;
        }
        let rings: Vec<Ring> = (0..count).map(|t| Ring::new(t, count, thetas)).collect();
        let weights: Vec<f64> = rings
            .iter()
            .map(|r| if self.detail.even { 1.0 } else { r.share })
            .collect();
        let turns = if self.whole { 2.0 } else { 1.0 };
        let step = PI * turns / phis as f64;
        // Mirrored, a beam is even in φ.
        let waves: &[fn(f64) -> f64] = if self.whole {
            &[f64::cos, f64::sin]
        } else {
            &[f64::cos]
        };
        let mut fitted = vec![0.0; count * phis];
        // Each turn over φ by itself: they are orthogonal.
        for m in 0..=order.min(phis.saturating_sub(1) / 2) {
            for wave in &waves[..if m == 0 { 1 } else { waves.len() }] {
                let turn: Vec<f64> = (0..phis)
                    .map(|p| wave(step * m as f64 * (p as f64 + 0.5)))
                    .collect();
                let amplitudes: Vec<f64> = rings
                    .iter()
                    .enumerate()
                    .map(|(t, ring)| {
                        let cells = turn.iter().enumerate();
                        let sum: f64 = cells.map(|(p, w)| flux[self.cell((place, t), p)] * w).sum();
                        sum * if m == 0 { 1.0 } else { 2.0 } / ring.share
                    })
                    .collect();
                let powers = (m..=order).step_by(2).take(count);
                let shapes: Vec<Vec<f64>> = powers
                    .map(|k| rings.iter().map(|r| r.mean_power(k)).collect())
                    .collect();
                for (shape, by) in shapes
                    .iter()
                    .zip(least_squares(&shapes, &amplitudes, &weights))
                {
                    for (t, x) in shape.iter().enumerate() {
                        for (p, w) in turn.iter().enumerate() {
                            fitted[t * phis + p] += by * x * w;
                        }
                    }
                }
            }
        }
        let share = |k: usize| rings[k / phis].share / phis as f64;
        let sum: f64 = (0..fitted.len())
            .map(|k| flux[self.cell((place, k / phis), k % phis)])
            .sum();
        let all: f64 = fitted.iter().enumerate().map(|(k, v)| v * share(k)).sum();
        // Off the mean; held to where none is below zero.
        fitted.iter_mut().for_each(|v| *v -= all);
        let least = fitted.iter().copied().fold(0.0, f64::min);
        let part = if lifted && sum + least < 0.0 {
            sum.max(0.0) / -least
        } else {
            1.0
        };
        for (k, v) in fitted.into_iter().enumerate() {
            let value = sum + part * v;
            // Rounding alone can bring it below.
            let value = if lifted { value.max(0.0) } else { value };
            flux[self.cell((place, k / phis), k % phis)] = share(k) * value;
        }
    }

    /// Leaves out of a row what turns faster over φ than a beam whose detail in direction cosines is
    /// [`Detail::finest_sine`]: near the normal, many cells of φ are one such detail. On a round face's axis,
    /// read from the last cells of φ alone, this takes the noise down to about half.
    pub(super) fn smooth(&self, flux: &mut [f64], (place, theta): (usize, usize)) {
        let Cells { thetas, phis, .. } = self.cells;
        let sine = sine_edge(theta + 1, thetas);
        // As many as places round the circle can tell apart, where it is narrow.
        let round = if self.whole {
            phis
        } else {
            3 * (place + 1) / 2
        };
        let waves = 1 + ((sine / self.detail.finest_sine) as usize).min(round);
        let most = if self.whole { phis / 2 } else { phis };
        if sine < self.detail.near_sine || waves + 1 >= most {
            return;
        }
        let row: Vec<f64> = (0..phis)
            .map(|p| flux[self.cell((place, theta), p)])
            .collect();
        let turns = if self.whole { 2.0 } else { 1.0 };
        let step = PI * turns / phis as f64;
        let mean = row.iter().sum::<f64>() / phis as f64;
        let mut smooth = vec![mean; phis];
        for m in 1..=waves {
            // The last one fades, so that edges ring less.
            let part = if m == waves { 0.5 } else { 1.0 };
            let wave = |p: usize| (step * m as f64 * (p as f64 + 0.5)).sin_cos();
            let (mut sine, mut cosine) = (0.0, 0.0);
            for (p, v) in row.iter().enumerate() {
                let (s, c) = wave(p);
                sine += v * s;
                cosine += v * c;
            }
            if !self.whole {
                sine = 0.0;
            }
            let scale = 2.0 * part / phis as f64;
            for (p, v) in smooth.iter_mut().enumerate() {
                let (s, c) = wave(p);
                *v += scale * (sine * s + cosine * c);
            }
        }
        for (p, v) in smooth.into_iter().enumerate() {
            flux[self.cell((place, theta), p)] = v;
        }
    }

    /// Puts what fell below zero at zero, the rest scaled to keep the row's sum.
    pub(super) fn lift(&self, flux: &mut [f64], row: (usize, usize)) {
        let cells = || (0..self.cells.phis).map(|p| self.cell(row, p));
        let sum: f64 = cells().map(|k| flux[k]).sum();
        let lit: f64 = cells().map(|k| flux[k].max(0.0)).sum();
        if sum < lit {
            let scale = sum.max(0.0) / lit;
            for k in cells() {
                flux[k] = flux[k].max(0.0) * scale;
            }
        }
    }

    /// Turns cell averages into values between which straight lines have those averages: a cell's
    /// mean is ⅛, ¾ and ⅛ of itself and its neighbours (solved by iteration). Without it, the
    /// last cells of φ, which all light on a round face's axis is read from, cut peaks off: that axis was up
    /// to 7 % dark. Light only moves between neighbours, at most half of a cell's to each side.
    pub(super) fn sharpen(&self, flux: &mut [f64], row: (usize, usize)) {
        let phis = self.cells.phis;
        if phis < 3 {
            return;
        }
        let mean: Vec<f64> = (0..phis).map(|p| flux[self.cell(row, p)]).collect();
        // Moved from each cell to the next; none passes a mirror.
        let last = if self.whole { phis } else { phis - 1 };
        let mut moved = vec![0.0; phis];
        let mut value = mean.clone();
        for _ in 0..ITERATIONS {
            for p in 0..last {
                let q = (p + 1) % phis;
                moved[p] = (0.125 * (value[q] - value[p])).clamp(-0.5 * mean[q], 0.5 * mean[p]);
            }
            for p in 0..phis {
                value[p] = mean[p] - moved[p] + moved[(p + phis - 1) % phis];
            }
        }
        for (p, v) in value.into_iter().enumerate() {
            flux[self.cell(row, p)] = v;
        }
    }
}

/// Of [`Rows::sharpen`]: each leaves less than half of the rest.
const ITERATIONS: usize = 6;

/// How fine a beam is, and how its directions were drawn.
#[derive(Clone, Copy)]
pub(super) struct Detail {
    /// Finest detail in direction cosines that a table keeps over φ.
    finest_sine: f64,
    /// Where the sine is less, luminance is a polynomial of the direction's cosines, of this order: cells
    /// are too small to fill there and a beam is smooth. (A mean alone put the axis of a flooded
    /// lens 20 % off, a plane 2 %; the cells' own counts left 10 % of noise on the axis.)
    near_sine: f64,
    order: usize,
    /// Whether directions were looked for evenly over the cells, so that near the normal each tells as much
    /// as any other.
    even: bool,
}

impl Detail {
    /// Of a bowl or a box.
    pub(super) const BROAD: Self = Self {
        finest_sine: 0.015,
        near_sine: 0.02,
        order: 1,
        even: false,
    };

    /// Of a white bowl that nothing stands in: its luminance hardly changes over directions. (As
    /// [`Detail::BROAD`] it had 2 % of noise on a face's axis.)
    pub(super) const EVEN: Self = Self {
        finest_sine: 0.2,
        near_sine: 0.2,
        order: 2,
        even: false,
    };

    /// Of silver that all light has met: its slopes blur a beam by one to two times as much.
    pub(super) fn of_slopes(slope_rad: f64) -> Self {
        Self {
            finest_sine: Self::BROAD.finest_sine.max(FINEST_OF_BLUR * slope_rad),
            ..Self::BROAD
        }
    }

    /// Behind a lens with this haze, which blurs all that passes it: within its deviation, an edge
    /// differs from a polynomial of fourth order by .1 %.
    pub(super) fn of_haze(slope_rad: f64) -> Self {
        Self {
            finest_sine: FINEST_OF_BLUR * slope_rad,
            near_sine: 1.2 * slope_rad,
            order: 4,
            even: true,
        }
    }
}

/// Detail that is left of a beam under a Gaussian blur, in its deviations: what turns as fast over φ has
/// 2 % of its height.
const FINEST_OF_BLUR: f64 = 0.35;

/// A ring of a small disk about the normal, its edges as shares of the disk's sine.
struct Ring {
    low: f64,
    high: f64,
    /// Of the disk's projected solid angle.
    share: f64,
}

impl Ring {
    /// Ring `t` of `count`.
    fn new(t: usize, count: usize, thetas: usize) -> Self {
        let [low, high] = [t, t + 1].map(|k| sine_edge(k, thetas) / sine_edge(count, thetas));
        Self {
            low,
            high,
            share: high * high - low * low,
        }
    }

    /// Mean of the sine's power.
    fn mean_power(&self, power: usize) -> f64 {
        let of = |x: f64| x.powi(power as i32 + 2);
        2.0 * (of(self.high) - of(self.low)) / ((power + 2) as f64 * self.share)
    }
}

/// Factors of the shapes whose sum is nearest the values (normal equations, by elimination: they are
/// few).
fn least_squares(shapes: &[Vec<f64>], values: &[f64], weights: &[f64]) -> Vec<f64> {
    let dot = |a: &[f64], b: &[f64]| -> f64 {
        let all = a.iter().zip(b).zip(weights);
        all.map(|((x, y), w)| x * y * w).sum()
    };
    let n = shapes.len();
    let mut rows: Vec<Vec<f64>> = shapes
        .iter()
        .map(|a| {
            shapes
                .iter()
                .map(|b| dot(a, b))
                .chain([dot(a, values)])
                .collect()
        })
        .collect();
    for k in 0..n {
        let pivot = rows[k].clone();
        for (_, row) in rows.iter_mut().enumerate().filter(|(i, _)| *i != k) {
            let by = row[k] / pivot[k];
            row.iter_mut().zip(&pivot).for_each(|(x, y)| *x -= by * y);
        }
    }
    (0..n).map(|k| rows[k][n] / rows[k][k]).collect()
}
