//! The GPU executor: the same kernels over wgpu compute (Vulkan, Metal, DX12).
//!
//! Work goes to the device in slices of some tens of milliseconds, since drivers reset a device
//! that stays away longer. A slice is a band of whole rows by some of the pass's samples; sums stay
//! on the device until the band has all of them, and are then added to the film on the host. So
//! the host's film is always complete up to whole rows, and another executor can carry on from it.

mod adapter;
mod device;
mod fold;
mod pace;
mod program;
mod resident;

pub use adapter::{AdapterFacts, Choice};
pub use program::{Job, source};

use super::executor::{Block, Executor, ExecutorError, GetReady, Passes};
use super::film::{Film, MAX_LAYERS};
use crate::scene::Scene;
use device::Device;
use pace::Pace;
use program::{MOST_LANES, PIXEL_EXTRA_WORDS, Programs, RECEPTORS_AT_ONCE};
use resident::{Bands, Resident};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

/// Pixels that fill a large GPU several times over; more in a band only costs memory.
const BAND_PIXELS: u64 = 1 << 19;
/// Most that one band's sums may take, bytes.
const BAND_BYTES: u64 = 64 << 20;
/// Passes at once, at the most.
const MOST_PASSES: u32 = 16;
/// Most blocks of a reading to a dispatch: 256 lanes each stay within 65,535 workgroups of 64.
const MOST_BLOCKS: u64 = 1 << 13;

/// Runs the kernels on a GPU. Once the device is lost or has refused something, every call fails.
#[derive(Debug)]
pub struct Gpu {
    facts: AdapterFacts,
    device: Device,
    programs: Programs,
    resident: Resident,
    bands: Bands,
    render_pace: Pace,
    read_pace: Pace,
    rays: u64,
}

impl Gpu {
    /// The adapters that the system offers, best first. Empty where there is no driver.
    pub fn adapters() -> Vec<AdapterFacts> {
        adapter::all().into_iter().map(|(facts, _)| facts).collect()
    }

    /// Opens an adapter.
    ///
    /// # Errors
    /// When no adapter fits the choice, or the driver gives no device.
    pub fn open(choice: Choice) -> Result<Self, ExecutorError> {
        let (facts, adapter) = adapter::choose(choice)?;
        let device = Device::open(&adapter, facts.software)?;
        Ok(Self {
            programs: Programs::new(&device),
            resident: Resident::new(),
            bands: Bands::default(),
            render_pace: Pace::new(facts.software),
            read_pace: Pace::new(facts.software),
            rays: 0,
            facts,
            device,
        })
    }

    /// What was opened.
    pub fn facts(&self) -> &AdapterFacts {
        &self.facts
    }

    /// Puts the scene on the device, and forgets the pace when it is another one.
    fn prepare(&mut self, scene: &Scene) -> Result<(), ExecutorError> {
        self.device.check()?;
        if self.resident.sync(&self.device, scene)? {
            self.bands.unbind();
            self.render_pace = Pace::new(self.facts.software);
            self.read_pace = Pace::new(self.facts.software);
        }
        Ok(())
    }
}

impl Executor for Gpu {
    fn name(&self) -> String {
        self.facts.name.clone()
    }

    fn appetite(&self, samples: u32, each: u32) -> u32 {
        // Half as many again as there are: bringing sums home is then a small part of the work.
        (samples / (2 * each.max(1))).clamp(1, MOST_PASSES)
    }

