//! Chromatic adaptation by von Kries' rule.

use super::chromaticity::Chromaticity;
use super::matrix::{Matrix3, apply, diagonal, inverse, multiply};

/// Which cone-like responses are scaled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Adaptation {
    /// No adaptation at all.
    None,
    /// Bradford (Lam 1985), as ICC profiles use it.
    Bradford,
    /// CAT16 (Li et al. 2017).
    Cat16,
}

/// Bradford responses from XYZ (Lam 1985; ICC.1).
pub const BRADFORD: Matrix3 = [
    [0.8951, 0.2664, -0.1614],
    [-0.7502, 1.7135, 0.0367],
    [0.0389, -0.0685, 1.0296],
];

/// CAT16 responses from XYZ (Li et al. 2017).
pub const CAT16: Matrix3 = [
    [0.401288, 0.650173, -0.051461],
    [-0.250268, 1.204414, 0.045854],
    [-0.002079, 0.048952, 0.953127],
];

impl Adaptation {
    /// The matrix on XYZ that takes colours seen under one white to those that look alike under
    /// another.
    pub fn matrix(self, from: Chromaticity, to: Chromaticity) -> Matrix3 {
        let responses = match self {
            Adaptation::None => return diagonal([1.0; 3]),
            Adaptation::Bradford => BRADFORD,
            Adaptation::Cat16 => CAT16,
        };
        let from = apply(&responses, from.xyz());
        let to = apply(&responses, to.xyz());
        let gains = diagonal(std::array::from_fn(|i| to[i] / from[i]));
        multiply(&inverse(&responses), &multiply(&gains, &responses))
    }
}
