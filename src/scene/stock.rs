//! Figures, garments and hair that were built, kept: in memory for this run, in a folder for the next. Those
//! that the demos wear ship with the program, in the same form.
//!
//! A model is named by the hash of everything that it depends on. A file that is not whole, or not of what its
//! name says, counts as none and is written anew.

use crate::figure::{Model, pack, unpack};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// What the folder may hold before its oldest files go.
const MOST_BYTES: u64 = 512 << 20;
const ENDING: &str = "figure";

/// Models that were built.
#[derive(Default)]
pub struct Stock {
    /// Only read from.
    shipped: Vec<PathBuf>,
    folder: Option<PathBuf>,
    known: Mutex<HashMap<String, Arc<Model>>>,
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
            .field("shipped", &self.shipped)
            .field("folder", &self.folder)
            .finish_non_exhaustive()
    }
}

impl Stock {
    /// Models kept in `folder` (made when it is first written to), or in memory alone.
    pub fn new(folder: Option<PathBuf>) -> Self {
        Self {
            folder,
            ..Self::default()
        }
    }

    /// Looks into these folders first.
    #[must_use]
    pub fn shipped(self, folders: Vec<PathBuf>) -> Self {
        Self {
            shipped: folders,
            ..self
        }
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
        let sizes = self.files().into_iter().map(|f| f.bytes);
        sizes.fold((0, 0), |(n, sum), bytes| (n + 1, sum + bytes))
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
        let name = name_of(description);
        if let Some(found) = self.known().get(&name) {
            return Ok(Arc::clone(found));
        }
        let model = match self.read(&name) {
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
                let _ = self.write(&name, &bytes);
                tell(1.0);
                // As it will be found: the same pictures on the first run as on the second.
                unpack(&bytes).ok_or(Stopped)?
            }
        };
        let model = Arc::new(model);
        self.known().insert(name, Arc::clone(&model));
        Ok(model)
    }

    fn known(&self) -> MutexGuard<'_, HashMap<String, Arc<Model>>> {
        // A panic elsewhere cannot leave half an entry.
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn read(&self, name: &str) -> Option<Model> {
        let file = file_name(name);
        self.shipped
            .iter()
            .chain(&self.folder)
            .filter_map(|folder| fs::read(folder.join(&file)).ok())
            .find_map(|bytes| {
                let (body, print) = bytes.split_at_checked(bytes.len().checked_sub(32)?)?;
                (Sha256::digest(body)[..] == *print).then(|| unpack(body))?
            })
    }

    fn write(&self, name: &str, bytes: &[u8]) -> std::io::Result<()> {
        let Some(folder) = &self.folder else {
            return Ok(());
        };
        fs::create_dir_all(folder)?;
        let mut file = tempfile::NamedTempFile::new_in(folder)?;
        file.write_all(bytes)?;
        file.write_all(&Sha256::digest(bytes))?;
        file.persist(folder.join(file_name(name)))
            .map_err(|e| e.error)?;
        self.prune();
        Ok(())
    }

    fn files(&self) -> Vec<Kept> {
        let Some(entries) = self.folder.as_ref().and_then(|f| fs::read_dir(f).ok()) else {
            return Vec::new();
        };
        entries
            .flatten()
            .filter(|e| e.path().extension().is_some_and(|x| x == ENDING))
            .filter_map(|e| {
                let facts = e.metadata().ok()?;
                Some(Kept {
                    path: e.path(),
                    bytes: facts.len(),
                    written: facts.modified().ok()?,
                })
            })
            .collect()
    }

    /// Takes the oldest files away until the rest fits.
    fn prune(&self) {
        let mut files = self.files();
        files.sort_by_key(|f| std::cmp::Reverse(f.written));
        let mut sum = 0;
        for file in files {
            sum += file.bytes;
            if sum > MOST_BYTES {
                // Another run may have been quicker.
                let _ = fs::remove_file(file.path);
            }
        }
    }
}

struct Kept {
    path: PathBuf,
    bytes: u64,
    written: std::time::SystemTime,
}

/// Time left is told once a twentieth is done: before that it would be a guess.
fn step(what: &str, done: f64, elapsed: Duration) -> Building<'_> {
    let left = (done > 0.05).then(|| elapsed.mul_f64(((1.0 - done) / done).max(0.0)));
    Building { what, done, left }
}

fn name_of(description: &str) -> String {
    let hash = Sha256::digest(description.as_bytes());
    hash[..16].iter().map(|b| format!("{b:02x}")).collect()
}

fn file_name(name: &str) -> PathBuf {
    Path::new(name).with_extension(ENDING)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::{Part, Role};
    use glam::{Vec2, Vec3};
    use std::cell::Cell;

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
