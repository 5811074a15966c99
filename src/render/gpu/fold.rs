//! Adds what the device gathered to the film, or to a reading's blocks.

use super::device::Device;
use super::program::{Job, PIXEL_EXTRA_WORDS};
use super::resident::Bands;
use crate::render::executor::{Block, ExecutorError, Passes};
use crate::render::film::{Film, Seen, Spread};
use rayon::prelude::*;

/// Rows whose pass is complete and on its way home.
#[derive(Debug)]
pub struct Band {
    /// First row, counted from the film's.
    pub row: u32,
    /// Rows.
    pub rows: u32,
    /// Which of the two bands holds them.
    pub place: usize,
}

/// One row of the film and its counts.
struct Row<'a> {
    light: &'a mut [[f32; 3]],
    seen: &'a mut [Seen],
    spread: &'a mut [Spread],
    samples: &'a mut u32,
    passes: &'a mut u32,
}

/// Adds a band's passes to the film, just as the CPU executor does. Returns the
/// rays traced.
pub fn into_film(
    device: &Device,
    bands: &Bands,
    band: Band,
    film: &mut Film,
    passes: Passes,
) -> Result<u64, ExecutorError> {
    let (width, layers) = (film.width as usize, film.layers as usize);
    let stride = 3 * layers + PIXEL_EXTRA_WORDS as usize;
    let bytes = 4 * (stride * width * band.rows as usize) as u64;
    let (only, first_row) = (film.only.clone(), film.first_row + band.row);
    let (rays, refused) = bands.read(device, band.place, bytes, |words| {
        rows(film, &band)
            .into_par_iter()
            .zip(words.par_chunks(stride * width))
            .enumerate()
            .map(|(i, (row, words))| {
                let chosen = |x: usize| {
                    let row = first_row + i as u32;
                    only.as_ref().is_none_or(|o| o.holds(x as u32, row))
                };
                add_row(row, words, (stride, layers), passes, chosen)
            })
            .reduce(|| (0, 0), |a, b| (a.0 + b.0, a.1 + b.1))
    })?;
    film.refused += refused;
    Ok(rays)
}

fn rows<'a>(film: &'a mut Film, band: &Band) -> Vec<Row<'a>> {
    let (width, layers) = (film.width as usize, film.layers as usize);
    let mut light = &mut film.light[band.row as usize * width * layers..];
    let range = band.row as usize..(band.row + band.rows) as usize;
    let pixels = range.start * width..range.end * width;
    let seen = film.seen[pixels.clone()].chunks_mut(width);
    let spread = film.spread[pixels].chunks_mut(width);
    let counts = film.row_samples[range.clone()]
        .iter_mut()
        .zip(&mut film.row_passes[range]);
    seen.zip(spread)
        .zip(counts)
        .map(|((seen, spread), (samples, passes))| {
            let (row, rest) = std::mem::take(&mut light).split_at_mut(width * layers);
            light = rest;
            Row {
                light: row,
                seen,
                spread,
                samples,
                passes,
            }
        })
        .collect()
}

/// What the device has for pixels that were not chosen means nothing.
fn add_row(
    row: Row,
    words: &[u32],
    (stride, layers): (usize, usize),
    passes: Passes,
    chosen: impl Fn(usize) -> bool,
) -> (u64, u64) {
    let (mut rays, mut refused) = (0, 0);
    let pixels = words.chunks_exact(stride).enumerate();
    for (x, words) in pixels.filter(|(x, _)| chosen(*x)) {
        let (light, seen) = words.split_at(3 * layers);
        let pixel = &mut row.light[x * layers..(x + 1) * layers];
        for (pixel, layer) in pixel.iter_mut().zip(light.chunks_exact(3)) {
            for c in 0..3 {
                pixel[c] += f32::from_bits(layer[c]);
            }
        }
        let fact = |i: usize| f32::from_bits(seen[i]);
        let to = &mut row.seen[x];
        for c in 0..3 {
            to.albedo[c] += fact(c);
            to.normal[c] += fact(4 + c);
        }
        to.depth_m += fact(3);
        to.met += fact(7);
        rays += u64::from(seen[8]);
        refused += u64::from(seen[9]);
        let spread = &mut row.spread[x];
        spread.sum += fact(10);
        spread.second += fact(11);
    }
    *row.samples += passes.samples();
    *row.passes += passes.number;
    (rays, refused)
}

/// Appends a dispatch's blocks to its receptors'. Returns the rays traced.
pub fn into_blocks(
    device: &Device,
    bands: &Bands,
    receptors: &mut [Vec<Block>],
    job: &Job,
    bytes: u64,
) -> Result<u64, ExecutorError> {
    let layers = job.layer_count as usize;
    let lane_words = 3 * layers + 1;
    let block_words = lane_words * job.lanes as usize;
    bands.read(device, bands.place(), bytes, |words| {
        let mut rays = 0;
        for (receptor, words) in receptors
            .iter_mut()
            .zip(words.chunks_exact(block_words * job.block_count as usize))
        {
            for block in words.chunks_exact(block_words) {
                // Lane by lane, so that the sum is the same every time.
                let mut sums = vec![[0.0_f64; 3]; layers];
                for lane in block.chunks_exact(lane_words) {
                    for (sum, layer) in sums.iter_mut().zip(lane.chunks_exact(3)) {
                        for c in 0..3 {
                            sum[c] += f64::from(f32::from_bits(layer[c]));
                        }
                    }
                    rays += u64::from(lane[lane_words - 1]);
                }
                receptor.push(
                    sums.into_iter()
                        .map(|s| s.map(|v| v / f64::from(job.block_samples)))
                        .collect(),
                );
            }
        }
        rays
    })
}
