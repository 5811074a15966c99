//! `batch`: what it takes, as typed and as resolved.

use super::batch::jobs::Engine;
use super::batch::part::{Part, Split};
use super::exit::Failure;
use super::resolved::{Executing, executing, goal};
use super::sheet_args::PaperArg;
use super::typed::{ExecutingArgs, SayingArgs, percent, size};
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use swatchlight::render::driver::Goal;
use swatchlight::report::sheet::Paper;
use swatchlight::setup::Options;

#[derive(Debug, Args)]
pub struct BatchArgs {
    /// A shoot list (docs/shoot-list.md)
    #[arg(value_name = "LIST")]
    pub list: PathBuf,
    /// Folder for the pictures and all that is told of them; with --jobs, the file to write
    /// [default: the list's name and -frames, in this folder]
    #[arg(short, long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Say what would be done and in which order to shoot, without rendering
    #[arg(long, conflicts_with_all = ["part", "jobs"])]
    pub plan: bool,
    /// Stop each picture at this many samples a pixel [default: 1024, or 16384 with --noise]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(1..=1_048_576))]
    pub samples: Option<u32>,
    /// Stop when the median pixel is this exact, in per cent, and then go over what is noisier than twice
    /// that [default: 2, unless --samples is given]
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true, value_parser = percent)]
    pub noise: Option<f64>,
    /// Follow every path in full, as still --exact does
    #[arg(long)]
    pub exact: bool,
    /// Width and height of every picture in pixels, instead of the setups': 400x600
    #[arg(long, value_name = "WxH", value_parser = size)]
    pub size: Option<[u32; 2]>,
    /// Make no sheets, which what one meters and builds by stands on
    #[arg(long, conflicts_with_all = ["no_cloth", "paper"])]
    pub no_sheets: bool,
    /// Leave out of the sheets the cloth close by and its weave contrast
    #[arg(long)]
    pub no_cloth: bool,
    #[command(flatten)]
    pub paper: PaperArg,
    /// Only a part of the work: 2/5 is the second of five, env takes the number from the engine that
    /// started it (Slurm, Kubernetes), env/5 also says of how many
    #[arg(long, value_name = "I/N|env", conflicts_with = "jobs", value_parser = Part::typed)]
    pub part: Option<Part>,
    /// What is shared out: whole pictures, or samples too, so that one picture may be traced on many
    /// machines [default: pictures while there are enough]
    #[arg(long, value_enum, value_name = "WHAT")]
    pub split: Option<SplitArg>,
    /// Write the file that has the parts done by an engine, to --out
    #[arg(long, value_enum, value_name = "ENGINE", requires = "out")]
    pub jobs: Option<Engine>,
    /// With --jobs: how many parts [default: one to a picture]
    #[arg(long, value_name = "N", requires = "jobs", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub parts: Option<u32>,
    /// With --jobs: the folder that all parts write to [default: the list's name and -frames]
    #[arg(long, value_name = "FOLDER", requires = "jobs")]
    pub into: Option<PathBuf>,
    /// Render again what is up to date; with --jobs, replace the file
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
}

/// What is shared out among parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SplitArg {
    /// Whole pictures
    Pictures,
    /// Samples, so that a picture may be cut
    Samples,
}

/// A list to render.
#[derive(Debug)]
pub struct BatchRun {
    pub list: PathBuf,
    /// The folder to render into.
    pub folder: PathBuf,
    pub laid_over: Options,
    pub goal: Goal,
    pub exact: bool,
    pub what: What,
    /// None for no sheets.
    pub sheets: Option<Sheets>,
    /// Whether what is up to date is rendered again.
    pub again: bool,
    pub executing: Executing,
}

/// How the sheets are made.
#[derive(Debug, Clone, Copy)]
pub struct Sheets {
    pub cloth: bool,
    pub paper: Paper,
}

/// What is to be done with it.
#[derive(Debug)]
pub enum What {
    /// All of it.
    All,
    /// Say what would be done.
    Plan,
    /// A part.
    Part(Part, Option<Split>),
    /// Write a job file.
    Jobs {
        engine: Engine,
        file: PathBuf,
        parts: Option<u32>,
        /// What was typed and holds for every part.
        options: Vec<String>,
    },
}

impl BatchArgs {
    /// Resolves what was typed.
    ///
    /// # Errors
    /// What does not go together.
    pub fn resolved(self) -> Result<BatchRun, Failure> {
        let usual = || {
            let stem = self.list.file_stem().map(|s| s.to_string_lossy());
            PathBuf::from(format!("{}-frames", stem.unwrap_or("list".into())))
        };
        let split = self.split.map(|s| match s {
            SplitArg::Pictures => Split::Pictures,
            SplitArg::Samples => Split::Samples,
        });
        if split.is_some() && self.part.is_none() && self.jobs.is_none() {
            return Err(Failure::wrong(
                "--split says how parts are cut, and there are none",
                "add --part 1/4 and so on, or --jobs",
            ));
        }
        let goal = goal(self.samples, self.noise);
        if split == Some(Split::Samples) && goal.relative_error.is_some() {
            return Err(Failure::wrong(
                "samples can be shared out only where their number is known",
                "add --samples N, without --noise",
            ));
        }
        let options = self.typed_again();
        let (folder, what) = match (self.jobs, self.part, self.out.clone()) {
            (Some(engine), _, Some(file)) => {
                let folder = self.into.clone().unwrap_or_else(usual);
                let jobs = What::Jobs {
                    engine,
                    file,
                    parts: self.parts,
                    options,
                };
                (folder, jobs)
            }
            (_, Some(part), out) => (out.unwrap_or_else(usual), What::Part(part, split)),
            (_, None, out) if self.plan => (out.unwrap_or_else(usual), What::Plan),
            (_, None, out) => (out.unwrap_or_else(usual), What::All),
        };
        Ok(BatchRun {
            folder,
            laid_over: Options { pixels: self.size },
            goal,
            exact: self.exact,
            what,
            sheets: (!self.no_sheets).then(|| Sheets {
                cloth: !self.no_cloth,
                paper: self.paper.paper(),
            }),
            again: self.force,
            executing: executing(&self.executing),
            list: self.list,
        })
    }

    /// The options that hold for every part, as they are typed.
    fn typed_again(&self) -> Vec<String> {
        let mut options = Vec::new();
        let mut add = |name: &str, value: Option<String>| {
            if let Some(value) = value {
                options.push(format!("--{name}"));
                options.push(value);
            }
        };
        add("samples", self.samples.map(|n| n.to_string()));
        add("noise", self.noise.map(|n| format!("{}", 100.0 * n)));
        add("size", self.size.map(|[w, h]| format!("{w}x{h}")));
        add(
            "split",
            self.split.map(|s| match s {
                SplitArg::Pictures => "pictures".into(),
                SplitArg::Samples => "samples".into(),
            }),
        );
        let value = self.executing.executor.to_possible_value();
        add(
            "executor",
            value
                .map(|v| v.get_name().to_owned())
                .filter(|v| v != "auto"),
        );
        add("threads", self.executing.threads.map(|n| n.to_string()));
        let cache = self.executing.cache.as_ref();
        add("cache", cache.map(|c| c.display().to_string()));
        for (typed, option) in [
            (self.exact, "--exact"),
            (self.no_sheets, "--no-sheets"),
            (self.no_cloth, "--no-cloth"),
        ] {
            if typed {
                options.push(option.into());
            }
        }
        options
    }
}
