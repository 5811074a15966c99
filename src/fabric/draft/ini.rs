//! The lines of a WIF: sections in brackets, keys with values, comments. The text is walked, not
//! copied, so what is read never takes more memory than a few times its size.

use super::{Problem, Problems};

/// The sections that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    Wif,
    Contents,
    Text,
    Weaving,
    Warp,
    Weft,
    ColorPalette,
    ColorTable,
    Threading,
    TieUp,
    Treadling,
    LiftPlan,
    WarpColors,
    WeftColors,
    WarpSpacing,
    WeftSpacing,
    WarpThickness,
    WeftThickness,
}

/// In the order of the file that is written.
pub(super) const PARTS: [(Part, &str); 18] = [
    (Part::Wif, "WIF"),
    (Part::Contents, "CONTENTS"),
    (Part::Text, "TEXT"),
    (Part::Weaving, "WEAVING"),
    (Part::Warp, "WARP"),
    (Part::Weft, "WEFT"),
    (Part::ColorPalette, "COLOR PALETTE"),
    (Part::ColorTable, "COLOR TABLE"),
    (Part::Threading, "THREADING"),
    (Part::TieUp, "TIEUP"),
    (Part::Treadling, "TREADLING"),
    (Part::LiftPlan, "LIFTPLAN"),
    (Part::WarpColors, "WARP COLORS"),
    (Part::WeftColors, "WEFT COLORS"),
    (Part::WarpSpacing, "WARP SPACING"),
    (Part::WeftSpacing, "WEFT SPACING"),
    (Part::WarpThickness, "WARP THICKNESS"),
    (Part::WeftThickness, "WEFT THICKNESS"),
];

impl Part {
    pub fn name(self) -> &'static str {
        PARTS
            .iter()
            .find(|(part, _)| *part == self)
            .map_or("", |(_, name)| name)
    }
}

/// A stretch of a line, with where it stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece<'a> {
    pub text: &'a str,
    line_text: &'a str,
    /// From 1.
    line: usize,
    /// Bytes into the line.
    offset: usize,
}

impl<'a> Piece<'a> {
    /// Part of this piece, by bytes, without the blanks around it.
    fn part(self, from: usize, to: usize) -> Self {
        let text = &self.text[from..to];
        let start = from + text.len() - text.trim_start().len();
        Self {
            text: text.trim(),
            offset: self.offset + start,
            ..self
        }
    }

    /// Without what follows a semicolon.
    pub fn without_comment(self) -> Self {
        let end = self.text.find(';').unwrap_or(self.text.len());
        self.part(0, end)
    }

    /// The words between commas and blanks.
    pub fn words(self) -> impl Iterator<Item = Self> {
        let mut at = 0;
        std::iter::from_fn(move || {
            let separates = |c: char| c == ',' || c.is_whitespace();
            let rest = self.text.get(at..)?;
            let start = at + rest.find(|c| !separates(c))?;
            let length = self.text[start..].find(separates);
            let end = length.map_or(self.text.len(), |length| start + length);
            at = end;
            Some(self.part(start, end))
        })
    }

    /// Line and column, from 1, columns in characters.
    fn place(self) -> (usize, usize) {
        let before = self.line_text.get(..self.offset).unwrap_or_default();
        (self.line, before.chars().count() + 1)
    }
}

/// A line of a section: `key=value`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entry<'a> {
    pub key: Piece<'a>,
    pub value: Piece<'a>,
}

/// Lines, numbered. They end with CR, LF or both.
#[derive(Debug, Clone)]
struct Lines<'a> {
    rest: &'a str,
    next: usize,
}

impl<'a> Lines<'a> {
    /// The next line that is neither empty nor a comment, without the blanks around it.
    fn next_line(&mut self) -> Option<Piece<'a>> {
        while !self.rest.is_empty() {
            let end = self.rest.find(['\r', '\n']).unwrap_or(self.rest.len());
            let (line_text, after) = self.rest.split_at(end);
            self.rest = after
                .strip_prefix("\r\n")
                .or_else(|| after.strip_prefix(['\r', '\n']))
                .unwrap_or(after);
            let whole = Piece {
                text: line_text,
                line_text,
                line: self.next,
                offset: 0,
            };
            self.next += 1;
            let line = whole.part(0, line_text.len());
            if !line.text.is_empty() && !line.text.starts_with(';') {
                return Some(line);
            }
        }
        None
    }
}

/// The sections of a file, and what is wrong with it.
pub(super) struct Ini<'a> {
    text: &'a str,
    /// Where each section that was found begins.
    found: Vec<(Part, Lines<'a>)>,
    pub problems: Vec<Problem>,
    pub notes: Vec<Problem>,
}

/// Enough to mend a file by; the memory of a file of rubbish must stay small.
const MOST_MESSAGES: usize = 50;

