//! One closed mesh of the whole bare body, fine where light shows form.
//!
//! The head is contoured on a finer grid, in its own axes, than the body; the
//! two are zipped together round the neck and the whole is remeshed to the
//! wanted edge lengths. Normals come from the field, not from the triangles.

use super::body::Body;
use super::head::EYE_MM;
use super::paint::Complexion;
use super::remesh::remesh;
use super::sdf::Field;
use super::stitch::{cut_away, zip};
use super::surface::{Mesh, extract};
use super::unwrap::unwrap;
use super::{Part, Role};
use glam::{DVec3, Vec3, dvec3};
use rayon::prelude::*;

/// How finely the skin is meshed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkinDetail {
    /// Multiplies every wanted edge length; 1 is the shipped figure.
    pub coarseness: f64,
    /// Between these two heights in centimetres a garment hides the trunk and
    /// thighs, which may be coarser; equal heights hide nothing.
    pub covered_cm: [f64; 2],
}

impl Default for SkinDetail {
    fn default() -> Self {
        Self {
            coarseness: 1.0,
            covered_cm: [0.0, 0.0],
        }
    }
}

/// The painted skin of `body` as a part named "skin".
///
/// Vertices are doubled where the UVs have a seam; without UVs the mesh is
/// closed, see [`skin_surface`].
pub fn skin(body: &Body, complexion: &Complexion, detail: &SkinDetail) -> Part {
    let mesh = skin_surface(body, detail);
    let open = unwrap(&mesh, body);
    let nails = Nails::of(body);
    let shaded: Vec<(Vec3, Vec3, [f32; 4])> = open
        .positions
        .par_iter()
        .map(|&p| {
            let step_cm = 0.03 * edge_length(body, detail, p);
            let n = body.gradient(p, step_cm.max(0.004)).normalize_or_zero();
            let mm = body.head_mm(p);
            let paint = if nails.cover(p) {
                complexion.nail()
            } else if mm.length() < 170.0 {
                complexion.face(body.head(), mm)
            } else {
                complexion.plain(mm)
            };
            ((p * 0.01).as_vec3(), n.as_vec3(), paint)
        })
        .collect();
    Part {
        name: "skin".into(),
        role: Role::Skin,
        positions_m: shaded.iter().map(|v| v.0).collect(),
        normals: shaded.iter().map(|v| v.1).collect(),
        uvs_cm: open.uvs.iter().map(|t| t.as_vec2()).collect(),
        triangles: open.triangles,
        paint: shaded.iter().map(|v| v.2).collect(),
    }
}

/// The closed surface of `body`, in centimetres, one vertex a place.
pub fn skin_surface(body: &Body, detail: &SkinDetail) -> Mesh {
    let c = detail.coarseness;
    let (lo, hi) = bounds(body);
    let whole = extract(body, lo, hi, 0.62 * c.clamp(0.8, 1.6));
    let mut mesh = with_fine_head(body, &whole, 0.15 * c.clamp(0.8, 2.0)).unwrap_or(whole);
    let size = |p: DVec3| edge_length(body, detail, p) * c;
    // Coming down to size in stages keeps thin lids from folding over.
    remesh(&mut mesh, body, &size, 3);
    mesh
}

fn bounds(body: &Body) -> (DVec3, DVec3) {
    let j = body.joints();
    let mut points = vec![
        body.on_head(dvec3(0.0, 0.0, 120.0)),
        body.on_head(dvec3(0.0, 110.0, 0.0)),
    ];
    for side in 0..2 {
        points.extend([
            j.shoulder[side],
            j.elbow[side],
            j.wrist[side],
            j.fingertip[side],
            j.hip[side],
            j.knee[side],
            j.ankle[side],
            j.toe[side],
        ]);
    }
    let lo = points
        .iter()
        .copied()
        .reduce(DVec3::min)
        .unwrap_or_default();
    let hi = points
        .iter()
        .copied()
        .reduce(DVec3::max)
        .unwrap_or_default();
    let margin = dvec3(16.0, 14.0, 20.0);
    (lo - margin, hi + margin)
}

/// The field seen from the head's own axes, in centimetres.
struct FromHead<'a>(&'a Body);

impl FromHead<'_> {
    fn out(&self, q: DVec3) -> DVec3 {
        self.0.on_head(q / self.0.head_scale())
    }
}

impl Field for FromHead<'_> {
    fn distance(&self, q: DVec3) -> f64 {
        self.0.distance(self.out(q))
    }
}

