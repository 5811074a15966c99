//! The small data file beside a figure or garment OBJ: title, stature, body
//! points and blocking capsules, in TOML.

use super::{BodyPoints, Capsule, FigureError, Model};
use glam::Vec3;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// What the data file says.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelData {
    /// Shown to people.
    pub title: String,
    /// Height of the crown over the floor in metres; `None` for a garment.
    pub stature_m: Option<f32>,
    /// For a garment: the figure and pose that it was draped on.
    pub fits: Option<String>,
    /// Hash of the recipe that a generated file was made from.
    pub recipe: Option<String>,
    /// Named body points, in metres.
    pub points: BodyPoints,
    /// Capsules that stand for the body.
    pub blocking: Vec<Capsule>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    title: String,
    stature_m: Option<f32>,
    fits: Option<String>,
    recipe: Option<String>,
    #[serde(default)]
    points_m: BTreeMap<String, [f32; 3]>,
    #[serde(default)]
    blocking: Vec<FileCapsule>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileCapsule {
    a_m: [f32; 3],
    b_m: [f32; 3],
    radius_m: f32,
}

/// Nothing on a figure is further from its origin than this, in metres.
const REACH_M: f32 = 10.0;

impl ModelData {
    /// Reads the data file's text.
    ///
    /// # Errors
    /// [`FigureError::Data`] for broken TOML, unknown keys, and numbers that are
    /// not finite, not positive where they must be, or further out than 10 m.
    pub fn parse(text: &str) -> Result<Self, FigureError> {
        let file: File = toml::from_str(text)
            .map_err(|e| FigureError::Data(crate::setup::toml_reason(text, &e)))?;
        let place = |name: &str, p: [f32; 3]| {
            if p.iter().all(|v| v.abs() <= REACH_M) {
                Ok(Vec3::from(p))
            } else {
                Err(FigureError::Data(format!(
                    "{name}: coordinates must be metres within {REACH_M} m of the origin"
                )))
            }
        };
        if file.stature_m.is_some_and(|s| !(0.3..=3.0).contains(&s)) {
            return Err(FigureError::Data(
                "stature_m must lie between 0.3 and 3 metres".into(),
            ));
        }
        let points = file
            .points_m
            .into_iter()
            .map(|(name, p)| Ok((name.clone(), place(&name, p)?)))
            .collect::<Result<BodyPoints, FigureError>>()?;
        let blocking = file
            .blocking
            .iter()
            .map(|c| {
                if !(c.radius_m > 0.0 && c.radius_m <= 2.0) {
                    return Err(FigureError::Data(
                        "blocking: radius_m must be above 0 and at most 2 metres".into(),
                    ));
                }
                Ok(Capsule {
                    a_m: place("blocking", c.a_m)?,
                    b_m: place("blocking", c.b_m)?,
                    radius_m: c.radius_m,
                })
            })
            .collect::<Result<Vec<_>, FigureError>>()?;
        Ok(Self {
            title: file.title,
            stature_m: file.stature_m,
            fits: file.fits,
            recipe: file.recipe,
            points,
            blocking,
        })
    }

    /// The data file's text; lengths to 0.1 mm.
    pub fn to_toml(&self) -> String {
        let mut out = String::new();
        let triple = |p: Vec3| format!("[{:.4}, {:.4}, {:.4}]", p.x, p.y, p.z);
        // A String cannot fail to grow by formatting.
        let _ = writeln!(out, "title = {}", toml::Value::String(self.title.clone()));
        if let Some(stature) = self.stature_m {
            let _ = writeln!(out, "stature_m = {stature:.4}");
        }
        for (key, value) in [("fits", &self.fits), ("recipe", &self.recipe)] {
            if let Some(value) = value {
                let _ = writeln!(out, "{key} = {}", toml::Value::String(value.clone()));
            }
        }
        let _ = writeln!(
            out,
            "\n# Metres in the figure's frame: origin on the floor, +y up, facing +z,\n\
             # +x to the camera's right. Each lies on what the camera sees there.\n[points_m]"
        );
        for (name, p) in &self.points.0 {
            let _ = writeln!(out, "{} = {}", toml_key(name), triple(*p));
        }
        for c in &self.blocking {
            let _ = writeln!(
                out,
                "\n[[blocking]]\na_m = {}\nb_m = {}\nradius_m = {:.4}",
                triple(c.a_m),
                triple(c.b_m),
                c.radius_m
            );
        }
        out
    }

    /// Gives a loaded model its title, points and capsules.
    pub fn apply(self, model: &mut Model) {
        model.title = self.title;
        model.points = self.points;
        model.blocking = self.blocking;
    }
}

fn toml_key(name: &str) -> String {
    let bare = !name.is_empty()
        && name
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
    if bare {
        name.to_owned()
    } else {
        toml::Value::String(name.to_owned()).to_string()
    }
}
