//! The executors agree: the same scene and samples give the same light on the processor, on a GPU,
//! and over a platform that tries every triangle for every ray.
//!
//! What may differ: a GPU's driver may fuse multiplications and additions and divides to 2.5 units
//! in the last place (Vulkan specification, "Precision of Core Instructions"), so a path's numbers
//! part by some 1e-7 a step. That moves light by as little, except where a comparison stands on the
//! edge (a silhouette, roulette, the choice of a candidate): there the two sides follow different,
//! equally right paths. So all pixels but a few must agree closely, and the few must be few.

#[path = "common/reference.rs"]
mod reference;
#[path = "common/stand_in.rs"]
mod stand_in;

use glam::{DVec3, Vec2, Vec3};
use reference::Reference;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use swatchlight::fabric::Fabric;
use swatchlight::figure::swatch;
use swatchlight::optics::grid::Cell;
use swatchlight::optics::plain::{self, GridCells};
use swatchlight::optics::table::{Emission, Face};
use swatchlight::render::cpu::Cpu;
use swatchlight::render::executor::{Executor, Passes};
use swatchlight::render::film::Film;
use swatchlight::render::gpu::{Choice, Gpu};
use swatchlight::scene::Scene;
use swatchlight::scene::builder::{Axes, Lens, Mesh, Relief, SceneBuilder};
use swatchlight::scene::cloth::Dye;
use swatchlight::scene::finish::{Eye, Hair, Painted, Skin};
use swatchlight::scene::materials::Surface;
use swatchlight::scene::needs::Needs;
use swatchlight::scene::shapes;
use swatchlight::setup::Lay;

const WIDTH: u32 = 48;
const HEIGHT: u32 = 64;
static GO: AtomicBool = AtomicBool::new(false);

/// Any adapter, lavapipe included. Without one the tests fail, unless told to let it pass.
fn gpu() -> Option<Gpu> {
    match Gpu::open(Choice::Any) {
        Ok(gpu) => Some(gpu),
        Err(_) if std::env::var_os("SWATCHLIGHT_SKIP_GPU_TESTS").is_some() => None,
        Err(e) => {
            panic!("{e}: install a driver (lavapipe will do), or set SWATCHLIGHT_SKIP_GPU_TESTS=1")
        }
    }
}

fn cpu(threads: usize) -> Cpu {
    Cpu::new(threads).unwrap()
}

// --- Scenes ---------------------------------------------------------------------------------------

fn facing(origin_m: DVec3, z: DVec3) -> Axes {
    let z = z.normalize();
    let x = z.any_orthonormal_vector();
    Axes {
        origin_m,
        x,
        y: z.cross(x),
        z,
    }
}

/// From the front, 2 m off, a little above; radius of the lens in metres.
fn camera(radius_m: f64) -> Lens {
    let (centre_m, aim) = (DVec3::new(0.1, 0.9, 2.0), DVec3::new(0.0, 0.35, 0.0));
    let forward = (aim - centre_m).normalize();
    let right = forward.cross(DVec3::Y).normalize();
    Lens {
        centre_m,
        right,
        up: right.cross(forward),
        forward,
        image_distance_m: 0.05,
        focus_distance_m: (aim - centre_m).length(),
        radius_m,
        picture_m: [0.024, 0.032],
        shift_m: [0.001, -0.002],
        pixels: [WIDTH, HEIGHT],
    }
}

/// A smooth sphere of latitudes and longitudes.
fn sphere(centre: Vec3, radius: f32, n: u32) -> Mesh {
    let mut mesh = Mesh::default();
    for i in 0..=n {
        for j in 0..=2 * n {
            let (theta, phi) = (i as f32 / n as f32, j as f32 / n as f32);
            let (s, c) = (std::f32::consts::PI * theta).sin_cos();
            let (sp, cp) = (std::f32::consts::PI * phi).sin_cos();
            let d = Vec3::new(s * cp, c, s * sp);
            mesh.positions_m.push(centre + radius * d);
            mesh.normals.push(d);
            mesh.uvs_cm.push(100.0 * radius * Vec2::new(phi, theta));
        }
    }
    let row = 2 * n + 1;
    for a in (0..n).flat_map(|i| (0..2 * n).map(move |j| i * row + j)) {
        mesh.triangles.push([a, a + 1, a + row]);
        mesh.triangles.push([a + 1, a + row + 1, a + row]);
    }
    mesh
}

