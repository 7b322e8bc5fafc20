//! What might be changed about a tool: what practice says, what was tried, and what physics would try. Owns that each is
//! within the limits, none in force and no two alike; whether any of them helps is `effect`'s.

use super::change::Change;
use super::limits::{may_cure, within};
use super::situation::Situation;
use super::suggestion::Rule;
use super::waiting::SAME_K;
use super::{order, practice, values};
use crate::risk::FailureMode;
use crate::units::{Celsius, CubicMm, Millimetres};

/// Lengths, speeds and volumes nearer than this are the same: mm, mm/s, mm3 (common practice, no source).
pub(super) const SAME_MM: f64 = 0.05;
pub(super) const SAME_MM_S: f64 = 0.5;
pub(super) const SAME_MM3: f64 = 0.5;
/// A change that might help.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// The change.
    pub change: Change,
    /// What the trade says for it; `None` where the record alone may.
    pub rule: Option<Rule>,
    /// Failure modes that it is meant for; the record may add others.
    pub modes: Vec<FailureMode>,
}

/// What might be changed: within the limits, none of it in force, no two alike, and no cure for strings or blobs that
/// heats more. What practice says comes first.
#[must_use]
pub fn candidates(situation: &Situation<'_>) -> Vec<Candidate> {
    let mut found: Vec<Candidate> = Vec::new();
    let asked = practice::rules(situation).into_iter().chain(order::swap(situation)).chain(values::plain(situation));
    for mut candidate in asked {
        let Candidate { change, modes, .. } = &mut candidate;
        modes.retain(|mode| may_cure(change, *mode));
        let is_known = found.iter().any(|other| is_same(&other.change, change));
        if !is_known && !is_in_force(change) && within(change, situation).is_ok() {
            found.push(candidate);
        }
    }
    found
}

/// Whether two changes come to the same.
fn is_same(one: &Change, other: &Change) -> bool {
    match (one, other) {
        (Change::Standby(one), Change::Standby(other))
        | (Change::PrintTemperature(one), Change::PrintTemperature(other)) => {
            near(one.to.get(), other.to.get(), SAME_K)
        }
        (Change::Retract(one), Change::Retract(other)) => near(one.to.get(), other.to.get(), SAME_MM),
        (Change::RetractSpeed(one), Change::RetractSpeed(other)) => near(one.to, other.to, SAME_MM_S),
        (Change::Prime(one), Change::Prime(other)) => near(one.to.get(), other.to.get(), SAME_MM3),
        (one, other) => one == other,
    }
}

/// Whether a change would leave everything as it is.
pub(super) fn is_in_force(change: &Change) -> bool {
    let is_near = |from: Option<f64>, to: f64, same: f64| from.is_some_and(|from| near(from, to, same));
    match change {
        Change::Standby(step) | Change::PrintTemperature(step) => {
            is_near(step.from.map(Celsius::get), step.to.get(), SAME_K)
        }
        Change::Retract(step) => is_near(step.from.map(Millimetres::get), step.to.get(), SAME_MM),
        Change::RetractSpeed(step) => is_near(step.from, step.to, SAME_MM_S),
        Change::Prime(step) => is_near(step.from.map(CubicMm::get), step.to.get(), SAME_MM3),
        Change::OozeShield(step) | Change::Dried(step) => step.from == Some(step.to),
        Change::Material(step) => step.from == Some(step.to),
        Change::Replace(_) | Change::Clean | Change::AllMetal => false,
    }
}

pub(super) fn near(one: f64, other: f64, same: f64) -> bool {
    (one - other).abs() <= same
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
