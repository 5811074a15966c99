//! Our side of the comparison with another renderer (tests/mitsuba/run.sh): builds small scenes,
//! writes them as files, and renders each on the processor from independent seeds.
//!
//! `cargo bench --bench side_by_side -- FOLDER [--small|--full]` leaves in FOLDER `scenes.json`, the
//! scenes' files, and for each picture its mean and the variance of that mean, `f32`, row by row,
//! three channels to a pixel. tests/mitsuba/compare.py judges them.

#[path = "export.rs"]
mod export;
#[path = "independent.rs"]
mod independent;

use export::export;
use glam::{DVec3, Vec2};
use independent::pictures;
use serde_json::{Value, json};
use std::error::Error;
use std::f64::consts::{PI, TAU};
use std::fs;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::time::Instant;
use swatchlight::optics::table::{Emission, Face, Pattern};
use swatchlight::render::bounce;
use swatchlight::render::cpu::Cpu;
use swatchlight::scene::Scene;
use swatchlight::scene::builder::{Axes, Lens, Mesh, Relief, SceneBuilder};
use swatchlight::scene::materials::Surface;
use swatchlight::scene::shapes::{rectangle, slab};

fn main() -> Result<(), Box<dyn Error>> {
    // Cargo hands benches a flag of its own.
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let Some(folder) = args.iter().find(|a| !a.starts_with("--")) else {
        return Err("usage: cargo bench --bench side_by_side -- FOLDER [--small|--full]".into());
    };
    let work = Work {
        folder: PathBuf::from(folder),
        size: if args.iter().any(|a| a == "--full") {
            FULL
        } else {
            SMALL
        },
        cpu: Cpu::new(0)?,
    };
    fs::create_dir_all(&work.folder)?;
    work.all()
}

/// How much work.
#[derive(Clone, Copy)]
struct Size {
    /// Pixels on a side; whole blocks of 8.
    pixels: u32,
    /// Independent pictures of each scene.
    seeds: u32,
    /// Samples to a pixel in each of them.
    samples: u32,
}

const SMALL: Size = Size {
    pixels: 40,
    seeds: 24,
    samples: 32,
};
const FULL: Size = Size {
    pixels: 80,
    seeds: 32,
    samples: 128,
};

struct Work {
    folder: PathBuf,
    size: Size,
    cpu: Cpu,
}

impl Work {
    fn all(mut self) -> Result<(), Box<dyn Error>> {
        let p = self.size.pixels;
        let mut scenes = Vec::new();
        let mut pictures = Vec::new();
        let same: [(&str, Scene); 7] = [
            ("panel", panel(p, 1.0)),
            ("penumbra", penumbra(p)),
            ("box", closed_box(p, 0.8)),
            ("gloss", coated(p, [0.0; 3], 0.15)),
            ("relief", relief(p)),
            ("lens", lens_globe_and_disk(p)),
            ("room", room(p)),
        ];
        for (name, mut scene) in same {
            scenes.push(json!({ "name": name, "scene": export(&scene, &[], &self.folder, name)? }));
            pictures.push(self.picture(
                name,
                &mut scene,
                json!({ "reference": name, "expect": "same" }),
            )?);
        }
        // The same room with the light that leaves its flats found beforehand, as stills have it.
        let mut cached = room(p);
        bounce::fill(&mut self.cpu, &mut cached, &AtomicBool::new(false), |_| ())?;
        let near = json!({ "reference": "room", "exact": "room", "expect": "near" });
        pictures.push(self.picture("room-cached", &mut cached, near)?);
        // Their coat loses some of the base's light, ours none: see compare.py.
        let mut coat = coated(p, [0.6, 0.3, 0.1], 0.03);
        scenes.push(json!({ "name": "coat", "scene": export(&coat, &[], &self.folder, "coat")? }));
        pictures.push(self.picture(
            "coat",
            &mut coat,
            json!({ "reference": "coat", "expect": "near" }),
        )?);
        // What must be told apart: one parameter is wrong by 2 %.
        let wrong = |reference: &str| json!({ "reference": reference, "expect": "different" });
        pictures.push(self.picture("panel-control", &mut panel(p, 1.02), wrong("panel"))?);
        pictures.push(self.picture("box-control", &mut closed_box(p, 0.8 / 1.02), wrong("box"))?);
        let all = json!({ "scenes": scenes, "pictures": pictures });
        fs::write(
            self.folder.join("scenes.json"),
            serde_json::to_string_pretty(&all)?,
        )?;
        Ok(())
    }

