//! Film layers, the integrator's driver, and the two executors.

pub mod cpu;
pub mod driver;
pub mod executor;
pub mod film;
