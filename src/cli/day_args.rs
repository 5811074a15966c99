//! What `day` takes, as typed and as resolved.

use super::exit::Failure;
use super::resolved::Executing;
use super::source::SetupFrom;
use super::typed::{ExecutingArgs, SayingArgs, SetupArg};
use clap::Args;
use std::path::PathBuf;
use swatchlight::measure::day::sheet::{Said, Sheet, reading};
use swatchlight::measure::gather::GatherGoal;
use swatchlight::report::Overwrite;

#[derive(Debug, Args)]
pub struct DayArgs {
    #[command(flatten)]
    pub setup: SetupArg,
    /// What the meter said of one light alone, or of "together"; several times. Without @POINT it is where
    /// the light is set, or else where the exposure is read
    #[arg(long, value_name = "LIGHT=F-NUMBER[@POINT]")]
    pub reading: Vec<String>,
    /// A file with the readings of a day and how things really stood; several times for several days
    #[arg(long, value_name = "FILE")]
    pub readings: Vec<PathBuf>,
    /// When those readings were taken that are typed here, for the note in a saved file
    #[arg(long, value_name = "TEXT", requires = "reading")]
    pub date: Option<String>,
    /// Write what was learnt into this modifier file, as its `correction`; comments stay
    #[arg(long, value_name = "FILE.toml")]
    pub save: Option<PathBuf>,
    /// Which modifier --save is about, where several were read
    #[arg(long, value_name = "NAME", requires = "save")]
    pub modifier: Option<String>,
    /// Replace the modifier file if it is there
    #[arg(long)]
    pub force: bool,
    /// How exact the predictions are to be, in per cent (1 % is a seventieth of a stop)
    #[arg(long, value_name = "PERCENT", default_value = "0.5", allow_negative_numbers = true, value_parser = super::typed::percent)]
    pub noise: f64,
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
}

/// Readings to compare.
#[derive(Debug)]
pub struct DayRun {
    pub setup: SetupFrom,
    /// Typed on the command line; they make a day of their own.
    pub typed: Sheet,
    pub files: Vec<PathBuf>,
    pub save: Option<PathBuf>,
    pub modifier: Option<String>,
    pub overwrite: Overwrite,
    pub goal: GatherGoal,
    pub executing: Executing,
}

impl DayArgs {
    /// Reads the readings that were typed.
    ///
    /// # Errors
    /// A reading that cannot be read, and none at all.
    pub fn resolved(self, executing: Executing, overwrite: Overwrite) -> Result<DayRun, Failure> {
        if self.reading.is_empty() && self.readings.is_empty() {
            return Err(Failure::wrong(
                "there is no reading to compare",
                "add --reading \"key=f/6.3 +.2@chest\", or --readings FILE",
            ));
        }
        let said: Result<Vec<Said>, _> = self.reading.iter().map(|r| reading(r)).collect();
        Ok(DayRun {
            setup: SetupFrom::typed(self.setup.path),
            typed: Sheet {
                date: self.date.unwrap_or_default(),
                readings: said.map_err(|f| Failure::wrong(f.to_string(), f.hint))?,
                ..Sheet::default()
            },
            files: self.readings,
            save: self.save,
            modifier: self.modifier,
            overwrite,
            goal: GatherGoal {
                relative_error: self.noise,
                ..GatherGoal::default()
            },
            executing,
        })
    }
}
