//! Bands, ribs, cuffs and collars: lofted along the settled cloth's edges.

use super::arms::ArmRings;
use super::finish::Surface;
use super::torso::TrunkRings;
use super::trim::loft;
use super::{Fitting, Layer, Plain};
use crate::figure::sdf::{Field, step};
use glam::{DVec3, dvec2, dvec3};

/// A closed edge of the cloth, evenly resampled: seen from outside it runs left
/// to right, its cloth below (a neckline) or above (a hem).
pub struct Loop {
    pub points: Vec<DVec3>,
    /// Cloth normals there.
    pub normals: Vec<DVec3>,
    /// In the cloth, square to the edge, away from the cloth.
    pub outward: Vec<DVec3>,
}

impl Loop {
    /// The neckline of `cloth`, starting at its place nearest to `first`.
    pub fn neckline(cloth: &Surface, first: DVec3, count: usize) -> Option<Self> {
        let mut chain = cloth.chain("neck")?;
        chain.reverse();
        let at = |v: u32| cloth.positions[v as usize];
        let start = (0..chain.len()).min_by(|&a, &b| {
            at(chain[a])
                .distance(first)
                .total_cmp(&at(chain[b]).distance(first))
        })?;
        chain.rotate_left(start);
        let n = chain.len();
        // A seamstress eases out small waves.
        let smooth = |of: &dyn Fn(u32) -> DVec3| -> Vec<DVec3> {
            (0..n)
                .map(|i| {
                    let mut sum = DVec3::ZERO;
                    let mut weight = 0.0;
                    for k in -3_isize..=3 {
                        let w = f64::from(4 - k.unsigned_abs() as i32);
                        sum += of(chain[(i as isize + k).rem_euclid(n as isize) as usize]) * w;
                        weight += w;
                    }
                    sum / weight
                })
                .collect()
        };
        let (place, normal) = (smooth(&at), smooth(&|v| cloth.normals[v as usize]));
        let mut along = vec![0.0];
        for i in 0..n {
            along.push(along[i] + place[i].distance(place[(i + 1) % n]));
        }
        let shared = |of: &[DVec3]| -> Vec<DVec3> {
            (0..=count)
                .map(|k| {
                    let goal = along[n] * k as f64 / count as f64;
                    let i = along.partition_point(|&a| a <= goal).clamp(1, n);
                    let t = ((goal - along[i - 1]) / (along[i] - along[i - 1]).max(1e-9))
                        .clamp(0.0, 1.0);
                    of[i - 1].lerp(of[i % n], t)
                })
                .collect()
        };
        let points = shared(&place);
        let normals: Vec<DVec3> = shared(&normal)
            .iter()
            .map(|v| v.normalize_or_zero())
            .collect();
        let outward = (0..=count)
            .map(|i| {
                let (a, b) = ((i + count - 1) % count, (i + 1) % count);
                // Cloth on the right of the way: out of it is to the left.
                normals[i].cross(points[b] - points[a]).normalize_or_zero()
            })
            .collect();
        Some(Self {
            points,
            normals,
            outward,
        })
    }
}

/// Pushes `p` out of `field` until it is `gap` away.
pub fn clear(field: &dyn Field, mut p: DVec3, gap: f64) -> DVec3 {
    for k in 0..12 {
        let d = field.distance(p);
        if d >= gap {
            break;
        }
        // In a fold, as between the thighs, the way out shows only further off.
        let reach = 0.03 * 1.5_f64.powi((k - 3).max(0));
        let g = field.gradient(p, reach);
        p += g.normalize_or_zero() * ((gap - d) / g.length().max(0.6));
    }
    p
}

/// Adds ribs of `pitch` centimetres along closed rows.
fn ribbed(rows: &[Vec<DVec3>], pitch: f64, depth: f64) -> Vec<Vec<DVec3>> {
    let n = rows[0].len();
    let middle = &rows[rows.len() / 2];
    let around: f64 = (0..n)
        .map(|i| middle[i].distance(middle[(i + 1) % n]))
        .sum();
    let ribs = (around / pitch).round().max(8.0) as usize;
    let fine = ribs * 4;
    let last = rows.len() - 1;
    (0..rows.len())
        .map(|r| {
            let mut closed = rows[r].clone();
            closed.push(closed[0]);
            let up = |i: usize| rows[(r + 1).min(last)][i % n] - rows[r.saturating_sub(1)][i % n];
            (0..fine)
                .map(|k| {
                    let x = k as f64 / fine as f64 * n as f64;
                    let i = x as usize;
                    let p = closed[i].lerp(closed[i + 1], x.fract());
                    let normal = (closed[i + 1] - closed[i]).cross(up(i)).normalize_or_zero();
                    p + normal * [0.0, depth, depth, 0.0][k % 4]
                })
                .collect()
        })
        .collect()
}

