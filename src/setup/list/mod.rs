//! A shoot list: a day's looks, framings and lightings in one file, and the frames that they make.
//!
//! Each frame is a setup file with keys changed, so all that follows treats it as a setup like any
//! other. [`ShootList::parse`] reads the list; [`ShootList::frames`] lays it out, asking its caller for
//! the setups' texts; [`order`] proposes in which order to shoot.

pub mod arrangement;
pub mod keys;
pub mod moves;
pub mod order;
mod read;
mod spread_out;

pub use arrangement::Arrangement;
pub use moves::{Minutes, Move};

use crate::setup::problem::Problems;
use std::ops::Range;

/// A shoot list as written.
#[derive(Debug, Clone, PartialEq)]
pub struct ShootList {
    /// What the day is called.
    pub title: String,
    /// Anything the crew should know.
    pub notes: String,
    /// The setup that frames start from where nothing nearer names one.
    pub setup: Option<SetupName>,
    /// Whether an order of the day is worked out.
    pub order: DayOrder,
    /// How far readings and tones may lie apart over the set, in stops.
    pub tolerance_stops: f64,
    /// What every frame changes.
    pub common: Changes,
    /// Looks, in the order of the file.
    pub looks: Vec<Entry>,
    /// Framings, likewise.
    pub framings: Vec<Entry>,
    /// Lightings, likewise.
    pub lightings: Vec<Entry>,
    /// Single frames besides.
    pub singles: Vec<Single>,
    /// What changes on set cost.
    pub minutes: Minutes,
    /// The list's own text, for messages that point into it.
    text: String,
    file: String,
}

/// How the day is ordered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DayOrder {
    /// So that the set changes least.
    #[default]
    LeastMoves,
    /// As the list has it.
    AsWritten,
}

/// The path of a setup file, as written, and where that stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetupName {
    /// From the list's folder.
    pub path: String,
    span: Range<usize>,
}

/// A look, a framing or a lighting.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its label.
    pub name: String,
    /// Of a lighting: the setup it starts from.
    pub setup: Option<SetupName>,
    /// What it changes.
    pub changes: Changes,
    /// Of a look: framings and lightings it is taken in; none for all.
    only: [Option<Vec<usize>>; 2],
}

/// A single frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Single {
    entry: Entry,
    look: Option<usize>,
    framing: Option<usize>,
    lighting: Option<usize>,
}

/// What is changed in a setup.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Changes {
    set: Vec<Change>,
    without: Vec<(String, Range<usize>)>,
}

/// One key changed.
#[derive(Debug, Clone, PartialEq)]
struct Change {
    /// As `setup::written` takes it.
    path: String,
    /// The value as TOML.
    typed: String,
    /// Where it stands in the list.
    span: Range<usize>,
}

/// One picture of the day.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Its place in the list, from 0.
    pub index: usize,
    /// Look, framing and lighting in one label, or its own.
    pub name: String,
    /// The look's name; empty where it has none.
    pub look: String,
    /// The framing's name, likewise.
    pub framing: String,
    /// The lighting's name, likewise.
    pub lighting: String,
    /// Whether it stands by itself, besides those that looks make.
    pub single: bool,
    /// The setup file that it starts from, as written.
    pub setup_path: String,
    /// The setup's text with everything changed.
    pub setup_toml: String,
}

impl Frame {
    /// A name for its files: its number from 1, and its label in letters, digits and dashes that every
    /// file system takes.
    pub fn stem(&self) -> String {
        let mut plain = String::new();
        for c in self.name.chars() {
            match c {
                c if c.is_ascii_alphanumeric() => plain.push(c.to_ascii_lowercase()),
                _ if plain.is_empty() || plain.ends_with('-') => {}
                _ => plain.push('-'),
            }
        }
        plain.truncate(60);
        let plain = plain.trim_end_matches('-');
        match plain {
            "" => format!("{:03}", self.index + 1),
            plain => format!("{:03}-{plain}", self.index + 1),
        }
    }
}

impl ShootList {
    /// Reads the text of a list; `file` is how messages call it.
    ///
    /// # Errors
    /// Every problem found, each with its place and what to type.
    pub fn parse(text: &str, file: &str) -> Result<Self, Problems> {
        read::read(text, file)
    }

    /// Lays the list out: looks outermost, then lightings, then framings, then the single frames.
    /// `read` gives the text of a setup file by its path as written, or says why it cannot.
    ///
    /// # Errors
    /// Every problem found: setups that cannot be read, keys that they do not have.
    pub fn frames(
        &self,
        read: &dyn Fn(&str) -> Result<String, String>,
    ) -> Result<Vec<Frame>, Problems> {
        spread_out::frames(self, read)
    }
}
