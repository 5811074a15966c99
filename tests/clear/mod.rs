//! How far parts of a dressed figure go through each other: cloth into the body, cloth through cloth.

use glam::DVec3;
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap, HashSet, VecDeque};
use swatchlight::figure::{Body, Field, Part};

/// Cloth is looked for round a point within this, in centimetres; nothing is told to be deeper.
const REACH: f64 = 1.2;
/// Cloth of one part closer than this along itself, in centimetres, is one place: it does not meet itself there.
const OWN: f64 = 3.0;

/// So far along a sheet from where it goes through, in centimetres, it is followed.
const LOCAL: f64 = 0.8;
/// Where distances to arm and trunk differ by less, in centimetres, is the crease between them.
const CREASE: f64 = 0.7;
/// So many of 200 looks make a place seen: a crack of some degrees shows nothing.
const SEEN: usize = 5;

/// How deep something goes in, and where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// Millimetres; 0 where nothing goes in.
    pub mm: f64,
    /// Where that is, in centimetres.
    pub at: DVec3,
    /// Triangles or vertices that do so by more than a millimetre.
    pub count: usize,
}

const NONE: Depth = Depth {
    mm: 0.0,
    at: DVec3::ZERO,
    count: 0,
};

/// Distance to all that is solid of a figure: body with arms and hands, shoes, seat, floor.
pub fn solid(body: &Body, p: DVec3) -> f64 {
    let shoes = body.shoes().filter(|_| p.y < 25.0);
    let d = body.distance(p).min(p.y);
    let d = shoes.map_or(d, |s| d.min(s.distance(p)));
    body.seat().map_or(d, |s| d.min(s.distance(p)))
}

/// What stands round a dressed figure: to tell what can be seen.
pub struct Around<'a> {
    pub body: &'a Body,
    pub sheets: &'a [Sheet],
}

impl Around<'_> {
    /// Whether a place can be seen from outside: [`SEEN`] of 200 looks from it get 40 cm away.
    fn seen(&self, at: DVec3) -> bool {
        let free = |k: &u32| {
            let y = 1.0 - (2.0 * f64::from(*k) + 1.0) / 200.0;
            let turn = 2.399_963 * f64::from(*k);
            let r = (1.0 - y * y).sqrt();
            self.gets_away(at, DVec3::new(r * turn.cos(), y, r * turn.sin()))
        };
        (0..200).filter(free).take(SEEN).count() == SEEN
    }

    fn gets_away(&self, at: DVec3, along: DVec3) -> bool {
        let mut t = 0.12;
        while t < 40.0 {
            let p = at + along * t;
            let d = solid(self.body, p);
            if d < 0.0 {
                return false;
            }
            let step = d.clamp(0.12, 0.9);
            let q = p + along * step;
            let blocked = self.sheets.iter().any(|s| {
                let near = s
                    .cells
                    .get(&cell(p))
                    .into_iter()
                    .chain(s.cells.get(&cell(q)).filter(|_| cell(p) != cell(q)));
                near.flatten()
                    .any(|&t| crosses(p, q, s.triangles[t as usize].map(|v| s.x[v as usize])))
            });
            if blocked {
                return false;
            }
            t += step;
        }
        true
    }
}

fn deeper(a: Depth, b: Depth) -> Depth {
    let count = a.count + b.count;
    let worst = if b.mm > a.mm { b } else { a };
    Depth { count, ..worst }
}

/// Parts as one sheet: corners at one place are one.
pub struct Sheet {
    x: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    normals: Vec<DVec3>,
    next: Vec<Vec<u32>>,
    /// Whether a corner lies on an open edge.
    open: Vec<bool>,
    cells: HashMap<[i32; 3], Vec<u32>>,
    /// Which piece of cloth a corner belongs to: what is sewn on is a piece of its own.
    piece: Vec<u32>,
}

const CELL: f64 = 1.2;

fn cell(p: DVec3) -> [i32; 3] {
    (p / CELL).floor().to_array().map(|v| v as i32)
}

