//! Skirts of a front and two back pieces, cut as sectors that follow a girth.

use super::hang::Hang;
use super::panel::{Join, Panel, Side};
use super::spec::Skirt;
use super::stand::Stand;
use crate::figure::sdf::Table;
use glam::{DVec2, DVec3, dvec2};

/// Trim of the hem at a share of the way round, in centimetres along the cloth.
pub type Trim<'a> = &'a (dyn Fn(f64) -> f64 + Sync);

/// The shape of a skirt: girth against depth, and how it is shared out.
pub struct Shape {
    girth: Table<1>,
    length: f64,
    /// Front's part of the upper edge.
    front_part: f64,
    turn: f64,
}

/// The three gores, in order from the front to the camera's right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gore {
    /// The whole front.
    Front,
    /// The wearer's left back: the camera's right seen from the front.
    BackNear,
    /// The other half of the back.
    BackFar,
}

impl Gore {
    /// All three.
    pub const ALL: [Self; 3] = [Self::Front, Self::BackNear, Self::BackFar];

    fn span(self) -> (f64, f64) {
        match self {
            Self::Front => (-1.0, 1.0),
            Self::BackNear => (-1.0, 0.0),
            Self::BackFar => (0.0, 1.0),
        }
    }
}

impl Shape {
    /// A skirt whose finished waist is `front_cm` and `back_cm` wide.
    pub fn new(
        stand: &Stand,
        spec: &Skirt,
        waist: f64,
        front_cm: f64,
        back_cm: f64,
        turn: f64,
    ) -> Self {
        let top = (front_cm + back_cm) * spec.gather;
        let (length, hem) = (spec.length_cm, spec.hem_circumference_cm);
        let hip = stand.level(86.0, 98.0, true);
        let rows: Vec<(f64, [f64; 1])> = (0..=24)
            .map(|i| {
                let depth = length * f64::from(i) / 24.0;
                let even = top + (hem - top) * (depth / length).powf(spec.flare);
                let height = (waist - depth / stand.scale()).max(hip);
                let ease = spec.hip_ease_cm * (depth / 10.0).min(1.0);
                let body = stand.girth(height, 0.3) + ease;
                // Below the hip only the hem decides, down to a straight fall.
                let body = if depth < 2.0 || waist - depth / stand.scale() < hip {
                    body.min(hem)
                        .min(even.max(stand.girth(hip, 0.3) + spec.hip_ease_cm))
                } else {
                    body
                };
                (
                    depth,
                    [if depth < 1e-9 {
                        top
                    } else {
                        even.max(body.min(hem.max(body)))
                    }],
                )
            })
            .collect();
        Self {
            girth: Table::new(&rows, 120, 3.0),
            length,
            front_part: front_cm / (front_cm + back_cm),
            turn,
        }
    }

    /// Depth of the uncut hem, in centimetres.
    pub fn length_cm(&self) -> f64 {
        self.length
    }

    /// Girth of the cloth at a depth, in centimetres.
    pub fn girth_cm(&self, depth: f64) -> f64 {
        let beyond = (depth - self.length).max(0.0);
        let slope = (self.girth.at(self.length)[0] - self.girth.at(self.length - 2.0)[0]) * 0.5;
        self.girth.at(depth)[0] + slope * beyond
    }

    fn part(&self, gore: Gore, depth: f64) -> f64 {
        // The parts even out towards the hem.
        let t = (depth / self.length).clamp(0.0, 1.0);
        let front = self.front_part + (0.5 - self.front_part) * t;
        if gore == Gore::Front {
            front
        } else {
            1.0 - front
        }
    }

    /// Half width of the (whole) front or back at a depth.
    fn half(&self, gore: Gore, depth: f64) -> f64 {
        0.5 * self.girth_cm(depth) * self.part(gore, depth)
    }

    /// Radius of the upper edge: rows are circles about one point, so that every
    /// line down the skirt is as long as every other.
    fn radius(&self, gore: Gore) -> f64 {
        let (top, hem) = (self.half(gore, 0.0), self.half(gore, self.length));
        let angle = ((hem - top) / self.length).max(0.02);
        top / angle
    }

    /// The flat place `t` (-1 to 1) across at a depth.
    fn flat(&self, gore: Gore, t: f64, depth: f64) -> DVec2 {
        let apex = self.radius(gore);
        let r = apex + depth;
        let angle = t * self.half(gore, depth) / r;
        dvec2(r * angle.sin(), apex - r * angle.cos())
    }

    /// The inverse of `flat`.
    fn across(&self, gore: Gore, p: DVec2) -> (f64, f64) {
        let apex = self.radius(gore);
        let down = dvec2(p.x, apex - p.y);
        let r = down.length();
        let depth = r - apex;
        (down.x.atan2(down.y) * r / self.half(gore, depth), depth)
    }

    /// Share of the way round, from the front centre to the camera's right.
    fn share(&self, gore: Gore, t: f64, depth: f64) -> f64 {
        let middle = if gore == Gore::Front { 0.0 } else { 0.5 };
        middle + 0.5 * t * self.part(gore, depth)
    }

    /// (share, depth) of a point of a gore.
    pub fn place_of(&self, gore: Gore, p: DVec2) -> (f64, f64) {
        let (t, depth) = self.across(gore, p);
        (self.share(gore, t, depth), depth)
    }

