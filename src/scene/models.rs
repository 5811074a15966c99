//! The models on disk: figures, garments, fabrics and modifiers, found by name.

use super::cloth::Shelf;
use super::ground::Grounds;
use super::stock::{Stock, Stopped};
use super::tables::Tables;
use super::wardrobe::Dressed;
use crate::fabric::Fabric;
use crate::setup::{
    self, FigureFacts, FigureSpec, Library, ModifierText, PhotometricFile, UnknownName,
};
use std::collections::HashMap;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Folders that hold `figures/`, `garments/`, `fabrics/` and `modifiers/`, searched in order.
#[derive(Debug, Clone)]
pub struct Models {
    roots: Vec<PathBuf>,
    /// Where paths written in the setup start from.
    base: PathBuf,
    /// Light of traced modifiers; shared by all that were cloned from one.
    tables: Arc<Tables>,
    /// Built figures and garments; shared likewise.
    stock: Arc<Stock>,
    /// Figures as dressed in this run.
    figures: Arc<Mutex<HashMap<String, Arc<Dressed>>>>,
    /// Grounds of scenes, where they are kept.
    grounds: Option<Arc<Grounds>>,
}

/// A model that cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum ModelError {
    /// Nothing of that name.
    #[error("no {what} named \"{name}\"{}", known_list(.known))]
    Unknown {
        /// Which kind of thing.
        what: &'static str,
        /// What was asked for.
        name: String,
        /// What there is.
        known: Vec<String>,
    },
    /// There, but unreadable.
    #[error("{path}: {reason}", path = .path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// Not finished.
    #[error(transparent)]
    Stopped(#[from] Stopped),
}

fn known_list(known: &[String]) -> String {
    if known.is_empty() {
        " (none found)".into()
    } else {
        format!("; there is {}", known.join(", "))
    }
}

/// Larger than any data file here should be.
const LONGEST_TEXT: u64 = 1 << 20;
/// Larger than any far field should be.
const LONGEST_FAR_FIELD: u64 = 4 << 20;

/// What a folder of models may hold.
const FOLDERS: [&str; 5] = ["figures", "poses", "garments", "fabrics", "modifiers"];
/// Where models that ship ready made lie, beside those.
const MADE: &str = "made";

impl Models {
    /// Models for a setup at `setup_file`: `models/` in its folder or one above it, in the working
    /// folder, and where the program was built.
    pub fn for_setup(setup_file: &Path) -> Self {
        let base = setup_file.parent().unwrap_or(Path::new("")).to_path_buf();
        let full = std::path::absolute(&base).unwrap_or_else(|_| base.clone());
        let mut roots: Vec<PathBuf> = Vec::new();
        let candidates = full
            .ancestors()
            .take(6)
            .flat_map(|a| {
                let itself = a
                    .file_name()
                    .is_some_and(|n| n == "models")
                    .then(|| a.to_path_buf());
                itself.into_iter().chain([a.join("models")])
            })
            .chain([
                PathBuf::from("models"),
                Path::new(env!("CARGO_MANIFEST_DIR")).join("models"),
            ]);
        for candidate in candidates {
            let holds = |folder: &str| candidate.join(folder).is_dir();
            if FOLDERS.iter().any(|f| holds(f)) && !roots.contains(&candidate) {
                roots.push(candidate);
            }
        }
        Self {
            stock: Arc::new(Stock::new(None)),
            roots,
            base,
            tables: Arc::default(),
            figures: Arc::default(),
            grounds: None,
        }
        .looking_among_the_made()
    }

    /// Keeps what of a scene outlives a change of its lights, for those who build many of one set.
    #[must_use]
    pub fn keeping_grounds(self) -> Self {
        Self {
            grounds: Some(Arc::default()),
            ..self
        }
    }

    pub(super) fn grounds(&self) -> Option<&Grounds> {
        self.grounds.as_deref()
    }