impl Sheet {
    pub fn new<'a>(parts: impl Iterator<Item = &'a Part>) -> Self {
        let mut seen: HashMap<[i64; 3], u32> = HashMap::new();
        let (mut x, mut triangles) = (Vec::new(), Vec::new());
        for part in parts {
            let index: Vec<u32> = (part.positions_m.iter())
                .map(|p| {
                    let p = p.as_dvec3() * 100.0;
                    let key = (p * 1e3).round().to_array().map(|v| v as i64);
                    *seen.entry(key).or_insert_with(|| {
                        x.push(p);
                        x.len() as u32 - 1
                    })
                })
                .collect();
            let corners = part.triangles.iter().map(|t| t.map(|v| index[v as usize]));
            triangles.extend(corners.filter(|t| t[0] != t[1] && t[1] != t[2] && t[2] != t[0]));
        }
        let mut next = vec![Vec::new(); x.len()];
        let mut edges: BTreeMap<(u32, u32), u32> = BTreeMap::new();
        for t in &triangles {
            for k in 0..3 {
                let (a, b) = (t[k], t[(k + 1) % 3]);
                *edges.entry((a.min(b), a.max(b))).or_default() += 1;
            }
        }
        let mut open = vec![false; x.len()];
        for (&(a, b), &n) in &edges {
            next[a as usize].push(b);
            next[b as usize].push(a);
            if n == 1 {
                open[a as usize] = true;
                open[b as usize] = true;
            }
        }
        let mut cells: HashMap<[i32; 3], Vec<u32>> = HashMap::new();
        let normals = (triangles.iter().enumerate())
            .map(|(i, t): (usize, &[u32; 3])| {
                let p = t.map(|v| x[v as usize]);
                let lo = cell(p[0].min(p[1]).min(p[2]));
                let hi = cell(p[0].max(p[1]).max(p[2]));
                for a in lo[0]..=hi[0] {
                    for b in lo[1]..=hi[1] {
                        for c in lo[2]..=hi[2] {
                            cells.entry([a, b, c]).or_default().push(i as u32);
                        }
                    }
                }
                (p[1] - p[0]).cross(p[2] - p[0]).normalize_or_zero()
            })
            .collect();
        let mut piece = vec![u32::MAX; x.len()];
        for first in 0..x.len() {
            let mut todo = vec![first];
            while let Some(v) = todo.pop() {
                if piece[v] == u32::MAX {
                    piece[v] = first as u32;
                    todo.extend(next[v].iter().map(|&b| b as usize));
                }
            }
        }
        Self {
            x,
            triangles,
            normals,
            next,
            open,
            cells,
            piece,
        }
    }

    fn near(&self, p: DVec3, rings: i32) -> Vec<u32> {
        let c = cell(p);
        let mut out = Vec::new();
        for a in -rings..=rings {
            for b in -rings..=rings {
                for d in -rings..=rings {
                    if let Some(t) = self.cells.get(&[c[0] + a, c[1] + b, c[2] + d]) {
                        out.extend(t);
                    }
                }
            }
        }
        out.sort_unstable();
        out.dedup();
        out
    }

    /// Corners within [`OWN`] of a corner along the sheet.
    fn own(&self, v: u32) -> HashSet<u32> {
        let mut far: HashMap<u32, f64> = HashMap::from([(v, 0.0)]);
        let mut todo = VecDeque::from([v]);
        while let Some(a) = todo.pop_front() {
            for &b in &self.next[a as usize] {
                let d = far[&a] + self.x[a as usize].distance(self.x[b as usize]);
                if d < OWN && far.get(&b).is_none_or(|&old| d < old - 1e-9) {
                    far.insert(b, d);
                    todo.push_back(b);
                }
            }
        }
        far.into_keys().collect()
    }

    /// Share of the sheet's area that is turned towards the body with no cloth over it within 5 cm: what of a fold lies
    /// inside out. Collars, cuffs and hems have a little of it.
    // Of the two files that have this module, one asks.
    #[allow(dead_code)]
    pub fn inside_out(&self, body: &Body) -> f64 {
        let areas: Vec<(f64, f64)> = (self.triangles.par_iter().zip(&self.normals))
            .enumerate()
            .map(|(i, (t, n))| {
                let [a, b, c] = t.map(|v| self.x[v as usize]);
                let area = 0.5 * (b - a).cross(c - a).length();
                let middle = (a + b + c) / 3.0;
                let out = body.gradient(middle, 0.3).normalize_or_zero();
                if n.dot(out) > -0.3 || body.distance(middle) < 0.0 {
                    return (0.0, area);
                }
                let over = (1..=5).any(|k| {
                    let (from, to) = (middle + out * f64::from(k - 1), middle + out * f64::from(k));
                    self.near(0.5 * (from + to), 1).iter().any(|&j| {
                        let corners = self.triangles[j as usize].map(|v| self.x[v as usize]);
                        j as usize != i && crosses(from, to, corners)
                    })
                });
                (if over { 0.0 } else { area }, area)
            })
            .collect();
        let sum = (areas.iter()).fold((0.0, 0.0), |s, a| (s.0 + a.0, s.1 + a.1));
        sum.0 / sum.1
    }

    /// How deep the sheet dives into the body where that can be seen.
    pub fn sunk_in_body(&self, around: &Around<'_>) -> Depth {
        let side: Vec<f64> = (self.x.par_iter())
            .map(|&p| {
                let d = solid(around.body, p);
                // Fields are steeper than distances where shapes blend.
                if d < 0.0 {
                    d / slope(around.body, p).max(0.6)
                } else {
                    d
                }
            })
            .collect();
        let edges = (0..self.x.len() as u32)
            .flat_map(|a| self.next[a as usize].iter().map(move |&b| (a, b)));
        let pierced: Vec<(u32, u32)> = edges
            .filter(|&(a, b)| side[a as usize] < 0.0 && side[b as usize] >= 0.0)
            .collect();
        // In the crease of an armpit arm and trunk lie on each other, and cloth between them.
        let crease = |p: DVec3| {
            let arm = around.body.arm(0, p).min(around.body.arm(1, p));
            (arm - around.body.trunk_and_legs(p)).abs() < CREASE
        };
        self.worst(&pierced, around, &|a, b| {
            let at = 0.5 * (self.x[a as usize] + self.x[b as usize]);
            if crease(at) {
                0.0
            } else {
                self.height(a, &side)
            }
        })
    }

    /// How deep the body comes through the sheet's triangles, where that can be seen: a pointed elbow between corners that all
    /// lie outside of it.
    // Of the two files that have this module, one asks.
    #[allow(dead_code)]
    pub fn pierced_by_body(&self, around: &Around<'_>) -> Depth {
        const CUTS: u32 = 6;
        let body = around.body;
        (self.triangles.par_iter())
            .map(|t| {
                let [a, b, c] = t.map(|v| self.x[v as usize]);
                let shares = (0..=CUTS).flat_map(|i| (0..=CUTS - i).map(move |k| (i, k)));
                let places = shares.map(|(i, k)| {
                    let (u, v) = (
                        f64::from(i) / f64::from(CUTS),
                        f64::from(k) / f64::from(CUTS),
                    );
                    a + (b - a) * u + (c - a) * v
                });
                let (d, at) = places
                    .map(|p| (solid(body, p), p))
                    .min_by(|x, y| x.0.total_cmp(&y.0))
                    .unwrap_or((0.0, a));
                if d > -0.05 {
                    return NONE;
                }
                let deep = -d / slope(body, at).max(0.6);
                let skin = at + body.gradient(at, 0.05).normalize_or_zero() * (deep + 0.05);
                if !around.seen(skin) {
                    return NONE;
                }
                Depth {
                    mm: 10.0 * deep,
                    at,
                    count: usize::from(10.0 * deep > 1.0),
                }
            })
            .reduce(|| NONE, deeper)
    }

    /// How deep `self` goes through `other`, or through itself where that is `None`, where that can be seen.
    ///
    /// Every corner of `self` is on one side of the other cloth that is nearest to it. Where an edge goes through, the sheet
    /// is looked at on both sides of that: how far it gets from the other cloth there. The lesser is how deep it goes.
    pub fn through(&self, other: Option<&Self>, around: &Around<'_>) -> Depth {
        let on = other.unwrap_or(self);
        // Edges that go through a triangle.
        let pierced: Vec<(u32, u32)> = (0..self.x.len() as u32)
            .into_par_iter()
            .flat_map_iter(|a| {
                let p = self.x[a as usize];
                let candidates = on.near(p, 1);
                let mut own = None;
                let mut out = Vec::new();
                for &b in self.next[a as usize].iter().filter(|&&b| b > a) {
                    let q = self.x[b as usize];
                    let meets = candidates.iter().any(|&t| {
                        let corners = on.triangles[t as usize];
                        crosses(p, q, corners.map(|v| on.x[v as usize]))
                            && (other.is_some()
                                || self.piece[a as usize] == self.piece[corners[0] as usize] && {
                                    let own = own.get_or_insert_with(|| self.own(a));
                                    !corners.iter().any(|c| own.contains(c))
                                })
                    });
                    if meets {
                        out.push((a, b));
                    }
                }
                out
            })
            .collect();
        // Only what is near to that is of interest.
        let mut near = vec![false; self.x.len()];
        let mut todo: Vec<u32> = pierced.iter().flat_map(|&(a, b)| [a, b]).collect();
        for _ in 0..8 {
            for v in std::mem::take(&mut todo) {
                if !near[v as usize] {
                    near[v as usize] = true;
                    todo.extend(&self.next[v as usize]);
                }
            }
        }
        let side: Vec<f64> = (0..self.x.len() as u32)
            .into_par_iter()
            .map(|v| {
                if !near[v as usize] {
                    return 0.0;
                }
                let p = self.x[v as usize];
                let own = if other.is_none() {
                    self.own(v)
                } else {
                    HashSet::new()
                };
                let mut best = (REACH, 0.0);
                for t in on.near(p, 1) {
                    let corners = on.triangles[t as usize];
                    let (at, rim) = nearest(p, corners, on);
                    let d = p.distance(at);
                    if d < best.0 - 1e-9
                        && !corners.iter().any(|c| own.contains(c))
                        && (other.is_some()
                            || self.piece[v as usize] == self.piece[corners[0] as usize])
                    {
                        let s = (p - at).dot(on.normals[t as usize]);
                        best = (d, if rim { 0.0 } else { d.copysign(s) });
                    }
                }
                best.1
            })
            .collect();
        self.worst(&pierced, around, &|a, b| {
            if side[a as usize] * side[b as usize] < 0.0 {
                self.height(a, &side).min(self.height(b, &side))
            } else {
                0.0
            }
        })
    }

    /// How far cloth goes that hangs together with a corner on its side, up to [`LOCAL`] from it along the sheet.
    fn height(&self, v: u32, side: &[f64]) -> f64 {
        let mut far: HashMap<u32, f64> = HashMap::from([(v, 0.0)]);
        let mut todo = VecDeque::from([v]);
        let mut tallest: f64 = 0.0;
        while let Some(a) = todo.pop_front() {
            tallest = tallest.max(side[a as usize].abs());
            for &b in &self.next[a as usize] {
                let d = far[&a] + self.x[a as usize].distance(self.x[b as usize]);
                let same = side[b as usize] * side[v as usize] > 0.0;
                if same && d < LOCAL && far.get(&b).is_none_or(|&old| d < old - 1e-9) {
                    far.insert(b, d);
                    todo.push_back(b);
                }
            }
        }
        tallest
    }

    /// The deepest of edges that go through something and can be seen.
    fn worst(
        &self,
        pierced: &[(u32, u32)],
        around: &Around<'_>,
        height: &(dyn Fn(u32, u32) -> f64 + Sync),
    ) -> Depth {
        pierced
            .par_iter()
            .map(|&(a, b)| {
                let mm = 10.0 * height(a, b);
                let at = 0.5 * (self.x[a as usize] + self.x[b as usize]);
                if mm < 0.5 || !around.seen(at) {
                    return NONE;
                }
                Depth {
                    mm,
                    at,
                    count: usize::from(mm > 1.0),
                }
            })
            .reduce(|| NONE, deeper)
    }
}

