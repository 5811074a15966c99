//! Outlines of what stands in the room: modifiers, boards, the camera. All true to scale, by the
//! sizes that the setup gives.

use super::geometry::{Point, hull};
use super::map::Map;
use crate::setup::{Board, Camera, Cylinder, Frame, Light, Modifier, ModifierKind};
use glam::DVec3;
use std::f64::consts::PI;

/// Corners of a round rim.
const ROUND: usize = 48;
/// Rims along a curved wall.
const RIMS: usize = 12;
/// The camera, as the check of a setup takes it: across and high, and front to back, metres.
const CAMERA_BODY_M: [f64; 3] = [0.15, 0.11, 0.09];
const LENS_M: [f64; 2] = [0.085, 0.11];

/// A part of a thing, seen from one side.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub outline_mm: Vec<Point>,
    pub role: Role,
}

/// What a part is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    /// The body of a modifier, board or camera.
    Body,
    /// Walls before the face: grid, skirt.
    Before,
    /// What light leaves by.
    Face,
    /// The lit part of the lamp.
    Lamp,
}

/// Collects points in a frame and takes their outline on paper.
struct Seen<'m> {
    map: &'m Map,
    frame: Frame,
    parts: Vec<Part>,
}

impl Seen<'_> {
    fn add(&mut self, role: Role, points: impl IntoIterator<Item = DVec3>) {
        let flat: Vec<Point> = points
            .into_iter()
            .map(|p| self.map.mm_of_room(self.frame.point_in_room(p.x, p.y, p.z)))
            .collect();
        self.add_flat(role, &flat);
    }

    fn add_flat(&mut self, role: Role, flat: &[Point]) {
        let outline_mm = hull(flat);
        if !outline_mm.is_empty() {
            self.parts.push(Part { outline_mm, role });
        }
    }

    /// A ball looks round from everywhere.
    fn ball(&mut self, role: Role, centre_m: DVec3, radius_m: f64) {
        let c = self.frame.point_in_room(centre_m.x, centre_m.y, centre_m.z);
        let [x, y] = self.map.mm_of_room(c);
        let r = self.map.mm(radius_m);
        let round: Vec<Point> = (0..ROUND)
            .map(|k| {
                let (s, c) = (k as f64 / ROUND as f64 * 2.0 * PI).sin_cos();
                [x + r * c, y + r * s]
            })
            .collect();
        self.add_flat(role, &round);
    }
}

/// A round or cornered rim across the axis, its first corner at the top where `sides` is given.
fn rim(radius_m: f64, z_m: f64, sides: Option<u32>) -> impl Iterator<Item = DVec3> {
    let n = sides.map_or(ROUND, |s| s.clamp(3, 64) as usize);
    (0..n).map(move |k| {
        let (s, c) = (k as f64 / n as f64 * 2.0 * PI).sin_cos();
        DVec3::new(radius_m * s, radius_m * c, z_m)
    })
}

