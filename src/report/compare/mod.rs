//! Setups side by side: their pictures at one exposure, how far they lie apart in stops, what differs in
//! the setups, readings and quality. As a page ([`draw`]) and as a web page with a wipe ([`html`]).

mod apart;
mod figures;
mod tables;
mod wipe;

pub use apart::{Apart, Bands, apart};
pub use figures::{Figure, figures};
pub use wipe::html;

use super::contact::{Head, INK, QUIET, place};
use super::drawing::{Drawing, Paint, Raster, Shape, Text, fitted};
use crate::measure::vary::{Linear, Made};
use crate::setup::Setup;
use crate::setup::differ::Difference;

const MARGIN: f64 = 14.0;
const LEAST_WIDTH: f64 = 297.0;
const GAP: f64 = 6.0;
const TITLE_MM: f64 = 6.4;
const LABEL_MM: f64 = 3.3;
const WORDS_MM: f64 = 2.65;
const LEADING: f64 = 3.7;
const HEIGHTS: [f64; 2] = [40.0, 80.0];
const LEAST_COLUMN: f64 = 44.0;

/// One of the setups.
#[derive(Debug, Clone, Copy)]
pub struct Side<'a> {
    /// What it is called: its file's name.
    pub name: &'a str,
    /// The setup.
    pub setup: &'a Setup,
    /// What was found of it.
    pub made: &'a Made,
}

