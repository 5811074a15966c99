//! Text and tables set on leaves of paper: what is drawn where, and what it is of the document.

use super::content::{Cell, Image, SheetTable};
use super::fonts::Fonts;
use crate::report::drawing::{Anchor, Colour, Paint, Shape, Text};

/// Black, as soft as ink on paper.
pub(super) const INK: Colour = [28; 3];
/// For what is said in passing.
pub(super) const GREY: Colour = [104; 3];
const HAIR: Colour = [190; 3];

/// Sizes of letters, and the distance of their lines as a multiple.
pub(super) const TITLE_MM: f64 = 7.0;
pub(super) const HEAD_MM: f64 = 3.7;
pub(super) const BODY_MM: f64 = 3.05;
pub(super) const SMALL_MM: f64 = 2.45;
pub(super) const LEADING: f64 = 1.36;

const HAIR_MM: f64 = 0.12;
/// Between the columns of a table.
const GUTTER_MM: f64 = 3.0;
/// Above and under what stands in a row.
const ROW_MM: f64 = 0.9;
/// Lines of a cell's text, and of what is under it.
const MOST_LINES: usize = 4;

/// The margin around a leaf, and where its foot stands.
pub(super) const MARGIN_MM: f64 = 16.0;
pub(super) const FOOT_MM: f64 = 9.0;

/// A number for what was drawn, to find it again in the document's tree.
pub(super) type Part = usize;

/// A leaf of paper.
#[derive(Default)]
pub(super) struct Leaf<'a> {
    pub marks: Vec<Mark<'a>>,
}

/// Things drawn together.
pub(super) struct Mark<'a> {
    pub inks: Vec<Ink<'a>>,
    /// None for what only adorns the leaf.
    pub part: Option<Part>,
}

/// Something drawn.
pub(super) enum Ink<'a> {
    Shape(Shape),
    Picture {
        image: &'a Image,
        corner_mm: [f64; 2],
        size_mm: [f64; 2],
    },
}

/// What the parts are, in the order of reading.
pub(super) enum Node {
    Heading(u16, String, Vec<Part>),
    Paragraph(Vec<Part>),
    /// With what it shows in words, and its frame on the leaf.
    Figure(String, Part, Frame),
    /// Row by row, the first the heads; for each cell its parts.
    Table(Vec<Vec<Vec<Part>>>),
    /// Label and body of each item.
    List(Vec<[Vec<Part>; 2]>),
}

/// Leaf, left, top, right, bottom.
#[derive(Clone, Copy)]
pub(super) struct Frame {
    pub leaf: usize,
    pub corners_mm: [f64; 4],
}

/// Letters of one kind.
#[derive(Clone, Copy)]
pub(super) struct Style {
    pub size_mm: f64,
    pub colour: Colour,
    pub strong: bool,
    pub anchor: Anchor,
}

impl Style {
    pub(super) fn new(size_mm: f64, colour: Colour) -> Self {
        Self {
            size_mm,
            colour,
            strong: false,
            anchor: Anchor::Start,
        }
    }

    pub(super) fn strong(self) -> Self {
        Self {
            strong: true,
            ..self
        }
    }

    pub(super) fn right(self) -> Self {
        Self {
            anchor: Anchor::End,
            ..self
        }
    }

    pub(super) fn line_mm(&self) -> f64 {
        self.size_mm * LEADING
    }
}

/// Sets one document.
pub(super) struct Setter<'a> {
    pub fonts: Fonts,
    pub size_mm: [f64; 2],
    pub leaves: Vec<Leaf<'a>>,
    pub tree: Vec<Node>,
    /// Where the next thing goes.
    pub y_mm: f64,
    next: Part,
    /// Drawn at the head of each further leaf.
    pub running_head: String,
}

impl<'a> Setter<'a> {
    pub(super) fn new(size_mm: [f64; 2]) -> Self {
        Self {
            fonts: Fonts::new(),
            size_mm,
            leaves: Vec::new(),
            tree: Vec::new(),
            y_mm: 0.0,
            next: 0,
            running_head: String::new(),
        }
    }

    pub(super) fn width_mm(&self) -> f64 {
        self.size_mm[0] - 2.0 * MARGIN_MM
    }

