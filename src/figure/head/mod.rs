//! The head of the stand-in: a calm display mannequin with real planes.
//!
//! Sculpted in millimetres in its own frame: the origin lies midway between
//! the pupils, +y up, +z forward, +x to the figure's left, z = 0 in the plane
//! of the ear openings. One field serves women and men through [`Traits`]. The
//! face is a symmetric sculpture seen through a slow, half-millimetre warp, as
//! no face is its own mirror image.

pub(super) mod ear;
mod lids;
mod mouth;
mod nose;
mod skull;
mod traits;

pub use lids::LidLine;
pub use mouth::LipLine;
pub use traits::Traits;

use super::person::Build;
use super::sdf::{Field, Table, cone, ellipsoid, smin, step};
use glam::{DMat3, DVec3, EulerRot, dvec3};

/// Height of the crown above the pupils, in millimetres.
pub const CROWN_MM: f64 = 109.5;
/// Centre of the figure's left eyeball, in millimetres; the right one mirrors it.
pub const EYE_MM: DVec3 = DVec3::new(31.0, 0.0, 65.5);
/// Radius of the eyeball behind the cornea, in millimetres (an axial length of
/// about 24 mm is the adult mean).
pub const GLOBE_MM: f64 = 12.3;
/// Half axes of what fills the corners of the lids beside the eyeball.
pub const CORNERS_MM: DVec3 = DVec3::new(15.5, 11.8, 11.5);

/// Where a brow begins and ends, in millimetres from the midline.
pub const BROW_MM: [f64; 2] = [11.0, 48.5];

/// The head as a signed-distance field, in millimetres.
#[derive(Debug, Clone)]
pub struct Head {
    traits: Traits,
    build: Build,
    face: Table<2>,
    skull: skull::Skull,
    nose: nose::Nose,
}

impl Head {
    /// The head of a build.
    pub fn new(build: Build) -> Self {
        let traits = Traits::of(build);
        Self {
            traits,
            build,
            face: Traits::face(build),
            skull: skull::Skull::new(&traits),
            nose: nose::Nose::new(&traits),
        }
    }

    /// Proportions of this head.
    pub fn traits(&self) -> &Traits {
        &self.traits
    }

    /// Whose build it is.
    pub fn build(&self) -> Build {
        self.build
    }

    /// Centre of an eyeball in millimetres; side 0 is the figure's left.
    pub fn eye_mm(side: usize) -> DVec3 {
        dvec3([1.0, -1.0][side] * EYE_MM.x, EYE_MM.y, EYE_MM.z)
    }

    /// Distance in millimetres at `p`, negative inside.
    pub fn distance(&self, p: DVec3) -> f64 {
        let p = self.symmetric(p);
        // A softened |x| keeps the midline free of a crease.
        let a = dvec3(p.x.abs(), p.y, p.z);
        let s = dvec3((p.x * p.x + 4.0).sqrt(), p.y, p.z);
        let mut d = self.skull.distance(&self.traits, &self.face, a, s);
        d = self.nose.join(d, p);
        d = mouth::join(&self.traits, d, p, a);
        d = lids::join(&self.traits, d, a);
        ear::join(&self.traits, d, a)
    }

    /// Gradient of the distance over `e` millimetres.
    pub fn gradient(&self, p: DVec3, e: f64) -> DVec3 {
        HeadField(self).gradient(p, e)
    }

    /// Where `p` lies on the symmetric sculpture behind the warp. Masks for
    /// paint are written there; the eyes are left unwarped, so that lids fit.
    pub fn symmetric(&self, p: DVec3) -> DVec3 {
        if p.z < 0.0 {
            return p;
        }
        let from_eye = (p.x.abs() - EYE_MM.x).hypot(p.y - EYE_MM.y);
        let fade = step(17.0, 36.0, from_eye) * step(0.0, 40.0, p.z);
        p + fade
            * dvec3(
                0.5 * (0.040 * p.y + 1.1).sin(),
                0.5 * (0.052 * p.x).sin(),
                0.45 * (0.031 * p.x + 0.022 * p.y + 0.9).sin(),
            )
    }

