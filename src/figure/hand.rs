//! A relaxed hand: palm, four fingers, thumb, nails, and a little relief.
//!
//! Sculpted in its own frame in centimetres at base size: y towards the
//! fingertips, z out of the palm, x towards the thumb, origin at the wrist.

use super::sdf::{Table, cone, ellipsoid, smin, step};
use super::shapes::loft;
use glam::{DMat3, DVec3, dvec3};

const PALM_CM: f64 = 9.4;

/// A tapered capsule: ends and end radii.
pub type Rod = (DVec3, DVec3, f64, f64);

/// One posed hand.
#[derive(Debug, Clone)]
pub struct Hand {
    wrist: DVec3,
    /// Columns: towards the thumb, the fingertips, out of the palm; not always right-handed.
    axes: DMat3,
    scale: f64,
    palm: Table<4>,
    fingers: [Digit; 5],
}

/// Three bones in a row, in the hand's frame.
#[derive(Debug, Clone, Copy)]
struct Digit {
    joints: [DVec3; 4],
    radii: [f64; 4],
    nail: DMat3,
    nail_at: DVec3,
}

/// Where a hand is and how it is held.
pub struct Hold {
    pub wrist: DVec3,
    /// Unit vector towards the fingers.
    pub along: DVec3,
    /// Unit vector out of the palm.
    pub palm: DVec3,
    /// Unit vector towards the thumb's side.
    pub thumb: DVec3,
    /// 0 is flat, 1 is relaxed.
    pub curl: f64,
    /// Size against the base hand.
    pub scale: f64,
    /// Half breadth against the base hand's.
    pub breadth: f64,
}

impl Hand {
    /// Bends the fingers and works out the bones.
    pub fn new(hold: &Hold) -> Self {
        let rows: [(f64, [f64; 4]); 7] = [
            (0.0, [1.8, 1.3, 0.0, 0.0]),
            (0.14, [2.2, 1.48, 0.0, 0.0]),
            (0.35, [2.8, 1.5, 0.0, 0.1]),
            (0.6, [3.2, 1.36, 0.0, 0.1]),
            (0.82, [3.35, 1.16, 0.0, 0.05]),
            (0.93, [3.15, 0.9, 0.0, 0.05]),
            (1.0, [2.7, 0.6, 0.0, 0.08]),
        ];
        let b = hold.breadth;
        Self {
            wrist: hold.wrist - hold.along * 0.4,
            axes: DMat3::from_cols(hold.thumb, hold.along, hold.palm),
            scale: hold.scale,
            palm: Table::new(&rows, 64, 1.5).scaled(0, b),
            fingers: std::array::from_fn(|i| match i {
                4 => thumb(b, hold.curl),
                _ => finger(i, b, hold.curl),
            }),
        }
    }

    /// Distance in centimetres, or a lower bound where it is more than 8 cm off.
    pub fn distance(&self, p: DVec3) -> f64 {
        let from_wrist = p - self.wrist;
        let outside =
            (from_wrist - self.axes.y_axis * (9.0 * self.scale)).length() - 11.5 * self.scale;
        if outside > 8.0 {
            return outside;
        }
        let q = self.axes.transpose() * from_wrist / self.scale;
        let mut d = loft(&self.palm, q, PALM_CM, [0.0; 2], 1.0);
        // Ball of the thumb, and the heel of the hand across from it.
        d = smin(
            d,
            ellipsoid(q - dvec3(1.75, 3.2, 0.75), dvec3(1.2, 2.7, 1.05)),
            1.0,
        );
        d = smin(
            d,
            ellipsoid(q - dvec3(-2.0, 4.2, 0.55), dvec3(0.95, 3.0, 0.9)),
            1.0,
        );
        d += back_relief(q, &self.fingers);
        let mut fingers = f64::INFINITY;
        for digit in &self.fingers[..4] {
            let e = digit.distance(q);
            fingers = if fingers.is_finite() {
                smin(fingers, e, 0.1)
            } else {
                e
            };
        }
        d = smin(d, fingers, 0.9);
        d = smin(d, self.fingers[4].distance(q), 0.75);
        d * self.scale
    }

    /// Tip of the middle finger.
    pub fn tip(&self) -> DVec3 {
        let digit = &self.fingers[1];
        let last = (digit.joints[3] - digit.joints[2]).normalize();
        self.out(digit.joints[3] + last * digit.radii[3])
    }

    /// Capsules (ends and end radii) that the fingers and palm fill.
    pub fn rods(&self) -> Vec<Rod> {
        let mut rods = Vec::new();
        for digit in &self.fingers {
            for j in 0..3 {
                let (a, b) = (self.out(digit.joints[j]), self.out(digit.joints[j + 1]));
                let [ra, rb] = [digit.radii[j], digit.radii[j + 1]].map(|r| r * self.scale);
                rods.push((a, b, ra, rb));
            }
        }
        for x in [-1.9, -0.6, 0.7, 1.9] {
            let (a, b) = (dvec3(0.5 * x, 1.0, 0.1), dvec3(x, 8.6, 0.1));
            rods.push((
                self.out(a),
                self.out(b),
                1.3 * self.scale,
                1.05 * self.scale,
            ));
        }
        rods
    }

    /// Middle and half axes of each nail, thumb last: what paint needs.
    pub fn nails(&self) -> [(DVec3, DMat3); 5] {
        self.fingers
            .map(|d| (self.out(d.nail_at), self.axes * d.nail))
    }

    fn out(&self, q: DVec3) -> DVec3 {
        self.wrist + self.axes * q * self.scale
    }
}

/// Half axes of a finger's nail: across, along, and how far it is domed.
const NAIL_CM: DVec3 = dvec3(0.43, 0.6, 0.17);

