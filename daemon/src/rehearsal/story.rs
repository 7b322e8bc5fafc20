//! Eight weeks at the bench, told from a seed: what was printed, how the settings were changed, which parts wore out
//! and what the person said. Owns the calendar's dates and each day's draws; a print's course is `session`'s.

use super::calendar::{Change, planned, standby};
use super::gcode::{JobPlan, ToolPlan};
use super::rig::Rig;
use super::session::{Aftermath, Bench, Order};
use crate::entry::{
    Entry, HotEnd, Part, PartChange, PartEvent, PartReason, PrinterName, Settings, SettingsChange, ToolNumber,
};
use dwell_analysis::polymer::{Material, Materials};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, LogNormal};
use std::sync::Arc;

/// Monday 2026-01-05T00:00:00Z, the first day of 2026-W02.
const BEGINS: Timestamp = Timestamp::from_ms(1_767_571_200_000);
const DAY_S: f64 = 86_400.0;
/// 2026-W02 to W09.
const DAYS: u32 = 56;
/// Weighted hours that the liners have behind them at the beginning: T1's is an old one.
const LINERS_H: [f64; 2] = [20.0, 110.0];
/// Between two prints at least, s: the part is taken off and the bed wiped.
const BETWEEN_S: f64 = 900.0;
/// How often it happens, a print.
const REPORTED: f64 = 0.85;
const PREHEATED: f64 = 0.15;
const LEFT_ON: f64 = 0.12;
const PAUSED: f64 = 0.12;
const OUT_OF_CONTACT: f64 = 0.18;
const CANCELLED: f64 = 0.04;
const OFF_THE_BED: f64 = 0.015;
/// How often a day begins with another standby temperature.
const TINKERED: f64 = 0.3;

const OBJECTS: [&str; 16] = [
    "lantern",
    "trellis",
    "cable-gate",
    "spice-drawer",
    "hinge-block",
    "planter",
    "gear-case",
    "bird-feeder",
    "lens-cap",
    "tap-handle",
    "coat-hook",
    "map-tube",
    "seed-tray",
    "door-wedge",
    "lamp-foot",
    "pen-rack",
];

/// A history of a printer.
#[derive(Clone, Debug)]
pub struct Story {
    seed: u64,
    days: std::ops::Range<u32>,
    prints_max: usize,
}

impl Story {
    /// Eight weeks, 2026-01-05 to 2026-03-01.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self { seed, days: 0..DAYS, prints_max: usize::MAX }
    }

    /// The first three prints of it.
    #[must_use]
    pub const fn short(seed: u64) -> Self {
        Self { seed, days: 0..3, prints_max: 3 }
    }

    /// The printer's name, the same in every story.
    ///
    /// # Panics
    /// Never: the name is sound.
    #[must_use]
    #[expect(clippy::expect_used, reason = "the name is a sound literal")]
    pub fn printer(&self) -> PrinterName {
        PrinterName::new("bench").expect("a sound name")
    }

    /// The instant at which it is over: midnight after its last day.
    #[must_use]
    pub fn ends(&self) -> Timestamp {
        BEGINS + Seconds::new(f64::from(self.days.end) * DAY_S)
    }

    /// Everything that happened, in time order. The same seed tells the same story.
    #[must_use]
    pub fn entries(&self) -> Vec<Entry> {
        let rng = ChaCha8Rng::seed_from_u64(self.seed);
        let rig = Rig::new(HotEnd::Separate, [Material::Pla, Material::Petg], self.seed.wrapping_add(1));
        let mut bench = Bench::new(rig, rng, LINERS_H, BEGINS);
        fit_first_parts(&mut bench);
        let plan = planned();
        let mut prints = 0;
        for day in self.days.clone() {
            let morning = BEGINS + Seconds::new(f64::from(day) * DAY_S + 7.0 * 3600.0);
            change_settings(&mut bench, &plan, day, morning);
            for hour in hours(&mut bench.rng) {
                if prints == self.prints_max {
                    break;
                }
                let wanted = BEGINS + Seconds::new(f64::from(day) * DAY_S + hour * 3600.0);
                let earliest = bench.now() + Seconds::new(BETWEEN_S);
                bench.off_until(wanted.max(earliest));
                let order = order(&mut bench.rng, &bench.settings);
                let left = bench.print(&order);
                repair(&mut bench, left);
                prints += 1;
            }
        }
        let mut entries = bench.entries;
        entries.sort_by_key(at);
        entries
    }
}

/// When an entry happened.
#[must_use]
pub const fn at(entry: &Entry) -> Timestamp {
    match entry {
        Entry::Reading(reading) => reading.at,
        Entry::Settings(change) => change.at,
        Entry::Part(change) => change.at,
        Entry::Outcome(outcome) => outcome.at,
        Entry::Undo(undo) => undo.at,
        Entry::JobFile(file) => file.at,
        Entry::Heater(fact) => fact.at,
    }
}

