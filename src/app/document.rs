//! The setup on the desk: its text, what was done to it, and what can be undone. It holds no truth of
//! its own beside the text; every change goes through [`Written`] and the parser.

use super::journal::Journal;
use super::memory::Memory;
use crate::report::{StillError, is_still, read_still_from};
use crate::scene::models::Models;
use crate::setup::written::Written;
use crate::setup::{Checked, Problem, Problems, Setup, Severity};
use std::fs;
use std::io::{self, Cursor};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// A setup being worked on.
pub struct Document {
    /// Where it is saved; none for a new one, or one taken out of a still.
    pub path: Option<PathBuf>,
    /// How messages call it.
    pub shown: String,
    /// Its models, and what is known of them.
    pub memory: Memory,
    /// What the text says.
    pub setup: Arc<Setup>,
    /// Warnings and cautions.
    pub notes: Problems,
    text: String,
    /// The same, ready to be changed.
    written: Written,
    /// The text on disk as last read or written.
    saved: String,
    /// How often that has changed.
    saves: u64,
    undo: Vec<String>,
    redo: Vec<String>,
    /// What the last step was a part of, such as one drag; later parts join it.
    step: Option<String>,
    checking: Option<Checking>,
    journal: Journal,
    /// Rises with each change of the setup.
    pub revision: u64,
}

/// A text being checked beside the window, since it names what is not known yet: a file has to be read, or a
/// figure to be built.
struct Checking {
    text: String,
    answer: Receiver<Result<Checked, Problems>>,
    kind: Change,
    part_of: Option<String>,
}

#[derive(Clone, Copy, PartialEq)]
enum Change {
    Typed,
    Undone,
    Redone,
    Disk,
}

/// Why a setup cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The file cannot be read.
    #[error("cannot read {path}: {reason}")]
    Unreadable {
        /// The file.
        path: String,
        /// Why.
        reason: io::Error,
    },
    /// A still without a setup, or broken.
    #[error(transparent)]
    Still(#[from] StillError),
    /// The setup has errors.
    #[error("{}", first_error(.0))]
    Problems(Problems),
}

/// What the disk holds beside what is on the desk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OnDisk {
    /// The same.
    Same,
    /// Another text, while nothing here is unsaved.
    Newer(String),
    /// Another text, while there is unsaved work here.
    Clash(String),
}

impl Document {
    /// Opens a setup file, or a still that carries one. Reads the disk, and may build a figure.
    ///
    /// # Errors
    /// [`OpenError`].
    pub fn open(path: &Path, models: Models, journal: Journal) -> Result<Self, OpenError> {
        let shown = path.display().to_string();
        let unreadable = |reason| OpenError::Unreadable {
            path: shown.clone(),
            reason,
        };
        let bytes = fs::read(path).map_err(unreadable)?;
        if is_still(&bytes) {
            let inside = read_still_from(Cursor::new(bytes))?.setup_toml;
            return Self::new(
                None,
                format!("{shown} (setup inside)"),
                inside,
                models,
                journal,
            );
        }
        let text = String::from_utf8(bytes)
            .map_err(|e| unreadable(io::Error::new(io::ErrorKind::InvalidData, e)))?;
        Self::new(Some(path.to_path_buf()), shown, text, models, journal)
    }

    /// Takes up a text. Reads from disk what it names.
    ///
    /// # Errors
    /// [`OpenError::Problems`].
    pub fn new(
        path: Option<PathBuf>,
        shown: String,
        text: String,
        models: Models,
        journal: Journal,
    ) -> Result<Self, OpenError> {
        let memory = Memory::new(models);
        let Checked { setup, notes } = memory.check(&text, &shown).map_err(OpenError::Problems)?;
        let written = Written::parse(&text, &shown).map_err(OpenError::Problems)?;
        Ok(Self {
            saved: if path.is_some() {
                text.clone()
            } else {
                String::new()
            },
            saves: 0,
            path,
            shown,
            memory,
            setup: Arc::new(setup),
            notes,
            text,
            written,
            undo: Vec::new(),
            redo: Vec::new(),
            step: None,
            checking: None,
            journal,
            revision: 1,
        })
    }

    /// The text as it stands.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether there is work that is not on disk.
    pub fn is_unsaved(&self) -> bool {
        self.text != self.saved
    }

