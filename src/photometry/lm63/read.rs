//! Reading a file, with every problem that can be told at once.

use std::ops::RangeInclusive;

use super::header::TiltLine;
use super::opening::Opening;
use super::problem::{Problem, Problems};
use super::reader::{Reader, Stop};
use super::scan::{Cursor, Place, number, shown};
use super::table::{self, AngleList, Goniometry, Table};
use super::{GENERATION_UNDEFINED, LampGeometry, Photometry, Tilt, Version};
use crate::photometry::flash::METRES_PER_FOOT;

/// Every positive number up to a limit.
const fn positive(most: f64) -> RangeInclusive<f64> {
    f64::MIN_POSITIVE..=most
}

/// A file that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// What it says.
    pub photometry: Photometry,
    /// What is not by the standard, but could be read.
    pub notes: Vec<Problem>,
}

/// Reads a file of any version, whatever its line ends; bytes that are no UTF-8 become `�`.
///
/// Memory stays within a few times the file's size. A lamp's tilt factors (`TILT=INCLUDE`) are
/// kept, not applied: see [`Tilt`]. `TILT=` with a file's name is refused, since nothing here
/// opens files.
pub fn read(bytes: &[u8]) -> Result<Reading, Problems> {
    let text = String::from_utf8_lossy(bytes);
    let mut reader = Reader {
        cursor: Cursor::new(text.strip_prefix('\u{feff}').unwrap_or(&text)),
        problems: Vec::new(),
        notes: Vec::new(),
    };
    match reader.file() {
        Ok(photometry) if reader.problems.is_empty() => Ok(Reading {
            photometry,
            notes: reader.notes,
        }),
        _ => {
            reader.problems.sort_by_key(|p| (p.line, p.column));
            Err(Problems(reader.problems))
        }
    }
}

