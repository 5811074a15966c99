//! Recipe in, model out; and the baked files that ship with the program.

use super::body::Body;
use super::data::ModelData;
use super::dress::{self, Garment};
use super::obj::{smooth_normals, write_obj};
use super::recipe::FigureRecipe;
use super::remesh::remesh;
use super::surface::{Mesh, extract};
use super::unwrap::unwrap;
use super::{BodyPoints, Capsule, Model, Part, Role};
use glam::{DVec3, Vec3, dvec3};
use std::path::{Path, PathBuf};

/// Makes the figure of `recipe`, with its garment if it names one.
///
/// The skin is the part "skin"; a garment adds "dress". Takes seconds.
pub fn generate(recipe: &FigureRecipe) -> Model {
    let body = Body::new(recipe);
    let garment = recipe
        .garment
        .as_ref()
        .map(|g| dress::make(&body, g, recipe.coarseness));
    let mut model = bare(recipe, &body, garment.as_ref());
    if let Some(garment) = garment {
        model.wear(worn(&body, garment));
    }
    let points = body_points(&model, &body);
    model.points = points;
    model
}

/// A baked file could not be written.
#[derive(Debug, thiserror::Error)]
#[error("could not write {}: {source}", path.display())]
pub struct BakeError {
    /// The file.
    pub path: PathBuf,
    /// What the system said.
    pub source: std::io::Error,
}

/// The baked files as (path under `models/`, text): figure and garment, each an
/// OBJ with its data file.
pub fn baked_files() -> Vec<(&'static str, String)> {
    let recipe = FigureRecipe::tall_dress_form();
    let hash = recipe.hash();
    let whole = generate(&recipe);
    let bare_recipe = FigureRecipe {
        garment: None,
        ..recipe.clone()
    };
    let body = Body::new(&bare_recipe);
    let (skin, cloth): (Vec<Part>, Vec<Part>) = whole
        .parts
        .iter()
        .cloned()
        .partition(|p| p.role != Role::Cloth);

    // What the bare figure shows at each point, and what the garment changes.
    let mut figure = Model {
        title: recipe.title.clone(),
        parts: skin,
        ..Model::default()
    };
    figure.points = body_points(&figure, &body);
    figure.blocking = body_capsules(&body);
    let on_cloth = whole
        .points
        .0
        .iter()
        .filter(|(n, p)| figure.points.get(n) != Some(**p));
    let garment = Model {
        title: recipe
            .garment
            .as_ref()
            .map(|g| g.title.clone())
            .unwrap_or_default(),
        points: on_cloth.map(|(n, p)| (n.clone(), *p)).collect(),
        blocking: whole.blocking[figure.blocking.len()..].to_vec(),
        parts: cloth,
    };
    let data = |model: &Model, stature_m, fits: Option<&str>| ModelData {
        title: model.title.clone(),
        stature_m,
        fits: fits.map(str::to_owned),
        recipe: Some(hash.clone()),
        points: model.points.clone(),
        blocking: model.blocking.clone(),
    };
    let obj = |model: &Model| format!("# recipe {hash}\n{}", write_obj(model));
    let stature = Some(recipe.stature_m as f32);
    vec![
        ("figures/tall-dress-form.obj", obj(&figure)),
        (
            "figures/tall-dress-form.toml",
            data(&figure, stature, None).to_toml(),
        ),
        ("garments/shift-dress.obj", obj(&garment)),
        (
            "garments/shift-dress.toml",
            data(&garment, None, Some("tall-dress-form, pose stand")).to_toml(),
        ),
    ]
}

/// Generates the shipped figure and garment and writes them under `models_dir`.
///
/// # Errors
/// [`BakeError`] where a folder or file cannot be written.
pub fn bake_all(models_dir: &Path) -> Result<Vec<PathBuf>, BakeError> {
    let mut written = Vec::new();
    for (name, text) in baked_files() {
        let path = models_dir.join(name);
        let write = || {
            if let Some(folder) = path.parent() {
                std::fs::create_dir_all(folder)?;
            }
            std::fs::write(&path, text)
        };
        write().map_err(|source| BakeError {
            path: path.clone(),
            source,
        })?;
        written.push(path);
    }
    Ok(written)
}

fn metres(p: DVec3) -> Vec3 {
    (p * 0.01).as_vec3()
}