    /// The six pieces: three gores and their turned hems. `waist_joins` gives,
    /// gore by gore, the seams of the upper edge from its right to its left with
    /// their share of it.
    pub fn panels<'a>(
        &'a self,
        waist_joins: &[Vec<(Join, f64)>; 3],
        trim: Trim,
        place: &'a (dyn Fn(f64, f64) -> DVec3 + Sync),
    ) -> Vec<Panel<'a>> {
        use Join::{Open, Seam, Stitches, Zip};
        let sides = |g: Gore| match g {
            Gore::Front => (Seam(51), Seam(52)),
            Gore::BackNear => (Zip(53), Seam(51)),
            Gore::BackFar => (Seam(52), Zip(53)),
        };
        let hem_sides = |g: Gore| match g {
            Gore::Front => (Seam(61), Seam(62)),
            Gore::BackNear => (Seam(63), Seam(61)),
            Gore::BackFar => (Seam(62), Seam(63)),
        };
        let mut panels = Vec::new();
        for (k, gore) in Gore::ALL.into_iter().enumerate() {
            let (from, to) = gore.span();
            let hem = |t: f64| self.length - trim(self.share(gore, t, self.length));
            let row = |depth: &dyn Fn(f64) -> f64, up: bool| -> Vec<DVec2> {
                (0..=90)
                    .map(|i| {
                        let f = f64::from(i) / 90.0;
                        let t = if up {
                            from + (to - from) * f
                        } else {
                            to + (from - to) * f
                        };
                        self.flat(gore, t, depth(t))
                    })
                    .collect()
            };
            let column = |t: f64, a: f64, b: f64| -> Vec<DVec2> {
                (0..=60)
                    .map(|i| self.flat(gore, t, a + (b - a) * f64::from(i) / 60.0))
                    .collect()
            };
            let stitch = |t: f64| hem(t) - self.turn;
            let mut edges = vec![
                Side {
                    curve: row(&stitch, true),
                    join: Stitches(71 + k as u32),
                },
                Side {
                    curve: column(to, stitch(to), 0.0),
                    join: sides(gore).0,
                },
            ];
            let top = row(&|_| 0.0, false);
            let mut start = 0.0;
            for (n, &(join, share)) in waist_joins[k].iter().enumerate() {
                let last = n + 1 == waist_joins[k].len();
                let end = if last { 1.0 } else { start + share };
                edges.push(Side {
                    curve: cut(&top, start, end),
                    join,
                });
                start = end;
            }
            edges.push(Side {
                curve: column(from, 0.0, stitch(from)),
                join: sides(gore).1,
            });
            let put = move |p: DVec2| {
                let (share, depth) = self.place_of(gore, p);
                place(share, depth)
            };
            panels.push(Panel {
                sides: edges,
                plies: 1.0,
                grain_rad: 0.0,
                place: Box::new(put),
            });
            panels.push(Panel {
                sides: vec![
                    Side {
                        curve: row(&hem, true),
                        join: Open,
                    },
                    Side {
                        curve: column(to, hem(to), stitch(to)),
                        join: hem_sides(gore).0,
                    },
                    Side {
                        curve: row(&stitch, false),
                        join: Stitches(71 + k as u32),
                    },
                    Side {
                        curve: column(from, stitch(from), hem(from)),
                        join: hem_sides(gore).1,
                    },
                ],
                plies: 2.0,
                grain_rad: 0.0,
                place: Box::new(put),
            });
        }
        panels
    }
}

/// The part of a curve between two shares of its length.
pub fn cut(curve: &[DVec2], from: f64, to: f64) -> Vec<DVec2> {
    let fine = super::panel::evenly(curve, 600);
    let (a, b) = (
        (from * 600.0).round() as usize,
        (to * 600.0).round() as usize,
    );
    fine[a..=b.max(a + 1)].to_vec()
}

/// A straight waistband of three pieces above the gores, sewn to the given seams.
pub fn waistband<'a>(
    shape: &'a Shape,
    gather: f64,
    height: f64,
    hang: &'a Hang,
    waist_joins: &[Vec<(Join, f64)>; 3],
) -> Vec<Panel<'a>> {
    use Join::{Open, Seam, Zip};
    let ends = [
        (Seam(81), Seam(82)),
        (Zip(83), Seam(81)),
        (Seam(82), Zip(83)),
    ];
    Gore::ALL
        .into_iter()
        .enumerate()
        .map(|(k, gore)| {
            let (from, to) = gore.span();
            let half = shape.half(gore, 0.0) / gather;
            let corner = |t: f64, up: f64| dvec2(half * t, up);
            let line = |a: DVec2, b: DVec2| -> Vec<DVec2> {
                (0..=40).map(|i| a.lerp(b, f64::from(i) / 40.0)).collect()
            };
            let edge = |curve, join| Side { curve, join };
            Panel {
                sides: vec![
                    edge(
                        line(corner(from, 0.0), corner(to, 0.0)),
                        waist_joins[k][0].0,
                    ),
                    edge(line(corner(to, 0.0), corner(to, height)), ends[k].0),
                    edge(line(corner(to, height), corner(from, height)), Open),
                    edge(line(corner(from, height), corner(from, 0.0)), ends[k].1),
                ],
                plies: 3.0,
                grain_rad: 0.0,
                place: Box::new(move |p: DVec2| {
                    let share = shape.share(gore, p.x / half, 0.0);
                    hang.place(share, height - p.y)
                }),
            }
        })
        .collect()
}
