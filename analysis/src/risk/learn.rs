//! Learns one failure mode from the record: how often, what goes with it, and whether that forecasts anything.
//! Owns the verdict on how much is known; the fit and the forecasts stand in their own files, so that a finer model
//! can take their place.

use super::design::{Design, correlation};
use super::fit::{Fit, distance};
use super::forward::{Forward, MODEL_EVENTS, MODEL_RUNS, Past, RIDGE, forward};
use super::run::{Group, Told, ToolRun};
use super::score::{Skill, area_under_curve, brier, calibration_error, log_loss};
use crate::estimate::{Confidence, Estimate, Refusal, count, rate};
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

/// Events and known runs without which nothing is said of causes.
const STATE_EVENTS: usize = 5;
const STATE_RUNS: usize = 30;
/// Weight of evidence for `Learned`, nats: ln 180. If the running rate is the truth, forecasts made beforehand reach
/// odds of 180 to 1 against it with a chance of at most 1 in 180 (Markov's inequality), so all of nine modes together
/// at most once in twenty histories.
const BEYOND_CHANCE: f64 = 5.192_957;
/// Weight of evidence for `Leaning`, nats: ln 3, reached by chance at most once in three, and in practice seldom.
const LEANING: f64 = 1.098_612;
/// Half-width of a 90 % interval in standard errors.
const NINETY: f64 = 1.644_854;

/// How much is known of what goes with a failure mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// The factors forecast better than the running rate, beyond chance.
    Learned,
    /// They forecast better, by odds of at least 3 to 1, but it could still be chance.
    Leaning,
    /// Too few events or runs, no fit, or no skill. Many events without skill are here too: what is too little then is
    /// what the recorded factors say, and only the rate is known.
    TooLittle,
}

impl State {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Learned => "learned",
            Self::Leaning => "leaning",
            Self::TooLittle => "too_little",
        }
    }
}

/// What goes with a failure mode.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Factor {
    /// Its name, one word throughout.
    pub factor: &'static str,
    /// What it is about.
    pub group: Group,
    /// Change of the log-odds for a standard deviation more of it, other factors equal, with its 90 % interval. The
    /// prior is Normal(0, 0.5), so little evidence leaves it near nought.
    pub effect: Estimate,
    /// How sure its sign is, 0.5 to 1.
    pub sure: f64,
    /// 1 is the one with the strongest evidence. One factor of each group stands for the group as a whole.
    pub rank: usize,
}

/// What the record says of one failure mode.
#[derive(Clone, Debug, PartialEq)]
pub struct Learned {
    /// Runs whose outcome is known.
    pub n: usize,
    /// Runs in which it happened.
    pub events: usize,
    /// Share of known runs in which it happened, with its exact 90 % interval.
    pub rate: Result<Estimate, Refusal>,
    /// How much is known of what goes with it.
    pub state: State,
    /// The factors that vary in the record, by rank.
    pub factors: Vec<Factor>,
    /// Why there are no factors.
    pub refused: Option<Refusal>,
    /// How the forecasts did; `None` where no model forecast a run that is known.
    pub skill: Option<Skill>,
    /// The probability told for each run from the prints before it; `None` before anything was known. A run added at
    /// the end with its outcome unknown is told what the record says of it.
    pub predictions: Vec<Option<f64>>,
}

/// Learns one failure mode. `runs` are in order of time, those of one print together; `happened` says for each whether
/// the mode did, `None` where nobody said, which is never the same as no. A missing tail of `happened` is not known.
/// Each outcome is taken as known before the next print.
#[must_use]
pub fn learn(runs: &[ToolRun], happened: &[Option<bool>]) -> Learned {
    let each = runs.iter().zip(happened).enumerate();
    let told: Vec<Told> =
        each.map(|(at, (run, yes))| Told { run: at, before: run.print + 1, happened: *yes }).collect();
    learn_told(runs, &told)
}

/// Learns one failure mode from words that may have come late, or taken others back: a forecast knows only those that
/// had been said before its print, all else only the last word on each run. `runs` are in order of time, their prints'
/// numbers rising; `told` is in order of `before`, and of time where that is equal.
#[must_use]
pub fn learn_told(runs: &[ToolRun], told: &[Told]) -> Learned {
    let mut happened = vec![None; runs.len()];
    for word in told {
        if let Some(held) = happened.get_mut(word.run) {
            *held = word.happened;
        }
    }
    let record = Past::of(runs, &happened);
    let account = forward(runs, told);
    let skill = skill(&account);
    let (factors, refused) = match factors(&record) {
        Ok(factors) => (factors, None),
        Err(refusal) => (Vec::new(), Some(refusal)),
    };
    Learned {
        n: record.runs.len(),
        events: record.events,
        rate: rate(record.events, record.runs.len(), Confidence::Percent90),
        state: state(&record, refused.is_none(), skill.as_ref()),
        factors,
        refused,
        skill,
        predictions: account.predictions,
    }
}

