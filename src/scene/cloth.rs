//! A fabric as the kernels read it: its structure's numbers, its shading, and its far view, made by
//! running the near view itself.

use super::kernels::{Cloth, Kernels, Thread};
use super::records::*;
use crate::fabric::{Fabric, FabricError, Shading};
use naga_rust_rt::{Scalar, Vec2 as KernelVec2, Vec3 as KernelVec3, Vec4 as KernelVec4};
use rayon::prelude::*;
use std::f64::consts::PI;

mod far;
mod hairs;
mod seen;
mod shelf;
mod survey;

use seen::Seen;
pub use shelf::{CLOTH_VERSION, Shelf};
pub use survey::{Family, Survey};

type V = KernelVec3<f32>;

/// Rows of a cloth's record (shaders/core/cloth.wgsl lists them).
const ROWS: usize = 15;
/// The texel of a hairs' form with their mean colour (shaders/core/hairs.wgsl).
const HAIRS_MEAN: usize = 4;
/// Nodes along a side of the far table (`FAR_SIDE` in cloth.wgsl).
const SIDE: usize = 9;
/// Cosine to the normal of the shallowest direction that is tabulated.
const SHALLOWEST: f32 = 0.03;
/// Variance of slopes, over that of a solid's own facets, up to which its mirror lobe is one lobe from afar;
/// beyond, its discs mirror each for itself.
const MOST_MIRROR_SPREAD: f64 = 2.0;
/// Pitch of a cloth that is seen as near in any picture.
const NEVER_FAR_MM: f32 = 1e4;
/// Most that a cloth may send back of even light.
const MOST_SENT_BACK: f64 = 0.98;

/// The colours that a cloth is shown in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Dye {
    /// Its own.
    Own,
    /// All threads in one reflectance: what is left of its contrast is what light makes of its relief.
    One(f32),
}

/// What a scene needs to know of a cloth that it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct ClothRecord {
    /// Its material, its `cloth` pointing at the record.
    pub material: Material,
    /// What was found out about its face.
    pub survey: Survey,
}

/// Puts a fabric among the texels, worked out anew ([`Shelf::add`] may know it).
///
/// # Errors
/// What reading the fabric's file finds too.
pub fn add(
    fabric: &Fabric,
    dye: Dye,
    texels: &mut Vec<[f32; 4]>,
) -> Result<ClothRecord, FabricError> {
    Shelf::default().add(fabric, dye, texels)
}

/// Where a cloth's rows begin among the texels, and the form of its loose fibres.
#[derive(Debug, Clone, Copy)]
struct Laid {
    first: usize,
    hairs: Option<usize>,
}

/// What a fabric says of itself: its structure's texels, and the cloth's rows so far as they need no looking.
fn lay(fabric: &Fabric, dye: Dye, texels: &mut Vec<[f32; 4]>) -> Result<Laid, FabricError> {
    let form = fabric.structure.pack(fabric.seed, texels)?;
    let hairs = fabric
        .hairs
        .as_ref()
        .map(|h| h.pack(fabric.seed, texels) as usize);
    let first = texels.len();
    let light = &fabric.light;
    let shade = fabric.structure.shading();
    let thick = fabric.behind.thickness_mm.unwrap_or(1e6) as f32;
    let behind = match dye {
        _ if fabric.behind.sheer => [0.0; 3],
        Dye::Own => fabric.behind.colour.map(|c| c as f32),
        Dye::One(reflectance) => [reflectance; 3],
    };
    let mut rows = [[0.0_f32; 4]; ROWS];
    rows[0] = [
        fabric.structure.number() as f32,
        form.first as f32,
        form.pitch_mm,
        form.low_mm,
    ];
    rows[1] = [
        light.gloss as f32,
        light.gloss_spread_rad as f32,
        light.glow as f32,
        light.glow_spread_rad as f32,
    ];
    rows[2] = [
        light.translucency as f32,
        light.leak_mm as f32,
        light.cavity as f32,
        base_share(light.gloss, light.glow, shade) as f32,
    ];
    rows[3] = [
        light.sheen as f32,
        (light.sheen_roughness * light.sheen_roughness) as f32,
        light.sheen_white as f32,
        light.roughness as f32,
    ];
    rows[4] = [
        if light.metal {
            -1.0
        } else {
            light.facing as f32
        },
        form.high_mm,
        light.open_least as f32,
        thick,
    ];
    rows[5] = [behind[0], behind[1], behind[2], form.low_mm];
    let hairs_form = hairs.map_or(-1.0, |h| h as f32);
    rows[7] = [0.0, hairs_form, light.roughness as f32, 0.0];
    let one = match dye {
        Dye::Own => -1.0,
        Dye::One(reflectance) => reflectance,
    };
    rows[12] = [0.0, 0.0, one, form.high_mm];
    rows[14] = [form.pitch_mm, 0.0, 0.0, 0.0];
    texels.extend(rows);
    Ok(Laid { first, hairs })
}

