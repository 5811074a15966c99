//! The sheet on paper. The first leaf is for the client: the picture, the cloth, how camera and light
//! are, what the meter reads. What follows is for the assistant: drawings, places, the build.

use super::content::{ClothPictures, Drawn, Fact, Sheet};
use super::paper::Paper;
use super::set::{
    BODY_MM, FOOT_MM, GREY, HEAD_MM, INK, Ink, Leaf, MARGIN_MM, Node, SMALL_MM, Setter, Style,
    TITLE_MM, hair, text,
};
use crate::report::drawing::{Anchor, Paint, Shape};
use crate::report::labels;

/// Between things beside each other.
const GAP_MM: f64 = 8.0;
/// Share of the leaf's height that an upright picture may take.
const STILL_SHARE: f64 = 0.6;
/// Width of a fact's name.
const LABEL_MM: f64 = 19.0;
/// Left free on the first leaf, so that it stays one where a browser prints it a little taller.
const SPARE_MM: f64 = 6.0;
/// Lines of a fact: a dozen lights' shadow edges take that many.
const FACT_LINES: usize = 7;

/// A sheet, set.
pub(super) struct Laid<'a> {
    /// Whether what the lights are set to stands with what the meter reads.
    pub settings_first: bool,
    pub leaves: Vec<Leaf<'a>>,
    pub tree: Vec<Node>,
}

/// Sets a sheet.
pub(super) fn lay(sheet: &Sheet, paper: Paper) -> Laid<'_> {
    let mut s = Setter::new(paper.size_mm());
    s.running_head = labels::joined(&[&sheet.title, &sheet.date]);
    s.first_leaf();
    head(&mut s, sheet);
    picture_and_facts(&mut s, sheet);
    for table in &sheet.readings {
        s.table(table);
    }
    // With the readings if there is room, so that the build starts earlier.
    let settings_first = s.y_mm + s.table_height(&sheet.settings) + SPARE_MM <= s.bottom_mm();
    if settings_first {
        s.table(&sheet.settings);
    }
    s.new_leaf();
    drawings(&mut s, sheet);
    s.table(&sheet.placement);
    if !settings_first {
        s.table(&sheet.settings);
    }
    if !sheet.changes.is_empty() {
        s.steps(labels::CHANGES, &unnumbered(&sheet.changes));
    }
    let steps: Vec<_> = sheet
        .steps
        .iter()
        .enumerate()
        .map(|(k, step)| (format!("{}", k + 1), step.head.clone(), step.body.clone()))
        .collect();
    s.steps(labels::BUILD_ORDER, &steps);
    s.steps(labels::CAUTIONS, &unnumbered(&sheet.cautions));
    feet(&mut s);
    Laid {
        settings_first,
        leaves: s.leaves,
        tree: s.tree,
    }
}

fn unnumbered(lines: &[String]) -> Vec<(String, String, String)> {
    let line = |words: &String| (String::new(), String::new(), words.clone());
    lines.iter().map(line).collect()
}

/// The title at the head of a first leaf.
pub(super) fn title_lines(s: &mut Setter<'_>, title: &str) {
    let style = Style::new(TITLE_MM, INK);
    let lines = s.fonts.lines_up_to(3, title, TITLE_MM, s.width_mm());
    let (parts, height) = s.lines(MARGIN_MM, s.y_mm - 1.5, &lines, style);
    s.tree.push(Node::Heading(1, title.to_owned(), parts));
    s.y_mm += height;
}

fn head<'a>(s: &mut Setter<'a>, sheet: &'a Sheet) {
    title_lines(s, &sheet.title);
    let width_mm = s.width_mm();
    let small = Style::new(BODY_MM, GREY);
    let date_mm = s.fonts.width_mm(&sheet.date, BODY_MM);
    let right = s.size_mm[0] - MARGIN_MM;
    let lines = s
        .fonts
        .lines_up_to(2, &sheet.subject, BODY_MM, width_mm - date_mm - GAP_MM);
    let (parts, height) = s.lines(MARGIN_MM, s.y_mm, &lines, small);
    s.tree.push(Node::Paragraph(parts));
    if !sheet.date.is_empty() {
        let date = s.line([right, s.y_mm + BODY_MM], &sheet.date, small.right());
        s.tree.push(Node::Paragraph(vec![date]));
    }
    s.y_mm += height + 1.0;
    s.rule(s.y_mm);
    s.y_mm += 5.0;
    if !sheet.notes.is_empty() {
        s.paragraph(&sheet.notes, Style::new(BODY_MM, INK));
        s.y_mm += 4.0;
    }
}

