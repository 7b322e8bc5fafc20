//! What the temperatures say of the tool at work: which is hottest, which alone can work, which cools once it is left.
//! Must not: look at any other value.

use super::leaf::Leaf;
use super::order::Ordered;
use super::pair::Role;

/// A set point over another by so much is most likely a tool's that is at work, K: standby is that far below, while two
/// materials' print temperatures seldom are as far apart (common practice, no source).
const STANDBY_UNDER: f64 = 30.0;
/// A tool at work is asked for at least so much, °C.
const PRINT_MIN: f64 = 150.0;

/// The tool at work at each snapshot, as far as the set points tell.
pub(super) fn hottest(leaves: &[Leaf], ordered: &Ordered) -> Vec<Option<usize>> {
    let targets: Vec<Vec<Option<f64>>> = ordered.tools.iter().map(|tool| tool.celsius(leaves, Role::Target)).collect();
    let snapshots = targets.iter().map(Vec::len).max().unwrap_or(0);
    let at = |snapshot: usize| {
        let mut now: Vec<(usize, f64)> = targets
            .iter()
            .enumerate()
            .filter_map(|(tool, targets)| Some((tool, targets.get(snapshot).copied().flatten()?)))
            .collect();
        now.sort_by(|one, other| other.1.total_cmp(&one.1));
        match now.as_slice() {
            [first, second, ..] if first.1 >= PRINT_MIN && first.1 - second.1 > STANDBY_UNDER => Some(first.0),
            _ => None,
        }
    };
    (0..snapshots).map(at).collect()
}

/// The only tool that is hot enough to work at each snapshot, where there is one: the others can't be at work.
pub(super) fn only_hot(leaves: &[Leaf], ordered: &Ordered) -> Vec<Option<usize>> {
    let actuals: Vec<Vec<Option<f64>>> = ordered.tools.iter().map(|tool| tool.celsius(leaves, Role::Actual)).collect();
    let snapshots = actuals.iter().map(Vec::len).max().unwrap_or(0);
    let at = |snapshot: usize| {
        let now: Option<Vec<f64>> = actuals.iter().map(|actuals| actuals.get(snapshot).copied().flatten()).collect();
        let hot: Vec<usize> =
            now?.iter().enumerate().filter(|(_, actual)| **actual >= PRINT_MIN).map(|(tool, _)| tool).collect();
        Some(hot.as_slice()).filter(|hot| hot.len() == 1).and_then(|hot| hot.first().copied())
    };
    (0..snapshots).map(at).collect()
}

/// Whether the tool that is left is sent to standby when the candidate changes: what a job does at a tool change.
pub(super) fn cools_what_is_left(leaves: &[Leaf], ordered: &Ordered, tools: &[Option<usize>]) -> bool {
    // Commands stand a few lines behind the change; a poll later both have happened.
    const WITHIN: usize = 4;
    let changed = tools.windows(2).position(|pair| matches!(pair, [Some(one), Some(other)] if one != other));
    let Some((at, left)) = changed.and_then(|at| Some((at, tools.get(at).copied().flatten()?))) else { return false };
    let Some(tool) = ordered.tools.get(left) else { return false };
    let targets = tool.celsius(leaves, Role::Target);
    let get = |idx: usize| targets.get(idx).copied().flatten();
    let (Some(before), Some(after)) =
        (get(at.saturating_sub(WITHIN)), get((at + WITHIN).min(targets.len().saturating_sub(1))))
    else {
        return false;
    };
    before >= PRINT_MIN && after < before
}