    /// Whether a change is still being checked.
    pub fn is_checking(&self) -> bool {
        self.checking.is_some()
    }

    /// What a key holds, as typed; nothing where it is left out.
    pub fn value(&self, key: &str) -> Option<String> {
        self.written.value(&self.written.path(key).ok()?)
    }

    /// Types values into keys, as one step. Changes that name the same `part_of` one after the other
    /// are one step to undo.
    ///
    /// # Errors
    /// What is wrong with it and what to type; the setup stays as it was.
    pub fn edit(
        &mut self,
        changes: &[(String, String)],
        part_of: Option<&str>,
    ) -> Result<(), String> {
        let mut written = self.written()?;
        for (key, typed) in changes {
            let path = written
                .path(key)
                .map_err(|e| format!("{} ({})", e.what, e.hint))?;
            let edited = match typed.trim() {
                "" => {
                    written.remove(&path);
                    Ok(())
                }
                typed => written.set(&path, typed),
            };
            edited.map_err(|e| format!("{} ({})", e.what, e.hint))?;
        }
        self.take_up(written.text(), Change::Typed, part_of)
    }

    /// Adds a light or board.
    ///
    /// # Errors
    /// As [`Self::edit`].
    pub fn add(&mut self, kind: &str, name: &str, keys: &[(&str, &str)]) -> Result<(), String> {
        let mut written = self.written()?;
        written
            .add(kind, name, keys)
            .map_err(|e| format!("{} ({})", e.what, e.hint))?;
        self.take_up(written.text(), Change::Typed, None)
    }

    /// Takes a light or board away.
    ///
    /// # Errors
    /// Where the setup would not stand without it.
    pub fn take_away(&mut self, name: &str) -> Result<(), String> {
        let mut written = self.written()?;
        if !written.take_away(name) {
            return Err(format!("there is no \"{name}\""));
        }
        self.take_up(written.text(), Change::Typed, None)
    }

    /// What the next change is made to: what is being checked, if anything is.
    fn written(&self) -> Result<Written, String> {
        match &self.checking {
            None => Ok(self.written.clone()),
            Some(c) => Written::parse(&c.text, &self.shown).map_err(|p| first_error(&p)),
        }
    }

    /// Undoes the last step. Whether there was one.
    pub fn undo(&mut self) -> bool {
        if self.checking.take().is_some() {
            return true;
        }
        let Some(text) = self.undo.last().cloned() else {
            return false;
        };
        self.take_up(text, Change::Undone, None).is_ok()
    }

    /// Does again what was undone. Whether there was anything.
    pub fn redo(&mut self) -> bool {
        let Some(text) = self.redo.last().cloned() else {
            return false;
        };
        self.take_up(text, Change::Redone, None).is_ok()
    }

    /// Whether there is something to undo, and to do again.
    pub fn steps(&self) -> [bool; 2] {
        [!self.undo.is_empty(), !self.redo.is_empty()]
    }

    /// Ends a step made of parts, such as a drag.
    pub fn end_step(&mut self) {
        self.step = None;
    }

    /// Checks a text and takes it up if it is good. Where it names what is not known yet it is checked beside,
    /// and [`Self::poll`] takes it up.
    fn take_up(&mut self, text: String, kind: Change, part_of: Option<&str>) -> Result<(), String> {
        if text == self.text && kind == Change::Typed {
            self.checking = None;
            return Ok(());
        }
        if let Some(checked) = self.memory.check_at_once(&text, &self.shown) {
            let checked = checked.map_err(|p| first_error(&p))?;
            self.checking = None;
            self.accept(text, checked, kind, part_of);
            return Ok(());
        }
        let (tell, answer) = channel();
        let (its, shown, memory) = (text.clone(), self.shown.clone(), self.memory.clone());
        std::thread::spawn(move || {
            // Nobody may be waiting any more.
            let _ = tell.send(memory.check(&its, &shown));
        });
        self.checking = Some(Checking {
            text,
            answer,
            kind,
            part_of: part_of.map(str::to_owned),
        });
        Ok(())
    }

