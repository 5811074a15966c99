//! Garments cut around limbs: trousers, T-shirt, shirt, jacket, coat, jumper.
//!
//! As a tailor works: pieces are drafted flat on the standing figure, meshed,
//! laid around the posed one, sewn, and left to settle under gravity. The flat
//! piece is both the cloth's rest shape and its UVs, so UVs are centimetres
//! along the cloth and strain is the cloth's own.

mod arms;
mod bands;
pub(crate) mod bones;
mod cover;
mod covered;
mod finish;
mod lay_top;
mod layer;
mod legs;
mod make_top;
mod panel;
mod room;
mod sew;
mod spec;
mod top;
mod torso;
mod trim;
mod trousers;
mod tube;
mod tuck;
mod untangle;
mod way;

pub use covered::hide_under;
pub use layer::Layer;
pub use spec::{CUTS, Collar, Pockets, TailorError, TailorSpec, Top, Trousers};
pub use tuck::is_tail;

use room::{Obstacle, Round};

use super::body::Body;
use super::cloth::{Mechanics, Motion};
use super::sdf::Field;
use super::{Part, Person, Pose, Role};
use glam::DVec3;
use rayon::prelude::*;
use std::sync::atomic::AtomicBool;

/// Who a garment is made for.
#[derive(Clone, Copy)]
pub struct Wearer<'a> {
    /// The person: pieces are drafted on them standing upright.
    pub person: &'a Person,
    /// The pose to be dressed.
    pub pose: &'a Pose,
    /// The same person in that pose.
    pub posed: &'a Body,
    /// What is worn below, if anything.
    pub under: Option<&'a dyn Field>,
    /// The upper edge of what a top is tucked into, as a height in the pelvis's base pose; none where it hangs.
    pub tucked_at: Option<f64>,
}

/// Cuts, sews and settles a garment. The first part is its cloth; buttons follow.
///
/// `progress` is told the share done; `cancel` stops early, with the parts as they then are.
pub fn make(
    spec: &TailorSpec,
    wearer: &Wearer,
    mechanics: &Mechanics,
    motion: Motion,
    progress: &(dyn Fn(f32) + Sync),
    cancel: &AtomicBool,
) -> Vec<Part> {
    make_at(spec, wearer, mechanics, motion, 1.2, progress, cancel)
}

/// As [`make`], with the edge length of the settling cloth in centimetres.
pub fn make_at(
    spec: &TailorSpec,
    wearer: &Wearer,
    mechanics: &Mechanics,
    motion: Motion,
    edge_cm: f64,
    progress: &(dyn Fn(f32) + Sync),
    cancel: &AtomicBool,
) -> Vec<Part> {
    let standing = Body::new(wearer.person, &Pose::upright());
    let fit = Fitting {
        person: wearer.person,
        standing: &standing,
        pose: wearer.pose,
        posed: wearer.posed,
        far: match spec {
            // Trousers do not care for arms.
            TailorSpec::Trousers(_) => bones::sits,
            TailorSpec::Top(_) => bones::is_far,
        }(wearer.person, wearer.posed, wearer.pose.turn_deg),
        under: wearer.under,
        tucked_at: wearer.tucked_at,
        mechanics,
        motion,
        edge_cm,
        progress,
        cancel,
    };
    let mut parts = match spec {
        TailorSpec::Trousers(t) => t.make(&fit),
        TailorSpec::Top(t) => t.make(&fit),
    };
    // Whatever was sewn on keeps out of the body too.
    let solid = fit.for_cloth(Round::Nearest);
    for part in parts.iter_mut().filter(|p| p.role == Role::Cloth) {
        part.positions_m.par_iter_mut().for_each(|p| {
            let at = p.as_dvec3() * 100.0;
            let out = bands::clear(&solid, at, 0.03);
            if out != at {
                *p = (out * 0.01).as_vec3();
            }
        });
    }
    progress(1.0);
    parts
}

/// All that the cutting and settling need.
pub(crate) struct Fitting<'a> {
    pub person: &'a Person,
    pub standing: &'a Body,
    pub pose: &'a Pose,
    pub posed: &'a Body,
    /// Whether the pose is far from upright.
    pub far: bool,
    pub under: Option<&'a dyn Field>,
    pub tucked_at: Option<f64>,
    pub mechanics: &'a Mechanics,
    pub motion: Motion,
    pub edge_cm: f64,
    pub progress: &'a (dyn Fn(f32) + Sync),
    pub cancel: &'a AtomicBool,
}

impl Fitting<'_> {
    /// Distance to the body (without arms) and what is worn below.
    fn below(&self, p: DVec3) -> f64 {
        let d = self.posed.trunk_and_legs(p);
        self.under.map_or(d, |u| d.min(u.distance(p)))
    }

    /// Distance of the cloth from what it lies on, in centimetres.
    fn gap_cm(&self) -> f64 {
        0.12 + 0.05 * self.mechanics.thickness_mm
    }

    /// All that cloth may not enter.
    fn obstacle(&self) -> Obstacle<'_> {
        Obstacle {
            body: self.posed,
            under: self.under,
            filled_cm: 0.0,
            footless: false,
            gives: self.far,
        }
    }

    /// The same for cloth that goes round a limb.
    fn for_cloth(&self, limb: Round) -> Plain<'_> {
        let all = self.obstacle();
        Plain(Box::new(move |p| all.for_cloth(limb, p)))
    }
}

/// A distance function as a field.
struct Plain<'a>(Box<dyn Fn(DVec3) -> f64 + Sync + 'a>);

impl Field for Plain<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        (self.0)(p)
    }
}
