//! `batch`: renders a shoot list, or a part of it.

pub mod card;
mod finish;
pub mod folder;
mod identity;
pub mod jobs;
pub mod part;
pub mod sheets;
pub mod shoot;

pub use finish::finish;

use super::batch_args::{BatchRun, What};
use super::cache;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::source::SetupFrom;
use super::take::open;
use super::voice::Voice;
use super::words;
use card::{Day, Ready, Record};
use finish::{Told, coverage_text, order_of_day};
use folder::Folder;
use jobs::{Engine, Jobs};
use part::{Split, share};
use serde::Serialize;
use shoot::{Shoot, kind};
use std::collections::HashMap;
use std::fs;
use std::io::Write;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;
use swatchlight::report::{Overwrite, write_whole};
use swatchlight::scene::models::Models;
use swatchlight::setup::list::{Arrangement, Frame, ShootList};
use swatchlight::setup::{Problems, parse_with};

/// Larger than any list that a person or a program would write.
const LONGEST_LIST: u64 = 4 << 20;

/// A list with its frames.
struct Opened {
    day: Day,
    frames: Vec<Frame>,
}

/// What `batch --json` prints.
#[derive(Debug, Serialize)]
struct Report {
    folder: String,
    part: Option<[u32; 2]>,
    rendered: usize,
    up_to_date: usize,
    interrupted: bool,
    failed: Vec<Failed>,
    executor: Option<String>,
    seconds: f64,
    /// Once all pictures are there.
    report: Option<Told>,
    plan: Option<Plan>,
}

/// A frame that could not be taken.
#[derive(Debug, Serialize)]
struct Failed {
    frame: String,
    why: String,
}

#[derive(Debug, Serialize)]
struct Plan {
    frames: Vec<card::Line>,
    /// Of them, those whose pictures are up to date.
    up_to_date: Vec<String>,
    day: finish::DayTold,
}

/// Renders a list, or says what it would do.
///
/// # Errors
/// What is wrong with the list or keeps it from being rendered.
pub fn batch(run: &BatchRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let opened = open_list(&run.list)?;
    match &run.what {
        What::Jobs {
            engine,
            file,
            parts,
            options,
        } => write_jobs(run, &opened, *engine, file, *parts, options, voice),
        What::Plan => plan(run, &opened, voice),
        What::All | What::Part(..) => render(run, opened, voice),
    }
}

fn open_list(path: &Path) -> Result<Opened, Failure> {
    let shown = path.display().to_string();
    let wrong =
        |what: String| Failure::wrong(what, "give a shoot list, a .toml file (docs/shoot-list.md)");
    let facts = fs::metadata(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => wrong(format!("there is no file {shown}")),
        _ => wrong(format!("cannot read {shown}: {e}")),
    })?;
    if !facts.is_file() || facts.len() > LONGEST_LIST {
        return Err(wrong(format!("{shown} is no shoot list")));
    }
    let bytes = fs::read(path).map_err(|e| wrong(format!("cannot read {shown}: {e}")))?;
    let text = String::from_utf8(bytes).map_err(|_| {
        wrong(format!(
            "{shown} is no text file: a byte in it is not UTF-8"
        ))
    })?;
    let list = ShootList::parse(&text, &shown).map_err(Failure::Problems)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let read = |setup: &str| -> Result<String, String> {
        let source = SetupFrom::File(folder.join(setup)).read();
        source.map(|s| s.text()).map_err(|failure| match failure {
            Failure::Message { what, .. } => what,
            _ => "it cannot be read".into(),
        })
    };
    let frames = list.frames(&read).map_err(Failure::Problems)?;
    Ok(Opened {
        day: Day::of(&list, &frames, path),
        frames,
    })
}

/// The models of setups, a set to each folder that setups lie in.
struct Shelves {
    list_folder: PathBuf,
    known: HashMap<PathBuf, Models>,
}

impl Shelves {
    fn new(list: &Path) -> Self {
        Self {
            list_folder: list.parent().unwrap_or(Path::new("")).to_path_buf(),
            known: HashMap::new(),
        }
    }

    fn of(
        &mut self,
        frame: &Frame,
        run: &BatchRun,
        voice: &Arc<Voice>,
        interrupt: &Interrupt,
    ) -> Models {
        let setup = self.list_folder.join(&frame.setup_path);
        let folder = setup.parent().unwrap_or(Path::new("")).to_path_buf();
        let opened = self.known.entry(folder).or_insert_with(|| {
            let stock = cache::stock(cache::folder(&run.executing), voice, interrupt.shared());
            Models::for_setup(&setup)
                .with_tables(cache::tables(&run.executing, voice))
                .with_stock(stock)
        });
        opened.clone()
    }
}

