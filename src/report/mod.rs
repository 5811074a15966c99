//! Finished pictures on disk: reading and writing stills.
//!
//! A [`Picture`] is linear light, one layer per light. [`open_still`] turns it into a file by the
//! extension of its path (PNG, EXR, JPEG, TIFF), band by band from the top, with the setup and
//! the readings inside; [`write_still`] does so with a whole picture at once. [`read_still`]
//! takes the setup back out. [`drawing`] holds drawings on paper, [`plan`] draws a setup from above and from the side. Files appear whole or not at all ([`WholeFile`]).

pub mod compare;
pub mod contact;
pub mod contact_sheet;
mod develop;
pub mod drawing;
mod error;
pub mod fabric_page;
mod labels;
mod metadata;
mod mixed;
pub mod modifier_page;
mod page;
mod picture;
pub mod plan;
pub mod sheet;
mod shrink;
mod srgb_icc;
mod still_exr;
mod still_jpeg;
mod still_png;
mod still_read;
mod still_sink;
mod still_tiff;
pub mod swatch_page;
mod whole_file;

pub use develop::{BitDepth, DisplayImage, develop};
pub use error::StillError;
pub use metadata::{Exposure, Metadata, Rendering};
pub use mixed::{hand_over, mixed};
pub use page::{PageFormat, write_page};
pub use picture::{Development, Layer, Picture, PictureShape};
pub use shrink::shrink;
pub use srgb_icc::srgb_icc_profile;
pub use still_exr::exr_layer_names;
pub use still_read::{Embedded, is_still, read_still, read_still_from};
pub use still_sink::{StillFormat, StillOptions, StillSink, open_still, write_still};
pub use whole_file::{Overwrite, WholeFile, WholeWriter, discard_unfinished, write_whole};
