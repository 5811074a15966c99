//! The numbers of trunk and limbs: sections, and the ellipsoids and capsules
//! joined to them. Centimetres at base size.

use super::person::{Build, Person};
use super::sdf::{Table, cone, ellipsoid, soft_min, step};
use super::skeleton::{Frame, Skeleton};
use glam::{DMat3, DVec3, dvec3};

/// A primitive of the body.
pub enum Shape {
    /// A loft of ellipses along `axes.y_axis`.
    Limb {
        section: usize,
        origin: DVec3,
        axes: DMat3,
        length: f64,
        /// How far the rounded ends reach past the upper and the lower joint.
        over: [f64; 2],
        flip: f64,
    },
    Ball {
        centre: DVec3,
        axes: DMat3,
        radii: DVec3,
    },
    Rod {
        a: DVec3,
        b: DVec3,
        ra: f64,
        rb: f64,
    },
    /// A bent rod, of short straight ones: joined to the rest as one, for each by itself would raise a knob where two meet.
    Bent {
        points: [DVec3; BENT],
        radii: [f64; BENT],
    },
}

/// Points of a [`Shape::Bent`].
const BENT: usize = 7;

impl Shape {
    pub fn distance(&self, sections: &Sections, p: DVec3) -> f64 {
        match self {
            Self::Ball {
                centre,
                axes,
                radii,
            } => ellipsoid(axes.transpose() * (p - centre), *radii),
            Self::Rod { a, b, ra, rb } => cone(p, *a, *b, *ra, *rb),
            Self::Bent { points, radii } => (1..BENT)
                .map(|k| cone(p, points[k - 1], points[k], radii[k - 1], radii[k]))
                .fold(f64::INFINITY, f64::min),
            Self::Limb {
                section,
                origin,
                axes,
                length,
                over,
                flip,
            } => {
                let q = axes.transpose() * (p - origin);
                loft(&sections[*section], q, *length, *over, *flip)
            }
        }
    }

    /// A ball that holds it.
    fn bound(&self, sections: &Sections) -> (DVec3, f64) {
        match self {
            Self::Ball { centre, radii, .. } => (*centre, radii.max_element()),
            Self::Rod { a, b, ra, rb } => (0.5 * (*a + *b), 0.5 * a.distance(*b) + ra.max(*rb)),
            Self::Bent { points, radii } => {
                let middle = points.iter().sum::<DVec3>() / BENT as f64;
                let reach = |(p, r): (&DVec3, &f64)| p.distance(middle) + r;
                (
                    middle,
                    points.iter().zip(radii).map(reach).fold(0.0, f64::max),
                )
            }
            Self::Limb {
                section,
                origin,
                axes,
                length,
                over,
                ..
            } => {
                let r = (0..=16)
                    .map(|i| sections[*section].at(f64::from(i) / 16.0))
                    .map(|[a, b, x, z]| a.max(b) + x.abs().max(z.abs()))
                    .fold(0.0, f64::max);
                (
                    *origin + axes.y_axis * (0.5 * length),
                    (0.5 * length).hypot(r) + 0.5 + over[0].max(over[1]),
                )
            }
        }
    }
}

/// Distance to a loft of ellipses [half x, half z, offset x, offset z] along +y.
pub fn loft(table: &Table<4>, q: DVec3, length: f64, over: [f64; 2], flip: f64) -> f64 {
    let [a, b, ox, oz] = table.at(q.y / length);
    let d = ellipsoid(dvec3(q.x - ox * flip, 0.0, q.z - oz), dvec3(a, 1.0, b));
    // Rounded ends.
    let m = a.min(b);
    let beyond = (-q.y - over[0]).max(q.y - length - over[1]);
    if beyond <= -0.3 * m {
        return d;
    }
    let cap = (beyond + 0.3 * m).hypot((d + 0.5 * m).max(0.0)) - 0.5 * m;
    d.max(cap)
}

/// Limb sections along thigh, shin, upper arm and forearm, from joint (0) to joint (1).
pub type Sections = [Table<4>; 4];

struct Piece {
    blend: f64,
    shape: Shape,
    centre: DVec3,
    radius: f64,
}

/// Shapes under one bounding ball, each joined to those before it.
#[derive(Default)]
pub struct Group {
    pieces: Vec<Piece>,
    centre: DVec3,
    radius: f64,
}

