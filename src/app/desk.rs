//! The desk: the setup on it, what is rendered of it, and how it is looked at. It knows nothing of
//! windows; the shell and the tests both drive it.

use super::document::{Document, OnDisk};
use super::engine::{Basis, ClothWish, Engine, Opener, Shown};
use super::journal::Left;
use super::mixing::Looking;
use super::opening::{Behind, Opening};
use super::same_light::same_light;
use super::theme::Theme;
use super::words::Units;
use crate::measure::garment::GarmentSeen;
use crate::measure::take::{Expose, Mix};
use crate::report::plan::{Thing, View};
use crate::scene::models::Models;
use crate::scene::studio::{Studio, light_rgb};
use crate::setup::Setup;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::time::{Duration, Instant};

/// What the desk needs of the world.
pub struct Surroundings {
    /// Where unsaved work is kept; none for nowhere.
    pub journal: Option<PathBuf>,
    /// Models of a setup at a path; asked beside the window, since it looks at the disk.
    pub models: Arc<dyn Fn(&Path) -> Models + Send + Sync>,
    /// The program that makes stills, where there is one: this one.
    pub program: Option<PathBuf>,
}

/// A picture kept to compare with.
#[derive(Clone)]
pub struct Held {
    /// The picture, as shown.
    pub texture: egui::TextureHandle,
    /// Readings of each light then, by name.
    pub basis: Option<Arc<Basis>>,
    /// The mix then.
    pub mix: Option<Arc<Mix>>,
}

/// Something that must be answered before work goes on.
#[derive(Debug, Clone, PartialEq)]
pub enum Question {
    /// A path to open.
    Open(String),
    /// A path to save to.
    SaveAs {
        /// As typed.
        path: String,
        /// Why it is asked, where saving elsewhere failed.
        why: Option<String>,
        /// What is to be done once it is saved.
        then: Option<Next>,
    },
    /// A path for a still, and samples.
    Still(String, String),
    /// The path is taken.
    Replace(PathBuf, Option<Next>),
    /// The file on disk is another.
    Clash(String),
    /// Unsaved work of an earlier window.
    Restore(Left),
    /// Unsaved work, and the window is to close or open something else.
    Unsaved(Next),
    /// Name and kind of what is to be added.
    Add(&'static str, String),
}

/// What was to be done when unsaved work stood in the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Next {
    /// Close the window.
    Close,
    /// Open this.
    Open(PathBuf),
}

/// The desk.
pub struct Desk {
    /// The setup, if one is open.
    pub document: Option<Document>,
    /// What has been rendered.
    pub shown: Shown,
    /// The mix as the setup now stands, and whether it answers the setup as it now is.
    pub mix: Option<(Arc<Mix>, bool)>,
    /// How pictures are looked at.
    pub looking: Looking,
    /// Where the held picture ends and the live one begins, 0 to 1.
    pub wipe: f32,
    /// The picture to compare with.
    pub held: Option<Held>,
    /// What is selected.
    pub selected: Option<Thing>,
    /// Where the cloth is looked at.
    pub cloth_point: String,
    /// Width of cloth to see.
    pub cloth_width_m: f64,
    /// Which side the second drawing is seen from.
    pub elevation: View,
    /// Units of what is written.
    pub units: Units,
    /// The darkened theme.
    pub dark: bool,
    /// What must be answered.
    pub question: Option<Question>,
    /// The last thing to say, and when.
    pub said: Option<(String, Instant)>,
    /// Set when the window is to close.
    pub closing: bool,
    /// How long the last re-mix took.
    pub remix_took: Duration,
    pub(super) views: super::sheet::Views,
    pub(super) making: Option<super::stills::Making>,
    pub(super) saving: Option<super::saving::Saving>,
    pub(super) around: Surroundings,
    pub(super) wake: Arc<dyn Fn() + Send + Sync>,
    pub(super) opening: Option<Opening>,
    pub(super) behind: Behind,
    pub(super) engine: Engine,
    asked: Option<Asked>,
    mixed: Option<(u64, u64)>,
    garment: GarmentRead,
    looked_at_disk: Instant,
    /// The file being read, to be compared, and the document's saves when that began.
    disk: Option<(u64, Receiver<Option<String>>)>,
    /// Whether it was said that unsaved work is not kept.
    told_of_journal: bool,
}

