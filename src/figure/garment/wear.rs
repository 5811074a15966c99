//! Drafts, sews, drapes and finishes a garment on a wearer.

use super::against::{Dressed, Meets, arms};
use super::bodice::{self, WAIST_SEAM};
use super::edge;
use super::finish::finish;
use super::hang::{Hang, Tube};
use super::panel::{Join, Panel, Sewn, sew};
use super::sit;
use super::skirt::{Gore, Shape, waistband};
use super::spec::GarmentSpec;
use super::stand::Stand;
use super::straight::Straight;
use super::straps;
use crate::figure::body::Body;
use crate::figure::cloth::{Cloth, Ended, Mechanics, Motion, Run, Solid, Watch};
use crate::figure::pose::Movement;
use crate::figure::sdf::{Field, step};
use crate::figure::{Part, plane};
use glam::{DVec2, DVec3, dvec3};
use std::slice;
use std::sync::atomic::AtomicBool;

/// Edge length of the first, coarse drape, in centimetres; the fine one halves it.
const COARSE: f64 = 1.9;

/// Grid of the body that cloth falls on, in centimetres.
const PITCH_CM: f64 = 0.7;

/// Folds keep this far from each other, in centimetres.
const FOLD_GAP: f64 = 0.3;

/// A finished garment.
#[derive(Debug, Clone)]
pub struct Made {
    /// Its parts, in metres.
    pub parts: Vec<Part>,
    /// Median height of the hem over the floor, in centimetres.
    pub hem_height_cm: f64,
    /// Lowest and highest place of the hem, in centimetres.
    pub hem_range_cm: [f64; 2],
    /// Mean stretch of the cloth along weft and warp (1 is its cut length) and
    /// the share of its area that is stretched by more than 3 %.
    pub stretch: [f64; 3],
}

/// Who a garment is made for.
#[derive(Clone, Copy)]
pub struct Fitted<'a> {
    /// The person in the upright fitting pose: patterns are measured on it.
    pub neutral: &'a Body,
    /// The same person posed.
    pub body: &'a Body,
    /// What it wears already.
    pub under: Option<&'a dyn Field>,
    /// The same person upright and in the postures from there to `body`, where it sits: the garment is put on
    /// standing and goes along. Empty where it stands.
    pub way: &'a [Body],
}