    fn render(
        &mut self,
        scene: &Scene,
        film: &mut Film,
        passes: Passes,
        stop: &AtomicBool,
    ) -> Result<(), ExecutorError> {
        let layers = film.layers as usize;
        if layers != scene.layers.len() || layers > MAX_LAYERS {
            return Err(ExecutorError {
                what: format!(
                    "the film has {layers} layers and the scene {}; at most {MAX_LAYERS} can be rendered",
                    scene.layers.len()
                ),
            });
        }
        let count = passes.samples();
        if count == 0 || film.width == 0 || film.rows == 0 {
            return Ok(());
        }
        self.prepare(scene)?;
        let program = self.programs.render(&self.device, scene)?;
        let pixel_bytes = 4 * (3 * layers as u64 + PIXEL_EXTRA_WORDS);
        let pending_bytes = 4 * 3 * layers as u64;
        let mut mix = [[0.0; 4]; MAX_LAYERS];
        for (to, from) in mix.iter_mut().zip(&scene.mix) {
            to[..3].copy_from_slice(from);
        }
        let most_pixels = (self.device.largest_binding().min(BAND_BYTES)
            / (pixel_bytes + pending_bytes))
            .min(BAND_PIXELS);
        let most_rows = most_pixels / u64::from(film.width);
        if most_rows == 0 {
            return Err(ExecutorError {
                what: format!(
                    "{}: a row of {} pixels does not fit",
                    self.facts.name, film.width
                ),
            });
        }
        let mut waiting = None;
        let mut row = 0;
        'bands: while row < film.rows {
            let rows = self
                .render_pace
                .rows(film.width, film.rows - row, most_rows);
            let pixels = u64::from(rows) * u64::from(film.width);
            self.bands.next(
                &self.device,
                &self.resident,
                &program,
                pixels * (pixel_bytes + pending_bytes),
            )?;
            let mut done = 0;
            while done < count {
                if stop.load(Ordering::Relaxed) {
                    break 'bands;
                }
                let share = self.render_pace.samples(pixels, count - done);
                let job = Job {
                    width: film.width,
                    rows,
                    first_row: film.first_row + row,
                    first_sample: passes.first.wrapping_add(done),
                    sample_count: share,
                    pass_samples: passes.each,
                    done,
                    pixels: pixels as u32,
                    mix,
                    layer_count: film.layers,
                    ..Job::default()
                };
                let job = match &film.only {
                    Some(blocks) => job.only(blocks),
                    None => job,
                };
                done += share;
                let started = Instant::now();
                let groups = [film.width.div_ceil(8), rows.div_ceil(8)];
                let ticket = self.bands.run(
                    &self.device,
                    &self.resident,
                    &program,
                    &job,
                    groups,
                    (done == count).then_some(pixels * pixel_bytes),
                );
                // Add the band before this one to the film while the device works.
                let mut waited_for = true;
                if let Some(band) = waiting.take() {
                    self.rays += fold::into_film(&self.device, &self.bands, band, film, passes)?;
                    waited_for = !self.device.is_idle();
                }
                self.device.wait(ticket)?;
                self.render_pace
                    .note(pixels * u64::from(share), started.elapsed(), waited_for);
            }
            waiting = Some(fold::Band {
                row,
                rows,
                place: self.bands.place(),
            });
            row += rows;
        }
        if let Some(band) = waiting {
            self.rays += fold::into_film(&self.device, &self.bands, band, film, passes)?;
        }
        Ok(())
    }

    fn read(
        &mut self,
        scene: &Scene,
        block_samples: u32,
        first_block: u32,
        blocks: u32,
    ) -> Result<Vec<Vec<Block>>, ExecutorError> {
        let layers = scene.layers.len();
        if layers > MAX_LAYERS {
            return Err(ExecutorError {
                what: format!("the scene has {layers} layers; at most {MAX_LAYERS} can be read"),
            });
        }
        let receptors = scene.receptors.len() as u32;
        if receptors == 0 || blocks == 0 || block_samples == 0 {
            return Ok(Vec::new());
        }
        self.prepare(scene)?;
        let program = self.programs.read(&self.device, scene)?;
        let lanes = block_samples.div_ceil(4).min(MOST_LANES);
        let block_bytes = 4 * u64::from(lanes) * (3 * layers as u64 + 1);
        let mut read: Vec<Vec<Block>> =
            vec![Vec::with_capacity(blocks as usize); receptors as usize];
        let mut receptor = 0;
        while receptor < receptors {
            let at_once = self.read_pace.samples(
                block_samples.into(),
                (receptors - receptor).min(RECEPTORS_AT_ONCE),
            );
            self.resident.set_receptors(
                &self.device,
                &scene.receptors[receptor as usize..(receptor + at_once) as usize],
            );
            let of_batch = &mut read[receptor as usize..(receptor + at_once) as usize];
            let most = (self.device.largest_binding().min(BAND_BYTES)
                / (block_bytes * u64::from(at_once)))
            .clamp(1, MOST_BLOCKS) as u32;
            let mut done = 0;
            while done < blocks {
                let share = self.read_pace.samples(
                    u64::from(at_once) * u64::from(block_samples),
                    (blocks - done).min(most),
                );
                let job = Job {
                    first_receptor: receptor,
                    block_samples,
                    lanes,
                    first_block: first_block + done,
                    block_count: share,
                    layer_count: layers as u32,
                    ..Job::default()
                };
                let bytes = block_bytes * u64::from(share * at_once);
                self.bands
                    .next(&self.device, &self.resident, &program, bytes)?;
                let started = Instant::now();
                let groups = [(share * lanes).div_ceil(64), at_once];
                let ticket = self.bands.run(
                    &self.device,
                    &self.resident,
                    &program,
                    &job,
                    groups,
                    Some(bytes),
                );
                self.device.wait(ticket)?;
                let samples = u64::from(share * at_once) * u64::from(block_samples);
                self.read_pace.note(samples, started.elapsed(), true);
                self.rays += fold::into_blocks(&self.device, &self.bands, of_batch, &job, bytes)?;
                done += share;
            }
            receptor += at_once;
        }
        Ok(read)
    }

    fn rays(&self) -> Option<u64> {
        Some(self.rays)
    }

    fn unready(&self, scene: &Scene) -> Option<GetReady> {
        self.programs.unready(&self.device, scene)
    }

    fn hurry(&mut self) {
        self.programs.hurry();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::table::{Emission, Face};
    use crate::scene::builder::{Axes, SceneBuilder};
    use glam::DVec3;
    use std::time::Duration;

    /// Any adapter, as in tests/executors.rs.
    pub(super) fn gpu() -> Option<Gpu> {
        match Gpu::open(Choice::Any) {
            Ok(gpu) => Some(gpu),
            Err(_) if std::env::var_os("SWATCHLIGHT_SKIP_GPU_TESTS").is_some() => None,
            Err(e) => panic!(
                "{e}: install a driver (lavapipe will do), or set SWATCHLIGHT_SKIP_GPU_TESTS=1"
            ),
        }
    }

    /// A globe before the camera, and a meter that faces it.
    fn scene() -> Scene {
        let mut b = SceneBuilder::new();
        let layer = b.layer("globe");
        let axes = Axes {
            origin_m: DVec3::NEG_Z,
            x: DVec3::X,
            y: DVec3::Y,
            z: DVec3::Z,
        };
        b.emitter(
            &Emission::lambertian(Face::Globe { radius_m: 0.5 }),
            axes,
            layer,
        );
        b.receptor(DVec3::ZERO, DVec3::NEG_Z, false);
        let mut scene = b.build();
        let p = &mut scene.params;
        (p.forward.z, p.right.x, p.up.y, p.image_distance_m) = (-1.0, 1.0, 1.0, 1.0);
        (p.sensor_width_m, p.sensor_height_m, p.width, p.height) = (0.5, 0.5, 256, 256);
        scene
    }

    fn go() -> AtomicBool {
        AtomicBool::new(false)
    }

    /// A lost device is an error, every time it is asked, and costs the film nothing.
    #[test]
    fn a_lost_device_is_an_error() {
        let Some(mut gpu) = gpu() else { return };
        let scene = scene();
        let mut film = Film::new(256, 0, 256, 1);
        gpu.render(&scene, &mut film, Passes::one(0, 2), &go())
            .expect("a sound device renders");
        gpu.read(&scene, 64, 0, 1).expect("a sound device reads");
        let before = film.clone();
        assert!(before.light.iter().any(|l| l[1] > 0.0));
        gpu.device.lose();
        for _ in 0..2 {
            let failed = gpu
                .render(&scene, &mut film, Passes::one(2, 2), &go())
                .expect_err("a lost device");
            assert!(failed.what.contains("graphics device"), "{failed}");
            gpu.read(&scene, 64, 0, 1).expect_err("a lost device");
        }
        assert_eq!(film.light, before.light);
        assert_eq!(film.row_samples, before.row_samples);
    }

    /// The same when it goes in the middle: rows have all of the pass or none of it.
    #[test]
    fn a_device_lost_on_the_way_leaves_whole_rows() {
        let Some(mut gpu) = gpu() else { return };
        let scene = scene();
        let mut whole = Film::new(256, 0, 256, 1);
        gpu.render(&scene, &mut whole, Passes::one(0, 64), &go())
            .expect("a sound device renders");
        for delay_ms in [0, 5, 20, 80] {
            let Some(mut gpu) = self::gpu() else { return };
            let mut film = Film::new(256, 0, 256, 1);
            gpu.render(&scene, &mut film, Passes::one(0, 1), &go())
                .expect("a sound device renders");
            let mut film = Film::new(256, 0, 256, 1);
            let device = gpu.device.device.clone();
            let failed = std::thread::scope(|threads| {
                threads.spawn(|| {
                    std::thread::sleep(Duration::from_millis(delay_ms));
                    device.destroy();
                });
                (0..100_000).find_map(|_| {
                    film = Film::new(256, 0, 256, 1);
                    gpu.render(&scene, &mut film, Passes::one(0, 64), &go())
                        .err()
                })
            });
            assert!(failed.is_some(), "the device was taken away");
            for row in 0..256 {
                let pixels = row * 256..(row + 1) * 256;
                if film.row_samples[row] == 0 {
                    assert!(film.light[pixels].iter().flatten().all(|v| *v == 0.0));
                } else {
                    assert_eq!(film.row_samples[row], 64);
                    assert_eq!(film.light[pixels.clone()], whole.light[pixels]);
                }
            }
        }
    }

    /// What cannot fit is refused with words.
    #[test]
    fn too_wide_a_film_is_refused() {
        let Some(mut gpu) = gpu() else { return };
        let mut film = Film::new(1 << 20, 0, 1, 1);
        let failed = gpu
            .render(&scene(), &mut film, Passes::one(0, 1), &go())
            .expect_err("too wide");
        assert!(failed.what.contains("1048576 pixels"), "{failed}");
    }
}
