//! The heaters while the job runs: what each tool's melt goes through at work and in its waits. Owns the expected
//! temperatures, the doses and the waits; whose turn it is, it is told.

use super::machine::{Machine, MachineTool};
use super::outline::Wait;
use crate::entry::{HotEnd, ToolNumber};
use dwell_analysis::idle::{SpanMeasure, SpanMeter};
use dwell_analysis::polymer::{MaterialFacts, Melt, waited_dose};
use dwell_analysis::risk::Restarts;
use dwell_analysis::thermal::HeaterState;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};

/// A tool is heated from here on, and cold again below: as the record has it.
pub(super) const HEATED_FROM: Celsius = Celsius::new(50.0);
const COLD_BELOW: Celsius = Celsius::new(45.0);

/// Temperatures and doses are followed in steps of this: a hot end moves by a kelvin or two in it.
pub(super) const STEP: Seconds = Seconds::new(2.0);

/// A file that stands still for years must not take hours to follow: no step is shorter than this share of the time so
/// far, which is more than [`STEP`] after three weeks.
const STEP_SHARE: f64 = 1e-6;

/// Set points of a wait of which the time is kept.
const TARGETS_MAX: usize = 32;

/// The waits of which each is told.
const WAITS_MAX: usize = 20_000;

/// All heaters of a printer.
#[derive(Debug)]
pub(super) struct Warm {
    machine: Machine,
    bed: HeaterState,
    tools: Vec<ToolHeat>,
    now: Seconds,
    begun: bool,
    waits: Vec<Wait>,
}

/// One tool's heat.
#[derive(Debug)]
pub(super) struct ToolHeat {
    tool: ToolNumber,
    facts: MaterialFacts,
    heater: HeaterState,
    /// The last set point that the file gave; 0 °C is off.
    asked: Option<Celsius>,
    raised: Option<Seconds>,
    heated: bool,
    melt: Melt,
    open: Option<Open>,
    pub(super) sum: WaitSum,
}

#[derive(Debug)]
struct Open {
    began: Seconds,
    meter: SpanMeter,
    drawn: Option<Millimetres>,
    /// How long each set point was in force.
    targets: Vec<(Celsius, Seconds)>,
}

/// All waits of a tool together.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct WaitSum {
    pub(super) n: u32,
    pub(super) lasted: Seconds,
    pub(super) longest: Seconds,
    pub(super) longest_at: Option<Seconds>,
    pub(super) dose_max: DoseMinutes,
    pub(super) wait_dose_max: DoseMinutes,
    pub(super) dose: DoseMinutes,
    pub(super) ooze: CubicMm,
    pub(super) max: Option<Celsius>,
    pub(super) restarts: Restarts,
    /// The coldest that it was when a turn ended its wait.
    pub(super) called_min: Option<Celsius>,
    /// Dose of its stagnant melt at the end, of what it takes in this job alone.
    pub(super) stagnant: DoseMinutes,
    /// Integral of the temperature over the waits, K s.
    weighted: f64,
    measured: Seconds,
}

impl Warm {
    pub(super) fn new(machine: Machine) -> Self {
        let bed = HeaterState::new(machine.bed, machine.ambient, machine.ambient);
        Self { machine, bed, tools: Vec::new(), now: Seconds::ZERO, begun: false, waits: Vec::new() }
    }

    /// Makes room for a tool that the file names.
    pub(super) fn name(&mut self, tool: ToolNumber) {
        for idx in self.tools.len()..=tool.idx() {
            let Some(number) = ToolNumber::new(idx) else { return };
            let facts = self.machine.tools.get(idx).copied().unwrap_or_default();
            let mut heat = ToolHeat::new(number, &facts);
            if let (HotEnd::Shared, Some(first)) = (self.machine.hot_end, self.tools.first()) {
                (heat.heater, heat.heated) = (first.heater, first.heated);
                (heat.asked, heat.raised) = (first.asked, first.raised);
            }
            self.tools.push(heat);
        }
    }

    pub(super) fn tool(&self, tool: ToolNumber) -> Option<&ToolHeat> {
        self.tools.get(tool.idx())
    }

    /// The first filament is laid: from now on tools wait in the print.
    pub(super) const fn begin(&mut self) {
        self.begun = true;
    }

    /// Sets a tool's heater.
    pub(super) fn set(&mut self, tool: ToolNumber, target: Celsius, at_work: Option<ToolNumber>) {
        self.name(tool);
        let before = self.tools.get(tool.idx()).and_then(|heat| heat.heater.target());
        let is_raise = before.is_none_or(|before| target > before) && target > self.machine.ambient;
        let now = self.now;
        // One heater: the tool at work has the say, and a higher set point for the next one.
        let is_heard = at_work.is_none_or(|at_work| at_work == tool) || is_raise;
        for heat in &mut self.tools {
            let is_meant = match self.machine.hot_end {
                HotEnd::Separate => heat.tool == tool,
                HotEnd::Shared => is_heard,
            };
            if is_meant {
                heat.heater.set(target);
                heat.asked = Some(target);
                // What was lowered since is not on its way up.
                heat.raised = match before {
                    Some(before) if target < before => None,
                    _ if is_raise => Some(now),
                    _ => heat.raised,
                };
            }
        }
    }

    pub(super) fn set_bed(&mut self, target: Celsius) {
        self.bed.set(target);
    }

    pub(super) const fn bed(&self) -> &HeaterState {
        &self.bed
    }

    /// The time up to which it has come.
    pub(super) const fn now(&self) -> Seconds {
        self.now
    }

