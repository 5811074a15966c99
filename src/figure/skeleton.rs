//! Frames and bones of a posed body, in centimetres at base size.

use super::foot::{ANKLE_CM, Foot};
use super::person::{Build, Person};
use super::pose::{ArmAngles, MeasuredFrom, Pose, Reach, WristTarget};
use glam::{DMat3, DQuat, DVec3, dvec3};

/// A rigid frame: rotation, and where the pivot of the base pose went.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    pub rotation: DMat3,
    pub origin: DVec3,
    pub pivot: DVec3,
}

impl Frame {
    /// From this frame's base pose to the posed body.
    pub fn out(&self, p: DVec3) -> DVec3 {
        self.origin + self.rotation * (p - self.pivot)
    }

    /// From the posed body back to the base pose.
    pub fn back(&self, p: DVec3) -> DVec3 {
        self.rotation.transpose() * (p - self.origin) + self.pivot
    }
}

/// Lengths of the bones and places of the joints of a build.
#[derive(Debug, Clone, Copy)]
pub struct Lengths {
    pub upper_arm: f64,
    pub forearm: f64,
    pub thigh: f64,
    pub shin: f64,
    /// Size of the hand, and its breadth besides.
    pub hand: [f64; 2],
    /// Shoulder joint in the rib cage, left side.
    pub shoulder: DVec3,
    /// Hip joint in the pelvis, left side.
    pub hip: DVec3,
    /// Size of the head.
    pub head: f64,
}

impl Lengths {
    pub fn of(person: &Person) -> Self {
        let size = &person.size;
        let mut l = match person.build {
            Build::Woman => Self {
                upper_arm: 28.0,
                forearm: 25.7,
                thigh: 41.2,
                shin: 39.5,
                hand: [1.115, 1.0],
                shoulder: dvec3(15.6, 137.9, -1.6),
                hip: dvec3(8.9, 88.5, -0.6),
                head: 1.0,
            },
            Build::Man => Self {
                upper_arm: 27.8,
                forearm: 26.0,
                thigh: 41.2,
                shin: 39.5,
                hand: [1.12, 1.12],
                shoulder: dvec3(18.0, 138.6, -1.6),
                hip: dvec3(8.7, 88.5, -0.6),
                head: 1.03,
            },
        };
        l.shoulder.x *= size.shoulder;
        l.hip.x *= size.hip_girth.sqrt() * size.depth.powf(-0.6);
        l.head *= size.head;
        l
    }
}

/// One arm's joints and directions.
#[derive(Debug, Clone, Copy)]
pub struct Arm {
    pub shoulder: DVec3,
    pub elbow: DVec3,
    pub wrist: DVec3,
    /// Unit vectors along the upper arm, forearm and hand.
    pub upper: DVec3,
    pub fore: DVec3,
    pub hand: DVec3,
    /// Unit vector out of the palm, and towards the thumb.
    pub palm: DVec3,
    pub thumb: DVec3,
}

/// One leg's joints.
#[derive(Debug, Clone, Copy)]
pub struct Leg {
    pub hip: DVec3,
    pub knee: DVec3,
    pub ankle: DVec3,
    /// Direction the knee points to.
    pub pole: DVec3,
    pub foot: Foot,
}

/// The posed bones.
#[derive(Debug, Clone)]
pub struct Skeleton {
    pub lengths: Lengths,
    pub pelvis: Frame,
    pub thorax: Frame,
    pub head: Frame,
    /// Turn of the whole figure.
    pub turn: DMat3,
    pub arms: [Arm; 2],
    pub legs: [Leg; 2],
}

const PELVIS_PIVOT: DVec3 = dvec3(0.0, 92.0, 0.0);
const THORAX_PIVOT: DVec3 = dvec3(0.0, 112.0, 0.0);
/// Where the head nods, in the rib cage; and from there to the pupils.
const NOD: DVec3 = dvec3(0.0, 155.0, -1.6);
const NOD_TO_PUPILS: DVec3 = dvec3(0.0, 7.1, 2.6);
/// A standing leg keeps this much of its length in hand, so that no knee locks.
const SLACK_CM: f64 = 0.05;

pub fn side_sign(side: usize) -> f64 {
    if side == 0 { 1.0 } else { -1.0 }
}

fn euler(deg: [f64; 3]) -> DMat3 {
    DMat3::from_rotation_y(deg[1].to_radians())
        * DMat3::from_rotation_z(deg[2].to_radians())
        * DMat3::from_rotation_x(deg[0].to_radians())
}

