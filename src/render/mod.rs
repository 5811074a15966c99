//! Film layers, the integrator's driver, and the two executors.

pub mod bounce;
pub mod choose;
pub mod cpu;
pub mod driver;
pub mod executor;
pub mod film;
pub mod film_part;
pub mod gpu;
pub mod relay;
pub mod sight;
pub mod steady;