/// Draws the page.
pub fn draw(sides: &[Side<'_>], differences: &[Difference], head: &Head) -> Drawing {
    let columns = Columns::new(sides);
    let width = LEAST_WIDTH.max(2.0 * MARGIN + columns.wide());
    let mut page = Drawing::new([width, 0.0], head.title.as_str());
    let [left, right] = [MARGIN, width - MARGIN];
    let title = fitted(&head.title, TITLE_MM, right - left);
    page.text(Text::new([left, 18.5], title, TITLE_MM, INK));
    let words = fitted(&head.exposure, 3.2, right - left);
    page.text(Text::new([left, 25.0], words, 3.2, QUIET));
    page.line([[left, 29.0], [right, 29.0]], Paint::line(INK, 0.25));

    let top = 39.5;
    columns.pictures(&mut page, sides, top);
    let mut bottom = top + columns.height;
    if sides.iter().all(|s| s.made.picture.is_some()) {
        bottom = columns.apart(&mut page, sides, bottom + 10.0);
    }
    bottom = tables::draw(&mut page, sides, differences, bottom + 10.0);
    page.size_mm[1] = bottom + 10.0;
    page
}

/// How the pictures stand beside each other.
struct Columns {
    height: f64,
    width: f64,
}

impl Columns {
    fn new(sides: &[Side<'_>]) -> Self {
        let shape = |p: &Linear| f64::from(p.width) / f64::from(p.height.max(1));
        let all = || sides.iter().filter_map(|s| s.made.picture.as_ref());
        let widest = all().map(shape).fold(0.0, f64::max);
        let count = sides.len() as f64;
        let fits = (LEAST_WIDTH - 2.0 * MARGIN - GAP * (count - 1.0)) / count;
        let height = match widest > 0.0 {
            true => (fits / widest).clamp(HEIGHTS[0], HEIGHTS[1]),
            false => 0.0,
        };
        Self {
            height,
            width: (height * widest).max(LEAST_COLUMN),
        }
    }

    fn wide(&self) -> f64 {
        // For the most that there can be, so that the page does not depend on it.
        6.0 * (self.width.min(LEAST_COLUMN) + GAP) - GAP
    }

    fn left(&self, column: usize) -> f64 {
        MARGIN + column as f64 * (self.width + GAP)
    }

    fn pictures(&self, page: &mut Drawing, sides: &[Side<'_>], top: f64) {
        for (k, side) in sides.iter().enumerate() {
            let x = self.left(k);
            let words = fitted(side.name, LABEL_MM, self.width);
            page.text(Text::new([x, top - 5.6], words, LABEL_MM, INK).strong());
            let title = match side.setup.title.is_empty() {
                true => String::new(),
                false => fitted(&side.setup.title, WORDS_MM, self.width),
            };
            page.text(Text::new([x, top - 1.8], title, WORDS_MM, QUIET));
            if let Some(picture) = &side.made.picture {
                place(page, picture, [x, top], self.height);
            }
        }
    }

    /// The false colours, each under its picture, their key under the first.
    fn apart(&self, page: &mut Drawing, sides: &[Side<'_>], top: f64) -> f64 {
        let first = &sides[0];
        let found: Vec<Option<Apart>> = sides[1..]
            .iter()
            .map(|s| apart(first.made.picture.as_ref()?, s.made.picture.as_ref()?))
            .collect();
        let reach = found.iter().flatten().map(Apart::reach).fold(0.0, f64::max);
        let bands = Bands::reaching(reach);
        let heading = "Difference in stops";
        page.text(Text::new([MARGIN, top], heading, LABEL_MM, INK).strong());
        self.key(page, &bands, first.name, top + 4.0);
        for (k, found) in found.iter().enumerate() {
            let x = self.left(k + 1);
            let words = fitted(
                &format!("{} against {}", sides[k + 1].name, first.name),
                LABEL_MM,
                self.width,
            );
            page.text(Text::new([x, top], words, LABEL_MM, INK).strong());
            let Some(found) = found else {
                let words = "Its picture has another shape than the first, so there is no difference to draw.";
                let text = Text::new([x, top + 6.0], words, WORDS_MM, QUIET);
                page.paragraph(&text, self.width, LEADING);
                continue;
            };
            let shape = found.columns as f64 * self.height
                / (found.stops.len() / found.columns.max(1)).max(1) as f64;
            page.shapes.push(Shape::Raster {
                corner_mm: [x, top + 2.5],
                size_mm: [shape, self.height],
                raster: Raster {
                    columns: found.columns,
                    pixels: found.stops.iter().map(|s| bands.colour(*s)).collect(),
                },
            });
            let text = Text::new(
                [x, top + 2.5 + self.height + 4.2],
                found.words(),
                WORDS_MM,
                QUIET,
            );
            page.paragraph(&text, self.width, LEADING);
        }
        top + 2.5 + self.height + 4.2 + 2.0 * LEADING
    }

    /// The bands with their stops, brightest on top, and what they mean.
    fn key(&self, page: &mut Drawing, bands: &Bands, first: &str, top: f64) {
        let all = bands.steps();
        let count = all.len() as f64;
        let room = (self.height - 22.0).max(24.0);
        let step = (room / count).min(5.0);
        for (k, stops) in all.iter().rev().enumerate() {
            let y = top + k as f64 * step;
            page.rect(
                [MARGIN, y],
                [7.0, step],
                Paint::fill(bands.colour(Some(*stops as f32))),
            );
            if step >= 3.0 || bands.is_labelled(*stops) {
                let words = bands.words(*stops);
                page.text(Text::new(
                    [MARGIN + 9.0, y + 0.5 * step + 0.9],
                    words,
                    WORDS_MM,
                    INK,
                ));
            }
        }
        let y = top + count * step;
        page.rect(
            [MARGIN, top],
            [7.0, count * step],
            Paint::line([150, 150, 150], 0.15),
        );
        page.rect(
            [MARGIN, y + 2.0],
            [7.0, 3.4],
            Paint::fill(bands.colour(None)),
        );
        let words = "too dark to tell";
        page.text(Text::new([MARGIN + 9.0, y + 4.6], words, WORDS_MM, INK));
        let words = format!(
            "Orange: brighter than {}; blue: darker. Of luminance, pixel by pixel, at one exposure.",
            fitted(first, WORDS_MM, 0.6 * self.width)
        );
        let text = Text::new([MARGIN, y + 10.5], words, WORDS_MM, QUIET);
        page.paragraph(&text, self.width, LEADING);
    }
}
