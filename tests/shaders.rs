//! Every WGSL file parses and validates, assembled the way it is used; and the builtins that the
//! kernels use give the same numbers translated to Rust as through a GPU's driver.

#[path = "common/reference.rs"]
mod reference;

use glam::{DVec3, Vec3};
use naga::valid::{Capabilities, ValidationFlags, Validator};
use naga::{Expression, Function, MathFunction, Module, Statement};
use naga_rust_rt::{Scalar, Vec2 as KernelVec2, Vec3 as KernelVec3};
use reference::Reference;
use std::collections::{BTreeSet, HashSet};
use std::path::{Path, PathBuf};
use swatchlight::optics::grid::Cell;
use swatchlight::optics::plain::{self, GridCells};
use swatchlight::optics::table::{Emission, Face, Pattern};
use swatchlight::render::gpu::source;
use swatchlight::scene::Scene;
use swatchlight::scene::builder::{Axes, Relief, SceneBuilder, record};
use swatchlight::scene::kernels::Kernels;
use swatchlight::scene::materials::Surface;

fn shaders() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("shaders")
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The WGSL files of one folder, in order of name.
fn files(folder: &str) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(shaders().join(folder))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "wgsl"))
        .collect();
    files.sort();
    assert!(!files.is_empty());
    files
}

/// The kernels over the declared seam, as the build translates them.
fn core_and_seam() -> String {
    let core: Vec<String> = files("core").iter().map(|p| read(p)).collect();
    core.join("\n") + &read(&shaders().join("seam.wgsl"))
}

fn parse(text: &str) -> Module {
    naga::front::wgsl::parse_str(text).unwrap_or_else(|e| panic!("{}", e.emit_to_string(text)))
}

/// With no capability beyond what WebGPU has everywhere.
fn validate(text: &str) -> Module {
    let module = parse(text);
    if let Err(e) = Validator::new(ValidationFlags::all(), Capabilities::empty()).validate(&module)
    {
        panic!("{}", e.emit_to_string(text));
    }
    module
}

#[test]
fn the_kernels_validate_over_the_seam() {
    validate(&core_and_seam());
}

#[test]
fn the_kernels_validate_as_a_gpu_runs_them() {
    for (layers, depth) in [(0, 0), (1, 1), (4, 32), (16, 100)] {
        let module = validate(&source(layers, depth));
        let entries: Vec<&str> = module
            .entry_points
            .iter()
            .map(|e| e.name.as_str())
            .collect();
        assert_eq!(entries, ["render", "reading"]);
    }
}

/// No file is left out of what a GPU runs, and none lies about unused.
#[test]
fn every_file_is_used() {
    let gpu = source(4, 32);
    for file in files("core").into_iter().chain(files("gpu")) {
        assert!(
            gpu.contains(&read(&file)),
            "{} is not part of the GPU's text",
            file.display()
        );
    }
    let others: Vec<PathBuf> = files(".");
    assert_eq!(others, [shaders().join("./seam.wgsl")]);
}

/// The seam's declarations are what the platform defines: same names, same signatures.
#[test]
fn the_platform_fills_the_seam() {
    let declared =
        parse(&(read(&shaders().join("core/types.wgsl")) + &read(&shaders().join("seam.wgsl"))));
    let defined = parse(&source(4, 32));
    let signature = |module: &Module, f: &Function| {
        let name = |ty| {
            let ty = &module.types[ty];
            ty.name.clone().unwrap_or_else(|| format!("{:?}", ty.inner))
        };
        let arguments: Vec<String> = f.arguments.iter().map(|a| name(a.ty)).collect();
        (arguments, f.result.as_ref().map(|r| name(r.ty)))
    };
    let mut count = 0;
    for (_, seam) in declared.functions.iter() {
        let (_, own) = defined
            .functions
            .iter()
            .find(|(_, f)| f.name == seam.name)
            .expect("defined by the platform");
        assert_eq!(
            signature(&declared, seam),
            signature(&defined, own),
            "{:?}",
            seam.name
        );
        count += 1;
    }
    assert!(count >= 10);
}

