//! The command line as resolved: what to do, with every default filled in and every value checked
//! against the others.

use super::batch_args::BatchRun;
use super::compare_args::CompareRun;
use super::crop::CropTyped;
use super::day_args::DayRun;
use super::exit::Failure;
use super::lessons::LessonsRun;
use super::merge_args::MergeRun;
use super::sheet_args::SheetRun;
use super::source::SetupFrom;
use super::swatch_args::SwatchRun;
use super::sweep_args::SweepRun;
use super::typed::{
    Command, ExecutingArgs, ExecutorArg, FabricArgs, FabricCommand, FigureArgs, ImportArgs,
    ModifierArgs, PhotographArgs, ReadArgs, StillArgs, Typed,
};
use super::words::count;
use clap_complete::Shell;
use std::path::{Path, PathBuf};
use swatchlight::measure::gather::GatherGoal;
use swatchlight::render::choose::Wish;
use swatchlight::render::driver::Goal;
use swatchlight::report::drawing::DrawingFormat;
use swatchlight::report::{Overwrite, StillFormat, StillOptions};
use swatchlight::setup::templates::{Template, template};
use swatchlight::setup::{FigureSpec, Looks, Options, Worn};

/// Noise to reach when nothing is asked for.
const USUAL_NOISE: f64 = 0.02;
/// Samples at the most when nothing is asked for.
const USUAL_MOST_SAMPLES: u32 = 1024;
/// Samples at the most when a noise is asked for.
const MOST_SAMPLES_FOR_NOISE: u32 = 16_384;

/// What to do.
pub enum Run {
    /// Say what there is.
    Orient,
    Still(StillRun),
    Sheet(SheetRun),
    Read(ReadRun),
    Balance(ReadRun),
    Check(Vec<SetupFrom>),
    Day(DayRun),
    New(NewRun),
    Modifier(ModifierRun),
    Fabric(FabricRun),
    Import(ImportRun),
    Photograph(PhotographRun),
    Sweep(SweepRun),
    Compare(CompareRun),
    System(Executing),
    Completions(Shell),
    Figure(FigureRun),
    Lessons(LessonsRun),
    MakeReady {
        models: PathBuf,
        missing: bool,
    },
    Open(super::open_args::OpenRun),
    Batch(BatchRun),
    Merge(MergeRun),
}

/// What traces the light.
#[derive(Debug, Clone, PartialEq)]
pub struct Executing {
    pub wish: Wish,
    /// 0 for all.
    pub threads: usize,
    /// Where to keep what was worked out, if not in the usual place.
    pub cache: Option<PathBuf>,
}

/// A still to render.
#[derive(Debug)]
pub struct StillRun {
    pub setup: SetupFrom,
    pub laid_over: Options,
    /// Only this part of the sensor.
    pub crop: Option<CropTyped>,
    /// The cloth close by instead of the camera's picture.
    pub swatch: Option<SwatchRun>,
    pub out: PathBuf,
    pub format: StillFormat,
    pub options: StillOptions,
    pub goal: Goal,
    /// Whether paths are followed in full.
    pub exact: bool,
    pub executing: Executing,
    /// Bytes that the film may take.
    pub film_bytes: usize,
}

/// Readings to take.
#[derive(Debug)]
pub struct ReadRun {
    pub setup: SetupFrom,
    pub goal: GatherGoal,
    /// Whether weave contrast is read too.
    pub cloth: bool,
    pub executing: Executing,
}

/// A setup to write.
#[derive(Debug)]
pub struct NewRun {
    pub template: &'static Template,
    pub title: String,
    pub out: PathBuf,
    pub overwrite: Overwrite,
}

/// A modifier to show.
#[derive(Debug)]
pub struct ModifierRun {
    /// All are listed without one.
    pub name: Option<String>,
    pub setting: Option<SettingTyped>,
    /// Where to draw its page.
    pub out: Option<(PathBuf, DrawingFormat)>,
    /// Where to write its far field.
    pub ies: Option<PathBuf>,
    pub overwrite: Overwrite,
    pub executing: Executing,
}

/// A figure to show.
#[derive(Debug)]
pub struct FigureRun {
    /// All are listed without one.
    pub name: Option<String>,
    pub spec: FigureSpec,
    /// Where to draw it.
    pub out: Option<PathBuf>,
    pub options: StillOptions,
    /// A pixel's.
    pub samples: u32,
    pub executing: Executing,
}

