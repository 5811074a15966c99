//! The swatch: a flat patch of the setup's cloth.

use super::{BodyPoints, Model, Part, Role};
use glam::{Vec2, Vec3};

/// A flat patch `width_m` by `height_m` in the xy plane, centred on the origin,
/// facing +z. Its UVs are centimetres from its lower left corner, grain upward.
/// The one sheet is meant to be seen from both sides. It is divided into cells
/// of about 2 cm so that it can be bent over a board's edge or displaced; sizes
/// that are no size (zero, negative, not finite) are taken as one millimetre.
pub fn patch(width_m: f32, height_m: f32) -> Model {
    let sane = |v: f32| {
        if v.is_finite() {
            v.clamp(0.001, 100.0)
        } else {
            0.001
        }
    };
    let (w, h) = (sane(width_m), sane(height_m));
    let cells = |v: f32| ((v / 0.02).ceil() as u32).clamp(1, 64);
    let (nx, ny) = (cells(w), cells(h));
    let mut part = Part {
        name: "swatch".into(),
        role: Role::Cloth,
        positions_m: Vec::new(),
        normals: Vec::new(),
        uvs_cm: Vec::new(),
        triangles: Vec::new(),
    };
    for j in 0..=ny {
        for i in 0..=nx {
            let at = Vec2::new(i as f32 / nx as f32 * w, j as f32 / ny as f32 * h);
            part.positions_m
                .push(Vec3::new(at.x - 0.5 * w, at.y - 0.5 * h, 0.0));
            part.normals.push(Vec3::Z);
            part.uvs_cm.push(at * 100.0);
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
