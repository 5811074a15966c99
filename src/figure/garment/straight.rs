//! Dresses of one front and one back: the slip on straps and the shift.

use super::panel::{Join, Panel, Side};
use super::skirt::Trim;
use super::spec::{Shift, Slip};
use super::stand::Stand;
use crate::figure::sdf::Table;
use glam::{DVec2, DVec3, dvec2, dvec3};
use std::f64::consts::FRAC_PI_2;

/// Half widths of the two pieces against depth below the underarm.
pub struct Straight {
    width: [Table<1>; 2],
    /// Depth of the hem below the underarm, in centimetres.
    pub length: f64,
    turn: f64,
    grain: f64,
    upper: [Upper; 2],
    straps: Option<Strap>,
    /// Height of the underarm on the stand, in base centimetres.
    pub underarm: f64,
    /// Rise of the highest point of the tube part above the underarm.
    pub rise: f64,
}

/// The upper edge of a piece, from its right side to its left: curves with what
/// they are sewn to.
struct Upper {
    edges: Vec<Side>,
}

struct Strap {
    length: f64,
    width: f64,
    /// Along the strap from front to back, in base coordinates; for the wearer's left.
    path: Vec<DVec3>,
}

/// Where the tube of a straight dress lies: by share and depth below its highest point.
pub type Laid<'a> = &'a (dyn Fn(f64, f64) -> DVec3 + Sync);

impl Straight {
    /// A slip dress.
    pub fn slip(stand: &Stand, spec: &Slip, turn: f64) -> Self {
        let underarm = 127.5;
        let bust = stand.girth(124.0, 0.3) + spec.bust_ease_cm;
        let hip_level = stand.level(86.0, 98.0, true);
        let hip = stand.girth(hip_level, 0.3) + spec.hip_ease_cm;
        let waist = stand.girth(stand.level(103.0, 112.0, false), 0.3) + 4.0;
        let width = |front: f64| {
            let at = |d: f64, girth: f64| (d, [0.25 * girth + front]);
            let to_hip = (underarm - hip_level) * stand.scale();
            Table::new(
                &[
                    at(0.0, bust),
                    at(4.0, bust),
                    at(0.5 * to_hip, bust.min(waist + 0.8 * (bust - waist))),
                    // Wide enough above the hips to slide down over them: what caught there would bunch at the waist.
                    at(0.76 * to_hip, hip - 1.0),
                    at(to_hip, hip),
                    at(spec.length_cm, spec.hem_circumference_cm.max(hip - 2.0)),
                ],
                160,
                6.0,
            )
        };
        let width = [width(0.8), width(-0.8)];
        let strap_x = 0.08 * stand.girth(124.0, 0.0);
        let sw = spec.strap_width_cm;
        let (rise, low) = (spec.front_rise_cm, spec.front_rise_cm - spec.front_dip_cm);
        let drop = -spec.back_drop_cm;
        let curve = |c: [DVec2; 4]| -> Vec<DVec2> {
            (0..=40).map(|i| bezier(c, f64::from(i) / 40.0)).collect()
        };
        let mirrored =
            |c: &[DVec2]| -> Vec<DVec2> { c.iter().rev().map(|p| dvec2(-p.x, p.y)).collect() };
        let upper = |w: f64, top: f64, dip: f64, near: u32, far: u32| {
            let tip = dvec2(strap_x, top);
            let outer = curve([
                dvec2(w, 0.0),
                dvec2(w - 0.35 * (w - strap_x), 0.15 * top.min(0.0)),
                dvec2(strap_x + sw + 0.3 * (w - strap_x), top - 0.35 * top.abs()),
                tip + dvec2(sw, 0.0),
            ]);
            let inner = curve([
                tip,
                dvec2(0.72 * strap_x, top + 0.35 * (dip - top)),
                dvec2(0.4 * strap_x, dip),
                dvec2(0.0, dip),
            ]);
            let whole_inner = [inner.clone(), mirrored(&inner)[1..].to_vec()].concat();
            let side = |curve, join| Side { curve, join };
            let end = vec![tip + dvec2(sw, 0.0), tip];
            Upper {
                edges: vec![
                    side(outer.clone(), Join::Open),
                    side(end.clone(), Join::Seam(near)),
                    side(whole_inner, Join::Open),
                    side(mirrored(&end), Join::Seam(far)),
                    side(mirrored(&outer), Join::Open),
                ],
            }
        };
        // Seen from behind the wearer's left strap is on the piece's left.
        let upper = [
            upper(width[0].at(0.0)[0], rise, low, 91, 92),
            upper(width[1].at(0.0)[0], drop, drop - 0.5, 94, 93),
        ];
        let top_y = |lift: f64| stand.surface(0.6, underarm, 0.3).y + lift / stand.scale();
        let from = stand.seen_at(0.93 * strap_x + 0.5 * sw, top_y(rise), false);
        let to = stand.seen_at(0.93 * strap_x + 0.5 * sw, top_y(drop), true);
        let crest = {
            let x = strap_x + 1.0;
            let h = (0..400)
                .map(|i| 126.0 + 0.05 * f64::from(i))
                .min_by(|a, b| {
                    let off = |h: &f64| (stand.surface(FRAC_PI_2, *h, 0.3).x - x).abs();
                    off(a).total_cmp(&off(b))
                })
                .unwrap_or(136.0);
            dvec2(FRAC_PI_2, h)
        };
        let path: Vec<DVec3> = (0..=40)
            .map(|i| {
                let t = f64::from(i) / 20.0;
                let q = if t < 1.0 {
                    let s = (t * FRAC_PI_2).sin();
                    dvec2(
                        from.x + (crest.x - from.x) * t * t,
                        from.y + (crest.y - from.y) * s,
                    )
                } else {
                    let t = 2.0 - t;
                    let s = (t * FRAC_PI_2).sin();
                    dvec2(to.x + (crest.x - to.x) * t * t, to.y + (crest.y - to.y) * s)
                };
                stand.surface(q.x, q.y, 0.3)
            })
            .collect();
        let along: f64 = path.windows(2).map(|w| w[0].distance(w[1])).sum();
        Self {
            width,
            length: spec.length_cm,
            turn,
            grain: spec.grain_deg.to_radians(),
            upper,
            straps: Some(Strap {
                length: 1.02 * along * stand.scale(),
                width: sw,
                path,
            }),
            underarm,
            rise,
        }
    }

