//! Drawings as a list of shapes in millimetres, from the top left, y down; written as SVG or PNG.
//!
//! A list knows nothing of what it shows, so that every drawing (a modifier's page, a plan, an
//! elevation) goes to every medium alike. Text is measured in the one built-in typeface; SVG pins each
//! text to the same width, whatever typeface its viewer has.

pub mod plot;
mod png_page;
pub mod ramp;
pub mod section;
mod svg;
mod typeface;

pub use png_page::{png, raster};
pub use svg::svg;
pub use typeface::text_width_mm;

use super::error::StillError;
use super::whole_file::WholeFile;
use serde::{Deserialize, Serialize};
use std::io::Write;
use std::path::Path;

/// Of a PNG: 200 to the inch, near enough.
const PIXELS_PER_MM: f64 = 8.0;

/// What a drawing can be written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DrawingFormat {
    /// Pixels.
    Png,
    /// Lines and letters, to be opened in a browser or edited.
    Svg,
}

impl DrawingFormat {
    /// By the ending of a file's name; `None` for any other.
    pub fn from_path(path: &Path) -> Option<Self> {
        match path.extension()?.to_str()?.to_ascii_lowercase().as_str() {
            "png" => Some(Self::Png),
            "svg" => Some(Self::Svg),
            _ => None,
        }
    }
}

/// Writes a drawing into an opened file and puts that in its place.
///
/// # Errors
/// As [`WholeFile::commit`], and [`StillError::Encode`] for a drawing too large for pixels.
pub fn write_drawing(
    file: WholeFile,
    format: DrawingFormat,
    drawing: &Drawing,
) -> Result<(), StillError> {
    let bytes = match format {
        DrawingFormat::Png => png(drawing, PIXELS_PER_MM)?,
        DrawingFormat::Svg => svg(drawing).into_bytes(),
    };
    file.writer()
        .write_all(&bytes)
        .map_err(|e| StillError::from_io("write", file.path(), file.failure_or(e)))?;
    file.commit()
}

/// A page of shapes, painted in their order.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Drawing {
    /// Width and height.
    pub size_mm: [f64; 2],
    /// What it is called, for readers that cannot see it.
    pub title: String,
    /// What is on it.
    pub shapes: Vec<Shape>,
}

/// Something on a page.
#[allow(missing_docs)] // a name with its unit says all
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Shape {
    /// Straight from point to point; closed, a polygon.
    Path {
        points_mm: Vec<[f64; 2]>,
        closed: bool,
        paint: Paint,
    },
    Circle {
        centre_mm: [f64; 2],
        radius_mm: f64,
        paint: Paint,
    },
    /// A rectangle from its top left corner.
    Rect {
        corner_mm: [f64; 2],
        size_mm: [f64; 2],
        paint: Paint,
    },
    Text(Text),
    Raster {
        corner_mm: [f64; 2],
        size_mm: [f64; 2],
        raster: Raster,
    },
}

/// sRGB, 8 bits a channel.
pub type Colour = [u8; 3];

/// How a shape is painted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Paint {
    /// Inside.
    pub fill: Option<Colour>,
    /// Along the outline.
    pub line: Option<Line>,
}

/// A line.
#[allow(missing_docs)]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Line {
    pub colour: Colour,
    pub width_mm: f64,
    /// Lengths of dashes and gaps.
    pub dash_mm: Option<[f64; 2]>,
}

/// One line of text.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Text {
    /// On the baseline.
    pub at_mm: [f64; 2],
    /// What it says.
    pub words: String,
    /// Of an em.
    pub size_mm: f64,
    /// Which end of it is at `at_mm`.
    pub anchor: Anchor,
    /// Its colour.
    pub colour: Colour,
    /// Drawn heavier.
    pub strong: bool,
    /// Turned a quarter to the left: read from below upward.
    pub upward: bool,
}

/// Which part of a text stands at its place.
#[allow(missing_docs)]
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Anchor {
    #[default]
    Start,
    Middle,
    End,
}

/// Pixels, row by row from the top.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Raster {
    /// Pixels in a row; the rest follows.
    pub columns: usize,
    /// All pixels.
    pub pixels: Vec<Colour>,
}

impl Paint {
    /// A whole line.
    pub fn line(colour: Colour, width_mm: f64) -> Self {
        Self {
            fill: None,
            line: Some(Line {
                colour,
                width_mm,
                dash_mm: None,
            }),
        }
    }

    /// A dashed line.
    pub fn dashed(colour: Colour, width_mm: f64, dash_mm: [f64; 2]) -> Self {
        Self {
            fill: None,
            line: Some(Line {
                colour,
                width_mm,
                dash_mm: Some(dash_mm),
            }),
        }
    }

    /// Filled, without a line.
    pub fn fill(colour: Colour) -> Self {
        Self {
            fill: Some(colour),
            line: None,
        }
    }

