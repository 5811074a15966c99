//! The head against anthropometry, optics and the topology of a surface.

use glam::{DVec3, Vec3, dvec3};
use std::collections::BTreeMap;
use std::sync::OnceLock;
use swatchlight::figure::eye::{self, CORNEA_CENTRE_MM, CORNEA_RADIUS_MM, IRIS_DEPTH_MM};
use swatchlight::figure::head::{GLOBE_MM, Head};
use swatchlight::figure::paint::{Colour, Complexion, Tone, lab_to_linear};
use swatchlight::figure::skin_mesh::{SkinDetail, skin, skin_surface};
use swatchlight::figure::{Body, Build, Field, Mesh, Person, Pose};

const BUILDS: [Build; 2] = [Build::Woman, Build::Man];

fn body(build: Build) -> &'static Body {
    static BODIES: OnceLock<[Body; 2]> = OnceLock::new();
    let all = BODIES
        .get_or_init(|| BUILDS.map(|b| Body::new(&Person::new(b), &Pose::named("front").unwrap())));
    &all[usize::from(build == Build::Man)]
}

fn surface() -> &'static Mesh {
    static MESH: OnceLock<Mesh> = OnceLock::new();
    MESH.get_or_init(|| skin_surface(body(Build::Woman), &SkinDetail::default()))
}

/// First meeting of a ray with the head, in head millimetres.
fn meet(head: &Head, from: DVec3, along: DVec3) -> Option<DVec3> {
    let mut t = 0.0;
    while t < 400.0 {
        let d = head.distance(from + along * t);
        if d < 1e-3 {
            return Some(from + along * t);
        }
        t += (0.7 * d).max(1e-3);
    }
    None
}

/// True millimetres of a length in the head's frame on the size M body.
fn true_mm(build: Build, mm: f64) -> f64 {
    mm * body(build).head_scale() * 10.0
}

fn within(what: &str, build: Build, got: f64, mean: f64, sd: f64) {
    let off = (got - mean) / sd;
    assert!(
        off.abs() <= 2.0,
        "{what} of {build:?}: {got:.1} mm is {off:+.1} standard deviations from {mean}"
    );
}

/// Half breadth: the outermost point at height `y` between two depths.
fn half_breadth(head: &Head, y: f64, z: std::ops::Range<i32>) -> f64 {
    z.filter_map(|z| meet(head, dvec3(150.0, y, f64::from(z)), DVec3::NEG_X))
        .map(|p| p.x)
        .fold(0.0, f64::max)
}

fn profile(head: &Head, y: f64) -> f64 {
    meet(head, dvec3(0.0, y, 200.0), DVec3::NEG_Z).map_or(f64::NAN, |p| p.z)
}

fn menton(head: &Head) -> f64 {
    (55..95)
        .filter_map(|z| meet(head, dvec3(0.0, -190.0, f64::from(z)), DVec3::Y))
        .map(|p| p.y)
        .fold(0.0, f64::min)
}

fn crown(head: &Head) -> f64 {
    (-30..30)
        .filter_map(|z| meet(head, dvec3(0.0, 190.0, f64::from(z)), DVec3::NEG_Y))
        .map(|p| p.y)
        .fold(0.0, f64::max)
}

