//! How tools are left waiting: groups of runs that are alike in that, and how often each group failed. Owns the grouping
//! and its number of groups; the only place that knows linfa's mixtures. Must not say that a habit is a cause.

use super::run::{Features, ToolRun};
use crate::estimate::{Confidence, Estimate, Refusal, count, rate};
use crate::units::{Celsius, Seconds};
use linfa::DatasetBase;
use linfa::traits::Fit as _;
use linfa_clustering::GaussianMixtureModel;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use ndarray::{Array2, Axis};

/// Runs under which there are no habits, only runs.
const MIN_RUNS: usize = 20;
/// A group of fewer is no habit.
const GROUP_RUNS: usize = 8;
/// More groups than these nobody tells apart.
const MAX_GROUPS: usize = 4;
/// No run counts as further out than so many standard deviations.
const FAR: f64 = 4.0;
/// A group more has to be worth so much, nats: "very strong" evidence in the words of Kass and Raftery, JASA 90 (1995) 773.
const WORTH: f64 = 5.0;
/// A run has to belong to its group with this probability on average: groups about three standard deviations apart. Nearer
/// ones may as well be one that is not Normal.
const CERTAIN: f64 = 0.95;
/// Added to each variance, in squared standard deviations: settings come in steps, and a group that waits at exactly one
/// temperature would else be infinitely likely.
const BLUR: f64 = 0.01;
/// The mixture is fitted on at most so many runs, evenly over the record; all of them are then assigned. More would make
/// groups of what are only corners of one.
const FITTED_RUNS: usize = 500;

/// Runs that are alike in how the tool waited.
#[derive(Clone, Debug, PartialEq)]
pub struct Habit {
    /// Runs in it.
    pub n: usize,
    /// Median of the longest wait of a run.
    pub wait_longest: Seconds,
    /// Median of the mean temperature while waiting.
    pub idle_mean: Celsius,
    /// Median of the tool changes an hour; `None` where they are known of fewer than four runs in five of the record, and
    /// so had no part in the grouping.
    pub changes_per_hour: Option<f64>,
    /// Its runs with a known outcome in which the failure mode happened.
    pub events: usize,
    /// Their share of its runs with a known outcome, with its exact 90 % interval. Outcomes had no part in the
    /// grouping, so the interval holds as it stands, but for runs of one print that share their fate.
    pub rate: Result<Estimate, Refusal>,
}

/// The habits of a record.
#[derive(Clone, Debug, PartialEq)]
pub struct Habits {
    /// The groups, longest wait first. One alone means that the runs are of one kind.
    pub groups: Vec<Habit>,
    /// For each run the place of its group; `None` where it is not known how the tool waited.
    pub members: Vec<Option<usize>>,
}

/// Groups `runs` by their longest wait (logarithmic), mean idle temperature and tool changes an hour (logarithmic), each
/// in standard deviations: a mixture of one to four Normal distributions, their number by the integrated completed
/// likelihood (Biernacki, Celeux and Govaert, IEEE PAMI 22 (2000) 719), which, unlike the likelihood, is not raised by
/// describing one odd-shaped group with several that overlap. The same runs give the same groups.
///
/// # Errors
/// With fewer than 20 runs of which it is known how the tool waited.
pub fn habits(runs: &[ToolRun], happened: &[Option<bool>]) -> Result<Habits, Refusal> {
    let changes_n = runs.iter().filter(|run| changes_per_hour(&run.features).is_some()).count();
    let by_changes = 5 * changes_n >= 4 * runs.len();
    let rows: Vec<Option<Vec<f64>>> = runs.iter().map(|run| row(&run.features, by_changes)).collect();
    let known: Vec<usize> = (0..runs.len()).filter(|run| rows[*run].is_some()).collect();
    if known.len() < MIN_RUNS {
        return Err(Refusal::TooFew { have: known.len(), need: MIN_RUNS });
    }
    let groups = assign(&standardised(&rows.into_iter().flatten().collect::<Vec<_>>()));
    let mut kinds: Vec<(Habit, Vec<usize>)> = (0..=groups.iter().copied().max().unwrap_or(0))
        .map(|group| known.iter().zip(&groups).filter(|(_, of)| **of == group).map(|(run, _)| *run).collect())
        .filter_map(|inside: Vec<usize>| Some((habit(runs, happened, &inside, by_changes)?, inside)))
        .collect();
    kinds.sort_by(|(a, _), (b, _)| b.wait_longest.get().total_cmp(&a.wait_longest.get()));
    let mut members = vec![None; runs.len()];
    for (place, (_, inside)) in kinds.iter().enumerate() {
        for run in inside {
            members[*run] = Some(place);
        }
    }
    Ok(Habits { groups: kinds.into_iter().map(|(habit, _)| habit).collect(), members })
}

