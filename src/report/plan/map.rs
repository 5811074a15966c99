//! From the room to paper and back.

use crate::report::labels::plan as words;
use crate::setup::{Place, PointSpec};
use glam::DVec3;

/// Where a drawing is seen from. Each is a parallel projection.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum View {
    /// From above: the camera at the bottom, the background at the top, the camera's left at the left.
    Plan,
    /// From the camera's right: the camera at the left, the background at the right.
    Side,
    /// From the camera.
    Front,
}

impl View {
    /// What it is called on paper.
    pub fn title(self) -> &'static str {
        match self {
            Self::Plan => words::PLAN,
            Self::Side => words::SIDE,
            Self::Front => words::FRONT,
        }
    }

    /// One word or two, for the names of things in it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Plan => words::PLAN,
            Self::Side => words::SIDE_WORD,
            Self::Front => words::FRONT_WORD,
        }
    }

    /// Metres to the page's right and up the page.
    pub(super) fn flat(self, room: DVec3) -> [f64; 2] {
        match self {
            Self::Plan => [room.x, -room.z],
            Self::Side => [-room.z, room.y],
            Self::Front => [room.x, room.y],
        }
    }

    /// Metres toward whoever looks.
    pub(super) fn depth(self, room: DVec3) -> f64 {
        match self {
            Self::Plan => room.y,
            Self::Side => room.x,
            Self::Front => room.z,
        }
    }
}

/// How a room lies on paper: true to scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Map {
    /// Where it is seen from.
    pub view: View,
    /// 50 for a scale of 1:50.
    pub one_to: f64,
    /// Of the mark on the floor.
    pub origin_mm: [f64; 2],
}

impl Map {
    /// A length on paper.
    pub fn mm(&self, metres: f64) -> f64 {
        1000.0 * metres / self.one_to
    }

    /// A place of the room on paper.
    pub fn mm_of_room(&self, room_m: DVec3) -> [f64; 2] {
        let [right, up] = self.view.flat(room_m);
        [
            self.origin_mm[0] + self.mm(right),
            self.origin_mm[1] - self.mm(up),
        ]
    }

    /// The place of the room at a place on paper; what paper does not tell (height on a plan, the
    /// distance across on an elevation) is taken from `keep_m`.
    pub fn room_of_mm(&self, at_mm: [f64; 2], keep_m: DVec3) -> DVec3 {
        let right = (at_mm[0] - self.origin_mm[0]) * self.one_to / 1000.0;
        let up = (self.origin_mm[1] - at_mm[1]) * self.one_to / 1000.0;
        match self.view {
            View::Plan => DVec3::new(right, keep_m.y, -up),
            View::Side => DVec3::new(keep_m.x, up, -right),
            View::Front => DVec3::new(right, up, keep_m.z),
        }
    }
}

/// What is drawn and can be pointed at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs)] // each is the setup's own word
pub enum Kind {
    Light,
    Board,
    Flag,
    Scrim,
    Figure,
    Camera,
    MeterPoint,
}

impl Kind {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Light => words::LIGHT,
            Self::Board => words::BOARD,
            Self::Flag => words::FLAG,
            Self::Scrim => words::SCRIM,
            Self::Figure => words::FIGURE,
            Self::Camera => words::CAMERA,
            Self::MeterPoint => words::METER_POINT,
        }
    }
}

/// Which thing of a setup.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Thing {
    /// What it is.
    pub kind: Kind,
    /// Its name in the setup, as written; empty for the figure and the camera.
    pub name: String,
}

impl Thing {
    /// Of a kind, by name.
    pub fn new(kind: Kind, name: impl Into<String>) -> Self {
        Self {
            kind,
            name: name.into(),
        }
    }

    /// What it is called aloud: "light key".
    pub fn called(&self) -> String {
        format!("{} {}", self.kind.word(), self.name)
            .trim_end()
            .to_owned()
    }
}

/// A place that can be taken hold of.
#[derive(Debug, Clone, PartialEq)]
pub struct Handle {
    /// On paper.
    pub at_mm: [f64; 2],
    /// In the room.
    pub at_m: DVec3,
    /// The named point it is fastened to, if it is.
    pub on: Option<String>,
}

/// A thing as drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Which.
    pub thing: Thing,
    /// Its outline on paper, closed; for hit tests.
    pub outline_mm: Vec<[f64; 2]>,
    /// The thing itself: the middle of a face, the lens, the mark under the figure.
    pub body: Handle,
    /// Where it aims, of what can be aimed.
    pub aim: Option<Handle>,
    /// Where it stands, as written, for what is placed by tape or coordinates.
    pub place: Option<Place>,
    /// Whether it can be moved on this drawing.
    pub movable: bool,
    /// Where its name is written, if it is.
    pub label: Option<super::Area>,
}

impl Handle {
    pub(super) fn new(map: &Map, at_m: DVec3) -> Self {
        Self {
            at_mm: map.mm_of_room(at_m),
            at_m,
            on: None,
        }
    }

    pub(super) fn aimed(map: &Map, at_m: DVec3, spec: &PointSpec) -> Self {
        Self {
            on: match spec {
                PointSpec::Named(name) => Some(name.clone()),
                PointSpec::At(_) => None,
            },
            ..Self::new(map, at_m)
        }
    }
}