/// A band that goes on from the neckline: `height` high, ribbed or plain.
pub(crate) fn neck_band(
    fit: &Fitting,
    edge: &Loop,
    height: f64,
    thick: f64,
    rib_cm: f64,
) -> Surface {
    let body = fit.posed;
    let up = neck_direction(fit);
    let n = edge.points.len() - 1;
    let rows: Vec<Vec<DVec3>> = (0..=7)
        .map(|r| {
            let h = height * (f64::from(r) / 7.0) - 0.35;
            (0..n)
                .map(|i| {
                    let rise = step(0.5, 3.5, h);
                    let way = edge.outward[i].lerp(up, 0.9 * rise).normalize_or_zero();
                    let p = edge.points[i] + edge.normals[i] * (0.05 + 0.6 * thick) + way * h;
                    clear(body, p, 0.2 + thick)
                })
                .collect()
        })
        .collect();
    let rows = if rib_cm > 0.0 {
        ribbed(&rows, rib_cm, 0.35 * thick + 0.03)
    } else {
        rows
    };
    loft(&rows, true, thick, dvec2(-100.0, 0.0))
}

fn neck_direction(fit: &Fitting) -> DVec3 {
    let low = fit.posed.on_thorax(dvec3(0.0, 141.0, -2.5));
    (fit.posed.on_head(dvec3(0.0, -40.0, -18.0)) - low).normalize()
}

/// How a collar stands and falls, in centimetres.
#[derive(Debug, Clone, Copy)]
pub struct CollarCut {
    pub stand: f64,
    /// Width of the fall at the back and at the points.
    pub fall: [f64; 2],
    /// How far the points spread from the edge.
    pub spread: f64,
    /// Height of the stand at its ends, as a share of that at the back.
    pub stand_at_ends: f64,
    /// How flat the ends lie: 0 hangs, 1 lies outward.
    pub lie: f64,
    /// Share of the loop left open at the centre front, on each side.
    pub open: f64,
    pub thick: f64,
    /// How far the points stand off what lies below.
    pub clearance: f64,
}

/// Stand and fall of a collar around the neckline.
pub(crate) fn collar(
    fit: &Fitting,
    cloth: Option<&Layer>,
    edge: &Loop,
    cut: &CollarCut,
) -> [Surface; 2] {
    let body = fit.posed;
    let up = neck_direction(fit);
    let low = body.on_thorax(dvec3(0.0, 141.0, -2.5));
    let n = edge.points.len() - 1;
    let (first, last) = (
        (cut.open * n as f64) as usize,
        n - (cut.open * n as f64) as usize,
    );
    let radial = |p: DVec3| {
        let q = p - low;
        (q - up * q.dot(up)).normalize_or_zero()
    };
    // 0 at both ends, 1 at the back of the neck.
    let back = |i: usize| {
        let s = (i - first) as f64 / (last - first) as f64;
        step(0.0, 0.38, s.min(1.0 - s))
    };
    let solid = fit.obstacle();
    let tall = |i: usize| cut.stand * (cut.stand_at_ends + (1.0 - cut.stand_at_ends) * back(i));
    let stand_at = |i: usize, h: f64| {
        let share = (h / cut.stand).max(0.0);
        let p = edge.points[i] + edge.normals[i] * 0.12 + up * h;
        let d = body.distance(p);
        let p = p - radial(p) * ((d - 0.9).max(0.0) * 0.55 * share);
        clear(&solid, p, 0.4)
    };
    let stand: Vec<Vec<DVec3>> = (0..=5)
        .map(|r| {
            (first..=last)
                .map(|i| stand_at(i, tall(i) * f64::from(r) / 5.0 - 0.2))
                .collect()
        })
        .collect();
    // Each column of the fall runs over the roll, then down, sliding along what it meets.
    // The garment's own cloth counts too, the body only further in.
    let below = Plain(Box::new(|p| {
        let d = fit.obstacle().distance(p) - 0.3;
        cloth.map_or(d, |c| d.min(c.distance(p)))
    }));
    const STEPS: usize = 24;
    let columns: Vec<Vec<DVec3>> = (first..=last)
        .map(|i| {
            let ends = 1.0 - back(i);
            let wide = cut.fall[0] + (cut.fall[1] - cut.fall[0]) * ends.powf(1.3);
            let s = (i - first) as f64 / (last - first) as f64;
            let j = if s < 0.5 { (i + 2).min(last) } else { i - 2 };
            let away = (edge.points[j] - edge.points[i]).normalize_or_zero();
            let mut p = stand_at(i, tall(i));
            let out = radial(p);
            let lie = cut.lie * ends;
            let hang = (out * (0.30 + lie) - up * (0.95 - 0.5 * lie)
                + away * (cut.spread / wide * ends.powi(2)))
            .normalize();
            let step_cm = wide / STEPS as f64;
            let roll = 0.5 + cut.thick;
            let mut column = vec![p];
            for k in 0..STEPS {
                let l = step_cm * (k as f64 + 0.5);
                let a = (l / roll).min(1.0);
                let mut way = ((up * 0.5 + out) * (1.0 - a) + hang * a).normalize_or_zero();
                let wanted = cut.clearance * step(0.1, 0.5, l / wide) + cut.thick;
                let n = below.gradient(p, 0.1).normalize_or_zero();
                let near = 1.0 - step(wanted, wanted + 0.8, below.distance(p));
                let into = way.dot(n).min(0.0);
                way = (way - n * (into * near)).normalize_or_zero();
                p = clear(&below, p + way * step_cm, wanted.min(0.1 + 0.15 * l));
                column.push(p);
            }
            column
        })
        .collect();
    // Neighbouring columns are drawn together, as cloth would.
    let count = columns.len();
    let fall: Vec<Vec<DVec3>> = (0..=STEPS)
        .rev()
        .map(|k| {
            let mut row: Vec<DVec3> = columns.iter().map(|c| c[k]).collect();
            for _ in 0..6 {
                let old = row.clone();
                for i in 1..count - 1 {
                    row[i] = 0.5 * old[i] + 0.25 * (old[i - 1] + old[i + 1]);
                }
            }
            row
        })
        .collect();
    [
        loft(&stand, false, 0.6 * cut.thick, dvec2(-100.0, 0.0)),
        loft(&fall, false, cut.thick, dvec2(-100.0, 12.0)),
    ]
}

