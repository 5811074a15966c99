//! The lights of a set of shots: their directions, and whether they suffice.

use super::StereoError;

/// Most shots of a set.
pub(super) const MOST_SHOTS: usize = 12;

/// Places for a pixel's samples: the next size that fills vector registers.
pub(super) const LANES: usize = 16;

/// A number for each shot, 0 beyond the last.
pub(super) type Lanes = [f32; LANES];

/// Greatest over least singular value of the directions that is taken: beyond it an error of the
/// pictures comes back fifteen times as large in some slope.
pub(super) const MOST_CONDITION: f64 = 15.0;

/// Most triples of lights that a fit starts from.
const MOST_TRIPLES: usize = 32;

/// Unit directions, and what follows from them for every pixel.
pub(super) struct Rig {
    /// Unit, toward the lights.
    pub directions: Vec<[f64; 3]>,
    /// Greatest over least singular value.
    pub condition: f64,
    pub triples: Vec<Triple>,
    /// The directions' x, y and z.
    pub lanes: [Lanes; 3],
    /// For each set of shots, by its bits, the inverse of its moments `Σ d dᵀ` as xx, xy, xz, yy,
    /// yz, zz; no number where they do not span space.
    inverses: Vec<[f64; 6]>,
}

/// Three lights that determine a pixel.
pub(super) struct Triple {
    pub shots: [usize; 3],
    /// A bit for each shot.
    pub mask: u16,
    /// Inverse of their directions, row by row.
    pub inverse: [[f32; 3]; 3],
}

impl Rig {
    /// Checks directions and prepares them.
    pub fn new(directions: &[[f64; 3]]) -> Result<Self, StereoError> {
        /// Sine of the lowest light, about half a degree over the cloth.
        const LOWEST: f64 = 0.01;
        let mut unit = Vec::new();
        for (k, &direction) in directions.iter().enumerate() {
            let length = dot(direction, direction).sqrt();
            let ok = length.is_finite() && length > 1e-12 && direction[2] >= LOWEST * length;
            if !ok {
                return Err(StereoError::Direction {
                    shot: k + 1,
                    direction,
                });
            }
            unit.push(direction.map(|v| v / length));
        }
        let mut moments = [0.0; 6];
        for &d in &unit {
            add_outer(&mut moments, d, 1.0);
        }
        let (values, weakest) = eigen(moments);
        let condition = (values[2] / values[0].max(1e-300)).sqrt();
        if condition > MOST_CONDITION {
            let azimuth_deg = weakest[1].atan2(weakest[0]).to_degrees().rem_euclid(180.0);
            return Err(StereoError::Coplanar {
                shots: list(1..=unit.len()),
                condition: condition.min(999_999.0),
                most: MOST_CONDITION,
                azimuth_deg,
                toward_camera: weakest[2].abs() > 0.9,
            });
        }
        let triples = triples(&unit);
        let mut lanes = [[0.0; LANES]; 3];
        for (k, d) in unit.iter().enumerate() {
            (0..3).for_each(|c| lanes[c][k] = d[c] as f32);
        }
        let inverses = (0..1u16 << unit.len())
            .map(|mask| inverse(&unit, mask))
            .collect();
        Ok(Self {
            directions: unit,
            condition,
            triples,
            lanes,
            inverses,
        })
    }

    /// The inverse of the moments of some shots, where they span space.
    pub fn inverse(&self, mask: u16) -> Option<[f64; 6]> {
        self.inverses
            .get(usize::from(mask))
            .copied()
            .filter(|m| m[0].is_finite())
    }
}

/// `1, 2, 5`.
pub(super) fn list(shots: impl IntoIterator<Item = usize>) -> String {
    let shots: Vec<String> = shots.into_iter().map(|s| s.to_string()).collect();
    shots.join(", ")
}

pub(super) fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Adds `weight d dᵀ` to a symmetric matrix: xx, xy, xz, yy, yz, zz.
pub(super) fn add_outer(m: &mut [f64; 6], d: [f64; 3], weight: f64) {
    let [x, y, z] = d;
    for (m, v) in m.iter_mut().zip([x * x, x * y, x * z, y * y, y * z, z * z]) {
        *m += weight * v;
    }
}

/// Solves `M g = v` for a symmetric matrix; nothing where it is close to singular: its
/// determinant against the cube of its mean eigenvalue.
pub(super) fn solve(m: [f64; 6], v: [f64; 3]) -> Option<[f64; 3]> {
    /// About a condition of 30 among directions.
    const SINGULAR: f64 = 4e-3;
    let [xx, xy, xz, yy, yz, zz] = m;
    let (a, b, c) = (yy * zz - yz * yz, xz * yz - xy * zz, xy * yz - xz * yy);
    let determinant = xx * a + xy * b + xz * c;
    if determinant.is_nan() || determinant <= SINGULAR * ((xx + yy + zz) / 3.0).powi(3) {
        return None;
    }
    let (d, e, f) = (xx * zz - xz * xz, xy * xz - xx * yz, xx * yy - xy * xy);
    let over = 1.0 / determinant;
    Some([
        over * dot([a, b, c], v),
        over * dot([b, d, e], v),
        over * dot([c, e, f], v),
    ])
}