impl Group {
    pub fn new(shapes: Vec<(f64, Shape)>, sections: &Sections) -> Self {
        let pieces: Vec<Piece> = shapes
            .into_iter()
            .map(|(blend, shape)| {
                let (centre, radius) = shape.bound(sections);
                Piece {
                    blend,
                    shape,
                    centre,
                    radius,
                }
            })
            .collect();
        let centre = pieces.iter().map(|b| b.centre).sum::<DVec3>() / pieces.len().max(1) as f64;
        let radius = pieces
            .iter()
            .map(|b| b.centre.distance(centre) + b.radius)
            .fold(0.0, f64::max);
        Self {
            pieces,
            centre,
            radius,
        }
    }

    /// Distance to the group, or a lower bound where it is more than 8 cm off.
    pub fn distance(&self, sections: &Sections, p: DVec3) -> f64 {
        let outside = p.distance(self.centre) - self.radius;
        if outside > 8.0 {
            return outside;
        }
        self.joined(sections, p, f64::INFINITY)
    }

    /// The group's shapes joined to a solid that is `d` away.
    pub fn joined(&self, sections: &Sections, p: DVec3, mut d: f64) -> f64 {
        for piece in &self.pieces {
            // Too far off to change the result.
            if p.distance(piece.centre) - piece.radius > d + 1.5 * piece.blend + 1.0 {
                continue;
            }
            let e = piece.shape.distance(sections, p);
            d = if d.is_finite() {
                soft_min(d, e, piece.blend)
            } else {
                e
            };
        }
        d
    }
}

/// How girth spreads over the trunk: factor of breadths at height `y`.
pub fn girth_at(person: &Person, y: f64) -> f64 {
    let s = &person.size;
    let lower = s.hip_girth + (s.waist_girth - s.hip_girth) * step(91.0, 106.0, y);
    lower + (s.girth - s.waist_girth) * step(109.0, 123.0, y)
}

/// Breadth that goes with the trunk's depth.
fn slim(person: &Person) -> f64 {
    person.size.depth.powf(-0.8)
}

/// Depth grows faster than breadth.
fn deep(girth: f64) -> f64 {
    girth.powf(1.15)
}

/// Half breadth, front z and back z against height; exponent 2.35 across.
pub fn torso_table(person: &Person) -> Table<3> {
    const WOMAN: [(f64, [f64; 3]); 14] = [
        (76.0, [10.0, 2.6, -5.6]),
        (80.0, [13.6, 4.4, -8.0]),
        (84.0, [16.5, 6.4, -9.8]),
        (90.0, [17.8, 8.2, -10.8]),
        (96.0, [16.9, 9.1, -9.6]),
        (102.0, [14.2, 9.3, -8.2]),
        (108.0, [12.6, 9.0, -7.6]),
        (112.0, [12.4, 9.0, -7.9]),
        (118.0, [13.1, 9.1, -8.9]),
        (126.0, [14.4, 9.3, -10.2]),
        (132.0, [15.4, 8.7, -10.6]),
        (138.0, [15.2, 7.3, -9.9]),
        (142.0, [12.5, 5.5, -8.6]),
        (146.0, [7.0, 2.2, -7.2]),
    ];
    const MAN: [(f64, [f64; 3]); 14] = [
        (76.0, [10.0, 2.8, -5.6]),
        (80.0, [13.2, 5.0, -7.8]),
        (84.0, [15.0, 7.3, -9.8]),
        (90.0, [16.0, 9.0, -10.8]),
        (96.0, [15.9, 9.8, -9.8]),
        (102.0, [15.5, 10.4, -8.7]),
        (108.0, [15.0, 10.6, -8.5]),
        (112.0, [14.9, 10.6, -8.8]),
        (118.0, [15.0, 10.3, -9.3]),
        (126.0, [15.5, 10.2, -10.0]),
        (132.0, [16.4, 10.2, -10.3]),
        (138.0, [16.5, 8.8, -10.0]),
        (142.0, [14.6, 7.0, -9.2]),
        (146.0, [8.6, 3.4, -7.8]),
    ];
    let rows = match person.build {
        Build::Woman => WOMAN,
        Build::Man => MAN,
    };
    let rows = rows.map(|(y, [half, front, back])| {
        let girth = girth_at(person, y);
        let mid = 0.5 * (front + back);
        let depth = deep(girth) * person.size.depth;
        let z = |v: f64| mid + (v - mid) * depth;
        (y, [half * girth * slim(person), z(front), z(back)])
    });
    Table::new(&rows, 128, 3.0)
}