// --- Builtins, on both sides ----------------------------------------------------------------------

/// Random numbers given to each probe, and what each gives back.
const INPUTS: usize = 16;
const OUTPUTS: usize = 132;
const PROBES: usize = 4096;

/// Calls the kernels' small functions, and by them every builtin that the kernels use.
const PROBE: &str = "
@group(0) @binding(11) var<storage, read> probe_in: array<f32>;
@group(0) @binding(12) var<storage, read_write> probe_out: array<f32>;
var<private> probe_at: u32;

fn out1(v: f32) { probe_out[probe_at] = v; probe_at += 1u; }
fn out2(v: vec2f) { out1(v.x); out1(v.y); }
fn out3(v: vec3f) { out1(v.x); out1(v.y); out1(v.z); }

@compute @workgroup_size(64)
fn probe(@builtin(global_invocation_id) id: vec3u) {
    let at = id.x * 16u;
    let u = vec4f(probe_in[at], probe_in[at + 1u], probe_in[at + 2u], probe_in[at + 3u]);
    let d = vec3f(probe_in[at + 4u], probe_in[at + 5u], probe_in[at + 6u]);
    let o = vec3f(probe_in[at + 8u], probe_in[at + 9u], probe_in[at + 10u]);
    let p = vec3f(probe_in[at + 12u], probe_in[at + 13u], probe_in[at + 14u]);
    probe_at = id.x * 132u;
    out2(draw_net(id.x, id.x + 7u, 3u));
    out2(draw_plain(id.x, id.x + 7u, 3u));
    out1(lattice(i32(id.x) - 2000, 3 - i32(id.x), 5u));
    let t = turn(u.x);
    out2(vec2f(t.sine, t.cosine));
    out2(disk_of(u.xy));
    out3(cosine_direction(u.zw));
    let f = frame_about(d);
    out3(f.x);
    out3(f.y);
    out3(to_local(f, o));
    out1(fresnel(u.x, 1.1 + u.y));
    out3(fresnel_metal(u.x, u.yzw));
    let alpha = 0.05 + 0.9 * u.y;
    out1(ggx_density(u.x, alpha));
    out1(ggx_lambda(0.01 + u.x, alpha));
    let above = vec3f(o.x, o.y, abs(o.z));
    out3(ggx_visible_normal(above, alpha, u.zw));
    out1(sheen_value(alpha, above, cosine_direction(u.zw)));
    out1(luminance(u.xyz));
    out1(largest(u.xyz));
    out2(torus(u.xy * 4.0 - vec2f(2.0)));
    out1(f32(wrap(floor(20.0 * u.x - 10.0), 7u)));
    out3(leave(p, o, d));
    for (var i = 0u; i < 10u; i++) {
        let e = load_emitter(i);
        let point = emitter_point(e, p, u.xy);
        out3(point.point);
        out1(1.0 / (1.0 + point.pdf));
        let seen = normalize(p - point.point);
        out1(emitter_luminance(e, point.place, point.normal, seen));
        out1(emitter_hit(e, p, -seen, 1e3).t);
    }
    let m = load_material(1u);
    out1(top_albedo(load_material(0u), u.x));
    out3(relief_normal(m, o, frame_about(o).x, frame_about(o).y, vec2f(1.0, 0.25), vec2f(-0.5, 1.0), 20.0 * u.xy - vec2f(10.0)));
    out1(noise_along(i32(id.x) - 2000, 40.0 * u.x - 20.0, 7u));
    out1(noise_over(40.0 * u.x - 20.0, 40.0 * u.y - 20.0, 9u));
    let angles = fibre_angles(d, above, cosine_direction(u.zw));
    out2(vec2f(angles.half_rad, angles.fold));
    out1(fibre_lobe(angles, 0.1, 0.09));
    out3(deep_colour(u.xyz));
}
";

