//! Modifiers for the tracer's tests, and what a point gets from a traced emission.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use glam::DVec3;
use std::f64::consts::{PI, TAU};
use swatchlight::optics::drum::Drum;
use swatchlight::optics::prescription::*;
use swatchlight::optics::table::{Face, polygon_edge};
use swatchlight::optics::trace::{Placed, Quality, Traced};

// --- Modifiers -----------------------------------------------------------------------------------

/// The study's bowl: 1.2 m across, 0.5 m deep, so f = 0.18 m.
pub const FOCAL_M: f64 = 0.18;
pub const RIM_M: f64 = 0.6;
pub const DEPTH_M: f64 = 0.5;
pub const FOCUS_Z_M: f64 = FOCAL_M - DEPTH_M;

pub const HALF_CLOTH: Cloth = Cloth {
    straight: 0.05,
    spread: 0.2,
    spread_sigma: 0.35,
    scattered: 0.25,
    reflected: 0.42,
};
pub const FULL_CLOTH: Cloth = Cloth {
    straight: 0.0,
    spread: 0.0,
    spread_sigma: 0.1,
    scattered: 0.297,
    reflected: 0.6,
};

pub fn silver(slope_deg: f64) -> Finish {
    Finish::Silver {
        reflectance: 0.85,
        slope_rad: slope_deg.to_radians(),
        panels: None,
    }
}

pub fn matt(reflectance: f64) -> Finish {
    Finish::Matt { reflectance }
}

pub fn bowl(finish: Finish) -> Shell {
    Shell::Conic {
        radius_m: RIM_M,
        depth_m: DEPTH_M,
        vertex_radius_m: 2.0 * FOCAL_M,
        conic: -1.0,
        finish,
        sides: None,
    }
}

pub fn head(centre_z_m: f64, facing: Facing) -> Lamp {
    Lamp {
        source: Source::Capsule {
            radius_m: 0.025,
            length_m: 0.08,
        },
        centre_z_m,
        facing,
        housing: Some(Housing {
            radius_m: 0.06,
            length_m: 0.15,
        }),
    }
}

/// A bare ball.
pub fn ball(radius_m: f64, centre_z_m: f64) -> Lamp {
    Lamp {
        source: Source::Capsule {
            radius_m,
            length_m: 2.0 * radius_m,
        },
        centre_z_m,
        facing: Facing::Back,
        housing: None,
    }
}

pub fn plain(lamp: Lamp, shell: Shell) -> Prescription {
    Prescription {
        lamp,
        shell,
        plate: None,
        baffles: Vec::new(),
        front: None,
        lens: None,
    }
}

/// The study's modifier with its lamp `travel_m` from the focus, toward the subject.
pub fn focusing(slope_deg: f64, travel_m: f64) -> Prescription {
    plain(
        head(FOCUS_Z_M + travel_m, Facing::Back),
        bowl(silver(slope_deg)),
    )
}

pub fn dish(finish: Finish) -> Prescription {
    let mut dish = plain(
        head(-0.12, Facing::Front),
        Shell::Conic {
            radius_m: 0.28,
            depth_m: 0.17,
            vertex_radius_m: 0.28 * 0.28 / 0.34,
            conic: -1.0,
            finish,
            sides: None,
        },
    );
    dish.plate = Some(Plate {
        radius_m: 0.08,
        z_m: -0.05,
        finish: matt(0.8),
    });
    dish
}

pub fn umbrella(finish: Finish) -> Prescription {
    plain(
        head(-0.05, Facing::Back),
        Shell::Conic {
            radius_m: 0.5,
            depth_m: 0.22,
            vertex_radius_m: (0.25 + 0.22 * 0.22) / 0.44,
            conic: 0.0,
            finish,
            sides: Some(8),
        },
    )
}

pub fn box_of(front: Option<Cloth>, baffle: bool) -> Prescription {
    let mut made = plain(
        head(-0.24, Facing::Front),
        Shell::Tray {
            half_m: [0.4, 0.3],
            back_half_m: [0.12, 0.1],
            depth_m: 0.35,
            finish: silver(8.0),
        },
    );
    made.front = front;
    if baffle {
        made.baffles = vec![Baffle {
            z_m: -0.12,
            half_m: [0.26, 0.2],
            cloth: HALF_CLOTH,
        }];
    }
    made
}

pub fn canopy(cloth: Cloth) -> Prescription {
    plain(
        head(-0.4, Facing::Front),
        Shell::Canopy {
            radius_m: 0.5,
            depth_m: 0.2,
            cloth,
            sides: None,
        },
    )
}

pub fn lens_spot(slope_rad: f64, lamp_z_m: f64) -> Prescription {
    let mut spot = plain(
        Lamp {
            source: Source::Disk { radius_m: 0.012 },
            centre_z_m: lamp_z_m,
            facing: Facing::Front,
            housing: Some(Housing {
                radius_m: 0.03,
                length_m: 0.03,
            }),
        },
        Shell::Cone {
            radius_m: 0.1,
            back_radius_m: 0.1,
            depth_m: 0.2,
            finish: matt(0.0),
            sides: None,
        },
    );
    spot.lens = Some(Lens {
        radius_m: 0.1,
        focal_length_m: 0.15,
        transmission: 0.85,
        slope_rad,
    });
    spot
}

