//! How much work to hand over at once.

use std::time::Duration;

/// What a dispatch should take. Drivers reset a device after about 2 s; a display's frame is 17 ms.
const SLICE: Duration = Duration::from_millis(25);
/// The same for a stand-in on the processor, which nothing resets and where small slices cost most.
const SOFTWARE_SLICE: Duration = Duration::from_millis(250);
/// First guess at what fits a slice, path samples: little enough for a weak device.
const FIRST_GUESS: u64 = 1 << 16;

/// Learns from each slice how many path samples fit the next.
#[derive(Debug)]
pub struct Pace {
    slice: Duration,
    samples_in_slice: u64,
}

impl Pace {
    /// Knows nothing yet.
    pub fn new(software: bool) -> Self {
        Self {
            slice: if software { SOFTWARE_SLICE } else { SLICE },
            samples_in_slice: FIRST_GUESS,
        }
    }

    /// Rows for the next band of `width` pixels: as many as fit a slice at one sample each, evenly
    /// over what remains, in whole tiles of eight where there are several.
    pub fn rows(&self, width: u32, remaining: u32, most: u64) -> u32 {
        let fit =
            (self.samples_in_slice / u64::from(width)).clamp(1, most.min(remaining.into())) as u32;
        let even = remaining.div_ceil(remaining.div_ceil(fit));
        let tiled = even.next_multiple_of(8);
        if tiled <= fit { tiled } else { even }
    }

    /// How many of `remaining` samples of each of `pixels` to do next.
    pub fn samples(&self, pixels: u64, remaining: u32) -> u32 {
        (self.samples_in_slice / pixels.max(1)).clamp(1, remaining.max(1).into()) as u32
    }

    /// Takes note that so many samples took so long; or, unless `exact`, no longer than that. A
    /// short slice does not fill the device, so growth goes by steps.
    pub fn note(&mut self, samples: u64, took: Duration, exact: bool) {
        let fit = samples as f64 * self.slice.as_secs_f64() / took.as_secs_f64().max(1e-6);
        let least = if exact { 1 } else { self.samples_in_slice };
        self.samples_in_slice = (fit as u64).clamp(least, self.samples_in_slice.saturating_mul(8));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Slices settle at their length on a fast device and on a slow one.
    #[test]
    fn slices_settle() {
        for (per_second, overhead_s) in [(3e8, 2e-4), (2e5, 1e-3)] {
            let mut pace = Pace::new(false);
            let mut took = 0.0;
            for _ in 0..12 {
                let rows = pace.rows(1920, 1080, 4000);
                let pixels = 1920 * u64::from(rows);
                let n = pace.samples(pixels, 64);
                took = (pixels * u64::from(n)) as f64 / per_second + overhead_s;
                pace.note(pixels * u64::from(n), Duration::from_secs_f64(took), true);
            }
            assert!(
                took > 0.012 && took < 0.04,
                "{took} s at {per_second} samples/s"
            );
        }
    }

    /// Bands cover the rows, evenly, within the limit.
    #[test]
    fn bands_cover() {
        let mut pace = Pace::new(false);
        pace.samples_in_slice = 1 << 19;
        for (height, most) in [(1080, 4000), (1, 4000), (7, 3), (640, 100)] {
            let mut row = 0;
            while row < height {
                let rows = pace.rows(1920, height - row, most);
                assert!(rows >= 1 && u64::from(rows) <= most && row + rows <= height);
                row += rows;
            }
        }
        // 273 rows fit; four bands of 270, in whole tiles.
        assert_eq!(pace.rows(1920, 1080, 4000), 272);
    }
}
