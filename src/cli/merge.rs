//! `merge`: puts together what parts of a shoot list have rendered.

use super::batch::card::{Card, Day, Record};
use super::batch::finish;
use super::batch::folder::{Folder, unreadable};
use super::batch::sheets::KeptSheet;
use super::batch::shoot::{finish_picture, open_part, write_picture};
use super::exit::{Exit, Failure};
use super::merge_args::MergeRun;
use super::voice::Voice;
use super::words;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};
use std::time::Instant;
use swatchlight::render::film_part::{PartError, PartReader, merge as merge_films};
use swatchlight::report::sheet::Paper;
use swatchlight::report::{Overwrite, Rendering, write_whole};

type Reader = PartReader<BufReader<File>>;

/// What `merge --json` prints.
#[derive(Debug, Serialize)]
struct Report<T> {
    out: String,
    /// Pictures taken over as they are, and those put together from film parts.
    taken_over: usize,
    put_together: usize,
    seconds: f64,
    report: T,
}

/// Merges.
///
/// # Errors
/// When parts do not belong together, are missing or cannot be written.
pub fn merge(run: &MergeRun, voice: &Voice) -> Result<Exit, Failure> {
    match run {
        MergeRun::Folders { from, out, paper } => folders(from, out, *paper, voice),
        MergeRun::Films {
            from,
            out,
            overwrite,
        } => films(from, out, *overwrite, voice),
    }
}

fn refused(error: PartError) -> Failure {
    let hint = match error {
        PartError::Missing { .. } => "render the parts that hold them, then merge again",
        PartError::Twice { .. } => "leave one of the two away",
        PartError::Foreign { .. } => "render all parts with one program, list and kind of executor",
        PartError::Version { .. } => "render the part again, or merge with the newer program",
        _ => "have this part rendered again",
    };
    Failure::wrong(error.to_string(), hint)
}

/// The card that a part carries.
fn card(part: &Reader) -> Result<Card, Failure> {
    serde_json::from_str(&part.about().card).map_err(|_| {
        Failure::wrong(
            format!("{} was not written by batch", part.file()),
            "give film parts that swatchlight batch --part has written",
        )
    })
}

fn films(
    from: &[PathBuf],
    out: &Path,
    overwrite: Overwrite,
    voice: &Voice,
) -> Result<Exit, Failure> {
    let started = Instant::now();
    let parts: Vec<Reader> = from
        .iter()
        .map(|p| open_part(p))
        .collect::<Result<_, _>>()?;
    let card = card(&parts[0])?;
    let executor = parts[0].about().executor.clone();
    let film = merge_films(parts).map_err(refused)?;
    let rendering = Rendering {
        samples_per_pixel: film.samples(),
        relative_error: film.median_relative_error(),
        executor,
    };
    write_picture(out, &card, &film, &rendering, overwrite)?;
    if voice.json() {
        voice.print_json(&Report {
            out: out.display().to_string(),
            taken_over: 0,
            put_together: 1,
            seconds: started.elapsed().as_secs_f64(),
            report: rendering,
        })?;
    } else {
        voice.print(&format!(
            "{}: {} put together, {}\n",
            out.display(),
            words::count(from.len() as u32, "part"),
            words::count(film.samples(), "sample")
        ))?;
    }
    Ok(Exit::Done)
}

/// What the folders hold of one frame.
enum Held {
    /// A finished picture, in that folder.
    Whole(Folder, Box<Record>),
    /// Film parts.
    Parts(Vec<Reader>),
}

fn folders(from: &[PathBuf], out: &Path, paper: Paper, voice: &Voice) -> Result<Exit, Failure> {
    let started = Instant::now();
    let from: Vec<Folder> = from.iter().map(|p| Folder::at(p.clone())).collect();
    let day = common_day(&from)?;
    let held = gather(&from, &day)?;
    let out = Folder::at(out.to_owned());
    out.make()?;
    out.list(&day)?;
    let mut records = Vec::new();
    let (mut taken_over, mut put_together) = (0, 0);
    for (i, held) in held.into_iter().enumerate() {
        let share = i as f64 / day.frames.len() as f64;
        voice.stage(share, &day.frames[i].name);
        match held {
            Held::Whole(folder, record) => {
                if folder.root() != out.root() {
                    take_over(&folder, &out, &record)?;
                }
                taken_over += 1;
                records.push(*record);
            }
            Held::Parts(parts) => {
                let card = card(&parts[0])?;
                let executor = parts[0].about().executor.clone();
                let film = merge_films(parts).map_err(refused)?;
                records.push(finish_picture(&out, card, &film, &executor, 0.0)?);
                put_together += 1;
            }
        }
    }
    voice.end_progress();
    for record in &records {
        take_over_sheet(&from, &out, record)?;
    }
    // Where the parts were asked for none, there are none to print.
    let sheet = |r: &Record| out.sheet(&r.card.stem).is_file();
    let paper = records.iter().any(sheet).then_some(paper);
    let (text, told) = finish(&out, &day, &records, paper)?;
    if voice.json() {
        voice.print_json(&Report {
            out: out.shown(),
            taken_over,
            put_together,
            seconds: started.elapsed().as_secs_f64(),
            report: told,
        })?;
        return Ok(Exit::Done);
    }
    voice.print(&format!(
        "{}\n\n{text}\n{}: {} taken over, {put_together} put together, {}\n",
        day.title,
        out.shown(),
        words::count(taken_over as u32, "picture"),
        words::time(started.elapsed())
    ))?;
    Ok(Exit::Done)
}

