//! The processor until a graphics adapter is ready: opening one and compiling the kernels for it can take
//! half a minute the first time, and nobody should look at an empty frame so long.

use super::choose::{Chosen, Wish, choose};
use super::executor::{Block, Executor, ExecutorError, Passes};
use super::film::Film;
use super::steady::Steady;
use crate::optics::table::{Emission, Face};
use crate::scene::Scene;
use crate::scene::builder::{Axes, Lens, SceneBuilder};
use crate::scene::materials::Surface;
use crate::scene::shapes;
use glam::DVec3;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// Runs on one executor while another gets ready, and on that from the next pass on.
pub struct Relay {
    executor: Box<dyn Executor>,
    rays_before: u64,
    coming: Coming,
}

/// What decides how a kernel is compiled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shape {
    /// Layers of the film.
    pub layers: usize,
    /// Depth of the tree.
    pub depth: usize,
}

/// Makes the other executor ready for scenes of a shape; none where there is nothing better.
type Make = Box<dyn FnOnce(Shape) -> Option<Box<dyn Executor>> + Send>;

enum Coming {
    /// Nobody has rendered yet, so the shape is not known.
    Waiting(Make),
    Made(Receiver<Option<Box<dyn Executor>>>),
    Done,
}

impl Relay {
    /// Runs on `first` until `make` has made the other ready, on a thread of its own from the first pass on.
    pub fn new(
        first: Box<dyn Executor>,
        make: impl FnOnce(Shape) -> Option<Box<dyn Executor>> + Send + 'static,
    ) -> Self {
        Self {
            executor: first,
            rays_before: 0,
            coming: Coming::Waiting(Box::new(make)),
        }
    }

    /// The processor, until a graphics adapter is ready where there is a real one. `threads` is for the
    /// processor, 0 for all it has; `making` is set while the adapter gets ready; `tell` is told what happens
    /// to it later.
    ///
    /// # Errors
    /// When the system gives no threads.
    pub fn to_graphics(
        threads: usize,
        making: Arc<AtomicBool>,
        tell: impl FnMut(&str) + Send + 'static,
    ) -> Result<Self, ExecutorError> {
        let cpu = choose(Wish::Cpu, threads)?.executor;
        Ok(Self::new(cpu, move |shape| {
            making.store(true, Ordering::Relaxed);
            let chosen = choose(Wish::Auto, threads).ok().filter(|c| !c.on_cpu);
            let made = chosen.and_then(|chosen| ready(chosen, shape, threads, tell));
            making.store(false, Ordering::Relaxed);
            made
        }))
    }

    /// Takes the other executor if it is ready; has it made if nobody has.
    fn look(&mut self, scene: &Scene) {
        self.coming = match std::mem::replace(&mut self.coming, Coming::Done) {
            Coming::Waiting(make) => {
                let shape = Shape {
                    layers: scene.layers.len(),
                    depth: scene.accel.pair_depth(),
                };
                let (tell, made) = channel();
                let started = std::thread::Builder::new().name("graphics".into());
                let started = started.spawn(move || {
                    // Nobody may be waiting any more.
                    let _ = tell.send(make(shape));
                });
                match started {
                    Ok(_) => Coming::Made(made),
                    Err(_) => Coming::Done,
                }
            }
            Coming::Made(made) => match made.try_recv() {
                Err(TryRecvError::Empty) => Coming::Made(made),
                Ok(Some(other)) => {
                    self.rays_before += self.executor.rays().unwrap_or(0);
                    self.executor = other;
                    Coming::Done
                }
                Ok(None) | Err(TryRecvError::Disconnected) => Coming::Done,
            },
            Coming::Done => Coming::Done,
        };
    }
}

/// Compiles the kernels by running each once on next to nothing of the right shape.
fn ready(
    chosen: Chosen,
    shape: Shape,
    threads: usize,
    tell: impl FnMut(&str) + Send + 'static,
) -> Option<Box<dyn Executor>> {
    let mut other = Steady::new(chosen, threads, tell);
    let mut scene = next_to_nothing(shape.layers);
    scene.accel.least_pair_depth = shape.depth;
    let go = AtomicBool::new(false);
    let mut film = Film::new(1, 0, 1, scene.layers.len() as u32);
    other
        .render(&scene, &mut film, Passes::one(0, 1), &go)
        .ok()?;
    other.read(&scene, 1, 0, 1).ok()?;
    Some(Box::new(other))
}

