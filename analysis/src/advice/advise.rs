//! What is worth changing, best first. Owns which value of a setting is best, and the order; whether a change is worth it
//! at all is `judge`'s.

use super::candidates::candidates;
use super::effect::AsIs;
use super::judge::judge;
use super::situation::Situation;
use super::suggestion::{Basis, Rule, Suggestion};

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

/// Of values of one setting the one to advise: a limit before all, what the record speaks for before what practice alone does, then what
/// gains most, then the least change.
fn best(mut values: Vec<Suggestion>) -> Option<Suggestion> {
    let is_practice = |one: &Suggestion| one.basis == Basis::CommonPractice;
    let is_limit = |one: &Suggestion| one.rule.is_some_and(Rule::is_limit);
    // A value on the way to a limit does not stand for the limit.
    if values.iter().any(is_limit) {
        values.retain(is_limit);
    } else if values.iter().any(|one| !is_practice(one)) {
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

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
