//! The camera of a resolved setup, and where points fall in its picture.
#![allow(missing_docs)] // a name with its unit says all

use glam::DVec3;

use super::model::{Aim, Place};

/// The camera, as a thin lens with a rectangular picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// The lens (its front principal plane).
    pub position_m: DVec3,
    /// Normal of the sensor, toward the subject (horizontal when `upright`). Unit.
    pub direction: DVec3,
    /// To the picture's right (unit).
    pub right: DVec3,
    /// To the picture's top (unit).
    pub up: DVec3,
    /// What the middle of the picture shows.
    pub aim_point_m: DVec3,
    /// The sensor is kept vertical and the picture is moved by rise or fall.
    pub upright: bool,
    /// Where the picture's middle is, as tangents of the angle from `direction` along
    /// `right` and `up`. Zero unless `upright`.
    pub shift_tan: [f64; 2],
    /// The part of the sensor that the picture uses, width and height as the picture
    /// stands, metres.
    pub picture_m: [f64; 2],
    /// The whole sensor, longer side first, metres.
    pub sensor_m: [f64; 2],
    /// Width and height of the picture in pixels.
    pub pixels: [u32; 2],
    pub focal_length_m: f64,
    /// Distance along `direction` from the lens to the plane of sharp focus, metres.
    pub focus_m: f64,
    pub focus: Focus,
    pub f_number: Aperture,
    pub shutter_s: f64,
    pub iso: f64,
    pub white_balance: WhiteBalance,
    /// Present when a framing worked out the position or the focal length.
    pub framing: Option<Framing>,
    pub place: Place,
    pub aim: Aim,
}

impl Camera {
    /// Distance from the lens to the sensor when focused: `v = f s / (s - f)` (thin lens).
    pub fn image_distance_m(&self) -> f64 {
        self.focal_length_m * self.focus_m / (self.focus_m - self.focal_length_m)
    }

    /// Half the picture's width and height as tangents at the lens.
    pub fn half_tan(&self) -> [f64; 2] {
        let v = self.image_distance_m();
        [self.picture_m[0] / (2.0 * v), self.picture_m[1] / (2.0 * v)]
    }

    /// Where a point falls in the picture: `-1..1` across and up within the frame.
    /// `None` for a point that is not in front of the lens.
    pub fn project(&self, point_m: DVec3) -> Option<[f64; 2]> {
        let d = point_m - self.position_m;
        let depth = d.dot(self.direction);
        if depth <= 1e-6 {
            return None;
        }
        let half = self.half_tan();
        Some([
            (d.dot(self.right) / depth - self.shift_tan[0]) / half[0],
            (d.dot(self.up) / depth - self.shift_tan[1]) / half[1],
        ])
    }

    /// The direction (unit) from the lens through a place in the picture, `-1..1` across
    /// and up; the inverse of [`Camera::project`].
    pub fn ray(&self, picture: [f64; 2]) -> DVec3 {
        let half = self.half_tan();
        (self.direction
            + self.right * (self.shift_tan[0] + picture[0] * half[0])
            + self.up * (self.shift_tan[1] + picture[1] * half[1]))
            .normalize()
    }
}

/// How much of the figure the picture holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Framing {
    FullLength,
    ThreeQuarter,
    Half,
    Beauty,
    Swatch,
}

/// The lens opening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Aperture {
    Set(f64),
    /// The f-number read at [`super::model::Meter::expose_at`].
    AsMetered,
}

/// What the lens is focused on, as written.
#[derive(Debug, Clone, PartialEq)]
pub enum Focus {
    Point(String),
    At(DVec3),
    Distance(f64),
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WhiteBalance {
    /// A grey card at `meter.expose_at` comes out neutral.
    GreyCard,
    /// A source of this colour temperature comes out neutral.
    Kelvin(f64),
    /// No balance: linear sRGB as it is.
    None,
}