/// Emitters of each shape with each kind of table, a coat's table, and a relief.
fn probed_scene() -> Scene {
    let mut b = SceneBuilder::new();
    b.surface(Surface::Coated {
        base: [0.5; 3],
        alpha: 0.2,
        eta: 1.5,
    });
    let normals = (0..12)
        .map(|i| {
            let tilt = 0.1 * i as f32;
            Vec3::new(tilt.sin(), 0.3 * tilt.cos(), 1.0)
                .normalize()
                .to_array()
        })
        .collect();
    b.surface_with_relief(
        Surface::Diffuse([0.5; 3]),
        &Relief {
            width: 4,
            height: 3,
            texel_cm: 0.7,
            normals,
        },
    );
    let layer = b.layer("all");
    let at = |x: f64| Axes {
        origin_m: DVec3::new(x, 0.2, 0.1),
        x: DVec3::X,
        y: DVec3::Y,
        z: DVec3::Z,
    };
    let radial = Pattern::Radial {
        radii: 4,
        thetas: 6,
        phis: 3,
        values: (0..72).map(|i| 1.0 + 0.1 * i as f32).collect(),
    };
    let rect = Face::Rect {
        half_x_m: 0.4,
        half_y_m: 0.2,
    };
    let grid = GridCells {
        cell: Cell::Square,
        cell_m: 0.02,
        depth_m: 0.03,
        open_fraction: 0.9,
    };
    let emissions = [
        Emission {
            face: Face::Disk { radius_m: 0.3 },
            pattern: radial.clone(),
            screen: None,
        },
        Emission {
            face: Face::Polygon {
                radius_m: 0.3,
                sides: 8,
            },
            pattern: radial.clone(),
            screen: Some(plain::screen(rect, grid)),
        },
        Emission {
            face: Face::Cap {
                radius_m: 0.5,
                chord_m: 0.45,
            },
            pattern: radial,
            screen: None,
        },
        Emission {
            face: rect,
            pattern: Pattern::Quarter {
                columns: 3,
                rows: 2,
                thetas: 5,
                phis: 4,
                values: (0..120).map(|i| 1.0 + 0.05 * i as f32).collect(),
            },
            screen: None,
        },
        Emission {
            face: Face::Disk { radius_m: 0.08 },
            pattern: Pattern::Gate {
                luminance: 12.0,
                distance_m: 2.0,
                radius_m: 0.6,
                soft_m: 0.3,
            },
            screen: None,
        },
        plain::spot(0.1, 0.4, 0.9, None),
        plain::lambertian(rect, Some(grid)),
        Emission::lambertian(rect),
        Emission::lambertian(Face::Globe { radius_m: 0.2 }),
        Emission::lambertian(Face::Tube {
            half_length_m: 0.5,
            radius_m: 0.02,
        }),
    ];
    for (i, emission) in emissions.iter().enumerate() {
        b.emitter(emission, at(0.1 * i as f64), layer);
    }
    b.build()
}

/// Splitmix64 (Steele, Lea and Flood 2014).
fn random(state: &mut u64) -> f32 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 40) as f32 / 16_777_216.0
}

/// Four numbers in 0..1, two unit vectors, and a point in front of the emitters.
fn probe_inputs() -> Vec<[f32; INPUTS]> {
    let mut state = 1;
    (0..PROBES)
        .map(|_| {
            let mut r = || random(&mut state);
            let u = [r(), r(), r(), r()];
            let mut unit = || {
                let (z, turn) = (2.0 * r() - 1.0, std::f32::consts::TAU * r());
                let s = (1.0 - z * z).sqrt();
                Vec3::new(s * turn.cos(), s * turn.sin(), z)
            };
            let (d, o) = (unit(), unit());
            let p = Vec3::new(3.0 * r() - 1.5, 3.0 * r() - 1.5, 0.6 + 2.0 * r());
            let mut input = [0.0; INPUTS];
            input[..4].copy_from_slice(&u);
            input[4..7].copy_from_slice(&d.to_array());
            input[8..11].copy_from_slice(&o.to_array());
            input[12..15].copy_from_slice(&p.to_array());
            input
        })
        .collect()
}

