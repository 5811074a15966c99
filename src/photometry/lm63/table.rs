//! Intensities over two angles: what lists of angles are allowed, and what lies between.

use std::f64::consts::{PI, TAU};
use std::fmt;

use thiserror::Error;

/// How far an angle may lie off another, degrees, and still be it.
const SAME_DEG: f64 = 1e-6;
/// How far beyond the last angle rounding may carry a direction, degrees.
const SLACK_DEG: f64 = 2e-6;
/// No luminaire is brighter, cd; far below where products of the factors would overflow.
pub(super) const MOST_CANDELA: f64 = 1e15;

/// A coordinate system for directions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goniometry {
    /// 1: vertical angles from straight down, horizontal ones about the vertical axis,
    /// counterclockwise. Nearly all files.
    C,
    /// 2: planes share a level axis; vertical angles turn about it, horizontal ones lie in the
    /// planes. Floodlights.
    B,
    /// 3: planes share the vertical axis; 0, 0 is straight ahead. Vehicle lamps.
    A,
}

/// One of the two lists of angles.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AngleList {
    /// Vertical angles.
    Vertical,
    /// Horizontal angles.
    Horizontal,
}

/// What is wrong with a list of angles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AngleFault {
    /// In which list.
    pub list: AngleList,
    /// At which angle, from 0.
    pub index: usize,
    /// What is wrong.
    pub message: String,
    /// What to write.
    pub hint: &'static str,
}

/// Why intensities are no table.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TableError {
    /// The angles are in no order that the standard has.
    #[error("{}: {}", .0.message, .0.hint)]
    Angles(AngleFault),
    /// Not one intensity for each pair of angles.
    #[error("{found} intensities, but the angles make {wanted}")]
    Count {
        /// Intensities given.
        found: usize,
        /// Pairs of angles.
        wanted: usize,
    },
    /// Negative, not finite, or absurdly bright.
    #[error("intensity {index} is {value} cd: give a number from 0 to 1e15")]
    Candela {
        /// From 0.
        index: usize,
        /// As given.
        value: f64,
    },
}

/// Intensities over the file's own angles, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    goniometry: Goniometry,
    vertical_deg: Vec<f64>,
    horizontal_deg: Vec<f64>,
    candela: Vec<f64>,
}

impl Table {
    /// Takes ascending angles in degrees and one intensity for each pair, horizontal angle by
    /// horizontal angle.
    ///
    /// Type C: vertical angles from 0 or 90, up to 180 at most; horizontal ones 0 alone (the same
    /// all round), or from 0 to 90 (four like quarters), to 180 (alike on both sides of the plane
    /// of zero), to 360 (the circle closes by itself where the last is less), or from 90 to 270
    /// (alike on both sides of the plane of 90). Types A and B: both within ±90, horizontal ones
    /// from 0 where left and right are alike.
    pub fn new(
        goniometry: Goniometry,
        vertical_deg: Vec<f64>,
        horizontal_deg: Vec<f64>,
        candela: Vec<f64>,
    ) -> Result<Self, TableError> {
        check_angles(goniometry, AngleList::Vertical, &vertical_deg).map_err(TableError::Angles)?;
        check_angles(goniometry, AngleList::Horizontal, &horizontal_deg)
            .map_err(TableError::Angles)?;
        let wanted = vertical_deg.len().saturating_mul(horizontal_deg.len());
        let found = candela.len();
        if found != wanted {
            return Err(TableError::Count { found, wanted });
        }
        match candela.iter().position(|v| !is_intensity(*v)) {
            Some(index) => Err(TableError::Candela {
                index,
                value: candela[index],
            }),
            None => Ok(Self {
                goniometry,
                vertical_deg,
                horizontal_deg,
                candela,
            }),
        }
    }

    /// The same with every intensity rounded to so many significant digits, for shorter files.
    pub fn rounded(mut self, digits: usize) -> Self {
        for value in &mut self.candela {
            let text = format!("{:.*e}", digits.clamp(1, 17) - 1, *value);
            *value = text.parse().unwrap_or(*value);
        }
        self
    }

    /// Whose angles these are.
    pub fn goniometry(&self) -> Goniometry {
        self.goniometry
    }

