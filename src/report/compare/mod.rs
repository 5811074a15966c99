//! Setups side by side: their pictures at one exposure, how far they lie apart in stops, what differs in
//! the setups, readings and quality. As a page ([`draw`]) and as a web page with a wipe ([`html`]).

mod apart;
mod figures;
mod tables;
mod taped;
mod wipe;

pub use apart::{Apart, Bands, apart};
pub use figures::{Figure, figures};
pub use taped::rows;
pub use wipe::html;

use super::contact::{Head, INK, QUIET, place};
use super::drawing::{Drawing, Paint, Raster, Shape, Text, fitted, text_width_mm};
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
/// Of a picture.
const HEIGHTS: [f64; 2] = [40.0, 125.0];
const LEAST_COLUMN: f64 = 44.0;
/// Of the false colours' key, where it stands beside them.
const KEY_MM: f64 = 32.0;

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
        bottom = columns.apart(&mut page, sides, top);
    }
    bottom = tables::draw(&mut page, sides, differences, bottom + 10.0);
    page.size_mm[1] = bottom + 10.0;
    page
}

/// How the pictures stand beside each other.
struct Columns {
    height: f64,
    width: f64,
    count: usize,
    /// Whether the one difference stands at the right of the two pictures, its key beside it: two upright
    /// pictures would leave that half of the page empty.
    in_one_row: bool,
}

impl Columns {
    fn new(sides: &[Side<'_>]) -> Self {
        let shape = |p: &Linear| f64::from(p.width) / f64::from(p.height.max(1));
        let all = || sides.iter().filter_map(|s| s.made.picture.as_ref());
        let widest = all().map(shape).fold(0.0, f64::max);
        let in_one_row = sides.len() == 2 && widest > 0.0 && widest < 1.1;
        let (cells, room) = match in_one_row {
            true => (3, LEAST_WIDTH - 2.0 * MARGIN - KEY_MM - GAP),
            false => (sides.len(), LEAST_WIDTH - 2.0 * MARGIN),
        };
        let fits = (room + GAP) / cells as f64 - GAP;
        let height = match widest > 0.0 {
            true => (fits / widest).clamp(HEIGHTS[0], HEIGHTS[1]),
            false => 0.0,
        };
        Self {
            height,
            width: (height * widest).max(fits).max(LEAST_COLUMN),
            count: sides.len(),
            in_one_row,
        }
    }

    fn wide(&self) -> f64 {
        self.count as f64 * (self.width + GAP) - GAP
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

    /// The false colours and their key, from the top of the pictures; gives where they end.
    fn apart(&self, page: &mut Drawing, sides: &[Side<'_>], pictures_top: f64) -> f64 {
        let first = &sides[0];
        let found: Vec<Option<Apart>> = sides[1..]
            .iter()
            .map(|s| apart(first.made.picture.as_ref()?, s.made.picture.as_ref()?))
            .collect();
        let reach = found.iter().flatten().map(Apart::reach).fold(0.0, f64::max);
        let bands = Bands::reaching(reach);
        let (heading, key_x, top) = match self.in_one_row {
            true => (None, self.left(3), pictures_top),
            false => (
                Some("Difference in stops"),
                MARGIN,
                pictures_top + self.height + 14.0,
            ),
        };
        if let Some(heading) = heading {
            let at = [MARGIN, top - 2.5];
            page.text(Text::new(at, heading, LABEL_MM, INK).strong());
        }
        let key_width = if self.in_one_row { KEY_MM } else { self.width };
        let key_bottom = self.key(page, &bands, first.name, [key_x, top, key_width]);
        let mut bottom = key_bottom;
        for (k, found) in found.iter().enumerate() {
            let x = self.left(if self.in_one_row { 2 } else { k + 1 });
            // Where there is no room for both names the key still says what it is held against.
            let named = format!("{} against {}", sides[k + 1].name, first.name);
            let words = match text_width_mm(&named, LABEL_MM) <= self.width {
                true => named,
                false => fitted(sides[k + 1].name, LABEL_MM, self.width),
            };
            let at = if self.in_one_row {
                top - 5.6
            } else {
                top - 2.5
            };
            page.text(Text::new([x, at], words, LABEL_MM, INK).strong());
            if self.in_one_row {
                let words = "difference in stops";
                page.text(Text::new([x, top - 1.8], words, WORDS_MM, QUIET));
            }
            let Some(found) = found else {
                let words = "Its picture has another shape than the first, so there is no difference to draw.";
                let text = Text::new([x, top + 4.0], words, WORDS_MM, QUIET);
                page.paragraph(&text, self.width, LEADING);
                continue;
            };
            let rows = (found.stops.len() / found.columns.max(1)).max(1);
            page.shapes.push(Shape::Raster {
                corner_mm: [x, top],
                size_mm: [
                    found.columns as f64 * self.height / rows as f64,
                    self.height,
                ],
                raster: Raster {
                    columns: found.columns,
                    pixels: found.stops.iter().map(|s| bands.colour(*s)).collect(),
                },
            });
            let y = top + self.height + 4.2;
            let text = Text::new([x, y], found.words(), WORDS_MM, QUIET);
            page.paragraph(&text, self.width, LEADING);
            bottom = bottom.max(y + LEADING);
        }
        bottom.max(top + self.height)
    }

    /// The bands with their stops, brightest on top, and what they mean; gives where it ends.
    fn key(
        &self,
        page: &mut Drawing,
        bands: &Bands,
        first: &str,
        [left, top, width]: [f64; 3],
    ) -> f64 {
        let all = bands.steps();
        let count = all.len() as f64;
        let room = (self.height - 22.0).max(24.0);
        let step = (room / count).min(5.0);
        for (k, stops) in all.iter().rev().enumerate() {
            let y = top + k as f64 * step;
            let colour = bands.colour(Some(*stops as f32));
            page.rect([left, y], [7.0, step], Paint::fill(colour));
            if step >= 3.0 || bands.is_labelled(*stops) {
                let at = [left + 9.0, y + 0.5 * step + 0.9];
                page.text(Text::new(at, bands.words(*stops), WORDS_MM, INK));
            }
        }
        let y = top + count * step;
        let size = [7.0, count * step];
        page.rect([left, top], size, Paint::line([150, 150, 150], 0.15));
        let dark = Paint::fill(bands.colour(None));
        page.rect([left, y + 2.0], [7.0, 3.4], dark);
        let words = "too dark to tell";
        page.text(Text::new([left + 9.0, y + 4.6], words, WORDS_MM, INK));
        let words = format!(
            "Orange: brighter than {}; blue: darker. Of luminance, pixel by pixel, at one exposure.",
            fitted(first, WORDS_MM, 0.6 * width)
        );
        let text = Text::new([left, y + 10.5], words, WORDS_MM, QUIET);
        y + 10.5 + page.paragraph(&text, width, LEADING) as f64 * LEADING
    }
}
