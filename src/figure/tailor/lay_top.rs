//! Where the pieces of a top lie on a posed body, and how they are sewn.

use super::Fitting;
use super::arms::{ArmRings, SHOULDER};
use super::panel::{Panel, Side, length};
use super::sew::{Laid, Sewn};
use super::top::{BACK, Draft, FRONT, NAMES};
use super::torso::{TrunkRings, WAIST};
use crate::figure::sdf::step;
use glam::{DVec2, DVec3, dvec2};
use std::collections::BTreeMap;

/// Where the pieces lie on a posed body.
pub(crate) struct Place<'a> {
    fit: &'a Fitting<'a>,
    pub draft: &'a Draft,
    pub trunk: &'a TrunkRings<'a>,
    pub arms: &'a [ArmRings; 2],
    pub gap: f64,
    stations: Vec<f64>,
    /// Quarter arcs, by front and then by left.
    arcs: [[Vec<Vec<DVec3>>; 2]; 2],
    /// Level rings for what a waistband holds.
    pub girdle: Option<&'a TrunkRings<'a>>,
}

impl<'a> Place<'a> {
    pub(crate) fn new(
        fit: &'a Fitting<'a>,
        draft: &'a Draft,
        trunk: &'a TrunkRings<'a>,
        arms: &'a [ArmRings; 2],
        gap: f64,
    ) -> Self {
        const ROWS: usize = 60;
        let (low, high) = (draft.hem_v - 2.0, draft.underarm_v + 1.0);
        let vs: Vec<f64> = (0..=ROWS)
            .map(|r| low + (high - low) * r as f64 / ROWS as f64)
            .collect();
        let waist = trunk.axis.along(WAIST);
        let stations: Vec<f64> = vs.iter().map(|v| trunk.axis.place_of(waist - v)).collect();
        let girth = |t: f64| {
            let v = waist - trunk.axis.along(t);
            draft
                .girth(v)
                .max(trunk.girth(t) + std::f64::consts::TAU * gap)
        };
        let arcs = [false, true]
            .map(|front| [false, true].map(|left| trunk.arcs(&stations, &girth, front, left)));
        Self {
            fit,
            draft,
            trunk,
            arms,
            gap,
            stations: vs,
            arcs,
            girdle: None,
        }
    }

    fn on_body(&self, uv: DVec2, front: bool) -> DVec3 {
        let d = self.draft;
        // Positive u: the figure's left on the front, its right on the back.
        let left = (uv.x >= 0.0) == front;
        let n = self.stations.len() - 1;
        let (low, high) = (self.stations[0], self.stations[n]);
        let ring = |v: f64| {
            let share = (uv.x.abs() / d.half_width(v.min(d.underarm_v), front)).min(1.0);
            let x = ((v - low) / (high - low) * n as f64).clamp(0.0, n as f64 - 1e-6);
            let net = &self.arcs[usize::from(front)][usize::from(left)];
            let row = |r: usize| {
                let y = share * 24.0;
                let i = (y as usize).min(23);
                net[r][i].lerp(net[r][i + 1], y - i as f64)
            };
            row(x as usize).lerp(row(x as usize + 1), x.fract())
        };
        let top = d.neck_v[usize::from(!front)];
        let above = |uv: DVec2| {
            let f = ((uv.y - d.underarm_v) / (top - d.underarm_v)).max(-0.3);
            let y = d.underarm_v + f * (d.taken.neck_height - d.underarm_v) - 0.3;
            let x = uv.x.abs() * 0.96 * if left { 1.0 } else { -1.0 };
            self.trunk.ahead(x, y, front, self.gap)
        };
        let w = step(d.underarm_v - 5.0, d.underarm_v + 1.0, uv.y);
        if w <= 0.0 {
            ring(uv.y)
        } else if w >= 1.0 {
            above(uv)
        } else {
            ring(uv.y).lerp(above(uv), w)
        }
    }

    /// A place on the sleeve; positive u is the back.
    fn on_arm(&self, uv: DVec2, side: usize) -> DVec3 {
        let d = self.draft;
        let rings = &self.arms[side];
        let b = d.biceps_half;
        let foot = d.cap_cm - d.sleeve_cm;
        let half = if uv.y >= 0.0 {
            b
        } else {
            b + (d.edge_half - b) * (uv.y / foot)
        };
        let turn = std::f64::consts::PI * (uv.x / (half * d.sleeve_share(uv.x))).clamp(-1.0, 1.0);
        // From the shoulder's end down; the head starts 2.5 cm over the joint.
        let joint = rings.axis.along(SHOULDER);
        let down = d.cap_cm - uv.y;
        // The sleeve's slack is laid evenly.
        let fits = d.taken.arm + 2.5;
        let reach = if d.sleeve_cm > fits {
            fits / d.sleeve_cm
        } else {
            1.0
        };
        let t = rings.axis.place_of(joint - 2.5 + down * reach);
        let round = rings.girth(t);
        let scale = ((2.0 * half - std::f64::consts::TAU * self.gap) / round).max(1.0);
        let at = rings.place(t, turn, self.gap, scale);
        let out = (at - rings.axis.at(t).origin).normalize_or_zero();
        at + out * self.over_sleeve(at, out, side)
    }

    /// How far a place on an arm has to go outward to lie over the sleeve that is worn below.
    fn over_sleeve(&self, at: DVec3, out: DVec3, side: usize) -> f64 {
        const STEP: f64 = 0.3;
        let Some(under) = self.fit.under else {
            return 0.0;
        };
        let body = self.fit.posed;
        let inside = |r: &f64| {
            let p = at + out * *r;
            body.arm(side, p) < body.trunk_and_legs(p) && under.distance(p) < self.gap
        };
        (0..12)
            .rev()
            .map(|k| STEP * f64::from(k))
            .find(inside)
            .map_or(0.0, |r| r + STEP)
    }
}

