//! Garments with body and sleeves: the flat pieces, and where they are laid.

use super::arms::{ArmRings, SHOULDER, WRIST};
use super::panel::{Outline, Side, curve, length};
use super::spec::{Collar, Top};
use super::torso::{HIP, TrunkRings, WAIST};
use crate::figure::body::Body;
use crate::figure::sdf::step;
use glam::{DVec2, dvec2, dvec3};

/// Panels in order.
pub const FRONT: usize = 0;
pub const BACK: usize = 1;
pub const NAMES: [&str; 4] = ["front", "back", "left sleeve", "right sleeve"];

/// The measures a tailor takes, in centimetres.
#[derive(Debug, Clone, Copy)]
pub struct Taken {
    /// From the natural waist up to the side of the neck: along front and back.
    pub front_cm: f64,
    pub back_cm: f64,
    /// Height of the side of the neck over the waist.
    pub neck_height: f64,
    /// Half the width of the neck hole at the shoulder, on the body.
    pub neck_half: f64,
    /// Shoulder seam: along the pattern's u and v.
    pub shoulder_run: f64,
    pub shoulder_fall: f64,
    /// Armpit over the waist.
    pub armpit: f64,
    /// Taut girths and the front's share of the chest.
    pub chest: f64,
    pub chest_front: f64,
    pub waist: f64,
    pub hip: f64,
    /// Waist to hip.
    pub hip_down: f64,
    /// Shoulder's end to elbow to wrist.
    pub arm: f64,
    pub upper_arm: f64,
    pub wrist: f64,
}

impl Taken {
    /// Takes the measures of a standing body.
    pub fn of(body: &Body, trunk: &TrunkRings, arm: &ArmRings, top: &Top) -> Self {
        let s = body.scale();
        let j = body.joints();
        let joint = body.thorax_back(j.shoulder[0]);
        // On the body from above at x, z of the rib cage.
        let height = |x: f64, z: f64| {
            let mut y = 160.0;
            while y > 120.0 {
                let p = body.on_thorax(dvec3(x, y, z));
                let d = body.trunk(p).min(body.upper_arm(0, p)).min(body.neck(p));
                if d < 0.02 {
                    break;
                }
                y -= (0.7 * d / s).max(0.02);
            }
            y
        };
        // The side of the neck: where the slope over the neck grows steep.
        let mut x = joint.x - 2.0;
        while x > 4.0 && height(x - 0.5, -2.6) - height(x, -2.6) < 0.75 {
            x -= 0.25;
        }
        let neck_half = x + top.neck_wide_cm / s;
        let side_neck = height(neck_half, -2.6);
        let end = joint.x + 1.2 + top.shoulder_drop_cm / s;
        let shoulder_end = height(end, joint.z).max(joint.y + 1.0);
        let path = |front: bool| {
            let f = if front { 1.0 } else { -1.0 };
            // The taut outline of the rib cage ahead of the side of the neck.
            let points: Vec<DVec2> = (0..=60)
                .map(|k| {
                    let y = (side_neck - 112.0) * f64::from(k) / 60.0 * s;
                    let p = trunk.ahead(neck_half.max(6.0) * s, y, front, 0.0);
                    dvec2(y, (body.thorax_back(p).z * f) * s)
                })
                .collect();
            taut_length(&points)
        };
        let mut pit = joint.y;
        let axil = |y: f64| body.on_thorax(dvec3(joint.x - 2.2, y, -1.0));
        while pit > joint.y - 15.0 && body.trunk(axil(pit)).min(body.upper_arm(0, axil(pit))) < 0.25
        {
            pit -= 0.1;
        }
        let at_end = body.on_thorax(dvec3(end, shoulder_end, joint.z));
        let chest_station = trunk
            .axis
            .place_of(trunk.axis.along(WAIST) - (pit - 2.0 - 112.0) * s);
        let chest = trunk
            .girth(chest_station)
            .max(trunk.girth(chest_station + 0.12));
        Self {
            front_cm: path(true),
            back_cm: path(false),
            neck_height: (side_neck - 112.0) * s,
            neck_half: neck_half * s,
            shoulder_run: (end - neck_half) * s,
            shoulder_fall: (side_neck - shoulder_end) * s,
            armpit: (pit - 112.0) * s,
            chest,
            chest_front: trunk.front_quarter(chest_station) * 2.0 / trunk.girth(chest_station),
            waist: trunk.girth(WAIST),
            hip: trunk
                .girth(HIP)
                .max(trunk.girth(HIP + 0.08))
                .max(trunk.girth(HIP - 0.12)),
            hip_down: trunk.axis.along(HIP) - trunk.axis.along(WAIST),
            arm: at_end.distance(j.elbow[0]) + j.elbow[0].distance(j.wrist[0]),
            upper_arm: arm.girth(SHOULDER + 0.45),
            wrist: arm.girth(WRIST - 0.03),
        }
    }
}

