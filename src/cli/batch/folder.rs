//! The folder that a list is rendered into.
//!
//! `list.json` what the list is; `pictures/`, `records/` and `setups/` one file a frame, by the same
//! name, `sheets/` likewise; `films/` parts of pictures; `contact.png`, `sheets.pdf`, `day.txt` and
//! `report.json` when all is there.

use super::super::exit::{Exit, Failure};
use super::card::{Day, Record, print_of, read_json, write_json};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;
use swatchlight::render::film_part::About;

/// Unfinished files that nobody has touched for so long were left by a run that was killed.
const LEFT_BEHIND: Duration = Duration::from_secs(600);
const INSIDE: [&str; 5] = ["pictures", "records", "setups", "sheets", "films"];

/// The folder.
#[derive(Debug, Clone)]
pub struct Folder {
    root: PathBuf,
}

impl Folder {
    /// One that may be there or not.
    pub fn at(root: PathBuf) -> Self {
        Self { root }
    }

    /// Makes it and what it holds, and takes away what a killed run left behind.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn make(&self) -> Result<(), Failure> {
        for inside in INSIDE {
            let folder = self.root.join(inside);
            fs::create_dir_all(&folder).map_err(|e| refused(&folder, &e))?;
            sweep(&folder);
        }
        sweep(&self.root);
        Ok(())
    }

    pub fn root(&self) -> &Path {
        &self.root
    }

    pub fn shown(&self) -> String {
        self.root.display().to_string()
    }

    pub fn day(&self) -> PathBuf {
        self.root.join("list.json")
    }

    pub fn contact_sheet(&self) -> PathBuf {
        self.root.join("contact.png")
    }

    /// All sheets in one document.
    pub fn sheets(&self) -> PathBuf {
        self.root.join("sheets.pdf")
    }

    /// What is kept of one.
    pub fn sheet(&self, stem: &str) -> PathBuf {
        self.root.join("sheets").join(format!("{stem}.json"))
    }

    pub fn day_text(&self) -> PathBuf {
        self.root.join("day.txt")
    }

    pub fn report(&self) -> PathBuf {
        self.root.join("report.json")
    }

    pub fn picture(&self, stem: &str) -> PathBuf {
        self.root.join("pictures").join(format!("{stem}.png"))
    }

    pub fn setup(&self, stem: &str) -> PathBuf {
        self.root.join("setups").join(format!("{stem}.toml"))
    }

    pub fn record(&self, stem: &str) -> PathBuf {
        self.root.join("records").join(format!("{stem}.json"))
    }

    /// Of the samples that a part holds.
    pub fn film(&self, stem: &str, about: &About) -> PathBuf {
        let [first, last] = about.range();
        let name = format!("{stem}.{first:06}-{last:06}.film");
        self.root.join("films").join(name)
    }

    /// The film parts there are, by name.
    ///
    /// # Errors
    /// When the folder cannot be read.
    pub fn films(&self) -> Result<Vec<PathBuf>, Failure> {
        let folder = self.root.join("films");
        let entries = match fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(e) => return Err(unreadable(&folder, &e)),
        };
        let mut found: Vec<PathBuf> = entries
            .flatten()
            .map(|e| e.path())
            .filter(|p| p.extension().is_some_and(|x| x == "film"))
            .collect();
        found.sort();
        Ok(found)
    }

    /// The record of a frame whose picture is whole.
    pub fn finished(&self, stem: &str) -> Option<Record> {
        let record: Record = read_json(&self.record(stem))?;
        let picture = fs::read(self.picture(stem)).ok()?;
        (record.card.stem == stem && record.print == print_of(&picture)).then_some(record)
    }

    /// What the list is.
    pub fn listed(&self) -> Option<Day> {
        read_json(&self.day())
    }

    /// Keeps what the list is.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn list(&self, day: &Day) -> Result<(), Failure> {
        if self.listed().as_ref() != Some(day) {
            write_json(&self.day(), day)?;
        }
        Ok(())
    }

    /// Pictures that no frame of the list has.
    pub fn strangers(&self, day: &Day) -> Vec<String> {
        let entries = fs::read_dir(self.root.join("pictures"));
        let mut found: Vec<String> = entries
            .into_iter()
            .flatten()
            .flatten()
            .filter_map(|e| {
                let path = e.path();
                let stem = path.file_stem()?.to_string_lossy().into_owned();
                let ours = day.frames.iter().any(|f| f.stem == stem);
                (!ours && !stem.starts_with('.')).then(|| path.display().to_string())
            })
            .collect();
        found.sort();
        found
    }
}

fn sweep(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let ours = name.starts_with(".swatchlight-") && name.ends_with(".part");
        let age = entry.metadata().and_then(|m| m.modified());
        let old = age.is_ok_and(|t| t.elapsed().is_ok_and(|e| e > LEFT_BEHIND));
        if ours && old {
            // Another run may have been quicker.
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Why a folder cannot be made.
fn refused(folder: &Path, error: &io::Error) -> Failure {
    let shown = folder.display();
    match error.kind() {
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => Failure::wrong(
            format!("no permission to make {shown}"),
            "write to a folder of your own with --out FOLDER",
        ),
        io::ErrorKind::NotADirectory | io::ErrorKind::AlreadyExists => Failure::wrong(
            format!("{shown} cannot be a folder: part of the path is a file"),
            "give another folder with --out FOLDER",
        ),
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Failure::Message {
            exit: Exit::Failed,
            what: format!("no space left to make {shown}"),
            hint: Some("free some space, or write to another disk with --out FOLDER".into()),
        },
        _ => Failure::Message {
            exit: Exit::Wrong,
            what: format!("cannot make the folder {shown}: {error}"),
            hint: Some("give another folder with --out FOLDER".into()),
        },
    }
}

/// Why a folder or file cannot be read.
pub fn unreadable(path: &Path, error: &io::Error) -> Failure {
    Failure::wrong(
        format!("cannot read {}: {error}", path.display()),
        "give a folder that swatchlight batch has written to, or its .film files",
    )
}
