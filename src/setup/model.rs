//! The resolved setup: everything the later layers need, in metres, radians and
//! photometric SI units, with positions in the room frame.
//!
//! The room frame: metres, right-handed, origin on the floor at the subject's mark,
//! `+y` up, `+z` toward the camera, `+x` to the camera's right. Where a person tapes
//! something out, the taped form is kept beside the resolved one ([`Place`], [`Aim`]),
//! because tables and drawings speak that language.
#![allow(missing_docs)] // a name with its unit says all

use std::collections::BTreeMap;

use glam::DVec3;

use crate::photometry::MeterConstants;
use crate::photometry::exposure::Receptor;
use crate::photometry::flash::PowerRange;

pub use super::camera::{Aperture, Camera, Crop, CropPlace, Focus, Framing, WhiteBalance};
use super::frame::Frame;
use super::library::{Capsule, FigureSpec};
pub use super::modifier::*;

/// One studio arrangement, checked: every number is finite and in its stated range.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// What the setup is called; the file's `title`, or an empty string.
    pub title: String,
    /// Free text for whoever builds the setup; may be empty.
    pub notes: String,
    pub room: Room,
    pub backdrop: Backdrop,
    /// The stand-in, or none for a setup that only looks at the swatch.
    pub figure: Option<Figure>,
    pub swatch: Option<Swatch>,
    pub camera: Camera,
    /// In the order of the file. Film layers follow this order.
    pub lights: Vec<Light>,
    /// Boards, flags and scrims, in the order boards, flags, scrims, each as in the file.
    pub boards: Vec<Board>,
    pub meter: Meter,
}

/// The floor and, unless the room is open, its walls and ceiling.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Diffuse reflectance of the floor, linear sRGB, 0 to 1.
    pub floor_reflectance: [f64; 3],
    /// The box of walls and ceiling, or `None` for an open room: a floor and darkness.
    pub shell: Option<Shell>,
}

/// The inside of a rectangular room. The floor is at `y = 0`.
#[derive(Debug, Clone, PartialEq)]
pub struct Shell {
    /// Least x (the camera-left wall) and greatest x (the camera-right wall), metres.
    pub x_m: [f64; 2],
    /// Least z (the wall behind the subject) and greatest z (behind the camera), metres.
    pub z_m: [f64; 2],
    /// Height of the ceiling above the floor, metres.
    pub height_m: f64,
    /// Diffuse reflectances, linear sRGB, 0 to 1. `back_wall` is the one behind the subject.
    pub walls_reflectance: [f64; 3],
    pub back_wall_reflectance: [f64; 3],
    pub ceiling_reflectance: [f64; 3],
}

/// What is behind the subject.
#[derive(Debug, Clone, PartialEq)]
pub enum Backdrop {
    /// Nothing but the room.
    None,
    /// A roll of seamless paper: it hangs at `z = -behind_m`, curves with radius
    /// `curve_m` onto the floor, and runs toward the camera until `z = forward_m`.
    Seamless(Seamless),
}

/// Seamless paper, centred on `x = 0`.
#[derive(Debug, Clone, PartialEq)]
pub struct Seamless {
    pub width_m: f64,
    /// Distance from the mark back to the hanging paper.
    pub behind_m: f64,
    /// Height of the roll above the floor.
    pub height_m: f64,
    /// Radius of the curve from the hanging to the lying paper.
    pub curve_m: f64,
    /// Where the lying paper ends, as z; negative when it ends behind the mark.
    pub forward_m: f64,
    /// Diffuse reflectance, linear sRGB, 0 to 1.
    pub reflectance: [f64; 3],
}

/// The stand-in on the mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    pub spec: FigureSpec,
    /// Rotation about `+y` from facing `+z`; positive turns the figure to the camera's
    /// right, so that it faces `(sin t, 0, cos t)`. Room point = `Ry(turn)` figure point.
    pub turn_rad: f64,
    /// Stature, metres.
    pub height_m: f64,
    /// The named body points in the room frame, metres, on the skin or cloth.
    pub body_points_m: BTreeMap<String, DVec3>,
    /// Volumes that nothing else may enter, in the room frame.
    pub blocks: Vec<Capsule>,
}

impl Figure {
    /// A point or direction of the figure's own frame, turned into the room frame.
    pub fn room_from_figure(&self, v: DVec3) -> DVec3 {
        let (s, c) = self.turn_rad.sin_cos();
        DVec3::new(c * v.x + s * v.z, v.y, c * v.z - s * v.x)
    }
}

/// A flat patch of cloth in the scene.
#[derive(Debug, Clone, PartialEq)]
pub struct Swatch {
    pub fabric: String,
    /// Origin: the patch's centre; `z`: out of its face; `x`, `y`: along weft and warp.
    pub frame: Frame,
    /// Width along `x` and height along `y`, metres.
    pub size_m: [f64; 2],
    /// Whether it stands in the room and is seen by the camera. A hidden swatch is only
    /// used for readings of texture and for swatch views.
    pub shown: bool,
    pub place: SwatchPlace,
    pub facing: Facing,
    /// Turn of the warp about the patch's normal, radians, clockwise as seen from in front.
    pub roll_rad: f64,
    pub lay: Lay,
}

