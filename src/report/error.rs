//! What can go wrong with stills, said once, with what to do about it.

use std::io;
use std::path::{Path, PathBuf};

/// A still that could not be written or read. [`StillError::hint`] says what to type instead.
#[derive(Debug, thiserror::Error)]
pub enum StillError {
    /// The file is there and the caller did not ask to replace it.
    #[error("{} is already there", .0.display())]
    Exists(PathBuf),
    /// The folder to write into is not there.
    #[error("there is no folder {}", .0.display())]
    MissingFolder(PathBuf),
    /// The path names a folder, or has a file where a folder is needed.
    #[error("{} cannot be a file: {}", .path.display(), .why)]
    NotAFile {
        /// The path as given.
        path: PathBuf,
        /// What stands in the way.
        why: &'static str,
    },
    /// The folder does not let us write.
    #[error("no permission to write {}", .0.display())]
    Denied(PathBuf),
    /// The disk, or the user's share of it, is full.
    #[error("no space left to write {}", .0.display())]
    DiskFull(PathBuf),
    /// The extension names no format we write.
    #[error("{}: {}", .path.display(), match .extension {
        Some(extension) => format!("unknown picture format \".{extension}\""),
        None => "the name has no extension to tell the picture format by".to_owned(),
    })]
    UnknownFormat {
        /// The path as given.
        path: PathBuf,
        /// Its extension, if it has one.
        extension: Option<String>,
    },
    /// The format cannot hold this picture.
    #[error("{}: {why}", .path.display())]
    Unsuitable {
        /// The path as given.
        path: PathBuf,
        /// What the format cannot hold.
        why: String,
    },
    /// Layers or bands that do not fit together: a mistake in the calling code.
    #[error("the picture does not fit together: {0}")]
    Mismatch(String),
    /// The encoder refused.
    #[error("cannot encode the picture as {format}: {why}")]
    Encode {
        /// The format's name.
        format: &'static str,
        /// The encoder's words.
        why: String,
    },
    /// The file to read is no picture of a format we know.
    #[error("not a still: neither PNG, EXR, JPEG nor TIFF")]
    NotAStill,
    /// A picture, but without a setup inside.
    #[error("this {0} picture has no setup inside")]
    NoSetup(&'static str),
    /// The file breaks its own format.
    #[error("this {format} file is damaged: {why}")]
    Damaged {
        /// The format's name.
        format: &'static str,
        /// What is broken.
        why: String,
    },
    /// Any other failure of the system.
    #[error("cannot {doing} {}: {source}", .path.display())]
    Io {
        /// What was being done, an infinitive.
        doing: &'static str,
        /// To which file.
        path: PathBuf,
        /// The system's words.
        source: io::Error,
    },
}

impl StillError {
    /// What to do about it, a sentence without a full stop, where there is something to do.
    pub fn hint(&self) -> Option<String> {
        match self {
            StillError::Exists(_) => {
                Some("add --force to replace it, or give another name with --out".to_owned())
            }
            StillError::MissingFolder(folder) => Some(format!(
                "make it first: mkdir -p {}",
                quote_for_shell(folder)
            )),
            StillError::NotAFile { path, .. } => Some(format!(
                "give a file name, such as --out {}",
                quote_for_shell(&path.join("still.png"))
            )),
            StillError::Denied(_) => {
                Some("write to a folder of your own with --out PATH".to_owned())
            }
            StillError::DiskFull(_) => Some(
                "free some space, or write to another disk with --out PATH; nothing was left behind"
                    .to_owned(),
            ),
            StillError::UnknownFormat { .. } => Some(
                "end the name in .png, .exr (a layer per light), .jpg or .tif".to_owned(),
            ),
            StillError::Unsuitable { .. } => {
                Some("write a .png or an .exr, or a smaller picture with --size".to_owned())
            }
            StillError::NotAStill => {
                Some("give a setup file (.toml) or a still that this program wrote".to_owned())
            }
            StillError::NoSetup(_) => Some(
                "give a still as this program wrote it: many picture editors drop the text inside"
                    .to_owned(),
            ),
            StillError::Damaged { .. } => Some("take the original file again".to_owned()),
            StillError::Mismatch(_) | StillError::Encode { .. } | StillError::Io { .. } => None,
        }
    }

    /// Sorts a system error that came up while `doing` something with `path`.
    pub(super) fn from_io(doing: &'static str, path: &Path, source: io::Error) -> StillError {
        use io::ErrorKind::*;
        let path = path.to_owned();
        match source.kind() {
            PermissionDenied | ReadOnlyFilesystem => StillError::Denied(path),
            StorageFull | QuotaExceeded => StillError::DiskFull(path),
            AlreadyExists => StillError::Exists(path),
            IsADirectory => StillError::NotAFile {
                path,
                why: "it is a folder",
            },
            NotADirectory => StillError::NotAFile {
                path,
                why: "part of the path is a file, not a folder",
            },
            _ => StillError::Io {
                doing,
                path,
                source,
            },
        }
    }
}

/// The path as a shell takes it.
fn quote_for_shell(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+:@%".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text
    } else {
        format!("'{}'", text.replace('\'', r"'\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the system says, in our words and with advice: full disks and closed folders are hard
    /// to come by in a test run.
    #[test]
    fn system_errors_are_sorted() {
        let path = Path::new("a folder/still.png");
        for (kind, words, advice) in [
            (io::ErrorKind::StorageFull, "no space left", "--out"),
            (io::ErrorKind::QuotaExceeded, "no space left", "--out"),
            (io::ErrorKind::PermissionDenied, "no permission", "--out"),
            (io::ErrorKind::ReadOnlyFilesystem, "no permission", "--out"),
            (io::ErrorKind::AlreadyExists, "is already there", "--force"),
            (io::ErrorKind::IsADirectory, "it is a folder", "still.png"),
        ] {
            let error = StillError::from_io("write", path, kind.into());
            let text = error.to_string();
            assert!(
                text.contains(words) && text.contains("a folder/still.png"),
                "{text}"
            );
            assert!(
                error.hint().is_some_and(|hint| hint.contains(advice)),
                "{kind}"
            );
        }
        let other = StillError::from_io("read", path, io::ErrorKind::TimedOut.into());
        assert!(
            other
                .to_string()
                .starts_with("cannot read a folder/still.png: ")
        );
        let missing = StillError::MissingFolder("a folder's".into());
        assert_eq!(
            missing.hint().unwrap(),
            r"make it first: mkdir -p 'a folder'\''s'"
        );
    }
}
