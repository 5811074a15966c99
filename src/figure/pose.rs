//! How a figure stands, sits or moves, as joint angles.
//!
//! Angles are in degrees from the anatomical position, lengths in centimetres
//! on the base figure (they grow with the stature). Left and right are the
//! figure's own. [`super::pose_file`] reads and writes poses as text.

/// A posture.
#[derive(Debug, Clone, PartialEq)]
pub struct Pose {
    /// Shown to people.
    pub title: String,
    /// Turn of the whole figure, positive to its left.
    pub turn_deg: f64,
    /// Height of the block the figure sits on; `None` stands.
    pub seat_cm: Option<f64>,
    /// Sideways, up and forward shift of the pelvis.
    pub pelvis_shift_cm: [f64; 3],
    /// Pitch (positive bows forward), yaw (to the left) and roll (left hip up) of the pelvis.
    pub pelvis_deg: [f64; 3],
    /// Pitch, yaw and roll of the rib cage against the pelvis.
    pub thorax_deg: [f64; 3],
    /// Pitch, yaw and roll of the head against the rib cage.
    pub head_deg: [f64; 3],
    /// Left arm, then right.
    pub arms: [ArmPose; 2],
    /// Left leg, then right.
    pub legs: [LegPose; 2],
    /// What cloth feels of the figure's movement.
    pub movement: Movement,
}

/// One arm.
#[derive(Debug, Clone, PartialEq)]
pub struct ArmPose {
    /// Joint angles, or a place for the wrist.
    pub reach: Reach,
    /// Curl of the fingers: 0 is flat, 1 relaxed, 2.5 a loose fist.
    pub curl: f64,
}

/// The two ways to say where an arm goes.
#[derive(Debug, Clone, PartialEq)]
pub enum Reach {
    /// By joint angles. The arm swings further out where the body is in its way.
    Angles(ArmAngles),
    /// By the wrist; the elbow follows.
    Wrist(WristTarget),
}

/// Seven joint angles of an arm, in degrees.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ArmAngles {
    /// Away from the body.
    pub abduct_deg: f64,
    /// Forward.
    pub flex_deg: f64,
    /// Inward turn of the upper arm.
    pub twist_deg: f64,
    /// Bend of the elbow.
    pub elbow_deg: f64,
    /// Inward turn of the forearm.
    pub pronate_deg: f64,
    /// Bend of the wrist towards the palm.
    pub wrist_flex_deg: f64,
    /// Bend of the wrist towards the thumb.
    pub wrist_side_deg: f64,
}

/// What a wrist target's numbers are measured in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MeasuredFrom {
    /// The upright rib cage, which then moves with the pose.
    Ribs,
    /// The upright pelvis, likewise.
    Pelvis,
    /// The floor under the figure.
    Floor,
}

impl MeasuredFrom {
    /// The word that names it in a pose file.
    pub fn word(self) -> &'static str {
        match self {
            Self::Ribs => "ribs",
            Self::Pelvis => "pelvis",
            Self::Floor => "floor",
        }
    }
}

/// Where a wrist should be, and which way elbow, fingers and palm point.
#[derive(Debug, Clone, PartialEq)]
pub struct WristTarget {
    /// Place of the wrist joint.
    pub wrist_cm: [f64; 3],
    /// What place and directions are measured in.
    pub measured_from: MeasuredFrom,
    /// Direction the elbow points to.
    pub elbow_towards: [f64; 3],
    /// Direction of the fingers.
    pub fingers_towards: [f64; 3],
    /// Direction the palm faces.
    pub palm_towards: [f64; 3],
    /// Whether hand and forearm are laid against the body: moved until they
    /// touch it without sinking in.
    pub rests: bool,
}

/// One leg.
#[derive(Debug, Clone, PartialEq)]
pub struct LegPose {
    /// Sideways and forward place that the ankle has while the heel is down.
    pub ankle_cm: [f64; 2],
    /// Height of the foot over the floor: 0 stands on it.
    pub rise_cm: f64,
    /// Direction the knee points to.
    pub knee_towards: [f64; 3],
    /// Turn of the foot, positive to the figure's left.
    pub foot_yaw_deg: f64,
    /// Raise of the heel about the ball of the foot.
    pub heel_lift_deg: f64,
}

