//! What lies over a place: rays against the inside of cloth.

use glam::Vec3;

/// Cloth as boxes in boxes, halved at the median.
pub struct Cover {
    triangles: Vec<[Vec3; 3]>,
    /// Corners of each box; the children of `k` are `2 k + 1` and `2 k + 2`.
    boxes: Vec<(Vec3, Vec3)>,
    depth: u32,
}

impl Cover {
    pub fn new(triangles: impl Iterator<Item = [Vec3; 3]>) -> Self {
        let mut triangles: Vec<[Vec3; 3]> = triangles.collect();
        // About eight triangles a leaf.
        let depth = (triangles.len() / 8).max(1).ilog2();
        let mut cover = Self {
            boxes: vec![(Vec3::INFINITY, Vec3::NEG_INFINITY); (2 << depth) - 1],
            triangles: Vec::new(),
            depth,
        };
        cover.halve(&mut triangles, 0, 0);
        cover.triangles = triangles;
        cover
    }

    /// Whether there is no cloth at all.
    pub fn is_empty(&self) -> bool {
        self.triangles.is_empty()
    }

    fn halve(&mut self, triangles: &mut [[Vec3; 3]], node: usize, level: u32) {
        let (lo, hi) = triangles
            .iter()
            .flatten()
            .fold((Vec3::INFINITY, Vec3::NEG_INFINITY), |(lo, hi), &p| {
                (lo.min(p), hi.max(p))
            });
        self.boxes[node] = (lo, hi);
        if level == self.depth {
            return;
        }
        let size = hi - lo;
        let axis = if size.x >= size.y.max(size.z) {
            0
        } else if size.y >= size.z {
            1
        } else {
            2
        };
        let key = |t: &[Vec3; 3]| t[0][axis] + t[1][axis] + t[2][axis];
        let half = triangles.len() / 2;
        if half > 0 {
            triangles.select_nth_unstable_by(half, |a, b| key(a).total_cmp(&key(b)));
        }
        let (a, b) = triangles.split_at_mut(half);
        self.halve(a, 2 * node + 1, level + 1);
        self.halve(b, 2 * node + 2, level + 1);
    }

    /// Distance to the first cloth met from its inside, from `from` along the unit `along`.
    pub fn first(&self, from: Vec3, along: Vec3, far: f32) -> Option<f32> {
        let mut best = far;
        self.search(0, 0, 0..self.triangles.len(), (from, along), &mut best);
        (best < far).then_some(best)
    }

    fn search(
        &self,
        node: usize,
        level: u32,
        range: std::ops::Range<usize>,
        ray: (Vec3, Vec3),
        best: &mut f32,
    ) {
        let (lo, hi) = self.boxes[node];
        let (from, along) = ray;
        let (a, b) = ((lo - from) / along, (hi - from) / along);
        let enter = a.min(b).max_element().max(0.0);
        if enter > a.max(b).min_element().min(*best) {
            return;
        }
        if level == self.depth {
            for t in &self.triangles[range] {
                if let Some(d) = met(t, from, along) {
                    *best = best.min(d);
                }
            }
            return;
        }
        let half = range.start + range.len() / 2;
        self.search(2 * node + 1, level + 1, range.start..half, ray, best);
        self.search(2 * node + 2, level + 1, half..range.end, ray, best);
    }
}

/// Where a ray meets a triangle from behind (Möller and Trumbore 1997): a look
/// that comes at the outside of cloth is not below it.
fn met(t: &[Vec3; 3], from: Vec3, along: Vec3) -> Option<f32> {
    let (e, f) = (t[1] - t[0], t[2] - t[0]);
    let h = along.cross(f);
    let det = e.dot(h);
    if det > -1e-14 {
        return None;
    }
    let s = from - t[0];
    let u = s.dot(h) / det;
    let q = s.cross(e);
    let v = along.dot(q) / det;
    let d = f.dot(q) / det;
    (u >= 0.0 && v >= 0.0 && u + v <= 1.0 && d > 1e-6).then_some(d)
}