pub fn quick(rays: u64) -> Quality {
    Quality {
        rays,
        ..Quality::default()
    }
}

// --- Light at a point ----------------------------------------------------------------------------

/// What a point gets past a lamp's head, on a plane parallel to the face: places of the face (m) and their
/// illuminance.
pub fn arrivals(placed: &Placed, head: Option<Drum>, point_m: [f64; 3]) -> Vec<([f64; 3], f64)> {
    const RINGS: usize = 128;
    const ROUND: usize = 160;
    let emission = &placed.emission;
    let area = emission.face.area_m2();
    let mut found = Vec::with_capacity(RINGS * ROUND);
    for i in 0..RINGS * ROUND {
        let u = ((i / ROUND) as f64 + 0.5) / RINGS as f64;
        let v = ((i % ROUND) as f64 + 0.5) / ROUND as f64;
        let (rho, turn) = (u.sqrt(), v * TAU);
        let (s, c) = turn.sin_cos();
        // The place as the table has it and in metres, its normal, and the axes of `along`.
        let flat = [[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let (place, at, [normal, x, y]) = match emission.face {
            Face::Disk { radius_m } => {
                let at = [radius_m * rho * c, radius_m * rho * s, 0.0];
                ([rho * c, rho * s], at, flat)
            }
            // The circle of equal area, as the tracer takes it.
            Face::Polygon { sides, .. } => {
                let (r, edge) = ((area / PI).sqrt(), polygon_edge(turn, sides));
                let at = [r * rho * c, r * rho * s, 0.0];
                ([rho * edge * c, rho * edge * s], at, flat)
            }
            Face::Rect {
                half_x_m, half_y_m, ..
            } => {
                let (p, q) = (2.0 * u - 1.0, 2.0 * v - 1.0);
                ([p, q], [p * half_x_m, q * half_y_m, 0.0], flat)
            }
            Face::Cap { radius_m, chord_m } => {
                let z = 1.0 - (rho * chord_m / radius_m).powi(2) / 2.0;
                let w = (1.0 - z * z).sqrt();
                let at = [
                    radius_m * w * c,
                    radius_m * w * s,
                    radius_m * z + placed.offset_z_m,
                ];
                let axes = [[w * c, w * s, z], [z * c, z * s, -w], [-s, c, 0.0]];
                ([rho * c, rho * s], at, axes)
            }
            _ => unreachable!("no traced face"),
        };
        let to = [0, 1, 2].map(|k| point_m[k] - at[k]);
        let distance2 = to.iter().map(|t| t * t).sum::<f64>();
        let dot = |a: [f64; 3]| (to[0] * a[0] + to[1] * a[1] + to[2] * a[2]) / distance2.sqrt();
        let leaves = dot(normal).max(0.0);
        let luminance = emission.luminance(place, [dot(x), dot(y)]);
        let weight = leaves * dot([0.0, 0.0, 1.0]) / distance2;
        let hidden = head.is_some_and(|head| {
            let (at, to) = (DVec3::from(at), DVec3::from(to));
            head.hides(at, to.normalize(), to.length())
        });
        if hidden {
            continue;
        }
        found.push((at, luminance * weight * area / (RINGS * ROUND) as f64));
    }
    found
}

pub fn illuminance(traced: &Traced, point_m: [f64; 3]) -> f64 {
    let arrivals = arrivals(&traced.emissions[0], traced.head, point_m);
    arrivals.iter().map(|a| a.1).sum()
}

/// 10-90 % width, mm, of the shadow of a straight edge 0.1 m before a point.
pub fn shadow_edge_mm(arrivals: &[([f64; 3], f64)], point_m: [f64; 3]) -> f64 {
    const BEFORE_M: f64 = 0.1;
    // A place at lateral X and distance d is uncovered beyond x = -X h/(d - h).
    let mut steps: Vec<(f64, f64)> = arrivals
        .iter()
        .map(|(at, light)| {
            let d = point_m[2] - at[2];
            ((point_m[0] - at[0]) * BEFORE_M / (d - BEFORE_M), *light)
        })
        .collect();
    steps.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = steps.iter().map(|s| s.1).sum();
    let quantile = |share: f64| {
        let mut sum = 0.0;
        let step = steps.iter().find(|s| {
            sum += s.1;
            sum >= share * total
        });
        step.map_or(f64::NAN, |s| s.0)
    };
    1000.0 * (quantile(0.9) - quantile(0.1))
}

pub fn edge_mm(traced: &Traced, distance_m: f64) -> f64 {
    let point = [0.0, 0.0, distance_m];
    shadow_edge_mm(&arrivals(&traced.emissions[0], traced.head, point), point)
}

/// Mean squared distance from the axis at which light lands on a plane, as a root, within 1.5 m.
pub fn width_m(traced: &Traced, distance_m: f64) -> f64 {
    let (mut light, mut moment) = (0.0, 0.0);
    for k in 0..30 {
        let r = (f64::from(k) + 0.5) * 0.05;
        let e = illuminance(traced, [r, 0.0, distance_m]) * r;
        light += e;
        moment += e * r * r;
    }
    (moment / light).sqrt()
}

#[track_caller]
pub fn near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found:.5}, not {expected:.5} ± {tolerance:.5}"
    );
}
