//! The emission table: what every light, plain or traced, comes down to.
//!
//! Values are luminance (cd/m² per lm) as **cell averages**, read between cell centres: node
//! tables would interpolate across a housing's shadow. Direction cells are even in t with
//! sin θ = t², so that they crowd on the axis, where focused beams live. (A study used t^1.5; the
//! square needs no power function in the kernels' innermost loop.)

use std::f64::consts::PI;

/// The surface that light leaves. Lengths in metres; its frame has z out of the face.
#[allow(missing_docs)]
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Face {
    /// A disk, radius in metres.
    Disk { radius_m: f64 },
    /// A regular polygon of 3 to 32 sides, a corner on the x axis; radius to the corners.
    Polygon { radius_m: f64, sides: u32 },
    /// The part of a sphere within `chord_m` (straight) of its pole; the pole is on +z, the
    /// frame's origin in the sphere's centre. Light leaves outward. A chord of twice the radius is
    /// the whole sphere.
    Cap { radius_m: f64, chord_m: f64 },
    /// A rectangle, half sides in metres.
    Rect { half_x_m: f64, half_y_m: f64 },
    /// A sphere, radius in metres; light leaves outward.
    Globe { radius_m: f64 },
    /// The side of a cylinder along x.
    Tube { half_length_m: f64, radius_m: f64 },
}

impl Face {
    /// Area that light leaves, m².
    pub fn area_m2(&self) -> f64 {
        match *self {
            Face::Disk { radius_m } => PI * radius_m * radius_m,
            Face::Polygon { radius_m, sides } => {
                let n = f64::from(sides);
                0.5 * n * radius_m * radius_m * (2.0 * PI / n).sin()
            }
            // Archimedes: 2 π R h, and h = c² / 2R.
            Face::Cap { chord_m, .. } => PI * chord_m * chord_m,
            Face::Rect { half_x_m, half_y_m } => 4.0 * half_x_m * half_y_m,
            Face::Globe { radius_m } => 4.0 * PI * radius_m * radius_m,
            Face::Tube {
                half_length_m,
                radius_m,
            } => 4.0 * PI * radius_m * half_length_m,
        }
    }
}

/// How luminance depends on place and direction.
///
/// A place on a disk or polygon is (ρ, azimuth), ρ = r over the edge's r at that azimuth; on a cap ρ is
/// the chord from the pole over the greatest, so that equal steps of ρ² are equal areas on all three.
#[allow(missing_docs)]
#[derive(Debug, Clone, PartialEq)]
pub enum Pattern {
    /// The same everywhere (Lambertian): cd/m² per lm.
    Uniform(f64),
    /// A disk, polygon or cap with a mirror-symmetric beam about each radius:
    /// `[phi][theta][radius]`, even in ρ, φ (0..π) between the direction's azimuth and the
    /// outward radius, θ from the face's normal at that place. cd/m² per lm.
    Radial {
        radii: usize,
        thetas: usize,
        phis: usize,
        values: Vec<f32>,
    },
    /// A rectangle symmetric about both its axes: `[y][x][phi][theta]` over the quarter x, y ≥ 0
    /// (even in each), φ (0..2π) the azimuth from x of the direction, mirrored with its place.
    /// cd/m² per lm.
    Quarter {
        columns: usize,
        rows: usize,
        thetas: usize,
        phis: usize,
        values: Vec<f32>,
    },
    /// A disk whose rays, drawn on past the face, pass through a round window `distance_m` in front
    /// of it (negative: come from one behind), `radius_m` in radius, or are dark: the image of a
    /// gate in a lens. Across its edge light falls as a straight ramp `soft_m` wide. cd/m² per lm.
    Gate {
        luminance: f64,
        distance_m: f64,
        radius_m: f64,
        soft_m: f64,
    },
}

/// What a grid passes, by direction alone: a factor on the pattern, `[phi][theta]`, φ (0..2π) the
/// true azimuth from x.
#[allow(missing_docs)]
#[derive(Debug, Clone, PartialEq)]
pub struct Screen {
    pub thetas: usize,
    pub phis: usize,
    pub values: Vec<f32>,
}

