//! Feet, and shoes drawn over the same foot.
//!
//! A foot is sculpted flat in its own frame in centimetres at base size:
//! origin in the ankle joint, y up, z to the toes, x outward (towards the
//! little toe). It bends at the ball: the point is looked up both in the
//! frame of the heel and in that of the toes, and the two are mixed, so that
//! a raised heel leaves the toes flat on the floor.

use super::person::Shod;
use super::sdf::{Field, cone, ellipsoid, smax, smin, step};
use glam::{DMat3, DVec3, dvec3};

/// Ankle joint over the sole.
pub const ANKLE_CM: f64 = 7.9;
/// The foot is this much longer than it is sculpted.
const STRETCH: f64 = 1.04;
/// Where the foot bends.
const BALL: DVec3 = dvec3(0.0, -6.1, 11.0);

/// What a kind of footwear puts under the foot.
#[derive(Debug, Clone, Copy)]
pub struct Lift {
    /// Thickness of the sole under the ball, in centimetres.
    pub sole_cm: f64,
    /// How far the heel is raised, as an angle at the ball.
    pub pitch_deg: f64,
}

impl Shod {
    /// Sole and heel of this footwear.
    pub fn lift(self) -> Lift {
        let (sole_cm, pitch_deg) = match self {
            Self::Bare => (0.0, 0.0),
            Self::Pumps => (0.5, 25.0),
            Self::Flats => (0.6, 2.0),
            Self::Welted => (1.0, 6.5),
        };
        Lift { sole_cm, pitch_deg }
    }

    /// How much higher the ankle stands than barefoot, in centimetres at base size.
    pub fn rise_cm(self) -> f64 {
        let lift = self.lift();
        let from_ball = DMat3::from_rotation_x(lift.pitch_deg.to_radians()) * -BALL;
        BALL.y + lift.sole_cm + from_ball.y
    }
}

/// One foot, posed.
#[derive(Debug, Clone, Copy)]
pub struct Foot {
    shod: Shod,
    /// 1 on the figure's left, -1 on its right.
    side: f64,
    pub ankle: DVec3,
    ball: DVec3,
    heel_axes: DMat3,
    toe_axes: DMat3,
    /// Turn from the heel as it rests in the shoe to the floor.
    rest: DMat3,
}

impl Foot {
    /// A foot whose ankle would stand over (`x`, `z`) with the heel down.
    ///
    /// `yaw` turns the foot on the floor, `floor_cm` is the height it stands at,
    /// `heel_lift_deg` raises the heel further about the ball.
    pub fn new(
        shod: Shod,
        side: f64,
        ankle_xz: [f64; 2],
        yaw: DMat3,
        floor_cm: f64,
        heel_lift_deg: f64,
    ) -> Self {
        let lift = shod.lift();
        let pitch = |deg: f64| DMat3::from_rotation_x(deg.to_radians());
        let rest = pitch(lift.pitch_deg);
        let down = yaw * rest * -BALL;
        let ball = dvec3(
            ankle_xz[0] - down.x,
            floor_cm + ANKLE_CM + BALL.y + lift.sole_cm,
            ankle_xz[1] - down.z,
        );
        let heel_axes = yaw * pitch(lift.pitch_deg + heel_lift_deg);
        Self {
            shod,
            side,
            ankle: ball - heel_axes * BALL,
            ball,
            heel_axes,
            toe_axes: yaw,
            rest,
        }
    }

    /// Whether there is a shoe on it.
    pub fn is_shod(&self) -> bool {
        self.shod != Shod::Bare
    }

    /// Top of the toes, for the body points.
    pub fn toe(&self) -> DVec3 {
        self.toe_axes * (dvec3(-self.side, -6.4, 17.0 * STRETCH) - BALL) + self.ball
    }

    /// Height of the underside of the sole at the ball, in centimetres at base size.
    fn lowest_cm(&self) -> f64 {
        self.ball.y - (ANKLE_CM + BALL.y + self.shod.lift().sole_cm)
    }

    /// Distance in centimetres to the foot, or a lower bound more than 6 cm off.
    pub fn distance(&self, p: DVec3) -> f64 {
        if let Some(far) = self.far(p) {
            return far;
        }
        bare(self.flat(p).0)
    }

    /// The room that a shoe leaves for foot and ankle: the inside of the last,
    /// and everything above the rim. Without a shoe, everything.
    pub fn room(&self, p: DVec3) -> f64 {
        let near = p.distance_squared(0.5 * (self.ankle + self.ball)) < 400.0;
        if self.shod == Shod::Bare || !near {
            return -1e3;
        }
        let q = self.flat(p).0;
        (last(self.shod, q) + 0.28).min(-0.5 - rim(self.shod, q))
    }

