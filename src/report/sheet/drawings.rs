//! Plan and elevation.

use super::content::Drawn;
use super::labels;
use crate::report::drawing::{Anchor, Drawing, Paint, Scale, Text};
use crate::setup::{Backdrop, Setup};
use glam::DVec3;

/// Width and height of each on the page.
const ROOM_MM: [f64; 2] = [87.0, 87.0];

/// The plan and the elevation, side by side on the page.
pub(super) fn drawings(setup: &Setup) -> Vec<Drawn> {
    let names: Vec<&str> = setup
        .lights
        .iter()
        .map(|l| l.name.as_str())
        .chain(setup.boards.iter().map(|b| b.name.as_str()))
        .collect();
    let plan = stand_in(setup, labels::PLAN, |p| [p.x, -p.z]);
    let elevation = stand_in(setup, labels::ELEVATION, |p| [-p.z, p.y]);
    vec![
        Drawn {
            caption: labels::drawn_to(labels::PLAN, plan.1),
            alt: labels::plan_alt(&names),
            drawing: plan.0,
        },
        Drawn {
            caption: labels::drawn_to(labels::ELEVATION, elevation.1),
            alt: labels::elevation_alt(&names),
            drawing: elevation.0,
        },
    ]
}

fn stand_in(setup: &Setup, title: &str, at: impl Fn(DVec3) -> [f64; 2]) -> (Drawing, f64) {
    let mut points = vec![
        at(DVec3::ZERO),
        at(setup.camera.position_m),
        at(DVec3::Y * 2.0),
    ];
    points.extend(setup.lights.iter().map(|l| at(l.position_m())));
    points.extend(setup.boards.iter().map(|b| at(b.frame.origin_m)));
    if let Backdrop::Seamless(s) = &setup.backdrop {
        points.push(at(DVec3::new(0.0, s.height_m, -s.behind_m)));
    }
    let bound = |k: usize| {
        let values = points.iter().map(|p| p[k]);
        (
            values.clone().fold(f64::INFINITY, f64::min) - 0.6,
            values.fold(f64::NEG_INFINITY, f64::max) + 0.6,
        )
    };
    let ((x0, x1), (y0, y1)) = (bound(0), bound(1));
    let one_to = Scale::fitting([x1 - x0, y1 - y0], ROOM_MM);
    let mut scale = Scale {
        origin_mm: [0.0; 2],
        one_to,
    };
    scale.origin_mm = [
        0.5 * ROOM_MM[0] - scale.mm(0.5 * (x0 + x1)),
        0.5 * ROOM_MM[1] + scale.mm(0.5 * (y0 + y1)),
    ];
    let mut d = Drawing::new(ROOM_MM, title);
    let grid = Paint::line([225; 3], 0.1);
    let ink = Paint::line([30; 3], 0.3);
    let step = scale.mm(0.5);
    let mut x = scale.origin_mm[0].rem_euclid(step);
    while x < ROOM_MM[0] {
        d.line([[x, 0.0], [x, ROOM_MM[1]]], grid);
        x += step;
    }
    let mut y = scale.origin_mm[1].rem_euclid(step);
    while y < ROOM_MM[1] {
        d.line([[0.0, y], [ROOM_MM[0], y]], grid);
        y += step;
    }
    d.circle(scale.at(at(DVec3::ZERO)), 1.0, ink);
    d.circle(scale.at(at(setup.camera.position_m)), 1.5, ink);
    for (name, from, toward) in setup
        .lights
        .iter()
        .map(|l| (&l.name, l.position_m(), l.direction()))
        .chain(
            setup
                .boards
                .iter()
                .map(|b| (&b.name, b.frame.origin_m, b.frame.z)),
        )
    {
        let place = scale.at(at(from));
        d.line([place, scale.at(at(from + toward * 0.4))], ink);
        d.circle(place, 1.2, ink.filled([255; 3]));
        d.text(
            Text::new([place[0], place[1] - 2.0], name, 2.4, [30; 3]).anchored(Anchor::Middle),
        );
    }
    (d, one_to)
}
