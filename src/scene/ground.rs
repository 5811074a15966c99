//! What of a scene outlives a change of its lights: the room and who stands in it, with their tree,
//! and the tables of cloths. Kept only where asked for ([`Models::keeping_grounds`]): a window, a sweep
//! or a shoot list builds the same ground many times, a single still once.
//!
//! [`Models::keeping_grounds`]: super::models::Models::keeping_grounds

use super::builder::SceneBuilder;
use super::cloth::{ClothRecord, Dye, Shelf};
use crate::fabric::{Fabric, FabricError};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Grounds kept: the one at work, and the one before, to go back to.
const GROUNDS: usize = 2;
/// Cloths kept.
const CLOTHS: usize = 12;

/// Grounds by what they were built from, the latest first.
#[derive(Debug, Default)]
pub struct Grounds {
    kept: Mutex<Vec<(String, Arc<SceneBuilder>)>>,
    /// Tables of cloths.
    pub cloths: Cloths,
}

/// Tables of cloths, each with where among a scene's texels it lies.
#[derive(Debug, Default)]
pub struct Cloths(Mutex<Vec<Kept>>);

#[derive(Debug)]
struct Kept {
    fabric: Fabric,
    dye: Dye,
    first: usize,
    texels: Arc<Vec<[f32; 4]>>,
    record: ClothRecord,
}

impl Grounds {
    /// The ground of this description; built where it is not kept.
    ///
    /// # Errors
    /// What `build` finds.
    pub fn get<E>(
        &self,
        description: &str,
        build: impl FnOnce() -> Result<SceneBuilder, E>,
    ) -> Result<Arc<SceneBuilder>, E> {
        let find = |kept: &mut Vec<(String, Arc<SceneBuilder>)>| {
            let at = kept.iter().position(|(d, _)| d == description)?;
            kept[..=at].rotate_right(1);
            Some(Arc::clone(&kept[0].1))
        };
        if let Some(found) = find(&mut lock(&self.kept)) {
            return Ok(found);
        }
        // Not under the lock: this takes seconds.
        let ground = Arc::new(build()?);
        let mut kept = lock(&self.kept);
        kept.insert(0, (description.to_owned(), Arc::clone(&ground)));
        kept.truncate(GROUNDS);
        Ok(ground)
    }
}

impl Cloths {
    /// As [`Shelf::add`], which is asked for what is not in memory.
    pub(super) fn add(
        &self,
        shelf: &Shelf,
        fabric: &Fabric,
        dye: Dye,
        texels: &mut Vec<[f32; 4]>,
    ) -> Result<ClothRecord, FabricError> {
        let first = texels.len();
        // A table names places among the texels, so it can stand only where it stood.
        let same = |k: &Kept| k.first == first && k.dye == dye && k.fabric == *fabric;
        let found = {
            let mut kept = lock(&self.0);
            kept.iter().position(same).map(|at| {
                kept[..=at].rotate_right(1);
                (Arc::clone(&kept[0].texels), kept[0].record.clone())
            })
        };
        if let Some((kept, record)) = found {
            texels.extend_from_slice(&kept);
            return Ok(record);
        }
        let record = shelf.add(fabric, dye, texels)?;
        let mut kept = lock(&self.0);
        let fresh = Kept {
            fabric: fabric.clone(),
            dye,
            first,
            texels: Arc::new(texels[first..].to_vec()),
            record: record.clone(),
        };
        kept.insert(0, fresh);
        kept.truncate(CLOTHS);
        Ok(record)
    }
}

/// A panic elsewhere cannot leave half an entry.
fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}
