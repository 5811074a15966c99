//! Colour and gloss of the skin, painted at each vertex.
//!
//! Skin tones are points in CIELAB (D65) inside the bands of the individual
//! typology angle, ITA° = atan((L* − 50)/b*)·180/π (Chardon, Cretois and
//! Hourseau 1991; six bands as used by Del Bino and Bernerd 2013: over 55 very
//! light, 41–55 light, 28–41 intermediate, 10–28 tan, −30–10 brown, under −30
//! dark). The band limits are the published ones, the point within each band
//! (and its a*) is a typical value stated from memory. Lips, cheeks and lids
//! are common practice of make-up, not measurements.

use super::head::{EYE_MM, Head, LipLine};
use super::person::Build;
use super::sdf::step;
use glam::{DVec3, dvec3};
use serde::{Deserialize, Serialize};

/// Skin tone by band of the individual typology angle, lightest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// ITA° over 55 (about Fitzpatrick I).
    VeryLight,
    /// ITA° 41 to 55 (about Fitzpatrick II).
    #[default]
    Light,
    /// ITA° 28 to 41 (about Fitzpatrick III).
    Intermediate,
    /// ITA° 10 to 28 (about Fitzpatrick IV).
    Tan,
    /// ITA° −30 to 10 (about Fitzpatrick V).
    Brown,
    /// ITA° under −30 (about Fitzpatrick VI).
    Dark,
}

impl Tone {
    /// All tones, lightest first.
    pub const ALL: [Tone; 6] = [
        Tone::VeryLight,
        Tone::Light,
        Tone::Intermediate,
        Tone::Tan,
        Tone::Brown,
        Tone::Dark,
    ];

    /// CIELAB (D65) of the tone on the cheek.
    pub fn lab(self) -> [f64; 3] {
        match self {
            Tone::VeryLight => [71.5, 9.0, 14.5],
            Tone::Light => [67.0, 10.5, 16.8],
            Tone::Intermediate => [61.5, 11.5, 17.8],
            Tone::Tan => [54.5, 12.5, 18.0],
            Tone::Brown => [44.0, 12.5, 16.0],
            Tone::Dark => [34.5, 9.5, 10.8],
        }
    }

    /// Individual typology angle in degrees.
    pub fn ita_deg(self) -> f64 {
        let [l, _, b] = self.lab();
        (l - 50.0).atan2(b).to_degrees()
    }

    /// Linear sRGB reflectance.
    pub fn reflectance(self) -> DVec3 {
        lab_to_linear(self.lab())
    }
}

/// How strongly something is made up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Colour {
    /// The skin's own.
    #[default]
    Natural,
    /// Fresh and saturated.
    Bright,
    /// Deep.
    Dark,
}

/// How a face is painted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Complexion {
    /// Skin tone.
    pub tone: Tone,
    /// Lip colour.
    pub lips: Colour,
    /// Gloss of the lips, 0 matt to 1 wet.
    pub lip_gloss: f32,
    /// Cheek colour.
    pub cheeks: Colour,
    /// Nail colour.
    pub nails: Colour,
    /// How oily forehead and nose are, 0 powdered to 1.
    pub oil: f32,
}

impl Default for Complexion {
    fn default() -> Self {
        Self {
            tone: Tone::Light,
            lips: Colour::Natural,
            lip_gloss: 0.6,
            cheeks: Colour::Natural,
            nails: Colour::Natural,
            oil: 0.8,
        }
    }
}

/// Gloss of skin that is neither oily nor wet.
const PLAIN_GLOSS: f64 = 0.25;

impl Complexion {
    /// Linear sRGB reflectance and gloss of bare skin anywhere; `p_mm` may be
    /// in any frame that moves with the body, it only carries the mottling.
    pub fn plain(&self, p_mm: DVec3) -> [f32; 4] {
        pack(self.base(p_mm), PLAIN_GLOSS)
    }

    /// Linear sRGB reflectance and gloss of a nail.
    pub fn nail(&self) -> [f32; 4] {
        let base = self.tone.reflectance();
        match self.nails {
            Colour::Natural => pack(
                base.lerp(
                    dvec3(
                        base.x.sqrt() * 0.80,
                        base.y.sqrt() * 0.62,
                        base.z.sqrt() * 0.58,
                    ),
                    0.35,
                ),
                0.6,
            ),
            Colour::Bright => pack(dvec3(0.40, 0.020, 0.030), 0.9),
            Colour::Dark => pack(dvec3(0.075, 0.008, 0.014), 0.9),
        }
    }

