//! Settles a top and sews its details on.

use super::arms::{ArmRings, WRIST, drawn_up_cm};
use super::bands::{CollarCut, Loop, collar, cuff, hem_band, neck_band};
use super::bones::ROOM_CM;
use super::finish::Surface;
use super::finish::seam_relief;
use super::lay_top::{HeldHem, Holds, Place};
use super::room::{Obstacle, Round};
use super::sew::{Settling, settled};
use super::spec::{Collar, Pockets, Top};
use super::top::{BACK, Draft, FRONT, Taken};
use super::torso::TrunkRings;
use super::trim::{Finder, Lift, append, buttons, overlay};
use super::tuck::Tuck;
use super::way::Way;
use super::{Fitting, Layer};
use crate::figure::Part;
use crate::figure::sdf::{Field, step};
use glam::{DVec2, DVec3, dvec2};

/// Length of the roll line that the collar takes over from the lapel.
const GORGE: f64 = 7.0;

impl Top {
    /// Makes the garment: its cloth with all that is sewn on, and the buttons.
    pub(crate) fn make(&self, fit: &Fitting) -> Vec<Part> {
        match self.tuck(fit.tucked_at, fit.standing.scale()) {
            Some(tuck) => self.shortened().made(fit, Some(tuck)),
            None => self.made(fit, None),
        }
    }

    fn made(&self, fit: &Fitting, tuck: Option<Tuck>) -> Vec<Part> {
        let bare = |p: DVec3| fit.standing.trunk_and_legs(p);
        let standing_trunk = TrunkRings::new(fit.standing, &bare);
        let standing_arm = ArmRings::new(fit.standing, 0);
        let taken = Taken::of(fit.standing, &standing_trunk, &standing_arm, self);
        let draft = self.draft(&taken);
        let below = |p: DVec3| fit.below(p);
        let trunk = TrunkRings::new(fit.posed, &below);
        let arms = [0, 1].map(|s| ArmRings::new(fit.posed, s));
        let gap = fit.gap_cm() + 0.25;
        let girdle = tuck.map(|_| TrunkRings::of_pelvis(fit.posed, &below));
        let mut place = Place::new(fit, &draft, &trunk, &arms, gap);
        place.girdle = girdle.as_ref();
        let cuffed = self.cuff_cm > 0.0;
        let holds = Holds {
            cuff_stations: cuffed.then(|| {
                [0, 1].map(|side| {
                    let axis = &arms[side].axis;
                    let down = (self.sleeve_length - 1.0) * taken.arm - self.cuff_cm;
                    axis.place_of(axis.along(WRIST) + down - drawn_up_cm(fit.posed, side))
                })
            }),
            hem: if let Some(tuck) = tuck {
                Some(tuck.held())
            } else if self.hem_band_cm > 0.0 {
                Some(HeldHem {
                    gap_cm: 0.9,
                    up_to_v: f64::NEG_INFINITY,
                    raised_cm: 2.5,
                })
            } else {
                None
            },
        };
        let way = Way::of(fit);
        let upright = way.as_ref().map(|w| &w.bodies[0]);
        let first_below = |p: DVec3| upright.map_or(0.0, |b| b.trunk_and_legs(p));
        let first = upright.map(|body| First {
            trunk: TrunkRings::new(body, &first_below),
            arms: [0, 1].map(|s| ArmRings::new(body, s)),
            fit: Fitting {
                posed: body,
                under: None,
                ..*fit
            },
        });
        let room = if fit.under.is_some() { ROOM_CM } else { 0.0 };
        let first_place =
            (first.as_ref()).map(|f| Place::new(&f.fit, &draft, &f.trunk, &f.arms, gap + room));
        let laid_at = first_place.as_ref().unwrap_or(&place);
        let sew = |h: f64| draft.sew(laid_at, &holds, h);
        let band = tuck.map(|t| t.band(fit.posed, fit.under));
        let how = Settling {
            obstacle: Obstacle {
                under: (band.as_ref()).map_or(fit.under, |b| Some(b as &dyn Field)),
                ..fit.obstacle()
            },
            way: way.as_ref(),
            round: &ROUND,
            held: &|laid| {
                draft
                    .held(&laid.sewn, &place, &holds)
                    .into_values()
                    .collect()
            },
            mechanics: fit.mechanics,
            motion: fit.motion,
            gap_cm: fit.gap_cm(),
            keeps_faces: true,
            edges_cm: [2.4, fit.edge_cm * 1.12],
            seconds: [1.1, 0.5],
            progress: fit.progress,
            cancel: fit.cancel,
        };
        let (laid, positions) = settled(&sew, &how);
        let mut cloth = Surface::new(&laid.sewn, &positions, &["hem", "edge", "neck"]);
        cloth = cloth.subdivided();
        let of_panel = ROUND.map(|_| fit.for_cloth(Round::Nearest));
        cloth.clear_of(&of_panel, &|_| 0.6 * fit.gap_cm());
        cloth.clear_faces(&of_panel, 0.2 * fit.gap_cm());
        let hem_cm = if self.length_below_waist_cm > 30.0 {
            3.5
        } else {
            1.8
        };
        let hem = cloth.side_distance("hem", 4.5);
        let edge = cloth.side_distance("edge", 4.5);
        cloth.raise(&|s, v| {
            let d = hem[v].min(edge[v]);
            let turned = 0.03 * (1.0 - step(hem_cm - 0.3, hem_cm, d))
                - 0.04 * (-((d - hem_cm) / 0.25).powi(2)).exp();
            turned + seam_relief(s.seam[v])
        });
        let thick = 0.06 + 0.1 * fit.mechanics.thickness_mm;
        let bare = cloth.clone();
        // What a cuff, a rib or a waistband takes up is not turned.
        let taken_up = [
            (self.hem_band_cm > 0.0 || self.tucked, "hem"),
            (cuffed, "edge"),
            (false, "neck"),
        ];
        for (_, side) in taken_up.iter().filter(|(taken, _)| !taken) {
            cloth.turn_under(side, thick, hem_cm);
        }
        let mut part = cloth.part(&self.cut);
        let mut tail = None;
        if let Some(tuck) = tuck {
            let [free, inside] = tuck.apart(&cloth, part);
            part = free;
            tail = Some(inside);
        }
        let site = Site {
            top: self,
            fit,
            draft: &draft,
            trunk: &trunk,
            arms: &arms,
            cloth: &bare,
            thick,
            tuck,
        };
        let spots = site.add_details(&mut part, &mut tail, holds.cuff_stations);
        let mut parts = vec![part];
        parts.extend(tail);
        if !spots.is_empty() {
            let radius = if matches!(self.collar, Collar::Lapel) {
                1.0
            } else {
                0.55
            };
            parts.push(buttons(&spots, radius, self.button_colour));
        }
        parts
    }
}