/// Makes a garment for a wearer. `movement` is what the cloth feels
/// of the body's movement, in the body's own directions. Returns `None` when
/// `cancel` was set. Takes tens of seconds on two cores.
pub fn make(
    spec: &GarmentSpec,
    wearer: &Fitted<'_>,
    fabric: &Mechanics,
    movement: &Movement,
    progress: &(dyn Fn(f32) + Sync),
    cancel: &AtomicBool,
) -> Option<Made> {
    let Fitted {
        neutral,
        body,
        under,
        way,
    } = *wearer;
    let first = way.first().unwrap_or(body);
    let stand = Stand::new(neutral, first);
    let cut = Cut::new(spec, &stand, first, fabric.weight_g_m2);
    let motion = felt(body, movement);
    let gap = 0.2 + 0.05 * fabric.thickness_mm.min(2.0);
    let base = Run {
        // A slip has a smooth lining's or its own silk's hold on the hips, no more.
        friction: if spec.slip.is_some() { 0.08 } else { 0.3 },
        gap_cm: gap,
        self_gap_cm: FOLD_GAP,
        motion: if way.is_empty() {
            motion
        } else {
            Motion::default()
        },
        ..Run::default()
    };
    let below = if way.is_empty() { under } else { None };
    let mut stage = Stage {
        body: first,
        solid: Meets::posed(first, below).solid(cut.reach(), PITCH_CM),
        progress,
        cancel,
        done: 0.02,
    };
    // Whoever sits down has put it on before: half of the time is theirs.
    let on = if way.is_empty() { 1.0 } else { 0.5 };
    // Coarse: pulled on, then left to hang.
    let mut sewn = cut.sewn(&|_| 0.0, &|share, depth| cut.start(share, depth), None);
    let mut cloth = Cloth::new(&sewn.mesh, fabric);
    let coarse = Run {
        substep_s: 1.0 / 600.0,
        ..base
    };
    let pull_on = Run {
        seconds: 0.25,
        damping: 14.0,
        friction: 0.05,
        motion: Motion::default(),
        ..coarse
    };
    stage.fall(&mut sewn, &mut cloth, &pull_on, [1.0, 1.0], 0.08 * on)?;
    let hang = Run {
        seconds: 1.7,
        damping: 2.0,
        rest_speed: 0.8,
        ..coarse
    };
    stage.fall(&mut sewn, &mut cloth, &hang, [1.0, 0.0], 0.30 * on)?;
    // Strong damping lets the sweeps take up their own stretch, see the solver.
    let firm = Run {
        seconds: 0.35,
        damping: 30.0,
        ..coarse
    };
    stage.fall(&mut sewn, &mut cloth, &firm, [0.0, 0.0], 0.05 * on)?;
    if base.motion == Motion::default() {
        // The hem is levelled as a dressmaker does: marked at one height and cut.
        let before = sewn.clone();
        let trim = cut.levelled(&before);
        let hems = cut.hem_pieces();
        let worn = |piece: usize, p: DVec2| lying(&before, &hems, piece, p);
        sewn = cut.sewn(&|s| trim.at(s), &|s, d| cut.start(s, d), Some(&worn));
        cloth = Cloth::new(&sewn.mesh, fabric);
        let again = Run {
            seconds: 0.3,
            damping: 20.0,
            ..coarse
        };
        stage.fall(&mut sewn, &mut cloth, &again, [0.0, 0.0], 0.05 * on)?;
    }
    let base = Run { motion, ..base };
    let coarse = Run { motion, ..coarse };
    if !way.is_empty() {
        let (from, share) = (stage.done, 0.18);
        let watch = Watch {
            progress: &|s| progress(from + share * s),
            cancel,
        };
        let what = (under.is_some(), cut.reach());
        sit::down(&mut sewn, &mut cloth, (way, body), what, &coarse, watch)?;
        stage.done += share;
        stage.body = body;
        stage.solid = Meets::posed(body, under).solid(cut.reach(), PITCH_CM);
        let settle = Run {
            seconds: 0.8,
            damping: 4.0,
            ..coarse
        };
        stage.fall(&mut sewn, &mut cloth, &settle, [0.0, 0.0], 0.06)?;
    }
    sewn.mesh = sewn.mesh.subdivided();
    let mut cloth = Cloth::new(&sewn.mesh, fabric);
    let fine = Run {
        seconds: 0.45,
        substep_s: 1.0 / 1200.0,
        damping: 4.0,
        ..base
    };
    stage.fall(&mut sewn, &mut cloth, &fine, [0.0, 0.0], 0.26)?;
    let calm = Run {
        seconds: 0.4,
        damping: 40.0,
        rest_speed: 0.0,
        ..fine
    };
    stage.fall(&mut sewn, &mut cloth, &calm, [0.0, 0.0], 0.22)?;
    let skin = Dressed { body, under };
    let mut sewn = edge::pressed(&sewn, body, &skin, gap.max(PRESSED));
    let strap_cm = cut.straight.as_ref().map_or(0.0, |s| s.strap_cm());
    if strap_cm > 0.0 {
        straps::taut(&mut sewn, STRAPS, strap_cm, &skin);
    }
    let made = finish(spec, &sewn, fabric, body, cut.hem_pieces());
    progress(1.0);
    Some(made)
}

/// Cloth that falls on a body, and how much of all the work is done.
struct Stage<'a> {
    body: &'a Body,
    solid: Solid,
    progress: &'a (dyn Fn(f32) + Sync),
    cancel: &'a AtomicBool,
    done: f32,
}

impl Stage<'_> {
    /// Lets it fall, which is `share` of the work; `None` where it was stopped. The arms come down meanwhile, from the
    /// first of `out` (1 is swung out) to the second.
    fn fall(
        &mut self,
        sewn: &mut Sewn,
        cloth: &mut Cloth,
        run: &Run,
        out: [f64; 2],
        share: f32,
    ) -> Option<()> {
        let frames = if out[0] == out[1] { 1 } else { 16 };
        for f in 0..frames {
            let t = f64::from(f) / f64::from(frames.max(2) - 1);
            let away = out[0] + (out[1] - out[0]) * step(0.0, 1.0, t);
            let part = Run {
                seconds: run.seconds / f64::from(frames),
                rest_speed: if frames == 1 { run.rest_speed } else { 0.0 },
                ..*run
            };
            let slice = share / frames as f32;
            let from = self.done + slice * f as f32;
            let watch = Watch {
                progress: &|s| (self.progress)(from + slice * s),
                cancel: self.cancel,
            };
            let solid = slice::from_ref(&self.solid);
            if cloth.fall(&part, solid, &arms(self.body, away), watch) == Ended::Cancelled {
                return None;
            }
        }
        self.done += share;
        sewn.mesh.positions = cloth.positions();
        Some(())
    }
}