/// A floor, a white board to the right, and a meter of each kind; the rest is the caller's.
fn stage(surface: Surface, emission: &Emission, lens: &Lens) -> SceneBuilder {
    let mut b = SceneBuilder::new();
    let grey = b.surface(Surface::Diffuse([0.4, 0.35, 0.3]));
    let white = b.surface(Surface::Diffuse([0.85; 3]));
    b.mesh(
        &shapes::rectangle(&facing(DVec3::ZERO, DVec3::Y), [3.0, 3.0]),
        grey,
    );
    b.mesh(
        &shapes::rectangle(
            &facing(DVec3::new(0.8, 0.5, 0.0), DVec3::new(-1.0, 0.0, 0.3)),
            [1.0, 1.0],
        ),
        white,
    );
    let subject = b.surface(surface);
    b.mesh(&sphere(Vec3::new(0.0, 0.35, 0.0), 0.35, 16), subject);
    let key = b.layer("key");
    b.emitter(
        emission,
        facing(DVec3::new(-0.9, 1.4, 0.9), DVec3::new(0.9, -1.1, -0.9)),
        key,
    );
    b.receptor(DVec3::new(0.0, 0.75, 0.1), DVec3::Z, false);
    b.receptor(DVec3::new(-0.3, 0.6, 0.4), DVec3::new(0.2, 0.3, 1.0), true);
    b.lens(lens);
    b
}

fn scenes() -> Vec<(&'static str, Scene)> {
    let plain_grey = Surface::Diffuse([0.5, 0.4, 0.6]);
    let panel_face = Face::Rect {
        half_x_m: 0.3,
        half_y_m: 0.45,
    };
    let panel = Emission::lambertian(panel_face);
    let globe = Emission::lambertian(Face::Globe { radius_m: 0.12 });
    let tube = Emission::lambertian(Face::Tube {
        half_length_m: 0.4,
        radius_m: 0.02,
    });
    let spot = plain::spot(0.1, 0.5, 0.9, None);
    let grid = GridCells {
        cell: Cell::Square,
        cell_m: 0.02,
        depth_m: 0.03,
        open_fraction: 0.9,
    };
    let gridded = plain::lambertian(panel_face, Some(grid));
    let pinhole = camera(0.0);
    let made = |surface, emission| stage(surface, emission, &pinhole).build();
    let coat = Surface::Coated {
        base: [0.6, 0.2, 0.1],
        alpha: 0.15,
        eta: 1.5,
    };
    let metal = Surface::Metal {
        facing: [0.9, 0.7, 0.4],
        alpha: 0.25,
    };
    let sheen = Surface::Sheen {
        base: [0.1, 0.1, 0.2],
        sheen: [0.3; 3],
        alpha: 0.3,
    };
    let sheet = Surface::Sheet {
        back: [0.4; 3],
        through: [0.3; 3],
        straight: 0.2,
    };
    vec![
        ("panel", made(plain_grey, &panel)),
        ("globe", made(plain_grey, &globe)),
        ("tube", made(plain_grey, &tube)),
        ("spot", made(plain_grey, &spot)),
        ("grid", made(plain_grey, &gridded)),
        ("coat", made(coat, &panel)),
        ("metal", made(metal, &panel)),
        ("sheen", made(sheen, &panel)),
        ("sheet", {
            let mut b = stage(plain_grey, &panel, &pinhole);
            let veil = b.surface(sheet);
            b.mesh(
                &shapes::rectangle(
                    &facing(DVec3::new(-0.3, 0.7, 0.6), DVec3::new(0.9, -0.9, -0.9)),
                    [0.5, 0.5],
                ),
                veil,
            );
            b.build()
        }),
        ("relief", {
            let mut b = stage(plain_grey, &panel, &pinhole);
            let normals = (0..64)
                .map(|i| {
                    Vec3::new(0.3 * (i as f32).sin(), 0.3 * (1.7 * i as f32).cos(), 1.0)
                        .normalize()
                        .to_array()
                })
                .collect();
            let relief = Relief {
                width: 8,
                height: 8,
                texel_cm: 1.0,
                normals,
            };
            let cloth = b.surface_with_relief(plain_grey, &relief);
            b.mesh(
                &shapes::rectangle(&facing(DVec3::new(-0.4, 0.4, 0.3), DVec3::Z), [0.4, 0.6]),
                cloth,
            );
            b.build()
        }),
        ("lens", stage(plain_grey, &panel, &camera(0.03)).build()),
        ("two lights and the open", {
            let mut b = stage(coat, &spot, &pinhole);
            let rim = b.layer("rim");
            b.emitter(
                &tube,
                facing(DVec3::new(0.7, 1.0, -0.5), DVec3::new(-0.7, -0.5, 0.5)),
                rim,
            );
            let open = b.layer("open");
            b.surround([0.02, 0.03, 0.05], open);
            let mut scene = b.build();
            scene.set_mix(&[[1000.0, 900.0, 800.0], [500.0; 3], [1.0; 3]]);
            scene
        }),
    ]
}