/// Fills in what comes of looking at the cloth itself: its survey, its gains and its far table.
fn work_out(fabric: &Fabric, laid: Laid, texels: &mut Vec<[f32; 4]>) -> Survey {
    let Laid { first, hairs } = laid;
    let (light, shade) = (&fabric.light, fabric.structure.shading());
    let survey = survey::of(texels, first as u32);
    let mean = survey.mean_colour.map(|c| c as f32);
    let put =
        |texels: &mut Vec<[f32; 4]>, row: usize, values: [f32; 4]| texels[first + row] = values;
    put(texels, 6, [mean[0], mean[1], mean[2], survey.cover as f32]);
    for (row, family) in [(8, &survey.warp), (10, &survey.weft)] {
        let f = |v: f64| v as f32;
        put(
            texels,
            row,
            [
                if shade == Shading::Yarn {
                    f(family.share)
                } else {
                    0.0
                },
                f(family.first_part),
                f(family.means_rad[0]),
                f(family.spreads_rad[0]),
            ],
        );
        put(
            texels,
            row + 1,
            [
                f(family.means_rad[1]),
                f(family.spreads_rad[1]),
                f(family.direction[0]),
                f(family.direction[1]),
            ],
        );
    }
    if shade == Shading::Solid {
        let wide = (light.roughness.powi(2) + 2.0 * (survey.slope_variance + survey.blur)).sqrt();
        texels[first + 7][2] = wide.min(1.0) as f32;
        texels[first + 7][3] = if light.metal { 0.85 } else { 0.3 };
        texels[first + 12][0] = survey.mean_slope[0] as f32;
        texels[first + 12][1] = survey.mean_slope[1] as f32;
    }
    texels[first + 5][3] = survey.heights_mm[0] as f32;
    texels[first + 12][3] = survey.heights_mm[1] as f32;
    let tint = survey::mean_tint(texels, first as u32, &survey.places);
    put(texels, 13, [tint[0], tint[1], tint[2], 0.0]);
    if shade == Shading::Pile {
        let [xx, yy, zz, xy, xz, yz] = survey.pile_fibres.map(|m| m as f32);
        put(texels, 9, [xx, yy, zz, 0.0]);
        put(texels, 11, [xy, xz, yz, 0.0]);
        texels[first + 13][3] = 2.0;
    }
    if shade == Shading::Solid {
        if survey.slope_variance < MOST_MIRROR_SPREAD * light.roughness.powi(2) {
            texels[first + 13][3] = 1.0;
        } else {
            // Facets that mirror each for itself have no far view worth having: they are hashed, so they
            // cost no more seen from afar.
            texels[first + 14][0] = NEVER_FAR_MM;
        }
    }
    texels[first + 7][0] = texels.len() as f32;
    texels.extend([[1.0; 4]; SIDE * SIDE]);
    let seen = Seen::look(texels, first as u32, &survey);
    let gains = texels.len() - SIDE * SIDE;
    for (texel, kept) in texels[gains..].iter_mut().zip(&seen.kept) {
        *texel = *kept;
    }
    // Near is asked for before there is a far view: as if it were that already.
    let far = texels.len();
    texels.extend([[1.0; 4]; 2 * SIDE.pow(4)]);
    pay(texels, first, &survey);
    if let Some(form) = hairs {
        hairs::settle(texels, laid.first, form, &survey.places);
    }
    let found = far::table(texels, first as u32, &seen);
    // Near stays as it is where it never goes far but deep in paths, and of a pile, whose law is the same both ways round.
    let fades = texels[first + 14][0] < NEVER_FAR_MM && texels[first + 13][3] < 2.0;
    let rows = found.table.into_iter().chain(found.near);
    let rows = rows.take(SIDE.pow(4) * if fades { 2 } else { 1 });
    for (texel, row) in texels[far..].iter_mut().zip(rows) {
        *texel = row;
    }
    survey
}

