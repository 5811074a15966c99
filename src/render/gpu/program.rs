//! The kernels as the device runs them.

use super::device::Device;
use crate::render::blocks::Blocks;
use crate::render::executor::{ExecutorError, GetReady};
use crate::render::film::MAX_LAYERS;
use crate::scene::Scene;
use crate::scene::needs::Needs;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The kernels' text, in the order that the build translates it, but for what [`Needs`] says.
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
#[derive(Debug, Clone, Copy, bytemuck::Pod, bytemuck::Zeroable)]
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
    /// Blocks in a row of blocks where only some are asked for, otherwise 0.
    pub block_columns: u32,
    /// Unused.
    pub spare: u32,
    /// The layers' weights in the mix.
    pub mix: [[f32; 4]; MAX_LAYERS],
    /// The blocks asked for, a bit to each, in the order of `Blocks`.
    pub chosen: [[u32; 4]; CHOSEN_WORDS / 4],
}

/// Words of a job that say which blocks are asked for (`chosen` in `entry.wgsl`).
const CHOSEN_WORDS: usize = 512;

impl Default for Job {
    fn default() -> Self {
        bytemuck::Zeroable::zeroed()
    }
}

impl Job {
    /// Asks for those blocks only. Where they are too many for a job, all are rendered, and those that
    /// were not chosen are not looked at when they come home.
    pub fn only(mut self, blocks: &Blocks) -> Self {
        let chosen = blocks.of_rows(self.first_row, self.rows);
        if chosen.len() <= 32 * CHOSEN_WORDS {
            self.block_columns = blocks.columns;
            for (i, _) in chosen.iter().enumerate().filter(|(_, c)| **c) {
                self.chosen[i / 128][i / 32 % 4] |= 1 << (i % 32);
            }
        }
        self
    }
}

/// The whole WGSL for a scene of `layers` layers whose tree is `depth` deep, and that has all there can be.
pub fn source(layers: usize, depth: usize) -> String {
    let needs = Needs::ALL;
    Made::new(layers, depth, needs).source()
}

/// What kernels are made for: sizes of their private arrays, rounded up so that few serve many scenes, and
/// what they can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Made {
    layers: usize,
    stack: usize,
    needs: Needs,
}

impl Made {
    fn new(layers: usize, depth: usize, needs: Needs) -> Self {
        Self {
            layers: layers.max(1).next_multiple_of(4),
            stack: depth.max(1).next_multiple_of(32),
            needs,
        }
    }

    fn for_scene(scene: &Scene) -> Self {
        let (layers, depth) = (scene.layers.len(), scene.accel.pair_depth());
        Self::new(layers, depth, Needs::of(scene))
    }

    /// Whether kernels made for this will do for `other`.
    fn covers(&self, other: &Self) -> bool {
        self.layers >= other.layers && self.stack >= other.stack && self.needs.cover(other.needs)
    }

    /// What covers both.
    fn with(self, other: Self) -> Self {
        Self {
            layers: self.layers.max(other.layers),
            stack: self.stack.max(other.stack),
            needs: self.needs.with(other.needs),
        }
    }

    fn source(&self) -> String {
        let Self { layers, stack, .. } = self;
        let constants = format!("const LAYERS: u32 = {layers}u;\nconst STACK: u32 = {stack}u;\n");
        [&constants, &self.needs.text(), PLATFORM, ENTRY]
            .into_iter()
            .chain(CORE)
            .collect::<Vec<_>>()
            .join("\n")
    }
}

/// The kernels' entry points.
const RENDER: &str = "render";
const READING: &str = "reading";

/// A compiled kernel.
#[derive(Debug, Clone)]
pub struct Program {
    made: Made,
    entry: &'static str,
    pub(super) pipeline: wgpu::ComputePipeline,
    pub(super) layout: wgpu::BindGroupLayout,
}

