//! Which scale, and where on the sheet.

use super::geometry::{Area, Point};
use super::look::Options;
use super::map::{Map, View};
use super::surroundings::{extent, paper_corners};
use super::things::things;
use crate::setup::{Backdrop, Setup};
use glam::DVec3;

/// Scales that drawings are made at, 1 to so many, as rulers have them.
pub const SCALES: [f64; 13] = [
    1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 40.0, 50.0, 75.0, 100.0, 150.0, 200.0, 500.0,
];
/// Kept free at the left and right, at the top (the title) and at the bottom (the tape).
const SIDE_MM: f64 = 7.0;
const TOP_MM: f64 = 8.0;
const BOTTOM_MM: f64 = 7.5;
/// A wall so near to what must be drawn is drawn too, metres.
const NEAR_WALL_M: f64 = 0.6;
/// With the camera on the sheet a room may be drawn as small as this; else the camera goes off it.
const SMALLEST_WITH_CAMERA: f64 = 40.0;
/// How far inside the sheet a camera that stands off it is drawn.
const EDGE_MM: f64 = 6.5;

/// The map, and how far the camera is drawn from where it would be: not at all where it fits.
pub(super) fn fit(setup: &Setup, view: View, field: &Area, options: &Options) -> (Map, Point) {
    let map = match options.map {
        Some(map) if map.view == view => map,
        _ => chosen(setup, view, field),
    };
    (map, off(setup, &map, field))
}

fn chosen(setup: &Setup, view: View, field: &Area) -> Map {
    let all = needed(setup, view, true);
    let with = scale_for(&all, field);
    let near = needed(setup, view, false);
    let without = scale_for(&near, field);
    let (one_to, needed) = if with <= SMALLEST_WITH_CAMERA || without >= with {
        (with, all)
    } else {
        (without, near)
    };
    let walled = with_walls(setup, view, needed);
    let fits = scale_for(&walled, field) <= one_to;
    placed(view, one_to, if fits { &walled } else { &needed }, field)
}

/// What must be on the sheet, in metres of the page, down the page positive.
fn needed(setup: &Setup, view: View, camera: bool) -> Area {
    let metres = Map {
        view,
        one_to: 1000.0,
        origin_mm: [0.0; 2],
    };
    let items = things(setup, &metres, [0.0; 2]);
    let mut points: Vec<Point> = vec![[0.0, 0.0]];
    for item in &items {
        let is_camera = item.placed.thing.kind == super::Kind::Camera;
        let is_point = item.placed.thing.kind == super::Kind::MeterPoint;
        if is_point {
            // Its mark is as large on any paper.
            points.push(item.placed.body.at_mm);
        } else if camera || !is_camera {
            points.extend(&item.placed.outline_mm);
            if item.stand.is_some() {
                points.push(metres.mm_of_room(item.plumb_m()));
            }
        }
    }
    if let Backdrop::Seamless(paper) = &setup.backdrop {
        points.extend(paper_corners(paper).map(|c| metres.mm_of_room(c)));
    }
    let mut area = extent(&points).unwrap_or(Area {
        low_mm: [-1.0; 2],
        high_mm: [1.0; 2],
    });
    // A piece of cloth on its own needs no sheet of millimetres.
    for k in 0..2 {
        let short = 0.5 * (1.0 - (area.high_mm[k] - area.low_mm[k])).max(0.0);
        area.low_mm[k] -= short;
        area.high_mm[k] += short;
    }
    if view != View::Plan {
        area.high_mm[1] = 0.0;
    }
    area
}

/// The same with the walls that are near.
fn with_walls(setup: &Setup, view: View, mut area: Area) -> Area {
    let metres = Map {
        view,
        one_to: 1000.0,
        origin_mm: [0.0; 2],
    };
    if let Some(shell) = &setup.room.shell {
        let low = metres.mm_of_room(DVec3::new(shell.x_m[0], shell.height_m, shell.z_m[0]));
        let high = metres.mm_of_room(DVec3::new(shell.x_m[1], 0.0, shell.z_m[1]));
        for k in 0..2 {
            let (least, most) = (low[k].min(high[k]), low[k].max(high[k]));
            if area.low_mm[k] - least < NEAR_WALL_M {
                area.low_mm[k] = area.low_mm[k].min(least);
            }
            if most - area.high_mm[k] < NEAR_WALL_M {
                area.high_mm[k] = area.high_mm[k].max(most);
            }
        }
    }
    area
}

fn free(field: &Area) -> Area {
    Area {
        low_mm: [field.low_mm[0] + SIDE_MM, field.low_mm[1] + TOP_MM],
        high_mm: [field.high_mm[0] - SIDE_MM, field.high_mm[1] - BOTTOM_MM],
    }
}

fn scale_for(needed_m: &Area, field: &Area) -> f64 {
    let room = free(field).size_mm();
    let need = (0..2)
        .map(|k| 1000.0 * needed_m.size_mm()[k] / room[k])
        .fold(0.0, f64::max);
    let fits = |one_to: &f64| *one_to >= need - 1e-9;
    // Beyond the rulers': whatever is needed, rounded up to a hundred.
    SCALES
        .into_iter()
        .find(fits)
        .unwrap_or((need / 100.0).ceil() * 100.0)
}

/// In the middle; elevations stand at the bottom.
fn placed(view: View, one_to: f64, needed_m: &Area, field: &Area) -> Map {
    let room = free(field);
    let mm = |m: f64| 1000.0 * m / one_to;
    let middle = needed_m.middle_mm().map(mm);
    let centre = room.middle_mm();
    let y = match view {
        View::Plan => centre[1] - middle[1],
        View::Side | View::Front => room.high_mm[1],
    };
    Map {
        view,
        one_to,
        origin_mm: [centre[0] - middle[0], y],
    }
}

/// From where the camera would be to the nearest place on the sheet.
fn off(setup: &Setup, map: &Map, field: &Area) -> Point {
    let at = map.mm_of_room(setup.camera.position_m);
    if field.grown(-0.5 * EDGE_MM).holds(at) || map.view == View::Front {
        return [0.0; 2];
    }
    let inner = field.grown(-EDGE_MM);
    // Along the line to the mark, where that is on the sheet.
    let to = match inner.cut_line(at, map.origin_mm) {
        Some([enter, _]) if map.view == View::Plan => enter,
        _ => inner.nearest(at),
    };
    [0, 1].map(|k| to[k] - at[k])
}