/// How a swatch lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Lay {
    /// Pressed flat.
    #[default]
    Flat,
    /// In long soft folds.
    Draped,
    /// With a pleat across it.
    Folded,
}

impl Lay {
    /// Each with its word in a setup.
    pub const NAMED: [(&'static str, Self); 3] = [
        ("flat", Self::Flat),
        ("draped", Self::Draped),
        ("folded", Self::Folded),
    ];

    /// Its word in a setup.
    pub fn word(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::Draped => "draped",
            Self::Folded => "folded",
        }
    }
}

/// Where a swatch is, as written.
#[derive(Debug, Clone, PartialEq)]
pub enum SwatchPlace {
    /// Taped out or given in coordinates.
    At(Place),
    /// Beside the figure at the height and depth of a body point, `offset_m` to the
    /// camera's right (negative: left).
    Beside { point: String, offset_m: f64 },
}

/// A lamp in a modifier on a stand.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    pub name: String,
    /// With what this light puts on it or leaves off: cloth, baffle, grid, skirt, cover, focus.
    pub modifier: Modifier,
    /// 0 tight to 1 wide; none when the modifier's lamp does not travel.
    pub spread: Option<f64>,
    /// Whether the file gives the spread as a mark of the modifier's own scale.
    pub by_mark: bool,
    /// Origin: the middle of the modifier's front face (the middle of a globe or tube);
    /// `z`: where it points, feathering included; `x`: along its width; `y`: its top.
    pub frame: Frame,
    pub place: Place,
    pub aim: Aim,
    /// The point aimed at, before feathering, metres.
    pub aim_point_m: DVec3,
    /// Clockwise as seen from the subject, radians.
    pub roll_rad: f64,
    pub stand: Stand,
    pub output: Output,
    pub colour: LightColour,
    /// A light that is off keeps its place and its layer, with weight zero.
    pub on: bool,
    /// What the head can be set to, as fractions of full output.
    pub head: Option<PowerRange>,
}

impl Light {
    /// The mark of its modifier's own scale that it is set to, where there is one.
    pub fn mark(&self) -> Option<f64> {
        self.modifier.mark_of_spread(self.spread?)
    }

    /// Middle of the front face, metres.
    pub fn position_m(&self) -> DVec3 {
        self.frame.origin_m
    }

    /// Where it points (unit).
    pub fn direction(&self) -> DVec3 {
        self.frame.z
    }
}

/// What a light gives. For plain Lambertian shapes it is what leaves the face; for traced
/// modifiers it is what leaves the lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct Output {
    /// What it gives at full power, where the setup says so.
    pub full: Option<FullOutput>,
    pub setting: Setting,
    /// A lamp that burns rather than flashes: its light counts with the shutter.
    pub continuous: bool,
}

impl Output {
    /// Lumen-seconds (flash) or lumens (continuous) at the setting; `None` while a target
    /// reading still has to be solved on the light's layer.
    pub fn set_amount(&self) -> Option<f64> {
        match (&self.full, &self.setting) {
            (Some(full), Setting::Power(fraction)) => Some(full.amount() * fraction),
            _ => None,
        }
    }
}

/// Full output of a light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FullOutput {
    /// Stored flash energy and luminous yield; luminous energy is their product.
    FlashEnergy {
        energy_j: f64,
        yield_lm_s_per_j: f64,
    },
    LuminousEnergy {
        lm_s: f64,
    },
    /// A continuous lamp.
    Flux {
        lm: f64,
    },
}

impl FullOutput {
    /// Lumen-seconds, or lumens for a continuous lamp.
    pub fn amount(&self) -> f64 {
        match *self {
            FullOutput::FlashEnergy {
                energy_j,
                yield_lm_s_per_j,
            } => energy_j * yield_lm_s_per_j,
            FullOutput::LuminousEnergy { lm_s } => lm_s,
            FullOutput::Flux { lm } => lm,
        }
    }
}

/// How a light is set.
#[derive(Debug, Clone, PartialEq)]
pub enum Setting {
    /// Fraction of full output, over 0 and up to 1.
    Power(f64),
    /// The light alone reads this f-number there, with the setup's ISO and shutter.
    Meters { f_number: f64, at: MeterPoint },
}

/// The colour of a light.
#[derive(Debug, Clone, PartialEq)]
pub struct LightColour {
    /// Correlated colour temperature of the bare light.
    pub kelvin: f64,
    /// Sum of the gels' mired shifts; positive warms.
    pub gel_mired: f64,
    /// Product of the colour filters' linear sRGB transmittances, 0 to 1.
    pub filter: [f64; 3],
}

