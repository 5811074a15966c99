//! Renders frames: whole pictures, and parts of them.

use super::super::batch_args::BatchRun;
use super::super::close_up::CloseUp;
use super::super::exit::{Exit, Failure};
use super::super::interrupt::Interrupt;
use super::super::voice::Voice;
use super::super::words;
use super::card::{Card, Ready, Record, print_of, write_json};
use super::folder::{Folder, unreadable};
use super::sheets::KeptSheet;
use std::fs::{self, File};
use std::io::BufReader;
use std::ops::Range;
use std::path::Path;
use std::time::Instant;
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::take::Take;
use swatchlight::measure::take::bounce_pays;
use swatchlight::render::bounce;
use swatchlight::render::driver::Progress;
use swatchlight::render::even::render_evenly;
use swatchlight::render::executor::Executor;
use swatchlight::render::film::Film;
use swatchlight::render::film_part::{About, PartReader, PartWriter, Step, render_steps, steps};
use swatchlight::render::steady::Steady;
use swatchlight::report::sheet::{ClothSeen, Seen, Sheet};
use swatchlight::report::{
    Overwrite, Rendering, StillOptions, WholeFile, hand_over, open_still, write_whole,
};
use swatchlight::scene::FlatRadiance;
use swatchlight::scene::models::Models;

/// What renders, and how far it is.
pub struct Shoot<'a> {
    pub run: &'a BatchRun,
    pub folder: &'a Folder,
    pub executor: Steady,
    pub interrupt: &'a Interrupt,
    pub voice: &'a Voice,
    /// Frames to do here, those done, and since when.
    pub frames: usize,
    pub done: usize,
    pub since: Instant,
}

impl<'a> Shoot<'a> {
    /// The schedule of every picture, where its samples are known.
    pub fn steps(&self) -> Option<Vec<Step>> {
        let known = self.run.goal.relative_error.is_none();
        known.then(|| steps(&self.executor, self.run.goal.samples))
    }

    /// Renders a whole picture; none when interrupted.
    ///
    /// # Errors
    /// What keeps it from being rendered or written.
    pub fn whole(&mut self, ready: &Ready, models: &Models) -> Result<Option<Record>, Failure> {
        let started = Instant::now();
        let Some(Metered { mut take, card, .. }) = self.meter(ready, models, true)? else {
            return Ok(None);
        };
        let [width, height] = card.pixels;
        let mut film = Film::new(width, 0, height, card.weights.len() as u32);
        match self.steps() {
            Some(steps) => self.render_steps(&take, &card, &mut film, &steps)?,
            None => {
                let told = self.teller(&card);
                render_evenly(
                    &mut self.executor,
                    &mut take.studio.scene,
                    &mut film,
                    self.run.goal,
                    self.interrupt.flag(),
                    |now: &Progress| {
                        told(now.done, &words::count(now.samples, "sample"));
                    },
                )?;
            }
        }
        if self.interrupt.asked() {
            return Ok(None);
        }
        let kind = kind(&self.executor);
        finish_picture(
            self.folder,
            card,
            &film,
            &kind,
            started.elapsed().as_secs_f64(),
        )
        .map(Some)
    }

    /// Renders some steps of a picture into a film part; false when interrupted.
    ///
    /// # Errors
    /// What keeps it from being rendered or written.
    pub fn part(
        &mut self,
        ready: &Ready,
        models: &Models,
        held: Range<usize>,
    ) -> Result<bool, Failure> {
        let steps = self.steps().unwrap_or_default();
        // Of the parts of a picture one makes the sheet.
        let Some(Metered { take, card, .. }) = self.meter(ready, models, held.start == 0)? else {
            return Ok(false);
        };
        let about = About {
            identity: card.identity.clone(),
            picture: card.name.clone(),
            executor: kind(&self.executor),
            width: card.pixels[0],
            height: card.pixels[1],
            layers: card.weights.len() as u32,
            held: [held.start, held.end],
            card: card.to_json()?,
            steps: steps.clone(),
        };
        let path = self.folder.film(&card.stem, &about);
        let file = WholeFile::open(&path, Overwrite::Force)?;
        let failed = |e: std::io::Error| {
            // The file's own first failure comes up when it is put in its place.
            Failure::working(format!("cannot write {}: {e}", path.display()))
        };
        let mut part = PartWriter::new(file.writer(), &about).map_err(failed)?;
        for step in held {
            // A film for each: a part keeps their sums apart.
            let mut film = Film::new(about.width, 0, about.height, about.layers);
            self.render_steps(&take, &card, &mut film, &steps[step..=step])?;
            if self.interrupt.asked() {
                return Ok(false);
            }
            if let Err(e) = part.step(&film) {
                return Err(match file.commit() {
                    Err(known) => known.into(),
                    Ok(()) => failed(e),
                });
            }
        }
        if kind(&self.executor) != about.executor {
            return Err(Failure::working(
                "the executor changed while a part was traced, so it would not fit the others",
            ));
        }
        part.finish().map_err(failed)?;
        file.commit()?;
        Ok(true)
    }

