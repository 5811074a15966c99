//! Trousers: two fronts and two backs, drafted on the standing figure.

use super::Fitting;
use super::bones::ROOM_CM;
use super::finish::{Surface, seam_relief};
use super::legs::{ANKLE, HIP, KNEE, LegEase, LegRings, WAIST, leg_rings};
use super::panel::{Outline, Panel, Side, length};
use super::room::Round;
use super::sew::{Laid, Settling, Sewn, settled};
use super::spec::Trousers;
use super::trim::{Finder, Lift, append, buttons, loft, overlay};
use super::tube::Net;
use super::tube::leave;
use super::way::Way;
use crate::figure::Part;
use crate::figure::body::Body;
use crate::figure::sdf::step;
use glam::{DVec2, DVec3, dvec2};
use std::collections::BTreeMap;

/// How far the fork hangs below the body's, as a share of the thigh.
const FORK_DROP: f64 = 0.045;

/// One quarter of the trousers, drafted flat, outseam at negative u.
pub struct Quarter {
    /// Stations from the hem up, with the outseam's u, the inner edge's u, and v
    /// at the outseam and at the inner edge.
    rows: Vec<[f64; 5]>,
}

impl Quarter {
    fn row(&self, t: f64) -> [f64; 5] {
        let n = self.rows.len();
        let k = self.rows.partition_point(|r| r[0] > t).clamp(1, n - 1);
        let (a, b) = (self.rows[k - 1], self.rows[k]);
        let f = ((t - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0);
        std::array::from_fn(|c| a[c] + (b[c] - a[c]) * f)
    }

    /// Station and share of the arc of a point of the piece.
    pub fn locate(&self, uv: DVec2) -> (f64, f64) {
        let (mut lo, mut hi) = (self.rows[self.rows.len() - 1][0], self.rows[0][0]);
        let share = |t: f64| {
            let r = self.row(t);
            ((uv.x - r[1]) / (r[2] - r[1]).max(0.1)).clamp(0.0, 1.0)
        };
        for _ in 0..40 {
            let t = 0.5 * (lo + hi);
            let (r, s) = (self.row(t), share(t));
            // v falls as the station number grows.
            if r[3] + (r[4] - r[3]) * s > uv.y {
                lo = t;
            } else {
                hi = t;
            }
        }
        let t = 0.5 * (lo + hi);
        (t, share(t))
    }

    pub fn outline(&self, crotch: f64, crease: bool) -> Outline {
        let out: Vec<DVec2> = self.rows.iter().map(|r| dvec2(r[1], r[3])).collect();
        let inner: Vec<DVec2> = self.rows.iter().map(|r| dvec2(r[2], r[4])).collect();
        // The fork hangs a little below the body.
        let fork = self
            .rows
            .partition_point(|r| r[0] > crotch + FORK_DROP)
            .min(self.rows.len() - 2);
        let last = self.rows.len() - 1;
        let mut outseam = out.clone();
        outseam.reverse();
        let sides = vec![
            Side {
                name: "hem",
                points: vec![out[0], inner[0]],
            },
            Side {
                name: "inseam",
                points: inner[..=fork].to_vec(),
            },
            Side {
                name: "rise",
                points: inner[fork..].to_vec(),
            },
            Side {
                name: "waist",
                points: vec![inner[last], out[last]],
            },
            Side {
                name: "outseam",
                points: outseam,
            },
        ];
        let top = self.rows[last][3] - 6.0;
        let lines = if crease {
            vec![vec![dvec2(0.0, out[0].y + 0.01), dvec2(0.0, top)]]
        } else {
            Vec::new()
        };
        Outline { sides, lines }
    }
}

/// The pattern of one leg and where it lies on a body.
pub struct Draft {
    pub front: Quarter,
    pub back: Quarter,
    pub crotch: f64,
}

/// Stations of waist edge and hem for the cut.
pub struct Stations {
    pub top: f64,
    pub hem: f64,
}

impl Trousers {
    /// Girth of the cloth around one leg at a station, in centimetres, for a base size.
    fn girth(&self, t: f64) -> f64 {
        if t < KNEE {
            self.thigh_girth_cm + (self.knee_girth_cm - self.thigh_girth_cm) * step(1.3, KNEE, t)
        } else {
            self.knee_girth_cm
                + (self.hem_girth_cm - self.knee_girth_cm) * ((t - KNEE) / 1.1).clamp(0.0, 1.0)
        }
    }

