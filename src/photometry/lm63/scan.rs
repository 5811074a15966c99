//! Lines and numbers of a file, with their places.

/// Where something stands, from 1; columns in characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Place {
    pub line: usize,
    pub column: usize,
}

/// A place in a text, moved on by lines and then by words. Lines end with CR, LF or both.
#[derive(Debug, Clone)]
pub(super) struct Cursor<'a> {
    rest: &'a str,
    place: Place,
}

impl<'a> Cursor<'a> {
    pub fn new(text: &'a str) -> Self {
        Self {
            rest: text,
            place: Place { line: 1, column: 1 },
        }
    }

    pub fn place(&self) -> Place {
        self.place
    }

    /// Bytes not read yet.
    pub fn bytes_left(&self) -> usize {
        self.rest.len()
    }

    /// The next line with its place, without its end; `None` at the end of the text.
    pub fn line(&mut self) -> Option<(Place, &'a str)> {
        if self.rest.is_empty() {
            return None;
        }
        let end = self.rest.find(['\r', '\n']).unwrap_or(self.rest.len());
        let (line, after) = self.rest.split_at(end);
        self.rest = after
            .strip_prefix("\r\n")
            .or_else(|| after.strip_prefix(['\r', '\n']))
            .unwrap_or(after);
        let place = self.place;
        self.place = match after {
            "" => Place {
                column: place.column + line.chars().count(),
                ..place
            },
            _ => Place {
                line: place.line + 1,
                column: 1,
            },
        };
        Some((place, line))
    }

    /// The next word with its place: what stands between blanks, commas, control characters and
    /// line ends.
    pub fn word(&mut self) -> Option<(Place, &'a str)> {
        let separates = |c: char| c == ',' || c.is_whitespace() || c.is_control();
        let start = self.rest.find(|c| !separates(c)).unwrap_or(self.rest.len());
        self.skip(start);
        let end = self.rest.find(separates).unwrap_or(self.rest.len());
        let (word, after) = self.rest.split_at(end);
        let place = self.place;
        self.rest = after;
        self.place.column += word.chars().count();
        (!word.is_empty()).then_some((place, word))
    }

    /// Goes on by so many bytes, which must end at a character.
    fn skip(&mut self, bytes: usize) {
        let (skipped, after) = self.rest.split_at(bytes);
        let mut before = None;
        for c in skipped.chars() {
            match c {
                '\n' if before == Some('\r') => {}
                '\r' | '\n' => {
                    self.place = Place {
                        line: self.place.line + 1,
                        column: 1,
                    }
                }
                _ => self.place.column += 1,
            }
            before = Some(c);
        }
        self.rest = after;
    }
}

/// A finite number as LM-63 writes it: digits, a point, an exponent.
pub(super) fn number(word: &str) -> Option<f64> {
    // Rust also reads "inf", "nan" and "infinity".
    let numeric = word
        .bytes()
        .all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b));
    let value: f64 = numeric.then(|| word.parse().ok()).flatten()?;
    value.is_finite().then_some(value)
}

/// As much of a text as a message can quote.
pub(super) fn shown(text: &str) -> String {
    const MOST: usize = 24;
    let clean = |c: char| if c.is_control() { '?' } else { c };
    let mut quoted: String = text.chars().take(MOST).map(clean).collect();
    if text.chars().nth(MOST).is_some() {
        quoted.push('…');
    }
    quoted
}
