//! What is worth changing, best first. Owns who may speak (the record where a mode was learned, a trial where it leans
//! that way, common practice where too little is known), which value of a setting is best, and the order.

use super::candidates::{Candidate, candidates};
use super::effect::AsIs;
use super::limits::may_cure;
use super::situation::{Lesson, Situation};
use super::suggestion::{Basis, ModeEffect, Rule, Suggestion};
use crate::risk::{FailureMode, State};

/// How sure it must be that the risk falls where the record speaks for a change, and where it only leans that way and
/// a trial is offered (a proposal).
const SURE_LEARNED: f64 = 0.8;
const SURE_LEANING: f64 = 0.7;
/// How sure it must be of a mode that nobody in the trade would mean it for (a proposal).
const SURE_UNMEANT: f64 = 0.95;
/// A change that takes less than such a part of the risk is not worth the trouble (a proposal).
const FALL_LEAST: f64 = 0.1;
/// A mode counts as moved if its chance changes by such a part of it (a proposal).
const MOVED_LEAST: f64 = 0.03;
/// A mode of which too little is known speaks against a change if its risk rises with such a probability: below it is what
/// few draws make of values that were never seen (a proposal).
const RISES_LEAST: f64 = 0.2;
/// Of values that gain as much, within this part, the one nearest to what is in force is taken: the least change.
const AS_GOOD: f64 = 0.01;

/// What is worth changing about a tool, best first; nothing beyond the limits of material and part.
#[must_use]
pub fn advise(situation: &Situation<'_>) -> Vec<Suggestion> {
    let as_is = AsIs::of(situation);
    let judged = candidates(situation).into_iter().filter_map(|candidate| judge(&candidate, situation, &as_is));
    let mut kinds: Vec<Vec<Suggestion>> = Vec::new();
    for suggestion in judged {
        let is_same = |kind: &&mut Vec<Suggestion>| kind.iter().any(|one| one.change.is_of_kind(&suggestion.change));
        match kinds.iter_mut().find(is_same) {
            Some(kind) => kind.push(suggestion),
            None => kinds.push(vec![suggestion]),
        }
    }
    let mut advised: Vec<Suggestion> = kinds.into_iter().filter_map(best).collect();
    advised.sort_by(|a, b| gained(b).total_cmp(&gained(a)));
    advised
}

/// Of values of one setting the one to advise: what the record speaks for before what practice alone does, then what
/// gains most, then the least change.
fn best(mut values: Vec<Suggestion>) -> Option<Suggestion> {
    let is_practice = |one: &Suggestion| one.basis == Basis::CommonPractice;
    if values.iter().any(|one| !is_practice(one)) {
        values.retain(|one| !is_practice(one));
    }
    let most = values.iter().map(gained).fold(f64::NEG_INFINITY, f64::max);
    let as_good = |one: &Suggestion| gained(one) >= most - AS_GOOD * most.abs();
    values.into_iter().filter(as_good).min_by(|a, b| a.change.reach().total_cmp(&b.change.reach()))
}

/// What is gained, minutes; what is not known is no gain.
fn gained(one: &Suggestion) -> f64 {
    one.gain.map_or(0.0, |gain| gain.value)
}

/// A candidate as a suggestion; `None` where nobody who may speak is for it.
fn judge(candidate: &Candidate, situation: &Situation<'_>, as_is: &AsIs<'_>) -> Option<Suggestion> {
    let effect = as_is.effect(&candidate.change)?;
    let moved: Vec<ModeEffect> = effect.modes.iter().map(|own| own.effect).filter(is_moved).collect();
    let may_speak = |one: &ModeEffect| match (one.state, candidate.modes.contains(&one.mode)) {
        (State::Learned | State::Leaning, true) => true,
        (State::Learned | State::Leaning, false) => one.falls >= SURE_UNMEANT,
        (State::TooLittle, is_meant) => is_meant && candidate.rule.is_some(),
    };
    let mut helped: Vec<ModeEffect> = moved
        .iter()
        .filter(|one| one.after.value < one.now.value && may_speak(one) && may_cure(&candidate.change, one.mode))
        .copied()
        .collect();
    let saved = |one: &ModeEffect| loss(situation, one.mode) * (one.now.value - one.after.value);
    helped.sort_by(|a, b| saved(b).total_cmp(&saved(a)));
    let may_object = |one: &ModeEffect| one.state != State::TooLittle || effect.rises(one.mode) >= RISES_LEAST;
    let harmed: Vec<ModeEffect> =
        moved.into_iter().filter(|one| one.after.value > one.now.value && may_object(one)).collect();
    let is_counted = |lesson: &&Lesson<'_>| helped.iter().chain(&harmed).any(|one| one.mode == lesson.mode);
    let counted: Vec<Lesson<'_>> = situation.lessons.iter().filter(is_counted).copied().collect();
    let gain = (!effect.modes.is_empty()).then(|| effect.gain(&counted));
    let meant: Vec<FailureMode> = match helped.is_empty() {
        true if candidate.rule.is_none() => return None,
        true => candidate.modes.clone(),
        false => helped.iter().map(|one| one.mode).collect(),
    };
    let risk = effect.any(&meant);
    let basis = basis(&helped);
    // Where the record can't tell, practice speaks alone.
    let is_worth_it = risk.zip(gain).map_or(candidate.rule.is_some(), |(risk, gain)| {
        let falls = risk.now.value - risk.after.value;
        let is_seen = |sure: f64| risk.sure >= sure && falls >= FALL_LEAST * risk.now.value && gain.value > 0.0;
        match basis {
            Basis::Learned => is_seen(SURE_LEARNED),
            Basis::Mixed => is_seen(SURE_LEANING),
            // A limit of material or part is a limit, whatever the record says; other practice has to be worth its
            // trouble by what is believed of it.
            Basis::CommonPractice => candidate.rule.is_some_and(Rule::is_limit) || falls > 0.0 && gain.value > 0.0,
        }
    });
    is_worth_it.then(|| Suggestion {
        change: candidate.change,
        effects: helped.into_iter().chain(harmed).collect(),
        meant,
        risk,
        minutes: effect.minutes,
        gain,
        basis,
        rule: candidate.rule,
        n_courses: situation.courses.len(),
        n_waits: effect.n_waits,
        n_long_waits: effect.n_long_waits,
    })
}

fn is_moved(one: &ModeEffect) -> bool {
    (one.after.value - one.now.value).abs() > MOVED_LEAST * one.now.value
}

/// Minutes that one failure costs.
fn loss(situation: &Situation<'_>, mode: FailureMode) -> f64 {
    let lesson = situation.lessons.iter().find(|lesson: &&Lesson<'_>| lesson.mode == mode);
    lesson.map_or(0.0, |lesson| lesson.loss.as_minutes())
}

/// What the modes that it helps against, most helped first, rest on.
fn basis(helped: &[ModeEffect]) -> Basis {
    let is_known = |one: &ModeEffect| one.state != State::TooLittle;
    match helped.first().map(|first| first.state) {
        Some(State::Learned) => Basis::Learned,
        Some(State::Leaning) => Basis::Mixed,
        Some(State::TooLittle) if helped.iter().any(is_known) => Basis::Mixed,
        Some(State::TooLittle) | None => Basis::CommonPractice,
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
