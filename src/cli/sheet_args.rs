//! `sheet`: what it takes, as typed and as resolved.

use super::exit::Failure;
use super::resolved::{Executing, executing, goal, overwrite};
use super::source::SetupFrom;
use super::typed::{ExecutingArgs, SayingArgs, SetupArg, percent, size};
use clap::Args;
use clap::builder::PossibleValuesParser;
use std::path::{Path, PathBuf};
use std::time::SystemTime;
use swatchlight::render::driver::Goal;
use swatchlight::report::Overwrite;
use swatchlight::report::sheet::{Paper, date_in_words, day_of};
use swatchlight::setup::Options;

/// Larger would make a page that browsers and printers choke on; the picture is held whole. It is 540 to the
/// inch of what the paper holds.
const MOST_PIXELS: u32 = 2400;
/// A date is a line.
const LONGEST_DATE: usize = 60;

/// For `sheet`.
#[derive(Debug, Args)]
pub struct SheetArgs {
    #[command(flatten)]
    pub setup: SetupArg,
    /// Where to write; the ending chooses the format: .pdf, or .html for a page whose light can be mixed
    /// anew [default: SETUP-sheet.pdf]
    #[arg(short, long, value_name = "PATH")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub paper: PaperArg,
    /// The date on it, as you write dates; "" for none [default: today, by universal time]
    #[arg(long, value_name = "TEXT")]
    pub date: Option<String>,
    /// Leave out the cloth close by and its weave contrast
    #[arg(long)]
    pub no_cloth: bool,
    /// Width and height of the picture in pixels, instead of the setup's: 900x1200
    #[arg(long, value_name = "WxH", value_parser = size)]
    pub size: Option<[u32; 2]>,
    /// Stop at this many samples a pixel [default: 1024, or 16384 with --noise]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(1..=1_048_576))]
    pub samples: Option<u32>,
    /// Stop when the median pixel is this exact, in per cent, and then go over what is noisier than twice
    /// that [default: 2, unless --samples is given]
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true, value_parser = percent)]
    pub noise: Option<f64>,
    /// Replace the sheet if it is there
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
}

/// Of whatever makes sheets.
#[derive(Debug, Args)]
pub struct PaperArg {
    /// What sheets are printed on
    #[arg(long, value_name = "SIZE", default_value = "a4", value_parser = PossibleValuesParser::new(Paper::NAMED.map(|(word, _)| word)))]
    paper: String,
}

impl PaperArg {
    pub fn paper(&self) -> Paper {
        let paper = Paper::NAMED.iter().find(|(word, _)| *word == self.paper);
        paper.map_or(Paper::A4, |(_, paper)| *paper)
    }
}

/// A sheet to make.
#[derive(Debug)]
pub struct SheetRun {
    pub setup: SetupFrom,
    pub laid_over: Options,
    pub out: PathBuf,
    pub format: SheetFormat,
    pub paper: Paper,
    /// In words; may be empty.
    pub date: String,
    pub cloth: bool,
    pub goal: Goal,
    pub overwrite: Overwrite,
    pub executing: Executing,
}

/// What a sheet is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SheetFormat {
    Pdf,
    Html,
}

impl SheetFormat {
    /// By the ending of a file's name.
    fn from_path(path: &Path) -> Result<Self, Failure> {
        let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        match ending.as_deref() {
            Some("pdf") => Ok(Self::Pdf),
            Some("html" | "htm") => Ok(Self::Html),
            _ => Err(Failure::wrong(
                format!("{} is no sheet's name", path.display()),
                "end it in .pdf or .html",
            )),
        }
    }
}

impl SheetArgs {
    /// What to make.
    ///
    /// # Errors
    /// What does not go together.
    pub fn resolved(self) -> Result<SheetRun, Failure> {
        let setup = SetupFrom::typed(self.setup.path);
        let out = self
            .out
            .unwrap_or_else(|| PathBuf::from(format!("{}-sheet.pdf", setup.stem())));
        if let Some(pixels) = self.size {
            fits(pixels)?;
        }
        let date = self
            .date
            .unwrap_or_else(|| date_in_words(day_of(SystemTime::now())));
        if date.chars().count() > LONGEST_DATE {
            return Err(Failure::wrong(
                "the date is too long for its line",
                format!("give up to {LONGEST_DATE} letters"),
            ));
        }
        Ok(SheetRun {
            format: SheetFormat::from_path(&out)?,
            laid_over: Options { pixels: self.size },
            paper: self.paper.paper(),
            date,
            cloth: !self.no_cloth,
            goal: goal(self.samples, self.noise),
            overwrite: overwrite(self.force),
            executing: executing(&self.executing),
            setup,
            out,
        })
    }
}

/// Refuses pictures that are too large, and says a size that is not.
///
/// # Errors
/// When a side is too long.
pub fn fits([w, h]: [u32; 2]) -> Result<(), Failure> {
    let longer = w.max(h);
    if longer <= MOST_PIXELS {
        return Ok(());
    }
    let scaled = |side: u32| (u64::from(side) * u64::from(MOST_PIXELS) / u64::from(longer)).max(16);
    Err(Failure::wrong(
        format!("{w} x {h} pixels are too many for a sheet"),
        format!("add --size {}x{}, or less", scaled(w), scaled(h)),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn large_pictures_are_refused_with_a_size_that_fits() {
        assert!(fits([1600, 2400]).is_ok());
        match fits([6000, 4000]) {
            Err(Failure::Message { hint, .. }) => {
                assert_eq!(hint.as_deref(), Some("add --size 2400x1600, or less"));
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn the_ending_says_the_format() {
        for (name, format) in [
            ("a.pdf", SheetFormat::Pdf),
            ("b/A.PDF", SheetFormat::Pdf),
            ("a.html", SheetFormat::Html),
            ("a.htm", SheetFormat::Html),
        ] {
            assert_eq!(
                SheetFormat::from_path(Path::new(name)).expect("a format"),
                format
            );
        }
        for name in ["a", "a.png", "pdf", ""] {
            assert!(SheetFormat::from_path(Path::new(name)).is_err(), "{name}");
        }
    }
}