/// The record of a cloth that is worked out.
fn finish(fabric: &Fabric, laid: Laid, survey: Survey, texels: &[[f32; 4]]) -> ClothRecord {
    let light = &fabric.light;
    let [red, green, blue, _] = texels[laid.first + 6];
    let mean = [red, green, blue];
    let straight = if fabric.behind.sheer {
        (1.0 - survey.cover) as f32
    } else {
        0.0
    };
    let through = light.through as f32 * (1.0 - straight);
    ClothRecord {
        material: Material {
            base: vector(mean),
            through: vector(mean.map(|c| c.powf(0.7) * through)),
            straight,
            eta: 1.5,
            alpha: light.roughness as f32,
            couple_gain: 1.0,
            albedo_table: NOTHING.0,
            relief: NOTHING.0,
            relief_texel_cm: 1.0,
            bounce: NOTHING.0,
            paint: NOTHING.0,
            bounce_cell_cm: 1.0,
            cloth: laid.first as u32,
            ..Material::default()
        },
        survey,
    }
}

/// What the fibres' lobes leave for the base: their albedo for each unit of strength is at most about .93
/// and .88 (yarn), .93 and .35 (pile), by integration of the lobe (Sadeghi et al. 2013).
fn base_share(gloss: f64, glow: f64, shade: Shading) -> f64 {
    match shade {
        Shading::Yarn => (1.0 - 0.93 * gloss - 0.88 * glow).max(0.0),
        Shading::Pile => (1.0 - 0.93 * gloss - 0.35 * glow).max(0.0),
        Shading::Solid => 1.0,
    }
}

/// Weakens a cloth that would send back more than arrives, in whatever direction it is seen.
fn pay(texels: &mut [[f32; 4]], first: usize, survey: &Survey) {
    let found = {
        let k = Bare { texels };
        let seen: Vec<V> = [0.0_f32, 0.5, 1.0, 1.3]
            .iter()
            .flat_map(|&t| {
                [0.0_f32, 0.25, 0.5, 0.75].map(|a| direction(t.cos(), a * std::f32::consts::TAU))
            })
            .collect();
        seen.par_iter()
            .map(|&out| {
                let mut sum = [0.0_f64; 3];
                const SIDE: usize = 16;
                let places = 24;
                for p in &survey.places[..places.min(survey.places.len())] {
                    let c = k.near(first as u32, *p, 0.5);
                    for i in 0..SIDE {
                        for j in 0..SIDE {
                            let z = ((i as f32 + 0.5) / SIDE as f32).sqrt();
                            let toward =
                                direction(z, (j as f32 + 0.5) / SIDE as f32 * 2.0 * PI as f32);
                            let value = k.cloth_value(c, out, toward);
                            // Even in z²: dω = 2π dz = π d(z²)/z.
                            let w = PI / f64::from(z) / (SIDE * SIDE * places) as f64;
                            sum[0] += f64::from(value.x) * w;
                            sum[1] += f64::from(value.y) * w;
                            sum[2] += f64::from(value.z) * w;
                        }
                    }
                }
                sum.into_iter().fold(0.0, f64::max)
            })
            .reduce(|| 0.0, f64::max)
    };
    if found > MOST_SENT_BACK {
        let less = (MOST_SENT_BACK / found) as f32;
        texels[first + 1][0] *= less;
        texels[first + 1][2] *= less;
        texels[first + 2][3] *= less;
        texels[first + 3][0] *= less;
    }
}

