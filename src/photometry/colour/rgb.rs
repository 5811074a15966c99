//! RGB spaces, from their primaries and white.

use super::adaptation::Adaptation;
use super::chromaticity::Chromaticity;
use super::matrix::{Matrix3, apply, diagonal, inverse, multiply, transpose};

/// A linear RGB space: three primaries and a white.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RgbSpace {
    /// Chromaticities of red, green and blue.
    pub primaries: [Chromaticity; 3],
    /// Chromaticity of (1, 1, 1).
    pub white: Chromaticity,
}

const fn xy(x: f64, y: f64) -> Chromaticity {
    Chromaticity { x, y }
}

impl RgbSpace {
    /// sRGB (IEC 61966-2-1), and so BT.709.
    pub const SRGB: Self = Self {
        primaries: [xy(0.64, 0.33), xy(0.30, 0.60), xy(0.15, 0.06)],
        white: Chromaticity::D65,
    };
    /// ITU-R BT.2020.
    pub const REC2020: Self = Self {
        primaries: [xy(0.708, 0.292), xy(0.170, 0.797), xy(0.131, 0.046)],
        white: Chromaticity::D65,
    };
    /// Display P3 (primaries of SMPTE EG 432-1 with D65).
    pub const DISPLAY_P3: Self = Self {
        primaries: [xy(0.680, 0.320), xy(0.265, 0.690), xy(0.150, 0.060)],
        white: Chromaticity::D65,
    };
    /// ACEScg: primaries AP1 with the ACES white (S-2014-004).
    pub const ACESCG: Self = Self {
        primaries: [xy(0.713, 0.293), xy(0.165, 0.830), xy(0.128, 0.044)],
        white: xy(0.32168, 0.33767),
    };
    /// ACES2065-1: primaries AP0 with the ACES white (SMPTE ST 2065-1).
    pub const ACES2065: Self = Self {
        primaries: [xy(0.7347, 0.2653), xy(0.0, 1.0), xy(0.0001, -0.0770)],
        white: xy(0.32168, 0.33767),
    };

    /// The matrix to XYZ, white at Y = 1, as SMPTE RP 177 derives it: columns are the primaries,
    /// scaled so that they sum to the white.
    pub fn xyz_from_rgb(&self) -> Matrix3 {
        let columns = transpose(
            &self
                .primaries
                .map(|primary| [primary.x, primary.y, 1.0 - primary.x - primary.y]),
        );
        let scales = apply(&inverse(&columns), self.white.xyz());
        multiply(&columns, &diagonal(scales))
    }

    /// The matrix from XYZ.
    pub fn rgb_from_xyz(&self) -> Matrix3 {
        inverse(&self.xyz_from_rgb())
    }

    /// The share of each channel in luminance; they sum to 1.
    pub fn luminance_weights(&self) -> [f64; 3] {
        self.xyz_from_rgb()[1]
    }

    /// The matrix that takes linear colours of this space to another's.
    pub fn to(&self, other: &Self, adaptation: Adaptation) -> Matrix3 {
        let adapt = adaptation.matrix(self.white, other.white);
        multiply(
            &other.rgb_from_xyz(),
            &multiply(&adapt, &self.xyz_from_rgb()),
        )
    }
}
