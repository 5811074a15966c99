//! The posed body as a signed-distance field in centimetres.
//!
//! A torso loft and limb lofts through landmark sections, joined with
//! ellipsoids and tapered capsules by smooth unions. The torso bends by looking
//! the point up in both the pelvis frame and the rib-cage frame and mixing the
//! two, so that a pose needs no skinning. All is sculpted at base size and
//! scaled to the person's stature.

use super::foot::Shoes;
use super::hand::Hand;
use super::head::{CROWN_MM, Head};
use super::limbs::{Hinge, arm_shapes, hand_of, leg_shapes};
use super::person::{Build, Person};
use super::pose::{Pose, Reach};
use super::rest::{cleared, laid_down};
use super::sdf::{Field, Table, cone, ellipsoid, soft_max, soft_min, step, superellipse};
use super::seat::Block;
use super::shapes::{Group, Sections, limb_sections, neck_shapes, torso_shapes, torso_table};
use super::skeleton::{Arm, Leg, Skeleton};
use glam::{DMat3, DVec2, DVec3, dvec3};

/// Where the joints came to lie, in scaled centimetres; side 0 is the figure's left.
#[derive(Debug, Clone, Copy, Default)]
pub struct Joints {
    /// Shoulder joints.
    pub shoulder: [DVec3; 2],
    /// Elbow joints.
    pub elbow: [DVec3; 2],
    /// Wrist joints.
    pub wrist: [DVec3; 2],
    /// Tips of the middle fingers.
    pub fingertip: [DVec3; 2],
    /// Hip joints.
    pub hip: [DVec3; 2],
    /// Knee joints.
    pub knee: [DVec3; 2],
    /// Ankle joints.
    pub ankle: [DVec3; 2],
    /// Tops of the toes.
    pub toe: [DVec3; 2],
    /// Root of the neck.
    pub neck: DVec3,
    /// Midway between the pupils.
    pub pupils: DVec3,
}

/// Parts of the body that are told apart when it is unwrapped or cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Region {
    /// Trunk with glutes and shoulder girdle.
    Torso,
    /// Head and neck.
    Head,
    /// Thigh, lower leg and foot of a side.
    Leg(usize),
    /// Shoulder to elbow of a side.
    UpperArm(usize),
    /// Elbow to fingertips of a side.
    Forearm(usize),
}

/// The whole posed body.
pub struct Body {
    build: Build,
    /// Size of the deltoids.
    muscle: f64,
    head: Head,
    skeleton: Skeleton,
    torso_table: Table<3>,
    sections: Sections,
    torso: Group,
    neck: Group,
    thighs: [Group; 2],
    shins: [Group; 2],
    knees: [Hinge; 2],
    elbows: [Hinge; 2],
    upper_arms: [Group; 2],
    forearms: [Group; 2],
    hands: [Hand; 2],
    seat: Option<Block>,
    joints: Joints,
    scale: f64,
}

impl Body {
    /// Poses `person`. The field is scaled so that the crown is at the person's
    /// stature when upright and barefoot.
    pub fn new(person: &Person, pose: &Pose) -> Self {
        let mut body = Self::without_arms(person, pose, 0.0);
        if let Some(seat_cm) = pose.seat_cm {
            // Sit down: the flesh gives a little under the weight.
            let mut raise = 0.0;
            for _ in 0..4 {
                raise += seat_cm - Block::under(&body).top_cm;
                body = Self::without_arms(person, pose, raise);
            }
            let block = Block {
                top_cm: seat_cm,
                ..Block::under(&body)
            };
            body.seat = Some(block);
        }
        for side in 0..2 {
            let hold = &pose.arms[side];
            let arm = match &hold.reach {
                Reach::Angles(angles) => cleared(&body, side, angles, hold.curl),
                Reach::Wrist(target) => laid_down(&body, side, target, hold.curl),
            };
            body.put_arm(side, &arm, hold.curl);
        }
        let lengths = body.skeleton.lengths;
        let crown = Skeleton::upright_pupils_cm(&lengths) + 0.1 * lengths.head * body.crown_mm();
        body.scale = person.size.stature_m * 100.0 / crown;
        body.find_joints();
        body
    }

