//! The CPU executor: the translated kernels over plain slices, on all cores.

pub(super) mod traverse;

use super::executor::{Block, Executor, ExecutorError, Passes};
use super::film::{Film, MAX_LAYERS, Seen, Spread};

use crate::scene::records::{Emitter, Hit, Material, Params, Receptor, Triangle, Vertex};
use crate::scene::{Scene, kernels::Kernels};
use glam::Vec3;
use naga_rust_rt::{Scalar, Vec3 as KernelVec3, Vec4 as KernelVec4};
use rayon::prelude::*;
use std::cell::Cell;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use traverse::{Stack, trace};

/// Runs the kernels on the processor's cores.
#[derive(Debug)]
pub struct Cpu {
    pool: rayon::ThreadPool,
    rays: AtomicU64,
}

impl Cpu {
    /// On `threads` threads, or all that the machine has for 0.
    ///
    /// # Errors
    /// When the system gives no threads.
    pub fn new(threads: usize) -> Result<Self, ExecutorError> {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .map_err(|e| ExecutorError {
                what: format!("no worker threads: {e}"),
            })?;
        Ok(Self {
            pool,
            rays: AtomicU64::new(0),
        })
    }
}

impl Executor for Cpu {
    fn name(&self) -> String {
        match self.pool.current_num_threads() {
            1 => "processor, 1 thread".into(),
            n => format!("processor, {n} threads"),
        }
    }

    fn appetite(&self, _: u32, _: u32) -> u32 {
        1
    }

    fn render(
        &mut self,
        scene: &Scene,
        film: &mut Film,
        passes: Passes,
        stop: &AtomicBool,
    ) -> Result<(), ExecutorError> {
        for pass in 0..passes.number {
            self.pass(
                scene,
                film,
                passes.first + pass * passes.each,
                passes.each,
                stop,
            );
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
        let rays = &self.rays;
        let receptors = scene.receptors.len() as u32;
        let flat: Vec<Block> = self.pool.install(|| {
            (0..receptors * blocks)
                .into_par_iter()
                .map_init(
                    || Platform::new(scene),
                    |platform, job| {
                        let (receptor, block) = (job / blocks, first_block + job % blocks);
                        platform.start();
                        for index in block * block_samples..(block + 1) * block_samples {
                            platform.receptor_path(Scalar(receptor), Scalar(index));
                        }
                        rays.fetch_add(platform.rays.take(), Ordering::Relaxed);
                        platform.layers[..layers]
                            .iter()
                            .map(|l| l.get().map(|c| f64::from(c) / f64::from(block_samples)))
                            .collect()
                    },
                )
                .collect()
        });
        let per_receptor = blocks.max(1) as usize;
        Ok(flat.chunks(per_receptor).map(<[Block]>::to_vec).collect())
    }

    fn rays(&self) -> Option<u64> {
        Some(self.rays.load(Ordering::Relaxed))
    }
}

impl Cpu {
    fn pass(&self, scene: &Scene, film: &mut Film, first: u32, count: u32, stop: &AtomicBool) {
        let width = film.width as usize;
        let layers = film.layers as usize;
        let first_row = film.first_row;
        let refused = AtomicU64::new(0);
        let rays = &self.rays;
        let weights = &scene.mix[..];
        let only = film.only.clone();
        self.pool.install(|| {
            film.light
                .par_chunks_mut(width * layers.max(1))
                .zip(film.seen.par_chunks_mut(width))
                .zip(film.spread.par_chunks_mut(width))
                .zip(
                    film.row_samples
                        .par_iter_mut()
                        .zip(film.row_passes.par_iter_mut()),
                )
                .enumerate()
                .for_each_init(
                    || Platform::new(scene),
                    |platform, (row, (((light, seen), spread), (samples, passes)))| {
                        if stop.load(Ordering::Relaxed) {
                            return;
                        }
                        for x in 0..width {
                            let place = (x as u32, first_row + row as u32);
                            if only.as_ref().is_some_and(|o| !o.holds(place.0, place.1)) {
                                continue;
                            }
                            platform.start();
                            let (mut before, mut second) = (0.0, 0.0);
                            for index in first..first + count {
                                platform.camera_path(
                                    Scalar(place.0),
                                    Scalar(place.1),
                                    Scalar(index),
                                );
                                let after = platform.mixed(weights);
                                if platform.in_second_net(Scalar(index)).0 {
                                    second += after - before;
                                }
                                before = after;
                            }
                            let into = &mut light[x * layers..(x + 1) * layers];
                            let sum = platform.settle(into, weights);
                            add_seen(&mut seen[x], &platform.seen.get());
                            spread[x] = Spread {
                                sum: spread[x].sum + sum,
                                second: spread[x].second + second,
                            };
                        }
                        *samples += count;
                        *passes += 1;
                        rays.fetch_add(platform.rays.take(), Ordering::Relaxed);
                        refused.fetch_add(platform.refused.take(), Ordering::Relaxed);
                    },
                );
        });
        film.refused += refused.into_inner();
    }
}

fn add_seen(sum: &mut Seen, more: &Seen) {
    for i in 0..3 {
        sum.albedo[i] += more.albedo[i];
        sum.normal[i] += more.normal[i];
    }
    sum.depth_m += more.depth_m;
    sum.met += more.met;
}

/// One thread's view of the scene, and where its samples gather: the platform seam.
struct Platform<'a> {
    scene: &'a Scene,
    stack: Stack,
    layers: [Cell<[f32; 3]>; MAX_LAYERS],
    seen: Cell<Seen>,
    rays: Cell<u64>,
    refused: Cell<u64>,
}

