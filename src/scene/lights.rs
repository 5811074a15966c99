//! Lights in the scene: their faces, and the bodies that block light and are dark behind.

use super::builder::{Mesh, SceneBuilder};
use super::materials::Surface;
use super::shapes;
use super::tables::Tables;
use crate::optics::drum::Drum;
use crate::optics::prescription::Facing;
use crate::setup::{
    Bowl, Cover, CoverSide, Curve, Cylinder, Frame, Light, Lining, Modifier, ModifierKind, Softbox,
};
use glam::DVec3;
use std::f64::consts::TAU;

/// How far a light's body stands behind its face, so that the face is seen and not the body.
const BODY_GAP_M: f64 = 0.001;
/// The inside of a canopy lies this far behind its cloth, whose curve its flat facets only follow.
const CANOPY_GAP_M: f64 = 0.004;
/// A cover hangs this far before the face.
const COVER_GAP_M: f64 = 0.003;
/// The outside of heads, boxes and bowls, skirts and covers.
const OUTSIDE: Surface = Surface::Diffuse([0.04; 3]);
/// Thinnest body, metres.
const LEAST_DEPTH_M: f64 = 0.004;
/// Rings in which a curved shell is built.
const RINGS: u32 = 24;
/// Sides of what is round.
const ROUND: u32 = 96;

/// Adds a light's faces and body; returns what leaves it of its output.
pub fn add_light(b: &mut SceneBuilder, light: &Light, tables: &Tables) -> f64 {
    let layer = b.layer(&light.name);
    let modifier = &light.modifier;
    let spread = light.spread.unwrap_or_default();
    let shine = tables.shine(modifier, spread);
    for placed in &shine.placed {
        let axes = match placed.facing {
            Facing::Front => light.frame,
            Facing::Back => turned_round(&light.frame),
        };
        let axes = shifted(&axes, light.frame.z * placed.offset_z_m);
        if is_bare(&modifier.kind) {
            b.emitter(&placed.emission, axes, layer);
        } else {
            b.bodied_emitter(&placed.emission, axes, layer);
        }
    }
    let outside = b.surface(OUTSIDE);
    for mesh in body(modifier, shine.head, &light.frame) {
        b.mesh(&mesh, outside);
    }
    shine.efficiency()
}

/// Kinds without a body that would hide all that their faces hide.
fn is_bare(kind: &ModifierKind) -> bool {
    matches!(
        kind,
        ModifierKind::Globe { .. } | ModifierKind::Tube { .. } | ModifierKind::BareLamp(_)
    )
}

fn shifted(frame: &Frame, by: DVec3) -> Frame {
    Frame {
        origin_m: frame.origin_m + by,
        ..*frame
    }
}

fn turned_round(frame: &Frame) -> Frame {
    Frame {
        x: -frame.x,
        z: -frame.z,
        ..*frame
    }
}

/// What stands around, behind and (`ahead`) before a modifier's faces.
fn body(modifier: &Modifier, ahead: Option<Drum>, frame: &Frame) -> Vec<Mesh> {
    let depth_m = modifier.body_depth_m.max(LEAST_DEPTH_M);
    let drum = |diameter_m: f64| shapes::drum(frame, 0.5 * diameter_m, -BODY_GAP_M, depth_m);
    let mut parts = match modifier.kind {
        ModifierKind::Panel { w_m, h_m } | ModifierKind::Strip { w_m, h_m } => {
            let (front, rest) = shapes::slab(frame, [w_m, h_m], -BODY_GAP_M, depth_m);
            vec![front, rest]
        }
        ModifierKind::Measured {
            w_m,
            h_m,
            is_round: false,
        } => {
            let (front, rest) = shapes::slab(frame, [w_m, h_m], -BODY_GAP_M, depth_m);
            vec![front, rest]
        }
        ModifierKind::Measured { w_m, .. } => vec![drum(w_m)],
        ModifierKind::Disk { diameter_m } | ModifierKind::Spot { diameter_m, .. } => {
            vec![drum(diameter_m)]
        }
        ModifierKind::LensSpot(lens) => vec![drum(lens.diameter_m)],
        ModifierKind::Fresnel(fresnel) => vec![drum(fresnel.diameter_m)],
        ModifierKind::Globe { .. } | ModifierKind::Tube { .. } => Vec::new(),
        ModifierKind::BareLamp(lamp) => vec![head(frame, -lamp.neck_m(), lamp.housing)],
        ModifierKind::Softbox(softbox) => vec![tray(frame, &softbox)],
        ModifierKind::Paraboloid(bowl)
        | ModifierKind::Umbrella(bowl)
        | ModifierKind::Octabox { bowl, .. }
        | ModifierKind::Dish { bowl, .. }
        | ModifierKind::Bowl(bowl) => vec![shell(frame, &bowl)],
        ModifierKind::ShootThrough(canopy) => {
            // The cloth is lit on both sides; this inside lies just behind it, so that nothing
            // shines through from elsewhere. Its light is that of the circle of equal area.
            let cap = Bowl {
                diameter_m: canopy.diameter_m * canopy.sides.map_or(1.0, even_radius),
                depth_m: canopy.depth_m,
                curve: Curve::Sphere,
                sides: None,
                lining: Lining::Matt { reflectance: 0.0 },
                lamp: canopy.lamp,
            };
            vec![shell(
                &shifted(&turned_round(frame), -frame.z * CANOPY_GAP_M),
                &cap,
            )]
        }
    };
    if let Some(head) = ahead {
        // Off the face where it begins there.
        let [from_m, to_m] = match head.from_z_m < 0.0 {
            true => [head.from_z_m, head.to_z_m.min(-BODY_GAP_M)],
            false => [head.from_z_m.max(COVER_GAP_M), head.to_z_m],
        };
        if from_m < to_m {
            parts.push(shapes::drum(frame, head.radius_m, to_m, to_m - from_m));
        }
    }
    if let Some(skirt_m) = modifier.skirt_m {
        let ring = |z_m: f64| (z_m, outline(&modifier.kind));
        parts.push(shapes::loft(frame, &[ring(0.0), ring(skirt_m)]));
    }
    if let Some(cover) = modifier.cover {
        parts.push(covering(frame, modifier.kind.face_m(), cover));
    }
    parts
}