/// What fronts, back and sleeves go round.
const ROUND: [Round; 4] = [Round::Trunk, Round::Trunk, Round::Arm(0), Round::Arm(1)];

/// What a top is laid on first when it goes a way.
struct First<'a> {
    trunk: TrunkRings<'a>,
    arms: [ArmRings; 2],
    fit: Fitting<'a>,
}

/// Everything the details are sewn to.
struct Site<'a> {
    top: &'a Top,
    fit: &'a Fitting<'a>,
    draft: &'a Draft,
    trunk: &'a TrunkRings<'a>,
    arms: &'a [ArmRings; 2],
    cloth: &'a Surface,
    thick: f64,
    tuck: Option<Tuck>,
}

type Spot = (DVec3, DVec3, DVec3);

impl Site<'_> {
    /// Sews on bands, collar, placket and pockets; returns where the buttons go.
    fn add_details(
        &self,
        part: &mut Part,
        tail: &mut Option<Part>,
        cuff_stations: Option<[f64; 2]>,
    ) -> Vec<Spot> {
        let top = self.top;
        let front = Finder::new(self.cloth, FRONT);
        let rib = if top.cut == "jumper" {
            0.55
        } else if top.collar == Collar::None {
            0.22
        } else {
            0.0
        };
        let mut spots = Vec::new();
        let low = self.draft.neck_low_v[0];
        let pit = front.at(dvec2(0.0, low)).map_or(DVec3::ZERO, |p| p.0);
        if let Some(edge) = Loop::neckline(self.cloth, pit, 144) {
            if top.neck_band_cm > 0.0 {
                append(
                    part,
                    &neck_band(self.fit, &edge, top.neck_band_cm, self.thick, rib),
                    DVec2::ZERO,
                );
            }
            if top.collar != Collar::None {
                let cut = self.collar_cut(&edge);
                let own = Layer::over(None, std::slice::from_ref(part), self.fit.posed);
                for piece in collar(self.fit, own.as_ref(), &edge, &cut) {
                    append(part, &piece, DVec2::ZERO);
                }
            }
        }
        if let Some(stations) = cuff_stations {
            for (side, station) in stations.into_iter().enumerate() {
                let piece = cuff(
                    &self.arms[side],
                    station,
                    top.cuff_cm,
                    self.thick + 0.05,
                    rib,
                    side == 0,
                );
                append(part, &piece, DVec2::ZERO);
                if rib == 0.0 {
                    let axis = &self.arms[side].axis;
                    let t = axis.place_of(axis.along(station) + 0.5 * top.cuff_cm);
                    let at = self.arms[side].place(t, 2.0, 0.72 + 0.8 * self.thick, 1.0);
                    let st = axis.at(t);
                    let out = at - st.origin;
                    let out = (out - st.tangent * out.dot(st.tangent)).normalize_or_zero();
                    spots.push((at, out, -st.tangent));
                }
            }
        }
        if top.hem_band_cm > 0.0 && !top.tucked {
            let waist = self.trunk.axis.along(super::torso::WAIST);
            let piece = hem_band(
                self.trunk,
                waist,
                self.draft.hem_v + 2.5,
                top.hem_band_cm,
                0.9,
                self.thick,
                rib.max(0.4),
            );
            append(part, &piece, DVec2::ZERO);
        }
        if top.buttons > 0 {
            self.add_front(&front, part, tail, &mut spots);
        }
        self.add_pockets(&front, part);
        if top.collar == Collar::Lapel {
            self.add_centre_back(part);
        }
        spots
    }

    fn collar_cut(&self, edge: &Loop) -> CollarCut {
        if self.top.collar == Collar::Shirt {
            CollarCut {
                stand: 3.0,
                stand_at_ends: 0.8,
                fall: [4.5, 7.2],
                spread: 4.2,
                lie: 0.0,
                open: 0.004,
                thick: 0.16,
                clearance: 0.06,
            }
        } else {
            // From notch to notch: the neckline below belongs to the lapels.
            let around: f64 = edge.points.windows(2).map(|w| w[0].distance(w[1])).sum();
            let roll = self.draft.roll_length() - GORGE;
            CollarCut {
                stand: 2.4,
                stand_at_ends: 0.15,
                fall: [4.6, 4.4],
                spread: -0.5,
                lie: 0.8,
                open: roll / around,
                thick: 0.3,
                clearance: 0.3,
            }
        }
    }

    /// Placket or lapped edge down the centre front, lapels, and its buttons.
    fn add_front(
        &self,
        front: &Finder,
        part: &mut Part,
        tail: &mut Option<Part>,
        spots: &mut Vec<Spot>,
    ) {
        let top = self.top;
        let d = self.draft;
        let over = if top.closes_left_over_right {
            1.0
        } else {
            -1.0
        };
        let low = d.neck_low_v[0];
        let (from, to) = if top.collar == Collar::Lapel {
            (d.open_v(top), low - 0.3)
        } else {
            (self.tuck.map_or(d.hem_v, |t| t.up_to_v), low)
        };
        if top.collar == Collar::Lapel {
            // The over front's edge stands 2 cm past the centre.
            let lift = Lift {
                cm: 0.2,
                stitch_cm: 0.0,
                edges: [true, false, false, false],
            };
            let piece = overlay(front, dvec2(7.0, to - from), lift, 0.9, &|q| {
                dvec2((q.x - 1.9) * over, from + q.y)
            });
            append(part, &piece, DVec2::ZERO);
            for flip in [1.0, -1.0] {
                let (start, end) = (dvec2(0.0, low), dvec2(d.taken.neck_half, d.neck_v[0]));
                let long = d.roll_length() - GORGE;
                let along = (end - start).normalize();
                let across = dvec2(along.y, -along.x);
                let wide = 8.6;
                let lift = Lift {
                    cm: 0.5,
                    stitch_cm: 0.0,
                    edges: [false, true, false, true],
                };
                let piece = overlay(front, dvec2(wide, long), lift, 0.7, &|q| {
                    let f = q.y / long;
                    let w = (0.5 * std::f64::consts::PI * f.powf(0.85)).sin().powf(0.9);
                    let x = q.x * w;
                    let p = start + along * (q.y - 0.42 * x * f * f) + across * (x - 0.3);
                    dvec2(p.x * flip, p.y)
                });
                append(part, &piece, DVec2::ZERO);
            }
        } else {
            let lift = Lift {
                cm: 0.12,
                stitch_cm: 0.5,
                edges: [true, true, false, false],
            };
            let piece = |from: f64, to: f64| {
                overlay(front, dvec2(3.2, to - from), lift, 0.9, &|q| {
                    dvec2((q.x - 1.6) * over, from + q.y)
                })
            };
            append(part, &piece(from, to), DVec2::ZERO);
            if let Some(tail) = tail.as_mut().filter(|_| from > d.hem_v) {
                append(tail, &piece(d.hem_v, from), DVec2::ZERO);
            }
        }
        let count = top.buttons as usize;
        let (first, last) = if top.collar == Collar::Lapel {
            (
                to - 1.2,
                (from + 3.0).max(to - 1.2 - 11.0 * (count.max(2) - 1) as f64),
            )
        } else {
            (to - 6.5, (from + 8.0).min(to - 10.0))
        };
        for k in 0..count {
            let v = if count > 1 {
                first + (last - first) * k as f64 / (count - 1) as f64
            } else {
                first
            };
            let up = front.at(dvec2(0.0, v + 0.5)).map(|p| p.0);
            if let (Some((p, n)), Some(up)) = (front.at(dvec2(0.0, v)), up) {
                spots.push((p + n * 0.18, n, (up - p).normalize_or_zero()));
                // Worked buttonholes: upright on a shirt, level and past the button's shank on a jacket.
                let jacket = top.collar == Collar::Lapel;
                let (size, lift_cm) = if jacket {
                    (dvec2(2.5, 0.42), 0.25)
                } else {
                    (dvec2(0.36, 1.7), 0.16)
                };
                let lift = Lift {
                    cm: lift_cm,
                    stitch_cm: 0.5 * size.min_element(),
                    edges: [true; 4],
                };
                let aside = if jacket { 0.2 } else { -0.5 * size.x };
                let piece = overlay(front, size, lift, 0.5, &|q| {
                    dvec2(
                        (aside + q.x) * if jacket { -over } else { over },
                        v + q.y - 0.5 * size.y,
                    )
                });
                append(part, &piece, DVec2::ZERO);
            }
        }
    }

    /// The seam down the centre back and the vent that it ends in, its left laid over its right (common practice).
    fn add_centre_back(&self, part: &mut Part) {
        let d = self.draft;
        let back = Finder::new(self.cloth, BACK);
        let long = self.top.length_below_waist_cm;
        let vent_cm = if long > 40.0 { 0.45 * long } else { 0.9 * long };
        let top = d.hem_v + vent_cm;
        // Seen from behind the figure's left is on the left, at negative u.
        let flap = Lift {
            cm: 0.22,
            stitch_cm: 0.0,
            edges: [false, true, true, false],
        };
        let piece = overlay(&back, dvec2(5.0, vent_cm), flap, 0.8, &|q| {
            dvec2(q.x - 4.9, d.hem_v + q.y)
        });
        append(part, &piece, DVec2::new(150.0 * BACK as f64, 0.0));
        let seam = Lift {
            cm: 0.05,
            stitch_cm: 0.3,
            edges: [true, true, false, false],
        };
        let high = d.neck_low_v[1] - top - 0.8;
        let piece = overlay(&back, dvec2(0.6, high), seam, 0.8, &|q| {
            dvec2(q.x - 0.3, top + q.y)
        });
        append(part, &piece, DVec2::new(150.0 * BACK as f64, 0.0));
    }

    fn add_pockets(&self, front: &Finder, part: &mut Part) {
        let d = self.draft;
        match self.top.pockets {
            Pockets::None => {}
            Pockets::Breast => {
                // On the wearer's left.
                let lift = Lift {
                    cm: 0.11,
                    stitch_cm: 0.25,
                    edges: [true; 4],
                };
                let at = dvec2(0.46 * d.half_width(d.underarm_v, true), d.underarm_v - 7.5);
                let piece = overlay(front, dvec2(10.5, 12.0), lift, 0.8, &|q| {
                    // A point at the lower edge.
                    let middle = 1.0 - (q.x / 5.25 - 1.0).abs();
                    at + dvec2(q.x - 5.25, q.y - 1.6 * middle * (1.0 - q.y / 12.0))
                });
                append(part, &piece, DVec2::ZERO);
            }
            Pockets::Flaps => {
                let lift = Lift {
                    cm: 0.28,
                    stitch_cm: 0.0,
                    edges: [true; 4],
                };
                let v = -0.55 * d.taken.hip_down;
                let middle = 0.6 * d.half_width(v, true);
                for flip in [1.0, -1.0] {
                    let piece = overlay(front, dvec2(14.0, 5.4), lift, 0.8, &|q| {
                        dvec2((middle - 7.0 + q.x) * flip, v - 5.4 + q.y + 0.07 * q.x)
                    });
                    append(part, &piece, DVec2::ZERO);
                }
            }
        }
    }
}
