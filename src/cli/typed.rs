//! The command line as typed.

use super::batch_args::BatchArgs;
use super::compare_args::CompareArgs;
use super::crop::{CropTyped, crop};
use super::day_args::DayArgs;
use super::merge_args::MergeArgs;
use super::sheet_args::SheetArgs;
use super::swatch_args::SwatchArgs;
use super::sweep_args::SweepArgs;
use super::typed_values::{fibres, kinds, megabytes, spread};
pub use super::typed_values::{percent, size};
use clap::builder::PossibleValuesParser;
use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use std::path::PathBuf;
use swatchlight::report::BitDepth;
use swatchlight::setup::templates::TEMPLATES;

/// Traces the light a studio really makes onto a figure and its cloth.
///
/// A setup file describes a studio: lights, boards, figure, cloth, camera, meter. From it come meter
/// readings, the power for each light, and pictures whose light can be believed.
#[derive(Debug, Parser)]
#[command(
    name = "swatchlight",
    version,
    max_term_width = 100,
    after_help = "Start with:  swatchlight new my-setup\nThen:        swatchlight still my-setup.toml"
)]
pub struct Typed {
    #[command(subcommand)]
    pub command: Option<Command>,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Render a reference still
    ///
    /// Meters the setup, sets every light to its target, exposes, and renders until the picture is
    /// smooth enough. The picture carries its setup and readings inside, so it can be given instead
    /// of a setup file later.
    #[command(after_help = "\
Examples:
  swatchlight still front.toml                         front.png in this folder
  swatchlight still front.toml --out proofs/a.exr      one layer per light, linear
  swatchlight still front.toml --size 400x600 --noise 5    a quick look
  swatchlight still front.png --out again.png --samples 512   from a still
  swatchlight still front.toml --crop 800x800@chest           what the sensor makes of the threads
  swatchlight still front.toml --swatch chest --across 3cm   the cloth close by, beside soft light
  swatchlight still front.toml --swatch chest --lay draped --fabric silk-satin --beside raking

Ctrl-C once finishes the picture with what it has; twice leaves nothing.")]
    Still(StillArgs),
    /// Make the sheet for the shoot: picture, cloth, drawings, tables, build order, cautions
    ///
    /// Meters and renders the setup, and sets all that is known of it on paper: for the client the picture
    /// and the cloth at true size, for the assistant plan and elevation, where everything stands and is set
    /// to, and what to build in which order. The .html is one file that needs no network: its picture can be
    /// mixed anew, a slider to each light.
    #[command(after_help = "\
Examples:
  swatchlight sheet front.toml                          front-sheet.pdf in this folder
  swatchlight sheet front.toml --out brief/front.html   to open in a browser
  swatchlight sheet front.toml --paper letter --date \"May 4\"
  swatchlight sheet front.toml --size 400x600 --noise 5 --no-cloth    a quick look

Print it at 100 %, so that the cloth and the drawings keep their scale.")]
    Sheet(SheetArgs),
    /// Show what a meter reads, each light alone and all together
    ///
    /// Reads a virtual incident meter at the setup's points, in f-numbers with tenths of a stop and
    /// in lux-seconds (lux for lights that burn), with ratios, evenness and how soft the shadows are.
    #[command(after_help = "\
Examples:
  swatchlight read side.toml
  swatchlight read side.toml --noise 0.2      finer, takes longer
  swatchlight read side.toml --json | jq .evenness_stops
  swatchlight read side.toml --cloth          also weave contrast, takes minutes
  swatchlight read still.png                  the setup inside a still

\"f/8 +.3\" is f/8 and 3 tenths of a stop more.")]
    Read(ReadArgs),
    /// Work out what to set each light to
    ///
    /// For every light: its target, what it must give, the power on its head, the nearest step that the
    /// head has, and how far off that is. Then the readings with the heads at those steps.
    #[command(after_help = "\
Examples:
  swatchlight balance side.toml
  swatchlight balance side.toml --json

A target is written in the setup as meters = \"f/8\"; what a head can do as head = { … }.")]
    Balance(ReadArgs),
    /// Compare a real meter's readings with the prediction, and learn from them
    ///
    /// Says how far apart they are, in stops, and which slip explains that best: a tape, an aim, a spread,
    /// a dial, a cloth, the lamp, the meter. Fits what lamp and modifier really give, from one day or
    /// several, and saves it for the next setup.
    #[command(after_help = "\