/// Radius of the circle of equal area over that of a polygon's corners.
fn even_radius(sides: u32) -> f64 {
    let n = f64::from(sides);
    (n * (TAU / n).sin() / TAU).sqrt()
}

/// A head: a drum whose front is at z = `front_m`.
fn head(frame: &Frame, front_m: f64, housing: Cylinder) -> Mesh {
    shapes::drum(
        frame,
        0.5 * housing.diameter_m,
        front_m,
        housing.length_m.max(LEAST_DEPTH_M),
    )
}

/// The rim of a face, as corners in its plane.
fn outline(kind: &ModifierKind) -> Vec<[f64; 2]> {
    let [w_m, h_m] = kind.face_m();
    match kind {
        ModifierKind::Panel { .. }
        | ModifierKind::Strip { .. }
        | ModifierKind::Softbox(_)
        | ModifierKind::Measured {
            is_round: false, ..
        } => shapes::rectangle_corners([w_m, h_m]),
        ModifierKind::Paraboloid(bowl)
        | ModifierKind::Umbrella(bowl)
        | ModifierKind::Octabox { bowl, .. }
        | ModifierKind::Dish { bowl, .. }
        | ModifierKind::Bowl(bowl) => {
            shapes::polygon_corners(0.5 * w_m, bowl.sides.unwrap_or(ROUND))
        }
        _ => shapes::polygon_corners(0.5 * w_m, ROUND),
    }
}

/// A bowl's outside, from just behind its rim to its closed bottom.
fn shell(frame: &Frame, bowl: &Bowl) -> Mesh {
    let sides = bowl.sides.unwrap_or(ROUND);
    let rings: Vec<_> = (0..=RINGS)
        .map(|i| {
            // Even in the square of the radius near the bottom, where the curve is.
            let part = 1.0 - (f64::from(i) / f64::from(RINGS)).powi(2);
            let from_bottom_m = bowl.depth_m * (1.0 - part);
            (
                from_bottom_m - bowl.depth_m - BODY_GAP_M,
                shapes::polygon_corners(bowl.radius_at_m(from_bottom_m), sides),
            )
        })
        .collect();
    shapes::loft(frame, &rings)
}

fn tray(frame: &Frame, softbox: &Softbox) -> Mesh {
    shapes::loft(
        frame,
        &[
            (
                -softbox.depth_m - BODY_GAP_M,
                shapes::rectangle_corners([0.0; 2]),
            ),
            (
                -softbox.depth_m - BODY_GAP_M,
                shapes::rectangle_corners(softbox.back_m),
            ),
            (-BODY_GAP_M, shapes::rectangle_corners(softbox.size_m)),
        ],
    )
}

/// A black cloth over part of the front.
fn covering(frame: &Frame, face_m: [f64; 2], cover: Cover) -> Mesh {
    let [w_m, h_m] = face_m;
    let (size_m, middle_m) = match cover.side {
        CoverSide::Left | CoverSide::Right => {
            let sign = if cover.side == CoverSide::Right {
                1.0
            } else {
                -1.0
            };
            let wide_m = w_m * cover.share;
            ([wide_m, h_m], [sign * 0.5 * (w_m - wide_m), 0.0])
        }
        CoverSide::Top | CoverSide::Bottom => {
            let sign = if cover.side == CoverSide::Top {
                1.0
            } else {
                -1.0
            };
            let high_m = h_m * cover.share;
            ([w_m, high_m], [0.0, sign * 0.5 * (h_m - high_m)])
        }
    };
    let at = frame.x * middle_m[0] + frame.y * middle_m[1] + frame.z * COVER_GAP_M;
    shapes::rectangle(&shifted(frame, at), size_m)
}
