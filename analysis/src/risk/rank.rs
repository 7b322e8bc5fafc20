//! Which factor carries most of a failure mode, and which can't be told apart. Owns the order; how likely each
//! explanation is comes from the mixture, how much a factor moves the risk from the effects.

use super::alone::Alone;
use super::effects::Effect;
use super::forward::Ahead;
use super::learn::{Carries, Factor, Inseparable};
use super::measure::{MEASURES, Placed, correlation};
use super::mixture::{Credits, place};
use super::run::Group;
use crate::estimate::Estimate;

/// Two groups whose likeliest explanations correlate so far over the record say the same of it.
const ALIKE: f64 = 0.9;
/// And so far that no record could tell them apart.
const SAME: f64 = 0.97;
/// Unless the record prefers one of them by odds of 20 to 1.
const PREFERRED: f64 = 3.0;
/// A group that explains less than this is not named as inseparable from another.
const EXPLAINS: f64 = 0.02;
/// So many of the first factors are looked at alone.
const ALONE: usize = 3;

/// The factors in order of what they carry, the groups, and what can't be told apart.
pub(super) fn rank(ahead: &Ahead, effects: &[Effect]) -> (Vec<Factor>, Vec<Carries>, Vec<Inseparable>) {
    let Some(mixture) = ahead.mixture.as_ref().filter(|_| !effects.is_empty()) else {
        return (Vec::new(), Vec::new(), Vec::new());
    };
    let credits = mixture.credits();
    let mut groups: Vec<Group> = Group::ALL.to_vec();
    groups.retain(|group| effects.iter().any(|effect| MEASURES[effect.idx].group == *group));
    groups.sort_by(|a, b| credits.groups[place(*b)].total_cmp(&credits.groups[place(*a)]));
    let stands_for = |group: Group| {
        let of_group = effects.iter().filter(|effect| MEASURES[effect.idx].group == group);
        of_group.max_by(|a, b| carried(&credits, a.idx, effects).total_cmp(&carried(&credits, b.idx, effects)))
    };
    let inseparable = inseparable(ahead, &groups, &credits, |group| stands_for(group).map(|effect| effect.idx));
    // What stands for the likeliest group comes first, and with it what can't be told from it; then all else.
    let is_tied = |group: &Group| inseparable.iter().any(|pair| pair.groups[1] == *group);
    let first: Vec<&Effect> = groups
        .iter()
        .enumerate()
        .filter(|(nth, group)| *nth == 0 || is_tied(group))
        .filter_map(|(_, group)| stands_for(*group))
        .collect();
    let mut others: Vec<&Effect> =
        effects.iter().filter(|effect| first.iter().all(|other| other.idx != effect.idx)).collect();
    others.sort_by(|a, b| carried(&credits, b.idx, effects).total_cmp(&carried(&credits, a.idx, effects)));
    let from = first.len() + 1;
    let others = others.into_iter().enumerate().map(|(nth, effect)| (from + nth, effect));
    let ranked: Vec<(usize, &Effect)> = first.into_iter().map(|effect| (1, effect)).chain(others).collect();
    let factors = ranked.into_iter().map(|(rank, effect)| Factor {
        factor: MEASURES[effect.idx].name,
        group: MEASURES[effect.idx].group,
        effect: effect.posterior,
        prior: effect.prior,
        alone: if rank <= ALONE { alone(ahead, effect.idx) } else { None },
        repeats_prior: effect.repeats_prior,
        sure: effect.sure,
        carries: carried(&credits, effect.idx, effects).min(1.0),
        rank,
    });
    let carries = groups.iter().map(|group| Carries { group: *group, probability: credits.groups[place(*group)] });
    (factors.collect(), carries.collect(), inseparable)
}

fn alone(ahead: &Ahead, idx: usize) -> Option<Estimate> {
    let (runs, happened) = ahead.known();
    let placed = Placed::of(idx, &runs)?;
    let column: Vec<f64> = runs.iter().map(|run| placed.standard(run)).collect();
    Alone::of(&column, &happened, &ahead.weights).ok().map(|found| found.estimate(runs.len()))
}

/// What a factor carries, and what those carry that are left out of the effects because they say the same: these go to
/// the first of their group.
fn carried(credits: &Credits, idx: usize, effects: &[Effect]) -> f64 {
    let group = MEASURES[idx].group;
    let is_told = |other: usize| effects.iter().any(|effect| effect.idx == other);
    let first = effects.iter().find(|effect| MEASURES[effect.idx].group == group).map(|effect| effect.idx);
    let silent = (0..MEASURES.len()).filter(|other| MEASURES[*other].group == group && !is_told(*other));
    let theirs: f64 = silent.map(|other| credits.factors[other]).sum();
    credits.factors[idx] + if first == Some(idx) { theirs } else { 0.0 }
}

/// Pairs of the likeliest group and another one whose explanations say the same of the record.
fn inseparable(
    ahead: &Ahead,
    groups: &[Group],
    credits: &Credits,
    stands_for: impl Fn(Group) -> Option<usize>,
) -> Vec<Inseparable> {
    let (runs, _) = ahead.known();
    let Some((mixture, first)) = ahead.mixture.as_ref().zip(groups.first().copied()) else { return Vec::new() };
    let Some((evidence, moves)) = mixture.best_of(first, &runs) else { return Vec::new() };
    let mut found = Vec::new();
    for group in groups.iter().skip(1) {
        let Some((theirs, their_moves)) = mixture.best_of(*group, &runs) else { continue };
        let correlation = correlation(&moves, &their_moves).abs();
        if correlation < SAME && credits.groups[place(*group)] < EXPLAINS {
            continue;
        }
        // Where they are one and the same over the whole record, what prefers one is belief, not evidence.
        let is_preferred = correlation < SAME && (evidence - theirs).abs() > PREFERRED;
        if correlation < ALIKE || is_preferred {
            continue;
        }
        if let Some((one, other)) = stands_for(first).zip(stands_for(*group)) {
            let factors = [MEASURES[one].name, MEASURES[other].name];
            found.push(Inseparable { factors, groups: [first, *group], correlation });
        }
    }
    found
}