    fn gap(&self, t: f64, tuck_cm: f64) -> f64 {
        let hip = self.hip_ease_cm / std::f64::consts::TAU;
        let waist = 0.35 + tuck_cm;
        if t < HIP {
            waist + (hip - waist) * step(0.15, 0.85, t)
        } else {
            hip
        }
    }

    /// Height of the waistband's upper edge in the pelvis's base pose.
    pub(crate) fn waist_edge(&self, scale: f64) -> f64 {
        WAIST + (self.waistband_cm - self.below_waist_cm - BAND_OVERLAP_CM) / scale
    }

    /// Where the cut begins and ends on the legs of `body`.
    pub(super) fn stations(&self, body: &Body) -> Stations {
        // The waist edge hangs `rise` below the natural waist, station 0 at 108.
        let j = body.joints();
        let waist = body.on_pelvis(glam::dvec3(0.0, WAIST, -0.6));
        let hip = 0.5 * (j.hip[0] + j.hip[1]);
        let top = (self.below_waist_cm / waist.distance(hip)).clamp(0.0, 0.6);
        let hem = ANKLE + (self.length_past_ankle_cm / 12.0).clamp(-1.0, 0.75);
        Stations { top, hem }
    }

    /// Rings of one leg; `tuck_cm` of room is left at the waist for a tucked top.
    fn rings(
        &self,
        body: &Body,
        side: usize,
        size: f64,
        tuck_cm: f64,
        below: &(dyn Fn(DVec3) -> f64 + Sync),
    ) -> LegRings {
        let top = self.stations(body).top;
        let ease = LegEase {
            gap: &|t| self.gap(t, tuck_cm),
            girth: &|t| size * self.girth(t),
            top,
            below,
        };
        leg_rings(body, side, &ease)
    }

