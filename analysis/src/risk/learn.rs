//! Learns one failure mode from the record: how often, what goes with it, and whether that forecasts anything.
//! Owns the verdict on how much is known; the fits and the forecasts stand in their own files.

use super::calibration::{Calibration, Reliability, calibration, reliability};
use super::effects::Fitted;
use super::forward::{Ahead, Forward, Past};
use super::mode::FailureMode;
use super::outlook::outlook;
use super::rank::rank;
use super::run::{Features, Group, Told, ToolRun};
use super::score::{Skill, area_under_curve, brier, calibration_error, log_loss};
use super::settle::{Settling, settling};
use crate::estimate::{Confidence, Estimate, Refusal, count, rate};

/// Events and known runs without which nothing is said of causes.
const STATE_EVENTS: usize = 5;
const STATE_RUNS: usize = 30;
/// Events and known runs without which no factor is told: the prior would speak alone.
const FACTOR_EVENTS: usize = 4;
const FACTOR_RUNS: usize = 20;
/// Weight of evidence for `Learned`, nats: ln 180. If nothing matters, forecasts made beforehand reach odds of 180 to 1
/// that something does with a chance of at most 1 in 180 (Ville's inequality), however often one looks, so all of nine
/// modes together at most once in twenty histories.
pub(super) const BEYOND_CHANCE: f64 = 5.192_957;
/// Weight of evidence for `Leaning`, nats: ln 3, reached by chance at most once in three, and in practice seldom.
const LEANING: f64 = 1.098_612;

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
    /// Change of the log-hazard for a standard deviation more of it, other factors equal, with its 90 % interval.
    pub effect: Estimate,
    /// What was believed of the effect beforehand.
    pub prior: Estimate,
    /// What the record says of it by itself and without any belief, log-odds; told of the three that carry most.
    pub alone: Option<Estimate>,
    /// Whether the effect only repeats what was believed beforehand: the record says nothing of it.
    pub repeats_prior: bool,
    /// How sure its sign is, 0.5 to 1.
    pub sure: f64,
    /// Its share of the explaining, as [`Carries::probability`].
    pub carries: f64,
    /// 1 carries most. One factor of each group stands for the group as a whole; groups that the record can't tell
    /// apart share a rank.
    pub rank: usize,
}

/// How much of a mode a group explains.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carries {
    /// The group.
    pub group: Group,
    /// Its share of the explaining: the probability of the explanations by it alone, and its part of those that it
    /// shares. What is missing from one over all groups is the probability that nothing recorded matters.
    pub probability: f64,
}

/// Two groups of which the record can't tell which one carries a mode, since they always went together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inseparable {
    /// The factor of either group that stands for it.
    pub factors: [&'static str; 2],
    /// The groups.
    pub groups: [Group; 2],
    /// How far their explanations go along with each other, 0 to 1.
    pub correlation: f64,
}

/// What the record says of one failure mode.
#[derive(Clone, Debug, PartialEq)]
pub struct Learned {
    /// Runs whose outcome is known.
    pub n: usize,
    /// Runs in which it happened.
    pub events: usize,
    /// Runs that were noted as the mode that this one is mixed up with: they count as known, and say nothing of what
    /// goes with it.
    pub doubtful: usize,
    /// Share of known runs in which it happened, with its exact 90 % interval.
    pub rate: Result<Estimate, Refusal>,
    /// How much is known of what goes with it.
    pub state: State,
    /// The factors that vary in the record, by rank.
    pub factors: Vec<Factor>,
    /// What carries it, the likeliest first.
    pub groups: Vec<Carries>,
    /// What can't be told apart.
    pub inseparable: Vec<Inseparable>,
    /// Why there are no factors.
    pub refused: Option<Refusal>,
    /// How the forecasts did; `None` where no model forecast a run that is known.
    pub skill: Option<Skill>,
    /// How linfa's ridge logistic regression on all factors did on the same runs, fitted forward only as well.
    pub baseline: Option<Skill>,
    /// What was forecast beside what came of it, over ten equal bins.
    pub reliability: Vec<Reliability>,
    /// The line through what was forecast and what happened; `None` where it can't be fitted.
    pub calibration: Option<Calibration>,
    /// How much more would settle it.
    pub settling: Settling,
    /// The probability told for each run from the prints before it; `None` before anything was known. A run added at
    /// the end with its outcome unknown is told what the record says of it.
    pub predictions: Vec<Option<f64>>,
}

/// One failure mode as the record has it, ready to tell what was learned and to forecast.
pub struct Learner {
    pub(super) mode: FailureMode,
    pub(super) ahead: Ahead,
    pub(super) fitted: Result<Fitted, Refusal>,
}

impl Learner {
    /// Goes through the record. Words may have come late, or taken others back: a forecast knows only those that had
    /// been said before its print, all else only the last word on each run. `runs` are in order of time, their prints'
    /// numbers rising; `told` is in order of `before`, and of time where that is equal.
    #[must_use]
    pub fn of(mode: FailureMode, runs: &[ToolRun], told: &[Told]) -> Self {
        let ahead = Ahead::of(mode, runs, told);
        let fitted = unfitted(&ahead.past).map_or_else(|| Fitted::of(mode, &ahead), Err);
        Self { mode, ahead, fitted }
    }

