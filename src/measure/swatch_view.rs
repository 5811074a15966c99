//! The swatch by itself under a named light: a piece of cloth, its threads at true scale, as a
//! picture of linear light. The same two lights for every cloth, so that cloths and settings compare.
//!
//! - **raking**: a disk of 5 cm at 2.5 m, 75 degrees off the cloth's normal, from the left and a little
//!   from above: hard light along the cloth.
//! - **soft**: a square of 1.25 m at 1.3 m, its middle 22 degrees off the line of sight, above the lens.
//!
//! Around, an even surround adds 3.5 % of what falls on the cloth, as a dark studio gives back. What is
//! told is π L / E, with L what the camera sees and E what falls on the flat cloth: a card of 18 % gives 0.18
//! under either, with nothing else in between.

use crate::fabric::{Fabric, FabricError, Structure};
use crate::figure::swatch;
use crate::optics::table::{Emission, Face};
use crate::render::driver::{Goal, Progress, render};
use crate::render::executor::{Executor, ExecutorError};
use crate::render::film::Film;
use crate::render::steady::fill_empty_rows;
use crate::scene::Scene;
use crate::scene::builder::{Axes, Mesh, SceneBuilder};
use crate::scene::cloth::{Dye, Shelf};
use crate::scene::materials::Surface;
use crate::scene::patch::lens_before;
use crate::scene::shapes;
use crate::setup::Lay;
use glam::{DVec3, Vec2};
use std::f64::consts::PI;
use std::sync::atomic::AtomicBool;

/// A light that all cloths are shown under.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reference {
    /// Hard, along the cloth.
    Raking,
    /// Broad, around the lens.
    Soft,
}

impl Reference {
    /// Each with its word.
    pub const NAMED: [(&'static str, Self); 2] = [("raking", Self::Raking), ("soft", Self::Soft)];

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Raking => "raking",
            Self::Soft => "soft",
        }
    }

    /// Its face, where it stands (metres from the middle of the cloth, x along the weft, y along the
    /// warp, z out of the face), and the face's frame.
    fn face(self) -> (Face, Axes) {
        let (off, around, distance_m, face) = match self {
            Self::Raking => (75.0_f64, 160.0_f64, 2.5, Face::Disk { radius_m: 0.025 }),
            Self::Soft => (
                22.0,
                100.0,
                1.3,
                Face::Rect {
                    half_x_m: 0.625,
                    half_y_m: 0.625,
                },
            ),
        };
        let (s, c) = off.to_radians().sin_cos();
        let (sa, ca) = around.to_radians().sin_cos();
        let toward = DVec3::new(s * ca, s * sa, c);
        (face, Axes::facing(toward * distance_m, -toward, 0.0))
    }
}

/// What to show of a cloth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SwatchView {
    /// Width of cloth that the picture shows.
    pub width_m: f64,
    /// Width and height of the picture.
    pub pixels: [u32; 2],
    /// How the cloth lies.
    pub lay: Lay,
    /// Under which light.
    pub light: Reference,
    /// In its own colours, or all in one.
    pub dye: Dye,
    /// When it is done.
    pub goal: Goal,
}

