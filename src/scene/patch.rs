//! A patch of cloth laid into a setup's scene, to be looked at closely: where it lies, and the lens
//! before it.

use super::Scene;
use super::builder::{Axes, Lens, SceneBuilder};
use super::cloth::Dye;
use super::ground::Cloths;
use super::models::{ModelError, Models};
use super::shapes;
use crate::fabric::{Fabric, FabricError};
use crate::figure::{Role, swatch};
use crate::setup::{Facing, Frame, Lay, MeterPoint, PointSpec, Setup};
use glam::DVec3;

/// The patch lies this far before what is behind it.
pub const PATCH_STANDOFF_M: f64 = 0.01;
/// From the patch's middle to the lens that looks at it.
pub const PATCH_LENS_M: f64 = 0.3;

/// What of the body stands farther out than this is not the body that the patch lies on.
const BODY_DEPTH_M: f64 = 0.15;

/// A patch to be laid.
#[derive(Debug, Clone, Copy)]
pub struct Patch<'a> {
    /// Of which cloth.
    pub fabric: &'a Fabric,
    /// Where it lies: origin its middle, `z` out of its face, `y` along the warp.
    pub frame: Frame,
    /// Width and height.
    pub size_m: [f64; 2],
    /// How it lies.
    pub lay: Lay,
    /// Whether it takes the place of the setup's own swatch.
    pub is_the_swatch: bool,
}

/// A patch in a scene.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LaidPatch {
    frame: Frame,
    /// The cloth's materials in its own colours and all in one.
    own: u32,
    one: u32,
}

/// The one reflectance that [`LaidPatch::dye`] knows.
pub const ONE_REFLECTANCE: f32 = 0.4;

impl Patch<'_> {
    /// Adds it.
    pub(super) fn add(
        &self,
        b: &mut SceneBuilder,
        kept: Option<&Cloths>,
    ) -> Result<LaidPatch, FabricError> {
        let mut cloth = |dye: Dye| match kept {
            Some(kept) => b.cloth_kept(self.fabric, dye, kept),
            None => b.cloth(self.fabric, dye),
        };
        let own = cloth(Dye::Own)?;
        let one = cloth(Dye::One(ONE_REFLECTANCE))?;
        let frame = self.frame;
        let turn = |v: DVec3| frame.x * v.x + frame.y * v.y + frame.z * v.z;
        let place = |v: DVec3| frame.origin_m + turn(v);
        let [w, h] = self.size_m.map(|s| s as f32);
        for part in &swatch::patch(w, h, self.lay).parts {
            b.mesh(
                &shapes::placed(
                    &part.positions_m,
                    &part.normals,
                    &part.uvs_cm,
                    &part.triangles,
                    place,
                    turn,
                ),
                own,
            );
        }
        Ok(LaidPatch { frame, own, one })
    }
}

impl LaidPatch {
    /// Shows the patch in its own colours, or all in one reflectance ([`ONE_REFLECTANCE`]).
    pub fn dye(&self, scene: &mut Scene, all_in_one: bool) {
        let wanted = if all_in_one { self.one } else { self.own };
        for triangle in &mut scene.triangles {
            if triangle.material == self.own || triangle.material == self.one {
                triangle.material = wanted;
            }
        }
    }

    /// Points a pinhole squarely at the patch's middle, to see this width of it.
    pub fn look(&self, scene: &mut Scene, width_m: f64, pixels: [u32; 2]) {
        scene.set_lens(&lens_before(&self.frame, PATCH_LENS_M, width_m, pixels));
    }
}

/// A pinhole before a patch.
pub fn lens_before(frame: &Axes, from_m: f64, width_m: f64, pixels: [u32; 2]) -> Lens {
    let aspect = f64::from(pixels[1]) / f64::from(pixels[0].max(1));
    Lens {
        centre_m: frame.origin_m + frame.z * from_m,
        right: frame.x,
        up: frame.y,
        forward: -frame.z,
        image_distance_m: 1.0,
        focus_distance_m: from_m,
        radius_m: 0.0,
        picture_m: [width_m / from_m, width_m * aspect / from_m],
        shift_m: [0.0; 2],
        pixels,
    }
}

