//! Any garment, by its data file.

use super::body::Body;
use super::cloth::{Mechanics, Motion};
use super::garment::{self, Fitted, GarmentSpec};
use super::person::Person;
use super::pose::Pose;
use super::sdf::Field;
use super::stand_in::{FigureFile, MeshFile};
use super::tailor::{self, TailorSpec, Wearer, bones, is_tail};
use super::{FigureError, Model, Part};
use glam::DVec3;
use serde::Deserialize;
use std::sync::atomic::{AtomicBool, Ordering};

/// What there is to wear.
#[derive(Debug, Clone, PartialEq)]
pub enum Garment {
    /// Hangs from shoulder or waist.
    Hung(Box<GarmentSpec>),
    /// Cut around limbs.
    Tailored(Box<TailorSpec>),
    /// A mesh of the user's own, as it lies on the figure.
    Mesh(Box<MeshFile>),
}

/// Who is dressed, and how it moves.
#[derive(Clone, Copy)]
pub struct Wearing<'a> {
    /// Patterns are drafted on this person, upright.
    pub person: &'a Person,
    /// The pose, with its movement.
    pub pose: &'a Pose,
    /// The person in that pose.
    pub body: &'a Body,
    /// What is worn below, if anything.
    pub under: Option<&'a dyn Field>,
    /// What is worn over it and begins at the waist, if anything: a top is tucked into that.
    pub tucked_in: Option<&'a Garment>,
}

/// What tells the kinds of file apart.
#[derive(Deserialize)]
struct Kind {
    cut: Option<toml::Value>,
    mesh: Option<toml::Value>,
}

impl Garment {
    /// Reads a garment's data file.
    ///
    /// # Errors
    /// [`FigureError::Data`] with the place, what is wrong and what may stand there.
    pub fn parse(text: &str) -> Result<Self, FigureError> {
        let kind: Kind = toml::from_str(text)
            .map_err(|e| FigureError::Data(crate::setup::toml_reason(text, &e)))?;
        if kind.mesh.is_some() {
            return match FigureFile::parse(text)? {
                FigureFile::Mesh(mesh) => Ok(Self::Mesh(mesh)),
                FigureFile::Made(_) => Err(FigureError::Empty),
            };
        }
        let wrong = |e: &dyn std::fmt::Display| FigureError::Data(e.to_string());
        if kind.cut.is_some() {
            let spec = TailorSpec::parse(text).map_err(|e| wrong(&e))?;
            Ok(Self::Tailored(Box::new(spec)))
        } else {
            let spec = GarmentSpec::from_toml(text).map_err(|e| wrong(&e))?;
            Ok(Self::Hung(Box::new(spec)))
        }
    }

    /// Shown to people.
    pub fn title(&self) -> &str {
        match self {
            Self::Hung(spec) => &spec.title,
            Self::Tailored(spec) => spec.title(),
            Self::Mesh(mesh) => &mesh.title,
        }
    }

    /// Whether a top that is worn below it is tucked in.
    pub fn begins_at_the_waist(&self) -> bool {
        match self {
            Self::Hung(spec) => spec.bodice.is_none() && spec.skirt.is_some(),
            Self::Tailored(spec) => matches!(**spec, TailorSpec::Trousers(_)),
            Self::Mesh(_) => false,
        }
    }

    /// Its upper edge where it begins at the waist of `upright`, as a height in the pelvis's base pose.
    fn waist_edge(&self, upright: &Body) -> Option<f64> {
        match self {
            Self::Hung(spec) => garment::waist_edge(spec, upright),
            Self::Tailored(spec) => match &**spec {
                TailorSpec::Trousers(trousers) => Some(trousers.waist_edge(upright.scale())),
                TailorSpec::Top(_) => None,
            },
            Self::Mesh(_) => None,
        }
    }

    /// The parts of a garment worn below that it lies on: of a top that is tucked in, what is inside.
    pub fn lies_on<'m>(&self, below: &'m Model) -> impl Iterator<Item = &'m Part> {
        let inside = self.begins_at_the_waist() && below.parts.iter().any(is_tail);
        (below.parts.iter()).filter(move |p| !inside || is_tail(p))
    }

    /// Whether it may hide that part of a garment worn below: what of a tucked top hangs out lies over it.
    pub fn hides(&self, part: &Part, below: &Model) -> bool {
        self.lies_on(below).any(|p| std::ptr::eq(p, part))
    }

    /// Cuts, sews and drapes it; `None` where it was stopped, and for a mesh, which is as it is.
    pub fn make(
        &self,
        on: &Wearing<'_>,
        mechanics: &Mechanics,
        progress: &(dyn Fn(f32) + Sync),
        cancel: &AtomicBool,
    ) -> Option<Model> {
        let sits = bones::sits(on.person, on.body, on.pose.turn_deg);
        let parts = match self {
            Self::Hung(spec) => {
                let way = if sits {
                    bones::between(on.person, on.pose, on.body)
                } else {
                    Vec::new()
                };
                let wearer = Fitted {
                    neutral: &Body::new(on.person, &Pose::upright()),
                    body: on.body,
                    under: on.under,
                    way: &way,
                };
                garment::make(
                    spec,
                    &wearer,
                    mechanics,
                    &on.pose.movement,
                    progress,
                    cancel,
                )?
                .parts
            }
            Self::Tailored(spec) => {
                let wearer = Wearer {
                    person: on.person,
                    pose: on.pose,
                    posed: on.body,
                    under: on.under,
                    tucked_at: on.tucked_in.and_then(|outer| {
                        outer.waist_edge(&Body::new(on.person, &Pose::upright()))
                    }),
                };
                tailor::make(spec, &wearer, mechanics, motion(on), progress, cancel)
            }
            Self::Mesh(_) => return None,
        };
        (!cancel.load(Ordering::Relaxed)).then(|| Model {
            title: self.title().to_owned(),
            parts,
            ..Model::default()
        })
    }
}

/// The pose's movement as the solver takes it: centimetres, radians, the figure turned.
fn motion(on: &Wearing<'_>) -> Motion {
    let m = &on.pose.movement;
    let (s, c) = on.pose.turn_deg.to_radians().sin_cos();
    let [x, y, z] = m.acceleration_m_s2.map(|v| v * 100.0);
    let hips = on.body.joints().hip;
    Motion {
        acceleration: DVec3::new(c * x + s * z, y, c * z - s * x),
        spin: m.yaw_rate_deg_s.to_radians(),
        axis: 0.5 * (hips[0] + hips[1]),
        ..Motion::default()
    }
}