/// Height of the middle of a skirt's waistband on the dress stand.
fn waistband_height(stand: &Stand) -> f64 {
    stand.level(103.0, 112.0, false) - 0.5
}

/// Upper edge of what hangs on a waistband, as a height in the base pose; none where it hangs from the shoulders.
pub fn waist_edge(spec: &GarmentSpec, upright: &Body) -> Option<f64> {
    let skirt = (spec.skirt.as_ref()).filter(|_| spec.bodice.is_none())?;
    let stand = Stand::new(upright, upright);
    Some(waistband_height(&stand) + 0.5 * skirt.waistband_cm / stand.scale())
}

/// Pieces from this one on are straps; those before it are the dress and its hems.
const STRAPS: u32 = 4;

/// The least distance of pressed cloth from the skin, in centimetres: the facing
/// at an edge finds room below it.
const PRESSED: f64 = 0.27;

/// The pattern of a garment, and where it starts.
struct Cut<'a> {
    stand: &'a Stand<'a>,
    spec: &'a GarmentSpec,
    bodice: Option<bodice::Pieces>,
    skirt: Option<Shape>,
    straight: Option<Straight>,
    hang: Hang,
    weight_g_m2: f64,
    /// Height of the tube's upper edge above where depths are counted from.
    lift: f64,
}

impl<'a> Cut<'a> {
    fn new(spec: &'a GarmentSpec, stand: &'a Stand<'a>, body: &Body, weight_g_m2: f64) -> Self {
        let turn = spec.hem_turn_cm;
        let straight = match (&spec.slip, &spec.shift) {
            (Some(slip), _) => Some(Straight::slip(stand, slip, turn)),
            (None, Some(shift)) => Some(Straight::shift(stand, shift, turn)),
            _ => None,
        };
        if let Some(s) = straight {
            let girth = |depth: f64| s.girth_cm(depth - s.rise);
            let tube = Tube {
                top: s.underarm + s.rise / stand.scale(),
                length_cm: s.length + s.rise,
                girth_cm: &girth,
                flutes: spec.slip.as_ref().map_or(8.0, |s| s.flutes),
                seed: spec.seed,
            };
            let hang = Hang::new(stand, body, &tube);
            return Self {
                stand,
                spec,
                bodice: None,
                skirt: None,
                lift: s.rise,
                weight_g_m2,
                straight: Some(s),
                hang,
            };
        }
        let bodice = spec.bodice.as_ref().map(|b| bodice::draft(stand, b));
        // A garment without any table is turned down when it is read.
        let skirt = spec.skirt.clone().unwrap_or(super::Skirt {
            length_cm: 60.0,
            hem_circumference_cm: 200.0,
            hip_ease_cm: 8.0,
            gather: 1.0,
            flare: 1.0,
            flutes: 9.0,
            waistband_cm: 3.0,
        });
        let (waist, front, back, band) = match &bodice {
            Some(b) => {
                let w = |k: usize| b.waist_cm(k);
                (b.waist, w(0) + w(1) + w(6), w(2) + w(3) + w(4) + w(5), 0.0)
            }
            None => {
                let waist = waistband_height(stand);
                let girth = stand.girth(waist, 0.3) + 1.0;
                let band = skirt.waistband_cm;
                (
                    waist - band / stand.scale() * 0.5,
                    0.51 * girth,
                    0.49 * girth,
                    band,
                )
            }
        };
        let shape = Shape::new(stand, &skirt, waist, front, back, turn);
        let upper = (front + back).min(shape.girth_cm(0.0));
        let girth = |depth: f64| {
            if depth <= band {
                upper
            } else {
                shape.girth_cm(depth - band)
            }
        };
        let tube = Tube {
            top: waist + band / stand.scale(),
            length_cm: skirt.length_cm + band,
            girth_cm: &girth,
            flutes: skirt.flutes,
            seed: spec.seed,
        };
        let hang = Hang::new(stand, body, &tube);
        Self {
            stand,
            spec,
            bodice,
            skirt: Some(shape),
            straight: None,
            hang,
            lift: band,
            weight_g_m2,
        }
    }

    /// Where the tube part starts: share of the way round, depth.
    fn start(&self, share: f64, depth: f64) -> DVec3 {
        self.hang.place(share, depth + self.lift)
    }