/// Length of the upper convex outline over points with rising x.
fn taut_length(points: &[DVec2]) -> f64 {
    let mut hull: Vec<DVec2> = Vec::new();
    for p in points {
        while hull.len() >= 2
            && (hull[hull.len() - 1] - hull[hull.len() - 2]).perp_dot(*p - hull[hull.len() - 1])
                >= 0.0
        {
            hull.pop();
        }
        hull.push(*p);
    }
    length(&hull)
}

/// The flat pieces of a top.
pub struct Draft {
    pub taken: Taken,
    /// Hem below the waist (negative v).
    pub hem_v: f64,
    /// Underarm v, for front and back alike.
    pub underarm_v: f64,
    /// v of the side of the neck: front, back.
    pub neck_v: [f64; 2],
    /// Lowest point of the neckline: front, back.
    pub neck_low_v: [f64; 2],
    pub cap_cm: f64,
    pub biceps_half: f64,
    /// By how much of its half the sleeve is wider before its top than behind it, as the armhole is longer there.
    pub sleeve_lead: f64,
    pub edge_half: f64,
    /// From the top of the cap down to the sleeve's edge.
    pub sleeve_cm: f64,
    pub outlines: [Outline; 3],
    girths: [f64; 3],
}

impl Top {
    fn has_front_opening(&self) -> bool {
        self.collar == Collar::Lapel
    }

    /// Drafts the pieces.
    pub fn draft(&self, t: &Taken) -> Draft {
        let chest = t.chest + self.chest_ease_cm;
        let waist = (chest + self.waist_in_cm).max(t.waist + 3.0);
        let hip = (t.hip + self.hip_ease_cm).max(waist);
        let underarm_v = t.armpit - self.armhole_ease_cm;
        let hem_v = -self.length_below_waist_cm;
        let mut draft = Draft {
            taken: *t,
            hem_v,
            underarm_v,
            neck_v: [t.front_cm, t.back_cm],
            neck_low_v: [0.0; 2],
            cap_cm: 0.0,
            biceps_half: 0.5 * (t.upper_arm + self.sleeve_ease_cm),
            sleeve_lead: 0.0,
            edge_half: 0.0,
            sleeve_cm: t.arm * self.sleeve_length,
            outlines: Default::default(),
            girths: [chest, waist, hip],
        };
        let deep = 0.98 * t.neck_half + 0.6 + self.neck_drop_cm;
        draft.neck_low_v = [
            t.front_cm - deep,
            t.back_cm - 2.2 - 0.25 * self.neck_drop_cm.min(6.0),
        ];
        draft.outlines[FRONT] = self.body_piece(&draft, true);
        draft.outlines[BACK] = self.body_piece(&draft, false);
        self.set_sleeve(&mut draft);
        draft
    }