    /// With these tables for modifiers' light, rather than some kept in memory alone.
    #[must_use]
    pub fn with_tables(self, tables: Arc<Tables>) -> Self {
        Self { tables, ..self }.looking_among_the_made()
    }

    /// Where cloths that were worked out are known from: the folder of the tables.
    pub fn shelf(&self) -> Shelf {
        Shelf::new(self.tables.folder().map(Path::to_owned)).looking_into(&self.made_folders())
    }

    /// Light of traced modifiers.
    pub fn tables(&self) -> &Tables {
        &self.tables
    }

    /// With this stock for figures and garments that were built, rather than one kept in memory alone; it looks
    /// among what ships first.
    #[must_use]
    pub fn with_stock(self, stock: Stock) -> Self {
        Self {
            stock: Arc::new(stock),
            ..self
        }
        .looking_among_the_made()
    }

    /// Folders of what ships ready made.
    fn made_folders(&self) -> Vec<PathBuf> {
        self.roots.iter().map(|r| r.join(MADE)).collect()
    }

    fn looking_among_the_made(self) -> Self {
        let made = self.made_folders();
        self.stock.look_into(&made);
        self.tables.look_into(&made);
        self
    }

    /// Figures and garments that were built.
    pub fn stock(&self) -> &Stock {
        &self.stock
    }

    pub(super) fn figures(&self) -> MutexGuard<'_, HashMap<String, Arc<Dressed>>> {
        // A panic elsewhere cannot leave half an entry.
        self.figures.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The folders searched, in order.
    pub fn roots(&self) -> &[PathBuf] {
        &self.roots
    }

    /// A fabric by name.
    ///
    /// # Errors
    /// [`ModelError`] when it is unknown or broken.
    pub fn fabric(&self, name: &str) -> Result<Fabric, ModelError> {
        let path = self.find("fabric", "fabrics", name, "toml")?;
        let beside = |name: &str| {
            let file = path.with_file_name(name);
            fs::read(&file).map_err(|e| format!("cannot read {}: {e}", file.display()))
        };
        Fabric::parse(&read_text(&path)?, &beside).map_err(|e| ModelError::Unreadable {
            path: path.clone(),
            reason: e.to_string(),
        })
    }

    pub(super) fn find(
        &self,
        what: &'static str,
        folder: &str,
        name: &str,
        extension: &str,
    ) -> Result<PathBuf, ModelError> {
        // A name, not a path: nothing outside the models' folders.
        let plain = !name.is_empty()
            && name
                .chars()
                .all(|c| c.is_alphanumeric() || "-_".contains(c));
        if plain {
            let file = format!("{name}.{extension}");
            if let Some(found) = self
                .roots
                .iter()
                .map(|r| r.join(folder).join(&file))
                .find(|p| p.is_file())
            {
                return Ok(found);
            }
        }
        Err(ModelError::Unknown {
            what,
            name: name.to_string(),
            known: self.list(folder),
        })
    }

    /// The file of a modifier: by path from the setup's folder, or by name.
    fn modifier_path(&self, name: &str) -> Result<PathBuf, UnknownName> {
        if !name.contains(['/', '\\', '.']) {
            return self
                .find("modifier", "modifiers", name, "toml")
                .map_err(unknown);
        }
        let path = self.base.join(name);
        if path.is_file() {
            return Ok(path);
        }
        Err(UnknownName {
            what: "modifier",
            name: name.to_string(),
            known: self.list("modifiers"),
            detail: format!("there is no file {}", path.display()),
        })
    }

    /// Names in one of the folders, sorted.
    pub fn list(&self, folder: &str) -> Vec<String> {
        let mut names: Vec<String> = self
            .roots
            .iter()
            .filter_map(|r| fs::read_dir(r.join(folder)).ok())
            .flatten()
            .flatten()
            .filter_map(|e| {
                let path = e.path();
                (path.extension()? == "toml")
                    .then(|| path.file_stem().map(|s| s.to_string_lossy().into_owned()))?
            })
            .collect();
        names.sort();
        names.dedup();
        names
    }
}