    pub(super) fn bottom_mm(&self) -> f64 {
        self.size_mm[1] - MARGIN_MM
    }

    /// A leaf without a head.
    pub(super) fn first_leaf(&mut self) {
        self.leaves.push(Leaf::default());
        self.y_mm = MARGIN_MM;
    }

    /// A further leaf.
    pub(super) fn new_leaf(&mut self) {
        self.first_leaf();
        let style = Style::new(SMALL_MM, GREY);
        let width_mm = self.width_mm();
        let words = self.running_head.clone();
        let lines = self.fonts.lines_up_to(1, &words, style.size_mm, width_mm);
        let shape = text([MARGIN_MM, MARGIN_MM], &lines.concat(), style);
        self.adorn(vec![shape]);
        self.rule(MARGIN_MM + 1.6);
        self.y_mm = MARGIN_MM + 7.0;
    }

    /// Begins a new leaf where so much does not fit any more.
    pub(super) fn need(&mut self, height_mm: f64) {
        if self.y_mm + height_mm > self.bottom_mm() + 1e-6 {
            self.new_leaf();
        }
    }

    /// Draws what is no part of the text.
    pub(super) fn adorn(&mut self, shapes: Vec<Shape>) {
        if let Some(leaf) = self.leaves.last_mut() {
            leaf.marks.push(Mark {
                inks: shapes.into_iter().map(Ink::Shape).collect(),
                part: None,
            });
        }
    }

    /// Draws a part of the text.
    pub(super) fn draw(&mut self, inks: Vec<Ink<'a>>) -> Part {
        let part = self.next;
        self.next += 1;
        if let Some(leaf) = self.leaves.last_mut() {
            leaf.marks.push(Mark {
                inks,
                part: Some(part),
            });
        }
        part
    }

    /// A hairline across the leaf.
    pub(super) fn rule(&mut self, y_mm: f64) {
        let (left, right) = (MARGIN_MM, self.size_mm[0] - MARGIN_MM);
        self.adorn(vec![hair([left, y_mm], [right, y_mm])]);
    }

    /// One line; its place is on the baseline.
    pub(super) fn line(&mut self, at_mm: [f64; 2], words: &str, style: Style) -> Part {
        self.draw(vec![Ink::Shape(text(at_mm, words, style))])
    }

    /// Lines under each other, the top of the first at `top_mm`; gives their parts and height.
    pub(super) fn lines(
        &mut self,
        left_mm: f64,
        top_mm: f64,
        lines: &[String],
        style: Style,
    ) -> (Vec<Part>, f64) {
        let mut parts = Vec::new();
        for (k, words) in lines.iter().enumerate() {
            let y = top_mm + style.size_mm + k as f64 * style.line_mm();
            parts.push(self.line([left_mm, y], words, style));
        }
        (parts, lines.len() as f64 * style.line_mm())
    }

    /// A heading at the cursor, with room for something under it.
    pub(super) fn heading(&mut self, words: &str, followed_by_mm: f64) {
        self.need(HEAD_MM * LEADING + 1.2 + followed_by_mm);
        let style = Style::new(HEAD_MM, INK).strong();
        let part = self.line([MARGIN_MM, self.y_mm + HEAD_MM], words, style);
        self.tree
            .push(Node::Heading(2, words.to_owned(), vec![part]));
        self.y_mm += HEAD_MM * LEADING + 1.2;
    }

    /// A paragraph at the cursor; goes on over as many leaves as it needs.
    pub(super) fn paragraph(&mut self, words: &str, style: Style) {
        let mut parts = Vec::new();
        let lines = self.fonts.lines(words, style.size_mm, self.width_mm());
        for words in &lines {
            self.need(style.line_mm());
            let at = [MARGIN_MM, self.y_mm + style.size_mm];
            parts.push(self.line(at, words, style));
            self.y_mm += style.line_mm();
        }
        self.tree.push(Node::Paragraph(parts));
    }