/// An upright picture has the rest in a column at its right, a lying one under it.
fn picture_and_facts<'a>(s: &mut Setter<'a>, sheet: &'a Sheet) {
    let column_mm = ClothPictures::PRINTED_MM[0];
    let aspect = f64::from(sheet.still.height) / f64::from(sheet.still.width.max(1));
    let most_mm = [
        s.width_mm() - column_mm - GAP_MM,
        (STILL_SHARE * s.size_mm[1]).min(s.bottom_mm() - s.y_mm),
    ];
    // Notes may have left too little of the leaf.
    if most_mm[1] < 0.45 * s.size_mm[1] {
        s.new_leaf();
    }
    if aspect >= 1.0 {
        let high = (most_mm[0] * aspect).min(STILL_SHARE * s.size_mm[1]);
        let wide = high / aspect;
        let top = s.y_mm;
        s.picture(&sheet.still, [MARGIN_MM, top], [wide, high]);
        let left = s.size_mm[0] - MARGIN_MM - column_mm;
        let mut y = top;
        if let Some(cloth) = &sheet.cloth {
            y = cloth_true(s, cloth, [left, y]) + 4.0;
            y = cloth_magnified(s, cloth, [left, y]) + 4.5;
        }
        y = facts(s, labels::CAMERA, &sheet.camera, [left, y], column_mm) + 3.0;
        y = facts(s, labels::QUALITY, &sheet.quality, [left, y], column_mm);
        s.y_mm = (top + high).max(y) + 5.0;
        return;
    }
    let wide = s.width_mm();
    let high = (wide * aspect).min(0.45 * s.size_mm[1]);
    let wide = high / aspect;
    s.picture(&sheet.still, [MARGIN_MM, s.y_mm], [wide, high]);
    s.y_mm += high + 6.0;
    let top = s.y_mm;
    let (left, right) = (MARGIN_MM, s.size_mm[0] - MARGIN_MM - column_mm);
    let beside_mm = s.width_mm() - column_mm - GAP_MM;
    let mut y = [top; 2];
    let Some(cloth) = &sheet.cloth else {
        let half_mm = 0.5 * (s.width_mm() - GAP_MM);
        let right = s.size_mm[0] - MARGIN_MM - half_mm;
        y[0] = facts(s, labels::CAMERA, &sheet.camera, [left, top], half_mm);
        y[1] = facts(s, labels::QUALITY, &sheet.quality, [right, top], half_mm);
        s.y_mm = y[0].max(y[1]) + 6.0;
        return;
    };
    y[1] = cloth_true(s, cloth, [right, y[1]]) + 4.0;
    y[1] = cloth_magnified(s, cloth, [right, y[1]]);
    y[0] = facts(s, labels::CAMERA, &sheet.camera, [left, y[0]], beside_mm) + 3.0;
    y[0] = facts(s, labels::QUALITY, &sheet.quality, [left, y[0]], beside_mm);
    s.y_mm = y[0].max(y[1]) + 6.0;
}

/// The cloth as large as it is, with a bar to check the print by; gives where it ends.
fn cloth_true<'a>(s: &mut Setter<'a>, cloth: &'a ClothPictures, [x, y]: [f64; 2]) -> f64 {
    const BAR_MM: f64 = 50.0;
    let [w, h] = ClothPictures::PRINTED_MM;
    s.picture(&cloth.true_size, [x, y], [w, h]);
    let bar_y = y + h + 2.2;
    let line = Paint::line(INK, 0.2);
    let mut shapes = vec![Shape::Path {
        points_mm: vec![[x, bar_y], [x + BAR_MM, bar_y]],
        closed: false,
        paint: line,
    }];
    for cm in 0..=5 {
        let at = x + 10.0 * f64::from(cm);
        let tick = if cm % 5 == 0 { 1.0 } else { 0.5 };
        shapes.push(Shape::Path {
            points_mm: vec![[at, bar_y - tick], [at, bar_y + tick]],
            closed: false,
            paint: line,
        });
    }
    s.adorn(shapes);
    let words = [cloth.caption.as_str(), labels::TRUE_SIZE];
    let mut y = bar_y + 1.6;
    for words in words {
        y = caption(s, words, [x, y], w);
    }
    y
}

fn cloth_magnified<'a>(s: &mut Setter<'a>, cloth: &'a ClothPictures, [x, y]: [f64; 2]) -> f64 {
    let [w, h] = ClothPictures::PRINTED_MM;
    s.picture(&cloth.magnified, [x, y], [w, h]);
    let words = labels::magnified(ClothPictures::TIMES);
    caption(s, &words, [x, y + h + 1.0], w)
}

