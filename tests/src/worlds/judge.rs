//! What the program said of a history, against the truth that made it. Must not know which law it was, but for what the
//! world's family names as right.

use super::history::History;
use super::oracle::Oracle;
use super::program::{Prediction, Said};
use dwell_analysis::estimate::count;
use dwell_analysis::units::Seconds;
use std::collections::HashMap;

/// From so many events on a history counts for attribution.
const ENOUGH_EVENTS: usize = 12;
/// Prints that the later score leaves out.
const EARLY: usize = 60;
/// Less than this, ln, is not worth a ratio: it is what the running rate loses before it has settled.
const WORTH_KNOWING: f64 = 4.0;
/// A prediction's print is the one that began this near, s.
const NEAR_S: f64 = 60.0;

/// What is ranked first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum First {
    /// The true group alone; in a world of twins both, with at most one other.
    Right,
    /// The true group together with one other.
    Shared,
    /// Something else, or too many.
    Wrong,
    /// Nothing is.
    Nobody,
}

/// Log losses over the same lines, summed.
#[derive(Clone, Copy, Debug, Default)]
pub struct Score {
    /// How many lines.
    pub n: usize,
    /// Those of them that happened.
    pub events: usize,
    /// Of the running rate.
    pub base: f64,
    /// Of the program.
    pub model: f64,
    /// Of the probability that made the outcome.
    pub truth: f64,
    /// Of whoever knew the law's form and learnt how strong it is.
    pub form_known: f64,
    /// Events that the truth expected.
    pub expected: f64,
    /// Their variance, by the truth.
    pub variance: f64,
}

/// Probabilities of one line.
struct Line {
    base: f64,
    model: f64,
    truth: f64,
    form_known: f64,
}

impl Score {
    /// How much of what can be known the program knows; none where there is nothing to know.
    #[must_use]
    pub fn ratio(&self) -> Option<f64> {
        let known = self.base - self.truth;
        (known > WORTH_KNOWING).then(|| (self.base - self.model) / known)
    }

    /// The same of whoever knew the law's form.
    #[must_use]
    pub fn ratio_to_be_had(&self) -> Option<f64> {
        Self { model: self.form_known, ..*self }.ratio()
    }

    fn add(&mut self, happened: bool, line: &Line) {
        self.n += 1;
        self.events += usize::from(happened);
        self.base += loss(line.base, happened);
        self.model += loss(line.model, happened);
        self.truth += loss(line.truth, happened);
        self.form_known += loss(line.form_known, happened);
        self.expected += line.truth;
        self.variance += line.truth * (1.0 - line.truth);
    }
}

/// A history judged.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The world's name.
    pub world: &'static str,
    /// Of the history.
    pub seed: u64,
    /// Its readings.
    pub readings: usize,
    /// Tool-runs that failed in the world's mode, of all, said or not.
    pub failed_share: f64,
    /// What is ranked first.
    pub first: First,
    /// The groups that are.
    pub groups: Vec<String>,
    /// What the program says of its own evidence in the world's mode.
    pub state: String,
    /// Every mode in which it says `learned`.
    pub learned: Vec<String>,
    /// Lines of the world's mode in which `happened` is not what was said in the end.
    pub misread: usize,
    /// Over all lines.
    pub score: Score,
    /// Without the first prints.
    pub late: Score,
}

impl Verdict {
    /// Whether enough happened to judge what is ranked first.
    #[must_use]
    pub fn counts(&self) -> bool {
        self.score.events >= ENOUGH_EVENTS
    }
}

/// Judges what was said of a history.
///
/// # Panics
/// If the world's mode is not spoken of, or a prediction is of a print that there was not.
#[must_use]
pub fn judged(history: &History, said: &Said) -> Verdict {
    let family = history.world.family;
    let mode = said.modes.iter().find(|said| said.mode == family.mode()).unwrap();
    let (score, late) = scores(history, &said.predictions);
    let learned = said.modes.iter().filter(|said| said.state == "learned").map(|said| said.mode.clone());
    Verdict {
        world: history.world.name,
        seed: history.seed,
        readings: history.readings(),
        failed_share: history.failed_share(),
        first: first(family.groups(), &mode.first),
        groups: mode.first.clone(),
        state: mode.state.clone(),
        learned: learned.collect(),
        misread: misread(history, &said.predictions),
        score,
        late,
    }
}

fn first(right: &[&str], said: &[String]) -> First {
    let has_all = right.iter().all(|group| said.iter().any(|said| said == group));
    match (right.len(), said.len()) {
        (_, 0) => First::Nobody,
        (1, 1) | (2, 2 | 3) if has_all => First::Right,
        (1, 2) if has_all => First::Shared,
        (_, _) => First::Wrong,
    }
}

/// Over lines of the world's mode of which the outcome is known and the tool had a part in the print. Lines of one print
/// are met with the same running rate.
fn scores(history: &History, predictions: &[Prediction]) -> (Score, Score) {
    let (mut all, mut late) = (Score::default(), Score::default());
    let mut oracle = Oracle::new(history.world.law);
    let by_print = lines_by_print(history, predictions);
    for (idx, print) in history.prints.iter().enumerate() {
        let base = (count(all.events) + 0.5) / (count(all.n) + 1.0);
        let mut learnt = Vec::new();
        for said in by_print.get(&idx).into_iter().flatten() {
            let run = print.runs.iter().find(|run| run.tool == said.tool);
            let (Some(run), Some(model), Some(happened)) = (run, said.probability, said.happened) else { continue };
            let share = oracle.law().share(&run.exposure);
            let line = Line { base, model, truth: run.noted, form_known: oracle.probability(share) };
            all.add(happened, &line);
            if idx >= EARLY {
                late.add(happened, &line);
            }
            learnt.push((share, happened));
        }
        for (share, happened) in learnt {
            oracle.learn(share, happened);
        }
    }
    (all, late)
}

fn misread(history: &History, predictions: &[Prediction]) -> usize {
    let mode = history.world.family.mode();
    let is_wrong = |idx: usize, line: &Prediction| history.prints[idx].said(mode, line.tool) != line.happened;
    let by_print = lines_by_print(history, predictions);
    by_print.iter().map(|(idx, lines)| lines.iter().filter(|line| is_wrong(*idx, line)).count()).sum()
}

fn lines_by_print<'a>(history: &History, predictions: &'a [Prediction]) -> HashMap<usize, Vec<&'a Prediction>> {
    let mode = history.world.family.mode();
    let mut by_print: HashMap<usize, Vec<&Prediction>> = HashMap::new();
    for line in predictions.iter().filter(|line| line.mode == mode) {
        let after = history.prints.partition_point(|print| print.started <= line.started + Seconds::new(NEAR_S));
        let idx = after.checked_sub(1).unwrap();
        assert!((line.started - history.prints[idx].started).get() < NEAR_S, "{line:?}");
        by_print.entry(idx).or_default().push(line);
    }
    by_print
}

/// Of a probability, ln; what was called impossible or sure costs as one in a million.
fn loss(probability: f64, happened: bool) -> f64 {
    let probability = probability.clamp(1e-6, 1.0 - 1e-6);
    -(if happened { probability } else { 1.0 - probability }).ln()
}