/// The garment in the picture as read last.
#[derive(Default)]
struct GarmentRead {
    /// Picture and mix that it was read of.
    of: Option<(u64, usize)>,
    answer: Option<Receiver<Option<(u64, GarmentSeen)>>>,
    seen: Option<(u64, GarmentSeen)>,
}

struct Asked {
    setup: Arc<Setup>,
    px: [u32; 2],
    cloth: Option<ClothWish>,
}

/// How often the disk is looked at.
const DISK_EVERY: Duration = Duration::from_millis(800);
/// How long something said stays.
const SAID_FOR: Duration = Duration::from_secs(12);

impl Desk {
    /// An empty desk.
    pub fn new(
        around: Surroundings,
        open: Opener,
        wake: impl Fn() + Send + Sync + 'static,
    ) -> Self {
        let wake: Arc<dyn Fn() + Send + Sync> = Arc::new(wake);
        let its = Arc::clone(&wake);
        Self {
            document: None,
            shown: Shown::default(),
            mix: None,
            looking: Looking::default(),
            wipe: 0.5,
            held: None,
            selected: None,
            cloth_point: "chest".into(),
            cloth_width_m: 0.04,
            elevation: View::Side,
            units: Units::default(),
            dark: false,
            question: None,
            said: None,
            closing: false,
            remix_took: Duration::ZERO,
            views: Default::default(),
            making: None,
            saving: None,
            behind: Behind::of(around.journal.clone(), Arc::clone(&wake)),
            around,
            engine: Engine::start(open, move || its()),
            wake,
            opening: None,
            asked: None,
            mixed: None,
            garment: GarmentRead::default(),
            looked_at_disk: Instant::now(),
            disk: None,
            told_of_journal: false,
        }
    }

    /// The colours at work.
    pub fn theme(&self) -> Theme {
        Theme::new(self.dark)
    }

    /// Says something in the margin.
    pub fn say(&mut self, what: impl Into<String>) {
        self.said = Some((what.into(), Instant::now()));
    }

    /// What is to be said now.
    pub fn saying(&self) -> Option<&str> {
        let (what, when) = self.said.as_ref()?;
        (when.elapsed() < SAID_FOR).then_some(what)
    }

    /// Puts a setup on the desk in place of what is there.
    pub(super) fn put(&mut self, document: Document, prepared: bool) {
        let lights = document.setup.lights.first();
        self.selected = lights.map(|l| Thing::new(crate::report::plan::Kind::Light, &*l.name));
        self.cloth_point = document.setup.meter.expose_at.name.clone();
        if !prepared {
            let setup = Arc::clone(&document.setup);
            self.engine
                .ask(setup, document.memory.models(), [0; 2], None);
        }
        let before = (self.document.replace(document), self.saving.take());
        // Its journal is finished beside the window, and its file written.
        std::thread::spawn(move || drop(before));
        self.held = None;
        self.looking = Looking::default();
        self.mix = None;
        self.mixed = None;
        self.asked = None;
        self.disk = None;
        self.views = Default::default();
    }

    /// Does what is to be done once a frame: takes up what came, asks for what is missing.
    pub fn tick(&mut self, picture_px: [u32; 2], cloth_px: [u32; 2]) {
        self.shown = self.engine.shown();
        let polled = self.document.as_mut().and_then(Document::poll);
        if let Some(Err(wrong)) = polled {
            self.say(wrong);
        }
        self.poll_save();
        self.tell_of_journal();
        self.look_at_disk();
        self.ask(picture_px, cloth_px);
        self.remix();
        self.read_garment();
        self.poll_still();
    }

