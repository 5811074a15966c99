//! How a command ends.

use swatchlight::measure::take::TakeError;
use swatchlight::render::executor::ExecutorError;
use swatchlight::report::StillError;
use swatchlight::setup::Problems;

/// The program's exit codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// All done.
    Done,
    /// It failed while working.
    Failed,
    /// The command line or an input is wrong.
    Wrong,
    /// Interrupted by the user.
    Interrupted,
}

impl Exit {
    /// What the shell sees.
    pub fn code(self) -> u8 {
        match self {
            Exit::Done => 0,
            Exit::Failed => 1,
            Exit::Wrong => 2,
            Exit::Interrupted => 130,
        }
    }
}

/// Why a command did not get done.
#[derive(Debug)]
pub enum Failure {
    /// Mistakes in a setup, each with its place.
    Problems(Problems),
    /// One thing, with what to do about it.
    Message {
        exit: Exit,
        what: String,
        hint: Option<String>,
    },
    /// Whoever read stdout has gone; there is nobody to tell and nothing wrong.
    ReaderGone,
}

impl Failure {
    /// The command line or an input is wrong.
    pub fn wrong(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Failure::Message {
            exit: Exit::Wrong,
            what: what.into(),
            hint: Some(hint.into()),
        }
    }

    /// Stopped before there was anything to give.
    pub fn interrupted(what: impl Into<String>) -> Self {
        Failure::Message {
            exit: Exit::Interrupted,
            what: what.into(),
            hint: None,
        }
    }

    /// Something failed while working.
    pub fn working(what: impl Into<String>) -> Self {
        Failure::Message {
            exit: Exit::Failed,
            what: what.into(),
            hint: None,
        }
    }

    /// A message that says what to do after a semicolon.
    fn with_hint_inside(exit: Exit, text: &str) -> Self {
        let (what, hint) = match text.split_once("; ") {
            Some((what, hint)) => (what, Some(hint.to_owned())),
            None => (text, None),
        };
        Failure::Message {
            exit,
            what: what.to_owned(),
            hint,
        }
    }
}

impl From<TakeError> for Failure {
    fn from(error: TakeError) -> Self {
        match error {
            TakeError::Executor(e) => e.into(),
            wrong => Failure::with_hint_inside(Exit::Wrong, &wrong.to_string()),
        }
    }
}

impl From<ExecutorError> for Failure {
    fn from(error: ExecutorError) -> Self {
        Failure::with_hint_inside(Exit::Failed, &error.to_string())
    }
}

impl From<StillError> for Failure {
    fn from(error: StillError) -> Self {
        let exit = match error {
            StillError::DiskFull(_)
            | StillError::Mismatch(_)
            | StillError::Encode { .. }
            | StillError::Io { .. } => Exit::Failed,
            _ => Exit::Wrong,
        };
        Failure::Message {
            exit,
            what: error.to_string(),
            hint: error.hint(),
        }
    }
}
