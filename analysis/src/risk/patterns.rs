//! Readable patterns: a shallow tree of "at least" and "under", each leaf with its runs counted. Owns the tree, what a
//! leaf may be and when to stop. Must not fill in what is not known, nor say that a pattern is a cause.

mod quantity;
mod split;
#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;

use super::run::ToolRun;
use crate::estimate::{Confidence, Estimate, Refusal, rate};
pub use quantity::Quantity;
use split::Search;

/// Runs and events under which there is too little to find anything in.
const MIN_RUNS: usize = 20;
const MIN_EVENTS: usize = 4;
/// A leaf holds one run in so many of all, but at least and at most so many as follow: of 30 runs without an event the
/// interval ends under 10 %, and a longer record may show rarer things.
const LEAF_SHARE: usize = 20;
const LEAF_LEAST: usize = 8;
const LEAF_MOST: usize = 30;
/// Questions on the way to a leaf. Who reads more than three at once?
const DEPTH: usize = 3;
/// A split is made if one as strong would be found by chance at most so often.
const BEYOND_CHANCE: f64 = 0.05;

/// What a condition asks of its factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bound {
    /// This or more, in the factor's unit.
    AtLeast(f64),
    /// Less than this.
    Under(f64),
    /// It was so.
    Yes,
    /// It was not so.
    No,
    /// It is not known of these runs, so they can't be asked.
    Unknown,
}

/// One of the conditions that a leaf's runs share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Condition {
    /// Name of the quantity.
    pub factor: &'static str,
    /// What is asked of it.
    pub bound: Bound,
    /// How often a split as strong would be found here if nothing mattered, at most: the search through all thresholds
    /// of all quantities is counted in, what was split before is not.
    pub chance: f64,
}

/// A leaf: the runs that share its conditions.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    /// All of them hold; none, if no split went beyond chance.
    pub conditions: Vec<Condition>,
    /// Its runs in which it happened.
    pub events: usize,
    /// Its runs.
    pub n: usize,
    /// Their share, with the exact 90 % interval of the leaf as found. The leaf was chosen on the same runs, so new ones
    /// will lie nearer to the share of all; whoever shows the interval says so. It takes each run for itself, also where the
    /// runs of a print share their fate.
    pub rate: Estimate,
}

/// The patterns of one failure mode.
#[derive(Clone, Debug, PartialEq)]
pub struct Patterns {
    /// Runs with a known outcome. Each of them is in exactly one leaf.
    pub n: usize,
    /// Those in which it happened.
    pub events: usize,
    /// The leaves, highest share first.
    pub leaves: Vec<Pattern>,
    /// Thresholds, over all quantities, among which the first split was chosen on these very runs.
    pub tried: usize,
    /// Quantities that vary, but are known of fewer than four runs in five and therefore left out.
    pub left_out: Vec<&'static str>,
}

/// Patterns of the runs whose outcome is known, in quantities that a person can read. `happened` is paired with `runs`
/// by position. Where the runs of a print share their fate, they count as the fewer pieces of evidence that they are.
///
/// # Errors
/// With fewer than 20 such runs or fewer than 4 events among them, with nothing but events, or where nothing varies.
pub fn patterns(runs: &[ToolRun], happened: &[Option<bool>]) -> Result<Patterns, Refusal> {
    let (mut known, mut outcomes, mut prints) = (Vec::new(), Vec::new(), Vec::new());
    for (run, yes) in runs.iter().zip(happened) {
        if let Some(yes) = yes {
            known.push(&run.features);
            outcomes.push(*yes);
            prints.push(run.print);
        }
    }
    find(&quantity::readable(&known), &outcomes, split::repetition(&prints, &outcomes))
}

/// Patterns in any table: a value of each of `quantities` for each of `happened`, by position. Each row is taken as one
/// piece of evidence.
///
/// # Errors
/// As [`patterns`].
pub fn patterns_in(quantities: &[Quantity], happened: &[bool]) -> Result<Patterns, Refusal> {
    find(quantities, happened, 1.0)
}

fn find(quantities: &[Quantity], happened: &[bool], repetition: f64) -> Result<Patterns, Refusal> {
    let (n, events) = (happened.len(), happened.iter().filter(|yes| **yes).count());
    enough(n, events)?;
    let varying: Vec<&Quantity> = quantities.iter().filter(|quantity| quantity.varies()).collect();
    let (kept, sparse): (Vec<&Quantity>, Vec<&Quantity>) =
        varying.into_iter().partition(|quantity| quantity.is_known_enough(n));
    if kept.is_empty() {
        return Err(Refusal::NothingVaries);
    }
    let leaf_runs = n.div_ceil(LEAF_SHARE).clamp(LEAF_LEAST, LEAF_MOST);
    let search = Search { quantities: &kept, happened, leaf_runs, repetition };
    let all: Vec<usize> = (0..n).collect();
    let tried = search.thresholds(&all);
    let mut leaves = Vec::new();
    grow(&search, &all, &[], DEPTH, &mut leaves)?;
    leaves.sort_by(|a, b| b.rate.value.total_cmp(&a.rate.value).then(b.n.cmp(&a.n)));
    Ok(Patterns { n, events, leaves, tried, left_out: sparse.iter().map(|quantity| quantity.name).collect() })
}

/// Whether there are runs and events enough to look for what goes with them.
pub(super) fn enough(n: usize, events: usize) -> Result<(), Refusal> {
    if n < MIN_RUNS {
        return Err(Refusal::TooFew { have: n, need: MIN_RUNS });
    }
    match events {
        0 => Err(Refusal::NoEvents),
        _ if events < MIN_EVENTS => Err(Refusal::TooFew { have: events, need: MIN_EVENTS }),
        _ if events == n => Err(Refusal::OneClassOnly),
        _ => Ok(()),
    }
}

/// Splits `runs` as long as a split goes beyond chance and `depth` allows it, and keeps the leaves.
fn grow(
    search: &Search<'_>,
    runs: &[usize],
    path: &[Condition],
    depth: usize,
    leaves: &mut Vec<Pattern>,
) -> Result<(), Refusal> {
    let best = if depth > 0 { search.best(runs) } else { None };
    let Some(split) = best.filter(|split| split.chance <= BEYOND_CHANCE) else {
        let events = runs.iter().filter(|run| search.happened[**run]).count();
        let rate = rate(events, runs.len(), Confidence::Percent90)?;
        leaves.push(Pattern { conditions: path.to_vec(), events, n: runs.len(), rate });
        return Ok(());
    };
    let [low, high, unknown] = split.part(runs);
    let [under, at_least] = split.bounds();
    grow(search, &low, &with(path, split.condition(under)), depth - 1, leaves)?;
    grow(search, &high, &with(path, split.condition(at_least)), depth - 1, leaves)?;
    if unknown.is_empty() {
        return Ok(());
    }
    grow(search, &unknown, &with(path, split.condition(Bound::Unknown)), 0, leaves)
}

/// The path with one condition more; an earlier, wider one of the same kind says nothing beside it and goes.
fn with(path: &[Condition], next: Condition) -> Vec<Condition> {
    let wider = |held: &Condition| {
        held.factor == next.factor && std::mem::discriminant(&held.bound) == std::mem::discriminant(&next.bound)
    };
    path.iter().filter(|held| !wider(held)).copied().chain([next]).collect()
}