/// Two-bone reach: middle joint and end, the end pulled in where out of reach.
fn reach(root: DVec3, target: DVec3, upper: f64, lower: f64, pole: DVec3) -> (DVec3, DVec3) {
    let span = (target - root)
        .length()
        .clamp((upper - lower).abs() + 0.5, upper + lower - 0.02);
    let along = (target - root).try_normalize().unwrap_or(DVec3::NEG_Y);
    let foot = (upper * upper - lower * lower + span * span) / (2.0 * span);
    let rise = (upper * upper - foot * foot).max(0.0).sqrt();
    let side = (pole - along * pole.dot(along))
        .try_normalize()
        .unwrap_or_else(|| along.any_orthonormal_vector());
    let middle = root + along * foot + side * rise;
    (middle, root + along * span)
}

impl Skeleton {
    /// Poses the bones; `raise_cm` lifts the pelvis beside what the pose says.
    ///
    /// The pelvis drops where a leg would not reach the floor otherwise.
    pub fn new(person: &Person, pose: &Pose, raise_cm: f64) -> Self {
        let lengths = Lengths::of(person);
        let turn = DMat3::from_rotation_y(pose.turn_deg.to_radians());
        let shoes = if pose.seat_cm.is_some() {
            0.0
        } else {
            person.shod.rise_cm()
        };
        let mut shift = DVec3::from(pose.pelvis_shift_cm);
        shift.y += shoes + raise_cm;
        let mut pelvis = Frame {
            rotation: turn * euler(pose.pelvis_deg),
            origin: turn * (PELVIS_PIVOT + shift),
            pivot: PELVIS_PIVOT,
        };
        let feet = [0, 1].map(|side| foot(person, pose, side, turn));
        let long = lengths.thigh + lengths.shin - SLACK_CM;
        for (side, foot) in feet.iter().enumerate() {
            let hip = pelvis.out(sided(lengths.hip, side));
            let level = (hip - foot.ankle).with_y(0.0).length().min(long);
            let too_high = hip.y - foot.ankle.y - (long * long - level * level).sqrt();
            pelvis.origin.y -= too_high.max(0.0);
        }
        let thorax = Frame {
            rotation: pelvis.rotation * euler(pose.thorax_deg),
            origin: pelvis.out(THORAX_PIVOT),
            pivot: THORAX_PIVOT,
        };
        let head_rotation = thorax.rotation * euler(pose.head_deg);
        let head = Frame {
            rotation: head_rotation,
            origin: thorax.out(NOD) + head_rotation * NOD_TO_PUPILS * lengths.head,
            pivot: DVec3::ZERO,
        };
        let legs = [0, 1].map(|side| {
            let foot = feet[side];
            let hip = pelvis.out(sided(lengths.hip, side));
            let pole = turn * DVec3::from(pose.legs[side].knee_towards);
            let (knee, ankle) = reach(hip, foot.ankle, lengths.thigh, lengths.shin, pole);
            Leg {
                hip,
                knee,
                ankle,
                pole,
                foot,
            }
        });
        let mut skeleton = Self {
            lengths,
            pelvis,
            thorax,
            head,
            turn,
            arms: [Arm::hanging(DVec3::ZERO); 2],
            legs,
        };
        for side in 0..2 {
            skeleton.arms[side] = match &pose.arms[side].reach {
                Reach::Angles(angles) => skeleton.arm_by_angles(side, angles),
                Reach::Wrist(target) => skeleton.arm_by_wrist(side, target, DVec3::ZERO, 0.0),
            };
        }
        skeleton
    }

    /// From head millimetres to the posed body.
    pub fn on_head(&self, p_mm: DVec3) -> DVec3 {
        self.head.out(p_mm * (0.1 * self.lengths.head))
    }

    /// From the posed body to head millimetres.
    pub fn head_mm(&self, p: DVec3) -> DVec3 {
        self.head.back(p) * (10.0 / self.lengths.head)
    }

    /// Height of the pupils standing upright and barefoot.
    pub fn upright_pupils_cm(lengths: &Lengths) -> f64 {
        NOD.y + NOD_TO_PUPILS.y * lengths.head
    }

    fn shoulder(&self, side: usize) -> DVec3 {
        self.thorax.out(sided(self.lengths.shoulder, side))
    }

