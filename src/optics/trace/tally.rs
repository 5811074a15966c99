//! Counting light into a table's cells.

use super::Cells;
use super::rows::{Detail, Rows};
use crate::optics::table::{Face, Pattern, sine_edge};
use glam::DVec3;
use std::f64::consts::PI;

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
    detail: Detail,
    flux: Vec<f64>,
    /// By place, light that leaves as Lambert's law has it: even over the directions, so that it needs
    /// no drawing.
    evenly: Vec<f64>,
}

impl Table {
    pub(super) fn new(form: Form, cells: Cells, detail: Detail) -> Self {
        let places = match form {
            Form::Quarter(_) => cells.places * cells.places,
            _ => cells.places,
        };
        Self {
            form,
            cells,
            detail,
            flux: vec![0.0; places * cells.thetas * cells.phis],
            evenly: vec![0.0; places],
        }
    }

    pub(super) fn len(&self) -> usize {
        self.flux.len()
    }

    fn rows(&self) -> Rows {
        Rows {
            cells: self.cells,
            detail: self.detail,
            places: self.evenly.len(),
            whole: matches!(self.form, Form::Quarter(_)),
        }
    }

    /// Counts light that leaves a place of the face along a direction.
    pub(super) fn add(&mut self, place: DVec3, along: DVec3, weight: f64) {
        let Cells { thetas, phis, .. } = self.cells;
        let (k, [outward, across]) = self.place(place);
        let (u, v) = match self.form {
            // Mirrored into the quarter.
            Form::Quarter(_) => {
                let fold = |v: f64, by: f64| if by < 0.0 { -v } else { v };
                (fold(along.x, place.x), fold(along.y, place.y))
            }
            _ => (along.dot(outward), along.dot(across)),
        };
        let sine = u.hypot(v);
        let t = index(sine.sqrt(), thetas);
        let p = match self.form {
            Form::Quarter(_) => {
                let turn = v.atan2(u) / (2.0 * PI);
                index(turn - turn.floor(), phis)
            }
            _ if phis == 1 => 0,
            _ => index((u / sine.max(1e-12)).clamp(-1.0, 1.0).acos() / PI, phis),
        };
        let cell = self.rows().cell((k, t), p);
        self.flux[cell] += weight;
    }

    /// Counts light that leaves a place as Lambert's law has it.
    pub(super) fn add_evenly(&mut self, place: DVec3, weight: f64) {
        let (k, _) = self.place(place);
        self.evenly[k] += weight;
    }

    /// A place's number, and the axes of directions there: outward along the face, and across that.
    fn place(&self, place: DVec3) -> (usize, [DVec3; 2]) {
        let places = self.cells.places;
        let axes = |x: f64, y: f64| {
            let r = x.hypot(y);
            if r > 1e-12 {
                (x / r, y / r)
            } else {
                (1.0, 0.0)
            }
        };
        match self.form {
            Form::Disk(radius) => {
                let (x, y) = axes(place.x, place.y);
                let along = [DVec3::new(x, y, 0.0), DVec3::new(-y, x, 0.0)];
                (index(place.x.hypot(place.y) / radius, places), along)
            }
            Form::Cap {
                centre_z,
                radius,
                chord,
            } => {
                let normal = (place - DVec3::new(0.0, 0.0, centre_z)) / radius;
                let (x, y) = axes(normal.x, normal.y);
                // Away from the pole, along the sphere.
                let outward = DVec3::new(x * normal.z, y * normal.z, -normal.x.hypot(normal.y));
                let reach = radius * (2.0 * (1.0 - normal.z).max(0.0)).sqrt();
                (
                    index(reach / chord, places),
                    [outward, DVec3::new(-y, x, 0.0)],
                )
            }
            Form::Quarter(half) => {
                let [x, y] = [place.x.abs() / half[0], place.y.abs() / half[1]];
                let k = index(y, places) * places + index(x, places);
                (k, [DVec3::X, DVec3::Y])
            }
        }
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
        let rows = self.rows();
        for place in 0..rows.places {
            rows.flatten(&mut self.flux, place, false);
        }
        for (place, theta) in rows.all() {
            rows.smooth(&mut self.flux, (place, theta));
            let [low, high] = [theta, theta + 1].map(|t| sine_edge(t, self.cells.thetas).powi(2));
            let each = self.evenly[place] * (high - low) / self.cells.phis as f64;
            for p in 0..self.cells.phis {
                self.flux[rows.cell((place, theta), p)] += each;
            }
        }
        self.flux
    }

    /// What is left to be done once all parts are added up.
    pub(super) fn refine(&self, flux: &mut [f64]) {
        let rows = self.rows();
        for place in 0..rows.places {
            rows.flatten(flux, place, true);
        }
        for row in rows.all() {
            rows.lift(flux, row);
            rows.sharpen(flux, row);
        }
    }
}

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
