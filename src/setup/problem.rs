//! What is wrong with a setup: where, what, and what to type instead.
#![allow(missing_docs)] // a name with its unit says all

use std::fmt;
use std::ops::Range;

use codespan_reporting::diagnostic::{Diagnostic, Label, Severity as Shade};
use codespan_reporting::files::SimpleFiles;
use codespan_reporting::term::{self, Config, Styles, StylesWriter, termcolor::Buffer};

/// Lines longer than this are not shown: a message must not flood the terminal.
const LONGEST_SHOWN_LINE: usize = 400;

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The setup cannot be used.
    Error,
    /// It can be used, but is probably not what was meant.
    Warning,
    /// Nothing wrong with the picture; something to mind on the day.
    Caution,
}

impl Severity {
    /// The word in messages.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
            Severity::Caution => "caution",
        }
    }
}

/// The kind of problem, for tests and for `--json`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Not TOML, or not text.
    Syntax,
    UnknownKey,
    Missing,
    WrongType,
    /// A quantity that cannot be read: wrong unit, no unit, not a number.
    WrongQuantity,
    /// Readable, but negative, zero, not finite or absurd.
    OutOfRange,
    Duplicate,
    /// A name that nothing carries.
    UnknownName,
    /// A word that is not one of those allowed.
    UnknownWord,
    /// Keys that cannot stand together.
    Conflict,
    /// Things that occupy the same place, or leave the room.
    Collision,
    InFrame,
    Safety,
    /// Threads that beat with the sensor's pixels.
    Moire,
}

impl Kind {
    /// A stable word for machine-readable output.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Syntax => "syntax",
            Kind::UnknownKey => "unknown-key",
            Kind::Missing => "missing",
            Kind::WrongType => "wrong-type",
            Kind::WrongQuantity => "wrong-quantity",
            Kind::OutOfRange => "out-of-range",
            Kind::Duplicate => "duplicate",
            Kind::UnknownName => "unknown-name",
            Kind::UnknownWord => "unknown-word",
            Kind::Conflict => "conflict",
            Kind::Collision => "collision",
            Kind::InFrame => "in-frame",
            Kind::Safety => "safety",
            Kind::Moire => "moire",
        }
    }
}

/// One thing to say about one place in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    pub severity: Severity,
    pub kind: Kind,
    pub message: String,
    /// What to type, or another way out; may be empty.
    pub hint: String,
    /// The file's name as shown in messages.
    pub file: String,
    /// From 1.
    pub line: usize,
    /// From 1, in characters.
    pub column: usize,
    /// Byte range in the file's text.
    pub span: Range<usize>,
}

impl fmt::Display for Problem {
    /// `file:line:column: error: message`
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}:{}:{}: {}: {}",
            self.file,
            self.line,
            self.column,
            self.severity.word(),
            self.message
        )
    }
}

/// All problems found, with the texts they point into.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Problems {
    list: Vec<Problem>,
    /// Name and text of each file that was read.
    files: Vec<(String, String)>,
}

impl Problems {
    /// The problems by place: first file first, then by line.
    pub fn list(&self) -> &[Problem] {
        &self.list
    }

    /// Whether nothing was found.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Whether any of them is an error.
    pub fn has_errors(&self) -> bool {
        self.list.iter().any(|p| p.severity == Severity::Error)
    }

    /// Those of one severity.
    pub fn of(&self, severity: Severity) -> impl Iterator<Item = &Problem> {
        self.list.iter().filter(move |p| p.severity == severity)
    }

    /// Every problem as text: a `file:line:column: error: message` line, the line of the
    /// file with the place marked, and the hint. `colour` adds ANSI colours.
    pub fn render(&self, colour: bool) -> String {
        let mut files = SimpleFiles::new();
        let ids: Vec<usize> = self
            .files
            .iter()
            .map(|(name, text)| files.add(one_line(name), text.as_str()))
            .collect();
        let mut out = String::new();
        for problem in &self.list {
            out.push_str(&paint_header(problem, colour));
            out.push('\n');
            let found = self
                .files
                .iter()
                .position(|(name, _)| *name == problem.file);
            if let Some(index) = found
                && shows_well(&self.files[index].1, &problem.span)
            {
                let mut diagnostic = Diagnostic::new(match problem.severity {
                    Severity::Error => Shade::Error,
                    Severity::Warning => Shade::Warning,
                    Severity::Caution => Shade::Note,
                })
                .with_labels(vec![Label::primary(ids[index], problem.span.clone())]);
                if !problem.hint.is_empty() {
                    diagnostic = diagnostic.with_notes(vec![problem.hint.clone()]);
                }
                // The first two lines are codespan's own header, which ours replaces.
                out.extend(
                    emit(&files, &diagnostic, colour)
                        .split_inclusive('\n')
                        .skip(2),
                );
            } else if !problem.hint.is_empty() {
                out.push_str(&format!("  = {}\n\n", problem.hint));
            } else {
                out.push('\n');
            }
        }
        out
    }

    /// Registers a text that problems may point into; a name already there is kept.
    /// The same texts with nothing found in them yet.
    pub fn cleared(&self) -> Self {
        Self {
            list: Vec::new(),
            files: self.files.clone(),
        }
    }

    /// Takes in what was found besides in the same texts.
    pub fn join(&mut self, more: Self) {
        self.list.extend(more.list);
    }

