//! The body below the head, as a signed-distance field in centimetres.
//!
//! A torso loft and limb lofts through landmark sections, joined with
//! ellipsoids and tapered capsules by smooth unions. The torso bends by looking
//! the point up in both the pelvis frame and the rib-cage frame and mixing the
//! two, so that a pose needs no skinning. Base proportions are for a stature of
//! about 1.71 m posed; the whole field is scaled to the recipe's stature.

use super::head::{CROWN_MM, Head};
use super::recipe::FigureRecipe;
use super::sdf::{Field, Table, cone, ellipsoid, frame, smax, smin, step, superellipse};
use super::shapes::{
    Group, Shape, ball, hand_shapes, limb_sections, neck, torso_shapes, torso_table,
};
use glam::{DMat3, DVec2, DVec3, dvec3};

/// A rigid frame: rotation, and where the pivot of the base pose went.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    pub rotation: DMat3,
    origin: DVec3,
    pivot: DVec3,
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

/// Where the joints came to lie, in scaled centimetres; side 0 is the figure's left.
#[derive(Debug, Clone, Copy, Default)]
pub struct Joints {
    pub shoulder: [DVec3; 2],
    pub elbow: [DVec3; 2],
    pub wrist: [DVec3; 2],
    pub fingertip: [DVec3; 2],
    pub hip: [DVec3; 2],
    pub knee: [DVec3; 2],
    pub ankle: [DVec3; 2],
    pub toe: [DVec3; 2],
    pub neck: DVec3,
    pub pupils: DVec3,
}

/// Parts of the body that are told apart when it is unwrapped or cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Region {
    Torso,
    Head,
    Leg(usize),
    UpperArm(usize),
    Forearm(usize),
}

/// The whole posed body.
pub struct Body {
    head: Head,
    head_frame: Frame,
    pelvis: Frame,
    thorax: Frame,
    torso_table: Table<3>,
    sections: [Table<4>; 5],
    torso: Vec<(f64, Shape)>,
    neck: Group,
    legs: [Group; 2],
    soles: [(DVec3, DMat3); 2],
    upper_arms: [Group; 2],
    forearms: [Group; 2],
    joints: Joints,
    scale: f64,
}

const THIGH: f64 = 41.8;
const SHIN: f64 = 39.8;
const UPPER_ARM: f64 = 28.0;
const FOREARM: f64 = 23.5;
/// Ankle joint over the floor, barefoot.
const ANKLE: f64 = 7.9;

fn euler(deg: [f64; 3]) -> DMat3 {
    DMat3::from_rotation_y(deg[1].to_radians())
        * DMat3::from_rotation_z(deg[2].to_radians())
        * DMat3::from_rotation_x(deg[0].to_radians())
}

/// Two-bone reach: middle joint and end, the end pulled in where out of reach.
fn reach(root: DVec3, target: DVec3, upper: f64, lower: f64, pole: DVec3) -> (DVec3, DVec3) {
    let span = (target - root).length().min(upper + lower - 0.02);
    let along = (target - root).normalize();
    let foot = (upper * upper - lower * lower + span * span) / (2.0 * span);
    let rise = (upper * upper - foot * foot).max(0.0).sqrt();
    let side = (pole - along * pole.dot(along)).normalize();
    let middle = root + along * foot + side * rise;
    (middle, middle + (target - middle).normalize() * lower)
}

