//! Pattern pieces taken off the stand: cloth is laid on, marked, and flattened.

use super::stand::Stand;
use crate::figure::plane::{Flat, fill, within};
use glam::{DVec2, DVec3, dvec2};

/// Edge length of the net by which a piece is flattened, in centimetres.
const NET: f64 = 1.5;
/// How far up from the waist a bodice is cut longer than the body, in centimetres.
const SPARE: f64 = 14.0;
/// Nominal radius that turns angles into centimetres while a piece is marked.
const RADIUS: f64 = 13.0;

/// A piece between marked lines, flattened.
pub struct Moulage {
    /// The marked net in the flat, in centimetres.
    flat: Vec<DVec2>,
    /// The same points on the stand, in base coordinates.
    base: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    /// First and last outline point of each marked line.
    lines: Vec<(usize, usize)>,
    outline: usize,
}

impl Moulage {
    /// Marks a piece by `lines` of (turn, height) points, counter-clockwise seen
    /// from outside, each beginning where the one before ends, and takes it off
    /// the stand. `off` is how far from the body the cloth lies at each height.
    /// `longer` is the share by which it is cut longer than the body.
    pub fn new(stand: &Stand, lines: &[Vec<DVec2>], off: &dyn Fn(f64) -> f64, longer: f64) -> Self {
        let mut outline = Vec::new();
        let mut ends = Vec::new();
        for line in lines {
            let marked: Vec<DVec2> = line.iter().map(|p| dvec2(p.x * RADIUS, p.y)).collect();
            let steps = (super::panel::length(&marked) / NET).round().max(1.0) as usize;
            let first = outline.len();
            outline.extend(super::panel::evenly(&marked, steps).drain(..steps));
            ends.push((first, outline.len()));
        }
        let net = fill(&outline, NET);
        let base: Vec<DVec3> = net
            .points
            .iter()
            .map(|p| stand.surface(p.x / RADIUS, p.y, off(p.y)))
            .collect();
        let flat = flattened(&net, &base, stand.scale(), longer);
        Self {
            flat,
            base,
            triangles: net.triangles,
            lines: ends,
            outline: outline.len(),
        }
    }

    /// The flat curve of a marked line.
    pub fn curve(&self, line: usize) -> Vec<DVec2> {
        let (first, last) = self.lines[line];
        (first..=last)
            .map(|v| self.flat[v % self.outline])
            .collect()
    }

    /// Where a point of the flat piece lies on the stand, in base coordinates.
    pub fn on_stand(&self, p: DVec2) -> DVec3 {
        let mut best = (f64::INFINITY, DVec3::ZERO);
        for t in &self.triangles {
            // Outside the net, the triangle that must be stretched least goes on.
            let (outside, [a, b, c]) = within(&t.map(|v| self.flat[v as usize]), p);
            if outside < best.0 {
                let [x, y, z] = t.map(|v| self.base[v as usize]);
                best = (outside, x * a + y * b + z * c);
                if outside == 0.0 {
                    break;
                }
            }
        }
        best.1
    }
}

/// Lays the net flat with its lengths on the stand, upright up.
fn flattened(net: &Flat, base: &[DVec3], scale: f64, longer: f64) -> Vec<DVec2> {
    let mut edges: Vec<(u32, u32)> = net
        .triangles
        .iter()
        .flat_map(|t| (0..3).map(move |k| (t[k].min(t[(k + 1) % 3]), t[k].max(t[(k + 1) % 3]))))
        .collect();
    edges.sort_unstable();
    edges.dedup();
    let mut flat = net.points.clone();
    let rest: Vec<f64> = edges
        .iter()
        .map(|&(a, b)| base[a as usize].distance(base[b as usize]) * scale)
        .collect();
    for sweep in 0..600 {
        // Sweeping to and fro favours neither side.
        for k in 0..edges.len() {
            let k = if sweep % 2 == 0 {
                k
            } else {
                edges.len() - 1 - k
            };
            let (a, b) = (edges[k].0 as usize, edges[k].1 as usize);
            let d = flat[b] - flat[a];
            let length = d.length().max(1e-9);
            let step = d * (0.5 * (length - rest[k]) / length);
            flat[a] += step;
            flat[b] -= step;
        }
    }
    // Turn it so that, over all triangles, up on the stand is up in the flat.
    let mut up = DVec2::ZERO;
    for t in &net.triangles {
        let [a, b, c] = t.map(|v| flat[v as usize]);
        let [ha, hb, hc] = t.map(|v| base[v as usize].y);
        // Twice the area times the gradient of height.
        let turned = |e: DVec2| dvec2(-e.y, e.x);
        up += turned(c - b) * ha + turned(a - c) * hb + turned(b - a) * hc;
    }
    let back = DVec2::from_angle(std::f64::consts::FRAC_PI_2 - up.y.atan2(up.x));
    for p in &mut flat {
        *p = back.rotate(*p);
    }
    // The length to spare lies below the bust, where the cloth breaks.
    let low = flat.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
    for p in &mut flat {
        p.y += longer * (p.y - low).min(SPARE);
    }
    flat
}