/// What `PROBE` does, by the translation.
fn probe_on_cpu(scene: &Scene, number: u32, input: &[f32; INPUTS]) -> Vec<f32> {
    let k = Reference::new(scene);
    let three = |at: usize| record(Vec3::new(input[at], input[at + 1], input[at + 2]));
    let (ux, uy, uz, uw) = (input[0], input[1], input[2], input[3]);
    let two = |x: f32, y: f32| KernelVec2 { x, y };
    let (d, o, p) = (three(4), three(8), three(12));
    let mut out = Vec::with_capacity(OUTPUTS);
    macro_rules! out1 {
        ($v:expr) => {
            out.push($v)
        };
    }
    macro_rules! out2 {
        ($v:expr) => {{
            let v = $v;
            out.extend([v.x, v.y])
        }};
    }
    macro_rules! out3 {
        ($v:expr) => {{
            let v: KernelVec3<f32> = $v;
            out.extend([v.x, v.y, v.z])
        }};
    }
    out2!(k.draw_net(Scalar(number), Scalar(number + 7), Scalar(3)));
    out2!(k.draw_plain(Scalar(number), Scalar(number + 7), Scalar(3)));
    out1!(
        k.lattice(
            Scalar(number as i32 - 2000),
            Scalar(3 - number as i32),
            Scalar(5)
        )
        .0
    );
    let t = k.turn(Scalar(ux));
    out2!(two(t.sine, t.cosine));
    out2!(k.disk_of(two(ux, uy)));
    out3!(k.cosine_direction(two(uz, uw)));
    let f = k.frame_about(d);
    out3!(f.x);
    out3!(f.y);
    out3!(k.to_local(f, o));
    out1!(k.fresnel(Scalar(ux), Scalar(1.1 + uy)).0);
    out3!(k.fresnel_metal(Scalar(ux), record(Vec3::new(uy, uz, uw))));
    let alpha = Scalar(0.05 + 0.9 * uy);
    out1!(k.ggx_density(Scalar(ux), alpha).0);
    out1!(k.ggx_lambda(Scalar(0.01 + ux), alpha).0);
    let above = record(Vec3::new(o.x, o.y, o.z.abs()));
    out3!(k.ggx_visible_normal(above, alpha, two(uz, uw)));
    out1!(
        k.sheen_value(alpha, above, k.cosine_direction(two(uz, uw)))
            .0
    );
    let xyz = record(Vec3::new(ux, uy, uz));
    out1!(k.luminance(xyz).0);
    out1!(k.largest(xyz).0);
    out2!(k.torus(two(ux * 4.0 - 2.0, uy * 4.0 - 2.0)));
    out1!(k.wrap(Scalar((20.0 * ux - 10.0).floor()), Scalar(7)).0 as f32);
    out3!(k.leave(p, o, d));
    for e in scene.emitters.iter().copied() {
        let point = k.emitter_point(e, p, two(ux, uy));
        out3!(point.point);
        out1!(1.0 / (1.0 + point.pdf));
        let seen = (p - point.point).normalize();
        out1!(k.emitter_luminance(e, point.place, point.normal, seen).0);
        out1!(k.emitter_hit(e, p, -seen, Scalar(1e3)).t);
    }
    out1!(k.top_albedo(scene.materials[0], Scalar(ux)).0);
    let across = k.frame_about(o);
    let cloth = two(20.0 * ux - 10.0, 20.0 * uy - 10.0);
    out3!(k.relief_normal(
        scene.materials[1],
        o,
        across.x,
        across.y,
        two(1.0, 0.25),
        two(-0.5, 1.0),
        cloth
    ));
    out1!(
        k.noise_along(
            Scalar(number as i32 - 2000),
            Scalar(40.0 * ux - 20.0),
            Scalar(7)
        )
        .0
    );
    out1!(
        k.noise_over(
            Scalar(40.0 * ux - 20.0),
            Scalar(40.0 * uy - 20.0),
            Scalar(9)
        )
        .0
    );
    let angles = k.fibre_angles(d, above, k.cosine_direction(two(uz, uw)));
    out2!(two(angles.half_rad, angles.fold));
    out1!(k.fibre_lobe(angles, Scalar(0.1), Scalar(0.09)).0);
    out3!(k.deep_colour(xyz));
    assert!(out.len() <= OUTPUTS);
    out
}