/// A cuff around an arm from station `from` (the sleeve's edge) `height` down the arm.
pub fn cuff(
    arm: &ArmRings,
    from: f64,
    height: f64,
    thick: f64,
    rib_cm: f64,
    left: bool,
) -> Surface {
    const TURNS: usize = 72;
    let start = arm.axis.along(from);
    let rows: Vec<Vec<DVec3>> = (0..=6)
        .map(|r| {
            let down = height - (height + 0.5) * f64::from(r) / 6.0;
            let t = arm.axis.place_of(start + down);
            // A rib grips; a cuff hangs.
            let gap = 0.55 + if rib_cm > 0.0 { 0.0 } else { 0.1 } + 0.8 * thick;
            let mut row: Vec<DVec3> = (0..TURNS)
                .map(|k| {
                    let turn = std::f64::consts::TAU * k as f64 / TURNS as f64;
                    arm.place(t, turn, gap, 1.0)
                })
                .collect();
            if !left {
                row.reverse();
            }
            row
        })
        .collect();
    let rows = if rib_cm > 0.0 {
        ribbed(&rows, rib_cm, 0.35 * thick + 0.03)
    } else {
        rows
    };
    loft(
        &rows,
        true,
        thick,
        dvec2(if left { -140.0 } else { -180.0 }, 0.0),
    )
}

/// A rib around the trunk from `edge_v` (over the waist) down by `height`.
pub fn hem_band(
    trunk: &TrunkRings,
    waist: f64,
    edge_v: f64,
    height: f64,
    gap: f64,
    thick: f64,
    rib_cm: f64,
) -> Surface {
    let rows: Vec<Vec<DVec3>> = (0..=7)
        .map(|r| {
            let v = edge_v - height + (height + 0.5) * f64::from(r) / 7.0;
            let t = trunk.axis.place_of(waist - v);
            let girth = trunk.girth(t) + std::f64::consts::TAU * (gap + 0.8 * thick);
            let mut ring = Vec::new();
            for (front, left) in [(true, true), (false, true), (false, false), (true, false)] {
                let mut arc = trunk.arcs(&[t], &|_| girth, front, left).remove(0);
                if front != left {
                    arc.reverse();
                }
                arc.pop();
                ring.extend(arc);
            }
            ring
        })
        .collect();
    loft(
        &ribbed(&rows, rib_cm, 0.35 * thick + 0.03),
        true,
        thick,
        dvec2(-240.0, 0.0),
    )
}