fn rectangle([w, h]: [f64; 2], z_m: f64) -> impl Iterator<Item = DVec3> {
    [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
        .into_iter()
        .map(move |(x, y)| DVec3::new(0.5 * x * w, 0.5 * y * h, z_m))
}

/// The rim of a modifier's face, at a place along its axis.
fn face(modifier: &Modifier, z_m: f64) -> Vec<DVec3> {
    let size_m = modifier.kind.face_m();
    match modifier.kind {
        ModifierKind::Panel { .. }
        | ModifierKind::Strip { .. }
        | ModifierKind::Softbox(_)
        | ModifierKind::Measured {
            is_round: false, ..
        } => rectangle(size_m, z_m).collect(),
        ModifierKind::Paraboloid(bowl)
        | ModifierKind::Octabox { bowl, .. }
        | ModifierKind::Umbrella(bowl)
        | ModifierKind::Dish { bowl, .. }
        | ModifierKind::Bowl(bowl) => rim(0.5 * bowl.diameter_m, z_m, bowl.sides).collect(),
        ModifierKind::ShootThrough(canopy) => {
            rim(0.5 * canopy.diameter_m, z_m, canopy.sides).collect()
        }
        _ => rim(0.5 * size_m[0], z_m, None).collect(),
    }
}

/// A light's modifier, from the back to the front.
pub(super) fn light(map: &Map, light: &Light) -> Vec<Part> {
    let modifier = &light.modifier;
    let mut seen = Seen {
        map,
        frame: light.frame,
        parts: Vec::new(),
    };
    match modifier.kind {
        ModifierKind::Globe { diameter_m } => {
            seen.ball(Role::Face, DVec3::ZERO, 0.5 * diameter_m);
        }
        ModifierKind::Tube {
            length_m,
            diameter_m,
        } => {
            let end =
                |x: f64| rim(0.5 * diameter_m, 0.0, None).map(move |p| DVec3::new(x, p.x, p.y));
            seen.add(Role::Face, end(-0.5 * length_m).chain(end(0.5 * length_m)));
        }
        ModifierKind::BareLamp(lamp) => {
            let neck = lamp.neck_m();
            seen.add(
                Role::Body,
                cylinder(lamp.housing, [-neck - lamp.housing.length_m, -neck]),
            );
            seen.ball(Role::Face, DVec3::ZERO, 0.5 * lamp.dome_m);
        }
        ModifierKind::Softbox(b) => {
            let back = rectangle(b.back_m, -b.depth_m);
            seen.add(Role::Body, back.chain(face(modifier, 0.0)));
        }
        ModifierKind::Paraboloid(bowl)
        | ModifierKind::Octabox { bowl, .. }
        | ModifierKind::Umbrella(bowl)
        | ModifierKind::Dish { bowl, .. }
        | ModifierKind::Bowl(bowl) => {
            // Crowded toward the bottom, where walls turn.
            let shell = (0..=RIMS).flat_map(|k| {
                let z = bowl.depth_m * (k as f64 / RIMS as f64).powi(2);
                rim(bowl.radius_at_m(z), z - bowl.depth_m, bowl.sides)
            });
            seen.add(Role::Body, shell);
        }
        ModifierKind::ShootThrough(canopy) => {
            let (half, depth) = (0.5 * canopy.diameter_m, canopy.depth_m);
            let ball = (half * half + depth * depth) / (2.0 * depth);
            let cap = (0..=RIMS).flat_map(|k| {
                let z = depth * k as f64 / RIMS as f64;
                let from_middle = z + ball - depth;
                let radius = (ball * ball - from_middle * from_middle).max(0.0).sqrt();
                rim(radius, z, canopy.sides)
            });
            seen.add(Role::Face, cap);
        }
        _ => {
            let back = face(modifier, -modifier.body_depth_m);
            seen.add(Role::Body, back.into_iter().chain(face(modifier, 0.0)));
        }
    }
    if modifier.kind.has_flat_front() {
        seen.add(Role::Face, face(modifier, 0.0));
        let depths = [modifier.grid.map(|g| g.depth_m), modifier.skirt_m];
        for depth_m in depths.into_iter().flatten() {
            let walls = face(modifier, 0.0).into_iter();
            seen.add(Role::Before, walls.chain(face(modifier, depth_m)));
        }
    }
    lamp(&mut seen, light);
    seen.parts
}

/// The lit part of the lamp, where it stands at the light's spread, and its head before the face.
fn lamp(seen: &mut Seen<'_>, light: &Light) {
    let modifier = &light.modifier;
    let spread = light.spread.unwrap_or(0.0);
    let (Some(lamp), Some(at_m)) = (modifier.kind.lamp(), modifier.lamp_at_m(spread)) else {
        return;
    };
    if let Some([out_m, wide_m]) = modifier.head_in_front_m(spread) {
        let head = Cylinder {
            diameter_m: wide_m,
            length_m: out_m,
        };
        seen.add(Role::Body, cylinder(head, [0.0, out_m]));
    }
    let z = match modifier.kind {
        ModifierKind::Paraboloid(b)
        | ModifierKind::Umbrella(b)
        | ModifierKind::Octabox { bowl: b, .. }
        | ModifierKind::Dish { bowl: b, .. }
        | ModifierKind::Bowl(b) => at_m - b.depth_m,
        ModifierKind::Softbox(b) => at_m - b.depth_m,
        ModifierKind::ShootThrough(c) => c.depth_m - at_m,
        _ => -at_m,
    };
    let half = 0.5 * lamp.length_m;
    seen.add(Role::Lamp, cylinder(lamp.lit(), [z - half, z + half]));
}

fn cylinder(of: Cylinder, ends_z_m: [f64; 2]) -> impl Iterator<Item = DVec3> {
    ends_z_m
        .into_iter()
        .flat_map(move |z| rim(0.5 * of.diameter_m, z, None))
}

/// A board, flag or scrim, and its front.
pub(super) fn board(map: &Map, board: &Board) -> Vec<Part> {
    let mut seen = Seen {
        map,
        frame: board.frame,
        parts: Vec::new(),
    };
    let back = rectangle(board.size_m, -board.thickness_m);
    seen.add(Role::Body, back.chain(rectangle(board.size_m, 0.0)));
    seen.add(Role::Face, rectangle(board.size_m, 0.0));
    seen.parts
}

/// The camera: body, and a lens with its front at the camera's place.
pub(super) fn camera(map: &Map, camera: &Camera) -> Vec<Part> {
    let mut seen = Seen {
        map,
        frame: Frame {
            origin_m: camera.position_m,
            // The picture's right and top; looked at from in front they are mirrored, which an outline
            // cannot tell.
            x: camera.right,
            y: camera.up,
            z: camera.direction,
        },
        parts: Vec::new(),
    };
    let [w, h, deep] = CAMERA_BODY_M;
    let [wide, long] = LENS_M;
    let front = rectangle([w, h], -long);
    seen.add(Role::Body, front.chain(rectangle([w, h], -long - deep)));
    let barrel = Cylinder {
        diameter_m: wide,
        length_m: long,
    };
    seen.add(Role::Body, cylinder(barrel, [-long, 0.0]));
    seen.parts
}

/// The outline around all parts.
pub(super) fn around(parts: &[Part]) -> Vec<Point> {
    let all: Vec<Point> = parts
        .iter()
        .flat_map(|p| p.outline_mm.iter().copied())
        .collect();
    hull(&all)
}