    /// Cuts and sews. With `worn`, pieces start where the earlier drape left them.
    fn sewn(
        &self,
        trim: &(dyn Fn(f64) -> f64 + Sync),
        start: &(dyn Fn(f64, f64) -> DVec3 + Sync),
        worn: Option<&(dyn Fn(usize, DVec2) -> DVec3 + Sync)>,
    ) -> Sewn {
        let mut panels: Vec<Panel> = Vec::new();
        // Thin cloth is lined or doubled over the upper body.
        let lined = (120.0 / self.weight_g_m2).clamp(1.0, 3.0);
        if let Some(b) = &self.bodice {
            for k in 0..b.pieces.len() {
                panels.push(Panel {
                    sides: b.sides(k),
                    plies: lined,
                    grain_rad: 0.0,
                    place: Box::new(move |p| self.stand.on_wearer(b.pieces[k].on_stand(p))),
                });
            }
        }
        let joins = self.waist_joins();
        if let Some(s) = &self.skirt {
            panels.extend(s.panels(&joins, trim, start));
            if let (None, Some(skirt)) = (&self.bodice, &self.spec.skirt) {
                panels.extend(waistband(
                    s,
                    skirt.gather,
                    skirt.waistband_cm,
                    &self.hang,
                    &joins,
                ));
            }
        }
        if let Some(s) = &self.straight {
            panels.extend(s.panels(self.stand, trim, start));
        }
        if let Some(worn) = worn {
            for (k, panel) in panels.iter_mut().enumerate() {
                let turn = DVec2::from_angle(panel.grain_rad);
                panel.place = Box::new(move |p| worn(k, turn.rotate(p)));
            }
        }
        let mut sewn = sew(&panels, COARSE);
        self.pin(&mut sewn);
        sewn
    }

    /// Seams of the skirt's upper edge, gore by gore, from right to left.
    fn waist_joins(&self) -> [Vec<(Join, f64)>; 3] {
        let seam = |k: u32| Join::Seam(WAIST_SEAM + k);
        let Some(b) = &self.bodice else {
            return [0, 1, 2].map(|k| vec![(seam(k), 1.0)]);
        };
        [vec![1, 0, 6], vec![3, 2], vec![5, 4]].map(|pieces: Vec<usize>| {
            let total: f64 = pieces.iter().map(|&k| b.waist_cm(k)).sum();
            pieces
                .iter()
                .map(|&k| (seam(k as u32), b.waist_cm(k) / total))
                .collect()
        })
    }

    /// A waistband sits where it was put, and a strap on the crest of the shoulder.
    fn pin(&self, sewn: &mut Sewn) {
        let mesh = &mut sewn.mesh;
        let chest = self.stand.on_wearer(dvec3(0.0, 122.0, 0.0)).y;
        mesh.faced = true;
        mesh.inertia = mesh
            .positions
            .iter()
            .map(|p| 1.0 + 15.0 * step(0.0, 14.0, p.y - chest))
            .collect();
        let strap = self.straight.as_ref().map_or(0.0, |s| s.strap_cm());
        for (t, v) in mesh.triangles.iter().enumerate() {
            for (k, &i) in v.iter().enumerate() {
                if self.straight.is_some() && mesh.group[t] >= STRAPS {
                    mesh.inertia[i as usize] = 150.0;
                }
                let held = if self.straight.is_some() {
                    mesh.group[t] >= STRAPS && (mesh.flat[t][k].y - 0.5 * strap).abs() < 1.6
                } else {
                    self.bodice.is_none() && mesh.group[t] >= 6
                };
                if held {
                    mesh.pinned[i as usize] = true;
                }
            }
        }
    }

    /// The lowest height that its cloth reaches, and the highest where it only goes up to the waist, in centimetres.
    fn reach(&self) -> [f64; 2] {
        let top = self.start(0.0, 0.0).y;
        let only_skirt = self.bodice.is_none() && self.skirt.is_some();
        let high = if only_skirt {
            top + 14.0
        } else {
            f64::INFINITY
        };
        [top - 110.0, high]
    }

    /// Numbers of the pieces that are turned hems.
    fn hem_pieces(&self) -> Vec<u32> {
        let first = self.bodice.as_ref().map_or(0, |b| b.pieces.len()) as u32;
        let count = if self.straight.is_some() { 2 } else { 3 };
        (0..count).map(|k| first + 2 * k + 1).collect()
    }