    /// Widths of a table's columns, and the row of its heads.
    fn columns(&self, table: &SheetTable) -> (Vec<f64>, Vec<Cell>) {
        let all: f64 = table.columns.iter().map(|c| c.parts).sum();
        let scale = self.width_mm() / all.max(1e-9);
        let columns = table.columns.iter();
        columns
            .map(|c| (c.parts * scale, Cell::with("", &c.head)))
            .unzip()
    }

    /// What a table takes of a leaf, with its heading and its note.
    pub(super) fn table_height(&self, table: &SheetTable) -> f64 {
        let (widths, heads) = self.columns(table);
        let rows = table.rows.iter().chain([&heads]);
        let rows: f64 = rows.map(|row| self.row_height(row, &widths)).sum();
        let note = self.fonts.lines(&table.note, SMALL_MM, self.width_mm());
        HEAD_MM * LEADING + 2.2 + rows + note.len() as f64 * SMALL_MM * LEADING
    }

    /// A table at the cursor, its heads repeated on each leaf.
    pub(super) fn table(&mut self, table: &SheetTable) {
        let (widths, heads) = self.columns(table);
        let first_mm = table
            .rows
            .first()
            .map_or(0.0, |row| self.row_height(row, &widths));
        let heads_mm = self.row_height(&heads, &widths);
        self.heading(&table.title, heads_mm + first_mm);
        let mut rows = vec![self.row(&heads, &widths, table, true)];
        for row in &table.rows {
            let height_mm = self.row_height(row, &widths);
            if self.y_mm + height_mm > self.bottom_mm() {
                self.new_leaf();
                self.row(&heads, &widths, table, false);
            }
            rows.push(self.row(row, &widths, table, true));
        }
        self.tree.push(Node::Table(rows));
        if !table.note.is_empty() {
            self.y_mm += 1.0;
            let lines = self.fonts.lines(&table.note, SMALL_MM, self.width_mm());
            self.need(lines.len() as f64 * SMALL_MM * LEADING);
            self.paragraph(&table.note, Style::new(SMALL_MM, GREY));
        }
        self.y_mm += 5.0;
    }

    fn cell_lines(&self, cell: &Cell, width_mm: f64, first: bool) -> [(Vec<String>, Style); 2] {
        let main = Style::new(BODY_MM, INK);
        let main = if first { main.strong() } else { main };
        let under = Style::new(SMALL_MM, GREY);
        [(&cell.text, main), (&cell.under, under)].map(|(words, style)| {
            let lines = if words.is_empty() {
                Vec::new()
            } else {
                let room = width_mm - GUTTER_MM;
                self.fonts
                    .lines_up_to(MOST_LINES, words, style.size_mm, room)
            };
            (lines, style)
        })
    }

    fn row_height(&self, row: &[Cell], widths: &[f64]) -> f64 {
        let tallest = row
            .iter()
            .zip(widths)
            .enumerate()
            .map(|(k, (cell, width))| {
                let parts = self.cell_lines(cell, *width, k == 0);
                parts
                    .iter()
                    .map(|(lines, style)| lines.len() as f64 * style.line_mm())
                    .sum::<f64>()
            })
            .fold(0.0, f64::max);
        tallest + 2.0 * ROW_MM
    }

    /// Draws a row and the hairline under it. A row that only repeats is no part of the text.
    fn row(
        &mut self,
        row: &[Cell],
        widths: &[f64],
        table: &SheetTable,
        counts: bool,
    ) -> Vec<Vec<Part>> {
        let height_mm = self.row_height(row, widths);
        let mut left = MARGIN_MM;
        let mut parts = Vec::new();
        for (k, (cell, width)) in row.iter().zip(widths).enumerate() {
            let numbers = table.columns.get(k).is_some_and(|c| c.numbers);
            let mut top = self.y_mm + ROW_MM;
            let mut of_cell = Vec::new();
            for (lines, style) in self.cell_lines(cell, *width, k == 0) {
                let (x, style) = if numbers {
                    (left + width - GUTTER_MM, style.right())
                } else {
                    (left, style)
                };
                if counts {
                    let (drawn, height) = self.lines(x, top, &lines, style);
                    of_cell.extend(drawn);
                    top += height;
                } else {
                    let shapes = lines.iter().enumerate().map(|(i, words)| {
                        let y = top + style.size_mm + i as f64 * style.line_mm();
                        text([x, y], words, style)
                    });
                    self.adorn(shapes.collect());
                }
            }
            parts.push(of_cell);
            left += width;
        }
        self.y_mm += height_mm;
        self.rule(self.y_mm);
        parts
    }

