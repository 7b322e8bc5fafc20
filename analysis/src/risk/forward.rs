//! Forecasts each run from what was known before its print, and keeps account of how that went against the running
//! rate. Owns the mixture of models; must never let a forecast see the outcome of its own print, or a later word.
//!
//! The forecast is a mixture, weighted by how well each member forecast so far: the running rate, which starts with
//! half of the weight, and ridge fits on all factors, on those of each group, and on each factor alone, which share the
//! other half. So the forecast can't fall behind the running rate by more than ln 2 nats over a whole record, however
//! many factors there are; and a record in which one factor matters need not pay for the noise in the others.

use super::design::Design;
use super::fit::Fit;
use super::run::{COLUMNS, Column, Features, Group, Told, ToolRun};
use super::score::surprise;
use crate::estimate::count;

/// Precision of the prior on each slope: Normal(0, 0.5) on the log-odds for a standard deviation of a factor, which
/// makes a change of the odds by more than 2.7 in either direction a one-in-twenty affair. A proposal, no source.
pub(super) const RIDGE: f64 = 4.0;
/// Events and runs without which a model is not tried: with fewer, the prior would speak alone.
pub(super) const MODEL_EVENTS: usize = 4;
pub(super) const MODEL_RUNS: usize = 20;
/// A model is fitted anew when the record has grown by a tenth and four runs: each refit then costs as much as it can
/// change.
const GROWTH: usize = 10;
const GROWTH_LEAST: usize = 4;

/// Forecasts and their account.
#[derive(Debug, Default)]
pub(super) struct Forward {
    /// One for each run; `None` before anything was known.
    pub(super) predictions: Vec<Option<f64>>,
    /// Runs that a model forecast and whose outcome is known.
    pub(super) forecasts: Vec<f64>,
    pub(super) bases: Vec<f64>,
    pub(super) outcomes: Vec<bool>,
    /// For each print: how much less surprised the forecasts of its runs were than the running rate, nats, and how
    /// many runs that were.
    gains: Vec<(f64, usize)>,
    /// Products of the running rate's misses over all pairs of runs of one print, and what they would come to if the
    /// runs of a print always shared one fate.
    shared: f64,
    shared_most: f64,
}

/// A model's forecast of a run, and the running rate beside it.
#[derive(Clone, Copy, Debug)]
struct Made {
    forecast: f64,
    base: f64,
}

/// What is known before a print.
#[derive(Debug, Default)]
pub(super) struct Past<'a> {
    pub(super) runs: Vec<&'a Features>,
    pub(super) happened: Vec<bool>,
    pub(super) events: usize,
}

impl<'a> Past<'a> {
    /// Everything that is known at last.
    pub(super) fn of(runs: &'a [ToolRun], happened: &[Option<bool>]) -> Self {
        let mut past = Self::default();
        for (run, yes) in runs.iter().zip(happened) {
            if let Some(yes) = *yes {
                past.add(run, yes);
            }
        }
        past
    }

    fn add(&mut self, run: &'a ToolRun, happened: bool) {
        self.runs.push(&run.features);
        self.happened.push(happened);
        self.events += usize::from(happened);
    }

    /// (events + 1/2) / (n + 1), the estimator of Krichevsky and Trofimov; `None` before the first known outcome.
    fn running_rate(&self) -> Option<f64> {
        (!self.runs.is_empty()).then(|| (count(self.events) + 0.5) / (count(self.runs.len()) + 1.0))
    }

    /// Whether there is enough to try a model on.
    pub(super) fn is_enough(&self) -> bool {
        self.events >= MODEL_EVENTS && self.runs.len() >= MODEL_RUNS
    }
}

/// Forecasts every run from what had been told before its print. `told` is in order of `before`.
pub(super) fn forward(runs: &[ToolRun], told: &[Told]) -> Forward {
    Ahead::of(runs, told).account
}

