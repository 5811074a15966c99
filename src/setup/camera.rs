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
    /// `right` and `up`. Zero unless `upright`, or a crop.
    pub shift_tan: [f64; 2],
    /// The part of the sensor that the picture uses, width and height as the picture
    /// stands, metres.
    pub picture_m: [f64; 2],
    /// The whole sensor, longer side first, metres.
    pub sensor_m: [f64; 2],
    /// What the whole sensor records, longer side first.
    pub sensor_pixels: [u32; 2],
    /// Whether an optical low-pass lies before the sensor.
    pub low_pass: bool,
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

    /// From one pixel of the sensor to the next.
    pub fn pixel_pitch_m(&self) -> f64 {
        self.sensor_m[0] / f64::from(self.sensor_pixels[0])
    }

    /// Whether the picture's pixels are the sensor's own, to 1 %.
    pub fn has_sensor_pixels(&self) -> bool {
        let pitch_m = self.picture_m[0] / f64::from(self.pixels[0]);
        (pitch_m / self.pixel_pitch_m() - 1.0).abs() < 0.01
    }

    /// The sensor's pixels as it is held, width and height.
    pub fn held_pixels(&self) -> [u32; 2] {
        let [long, short] = self.sensor_pixels;
        // A square picture says nothing; it is taken as upright.
        let landscape = self.picture_m[0] > self.sensor_m[1] * (1.0 + 1e-9);
        if landscape {
            [long, short]
        } else {
            [short, long]
        }
    }

    /// Shrinks the picture to a part of the sensor, a pixel of the picture to a pixel of the sensor. The
    /// camera stays as it is.
    ///
    /// # Errors
    /// A sentence when the part is not on the sensor.
    pub fn crop(&mut self, crop: &Crop) -> Result<(), String> {
        let held = self.held_pixels();
        let [w, h] = crop.size_px;
        let pitch_m = self.pixel_pitch_m();
        let v = self.image_distance_m();
        // The picture's middle on the sensor, as it appears right way up, in pixels from the top left.
        let middle = held.map(|side| f64::from(side) / 2.0);
        let corner = match crop.place {
            CropPlace::From(corner) => corner.map(i64::from),
            CropPlace::Middle => {
                [0, 1].map(|i| (middle[i] - f64::from(crop.size_px[i]) / 2.0) as i64)
            }
            CropPlace::Around(point_m) => {
                let [x, y] = self
                    .project(point_m)
                    .ok_or("that point is behind the camera")?;
                let half = self.half_tan();
                let at = [
                    middle[0] + x * half[0] * v / pitch_m,
                    middle[1] - y * half[1] * v / pitch_m,
                ];
                [0, 1].map(|i| (at[i] - f64::from(crop.size_px[i]) / 2.0).round() as i64)
            }
        };
        for i in 0..2 {
            if corner[i] < 0 || corner[i] + i64::from(crop.size_px[i]) > i64::from(held[i]) {
                return Err(format!(
                    "{w} x {h} pixels from {}, {} on do not lie on the sensor's {} x {}",
                    corner[0], corner[1], held[0], held[1]
                ));
            }
        }
        let off = [0, 1].map(|i| corner[i] as f64 + f64::from(crop.size_px[i]) / 2.0 - middle[i]);
        self.shift_tan[0] += off[0] * pitch_m / v;
        self.shift_tan[1] -= off[1] * pitch_m / v;
        self.picture_m = crop.size_px.map(|side| f64::from(side) * pitch_m);
        self.pixels = crop.size_px;
        Ok(())
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

/// A part of what the sensor records, pixel for pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crop {
    /// Width and height in the sensor's pixels.
    pub size_px: [u32; 2],
    pub place: CropPlace,
}

/// Where on the sensor a crop is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CropPlace {
    /// In the middle of the picture.
    Middle,
    /// With its top left corner at this pixel from the top left of the whole sensor.
    From([u32; 2]),
    /// About a point of the room, metres.
    Around(DVec3),
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
