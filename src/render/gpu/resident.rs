//! What lies on the device: the scene, and the sums of the bands in work.

use super::device::Device;
use super::program::{Job, Program, RECEPTORS_AT_ONCE};
use crate::render::executor::ExecutorError;
use crate::scene::Scene;
use crate::scene::accel::{Pairs, Tree};
use crate::scene::records::Receptor;
use rayon::prelude::*;
use wgpu::BufferUsages as Usage;

/// Tables from here on are the trees'.
const TREE_TABLES: usize = 6;

/// The scene's tables on the device, sent again only where they changed.
#[derive(Debug)]
pub struct Resident {
    /// In the order of the bindings: parameters, then tables 1 to 7.
    tables: [Table; 8],
    /// Whose nodes and facets the last two tables hold: laying them out takes longer than a small pass.
    trees: Option<Vec<Tree>>,
    receptors: Option<wgpu::Buffer>,
    job: Option<wgpu::Buffer>,
}

#[derive(Debug)]
struct Table {
    name: &'static str,
    held: Option<(wgpu::Buffer, u64)>,
}

impl Resident {
    /// Nothing yet.
    pub fn new() -> Self {
        let names = [
            "parameters",
            "vertices",
            "triangles",
            "materials",
            "emitters",
            "texels",
            "tree nodes",
            "facets",
        ];
        Self {
            tables: names.map(|name| Table { name, held: None }),
            trees: None,
            receptors: None,
            job: None,
        }
    }

    /// Brings the device up to date with a scene. True when tables were replaced, so that they
    /// must be bound anew.
    pub fn sync(&mut self, device: &Device, scene: &Scene) -> Result<bool, ExecutorError> {
        let same_trees = self.trees.as_ref().is_some_and(|held| {
            let mut both = held.iter().zip(&scene.accel.trees);
            held.len() == scene.accel.trees.len() && both.all(|(a, b)| a.is(b))
        });
        let pairs = if same_trees {
            Pairs::default()
        } else {
            self.trees = None;
            scene.accel.pairs()
        };
        let contents: [&[u8]; 8] = [
            bytemuck::bytes_of(&scene.params),
            bytemuck::cast_slice(&scene.vertices),
            bytemuck::cast_slice(&scene.triangles),
            bytemuck::cast_slice(&scene.materials),
            bytemuck::cast_slice(&scene.emitters),
            bytemuck::cast_slice(&scene.texels),
            bytemuck::cast_slice(&pairs.nodes),
            bytemuck::cast_slice(&pairs.facets),
        ];
        let most = device.largest_binding();
        let mut replaced = false;
        let changed = if same_trees {
            TREE_TABLES
        } else {
            contents.len()
        };
        let tables = self.tables.iter_mut().zip(contents).enumerate();
        for (i, (table, bytes)) in tables.take(changed) {
            let size = bytes.len() as u64;
            if size > most {
                return Err(ExecutorError {
                    what: format!(
                        "the scene's {} take {} MB and this graphics device holds {} MB at once; use --executor cpu",
                        table.name,
                        size >> 20,
                        most >> 20
                    ),
                });
            }
            let usage = Usage::COPY_DST
                | if i == 0 {
                    Usage::UNIFORM
                } else {
                    Usage::STORAGE
                };
            replaced |= table.sync(device, bytes, usage);
        }
        self.trees = Some(scene.accel.trees.clone());
        let uniform = |label, bytes| device.buffer(label, bytes, Usage::UNIFORM | Usage::COPY_DST);
        self.receptors.get_or_insert_with(|| {
            uniform(
                "receptors",
                u64::from(RECEPTORS_AT_ONCE) * size_of::<Receptor>() as u64,
            )
        });
        self.job
            .get_or_insert_with(|| uniform("job", size_of::<Job>() as u64));
        device.check()?;
        Ok(replaced)
    }

    /// The receptors that the next dispatches read, at most [`RECEPTORS_AT_ONCE`].
    pub fn set_receptors(&self, device: &Device, receptors: &[Receptor]) {
        if let Some(buffer) = &self.receptors {
            device
                .queue
                .write_buffer(buffer, 0, bytemuck::cast_slice(receptors));
        }
    }

    fn bind(&self, device: &Device, program: &Program, gathered: &wgpu::Buffer) -> wgpu::BindGroup {
        let tables = self
            .tables
            .iter()
            .filter_map(|t| t.held.as_ref().map(|(buffer, _)| buffer));
        let buffers = tables
            .chain([gathered])
            .chain(&self.job)
            .chain(&self.receptors);
        let entries: Vec<_> = buffers
            .enumerate()
            .map(|(i, buffer)| wgpu::BindGroupEntry {
                binding: i as u32,
                resource: buffer.as_entire_binding(),
            })
            .collect();
        device.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some("scene"),
            layout: &program.layout,
            entries: &entries,
        })
    }
}

impl Table {
    /// True when the buffer had to be replaced.
    fn sync(&mut self, device: &Device, bytes: &[u8], usage: Usage) -> bool {
        let print = fingerprint(bytes);
        match &mut self.held {
            Some((_, old)) if *old == print => return false,
            Some((buffer, old)) if buffer.size() >= bytes.len() as u64 => {
                device.queue.write_buffer(buffer, 0, bytes);
                *old = print;
                return false;
            }
            _ => {}
        }
        let buffer = device.buffer(self.name, bytes.len() as u64, usage);
        device.queue.write_buffer(&buffer, 0, bytes);
        self.held = Some((buffer, print));
        true
    }
}