fn bare(recipe: &FigureRecipe, body: &Body, garment: Option<&Garment>) -> Model {
    let hem_cm = garment.map_or(0.0, |g| g.hem_height_cm);
    let mesh = skin_mesh(recipe, body, hem_cm);
    let open = unwrap(&mesh, body);
    let positions_m: Vec<Vec3> = open.positions.iter().map(|&p| metres(p)).collect();
    let skin = Part {
        name: "skin".into(),
        role: Role::Skin,
        normals: smooth_normals(&positions_m, &open.triangles),
        positions_m,
        uvs_cm: open.uvs.iter().map(|t| t.as_vec2()).collect(),
        triangles: open.triangles,
        paint: Vec::new(),
    };
    Model {
        title: recipe.title.clone(),
        parts: vec![skin],
        points: BodyPoints::default(),
        blocking: body_capsules(body),
    }
}

fn skin_mesh(recipe: &FigureRecipe, body: &Body, hem_cm: f64) -> Mesh {
    let c = recipe.coarseness;
    let top = recipe.stature_m * 100.0 + 3.0;
    let mut mesh = extract(
        body,
        dvec3(-55.0, -2.0, -30.0),
        dvec3(55.0, top, 34.0),
        0.45 * c.clamp(1.0, 2.0),
    );
    let size = |p: DVec3| edge_length(body, hem_cm, p) * c;
    remesh(&mut mesh, body, &size, 5);
    mesh
}

/// Wanted edge length of the skin at `p`, in centimetres: fine where light shows
/// form, coarse under the garment, never changing faster than 0.25 a centimetre.
fn edge_length(body: &Body, hem_cm: f64, p: DVec3) -> f64 {
    let j = body.joints();
    let segment = |a: DVec3, b: DVec3| {
        let t = ((p - a).dot(b - a) / (b - a).length_squared()).clamp(0.0, 1.0);
        p.distance(a + (b - a) * t)
    };
    let near = |size: f64, distance: f64| size + 0.25 * distance.max(0.0);
    let head = body.head_mm(p) * 0.1;
    let face = (head - dvec3(0.0, -4.0, 8.5)) / dvec3(1.0, 1.25, 1.0);
    let ear = dvec3(head.x.abs(), head.y, head.z) - dvec3(7.2, -0.8, -1.2);
    let mut s: f64 = 0.95;
    if hem_cm > 0.0 {
        // The dress covers the trunk between hem and armpit.
        let trunk = segment(0.5 * (j.hip[0] + j.hip[1]), j.neck);
        let covered = (p.y - hem_cm - 3.0).min(124.0 - p.y).min(19.0 - trunk);
        s += (0.25 * covered).clamp(0.0, 0.75);
    }
    s = s.min(near(0.26, face.length() - 6.3));
    s = s.min(near(0.26, ear.length() - 3.6));
    s = s.min(near(0.42, head.length() - 13.0));
    s = s.min(near(
        0.7,
        segment(j.neck, body.on_thorax(dvec3(0.0, 140.0, 4.0))) - 9.0,
    ));
    for side in 0..2 {
        let knuckles = j.wrist[side].lerp(j.fingertip[side], 0.55);
        s = s.min(near(0.34, segment(knuckles, j.fingertip[side]) - 5.5));
        s = s.min(near(0.45, segment(j.wrist[side], knuckles) - 5.0));
        s = s.min(near(0.8, segment(j.shoulder[side], j.wrist[side]) - 7.0));
        s = s.min(near(0.42, j.toe[side].distance(p) - 6.5));
        s = s.min(near(0.6, segment(j.ankle[side], j.toe[side]) - 6.0));
        s = s.min(near(0.75, j.knee[side].distance(p) - 7.0));
    }
    s
}

fn worn(body: &Body, garment: Garment) -> Model {
    let positions_m: Vec<Vec3> = garment.positions.iter().map(|&p| metres(p)).collect();
    let part = Part {
        name: "dress".into(),
        role: Role::Cloth,
        normals: smooth_normals(&positions_m, &garment.triangles),
        positions_m,
        uvs_cm: garment.uvs.iter().map(|t| t.as_vec2()).collect(),
        triangles: garment.triangles,
        paint: Vec::new(),
    };
    let j = body.joints();
    let hips = 0.5 * (j.hip[0] + j.hip[1]);
    let hem = dvec3(hips.x * 0.6, garment.hem_height_cm + 16.0, hips.z);
    let skirt = Capsule {
        a_m: metres(hips),
        b_m: metres(hem),
        radius_m: 0.2,
    };
    Model {
        title: String::new(),
        parts: vec![part],
        points: BodyPoints::default(),
        blocking: vec![skirt],
    }
}