/// Kernels compiled so far. A scene gets those made for just what it needs: others may round otherwise, and
/// its pixels would hang on what was rendered before it.
#[derive(Debug, Clone)]
pub struct Programs {
    layout: wgpu::BindGroupLayout,
    /// Shared with those who compile ahead.
    compiled: Arc<Mutex<Vec<Program>>>,
    /// Takes those that cover a scene's needs instead of compiling its own.
    hurried: bool,
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
            compiled: Arc::default(),
            hurried: false,
        }
    }

    /// The kernel that renders a scene.
    pub fn render(&self, device: &Device, scene: &Scene) -> Result<Program, ExecutorError> {
        self.get(device, Made::for_scene(scene), RENDER)
    }

    /// The kernel that reads a scene's receptors.
    pub fn read(&self, device: &Device, scene: &Scene) -> Result<Program, ExecutorError> {
        self.get(device, Made::for_scene(scene), READING)
    }

    /// From now on takes what covers a scene's needs.
    pub fn hurry(&mut self) {
        self.hurried = true;
    }

    /// What compiles the kernels that a scene lacks, for all that was asked for so far; none where it lacks
    /// none, or nothing would help.
    pub fn unready(&self, device: &Device, scene: &Scene) -> Option<GetReady> {
        let mut made = Made::for_scene(scene);
        let lacks = |entry| self.find(&made, entry).is_none();
        if device.check().is_err() || !(lacks(RENDER) || lacks(READING)) {
            return None;
        }
        if self.hurried {
            made = self.known().iter().fold(made, |all, p| all.with(p.made));
        }
        let (programs, device) = (self.clone(), device.clone());
        Some(Box::new(move || {
            // What goes wrong stays with the device.
            let _ = programs
                .get(&device, made, RENDER)
                .and_then(|_| programs.get(&device, made, READING));
        }))
    }

    fn known(&self) -> MutexGuard<'_, Vec<Program>> {
        self.compiled.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn find(&self, made: &Made, entry: &'static str) -> Option<Program> {
        let known = self.known();
        let of_entry = known.iter().filter(|p| p.entry == entry);
        let mut exact = of_entry.clone().filter(|p| p.made == *made);
        let covering = || {
            of_entry
                .filter(|p| self.hurried && p.made.covers(made))
                .min_by_key(|p| p.made.needs.count())
        };
        exact.next().or_else(covering).cloned()
    }

    fn get(
        &self,
        device: &Device,
        made: Made,
        entry: &'static str,
    ) -> Result<Program, ExecutorError> {
        if let Some(program) = self.find(&made, entry) {
            return Ok(program);
        }
        let module = device
            .device
            .create_shader_module(wgpu::ShaderModuleDescriptor {
                label: Some("kernels"),
                source: wgpu::ShaderSource::Wgsl(made.source().into()),
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
            made,
            entry,
            pipeline,
            layout: self.layout.clone(),
        };
        self.known().push(program.clone());
        Ok(program)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::gpu::tests::gpu;

    /// Kernels made for more will do where there is a hurry, and only there; what is made ready ahead is for
    /// all that was asked for so far.
    #[test]
    fn what_covers_a_scene_is_taken_in_a_hurry() {
        let Some(gpu) = gpu() else { return };
        let mut programs = Programs::new(&gpu.device);
        let with = |layers: usize, needs: &[&str]| {
            let mut scene = Scene::default();
            scene.layers = vec![String::new(); layers];
            for name in needs {
                scene.least_needs = scene.least_needs.with(Needs::named(name));
            }
            scene
        };
        let made = |programs: &Programs| programs.known().len();
        let skin = with(1, &["SKIN", "TOPS"]);
        programs
            .unready(&gpu.device, &skin)
            .expect("nothing is compiled yet")();
        assert_eq!(made(&programs), 2);
        assert!(programs.unready(&gpu.device, &skin).is_none());
        let less = with(1, &["TOPS"]);
        assert!(programs.unready(&gpu.device, &less).is_some());
        programs.hurry();
        assert!(programs.unready(&gpu.device, &less).is_none());
        programs.render(&gpu.device, &less).expect("what is there");
        assert_eq!(made(&programs), 2);
        let hair = with(5, &["HAIR"]);
        programs
            .unready(&gpu.device, &hair)
            .expect("no hair so far")();
        assert_eq!(made(&programs), 4);
        assert!(
            programs
                .unready(&gpu.device, &with(8, &["HAIR", "SKIN", "TOPS"]))
                .is_none()
        );
        assert!(programs.unready(&gpu.device, &with(9, &["HAIR"])).is_some());
    }
}
