//! Hair colours: what the eye sees of a strand.

use super::noise::Dice;
use serde::{Deserialize, Serialize};

/// Natural hair colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HairColour {
    /// Nearly no light comes back but the sheen.
    Black,
    /// The commonest dark brown.
    DarkBrown,
    /// Mid brown.
    Brown,
    /// Red-brown.
    Auburn,
    /// Light, yellowish.
    Blond,
    /// White and dark strands mixed.
    Grey,
}

impl HairColour {
    /// All of them, dark to light.
    pub const ALL: [Self; 6] = [
        Self::Black,
        Self::DarkBrown,
        Self::Brown,
        Self::Auburn,
        Self::Blond,
        Self::Grey,
    ];

    /// Linear sRGB colour of a mass of such hair half-way along.
    pub fn strand_rgb(self) -> [f64; 3] {
        match self {
            Self::Black => [0.010, 0.0085, 0.0078],
            Self::DarkBrown => [0.034, 0.0215, 0.0145],
            Self::Brown => [0.088, 0.052, 0.030],
            Self::Auburn => [0.125, 0.041, 0.0165],
            Self::Blond => [0.37, 0.245, 0.125],
            Self::Grey => [0.30, 0.295, 0.285],
        }
    }

    /// One strand's own colour: no two on a head are quite alike.
    pub(super) fn one_strand(self, dice: &mut Dice) -> [f64; 3] {
        let light = (0.16 * dice.normal()).clamp(-0.4, 0.4).exp();
        let warm = 0.05 * dice.normal().clamp(-2.0, 2.0);
        let base = match self {
            // Greying takes whole strands, not a little of each.
            Self::Grey if dice.unit() < 0.3 => [0.085, 0.08, 0.075],
            Self::Grey => [0.42, 0.415, 0.40],
            _ => self.strand_rgb(),
        };
        [
            base[0] * light * (1.0 + warm),
            base[1] * light,
            base[2] * light * (1.0 - warm),
        ]
    }
}

/// Brightness along a strand: darker at the root, where light and weather have
/// not been, lighter at the tip. `along` is 0..1.
pub(super) fn bleach(from_root_mm: f64, along: f64) -> f64 {
    (0.78 + 0.22 * (from_root_mm / 60.0).min(1.0)) * (1.0 + 0.22 * along * along)
}
