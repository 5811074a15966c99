//! Counting light into a table's cells.

use super::Cells;
use crate::optics::table::{Face, Pattern, sine_edge};
use glam::DVec3;
use std::f64::consts::PI;

/// Where the sine is less, luminance is taken to be a plane over the direction's cosines: cells are
/// too small to fill there and a beam is smooth. (A mean alone put the axis of a flooded lens 20 %
/// off; the cells' own counts left 10 % of noise on the axis.)
const PLANE_BELOW_SINE: f64 = 0.02;

/// Finest detail of a beam in direction cosines that a table keeps over φ.
const FINEST_SINE: f64 = 0.015;

/// How places and directions become cells.
#[derive(Clone, Copy)]
pub(super) enum Form {
    /// A disk, its radius.
    Disk(f64),
    Cap {
        centre_z: f64,
        radius: f64,
        /// Of the rim.
        chord: f64,
    },
    /// A quarter of a rectangle, its half sides.
    Quarter([f64; 2]),
}

/// Light counted by cell, in rays.
#[derive(Clone)]
pub(super) struct Table {
    form: Form,
    cells: Cells,
    flux: Vec<f64>,
}

impl Table {
    pub(super) fn new(form: Form, cells: Cells) -> Self {
        let places = match form {
            Form::Quarter(_) => cells.places * cells.places,
            _ => cells.places,
        };
        Self {
            form,
            cells,
            flux: vec![0.0; places * cells.thetas * cells.phis],
        }
    }

    pub(super) fn len(&self) -> usize {
        self.flux.len()
    }

    /// Counts light that leaves a place of the face along a direction.
    pub(super) fn add(&mut self, place: DVec3, along: DVec3, weight: f64) {
        let Cells {
            places,
            thetas,
            phis,
        } = self.cells;
        let cell = match self.form {
            Form::Disk(radius) => {
                let r = place.x.hypot(place.y);
                let sine = along.x.hypot(along.y);
                let cosine = (place.x * along.x + place.y * along.y) / (r * sine).max(1e-12);
                self.radial(r / radius, sine, cosine)
            }
            Form::Cap {
                centre_z,
                radius,
                chord,
            } => {
                let normal = (place - DVec3::new(0.0, 0.0, centre_z)) / radius;
                let across = normal.x.hypot(normal.y);
                // Away from the pole, along the sphere.
                let outward = if across > 1e-12 {
                    let (x, y) = (normal.x / across, normal.y / across);
                    DVec3::new(x * normal.z, y * normal.z, -across)
                } else {
                    DVec3::X
                };
                let sine = (along - normal * along.dot(normal)).length();
                let reach = radius * (2.0 * (1.0 - normal.z).max(0.0)).sqrt();
                self.radial(reach / chord, sine, along.dot(outward) / sine.max(1e-12))
            }
            Form::Quarter(half) => {
                let fold = |v: f64, by: f64| if by < 0.0 { -v } else { v };
                let [x, y] = [place.x.abs() / half[0], place.y.abs() / half[1]];
                let (u, v) = (fold(along.x, place.x), fold(along.y, place.y));
                let turn = v.atan2(u) / (2.0 * PI);
                let p = index(turn - turn.floor(), phis);
                let t = index(u.hypot(v).sqrt(), thetas);
                ((index(y, places) * places + index(x, places)) * phis + p) * thetas + t
            }
        };
        self.flux[cell] += weight;
    }

    fn radial(&self, rho: f64, sine: f64, cosine: f64) -> usize {
        let Cells {
            places,
            thetas,
            phis,
        } = self.cells;
        let t = index(sine.sqrt(), thetas);
        let p = if phis == 1 {
            0
        } else {
            index(cosine.clamp(-1.0, 1.0).acos() / PI, phis)
        };
        (p * thetas + t) * places + index(rho, places)
    }

    /// Adds another table's light, scaled to a sum.
    pub(super) fn join(&mut self, other: &Self, sum: f64) {
        let all: f64 = other.flux.iter().sum();
        if all > 0.0 {
            for (flux, more) in self.flux.iter_mut().zip(&other.flux) {
                *flux += more * (sum / all);
            }
        }
    }

    /// The flux by cell, made plane near the normal. Linear, so that parts may be added after.
    pub(super) fn settle(mut self) -> Vec<f64> {
        let rows = Rows::new(self.form, self.cells);
        for place in 0..rows.places {
            rows.flatten(&mut self.flux, place, f64::INFINITY);
        }
        for row in rows.all() {
            rows.smooth(&mut self.flux, row);
        }
        self.flux
    }

    /// What is left to be done once all parts are added up.
    pub(super) fn refine(&self, flux: &mut [f64]) {
        let rows = Rows::new(self.form, self.cells);
        for place in 0..rows.places {
            rows.flatten(flux, place, 1.0);
        }
        for row in rows.all() {
            rows.lift(flux, row);
            rows.sharpen(flux, row);
        }
    }
}

/// A table as rows over φ.
struct Rows {
    cells: Cells,
    /// Places in all.
    places: usize,
    /// Whether φ goes round a whole turn, or half of it and mirrored.
    whole: bool,
}

impl Rows {
    fn new(form: Form, cells: Cells) -> Self {
        let whole = matches!(form, Form::Quarter(_));
        let places = if whole {
            cells.places * cells.places
        } else {
            cells.places
        };
        Self {
            cells,
            places,
            whole,
        }
    }