fn changes_per_hour(features: &Features) -> Option<f64> {
    let hours = features.print_length?.as_minutes() / 60.0;
    (hours > 0.0).then_some(count(features.tool_changes?) / hours)
}

fn row(features: &Features, by_changes: bool) -> Option<Vec<f64>> {
    let wait = features.wait_longest?.as_minutes();
    let mut row = vec![wait.ln_1p(), features.idle_mean?.get()];
    if by_changes {
        row.push(changes_per_hour(features)?.ln_1p());
    }
    row.iter().all(|value| value.is_finite()).then_some(row)
}

/// The columns that vary, each less its mean over its standard deviation.
fn standardised(rows: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let width = rows.first().map_or(0, Vec::len);
    let scales = (0..width).filter_map(|at| {
        let mean = rows.iter().map(|row| row[at]).sum::<f64>() / count(rows.len());
        let variance = rows.iter().map(|row| (row[at] - mean).powi(2)).sum::<f64>() / count(rows.len());
        // What differs in its last bit only does not vary.
        (variance.sqrt() > 1e-9 * (1.0 + mean.abs())).then_some((at, mean, variance.sqrt()))
    });
    let scales: Vec<(usize, f64, f64)> = scales.collect();
    let scale = |row: &Vec<f64>| {
        scales.iter().map(|(at, mean, deviation)| ((row[*at] - mean) / deviation).clamp(-FAR, FAR)).collect()
    };
    rows.iter().map(scale).collect()
}

/// The group of each row, numbered from 0.
fn assign(rows: &[Vec<f64>]) -> Vec<usize> {
    let one = vec![0; rows.len()];
    if rows.first().is_none_or(Vec::is_empty) {
        return one;
    }
    let every = rows.len().div_ceil(FITTED_RUNS);
    let fitted: Vec<Vec<f64>> = rows.iter().step_by(every).cloned().collect();
    let mut best = (f64::NEG_INFINITY, one);
    for groups in 1..=MAX_GROUPS {
        let Some(mixture) = Mixture::of(&fitted, groups) else { continue };
        let assigned: Vec<usize> = rows.iter().map(|row| mixture.closest(row).0).collect();
        let smallest = (0..groups).map(|group| assigned.iter().filter(|of| **of == group).count()).min();
        let worth = mixture.completed_likelihood(&fitted);
        let is_clear = mixture.certainty(&fitted) >= CERTAIN && smallest >= Some(GROUP_RUNS);
        if groups == 1 || (is_clear && worth > best.0 + WORTH) {
            best = (worth, assigned);
        }
    }
    best.1
}

/// Normal distributions with their shares.
struct Mixture {
    parts: Vec<Part>,
}

struct Part {
    mean: DVector<f64>,
    spread: Cholesky<f64, Dyn>,
    /// Logarithm of its share times the density at its mean.
    peak: f64,
}