    /// On the way from one posture of `person` to another, `share` of it gone: joints turn evenly, feet slide, the
    /// forearms swing out before the body. Arms go first, so that thighs rise under hands that come to rest on them.
    /// Nothing is sat on.
    pub(crate) fn between(
        person: &Person,
        from: (&Pose, &Self),
        to: (&Pose, &Self),
        share: f64,
    ) -> Self {
        let arms_share = (1.5 * share).min(1.0);
        let share = (1.5 * share - 0.5).max(0.0);
        let pose = from.0.towards(to.0, share);
        // What sitting down lifted, and shoes that do not count while one sits.
        let lifted = |(pose, body): (&Pose, &Self)| {
            let standing = Pose {
                seat_cm: None,
                ..pose.clone()
            };
            body.skeleton.pelvis.origin.y - Skeleton::new(person, &standing, 0.0).pelvis.origin.y
        };
        let raise_cm = lifted(from) * (1.0 - share) + lifted(to) * share;
        let mut body = Self::without_arms(person, &pose, raise_cm);
        for side in 0..2 {
            let ends = [&from.1.skeleton, &to.1.skeleton];
            let arm = body.skeleton.arm_between(side, ends, arms_share);
            body.put_arm(side, &arm, pose.arms[side].curl);
        }
        body.scale = to.1.scale;
        body.find_joints();
        body
    }

    fn without_arms(person: &Person, pose: &Pose, raise_cm: f64) -> Self {
        let skeleton = Skeleton::new(person, pose, raise_cm);
        let sections = limb_sections(person);
        let torso = Group::new(torso_shapes(person, &skeleton), &sections);
        let neck = Group::new(neck_shapes(person, &skeleton), &sections);
        let [left, right] = [0, 1].map(|side| {
            let (thigh, shin) = leg_shapes(&skeleton.legs[side], side, person.size.calf);
            [thigh, shin].map(|shapes| Group::new(shapes, &sections))
        });
        let ([left_thigh, left_shin], [right_thigh, right_shin]) = (left, right);
        let hands = [0, 1].map(|side| hand_of(&skeleton, &skeleton.arms[side], 1.0).0);
        Self {
            build: person.build,
            muscle: person.size.arm.powf(0.8),
            head: Head::new(person.build),
            torso_table: torso_table(person),
            sections,
            torso,
            neck,
            thighs: [left_thigh, right_thigh],
            shins: [left_shin, right_shin],
            knees: [0, 1].map(|side| Hinge::knee(&skeleton.legs[side])),
            elbows: [0, 1].map(|side| Hinge::elbow(&skeleton.arms[side])),
            upper_arms: Default::default(),
            forearms: Default::default(),
            hands,
            seat: None,
            joints: Joints::default(),
            scale: 1.0,
            skeleton,
        }
    }

    fn put_arm(&mut self, side: usize, arm: &Arm, curl: f64) {
        self.skeleton.arms[side] = *arm;
        let (upper, fore) = arm_shapes(self.build, self.muscle, &self.skeleton, arm, side);
        self.upper_arms[side] = Group::new(upper, &self.sections);
        self.forearms[side] = Group::new(fore, &self.sections);
        self.hands[side] = hand_of(&self.skeleton, arm, curl).0;
        self.elbows[side] = Hinge::elbow(arm);
    }

    /// Joints of the posed, scaled body, in centimetres.
    pub fn joints(&self) -> &Joints {
        &self.joints
    }

    /// Scaled centimetres for one centimetre at base size.
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// Bones at base size.
    pub(crate) fn skeleton(&self) -> &Skeleton {
        &self.skeleton
    }

    /// The head alone, in its own millimetres.
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// Length of one head millimetre in scaled centimetres.
    pub fn head_scale(&self) -> f64 {
        0.1 * self.skeleton.lengths.head * self.scale
    }

    /// Rotation of the head, from its own axes to the posed body's.
    pub fn head_rotation(&self) -> DMat3 {
        self.skeleton.head.rotation
    }

    /// Shoes on the posed feet, `None` where the figure is barefoot.
    pub fn shoes(&self) -> Option<Shoes> {
        let feet = [0, 1].map(|side| self.skeleton.legs[side].foot);
        feet[0].is_shod().then_some(Shoes {
            feet,
            scale: self.scale,
        })
    }

    /// What the figure sits on, in scaled centimetres.
    pub fn seat(&self) -> Option<Block> {
        self.seat.map(|b| b.scaled(self.scale))
    }

    /// The nails of both hands (thumb last): middle in scaled centimetres, axes
    /// across, along and out of the nail.
    pub fn nails(&self) -> [[(DVec3, DMat3); 5]; 2] {
        [0, 1].map(|side| {
            self.hands[side]
                .nails()
                .map(|(at, axes)| (at * self.scale, axes))
        })
    }

    /// From base-pose rib-cage coordinates to the posed, scaled body, in centimetres.
    pub fn on_thorax(&self, p: DVec3) -> DVec3 {
        self.skeleton.thorax.out(p) * self.scale
    }

