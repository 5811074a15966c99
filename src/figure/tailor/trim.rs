//! Things sewn on: bands, overlays that follow the cloth, buttons.

use super::finish::Surface;
use crate::figure::{Part, Role};
use glam::{DVec2, DVec3, Vec2, Vec3, dvec2};

/// A thin solid of cloth lofted through rows of points.
///
/// `rows` run from the lower edge up, all of one length, each from left to right
/// as seen from outside. UVs are centimetres: u along the rows, v across them,
/// starting at `origin`.
pub fn loft(rows: &[Vec<DVec3>], closed: bool, thick: f64, origin: DVec2) -> Surface {
    let n = rows[0].len();
    let m = rows.len();
    let mut out = Surface::default();
    let around = |i: isize| -> usize {
        if closed {
            i.rem_euclid(n as isize) as usize
        } else {
            i.clamp(0, n as isize - 1) as usize
        }
    };
    let normal = |r: usize, i: usize| -> DVec3 {
        let (a, b) = (around(i as isize - 1), around(i as isize + 1));
        let along = rows[r][b] - rows[r][a];
        let up = rows[(r + 1).min(m - 1)][i] - rows[r.saturating_sub(1)][i];
        along.cross(up).normalize_or_zero()
    };
    // Profile: inner face up, over the top edge, down the outer face is one closed
    // loop; vertices row by row around it.
    let columns = if closed { n + 1 } else { n };
    let mid = m / 2;
    let mut u = vec![0.0; columns];
    for i in 1..columns {
        u[i] = u[i - 1] + rows[mid][around(i as isize)].distance(rows[mid][i - 1]);
    }
    let mut v = vec![vec![0.0; n]; m];
    for r in 1..m {
        for i in 0..n {
            v[r][i] = v[r - 1][i] + rows[r][i].distance(rows[r - 1][i]);
        }
    }
    // (row, inward share of thickness, push past the edge)
    let mut profile: Vec<(usize, f64, f64)> =
        vec![(0, 1.0, 0.0), (0, 0.85, -0.35), (0, 0.15, -0.35)];
    profile.extend((0..m).map(|r| (r, 0.0, 0.0)));
    profile.extend([(m - 1, 0.15, 0.35), (m - 1, 0.85, 0.35), (m - 1, 1.0, 0.0)]);
    profile.extend((1..m - 1).rev().map(|r| (r, 1.0, 0.0)));
    profile.push((0, 1.0, 0.0));
    for (step, &(r, inward, past)) in profile.iter().enumerate() {
        // Over the upper edge the cloth runs on down the inside.
        let inside = step > m + 3;
        for (i, &u) in u.iter().enumerate() {
            let k = around(i as isize);
            let nrm = normal(r, k);
            let up =
                (rows[(r + 1).min(m - 1)][k] - rows[r.saturating_sub(1)][k]).normalize_or_zero();
            out.positions
                .push(rows[r][k] - nrm * (thick * inward) + up * (past * thick));
            let facing = match past {
                p if p != 0.0 => (up * past.signum() + nrm * (0.5 - inward)).normalize_or_zero(),
                _ if inward > 0.5 => -nrm,
                _ => nrm,
            };
            out.normals.push(facing);
            let along = if inside {
                2.0 * v[m - 1][k] - v[r][k] + thick
            } else {
                v[r][k] + past * thick
            };
            out.uvs.push(origin + dvec2(u, along));
        }
    }
    let quad = |out: &mut Surface, a: u32, b: u32, c: u32, d: u32| {
        out.triangles.extend([[a, b, c], [a, c, d]]);
    };
    for p in 0..profile.len() - 1 {
        for i in 0..columns - 1 {
            let a = (p * columns + i) as u32;
            let up = a + columns as u32;
            quad(&mut out, a, a + 1, up + 1, up);
        }
    }
    if !closed {
        // Close both ends with a fan between outer and inner face.
        let outer = |r: usize, i: usize| ((3 + r) * columns + i) as u32;
        let inner = |r: usize, i: usize| {
            let p = if r == 0 { 0 } else { 3 + m + 2 + (m - 1 - r) };
            (p * columns + i) as u32
        };
        for r in 0..m - 1 {
            let l = columns - 1;
            quad(
                &mut out,
                inner(r, 0),
                outer(r, 0),
                outer(r + 1, 0),
                inner(r + 1, 0),
            );
            quad(
                &mut out,
                outer(r, l),
                inner(r, l),
                inner(r + 1, l),
                outer(r + 1, l),
            );
        }
    }
    out.panel = vec![0; out.positions.len()];
    out.particle = vec![u32::MAX; out.positions.len()];
    out.seam = vec![0.0; out.positions.len()];
    out
}

