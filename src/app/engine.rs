//! What renders beside the window: a thread that takes up the latest wish, coarse first, drops it when
//! a newer one comes, and leaves what it has made where the window finds it.

mod serve;

use crate::measure::garment::{GarmentView, Layered, relative_errors};
use crate::measure::gather::Gathered;
use crate::measure::take::{EdgeReading, Mix};
use crate::measure::weave_contrast::WeaveContrast;
use crate::render::executor::{Executor, ExecutorError};
use crate::render::film::Film;
use crate::report::plan::BeamAngles;
use crate::scene::models::Models;
use crate::scene::studio::Studio;
use crate::setup::Setup;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

/// What the window wants to see.
#[derive(Debug, Clone)]
pub struct Wish {
    /// Rises with every wish.
    pub number: u64,
    /// The setup to show.
    pub setup: Arc<Setup>,
    /// Its models.
    pub models: Models,
    /// Width and height of the picture; 0 to have the set built, and nothing shown.
    pub picture_px: [u32; 2],
    /// The cloth beside it.
    pub cloth: Option<ClothWish>,
}

/// Which cloth to show, where, and how much of it.
#[derive(Debug, Clone, PartialEq)]
pub struct ClothWish {
    /// A body point, a meter point or "swatch".
    pub point: String,
    /// The cloth's name.
    pub fabric: String,
    /// Width of cloth to show.
    pub width_m: f64,
    /// Width and height of the picture.
    pub px: [u32; 2],
}

/// What was metered, and all that a change of amounts needs.
#[derive(Debug)]
pub struct Basis {
    /// The wish that it answers.
    pub number: u64,
    /// The setup that was metered.
    pub setup: Arc<Setup>,
    /// Its colours and meters; its scene is left out.
    pub studio: Studio,
    /// Light at the meters.
    pub gathered: Gathered,
    /// Readings as the setup stood.
    pub mix: Mix,
    /// Shadow edges where the exposure is read.
    pub edges: Vec<EdgeReading>,
    /// Whether those are of this light, and not of what was shown before.
    pub edges_known: bool,
    /// Whether the readings are as exact as `read` gives them.
    pub exact: bool,
}

/// A light's face as the subject sees it: luminance over its greatest, row by row from the top.
#[derive(Debug, Clone)]
pub struct Glimpse {
    /// The light's name.
    pub light: String,
    /// Pixels each way.
    pub side: usize,
    /// 0 to 1.
    pub luminance: Vec<f32>,
    /// How wide its beam is.
    pub beam: Option<BeamAngles>,
}

/// A picture in layers of linear light.
#[derive(Debug, Clone)]
pub struct Layers {
    /// The wish that it answers.
    pub number: u64,
    /// Which picture of that wish: rises when it changes.
    pub version: u64,
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Layers to a pixel.
    pub layers: usize,
    /// Mean light, `[pixel][layer]`, linear sRGB per unit of the light.
    pub light: Vec<[f32; 3]>,
    /// Mean reflectance of what is seen.
    pub reflectance: Vec<[f32; 3]>,
    /// Relative error of each pixel; none of a first look.
    pub relative_errors: Vec<f32>,
    /// Samples of each pixel.
    pub samples: u32,
    /// Relative error at the median pixel, once it can be told.
    pub noise: Option<f64>,
    /// Whether it is a first look in fewer pixels.
    pub coarse: bool,
}

/// How much of the cloth's weave shows.
#[derive(Debug, Clone)]
pub struct Weave {
    /// The wish that it answers.
    pub number: u64,
    /// In one reflectance: what the light does.
    pub relief: WeaveContrast,
    /// In its own colours.
    pub as_dyed: WeaveContrast,
    /// Whether it is a glance at a few threads only.
    pub at_a_glance: bool,
}

/// All that has been made, for the window to look at.
#[derive(Debug, Clone, Default)]
pub struct Shown {
    /// What was metered last.
    pub basis: Option<Arc<Basis>>,
    /// The camera's picture.
    pub picture: Option<Arc<Layers>>,
    /// The cloth.
    pub cloth: Option<Arc<Layers>>,
    /// Its weave.
    pub weave: Option<Arc<Weave>>,
    /// Where the picture shows what is worn, and the wish that it answers.
    pub garment: Option<(u64, Arc<GarmentView>)>,
    /// The lights' faces, and the wish that they answer.
    pub glimpses: Option<(u64, Arc<Vec<Glimpse>>)>,
    /// What keeps the latest wish from being shown, with that wish's number.
    pub trouble: Option<(u64, String)>,
    /// What is at work.
    pub at_work: AtWork,
    /// What happened on the way, such as a device that was lost.
    pub told: Vec<String>,
}

/// What is at work.
#[derive(Debug, Clone, Default)]
pub struct AtWork {
    /// What runs the kernels.
    pub executor: String,
    /// Why that one.
    pub reason: String,
    /// What is being done; empty at rest.
    pub stage: String,
    /// Pixels' samples a second, of the last pass.
    pub samples_a_second: f64,
}

/// Opens what runs the kernels; it is told how to tell of a change.
pub type Opener =
    Box<dyn FnOnce(Tell) -> Result<(Box<dyn Executor>, String), ExecutorError> + Send>;
/// Takes a line for the margin.
pub type Tell = Box<dyn FnMut(&str) + Send>;

