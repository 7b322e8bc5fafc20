//! How a history goes on from print to print: the printer, the person, and chance. Must not: know who judges it.

use super::catalogue::{Family, World};
use super::chance::Chance;
use super::exposure::Age;
use super::follow::Taken;
use super::heat::{Bench, State};
use super::history::{Fitted, Print, Run};
use super::outcome::{Fate, Outcome, Rates};
use super::person::Person;
use super::plan::Plan;
use super::words::said;
use dwell_analysis::estimate::count;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// 2026-03-02T00:00:00Z, a Monday.
pub(super) const BEGINS_MS: i64 = 1_772_409_600_000;
const DAY_S: f64 = 86_400.0;
const NAMES: [&str; 6] = ["lantern", "gull", "bracket", "pulley", "tray", "kite"];
/// Readings for heating up that the calendar leaves room for.
const HEATING: usize = 125;

/// The state that goes on from print to print.
#[derive(Clone)]
pub(super) struct Course {
    own: u64,
    rates: Rates,
    person: Person,
    bench: Bench,
    liners: [Age; 2],
    /// Prints until a liner that has failed is replaced.
    replace_in: [Option<usize>; 2],
    habits: Chance,
    plans: Chance,
    heat: Chance,
    fate: Chance,
    talk: Chance,
    /// When the printer is free for the next print, if the calendar is kept whatever comes of a print.
    free: Option<Timestamp>,
}

impl Course {
    pub(super) fn new(world: World, seed: u64) -> Self {
        // Worlds of the same seed have nothing in common.
        let own = world.name.bytes().fold(seed, |own, byte| own.wrapping_mul(0x100_0000_01b3) ^ u64::from(byte));
        let stream = |purpose| Chance::new(own, purpose);
        let (mut habits, mut heat, mut fate) = (stream(1), stream(3), stream(4));
        let (low, high) = world.strength;
        let base = if world.family == Family::Nothing { 0.06 } else { fate.between(0.006, 0.015) };
        let bench = Bench::new(Timestamp::from_ms(BEGINS_MS), world.poll_s, heat.between(0.2, 0.5));
        Self {
            own,
            rates: Rates { world, base, strength: fate.between(low, high) },
            person: Person::new(world.habits, &mut habits),
            bench,
            liners: [Age::default(); 2],
            replace_in: [None, None],
            habits,
            plans: stream(2),
            heat,
            fate,
            talk: stream(5),
            free: None,
        }
    }

    /// Now, at the printer.
    pub(super) fn now(&self) -> Timestamp {
        self.bench.now()
    }

    /// What goes wrong with this print, when it begins and how it runs is drawn for its number alone: courses that part
    /// stay comparable, print by print, whatever came of those before.
    pub(super) fn draw_for(&mut self, idx: usize) {
        // Streams 0 to 15 are a history's own.
        let stream = |purpose: u64| Chance::new(self.own, 16 * (u64::try_from(idx).unwrap() + 1) + purpose);
        (self.habits, self.plans, self.heat) = (stream(1), stream(2), stream(3));
        (self.fate, self.talk) = (stream(4), stream(5));
        self.free = self.free.or(Some(self.bench.now()));
    }