/// What holds the edges while the garment settles.
pub struct Holds {
    /// Stations on the arms where cuffs hold the sleeves' edges.
    pub cuff_stations: Option<[f64; 2]>,
    /// The hem, where a rib or a waistband holds it.
    pub hem: Option<HeldHem>,
}

/// A hem that is held around the body.
#[derive(Debug, Clone, Copy)]
pub struct HeldHem {
    /// Distance from the body.
    pub gap_cm: f64,
    /// Cloth up to this height over the waist is held too.
    pub up_to_v: f64,
    /// How much higher it is held than it hangs, so that the cloth above blouses.
    pub raised_cm: f64,
}

impl Draft {
    /// Cuts, sews and lays the pieces at edge length `h`.
    pub(crate) fn sew(&self, place: &Place, holds: &Holds, h: f64) -> Laid {
        let outlines = [
            self.outlines[0].clone(),
            self.outlines[1].clone(),
            // Seen from outside the back of the left sleeve is on the right.
            self.outlines[2].clone(),
            self.outlines[2].mirrored(),
        ];
        let count = |l: f64| (l / h).round().max(1.0) as usize;
        let mean = |a: f64, b: f64| count(0.5 * (a + b));
        let o = &outlines;
        let pieces = |side: &Side| match side.name {
            "side +" | "side -" => mean(o[0].length("side +"), o[1].length("side +")),
            "shoulder +" | "shoulder -" => {
                mean(o[0].length("shoulder +"), o[1].length("shoulder +"))
            }
            // The back's armhole meets the back of the head, the front's the front.
            "cap back" => count(o[1].length("armhole +")),
            "cap front" => count(o[0].length("armhole +")),
            "under front" | "under back" => {
                mean(o[2].length("under front"), o[2].length("under back"))
            }
            _ => count(length(&side.points)),
        };
        let mut panels = Vec::new();
        let mut laid: Vec<Vec<DVec3>> = Vec::new();
        for (k, outline) in outlines.iter().enumerate() {
            let panel = Panel::new(NAMES[k], outline, h, &pieces);
            laid.push(
                panel
                    .uvs
                    .iter()
                    .map(|uv| match k {
                        FRONT => place.on_body(*uv, true),
                        BACK => place.on_body(*uv, false),
                        2 => place.on_arm(*uv, 0),
                        _ => place.on_arm(dvec2(-uv.x, uv.y), 1),
                    })
                    .collect(),
            );
            panels.push(panel);
        }
        // The front's + is the figure's left, the back's + its right.
        let seams = [
            ((0, "side +"), (1, "side -")),
            ((0, "side -"), (1, "side +")),
            ((0, "shoulder +"), (1, "shoulder -")),
            ((0, "shoulder -"), (1, "shoulder +")),
            ((0, "armhole +"), (2, "cap front")),
            ((1, "armhole -"), (2, "cap back")),
            ((0, "armhole -"), (3, "cap front")),
            ((1, "armhole +"), (3, "cap back")),
            ((2, "under front"), (2, "under back")),
            ((3, "under front"), (3, "under back")),
        ];
        let sewn = Sewn::new(panels, &laid, &seams);
        let mut start = sewn.gathered(&laid);
        let held = self.held(&sewn, place, holds);
        for (&p, at) in &held {
            start[p as usize] = *at;
        }
        let pinned = held.into_keys().collect();
        Laid {
            sewn,
            start,
            pinned,
            plies: Vec::new(),
        }
    }

    /// Where what is held by cuffs and hem lies, by particle.
    pub(crate) fn held(&self, sewn: &Sewn, place: &Place, holds: &Holds) -> BTreeMap<u32, DVec3> {
        let mut out = BTreeMap::new();
        if let Some(stations) = holds.cuff_stations {
            for (side, &station) in stations.iter().enumerate() {
                let k = 2 + side;
                let flip = if side == 0 { 1.0 } else { -1.0 };
                for &v in sewn.panels[k].side("edge") {
                    let u = sewn.panels[k].uvs[v as usize].x * flip;
                    let p = sewn.particles[k][v as usize];
                    let turn = std::f64::consts::PI * u / (self.edge_half * self.sleeve_share(u));
                    out.insert(p, place.arms[side].place(station, turn, 0.55, 1.0));
                }
            }
        }
        if let Some(hem) = &holds.hem {
            let rings = place.girdle.unwrap_or(place.trunk);
            let waist = rings.axis.along(WAIST);
            for (k, front) in [(FRONT, true), (BACK, false)] {
                let panel = &sewn.panels[k];
                let edge = panel.side("hem");
                for (v, uv) in panel.uvs.iter().enumerate() {
                    if uv.y > hem.up_to_v && !edge.contains(&(v as u32)) {
                        continue;
                    }
                    let t = rings.axis.place_of(waist - uv.y - hem.raised_cm);
                    let girth = rings.girth(t) + std::f64::consts::TAU * hem.gap_cm;
                    let left = (uv.x >= 0.0) == front;
                    let arc = &rings.arcs(&[t], &|_| girth, front, left)[0];
                    let y = (uv.x.abs() / self.half_width(uv.y, front)).min(1.0) * 24.0;
                    let i = (y as usize).min(23);
                    let p = sewn.particles[k][v];
                    out.insert(p, arc[i].lerp(arc[i + 1], y - i as f64));
                }
            }
        }
        out
    }
}