/// What is known when all has been heard, and the account of how it went.
pub(super) struct Ahead<'a> {
    pub(super) account: Forward,
    pub(super) past: Past<'a>,
    mixture: Mixture,
}

impl<'a> Ahead<'a> {
    /// Goes through the whole record.
    pub(super) fn of(runs: &'a [ToolRun], told: &[Told]) -> Self {
        let mut predictions = Vec::with_capacity(runs.len());
        let mut made = Vec::with_capacity(runs.len());
        let mut state = Known { runs, happened: vec![None; runs.len()], past: Past::default() };
        let mut mixture = Mixture::new();
        let mut ahead = told;
        for print in runs.chunk_by(|a, b| a.print == b.print) {
            let number = print.first().map_or(0, |run| run.print);
            let (heard, later) = ahead.split_at(ahead.partition_point(|word| word.before <= number));
            ahead = later;
            state.hear(heard, &mut mixture);
            mixture.keep_up(&state.past);
            for run in print {
                let told = state
                    .past
                    .running_rate()
                    .map(|base| Made { forecast: mixture.forecast(&run.features, base), base });
                predictions.push(told.map(|told| told.forecast));
                made.push(told.filter(|_| mixture.is_fitted()));
            }
        }
        state.hear(ahead, &mut mixture);
        mixture.keep_up(&state.past);
        let mut account = Forward { predictions, ..Forward::default() };
        account.settle(runs, &made, &state.happened);
        Self { account, past: state.past, mixture }
    }

    /// What each member of the mixture says of a run that comes next, and its share of the weight; nothing
    /// without a fit on all factors.
    pub(super) fn voices(&self, next: &Features) -> Option<Vec<Voice>> {
        let base = self.past.running_rate()?;
        self.mixture.voices(next, base, &self.past)
    }
}

/// One member's belief on a run: its log-odds are Normal(`log_odds`, `error`²).
#[derive(Clone, Copy, Debug)]
pub(super) struct Voice {
    pub(super) weight: f64,
    pub(super) probability: f64,
    pub(super) log_odds: f64,
    pub(super) error: f64,
}

/// What has been told so far.
struct Known<'a> {
    runs: &'a [ToolRun],
    happened: Vec<Option<bool>>,
    past: Past<'a>,
}

impl Known<'_> {
    /// Takes in words; the models are judged by those on runs that nothing was known of.
    fn hear(&mut self, words: &[Told], mixture: &mut Mixture) {
        let (mut fresh, mut is_revised) = (Vec::new(), false);
        for word in words {
            let Some((run, held)) = self.runs.get(word.run).zip(self.happened.get_mut(word.run)) else { continue };
            match (*held, word.happened) {
                (None, Some(yes)) => fresh.push((run, yes)),
                (before, after) => is_revised |= before != after,
            }
            *held = word.happened;
        }
        if let Some(base) = self.past.running_rate().filter(|_| mixture.is_fitted()) {
            mixture.learn(&fresh, base);
        }
        if is_revised {
            self.past = Past::of(self.runs, &self.happened);
        } else {
            for (run, yes) in fresh {
                self.past.add(run, yes);
            }
        }
    }
}

impl Forward {
    /// Weight of evidence against the running rate, nats: the sum of the gains, each print's divided by its design
    /// effect 1 + rho (m - 1) for m runs that share their fate with correlation rho. With rho 1 the runs of a print
    /// tell the same thing over again, and the print counts as one.
    pub(super) fn evidence(&self) -> f64 {
        let rho = if self.shared_most > 0.0 { (self.shared / self.shared_most).clamp(0.0, 1.0) } else { 0.0 };
        self.gains.iter().map(|(gain, runs)| gain / (1.0 + rho * (count(*runs) - 1.0))).sum()
    }