impl Body {
    /// Builds the field for `recipe`, scaled so that the crown is at its stature.
    pub fn new(recipe: &FigureRecipe) -> Self {
        let pose = &recipe.pose;
        let girth = recipe.girth;
        let shift = DVec3::from(pose.pelvis_shift_cm);
        let pelvis_pivot = dvec3(0.0, 92.0, 0.0);
        let pelvis = Frame {
            rotation: euler(pose.pelvis_deg),
            origin: pelvis_pivot + shift,
            pivot: pelvis_pivot,
        };
        let thorax_pivot = dvec3(0.0, 112.0, 0.0);
        let thorax = Frame {
            rotation: pelvis.rotation * euler(pose.thorax_deg),
            origin: pelvis.out(thorax_pivot),
            pivot: thorax_pivot,
        };
        let head_rotation = thorax.rotation * euler(pose.head_deg);
        let head_frame = Frame {
            rotation: head_rotation,
            origin: thorax.out(dvec3(0.0, 155.0, -1.6)) + head_rotation * dvec3(0.0, 7.1, 2.6),
            pivot: DVec3::ZERO,
        };
        let mut body = Self {
            head: Head::new(),
            head_frame,
            pelvis,
            thorax,
            torso_table: torso_table(girth),
            sections: limb_sections(girth),
            torso: torso_shapes(girth, &pelvis, &thorax),
            neck: neck(girth, &thorax, &head_frame),
            legs: Default::default(),
            soles: [(DVec3::ZERO, DMat3::IDENTITY); 2],
            upper_arms: Default::default(),
            forearms: Default::default(),
            joints: Joints {
                neck: thorax.out(dvec3(0.0, 146.5, -3.3)),
                pupils: head_frame.origin,
                ..Joints::default()
            },
            scale: 1.0,
        };
        for side in 0..2 {
            body.add_arm(side, recipe);
            body.add_leg(side, recipe);
        }
        body.scale = recipe.stature_m * 100.0 / body.crown_height();
        let s = body.scale;
        let j = &mut body.joints;
        for pair in [
            &mut j.shoulder,
            &mut j.elbow,
            &mut j.wrist,
            &mut j.fingertip,
            &mut j.hip,
            &mut j.knee,
            &mut j.ankle,
            &mut j.toe,
        ] {
            *pair = pair.map(|p| p * s);
        }
        j.neck *= s;
        j.pupils *= s;
        body
    }

    /// Joints of the posed, scaled body, in centimetres.
    pub fn joints(&self) -> &Joints {
        &self.joints
    }

    /// From base-pose rib-cage coordinates to the posed, scaled body, in centimetres.
    pub fn on_thorax(&self, p: DVec3) -> DVec3 {
        self.thorax.out(p) * self.scale
    }

    /// From base-pose pelvis coordinates to the posed, scaled body, in centimetres.
    pub fn on_pelvis(&self, p: DVec3) -> DVec3 {
        self.pelvis.out(p) * self.scale
    }

    /// From head millimetres to the posed, scaled body, in centimetres.
    pub fn on_head(&self, p_mm: DVec3) -> DVec3 {
        self.head_frame.out(p_mm * 0.1) * self.scale
    }

    /// From the posed, scaled body to head millimetres.
    pub fn head_mm(&self, p: DVec3) -> DVec3 {
        self.head_frame.back(p / self.scale) * 10.0
    }

    /// The body without arms, neck and head: what a skirt hangs on.
    pub fn trunk_and_legs(&self, p: DVec3) -> f64 {
        self.no_arms(p / self.scale) * self.scale
    }

    /// The region of the body whose own surface is nearest.
    pub fn region(&self, p: DVec3) -> Region {
        let p = p / self.scale;
        let head_mm = self.head_frame.back(p) * 10.0;
        let mut best = (self.trunk(p), Region::Torso);
        let mut offer = |d: f64, r: Region| {
            if d < best.0 {
                best = (d, r);
            }
        };
        let on_head = if head_mm.length() < 220.0 {
            self.head.distance(head_mm) * 0.1
        } else {
            1e9
        };
        offer(on_head.min(self.group(&self.neck, p)), Region::Head);
        for side in 0..2 {
            offer(self.group(&self.legs[side], p), Region::Leg(side));
            offer(
                self.group(&self.upper_arms[side], p),
                Region::UpperArm(side),
            );
            offer(self.group(&self.forearms[side], p), Region::Forearm(side));
        }
        best.1
    }

