//! Emission of a face whose far field was measured.

use super::plain::{GridCells, PHIS, THETAS, screen};
use super::table::{Emission, Face, Pattern, Screen, sine_edge};
use crate::photometry::lm63::Goniometry;
use crate::setup::MeasuredField;
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Points across a cell, in each angle. Files are straight between angles mostly wider than that.
const QUADRATURE: usize = 4;

/// A face that gives a far field evenly over its area: L(θ, φ) = I(θ, φ) / (A cos θ), lm per lm of
/// output. Cells hold the mean by projected solid angle, so that their light is the field's even
/// where it grazes the face. With a grid if there is one (what the grid takes is lost).
pub fn measured(face: Face, field: &MeasuredField, grid: Option<GridCells>) -> Emission {
    let grid = grid.map(|g| screen(face, g));
    let table = field.photometry.table();
    let is_round = table.goniometry() == Goniometry::C && table.horizontal_deg().len() == 1;
    let phis = match &grid {
        None if is_round => 1,
        Some(grid) if is_round => grid.phis,
        _ => PHIS,
    };
    let means: Vec<f64> = (0..phis * THETAS)
        .into_par_iter()
        .map(|k| cell_mean(field, k / THETAS, phis, k % THETAS))
        .collect();
    let peak = means.iter().copied().fold(0.0, f64::max);
    let share = |k: usize| {
        if peak > 0.0 {
            (means[k] / peak) as f32
        } else {
            0.0
        }
    };
    let mut emission = Emission {
        face,
        pattern: Pattern::Uniform(1.0),
        screen: Some(Screen {
            thetas: THETAS,
            phis,
            values: (0..phis * THETAS).map(share).collect(),
        }),
    };
    // Read straight between cells' centres the table gives a little more or less; its light is the file's.
    let read = emission.efficiency();
    if read > 0.0 {
        emission.pattern = Pattern::Uniform(field.efficiency() / read);
    }
    if let (Some(grid), Some(own)) = (grid, &mut emission.screen) {
        for (k, value) in own.values.iter_mut().enumerate() {
            let phi = if grid.phis == 1 { 0 } else { k / THETAS };
            *value *= grid.values[phi * THETAS + k % THETAS];
        }
    }
    emission
}

/// ∫ I dω over a cell, by its ∫ cos θ dω.
fn cell_mean(field: &MeasuredField, phi: usize, phis: usize, theta: usize) -> f64 {
    let edge = |k: usize| sine_edge(k, THETAS).min(1.0).asin();
    let (low, high) = (edge(theta), edge(theta + 1));
    let along = |k: usize| (k as f64 + 0.5) / QUADRATURE as f64;
    let sum: f64 = (0..QUADRATURE)
        .map(|t| {
            let theta = low + (high - low) * along(t);
            let planes = if phis == 1 { 1 } else { QUADRATURE };
            let around: f64 = (0..planes)
                .map(|p| {
                    let turn = TAU * (phi as f64 + along(p)) / phis as f64;
                    field.intensity_cd(theta, turn)
                })
                .sum();
            around / planes as f64 * theta.sin()
        })
        .sum();
    let projected = 0.5 * (high.sin().powi(2) - low.sin().powi(2));
    sum * (high - low) / QUADRATURE as f64 / projected
}
