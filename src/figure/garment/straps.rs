//! Straps under tension: a taut ribbon from the front edge over the shoulder to the back.

use super::panel::Sewn;
use crate::figure::sdf::Field;
use glam::DVec3;

/// Points along a strap.
const STEPS: usize = 48;
/// Distance of the ribbon's middle from the skin, in centimetres.
const OVER: f64 = 0.12;

/// Lays each strap (pieces from `first` on, `length_cm` along y of their flat) as a taut ribbon between its
/// two ends, where the dress holds them, over `skin`.
pub fn taut(sewn: &mut Sewn, first: u32, length_cm: f64, skin: &dyn Field) {
    let last = sewn.mesh.group.iter().copied().max().unwrap_or(0);
    for piece in first..=last {
        lay(sewn, piece, length_cm, skin);
    }
}

fn lay(sewn: &mut Sewn, piece: u32, length_cm: f64, skin: &dyn Field) {
    let mesh = &mut sewn.mesh;
    // Each vertex of the strap with its flat place.
    let mut own: Vec<(u32, glam::DVec2)> = Vec::new();
    for (t, v) in mesh.triangles.iter().enumerate() {
        if mesh.group[t] == piece {
            own.extend(v.iter().copied().zip(mesh.flat[t]));
        }
    }
    own.sort_by_key(|o| o.0);
    own.dedup_by_key(|o| o.0);
    let wide = own.iter().map(|o| o.1.x).fold(0.0, f64::max);
    // Its middle line as it fell.
    let middle = |share: f64| {
        let (mut sum, mut weight) = (DVec3::ZERO, 1e-12);
        for &(v, q) in &own {
            let off = (q.y / length_cm - share) * length_cm;
            let w = (-0.5 * (off / 0.6_f64).powi(2)).exp();
            sum += mesh.positions[v as usize] * w;
            weight += w;
        }
        sum / weight
    };
    let mut line: Vec<DVec3> = (0..=STEPS)
        .map(|k| middle(k as f64 / STEPS as f64))
        .collect();
    for (k, share) in [(0, 0.0), (STEPS, 1.0)] {
        let end: Vec<DVec3> = (own.iter())
            .filter(|o| (o.1.y - share * length_cm).abs() < 1e-3)
            .map(|o| mesh.positions[o.0 as usize])
            .collect();
        line[k] = end.iter().sum::<DVec3>() / end.len().max(1) as f64;
    }
    // Tension draws it straight, the skin holds it off; its crest rubs and does not slip aside.
    let crest = line[STEPS / 2].x;
    for _ in 0..600 {
        for k in 1..STEPS {
            let mut p = 0.5 * (line[k - 1] + line[k + 1]);
            if k == STEPS / 2 {
                p.x = crest;
            }
            let d = skin.distance(p);
            if d < OVER {
                p += skin.gradient(p, 0.05).normalize_or_zero() * (OVER - d);
            }
            line[k] = p;
        }
    }
    for (v, q) in own {
        let f = (q.y / length_cm).clamp(0.0, 1.0) * STEPS as f64;
        if f <= 0.0 || f >= STEPS as f64 {
            continue;
        }
        let i = (f as usize).min(STEPS - 1);
        let at = line[i].lerp(line[i + 1], f - i as f64);
        let along = line[(i + 2).min(STEPS)] - line[i.saturating_sub(1)];
        let out = skin.gradient(at, 0.3);
        // Seen from outside with its front end below, x runs to the right.
        let across = along.cross(out).normalize_or_zero();
        let mut p = at + across * (q.x - 0.5 * wide);
        for _ in 0..3 {
            let d = skin.distance(p);
            if d < 0.6 * OVER {
                p += skin.gradient(p, 0.05).normalize_or_zero() * (0.6 * OVER - d);
            }
        }
        mesh.positions[v as usize] = p;
    }
}
