//! Photometry: the lowest layer. Pure functions of numbers and strings, with no I/O.
//!
//! Everything inside is SI and photometric (metres, seconds, lumens, lux-seconds, radians);
//! degrees, millimetres and stops appear only where a name says so. Formulas name their source;
//! values that come from habit and no standard are marked "common practice".

pub mod colour;
pub mod dial;
pub mod exposure;
pub mod flash;
pub mod fnumber;
pub mod lens;
pub mod lm63;
pub mod units;

pub use dial::on_dial;
pub use exposure::MeterConstants;
pub use flash::PowerFraction;
pub use fnumber::{FNumber, Mark};
pub use units::UnitError;