/// The one list that all folders are of.
fn common_day(from: &[Folder]) -> Result<Day, Failure> {
    let mut found: Option<(&Folder, Day)> = None;
    for folder in from {
        let day = folder.listed().ok_or_else(|| {
            Failure::wrong(
                format!("{} holds no part of a shoot list", folder.shown()),
                "give folders that swatchlight batch --part has written to",
            )
        })?;
        match &found {
            None => found = Some((folder, day)),
            Some((first, known)) if *known != day => {
                return Err(Failure::wrong(
                    format!(
                        "{} and {} do not belong together: they are of different lists, or the list or a setup changed between them",
                        first.shown(),
                        folder.shown()
                    ),
                    "render the parts of one list with the same list and setups",
                ));
            }
            Some(_) => {}
        }
    }
    let (_, day) = found.ok_or_else(|| Failure::wrong("nothing to merge", "give a folder"))?;
    Ok(day)
}

/// What there is of each frame, all of it looked through before anything is written.
fn gather(from: &[Folder], day: &Day) -> Result<Vec<Held>, Failure> {
    let mut parts: BTreeMap<String, Vec<Reader>> = BTreeMap::new();
    for folder in from {
        for path in folder.films()? {
            let part = open_part(&path)?;
            parts.entry(card(&part)?.stem).or_default().push(part);
        }
    }
    let mut found = Vec::new();
    let mut missing = Vec::new();
    for frame in &day.frames {
        let mut whole: Option<(Folder, Box<Record>)> = None;
        for folder in from {
            let Some(record) = folder.finished(&frame.stem) else {
                continue;
            };
            match &whole {
                Some((first, known)) if known.card.identity != record.card.identity => {
                    return Err(Failure::wrong(
                        format!(
                            "{} and {} hold \"{}\" rendered from different setups, models, options or programs",
                            first.shown(),
                            folder.shown(),
                            frame.name
                        ),
                        "render it again in one of them",
                    ));
                }
                Some(_) => {}
                None => whole = Some((folder.clone(), Box::new(record))),
            }
        }
        let cut = parts.remove(&frame.stem);
        match (whole, cut) {
            // A picture that was merged before keeps the parts it is made of.
            (Some((_, record)), Some(cut))
                if cut
                    .iter()
                    .any(|p| p.about().identity != record.card.identity) =>
            {
                found.push(Held::Parts(cut));
            }
            (Some((folder, record)), _) => found.push(Held::Whole(folder, record)),
            (None, Some(cut)) => found.push(Held::Parts(cut)),
            (None, None) => missing.push(frame.name.clone()),
        }
    }
    if !missing.is_empty() {
        const SHOWN: usize = 6;
        let more = match missing.len().checked_sub(SHOWN) {
            None | Some(0) => String::new(),
            Some(n) => format!(" and {n} more"),
        };
        let count = missing.len();
        missing.truncate(SHOWN);
        return Err(Failure::wrong(
            format!(
                "{count} of {} are not there: {}{more}",
                words::count(day.frames.len() as u32, "picture"),
                missing.join("; ")
            ),
            "render the parts that hold them, then merge again",
        ));
    }
    for held in &mut found {
        if let Held::Parts(parts) = held {
            swatchlight::render::film_part::check(parts).map_err(refused)?;
        }
    }
    Ok(found)
}

/// Copies what is kept of a frame's sheet from whichever folder has it.
fn take_over_sheet(from: &[Folder], to: &Folder, record: &Record) -> Result<(), Failure> {
    let (stem, identity) = (&record.card.stem, &record.card.identity);
    if KeptSheet::of(to, stem, identity).is_some() {
        return Ok(());
    }
    match from.iter().find_map(|f| KeptSheet::of(f, stem, identity)) {
        Some(kept) => kept.keep(to, stem),
        None => Ok(()),
    }
}

/// Copies a picture with what is kept of it.
fn take_over(from: &Folder, to: &Folder, record: &Record) -> Result<(), Failure> {
    let stem = &record.card.stem;
    let files = [
        (from.picture(stem), to.picture(stem)),
        (from.setup(stem), to.setup(stem)),
        // Last: what has a record is whole.
        (from.record(stem), to.record(stem)),
    ];
    for (source, target) in files {
        let bytes = fs::read(&source).map_err(|e| unreadable(&source, &e))?;
        write_whole(&target, Overwrite::Force, |out| out.write_all(&bytes))?;
    }
    Ok(())
}
