//! Cloth against textile test methods, and garments against a fitter's eye.

use glam::{DVec2, DVec3, dvec2, dvec3};
use std::sync::atomic::AtomicBool;
use swatchlight::figure::cloth::{Cloth, ClothMesh, Mechanics, Run, Solid, Watch};
use swatchlight::figure::garment::{Fitted, GarmentSpec, make};
use swatchlight::figure::plane::fill;
use swatchlight::figure::{Body, Build, Garment, Person, Pose, Role, Wearing};

static NEVER: AtomicBool = AtomicBool::new(false);

fn alone() -> Watch<'static> {
    Watch {
        progress: &|_| (),
        cancel: &NEVER,
    }
}

/// A flat sheet; flat x lies along x, flat y along -z.
fn sheet(outline: &[DVec2], spacing: f64) -> ClothMesh {
    let flat = fill(outline, spacing);
    ClothMesh {
        positions: flat.points.iter().map(|p| dvec3(p.x, 0.0, -p.y)).collect(),
        pinned: vec![false; flat.points.len()],
        flat: flat
            .triangles
            .iter()
            .map(|t| t.map(|v| flat.points[v as usize]))
            .collect(),
        group: vec![0; flat.triangles.len()],
        triangles: flat.triangles,
        ..ClothMesh::default()
    }
}

fn rectangle(w: f64, h: f64, step: f64) -> Vec<DVec2> {
    let corners = [dvec2(0.0, 0.0), dvec2(w, 0.0), dvec2(w, h), dvec2(0.0, h)];
    (0..4)
        .flat_map(|k| {
            let (a, b) = (corners[k], corners[(k + 1) % 4]);
            let n = (a.distance(b) / step).round() as usize;
            (0..n).map(move |i| a.lerp(b, i as f64 / n as f64))
        })
        .collect()
}

/// Drape coefficient of a 30 cm circle over an 18 cm disc, in per cent
/// (the geometry of BS 5058 and ISO 9073-9).
fn drape_coefficient(fabric: &str) -> f64 {
    let n = 84;
    let circle: Vec<DVec2> = (0..n)
        .map(|k| DVec2::from_angle(std::f64::consts::TAU * k as f64 / n as f64) * 15.0)
        .collect();
    let mesh = sheet(&circle, 1.1);
    // The rim of the disc is slightly round.
    let disc = |p: DVec3| {
        let out = dvec2(p.x, p.z).length() - 8.8;
        let down = (p.y + 1.0).abs() - 0.5;
        let q = dvec2(out.max(0.0), down.max(0.0));
        q.length() + out.max(down).min(0.0) - 0.2
    };
    let solid = Solid::sample_with(
        &disc,
        dvec3(-16.0, -14.0, -16.0),
        dvec3(16.0, 2.0, 16.0),
        0.25,
    );
    let mut cloth = Cloth::new(&mesh, &Mechanics::of_fabric(fabric).unwrap());
    let run = Run {
        seconds: 1.5,
        substep_s: 1.0 / 1500.0,
        damping: 3.0,
        gap_cm: 0.1,
        friction: 0.4,
        rest_speed: 0.3,
        ..Run::default()
    };
    cloth.fall(&run, std::slice::from_ref(&solid), &[], alone());
    let p = cloth.positions();
    let mut area = 0.0;
    for k in 0..n {
        let (a, b) = (p[k], p[(k + 1) % n]);
        area += 0.5 * (a.x * -b.z + a.z * b.x);
    }
    let disc = std::f64::consts::PI * 81.0;
    let whole = std::f64::consts::PI * 225.0;
    100.0 * (area.abs() - disc) / (whole - disc)
}

#[test]
fn drape_coefficients_rank_as_fabrics_do() {
    let [denim, wool, satin, chiffon] =
        ["denim", "wool-suiting", "silk-satin", "chiffon"].map(drape_coefficient);
    println!("drape: denim {denim:.0} wool {wool:.0} satin {satin:.0} chiffon {chiffon:.0}");
    // Usual ranges, from memory: denim 60 to 95, wool suiting 35 to 70, light
    // silks 15 to 50.
    assert!((55.0..=98.0).contains(&denim), "{denim}");
    assert!((30.0..=75.0).contains(&wool), "{wool}");
    assert!((10.0..=60.0).contains(&chiffon), "{chiffon}");
    assert!(denim > wool + 5.0 && wool > chiffon + 5.0);
    assert!(denim > satin + 5.0);
}