/// At which hours of a day a print is begun: about two.
fn hours(rng: &mut ChaCha8Rng) -> Vec<f64> {
    [(0.8, 7.5..9.5), (0.7, 12.5..14.5), (0.65, 17.5..19.5)]
        .into_iter()
        .filter_map(|(chance, hours)| {
            let hour = rng.random_range(hours);
            rng.random_bool(chance).then_some(hour)
        })
        .collect()
}

fn change_settings(bench: &mut Bench, plan: &[Change], day: u32, at: Timestamp) {
    let due: Vec<&Change> = plan.iter().filter(|change| change.day == day).collect();
    for change in &due {
        put_settings(bench, change.tool, &change.settings, at);
    }
    if due.is_empty() && bench.rng.random_bool(TINKERED) {
        let tool = usize::from(bench.rng.random_bool(0.5));
        let held = bench.settings[tool].standby.map_or(175.0, Celsius::get);
        // Within what the material can be printed at: standby never above print heat.
        let limit = bench.settings[tool].print.map_or(200.0, Celsius::get) - 4.0;
        let tried = (held + 5.0 * f64::from(bench.rng.random_range(-2_i32..=2))).clamp(140.0, limit);
        put_settings(bench, tool, &standby(tried), at);
    }
}

fn put_settings(bench: &mut Bench, tool: usize, settings: &Settings, at: Timestamp) {
    bench.settings[tool].update(settings);
    bench.rig.load_material(tool, bench.settings[tool].facts(&Materials::default()).kind);
    if let Some(tool) = ToolNumber::new(tool) {
        bench.entries.push(Entry::Settings(SettingsChange { at, tool, settings: settings.clone() }));
    }
}

fn fit_first_parts(bench: &mut Bench) {
    for tool in 0..2 {
        put_part(bench, tool, (Part::Nozzle, PartEvent::Fitted), None, BEGINS);
        put_part(bench, tool, (Part::Liner, PartEvent::Fitted), None, BEGINS);
    }
}

fn put_part(bench: &mut Bench, tool: usize, what: (Part, PartEvent), reason: Option<PartReason>, at: Timestamp) {
    let Some(tool) = ToolNumber::new(tool) else { return };
    let (part, event) = what;
    bench.entries.push(Entry::Part(PartChange { at, tool, part, event, reason, note: None }));
}

/// A failed liner is replaced before the next print, a gravely jammed nozzle more often than not.
fn repair(bench: &mut Bench, left: Aftermath) {
    let at = bench.now() + Seconds::minutes(8.0);
    for tool in 0..2 {
        let is_worn_out = left.jammed_gravely[tool] && bench.rng.random_bool(0.6);
        if left.liner_failed[tool] {
            bench.liners_h[tool] = 0.0;
            replace(bench, tool, Part::Liner, at);
        }
        if is_worn_out {
            replace(bench, tool, Part::Nozzle, at);
        }
    }
}

fn replace(bench: &mut Bench, tool: usize, part: Part, at: Timestamp) {
    put_part(bench, tool, (part, PartEvent::Removed), Some(PartReason::Failed), at);
    put_part(bench, tool, (part, PartEvent::Fitted), None, at + Seconds::minutes(3.0));
}

/// Draws one print: the part, and what befalls it from outside.
fn order(rng: &mut ChaCha8Rng, settings: &[Settings; 2]) -> Order {
    let mut plan = job(rng, settings);
    let object = OBJECTS[rng.random_range(0..OBJECTS.len())];
    let name = format!("{object}-{}.gcode", rng.random_range(1..5));
    let prints = [plan.tools[0].print_c, plan.tools[1].print_c];
    let preheat = rng.random_range(240.0..1200.0);
    let forgotten_s = rng.random_range(300.0..1500.0);
    let left_on = rng.random_bool(LEFT_ON).then_some(forgotten_s);
    plan.heaters_off = left_on.is_none();
    let pause = (rng.random_range(300.0..3000.0), rng.random_range(120.0..900.0));
    let lost = (rng.random_range(200.0..4000.0), rng.random_range(30.0..400.0));
    let cancel_at = rng.random_range(0.1..0.9);
    let off_bed_at = rng.random_range(0.05..0.5);
    Order {
        name: name.into(),
        text: Arc::from(plan.text(rng)),
        preheat: rng.random_bool(PREHEATED).then_some((preheat, prints)),
        left_on,
        pause: rng.random_bool(PAUSED).then_some(pause),
        missed: if rng.random_bool(OUT_OF_CONTACT) { vec![(lost.0, lost.0 + lost.1)] } else { Vec::new() },
        cancel_at: rng.random_bool(CANCELLED).then_some(cancel_at),
        off_bed_at: rng.random_bool(OFF_THE_BED).then_some(off_bed_at),
        is_reported: rng.random_bool(REPORTED),
    }
}