    /// The probability that `next`, a run after all that was told, has the failure mode, with a 90 % interval for it;
    /// `n` counts the runs whose outcome is known. In simulated worlds the interval holds the truth nine times in ten
    /// where factors matter and the record is long, and more often where it is short or nothing matters.
    ///
    /// # Errors
    /// Where too little is known: what the factors were refused for.
    pub fn forecast(&self, next: &Features) -> Result<Estimate, Refusal> {
        outlook(&self.ahead, self.fitted.as_ref().map_err(|refusal| *refusal)?, next)
    }

    /// Runs with a known outcome, and those in which it happened.
    #[must_use]
    pub const fn known(&self) -> (usize, usize) {
        (self.ahead.past.n, self.ahead.past.events)
    }

    /// How much is known of what goes with the mode, as [`Self::learned`] says it.
    #[must_use]
    pub fn state(&self) -> State {
        let account = &self.ahead.account;
        let skill = skill(account, &account.forecasts, account.evidence());
        state(&self.ahead.past, self.fitted.is_ok(), skill.as_ref())
    }

    /// What the record says of the mode.
    #[must_use]
    pub fn learned(&self) -> Learned {
        let Self { ahead, fitted, .. } = self;
        let past = &ahead.past;
        let account = &ahead.account;
        let skill = skill(account, &account.forecasts, account.evidence());
        let (effects, refused) = match fitted {
            Ok(fitted) => (fitted.effects(), None),
            Err(refusal) => (Vec::new(), Some(*refusal)),
        };
        let state = state(past, refused.is_none(), skill.as_ref());
        let (factors, groups, inseparable) = rank(ahead, &effects);
        Learned {
            n: past.n,
            events: past.events,
            doubtful: past.n - past.runs.len(),
            rate: rate(past.events, past.n, Confidence::Percent90),
            state,
            factors,
            groups,
            inseparable,
            refused,
            skill,
            baseline: baseline(account),
            reliability: reliability(&account.forecasts, &account.outcomes, 10),
            calibration: calibration(&account.forecasts, &account.outcomes).ok(),
            settling: settling(past, account, state),
            predictions: account.predictions.clone(),
        }
    }
}

/// Learns one failure mode. `happened` says for each run whether the mode did, `None` where nobody said, which is never
/// the same as no. A missing tail of `happened` is not known. Each outcome is taken as known before the next print.
#[must_use]
pub fn learn(mode: FailureMode, runs: &[ToolRun], happened: &[Option<bool>]) -> Learned {
    let each = runs.iter().zip(happened).enumerate();
    let told: Vec<Told> = each.map(|(at, (run, yes))| Told::of(at, run.print + 1, *yes)).collect();
    learn_told(mode, runs, &told)
}

/// Learns one failure mode from words; see [`Learner::of`].
#[must_use]
pub fn learn_told(mode: FailureMode, runs: &[ToolRun], told: &[Told]) -> Learned {
    Learner::of(mode, runs, told).learned()
}

fn state(past: &Past, fitted: bool, skill: Option<&Skill>) -> State {
    let enough = past.events >= STATE_EVENTS && past.n >= STATE_RUNS && fitted;
    let better = |skill: &&Skill| skill.log_loss < skill.log_loss_base;
    match skill.filter(|_| enough).filter(better) {
        Some(skill) if skill.evidence >= BEYOND_CHANCE => State::Learned,
        Some(skill) if skill.evidence >= LEANING => State::Leaning,
        _ => State::TooLittle,
    }
}

/// How these forecasts did beside the running rate.
fn skill(account: &Forward, forecasts: &[f64], evidence: f64) -> Option<Skill> {
    let (bases, outcomes) = (&account.bases, &account.outcomes);
    Some(Skill {
        n: outcomes.len(),
        log_loss: log_loss(forecasts, outcomes)?,
        log_loss_base: log_loss(bases, outcomes)?,
        brier: brier(forecasts, outcomes)?,
        brier_base: brier(bases, outcomes)?,
        auc: area_under_curve(forecasts, outcomes),
        ece: calibration_error(forecasts, outcomes, 10)?,
        evidence,
    })
}

/// How the plain model did; its evidence is against the running rate.
fn baseline(account: &Forward) -> Option<Skill> {
    let skill = skill(account, &account.plain, 0.0)?;
    Some(Skill { evidence: (skill.log_loss_base - skill.log_loss) * count(skill.n), ..skill })
}

/// Why nothing is said of factors.
fn unfitted(past: &Past) -> Option<Refusal> {
    let (have, events) = (past.n, past.events);
    if have < FACTOR_RUNS {
        Some(Refusal::TooFew { have, need: FACTOR_RUNS })
    } else if events == 0 {
        Some(Refusal::NoEvents)
    } else if events < FACTOR_EVENTS {
        Some(Refusal::TooFew { have: events, need: FACTOR_EVENTS })
    } else if events == have {
        Some(Refusal::OneClassOnly)
    } else {
        None
    }
}