/// Means and standard deviations of the 1988 survey of US Army personnel
/// (Gordon et al. 1989), in millimetres, from memory. Size M is taller than
/// the survey's mean, so two standard deviations either way are allowed.
#[test]
fn head_measures_lie_within_a_survey() {
    for build in BUILDS {
        let head = Head::new(build);
        let man = build == Build::Man;
        let pick = |woman: f64, of_man: f64| if man { of_man } else { woman };
        let breadth = 2.0 * half_breadth(&head, 35.0, -40..30);
        within(
            "head breadth",
            build,
            true_mm(build, breadth),
            pick(144.4, 151.7),
            pick(5.0, 5.4),
        );
        let back = (10..45)
            .filter_map(|y| meet(&head, dvec3(0.0, f64::from(y), -200.0), DVec3::Z))
            .map(|p| p.z)
            .fold(0.0, f64::min);
        let length = profile(&head, 20.0) - back;
        within(
            "head length",
            build,
            true_mm(build, length),
            pick(187.2, 197.1),
            pick(6.4, 7.1),
        );
        let zygoma = 2.0 * half_breadth(&head, -15.0, 22..60);
        within(
            "bizygomatic breadth",
            build,
            true_mm(build, zygoma),
            pick(131.0, 140.5),
            5.3,
        );
        let pupils = Head::eye_mm(0).x - Head::eye_mm(1).x;
        within(
            "interpupillary distance",
            build,
            true_mm(build, pupils),
            pick(62.3, 64.7),
            3.6,
        );
        let sellion = (-6..16)
            .map(f64::from)
            .min_by(|a, b| profile(&head, *a).total_cmp(&profile(&head, *b)))
            .unwrap();
        let face = sellion - menton(&head);
        within(
            "menton to sellion",
            build,
            true_mm(build, face),
            pick(113.4, 121.9),
            6.2,
        );
    }
}

/// Common practice of drawing and sculpture since the canons: eyes half-way up
/// the head; hairline, brow, base of the nose and chin a third apart.
#[test]
fn face_keeps_the_canon() {
    for build in BUILDS {
        let head = Head::new(build);
        let (top, bottom) = (crown(&head), menton(&head));
        let eyes = -bottom / (top - bottom);
        assert!(
            (eyes - 0.5).abs() < 0.02,
            "eye line of {build:?} at {eyes:.3}"
        );
        let hairline = (400..900)
            .map(|y| 0.1 * f64::from(y))
            .find(|&y| head.scalp(dvec3(0.0, y, profile(&head, y))) > 0.0)
            .unwrap();
        let brow = 17.0 - head.traits().brow_drop;
        // Base of the nose: where the columella meets the lip, the innermost point below it.
        let base = (-50..-38)
            .map(f64::from)
            .find(|&y| profile(&head, y + 1.0) - profile(&head, y) > 1.2)
            .unwrap();
        let thirds = [hairline - brow, brow - base, base - bottom];
        let mean = thirds.iter().sum::<f64>() / 3.0;
        for third in thirds {
            assert!(
                (third / mean - 1.0).abs() < 0.17,
                "thirds of {build:?}: {thirds:.1?}"
            );
        }
    }
}

/// Jaw narrower than the cheekbones, chin narrower than the jaw, and neither
/// pinched: Farkas (1994, from memory) has the mandible 70 to 78 per cent of the
/// bizygomatic breadth in both sexes.
#[test]
fn jaw_is_neither_starved_nor_square() {
    for build in BUILDS {
        let head = Head::new(build);
        let zygoma = half_breadth(&head, -15.0, 22..60);
        let jaw = half_breadth(&head, -66.0, 5..90) / zygoma;
        assert!((0.68..0.84).contains(&jaw), "{build:?} jaw {jaw:.2}");
        let widths: Vec<f64> = (0..14)
            .map(|k| half_breadth(&head, -40.0 - 5.0 * f64::from(k), 15..95))
            .collect();
        for pair in widths.windows(2) {
            let fall = pair[0] - pair[1];
            assert!((-0.3..8.5).contains(&fall), "{build:?} {widths:.1?}");
        }
    }
}

#[test]
fn face_is_not_its_own_mirror_image_but_nearly() {
    let head = Head::new(Build::Woman);
    let mut most: f64 = 0.0;
    for (x, y) in [
        (24.0, -61.0),
        (14.0, -34.0),
        (45.0, -25.0),
        (30.0, 24.0),
        (20.0, -88.0),
    ] {
        let z = |x: f64| meet(&head, dvec3(x, y, 200.0), DVec3::NEG_Z).unwrap().z;
        most = most.max((z(x) - z(-x)).abs());
    }
    assert!((0.15..2.5).contains(&most), "{most:.2} mm");
}