/// Finds places on a finished surface by panel and flat coordinates.
pub struct Finder<'a> {
    surface: &'a Surface,
    lo: DVec2,
    n: [usize; 2],
    bins: Vec<Vec<u32>>,
}

const BIN: f64 = 2.0;

impl<'a> Finder<'a> {
    /// Looks among the triangles of `panel` alone.
    pub fn new(surface: &'a Surface, panel: usize) -> Self {
        let own: Vec<u32> = (0..surface.triangles.len() as u32)
            .filter(|&t| surface.panel[surface.triangles[t as usize][0] as usize] as usize == panel)
            .collect();
        let uv = |v: u32| surface.uvs[v as usize];
        let (mut lo, mut hi) = (DVec2::splat(1e9), DVec2::splat(-1e9));
        for &t in &own {
            for v in surface.triangles[t as usize] {
                lo = lo.min(uv(v));
                hi = hi.max(uv(v));
            }
        }
        let n = ((hi - lo) / BIN)
            .to_array()
            .map(|x| x.max(0.0) as usize + 1);
        let mut bins = vec![Vec::new(); n[0] * n[1]];
        for &t in &own {
            let c = surface.triangles[t as usize].map(uv);
            let (a, b) = (c[0].min(c[1]).min(c[2]), c[0].max(c[1]).max(c[2]));
            let [i0, j0] = ((a - lo) / BIN).to_array().map(|x| x as usize);
            let [i1, j1] = ((b - lo) / BIN).to_array().map(|x| x as usize);
            for j in j0..=j1.min(n[1] - 1) {
                for i in i0..=i1.min(n[0] - 1) {
                    bins[j * n[0] + i].push(t);
                }
            }
        }
        Self {
            surface,
            lo,
            n,
            bins,
        }
    }

    /// Place and normal of the cloth at `uv`; just outside the panel, the nearest edge's.
    pub fn at(&self, uv: DVec2) -> Option<(DVec3, DVec3)> {
        let q = ((uv - self.lo) / BIN).to_array();
        let clamp = |x: f64, n: usize| (x.max(0.0) as usize).min(n - 1);
        let (i, j) = (clamp(q[0], self.n[0]), clamp(q[1], self.n[1]));
        let mut best: Option<(f64, DVec3, DVec3)> = None;
        for dj in j.saturating_sub(1)..=(j + 1).min(self.n[1] - 1) {
            for di in i.saturating_sub(1)..=(i + 1).min(self.n[0] - 1) {
                for &t in &self.bins[dj * self.n[0] + di] {
                    let tri = self.surface.triangles[t as usize];
                    let [a, b, c] = tri.map(|v| self.surface.uvs[v as usize]);
                    let area = (b - a).perp_dot(c - a);
                    if area.abs() < 1e-9 {
                        continue;
                    }
                    let w = [
                        (b - uv).perp_dot(c - uv) / area,
                        (c - uv).perp_dot(a - uv) / area,
                        (a - uv).perp_dot(b - uv) / area,
                    ];
                    let out = w.iter().fold(0.0, |m: f64, x| m.max(-x));
                    if best.is_none_or(|b| out < b.0) {
                        // A little outside a triangle the plane is carried on.
                        let w = w.map(|x| x.clamp(-1.0, 2.0));
                        let mix = |of: &[DVec3]| {
                            (0..3).map(|k| of[tri[k] as usize] * w[k]).sum::<DVec3>()
                        };
                        best = Some((
                            out,
                            mix(&self.surface.positions),
                            mix(&self.surface.normals).normalize_or_zero(),
                        ));
                    }
                }
            }
        }
        best.filter(|b| b.0 < 2.0).map(|b| (b.1, b.2))
    }
}