/// The thread.
pub struct Engine {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

/// Asks for a set to be built, from anywhere.
#[derive(Clone)]
pub struct Ahead(Arc<Shared>);

struct Shared {
    /// The latest wish, until it is taken up, and how many there were.
    wish: Mutex<(Option<Wish>, u64)>,
    come: Condvar,
    /// Set when a newer wish has come, or the window closes.
    stop: AtomicBool,
    closing: AtomicBool,
    shown: Mutex<Shown>,
    wake: Box<dyn Fn() + Send + Sync>,
}

impl Engine {
    /// Starts it; `wake` is called whenever there is something new to look at.
    pub fn start(open: Opener, wake: impl Fn() + Send + Sync + 'static) -> Self {
        let shared = Arc::new(Shared {
            wish: Mutex::default(),
            come: Condvar::new(),
            stop: AtomicBool::new(false),
            closing: AtomicBool::new(false),
            shown: Mutex::default(),
            wake: Box::new(wake),
        });
        let its = Arc::clone(&shared);
        let thread = std::thread::Builder::new()
            .name("light".into())
            .spawn(move || its.work(open))
            .ok();
        Self { shared, thread }
    }

    /// Asks for something else to be shown; what was being made is dropped. Returns the wish's number.
    pub fn ask(
        &self,
        setup: Arc<Setup>,
        models: &Models,
        picture_px: [u32; 2],
        cloth: Option<ClothWish>,
    ) -> u64 {
        self.shared.ask(setup, models, picture_px, cloth)
    }

    /// For whoever knows first what is to be shown.
    pub fn ahead(&self) -> Ahead {
        Ahead(Arc::clone(&self.shared))
    }

    /// What there is to look at.
    pub fn shown(&self) -> Shown {
        lock(&self.shared.shown).clone()
    }
}

impl Ahead {
    /// Has the set built, while nobody knows yet how large the picture is to be.
    pub fn prepare(&self, setup: Arc<Setup>, models: &Models) {
        self.0.ask(setup, models, [0; 2], None);
    }
}

impl Drop for Engine {
    fn drop(&mut self) {
        self.shared.closing.store(true, Ordering::Relaxed);
        self.shared.stop.store(true, Ordering::Relaxed);
        self.shared.come.notify_one();
        if let Some(thread) = self.thread.take() {
            // It ends within a slice of work; a panic of its own has been told already.
            let _ = thread.join();
        }
    }
}

impl Shared {
    fn ask(
        &self,
        setup: Arc<Setup>,
        models: &Models,
        picture_px: [u32; 2],
        cloth: Option<ClothWish>,
    ) -> u64 {
        let models = models.clone();
        let (waiting, number) = &mut *lock(&self.wish);
        *number += 1;
        *waiting = Some(Wish {
            number: *number,
            setup,
            models,
            picture_px,
            cloth,
        });
        self.stop.store(true, Ordering::Relaxed);
        self.come.notify_one();
        *number
    }

    fn work(self: Arc<Self>, open: Opener) {
        let telling = Arc::clone(&self);
        let tell: Tell = Box::new(move |text| telling.show(|s| s.told.push(text.to_owned())));
        let (mut executor, reason) = match open(tell) {
            Ok(opened) => opened,
            Err(e) => return self.show(|s| s.trouble = Some((u64::MAX, e.to_string()))),
        };
        self.show(|s| {
            s.at_work.executor = executor.name();
            s.at_work.reason = reason;
        });
        while let Some(wish) = self.next() {
            let number = wish.number;
            let failed = serve::serve(&self, wish, executor.as_mut()).err();
            self.show(|s| {
                s.at_work.executor = executor.name();
                s.at_work.stage.clear();
                if !self.stop.load(Ordering::Relaxed) {
                    s.trouble = failed.map(|e| (number, e.to_string()));
                }
            });
        }
    }

    /// Waits for a wish; `None` when the window closes.
    fn next(&self) -> Option<Wish> {
        let mut waiting = lock(&self.wish);
        loop {
            if self.closing.load(Ordering::Relaxed) {
                return None;
            }
            if let Some(wish) = waiting.0.take() {
                self.stop.store(false, Ordering::Relaxed);
                return Some(wish);
            }
            let woken = self.come.wait(waiting);
            waiting = woken.unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn show(&self, change: impl FnOnce(&mut Shown)) {
        change(&mut lock(&self.shown));
        (self.wake)();
    }

    fn basis(&self) -> Option<Arc<Basis>> {
        lock(&self.shown).basis.clone()
    }

    fn stage(&self, what: &str) {
        self.show(|s| what.clone_into(&mut s.at_work.stage));
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

impl Layers {
    /// As measures of a picture take it.
    pub fn layered(&self) -> Layered<'_> {
        Layered {
            light: &self.light,
            relative_errors: &self.relative_errors,
            samples: self.samples,
        }
    }

    fn of(film: &Film, number: u64, version: u64, coarse: bool) -> Self {
        let (width, height) = (film.width, film.rows);
        let layers = film.layers;
        let mut light = Vec::with_capacity(film.light.len());
        let mut reflectance = Vec::with_capacity(film.seen.len());
        for row in 0..height {
            for x in 0..width {
                light.extend((0..layers).map(|l| film.mean(x, row, l)));
                let seen = &film.seen[(row * width + x) as usize];
                reflectance.push(seen.albedo.map(|a| a / seen.met.max(1.0)));
            }
        }
        Self {
            number,
            version,
            width: width as usize,
            height: height as usize,
            layers: layers as usize,
            light,
            reflectance,
            relative_errors: if coarse {
                Vec::new()
            } else {
                relative_errors(film)
            },
            samples: film.samples(),
            noise: film.median_relative_error(),
            coarse,
        }
    }
}

/// A panic elsewhere leaves whole values behind.
fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}