Examples:
  swatchlight day side.toml --reading \"key=f/6.3 +.2@chest\" --reading together=f/8@chest
  swatchlight day side.toml --readings tuesday.toml --readings friday.toml
  swatchlight day side.toml --readings tuesday.toml --save my-bowl.toml --force

docs/day.md shows a file of readings.")]
    Day(DayArgs),
    /// Look for mistakes in setups, without rendering
    ///
    /// Says everything at once, each with its place in the file and what to type instead; also warns
    /// of stands in the picture and cautions where a light hangs over a person.
    #[command(after_help = "\
Examples:
  swatchlight check side.toml
  swatchlight check setups/*.toml --json

Ends with exit code 2 if any setup has an error; warnings do not count.")]
    Check(CheckArgs),
    /// Open the window: the sheet, alive
    ///
    /// Shows the picture, the cloth close by, plan and elevation, and the table of lights and readings; all of
    /// it can be worked on, and all follows.
    #[command(after_help = "\
Examples:
  swatchlight open side.toml
  swatchlight open still.png                  the setup inside a still
  swatchlight open                            a new one, from a few kinds
  swatchlight open side.toml --scale 2        all of it twice as large")]
    Open(super::open_args::OpenArgs),
    /// Write a setup to start from, with comments
    #[command(after_help = "\
Examples:
  swatchlight new linen                      linen.toml: front light, full length
  swatchlight new linen --kind side
  swatchlight new \"Spring linen\" --out shoots/spring.toml

Never replaces a file, unless told to by --force.")]
    New(NewArgs),
    /// List the modifiers, or show what one does at each spread
    ///
    /// The data page of a modifier: how much light it lets out and where the rest goes, light on the axis,
    /// beam and field angles, how large a source it is and how soft a shadow it makes, from tight to
    /// wide. The picture shows its section, its face as the subject sees it, and its beam.
    #[command(after_help = "\
Examples:
  swatchlight modifier                                   all there are
  swatchlight modifier paraboloid-120 --out page.png     page and picture (.png or .svg)
  swatchlight modifier paraboloid-120 --mark 3           one setting, in the rod's own marks
  swatchlight modifier my-bowl.toml --json               your own, measured by tape

The first page of a modifier takes a while: its light is traced at eleven settings, then kept.")]
    Modifier(ModifierArgs),
    /// List the figures, poses and garments, or show a figure from all round
    ///
    /// A figure's sizes by the tape, its parts, and where its body points lie. The picture shows it dressed, in a
    /// pose, turned by steps under one soft light. What was not built before is built: seconds for a figure, up
    /// to a minute for a garment; then it is kept.
    #[command(after_help = "\
Examples:
  swatchlight figure                                             all there are
  swatchlight figure woman                                       its sizes, parts and points
  swatchlight figure woman --garment fit-and-flare-dress --fabric silk-satin --out look.png
  swatchlight figure man --pose walking --garment cotton-shirt --garment suit-trousers \\
      --fabric poplin --fabric wool-suiting --look size=L --look skin=dark --out look.png

Put your own into models/figures, models/poses and models/garments beside your setups; docs/figures.md
tells how.")]
    Figure(FigureArgs),
    /// List the fabrics, show what one is and what light makes of it, or make your own
    ///
    /// The data page of a fabric: threads, setts, crimp, cover and weight, a warning where it could not be
    /// woven, its weave contrast under a raking and a soft light, its moiré. The picture shows the cloth
    /// thread by thread and from afar, its draft and its section.
    #[command(
        args_conflicts_with_subcommands = true,
        disable_help_subcommand = true,
        after_help = "\
Examples:
  swatchlight fabric                                     all there are
  swatchlight fabric denim                               its figures
  swatchlight fabric denim --out denim.png               page and pictures (.png or .svg)
  swatchlight fabric denim --wif denim.wif               its weave, for other looms
  swatchlight fabric ./my-twill.toml --json              your own
  swatchlight fabric import my.wif --warp \"Ne 30\" --ends-per-cm 30 --picks-per-cm 24 --out my.toml
  swatchlight fabric photograph shots.toml --out my.toml

Put your own into models/fabrics beside your setups, and setups find it by its name."
    )]
    Fabric(FabricArgs),
    /// Take one setup in several states, side by side
    ///
    /// Goes through values of one key of the setup, or of two, and shows every state: its picture, its
    /// readings, what lights need to keep their targets, how soft their shadows are.
    #[command(after_help = super::sweep_args::EXAMPLES)]
    Sweep(SweepArgs),
    /// Put setups side by side, and show what differs
    ///
    /// Two to six setups, or stills that carry theirs, at one exposure: their pictures, the difference in
    /// stops in false colours, the keys in which they differ, readings and quality.
    #[command(after_help = super::compare_args::EXAMPLES)]
    Compare(CompareArgs),
    /// Render a shoot list: a day's looks in their framings and lightings
    ///
    /// Renders every frame of the list and goes on where it was interrupted; what is up to date is not
    /// rendered again. Then draws a contact sheet, looks whether readings, background and skin go together
    /// over the set, and proposes an order for the day in which least has to be moved.
    #[command(after_help = "\
Examples:
  swatchlight batch spring.toml                      into spring-frames/
  swatchlight batch spring.toml --plan               which frames, in which order; renders nothing
  swatchlight batch spring.toml --size 400x600 --samples 64
  swatchlight batch spring.toml --part 2/5           on the second of five machines
  swatchlight batch spring.toml --part 3/8 --split samples --samples 256
  swatchlight batch spring.toml --jobs slurm --parts 24 --out spring.sh

docs/shoot-list.md tells how a list is written, docs/many-machines.md how it is shared out.")]
    Batch(BatchArgs),
    /// Put together what parts of a shoot list have rendered
    ///
    /// The pictures are those of a single run, to the bit where all parts ran on one kind of executor; parts
    /// that do not belong together are refused.
    #[command(after_help = "\
Examples:
  swatchlight merge spring-frames                    all parts wrote to one folder
  swatchlight merge a b c --out spring-frames        each to its own
  swatchlight merge films/*.film --out picture.png   the film parts of one picture")]
    Merge(MergeArgs),
    /// Show what this computer offers: processor, graphics adapters, models
    #[command(after_help = "\
Examples:
  swatchlight system
  swatchlight system --json")]
    System(SystemArgs),
    /// Print a script that lets your shell complete commands
    #[command(after_help = "\
Examples:
  swatchlight completions bash > ~/.local/share/bash-completion/completions/swatchlight
  swatchlight completions zsh > ~/.zfunc/_swatchlight
  swatchlight completions fish > ~/.config/fish/completions/swatchlight.fish")]
    Completions {
        /// Which shell
        shell: Shell,
    },
    /// Fill the lessons' pages with the numbers that are found now
    #[command(hide = true)]
    Lessons {
        /// The folder of the pages
        #[arg(default_value = "docs/lessons")]
        folder: PathBuf,
        /// Only look whether the pages still hold
        #[arg(long)]
        check: bool,
        /// Only lessons whose name holds this
        #[arg(long, value_name = "TEXT")]
        only: Option<String>,
        /// How exact the readings are to be, in per cent
        #[arg(long, value_name = "PERCENT", default_value = "0.5", value_parser = percent)]
        noise: f64,
    },
    /// Build what ships ready made: what the shipped setups wear, tables of fabrics and lights
    #[command(hide = true)]
    MakeReady {
        /// The folder that holds the setups
        #[arg(default_value = "models")]
        models: PathBuf,
        /// Leave what is there, and build only what is missing
        #[arg(long)]
        missing: bool,
    },
}

#[derive(Debug, Args)]
pub struct StillArgs {
    #[command(flatten)]
    pub setup: SetupArg,
    /// Where to write; the ending chooses the format: .png .exr .jpg .tif
    #[arg(short, long, value_name = "PATH")]
    pub out: Option<PathBuf>,
    /// Stop at this many samples a pixel [default: 1024, or 16384 with --noise]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(1..=1_048_576))]
    pub samples: Option<u32>,
    /// Stop when the median pixel is this exact, in per cent, and then go over what is noisier than twice
    /// that [default: 2, unless --samples is given]
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true, value_parser = percent)]
    pub noise: Option<f64>,
    /// Follow every path in full, instead of taking the light that walls, floor, paper and boards
    /// bounce from a first pass (slower; differs by well under 1 %)
    #[arg(long)]
    pub exact: bool,
    /// Width and height in pixels, instead of the setup's: 900x1200
    #[arg(long, value_name = "WxH", value_parser = size)]
    pub size: Option<[u32; 2]>,
    /// Only a part of the sensor, a pixel for each of its pixels, moiré and all: 800x800 in the middle,
    /// 800x800+1200+900 from its left and top, or 800x800@chest about a point
    #[arg(long, value_name = "WxH[+X+Y|@POINT]", value_parser = crop, conflicts_with = "size")]
    pub crop: Option<CropTyped>,
    #[command(flatten)]
    pub swatch: SwatchArgs,
    /// Bits per channel of PNG and TIFF
    #[arg(long, value_name = "BITS", default_value = "8", value_parser = PossibleValuesParser::new(["8", "16"]))]
    pub depth: String,
    /// Replace the picture if it is there
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
    /// Memory for the picture in megabytes; larger pictures are rendered in bands
    #[arg(long, hide = true, value_name = "MB", default_value_t = 300.0, value_parser = megabytes)]
    pub film_memory: f64,
}

#[derive(Debug, Args)]
pub struct ReadArgs {
    #[command(flatten)]
    pub setup: SetupArg,
    /// How exact the readings are to be, in per cent (1 % is a seventieth of a stop)
    #[arg(long, value_name = "PERCENT", default_value = "0.5", allow_negative_numbers = true, value_parser = percent)]
    pub noise: f64,
    /// Also render the cloth at every point, and read how much of its weave shows there
    #[arg(long)]
    pub cloth: bool,
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
}

#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Setup files, or stills that carry their setup; - reads from stdin
    #[arg(required = true, value_name = "SETUP")]
    pub setups: Vec<PathBuf>,
    #[command(flatten)]
    pub saying: SayingArgs,
}

#[derive(Debug, Args)]
pub struct NewArgs {
    /// The setup's name; the file gets .toml after it
    pub name: String,
    /// What to start from
    #[arg(long, value_parser = kinds(), default_value = TEMPLATES[0].kind)]
    pub kind: String,
    /// Write to this file instead
    #[arg(short, long, value_name = "PATH")]
    pub out: Option<PathBuf>,
    /// Replace the file if it is there
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub saying: QuietArg,
}

#[derive(Debug, Args)]
pub struct ModifierArgs {
    /// A modifier's name or its file; without it, all are listed
    #[arg(value_name = "NAME")]
    pub name: Option<String>,
    /// Only this spread: 0 (tight) to 1 (wide)
    #[arg(long, value_name = "S", allow_negative_numbers = true, value_parser = spread, requires = "name")]
    pub spread: Option<f64>,
    /// Only this mark of the modifier's own scale
    #[arg(
        long,
        value_name = "M",
        allow_negative_numbers = true,
        conflicts_with = "spread",
        requires = "name"
    )]
    pub mark: Option<f64>,
    /// Draw the page into this file; the ending chooses the format: .png .svg
    #[arg(short, long, value_name = "PATH", requires = "name")]
    pub out: Option<PathBuf>,
    /// Write the far field at one setting into this file, as IES LM-63-2019
    #[arg(long, value_name = "PATH", requires = "name")]
    pub ies: Option<PathBuf>,
    /// Replace files that are there
    #[arg(long)]
    pub force: bool,
    /// Processor threads to use [default: all]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Folder for what was worked out before [default: the system's cache folder]
    #[arg(long, value_name = "DIR")]
    pub cache: Option<PathBuf>,
    #[command(flatten)]
    pub saying: SayingArgs,
}

#[derive(Debug, Args)]
pub struct FigureArgs {
    /// A figure's name; without it, all figures, poses and garments are listed
    #[arg(value_name = "NAME")]
    pub name: Option<String>,
    /// How it stands, sits or moves
    #[arg(long, value_name = "NAME", default_value = "front", requires = "name")]
    pub pose: String,
    /// What it wears; several times from the innermost out
    #[arg(long, value_name = "NAME", requires = "name")]
    pub garment: Vec<String>,
    /// The cloth of each garment, in the same order, or one for all
    #[arg(long, value_name = "NAME", requires = "garment")]
    pub fabric: Vec<String>,
    /// Another look than its own: size=L, shoes=flats, skin=tan, lips=bright, lip_finish=gloss, cheeks=dark,
    /// eyes=blue, hair=loose, hair_colour=auburn; may be given several times
    #[arg(long, value_name = "KEY=WORD", requires = "name")]
    pub look: Vec<String>,
    /// Draw it from all round into this picture: .png .jpg .tif .exr
    #[arg(short, long, value_name = "PATH", requires = "name")]
    pub out: Option<PathBuf>,
    /// Samples a pixel
    #[arg(long, value_name = "N", default_value_t = 48, allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(4..=16_384))]
    pub samples: u32,
    /// Replace a file that is there
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
}

#[derive(Debug, Args)]
pub struct FabricArgs {
    /// A fabric's name or its file; without it, all are listed
    #[arg(value_name = "NAME")]
    pub name: Option<String>,
    /// Draw the page into this file; the ending chooses the format: .png .svg
    #[arg(short, long, value_name = "PATH", requires = "name")]
    pub out: Option<PathBuf>,
    /// Write the weave, with its colours, into this file, as WIF 1.1; nothing is traced then, unless --out
    /// is given too
    #[arg(long, value_name = "PATH", requires = "name")]
    pub wif: Option<PathBuf>,
    /// Samples a pixel of every picture that is made or read
    #[arg(long, value_name = "N", default_value_t = 32, allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(4..=16_384))]
    pub samples: u32,
    /// Replace files that are there
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub executing: FabricExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
    #[command(subcommand)]
    pub make: Option<FabricCommand>,
}

#[derive(Debug, Args)]
pub struct FabricExecutingArgs {
    /// What traces the light
    #[arg(long, value_enum, default_value_t = ExecutorArg::Auto)]
    pub executor: ExecutorArg,
    /// Processor threads to use [default: all]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

#[derive(Debug, Subcommand)]
pub enum FabricCommand {
    /// Make a woven fabric from a draft: a WIF file, or a text grid of X and dots
    ///
    /// Writes a fabric file. A WIF is copied beside it and named in it, with its colours; a grid is written
    /// into it. Sheen and irregularity start as those of a plain yarn of the fibre: edit the file.
    #[command(after_help = "\
Examples:
  swatchlight fabric import my.wif --warp \"Ne 30\" --ends-per-cm 30 --picks-per-cm 24 --out my.toml
  swatchlight fabric import my.txt --warp \"Nm 2/60\" --weft \"Nm 36\" --fibre wool \\
      --ends-per-cm 24 --picks-per-cm 20 --title \"My twill\" --out models/fabrics/my-twill.toml")]
    Import(ImportArgs),
    /// Make a fabric from photographs under several lights: normal, height and albedo maps
    ///
    /// The camera looks straight down on the swatch and stays; one light stands elsewhere for each of 4 to
    /// 12 shots. The list of shots is a small TOML file; docs/fabrics.md shows one.
    #[command(after_help = "\
Examples:
  swatchlight fabric photograph shots.toml --out models/fabrics/my-linen.toml
  swatchlight fabric photograph shots.toml --out my-linen.toml --json | jq .residual_rms")]
    Photograph(PhotographArgs),
}

#[derive(Debug, Args)]
pub struct ImportArgs {
    /// The draft: a .wif, or a text file with a line of X and . for each pick, the first pick lowest
    #[arg(value_name = "FILE")]
    pub draft: PathBuf,
    /// Count of the ends, with its unit: "Ne 30", "Nm 2/60", "18.5 tex"
    #[arg(long, value_name = "COUNT")]
    pub warp: String,
    /// Count of the picks [default: that of the ends]
    #[arg(long, value_name = "COUNT")]
    pub weft: Option<String>,
    /// Ends to a centimetre [default: what a WIF says]
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub ends_per_cm: Option<f64>,
    /// Picks to a centimetre [default: what a WIF says]
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub picks_per_cm: Option<f64>,
    /// What the yarns are spun of
    #[arg(long, value_name = "FIBRE", default_value = "cotton", value_parser = fibres())]
    pub fibre: String,
    /// What the picks are spun of [default: what the ends are]
    #[arg(long, value_name = "FIBRE", value_parser = fibres())]
    pub weft_fibre: Option<String>,
    /// What people call it [default: the WIF's own title, or the file's name]
    #[arg(long)]
    pub title: Option<String>,
    /// The fabric file to write
    #[arg(short, long, value_name = "PATH")]
    pub out: PathBuf,
    /// Replace files that are there
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub saying: SayingArgs,
}

#[derive(Debug, Args)]
pub struct PhotographArgs {
    /// The list of shots
    #[arg(value_name = "SHOTS")]
    pub shots: PathBuf,
    /// The fabric file to write; its maps go beside it
    #[arg(short, long, value_name = "PATH")]
    pub out: PathBuf,
    /// Replace files that are there
    #[arg(long)]
    pub force: bool,
    #[command(flatten)]
    pub saying: SayingArgs,
}

#[derive(Debug, Args)]
pub struct SystemArgs {
    #[command(flatten)]
    pub executing: ExecutingArgs,
    #[command(flatten)]
    pub saying: SayingArgs,
}

#[derive(Debug, Args)]
pub struct SetupArg {
    /// A setup file, or a still that carries its setup; - reads from stdin
    #[arg(value_name = "SETUP")]
    pub path: PathBuf,
}

#[derive(Debug, Args)]
pub struct ExecutingArgs {
    /// What traces the light
    #[arg(long, value_enum, default_value_t = ExecutorArg::Auto)]
    pub executor: ExecutorArg,
    /// Processor threads to use [default: all]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Folder for what was worked out before, such as the light of modifiers [default: the system's
    /// cache folder]
    #[arg(long, value_name = "DIR")]
    pub cache: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ExecutorArg {
    /// A graphics adapter if there is one, else the processor
    Auto,
    /// The processor
    Cpu,
    /// A graphics adapter
    Gpu,
}

#[derive(Debug, Args)]
pub struct SayingArgs {
    /// Print one JSON document on stdout, and nothing else there
    #[arg(long)]
    pub json: bool,
    #[command(flatten)]
    pub quiet: QuietArg,
}

#[derive(Debug, Args)]
pub struct QuietArg {
    /// Say nothing but results and errors
    #[arg(short, long)]
    pub quiet: bool,
}

impl Typed {
    fn saying(&self) -> Option<&SayingArgs> {
        match self.command.as_ref()? {
            Command::Still(a) => Some(&a.saying),
            Command::Sheet(a) => Some(&a.saying),
            Command::Read(a) | Command::Balance(a) => Some(&a.saying),
            Command::Check(a) => Some(&a.saying),
            Command::Day(a) => Some(&a.saying),
            Command::Modifier(a) => Some(&a.saying),
            Command::Figure(a) => Some(&a.saying),
            Command::Fabric(a) => Some(match &a.make {
                None => &a.saying,
                Some(FabricCommand::Import(a)) => &a.saying,
                Some(FabricCommand::Photograph(a)) => &a.saying,
            }),
            Command::Sweep(a) => Some(&a.saying),
            Command::Compare(a) => Some(&a.saying),
            Command::System(a) => Some(&a.saying),
            Command::New(_)
            | Command::Open(_)
            | Command::Completions { .. }
            | Command::Lessons { .. }
            | Command::MakeReady { .. } => None,
            Command::Batch(a) => Some(&a.saying),
            Command::Merge(a) => Some(&a.saying),
        }
    }

    /// Whether only results and errors are to be said.
    pub fn quiet(&self) -> bool {
        match &self.command {
            Some(Command::New(new)) => new.saying.quiet,
            _ => self.saying().is_some_and(|s| s.quiet.quiet),
        }
    }

    /// Whether the result is to be JSON.
    pub fn json(&self) -> bool {
        self.saying().is_some_and(|s| s.json)
    }
}

impl StillArgs {
    /// The bits asked for.
    pub fn bit_depth(&self) -> BitDepth {
        if self.depth == "16" {
            BitDepth::Sixteen
        } else {
            BitDepth::Eight
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_grammar_is_sound() {
        Typed::command().debug_assert();
    }
}