    /// A shift dress, drafted by common practice for a sleeveless dress without darts.
    pub fn shift(stand: &Stand, spec: &Shift, turn: f64) -> Self {
        let underarm = 127.5;
        let length = spec.length_cm - 24.5;
        let waist = stand.girth(stand.level(103.0, 112.0, false), 0.3);
        let hip = stand.girth(stand.level(86.0, 98.0, true), 0.3);
        let bust = stand.girth(124.0, 0.3);
        let (b, w, h) = (bust + 4.0, waist.max(bust - 16.0) + 14.0, hip + 11.0);
        let width = [0.6, -0.6].map(|front| {
            let row = |d: f64, half: f64| (d, [half + front]);
            let hem = spec.hem_half_width_cm - front;
            Table::new(
                &[
                    row(0.0, 0.25 * b),
                    row(18.0, 0.25 * w),
                    row(36.0, 0.25 * h),
                    row(0.5 * (36.0 + length), 0.5 * (0.25 * h + hem) - 0.4),
                    row(length, hem),
                ],
                160,
                6.0,
            )
        });
        let upper = [0, 1].map(|k| {
            let up = 24.5 + [1.5, 0.0][k];
            let wide = width[k].at(0.0)[0];
            let tip = dvec2(14.0, up - 2.8);
            let neck = dvec2(8.6, up);
            let (a, b) = [
                ((17.2, 0.2), (13.0, up - 14.0)),
                ((18.0, 0.2), (14.0, up - 13.0)),
            ][k];
            let armhole = [dvec2(wide, 0.0), dvec2(a.0, a.1), dvec2(b.0, b.1), tip];
            let low = up - [11.0, 4.3][k];
            let scoop = [
                neck,
                dvec2(8.0, up - [7.0, 3.0][k]),
                dvec2(5.2, low),
                dvec2(0.0, low),
            ];
            let curve = |c: [DVec2; 4]| -> Vec<DVec2> {
                (0..=40).map(|i| bezier(c, f64::from(i) / 40.0)).collect()
            };
            let mirrored =
                |c: &[DVec2]| -> Vec<DVec2> { c.iter().rev().map(|p| dvec2(-p.x, p.y)).collect() };
            let (armhole, inner) = (curve(armhole), curve(scoop));
            let shoulder = vec![tip, neck];
            let (near, far) = [(91, 92), (92, 91)][k];
            let side = |curve, join| Side { curve, join };
            Upper {
                edges: vec![
                    side(armhole.clone(), Join::Open),
                    side(shoulder.clone(), Join::Seam(near)),
                    side(
                        [inner.clone(), mirrored(&inner)[1..].to_vec()].concat(),
                        Join::Open,
                    ),
                    side(mirrored(&shoulder), Join::Seam(far)),
                    side(mirrored(&armhole), Join::Open),
                ],
            }
        });
        Self {
            width,
            length,
            turn,
            grain: 0.0,
            upper,
            straps: None,
            underarm,
            rise: 0.0,
        }
    }

