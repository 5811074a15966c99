//! What runs the kernels.

use super::film::Film;
use crate::scene::Scene;
use std::sync::atomic::AtomicBool;

/// Samples to add to every pixel: passes of equal length, one after the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Passes {
    /// Number of the first sample.
    pub first: u32,
    /// Samples in each pass.
    pub each: u32,
    /// Passes.
    pub number: u32,
}

impl Passes {
    /// A single pass of `each` samples from number `first`.
    pub fn one(first: u32, each: u32) -> Self {
        Self {
            first,
            each,
            number: 1,
        }
    }

    /// Samples in all.
    pub fn samples(&self) -> u32 {
        self.each * self.number
    }
}

/// Something that can trace light: the CPU, or a GPU.
pub trait Executor: Send {
    /// What it is, for people: "processor, 2 threads" or the adapter's name.
    fn name(&self) -> String;

    /// How many passes it wants at once when `samples` are done: more where bringing the film home
    /// costs more than an interruption would.
    fn appetite(&self, samples: u32, each: u32) -> u32;

    /// Adds passes of samples to every pixel of the film's rows. `stop` is looked at between slices of work: when it is set, whole rows that were not reached keep
    /// the samples that they had.
    ///
    /// # Errors
    /// [`ExecutorError`] when the device is lost or refuses; the film keeps its passes.
    fn render(
        &mut self,
        scene: &Scene,
        film: &mut Film,
        passes: Passes,
        stop: &AtomicBool,
    ) -> Result<(), ExecutorError>;

    /// Samples what the scene's receptors gather: `blocks` blocks of `block_samples` samples each,
    /// from block `first_block`. The answer is in order `[receptor][block]`.
    ///
    /// # Errors
    /// As [`Executor::render`].
    fn read(
        &mut self,
        scene: &Scene,
        block_samples: u32,
        first_block: u32,
        blocks: u32,
    ) -> Result<Vec<Vec<Block>>, ExecutorError>;

    /// Rays traced so far, where counted.
    fn rays(&self) -> Option<u64>;

    /// What has to be done, on any thread, before a scene can be taken without a wait; none where it can.
    fn unready(&self, _scene: &Scene) -> Option<GetReady> {
        None
    }

    /// From now on takes kernels made for other scenes where they can do what a scene asks for, rather
    /// than wait for its own. Pixels then hang, by roundings, on what was rendered before.
    fn hurry(&mut self) {}
}

/// Makes an executor ready for a scene.
pub type GetReady = Box<dyn FnOnce() + Send>;

/// Samples in one block of a meter's reading.
pub const READING_BLOCK: u32 = 1024;

/// Mean over one block: illuminance per lumen of each layer, linear sRGB.
pub type Block = Vec<[f64; 3]>;

/// Why an executor could not go on.
#[derive(Debug, thiserror::Error)]
#[error("{what}")]
pub struct ExecutorError {
    /// What happened, in words.
    pub what: String,
}
