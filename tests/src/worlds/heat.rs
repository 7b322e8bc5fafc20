//! The printer while it prints: two heaters of first order, polled. Values are of the order of domain practice: 40 W
//! cartridges in small blocks.

use super::chance::Chance;
use super::person::Settings;
use super::plan::Plan;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// Rise above the surroundings at full power, K.
const FULL_K: f64 = 550.0;
/// Of a neighbour's rise, this much reaches a tool.
const NEIGHBOUR: f64 = 0.06;
const TAU_S: f64 = 170.0;
const ROOM_C: f64 = 24.0;

/// What the host says of the job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum State {
    None,
    Heating,
    Printing,
    Paused,
    Completed,
    Cancelled,
    Failed,
}

impl State {
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Heating => "heating",
            Self::Printing => "printing",
            Self::Paused => "paused",
            Self::Completed => "completed",
            Self::Cancelled => "cancelled",
            Self::Failed => "failed",
        }
    }
}

/// One poll.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sample {
    pub(super) at: Timestamp,
    pub(super) state: State,
    /// Of the print's time.
    pub(super) fraction: f64,
    pub(super) tool: usize,
    /// As it is, °C.
    pub(super) real_c: [f64; 2],
    /// As the host says, °C.
    pub(super) told_c: [f64; 2],
    pub(super) target_c: [f64; 2],
}

/// The two heaters and the clock that polls them.
#[derive(Clone)]
pub(super) struct Bench {
    at: Timestamp,
    real_c: [f64; 2],
    poll_s: f64,
    noise_k: f64,
}

impl Bench {
    pub(super) fn new(at: Timestamp, poll_s: f64, noise_k: f64) -> Self {
        Self { at, real_c: [ROOM_C, ROOM_C], poll_s, noise_k }
    }

    pub(super) fn now(&self) -> Timestamp {
        self.at
    }

    /// Switched off until then; cools meanwhile.
    pub(super) fn rest_until(&mut self, then: Timestamp) {
        let left = (-((then - self.at).get().max(0.0)) / TAU_S).exp();
        self.real_c = self.real_c.map(|c| ROOM_C + (c - ROOM_C) * left);
        self.at = then;
    }

    fn step(&mut self, state: State, fraction: f64, tool: usize, target_c: [f64; 2], chance: &mut Chance) -> Sample {
        let before = self.real_c;
        for (own, target) in target_c.iter().enumerate() {
            let surroundings = ROOM_C + NEIGHBOUR * (before[1 - own] - ROOM_C);
            self.real_c[own] = heated(before[own], *target, surroundings, self.poll_s);
        }
        // Polls come late by some hundredths of a second, never in another order.
        self.at = self.at + Seconds::new(self.poll_s);
        let at = self.at + Seconds::new(self.poll_s * chance.between(0.0, 0.03));
        let told_c = self.real_c.map(|c| c + self.noise_k * chance.normal());
        Sample { at, state, fraction, tool, real_c: self.real_c, told_c, target_c }
    }

    /// The whole course: heating up, printing, and the end if nothing comes between.
    pub(super) fn run(&mut self, plan: &Plan, settings: &[Settings; 2], chance: &mut Chance) -> Vec<Sample> {
        let mut samples = Vec::new();
        let first = plan.turns[0].tool;
        let target_c = targets(plan, settings, 0.0);
        for _ in 0..120 {
            samples.push(self.step(State::Heating, 0.0, first, target_c, chance));
            if self.real_c[first] > target_c[first] - 1.0 {
                break;
            }
        }
        let (mut at_s, mut pause_left) = (0.0, plan.pause.map_or(0.0, |(_, length)| length));
        while at_s < plan.seconds() {
            let tool = plan.at_work(at_s);
            let is_paused = pause_left > 0.0 && plan.pause.is_some_and(|(from, _)| at_s >= from);
            let state = if is_paused { State::Paused } else { State::Printing };
            let target_c = targets(plan, settings, at_s);
            samples.push(self.step(state, at_s / plan.seconds(), tool, target_c, chance));
            if is_paused {
                pause_left -= self.poll_s;
            } else {
                at_s += self.poll_s;
            }
        }
        samples
    }

    /// The readings after a print that ended like this, until somebody switches the printer off.
    pub(super) fn after(&mut self, last: Sample, state: State, n: usize, chance: &mut Chance) -> Vec<Sample> {
        // What was cut off was never lived.
        (self.at, self.real_c) = (last.at, last.real_c);
        let fraction = if state == State::Completed { 1.0 } else { last.fraction };
        (0..n).map(|_| self.step(state, fraction, last.tool, [0.0, 0.0], chance)).collect()
    }

    /// Tools kept hot outside any print.
    pub(super) fn preheat(&mut self, target_c: [f64; 2], n: usize, chance: &mut Chance) -> Vec<Sample> {
        (0..n).map(|_| self.step(State::None, 0.0, 0, target_c, chance)).collect()
    }
}

/// A temperature after one step of `dt_s`.
fn heated(c: f64, target_c: f64, surroundings_c: f64, dt_s: f64) -> f64 {
    let part = 1.0 - (-dt_s / TAU_S).exp();
    let unheated = c + (surroundings_c - c) * part;
    let full = c + (surroundings_c + FULL_K - c) * part;
    target_c.clamp(unheated.min(full), full)
}

fn targets(plan: &Plan, settings: &[Settings; 2], at_s: f64) -> [f64; 2] {
    [0, 1].map(|tool| {
        let own = &settings[tool];
        let is_first_ahead = !plan.has_worked(tool, at_s);
        match plan.until_turn(tool, at_s) {
            Some(left) if left <= plan.ahead_s => own.print_c,
            Some(_) if is_first_ahead && plan.cold_until_first => 0.0,
            None if is_first_ahead || plan.off_after_last => 0.0,
            Some(_) | None => own.standby_c,
        }
    })
}
