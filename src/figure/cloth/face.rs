//! Cloth between its corners: a pointed elbow or knee comes through the middle of a triangle whose corners all lie outside.

use super::Solid;
use glam::DVec3;
use rayon::prelude::*;

/// The places of a triangle that are watched beside its corners, as shares of these: its middle and those of its edges.
const WATCHED: [[f64; 3]; 4] = [
    [1.0 / 3.0, 1.0 / 3.0, 1.0 / 3.0],
    [0.5, 0.5, 0.0],
    [0.0, 0.5, 0.5],
    [0.5, 0.0, 0.5],
];
/// They keep this share of the distance that corners keep.
const KEPT: f64 = 0.5;
/// Until it is looked again, a face comes no more than this nearer, in centimetres.
const NEARER_CM: f64 = 0.1;
/// What is deeper than this, in centimetres, lies across a limb: no way out is the right one.
const ACROSS_CM: f64 = 2.0;
/// A face moves by no more than this in a substep, in centimetres.
const MOST_CM: f64 = 0.8;

/// The triangles that the solid may come through before they are looked for again, each with the number of its solid.
#[derive(Debug, Clone, Default)]
pub(super) struct Faces {
    near: Vec<([u32; 3], u8)>,
}

fn place(t: &[u32; 3], share: &[f64; 3], x: &[DVec3]) -> DVec3 {
    (0..3).map(|k| x[t[k] as usize] * share[k]).sum()
}

impl Faces {
    /// Looks for the triangles that come near the solid between their corners, which keep `gap` centimetres from it.
    /// Where corners are in it themselves, in a crease too tight for the cloth, pushing more would only crumple it.
    /// Where they are kept out by several solids it is the last of them: the one for where limbs are sewn together.
    pub fn find(
        &mut self,
        triangles: &[[u32; 3]],
        x: &[DVec3],
        against: &[u8],
        solids: &[Solid],
        gap: f64,
    ) {
        let reach = KEPT * gap + NEARER_CM;
        self.near.clear();
        self.near.par_extend(triangles.par_iter().filter_map(|t| {
            let number = t.map(|v| against[v as usize]).into_iter().max()?;
            let solid = solids.get(usize::from(number))?;
            let near = |s: &[f64; 3]| solid.look(place(t, s, x)).0 < reach;
            let out = |v: &u32| solid.look(x[*v as usize]).0 > KEPT * gap;
            (WATCHED.iter().any(near) && t.iter().all(out)).then_some((*t, number))
        }));
    }

    /// Pushes those triangles out where the solid comes through. Corners move by their part in the place that is pushed
    /// and by their inverse mass `w` (Mueller et al. 2007, equation 9).
    pub fn keep_out(&self, x: &mut [DVec3], w: &[f64], solids: &[Solid], gap: f64) {
        for (t, number) in &self.near {
            let Some(solid) = solids.get(usize::from(*number)) else {
                continue;
            };
            for share in &WATCHED {
                let (d, gradient) = solid.look(place(t, share, x));
                let depth = KEPT * gap - d;
                if depth <= 0.0 || depth > ACROSS_CM {
                    continue;
                }
                let moved = |k: usize| share[k] * w[t[k] as usize];
                let weight: f64 = (0..3).map(|k| share[k] * moved(k)).sum();
                if weight <= 0.0 {
                    continue;
                }
                let out = gradient.normalize_or_zero() * (depth.min(MOST_CM) / weight);
                for k in 0..3 {
                    x[t[k] as usize] += out * moved(k);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ball of 1 cm under a triangle whose corners lie outside it, and whose middle is in it.
    fn ball_and_triangle() -> (Vec<Solid>, Vec<DVec3>) {
        let ball = Solid::sample_with(
            &|p: DVec3| p.length() - 1.0,
            DVec3::splat(-3.0),
            DVec3::splat(3.0),
            0.1,
        );
        let corner = |turn: f64| DVec3::new(1.2 * turn.cos(), 0.6, 1.2 * turn.sin());
        let third = std::f64::consts::TAU / 3.0;
        let x = (0..3).map(|k| corner(third * f64::from(k))).collect();
        (vec![ball], x)
    }

    #[test]
    fn a_ball_does_not_come_through_the_middle_of_a_triangle() {
        let (solids, mut x) = ball_and_triangle();
        assert!(x.iter().all(|p| p.length() > 1.3));
        let mut faces = Faces::default();
        faces.find(&[[0, 1, 2]], &x, &[0; 3], &solids, 0.2);
        // One over another until no place of it moves any more.
        for _ in 0..10 {
            faces.keep_out(&mut x, &[1.0; 3], &solids, 0.2);
        }
        for share in &WATCHED {
            let off = place(&[0, 1, 2], share, &x).length() - 1.0;
            assert!(off > 0.09, "{off}");
        }
        // It is lifted, not spread.
        assert!((x[0].x - 1.2).abs() < 0.15, "{:?}", x);
    }

    #[test]
    fn what_is_pinned_stays_and_what_is_far_is_not_watched() {
        let (solids, mut x) = ball_and_triangle();
        let before = x.clone();
        let mut faces = Faces::default();
        faces.find(&[[0, 1, 2]], &x, &[0; 3], &solids, 0.2);
        faces.keep_out(&mut x, &[0.0; 3], &solids, 0.2);
        assert_eq!(x, before);
        let high: Vec<DVec3> = x.iter().map(|p| *p + DVec3::Y).collect();
        faces.find(&[[0, 1, 2]], &high, &[0; 3], &solids, 0.2);
        assert!(faces.near.is_empty());
    }
}