/// Reads and checks the setups of frames, all of them before any is rendered.
fn ready(
    frames: impl IntoIterator<Item = Frame>,
    run: &BatchRun,
    shelves: &mut Shelves,
    voice: &Arc<Voice>,
    interrupt: &Interrupt,
) -> Result<Vec<Ready>, Failure> {
    let mut found = Vec::new();
    let mut broken: Vec<(String, Problems)> = Vec::new();
    let mut minded: Vec<(String, Vec<String>)> = Vec::new();
    for frame in frames {
        let models = shelves.of(&frame, run, voice, interrupt);
        let file = format!("{} as \"{}\"", frame.setup_path, frame.name);
        match parse_with(&frame.setup_toml, &file, &models, run.laid_over) {
            _ if interrupt.asked() => {
                return Err(Failure::interrupted("stopped before the first picture"));
            }
            Err(problems) => broken.push((frame.name, problems)),
            Ok(checked) => {
                for note in checked.notes.list() {
                    let text = format!("{}: {}", note.severity.word(), note.message);
                    match minded.iter_mut().find(|(known, _)| *known == text) {
                        Some((_, names)) => names.push(frame.name.clone()),
                        None => minded.push((text, vec![frame.name.clone()])),
                    }
                }
                let identity =
                    identity::identity(&frame, &checked.setup, &models, run.goal, run.exact)?;
                found.push(Ready {
                    frame,
                    checked,
                    identity,
                });
            }
        }
    }
    for (text, names) in minded {
        let more = match names.len() {
            1 => String::new(),
            n => format!(" and {} more", n - 1),
        };
        voice.note(&format!("{text} (\"{}\"{more})", names[0]));
    }
    let count = broken.len();
    match broken.into_iter().next() {
        None => Ok(found),
        Some((name, problems)) => {
            if count > 1 {
                voice.note(&format!(
                    "{count} frames cannot be set up; this is \"{name}\":"
                ));
            }
            Err(Failure::Problems(problems))
        }
    }
}

fn plan(run: &BatchRun, opened: &Opened, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let interrupt = Interrupt::listen(voice, "Stopping.")?;
    let mut shelves = Shelves::new(&run.list);
    let frames = ready(opened.frames.clone(), run, &mut shelves, voice, &interrupt)?;
    let folder = Folder::at(run.folder.clone());
    let set: Vec<Arrangement> = frames
        .iter()
        .map(|r| Arrangement::of(&r.checked.setup))
        .collect();
    let order = order_of_day(&opened.day, &set);
    let current = |r: &&Ready| up_to_date(&folder, r).is_some();
    let there: Vec<String> = frames
        .iter()
        .filter(current)
        .map(|r| r.frame.stem())
        .collect();
    if voice.json() {
        voice.print_json(&Report {
            folder: folder.shown(),
            part: None,
            rendered: 0,
            up_to_date: there.len(),
            interrupted: false,
            failed: Vec::new(),
            executor: None,
            seconds: 0.0,
            report: None,
            plan: Some(Plan {
                frames: opened.day.frames.clone(),
                up_to_date: there,
                day: order,
            }),
        })?;
        return Ok(Exit::Done);
    }
    voice.print(&format!(
        "{}\n{}, {} of them up to date in {}\n\n{}\n{}",
        opened.day.title,
        words::count(frames.len() as u32, "frame"),
        there.len(),
        folder.shown(),
        coverage_text(&opened.day),
        order.text(&set)
    ))?;
    Ok(Exit::Done)
}

/// The record of a frame whose picture is there and of all that it now depends on.
fn up_to_date(folder: &Folder, ready: &Ready) -> Option<Record> {
    let record = folder.finished(&ready.frame.stem())?;
    (record.card.identity == ready.identity).then_some(record)
}

