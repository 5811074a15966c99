//! From a part as its file has it to one that light can be traced on.

use super::{BodyPoints, FigureError, Imported, LoadOptions, Model, Part, RawPart, Role, Scale};
use glam::{Vec2, Vec3};
use std::collections::HashMap;

/// Checks and completes the parts.
pub fn finish(raw: Vec<RawPart>, options: &LoadOptions) -> Result<Imported, FigureError> {
    let mut notes = Vec::new();
    let mut parts = Vec::new();
    let raw: Vec<RawPart> = raw
        .into_iter()
        .filter(|p| !p.triangles.is_empty())
        .collect();
    for part in &raw {
        check_numbers(part)?;
    }
    let scale = metres_per_unit(&raw, options.scale)?;
    for part in raw {
        parts.push(complete(part, scale, options, &mut notes)?);
    }
    if parts.is_empty() {
        return Err(FigureError::Empty);
    }
    check_size(&parts)?;
    Ok(Imported {
        model: Model {
            title: options.title.clone(),
            parts,
            points: BodyPoints::default(),
            blocking: Vec::new(),
        },
        notes,
    })
}

fn check_numbers(part: &RawPart) -> Result<(), FigureError> {
    let count = part.positions.len();
    if part
        .triangles
        .iter()
        .flatten()
        .any(|&i| i as usize >= count)
    {
        return Err(FigureError::OutOfRange {
            part: part.name.clone(),
        });
    }
    let uvs_finite = part.uvs.iter().flatten().all(|t| t.is_finite());
    if part.positions.iter().any(|p| !p.is_finite()) || !uvs_finite {
        return Err(FigureError::NotFinite {
            part: part.name.clone(),
        });
    }
    Ok(())
}

fn metres_per_unit(raw: &[RawPart], scale: Scale) -> Result<f32, FigureError> {
    match scale {
        Scale::MetresPerUnit(m) => Ok(m as f32),
        Scale::HeightM(height_m) => {
            let heights = raw.iter().flat_map(|p| &p.positions).map(|p| p.y);
            let (lo, hi) = heights.fold((f32::INFINITY, f32::NEG_INFINITY), |(lo, hi), y| {
                (lo.min(y), hi.max(y))
            });
            if hi > lo {
                Ok(height_m as f32 / (hi - lo))
            } else {
                Err(FigureError::Empty)
            }
        }
    }
}

fn complete(
    raw: RawPart,
    scale: f32,
    options: &LoadOptions,
    notes: &mut Vec<String>,
) -> Result<Part, FigureError> {
    let RawPart {
        name,
        positions,
        normals: given,
        uvs,
        paint,
        mut triangles,
    } = raw;
    let role = Role::from_name(&name);
    let positions_m: Vec<Vec3> = positions.into_iter().map(|p| p * scale).collect();
    let edges = open_edges(&positions_m, &triangles);
    if role == Role::Skin && !options.open_skin && !edges.is_empty() {
        let at = edges[0];
        return Err(FigureError::Holes {
            part: name,
            edges: edges.len(),
            at_m: at.to_array(),
        });
    }
    if edges.is_empty() && volume(&positions_m, &triangles) < 0.0 {
        notes.push(format!(
            "part \"{name}\": its faces look inward; they were turned round"
        ));
        for t in &mut triangles {
            t.swap(1, 2);
        }
    }
    let mut normals = smooth_normals(&positions_m, &triangles);
    match given.filter(|g| g.len() == normals.len()) {
        Some(given) => {
            let against = given
                .iter()
                .zip(&normals)
                .filter(|(g, n)| g.dot(**n) < 0.0)
                .count();
            let sign = if against * 2 > given.len() {
                notes.push(format!(
                    "part \"{name}\": its normals point away from its faces' outside; they were turned round"
                ));
                -1.0
            } else {
                1.0
            };
            for (n, given) in normals.iter_mut().zip(given) {
                // One that leans away from what the faces say is no normal of this surface.
                if let Some(given) = (given * sign).try_normalize()
                    && given.dot(*n) > 0.0
                {
                    *n = given;
                }
            }
        }
        None => notes.push(format!(
            "part \"{name}\": it has no normals; they were taken from its faces"
        )),
    }
    let uvs_cm: Vec<Vec2> = match uvs.filter(|u| u.len() == positions_m.len()) {
        Some(uvs) => uvs,
        None => {
            if role == Role::Cloth {
                notes.push(format!(
                    "part \"{name}\": it has no cloth coordinates; the cloth is laid on as the camera sees it, at true scale, and runs wrong at the sides"
                ));
            }
            positions_m.iter().map(|p| p.truncate() * 100.0).collect()
        }
    };
    Ok(Part {
        paint: if paint.len() == positions_m.len() {
            paint
        } else {
            Vec::new()
        },
        name,
        role,
        positions_m,
        normals,
        uvs_cm,
        triangles,
    })
}