impl Digit {
    fn new(joints: [DVec3; 4], radii: [f64; 4], back: DVec3) -> Self {
        let along = (joints[3] - joints[2]).normalize();
        let back = (back - along * back.dot(along)).normalize();
        let across = along.cross(back);
        let nail_at = joints[2].lerp(joints[3], 0.78) + back * (0.5 * (radii[2] + radii[3]) * 0.86);
        Self {
            joints,
            radii,
            nail: DMat3::from_cols(across, along, back),
            nail_at,
        }
    }

    fn distance(&self, q: DVec3) -> f64 {
        let mut d = f64::INFINITY;
        for j in 0..3 {
            let (a, b) = (self.joints[j], self.joints[j + 1]);
            let e = cone(q, a, b, self.radii[j], self.radii[j + 1]);
            d = if d.is_finite() { smin(d, e, 0.05) } else { e };
        }
        if d > 1.0 {
            return d;
        }
        // A pad under the last joint and knuckles a touch thicker than the bones.
        let back = self.nail.z_axis;
        let pad = self.joints[2].lerp(self.joints[3], 0.62) - back * 0.13;
        let r = 0.5 * (self.radii[2] + self.radii[3]);
        d = smin(d, ellipsoid(q - pad, DVec3::splat(r * 1.02)), 0.3);
        for j in [1, 2] {
            let at = q - self.joints[j];
            let axis = (self.joints[j + 1] - self.joints[j - 1]).normalize();
            let along = at.dot(axis);
            let outside = at.dot(back) / self.radii[j];
            // Thick at the joint; two soft folds of skin across its back, one below.
            let knuckle = 0.012 * (-(along / 0.45).powi(2)).exp();
            let fold = |x: f64| (-((along - x) / 0.11).powi(2)).exp();
            let folds = 0.009 * (fold(-0.17) + fold(0.17)) * step(0.3, 0.8, outside)
                + 0.011 * fold(0.0) * step(0.3, 0.8, -outside);
            d += folds - knuckle;
        }
        let n = self.nail.transpose() * (q - self.nail_at);
        let size = r / 0.66;
        let nail = ellipsoid(n / size, NAIL_CM) * size;
        smin(d, nail, 0.04)
    }
}

/// Tendons and the row of knuckles on the back of the hand; positive is a hollow.
fn back_relief(q: DVec3, fingers: &[Digit; 5]) -> f64 {
    if q.z > 0.6 || q.y < 2.0 || q.y > 12.0 {
        return 0.0;
    }
    let facing = step(0.5, -0.5, q.z);
    let mut relief = 0.0;
    for digit in &fingers[..4] {
        let knuckle = digit.joints[0] + dvec3(0.0, 0.75, 0.0);
        let t = ((q.y - 3.0) / (knuckle.y - 3.0)).clamp(0.0, 1.0);
        let across = q.x - knuckle.x * (0.35 + 0.65 * t);
        let fade = step(3.0, 5.0, q.y) * step(knuckle.y + 0.6, knuckle.y - 0.6, q.y);
        relief -= 0.045 * (-(across / 0.24).powi(2)).exp() * fade;
        let round = ((q.x - knuckle.x) / 0.55).powi(2) + ((q.y - knuckle.y) / 0.6).powi(2);
        relief -= 0.11 * (-round).exp();
    }
    relief * facing
}

fn finger(index: usize, breadth: f64, curl: f64) -> Digit {
    // [across, start, length, radius, bend at each joint, splay]
    const FINGERS: [[f64; 8]; 4] = [
        [2.36, 8.7, 6.9, 0.73, 10.0, 20.0, 12.0, 1.8],
        [0.80, 9.1, 7.7, 0.75, 13.0, 24.0, 14.0, 0.3],
        [-0.76, 8.8, 7.1, 0.72, 17.0, 28.0, 16.0, -1.0],
        [-2.20, 8.1, 5.6, 0.62, 22.0, 30.0, 18.0, -3.0],
    ];
    let [x, y, length, r, b0, b1, b2, splay] = FINGERS[index];
    let mut joints = [dvec3(x * breadth, y - 0.9, 0.12); 4];
    let side = splay.to_radians();
    let mut bend: f64 = 0.0;
    let bones = [0.46 * length + 0.9, 0.30 * length, 0.24 * length];
    for (j, (bone, by)) in bones.into_iter().zip([b0, b1, b2]).enumerate() {
        bend += (by * curl).to_radians();
        let d = dvec3(side.sin() * bend.cos(), side.cos() * bend.cos(), bend.sin());
        joints[j + 1] = joints[j] + d * bone;
    }
    let r = r * breadth.sqrt();
    Digit::new(joints, [r * 1.08, r, r * 0.9, r * 0.7], -DVec3::Z)
}

fn thumb(breadth: f64, curl: f64) -> Digit {
    let bend = 0.06 * (curl - 1.0);
    let bones: [(DVec3, f64); 3] = [
        (dvec3(0.44, 0.84, 0.34 + bend), 4.3),
        (dvec3(0.15, 0.97, 0.20 + 3.0 * bend), 3.2),
        (dvec3(-0.02, 0.99, 0.08 + 5.0 * bend), 2.5),
    ];
    let mut joints = [dvec3(1.55 * breadth, 1.5, 0.45); 4];
    for (j, (d, length)) in bones.into_iter().enumerate() {
        joints[j + 1] = joints[j] + d.normalize() * length;
    }
    let r = breadth.sqrt();
    Digit::new(
        joints,
        [1.2, 0.93, 0.84, 0.6].map(|v| v * r),
        dvec3(0.62, 0.0, -0.78),
    )
}
