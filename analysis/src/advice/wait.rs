//! One wait as it would have gone with other set points. Owns what the thermal model is asked, and that only what it
//! says differs is taken over: its error in what was measured anyway drops out.

use super::situation::{Times, Wait};
use crate::idle::{SpanMeasure, SpanMeter};
use crate::polymer::MaterialFacts;
use crate::thermal::HeaterState;
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres, Seconds};

/// A tool so much colder than a set point is not held there; one so near to it is. A proposal: what a sagging or a
/// swinging heater stays within.
const NEAR: CelsiusDelta = CelsiusDelta::new(10.0);
/// Nearer than this to its set point a heater is there, and its turn begins.
const THERE: CelsiusDelta = CelsiusDelta::new(1.0);
/// Steps in which a temperature on its way is added up.
const STEPS: u16 = 16;
/// Halvings in which a time or a set point is looked for.
const HALVINGS: usize = 20;

/// What is in force while a tool waits; `None` is not known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Asked<'a> {
    pub(super) facts: &'a MaterialFacts,
    pub(super) print: Option<Celsius>,
    pub(super) standby: Option<Celsius>,
    pub(super) retract: Option<Millimetres>,
}

/// How one tool waits.
#[derive(Clone, Copy, Debug)]
pub(super) struct Waiting<'a> {
    pub(super) times: &'a Times<'a>,
    /// Whether it is heated again before its turn, where a wait does not tell.
    pub(super) heats_ahead: bool,
}

/// A wait as it would have gone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Gone {
    pub(super) wait: Wait,
    /// Time that the turn after it waits for heat; none if it is heated ahead.
    pub(super) late: Seconds,
}

/// A wait as the model has it.
struct Modelled {
    sums: SpanMeasure,
    mean: Celsius,
    end: Celsius,
}

/// What the model is asked of one wait.
#[derive(Clone, Copy)]
struct Plan<'a> {
    asked: Asked<'a>,
    start: Celsius,
    standby: Celsius,
    /// What it is heated to before its turn.
    back_to: Option<Celsius>,
    lasted: Seconds,
}

impl Waiting<'_> {
    /// The wait with what would be asked in the place of what was. One that was colder than what was asked stays as it
    /// is: the tool was off.
    pub(super) fn otherwise(&self, wait: &Wait, was: &Asked<'_>, then: &Asked<'_>) -> Gone {
        let read = if wait.lasted > Seconds::ZERO { self.read(wait, was) } else { None };
        let is_ahead = read.as_ref().is_some_and(|(plan, _)| plan.back_to.is_some());
        let wait = read.filter(|_| was != then).map_or(*wait, |(old, told)| self.moved(wait, was, then, &old, &told));
        let is_cold = |(end, print): &(Celsius, Celsius)| wait.is_followed && !is_ahead && *end < *print - THERE;
        let time = |(end, print)| self.times.heater.heating(end, print, self.times.surroundings);
        let late = wait.end.zip(then.print).filter(is_cold).and_then(time).unwrap_or(Seconds::ZERO);
        Gone { wait, late }
    }

    fn moved(&self, wait: &Wait, was: &Asked<'_>, then: &Asked<'_>, old: &Plan<'_>, told: &Modelled) -> Wait {
        let standby = then.standby.unwrap_or(old.standby);
        let standby = then.print.map_or(standby, |print| standby.min(print));
        let start = match was.print {
            Some(print) if old.start >= print => then.print.unwrap_or(print),
            // Not printed yet, and warmed to its standby alone.
            Some(_) if old.start <= old.standby + NEAR => standby,
            Some(_) | None => old.start,
        };
        let back_to = old.back_to.map(|was| then.print.unwrap_or(was));
        let new = Plan { asked: *then, start, standby, back_to, lasted: wait.lasted };
        let (old, new) = (told, self.model(&new));
        Wait {
            mean: wait.mean + (new.mean - old.mean),
            max: wait.max + difference(old.sums.max, new.sums.max),
            end: wait.end.map(|end| end + (new.end - old.end)),
            dose: DoseMinutes::new(scaled(wait.dose.get(), old.sums.dose.get(), new.sums.dose.get())),
            ooze: wait
                .ooze
                .zip(old.sums.ooze.zip(new.sums.ooze))
                .map(|(ooze, (old, new))| CubicMm::new(scaled(ooze.get(), old.get(), new.get()))),
            ..*wait
        }
    }

    /// What the wait tells of whether its tool was heated ahead. `None` where nothing does, or it was off.
    pub(super) fn tells_ahead(&self, wait: &Wait, was: &Asked<'_>) -> Option<bool> {
        let plain = self.held(wait, was)?;
        is_ahead(wait, was, self.model(&plain).end)
    }

    /// The wait as it was asked for, and what the model makes of that; `None` where it was off.
    fn read<'b>(&self, wait: &Wait, was: &Asked<'b>) -> Option<(Plan<'b>, Modelled)> {
        let plain = self.held(wait, was)?;
        let told = self.model(&plain);
        let is_ahead = wait.is_followed && is_ahead(wait, was, told.end).unwrap_or(self.heats_ahead);
        let Some(print) = was.print.filter(|_| is_ahead) else { return Some((plain, told)) };
        let heated = Plan { back_to: Some(print), ..plain };
        Some((heated, self.model(&heated)))
    }

    /// The wait as held to its standby and no more; `None` where it was off.
    fn held<'b>(&self, wait: &Wait, was: &Asked<'b>) -> Option<Plan<'b>> {
        // One that begins colder than it prints has not printed yet.
        let start = was.print.filter(|print| wait.max >= *print - NEAR).unwrap_or(wait.max);
        let plan = Plan { asked: *was, start, standby: start, back_to: None, lasted: wait.lasted };
        let standby = was.standby.unwrap_or_else(|| self.standby_by(&plan, wait.mean)).min(start);
        (wait.mean >= standby - NEAR).then_some(Plan { standby, ..plan })
    }

    /// The set point by which the model comes to that mean.
    fn standby_by(&self, plan: &Plan<'_>, mean: Celsius) -> Celsius {
        let (mut low, mut high) = (self.times.surroundings, plan.start);
        for _ in 0..HALVINGS {
            let middle = low.midway(high);
            let is_hotter = self.model(&Plan { standby: middle, ..*plan }).mean > mean;
            (low, high) = if is_hotter { (low, middle) } else { (middle, high) };
        }
        low.midway(high)
    }

    fn model(&self, plan: &Plan<'_>) -> Modelled {
        let mut meter = SpanMeter::new(plan.asked.facts);
        let mut state = HeaterState::new(self.times.heater, self.times.surroundings, plan.start);
        state.set(plan.start);
        state.set(plan.standby);
        let ahead = plan.back_to.map_or(Seconds::ZERO, |print| ahead(&state, print, plan.lasted));
        pass(&mut state, plan.lasted - ahead, &mut meter);
        if let Some(print) = plan.back_to {
            state.set(print);
            pass(&mut state, ahead, &mut meter);
        }
        let sums = meter.measure(plan.asked.retract);
        Modelled { sums, mean: sums.mean.unwrap_or(plan.start), end: state.actual() }
    }
}

