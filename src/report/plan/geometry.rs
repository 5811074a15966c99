//! Plane geometry of a drawing: hulls, cuts, and whether things meet. Millimetres on paper.

/// A place on paper, or a direction there.
pub(super) type Point = [f64; 2];

/// A rectangle along the page: least and greatest corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Left and top.
    pub low_mm: [f64; 2],
    /// Right and bottom.
    pub high_mm: [f64; 2],
}

impl Area {
    /// Of a corner and a size.
    pub(super) fn new(corner_mm: Point, size_mm: [f64; 2]) -> Self {
        Self {
            low_mm: corner_mm,
            high_mm: [corner_mm[0] + size_mm[0], corner_mm[1] + size_mm[1]],
        }
    }

    /// Around some points; `None` around none.
    pub(super) fn around(points: &[Point]) -> Option<Self> {
        let first = *points.first()?;
        let start = Self {
            low_mm: first,
            high_mm: first,
        };
        Some(points.iter().fold(start, |area, p| Self {
            low_mm: [area.low_mm[0].min(p[0]), area.low_mm[1].min(p[1])],
            high_mm: [area.high_mm[0].max(p[0]), area.high_mm[1].max(p[1])],
        }))
    }

    /// Width and height.
    pub fn size_mm(&self) -> [f64; 2] {
        [0, 1].map(|k| self.high_mm[k] - self.low_mm[k])
    }

    /// Its middle.
    pub fn middle_mm(&self) -> [f64; 2] {
        [0, 1].map(|k| 0.5 * (self.low_mm[k] + self.high_mm[k]))
    }

    /// Whether a point lies in it.
    pub fn holds(&self, point_mm: [f64; 2]) -> bool {
        (0..2).all(|k| (self.low_mm[k]..=self.high_mm[k]).contains(&point_mm[k]))
    }

    /// Whether all of another lies in it.
    pub fn holds_all(&self, other: &Self) -> bool {
        self.holds(other.low_mm) && self.holds(other.high_mm)
    }

    /// Whether the two share more than a border.
    pub fn meets(&self, other: &Self) -> bool {
        (0..2).all(|k| self.low_mm[k] < other.high_mm[k] && other.low_mm[k] < self.high_mm[k])
    }

    /// Larger by so much on every side; smaller where negative.
    pub(super) fn grown(&self, by_mm: f64) -> Self {
        Self {
            low_mm: self.low_mm.map(|v| v - by_mm),
            high_mm: self.high_mm.map(|v| v + by_mm),
        }
    }

    /// The place in it nearest to a point.
    pub(super) fn nearest(&self, point: Point) -> Point {
        [0, 1].map(|k| point[k].clamp(self.low_mm[k], self.high_mm[k]))
    }

    /// The part of a straight line in it (Liang and Barsky 1984).
    pub(super) fn cut_line(&self, from: Point, to: Point) -> Option<[Point; 2]> {
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for k in 0..2 {
            let step = to[k] - from[k];
            for (edge, sign) in [(self.low_mm[k], -1.0), (self.high_mm[k], 1.0)] {
                let (p, q) = (sign * step, sign * (edge - from[k]));
                if p == 0.0 && q < 0.0 {
                    return None;
                }
                if p < 0.0 {
                    enter = enter.max(q / p);
                } else if p > 0.0 {
                    leave = leave.min(q / p);
                }
            }
        }
        let at = |t: f64| [0, 1].map(|k| from[k] + t * (to[k] - from[k]));
        (enter <= leave).then(|| [at(enter), at(leave)])
    }

    /// The part of a convex outline in it (Sutherland and Hodgman 1974); empty when none is.
    pub(super) fn cut_outline(&self, outline: &[Point]) -> Vec<Point> {
        let sides = [
            (0, self.low_mm[0], 1.0),
            (0, self.high_mm[0], -1.0),
            (1, self.low_mm[1], 1.0),
            (1, self.high_mm[1], -1.0),
        ];
        let mut kept = outline.to_vec();
        for (axis, edge, sign) in sides {
            let inside = |p: &Point| sign * (p[axis] - edge);
            let mut next = Vec::with_capacity(kept.len() + 2);
            for (i, p) in kept.iter().enumerate() {
                let q = &kept[(i + 1) % kept.len()];
                let (a, b) = (inside(p), inside(q));
                if a >= 0.0 {
                    next.push(*p);
                }
                if (a >= 0.0) != (b >= 0.0) {
                    next.push(between(*p, *q, a / (a - b)));
                }
            }
            kept = next;
        }
        kept
    }
}