    /// Takes up what was checked beside. `Some` when something came: what was wrong with it, if anything.
    pub fn poll(&mut self) -> Option<Result<(), String>> {
        let checking = self.checking.as_ref()?;
        let answer = match checking.answer.try_recv() {
            Err(TryRecvError::Empty) => return None,
            Err(TryRecvError::Disconnected) => {
                self.checking = None;
                return Some(Err(
                    "the change could not be checked; it was left out".into()
                ));
            }
            Ok(answer) => answer,
        };
        let Checking {
            text,
            kind,
            part_of,
            ..
        } = self.checking.take()?;
        Some(match answer {
            Err(problems) => {
                if kind == Change::Disk {
                    // Said once: until the file changes again there is nothing new to say.
                    self.keep_mine(text);
                }
                Err(first_error(&problems))
            }
            Ok(checked) => {
                self.accept(text, checked, kind, part_of.as_deref());
                Ok(())
            }
        })
    }

    fn accept(&mut self, text: String, checked: Checked, kind: Change, part_of: Option<&str>) {
        if let Ok(written) = Written::parse(&text, &self.shown) {
            self.written = written;
        }
        let before = std::mem::replace(&mut self.text, text);
        match kind {
            Change::Undone => {
                self.undo.pop();
                self.redo.push(before);
            }
            Change::Redone => {
                self.redo.pop();
                self.undo.push(before);
            }
            Change::Typed | Change::Disk => {
                let same_step = part_of.is_some() && self.step.as_deref() == part_of;
                if !same_step {
                    self.undo.push(before);
                }
                self.redo.clear();
            }
        }
        self.step = part_of.map(str::to_owned);
        if kind == Change::Disk {
            self.saved = self.text.clone();
            self.saves += 1;
        }
        self.setup = Arc::new(checked.setup);
        self.notes = checked.notes;
        self.revision += 1;
        if self.is_unsaved() {
            self.journal.write(self.path.as_deref(), &self.text);
        } else {
            self.journal.clear();
        }
    }

    /// Why unsaved work is not kept at present, if so: a crash would cost it.
    pub fn journal_trouble(&self) -> Option<String> {
        self.journal.trouble()
    }

    /// Puts work saved by an earlier window's journal on the desk, as a step that can be undone.
    ///
    /// # Errors
    /// When the text is no good setup any more.
    pub fn restore(&mut self, text: String) -> Result<(), String> {
        self.take_up(text, Change::Typed, None)
    }

    /// Takes note that a text of this setup was saved to a path, which becomes its own.
    pub(super) fn is_saved(&mut self, path: &Path, text: String) {
        self.saved = text;
        self.saves += 1;
        if self.path.as_deref() != Some(path) {
            self.path = Some(path.to_path_buf());
            self.shown = path.display().to_string();
        }
        if !self.is_unsaved() {
            self.journal.clear();
        }
    }

    /// Rises whenever what is known of the file changes: text read before is older than what is here.
    pub fn saves(&self) -> u64 {
        self.saves
    }

    /// What the file's text, where there is one, is beside what is on the desk.
    pub fn compared(&self, on_disk: Option<String>) -> OnDisk {
        match on_disk {
            Some(text) if text != self.saved && text != self.text => {
                if self.is_unsaved() {
                    OnDisk::Clash(text)
                } else {
                    OnDisk::Newer(text)
                }
            }
            _ => OnDisk::Same,
        }
    }

    /// Takes up what is on disk, as a step that can be undone.
    ///
    /// # Errors
    /// When it is no good setup; the desk keeps what it had.
    pub fn take_from_disk(&mut self, text: String) -> Result<(), String> {
        self.take_up(text, Change::Disk, None)
    }

    /// Keeps what is here although the disk holds something else: the next save writes over that.
    pub fn keep_mine(&mut self, on_disk: String) {
        self.saved = on_disk;
        self.saves += 1;
    }

    /// Forgets the journal: the window closes, and what is unsaved was given up.
    pub fn give_up(&mut self) {
        self.journal.clear();
    }
}

/// The first error, with its place and what to type.
pub fn first_error(problems: &Problems) -> String {
    let first = problems.of(Severity::Error).next();
    first.map_or_else(
        || "the setup cannot be read".to_owned(),
        |p: &Problem| format!("{} ({})", p.message, p.hint),
    )
}
