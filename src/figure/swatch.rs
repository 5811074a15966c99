//! The swatch: a patch of the setup's cloth, flat, draped or folded.

use super::{BodyPoints, Model, Part, Role};
use crate::setup::Lay;
use glam::{Vec2, Vec3};

/// A patch `width_m` by `height_m` about the xy plane, centred on the origin,
/// facing +z. Its UVs are centimetres from its lower left corner, grain upward.
/// The one sheet is meant to be seen from both sides. Flat it is divided into cells
/// of about 2 cm, else as finely as its folds need; sizes that are no size (zero,
/// negative, not finite) are taken as one millimetre.
pub fn patch(width_m: f32, height_m: f32, lay: Lay) -> Model {
    let sane = |v: f32| {
        if v.is_finite() {
            v.clamp(0.001, 100.0)
        } else {
            0.001
        }
    };
    let (w, h) = (sane(width_m), sane(height_m));
    let (fine, most) = match lay {
        Lay::Flat => (0.02, 64.0),
        Lay::Draped => (0.002, 512.0),
        Lay::Folded => (0.0004, 2048.0),
    };
    let cells = |v: f32, fine: f32| ((v / fine).ceil().clamp(1.0, most)) as u32;
    let along = if lay == Lay::Draped { fine } else { 0.02 };
    let (nx, ny) = (cells(w, fine), cells(h, along));
    let mut part = Part {
        name: "swatch".into(),
        role: Role::Cloth,
        positions_m: Vec::new(),
        normals: Vec::new(),
        uvs_cm: Vec::new(),
        triangles: Vec::new(),
        paint: Vec::new(),
    };
    let whole = Vec2::new(w, h);
    let at = |uv: Vec2| match lay {
        Lay::Flat => (uv - 0.5 * whole).extend(0.0),
        Lay::Draped => (uv - 0.5 * whole).extend(drape_m(uv - 0.5 * whole)),
        Lay::Folded => {
            let p = pleat_m(uv.x - 0.5 * w, 0.5 * w);
            Vec3::new(p.x, uv.y - 0.5 * h, p.y)
        }
    };
    const STEP_M: f32 = 2e-5;
    for j in 0..=ny {
        for i in 0..=nx {
            let uv = Vec2::new(i as f32 / nx as f32 * w, j as f32 / ny as f32 * h);
            part.positions_m.push(at(uv));
            let x = at(uv + Vec2::X * STEP_M) - at(uv - Vec2::X * STEP_M);
            let y = at(uv + Vec2::Y * STEP_M) - at(uv - Vec2::Y * STEP_M);
            part.normals.push(x.cross(y).normalize_or(Vec3::Z));
            part.uvs_cm.push(uv * 100.0);
        }
    }
    for j in 0..ny {
        for i in 0..nx {
            let a = j * (nx + 1) + i;
            let (b, c, d) = (a + 1, a + nx + 2, a + nx + 1);
            part.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    let centre = std::iter::once(("swatch".to_owned(), Vec3::ZERO)).collect::<BodyPoints>();
    Model {
        title: "Swatch".into(),
        parts: vec![part],
        points: centre,
        blocking: Vec::new(),
    }
}

/// Height of long soft folds, some 36 mm apart and 24 degrees off the warp, about 12 degrees steep. The
/// lengths along the cloth are those of the flat one (2 % short).
fn drape_m(at_m: Vec2) -> f32 {
    let (s, c) = 0.42_f32.sin_cos();
    let (u, v) = (at_m.x * c + at_m.y * s, at_m.y * c - at_m.x * s);
    let k = std::f32::consts::TAU / 0.036;
    let p =
        k * u + 0.75 * (0.31 * k * v + 2.3).sin() + 0.5 * (0.47 * k * u + 0.23 * k * v + 2.1).sin();
    let h = p.sin() + 0.28 * (2.0 * p + 0.8).sin() + 0.55 * (0.53 * p + 0.4 * k * v + 1.0).sin();
    0.0011 * h
}

/// Where the cloth is after `s` metres across a knife pleat: flat, over itself by
/// 12 mm, flat again. Its own length is kept: the pleat takes 24 mm and its turns.
fn pleat_m(s: f32, half_m: f32) -> Vec2 {
    use std::f32::consts::PI;
    const RADIUS_M: f32 = 0.0012;
    let over = (0.4 * half_m).min(0.012);
    let turn = PI * RADIUS_M;
    // What the pleat takes up, shared by both sides.
    let start = -0.5 * (2.0 * turn + over);
    let x_of = |s: f32| s - start;
    let edge = 0.5 * over;
    let t = x_of(s);
    if t < 0.0 {
        // Below, up to the inner fold.
        Vec2::new(edge + t, -2.0 * RADIUS_M)
    } else if t < turn {
        let a = t / RADIUS_M;
        Vec2::new(edge + RADIUS_M * a.sin(), -RADIUS_M - RADIUS_M * a.cos())
    } else if t < turn + over {
        Vec2::new(edge - (t - turn), 0.0)
    } else if t < 2.0 * turn + over {
        let a = (t - turn - over) / RADIUS_M;
        Vec2::new(
            edge - over - RADIUS_M * a.sin(),
            RADIUS_M - RADIUS_M * a.cos(),
        )
    } else {
        Vec2::new(edge - over + (t - 2.0 * turn - over), 2.0 * RADIUS_M)
    }
}