impl Mixture {
    /// Fits so many by expectation and maximisation, from a grouping by nearest means with a fixed seed; `None` where
    /// that does not converge or a group is left empty.
    fn of(rows: &[Vec<f64>], groups: usize) -> Option<Self> {
        let width = rows.first().map_or(0, Vec::len);
        let records = Array2::from_shape_vec((rows.len(), width), rows.concat()).ok()?;
        let found = GaussianMixtureModel::params(groups)
            .reg_covariance(BLUR)
            .tolerance(1e-4)
            .max_n_iterations(200)
            .fit(&DatasetBase::from(records))
            .ok()?;
        let each = found.weights().iter().zip(found.means().axis_iter(Axis(0)));
        let parts = each.zip(found.covariances().axis_iter(Axis(0))).map(|((share, mean), covariance)| {
            let spread = Cholesky::new(DMatrix::from_iterator(width, width, covariance.iter().copied()))?;
            let log_root: f64 = spread.l_dirty().diagonal().iter().map(|value| value.ln()).sum();
            let peak = share.ln() - log_root - 0.5 * count(width) * std::f64::consts::TAU.ln();
            Some(Part { mean: DVector::from_iterator(width, mean.iter().copied()), spread, peak })
        });
        parts.collect::<Option<Vec<Part>>>().map(|parts| Self { parts })
    }

    /// For each part, the logarithm of its share times its density at a row.
    fn log_densities(&self, row: &[f64]) -> impl Iterator<Item = f64> {
        self.parts.iter().map(|part| {
            let off = DVector::from_column_slice(row) - &part.mean;
            part.peak - 0.5 * off.dot(&part.spread.solve(&off))
        })
    }

    /// The part that a row most likely comes from, and the logarithm of its share times its density there.
    fn closest(&self, row: &[f64]) -> (usize, f64) {
        let each = self.log_densities(row).enumerate();
        each.fold((0, f64::NEG_INFINITY), |best, next| if next.1 > best.1 { next } else { best })
    }

    /// Mean probability that a row comes from the part closest to it.
    fn certainty(&self, rows: &[Vec<f64>]) -> f64 {
        let of = |row: &Vec<f64>| {
            let (_, closest) = self.closest(row);
            1.0 / self.log_densities(row).map(|log_density| (log_density - closest).exp()).sum::<f64>()
        };
        rows.iter().map(of).sum::<f64>() / count(rows.len())
    }

    /// Log-likelihood of rows and groups together, less half the logarithm of the rows' number for each free parameter.
    fn completed_likelihood(&self, rows: &[Vec<f64>]) -> f64 {
        let width = rows.first().map_or(0, Vec::len);
        let free = self.parts.len() * (1 + width + width * (width + 1) / 2) - 1;
        let likelihood: f64 = rows.iter().map(|row| self.closest(row).1).sum();
        likelihood - 0.5 * count(free) * count(rows.len()).ln()
    }
}

/// What a group's runs have in common; `None` for a group without runs.
fn habit(runs: &[ToolRun], happened: &[Option<bool>], inside: &[usize], by_changes: bool) -> Option<Habit> {
    let over =
        |read: &dyn Fn(&Features) -> Option<f64>| median(inside.iter().filter_map(|run| read(&runs[*run].features)));
    let outcomes: Vec<bool> = inside.iter().filter_map(|run| happened.get(*run).copied().flatten()).collect();
    let events = outcomes.iter().filter(|yes| **yes).count();
    Some(Habit {
        n: inside.len(),
        wait_longest: Seconds::new(over(&|run| run.wait_longest.map(Seconds::get))?),
        idle_mean: Celsius::new(over(&|run| run.idle_mean.map(Celsius::get))?),
        changes_per_hour: over(&changes_per_hour).filter(|_| by_changes),
        events,
        rate: rate(events, outcomes.len(), Confidence::Percent90),
    })
}

fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let upper = *values.get(values.len() / 2)?;
    Some(if values.len().is_multiple_of(2) { f64::midpoint(values[values.len() / 2 - 1], upper) } else { upper })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;
