//! The contact page of a sweep: a picture of every state with its readings, and plots of what the sweep
//! does. Also its table ([`csv()`]) and a picture that moves through the states ([`moving()`]).

mod captions;
mod csv;
mod flashes;
mod moving;
mod plots;

pub use captions::{amount_in_stops, mark_words, watched};
pub use csv::csv;
pub use flashes::{Flashes, flashes};
pub use moving::{FADE_S, HOLD_S, MOST_FLASHES_PER_S, Moving, moving};

use super::drawing::{Anchor, Colour, Drawing, Paint, Raster, Shape, Text, fitted};
use crate::measure::vary::{Axis, Linear, Made, Plan};
use crate::photometry::colour::encode_srgb8;

pub(super) const INK: Colour = [34, 34, 34];
pub(super) const QUIET: Colour = [95, 95, 95];
const MARGIN: f64 = 14.0;
/// A4, lying; more where the pictures need it.
const LEAST_WIDTH: f64 = 297.0;
const TITLE_MM: f64 = 6.4;
const LABEL_MM: f64 = 3.3;
const WORDS_MM: f64 = 2.65;
const LEADING: f64 = 3.7;
const GAP: f64 = 5.0;
/// Pictures side by side on one axis.
const ABREAST: usize = 6;
/// A picture's height on the page, and its width at the least, so that its words find room.
const HEIGHTS: [f64; 2] = [30.0, 80.0];
const LEAST_PICTURE_WIDTH: f64 = 33.0;
/// Of the headings of rows, where there are two axes.
const ROW_HEADING: f64 = 9.0;

/// Words for the page's head.
#[derive(Debug, Clone, PartialEq)]
pub struct Head {
    /// The setup's title, or its file's name.
    pub title: String,
    /// How the states are exposed, in a sentence.
    pub exposure: String,
}

/// Draws the page. `made` are the plan's states, in its order.
pub fn draw(plan: &Plan, made: &[Made], head: &Head) -> Drawing {
    let grid = Grid::new(plan, made);
    let width = LEAST_WIDTH.max(2.0 * MARGIN + grid.left + grid.wide());
    let mut page = Drawing::new([width, 0.0], head.title.as_str());
    header(&mut page, plan, head);
    let bottom = grid.draw(&mut page, plan, made);
    let bottom = plots::draw(&mut page, plan, made, bottom + 9.0);
    let bottom = footer(&mut page, plan, made, bottom);
    page.size_mm[1] = bottom + 8.0;
    page
}

fn header(page: &mut Drawing, plan: &Plan, head: &Head) {
    let [left, right] = [MARGIN, page.size_mm[0] - MARGIN];
    let title = fitted(&head.title, TITLE_MM, right - left);
    page.text(Text::new([left, 18.5], title, TITLE_MM, INK));
    let keys: Vec<String> = plan.axes.iter().map(Axis::words).collect();
    let over = match &keys[..] {
        [across, down] => format!("Across: {across}. Down: {down}"),
        keys => format!("Over {}", keys.join(", ")),
    };
    let words = format!("{over}. {}", head.exposure);
    let words = fitted(&words, 3.2, right - left);
    page.text(Text::new([left, 25.0], words, 3.2, QUIET));
    page.line([[left, 29.0], [right, 29.0]], Paint::line(INK, 0.25));
}

fn footer(page: &mut Drawing, plan: &Plan, made: &[Made], top: f64) -> f64 {
    let width = page.size_mm[0] - 2.0 * MARGIN;
    let point = &made[0].expose_at.meter.name;
    let mut words = format!(
        "Read at {point}: each light alone and all together, as a meter's third marks and tenths of a stop over \
         them. Edge: width, 10 to 90 %, of the shadow of a straight edge 100 mm in front of the point, that \
         light alone."
    );
    if made
        .iter()
        .any(|m| m.balanced.iter().any(|b| b.target.is_some()))
    {
        words += " Lights with a target have it in every state: their power follows.";
    }
    if plan.states.len() > 1 && made.iter().any(|m| m.evenness_stops.is_some()) {
        words += " Evenness: greatest less least reading toward the camera, face to hem.";
    }
    let text = Text::new([MARGIN, top + 5.0], words, WORDS_MM, QUIET);
    let lines = page.paragraph(&text, width, LEADING);
    top + 5.0 + lines as f64 * LEADING
}

/// How the pictures lie on the page.
struct Grid {
    columns: usize,
    rows: usize,
    picture: [f64; 2],
    cell_width: f64,
    /// Room for headings: to the left of the pictures, and over them.
    left: f64,
    over: f64,
    caption_lines: usize,
}

