//! Ridge logistic regression and how sure it is. The only place that knows linfa and ndarray: rows and slices in,
//! numbers or a refusal out.

use crate::estimate::{Refusal, count};
use linfa::DatasetBase;
use linfa::traits::Fit as _;
use linfa_logistic::LogisticRegression;
use ndarray::{Array1, Array2};

/// Iterations that a fit may take; a fit of this size needs some thirty.
const ITERATIONS: u16 = 300;
/// What a fit says that ended elsewhere than at its optimum.
pub(super) const STUCK: Refusal = Refusal::DidNotConverge { after: ITERATIONS };
/// The solver stops when the slope of the loss is under this.
const STEEP: f64 = 1e-6;
/// A fit whose loss is steeper than this for each run is refused. The solver may stop early on losses that no longer
/// differ in their last bit, well under this.
const TOO_STEEP: f64 = 1e-5;

/// A fitted model: log-odds = intercept + slopes · row.
#[derive(Debug)]
pub(super) struct Fit {
    pub(super) intercept: f64,
    pub(super) slopes: Vec<f64>,
}

impl Fit {
    /// Minimises the sum of log losses + `ridge`/2 · |slopes|², the intercept free: the posterior mode under
    /// independent Normal(0, 1/`ridge`) priors on the slopes.
    pub(super) fn of(rows: &[Vec<f64>], happened: &[bool], ridge: f64) -> Result<Self, Refusal> {
        let events = happened.iter().filter(|yes| **yes).count();
        if events == 0 {
            return Err(Refusal::NoEvents);
        }
        if events == happened.len() {
            return Err(Refusal::OneClassOnly);
        }
        let width = rows.first().map_or(0, Vec::len);
        let records = Array2::from_shape_vec((rows.len(), width), rows.concat()).map_err(|_| STUCK)?;
        let data = DatasetBase::new(records, Array1::from(happened.to_vec()));
        // linfa models the odds of the more frequent class; the fit starts from its share, no factor mattering.
        let odds = count(events) / count(happened.len() - events);
        let mut start = Array1::zeros(width + 1);
        start[width] = odds.ln().abs();
        let model = LogisticRegression::default()
            .initial_params(start)
            .alpha(ridge)
            .max_iterations(ITERATIONS.into())
            .gradient_tolerance(STEEP)
            .fit(&data)
            .map_err(|_| STUCK)?;
        let sign = if model.labels().pos.class { 1.0 } else { -1.0 };
        let found = Self {
            intercept: sign * model.intercept(),
            slopes: model.params().iter().map(|slope| sign * slope).collect(),
        };
        // The solver does not say whether it stopped at the optimum or at its limit.
        let steepest = found.gradient(rows, happened, ridge).into_iter().map(f64::abs).fold(0.0, f64::max);
        (steepest <= TOO_STEEP * count(rows.len())).then_some(found).ok_or(STUCK)
    }

    /// Probability of the event for a row.
    pub(super) fn probability(&self, row: &[f64]) -> f64 {
        let odds: f64 = self.intercept + self.slopes.iter().zip(row).map(|(slope, value)| slope * value).sum::<f64>();
        1.0 / (1.0 + (-odds).exp())
    }

    fn gradient(&self, rows: &[Vec<f64>], happened: &[bool], ridge: f64) -> Vec<f64> {
        let mut gradient: Vec<f64> = self.slopes.iter().map(|slope| ridge * slope).chain([0.0]).collect();
        for (row, yes) in rows.iter().zip(happened) {
            let miss = self.probability(row) - if *yes { 1.0 } else { 0.0 };
            for (sum, value) in gradient.iter_mut().zip(row.iter().chain(&[1.0])) {
                *sum += miss * value;
            }
        }
        gradient
    }

