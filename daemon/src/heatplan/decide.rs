//! One wait: whether the tool cools in it, to what, and when it is heated again. Owns the decision; the margins are
//! `margin`'s and the heater is `analysis`'s.

use super::course::{Course, Instant, Place};
use super::margin::Rests;
use super::waits::{Kind, Wait};
use super::weave::Added;
use dwell_analysis::polymer::waited_dose;
use dwell_analysis::thermal::HeaterState;
use dwell_analysis::units::{Celsius, CelsiusDelta, DoseMinutes, Seconds};

/// Nearer than this to the temperature that the file would have brought, a tool is back at it.
const BACK_WITHIN: CelsiusDelta = CelsiusDelta::new(1.0);
/// A drop that saves less dose than this, equivalent minutes, is not worth a command: six seconds at print heat.
const SAVES_LEAST: DoseMinutes = DoseMinutes::new(0.1);
/// Temperatures are followed in steps of this.
const STEP: Seconds = Seconds::new(0.5);
/// A file that stands still for years must not take minutes to plan: no step is shorter than this share of the time since
/// the set point changed, which is more than [`STEP`] once a heater has settled.
const STEP_SHARE: f64 = 1e-3;
const OFF: Celsius = Celsius::new(0.0);

/// Why a wait is left as the file has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Alone {
    /// The tool is not heated in it, or no hotter than its standby.
    Cool,
    /// It is shorter than cooling and reheating may take.
    TooShort,
    /// It would save no dose that counts.
    LittleSaved,
    /// Its heater is not fitted, and the file would push filament without waiting for a tool that was cold.
    Unfitted,
    /// No place in the file is early enough to be back at the file's own temperature.
    NoPlace,
}

/// A wait with what is done about it.
#[derive(Clone, Debug)]
pub(super) struct Decided {
    pub(super) kind: Kind,
    pub(super) outcome: Result<(), Alone>,
    pub(super) added: Vec<Added>,
    /// Time over the material's lowest usual print temperature, by the file and by the plan.
    pub(super) hot: [Seconds; 2],
}

/// Decides on a wait.
pub(super) fn decide(wait: &Wait<'_>, course: &Course, rests: &Rests) -> Decided {
    let found = plan_of(wait, course, rests);
    let by_file = Way { wait, low: Celsius::new(f64::INFINITY), reheat: None };
    let before = by_file.taken(rests);
    let plan = found.and_then(|way| {
        let after = way.taken(rests);
        let stays_on = wait.kind == Kind::Last && wait.given.last().map_or(wait.target, |last| last.target) > OFF;
        let saved = before.dose - after.dose;
        if saved < SAVES_LEAST && !stays_on { Err(Alone::LittleSaved) } else { Ok((way, after)) }
    });
    let (added, hot) = match &plan {
        Ok((way, after)) => (way.added(), after.hot),
        Err(_) => (Vec::new(), before.hot),
    };
    Decided { kind: wait.kind, outcome: plan.map(|_| ()), added, hot: [before.hot, hot] }
}

fn plan_of<'w>(wait: &'w Wait<'w>, course: &Course, rests: &Rests) -> Result<Way<'w>, Alone> {
    let low = if wait.kind == Kind::Between { rests.standby } else { OFF };
    let highest = wait.given.iter().fold(wait.target, |highest, given| highest.max(given.target));
    if highest <= low {
        return Err(Alone::Cool);
    }
    if wait.kind == Kind::Last {
        return Ok(Way { wait, low, reheat: None });
    }
    // A typical heater may be far from this one on the long way from cold, and nothing would stop a cold push.
    if wait.kind == Kind::First && rests.known.heating_spread.is_none() && !wait.is_awaited {
        return Err(Alone::Unfitted);
    }
    let is = &wait.tool.is;
    let goal = wait.given.last().map_or(wait.target, |last| last.target);
    let coldest = low.max(is.surroundings);
    let heating = is.heater.heating(coldest, goal, is.surroundings).ok_or(Alone::NoPlace)?;
    let cooling = match wait.kind {
        Kind::Between => is.heater.cooling(wait.state.actual(), low, is.surroundings).unwrap_or(Seconds::ZERO),
        Kind::First | Kind::Last => Seconds::ZERO,
    };
    let lasts = wait.until.at.sure - wait.from.at.sure;
    if lasts < cooling + heating + rests.margin(heating, heating) {
        return Err(Alone::TooShort);
    }
    let first = course.places.partition_point(|place| place.byte < wait.from.byte);
    let behind = course.places.partition_point(|place| place.byte <= wait.until.byte);
    let places = course.places.get(first..behind).unwrap_or_default();
    let is_back = |place: &Place| {
        let margin = rests.margin(heating, wait.until.at.moved - place.at.moved);
        Way { wait, low, reheat: Some(*place) }.is_back(margin)
    };
    // The later it is heated again, the colder it is at its turn.
    let n = places.partition_point(is_back);
    let reheat = n.checked_sub(1).and_then(|last| places.get(last)).ok_or(Alone::NoPlace)?;
    Ok(Way { wait, low, reheat: Some(*reheat) })
}

