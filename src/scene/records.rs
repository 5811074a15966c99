//! The records that kernels read, as the build's translation of shaders/core/types.wgsl defines
//! them: one definition for the host, the CPU and (by the layout test) the GPU.
#![allow(missing_docs, clippy::all, clippy::pedantic)]

include!(concat!(env!("OUT_DIR"), "/records.rs"));