/// A fabric to show.
#[derive(Debug)]
pub struct FabricRun {
    /// All are listed without one.
    pub name: Option<String>,
    /// Where to draw its page.
    pub out: Option<(PathBuf, DrawingFormat)>,
    /// Where to write its weave.
    pub wif: Option<PathBuf>,
    /// A pixel's.
    pub samples: u32,
    pub overwrite: Overwrite,
    pub executing: Executing,
}

/// A fabric to make from a draft.
#[derive(Debug)]
pub struct ImportRun {
    pub draft: PathBuf,
    /// Counts and fibres of warp and weft.
    pub counts: [String; 2],
    pub fibres: [String; 2],
    /// Ends and picks, where they are typed.
    pub per_cm: [Option<f64>; 2],
    pub title: Option<String>,
    pub out: PathBuf,
    pub overwrite: Overwrite,
}

/// A fabric to make from photographs.
#[derive(Debug)]
pub struct PhotographRun {
    pub shots: PathBuf,
    pub out: PathBuf,
    pub overwrite: Overwrite,
}

/// The one setting asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SettingTyped {
    Spread(f64),
    /// On the modifier's own scale.
    Mark(f64),
}

/// Resolves what was typed.
///
/// # Errors
/// What does not go together.
pub fn resolve(typed: Typed) -> Result<Run, Failure> {
    Ok(match typed.command {
        None => Run::Orient,
        Some(Command::Still(args)) => Run::Still(still(args)?),
        Some(Command::Sheet(args)) => Run::Sheet(args.resolved()?),
        Some(Command::Read(args)) => Run::Read(read(args)),
        Some(Command::Balance(args)) => Run::Balance(read(args)),
        Some(Command::Check(args)) => {
            Run::Check(args.setups.into_iter().map(SetupFrom::typed).collect())
        }
        Some(Command::Day(args)) => {
            let (executing, overwrite) = (executing(&args.executing), overwrite(args.force));
            Run::Day(args.resolved(executing, overwrite)?)
        }
        Some(Command::New(args)) => {
            let template = template(&args.kind).ok_or_else(|| {
                Failure::wrong(
                    format!("there is no kind \"{}\"", args.kind),
                    "see swatchlight new --help",
                )
            })?;
            let (title, out) = name_and_file(&args.name, args.out)?;
            Run::New(NewRun {
                template,
                title,
                out,
                overwrite: overwrite(args.force),
            })
        }
        Some(Command::Modifier(args)) => Run::Modifier(modifier(args)?),
        Some(Command::Fabric(args)) => fabric(args)?,
        Some(Command::Sweep(args)) => Run::Sweep(args.resolved()?),
        Some(Command::Compare(args)) => Run::Compare(args.resolved()?),
        Some(Command::System(args)) => Run::System(executing(&args.executing)),
        Some(Command::Completions { shell }) => Run::Completions(shell),
        Some(Command::Figure(args)) => Run::Figure(figure(args)?),
        Some(Command::Open(args)) => Run::Open(args.resolved()),
        Some(Command::Lessons {
            folder,
            check,
            only,
            noise,
        }) => Run::Lessons(LessonsRun {
            folder,
            check,
            only,
            relative_error: noise,
        }),
        Some(Command::MakeReady { models, missing }) => Run::MakeReady { models, missing },
        Some(Command::Batch(args)) => Run::Batch(args.resolved()?),
        Some(Command::Merge(args)) => Run::Merge(args.resolved()?),
    })
}

fn still(args: StillArgs) -> Result<StillRun, Failure> {
    let setup = SetupFrom::typed(args.setup.path.clone());
    let out = args
        .out
        .clone()
        .unwrap_or_else(|| PathBuf::from(format!("{}.png", setup.stem())));
    let format = StillFormat::from_path(&out)?;
    Ok(StillRun {
        laid_over: Options { pixels: args.size },
        crop: args.crop.clone(),
        swatch: args.swatch.resolved(args.size, format)?,
        format,
        options: StillOptions {
            depth: args.bit_depth(),
            overwrite: overwrite(args.force),
        },
        goal: goal(args.samples, args.noise),
        exact: args.exact,
        executing: executing(&args.executing),
        film_bytes: (args.film_memory * 1e6) as usize,
        setup,
        out,
    })
}

