//! Film layers, the integrator's driver, and the two executors.

pub mod cpu;
pub mod executor;
pub mod film;