/// The device's answers, one row to an input.
fn probe_on_gpu(scene: &Scene, inputs: &[[f32; INPUTS]]) -> Option<Vec<f32>> {
    let instance = wgpu::Instance::new(wgpu::InstanceDescriptor::new_without_display_handle());
    let options = wgpu::RequestAdapterOptions::default();
    let Ok(adapter) = pollster::block_on(instance.request_adapter(&options)) else {
        let skip = std::env::var_os("SWATCHLIGHT_SKIP_GPU_TESTS").is_some();
        assert!(
            skip,
            "no graphics adapter, not even lavapipe: install one, or set SWATCHLIGHT_SKIP_GPU_TESTS=1"
        );
        return None;
    };
    let descriptor = wgpu::DeviceDescriptor {
        required_limits: adapter.limits(),
        ..Default::default()
    };
    let (device, queue) = pollster::block_on(adapter.request_device(&descriptor)).unwrap();
    let buffer = |bytes: &[u8], usage| {
        let size = bytes.len() as u64;
        let descriptor = wgpu::BufferDescriptor {
            label: None,
            size,
            usage: usage | wgpu::BufferUsages::COPY_DST,
            mapped_at_creation: false,
        };
        let buffer = device.create_buffer(&descriptor);
        queue.write_buffer(&buffer, 0, bytes);
        buffer
    };
    let storage = wgpu::BufferUsages::STORAGE;
    let out_bytes = (4 * OUTPUTS * inputs.len()) as u64;
    let out = buffer(
        &vec![0; out_bytes as usize],
        storage | wgpu::BufferUsages::COPY_SRC,
    );
    let home = buffer(&vec![0; out_bytes as usize], wgpu::BufferUsages::MAP_READ);
    let bound = [
        (3, buffer(bytemuck::cast_slice(&scene.materials), storage)),
        (4, buffer(bytemuck::cast_slice(&scene.emitters), storage)),
        (5, buffer(bytemuck::cast_slice(&scene.texels), storage)),
        (11, buffer(bytemuck::cast_slice(inputs), storage)),
        (12, out.clone()),
    ];
    let module = device.create_shader_module(wgpu::ShaderModuleDescriptor {
        label: None,
        source: wgpu::ShaderSource::Wgsl((source(1, 32) + PROBE).into()),
    });
    let pipeline = device.create_compute_pipeline(&wgpu::ComputePipelineDescriptor {
        label: None,
        layout: None,
        module: &module,
        entry_point: Some("probe"),
        compilation_options: wgpu::PipelineCompilationOptions::default(),
        cache: None,
    });
    let entries: Vec<_> = bound
        .iter()
        .map(|(binding, buffer)| wgpu::BindGroupEntry {
            binding: *binding,
            resource: buffer.as_entire_binding(),
        })
        .collect();
    let layout = pipeline.get_bind_group_layout(0);
    let group = device.create_bind_group(&wgpu::BindGroupDescriptor {
        label: None,
        layout: &layout,
        entries: &entries,
    });
    let mut encoder = device.create_command_encoder(&wgpu::CommandEncoderDescriptor::default());
    let mut pass = encoder.begin_compute_pass(&wgpu::ComputePassDescriptor::default());
    pass.set_pipeline(&pipeline);
    pass.set_bind_group(0, &group, &[]);
    pass.dispatch_workgroups(inputs.len() as u32 / 64, 1, 1);
    drop(pass);
    encoder.copy_buffer_to_buffer(&out, 0, &home, 0, out_bytes);
    queue.submit([encoder.finish()]);
    home.map_async(wgpu::MapMode::Read, .., |r| r.unwrap());
    device.poll(wgpu::PollType::wait_indefinitely()).unwrap();
    let view = home.get_mapped_range(..).unwrap();
    Some(bytemuck::cast_slice(&view).to_vec())
}

