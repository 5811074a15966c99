//! Hair, brows and lashes as ribbons grown on the figure's head.
//!
//! Every strand is a curve that starts on the scalp, is laid by a rule of its
//! style or hangs by gravity and wind, and clears head, neck, shoulders and
//! clothes. All lengths inside are head millimetres.

mod colour;
mod comb;
mod crop;
mod face;
mod hang;
mod interpolate;
mod noise;
mod obstacle;
mod ribbon;
mod roots;
mod scalp;
mod tied;

pub use colour::HairColour;
pub use scalp::{BodyScalp, Brow, Ear, Lid, Scalp, behind_hairline};

use super::Part;
use super::sdf::{Field, step};
use glam::DVec3;
use obstacle::Obstacle;
use roots::CRANIUM;
use serde::{Deserialize, Serialize};
use std::hash::{Hash, Hasher};

/// How the hair is worn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Style {
    /// Drawn back and tied: a ponytail.
    TiedBack,
    /// Drawn back and coiled at the back of the head.
    Bun,
    /// Parted and hanging freely.
    Loose,
    /// Hanging freely, full, in curls.
    Curled,
    /// Cut short.
    Short,
}

/// Steady wind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wind {
    /// Where it blows to, in the figure's frame; its length does not matter.
    pub toward: [f64; 3],
    /// 0 is still air, 1 a fan on full that carries long hair out sideways.
    pub strength: f64,
}

/// A way of wearing hair.
///
/// Values outside their span are taken as the nearest one inside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hairdo {
    /// How it is worn.
    pub style: Style,
    /// Natural colour.
    pub colour: HairColour,
    /// Length in centimetres, 1 to 60: of the hair where it hangs; of the tail
    /// where it is tied; on the top of the head where it is short (1 to 12). A
    /// bun does not read it.
    pub length_cm: f64,
    /// Length over ears and nape where the hair is short, in centimetres, 0.6 to 8.
    pub side_cm: f64,
    /// Wind, if any.
    pub wind: Option<Wind>,
    /// Another number, another head of hair of the same kind.
    pub seed: u32,
    /// Number of ribbons against the usual, 0.2 to 1.5; they grow wider as they
    /// grow fewer.
    pub density: f64,
}

impl Hairdo {
    /// The style at its usual length.
    pub fn new(style: Style, colour: HairColour) -> Self {
        let (length_cm, side_cm) = match style {
            Style::TiedBack => (34.0, 2.0),
            Style::Loose => (38.0, 2.0),
            Style::Curled => (38.0, 2.0),
            Style::Bun | Style::Short => (4.5, 1.6),
        };
        Self {
            style,
            colour,
            length_cm,
            side_cm,
            wind: None,
            seed: 1,
            density: 1.0,
        }
    }

    /// The same in wind towards `toward` (figure's frame), strength 0 to 1.
    pub fn in_wind(mut self, toward: [f64; 3], strength: f64) -> Self {
        self.wind = Some(Wind { toward, strength });
        self
    }

    /// Whether it comes down to the shoulders.
    pub fn hangs(&self) -> bool {
        matches!(self.style, Style::TiedBack | Style::Loose | Style::Curled)
    }

    /// The same with every number inside its span; what is no number becomes the least.
    fn held(&self) -> Self {
        let hold = |v: f64, low: f64, high: f64| if v >= low { v.min(high) } else { low };
        let longest = if self.style == Style::Short {
            12.0
        } else {
            60.0
        };
        let shortest = if self.style == Style::Short { 1.0 } else { 8.0 };
        Self {
            length_cm: hold(self.length_cm, shortest, longest),
            side_cm: hold(self.side_cm, 0.6, 8.0),
            density: hold(self.density, 0.2, 1.5),
            ..self.clone()
        }
    }
}

impl Eq for Hairdo {}

impl Hash for Hairdo {
    fn hash<H: Hasher>(&self, state: &mut H) {
        // -0.0 equals 0.0 and must hash like it.
        let bits = |v: f64| (v + 0.0).to_bits();
        (self.style, self.colour, self.seed).hash(state);
        [self.length_cm, self.side_cm, self.density]
            .map(bits)
            .hash(state);
        let wind = self.wind.map(|w| (w.toward.map(bits), bits(w.strength)));
        wind.hash(state);
    }
}