    /// Length of a strap, in centimetres; 0 without straps.
    pub fn strap_cm(&self) -> f64 {
        self.straps.as_ref().map_or(0.0, |s| s.length)
    }

    /// Girth of the cloth at a depth below the underarm.
    pub fn girth_cm(&self, depth: f64) -> f64 {
        let d = depth.clamp(0.0, self.length);
        2.0 * (self.width[0].at(d)[0] + self.width[1].at(d)[0])
    }

    /// (share, depth below the underarm) of a point of a piece (0 front, 1 back).
    pub fn place_of(&self, piece: usize, p: DVec2) -> (f64, f64) {
        let rise = self.row_rise(piece, -p.y);
        let w = self.width[piece].at((-p.y).clamp(0.0, self.length))[0];
        let s = p.x / w;
        let depth = -p.y + rise * s * s;
        let half = 0.5 * self.girth_cm(depth);
        (0.5 * piece as f64 + 0.5 * p.x / half, depth)
    }

    /// How much the ends of a row lie above its middle, so that rows meet the
    /// side seams square.
    fn row_rise(&self, piece: usize, depth: f64) -> f64 {
        let at = |d: f64| self.width[piece].at(d.clamp(0.0, self.length))[0];
        let slope = (at(depth + 3.0) - at(depth - 3.0)) / 6.0;
        0.5 * at(depth) * slope.max(0.0) * (depth / 20.0).clamp(0.0, 1.0)
    }

