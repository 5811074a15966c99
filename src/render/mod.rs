//! Film layers, the integrator's driver, and the two executors.
pub mod kernels;