    /// Says, once, that a crash would cost the work that is not saved.
    fn tell_of_journal(&mut self) {
        let trouble = self.document.as_ref().and_then(Document::journal_trouble);
        if let (Some(why), false) = (&trouble, self.told_of_journal) {
            self.say(format!(
                "Unsaved work is not kept for after a crash, so save now and then: {why}. --cache FOLDER names another \
                 folder to keep it in."
            ));
        }
        self.told_of_journal = trouble.is_some();
    }

    /// Looks at the file beside the window, and at the models it names, since a folder on a network can take its time.
    fn look_at_disk(&mut self) {
        let Some(document) = &mut self.document else {
            return;
        };
        if let Some((saves, answer)) = &self.disk {
            let text = match answer.try_recv() {
                Err(TryRecvError::Empty) => return,
                Ok(text) => text,
                Err(TryRecvError::Disconnected) => None,
            };
            // What was read before a save is older than what is here.
            let still_so = *saves == document.saves()
                && self.question.is_none()
                && self.saving.is_none()
                && !document.is_checking();
            self.disk = None;
            if still_so {
                self.found_on_disk(text);
            }
            return;
        }
        if self.looked_at_disk.elapsed() < DISK_EVERY || self.question.is_some() {
            return;
        }
        self.looked_at_disk = Instant::now();
        let (path, memory) = (document.path.clone(), document.memory.clone());
        let (tell, answer) = channel();
        std::thread::spawn(move || {
            memory.refresh();
            let text = path.and_then(|path| std::fs::read_to_string(path).ok());
            // Nobody may be waiting any more.
            let _ = tell.send(text);
        });
        self.disk = Some((document.saves(), answer));
    }

    fn found_on_disk(&mut self, text: Option<String>) {
        let Some(document) = &mut self.document else {
            return;
        };
        match document.compared(text) {
            OnDisk::Same => {}
            OnDisk::Newer(text) => {
                let taken = document.take_from_disk(text.clone());
                match taken {
                    Ok(()) => self.say("Taken up from the file, which was changed outside."),
                    Err(wrong) => {
                        // Said once: until the file changes again there is nothing new to say.
                        document.keep_mine(text);
                        self.say(format!("The file was changed outside, but: {wrong}"));
                    }
                }
            }
            OnDisk::Clash(text) => self.question = Some(Question::Clash(text)),
        }
    }

    /// Asks for a new picture where the light or the view has changed; a change of amounts needs none.
    fn ask(&mut self, px: [u32; 2], cloth_px: [u32; 2]) {
        let Some(document) = &self.document else {
            return;
        };
        let setup = &document.setup;
        let cloth = self.cloth_wish(setup, cloth_px);
        let same = self
            .asked
            .as_ref()
            .is_some_and(|a| a.px == px && a.cloth == cloth && same_light(&a.setup, setup));
        if same || px.contains(&0) {
            return;
        }
        let setup = Arc::clone(setup);
        self.engine.ask(
            Arc::clone(&setup),
            document.memory.models(),
            px,
            cloth.clone(),
        );
        self.asked = Some(Asked { setup, px, cloth });
    }

    fn cloth_wish(&self, setup: &Setup, px: [u32; 2]) -> Option<ClothWish> {
        let worn = setup
            .figure
            .as_ref()
            .filter(|f| !f.spec.garments.is_empty());
        let own = setup.swatch.as_ref();
        let at_swatch = self.cloth_point == "swatch" || worn.is_none();
        let fabric = match (at_swatch, own, worn) {
            (true, Some(own), _) => own.fabric.clone(),
            (_, _, Some(worn)) => worn.spec.fabric.clone(),
            (_, Some(own), None) => own.fabric.clone(),
            (_, None, None) => return None,
        };
        (!px.contains(&0)).then(|| ClothWish {
            point: if at_swatch && own.is_some() {
                "swatch".into()
            } else {
                self.cloth_point.clone()
            },
            fabric,
            width_m: self.cloth_width_m,
            px,
        })
    }