    /// Whether a part is there already, whole and of what is wanted.
    pub fn has_part(&self, ready: &Ready, held: &Range<usize>) -> bool {
        let Some(steps) = self.steps() else {
            return false;
        };
        let about = About {
            identity: ready.identity.clone(),
            picture: ready.frame.name.clone(),
            executor: kind(&self.executor),
            width: 1,
            height: 1,
            layers: 0,
            held: [held.start, held.end],
            card: String::new(),
            steps,
        };
        let path = self.folder.film(&ready.frame.stem(), &about);
        let Ok(part) = open_part(&path) else {
            return false;
        };
        let found = part.about();
        found.identity == about.identity
            && found.executor == about.executor
            && found.steps == about.steps
            && found.held == about.held
    }

    /// Whether what is to be kept of a frame's sheet is there, or none is wanted.
    pub fn has_sheet(&self, ready: &Ready) -> bool {
        let Some(wanted) = self.run.sheets else {
            return true;
        };
        let kept = KeptSheet::of(self.folder, &ready.frame.stem(), &ready.identity);
        kept.is_some_and(|kept| kept.has_cloth() || !wanted.cloth)
    }

    /// Makes the sheet of a frame whose picture is there; false when interrupted.
    ///
    /// # Errors
    /// What keeps it from being metered or written.
    pub fn sheet(&mut self, ready: &Ready, models: &Models) -> Result<bool, Failure> {
        Ok(self.meter(ready, models, true)?.is_some())
    }

    /// Meters and exposes a frame, finds what its set bounces, and keeps its sheet where that is wanted;
    /// none when interrupted.
    fn meter(
        &mut self,
        ready: &Ready,
        models: &Models,
        sheet: bool,
    ) -> Result<Option<Metered>, Failure> {
        let stop = self.interrupt.flag();
        let mut take = Take::new(
            ready.checked.setup.clone(),
            models,
            &mut self.executor,
            GatherGoal::default(),
            stop,
        )?;
        if self.interrupt.asked() {
            return Ok(None);
        }
        let kind = kind(&self.executor);
        let notes = &ready.checked.notes;
        let card = Card::of(&ready.frame, &ready.identity, &take, notes, &kind)?;
        let mut flats = Vec::new();
        if !self.run.exact
            && bounce_pays(&take.studio.scene, take.setup.camera.pixels, self.run.goal)
        {
            let told = self.teller(&card);
            let show = |_| told(0.0, "finding the light that the set bounces");
            let scene = &mut take.studio.scene;
            let found = bounce::find(&mut self.executor, scene, stop, show)?;
            flats = found.unwrap_or_default();
            if !flats.is_empty() {
                scene.set_bounce(&flats);
            }
        }
        let metered = Metered { take, card, flats };
        let there = !self.run.again && self.has_sheet(ready);
        if sheet && !there && !self.interrupt.asked() {
            self.keep_sheet(ready, models, &metered)?;
        }
        Ok((!self.interrupt.asked()).then_some(metered))
    }

    /// Keeps what the sheet says beside the picture.
    fn keep_sheet(
        &mut self,
        ready: &Ready,
        models: &Models,
        metered: &Metered,
    ) -> Result<(), Failure> {
        let wanted = self.run.sheets.is_some_and(|s| s.cloth);
        let cloth = match wanted {
            true => self.cloth(models, metered)?,
            false => None,
        };
        if self.interrupt.asked() {
            return Ok(());
        }
        let sheet = Sheet::new(&Seen {
            take: &metered.take,
            models,
            notes: &ready.checked.notes,
            picture: None,
            cloth: cloth.as_ref(),
            date: "",
        })?;
        let Card { identity, stem, .. } = &metered.card;
        KeptSheet::new(identity.clone(), wanted, sheet).keep(self.folder, stem)
    }

