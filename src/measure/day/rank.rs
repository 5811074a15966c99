//! Which slip explains a difference best.
//!
//! Each cause is one number that may be off: a tape, an angle, a dial. By it the readings change as
//! [`Cause::effect_stops`] says; what remains is the meter's own error, and a common part for all the
//! small things at once. Bayes: a cause's weight is its plausibility beforehand, times the readings'
//! likelihood averaged over what the number may plausibly be.

use super::cause::{Cause, CauseKind};
use serde::Serialize;

/// Standard deviation of all small things together, stops: a set is never put up quite as drawn
/// (common practice, from memory).
pub const SMALL_THINGS_STOPS: f64 = 0.08;

/// A cause, weighed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ranked {
    /// What it is.
    pub kind: CauseKind,
    /// In words, with its number: "the key 18 cm nearer".
    pub says: String,
    /// How likely it was thought before, and why so.
    pub beforehand: String,
    /// Probability, given the readings, that it is this one of those weighed.
    pub probability: f64,
    /// What it would add to each reading, stops.
    pub explains_stops: Vec<f64>,
    /// What it leaves of each, stops.
    pub leaves_stops: Vec<f64>,
}

/// Weighs causes against the same readings: their differences and standard deviations, stops. The
/// likeliest comes first.
pub fn rank(causes: &[Cause], differences: &[f64], sds: &[f64]) -> Vec<Ranked> {
    let weighed: Vec<(f64, f64)> = causes
        .iter()
        .map(|cause| weigh(cause, differences, sds))
        .collect();
    let total: f64 = weighed.iter().map(|(weight, _)| weight).sum();
    let mut ranked: Vec<Ranked> = causes
        .iter()
        .zip(&weighed)
        .map(|(cause, (weight, x))| {
            let explains = cause.effect_stops(*x);
            let left = differences.iter().zip(&explains).map(|(d, e)| d - e);
            Ranked {
                kind: cause.kind,
                says: (cause.words)(*x),
                beforehand: cause.beforehand.clone(),
                probability: if total > 0.0 { weight / total } else { 0.0 },
                leaves_stops: left.collect(),
                explains_stops: explains,
            }
        })
        .collect();
    ranked.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    ranked
}

/// A cause's weight, and the likeliest value of its number.
fn weigh(cause: &Cause, differences: &[f64], sds: &[f64]) -> (f64, f64) {
    let mut sum = 0.0;
    let mut best = (f64::NEG_INFINITY, 0.0);
    for (x, prior) in cause.prior() {
        let effect = cause.effect_stops(x);
        let left: Vec<f64> = differences
            .iter()
            .zip(&effect)
            .map(|(d, e)| d - e)
            .collect();
        let log_likelihood = log_normal(&left, sds);
        sum += prior * log_likelihood.exp();
        let here = prior.ln() + log_likelihood;
        if here > best.0 {
            best = (here, x);
        }
    }
    (cause.plausibility * sum, best.1)
}

/// Logarithm of the density of what is left: independent errors and one that all share, by the
/// Sherman-Morrison formula and the matrix determinant lemma.
fn log_normal(left: &[f64], sds: &[f64]) -> f64 {
    let shared = SMALL_THINGS_STOPS * SMALL_THINGS_STOPS;
    let weights = sds.iter().map(|sd| 1.0 / (sd * sd));
    let (mut squares, mut sum, mut precision, mut log_sd) = (0.0, 0.0, 0.0, 0.0);
    for ((l, sd), w) in left.iter().zip(sds).zip(weights) {
        squares += w * l * l;
        sum += w * l;
        precision += w;
        log_sd += sd.ln();
    }
    let more = 1.0 + shared * precision;
    -0.5 * (squares - shared * sum * sum / more) - log_sd - 0.5 * more.ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_readings_agree_with_the_bivariate_normal() {
        // Variances a = b = 0.04 + 0.0064, covariance 0.0064: the textbook density without its 2π.
        let (x, y): (f64, f64) = (0.3, -0.1);
        let (a, c): (f64, f64) = (0.04 + 0.0064, 0.0064);
        let det = a * a - c * c;
        let wanted = -0.5 * (a * x * x - 2.0 * c * x * y + a * y * y) / det - 0.5 * det.ln();
        assert!((log_normal(&[x, y], &[0.2, 0.2]) - wanted).abs() < 1e-9);
    }
}