    /// An arm from its joint angles.
    pub fn arm_by_angles(&self, side: usize, a: &ArmAngles) -> Arm {
        let s = side_sign(side);
        let x = |deg: f64| DMat3::from_rotation_x(deg.to_radians());
        let y = |deg: f64| DMat3::from_rotation_y(deg.to_radians());
        let z = |deg: f64| DMat3::from_rotation_z(deg.to_radians());
        let upper_turn =
            self.thorax.rotation * x(-a.flex_deg) * z(s * a.abduct_deg) * y(-s * a.twist_deg);
        let fore_turn = upper_turn * x(-a.elbow_deg);
        let hand_turn =
            fore_turn * y(-s * a.pronate_deg) * z(-s * a.wrist_flex_deg) * x(-a.wrist_side_deg);
        self.arm_along(
            side,
            [upper_turn * DVec3::NEG_Y, fore_turn * DVec3::NEG_Y],
            [
                hand_turn * DVec3::NEG_Y,
                hand_turn * dvec3(-s, 0.0, 0.0),
                hand_turn * DVec3::Z,
            ],
        )
    }

    /// An arm of unit directions: of upper arm and forearm, of hand, palm and thumb.
    fn arm_along(
        &self,
        side: usize,
        [upper, fore]: [DVec3; 2],
        [hand, palm, thumb]: [DVec3; 3],
    ) -> Arm {
        let shoulder = self.shoulder(side);
        let elbow = shoulder + upper * self.lengths.upper_arm;
        Arm {
            shoulder,
            elbow,
            wrist: elbow + fore * self.lengths.forearm,
            upper,
            fore,
            hand,
            palm,
            thumb,
        }
    }

    /// An arm whose wrist goes to `target`, moved by `shift`, the hand tipped by
    /// `tip_deg` towards its palm.
    pub fn arm_by_wrist(
        &self,
        side: usize,
        target: &WristTarget,
        shift: DVec3,
        tip_deg: f64,
    ) -> Arm {
        let place = DVec3::from(target.wrist_cm);
        let (wrist, axes) = match target.measured_from {
            MeasuredFrom::Ribs => (self.thorax.out(place), self.thorax.rotation),
            MeasuredFrom::Pelvis => (self.pelvis.out(place), self.pelvis.rotation),
            MeasuredFrom::Floor => (self.turn * place, self.turn),
        };
        let shoulder = self.shoulder(side);
        let (elbow, wrist) = reach(
            shoulder,
            wrist + shift,
            self.lengths.upper_arm,
            self.lengths.forearm,
            axes * DVec3::from(target.elbow_towards),
        );
        let hand = (axes * DVec3::from(target.fingers_towards)).normalize();
        let palm = axes * DVec3::from(target.palm_towards);
        let palm = (palm - hand * palm.dot(hand))
            .try_normalize()
            .unwrap_or_else(|| hand.any_orthonormal_vector());
        let (sine, cosine) = tip_deg.to_radians().sin_cos();
        let (hand, palm) = (hand * cosine + palm * sine, palm * cosine - hand * sine);
        Arm {
            shoulder,
            elbow,
            wrist,
            upper: (elbow - shoulder).normalize(),
            fore: (wrist - elbow).normalize(),
            hand,
            palm,
            thumb: palm.cross(hand) * side_sign(side),
        }
    }

    /// An arm on its way from one skeleton's to another's, each held as its own rib cage has it. Half way the forearm
    /// swings forward, so that it does not go through the body.
    pub fn arm_between(&self, side: usize, ends: [&Self; 2], share: f64) -> Arm {
        let forward = self.thorax.rotation.z_axis * (0.5 * (std::f64::consts::PI * share).sin());
        let turned = |of: fn(&Arm) -> DVec3| {
            let [a, b] = ends.map(|k| k.thorax.rotation.transpose() * of(&k.arms[side]));
            let whole = DQuat::from_rotation_arc(a.normalize(), b.normalize());
            self.thorax.rotation * (DQuat::IDENTITY.slerp(whole, share) * a)
        };
        let upper = turned(|a| a.upper).normalize();
        let fore = (turned(|a| a.fore) + forward).normalize();
        let hand = (turned(|a| a.hand) + forward).normalize();
        let palm = turned(|a| a.palm);
        let palm = (palm - hand * palm.dot(hand))
            .try_normalize()
            .unwrap_or_else(|| hand.any_orthonormal_vector());
        let thumb = palm.cross(hand) * side_sign(side);
        self.arm_along(side, [upper, fore], [hand, palm, thumb])
    }

