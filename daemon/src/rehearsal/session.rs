//! Runs one print of the story from warming up to standing cold, and what the person says of it. Owns when a poll
//! is taken and when it is missed; draws failures from `hazard`.

use super::hazard;
use super::plant::STEP_S;
use super::rig::{Gap, HOT_C, Rig};
use crate::entry::{Entry, JobFileFrom, JobState, Mode, Outcome, Reading, Settings, Severity, ToolNumber};
use crate::jobfile::{Machine, MachineTool, Outliner};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

/// Between two polls, ms: while something is hot, and while nothing is.
const POLL_HOT_MS: i64 = 5_000;
const POLL_COLD_MS: i64 = 15_000;
/// Polls come late by up to this, ms.
const JITTER_MS: i64 = 120;
/// The host stays on so long before a job and after everything has cooled, s.
const COLD_BEFORE_S: f64 = 60.0;
const COLD_AFTER_S: f64 = 120.0;
/// A print that has not ended after so long is stopped, s; a bound against a job that never gets warm.
const LONGEST_S: f64 = 6.0 * 3600.0;
const STEP: Seconds = Seconds::new(STEP_S);

/// What is going to happen around one print, apart from failures.
#[derive(Clone, Debug)]
pub(super) struct Order {
    pub(super) name: Arc<str>,
    pub(super) text: Arc<str>,
    /// Heated by hand so long before the job, s, to these set points.
    pub(super) preheat: Option<(f64, [f64; 2])>,
    /// A job without a command that switches the heaters off: the person does it so long afterwards, s.
    pub(super) left_on: Option<f64>,
    /// Paused at, for so long, s since the first `printing` reading.
    pub(super) pause: Option<(f64, f64)>,
    /// Polls missed from, to, s since the first `printing` reading.
    pub(super) missed: Vec<(f64, f64)>,
    /// Stopped by the person at this fraction.
    pub(super) cancel_at: Option<f64>,
    /// Comes off the bed at this fraction.
    pub(super) off_bed_at: Option<f64>,
    /// Whether the person says afterwards how it went.
    pub(super) is_reported: bool,
}

/// What went wrong with a tool in a print.
#[derive(Clone, Copy, Debug)]
struct Failure {
    tool: Option<usize>,
    mode: Mode,
    severity: Severity,
}

/// The bench over all prints.
#[derive(Debug)]
pub(super) struct Bench {
    pub(super) rig: Rig,
    pub(super) rng: ChaCha8Rng,
    pub(super) entries: Vec<Entry>,
    pub(super) settings: [Settings; 2],
    /// Weighted hours of each tool's liner.
    pub(super) liners_h: [f64; 2],
    now: Timestamp,
    next_poll: Timestamp,
}

/// What remains of a print for the person who looks after the bench.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Aftermath {
    pub(super) liner_failed: [bool; 2],
    pub(super) jammed_gravely: [bool; 2],
}

/// The course of one print.
struct Course {
    started: Option<Timestamp>,
    failures: Vec<Failure>,
    /// A grave jam is noticed at this instant.
    doom: Option<Timestamp>,
    restarts: [u32; 2],
    liners_before: [f64; 2],
}

impl Bench {
    pub(super) fn new(rig: Rig, rng: ChaCha8Rng, liners_h: [f64; 2], now: Timestamp) -> Self {
        let settings = [Settings::default(), Settings::default()];
        Self { rig, rng, entries: Vec::new(), settings, liners_h, now, next_poll: now }
    }

    pub(super) const fn now(&self) -> Timestamp {
        self.now
    }

    /// Switches the host off until `at`.
    pub(super) fn off_until(&mut self, at: Timestamp) {
        self.rig.rest((at - self.now).get().max(0.0));
        self.now = at;
        self.next_poll = at;
    }