    /// Linear sRGB reflectance and gloss on the head, at `p_mm` in its frame.
    pub fn face(&self, head: &Head, p_mm: DVec3) -> [f32; 4] {
        let p = head.symmetric(p_mm);
        let mut c = self.base(p_mm);
        let mut gloss = PLAIN_GLOSS;
        if p.z > 0.0 {
            self.cheeks_and_shade(head, p, &mut c);
            gloss += self.oiliness(p);
        }
        if p.z > 40.0 {
            self.lips(head, p, &mut c, &mut gloss);
            self.brow(head, p, &mut c);
            self.lid_margins(head, p, &mut c, &mut gloss);
        }
        pack(c, gloss)
    }

    /// Tone with two octaves of mottling; redness varies more than lightness.
    fn base(&self, p: DVec3) -> DVec3 {
        let m = 1.0 + 0.028 * noise(p * 0.11) + 0.018 * noise(p * 0.45 + 31.0);
        self.tone.reflectance() * dvec3(m, m * m, m * m)
    }

    /// How much blood shows through: less where melanin covers it.
    fn blood(&self) -> f64 {
        0.45 + 0.55 * (self.tone.reflectance().x / 0.5).min(1.0)
    }

    fn cheeks_and_shade(&self, head: &Head, p: DVec3, c: &mut DVec3) {
        let ax = p.x.abs();
        let spot = |x: f64, y: f64, w: f64, h: f64| {
            let (u, v) = ((ax - x) / w, (p.y - y) / h);
            (-u * u - v * v).exp()
        };
        let blood = self.blood();
        // Warmer cheeks, nose tip, chin and ears; cooler under the eyes.
        let warm = blood
            * (0.13 * spot(40.0, -27.0, 16.0, 13.0)
                + 0.11 * spot(0.0, -30.0, 11.0, 9.0)
                + 0.07 * spot(0.0, -90.0, 15.0, 10.0)
                + 0.16 * step(66.0, 76.0, ax) * step(25.0, 5.0, p.z));
        *c *= dvec3(1.0, 1.0 - warm, 1.0 - 0.85 * warm);
        let under = 0.09 * spot(27.0, -10.5, 11.0, 5.0);
        *c *= dvec3(1.0 - under, 1.0 - 0.9 * under, 1.0 - 0.6 * under);
        let lid = 0.13 * spot(32.0, 9.0, 15.0, 6.0);
        *c *= dvec3(1.0 - 0.8 * lid, 1.0 - lid, 1.0 - lid);
        let rouge = match self.cheeks {
            Colour::Natural => None,
            Colour::Bright => Some((0.42, dvec3(0.55, 0.135, 0.135))),
            Colour::Dark => Some((0.40, dvec3(0.27, 0.075, 0.06))),
        };
        if let Some((strength, colour)) = rouge {
            // Laid along the cheekbone, rising outwards.
            let along = (ax - 45.0) * 0.90 + (p.y + 26.0) * 0.42;
            let across = (p.y + 26.0) * 0.90 - (ax - 45.0) * 0.42;
            let m = strength * (-(along / 19.0).powi(2) - (across / 10.5).powi(2)).exp();
            let lit = colour * (0.35 + self.tone.reflectance().x).min(1.0);
            *c = c.lerp(lit, m);
        }
        let shadow =
            0.17 * head.traits().beard * step(-46.0, -54.0, p.y) * step(-125.0, -100.0, p.y);
        *c *= dvec3(1.0 - shadow, 1.0 - 0.85 * shadow, 1.0 - 0.6 * shadow);
    }

    fn oiliness(&self, p: DVec3) -> f64 {
        let ax = p.x.abs();
        let forehead = step(14.0, 30.0, p.y) * step(80.0, 50.0, p.y) * step(48.0, 18.0, ax);
        let nose = (-(ax / 10.0).powi(2) - ((p.y + 18.0) / 20.0).powi(2)).exp();
        let chin = 0.5 * (-(ax / 12.0).powi(2) - ((p.y + 89.0) / 8.0).powi(2)).exp();
        0.7 * f64::from(self.oil) * forehead.max(nose).max(chin)
    }

    fn lips(&self, head: &Head, p: DVec3, c: &mut DVec3, gloss: &mut f64) {
        let line = LipLine::at(p.x, head.traits().lips);
        let cover = step(-0.8, 1.6, line.top - p.y)
            * step(-0.9, 2.2, p.y - line.bottom)
            * step(1.05, 0.92, line.u);
        if cover <= 0.0 {
            return;
        }
        let own = self.tone.reflectance();
        let soft = if head.build() == Build::Man { 0.5 } else { 1.0 };
        let (strength, colour) = match self.lips {
            Colour::Natural => (0.88 * soft, natural_lip(self.tone)),
            Colour::Bright => (0.96, dvec3(0.37, 0.022, 0.034)),
            Colour::Dark => (0.96, dvec3(0.105, 0.012, 0.022)),
        };
        // Fine upright lines, and a darker inside.
        let lines = 1.0 + 0.05 * noise(dvec3(p.x * 1.5, p.y * 0.22, 4.0));
        let from_line = p.y - line.middle;
        let inside = 0.90 + 0.10 * step(0.0, 5.0, from_line.abs());
        let m = cover * strength;
        *c = c.lerp(colour * lines * inside, m);
        let dark = 0.42 * step(0.95, 0.1, from_line.abs()) * step(1.04, 0.8, line.u);
        *c = c.lerp(own.min(colour) * 0.35, dark);
        *gloss += (f64::from(self.lip_gloss) - *gloss) * cover;
    }

