//! What a set stands in: squared paper, floor, walls, background, the mark, the tape at the edge.

use super::geometry::{Area, Point, between, distance, hull};
use super::look::{Options, Units};
use super::map::{Map, View};
use crate::report::drawing::{Anchor, Drawing, Paint, Text};
use crate::report::labels::plan as labels;
use crate::setup::{Backdrop, Camera, Seamless, Setup};
use glam::DVec3;
use std::f64::consts::FRAC_PI_2;

/// Side of a square, metres; each second line is a metre's.
const SQUARE_M: f64 = 0.5;
/// Depth of a wall's hatching, and from stroke to stroke.
const HATCH_MM: f64 = 1.6;
const HATCH_STEP_MM: f64 = 1.5;
/// Where there is nothing behind, the picture's edge is drawn so far past the mark, metres.
const BEHIND_MARK_M: f64 = 1.5;
const FOOT_M: f64 = 0.3048;

/// Squares of half a metre from the mark on; on elevations the floor is one of their lines.
pub(super) fn squares(page: &mut Drawing, map: &Map, field: &Area, options: &Options) {
    let step = map.mm(SQUARE_M);
    for strong in [false, true] {
        let paint = if strong {
            options.light(options.palette.metres)
        } else {
            options.hair(options.palette.squares)
        };
        for axis in 0..2 {
            let low = ((field.low_mm[axis] - map.origin_mm[axis]) / step).ceil() as i64;
            let high = ((field.high_mm[axis] - map.origin_mm[axis]) / step).floor() as i64;
            for k in (low..=high).filter(|k| (k % 2 == 0) == strong) {
                let at = map.origin_mm[axis] + k as f64 * step;
                let mut ends = [field.low_mm, field.high_mm];
                ends[0][axis] = at;
                ends[1][axis] = at;
                page.line(ends, paint);
            }
        }
    }
}

/// A metre (or three feet) of tape at the sheet's edge; gives what it takes up.
pub(super) fn tape_at_edge(
    page: &mut Drawing,
    map: &Map,
    corner: Point,
    options: &Options,
) -> Area {
    let (unit_m, parts, per, words) = match options.units {
        Units::Metres => (0.1, 10, 5, "1 m"),
        Units::Feet => (0.5 * FOOT_M, 6, 2, "3 ft"),
    };
    let length = map.mm(unit_m * f64::from(parts));
    let [x, y] = corner;
    let ink = options.palette.mid;
    page.line([[x, y], [x + length, y]], options.light(ink));
    for k in 0..=parts {
        let at = x + map.mm(unit_m * f64::from(k));
        let high = match k {
            k if k == 0 || k == parts => 1.5,
            k if k % per == 0 => 1.1,
            _ => 0.7,
        };
        page.line([[at, y], [at, y - high]], options.hair(ink));
    }
    let size = options.small_mm();
    page.text(Text::new([x + length + 1.0, y], words, size, ink));
    Area {
        low_mm: [x - 0.5, y - size],
        high_mm: [x + length + 8.0, y + 0.6],
    }
}

/// The floor's line, on elevations; gives what it takes up.
pub(super) fn floor(
    page: &mut Drawing,
    map: &Map,
    field: &Area,
    options: &Options,
) -> Option<Vec<Point>> {
    if map.view == View::Plan {
        return None;
    }
    let y = map.origin_mm[1];
    let (left, right) = (field.low_mm[0], field.high_mm[0]);
    hatched(page, [[left, y], [right, y]], [0.0, 1.0], field, options)
}

/// A wall: its inner line heavy, short strokes behind it.
fn hatched(
    page: &mut Drawing,
    line: [Point; 2],
    out: Point,
    field: &Area,
    options: &Options,
) -> Option<Vec<Point>> {
    let [from, to] = field.cut_line(line[0], line[1])?;
    let length = distance(from, to);
    if length < 0.1 {
        return None;
    }
    let along = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
    for k in 0..(length / HATCH_STEP_MM) as usize {
        let start = between(from, to, (k as f64 + 0.7) * HATCH_STEP_MM / length);
        let end = [0, 1].map(|i| start[i] + HATCH_MM * (out[i] - 0.6 * along[i]));
        if let Some(stroke) = field.cut_line(start, end) {
            page.line(stroke, options.hair(options.palette.pale));
        }
    }
    page.line([from, to], options.medium(options.palette.ink));
    let behind = |p: Point| [0, 1].map(|k| p[k] + HATCH_MM * out[k]);
    Some(vec![from, to, behind(to), behind(from)])
}