fn render(run: &BatchRun, opened: Opened, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let started = Instant::now();
    let interrupt = Interrupt::listen(
        voice,
        "Stopping; the pictures that are finished stay, and the same command goes on from there.",
    )?;
    let (part, split) = match &run.what {
        What::Part(part, split) => (Some(part.found()?), *split),
        _ => (None, None),
    };
    let folder = Folder::at(run.folder.clone());
    folder.make()?;
    let Opened { day, frames } = opened;
    folder.list(&day)?;

    let executor = open(&run.executing, voice)?;
    let mut shoot = Shoot {
        run,
        folder: &folder,
        executor,
        interrupt: &interrupt,
        voice,
        frames: 0,
        done: 0,
        since: Instant::now(),
    };
    let work = work(&shoot, frames.len(), part, split)?;
    let mut shelves = Shelves::new(&run.list);
    let own = work.iter().map(|(i, _)| frames[*i].clone());
    let own = ready(own, run, &mut shelves, voice, &interrupt)?;
    let mut tally = Tally::default();
    let mut todo = Vec::new();
    for (ready, (_, cut)) in own.iter().zip(&work) {
        let there = match cut {
            None => up_to_date(&folder, ready).is_some(),
            Some(held) => shoot.has_part(ready, held),
        };
        // Of the parts of a picture one makes the sheet.
        let makes_sheet = cut.as_ref().is_none_or(|held| held.start == 0);
        match there && !run.again {
            true if makes_sheet && !shoot.has_sheet(ready) => {
                tally.up_to_date += 1;
                todo.push((ready, Todo::Sheet));
            }
            true => tally.up_to_date += 1,
            false => todo.push((ready, Todo::Picture(cut))),
        }
    }
    shoot.frames = todo.len();
    if tally.up_to_date > 0 {
        let pictures = words::count(tally.up_to_date as u32, "picture");
        voice.note(&format!("{pictures} up to date."));
    }
    shoot.since = Instant::now();
    for (ready, what) in todo {
        let models = shelves.of(&ready.frame, run, voice, &interrupt);
        let begun = Instant::now();
        let made = match what {
            Todo::Picture(None) => shoot.whole(ready, &models).map(|r| r.is_some()),
            Todo::Picture(Some(held)) => shoot.part(ready, &models, held.clone()),
            Todo::Sheet => shoot.sheet(ready, &models),
        };
        voice.end_progress();
        shoot.done += 1;
        match made {
            Ok(true) => {
                tally.rendered += usize::from(!matches!(what, Todo::Sheet));
                voice.note(&format!(
                    "{} of {}: {}{}, {}",
                    shoot.done,
                    shoot.frames,
                    ready.frame.name,
                    match what {
                        Todo::Picture(None) => "",
                        Todo::Picture(Some(_)) => " (a part)",
                        Todo::Sheet => " (its sheet)",
                    },
                    words::time(begun.elapsed())
                ));
            }
            Ok(false) => tally.interrupted = true,
            Err(_) if interrupt.asked() => tally.interrupted = true,
            // One frame that cannot be lit as asked does not keep the others; a full disk does.
            Err(Failure::Message {
                exit: Exit::Wrong,
                what,
                hint,
            }) => {
                let hint = hint.map_or(String::new(), |h| format!(" ({h})"));
                voice.note(&format!("error: {}: {what}{hint}", ready.frame.name));
                tally.failed.push(Failed {
                    frame: ready.frame.name.clone(),
                    why: what,
                });
            }
            Err(failure) => return Err(failure),
        }
        if tally.interrupted {
            break;
        }
    }
    let executor = kind(&shoot.executor);
    let whole = part.is_none_or(|(_, of)| of == 1);
    let finished = (whole && !tally.interrupted && tally.failed.is_empty())
        .then(|| all_records(&folder, &day))
        .flatten();
    let told = finished
        .map(|records| finish(&folder, &day, &records, run.sheets.map(|s| s.paper)))
        .transpose()?;
    end(
        (&folder, &day),
        part,
        tally,
        told,
        (executor, started),
        voice,
    )
}

/// What a frame still wants.
#[derive(Clone, Copy)]
enum Todo<'a> {
    /// Its picture, or these steps of it, and its sheet.
    Picture(&'a Option<Range<usize>>),
    /// Only what is kept for its sheet.
    Sheet,
}

/// What was done.
#[derive(Default)]
struct Tally {
    rendered: usize,
    up_to_date: usize,
    interrupted: bool,
    failed: Vec<Failed>,
}

/// Says what was done.
fn end(
    (folder, day): (&Folder, &Day),
    part: Option<(u32, u32)>,
    tally: Tally,
    told: Option<(String, Told)>,
    (executor, started): (String, Instant),
    voice: &Voice,
) -> Result<Exit, Failure> {
    let strangers = folder.strangers(day);
    if !strangers.is_empty() && told.is_some() {
        voice.note(&format!(
            "Not of this list, left as they are: {}.",
            strangers.join(", ")
        ));
    }
    let exit = match (tally.interrupted, tally.failed.is_empty()) {
        (true, _) => Exit::Interrupted,
        (false, true) => Exit::Done,
        (false, false) => Exit::Failed,
    };
    if voice.json() {
        let (_, report) = told.map_or((None, None), |(t, r)| (Some(t), Some(r)));
        voice.print_json(&Report {
            folder: folder.shown(),
            part: part.map(|(n, of)| [n, of]),
            rendered: tally.rendered,
            up_to_date: tally.up_to_date,
            interrupted: tally.interrupted,
            failed: tally.failed,
            executor: Some(executor),
            seconds: started.elapsed().as_secs_f64(),
            report,
            plan: None,
        })?;
        return Ok(exit);
    }
    let mut text = String::new();
    if let Some((page, _)) = &told {
        text += &format!("{}\n\n{page}\n", day.title);
    }
    let of = part.map_or(String::new(), |(n, of)| format!(", part {n} of {of}"));
    text += &format!(
        "{}{of}: {} rendered, {} up to date, {}\n",
        folder.shown(),
        tally.rendered,
        tally.up_to_date,
        words::time(started.elapsed())
    );
    if !tally.failed.is_empty() {
        let names: Vec<&str> = tally.failed.iter().map(|f| f.frame.as_str()).collect();
        text += &format!("could not be taken: {}\n", names.join("; "));
    }
    if part.is_some_and(|(_, of)| of > 1) && exit == Exit::Done {
        text += &format!(
            "When all parts are done: swatchlight merge {}\n",
            folder.shown()
        );
    }
    voice.print(&text)?;
    Ok(exit)
}

