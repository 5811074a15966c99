//! The setup: from the text of a studio setup to checked values in metres.
//!
//! [`parse()`] reads the TOML of a setup, fills in defaults, works out positions and
//! directions, and checks that the set can be built. It reports every problem at once,
//! each with its place and what to type. It does no input or output: names of figures,
//! fabrics and modifier files are answered by a [`Library`] handed in.

pub mod camera;
mod check;
pub mod differ;
mod fits;
pub mod frame;
pub mod keys;
pub mod library;
pub mod list;
mod measured;
pub mod model;
pub mod modifier;
mod parse;
mod place;
pub mod problem;
mod quantity;
mod read_board;
mod read_bowl;
mod read_box;
mod read_camera;
mod read_extras;
mod read_lamp;
mod read_lens;
mod read_light;
mod read_meter;
mod read_modifier;
mod read_room;
mod read_scale;
mod read_subject;
mod reader;
mod shapes;
pub mod templates;
mod values;
mod write;
mod write_modifier;
pub mod written;

pub use frame::Frame;
pub use library::{
    Capsule, FigureFacts, FigureSpec, Library, Looks, ModifierText, PhotometricFile, UnknownName,
    Wind, Worn,
};
pub use measured::MeasuredField;
pub use model::*;
pub use parse::{
    Checked, Options, parse, parse_bytes, parse_modifier, parse_modifier_with, parse_with,
};
pub use problem::{Kind, Problem, Problems, Severity, toml_reason};
pub use read_extras::cloth_words;
pub use write::{figure_toml, to_toml};
