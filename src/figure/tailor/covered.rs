//! What of an inner garment the outer ones leave to be seen.

use super::cover::Cover;
use crate::figure::body::Body;
use crate::figure::sdf::Field;
use crate::figure::{Part, Role};
use glam::{DVec3, Vec3};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Looks start so far inside the skin, and no further than the second of these
/// inside the cloth: an outer garment that covers the skin covers what is between.
const INSIDE_M: [f32; 2] = [0.015, 0.06];
/// Air between a layer and the one drawn back under it.
const UNDER_M: f32 = 0.0015;
/// Whatever is seen keeps so much of its surroundings.
const MARGIN_M: f32 = 0.010;
/// A sleeve's far side is met within this, seen from the arm's near side.
const ROUND_ARM_M: f32 = 0.18;
/// Drawing back fades out over so much cloth.
const BLEND_M: f32 = 0.035;
/// An outer garment covers what lies no further than this below it.
const FAR_M: f32 = 0.06;

/// The inner garment's part as `body` wears it below `outer`: triangles that no
/// look from outside reaches are left out, and cloth that would show through is
/// drawn back under the outer cloth. Collars, cuffs, hems and what an opening
/// shows stay.
///
/// The outer cloth counts as opaque: leave this out below sheer fabrics and lace.
/// Skin keeps all its triangles; call it for garments and their trims only.
pub fn hide_under(inner: &Part, outer: &[Part], body: &Body) -> Part {
    let cloth = outer.iter().filter(|p| p.role == Role::Cloth);
    let cover = Cover::new(cloth.flat_map(|p| {
        let at = |v: u32| p.positions_m[v as usize];
        p.triangles.iter().map(move |t| t.map(at))
    }));
    let mut out = inner.clone();
    if cover.is_empty() {
        return out;
    }
    let mut looks = hemisphere();
    if inner.role != Role::Cloth {
        // A button is not drawn back: what covers it straight out hides it.
        looks.truncate(1);
    }
    let found: Vec<Found> = (inner.positions_m.par_iter())
        .map(|&p| {
            let at = p.as_dvec3() * 100.0;
            let out = body.gradient(at, 0.3).normalize_or(DVec3::Z).as_vec3();
            let height = body.distance(at) as f32 * 0.01;
            let depth = (height + INSIDE_M[0]).clamp(INSIDE_M[0], INSIDE_M[1]);
            let from = p - out * depth;
            let (a, b) = out.any_orthonormal_pair();
            // A skirt beside a sleeve is not over it: only what goes round the arm is.
            let arm = body.arm(0, at).min(body.arm(1, at));
            let beside =
                arm < body.trunk_and_legs(at) && cover.first(from, -out, ROUND_ARM_M).is_none();
            let seen = beside
                || looks.iter().any(|l| {
                    let along = a * l.x + b * l.y + out * l.z;
                    let skin = depth / l.z;
                    cover.first(from, along, (depth + FAR_M) / l.z).is_none()
                    // Nor does a look go through the body.
                    && [0.02, 0.06, 0.12].iter().all(|off| {
                        let at = from + along * (skin + off);
                        body.distance(at.as_dvec3() * 100.0) > 0.0
                    })
                });
            // Where the outer cloth lies below this point, that is its place.
            let room = height.max(0.0);
            let drawn = (cover.first(from, out, depth + UNDER_M))
                .filter(|_| !beside)
                .map_or(0.0, |t| (depth + UNDER_M - t).min(depth));
            Found {
                seen,
                out,
                room,
                drawn,
            }
        })
        .collect();
    let seen = Near::new(inner, MARGIN_M, |v| found[v].seen);
    let kept: Vec<bool> = (inner.positions_m.par_iter())
        .map(|&p| seen.around(p).any(|(_, off)| off < 1.0))
        .collect();
    out.triangles
        .retain(|t| t.iter().any(|&v| kept[v as usize]));
    if inner.role == Role::Cloth {
        let drawn = Near::new(inner, BLEND_M, |v| found[v].drawn > 1e-4);
        out.positions_m = (inner.positions_m.par_iter().zip(&found))
            .map(|(&p, f)| {
                let with = blended(f, &drawn, &found, p).min(f.room);
                p - f.out * with.max(f.drawn)
            })
            .collect();
    }
    out
}

/// What was found out about a vertex of the inner garment.
struct Found {
    /// Some look from outside reaches it.
    seen: bool,
    /// Direction away from the body.
    out: Vec3,
    /// Height over the skin, in metres.
    room: f32,
    /// How far it must be drawn in to lie under the outer cloth, in metres.
    drawn: f32,
}

/// How far a vertex is drawn in: as far as it must, or as its neighbours are, so
/// that a shirt runs into a waistband without a step.
fn blended(own: &Found, drawn: &Near, found: &[Found], p: Vec3) -> f32 {
    let (mut sum, mut weight, mut most) = (0.0, 0.0, 0.0_f32);
    for (v, off) in drawn.around(p).filter(|(_, off)| *off < 1.0) {
        let w = (1.0 - off) * (1.0 - off);
        sum += w * w * found[v].drawn;
        weight += w * w;
        most = most.max(w);
    }
    if weight > 0.0 {
        own.drawn.max(most * sum / weight)
    } else {
        own.drawn
    }
}

