//! Brows and lashes.

use super::colour::HairColour;
use super::noise::Dice;
use super::ribbon::Strand;
use super::scalp::{Lid, Scalp};
use glam::{DVec2, DVec3, dvec2, dvec3};

/// Brow hairs on each side.
const BROW_HAIRS: usize = 290;
/// Lashes on each side, upper and lower. The upper lid bears 90 to 150, 8 to 12 mm
/// long; the lower 70 to 80, 6 to 8 mm (ophthalmology handbooks, from memory); the
/// lower are drawn sparser and shorter, since what shows is their fine ends.
const LASHES: [(Lid, usize); 2] = [(Lid::Upper, 105), (Lid::Lower, 60)];

/// Brows keep some brown whatever the hair; they are seldom as light as it.
pub(super) fn brow_colour(hair: HairColour) -> HairColour {
    match hair {
        HairColour::Blond | HairColour::Auburn => HairColour::Brown,
        HairColour::Brown => HairColour::DarkBrown,
        other => other,
    }
}

/// Lashes are darker than the hair.
pub(super) fn lash_colour(hair: HairColour) -> HairColour {
    match hair {
        HairColour::Blond | HairColour::Auburn | HairColour::Grey => HairColour::DarkBrown,
        _ => HairColour::Black,
    }
}

/// Both brows.
pub(super) fn brows(scalp: &dyn Scalp, seed: u32) -> Vec<Strand> {
    let mut strands = Vec::new();
    for side in [1.0, -1.0] {
        for i in 0..BROW_HAIRS {
            let mut dice = Dice::new(seed, 0xb0 + u32::from(side < 0.0), i);
            strands.push(brow_hair(scalp, side, &mut dice));
        }
    }
    strands
}

fn brow_hair(scalp: &dyn Scalp, side: f64, dice: &mut Dice) -> Strand {
    // Sparser at both ends.
    let t = 0.03 + 0.95 * (0.45 * (dice.unit() + dice.unit()) + 0.10 * dice.unit());
    let brow = scalp.brow(t);
    let ahead = scalp.brow((t + 0.05).min(1.0)).at_mm - scalp.brow((t - 0.05).max(0.0)).at_mm;
    let line = ahead.to_angle();
    let v = (0.62 * dice.normal()).clamp(-1.0, 1.0);
    let root = brow.at_mm + dvec2(0.0, v * brow.half_breadth_mm * 0.72 - 0.4);
    // Upright by the nose, then along the brow; upper hairs lean down, lower ones up.
    let upright = 48f64.to_radians() * (1.0 - t).powf(2.6);
    let lean = upright + (11.0 - 19.0 * v + 6.0 * dice.normal()).to_radians();
    let angle = line + lean.clamp(-0.6, 1.25);
    let length = dice.range(5.0, 8.0) * (1.0 - 0.3 * t);
    let bend = -0.5 * (angle - line);
    let n = 6;
    let mut at: DVec2 = root;
    let mut points = Vec::with_capacity(n);
    for k in 0..n {
        let s = k as f64 / (n - 1) as f64;
        let seen = dvec2(at.x * side, at.y);
        let mut p = scalp.front_mm(seen);
        p.z += 0.12 + 0.5 * (s * 2.5).sin();
        points.push(p);
        at += DVec2::from_angle(angle + bend * s) * (length / (n - 1) as f64);
    }
    Strand {
        points,
        width_mm: 0.14,
        taper: (0.7, 0.2),
        widens_mm: 1.0,
        roll: 0.4,
    }
}

/// Lashes of both eyes.
pub(super) fn lashes(scalp: &dyn Scalp, seed: u32) -> Vec<Strand> {
    let mut strands = Vec::new();
    for side in [1.0, -1.0] {
        for (lid, count) in LASHES {
            for i in 0..count {
                let salt = 0x1a0 + 2 * u32::from(lid == Lid::Lower) + u32::from(side < 0.0);
                let mut dice = Dice::new(seed, salt, i);
                let along = (i as f64 + dice.unit()) / count as f64;
                strands.push(lash(scalp, side, lid, along, &mut dice));
            }
        }
    }
    strands
}

fn lash(scalp: &dyn Scalp, side: f64, lid: Lid, along: f64, dice: &mut Dice) -> Strand {
    let (first, longest, width_mm) = match lid {
        Lid::Upper => (0.10, 8.6, 0.15),
        Lid::Lower => (0.28, 4.4, 0.10),
    };
    let u = first + (0.985 - first) * along;
    let edge = scalp.lid(lid, u);
    // Lashes leave the outer rim of the lid's edge, just on its skin side.
    let off = if lid == Lid::Upper { 0.5 } else { -0.5 };
    let mut root = scalp.front_mm(dvec2(edge.x * side, edge.y + off));
    root.y -= off * 0.6;
    root.x *= side;
    // Neighbouring lashes lean together in small groups.
    let group = 0.10 * (along * 61.0 + 0.7 * (along * 23.0).sin()).sin();
    let fan = (u - 0.42) * 1.2 + group + 0.05 * dice.normal();
    let length = longest
        * (0.55 + 0.45 * (u * 1.15 * 0.62 * std::f64::consts::PI).sin())
        * dice.range(0.75, 1.05);
    let (dip, lift) = if lid == Lid::Upper {
        (-0.16, 1.0)
    } else {
        (-0.5, -0.3)
    };
    let out = dvec3(fan.sin(), dip, fan.cos()).normalize();
    let curl = dvec3(fan * 0.2, lift, -0.15);
    let n = 8;
    let points = (0..n)
        .map(|k| {
            let s = k as f64 / (n - 1) as f64;
            let p: DVec3 = root + (out * (s * 0.85) + curl * (0.62 * s * s)) * length;
            dvec3(p.x * side, p.y, p.z)
        })
        .collect();
    Strand {
        points,
        width_mm,
        taper: (0.9, 0.15),
        widens_mm: 1.0,
        roll: 0.9,
    }
}