    /// The print, from the host's start to its end. Returns what is left to repair.
    pub(super) fn print(&mut self, order: &Order) -> Aftermath {
        self.rig.clear();
        self.idle(COLD_BEFORE_S);
        if let Some((seconds, targets)) = order.preheat {
            self.rig.preheat(targets, 60.0);
            self.idle(seconds);
        }
        self.rig.begin(Arc::clone(&order.name), Arc::clone(&order.text));
        let mut course =
            Course { started: None, failures: Vec::new(), doom: None, restarts: [0; 2], liners_before: self.liners_h };
        let began = self.now;
        let ended = loop {
            let gap = self.tick(course.started.map(|started| (started, order)));
            if course.started.is_none() {
                course.started = self.first_printing(began);
                if let Some(started) = course.started {
                    self.read_file(order, started);
                }
            }
            if let Some(gap) = gap {
                self.restart(&mut course, &gap);
            }
            if let Some(state) = self.end(&mut course, order, began) {
                break state;
            }
        };
        if ended != JobState::Completed {
            self.rig.stop(ended);
        } else if let Some(seconds) = order.left_on {
            self.idle(seconds);
            self.rig.preheat([0.0; 2], 0.0);
        }
        self.liners(&mut course);
        let last = self.now;
        self.cool_down();
        self.report(order, &course, last);
        aftermath(&course)
    }

    /// The `printing` reading that has just been taken, if the newest one says so.
    fn first_printing(&self, began: Timestamp) -> Option<Timestamp> {
        match self.entries.last() {
            Some(Entry::Reading(Reading { at, job, .. })) if job.state == JobState::Printing && *at >= began => {
                Some(*at)
            }
            _ => None,
        }
    }

    /// The host gives the job's file, as it does to whoever asks.
    fn read_file(&mut self, order: &Order, started: Timestamp) {
        let tool = |settings: &Settings| MachineTool {
            facts: *settings.facts(&Materials::default()),
            ..MachineTool::default()
        };
        let tools = self.settings.iter().map(tool).collect();
        let mut outliner = Outliner::new(Machine { hot_end: self.rig.hot_end(), tools, ..Machine::default() });
        outliner.feed(order.text.as_bytes());
        let file = outliner.finish().job_file(started, Arc::clone(&order.name), started, JobFileFrom::Host);
        self.entries.extend(file.map(|file| Entry::JobFile(file.rounded())));
    }

    /// One step, with a poll when it is due and not missed.
    fn tick(&mut self, print: Option<(Timestamp, &Order)>) -> Option<Gap> {
        let since = print.map(|(started, _)| (self.now - started).get());
        let within = |(from, to): (f64, f64)| since.is_some_and(|since| (from..to).contains(&since));
        if let Some((_, order)) = print {
            self.rig.pause(order.pause.is_some_and(|(from, lasted)| within((from, from + lasted))));
        }
        let gap = self.rig.step();
        self.now = self.now + STEP;
        for (tool, temp) in self.rig.nozzles().into_iter().enumerate() {
            if temp > HOT_C {
                self.liners_h[tool] += hazard::liner_ageing(temp, STEP_S);
            }
        }
        if self.now >= self.next_poll {
            let is_missed = print.is_some_and(|(_, order)| order.missed.iter().any(|missed| within(*missed)));
            let late = self.rng.random_range(0..JITTER_MS);
            let at = Timestamp::from_ms(self.now.as_ms() + late);
            let reading = self.rig.reading(at);
            if !is_missed {
                self.entries.push(Entry::Reading(reading));
            }
            let is_at_work = matches!(self.rig.state(), JobState::Heating | JobState::Printing | JobState::Paused);
            let every = if self.rig.hottest() > HOT_C || is_at_work { POLL_HOT_MS } else { POLL_COLD_MS };
            self.next_poll = Timestamp::from_ms(self.now.as_ms() + every);
        }
        gap
    }

    fn idle(&mut self, seconds: f64) {
        let until = self.now + Seconds::new(seconds);
        while self.now < until {
            self.tick(None);
        }
    }

    fn cool_down(&mut self) {
        while self.rig.hottest() > HOT_C {
            self.tick(None);
        }
        self.idle(COLD_AFTER_S);
    }