/// Whether a wait that would have ended at `without` was heated ahead of its turn: it ended nearer to what it prints at
/// than to that. `None` where both are much the same, where it was not lowered, and where no turn followed.
fn is_ahead(wait: &Wait, was: &Asked<'_>, without: Celsius) -> Option<bool> {
    let (print, end) = was.print.zip(wait.end).filter(|_| wait.is_followed)?;
    (wait.mean.max(without) < print - NEAR).then(|| end > without.midway(print))
}

/// How long before the end of `lasted` a heater has to be set to `print` to be there at its end.
fn ahead(state: &HeaterState, print: Celsius, lasted: Seconds) -> Seconds {
    let (mut low, mut high) = (0.0, lasted.get());
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        let mut then = *state;
        then.advance(Seconds::new(lasted.get() - middle));
        then.set(print);
        let is_late = then.until_hot().is_none_or(|takes| takes.get() > middle);
        (low, high) = if is_late { (middle, high) } else { (low, middle) };
    }
    Seconds::new(high)
}

/// Lets `lasted` pass, in steps while the temperature is on its way and in one while it is held.
fn pass(state: &mut HeaterState, lasted: Seconds, meter: &mut SpanMeter) {
    let under_way = state.until_there().filter(|until| *until < lasted).unwrap_or(lasted);
    let step = Seconds::new(under_way.get() / f64::from(STEPS));
    let mut left = lasted;
    // Two more for the last kelvin, in which it counts as there.
    for _ in 0..STEPS + 2 {
        let next = if step < left { step } else { left };
        advance(state, next, meter);
        left = left - next;
    }
    advance(state, left, meter);
}

fn advance(state: &mut HeaterState, lasted: Seconds, meter: &mut SpanMeter) {
    if lasted > Seconds::ZERO {
        let from = state.actual();
        state.advance(lasted);
        meter.wait(lasted, from, state.actual());
    }
}

fn difference(old: Option<Celsius>, new: Option<Celsius>) -> CelsiusDelta {
    old.zip(new).map_or(CelsiusDelta::new(0.0), |(old, new)| new - old)
}

/// What was measured, as the model's figure changes: by its ratio, or where there was none by what there would be.
fn scaled(measured: f64, old: f64, new: f64) -> f64 {
    if old > 0.0 { measured * new / old } else { measured + new }
}
