//! `merge`: what it takes, as typed and as resolved.

use super::exit::Failure;
use super::sheet_args::PaperArg;
use super::typed::SayingArgs;
use clap::Args;
use std::path::PathBuf;
use swatchlight::report::sheet::Paper;
use swatchlight::report::{Overwrite, StillFormat};

#[derive(Debug, Args)]
pub struct MergeArgs {
    /// Folders that batch --part has written to, or film parts (.film) of one picture
    #[arg(required = true, value_name = "FOLDER|FILE")]
    pub from: Vec<PathBuf>,
    /// Folder for all of it [default: the folder, where there is one]; for film parts, the picture
    #[arg(short, long, value_name = "PATH")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub paper: PaperArg,
    /// Of film parts: replace the picture if it is there
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub saying: SayingArgs,
}

/// Parts to put together.
#[derive(Debug)]
pub enum MergeRun {
    /// What is in folders, into a folder.
    Folders {
        from: Vec<PathBuf>,
        out: PathBuf,
        /// Of the sheets.
        paper: Paper,
    },
    /// Film parts of one picture, into that.
    Films {
        from: Vec<PathBuf>,
        out: PathBuf,
        overwrite: Overwrite,
    },
}

impl MergeArgs {
    /// Resolves what was typed.
    ///
    /// # Errors
    /// What does not go together.
    pub fn resolved(self) -> Result<MergeRun, Failure> {
        let films = self
            .from
            .iter()
            .filter(|p| p.extension().is_some_and(|x| x == "film") && !p.is_dir());
        match (films.count(), self.out) {
            (0, Some(out)) => Ok(MergeRun::Folders {
                from: self.from,
                out,
                paper: self.paper.paper(),
            }),
            (0, None) if self.from.len() == 1 => Ok(MergeRun::Folders {
                out: self.from[0].clone(),
                from: self.from,
                paper: self.paper.paper(),
            }),
            (0, None) => Err(Failure::wrong(
                "several folders are to be merged, and none is named for the whole",
                "add --out FOLDER",
            )),
            (n, _) if n < self.from.len() => Err(Failure::wrong(
                "folders and film parts cannot be merged at once",
                "give the folders alone: they hold their film parts",
            )),
            (_, None) => Err(Failure::wrong(
                "film parts make a picture, and none is named",
                "add --out picture.png",
            )),
            (_, Some(out)) => {
                StillFormat::from_path(&out)?;
                Ok(MergeRun::Films {
                    from: self.from,
                    out,
                    overwrite: match self.force {
                        true => Overwrite::Force,
                        false => Overwrite::Refuse,
                    },
                })
            }
        }
    }
}