    /// A tool goes to work again: whatever its waiting did to it shows now.
    fn restart(&mut self, course: &mut Course, gap: &Gap) {
        course.restarts[gap.tool] += 1;
        if gap.idle_s <= 0.0 {
            return;
        }
        let dry = self.settings[gap.tool].dried.unwrap_or(true);
        // What drips before a tool's first turn goes into its prime, not onto the part.
        let strings = if course.restarts[gap.tool] > 1 { hazard::stringing(gap, dry) } else { 0.0 };
        for (mode, hazard) in [(Mode::Jam, hazard::jam(gap)), (Mode::Stringing, strings)] {
            let known = course.failures.iter().any(|failure| failure.tool == Some(gap.tool) && failure.mode == mode);
            if !self.rng.random_bool(hazard::probability(hazard)) || known {
                continue;
            }
            let severity = self.severity(mode);
            course.failures.push(Failure { tool: Some(gap.tool), mode, severity });
            if mode == Mode::Jam && severity == Severity::Grave {
                course.doom = Some(self.now + Seconds::new(self.rng.random_range(60.0..240.0)));
            }
        }
    }

    fn severity(&mut self, mode: Mode) -> Severity {
        let (slight, serious) = if mode == Mode::Jam { (0.2, 0.5) } else { (0.6, 0.97) };
        match self.rng.random::<f64>() {
            draw if draw < slight => Severity::Slight,
            draw if draw < serious => Severity::Serious,
            _ => Severity::Grave,
        }
    }

    /// Whether and how the print ends now.
    fn end(&mut self, course: &mut Course, order: &Order, began: Timestamp) -> Option<JobState> {
        if (self.now - began).get() > LONGEST_S {
            return Some(JobState::Cancelled);
        }
        // A print that nobody has seen printing can't be told of: it is not ended before.
        course.started?;
        if course.doom.is_some_and(|doom| self.now >= doom) {
            return Some(if self.rng.random_bool(0.6) { JobState::Failed } else { JobState::Cancelled });
        }
        let fraction = self.rig.fraction();
        if order.off_bed_at.is_some_and(|at| fraction >= at) {
            course.failures.push(Failure { tool: None, mode: Mode::Adhesion, severity: Severity::Serious });
            return Some(JobState::Cancelled);
        }
        if order.cancel_at.is_some_and(|at| fraction >= at) {
            return Some(JobState::Cancelled);
        }
        (self.rig.state() == JobState::Completed).then_some(JobState::Completed)
    }

    fn liners(&mut self, course: &mut Course) {
        for tool in 0..2 {
            let chance = hazard::probability(hazard::liner(course.liners_before[tool], self.liners_h[tool]));
            if self.rng.random_bool(chance) && course.restarts[tool] > 0 {
                let severity = if self.rng.random_bool(0.4) { Severity::Grave } else { Severity::Serious };
                course.failures.push(Failure { tool: Some(tool), mode: Mode::Liner, severity });
            }
        }
    }

    /// What the person says, some minutes after the end.
    fn report(&mut self, order: &Order, course: &Course, ended: Timestamp) {
        let minutes = self.rng.random_range(4.0..45.0);
        let Some(started) = course.started.filter(|_| order.is_reported) else { return };
        let at = ended + Seconds::minutes(minutes);
        let outcome = |tool: Option<usize>, mode, severity, note: Option<&str>| Outcome {
            at,
            job: Arc::clone(&order.name),
            started,
            tool: tool.and_then(ToolNumber::new),
            mode,
            severity,
            note: note.map(str::to_owned),
        };
        if course.failures.is_empty() {
            let note = order.cancel_at.map(|_| "stopped by hand, sound so far");
            self.entries.push(Entry::Outcome(outcome(None, Mode::Clean, None, note)));
        }
        for failure in &course.failures {
            let said = outcome(failure.tool, failure.mode, Some(failure.severity), None);
            self.entries.push(Entry::Outcome(said));
        }
    }
}

fn aftermath(course: &Course) -> Aftermath {
    let mut left = Aftermath::default();
    for failure in &course.failures {
        match (failure.tool, failure.mode) {
            (Some(tool), Mode::Liner) => left.liner_failed[tool] = true,
            (Some(tool), Mode::Jam) if failure.severity == Severity::Grave => left.jammed_gravely[tool] = true,
            _ => {}
        }
    }
    left
}
