//! Named places on a posed body, and the capsules that stand for it.

use super::body::Body;
use super::{BodyPoints, Capsule, Model, Part, Role};
use glam::{DVec3, Vec3, dvec3};

fn metres(p: DVec3) -> Vec3 {
    (p * 0.01).as_vec3()
}

/// Body points where a ray from in front meets the model's surface.
pub fn body_points(model: &Model, body: &Body) -> BodyPoints {
    let j = body.joints();
    let mm = |x, y, z| metres(body.on_head(dvec3(x, y, z)));
    let front_leg = usize::from(j.knee[1].z > j.knee[0].z);
    // The hem sits just above the hem edge of the garment that is worn.
    let hem_cm = model
        .parts
        .iter()
        .filter(|p| p.role == Role::Cloth)
        .flat_map(|p| &p.positions_m)
        .map(|p| f64::from(p.y) * 100.0)
        .reduce(f64::min)
        .map_or(j.knee[0].y + 8.0, |edge| edge + 3.0);
    let hips = 0.5 * (j.hip[0] + j.hip[1]);
    let hem = dvec3(0.5 * (hips.x + j.knee[front_leg].x * 0.3), hem_cm, 20.0);
    // Left and right are the camera's, whichever way the figure is turned.
    let mut cheeks = [mm(-42.0, -28.0, 75.0), mm(42.0, -28.0, 75.0)];
    cheeks.sort_by(|a, b| a.x.total_cmp(&b.x));
    let aims = [
        ("eyes", mm(0.0, 0.0, 90.0)),
        ("face", mm(0.0, -47.0, 95.0)),
        ("left-cheek", cheeks[0]),
        ("right-cheek", cheeks[1]),
        ("chin", mm(0.0, -90.0, 85.0)),
        ("chest", metres(body.on_thorax(dvec3(0.0, 127.0, 10.0)))),
        ("waist", metres(body.on_thorax(dvec3(0.0, 109.0, 9.0)))),
        ("hip", metres(body.on_pelvis(dvec3(0.0, 89.0, 9.0)))),
        ("hem", metres(hem)),
        ("knee", metres(j.knee[front_leg])),
    ];
    let mut points: BodyPoints = aims
        .into_iter()
        .map(|(name, aim)| {
            let parts = model.parts.iter();
            let z = parts
                .filter_map(|p| front_of(p, aim.x, aim.y))
                .reduce(f32::max);
            let z = z.unwrap_or(aim.z);
            (name.to_owned(), Vec3::new(aim.x, aim.y, z))
        })
        .collect();
    let floor = Vec3::new(0.0, 0.0, metres(j.toe[front_leg]).z * 0.5);
    points.0.insert("floor".into(), floor);
    points
}

/// Capsules that stand for the body when things must not be placed inside it.
pub fn body_capsules(body: &Body) -> Vec<Capsule> {
    let j = body.joints();
    let s = body.scale();
    let capsule = |a: DVec3, b: DVec3, radius_cm: f64| Capsule {
        a_m: metres(a),
        b_m: metres(b),
        radius_m: (radius_cm * 0.01) as f32,
    };
    let mm = |x, y, z| body.on_head(dvec3(x, y, z));
    let ribs = |x, y, z| body.on_thorax(dvec3(x, y, z));
    let hips = |x, y, z| body.on_pelvis(dvec3(x, y, z));
    // The trunk's capsules are as thick as the trunk is deep there.
    let deep = |p: DVec3| -body.trunk(p);
    let across = |a: DVec3, b: DVec3| capsule(a, b, deep(0.5 * (a + b)).max(6.0 * s));
    let mut all = vec![
        capsule(mm(0.0, 32.0, -22.0), mm(0.0, 26.0, 8.0), 8.5 * s),
        capsule(mm(0.0, 10.0, 20.0), mm(0.0, -50.0, 30.0), 7.0 * s),
        capsule(j.neck, mm(0.0, -40.0, -10.0), 6.0 * s),
        across(ribs(-7.5, 128.0, -1.0), ribs(7.5, 128.0, -1.0)),
        across(ribs(-3.0, 112.0, 0.0), ribs(3.0, 112.0, 0.0)),
        across(hips(-7.0, 91.0, -1.5), hips(7.0, 91.0, -1.5)),
        capsule(j.shoulder[0], j.shoulder[1], 6.5 * s),
    ];
    for side in 0..2 {
        all.push(capsule(j.shoulder[side], j.elbow[side], 5.2 * s));
        all.push(capsule(j.elbow[side], j.wrist[side], 4.2 * s));
        all.push(capsule(j.wrist[side], j.fingertip[side], 4.2 * s));
        all.push(capsule(j.hip[side], j.knee[side], 8.8 * s));
        all.push(capsule(j.knee[side], j.ankle[side], 6.0 * s));
        all.push(capsule(j.ankle[side], j.toe[side], 4.6 * s));
    }
    if let Some(block) = body.seat() {
        let up = (block.top_cm - 0.7 * block.radius_cm).max(0.0);
        let at = |y: f64| dvec3(block.centre_cm.x, y, block.centre_cm.y);
        all.push(capsule(at(0.0), at(up), block.radius_cm));
    }
    all
}

/// The foremost surface of a part on the line through (x, y) towards the camera, in metres.
pub fn front_of(part: &Part, x: f32, y: f32) -> Option<f32> {
    let mut best: Option<f32> = None;
    for t in &part.triangles {
        let [a, b, c] = t.map(|v| part.positions_m[v as usize]);
        let area = (b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y);
        if area.abs() < 1e-12 {
            continue;
        }
        let v = ((x - a.x) * (c.y - a.y) - (c.x - a.x) * (y - a.y)) / area;
        let w = ((b.x - a.x) * (y - a.y) - (x - a.x) * (b.y - a.y)) / area;
        if v >= 0.0 && w >= 0.0 && v + w <= 1.0 {
            let z = a.z + v * (b.z - a.z) + w * (c.z - a.z);
            best = Some(best.map_or(z, |old| old.max(z)));
        }
    }
    best
}
