//! The lids: a shell over each eyeball, cut open along the lid line.

use super::{CORNERS_MM, EYE_MM, Traits, ball, bell};
use crate::figure::sdf::{ellipsoid, smax, smin, step};
use glam::{DVec3, dvec3};

/// Inner corner of the lids and their length, in millimetres from the midline.
const INNER_MM: f64 = 15.4;
const LENGTH_MM: f64 = 31.8;

/// The margins of the lids as seen from in front.
#[derive(Debug, Clone, Copy)]
pub struct LidLine {
    above: f64,
    below: f64,
}

/// Heights at one place along the lids, in millimetres.
#[derive(Debug, Clone, Copy)]
pub struct LidPlace {
    /// Margin of the upper lid.
    pub upper: f64,
    /// Margin of the lower lid.
    pub lower: f64,
    /// Line from corner to corner.
    pub base: f64,
    /// The fold over the upper lid.
    pub crease: f64,
    /// The lower lid's margin, carried on smoothly past both corners.
    pub pouch: f64,
    /// Place along the lids, 0 at the inner corner to 1 at the outer.
    pub u: f64,
}

impl LidLine {
    pub(super) fn new(t: &Traits) -> Self {
        Self {
            above: t.lid_above,
            below: t.lid_below,
        }
    }

    /// The lid lines at `ax` millimetres from the midline.
    pub fn at(&self, ax: f64) -> LidPlace {
        let u = ((ax - INNER_MM) / LENGTH_MM).clamp(0.0, 1.0);
        let bow = |v: f64| (4.0 * v * (1.0 - v)).max(0.0);
        let base = -2.0 + 3.5 * u;
        // Folds run on past the corners, where the margins end steeply.
        let long = |from: f64, length: f64| ((ax - from) / length).clamp(0.0, 1.0);
        LidPlace {
            upper: base + (self.above + 0.8) * bow(u.powf(0.9)).powf(0.68),
            lower: base - (self.below - 0.1) * bow(u.powf(1.22)).powf(0.78),
            base,
            crease: base + 0.3 + (self.above + 3.2) * bow(long(11.0, 43.0)).powf(0.9) + 0.6 * u,
            pouch: base - 0.6 - (self.below - 0.6) * bow(long(10.0, 43.0)).powf(0.9),
            u,
        }
    }

    /// Distance from the midline of the place a fraction `u` along the lids.
    pub fn span_mm(&self, u: f64) -> f64 {
        INNER_MM + LENGTH_MM * u
    }

    /// Distance to the opening in the plane of the face, negative within it.
    pub fn opening(&self, ax: f64, y: f64) -> f64 {
        let l = self.at(ax);
        (y - l.upper)
            .max(l.lower - y)
            .max(INNER_MM - ax)
            .max(ax - INNER_MM - LENGTH_MM)
    }
}

pub fn join(t: &Traits, mut d: f64, a: DVec3) -> f64 {
    if a.z < 35.0 || a.x > 68.0 || a.x < 2.0 || a.y.abs() > 34.0 {
        return d;
    }
    d = smin(d, ellipsoid(a - EYE_MM, dvec3(16.5, 13.9, 14.0)), 3.6);
    let lids = LidLine::new(t);
    let l = lids.at(a.x);
    // The fold is a displacement of the field: a carved groove would break up
    // on any mesh coarser than itself.
    let fade = step(13.0, 21.0, a.x) * step(53.0, 42.0, a.x) * step(58.0, 66.0, a.z);
    if fade > 0.0 {
        let q = a.y - l.crease;
        d += fade * (0.85 * bell(q, 0.9) - 0.55 * bell(q - 3.0, 2.4) - 0.25 * bell(q + 2.0, 1.6));
        // The soft roll of the lower lid, and the shallow trough below it.
        d -= fade * 0.30 * bell(a.y - l.pouch + 2.4, 1.5);
        d += fade * 0.20 * bell(a.y - l.pouch + 5.2 + 1.5 * (1.0 - l.u), 1.6);
    }
    let ahead = ellipsoid(a - EYE_MM - dvec3(0.0, 0.0, 4.0), dvec3(20.0, 18.0, 18.0));
    d = smax(d, -lids.opening(a.x, a.y).max(ahead), 0.9);
    // What lies behind the eyeball, inside it everywhere; the outer corner's
    // floor; the fold and caruncle of the inner corner.
    d = d.min(ellipsoid(a - EYE_MM, CORNERS_MM - dvec3(0.5, 0.5, 0.6)));
    d = smin(d, ball(a, [47.2, 1.6, 63.8], [3.2, 3.4, 3.6]), 0.6);
    let fold = ball(a, [18.0, -1.7, 69.0], [5.0, 4.5, 4.2]);
    smin(
        d,
        smin(fold, ball(a, [17.0, -2.0, 72.3], [1.8, 1.5, 1.8]), 1.0),
        0.5,
    )
}