    /// Numbered things at the cursor: a number, what to do, how, which may have several lines.
    pub(super) fn steps(&mut self, title: &str, steps: &[(String, String, String)]) {
        const NUMBER_MM: f64 = 7.0;
        let style = Style::new(BODY_MM, INK);
        let head_mm = 0.26 * self.width_mm();
        let body_mm = self.width_mm() - NUMBER_MM - head_mm;
        let mut items = Vec::new();
        let set: Vec<_> = steps
            .iter()
            .map(|(number, head, body)| {
                let head = match head.is_empty() {
                    true => Vec::new(),
                    false => self.fonts.lines(head, style.size_mm, head_mm - GUTTER_MM),
                };
                let room = if head.is_empty() {
                    body_mm + head_mm
                } else {
                    body_mm
                };
                let body = body.split('\n');
                let body = body.flat_map(|line| self.fonts.lines(line, style.size_mm, room));
                (number, head, body.collect::<Vec<_>>())
            })
            .collect();
        let height =
            |head: &[String], body: &[String]| head.len().max(body.len()) as f64 * style.line_mm();
        self.heading(title, set.first().map_or(0.0, |s| height(&s.1, &s.2)));
        for (number, head, body) in &set {
            let height_mm = height(head, body) + 2.0 * ROW_MM;
            if height_mm < 0.5 * self.size_mm[1] {
                self.need(height_mm);
            }
            let number_at = [MARGIN_MM, self.y_mm + ROW_MM + style.size_mm];
            let label = match number.is_empty() {
                true => Vec::new(),
                false => vec![self.line(number_at, number, Style::new(BODY_MM, GREY))],
            };
            let number_mm = if number.is_empty() { 0.0 } else { NUMBER_MM };
            let (mut parts, mut bodies) = (Vec::new(), Vec::new());
            let left = MARGIN_MM + number_mm;
            let of_body = if head.is_empty() {
                left
            } else {
                left + head_mm
            };
            self.y_mm += ROW_MM;
            for k in 0..head.len().max(body.len()) {
                self.need(style.line_mm());
                let y = self.y_mm + style.size_mm;
                if let Some(words) = head.get(k) {
                    parts.push(self.line([left, y], words, style.strong()));
                }
                if let Some(words) = body.get(k) {
                    bodies.push(self.line([of_body, y], words, style));
                }
                self.y_mm += style.line_mm();
            }
            self.y_mm += ROW_MM;
            self.rule(self.y_mm);
            parts.extend(bodies);
            items.push([label, parts]);
        }
        self.tree.push(Node::List(items));
        self.y_mm += 5.0;
    }

    /// A picture with its top left there.
    pub(super) fn picture(&mut self, image: &'a Image, corner_mm: [f64; 2], size_mm: [f64; 2]) {
        let part = self.draw(vec![Ink::Picture {
            image,
            corner_mm,
            size_mm,
        }]);
        let frame = self.frame(corner_mm, size_mm);
        self.tree.push(Node::Figure(image.alt.clone(), part, frame));
    }

    pub(super) fn frame(&self, [x, y]: [f64; 2], [w, h]: [f64; 2]) -> Frame {
        Frame {
            leaf: self.leaves.len().saturating_sub(1),
            corners_mm: [x, y, x + w, y + h],
        }
    }
}

/// Words on their baseline.
pub(super) fn text(at_mm: [f64; 2], words: &str, style: Style) -> Shape {
    let mut text = Text::new(at_mm, words, style.size_mm, style.colour).anchored(style.anchor);
    text.strong = style.strong;
    Shape::Text(text)
}

/// A hairline.
pub(super) fn hair(from_mm: [f64; 2], to_mm: [f64; 2]) -> Shape {
    Shape::Path {
        points_mm: vec![from_mm, to_mm],
        closed: false,
        paint: Paint::line(HAIR, HAIR_MM),
    }
}
