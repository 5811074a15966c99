//! What a hand holds, and where it takes it.

use super::{Event, Target};
use crate::report::plan::{Handle, Kind, Plan, Thing, View};
use crate::setup::Place;
use glam::DVec3;

/// Round steps of places and of bearings.
const STEP_M: f64 = 0.05;
const STEP_DEG: f64 = 5.0;
/// A named point takes an aim from so far, in the pointer's own reach.
const CATCH: f64 = 1.3;

/// What is held, and how it was when it was taken.
#[derive(Debug, Clone)]
pub(super) struct Held {
    pub hold: Hold,
    /// From the pointer to what it holds, on the sheet.
    off_mm: [f64; 2],
}

/// Which end of what.
#[derive(Debug, Clone)]
pub(super) enum Hold {
    /// The sheet itself.
    Paper,
    Body {
        thing: Thing,
        from_m: DVec3,
        place: Option<Place>,
    },
    Aim {
        thing: Thing,
        from: Handle,
    },
}

impl Hold {
    /// The thing that is held; none for the sheet.
    pub fn thing(&self) -> Option<&Thing> {
        match self {
            Self::Paper => None,
            Self::Body { thing, .. } | Self::Aim { thing, .. } => Some(thing),
        }
    }
}

/// What a hand takes at a place of the sheet: where the selected thing aims, else a thing, else the
/// sheet. A thing that cannot be moved lets the sheet go along.
pub(super) fn take(sheet: &Plan, selected: Option<&Thing>, at_mm: [f64; 2], near_mm: f64) -> Held {
    let off = |to: [f64; 2]| [0, 1].map(|k| to[k] - at_mm[k]);
    let near = |to: [f64; 2]| off(to)[0].hypot(off(to)[1]) <= near_mm;
    let aimed = selected
        .and_then(|t| sheet.find(t))
        .and_then(|p| Some((p, p.aim.as_ref()?)))
        .filter(|(_, aim)| near(aim.at_mm));
    if let Some((placed, aim)) = aimed {
        return Held {
            off_mm: off(aim.at_mm),
            hold: Hold::Aim {
                thing: placed.thing.clone(),
                from: aim.clone(),
            },
        };
    }
    let hit = sheet
        .thing_at(at_mm, near_mm)
        .map(|k| &sheet.placed[k])
        .filter(|p| p.movable);
    match hit {
        Some(placed) => Held {
            // From where it truly stands: a camera off the sheet is drawn at its edge.
            off_mm: off(sheet.map.mm_of_room(placed.body.at_m)),
            hold: Hold::Body {
                thing: placed.thing.clone(),
                from_m: placed.body.at_m,
                place: placed.place,
            },
        },
        None => Held {
            off_mm: [0.0; 2],
            hold: Hold::Paper,
        },
    }
}

impl Held {
    /// What the pointer's place makes of it.
    pub fn moved(
        &self,
        sheet: &Plan,
        at_mm: [f64; 2],
        near_mm: f64,
        snap: bool,
        finished: bool,
    ) -> Option<Event> {
        let to_mm = [0, 1].map(|k| at_mm[k] + self.off_mm[k]);
        match &self.hold {
            Hold::Paper => None,
            Hold::Body {
                thing,
                from_m,
                place,
            } => {
                let free = sheet.map.room_of_mm(to_mm, *from_m);
                let point_in_room = if snap {
                    rounded(free, *from_m, place.as_ref(), sheet.map.view)
                } else {
                    free
                };
                Some(Event::Dragged {
                    thing: thing.clone(),
                    point_in_room,
                    finished,
                })
            }
            Hold::Aim { thing, from } => {
                let named = named_near(sheet, from.on.as_deref(), to_mm, CATCH * near_mm);
                let at = match named {
                    Some(name) => Target::Named(name),
                    None => {
                        let free = sheet.map.room_of_mm(to_mm, from.at_m);
                        Target::At(if snap {
                            rounded(free, from.at_m, None, sheet.map.view)
                        } else {
                            free
                        })
                    }
                };
                Some(Event::Aimed {
                    thing: thing.clone(),
                    at,
                    finished,
                })
            }
        }
    }

    /// As it was.
    pub fn put_back(&self) -> Option<Event> {
        match &self.hold {
            Hold::Paper => None,
            // Where the figure was is no longer where the mark is.
            Hold::Body { thing, .. } if thing.kind == Kind::Figure => {
                Some(Event::PutBack(thing.clone()))
            }
            Hold::Body { thing, from_m, .. } => Some(Event::Dragged {
                thing: thing.clone(),
                point_in_room: *from_m,
                finished: true,
            }),
            Hold::Aim { thing, from } => Some(Event::Aimed {
                thing: thing.clone(),
                at: match &from.on {
                    Some(name) => Target::Named(name.clone()),
                    None => Target::At(from.at_m),
                },
                finished: true,
            }),
        }
    }
}

/// The named point that an aim takes on: the one it had, of several that lie together.
fn named_near(sheet: &Plan, had: Option<&str>, at_mm: [f64; 2], near_mm: f64) -> Option<String> {
    let far = |p: &Handle| (p.at_mm[0] - at_mm[0]).hypot(p.at_mm[1] - at_mm[1]);
    let near = || sheet.points.iter().filter(|p| far(p) <= near_mm);
    let kept = near().find(|p| had.is_some() && p.on.as_deref() == had);
    let nearest = || near().min_by(|a, b| far(a).total_cmp(&far(b)));
    kept.or_else(nearest)?.on.clone()
}

/// A place in round steps: of distance and bearing where it was taped out and is seen from above, else
/// along the drawing's own axes.
fn rounded(to: DVec3, from: DVec3, place: Option<&Place>, view: View) -> DVec3 {
    let round = |v: f64, step: f64| (v / step).round() * step;
    if let (View::Plan, Some(Place::Taped { .. })) = (view, place) {
        let (distance_m, bearing_rad, height_m) = Place::At(to).taped();
        return Place::Taped {
            distance_m: round(distance_m, STEP_M).max(STEP_M),
            bearing_rad: round(bearing_rad.to_degrees(), STEP_DEG).to_radians(),
            height_m,
        }
        .point_m();
    }
    let all = to.map(|v| round(v, STEP_M));
    // What the drawing does not show stays as it was, to the hair.
    match view {
        View::Plan => DVec3::new(all.x, from.y, all.z),
        View::Side => DVec3::new(from.x, all.y, all.z),
        View::Front => DVec3::new(all.x, all.y, from.z),
    }
}
