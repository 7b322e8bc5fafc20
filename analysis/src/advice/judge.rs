//! Whether a change is worth it. Owns who may speak for it: the record where a mode was learned, a trial where it leans that
//! way, common practice where the record can't tell.

use super::candidates::Candidate;
use super::effect::{AsIs, Effect};
use super::limits::may_cure;
use super::situation::{Lesson, Situation};
use super::suggestion::{Basis, ModeEffect, Suggestion};
use crate::risk::{FailureMode, State};

/// How sure it must be that the risk falls where the record speaks for a change, and where it only leans that way and
/// a trial is offered (a proposal).
const SURE_LEARNED: f64 = 0.8;
const SURE_LEANING: f64 = 0.7;
/// How sure it must be of a mode that nobody in the trade would mean it for (a proposal).
const SURE_UNMEANT: f64 = 0.95;
/// A change that takes less than such a part of the risk is not worth the trouble (a proposal).
const FALL_LEAST: f64 = 0.1;
/// A mode counts as moved if its chance changes by such a part of it, and by so much (a proposal).
const MOVED_LEAST: f64 = 0.03;
const MOVED_AT_ALL: f64 = 0.002;
/// A mode of which too little is known speaks against a change if its risk rises with such a probability: below it is what
/// few draws make of values that were never seen (a proposal).
const RISES_LEAST: f64 = 0.2;

/// A candidate as a suggestion; `None` where nobody who may speak is for it.
pub(super) fn judge(candidate: &Candidate, situation: &Situation<'_>, as_is: &AsIs<'_>) -> Option<Suggestion> {
    let case = Case::of(candidate, situation, as_is)?;
    case.by_the_record().or_else(|| case.by_practice())
}

/// A candidate and what it does.
struct Case<'a> {
    candidate: &'a Candidate,
    situation: &'a Situation<'a>,
    effect: Effect,
    /// Modes that it helps and that may speak for it, what it saves most of first.
    helped: Vec<ModeEffect>,
    /// Modes that it harms and that may speak against it.
    harmed: Vec<ModeEffect>,
}

impl<'a> Case<'a> {
    fn of(candidate: &'a Candidate, situation: &'a Situation<'a>, as_is: &AsIs<'_>) -> Option<Self> {
        let effect = as_is.effect(&candidate.change)?;
        let of_change = |own: &ModeEffect| ModeEffect { state: state(own, candidate, situation), ..*own };
        let moved: Vec<ModeEffect> = effect.modes.iter().map(|own| of_change(&own.effect)).filter(is_moved).collect();
        let (fallen, risen): (Vec<_>, Vec<_>) = moved.into_iter().partition(|one| one.after.value < one.now.value);
        let may_speak = |one: &ModeEffect| match (one.state, candidate.modes.contains(&one.mode)) {
            (State::Learned | State::Leaning, is_meant) => is_meant || one.falls >= SURE_UNMEANT,
            (State::TooLittle, is_meant) => is_meant && candidate.rule.is_some(),
        };
        let may_object = |one: &ModeEffect| one.state != State::TooLittle || effect.rises(one.mode) >= RISES_LEAST;
        let mut helped: Vec<ModeEffect> = fallen.into_iter().filter(may_speak).collect();
        helped.retain(|one| may_cure(&candidate.change, one.mode));
        let saved = |one: &ModeEffect| loss(situation, one.mode) * (one.now.value - one.after.value);
        helped.sort_by(|a, b| saved(b).total_cmp(&saved(a)));
        let harmed = risen.into_iter().filter(may_object).collect();
        Some(Self { candidate, situation, effect, helped, harmed })
    }

    /// Where the record knows of what the change helps.
    fn by_the_record(&self) -> Option<Suggestion> {
        let known: Vec<ModeEffect> = self.helped.iter().filter(|one| one.state != State::TooLittle).copied().collect();
        let (basis, sure) = match known.first()?.state {
            State::Learned => (Basis::Learned, SURE_LEARNED),
            State::Leaning | State::TooLittle => (Basis::Mixed, SURE_LEANING),
        };
        let meant = known.iter().map(|one| one.mode).collect();
        let found = self.suggestion(known, meant, basis);
        let (risk, gain) = found.risk.zip(found.gain)?;
        let falls = risk.now.value - risk.after.value;
        (risk.sure >= sure && falls >= FALL_LEAST * risk.now.value && gain.value > 0.0).then_some(found)
    }

    /// Where it does not, or can't show it: practice has to be worth its trouble by what is believed of it. Where nobody
    /// told outcomes it speaks alone; and a limit of material or part is a limit, unless the record says that this harms.
    fn by_practice(&self) -> Option<Suggestion> {
        let rule = self.candidate.rule?;
        let meant = match self.helped.as_slice() {
            [] => self.candidate.modes.clone(),
            helped => helped.iter().map(|one| one.mode).collect(),
        };
        let found = self.suggestion(self.helped.clone(), meant, Basis::CommonPractice);
        let is_worth_it = found.risk.zip(found.gain).is_none_or(|(risk, gain)| {
            let is_better = risk.after.value < risk.now.value && gain.value > 0.0;
            is_better && !self.helped.is_empty() || rule.is_limit() && !self.is_harm()
        });
        is_worth_it.then_some(found)
    }

    /// Whether what it is meant for, or what is known, gets worse.
    fn is_harm(&self) -> bool {
        let counts = |one: &ModeEffect| one.state != State::TooLittle || self.candidate.modes.contains(&one.mode);
        let rises = self.effect.modes.iter().map(|own| &own.effect).filter(|one| one.after.value > one.now.value);
        self.harmed.iter().any(counts)
            || rises.filter(|one| is_moved(one)).any(|one| self.candidate.modes.first() == Some(&one.mode))
    }

    fn suggestion(&self, helped: Vec<ModeEffect>, meant: Vec<FailureMode>, basis: Basis) -> Suggestion {
        let Self { candidate, situation, effect, harmed, .. } = self;
        let is_counted = |lesson: &&Lesson<'_>| helped.iter().chain(harmed).any(|one| one.mode == lesson.mode);
        let counted: Vec<Lesson<'_>> = situation.lessons.iter().filter(is_counted).copied().collect();
        Suggestion {
            change: candidate.change,
            gain: (!effect.modes.is_empty()).then(|| effect.gain(&counted)),
            effects: helped.into_iter().chain(harmed.iter().copied()).collect(),
            risk: effect.any(&meant),
            meant,
            minutes: effect.minutes,
            basis,
            rule: candidate.rule,
            n_courses: situation.courses.len(),
            n_waits: effect.n_waits,
            n_long_waits: effect.n_long_waits,
        }
    }
}

/// How much is known of what a change does to a mode: where the record can't tell its group from another one, it only
/// leans.
fn state(own: &ModeEffect, candidate: &Candidate, situation: &Situation<'_>) -> State {
    let lesson = situation.lessons.iter().find(|lesson| lesson.mode == own.mode);
    let is_alike = lesson.is_some_and(|lesson| lesson.inseparable.contains(&candidate.change.group()));
    if own.state == State::Learned && is_alike { State::Leaning } else { own.state }
}

fn is_moved(one: &ModeEffect) -> bool {
    (one.after.value - one.now.value).abs() > MOVED_AT_ALL.max(MOVED_LEAST * one.now.value)
}

/// Minutes that one failure costs.
fn loss(situation: &Situation<'_>, mode: FailureMode) -> f64 {
    let lesson = situation.lessons.iter().find(|lesson: &&Lesson<'_>| lesson.mode == mode);
    lesson.map_or(0.0, |lesson| lesson.loss.as_minutes())
}
