//! Forecasts each run from what was known before its print, and keeps account of how that went against the running
//! rate. Owns what is known when; must never let a forecast see the outcome of its own print, or a later word.

use super::measure::{Numbers, numbers};
use super::mixture::{Evidence, Mixture};
use super::mode::FailureMode;
use super::plain::Plain;
use super::run::{Told, ToolRun};
use super::score::surprise;
use super::trust::Trust;
use crate::estimate::count;
use std::collections::{BTreeMap, BTreeSet};

/// Runs without which no explanation is tried.
const MODEL_RUNS: usize = 2;
/// Explanations are fitted anew when the record has grown by a thirty-second part and a run: each refit then costs as much as
/// it can change. Beyond a few thousand runs it has to grow by half.
const GROWTH: usize = 32;
const GROWTH_LEAST: usize = 1;
const LARGE: usize = 4_000;
/// Of a job that ended early at least so much is taken as exposed.
const EXPOSED_LEAST: f64 = 0.02;
/// And of one of which it is not told how far it came, half.
const EXPOSED_UNTOLD: f64 = 0.5;

/// Forecasts and their account.
#[derive(Debug, Default)]
pub(super) struct Forward {
    /// One for each run; `None` before anything was known.
    pub(super) predictions: Vec<Option<f64>>,
    /// Runs that a model forecast and whose outcome is known.
    pub(super) forecasts: Vec<f64>,
    pub(super) bases: Vec<f64>,
    /// What the plain model forecast.
    pub(super) plain: Vec<f64>,
    pub(super) outcomes: Vec<bool>,
    /// For each print that was completed: how much less surprised the forecasts of its runs were than those by which
    /// nothing matters, and than the running rate, nats, and how many runs that were. How a print ended early tells in
    /// how its waits were cut off, and must not count as foresight.
    gains: Vec<Gain>,
    shared: Shared,
}

/// A model's forecast of a run, and beside it the running rate, the model's if nothing mattered, and the plain one's.
#[derive(Clone, Copy, Debug)]
struct Made {
    forecast: f64,
    /// What the explanations alone forecast.
    explained: f64,
    base: f64,
    nothing: f64,
    plain: f64,
}

/// How far the runs of a print share one fate.
#[derive(Clone, Copy, Debug, Default)]
struct Shared {
    /// Products of the misses of a plain rate over all pairs of runs of one print, and what they would come to if the
    /// runs of a print always shared one fate.
    products: f64,
    most: f64,
}

impl Shared {
    fn add(&mut self, misses: impl Iterator<Item = f64>, rate: f64) {
        let (mut sum, mut squares, mut n) = (0.0, 0.0, 0.0);
        for miss in misses {
            sum += miss;
            squares += miss * miss;
            n += 1.0;
        }
        self.products += (sum * sum - squares) / 2.0;
        self.most += n * (n - 1.0) / 2.0 * rate * (1.0 - rate);
    }

    /// What a run of a print with `n` known ones counts: one over the design effect 1 + rho (n - 1) of runs that share
    /// their fate with correlation rho. With rho 1 the runs of a print tell the same thing over again, and the print
    /// counts as one.
    fn weight(&self, n: usize) -> f64 {
        let rho = if self.most > 0.0 { (self.products / self.most).clamp(0.0, 1.0) } else { 0.0 };
        1.0 / (1.0 + rho * (count(n) - 1.0))
    }
}

/// The usual rate until then, whatever the run: (events + 1/2) / (n + 1), the estimator of Krichevsky and Trofimov.
#[must_use]
pub fn running_rate(events: usize, n: usize) -> f64 {
    (count(events) + 0.5) / (count(n) + 1.0)
}

/// What is known before a print.
#[derive(Debug, Default)]
pub(super) struct Past {
    /// Runs of which it is known whether the mode happened.
    pub(super) n: usize,
    pub(super) events: usize,
    /// Those that say what goes with it, by their place, and whether it happened.
    pub(super) runs: Vec<(usize, bool)>,
}

impl Past {
    fn add(&mut self, run: usize, said: Said) {
        self.n += 1;
        self.events += usize::from(said.happened);
        if !said.is_doubtful {
            self.runs.push((run, said.happened));
        }
    }

    /// `None` before the first known outcome.
    pub(super) fn running_rate(&self) -> Option<f64> {
        (self.n > 0).then(|| running_rate(self.events, self.n))
    }

    fn is_enough(&self) -> bool {
        self.runs.len() >= MODEL_RUNS
    }
}

/// What stands said of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Said {
    happened: bool,
    is_doubtful: bool,
}

