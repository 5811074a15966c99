//! What a figure is made from: size, pose, garment, mesh density.

use std::fmt::Write as _;

/// Raised whenever the generator's output changes for the same recipe, so that a
/// baked file made by older code is noticed.
pub const GENERATOR_VERSION: u32 = 1;

/// A figure to generate.
#[derive(Debug, Clone, PartialEq)]
pub struct FigureRecipe {
    /// Shown to people, e.g. "Tall dress form".
    pub title: String,
    /// Height of the crown over the floor, in metres, as the figure stands posed.
    pub stature_m: f64,
    /// Girth against the base table: 1 is the base size, 1.07 one size up.
    pub girth: f64,
    /// How it stands.
    pub pose: Pose,
    /// What it wears; `None` leaves it bare.
    pub garment: Option<GarmentRecipe>,
    /// Edge length of the mesh against the baked one: 1 bakes, 3 is a quick look.
    pub coarseness: f64,
}

impl FigureRecipe {
    /// The first figure: a tall dress form, standing, in a shift dress.
    pub fn tall_dress_form() -> Self {
        Self {
            title: "Tall dress form".into(),
            stature_m: 1.76,
            girth: 1.0,
            pose: Pose::stand(),
            garment: Some(GarmentRecipe::shift_dress()),
            coarseness: 1.0,
        }
    }

    /// Sixteen hexadecimal digits that name this recipe and [`GENERATOR_VERSION`].
    pub fn hash(&self) -> String {
        let mut text = String::new();
        // A String cannot fail to grow by formatting.
        let _ = write!(text, "{GENERATOR_VERSION} {self:?}");
        // FNV-1a, 64 bits: stable across platforms and compiler versions.
        let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| {
            (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3)
        });
        format!("{hash:016x}")
    }
}

/// How the figure stands. Angles in degrees, lengths in centimetres at base size.
#[derive(Debug, Clone, PartialEq)]
pub struct Pose {
    /// Sideways, up and forward shift of the pelvis, in centimetres.
    pub pelvis_shift_cm: [f64; 3],
    /// Pitch, yaw and roll of the pelvis.
    pub pelvis_deg: [f64; 3],
    /// Pitch, yaw and roll of the rib cage against the pelvis.
    pub thorax_deg: [f64; 3],
    /// Pitch, yaw and roll of the head against the rib cage.
    pub head_deg: [f64; 3],
    /// The figure's left arm (the camera's right), then its right arm.
    pub arms: [ArmPose; 2],
    /// The figure's left leg, then its right leg.
    pub legs: [LegPose; 2],
}

/// Joint angles of one arm, in degrees.
#[derive(Debug, Clone, PartialEq)]
pub struct ArmPose {
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
    pub wrist_deg: f64,
    /// Curl of the fingers: 1 is relaxed.
    pub curl: f64,
}

/// Where one leg stands.
#[derive(Debug, Clone, PartialEq)]
pub struct LegPose {
    /// Sideways and forward place of the ankle, in centimetres.
    pub ankle_cm: [f64; 2],
    /// Sideways lean of the knee's direction against straight ahead.
    pub knee_out: f64,
    /// Turn of the foot, in degrees, positive to the figure's left.
    pub foot_yaw_deg: f64,
}

impl Pose {
    /// Standing, weight on the figure's left leg, the other a little forward.
    pub fn stand() -> Self {
        let arm = |flex, elbow, curl| ArmPose {
            abduct_deg: 14.5,
            flex_deg: flex,
            twist_deg: 4.0,
            elbow_deg: elbow,
            pronate_deg: 22.0,
            wrist_deg: 3.0,
            curl,
        };
        Self {
            pelvis_shift_cm: [2.2, -0.6, 0.0],
            pelvis_deg: [0.0, -3.0, 3.8],
            thorax_deg: [-2.0, 4.0, -6.0],
            head_deg: [2.0, 3.0, 2.6],
            arms: [arm(-4.0, 18.0, 1.0), arm(-5.0, 21.0, 1.12)],
            legs: [
                LegPose {
                    ankle_cm: [5.0, -2.6],
                    knee_out: 0.08,
                    foot_yaw_deg: 9.0,
                },
                LegPose {
                    ankle_cm: [-7.2, 4.6],
                    knee_out: -0.10,
                    foot_yaw_deg: -15.0,
                },
            ],
        }
    }
}

/// A garment to cut, sew and drape on the figure. Lengths in centimetres.
#[derive(Debug, Clone, PartialEq)]
pub struct GarmentRecipe {
    /// Shown to people.
    pub title: String,
    /// Half the width of one panel at the hem.
    pub hem_half_width_cm: f64,
    /// From the side of the neck down to the hem, before levelling.
    pub length_cm: f64,
    /// Weight of the cloth in grams a square metre.
    pub weight_g_m2: f64,
    /// Bending rigidity of the cloth in micronewton metres (KES-F B over its width).
    pub bending_un_m: f64,
    /// Thickness of a turned edge, in centimetres.
    pub edge_cm: f64,
    /// Seed of the fold pattern.
    pub seed: u32,
}

impl GarmentRecipe {
    /// Sleeveless, A-line to just above the knee, a medium-weight crepe.
    pub fn shift_dress() -> Self {
        Self {
            title: "Shift dress".into(),
            hem_half_width_cm: 39.0,
            length_cm: 101.0,
            weight_g_m2: 190.0,
            bending_un_m: 6.0,
            edge_cm: 0.13,
            seed: 3,
        }
    }
}