    fn crown_height(&self) -> f64 {
        // March down onto the skull from above its highest point.
        let top = self.head_frame.out(dvec3(0.0, CROWN_MM * 0.1, -0.4));
        let mut best: f64 = 0.0;
        for i in -8..=8 {
            for k in -12..=12 {
                let mut p = top + dvec3(f64::from(i) * 0.5, 2.0, f64::from(k) * 0.5);
                for _ in 0..60 {
                    p.y -= self.posed(p).clamp(-1.0, 1.0) * 0.9;
                }
                if self.posed(p).abs() < 1e-3 {
                    best = best.max(p.y);
                }
            }
        }
        best
    }

    fn add_arm(&mut self, side: usize, recipe: &FigureRecipe) {
        let s = [1.0, -1.0][side];
        let pose = &recipe.pose.arms[side];
        let turn_x = |deg: f64| DMat3::from_rotation_x(deg.to_radians());
        let turn_y = |deg: f64| DMat3::from_rotation_y(deg.to_radians());
        let turn_z = |deg: f64| DMat3::from_rotation_z(deg.to_radians());
        let shoulder = self
            .thorax
            .out(dvec3(15.6 * recipe.girth.powf(0.35) * s, 137.9, -1.6));
        let upper_rot = self.thorax.rotation
            * turn_x(-pose.flex_deg)
            * turn_z(s * pose.abduct_deg)
            * turn_y(-s * pose.twist_deg);
        let upper = upper_rot * DVec3::NEG_Y;
        let fore_rot = upper_rot * turn_x(-pose.elbow_deg);
        let fore = fore_rot * DVec3::NEG_Y;
        let wrist_rot = fore_rot * turn_y(-s * pose.pronate_deg) * turn_z(-s * pose.wrist_deg);
        let (hand, palm, thumb) = (
            wrist_rot * DVec3::NEG_Y,
            wrist_rot * dvec3(-s, 0.0, 0.0),
            wrist_rot * DVec3::Z,
        );
        let elbow = shoulder + upper * UPPER_ARM;
        let wrist = elbow + fore * FOREARM;

        let front = self.thorax.rotation * DVec3::Z;
        let out = self.thorax.rotation * dvec3(s, 0.25, 0.0);
        let out = (out - upper * out.dot(upper)).normalize();
        let axes = frame(upper, front);
        self.upper_arms[side] = Group::new(vec![
            (
                1.0,
                Shape::Limb {
                    section: 2,
                    origin: shoulder,
                    axes,
                    length: UPPER_ARM,
                    flip: -s,
                },
            ),
            (
                3.0,
                ball(shoulder - upper * 0.2, DMat3::IDENTITY, [3.4, 3.5, 3.8]),
            ),
            (
                4.0,
                ball(shoulder + upper * 5.0 + out * 0.9, axes, [3.2, 6.6, 4.1]),
            ),
        ]);
        let back_of_elbow = (fore - upper + front * 1e-3).normalize();
        let mut shapes = vec![
            (
                1.0,
                Shape::Limb {
                    section: 3,
                    origin: elbow,
                    axes: frame(fore, palm),
                    length: FOREARM,
                    flip: 1.0,
                },
            ),
            (
                1.4,
                ball(elbow - back_of_elbow * 1.3, DMat3::IDENTITY, [1.9; 3]),
            ),
        ];
        let tip = hand_shapes(
            &mut shapes,
            wrist - hand * 0.4,
            hand,
            palm,
            thumb,
            pose.curl,
        );
        self.forearms[side] = Group::new(shapes);
        self.joints.shoulder[side] = shoulder;
        self.joints.elbow[side] = elbow;
        self.joints.wrist[side] = wrist;
        self.joints.fingertip[side] = tip;
    }