    /// Place and θ of every row.
    fn all(&self) -> impl Iterator<Item = (usize, usize)> {
        let (places, thetas) = (self.places, self.cells.thetas);
        (0..places).flat_map(move |k| (0..thetas).map(move |t| (k, t)))
    }

    fn cell(&self, (place, theta): (usize, usize), p: usize) -> usize {
        if self.whole {
            (place * self.cells.phis + p) * self.cells.thetas + theta
        } else {
            (p * self.cells.thetas + theta) * self.places + place
        }
    }

    /// Makes luminance near the normal a plane over the direction's cosines: its mean and its slope
    /// there, as the counted light has them (least squares). `steepest` 1 keeps it from falling below
    /// zero.
    fn flatten(&self, flux: &mut [f64], place: usize, steepest: f64) {
        let Cells { thetas, phis, .. } = self.cells;
        let count = (1..=thetas)
            .take_while(|t| sine_edge(*t, thetas) < PLANE_BELOW_SINE)
            .count();
        if count == 0 {
            return;
        }
        let sine2 = |t: usize| sine_edge(t, thetas).powi(2);
        // Each ring's share of the small disk, and its mean sine.
        let ring = |t: usize| {
            let (low, high) = (sine_edge(t, thetas), sine_edge(t + 1, thetas));
            let middle = 2.0 * (low * low + low * high + high * high) / (3.0 * (low + high));
            ((sine2(t + 1) - sine2(t)) / sine2(count), middle)
        };
        let turns = if self.whole { 2.0 } else { 1.0 };
        let wave = |p: usize| (PI * turns * (p as f64 + 0.5) / phis as f64).sin_cos();
        let (mut mean, mut along, mut across, mut spread) = (0.0, 0.0, 0.0, 0.0);
        for t in 0..count {
            let (share, sine) = ring(t);
            spread += 0.5 * share * sine * sine;
            for p in 0..phis {
                let here = flux[self.cell((place, t), p)];
                let (s, c) = wave(p);
                mean += here;
                along += here * sine * c;
                across += here * sine * s;
            }
        }
        // Mirrored, a beam is even in φ: it has no slope across. One cell of φ has none at all.
        if !self.whole {
            across = 0.0;
        }
        let slope = along.hypot(across) / spread;
        let part = if phis < 3 || slope <= 0.0 || mean <= 0.0 {
            0.0
        } else {
            (steepest * mean / (slope * sine_edge(count, thetas))).min(1.0)
        };
        for t in 0..count {
            let (share, sine) = ring(t);
            for p in 0..phis {
                let (s, c) = wave(p);
                let tilt = sine * (along * c + across * s) / spread;
                flux[self.cell((place, t), p)] = share * (mean + part * tilt) / phis as f64;
            }
        }
    }

    /// Leaves out of a row what turns faster over φ than a beam whose detail in direction cosines is
    /// [`FINEST_SINE`]: near the normal, many cells of φ are one such detail. On a round face's axis,
    /// read from the last cells of φ alone, this takes the noise down to about half.
    fn smooth(&self, flux: &mut [f64], (place, theta): (usize, usize)) {
        let Cells { thetas, phis, .. } = self.cells;
        let sine = sine_edge(theta + 1, thetas);
        // As many as places round the circle can tell apart, where it is narrow.
        let round = if self.whole {
            phis
        } else {
            3 * (place + 1) / 2
        };
        let waves = 1 + ((sine / FINEST_SINE) as usize).min(round);
        let most = if self.whole { phis / 2 } else { phis };
        if sine < PLANE_BELOW_SINE || waves + 1 >= most {
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
    fn lift(&self, flux: &mut [f64], row: (usize, usize)) {
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
    fn sharpen(&self, flux: &mut [f64], row: (usize, usize)) {
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

/// Luminance by cell from flux by cell, lm per lm: L = Φ / (ΔA · ½ Δsin²θ · Δφ), over the two
/// (four) mirror images that share a cell.
pub(super) fn pattern(face: Face, cells: Cells, flux: &[f64]) -> Pattern {
    let Cells {
        places,
        thetas,
        phis,
    } = cells;
    // Even in φ: all of them together see ½ Δsin²θ · 2π.
    let solid = |t: usize| {
        let sine2 = |k: usize| sine_edge(k, thetas).powi(2);
        PI * (sine2(t + 1) - sine2(t)) / phis as f64
    };
    let area = face.area_m2();
    if let Face::Rect { .. } = face {
        let share = area / (places * places) as f64;
        return Pattern::Quarter {
            columns: places,
            rows: places,
            thetas,
            phis,
            values: flux
                .iter()
                .enumerate()
                .map(|(i, f)| (f / (share * solid(i % thetas))) as f32)
                .collect(),
        };
    }
    Pattern::Radial {
        radii: places,
        thetas,
        phis,
        values: flux
            .iter()
            .enumerate()
            .map(|(i, f)| {
                let (r, t) = (i % places, i / places % thetas);
                let share = area * (2 * r + 1) as f64 / (places * places) as f64;
                (f / (share * solid(t))) as f32
            })
            .collect(),
    }
}

fn index(value: f64, cells: usize) -> usize {
    ((value * cells as f64) as usize).min(cells - 1)
}