fn node_direction(i: usize, j: usize) -> V {
    let side = |n: usize| 2.0 * n as f32 / (SIDE - 1) as f32 - 1.0;
    let (x, y) = (side(i), side(j));
    let r2 = (x * x + y * y).max(1e-12);
    // On the disk of equal areas: z = 1 - r².
    let z = (1.0 - r2).max(SHALLOWEST);
    let s = (1.0 - z * z).max(0.0).sqrt() / r2.sqrt();
    V {
        x: x * s,
        y: y * s,
        z,
    }
}

fn direction(z: f32, around: f32) -> V {
    let s = (1.0 - z * z).max(0.0).sqrt();
    V {
        x: s * around.cos(),
        y: s * around.sin(),
        z,
    }
}

fn start_of(i: usize) -> f32 {
    ((i as f64 * 0.618_033_988_75) % 1.0) as f32
}

fn vector([x, y, z]: [f32; 3]) -> V {
    V { x, y, z }
}

/// The kernels over texels alone.
pub struct Bare<'a> {
    /// Among which the cloth's record is.
    pub texels: &'a [[f32; 4]],
}

impl Bare<'_> {
    /// The cloth straight below, seen close.
    pub fn near(&self, first: u32, at_mm: [f32; 2], start: f32) -> Cloth {
        let at = KernelVec2 {
            x: at_mm[0],
            y: at_mm[1],
        };
        let thread = self.cloth_thread(Scalar(first), at);
        Cloth {
            thread,
            at_mm: at,
            near: 1.0,
            start,
            first,
            ..self.no_cloth()
        }
    }

    /// The thread at a place, as seen close.
    pub fn thread(&self, first: u32, at_mm: [f32; 2]) -> Thread {
        self.near(first, at_mm, 0.5).thread
    }
}

impl Kernels for Bare<'_> {
    fn params(&self) -> Params {
        Params::default()
    }
    fn load_vertex(&self, _: Scalar<u32>) -> Vertex {
        Vertex::default()
    }
    fn load_triangle(&self, _: Scalar<u32>) -> Triangle {
        Triangle::default()
    }
    fn load_material(&self, _: Scalar<u32>) -> Material {
        Material::default()
    }
    fn load_emitter(&self, _: Scalar<u32>) -> Emitter {
        Emitter::default()
    }
    fn load_receptor(&self, _: Scalar<u32>) -> Receptor {
        Receptor::default()
    }
    fn load_texel(&self, i: Scalar<u32>) -> KernelVec4<f32> {
        let [x, y, z, w] = self.texels[i.0 as usize];
        KernelVec4 { x, y, z, w }
    }
    fn trace(&self, _: V, _: V, t: Scalar<f32>, _: Scalar<u32>) -> Hit {
        Hit {
            t: t.0,
            triangle: NOTHING.0,
            ..Hit::default()
        }
    }
    fn deposit(&self, _: Scalar<u32>, _: V) {}
    fn describe(&self, _: V, _: V, _: Scalar<f32>) {}
    fn root(&self, x: Scalar<f32>) -> Scalar<f32> {
        Scalar(x.0.sqrt())
    }
    fn reverse(&self, x: Scalar<u32>) -> Scalar<u32> {
        Scalar(x.0.reverse_bits())
    }
}
