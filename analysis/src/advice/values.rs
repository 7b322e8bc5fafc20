//! Which values of each setting are asked for without a rule: what was tried, and what physics and practice would try.
//! Owns how many and which; each is within the limits.

use super::candidates::{Candidate, SAME_MM, SAME_MM_S, SAME_MM3, is_in_force, near};
use super::change::{Change, PartKind, Step};
use super::limits::within;
use super::practice::{self, SPEED_USUAL, fives_up};
use super::situation::{LinerKnown, Situation};
use super::waiting::SAME_K;
use crate::risk::FailureMode::{self, Adhesion, Blob, Jam, Liner, Scrape, Stringing, UnderExtrusion};
use crate::risk::Features;
use crate::units::{Celsius, CelsiusDelta, CubicMm, Millimetres};

/// Values of one setting that are asked for at most, a rule's not among them, and those of them that were tried.
const VALUES_MOST: usize = 11;
const TRIED_MOST: usize = 7;
/// Standbys, as drops from print temperature, K: usual ones (common practice, no source), and no drop at all.
const DROPS: [f64; 6] = [0.0, 30.0, 40.0, 50.0, 60.0, 70.0];
/// Speeds where the one in force is outside of what is usual, mm/s.
const SPEEDS: [f64; 3] = [25.0, 35.0, 45.0];
/// Volumes where lines start empty, mm3.
const PRIMES: [f64; 3] = [10.0, 15.0, 30.0];

/// What no rule says, setting by setting, then what is done once.
pub(super) fn plain(situation: &Situation<'_>) -> Vec<Candidate> {
    let mut found = standbys(situation);
    found.extend(retractions(situation));
    found.extend(speeds(situation));
    found.extend(primes(situation));
    found.extend(prints(situation));
    found.extend(shields(situation));
    found.extend(once(situation));
    found
}

/// One setting.
struct Setting<'a> {
    situation: &'a Situation<'a>,
    /// What is in force.
    held: Option<f64>,
    /// How a run tells it.
    read: fn(&Features) -> Option<f64>,
    /// Values that differ by no more are the same.
    same: f64,
    /// What sets it, from what is in force.
    change: fn(Option<f64>, f64) -> Change,
    /// Failure modes that more of it is meant for, and less of it.
    meant: [&'a [FailureMode]; 2],
}

impl Setting<'_> {
    /// What was tried and what was not, as far as it stays within the limits: of either those that cover its range if
    /// there are too many.
    fn candidates(&self, untried: impl IntoIterator<Item = f64>) -> Vec<Candidate> {
        let is_worth = |value: &f64| {
            let change = (self.change)(self.held, *value);
            value.is_finite() && !is_in_force(&change) && within(&change, self.situation).is_ok()
        };
        let tried: Vec<f64> = self.situation.tried.iter().filter_map(self.read).filter(is_worth).collect();
        let tried = spread(apart(tried, self.same), TRIED_MOST);
        let is_new = |value: &f64| !tried.iter().any(|other| near(*value, *other, self.same));
        let untried: Vec<f64> = untried.into_iter().filter(is_worth).filter(is_new).collect();
        let untried = spread(apart(untried, self.same), VALUES_MOST - tried.len());
        tried.iter().chain(&untried).map(|value| self.candidate(*value)).collect()
    }

    /// Where it is not known whether a value is more or less, it is meant for what either is.
    fn candidate(&self, value: f64) -> Candidate {
        let [more, less] = self.meant;
        let modes = match self.held {
            Some(held) if value > held => more.to_vec(),
            Some(_) => less.to_vec(),
            None => more.iter().chain(less.iter().filter(|mode| !more.contains(mode))).copied().collect(),
        };
        Candidate { change: (self.change)(self.held, value), rule: None, modes }
    }
}

/// In order, and none twice.
fn apart(mut values: Vec<f64>, same: f64) -> Vec<f64> {
    values.sort_unstable_by(f64::total_cmp);
    values.dedup_by(|next, kept| near(*next, *kept, same));
    values
}

/// So many of them at most, both ends among them.
fn spread(values: Vec<f64>, most: usize) -> Vec<f64> {
    if values.len() <= most {
        return values;
    }
    let last = values.len() - 1;
    let places = (0..most).map(|idx| if most > 1 { idx * last / (most - 1) } else { last / 2 });
    places.filter_map(|place| values.get(place).copied()).collect()
}

fn step<T>(from: Option<f64>, to: f64, unit: fn(f64) -> T) -> Step<T> {
    Step { from: from.map(unit), to: unit(to) }
}

/// Drops from print temperature, and just over first flow. A lower one that was not tried is asked for only where most
/// waits are longer than it takes; where it is not known what is in force, likewise.
fn standbys(situation: &Situation<'_>) -> Vec<Candidate> {
    let held = situation.standby();
    let print = situation.held.print;
    let drops = DROPS.into_iter().filter_map(|drop| Some(print? - CelsiusDelta::new(drop)));
    let drops = drops.map(|at| if print == Some(at) { at } else { fives_up(at) });
    let over_flow = fives_up(situation.facts.first_flow.value);
    let deep = [over_flow, over_flow + CelsiusDelta::new(5.0)];
    let has_time = |at: &Celsius| held.is_some_and(|held| *at > held) || situation.pays(*at).is_some();
    let untried: Vec<f64> = drops.chain(deep).filter(has_time).map(Celsius::get).collect();
    let setting = Setting {
        situation,
        held: held.map(Celsius::get),
        read: |features| features.standby.map(Celsius::get),
        same: SAME_K,
        change: |from, to| Change::Standby(step(from, to, Celsius::new)),
        meant: [&[Jam, UnderExtrusion], &[Stringing, Blob, Jam, UnderExtrusion, Liner]],
    };
    setting.candidates(untried)
}