impl Reader<'_> {
    fn file(&mut self) -> Result<Photometry, Stop> {
        let header = self.header()?;
        let tilt = match header.tilt {
            TiltLine::None => None,
            TiltLine::Include => self.tilt()?,
        };

        // Read the lines of counts and factors.
        let lamps = self.whole("the number of lamps", "write how many, mostly 1", 1.0..=1e6)?;
        let lumens = self.lumens_per_lamp()?;
        let multiplier = self.within(
            "the multiplier",
            "write the factor on every intensity, mostly 1",
            positive(1e9),
        )?;
        let counts_at = self.next_place();
        let (rows, planes) = (
            self.whole("the number of vertical angles", COUNT_HINT, 1.0..=1e9)?,
            self.whole("the number of horizontal angles", COUNT_HINT, 1.0..=1e9)?,
        );
        let goniometry = self
            .whole(
                "the photometric type",
                "write 1 for C, 2 for B, 3 for A",
                1.0..=3.0,
            )?
            .and_then(Goniometry::from_code);
        let opening = self.opening(header.version)?;
        let ballast_factor = self.within(
            "the ballast factor",
            "write 1 where there is none",
            positive(1e3),
        )?;
        let (ballast_lamp_factor, generation) = self.tenth_factor(header.version)?;
        let input_w = self.within("the input power", "write watts, or 0", 0.0..=1e9)?;

        // Read the table, once it is known to be there.
        let (Some(rows), Some(planes)) = (rows, planes) else {
            return Err(Stop);
        };
        self.check_amount(counts_at, rows, planes)?;
        let vertical = self.angles(goniometry, AngleList::Vertical, rows)?;
        let horizontal = self.angles(goniometry, AngleList::Horizontal, planes)?;
        let candela = self.intensities(rows.saturating_mul(planes))?;
        self.rest();

        let (Some(goniometry), Some(vertical), Some(horizontal)) =
            (goniometry, vertical, horizontal)
        else {
            return Err(Stop);
        };
        if !self.problems.is_empty() {
            return Err(Stop);
        }
        let table = Table::new(goniometry, vertical, horizontal, candela).map_err(|e| {
            self.problem(counts_at, e.to_string(), "write a table by the standard");
            Stop
        })?;
        self.note_gaps(counts_at, &table);
        Ok(Photometry {
            version: header.version,
            keywords: header.keywords,
            tilt,
            lamps: lamps.and_then(|n| u32::try_from(n).ok()).ok_or(Stop)?,
            lumens_per_lamp: lumens.ok_or(Stop)?,
            multiplier: multiplier.ok_or(Stop)?,
            ballast_factor: ballast_factor.ok_or(Stop)?,
            ballast_lamp_factor,
            generation,
            input_w: input_w.ok_or(Stop)?,
            opening: opening.ok_or(Stop)?,
            table,
        })
    }

    /// The numbers after `TILT=INCLUDE`; `None` where a problem was found.
    fn tilt(&mut self) -> Result<Option<Tilt>, Stop> {
        let geometry = self
            .whole(
                "the lamp's geometry in the luminaire",
                "write 1 upright, 2 stays level, 3 level and tilts along",
                1.0..=3.0,
            )?
            .and_then(LampGeometry::from_code);
        let at = self.next_place();
        let hint = "write how many angles and factors follow";
        let Some(pairs) = self.whole("the number of tilt angles", hint, 1.0..=1e9)? else {
            return Err(Stop);
        };
        if pairs > self.cursor.bytes_left() / 4 + 1 {
            let message = format!("{pairs} tilt angles and factors are more than the file has");
            return self.stop(at, message, hint);
        }
        let mut angles: Vec<Option<f64>> = Vec::new();
        for _ in 0..pairs {
            let at = self.next_place();
            let angle = self.within(
                "a tilt angle",
                "write degrees from 0 to 180",
                -180.0..=180.0,
            )?;
            if let (Some(angle), Some(Some(before))) = (angle, angles.last())
                && angle <= *before
            {
                let message = format!("the tilt angle {angle} does not rise from {before}");
                self.problem(at, message, "write each angle once, in rising order");
            }
            angles.push(angle);
        }
        let mut factors = Vec::new();
        for angle in angles {
            let hint = "write the lamp's output against that of the test, such as 0.95";
            let factor = self.within("a tilt factor", hint, 0.0..=1e3)?;
            factors.extend(angle.zip(factor));
        }
        Ok(geometry.map(|geometry| Tilt { geometry, factors }))
    }

    /// Rated lumens, with -1 for none.
    fn lumens_per_lamp(&mut self) -> Result<Option<Option<f64>>, Stop> {
        let hint = "write the rated lumens of a lamp, or -1 for absolute photometry";
        let (place, lumens) = self.value("the lumens per lamp", hint)?;
        Ok(match lumens {
            Some(-1.0) => Some(None),
            Some(lumens) if (0.0..=1e12).contains(&lumens) => Some(Some(lumens)),
            Some(lumens) => {
                self.problem(place, format!("the lumens per lamp are {lumens}"), hint);
                None
            }
            None => None,
        })
    }

    /// Unit, width, length and height.
    fn opening(&mut self, version: Version) -> Result<Option<Opening>, Stop> {
        let unit = self.whole("the unit", "write 1 for feet, 2 for metres", 1.0..=2.0)?;
        let metres = if unit == Some(1) {
            METRES_PER_FOOT
        } else {
            1.0
        };
        let place = self.next_place();
        let mut signed_m = [0.0; 3];
        let mut complete = unit.is_some();
        for (size, what) in signed_m.iter_mut().zip(["width", "length", "height"]) {
            let what = format!("the opening's {what}");
            match self.within(&what, "write 0 where it has none", -1e6..=1e6)? {
                Some(value) => *size = value * metres,
                None => complete = false,
            }
        }
        if !complete {
            return Ok(None);
        }
        let opening = Opening::from_signed_m(version, signed_m);
        if opening.is_none() {
            self.problem(
                place,
                "the signs of the opening's width, length and height make no shape".to_owned(),
                "write all positive for a box, minus the diameter twice and 0 for a disc, 0 0 0 for a point",
            );
        }
        Ok(opening)
    }

    /// The number that was a second ballast factor until 1995, idle in 2002, and how the file came
    /// about in 2019: factor and code.
    fn tenth_factor(&mut self, version: Version) -> Result<(f64, f64), Stop> {
        let place = self.next_place();
        if version <= Version::V1995 {
            let (what, hint) = ("the ballast-lamp factor", "write 1 where there is none");
            let factor = self.within(what, hint, positive(1e3))?;
            return Ok((factor.unwrap_or(1.0), GENERATION_UNDEFINED));
        }
        let (what, hint) = match version {
            Version::V2002 => ("the number for future use", "write 1"),
            _ => ("the file generation type", "write 1.00001 where not known"),
        };
        let value = self.within(what, hint, 0.0..=1e3)?.unwrap_or(1.0);
        if version == Version::V2002 {
            if value != 1.0 {
                let message = format!("the number for future use is {value}");
                self.note(place, message, "not applied: since 2002 it is no factor");
            }
            return Ok((1.0, GENERATION_UNDEFINED));
        }
        Ok((1.0, value))
    }

    /// Fails where the file has fewer numbers left than the counts say.
    fn check_amount(&mut self, at: Place, rows: usize, planes: usize) -> Result<(), Stop> {
        let wanted = rows
            .saturating_mul(planes)
            .saturating_add(rows)
            .saturating_add(planes);
        let mut ahead = self.cursor.clone();
        let found = std::iter::from_fn(|| ahead.word()).take(wanted).count();
        if found == wanted {
            return Ok(());
        }
        self.stop(
            at,
            format!(
                "{rows} vertical and {planes} horizontal angles need {wanted} numbers for the angles and intensities, and {found} are left"
            ),
            "correct the counts, or write what is missing",
        )
    }

    /// A list of angles; `None` where a problem was found.
    fn angles(
        &mut self,
        goniometry: Option<Goniometry>,
        list: AngleList,
        count: usize,
    ) -> Result<Option<Vec<f64>>, Stop> {
        let what = match list {
            AngleList::Vertical => "a vertical angle",
            AngleList::Horizontal => "a horizontal angle",
        };
        let mut start = self.cursor.clone();
        let before = self.problems.len();
        let mut angles = Vec::new();
        for _ in 0..count {
            angles.extend(self.value(what, "write degrees")?.1);
        }
        if self.problems.len() > before {
            return Ok(None);
        }
        let Some(goniometry) = goniometry else {
            return Ok(None);
        };
        match table::check_angles(goniometry, list, &angles) {
            Ok(()) => Ok(Some(angles)),
            Err(fault) => {
                let place = std::iter::from_fn(|| start.word()).nth(fault.index);
                let place = place.map_or(self.cursor.place(), |(place, _)| place);
                self.problem(place, fault.message, fault.hint);
                Ok(None)
            }
        }
    }

    fn intensities(&mut self, count: usize) -> Result<Vec<f64>, Stop> {
        let mut values = Vec::new();
        for _ in 0..count {
            let hint = "write candelas, a number from 0 to 1e15";
            values.extend(self.within("an intensity", hint, 0.0..=table::MOST_CANDELA)?);
        }
        Ok(values)
    }

    /// Looks at what stands after the last intensity.
    fn rest(&mut self) {
        let Some((place, word)) = self.cursor.word() else {
            return;
        };
        if number(word).is_some() {
            self.problem(
                place,
                format!("`{}` is one number too many", shown(word)),
                "correct the counts of angles; a comma separates numbers, so write decimals with a point",
            );
        } else {
            let message = format!("`{}` stands after the last intensity", shown(word));
            self.note(place, message, "left out, with all after it");
        }
    }

    /// Says where a table covers less than its kind should.
    fn note_gaps(&mut self, place: Place, table: &Table) {
        if table.goniometry() != Goniometry::C {
            return;
        }
        let last = |angles: &[f64]| angles.last().copied().unwrap_or(0.0);
        let end = last(table.vertical_deg());
        if !table::is(end, 90.0) && !table::is(end, 180.0) {
            let message = format!("the vertical angles end at {end}, not at 90 or 180");
            self.note(place, message, "taken as dark beyond");
        }
        let end = last(table.horizontal_deg());
        if end > 180.0 && !table::is(end, 270.0) && !table::is(end, 360.0) {
            let message = format!("the horizontal angles end at {end}, not at 360");
            self.note(place, message, "the plane of 0 is taken for 360 as well");
        }
    }
}

const COUNT_HINT: &str = "write how many angles the table has";
