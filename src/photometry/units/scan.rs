//! Reading numbers and unit names from the front of a string.

use super::UnitError;
use super::quantity::Quantity;

/// A place in a string that is being read.
#[derive(Clone, Copy)]
pub(super) struct Scanner<'a> {
    text: &'a str,
    at: usize,
}

/// A number read, and how it was written.
#[derive(Clone, Copy)]
pub(super) struct Number {
    pub value: f64,
    /// Byte offset of its first character.
    pub start: usize,
    /// Whether it was written with a fraction bar.
    pub is_fraction: bool,
}

impl<'a> Scanner<'a> {
    pub fn new(text: &'a str) -> Self {
        let mut scanner = Self { text, at: 0 };
        scanner.skip_spaces();
        scanner
    }

    pub fn at(&self) -> usize {
        self.at
    }

    fn rest(&self) -> &'a str {
        &self.text[self.at..]
    }

    pub fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    pub fn skip_spaces(&mut self) {
        self.at = self.text.len() - self.rest().trim_start().len();
    }

    /// Takes the next character if it is one of these, with the spaces after it.
    pub fn eat(&mut self, any_of: &[char]) -> Option<char> {
        let found = self.peek().filter(|c| any_of.contains(c))?;
        self.at += found.len_utf8();
        self.skip_spaces();
        Some(found)
    }

    /// Takes a whole word in any case, with the spaces after it.
    pub fn eat_word(&mut self, word: &str) -> bool {
        let found = self.match_name(word, false);
        if let Some(length) = found {
            self.at += length;
            self.skip_spaces();
        }
        found.is_some()
    }

    /// Reads a signed decimal number, with the spaces after it.
    pub fn number(&mut self, quantity: &Quantity) -> Result<Number, UnitError> {
        let start = self.at;
        let sign = if self.eat(&MINUS).is_some() {
            -1.0
        } else {
            self.eat(&['+']);
            1.0
        };
        let digits_at = self.at;
        let digits = self.digits(digits_at)?;
        if !digits.contains(|c: char| c.is_ascii_digit()) {
            self.at = start;
            return Err(self.no_number(quantity));
        }
        let value = sign * digits.parse::<f64>().unwrap_or(f64::INFINITY);
        if !value.is_finite() {
            return Err(UnitError::new(
                start..self.at,
                format!("`{}` is too large a number", &self.text[start..self.at]),
                quantity.hint(),
            ));
        }
        self.skip_spaces();
        Ok(Number {
            value,
            start,
            is_fraction: false,
        })
    }

    /// Reads a number or a fraction of two numbers, with the spaces after it.
    pub fn number_or_fraction(&mut self, quantity: &Quantity) -> Result<Number, UnitError> {
        let top = self.number(quantity)?;
        if self.eat(&['/', '\u{2044}']).is_none() {
            return Ok(top);
        }
        let bottom = self.number(quantity)?;
        let value = top.value / bottom.value;
        if bottom.value <= 0.0 || !value.is_finite() {
            return Err(UnitError::new(
                bottom.start..self.at,
                format!(
                    "`{}` cannot stand under a fraction bar",
                    self.from(bottom.start)
                ),
                quantity.hint(),
            ));
        }
        Ok(Number {
            value,
            start: top.start,
            is_fraction: true,
        })
    }

    /// Takes digits, one decimal point and an exponent; refuses a decimal comma.
    fn digits(&mut self, start: usize) -> Result<&'a str, UnitError> {
        self.take_digits();
        if self.rest().starts_with('.') {
            self.at += 1;
            self.take_digits();
        }
        let after_comma = self.rest().strip_prefix(',');
        if self.at > start
            && after_comma.is_some_and(|r| r.starts_with(|c: char| c.is_ascii_digit()))
        {
            let comma = self.at;
            self.at += 1;
            self.take_digits();
            let written = &self.text[start..self.at];
            return Err(UnitError::new(
                comma..comma + 1,
                format!("there is a comma in the number `{written}`"),
                format!(
                    "use a point for decimals and nothing between thousands: `{}` or `{}`",
                    written.replacen(',', ".", 1),
                    written.replacen(',', "", 1)
                ),
            ));
        }
        // An exponent only counts with digits after it: the `e` could begin a word.
        let exponent = self.rest().strip_prefix(['e', 'E']);
        let exponent = exponent.map(|r| r.strip_prefix(['+', '-']).unwrap_or(r));
        if self.at > start
            && let Some(power) = exponent.filter(|r| r.starts_with(|c: char| c.is_ascii_digit()))
        {
            self.at = self.text.len() - power.len();
            self.take_digits();
        }
        Ok(&self.text[start..self.at])
    }

    fn take_digits(&mut self) {
        let rest = self.rest();
        self.at += rest
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(rest.len());
    }

    /// Takes the longest unit name of a quantity that stands next, with the spaces after it, and
    /// gives its factor to SI. With `in_size`, an `x` that leads to a number may follow at once.
    pub fn unit(&mut self, quantity: &Quantity, in_size: bool) -> Option<f64> {
        let (length, factor) = quantity
            .units
            .iter()
            .filter_map(|(name, factor)| Some((self.match_name(name, in_size)?, *factor)))
            .max_by_key(|(length, _)| *length)?;
        self.at += length;
        self.skip_spaces();
        Some(factor)
    }

    /// The bytes that a name takes up here, if it stands here as a whole word. Case does not
    /// matter; a space in the name stands for any run of spaces, dots, stars and hyphens, or none.
    fn match_name(&self, name: &str, in_size: bool) -> Option<usize> {
        let mut rest = self.rest();
        for expected in name.chars() {
            if expected == ' ' {
                rest = rest.trim_start_matches(|c: char| c.is_whitespace() || "·⋅*-".contains(c));
            } else {
                let found = rest
                    .chars()
                    .next()
                    .filter(|c| c.eq_ignore_ascii_case(&expected))?;
                rest = &rest[found.len_utf8()..];
            }
        }
        let word_goes_on = name.ends_with(char::is_alphabetic)
            && rest.starts_with(char::is_alphabetic)
            && !(in_size && leads_to_number(rest));
        (!word_goes_on).then(|| self.rest().len() - rest.len())
    }

    /// Fails unless all was read.
    pub fn end(&self, quantity: &Quantity) -> Result<(), UnitError> {
        if self.rest().is_empty() {
            return Ok(());
        }
        let span = self.at..self.text.trim_end().len();
        let problem = match self.text[..self.at].trim() {
            "" => format!(
                "`{}` is not {}",
                shown(&self.text[span.clone()]),
                quantity.name
            ),
            read => {
                format!(
                    "`{}` is left over after `{}`",
                    shown(&self.text[span.clone()]),
                    shown(read)
                )
            }
        };
        Err(UnitError::new(span, problem, quantity.hint()))
    }

    /// The error for a number that no unit of this quantity follows.
    pub fn no_unit(&self, quantity: &Quantity, number: Number) -> UnitError {
        let word = self.word();
        let written = self.from(number.start);
        if word.is_empty() {
            UnitError::new(
                number.start..number.start + written.len(),
                format!("`{written}` has no unit"),
                quantity.hint(),
            )
        } else {
            UnitError::new(
                self.at..self.at + word.len(),
                format!(
                    "`{}` is not a unit of {}",
                    shown(word),
                    quantity.bare_name()
                ),
                quantity.hint(),
            )
        }
    }

    fn no_number(&self, quantity: &Quantity) -> UnitError {
        let word = self.word();
        let problem = match word {
            "" if self.text.trim().is_empty() => "there is nothing here".to_owned(),
            "" => "a number is missing at the end".to_owned(),
            word => format!("expected a number, found `{}`", shown(word)),
        };
        UnitError::new(self.at..self.at + word.len(), problem, quantity.hint())
    }

    /// What was read since a place, without spaces at its end.
    pub fn from(&self, start: usize) -> &'a str {
        self.text[start..self.at].trim_end()
    }

    /// What stands next, up to a space.
    fn word(&self) -> &'a str {
        self.rest()
            .split(char::is_whitespace)
            .next()
            .unwrap_or_default()
    }
}

/// The ways to write a minus sign: hyphen, minus, en dash.
pub(super) const MINUS: [char; 3] = ['-', '\u{2212}', '\u{2013}'];

/// The ways to write "by" between the sides of a size, besides the word.
pub(super) const TIMES: [char; 4] = ['x', 'X', '×', '*'];

fn leads_to_number(rest: &str) -> bool {
    rest.strip_prefix(TIMES).is_some_and(|r| {
        r.trim_start()
            .starts_with(|c: char| c.is_ascii_digit() || c == '.')
    })
}

/// As much of a string as a message can quote.
fn shown(text: &str) -> String {
    const MOST: usize = 24;
    match text.char_indices().nth(MOST) {
        Some((cut, _)) => format!("{}…", &text[..cut]),
        None => text.to_owned(),
    }
}
