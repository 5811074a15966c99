//! The fitted bodice: princess lines front and back, round neckline, armholes.

use super::moulage::Moulage;
use super::panel::{Join, Side, length};
use super::spec::Bodice;
use super::stand::Stand;
use crate::figure::sdf::step;
use glam::{DVec2, dvec2};
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// The bodice's pieces, in order round the body from the front centre to the
/// camera's right: front, side front, side back, back, back, side back, side front.
pub struct Pieces {
    /// Each piece on the stand.
    pub pieces: Vec<Moulage>,
    /// What its edges are sewn to, in the order of its marked lines.
    pub joins: Vec<Vec<Join>>,
    /// Height of the waist seam on the stand, in base centimetres.
    pub waist: f64,
}

/// Number of the waist seam of piece 0; the others follow.
pub const WAIST_SEAM: u32 = 20;

/// Marks and takes off all seven pieces.
pub fn draft(stand: &Stand, spec: &Bodice) -> Pieces {
    let waist = stand.level(103.0, 112.0, false);
    let right = Lines::new(stand, spec, waist);
    let left = right.mirrored();
    let around = |ease: f64| (ease / TAU).max(0.3);
    let (bust, tight) = (around(spec.bust_ease_cm), around(spec.waist_ease_cm));
    let off = move |h: f64| {
        let body = tight + (bust - tight) * step(waist, 124.0, h);
        // Over the shoulders it lies close.
        body + (0.3 - body) * step(127.0, 134.0, h)
    };
    let take = |lines: Vec<Vec<DVec2>>| Moulage::new(stand, &lines, &off, spec.length_ease);
    let back = |line: &Vec<DVec2>| -> Vec<DVec2> { line.iter().rev().copied().collect() };
    let waist_line = |a: f64, b: f64| -> Vec<DVec2> {
        (0..=12)
            .map(|i| dvec2(a + (b - a) * f64::from(i) / 12.0, waist))
            .collect()
    };
    let (pf, pb) = (right.front_princess[0].x, right.back_princess[0].x);
    use Join::{Open, Seam, Zip};
    let w = |k: u32| Seam(WAIST_SEAM + k);
    // Princess lines run up, armholes run from the shoulder tip down.
    let pieces = vec![
        take(vec![
            waist_line(-pf, pf),
            right.front_princess.clone(),
            back(&right.front_upper),
            right.shoulder.clone(),
            [right.neckline.clone(), back(&left.neckline)[1..].to_vec()].concat(),
            back(&left.shoulder),
            left.front_upper.clone(),
            back(&left.front_princess),
        ]),
        take(vec![
            waist_line(pf, FRAC_PI_2),
            right.side.clone(),
            back(&right.front_lower),
            back(&right.front_princess),
        ]),
        take(vec![
            waist_line(FRAC_PI_2, pb),
            right.back_princess.clone(),
            right.back_lower.clone(),
            back(&right.side),
        ]),
        take(vec![
            waist_line(pb, PI),
            right.centre_back.clone(),
            right.back_neckline.clone(),
            back(&right.shoulder),
            right.back_upper.clone(),
            back(&right.back_princess),
        ]),
        take(vec![
            waist_line(-PI, -pb),
            left.back_princess.clone(),
            back(&left.back_upper),
            left.shoulder.clone(),
            back(&left.back_neckline),
            back(&left.centre_back),
        ]),
        take(vec![
            waist_line(-pb, -FRAC_PI_2),
            left.side.clone(),
            back(&left.back_lower),
            back(&left.back_princess),
        ]),
        take(vec![
            waist_line(-FRAC_PI_2, -pf),
            left.front_princess.clone(),
            left.front_lower.clone(),
            back(&left.side),
        ]),
    ];
    let joins = vec![
        vec![w(0), Seam(1), Open, Seam(7), Open, Seam(8), Open, Seam(2)],
        vec![w(1), Seam(3), Open, Seam(1)],
        vec![w(2), Seam(5), Open, Seam(3)],
        vec![w(3), Zip(9), Open, Seam(7), Open, Seam(5)],
        vec![w(4), Seam(6), Open, Seam(8), Open, Zip(9)],
        vec![w(5), Seam(4), Open, Seam(6)],
        vec![w(6), Seam(2), Open, Seam(4)],
    ];
    Pieces {
        pieces,
        joins,
        waist,
    }
}

