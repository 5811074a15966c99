//! The far field of a modifier: its intensity over directions, I = ∫ L cos θ dA, and its export.

mod export;

pub use export::{Description, photometry_of};

use super::drum::Drum;
use super::prescription::Facing;
use super::shine::Shine;
use super::table::{Emission, Face, Pattern, polygon_edge};
use super::trace::Placed;
use glam::DVec3;
use std::f64::consts::{PI, TAU};

/// Spots across and around a face that must be summed.
const STEPS: usize = 96;
/// The same of a face with a head before it: across a radius, and around. A lamp that shows past its head is a few
/// degrees wide there.
const FLAT_STEPS: [usize; 2] = [72, 240];

/// A light as seen from far away.
#[derive(Debug, Clone)]
pub struct FarField(Vec<Source>);

/// One face: what leaves it, and the spots that it is summed over.
#[derive(Debug, Clone)]
struct Source {
    emission: Emission,
    facing: Facing,
    /// What hides places of it, in its frame.
    head: Option<Drum>,
    spots: Vec<Spot>,
}

/// A part of a face.
#[derive(Debug, Clone, Copy)]
struct Spot {
    area_m2: f64,
    /// As for [`Emission::luminance`].
    place: [f64; 2],
    /// In metres, where something may hide it.
    at_m: DVec3,
    /// The two axes that directions are told along, and the normal.
    axes: [[f64; 3]; 3],
}

impl FarField {
    /// The far field of all faces together.
    pub fn of(shine: &Shine) -> Self {
        let faces = shine.placed.iter();
        Self(faces.map(|p| Source::of(p, shine.head)).collect())
    }

    /// Intensity, cd per lm of output, as the renderer reads the tables. `theta_rad` from the axis, 0
    /// to π; `phi_rad` as in [`photometry_of`].
    pub fn intensity(&self, theta_rad: f64, phi_rad: f64) -> f64 {
        let (sine, cosine) = theta_rad.sin_cos();
        let direction = [sine * phi_rad.cos(), -sine * phi_rad.sin(), cosine];
        self.0.iter().map(|s| s.intensity(direction)).sum()
    }
}

impl Source {
    fn of(placed: &Placed, head: Option<Drum>) -> Self {
        let emission = &placed.emission;
        let head = head.map(|h| h.before(placed.facing, placed.offset_z_m));
        match (head.filter(|h| h.to_z_m > 0.0), emission.face) {
            (Some(head), Face::Disk { .. } | Face::Polygon { .. }) => Self {
                emission: emission.clone(),
                facing: placed.facing,
                head: Some(head),
                spots: flat_spots(emission.face),
            },
            _ => Self {
                emission: gathered(emission),
                facing: placed.facing,
                head: None,
                spots: spots(emission),
            },
        }
    }

    fn intensity(&self, [x, y, z]: [f64; 3]) -> f64 {
        let direction = match self.facing {
            Facing::Front => [x, y, z],
            Facing::Back => [-x, y, -z],
        };
        let along = DVec3::from(direction);
        self.spots
            .iter()
            .map(|spot| {
                let [u, v, cosine] = spot.axes.map(|axis| dot(axis, direction));
                // A right angle is one but for rounding.
                if cosine <= 1e-12 {
                    return 0.0;
                }
                let hides = |head: Drum| head.hides(spot.at_m, along, f64::INFINITY);
                if self.head.is_some_and(hides) {
                    return 0.0;
                }
                spot.area_m2 * cosine * self.emission.luminance(spot.place, [u, v])
            })
            .sum()
    }
}

/// The emission with the cells of place of a flat face put together to one, where their mean is
/// all that counts far away. What is read straight between cells' centres has its mean in closed form.
fn gathered(emission: &Emission) -> Emission {
    let mut emission = emission.clone();
    let is_round = matches!(emission.face, Face::Disk { .. });
    let is_flat = is_round || matches!(emission.face, Face::Polygon { .. });
    match &mut emission.pattern {
        Pattern::Radial {
            radii,
            phis,
            values,
            ..
        } if is_flat => {
            let weights = ring_weights(*radii);
            let ring_mean = |cells: &[f32]| -> f64 {
                cells
                    .iter()
                    .zip(&weights)
                    .map(|(v, w)| f64::from(*v) * w)
                    .sum()
            };
            let mut means: Vec<f64> = values.chunks(*radii).map(ring_mean).collect();
            *radii = 1;
            if is_round {
                let thetas = means.len() / *phis;
                means = (0..thetas)
                    .map(|t| means[t..].iter().step_by(thetas).sum::<f64>() / *phis as f64)
                    .collect();
                *phis = 1;
            }
            *values = means.into_iter().map(|v| v as f32).collect();
        }
        Pattern::Quarter {
            columns,
            rows,
            thetas,
            phis,
            values,
        } => {
            let directions = *thetas * *phis;
            let places = *columns * *rows;
            let mean = |k: usize| {
                let sum: f64 = values[k..]
                    .iter()
                    .step_by(directions)
                    .map(|v| f64::from(*v))
                    .sum();
                (sum / places as f64) as f32
            };
            let means = (0..directions).map(mean).collect();
            (*columns, *rows, *values) = (1, 1, means);
        }
        _ => {}
    }
    emission
}