/// Through the opening a straight look meets the eyeball and never the head;
/// just past the margin it meets the lid, which stands less than 6 mm proud.
#[test]
fn lids_bear_on_the_eyeballs() {
    for build in BUILDS {
        let head = Head::new(build);
        let lids = head.lid_line();
        for side in 0..2 {
            let sign = [1.0, -1.0][side];
            let eye_z = |x: f64, y: f64| {
                let mut p = dvec3(x, y, 95.0);
                for _ in 0..300 {
                    p.z -= 0.7 * eye::distance_mm(side, p).max(0.0);
                }
                (eye::distance_mm(side, p) < 0.01).then_some(p.z)
            };
            let skin_z = |x: f64, y: f64| meet(&head, dvec3(x, y, 110.0), DVec3::NEG_Z).unwrap().z;
            let (mut seen, mut margin) = (0, 0);
            for i in 0..24 {
                let u = 0.24 + 0.68 * f64::from(i) / 23.0;
                let ax = lids.span_mm(u);
                let place = lids.at(ax);
                let x = sign * ax;
                let mut y = place.lower + 0.8;
                while y < place.upper - 0.8 {
                    let (e, s) = (eye_z(x, y).unwrap(), skin_z(x, y));
                    assert!(
                        s < e - 0.05,
                        "{build:?} skin shows in the eye at {x:.1} {y:.1}: {s:.2} {e:.2}"
                    );
                    seen += 1;
                    y += 0.7;
                }
                for y in [place.lower - 0.9, place.upper + 0.9] {
                    let (e, s) = (eye_z(x, y).unwrap(), skin_z(x, y));
                    assert!(
                        (0.2..6.0).contains(&(s - e)),
                        "{build:?} lid at {x:.1} {y:.1}: {:.2} mm",
                        s - e
                    );
                    margin += 1;
                }
            }
            assert!(seen > 150 && margin == 48, "{seen} {margin}");
        }
    }
}

/// Schematic eyes (Gullstrand 1909; Emsley 1952): corneal radius 7.7 to 7.8 mm
/// (population 7.1 to 8.7), chamber with cornea 3.1 to 3.6 mm, globe 24 mm long.
#[test]
fn cornea_has_its_optics() {
    const { assert!(CORNEA_RADIUS_MM > 7.1 && CORNEA_RADIUS_MM < 8.7) };
    const { assert!(IRIS_DEPTH_MM > 3.0 && IRIS_DEPTH_MM < 3.7) };
    let apex = CORNEA_CENTRE_MM + CORNEA_RADIUS_MM;
    let length = apex + GLOBE_MM;
    assert!(
        (22.0..26.5).contains(&length),
        "axial length {length:.1} mm"
    );
    let body = body(Build::Woman);
    let parts = eye::parts(body, body.head());
    for (name, side) in [("eye.left", 1), ("eye.right", 0)] {
        let part = parts.iter().find(|p| p.name == name).unwrap();
        let frame = eye::frame(body, side);
        // The camera's left eye is the one towards negative x.
        let other = eye::frame(body, 1 - side);
        assert_eq!(frame.centre_m.x < other.centre_m.x, name == "eye.left");
        let centre = frame.centre_m + frame.gaze * (CORNEA_CENTRE_MM as f32 * frame.metres_per_mm);
        let mut on_cornea = 0;
        for (p, (uv, n)) in part
            .positions_m
            .iter()
            .zip(part.uvs_cm.iter().zip(&part.normals))
        {
            let local = *p - frame.centre_m;
            let x = local.dot(frame.up.cross(frame.gaze)) / frame.metres_per_mm;
            assert!((x - uv.x).abs() < 0.01, "{x} {uv}");
            if uv.length() < 4.8 && local.dot(frame.gaze) > 0.0 {
                let out = *p - centre;
                let r = f64::from(out.length() / frame.metres_per_mm);
                assert!((r - CORNEA_RADIUS_MM).abs() < 0.08, "{r:.3} at {uv}");
                assert!(n.dot(out.normalize()) > 0.995, "normal at {uv}");
                on_cornea += 1;
            }
        }
        assert!(on_cornea > 500, "{on_cornea}");
        let off = frame.gaze.angle_between(Vec3::Z).to_degrees();
        assert!(off < 12.0, "gaze {off:.1} degrees off the camera");
    }
    // Both gazes meet ahead of the face.
    let [l, r] = [0, 1].map(|s| eye::gaze_rotation(s) * DVec3::Z);
    assert!(l.x < r.x);
}