/// Two centimetres of a shipped fabric under a slanting panel and a tube.
fn swatch_of(name: &str) -> Scene {
    let path = format!("{}/models/fabrics/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    let fabric = Fabric::parse(&text, &|_| Err("no file beside it".into())).unwrap();
    let mut b = SceneBuilder::new();
    let cloth = b.cloth(&fabric, Dye::Own).unwrap();
    for part in &swatch::patch(0.05, 0.05, Lay::Draped).parts {
        b.mesh(
            &shapes::placed(
                &part.positions_m,
                &part.normals,
                &part.uvs_cm,
                &part.triangles,
                |v| v,
                |v| v,
            ),
            cloth,
        );
    }
    let card = b.surface(Surface::Diffuse([0.3; 3]));
    b.mesh(
        &shapes::rectangle(&facing(DVec3::new(0.0, 0.0, -0.01), DVec3::Z), [0.3, 0.3]),
        card,
    );
    let panel = Emission::lambertian(Face::Rect {
        half_x_m: 0.3,
        half_y_m: 0.45,
    });
    let key = b.layer("key");
    let at = DVec3::new(-1.2, 0.5, 0.5);
    b.emitter(&panel, facing(at, -at), key);
    b.lens(&Lens {
        centre_m: DVec3::new(0.03, 0.02, 0.2),
        right: DVec3::X,
        up: DVec3::Y,
        forward: DVec3::NEG_Z,
        image_distance_m: 1.0,
        focus_distance_m: 0.2,
        radius_m: 0.0,
        picture_m: [0.1, 0.1 * f64::from(HEIGHT) / f64::from(WIDTH)],
        shift_m: [-0.15, -0.1],
        pixels: [WIDTH, HEIGHT],
    });
    b.build()
}

/// Every structure of cloth, thread by thread, is the same on both. Where two threads meet, the last bits
/// decide which is on top, and on the steep flanks of a knit they move the slope: more samples part, and
/// further, than on plain surfaces (a data-centre GPU: ribs 2.5e-4 and .008, all others less).
#[test]
fn cloth_is_the_same_on_both() {
    let Some(mut gpu) = gpu() else { return };
    let mut cpu = cpu(0);
    let mut swatches = [
        "linen-slub",
        "denim",
        "wool-flannel",
        "silk-satin",
        "chiffon",
        "single-jersey",
        "rib-two-two",
        "tulle",
        "floral-lace",
        "velvet",
        "corduroy",
        "leather",
        "sequins",
    ]
    .map(|name| (name, swatch_of(name)));
    // One kernel for all of them: a software driver takes most of a minute for each.
    let all = swatches.iter().fold(Needs::default(), |all, (_, scene)| {
        all.with(Needs::of(scene))
    });
    for (name, scene) in &mut swatches {
        scene.least_needs = all;
        let a = render(&mut cpu, scene, &[4, 4]);
        let b = render(&mut gpu, scene, &[4, 4]);
        assert_eq!((a.refused, b.refused), (0, 0), "{name}: light was refused");
        let light = |f: &Film| f.light.iter().flatten().copied().collect::<Vec<f32>>();
        let found = agreement(&light(&a), &light(&b));
        println!(
            "{name}: rms {:.1e}, apart {:.4}, means {:+.1e}",
            found.rms, found.apart, found.means
        );
        assert!(found.rms < 4e-4, "{name}: rms {}", found.rms);
        // Lace is read from its motifs' tiles by whole cells, and every cord's edge is one.
        let most = if *name == "floral-lace" { 0.12 } else { 0.05 };
        assert!(found.apart < most, "{name}: {} apart", found.apart);
        assert!(found.means.abs() < 0.005, "{name}: means {}", found.means);
    }
}

/// The stand-in's surfaces: skin from afar and so near that its relief shows, paint, an eye, hair.
fn stand_ins() -> Vec<(&'static str, Scene)> {
    let panel = Emission::lambertian(Face::Rect {
        half_x_m: 0.3,
        half_y_m: 0.45,
    });
    let skin = Surface::Skin(Skin::default());
    let close = Lens {
        centre_m: DVec3::new(-0.15, 0.5, 0.45),
        focus_distance_m: 0.1,
        ..camera(0.0)
    };
    let eye = Eye {
        centre_m: [0.0, 0.35, 0.0],
        scale: 0.35 / 0.0123,
        ..Eye::default()
    };
    vec![
        ("skin", stage(skin, &panel, &camera(0.0)).build()),
        ("skin, close", stage(skin, &panel, &close).build()),
        (
            "eye",
            stage(Surface::Eye(eye), &panel, &camera(0.0)).build(),
        ),
        ("hair and paint", {
            let painted = Surface::Painted(Painted::default());
            let mut b = stage(painted, &panel, &camera(0.0));
            let hair = b.surface(Surface::Hair(Hair {
                fibres: 3.0,
                ..Hair::default()
            }));
            let (mut mesh, tints) = stand_in::mop(0.4, 300, 0.012);
            for p in &mut mesh.positions_m {
                p.y += 0.35;
            }
            let tints: Vec<[f32; 4]> = tints
                .iter()
                .map(|t| [0.2 * t.x, 0.12 * t.y, 0.06 * t.z, 0.0])
                .collect();
            b.mesh_painted(&mesh, hair, &tints);
            b.build()
        }),
    ]
}

/// Skin's relief is finer than its place is known in f32 (some 1e-4 mm), and a hair's lobes are narrow: more samples
/// part than on plain surfaces, all of them a little. From hair to hair a path hangs on the last bit of every choice, so
/// what a pixel there has parts most; means over more samples meet (a quarter of the
/// samples brought three times the difference).
#[test]
fn the_stand_in_is_the_same_on_both() {
    let Some(mut gpu) = gpu() else { return };
    let mut cpu = cpu(0);
    for (name, scene) in stand_ins() {
        let (passes, rms, apart) = match name.starts_with("hair") {
            true => ([16, 16], 5e-4, 0.2),
            false => ([4, 4], 3e-4, 0.03),
        };
        let a = render(&mut cpu, &scene, &passes);
        let b = render(&mut gpu, &scene, &passes);
        assert_eq!((a.refused, b.refused), (0, 0), "{name}: light was refused");
        let light = |f: &Film| f.light.iter().flatten().copied().collect::<Vec<f32>>();
        let found = agreement(&light(&a), &light(&b));
        println!(
            "{name}: rms {:.1e}, apart {:.4}, means {:+.1e}",
            found.rms, found.apart, found.means
        );
        assert!(found.rms < rms, "{name}: rms {}", found.rms);
        assert!(found.apart < apart, "{name}: {} apart", found.apart);
        assert!(found.means.abs() < 0.005, "{name}: means {}", found.means);
    }
}

fn film(scene: &Scene) -> Film {
    Film::new(WIDTH, 0, HEIGHT, scene.layers.len() as u32)
}

fn render(executor: &mut dyn Executor, scene: &Scene, passes: &[u32]) -> Film {
    let mut film = film(scene);
    for count in passes {
        let first = film.samples();
        executor
            .render(scene, &mut film, Passes::one(first, *count), &GO)
            .unwrap();
    }
    film
}

// --- Agreement ------------------------------------------------------------------------------------

/// Root mean square of the difference over the close values, relative to the mean of all; and the
/// share of values that part by more than a thousandth of themselves and of the mean.
struct Agreement {
    rms: f64,
    apart: f64,
    means: f64,
}

fn agreement(a: &[f32], b: &[f32]) -> Agreement {
    assert_eq!(a.len(), b.len());
    let n = a.len() as f64;
    let mean = |v: &[f32]| v.iter().map(|x| f64::from(*x)).sum::<f64>() / n;
    let (mean_a, mean_b) = (mean(a), mean(b));
    let (mut squares, mut apart) = (0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        assert!(x.is_finite() && y.is_finite());
        let (x, y) = (f64::from(*x), f64::from(*y));
        if (x - y).abs() > 1e-3 * (mean_a.abs() + x.abs()) {
            apart += 1.0;
        } else {
            squares += (x - y).powi(2);
        }
    }
    let scale = mean_a.abs().max(1e-30);
    Agreement {
        rms: (squares / n).sqrt() / scale,
        apart: apart / n,
        means: (mean_b - mean_a) / scale,
    }
}

/// Films agree: close values within 1e-4 of the mean, at most 1 % of pixels on other paths, whole
/// layers within 0.3 % (what the few other paths, each as right, can bring).
fn assert_alike(name: &str, a: &Film, b: &Film) {
    assert_eq!((a.width, a.rows, a.layers), (b.width, b.rows, b.layers));
    assert_eq!(a.row_samples, b.row_samples);
    assert_eq!(a.row_passes, b.row_passes);
    assert_eq!((a.refused, b.refused), (0, 0), "{name}: light was refused");
    let layers = a.layers as usize;
    let check = |what: String, x: Vec<f32>, y: Vec<f32>| {
        let found = agreement(&x, &y);
        println!(
            "{name}, {what}: rms {:.1e}, apart {:.4}, means {:+.1e}",
            found.rms, found.apart, found.means
        );
        assert!(found.rms < 1e-4, "{name}, {what}: rms {}", found.rms);
        assert!(found.apart < 0.01, "{name}, {what}: {} apart", found.apart);
        assert!(
            found.means.abs() < 0.003,
            "{name}, {what}: means {}",
            found.means
        );
    };
    for layer in 0..layers {
        let of = |f: &Film| {
            f.light
                .iter()
                .skip(layer)
                .step_by(layers)
                .map(|l| l[0] + l[1] + l[2])
                .collect::<Vec<_>>()
        };
        assert!(
            of(a).iter().any(|v| *v > 0.0),
            "{name}: layer {layer} is dark"
        );
        check(format!("layer {layer}"), of(a), of(b));
    }
    let albedo = |f: &Film| f.seen.iter().map(|s| s.albedo.iter().sum()).collect();
    check("albedo".into(), albedo(a), albedo(b));
    let depth = |f: &Film| f.seen.iter().map(|s| s.depth_m).collect();
    check("depth".into(), depth(a), depth(b));
    let normal = |f: &Film| {
        f.seen
            .iter()
            .map(|s| s.normal[0] + 2.0 * s.normal[1] + 4.0 * s.normal[2])
            .collect()
    };
    check("normal".into(), normal(a), normal(b));
    let met = |f: &Film| f.seen.iter().map(|s| s.met).collect();
    check("met".into(), met(a), met(b));
    let spread = |f: &Film| f.spread.iter().map(|s| s.sum).collect();
    check("mix".into(), spread(a), spread(b));
    let second = |f: &Film| f.spread.iter().map(|s| s.second).collect();
    check("second net".into(), second(a), second(b));
}

#[test]
fn gpu_renders_what_the_processor_does() {
    let Some(mut gpu) = gpu() else { return };
    let mut cpu = cpu(0);
    for (name, scene) in scenes() {
        let passes = [2, 4, 2];
        let (before_cpu, before_gpu) = (cpu.rays().unwrap(), gpu.rays().unwrap());
        let (a, b) = (
            render(&mut cpu, &scene, &passes),
            render(&mut gpu, &scene, &passes),
        );
        assert_alike(name, &a, &b);
        let (of_cpu, of_gpu) = (
            cpu.rays().unwrap() - before_cpu,
            gpu.rays().unwrap() - before_gpu,
        );
        assert!(
            of_cpu.abs_diff(of_gpu) <= of_cpu / 1000,
            "{name}: {of_cpu} rays on the processor, {of_gpu} on the GPU"
        );
    }
}

#[test]
fn gpu_reads_what_the_processor_does() {
    let Some(mut gpu) = gpu() else { return };
    let mut cpu = cpu(0);
    for (name, scene) in scenes() {
        for (samples, first, blocks) in [(1024, 3, 2), (100, 0, 3)] {
            let a = cpu.read(&scene, samples, first, blocks).unwrap();
            let b = gpu.read(&scene, samples, first, blocks).unwrap();
            assert_eq!((a.len(), b.len()), (2, 2));
            for (a, b) in a.iter().flatten().zip(b.iter().flatten()) {
                assert_eq!(a.len(), b.len());
                for (a, b) in a.iter().flatten().zip(b.iter().flatten()) {
                    // One path in a thousand or so may part, and brings about its share of the light.
                    let difference = (a - b).abs() / a.abs().max(1e-12);
                    assert!(
                        *a > 0.0 && difference < 3e-3,
                        "{name}: {a} on the processor, {b} on the GPU"
                    );
                }
            }
        }
        assert!(gpu.read(&scene, 64, 0, 0).unwrap().is_empty());
    }
}

/// In the mean over all scenes' readings, where few paths part, the two sides are within 1e-4.
#[test]
fn readings_have_no_common_error() {
    let Some(mut gpu) = gpu() else { return };
    let mut cpu = cpu(0);
    let ratios: Vec<f64> = scenes()
        .iter()
        .flat_map(|(_, scene)| {
            let sum = |e: &mut dyn Executor| {
                e.read(scene, 1024, 0, 2)
                    .unwrap()
                    .concat()
                    .concat()
                    .concat()
                    .iter()
                    .sum::<f64>()
            };
            [sum(&mut gpu) / sum(&mut cpu)]
        })
        .collect();
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    println!("{ratios:?}");
    assert!((mean - 1.0).abs() < 1e-4, "{ratios:?}");
}

/// Every ray against every triangle, without any tree, gives the same picture.
#[test]
fn trees_find_what_trying_every_triangle_finds() {
    let mut cpu = cpu(0);
    for (name, scene) in scenes() {
        let film = render(&mut cpu, &scene, &[2]);
        let layers = scene.layers.len();
        let (mut mine, mut plain) = (Vec::new(), Vec::new());
        for y in (0..HEIGHT).step_by(3) {
            for x in (0..WIDTH).step_by(2) {
                let pixel = (y * WIDTH + x) as usize;
                let (light, seen) = Reference::pixel(&scene, x, y, 2);
                assert_eq!(seen.met, film.seen[pixel].met, "{name} at {x}, {y}");
                mine.extend(
                    film.light[pixel * layers..(pixel + 1) * layers]
                        .iter()
                        .map(|l| l[1]),
                );
                plain.extend(light.iter().map(|l| l[1]));
            }
        }
        let found = agreement(&plain, &mine);
        println!("{name}: rms {:.1e}, apart {:.4}", found.rms, found.apart);
        assert!(
            found.rms < 1e-5 && found.apart < 0.005,
            "{name}: rms {}, {} apart",
            found.rms,
            found.apart
        );
    }
}

// --- The same every time --------------------------------------------------------------------------

fn assert_same(a: &Film, b: &Film) {
    assert!(a.light.iter().flatten().any(|v| *v > 0.0));
    assert_eq!(a.light, b.light);
    assert_eq!(a.seen, b.seen);
    assert_eq!(a.spread, b.spread);
    assert_eq!(
        (&a.row_samples, &a.row_passes),
        (&b.row_samples, &b.row_passes)
    );
}

#[test]
fn the_processor_repeats_itself_on_any_number_of_threads() {
    for (_, scene) in scenes().into_iter().take(6) {
        let once = render(&mut cpu(1), &scene, &[4, 2]);
        let read = cpu(1).read(&scene, 256, 0, 3).unwrap();
        for threads in [1, 2, 3, 7] {
            let mut again = cpu(threads);
            assert_same(&once, &render(&mut again, &scene, &[4, 2]));
            assert_eq!(read, again.read(&scene, 256, 0, 3).unwrap());
        }
    }
}

/// To the bit, although slices grow as the device's pace is learnt: the second run's are others.
#[test]
fn the_gpu_repeats_itself_however_work_is_sliced() {
    let Some(mut gpu) = gpu() else { return };
    for (_, scene) in scenes().into_iter().take(6) {
        let once = render(&mut gpu, &scene, &[8, 2]);
        let again = render(&mut gpu, &scene, &[8, 2]);
        assert_same(&once, &again);
        // Another scene between, and the tables are sent anew.
        let read = gpu.read(&scene, 1024, 0, 3).unwrap();
        render(&mut gpu, &scenes()[11].1, &[1]);
        assert_same(&once, &render(&mut gpu, &scene, &[8, 2]));
        assert_eq!(read, gpu.read(&scene, 1024, 0, 3).unwrap());
    }
}

/// A film of some rows holds just what a whole film has there.
#[test]
fn a_part_of_the_picture_is_that_part() {
    let (_, scene) = scenes().remove(0);
    let mut executors: Vec<Box<dyn Executor>> = vec![Box::new(cpu(2))];
    executors.extend(gpu().map(|g| Box::new(g) as Box<dyn Executor>));
    for executor in &mut executors {
        let whole = render(executor.as_mut(), &scene, &[4]);
        let mut part = Film::new(WIDTH, 13, 20, 1);
        executor
            .render(&scene, &mut part, Passes::one(0, 4), &GO)
            .unwrap();
        let range = (13 * WIDTH) as usize..(33 * WIDTH) as usize;
        assert_eq!(part.light, whole.light[range.clone()]);
        assert_eq!(part.seen, whole.seen[range]);
    }
}

/// Whether stopped before, or somewhere on the way, whole rows have all of a pass or none of it.
#[test]
fn stopping_leaves_whole_rows() {
    let (_, scene) = scenes().remove(5);
    let mut executors: Vec<Box<dyn Executor>> = vec![Box::new(cpu(2))];
    executors.extend(gpu().map(|g| Box::new(g) as Box<dyn Executor>));
    for executor in &mut executors {
        let mut untouched = film(&scene);
        executor
            .render(
                &scene,
                &mut untouched,
                Passes::one(0, 8),
                &AtomicBool::new(true),
            )
            .unwrap();
        assert!(untouched.row_samples.iter().all(|n| *n == 0));
        assert!(untouched.light.iter().flatten().all(|v| *v == 0.0));
        let whole = render(executor.as_mut(), &scene, &[200]);
        let stop = AtomicBool::new(false);
        let mut part = film(&scene);
        std::thread::scope(|threads| {
            threads.spawn(|| {
                std::thread::sleep(Duration::from_millis(60));
                stop.store(true, Ordering::Relaxed);
            });
            executor
                .render(&scene, &mut part, Passes::one(0, 200), &stop)
                .unwrap();
        });
        println!("{}: stopped at {:?}", executor.name(), part.row_samples);
        for row in 0..HEIGHT as usize {
            let pixels = row * WIDTH as usize..(row + 1) * WIDTH as usize;
            match part.row_samples[row] {
                0 => {
                    assert_eq!(part.row_passes[row], 0);
                    assert!(part.light[pixels].iter().flatten().all(|v| *v == 0.0));
                }
                n => {
                    assert_eq!((n, part.row_passes[row]), (200, 1));
                    assert_eq!(part.light[pixels.clone()], whole.light[pixels]);
                }
            }
        }
    }
}

/// A film that does not fit the scene is refused with words, not with a crash.
#[test]
fn a_film_of_other_layers_is_refused() {
    let Some(mut gpu) = gpu() else { return };
    let (_, scene) = scenes().remove(0);
    let failed = gpu
        .render(&scene, &mut Film::new(4, 0, 4, 3), Passes::one(0, 1), &GO)
        .unwrap_err();
    assert!(failed.what.contains("3 layers"), "{failed}");
    // Nothing is broken by it.
    render(&mut gpu, &scene, &[1]);
}

#[test]
fn an_unknown_adapter_is_refused_with_what_there_is() {
    let Err(failed) = Gpu::open(Choice::Named("no such adapter")) else {
        panic!("opened")
    };
    let names = Gpu::adapters();
    assert!(
        names.is_empty() || failed.what.contains(&names[0].name),
        "{failed}"
    );
    assert_eq!(
        Gpu::open(Choice::Real).is_ok(),
        names.iter().any(|a| !a.software)
    );
}

// --- Deep trees -----------------------------------------------------------------------------------

/// Triangles that shrink towards a point, each a fraction of the one before: a tree as lopsided as
/// they come.
fn nested(count: u32) -> Mesh {
    let mut mesh = Mesh::default();
    for k in 0..count {
        let scale = 0.82_f32.powi(k as i32);
        let corner = Vec3::new(-0.5, 0.1, -1.0 + 0.9 * scale);
        for edge in [Vec3::ZERO, Vec3::X, Vec3::Y] {
            mesh.triangles
                .extend((mesh.positions_m.len() % 3 == 0).then(|| [0, 1, 2].map(|i| 3 * k + i)));
            mesh.positions_m.push(corner + scale * edge);
            mesh.normals.push(Vec3::Z);
            mesh.uvs_cm.push(Vec2::ZERO);
        }
    }
    mesh
}

/// Slivers of all sizes between a hundredth of a millimetre and a metre, crowded towards a point.
fn skewed(count: u32) -> Mesh {
    let mut mesh = Mesh::default();
    let mut state = 7_u32;
    let mut next = || {
        // Numerical Recipes' linear congruence (Press et al.), upper bits.
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as f32 / 16_777_216.0
    };
    for k in 0..count {
        let size = 10.0_f32.powf(-5.0 * next());
        let middle = Vec3::new(next() - 0.5, next() * 0.9, next() - 0.5) * size.sqrt();
        let long = Vec3::new(next() - 0.5, next() - 0.5, next() - 0.5).normalize_or(Vec3::X) * size;
        let thin = long.any_orthonormal_vector() * size * 0.05;
        let normal = long.cross(thin).normalize();
        for corner in [-0.5 * long, 0.5 * long, thin] {
            mesh.positions_m.push(middle + corner);
            mesh.normals.push(normal);
            mesh.uvs_cm.push(Vec2::ZERO);
        }
        mesh.triangles.push([3 * k, 3 * k + 1, 3 * k + 2]);
    }
    mesh
}

/// Trees deeper than the least stack are walked in full, by both executors, down to what trying
/// every triangle finds.
#[test]
fn deep_trees_are_walked_in_full() {
    let mut gpu = gpu();
    for (name, mesh, deeper_than) in [("nested", nested(300), 32), ("skewed", skewed(300_000), 28)]
    {
        let mut b = SceneBuilder::new();
        let grey = b.surface(Surface::Diffuse([0.5; 3]));
        b.mesh(&mesh, grey);
        let layer = b.layer("key");
        b.emitter(
            &Emission::lambertian(Face::Globe { radius_m: 0.05 }),
            facing(DVec3::new(-0.4, 2.2, 1.0), DVec3::Z),
            layer,
        );
        b.bounces(1, 1);
        b.lens(&camera(0.0));
        let scene = b.build();
        let depth = scene.accel.pair_depth();
        println!("{name}: {} triangles, depth {depth}", mesh.triangles.len());
        assert!(depth > deeper_than, "{name} is only {depth} deep");
        let on_cpu = render(&mut cpu(0), &scene, &[2]);
        let mut met = 0.0;
        for (x, y) in (0..HEIGHT)
            .step_by(16)
            .flat_map(|y| (0..WIDTH).step_by(6).map(move |x| (x, y)))
        {
            let (_, seen) = Reference::pixel(&scene, x, y, 2);
            let found = on_cpu.seen[(y * WIDTH + x) as usize];
            assert_eq!(found.met, seen.met, "{name} at {x}, {y}");
            assert!(
                (found.depth_m - seen.depth_m).abs() <= 1e-5 * seen.depth_m,
                "{name} at {x}, {y}"
            );
            met += seen.met;
        }
        assert!(met >= 4.0, "{name}: only {met} samples met anything");
        if let Some(gpu) = &mut gpu {
            assert_alike(name, &on_cpu, &render(gpu, &scene, &[2]));
        }
    }
}
