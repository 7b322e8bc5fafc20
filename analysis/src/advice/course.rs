//! Runs as they would go with what is in force, or with one change of it. Owns which features a change moves; how a
//! wait would have gone is `wait`'s, what follows for the risks is the learner's.

use super::change::{Change, PartKind};
use super::situation::{Ages, Course, Held, Situation};
use super::sums::Sums;
use super::wait::{Asked, Waiting};
use crate::polymer::{MaterialFacts, STAGNANT_VOLUME, WORKING_FLOW, dose_rate};
use crate::risk::Features;
use crate::units::{Celsius, CelsiusDelta, DoseMinutes, Seconds};
use crate::wear::wear_hours;

/// Waits that are asked of whether the tool is heated ahead of its turn: the newest.
const ASKED_MAX: usize = 200;

/// A run as it would have gone with one change, and all else as it is now; what is not known stays as it was. The age of
/// its parts stays too, but that a replaced one is new at its beginning.
#[must_use]
pub fn under(change: &Change, course: &Course, situation: &Situation<'_>) -> Features {
    let in_force = InForce::of(situation, Some(change));
    let features = in_force.run(course).features;
    let renewed = Ages {
        liner_hours: features.liner_hours,
        liner_wear: features.liner_wear,
        liner_cycles: features.liner_cycles,
        nozzle_hours: features.nozzle_hours,
    };
    let stagnant = features.stagnant.map(|dose| if is_cleaned(change) { DoseMinutes::ZERO } else { dose });
    Features { stagnant, ..aged(&features, &replaced(renewed, change)) }
}

/// The runs to come, as the newest ones were: with what is in force, of which `change` is a part if there is one, and the
/// time that their turns wait for heat. The first of them has the parts as they stand, and each ages them for the next.
///
/// A change of material is asked of this tool alone: it prints the neighbour's material at the neighbour's temperature
/// (or its usual one), with its standby as far under that as it is now; its other settings stay. What becomes of this
/// tool's material in the neighbour is to be asked of the neighbour.
pub(super) fn runs(in_force: &InForce<'_>, change: Option<&Change>) -> Vec<Run> {
    let situation = in_force.situation;
    let mut runs: Vec<Run> = situation.courses.iter().map(|course| in_force.run(course)).collect();
    let mut ages = change.map_or(situation.ages, |change| replaced(situation.ages, change));
    // Of the stagnant melt that there was before these runs, what is left.
    let mut old = change.is_some_and(is_cleaned).then(|| runs.iter().find_map(|run| run.features.stagnant)).flatten();
    for (course, run) in situation.courses.iter().zip(&mut runs) {
        let spent = Spent::of(course, &run.features);
        if let Some(old) = &mut old {
            *old = DoseMinutes::new(old.get() * (-spent.working.get() * WORKING_FLOW / STAGNANT_VOLUME.get()).exp());
        }
        let left = |dose: DoseMinutes| DoseMinutes::new((dose - old.unwrap_or_default()).get().max(0.0));
        run.features = aged(&Features { stagnant: run.features.stagnant.map(left), ..run.features }, &ages);
        ages = spent.add_to(ages);
    }
    runs
}

fn is_cleaned(change: &Change) -> bool {
    matches!(change, Change::Clean | Change::Replace(PartKind::Nozzle))
}

fn replaced(ages: Ages, change: &Change) -> Ages {
    let new = Some(0.0);
    match change {
        Change::Replace(PartKind::Liner) => Ages { liner_hours: new, liner_wear: new, liner_cycles: new, ..ages },
        Change::Replace(PartKind::Nozzle) => Ages { nozzle_hours: new, ..ages },
        _ => ages,
    }
}

fn aged(run: &Features, ages: &Ages) -> Features {
    let Ages { liner_hours, liner_wear, liner_cycles, nozzle_hours } = *ages;
    Features { liner_hours, liner_wear, liner_cycles, nozzle_hours, ..*run }
}

/// What a run takes from its parts.
struct Spent {
    waiting: Seconds,
    working: Seconds,
    wear: f64,
}

impl Spent {
    /// Whoever neither waits nor is cold works.
    fn of(course: &Course, run: &Features) -> Self {
        let waited: Seconds = course.waits.iter().fold(Seconds::ZERO, |sum, wait| sum + wait.lasted);
        let waiting = run.idle_hot.unwrap_or(waited);
        let working = working(course, run);
        let wear = |lasted, at: Option<Celsius>| at.map_or(0.0, |at| wear_hours(lasted, at));
        Self { waiting, working, wear: wear(waiting, run.idle_mean) + wear(working, run.print_temperature) }
    }

    fn add_to(&self, ages: Ages) -> Ages {
        let hours = (self.waiting + self.working).as_minutes() / 60.0;
        let add = |age: Option<f64>, more: f64| age.map(|age| age + more);
        Ages {
            liner_hours: add(ages.liner_hours, hours),
            liner_wear: add(ages.liner_wear, self.wear),
            liner_cycles: add(ages.liner_cycles, 1.0),
            nozzle_hours: add(ages.nozzle_hours, hours),
        }
    }
}

