//! Gathers light at every meter of a studio, per light and per unit of output.

use crate::render::executor::{Block, Executor, ExecutorError, READING_BLOCK};
use crate::scene::Scene;
use crate::scene::studio::Studio;
use std::sync::atomic::{AtomicBool, Ordering};

/// Light that arrived at each meter from each light, block by block of samples.
#[derive(Debug, Clone)]
pub struct Gathered {
    /// `[meter][block][light]`: illuminance per lumen (lx per lm; lx·s per lm·s), linear sRGB,
    /// of white light.
    blocks: Vec<Vec<Block>>,
}

/// A mean and its standard error.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Estimate {
    /// The mean.
    pub value: f64,
    /// Standard error of the mean.
    pub error: f64,
}

impl Estimate {
    /// Error over value; 0 where there is nothing.
    pub fn relative(&self) -> f64 {
        if self.value > 0.0 {
            self.error / self.value
        } else {
            0.0
        }
    }
}

/// How long to gather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GatherGoal {
    /// Relative standard error to reach at every meter for the lights together.
    pub relative_error: f64,
    /// Blocks of samples at each meter, at the most.
    pub most_blocks: u32,
}

impl Default for GatherGoal {
    /// A half per cent, which is a fiftieth of a third of a stop.
    fn default() -> Self {
        Self {
            relative_error: 0.005,
            most_blocks: 2048,
        }
    }
}

/// BT.709 luminance.
const LUMINANCE: [f64; 3] = [0.212_639_005_9, 0.715_168_678_8, 0.072_192_315_4];

/// Blocks before the first look at the error: fewer give no trustworthy error.
const FIRST_BLOCKS: u32 = 16;

impl Gathered {
    /// Reads all meters until `goal` is met for the mix that `weights` makes of what has been
    /// gathered so far: one colour-and-amount weight a light, worked out anew as targets are
    /// solved. `stop` ends it early with what there is.
    ///
    /// # Errors
    /// The executor's.
    pub fn gather(
        executor: &mut dyn Executor,
        scene: &Scene,
        goal: GatherGoal,
        weights: impl Fn(&Gathered) -> Vec<[f64; 3]>,
        stop: &AtomicBool,
    ) -> Result<Self, ExecutorError> {
        let mut gathered = Self {
            blocks: vec![Vec::new(); scene.receptors.len()],
        };
        let mut next = FIRST_BLOCKS.min(goal.most_blocks.max(2));
        let mut done = 0;
        while !scene.receptors.is_empty() {
            let more = executor.read(scene, READING_BLOCK, done, next)?;
            for (into, from) in gathered.blocks.iter_mut().zip(more) {
                into.extend(from);
            }
            done += next;
            let mix = weights(&gathered);
            let worst = (0..gathered.blocks.len())
                .map(|m| gathered.together(m, &mix).relative())
                .fold(0.0, f64::max);
            if worst <= goal.relative_error
                || done >= goal.most_blocks
                || stop.load(Ordering::Relaxed)
            {
                break;
            }
            // Errors fall as 1/√n: go straight for the goal, at most fourfold at once.
            let wanted = f64::from(done) * (worst / goal.relative_error).powi(2) * 1.1;
            next = (wanted as u32)
                .clamp(done + 8, 4 * done)
                .min(goal.most_blocks)
                - done;
            if next == 0 {
                break;
            }
        }
        Ok(gathered)
    }

    /// Luminance of one light at a meter, weighted by channel.
    pub fn alone(&self, meter: usize, light: usize, weight: [f64; 3]) -> Estimate {
        self.estimate(meter, |block| luminance(block[light], weight))
    }

    /// Luminance of all lights at a meter, one weight each.
    pub fn together(&self, meter: usize, weights: &[[f64; 3]]) -> Estimate {
        self.estimate(meter, |block| {
            block
                .iter()
                .zip(weights)
                .map(|(e, w)| luminance(*e, *w))
                .sum()
        })
    }

    /// Linear sRGB of the mix at a meter.
    pub fn colour(&self, meter: usize, weights: &[[f64; 3]]) -> [f64; 3] {
        let blocks = &self.blocks[meter];
        let n = blocks.len().max(1) as f64;
        std::array::from_fn(|c| {
            blocks
                .iter()
                .map(|b| b.iter().zip(weights).map(|(e, w)| e[c] * w[c]).sum::<f64>())
                .sum::<f64>()
                / n
        })
    }

    fn estimate(&self, meter: usize, of: impl Fn(&Block) -> f64) -> Estimate {
        let values: Vec<f64> = self.blocks[meter].iter().map(of).collect();
        let n = values.len() as f64;
        if n < 2.0 {
            return Estimate {
                value: values.first().copied().unwrap_or(0.0),
                error: f64::INFINITY,
            };
        }
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        Estimate {
            value: mean,
            error: (variance / n).sqrt(),
        }
    }
}

fn luminance(e: [f64; 3], weight: [f64; 3]) -> f64 {
    (0..3).map(|c| LUMINANCE[c] * e[c] * weight[c]).sum()
}

/// Weight of each light for its amount (lm·s, or lm times the shutter): colour times amount.
pub fn weights(studio: &Studio, amounts: &[f64]) -> Vec<[f64; 3]> {
    studio
        .light_rgb
        .iter()
        .zip(amounts)
        .map(|(rgb, a)| rgb.map(|c| c * a))
        .collect()
}
