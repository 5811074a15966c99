//! Plan and elevation, worked on by hand: what is dragged there is typed into the setup.

use super::moved::{camera_moved, coordinates, figure_moved, meter_point_moved, moved};
use crate::app::cell::place;
use crate::app::desk::Desk;
use crate::app::drawing_view::{self, Event, Settings, Target, ViewState};
use crate::app::theme::Theme;
use crate::report::plan::{self, Kind, Options, Plan, Thing, Units, View};
use crate::setup::written::taped_text;
use egui::{Rect, Ui};
use glam::DVec3;
use std::sync::Arc;

/// Millimetres of paper to a point of the screen: a sheet's type is as large as the table's.
const MM_PER_POINT: f64 = 0.25;

/// What is kept of the drawings between frames.
#[derive(Default)]
pub struct Drawings {
    views: [ViewState; 2],
    drawn: [Option<Drawn>; 2],
}

/// A drawing, and what it was drawn of.
struct Drawn {
    plan: Plan,
    of: Of,
}

#[derive(PartialEq)]
struct Of {
    revision: u64,
    size: [i32; 2],
    view: View,
    selected: Option<Thing>,
    dark: bool,
    feet: bool,
    beams: u64,
    /// How far the figure has stepped, mm of the room.
    stepped_mm: i32,
}

/// Shows both.
pub fn show(desk: &mut Desk, ui: &mut Ui, plan: Rect, elevation: Rect, theme: &Theme) {
    let mut drawings = std::mem::take(&mut desk.views.drawings);
    let sides = [(plan, View::Plan), (elevation, desk.elevation)];
    let mut events = Vec::new();
    for (k, (at, view)) in sides.into_iter().enumerate() {
        drawings.draw(desk, k, at, view, theme);
        let Some(drawn) = &drawings.drawn[k] else {
            continue;
        };
        let settings = Settings {
            selected: desk.selected.as_ref(),
            snap: true,
            palette: &theme.drawing,
        };
        let state = &mut drawings.views[k];
        ui.scope_builder(place(ui, at, ("drawing", k)), |ui| {
            events.extend(drawing_view::show(ui, state, &drawn.plan, &settings));
        });
    }
    desk.views.drawings = drawings;
    for event in events {
        act(desk, event);
    }
}

impl Drawings {
    /// Draws anew where anything has changed.
    fn draw(&mut self, desk: &Desk, k: usize, at: Rect, view: View, theme: &Theme) {
        let Some(document) = &desk.document else {
            return;
        };
        let glimpses = desk.shown.glimpses.as_ref();
        let of = Of {
            revision: document.revision,
            size: [at.width() as i32, at.height() as i32],
            view,
            selected: desk.selected.clone(),
            dark: theme.dark,
            feet: desk.units.feet,
            beams: glimpses.map_or(0, |(number, _)| *number),
            stepped_mm: desk
                .views
                .stepped
                .as_ref()
                .map_or(0, |(_, m)| (1e3 * m).round() as i32),
        };
        let before = self.drawn[k].as_ref();
        if before.is_some_and(|d| d.of == of) {
            return;
        }
        let setup = Arc::clone(&document.setup);
        let beam = |name: &str| {
            let (_, all) = glimpses?;
            all.iter().find(|g| g.light == name)?.beam
        };
        // The paper stays where it is while something is held.
        let map = before
            .filter(|d| self.views[k].is_held() && d.of.view == view)
            .map(|d| {
                // The mark goes with the figure; the room stays where it is on the paper.
                let step = DVec3::Z * (1e-3 * f64::from(of.stepped_mm - d.of.stepped_mm));
                let (to, from) = (
                    d.plan.map.mm_of_room(step),
                    d.plan.map.mm_of_room(DVec3::ZERO),
                );
                let mut map = d.plan.map;
                map.origin_mm = [0, 1].map(|k| map.origin_mm[k] + to[k] - from[k]);
                map
            });
        let options = Options {
            selected: desk.selected.clone(),
            units: if desk.units.feet {
                Units::Feet
            } else {
                Units::Metres
            },
            palette: theme.drawing,
            beams: setup.lights.iter().map(|l| beam(&l.name)).collect(),
            tapes: false,
            map,
            ..Options::default()
        };
        let size_mm = [at.width(), at.height()].map(|v| f64::from(v) * MM_PER_POINT);
        let plan = plan::draw(&setup, view, size_mm, &options);
        self.drawn[k] = Some(Drawn { plan, of });
    }
}

