//! Unsaved work, kept beside the cache until it is saved or given up, so that a crash costs nothing. It is
//! written beside the window, which waits for no disk.

use crate::report::{Overwrite, write_whole};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

/// Where one window keeps its unsaved work.
pub struct Journal {
    file: Option<PathBuf>,
    keeper: Option<Keeper>,
    /// Why the last that was to be kept was not, if so.
    trouble: Arc<Mutex<Option<String>>>,
}

/// Work that an earlier window left behind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Left {
    /// The setup's file, where it had one.
    pub path: Option<PathBuf>,
    /// The setup's text.
    pub text: String,
}

/// The thread that writes.
struct Keeper {
    tell: Option<Sender<Task>>,
    thread: Option<JoinHandle<()>>,
}

enum Task {
    Keep(Left),
    Forget,
}

impl Journal {
    /// The journal of a setup in a folder; none keeps nothing.
    pub fn of(folder: Option<&Path>, setup: Option<&Path>) -> Self {
        let name = match setup {
            Some(path) => {
                let full = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
                let digest = Sha256::digest(full.as_os_str().as_encoded_bytes());
                digest.iter().take(8).map(|b| format!("{b:02x}")).collect()
            }
            None => "new".to_owned(),
        };
        Self {
            file: folder.map(|f| f.join(format!("unsaved-{name}.json"))),
            keeper: None,
            trouble: Arc::default(),
        }
    }

    /// What an earlier window left, if anything. Reads the disk.
    pub fn left(&self) -> Option<Left> {
        let bytes = fs::read(self.file.as_ref()?).ok()?;
        serde_json::from_slice(&bytes).ok()
    }

    /// Has a text kept.
    pub fn write(&mut self, path: Option<&Path>, text: &str) {
        let full = path.map(|p| std::path::absolute(p).unwrap_or_else(|_| p.to_path_buf()));
        self.tell(Task::Keep(Left {
            path: full,
            text: text.to_owned(),
        }));
    }

    /// Has what was kept forgotten.
    pub fn clear(&mut self) {
        self.tell(Task::Forget);
    }

    /// Why unsaved work cannot be kept at present, if so.
    pub fn trouble(&self) -> Option<String> {
        lock(&self.trouble).clone()
    }

    fn tell(&mut self, task: Task) {
        let Some(file) = &self.file else {
            return;
        };
        let keeper = self
            .keeper
            .get_or_insert_with(|| Keeper::start(file.clone(), Arc::clone(&self.trouble)));
        if let Some(tell) = &keeper.tell {
            // A keeper that ended has said why.
            let _ = tell.send(task);
        }
    }
}

impl Keeper {
    fn start(file: PathBuf, trouble: Arc<Mutex<Option<String>>>) -> Self {
        let (tell, tasks) = channel();
        let told = Arc::clone(&trouble);
        let thread = std::thread::Builder::new()
            .name("journal".into())
            .spawn(move || keep(&file, &tasks, &told));
        if let Err(e) = &thread {
            *lock(&trouble) = Some(e.to_string());
        }
        Self {
            tell: Some(tell),
            thread: thread.ok(),
        }
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        // It ends when nobody can tell it anything more, with all done that it was told.
        self.tell = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Does what it is told; of several things that wait, only the last counts.
fn keep(file: &Path, tasks: &Receiver<Task>, trouble: &Mutex<Option<String>>) {
    while let Ok(first) = tasks.recv() {
        let last = tasks.try_iter().last().unwrap_or(first);
        let done = match last {
            Task::Keep(left) => write(file, &left),
            Task::Forget => match fs::remove_file(file) {
                Err(e) if !gone(&e) => Err(e.to_string()),
                _ => Ok(()),
            },
        };
        *lock(trouble) = done.err();
    }
}

/// Whether a file is not there because it, or a folder on its way, is none.
fn gone(error: &io::Error) -> bool {
    use io::ErrorKind::{NotADirectory, NotFound};
    [NotFound, NotADirectory].contains(&error.kind())
}

fn write(file: &Path, left: &Left) -> Result<(), String> {
    if let Some(folder) = file.parent() {
        fs::create_dir_all(folder)
            .map_err(|e| format!("cannot make the folder {}: {e}", folder.display()))?;
    }
    let bytes = serde_json::to_vec(left).map_err(|e| e.to_string())?;
    write_whole(file, Overwrite::Force, |w| w.write_all(&bytes)).map_err(|e| e.to_string())
}

/// A panic elsewhere leaves a whole value behind.
fn lock(trouble: &Mutex<Option<String>>) -> std::sync::MutexGuard<'_, Option<String>> {
    trouble.lock().unwrap_or_else(PoisonError::into_inner)
}
