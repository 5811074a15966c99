//! Boxes and capsules: whether they meet, and whether the camera sees them.

use glam::DVec3;

use super::frame::Frame;
use super::library::Capsule;
use super::model::Camera;

/// How far two things may press into each other before it is an error: tape is not exact.
const SLACK_M: f64 = 0.002;

/// A solid in the room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Solid {
    Block(Block),
    Capsule(Capsule),
}

/// A box: its frame at the centre, and half its sizes along the axes, metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Block {
    pub frame: Frame,
    pub half_m: DVec3,
}

impl Block {
    /// The box behind a face.
    pub fn behind_face(face: &Frame, size_m: [f64; 2], depth_m: f64) -> Block {
        Block {
            frame: Frame {
                origin_m: face.point_in_room(0.0, 0.0, -depth_m / 2.0),
                ..*face
            },
            half_m: DVec3::new(size_m[0], size_m[1], depth_m) / 2.0,
        }
    }

    fn axes(&self) -> [DVec3; 3] {
        [self.frame.x, self.frame.y, self.frame.z]
    }

    pub fn corners(&self) -> [DVec3; 8] {
        std::array::from_fn(|i| {
            let sign = |bit: usize| if i & bit == 0 { -1.0 } else { 1.0 };
            self.frame.point_in_room(
                sign(1) * self.half_m.x,
                sign(2) * self.half_m.y,
                sign(4) * self.half_m.z,
            )
        })
    }

    /// The six sides as quads.
    fn sides(&self) -> [[DVec3; 4]; 6] {
        let c = self.corners();
        let quad = |a: usize, b: usize, d: usize, e: usize| [c[a], c[b], c[d], c[e]];
        [
            quad(0, 1, 3, 2),
            quad(4, 5, 7, 6),
            quad(0, 1, 5, 4),
            quad(2, 3, 7, 6),
            quad(0, 2, 6, 4),
            quad(1, 3, 7, 5),
        ]
    }

    fn distance_to(&self, p: DVec3) -> f64 {
        let local = self.frame.point_in_frame(p).abs() - self.half_m;
        local.max(DVec3::ZERO).length()
    }

    /// Separating axes of two boxes (Gottschalk, Lin and Manocha 1996).
    fn meets(&self, other: &Block) -> bool {
        let (a, b) = (self.axes(), other.axes());
        let between = other.frame.origin_m - self.frame.origin_m;
        let apart = |axis: DVec3| {
            if axis.length_squared() < 1e-12 {
                return false;
            }
            let axis = axis.normalize();
            let reach = |axes: &[DVec3; 3], half: DVec3| {
                axes.iter()
                    .zip(half.to_array())
                    .map(|(u, h)| u.dot(axis).abs() * h)
                    .sum::<f64>()
            };
            between.dot(axis).abs() >= reach(&a, self.half_m) + reach(&b, other.half_m) - SLACK_M
        };
        let crossed = a.iter().flat_map(|u| b.iter().map(|v| u.cross(*v)));
        !a.into_iter().chain(b).chain(crossed).any(apart)
    }

    /// Whether the segment from `a` to `b` passes through (slab test).
    fn is_crossed_by(&self, a: DVec3, b: DVec3) -> bool {
        let (from, to) = (self.frame.point_in_frame(a), self.frame.point_in_frame(b));
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for i in 0..3 {
            let (p, d, h) = (from[i], to[i] - from[i], self.half_m[i]);
            if d.abs() < 1e-12 {
                if p.abs() > h {
                    return false;
                }
            } else {
                let (t0, t1) = ((-h - p) / d, (h - p) / d);
                enter = enter.max(t0.min(t1));
                leave = leave.min(t0.max(t1));
            }
        }
        enter <= leave
    }
}

impl Solid {
    /// Whether two solids occupy the same place by more than a tape's error.
    pub fn meets(&self, other: &Solid) -> bool {
        match (self, other) {
            (Solid::Block(a), Solid::Block(b)) => a.meets(b),
            (Solid::Capsule(a), Solid::Capsule(b)) => {
                segment_distance(a, b) < a.radius_m + b.radius_m - SLACK_M
            }
            (Solid::Block(block), Solid::Capsule(c)) | (Solid::Capsule(c), Solid::Block(block)) => {
                least_along(c, |p| block.distance_to(p))
                    < c.radius_m - SLACK_M.min(c.radius_m / 2.0)
            }
        }
    }

