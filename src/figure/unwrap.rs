//! UVs for skin: a cylinder around each region of the body, in centimetres.

use super::body::{Body, Region};
use super::sdf::frame;
use super::surface::Mesh;
use glam::{DMat3, DVec2, DVec3};
use rayon::prelude::*;
use std::collections::HashMap;

/// A mesh whose vertices are split wherever their UVs are.
pub struct Unwrapped {
    pub positions: Vec<DVec3>,
    pub uvs: Vec<DVec2>,
    pub triangles: Vec<[u32; 3]>,
}

struct Cylinder {
    origin: DVec3,
    axes: DMat3,
    radius: f64,
}

impl Cylinder {
    /// From the lower end to the upper; the seam runs down the back.
    fn new(low: DVec3, high: DVec3, radius: f64) -> Self {
        Self {
            origin: low,
            axes: frame(high - low, DVec3::Z),
            radius,
        }
    }

    /// Turn about the axis from straight ahead, and height along it.
    fn place(&self, p: DVec3) -> (f64, f64) {
        let q = self.axes.transpose() * (p - self.origin);
        (q.x.atan2(q.z), q.y)
    }
}

fn cylinder(body: &Body, region: Region) -> Cylinder {
    let j = body.joints();
    match region {
        Region::Torso => {
            let pelvis = 0.5 * (j.hip[0] + j.hip[1]);
            Cylinder::new(pelvis, j.neck, 13.5)
        }
        Region::Head => Cylinder::new(
            body.on_head(DVec3::NEG_Y * 100.0),
            body.on_head(DVec3::Y * 100.0),
            8.0,
        ),
        Region::Leg(s) => Cylinder::new(j.ankle[s], j.hip[s], 6.0),
        Region::UpperArm(s) => Cylinder::new(j.elbow[s], j.shoulder[s], 4.0),
        Region::Forearm(s) => Cylinder::new(j.fingertip[s], j.elbow[s], 3.2),
    }
}

/// Unwraps the body's skin. Each region's chart starts 100 cm along u from the last.
pub fn unwrap(mesh: &Mesh, body: &Body) -> Unwrapped {
    let regions: Vec<Region> = mesh
        .triangles
        .par_iter()
        .map(|t| {
            let middle = t.iter().map(|&v| mesh.positions[v as usize]).sum::<DVec3>() / 3.0;
            body.region(middle)
        })
        .collect();
    let mut charts: Vec<Region> = regions.clone();
    charts.sort_unstable();
    charts.dedup();
    let cylinders: HashMap<Region, (usize, Cylinder)> = charts
        .iter()
        .enumerate()
        .map(|(i, &r)| (r, (i, cylinder(body, r))))
        .collect();

    let mut out = Unwrapped {
        positions: Vec::new(),
        uvs: Vec::new(),
        triangles: Vec::new(),
    };
    let mut seen: HashMap<(u32, Region, i8), u32> = HashMap::new();
    for (t, region) in mesh.triangles.iter().zip(&regions) {
        let (chart, cylinder) = &cylinders[region];
        let (first_turn, _) = cylinder.place(mesh.positions[t[0] as usize]);
        out.triangles.push(t.map(|v| {
            let p = mesh.positions[v as usize];
            let (turn, height) = cylinder.place(p);
            // A triangle across the back seam keeps to one side of it.
            let wrap = ((first_turn - turn) / std::f64::consts::TAU).round();
            *seen.entry((v, *region, wrap as i8)).or_insert_with(|| {
                let u = (turn + wrap * std::f64::consts::TAU) * cylinder.radius;
                out.positions.push(p);
                out.uvs.push(DVec2::new(u + 100.0 * *chart as f64, height));
                (out.positions.len() - 1) as u32
            })
        }));
    }
    out
}