    /// How much to cut off the hem, so that it hangs level at its median height.
    fn levelled(&self, sewn: &Sewn) -> Trim {
        let mut marks: Vec<(f64, f64)> = Vec::new();
        let hems = self.hem_pieces();
        for (t, v) in sewn.mesh.triangles.iter().enumerate() {
            let Some(k) = hems.iter().position(|&h| h == sewn.mesh.group[t]) else {
                continue;
            };
            for (i, &p) in v.iter().enumerate() {
                let back = -self.grain();
                let q = DVec2::from_angle(back).rotate(sewn.mesh.flat[t][i]);
                let (share, depth) = match (&self.skirt, &self.straight) {
                    (Some(s), _) => s.place_of(Gore::ALL[k], q),
                    (None, Some(s)) => s.place_of(k, q),
                    (None, None) => continue,
                };
                let whole = self.skirt.as_ref().map_or_else(
                    || self.straight.as_ref().map_or(0.0, |s| s.length),
                    |s| s.length_cm(),
                );
                if depth > whole - 0.3 {
                    marks.push((share.rem_euclid(1.0), sewn.mesh.positions[p as usize].y));
                }
            }
        }
        Trim::new(&marks)
    }

    fn grain(&self) -> f64 {
        self.spec
            .slip
            .as_ref()
            .map_or(0.0, |s| s.grain_deg.to_radians())
    }
}

/// Lengths to cut off, at even shares of the way round.
struct Trim {
    cut: Vec<f64>,
}

impl Trim {
    const STEPS: usize = 180;

    fn new(marks: &[(f64, f64)]) -> Self {
        let mut heights: Vec<f64> = marks.iter().map(|m| m.1).collect();
        if heights.is_empty() {
            return Self {
                cut: vec![0.0; Self::STEPS],
            };
        }
        heights.sort_by(f64::total_cmp);
        let level = heights[heights.len() / 2];
        // A kernel about as wide as a hand, so that single flutes are not followed.
        let cut = (0..Self::STEPS)
            .map(|k| {
                let at = (k as f64 + 0.5) / Self::STEPS as f64;
                let (mut sum, mut weight) = (0.0, 1e-9);
                for &(share, y) in marks {
                    let mut off = (share - at).abs();
                    off = off.min(1.0 - off);
                    let w = (-0.5 * (off / 0.014).powi(2)).exp();
                    sum += w * (level - y);
                    weight += w;
                }
                (sum / weight).clamp(-4.0, 12.0)
            })
            .collect();
        Self { cut }
    }

    fn at(&self, share: f64) -> f64 {
        let f = share.rem_euclid(1.0) * Self::STEPS as f64 - 0.5;
        let i = f.floor();
        let read = |i: f64| self.cut[i.rem_euclid(Self::STEPS as f64) as usize % Self::STEPS];
        read(i) + (read(i + 1.0) - read(i)) * (f - i)
    }
}

/// Where a flat point of a piece lies in an earlier drape. Each of `hems` follows the gore that it is turned from and
/// shares its flat.
fn lying(sewn: &Sewn, hems: &[u32], piece: usize, p: DVec2) -> DVec3 {
    let pair = |g: usize| g - usize::from(hems.contains(&(g as u32)));
    let mesh = &sewn.mesh;
    let mut best = (f64::INFINITY, DVec3::ZERO);
    for (t, v) in mesh.triangles.iter().enumerate() {
        if pair(mesh.group[t] as usize) != pair(piece) {
            continue;
        }
        let (inside, [a, b, c]) = plane::within(&mesh.flat[t], p);
        if inside < best.0 {
            let [x, y, z] = v.map(|i| mesh.positions[i as usize]);
            best = (inside, x * a + y * b + z * c);
            if inside == 0.0 {
                break;
            }
        }
    }
    best.1
}

/// What the cloth feels of a movement given in the body's own directions; nothing at all of none.
fn felt(body: &Body, movement: &Movement) -> Motion {
    if *movement == Movement::default() {
        return Motion::default();
    }
    let at = |p: DVec3| body.on_pelvis(dvec3(0.0, 92.0, 0.0) + p);
    let ahead = at(DVec3::Z) - at(DVec3::ZERO);
    let front = dvec3(ahead.x, 0.0, ahead.z).normalize_or(DVec3::Z);
    let left = DVec3::Y.cross(front);
    let [x, y, z] = movement.acceleration_m_s2;
    let acceleration = (left * x + DVec3::Y * y + front * z) * 100.0;
    let flat = dvec3(acceleration.x, 0.0, acceleration.z);
    Motion {
        acceleration,
        spin: movement.yaw_rate_deg_s.to_radians(),
        spin_rise: 0.0,
        axis: at(DVec3::ZERO),
        // The speed that such an acceleration gathers in a third of a second.
        wind: -flat / 3.0,
    }
}
