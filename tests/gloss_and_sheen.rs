//! The kernels' gloss and sheen against published distributions and independent quadratures.
//!
//! Charlie: A. Conty Estevez and C. Kulla, "Production Friendly Microfacet Sheen BRDF", SIGGRAPH
//! courses 2017, as the KHR_materials_sheen text prints it, α the square of the sheen roughness, with
//! the visibility after Neubelt and Pettineo. GGX: Walter et al. 2007, height-correlated Smith after
//! Heitz 2014. Schlick 1994.

#[path = "common/checks.rs"]
mod checks;
#[path = "common/texels.rs"]
mod texels;

use checks::{check, checks_beginning};
use naga_rust_rt::{Scalar, Vec3};
use std::f64::consts::PI;
use swatchlight::scene::kernels::Kernels;
use swatchlight::scene::records::{Material, TOP_CONDUCTOR};
use texels::Texels;

/// The kernels' lobes, which need no texel.
const LOBES: Texels = Texels(Vec::new());

/// A direction by its cosine to the normal and its azimuth.
fn direction(cosine: f64, azimuth: f64) -> Vec3<f32> {
    let r = (1.0 - cosine * cosine).max(0.0).sqrt();
    Vec3 {
        x: (r * azimuth.cos()) as f32,
        y: (r * azimuth.sin()) as f32,
        z: cosine as f32,
    }
}

fn sheen(roughness: f64, out: Vec3<f32>, toward: Vec3<f32>) -> f64 {
    let alpha = Scalar((roughness * roughness) as f32);
    f64::from(LOBES.sheen_value(alpha, out, toward).0)
}

fn gloss(alpha: f64, out: Vec3<f32>, toward: Vec3<f32>) -> f64 {
    let mirror = Material {
        top: TOP_CONDUCTOR.0,
        alpha: alpha as f32,
        specular: Vec3 {
            x: 1.0,
            y: 1.0,
            z: 1.0,
        },
        ..Material::default()
    };
    f64::from(LOBES.top_value(mirror, out, toward).y)
}

/// Charlie's distribution from the lobe seen and lit along the half vector: over the visibility.
fn charlie(roughness: f64, cosine: f64) -> f64 {
    let h = direction(cosine, 0.3);
    sheen(roughness, h, h) * 4.0 * (2.0 - cosine) * cosine
}

/// ∫ lobe cos over directions, midpoints even in the root of the cosine: close at grazing.
fn albedo(cosine: f64, lobe: impl Fn(Vec3<f32>, Vec3<f32>) -> f64) -> f64 {
    let (n, out) = (600, direction(cosine, 0.0));
    let mut sum = 0.0;
    for i in 0..n {
        let u = (f64::from(i) + 0.5) / f64::from(n);
        let z = u * u;
        for j in 0..n {
            // The lobe is the same on both sides of the view's plane.
            let toward = direction(z, PI * (f64::from(j) + 0.5) / f64::from(n));
            sum += lobe(out, toward) * z * 2.0 * u;
        }
    }
    sum * 2.0 * PI / f64::from(n * n)
}

/// S6.charlie.norm_*: ∫ D cos θ dω = 1; S6.charlie.D_*: at 30, 60, 85 degrees.
#[test]
fn charlie_is_normalised() {
    for c in checks_beginning("S6.charlie.norm_") {
        let (n, roughness) = (20_000, c.input("sheenRoughness"));
        // In the cosine; the distribution ends steeply at grazing, so even in its root.
        let sum: f64 = (0..n)
            .map(|i| {
                let u = (f64::from(i) + 0.5) / f64::from(n);
                charlie(roughness, u * u) * u.powi(3)
            })
            .sum();
        c.assert_close(sum * 4.0 * PI / f64::from(n));
    }
    for c in checks_beginning("S6.charlie.D_") {
        let cosine = c.input("theta_h_deg").to_radians().cos();
        c.assert_close(charlie(c.input("sheenRoughness"), cosine));
    }
}

/// S6.charlie.Vash_*: 1/(4(l + v - lv)), from the lobe over the distribution at the half vector.
#[test]
fn sheen_visibility() {
    for c in checks_beginning("S6.charlie.Vash_") {
        let (out, toward) = (
            direction(c.input("NdotV"), 0.0),
            direction(c.input("NdotL"), 2.0),
        );
        let sum = [out.x + toward.x, out.y + toward.y, out.z + toward.z].map(f64::from);
        let cosine = sum[2] / sum.iter().map(|k| k * k).sum::<f64>().sqrt();
        c.assert_close(sheen(0.7, out, toward) / charlie(0.7, cosine));
    }
}

/// S6.charlie.Eash_*: directional albedo by an independent quadrature of two resolutions.
#[test]
fn sheen_energy() {
    for c in checks_beginning("S6.charlie.Eash_") {
        let roughness = c.input("sheenRoughness");
        let lobe = |out, toward| sheen(roughness, out, toward);
        c.assert_close(albedo(c.input("NdotV"), lobe));
    }
}

/// S6.ggx.E_*: directional albedo with F = 1, light scattered once; exactly 1 - ln 2 at α = 1 facing.
#[test]
fn gloss_energy() {
    let c = check("S6.ggx.E_alpha1_normal");
    c.assert_close(albedo(1.0, |out, toward| gloss(1.0, out, toward)));
    for prefix in ["S6.ggx.E_0", "S6.ggx.E_1"] {
        for c in checks_beginning(prefix) {
            let alpha = c.input("alpha");
            let lobe = |out, toward| gloss(alpha, out, toward);
            c.assert_close(albedo(c.input("NdotV"), lobe));
        }
    }
}

/// S6.schlick: F0 + (1 - F0)(1 - cos θ)⁵.
#[test]
fn schlick() {
    let c = check("S6.schlick");
    let facing = Vec3 {
        x: c.input("F0") as f32,
        y: 1.0,
        z: 0.0,
    };
    let cosine = c.input("theta_deg").to_radians().cos();
    let fresnel = LOBES.fresnel_metal(Scalar(cosine as f32), facing);
    c.assert_close(f64::from(fresnel.x));
    assert_eq!(fresnel.y, 1.0);
}
