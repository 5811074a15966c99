//! The light-transport kernels, translated from shaders/core by the build.
#![allow(missing_docs, unused_parens, unused_mut, unused_variables, unused_assignments, unreachable_code, unused_labels, dead_code, clippy::all, clippy::pedantic)]

use super::records::*;

include!(concat!(env!("OUT_DIR"), "/kernels.rs"));
