//! A linear model with Gaussian errors and Gaussian priors: what is believed of its parameters after
//! data. Bishop, Pattern Recognition and Machine Learning (2006), equations 3.50 and 3.51, with a
//! diagonal prior.

/// One observation: `value = Σ coefficient × parameter + noise`.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Parameter and its coefficient; all others have none.
    pub terms: Vec<(usize, f64)>,
    /// What was observed.
    pub value: f64,
    /// Standard deviation of its noise.
    pub sd: f64,
}

/// Mean and covariance of all parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct Belief {
    /// Of each parameter.
    pub mean: Vec<f64>,
    /// Of each pair.
    pub covariance: Vec<Vec<f64>>,
}

impl Belief {
    /// Mean and standard deviation of a sum of parameters.
    pub fn sum(&self, parameters: &[usize]) -> (f64, f64) {
        let mean = parameters.iter().map(|p| self.mean[*p]).sum();
        let pairs = parameters
            .iter()
            .flat_map(|a| parameters.iter().map(move |b| self.covariance[*a][*b]));
        (mean, pairs.sum::<f64>().max(0.0).sqrt())
    }
}

/// What is believed after the observations; every parameter is thought to lie about zero before, with
/// its standard deviation (over zero) in `prior_sd`.
pub fn believe(prior_sd: &[f64], observations: &[Observation]) -> Belief {
    let n = prior_sd.len();
    let mut precision = vec![vec![0.0; n]; n];
    let mut pull = vec![0.0; n];
    for (i, sd) in prior_sd.iter().enumerate() {
        precision[i][i] = 1.0 / (sd * sd);
    }
    for o in observations {
        let weight = 1.0 / (o.sd * o.sd);
        for (a, ca) in &o.terms {
            pull[*a] += weight * ca * o.value;
            for (b, cb) in &o.terms {
                precision[*a][*b] += weight * ca * cb;
            }
        }
    }
    let covariance = inverse(&precision);
    let mean = covariance
        .iter()
        .map(|row| row.iter().zip(&pull).map(|(c, p)| c * p).sum())
        .collect();
    Belief { mean, covariance }
}

/// The inverse of a symmetric positive definite matrix, by its Cholesky factor (the prior makes every
/// precision matrix such a one).
fn inverse(of: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let n = of.len();
    let mut lower = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            lower[i][j] = match i == j {
                true => (of[i][i] - dot).max(f64::MIN_POSITIVE).sqrt(),
                false => (of[i][j] - dot) / lower[j][j],
            };
        }
    }
    let mut inverse = vec![vec![0.0; n]; n];
    for column in 0..n {
        let mut x = vec![0.0; n];
        for i in 0..n {
            let one = f64::from(u8::from(i == column));
            let dot: f64 = (0..i).map(|k| lower[i][k] * x[k]).sum();
            x[i] = (one - dot) / lower[i][i];
        }
        for i in (0..n).rev() {
            let dot: f64 = (i + 1..n).map(|k| lower[k][i] * x[k]).sum();
            x[i] = (x[i] - dot) / lower[i][i];
        }
        for (row, value) in inverse.iter_mut().zip(x) {
            row[column] = value;
        }
    }
    inverse
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gelman et al., Bayesian Data Analysis (3rd edition, 2013), equation 2.12: a normal mean with a
    /// normal prior; precisions add, means are weighted by them.
    #[test]
    fn one_mean_is_weighted_by_precisions() {
        let observe = |value| Observation {
            terms: vec![(0, 1.0)],
            value,
            sd: 0.5,
        };
        let belief = believe(&[1.0], &[observe(1.0), observe(2.0)]);
        // Precision 1 + 4 + 4, mean 4 (1 + 2) / 9.
        assert!((belief.mean[0] - 12.0 / 9.0).abs() < 1e-12);
        assert!((belief.covariance[0][0] - 1.0 / 9.0).abs() < 1e-12);
    }

    #[test]
    fn a_sum_is_known_better_than_its_parts() {
        let both = Observation {
            terms: vec![(0, 1.0), (1, 1.0)],
            value: 1.0,
            sd: 0.01,
        };
        let belief = believe(&[0.4, 0.3], &[both]);
        let (sum, sd) = belief.sum(&[0, 1]);
        assert!((sum - 1.0).abs() < 0.001 && sd < 0.011);
        // Shared out by their prior variances, 16 : 9.
        assert!((belief.mean[0] / belief.mean[1] - 16.0 / 9.0).abs() < 1e-9);
        assert!(belief.sum(&[0]).1 > 0.2);
    }
}
