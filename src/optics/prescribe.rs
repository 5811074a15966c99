//! From a modifier as it was taped out, at one setting, to what light meets in it.
//!
//! Kinds whose light is traced become a [`Prescription`]; those whose light follows from
//! geometry alone, the lens-spot and the bare lamp, become an [`Emission`] at once.

use super::plain::{GridCells, screen};
use super::prescription::{
    Baffle, Cloth, Facing, Finish, Housing, Lamp, Lens, Plate, Prescription, Shell, Source,
};
use super::table::{Emission, Face, Pattern};
use crate::setup::{self, BareLamp, Bowl, Curve, LensSpot, Lining, Modifier, ModifierKind};
use std::f64::consts::PI;

/// Black paint inside a body, from memory.
const BLACK: Finish = Finish::Matt { reflectance: 0.04 };
/// A head that reaches less far than this into a bowl is none, metres.
const LEAST_HEAD_M: f64 = 0.001;
/// Share of a lamp's light that a good condenser can bring through a gate, from memory.
const CONDENSED: f64 = 0.6;
/// What a plain lens smears an edge by, as a share of its image's radius, from memory.
const SMEAR: f64 = 0.01;

/// What light meets in a modifier at a spread of 0 to 1 (which only a lamp that travels heeds);
/// `None` for the plain kinds, [`lens_spot`] and [`bare_lamp`].
pub fn prescribe(modifier: &Modifier, spread: f64) -> Option<Prescription> {
    let front = modifier.cloth.map(cloth);
    let at_m = modifier.lamp_at_m(spread)?;
    let plain = |lamp: Lamp, shell: Shell| Prescription {
        lamp,
        shell,
        plate: None,
        baffles: Vec::new(),
        front,
        lens: None,
    };
    Some(match modifier.kind {
        ModifierKind::Paraboloid(bowl) | ModifierKind::Umbrella(bowl) => plain(
            lamp(&bowl.lamp, at_m - bowl.depth_m, Facing::Back, f64::INFINITY),
            shell(&bowl),
        ),
        ModifierKind::Bowl(bowl) => plain(front_lamp(&bowl, at_m), shell(&bowl)),
        ModifierKind::Dish { bowl, plate } => Prescription {
            plate: Some(Plate {
                radius_m: 0.5 * plate.diameter_m,
                z_m: plate.at_m - bowl.depth_m,
                finish: finish(&bowl.lining),
            }),
            ..plain(front_lamp(&bowl, at_m), shell(&bowl))
        },
        ModifierKind::Octabox { bowl, front } => {
            let half_m = |z_m: f64| [bowl.radius_at_m(bowl.depth_m + z_m); 2];
            with_cloths(
                plain(front_lamp(&bowl, at_m), shell(&bowl)),
                modifier,
                &front,
                half_m,
            )
        }
        ModifierKind::Softbox(b) => {
            let half_m = |z_m: f64| {
                let share = 1.0 + z_m / b.depth_m;
                [0, 1].map(|i| 0.5 * (b.back_m[i] + (b.size_m[i] - b.back_m[i]) * share))
            };
            let tray = Shell::Tray {
                half_m: half_m(0.0),
                back_half_m: half_m(-b.depth_m),
                depth_m: b.depth_m,
                finish: finish(&b.lining),
            };
            let room_m = at_m - 0.5 * b.lamp.length_m;
            let lamp = lamp(&b.lamp, at_m - b.depth_m, Facing::Front, room_m);
            with_cloths(plain(lamp, tray), modifier, &b.front, half_m)
        }
        ModifierKind::ShootThrough(canopy) => plain(
            lamp(
                &canopy.lamp,
                canopy.depth_m - at_m,
                Facing::Front,
                f64::INFINITY,
            ),
            Shell::Canopy {
                radius_m: 0.5 * canopy.diameter_m,
                depth_m: canopy.depth_m,
                cloth: cloth(canopy.cloth),
                sides: canopy.sides,
            },
        ),
        ModifierKind::Fresnel(fresnel) => Prescription {
            lens: Some(Lens {
                radius_m: 0.5 * fresnel.diameter_m,
                focal_length_m: fresnel.focal_length_m,
                transmission: fresnel.transmission,
                slope_rad: fresnel.haze_rad,
            }),
            ..plain(
                // The mirror behind such a lamp sends back through it what leaves backward, so
                // that all its light leaves forward.
                Lamp {
                    source: Source::Disk {
                        radius_m: 0.5 * fresnel.lamp.diameter_m,
                    },
                    centre_z_m: -at_m,
                    facing: Facing::Front,
                    housing: None,
                },
                Shell::Cone {
                    radius_m: 0.5 * fresnel.diameter_m,
                    back_radius_m: 0.5 * fresnel.diameter_m,
                    depth_m: modifier.body_depth_m,
                    finish: BLACK,
                    sides: None,
                },
            )
        },
        _ => return None,
    })
}

/// Baffle and front cloth of a box, from the back to the front. A recessed front is a cloth inside.
fn with_cloths(
    plain: Prescription,
    modifier: &Modifier,
    front: &setup::BoxFront,
    half_m: impl Fn(f64) -> [f64; 2],
) -> Prescription {
    let hung = |cloth_in: setup::Cloth, behind_m: f64| Baffle {
        z_m: -behind_m,
        half_m: half_m(-behind_m),
        cloth: cloth(cloth_in),
    };
    let recessed = front.recess_m > 0.0;
    let inner = modifier.baffle.map(|c| hung(c, front.baffle_at_m));
    let outer = modifier.cloth.filter(|_| recessed);
    Prescription {
        baffles: inner
            .into_iter()
            .chain(outer.map(|c| hung(c, front.recess_m)))
            .collect(),
        front: plain.front.filter(|_| !recessed),
        ..plain
    }
}

