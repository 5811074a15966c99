//! F-numbers: exact series, printed marks, and the reading a meter shows.
//!
//! A stop is a factor of two in exposure, so a factor of √2 in f-number: the aperture value is
//! `Av = 2 log2 N` (APEX, as in EXIF 2.3 Annex C). The marks printed on cameras and meters are
//! rounded, by up to 0.14 stop; so exact powers are computed and marks only printed.

use std::fmt;

use serde::Serialize;

/// An f-number: a positive, finite ratio of focal length to aperture.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct FNumber(f64);

impl FNumber {
    /// The least f-number the type holds; anything darker is "no light".
    pub const LEAST: f64 = 1e-6;
    /// The greatest f-number the type holds.
    pub const GREATEST: f64 = 1e6;

    /// The f-number as given, with no rounding to a series. `None` unless it lies between
    /// [`FNumber::LEAST`] and [`FNumber::GREATEST`].
    pub fn exact(n: f64) -> Option<Self> {
        (Self::LEAST..=Self::GREATEST)
            .contains(&n)
            .then_some(Self(n))
    }

    /// The exact third-stop value nearest to a printed mark: 7.1 gives 2^(17/6) = 7.1272.
    ///
    /// Meant for full and third-stop marks (8, 9, 3.5 or 3.6, 29 or 28); every mark of that series
    /// lies within 0.141 stop of its own exact value, so the nearest one is always the one meant.
    pub fn from_mark(mark: f64) -> Option<Self> {
        Self::exact(mark).and_then(|n| Self::from_thirds(n.nearest_third()))
    }

    /// `N = 2^(stops/2)`, counted from f/1.
    pub fn from_stops(stops: f64) -> Option<Self> {
        Self::exact((stops / 2.0).exp2())
    }

    /// The exact third-stop series, counted from f/1: 18 is f/8, 19 is f/8.98.
    pub fn from_thirds(thirds: i32) -> Option<Self> {
        Self::from_stops(f64::from(thirds) / 3.0)
    }

    /// The exact half-stop series, counted from f/1.
    pub fn from_halves(halves: i32) -> Option<Self> {
        Self::from_stops(f64::from(halves) / 2.0)
    }

    /// The exact tenth-stop series, counted from f/1: 64 is "f/8 and 4 tenths", 9.1896.
    pub fn from_tenths(tenths: i32) -> Option<Self> {
        Self::from_stops(f64::from(tenths) / 10.0)
    }

    /// The number itself.
    pub fn value(self) -> f64 {
        self.0
    }

    /// The aperture value `Av = 2 log2 N`, in stops from f/1.
    pub fn stops(self) -> f64 {
        2.0 * self.0.log2()
    }

    /// The f-number this many stops smaller in aperture (positive stops give a larger number).
    pub fn offset(self, stops: f64) -> Option<Self> {
        Self::exact(self.0 * (stops / 2.0).exp2())
    }

    /// The nearest place in the third-stop series, counted from f/1.
    pub fn nearest_third(self) -> i32 {
        (self.stops() * 3.0).round() as i32
    }

    /// The printed third-stop mark nearest to the value: 7.80 gives 8.
    pub fn nearest_mark(self) -> f64 {
        third_mark(self.nearest_third())
    }

    /// The reading as a third-stop mark and what remains in tenths of a stop, 0 to 3.
    ///
    /// Where it lies within half a tenth of a mark, whether as printed or as its exact value, it is that
    /// mark and nothing more. Else the mark is the highest whose exact value is below this one, and what
    /// remains goes to the nearest of 1, 2 or 3 tenths. f/9.19 is "f/9" and 1 tenth; f/8.97 is "f/9" and
    /// 0, as is f/9 as printed, though exact values put that 8.98.
    pub fn mark(self) -> Mark {
        let below = (self.stops() * 3.0).floor() as i32;
        let marked = |thirds: i32, tenths: i32| Mark {
            mark: mark_text(third_mark(thirds)),
            tenths,
        };
        if let Some(thirds) = [below + 1, below].into_iter().find(|t| self.is_at(*t)) {
            return marked(thirds, 0);
        }
        let rest_stops = self.stops() - f64::from(below) / 3.0;
        marked(below, ((rest_stops * 10.0).round() as i32).clamp(1, 3))
    }

    /// Whether this lies within half a tenth of a stop of a third-stop mark, from its printed to its exact
    /// value.
    fn is_at(self, thirds: i32) -> bool {
        const HALF_A_TENTH: f64 = 0.05;
        let exact = f64::from(thirds) / 3.0;
        let printed = 2.0 * third_mark(thirds).log2();
        let held = exact.min(printed) - HALF_A_TENTH..=exact.max(printed) + HALF_A_TENTH;
        held.contains(&self.stops())
    }

