//! Where names are written: beside what they name, over nothing else, never over one another.
//!
//! A small search. Each label tries places around its thing, near ones first, then the whole sheet; a
//! place that another label holds is out of the question, one over lines or things costs.

use super::geometry::{
    Area, Point, between, distance, distance_to_outline, is_inside, middle, nearest_on_outline,
};
use super::look::Options;
use crate::report::drawing::{Anchor, Colour, Drawing, Paint, Text, fitted, text_width_mm};
use std::f64::consts::TAU;

/// Directions that are tried around a thing, and gaps to it.
const DIRECTIONS: usize = 24;
const GAPS_MM: [f64; 8] = [0.9, 2.0, 3.5, 5.5, 8.0, 12.0, 17.0, 24.0];
/// A label farther away than this has a leader.
const LEADER_MM: f64 = 2.6;
/// The widest that a label may be.
const WIDEST_MM: f64 = 46.0;
/// Line to line, in ems.
const LEADING: f64 = 1.22;
/// Clear of others by so much.
const CLEAR_MM: f64 = 0.6;
/// Steps in which the whole sheet is looked through.
const STEP_MM: f64 = 1.5;

/// One label to be placed.
#[derive(Debug, Clone)]
pub(super) struct Label {
    /// Which thing's it is, by place in the list of placed things; none for the set's own.
    pub of: Option<usize>,
    /// What it must stay near.
    pub outline_mm: Vec<Point>,
    /// The name, and below it in smaller letters what is said of it.
    pub lines: Vec<Line>,
    /// Where it is best put, as a direction from the thing; zero where that is all one.
    pub toward: Point,
}

/// A line of a label.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub words: String,
    pub size_mm: f64,
    pub strong: bool,
    pub colour: Colour,
}

/// What labels keep clear of.
#[derive(Debug, Default)]
pub(super) struct Crowd {
    /// Never to be written on.
    pub taken: Vec<Area>,
    /// Outlines of things.
    pub things: Vec<Vec<Point>>,
    /// Lines that cross the sheet.
    pub lines: Vec<[Point; 2]>,
}

/// Writes all labels; gives where each one is, `None` for one that finds no free place at all.
pub(super) fn write(
    page: &mut Drawing,
    field: &Area,
    labels: &[Label],
    crowd: &mut Crowd,
    options: &Options,
) -> Vec<Option<Area>> {
    labels
        .iter()
        .map(|label| {
            let mut lines: Vec<Line> = label
                .lines
                .iter()
                .map(|line| Line {
                    words: fitted(&line.words, line.size_mm, WIDEST_MM),
                    ..line.clone()
                })
                .filter(|line| !line.words.is_empty())
                .collect();
            // With no room for all of it, the name alone.
            while !lines.is_empty() {
                let size_mm = size_of(&lines);
                if let Some(area) = place(label, size_mm, field, crowd) {
                    let over_things = crowd.things.iter().any(|o| covers(&area, o));
                    set(page, label, &lines, (&area, !over_things), options);
                    crowd.taken.push(area);
                    return Some(area);
                }
                lines.pop();
            }
            None
        })
        .collect()
}

fn size_of(lines: &[Line]) -> [f64; 2] {
    let widths = lines.iter().map(|l| text_width_mm(&l.words, l.size_mm));
    // Strong letters are a little wider than measured.
    let wide = widths.fold(0.0, f64::max) + 0.4;
    let high: f64 = lines.iter().map(|l| l.size_mm * LEADING).sum();
    [wide, high]
}