    /// Scores the models' forecasts by what is known at last, print by print.
    fn settle(&mut self, runs: &[ToolRun], made: &[Option<Made>], happened: &[Option<bool>]) {
        let each: Vec<_> = runs.iter().zip(made).zip(happened).collect();
        for print in each.chunk_by(|((a, _), _), ((b, _), _)| a.print == b.print) {
            let known: Vec<(Made, bool)> = print.iter().filter_map(|((_, made), yes)| made.zip(**yes)).collect();
            if !known.is_empty() {
                self.score(&known);
            }
        }
    }

    fn score(&mut self, known: &[(Made, bool)]) {
        let (mut gain, mut misses, mut squares, mut most) = (0.0, 0.0, 0.0, 0.0);
        for (Made { forecast, base }, yes) in known {
            self.forecasts.push(*forecast);
            self.bases.push(*base);
            self.outcomes.push(*yes);
            gain += surprise(*base, *yes) - surprise(*forecast, *yes);
            let miss = base - if *yes { 1.0 } else { 0.0 };
            misses += miss;
            squares += miss * miss;
            most = base * (1.0 - base);
        }
        let pairs = count(known.len()) * (count(known.len()) - 1.0) / 2.0;
        self.gains.push((gain, known.len()));
        self.shared += (misses * misses - squares) / 2.0;
        self.shared_most += pairs * most;
    }
}

/// The running rate and the models, each with the weight it has earned.
#[derive(Debug)]
struct Mixture {
    fitted_on: usize,
    design: Option<Design>,
    /// What the members were fitted on.
    rows: Vec<Vec<f64>>,
    /// The fit on all factors, on those of each group, and on each alone; `None` where there is none.
    members: Vec<Option<Member>>,
    /// Logarithms of the weights: the running rate's, then each member's.
    weights: Vec<f64>,
}

#[derive(Debug)]
struct Member {
    columns: Vec<usize>,
    fit: Fit,
}

impl Mixture {
    fn new() -> Self {
        let shares = |members: usize, of: f64| std::iter::repeat_n((of / count(members)).ln(), members);
        let weights = shares(1, 0.5)
            .chain(shares(1, 0.1))
            .chain(shares(Group::ALL.len(), 0.2))
            .chain(shares(COLUMNS.len(), 0.2))
            .collect();
        Self { fitted_on: 0, design: None, rows: Vec::new(), members: Vec::new(), weights }
    }

    fn is_fitted(&self) -> bool {
        self.design.is_some()
    }

    /// Fits the members anew when the past has grown enough.
    fn keep_up(&mut self, past: &Past) {
        let due = self.fitted_on + self.fitted_on / GROWTH + GROWTH_LEAST;
        if !past.is_enough() || (self.is_fitted() && past.runs.len() < due) {
            return;
        }
        // In a record where nothing varies there is nothing to weigh, and the running rate stands.
        let Ok(design) = Design::of(&past.runs) else { return };
        let rows: Vec<Vec<f64>> = past.runs.iter().map(|features| design.row(features)).collect();
        let factors: Vec<_> = design.factors().collect();
        let all = (0..factors.len()).collect();
        let of_group = |wanted: Group| (0..factors.len()).filter(|at| factors[*at].1 == wanted).collect();
        let alone = |column: &Column| (0..factors.len()).filter(|at| factors[*at].0 == column.name).collect();
        let choices = std::iter::once(all).chain(Group::ALL.into_iter().map(of_group)).chain(COLUMNS.iter().map(alone));
        self.members = choices.map(|columns| Member::of(columns, &rows, &past.happened)).collect();
        self.rows = rows;
        self.design = Some(design);
        self.fitted_on = past.runs.len();
    }

    /// The forecast of the running rate and of each member. A group that the record says nothing of, or whose fit was
    /// refused, forecasts the running rate and so neither gains nor loses weight.
    fn opinions(&self, features: &Features, base: f64) -> Vec<f64> {
        let row = self.design.as_ref().map(|design| design.row(features)).unwrap_or_default();
        let said = |member: &Option<Member>| member.as_ref().map_or(base, |member| member.probability(&row));
        std::iter::once(base).chain(self.members.iter().map(said)).collect()
    }