/// Shares of a disk's area that the values of rings stand for, read straight between the rings'
/// middles: ∫ h(ρ) 2ρ dρ, h the hat of each ring.
fn ring_weights(rings: usize) -> Vec<f64> {
    let n = rings as f64;
    // A hat's moment is that of its ring, but for the halves that go level to the middle and the edge.
    let level = if rings > 1 { 1.0 / 12.0 } else { 0.0 };
    (0..rings)
        .map(|r| {
            let ends = match r {
                0 => level,
                _ if r + 1 == rings => -level,
                _ => 0.0,
            };
            (2.0 * r as f64 + 1.0 + ends) / (n * n)
        })
        .collect()
}

/// Axes of directions on a flat face.
const FLAT: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// All over a disk or a polygon, for what is hidden place by place.
fn flat_spots(face: Face) -> Vec<Spot> {
    let (radius_m, sides) = match face {
        Face::Polygon { radius_m, sides } => (radius_m, Some(sides)),
        Face::Disk { radius_m } => (radius_m, None),
        _ => return Vec::new(),
    };
    let mut spots: Vec<Spot> = round_parts(FLAT_STEPS)
        .map(|(rho, [s, c], share)| {
            let edge = sides.map_or(1.0, |n| polygon_edge(s.atan2(c), n));
            let place = [rho * edge * c, rho * edge * s];
            Spot {
                area_m2: share * edge * edge,
                place,
                at_m: DVec3::new(place[0], place[1], 0.0) * radius_m,
                axes: FLAT,
            }
        })
        .collect();
    let scale = face.area_m2() / spots.iter().map(|s| s.area_m2).sum::<f64>();
    spots.iter_mut().for_each(|s| s.area_m2 *= scale);
    spots
}

/// The spots of a face: as few as its pattern needs.
fn spots(emission: &Emission) -> Vec<Spot> {
    let area_m2 = emission.face.area_m2();
    let flat = |place: [f64; 2], share: f64| Spot {
        area_m2: area_m2 * share,
        place,
        at_m: DVec3::ZERO,
        axes: FLAT,
    };
    match (emission.face, &emission.pattern) {
        (Face::Cap { radius_m, chord_m }, _) => cap_spots(radius_m, chord_m),
        (Face::Globe { radius_m }, _) => cap_spots(radius_m, 2.0 * radius_m),
        (Face::Tube { .. }, _) => (0..STEPS)
            .map(|k| {
                let (s, c) = ((k as f64 + 0.5) / STEPS as f64 * TAU).sin_cos();
                Spot {
                    area_m2: area_m2 / STEPS as f64,
                    place: [0.0; 2],
                    at_m: DVec3::ZERO,
                    axes: [[1.0, 0.0, 0.0], [0.0, -s, c], [0.0, c, s]],
                }
            })
            .collect(),
        (_, Pattern::Gate { .. }) => round_parts([STEPS; 2])
            .map(|(rho, [s, c], share)| flat([rho * c, rho * s], share))
            .collect(),
        (_, Pattern::Quarter { .. }) => [[0.5, 0.5], [-0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]]
            .map(|quarter| flat(quarter, 0.25))
            .to_vec(),
        (Face::Polygon { sides, .. }, Pattern::Radial { .. }) => {
            // Sectors of equal angle; as many on each side.
            let sectors = STEPS.div_ceil(sides as usize).max(4) * sides as usize;
            let edges: Vec<(f64, f64)> = (0..sectors)
                .map(|k| {
                    let azimuth = (k as f64 + 0.5) / sectors as f64 * TAU;
                    (azimuth, polygon_edge(azimuth, sides))
                })
                .collect();
            let whole: f64 = edges.iter().map(|(_, edge)| edge * edge).sum();
            edges
                .into_iter()
                .map(|(azimuth, edge)| {
                    let place = [0.5 * azimuth.cos(), 0.5 * azimuth.sin()];
                    flat(place, edge * edge / whole)
                })
                .collect()
        }
        _ => vec![flat([0.0; 2], 1.0)],
    }
}

/// Parts of a round face: ρ, azimuth's sine and cosine, share of the area. Even in ρ, as the cells of
/// tables are: a lamp that shows through a cloth fills few of them.
fn round_parts([rings, turns]: [usize; 2]) -> impl Iterator<Item = (f64, [f64; 2], f64)> {
    (0..rings * turns).map(move |k| {
        let rho = ((k / turns) as f64 + 0.5) / rings as f64;
        let (s, c) = (((k % turns) as f64 + 0.5) / turns as f64 * TAU).sin_cos();
        (rho, [s, c], 2.0 * rho / (rings * turns) as f64)
    })
}

fn cap_spots(radius_m: f64, chord_m: f64) -> Vec<Spot> {
    round_parts([STEPS; 2])
        .map(|(rho, [s, c], share)| {
            let half_sine = rho * chord_m / (2.0 * radius_m);
            let cosine = 1.0 - 2.0 * half_sine * half_sine;
            let sine = (1.0 - cosine * cosine).max(0.0).sqrt();
            Spot {
                area_m2: PI * chord_m * chord_m * share,
                place: [rho * c, rho * s],
                at_m: DVec3::ZERO,
                axes: [
                    [cosine * c, cosine * s, -sine],
                    [-s, c, 0.0],
                    [sine * c, sine * s, cosine],
                ],
            }
        })
        .collect()
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