/// A lamp at the back of a bowl: its head reaches from the bottom to the lit part at most.
fn front_lamp(bowl: &Bowl, at_m: f64) -> Lamp {
    let room_m = at_m - 0.5 * bowl.lamp.length_m;
    lamp(&bowl.lamp, at_m - bowl.depth_m, Facing::Front, room_m)
}

fn lamp(lamp: &setup::Lamp, centre_z_m: f64, facing: Facing, room_m: f64) -> Lamp {
    Lamp {
        source: if lamp.has_cup() {
            Source::Disk {
                radius_m: 0.5 * lamp.diameter_m,
            }
        } else {
            Source::Capsule {
                radius_m: 0.5 * lamp.diameter_m,
                length_m: lamp.length_m,
            }
        },
        centre_z_m,
        facing,
        housing: lamp
            .housing
            .map(|h| Housing {
                // A cup hides the head that it sits on.
                radius_m: if lamp.has_cup() {
                    0.5 * h.diameter_m.max(lamp.diameter_m)
                } else {
                    0.5 * h.diameter_m
                },
                length_m: h.length_m.min(room_m),
            })
            .filter(|h| h.length_m >= LEAST_HEAD_M),
    }
}

fn shell(bowl: &Bowl) -> Shell {
    let (radius_m, depth_m) = (0.5 * bowl.diameter_m, bowl.depth_m);
    let (finish, sides) = (finish(&bowl.lining), bowl.sides);
    let (vertex_radius_m, conic) = match bowl.curve {
        // z = r² / 2R through the rim.
        Curve::Parabola => (radius_m * radius_m / (2.0 * depth_m), -1.0),
        // The ball through bottom and rim: R² = r² + (R − h)².
        Curve::Sphere => (
            (radius_m * radius_m + depth_m * depth_m) / (2.0 * depth_m),
            0.0,
        ),
        Curve::Cone { back_m } => {
            return Shell::Cone {
                radius_m,
                back_radius_m: 0.5 * back_m,
                depth_m,
                finish,
                sides,
            };
        }
    };
    Shell::Conic {
        radius_m,
        depth_m,
        vertex_radius_m,
        conic,
        finish,
        sides,
    }
}

fn finish(lining: &Lining) -> Finish {
    match *lining {
        Lining::Silver {
            reflectance,
            slope_rad,
            panels,
        } => Finish::Silver {
            reflectance,
            slope_rad,
            panels,
        },
        Lining::Matt { reflectance } => Finish::Matt { reflectance },
    }
}

fn cloth(c: setup::Cloth) -> Cloth {
    Cloth {
        straight: c.straight,
        spread: c.spread,
        spread_sigma: c.sigma,
        scattered: c.scattered,
        reflected: c.reflected,
    }
}

/// A lens-spot's emission, lm per lm of its lamp.
///
/// The lens images the gate at s', 1/s' = 1/f − 1/s (thin lens), s'/s times as large. Every ray
/// that leaves the lens and passes through that image comes from the gate, at the gate's
/// luminance but for the lens's transmission T. So lens and image give, per unit of luminance,
/// G = π A F lumens, A the lens's area and F the share of its Lambertian light that meets the
/// image (coaxial disks, closed form, from memory). Two things bound the luminance: no optics makes a
/// gate look brighter than the lamp, 1/(π a) per lumen with a its lit surface; and a condenser
/// brings only part of the lamp's light through the gate. Hence L = T min(1/(π a), .6/G), and an
/// efficiency of at most .6 T.
pub fn lens_spot(spot: &LensSpot, grid: Option<GridCells>) -> Emission {
    let face = Face::Disk {
        radius_m: 0.5 * spot.diameter_m,
    };
    let gate_at_m = spot.gate_at_m(spot.focus);
    let distance_m = 1.0 / (1.0 / spot.focal_length_m - 1.0 / gate_at_m);
    let radius_m = 0.5 * spot.gate_m * distance_m / gate_at_m;
    let etendue = PI * face.area_m2() * disk_to_disk(0.5 * spot.diameter_m, radius_m, distance_m);
    let lit_m2 = PI * spot.lamp_m[0] * spot.lamp_m[1];
    Emission {
        face,
        pattern: Pattern::Gate {
            luminance: spot.transmission * (1.0 / (PI * lit_m2)).min(CONDENSED / etendue),
            distance_m,
            radius_m,
            soft_m: SMEAR * radius_m,
        },
        screen: grid.map(|g| screen(face, g)),
    }
}

/// A lamp in a frosted dome: the part of the ball that its head leaves free, evenly bright, with
/// the dome's transmission.
pub fn bare_lamp(lamp: &BareLamp) -> Emission {
    let radius_m = 0.5 * lamp.dome_m;
    // The pole to the neck: c² = n² + (R + neck)², n the head's radius.
    let chord_m = (2.0 * radius_m * (radius_m + lamp.neck_m())).sqrt();
    let mut emission = Emission::lambertian(Face::Cap { radius_m, chord_m });
    if let Pattern::Uniform(luminance) = &mut emission.pattern {
        *luminance *= lamp.transmission;
    }
    emission
}

/// Share of a Lambertian disk's light that meets a coaxial disk: F = ½ (X − √(X² − 4 (r₂/r₁)²)),
/// X = 1 + (d² + r₂²)/r₁² (Howell's catalogue, from memory).
fn disk_to_disk(from_m: f64, to_m: f64, distance_m: f64) -> f64 {
    let (d, r) = (distance_m / from_m, to_m / from_m);
    let x = 1.0 + d * d + r * r;
    // The same, without the difference of two large numbers.
    2.0 * r * r / (x + (x * x - 4.0 * r * r).max(0.0).sqrt())
}
