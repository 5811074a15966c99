//! The kernels as the device runs them.

use super::device::Device;
use crate::render::executor::ExecutorError;
use crate::render::film::MAX_LAYERS;
use crate::scene::Scene;

/// The kernels' text, in the order that the build translates it.
const CORE: [&str; 25] = [
    include_str!("../../../shaders/core/bounce.wgsl"),
    include_str!("../../../shaders/core/cloth.wgsl"),
    include_str!("../../../shaders/core/corduroy.wgsl"),
    include_str!("../../../shaders/core/emitter.wgsl"),
    include_str!("../../../shaders/core/eye.wgsl"),
    include_str!("../../../shaders/core/geometry.wgsl"),
    include_str!("../../../shaders/core/hairs.wgsl"),
    include_str!("../../../shaders/core/knit.wgsl"),
    include_str!("../../../shaders/core/lace.wgsl"),
    include_str!("../../../shaders/core/leather.wgsl"),
    include_str!("../../../shaders/core/maps.wgsl"),
    include_str!("../../../shaders/core/net.wgsl"),
    include_str!("../../../shaders/core/noise.wgsl"),
    include_str!("../../../shaders/core/paint.wgsl"),
    include_str!("../../../shaders/core/path.wgsl"),
    include_str!("../../../shaders/core/random.wgsl"),
    include_str!("../../../shaders/core/sequins.wgsl"),
    include_str!("../../../shaders/core/skin.wgsl"),
    include_str!("../../../shaders/core/strand.wgsl"),
    include_str!("../../../shaders/core/surface.wgsl"),
    include_str!("../../../shaders/core/thread.wgsl"),
    include_str!("../../../shaders/core/types.wgsl"),
    include_str!("../../../shaders/core/velvet.wgsl"),
    include_str!("../../../shaders/core/weave.wgsl"),
    include_str!("../../../shaders/core/yarn.wgsl"),
];
const PLATFORM: &str = include_str!("../../../shaders/gpu/platform.wgsl");
const ENTRY: &str = include_str!("../../../shaders/gpu/entry.wgsl");

/// Words that `entry.wgsl` brings home for a pixel beside its layers.
pub const PIXEL_EXTRA_WORDS: u64 = 12;
/// Most invocations that share a block of a reading.
pub const MOST_LANES: u32 = 256;
/// Receptors to a dispatch (`RECEPTORS` in `entry.wgsl`).
pub const RECEPTORS_AT_ONCE: u32 = 512;
/// Where the buffers are bound: uniform, read only, written.
const UNIFORMS: [u32; 3] = [0, 9, 10];
const TABLES: std::ops::RangeInclusive<u32> = 1..=7;
const GATHERED: u32 = 8;

/// One dispatch's share of the work: the mirror of `Job` in `entry.wgsl`.
#[repr(C)]
#[derive(Debug, Clone, Copy, Default, bytemuck::Pod, bytemuck::Zeroable)]
pub struct Job {
    /// Pixels in a row.
    pub width: u32,
    /// Rows in the band.
    pub rows: u32,
    /// The picture's row that the band starts at.
    pub first_row: u32,
    /// Number of the first sample.
    pub first_sample: u32,
    /// Samples of each pixel.
    pub sample_count: u32,
    /// The first receptor bound.
    pub first_receptor: u32,
    /// The first block to read.
    pub first_block: u32,
    /// Blocks to read.
    pub block_count: u32,
    /// Layers in use.
    pub layer_count: u32,
    /// Samples in a block.
    pub block_samples: u32,
    /// Invocations that share a block.
    pub lanes: u32,
    /// Samples in a pass.
    pub pass_samples: u32,
    /// Samples of the passes that earlier dispatches did.
    pub done: u32,
    /// Pixels of the whole band.
    pub pixels: u32,
    /// Unused.
    pub spare_a: u32,
    /// Unused.
    pub spare_b: u32,
    /// The layers' weights in the mix.
    pub mix: [[f32; 4]; MAX_LAYERS],
}

