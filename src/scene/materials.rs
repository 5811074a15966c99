//! Materials: what the kernels need to know of a surface, with each top layer's directional
//! albedo tabulated from the very lobe the kernels use.

use super::finish::{Eye, Hair, Painted, Skin};
use super::kernels::Kernels;
use super::records::*;
use naga_rust_rt::{Scalar, Vec2 as KernelVec2, Vec3 as KernelVec3, Vec4 as KernelVec4};
use rayon::prelude::*;

/// Entries of a directional-albedo table, even in the cosine from 0 to 1.
pub const ALBEDO_ENTRIES: usize = 64;
/// Cosine of the shallowest view that is tabulated.
const GRAZING: f32 = 2e-3;

/// A surface as the scene describes it. Colours are linear reflectances, sRGB primaries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Surface {
    /// Lambert.
    Diffuse([f32; 3]),
    /// A rough dielectric coat (GGX `alpha`, index `eta`) over a diffuse base.
    Coated {
        /// Reflectance of the base.
        base: [f32; 3],
        /// GGX roughness, 0.02 to 1.
        alpha: f32,
        /// Refractive index, above 1.
        eta: f32,
    },
    /// Rough metal.
    Metal {
        /// Reflectance facing the surface.
        facing: [f32; 3],
        /// GGX roughness, 0.02 to 1.
        alpha: f32,
    },
    /// Fibres standing off a diffuse base.
    Sheen {
        /// Reflectance of the base.
        base: [f32; 3],
        /// Strength of the sheen, by channel.
        sheen: [f32; 3],
        /// Roughness of the sheen, 0.05 to 1.
        alpha: f32,
    },
    /// A thin sheet: some light is thrown back, some passes scattered, some straight.
    Sheet {
        /// Diffuse reflectance.
        back: [f32; 3],
        /// Diffuse transmittance.
        through: [f32; 3],
        /// Passed unscattered.
        straight: f32,
    },
    /// A coat over what is painted on the mesh.
    Painted(Painted),
    /// Skin.
    Skin(Skin),
    /// An eyeball.
    Eye(Eye),
    /// Ribbons that stand for hair: cloth coordinates along the strand (cm, from the root) and
    /// across it (0 to 1).
    Hair(Hair),
}

impl Surface {
    /// Whether rays may pass it.
    pub fn passes_straight(&self) -> bool {
        matches!(self, Surface::Sheet { straight, .. } if *straight > 0.0)
    }

    /// The kernels' record; a top layer's table is appended to `texels`.
    pub fn record(&self, texels: &mut Vec<[f32; 4]>) -> Material {
        let mut m = Material {
            albedo_table: NOTHING.0,
            relief: NOTHING.0,
            cloth: NOTHING.0,
            bounce: NOTHING.0,
            paint: NOTHING.0,
            bounce_cell_cm: 1.0,
            couple_gain: 1.0,
            relief_texel_cm: 1.0,
            top: TOP_NONE.0,
            eta: 1.5,
            alpha: 1.0,
            ..Material::default()
        };
        match *self {
            Surface::Diffuse(base) => m.base = colour(base),
            Surface::Coated { base, alpha, eta } => {
                m.base = colour(base);
                m.top = TOP_COAT.0;
                m.alpha = alpha;
                m.eta = eta;
                let mean = tabulate(&mut m, texels, 1.0);
                m.couple_gain = 1.0 / (eta * eta);
                m.couple_feedback = 1.0 - (1.0 - mean) / (eta * eta);
            }
            Surface::Metal { facing, alpha } => {
                m.top = TOP_CONDUCTOR.0;
                m.alpha = alpha;
                m.specular = colour([1.0; 3]);
                let mean = tabulate(&mut m, texels, 1.0);
                m.specular = colour(facing);
                // Light that left the facets only after several of them (Kulla and Conty 2017);
                // (20 F0 + 1)/21 is the mean of Schlick's term over the hemisphere.
                let multiple = facing.map(|f| {
                    let f_mean = (20.0 * f + 1.0) / 21.0;
                    f_mean * f_mean * mean / (1.0 - f_mean * (1.0 - mean))
                });
                m.base = colour(multiple);
                m.couple_gain = 1.0 / (1.0 - mean);
            }
            Surface::Sheen { base, sheen, alpha } => {
                m.base = colour(base);
                m.top = TOP_SHEEN.0;
                m.alpha = alpha;
                // The lobe of a narrow sheen (α below .2) sends back more than arrives when seen along
                // the cloth: weaken it until it does not.
                let most = top_albedo(&m, GRAZING, sheen.into_iter().fold(0.0, f32::max)).max(1.0);
                let sheen = sheen.map(|s| s / most);
                m.specular = colour(sheen);
                let strength = sheen.into_iter().fold(0.0, f32::max);
                let mean = tabulate(&mut m, texels, strength);
                m.couple_gain = 1.0 / (1.0 - mean);
            }
            Surface::Sheet {
                back,
                through,
                straight,
            } => {
                m.base = colour(back);
                m.through = colour(through);
                m.straight = straight;
            }
            Surface::Painted(painted) => painted.fill(&mut m, texels),
            Surface::Skin(skin) => skin.fill(&mut m, texels),
            Surface::Eye(eye) => eye.fill(&mut m, texels),
            Surface::Hair(hair) => hair.fill(&mut m, texels),
        }
        m
    }