    /// Renders a scene and leaves its mean and the mean's variance.
    fn picture(
        &mut self,
        name: &str,
        scene: &mut Scene,
        mut entry: Value,
    ) -> Result<Value, Box<dyn Error>> {
        let Size {
            pixels,
            seeds,
            samples,
        } = self.size;
        let start = Instant::now();
        pictures(&mut self.cpu, scene, &[], seeds, samples)?.write(&self.folder, name)?;
        println!("{name}: {:.1} s", start.elapsed().as_secs_f64());
        entry["name"] = json!(name);
        entry["pixels"] = json!([pixels, pixels]);
        entry["seeds"] = json!(seeds);
        entry["samples"] = json!(samples);
        Ok(entry)
    }
}

// --- Scenes --------------------------------------------------------------------------------------

/// A panel lights a board, a sphere and the floor; `flux` lumens.
fn panel(pixels: u32, flux: f64) -> Scene {
    let mut b = SceneBuilder::new();
    add(
        &mut b,
        &rectangle(&up(DVec3::ZERO), [4.0; 2]),
        Surface::Diffuse([0.5, 0.4, 0.3]),
    );
    let board = facing(DVec3::new(-0.6, 0.5, -0.1), DVec3::new(1.0, 0.0, 0.5));
    add(
        &mut b,
        &rectangle(&board, [1.0; 2]),
        Surface::Diffuse([0.85, 0.85, 0.8]),
    );
    let ball = sphere(DVec3::new(0.2, 0.3, 0.1), 0.3, 96);
    add(&mut b, &ball, Surface::Diffuse([0.3, 0.5, 0.7]));
    let lamp = facing(DVec3::new(0.7, 1.6, 1.0), DVec3::new(-0.6, -1.3, -0.9));
    light(&mut b, RECT_60_40, lamp, flux);
    look(
        &mut b,
        DVec3::new(0.3, 1.0, 2.6),
        DVec3::new(0.0, 0.35, 0.0),
        0.6,
        pixels,
    );
    b.build()
}

/// A plate throws a shadow with a wide, soft edge.
fn penumbra(pixels: u32) -> Scene {
    let mut b = SceneBuilder::new();
    add(
        &mut b,
        &rectangle(&up(DVec3::ZERO), [4.0; 2]),
        Surface::Diffuse([0.6; 3]),
    );
    let plate = up(DVec3::new(0.1, 0.4, -0.1));
    add(
        &mut b,
        &rectangle(&plate, [0.5, 0.3]),
        Surface::Diffuse([0.2, 0.1, 0.05]),
    );
    let lamp = facing(DVec3::new(-0.3, 1.5, 0.0), DVec3::new(0.3, -1.5, 0.0));
    light(&mut b, Face::Disk { radius_m: 0.2 }, lamp, 1.0);
    look(
        &mut b,
        DVec3::new(0.3, 1.1, 1.5),
        DVec3::new(0.1, 0.1, 0.0),
        0.8,
        pixels,
    );
    b.build()
}

/// A closed box of white walls, one of them red, lit by a panel under its ceiling: at a reflectance
/// of 0.8 a quarter of the light is still going after six bounces.
fn closed_box(pixels: u32, white: f32) -> Scene {
    let mut b = SceneBuilder::new();
    let size = DVec3::new(2.0, 1.6, 2.0);
    for (i, wall) in walls(size).into_iter().enumerate() {
        let red = Surface::Diffuse([white, 0.3 * white, 0.2 * white]);
        let surface = if i == 2 {
            red
        } else {
            Surface::Diffuse([white; 3])
        };
        add(&mut b, &rectangle(&wall.0, wall.1), surface);
    }
    lamp_under_ceiling(&mut b, DVec3::new(0.2, size.y - 0.002, -0.1));
    look(
        &mut b,
        DVec3::new(0.1, 0.8, 0.95),
        DVec3::new(0.0, 0.75, -1.0),
        1.6,
        pixels,
    );
    b.build()
}

/// A sphere with a rough dielectric coat over a diffuse base, so near that none of it is seen at
/// more than 63 degrees, lit from beside the camera: compare.py says why.
fn coated(pixels: u32, base: [f32; 3], alpha: f32) -> Scene {
    let mut b = SceneBuilder::new();
    add(
        &mut b,
        &rectangle(&up(DVec3::ZERO), [4.0; 2]),
        Surface::Diffuse([0.4; 3]),
    );
    let coated = Surface::Coated {
        base,
        alpha,
        eta: 1.5,
    };
    add(&mut b, &sphere(DVec3::new(0.0, 0.4, 0.0), 0.4, 192), coated);
    let key = facing(DVec3::new(-0.5, 1.0, 1.6), DVec3::new(0.5, -0.6, -1.6));
    light(&mut b, RECT_60_40, key, 1.0);
    look(
        &mut b,
        DVec3::new(0.0, 0.7, 2.5),
        DVec3::new(0.0, 0.4, 0.0),
        0.2,
        pixels,
    );
    b.build()
}