/// A face, its pattern and what hangs before it: one emitter of a light.
#[derive(Debug, Clone, PartialEq)]
pub struct Emission {
    /// The surface.
    pub face: Face,
    /// What leaves it.
    pub pattern: Pattern,
    /// A grid over it.
    pub screen: Option<Screen>,
}

/// Edge k of n direction cells, as sin θ.
pub fn sine_edge(k: usize, n: usize) -> f64 {
    (k as f64 / n as f64).powi(2)
}

impl Emission {
    /// A Lambertian face that gives one lumen: L = 1 / (π A).
    pub fn lambertian(face: Face) -> Self {
        Self {
            face,
            pattern: Pattern::Uniform(1.0 / (PI * face.area_m2())),
            screen: None,
        }
    }

    /// The same with so many times the light.
    #[must_use]
    pub fn times(mut self, factor: f64) -> Self {
        match &mut self.pattern {
            Pattern::Uniform(luminance) | Pattern::Gate { luminance, .. } => *luminance *= factor,
            Pattern::Radial { values, .. } | Pattern::Quarter { values, .. } => {
                values.iter_mut().for_each(|v| *v *= factor as f32);
            }
        }
        self
    }

    /// Light that leaves, lm per lm in: the sum over cells of L A ΔΩ cos θ, behind the screen.
    pub fn efficiency(&self) -> f64 {
        let area = self.face.area_m2();
        match &self.pattern {
            Pattern::Uniform(l) => l * area * self.ring_flux(1, |_| 1.0),
            Pattern::Radial {
                radii,
                thetas,
                phis,
                values,
            } => {
                let n = *radii as f64;
                (0..*radii)
                    .map(|r| {
                        let share = ((r + 1) as f64 / n).powi(2) - (r as f64 / n).powi(2);
                        area * share
                            * self.ring_flux(*thetas, |t| {
                                mean((0..*phis).map(|p| values[(p * thetas + t) * radii + r]))
                            })
                    })
                    .sum()
            }
            Pattern::Quarter {
                thetas,
                phis,
                values,
                ..
            } => {
                let places = values.len() / (thetas * phis);
                // The screen is taken at its mean over azimuth; both are even in the four quarters.
                area * self.ring_flux(*thetas, |t| {
                    mean((0..places * phis).map(|k| values[k * thetas + t]))
                })
            }
            Pattern::Gate { .. } => area * self.gate_flux(),
        }
    }

    /// ∫ L cos θ dω for a luminance that depends on the θ cell alone, behind the screen.
    fn ring_flux(&self, thetas: usize, value: impl Fn(usize) -> f64) -> f64 {
        // Parts of a cell, so that a sharp screen is integrated and not sampled.
        let parts = match &self.screen {
            None => 1,
            Some(_) => (512 / thetas).max(4),
        };
        (0..thetas * parts)
            .map(|k| {
                let low = (k as f64 / (thetas * parts) as f64).powi(4);
                let high = ((k + 1) as f64 / (thetas * parts) as f64).powi(4);
                let sine = (0.5 * (low + high)).sqrt();
                PI * (high - low) * value(k / parts) * self.screen_mean(sine)
            })
            .sum()
    }

    fn screen_mean(&self, sine: f64) -> f64 {
        self.screen.as_ref().map_or(1.0, |s| {
            let y = spread_cells(sine.sqrt(), s.thetas);
            let row = |t: usize| mean((0..s.phis).map(|p| s.values[p * s.thetas + t]));
            row(y.low) + (row(y.high) - row(y.low)) * y.part
        })
    }

