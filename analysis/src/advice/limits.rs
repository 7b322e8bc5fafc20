//! What no change may go beyond, whatever the record says of it: the material's and the part's hard limits, and that
//! more heat cures neither strings nor blobs. Owns these; whether a change within them is any good stands elsewhere.

use super::change::{Change, PartKind, Step};
use super::practice::{self, PRIME_USUAL, SPEED_USUAL};
use super::situation::{LinerKnown, Situation};
use crate::polymer::Material;
use crate::risk::FailureMode;
use crate::units::{Celsius, CubicMm, Millimetres, Seconds};

/// A retraction may be so much longer than what drive and material need, if it was tried (a proposal, no source).
const RETRACT_MARGIN: f64 = 1.0;

/// Why a change is out of the question.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Beyond {
    /// A set point over what the liner stands.
    OverLiner {
        /// The set point.
        set: Celsius,
        /// What the liner stands.
        rating: Celsius,
    },
    /// A print temperature outside of the material's usual range that comes no nearer to it.
    OutsideMaterial {
        /// Lowest usual.
        low: Celsius,
        /// Highest usual.
        high: Celsius,
    },
    /// A standby over the print temperature.
    OverPrint {
        /// The print temperature.
        print: Celsius,
    },
    /// A standby at which the material is a glass, or no warmer than around it: the tool would be off.
    Off {
        /// The lowest standby worth the name.
        least: Celsius,
    },
    /// A standby under first flow, and waits that leave no time to reheat.
    NoTimeToReheat {
        /// Time to cool and heat again; `None` where it is not known.
        needed: Option<Seconds>,
        /// The shortest wait; `None` where none was seen.
        shortest: Option<Seconds>,
    },
    /// One heater serves all tools: what waits can't be lowered alone.
    OneHeater,
    /// A length beyond what drive and material need, or less than none.
    Retraction {
        /// The longest.
        most: Millimetres,
    },
    /// A retraction speed outside of common practice that comes no nearer to it.
    Speed {
        /// The slowest, mm/s.
        low: f64,
        /// The fastest, mm/s.
        high: f64,
    },
    /// A volume beyond what was tried and common practice, or less than none.
    Prime {
        /// The most.
        most: CubicMm,
    },
    /// There is no liner.
    NoLiner,
    /// No tool beside it is known to hold that material, and at which temperature.
    NobodyHolds {
        /// The material.
        material: Material,
    },
}

/// Whether a change stays within the limits of material and part.
///
/// # Errors
/// With the first limit that it goes beyond.
pub fn within(change: &Change, situation: &Situation<'_>) -> Result<(), Beyond> {
    match change {
        Change::Standby(step) => standby(step.to, situation),
        Change::PrintTemperature(step) => print_temperature(*step, situation),
        Change::Retract(step) => {
            let most = longest_retraction(situation);
            allowed((0.0..=most.get()).contains(&step.to.get()), Beyond::Retraction { most })
        }
        Change::RetractSpeed(step) => {
            let [low, high] = SPEED_USUAL;
            allowed(is_toward(step.from, step.to, low, high), Beyond::Speed { low, high })
        }
        Change::Prime(step) => {
            let tried = situation.tried.iter().filter_map(|features| features.prime).map(CubicMm::get);
            let most = tried.fold(PRIME_USUAL[1], f64::max);
            allowed((0.0..=most).contains(&step.to.get()), Beyond::Prime { most: CubicMm::new(most) })
        }
        Change::Material(step) => material(step.to, situation),
        Change::Replace(PartKind::Liner) | Change::AllMetal => {
            allowed(situation.liner != LinerKnown::Absent, Beyond::NoLiner)
        }
        Change::Replace(PartKind::Nozzle) | Change::Clean | Change::OozeShield(_) | Change::Dried(_) => Ok(()),
    }
}

/// Whether a change may be meant to cure a failure mode: more heat cures neither strings nor blobs. Where it is not
/// known whether it heats more, it is taken to.
#[must_use]
pub fn may_cure(change: &Change, mode: FailureMode) -> bool {
    !(matches!(mode, FailureMode::Stringing | FailureMode::Blob) && heats_more(change))
}