impl Pieces {
    /// Flat length of the waist seam of a piece.
    pub fn waist_cm(&self, piece: usize) -> f64 {
        length(&self.pieces[piece].curve(0))
    }

    /// The edges of a piece, ready to sew.
    pub fn sides(&self, piece: usize) -> Vec<Side> {
        self.joins[piece]
            .iter()
            .enumerate()
            .map(|(line, &join)| Side {
                curve: self.pieces[piece].curve(line),
                join,
            })
            .collect()
    }
}

/// The marked lines of one half, as (turn, height).
#[derive(Clone)]
struct Lines {
    front_princess: Vec<DVec2>,
    back_princess: Vec<DVec2>,
    side: Vec<DVec2>,
    centre_back: Vec<DVec2>,
    /// From the shoulder tip to the princess line, and on to the underarm.
    front_upper: Vec<DVec2>,
    front_lower: Vec<DVec2>,
    back_upper: Vec<DVec2>,
    back_lower: Vec<DVec2>,
    /// From the tip to the side of the neck.
    shoulder: Vec<DVec2>,
    /// From the side of the neck to the front centre.
    neckline: Vec<DVec2>,
    /// From the back centre to the side of the neck.
    back_neckline: Vec<DVec2>,
}

impl Lines {
    fn new(stand: &Stand, spec: &Bodice, waist: f64) -> Self {
        // The crest of the shoulder: heights where it is so far from the middle.
        let crest = |x: f64| {
            (0..400)
                .map(|i| 126.0 + 0.05 * f64::from(i))
                .min_by(|a, b| {
                    let off = |h: &f64| (stand.surface(FRAC_PI_2, *h, 0.3).x - x).abs();
                    off(a).total_cmp(&off(b))
                })
                .unwrap_or(136.0)
        };
        let neck = crest(spec.neckline_half_width_cm);
        let tip = crest(spec.neckline_half_width_cm + spec.shoulder_width_cm);
        let under = 124.0 + spec.underarm_rise_cm;
        let deg = |d: f64| d.to_radians();
        // An armhole is half a lens about the side line, fuller below.
        let armhole = |depth: f64, sign: f64| -> Vec<DVec2> {
            (0..=40)
                .map(|i| {
                    let t = f64::from(i) / 40.0;
                    let bulge = (PI * t.powf(0.9)).sin().powf(0.7);
                    dvec2(
                        FRAC_PI_2 - sign * deg(depth) * bulge,
                        tip + (under - tip) * t,
                    )
                })
                .collect()
        };
        let front = armhole(spec.front_armhole_deg, 1.0);
        let rear = armhole(spec.back_armhole_deg, -1.0);
        let (cut_front, cut_back) = (26, 22);
        let (mf, mb) = (front[cut_front], rear[cut_back]);
        let princess = |from: DVec2, a: DVec2, b: DVec2, to: DVec2| -> Vec<DVec2> {
            (0..=24)
                .map(|i| {
                    let t = f64::from(i) / 24.0;
                    let s = 1.0 - t;
                    from * (s * s * s)
                        + a * (3.0 * s * s * t)
                        + b * (3.0 * s * t * t)
                        + to * (t * t * t)
                })
                .collect()
        };
        let straight = |a: DVec2, b: DVec2| -> Vec<DVec2> {
            (0..=16).map(|i| a.lerp(b, f64::from(i) / 16.0)).collect()
        };
        let neck_point = dvec2(FRAC_PI_2, neck);
        let crest_y = stand.surface(FRAC_PI_2, neck, 0.3).y;
        // Seen straight on, the neckline is a deep round curve.
        let round = |low: f64, back: bool| -> Vec<DVec2> {
            let w = spec.neckline_half_width_cm;
            let ctrl = [
                dvec2(w, crest_y),
                dvec2(0.98 * w, low + 0.42 * (crest_y - low)),
                dvec2(0.62 * w, low),
                dvec2(0.0, low),
            ];
            let mut marks = vec![neck_point];
            for i in 3..=12 {
                let t = f64::from(i) / 12.0;
                let s = 1.0 - t;
                let q = ctrl[0] * (s * s * s)
                    + ctrl[1] * (3.0 * s * s * t)
                    + ctrl[2] * (3.0 * s * t * t)
                    + ctrl[3] * (t * t * t);
                marks.push(if i == 12 {
                    let h = stand.seen_at(0.01, q.y, back).y;
                    dvec2(if back { PI } else { 0.0 }, h)
                } else {
                    stand.seen_at(q.x, q.y, back)
                });
            }
            smooth_through(&marks)
        };
        // The pit of the neck lies at 143 on the stand.
        let neckline = round(143.0 - spec.neckline_depth_cm, false);
        let mut back_neckline = round(146.0 - spec.back_neckline_depth_cm, true);
        back_neckline.reverse();
        let centre_top = back_neckline[0];
        Self {
            front_princess: princess(
                dvec2(deg(31.0), waist),
                dvec2(deg(34.0), 0.5 * (waist + 124.0)),
                dvec2(deg(37.0), 127.0),
                mf,
            ),
            back_princess: princess(
                dvec2(deg(147.0), waist),
                dvec2(deg(146.0), 0.5 * (waist + 124.0)),
                dvec2(deg(143.0), 127.0),
                mb,
            ),
            side: straight(dvec2(FRAC_PI_2, waist), dvec2(FRAC_PI_2, under)),
            centre_back: straight(dvec2(PI, waist), centre_top),
            front_upper: front[..=cut_front].to_vec(),
            front_lower: front[cut_front..].to_vec(),
            back_upper: rear[..=cut_back].to_vec(),
            back_lower: rear[cut_back..].to_vec(),
            shoulder: straight(dvec2(FRAC_PI_2, tip), neck_point),
            neckline,
            back_neckline,
        }
    }

