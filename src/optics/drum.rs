//! A closed cylinder about a modifier's axis, such as a lamp's head.

use super::prescription::Facing;
use glam::DVec3;

/// Distances below this are the surface that a ray starts on, metres.
pub(super) const NEAR: f64 = 1e-9;

/// A closed cylinder about z. Lengths in metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drum {
    /// From the axis.
    pub radius_m: f64,
    /// Where it begins.
    pub from_z_m: f64,
    /// Where it ends, farther along z.
    pub to_z_m: f64,
}

impl Drum {
    /// Distance to where a ray (`along` of length one) enters it from outside; infinite where it misses.
    pub fn distance(&self, from: DVec3, along: DVec3) -> f64 {
        match self.span(from, along) {
            Some([enter, _]) if enter > NEAR => enter,
            _ => f64::INFINITY,
        }
    }

    /// Whether it hides a place from what lies `far_m` away along a direction; what is within it is hidden.
    pub fn hides(&self, place: DVec3, along: DVec3, far_m: f64) -> bool {
        self.span(place, along)
            .is_some_and(|[enter, leave]| leave > NEAR && enter < far_m)
    }

    /// Where a line enters and leaves it, as distances along it.
    fn span(&self, from: DVec3, along: DVec3) -> Option<[f64; 2]> {
        let a = along.x * along.x + along.y * along.y;
        let b = from.x * along.x + from.y * along.y;
        let c = from.x * from.x + from.y * from.y - self.radius_m * self.radius_m;
        let (mut enter, mut leave) = (f64::NEG_INFINITY, f64::INFINITY);
        if a > 1e-30 {
            let root = b * b - a * c;
            if root <= 0.0 {
                return None;
            }
            enter = (-b - root.sqrt()) / a;
            leave = (-b + root.sqrt()) / a;
        } else if c > 0.0 {
            return None;
        }
        if along.z != 0.0 {
            let t = (self.from_z_m - from.z) / along.z;
            let u = (self.to_z_m - from.z) / along.z;
            enter = enter.max(t.min(u));
            leave = leave.min(t.max(u));
        } else if from.z < self.from_z_m || from.z > self.to_z_m {
            return None;
        }
        (enter < leave).then_some([enter, leave])
    }

    /// The same in the frame of a face that looks that way, its origin `offset_z_m` along the modifier's z
    /// (see [`super::trace::Placed`]).
    pub fn before(self, facing: Facing, offset_z_m: f64) -> Self {
        let [from, to] = [self.from_z_m - offset_z_m, self.to_z_m - offset_z_m];
        let [from_z_m, to_z_m] = match facing {
            Facing::Front => [from, to],
            Facing::Back => [-to, -from],
        };
        Self {
            from_z_m,
            to_z_m,
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: Drum = Drum {
        radius_m: 0.1,
        from_z_m: 0.0,
        to_z_m: 0.3,
    };

    /// By hand: a ray at 45° that starts half a metre beside the axis is at z = .4 there.
    #[test]
    fn rays_meet_it_where_they_should() {
        let (at, slant) = (
            DVec3::new(0.5, 0.0, -0.2),
            DVec3::new(-0.5_f64.sqrt(), 0.0, 0.5_f64.sqrt()),
        );
        assert!((HEAD.distance(at, slant) - 0.4 * 2.0_f64.sqrt()).abs() < 1e-12);
        assert!(HEAD.hides(at, slant, f64::INFINITY) && !HEAD.hides(at, slant, 0.5));
        assert_eq!(HEAD.distance(at + DVec3::Z * 0.11, slant), f64::INFINITY);
        assert_eq!(HEAD.distance(at, -slant), f64::INFINITY);
        // Along the axis, and along its side.
        assert_eq!(HEAD.distance(DVec3::Z, DVec3::NEG_Z), 0.7);
        assert_eq!(
            HEAD.distance(DVec3::new(0.11, 0.0, 1.0), DVec3::NEG_Z),
            f64::INFINITY
        );
    }

    /// What the head covers of a face that it stands on is hidden; what leaves it downward is not.
    #[test]
    fn places_within_are_hidden() {
        let within = DVec3::new(0.05, 0.0, 0.0);
        assert!(HEAD.hides(within, DVec3::Z, 2.0));
        assert!(!HEAD.hides(within, DVec3::NEG_Z, 2.0));
        assert!(!HEAD.hides(DVec3::new(0.2, 0.0, 0.0), DVec3::Z, 2.0));
    }

    #[test]
    fn it_turns_with_its_face() {
        let back = HEAD.before(Facing::Back, -0.5);
        assert_eq!([back.from_z_m, back.to_z_m], [-0.8, -0.5]);
        assert_eq!(HEAD.before(Facing::Front, 0.0), HEAD);
    }
}
