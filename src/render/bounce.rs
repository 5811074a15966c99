//! Finds the light that leaves the set's flats, so that pictures need not follow it bounce by bounce.
//!
//! Each cell of a flat is metered by full paths, all bounces included, once for all pixels; kernels
//! then end a path that reaches a flat from some way off with what its cell gives (bounce.wgsl).
//! What that costs and gains, and how far it can be trusted, is measured in tests/bounce.rs.

use super::executor::{Executor, ExecutorError};
use crate::scene::builder::record;
use crate::scene::records::{RECEPTOR_FLAT, Receptor};
use crate::scene::{FlatRadiance, Scene};
use std::sync::atomic::{AtomicBool, Ordering};

/// Samples to a cell. A picture's gather looks at hundreds of cells, so their noise averages out.
pub const CELL_SAMPLES: u32 = 64;

/// Cells metered at a time, between looks at `stop`.
const BATCH: usize = 4096;

/// A cell's meter stands this far off the flat.
const STANDOFF_M: f32 = 1e-3;

/// Fills the cells of all flats, telling the share done. If `stop` is set the flats are left
/// unknown, and paths are followed in full.
///
/// # Errors
/// The executor's; the flats are then left unknown too.
pub fn fill(
    executor: &mut dyn Executor,
    scene: &mut Scene,
    stop: &AtomicBool,
    progress: impl FnMut(f64),
) -> Result<(), ExecutorError> {
    if let Some(radiance) = find(executor, scene, stop, progress)? {
        scene.set_bounce(&radiance);
    }
    Ok(())
}

/// What leaves each flat, for this scene and others with the same flats; `None` when stopped. The scene is left
/// with its flats unknown.
///
/// # Errors
/// The executor's.
pub fn find(
    executor: &mut dyn Executor,
    scene: &mut Scene,
    stop: &AtomicBool,
    mut progress: impl FnMut(f64),
) -> Result<Option<Vec<FlatRadiance>>, ExecutorError> {
    scene.clear_bounce();
    let meters = std::mem::take(&mut scene.receptors);
    let found = meter_cells(executor, scene, stop, &mut progress);
    scene.set_receptors(meters);
    found
}

fn meter_cells(
    executor: &mut dyn Executor,
    scene: &mut Scene,
    stop: &AtomicBool,
    progress: &mut impl FnMut(f64),
) -> Result<Option<Vec<FlatRadiance>>, ExecutorError> {
    let cells: Vec<Receptor> = scene
        .flats
        .iter()
        .flat_map(|flat| &flat.cells)
        .map(|(point, normal)| Receptor {
            position: record(*point + *normal * STANDOFF_M),
            kind: RECEPTOR_FLAT.0,
            facing: record(*normal),
            spare: 0.0,
        })
        .collect();
    let mut illuminance = Vec::with_capacity(cells.len());
    for batch in cells.chunks(BATCH) {
        if stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        scene.set_receptors(batch.to_vec());
        illuminance.extend(
            executor
                .read(scene, CELL_SAMPLES, 0, 1)?
                .into_iter()
                .map(|mut blocks| blocks.remove(0)),
        );
        progress(illuminance.len() as f64 / cells.len() as f64);
    }
    let mut rest = illuminance.into_iter();
    let radiance = scene
        .flats
        .iter()
        .map(|flat| {
            // L = ρ E / π.
            let leave = flat
                .reflectance
                .map(|r| f64::from(r) / std::f64::consts::PI);
            rest.by_ref()
                .take(flat.cells.len())
                .map(|layers| {
                    layers
                        .iter()
                        .map(|e| std::array::from_fn(|c| (e[c] * leave[c]) as f32))
                        .collect()
                })
                .collect()
        })
        .collect();
    Ok(Some(radiance))
}