    fn cloth(&mut self, models: &Models, metered: &Metered) -> Result<Option<ClothSeen>, Failure> {
        let told = self.teller(&metered.card);
        let close = CloseUp {
            take: &metered.take,
            models,
            flats: &metered.flats,
            goal: self.run.goal,
        };
        let show = |_, what: &str| told(0.0, what);
        match close.cloth(&mut self.executor, self.interrupt, show, self.voice) {
            // A cloth that cannot be looked at there keeps no picture from being taken.
            Err(Failure::Message {
                exit: Exit::Wrong,
                what,
                ..
            }) => {
                let name = &metered.card.name;
                self.voice
                    .note(&format!("warning: {name}: no cloth on its sheet: {what}"));
                Ok(None)
            }
            other => other,
        }
    }

    fn render_steps(
        &mut self,
        take: &Take,
        card: &Card,
        film: &mut Film,
        steps: &[Step],
    ) -> Result<(), Failure> {
        let told = self.teller(card);
        render_steps(
            &mut self.executor,
            &take.studio.scene,
            film,
            steps,
            self.interrupt.flag(),
            |done| {
                let samples = steps[done - 1].end();
                told(
                    done as f64 / steps.len() as f64,
                    &words::count(samples, "sample"),
                );
            },
        )?;
        Ok(())
    }

    /// Tells how far all is, when a share of this frame is done.
    fn teller(&self, card: &Card) -> impl Fn(f64, &str) + use<'a> {
        let (frames, done, since, voice) = (self.frames, self.done, self.since, self.voice);
        let name = card.name.clone();
        move |of_this: f64, state: &str| {
            let share = (done as f64 + of_this) / frames.max(1) as f64;
            let left = (share > 0.02).then(|| {
                let all = since.elapsed().as_secs_f64() / share;
                let left = std::time::Duration::from_secs_f64(all * (1.0 - share));
                format!(", about {} left", words::time(left))
            });
            let left = left.unwrap_or_default();
            voice.stage(
                share,
                &format!("{} of {frames}, {name}: {state}{left}", done + 1),
            );
        }
    }
}

/// A frame metered and exposed.
struct Metered {
    take: Take,
    card: Card,
    /// What the set's flats give off, where that was found.
    flats: Vec<FlatRadiance>,
}

/// The kind of executor, as far as it decides the last bits: the processor's threads do not.
pub fn kind(executor: &dyn Executor) -> String {
    let name = executor.name();
    let (os, arch) = (std::env::consts::OS, std::env::consts::ARCH);
    match name.strip_prefix("processor, ") {
        Some(threads) if !threads.contains("then") => format!("processor ({arch}, {os})"),
        _ => format!("{name} ({os})"),
    }
}

/// Opens a film part and looks it through.
///
/// # Errors
/// What is wrong with it.
pub fn open_part(path: &Path) -> Result<PartReader<BufReader<File>>, Failure> {
    let file = File::open(path).map_err(|e| unreadable(path, &e))?;
    PartReader::open(BufReader::new(file), &path.display().to_string())
        .map_err(|e| Failure::wrong(e.to_string(), "have this part rendered again"))
}

/// Develops a film into its picture and keeps the record.
///
/// # Errors
/// When they cannot be written.
pub fn finish_picture(
    folder: &Folder,
    card: Card,
    film: &Film,
    executor: &str,
    seconds: f64,
) -> Result<Record, Failure> {
    let rendering = Rendering {
        samples_per_pixel: film.samples(),
        relative_error: film.median_relative_error(),
        executor: executor.to_owned(),
    };
    let picture = folder.picture(&card.stem);
    write_picture(&picture, &card, film, &rendering, Overwrite::Force)?;
    let setup = card.metadata().setup_toml;
    write_whole(&folder.setup(&card.stem), Overwrite::Force, |out| {
        std::io::Write::write_all(out, setup.as_bytes())
    })?;
    let bytes = fs::read(&picture).map_err(|e| unreadable(&picture, &e))?;
    let gain = card.development().gain.map(f64::from);
    let tones = card.probe.tones(film, &card.weights, gain);
    // Last: what has a record is whole.
    let record = Record::new(card, print_of(&bytes), &rendering, tones, seconds);
    write_json(&folder.record(&record.card.stem), &record)?;
    Ok(record)
}

/// Writes a film as a still.
///
/// # Errors
/// When it cannot be written.
pub fn write_picture(
    path: &Path,
    card: &Card,
    film: &Film,
    rendering: &Rendering,
    overwrite: Overwrite,
) -> Result<(), Failure> {
    let shape = card.shape();
    let options = StillOptions {
        overwrite,
        ..StillOptions::default()
    };
    let mut sink = open_still(path, &shape, &card.development(), &card.metadata(), options)?;
    hand_over(film, &card.weights, &shape, sink.as_mut())?;
    sink.finish(rendering)?;
    Ok(())
}
