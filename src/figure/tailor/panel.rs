//! A flat pattern piece: its outline, and a mesh of near-equilateral triangles.
//!
//! Points on a triangular lattice inside, evenly spaced points on the outline,
//! joined by Delaunay triangulation (Bowyer 1981, Watson 1981).

use glam::{DVec2, dvec2};

/// One side of a pattern piece, as a polyline in centimetres. Its last point is
/// the next side's first.
#[derive(Debug, Clone)]
pub struct Side {
    /// What the tailor calls it: "hem", "inseam", ...
    pub name: &'static str,
    /// From start to end, counter-clockwise around the piece.
    pub points: Vec<DVec2>,
}

/// The outline of a piece and lines inside it that must fall on mesh edges.
#[derive(Debug, Clone, Default)]
pub struct Outline {
    pub sides: Vec<Side>,
    pub lines: Vec<Vec<DVec2>>,
}

impl Outline {
    /// Seen in a mirror that stands along the grain.
    pub fn mirrored(&self) -> Self {
        let flip = |points: &Vec<DVec2>| -> Vec<DVec2> {
            points.iter().rev().map(|p| dvec2(-p.x, p.y)).collect()
        };
        let mut sides: Vec<Side> = self
            .sides
            .iter()
            .rev()
            .map(|s| Side {
                name: s.name,
                points: flip(&s.points),
            })
            .collect();
        // Start at the same side as before.
        sides.rotate_right(1);
        Self {
            sides,
            lines: self.lines.iter().map(flip).collect(),
        }
    }

    /// Length of the side of that name, 0 where there is none.
    pub fn length(&self, name: &str) -> f64 {
        self.sides
            .iter()
            .find(|s| s.name == name)
            .map_or(0.0, |s| length(&s.points))
    }
}

/// A meshed piece.
#[derive(Debug, Clone)]
pub struct Panel {
    pub name: &'static str,
    pub uvs: Vec<DVec2>,
    pub triangles: Vec<[u32; 3]>,
    /// Vertices along each side of the outline, both ends included.
    pub sides: Vec<(&'static str, Vec<u32>)>,
}

impl Panel {
    /// Vertices along the side of that name.
    pub fn side(&self, name: &str) -> &[u32] {
        self.sides
            .iter()
            .find(|s| s.0 == name)
            .map_or(&[], |s| &s.1)
    }

    /// Meshes `outline` with edges of about `h`. `pieces` gives the number of
    /// segments for a side, so that sides to be sewn together match.
    pub fn new(
        name: &'static str,
        outline: &Outline,
        h: f64,
        pieces: &dyn Fn(&Side) -> usize,
    ) -> Self {
        let mut uvs: Vec<DVec2> = Vec::new();
        let mut sides = Vec::new();
        for side in &outline.sides {
            let count = pieces(side).max(1);
            let first = uvs.len() as u32;
            let points = resample(&side.points, count);
            uvs.extend(&points[..count]);
            sides.push((
                side.name,
                (first..=first + count as u32).collect::<Vec<u32>>(),
            ));
        }
        let border = uvs.len();
        if let Some(last) = sides.last_mut().and_then(|s| s.1.last_mut()) {
            *last = 0;
        }
        let ring: Vec<DVec2> = uvs.clone();
        for line in &outline.lines {
            let count = (length(line) / h).round().max(1.0) as usize;
            let inner = resample(line, count)
                .into_iter()
                .filter(|p| inside(&ring, *p) && ring.iter().all(|q| q.distance(*p) > 0.5 * h));
            uvs.extend(inner);
        }
        let fixed = uvs.clone();
        let (lo, hi) = ring
            .iter()
            .fold((ring[0], ring[0]), |(lo, hi), p| (lo.min(*p), hi.max(*p)));
        let rows = ((hi.y - lo.y) / (h * 0.866)).ceil() as i64;
        let columns = ((hi.x - lo.x) / h).ceil() as i64;
        for j in 0..=rows {
            for i in 0..=columns {
                let p = lo + dvec2(h * (i as f64 + 0.5 * (j % 2) as f64), 0.866 * h * j as f64);
                let near = fixed.iter().any(|q| q.distance_squared(p) < 0.5 * h * h);
                if !near && inside(&ring, p) && off_border(&ring, p) > 0.5 * h {
                    uvs.push(p);
                }
            }
        }
        let mut triangles = delaunay(&uvs);
        triangles.retain(|t| {
            let [a, b, c] = t.map(|v| uvs[v as usize]);
            let flat = (b - a).perp_dot(c - a) < 1e-3 * h * h;
            let all_border = t.iter().all(|&v| (v as usize) < border);
            !flat && (!all_border || inside(&ring, (a + b + c) / 3.0))
        });
        Self {
            name,
            uvs,
            triangles,
            sides,
        }
    }
}

pub fn length(points: &[DVec2]) -> f64 {
    points.windows(2).map(|w| w[0].distance(w[1])).sum()
}

/// `count + 1` points at equal lengths along a polyline.
pub fn resample(points: &[DVec2], count: usize) -> Vec<DVec2> {
    let mut along = vec![0.0];
    for w in points.windows(2) {
        along.push(along[along.len() - 1] + w[0].distance(w[1]));
    }
    let total = along[along.len() - 1];
    (0..=count)
        .map(|i| {
            let goal = total * i as f64 / count as f64;
            let k = along
                .partition_point(|&a| a <= goal)
                .clamp(1, points.len() - 1);
            let t = (goal - along[k - 1]) / (along[k] - along[k - 1]).max(1e-12);
            points[k - 1].lerp(points[k], t.clamp(0.0, 1.0))
        })
        .collect()
}

/// A smooth curve through `points` (centripetal Catmull-Rom would loop less, but
/// pattern points are evenly spaced enough for the uniform kind).
pub fn curve(points: &[DVec2]) -> Vec<DVec2> {
    let n = points.len();
    let at = |i: isize| -> DVec2 {
        if i < 0 {
            2.0 * points[0] - points[1]
        } else if i as usize >= n {
            2.0 * points[n - 1] - points[n - 2]
        } else {
            points[i as usize]
        }
    };
    const STEPS: usize = 12;
    let mut out = vec![points[0]];
    for i in 0..n as isize - 1 {
        let (a, b, c, d) = (at(i - 1), at(i), at(i + 1), at(i + 2));
        for k in 1..=STEPS {
            let t = k as f64 / STEPS as f64;
            let p = 0.5
                * (2.0 * b
                    + (c - a) * t
                    + (2.0 * a - 5.0 * b + 4.0 * c - d) * (t * t)
                    + (3.0 * b - a - 3.0 * c + d) * (t * t * t));
            out.push(p);
        }
    }
    out
}

/// Even-odd test.
pub fn inside(ring: &[DVec2], p: DVec2) -> bool {
    let mut odd = false;
    for (i, a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x) {
            odd = !odd;
        }
    }
    odd
}

