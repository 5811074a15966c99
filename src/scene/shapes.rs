//! Meshes of the set: planes, boxes, cylinders, seamless paper.

use super::builder::{AT_ONCE, Mesh};
use crate::setup::Frame;
use glam::{DVec3, Vec2, Vec3};
use rayon::prelude::*;

/// A rectangle of `size_m` in the x-y plane of `frame`, facing its z.
pub fn rectangle(frame: &Frame, size_m: [f64; 2]) -> Mesh {
    let mut mesh = Mesh::default();
    let (x, y) = (0.5 * size_m[0], 0.5 * size_m[1]);
    quad(
        &mut mesh,
        frame,
        [[-x, -y], [x, -y], [x, y], [-x, y]].map(|[a, b]| DVec3::new(a, b, 0.0)),
        DVec3::Z,
    );
    mesh
}

/// A closed box: `size_m` across x and y, from the front face at z = `front_m` back to
/// `front_m - depth_m`. The front is returned apart from the sides and back.
pub fn slab(frame: &Frame, size_m: [f64; 2], front_m: f64, depth_m: f64) -> (Mesh, Mesh) {
    let (x, y) = (0.5 * size_m[0], 0.5 * size_m[1]);
    let (f, b) = (front_m, front_m - depth_m);
    let mut front = Mesh::default();
    quad(
        &mut front,
        frame,
        [[-x, -y, f], [x, -y, f], [x, y, f], [-x, y, f]].map(DVec3::from),
        DVec3::Z,
    );
    let mut rest = Mesh::default();
    let sides = [
        (
            [[x, -y, b], [-x, -y, b], [-x, y, b], [x, y, b]],
            DVec3::NEG_Z,
        ),
        ([[x, -y, f], [x, -y, b], [x, y, b], [x, y, f]], DVec3::X),
        (
            [[-x, -y, b], [-x, -y, f], [-x, y, f], [-x, y, b]],
            DVec3::NEG_X,
        ),
        ([[-x, y, f], [x, y, f], [x, y, b], [-x, y, b]], DVec3::Y),
        (
            [[-x, -y, b], [x, -y, b], [x, -y, f], [-x, -y, f]],
            DVec3::NEG_Y,
        ),
    ];
    for (corners, normal) in sides {
        quad(&mut rest, frame, corners.map(DVec3::from), normal);
    }
    (front, rest)
}

/// A closed drum along z: front disk at z = `front_m`, `depth_m` deep.
pub fn drum(frame: &Frame, radius_m: f64, front_m: f64, depth_m: f64) -> Mesh {
    const SIDES: u32 = 96;
    let mut mesh = Mesh::default();
    let rim = |i: u32| {
        let (s, c) = (f64::from(i) / f64::from(SIDES) * std::f64::consts::TAU).sin_cos();
        DVec3::new(c, s, 0.0)
    };
    for (z, normal) in [(front_m, DVec3::Z), (front_m - depth_m, DVec3::NEG_Z)] {
        let hub = corner(&mut mesh, frame, DVec3::Z * z, normal);
        for i in 0..SIDES {
            let a = corner(&mut mesh, frame, rim(i) * radius_m + DVec3::Z * z, normal);
            let b = corner(
                &mut mesh,
                frame,
                rim(i + 1) * radius_m + DVec3::Z * z,
                normal,
            );
            mesh.triangles.push(if normal.z > 0.0 {
                [hub, a, b]
            } else {
                [hub, b, a]
            });
        }
    }
    for i in 0..SIDES {
        let at = |mesh: &mut Mesh, k: u32, z: f64| {
            corner(mesh, frame, rim(k) * radius_m + DVec3::Z * z, rim(k))
        };
        let a = at(&mut mesh, i, front_m - depth_m);
        let b = at(&mut mesh, i + 1, front_m - depth_m);
        let c = at(&mut mesh, i + 1, front_m);
        let d = at(&mut mesh, i, front_m);
        mesh.triangles.extend([[a, b, c], [a, c, d]]);
    }
    mesh
}

/// Corners of a regular polygon about the origin, the first on the x axis.
pub fn polygon_corners(radius_m: f64, sides: u32) -> Vec<[f64; 2]> {
    (0..sides)
        .map(|i| {
            let (s, c) = (f64::from(i) / f64::from(sides) * std::f64::consts::TAU).sin_cos();
            [radius_m * c, radius_m * s]
        })
        .collect()
}

/// Corners of a rectangle about the origin.
pub fn rectangle_corners(size_m: [f64; 2]) -> Vec<[f64; 2]> {
    let (x, y) = (0.5 * size_m[0], 0.5 * size_m[1]);
    vec![[x, y], [-x, y], [-x, -y], [x, -y]]
}