/// What is needed: both ends, the middle, and halves of a millimetre between.
fn retractions(situation: &Situation<'_>) -> Vec<Candidate> {
    let [low, high] = practice::retraction_ends(situation).map(Millimetres::get);
    let middle = (practice::retraction(situation).middle().get() * 10.0).round() / 10.0;
    let halves = (0..20_u8).map(|n| f64::from(n) / 2.0).filter(|half| (low..=high).contains(half));
    let setting = Setting {
        situation,
        held: situation.held.retract.map(Millimetres::get),
        read: |features| features.retract.map(Millimetres::get),
        same: SAME_MM,
        change: |from, to| Change::Retract(step(from, to, Millimetres::new)),
        meant: [&[Stringing, Blob], &[Jam, UnderExtrusion]],
    };
    setting.candidates([low, middle, high].into_iter().chain(halves))
}

/// What was tried alone, as long as the speed in force is a usual one. A fast one grinds filament, a slow one strings.
fn speeds(situation: &Situation<'_>) -> Vec<Candidate> {
    let held = situation.held.retract_mm_s;
    let [low, high] = SPEED_USUAL;
    let is_odd = held.is_some_and(|held| !(low..=high).contains(&held));
    let setting = Setting {
        situation,
        held,
        read: |features| features.retract_mm_s,
        same: SAME_MM_S,
        change: |from, to| Change::RetractSpeed(Step { from, to }),
        meant: [&[Stringing, Blob], &[Jam, UnderExtrusion]],
    };
    setting.candidates(SPEEDS.into_iter().filter(|_| is_odd))
}

/// What was tried; more where it restarts cold or lines came out thin.
fn primes(situation: &Situation<'_>) -> Vec<Candidate> {
    let is_thin = |lesson: &super::situation::Lesson<'_>| lesson.mode == UnderExtrusion && lesson.own_events > 0;
    let starts_empty = situation.restarts_cold().is_some() || situation.lessons.iter().any(is_thin);
    let setting = Setting {
        situation,
        held: situation.held.prime.map(CubicMm::get),
        read: |features| features.prime.map(CubicMm::get),
        same: SAME_MM3,
        change: |from, to| Change::Prime(step(from, to, CubicMm::new)),
        meant: [&[UnderExtrusion, Jam], &[Blob]],
    };
    setting.candidates(PRIMES.into_iter().filter(|_| starts_empty))
}

/// What was tried alone: colder layers bond less, hotter ones sag, and no failure mode that is recorded may say so.
fn prints(situation: &Situation<'_>) -> Vec<Candidate> {
    let held = situation.held.print;
    let setting = Setting {
        situation,
        held: held.map(Celsius::get),
        read: |features| features.print_temperature.map(Celsius::get),
        same: SAME_K,
        change: |from, to| Change::PrintTemperature(step(from, to, Celsius::new)),
        meant: [&[Jam, UnderExtrusion], &[Stringing, Blob, Liner]],
    };
    setting.candidates([])
}

/// The other of both, if it was tried. A wall can come off, or be touched by a nozzle that passes.
fn shields(situation: &Situation<'_>) -> Vec<Candidate> {
    let from = situation.held.ooze_shield;
    let was_tried = |to: bool| situation.tried.iter().any(|features| features.ooze_shield == Some(to));
    let each: [(bool, &[FailureMode]); 2] = [(true, &[Stringing, Blob]), (false, &[Scrape, Adhesion])];
    let worth = each.into_iter().filter(|(to, _)| from != Some(*to) && was_tried(*to) && !situation.is_shared);
    let candidate = |(to, modes): (bool, &[FailureMode])| Candidate {
        change: Change::OozeShield(Step { from, to }),
        rule: None,
        modes: modes.to_vec(),
    };
    worth.map(candidate).collect()
}

/// Drying, and a new liner where it is known how old the one in use is: the record may speak for either.
fn once(situation: &Situation<'_>) -> Vec<Candidate> {
    let ages = situation.ages;
    let is_used = [ages.liner_hours, ages.liner_wear, ages.liner_cycles].into_iter().flatten().any(|age| age > 0.0);
    let is_worn = is_used && situation.liner != LinerKnown::Absent;
    let is_wet = situation.held.dried != Some(true);
    let dried = Candidate {
        change: Change::Dried(Step { from: situation.held.dried, to: true }),
        rule: None,
        modes: vec![Stringing, Blob, Jam, UnderExtrusion],
    };
    let renewed =
        Candidate { change: Change::Replace(PartKind::Liner), rule: None, modes: vec![Liner, Jam, UnderExtrusion] };
    is_wet.then_some(dried).into_iter().chain(is_worn.then_some(renewed)).collect()
}
