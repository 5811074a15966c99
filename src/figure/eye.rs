//! Eyeballs with a bulging clear cornea, their frames, and the wet lid line.
//!
//! The iris is no part of the mesh: at a place on the cornea the view ray is
//! refracted at a sphere of [`CORNEA_RADIUS_MM`] centred [`CORNEA_CENTRE_MM`]
//! ahead of the globe's centre, and met with the plane of the iris
//! [`IRIS_DEPTH_MM`] behind the apex. The vertices' UVs, (x, y) in millimetres
//! about the gaze axis, say where on the eye the ray came in.

use super::body::Body;
use super::head::{CORNERS_MM, EYE_MM, GLOBE_MM, Head};
use super::sdf::{ellipsoid, smin};
use super::{Part, Role};
use glam::{DMat3, DVec3, Vec2, Vec3, dvec3};

/// Radius of the front of the cornea (7.8 mm in Gullstrand's schematic eye, 1909).
pub const CORNEA_RADIUS_MM: f64 = 7.9;
/// Centre of the cornea's sphere ahead of the globe's centre, along the gaze.
pub const CORNEA_CENTRE_MM: f64 = 5.4;
/// The iris plane behind the apex of the cornea (anterior chamber plus cornea:
/// 3.1 to 3.6 mm in schematic eyes).
pub const IRIS_DEPTH_MM: f64 = 3.2;
/// How far each gaze turns towards the midline.
const CONVERGENCE_DEG: f64 = 1.6;
/// Both eyes look this far to the camera's left of straight ahead, and up.
const GAZE_ASIDE_DEG: f64 = 0.9;
const GAZE_UP_DEG: f64 = 0.4;

/// Where an eye stands in the figure's frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EyeFrame {
    /// Centre of the globe, in metres.
    pub centre_m: Vec3,
    /// Unit direction of gaze.
    pub gaze: Vec3,
    /// Unit direction up, square to the gaze.
    pub up: Vec3,
    /// Millimetres in the eye's frame to metres in the figure's.
    pub metres_per_mm: f32,
}

/// Rotation from the eye's frame (+z gaze, +y up) to the head's; side 0 is the
/// figure's left.
pub fn gaze_rotation(side: usize) -> DMat3 {
    let inwards = [-1.0, 1.0][side] * CONVERGENCE_DEG - GAZE_ASIDE_DEG;
    DMat3::from_rotation_y(inwards.to_radians()) * DMat3::from_rotation_x(-GAZE_UP_DEG.to_radians())
}

/// Distance to the eyeball of a side in millimetres at `p` in the head's frame.
///
/// The globe keeps to the head's axes, so that it never leaves its lids; only
/// the cornea turns with the gaze.
pub fn distance_mm(side: usize, p: DVec3) -> f64 {
    let centre = Head::eye_mm(side);
    let globe = (p - centre).length() - GLOBE_MM;
    let globe = smin(globe, ellipsoid(p - centre, CORNERS_MM), 0.6);
    let cornea = centre + gaze_rotation(side) * dvec3(0.0, 0.0, CORNEA_CENTRE_MM);
    smin(globe, (p - cornea).length() - CORNEA_RADIUS_MM, 0.6)
}

/// Frame of an eye; side 0 is the figure's left.
pub fn frame(body: &Body, side: usize) -> EyeFrame {
    let at = |p: DVec3| (body.on_head(p) * 0.01).as_vec3();
    let centre = Head::eye_mm(side);
    let turn = gaze_rotation(side);
    let span = |v: DVec3| at(centre + turn * v) - at(centre);
    EyeFrame {
        centre_m: at(centre),
        gaze: span(DVec3::Z).normalize(),
        up: span(DVec3::Y).normalize(),
        metres_per_mm: span(DVec3::Z).length(),
    }
}

/// Both eyeballs, "eye.left" and "eye.right" by the camera, and the "tears".
pub fn parts(body: &Body, head: &Head) -> Vec<Part> {
    // The camera's left eye is the figure's right one.
    vec![
        eyeball(body, 1, "eye.left"),
        eyeball(body, 0, "eye.right"),
        tears(body, head),
    ]
}

/// Rings from the apex back past what the lids hide; finest over the cornea.
fn eyeball(body: &Body, side: usize, name: &str) -> Part {
    const RINGS: usize = 56;
    const AROUND: usize = 96;
    /// Degrees from the gaze at which the shell ends, behind the lids.
    const LAST_DEG: f64 = 118.0;
    let turn = gaze_rotation(side);
    let centre = Head::eye_mm(side);
    let mut mesh = Builder::new(name, Role::Eye);
    for ring in 0..=RINGS {
        let t = ring as f64 / RINGS as f64;
        let off = (LAST_DEG * t * (0.55 + 0.45 * t)).to_radians();
        for k in 0..if ring == 0 { 1 } else { AROUND } {
            let phi = std::f64::consts::TAU * k as f64 / AROUND as f64;
            let ray = turn * dvec3(off.sin() * phi.cos(), off.sin() * phi.sin(), off.cos());
            let p = along(side, centre, ray);
            let local = turn.transpose() * (p - centre);
            let n = gradient(side, p);
            mesh.vertex(body, p, n, Vec2::new(local.x as f32, local.y as f32));
        }
    }
    let index = |ring: usize, k: usize| {
        if ring == 0 {
            0
        } else {
            (1 + (ring - 1) * AROUND + k % AROUND) as u32
        }
    };
    for k in 0..AROUND {
        mesh.part.triangles.push([0, index(1, k), index(1, k + 1)]);
    }
    for ring in 1..RINGS {
        for k in 0..AROUND {
            let (a, b) = (index(ring, k), index(ring, k + 1));
            let (c, d) = (index(ring + 1, k), index(ring + 1, k + 1));
            mesh.part.triangles.extend([[a, c, d], [a, d, b]]);
        }
    }
    // Close the back, so that nothing shines through.
    let back = mesh.part.positions_m.len() as u32;
    let p = along(side, centre, turn * DVec3::NEG_Z);
    mesh.vertex(body, p, gradient(side, p), Vec2::ZERO);
    for k in 0..AROUND {
        mesh.part
            .triangles
            .push([back, index(RINGS, k + 1), index(RINGS, k)]);
    }
    mesh.part
}

