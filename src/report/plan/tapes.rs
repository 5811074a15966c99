//! Dimensions as an assistant tapes them out: along the floor from the mark, round from the line to the
//! camera, up from the floor.

use super::geometry::{Area, Point, between, distance};
use super::look::{Options, Units};
use super::map::{Map, View};
use super::things::{Item, What};
use crate::report::drawing::{Anchor, Drawing, Paint, Text, text_width_mm};
use crate::report::labels::plan as words;
use crate::setup::{Light, Stand};

/// The first arc's radius, and from arc to arc.
const FIRST_ARC_MM: f64 = 6.5;
const NEXT_ARC_MM: f64 = 1.7;
/// Turned less than this, a thing stands straight ahead.
const STRAIGHT_RAD: f64 = 0.0087;
/// An aim nearer to the mark than this is shown by the tape.
const AT_MARK_MM: f64 = 4.0;

/// A bearing in words: left and right are the camera's.
pub fn bearing_words(bearing_rad: f64) -> String {
    let deg = bearing_rad.to_degrees();
    let round = (deg.abs() * 2.0).round() / 2.0;
    let number = format!("{round:.1}");
    let number = number.trim_end_matches('0').trim_end_matches('.');
    match number {
        "0" => "0°".to_owned(),
        "180" => "180°".to_owned(),
        _ => words::to_a_side(number, deg > 0.0),
    }
}

/// Distance and bearing on a plan, height and tilt on an elevation: the line below a name.
pub(super) fn said(item: &Item<'_>, map: &Map, units: Units) -> Option<String> {
    let (distance_m, bearing_rad, height_m) = item.placed.place?.taped();
    match (map.view, &item.what) {
        (_, What::Point(_) | What::Figure { .. }) => None,
        (View::Plan, What::Camera { .. }) if bearing_rad.abs() < STRAIGHT_RAD => {
            Some(units.length(distance_m))
        }
        (View::Plan, _) => Some(format!(
            "{}, {}",
            units.length(distance_m),
            bearing_words(bearing_rad)
        )),
        (_, What::Light { light, .. }) => {
            Some(format!("{}{}", units.length(height_m), tilt_words(light)))
        }
        _ => Some(units.length(height_m)),
    }
}

fn tilt_words(light: &Light) -> String {
    if !light.modifier.kind.has_front() {
        return String::new();
    }
    let deg = light.frame.z.y.clamp(-1.0, 1.0).asin().to_degrees();
    words::tilt(deg)
}