fn body_capsules(body: &Body) -> Vec<Capsule> {
    let j = body.joints();
    let capsule = |a: DVec3, b: DVec3, radius_cm: f64| Capsule {
        a_m: metres(a),
        b_m: metres(b),
        radius_m: (radius_cm * 0.01) as f32,
    };
    let mm = |x, y, z| body.on_head(dvec3(x, y, z));
    let mut all = vec![
        capsule(mm(0.0, 32.0, -22.0), mm(0.0, 26.0, 8.0), 8.5),
        capsule(mm(0.0, 10.0, 20.0), mm(0.0, -50.0, 30.0), 7.0),
        capsule(j.neck, mm(0.0, -40.0, -10.0), 6.0),
        capsule(
            body.on_thorax(dvec3(-7.5, 128.0, -1.0)),
            body.on_thorax(dvec3(7.5, 128.0, -1.0)),
            11.5,
        ),
        capsule(
            body.on_thorax(dvec3(-3.0, 112.0, 0.0)),
            body.on_thorax(dvec3(3.0, 112.0, 0.0)),
            11.0,
        ),
        capsule(
            body.on_pelvis(dvec3(-7.0, 91.0, -1.5)),
            body.on_pelvis(dvec3(7.0, 91.0, -1.5)),
            11.5,
        ),
        capsule(j.shoulder[0], j.shoulder[1], 6.5),
    ];
    for s in 0..2 {
        all.push(capsule(j.shoulder[s], j.elbow[s], 5.2));
        all.push(capsule(j.elbow[s], j.wrist[s], 4.2));
        all.push(capsule(j.wrist[s], j.fingertip[s], 4.2));
        all.push(capsule(j.hip[s], j.knee[s], 8.8));
        all.push(capsule(j.knee[s], j.ankle[s], 6.0));
        all.push(capsule(j.ankle[s], j.toe[s], 4.6));
    }
    all
}

/// Body points where a ray from in front meets the model's surface.
fn body_points(model: &Model, body: &Body) -> BodyPoints {
    let j = body.joints();
    let mm = |x, y, z| metres(body.on_head(dvec3(x, y, z)));
    let weight_leg = usize::from(j.knee[1].z > j.knee[0].z);
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
    let chest = metres(body.on_thorax(dvec3(0.0, 127.0, 10.0)));
    let waist = metres(body.on_thorax(dvec3(0.0, 109.0, 9.0)));
    let hip = metres(body.on_pelvis(dvec3(0.0, 89.0, 9.0)));
    let aims = [
        ("eyes", mm(0.0, 0.0, 90.0)),
        ("face", mm(0.0, -47.0, 95.0)),
        // Left and right are the camera's.
        ("left-cheek", mm(-42.0, -28.0, 75.0)),
        ("right-cheek", mm(42.0, -28.0, 75.0)),
        ("chin", mm(0.0, -90.0, 85.0)),
        ("chest", chest),
        ("waist", waist),
        ("hip", hip),
        (
            "hem",
            metres(dvec3(
                0.5 * (hips.x + j.knee[weight_leg].x * 0.3),
                hem_cm,
                20.0,
            )),
        ),
        ("knee", metres(j.knee[weight_leg])),
    ];
    let mut points: BodyPoints = aims
        .into_iter()
        .map(|(name, aim)| {
            let z = front_of(model, aim.x, aim.y).unwrap_or(aim.z);
            (name.to_owned(), Vec3::new(aim.x, aim.y, z))
        })
        .collect();
    let floor = Vec3::new(0.0, 0.0, metres(j.toe[weight_leg]).z * 0.5);
    points.0.insert("floor".into(), floor);
    points
}

/// The foremost surface on the line through (x, y) towards the camera.
fn front_of(model: &Model, x: f32, y: f32) -> Option<f32> {
    let mut best: Option<f32> = None;
    for part in &model.parts {
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
    }
    best
}
