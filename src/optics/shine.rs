//! All the light of a modifier at one setting.

use super::drum::Drum;
use super::measured::measured;
use super::plain::{GridCells, lambertian, screen, spot};
use super::prescribe::{bare_lamp, lens_spot};
use super::prescription::Facing;
use super::table::{Emission, Face};
use super::trace::{Account, Placed, TableError, Traced};
use crate::setup::{CellShape, Modifier, ModifierKind};

/// What leaves a modifier, per lumen of its output, grid included (cover and skirt stand in the scene).
#[derive(Debug, Clone, PartialEq)]
pub struct Shine {
    /// Its faces; the first one shines at the subject.
    pub placed: Vec<Placed>,
    /// What of the lamp's head stands before a face, in the modifier's frame, and hides what lies behind it.
    pub head: Option<Drum>,
    /// Where the lamp's light went before the grid, where it was traced.
    pub account: Option<Account>,
    /// Noise of the tables, where it was traced.
    pub table_error: Option<TableError>,
}

impl Shine {
    /// Lumens that leave all its faces, and pass the lamp's head, per lumen of its output. (A grid is
    /// taken to leave the head its share.)
    pub fn efficiency(&self) -> f64 {
        let leaves: f64 = self.placed.iter().map(|p| p.emission.efficiency()).sum();
        let passes = self.account.map_or(1.0, |a| {
            let past = a.out + a.back;
            past / (past + a.head).max(f64::MIN_POSITIVE)
        });
        leaves * passes
    }

    /// The same with so many times the light.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        let placed = self.placed.into_iter().map(|p| Placed {
            emission: p.emission.times(factor),
            ..p
        });
        Self {
            placed: placed.collect(),
            ..self
        }
    }

    /// Of a kind whose light follows from geometry alone; `None` where it must be traced
    /// ([`super::prescribe::prescribe`], [`super::trace`]).
    pub fn at_once(modifier: &Modifier) -> Option<Self> {
        let grid = grid_of(modifier);
        let rect = |w_m: f64, h_m: f64| Face::Rect {
            half_x_m: 0.5 * w_m,
            half_y_m: 0.5 * h_m,
        };
        let emission = match modifier.kind {
            ModifierKind::Panel { w_m, h_m } | ModifierKind::Strip { w_m, h_m } => {
                lambertian(rect(w_m, h_m), grid)
            }
            ModifierKind::Disk { diameter_m } => lambertian(
                Face::Disk {
                    radius_m: 0.5 * diameter_m,
                },
                grid,
            ),
            ModifierKind::Globe { diameter_m } => Emission::lambertian(Face::Globe {
                radius_m: 0.5 * diameter_m,
            }),
            ModifierKind::Tube {
                length_m,
                diameter_m,
            } => Emission::lambertian(Face::Tube {
                half_length_m: 0.5 * length_m,
                radius_m: 0.5 * diameter_m,
            }),
            ModifierKind::Spot {
                beam_rad,
                field_rad,
                diameter_m,
            } => spot(0.5 * diameter_m, beam_rad, field_rad, grid),
            ModifierKind::LensSpot(lens) => lens_spot(&lens, grid),
            ModifierKind::BareLamp(lamp) => bare_lamp(&lamp),
            ModifierKind::Measured { w_m, h_m, is_round } => {
                let face = if is_round {
                    Face::Disk {
                        radius_m: 0.5 * w_m,
                    }
                } else {
                    rect(w_m, h_m)
                };
                measured(face, modifier.measured.as_deref()?, grid)
            }
            _ => return None,
        };
        Some(Self::of(emission))
    }

    /// Of one face in the plane of the front, which nothing was traced for.
    pub fn of(emission: Emission) -> Self {
        Self {
            placed: vec![Placed {
                emission,
                offset_z_m: 0.0,
                facing: Facing::Front,
            }],
            head: None,
            account: None,
            table_error: None,
        }
    }

    /// Of a traced kind: hangs its grid before what the trace gave.
    pub fn from_trace(modifier: &Modifier, traced: Traced) -> Self {
        let mut placed = traced.emissions;
        if let Some(grid) = grid_of(modifier) {
            for p in placed.iter_mut().filter(|p| p.facing == Facing::Front) {
                p.emission.screen = Some(screen(p.emission.face, grid));
            }
        }
        Self {
            placed,
            head: traced.head,
            account: Some(traced.account),
            table_error: Some(traced.table_error),
        }
    }
}

fn grid_of(modifier: &Modifier) -> Option<GridCells> {
    use super::grid::Cell;
    modifier.grid.map(|g| GridCells {
        cell: match g.shape {
            CellShape::Square => Cell::Square,
            CellShape::Hex => Cell::Hex,
            CellShape::Round => Cell::Round,
        },
        cell_m: g.cell_m,
        depth_m: g.depth_m,
        open_fraction: g.open_fraction,
    })
}
