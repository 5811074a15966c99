//! Shared by the test files.
#![allow(dead_code)]
pub mod tracing;