fn state(record: &Past, fitted: bool, skill: Option<&Skill>) -> State {
    let enough = record.events >= STATE_EVENTS && record.runs.len() >= STATE_RUNS && fitted;
    match skill.filter(|_| enough) {
        Some(skill) if skill.evidence >= BEYOND_CHANCE => State::Learned,
        Some(skill) if skill.evidence >= LEANING => State::Leaning,
        _ => State::TooLittle,
    }
}

fn skill(account: &Forward) -> Option<Skill> {
    let Forward { forecasts, bases, outcomes, .. } = account;
    Some(Skill {
        n: outcomes.len(),
        log_loss: log_loss(forecasts, outcomes)?,
        log_loss_base: log_loss(bases, outcomes)?,
        brier: brier(forecasts, outcomes)?,
        brier_base: brier(bases, outcomes)?,
        auc: area_under_curve(forecasts, outcomes),
        ece: calibration_error(forecasts, outcomes, 10)?,
        evidence: account.evidence(),
    })
}

/// The ridge fit on the whole record, factor by factor, in order of evidence.
pub(super) fn factors(record: &Past) -> Result<Vec<Factor>, Refusal> {
    if record.runs.len() < MODEL_RUNS {
        return Err(Refusal::TooFew { have: record.runs.len(), need: MODEL_RUNS });
    }
    if record.events == 0 {
        return Err(Refusal::NoEvents);
    }
    if !record.is_enough() {
        return Err(Refusal::TooFew { have: record.events, need: MODEL_EVENTS });
    }
    let design = Design::of(&record.runs)?;
    let rows: Vec<Vec<f64>> = record.runs.iter().map(|features| design.row(features)).collect();
    let fit = Fit::of(&rows, &record.happened, RIDGE)?;
    let covariance = fit.covariance(&rows, RIDGE)?;
    let mut factors: Vec<(f64, Factor)> = design
        .factors()
        .zip(&fit.slopes)
        .enumerate()
        .map(|(at, (name, slope))| factor(name, *slope, covariance[at][at].sqrt(), record.runs.len()))
        .map(|factor| (2.0 * (1.0 - factor.sure), factor))
        .collect();
    for group in Group::ALL {
        promote(group, &mut factors, &covariance, &rows);
    }
    factors.sort_by(|a, b| a.0.total_cmp(&b.0));
    let ranked = factors.into_iter().enumerate();
    Ok(ranked.map(|(place, (_, factor))| Factor { rank: place + 1, ..factor }).collect())
}

fn factor((factor, group): (&'static str, Group), slope: f64, error: f64, n: usize) -> Factor {
    let effect = Estimate { value: slope, low: slope - NINETY * error, high: slope + NINETY * error, n };
    Factor { factor, group, effect, sure: Normal::standard().cdf(slope.abs() / error), rank: 0 }
}

/// Gives one factor of a group the evidence of the whole group where that is stronger: factors that go together share
/// an effect between them, and none of them alone may look like much. It is the one that goes most with the group's
/// part of the log-odds in the record.
fn promote(group: Group, factors: &mut [(f64, Factor)], covariance: &[Vec<f64>], rows: &[Vec<f64>]) {
    let places: Vec<usize> = (0..factors.len()).filter(|at| factors[*at].1.group == group).collect();
    let slopes: Vec<f64> = places.iter().map(|at| factors[*at].1.effect.value).collect();
    let block: Vec<Vec<f64>> =
        places.iter().map(|row| places.iter().map(|column| covariance[*row][*column]).collect()).collect();
    let part: Vec<f64> =
        rows.iter().map(|row| places.iter().zip(&slopes).map(|(at, slope)| slope * row[*at]).sum()).collect();
    let goes_along = |at: usize| correlation(&part, &rows.iter().map(|row| row[at]).collect::<Vec<f64>>()).abs();
    let closest = places.into_iter().max_by(|a, b| goes_along(*a).total_cmp(&goes_along(*b)));
    let freedom = ChiSquared::new(count(slopes.len())).ok();
    if let (Some(closest), Some(freedom), Some(far)) = (closest, freedom, distance(&slopes, &block)) {
        factors[closest].0 = factors[closest].0.min(freedom.sf(far));
    }
}
