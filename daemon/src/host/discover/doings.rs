//! What the printer does at each snapshot, besides its words, and what that makes of a word that is not understood.
//! Must not: know what any word means.

use super::leaf::{Leaf, word_of};
use super::words;
use super::writing::count;
use crate::entry::JobState;

/// What is known of the printer at each snapshot besides its words.
#[derive(Clone, Debug, Default)]
pub(super) struct Doings {
    /// Progress grows.
    pub(super) progresses: Vec<bool>,
    /// A heater that is on is still far from its set point.
    pub(super) heats: Vec<bool>,
    /// No hot end is on: set points of 0, or hot ends too cold to print.
    pub(super) rests: Vec<bool>,
    /// A hot end is at a set point to print at.
    pub(super) works: Vec<bool>,
    /// Progress is at its whole.
    pub(super) is_full: Vec<bool>,
}

/// Fewer snapshots prove nothing.
const SNAPSHOTS_MIN: usize = 3;
/// Higher numbers are no codes of states.
const CODE_MAX: f64 = 20.0;

/// The snapshots at which a word stands there.
fn at(leaf: &Leaf, word: &str) -> Vec<usize> {
    let is_word = |idx: &usize| leaf.values[*idx].as_ref().is_some_and(|value| word_of(value) == word);
    (0..leaf.values.len()).filter(is_word).collect()
}

fn share(at: &[usize], of: &[bool]) -> f64 {
    let found = at.iter().filter(|idx| of.get(**idx).copied().unwrap_or(false)).count();
    count(found) / count(at.len()).max(1.0)
}

/// What the printer did while the word stood there.
pub(super) fn evidence(leaf: &Leaf, word: &str, doings: &Doings) -> Option<JobState> {
    let at = at(leaf, word);
    if at.len() < SNAPSHOTS_MIN {
        return None;
    }
    // A file's first lines are read before the heaters are hot.
    let is_cold = share(&at, &doings.works) <= 0.0;
    if (is_cold || share(&at, &doings.progresses) <= 0.0) && share(&at, &doings.heats) >= 0.8 {
        return Some(JobState::Heating);
    }
    // Half is enough: a slow job's progress stands still between two polls.
    if share(&at, &doings.progresses) >= 0.5 {
        return Some(JobState::Printing);
    }
    None
}

/// The most likely, where there is no evidence enough.
pub(super) fn guess(leaf: &Leaf, word: &str, doings: &Doings) -> JobState {
    let at = at(leaf, word);
    let is_cold = share(&at, &doings.works) <= 0.0;
    if is_cold && share(&at, &doings.heats) >= 0.5 {
        return JobState::Heating;
    }
    if share(&at, &doings.progresses) > 0.0 {
        return JobState::Printing;
    }
    if share(&at, &doings.rests) >= 0.5 {
        let is_full = share(&at, &doings.is_full) >= 0.5;
        return if is_full { JobState::Completed } else { JobState::None };
    }
    if share(&at, &doings.heats) >= 0.5 { JobState::Heating } else { JobState::Printing }
}

/// Whether a small whole number without a name changes as the printer goes from one thing to another.
pub(super) fn is_code(leaf: &Leaf, doings: &Doings) -> bool {
    let is_small = leaf.series.as_ref().is_some_and(|series| {
        let is_plain = series.is_whole() && !series.has_fraction && series.suffix.is_none();
        is_plain && series.min() >= 0.0 && series.max() <= CODE_MAX
    });
    let barred = [words::NOT_HEAT, words::DUTY, words::TOOL, words::PROGRESS, words::NOT_JOB];
    if !is_small || leaf.is_container || barred.iter().any(|list| words::any(leaf.own(), list)) {
        return false;
    }
    let kinds = leaf.kinds();
    let mut meant: Vec<JobState> = kinds.iter().map(|word| guess(leaf, word, doings)).collect();
    let is_borne_out = kinds.iter().any(|word| evidence(leaf, word, doings).is_some());
    let n_meant = meant.len();
    meant.dedup();
    // Each number of its own means something of its own.
    n_meant >= 2 && meant.len() == n_meant && is_borne_out
}