fn caption(s: &mut Setter<'_>, words: &str, [x, y]: [f64; 2], width_mm: f64) -> f64 {
    let style = Style::new(SMALL_MM, GREY);
    let lines = s.fonts.lines_up_to(2, words, SMALL_MM, width_mm);
    let (parts, height) = s.lines(x, y, &lines, style);
    s.tree.push(Node::Paragraph(parts));
    y + height
}

/// Names and values under a small head; gives where they end.
fn facts(s: &mut Setter<'_>, title: &str, facts: &[Fact], [x, y]: [f64; 2], width_mm: f64) -> f64 {
    if facts.is_empty() {
        return y;
    }
    let head = s.line([x, y + HEAD_MM], title, Style::new(HEAD_MM, INK).strong());
    s.tree.push(Node::Heading(2, title.to_owned(), vec![head]));
    let mut y = y + HEAD_MM + 2.0;
    let (label, value) = (Style::new(SMALL_MM, GREY), Style::new(BODY_MM * 0.92, INK));
    let mut items = Vec::new();
    for fact in facts {
        s.adorn(vec![hair([x, y], [x + width_mm, y])]);
        let names = s
            .fonts
            .lines_up_to(2, &fact.label, label.size_mm, LABEL_MM - 1.5);
        let (names, _) = s.lines(x, y + 1.0, &names, label);
        let lines =
            s.fonts
                .lines_up_to(FACT_LINES, &fact.value, value.size_mm, width_mm - LABEL_MM);
        let (values, height) = s.lines(x + LABEL_MM, y + 0.7, &lines, value);
        items.push([names, values]);
        y += height + 1.3;
    }
    s.tree.push(Node::List(items));
    y
}

/// The first at the left, the others at its right under each other; all in the size they have, for they
/// are to scale.
fn drawings<'a>(s: &mut Setter<'a>, sheet: &'a Sheet) {
    const APART_MM: f64 = 4.0;
    let Some((plan, elevations)) = sheet.drawings.split_first() else {
        return;
    };
    let beside = |d: &Drawn| d.drawing.size_mm[1] + APART_MM;
    let height = beside(plan).max(elevations.iter().map(beside).sum());
    s.heading(labels::DRAWINGS, height);
    let top = s.y_mm;
    figure(s, plan, [MARGIN_MM, top]);
    let mut y = top;
    for drawn in elevations {
        let right = s.size_mm[0] - MARGIN_MM - drawn.drawing.size_mm[0];
        figure(s, drawn, [right, y]);
        y += beside(drawn);
    }
    s.y_mm = top + height + 1.0;
}

fn figure<'a>(s: &mut Setter<'a>, drawn: &'a Drawn, corner_mm: [f64; 2]) {
    let shapes = drawn.drawing.shapes.iter();
    let inks = shapes.map(|shape| Ink::Shape(moved(shape, corner_mm)));
    let part = s.draw(inks.collect());
    let frame = s.frame(corner_mm, drawn.drawing.size_mm);
    s.tree.push(Node::Figure(drawn.alt.clone(), part, frame));
}

/// A shape moved.
fn moved(shape: &Shape, [dx, dy]: [f64; 2]) -> Shape {
    let at = |[x, y]: [f64; 2]| [dx + x, dy + y];
    let mut shape = shape.clone();
    match &mut shape {
        Shape::Path { points_mm, .. } => points_mm.iter_mut().for_each(|p| *p = at(*p)),
        Shape::Circle { centre_mm, .. } => *centre_mm = at(*centre_mm),
        Shape::Rect { corner_mm, .. } | Shape::Raster { corner_mm, .. } => {
            *corner_mm = at(*corner_mm);
        }
        Shape::Text(text) => text.at_mm = at(text.at_mm),
    }
    shape
}

/// At the foot of each leaf: who made it, and which it is.
pub(super) fn feet(s: &mut Setter<'_>) {
    let count = s.leaves.len();
    let (right, y) = (s.size_mm[0] - MARGIN_MM, s.size_mm[1] - FOOT_MM);
    let style = Style::new(SMALL_MM, GREY);
    for (k, leaf) in s.leaves.iter_mut().enumerate() {
        let page = labels::page_of(k + 1, count);
        let shapes = [
            text([MARGIN_MM, y], labels::MADE_BY, style),
            text(
                [right, y],
                &page,
                Style {
                    anchor: Anchor::End,
                    ..style
                },
            ),
        ];
        leaf.marks.push(super::set::Mark {
            inks: shapes.into_iter().map(Ink::Shape).collect(),
            part: None,
        });
    }
}
