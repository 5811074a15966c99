//! Swatchlight traces the light that studio modifiers really make onto a stand-in figure and
//! a true-scale cloth swatch, and gives the meter readings.
//!
//! A setup file goes in ([`setup`]), light is traced ([`scene`], [`render`]), numbers and
//! pictures come out ([`measure`], [`report`]). DEVELOPERS.md draws the map.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

pub mod app;
pub mod fabric;
pub mod figure;
pub mod measure;
pub mod optics;
pub mod photometry;
pub mod render;
pub mod report;
pub mod scene;
pub mod setup;