/// A part of half an hour to four hours; T1 supports it in every layer or in few.
fn job(rng: &mut ChaCha8Rng, settings: &[Settings; 2]) -> JobPlan {
    // Median 1.05 h, two thirds within a factor of 1.65 of it.
    let drawn = LogNormal::new(1.05_f64.ln(), 0.5).map_or(1.05, |law| law.sample(rng));
    let to_print_s = drawn.clamp(0.5, 4.0) * 3600.0;
    let first_s = rng.random_range(60.0..200.0);
    let second_s = rng.random_range(25.0..90.0);
    let every = [1, 1, 2, 3, 6][rng.random_range(0..5)];
    // What a change and its prime cost besides the path.
    let turn_s = first_s + (second_s + 30.0) / f64::from(every);
    let mut layers = 0_u32;
    while f64::from(layers) * turn_s < to_print_s {
        layers += 1;
    }
    JobPlan {
        tools: [ToolPlan::of(&settings[0]), ToolPlan::of(&settings[1])],
        bed_c: 60.0,
        visits: JobPlan::layered(layers.max(every), (first_s, second_s), every),
        heaters_off: true,
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::{JobState, Mode, Reading};
    use crate::rehearsal::calendar::HOT_STANDBY_DAYS;
    use std::collections::BTreeSet;

    fn readings(entries: &[Entry]) -> impl Iterator<Item = &Reading> {
        entries.iter().filter_map(|entry| match entry {
            Entry::Reading(reading) => Some(reading),
            _ => None,
        })
    }

    #[test]
    fn same_seed_tells_the_same_story_and_another_seed_another() {
        let told = Story::short(7).entries();
        assert_eq!(told, Story::short(7).entries());
        assert_ne!(told, Story::short(8).entries());
        assert!(told.iter().zip(told.iter().skip(1)).all(|(one, next)| at(one) <= at(next)));
        assert!(told.last().is_some_and(|last| at(last) < Story::short(7).ends()));
    }

    #[test]
    fn outcomes_find_their_prints_by_the_first_printing_reading() {
        let told = Story::short(2).entries();
        let mut begins = Vec::new();
        let mut before = JobState::None;
        for reading in readings(&told) {
            if reading.job.state == JobState::Printing && !matches!(before, JobState::Printing | JobState::Paused) {
                begins.push((reading.at, reading.job.name.clone().unwrap()));
            }
            before = reading.job.state;
        }
        assert_eq!(begins.len(), 3);
        let outcomes: Vec<_> =
            told.iter().filter_map(|entry| if let Entry::Outcome(o) = entry { Some(o) } else { None }).collect();
        assert!(!outcomes.is_empty());
        assert!(outcomes.iter().all(|outcome| begins.contains(&(outcome.started, Arc::clone(&outcome.job)))));
    }

    /// Eight weeks whole, once: what the demo promises of its history.
    #[test]
    fn eight_weeks_fail_more_often_while_standby_is_hot_and_stay_within_their_size() {
        let story = Story::new(1);
        let told = story.entries();
        let count = readings(&told).count();
        assert!((60_000..=150_000).contains(&count), "{count} readings");
        let (mut hot, mut cool) = ([0_u32; 2], [0_u32; 2]);
        let (mut liners, mut silences) = (0, 0);
        let (mut reported, mut failed_runs) = (BTreeSet::new(), BTreeSet::new());
        for entry in &told {
            match entry {
                Entry::Outcome(outcome) => {
                    reported.insert(outcome.started);
                    failed_runs.extend(outcome.tool.map(|tool| (outcome.started, tool)));
                    let day = (outcome.at - BEGINS).get() / DAY_S;
                    let is_hot = (f64::from(HOT_STANDBY_DAYS.start)..f64::from(HOT_STANDBY_DAYS.end)).contains(&day);
                    let week = if is_hot { &mut hot } else { &mut cool };
                    week[usize::from(outcome.mode != Mode::Clean)] += 1;
                }
                Entry::Part(change) if change.part == Part::Liner && change.event == PartEvent::Removed => liners += 1,
                _ => {}
            }
        }
        for (one, next) in readings(&told).zip(readings(&told).skip(1)) {
            let within = one.job.state == JobState::Printing && next.job.state == JobState::Printing;
            silences += u32::from(within && (next.at - one.at).get() > 20.0);
        }
        let share = |[clean, failed]: [u32; 2]| f64::from(failed) / f64::from(clean + failed);
        assert!(share(hot) > 1.5 * share(cool), "{hot:?} {cool:?}");
        let runs = 2.0 * f64::from(u32::try_from(reported.len()).unwrap());
        let failing = f64::from(u32::try_from(failed_runs.len()).unwrap()) / runs;
        assert!(reported.len() > 70 && (0.08..=0.14).contains(&failing), "{failing} of {runs} tool-runs");
        assert!(liners >= 1 && silences >= 3, "{liners} liners replaced, {silences} silences while printing");
        assert!(told.iter().all(|entry| at(entry) < story.ends()));
    }
}