/// Movement that cloth feels, in the figure's own directions before its turn.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Movement {
    /// Acceleration of the body: left, up, forward, in metres a second squared.
    pub acceleration_m_s2: [f64; 3],
    /// Turning about the vertical, positive to the left, in degrees a second.
    pub yaw_rate_deg_s: f64,
}

/// The poses that ship with the program: name and file text.
const SHIPPED: [(&str, &str); 10] = [
    ("front", include_str!("../../models/poses/front.toml")),
    ("square", include_str!("../../models/poses/square.toml")),
    (
        "three-quarter",
        include_str!("../../models/poses/three-quarter.toml"),
    ),
    ("side", include_str!("../../models/poses/side.toml")),
    ("back", include_str!("../../models/poses/back.toml")),
    (
        "hand-on-hip",
        include_str!("../../models/poses/hand-on-hip.toml"),
    ),
    ("walking", include_str!("../../models/poses/walking.toml")),
    ("turning", include_str!("../../models/poses/turning.toml")),
    ("seated", include_str!("../../models/poses/seated.toml")),
    (
        "arms-crossed",
        include_str!("../../models/poses/arms-crossed.toml"),
    ),
];

impl Pose {
    /// Names of the poses that ship with the program.
    pub fn names() -> impl Iterator<Item = &'static str> {
        SHIPPED.iter().map(|(name, _)| *name)
    }

    /// Text of the shipped pose file of that name, to copy and change.
    pub fn file(name: &str) -> Option<&'static str> {
        SHIPPED.iter().find(|(n, _)| *n == name).map(|(_, t)| *t)
    }

    /// The shipped pose of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::from_toml(Self::file(name)?).ok()
    }

    /// Upright, facing front, arms a little away from the sides: how a body is measured.
    pub fn upright() -> Self {
        let arm = ArmPose {
            reach: Reach::Angles(ArmAngles {
                abduct_deg: 20.0,
                twist_deg: 10.0,
                elbow_deg: 8.0,
                pronate_deg: 16.0,
                ..ArmAngles::default()
            }),
            curl: 0.6,
        };
        let leg = |s: f64| LegPose {
            ankle_cm: [8.6 * s, -1.6],
            rise_cm: 0.0,
            knee_towards: [0.08 * s, 0.0, 1.0],
            foot_yaw_deg: 7.0 * s,
            heel_lift_deg: 0.0,
        };
        Self {
            title: "Upright".into(),
            turn_deg: 0.0,
            seat_cm: None,
            pelvis_shift_cm: [0.0; 3],
            pelvis_deg: [0.0; 3],
            thorax_deg: [0.0; 3],
            head_deg: [0.0; 3],
            arms: [arm.clone(), arm],
            legs: [leg(1.0), leg(-1.0)],
            movement: Movement::default(),
        }
    }

    /// This posture with trunk, head, legs and curl of the fingers `share` of the way to `other`'s. It faces where `other`
    /// does, on its feet; arms are `other`'s.
    pub(crate) fn towards(&self, other: &Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * share;
        fn mixed<const N: usize>(
            a: [f64; N],
            b: [f64; N],
            mix: impl Fn(f64, f64) -> f64,
        ) -> [f64; N] {
            std::array::from_fn(|k| mix(a[k], b[k]))
        }
        Self {
            title: other.title.clone(),
            turn_deg: other.turn_deg,
            seat_cm: None,
            pelvis_shift_cm: mixed(self.pelvis_shift_cm, other.pelvis_shift_cm, mix),
            pelvis_deg: mixed(self.pelvis_deg, other.pelvis_deg, mix),
            thorax_deg: mixed(self.thorax_deg, other.thorax_deg, mix),
            head_deg: mixed(self.head_deg, other.head_deg, mix),
            arms: [0, 1].map(|k| ArmPose {
                reach: other.arms[k].reach.clone(),
                curl: mix(self.arms[k].curl, other.arms[k].curl),
            }),
            legs: [0, 1].map(|k| {
                let (a, b) = (&self.legs[k], &other.legs[k]);
                LegPose {
                    ankle_cm: mixed(a.ankle_cm, b.ankle_cm, mix),
                    rise_cm: mix(a.rise_cm, b.rise_cm),
                    knee_towards: mixed(a.knee_towards, b.knee_towards, mix),
                    foot_yaw_deg: mix(a.foot_yaw_deg, b.foot_yaw_deg),
                    heel_lift_deg: mix(a.heel_lift_deg, b.heel_lift_deg),
                }
            }),
            movement: Movement::default(),
        }
    }
}