/// A 64-bit hash of a table's contents: tells whether it must be sent again. Multiply and
/// xor-shift rounds over eight bytes at a time, in chunks on all cores.
fn fingerprint(bytes: &[u8]) -> u64 {
    let mix = |h: u64, w: u64| {
        let m = (h ^ w).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        m ^ (m >> 29)
    };
    let chunk = |part: &[u8]| {
        let words = part.chunks_exact(8);
        let rest = words
            .remainder()
            .iter()
            .fold(0, |w, &b| (w << 8) | u64::from(b));
        let whole = words.map(|w| w.try_into().map_or(0, u64::from_le_bytes));
        whole.chain([rest]).fold(part.len() as u64, mix)
    };
    bytes
        .par_chunks(1 << 20)
        .map(chunk)
        .collect::<Vec<_>>()
        .into_iter()
        .fold(bytes.len() as u64, mix)
}

/// Two bands' sums, so that one is added to the film while the device works on the other.
#[derive(Debug, Default)]
pub struct Bands {
    bands: [Option<BandBuffers>; 2],
    place: usize,
}

#[derive(Debug)]
struct BandBuffers {
    gathered: wgpu::Buffer,
    home: wgpu::Buffer,
    bound: Option<wgpu::BindGroup>,
}

impl Bands {
    /// Forgets what was bound: the scene's tables were replaced.
    pub fn unbind(&mut self) {
        for band in self.bands.iter_mut().flatten() {
            band.bound = None;
        }
    }

    /// Which of the two bands is in work.
    pub fn place(&self) -> usize {
        self.place
    }

    /// Turns to the other band and makes room for `bytes` of sums.
    pub fn next(
        &mut self,
        device: &Device,
        resident: &Resident,
        program: &Program,
        bytes: u64,
    ) -> Result<(), ExecutorError> {
        self.place = 1 - self.place;
        let place = &mut self.bands[self.place];
        if place.as_ref().is_none_or(|b| b.gathered.size() < bytes) {
            *place = Some(BandBuffers {
                gathered: device.buffer("sums", bytes, Usage::STORAGE | Usage::COPY_SRC),
                home: device.buffer("sums at home", bytes, Usage::MAP_READ | Usage::COPY_DST),
                bound: None,
            });
        }
        if let Some(band) = place
            && band.bound.is_none()
        {
            band.bound = Some(resident.bind(device, program, &band.gathered));
        }
        device.check()
    }

    /// Submits one dispatch on the band in work; with `bring_home`, also the copy of so many bytes
    /// of its sums to where the host can read them after the wait.
    pub fn run(
        &self,
        device: &Device,
        resident: &Resident,
        program: &Program,
        job: &Job,
        groups: [u32; 2],
        bring_home: Option<u64>,
    ) -> wgpu::SubmissionIndex {
        if let Some(buffer) = &resident.job {
            device
                .queue
                .write_buffer(buffer, 0, bytemuck::bytes_of(job));
        }
        let mut encoder = device
            .device
            .create_command_encoder(&wgpu::CommandEncoderDescriptor::default());
        let band = self.bands[self.place].as_ref();
        if let Some(band) = band {
            let mut pass = encoder.begin_compute_pass(&wgpu::ComputePassDescriptor::default());
            pass.set_pipeline(&program.pipeline);
            pass.set_bind_group(0, band.bound.as_ref(), &[]);
            pass.dispatch_workgroups(groups[0], groups[1], 1);
            drop(pass);
            if let Some(bytes) = bring_home {
                encoder.copy_buffer_to_buffer(&band.gathered, 0, &band.home, 0, bytes);
            }
        }
        let ticket = device.queue.submit([encoder.finish()]);
        if let (Some(band), Some(bytes)) = (band, bring_home) {
            // Whether it worked shows when the range is asked for.
            band.home.map_async(wgpu::MapMode::Read, ..bytes, |_| ());
        }
        ticket
    }

    /// The sums that came home at one of the two places.
    pub fn read<T>(
        &self,
        device: &Device,
        place: usize,
        bytes: u64,
        use_words: impl FnOnce(&[u32]) -> T,
    ) -> Result<T, ExecutorError> {
        match &self.bands[place] {
            Some(band) => device.mapped(&band.home, bytes, use_words),
            None => Err(ExecutorError {
                what: "nothing was computed".into(),
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::fingerprint;

    /// Any changed byte, and any changed length, changes the fingerprint.
    #[test]
    fn fingerprint_tells() {
        let bytes: Vec<u8> = (0..5000_u32).map(|i| (i * 7) as u8).collect();
        let whole = fingerprint(&bytes);
        for i in 0..bytes.len() {
            let mut other = bytes.clone();
            other[i] ^= 1;
            assert_ne!(fingerprint(&other), whole, "byte {i}");
        }
        assert_ne!(fingerprint(&bytes[1..]), whole);
        assert_ne!(fingerprint(&[0; 16]), fingerprint(&[0; 24]));
    }
}