/// What is known when all has been heard, and the account of how it went.
pub(super) struct Ahead {
    pub(super) account: Forward,
    pub(super) past: Past,
    pub(super) numbers: Vec<Numbers>,
    pub(super) mixture: Option<Mixture>,
    /// How much each of the past's runs counts in a fit.
    pub(super) weights: Vec<f64>,
    pub(super) trust: Trust,
}

impl Ahead {
    /// Goes through the whole record. `told` is in order of `before`.
    pub(super) fn of(mode: FailureMode, runs: &[ToolRun], told: &[Told]) -> Self {
        let numbers: Vec<Numbers> = runs.iter().map(|run| numbers(&run.features)).collect();
        let mut forecasts = Vec::with_capacity(runs.len());
        let mut predictions = Vec::with_capacity(runs.len());
        let mut known = Known { mode, runs, numbers: &numbers, said: vec![None; runs.len()], past: Past::default() };
        let (mut model, mut plain, mut trust) = (Model::default(), Plain::default(), Trust::new());
        let (mut ahead, mut at) = (told, 0);
        for print in runs.chunk_by(|a, b| a.print == b.print) {
            let number = print.first().map_or(0, |run| run.print);
            let (heard, later) = ahead.split_at(ahead.partition_point(|word| word.before <= number));
            ahead = later;
            known.judge(heard, &forecasts, &mut trust);
            model.is_revised |= known.hear(heard);
            model.keep_up(&known);
            plain.keep_up(&known.past, &numbers);
            for run in &numbers[at..at + print.len()] {
                let told = known.past.running_rate();
                let told = told.map(|base| model.forecast(run, base, plain.forecast(run, base), &trust));
                predictions.push(told.map(|told| told.forecast));
                forecasts.push(told.filter(|_| model.mixture.is_some()));
            }
            at += print.len();
        }
        known.judge(ahead, &forecasts, &mut trust);
        model.is_revised |= known.hear(ahead);
        model.bring_up(&known);
        let mut account = Forward { predictions, ..Forward::default() };
        account.settle(runs, &forecasts, &known.said);
        let (weights, past) = (known.weights(), known.past);
        Self { account, past, numbers, mixture: model.mixture, weights, trust }
    }

    /// The runs that say what goes with the mode.
    pub(super) fn known(&self) -> (Vec<&Numbers>, Vec<bool>) {
        self.past.runs.iter().map(|(run, yes)| (&self.numbers[*run], *yes)).unzip()
    }
}

/// What has been told so far.
struct Known<'a> {
    mode: FailureMode,
    runs: &'a [ToolRun],
    numbers: &'a [Numbers],
    said: Vec<Option<Said>>,
    past: Past,
}

impl Known<'_> {
    /// Judges the forecasts of runs that nothing was known of; to be heard afterwards.
    fn judge(&self, words: &[Told], forecasts: &[Option<Made>], trust: &mut Trust) {
        // Of several words on a run the last one counts; one that is corrected later is not judged again.
        let mut judged = BTreeSet::new();
        for word in words.iter().rev().filter(|word| judged.insert(word.run)) {
            let is_fresh = self.said.get(word.run).is_some_and(Option::is_none);
            let made = forecasts.get(word.run).copied().flatten().filter(|_| is_fresh);
            if let Some((made, yes)) = made.zip(word.happened) {
                trust.learn(made.explained, made.base, yes);
            }
        }
    }

    /// Takes in words and says whether they changed what stood.
    fn hear(&mut self, words: &[Told]) -> bool {
        let mut is_revised = false;
        let mut fresh = Vec::new();
        for word in words {
            let Some(held) = self.said.get_mut(word.run) else { continue };
            let said = word.happened.map(|happened| Said { happened, is_doubtful: word.is_doubtful });
            match (*held, said) {
                (None, Some(said)) => fresh.push((word.run, said)),
                (before, after) => is_revised |= before != after,
            }
            *held = said;
        }
        if is_revised {
            self.past = Past::default();
            for (run, said) in self.said.iter().enumerate() {
                if let Some(said) = said {
                    self.past.add(run, *said);
                }
            }
        } else {
            for (run, said) in fresh {
                self.past.add(run, said);
            }
        }
        is_revised
    }

    /// How much each known run counts in a fit: less where the runs of a print share a fate, and where the print ended
    /// before the job did without the mode: hazards add up over a job, and it was exposed to its part alone.
    fn weights(&self) -> Vec<f64> {
        let rate = self.past.running_rate().unwrap_or(0.5);
        let miss = |yes: bool| rate - if yes { 1.0 } else { 0.0 };
        // They stand in the order in which they were heard of.
        let mut prints: BTreeMap<usize, Vec<bool>> = BTreeMap::new();
        for (run, yes) in &self.past.runs {
            prints.entry(self.runs[*run].print).or_default().push(*yes);
        }
        let mut shared = Shared::default();
        for known in prints.values() {
            shared.add(known.iter().map(|yes| miss(*yes)), rate);
        }
        let weight = |(run, yes): &(usize, bool)| {
            let of = &self.runs[*run];
            let done = of.features.done.unwrap_or(EXPOSED_UNTOLD).clamp(EXPOSED_LEAST, 1.0);
            shared.weight(prints.get(&of.print).map_or(1, Vec::len)) * if *yes { 1.0 } else { done }
        };
        self.past.runs.iter().map(weight).collect()
    }
}