    /// Drafts the pieces from the rings of a standing body.
    pub fn draft(&self, body: &Body, rings: &LegRings) -> Draft {
        let stations = self.stations(body);
        let (top, hem) = (stations.top, stations.hem);
        const ROWS: usize = 120;
        let at = |r: usize| hem + (top - hem) * r as f64 / ROWS as f64;
        let crotch = rings.crotch;
        let quarter = |net: &Net, is_front: bool| {
            let width = |t: f64| {
                let w = net.width(t);
                if t > crotch + 0.15 {
                    // Below the crotch the cut sets the girth; fronts are narrower than backs.
                    let total = rings.front.width(t) + rings.back.width(t);
                    let part = 0.5 * total + if is_front { -1.0 } else { 1.0 };
                    let blend = step(crotch + 0.15, crotch + 0.5, t);
                    w + (part - w) * blend
                } else {
                    w
                }
            };
            let raw: Vec<f64> = (0..=ROWS).map(|r| width(at(r))).collect();
            // A pattern has no wobbles.
            let smooth: Vec<f64> = (0..=ROWS)
                .map(|r| {
                    let near = &raw[r.saturating_sub(3)..=(r + 3).min(ROWS)];
                    near.iter().sum::<f64>() / near.len() as f64
                })
                .collect();
            let hip = net.width(1.0);
            let knee = width(KNEE);
            // How much longer the middle of the seat is than the side, above the crotch.
            let extra = |t: f64| {
                let from_top = |s: f64| net.length_to(s, crotch) - net.length_to(s, t);
                let grow = from_top(0.7) - from_top(0.0);
                if t < crotch {
                    grow.clamp(-1.5, 4.0) * step(crotch, crotch - 0.5, t)
                } else {
                    0.0
                }
            };
            let rows = (0..=ROWS)
                .map(|r| {
                    let t = at(r);
                    let w = smooth[r];
                    let thigh = -0.5 * hip;
                    let outer = if t > KNEE {
                        -0.5 * w
                    } else if t > crotch {
                        let f = step(crotch, KNEE, t);
                        thigh + (-0.5 * knee - thigh) * f
                    } else if t > HIP {
                        thigh
                    } else {
                        // Waist shaping: most at the side, for the back some at the centre.
                        let share = if is_front { 0.85 } else { 0.55 };
                        thigh + (hip - w) * share
                    };
                    // The fork: cloth that reaches under the body, a sixteenth of the hip
                    // girth for the front and twice that for the back would be common
                    // practice; the body's own arc already gives part of it.
                    let fork = crotch + FORK_DROP;
                    let reach = if is_front { 1.6 } else { 3.6 };
                    let fade = if t > fork {
                        1.0 - step(fork, KNEE, t)
                    } else {
                        (1.0 - ((fork - t) / 0.24).min(1.0)).powi(3)
                    };
                    let w = w + reach * fade;
                    let v = rings.axis.along(hem) - rings.axis.along(t);
                    [t, outer, outer + w, v, v + extra(t)]
                })
                .collect();
            Quarter { rows }
        };
        Draft {
            front: quarter(&rings.front, true),
            back: quarter(&rings.back, false),
            crotch,
        }
    }
}

/// Where a point of a quarter lies around the posed leg.
pub fn lay(quarter: &Quarter, net: &Net, uv: DVec2) -> DVec3 {
    let (t, s) = quarter.locate(uv);
    net.at(t, s)
}

const PANELS: [(&str, usize, bool); 4] = [
    ("left front", 0, true),
    ("left back", 0, false),
    ("right front", 1, true),
    ("right back", 1, false),
];

impl Trousers {
    /// Cuts and sews the trousers at edge length `h`, laid on `posed`.
    pub fn sew(&self, drafts: &[Draft; 2], posed: &[LegRings; 2], h: f64) -> Laid {
        let outlines: Vec<(Outline, bool)> = PANELS
            .iter()
            .map(|&(_, side, front)| {
                let quarter = if front {
                    &drafts[side].front
                } else {
                    &drafts[side].back
                };
                let outline = quarter.outline(drafts[side].crotch, self.crease);
                // Seen from outside the outseam is on the right for the left front and the right back.
                let mirrored = (side == 0) == front;
                (
                    if mirrored {
                        outline.mirrored()
                    } else {
                        outline
                    },
                    mirrored,
                )
            })
            .collect();
        // Sides sewn together get the same number of segments: that of the longest.
        let count = |name: &str| {
            let longest = outlines
                .iter()
                .map(|o| o.0.length(name))
                .fold(0.0, f64::max);
            (longest / h).round().max(1.0) as usize
        };
        let mut panels = Vec::new();
        let mut laid = Vec::new();
        for (&(name, side, front), (outline, mirrored)) in PANELS.iter().zip(&outlines) {
            let panel = Panel::new(name, outline, h, &|s| match s.name {
                "hem" | "waist" => (length(&s.points) / h).round() as usize,
                other => count(other),
            });
            let (quarter, net) = if front {
                (&drafts[side].front, &posed[side].front)
            } else {
                (&drafts[side].back, &posed[side].back)
            };
            let flip = if *mirrored { -1.0 } else { 1.0 };
            laid.push(
                panel
                    .uvs
                    .iter()
                    .map(|uv| lay(quarter, net, dvec2(uv.x * flip, uv.y)))
                    .collect::<Vec<_>>(),
            );
            panels.push(panel);
        }
        let mut seams = Vec::new();
        for side in 0..2 {
            let (f, b) = (2 * side, 2 * side + 1);
            seams.push(((f, "outseam"), (b, "outseam")));
            seams.push(((f, "inseam"), (b, "inseam")));
        }
        seams.push(((0, "rise"), (2, "rise")));
        seams.push(((1, "rise"), (3, "rise")));
        let sewn = Sewn::new(panels, &laid, &seams);
        let start = sewn.gathered(&laid);
        let pinned = self.held(&sewn, drafts, posed).into_keys().collect();
        Laid {
            sewn,
            start,
            pinned,
            plies: Vec::new(),
        }
    }

