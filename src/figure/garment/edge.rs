//! The pressing of a draped garment: it lies on the shoulders and before the
//! arms as a finished one does, and its open edges run in smooth curves.

use super::panel::Sewn;
use crate::figure::body::Body;
use crate::figure::sdf::{Field, step};
use glam::DVec3;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Rounds in which cloth is eased off the arms and pressed onto the shoulders.
const ROUNDS: usize = 28;
/// Cloth that lies further inside an arm than the second of these, in
/// centimetres, is caught between arm and trunk and stays there.
const CAUGHT: [f64; 2] = [1.2, 2.2];
/// The solver keeps the fine drape off the whole shoulder, but off no arm below it.
const UPPER_BODY: f64 = 114.0;

/// Presses what is smaller than the mesh out of the drape, and lays the cloth of
/// the upper body `gap_cm` over `skin`, which has the arms and what is worn below.
pub fn pressed(sewn: &Sewn, body: &Body, skin: &dyn Field, gap_cm: f64) -> Sewn {
    let mut out = sewn.clone();
    let net = Net::new(sewn);
    let x = &mut out.mesh.positions;
    for _ in 0..6 {
        net.off_arms(x, body, gap_cm);
    }
    // How much a vertex is pressed onto the crest of the shoulder; none: left as it fell.
    let crest: Vec<Option<f64>> = x
        .iter()
        .map(|p| {
            let base = body.thorax_back(*p);
            let aside = step(8.0, 12.0, base.x.abs());
            (base.y > UPPER_BODY).then(|| step(129.0, 134.0, base.y) * aside)
        })
        .collect();
    for _ in 0..ROUNDS {
        net.lay(x, &crest, skin, gap_cm);
    }
    net.iron(x);
    // Ironing cuts corners: a last time off the skin, then along the edges alone.
    for _ in 0..4 {
        let off: Vec<DVec3> = (x.par_iter().zip(&crest))
            .map(|(p, c)| c.map_or(DVec3::ZERO, |_| pushed(skin, *p, gap_cm)))
            .collect();
        for (p, m) in x.iter_mut().zip(&off) {
            *p += *m;
        }
    }
    net.along_edges(x, 2);
    for _ in 0..8 {
        net.off_arms(x, body, gap_cm);
    }
    out
}

/// The step that brings a point out to `gap_cm` over the skin.
fn pushed(skin: &dyn Field, p: DVec3, gap_cm: f64) -> DVec3 {
    let d = skin.distance(p);
    if d >= gap_cm || d < -CAUGHT[1] {
        return DVec3::ZERO;
    }
    let free = 1.0 - step(CAUGHT[0], CAUGHT[1], -d);
    skin.gradient(p, 0.05).normalize_or_zero() * (0.7 * (gap_cm - d)).min(0.3) * free
}

/// Neighbours of each vertex: all, and those along an open edge.
struct Net {
    ring: Vec<Vec<u32>>,
    rim: Vec<Vec<u32>>,
}

impl Net {
    fn new(sewn: &Sewn) -> Self {
        let mesh = &sewn.mesh;
        let mut count: BTreeMap<(u32, u32), i32> = BTreeMap::new();
        for v in &mesh.triangles {
            for k in 0..3 {
                let (a, b) = (v[k], v[(k + 1) % 3]);
                *count.entry((a.min(b), a.max(b))).or_default() += 1;
            }
        }
        let mut rim: Vec<Vec<u32>> = vec![Vec::new(); mesh.positions.len()];
        let mut ring = rim.clone();
        for (&(a, b), &c) in &count {
            ring[a as usize].push(b);
            ring[b as usize].push(a);
            if c == 1 {
                rim[a as usize].push(b);
                rim[b as usize].push(a);
            }
        }
        Self { ring, rim }
    }

    /// Cloth that came to lie in an arm or a hand goes back to the trunk's side of it; what lies on the shoulder stays.
    fn off_arms(&self, x: &mut [DVec3], body: &Body, gap_cm: f64) {
        let wanted: Vec<DVec3> = (x.par_iter())
            .map(|&p| {
                let low = 1.0 - step(130.0, 136.0, body.thorax_back(p).y);
                let arm = |p: DVec3| body.arm(0, p).min(body.arm(1, p));
                let inside = gap_cm - arm(p);
                if low <= 0.0 || inside <= 0.0 {
                    return DVec3::ZERO;
                }
                // Out of the arm, but no further than halfway where the trunk is near.
                let past = |p: DVec3| (arm(p) - gap_cm).min(arm(p) - body.trunk_and_legs(p));
                let h = 0.05;
                let slope = |a: DVec3| (past(p + a * h) - past(p - a * h)) / (2.0 * h);
                let g = DVec3::new(slope(DVec3::X), slope(DVec3::Y), slope(DVec3::Z));
                let off = (-past(p)).max(0.0) * low;
                g.normalize_or_zero() * (off / g.length().max(0.6)).min(1.0)
            })
            .collect();
        for (v, p) in x.iter_mut().enumerate() {
            *p += 0.5 * (wanted[v] + self.mean(&wanted, v));
        }
    }

    /// Neighbours that a vertex is smoothed by: an open edge only along itself.
    fn near(&self, v: usize) -> &[u32] {
        if self.rim[v].is_empty() {
            &self.ring[v]
        } else {
            &self.rim[v]
        }
    }