fn check_size(parts: &[Part]) -> Result<(), FigureError> {
    let (mut lo, mut hi) = (Vec3::INFINITY, Vec3::NEG_INFINITY);
    for p in parts.iter().flat_map(|p| &p.positions_m) {
        lo = lo.min(*p);
        hi = hi.max(*p);
    }
    let size_m = f64::from((hi - lo).max_element());
    if (0.01..=20.0).contains(&size_m) {
        Ok(())
    } else {
        Err(FigureError::Size { size_m })
    }
}

/// Six times the volume that triangles enclose, positive where they look outward.
fn volume(positions: &[Vec3], triangles: &[[u32; 3]]) -> f64 {
    triangles
        .iter()
        .map(|t| {
            let [a, b, c] = t.map(|v| positions[v as usize].as_dvec3());
            a.dot(b.cross(c))
        })
        .sum()
}

/// Which of a set of places each vertex is at, so that UV seams count as joined.
fn places(positions: &[Vec3]) -> (Vec<u32>, usize) {
    let mut known: HashMap<[u32; 3], u32> = HashMap::new();
    let place = positions
        .iter()
        .map(|p| {
            let next = known.len() as u32;
            // Adding zero turns -0 into 0, so that both name one place.
            *known
                .entry((*p + Vec3::ZERO).to_array().map(f32::to_bits))
                .or_insert(next)
        })
        .collect();
    (place, known.len())
}

/// Middles of the edges that have a face on one side alone.
fn open_edges(positions: &[Vec3], triangles: &[[u32; 3]]) -> Vec<Vec3> {
    let (place, _) = places(positions);
    let mut sides: HashMap<(u32, u32), (i32, Vec3)> = HashMap::new();
    for t in triangles {
        for s in 0..3 {
            let (p, q) = (t[s] as usize, t[(s + 1) % 3] as usize);
            let (a, b) = (place[p], place[q]);
            if a == b {
                continue;
            }
            let middle = 0.5 * (positions[p] + positions[q]);
            let (key, way) = if a < b { ((a, b), 1) } else { ((b, a), -1) };
            sides.entry(key).or_insert((0, middle)).0 += way;
        }
    }
    let mut open: Vec<Vec3> = sides
        .into_values()
        .filter(|(n, _)| *n != 0)
        .map(|(_, m)| m)
        .collect();
    open.sort_by(|a, b| {
        b.y.total_cmp(&a.y)
            .then(a.x.total_cmp(&b.x))
            .then(a.z.total_cmp(&b.z))
    });
    open
}

/// Angle-weighted vertex normals (Thuermer and Wuethrich 1998), shared by all
/// vertices in the same place, so that UV seams do not show.
pub(crate) fn smooth_normals(positions: &[Vec3], triangles: &[[u32; 3]]) -> Vec<Vec3> {
    let (place, count) = places(positions);
    let mut sums = vec![Vec3::ZERO; count];
    for t in triangles {
        let p = t.map(|v| positions[v as usize]);
        let normal = (p[1] - p[0]).cross(p[2] - p[0]).normalize_or_zero();
        for s in 0..3 {
            let a = (p[(s + 1) % 3] - p[s]).normalize_or_zero();
            let b = (p[(s + 2) % 3] - p[s]).normalize_or_zero();
            sums[place[t[s] as usize] as usize] += normal * a.dot(b).clamp(-1.0, 1.0).acos();
        }
    }
    place
        .iter()
        .map(|&i| sums[i as usize].try_normalize().unwrap_or(Vec3::Y))
        .collect()
}