/// The whole WGSL for a scene of `layers` layers whose tree is `depth` deep.
pub fn source(layers: usize, depth: usize) -> String {
    let Size { layers, stack } = Size::for_scene(layers, depth);
    let constants = format!("const LAYERS: u32 = {layers}u;\nconst STACK: u32 = {stack}u;\n");
    [&constants, PLATFORM, ENTRY]
        .into_iter()
        .chain(CORE)
        .collect::<Vec<_>>()
        .join("\n")
}

/// Sizes of a kernel's private arrays, rounded up so that few kernels serve many scenes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Size {
    layers: usize,
    stack: usize,
}

impl Size {
    fn for_scene(layers: usize, depth: usize) -> Self {
        Self {
            layers: layers.max(1).next_multiple_of(4),
            stack: depth.max(1).next_multiple_of(32),
        }
    }
}

/// A compiled kernel.
#[derive(Debug, Clone)]
pub struct Program {
    pub(super) pipeline: wgpu::ComputePipeline,
    pub(super) layout: wgpu::BindGroupLayout,
}

/// Kernels compiled so far.
#[derive(Debug)]
pub struct Programs {
    layout: wgpu::BindGroupLayout,
    compiled: Vec<(Size, &'static str, Program)>,
}

impl Programs {
    /// None yet.
    pub fn new(device: &Device) -> Self {
        let entry = |binding: u32, ty: wgpu::BufferBindingType| wgpu::BindGroupLayoutEntry {
            binding,
            visibility: wgpu::ShaderStages::COMPUTE,
            ty: wgpu::BindingType::Buffer {
                ty,
                has_dynamic_offset: false,
                min_binding_size: None,
            },
            count: None,
        };
        let mut entries: Vec<_> = UNIFORMS
            .map(|b| entry(b, wgpu::BufferBindingType::Uniform))
            .into();
        entries
            .extend(TABLES.map(|b| entry(b, wgpu::BufferBindingType::Storage { read_only: true })));
        entries.push(entry(
            GATHERED,
            wgpu::BufferBindingType::Storage { read_only: false },
        ));
        let descriptor = wgpu::BindGroupLayoutDescriptor {
            label: Some("scene"),
            entries: &entries,
        };
        Self {
            layout: device.device.create_bind_group_layout(&descriptor),
            compiled: Vec::new(),
        }
    }

    /// The kernel that renders a scene.
    pub fn render(&mut self, device: &Device, scene: &Scene) -> Result<Program, ExecutorError> {
        self.get(device, scene, "render")
    }

    /// The kernel that reads a scene's receptors.
    pub fn read(&mut self, device: &Device, scene: &Scene) -> Result<Program, ExecutorError> {
        self.get(device, scene, "reading")
    }

    fn get(
        &mut self,
        device: &Device,
        scene: &Scene,
        entry: &'static str,
    ) -> Result<Program, ExecutorError> {
        let (layers, depth) = (scene.layers.len(), scene.accel.pair_depth());
        let size = Size::for_scene(layers, depth);
        if let Some((.., program)) = self
            .compiled
            .iter()
            .find(|(s, e, _)| *s == size && *e == entry)
        {
            return Ok(program.clone());
        }
        let module = device
            .device
            .create_shader_module(wgpu::ShaderModuleDescriptor {
                label: Some("kernels"),
                source: wgpu::ShaderSource::Wgsl(source(layers, depth).into()),
            });
        let layout = device
            .device
            .create_pipeline_layout(&wgpu::PipelineLayoutDescriptor {
                label: Some(entry),
                bind_group_layouts: &[Some(&self.layout)],
                immediate_size: 0,
            });
        let pipeline = device
            .device
            .create_compute_pipeline(&wgpu::ComputePipelineDescriptor {
                label: Some(entry),
                layout: Some(&layout),
                module: &module,
                entry_point: Some(entry),
                compilation_options: wgpu::PipelineCompilationOptions::default(),
                cache: None,
            });
        device.check()?;
        let program = Program {
            pipeline,
            layout: self.layout.clone(),
        };
        self.compiled.push((size, entry, program.clone()));
        Ok(program)
    }
}