/// Walls and ceiling, as far as they are on the sheet; gives what they take up.
pub(super) fn walls(
    page: &mut Drawing,
    setup: &Setup,
    map: &Map,
    field: &Area,
    options: &Options,
) -> Vec<Vec<Point>> {
    let Some(shell) = &setup.room.shell else {
        return Vec::new();
    };
    let [x0, x1] = shell.x_m;
    let [z0, z1] = shell.z_m;
    let top = shell.height_m;
    let point = |x: f64, y: f64, z: f64| map.mm_of_room(DVec3::new(x, y, z));
    let lines: Vec<([Point; 2], Point)> = match map.view {
        View::Plan => vec![
            ([point(x0, 0.0, z0), point(x1, 0.0, z0)], [0.0, -1.0]),
            ([point(x0, 0.0, z1), point(x1, 0.0, z1)], [0.0, 1.0]),
            ([point(x0, 0.0, z0), point(x0, 0.0, z1)], [-1.0, 0.0]),
            ([point(x1, 0.0, z0), point(x1, 0.0, z1)], [1.0, 0.0]),
        ],
        View::Side => vec![
            ([point(0.0, 0.0, z0), point(0.0, top, z0)], [1.0, 0.0]),
            ([point(0.0, 0.0, z1), point(0.0, top, z1)], [-1.0, 0.0]),
            ([point(0.0, top, z0), point(0.0, top, z1)], [0.0, -1.0]),
        ],
        View::Front => vec![
            ([point(x0, 0.0, 0.0), point(x0, top, 0.0)], [-1.0, 0.0]),
            ([point(x1, 0.0, 0.0), point(x1, top, 0.0)], [1.0, 0.0]),
            ([point(x0, top, 0.0), point(x1, top, 0.0)], [0.0, -1.0]),
        ],
    };
    lines
        .into_iter()
        .filter_map(|(line, out)| hatched(page, line, out, field, options))
        .collect()
}

/// What the paper takes up, in the room: corners of the hanging and of the lying part.
pub(super) fn paper_corners(paper: &Seamless) -> [DVec3; 6] {
    let half = 0.5 * paper.width_m;
    let (back, front) = (-paper.behind_m, paper.forward_m.max(-paper.behind_m));
    [
        DVec3::new(-half, 0.0, back),
        DVec3::new(half, 0.0, back),
        DVec3::new(-half, paper.height_m, back),
        DVec3::new(half, paper.height_m, back),
        DVec3::new(-half, 0.0, front),
        DVec3::new(half, 0.0, front),
    ]
}

/// The background paper; gives the line or outline that its label belongs to.
pub(super) fn paper(
    page: &mut Drawing,
    setup: &Setup,
    map: &Map,
    field: &Area,
    options: &Options,
) -> Option<(Seamless, Vec<Point>)> {
    let Backdrop::Seamless(paper) = &setup.backdrop else {
        return None;
    };
    let [hang_l, hang_r, top_l, top_r, lie_l, lie_r] =
        paper_corners(paper).map(|c| map.mm_of_room(c));
    let ink = options.palette.ink;
    let heavy = options.heavy(ink);
    let pale = options.light(options.palette.pale);
    let outline = match map.view {
        View::Plan => {
            let bend_m = -paper.behind_m + paper.curve_m;
            let half = 0.5 * paper.width_m;
            let bend = [-half, half].map(|x| map.mm_of_room(DVec3::new(x, 0.0, bend_m)));
            cut(page, field, &[hang_l, lie_l, lie_r, hang_r], pale);
            cut(page, field, &bend, options.dashed(options.palette.pale));
            cut(page, field, &[hang_l, hang_r], heavy);
            vec![hang_l, hang_r]
        }
        View::Side => {
            let r = paper.curve_m;
            let curve = (0..=12).map(|k| {
                let (s, c) = (f64::from(k) / 12.0 * FRAC_PI_2).sin_cos();
                DVec3::new(0.0, r - r * s, -paper.behind_m + r - r * c)
            });
            let mut line = vec![top_l];
            line.extend(curve.map(|p| map.mm_of_room(p)));
            line.push(lie_l);
            cut(page, field, &line, heavy);
            let tube = map.mm(0.05).max(0.5);
            page.circle(
                top_l,
                tube,
                options.medium(ink).filled(options.palette.paper),
            );
            vec![top_l, hang_l]
        }
        View::Front => {
            cut(page, field, &[hang_l, top_l, top_r, hang_r], pale);
            cut(page, field, &[top_l, top_r], heavy);
            vec![top_l, top_r]
        }
    };
    Some((paper.clone(), outline))
}

/// A line, as far as it is on the sheet.
fn cut(page: &mut Drawing, field: &Area, points: &[Point], paint: Paint) {
    for pair in points.windows(2) {
        if let Some(piece) = field.cut_line(pair[0], pair[1]) {
            page.line(piece, paint);
        }
    }
}

/// The mark: two strips of tape in a T, its foot toward the camera.
pub(super) fn mark(page: &mut Drawing, map: &Map, options: &Options) {
    let [x, y] = map.origin_mm;
    let ink = options.palette.ink;
    let arm = map.mm(0.12).max(1.4);
    match map.view {
        View::Plan => {
            page.line([[x - arm, y], [x + arm, y]], options.medium(ink));
            page.line([[x, y], [x, y + arm]], options.medium(ink));
        }
        View::Side | View::Front => page.line([[x, y - 0.8], [x, y + 0.8]], options.medium(ink)),
    }
}

