//! Film layers, the integrator's driver, and the two executors.

pub mod blocks;
pub mod bounce;
pub mod choose;
pub mod cpu;
pub mod driver;
pub mod even;
pub mod executor;
pub mod film;
pub mod film_part;
pub mod gpu;
pub mod relay;
pub mod sight;
pub mod steady;
