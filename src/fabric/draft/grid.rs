//! Drawdowns as text: a line for each pick, as the cloth looks from its face.

use std::fmt;

use super::Drawdown;
use crate::photometry::lm63::{Problem, Problems};

const HINT: &str = "write a line for each pick, X where the warp is on top and . where the weft is";

impl Drawdown {
    /// Reads a grid: `X` or `x` where the warp is on top, `.` where the weft is, one line for each
    /// pick, blanks and empty lines left out. It looks like the cloth: **the lowest line is the
    /// first pick**, so a right-hand twill rises to the right.
    ///
    /// ```
    /// # use swatchlight::fabric::draft::Drawdown;
    /// let twill = Drawdown::from_grid("
    ///     . X X
    ///     X X .
    ///     X . X
    /// ").unwrap();
    /// assert!(!twill.warp_on_top(1, 0) && !twill.warp_on_top(2, 1));
    /// ```
    ///
    /// # Errors
    /// Every character that is neither, and every line that is longer or shorter than the first.
    pub fn from_grid(text: &str) -> Result<Self, Problems> {
        /// Enough to mend a grid by.
        const MOST_PROBLEMS: usize = 20;
        let mut problems = Vec::new();
        let mut problem = |line: usize, column: usize, message: String| {
            if problems.len() < MOST_PROBLEMS {
                let hint = HINT.to_owned();
                problems.push(Problem {
                    line,
                    column,
                    message,
                    hint,
                });
            }
        };
        let mut cells: Vec<bool> = Vec::new();
        let (mut ends, mut picks) = (0, 0);
        for (number, line) in text.lines().enumerate() {
            let before = cells.len();
            for (column, c) in line.chars().enumerate() {
                match c {
                    'X' | 'x' => cells.push(true),
                    '.' => cells.push(false),
                    c if c.is_whitespace() => {}
                    c => {
                        let shown = c.escape_default();
                        problem(
                            number + 1,
                            column + 1,
                            format!("`{shown}` is no crossing of a weave"),
                        );
                        cells.push(false);
                    }
                }
            }
            let width = cells.len() - before;
            if width == 0 {
                continue;
            }
            if picks == 0 {
                ends = width;
            } else if width != ends {
                problem(
                    number + 1,
                    1,
                    format!("this pick has {width} ends, the first line has {ends}"),
                );
            }
            picks += 1;
        }
        if picks == 0 {
            problem(1, 1, "the weave is empty".to_owned());
        }
        if !problems.is_empty() {
            return Err(Problems(problems));
        }
        Self::from_fn(ends, picks, |end, pick| {
            cells[(picks - 1 - pick) * ends + end]
        })
        .map_err(|error| {
            Problems(vec![Problem {
                line: 1,
                column: 1,
                message: error.to_string(),
                hint: HINT.to_owned(),
            }])
        })
    }
}

impl fmt::Display for Drawdown {
    /// As [`Drawdown::from_grid`] reads it: the lowest line is the first pick.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for pick in (0..self.picks()).rev() {
            let line: String = (0..self.ends())
                .map(|end| if self.is_up(end, pick) { 'X' } else { '.' })
                .collect();
            writeln!(f, "{line}")?;
        }
        Ok(())
    }
}