/// Tapes, stands and aims of all things; gives the lines that were drawn.
pub(super) fn tapes(
    page: &mut Drawing,
    items: &[Item<'_>],
    map: &Map,
    field: &Area,
    options: &Options,
) -> Vec<[Point; 2]> {
    let mut lines = Vec::new();
    let mut drawn = |page: &mut Drawing, from: Point, to: Point, paint: Paint| {
        if let Some(piece) = field.cut_line(from, to) {
            page.line(piece, paint);
            lines.push(piece);
        }
    };
    for item in items {
        let (Some(stand), Some(_)) = (item.stand, item.placed.place) else {
            continue;
        };
        let thing = &item.placed.thing;
        let selected = options.is_selected(thing);
        let foot = map.mm_of_room(item.plumb_m());
        let at = item.placed.body.at_mm;
        let quiet = if selected {
            options.palette.accent
        } else {
            options.palette.mid
        };
        if map.view == View::Plan {
            if options.has_tape(thing) {
                let paint = if selected {
                    options.medium(quiet)
                } else {
                    options.hair(quiet)
                };
                drawn(page, map.origin_mm, foot, paint);
            }
        } else {
            let column = match stand {
                Stand::Upright => options.medium(quiet),
                Stand::Boom | Stand::None => options.dashed(quiet),
            };
            if stand == Stand::Upright || options.has_tape(thing) {
                drawn(page, foot, at, column);
                page.line(
                    [[foot[0] - 0.9, foot[1]], [foot[0] + 0.9, foot[1]]],
                    options.medium(quiet),
                );
            }
        }
        if let Some(aim) = &item.placed.aim {
            let far = distance(aim.at_mm, map.origin_mm) > AT_MARK_MM;
            let shown = matches!(item.what, What::Light { .. }) || selected;
            if shown && (far || map.view != View::Plan) {
                let pale = if selected {
                    options.palette.accent
                } else {
                    options.palette.pale
                };
                drawn(page, at, aim.at_mm, options.dashed(pale));
            }
        }
    }
    lines
}

/// Feet of stands, on plans: a ring on a column, a cross where nothing stands plumb below.
pub(super) fn feet(page: &mut Drawing, items: &[Item<'_>], map: &Map, options: &Options) {
    if map.view != View::Plan {
        return;
    }
    for item in items {
        let Some(stand) = item.stand else {
            continue;
        };
        let [x, y] = map.mm_of_room(item.plumb_m());
        let colour = options.ink_of(&item.placed.thing);
        let paint = options.light(colour);
        match stand {
            Stand::Upright => page.circle([x, y], 0.65, paint.filled(options.palette.paper)),
            Stand::Boom | Stand::None => {
                page.line([[x - 0.7, y], [x + 0.7, y]], paint);
                page.line([[x, y - 0.7], [x, y + 0.7]], paint);
            }
        }
    }
}

/// Arcs from the line to the camera round to each light (and to what is selected), the smaller angle
/// inside; gives their lines.
pub(super) fn arcs(
    page: &mut Drawing,
    items: &[Item<'_>],
    map: &Map,
    field: &Area,
    options: &Options,
) -> Vec<[Point; 2]> {
    let mut lines = Vec::new();
    if map.view != View::Plan {
        return lines;
    }
    let mut turns: Vec<(f64, f64, bool)> = items
        .iter()
        .filter(|item| item.stand.is_some() && options.has_tape(&item.placed.thing))
        .filter_map(|item| {
            let selected = options.is_selected(&item.placed.thing);
            let shown = selected || matches!(item.what, What::Light { .. });
            let (distance_m, bearing, _) = item.placed.place?.taped();
            (shown && bearing.abs() > STRAIGHT_RAD).then_some((bearing, distance_m, selected))
        })
        .collect();
    turns.sort_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    for (k, (bearing, distance_m, selected)) in turns.into_iter().enumerate() {
        // Not past the thing itself.
        let radius = (FIRST_ARC_MM + NEXT_ARC_MM * k as f64).min(0.8 * map.mm(distance_m));
        let steps = (bearing.abs() / 0.09).ceil().max(2.0);
        let at = |share: f64| {
            let (s, c) = (share * bearing).sin_cos();
            [map.origin_mm[0] + radius * s, map.origin_mm[1] + radius * c]
        };
        let points: Vec<Point> = (0..=steps as usize).map(|k| at(k as f64 / steps)).collect();
        if points.iter().any(|p| !field.holds(*p)) {
            continue;
        }
        let paint = if selected {
            options.light(options.palette.accent)
        } else {
            options.hair(options.palette.mid)
        };
        lines.extend(points.windows(2).map(|p| [p[0], p[1]]));
        arrow(
            page,
            points[points.len() - 2],
            points[points.len() - 1],
            paint,
        );
        page.line(points, paint);
    }
    lines
}

/// An open arrow's two strokes.
fn arrow(page: &mut Drawing, from: Point, tip: Point, paint: Paint) {
    let long = distance(from, tip);
    if long <= 0.0 {
        return;
    }
    let (x, y) = ((from[0] - tip[0]) / long, (from[1] - tip[1]) / long);
    let barb = |side: f64| [tip[0] + 1.1 * (x + side * y), tip[1] + 1.1 * (y - side * x)];
    page.line([barb(0.35), tip, barb(-0.35)], paint);
}

/// The selected thing's numbers, on its tape; gives what they take up, or `None` where not all of them
/// find a place there.
pub(super) fn numbers(
    page: &mut Drawing,
    items: &[Item<'_>],
    map: &Map,
    field: &Area,
    options: &Options,
) -> Option<Vec<Area>> {
    /// Shares of the tape, or of the arc, that are tried.
    const ALONG: [f64; 5] = [0.58, 0.72, 0.45, 0.85, 0.3];
    let item = items
        .iter()
        .find(|i| i.stand.is_some() && options.is_selected(&i.placed.thing))?;
    let (distance_m, bearing, height_m) = item.placed.place?.taped();
    let foot = map.mm_of_room(item.plumb_m());
    let on_line = |from: Point, to: Point| ALONG.map(|share| between(from, to, share));
    let mut wanted = Vec::new();
    if map.view == View::Plan {
        if bearing.abs() > STRAIGHT_RAD {
            // Outside the figure, so that it stays in sight.
            let far = (FIRST_ARC_MM + 2.2).max(map.mm(0.35) + 2.5);
            let on_arc = ALONG.map(|share| {
                let (s, c) = (share * bearing).sin_cos();
                [map.origin_mm[0] + far * s, map.origin_mm[1] + far * c]
            });
            wanted.push((on_arc, bearing_words(bearing)));
        }
        let words = options.units.length(distance_m);
        wanted.push((on_line(map.origin_mm, foot), words));
    } else {
        let at = item.placed.body.at_mm;
        wanted.push((on_line(foot, at), options.units.length(height_m)));
    }
    // All places first, so that nothing is painted where not all of them are found.
    let mut plates: Vec<(Area, String)> = Vec::new();
    for (places, words) in wanted {
        let area = places
            .into_iter()
            .map(|at| plate_area(at, &words, options))
            .find(|area| field.holds_all(area) && !plates.iter().any(|(p, _)| p.meets(area)))?;
        plates.push((area, words));
    }
    for (area, words) in &plates {
        plate(page, area, words, options);
    }
    Some(plates.into_iter().map(|(area, _)| area).collect())
}

/// What words take up about a place.
fn plate_area([x, y]: Point, words: &str, options: &Options) -> Area {
    let size = options.small_mm();
    let (wide, high) = (text_width_mm(words, size) + 1.4, 1.45 * size);
    Area::new([x - 0.5 * wide, y - 0.5 * high], [wide, high])
}

/// Words on a plate of paper.
fn plate(page: &mut Drawing, area: &Area, words: &str, options: &Options) {
    let size = options.small_mm();
    let [x, y] = area.middle_mm();
    page.rect(
        area.low_mm,
        area.size_mm(),
        Paint::fill(options.palette.paper),
    );
    let text = Text::new([x, y + 0.36 * size], words, size, options.palette.accent);
    page.text(text.anchored(Anchor::Middle).strong());
}
