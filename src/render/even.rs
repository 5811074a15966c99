//! More samples where a picture is noisiest.
//!
//! At two per cent at the median pixel half a picture is better than that, and some of it much worse:
//! hair, edges of shadows on cloth, a rim of light. What is worst gets up to sixteen times the samples.
//! The film stays one of even samples to look at: sums of those pixels are brought to what as many
//! samples as everywhere would have given.

use super::blocks::Blocks;
use super::driver::{Goal, Progress, pass_size, render};
use super::executor::{Executor, ExecutorError, Passes};
use super::film::{Counted, Film};
use crate::scene::Scene;
use rayon::prelude::*;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Blocks worse than this many times the goal are gone over.
const WORST: f64 = 2.0;
/// Most samples of such a block, over those that every pixel has.
const MOST_TIMES: u32 = 16;
/// Most samples in all that are spent so, over those of the whole picture.
const MOST_SPENT: f64 = 1.0;
/// Paths that go on from one camera sample there, once a first doubling with all of them has brought what
/// bounces make noise of down. Light bounced off the room's flats makes little of what is left: with two
/// instead of eight a sample takes less than half the time, and the worst twentieth of blocks has a
/// twentieth to a fifth more noise a sample. Where it is the noise of bounced light after all, such a sample
/// has up to four times the variance of one before; so those count twice beside it. With two from the first
/// the median pixel of a figure in hard light on a dark set, which is among the worst, ended worse than it was.
const BRANCHES: u32 = 2;
/// What going over takes, over the even part, as long as it cannot be told: by measurement, .1 to .9.
const AFTER: f64 = 0.3;

/// What going over the noisiest came to.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Evened {
    /// Samples of the pixels that got most.
    pub most_samples: u32,
    /// Share of the picture's pixels that got more than all have.
    pub share: f64,
}

/// Renders to the goal; where that is an error, goes on with what is noisiest until no block is seen to
/// be worse than twice the goal, or has had its share. A stop asked for ends either.
///
/// How noise is seen: a change of lightness is as the luminance's to the power of 1/3 times its relative
/// change (L* of CIE 1976, ISO/CIE 11664-4), here against the picture's median luminance.
///
/// # Errors
/// The executor's; the film keeps what it has.
pub fn render_evenly(
    executor: &mut dyn Executor,
    scene: &mut Scene,
    film: &mut Film,
    goal: Goal,
    stop: &AtomicBool,
    mut progress: impl FnMut(&Progress),
) -> Result<Evened, ExecutorError> {
    let Some(want) = goal.relative_error else {
        let reached = render(executor, scene, film, goal, stop, progress)?;
        return Ok(Evened {
            most_samples: reached.samples,
            share: 0.0,
        });
    };
    let start = Instant::now();
    let mut even_s = Duration::ZERO;
    let reached = render(executor, scene, film, goal, stop, |now| {
        even_s = now.elapsed;
        progress(&Progress {
            done: now.done / (1.0 + AFTER),
            left: now
                .left
                .map(|left| left + (now.elapsed + left).mul_f64(AFTER)),
            ..*now
        });
    })?;
    let base = reached.samples;
    let mut evened = Evened {
        most_samples: base,
        share: 0.0,
    };
    // After an interruption rows differ, and nobody waits for more.
    if base > 0 && film.row_samples.iter().all(|n| *n == base) {
        let branches = scene.params.branches;
        scene.params.branches_before = branches;
        let most = goal.samples.min(base.saturating_mul(MOST_TIMES));
        let over = go_over(executor, scene, film, (WORST * want, most), stop, |share| {
            let after = start.elapsed().saturating_sub(even_s);
            progress(&Progress {
                elapsed: start.elapsed(),
                done: ((1.0 + AFTER * share) / (1.0 + AFTER)).min(1.0),
                left: (share > 0.0).then(|| after.mul_f64((1.0 / share - 1.0).max(0.0))),
                ..reached
            });
        });
        scene.params.branches = branches;
        scene.params.branches_before = 0;
        evened = over?;
    }
    progress(&Progress {
        elapsed: start.elapsed(),
        done: if stop.load(Ordering::Relaxed) {
            reached.done
        } else {
            1.0
        },
        left: None,
        ..reached
    });
    Ok(evened)
}

/// Doubles the samples of the blocks worse than `want`, round by round, up to `most` samples to a pixel; leaves
/// the scene with few branches.
fn go_over(
    executor: &mut dyn Executor,
    scene: &mut Scene,
    film: &mut Film,
    (want, most): (f64, u32),
    stop: &AtomicBool,
    mut told: impl FnMut(f64),
) -> Result<Evened, ExecutorError> {
    let base = film.samples();
    let pixels = f64::from(film.width) * f64::from(film.rows);
    let affordable = MOST_SPENT * f64::from(base) * pixels;
    let (mut spent, mut over) = (0.0, 0.0);
    let mut evened = Evened {
        most_samples: base,
        share: 0.0,
    };
    let mut samples = base;
    // Samples with all branches, that count twice beside those with few.
    let mut twice = 0;
    let mut within: Option<Blocks> = None;
    // What it will all come to, as errors are when it begins.
    let planned = planned(film, want, base, most).min(affordable).max(1.0);
    while samples < most && !stop.load(Ordering::Relaxed) {
        let next = (2 * samples).min(most);
        let each = pass_size(samples, next);
        let number = (next - samples) / each;
        let next = samples + each * number;
        let cost = f64::from(next - samples);
        let chosen = choose(film, want, within.as_ref(), (affordable - spent) / cost);
        let of_blocks = pixels_in(film, &chosen);
        if of_blocks == 0.0 {
            break;
        }
        if samples == base {
            over = of_blocks / pixels;
        }
        let round = Passes {
            first: samples,
            each,
            number,
        };
        let chosen = Arc::new(chosen);
        let got = add(
            executor,
            scene,
            film,
            (base, twice, &chosen),
            round,
            stop,
            |share| {
                told(((spent + share * cost * of_blocks) / planned).min(0.999));
            },
        )?;
        spent += cost * of_blocks;
        evened = Evened {
            most_samples: got,
            share: over,
        };
        samples = next;
        if twice == 0 {
            twice = next;
            scene.params.branches = scene.params.branches.min(BRANCHES);
        }
        within = Arc::try_unwrap(chosen).ok();
    }
    Ok(evened)
}