/// How an overlay stands off the cloth below it.
#[derive(Debug, Clone, Copy)]
pub struct Lift {
    /// Height of its face over the cloth, in centimetres.
    pub cm: f64,
    /// Distance of the stitching from the edge; 0 for none.
    pub stitch_cm: f64,
    /// Which edges stand up: left, right, lower, upper. The others fade into the cloth.
    pub edges: [bool; 4],
}

/// A piece of cloth laid on the cloth: pocket, placket, fly, turn-up.
///
/// `place` maps centimetres across and up the piece to the panel's flat
/// coordinates, which become its UVs, so that stripes run through.
pub fn overlay(
    finder: &Finder,
    size: DVec2,
    lift: Lift,
    pitch: f64,
    place: &dyn Fn(DVec2) -> DVec2,
) -> Surface {
    let lines = |length: f64| -> Vec<f64> {
        let mut at = vec![0.0, 0.03, 0.09, 0.18];
        if lift.stitch_cm > 0.0 {
            at.extend([lift.stitch_cm - 0.1, lift.stitch_cm, lift.stitch_cm + 0.1]);
        }
        let mut all: Vec<f64> = at.iter().flat_map(|a| [*a, length - *a]).collect();
        let count = (length / pitch).ceil().max(1.0) as usize;
        all.extend((0..=count).map(|i| length * i as f64 / count as f64));
        all.retain(|a| (0.0..=length).contains(a));
        all.sort_by(f64::total_cmp);
        all.dedup_by(|a, b| (*a - *b).abs() < 0.025);
        all
    };
    let (xs, ys) = (lines(size.x), lines(size.y));
    let mut out = Surface::default();
    let mut known = Vec::new();
    for &y in &ys {
        for &x in &xs {
            let uv = place(dvec2(x, y));
            let from = [x, size.x - x, y, size.y - y];
            let fade = 1.2_f64.min(0.5 * size.min_element());
            let mut d = f64::INFINITY;
            let mut soft: f64 = 1.0;
            for (stands, from) in lift.edges.into_iter().zip(from) {
                if stands {
                    d = d.min(from);
                } else {
                    soft = soft.min(crate::figure::sdf::step(0.0, fade, from));
                }
            }
            let edge = (d / 0.12).clamp(0.0, 1.0);
            let round = (1.0 - (1.0 - edge).powi(2)).sqrt();
            let dent = if lift.stitch_cm > 0.0 {
                0.35 * lift.cm * (-((d - lift.stitch_cm) / 0.07).powi(2)).exp()
            } else {
                0.0
            };
            let h = ((lift.cm + 0.03) * round - dent) * soft - 0.03;
            let (p, n) = finder.at(uv).unwrap_or((DVec3::NAN, DVec3::Y));
            known.push(p.is_finite());
            out.positions.push(p + n * h);
            out.uvs.push(uv);
        }
    }
    let w = xs.len();
    let turn = {
        // Mirrored placing turns the triangles.
        let c = size * 0.5;
        let (a, b) = (
            place(c + dvec2(0.1, 0.0)) - place(c),
            place(c + dvec2(0.0, 0.1)) - place(c),
        );
        a.perp_dot(b) < 0.0
    };
    for j in 0..ys.len() - 1 {
        for i in 0..w - 1 {
            let q = [
                j * w + i,
                j * w + i + 1,
                (j + 1) * w + i + 1,
                (j + 1) * w + i,
            ];
            if q.iter().all(|&k| known[k]) {
                let [a, b, c, d] = q.map(|k| k as u32);
                if turn {
                    out.triangles.extend([[a, c, b], [a, d, c]]);
                } else {
                    out.triangles.extend([[a, b, c], [a, c, d]]);
                }
            }
        }
    }
    for (p, k) in out.positions.iter_mut().zip(&known) {
        if !k {
            *p = DVec3::ZERO;
        }
    }
    let count = out.positions.len();
    out.panel = vec![0; count];
    out.particle = (0..count as u32).collect();
    out.seam = vec![0.0; count];
    out.refresh();
    out
}