    /// Outline of front or back; positive u is the viewer's right.
    fn body_piece(&self, d: &Draft, front: bool) -> Outline {
        let t = &d.taken;
        let k = usize::from(!front);
        let neck_v = d.neck_v[k];
        let end = dvec2(t.neck_half + t.shoulder_run, neck_v - t.shoulder_fall);
        let under = dvec2(d.half_width(d.underarm_v, front), d.underarm_v);
        let tall = end.y - under.y;
        // How far the armhole is hollowed in from the shoulder's end.
        let hollow = if front { 1.6 } else { 0.7 };
        let inmost = (end.x - hollow).min(under.x - 1.5);
        let armhole = curve(&[
            under,
            dvec2(
                under.x - 0.45 * (under.x - inmost),
                under.y + 0.045 * tall + 0.3,
            ),
            dvec2(inmost + 0.12 * (under.x - inmost), under.y + 0.22 * tall),
            dvec2(inmost, under.y + 0.45 * tall),
            dvec2(inmost + 0.45 * (end.x - inmost), under.y + 0.75 * tall),
            end,
        ]);
        let low = d.neck_low_v[k];
        let neck_side = dvec2(t.neck_half, neck_v);
        let neck: Vec<DVec2> = if front && self.has_front_opening() {
            // The roll line, straight from beside the neck to the break.
            let n = 24;
            (0..=n)
                .map(|i| {
                    let f = f64::from(i) / f64::from(n);
                    let q = neck_side.lerp(dvec2(0.0, low), f);
                    q + dvec2(-0.9 * (std::f64::consts::PI * f).sin(), 0.0)
                })
                .collect()
        } else {
            (0..=20)
                .map(|i| {
                    let a = std::f64::consts::FRAC_PI_2 * f64::from(i) / 20.0;
                    let round = if front { 1.0 } else { 1.5 };
                    dvec2(
                        t.neck_half * a.cos(),
                        neck_v - (neck_v - low) * a.sin().powf(round),
                    )
                })
                .collect()
        };
        let side: Vec<DVec2> = (0..=40)
            .map(|i| {
                let v = d.hem_v + (d.underarm_v - d.hem_v) * f64::from(i) / 40.0;
                dvec2(d.half_width(v, front), v)
            })
            .collect();
        let flip = |p: &DVec2| dvec2(-p.x, p.y);
        let other = |points: &[DVec2]| -> Vec<DVec2> { points.iter().rev().map(flip).collect() };
        let mut around_neck = neck.clone();
        around_neck.extend(neck.iter().rev().skip(1).map(flip));
        let half = side[0];
        let hem = if front && self.has_front_opening() {
            // Below the last button the fronts fall apart, their corners rounded.
            let gap = (0.12 * self.length_below_waist_cm).clamp(2.0, 4.5);
            let open = d.open_v(self);
            let corner = curve(&[
                dvec2(gap + 5.0, d.hem_v),
                dvec2(gap + 1.2, d.hem_v + 0.5),
                dvec2(gap - 0.1, d.hem_v + 2.6),
                dvec2(0.55 * gap, d.hem_v + 0.4 * (open - d.hem_v)),
                dvec2(0.02, open),
            ]);
            let mut hem = vec![flip(&half)];
            hem.extend(corner.iter().map(flip));
            hem.extend(corner.iter().rev().skip(1));
            hem.push(half);
            hem
        } else {
            vec![flip(&half), half]
        };
        let sides = vec![
            Side {
                name: "hem",
                points: hem,
            },
            Side {
                name: "side +",
                points: side.clone(),
            },
            Side {
                name: "armhole +",
                points: armhole.clone(),
            },
            Side {
                name: "shoulder +",
                points: vec![end, neck_side],
            },
            Side {
                name: "neck",
                points: around_neck,
            },
            Side {
                name: "shoulder -",
                points: vec![flip(&neck_side), flip(&end)],
            },
            Side {
                name: "armhole -",
                points: other(&armhole),
            },
            Side {
                name: "side -",
                points: other(&side),
            },
        ];
        Outline {
            sides,
            lines: Vec::new(),
        }
    }