/// Distance to the outline.
pub fn off_border(ring: &[DVec2], p: DVec2) -> f64 {
    ring.iter()
        .enumerate()
        .map(|(i, a)| {
            let d = ring[(i + 1) % ring.len()] - *a;
            let t = ((p - *a).dot(d) / d.length_squared().max(1e-12)).clamp(0.0, 1.0);
            (p - *a - d * t).length_squared()
        })
        .fold(f64::INFINITY, f64::min)
        .sqrt()
}

struct Cell {
    v: [u32; 3],
    /// Neighbour across the edge opposite each corner.
    n: [u32; 3],
    alive: bool,
}

const NONE: u32 = u32::MAX;

/// Counter-clockwise Delaunay triangles of `points`.
fn delaunay(points: &[DVec2]) -> Vec<[u32; 3]> {
    let n = points.len() as u32;
    let mut p: Vec<DVec2> = points.to_vec();
    let far = 1e4;
    p.extend([dvec2(-far, -far), dvec2(far, -far), dvec2(0.0, far)]);
    let mut cells = vec![Cell {
        v: [n, n + 1, n + 2],
        n: [NONE; 3],
        alive: true,
    }];
    let mut last = 0_usize;
    for i in 0..n {
        let q = p[i as usize];
        last = find(&cells, &p, last, q);
        // The cavity: every triangle whose circle holds the point.
        let mut cavity = vec![last];
        let mut border: Vec<(u32, u32, u32)> = Vec::new();
        cells[last].alive = false;
        let mut k = 0;
        while k < cavity.len() {
            let c = cavity[k];
            for s in 0..3 {
                let (a, b) = (cells[c].v[(s + 1) % 3], cells[c].v[(s + 2) % 3]);
                let other = cells[c].n[s];
                if other == NONE {
                    border.push((a, b, NONE));
                } else if !cells[other as usize].alive {
                    // Dead cells of earlier rounds are never neighbours: this one is in the cavity.
                } else if in_circle(&p, cells[other as usize].v, q) {
                    cells[other as usize].alive = false;
                    cavity.push(other as usize);
                } else {
                    border.push((a, b, other));
                }
            }
            k += 1;
        }
        let first = cells.len() as u32;
        for (k, &(a, b, other)) in border.iter().enumerate() {
            let me = first + k as u32;
            if other != NONE {
                let o = &mut cells[other as usize];
                for s in 0..3 {
                    if o.v[(s + 1) % 3] == b && o.v[(s + 2) % 3] == a {
                        o.n[s] = me;
                    }
                }
            }
            cells.push(Cell {
                v: [i, a, b],
                n: [other, NONE, NONE],
                alive: true,
            });
        }
        for k in 0..border.len() {
            let (a, b, _) = border[k];
            let before = border
                .iter()
                .position(|e| e.1 == a)
                .map_or(NONE, |x| first + x as u32);
            let after = border
                .iter()
                .position(|e| e.0 == b)
                .map_or(NONE, |x| first + x as u32);
            let cell = &mut cells[first as usize + k];
            // Opposite a lies the edge (b, i); opposite b the edge (i, a).
            cell.n[1] = after;
            cell.n[2] = before;
        }
        last = first as usize;
    }
    cells
        .into_iter()
        .filter(|c| c.alive && c.v.iter().all(|&v| v < n))
        .map(|c| c.v)
        .collect()
}

fn find(cells: &[Cell], p: &[DVec2], start: usize, q: DVec2) -> usize {
    let mut at = start;
    for _ in 0..cells.len() {
        let c = &cells[at];
        let out = (0..3).find(|&s| {
            let (a, b) = (p[c.v[(s + 1) % 3] as usize], p[c.v[(s + 2) % 3] as usize]);
            (b - a).perp_dot(q - a) < -1e-12 && c.n[s] != NONE
        });
        match out {
            Some(s) => at = c.n[s] as usize,
            None => break,
        }
    }
    at
}

fn in_circle(p: &[DVec2], v: [u32; 3], q: DVec2) -> bool {
    let [a, b, c] = v.map(|i| p[i as usize] - q);
    let (la, lb, lc) = (a.length_squared(), b.length_squared(), c.length_squared());
    la * b.perp_dot(c) - lb * a.perp_dot(c) + lc * a.perp_dot(b) > 1e-9
}