/// A wait in which the set point is no higher than `low` until the reheat, and then the file's.
#[derive(Clone, Copy, Debug)]
struct Way<'w> {
    wait: &'w Wait<'w>,
    low: Celsius,
    reheat: Option<Place>,
}

/// What a wait comes to.
struct Taken {
    dose: DoseMinutes,
    hot: Seconds,
}

impl Way<'_> {
    /// Time since the wait's beginning: as expected until the reheat, and from there on what passes at least.
    fn since(&self, at: Instant) -> Seconds {
        let from = self.wait.from.at;
        match self.reheat {
            Some(reheat) if at.expected > reheat.at.expected => {
                (reheat.at.expected - from.expected) + (at.sure - reheat.at.sure)
            }
            Some(_) | None => at.expected - from.expected,
        }
    }

    fn ends(&self) -> Seconds {
        self.since(self.wait.until.at)
    }

    /// The file's set point at a place.
    fn file_at(&self, byte: u64) -> Celsius {
        let passed = self.wait.given.iter().take_while(|given| given.after <= byte).last();
        passed.map_or(self.wait.target, |given| given.target)
    }

    fn is_low(&self, byte: u64) -> bool {
        self.reheat.is_none_or(|reheat| byte <= reheat.byte)
    }

    /// The file's own set points since the wait's beginning.
    fn by_file(&self) -> Vec<(Seconds, Celsius)> {
        self.wait.given.iter().map(|given| (self.since(given.at), given.target)).collect()
    }

    /// The plan's.
    fn by_plan(&self) -> Vec<(Seconds, Celsius)> {
        let cap = |target: Celsius| target.min(self.low);
        let (wait, mut asked) = (self.wait, vec![(Seconds::ZERO, cap(self.wait.target))]);
        let before = wait.given.iter().take_while(|given| self.is_low(given.after));
        asked.extend(before.map(|given| (self.since(given.at), cap(given.target))));
        if let Some(reheat) = self.reheat {
            asked.push((self.since(reheat.at), self.file_at(reheat.byte)));
            let after = wait.given.iter().skip_while(|given| self.is_low(given.after));
            asked.extend(after.map(|given| (self.since(given.at), given.target)));
        }
        asked
    }

    /// Whether the tool is where the file would have it, that long before its turn.
    fn is_back(&self, margin: Seconds) -> bool {
        let at = self.ends() - margin;
        if self.reheat.is_none_or(|reheat| self.since(reheat.at) > at) {
            return false;
        }
        let heat = |asked: &[(Seconds, Celsius)]| {
            let mut state = self.wait.state;
            follow(&mut state, asked, at, at, &mut |_, _, _| {});
            state.actual()
        };
        heat(&self.by_plan()) + BACK_WITHIN >= heat(&self.by_file())
    }

    /// Dose and hot time of the wait.
    fn taken(&self, rests: &Rests) -> Taken {
        let facts = &rests.known.facts;
        let mut taken = Taken { dose: DoseMinutes::ZERO, hot: Seconds::ZERO };
        let mut state = self.wait.state;
        follow(&mut state, &self.by_plan(), self.ends(), STEP, &mut |lasted, from, to| {
            taken.dose += waited_dose(facts, lasted, from, to);
            if from.midway(to) > facts.print_low.value {
                taken.hot += lasted;
            }
        });
        taken
    }

    /// The lines to add: one wherever the file's set point would be another than the plan's.
    fn added(&self) -> Vec<Added> {
        let (wait, tool) = (self.wait, self.wait.tool.number);
        let mut added = Vec::new();
        let mut add = |byte, target| added.push(Added { byte, tool, target });
        let mut in_force = wait.target;
        // Where the file itself speaks at once, its own command is the one to answer.
        let speaks = wait.given.first().is_some_and(|first| first.at.expected <= wait.from.at.expected);
        if in_force > self.low && !speaks {
            in_force = self.low;
            add(wait.from.byte, in_force);
        }
        for given in wait.given.iter().take_while(|given| self.is_low(given.after)) {
            in_force = given.target.min(self.low);
            if in_force < given.target {
                add(given.after, in_force);
            }
        }
        if let Some(reheat) = self.reheat {
            let file = self.file_at(reheat.byte);
            if file > in_force {
                add(reheat.byte, file);
            }
        }
        added
    }
}