impl Grid {
    fn new(plan: &Plan, made: &[Made]) -> Self {
        let two = plan.axes.len() == 2;
        let columns = match two {
            true => plan.columns(),
            // Rows as even as can be: 8 are 4 and 4.
            false => plan.columns().div_ceil(plan.columns().div_ceil(ABREAST)),
        };
        let sizes = || made.iter().filter_map(|m| m.picture.as_ref());
        let shape = |p: &Linear| f64::from(p.width) / f64::from(p.height.max(1));
        let widest = sizes().map(shape).fold(0.0, f64::max);
        let left = if two { ROW_HEADING } else { 0.0 };
        let room = LEAST_WIDTH - 2.0 * MARGIN - left;
        let fits = (room - GAP * (columns as f64 - 1.0)) / columns as f64;
        let height = match widest > 0.0 {
            true => (fits / widest).clamp(HEIGHTS[0], HEIGHTS[1]),
            false => 0.0,
        };
        let picture = [height * widest, height];
        Self {
            columns,
            rows: plan.states.len().div_ceil(columns),
            picture,
            cell_width: picture[0].max(LEAST_PICTURE_WIDTH),
            left,
            over: if two { 6.0 } else { 0.0 },
            caption_lines: captions::lines(plan, made),
        }
    }

    fn wide(&self) -> f64 {
        self.columns as f64 * (self.cell_width + GAP) - GAP
    }

    /// Draws the pictures with their words; gives where they end.
    fn draw(&self, page: &mut Drawing, plan: &Plan, made: &[Made]) -> f64 {
        const TOP: f64 = 34.0;
        let two = plan.axes.len() == 2;
        let label = if two { 0.0 } else { LABEL_MM + 1.6 };
        let cell = self.picture[1] + 1.0 + label + self.caption_lines as f64 * LEADING + 5.0;
        if two {
            self.headings(page, plan, TOP, cell);
        }
        for (k, (state, one)) in plan.states.iter().zip(made).enumerate() {
            let x = MARGIN + self.left + (k % self.columns) as f64 * (self.cell_width + GAP);
            let mut y = TOP + self.over + (k / self.columns) as f64 * cell;
            if let Some(picture) = &one.picture {
                place(page, picture, [x, y], self.picture[1]);
                y += self.picture[1];
            }
            y += 1.0;
            if !two {
                let words = fitted(&plan.label(state), LABEL_MM, self.cell_width);
                y += LABEL_MM + 1.2;
                page.text(Text::new([x, y - 0.4], words, LABEL_MM, INK).strong());
            }
            for line in captions::captions(plan, made, k) {
                y += LEADING;
                let line = fitted(&line, WORDS_MM, self.cell_width);
                page.text(Text::new([x, y - 0.2], line, WORDS_MM, QUIET));
            }
        }
        TOP + self.over + self.rows as f64 * cell - 5.0
    }

    fn headings(&self, page: &mut Drawing, plan: &Plan, top: f64, cell: f64) {
        for column in 0..self.columns {
            let x = MARGIN + self.left + column as f64 * (self.cell_width + GAP);
            let words = fitted(&plan.axes[0].label(column), LABEL_MM, self.cell_width);
            page.text(Text::new([x, top + 3.4], words, LABEL_MM, INK).strong());
        }
        for row in 0..self.rows {
            let y = top + self.over + row as f64 * cell + 0.5 * self.picture[1];
            let words = fitted(&plan.axes[1].label(row), LABEL_MM, cell - 4.0);
            let text = Text::new([MARGIN + 4.0, y], words, LABEL_MM, INK);
            page.text(text.anchored(Anchor::Middle).strong().upward());
        }
    }
}

/// A picture on a page, as high as said.
pub(super) fn place(page: &mut Drawing, picture: &Linear, corner_mm: [f64; 2], height_mm: f64) {
    let shape = f64::from(picture.width) / f64::from(picture.height.max(1));
    page.shapes.push(Shape::Raster {
        corner_mm,
        size_mm: [height_mm * shape, height_mm],
        raster: raster(picture),
    });
}

/// A picture as a display shows it.
pub fn raster(picture: &Linear) -> Raster {
    Raster {
        columns: picture.width as usize,
        pixels: picture
            .rgb
            .iter()
            .map(|rgb| rgb.map(|v| encode_srgb8(f64::from(v))))
            .collect(),
    }
}