    fn mean(&self, x: &[DVec3], v: usize) -> DVec3 {
        let near = self.near(v);
        near.iter().map(|&w| x[w as usize]).sum::<DVec3>() / near.len().max(1) as f64
    }

    /// One round: out of the skin, down onto the crest of the shoulder, dents out.
    fn lay(&self, x: &mut [DVec3], crest: &[Option<f64>], skin: &dyn Field, gap_cm: f64) {
        let wanted: Vec<DVec3> = (0..x.len())
            .into_par_iter()
            .map(|v| {
                let Some(crest) = crest[v] else {
                    return DVec3::ZERO;
                };
                let mut step = pushed(skin, x[v], gap_cm);
                if crest > 0.0 {
                    let d = skin.distance(x[v]);
                    if d > gap_cm {
                        let down = skin.gradient(x[v], 0.05).normalize_or_zero();
                        step -= down * (0.35 * crest * (d - gap_cm)).min(0.3);
                    }
                    // Dents and folds smaller than the seam itself.
                    let firm = if self.rim[v].is_empty() { 0.2 } else { 0.4 };
                    step += (self.mean(x, v) - x[v]) * (firm * crest);
                }
                step
            })
            .collect();
        for (v, p) in x.iter_mut().enumerate() {
            if crest[v].is_some() {
                *p += 0.5 * (wanted[v] + self.mean(&wanted, v));
            }
        }
    }

    /// Edges along themselves, then the whole by a low-pass that does not shrink
    /// (Taubin 1995).
    fn iron(&self, x: &mut [DVec3]) {
        self.along_edges(x, 7);
        for factor in [0.45, -0.48] {
            let before = x.to_vec();
            for (v, p) in x.iter_mut().enumerate() {
                if self.near(v).len() >= 2 {
                    *p += (self.mean(&before, v) - before[v]) * factor;
                }
            }
        }
    }

    fn along_edges(&self, x: &mut [DVec3], passes: usize) {
        for _ in 0..passes {
            let before = x.to_vec();
            for (v, p) in x.iter_mut().enumerate() {
                if self.rim[v].len() >= 2 {
                    *p += (self.mean(&before, v) - before[v]) * 0.5;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::cloth::ClothMesh;
    use crate::figure::{Build, Pose, StandIn};
    use glam::dvec3;

    /// A sheet over the left shoulder and upper arm with a round hole for the arm,
    /// crumpled by up to 3 mm, as rings from the hole outward.
    fn crumpled(body: &Body) -> Sewn {
        const AROUND: u32 = 44;
        const RINGS: u32 = 6;
        let shoulder = body.thorax_back(body.joints().shoulder[0]);
        let mut mesh = ClothMesh::default();
        for ring in 0..RINGS {
            for i in 0..AROUND {
                let turn = std::f64::consts::TAU * f64::from(i) / f64::from(AROUND);
                let out = 6.5 + 0.9 * f64::from(ring);
                let noise = |k: u32| {
                    let h = (i * 7919 + ring * 104_729 + k * 1_299_709).wrapping_mul(2_654_435_761);
                    0.6 * (f64::from(h >> 8) / f64::from(1_u32 << 24) - 0.5)
                };
                let base = shoulder
                    + dvec3(
                        -3.0 - 0.5 * f64::from(ring),
                        out * turn.cos() - 1.5,
                        out * turn.sin(),
                    );
                let p = body.on_thorax(base) + dvec3(noise(0), noise(1), noise(2));
                mesh.positions.push(p);
                mesh.pinned.push(false);
            }
        }
        for ring in 0..RINGS - 1 {
            for i in 0..AROUND {
                let (a, b) = (ring * AROUND + i, ring * AROUND + (i + 1) % AROUND);
                mesh.triangles.push([a, b, b + AROUND]);
                mesh.triangles.push([a, b + AROUND, a + AROUND]);
            }
        }
        Sewn {
            mesh,
            ..Sewn::default()
        }
    }

    /// The sharpest turn between successive edges of the hole, in degrees.
    fn sharpest(x: &[DVec3]) -> f64 {
        let at = |i: usize| x[i % 44];
        (0..44)
            .map(|i| {
                let (a, b) = (at(i + 1) - at(i), at(i + 2) - at(i + 1));
                a.angle_between(b).to_degrees()
            })
            .fold(0.0, f64::max)
    }

    #[test]
    fn an_armhole_runs_in_a_smooth_curve_outside_the_skin() {
        let who = StandIn::new("x", Build::Woman);
        let body = Body::new(&who.person, &Pose::upright());
        let crumpled = crumpled(&body);
        let smooth = pressed(&crumpled, &body, &body, 0.25);
        let (before, after) = (&crumpled.mesh.positions, &smooth.mesh.positions);
        assert!(sharpest(before) > 45.0, "{}", sharpest(before));
        assert!(sharpest(after) < 35.0, "{}", sharpest(after));
        // Above the armpit it is eased out of the skin to within a millimetre.
        let over = |p: &DVec3| body.distance(*p);
        let lowest = |x: &[DVec3]| {
            (0..x.len())
                .filter(|&i| before[i].y > body.joints().shoulder[0].y && over(&before[i]) > -1.0)
                .map(|i| over(&x[i]))
                .fold(f64::INFINITY, f64::min)
        };
        assert!(lowest(before) < -0.5, "{} cm", lowest(before));
        assert!(lowest(after) > -0.1, "{} cm", lowest(after));
    }
}
