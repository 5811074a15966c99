//! Files that appear whole or not at all.
//!
//! A file is written under a temporary name in the folder where it will lie, brought safely to
//! disk, and renamed. On any failure, and when dropped unfinished, the temporary file goes.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tempfile::NamedTempFile;

use super::error::StillError;

/// Temporary files that are being written now, for [`discard_unfinished`].
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// What to do when the file is already there.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Overwrite {
    /// Leave it and fail.
    #[default]
    Refuse,
    /// Put the new file in its place, once that is whole.
    Force,
}

/// A file on its way to its name. [`WholeFile::commit`] puts it there; dropping it leaves nothing.
#[derive(Debug)]
pub struct WholeFile {
    temporary: NamedTempFile,
    listed: Listed,
    target: PathBuf,
    overwrite: Overwrite,
    writer: WholeWriter,
}

/// A handle to write a [`WholeFile`] with. Handles of one file share its position and its buffer.
#[derive(Clone, Debug)]
pub struct WholeWriter(Arc<Mutex<Sticky>>);

/// A buffered file that remembers its first failure: encoders that write in `drop` swallow theirs.
#[derive(Debug)]
struct Sticky {
    file: BufWriter<File>,
    failure: Option<io::Error>,
}

/// An entry in [`UNFINISHED`], taken out on drop.
#[derive(Debug)]
struct Listed(PathBuf);

/// Writes a whole file in one go.
///
/// # Errors
/// As [`WholeFile::open`] and [`WholeFile::commit`], and whatever `write` reports.
pub fn write_whole(
    path: &Path,
    overwrite: Overwrite,
    write: impl FnOnce(&mut WholeWriter) -> io::Result<()>,
) -> Result<(), StillError> {
    let file = WholeFile::open(path, overwrite)?;
    write(&mut file.writer())
        .map_err(|source| StillError::from_io("write", path, file.failure_or(source)))?;
    file.commit()
}

/// Removes the temporary files of everything that is being written, for a program about to end
/// without unwinding (a second Ctrl-C). Files that were already in place stay.
pub fn discard_unfinished() {
    for path in std::mem::take(&mut *unfinished()) {
        // The program ends now: there is nobody left to tell.
        let _ = fs::remove_file(path);
    }
}

impl WholeFile {
    /// Starts a file that will lie at `path`. Checks at once what would make the end fail: a file
    /// of that name without `Overwrite::Force`, a folder that is missing or closed to us.
    ///
    /// # Errors
    /// [`StillError::Exists`], [`StillError::MissingFolder`], [`StillError::NotAFile`],
    /// [`StillError::Denied`], [`StillError::DiskFull`] or [`StillError::Io`].
    pub fn open(path: &Path, overwrite: Overwrite) -> Result<WholeFile, StillError> {
        let not_a_file = |why| StillError::NotAFile {
            path: path.to_owned(),
            why,
        };
        if path.file_name().is_none() {
            return Err(not_a_file("it is a folder"));
        }
        match fs::metadata(path) {
            Ok(found) if found.is_dir() => return Err(not_a_file("it is a folder")),
            Ok(found) if !found.is_file() => {
                return Err(not_a_file("it is a device or a pipe"));
            }
            Ok(_) if overwrite == Overwrite::Refuse => {
                return Err(StillError::Exists(path.to_owned()));
            }
            _ => {}
        }

        // Replace what a link points to, not the link.
        let target = match overwrite {
            Overwrite::Force => fs::canonicalize(path).unwrap_or_else(|_| path.to_owned()),
            Overwrite::Refuse => path.to_owned(),
        };
        let folder = match target.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        if let Err(source) = fs::metadata(folder) {
            return Err(match source.kind() {
                io::ErrorKind::NotFound => StillError::MissingFolder(folder.to_owned()),
                _ => StillError::from_io("write", path, source),
            });
        }

        let mut builder = tempfile::Builder::new();
        builder.prefix(".swatchlight-").suffix(".part");
        #[cfg(unix)]
        {
            // As any new file: the temporary one would otherwise keep others from reading it.
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(fs::Permissions::from_mode(0o666));
        }
        let sort = |source| StillError::from_io("write", path, source);
        let temporary = builder.tempfile_in(folder).map_err(sort)?;
        let listed = Listed::new(temporary.path());
        let file = temporary.as_file().try_clone().map_err(sort)?;
        let writer = WholeWriter(Arc::new(Mutex::new(Sticky {
            file: BufWriter::with_capacity(1 << 18, file),
            failure: None,
        })));
        Ok(WholeFile {
            temporary,
            listed,
            target,
            overwrite,
            writer,
        })
    }

