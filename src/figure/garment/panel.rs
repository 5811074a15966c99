//! Pattern pieces and how they are sewn to one cloth.

use crate::figure::cloth::ClothMesh;
use crate::figure::plane::fill;
use glam::{DVec2, DVec3};
use std::collections::BTreeMap;

/// What becomes of an edge of a piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Join {
    /// Sewn to the piece that carries the same number; a pressed seam.
    Seam(u32),
    /// A seam with a zip let into it.
    Zip(u32),
    /// The same cloth goes on; a row of stitches runs here.
    Stitches(u32),
    /// Left open: neckline, armhole, hem or slit.
    Open,
}

impl Join {
    fn number(self) -> Option<u32> {
        match self {
            Self::Seam(n) | Self::Zip(n) | Self::Stitches(n) => Some(n),
            Self::Open => None,
        }
    }
}

/// One edge of a piece: a curve from corner to corner.
#[derive(Debug, Clone)]
pub struct Side {
    /// Points along it, in pattern centimetres, both corners included.
    pub curve: Vec<DVec2>,
    /// What it is sewn to.
    pub join: Join,
}

/// Where a point of the pattern starts in space, in centimetres.
pub type Place<'a> = Box<dyn Fn(DVec2) -> DVec3 + Sync + 'a>;

/// A piece of the pattern.
pub struct Panel<'a> {
    /// Edges, counter-clockwise seen from the cloth's right side; each begins
    /// where the one before ends. x runs along the weft, y along the warp
    /// before `grain_rad` turns it.
    pub sides: Vec<Side>,
    /// Plies of cloth.
    pub plies: f64,
    /// Turn of the cloth's grain against the piece's own upright, in radians;
    /// 45° is cut on the bias.
    pub grain_rad: f64,
    /// Where it lies before it falls.
    pub place: Place<'a>,
}

/// The sewn cloth with what the finish needs to know.
#[derive(Debug, Clone, Default)]
pub struct Sewn {
    /// The cloth; groups are panel numbers.
    pub mesh: ClothMesh,
    /// How two panels meet, smaller number first.
    pub joins: BTreeMap<(u32, u32), Join>,
}

/// Fills all pieces with triangles of about `spacing` and sews them together.
pub fn sew(panels: &[Panel], spacing: f64) -> Sewn {
    // Both edges of a seam get the same number of steps.
    let mut steps: BTreeMap<u32, usize> = BTreeMap::new();
    for side in panels.iter().flat_map(|p| &p.sides) {
        if let Some(n) = side.join.number() {
            let s = steps.entry(n).or_default();
            *s = (*s).max(count(&side.curve, spacing));
        }
    }
    let mut sewn = Sewn::default();
    let mut ends: BTreeMap<u32, Vec<(u32, Vec<u32>)>> = BTreeMap::new();
    let mut root: Vec<u32> = Vec::new();
    for (g, panel) in panels.iter().enumerate() {
        let base = sewn.mesh.positions.len() as u32;
        let mut outline = Vec::new();
        for side in &panel.sides {
            let n = side
                .join
                .number()
                .and_then(|k| steps.get(&k).copied())
                .unwrap_or_else(|| count(&side.curve, spacing));
            let first = base + outline.len() as u32;
            outline.extend(evenly(&side.curve, n).drain(..n));
            if let Some(k) = side.join.number() {
                let ids = (0..=n as u32).map(|i| first + i).collect();
                ends.entry(k).or_default().push((g as u32, ids));
            }
        }
        // The last corner of the last edge is the first of the first.
        let total = outline.len() as u32;
        for entry in ends.values_mut().flatten() {
            if entry.0 == g as u32 {
                for v in &mut entry.1 {
                    *v = base + (*v - base) % total;
                }
            }
        }
        let flat = fill(&outline, spacing);
        let turn = DVec2::from_angle(panel.grain_rad);
        root.extend((0..flat.points.len() as u32).map(|v| base + v));
        for p in &flat.points {
            sewn.mesh.positions.push((panel.place)(*p));
        }
        for t in &flat.triangles {
            sewn.mesh.triangles.push(t.map(|v| base + v));
            sewn.mesh
                .flat
                .push(t.map(|v| turn.rotate(flat.points[v as usize])));
            sewn.mesh.group.push(g as u32);
        }
        sewn.mesh.plies.push(panel.plies);
    }
    let join_of: BTreeMap<u32, Join> = panels
        .iter()
        .flat_map(|p| &p.sides)
        .filter_map(|s| s.join.number().map(|n| (n, s.join)))
        .collect();
    for (k, pair) in &ends {
        if let [(g, a), (h, b)] = &pair[..] {
            // Both run counter-clockwise, so against each other.
            for (&u, &v) in a.iter().zip(b.iter().rev()) {
                let (u, v) = (find(&mut root, u), find(&mut root, v));
                root[u.max(v) as usize] = u.min(v);
            }
            sewn.joins.insert((*g.min(h), *g.max(h)), join_of[k]);
        }
    }
    weld(&mut sewn.mesh, &mut root);
    sewn
}

/// Joins vertices that were sewn together, halfway between their places.
fn weld(mesh: &mut ClothMesh, root: &mut [u32]) {
    let n = mesh.positions.len();
    let mut new = vec![0_u32; n];
    let mut sums: Vec<(DVec3, f64)> = Vec::new();
    for v in 0..n as u32 {
        let r = find(root, v);
        if r == v {
            new[v as usize] = sums.len() as u32;
            sums.push((DVec3::ZERO, 0.0));
        } else {
            new[v as usize] = new[r as usize];
        }
        let sum = &mut sums[new[v as usize] as usize];
        sum.0 += mesh.positions[v as usize];
        sum.1 += 1.0;
    }
    mesh.positions = sums.iter().map(|s| s.0 / s.1).collect();
    mesh.pinned = vec![false; sums.len()];
    for t in &mut mesh.triangles {
        *t = t.map(|v| new[v as usize]);
    }
}

fn find(root: &mut [u32], mut v: u32) -> u32 {
    while root[v as usize] != v {
        root[v as usize] = root[root[v as usize] as usize];
        v = root[v as usize];
    }
    v
}

/// Length of a polyline.
pub fn length(curve: &[DVec2]) -> f64 {
    curve.windows(2).map(|w| w[0].distance(w[1])).sum()
}

fn count(curve: &[DVec2], spacing: f64) -> usize {
    (length(curve) / spacing).round().max(1.0) as usize
}

/// `steps + 1` points along a polyline, equal distances apart.
pub fn evenly(curve: &[DVec2], steps: usize) -> Vec<DVec2> {
    let mut along = vec![0.0];
    for w in curve.windows(2) {
        along.push(along[along.len() - 1] + w[0].distance(w[1]));
    }
    let total = along[along.len() - 1];
    (0..=steps)
        .map(|s| {
            let goal = total * s as f64 / steps as f64;
            let k = along
                .partition_point(|&a| a < goal)
                .clamp(1, along.len() - 1);
            let span = (along[k] - along[k - 1]).max(1e-12);
            let t = ((goal - along[k - 1]) / span).clamp(0.0, 1.0);
            curve[k - 1].lerp(curve[k], t)
        })
        .collect()
}