/// The best free place, around its thing or else anywhere on the sheet.
fn place(label: &Label, size_mm: [f64; 2], field: &Area, crowd: &Crowd) -> Option<Area> {
    let cheapest = |places: &mut dyn Iterator<Item = (Area, f64)>| {
        places
            .filter(|(area, _)| field.holds_all(area))
            .filter(|(area, _)| !crowd.taken.iter().any(|t| t.grown(CLEAR_MM).meets(area)))
            .map(|(area, extra)| (extra + cost_of(label, &area, crowd), area))
            .min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let found = cheapest(&mut around(label, size_mm));
    let (_, area) = found.or_else(|| cheapest(&mut anywhere(field, size_mm)))?;
    Some(area)
}

/// Places around a label's thing, each with what its direction costs.
fn around(label: &Label, size_mm: [f64; 2]) -> impl Iterator<Item = (Area, f64)> {
    let centre = middle(&label.outline_mm);
    let wanted = label.toward[0].hypot(label.toward[1]);
    GAPS_MM.into_iter().flat_map(move |gap| {
        (0..DIRECTIONS).map(move |k| {
            let (s, c) = (k as f64 / DIRECTIONS as f64 * TAU).sin_cos();
            let support = label
                .outline_mm
                .iter()
                .map(|p| (p[0] - centre[0]) * c + (p[1] - centre[1]) * s)
                .fold(0.0, f64::max);
            let half = 0.5 * (c.abs() * size_mm[0] + s.abs() * size_mm[1]);
            let reach = support + gap + half;
            let corner = [
                centre[0] + c * reach - 0.5 * size_mm[0],
                centre[1] + s * reach - 0.5 * size_mm[1],
            ];
            let off = if wanted > 0.0 {
                1.0 - (c * label.toward[0] + s * label.toward[1]) / wanted
            } else {
                0.0
            };
            (Area::new(corner, size_mm), 0.8 * off)
        })
    })
}

fn anywhere(field: &Area, size_mm: [f64; 2]) -> impl Iterator<Item = (Area, f64)> {
    let steps = [0, 1].map(|k| ((field.size_mm()[k] - size_mm[k]) / STEP_MM).max(0.0) as usize);
    let low = field.low_mm;
    (0..=steps[1]).flat_map(move |j| {
        (0..=steps[0]).map(move |i| {
            let corner = [low[0] + i as f64 * STEP_MM, low[1] + j as f64 * STEP_MM];
            (Area::new(corner, size_mm), 0.0)
        })
    })
}

/// What a place costs: how far it is, what it covers, what its leader crosses.
fn cost_of(label: &Label, area: &Area, crowd: &Crowd) -> f64 {
    const COLUMNS: usize = 9;
    const ROWS: usize = 3;
    let mid = area.middle_mm();
    let near = nearest_on_outline(&label.outline_mm, mid);
    let from = area.nearest(near);
    let far = distance_to_outline(&label.outline_mm, from);
    let mut cost = 0.55 * far;
    let [w, h] = area.size_mm();
    for outline in &crowd.things {
        let Some(bounds) = Area::around(outline) else {
            continue;
        };
        if !bounds.meets(&area.grown(0.3)) {
            continue;
        }
        let covered = (0..COLUMNS * ROWS)
            .filter(|k| {
                let (i, j) = (k % COLUMNS, k / COLUMNS);
                let p = [
                    area.low_mm[0] + w * i as f64 / (COLUMNS - 1) as f64,
                    area.low_mm[1] + h * j as f64 / (ROWS - 1) as f64,
                ];
                is_inside(outline, p)
            })
            .count();
        // Thin things slip between the places looked at.
        let crosses = outline.iter().enumerate().any(|(i, a)| {
            let b = outline[(i + 1) % outline.len()];
            area.cut_line(*a, b).is_some()
        });
        cost += 1.2 * covered as f64 + if crosses { 5.0 } else { 0.0 };
    }
    // A name nearer to another thing than to its own is read as that one's.
    let own = distance_to_outline(&label.outline_mm, mid);
    let taken_for_another = crowd
        .things
        .iter()
        .any(|o| *o != label.outline_mm && distance_to_outline(o, mid) < 0.9 * own);
    if taken_for_another {
        cost += 1.5;
    }
    for [a, b] in &crowd.lines {
        if let Some([p, q]) = area.cut_line(*a, *b) {
            cost += 0.9 + 0.22 * distance(p, q);
        }
    }
    if far > LEADER_MM {
        cost += 0.8;
        for outline in crowd.things.iter().filter(|o| **o != label.outline_mm) {
            let hit = (1..8).any(|k| is_inside(outline, between(from, near, f64::from(k) / 8.0)));
            cost += if hit { 3.0 } else { 0.0 };
        }
        for taken in &crowd.taken {
            if taken.cut_line(from, near).is_some() {
                cost += 8.0;
            }
        }
    }
    cost
}

/// Whether an area lies over a thing, if only over its edge.
fn covers(area: &Area, outline: &[Point]) -> bool {
    let edges = outline.iter().enumerate();
    let mut edges = edges.map(|(i, a)| [*a, outline[(i + 1) % outline.len()]]);
    is_inside(outline, area.middle_mm()) || edges.any(|[a, b]| area.cut_line(a, b).is_some())
}

/// Writes a label. Lines that run under its letters are broken off around them, but never a thing's outline.
fn set(
    page: &mut Drawing,
    label: &Label,
    lines: &[Line],
    (area, clear): (&Area, bool),
    options: &Options,
) {
    let near = nearest_on_outline(&label.outline_mm, area.middle_mm());
    let from = area.nearest(near);
    if distance(from, near) > LEADER_MM && !is_inside(&label.outline_mm, from) {
        let start = between(from, near, 0.7 / distance(from, near));
        page.line([start, near], options.hair(options.palette.mid));
        page.circle(near, 0.3, Paint::fill(options.palette.mid));
    }
    // Lines end where the thing is, so that they belong to it.
    let to_left = near[0] > area.high_mm[0] - 0.2 * area.size_mm()[0];
    let mut y = area.low_mm[1];
    for line in lines {
        let (x, anchor) = if to_left {
            (area.high_mm[0], Anchor::End)
        } else {
            (area.low_mm[0], Anchor::Start)
        };
        if clear {
            let wide = text_width_mm(&line.words, line.size_mm) + 0.4;
            let left = if to_left { x - wide } else { x };
            let under = Paint::fill(options.palette.paper);
            page.rect([left, y], [wide, line.size_mm * LEADING], under);
        }
        let text = Text::new(
            [x, y + 0.95 * line.size_mm],
            &*line.words,
            line.size_mm,
            line.colour,
        )
        .anchored(anchor);
        page.text(if line.strong { text.strong() } else { text });
        y += line.size_mm * LEADING;
    }
}
