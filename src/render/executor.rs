//! What runs the kernels.

use super::film::Film;
use crate::scene::Scene;
use std::sync::atomic::AtomicBool;

/// Something that can trace light: the CPU, or a GPU.
pub trait Executor: Send {
    /// What it is, for people: "processor, 2 threads" or the adapter's name.
    fn name(&self) -> String;

    /// Adds `count` samples, from number `first`, to every pixel of the film's rows. `stop` is
    /// looked at between slices of work: when it is set, whole rows that were not reached keep
    /// the samples that they had.
    ///
    /// # Errors
    /// [`ExecutorError`] when the device is lost or refuses; the film keeps its passes.
    fn render(
        &mut self,
        scene: &Scene,
        film: &mut Film,
        first: u32,
        count: u32,
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
}

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