    /// Lets time pass up to `to`: `at_work` pushes `extruded` out in it, evenly, and all others wait, by what `drawn` says is
    /// drawn back in each.
    pub(super) fn pass(
        &mut self,
        to: Seconds,
        at_work: Option<ToolNumber>,
        extruded: CubicMm,
        drawn: impl Fn(ToolNumber) -> Option<Millimetres>,
    ) {
        let lasted = to - self.now;
        while self.now < to {
            let (left, step) = (to - self.now, Seconds::new(STEP.get().max(self.now.get() * STEP_SHARE)));
            let is_last = left <= step;
            let step = if is_last { left } else { step };
            let share = CubicMm::new(extruded.get() * step.get() / lasted.get());
            for heat in &mut self.tools {
                let works = at_work == Some(heat.tool);
                heat.turn(self.now, self.begun && !works, &drawn, &mut self.waits);
                heat.step(step, if works { share } else { CubicMm::ZERO });
            }
            self.bed.advance(step);
            // To the last digit, so that nothing ends after the job does.
            self.now = if is_last { to } else { self.now + step };
        }
    }

    /// A tool goes to work now; its wait is over.
    pub(super) fn call(&mut self, tool: ToolNumber) {
        self.name(tool);
        if let Some(heat) = self.tools.get_mut(tool.idx()) {
            heat.close(self.now, true, &mut self.waits);
        }
    }

    /// The job is at its end.
    pub(super) fn finish(&mut self) -> Vec<Wait> {
        for heat in &mut self.tools {
            heat.close(self.now, false, &mut self.waits);
            heat.sum.stagnant = heat.melt.stagnant;
        }
        let mut waits = std::mem::take(&mut self.waits);
        waits.sort_by(|a, b| a.began.get().total_cmp(&b.began.get()));
        waits
    }
}

impl ToolHeat {
    fn new(tool: ToolNumber, is: &MachineTool) -> Self {
        Self {
            tool,
            facts: is.facts,
            heater: HeaterState::new(is.heater, is.surroundings, is.surroundings),
            asked: None,
            raised: None,
            heated: false,
            melt: Melt::FRESH,
            open: None,
            sum: WaitSum::default(),
        }
    }

    /// The last set point that the file gave it.
    pub(super) const fn asked(&self) -> Option<Celsius> {
        self.asked
    }

    pub(super) const fn heater(&self) -> &HeaterState {
        &self.heater
    }

    /// When its set point was last raised.
    pub(super) const fn raised(&self) -> Option<Seconds> {
        self.raised
    }

    /// Begins a wait, or ends one that is over because the tool is cold.
    fn turn(
        &mut self,
        now: Seconds,
        is_away: bool,
        drawn: &impl Fn(ToolNumber) -> Option<Millimetres>,
        waits: &mut Vec<Wait>,
    ) {
        let (actual, target) = (self.heater.actual(), self.heater.target());
        let over = |limit: Celsius| actual >= limit || target.is_some_and(|target| target >= limit);
        self.heated = over(HEATED_FROM) || self.heated && over(COLD_BELOW);
        if !(is_away && self.heated) {
            self.close(now, false, waits);
        } else if self.open.is_none() {
            let meter = SpanMeter::new(&self.facts);
            self.open = Some(Open { began: now, meter, drawn: drawn(self.tool), targets: Vec::new() });
        }
    }

    fn step(&mut self, lasted: Seconds, extruded: CubicMm) {
        let from = self.heater.actual();
        self.heater.advance(lasted);
        let to = self.heater.actual();
        self.melt.work(waited_dose(&self.facts, lasted, from, to), extruded);
        if self.melt.mixed > self.sum.dose_max {
            self.sum.dose_max = self.melt.mixed;
        }
        if let Some(open) = &mut self.open {
            open.meter.wait(lasted, from, to);
            let target = self.heater.target().unwrap_or(Celsius::new(0.0));
            let is_full = open.targets.len() >= TARGETS_MAX;
            match open.targets.iter_mut().find(|(held, _)| *held == target) {
                Some((_, held)) => *held += lasted,
                None if !is_full => open.targets.push((target, lasted)),
                None => {}
            }
        }
    }

    fn close(&mut self, now: Seconds, is_followed: bool, waits: &mut Vec<Wait>) {
        let Some(open) = self.open.take() else { return };
        let measure = open.meter.measure(open.drawn);
        self.sum.add(&measure, open.began, is_followed);
        if is_followed {
            let called = self.heater.actual();
            self.sum.called_min = Some(self.sum.called_min.map_or(called, |coldest| coldest.min(called)));
        }
        if waits.len() < WAITS_MAX {
            let longest = open.targets.iter().max_by(|a, b| a.1.get().total_cmp(&b.1.get()));
            waits.push(Wait {
                tool: self.tool,
                began: open.began,
                ended: now,
                measure,
                dose: self.melt.mixed,
                target: longest.map(|(target, _)| *target),
                is_followed,
            });
        }
    }
}

impl WaitSum {
    fn add(&mut self, measure: &SpanMeasure, began: Seconds, is_followed: bool) {
        self.n += 1;
        self.lasted += measure.idle;
        self.dose += measure.dose;
        if measure.dose > self.wait_dose_max {
            self.wait_dose_max = measure.dose;
        }
        self.ooze += measure.ooze.unwrap_or(CubicMm::ZERO);
        if measure.idle > self.longest {
            (self.longest, self.longest_at) = (measure.idle, Some(began));
        }
        if let Some((mean, max)) = measure.mean.zip(measure.max) {
            self.weighted += mean.get() * measure.idle.get();
            self.measured += measure.idle;
            self.max = Some(self.max.map_or(max, |held| held.max(max)));
            if is_followed {
                self.restarts.add(measure.idle, mean, measure.dose);
            }
        }
    }

    pub(super) fn mean(&self) -> Option<Celsius> {
        (self.measured > Seconds::ZERO).then(|| Celsius::new(self.weighted / self.measured.get()))
    }
}