/// The surface along a ray from the centre of the globe.
fn along(side: usize, centre: DVec3, ray: DVec3) -> DVec3 {
    let mut t = 13.0;
    for _ in 0..24 {
        t -= 0.9 * distance_mm(side, centre + ray * t);
    }
    centre + ray * t
}

fn gradient(side: usize, p: DVec3) -> DVec3 {
    const E: f64 = 0.02;
    let d = |v: DVec3| distance_mm(side, p + v * E) - distance_mm(side, p - v * E);
    dvec3(d(DVec3::X), d(DVec3::Y), d(DVec3::Z)).normalize()
}

/// The film of tears that stands in the angle of eyeball and lower lid: a tube
/// some .25 mm in radius (meniscus heights of .2 to .35 mm, from memory).
fn tears(body: &Body, head: &Head) -> Part {
    const STEPS: usize = 60;
    const AROUND: usize = 8;
    let mut mesh = Builder::new("tears", Role::Eye);
    let lids = head.lid_line();
    for side in 0..2 {
        let first = mesh.part.positions_m.len() as u32;
        let sign = [1.0, -1.0][side];
        let centres: Vec<DVec3> = (0..=STEPS)
            .map(|i| {
                let ax = lids.span_mm(0.06 + 0.88 * i as f64 / STEPS as f64);
                let at = lids.at(ax);
                // From before the eye back onto the eyeball, a tube's radius above the lid.
                let mut p = dvec3(sign * ax, at.lower + 0.30, EYE_MM.z + 22.0);
                for _ in 0..80 {
                    p.z -= 0.7 * (distance_mm(side, p) - 0.02);
                }
                p
            })
            .collect();
        for (i, &c) in centres.iter().enumerate() {
            let t = i as f64 / STEPS as f64;
            let r = 0.26 * (4.0 * t * (1.0 - t)).max(0.0).powf(0.3).max(0.12);
            let before = centres[i.saturating_sub(1)];
            let after = centres[(i + 1).min(STEPS)];
            let tangent = (after - before).normalize() * sign;
            let out = gradient(side, c);
            let up = out.cross(tangent).normalize();
            let out = tangent.cross(up);
            for k in 0..AROUND {
                let phi = std::f64::consts::TAU * k as f64 / AROUND as f64;
                let n = out * phi.cos() + up * phi.sin();
                // Far from every gaze axis, so that no iris is looked for here.
                let uv = Vec2::new((100.0 + c.distance(centres[0])) as f32, (r * phi) as f32);
                mesh.vertex(body, c + n * r, n, uv);
            }
        }
        for i in 0..STEPS as u32 {
            for k in 0..AROUND as u32 {
                let at = |i: u32, k: u32| first + i * AROUND as u32 + k % AROUND as u32;
                let (a, b, c, d) = (at(i, k), at(i, k + 1), at(i + 1, k), at(i + 1, k + 1));
                // The tube runs along +tangent on the figure's left, against it on the right.
                if sign > 0.0 {
                    mesh.part.triangles.extend([[a, c, d], [a, d, b]]);
                } else {
                    mesh.part.triangles.extend([[a, d, c], [a, b, d]]);
                }
            }
        }
        for (end, flip) in [(0, sign < 0.0), (STEPS as u32, sign > 0.0)] {
            let ring = first + end * AROUND as u32;
            for k in 1..AROUND as u32 - 1 {
                let t = [ring, ring + k, ring + k + 1];
                mesh.part
                    .triangles
                    .push(if flip { [t[0], t[2], t[1]] } else { t });
            }
        }
    }
    mesh.part
}

struct Builder {
    part: Part,
}

impl Builder {
    fn new(name: &str, role: Role) -> Self {
        Self {
            part: Part {
                name: name.to_owned(),
                role,
                positions_m: Vec::new(),
                normals: Vec::new(),
                uvs_cm: Vec::new(),
                triangles: Vec::new(),
                paint: Vec::new(),
            },
        }
    }

    fn vertex(&mut self, body: &Body, p_mm: DVec3, n: DVec3, uv: Vec2) {
        let at = |p: DVec3| body.on_head(p) * 0.01;
        self.part.positions_m.push(at(p_mm).as_vec3());
        self.part
            .normals
            .push((at(p_mm + n) - at(p_mm)).normalize().as_vec3());
        self.part.uvs_cm.push(uv);
    }
}
