//! What setups name, remembered: a change typed on the sheet is checked at once, without a look at the disk,
//! and what was never asked for before is asked for beside the window.

use crate::scene::models::Models;
use crate::setup::{
    Checked, FigureFacts, FigureSpec, Library, ModifierText, Options, PhotometricFile, Problems,
    UnknownName, parse_with,
};
use std::collections::{BTreeMap, HashMap};
use std::hash::Hash;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// The folders whose names are offered in cells.
const OFFERED: [&str; 5] = ["figures", "poses", "garments", "fabrics", "modifiers"];

/// Models, and what was answered of them before.
#[derive(Clone)]
pub struct Memory {
    models: Models,
    answers: Arc<Answers>,
}

type Known<K, T> = Mutex<HashMap<K, Result<T, UnknownName>>>;

#[derive(Default)]
struct Answers {
    figures: Known<String, FigureFacts>,
    fabrics: Known<String, ()>,
    modifiers: Known<String, ModifierText>,
    far_fields: Known<(String, Option<String>), PhotometricFile>,
    names: Mutex<BTreeMap<&'static str, Arc<Vec<String>>>>,
}

impl Memory {
    /// Nothing is known yet.
    pub fn new(models: Models) -> Self {
        Self {
            models,
            answers: Arc::default(),
        }
    }

    /// The models themselves.
    pub fn models(&self) -> &Models {
        &self.models
    }

    /// Checks a text, reading what it names from disk, and remembers that.
    ///
    /// # Errors
    /// What is wrong with the text.
    pub fn check(&self, text: &str, shown: &str) -> Result<Checked, Problems> {
        self.list();
        parse_with(text, shown, &Reading(self), Options::default())
    }

    /// Checks a text by what is remembered; none where that does not suffice.
    pub fn check_at_once(&self, text: &str, shown: &str) -> Option<Result<Checked, Problems>> {
        let remembering = Remembering {
            memory: self,
            missed: AtomicBool::new(false),
        };
        let checked = parse_with(text, shown, &remembering, Options::default());
        (!remembering.missed.load(Ordering::Relaxed)).then_some(checked)
    }

    /// Names in one of the folders of models, as last looked.
    pub fn names(&self, folder: &str) -> Arc<Vec<String>> {
        let names = lock(&self.answers.names);
        names.get(folder).cloned().unwrap_or_default()
    }

    /// Reads anew what may have changed on disk. Figures, which take long to build, stay.
    pub fn refresh(&self) {
        self.list();
        for name in keys(&self.answers.fabrics) {
            let found = Library::fabric(&self.models, &name);
            lock(&self.answers.fabrics).insert(name, found);
        }
        for name in keys(&self.answers.modifiers) {
            let found = self.models.modifier(&name);
            lock(&self.answers.modifiers).insert(name, found);
        }
        for (file, called) in keys(&self.answers.far_fields) {
            let found = self.models.far_field(&file, called.as_deref());
            lock(&self.answers.far_fields).insert((file, called), found);
        }
    }

    fn list(&self) {
        for folder in OFFERED {
            let found = Arc::new(self.models.list(folder));
            lock(&self.answers.names).insert(folder, found);
        }
    }
}

/// Reads, and remembers what came.
struct Reading<'a>(&'a Memory);

impl Library for Reading<'_> {
    fn figure(&self, spec: &FigureSpec) -> Result<FigureFacts, UnknownName> {
        let found = self.0.models.figure(spec);
        put(&self.0.answers.figures, format!("{spec:?}"), found)
    }

    fn fabric(&self, name: &str) -> Result<(), UnknownName> {
        let found = Library::fabric(&self.0.models, name);
        put(&self.0.answers.fabrics, name.to_owned(), found)
    }

    fn modifier(&self, name: &str) -> Result<ModifierText, UnknownName> {
        let found = self.0.models.modifier(name);
        put(&self.0.answers.modifiers, name.to_owned(), found)
    }

    fn far_field(&self, file: &str, called: Option<&str>) -> Result<PhotometricFile, UnknownName> {
        let found = self.0.models.far_field(file, called);
        let key = (file.to_owned(), called.map(str::to_owned));
        put(&self.0.answers.far_fields, key, found)
    }
}

/// Answers from memory alone.
struct Remembering<'a> {
    memory: &'a Memory,
    /// Set where something was asked for that is not known.
    missed: AtomicBool,
}

impl Remembering<'_> {
    fn known<K: Hash + Eq, T: Clone>(&self, of: &Known<K, T>, key: &K) -> Result<T, UnknownName> {
        let known = lock(of).get(key).cloned();
        known.unwrap_or_else(|| {
            self.missed.store(true, Ordering::Relaxed);
            Err(UnknownName {
                what: "file",
                name: String::new(),
                known: Vec::new(),
                detail: String::new(),
            })
        })
    }
}

impl Library for Remembering<'_> {
    fn figure(&self, spec: &FigureSpec) -> Result<FigureFacts, UnknownName> {
        self.known(&self.memory.answers.figures, &format!("{spec:?}"))
    }

    fn fabric(&self, name: &str) -> Result<(), UnknownName> {
        self.known(&self.memory.answers.fabrics, &name.to_owned())
    }

    fn modifier(&self, name: &str) -> Result<ModifierText, UnknownName> {
        self.known(&self.memory.answers.modifiers, &name.to_owned())
    }

    fn far_field(&self, file: &str, called: Option<&str>) -> Result<PhotometricFile, UnknownName> {
        let key = (file.to_owned(), called.map(str::to_owned));
        self.known(&self.memory.answers.far_fields, &key)
    }
}

fn put<K: Hash + Eq, T: Clone>(
    of: &Known<K, T>,
    key: K,
    found: Result<T, UnknownName>,
) -> Result<T, UnknownName> {
    lock(of).insert(key, found.clone());
    found
}

fn keys<K: Clone, T>(of: &Known<K, T>) -> Vec<K> {
    lock(of).keys().cloned().collect()
}

/// A panic elsewhere cannot leave half an entry.
fn lock<T>(of: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}
