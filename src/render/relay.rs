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
use crate::scene::needs::Needs;
use crate::scene::shapes;
use glam::DVec3;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// Runs on one executor while another gets ready, and on that from the next pass on. Where a later scene
/// needs other kernels, the first runs once more until they are compiled.
pub struct Relay {
    first: Box<dyn Executor>,
    other: Option<Box<dyn Executor>>,
    /// Whether the other ran last.
    on_other: bool,
    coming: Coming,
    /// Meters read so far, until anything gets ready.
    reads: u32,
    /// Set while anything gets ready.
    making: Arc<AtomicBool>,
}

/// Readings before graphics are looked for, where no picture is asked for.
const READS_BEFORE: u32 = 4;

/// What decides how a kernel is compiled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shape {
    /// Layers of the film.
    pub layers: usize,
    /// Depth of the tree.
    pub depth: usize,
    /// What the scene has.
    pub needs: Needs,
}

/// Makes the other executor ready for scenes of a shape; none where there is nothing better.
type Make = Box<dyn FnOnce(Shape) -> Option<Box<dyn Executor>> + Send>;

enum Coming {
    /// Nobody has rendered yet, so the shape is not known.
    Waiting(Make),
    Other(Receiver<Option<Box<dyn Executor>>>),
    Kernels(Receiver<()>),
    Nothing,
}

