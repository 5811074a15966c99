//! Cloth against cloth: folds and layers that must not go through each other.

use glam::DVec3;

/// A pair held apart: particle `a` stays on its side of the cloth at `b`.
#[derive(Debug, Clone, Copy)]
struct Pair {
    a: u32,
    b: u32,
    /// Unit normal of the cloth at `b`, turned to the side on which `a` lies.
    out: DVec3,
    /// Whether that is the cloth's outer side.
    outside: bool,
}

/// Close pairs of particles that are no neighbours in the cloth.
#[derive(Debug, Clone, Default)]
pub(super) struct Touch {
    pairs: Vec<Pair>,
    /// Neighbours within two edges, sorted, row by row.
    start: Vec<u32>,
    near: Vec<u32>,
    /// Typical edge length in the mesh, from the first look.
    edge: f64,
    triangles: Vec<[u32; 3]>,
}

impl Touch {
    pub fn new(count: usize, triangles: &[[u32; 3]]) -> Self {
        let mut ring: Vec<Vec<u32>> = vec![Vec::new(); count];
        for t in triangles {
            for k in 0..3 {
                ring[t[k] as usize].extend([t[(k + 1) % 3], t[(k + 2) % 3]]);
            }
        }
        for r in &mut ring {
            r.sort_unstable();
            r.dedup();
        }
        let (mut start, mut near) = (vec![0], Vec::new());
        for r in &ring {
            let mut both: Vec<u32> = r.clone();
            for &j in r {
                both.extend(&ring[j as usize]);
            }
            both.sort_unstable();
            both.dedup();
            near.extend(both);
            start.push(near.len() as u32);
        }
        Self {
            start,
            near,
            triangles: triangles.to_vec(),
            ..Self::default()
        }
    }

    /// Finds pairs closer than an edge length, by sorting particles into cells.
    pub fn find(&mut self, x: &[DVec3], normal: &[DVec3], gap: f64) {
        if self.edge == 0.0 {
            let lengths: f64 = self
                .triangles
                .iter()
                .map(|t| x[t[0] as usize].distance(x[t[1] as usize]))
                .sum();
            self.edge = lengths / self.triangles.len().max(1) as f64;
        }
        let reach = (0.9 * self.edge).max(1.5 * gap);
        let mut lo = DVec3::INFINITY;
        for p in x {
            lo = lo.min(*p);
        }
        let cell = |p: DVec3| ((p - lo) / reach).as_ivec3() + 1;
        let key = |c: glam::IVec3| {
            (c.x.clamp(0, 0xfffff) as u64) << 40
                | (c.y.clamp(0, 0xfffff) as u64) << 20
                | c.z.clamp(0, 0xfffff) as u64
        };
        let mut sorted: Vec<(u64, u32)> = x
            .iter()
            .enumerate()
            .map(|(i, p)| (key(cell(*p)), i as u32))
            .collect();
        sorted.sort_unstable();
        // A pair stays on the side where it was first met, even where a fold has been pressed a little through another.
        let mut before = std::mem::take(&mut self.pairs);
        before.sort_unstable_by_key(|p| (p.a, p.b));
        let near_by = (2.0 * gap).max(0.4 * self.edge);
        for (i, p) in x.iter().enumerate() {
            let near = &self.near[self.start[i] as usize..self.start[i + 1] as usize];
            let from = before.partition_point(|p| (p.a as usize) < i);
            let known = &before[from..];
            let known = &known[..known.partition_point(|p| p.a as usize == i)];
            let c = cell(*p);
            for dx in -1..=1 {
                for dy in -1..=1 {
                    // Cells next to each other along z have neighbouring keys.
                    let from = key(c + glam::ivec3(dx, dy, -1));
                    let to = key(c + glam::ivec3(dx, dy, 1));
                    let first = sorted.partition_point(|s| s.0 < from);
                    for &(_, j) in sorted[first..].iter().take_while(|s| s.0 <= to) {
                        let off = *p - x[j as usize];
                        let n = normal[j as usize];
                        let height = off.dot(n);
                        if j as usize == i
                            || off.length_squared() > reach * reach
                            || height.abs() > near_by
                            || near.binary_search(&j).is_ok()
                        {
                            continue;
                        }
                        let outside = known
                            .binary_search_by_key(&j, |p| p.b)
                            .map_or(height > 0.0, |k| known[k].outside);
                        self.pairs.push(Pair {
                            a: i as u32,
                            b: j,
                            out: if outside { n } else { -n },
                            outside,
                        });
                    }
                }
            }
        }
    }

    /// Pushes close pairs apart and lets them stick a little.
    pub fn keep_apart(&self, x: &mut [DVec3], old: &[DVec3], w: &[f64], gap: f64) {
        const RUB: f64 = 0.25;
        for p in &self.pairs {
            let (a, b) = (p.a as usize, p.b as usize);
            let depth = gap - (x[a] - x[b]).dot(p.out);
            let sum = w[a] + w[b];
            if depth <= 0.0 || sum <= 0.0 {
                continue;
            }
            // Half: each pair is usually seen from both sides.
            let step = 0.5 * depth.min(0.1) / sum;
            let slide = (x[a] - old[a]) - (x[b] - old[b]);
            let slide = slide - p.out * slide.dot(p.out);
            let rub = (RUB * step * sum / slide.length().max(1e-12)).min(0.5) / sum;
            let move_by = p.out * step - slide * rub;
            x[a] += move_by * w[a];
            x[b] -= move_by * w[b];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::dvec3;

    const GAP: f64 = 0.25;

    /// Two layers of a triangle each, the second at that height; they are no neighbours.
    fn layers(height: f64) -> [DVec3; 6] {
        let layer = |y: f64| [dvec3(0.0, y, 0.0), dvec3(1.0, y, 0.0), dvec3(0.0, y, 1.0)];
        let ([a, b, c], [d, e, f]) = (layer(0.0), layer(height));
        [a, b, c, d, e, f]
    }

    fn settled(touch: &mut Touch, mut x: [DVec3; 6]) -> f64 {
        for _ in 0..60 {
            touch.find(&x, &[DVec3::Y; 6], GAP);
            let old = x;
            touch.keep_apart(&mut x, &old, &[1.0; 6], GAP);
        }
        x[3].y - x[0].y
    }

    #[test]
    fn a_layer_pressed_through_another_comes_back_to_its_side() {
        let triangles = [[0, 1, 2], [3, 4, 5]];
        let mut touch = Touch::new(6, &triangles);
        touch.find(&layers(0.2), &[DVec3::Y; 6], GAP);
        let height = settled(&mut touch, layers(-0.1));
        assert!(height > 0.9 * GAP, "{height}");
        // What was first met below stays below.
        let height = settled(&mut Touch::new(6, &triangles), layers(-0.1));
        assert!(height < -0.9 * GAP, "{height}");
    }
}