    /// What the kernels read as paint where a mesh is painted in this colour (linear reflectance)
    /// and gloss.
    pub fn paint(&self, paint: [f32; 4]) -> [f32; 4] {
        match self {
            Surface::Hair(hair) => hair.absorption([paint[0], paint[1], paint[2]]),
            _ => paint,
        }
    }
}

pub(super) fn colour([x, y, z]: [f32; 3]) -> KernelVec3<f32> {
    KernelVec3 { x, y, z }
}

/// Appends E(μ) of the material's top layer, and returns its mean 2 ∫ E μ dμ, taken over the table
/// as the kernels read it (linear between entries), so that coupling closes exactly.
pub(super) fn tabulate(m: &mut Material, texels: &mut Vec<[f32; 4]>, strength: f32) -> f32 {
    let last = (ALBEDO_ENTRIES - 1) as f32;
    let table: Vec<f32> = (0..ALBEDO_ENTRIES)
        .into_par_iter()
        .map(|i| top_albedo(m, (i as f32 / last).max(GRAZING), strength).clamp(0.0, 1.0))
        .collect();
    m.albedo_table = texels.len() as u32;
    texels.extend(table.chunks(4).map(|c| [c[0], c[1], c[2], c[3]]));
    // ∫ of the linear pieces times μ, exactly.
    let h = 1.0 / f64::from(last);
    let mean: f64 = table
        .windows(2)
        .enumerate()
        .map(|(i, e)| {
            let (a, b) = (f64::from(e[0]), f64::from(e[1]));
            let mu = i as f64 * h;
            h * (a * mu + (a * h + (b - a) * mu) / 2.0 + (b - a) * h / 3.0)
        })
        .sum();
    (2.0 * mean) as f32
}

/// Directional albedo of the top layer at one cosine.
fn top_albedo(m: &Material, cosine: f32, strength: f32) -> f32 {
    const SIDE: usize = 48;
    let out = KernelVec3 {
        x: (1.0 - cosine * cosine).max(0.0).sqrt(),
        y: 0.0,
        z: cosine,
    };
    let k = Lobe;
    let mut sum = 0.0_f64;
    for i in 0..SIDE {
        for j in 0..SIDE {
            let u = (i as f32 + 0.5) / SIDE as f32;
            let v = (j as f32 + 0.5) / SIDE as f32;
            let square = KernelVec2 { x: u, y: v };
            if m.top == TOP_SHEEN.0 {
                // Even over directions.
                let z = (u * u).max(1e-4);
                let r = (1.0 - z * z).sqrt();
                let (s, c) = (2.0 * std::f32::consts::PI * v).sin_cos();
                let toward = KernelVec3 {
                    x: r * c,
                    y: r * s,
                    z,
                };
                let value = k.sheen_value(Scalar(m.alpha), out, toward).0;
                // z = u²: dz = 2u du.
                sum += f64::from(value * z * 2.0 * std::f32::consts::PI * 2.0 * u);
            } else {
                let h = k.ggx_visible_normal(out, Scalar(m.alpha), square);
                let c = out.dot(h).0;
                let toward_z = 2.0 * c * h.z - out.z;
                if toward_z > 0.0 {
                    let lambda_out = k.ggx_lambda(Scalar(out.z), Scalar(m.alpha)).0;
                    let lambda_in = k.ggx_lambda(Scalar(toward_z), Scalar(m.alpha)).0;
                    let f = if m.top == TOP_COAT.0 {
                        k.fresnel(Scalar(c), Scalar(m.eta)).0
                    } else {
                        1.0
                    };
                    sum += f64::from(f * (1.0 + lambda_out) / (1.0 + lambda_out + lambda_in));
                }
            }
        }
    }
    (sum / (SIDE * SIDE) as f64) as f32 * strength
}

/// The kernels' lobes without a scene: nothing is loaded, nothing is hit.
pub(super) struct Lobe;

impl Kernels for Lobe {
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
    fn load_texel(&self, _: Scalar<u32>) -> KernelVec4<f32> {
        KernelVec4::default()
    }
    fn trace(&self, _: KernelVec3<f32>, _: KernelVec3<f32>, t: Scalar<f32>, _: Scalar<u32>) -> Hit {
        Hit {
            t: t.0,
            triangle: NOTHING.0,
            ..Hit::default()
        }
    }
    fn deposit(&self, _: Scalar<u32>, _: KernelVec3<f32>) {}
    fn describe(&self, _: KernelVec3<f32>, _: KernelVec3<f32>, _: Scalar<f32>) {}
    fn root(&self, x: Scalar<f32>) -> Scalar<f32> {
        Scalar(x.0.sqrt())
    }
    fn reverse(&self, x: Scalar<u32>) -> Scalar<u32> {
        Scalar(x.0.reverse_bits())
    }
}