    /// All pieces: front, its turned hem, back, its turned hem, and straps.
    /// `place` puts (share, depth below the underarm), `high` puts points above it.
    pub fn panels<'a>(&'a self, stand: &'a Stand, trim: Trim, place: Laid<'a>) -> Vec<Panel<'a>> {
        use Join::{Open, Seam, Stitches};
        let mut panels = Vec::new();
        for piece in 0..2 {
            let middle = 0.5 * piece as f64;
            let share = |s: f64| {
                middle
                    + 0.5 * s * self.width[piece].at(self.length)[0]
                        / (0.5 * self.girth_cm(self.length))
            };
            let row = |up: f64, right: bool| -> Vec<DVec2> {
                (0..=80)
                    .map(|i| {
                        let s = (2.0 * f64::from(i) / 80.0 - 1.0) * if right { 1.0 } else { -1.0 };
                        let depth = self.length - trim(share(s)) - up;
                        let w = self.width[piece].at(depth)[0];
                        dvec2(s * w, self.row_rise(piece, depth) * s * s - depth)
                    })
                    .collect()
            };
            let (stitches, hem) = (row(self.turn, true), row(0.0, true));
            let column = |from: DVec2, to: DVec2| -> Vec<DVec2> {
                (0..=60)
                    .map(|i| {
                        let y = from.y + (to.y - from.y) * f64::from(i) / 60.0;
                        // At the ends of a row the depth is less by its rise.
                        let mut depth = -y;
                        for _ in 0..6 {
                            depth = self.row_rise(piece, depth) - y;
                        }
                        let w = self.width[piece].at(depth.clamp(0.0, self.length))[0];
                        let end = if i == 0 {
                            Some(from)
                        } else if i == 60 {
                            Some(to)
                        } else {
                            None
                        };
                        end.unwrap_or(dvec2(w * from.x.signum(), y))
                    })
                    .collect()
            };
            let wide = self.width[piece].at(0.0)[0];
            let (l, r) = (stitches[0], stitches[80]);
            let (near, far) = [(Seam(51), Seam(52)), (Seam(52), Seam(51))][piece];
            let mut edges = vec![
                Side {
                    curve: stitches.clone(),
                    join: Stitches(71 + piece as u32),
                },
                Side {
                    curve: column(r, dvec2(wide, 0.0)),
                    join: near,
                },
            ];
            edges.extend(self.upper[piece].edges.iter().cloned());
            edges.push(Side {
                curve: column(dvec2(-wide, 0.0), l),
                join: far,
            });
            let put = move |p: DVec2| {
                if self.straps.is_none() && p.y > 0.0 {
                    return self.over_shoulder(stand, piece, p);
                }
                let (share, depth) = self.place_of(piece, p);
                place(share, depth)
            };
            panels.push(Panel {
                sides: edges,
                plies: 1.0,
                grain_rad: self.grain,
                place: Box::new(put),
            });
            let (hem_near, hem_far) = [(Seam(61), Seam(62)), (Seam(62), Seam(61))][piece];
            let back = |c: &[DVec2]| -> Vec<DVec2> { c.iter().rev().copied().collect() };
            panels.push(Panel {
                sides: vec![
                    Side {
                        curve: hem.clone(),
                        join: Open,
                    },
                    Side {
                        curve: vec![hem[80], r],
                        join: hem_near,
                    },
                    Side {
                        curve: back(&stitches),
                        join: Stitches(71 + piece as u32),
                    },
                    Side {
                        curve: vec![l, hem[0]],
                        join: hem_far,
                    },
                ],
                plies: 2.0,
                grain_rad: self.grain,
                place: Box::new(put),
            });
        }
        if let Some(strap) = &self.straps {
            for (sign, front, rear) in [(1.0, 91, 93), (-1.0, 92, 94)] {
                panels.push(strap.panel(stand, sign, front, rear));
            }
        }
        panels
    }

    /// Above the underarm the shift lies straight over chest and shoulder.
    fn over_shoulder(&self, stand: &Stand, piece: usize, p: DVec2) -> DVec3 {
        let y = stand.surface(0.6, self.underarm, 0.3).y;
        let q = dvec2(
            p.x * 0.96 * [1.0, -1.0][piece],
            y + p.y * 0.86 / stand.scale(),
        );
        let at = stand.seen_at(q.x, q.y, piece == 1);
        let at = dvec2(at.x, at.y.min(140.0));
        stand.on_wearer(stand.surface(at.x, at.y, 0.4))
    }
}

impl Strap {
    fn panel<'a>(&'a self, stand: &'a Stand, sign: f64, front: u32, rear: u32) -> Panel<'a> {
        use Join::{Open, Seam};
        let (w, l) = (self.width, self.length);
        let c = |x: f64, y: f64| dvec2(x, y);
        // Seen from outside with its front end below: up runs over the shoulder.
        let side = |curve, join| Side { curve, join };
        Panel {
            sides: vec![
                side(vec![c(0.0, 0.0), c(w, 0.0)], Seam(front)),
                side(vec![c(w, 0.0), c(w, l)], Open),
                side(vec![c(w, l), c(0.0, l)], Seam(rear)),
                side(vec![c(0.0, l), c(0.0, 0.0)], Open),
            ],
            plies: 3.0,
            grain_rad: 0.0,
            place: Box::new(move |p: DVec2| {
                let f = (p.y / l).clamp(0.0, 1.0) * 40.0;
                let i = (f as usize).min(39);
                let q = self.path[i].lerp(self.path[i + 1], f - i as f64);
                let out = (p.x / w - 0.5) * w / stand.scale();
                // Across the strap: outward at its front end seen from outside.
                stand.on_wearer(dvec3(sign * q.x + out, q.y, q.z))
            }),
        }
    }
}

fn bezier(p: [DVec2; 4], t: f64) -> DVec2 {
    let s = 1.0 - t;
    p[0] * (s * s * s) + p[1] * (3.0 * s * s * t) + p[2] * (3.0 * s * t * t) + p[3] * (t * t * t)
}