/// Why a patch cannot be laid.
#[derive(Debug, thiserror::Error)]
pub enum PatchError {
    /// No such point.
    #[error("there is no point \"{point}\" to lay a swatch on")]
    Unknown {
        /// As asked for.
        point: String,
        /// What there is.
        known: Vec<String>,
    },
    /// The figure cannot be loaded.
    #[error(transparent)]
    Model(#[from] ModelError),
}

/// Where a patch of this size lies at a named point of a setup: in the plane of the meter's receptor there
/// (a body point that is not metered faces the camera), before all of the body that it covers. "swatch"
/// is the setup's own, where and as that lies.
///
/// # Errors
/// [`PatchError`] for a point that is not there.
pub fn frame_at(
    setup: &Setup,
    models: &Models,
    point: &str,
    size_m: [f64; 2],
) -> Result<Frame, PatchError> {
    if let (true, Some(swatch)) = (point == "swatch", &setup.swatch) {
        return Ok(swatch.frame);
    }
    let (at_m, direction, on_body) = point_at(setup, point)?;
    let frame = Frame::facing(at_m, direction, 0.0);
    let least = if on_body { PATCH_STANDOFF_M } else { 0.0 };
    let off = highest_under(setup, models, &frame, size_m)?
        .map_or(least, |high| least.max(high + PATCH_STANDOFF_M));
    Ok(Frame {
        origin_m: at_m + direction * off,
        ..frame
    })
}

/// Place, direction, and whether it is a point of the body.
fn point_at(setup: &Setup, point: &str) -> Result<(DVec3, DVec3, bool), PatchError> {
    let metered = |m: &MeterPoint| {
        (
            m.position_m,
            m.direction,
            matches!(m.at, PointSpec::Named(_)),
        )
    };
    let meters = || setup.meter.points.iter().chain([&setup.meter.expose_at]);
    if let Some(m) = meters().find(|m| m.name == point) {
        return Ok(metered(m));
    }
    let body = setup.figure.iter().flat_map(|f| &f.body_points_m);
    if let Some((_, at_m)) = body.clone().find(|(name, _)| *name == point) {
        let toward = setup.camera.position_m - *at_m;
        return Ok((*at_m, toward.normalize_or(DVec3::Z), true));
    }
    let mut known: Vec<String> = meters()
        .map(|m| m.name.clone())
        .chain(body.map(|(name, _)| name.clone()))
        .chain(setup.swatch.iter().map(|_| "swatch".to_owned()))
        .collect();
    known.sort();
    known.dedup();
    Err(PatchError::Unknown {
        point: point.to_owned(),
        known,
    })
}

/// How far the figure reaches out before a plane, within a rectangle of it; `None` where there is nothing
/// of it near.
fn highest_under(
    setup: &Setup,
    models: &Models,
    frame: &Frame,
    size_m: [f64; 2],
) -> Result<Option<f64>, ModelError> {
    let Some(figure) = &setup.figure else {
        return Ok(None);
    };
    let dressed = models.dressed(&figure.spec)?;
    let heights = dressed
        .pieces
        .iter()
        .flat_map(|piece| &piece.model.parts)
        .filter(|part| part.role != Role::Hair)
        .flat_map(|part| &part.positions_m)
        .map(|p| frame.point_in_frame(figure.room_from_figure(p.as_dvec3())))
        .filter(|p| {
            p.x.abs() <= 0.5 * size_m[0] && p.y.abs() <= 0.5 * size_m[1] && p.z.abs() < BODY_DEPTH_M
        })
        .map(|p| p.z);
    Ok(heights.reduce(f64::max))
}

/// What a patch at a point faces, in words.
pub fn facing_word(setup: &Setup, point: &str) -> String {
    if let (true, Some(swatch)) = (point == "swatch", &setup.swatch) {
        return word_of(&swatch.facing);
    }
    let mut meters = setup.meter.points.iter().chain([&setup.meter.expose_at]);
    meters
        .find(|m| m.name == point)
        .map_or("the camera".into(), |m| word_of(&m.facing))
}

fn word_of(facing: &Facing) -> String {
    match facing {
        Facing::Camera => "the camera".into(),
        Facing::Light(light) => format!("the light \"{light}\""),
        Facing::Up => "up".into(),
        Facing::Direction(_) => "as its point says".into(),
    }
}