/// Flat facets between outlines of equally many corners at rising z. A ring without size closes an
/// end.
pub fn loft(frame: &Frame, rings: &[(f64, Vec<[f64; 2]>)]) -> Mesh {
    let mut mesh = Mesh::default();
    for pair in rings.windows(2) {
        let ((z_a, a), (z_b, b)) = (&pair[0], &pair[1]);
        let n = a.len();
        for i in 0..n {
            let j = (i + 1) % n;
            let point = |p: [f64; 2], z: f64| DVec3::new(p[0], p[1], z);
            let corners = [
                point(a[i], *z_a),
                point(a[j], *z_a),
                point(b[j], *z_b),
                point(b[i], *z_b),
            ];
            // One of the two diagonals spans an area even where a side has none.
            let normal = (corners[2] - corners[0]).cross(corners[3] - corners[1]);
            let Some(normal) = normal.try_normalize() else {
                continue;
            };
            quad(&mut mesh, frame, corners, normal);
        }
    }
    mesh
}

/// Seamless paper across x: hanging at z = `-behind_m` from `height_m`, curving with `curve_m` onto the
/// floor (raised by `lift_m`, so that it lies on it), and out to z = `forward_m`. Its cloth
/// coordinates run across, and along the paper from the roll.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Seamless {
    pub width_m: f64,
    pub height_m: f64,
    pub behind_m: f64,
    pub curve_m: f64,
    pub forward_m: f64,
    pub lift_m: f64,
}

impl Seamless {
    /// Length of the hanging part, and of the curve.
    fn lengths_m(&self) -> (f64, f64) {
        (
            (self.height_m - self.lift_m - self.curve_m).max(0.0),
            self.curve_m * std::f64::consts::FRAC_PI_2,
        )
    }

    /// Length of the paper from the roll to its end.
    fn length_m(&self) -> f64 {
        let (hanging, curve) = self.lengths_m();
        hanging + curve + (self.forward_m + self.behind_m - self.curve_m).max(1e-3)
    }

    /// Place and unit normal of the paper `across_m` from its middle, `along_m` from the roll.
    pub fn at(&self, across_m: f64, along_m: f64) -> (DVec3, DVec3) {
        let (hanging, curve) = self.lengths_m();
        if along_m <= hanging {
            let y = self.lift_m + self.curve_m + hanging - along_m;
            return (DVec3::new(across_m, y, -self.behind_m), DVec3::Z);
        }
        if along_m < hanging + curve {
            let (s, c) = ((along_m - hanging) / self.curve_m).sin_cos();
            let z = -self.behind_m + self.curve_m * (1.0 - c);
            return (
                DVec3::new(across_m, self.lift_m + self.curve_m * (1.0 - s), z),
                DVec3::new(0.0, s, c),
            );
        }
        let z = -self.behind_m + self.curve_m + along_m - hanging - curve;
        (DVec3::new(across_m, self.lift_m, z), DVec3::Y)
    }

    /// The paper as a mesh.
    pub fn mesh(&self) -> Mesh {
        const STEPS: u32 = 32;
        let (hanging, curve) = self.lengths_m();
        let mut along = vec![0.0];
        along.extend((0..=STEPS).map(|i| hanging + curve * f64::from(i) / f64::from(STEPS)));
        along.push(self.length_m());
        let mut mesh = Mesh::default();
        for s in along {
            for x in [-0.5 * self.width_m, 0.5 * self.width_m] {
                let (at, normal) = self.at(x, s);
                mesh.positions_m.push(at.as_vec3());
                mesh.normals.push(normal.as_vec3());
                mesh.uvs_cm
                    .push(Vec2::new(100.0 * x as f32, 100.0 * s as f32));
            }
        }
        for i in 0..mesh.positions_m.len() as u32 / 2 - 1 {
            let a = 2 * i;
            mesh.triangles
                .extend([[a, a + 2, a + 1], [a + 1, a + 2, a + 3]]);
        }
        mesh
    }
}

/// A mesh moved from a frame of its own into the room.
pub fn placed(
    positions_m: &[Vec3],
    normals: &[Vec3],
    uvs_cm: &[Vec2],
    triangles: &[[u32; 3]],
    room_from: impl Fn(DVec3) -> DVec3 + Sync,
    turn: impl Fn(DVec3) -> DVec3 + Sync,
) -> Mesh {
    Mesh {
        positions_m: positions_m
            .par_iter()
            .with_min_len(AT_ONCE)
            .map(|p| room_from(p.as_dvec3()).as_vec3())
            .collect(),
        normals: normals
            .par_iter()
            .with_min_len(AT_ONCE)
            .map(|n| turn(n.as_dvec3()).as_vec3())
            .collect(),
        uvs_cm: uvs_cm.to_vec(),
        triangles: triangles.to_vec(),
    }
}

fn quad(mesh: &mut Mesh, frame: &Frame, corners: [DVec3; 4], normal: DVec3) {
    let [a, b, c, d] = corners.map(|p| corner(mesh, frame, p, normal));
    mesh.triangles.extend([[a, b, c], [a, c, d]]);
}

fn corner(mesh: &mut Mesh, frame: &Frame, at: DVec3, normal: DVec3) -> u32 {
    let turn = |v: DVec3| frame.x * v.x + frame.y * v.y + frame.z * v.z;
    mesh.positions_m.push((frame.origin_m + turn(at)).as_vec3());
    mesh.normals.push(turn(normal).as_vec3());
    mesh.uvs_cm
        .push(Vec2::new(at.x as f32, at.y as f32) * 100.0);
    mesh.positions_m.len() as u32 - 1
}