pub(super) fn working(course: &Course, run: &Features) -> Seconds {
    let waited = course.waits.iter().fold(Seconds::ZERO, |sum, wait| sum + wait.lasted);
    let rest = run.print_length.map_or(0.0, |length| (length - waited).get().max(0.0));
    Seconds::new(rest)
}

/// A run as it would go.
pub(super) struct Run {
    pub(super) features: Features,
    /// Time that its turns wait for heat.
    pub(super) late: Seconds,
}

/// What is in force while runs are asked.
pub(super) struct InForce<'a> {
    pub(super) situation: &'a Situation<'a>,
    held: Held,
    facts: &'a MaterialFacts,
    waiting: Waiting<'a>,
}

impl<'a> InForce<'a> {
    pub(super) fn of(situation: &'a Situation<'a>, change: Option<&Change>) -> Self {
        let swapped = matches!(change, Some(Change::Material(_)));
        let facts = situation.neighbour.filter(|_| swapped).map_or(situation.facts, |beside| beside.facts);
        let held = change.map_or(situation.held, |change| changed(change, situation));
        let plain = Waiting { times: &situation.times, heats_ahead: false };
        let told = situation.courses.iter().rev().flat_map(|course| {
            let was = was(course, situation);
            course.waits.iter().rev().filter_map(move |wait| plain.tells_ahead(wait, &was))
        });
        let (ahead, not): (Vec<bool>, Vec<bool>) = told.take(ASKED_MAX).partition(|is_ahead| *is_ahead);
        Self { situation, held, facts, waiting: Waiting { heats_ahead: ahead.len() > not.len(), ..plain } }
    }

    /// What is asked of a run's waits.
    fn then(&self, course: &Course) -> Asked<'a> {
        let of = &course.features;
        Asked {
            facts: self.facts,
            print: self.held.print.or(of.print_temperature),
            standby: self.held.standby.or(of.standby),
            retract: self.held.retract.or(of.retract),
        }
    }

    /// Its standby and what it prints at, as far as both are known.
    pub(super) fn set_points(&self) -> Option<(Celsius, Celsius)> {
        let last = self.situation.courses.last().map(|course| self.then(course))?;
        last.standby.zip(last.print)
    }

    /// A run as it would go.
    fn run(&self, course: &Course) -> Run {
        let of = &course.features;
        let (was, then) = (was(course, self.situation), self.then(course));
        let (mut waits, mut late) = (Vec::with_capacity(course.waits.len()), Seconds::ZERO);
        for wait in &course.waits {
            let gone = self.waiting.otherwise(wait, &was, &then);
            waits.push(gone.wait);
            late += gone.late;
        }
        let moved = Features {
            standby: then.standby,
            retract: then.retract,
            retract_mm_s: self.held.retract_mm_s.or(of.retract_mm_s),
            print_temperature: then.print,
            prime: self.held.prime.or(of.prime),
            ooze_shield: self.held.ooze_shield.or(of.ooze_shield),
            dried: self.held.dried.or(of.dried),
            material: self.facts.kind,
            ..*of
        };
        let (old, new) = (Sums::of(&course.waits, was.print), Sums::of(&waits, then.print));
        let worked = |asked: &Asked<'_>| {
            let at = asked.print.unwrap_or_else(|| asked.facts.usual_print());
            dose_rate(asked.facts, at) * working(course, of).as_minutes()
        };
        Run { features: old.moved(&new, &moved, [worked(&was), worked(&then)]), late }
    }
}

/// What was in force in a run.
fn was<'a>(course: &Course, situation: &Situation<'a>) -> Asked<'a> {
    let of = &course.features;
    Asked { facts: situation.facts, print: of.print_temperature, standby: of.standby, retract: of.retract }
}

/// What is in force after a change. Where there is no drop there is none afterwards either.
fn changed(change: &Change, situation: &Situation<'_>) -> Held {
    let held = situation.held;
    let kept_under = |print: Celsius| {
        held.standby.zip(held.print).map(|(standby, was)| print + CelsiusDelta::new((standby - was).get().min(0.0)))
    };
    match change {
        Change::Standby(step) => Held { standby: Some(step.to), ..held },
        Change::Retract(step) => Held { retract: Some(step.to), ..held },
        Change::RetractSpeed(step) => Held { retract_mm_s: Some(step.to), ..held },
        Change::Prime(step) => Held { prime: Some(step.to), ..held },
        Change::OozeShield(step) => Held { ooze_shield: Some(step.to), ..held },
        Change::Dried(step) => Held { dried: Some(step.to), ..held },
        Change::PrintTemperature(step) => {
            let has_drop = held.standby.zip(held.print).is_none_or(|(standby, print)| standby < print);
            Held { print: Some(step.to), standby: if has_drop { held.standby } else { Some(step.to) }, ..held }
        }
        Change::Material(step) => {
            let told = situation.neighbour.and_then(|beside| beside.print);
            let usual = || situation.neighbour.map_or(step.to.built_in(), |beside| *beside.facts).usual_print();
            let print = told.unwrap_or_else(usual);
            Held { print: Some(print), standby: kept_under(print).or(held.standby), ..held }
        }
        Change::Replace(_) | Change::Clean | Change::AllMetal => held,
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
pub(super) mod tests;