/// Limb sections [lateral half breadth, depth, offset out, offset forward].
pub fn limb_sections(person: &Person) -> Sections {
    type Rows = &'static [(f64, [f64; 4])];
    const WOMAN: [Rows; 4] = [
        &[
            (-0.15, [4.4, 5.0, -2.2, -0.8]),
            (-0.07, [6.0, 6.6, -1.2, -0.6]),
            (0.0, [7.0, 7.7, -0.5, -0.5]),
            (0.08, [7.7, 8.5, -0.1, -0.4]),
            (0.18, [8.0, 8.9, 0.15, -0.2]),
            (0.35, [7.5, 8.3, 0.2, 0.3]),
            (0.6, [6.1, 6.85, 0.0, 0.5]),
            (0.8, [5.1, 5.75, -0.1, 0.3]),
            (0.92, [4.75, 5.2, 0.0, 0.1]),
            (1.0, [4.65, 5.05, 0.0, 0.0]),
        ],
        &[
            (0.0, [4.65, 5.05, 0.0, 0.0]),
            (0.08, [4.6, 4.9, 0.0, -0.3]),
            (0.18, [4.8, 5.1, 0.1, -0.9]),
            (0.32, [5.15, 5.55, 0.1, -1.5]),
            (0.45, [4.75, 5.1, 0.1, -1.4]),
            (0.6, [3.85, 4.25, 0.0, -1.0]),
            (0.78, [2.9, 3.35, 0.0, -0.6]),
            (0.9, [2.6, 3.1, 0.0, -0.5]),
            (1.0, [2.75, 3.1, 0.0, -0.4]),
        ],
        &[
            (0.0, [3.3, 3.7, -0.1, 0.0]),
            (0.1, [3.9, 4.3, 0.25, 0.05]),
            (0.22, [4.1, 4.65, 0.35, 0.1]),
            (0.4, [3.6, 4.15, 0.1, 0.1]),
            (0.65, [3.2, 3.65, 0.0, 0.1]),
            (0.85, [3.0, 3.2, 0.0, 0.0]),
            (1.0, [2.95, 3.05, 0.0, 0.0]),
        ],
        &[
            (0.0, [2.95, 3.05, 0.0, 0.0]),
            (0.12, [3.45, 3.25, 0.0, 0.0]),
            (0.25, [3.6, 3.25, 0.0, 0.0]),
            (0.45, [3.2, 2.85, 0.0, 0.0]),
            (0.7, [2.55, 2.2, 0.0, 0.0]),
            (0.88, [2.25, 1.8, 0.0, 0.0]),
            (1.0, [2.3, 1.72, 0.0, 0.0]),
        ],
    ];
    const MAN: [Rows; 4] = [
        &[
            (-0.15, [4.6, 5.2, -2.2, -0.6]),
            (-0.07, [6.2, 6.9, -1.2, -0.5]),
            (0.0, [7.3, 8.0, -0.5, -0.4]),
            (0.08, [8.0, 8.7, -0.1, -0.3]),
            (0.18, [8.25, 9.2, 0.1, -0.1]),
            (0.35, [8.0, 8.7, 0.2, 0.3]),
            (0.6, [6.9, 7.6, 0.0, 0.5]),
            (0.8, [5.7, 6.4, -0.1, 0.2]),
            (0.92, [5.25, 5.7, 0.0, 0.1]),
            (1.0, [5.15, 5.5, 0.0, 0.0]),
        ],
        &[
            (0.0, [5.15, 5.5, 0.0, 0.0]),
            (0.08, [5.0, 5.35, 0.0, -0.3]),
            (0.18, [5.2, 5.5, 0.1, -0.9]),
            (0.32, [5.5, 5.9, 0.1, -1.6]),
            (0.45, [5.1, 5.5, 0.1, -1.5]),
            (0.6, [4.2, 4.6, 0.0, -1.0]),
            (0.78, [3.1, 3.6, 0.0, -0.6]),
            (0.9, [2.8, 3.4, 0.0, -0.5]),
            (1.0, [3.0, 3.4, 0.0, -0.4]),
        ],
        &[
            (0.0, [4.3, 4.6, 0.0, 0.0]),
            (0.1, [5.0, 5.5, 0.3, 0.0]),
            (0.24, [5.15, 5.7, 0.45, 0.0]),
            (0.42, [4.55, 5.4, 0.1, 0.25]),
            (0.62, [4.25, 5.0, 0.0, 0.2]),
            (0.85, [3.75, 4.0, 0.0, 0.0]),
            (1.0, [3.65, 3.75, 0.0, 0.0]),
        ],
        &[
            (0.0, [3.65, 3.75, 0.0, 0.0]),
            (0.12, [4.15, 3.95, 0.0, 0.0]),
            (0.27, [4.35, 4.0, 0.0, 0.0]),
            (0.48, [3.8, 3.4, 0.0, 0.0]),
            (0.7, [3.1, 2.65, 0.0, 0.0]),
            (0.88, [2.8, 2.15, 0.0, 0.0]),
            (1.0, [2.85, 2.05, 0.0, 0.0]),
        ],
    ];
    let rows = match person.build {
        Build::Woman => WOMAN,
        Build::Man => MAN,
    };
    let s = &person.size;
    // Thighs that touch grow to the front and back more than sideways.
    let factor = [
        [s.thigh.powf(0.6), s.thigh.powf(1.4)],
        [s.calf; 2],
        [s.arm; 2],
        [s.forearm; 2],
    ];
    std::array::from_fn(|i| {
        Table::new(rows[i], 64, 1.5)
            .scaled(0, factor[i][0])
            .scaled(1, factor[i][1])
    })
}

