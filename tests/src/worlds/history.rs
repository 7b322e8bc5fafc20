//! One history: prints one after the other over months, with what is done to the printer between them.

use super::catalogue::{Family, World};
use super::chance::Chance;
use super::exposure::{Age, Exposure};
use super::heat::{Bench, Sample, State};
use super::outcome::{Outcome, Rates};
use super::person::{Person, Settings};
use super::plan::Plan;
use super::words::{Word, in_the_end, said};
use dwell_analysis::estimate::count;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// 2026-03-02T00:00:00Z, a Monday.
const BEGINS_MS: i64 = 1_772_409_600_000;
const DAY_S: f64 = 86_400.0;
const NAMES: [&str; 6] = ["lantern", "gull", "bracket", "pulley", "tray", "kite"];

/// A tool's part in a print, as the judge knows it.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    /// Which.
    pub tool: usize,
    /// What it went through.
    pub exposure: Exposure,
    /// That it is noted as failed in the world's mode, if anything is said of the print.
    pub noted: f64,
    /// Whether it failed in the world's mode, said or not.
    pub has_failed: bool,
}

/// A part taken out and replaced.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fitted {
    pub(super) tool: usize,
    pub(super) part: &'static str,
    /// Of the one before; none at the first.
    pub(super) removed: Option<&'static str>,
}

/// A print and what was done and said around it.
#[derive(Clone, Debug)]
pub struct Print {
    /// The job's name.
    pub name: String,
    /// Its first `printing` reading.
    pub started: Timestamp,
    /// The first reading after it.
    pub ended: Timestamp,
    /// What its tools went through.
    pub runs: Vec<Run>,
    /// When settings and parts were changed for it.
    pub(super) prepared: Timestamp,
    pub(super) settings: [Settings; 2],
    pub(super) fitted: Vec<Fitted>,
    pub(super) samples: Vec<Sample>,
    pub(super) words: Vec<Word>,
}

/// A world's history from a seed.
#[derive(Clone, Debug)]
pub struct History {
    /// Whose.
    pub world: World,
    /// From which it comes out the same again.
    pub seed: u64,
    /// In time order.
    pub prints: Vec<Print>,
}

impl Print {
    /// Whether a mode is said to have happened on a tool, when all is said; none if nothing is.
    #[must_use]
    pub fn said(&self, mode: &str, tool: usize) -> Option<bool> {
        in_the_end(&self.words, mode, tool)
    }
}

impl History {
    /// So many prints in a world.
    #[must_use]
    pub fn new(world: World, seed: u64, n_prints: usize) -> Self {
        let mut course = Course::new(world, seed);
        let prints = (0..n_prints).map(|idx| course.print(idx, count(idx) / count(n_prints))).collect();
        Self { world, seed, prints }
    }

    /// Of all tool-runs, those that failed in the world's mode.
    #[must_use]
    pub fn failed_share(&self) -> f64 {
        let runs: Vec<&Run> = self.prints.iter().flat_map(|print| &print.runs).collect();
        count(runs.iter().filter(|run| run.has_failed).count()) / count(runs.len())
    }

    /// How many readings its journal holds.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.prints.iter().map(|print| print.samples.len()).sum()
    }
}

/// The state that goes on from print to print.
struct Course {
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
}

impl Course {
    fn new(world: World, seed: u64) -> Self {
        // Worlds of the same seed have nothing in common.
        let own = world.name.bytes().fold(seed, |own, byte| own.wrapping_mul(0x100_0000_01b3) ^ u64::from(byte));
        let stream = |purpose| Chance::new(own, purpose);
        let (mut habits, mut heat, mut fate) = (stream(1), stream(3), stream(4));
        let (low, high) = world.strength;
        let base = if world.family == Family::Nothing { 0.06 } else { fate.between(0.006, 0.015) };
        let bench = Bench::new(Timestamp::from_ms(BEGINS_MS), world.poll_s, heat.between(0.2, 0.5));
        Self {
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
        }
    }

    fn print(&mut self, idx: usize, part: f64) -> Print {
        let is_weekend = self.wait_for_next();
        let prepared = self.bench.now();
        self.person.prepare(&mut self.habits);
        let (settings, fitted) = (self.person.settings(), self.parts(idx));
        let mut samples = Vec::new();
        if self.plans.happens(0.05) {
            let n = self.plans.whole(12, 120);
            samples = self.bench.preheat(settings.map(|own| own.standby_c), n, &mut self.heat);
        }
        let longer = if is_weekend { 1.4 } else { 1.0 };
        let plan = Plan::new(self.rates.world.median_min * longer, &mut self.plans);
        samples.extend(self.bench.run(&plan, &settings, &mut self.heat));
        let outcome = self.rates.outcome(samples, &settings, &self.liners, &mut self.fate);
        let Outcome { mut samples, end, fates, failures } = outcome;
        let last = samples[samples.len() - 1];
        let n_after = if self.plans.happens(0.25) { self.plans.whole(40, 90) } else { self.plans.whole(2, 12) };
        let after = self.bench.after(last, end, n_after, &mut self.heat);
        let ended = after[0].at;
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
            Run { tool: fate.tool, exposure: fate.exposure, noted, has_failed: fate.has_failed }
        });
        Print {
            name: format!("{}.gcode", NAMES[idx * 7 % NAMES.len()]),
            started: samples.iter().find(|sample| sample.state == State::Printing).unwrap().at,
            ended,
            runs: runs.collect(),
            prepared,
            settings,
            fitted,
            words: said(&failures, world.telling, part, &mut self.talk),
            samples,
        }
    }

    /// The printer is off until the next print; whether that is on a weekend.
    fn wait_for_next(&mut self) -> bool {
        let mut then = self.bench.now() + Seconds::new(self.plans.around(5_400.0, 1.0).clamp(400.0, 40_000.0));
        let hour = |at: Timestamp| (at - Timestamp::from_ms(BEGINS_MS)).get() % DAY_S / 3_600.0;
        if !(8.0..22.0).contains(&hour(then)) {
            let until_morning = (32.0 - hour(then)) % 24.0 + self.plans.between(0.0, 3.0);
            then = then + Seconds::new(until_morning * 3_600.0);
        }
        self.bench.rest_until(then);
        (then - Timestamp::from_ms(BEGINS_MS)).get() / DAY_S % 7.0 >= 5.0
    }

    /// Parts changed before a print.
    fn parts(&mut self, idx: usize) -> Vec<Fitted> {
        let mut fitted = Vec::new();
        for tool in 0..2 {
            let is_due = self.replace_in[tool] == Some(0);
            self.replace_in[tool] = self.replace_in[tool].map(|left| left.saturating_sub(1));
            let removed = match idx {
                0 => None,
                _ if is_due => Some("failed"),
                _ if self.habits.happens(0.006) => Some("preventive"),
                _ => continue,
            };
            fitted.push(Fitted { tool, part: "liner", removed });
            (self.liners[tool], self.replace_in[tool]) = (Age::default(), None);
            if idx == 0 || self.habits.happens(0.1) {
                fitted.push(Fitted { tool, part: "nozzle", removed: removed.map(|_| "preventive") });
            }
        }
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
