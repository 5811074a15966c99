//! The setup: from the text of a studio setup to checked values in metres.

pub mod frame;
pub mod library;
pub mod model;

pub use frame::Frame;
pub use library::{Capsule, FigureFacts, FigureSpec, Library, ModifierText, UnknownName};
pub use model::*;