fn pixels_in(film: &Film, chosen: &Blocks) -> f64 {
    (0..chosen.len())
        .filter(|block| chosen.is_chosen(*block))
        .map(|block| {
            let (columns, rows) = chosen.pixels_of(block, film.width, film.first_row, film.rows);
            (columns.len() * rows.len()) as f64
        })
        .sum()
}

/// Adds passes to the chosen blocks, that have `passes.first` samples, of a film that has `base`, those up to
/// `twice` counted so; returns the most that a row of theirs has then.
fn add(
    executor: &mut dyn Executor,
    scene: &Scene,
    film: &mut Film,
    (base, twice, chosen): (u32, u32, &Arc<Blocks>),
    passes: Passes,
    stop: &AtomicBool,
    mut told: impl FnMut(f64),
) -> Result<u32, ExecutorError> {
    let counts = film.row_passes.clone();
    let (even, over) = (Counted::first(base), |samples| {
        Counted::first_with_twice(samples, twice)
    });
    for row in 0..film.rows {
        film.rescale(row, chosen, even, over(passes.first));
    }
    film.row_samples.fill(passes.first);
    film.only = Some(Arc::clone(chosen));
    let mut result = Ok(());
    let mut done = 0;
    while done < passes.number && result.is_ok() && !stop.load(Ordering::Relaxed) {
        let first = passes.first + done * passes.each;
        let appetite = executor.appetite(first, passes.each).max(1);
        let step = Passes {
            first,
            number: appetite.min(passes.number - done),
            ..passes
        };
        result = executor.render(scene, film, step, stop);
        done += step.number;
        told(f64::from(done) / f64::from(passes.number));
    }
    film.only = None;
    let most = film.row_samples.iter().copied().max().unwrap_or(base);
    for row in 0..film.rows {
        let got = film.row_samples[row as usize];
        film.rescale(row, chosen, over(got), even);
    }
    film.row_samples.fill(base);
    film.row_passes = counts;
    result.map(|()| most)
}

/// The blocks worse than `want`, worst first, of those `within`, as many as `affordable` pixels hold.
fn choose(film: &Film, want: f64, within: Option<&Blocks>, affordable: f64) -> Blocks {
    let mut chosen = Blocks::none(film.width, film.first_row, film.rows);
    let mut worst: Vec<(usize, f64, u32)> = seen_errors(film)
        .into_iter()
        .enumerate()
        .filter(|(block, (error, _))| *error > want && within.is_none_or(|w| w.is_chosen(*block)))
        .map(|(block, (error, pixels))| (block, error, pixels))
        .collect();
    worst.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let mut spent = 0.0;
    for (block, _, pixels) in worst {
        spent += f64::from(pixels);
        if spent > affordable {
            break;
        }
        chosen.choose(block);
    }
    chosen
}

/// Samples that bringing all blocks to `want` takes, where errors fall as one over the root of samples.
fn planned(film: &Film, want: f64, base: u32, most: u32) -> f64 {
    let times = f64::from(most) / f64::from(base.max(1));
    seen_errors(film)
        .into_iter()
        .filter(|(error, _)| *error > want)
        .map(|(error, pixels)| {
            let rounds = (2.0 * (error / want).log2()).ceil().exp2().min(times) - 1.0;
            f64::from(base) * rounds * f64::from(pixels)
        })
        .sum()
}

/// How much noise is seen in each block, and its pixels: the root of its mean variance over its mean
/// luminance, weighed for lightness.
fn seen_errors(film: &Film) -> Vec<(f64, u32)> {
    let grid = Blocks::none(film.width, film.first_row, film.rows);
    let blocks: Vec<(f64, f64, u32)> = (0..grid.len())
        .into_par_iter()
        .map(|block| {
            let (columns, rows) = grid.pixels_of(block, film.width, film.first_row, film.rows);
            let (mut mean, mut variance, mut count) = (0.0, 0.0, 0_u32);
            for row in rows {
                let samples = film.row_samples[row as usize];
                let start = row as usize * film.width as usize;
                for spread in &film.spread[start..][columns.start as usize..columns.end as usize] {
                    let (m, v) = spread.mean_and_variance(samples);
                    mean += m;
                    variance += v;
                    count += 1;
                }
            }
            let n = f64::from(count.max(1));
            (mean / n, (variance / n).sqrt(), count)
        })
        .collect();
    let mut lit: Vec<f64> = blocks.iter().map(|b| b.0).filter(|m| *m > 0.0).collect();
    if lit.is_empty() {
        return vec![(0.0, 0); blocks.len()];
    }
    let middle = lit.len() / 2;
    let (_, median, _) = lit.select_nth_unstable_by(middle, f64::total_cmp);
    let median = *median;
    blocks
        .into_iter()
        .map(|(mean, error, pixels)| {
            let seen = if mean > 0.0 {
                error / mean * (mean / median).cbrt()
            } else {
                0.0
            };
            (seen, pixels)
        })
        .collect()
}