/// The explanations, as last fitted.
#[derive(Debug, Default)]
struct Model {
    mixture: Option<Mixture>,
    fitted_on: usize,
    is_revised: bool,
}

impl Model {
    /// Fits anew when the past has grown enough, or was said otherwise.
    fn keep_up(&mut self, known: &Known<'_>) {
        let growth = if self.fitted_on < LARGE { self.fitted_on / GROWTH } else { self.fitted_on / 2 };
        let is_due = known.past.runs.len() >= self.fitted_on + growth + GROWTH_LEAST;
        let is_small = known.past.runs.len() < LARGE;
        if self.mixture.is_none() || is_due || self.is_revised && is_small {
            self.bring_up(known);
        }
    }

    /// Fits to all that is known.
    fn bring_up(&mut self, known: &Known<'_>) {
        if !known.past.is_enough() || self.fitted_on == known.past.runs.len() && !self.is_revised {
            return;
        }
        let (runs, happened): (Vec<&Numbers>, Vec<bool>) =
            known.past.runs.iter().map(|(run, yes)| (&known.numbers[*run], *yes)).unzip();
        let weights = known.weights();
        let evidence = Evidence { mode: known.mode, runs: &runs, happened: &happened, weights: &weights };
        if let Some(mixture) = Mixture::of(evidence, self.mixture.as_ref()) {
            self.mixture = Some(mixture);
            self.fitted_on = runs.len();
            self.is_revised = false;
        }
    }

    fn forecast(&self, run: &Numbers, base: f64, plain: f64, trust: &Trust) -> Made {
        let made = self.mixture.as_ref().map(|mixture| mixture.forecast(run));
        let (explained, nothing) = made.unwrap_or((base, base));
        Made { forecast: trust.mix(explained, base), explained, base, nothing, plain }
    }
}

impl Forward {
    /// Weight of evidence that something recorded matters, nats: the sum of the gains, each print's divided by its
    /// design effect; the lesser of that against nothing and that against the running rate.
    pub(super) fn evidence(&self) -> f64 {
        let sum =
            |of: fn(&Gain) -> f64| self.gains.iter().map(|gain| of(gain) * self.shared.weight(gain.n)).sum::<f64>();
        sum(|gain| gain.over_nothing).min(sum(|gain| gain.over_rate))
    }

    /// Scores the models' forecasts by what is known at last, print by print.
    fn settle(&mut self, runs: &[ToolRun], made: &[Option<Made>], said: &[Option<Said>]) {
        let each: Vec<_> = runs.iter().zip(made).zip(said).collect();
        for print in each.chunk_by(|((a, _), _), ((b, _), _)| a.print == b.print) {
            let known: Vec<(Made, bool)> =
                print.iter().filter_map(|((_, made), said)| made.zip(said.map(|said| said.happened))).collect();
            if let Some((first, _)) = known.first() {
                let misses = known.iter().map(|(made, yes)| made.base - if *yes { 1.0 } else { 0.0 });
                self.shared.add(misses, first.base);
                let is_whole = print.iter().all(|((run, _), _)| run.features.done.is_some_and(|done| done >= 1.0));
                self.score(&known, is_whole);
            }
        }
    }

    fn score(&mut self, known: &[(Made, bool)], is_whole: bool) {
        let mut gain = Gain { over_nothing: 0.0, over_rate: 0.0, n: known.len() };
        for (Made { forecast, base, nothing, plain, .. }, yes) in known {
            self.forecasts.push(*forecast);
            self.plain.push(*plain);
            self.bases.push(*base);
            self.outcomes.push(*yes);
            let mine = surprise(*forecast, *yes);
            gain.over_nothing += surprise(*nothing, *yes) - mine;
            gain.over_rate += surprise(*base, *yes) - mine;
        }
        if is_whole {
            self.gains.push(gain);
        }
    }
}

/// What the forecasts of one print's runs gained, nats.
#[derive(Clone, Copy, Debug)]
struct Gain {
    over_nothing: f64,
    over_rate: f64,
    n: usize,
}
