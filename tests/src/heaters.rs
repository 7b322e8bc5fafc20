//! A simulated printer watched in virtual time, sound or with a broken heater: what its heaters' rules raise, and when.
//! Owns how it is polled and for how long; what is claimed of it stands in the tests and benches.

use dwell_analysis::thermal;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};
use dwellwatch::alarm::{AlarmEffect, Rule, Subject};
use dwellwatch::entry::{Entry, Heater, HeaterFact, HotEnd, JobState, Reading, Settings, ToolNumber};
use dwellwatch::pipeline::Pipeline;
use dwellwatch::rehearsal::plant::Seat;
use dwellwatch::rehearsal::{HeaterFault, LiveJob, Story};
use std::sync::Arc;

/// A fault, where it is planted, the rules of which one must find it, and within how many seconds.
pub type Planted = (Seat, HeaterFault, &'static [Rule], f64);

/// The first tool's heater.
pub const T0: Seat = Seat::Nozzle(0);
/// The second tool's heater.
pub const T1: Seat = Seat::Nozzle(1);

/// A heater that gives out is late where it was to climb, and lost where it was to hold.
const COLD: &[Rule] = &[Rule::HeatLate, Rule::HeatLost];
const COLD_BED: &[Rule] = &[Rule::BedLate, Rule::BedLost];

/// Faults that show in temperatures, found without anything learned.
pub const SHOWN: &[Planted] = &[
    (T0, HeaterFault::Dead, COLD, 600.0),
    (Seat::Bed, HeaterFault::Dead, COLD_BED, 1800.0),
    (T0, HeaterFault::SensorOpen, &[Rule::TempJump], 10.0),
    (Seat::Bed, HeaterFault::SensorOpen, &[Rule::BedJump], 10.0),
    (T0, HeaterFault::SensorShort, &[Rule::TempJump], 10.0),
    (T0, HeaterFault::StuckOn, &[Rule::HeatLost], 120.0),
    (Seat::Bed, HeaterFault::StuckOn, &[Rule::BedLost], 600.0),
];

/// What a loose, ageing or wrongly blown heater shows first depends on what it is at.
const UNLIKE: &[Rule] = &[Rule::DutyUnlike, Rule::HeatLate, Rule::HeatLost];

/// Faults that show beside what was learned of the heater, which takes twenty minutes of waiting.
pub const LEARNED: &[Planted] = &[
    (T1, HeaterFault::SensorFrozen, &[Rule::TempFrozen], 600.0),
    (T0, HeaterFault::SensorFrozen, &[Rule::TempFrozen], 600.0),
    (Seat::Bed, HeaterFault::SensorFrozen, &[Rule::BedFrozen], 600.0),
    (T1, HeaterFault::LooseSensor { share: 0.7, lag_s: 20.0 }, UNLIKE, 3600.0),
    (T1, HeaterFault::Weak(0.6), UNLIKE, 3600.0),
    (T1, HeaterFault::FanStuck, UNLIKE, 3600.0),
    (T1, HeaterFault::ToldDrift(2.0), &[Rule::TempDrift], 4.0 * 3600.0),
    (T1, HeaterFault::SensorDrift(2.0), UNLIKE, 20.0 * 3600.0),
];

/// How a printer is built and watched.
#[derive(Clone, Copy, Debug)]
pub struct Scene {
    /// Of its jobs and sensors.
    pub seed: u64,
    /// How its hot end is built.
    pub hot_end: HotEnd,
    /// Seconds between polls.
    pub every_s: i64,
    /// Steps of its sensors, a kelvin.
    pub steps_per_k: f64,
    /// Whether its heaters have been measured.
    pub is_measured: bool,
}

impl Scene {
    /// Separate hot ends, tenths of a degree, polled every second, not measured.
    #[must_use]
    pub fn usual(seed: u64) -> Self {
        Self { seed, hot_end: HotEnd::Separate, every_s: 1, steps_per_k: 10.0, is_measured: false }
    }

    /// What a wish for quiet has to hold for: both hot ends, quick and slow polls, fine and coarse sensors, measured and not.
    #[must_use]
    pub fn all(seed: u64) -> Vec<Self> {
        let mut scenes = Vec::new();
        for hot_end in [HotEnd::Separate, HotEnd::Shared] {
            for every_s in [1, 5] {
                for steps_per_k in [10.0, 2.0] {
                    let is_measured = (every_s == 1) == (steps_per_k > 5.0);
                    scenes.push(Self { seed, hot_end, every_s, steps_per_k, is_measured });
                }
            }
        }
        scenes
    }
}

/// An alarm.
#[derive(Clone, Debug)]
pub struct Raised {
    /// Seconds since the watching, or the fault, began.
    pub after_s: f64,
    /// Its rule.
    pub rule: Rule,
    /// Its tool.
    pub tool: Option<ToolNumber>,
    /// In its words.
    pub cause: String,
    /// Whether the reading that raised it shows by itself that the printer is as the rule says: a tool waits hot, heaters
    /// are on without a job. Of a heater's own faults no single reading of a sound printer shows any.
    pub is_so: bool,
}

impl Raised {
    /// Whether its rule is about the heater itself.
    #[must_use]
    pub fn is_of_heater(&self) -> bool {
        Rule::OF_HEATERS.contains(&self.rule)
    }
}

/// A printer under watch.
#[derive(Debug)]
pub struct Watched {
    live: LiveJob,
    pipeline: Pipeline,
    every_s: i64,
    now: Timestamp,
}

impl Watched {
    /// From the beginning of its first job.
    #[must_use]
    pub fn new(scene: Scene) -> Self {
        let live = LiveJob::new(scene.seed, scene.hot_end).with_sensors(scene.steps_per_k);
        let mut pipeline = Pipeline::new(scene.hot_end, vec![Settings::default(); 2], Arc::default());
        if scene.is_measured {
            measured(&mut pipeline);
        }
        Self { live, pipeline, every_s: scene.every_s, now: Timestamp::from_ms(0) }
    }

    /// Watches for so many hours.
    pub fn watch(&mut self, hours: f64) -> Vec<Raised> {
        let (began, mut raised) = (self.now, Vec::new());
        while (self.now - began).get() < hours * 3600.0 {
            raised.extend(self.poll(began));
        }
        raised
    }

    /// One poll.
    fn poll(&mut self, since: Timestamp) -> Vec<Raised> {
        self.now = self.now + Seconds::new(f64::from(i32::try_from(self.every_s).unwrap()));
        let reading = self.live.reading(self.now);
        raised(self.pipeline.read(reading.clone()).alarms, &reading, since)
    }

    /// Breaks a heater and watches until one of those rules speaks of it, for so many hours at most; what was raised until then,
    /// that alarm at the end if it came.
    pub fn until(&mut self, (seat, fault): (Seat, HeaterFault), rules: &[Rule], hours: f64) -> Vec<Raised> {
        self.live.break_heater(seat, fault);
        let (began, mut all) = (self.now, Vec::new());
        while (self.now - began).get() < hours * 3600.0 {
            all.extend(self.poll(began));
            if let Some(place) = all.iter().position(|raised| rules.contains(&raised.rule)) {
                all.truncate(place + 1);
                break;
            }
        }
        all
    }
}

/// What is known of the simulated heaters, as a fit of many steps tells it.
fn measured(pipeline: &mut Pipeline) {
    for number in 0..2 {
        pipeline.know(&HeaterFact {
            at: Timestamp::from_ms(0),
            tool: ToolNumber::new(number).unwrap(),
            heater: thermal::Heater {
                time_constant: Seconds::new(200.0),
                cooling_constant: Seconds::new(200.0),
                gain: CelsiusDelta::new(700.0),
                dead_time: Seconds::new(3.5),
                cooling_dead_time: Seconds::new(3.5),
            },
            surroundings: Celsius::new(27.0),
            heating_spread: 0.1,
            n: 40,
        });
    }
}

/// What is raised over a story, and the hours that it was watched in contact.
#[must_use]
pub fn story(seed: u64, is_measured: bool) -> (f64, Vec<Raised>) {
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    if is_measured {
        measured(&mut pipeline);
    }
    let (mut seconds, mut last, mut found, mut began) = (0.0, None, Vec::new(), None);
    for entry in Story::new(seed).entries() {
        match entry {
            Entry::Reading(reading) => {
                let lasted = last.map_or(0.0, |last: Timestamp| (reading.at - last).get());
                seconds += if lasted <= 20.0 { lasted } else { 0.0 };
                last = Some(reading.at);
                let began = *began.get_or_insert(reading.at);
                found.extend(raised(pipeline.read(reading.clone()).alarms, &reading, began));
            }
            Entry::Settings(change) => pipeline.set(&change),
            _ => {}
        }
    }
    (seconds / 3600.0, found)
}

fn raised(alarms: Vec<AlarmEffect>, reading: &Reading, since: Timestamp) -> Vec<Raised> {
    let news = |alarm| match alarm {
        AlarmEffect::Raised { subject: Subject { rule, tool }, at, cause, .. } => {
            Some(Raised { after_s: (at - since).get(), rule, tool, cause, is_so: is_so(rule, tool, reading) })
        }
        AlarmEffect::Returned { .. } => None,
    };
    alarms.into_iter().filter_map(news).collect()
}

/// Softer filaments are printed from 180 °C on.
const HOT_C: f64 = 175.0;
/// From here on a melt ages by minutes.
const AGES_C: f64 = 140.0;
/// What a hand feels as hot.
const WARM_C: f64 = 45.0;

fn is_so(rule: Rule, tool: Option<ToolNumber>, reading: &Reading) -> bool {
    let over = |heater: &Heater, c: f64| heater.actual.is_some_and(|actual| actual.celsius().get() >= c);
    let own = tool.and_then(|tool| reading.tools.get(tool.idx()));
    let any_over = |c| reading.tools.iter().any(|heater| over(heater, c));
    let state = reading.job.state;
    match rule {
        Rule::ResidenceNote | Rule::ResidenceWarn | Rule::ResidenceBudget | Rule::IdleHot => {
            let works = state == JobState::Printing && tool.map(ToolNumber::idx) == reading.active_tool;
            let from = if rule == Rule::IdleHot { HOT_C } else { AGES_C };
            !works && own.is_some_and(|own| over(own, from))
        }
        Rule::PausedHot => state == JobState::Paused && any_over(WARM_C),
        Rule::HotNoPrint => {
            let is_over = any_over(WARM_C) || reading.bed.is_some_and(|bed| over(&bed, WARM_C));
            is_over && !matches!(state, JobState::Printing | JobState::Paused | JobState::Heating)
        }
        Rule::OverLiner => own.is_some_and(|own| over(own, 250.0)),
        // Polls are missed in a story, and a silence that is none raises none: `pipeline` holds that.
        Rule::HostSilent => true,
        _ => false,
    }
}
