//! The numbers of the body: sections of torso and limbs, and the ellipsoids and
//! capsules joined to them. Centimetres at base size.

use super::body::Frame;
use super::sdf::{Table, frame};
use glam::{DMat3, DVec3, dvec3};

const PALM: f64 = 9.2;

/// A primitive of the body.
pub enum Shape {
    Limb {
        section: usize,
        origin: DVec3,
        axes: DMat3,
        length: f64,
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
}

/// Shapes under one bounding sphere, each with its blend width.
#[derive(Default)]
pub struct Group {
    pub shapes: Vec<(f64, Shape)>,
    pub centre: DVec3,
    pub radius: f64,
}

impl Group {
    pub fn new(shapes: Vec<(f64, Shape)>) -> Self {
        let mut balls: Vec<(DVec3, f64)> = Vec::new();
        for (_, shape) in &shapes {
            match shape {
                Shape::Limb {
                    section,
                    origin,
                    axes,
                    length,
                    ..
                } => {
                    let r = if *section == 0 { 11.5 } else { 7.5 };
                    balls.push((*origin, r));
                    balls.push((*origin + axes.y_axis * *length, r));
                }
                Shape::Ball { centre, radii, .. } => balls.push((*centre, radii.max_element())),
                Shape::Rod { a, b, ra, rb } => balls.extend([(*a, *ra), (*b, *rb)]),
            }
        }
        let centre = balls.iter().map(|b| b.0).sum::<DVec3>() / balls.len().max(1) as f64;
        let radius = balls
            .iter()
            .map(|(p, r)| (p - centre).length() + r)
            .fold(0.0, f64::max);
        Self {
            shapes,
            centre,
            radius,
        }
    }
}

/// Half breadth, front z and back z against height; exponent 2.35 across.
pub fn torso_table(girth: f64) -> Table<3> {
    let rows: [(f64, [f64; 3]); 14] = [
        (76.0, [11.0, 3.0, -6.0]),
        (80.0, [15.2, 5.0, -8.6]),
        (84.0, [16.8, 7.0, -10.2]),
        (90.0, [17.4, 8.4, -11.2]),
        (96.0, [16.0, 9.0, -9.8]),
        (102.0, [13.9, 9.1, -8.0]),
        (108.0, [12.5, 8.6, -7.1]),
        (112.0, [12.5, 8.7, -7.5]),
        (118.0, [13.2, 9.0, -8.8]),
        (126.0, [14.4, 9.4, -10.2]),
        (132.0, [15.4, 8.8, -10.6]),
        (138.0, [15.2, 7.4, -9.6]),
        (142.0, [12.5, 5.5, -7.6]),
        (146.0, [7.0, 2.2, -6.8]),
    ];
    let deep = girth.powf(1.15);
    let rows = rows.map(|(y, [half, front, back])| {
        let mid = 0.5 * (front + back);
        (
            y,
            [
                half * girth,
                mid + (front - mid) * deep,
                mid + (back - mid) * deep,
            ],
        )
    });
    Table::new(&rows, 128, 3.0)
}

/// Limb sections [lateral half breadth, depth, offset out, offset forward] along
/// thigh, shin, upper arm, forearm and palm, each from 0 to 1.
pub fn limb_sections(girth: f64) -> [Table<4>; 5] {
    let thigh: &[(f64, [f64; 4])] = &[
        (0.0, [8.6, 9.0, 0.4, -0.6]),
        (0.15, [8.5, 8.9, 0.3, -0.4]),
        (0.35, [7.7, 8.3, 0.2, 0.2]),
        (0.6, [6.4, 7.1, 0.0, 0.4]),
        (0.8, [5.35, 6.0, -0.1, 0.2]),
        (0.92, [5.0, 5.5, 0.0, 0.1]),
        (1.0, [4.9, 5.3, 0.0, 0.1]),
    ];
    let shin: &[(f64, [f64; 4])] = &[
        (0.0, [4.85, 5.2, 0.0, 0.0]),
        (0.08, [4.7, 5.0, 0.0, -0.2]),
        (0.18, [4.9, 5.15, 0.1, -0.9]),
        (0.32, [5.15, 5.55, 0.1, -1.5]),
        (0.45, [4.75, 5.1, 0.1, -1.4]),
        (0.6, [3.85, 4.25, 0.0, -1.0]),
        (0.78, [2.9, 3.35, 0.0, -0.6]),
        (0.9, [2.6, 3.1, 0.0, -0.5]),
        (1.0, [2.75, 3.1, 0.0, -0.4]),
    ];
    let upper_arm: &[(f64, [f64; 4])] = &[
        (0.0, [3.3, 3.7, -0.1, 0.0]),
        (0.1, [3.9, 4.3, 0.25, 0.05]),
        (0.22, [4.1, 4.65, 0.35, 0.1]),
        (0.4, [3.6, 4.15, 0.1, 0.1]),
        (0.65, [3.2, 3.65, 0.0, 0.1]),
        (0.85, [3.0, 3.2, 0.0, 0.0]),
        (1.0, [2.9, 3.05, 0.0, 0.0]),
    ];
    let forearm: &[(f64, [f64; 4])] = &[
        (0.0, [3.2, 3.3, 0.0, 0.0]),
        (0.12, [3.6, 3.4, 0.0, 0.0]),
        (0.25, [3.7, 3.4, 0.0, 0.0]),
        (0.45, [3.3, 3.0, 0.0, 0.0]),
        (0.7, [2.65, 2.35, 0.0, 0.0]),
        (0.88, [2.4, 1.95, 0.0, 0.0]),
        (1.0, [2.4, 1.85, 0.0, 0.0]),
    ];
    let palm: &[(f64, [f64; 4])] = &[
        (0.0, [2.0, 1.5, 0.0, 0.0]),
        (0.14, [2.25, 1.55, 0.0, 0.0]),
        (0.35, [2.8, 1.55, 0.0, 0.1]),
        (0.6, [3.15, 1.42, 0.0, 0.1]),
        (0.82, [3.3, 1.2, 0.0, 0.0]),
        (0.93, [3.15, 1.0, 0.0, 0.0]),
        (1.0, [2.7, 0.75, 0.0, 0.0]),
    ];
    let limb = |rows, slim: f64| {
        let f = slim * girth.powf(0.9);
        Table::new(rows, 64, 1.5).scaled(0, f).scaled(1, f)
    };
    [
        limb(thigh, 0.955),
        limb(shin, 1.0),
        limb(upper_arm, 1.0),
        limb(forearm, 0.9),
        Table::new(palm, 64, 1.5),
    ]
}

pub fn ball(centre: DVec3, axes: DMat3, radii: [f64; 3]) -> Shape {
    Shape::Ball {
        centre,
        axes,
        radii: DVec3::from(radii),
    }
}

pub fn torso_shapes(girth: f64, pelvis: &Frame, thorax: &Frame) -> Vec<(f64, Shape)> {
    let deep = girth.powf(1.15);
    let mut shapes = Vec::new();
    for s in [1.0, -1.0] {
        let at = |x: f64, y: f64, z: f64| thorax.out(dvec3(x * s, y, z));
        let rod = |a: [f64; 3], b: [f64; 3], ra, rb| Shape::Rod {
            a: at(a[0], a[1], a[2]),
            b: at(b[0], b[1], b[2]),
            ra,
            rb,
        };
        // Breast, pectoral, shoulder blade, trapezius, glute, collar bone.
        let breast = at(7.6 * girth.powf(0.6), 126.0, 5.4 + 9.0 * (deep - 1.0));
        shapes.push((
            4.4,
            ball(breast, thorax.rotation, [6.3, 6.6, 6.3].map(|r| r * girth)),
        ));
        shapes.push((4.5, rod([5.0, 131.0, 6.0], [13.6, 136.0, 2.0], 3.6, 3.2)));
        shapes.push((
            5.0,
            ball(at(8.5, 130.0, -7.5), thorax.rotation, [5.5, 9.0, 3.4]),
        ));
        shapes.push((4.0, rod([3.4, 146.8, -4.4], [13.6, 140.6, -2.4], 2.9, 2.0)));
        let glute = pelvis.out(dvec3(7.4 * s, 87.5, -5.6));
        let radii = [8.2 * girth, 8.6, 6.6 * girth];
        shapes.push((3.5, ball(glute, pelvis.rotation, radii)));
        shapes.push((2.6, rod([2.2, 141.2, 4.75], [8.0, 142.0, 4.6], 0.6, 0.6)));
        shapes.push((2.4, rod([8.0, 142.0, 4.6], [14.6, 141.6, -0.2], 0.6, 0.72)));
    }
    shapes
}

pub fn neck(girth: f64, thorax: &Frame, head: &Frame) -> Group {
    let wide = girth.sqrt();
    let base = thorax.out(dvec3(0.0, 146.5, -3.3));
    let on_head = |x: f64, y: f64, z: f64| head.out(dvec3(x, y, z) * 0.1);
    let mut shapes = vec![
        (
            1.0,
            Shape::Rod {
                a: base,
                b: on_head(0.0, -28.0, -18.0),
                ra: 4.65 * wide,
                rb: 3.95 * wide,
            },
        ),
        (
            1.0,
            Shape::Rod {
                a: thorax.out(dvec3(0.0, 141.0, -2.5)),
                b: base,
                ra: 6.2,
                rb: 4.9 * wide,
            },
        ),
    ];
    for s in [1.0, -1.0] {
        // The muscle from behind the ear to the notch, barely proud.
        let b = thorax.out(dvec3(1.7 * s, 142.6, 4.0));
        shapes.push((
            4.4,
            Shape::Rod {
                a: on_head(38.0 * s, -44.0, -16.0),
                b,
                ra: 0.85,
                rb: 0.42,
            },
        ));
    }
    Group::new(shapes)
}

/// Palm, four fingers of three bones, thumb of three. Returns the middle fingertip.
pub fn hand_shapes(
    shapes: &mut Vec<(f64, Shape)>,
    wrist: DVec3,
    along: DVec3,
    palm: DVec3,
    thumb: DVec3,
    curl: f64,
) -> DVec3 {
    let axes = frame(along, palm);
    let s = if axes.x_axis.dot(thumb) > 0.0 {
        1.0
    } else {
        -1.0
    };
    let at = |q: DVec3| wrist + axes * dvec3(q.x * s, q.y, q.z);
    let bone = |a: DVec3, b: DVec3, ra, rb| Shape::Rod {
        a: at(a),
        b: at(b),
        ra,
        rb,
    };
    shapes.push((
        1.1,
        Shape::Limb {
            section: 4,
            origin: wrist,
            axes,
            length: PALM,
            flip: 1.0,
        },
    ));
    // [across, start, length, radius, bend at each joint, splay]
    const FINGERS: [[f64; 8]; 4] = [
        [2.42, 8.7, 6.9, 0.74, 10.0, 20.0, 12.0, 1.2],
        [0.83, 9.1, 7.7, 0.76, 13.0, 24.0, 14.0, 0.2],
        [-0.74, 8.8, 7.1, 0.73, 17.0, 28.0, 16.0, -0.8],
        [-2.18, 8.1, 5.6, 0.63, 22.0, 30.0, 18.0, -2.2],
    ];
    let mut tip = wrist;
    for (index, [x, y, length, r, b0, b1, b2, splay]) in FINGERS.into_iter().enumerate() {
        let mut p = dvec3(x, y - 0.9, 0.12);
        let mut bend: f64 = 0.0;
        let side = splay.to_radians();
        let bones = [0.46 * length + 0.9, 0.30 * length, 0.24 * length];
        let radii = [r * 1.06, r, r * 0.9, r * 0.7];
        for (j, (bone_length, joint)) in bones.into_iter().zip([b0, b1, b2]).enumerate() {
            bend += (joint * curl).to_radians();
            let d = dvec3(side.sin() * bend.cos(), side.cos() * bend.cos(), bend.sin());
            let q = p + d * bone_length;
            shapes.push((
                if j == 0 { 0.75 } else { 0.12 },
                bone(p, q, radii[j], radii[j + 1]),
            ));
            p = q;
        }
        if index == 1 {
            tip = at(p);
        }
    }
    let mut p = dvec3(1.55, 1.5, 0.45);
    const THUMB: [([f64; 3], f64, f64, f64); 3] = [
        ([0.44, 0.84, 0.34], 4.3, 1.2, 1.0),
        ([0.13, 0.97, 0.20], 3.1, 0.9, 0.8),
        ([-0.02, 0.99, 0.06], 2.4, 0.78, 0.58),
    ];
    for (j, (d, length, ra, rb)) in THUMB.into_iter().enumerate() {
        let q = p + DVec3::from(d).normalize() * length;
        shapes.push((if j == 0 { 0.9 } else { 0.22 }, bone(p, q, ra, rb)));
        p = q;
    }
    shapes.push((1.0, ball(at(dvec3(1.8, 3.1, 0.85)), axes, [1.15, 2.6, 1.0])));
    tip
}