#[test]
fn a_strip_overhangs_as_peirce_found() {
    // Peirce (1930): a strip whose overhang sinks to 41.5° is twice its bending
    // length c long, with B = weight · c³.
    for fabric in ["silk-satin", "cotton-plain", "wool-suiting", "denim"] {
        let mechanics = Mechanics {
            // Along the strip only: no help from the other direction.
            bending_un_m: [Mechanics::of_fabric(fabric).unwrap().bending_un_m[0]; 2],
            ..Mechanics::of_fabric(fabric).unwrap()
        };
        let over = 2.0 * mechanics.bending_length_cm();
        let step = over / 12.0;
        let clamp = 4.0 * step;
        let mut mesh = sheet(&rectangle(over + clamp, 6.0 * step, step), step);
        for (p, held) in mesh.positions.iter().zip(&mut mesh.pinned) {
            *held = p.x < clamp + 1e-6;
        }
        let mut cloth = Cloth::new(&mesh, &mechanics);
        let run = Run {
            seconds: 3.0,
            substep_s: 1.0 / 6000.0,
            damping: 6.0,
            rest_speed: 0.02,
            ..Run::default()
        };
        cloth.fall(&run, &[], &[], alone());
        let p = cloth.positions();
        let tip = p
            .iter()
            .fold(DVec3::ZERO, |m, q| if q.y < m.y { *q } else { m });
        let angle = (-tip.y).atan2(tip.x - clamp).to_degrees();
        println!("{fabric}: {angle:.1}°");
        // Stiffness goes with about the cube of what this angle shows of length:
        // 3.5° is 6 % of the bending length.
        assert!((angle - 41.5).abs() < 3.5, "{fabric} hangs at {angle:.1}°");
    }
}

#[test]
fn a_hanging_strip_stretches_by_its_weight() {
    let soft = Mechanics {
        stretch_n_m: [30.0, 30.0],
        shear_n_m: 20.0,
        ..Mechanics::of_fabric("single-jersey").unwrap()
    };
    let mut mesh = sheet(&rectangle(8.0, 40.0, 1.0), 1.0);
    for (p, held) in mesh.positions.iter_mut().zip(&mut mesh.pinned) {
        *p = dvec3(p.x, -40.0 - p.z, 0.0);
        *held = p.y > -1e-6;
    }
    let mut cloth = Cloth::new(&mesh, &soft);
    for damping in [3.0, 20.0] {
        let run = Run {
            seconds: 2.0,
            substep_s: 1.0 / 1000.0,
            damping,
            rest_speed: 0.0,
            ..Run::default()
        };
        cloth.fall(&run, &[], &[], alone());
    }
    let low = cloth.positions().iter().map(|p| p.y).fold(0.0, f64::min);
    // Integral of weight over stiffness: w g l² / 2E.
    let expected = 0.150 * 9.81 * 0.4 * 0.4 / (2.0 * 30.0) * 100.0;
    let got = -low - 40.0;
    assert!(
        (got - expected).abs() < 0.12 * expected,
        "{got} for {expected}"
    );
}

#[test]
fn the_same_folds_whatever_the_threads() {
    let fallen = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| {
            let mesh = sheet(&rectangle(60.0, 60.0, 1.2), 1.2);
            let ball = |p: DVec3| (p + DVec3::new(-30.0, 16.0, 30.0)).length() - 15.0;
            let solid =
                Solid::sample_with(&ball, dvec3(0.0, -40.0, -60.0), dvec3(60.0, 5.0, 0.0), 0.7);
            let mut cloth = Cloth::new(&mesh, &Mechanics::of_fabric("poplin").unwrap());
            let run = Run {
                seconds: 0.25,
                self_gap_cm: 0.2,
                ..Run::default()
            };
            cloth.fall(&run, std::slice::from_ref(&solid), &[], alone());
            cloth.positions()
        })
    };
    let one = fallen(1);
    assert!(one.iter().any(|p| p.y < -12.0), "it fell");
    assert_eq!(one, fallen(3));
}