/// Types what a hand did.
fn act(desk: &mut Desk, event: Event) {
    match event {
        Event::Selected(thing) => {
            if thing.as_ref().is_none_or(|t| t.kind != Kind::MeterPoint) {
                desk.selected = thing;
            } else if let Some(thing) = thing {
                // A meter point is where the cloth is looked at.
                desk.cloth_point = thing.name;
            }
        }
        Event::Dragged {
            thing,
            point_in_room,
            finished,
        } => {
            let changes = match (&desk.document, thing.kind) {
                (None, _) => Vec::new(),
                (Some(d), Kind::MeterPoint) => {
                    meter_point_moved(&d.setup, &thing.name, point_in_room)
                }
                (Some(d), Kind::Camera) => camera_moved(d, point_in_room),
                (Some(d), Kind::Figure) => {
                    let start = || (Arc::clone(&d.setup), 0.0);
                    let (from, so_far_m) = desk.views.stepped.get_or_insert_with(start);
                    let goes_along = ["camera.distance", "camera.at"]
                        .iter()
                        .all(|key| d.value(key).is_none());
                    match point_in_room.z {
                        0.0 => Vec::new(),
                        step_m => figure_moved(from, *so_far_m + step_m, goes_along),
                    }
                }
                (Some(_), _) => moved(&thing.name, point_in_room),
            };
            let taken = typed(desk, &thing, "move", changes, finished);
            if let Some((_, so_far_m)) = desk.views.stepped.as_mut().filter(|_| taken) {
                *so_far_m += point_in_room.z;
            }
            if finished {
                desk.views.stepped = None;
            }
        }
        Event::PutBack(_) => {
            let stepped = desk.views.stepped.take();
            if let Some(document) = &mut desk.document {
                if stepped.is_some_and(|(_, m)| m != 0.0) {
                    document.undo();
                }
                document.end_step();
            }
        }
        Event::Aimed {
            thing,
            at,
            finished,
        } => {
            let changes = aimed(&thing, &at);
            typed(desk, &thing, "aim", changes, finished);
        }
    }
}

/// Types the keys. Whether they were taken up.
fn typed(
    desk: &mut Desk,
    thing: &Thing,
    verb: &str,
    changes: Vec<(String, String)>,
    finished: bool,
) -> bool {
    let revision = |desk: &Desk| desk.document.as_ref().map(|d| d.revision);
    let before = revision(desk);
    let part = format!("{verb} {}", thing.called());
    if !changes.is_empty() {
        desk.edit(&changes, Some(&part));
    }
    let taken = revision(desk) != before;
    if finished && let Some(document) = &mut desk.document {
        document.end_step();
    }
    taken
}

/// The key that says where a thing points.
fn aimed(thing: &Thing, at: &Target) -> Vec<(String, String)> {
    if thing.kind == Kind::Figure {
        // The figure turns toward where it is aimed.
        let Target::At(p) = at else {
            return Vec::new();
        };
        let [_, bearing, _] = taped_text([p.x, 0.0, p.z]);
        return vec![("figure.turn".into(), bearing)];
    }
    let owner = match thing.kind {
        Kind::Camera => "camera",
        _ => &thing.name,
    };
    let text = match at {
        Target::Named(name) => name.clone(),
        Target::At(p) => coordinates(*p),
    };
    vec![(format!("{owner}.aim"), text)]
}