/// A plane with a normal map that has no symmetry, in raking light.
fn relief(pixels: u32) -> Scene {
    let mut b = SceneBuilder::new();
    let (width, height) = (16, 12);
    let normals = (0..width * height)
        .map(|i| {
            let (u, v) = (
                f64::from(i % width) / f64::from(width),
                f64::from(i / width) / f64::from(height),
            );
            let slope_x = 0.25 * (TAU * u).sin() + 0.1 * (2.0 * TAU * (u + v)).cos();
            let slope_y = 0.15 * (TAU * v).cos() - 0.2 * (2.0 * TAU * u).sin() * (TAU * v).sin();
            DVec3::new(-slope_x, -slope_y, 1.0)
                .normalize()
                .as_vec3()
                .to_array()
        })
        .collect();
    let map = Relief {
        width,
        height,
        texel_cm: 4.0,
        normals,
    };
    let surface = b.surface_with_relief(Surface::Diffuse([0.7, 0.6, 0.5]), &map);
    b.mesh(&rectangle(&up(DVec3::ZERO), [1.6; 2]), surface);
    let lamp = facing(DVec3::new(1.2, 0.6, 0.5), DVec3::new(-1.2, -0.6, -0.5));
    light(&mut b, RECT_60_40, lamp, 1.0);
    look(&mut b, DVec3::new(0.0, 1.6, 1.1), DVec3::ZERO, 0.8, pixels);
    b.build()
}

/// Plates before and behind the plane of focus, lit by a globe and a disk.
fn lens_globe_and_disk(pixels: u32) -> Scene {
    let mut b = SceneBuilder::new();
    add(
        &mut b,
        &rectangle(&up(DVec3::ZERO), [6.0; 2]),
        Surface::Diffuse([0.4; 3]),
    );
    for (at, z, colour) in [
        (DVec3::new(-0.4, 0.3, 0.6), DVec3::Z, [0.7, 0.2, 0.2]),
        (
            DVec3::new(0.0, 0.3, 0.0),
            DVec3::new(0.3, 0.0, 1.0),
            [0.2, 0.7, 0.2],
        ),
        (DVec3::new(0.5, 0.3, -0.9), DVec3::Z, [0.2, 0.2, 0.7]),
    ] {
        add(
            &mut b,
            &rectangle(&facing(at, z), [0.35, 0.6]),
            Surface::Diffuse(colour),
        );
    }
    light(
        &mut b,
        Face::Globe { radius_m: 0.12 },
        up(DVec3::new(-0.3, 1.6, 0.6)),
        1.0,
    );
    let disk = facing(DVec3::new(1.2, 1.2, 1.0), DVec3::new(-1.1, -0.9, -1.2));
    light(&mut b, Face::Disk { radius_m: 0.15 }, disk, 0.5);
    let mut lens = eye(
        DVec3::new(0.0, 0.9, 2.6),
        DVec3::new(0.0, 0.4, 0.0),
        0.75,
        pixels,
    );
    lens.radius_m = 0.05;
    lens.focus_distance_m = 2.6;
    b.lens(&lens);
    b.build()
}

/// A closed room with a board and a block; its flats are in cells, as a setup's are.
fn room(pixels: u32) -> Scene {
    let mut b = SceneBuilder::new();
    let size = DVec3::new(4.0, 2.6, 3.6);
    let reflectances = [0.25, 0.8, 0.6, 0.6, 0.5, 0.6];
    for ((frame, sides), reflectance) in walls(size).into_iter().zip(reflectances) {
        flat(
            &mut b,
            &frame,
            sides,
            [reflectance, reflectance, 0.9 * reflectance],
            0.14,
        );
    }
    let board = facing(DVec3::new(-1.0, 0.9, 0.2), DVec3::new(1.0, 0.0, 0.3));
    flat(&mut b, &board, [1.0, 1.6], [0.88; 3], 0.07);
    let block = up(DVec3::new(0.2, 0.0, -0.3));
    let (top, sides) = slab(&block, [0.5, 0.6], 0.9, 0.9);
    add(&mut b, &top, Surface::Diffuse([0.5, 0.4, 0.3]));
    add(&mut b, &sides, Surface::Diffuse([0.5, 0.4, 0.3]));
    let lamp = facing(DVec3::new(1.2, 2.0, 0.8), DVec3::new(-1.0, -1.3, -1.1));
    light(&mut b, RECT_60_40, lamp, 1.0);
    let behind = Axes {
        origin_m: lamp.origin_m - lamp.z * 0.001,
        ..lamp
    };
    add(
        &mut b,
        &rectangle(&behind, [0.6, 0.4]),
        Surface::Diffuse([0.0; 3]),
    );
    look(
        &mut b,
        DVec3::new(0.3, 1.3, 1.7),
        DVec3::new(-0.1, 0.8, -0.4),
        1.3,
        pixels,
    );
    b.build()
}