    /// Covariance of the slopes, then of the intercept, from the penalised information at the fit:
    /// (Xᵀ W X + ridge · I)⁻¹, the intercept not penalised.
    pub(super) fn covariance(&self, rows: &[Vec<f64>], ridge: f64) -> Result<Vec<Vec<f64>>, Refusal> {
        let size = self.slopes.len() + 1;
        let mut information = vec![vec![0.0; size]; size];
        for (at, line) in information.iter_mut().enumerate().take(size - 1) {
            line[at] = ridge;
        }
        for row in rows {
            let p = self.probability(row);
            let full: Vec<f64> = row.iter().copied().chain([1.0]).collect();
            for (line, a) in information.iter_mut().zip(&full) {
                for (cell, b) in line.iter_mut().zip(&full) {
                    *cell += p * (1.0 - p) * a * b;
                }
            }
        }
        inverse(&information).ok_or(STUCK)
    }
}

/// The lower triangle L with L Lᵀ = `matrix`; `None` unless it is positive definite.
fn cholesky(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let mut lower = vec![vec![0.0; matrix.len()]; matrix.len()];
    for i in 0..matrix.len() {
        for j in 0..=i {
            let done: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            let left = matrix[i][j] - done;
            if i == j {
                if left <= 1e-12 * matrix[i][i] {
                    return None;
                }
                lower[i][i] = left.sqrt();
            } else {
                lower[i][j] = left / lower[j][j];
            }
        }
    }
    Some(lower)
}

/// The solution y of L y = `right`.
fn forward_substitute(lower: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let mut solved: Vec<f64> = Vec::with_capacity(right.len());
    for (line, value) in lower.iter().zip(right) {
        let done: f64 = line.iter().zip(&solved).map(|(a, b)| a * b).sum();
        solved.push((value - done) / line[solved.len()]);
    }
    solved
}

/// (L Lᵀ)⁻¹ from the columns of L⁻¹; `None` unless `matrix` is positive definite.
fn inverse(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let lower = cholesky(matrix)?;
    let unit = |at: usize| (0..matrix.len()).map(|i| if i == at { 1.0 } else { 0.0 }).collect::<Vec<f64>>();
    let columns: Vec<Vec<f64>> = (0..matrix.len()).map(|at| forward_substitute(&lower, &unit(at))).collect();
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum();
    Some(columns.iter().map(|a| columns.iter().map(|b| product(a, b)).collect()).collect())
}