pub fn ball(centre: DVec3, axes: DMat3, radii: [f64; 3]) -> Shape {
    Shape::Ball {
        centre,
        axes,
        radii: DVec3::from(radii),
    }
}

/// Breast or pectoral, shoulder blade, trapezius, glute and collar bone, grown with the size.
pub fn torso_shapes(person: &Person, skeleton: &Skeleton) -> Vec<(f64, Shape)> {
    let size = &person.size;
    let (g, seat) = (size.girth, size.hip_girth);
    // Grown about the axis of the trunk, so that muscle stays on a larger ribcage.
    let place = |p: [f64; 3], side: f64, g: f64| {
        let z = -0.6 + (p[2] + 0.6) * deep(g) * size.depth;
        dvec3(p[0] * side * g.powf(0.6) * slim(person), p[1], z)
    };
    let thick = |r: [f64; 3], g: f64| [r[0] * g * slim(person), r[1], r[2] * g * size.depth];
    let on_girdle =
        |[x, y, z]: [f64; 3], s: f64| skeleton.thorax.out(dvec3(x * s * size.shoulder, y, z));
    let mut shapes = Vec::new();
    for s in [1.0, -1.0] {
        let muscle = |k, a, b, ra: f64, rb: f64| {
            let out = |p| skeleton.thorax.out(place(p, s, g));
            let (a, b) = (out(a), out(b));
            (k, Shape::Rod { a, b, ra, rb })
        };
        let mass = |k, frame: &Frame, c, r, g| {
            (
                k,
                ball(frame.out(place(c, s, g)), frame.rotation, thick(r, g)),
            )
        };
        // The girdle moves with the shoulder joint, not with the ribs.
        let girdle = |k, a: [f64; 3], b: [f64; 3], ra: f64, rb: f64| {
            let (a, b) = (on_girdle(a, s), on_girdle(b, s));
            (k, Shape::Rod { a, b, ra, rb })
        };
        // Through its ends, drawn to the middle point (a curve of the second order).
        let collar_bone = |k, points: [[f64; 3]; 3], radii: [f64; 3]| {
            let [a, b, c] = points.map(|p| on_girdle(p, s));
            let share = |i: usize| i as f64 / (BENT - 1) as f64;
            let at = |i: usize| a.lerp(b, share(i)).lerp(b.lerp(c, share(i)), share(i));
            let [ra, rb, rc] = radii;
            let mix = |x: f64, y: f64, t: f64| x + (y - x) * t;
            let thick = |t: f64| mix(mix(ra, rb, t), mix(rb, rc, t), t);
            let bone = Shape::Bent {
                points: std::array::from_fn(at),
                radii: std::array::from_fn(|i| thick(share(i))),
            };
            (k, bone)
        };
        match person.build {
            Build::Woman => {
                let mut breast = mass(4.4, &skeleton.thorax, [7.4, 126.0, 5.4], [6.3, 6.6, 6.3], g);
                if let (_, Shape::Ball { radii, .. }) = &mut breast {
                    radii.y *= g;
                }
                shapes.push(breast);
                shapes.push(muscle(4.5, [5.0, 131.0, 6.0], [13.6, 136.0, 2.0], 3.6, 3.2));
                shapes.push(mass(
                    5.0,
                    &skeleton.thorax,
                    [8.5, 130.0, -7.5],
                    [5.5, 9.0, 3.4],
                    g,
                ));
                shapes.push(girdle(
                    4.0,
                    [3.0, 146.4, -3.6],
                    [13.6, 140.6, -2.4],
                    2.7,
                    2.0,
                ));
                shapes.push(collar_bone(
                    2.7,
                    [[2.4, 141.0, 4.1], [8.0, 142.0, 3.5], [14.6, 141.5, -0.6]],
                    [0.5, 0.5, 0.7],
                ));
                shapes.push(mass(
                    3.5,
                    &skeleton.pelvis,
                    [7.4, 87.5, -5.6],
                    [8.2, 8.6, 6.6],
                    seat,
                ));
            }
            Build::Man => {
                shapes.push(mass(
                    5.0,
                    &skeleton.thorax,
                    [8.0, 131.0, 4.2],
                    [7.6, 6.0, 6.0],
                    g,
                ));
                shapes.push(muscle(5.0, [6.0, 134.0, 5.0], [15.6, 137.2, 1.0], 3.8, 3.6));
                shapes.push(mass(
                    5.0,
                    &skeleton.thorax,
                    [9.4, 130.0, -7.2],
                    [6.2, 10.0, 3.6],
                    g,
                ));
                // Latissimus, from the armpit down the flank.
                shapes.push(muscle(
                    5.0,
                    [12.2, 132.0, -5.0],
                    [10.5, 116.0, -3.5],
                    3.4,
                    2.4,
                ));
                shapes.push(girdle(
                    4.5,
                    [3.4, 147.2, -3.9],
                    [16.2, 141.4, -2.6],
                    3.4,
                    2.6,
                ));
                shapes.push(collar_bone(
                    2.6,
                    [[2.8, 141.6, 4.9], [9.0, 142.8, 4.0], [17.4, 142.3, -0.6]],
                    [0.55, 0.6, 0.85],
                ));
                shapes.push(mass(
                    3.5,
                    &skeleton.pelvis,
                    [6.8, 86.5, -5.0],
                    [7.4, 7.4, 6.0],
                    seat,
                ));
            }
        }
    }
    shapes
}

