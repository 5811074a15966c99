//! The emission table: what every light, plain or traced, comes down to.
//!
//! Values are luminance (cd/m² per lm) as **cell averages**, read between cell centres: node
//! tables would interpolate across a housing's shadow. Direction cells are even in t with
//! sin θ = t², so that they crowd on the axis, where focused beams live. (A study used t^1.5; the
//! square needs no power function in the kernels' innermost loop.)

/// The surface that light leaves. Lengths in metres.
#[allow(missing_docs)]
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Face {
    /// A disk, radius in metres.
    Disk { radius_m: f64 },
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
        use std::f64::consts::PI;
        match *self {
            Face::Disk { radius_m } => PI * radius_m * radius_m,
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
#[allow(missing_docs)]
#[derive(Debug, Clone, PartialEq)]
pub enum Pattern {
    /// The same everywhere (Lambertian): cd/m² per lm.
    Uniform(f64),
    /// A disk with a mirror-symmetric beam about each radius: `[phi][theta][radius]`, r even in
    /// ρ = r/R, φ (0..π) between the direction's azimuth and the radius. cd/m² per lm.
    Radial {
        radii: usize,
        thetas: usize,
        phis: usize,
        values: Vec<f32>,
    },
    /// A rectangle: luminance over place `[y][x]` (cd/m² per lm) times a factor over direction
    /// `[phi][theta]`, φ (0..2π) the true azimuth from x.
    Face {
        columns: usize,
        rows: usize,
        thetas: usize,
        phis: usize,
        place: Vec<f32>,
        direction: Vec<f32>,
    },
}

/// A face and its pattern: one emitter of a light.
#[derive(Debug, Clone, PartialEq)]
pub struct Emission {
    /// The surface.
    pub face: Face,
    /// What leaves it.
    pub pattern: Pattern,
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
            pattern: Pattern::Uniform(1.0 / (std::f64::consts::PI * face.area_m2())),
        }
    }

    /// Light that leaves, lm per lm in: the sum over cells of L A ΔΩ cos θ.
    pub fn efficiency(&self) -> f64 {
        use std::f64::consts::PI;
        let area = self.face.area_m2();
        // Mean over azimuth, per theta cell, times the projected solid angle of the ring.
        let rings = |thetas: usize, value: &dyn Fn(usize) -> f64| -> f64 {
            (0..thetas)
                .map(|t| {
                    value(t)
                        * PI
                        * (sine_edge(t + 1, thetas).powi(2) - sine_edge(t, thetas).powi(2))
                })
                .sum()
        };
        match &self.pattern {
            Pattern::Uniform(l) => PI * l * area,
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
                        let mean = |t: usize| {
                            (0..*phis)
                                .map(|p| f64::from(values[(p * thetas + t) * radii + r]))
                                .sum::<f64>()
                                / *phis as f64
                        };
                        area * share * rings(*thetas, &mean)
                    })
                    .sum()
            }
            Pattern::Face {
                thetas,
                phis,
                place,
                direction,
                ..
            } => {
                let mean_place =
                    place.iter().map(|&l| f64::from(l)).sum::<f64>() / place.len() as f64;
                let mean = |t: usize| {
                    (0..*phis)
                        .map(|p| f64::from(direction[p * thetas + t]))
                        .sum::<f64>()
                        / *phis as f64
                };
                area * mean_place * rings(*thetas, &mean)
            }
        }
    }

    /// Sine from the normal beyond which nothing leaves, as the table is read (half a cell over the
    /// last that is not empty).
    pub fn sine_limit(&self) -> f64 {
        let last = |thetas: usize, lit: &dyn Fn(usize) -> bool| {
            let cells = (0..thetas).rev().find(|t| lit(*t)).map_or(0, |t| t + 1);
            sine_edge((cells + 1).min(thetas), thetas)
        };
        match &self.pattern {
            Pattern::Uniform(_) => 1.0,
            Pattern::Radial {
                radii,
                thetas,
                phis,
                values,
            } => last(*thetas, &|t| {
                (0..*phis).any(|p| (0..*radii).any(|r| values[(p * thetas + t) * radii + r] > 0.0))
            }),
            Pattern::Face {
                thetas,
                phis,
                direction,
                ..
            } => last(*thetas, &|t| {
                (0..*phis).any(|p| direction[p * thetas + t] > 0.0)
            }),
        }
    }

    /// Candidates the renderer resamples from at a first place: one where a face looks the same
    /// everywhere (resampling would only spoil the strata of its shadow edges: seven to fifteen
    /// times the error, measured), more where its table has structure to find.
    pub fn candidates(&self) -> u32 {
        match self.pattern {
            Pattern::Uniform(_) => 1,
            _ => 8,
        }
    }
}