impl Relay {
    /// Runs on `first` until `make` has made the other ready, on a thread of its own once the first pass is made.
    pub fn new(
        first: Box<dyn Executor>,
        make: impl FnOnce(Shape) -> Option<Box<dyn Executor>> + Send + 'static,
    ) -> Self {
        Self {
            first,
            other: None,
            on_other: false,
            coming: Coming::Waiting(Box::new(make)),
            reads: 0,
            making: Arc::default(),
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
        let make = move |shape| {
            let chosen = choose(Wish::Auto, threads).ok().filter(|c| !c.on_cpu);
            chosen.and_then(|chosen| ready(chosen, shape, threads, tell))
        };
        Ok(Self {
            making,
            ..Self::new(cpu, make)
        })
    }

    /// Has the other made ready, if nobody has.
    fn begin(&mut self, scene: &Scene) {
        self.coming = match std::mem::replace(&mut self.coming, Coming::Nothing) {
            Coming::Waiting(make) => {
                let shape = Shape {
                    layers: scene.layers.len(),
                    depth: scene.accel.pair_depth(),
                    needs: Needs::of(scene),
                };
                self.beside(move || make(shape))
                    .map_or(Coming::Nothing, Coming::Other)
            }
            coming => coming,
        };
    }

    /// The executor for a scene: the other if it is ready for it.
    fn turn(&mut self, scene: &Scene) -> &mut dyn Executor {
        self.coming = match std::mem::replace(&mut self.coming, Coming::Nothing) {
            Coming::Waiting(make) => Coming::Waiting(make),
            Coming::Other(made) => match made.try_recv() {
                Err(TryRecvError::Empty) => Coming::Other(made),
                Ok(other) => {
                    self.other = other;
                    Coming::Nothing
                }
                Err(TryRecvError::Disconnected) => Coming::Nothing,
            },
            Coming::Kernels(made) => match made.try_recv() {
                Err(TryRecvError::Empty) => Coming::Kernels(made),
                Ok(()) | Err(TryRecvError::Disconnected) => Coming::Nothing,
            },
            Coming::Nothing => Coming::Nothing,
        };
        let lacks = self.other.as_ref().map(|other| other.unready(scene));
        self.on_other = matches!(lacks, Some(None));
        if let (Some(Some(get_ready)), Coming::Nothing) = (lacks, &self.coming) {
            match self.beside(get_ready) {
                Some(made) => self.coming = Coming::Kernels(made),
                // Without threads there is nothing but to wait for the compiler.
                None => self.on_other = true,
            }
        }
        match &mut self.other {
            Some(other) if self.on_other => other.as_mut(),
            _ => self.first.as_mut(),
        }
    }

    /// Does something on a thread of its own; none where the system gives no thread.
    fn beside<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Option<Receiver<T>> {
        let (tell, made) = channel();
        let making = Arc::clone(&self.making);
        let started = std::thread::Builder::new().name("graphics".into());
        let started = started.spawn(move || {
            making.store(true, Ordering::Relaxed);
            let work = work();
            making.store(false, Ordering::Relaxed);
            // Nobody may be waiting any more.
            let _ = tell.send(work);
        });
        started.ok().map(|_| made)
    }

    fn current(&self) -> &dyn Executor {
        match &self.other {
            Some(other) if self.on_other => other.as_ref(),
            _ => self.first.as_ref(),
        }
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
    scene.least_needs = shape.needs;
    let go = AtomicBool::new(false);
    let mut film = Film::new(1, 0, 1, scene.layers.len() as u32);
    other
        .render(&scene, &mut film, Passes::one(0, 1), &go)
        .ok()?;
    other.read(&scene, 1, 0, 1).ok()?;
    other.hurry();
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
        let name = self.current().name();
        match self.coming {
            Coming::Other(_) | Coming::Kernels(_) if !self.on_other => {
                format!("{name}, until graphics are ready")
            }
            _ => name,
        }
    }

    fn appetite(&self, samples: u32, each: u32) -> u32 {
        self.current().appetite(samples, each)
    }

    fn render(
        &mut self,
        scene: &Scene,
        film: &mut Film,
        passes: Passes,
        stop: &AtomicBool,
    ) -> Result<(), ExecutorError> {
        self.turn(scene).render(scene, film, passes, stop)?;
        // Not before there is something to see: looking for graphics takes a core, and there may be but two.
        self.begin(scene);
        Ok(())
    }

    fn read(
        &mut self,
        scene: &Scene,
        block_samples: u32,
        first_block: u32,
        blocks: u32,
    ) -> Result<Vec<Vec<Block>>, ExecutorError> {
        self.reads += 1;
        if self.reads > READS_BEFORE {
            self.begin(scene);
        }
        self.turn(scene)
            .read(scene, block_samples, first_block, blocks)
    }

    fn rays(&self) -> Option<u64> {
        let other = self.other.as_ref().and_then(|other| other.rays());
        Some(self.first.rays()? + other.unwrap_or(0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::cpu::Cpu;
    use crate::render::executor::GetReady;
    use std::sync::Mutex;
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

    /// Ready for scenes of one layer, and for others once it was asked to get ready.
    struct Choosy {
        cpu: Box<dyn Executor>,
        ready: Arc<AtomicBool>,
        wait: Arc<Mutex<Receiver<()>>>,
    }

    impl Executor for Choosy {
        fn name(&self) -> String {
            "choosy".into()
        }
        fn appetite(&self, samples: u32, each: u32) -> u32 {
            self.cpu.appetite(samples, each)
        }
        fn render(
            &mut self,
            scene: &Scene,
            film: &mut Film,
            passes: Passes,
            stop: &AtomicBool,
        ) -> Result<(), ExecutorError> {
            assert!(scene.layers.len() == 1 || self.ready.load(Ordering::SeqCst));
            self.cpu.render(scene, film, passes, stop)
        }
        fn read(
            &mut self,
            scene: &Scene,
            samples: u32,
            first: u32,
            blocks: u32,
        ) -> Result<Vec<Vec<Block>>, ExecutorError> {
            self.cpu.read(scene, samples, first, blocks)
        }
        fn rays(&self) -> Option<u64> {
            self.cpu.rays()
        }
        fn unready(&self, scene: &Scene) -> Option<GetReady> {
            if scene.layers.len() == 1 || self.ready.load(Ordering::SeqCst) {
                return None;
            }
            let (ready, wait) = (Arc::clone(&self.ready), Arc::clone(&self.wait));
            Some(Box::new(move || {
                let wait = wait.lock().expect("one waits at a time");
                wait.recv().expect("it is told to go on");
                ready.store(true, Ordering::SeqCst);
            }))
        }
    }

    /// While kernels for one scene are compiled the first renders it, and the other what it is ready for.
    #[test]
    fn nothing_waits_for_new_kernels() {
        let (go_on, wait) = channel::<()>();
        let wait = Arc::new(Mutex::new(wait));
        let mut relay = Relay::new(cpu(1), move |_| {
            Some(Box::new(Choosy {
                cpu: cpu(1),
                ready: Arc::default(),
                wait,
            }))
        });
        let go = AtomicBool::new(false);
        let pass = |relay: &mut Relay, layers: usize| {
            let scene = next_to_nothing(layers);
            let mut film = Film::new(1, 0, 1, layers as u32);
            relay
                .render(&scene, &mut film, Passes::one(0, 1), &go)
                .expect("it renders");
            relay.name()
        };
        let until = |relay: &mut Relay, layers: usize, name: &str| {
            let started = Instant::now();
            while pass(relay, layers) != name {
                assert!(started.elapsed() < Duration::from_secs(20), "no {name}");
            }
        };
        let first = "processor, 1 thread, until graphics are ready";
        until(&mut relay, 1, "choosy");
        assert_eq!(pass(&mut relay, 2), first);
        assert_eq!(pass(&mut relay, 1), "choosy");
        assert_eq!(pass(&mut relay, 2), first);
        go_on.send(()).expect("it waits");
        until(&mut relay, 2, "choosy");
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
            needs: Needs::named("SKIN"),
        };
        let other = ready(chosen, shape, 1, |_| ()).expect("it runs");
        assert!(other.rays() > Some(0), "both kernels ran");
    }
}
