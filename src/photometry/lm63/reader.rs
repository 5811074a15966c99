//! Numbers and words in order, with the problems they give.

use std::ops::RangeInclusive;

use super::problem::Problem;
use super::scan::{Cursor, Place, number, shown};

/// More problems than this say no more.
const MOST_PROBLEMS: usize = 20;

/// Nothing more can be read; the problem is on the list.
pub(super) struct Stop;

/// A file being read, with what was found on the way.
pub(super) struct Reader<'a> {
    pub cursor: Cursor<'a>,
    pub problems: Vec<Problem>,
    pub notes: Vec<Problem>,
}

impl Reader<'_> {
    /// The next number with its place; `None` where the word is none.
    pub fn value(&mut self, what: &str, hint: &str) -> Result<(Place, Option<f64>), Stop> {
        let Some((place, word)) = self.cursor.word() else {
            return self.stop(
                self.cursor.place(),
                format!("the file ends where {what} should stand"),
                hint,
            );
        };
        let value = number(word);
        if value.is_none() {
            let message = format!("`{}` is no number; here stands {what}", shown(word));
            self.problem(place, message, hint);
            if self.problems.len() >= MOST_PROBLEMS {
                return Err(Stop);
            }
        }
        Ok((place, value))
    }

    /// The next number, if it lies within.
    pub fn within(
        &mut self,
        what: &str,
        hint: &str,
        range: RangeInclusive<f64>,
    ) -> Result<Option<f64>, Stop> {
        let (place, value) = self.value(what, hint)?;
        match value {
            Some(value) if !range.contains(&value) => {
                self.problem(place, format!("{what} is {value}"), hint);
                if self.problems.len() >= MOST_PROBLEMS {
                    return Err(Stop);
                }
                Ok(None)
            }
            other => Ok(other),
        }
    }

    /// The next number, if it is whole and lies within.
    pub fn whole(
        &mut self,
        what: &str,
        hint: &str,
        range: RangeInclusive<f64>,
    ) -> Result<Option<usize>, Stop> {
        let place = self.next_place();
        let value = self.within(what, hint, range)?;
        if let Some(value) = value
            && value.fract() != 0.0
        {
            self.problem(
                place,
                format!("{what} is {value}, and should be whole"),
                hint,
            );
            return Ok(None);
        }
        // Within 1e9 by every caller's range.
        Ok(value.map(|v| v as usize))
    }

    /// Where the next word stands, or the text's end.
    pub fn next_place(&self) -> Place {
        let mut ahead = self.cursor.clone();
        ahead.word().map_or(ahead.place(), |(place, _)| place)
    }

    pub fn stop<T>(
        &mut self,
        at: Place,
        message: impl Into<String>,
        hint: &str,
    ) -> Result<T, Stop> {
        self.problem(at, message.into(), hint);
        Err(Stop)
    }

    pub fn problem(&mut self, at: Place, message: String, hint: &str) {
        if self.problems.len() < MOST_PROBLEMS {
            self.problems.push(problem(at, message, hint));
        }
    }

    pub fn note(&mut self, at: Place, message: String, hint: &str) {
        if self.notes.len() < MOST_PROBLEMS {
            self.notes.push(problem(at, message, hint));
        }
    }
}

fn problem(at: Place, message: String, hint: &str) -> Problem {
    Problem {
        line: at.line,
        column: at.column,
        message,
        hint: hint.to_owned(),
    }
}