    /// Where the waistband holds the upper edge, by particle.
    fn held(
        &self,
        sewn: &Sewn,
        drafts: &[Draft; 2],
        posed: &[LegRings; 2],
    ) -> BTreeMap<u32, DVec3> {
        let mut sums: BTreeMap<u32, (DVec3, f64)> = BTreeMap::new();
        for (k, &(_, side, front)) in PANELS.iter().enumerate() {
            let (quarter, net) = if front {
                (&drafts[side].front, &posed[side].front)
            } else {
                (&drafts[side].back, &posed[side].back)
            };
            let flip = if (side == 0) == front { -1.0 } else { 1.0 };
            let panel = &sewn.panels[k];
            for &v in panel.side("waist") {
                let uv = panel.uvs[v as usize];
                let sum = sums.entry(sewn.particles[k][v as usize]).or_default();
                sum.0 += lay(quarter, net, dvec2(uv.x * flip, uv.y));
                sum.1 += 1.0;
            }
        }
        (sums.into_iter())
            .map(|(p, (sum, n))| (p, sum / n))
            .collect()
    }
}

/// The waistband covers so much of the panels.
const BAND_OVERLAP_CM: f64 = 0.8;

/// What the panels go round.
const ROUND: [Round; 4] = [Round::Leg(0), Round::Leg(0), Round::Leg(1), Round::Leg(1)];

/// Belt loops, by their share of the way round from the centre front (common practice: two before the side
/// seams, two behind them, one at the centre back, two between).
const BELT_LOOPS: [f64; 7] = [0.11, 0.24, 0.38, 0.5, 0.62, 0.76, 0.89];

/// A loop on the band of those rows: sewn down at both ends, standing off between.
fn belt_loop(rows: &[Vec<DVec3>], at: usize) -> Vec<Vec<DVec3>> {
    let last = rows.len() - 1;
    (0..=8)
        .map(|i| {
            let up = f64::from(i) / 8.0;
            let y = up * last as f64;
            let r = (y as usize).min(last - 1);
            let stands = 0.14 + 0.2 * (std::f64::consts::PI * up).sin().sqrt();
            [at - 1, at, at + 1]
                .map(|k| {
                    let across = rows[r][k + 1] - rows[r][k - 1];
                    let out = across.cross(rows[last][k] - rows[0][k]).normalize_or_zero();
                    rows[r][k].lerp(rows[r + 1][k], y - r as f64) + out * stands
                })
                .to_vec()
        })
        .collect()
}

impl Trousers {
    /// Makes the trousers: the cloth with its waistband, pockets and fly, and the button.
    pub(crate) fn make(&self, fit: &Fitting) -> Vec<Part> {
        let size = fit.person.size.thigh.powf(0.7);
        let tuck_cm = if fit.under.is_some() { 0.35 } else { 0.0 };
        let bare = |p: DVec3| fit.standing.trunk_and_legs(p);
        let standing = [0, 1].map(|s| self.rings(fit.standing, s, size, tuck_cm, &bare));
        let worn = |p: DVec3| fit.below(p);
        let posed = [0, 1].map(|s| self.rings(fit.posed, s, size, 0.0, &worn));
        let drafts = [0, 1].map(|s| self.draft(fit.standing, &standing[s]));
        let way = Way::of(fit);
        let room = if fit.under.is_some() { ROOM_CM } else { 0.0 };
        let first = way.as_ref().map(|w| {
            let body = &w.bodies[0];
            let below = |p: DVec3| body.trunk_and_legs(p);
            [0, 1].map(|s| self.rings(body, s, size, room, &below))
        });
        let sew = |h: f64| self.sew(&drafts, first.as_ref().unwrap_or(&posed), h);
        let how = Settling {
            obstacle: fit.obstacle(),
            way: way.as_ref(),
            round: &ROUND,
            held: &|laid| {
                self.held(&laid.sewn, &drafts, &posed)
                    .into_values()
                    .collect()
            },
            mechanics: fit.mechanics,
            motion: fit.motion,
            gap_cm: fit.gap_cm(),
            keeps_faces: false,
            edges_cm: [2.2, fit.edge_cm],
            seconds: [0.9, 0.45],
            progress: fit.progress,
            cancel: fit.cancel,
        };
        let (laid, positions) = settled(&sew, &how);
        let mut cloth = Surface::new(&laid.sewn, &positions, &["hem", "waist"]).subdivided();
        let top = self.rows_top(&drafts);
        let hem = cloth.side_distance("hem", 4.0);
        let hem_cm = 3.5;
        // A turned hem needs room for its inner ply.
        let thick = 0.1 + 0.1 * fit.mechanics.thickness_mm;
        let legs = ROUND.map(|limb| fit.for_cloth(limb));
        cloth.clear_of(&legs, &|v| {
            0.6 * fit.gap_cm() + thick * (1.0 - step(hem_cm, hem_cm + 0.5, hem[v]))
        });
        let crease = if self.crease { 0.30 } else { 0.0 };
        cloth.raise(&|s, v| {
            let uv = s.uvs[v];
            let front = s.panel[v] % 2 == 0;
            let reach = if front { top - 14.0 } else { top - 32.0 };
            let press =
                crease * (-(uv.x / 0.75).powi(2)).exp() * (1.0 - step(reach - 12.0, reach, uv.y));
            let turned = 0.04 * (1.0 - step(hem_cm - 0.3, hem_cm, hem[v]))
                - 0.05 * (-((hem[v] - hem_cm) / 0.3).powi(2)).exp();
            press + turned + seam_relief(s.seam[v])
        });
        // Hems that meet between the shoes do not trade places either.
        let knee = fit.posed.joints().knee.map(|k| k.y);
        let low: Vec<bool> = (cloth.positions.iter().zip(&cloth.panel))
            .map(|(p, &k)| p.y < knee[PANELS[k as usize].1])
            .collect();
        cloth.clear_of(&legs, &|v| {
            if low[v] {
                thick + 0.05
            } else {
                f64::NEG_INFINITY
            }
        });
        let details = cloth.clone();
        cloth.turn_under("hem", thick, hem_cm);
        let mut part = cloth.part("trousers");
        self.add_pockets(&details, &drafts, &mut part);
        let button = self.add_waistband(fit, &mut part);
        vec![part, buttons(&[button], 0.75, self.button_colour)]
    }

