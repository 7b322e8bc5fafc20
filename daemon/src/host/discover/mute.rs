//! What can be told of a host whose keys say nothing: a heater's power, by its place and its motion. Must not: be asked
//! where a word speaks.

use super::heat::Heater;
use super::leaf::Leaf;
use super::pair::Role;
use super::words;

/// A share of a heater's power is written up to this, or is told by a word.
const WHOLE: f64 = 1.0;

/// The leaf of each heater's duty: the one value in the same object or row as its temperature that is a share, that
/// moves, and that is nothing while the heater is off.
pub(super) fn duties(leaves: &[Leaf], heaters: &[Heater]) -> Vec<Option<usize>> {
    let none = vec![None; heaters.len()];
    let Some(first) = heaters.first().and_then(|heater| heater.leaf(leaves)) else { return none };
    let steps = leaves.iter().filter(|leaf| leaf.document == first.document && leaf.parent() == first.parent());
    let mut fitting = steps.filter_map(|leaf| {
        let step = leaf.steps.last()?;
        let same = |heater: &Heater| {
            let base = heater.leaf(leaves)?;
            leaves.iter().position(|leaf| {
                leaf.document == base.document && leaf.parent() == base.parent() && leaf.steps.last() == Some(step)
            })
        };
        let found: Vec<usize> = heaters.iter().map(same).collect::<Option<_>>()?;
        let are_shares = found.iter().zip(heaters).all(|(idx, heater)| is_share(leaves, *idx, heater));
        let moves = found.iter().any(|idx| leaves[*idx].series.as_ref().is_some_and(|series| !series.is_still()));
        (are_shares && moves && first.parent().len() > 1).then_some(found)
    });
    let found = fitting.next();
    // Of two that fit, neither is told.
    let is_only = fitting.next().is_none();
    found.filter(|_| is_only).map_or(none, |found| found.into_iter().map(Some).collect())
}

fn is_share(leaves: &[Leaf], idx: usize, heater: &Heater) -> bool {
    let leaf = &leaves[idx];
    let is_taken = heater.actual == Some(idx) || heater.target == Some(idx);
    let speaks = leaf.own().iter().any(|word| word.chars().count() > 2);
    let Some(series) = leaf.series.as_ref() else { return false };
    let barred = [words::NOT_HEAT, words::LIMIT, words::PROGRESS];
    let is_barred = speaks || barred.iter().any(|list| words::any(leaf.own(), list));
    let targets = heater.celsius(leaves, Role::Target);
    let rests_well = series.values.iter().zip(&targets).all(|(share, target)| match (share, target) {
        (Some(share), Some(target)) => *target > 0.0 || *share <= 0.0,
        (_, _) => true,
    });
    !is_taken && !is_barred && series.min() >= 0.0 && series.max() <= WHOLE && rests_well
}