    /// Works readings and weights out anew from the light that was gathered.
    fn remix(&mut self) {
        let (Some(document), Some(basis)) = (&self.document, &self.shown.basis) else {
            return;
        };
        let exactness = u64::from(basis.exact) + u64::from(basis.edges_known);
        let now = (document.revision, 3 * basis.number + exactness);
        if self.mixed == Some(now) {
            return;
        }
        let started = Instant::now();
        self.mixed = Some(now);
        if !same_light(&basis.setup, &document.setup) {
            // Other light is on its way; until then what there is stands.
            let old = self
                .mix
                .take()
                .map_or_else(|| Arc::new(basis.mix.clone()), |(m, _)| m);
            self.mix = Some((old, false));
            return;
        }
        match mixed(basis, &document.setup) {
            Ok(mix) => self.mix = Some((Arc::new(mix), true)),
            Err(wrong) => self.say(wrong),
        }
        self.remix_took = started.elapsed();
    }

    /// Has the garment in the picture read, beside the window, whenever light or mix have changed.
    fn read_garment(&mut self) {
        let reading = &mut self.garment;
        if let Some(answer) = &reading.answer {
            match answer.try_recv() {
                Err(TryRecvError::Empty) => return,
                Ok(seen) => reading.seen = seen,
                Err(TryRecvError::Disconnected) => {}
            }
            reading.answer = None;
        }
        let (Some((number, view)), Some(layers), Some((mix, true))) =
            (&self.shown.garment, &self.shown.picture, &self.mix)
        else {
            return;
        };
        let of = (layers.version, Arc::as_ptr(mix) as usize);
        if layers.coarse || layers.number != *number || reading.of == Some(of) {
            return;
        }
        reading.of = Some(of);
        let (tell, answer) = channel();
        let (number, view, layers, mix) = (
            *number,
            Arc::clone(view),
            Arc::clone(layers),
            Arc::clone(mix),
        );
        std::thread::spawn(move || {
            let gain = mix.development.gain.map(f64::from);
            let seen = view.read(&layers.layered(), &mix.weights, gain);
            // Nobody may be waiting any more.
            let _ = tell.send(seen.map(|s| (number, s)));
        });
        reading.answer = Some(answer);
    }

    /// What was read of the garment in the picture, and whether it answers the light as it now is.
    pub fn garment(&self) -> Option<(GarmentSeen, bool)> {
        let (number, seen) = self.garment.seen.as_ref()?;
        let fresh = self.mix.as_ref().is_some_and(|(_, fresh)| *fresh);
        let basis = self.shown.basis.as_ref()?;
        Some((*seen, fresh && basis.number == *number))
    }

    /// Types values into keys.
    pub fn edit(&mut self, changes: &[(String, String)], part_of: Option<&str>) {
        let Some(document) = &mut self.document else {
            return;
        };
        if let Err(wrong) = document.edit(changes, part_of) {
            self.say(wrong);
        }
    }

    /// Goes on although there is unsaved work, which is given up.
    pub fn give_up(&mut self, next: Next) {
        if let Some(document) = &mut self.document {
            document.give_up();
        }
        self.do_next(next);
    }

    pub(super) fn do_next(&mut self, next: Next) {
        match next {
            Next::Close => self.closing = true,
            Next::Open(path) => self.open_instead(&path),
        }
    }

    /// The program that makes stills.
    pub fn program(&self) -> Option<&Path> {
        self.around.program.as_deref()
    }

    /// Whether work is going on, so that the window looks again.
    pub fn is_busy(&self) -> bool {
        let checking = self.document.as_ref().is_some_and(Document::is_checking);
        let writing = self.making.is_some() || self.saving.is_some();
        checking || writing || self.opening.is_some()
    }
}

fn mixed(basis: &Basis, setup: &Setup) -> Result<Mix, String> {
    let colours: Result<Vec<_>, _> = setup.lights.iter().map(light_rgb).collect();
    let studio = Studio {
        scene: Default::default(),
        light_rgb: colours.map_err(|e| e.to_string())?,
        efficiency: basis.studio.efficiency.clone(),
        meters: basis.studio.meters.clone(),
        patch: None,
    };
    Mix::new(setup, &studio, &basis.gathered, Expose::Own).map_err(|e| e.to_string())
}
