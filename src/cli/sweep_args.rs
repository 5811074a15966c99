//! The command line of `sweep`.

use super::exit::Failure;
use super::resolved::{Executing, executing, overwrite};
use super::source::SetupFrom;
use super::typed::{ExecutingArgs, SayingArgs, SetupArg, percent, size};
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::vary::{Exposing, Goals};
use swatchlight::render::driver::Goal;
use swatchlight::report::{Overwrite, PageFormat};

pub const EXAMPLES: &str = "\
Examples:
  swatchlight sweep side.toml --over key.spread=0..1:6          side-sweep.png
  swatchlight sweep side.toml --over key.distance=1.5m..4m:5 --moving nearer.png
  swatchlight sweep side.toml --over \"key.bearing=20 deg left..80 deg left:4\" --exposure each
  swatchlight sweep side.toml --over figure.fabric=linen-slub,silk-satin,denim
  swatchlight sweep side.toml --over key.distance=1m..3m:4 --over bounce.finish=white,silver,black
  swatchlight sweep side.toml --over key.power=1/8..1:4 --readings-only --table power.csv

A light that has a target (meters = \"f/8\") keeps it in every state: its power follows. Give --over a key
of its own twice for a page with one along and one down. Ctrl-C leaves nothing.";

/// Noise of small pictures when nothing is asked for, and samples at the most.
const USUAL_NOISE: f64 = 0.04;
const MOST_SAMPLES: u32 = 512;

#[derive(Debug, Args)]
pub struct SweepArgs {
    #[command(flatten)]
    pub setup: SetupArg,
    /// What to sweep: KEY=FROM..TO:COUNT, or KEY=A,B,C; once or twice
    #[arg(long, value_name = "KEY=VALUES", required = true)]
    pub over: Vec<String>,
    /// Where to write the page; the ending chooses the format: .png .jpg .svg [default: SETUP-sweep.png]
    #[arg(short, long, value_name = "PATH")]
    pub out: Option<PathBuf>,
    /// Also write a picture that moves slowly through the states, over and over: an animated .png
    #[arg(long, value_name = "PATH")]
    pub moving: Option<PathBuf>,
    /// Also write the readings as a table: .csv
    #[arg(long, value_name = "PATH")]
    pub table: Option<PathBuf>,
    /// No pictures: only readings
    #[arg(long, conflicts_with_all = ["moving", "size", "samples", "noise", "exact"])]
    pub readings_only: bool,
    #[command(flatten)]
    pub picturing: PicturingArgs,
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
}

/// How pictures beside each other are made.
#[derive(Debug, Args)]
pub struct PicturingArgs {
    /// One exposure for all, that of the first (or the setup's own f-number), or each as it meters
    #[arg(long, value_enum, default_value_t = ExposureArg::Same)]
    pub exposure: ExposureArg,
    /// Width and height of each picture in pixels [default: 400 high]
    #[arg(long, value_name = "WxH", value_parser = size)]
    pub size: Option<[u32; 2]>,
    /// Stop at this many samples a pixel [default: 512]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(1..=1_048_576))]
    pub samples: Option<u32>,
    /// Stop when the median pixel is this exact, in per cent, and then go over what is noisier than twice
    /// that [default: 4, unless --samples is given]
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true, value_parser = percent)]
    pub noise: Option<f64>,
    /// Follow every path in full, as in still
    #[arg(long)]
    pub exact: bool,
    /// Replace files that are there
    #[arg(long)]
    pub force: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ExposureArg {
    /// That of the first
    Same,
    /// Each as it meters
    Each,
}

/// A sweep to make.
#[derive(Debug)]
pub struct SweepRun {
    pub setup: SetupFrom,
    pub over: Vec<String>,
    pub out: (PathBuf, PageFormat),
    pub moving: Option<PathBuf>,
    pub table: Option<PathBuf>,
    pub size: Option<[u32; 2]>,
    pub goals: Goals,
    pub overwrite: Overwrite,
    pub executing: Executing,
}

impl PicturingArgs {
    /// What to reach.
    pub fn goals(&self, pictures: bool, same: Exposing) -> Goals {
        let goal = match (self.samples, self.noise) {
            (Some(samples), noise) => Goal {
                samples,
                relative_error: noise,
            },
            (None, noise) => Goal {
                samples: MOST_SAMPLES,
                relative_error: Some(noise.unwrap_or(USUAL_NOISE)),
            },
        };
        Goals {
            readings: GatherGoal::default(),
            pictures: pictures.then_some(goal),
            exact: self.exact,
            exposing: match self.exposure {
                ExposureArg::Same => same,
                ExposureArg::Each => Exposing::Each,
            },
        }
    }
}

impl SweepArgs {
    /// With every default filled in.
    ///
    /// # Errors
    /// For names that end in nothing that can be written, or that are given twice.
    pub fn resolved(self) -> Result<SweepRun, Failure> {
        let setup = SetupFrom::typed(self.setup.path.clone());
        let out = self
            .out
            .unwrap_or_else(|| PathBuf::from(format!("{}-sweep.png", setup.stem())));
        let out = page(out)?;
        if let Some(path) = &self.moving {
            ends_in(path, &["png", "apng"], "a moving picture", ".png")?;
        }
        if let Some(path) = &self.table {
            ends_in(path, &["csv"], "a table", ".csv")?;
        }
        let files = [Some(&out.0), self.moving.as_ref(), self.table.as_ref()];
        let files: Vec<&PathBuf> = files.into_iter().flatten().collect();
        apart(&files)?;
        Ok(SweepRun {
            goals: self.picturing.goals(!self.readings_only, Exposing::Held),
            setup,
            over: self.over,
            out,
            moving: self.moving,
            table: self.table,
            size: self.picturing.size,
            overwrite: overwrite(self.picturing.force),
            executing: executing(&self.executing),
        })
    }
}

/// A page's file and its format.
///
/// # Errors
/// For an ending that is none.
pub fn page(path: PathBuf) -> Result<(PathBuf, PageFormat), Failure> {
    match PageFormat::from_path(&path) {
        Some(format) => Ok((path, format)),
        None => Err(Failure::wrong(
            format!("{} is no kind of page", path.display()),
            "end the name in .png, .jpg or .svg",
        )),
    }
}

/// Refuses a file's name that does not end as it should.
///
/// # Errors
/// As said.
pub fn ends_in(path: &Path, endings: &[&str], what: &str, hint: &str) -> Result<(), Failure> {
    let ending = path.extension().and_then(|e| e.to_str()).unwrap_or("");
    match endings.iter().any(|e| ending.eq_ignore_ascii_case(e)) {
        true => Ok(()),
        false => Err(Failure::wrong(
            format!("{} is no name for {what}", path.display()),
            format!("end it in {hint}"),
        )),
    }
}

/// Refuses files that are named twice.
///
/// # Errors
/// As said.
pub fn apart(files: &[&PathBuf]) -> Result<(), Failure> {
    for (k, file) in files.iter().enumerate() {
        if files[..k].contains(file) {
            return Err(Failure::wrong(
                format!("{} is to be two files at once", file.display()),
                "give each a name of its own",
            ));
        }
    }
    Ok(())
}