    /// Distance in centimetres to the shoe; far off where barefoot.
    pub fn shoe(&self, p: DVec3) -> f64 {
        if self.shod == Shod::Bare {
            return 1e3;
        }
        if let Some(far) = self.far(p) {
            return far;
        }
        let (q, heel) = self.flat(p);
        let on_floor = self.rest * heel;
        let rest_ankle = (self.rest * -BALL).y + ANKLE_CM + BALL.y + self.shod.lift().sole_cm;
        let over_floor = on_floor.y + rest_ankle;
        let d = match self.shod {
            Shod::Welted => welted(q, over_floor, heel),
            Shod::Pumps => pump(q, over_floor, on_floor, self.rest),
            _ => flat_shoe(q),
        };
        smax(d, self.lowest_cm() - p.y, 0.1)
    }

    fn far(&self, p: DVec3) -> Option<f64> {
        let middle = 0.5 * (self.ankle + self.ball);
        let outside = p.distance(middle) - 17.0;
        (outside > 6.0).then_some(outside)
    }

    /// The point in the flat foot, and in the frame of the heel.
    fn flat(&self, p: DVec3) -> (DVec3, DVec3) {
        let heel = self.heel_axes.transpose() * (p - self.ankle);
        let toes = self.toe_axes.transpose() * (p - self.ball) + BALL;
        let w = step(BALL.z - 3.0, BALL.z + 2.4, 0.5 * (heel.z + toes.z));
        let out = |q: DVec3| dvec3(q.x * self.side, q.y, q.z / STRETCH);
        (out(heel + (toes - heel) * w), out(heel))
    }
}

type Rod = ([f64; 3], [f64; 3], f64, f64, f64);

fn joined(q: DVec3, rods: &[Rod]) -> f64 {
    let mut d = f64::INFINITY;
    for &(a, b, ra, rb, k) in rods {
        let e = cone(q, DVec3::from(a), DVec3::from(b), ra, rb);
        d = if d.is_finite() { smin(d, e, k) } else { e };
    }
    d
}

/// Heel, outer edge, instep and ball; the last number is the blend width.
const FOOT: [Rod; 5] = [
    ([0.0, -4.9, -3.3], [0.0, 0.3, -1.0], 2.95, 2.35, 1.0),
    ([0.8, -5.6, -2.0], [2.7, -6.1, 9.4], 2.25, 1.7, 2.4),
    ([-0.2, -1.9, 0.6], [-1.6, -5.7, 11.8], 2.55, 1.75, 2.6),
    ([0.2, -2.2, 0.8], [0.6, -5.9, 11.2], 2.45, 1.6, 2.4),
    ([-2.3, -6.15, 12.0], [2.6, -6.4, 9.8], 1.8, 1.5, 2.2),
];

/// Toes from the big one outward.
const TOES: [Rod; 5] = [
    ([-2.4, -6.35, 12.2], [-2.0, -6.8, 17.8], 1.6, 1.2, 0.8),
    ([-0.6, -6.6, 12.6], [-0.3, -7.0, 17.7], 0.98, 0.80, 0.35),
    ([0.65, -6.7, 12.0], [0.95, -7.08, 16.5], 0.92, 0.75, 0.3),
    ([1.85, -6.8, 11.2], [2.15, -7.12, 15.1], 0.88, 0.71, 0.3),
    ([2.95, -6.9, 10.2], [3.2, -7.18, 13.6], 0.86, 0.68, 0.3),
];

fn bare(q: DVec3) -> f64 {
    let mut d = joined(q, &FOOT);
    // The hollow under the inner arch.
    let arch = ellipsoid(q - dvec3(-3.0, -8.3, 4.2), dvec3(2.6, 1.7, 5.2));
    d = smax(d, -arch, 1.4);
    if q.z > 6.0 {
        let mut toes = f64::INFINITY;
        for toe in &TOES {
            let e = joined(q, std::slice::from_ref(toe));
            // Nail, on top of the tip.
            let (tip, r) = (DVec3::from(toe.1), toe.3);
            let nail = ellipsoid(
                q - tip - dvec3(0.0, 0.9 * r, 0.25 * r),
                dvec3(0.62, 0.17, 0.66) * r,
            );
            let e = smin(e, nail, 0.04);
            toes = if toes.is_finite() {
                smin(toes, e, 0.12)
            } else {
                e
            };
        }
        d = smin(d, toes, 1.3);
    }
    smax(d, -ANKLE_CM - q.y, 0.7)
}