    /// Adds a warning of a higher layer about one table of the setup, "camera".
    pub fn warn(&mut self, kind: Kind, table: &str, message: String, hint: String) {
        let (file, text) = match self.files.first() {
            Some((file, text)) => (file.clone(), text.as_str()),
            None => (String::new(), ""),
        };
        let head = format!("[{table}]");
        let start = text
            .split_inclusive('\n')
            .scan(0, |at, line| {
                let here = *at;
                *at += line.len();
                Some((here, line))
            })
            .find(|(_, line)| line.trim_start().starts_with(&head))
            .map_or(0, |(at, line)| at + line.len() - line.trim_start().len());
        let span = start..(start + head.len()).min(text.len());
        let (line, column) = line_column(text, span.start);
        self.list.push(Problem {
            severity: Severity::Warning,
            kind,
            message,
            hint,
            file,
            line,
            column,
            span,
        });
    }

    pub(super) fn add_file(&mut self, name: &str, text: &str) {
        if !self.files.iter().any(|(known, _)| known == name) {
            self.files.push((name.to_owned(), text.to_owned()));
        }
    }

    /// Adds a problem at a byte range of a registered file.
    pub(super) fn add(
        &mut self,
        (severity, kind): (Severity, Kind),
        file: &str,
        span: Range<usize>,
        message: impl Into<String>,
        hint: impl Into<String>,
    ) {
        let text = self
            .files
            .iter()
            .find(|(name, _)| name == file)
            .map_or("", |(_, text)| text.as_str());
        let span = clamp(text, span);
        let (line, column) = line_column(text, span.start);
        let problem = Problem {
            severity,
            kind,
            message: one_line(&message.into()),
            hint: one_line(&hint.into()),
            file: file.to_owned(),
            line,
            column,
            span,
        };
        if !self.list.contains(&problem) {
            self.list.push(problem);
        }
    }

    /// Keeps those that `keep` accepts.
    pub(super) fn retain(&mut self, keep: impl FnMut(&Problem) -> bool) {
        self.list.retain(keep);
    }

    /// Puts them in the order of their places.
    pub(super) fn sort(&mut self) {
        let files = &self.files;
        self.list.sort_by_key(|p| {
            (
                files.iter().position(|(name, _)| *name == p.file),
                p.span.start,
                p.severity,
                p.kind,
            )
        });
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(false))
    }
}

impl std::error::Error for Problems {}

/// Line and column, both from 1, of a byte offset; the column counts characters.
pub fn line_column(text: &str, offset: usize) -> (usize, usize) {
    let before = &text[..offset.min(text.len())];
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    (
        before.matches('\n').count() + 1,
        before[line_start..].chars().count() + 1,
    )
}

/// Brings a range inside the text and onto character borders.
fn clamp(text: &str, span: Range<usize>) -> Range<usize> {
    let floor = |mut at: usize| {
        at = at.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let start = floor(span.start);
    start..floor(span.end).max(start)
}

/// Replaces control characters, so that hostile names cannot steer a terminal.
pub(super) fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect()
}

/// Whether the lines of a range are short enough and free of control characters.
fn shows_well(text: &str, span: &Range<usize>) -> bool {
    let start = text[..span.start].rfind('\n').map_or(0, |at| at + 1);
    let end = text[span.end..]
        .find('\n')
        .map_or(text.len(), |at| span.end + at);
    let shown = &text[start..end];
    shown.lines().count() <= 12
        && shown.lines().all(|line| line.len() <= LONGEST_SHOWN_LINE)
        && !shown
            .chars()
            .any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t'))
}

fn emit<'f>(
    files: &'f SimpleFiles<String, &'f str>,
    diagnostic: &Diagnostic<usize>,
    colour: bool,
) -> String {
    let config = Config::default();
    let styles = Styles::default();
    let mut buffer = if colour {
        Buffer::ansi()
    } else {
        Buffer::no_color()
    };
    // A failure here can only be a range outside the file, which `add` has excluded; the
    // header line has been written all the same.
    match term::emit_to_write_style(
        &mut StylesWriter::new(&mut buffer, &styles),
        &config,
        files,
        diagnostic,
    ) {
        Ok(()) => String::from_utf8_lossy(buffer.as_slice()).into_owned(),
        Err(_) => String::new(),
    }
}

fn paint_header(problem: &Problem, colour: bool) -> String {
    let place = format!(
        "{}:{}:{}",
        one_line(&problem.file),
        problem.line,
        problem.column
    );
    let word = problem.severity.word();
    if !colour {
        return format!("{place}: {word}: {}", problem.message);
    }
    let shade = match problem.severity {
        Severity::Error => 31,
        Severity::Warning => 33,
        Severity::Caution => 36,
    };
    format!(
        "{place}: \u{1b}[1;{shade}m{word}\u{1b}[0m: \u{1b}[1m{}\u{1b}[0m",
        problem.message
    )
}

/// What is wrong with a small TOML data file, on one line: "line 3, column 15: …".
pub fn toml_reason(text: &str, error: &toml::de::Error) -> String {
    let message = error.message().replace(['\n', '\r'], " ");
    let Some(before) = error.span().and_then(|span| text.get(..span.start)) else {
        return message;
    };
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    format!("line {line}, column {column}: {message}")
}