/// Directions over a hemisphere about +z, straight out first: rings at 0°, 25°,
/// 45° and 65° from it.
fn hemisphere() -> Vec<Vec3> {
    let rings = [(0.0_f32, 1), (25.0, 6), (45.0, 10), (65.0, 14)];
    rings
        .iter()
        .flat_map(|&(off, count)| {
            let (s, c) = off.to_radians().sin_cos();
            (0..count).map(move |k| {
                let turn = std::f32::consts::TAU * (k as f32 + 0.25) / count as f32;
                Vec3::new(s * turn.cos(), s * turn.sin(), c)
            })
        })
        .collect()
}

/// Chosen vertices of a part by grid cell, to find those near a place.
struct Near {
    cells: BTreeMap<[i32; 3], Vec<(usize, Vec3)>>,
    reach_m: f32,
}

impl Near {
    fn new(part: &Part, reach_m: f32, chosen: impl Fn(usize) -> bool) -> Self {
        let mut near = Self {
            cells: BTreeMap::new(),
            reach_m,
        };
        for (v, &p) in part
            .positions_m
            .iter()
            .enumerate()
            .filter(|(v, _)| chosen(*v))
        {
            near.cells.entry(near.cell(p)).or_default().push((v, p));
        }
        near
    }

    fn cell(&self, p: Vec3) -> [i32; 3] {
        (p / self.reach_m).floor().to_array().map(|v| v as i32)
    }

    /// Vertices round a place, with their distance as a share of the reach.
    fn around(&self, p: Vec3) -> impl Iterator<Item = (usize, f32)> {
        let [x, y, z] = self.cell(p);
        (0..27)
            .filter_map(move |k| {
                let at = [x + k % 3 - 1, y + k / 3 % 3 - 1, z + k / 9 - 1];
                self.cells.get(&at)
            })
            .flatten()
            .map(move |&(v, q)| (v, q.distance(p) / self.reach_m))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::{Build, Pose, StandIn};

    /// Cloth so many centimetres over the trunk between two heights, open in front
    /// over `gap` radians: where rays from the spine meet that surface.
    fn tube(body: &Body, over: f64, low: f64, high: f64, gap: f64) -> Part {
        let (around, up) = (90_u32, 24_u32);
        let mut part = Part {
            name: "tube".into(),
            role: Role::Cloth,
            positions_m: Vec::new(),
            normals: Vec::new(),
            uvs_cm: Vec::new(),
            triangles: Vec::new(),
            paint: Vec::new(),
        };
        for j in 0..=up {
            for i in 0..=around {
                let share = f64::from(i) / f64::from(around);
                let turn = 0.5 * gap + (std::f64::consts::TAU - gap) * share;
                let n = DVec3::new(turn.sin(), 0.0, turn.cos());
                let y = low + (high - low) * f64::from(j) / f64::from(up);
                let mut r = 25.0;
                for _ in 0..200 {
                    r -= 0.5 * (body.trunk_and_legs(n * r + DVec3::Y * y) - over);
                }
                let p = n * r + DVec3::Y * y;
                part.positions_m.push((p * 0.01).as_vec3());
                part.normals.push(n.as_vec3());
            }
        }
        for j in 0..up {
            for i in 0..around {
                let a = j * (around + 1) + i;
                let b = a + around + 1;
                part.triangles.push([a, a + 1, b + 1]);
                part.triangles.push([a, b + 1, b]);
            }
        }
        part
    }

    fn standing() -> Body {
        let who = StandIn::new("x", Build::Man);
        Body::new(&who.person, &Pose::upright())
    }

    fn middles(part: &Part) -> Vec<Vec3> {
        let at = |v: u32| part.positions_m[v as usize];
        (part.triangles.iter())
            .map(|t| t.iter().map(|&v| at(v)).sum::<Vec3>() / 3.0)
            .collect()
    }

    #[test]
    fn covered_cloth_goes_and_what_shows_stays() {
        let body = standing();
        let shirt = tube(&body, 0.5, 88.0, 130.0, 0.0);
        let jacket = tube(&body, 1.2, 92.0, 126.0, 0.8);
        let left = middles(&hide_under(&shirt, &[jacket], &body));
        let all = middles(&shirt);
        let front = |p: &Vec3| p.x.atan2(p.z).abs();
        let shows = |p: &Vec3| !(0.92..=1.26).contains(&p.y) || front(p) < 0.4;
        let inside = |p: &Vec3| (1.03..1.15).contains(&p.y) && p.z < 0.0 && p.x.abs() < 0.07;
        let count =
            |of: &[Vec3], what: &dyn Fn(&Vec3) -> bool| of.iter().filter(|p| what(p)).count();
        assert_eq!(count(&left, &shows), count(&all, &shows));
        assert!(count(&all, &inside) > 60);
        assert_eq!(count(&left, &inside), 0);
    }

    #[test]
    fn cloth_that_shows_through_is_drawn_back() {
        // A waistband that stands off further than the jacket over it.
        let body = standing();
        let band = tube(&body, 2.0, 100.0, 125.0, 0.0);
        let jacket = tube(&body, 1.0, 104.0, 121.0, 0.0);
        let worn = hide_under(&band, &[jacket], &body);
        for p in worn
            .triangles
            .iter()
            .flatten()
            .map(|&v| worn.positions_m[v as usize])
        {
            if (1.045..1.205).contains(&p.y) {
                let over = body.trunk_and_legs(p.as_dvec3() * 100.0);
                // The jacket's facets lie within half a millimetre of its surface.
                assert!(
                    over < 1.0 - 100.0 * f64::from(UNDER_M) + 0.05,
                    "{over} cm over {p}"
                );
            }
        }
    }
}