/// The edges of the picture, and on the view from the camera its frame where the figure stands;
/// gives the lines.
pub(super) fn picture(
    page: &mut Drawing,
    setup: &Setup,
    map: &Map,
    field: &Area,
    options: &Options,
) -> Vec<[Point; 2]> {
    let camera = &setup.camera;
    let rays = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]].map(|c| camera.ray(c));
    let paint = options.dashed(options.palette.mid);
    if map.view == View::Front {
        let depth = (camera.aim_point_m - camera.position_m).dot(camera.direction);
        let corners = rays.map(|ray| {
            map.mm_of_room(camera.position_m + ray * (depth / ray.dot(camera.direction)))
        });
        let sides = [0, 1, 2, 3].map(|k| [corners[k], corners[(k + 1) % 4]]);
        for side in sides {
            cut(page, field, &side, paint);
        }
        return sides.to_vec();
    }
    let far_z = match (&setup.backdrop, &setup.room.shell) {
        (Backdrop::Seamless(paper), _) => -paper.behind_m,
        (Backdrop::None, Some(shell)) => shell.z_m[0],
        (Backdrop::None, None) => -BEHIND_MARK_M,
    };
    let mut above = *field;
    if map.view != View::Plan {
        above.high_mm[1] = map.origin_mm[1].clamp(above.low_mm[1], above.high_mm[1]);
    }
    let lens = map.mm_of_room(camera.position_m);
    let ends = rays.map(|ray| {
        let steps = (far_z - camera.position_m.z) / ray.z;
        // A ray that does not go toward the background ends level with what the camera looks at.
        let steps = if steps.is_finite() && steps > 0.0 {
            steps
        } else {
            camera.aim_point_m.distance(camera.position_m)
        };
        map.mm_of_room(camera.position_m + ray * steps)
    });
    outermost(lens, &ends)
        .into_iter()
        .filter_map(|end| {
            let line = above.cut_line(lens, end)?;
            page.line(line, paint);
            Some(line)
        })
        .collect()
}

/// Of the ends of some rays, those of the widest two.
fn outermost(lens: Point, ends: &[Point; 4]) -> Vec<Point> {
    let widest = |a: Point, b: Point| {
        let (u, v) = (
            [a[0] - lens[0], a[1] - lens[1]],
            [b[0] - lens[0], b[1] - lens[1]],
        );
        (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1])
    };
    let mut best = (0.0, vec![ends[0]]);
    for a in ends {
        for b in ends {
            let angle = widest(*a, *b);
            if angle > best.0 {
                best = (angle, vec![*a, *b]);
            }
        }
    }
    best.1
}

/// The line from the mark to the lens, on plans.
pub(super) fn centre_line(
    page: &mut Drawing,
    map: &Map,
    camera: &Camera,
    field: &Area,
    options: &Options,
) {
    if map.view == View::Plan {
        let ends = [map.origin_mm, map.mm_of_room(camera.position_m)];
        cut(page, field, &ends, options.centre(options.palette.pale));
    }
}

/// Title at the top, and where left and right are; gives what they take up.
pub(super) fn title(page: &mut Drawing, map: &Map, field: &Area, options: &Options) -> Vec<Area> {
    let size = options.text_mm;
    let y = field.low_mm[1] + 1.2 + size;
    let scale = format!("{:.2}", map.one_to);
    let scale = scale.trim_end_matches('0').trim_end_matches('.');
    let left = Text::new(
        [field.low_mm[0] + 1.6, y],
        labels::scale(map.view.title(), scale),
        size,
        options.palette.ink,
    );
    let mut all = vec![left];
    if map.view == View::Plan {
        let words = labels::LEFT_AND_RIGHT;
        let small = options.small_mm();
        let right = Text::new(
            [field.high_mm[0] - 1.6, y],
            words,
            small,
            options.palette.mid,
        );
        all.push(right.anchored(Anchor::End));
    }
    let mut taken = Vec::new();
    for text in all {
        let wide = crate::report::drawing::text_width_mm(&text.words, text.size_mm);
        let from = match text.anchor {
            Anchor::End => text.at_mm[0] - wide,
            _ => text.at_mm[0],
        };
        // A sheet too narrow for both keeps the first.
        let area = Area {
            low_mm: [from - 1.0, field.low_mm[1]],
            high_mm: [from + wide + 1.0, y + 0.5 * size],
        };
        if taken.iter().any(|t: &Area| t.meets(&area)) || !field.holds_all(&area) {
            continue;
        }
        page.rect(
            area.low_mm,
            area.size_mm(),
            Paint::fill(options.palette.paper),
        );
        page.text(text);
        taken.push(area);
    }
    taken
}

/// The corners of all that must be on the sheet, metres of the page.
pub(super) fn extent(points: &[Point]) -> Option<Area> {
    Area::around(&hull(points))
}