    /// The same, filled.
    pub fn filled(self, colour: Colour) -> Self {
        Self {
            fill: Some(colour),
            ..self
        }
    }
}

impl Text {
    /// Text from a place to the right.
    pub fn new(at_mm: [f64; 2], words: impl Into<String>, size_mm: f64, colour: Colour) -> Self {
        Self {
            at_mm,
            words: words.into(),
            size_mm,
            anchor: Anchor::Start,
            colour,
            strong: false,
            upward: false,
        }
    }

    /// About or up to its place.
    pub fn anchored(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }

    /// Heavier.
    pub fn strong(self) -> Self {
        Self {
            strong: true,
            ..self
        }
    }

    /// Read upward.
    pub fn upward(self) -> Self {
        Self {
            upward: true,
            ..self
        }
    }
}

impl Drawing {
    /// An empty page.
    pub fn new(size_mm: [f64; 2], title: impl Into<String>) -> Self {
        Self {
            size_mm,
            title: title.into(),
            shapes: Vec::new(),
        }
    }

    /// Adds a line from point to point.
    pub fn line(&mut self, points_mm: impl Into<Vec<[f64; 2]>>, paint: Paint) {
        self.path(points_mm.into(), false, paint);
    }

    /// Adds a closed outline.
    pub fn polygon(&mut self, points_mm: impl Into<Vec<[f64; 2]>>, paint: Paint) {
        self.path(points_mm.into(), true, paint);
    }

    fn path(&mut self, points_mm: Vec<[f64; 2]>, closed: bool, paint: Paint) {
        self.shapes.push(Shape::Path {
            points_mm,
            closed,
            paint,
        });
    }

    /// Adds a rectangle.
    pub fn rect(&mut self, corner_mm: [f64; 2], size_mm: [f64; 2], paint: Paint) {
        self.shapes.push(Shape::Rect {
            corner_mm,
            size_mm,
            paint,
        });
    }

    /// Adds a circle.
    pub fn circle(&mut self, centre_mm: [f64; 2], radius_mm: f64, paint: Paint) {
        self.shapes.push(Shape::Circle {
            centre_mm,
            radius_mm,
            paint,
        });
    }

    /// Adds a line of text.
    pub fn text(&mut self, text: Text) {
        self.shapes.push(Shape::Text(text));
    }

    /// Adds text broken into lines no wider than `width_mm`, the first where `text` stands; gives the
    /// number of lines.
    pub fn paragraph(&mut self, text: &Text, width_mm: f64, leading_mm: f64) -> usize {
        let lines = broken(&text.words, text.size_mm, width_mm);
        let count = lines.len();
        for (k, words) in lines.into_iter().enumerate() {
            self.text(Text {
                at_mm: [text.at_mm[0], text.at_mm[1] + k as f64 * leading_mm],
                words,
                ..text.clone()
            });
        }
        count
    }
}

/// Words in lines no wider than this, as long as no one word is.
fn broken(words: &str, size_mm: f64, width_mm: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        match lines.last_mut() {
            Some(line) if text_width_mm(&format!("{line} {word}"), size_mm) <= width_mm => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// The text, cut so that it is no wider than this.
pub fn fitted(words: &str, size_mm: f64, width_mm: f64) -> String {
    if text_width_mm(words, size_mm) <= width_mm {
        return words.to_owned();
    }
    let mut cut = String::new();
    for letter in words.chars() {
        if text_width_mm(&format!("{cut}{letter}…"), size_mm) > width_mm {
            break;
        }
        cut.push(letter);
    }
    cut + "…"
}

/// Metres on a page: where the origin is drawn, and how large a metre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// Of the origin.
    pub origin_mm: [f64; 2],
    /// 20 for a scale of 1:20.
    pub one_to: f64,
}

/// Scales that a ruler has.
const ONE_TO: [f64; 10] = [1.0, 2.0, 2.5, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0];

impl Scale {
    /// The largest common scale at which so many metres fit in so many millimetres.
    pub fn fitting(size_m: [f64; 2], room_mm: [f64; 2]) -> f64 {
        let need = (0..2)
            .map(|k| 1000.0 * size_m[k] / room_mm[k])
            .fold(0.0, f64::max);
        let fits = |one_to: &f64| *one_to >= need - 1e-9;
        ONE_TO.into_iter().find(fits).unwrap_or(need)
    }

    /// A length on the page.
    pub fn mm(&self, metres: f64) -> f64 {
        1000.0 * metres / self.one_to
    }

    /// A place on the page; y goes up.
    pub fn at(&self, [x_m, y_m]: [f64; 2]) -> [f64; 2] {
        [
            self.origin_mm[0] + self.mm(x_m),
            self.origin_mm[1] - self.mm(y_m),
        ]
    }
}