/// A floor under as many panels as there are layers, one pixel and one meter.
fn next_to_nothing(layers: usize) -> Scene {
    let mut b = SceneBuilder::new();
    let up = Axes {
        origin_m: DVec3::ZERO,
        x: DVec3::X,
        y: DVec3::NEG_Z,
        z: DVec3::Y,
    };
    let down = Axes {
        origin_m: DVec3::Y,
        x: DVec3::X,
        y: DVec3::Z,
        z: DVec3::NEG_Y,
    };
    let floor = b.surface(Surface::Diffuse([0.5; 3]));
    b.mesh(&shapes::rectangle(&up, [1.0; 2]), floor);
    let panel = Emission::lambertian(Face::Rect {
        half_x_m: 0.1,
        half_y_m: 0.1,
    });
    for layer in 0..layers {
        let layer = b.layer(&format!("panel {layer}"));
        b.emitter(&panel, down, layer);
    }
    b.receptor(DVec3::Y * 0.1, DVec3::Y, false);
    b.lens(&Lens {
        centre_m: DVec3::Y * 0.5,
        right: DVec3::X,
        up: DVec3::NEG_Z,
        forward: DVec3::NEG_Y,
        image_distance_m: 0.05,
        focus_distance_m: 0.5,
        radius_m: 0.0,
        picture_m: [0.02; 2],
        shift_m: [0.0; 2],
        pixels: [1; 2],
    });
    b.build()
}

impl Executor for Relay {
    fn name(&self) -> String {
        match self.coming {
            Coming::Made(_) => format!("{}, until graphics are ready", self.executor.name()),
            Coming::Waiting(_) | Coming::Done => self.executor.name(),
        }
    }

    fn appetite(&self, samples: u32, each: u32) -> u32 {
        self.executor.appetite(samples, each)
    }

    fn render(
        &mut self,
        scene: &Scene,
        film: &mut Film,
        passes: Passes,
        stop: &AtomicBool,
    ) -> Result<(), ExecutorError> {
        self.look(scene);
        self.executor.render(scene, film, passes, stop)
    }

    fn read(
        &mut self,
        scene: &Scene,
        block_samples: u32,
        first_block: u32,
        blocks: u32,
    ) -> Result<Vec<Vec<Block>>, ExecutorError> {
        self.look(scene);
        self.executor
            .read(scene, block_samples, first_block, blocks)
    }

    fn rays(&self) -> Option<u64> {
        Some(self.executor.rays()? + self.rays_before)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::cpu::Cpu;
    use std::time::{Duration, Instant};

    fn cpu(threads: usize) -> Box<dyn Executor> {
        Box::new(Cpu::new(threads).expect("threads"))
    }

    #[test]
    fn the_other_takes_over_once_it_is_ready() {
        let scene = next_to_nothing(3);
        let (go_on, wait) = channel::<()>();
        let mut relay = Relay::new(cpu(1), move |shape| {
            assert_eq!(shape.layers, 3);
            wait.recv().expect("it is told to go on");
            Some(cpu(2))
        });
        let go = AtomicBool::new(false);
        let pass = |relay: &mut Relay| {
            let mut film = Film::new(1, 0, 1, 3);
            relay
                .render(&scene, &mut film, Passes::one(0, 4), &go)
                .expect("it renders");
            film.light
        };
        let first = pass(&mut relay);
        assert_eq!(
            relay.name(),
            "processor, 1 thread, until graphics are ready"
        );
        go_on.send(()).expect("it waits");
        let started = Instant::now();
        while relay.name() != "processor, 2 threads" {
            assert!(
                started.elapsed() < Duration::from_secs(20),
                "it never comes"
            );
            assert_eq!(pass(&mut relay), first);
        }
        assert!(relay.rays() > Some(0));
    }

    #[test]
    fn where_nothing_better_comes_all_goes_on() {
        let scene = next_to_nothing(1);
        let mut relay = Relay::new(cpu(1), |_| None);
        let started = Instant::now();
        loop {
            relay.read(&scene, 8, 0, 1).expect("it reads");
            if relay.name() == "processor, 1 thread" {
                break;
            }
            assert!(started.elapsed() < Duration::from_secs(20));
        }
    }

    #[test]
    fn kernels_of_the_right_shape_are_made_ready() {
        let chosen = choose(Wish::Cpu, 1).expect("the processor");
        let shape = Shape {
            layers: 5,
            depth: 40,
        };
        let other = ready(chosen, shape, 1, |_| ()).expect("it runs");
        assert!(other.rays() > Some(0), "both kernels ran");
    }
}