    /// Mean over the face of ∫ L cos θ dω of a gate's image.
    fn gate_flux(&self) -> f64 {
        const STEPS: usize = 48;
        // By its own symmetry, from places along one radius.
        let mut sum = 0.0;
        for r in 0..STEPS {
            let rho = ((r as f64 + 0.5) / STEPS as f64).sqrt();
            for t in 0..8 * STEPS {
                let sine2 = (t as f64 + 0.5) / (8 * STEPS) as f64;
                for p in 0..STEPS {
                    let (s, c) = ((p as f64 + 0.5) / STEPS as f64 * PI).sin_cos();
                    sum += self.luminance([rho, 0.0], [sine2.sqrt() * c, sine2.sqrt() * s]);
                }
            }
        }
        sum * PI / (8 * STEPS * STEPS * STEPS) as f64
    }

    /// Luminance, cd/m² per lm, at a place and in a direction as the kernels read it.
    ///
    /// `place`: x and y on the face, ±1 at its edges (on a cap: along its pole's x and y, as long as
    /// ρ). `along`: components of the unit direction along x and y, which for a cap are those
    /// away from the pole and across that, about the normal at the place.
    pub fn luminance(&self, place: [f64; 2], along: [f64; 2]) -> f64 {
        let sine = along[0].hypot(along[1]).min(1.0);
        let screen = self.screen.as_ref().map_or(1.0, |s| s.passes(along));
        screen
            * match &self.pattern {
                Pattern::Uniform(l) => *l,
                Pattern::Radial {
                    radii,
                    thetas,
                    phis,
                    values,
                } => {
                    let rho = self.rho(place);
                    let cos_phi = match self.face {
                        Face::Cap { .. } => along[0] / sine.max(1e-9),
                        _ => {
                            let length = place[0].hypot(place[1]);
                            (place[0] * along[0] + place[1] * along[1]) / (length * sine).max(1e-9)
                        }
                    };
                    let x = spread_cells(rho, *radii);
                    let y = spread_cells(sine.sqrt(), *thetas);
                    let z = spread_cells(cos_phi.clamp(-1.0, 1.0).acos() / PI, *phis);
                    let at = |p: usize, t: usize, r: usize| {
                        f64::from(values[(p * thetas + t) * radii + r])
                    };
                    z.between(|p| y.between(|t| x.between(|r| at(p, t, r))))
                }
                Pattern::Quarter {
                    columns,
                    rows,
                    thetas,
                    phis,
                    values,
                } => {
                    let fold = |v: f64, sign: f64| if sign < 0.0 { -v } else { v };
                    let azimuth = fold(along[1], place[1]).atan2(fold(along[0], place[0]));
                    let x = spread_cells(place[0].abs(), *columns);
                    let y = spread_cells(place[1].abs(), *rows);
                    let t = spread_cells(sine.sqrt(), *thetas);
                    let p = round_cells(azimuth, *phis);
                    y.between(|y| {
                        x.between(|x| {
                            p.between(|p| {
                                t.between(|t| {
                                    f64::from(values[((y * columns + x) * phis + p) * thetas + t])
                                })
                            })
                        })
                    })
                }
                Pattern::Gate {
                    luminance,
                    distance_m,
                    radius_m,
                    soft_m,
                } => {
                    let Face::Disk { radius_m: face_m } = self.face else {
                        return 0.0;
                    };
                    let cosine = (1.0 - sine * sine).max(1e-12).sqrt();
                    let at = |k: usize| place[k] * face_m + along[k] / cosine * distance_m;
                    let edge = (radius_m - at(0).hypot(at(1))) / soft_m.max(1e-9) + 0.5;
                    luminance * edge.clamp(0.0, 1.0)
                }
            }
    }

    /// ρ of a place (see [`Pattern`]).
    fn rho(&self, place: [f64; 2]) -> f64 {
        let length = place[0].hypot(place[1]);
        match self.face {
            Face::Polygon { sides, .. } => length / polygon_edge(place[1].atan2(place[0]), sides),
            _ => length,
        }
    }