    /// From base-pose pelvis coordinates to the posed, scaled body, in centimetres.
    pub fn on_pelvis(&self, p: DVec3) -> DVec3 {
        self.skeleton.pelvis.out(p) * self.scale
    }

    /// From the posed, scaled body to base-pose rib-cage coordinates.
    pub fn thorax_back(&self, p: DVec3) -> DVec3 {
        self.skeleton.thorax.back(p / self.scale)
    }

    /// From the posed, scaled body to base-pose pelvis coordinates.
    pub fn pelvis_back(&self, p: DVec3) -> DVec3 {
        self.skeleton.pelvis.back(p / self.scale)
    }

    /// From head millimetres to the posed, scaled body, in centimetres.
    pub fn on_head(&self, p_mm: DVec3) -> DVec3 {
        self.skeleton.on_head(p_mm) * self.scale
    }

    /// From the posed, scaled body to head millimetres.
    pub fn head_mm(&self, p: DVec3) -> DVec3 {
        self.skeleton.head_mm(p / self.scale)
    }

    /// The body without arms, neck and head: what a skirt hangs on.
    pub fn trunk_and_legs(&self, p: DVec3) -> f64 {
        self.base_trunk_and_legs(p / self.scale) * self.scale
    }

    /// Torso, glutes, breast and shoulder girdle alone.
    pub fn trunk(&self, p: DVec3) -> f64 {
        self.base_trunk(p / self.scale) * self.scale
    }

    /// One leg with its foot, alone.
    pub fn leg(&self, side: usize, p: DVec3) -> f64 {
        self.base_leg(side, p / self.scale) * self.scale
    }

    /// One upper arm, alone.
    pub fn upper_arm(&self, side: usize, p: DVec3) -> f64 {
        self.upper_arms[side].distance(&self.sections, p / self.scale) * self.scale
    }

    /// One forearm with its hand, alone.
    pub fn forearm(&self, side: usize, p: DVec3) -> f64 {
        self.base_forearm(side, p / self.scale) * self.scale
    }

    /// One hand, alone.
    pub fn hand(&self, side: usize, p: DVec3) -> f64 {
        self.hands[side].distance(p / self.scale) * self.scale
    }

    /// One whole arm, alone.
    pub fn arm(&self, side: usize, p: DVec3) -> f64 {
        self.base_arm(side, p / self.scale) * self.scale
    }

    /// How far arm and trunk flow into each other about there: 0 below the armpit, 1 at the shoulder.
    pub(crate) fn arm_flows(&self, p: DVec3) -> f64 {
        shoulder(self.thorax_back(p).y)
    }

    /// The whole body with the creases of bent hips, knees, elbows and shoulders filled: surfaces that meet in a corner
    /// are joined by up to a quarter of `by` centimetres of filling.
    pub(crate) fn filled(&self, p: DVec3, by: f64) -> f64 {
        let d = self.distance(p);
        if by <= 0.0 || d > by {
            return d;
        }
        let legs = self.legs_filling(p, by);
        d.min(legs).min(self.arms_filling(p, by))
    }

    /// What fills the creases of hips and knees.
    pub(crate) fn legs_filling(&self, p: DVec3, by: f64) -> f64 {
        let (p, by) = (p / self.scale, by / self.scale);
        let up = self.skeleton.pelvis.rotation.y_axis;
        let trunk = self.base_trunk(p);
        let filling = (0..2).map(|side| {
            let leg = &self.skeleton.legs[side];
            let of = |group: &Group| group.distance(&self.sections, p);
            let (thigh, shin) = (of(&self.thighs[side]), of(&self.shins[side]));
            let down = (leg.knee - leg.hip).normalize_or_zero();
            let shin_down = (leg.ankle - leg.knee).normalize_or_zero();
            let hip = step(3.0, 8.0, corner(p, leg.hip, up, down));
            let knee = step(2.5, 6.0, corner(p, leg.knee, -down, shin_down));
            joined(trunk, thigh, by * hip).min(joined(thigh, shin, by * knee))
        });
        filling.fold(f64::INFINITY, f64::min) * self.scale
    }