// --- Parts ---------------------------------------------------------------------------------------

const RECT_60_40: Face = Face::Rect {
    half_x_m: 0.3,
    half_y_m: 0.2,
};

fn up(origin_m: DVec3) -> Axes {
    facing(origin_m, DVec3::Y)
}

fn facing(origin_m: DVec3, toward: DVec3) -> Axes {
    Axes::facing(origin_m, toward.normalize(), 0.0)
}

fn add(b: &mut SceneBuilder, mesh: &Mesh, surface: Surface) {
    let number = b.surface(surface);
    b.mesh(mesh, number);
}

fn flat(b: &mut SceneBuilder, frame: &Axes, size_m: [f64; 2], reflectance: [f32; 3], cell_m: f64) {
    b.flat(&rectangle(frame, size_m), reflectance, cell_m, |uv_cm| {
        let at = frame.point_in_room(0.01 * f64::from(uv_cm.x), 0.01 * f64::from(uv_cm.y), 0.0);
        (at.as_vec3(), frame.z.as_vec3())
    });
}

/// A Lambertian face of `flux` lumens, in a layer of its own.
fn light(b: &mut SceneBuilder, face: Face, at: Axes, flux: f64) {
    let layer = b.layer("light");
    let pattern = Pattern::Uniform(flux / (PI * face.area_m2()));
    b.emitter(
        &Emission {
            face,
            pattern,
            screen: None,
        },
        at,
        layer,
    );
}

/// A panel of one lumen that looks down, its back covered so that nothing passes it from behind.
fn lamp_under_ceiling(b: &mut SceneBuilder, at: DVec3) {
    let lamp = facing(at, DVec3::NEG_Y);
    light(
        b,
        Face::Rect {
            half_x_m: 0.2,
            half_y_m: 0.2,
        },
        lamp,
        1.0,
    );
    let behind = Axes {
        origin_m: at + DVec3::Y * 0.001,
        ..lamp
    };
    add(b, &rectangle(&behind, [0.4; 2]), Surface::Diffuse([0.0; 3]));
}

/// Floor, ceiling, left, right, back and front of a closed room on the floor, with their sides.
fn walls(size: DVec3) -> [(Axes, [f64; 2]); 6] {
    let (x, z, h) = (0.5 * size.x, 0.5 * size.z, size.y);
    let at = |x: f64, y: f64, z: f64, toward: DVec3| facing(DVec3::new(x, y, z), toward);
    [
        (at(0.0, 0.0, 0.0, DVec3::Y), [size.x, size.z]),
        (at(0.0, h, 0.0, DVec3::NEG_Y), [size.x, size.z]),
        (at(-x, 0.5 * h, 0.0, DVec3::X), [size.z, h]),
        (at(x, 0.5 * h, 0.0, DVec3::NEG_X), [size.z, h]),
        (at(0.0, 0.5 * h, -z, DVec3::Z), [size.x, h]),
        (at(0.0, 0.5 * h, z, DVec3::NEG_Z), [size.x, h]),
    ]
}

fn look(b: &mut SceneBuilder, from: DVec3, to: DVec3, field: f64, pixels: u32) {
    b.lens(&eye(from, to, field, pixels));
}

/// An upright pinhole camera whose picture spans `field`, a share of the distance.
fn eye(from: DVec3, to: DVec3, field: f64, pixels: u32) -> Lens {
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
        picture_m: [field; 2],
        shift_m: [0.0; 2],
        pixels: [pixels; 2],
    }
}

/// A sphere of `n` rings with the true sphere's normals.
fn sphere(centre_m: DVec3, radius_m: f64, n: u32) -> Mesh {
    let mut mesh = Mesh::default();
    let around = 2 * n;
    for ring in 0..=n {
        for step in 0..=around {
            let (st, ct) = (PI * f64::from(ring) / f64::from(n)).sin_cos();
            let (sp, cp) = (TAU * f64::from(step) / f64::from(around)).sin_cos();
            let normal = DVec3::new(st * sp, ct, st * cp);
            mesh.positions_m
                .push((centre_m + normal * radius_m).as_vec3());
            mesh.normals.push(normal.as_vec3());
            mesh.uvs_cm.push(Vec2::ZERO);
        }
    }
    for ring in 0..n {
        for step in 0..around {
            let a = ring * (around + 1) + step;
            let (b, c, d) = (a + 1, a + around + 1, a + around + 2);
            // At a pole one of the two has no area.
            if ring > 0 {
                mesh.triangles.push([a, c, b]);
            }
            if ring + 1 < n {
                mesh.triangles.push([b, c, d]);
            }
        }
    }
    mesh
}