    /// Drafts the sleeve so that its head is a little longer than the armhole, before and behind alike.
    fn set_sleeve(&self, d: &mut Draft) {
        let armhole = [FRONT, BACK].map(|k| d.outlines[k].length("armhole +"));
        let around = armhole[0] + armhole[1];
        // Sleeve-head ease: 4 % for tailored sleeves, less for knits (common practice).
        let ease = if self.collar == Collar::None {
            1.01
        } else {
            1.04
        };
        let goal = around * ease;
        // A tailored head stands about a third of the armhole high, so that the sleeve hangs clean; a shirt's is low, so that
        // arms lift (common practice).
        let lowest = if self.collar == Collar::Lapel {
            0.31
        } else {
            0.18
        };
        let (lo, hi) = (lowest * around, 0.36 * around);
        for _ in 0..4 {
            let lead = d.sleeve_lead;
            let head = |half: f64, cap: f64| -> f64 {
                let of = |share: f64| length(&cap_curve(half * share, cap));
                of(1.0 + lead) + of(1.0 - lead)
            };
            let wanted = 0.5 * (d.taken.upper_arm + self.sleeve_ease_cm);
            // A wide armhole asks for a wider sleeve, a high head for a narrower one.
            let narrow = risen(0.0, around, &|half| head(half, hi) - goal);
            let wide = risen(0.0, around, &|half| head(half, lo) - goal);
            d.biceps_half = wanted.clamp(narrow, wide.max(narrow));
            d.cap_cm = risen(lo, hi, &|cap| head(d.biceps_half, cap) - goal);
            let side = |share: f64| length(&cap_curve(d.biceps_half * share, d.cap_cm));
            d.sleeve_lead = risen(-0.4, 0.4, &|lead| {
                side(1.0 + lead) * armhole[1] - side(1.0 - lead) * armhole[0]
            });
        }
        let cuffed = self.cuff_cm > 0.0;
        let bare = d.taken.wrist;
        let edge = if self.sleeve_edge_girth_cm > 0.0 {
            self.sleeve_edge_girth_cm
        } else if cuffed {
            // Pleated into the cuff.
            bare + 9.0
        } else {
            2.0 * d.biceps_half - 1.5
        };
        d.edge_half = 0.5 * edge;
        // A cuffed sleeve is cut longer and falls over its cuff.
        let slack = if cuffed { 4.0 - self.cuff_cm } else { 0.0 };
        let long = (d.sleeve_cm + slack).max(d.cap_cm + 4.0);
        d.sleeve_cm = long;
        let foot = d.cap_cm - long;
        let (b, e) = (d.biceps_half, d.edge_half);
        let (before, behind) = (d.sleeve_share(-1.0), d.sleeve_share(1.0));
        let cap = cap_curve(b * behind, d.cap_cm);
        let front_half = cap_curve(b * before, d.cap_cm);
        let mut cap_front: Vec<DVec2> = front_half.iter().rev().map(|p| dvec2(-p.x, p.y)).collect();
        let seam = |share: f64| -> Vec<DVec2> {
            (0..=20)
                .map(|i| {
                    let f = f64::from(i) / 20.0;
                    let w = b + (e - b) * step(0.0, 1.0, f) * 0.5 + (e - b) * f * 0.5;
                    dvec2(share * w, foot * f)
                })
                .collect()
        };
        cap_front[0] = cap[cap.len() - 1];
        let mut rising = seam(behind);
        rising.reverse();
        d.outlines[2] = Outline {
            sides: vec![
                Side {
                    name: "edge",
                    points: vec![dvec2(-e * before, foot), dvec2(e * behind, foot)],
                },
                Side {
                    name: "under back",
                    points: rising,
                },
                Side {
                    name: "cap back",
                    points: cap,
                },
                Side {
                    name: "cap front",
                    points: cap_front,
                },
                Side {
                    name: "under front",
                    points: seam(-before),
                },
            ],
            lines: Vec::new(),
        };
    }
}

/// Where a rising function passes through zero between two places, or the nearer of them.
fn risen(mut lo: f64, mut hi: f64, of: &dyn Fn(f64) -> f64) -> f64 {
    for _ in 0..40 {
        let m = 0.5 * (lo + hi);
        if of(m) < 0.0 { lo = m } else { hi = m }
    }
    0.5 * (lo + hi)
}

/// Half the sleeve head, from the underarm up to the top.
fn cap_curve(half: f64, cap: f64) -> Vec<DVec2> {
    curve(&[
        dvec2(half, 0.0),
        dvec2(0.80 * half, 0.085 * cap),
        dvec2(0.62 * half, 0.36 * cap),
        dvec2(0.44 * half, 0.72 * cap),
        dvec2(0.22 * half, 0.94 * cap),
        dvec2(0.0, cap),
    ])
}

impl Draft {
    /// Width of the sleeve over its half on the side of `u`: positive is the back.
    pub fn sleeve_share(&self, u: f64) -> f64 {
        1.0 - u.signum() * self.sleeve_lead
    }

    /// Girth of the body of the garment at height `v` over the waist.
    pub fn girth(&self, v: f64) -> f64 {
        let [chest, waist, hip] = self.girths;
        let hip_v = -self.taken.hip_down;
        if v >= 0.0 {
            waist + (chest - waist) * step(0.0, self.underarm_v, v)
        } else if v >= hip_v {
            hip + (waist - hip) * step(hip_v, 0.0, v)
        } else {
            // Long garments flare a little.
            hip + 0.16 * (hip_v - v)
        }
    }

    /// Where the fronts of a jacket part above the hem.
    pub fn open_v(&self, top: &Top) -> f64 {
        let long = top.length_below_waist_cm;
        self.hem_v
            + if long > 40.0 {
                0.45 * long
            } else {
                (0.62 * long).max(5.0)
            }
    }

    /// Length of the roll line from the break to the side of the neck.
    pub fn roll_length(&self) -> f64 {
        dvec2(0.0, self.neck_low_v[0]).distance(dvec2(self.taken.neck_half, self.neck_v[0]))
    }

    /// Half the width of front or back at `v`.
    pub fn half_width(&self, v: f64, front: bool) -> f64 {
        let share = self.taken.chest_front.clamp(0.46, 0.56);
        let part = if front { share } else { 1.0 - share };
        0.5 * self.girth(v) * part
    }
}
