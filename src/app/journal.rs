//! Unsaved work, kept beside the cache until it is saved or given up, so that a crash costs nothing.

use crate::report::{Overwrite, write_whole};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Where one window keeps its unsaved work.
#[derive(Debug, Clone)]
pub struct Journal {
    file: Option<PathBuf>,
}

/// Work that an earlier window left behind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Left {
    /// The setup's file, where it had one.
    pub path: Option<PathBuf>,
    /// The setup's text.
    pub text: String,
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
        }
    }

    /// What an earlier window left, if anything.
    pub fn left(&self) -> Option<Left> {
        let bytes = fs::read(self.file.as_ref()?).ok()?;
        serde_json::from_slice(&bytes).ok()
    }

    /// Keeps a text.
    ///
    /// # Errors
    /// When the folder cannot be written.
    pub fn write(&self, path: Option<&Path>, text: &str) -> io::Result<()> {
        let Some(file) = &self.file else {
            return Ok(());
        };
        if let Some(folder) = file.parent() {
            fs::create_dir_all(folder)?;
        }
        let full = path.map(|p| std::path::absolute(p).unwrap_or_else(|_| p.to_path_buf()));
        let left = Left {
            path: full,
            text: text.to_owned(),
        };
        let bytes = serde_json::to_vec(&left)?;
        write_whole(file, Overwrite::Force, |w| w.write_all(&bytes)).map_err(io::Error::other)
    }

    /// Forgets what was kept.
    ///
    /// # Errors
    /// When it is there and cannot be removed.
    pub fn clear(&self) -> io::Result<()> {
        match self.file.as_ref().map(fs::remove_file) {
            Some(Err(e)) if e.kind() != io::ErrorKind::NotFound => Err(e),
            _ => Ok(()),
        }
    }
}