    /// Whether the straight line between two points passes through.
    pub fn hides(&self, a: DVec3, b: DVec3) -> bool {
        match self {
            Solid::Block(block) => block.is_crossed_by(a, b),
            Solid::Capsule(c) => {
                let line = Capsule {
                    a_m: a,
                    b_m: b,
                    radius_m: 0.0,
                };
                segment_distance(c, &line) < c.radius_m
            }
        }
    }

    /// Least and greatest corner of the box around it, along the room's axes.
    pub fn bounds(&self) -> (DVec3, DVec3) {
        match self {
            Solid::Block(block) => {
                let c = block.corners();
                (
                    c.into_iter().fold(DVec3::INFINITY, DVec3::min),
                    c.into_iter().fold(DVec3::NEG_INFINITY, DVec3::max),
                )
            }
            Solid::Capsule(c) => {
                let r = DVec3::splat(c.radius_m);
                (c.a_m.min(c.b_m) - r, c.a_m.max(c.b_m) + r)
            }
        }
    }

    /// Places on the solid that fall in the picture, in the room; empty when none does.
    pub fn seen_by(&self, camera: &Camera) -> Vec<DVec3> {
        let block = match self {
            Solid::Block(block) => *block,
            Solid::Capsule(c) => block_in_capsule(c),
        };
        block
            .sides()
            .iter()
            .flat_map(|side| clip_to_picture(side, camera))
            .collect()
    }
}

/// A box that a capsule just about fills: good enough to tell whether it shows.
fn block_in_capsule(c: &Capsule) -> Block {
    let along = c.b_m - c.a_m;
    let z = if along.length() > 1e-9 {
        along.normalize()
    } else {
        DVec3::Y
    };
    Block {
        frame: Frame::facing((c.a_m + c.b_m) / 2.0, z, 0.0),
        half_m: DVec3::new(
            0.8 * c.radius_m,
            0.8 * c.radius_m,
            along.length() / 2.0 + 0.8 * c.radius_m,
        ),
    }
}

/// The part of a quad that is in the picture (Sutherland and Hodgman 1974): its corners,
/// drawn in slightly, and its middle. Empty when nothing is.
fn clip_to_picture(quad: &[DVec3; 4], camera: &Camera) -> Vec<DVec3> {
    let half = camera.half_tan();
    let shift = camera.shift_tan;
    let (o, d, r, u) = (camera.position_m, camera.direction, camera.right, camera.up);
    // A point is inside a plane where normal · (p - lens) >= offset.
    let planes = [
        (d, 0.05),
        (r + d * (half[0] - shift[0]), 0.0),
        (-r + d * (half[0] + shift[0]), 0.0),
        (u + d * (half[1] - shift[1]), 0.0),
        (-u + d * (half[1] + shift[1]), 0.0),
    ];
    let mut polygon = quad.to_vec();
    for (normal, offset) in planes {
        let signed = |p: DVec3| normal.dot(p - o) - offset;
        let mut kept = Vec::new();
        for (i, &p) in polygon.iter().enumerate() {
            let q = polygon[(i + 1) % polygon.len()];
            let (sp, sq) = (signed(p), signed(q));
            if sp >= 0.0 {
                kept.push(p);
            }
            if (sp >= 0.0) != (sq >= 0.0) {
                kept.push(p + (q - p) * (sp / (sp - sq)));
            }
        }
        polygon = kept;
        if polygon.is_empty() {
            return polygon;
        }
    }
    let middle = polygon.iter().sum::<DVec3>() / polygon.len() as f64;
    let mut places: Vec<DVec3> = polygon
        .into_iter()
        .map(|p| p + (middle - p) * 0.02)
        .collect();
    places.push(middle);
    places
}

/// Least distance between the segments of two capsules.
fn segment_distance(a: &Capsule, b: &Capsule) -> f64 {
    least_along(a, |p| point_to_segment(p, b))
}