    fn rows_top(&self, drafts: &[Draft; 2]) -> f64 {
        drafts[0].front.rows[drafts[0].front.rows.len() - 1][3]
    }

    /// Side pockets, back pockets, fly and turn-ups, as overlays that follow the cloth.
    fn add_pockets(&self, cloth: &Surface, drafts: &[Draft; 2], part: &mut Part) {
        for (k, &(_, side, front)) in PANELS.iter().enumerate() {
            let finder = Finder::new(cloth, k);
            let quarter = if front {
                &drafts[side].front
            } else {
                &drafts[side].back
            };
            let flip = if (side == 0) == front { -1.0 } else { 1.0 };
            let shift = dvec2(150.0 * k as f64, 0.0);
            let last = quarter.rows[quarter.rows.len() - 1];
            let side_at = |v: f64| {
                let r = quarter
                    .rows
                    .iter()
                    .rev()
                    .find(|r| r[3] <= v)
                    .copied()
                    .unwrap_or(last);
                dvec2(r[1], v)
            };
            let mut along = |from: DVec2, to: DVec2, wide: f64, lift: Lift| {
                let length = from.distance(to);
                let (a, across) = ((to - from) / length, (to - from).perp() / -length);
                let piece = overlay(&finder, dvec2(wide, length), lift, 0.8, &|q| {
                    let p = from + a * q.y + across * (q.x - 0.5 * wide);
                    dvec2(p.x * flip, p.y)
                });
                append(part, &piece, shift);
            };
            let welt = Lift {
                cm: 0.13,
                stitch_cm: 0.25,
                edges: [true; 4],
            };
            if front {
                let mouth = dvec2(last[1] + 4.2, last[3] - 0.4);
                along(side_at(last[3] - 15.5) + dvec2(0.35, 0.0), mouth, 0.9, welt);
            } else {
                let middle = 0.5 * (last[1] + last[2]) - 0.5;
                let v = last[3] + 0.5 * (last[4] - last[3]) - 7.0;
                along(dvec2(middle - 6.2, v), dvec2(middle + 6.2, v), 1.2, welt);
            }
            let closes = usize::from(!self.closes_left_over_right);
            if front && side == closes {
                // The fly: laid over at the centre front, stitched 3.2 cm in.
                let rise: Vec<DVec2> = quarter.rows.iter().map(|r| dvec2(r[2], r[4])).collect();
                let top = rise[rise.len() - 1];
                let on_rise = |down: f64| {
                    let mut left = down;
                    for w in rise.windows(2).rev() {
                        let l = w[0].distance(w[1]);
                        if left <= l {
                            return w[1].lerp(w[0], left / l);
                        }
                        left -= l;
                    }
                    top
                };
                let lift = Lift {
                    cm: 0.14,
                    stitch_cm: 3.3,
                    edges: [false, true, false, false],
                };
                let piece = overlay(&finder, dvec2(5.0, 17.0), lift, 0.8, &|q| {
                    let p = on_rise(17.0 - q.y) + dvec2(q.x - 5.0 - 0.06, 0.0);
                    dvec2(p.x * flip, p.y)
                });
                append(part, &piece, shift);
            }
            if self.turn_up_cm > 0.0 {
                let base = quarter.rows[0];
                let wide = base[2] - base[1];
                let lift = Lift {
                    cm: 0.32,
                    stitch_cm: 0.0,
                    edges: [false, false, true, true],
                };
                let piece = overlay(&finder, dvec2(wide, self.turn_up_cm), lift, 0.8, &|q| {
                    dvec2((base[1] + q.x) * flip, q.y)
                });
                append(part, &piece, shift);
            }
        }
    }