/// Edge counts in each direction.
fn edges(triangles: &[[u32; 3]]) -> BTreeMap<(u32, u32), u32> {
    let mut edges = BTreeMap::new();
    for t in triangles {
        for s in 0..3 {
            *edges.entry((t[s], t[(s + 1) % 3])).or_insert(0) += 1;
        }
    }
    edges
}

fn assert_closed(triangles: &[[u32; 3]]) {
    let edges = edges(triangles);
    for (&(a, b), &n) in &edges {
        assert_eq!(n, 1, "edge {a}-{b} is used {n} times in one direction");
        assert_eq!(
            edges.get(&(b, a)),
            Some(&1),
            "edge {a}-{b} has one side only"
        );
    }
}

#[test]
fn skin_is_one_closed_oriented_surface() {
    let mesh = surface();
    assert_closed(&mesh.triangles);
    assert!(mesh.triangles.len() < 230_000, "{}", mesh.triangles.len());
    // Outward: the divergence theorem gives a body's volume, 45 to 90 litres.
    let volume: f64 = mesh
        .triangles
        .iter()
        .map(|t| {
            let [a, b, c] = t.map(|v| mesh.positions[v as usize]);
            a.dot(b.cross(c)) / 6.0
        })
        .sum();
    assert!((45_000.0..90_000.0).contains(&volume), "{volume:.0} cm3");
    // On the head: fine at the lids, no slivers to speak of, on the field.
    let body = body(Build::Woman);
    let mut angles = Vec::new();
    let (mut lid, mut lids) = (0.0, 0);
    for t in &mesh.triangles {
        let p = t.map(|v| mesh.positions[v as usize]);
        let mm = body.head_mm(p[0]);
        if mm.y < -110.0 {
            continue;
        }
        for s in 0..3 {
            let (u, v) = (p[(s + 1) % 3] - p[s], p[(s + 2) % 3] - p[s]);
            angles.push(u.angle_between(v).to_degrees());
        }
        if (mm.x.abs() - 31.0).abs() < 12.0 && mm.y.abs() < 7.0 && mm.z > 72.0 {
            lid += p[0].distance(p[1]) * 10.0;
            lids += 1;
        }
    }
    angles.sort_by(f64::total_cmp);
    let hundredth = angles[angles.len() / 300];
    assert!(hundredth > 20.0, "smallest angles {hundredth:.1} degrees");
    let mean = lid / f64::from(lids);
    assert!(mean < 0.75, "{mean:.2} mm edges at the lids");
}

#[test]
fn eyeballs_and_tears_are_closed() {
    let body = body(Build::Man);
    for part in eye::parts(body, body.head()) {
        assert_closed(&part.triangles);
        let volume: f32 = part
            .triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|v| part.positions_m[v as usize] - part.positions_m[0]);
                a.dot(b.cross(c)) / 6.0
            })
            .sum();
        assert!(volume > 0.0, "{} is inside out", part.name);
    }
}