    /// Vertical angles, ascending.
    pub fn vertical_deg(&self) -> &[f64] {
        &self.vertical_deg
    }

    /// Horizontal angles, ascending.
    pub fn horizontal_deg(&self) -> &[f64] {
        &self.horizontal_deg
    }

    /// Intensities over the vertical angles, for each horizontal angle in turn.
    pub fn planes(&self) -> impl Iterator<Item = &[f64]> {
        self.candela.chunks_exact(self.vertical_deg.len())
    }

    /// The largest entry.
    pub(super) fn peak(&self) -> f64 {
        self.candela.iter().copied().fold(0.0, f64::max)
    }

    /// The value in a direction about the aim, as for `Photometry::intensity_cd`.
    pub(super) fn at(&self, theta_rad: f64, phi_rad: f64) -> f64 {
        if !(0.0..=PI + 1e-9).contains(&theta_rad) || !phi_rad.is_finite() {
            return 0.0;
        }
        // The aim is z; x lies in the plane of zero.
        let x = theta_rad.sin() * phi_rad.cos();
        let y = theta_rad.sin() * phi_rad.sin();
        let z = theta_rad.cos();
        // Horizontal angles of types A and B run clockwise, hence -y (LM-63-2002, definitions;
        // the conversion is that of LM-75, from memory).
        let (vertical, horizontal) = match self.goniometry {
            Goniometry::C => (theta_rad, phi_rad.rem_euclid(TAU)),
            Goniometry::B => (x.atan2(z), (-y).clamp(-1.0, 1.0).asin()),
            Goniometry::A => (x.clamp(-1.0, 1.0).asin(), (-y).atan2(z)),
        };
        self.at_own_deg(vertical.to_degrees(), horizontal.to_degrees())
    }

    /// The value at the file's own angles; horizontal ones of type C from 0 to 360.
    fn at_own_deg(&self, vertical_deg: f64, horizontal_deg: f64) -> f64 {
        let Some((row, up)) = bracket(&self.vertical_deg, vertical_deg) else {
            return 0.0;
        };
        let Some((plane, next, across)) = self.between_planes(horizontal_deg) else {
            return 0.0;
        };
        let along = |plane: usize| {
            let start = plane * self.vertical_deg.len() + row;
            mix(self.candela[start], self.candela[start + 1], up)
        };
        mix(along(plane), along(next), across)
    }

    /// The planes to both sides of a horizontal angle, and where between them it lies.
    fn between_planes(&self, horizontal_deg: f64) -> Option<(usize, usize, f64)> {
        let angles = &self.horizontal_deg;
        let folded = match self.goniometry {
            Goniometry::C => self.fold(horizontal_deg),
            _ if angles[0] == 0.0 => horizontal_deg.abs(),
            _ => horizontal_deg,
        };
        let last = angles.len() - 1;
        if last == 0 {
            return Some((0, 0, 0.0));
        }
        if self.closes_itself() && folded > angles[last] {
            let across = (folded - angles[last]) / (360.0 - angles[last]);
            return Some((last, 0, across));
        }
        bracket(angles, folded).map(|(plane, across)| (plane, plane + 1, across))
    }

    /// The angle of the file that stands for one from 0 to 360 (type C).
    fn fold(&self, horizontal_deg: f64) -> f64 {
        let mirrored = |angle: f64| if angle > 180.0 { 360.0 - angle } else { angle };
        match self.turn() {
            Turn::Quarter => {
                let half = mirrored(horizontal_deg);
                if half > 90.0 { 180.0 - half } else { half }
            }
            Turn::HalfAboutZero => mirrored(horizontal_deg),
            // The mirror image of φ in the plane of 90 is 180 - φ.
            Turn::HalfAboutNinety if horizontal_deg < 90.0 => 180.0 - horizontal_deg,
            Turn::HalfAboutNinety if horizontal_deg > 270.0 => 540.0 - horizontal_deg,
            _ => horizontal_deg,
        }
    }