/// The place at a share of the way.
pub(super) fn between(a: Point, b: Point, share: f64) -> Point {
    [0, 1].map(|k| a[k] + share * (b[k] - a[k]))
}

pub(super) fn distance(a: Point, b: Point) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The convex hull of some points, its corners in order (Andrew 1979).
pub(super) fn hull(points: &[Point]) -> Vec<Point> {
    let mut sorted: Vec<Point> = points
        .iter()
        .copied()
        .filter(|p| p.iter().all(|v| v.is_finite()))
        .collect();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let chain = |points: &mut dyn Iterator<Item = Point>| {
        let mut out: Vec<Point> = Vec::new();
        for p in points {
            while out.len() > 1 && turn(out[out.len() - 2], out[out.len() - 1], p) <= 1e-12 {
                out.pop();
            }
            out.push(p);
        }
        out.pop();
        out
    };
    let mut all = chain(&mut sorted.iter().copied());
    all.extend(chain(&mut sorted.iter().rev().copied()));
    all
}

fn turn(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Whether a point lies inside an outline (even-odd rule).
pub(super) fn is_inside(outline: &[Point], [x, y]: Point) -> bool {
    let mut inside = false;
    for (i, a) in outline.iter().enumerate() {
        let b = outline[(i + 1) % outline.len()];
        if (a[1] > y) != (b[1] > y) && x < a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) {
            inside = !inside;
        }
    }
    inside
}

/// How far a point lies from an outline; zero inside.
pub(super) fn distance_to_outline(outline: &[Point], point: Point) -> f64 {
    if is_inside(outline, point) {
        return 0.0;
    }
    distance(nearest_on_outline(outline, point), point)
}

/// The place of an outline nearest to a point; the point itself where there is no outline.
pub(super) fn nearest_on_outline(outline: &[Point], point: Point) -> Point {
    let mut best = (f64::INFINITY, point);
    for (i, a) in outline.iter().enumerate() {
        let b = outline[(i + 1) % outline.len()];
        let found = nearest_on_line(*a, b, point);
        let far = distance(found, point);
        if far < best.0 {
            best = (far, found);
        }
    }
    best.1
}

fn nearest_on_line(a: Point, b: Point, point: Point) -> Point {
    let along = [b[0] - a[0], b[1] - a[1]];
    let square = along[0] * along[0] + along[1] * along[1];
    if square == 0.0 {
        return a;
    }
    let t = ((point[0] - a[0]) * along[0] + (point[1] - a[1]) * along[1]) / square;
    between(a, b, t.clamp(0.0, 1.0))
}

/// The middle of an outline's box; the origin where there is no outline.
pub(super) fn middle(outline: &[Point]) -> Point {
    Area::around(outline).map_or([0.0; 2], |area| area.middle_mm())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hulls_leave_out_what_is_inside() {
        let points = [
            [0.0, 0.0],
            [4.0, 0.0],
            [2.0, 1.0],
            [4.0, 3.0],
            [0.0, 3.0],
            [2.0, 0.0],
            [f64::NAN, 1.0],
        ];
        let corners = hull(&points);
        assert_eq!(corners.len(), 4, "{corners:?}");
        assert!(is_inside(&corners, [2.0, 1.0]) && !is_inside(&corners, [5.0, 1.0]));
        assert!((distance_to_outline(&corners, [7.0, 7.0]) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn cuts_stay_inside_and_keep_what_was() {
        let area = Area::new([0.0, 0.0], [10.0, 10.0]);
        // A square on its corner, its corners 8 from the middle, loses them: eight are left, and of the
        // area's own four corners triangles with legs of 2 stay out of it.
        let cut = area.cut_outline(&[[-3.0, 5.0], [5.0, -3.0], [13.0, 5.0], [5.0, 13.0]]);
        assert_eq!(cut.len(), 8, "{cut:?}");
        let twice: f64 = (0..8)
            .map(|i| {
                let (a, b) = (cut[i], cut[(i + 1) % 8]);
                a[0] * b[1] - b[0] * a[1]
            })
            .sum();
        assert!((0.5 * twice.abs() - 92.0).abs() < 1e-9, "{twice}");
        assert!(cut.iter().all(|p| area.holds(*p)));
        assert_eq!(
            area.cut_line([-5.0, 5.0], [5.0, 5.0]),
            Some([[0.0, 5.0], [5.0, 5.0]])
        );
        assert_eq!(area.cut_line([-5.0, -5.0], [15.0, -5.0]), None);
    }
}