fn point_to_segment(p: DVec3, c: &Capsule) -> f64 {
    let along = c.b_m - c.a_m;
    let t = if along.length_squared() > 0.0 {
        ((p - c.a_m).dot(along) / along.length_squared()).clamp(0.0, 1.0)
    } else {
        0.0
    };
    p.distance(c.a_m + along * t)
}

/// Least value over a capsule's segment of a distance to a convex body; such a distance
/// is convex along a line, so thirds close in on it.
fn least_along(c: &Capsule, distance: impl Fn(DVec3) -> f64) -> f64 {
    let at = |t: f64| distance(c.a_m.lerp(c.b_m, t));
    let (mut lo, mut hi) = (0.0, 1.0);
    for _ in 0..60 {
        let (m1, m2) = (lo + (hi - lo) / 3.0, hi - (hi - lo) / 3.0);
        if at(m1) <= at(m2) {
            hi = m2;
        } else {
            lo = m1;
        }
    }
    at((lo + hi) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn capsule(a: [f64; 3], b: [f64; 3], radius_m: f64) -> Capsule {
        Capsule {
            a_m: a.into(),
            b_m: b.into(),
            radius_m,
        }
    }

    fn unit_block(origin: [f64; 3], direction: DVec3) -> Block {
        Block {
            frame: Frame::facing(origin.into(), direction.normalize(), 0.0),
            half_m: DVec3::splat(0.5),
        }
    }

    #[test]
    fn distances_agree_with_closed_forms() {
        // Two skew lines at right angles, 1 m apart.
        let a = capsule([-1.0, 0.0, 0.0], [1.0, 0.0, 0.0], 0.0);
        let b = capsule([0.0, 1.0, -1.0], [0.0, 1.0, 1.0], 0.0);
        assert!((segment_distance(&a, &b) - 1.0).abs() < 1e-9);
        // Corner of the unit cube to (1,1,1): half the space diagonal.
        let cube = unit_block([0.0; 3], DVec3::Z);
        assert!((cube.distance_to(DVec3::ONE) - 0.75_f64.sqrt()).abs() < 1e-12);
        // End to end.
        let c = capsule([2.0, 0.0, 0.0], [5.0, 0.0, 0.0], 0.0);
        assert!((segment_distance(&a, &c) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn boxes_meet_by_their_turned_corners() {
        let still = unit_block([0.0; 3], DVec3::Z);
        // A cube turned by 45 degrees reaches sqrt(2)/2 along x.
        let reach = 0.5 + 0.5_f64.sqrt();
        let turned = |x: f64| unit_block([x, 0.0, 0.0], DVec3::new(1.0, 0.0, 1.0));
        assert!(still.meets(&turned(reach - 0.01)));
        assert!(!still.meets(&turned(reach + 0.01)));
    }

    #[test]
    fn a_thin_stand_meets_a_box_it_passes_through() {
        let block = Solid::Block(unit_block([0.0, 1.0, 0.0], DVec3::Z));
        let through = Solid::Capsule(capsule([0.2, 0.0, 0.2], [0.2, 3.0, 0.2], 0.015));
        let beside = Solid::Capsule(capsule([0.53, 0.0, 0.0], [0.53, 3.0, 0.0], 0.015));
        assert!(block.meets(&through));
        assert!(!block.meets(&beside));
    }

    #[test]
    fn lines_are_hidden_by_what_they_cross() {
        let block = Solid::Block(unit_block([0.0; 3], DVec3::Z));
        assert!(block.hides(DVec3::new(0.0, 0.0, 5.0), DVec3::new(0.1, 0.0, -5.0)));
        assert!(!block.hides(DVec3::new(0.0, 0.0, 5.0), DVec3::new(0.0, 0.0, 0.6)));
        let ball = Solid::Capsule(capsule([0.0; 3], [0.0; 3], 0.5));
        assert!(!ball.hides(DVec3::new(0.51, 0.0, 5.0), DVec3::new(0.51, 0.0, -5.0)));
        assert!(ball.hides(DVec3::new(0.49, 0.0, 5.0), DVec3::new(0.49, 0.0, -5.0)));
    }
}