    fn turn(&self) -> Turn {
        let last = self.horizontal_deg[self.horizontal_deg.len() - 1];
        match self.horizontal_deg.len() {
            1 => Turn::Round,
            _ if is(self.horizontal_deg[0], 90.0) => Turn::HalfAboutNinety,
            _ if is(last, 90.0) => Turn::Quarter,
            _ if is(last, 180.0) => Turn::HalfAboutZero,
            _ => Turn::Full,
        }
    }

    /// Whether the planes go all round without a last one at 360.
    fn closes_itself(&self) -> bool {
        let last = self.horizontal_deg[self.horizontal_deg.len() - 1];
        self.goniometry == Goniometry::C && self.turn() == Turn::Full && last < 360.0
    }

    /// The integral over the longitude at each latitude: angles from the system's pole, rad,
    /// ascending, and cd rad. Exact for values linear in the longitude.
    pub(super) fn by_latitude(&self) -> (Vec<f64>, Vec<f64>) {
        let rows = self.vertical_deg.len();
        let from_pole = |degrees: &[f64], offset: f64| -> Vec<f64> {
            degrees.iter().map(|d| (d + offset).to_radians()).collect()
        };
        // Right and left alike: what is on one side counts twice.
        let sides = if self.horizontal_deg[0] == 0.0 {
            2.0
        } else {
            1.0
        };
        match self.goniometry {
            Goniometry::C | Goniometry::A => {
                let weights = match self.goniometry {
                    Goniometry::C => self.shares_of_turn().iter().map(|s| s * TAU).collect(),
                    _ => trapezium(&self.horizontal_deg, sides),
                };
                let mut sums = vec![0.0; rows];
                for (plane, weight) in self.planes().zip(&weights) {
                    for (sum, value) in sums.iter_mut().zip(plane) {
                        *sum += weight * value;
                    }
                }
                let offset = if self.goniometry == Goniometry::C {
                    0.0
                } else {
                    90.0
                };
                (from_pole(&self.vertical_deg, offset), sums)
            }
            Goniometry::B => {
                let weights = trapezium(&self.vertical_deg, sides);
                let sums = self
                    .planes()
                    .map(|plane| plane.iter().zip(&weights).map(|(v, w)| v * w).sum())
                    .collect();
                (from_pole(&self.horizontal_deg, 90.0), sums)
            }
        }
    }

    /// The share of the full turn that each plane of type C stands for; they sum to 1.
    fn shares_of_turn(&self) -> Vec<f64> {
        let angles = &self.horizontal_deg;
        let last = angles.len() - 1;
        if last == 0 {
            return vec![1.0];
        }
        let mut weights = trapezium(angles, 1.0);
        if self.closes_itself() {
            let gap = (360.0 - angles[last]).to_radians();
            weights[last] += 0.5 * gap;
            weights[0] += 0.5 * gap;
        }
        let whole: f64 = weights.iter().sum();
        weights.iter().map(|w| w / whole).collect()
    }
}

/// Which part of the full turn the planes of type C cover.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Turn {
    Round,
    Quarter,
    HalfAboutZero,
    HalfAboutNinety,
    Full,
}

impl Goniometry {
    /// The standard's number for it.
    pub fn code(self) -> u8 {
        match self {
            Goniometry::C => 1,
            Goniometry::B => 2,
            Goniometry::A => 3,
        }
    }

    pub(super) fn from_code(code: usize) -> Option<Self> {
        [Self::C, Self::B, Self::A]
            .into_iter()
            .find(|g| usize::from(g.code()) == code)
    }
}

impl fmt::Display for AngleList {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            AngleList::Vertical => "vertical",
            AngleList::Horizontal => "horizontal",
        })
    }
}

/// Whether a number can be an intensity in a file.
pub(super) fn is_intensity(value: f64) -> bool {
    (0.0..=MOST_CANDELA).contains(&value)
}

