//! Ridge logistic regression by linfa: the plain model that any finer one has to beat. Rows and slices in, numbers or a
//! refusal out; no type of linfa or ndarray leaves this file. Must not choose or scale factors.

use crate::estimate::{Refusal, count};
use linfa::DatasetBase;
use linfa::traits::Fit as _;
use linfa_logistic::LogisticRegression;
use ndarray::{Array1, Array2};

/// Iterations that a fit may take; a fit of this size needs some thirty.
const ITERATIONS: u16 = 300;
/// What a fit says that ended elsewhere than at its optimum.
const STUCK: Refusal = Refusal::DidNotConverge { after: ITERATIONS };
/// The solver stops when the slope of the loss is under this.
const STEEP: f64 = 1e-6;
/// A fit whose loss is steeper than this for each run is refused. The solver may stop early on losses that no longer
/// differ in their last bit, well under this.
const TOO_STEEP: f64 = 1e-5;

/// A fitted baseline: log-odds = intercept + slopes · row.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Baseline {
    intercept: f64,
    slopes: Vec<f64>,
}

impl Baseline {
    /// Minimises the sum of log losses + `ridge`/2 · |slopes|², the intercept free: the posterior mode under
    /// independent Normal(0, 1/`ridge`) priors on the slopes. Rows are of equal width, one for each of `happened`.
    ///
    /// # Errors
    /// Where the event happened never or always, or the solver ends away from the optimum.
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
    #[must_use]
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

    fn agrees(found: &Baseline, intercept: f64, slopes: &[f64], within: f64) {
        close(found.intercept, intercept, within);
        assert_eq!(found.slopes.len(), slopes.len());
        for (found, right) in found.slopes.iter().zip(slopes) {
            close(*found, *right, within);
        }
    }

    /// Separated data with prior variance 1: scikit-learn 1.9.1 with C = 1, and an independent Newton iteration.
    #[test]
    fn ridge_on_separated_data_agrees_with_another_library() {
        let rows: Vec<Vec<f64>> = SETOSA.iter().chain(&VERSICOLOR).map(|length| vec![*length]).collect();
        let versicolor: Vec<bool> = (0..100).map(|row| row >= 50).collect();
        let found = Baseline::of(&rows, &versicolor, 1.0).unwrap();
        agrees(&found, -7.885_723_64, &[2.899_997_65], 1e-5);
    }

    /// 79 patients, one factor of which separates: Heinze and Schemper, Statistics in Medicine 21 (2002) 2409; see
    /// `testdata/SOURCES.md`. Prior variance 1, raw scales: scikit-learn 1.9.1 and an independent Newton iteration.
    #[test]
    fn ridge_on_three_unscaled_factors_agrees_with_another_library() {
        let lines = include_str!("../../testdata/endometrial.csv").lines().skip(1);
        let table: Vec<Vec<f64>> =
            lines.map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect()).collect();
        let rows: Vec<Vec<f64>> = table.iter().map(|line| line[..3].to_vec()).collect();
        let high: Vec<bool> = table.iter().map(|line| line[3] > 0.5).collect();
        assert_eq!((rows.len(), high.iter().filter(|yes| **yes).count()), (79, 30));
        let found = Baseline::of(&rows, &high, 1.0).unwrap();
        agrees(&found, 2.832_673_67, &[1.623_816_97, -0.018_927_95, -2.082_724_20], 1e-5);
    }

    /// `trials` rows of each dose, of which the first so many happened.
    fn trials(doses: &[(&[f64], usize, usize)]) -> (Vec<Vec<f64>>, Vec<bool>) {
        let (mut rows, mut happened) = (Vec::new(), Vec::new());
        for (row, trials, events) in doses {
            rows.extend(std::iter::repeat_n(row.to_vec(), *trials));
            happened.extend((0..*trials).map(|trial| trial < *events));
        }
        (rows, happened)
    }

    /// Budworm mortality, Venables and Ripley, Modern Applied Statistics with S, section 7.2: twenty moths for each
    /// dose and sex. Maximum likelihood: constant -3.473155, male 1.100743, log2 dose 1.064214. A ridge of 1e-6 moves
    /// none of them in the digits compared.
    #[test]
    fn weak_ridge_agrees_with_maximum_likelihood() {
        let dead = [(1.0, [1, 4, 9, 13, 18, 20]), (0.0, [0, 2, 6, 10, 12, 16])];
        let rows: Vec<([f64; 2], usize)> = dead
            .iter()
            .flat_map(|(male, killed)| killed.iter().enumerate().map(|(dose, n)| ([*male, count(dose)], *n)))
            .collect();
        let moths: Vec<(&[f64], usize, usize)> = rows.iter().map(|(row, killed)| (&row[..], 20, *killed)).collect();
        let (rows, happened) = trials(&moths);
        agrees(&Baseline::of(&rows, &happened, 1e-6).unwrap(), -3.473_155, &[1.100_743, 1.064_214], 1e-5);
    }

    /// Beetle mortality, Bliss 1935, in Dobson, An Introduction to Generalized Linear Models. Maximum likelihood:
    /// constant -60.717455, slope 34.270326, and the expected number of dead at each dose. Doses are taken from 1.8 on,
    /// since raw ones leave the solver a valley too narrow.
    #[test]
    fn weak_ridge_expects_the_published_numbers_of_dead_beetles() {
        let doses = [1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839].map(|dose| [dose - 1.8]);
        let n = [59, 60, 62, 56, 63, 59, 62, 60];
        let killed = [6, 13, 18, 28, 52, 53, 61, 60];
        let expected = [3.4575, 9.8417, 22.4514, 33.8976, 50.0958, 53.2909, 59.2222, 58.7430];
        let beetles: Vec<(&[f64], usize, usize)> = (0..8).map(|at| (&doses[at][..], n[at], killed[at])).collect();
        let (rows, happened) = trials(&beetles);
        let found = Baseline::of(&rows, &happened, 1e-8).unwrap();
        agrees(&found, -60.717_455 + 1.8 * 34.270_326, &[34.270_326], 2e-4);
        for at in 0..8 {
            close(count(n[at]) * found.probability(&doses[at]), expected[at], 1e-4);
        }
    }

    /// A factor on a scale of a million beside one on a scale of a millionth is more than the solver manages.
    #[test]
    fn a_fit_that_ends_away_from_its_optimum_is_refused() {
        let rows: Vec<Vec<f64>> =
            (0..40).map(|row| vec![1e6 * f64::from(row % 7) + 1e8, 1e-6 * f64::from(row % 5)]).collect();
        let happened: Vec<bool> = (0..40).map(|row| row % 3 == 0).collect();
        let found = Baseline::of(&rows, &happened, 1e-9);
        assert!(matches!(found, Err(Refusal::DidNotConverge { .. })), "{found:?}");
    }

    #[test]
    fn one_class_is_refused() {
        let rows = vec![vec![0.0], vec![1.0]];
        assert_eq!(Baseline::of(&rows, &[false, false], 1.0).unwrap_err(), Refusal::NoEvents);
        assert_eq!(Baseline::of(&rows, &[true, true], 1.0).unwrap_err(), Refusal::OneClassOnly);
    }
}