    /// The reading as meters show it by common practice: a full-stop mark and 0 to 9 tenths.
    /// f/9.19 is "f/8" and 4 tenths.
    pub fn full_stop_reading(self) -> Mark {
        let tenths = (self.stops() * 10.0).round() as i32;
        Mark {
            mark: mark_text(third_mark(3 * tenths.div_euclid(10))),
            tenths: tenths.rem_euclid(10),
        }
    }

    /// The reading of several lights together, from each read alone: `√ΣN²`, because N² goes
    /// with exposure and exposures add. `None` for no lights.
    pub fn sum_of(readings: &[Self]) -> Option<Self> {
        Self::exact(readings.iter().map(|n| n.0 * n.0).sum::<f64>().sqrt())
    }
}

impl fmt::Display for FNumber {
    /// "f/9.19": three significant digits, not rounded to a series.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&mark_text(self.0))
    }
}

/// A reading on a meter's scale: a printed mark and the tenths of a stop beyond it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Mark {
    /// The mark as printed: "f/7.1".
    pub mark: String,
    /// Tenths of a stop beyond the mark's exact value.
    pub tenths: i32,
}

impl fmt::Display for Mark {
    /// "f/8" or "f/8 and 4 tenths"; [`super::units::f_number`] reads both.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.tenths {
            0 => f.write_str(&self.mark),
            1 => write!(f, "{} and 1 tenth", self.mark),
            tenths => write!(f, "{} and {tenths} tenths", self.mark),
        }
    }
}

/// Third-stop marks from f/1 to f/64 (common practice; 1.3, 3.6 and 28 are also engraved).
const THIRD_MARKS: [f64; 37] = [
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0,
    9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0, 36.0, 40.0, 45.0, 51.0,
    57.0, 64.0,
];

/// Half-stop marks between the full stops, f/1.2 to f/27 (common practice).
const HALF_MARKS: [f64; 10] = [1.2, 1.7, 2.4, 3.3, 4.8, 6.7, 9.5, 13.0, 19.0, 27.0];

/// The printed mark at a place in the third-stop series, counted from f/1.
///
/// Beyond f/64 and below f/1 the marks nearest inside double or halve (two stops are a factor of
/// two in f-number): f/72, f/80, f/90; f/0.9, f/0.8, f/0.7. They are rounded to the three digits that
/// are printed, as f/0.138 is.
pub fn third_mark(thirds: i32) -> f64 {
    extended(&THIRD_MARKS, thirds, 6)
}

/// The printed mark at a place in the full-stop series, counted from f/1.
pub fn full_mark(stops: i32) -> f64 {
    third_mark(stops.saturating_mul(3))
}

/// The printed mark at a place in the half-stop series, counted from f/1.
pub fn half_mark(halves: i32) -> f64 {
    if halves.rem_euclid(2) == 0 {
        full_mark(halves.div_euclid(2))
    } else {
        extended(&HALF_MARKS, halves.div_euclid(2), 2)
    }
}

/// `table[place]`, doubled or halved from the nearest entry `period` places away where it is off
/// the table, to the digits of [`mark_text`]: a reading must mean what its print says.
fn extended(table: &[f64], place: i32, period: i32) -> f64 {
    let last = table.len() as i32 - 1;
    let outside = (place.saturating_sub(last)).max(0) - place.saturating_neg().max(0);
    let octaves = if outside >= 0 {
        (outside.saturating_add(period - 1)) / period
    } else {
        (outside.saturating_sub(period - 1)) / period
    };
    let inside = (i64::from(place) - i64::from(octaves) * i64::from(period)) as usize;
    let whole = table[inside.min(table.len() - 1)] * f64::from(octaves).exp2();
    match octaves {
        0 => whole,
        _ => digits_text(whole).parse().unwrap_or(whole),
    }
}

/// "f/7.1": up to three significant digits, no trailing zeros.
fn mark_text(mark: f64) -> String {
    let digits = digits_text(mark);
    let digits = match digits.contains('.') {
        true => digits.trim_end_matches('0').trim_end_matches('.'),
        false => &digits,
    };
    format!("f/{digits}")
}

/// Three significant digits, all of them before the decimal point where there are more.
fn digits_text(mark: f64) -> String {
    let decimals = (2.0 - mark.log10().floor()).clamp(0.0, 12.0) as usize;
    format!("{mark:.decimals$}")
}