impl<'a> Platform<'a> {
    fn new(scene: &'a Scene) -> Self {
        Self {
            scene,
            stack: Stack::new(&scene.accel),
            layers: [const { Cell::new([0.0; 3]) }; MAX_LAYERS],
            seen: Cell::new(Seen::default()),
            rays: Cell::new(0),
            refused: Cell::new(0),
        }
    }

    fn start(&self) {
        for layer in &self.layers[..self.scene.layers.len()] {
            layer.set([0.0; 3]);
        }
        self.seen.set(Seen::default());
    }

    /// Luminance in the mix of what the pass has gathered so far.
    fn mixed(&self, mix: &[[f32; 3]]) -> f32 {
        self.layers
            .iter()
            .zip(mix)
            .map(|(layer, weight)| {
                let l = layer.get();
                l[0] * weight[0] + l[1] * weight[1] + l[2] * weight[2]
            })
            .sum()
    }

    /// Adds the pass to the film's pixel; returns its luminance in the mix.
    fn settle(&self, into: &mut [[f32; 3]], mix: &[[f32; 3]]) -> f32 {
        let mut sum = 0.0;
        for ((pixel, layer), weight) in into.iter_mut().zip(&self.layers).zip(mix) {
            let l = layer.get();
            for c in 0..3 {
                pixel[c] += l[c];
                sum += l[c] * weight[c];
            }
        }
        sum
    }
}

fn vector(v: KernelVec3<f32>) -> Vec3 {
    Vec3::new(v.x, v.y, v.z)
}

impl Kernels for Platform<'_> {
    #[inline]
    fn params(&self) -> Params {
        self.scene.params
    }
    #[inline]
    fn load_vertex(&self, index: Scalar<u32>) -> Vertex {
        self.scene.vertices[index.0 as usize]
    }
    #[inline]
    fn load_triangle(&self, index: Scalar<u32>) -> Triangle {
        self.scene.triangles[index.0 as usize]
    }
    #[inline]
    fn load_material(&self, index: Scalar<u32>) -> Material {
        self.scene.materials[index.0 as usize]
    }
    #[inline]
    fn load_emitter(&self, index: Scalar<u32>) -> Emitter {
        self.scene.emitters[index.0 as usize]
    }
    #[inline]
    fn load_receptor(&self, index: Scalar<u32>) -> Receptor {
        self.scene.receptors[index.0 as usize]
    }
    #[inline]
    fn load_texel(&self, index: Scalar<u32>) -> KernelVec4<f32> {
        let [x, y, z, w] = self.scene.texels[index.0 as usize];
        KernelVec4 { x, y, z, w }
    }
    #[inline]
    fn trace(
        &self,
        origin: KernelVec3<f32>,
        direction: KernelVec3<f32>,
        t_max: Scalar<f32>,
        mode: Scalar<u32>,
    ) -> Hit {
        self.rays.set(self.rays.get() + 1);
        trace(
            &self.scene.accel,
            &self.stack,
            vector(origin),
            vector(direction),
            t_max.0,
            mode.0,
        )
    }
    #[inline]
    fn deposit(&self, layer: Scalar<u32>, light: KernelVec3<f32>) {
        let cell = &self.layers[layer.0 as usize];
        // The one guard: a contribution that is not finite is refused and counted.
        if !(light.x + light.y + light.z).is_finite() {
            self.refused.set(self.refused.get() + 1);
            return;
        }
        let l = cell.get();
        cell.set([l[0] + light.x, l[1] + light.y, l[2] + light.z]);
    }
    #[inline]
    fn describe(&self, albedo: KernelVec3<f32>, normal: KernelVec3<f32>, depth_m: Scalar<f32>) {
        let mut seen = self.seen.get();
        add_seen(
            &mut seen,
            &Seen {
                albedo: [albedo.x, albedo.y, albedo.z],
                depth_m: depth_m.0,
                normal: [normal.x, normal.y, normal.z],
                met: 1.0,
            },
        );
        self.seen.set(seen);
    }
    #[inline]
    fn root(&self, x: Scalar<f32>) -> Scalar<f32> {
        Scalar(x.0.sqrt())
    }
    #[inline]
    fn reverse(&self, x: Scalar<u32>) -> Scalar<u32> {
        Scalar(x.0.reverse_bits())
    }
}

/// What a point sees of an emitter in one direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Unit, toward the emitter.
    pub direction: Vec3,
    /// To the place on the emitter, metres.
    pub distance_m: f32,
    /// Luminance per lumen from there.
    pub luminance: f32,
    /// Density of this look per solid angle.
    pub pdf: f32,
}

/// One look from a point at an emitter, by the place `square` (0..1 each way) that the kernels would
/// look at; occlusion is not asked. `None` where nothing can arrive.
pub fn look(scene: &Scene, emitter: usize, point_m: Vec3, square: [f32; 2]) -> Option<Look> {
    let platform = Platform::new(scene);
    let from = crate::scene::builder::record(point_m);
    let e = scene.emitters[emitter];
    let at = platform.emitter_point(
        e,
        from,
        naga_rust_rt::Vec2 {
            x: square[0],
            y: square[1],
        },
    );
    if at.pdf <= 0.0 {
        return None;
    }
    let to = vector(at.point) - point_m;
    let distance_m = to.length();
    let direction = to / distance_m;
    let out = crate::scene::builder::record(-direction);
    let luminance = platform.emitter_luminance(e, at.place, at.normal, out).0;
    (luminance > 0.0).then_some(Look {
        direction,
        distance_m,
        luminance,
        pdf: at.pdf,
    })
}