    fn add_leg(&mut self, side: usize, recipe: &FigureRecipe) {
        let s = [1.0, -1.0][side];
        let pose = &recipe.pose.legs[side];
        let hip = self
            .pelvis
            .out(dvec3(8.6 * recipe.girth.sqrt() * s, 88.5, -0.6));
        let pole = dvec3(pose.knee_out, 0.0, 1.0);
        let (knee, ankle) = reach(
            hip,
            dvec3(pose.ankle_cm[0], ANKLE, pose.ankle_cm[1]),
            THIGH,
            SHIN,
            pole,
        );
        let (thigh, shin) = ((knee - hip).normalize(), (ankle - knee).normalize());
        let cap_axes = frame(-(thigh + shin), pole);
        let yaw = DMat3::from_rotation_y(pose.foot_yaw_deg.to_radians());
        let at = |x: f64, y: f64, z: f64| ankle + yaw * dvec3(x * s, y, z);
        let rod = |a: [f64; 3], b: [f64; 3], ra, rb| Shape::Rod {
            a: at(a[0], a[1], a[2]),
            b: at(b[0], b[1], b[2]),
            ra,
            rb,
        };
        let mut shapes = vec![
            (
                1.0,
                Shape::Limb {
                    section: 0,
                    origin: hip,
                    axes: frame(thigh, pole),
                    length: THIGH,
                    flip: -s,
                },
            ),
            (
                2.0,
                Shape::Limb {
                    section: 1,
                    origin: knee,
                    axes: frame(shin, pole),
                    length: SHIN,
                    flip: -s,
                },
            ),
            (
                2.4,
                ball(
                    knee + cap_axes * dvec3(0.0, 0.6, 3.4),
                    cap_axes,
                    [2.6, 3.2, 1.7],
                ),
            ),
            // Ankle bones, outer lower and further back.
            (1.3, ball(at(2.05, -0.1, -0.6), yaw, [0.85, 1.3, 1.1])),
            (1.3, ball(at(-2.0, 0.7, 0.1), yaw, [0.85, 1.3, 1.1])),
            // Heel, instep, outer edge and ball of the foot.
            (2.2, rod([0.0, -5.5, -3.2], [0.0, 0.3, -0.9], 2.75, 2.3)),
            (2.4, rod([0.1, -5.8, -2.0], [0.5, -6.2, 8.0], 2.3, 2.2)),
            (2.6, rod([-0.2, -1.6, 0.4], [-0.6, -5.6, 9.0], 2.5, 1.7)),
            (2.2, rod([-1.3, -6.3, 10.6], [2.0, -6.7, 8.8], 1.95, 1.6)),
        ];
        // Toes: one tapering row, close together.
        let toes: [([f64; 3], [f64; 3], f64, f64); 5] = [
            ([-1.75, -6.5, 11.4], [-1.45, -6.9, 15.9], 1.25, 1.02),
            ([-0.1, -6.6, 11.6], [0.15, -7.0, 15.6], 0.95, 0.78),
            ([1.1, -6.7, 11.0], [1.4, -7.1, 14.6], 0.9, 0.74),
            ([2.2, -6.8, 10.2], [2.5, -7.15, 13.3], 0.85, 0.70),
            ([3.1, -6.9, 9.2], [3.4, -7.2, 11.8], 0.82, 0.68),
        ];
        for (a, b, ra, rb) in toes {
            shapes.push((0.7, rod(a, b, ra, rb)));
        }
        self.legs[side] = Group::new(shapes);
        self.soles[side] = (ankle, yaw);
        self.joints.hip[side] = hip;
        self.joints.knee[side] = knee;
        self.joints.ankle[side] = ankle;
        self.joints.toe[side] = at(-1.4, 1.2 - ANKLE, 16.8);
    }

    /// Torso, glutes, breast and shoulder girdle.
    fn trunk(&self, p: DVec3) -> f64 {
        let in_pelvis = self.pelvis.back(p);
        let in_thorax = self.thorax.back(p);
        // Far above and below, a bound will do: nothing blends that far out.
        if in_thorax.y > 165.0 {
            return in_thorax.y - 152.0;
        }
        if in_pelvis.y < 60.0 {
            return 74.0 - in_pelvis.y;
        }
        let w = step(98.0, 126.0, 0.5 * (in_pelvis.y + in_thorax.y));
        let q = in_pelvis + (in_thorax - in_pelvis) * w;
        let [half, front, back] = self.torso_table.at(q.y);
        let section = superellipse(
            DVec2::new(q.x, q.z - 0.5 * (front + back)),
            DVec2::new(half, 0.5 * (front - back)),
            2.35,
        );
        let ends = (78.5 - q.y).max((q.y - 145.3) * 0.88 + q.z * 0.475);
        let mut d = smax(section, ends, 4.5);
        for (k, shape) in &self.torso {
            d = smin(d, self.shape(shape, p), *k);
        }
        d
    }

