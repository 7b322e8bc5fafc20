//! The plain model that the finer one has to beat: linfa's ridge on all factors as they are, fitted and asked forward
//! only, as the other one is. Owns when it is fitted; decides nothing.

use super::baseline::Baseline;
use super::measure::{MEASURES_N, Numbers, Placed};

/// Precision of each slope's prior: Normal(0, 0.5) for a standard deviation.
const RIDGE: f64 = 4.0;
/// Runs and events without which it is not tried.
const RUNS_LEAST: usize = 20;
const EVENTS_LEAST: usize = 4;
/// It is fitted anew when the record has grown by a quarter, to the newest of so many runs: its solver takes a hundred
/// times as long as the other one's.
const GROWTH: usize = 4;
const RUNS_MAX: usize = 2_000;

/// The plain model, as last fitted.
#[derive(Debug, Default)]
pub(super) struct Plain {
    fitted_on: usize,
    fit: Option<(Vec<Placed>, Baseline)>,
}

impl Plain {
    /// Fits anew when the record has grown enough.
    pub(super) fn keep_up(&mut self, past: &[(usize, bool)], numbers: &[Numbers]) {
        let growth = if self.fitted_on < RUNS_MAX { self.fitted_on / GROWTH } else { 2 * self.fitted_on };
        if past.len() < RUNS_LEAST || past.len() <= self.fitted_on + growth {
            return;
        }
        let newest = &past[past.len().saturating_sub(RUNS_MAX)..];
        if newest.iter().filter(|(_, yes)| *yes).count() < EVENTS_LEAST {
            return;
        }
        self.fitted_on = past.len();
        let runs: Vec<&Numbers> = newest.iter().map(|(run, _)| &numbers[*run]).collect();
        let happened: Vec<bool> = newest.iter().map(|(_, yes)| *yes).collect();
        let placed: Vec<Placed> = (0..MEASURES_N).filter_map(|idx| Placed::of(idx, &runs)).collect();
        let rows: Vec<Vec<f64>> = runs.iter().map(|run| row(&placed, run)).collect();
        // One that was refused leaves the last one in its place.
        if let Ok(fit) = Baseline::of(&rows, &happened, RIDGE) {
            self.fit = Some((placed, fit));
        }
    }

    /// Its forecast of a run; before it could be fitted, the running rate.
    pub(super) fn forecast(&self, run: &Numbers, base: f64) -> f64 {
        self.fit.as_ref().map_or(base, |(placed, fit)| fit.probability(&row(placed, run)))
    }
}

fn row(placed: &[Placed], run: &Numbers) -> Vec<f64> {
    placed.iter().map(|placed| placed.standard(run)).collect()
}