/// How far `slopes` are from nought in terms of their `covariance`: bᵀ V⁻¹ b (Wald), chi-squared with as many degrees
/// of freedom as there are slopes if none of them matters.
pub(super) fn distance(slopes: &[f64], covariance: &[Vec<f64>]) -> Option<f64> {
    Some(forward_substitute(&cholesky(covariance)?, slopes).into_iter().map(|value| value * value).sum())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    /// Petal lengths, cm, of Fisher's irises, Annals of Eugenics 7 (1936) 179: 50 setosa, then 50 versicolor.
    const SETOSA: [f64; 50] = [
        1.4, 1.4, 1.3, 1.5, 1.4, 1.7, 1.4, 1.5, 1.4, 1.5, 1.5, 1.6, 1.4, 1.1, 1.2, 1.5, 1.3, 1.4, 1.7, 1.5, 1.7, 1.5,
        1.0, 1.7, 1.9, 1.6, 1.6, 1.5, 1.4, 1.6, 1.6, 1.5, 1.5, 1.4, 1.5, 1.2, 1.3, 1.4, 1.3, 1.5, 1.3, 1.3, 1.3, 1.6,
        1.9, 1.4, 1.6, 1.4, 1.5, 1.4,
    ];
    const VERSICOLOR: [f64; 50] = [
        4.7, 4.5, 4.9, 4.0, 4.6, 4.5, 4.7, 3.3, 4.6, 3.9, 3.5, 4.2, 4.0, 4.7, 3.6, 4.4, 4.5, 4.1, 4.5, 3.9, 4.8, 4.0,
        4.9, 4.7, 4.3, 4.4, 4.8, 5.0, 4.5, 3.5, 3.8, 3.7, 3.9, 5.1, 4.5, 4.5, 4.7, 4.4, 4.1, 4.0, 4.4, 4.6, 4.0, 3.3,
        4.2, 4.2, 4.2, 4.3, 3.0, 4.1,
    ];

    fn close(found: f64, right: f64, within: f64) {
        assert!((found - right).abs() < within, "{found} against {right}");
    }

    /// Ridge fit of separated data with prior variance 1: intercept -7.88572364 (standard error 1.388036), slope
    /// 2.89999765 (0.489879), as scikit-learn 1.9.1 with C = 1 and an independent Newton iteration give it.
    #[test]
    fn ridge_fit_agrees_with_another_library() {
        let rows: Vec<Vec<f64>> = SETOSA.iter().chain(&VERSICOLOR).map(|length| vec![*length]).collect();
        let versicolor: Vec<bool> = (0..100).map(|row| row >= 50).collect();
        let found = Fit::of(&rows, &versicolor, 1.0).unwrap();
        close(found.intercept, -7.885_723_64, 1e-5);
        close(found.slopes[0], 2.899_997_65, 1e-5);
        let spread = found.covariance(&rows, 1.0).unwrap();
        close(spread[0][0].sqrt(), 0.489_879, 1e-5);
        close(spread[1][1].sqrt(), 1.388_036, 1e-5);
    }

    /// Budworm mortality, Venables and Ripley, Modern Applied Statistics with S, section 7.2: twenty moths for each
    /// dose and sex. Maximum likelihood: constant -3.473155 (0.468520), male 1.100743 (0.355827), log2 dose 1.064214
    /// (0.131077). A ridge of 1e-6 moves none of them in the digits compared.
    #[test]
    fn weak_ridge_agrees_with_maximum_likelihood() {
        let dead = [(1.0, [1, 4, 9, 13, 18, 20]), (0.0, [0, 2, 6, 10, 12, 16])];
        let (mut rows, mut happened) = (Vec::new(), Vec::new());
        for (male, killed) in dead {
            for (dose, killed) in killed.into_iter().enumerate() {
                rows.extend(std::iter::repeat_n(vec![male, count(dose)], 20));
                happened.extend((0..20).map(|moth| moth < killed));
            }
        }
        let found = Fit::of(&rows, &happened, 1e-6).unwrap();
        let spread = found.covariance(&rows, 1e-6).unwrap();
        for (found, right) in found.slopes.iter().chain([&found.intercept]).zip([1.100_743, 1.064_214, -3.473_155]) {
            close(*found, right, 1e-5);
        }
        for (at, right) in [0.355_827, 0.131_077, 0.468_520].into_iter().enumerate() {
            close(spread[at][at].sqrt(), right, 1e-5);
        }
    }

    /// A factor on a scale of a million beside one on a scale of a millionth is more than the solver manages.
    #[test]
    fn a_fit_that_ends_away_from_its_optimum_is_refused() {
        let rows: Vec<Vec<f64>> =
            (0..40).map(|row| vec![1e6 * f64::from(row % 7) + 1e8, 1e-6 * f64::from(row % 5)]).collect();
        let happened: Vec<bool> = (0..40).map(|row| row % 3 == 0).collect();
        let found = Fit::of(&rows, &happened, 1e-9);
        assert!(matches!(found, Err(Refusal::DidNotConverge { .. })), "{found:?}");
    }

    /// One slope's distance is its squared z; two slopes' is worked by hand: V⁻¹ of (2 1; 1 2) is (2 -1; -1 2)/3.
    #[test]
    fn distance_weighs_slopes_by_their_covariance() {
        close(distance(&[3.0], &[vec![4.0]]).unwrap(), 2.25, 1e-12);
        close(distance(&[1.0, 2.0], &[vec![2.0, 1.0], vec![1.0, 2.0]]).unwrap(), 2.0, 1e-12);
    }

    #[test]
    fn one_class_is_refused() {
        let rows = vec![vec![0.0], vec![1.0]];
        assert_eq!(Fit::of(&rows, &[false, false], 1.0).unwrap_err(), Refusal::NoEvents);
        assert_eq!(Fit::of(&rows, &[true, true], 1.0).unwrap_err(), Refusal::OneClassOnly);
    }
}
