//! Where a setup comes from: a file, a still that carries one, or stdin.

use super::exit::Failure;
use std::fs::File;
use std::io::{self, Cursor, Read};
use std::path::{Path, PathBuf};
use swatchlight::report::{StillError, is_still, read_still, read_still_from};
use swatchlight::scene::models::Models;
use swatchlight::setup::{Checked, Options, Problems, parse_bytes};

/// Larger than any setup a person or a program would write.
const LONGEST_SETUP: u64 = 4 << 20;
/// Larger than any still that would be piped in.
const LONGEST_STILL: u64 = 1 << 30;

/// What was typed for SETUP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SetupFrom {
    /// A setup file or a still.
    File(PathBuf),
    /// `-`.
    Stdin,
}

/// The text of a setup, before it is checked.
#[derive(Debug)]
pub struct Source {
    /// How messages call it.
    pub shown: String,
    /// Its text, which may turn out to be none.
    pub bytes: Vec<u8>,
    /// The models that it may name.
    pub models: Models,
}

impl SetupFrom {
    /// As typed.
    pub fn typed(path: PathBuf) -> Self {
        if path.as_os_str() == "-" {
            Self::Stdin
        } else {
            Self::File(path)
        }
    }

    /// How messages call it.
    pub fn shown(&self) -> String {
        match self {
            Self::File(path) => path.display().to_string(),
            Self::Stdin => "stdin".into(),
        }
    }

    /// The file's name without its ending, to name results by.
    pub fn stem(&self) -> String {
        match self {
            Self::File(path) => path
                .file_stem()
                .map_or("still".into(), |s| s.to_string_lossy().into_owned()),
            Self::Stdin => "still".into(),
        }
    }

    /// Reads the setup's text.
    ///
    /// # Errors
    /// When there is no such file, it is no text of a sensible length, or a still without a setup.
    pub fn read(&self) -> Result<Source, Failure> {
        match self {
            Self::File(path) => read_file(path, self.shown()),
            Self::Stdin => read_stdin(self.shown()),
        }
    }
}

fn read_file(path: &Path, shown: String) -> Result<Source, Failure> {
    let models = Models::for_setup(path);
    let unreadable = |e: io::Error| unreadable(path, &e);
    let mut file = File::open(path).map_err(unreadable)?;
    if file.metadata().map_err(unreadable)?.is_dir() {
        return Err(Failure::wrong(
            format!("{shown} is a folder"),
            "give a setup file inside it",
        ));
    }
    let mut bytes = read_up_to(&mut file, 8).map_err(unreadable)?;
    if is_still(&bytes) {
        let inside = read_still(path).map_err(|e| of_still(&shown, e))?;
        return Ok(Source {
            shown: inside_of(&shown),
            bytes: inside.setup_toml.into_bytes(),
            models,
        });
    }
    bytes.extend(read_up_to(&mut file, LONGEST_SETUP).map_err(unreadable)?);
    plain(shown, bytes, models)
}

fn read_stdin(shown: String) -> Result<Source, Failure> {
    let models = Models::for_setup(Path::new("stdin"));
    let failed = |e: io::Error| Failure::working(format!("cannot read stdin: {e}"));
    let mut stdin = io::stdin().lock();
    let mut bytes = read_up_to(&mut stdin, 8).map_err(failed)?;
    if is_still(&bytes) {
        bytes.extend(read_up_to(&mut stdin, LONGEST_STILL).map_err(failed)?);
        let inside = read_still_from(Cursor::new(bytes)).map_err(|e| of_still(&shown, e))?;
        return Ok(Source {
            shown: inside_of(&shown),
            bytes: inside.setup_toml.into_bytes(),
            models,
        });
    }
    bytes.extend(read_up_to(&mut stdin, LONGEST_SETUP).map_err(failed)?);
    if bytes.is_empty() {
        return Err(Failure::wrong(
            "nothing came from stdin",
            "pipe a setup in, or give a file",
        ));
    }
    plain(shown, bytes, models)
}

fn plain(shown: String, bytes: Vec<u8>, models: Models) -> Result<Source, Failure> {
    if bytes.len() as u64 > LONGEST_SETUP {
        return Err(Failure::wrong(
            format!("{shown} is too long to be a setup"),
            "give a setup file (.toml) or a still that this program wrote",
        ));
    }
    Ok(Source {
        shown,
        bytes,
        models,
    })
}

fn read_up_to(from: &mut impl Read, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    from.take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn inside_of(shown: &str) -> String {
    format!("{shown} (setup inside)")
}

fn of_still(shown: &str, error: StillError) -> Failure {
    match Failure::from(error) {
        Failure::Message { exit, what, hint } if !what.contains(shown) => Failure::Message {
            exit,
            what: format!("{shown}: {what}"),
            hint,
        },
        other => other,
    }
}

fn unreadable(path: &Path, error: &io::Error) -> Failure {
    let shown = path.display();
    match error.kind() {
        io::ErrorKind::NotFound => {
            let with_ending = path.with_extension("toml");
            let hint = if path.extension().is_none() && with_ending.is_file() {
                format!("did you mean {}?", with_ending.display())
            } else {
                "look at the spelling, or write a new one with: swatchlight new NAME".into()
            };
            Failure::wrong(format!("there is no file {shown}"), hint)
        }
        io::ErrorKind::PermissionDenied => Failure::wrong(
            format!("no permission to read {shown}"),
            "give a file that you may read",
        ),
        io::ErrorKind::IsADirectory => Failure::wrong(
            format!("{shown} is a folder"),
            "give a setup file inside it",
        ),
        _ => Failure::wrong(
            format!("cannot read {shown}: {error}"),
            "give a setup file (.toml) or a still",
        ),
    }
}

impl Source {
    /// Parses and checks.
    ///
    /// # Errors
    /// Every problem found.
    pub fn parse(&self, laid_over: Options) -> Result<Checked, Problems> {
        parse_bytes(&self.bytes, &self.shown, &self.models, laid_over)
    }

    /// The text, verbatim.
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }
}