/// Replaces the head of `whole` by one contoured at pitch `h` centimetres.
/// `None` where the neck is not free all round, as behind a raised hand.
fn with_fine_head(body: &Body, whole: &Mesh, h: f64) -> Option<Mesh> {
    let scale = 10.0 * body.head_scale();
    let view = FromHead(body);
    [-12.2, -11.6, -12.8, -13.4].into_iter().find_map(|neck| {
        let cut = neck * scale;
        let lo = dvec3(-11.0 * scale, cut, -12.5 * scale);
        let hi = dvec3(11.0 * scale, 12.5 * scale, 13.5 * scale);
        let mut head = extract(&view, lo, hi, h);
        head.positions
            .par_iter_mut()
            .for_each(|q| *q = view.out(*q));
        let head = cut_away(head, |_| false);
        let rest = cut_away(whole.clone(), |p| {
            let q = body.head_mm(p) * body.head_scale();
            q.y > cut - 0.3 && q.x.abs() < hi.x && q.z > lo.z && q.z < hi.z
        });
        zip(&head, &rest)
    })
}

/// Wanted edge length at `p`, in centimetres, never changing faster than a
/// quarter of the way along the skin.
fn edge_length(body: &Body, detail: &SkinDetail, p: DVec3) -> f64 {
    let j = body.joints();
    let near = |size: f64, distance: f64| size + 0.25 * distance.max(0.0);
    let mut s: f64 = 0.9;
    let segment = |a: DVec3, b: DVec3| {
        let t = ((p - a).dot(b - a) / (b - a).length_squared()).clamp(0.0, 1.0);
        p.distance(a + (b - a) * t)
    };
    let [low, high] = detail.covered_cm;
    let trunk = segment(0.5 * (j.hip[0] + j.hip[1]), j.neck);
    let covered = (p.y - low).min(high - p.y).min(19.0 - trunk);
    s += (0.25 * covered).clamp(0.0, 0.75);
    let mm = body.head_mm(p);
    let reach = mm.length();
    if reach < 330.0 {
        s = s.min(body.head_scale() * on_head(mm));
    }
    let collar = segment(j.neck, body.on_thorax(dvec3(0.0, 140.0, 4.0)));
    s = s.min(near(0.6, collar - 8.0));
    for side in 0..2 {
        let (wrist, tip) = (j.wrist[side], j.fingertip[side]);
        let knuckles = wrist.lerp(tip, 0.55);
        s = s.min(near(0.28, segment(knuckles, tip) - 5.5));
        s = s.min(near(0.36, segment(wrist, knuckles) - 5.0));
        s = s.min(near(0.42, j.toe[side].distance(p) - 6.5));
        s = s.min(near(0.6, segment(j.ankle[side], j.toe[side]) - 6.0));
    }
    s
}

/// Wanted edge length on the head in millimetres, at `p` in its frame.
fn on_head(p: DVec3) -> f64 {
    let a = dvec3(p.x.abs(), p.y, p.z);
    let near = |size: f64, distance: f64| size + 0.22 * distance.max(0.0);
    let ellipse = |centre: DVec3, half: DVec3| {
        let q = (a - centre) / half;
        (q.length() - 1.0) * half.min_element()
    };
    let mut s = near(3.4, a.length() - 130.0);
    s = s.min(near(
        1.35,
        ellipse(dvec3(0.0, -35.0, 70.0), dvec3(50.0, 62.0, 50.0)),
    ));
    s = s.min(near(
        1.1,
        ellipse(dvec3(74.0, -14.0, -8.0), dvec3(12.0, 33.0, 20.0)),
    ));
    s = s.min(near(
        0.55,
        ellipse(EYE_MM + dvec3(0.0, 0.5, 9.0), dvec3(17.5, 8.5, 10.0)),
    ));
    s = s.min(near(
        0.62,
        ellipse(dvec3(0.0, -61.5, 95.0), dvec3(27.0, 6.0, 22.0)),
    ));
    s.min(near(
        0.75,
        ellipse(dvec3(0.0, -36.0, 103.0), dvec3(15.0, 7.0, 14.0)),
    ))
}

/// Where the nails lie.
struct Nails(Vec<(DVec3, glam::DMat3)>);

impl Nails {
    fn of(body: &Body) -> Self {
        Self(body.nails().into_iter().flatten().collect())
    }

    fn cover(&self, p: DVec3) -> bool {
        self.0.iter().any(|(at, axes)| {
            let q = axes.transpose() * (p - at);
            let (u, v) = (q.x / 0.42, q.y / 0.60);
            u * u + (v * v) * (v * v) < 1.0 && q.z > -0.12 && q.z < 0.4
        })
    }
}
