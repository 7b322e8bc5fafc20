//! Nonlinear least squares. Owns the one call of the solver, its derivatives and its limits; knows no heater.
//!
//! Levenberg and Marquardt as in MINPACK (Moré, Lecture Notes in Mathematics 630 (1978) 105), with parameters scaled by
//! their columns and derivatives by central differences.

use crate::estimate::Refusal;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};

/// Evaluations of the residuals allowed for each parameter and one more.
pub(super) const PATIENCE: u16 = 200;
/// Relative change of the sum of squares and of the parameters at which a fit is there.
const CLOSE: f64 = 1e-13;

/// A parameter whose own size, or this where it is nearly nought, changes the residuals by no more than that share of them
/// tells nothing.
const SMALL: f64 = 1e-3;
const FLAT: f64 = 1e-9;

/// The least sum of squares, and what is around it.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    /// The parameters.
    pub(super) at: DVector<f64>,
    /// What is left there of each observation.
    pub(super) residuals: DVector<f64>,
    /// Change of each residual (row) with each parameter (column).
    pub(super) slopes: DMatrix<f64>,
}

/// Finds the parameters of the least sum of squared residuals, from `start` on.
///
/// # Errors
/// Where it does not converge, a residual is no number, or a parameter changes nothing where it ends.
pub(super) fn solve(residuals: impl Fn(&DVector<f64>) -> DVector<f64>, start: DVector<f64>) -> Result<Solved, Refusal> {
    let problem = Problem { at: start, residuals };
    let solver = LevenbergMarquardt::new().with_tol(CLOSE).with_patience(usize::from(PATIENCE));
    let (problem, report) = solver.minimize(problem);
    let stops = matches!(
        report.termination,
        TerminationReason::Converged { .. }
            | TerminationReason::Orthogonal
            | TerminationReason::ResidualsZero
            // Nearer than the machine's numbers tell apart.
            | TerminationReason::NoImprovementPossible(_)
    );
    let left = (problem.residuals)(&problem.at);
    let slopes = problem.slopes();
    let is_number = left.iter().chain(slopes.iter()).chain(problem.at.iter()).all(|value| value.is_finite());
    // On flat ground nothing tells where the least is.
    let missed = left.norm();
    let is_flat = |(slope, value): (f64, &f64)| slope * value.abs().max(SMALL) <= FLAT * missed;
    let is_told = !slopes.column_iter().map(|column| column.norm()).zip(problem.at.iter()).any(is_flat);
    if stops && is_number && is_told {
        Ok(Solved { at: problem.at, residuals: left, slopes })
    } else {
        Err(Refusal::DidNotConverge { after: PATIENCE })
    }
}

struct Problem<R> {
    at: DVector<f64>,
    residuals: R,
}

impl<R: Fn(&DVector<f64>) -> DVector<f64>> Problem<R> {
    /// Central differences: the step of least error is the cube root of the machine's precision, relative to the value.
    fn slopes(&self) -> DMatrix<f64> {
        let columns: Vec<DVector<f64>> = (0..self.at.len())
            .map(|idx| {
                let value = self.at[idx];
                let step = f64::EPSILON.cbrt() * if value.abs() > 0.0 { value.abs() } else { 1.0 };
                let moved = |by: f64| {
                    let mut at = self.at.clone();
                    at[idx] = value + by;
                    ((self.residuals)(&at), at[idx])
                };
                let ((above, high), (below, low)) = (moved(step), moved(-step));
                (above - below) / (high - low)
            })
            .collect();
        DMatrix::from_columns(&columns)
    }
}

impl<R: Fn(&DVector<f64>) -> DVector<f64>> LeastSquaresProblem<f64, Dyn, Dyn> for Problem<R> {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, at: &DVector<f64>) {
        self.at.copy_from(at);
    }

    fn params(&self) -> DVector<f64> {
        self.at.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some((self.residuals)(&self.at))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.slopes())
    }
}
