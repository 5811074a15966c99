//! A top that is tucked in: held flat to the body below the upper edge of what it is tucked into, and free above it, so
//! that it blouses over that edge and bulges when its wearer sits.

use super::finish::Surface;
use super::lay_top::HeldHem;
use super::spec::{Collar, Top};
use super::top::{BACK, FRONT};
use super::torso::WAIST_BASE;
use crate::figure::body::Body;
use crate::figure::sdf::Field;
use crate::figure::{Part, Role};
use glam::DVec3;

/// Name of the part that is inside.
const TAIL: &str = "tail";
/// The upper edge of trousers as most are cut, as a height in the pelvis's base pose.
const USUAL_EDGE: f64 = 107.8;
/// No more than this is made of what nobody sees, in centimetres below the waist.
const LENGTH_CM: f64 = 12.0;
/// Distance of what is inside from the body.
const FLAT_CM: f64 = 0.2;
/// So much cloth is drawn out over the edge, as one does after tucking in.
const BLOUSE_CM: f64 = 3.0;
/// How far a waistband with its loops stands off the body, and how high it is.
const BAND_CM: [f64; 2] = [1.1, 5.0];

/// Whether a part is what of a top is tucked in.
pub fn is_tail(part: &Part) -> bool {
    part.role == Role::Cloth && part.name == TAIL
}

/// How a top is tucked in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tuck {
    /// The edge that it comes out of, as a height in the pelvis's base pose.
    edge: f64,
    /// Cloth up to here is inside, in centimetres over the waist.
    pub up_to_v: f64,
}

impl Top {
    /// How it is tucked in, `at` the edge of what is worn over it if there is such a thing. Jackets are not.
    pub(crate) fn tuck(&self, at: Option<f64>, scale: f64) -> Option<Tuck> {
        let edge = at.or(self.tucked.then_some(USUAL_EDGE))?;
        (self.collar != Collar::Lapel).then_some(Tuck {
            edge,
            up_to_v: (edge - WAIST_BASE) * scale - BLOUSE_CM,
        })
    }

    /// As it is made when it is tucked in: what nobody sees is left out, and no rib holds the hem.
    pub(crate) fn shortened(&self) -> Self {
        Self {
            length_below_waist_cm: self.length_below_waist_cm.min(LENGTH_CM),
            hem_band_cm: 0.0,
            tucked: true,
            ..self.clone()
        }
    }
}

impl Tuck {
    pub fn held(&self) -> HeldHem {
        HeldHem {
            gap_cm: FLAT_CM,
            up_to_v: self.up_to_v,
            raised_cm: BLOUSE_CM,
        }
    }

    /// The band that it blouses over, beside whatever is worn below.
    pub fn band<'a>(&self, body: &'a Body, under: Option<&'a dyn Field>) -> Band<'a> {
        Band {
            body,
            under,
            edge: self.edge,
        }
    }

    /// Takes what is inside apart from the rest.
    pub fn apart(&self, cloth: &Surface, whole: Part) -> [Part; 2] {
        let inside = |v: u32| {
            let v = v as usize;
            [FRONT, BACK].contains(&(cloth.panel[v] as usize))
                && cloth.uvs[v].y <= self.up_to_v + 1e-6
        };
        let tail = only(&whole, TAIL, |t| t.iter().all(|&v| inside(v)));
        let free = only(&whole, &whole.name, |t| !t.iter().all(|&v| inside(v)));
        [free, tail]
    }
}

/// Those triangles of a part, with what they need of it.
fn only(whole: &Part, name: &str, wanted: impl Fn(&[u32; 3]) -> bool) -> Part {
    let mut out = Part {
        name: name.into(),
        role: whole.role,
        positions_m: Vec::new(),
        normals: Vec::new(),
        uvs_cm: Vec::new(),
        triangles: Vec::new(),
        paint: Vec::new(),
    };
    let mut new = vec![u32::MAX; whole.positions_m.len()];
    for t in whole.triangles.iter().filter(|t| wanted(t)) {
        out.triangles.push(t.map(|v| {
            let old = v as usize;
            if new[old] == u32::MAX {
                new[old] = out.positions_m.len() as u32;
                out.positions_m.push(whole.positions_m[old]);
                out.normals.push(whole.normals[old]);
                out.uvs_cm.push(whole.uvs_cm[old]);
            }
            new[old]
        }));
    }
    out
}

/// A waistband that is not there yet, as cloth that falls over it feels it.
pub(crate) struct Band<'a> {
    body: &'a Body,
    under: Option<&'a dyn Field>,
    edge: f64,
}

impl Field for Band<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        let below = (self.body.pelvis_back(p).y - self.edge) * self.body.scale();
        let level = below.max(-BAND_CM[1] - below);
        // Far from its height the skin need not be asked.
        let band = if level > 3.0 {
            level
        } else {
            level.max(self.body.trunk_and_legs(p) - BAND_CM[0])
        };
        self.under.map_or(band, |u| band.min(u.distance(p)))
    }
}