#[test]
fn a_fitted_dress_hangs_well() {
    let person = Person::new(Build::Woman);
    let neutral = Body::new(&person, &Pose::upright());
    let pose = Pose::named("front").unwrap();
    let body = Body::new(&person, &pose);
    let spec = GarmentSpec::named("fit-and-flare-dress").unwrap();
    let wool = Mechanics::of_fabric("wool-suiting").unwrap();
    let made = make(
        &spec,
        &Fitted {
            neutral: &neutral,
            body: &body,
            under: None,
            way: &[],
        },
        &wool,
        &pose.movement,
        &|_| (),
        &NEVER,
    )
    .unwrap();
    println!(
        "hem {:.1} {:?} stretch {:?}",
        made.hem_height_cm, made.hem_range_cm, made.stretch
    );
    let part = &made.parts[0];
    assert!(part.triangles.len() < 90_000);
    assert!(made.stretch[0] < 1.03 && made.stretch[1] < 1.03);
    assert!(made.hem_height_cm - made.hem_range_cm[0] < 0.7);
    assert!(made.hem_range_cm[1] - made.hem_height_cm < 0.8);
    let deepest = part
        .positions_m
        .iter()
        .map(|p| body.trunk_and_legs(p.as_dvec3() * 100.0))
        .fold(f64::INFINITY, f64::min);
    assert!(deepest > -0.1, "{deepest} cm inside the body");
    // Singular values of the map from UV to space: 1 is true to scale.
    let mut values: Vec<(f64, f64)> = Vec::new();
    for t in &part.triangles {
        let p = t.map(|v| part.positions_m[v as usize].as_dvec3() * 100.0);
        let q = t.map(|v| part.uvs_cm[v as usize].as_dvec2());
        let (a, b) = (q[1] - q[0], q[2] - q[0]);
        let det = a.perp_dot(b);
        if det.abs() < 0.02 {
            continue;
        }
        let (e, f) = (p[1] - p[0], p[2] - p[0]);
        let (u, v) = ((e * b.y - f * a.y) / det, (f * a.x - e * b.x) / det);
        let (s, d) = (u.dot(u) + v.dot(v), u.cross(v).length());
        let root = (s * s - 4.0 * d * d).max(0.0).sqrt();
        values.push((((s + root) / 2.0).sqrt(), 0.5 * det.abs()));
        values.push((((s - root).max(0.0) / 2.0).sqrt(), 0.5 * det.abs()));
    }
    let whole: f64 = values.iter().map(|v| v.1).sum();
    let within = |tolerance: f64| -> f64 {
        let good = values.iter().filter(|v| (v.0 - 1.0).abs() < tolerance);
        good.map(|v| v.1).sum::<f64>() / whole
    };
    println!(
        "true to scale within 7, 12, 20 %: {:.3} {:.3} {:.3}",
        within(0.07),
        within(0.12),
        within(0.20)
    );
    // Woven cloth on the bias shears by several degrees under its own weight,
    // and a shear of 10° already changes a singular value by 9 %.
    assert!(within(0.07) > 0.92 && within(0.20) > 0.97);
}

/// Whoever sits down in a skirt has it over the lap, not the thighs through it.
#[test]
fn a_skirt_goes_along_when_its_wearer_sits_down() {
    let person = Person::new(Build::Woman);
    let pose = Pose::named("seated").unwrap();
    let body = Body::new(&person, &pose);
    let flannel = Mechanics::of_fabric("wool-flannel").unwrap();
    let text = GarmentSpec::file("a-line-skirt").unwrap();
    let on = Wearing {
        person: &person,
        pose: &pose,
        body: &body,
        under: None,
        tucked_in: None,
    };
    let made = Garment::parse(text).unwrap();
    let made = made.make(&on, &flannel, &|_| (), &NEVER).unwrap();
    let cloth = made.parts.iter().filter(|p| p.role == Role::Cloth);
    let places: Vec<DVec3> = cloth
        .flat_map(|p| p.positions_m.iter().map(|p| p.as_dvec3() * 100.0))
        .collect();
    let inside = places.iter().filter(|p| body.trunk_and_legs(**p) < -0.3);
    let inside = inside.count() as f64 / places.len() as f64;
    println!("{:.2} % in the flesh", 100.0 * inside);
    assert!(inside < 0.005, "{inside}");
    let joints = body.joints();
    for side in 0..2 {
        for share in [0.4, 0.6, 0.75] {
            let bone = joints.hip[side].lerp(joints.knee[side], share);
            let over = places.iter().any(|p| {
                let off = *p - bone;
                off.x.hypot(off.z) < 2.0 && (4.0..13.0).contains(&off.y)
            });
            assert!(over, "the thigh of side {side} is bare at {share}");
        }
    }
}

#[test]
fn a_garment_file_is_read_strictly() {
    for name in GarmentSpec::names() {
        assert!(GarmentSpec::named(name).is_some(), "{name}");
    }
    let text = GarmentSpec::file("a-line-skirt").unwrap();
    let unknown = text.replace("flutes", "flute");
    assert!(
        GarmentSpec::from_toml(&unknown)
            .unwrap_err()
            .0
            .contains("flute")
    );
    let wild = text.replace("165.0", "16500.0");
    let message = GarmentSpec::from_toml(&wild).unwrap_err().0;
    assert!(message.contains("skirt.hem_circumference_cm") && message.contains("from 95 to 500"));
    let bare = "title = \"Nothing\"";
    assert!(GarmentSpec::from_toml(bare).is_err());
}