    /// The band around the waist, lapped at the centre front. Returns its button.
    fn add_waistband(&self, fit: &Fitting, part: &mut Part) -> (DVec3, DVec3, DVec3) {
        let body = fit.posed;
        let scale = body.scale();
        let low = WAIST - self.below_waist_cm / scale;
        const TURNS: usize = 160;
        // From the centre front round by the figure's left (seen from outside, left to right)
        // and 4 cm further, over itself.
        let lap = if self.closes_left_over_right {
            1.0
        } else {
            -1.0
        };
        let rows: Vec<Vec<DVec3>> = (0..6)
            .map(|r| {
                let y =
                    low - BAND_OVERLAP_CM / scale + self.waistband_cm / scale * f64::from(r) / 5.0;
                let centre = body.on_pelvis(glam::dvec3(0.0, y, -0.8));
                let turn_at = |k: usize| std::f64::consts::TAU * 1.045 * k as f64 / TURNS as f64;
                let mut row: Vec<DVec3> = (0..=TURNS)
                    .map(|k| {
                        let turn = turn_at(k) * lap;
                        let far = body.on_pelvis(glam::dvec3(turn.sin(), y, -0.8 + turn.cos()));
                        let ray = (far - centre).normalize();
                        let over = 0.22 * step(6.0, 6.25, turn_at(k));
                        let d = |p: DVec3| fit.below(p);
                        centre + ray * (leave(&d, centre, ray, 40.0) + 0.62 + over)
                    })
                    .collect();
                // A band is stiff: it bridges what is uneven below it.
                for _ in 0..12 {
                    let old = row.clone();
                    for k in 1..TURNS {
                        row[k] = 0.5 * old[k] + 0.25 * (old[k - 1] + old[k + 1]);
                    }
                }
                if lap < 0.0 {
                    row.reverse();
                }
                row
            })
            .collect();
        let band = loft(&rows, false, 0.22, dvec2(-80.0, 0.0));
        append(part, &band, DVec2::ZERO);
        for share in BELT_LOOPS {
            let at = (share * (TURNS as f64 / 1.045)).round() as usize;
            let at = if lap < 0.0 { TURNS - at } else { at };
            let strip = belt_loop(&rows, at);
            append(
                part,
                &loft(&strip, false, 0.1, dvec2(-95.0, 0.0)),
                DVec2::ZERO,
            );
        }
        let end = if lap > 0.0 { TURNS - 3 } else { 3 };
        let at = rows[3][end].lerp(rows[2][end], 0.5);
        let normal = (rows[2][end + 1] - rows[2][end - 1])
            .cross(rows[4][end] - rows[1][end])
            .normalize();
        (at, normal, (rows[4][end] - rows[1][end]).normalize())
    }
}
