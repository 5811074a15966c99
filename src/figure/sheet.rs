//! The garment's surface: quads, and edges turned under to give thickness.

use glam::{DVec2, DVec3};

/// The garment's surface while it is put together.
#[derive(Default)]
pub struct Sheet {
    pub positions: Vec<DVec3>,
    pub uvs: Vec<DVec2>,
    pub triangles: Vec<[u32; 3]>,
}

impl Sheet {
    /// Two triangles, cut along the shorter diagonal.
    pub fn quad(&mut self, q: [u32; 4]) {
        let p = q.map(|v| self.positions[v as usize]);
        if p[0].distance_squared(p[2]) <= p[1].distance_squared(p[3]) {
            self.triangles
                .extend([[q[0], q[1], q[2]], [q[0], q[2], q[3]]]);
        } else {
            self.triangles
                .extend([[q[0], q[1], q[3]], [q[1], q[2], q[3]]]);
        }
    }

    /// Turns an edge under: round over its thickness, then back inside. Each
    /// chain entry lists an edge vertex and those behind it; the cloth lies to
    /// the left of the direction of travel. UVs run on past the edge.
    pub fn turn_under(&mut self, chain: &[Vec<u32>], edge: f64, normal: &dyn Fn(u32) -> DVec3) {
        let mut rows: Vec<Vec<u32>> = Vec::new();
        for entry in chain {
            let p = |k: usize| self.positions[entry[k] as usize];
            let t = |k: usize| self.uvs[entry[k] as usize];
            let n = normal(entry[0]);
            let out = (p(0) - p(1)).normalize_or_zero();
            let out_uv = (t(0) - t(1)).normalize_or_zero();
            let mut extra = vec![
                (
                    p(0) - n * (0.15 * edge) + out * (0.3 * edge),
                    t(0) + out_uv * (0.35 * edge),
                ),
                (
                    p(0) - n * (0.85 * edge) + out * (0.3 * edge),
                    t(0) + out_uv * (1.05 * edge),
                ),
            ];
            for (k, &v) in entry.iter().enumerate() {
                let back = (t(0) - t(k)).length();
                extra.push((p(k) - normal(v) * edge, t(0) + out_uv * (1.4 * edge + back)));
            }
            let mut row = vec![entry[0]];
            for (p, t) in extra {
                row.push(self.positions.len() as u32);
                self.positions.push(p);
                self.uvs.push(t);
            }
            rows.push(row);
        }
        for w in rows.windows(2) {
            for k in 0..w[0].len() - 1 {
                self.quad([w[0][k + 1], w[1][k + 1], w[1][k], w[0][k]]);
            }
        }
    }
}
