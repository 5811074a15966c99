//! Emission of the plain shapes: Lambertian faces, a spot with beam and field angles, and
//! either of them behind a black grid.

use super::grid::{Cell, transmission};
use super::table::{Emission, Face, Pattern, Screen, sine_edge};
use rayon::prelude::*;
use std::f64::consts::{LN_2, LN_10, PI};

/// Direction cells of these tables. Beams of a few degrees still span a dozen.
pub(super) const THETAS: usize = 192;
/// Azimuth cells, where a square grid makes azimuth matter: it has a crease along each side of the
/// cells, which a cell's mean flattens.
pub(super) const PHIS: usize = 96;
/// Points per cell edge in a cell's average.
const QUADRATURE: usize = 8;

/// A black grid over a face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridCells {
    /// Section of the cells.
    pub cell: Cell,
    /// Width across, metres.
    pub cell_m: f64,
    /// Depth, metres.
    pub depth_m: f64,
    /// Open share of the face.
    pub open_fraction: f64,
}

/// A Lambertian face of one lumen, behind a grid if there is one (what the grid takes is lost).
pub fn lambertian(face: Face, grid: Option<GridCells>) -> Emission {
    Emission {
        screen: grid.map(|g| screen(face, g)),
        ..Emission::lambertian(face)
    }
}

/// A spot: a round aperture whose intensity falls to half at half the beam angle and to a tenth at
/// half the field angle (full angles, radians), one lumen in all. Between and beyond, the shape is
/// I = exp(-ln 2 (θ/θ½)^p), the one family with two such handles that is smooth on the axis.
pub fn spot(radius_m: f64, beam_rad: f64, field_rad: f64, grid: Option<GridCells>) -> Emission {
    let face = Face::Disk { radius_m };
    let half_beam = 0.5 * beam_rad;
    let power = (LN_10 / LN_2).ln() / (field_rad / beam_rad).ln();
    let shape = |theta: f64| (-LN_2 * (theta / half_beam).powf(power)).exp();
    // Luminance ∝ I / cos θ; flux = 2π ∫ I sin θ dθ = 1.
    let steps = 20_000;
    let flux: f64 = (0..steps)
        .map(|i| {
            let theta = (i as f64 + 0.5) / steps as f64 * 0.5 * PI;
            2.0 * PI * shape(theta) * theta.sin() * 0.5 * PI / steps as f64
        })
        .sum();
    let scale = 1.0 / (flux * face.area_m2());
    let luminance = |sine: f64| scale * shape(sine.asin()) / (1.0 - sine * sine).sqrt().max(1e-6);
    Emission {
        face,
        pattern: Pattern::Radial {
            radii: 1,
            thetas: THETAS,
            phis: 1,
            values: (0..THETAS)
                .map(|t| cell_mean(t, &luminance) as f32)
                .collect(),
        },
        screen: grid.map(|g| screen(face, g)),
    }
}

/// What a grid passes, as a table. Square cells lie along the sides of a rectangle; before a round
/// face they are taken at their mean over azimuth, since it may hang at any angle.
pub fn screen(face: Face, grid: GridCells) -> Screen {
    let through = |sine: f64, azimuth: f64| {
        let tangent = sine / (1.0 - sine * sine).max(1e-12).sqrt();
        let t = [tangent * azimuth.cos(), tangent * azimuth.sin()];
        grid.open_fraction * transmission(grid.cell, grid.cell_m, grid.depth_m, t)
    };
    let aligned = matches!(face, Face::Rect { .. }) && grid.cell == Cell::Square;
    let phis = if aligned { PHIS } else { 1 };
    // Points across one cell's azimuth; the whole turn where there is but one cell.
    let across = if aligned { QUADRATURE } else { 64 };
    let value = |cell: usize| {
        let (p, t) = (cell / THETAS, cell % THETAS);
        cell_mean(t, &|sine| {
            (0..across)
                .map(|k| {
                    let turn = (p as f64 + (k as f64 + 0.5) / across as f64) / phis as f64;
                    through(sine, turn * 2.0 * PI)
                })
                .sum::<f64>()
                / across as f64
        }) as f32
    };
    let values = (0..phis * THETAS).into_par_iter().map(value).collect();
    Screen {
        thetas: THETAS,
        phis,
        values,
    }
}

/// Mean over a θ cell, weighted by projected solid angle (even in sin²).
fn cell_mean(cell: usize, value: &dyn Fn(f64) -> f64) -> f64 {
    let (low, high) = (
        sine_edge(cell, THETAS).powi(2),
        sine_edge(cell + 1, THETAS).powi(2),
    );
    (0..QUADRATURE)
        .map(|k| {
            value(
                (low + (high - low) * (k as f64 + 0.5) / QUADRATURE as f64)
                    .sqrt()
                    .min(1.0 - 1e-9),
            )
        })
        .sum::<f64>()
        / QUADRATURE as f64
}
