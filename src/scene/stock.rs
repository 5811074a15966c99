//! Figures, garments and hair that were built, kept: in memory for this run, in a folder for the next. Those
//! that the demos wear ship with the program, in the same form.

use super::kept::{Kept, Key, Kind, key_of};
use crate::figure::{Model, pack, unpack};
use rayon::prelude::*;
use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

const KIND: Kind = Kind {
    ending: "figure",
    magic: b"swatchlight fig\n",
    most_bytes: 512 << 20,
};

/// Models that were built.
pub struct Stock {
    kept: Kept,
    known: Mutex<HashMap<Key, Arc<Model>>>,
    on_build: Option<Box<OnBuild>>,
    stop: Arc<AtomicBool>,
}

/// Told how far what is being built is.
pub type OnBuild = dyn Fn(&Building<'_>) + Send + Sync;

/// How far something is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Building<'a> {
    /// What is built, for people.
    pub what: &'a str,
    /// Share done, 0 to 1.
    pub done: f64,
    /// Time left, once it can be told.
    pub left: Option<Duration>,
}

/// It was stopped from outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("stopped while the stand-in was being built")]
pub struct Stopped;

impl std::fmt::Debug for Stock {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Stock")
            .field("kept", &self.kept)
            .finish_non_exhaustive()
    }
}

impl Stock {
    /// Models kept in `folder` (made when it is first written to), or in memory alone.
    pub fn new(folder: Option<PathBuf>) -> Self {
        Self {
            kept: Kept::new(folder, KIND),
            known: Mutex::default(),
            on_build: None,
            stop: Arc::default(),
        }
    }

    /// Looks into these folders first.
    pub fn look_into(&self, folders: &[PathBuf]) {
        self.kept.look_into(folders);
    }

    /// Tells `told` how far each model that has to be built is.
    #[must_use]
    pub fn telling(mut self, told: Box<OnBuild>) -> Self {
        self.on_build = Some(told);
        self
    }

    /// Stops building when `stop` is set.
    #[must_use]
    pub fn stopped_by(self, stop: Arc<AtomicBool>) -> Self {
        Self { stop, ..self }
    }

    /// Files kept, and their bytes.
    pub fn kept(&self) -> (usize, u64) {
        self.kept.tally()
    }

    /// The model of a description that says everything it depends on: found, or built and kept. `build` is told
    /// the share done and watches the flag.
    ///
    /// # Errors
    /// [`Stopped`].
    pub fn get(
        &self,
        description: &str,
        what: &str,
        build: impl FnOnce(&(dyn Fn(f32) + Sync), &AtomicBool) -> Option<Model>,
    ) -> Result<Arc<Model>, Stopped> {
        let key = key_of(description);
        if let Some(found) = self.known().get(&key) {
            return Ok(Arc::clone(found));
        }
        let model = match self.read(&key) {
            Some(model) => model,
            None if self.stop.load(Ordering::Relaxed) => return Err(Stopped),
            None => {
                let start = Instant::now();
                let tell = |share: f32| {
                    if let Some(on_build) = &self.on_build {
                        on_build(&step(what, f64::from(share), start.elapsed()));
                    }
                };
                tell(0.0);
                let built = build(&tell, &self.stop);
                if self.stop.load(Ordering::Relaxed) {
                    return Err(Stopped);
                }
                let bytes = pack(&built.ok_or(Stopped)?);
                // A folder that cannot be written costs time at the next run, and nothing else.
                let _ = self.kept.write(&key, &bytes);
                tell(1.0);
                // As it will be found: the same pictures on the first run as on the second.
                unpack(&bytes).ok_or(Stopped)?
            }
        };
        let model = Arc::new(model);
        self.known().insert(key, Arc::clone(&model));
        Ok(model)
    }

    /// Takes what is kept of these descriptions into memory, side by side.
    pub fn fetch(&self, descriptions: &[&String]) {
        descriptions.par_iter().for_each(|description| {
            let key = key_of(description);
            if self.known().contains_key(&key) {
                return;
            }
            if let Some(model) = self.read(&key) {
                self.known().insert(key, Arc::new(model));
            }
        });
    }

    fn known(&self) -> MutexGuard<'_, HashMap<Key, Arc<Model>>> {
        // A panic elsewhere cannot leave half an entry.
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn read(&self, key: &Key) -> Option<Model> {
        unpack(&self.kept.read(key)?)
    }
}

/// Time left is told once a twentieth is done: before that it would be a guess.
fn step(what: &str, done: f64, elapsed: Duration) -> Building<'_> {
    let left = (done > 0.05).then(|| elapsed.mul_f64(((1.0 - done) / done).max(0.0)));
    Building { what, done, left }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::{Part, Role};
    use glam::{Vec2, Vec3};
    use std::cell::Cell;
    use std::fs;

    fn model() -> Model {
        Model {
            title: "One triangle".into(),
            parts: vec![Part {
                name: "skin".into(),
                role: Role::Skin,
                positions_m: vec![Vec3::ZERO, Vec3::X, Vec3::Y],
                normals: vec![Vec3::Z; 3],
                uvs_cm: vec![Vec2::ZERO; 3],
                triangles: vec![[0, 1, 2]],
                paint: Vec::new(),
            }],
            ..Model::default()
        }
    }

    #[test]
    fn what_was_built_is_found_again_and_what_is_broken_is_built_anew() {
        let folder = tempfile::tempdir().unwrap();
        let builds = Cell::new(0);
        let ask = |description: &str| {
            let stock = Stock::new(Some(folder.path().into()));
            let found = stock.get(description, "a triangle", |_, _| {
                builds.set(builds.get() + 1);
                Some(model())
            });
            found.unwrap()
        };
        let first = ask("a");
        assert_eq!((builds.get(), ask("a").parts == first.parts), (1, true));
        assert_eq!(builds.get(), 1);
        ask("b");
        assert_eq!(builds.get(), 2);
        assert_eq!(Stock::new(Some(folder.path().into())).kept().0, 2);
        for file in fs::read_dir(folder.path()).unwrap() {
            let path = file.unwrap().path();
            let mut bytes = fs::read(&path).unwrap();
            let middle = bytes.len() / 2;
            bytes[middle] ^= 0x55;
            fs::write(&path, bytes).unwrap();
        }
        ask("a");
        assert_eq!(builds.get(), 3);
    }

    #[test]
    fn what_is_stopped_is_not_kept() {
        let folder = tempfile::tempdir().unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let stock = Stock::new(Some(folder.path().into())).stopped_by(Arc::clone(&stop));
        let stopped = stock.get("a", "a triangle", |_, flag| {
            flag.store(true, Ordering::Relaxed);
            Some(model())
        });
        assert_eq!(stopped.unwrap_err(), Stopped);
        assert_eq!(stock.kept().0, 0);
    }
}