pub(super) fn read_text(path: &Path) -> Result<String, ModelError> {
    let unreadable = |reason: String| ModelError::Unreadable {
        path: path.to_path_buf(),
        reason,
    };
    let size = fs::metadata(path)
        .map_err(|e| unreadable(e.to_string()))?
        .len();
    if size > LONGEST_TEXT {
        return Err(unreadable(format!(
            "{size} bytes is more than a data file should have"
        )));
    }
    fs::read_to_string(path).map_err(|e| unreadable(e.to_string()))
}

/// A file that is there, but no use.
pub(super) fn unreadable(path: &Path, reason: impl std::fmt::Display) -> ModelError {
    ModelError::Unreadable {
        path: path.to_path_buf(),
        reason: reason.to_string(),
    }
}

fn read_bytes(path: &Path, most: u64) -> Result<Vec<u8>, ModelError> {
    let unreadable = |reason: String| ModelError::Unreadable {
        path: path.to_path_buf(),
        reason,
    };
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(|e| unreadable(e.to_string()))?;
    file.take(most + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| unreadable(e.to_string()))?;
    if bytes.len() as u64 > most {
        return Err(unreadable(format!(
            "more than {} MB is more than a far field should have",
            most >> 20
        )));
    }
    Ok(bytes)
}

fn unknown(error: ModelError) -> UnknownName {
    match error {
        ModelError::Unknown { what, name, known } => UnknownName {
            what,
            name,
            known,
            detail: String::new(),
        },
        ModelError::Unreadable { path, reason } => UnknownName {
            what: "file",
            name: path.display().to_string(),
            known: Vec::new(),
            detail: reason,
        },
        ModelError::Stopped(stopped) => UnknownName {
            what: "figure",
            name: String::new(),
            known: Vec::new(),
            detail: stopped.to_string(),
        },
    }
}

impl Library for Models {
    fn figure(&self, spec: &FigureSpec) -> Result<FigureFacts, UnknownName> {
        let dressed = self.dressed(spec).map_err(unknown)?;
        let points = &dressed.points;
        Ok(FigureFacts {
            height_m: f64::from(dressed.height_m),
            body_points_m: points
                .names()
                .filter_map(|n| Some((n.to_string(), points.get(n)?.as_dvec3())))
                .collect(),
            blocks: dressed
                .blocking
                .iter()
                .map(|c| setup::Capsule {
                    a_m: c.a_m.as_dvec3(),
                    b_m: c.b_m.as_dvec3(),
                    radius_m: f64::from(c.radius_m),
                })
                .collect(),
        })
    }

    fn fabric(&self, name: &str) -> Result<(), UnknownName> {
        Models::fabric(self, name).map(|_| ()).map_err(unknown)
    }

    fn modifier(&self, name: &str) -> Result<ModifierText, UnknownName> {
        let path = self.modifier_path(name)?;
        let text = read_text(&path).map_err(unknown)?;
        Ok(ModifierText {
            text,
            display_path: path.display().to_string(),
        })
    }

    fn far_field(&self, file: &str, called: Option<&str>) -> Result<PhotometricFile, UnknownName> {
        let folder = match called {
            None => self.base.clone(),
            Some(called) => {
                let modifier = self.modifier_path(called)?;
                modifier.parent().unwrap_or(Path::new("")).to_path_buf()
            }
        };
        let path = folder.join(file);
        // No pipe or device: those may never end.
        if !path.is_file() {
            return Err(UnknownName {
                what: "photometric file",
                name: file.to_string(),
                known: Vec::new(),
                detail: format!(
                    "put it at {}: setups and stills name such a file, but do not hold it",
                    path.display()
                ),
            });
        }
        let bytes = read_bytes(&path, LONGEST_FAR_FIELD).map_err(unknown)?;
        Ok(PhotometricFile {
            bytes,
            display_path: path.display().to_string(),
        })
    }
}