    /// A soft underpaint for the brow; the hairs go on top.
    fn brow(&self, head: &Head, p: DVec3, c: &mut DVec3) {
        let Some([centre, half]) = head.brow_at(p.x.abs()) else {
            return;
        };
        let inner = step(9.0, 16.0, p.x.abs());
        let m = 0.42 * step(1.25, 0.1, (p.y - centre).abs() / half) * inner;
        let hair = self.tone.reflectance() * 0.16;
        *c = c.lerp(hair, m);
    }

    fn lid_margins(&self, head: &Head, p: DVec3, c: &mut DVec3, gloss: &mut f64) {
        let ax = p.x.abs();
        if !(13.0..49.5).contains(&ax) || (p.y - EYE_MM.y).abs() > 14.0 {
            return;
        }
        let l = head.lid_line().at(ax);
        let within = step(-0.2, 0.9, l.u * 32.0) * step(1.02, 0.96, l.u);
        let own = self.tone.reflectance();
        // Roots of the lashes, darkest outwards.
        let upper =
            0.62 * step(1.4, 0.2, (p.y - l.upper - 0.4).abs()) * within * (0.55 + 0.45 * l.u);
        *c = c.lerp(own * 0.07, upper);
        let pink = own.lerp(dvec3(0.52, 0.25, 0.21), 0.6);
        let rim = 0.6 * step(1.0, 0.2, (p.y - l.lower + 0.1).abs()) * within;
        *c = c.lerp(pink, rim);
        *gloss += 0.7 * rim;
        let roots =
            0.25 * step(0.9, 0.1, (p.y - l.lower + 1.2).abs()) * within * step(0.3, 0.65, l.u);
        *c = c.lerp(own * 0.12, roots);
        // Caruncle.
        let m = (-((ax - 16.6) / 1.8).powi(2) - ((p.y + 2.1) / 1.6).powi(2)).exp()
            * step(68.0, 71.0, p.z);
        *c = c.lerp(pink * dvec3(1.0, 0.92, 0.92), 0.8 * m);
        *gloss += 0.6 * m;
    }
}

/// Lips without make-up: the skin's tone with more blood.
fn natural_lip(tone: Tone) -> DVec3 {
    let [l, a, b] = tone.lab();
    lab_to_linear([l * 0.78 + 1.0, a + 13.0, b - 0.5])
}

/// CIELAB (D65) to linear sRGB (CIE 15; IEC 61966-2-1 primaries).
pub fn lab_to_linear([l, a, b]: [f64; 3]) -> DVec3 {
    let fy = (l + 16.0) / 116.0;
    let inverse = |t: f64| {
        if t > 6.0 / 29.0 {
            t.powi(3)
        } else {
            3.0 * (6.0f64 / 29.0).powi(2) * (t - 4.0 / 29.0)
        }
    };
    let x = 0.95047 * inverse(fy + a / 500.0);
    let y = inverse(fy);
    let z = 1.08883 * inverse(fy - b / 200.0);
    dvec3(
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    )
    .max(DVec3::ZERO)
}

fn pack(c: DVec3, gloss: f64) -> [f32; 4] {
    [c.x, c.y, c.z, gloss].map(|v| v.clamp(0.0, 1.0) as f32)
}

/// Smooth value noise in −1..1 with unit cells, from an integer hash.
fn noise(p: DVec3) -> f64 {
    let cell = p.floor();
    let f = p - cell;
    let f = f * f * f * (f * (f * 6.0 - 15.0) + 10.0);
    let corner = |dx: f64, dy: f64, dz: f64| {
        let q = cell + dvec3(dx, dy, dz);
        lattice(q.x as i64, q.y as i64, q.z as i64)
    };
    let mix = |a: f64, b: f64, t: f64| a + (b - a) * t;
    let row = |dy: f64, dz: f64| mix(corner(0.0, dy, dz), corner(1.0, dy, dz), f.x);
    mix(
        mix(row(0.0, 0.0), row(1.0, 0.0), f.y),
        mix(row(0.0, 1.0), row(1.0, 1.0), f.y),
        f.z,
    )
}

fn lattice(x: i64, y: i64, z: i64) -> f64 {
    let mut h = (x as u64)
        .wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .wrapping_add((y as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f))
        .wrapping_add((z as u64).wrapping_mul(0x1656_67b1_9e37_79f9));
    h ^= h >> 31;
    h = h.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    h ^= h >> 29;
    (h >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}