/// A file to draw into, and as what.
fn drawn(path: PathBuf) -> Result<(PathBuf, DrawingFormat), Failure> {
    match DrawingFormat::from_path(&path) {
        Some(format) => Ok((path, format)),
        None => Err(Failure::wrong(
            format!("{} is no kind of drawing", path.display()),
            "end the name in .png or .svg",
        )),
    }
}

fn figure(args: FigureArgs) -> Result<FigureRun, Failure> {
    if args.fabric.len() > 1 && args.fabric.len() != args.garment.len() {
        return Err(Failure::wrong(
            format!(
                "{} are named for {}",
                count(args.fabric.len() as u32, "cloth"),
                count(args.garment.len() as u32, "garment")
            ),
            "give one --fabric for each --garment, in the same order, or one for all",
        ));
    }
    let outermost = args.fabric.last().map_or("cotton-plain", String::as_str);
    let worn = args.garment.iter().enumerate().map(|(i, garment)| Worn {
        garment: garment.clone(),
        fabric: args.fabric.get(i).map_or(outermost, String::as_str).into(),
    });
    let spec = FigureSpec {
        model: args.name.clone().unwrap_or_default(),
        pose: args.pose,
        garments: worn.collect(),
        fabric: outermost.into(),
        looks: looks(&args.look)?,
    };
    if let Some(path) = &args.out {
        StillFormat::from_path(path)?;
    }
    Ok(FigureRun {
        spec,
        name: args.name,
        out: args.out,
        options: StillOptions {
            overwrite: overwrite(args.force),
            ..StillOptions::default()
        },
        samples: args.samples,
        executing: executing(&args.executing),
    })
}

fn looks(typed: &[String]) -> Result<Looks, Failure> {
    let mut looks = Looks::default();
    for look in typed {
        let Some((key, word)) = look.split_once('=') else {
            return Err(Failure::wrong(
                format!("--look {look} says no word"),
                "write it as hair=loose",
            ));
        };
        let Some(place) = looks.word_mut(key) else {
            let known = Looks::default().words().map(|(key, _)| key).join(", ");
            return Err(Failure::wrong(
                format!("there is no look \"{key}\""),
                format!("there is {known}"),
            ));
        };
        *place = Some(word.to_owned());
    }
    Ok(looks)
}

fn fabric(args: FabricArgs) -> Result<Run, Failure> {
    match args.make {
        Some(FabricCommand::Import(args)) => return Ok(Run::Import(import(args)?)),
        Some(FabricCommand::Photograph(args)) => return Ok(Run::Photograph(photograph(args)?)),
        None => {}
    }
    if args.out.is_some() && args.out == args.wif {
        return Err(Failure::wrong(
            "--out and --wif name the same file",
            "give each a name of its own",
        ));
    }
    Ok(Run::Fabric(FabricRun {
        name: args.name,
        out: args.out.map(drawn).transpose()?,
        wif: args.wif,
        samples: args.samples,
        overwrite: overwrite(args.force),
        executing: Executing {
            wish: wish(args.executing.executor),
            threads: args.executing.threads.map_or(0, usize::from),
            cache: None,
        },
    }))
}

fn import(args: ImportArgs) -> Result<ImportRun, Failure> {
    let weft = args.weft.unwrap_or_else(|| args.warp.clone());
    let weft_fibre = args.weft_fibre.unwrap_or_else(|| args.fibre.clone());
    Ok(ImportRun {
        draft: args.draft,
        counts: [args.warp, weft],
        fibres: [args.fibre, weft_fibre],
        per_cm: [args.ends_per_cm, args.picks_per_cm],
        title: args.title,
        out: fabric_file(args.out)?,
        overwrite: overwrite(args.force),
    })
}

fn photograph(args: PhotographArgs) -> Result<PhotographRun, Failure> {
    Ok(PhotographRun {
        shots: args.shots,
        out: fabric_file(args.out)?,
        overwrite: overwrite(args.force),
    })
}

/// The name of a fabric file: setups find it by what stands before `.toml`.
fn fabric_file(path: PathBuf) -> Result<PathBuf, Failure> {
    match path.extension().is_some_and(|e| e == "toml") {
        true => Ok(path),
        false => Err(Failure::wrong(
            format!("{} is no fabric file's name", path.display()),
            format!("end it in .toml: --out {}.toml", path.display()),
        )),
    }
}

