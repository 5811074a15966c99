//! Saving the setup: written beside the window, since a disk, or a folder on a network, takes its time. What is
//! typed meanwhile stays unsaved.

use super::desk::{Desk, Next, Question};
use super::document::Document;
use crate::report::{Overwrite, StillError, write_whole};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::thread::JoinHandle;

/// A setup on its way to disk.
pub(super) struct Saving {
    text: String,
    path: PathBuf,
    then: Option<Next>,
    /// Where it is wanted next, with what was typed since.
    again: Option<(PathBuf, Overwrite)>,
    answer: Receiver<Result<(), SaveError>>,
    thread: Option<JoinHandle<()>>,
}

/// Why a setup cannot be saved.
#[derive(Debug, thiserror::Error)]
pub enum SaveError {
    /// The file is there, and locked.
    #[error("{} is read-only", .0.display())]
    ReadOnly(PathBuf),
    /// All else that the system says.
    #[error(transparent)]
    Other(#[from] StillError),
}

impl Desk {
    /// Saves to a path, which becomes the setup's own, and does then what was to be done. `overwrite` is for a path
    /// that is not the setup's own yet.
    pub fn save_to(&mut self, path: PathBuf, overwrite: Overwrite, then: Option<Next>) {
        let Some(document) = &self.document else {
            return;
        };
        if let Some(saving) = &mut self.saving {
            saving.again = Some((path, overwrite));
            // A close that was asked for on the way still counts.
            saving.then = then.or(saving.then.take());
            return;
        }
        let own = document.path.as_deref() == Some(&*path);
        let overwrite = if own { Overwrite::Force } else { overwrite };
        let text = document.text().to_owned();
        let (tell, answer) = channel();
        let (its, to, wake) = (text.clone(), path.clone(), self.wake.clone());
        let thread = std::thread::spawn(move || {
            // Nobody may be waiting any more.
            let _ = tell.send(write(&its, &to, overwrite));
            wake();
        });
        self.saving = Some(Saving {
            text,
            path,
            then,
            again: None,
            answer,
            thread: Some(thread),
        });
    }

    /// Takes up what became of it. Where it failed that is said, and another place offered.
    pub(super) fn poll_save(&mut self) {
        let Some(saving) = &self.saving else {
            return;
        };
        let done = match saving.answer.try_recv() {
            Err(TryRecvError::Empty) => return,
            Ok(done) => done.map_err(Some),
            Err(TryRecvError::Disconnected) => Err(None),
        };
        let (Some(mut saving), Some(document)) = (self.saving.take(), &mut self.document) else {
            return;
        };
        let (path, then) = (std::mem::take(&mut saving.path), saving.then.take());
        if done.is_ok() {
            document.is_saved(&path, std::mem::take(&mut saving.text));
        }
        if let Some((next, overwrite)) = saving.again.take()
            && (document.is_unsaved() || next != path)
        {
            return self.save_to(next, overwrite, then);
        }
        match done {
            Ok(()) => {
                self.say(format!("Saved {}.", path.display()));
                if let Some(next) = then {
                    self.go_on(next);
                }
            }
            Err(Some(SaveError::Other(StillError::Exists(_)))) => {
                self.question = Some(Question::Replace(path, then));
            }
            Err(wrong) => {
                let (because, other) = match wrong {
                    Some(e) => (e.to_string(), e.elsewhere(&path)),
                    None => ("it ended early".to_owned(), path),
                };
                let why = format!("It is not saved: {because}. Your work is still here.");
                self.say(why.clone());
                self.question = Some(Question::SaveAs {
                    path: other.display().to_string(),
                    why: Some(why),
                    then,
                });
            }
        }
    }

    /// Wants the window closed; asks first where there is unsaved work.
    pub fn close(&mut self) {
        self.go_on(Next::Close);
    }

    /// Does what is next, and asks first where unsaved work would be lost by it.
    fn go_on(&mut self, next: Next) {
        let unsaved = self.document.as_ref().filter(|d| d.is_unsaved());
        match (unsaved.map(Document::text), &mut self.saving) {
            (None, _) => self.do_next(next),
            // It is on its way to disk just now.
            (Some(text), Some(saving)) if saving.text == text => saving.then = Some(next),
            _ => self.question = Some(Question::Unsaved(next)),
        }
    }
}

fn write(text: &str, path: &Path, overwrite: Overwrite) -> Result<(), SaveError> {
    // It is put in the old one's place, which would take no notice of that one's being locked.
    if fs::metadata(path).is_ok_and(|m| m.is_file() && m.permissions().readonly())
        && overwrite == Overwrite::Force
    {
        return Err(SaveError::ReadOnly(path.to_path_buf()));
    }
    Ok(write_whole(path, overwrite, |w| {
        w.write_all(text.as_bytes())
    })?)
}

impl SaveError {
    /// Another place to save to, in the same folder where that is likely to do.
    fn elsewhere(&self, path: &Path) -> PathBuf {
        let name = path.file_name().unwrap_or("my-setup.toml".as_ref());
        if let Self::ReadOnly(_) = self {
            let stem = path.file_stem().unwrap_or("my-setup".as_ref());
            return path.with_file_name(format!("{}-2.toml", stem.to_string_lossy()));
        }
        let home = ["HOME", "USERPROFILE"].map(std::env::var_os);
        let mut home = home.into_iter().flatten().map(PathBuf::from);
        let other = |folder: &PathBuf| path.parent() != Some(folder);
        home.find(other).unwrap_or_default().join(name)
    }
}

impl Drop for Saving {
    fn drop(&mut self) {
        // A window that closes leaves a whole file behind.
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