/// The column of the neck and the two muscles from behind the ears to the notch.
pub fn neck_shapes(person: &Person, skeleton: &Skeleton) -> Vec<(f64, Shape)> {
    let wide = person.size.neck;
    let base = skeleton.thorax.out(dvec3(0.0, 146.5, -2.9));
    let root = skeleton.thorax.out(dvec3(0.0, 141.0, -2.5));
    let on_head = |p: [f64; 3]| skeleton.on_head(DVec3::from(p));
    let (column, muscle) = match person.build {
        Build::Woman => ([4.6, 3.95, 5.9, 4.8], [38.0, 0.8, 0.4]),
        Build::Man => ([5.6, 5.0, 7.2, 5.9], [43.0, 1.05, 0.5]),
    };
    let top = on_head([0.0, -28.0, -18.0]);
    let rod = |a, b, ra, rb| Shape::Rod { a, b, ra, rb };
    let mut shapes = vec![
        (1.0, rod(base, top, column[0] * wide, column[1] * wide)),
        (1.0, rod(root, base, column[2], column[3] * wide)),
    ];
    for s in [1.0, -1.0] {
        let notch = match person.build {
            Build::Woman => dvec3(1.7 * s, 142.6, 4.0),
            Build::Man => dvec3(2.0 * s, 143.2, 4.8),
        };
        let ear = on_head([muscle[0] * s, -44.0, -16.0]);
        let notch = skeleton.thorax.out(notch);
        shapes.push((4.4, rod(ear, notch, muscle[1] * wide, muscle[2] * wide)));
    }
    if person.build == Build::Man {
        // The larynx.
        let larynx = on_head([0.0, -143.0, 29.0]);
        shapes.push((2.6, ball(larynx, skeleton.head.rotation, [0.9, 1.9, 1.1])));
    }
    shapes
}