    fn mirrored(&self) -> Self {
        let m = |line: &Vec<DVec2>| line.iter().map(|p| dvec2(-p.x, p.y)).collect();
        Self {
            front_princess: m(&self.front_princess),
            back_princess: m(&self.back_princess),
            side: m(&self.side),
            centre_back: m(&self.centre_back),
            front_upper: m(&self.front_upper),
            front_lower: m(&self.front_lower),
            back_upper: m(&self.back_upper),
            back_lower: m(&self.back_lower),
            shoulder: m(&self.shoulder),
            neckline: m(&self.neckline),
            back_neckline: m(&self.back_neckline),
        }
    }
}

/// A Catmull-Rom curve through the marks.
fn smooth_through(marks: &[DVec2]) -> Vec<DVec2> {
    let last = marks.len() - 1;
    let mut out = vec![marks[0]];
    for i in 0..last {
        let (p1, p2) = (marks[i], marks[i + 1]);
        let p0 = if i == 0 { p1 * 2.0 - p2 } else { marks[i - 1] };
        let p3 = if i + 1 == last {
            p2 * 2.0 - p1
        } else {
            marks[i + 2]
        };
        for k in 1..=4 {
            let t = f64::from(k) / 4.0;
            out.push(
                0.5 * (2.0 * p1
                    + (p2 - p0) * t
                    + (2.0 * p0 - 5.0 * p1 + 4.0 * p2 - p3) * (t * t)
                    + (3.0 * p1 - p0 - 3.0 * p2 + p3) * (t * t * t)),
            );
        }
    }
    out
}