    /// A handle to write with, through a buffer.
    pub fn writer(&self) -> WholeWriter {
        self.writer.clone()
    }

    /// The path the file will have.
    pub fn path(&self) -> &Path {
        &self.target
    }

    /// Brings the file to disk and to its name.
    ///
    /// # Errors
    /// [`StillError::Exists`] if a file of that name has come up meanwhile (without
    /// `Overwrite::Force`), or what the system reports; then nothing is left behind.
    pub fn commit(self) -> Result<(), StillError> {
        let WholeFile {
            temporary,
            listed,
            target,
            overwrite,
            writer,
        } = self;
        let sort = |source| StillError::from_io("write", &target, source);
        {
            let mut sticky = writer.lock();
            match sticky.failure.take() {
                Some(failure) => return Err(sort(failure)),
                None => sticky.file.flush().map_err(sort)?,
            }
        }
        temporary.as_file().sync_all().map_err(sort)?;

        let placed = match overwrite {
            Overwrite::Force => temporary.persist(&target),
            Overwrite::Refuse => temporary.persist_noclobber(&target).or_else(|failure| {
                // File systems without links or an exclusive rename (memory cards, some network
                // drives) cannot tell us in one step: look first there.
                let taken = failure.error.kind() == io::ErrorKind::AlreadyExists
                    || fs::symlink_metadata(&target).is_ok();
                if taken {
                    Err(tempfile::PersistError {
                        error: io::ErrorKind::AlreadyExists.into(),
                        file: failure.file,
                    })
                } else {
                    failure.file.persist(&target)
                }
            }),
        };
        placed.map_err(|failure| sort(failure.error))?;
        drop(listed);

        #[cfg(unix)]
        if let Some(folder) = target.parent().filter(|f| !f.as_os_str().is_empty()) {
            // The name must survive a power cut too; where folders cannot be synced, it may not.
            let _ = File::open(folder).and_then(|folder| folder.sync_all());
        }
        Ok(())
    }

    /// The first failure of the file itself if there was one (encoders wrap or lose it), else
    /// `reported`.
    pub(super) fn failure_or(&self, reported: io::Error) -> io::Error {
        self.take_failure().unwrap_or(reported)
    }

    /// The first failure of the file itself, once.
    pub(super) fn take_failure(&self) -> Option<io::Error> {
        self.writer.lock().failure.take()
    }
}

impl WholeWriter {
    fn lock(&self) -> MutexGuard<'_, Sticky> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn attempt<T>(&self, act: impl FnOnce(&mut BufWriter<File>) -> io::Result<T>) -> io::Result<T> {
        let mut sticky = self.lock();
        let outcome = act(&mut sticky.file);
        if let Err(error) = &outcome
            && error.kind() != io::ErrorKind::Interrupted
            && sticky.failure.is_none()
        {
            // io::Error cannot be cloned: keep the kind, which is what errors are sorted by.
            sticky.failure = Some(match error.raw_os_error() {
                Some(code) => io::Error::from_raw_os_error(code),
                None => io::Error::new(error.kind(), error.to_string()),
            });
        }
        outcome
    }
}

impl Write for WholeWriter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.attempt(|file| file.write(bytes))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.attempt(|file| file.flush())
    }
}

impl Seek for WholeWriter {
    fn seek(&mut self, position: SeekFrom) -> io::Result<u64> {
        self.attempt(|file| file.seek(position))
    }
}

impl Listed {
    fn new(path: &Path) -> Listed {
        unfinished().insert(path.to_owned());
        Listed(path.to_owned())
    }
}

impl Drop for Listed {
    fn drop(&mut self) {
        unfinished().remove(&self.0);
    }
}

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}