fn heats_more(change: &Change) -> bool {
    match change {
        Change::Standby(step) | Change::PrintTemperature(step) => step.from.is_none_or(|from| step.to > from),
        Change::Material(step) => {
            let usual = |material: Material| material.built_in().usual_print();
            step.from.is_none_or(|from| usual(step.to) > usual(from))
        }
        Change::Retract(_)
        | Change::RetractSpeed(_)
        | Change::Prime(_)
        | Change::OozeShield(_)
        | Change::Dried(_)
        | Change::Replace(_)
        | Change::Clean
        | Change::AllMetal => false,
    }
}

fn allowed(is_allowed: bool, beyond: Beyond) -> Result<(), Beyond> {
    if is_allowed { Ok(()) } else { Err(beyond) }
}

fn under_rating(set: Celsius, liner: LinerKnown) -> Result<(), Beyond> {
    liner.rating().map_or(Ok(()), |rating| allowed(set <= rating, Beyond::OverLiner { set, rating }))
}

/// Whether a value lies in a range, or between it and what is in force on the same side.
fn is_toward(from: Option<f64>, to: f64, low: f64, high: f64) -> bool {
    let from = from.filter(|from| from.is_finite()).unwrap_or(low);
    (from.min(low)..=from.max(high)).contains(&to)
}

fn standby(to: Celsius, situation: &Situation<'_>) -> Result<(), Beyond> {
    if situation.is_shared {
        return Err(Beyond::OneHeater);
    }
    let facts = situation.facts;
    under_rating(to, situation.liner)?;
    let print = situation.held.print.unwrap_or(facts.print_high.value);
    allowed(to <= print, Beyond::OverPrint { print })?;
    let around = situation.times.surroundings;
    let least = facts.glass_transition.value.max(around);
    allowed(to >= least && to > around, Beyond::Off { least })?;
    if to >= facts.first_flow.value {
        return Ok(());
    }
    let (needed, shortest) = (situation.round_trip(to), situation.shortest_wait());
    let has_time = needed.zip(shortest).is_some_and(|(needed, shortest)| shortest >= needed);
    allowed(has_time, Beyond::NoTimeToReheat { needed, shortest })
}

fn print_temperature(step: Step<Celsius>, situation: &Situation<'_>) -> Result<(), Beyond> {
    under_rating(step.to, situation.liner)?;
    let (low, high) = (situation.facts.print_low.value, situation.facts.print_high.value);
    let is_toward = is_toward(step.from.map(Celsius::get), step.to.get(), low.get(), high.get());
    allowed(is_toward, Beyond::OutsideMaterial { low, high })?;
    // A standby that is no drop goes along with the print temperature.
    let held = situation.held;
    let is_dropped = held.standby.zip(held.print).is_none_or(|(standby, print)| standby < print);
    let is_under = held.standby.is_none_or(|standby| standby <= step.to);
    allowed(!is_dropped || is_under, Beyond::OverPrint { print: step.to })
}

/// What drive and material need, and somewhat more where that was tried.
fn longest_retraction(situation: &Situation<'_>) -> Millimetres {
    let need = practice::retraction(situation).high.get();
    let tried = situation.tried.iter().filter_map(|features| features.retract).map(Millimetres::get);
    Millimetres::new(tried.fold(0.0, f64::max).clamp(need, need + RETRACT_MARGIN))
}

/// Each tool prints what the other one held, as hot as it was printed there.
fn material(to: Material, situation: &Situation<'_>) -> Result<(), Beyond> {
    let holds = situation.neighbour.filter(|neighbour| neighbour.facts.kind == to);
    let known = holds.and_then(|neighbour| Some((neighbour, neighbour.print?, situation.held.print?)));
    let (neighbour, theirs, own) = known.ok_or(Beyond::NobodyHolds { material: to })?;
    under_rating(theirs, situation.liner)?;
    under_rating(own, neighbour.liner)
}
