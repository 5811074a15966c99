//! A setup on squared paper: plan and elevations, true to a stated scale, as an assistant tapes them out.
//!
//! [`draw`] makes a [`Plan`]: a [`Drawing`] (so that window, SVG, PNG and PDF show the same lines),
//! what is on it for a pointer ([`Placed`]), and the [`Map`] between paper and room. Beams are drawn by
//! angles handed in ([`BeamAngles`], from [`beam_angles`]); nothing is traced here.

mod beams;
mod bodies;
mod fit;
mod geometry;
mod labels;
mod look;
mod map;
mod names;
mod paint;
mod silhouette;
mod surroundings;
mod tapes;
mod things;

pub use beams::beam_angles;
pub use fit::SCALES;
pub use geometry::Area;
pub use look::{BeamAngles, Options, Palette, Units, Weights, plain_name};
pub use map::{Handle, Kind, Map, Placed, Thing, View};
pub use tapes::bearing_words;

use crate::report::drawing::{Drawing, Paint};
use crate::setup::Setup;
use geometry::distance_to_outline;
use labels::Crowd;

/// Smallest and largest side of a sheet.
const SIDES_MM: [f64; 2] = [30.0, 2000.0];

/// A setup drawn from one side.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The shapes, from the top left of the sheet.
    pub drawing: Drawing,
    /// What is on it, in the setup's order: lights, boards, flags, scrims, figure, camera, meter points.
    pub placed: Vec<Placed>,
    /// The named points that something can aim at: of the body, the swatch, the mark.
    pub points: Vec<Handle>,
    /// Between room and paper.
    pub map: Map,
    /// Where the squares are: all of the sheet.
    pub field: Area,
    /// The camera stands off the sheet and is drawn at its edge, with a break in the line to it.
    pub camera_is_off: bool,
}

impl Plan {
    /// What is under a place on paper, or within `slack_mm` of it: what is drawn on top, or nearest.
    pub fn thing_at(&self, at_mm: [f64; 2], slack_mm: f64) -> Option<usize> {
        let mut best: Option<(f64, f64, usize)> = None;
        for (k, placed) in self.placed.iter().enumerate() {
            let far = distance_to_outline(&placed.outline_mm, at_mm);
            if far > slack_mm {
                continue;
            }
            // Of things that lie over one another the smaller one is meant: the larger has more places
            // to be taken by.
            let size =
                Area::around(&placed.outline_mm).map_or(0.0, |a| a.size_mm()[0] + a.size_mm()[1]);
            if best.is_none_or(|(f, s, _)| (far, size) < (f, s)) {
                best = Some((far, size, k));
            }
        }
        best.map(|(_, _, k)| k)
    }

    /// A thing of the sheet.
    pub fn find(&self, thing: &Thing) -> Option<&Placed> {
        self.placed.iter().find(|p| p.thing == *thing)
    }
}

/// Draws a setup on a sheet of this size, at the largest of the [`SCALES`] at which all of it fits.
///
/// Sizes outside 3 cm to 2 m are brought within.
pub fn draw(setup: &Setup, view: View, size_mm: [f64; 2], options: &Options) -> Plan {
    let size_mm = size_mm.map(|v| {
        if v.is_finite() {
            v.clamp(SIDES_MM[0], SIDES_MM[1])
        } else {
            SIDES_MM[0]
        }
    });
    let field = Area::new([0.0; 2], size_mm);
    let (map, camera_off_mm) = fit::fit(setup, view, &field, options);
    let mut page = Drawing::new(
        size_mm,
        format!("{}, {}", plain_name(&setup.title), view.title()),
    );
    page.rect([0.0; 2], size_mm, Paint::fill(options.palette.paper));

    let items = things::things(setup, &map, camera_off_mm);
    let mut crowd = Crowd::default();
    paint::beam_tints(&mut page, setup, &map, &field, options);
    surroundings::squares(&mut page, &map, &field, options);
    crowd.things = surroundings::walls(&mut page, setup, &map, &field, options);
    crowd
        .things
        .extend(surroundings::floor(&mut page, &map, &field, options));
    let paper = surroundings::paper(&mut page, setup, &map, &field, options);
    surroundings::centre_line(&mut page, &map, &setup.camera, &field, options);
    crowd.lines = surroundings::picture(&mut page, setup, &map, &field, options);
    crowd
        .lines
        .extend(paint::beam_edges(&mut page, setup, &map, &field, options));
    crowd
        .lines
        .extend(tapes::arcs(&mut page, &items, &map, &field, options));
    crowd
        .lines
        .extend(tapes::tapes(&mut page, &items, &map, &field, options));
    paint::things(&mut page, &items, &map, options);
    surroundings::mark(&mut page, &map, options);
    tapes::feet(&mut page, &items, &map, options);
    if camera_off_mm != [0.0; 2] {
        paint::break_mark(&mut page, &items, &map, options);
    }
    crowd.taken = surroundings::title(&mut page, &map, &field, options);
    let corner = [field.low_mm[0] + 2.0, field.high_mm[1] - 1.6];
    crowd
        .taken
        .push(surroundings::tape_at_edge(&mut page, &map, corner, options));
    let numbers = tapes::numbers(&mut page, &items, &map, &field, options);
    let numbered = numbers.is_some();
    crowd.taken.extend(numbers.into_iter().flatten());
    let named = names::Named {
        items,
        paper,
        numbered,
    };
    let placed = names::write(&mut page, named, &map, &field, crowd, options);
    page.rect(
        [0.0; 2],
        size_mm,
        Paint::line(options.palette.pale, options.weights.light_mm),
    );
    Plan {
        drawing: page,
        placed,
        points: things::named_points(setup, &map),
        map,
        field,
        camera_is_off: camera_off_mm != [0.0; 2],
    }
}
