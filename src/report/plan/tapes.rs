//! Dimensions as an assistant tapes them out: along the floor from the mark, round from the line to the
//! camera, up from the floor.

use super::geometry::{Area, Point, between, distance};
use super::look::{Options, Units};
use super::map::{Map, View};
use super::things::{Item, What};
use crate::report::drawing::{Anchor, Colour, Drawing, Paint, Text, text_width_mm};
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
        _ => format!("{number}° {}", if deg > 0.0 { "right" } else { "left" }),
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
    match deg.abs().round() {
        0.0 => ", level".to_owned(),
        round => format!(", {round:.0}° {}", if deg > 0.0 { "up" } else { "down" }),
    }
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

/// The selected thing's numbers, on its tape; gives what they take up.
pub(super) fn numbers(
    page: &mut Drawing,
    items: &[Item<'_>],
    map: &Map,
    field: &Area,
    options: &Options,
) -> Vec<Area> {
    let Some(item) = items
        .iter()
        .find(|i| i.stand.is_some() && options.is_selected(&i.placed.thing))
    else {
        return Vec::new();
    };
    let Some((distance_m, bearing, height_m)) = item.placed.place.map(|p| p.taped()) else {
        return Vec::new();
    };
    let foot = map.mm_of_room(item.plumb_m());
    let mut wanted = Vec::new();
    if map.view == View::Plan {
        wanted.push((
            between(map.origin_mm, foot, 0.58),
            options.units.length(distance_m),
        ));
        if bearing.abs() > STRAIGHT_RAD {
            let (s, c) = (0.5 * bearing).sin_cos();
            let far = FIRST_ARC_MM + 2.2;
            let at = [map.origin_mm[0] + far * s, map.origin_mm[1] + far * c];
            wanted.push((at, bearing_words(bearing)));
        }
    } else {
        let at = item.placed.body.at_mm;
        wanted.push((between(foot, at, 0.45), options.units.length(height_m)));
    }
    let mut taken: Vec<Area> = Vec::new();
    for (at, words) in wanted {
        if let Some(area) = plate(
            page,
            at,
            &words,
            options.palette.accent,
            field,
            &taken,
            options,
        ) {
            taken.push(area);
        }
    }
    taken
}

/// Words on a plate of paper about a place.
fn plate(
    page: &mut Drawing,
    [x, y]: Point,
    words: &str,
    colour: Colour,
    field: &Area,
    taken: &[Area],
    options: &Options,
) -> Option<Area> {
    let size = options.small_mm();
    let wide = text_width_mm(words, size) + 1.4;
    let high = 1.45 * size;
    let area = Area::new([x - 0.5 * wide, y - 0.5 * high], [wide, high]);
    if !field.holds_all(&area) || taken.iter().any(|t| t.meets(&area)) {
        return None;
    }
    page.rect(
        area.low_mm,
        area.size_mm(),
        Paint::fill(options.palette.paper),
    );
    let text = Text::new([x, y + 0.36 * size], words, size, colour);
    page.text(text.anchored(Anchor::Middle).strong());
    Some(area)
}
