//! Setups on their way to the desk: read from disk, checked, and their figure found or built, all beside the
//! window, which goes on with what it has.

use super::desk::{Desk, Next, Question};
use super::document::{Document, OpenError};
use super::journal::{Journal, Left};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// One that is on its way.
pub(super) struct Opening {
    source: Source,
    answer: Receiver<Result<Opened, OpenError>>,
    /// The unsaved text that was given up for it, if any.
    given_up: Option<String>,
}

#[derive(Clone)]
enum Source {
    /// A setup file, or a still that carries one.
    File(PathBuf),
    /// A text that has no file yet.
    New(String),
}

struct Opened {
    document: Document,
    /// Unsaved work of an earlier window on it.
    left: Option<Left>,
    /// Whether its set is being built already.
    prepared: bool,
}

/// What an earlier window left of a setup that had no file, as far as that is known.
pub(super) enum Behind {
    /// Being looked for.
    Looking(Receiver<Option<Left>>),
    /// What there is.
    Known(Option<Left>),
}

impl Desk {
    /// Opens a setup, or a still that carries one; asks first where there is unsaved work. It comes onto the desk
    /// once it has been read ([`Desk::receive`]).
    pub fn open(&mut self, path: &Path) {
        if self.document.as_ref().is_some_and(Document::is_unsaved) {
            self.question = Some(Question::Unsaved(Next::Open(path.to_path_buf())));
            return;
        }
        self.begin(Source::File(path.to_path_buf()), None);
    }

    /// Opens it although there is unsaved work, which was given up.
    pub(super) fn open_instead(&mut self, path: &Path) {
        let given_up = self.document.as_ref().map(|d| d.text().to_owned());
        self.begin(Source::File(path.to_path_buf()), given_up);
    }

    /// Puts a new setup on the desk, not yet in a file, once it has been checked.
    pub fn start_new(&mut self, text: String) {
        self.begin(Source::New(text), None);
    }

    fn begin(&mut self, source: Source, given_up: Option<String>) {
        let (tell, answer) = channel();
        let (models, journal) = (Arc::clone(&self.around.models), self.around.journal.clone());
        let (its, wake) = (source.clone(), Arc::clone(&self.wake));
        // Where nothing else is to be seen the set is built while the window itself still opens.
        let ahead = self.document.is_none().then(|| self.engine.ahead());
        std::thread::spawn(move || {
            let opened = match its {
                Source::File(path) => {
                    let journal = Journal::of(journal.as_deref(), Some(&path));
                    let left = journal.left();
                    Document::open(&path, models(&path), journal).map(|document| Opened {
                        left: left.filter(|l| l.text != document.text()),
                        document,
                        prepared: ahead.is_some(),
                    })
                }
                Source::New(text) => {
                    let journal = Journal::of(journal.as_deref(), None);
                    let models = models(Path::new("new.toml"));
                    Document::new(None, "a new setup".into(), text, models, journal).map(
                        |document| Opened {
                            document,
                            left: None,
                            prepared: ahead.is_some(),
                        },
                    )
                }
            };
            if let (Some(ahead), Ok(Opened { document, .. })) = (ahead, &opened) {
                ahead.prepare(Arc::clone(&document.setup), document.memory.models());
            }
            // Nobody may be waiting any more.
            let _ = tell.send(opened);
            wake();
        });
        self.opening = Some(Opening {
            source,
            answer,
            given_up,
        });
    }

    /// What is on its way to the desk, as messages call it.
    pub fn opening(&self) -> Option<String> {
        self.opening.as_ref().map(|o| match &o.source {
            Source::File(path) => path.display().to_string(),
            Source::New(_) => "the new setup".to_owned(),
        })
    }

    /// Takes up what has come, if anything; to be called once a frame.
    pub fn receive(&mut self) {
        let Some(opening) = &self.opening else {
            return;
        };
        let came = match opening.answer.try_recv() {
            Err(TryRecvError::Empty) => return,
            Ok(came) => came.map_err(|e| e.to_string()),
            Err(TryRecvError::Disconnected) => Err("it could not be read".into()),
        };
        let Some(Opening {
            source, given_up, ..
        }) = self.opening.take()
        else {
            return;
        };
        let Opened {
            document,
            left,
            prepared,
        } = match came {
            Ok(opened) => opened,
            Err(wrong) => return self.say(wrong),
        };
        // Work that was begun while it was read.
        let unsaved = self.document.as_ref().filter(|d| d.is_unsaved());
        if let (Some(unsaved), Source::File(path)) = (unsaved, &source)
            && given_up.as_deref() != Some(unsaved.text())
        {
            self.question = Some(Question::Unsaved(Next::Open(path.clone())));
            return;
        }
        // A journal that is just being cleared may still have been there.
        let left = left.filter(|l| given_up.as_deref() != Some(&*l.text));
        self.put(document, prepared);
        self.question = left.map(Question::Restore);
    }

    /// Unsaved work that an earlier window left of a setup that had no file, once that is known.
    pub fn left_behind(&mut self) -> Option<Left> {
        if let Behind::Looking(answer) = &self.behind {
            match answer.try_recv() {
                Err(TryRecvError::Empty) => {}
                found => self.behind = Behind::Known(found.ok().flatten()),
            }
        }
        match &self.behind {
            Behind::Known(left) => left.clone(),
            Behind::Looking(_) => None,
        }
    }

    /// Looks for it anew.
    pub(super) fn look_behind(&mut self) {
        self.behind = Behind::of(self.around.journal.clone(), Arc::clone(&self.wake));
    }
}

impl Behind {
    pub(super) fn of(folder: Option<PathBuf>, wake: Arc<dyn Fn() + Send + Sync>) -> Self {
        let Some(folder) = folder else {
            return Self::Known(None);
        };
        let (tell, answer) = channel();
        std::thread::spawn(move || {
            // Nobody may be waiting any more.
            let _ = tell.send(Journal::of(Some(&folder), None).left());
            wake();
        });
        Self::Looking(answer)
    }
}
