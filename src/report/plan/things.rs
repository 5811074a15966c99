//! What of a setup is drawn and can be pointed at, with outlines.

use super::bodies::{self, Part, Role};
use super::geometry::{Point, hull};
use super::map::{Handle, Kind, Map, Placed, Thing, View};
use super::silhouette::silhouette;
use crate::setup::{BoardKind, Capsule, Light, MeterPoint, Place, Setup, Stand};
use glam::DVec3;
use std::f64::consts::TAU;

/// Points that lie nearer to each other than this on paper share a mark's label.
const TOGETHER_MM: f64 = 1.6;
/// Over this share of the stature there is only the head.
const HEAD_SHARE: f64 = 0.86;
/// Radius of a meter point.
pub(super) const POINT_MM: f64 = 0.55;
/// The same, for a pointer.
const POINT_HIT_MM: f64 = 1.2;

/// A thing with all that drawing it takes.
pub(super) struct Item<'s> {
    pub placed: Placed,
    pub what: What<'s>,
    /// Toward whoever looks, metres: what is nearer is drawn later.
    pub depth_m: f64,
    /// Where it stands on the floor, and how it is held.
    pub stand: Option<Stand>,
}

/// How it is drawn.
pub(super) enum What<'s> {
    Light {
        light: &'s Light,
        parts: Vec<Part>,
    },
    Board {
        kind: &'s BoardKind,
        parts: Vec<Part>,
    },
    Figure {
        outlines: Vec<Vec<Point>>,
        /// The head's, on a plan: it lies over the shoulders.
        head: Vec<Vec<Point>>,
    },
    Camera {
        parts: Vec<Part>,
    },
    Point(&'s MeterPoint),
}

/// All of them, in the setup's order: lights, boards, figure, camera, meter points.
pub(super) fn things<'s>(setup: &'s Setup, map: &Map, camera_off_mm: Point) -> Vec<Item<'s>> {
    let mut items: Vec<Item<'s>> = Vec::new();
    for light in &setup.lights {
        let parts = bodies::light(map, light);
        items.push(Item {
            placed: Placed {
                thing: Thing::new(Kind::Light, &*light.name),
                outline_mm: bodies::around(&parts),
                body: Handle::new(map, light.frame.origin_m),
                aim: Some(Handle::aimed(map, light.aim_point_m, &light.aim.at)),
                place: Some(light.place),
                movable: true,
                label: None,
            },
            depth_m: map.view.depth(light.frame.origin_m),
            stand: Some(light.stand),
            what: What::Light { light, parts },
        });
    }
    for board in &setup.boards {
        let parts = bodies::board(map, board);
        let kind = match board.kind {
            BoardKind::Board { .. } => Kind::Board,
            BoardKind::Flag { .. } => Kind::Flag,
            BoardKind::Scrim(_) => Kind::Scrim,
        };
        items.push(Item {
            placed: Placed {
                thing: Thing::new(kind, &*board.name),
                outline_mm: bodies::around(&parts),
                body: Handle::new(map, board.frame.origin_m),
                aim: Some(Handle::aimed(map, board.aim_point_m, &board.aim.at)),
                place: Some(board.place),
                movable: true,
                label: None,
            },
            depth_m: map.view.depth(board.frame.origin_m),
            stand: Some(board.stand),
            what: What::Board {
                kind: &board.kind,
                parts,
            },
        });
    }
    items.extend(figure(setup, map));
    items.push(camera(setup, map, camera_off_mm));
    items.extend(setup.meter.points.iter().map(|p| point(p, map)));
    items
}