/// The first thing wrong with a list of angles in degrees.
pub(super) fn check_angles(
    goniometry: Goniometry,
    list: AngleList,
    degrees: &[f64],
) -> Result<(), AngleFault> {
    let fault = |index: usize, message: String, hint: &'static str| {
        Err(AngleFault {
            list,
            index,
            message,
            hint,
        })
    };
    let round_c = goniometry == Goniometry::C && list == AngleList::Horizontal;
    if degrees.is_empty() || (degrees.len() == 1 && !round_c) {
        return fault(
            0,
            format!("{} {list} angles are too few", degrees.len()),
            "give at least two; only the horizontal angle of type C may stand alone",
        );
    }
    let (low, high, hint) = match (goniometry, list) {
        (Goniometry::C, AngleList::Vertical) => (
            0.0,
            180.0,
            "type C counts vertical angles from straight down, 0 to 180; for type A or B write its number (3 or 2)",
        ),
        (Goniometry::C, AngleList::Horizontal) => (0.0, 360.0, "write angles from 0 to 360"),
        _ => (-90.0, 90.0, "types A and B have angles from -90 to 90"),
    };
    if let Some(i) = degrees.iter().position(|d| !(low..=high).contains(d)) {
        let message = format!(
            "the {list} angle {} is not within {low} and {high}",
            degrees[i]
        );
        return fault(i, message, hint);
    }
    if let Some(i) = degrees.windows(2).position(|w| w[1] - w[0] < SAME_DEG) {
        let message = format!(
            "the {list} angle {} does not rise from {}",
            degrees[i + 1],
            degrees[i]
        );
        return fault(
            i + 1,
            message,
            "write each angle once, in rising order; counts that do not fit the lists also end here",
        );
    }
    let (first, end) = (degrees[0], degrees.len() - 1);
    let last = degrees[end];
    match (goniometry, list) {
        (Goniometry::C, AngleList::Vertical) if !is(first, 0.0) && !is(first, 90.0) => fault(
            0,
            format!("the vertical angles begin at {first}"),
            "begin at 0 (straight down), or at 90 for light that only goes up",
        ),
        (Goniometry::C, AngleList::Horizontal) if end > 0 => {
            let allowed = match () {
                () if is(first, 0.0) => is(last, 90.0) || is(last, 180.0) || last > 180.0,
                () if is(first, 90.0) => is(last, 270.0),
                () => false,
            };
            if allowed {
                return Ok(());
            }
            fault(
                if is(first, 0.0) || is(first, 90.0) {
                    end
                } else {
                    0
                },
                format!("the horizontal angles run from {first} to {last}"),
                "write 0 alone, or angles from 0 to 90, 0 to 180, 0 to 360 or 90 to 270",
            )
        }
        (Goniometry::A | Goniometry::B, AngleList::Vertical) if first >= 0.0 => fault(
            0,
            format!("the vertical angles begin at {first}"),
            "begin below 0, at -90 for all: whether the light is alike above and below, the file cannot say",
        ),
        (Goniometry::A | Goniometry::B, AngleList::Horizontal) if first > 0.0 => fault(
            0,
            format!("the horizontal angles begin at {first}"),
            "begin at 0 where left and right are alike, at -90 where not",
        ),
        _ => Ok(()),
    }
}

/// Whether an angle is the round one meant.
pub(super) fn is(angle_deg: f64, round_deg: f64) -> bool {
    (angle_deg - round_deg).abs() <= SAME_DEG
}

/// The interval that a value lies in, and how far along; `None` outside. At least two entries.
pub(super) fn bracket(ascending: &[f64], value: f64) -> Option<(usize, f64)> {
    let end = ascending.len().checked_sub(2)?;
    if !(ascending[0] - SLACK_DEG..=ascending[end + 1] + SLACK_DEG).contains(&value) {
        return None;
    }
    let i = ascending
        .partition_point(|a| *a <= value)
        .saturating_sub(1)
        .min(end);
    let along = (value - ascending[i]) / (ascending[i + 1] - ascending[i]);
    Some((i, along.clamp(0.0, 1.0)))
}

pub(super) fn mix(a: f64, b: f64, along: f64) -> f64 {
    a + (b - a) * along
}

/// The weights, in radians, with which values at ascending angles in degrees sum to the integral
/// of what is linear between them, times a factor.
fn trapezium(degrees: &[f64], factor: f64) -> Vec<f64> {
    let mut weights = vec![0.0; degrees.len()];
    for (i, pair) in degrees.windows(2).enumerate() {
        let half = 0.5 * factor * (pair[1] - pair[0]).to_radians();
        weights[i] += half;
        weights[i + 1] += half;
    }
    weights
}
