//! Shipped fabrics as the kernels read them, and directions and places to look at them.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use naga_rust_rt::{Scalar, Vec2, Vec3};
use std::f32::consts::PI;
use swatchlight::fabric::Fabric;
use swatchlight::scene::cloth::{Bare, ClothRecord, Dye, add};
use swatchlight::scene::kernels::{Cloth, Kernels};

pub type V = Vec3<f32>;

/// Footprint under which no thread is seen apart; sequins still are.
pub const FAR_MM: f32 = 60.0;

/// Every shipped fabric, by name.
pub fn fabrics() -> Vec<(String, Fabric)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/models/fabrics");
    let mut found: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .map(|p| {
            let name = p.file_stem().unwrap().to_string_lossy().into_owned();
            let beside =
                |file: &str| std::fs::read(p.with_file_name(file)).map_err(|e| e.to_string());
            let text = std::fs::read_to_string(&p).unwrap();
            let fabric = Fabric::parse(&text, &beside).unwrap_or_else(|e| panic!("{name}: {e}"));
            (name, fabric)
        })
        .collect();
    found.sort_by(|a, b| a.0.cmp(&b.0));
    assert!(found.len() >= 18, "{} fabrics", found.len());
    found
}

pub struct Made {
    pub texels: Vec<[f32; 4]>,
    pub record: ClothRecord,
}

pub fn made(fabric: &Fabric) -> Made {
    let mut texels = Vec::new();
    let record = add(fabric, Dye::Own, &mut texels).unwrap();
    Made { texels, record }
}

impl Made {
    pub fn bare(&self) -> Bare<'_> {
        Bare {
            texels: &self.texels,
        }
    }
    pub fn first(&self) -> Scalar<u32> {
        Scalar(self.record.material.cloth)
    }
    /// The cloth at a place, seen along `out`, near or far.
    pub fn at(&self, at_mm: [f32; 2], out: V, footprint_mm: f32, start: f32) -> Cloth {
        let at = Vec2 {
            x: at_mm[0],
            y: at_mm[1],
        };
        self.bare().cloth_at(
            self.first(),
            at,
            out,
            Scalar(footprint_mm),
            Scalar(start),
            Scalar(true),
        )
    }
}

/// A direction `off` degrees from the normal and `around` degrees from the weft.
pub fn direction(off: f32, around: f32) -> V {
    let (s, c) = off.to_radians().sin_cos();
    let (sa, ca) = around.to_radians().sin_cos();
    V {
        x: s * ca,
        y: s * sa,
        z: c,
    }
}

pub fn luminance(v: V) -> f64 {
    f64::from(0.2126 * v.x + 0.7152 * v.y + 0.0722 * v.z)
}

/// Even over the upper half, by equal areas of z: directions and the solid angle of each.
pub fn half_space(side: usize) -> (Vec<V>, f32) {
    let mut all = Vec::new();
    for i in 0..side {
        for j in 0..2 * side {
            let z = (i as f32 + 0.5) / side as f32;
            let a = (j as f32 + 0.5) / (2 * side) as f32 * 360.0;
            all.push(direction(z.acos().to_degrees(), a));
        }
    }
    let each = 2.0 * PI / all.len() as f32;
    (all, each)
}

/// Places of the plane's most even additive sequence, off the survey's own.
pub fn places(n: usize, side_mm: f64) -> Vec<[f32; 2]> {
    (1..=n)
        .map(|i| {
            let u = (0.37 + i as f64 * 0.754_877_666_246_692_8) % 1.0;
            let v = (0.81 + i as f64 * 0.569_840_290_998_053_2) % 1.0;
            [(u * side_mm) as f32 - 50.0, (v * side_mm) as f32 + 700.0]
        })
        .collect()
}

/// A shipped fabric.
pub fn fabric(name: &str) -> Fabric {
    let found = fabrics().into_iter().find(|(n, _)| n == name);
    found.unwrap_or_else(|| panic!("no fabric {name}")).1
}