fn figure<'s>(setup: &'s Setup, map: &Map) -> Option<Item<'s>> {
    let figure = setup.figure.as_ref()?;
    let on_paper = |[right, up]: Point| {
        [
            map.origin_mm[0] + map.mm(right),
            map.origin_mm[1] - map.mm(up),
        ]
    };
    let drawn = |blocks: &[Capsule]| -> Vec<Vec<Point>> {
        silhouette(blocks, map.view)
            .into_iter()
            .map(|outline| outline.into_iter().map(on_paper).collect())
            .collect()
    };
    let outlines = drawn(&figure.blocks);
    let head: Vec<Capsule> = figure
        .blocks
        .iter()
        .copied()
        .filter(|b| b.a_m.y.min(b.b_m.y) > HEAD_SHARE * figure.height_m)
        .collect();
    let head = match map.view {
        View::Plan => drawn(&head),
        View::Side | View::Front => Vec::new(),
    };
    let all: Vec<Point> = outlines.iter().flatten().copied().collect();
    // Where limbs stand apart, a hand's width between them still is the figure to a pointer.
    let outline_mm = match outlines.len() {
        1 => all,
        _ => hull(&all),
    };
    let heights = figure.blocks.iter().map(|b| map.view.depth(b.a_m));
    let depth_m = match map.view {
        View::Plan => heights.fold(0.0, f64::max) * 0.5,
        _ => 0.0,
    };
    let ahead = figure.room_from_figure(DVec3::Z);
    Some(Item {
        placed: Placed {
            thing: Thing::new(Kind::Figure, ""),
            outline_mm,
            body: Handle::new(map, DVec3::ZERO),
            aim: Some(Handle::new(map, ahead * 0.6)),
            place: None,
            // To and from the background; everything else stays where it stands in the room.
            movable: true,
            label: None,
        },
        depth_m,
        stand: None,
        what: What::Figure { outlines, head },
    })
}

fn camera<'s>(setup: &'s Setup, map: &Map, off_mm: Point) -> Item<'s> {
    let camera = &setup.camera;
    let moved = Map {
        origin_mm: [0, 1].map(|k| map.origin_mm[k] + off_mm[k]),
        ..*map
    };
    let is_here = off_mm == [0.0; 2];
    let parts = bodies::camera(&moved, camera);
    Item {
        placed: Placed {
            thing: Thing::new(Kind::Camera, ""),
            outline_mm: bodies::around(&parts),
            body: Handle {
                at_mm: moved.mm_of_room(camera.position_m),
                at_m: camera.position_m,
                on: None,
            },
            aim: is_here.then(|| Handle::aimed(map, camera.aim_point_m, &camera.aim.at)),
            place: Some(camera.place),
            movable: true,
            label: None,
        },
        // Drawn last: nothing may hide what the camera would hit.
        depth_m: f64::MAX,
        stand: None,
        what: What::Camera { parts },
    }
}

fn point<'s>(point: &'s MeterPoint, map: &Map) -> Item<'s> {
    let [x, y] = map.mm_of_room(point.position_m);
    let round = (0..16).map(|k| {
        let (s, c) = (f64::from(k) / 16.0 * TAU).sin_cos();
        [x + POINT_HIT_MM * c, y + POINT_HIT_MM * s]
    });
    Item {
        placed: Placed {
            thing: Thing::new(Kind::MeterPoint, &*point.name),
            outline_mm: round.collect(),
            body: Handle::aimed(map, point.position_m, &point.at),
            aim: None,
            place: Some(Place::At(point.position_m)),
            // One fastened to the body goes where the figure goes.
            movable: matches!(point.at, crate::setup::PointSpec::At(_)),
            label: None,
        },
        depth_m: f64::MAX,
        stand: None,
        what: What::Point(point),
    }
}

/// The named points of a setup, by the names that it may use.
pub(super) fn named_points(setup: &Setup, map: &Map) -> Vec<Handle> {
    let body = setup.figure.iter().flat_map(|f| &f.body_points_m);
    let body = body.map(|(name, at_m)| (name.as_str(), *at_m));
    let swatch = setup.swatch.iter().map(|s| ("swatch", s.frame.origin_m));
    body.chain(swatch)
        .chain([("floor", DVec3::ZERO)])
        .map(|(name, at_m)| Handle {
            on: Some(name.to_owned()),
            ..Handle::new(map, at_m)
        })
        .collect()
}

impl Item<'_> {
    /// The place on the floor plumb below its middle.
    pub fn plumb_m(&self) -> DVec3 {
        self.placed.body.at_m * DVec3::new(1.0, 0.0, 1.0)
    }

    /// The parts of a kind.
    pub fn parts_of(parts: &[Part], role: Role) -> impl Iterator<Item = &Part> {
        parts.iter().filter(move |p| p.role == role)
    }
}

/// Meter points by what can share a label: those that fall together on paper.
pub(super) fn points_together(items: &[Item<'_>]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (k, item) in items.iter().enumerate() {
        if !matches!(item.what, What::Point(_)) {
            continue;
        }
        let at = item.placed.body.at_mm;
        let near = groups.iter_mut().find(|g| {
            g.iter()
                .any(|&o| super::geometry::distance(items[o].placed.body.at_mm, at) < TOGETHER_MM)
        });
        match near {
            Some(group) => group.push(k),
            None => groups.push(vec![k]),
        }
    }
    groups
}
