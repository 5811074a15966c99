//! What the system tells of this process.

use std::fs;

/// Processor seconds spent so far, where the system tells.
pub fn processor_s() -> Option<f64> {
    let stat = fs::read_to_string("/proc/self/stat").ok()?;
    let after_name = stat.rsplit_once(')')?.1;
    let mut ticks = after_name
        .split_whitespace()
        .skip(11)
        .map(|t| t.parse::<f64>().ok());
    // Linux counts these in hundredths of a second, whatever its clock.
    Some((ticks.next()?? + ticks.next()??) * 0.01)
}
