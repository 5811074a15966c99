//! Plan and elevations.

use super::content::Drawn;
use crate::report::labels;
use crate::report::plan::{Options, View, beam_angles, draw};
use crate::scene::models::Models;
use crate::setup::{Light, Setup};

/// Width and height of each on the page: the plan at the left, the elevations at its right.
const PLAN_MM: [f64; 2] = [87.0, 106.0];
const ELEVATION_MM: [f64; 2] = [87.0, 51.0];
/// Of an em.
const TEXT_MM: f64 = 2.3;

/// The plan, and the elevations from the side and from the camera.
pub(super) fn drawings(setup: &Setup, models: &Models) -> Vec<Drawn> {
    let beam = |light: &Light| {
        let shine = models
            .tables()
            .shine(&light.modifier, light.spread.unwrap_or(0.0));
        beam_angles(light, &shine)
    };
    let options = Options {
        beams: setup.lights.iter().map(beam).collect(),
        text_mm: TEXT_MM,
        ..Options::default()
    };
    let names: Vec<&str> = setup
        .lights
        .iter()
        .map(|l| l.name.as_str())
        .chain(setup.boards.iter().map(|b| b.name.as_str()))
        .collect();
    [
        (View::Plan, PLAN_MM),
        (View::Side, ELEVATION_MM),
        (View::Front, ELEVATION_MM),
    ]
    .map(|(view, size_mm)| Drawn {
        drawing: draw(setup, view, size_mm, &options).drawing,
        alt: match view {
            View::Plan => labels::plan_alt(&names),
            View::Side | View::Front => labels::elevation_alt(view.title(), &names),
        },
    })
    .into()
}
