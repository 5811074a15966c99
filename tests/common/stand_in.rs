//! Small shapes of skin, hair and eyes, and even light about them.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use glam::{DVec3, Vec2, Vec3};
use swatchlight::optics::table::{Emission, Face};
use swatchlight::scene::builder::{Axes, Lens, Mesh, SceneBuilder};

/// A smooth ball of latitudes and longitudes, `n` from pole to pole.
pub fn ball(centre_m: DVec3, radius_m: f64, n: u32) -> Mesh {
    round(centre_m, n, |d| (d * radius_m, d))
}

/// An eyeball about a point that looks along +z: a globe of 12.3 mm with a cornea of 7.9 mm about
/// a point 5.4 mm ahead, times `scale`.
pub fn eyeball(centre_m: DVec3, scale: f64, n: u32) -> Mesh {
    const GLOBE_MM: f64 = 12.3;
    const CORNEA_MM: f64 = 7.9;
    const AHEAD_MM: f64 = 5.4;
    round(centre_m, n, |d| {
        // Along d: |t d - c| = 7.9.
        let b = d.z * AHEAD_MM;
        let inside = b * b - AHEAD_MM * AHEAD_MM + CORNEA_MM * CORNEA_MM;
        let t = if inside > 0.0 { b + inside.sqrt() } else { 0.0 };
        if t > GLOBE_MM {
            let at = d * t;
            let normal = (at - DVec3::Z * AHEAD_MM) / CORNEA_MM;
            (at * (0.001 * scale), normal)
        } else {
            (d * (0.001 * scale * GLOBE_MM), d)
        }
    })
}

/// A surface about a point from place and normal in every direction; its poles lie along z.
fn round(centre_m: DVec3, n: u32, of: impl Fn(DVec3) -> (DVec3, DVec3)) -> Mesh {
    let mut mesh = Mesh::default();
    for i in 0..=n {
        for j in 0..=2 * n {
            let (st, ct) = (f64::from(i) / f64::from(n) * std::f64::consts::PI).sin_cos();
            let (sp, cp) = (f64::from(j) / f64::from(n) * std::f64::consts::PI).sin_cos();
            let (at, normal) = of(DVec3::new(st * cp, st * sp, ct));
            mesh.positions_m.push((centre_m + at).as_vec3());
            mesh.normals.push(normal.as_vec3());
            mesh.uvs_cm.push(Vec2::ZERO);
        }
    }
    let row = 2 * n + 1;
    for a in (0..n).flat_map(|i| (0..2 * n).map(move |j| i * row + j)) {
        mesh.triangles.push([a, a + row, a + 1]);
        mesh.triangles.push([a + 1, a + row, a + row + 1]);
    }
    mesh
}

/// A ribbon along points, each with the direction it faces: two triangles a segment, cloth coordinates along
/// it in cm and across it 0 to 1.
pub fn ribbon(mesh: &mut Mesh, line: &[(DVec3, DVec3)], width_m: f64) {
    let first = mesh.positions_m.len() as u32;
    let mut along_cm = 0.0;
    for (i, (at, normal)) in line.iter().enumerate() {
        let before = line[i.saturating_sub(1)].0;
        let after = line[(i + 1).min(line.len() - 1)].0;
        let across = normal.cross(after - before).normalize();
        for v in [0.0, 1.0] {
            let place = *at + across * (width_m * (v - 0.5));
            mesh.positions_m.push(place.as_vec3());
            mesh.normals.push(normal.as_vec3());
            mesh.uvs_cm.push(Vec2::new(along_cm as f32, v as f32));
        }
        if let Some((next, _)) = line.get(i + 1) {
            along_cm += 100.0 * at.distance(*next);
        }
    }
    for i in 0..line.len() as u32 - 1 {
        let a = first + 2 * i;
        mesh.triangles.push([a, a + 2, a + 1]);
        mesh.triangles.push([a + 1, a + 2, a + 3]);
    }
}

/// Numbers in 0..1: splitmix64 (Steele, Lea and Flood 2014).
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Even over the sphere.
    pub fn direction(&mut self) -> DVec3 {
        let z = 2.0 * self.next() - 1.0;
        let (s, c) = (std::f64::consts::TAU * self.next()).sin_cos();
        let r = (1.0 - z * z).sqrt();
        DVec3::new(r * c, r * s, z)
    }

    /// Cosine-distributed about a unit normal.
    pub fn about(&mut self, normal: DVec3) -> DVec3 {
        (normal + self.direction() * 0.999_999).normalize()
    }
}

/// A coarse parting of hair over a cap of a ball: ribbons from the pole down its sides.
pub fn mop(radius_m: f64, strands: u32, width_m: f64) -> (Mesh, Vec<Vec3>) {
    let mut mesh = Mesh::default();
    let mut random = Random(5);
    let mut tints = Vec::new();
    for _ in 0..strands {
        let around = std::f64::consts::TAU * random.next();
        let start = 0.15 * random.next();
        let lift = 1.0 + 0.06 * random.next().powf(0.4);
        let (wave, phase) = (0.03 * random.next(), 6.0 * random.next());
        let roll = 0.9 * (random.next() - 0.5);
        let tone = 0.8 + 0.4 * random.next();
        let line: Vec<(DVec3, DVec3)> = (0..40)
            .map(|i| {
                let t = start + 2.2 * f64::from(i) / 39.0;
                let a = around + wave * (9.0 * t + phase).sin();
                let at = |t: f64, a: f64| {
                    DVec3::new(t.sin() * a.cos(), t.cos(), t.sin() * a.sin()) * radius_m * lift
                };
                let out = at(t, a).normalize();
                let side = (at(t, a + 1e-3) - at(t, a)).normalize_or(DVec3::X);
                (at(t, a), (out + side * roll).normalize())
            })
            .collect();
        ribbon(&mut mesh, &line, width_m);
        tints.resize(mesh.positions_m.len(), Vec3::splat(tone as f32));
    }
    (mesh, tints)
}

/// A pinhole at a point that aims at another, upright, its square picture `across_m` wide there.
pub fn upright(from: DVec3, to: DVec3, across_m: f64, pixels: u32) -> Lens {
    let forward = (to - from).normalize();
    let right = forward.cross(DVec3::Y).normalize();
    Lens {
        centre_m: from,
        right,
        up: right.cross(forward),
        forward,
        image_distance_m: 1.0,
        focus_distance_m: 1.0,
        radius_m: 0.0,
        picture_m: [across_m / (to - from).length(); 2],
        shift_m: [0.0; 2],
        pixels: [pixels; 2],
    }
}

/// Six faces of two metres that look at each other about the origin: everything between them is lit evenly, by
/// lights rather than by the surround. Their luminance.
pub fn light_box(b: &mut SceneBuilder) -> f64 {
    let layer = b.layer("box");
    let face = Face::Rect {
        half_x_m: 1.0,
        half_y_m: 1.0,
    };
    for z in [DVec3::X, DVec3::Y, DVec3::Z] {
        for side in [-1.0, 1.0] {
            let x = z.any_orthonormal_vector();
            let axes = Axes {
                origin_m: z * side,
                x,
                y: (z * -side).cross(x),
                z: z * -side,
            };
            b.emitter(&Emission::lambertian(face), axes, layer);
        }
    }
    // One lumen leaves four square metres.
    1.0 / (4.0 * std::f64::consts::PI)
}
