//! The window: the sheet, alive. It edits the setup and shows the film, through the same library calls
//! as the command line; it holds no truth of its own.

pub mod cell;
pub mod desk;
pub mod document;
pub mod drawing_view;
pub mod engine;
pub mod journal;
pub mod memory;
pub mod mixing;
mod opening;
mod same_light;
mod saving;
pub mod sheet;
pub mod shell;
mod stills;
pub mod theme;
pub mod words;

pub use same_light::same_light;