    fn forecast(&self, features: &Features, base: f64) -> f64 {
        if !self.is_fitted() {
            return base;
        }
        let (mut sum, mut all) = (0.0, 0.0);
        for (opinion, weight) in self.opinions(features, base).into_iter().zip(self.scaled_weights()) {
            sum += opinion * weight;
            all += weight;
        }
        sum / all
    }

    /// The weights against the heaviest one.
    fn scaled_weights(&self) -> impl Iterator<Item = f64> {
        let top = self.weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        self.weights.iter().map(move |weight| (weight - top).exp())
    }

    /// `None` without a fit on all factors.
    fn voices(&self, features: &Features, base: f64, past: &Past) -> Option<Vec<Voice>> {
        let row = self.design.as_ref()?.row(features);
        // A fit on few factors is as sure as if it knew that the others do not matter, and it does not: no member's
        // belief is taken as narrower than that of the fit on all of them.
        let least = self.members.first()?.as_ref()?.error(&row, &self.rows)?;
        let all: f64 = self.scaled_weights().sum();
        let plain = (base, rate_error(past));
        let member = |member: &Option<Member>| {
            let own = |member: &Member| Some((member.probability(&row), member.error(&row, &self.rows)?));
            member.as_ref().map_or(Some(plain), own)
        };
        let said: Option<Vec<(f64, f64)>> =
            std::iter::once(Some(plain)).chain(self.members.iter().map(member)).collect();
        let voice = |((probability, error), weight): ((f64, f64), f64)| Voice {
            weight: weight / all,
            probability,
            log_odds: (probability / (1.0 - probability)).ln(),
            error: error.max(least),
        };
        Some(said?.into_iter().zip(self.scaled_weights()).map(voice).collect())
    }

    /// Each member loses weight by how much the outcome surprised it (Bayes' rule).
    fn learn(&mut self, known: &[(&ToolRun, bool)], base: f64) {
        for (run, yes) in known {
            let opinions = self.opinions(&run.features, base);
            for (weight, opinion) in self.weights.iter_mut().zip(opinions) {
                *weight -= surprise(opinion, *yes);
            }
        }
    }
}

impl Member {
    fn of(columns: Vec<usize>, rows: &[Vec<f64>], happened: &[bool]) -> Option<Self> {
        if columns.is_empty() {
            return None;
        }
        let narrow: Vec<Vec<f64>> = rows.iter().map(|row| columns.iter().map(|at| row[*at]).collect()).collect();
        let fit = Fit::of(&narrow, happened, RIDGE).ok()?;
        Some(Self { columns, fit })
    }

    fn probability(&self, row: &[f64]) -> f64 {
        self.fit.probability(&self.narrow(row))
    }

    /// Standard error of its log-odds of a row: the root of x' V x, with V the covariance of the fit and x the row and a one.
    fn error(&self, row: &[f64], rows: &[Vec<f64>]) -> Option<f64> {
        let fitted_on: Vec<Vec<f64>> = rows.iter().map(|row| self.narrow(row)).collect();
        let covariance = self.fit.covariance(&fitted_on, RIDGE).ok()?;
        let mut full = self.narrow(row);
        full.push(1.0);
        let dot = |line: &Vec<f64>| line.iter().zip(&full).map(|(a, b)| a * b).sum::<f64>();
        let square: f64 = covariance.iter().map(dot).zip(&full).map(|(a, b)| a * b).sum();
        Some(square.sqrt())
    }

    fn narrow(&self, row: &[f64]) -> Vec<f64> {
        self.columns.iter().map(|at| row[*at]).collect()
    }
}

/// Standard error of the running rate's log-odds: that of a Beta(events + 1/2, others + 1/2), whose mean it is, by the
/// delta method: 1/a + 1/b.
fn rate_error(past: &Past) -> f64 {
    let (happened, spared) = (count(past.events) + 0.5, count(past.runs.len() - past.events) + 0.5);
    (1.0 / happened + 1.0 / spared).sqrt()
}