/// The records of all frames, if all are there.
fn all_records(folder: &Folder, day: &Day) -> Option<Vec<Record>> {
    day.frames
        .iter()
        .map(|f| folder.finished(&f.stem))
        .collect()
}

/// The frames of this run, each with the steps that are cut out of it; none for a whole picture.
type Work = Vec<(usize, Option<Range<usize>>)>;

fn work(
    shoot: &Shoot<'_>,
    frames: usize,
    part: Option<(u32, u32)>,
    split: Option<Split>,
) -> Result<Work, Failure> {
    let Some((number, of)) = part else {
        return Ok((0..frames).map(|i| (i, None)).collect());
    };
    let steps = shoot.steps();
    let split = match split {
        Some(split) => split,
        None if of as usize <= frames => Split::Pictures,
        None => Split::Samples,
    };
    if split == Split::Samples && steps.is_none() {
        return Err(Failure::wrong(
            format!(
                "{of} parts are more than there are pictures ({frames}), and pictures can be cut only where their samples are known"
            ),
            format!("ask for at most {frames} parts, or add --samples N, without --noise"),
        ));
    }
    let weights: Vec<u64> = match (&steps, split) {
        (Some(steps), Split::Samples) => steps.iter().map(|s| u64::from(s.samples())).collect(),
        _ => vec![1],
    };
    let whole = 0..weights.len();
    Ok(share(&vec![weights; frames], number, of, split)
        .into_iter()
        .map(|(frame, held)| (frame, (held != whole).then_some(held)))
        .collect())
}

fn write_jobs(
    run: &BatchRun,
    opened: &Opened,
    engine: Engine,
    file: &Path,
    parts: Option<u32>,
    options: &[String],
    voice: &Voice,
) -> Result<Exit, Failure> {
    let frames = opened.frames.len() as u32;
    let parts = parts.unwrap_or(frames).max(1);
    if parts > frames && run.goal.relative_error.is_some() {
        return Err(Failure::wrong(
            format!(
                "{parts} parts are more than there are pictures ({frames}), and pictures can be cut only where their samples are known"
            ),
            format!("ask for at most {frames} parts, or add --samples N, without --noise"),
        ));
    }
    let as_typed = |path: &Path| -> Result<String, Failure> {
        let text = path.to_string_lossy().into_owned();
        match text.chars().any(char::is_control) {
            false => Ok(text),
            true => Err(Failure::wrong(
                format!("{} cannot stand in a job file", text.escape_debug()),
                "give it a name without line breaks",
            )),
        }
    };
    let (list, folder) = (as_typed(&run.list)?, as_typed(&run.folder)?);
    let jobs = Jobs {
        list: &list,
        folder: &folder,
        parts,
        options,
        name: &opened.day.title,
    };
    let overwrite = match run.again {
        true => Overwrite::Force,
        false => Overwrite::Refuse,
    };
    let text = jobs.text(engine);
    write_whole(file, overwrite, |out| out.write_all(text.as_bytes()))?;
    let start = match engine {
        Engine::Slurm => format!("sbatch --wait {}", file.display()),
        Engine::Kubernetes => format!("kubectl apply -f {}", file.display()),
    };
    if voice.json() {
        voice.print_json(&serde_json::json!({
            "file": file.display().to_string(),
            "parts": parts,
            "frames": frames,
            "folder": folder,
        }))?;
    } else {
        voice.print(&format!(
            "{}: {} of {}\nStart it: {start}\nThen:     swatchlight merge {folder}\n",
            file.display(),
            words::count(parts, "part"),
            words::count(frames, "picture"),
        ))?;
    }
    Ok(Exit::Done)
}