fn inverse(unit: &[[f64; 3]], mask: u16) -> [f64; 6] {
    let mut moments = [0.0; 6];
    for (k, &d) in unit.iter().enumerate() {
        add_outer(&mut moments, d, f64::from(mask >> k & 1));
    }
    let column = |c: usize| solve(moments, [0, 1, 2].map(|k| f64::from(u8::from(k == c))));
    match (mask.count_ones() >= 3, column(0), column(1), column(2)) {
        (true, Some(x), Some(y), Some(z)) => [x[0], x[1], x[2], y[1], y[2], z[2]],
        _ => [f64::NAN; 6],
    }
}

/// Eigenvalues of a symmetric matrix, the least first, and the least one's vector, by Jacobi's
/// rotations.
fn eigen(m: [f64; 6]) -> ([f64; 3], [f64; 3]) {
    let [xx, xy, xz, yy, yz, zz] = m;
    let mut a = [[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]];
    let mut v = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    for _ in 0..12 {
        for (p, q) in [(0, 1), (0, 2), (1, 2)] {
            if a[p][q] == 0.0 {
                continue;
            }
            let theta = 0.5 * (2.0 * a[p][q]).atan2(a[q][q] - a[p][p]);
            let (s, c) = theta.sin_cos();
            for row in a.iter_mut().chain(v.iter_mut()) {
                (row[p], row[q]) = (c * row[p] - s * row[q], s * row[p] + c * row[q]);
            }
            let (rp, rq) = (a[p], a[q]);
            for k in 0..3 {
                a[p][k] = c * rp[k] - s * rq[k];
                a[q][k] = s * rp[k] + c * rq[k];
            }
        }
    }
    let mut order = [0, 1, 2];
    order.sort_by(|&i, &j| a[i][i].total_cmp(&a[j][j]));
    let least = order[0];
    (
        order.map(|k| a[k][k].max(0.0)),
        [v[0][least], v[1][least], v[2][least]],
    )
}

/// Triples to start fits from: well spread ones, a strided choice where there are many, so that
/// every light is in some and out of others.
fn triples(unit: &[[f64; 3]]) -> Vec<Triple> {
    let mut all: Vec<(f64, [usize; 3])> = Vec::new();
    for a in 0..unit.len() {
        for b in a + 1..unit.len() {
            for c in b + 1..unit.len() {
                let volume = dot(unit[a], cross(unit[b], unit[c])).abs();
                all.push((volume, [a, b, c]));
            }
        }
    }
    let widest = all.iter().fold(0.0, |most, t| t.0.max(most));
    all.retain(|t| t.0 >= 0.35 * widest && t.0 > 1e-3);
    let count = all.len().min(MOST_TRIPLES);
    (0..count)
        .map(|k| {
            let shots = all[k * all.len() / count].1;
            let [a, b, c] = shots.map(|s| unit[s]);
            let over = 1.0 / dot(a, cross(b, c));
            let columns = [cross(b, c), cross(c, a), cross(a, b)];
            Triple {
                shots,
                mask: shots.iter().fold(0, |mask, s| mask | 1 << s),
                inverse: [0, 1, 2].map(|row| columns.map(|c| (over * c[row]) as f32)),
            }
        })
        .collect()
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

#[cfg(test)]
mod tests {
    use super::Rig;
    use crate::fabric::stereo::StereoError;

    fn at(azimuth_deg: f64, slant_deg: f64) -> [f64; 3] {
        let ((sa, ca), (ss, cs)) = (
            azimuth_deg.to_radians().sin_cos(),
            slant_deg.to_radians().sin_cos(),
        );
        [ss * ca, ss * sa, cs]
    }

    /// Closed form: n lights on a ring of slant s have `LᵀL = n diag(sin²s/2, sin²s/2, cos²s)`.
    #[test]
    fn condition_of_a_ring() {
        let ring: Vec<_> = (0..6).map(|k| at(60.0 * f64::from(k), 30.0)).collect();
        let rig = Rig::new(&ring).unwrap();
        let wanted = 2.0_f64.sqrt() / 30.0_f64.to_radians().tan();
        assert!((rig.condition - wanted).abs() < 1e-9, "{}", rig.condition);
        assert!(!rig.triples.is_empty());
    }

    #[test]
    fn a_row_of_lights_is_refused_and_the_missing_side_named() {
        let row: Vec<_> = [-60.0, -20.0, 20.0, 60.0].map(|s| at(30.0, s)).into();
        match Rig::new(&row) {
            Err(StereoError::Coplanar { azimuth_deg, .. }) => {
                assert!((azimuth_deg - 120.0).abs() < 0.1, "{azimuth_deg}");
            }
            other => panic!("{:?}", other.map(|rig| rig.condition)),
        }
    }
}