/// What the strands grow on and hang in.
struct Ground<'a> {
    scalp: &'a dyn Scalp,
    obstacle: Obstacle,
    /// Unit direction of gravity in the head's frame.
    down: DVec3,
    /// Wind in the head's frame, as long as its strength.
    wind: DVec3,
    seed: u32,
    density: f64,
}

impl Ground<'_> {
    /// Distance of the skin from the middle of the cranium in a direction.
    fn skull_radius(&self, outward: DVec3) -> f64 {
        let mut r = 125.0;
        for _ in 0..40 {
            let d = self.obstacle.distance(CRANIUM + outward * r);
            r -= d * 0.9;
            if d.abs() < 0.02 {
                break;
            }
        }
        r
    }

    /// Breadth of a ribbon of which the usual number have `usual_mm`.
    fn width(&self, usual_mm: f64) -> f64 {
        usual_mm / self.density.sqrt()
    }

    /// A number of ribbons of which `usual` are usual.
    fn count(&self, usual: f64) -> usize {
        (usual * self.density).round() as usize
    }
}

/// Grows the hair: parts "hair", "brows" and "lashes", all ribbons.
///
/// `collider` is the dressed (or bare) body in the figure's frame, in
/// centimetres. A ribbon's UV is (centimetres from the root along the strand,
/// 0..1 across it); its paint is the strand's own colour.
pub fn grow(hairdo: &Hairdo, scalp: &dyn Scalp, collider: &dyn Field) -> Vec<Part> {
    let hairdo = hairdo.held();
    let turned = |v: DVec3| scalp.to_head_mm(scalp.to_world_cm(DVec3::ZERO) + v);
    let wind = hairdo.wind.map_or(DVec3::ZERO, |w| {
        let strength = if w.strength > 0.0 {
            w.strength.min(1.0)
        } else {
            0.0
        };
        let toward = turned(DVec3::from(w.toward)).normalize_or_zero();
        if toward.is_finite() {
            toward * strength
        } else {
            DVec3::ZERO
        }
    });
    let reach_mm = match hairdo.style {
        Style::Bun | Style::Short => 80.0,
        _ => hairdo.length_cm / scalp.cm_per_mm(),
    };
    let ground = Ground {
        scalp,
        obstacle: Obstacle::new(scalp, collider, reach_mm),
        down: turned(DVec3::NEG_Y).normalize(),
        wind,
        seed: hairdo.seed,
        density: hairdo.density,
    };
    let length_mm = hairdo.length_cm / scalp.cm_per_mm();
    let strands = match hairdo.style {
        Style::Bun => tied::bun(&ground),
        Style::TiedBack => tied::tail(&ground, length_mm),
        Style::Loose => hang::loose(&ground, length_mm),
        Style::Curled => hang::curled(&ground, length_mm),
        Style::Short => crop::short(&ground, length_mm, hairdo.side_cm / scalp.cm_per_mm()),
    };
    let colour = hairdo.colour;
    let seed = hairdo.seed;
    let part = |name, strands: &[ribbon::Strand], obstacle, colour| {
        ribbon::ribbons(name, strands, scalp, obstacle, colour, seed)
    };
    vec![
        part("hair", &strands, Some(&ground.obstacle), colour),
        part(
            "brows",
            &face::brows(scalp, seed),
            None,
            face::brow_colour(colour),
        ),
        part(
            "lashes",
            &face::lashes(scalp, seed),
            None,
            face::lash_colour(colour),
        ),
    ]
}

/// Colour of the scalp between the strands and how strongly it shows, 0..1, at a
/// place on the skin in head millimetres: skin painted with it does not shine
/// through the hair.
pub fn scalp_tint(hairdo: &Hairdo, scalp: &dyn Scalp, p_mm: DVec3) -> ([f32; 3], f32) {
    let rgb = hairdo.colour.strand_rgb().map(|c| (0.8 * c) as f32);
    let behind = scalp.behind_hairline_mm(p_mm);
    (rgb, (0.85 * step(-1.5, 12.0, behind)) as f32)
}
