//! The command line of `compare`.

use super::exit::Failure;
use super::resolved::{Executing, executing, overwrite};
use super::source::SetupFrom;
use super::sweep_args::{PicturingArgs, apart, ends_in, page};
use super::typed::{ExecutingArgs, SayingArgs};
use clap::Args;
use std::path::PathBuf;
use swatchlight::measure::vary::{Exposing, Goals};
use swatchlight::report::{Overwrite, PageFormat};

pub const EXAMPLES: &str = "\
Examples:
  swatchlight compare monday.toml tuesday.toml                compare.png
  swatchlight compare a.toml b.toml --wipe ab.html            also a web page with a wipe
  swatchlight compare a.png b.png c.png --exposure each       stills that carry their setups
  swatchlight compare a.toml b.toml --json | jq .differences

All are shown at the exposure of the first, to the f-number, ISO and white balance. Ctrl-C leaves nothing.";

/// Setups beside each other.
const HOW_MANY: std::ops::RangeInclusive<usize> = 2..=6;

#[derive(Debug, Args)]
pub struct CompareArgs {
    /// Two to six setup files, or stills that carry their setups; the first is what the others are held
    /// against
    #[arg(value_name = "SETUP", required = true)]
    pub setups: Vec<PathBuf>,
    /// Where to write the page; the ending chooses the format: .png .jpg .svg
    #[arg(short, long, value_name = "PATH", default_value = "compare.png")]
    pub out: PathBuf,
    /// Also write a web page with a wipe between two of them: .html
    #[arg(long, value_name = "PATH")]
    pub wipe: Option<PathBuf>,
    #[command(flatten)]
    pub picturing: PicturingArgs,
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
}

/// A comparison to make.
#[derive(Debug)]
pub struct CompareRun {
    pub setups: Vec<SetupFrom>,
    pub out: (PathBuf, PageFormat),
    pub wipe: Option<PathBuf>,
    pub size: Option<[u32; 2]>,
    pub goals: Goals,
    pub overwrite: Overwrite,
    pub executing: Executing,
}

impl CompareArgs {
    /// With every default filled in.
    ///
    /// # Errors
    /// For too few or too many setups, and for names that end in nothing that can be written.
    pub fn resolved(self) -> Result<CompareRun, Failure> {
        if !HOW_MANY.contains(&self.setups.len()) {
            return Err(Failure::wrong(
                match self.setups.len() {
                    1 => "one setup cannot be compared".to_owned(),
                    many => format!("{many} setups are too many for a page"),
                },
                format!(
                    "give {} to {}: swatchlight compare a.toml b.toml",
                    HOW_MANY.start(),
                    HOW_MANY.end()
                ),
            ));
        }
        let setups: Vec<SetupFrom> = self.setups.into_iter().map(SetupFrom::typed).collect();
        if setups.iter().filter(|s| **s == SetupFrom::Stdin).count() > 1 {
            return Err(Failure::wrong(
                "stdin can be read only once",
                "give - for one of the setups, and files for the others",
            ));
        }
        let out = page(self.out)?;
        if let Some(path) = &self.wipe {
            ends_in(path, &["html", "htm"], "a web page", ".html")?;
        }
        let files: Vec<&PathBuf> = [Some(&out.0), self.wipe.as_ref()]
            .into_iter()
            .flatten()
            .collect();
        apart(&files)?;
        Ok(CompareRun {
            goals: self.picturing.goals(true, Exposing::Alike),
            setups,
            out,
            wipe: self.wipe,
            size: self.picturing.size,
            overwrite: overwrite(self.picturing.force),
            executing: executing(&self.executing),
        })
    }
}