/// The form a shoe is made over: a foot without toes, a little fuller.
fn last(shod: Shod, q: DVec3) -> f64 {
    const PUMP: [Rod; 5] = [
        ([0.0, -5.1, -3.3], [0.0, 0.6, -1.1], 3.15, 2.85, 1.0),
        ([0.1, -5.2, -2.0], [0.5, -6.0, 9.5], 2.85, 2.3, 2.4),
        ([-0.1, -1.7, 0.7], [-0.7, -5.2, 11.0], 2.9, 2.3, 2.4),
        ([-1.75, -6.0, 11.6], [1.9, -6.2, 10.0], 2.25, 2.05, 2.2),
        ([-0.3, -6.1, 12.0], [-0.6, -7.0, 19.2], 2.4, 0.95, 2.2),
    ];
    const ROUND: [Rod; 5] = [
        ([0.0, -5.1, -3.3], [0.0, 1.2, -1.2], 3.2, 3.2, 1.0),
        ([0.4, -5.4, -2.0], [1.2, -5.8, 9.5], 2.85, 2.5, 2.4),
        ([-0.1, -1.6, 0.7], [-0.7, -5.0, 12.0], 3.05, 2.6, 2.6),
        ([-1.8, -5.9, 12.0], [2.0, -6.1, 10.4], 2.45, 2.2, 3.0),
        ([-0.6, -5.7, 13.0], [-0.8, -6.3, 18.2], 2.75, 1.9, 3.0),
    ];
    let rods = match shod {
        Shod::Pumps | Shod::Flats => &PUMP,
        Shod::Bare | Shod::Welted => &ROUND,
    };
    smax(joined(q, rods), -ANKLE_CM - q.y, 0.5)
}

/// Outline of the sole: the last in plan, `welt` wider, from `low` to `high`.
fn sole(shod: Shod, q: DVec3, welt: f64, low: f64, high: f64) -> f64 {
    let plan = last(shod, dvec3(q.x, -6.6, q.z)) - welt;
    let slab = (low - q.y).max(q.y - high);
    smax(plan, slab, 0.12)
}

/// Height over the rim of the upper: positive above.
fn rim(shod: Shod, q: DVec3) -> f64 {
    match shod {
        Shod::Bare => 1e3,
        Shod::Pumps => topline(q, -2.9, -5.2, 12.4),
        Shod::Flats => topline(q, -3.2, -5.0, 12.0),
        // Cut round the ankle, higher at the tongue.
        Shod::Welted => {
            q.y + 1.3 - 0.75 * (q.z - 1.0).clamp(0.0, 3.4) + 0.25 * step(0.0, -5.0, q.z)
        }
    }
}

/// Topline of a slip-on: low over the heel, lower along the side, a round throat.
fn topline(q: DVec3, heel: f64, side: f64, throat: f64) -> f64 {
    let rim = heel + (side - heel) * step(-6.0, 2.0, q.z);
    let vamp = (q.z - throat + 0.22 * q.x * q.x) * 1.3;
    q.y - rim - vamp.max(0.0)
}

fn pump(q: DVec3, over_floor: f64, on_floor: DVec3, rest: DMat3) -> f64 {
    let upper = smax(last(Shod::Pumps, q), rim(Shod::Pumps, q), 0.12);
    let thin = sole(Shod::Pumps, q, -0.05, -ANKLE_CM - 0.5, -ANKLE_CM + 0.15);
    let mut d = upper.min(thin);
    // The heel runs straight down from under the heel bone.
    let floor = on_floor.y - over_floor;
    let top = rest * dvec3(0.0, -7.2, -3.5);
    let tip = dvec3(0.0, floor - 0.8, top.z - 0.5);
    d = smin(d, cone(on_floor, top, tip, 2.05, 0.72), 1.0);
    // Cut level with the floor, and never above it.
    if q.z < 4.0 {
        smax(d, -over_floor, 0.08)
    } else {
        d
    }
}

fn flat_shoe(q: DVec3) -> f64 {
    let upper = smax(last(Shod::Flats, q), rim(Shod::Flats, q), 0.12);
    upper.min(sole(Shod::Flats, q, 0.02, -ANKLE_CM - 0.6, -ANKLE_CM + 0.2))
}

fn welted(q: DVec3, over_floor: f64, heel: DVec3) -> f64 {
    let mut upper = smax(last(Shod::Welted, q), rim(Shod::Welted, q), 0.2);
    // Toe cap: a step of half a millimetre.
    upper -= 0.05 * step(13.7, 13.95, q.z + 0.04 * q.x * q.x);
    let welt = sole(Shod::Welted, q, 0.32, -ANKLE_CM - 1.0, -ANKLE_CM - 0.35);
    let rand = sole(Shod::Welted, q, 0.16, -ANKLE_CM - 0.4, -ANKLE_CM + 0.1);
    let d = upper.min(welt).min(rand);
    let plan = last(Shod::Welted, dvec3(q.x, -6.6, q.z)) - 0.2;
    let block = (-over_floor).max(heel.y + ANKLE_CM + 0.6);
    let stack = smax(smax(plan, block, 0.12), q.z - 0.6, 0.1);
    d.min(stack)
}

/// Both shoes of a posed figure, in scaled centimetres.
pub struct Shoes {
    /// The posed feet that wear them, left first, in centimetres at base size.
    pub(crate) feet: [Foot; 2],
    /// Scaled centimetres for one centimetre at base size.
    pub(crate) scale: f64,
}

impl Field for Shoes {
    fn distance(&self, p: DVec3) -> f64 {
        let q = p / self.scale;
        self.feet[0].shoe(q).min(self.feet[1].shoe(q)) * self.scale
    }
}