    /// The next print at this part of the history, with what somebody took up from advice.
    pub(super) fn print(&mut self, idx: usize, part: f64, is_weekend: bool, taken: &mut Taken) -> Print {
        let prepared = self.bench.now();
        self.person.prepare(&mut self.habits);
        if taken.swaps_now() {
            self.person.swap_spools();
        }
        let own = self.person.settings();
        let settings = [0, 1].map(|tool| taken.settings(tool, own[tool]));
        let fitted = self.parts(idx, taken);
        let mut samples = Vec::new();
        if self.plans.happens(0.05) {
            let n = self.plans.whole(12, 120);
            samples = self.bench.preheat(settings.map(|own| own.standby_c), n, &mut self.heat);
        }
        let n_before = samples.len();
        let longer = if is_weekend { 1.4 } else { 1.0 };
        let plan = Plan::new(self.rates.world.median_min * longer, &mut self.plans);
        samples.extend(self.bench.run(&plan, &settings, &mut self.heat));
        let outcome = self.rates.outcome(samples, &settings, &self.liners, &mut self.fate);
        let Outcome { mut samples, end, fates, failures } = outcome;
        let last = samples[samples.len() - 1];
        let n_after = if self.plans.happens(0.25) { self.plans.whole(40, 90) } else { self.plans.whole(2, 12) };
        let after = self.bench.after(last, end, n_after, &mut self.heat);
        let ended = after[0].at;
        if let Some(free) = &mut self.free {
            let n = count(n_before + HEATING + n_after);
            let seconds = n * self.rates.world.poll_s + plan.seconds() + plan.pause.map_or(0.0, |(_, length)| length);
            *free = prepared + Seconds::new(seconds);
        }
        samples.extend(after);
        for tool in 0..2 {
            self.liners[tool] = self.liners[tool].after(&samples, tool, self.rates.world.poll_s);
        }
        self.order_liners(&failures);
        let world = self.rates.world;
        let runs = fates.iter().map(|fate| {
            let others = fates.iter().filter(|other| other.tool != fate.tool).map(|other| other.probability);
            let all_well: f64 = others.map(|other| 1.0 - other).product();
            let else_well = (1.0 - self.rates.else_wrong()).powf(count(fates.len()));
            let noted = world.telling.noted(world.family.mode(), fate.probability, 1.0 - all_well * else_well, part);
            let Fate { tool, exposure, probability, has_failed } = *fate;
            Run { tool, exposure, probability, noted, has_failed }
        });
        Print {
            name: format!("{}.gcode", NAMES[idx * 7 % NAMES.len()]),
            started: samples.iter().find(|sample| sample.state == State::Printing).unwrap().at,
            ended,
            runs: runs.collect(),
            words: said(&failures, world.telling, part, &mut self.talk),
            failures,
            prepared,
            settings,
            fitted,
            samples,
        }
    }

    /// The printer is off until the next print; whether that is on a weekend.
    pub(super) fn wait_for_next(&mut self) -> bool {
        let from = self.free.unwrap_or(self.bench.now());
        let mut then = from + Seconds::new(self.plans.around(5_400.0, 1.0).clamp(400.0, 40_000.0));
        let hour = |at: Timestamp| (at - Timestamp::from_ms(BEGINS_MS)).get() % DAY_S / 3_600.0;
        if !(8.0..22.0).contains(&hour(then)) {
            let until_morning = (32.0 - hour(then)) % 24.0 + self.plans.between(0.0, 3.0);
            then = then + Seconds::new(until_morning * 3_600.0);
        }
        self.bench.rest_until(then);
        (then - Timestamp::from_ms(BEGINS_MS)).get() / DAY_S % 7.0 >= 5.0
    }

    /// Parts changed before a print.
    fn parts(&mut self, idx: usize, taken: &mut Taken) -> Vec<Fitted> {
        let (mut fitted, advised) = (Vec::new(), taken.parts_now());
        for tool in 0..2 {
            let is_due = self.replace_in[tool] == Some(0);
            self.replace_in[tool] = self.replace_in[tool].map(|left| left.saturating_sub(1));
            let removed = match idx {
                0 => None,
                _ if is_due => Some("failed"),
                _ if self.habits.happens(0.006) => Some("preventive"),
                _ if advised.contains(&(tool, "liner")) => Some("preventive"),
                _ => continue,
            };
            fitted.push(Fitted { tool, part: "liner", removed });
            (self.liners[tool], self.replace_in[tool]) = (Age::default(), None);
            if idx == 0 || self.habits.happens(0.1) {
                fitted.push(Fitted { tool, part: "nozzle", removed: removed.map(|_| "preventive") });
            }
        }
        let others = advised.into_iter().filter(|(_, part)| *part != "liner");
        fitted.extend(others.map(|(tool, part)| Fitted { tool, part, removed: Some("preventive") }));
        fitted
    }

    /// A liner that has failed is replaced at once or some prints later.
    fn order_liners(&mut self, failures: &[(usize, &'static str)]) {
        for (tool, _) in failures.iter().filter(|(_, mode)| *mode == "liner") {
            if self.replace_in[*tool].is_none() {
                self.replace_in[*tool] = Some(self.habits.one_of(&[0, 0, 0, 1, 2, 4, 6]));
            }
        }
    }
}