    /// How far behind the hairline a place on the skin lies, in millimetres;
    /// negative on the face, the neck and round the ears.
    pub fn scalp(&self, p: DVec3) -> f64 {
        let ax = p.x.abs();
        let front = if p.y > 20.0 {
            76.0 + (p.y - 54.0) * 0.70 - 0.0012 * ax * ax * ((p.y - 20.0) / 40.0)
        } else if p.y > -8.0 {
            52.2 - (20.0 - p.y) * 1.25
        } else {
            17.2 - (-8.0 - p.y) * 2.0
        };
        let ear = ellipsoid(
            dvec3(ax - 74.0, p.y + 10.0, p.z + 8.0),
            dvec3(20.0, 30.0, 21.0),
        );
        (front - p.z).min(ear).min(p.y + 66.0)
    }

    /// Height of the brow's middle line and half its width, in millimetres, at
    /// `ax` from the midline in the symmetric head; nothing beyond its ends.
    pub fn brow_at(&self, ax: f64) -> Option<[f64; 2]> {
        let t = (ax - BROW_MM[0]) / (BROW_MM[1] - BROW_MM[0]);
        (-0.05..1.05).contains(&t).then(|| self.brow_along(t))
    }

    /// The same at `t` along the brow, from 0 (by the nose) to 1 (by the temple).
    ///
    /// A line that climbs outwards and turns down over its last third; one that
    /// climbs inwards looks worried.
    pub fn brow_along(&self, t: f64) -> [f64; 2] {
        let k = t.clamp(0.0, 1.0);
        let middle = 14.6 - self.traits.brow_drop + 10.2 * t - 16.0 * (t - 0.60).max(0.0).powf(1.2);
        let taper = (1.0 - k).powf(0.6) * (k * 7.0 + 0.4).min(1.0);
        [middle, 3.7 * self.traits.brow_weight * taper + 0.6]
    }

    /// The lids' lines of this head.
    pub fn lid_line(&self) -> LidLine {
        LidLine::new(&self.traits)
    }
}

struct HeadField<'a>(&'a Head);

impl Field for HeadField<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        self.0.distance(p)
    }
}

fn ball(p: DVec3, centre: [f64; 3], r: [f64; 3]) -> f64 {
    ellipsoid(p - DVec3::from(centre), DVec3::from(r))
}

fn rod(p: DVec3, a: [f64; 3], b: [f64; 3], ra: f64, rb: f64) -> f64 {
    cone(p, DVec3::from(a), DVec3::from(b), ra, rb)
}

/// An ellipsoid turned by Euler angles (degrees about x, then y, then z).
#[derive(Debug, Clone)]
struct Turned {
    to_local: DMat3,
    centre: DVec3,
    radii: DVec3,
}

impl Turned {
    fn new(centre: [f64; 3], radii: [f64; 3], euler_deg: [f64; 3]) -> Self {
        let [x, y, z] = euler_deg.map(f64::to_radians);
        Self {
            to_local: DMat3::from_euler(EulerRot::ZYX, z, y, x).transpose(),
            centre: centre.into(),
            radii: radii.into(),
        }
    }

    fn distance(&self, p: DVec3) -> f64 {
        ellipsoid(self.to_local * (p - self.centre), self.radii)
    }
}

/// A bell of height 1 and width `w` about 0.
fn bell(x: f64, w: f64) -> f64 {
    (-(x / w) * (x / w)).exp()
}

/// Smooth union that costs nothing where `reach` says the part is far off.
fn join_near(d: f64, near: bool, part: impl FnOnce() -> f64, k: f64) -> f64 {
    if near { smin(d, part(), k) } else { d }
}