fn modifier(args: ModifierArgs) -> Result<ModifierRun, Failure> {
    if args.out.is_some() && args.out == args.ies {
        return Err(Failure::wrong(
            "--out and --ies name the same file",
            "give each a name of its own",
        ));
    }
    let spread = args.spread.map(SettingTyped::Spread);
    Ok(ModifierRun {
        name: args.name,
        setting: spread.or(args.mark.map(SettingTyped::Mark)),
        out: args.out.map(drawn).transpose()?,
        ies: args.ies,
        overwrite: overwrite(args.force),
        executing: Executing {
            wish: Wish::Cpu,
            threads: args.threads.map_or(0, usize::from),
            cache: args.cache,
        },
    })
}

/// When a picture is done.
pub fn goal(samples: Option<u32>, noise: Option<f64>) -> Goal {
    match (samples, noise) {
        (None, None) => Goal {
            samples: USUAL_MOST_SAMPLES,
            relative_error: Some(USUAL_NOISE),
        },
        (Some(samples), noise) => Goal {
            samples,
            relative_error: noise,
        },
        (None, noise) => Goal {
            samples: MOST_SAMPLES_FOR_NOISE,
            relative_error: noise,
        },
    }
}

fn read(args: ReadArgs) -> ReadRun {
    ReadRun {
        setup: SetupFrom::typed(args.setup.path),
        goal: GatherGoal {
            relative_error: args.noise,
            ..GatherGoal::default()
        },
        cloth: args.cloth,
        executing: executing(&args.executing),
    }
}

/// What traces the light, as typed.
pub fn executing(args: &ExecutingArgs) -> Executing {
    Executing {
        wish: wish(args.executor),
        threads: args.threads.map_or(0, usize::from),
        cache: args.cache.clone(),
    }
}

fn wish(executor: ExecutorArg) -> Wish {
    match executor {
        ExecutorArg::Auto => Wish::Auto,
        ExecutorArg::Cpu => Wish::Cpu,
        ExecutorArg::Gpu => Wish::Gpu,
    }
}

pub fn overwrite(force: bool) -> Overwrite {
    if force {
        Overwrite::Force
    } else {
        Overwrite::Refuse
    }
}

/// The title and the file of a new setup: "spring-linen" gives "Spring linen" in
/// spring-linen.toml.
fn name_and_file(name: &str, out: Option<PathBuf>) -> Result<(String, PathBuf), Failure> {
    let plain = name.trim().strip_suffix(".toml").unwrap_or(name.trim());
    let stem = Path::new(plain)
        .file_name()
        .map(|n| n.to_string_lossy().into_owned());
    let Some(stem) = stem.filter(|_| !plain.ends_with(['/', '\\'])) else {
        return Err(Failure::wrong(
            "the new setup needs a name",
            "type for instance: swatchlight new linen",
        ));
    };
    let spaced = stem.replace(['-', '_'], " ");
    let mut letters = spaced.chars();
    let title = letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    });
    let out = out.unwrap_or_else(|| {
        // A title makes a poor file name where it has spaces.
        Path::new(plain).with_file_name(format!("{}.toml", stem.replace(' ', "-")))
    });
    Ok((title, out))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_make_titles_and_files() {
        for (name, title, file) in [
            ("linen", "Linen", "linen.toml"),
            ("spring-linen.toml", "Spring linen", "spring-linen.toml"),
            ("shoots/spring_2", "Spring 2", "shoots/spring_2.toml"),
            ("Blue hour", "Blue hour", "Blue-hour.toml"),
            ("étude v1.2", "Étude v1.2", "étude-v1.2.toml"),
        ] {
            let (found_title, found_file) = name_and_file(name, None).expect("a name");
            assert_eq!(
                (found_title.as_str(), found_file.as_path()),
                (title, Path::new(file))
            );
        }
        for name in ["", " ", "/", "shoots/", ".."] {
            assert!(name_and_file(name, None).is_err(), "{name:?}");
        }
    }

    #[test]
    fn goals_stop_somewhere() {
        assert_eq!(
            goal(None, None),
            Goal {
                samples: 1024,
                relative_error: Some(0.02)
            }
        );
        assert_eq!(
            goal(Some(8), None),
            Goal {
                samples: 8,
                relative_error: None
            }
        );
        assert_eq!(
            goal(Some(8), Some(0.1)),
            Goal {
                samples: 8,
                relative_error: Some(0.1)
            }
        );
        assert_eq!(
            goal(None, Some(0.1)),
            Goal {
                samples: 16_384,
                relative_error: Some(0.1)
            }
        );
    }
}