/// The picture.
#[derive(Debug, Clone, PartialEq)]
pub struct SwatchShot {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Side of a pixel on the flat cloth.
    pub mm_per_px: f64,
    /// π L / E, linear sRGB, row by row from the top.
    pub rgb: Vec<[f32; 3]>,
    /// Its luminance.
    pub luminance: Vec<f32>,
    /// Standard error of the luminance.
    pub errors: Vec<f32>,
    /// Samples of each pixel.
    pub samples: u32,
}

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum SwatchError {
    /// The cloth cannot be made.
    #[error(transparent)]
    Fabric(#[from] FabricError),
    /// Tracing failed.
    #[error(transparent)]
    Executor(#[from] ExecutorError),
}

/// From the cloth to the lens.
const LENS_M: f64 = 0.9;
/// Cloth beyond the picture's edge, so that what stands outside still shades what is seen.
const MARGIN_M: f64 = 0.02;
/// What the surround adds to what falls on the cloth.
const SURROUND: f64 = 0.035;
/// Behind a sheer: a card, half dark, half light.
const CARDS: [f32; 2] = [0.03, 0.55];
const CARD_BEHIND_M: f64 = 0.0012;

/// Makes the picture, its cloth known from a shelf or worked out, telling `progress` after each pass.
///
/// # Errors
/// [`SwatchError`] says what stands in the way.
pub fn shoot(
    fabric: &Fabric,
    shelf: &Shelf,
    view: &SwatchView,
    executor: &mut dyn Executor,
    stop: &AtomicBool,
    progress: impl FnMut(&Progress),
) -> Result<SwatchShot, SwatchError> {
    shoot_from(LENS_M, fabric, shelf, view, executor, stop, progress)
}

/// As [`shoot`], from another distance to the lens.
///
/// # Errors
/// As [`shoot`].
pub fn shoot_from(
    lens_m: f64,
    fabric: &Fabric,
    shelf: &Shelf,
    view: &SwatchView,
    executor: &mut dyn Executor,
    stop: &AtomicBool,
    progress: impl FnMut(&Progress),
) -> Result<SwatchShot, SwatchError> {
    let (scene, flat_lx) = scene(fabric, shelf, view, lens_m)?;
    let scale = [PI / flat_lx; 3];
    Ok(shoot_scene(
        &scene,
        &[scale],
        1e3 * view.width_m / f64::from(view.pixels[0].max(1)),
        view.goal,
        executor,
        stop,
        progress,
    )?)
}

/// Makes the picture that a scene's lens sees of a swatch, each layer by its weight.
///
/// # Errors
/// The executor's.
pub fn shoot_scene(
    scene: &Scene,
    weights: &[[f64; 3]],
    mm_per_px: f64,
    goal: Goal,
    executor: &mut dyn Executor,
    stop: &AtomicBool,
    progress: impl FnMut(&Progress),
) -> Result<SwatchShot, ExecutorError> {
    let (width, height) = (scene.params.width, scene.params.height);
    let mut film = Film::new(width, 0, height, scene.layers.len() as u32);
    render(executor, scene, &mut film, goal, stop, progress)?;
    if film.samples() == 0 {
        fill_empty_rows(executor, scene, &mut film)?;
    }
    Ok(shot(&film, scene, weights, mm_per_px))
}

/// A film mixed by weights.
fn shot(film: &Film, scene: &Scene, weights: &[[f64; 3]], mm_per_px: f64) -> SwatchShot {
    let (width, height) = (film.width as usize, film.rows as usize);
    let mut made = SwatchShot {
        width,
        height,
        mm_per_px,
        rgb: Vec::with_capacity(width * height),
        luminance: Vec::with_capacity(width * height),
        errors: Vec::with_capacity(width * height),
        samples: film.samples(),
    };
    for row in 0..film.rows {
        for x in 0..film.width {
            let (mut rgb, mut steered) = ([0.0_f64; 3], 0.0_f64);
            for (layer, weight) in weights.iter().enumerate() {
                let light = film.mean(x, row, layer as u32).map(f64::from);
                for c in 0..3 {
                    rgb[c] += light[c] * weight[c];
                    steered += light[c] * f64::from(scene.mix[layer][c]);
                }
            }
            let rgb = rgb.map(|c| c as f32);
            made.rgb.push(rgb);
            let luminance = 0.212_639 * rgb[0] + 0.715_169 * rgb[1] + 0.072_192 * rgb[2];
            made.luminance.push(luminance);
            // The film knows the error of the mix that steers it; these weights scale both alike.
            let scale = if steered > 0.0 {
                f64::from(luminance) / steered
            } else {
                0.0
            };
            let s = film.spread[row as usize * width + x as usize];
            let (_, variance) = s.mean_and_variance(film.row_samples[row as usize]);
            made.errors.push((variance.sqrt() * scale) as f32);
        }
    }
    made
}

/// The scene of a view, and what falls on the flat cloth in it.
fn scene(
    fabric: &Fabric,
    shelf: &Shelf,
    view: &SwatchView,
    lens_m: f64,
) -> Result<(Scene, f64), FabricError> {
    let mut b = SceneBuilder::new().with_shelf(shelf.clone());
    let layer = b.layer(view.light.word());
    let (face, axes) = view.light.face();
    let emission = Emission::lambertian(face);
    let direct_lx = illuminance_lx(&emission, &axes);
    b.emitter(&emission, axes, layer);
    let around = (SURROUND * direct_lx / PI) as f32;
    b.surround([around; 3], layer);
    let cloth = b.cloth(fabric, view.dye)?;
    let aspect = f64::from(view.pixels[1]) / f64::from(view.pixels[0].max(1));
    let size = [view.width_m, view.width_m * aspect].map(|s| (s + 2.0 * MARGIN_M) as f32);
    for part in &swatch::patch(size[0], size[1], view.lay).parts {
        b.mesh(
            &shapes::placed(
                &part.positions_m,
                &part.normals,
                &part.uvs_cm,
                &part.triangles,
                |v| v,
                |v| v,
            ),
            cloth,
        );
    }
    if fabric.behind.sheer {
        lay_over_cards(&mut b, fabric, view, cloth, size);
    }
    let upright = Axes {
        origin_m: DVec3::ZERO,
        x: DVec3::X,
        y: DVec3::Y,
        z: DVec3::Z,
    };
    b.lens(&lens_before(&upright, lens_m, view.width_m, view.pixels));
    b.bounces(2, 6);
    Ok((b.build(), (1.0 + SURROUND) * direct_lx))
}

/// What a sheer is seen against: a card half dark and half light, cut aslant, and, of a woven one, a
/// second layer on the right, turned a little.
fn lay_over_cards(
    b: &mut SceneBuilder,
    fabric: &Fabric,
    view: &SwatchView,
    cloth: u32,
    size_m: [f32; 2],
) {
    let (w, h) = (f64::from(size_m[0]), f64::from(size_m[1]));
    // The draped cloth dips.
    let depth_m = CARD_BEHIND_M + if view.lay == Lay::Flat { 0.0 } else { 0.004 };
    let corner = |x: f64, y: f64| DVec3::new(x, y, -depth_m);
    let half = |cut_left: f64, cut_right: f64, low: bool| {
        let y = if low { -h } else { h };
        let corners = if low {
            [
                corner(-w, y),
                corner(w, y),
                corner(w, cut_right),
                corner(-w, cut_left),
            ]
        } else {
            [
                corner(-w, cut_left),
                corner(w, cut_right),
                corner(w, y),
                corner(-w, y),
            ]
        };
        Mesh {
            positions_m: corners.iter().map(|c| c.as_vec3()).collect(),
            normals: vec![glam::Vec3::Z; 4],
            uvs_cm: vec![Vec2::ZERO; 4],
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        }
    };
    let cut = 0.3 * view.width_m;
    for (low, reflectance) in [(true, CARDS[0]), (false, CARDS[1])] {
        let card = b.surface(Surface::Diffuse([reflectance; 3]));
        // Twice as wide as the cloth, so the cut runs twice as far.
        b.mesh(&half(2.0 * cut, -2.0 * cut, low), card);
    }
    if matches!(fabric.structure, Structure::Woven(_)) && view.lay == Lay::Flat {
        let (s, c) = 0.12_f32.sin_cos();
        let x0 = 0.08 * view.width_m as f32;
        let corners = [
            [x0, -size_m[1]],
            [size_m[0], -size_m[1]],
            [size_m[0], size_m[1]],
            [x0 + 0.3 * size_m[1], size_m[1]],
        ];
        let mesh = Mesh {
            positions_m: corners
                .iter()
                .map(|&[x, y]| glam::Vec3::new(x, y, -0.4e-3))
                .collect(),
            normals: vec![glam::Vec3::Z; 4],
            uvs_cm: corners
                .iter()
                .map(|&[x, y]| 100.0 * Vec2::new(c * x + s * y + 0.3, c * y - s * x + 0.3))
                .collect(),
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        b.mesh(&mesh, cloth);
    }
}

/// What an even face of one lumen throws on the middle of the cloth, by a sum over its parts.
fn illuminance_lx(emission: &Emission, axes: &Axes) -> f64 {
    const SIDE: usize = 96;
    let luminance = 1.0 / (PI * emission.face.area_m2());
    let part = emission.face.area_m2() / (SIDE * SIDE) as f64;
    let mut sum = 0.0;
    for i in 0..SIDE {
        for j in 0..SIDE {
            let (u, v) = (
                (i as f64 + 0.5) / SIDE as f64,
                (j as f64 + 0.5) / SIDE as f64,
            );
            let (x, y) = match emission.face {
                Face::Rect { half_x_m, half_y_m } => {
                    ((2.0 * u - 1.0) * half_x_m, (2.0 * v - 1.0) * half_y_m)
                }
                Face::Disk { radius_m } => {
                    let (s, c) = (2.0 * PI * v).sin_cos();
                    (radius_m * u.sqrt() * c, radius_m * u.sqrt() * s)
                }
                _ => (0.0, 0.0),
            };
            let at = axes.origin_m + axes.x * x + axes.y * y;
            let d2 = at.length_squared();
            let toward = at / d2.sqrt();
            sum += luminance * part * toward.z.max(0.0) * (-toward.dot(axes.z)).max(0.0) / d2;
        }
    }
    sum
}
