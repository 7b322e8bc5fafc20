//! Which of two tools should hold which material: the one that bears waiting better should do the waiting. Owns how the
//! two are compared.

use super::candidates::Candidate;
use super::change::{Change, Step};
use super::practice::HALF;
use super::situation::Situation;
use super::suggestion::Rule;
use crate::polymer::{MaterialFacts, dose_rate};
use crate::risk::FailureMode;
use crate::units::Celsius;

/// The neighbour's material for this one, where it bears waiting better and this tool waits more. It is practice where a
/// wait uses up half of what the material stands, and both together would use up half as much.
pub(super) fn swap(situation: &Situation<'_>) -> Option<Candidate> {
    let neighbour = situation.neighbour.filter(|neighbour| neighbour.facts.kind != situation.facts.kind)?;
    if situation.is_shared {
        return None;
    }
    let own = wears(situation.facts, situation.held.print?);
    let theirs = wears(neighbour.facts, neighbour.print?);
    let [waits, neighbour_waits] = neighbour.waits;
    if waits <= neighbour_waits || own <= theirs {
        return None;
    }
    let now = waits * own + neighbour_waits * theirs;
    let after = waits * theirs + neighbour_waits * own;
    let is_clear = after <= HALF * now && uses_half(situation);
    let change = Change::Material(Step { from: Some(situation.facts.kind), to: neighbour.facts.kind });
    let modes = vec![FailureMode::Jam, FailureMode::UnderExtrusion];
    Some(Candidate { change, rule: is_clear.then_some(Rule::WaitsBest), modes })
}

/// The share of what a material stands that a minute takes at print temperature. Both are compared where they are
/// printed, because what each would be lowered to is not known, and a drop lowers both alike.
fn wears(facts: &MaterialFacts, print: Celsius) -> f64 {
    dose_rate(facts, print) / facts.residence_limit.value.get()
}

/// Whether the worst wait before a turn takes half of what the material stands, on the median of its runs.
fn uses_half(situation: &Situation<'_>) -> bool {
    let worst = situation.usual(|features| features.restarts.map(|of| of.dose_max.get()));
    worst.is_some_and(|worst| worst >= HALF * situation.facts.residence_limit.value.get())
}