/// Both sides of every small function, for thousands of inputs. A driver may fuse a multiplication
/// and an addition, and its division, root, power, arc cosine and arc tangent may be off by a few
/// units in the last place up to some 1e-4 absolute for the arcs (Vulkan specification, "Precision
/// of Core Instructions"; atan and acos there: 4096 ULP), so values agree as far as that
/// lets them. Where a comparison stands on the edge the sides may part: for a few in a thousand at most.
/// Integer arithmetic must agree to the bit.
#[test]
fn builtins_agree() {
    let scene = probed_scene();
    let inputs = probe_inputs();
    let Some(answers) = probe_on_gpu(&scene, &inputs) else {
        return;
    };
    let mut apart = vec![0_usize; OUTPUTS];
    let mut worst = vec![0.0_f32; OUTPUTS];
    let mut used = 0;
    for (number, input) in inputs.iter().enumerate() {
        let cpu = probe_on_cpu(&scene, number as u32, input);
        used = cpu.len();
        let gpu = &answers[number * OUTPUTS..][..used];
        assert_eq!(cpu[..5], gpu[..5], "hashes of {number}");
        for (i, (c, g)) in cpu.iter().zip(gpu).enumerate() {
            assert!(
                c.is_finite() && g.is_finite(),
                "output {i} of {input:?}: {c}, {g}"
            );
            let difference = (c - g).abs() / c.abs().max(0.1);
            if difference > 2e-4 {
                apart[i] += 1;
            } else {
                worst[i] = worst[i].max(difference);
            }
        }
    }
    println!("largest differences {worst:?}, apart {apart:?}");
    for (i, n) in apart[..used].iter().enumerate() {
        assert!(*n <= PROBES / 250, "output {i}: {n} of {PROBES} differ");
    }
    let typical: f32 = worst[..used].iter().sum::<f32>() / used as f32;
    assert!(typical < 5e-5, "{typical}");
}

/// The probe above reaches every builtin function that the kernels reach.
#[test]
fn no_builtin_is_left_out() {
    let module = parse(&(source(1, 32) + PROBE));
    let core: HashSet<String> = parse(&core_and_seam())
        .functions
        .iter()
        .filter_map(|(_, f)| f.name.clone())
        .collect();
    let mut all = BTreeSet::new();
    for (_, f) in module.functions.iter() {
        if f.name
            .as_ref()
            .is_some_and(|n| core.contains(n) && n != "trace")
        {
            all.extend(builtins(f));
        }
    }
    let probe = &module
        .entry_points
        .iter()
        .find(|e| e.name == "probe")
        .unwrap()
        .function;
    let mut reached = builtins(probe);
    let mut open = called(&probe.body);
    let mut done = HashSet::new();
    while let Some(f) = open.pop() {
        if done.insert(f) {
            reached.extend(builtins(&module.functions[f]));
            open.extend(called(&module.functions[f].body));
        }
    }
    assert!(all.len() > 8, "{all:?}");
    let missing: Vec<_> = all.difference(&reached).collect();
    assert!(missing.is_empty(), "no probe for {missing:?}");
}

fn builtins(f: &Function) -> BTreeSet<String> {
    f.expressions
        .iter()
        .filter_map(|(_, e)| match e {
            Expression::Math {
                fun: MathFunction::ReverseBits | MathFunction::Sqrt,
                ..
            } => None,
            Expression::Math { fun, .. } => Some(format!("{fun:?}")),
            _ => None,
        })
        .collect()
}

fn called(block: &naga::Block) -> Vec<naga::Handle<Function>> {
    block
        .iter()
        .flat_map(|s| match s {
            Statement::Call { function, .. } => vec![*function],
            Statement::Block(b) => called(b),
            Statement::If { accept, reject, .. } => [called(accept), called(reject)].concat(),
            Statement::Loop {
                body, continuing, ..
            } => [called(body), called(continuing)].concat(),
            Statement::Switch { cases, .. } => cases.iter().flat_map(|c| called(&c.body)).collect(),
            _ => Vec::new(),
        })
        .collect()
}