/// A flat panel in the set.
#[derive(Debug, Clone, PartialEq)]
pub struct Board {
    pub name: String,
    pub kind: BoardKind,
    /// Origin: the middle of the front face; `z`: out of the front face; `x`: along its
    /// width; `y`: its top.
    pub frame: Frame,
    /// Width along x and height along y, metres.
    pub size_m: [f64; 2],
    /// Thickness behind the front face, metres.
    pub thickness_m: f64,
    pub place: Place,
    pub aim: Aim,
    pub aim_point_m: DVec3,
    /// Clockwise as seen from in front, radians.
    pub roll_rad: f64,
    pub stand: Stand,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BoardKind {
    /// Bounces, or takes light away. Front and back finish.
    Board { front: Finish, back: Finish },
    /// Held in the beam to cut it; the same as a board, drawn and listed apart.
    Flag { front: Finish, back: Finish },
    /// Passes and scatters.
    Scrim(ScrimCloth),
}

impl BoardKind {
    pub fn word(&self) -> &'static str {
        match self {
            BoardKind::Board { .. } => "board",
            BoardKind::Flag { .. } => "flag",
            BoardKind::Scrim(_) => "scrim",
        }
    }
}

/// The surface of a board. Typical values, from memory: white foam board .85 to .90,
/// matte black paint .03 to .05, crinkled silver .75 to .90 mostly specular.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finish {
    /// Diffuse, 0.85.
    White,
    /// Diffuse, 0.04.
    Black,
    /// Mostly a wide specular lobe, 0.85.
    Silver,
    /// Diffuse, 0.18.
    Grey18,
    /// Diffuse, own linear sRGB reflectance.
    Reflectance([f64; 3]),
}

impl Finish {
    /// Total reflectance, linear sRGB.
    pub fn reflectance(&self) -> [f64; 3] {
        match *self {
            Finish::White | Finish::Silver => [0.85; 3],
            Finish::Black => [0.04; 3],
            Finish::Grey18 => [0.18; 3],
            Finish::Reflectance(rgb) => rgb,
        }
    }
}

/// What a scrim's cloth does, as fractions of the light that meets it at right angles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScrimCloth {
    /// Passes straight on.
    pub straight: f64,
    /// Passes scattered, as a diffuse (Lambertian) sheet.
    pub scattered: f64,
    /// Thrown back, diffuse.
    pub reflected: f64,
}

/// The meter: its constants, where it exposes, and where it reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Meter {
    pub constants: MeterConstants,
    /// Receptor used where a point does not say.
    pub receptor: Receptor,
    /// The reading that `f_number = "as metered"` uses.
    pub expose_at: MeterPoint,
    /// In the order of the file; names are unique.
    pub points: Vec<MeterPoint>,
}

/// One place to read, with the receptor's direction worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct MeterPoint {
    pub name: String,
    pub position_m: DVec3,
    /// Where the receptor faces (unit).
    pub direction: DVec3,
    pub receptor: Receptor,
    pub facing: Facing,
    /// Where it is, as written.
    pub at: PointSpec,
}

/// Where something faces, as written.
#[derive(Debug, Clone, PartialEq)]
pub enum Facing {
    /// Toward the lens.
    Camera,
    /// Toward the middle of a light's face.
    Light(String),
    Up,
    Direction(DVec3),
}

/// What holds a light or a board up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stand {
    /// A column from the floor, plumb below the middle.
    Upright,
    /// An arm from a stand farther off; nothing plumb below.
    Boom,
    /// Hung, held by hand, or lying.
    None,
}

/// A place named or given, as written.
#[derive(Debug, Clone, PartialEq)]
pub enum PointSpec {
    /// A body point, or `floor` for the mark.
    Named(String),
    At(DVec3),
}

/// Where something stands, as written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// Taped out from the mark.
    Taped {
        /// Along the floor from the mark to the point plumb below.
        distance_m: f64,
        /// From the line mark to camera (`+z`); positive to the camera's right.
        bearing_rad: f64,
        height_m: f64,
    },
    At(DVec3),
}

impl Place {
    /// The point in the room frame, metres.
    pub fn point_m(&self) -> DVec3 {
        match *self {
            Place::Taped {
                distance_m,
                bearing_rad,
                height_m,
            } => DVec3::new(
                distance_m * bearing_rad.sin(),
                height_m,
                distance_m * bearing_rad.cos(),
            ),
            Place::At(p) => p,
        }
    }

    /// Distance along the floor, bearing (positive right) and height, whichever way it
    /// was written.
    pub fn taped(&self) -> (f64, f64, f64) {
        match *self {
            Place::Taped {
                distance_m,
                bearing_rad,
                height_m,
            } => (distance_m, bearing_rad, height_m),
            Place::At(p) => (p.x.hypot(p.z), p.x.atan2(p.z), p.y),
        }
    }
}

/// What something points at, as written.
#[derive(Debug, Clone, PartialEq)]
pub struct Aim {
    pub at: PointSpec,
    /// Turned off the aim point; empty when aimed straight at it.
    pub feather: Vec<Feather>,
}

/// A turn off the aim point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feather {
    /// Positive, radians.
    pub angle_rad: f64,
    pub toward: FeatherToward,
}

/// Which way a light is feathered; left and right are the camera's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FeatherToward {
    Camera,
    Background,
    Left,
    Right,
    Up,
    Down,
}
