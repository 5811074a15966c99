//! What was worked out once, kept in a folder for the next run, each thing in a file that is named by the hash of
//! everything that it depends on.
//!
//! A file that is not whole, or is of other contents than its name says, counts as none and is written
//! anew. Files are written beside their place and moved there, so that programs running at once never
//! meet half a file.

use sha2::{Digest, Sha256};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

/// The hash that names a file.
pub type Key = [u8; 32];

/// The key of a description; numbers in it are to be written so that they read back to the bit.
pub fn key_of(description: &str) -> Key {
    Sha256::digest(description).into()
}

/// One kind of file in a folder, or none where there is no folder.
#[derive(Debug, Clone)]
pub struct Kept {
    folder: Option<PathBuf>,
    kind: Kind,
    /// Only read from, and first.
    shipped: Arc<RwLock<Vec<PathBuf>>>,
}

/// What the files of one kind have in common.
#[derive(Debug, Clone, Copy)]
pub struct Kind {
    /// Ending of their names.
    pub ending: &'static str,
    /// How each begins.
    pub magic: &'static [u8; 16],
    /// What they may take together before the oldest go.
    pub most_bytes: u64,
}

struct File {
    path: PathBuf,
    bytes: u64,
    written: std::time::SystemTime,
}

impl Kept {
    /// Files of a kind in `folder`, which is made when it is first written to.
    pub fn new(folder: Option<PathBuf>, kind: Kind) -> Self {
        Self {
            folder,
            kind,
            shipped: Arc::default(),
        }
    }

    /// Looks into these folders too, before its own, and writes nothing there.
    pub fn look_into(&self, folders: &[PathBuf]) {
        let mut shipped = self.shipped.write().unwrap_or_else(PoisonError::into_inner);
        for folder in folders {
            if !shipped.contains(folder) {
                shipped.push(folder.clone());
            }
        }
    }

    /// Where they are.
    pub fn folder(&self) -> Option<&Path> {
        self.folder.as_deref()
    }

    /// How many there are, and their bytes.
    pub fn tally(&self) -> (usize, u64) {
        let sizes = self.files().into_iter().map(|f| f.bytes);
        sizes.fold((0, 0), |(n, sum), bytes| (n + 1, sum + bytes))
    }

    /// What was kept under a key.
    pub fn read(&self, key: &Key) -> Option<Vec<u8>> {
        let shipped = self.shipped.read().unwrap_or_else(PoisonError::into_inner);
        let mut folders = shipped.iter().map(PathBuf::as_path).chain(self.folder());
        folders.find_map(|folder| self.read_in(folder, key))
    }

    fn read_in(&self, folder: &Path, key: &Key) -> Option<Vec<u8>> {
        let bytes = fs::read(self.path_in(folder, key)).ok()?;
        let body = bytes.strip_prefix(self.kind.magic)?.strip_prefix(key)?;
        let (body, print) = body.split_at_checked(body.len().checked_sub(32)?)?;
        (Sha256::digest(body)[..] == *print).then(|| body.to_vec())
    }

    /// Keeps something under a key.
    ///
    /// # Errors
    /// What the system says where it cannot be written.
    pub fn write(&self, key: &Key, body: &[u8]) -> std::io::Result<()> {
        let Some(folder) = self.folder() else {
            return Ok(());
        };
        fs::create_dir_all(folder)?;
        let mut file = tempfile::NamedTempFile::new_in(folder)?;
        for part in [&self.kind.magic[..], key, body, &Sha256::digest(body)] {
            file.write_all(part)?;
        }
        file.persist(self.path_in(folder, key))
            .map_err(|e| e.error)?;
        self.prune();
        Ok(())
    }

    fn path_in(&self, folder: &Path, key: &Key) -> PathBuf {
        let name: String = key.iter().map(|b| format!("{b:02x}")).collect();
        folder.join(name).with_extension(self.kind.ending)
    }

    fn files(&self) -> Vec<File> {
        let Some(entries) = self.folder().and_then(|f| fs::read_dir(f).ok()) else {
            return Vec::new();
        };
        entries
            .flatten()
            .filter(|e| e.path().extension().is_some_and(|x| x == self.kind.ending))
            .filter_map(|e| {
                let facts = e.metadata().ok()?;
                Some(File {
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
            if sum > self.kind.most_bytes {
                // Another run may have been quicker.
                let _ = fs::remove_file(file.path);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOTES: Kind = Kind {
        ending: "note",
        magic: b"notes of a test\n",
        most_bytes: 400,
    };

    #[test]
    fn what_is_kept_comes_back() {
        let folder = tempfile::tempdir().unwrap();
        let kept = Kept::new(Some(folder.path().join("new")), NOTES);
        let (a, b) = (key_of("a"), key_of("b"));
        assert_eq!(kept.read(&a), None);
        kept.write(&a, b"body").unwrap();
        assert_eq!(kept.read(&a).as_deref(), Some(&b"body"[..]));
        assert_eq!(kept.read(&b), None);
        assert_eq!(kept.tally(), (1, 16 + 32 + 4 + 32));
        assert!(Kept::new(None, NOTES).write(&a, b"body").is_ok());
    }

    /// Cut anywhere, with any byte changed, or of another key, a file counts as none.
    #[test]
    fn broken_files_count_as_none() {
        let folder = tempfile::tempdir().unwrap();
        let kept = Kept::new(Some(folder.path().into()), NOTES);
        let (a, b) = (key_of("a"), key_of("b"));
        kept.write(&a, b"body").unwrap();
        let path = kept.path_in(folder.path(), &a);
        let whole = fs::read(&path).unwrap();
        for cut in 0..whole.len() {
            fs::write(&path, &whole[..cut]).unwrap();
            assert_eq!(kept.read(&a), None, "cut at {cut}");
        }
        for at in 0..whole.len() {
            let mut other = whole.clone();
            other[at] ^= 0x10;
            fs::write(&path, &other).unwrap();
            assert_eq!(kept.read(&a), None, "changed at {at}");
        }
        kept.write(&b, b"body").unwrap();
        fs::copy(kept.path_in(folder.path(), &b), &path).unwrap();
        assert_eq!(kept.read(&a), None);
    }

    #[test]
    fn the_oldest_go_first() {
        let folder = tempfile::tempdir().unwrap();
        let kept = Kept::new(Some(folder.path().into()), NOTES);
        for i in 0..8 {
            kept.write(&key_of(&i.to_string()), &[0; 20]).unwrap();
            std::thread::sleep(std::time::Duration::from_millis(15));
        }
        assert_eq!(kept.tally(), (4, 400));
        assert!(kept.read(&key_of("7")).is_some() && kept.read(&key_of("0")).is_none());
    }
}