    fn no_arms(&self, p: DVec3) -> f64 {
        let legs = smin(self.leg(0, p), self.leg(1, p), 0.5);
        smin(self.trunk(p), legs, 3.0)
    }

    fn leg(&self, side: usize, p: DVec3) -> f64 {
        let d = self.group(&self.legs[side], p);
        // The sole is flat on the floor.
        if p.y < 6.0 { smax(d, -p.y, 0.7) } else { d }
    }

    /// The whole body at base scale.
    fn posed(&self, p: DVec3) -> f64 {
        let mut d = self.no_arms(p);
        let mut arms: f64 = 1e9;
        // Shoulders flow into the trunk; below the armpit the arm only touches it.
        let flow = 0.35 + 2.65 * step(126.0, 137.0, self.thorax.back(p).y);
        for side in 0..2 {
            let upper = self.group(&self.upper_arms[side], p);
            let fore = self.group(&self.forearms[side], p);
            d = smin(d, upper, flow);
            arms = arms.min(smin(upper, fore, 1.6));
        }
        // A hand near the hip must not melt into it: a plain union below the shoulder.
        d = d.min(arms);
        let head_mm = self.head_frame.back(p) * 10.0;
        if head_mm.y > -260.0 {
            d = smin(d, self.group(&self.neck, p), 3.4);
            let reach = head_mm.length() - 150.0;
            let head = if reach > 60.0 {
                reach * 0.1 + 1.0
            } else {
                self.head.distance(head_mm) * 0.1
            };
            d = smin(d, head, 0.9);
        }
        // Hollows over the collar bones and the notch between them.
        let q = self.thorax.back(p);
        if q.y > 136.0 && q.y < 152.0 {
            let a = dvec3(q.x.abs(), q.y, q.z);
            let hollow = cone(a, dvec3(5.4, 145.0, 4.6), dvec3(10.5, 145.8, 3.4), 0.7, 0.5);
            d = smax(d, -hollow, 2.4);
            let notch = ellipsoid(q - dvec3(0.0, 143.2, 7.3), dvec3(1.1, 1.4, 1.1));
            d = smax(d, -notch, 2.4);
        }
        d
    }

    fn group(&self, g: &Group, p: DVec3) -> f64 {
        let outside = (p - g.centre).length() - g.radius;
        if outside > 8.0 {
            return outside + 1.0;
        }
        let mut d = f64::INFINITY;
        for (k, shape) in &g.shapes {
            let e = self.shape(shape, p);
            d = if d.is_finite() { smin(d, e, *k) } else { e };
        }
        d
    }

    fn shape(&self, shape: &Shape, p: DVec3) -> f64 {
        match shape {
            Shape::Ball {
                centre,
                axes,
                radii,
            } => ellipsoid(axes.transpose() * (p - centre), *radii),
            Shape::Rod { a, b, ra, rb } => cone(p, *a, *b, *ra, *rb),
            Shape::Limb {
                section,
                origin,
                axes,
                length,
                flip,
            } => {
                let q = axes.transpose() * (p - origin);
                let [a, b, ox, oz] = self.sections[*section].at(q.y / length);
                let d = ellipsoid(dvec3(q.x - ox * flip, 0.0, q.z - oz), dvec3(a, 1.0, b));
                // Rounded ends.
                let m = a.min(b);
                let beyond = (-q.y).max(q.y - length);
                if beyond <= -0.3 * m {
                    return d;
                }
                let cap = (beyond + 0.3 * m).hypot((d + 0.5 * m).max(0.0)) - 0.5 * m;
                d.max(cap)
            }
        }
    }
}

impl Field for Body {
    fn distance(&self, p: DVec3) -> f64 {
        self.posed(p / self.scale) * self.scale
    }
}