/// A button with four holes, as a part of its own.
pub fn buttons(places: &[(DVec3, DVec3, DVec3)], radius: f64, colour: [f32; 3]) -> Part {
    const RINGS: usize = 9;
    const TURNS: usize = 36;
    let mut part = Part {
        name: "buttons".into(),
        role: Role::Trim,
        positions_m: Vec::new(),
        normals: Vec::new(),
        uvs_cm: Vec::new(),
        triangles: Vec::new(),
        paint: Vec::new(),
    };
    // Radius share and height share of radius, from the middle out and over the rim.
    let profile = [
        (0.0, 0.20),
        (0.16, 0.20),
        (0.32, 0.20),
        (0.48, 0.20),
        (0.60, 0.21),
        (0.72, 0.30),
        (0.86, 0.33),
        (0.96, 0.26),
        (1.0, 0.12),
    ];
    for &(at, normal, up) in places {
        let base = part.positions_m.len() as u32;
        let x = up.cross(normal).normalize_or_zero();
        let y = normal.cross(x);
        for (share, height) in profile {
            for k in 0..TURNS {
                let a = std::f64::consts::TAU * k as f64 / TURNS as f64;
                let (c, s) = (a.cos() * share * radius, a.sin() * share * radius);
                // Four holes at a quarter of the radius, drawn dark and sunk.
                let hole =
                    (c.abs() - 0.22 * radius).hypot(s.abs() - 0.22 * radius) / (0.13 * radius);
                let sink = if hole < 1.0 { 0.12 * radius } else { 0.0 };
                let p = at + x * c + y * s + normal * (height * radius - sink);
                part.positions_m.push((p * 0.01).as_vec3());
                part.uvs_cm.push(Vec2::new(c as f32, s as f32));
                let dark = if hole < 1.0 { 0.15 } else { 1.0 };
                part.paint
                    .push([colour[0] * dark, colour[1] * dark, colour[2] * dark, 0.6]);
                let steep = if share > 0.9 {
                    (share - 0.9) * 9.0
                } else {
                    0.0
                };
                let n = normal + (x * a.cos() + y * a.sin()) * steep;
                part.normals.push(n.as_vec3().normalize_or(Vec3::Y));
            }
        }
        for r in 0..RINGS - 1 {
            for k in 0..TURNS {
                let (a, b) = ((r * TURNS + k) as u32, (r * TURNS + (k + 1) % TURNS) as u32);
                let t = TURNS as u32;
                part.triangles.extend([
                    [base + a, base + a + t, base + b + t],
                    [base + a, base + b + t, base + b],
                ]);
            }
        }
    }
    part
}

/// Puts `piece` onto the end of `part`; its UVs start at `shift`.
pub fn append(part: &mut Part, piece: &Surface, shift: DVec2) {
    let base = part.positions_m.len() as u32;
    part.positions_m
        .extend(piece.positions.iter().map(|p| (*p * 0.01).as_vec3()));
    part.normals.extend(
        piece
            .normals
            .iter()
            .map(|n| n.as_vec3().normalize_or(Vec3::Y)),
    );
    part.uvs_cm
        .extend(piece.uvs.iter().map(|uv| (*uv + shift).as_vec2()));
    part.triangles
        .extend(piece.triangles.iter().map(|t| t.map(|v| v + base)));
}
