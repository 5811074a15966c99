//! The sheet: what goes to the client, the stylist and the assistant.
//!
//! [`Sheet::new`] gathers the content of a metered setup and its finished picture; [`pdf()`] sets any
//! number of sheets on paper, [`Book`] one after the other, with the day before them; [`html()`] makes one file that works by itself and whose picture can be
//! mixed anew. Both say the same. The words are in `report::labels`.

mod build_order;
mod cautions;
mod content;
mod day_page;
mod drawings;
mod figures;
mod fonts;
mod html;
mod kept;
mod layers;
mod page;
mod paper;
mod pdf;
mod placement;
mod readings;
mod set;
mod woff;

pub use super::labels::date as date_in_words;
pub use content::{
    Cell, ClothPictures, ClothSeen, Column, Drawn, Fact, Image, Seen, Sheet, SheetTable, Step,
};
pub use day_page::{DayPage, DayStop};
pub use figures::day_of;
pub use html::html;
pub use layers::{KELVINS, Live, LiveLayer};
pub use paper::Paper;
pub use pdf::{Book, pdf};
