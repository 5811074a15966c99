//! One scene rendered several times from independent seeds, so that the mean of each pixel and the
//! variance of that mean are known whatever the samples within a picture have to do with each other.

use std::error::Error;
use std::fs;
use std::path::Path;
use std::sync::atomic::AtomicBool;
use swatchlight::render::executor::{Executor, Passes};
use swatchlight::render::film::Film;
use swatchlight::scene::Scene;

/// What came of it, row by row.
pub struct Pictures(Vec<Running>);

/// Renders `seeds` pictures of `samples` samples to a pixel: the sum of the layers, each by its
/// weights (1 where none are given).
///
/// # Errors
/// The executor's, and light that is not a finite number.
pub fn pictures(
    executor: &mut dyn Executor,
    scene: &mut Scene,
    weights: &[[f64; 3]],
    seeds: u32,
    samples: u32,
) -> Result<Pictures, Box<dyn Error>> {
    let (width, height) = (scene.params.width, scene.params.height);
    let layers = scene.layers.len() as u32;
    let mut pixels = vec![Running::default(); (width * height) as usize];
    for seed in 1..=seeds {
        // One set of seeds for good, so that chance (one pixel's z of 5.4 among a million, seen with another set, of
        // three tried) is met once and not by whoever changes something else.
        scene.params.seed = 2000 + seed;
        let mut film = Film::new(width, 0, height, layers);
        executor.render(
            scene,
            &mut film,
            Passes::one(0, samples),
            &AtomicBool::new(false),
        )?;
        if film.refused > 0 {
            return Err("light that is not a finite number".into());
        }
        for (pixel, into) in (0..).zip(&mut pixels) {
            let of_layer = |layer| {
                let weight = weights.get(layer as usize).copied().unwrap_or([1.0; 3]);
                let light = film.mean(pixel % width, pixel / width, layer);
                std::array::from_fn(|c| weight[c] * f64::from(light[c]))
            };
            into.add((0..layers).map(of_layer));
        }
    }
    Ok(Pictures(pixels))
}

impl Pictures {
    /// Writes the mean and the variance of the mean: `f32`, row by row, three channels to a pixel.
    ///
    /// # Errors
    /// When a file cannot be written.
    pub fn write(&self, folder: &Path, name: &str) -> std::io::Result<()> {
        let means = self.0.iter().flat_map(|p| p.mean);
        let variances = self.0.iter().flat_map(Running::variance_of_mean);
        write_floats(&folder.join(format!("{name}.mean.f32")), means)?;
        write_floats(&folder.join(format!("{name}.variance.f32")), variances)
    }
}

/// Mean and spread of one pixel over pictures (Welford 1962).
#[derive(Debug, Clone, Copy, Default)]
pub struct Running {
    count: f64,
    mean: [f64; 3],
    squares: [f64; 3],
}

impl Running {
    /// Takes in one picture: the sum of its layers.
    fn add(&mut self, layers: impl Iterator<Item = [f64; 3]>) {
        let zero = [0.0_f64; 3];
        let light = layers.fold(zero, |sum, l| std::array::from_fn(|c| sum[c] + l[c]));
        self.count += 1.0;
        for ((mean, squares), light) in self.mean.iter_mut().zip(&mut self.squares).zip(light) {
            let off = light - *mean;
            *mean += off / self.count;
            *squares += off * (light - *mean);
        }
    }

    fn variance_of_mean(&self) -> [f64; 3] {
        self.squares.map(|s| s / (self.count - 1.0) / self.count)
    }
}

fn write_floats(path: &Path, values: impl Iterator<Item = f64>) -> std::io::Result<()> {
    let bytes: Vec<u8> = values.flat_map(|v| (v as f32).to_le_bytes()).collect();
    fs::write(path, bytes)
}
