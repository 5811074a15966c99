//! What is read from the light: meter readings, powers that meet targets, evenness, ratios, the
//! shadow edge. Everything is read from traced linear light, with its statistical error.

pub mod balance;
pub mod beam;
pub mod cloth_at;
pub mod cloth_moire;
pub mod consistency;
pub mod day;
pub mod edge;
pub mod fabric_page;
pub mod garment;
pub mod gather;
pub mod modifier_page;
pub mod moire;
pub mod readings;
pub mod swatch_view;
pub mod take;
pub mod tones;
pub mod turntable;
pub mod vary;
pub mod weave_contrast;