#[test]
fn skin_normals_point_out_and_paint_is_reflectance() {
    let body = body(Build::Woman);
    let complexion = Complexion {
        lips: Colour::Bright,
        ..Complexion::default()
    };
    let coarse = SkinDetail {
        coarseness: 2.0,
        ..SkinDetail::default()
    };
    let part = skin(body, &complexion, &coarse);
    assert_eq!(part.paint.len(), part.positions_m.len());
    let mut inward = 0;
    for (p, n) in part.positions_m.iter().zip(&part.normals) {
        assert!((n.length() - 1.0).abs() < 1e-3);
        let at = p.as_dvec3() * 100.0;
        if body.distance(at + n.as_dvec3() * 0.02) < body.distance(at) {
            inward += 1;
        }
    }
    assert!(
        inward * 1000 < part.normals.len(),
        "{inward} normals point in"
    );
    assert!(part.paint.iter().flatten().all(|v| (0.0..=1.0).contains(v)));
    // Red lips are there, and redder than anything else.
    let redness = |c: &[f32; 4]| c[0] / (c[1] + 0.01);
    let lips = part.paint.iter().filter(|c| redness(c) > 6.0).count();
    assert!(lips > 100, "{lips}");
}

/// Band limits of the individual typology angle: Chardon et al. 1991, Del Bino
/// and Bernerd 2013. In vivo skin reflects about 5 to 50 per cent of green light
/// (Angelopoulou 2001, from memory).
#[test]
fn tones_lie_in_their_bands() {
    let limits = [90.0, 55.0, 41.0, 28.0, 10.0, -30.0, -90.0];
    let mut last = f64::INFINITY;
    for (i, tone) in Tone::ALL.into_iter().enumerate() {
        let ita = tone.ita_deg();
        assert!(ita < limits[i] && ita > limits[i + 1], "{tone:?} {ita:.1}");
        let c = tone.reflectance();
        let luminance = c.dot(dvec3(0.2126, 0.7152, 0.0722));
        assert!(
            luminance < last && luminance > 0.04,
            "{tone:?} {luminance:.3}"
        );
        // Y from L* (CIE 15): ((L* + 16) / 116)³.
        let y = ((tone.lab()[0] + 16.0) / 116.0).powi(3);
        assert!(
            (luminance - y).abs() < 2e-3,
            "{tone:?} {luminance:.4} {y:.4}"
        );
        assert!(
            c.x > c.y && c.y > c.z && (0.04..0.5).contains(&c.y),
            "{tone:?} {c}"
        );
        last = luminance;
    }
    // White of D65 is white in linear sRGB.
    assert!(
        (lab_to_linear([100.0, 0.0, 0.0]) - DVec3::ONE)
            .abs()
            .max_element()
            < 2e-3
    );
}

#[test]
fn hairline_parts_scalp_from_face() {
    let head = Head::new(Build::Woman);
    for face in [
        dvec3(0.0, 40.0, 99.0),
        dvec3(40.0, -25.0, 75.0),
        dvec3(0.0, -95.0, 93.0),
        dvec3(74.0, -10.0, -8.0),
    ] {
        assert!(head.scalp(face) < 0.0, "{face}");
    }
    for hair in [
        dvec3(0.0, 109.0, -5.0),
        dvec3(0.0, 30.0, -93.0),
        dvec3(68.0, 50.0, -10.0),
    ] {
        assert!(head.scalp(hair) > 10.0, "{hair}");
    }
}

/// Two nostrils with a wall between them: a tunnel there would be a handle of
/// the surface.
#[test]
fn nostrils_are_parted() {
    for build in BUILDS {
        let head = Head::new(build);
        let size = head.traits().nose;
        let at = |x: f64, y: f64, z: f64| {
            head.distance(dvec3(x, y * size - 2.0, (z - 86.0) * size + 86.0))
        };
        for k in 0..8 {
            let t = f64::from(k) / 7.0;
            let deepest = (-10..=10)
                .map(|i| at(0.1 * f64::from(i), -31.5 - 6.0 * t, 103.0 - 9.0 * t))
                .fold(f64::INFINITY, f64::min);
            assert!(deepest < -0.8, "{build:?} {t:.2} {deepest:.2}");
        }
        let hollow = [-1.0, 1.0].map(|side| at(6.3 * side, -39.2, 102.4));
        assert!(hollow.iter().all(|d| *d > 0.5), "{build:?} {hollow:?}");
    }
}