    /// Sine from the normal beyond which nothing leaves, as the table is read (half a cell over the
    /// last that is not empty).
    pub fn sine_limit(&self) -> f64 {
        let last = |thetas: usize, lit: &dyn Fn(usize) -> bool| {
            let cells = (0..thetas).rev().find(|t| lit(*t)).map_or(0, |t| t + 1);
            sine_edge((cells + 1).min(thetas), thetas)
        };
        let screen = self.screen.as_ref().map_or(1.0, |s| {
            last(s.thetas, &|t| {
                (0..s.phis).any(|p| s.values[p * s.thetas + t] > 0.0)
            })
        });
        let pattern = match &self.pattern {
            Pattern::Uniform(_) => 1.0,
            Pattern::Radial {
                radii,
                thetas,
                phis,
                values,
            } => last(*thetas, &|t| {
                (0..*phis).any(|p| (0..*radii).any(|r| values[(p * thetas + t) * radii + r] > 0.0))
            }),
            Pattern::Quarter { thetas, values, .. } => last(*thetas, &|t| {
                values.chunks(*thetas).any(|direction| direction[t] > 0.0)
            }),
            Pattern::Gate {
                distance_m,
                radius_m,
                soft_m,
                ..
            } => {
                let Face::Disk { radius_m: face_m } = self.face else {
                    return 0.0;
                };
                // The steepest ray goes from one edge of the face to the other edge of the image.
                let across = face_m + radius_m + 0.5 * soft_m;
                across / across.hypot(*distance_m)
            }
        };
        screen.min(pattern)
    }

    /// How many candidates the renderer chooses a place from at a first place: a lattice of nine
    /// where luminance depends on place and direction together, since from beside a beam most
    /// of the face is dark (a still to the same noise takes a quarter of the time, measured; sixteen take
    /// longer again, four leave more noise); else one, by the net alone, whose strata choosing
    /// would only spoil (up to ten times the rays in a penumbra).
    pub fn candidates(&self) -> u32 {
        match &self.pattern {
            Pattern::Radial { radii, thetas, .. } if *radii > 1 && *thetas > 1 => 9,
            Pattern::Quarter { thetas, .. } if *thetas > 1 => 9,
            Pattern::Gate { .. } => 9,
            _ => 1,
        }
    }
}

impl Screen {
    /// Share passed toward a direction with these components along x and y.
    pub fn passes(&self, along: [f64; 2]) -> f64 {
        let t = spread_cells(along[0].hypot(along[1]).min(1.0).sqrt(), self.thetas);
        let p = round_cells(along[1].atan2(along[0]), self.phis);
        p.between(|p| t.between(|t| f64::from(self.values[p * self.thetas + t])))
    }
}

/// Radius of a regular polygon of corner radius one at an azimuth.
pub fn polygon_edge(azimuth_rad: f64, sides: u32) -> f64 {
    let sector = 2.0 * PI / f64::from(sides);
    let within = azimuth_rad.rem_euclid(sector) - 0.5 * sector;
    (0.5 * sector).cos() / within.cos()
}

/// The two cells between whose centres a value lies.
struct Between {
    low: usize,
    high: usize,
    part: f64,
}

impl Between {
    fn between(&self, cell: impl Fn(usize) -> f64) -> f64 {
        let low = cell(self.low);
        if self.part == 0.0 {
            return low;
        }
        low + (cell(self.high) - low) * self.part
    }
}

/// Cells even over 0..1; before the first centre and past the last one, theirs holds.
fn spread_cells(value: f64, cells: usize) -> Between {
    let x = (value * cells as f64 - 0.5).clamp(0.0, (cells - 1) as f64);
    let low = x as usize;
    Between {
        low,
        high: (low + 1).min(cells - 1),
        part: x - low as f64,
    }
}

/// Cells even over a full turn.
fn round_cells(azimuth_rad: f64, cells: usize) -> Between {
    let x = (azimuth_rad / (2.0 * PI)).rem_euclid(1.0) * cells as f64 - 0.5;
    let low = x.floor();
    Between {
        low: (low as isize).rem_euclid(cells as isize) as usize,
        high: (low as isize + 1).rem_euclid(cells as isize) as usize,
        part: if cells == 1 { 0.0 } else { x - low },
    }
}

fn mean(values: impl ExactSizeIterator<Item = f32>) -> f64 {
    let count = values.len() as f64;
    values.map(f64::from).sum::<f64>() / count
}