    /// The first table of the pose whose joints are bent beyond a body's limits,
    /// with the reason. Limits as in the pose file's own ranges.
    pub fn beyond_limits(&self, pose: &Pose) -> Option<(&'static str, String)> {
        let degrees = |a: DVec3, b: DVec3| a.angle_between(b).to_degrees();
        let check = |what: &str, value: f64, limit: f64, advice: &str| {
            (value > limit).then(|| {
                format!("the {what} comes to {value:.0} degrees and a body's goes to {limit:.0}; {advice}")
            })
        };
        for (side, name) in ["left_arm", "right_arm"].into_iter().enumerate() {
            let arm = &self.arms[side];
            let Reach::Wrist(target) = &pose.arms[side].reach else {
                continue;
            };
            let wanted = self.arm_by_wrist(side, target, DVec3::ZERO, 0.0);
            let place = self.place(target);
            let miss = wanted.wrist.distance(place);
            if miss > 1.0 {
                return Some((
                    name,
                    format!(
                        "the wrist is {miss:.1} cm out of reach; move wrist_cm nearer to the shoulder"
                    ),
                ));
            }
            let reason = check(
                "elbow",
                degrees(arm.upper, arm.fore),
                150.0,
                "move wrist_cm further from the shoulder",
            )
            .or_else(|| {
                check(
                    "wrist",
                    degrees(arm.fore, arm.hand),
                    80.0,
                    "turn fingers_towards nearer to the forearm",
                )
            });
            if let Some(reason) = reason {
                return Some((name, reason));
            }
        }
        for (side, name) in ["left_leg", "right_leg"].into_iter().enumerate() {
            let leg = &self.legs[side];
            let (thigh, shin) = (leg.knee - leg.hip, leg.ankle - leg.knee);
            let back = self.pelvis.rotation.transpose() * thigh.normalize();
            let flexion = back.z.atan2(-back.y).to_degrees();
            let outward = (back.x * side_sign(side)).asin().to_degrees();
            let reason = check(
                "knee",
                degrees(thigh, shin),
                150.0,
                "move ankle_cm further from the hip",
            )
            .or_else(|| {
                check(
                    "hip's bend forward",
                    flexion,
                    125.0,
                    "bow the pelvis less or lower the knee",
                )
            })
            .or_else(|| {
                check(
                    "hip's bend backward",
                    -flexion,
                    35.0,
                    "bring ankle_cm further forward",
                )
            })
            .or_else(|| {
                check(
                    "hip's swing outward",
                    outward,
                    50.0,
                    "bring ankle_cm nearer to the middle",
                )
            })
            .or_else(|| {
                check(
                    "hip's swing inward",
                    -outward,
                    35.0,
                    "move ankle_cm outward",
                )
            });
            if let Some(reason) = reason {
                return Some((name, reason));
            }
            let miss = leg.ankle.distance(leg.foot.ankle);
            if miss > 0.5 {
                return Some((
                    name,
                    format!(
                        "the foot is {miss:.1} cm out of reach; move ankle_cm nearer to the hip or lower the pelvis"
                    ),
                ));
            }
        }
        None
    }

    fn place(&self, target: &WristTarget) -> DVec3 {
        let p = DVec3::from(target.wrist_cm);
        match target.measured_from {
            MeasuredFrom::Ribs => self.thorax.out(p),
            MeasuredFrom::Pelvis => self.pelvis.out(p),
            MeasuredFrom::Floor => self.turn * p,
        }
    }
}

impl Arm {
    fn hanging(shoulder: DVec3) -> Self {
        Self {
            shoulder,
            elbow: shoulder,
            wrist: shoulder,
            upper: DVec3::NEG_Y,
            fore: DVec3::NEG_Y,
            hand: DVec3::NEG_Y,
            palm: DVec3::NEG_X,
            thumb: DVec3::Z,
        }
    }
}

fn sided(p: DVec3, side: usize) -> DVec3 {
    dvec3(p.x * side_sign(side), p.y, p.z)
}

fn foot(person: &Person, pose: &Pose, side: usize, turn: DMat3) -> Foot {
    let leg = &pose.legs[side];
    let at = turn * dvec3(leg.ankle_cm[0], ANKLE_CM, leg.ankle_cm[1]);
    let yaw = turn * DMat3::from_rotation_y(leg.foot_yaw_deg.to_radians());
    Foot::new(
        person.shod,
        side_sign(side),
        [at.x, at.z],
        yaw,
        leg.rise_cm,
        leg.heel_lift_deg,
    )
}
