//! What rays meet first: for measures that must know what a pixel shows, not how it is lit.

use super::cpu::traverse::{Stack, trace};
use crate::scene::Scene;
use crate::scene::records::{NOTHING, TRACE_NEAREST};
use glam::Vec3;
use rayon::prelude::*;

/// Rays to one piece of work.
const ROW: usize = 512;

/// What a ray met.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Met {
    /// The material's number in the scene.
    pub material: u32,
    /// Along the ray, metres.
    pub distance_m: f32,
}

/// The first thing that each ray from `origin_m` meets; directions are unit vectors in the room. Sheets
/// that pass light are met like any other.
pub fn first_met(scene: &Scene, origin_m: Vec3, directions: &[Vec3]) -> Vec<Option<Met>> {
    let met = |stack: &Stack, direction: &Vec3| {
        let hit = trace(
            &scene.accel,
            stack,
            origin_m,
            *direction,
            f32::MAX,
            TRACE_NEAREST.0,
        );
        (hit.triangle != NOTHING.0).then(|| Met {
            material: scene.triangles[hit.triangle as usize].material,
            distance_m: hit.t,
        })
    };
    let rows = directions.par_chunks(ROW).map(|row| {
        let stack = Stack::new(&scene.accel);
        row.iter().map(|d| met(&stack, d)).collect::<Vec<_>>()
    });
    rows.flatten_iter().collect()
}