/// Lets a heater follow set points until `end`, in steps of `step`, and longer ones where it has long settled.
fn follow(
    state: &mut HeaterState,
    asked: &[(Seconds, Celsius)],
    end: Seconds,
    step: Seconds,
    visit: &mut impl FnMut(Seconds, Celsius, Celsius),
) {
    let mut now = Seconds::ZERO;
    let mut until = |state: &mut HeaterState, then: Seconds| {
        let began = now;
        while now < then {
            let (left, step) = (then - now, Seconds::new(step.get().max((now - began).get() * STEP_SHARE)));
            let is_last = left <= step;
            let lasts = if is_last { left } else { step };
            let from = state.actual();
            state.advance(lasts);
            visit(lasts, from, state.actual());
            now = if is_last { then } else { now + lasts };
        }
    };
    for (at, target) in asked {
        until(state, if *at < end { *at } else { end });
        if *at > end {
            return;
        }
        state.set(*target);
    }
    until(state, end);
}

#[cfg(test)]
mod tests {
    use super::*;
    use dwell_analysis::polymer::Material;
    use dwell_analysis::thermal::Heater;

    /// Steps and dose of a tool that is told `asked` while `end` passes.
    fn passed(asked: &[(Seconds, Celsius)], end: Seconds) -> (u32, f64) {
        let room = Celsius::new(25.0);
        let mut state = HeaterState::new(Heater::HOT_END, room, room);
        let (facts, mut n, mut dose) = (Material::Pla.built_in(), 0, DoseMinutes::ZERO);
        follow(&mut state, asked, end, STEP, &mut |lasted, from, to| {
            n += 1;
            dose += waited_dose(&facts, lasted, from, to);
        });
        (n, dose.get())
    }

    /// Told again what it has, a heater is followed in the shortest steps again; 30 years of those are 2 thousand million.
    #[test]
    fn thirty_years_of_standing_still_take_few_steps_and_two_hours_come_to_the_dose_of_short_ones() {
        let at = |s: f64, c: f64| (Seconds::new(s), Celsius::new(c));
        let (n, _) = passed(&[at(0.0, 210.0), at(5.0e8, 150.0)], Seconds::new(1.0e9));
        assert!(n < 50_000, "{n}");
        let told = |every: f64| -> Vec<_> {
            let times = (0_u32..).map(|nth| f64::from(nth) * every).take_while(|at| *at < 7200.0);
            times.map(|s| at(s, if s < 3600.0 { 210.0 } else { 150.0 })).collect()
        };
        let (long, short) = (passed(&told(3600.0), Seconds::new(7200.0)), passed(&told(100.0), Seconds::new(7200.0)));
        assert!(long.0 < short.0 && (long.1 / short.1 - 1.0).abs() < 1e-3, "{long:?} {short:?}");
    }
}