fn slope(body: &Body, p: DVec3) -> f64 {
    let along = |h: DVec3| (solid(body, p + h) - solid(body, p - h)) / (2.0 * h.length());
    DVec3::new(
        along(DVec3::X * 0.02),
        along(DVec3::Y * 0.02),
        along(DVec3::Z * 0.02),
    )
    .length()
}

/// Whether an edge goes through a triangle (Möller and Trumbore 1997).
fn crosses(p: DVec3, q: DVec3, t: [DVec3; 3]) -> bool {
    let (along, e, f) = (q - p, t[1] - t[0], t[2] - t[0]);
    let h = along.cross(f);
    let det = e.dot(h);
    if det.abs() < 1e-12 {
        return false;
    }
    let s = p - t[0];
    let u = s.dot(h) / det;
    let r = s.cross(e);
    let v = along.dot(r) / det;
    let d = f.dot(r) / det;
    u >= 0.0 && v >= 0.0 && u + v <= 1.0 && (0.0..=1.0).contains(&d)
}

/// The place of a triangle that is nearest (Ericson 2005, chapter 5), and whether it is on the sheet's open edge.
fn nearest(p: DVec3, corners: [u32; 3], on: &Sheet) -> (DVec3, bool) {
    let [a, b, c] = corners.map(|v| on.x[v as usize]);
    let open = corners.map(|v| on.open[v as usize]);
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(ap), ac.dot(ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return (a, open[0]);
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(bp), ac.dot(bp));
    if d3 >= 0.0 && d4 <= d3 {
        return (b, open[1]);
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return (a + ab * (d1 / (d1 - d3)), open[0] && open[1]);
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(cp), ac.dot(cp));
    if d6 >= 0.0 && d5 <= d6 {
        return (c, open[2]);
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return (a + ac * (d2 / (d2 - d6)), open[0] && open[2]);
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        let w = (d4 - d3) / ((d4 - d3) + (d5 - d6));
        return (b + (c - b) * w, open[1] && open[2]);
    }
    let inverse = 1.0 / (va + vb + vc);
    (a + ab * (vb * inverse) + ac * (vc * inverse), false)
}