impl<'a> Ini<'a> {
    pub fn new(text: &'a str) -> Self {
        let mut ini = Self {
            text,
            found: Vec::new(),
            problems: Vec::new(),
            notes: Vec::new(),
        };
        ini.find_sections();
        ini
    }

    /// Lines that the file can have at most with a key and a value.
    pub fn most_entries(&self) -> usize {
        self.text.len() / 4 + 1
    }

    pub fn has(&self, part: Part) -> bool {
        self.found.iter().any(|(found, _)| *found == part)
    }

    fn find_sections(&mut self) {
        let mut lines = Lines {
            rest: self.text,
            next: 1,
        };
        let mut outside = true;
        while let Some(line) = lines.next_line() {
            if !line.text.starts_with('[') {
                if outside {
                    self.note(line, "stands before the first section and is left out");
                    // Once says it.
                    outside = false;
                }
                continue;
            }
            outside = false;
            let Some(close) = line.text.find(']') else {
                let hint = "write the section's name in brackets, such as [THREADING]";
                self.problem(line, "has no closing bracket", hint);
                continue;
            };
            let name = line.part(1, close);
            let known = PARTS
                .iter()
                .find(|(_, known)| known.eq_ignore_ascii_case(name.text));
            match known {
                Some((part, _)) if self.has(*part) => {
                    self.note(name, "stands twice; the first section holds");
                }
                Some((part, _)) => self.found.push((*part, lines.clone())),
                None => self.note(name, "is a section that is not used; it is left out"),
            }
        }
    }

    /// The entries of a section; lines that are none are problems.
    pub fn entries(&self, part: Part) -> Entries<'a> {
        let found = self.found.iter().find(|(found, _)| *found == part);
        Entries {
            lines: found.map(|(_, lines)| lines.clone()),
        }
    }

    /// The first entry of a section with this key.
    pub fn entry(&mut self, part: Part, key: &str) -> Option<Entry<'a>> {
        let mut entries = self.entries(part);
        while let Some(entry) = entries.next(self) {
            if entry.key.text.eq_ignore_ascii_case(key) {
                return Some(entry);
            }
        }
        None
    }

    pub fn problem(&mut self, at: Piece<'_>, what: &str, hint: &str) {
        // Counting columns takes time in a long line of rubbish.
        if self.problems.len() >= MOST_MESSAGES {
            return;
        }
        let message = format!("`{}` {what}", shown(at.text));
        self.problem_at(at.place(), message, hint);
    }

    /// A problem at a line and column; the same one is told once.
    pub fn problem_at(&mut self, place: (usize, usize), message: String, hint: &str) {
        push(&mut self.problems, place, message, hint);
    }

    pub fn note(&mut self, at: Piece<'_>, what: &str) {
        if self.notes.len() >= MOST_MESSAGES {
            return;
        }
        let message = format!("`{}` {what}", shown(at.text));
        push(&mut self.notes, at.place(), message, "");
    }

    /// A note about the file as a whole, or about a section.
    pub fn note_part(&mut self, part: Part, message: String) {
        let found = self.found.iter().find(|(found, _)| *found == part);
        let line = found.map_or(1, |(_, lines)| lines.next.saturating_sub(1).max(1));
        push(&mut self.notes, (line, 1), message, "");
    }

    /// What was found wrong, by place.
    pub fn into_problems(mut self) -> Problems {
        self.problems.sort_by_key(|p| (p.line, p.column));
        Problems(self.problems)
    }
}

fn push(list: &mut Vec<Problem>, (line, column): (usize, usize), message: String, hint: &str) {
    let new = Problem {
        line,
        column,
        message,
        hint: hint.to_owned(),
    };
    if list.len() < MOST_MESSAGES && !list.contains(&new) {
        list.push(new);
    }
}

/// Walks the entries of a section.
pub(super) struct Entries<'a> {
    lines: Option<Lines<'a>>,
}

impl<'a> Entries<'a> {
    pub fn next(&mut self, ini: &mut Ini<'a>) -> Option<Entry<'a>> {
        let lines = self.lines.as_mut()?;
        while let Some(line) = lines.next_line() {
            if line.text.starts_with('[') {
                break;
            }
            match line.text.find('=') {
                Some(equals) => {
                    return Some(Entry {
                        key: line.part(0, equals),
                        value: line.part(equals + 1, line.text.len()),
                    });
                }
                None => ini.problem(line, "has no `=`", "write a key, `=` and its value"),
            }
        }
        self.lines = None;
        None
    }
}

/// As much of a text as a message can quote.
fn shown(text: &str) -> String {
    const MOST: usize = 24;
    let clean = |c: char| if c.is_control() { '?' } else { c };
    let mut quoted: String = text.chars().take(MOST).map(clean).collect();
    if text.chars().nth(MOST).is_some() {
        quoted.push('…');
    }
    quoted
}