    /// What fills the creases of shoulders and elbows.
    fn arms_filling(&self, p: DVec3, by: f64) -> f64 {
        let (p, by) = (p / self.scale, by / self.scale);
        let ahead = self.skeleton.thorax.rotation.z_axis;
        let flows = shoulder(self.skeleton.thorax.back(p).y);
        let trunk = self.base_trunk(p);
        let filling = (0..2).map(|side| {
            let arm = &self.skeleton.arms[side];
            let of = |group: &Group| group.distance(&self.sections, p);
            let (upper, fore) = (of(&self.upper_arms[side]), of(&self.forearms[side]));
            let raised = arm.upper.dot(ahead);
            let before = (p - arm.shoulder).dot(ahead) * raised.signum();
            let armpit = flows * step(0.2, 0.6, raised.abs()) * step(1.0, 5.0, before);
            let elbow = step(2.0, 5.0, corner(p, arm.elbow, -arm.upper, arm.fore));
            joined(upper, fore, by * elbow).min(joined(trunk, upper, by * armpit))
        });
        filling.fold(f64::INFINITY, f64::min) * self.scale
    }

    /// The neck, alone.
    pub fn neck(&self, p: DVec3) -> f64 {
        self.neck.distance(&self.sections, p / self.scale) * self.scale
    }

    /// The region of the body whose own surface is nearest.
    pub fn region(&self, p: DVec3) -> Region {
        let p = p / self.scale;
        let mut best = (self.base_trunk(p), Region::Torso);
        let mut offer = |d: f64, r: Region| {
            if d < best.0 {
                best = (d, r);
            }
        };
        let neck = self.neck.distance(&self.sections, p);
        offer(self.base_head(p).min(neck), Region::Head);
        for side in 0..2 {
            offer(self.base_leg(side, p), Region::Leg(side));
            let upper = self.upper_arms[side].distance(&self.sections, p);
            offer(upper, Region::UpperArm(side));
            offer(self.base_forearm(side, p), Region::Forearm(side));
        }
        best.1
    }

    /// Height of the crown over the pupils, in head millimetres.
    fn crown_mm(&self) -> f64 {
        let mut best: f64 = 0.0;
        for k in -12..=12 {
            let mut p = dvec3(0.0, CROWN_MM + 20.0, -4.0 + f64::from(k) * 5.0);
            for _ in 0..80 {
                p.y -= self.head.distance(p).clamp(-10.0, 10.0) * 0.9;
            }
            if self.head.distance(p).abs() < 0.01 {
                best = best.max(p.y);
            }
        }
        best
    }

    fn find_joints(&mut self) {
        let (s, k) = (self.scale, &self.skeleton);
        let arm = |f: fn(&Arm) -> DVec3| [0, 1].map(|side| f(&k.arms[side]) * s);
        let leg = |f: fn(&Leg) -> DVec3| [0, 1].map(|side| f(&k.legs[side]) * s);
        self.joints = Joints {
            shoulder: arm(|a| a.shoulder),
            elbow: arm(|a| a.elbow),
            wrist: arm(|a| a.wrist),
            fingertip: [0, 1].map(|side| self.hands[side].tip() * s),
            hip: leg(|l| l.hip),
            knee: leg(|l| l.knee),
            ankle: leg(|l| l.ankle),
            toe: leg(|l| l.foot.toe()),
            neck: k.thorax.out(dvec3(0.0, 146.5, -2.9)) * s,
            pupils: k.head.origin * s,
        };
    }

    pub(super) fn base_trunk(&self, p: DVec3) -> f64 {
        let k = &self.skeleton;
        let in_pelvis = k.pelvis.back(p);
        let in_thorax = k.thorax.back(p);
        // Far off, a bound will do: nothing blends that far out.
        let axis = cone(
            p,
            k.pelvis.origin,
            k.thorax.out(dvec3(0.0, 136.0, -1.0)),
            25.0,
            25.0,
        );
        if axis > 8.0 {
            return axis;
        }
        let w = step(98.0, 126.0, 0.5 * (in_pelvis.y + in_thorax.y));
        let q = in_pelvis + (in_thorax - in_pelvis) * w;
        let [half, front, back] = self.torso_table.at(q.y);
        let section = superellipse(
            DVec2::new(q.x, q.z - 0.5 * (front + back)),
            DVec2::new(half, 0.5 * (front - back)),
            2.35,
        );
        let ends = (84.4 - q.y).max((q.y - 145.3) * 0.92 + q.z * 0.39);
        self.torso
            .joined(&self.sections, p, soft_max(section, ends, 5.5))
    }

    pub(super) fn base_trunk_and_legs(&self, p: DVec3) -> f64 {
        let legs = soft_min(self.base_leg(0, p), self.base_leg(1, p), 0.5);
        // A wide flow at the hip, a narrow one in the fork.
        let across = self.skeleton.pelvis.back(p).x.abs();
        soft_min(self.base_trunk(p), legs, 2.0 + 1.6 * step(1.5, 7.5, across))
    }

