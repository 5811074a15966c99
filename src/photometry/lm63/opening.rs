//! The luminous opening: three dimensions whose signs tell the shape.

use std::f64::consts::FRAC_PI_4;

use super::Version;

/// What shines, with its outer dimensions. As the luminaire is tested, aiming down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opening {
    /// The shape.
    pub shape: Shape,
    /// Square to the plane of zero, m.
    pub width_m: f64,
    /// Along the plane of zero, m.
    pub length_m: f64,
    /// Along the aim, m.
    pub height_m: f64,
}

/// The shape of a luminous opening. Those with two like diameters are round, others elliptic.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Too small to matter.
    Point,
    /// A rectangle, with luminous sides where it has a height.
    Rectangle,
    /// A disc facing the aim.
    Disc,
    /// A cylinder standing on the aim.
    UprightCylinder,
    /// A ball.
    Ball,
    /// A cylinder lying along its length, in the plane of zero.
    CylinderAlongLength,
    /// A cylinder lying along its width, square to the plane of zero.
    CylinderAlongWidth,
    /// A disc square to the aim's, which faces along the plane of zero.
    UprightDisc,
}

impl Opening {
    /// No size.
    pub const POINT: Self = Self {
        shape: Shape::Point,
        width_m: 0.0,
        length_m: 0.0,
        height_m: 0.0,
    };

    /// The area seen along the aim, m²; 0 for a point and an upright disc.
    pub fn facing_area_m2(&self) -> f64 {
        let sides = self.width_m * self.length_m;
        match self.shape {
            Shape::Point | Shape::UprightDisc => 0.0,
            Shape::Rectangle | Shape::CylinderAlongLength | Shape::CylinderAlongWidth => sides,
            Shape::Disc | Shape::UprightCylinder | Shape::Ball => FRAC_PI_4 * sides,
        }
    }

    /// Reads the signs of width, length and height, in metres: negative ones are round. The rules
    /// changed in 2002; what means nothing by a file's own rules is read by the others, since
    /// both were used. `None` where neither has it.
    pub(super) fn from_signed_m(version: Version, signed_m: [f64; 3]) -> Option<Self> {
        let signs = signed_m.map(|d| if d == 0.0 { 0 } else { d.signum() as i8 });
        let [width_m, length_m, height_m] = signed_m.map(f64::abs);
        let newer = newer_shape(signs).map(|shape| (shape, [width_m, length_m, height_m]));
        let older = older_shape(signs, [width_m, length_m, height_m]);
        let found = match version {
            Version::V2002 | Version::V2019 => newer.or(older),
            _ => older.or(newer),
        };
        let (shape, [width_m, length_m, height_m]) = found?;
        Some(Self {
            shape,
            width_m,
            length_m,
            height_m,
        })
    }

    /// Width, length and height with the signs of 2002 and 2019, m.
    pub(super) fn signed_m(&self) -> [f64; 3] {
        let Self {
            width_m: w,
            length_m: l,
            height_m: h,
            ..
        } = *self;
        match self.shape {
            Shape::Point => [0.0; 3],
            Shape::Rectangle => [w, l, h],
            Shape::Disc => [-w, -l, 0.0],
            Shape::UprightCylinder => [-w, -l, h],
            Shape::Ball => [-w, -l, -h],
            Shape::CylinderAlongLength => [-w, l, -h],
            Shape::CylinderAlongWidth => [w, -l, -h],
            Shape::UprightDisc => [-w, 0.0, -h],
        }
    }
}

/// The shapes of 2002 and 2019.
fn newer_shape(signs: [i8; 3]) -> Option<Shape> {
    Some(match signs {
        [0, 0, 0] => Shape::Point,
        [0 | 1, 0 | 1, 0 | 1] => Shape::Rectangle,
        [-1, -1, 0] => Shape::Disc,
        [-1, -1, 1] => Shape::UprightCylinder,
        [-1, -1, -1] => Shape::Ball,
        [-1, 1, -1] => Shape::CylinderAlongLength,
        [1, -1, -1] => Shape::CylinderAlongWidth,
        [-1, 0, -1] => Shape::UprightDisc,
        _ => return None,
    })
}

/// The shapes from 1986 to 1995, where one negative dimension may stand for two.
fn older_shape(signs: [i8; 3], [w, l, h]: [f64; 3]) -> Option<(Shape, [f64; 3])> {
    Some(match signs {
        [-1, 0, 0] => (Shape::Disc, [w, w, 0.0]),
        [0, -1, 0] => (Shape::Disc, [l, l, 0.0]),
        [-1, 1, 0] | [1, -1, 0] => (Shape::Disc, [w, l, 0.0]),
        [-1, 0, 1] => (Shape::UprightCylinder, [w, w, h]),
        [-1, 1, 1] | [1, -1, 1] => (Shape::UprightCylinder, [w, l, h]),
        [-1, 0, -1] => (Shape::Ball, [w, w, h]),
        [-1, 1, -1] | [1, -1, -1] => (Shape::Ball, [w, l, h]),
        [0, 1, -1] => (Shape::CylinderAlongLength, [h, l, h]),
        [1, 0, -1] => (Shape::CylinderAlongWidth, [w, h, h]),
        _ => return None,
    })
}
