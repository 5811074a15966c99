//! A right-handed frame in the room, and how a direction makes one.

use glam::DVec3;

/// Axes of a light, board or swatch in the room frame. Right-handed, orthonormal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// In the room, metres.
    pub origin_m: DVec3,
    /// Along the width. Seen from in front (looking against `z`), `x` points right.
    pub x: DVec3,
    /// Toward the top.
    pub y: DVec3,
    /// Out of the face.
    pub z: DVec3,
}

impl Frame {
    /// The frame of a face at `origin_m` that looks along `direction` (unit), its width
    /// level with the floor, then turned by `roll_rad` clockwise as seen from in front.
    ///
    /// A face that looks straight down has its top toward the background (`-z`), one that
    /// looks straight up toward the camera: what a face in front of the subject comes to
    /// when it is raised overhead and tilted down.
    pub fn facing(origin_m: DVec3, direction: DVec3, roll_rad: f64) -> Frame {
        let z = direction;
        let level = DVec3::Y.cross(z);
        let x0 = if level.length() < 1e-9 {
            // x = y × z with the top toward ∓z of the room.
            DVec3::new(0.0, 0.0, z.y.signum()).cross(z)
        } else {
            level
        }
        .normalize();
        let y0 = z.cross(x0);
        let (s, c) = roll_rad.sin_cos();
        Frame {
            origin_m,
            x: x0 * c - y0 * s,
            y: y0 * c + x0 * s,
            z,
        }
    }

    /// The room point at `(x, y, z)` metres in this frame.
    pub fn point_in_room(&self, x: f64, y: f64, z: f64) -> DVec3 {
        self.origin_m + self.x * x + self.y * y + self.z * z
    }

    /// A room point in this frame, metres.
    pub fn point_in_frame(&self, room: DVec3) -> DVec3 {
        let d = room - self.origin_m;
        DVec3::new(d.dot(self.x), d.dot(self.y), d.dot(self.z))
    }

    /// The four corners of a face `size_m` wide and high, anticlockwise seen from in front.
    pub fn corners(&self, size_m: [f64; 2]) -> [DVec3; 4] {
        let [w, h] = [size_m[0] / 2.0, size_m[1] / 2.0];
        [
            self.point_in_room(-w, -h, 0.0),
            self.point_in_room(w, -h, 0.0),
            self.point_in_room(w, h, 0.0),
            self.point_in_room(-w, h, 0.0),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_are_right_handed_and_level() {
        for d in [
            DVec3::NEG_Z,
            DVec3::Z,
            DVec3::X,
            DVec3::NEG_Y,
            DVec3::Y,
            DVec3::new(0.3, -0.8, -0.2).normalize(),
        ] {
            for roll in [0.0, 0.4, -2.0] {
                let f = Frame::facing(DVec3::ZERO, d, roll);
                assert!((f.x.cross(f.y) - f.z).length() < 1e-12);
                assert!((f.x.length() - 1.0).abs() < 1e-12);
                if roll == 0.0 {
                    assert!(f.x.y.abs() < 1e-12, "width is level for {d}");
                    assert!(f.y.y > -1e-12, "top is not below for {d}");
                }
            }
        }
    }

    #[test]
    fn overhead_top_is_toward_the_background() {
        let f = Frame::facing(DVec3::ZERO, DVec3::NEG_Y, 0.0);
        assert!((f.y - DVec3::NEG_Z).length() < 1e-12, "{f:?}");
        let near = Frame::facing(DVec3::ZERO, DVec3::new(0.0, -1.0, -1e-4).normalize(), 0.0);
        assert!((near.y - f.y).length() < 1e-3 && (near.x - f.x).length() < 1e-3);
    }

    #[test]
    fn roll_is_clockwise_from_in_front() {
        // A face toward +z (the camera). Seen from the camera its top moves to the right.
        let f = Frame::facing(DVec3::ZERO, DVec3::Z, 0.5);
        assert!(f.y.x > 0.4 && f.x.y < -0.4);
    }
}