    fn base_leg(&self, side: usize, p: DVec3) -> f64 {
        let thigh = self.thighs[side].distance(&self.sections, p);
        let shin = self.shins[side].distance(&self.sections, p);
        let d = self.knees[side].joined(thigh, shin, p);
        let foot = &self.skeleton.legs[side].foot;
        let d = soft_min(d, foot.distance(p), 1.8);
        if d < 3.0 {
            soft_max(d, foot.room(p), 0.3)
        } else {
            d
        }
    }

    /// One whole arm at base size.
    pub(super) fn base_arm(&self, side: usize, p: DVec3) -> f64 {
        let upper = self.upper_arms[side].distance(&self.sections, p);
        self.elbows[side].joined(upper, self.base_forearm(side, p), p)
    }

    /// Larger half axis of the upper arm at `t` of its length, at base size.
    pub(super) fn upper_arm_radius(&self, t: f64) -> f64 {
        let [a, b, ..] = self.sections[2].at(t);
        a.max(b)
    }

    /// Larger half axis of the forearm at `t` of its length, at base size.
    pub(super) fn forearm_radius(&self, t: f64) -> f64 {
        let [a, b, ..] = self.sections[3].at(t);
        a.max(b)
    }

    fn base_forearm(&self, side: usize, p: DVec3) -> f64 {
        let d = self.forearms[side].distance(&self.sections, p);
        soft_min(d, self.hands[side].distance(p), 1.5)
    }

    fn base_head(&self, p: DVec3) -> f64 {
        let mm = self.skeleton.head_mm(p);
        let to_cm = 0.1 * self.skeleton.lengths.head;
        let reach = mm.length() - 150.0;
        if reach > 60.0 {
            reach * to_cm
        } else {
            self.head.distance(mm) * to_cm
        }
    }

    /// The whole body at base size.
    fn posed(&self, p: DVec3) -> f64 {
        let k = &self.skeleton;
        let mut d = self.base_trunk_and_legs(p);
        let mut arms: f64 = 1e9;
        let q = k.thorax.back(p);
        for side in 0..2 {
            let upper = self.upper_arms[side].distance(&self.sections, p);
            let fore = self.base_forearm(side, p);
            let flow = 0.35 + 2.65 * shoulder(q.y);
            d = soft_min(d, upper, flow);
            arms = arms.min(self.elbows[side].joined(upper, fore, p));
        }
        // A hand near the hip must not melt into it: a plain union below the shoulder.
        d = d.min(arms);
        if (p - k.head.origin).dot(k.head.rotation.y_axis) > -38.0 {
            d = soft_min(d, self.neck.distance(&self.sections, p), 4.2);
            d = soft_min(d, self.base_head(p), 0.9);
        }
        if q.y > 136.0 && q.y < 152.0 && d < 6.0 {
            d = self.throat(d, q);
        }
        if let Some(block) = &self.seat {
            d = soft_max(d, 0.03 - block.base_distance(p), 0.5);
        }
        d
    }

    /// Hollows over the collar bones and the notch between them.
    fn throat(&self, d: f64, q: DVec3) -> f64 {
        let a = dvec3(q.x.abs(), q.y, q.z);
        let (inner, outer, notch_z) = match self.build {
            Build::Woman => (dvec3(5.4, 145.0, 4.6), dvec3(10.5, 145.8, 3.4), 7.3),
            Build::Man => (dvec3(6.0, 146.0, 5.4), dvec3(11.5, 146.8, 4.0), 8.0),
        };
        let hollow = cone(a, inner, outer, 0.7, 0.5);
        let d = soft_max(d, -hollow, 2.4);
        let notch = ellipsoid(q - dvec3(0.0, 143.2, notch_z), dvec3(1.1, 1.4, 1.1));
        soft_max(d, -notch, 2.4)
    }
}

/// How far an arm flows into the trunk at a height in base-pose rib-cage coordinates: below the armpit it only touches
/// it (0), at the shoulder they are one (1).
fn shoulder(y: f64) -> f64 {
    step(126.0, 137.0, y)
}

impl Field for Body {
    fn distance(&self, p: DVec3) -> f64 {
        self.posed(p / self.scale) * self.scale
    }
}

/// How far into the corner of two limbs, which leave `joint` along `a` and `b`, a place lies; nothing where they are straight.
fn corner(p: DVec3, joint: DVec3, a: DVec3, b: DVec3) -> f64 {
    (p - joint).dot(a + b)
}

/// Two surfaces joined over so wide a seam; no surface where it has no width.
fn joined(a: f64, b: f64, by: f64) -> f64 {
    if by > 0.0 {
        soft_min(a, b, by)
    } else {
        f64::INFINITY
    }
}
