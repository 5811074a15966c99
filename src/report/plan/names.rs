//! What the names on a sheet say, and in which order they look for a place.

use super::geometry::{Area, Point, middle};
use super::labels::{self, Crowd, Label, Line};
use super::look::{Options, plain_name};
use super::map::{Map, Placed, View};
use super::tapes::said;
use super::things::{Item, What, points_together};
use crate::report::drawing::Drawing;
use crate::report::labels::plan as words;
use crate::setup::Seamless;

/// What has a name.
pub(super) struct Named<'s> {
    pub items: Vec<Item<'s>>,
    /// The background paper, with the line that it is named by.
    pub paper: Option<(Seamless, Vec<Point>)>,
    /// Whether the selected thing's numbers stand on its tape already.
    pub numbered: bool,
}

/// Writes all names; gives the things with where their names are.
pub(super) fn write(
    page: &mut Drawing,
    named: Named<'_>,
    map: &Map,
    field: &Area,
    mut crowd: Crowd,
    options: &Options,
) -> Vec<Placed> {
    let Named {
        items,
        paper,
        numbered,
    } = named;
    let outlines = items
        .iter()
        .filter(|i| !matches!(i.what, What::Point(_)))
        .map(|i| i.placed.outline_mm.clone());
    crowd.things.extend(outlines);
    let mut wanted: Vec<Label> = items
        .iter()
        .enumerate()
        .filter_map(|(k, item)| of_thing(k, item, numbered, map, options))
        .collect();
    if let Some((paper, line)) = &paper {
        crowd.things.push(line.clone());
        wanted.push(of_paper(paper, line, map, options));
    }
    for group in points_together(&items) {
        wanted.push(of_points(&group, &items, map, options));
    }
    let mut free = field.grown(-0.8);
    if map.view != View::Plan {
        // Not in the ground.
        free.high_mm[1] = free.high_mm[1].min(map.origin_mm[1] - 0.4);
    }
    let areas = labels::write(page, &free, &wanted, &mut crowd, options);
    let mut placed: Vec<Placed> = items.into_iter().map(|i| i.placed).collect();
    for (label, area) in wanted.iter().zip(areas) {
        if let Some(k) = label.of {
            placed[k].label = area;
        }
    }
    placed
}

fn of_thing(
    k: usize,
    item: &Item<'_>,
    numbered: bool,
    map: &Map,
    options: &Options,
) -> Option<Label> {
    let thing = &item.placed.thing;
    let name = match item.what {
        What::Light { .. } | What::Board { .. } => plain_name(&thing.name),
        // From its own place it is in front of everything, and says nothing there.
        What::Camera { .. } if map.view != View::Front => words::CAMERA.to_owned(),
        What::Camera { .. } | What::Figure { .. } | What::Point(_) => return None,
    };
    let ink = options.ink_of(thing);
    let numbered = numbered && item.stand.is_some() && options.is_selected(thing);
    let mut lines = vec![Line {
        words: name,
        size_mm: options.text_mm,
        strong: true,
        colour: ink,
    }];
    if options.has_tape(thing) && !numbered {
        lines.extend(said(item, map, options.units).map(|words| small(words, options)));
    }
    if let What::Light { light, .. } = item.what
        && !light.on
    {
        lines.push(small(words::OFF.to_owned(), options));
    }
    let at = middle(&item.placed.outline_mm);
    Some(Label {
        of: Some(k),
        outline_mm: item.placed.outline_mm.clone(),
        lines,
        toward: [0, 1].map(|i| at[i] - map.origin_mm[i]),
    })
}

fn small(words: String, options: &Options) -> Line {
    Line {
        words,
        size_mm: options.small_mm(),
        strong: false,
        colour: options.palette.mid,
    }
}

fn of_points(group: &[usize], items: &[Item<'_>], map: &Map, options: &Options) -> Label {
    let names: Vec<String> = group
        .iter()
        .map(|&k| plain_name(&items[k].placed.thing.name))
        .collect();
    let selected = group
        .iter()
        .any(|&k| options.is_selected(&items[k].placed.thing));
    let mut line = small(names.join(", "), options);
    if selected {
        line.colour = options.palette.accent;
    }
    Label {
        of: group.first().copied(),
        outline_mm: items[group[0]].placed.outline_mm.clone(),
        lines: vec![line],
        // On elevations clear of the body, on the side that the camera sees it from.
        toward: match map.view {
            View::Plan => [1.0, 0.6],
            View::Side => [-1.0, 0.0],
            View::Front => [1.0, 0.0],
        },
    }
}

fn of_paper(paper: &Seamless, line: &[Point], map: &Map, options: &Options) -> Label {
    let length = |m: f64| options.units.length(m);
    let words = match map.view {
        View::Plan => words::paper_from_above(&length(paper.width_m), &length(paper.behind_m)),
        View::Side | View::Front => words::paper_from_beside(&length(paper.height_m)),
    };
    Label {
        of: None,
        outline_mm: line.to_vec(),
        lines: vec![small(words, options)],
        toward: [0.0, -1.0],
    }
}
