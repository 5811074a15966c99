//! A fabric's data page.

pub mod draft_drawing;
pub mod section;
