//! The failure report's view. Every number that the report shows is a field here.

use super::{
    AlarmFigures, AlarmView, DayCounts, DayRecord, PartView, Refused, SettingsView, SilenceView, SpanRow,
    SuggestionView, TrialView,
};
use crate::period::Period;
use dwell_analysis::risk::{Group, Settling, State};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{DoseMinutes, Probability, Seconds};
use jiff::tz::TimeZone;

/// Everything in the failure report of a week, or of any other days.
#[derive(Clone, Debug)]
pub struct ReportView {
    /// The days.
    pub period: Period,
    /// The clock that its days and times are on.
    pub zone: TimeZone,
    /// Its first instant.
    pub from: Timestamp,
    /// The first instant after it.
    pub to: Timestamp,
    /// Up to when the record was read; before `to` while it runs.
    pub as_of: Timestamp,
    /// When what is learned and advised was worked out; what people said later is in none of it.
    pub learned_at: Timestamp,
    /// The first reading of the whole record; `None` if there is none.
    pub first_reading: Option<Timestamp>,
    /// The printer is a simulated one and its history invented.
    pub rehearsal: bool,
    /// Prints by when they began: one a part of the period (a day, a week or a month).
    pub days: Vec<DayRecord>,
    /// How many prints failed in any way, of those with an outcome.
    pub prints: Failures,
    /// The same of tool-runs: one tool in one print.
    pub runs: Failures,
    /// The same before the period; `None` where the record has no print with an outcome there.
    pub before: Option<Before>,
    /// One row a failure mode: prints of the period.
    pub modes: Vec<ModeRow>,
    /// Time waited hot, one row a tool.
    pub idle: Vec<ToolIdle>,
    /// The idle spans with the largest dose, largest first, at most ten.
    pub worst: Vec<SpanRow>,
    /// What each tool was set to in its newest print of the period, and how that is known.
    pub settings: Vec<ToolSettings>,
    /// How often in the period the host named another tool than the job file has at work; the host's counts.
    pub disagreements: u32,
    /// Alarms raised in the period that called somebody, in time order.
    pub alarms: Vec<AlarmView>,
    /// How many more were recorded and called nobody.
    pub n_quiet_alarms: usize,
    /// How the alarms of the period did; `None` where nothing was recorded.
    pub alarm_figures: Option<AlarmFigures>,
    /// Alarms that stand as of `as_of`, whenever they were raised.
    pub standing: Vec<AlarmView>,
    /// Time without contact.
    pub gaps: GapSum,
    /// The same by printer, with the time that it was watched.
    pub contact: Vec<ContactRow>,
    /// Readings left out in the period, by reason.
    pub refused: Vec<Refused>,
    /// Prints of the period that ended and have no outcome.
    pub unreported: Vec<UnreportedPrint>,
    /// Prints of the whole record that ended, and those of them with an outcome, as of `learned_at`.
    pub recorded: Recorded,
    /// What the whole record says of each failure mode.
    pub learned: Vec<LearnedRow>,
    /// The best change that nobody has taken up or turned down; `None` if there is none.
    pub suggestion: Option<SuggestionView>,
    /// Trials that were open in the period.
    pub trials: Vec<TrialView>,
    /// Trials that are open as of `learned_at`, whatever the period.
    pub open_trials: Vec<TrialView>,
    /// Parts in use.
    pub parts: Vec<PartView>,
    /// What reading silence the other way would change in what is learned.
    pub silence: SilenceView,
    /// The share of failed prints if every silent one had failed, and if every one had been clean; `None` where none
    /// was silent, or there is no print.
    pub if_silent: Option<IfSilent>,
}

/// How many failed.
#[derive(Clone, Debug)]
pub struct Failures {
    /// That failed in any way.
    pub events: u32,
    /// With a known outcome.
    pub n: u32,
    /// One over the other, or why there is no rate.
    pub rate: Result<RateInterval, String>,
}

/// The time that a period is held against.
#[derive(Clone, Debug)]
pub struct Before {
    /// Its days.
    pub period: Period,
    /// Prints that failed in any way.
    pub prints: Failures,
    /// Tool-runs that failed in any way.
    pub runs: Failures,
}

/// What prints with no outcome may hide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IfSilent {
    /// Silent prints.
    pub n: u32,
    /// The share of prints that failed if all of them were clean.
    pub clean: RateInterval,
    /// The same if all of them had failed.
    pub failed: RateInterval,
}

/// Prints of the whole record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Recorded {
    /// That have ended and of which a tool is known.
    pub prints: usize,
    /// Of these, with an outcome.
    pub reported: usize,
}

/// How much of the period a printer was watched.
#[derive(Clone, Debug)]
pub struct ContactRow {
    /// The printer's name.
    pub printer: String,
    /// From its first reading or the period's beginning to its newest reading or the period's end.
    pub span: Seconds,
    /// Of that, without contact.
    pub gap: Seconds,
    /// How many gaps.
    pub n: u32,
}

impl ReportView {
    /// What share of all failures each mode and those above it make up, by tool-run; those told without a tool count
    /// among all. `None` where there is none.
    #[must_use]
    pub fn shares_so_far(&self) -> Vec<Option<f64>> {
        let all: u32 = self.modes.iter().map(|row| row.events + row.unplaced).sum();
        let mut so_far = 0;
        let share = |row: &ModeRow| {
            so_far += row.events;
            (all > 0).then(|| f64::from(so_far) / f64::from(all))
        };
        self.modes.iter().map(share).collect()
    }

    /// Sums of the parts that were counted; `None` if none was.
    #[must_use]
    pub fn total(&self) -> Option<DayCounts> {
        let counted = self.days.iter().filter_map(|day| match day {
            DayRecord::Counted(counts) => Some(*counts),
            DayRecord::NotYet | DayRecord::NoRecord => None,
        });
        counted.reduce(|a, b| DayCounts {
            completed: a.completed + b.completed,
            cancelled: a.cancelled + b.cancelled,
            failed: a.failed + b.failed,
            unknown: a.unknown + b.unknown,
            running: a.running + b.running,
            with_failure: a.with_failure + b.with_failure,
            unreported: a.unreported + b.unreported,
        })
    }
}

/// How often one failure mode happened.
#[derive(Clone, Debug)]
pub struct ModeRow {
    /// The mode's word.
    pub mode: &'static str,
    /// Tool-runs (one tool in one print) that it happened on.
    pub events: u32,
    /// Prints of which it was told without a tool that took part: it is in no tool-run's count.
    pub unplaced: u32,
    /// Tool-runs with a known outcome.
    pub n: u32,
    /// Events over tool-runs, or why there is no rate.
    pub rate: Result<RateInterval, String>,
}

/// A rate and its exact 90 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateInterval {
    /// The interval's lower end, 0 to 1.
    pub low: Probability,
    /// Events over tool-runs, 0 to 1.
    pub value: Probability,
    /// The interval's upper end, 0 to 1.
    pub high: Probability,
}

/// Time that one tool waited hot, part by part.
#[derive(Clone, Debug)]
pub struct ToolIdle {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// Time waited in contact, a part of the period each; `None` where there is no reading.
    pub days: Vec<Option<Seconds>>,
    /// Doses of its idle spans that ended in the period, added up; `None` if none was measured.
    pub dose: Option<DoseMinutes>,
    /// Idle spans that ended in the period and were measured.
    pub spans: u32,
    /// Of these, with a dose over the residence limit of what the tool held.
    pub over: u32,
}

/// What a tool was set to.
#[derive(Clone, Debug)]
pub struct ToolSettings {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// Its newest print of the period.
    pub print: i64,
    /// That print's job.
    pub name: Option<String>,
    /// In force in it.
    pub settings: SettingsView,
    /// Prints of the period that it was seen in.
    pub n: u32,
    /// Of these, with a job file that was read.
    pub n_files: u32,
}

/// Time without contact in the period.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GapSum {
    /// How many gaps.
    pub n: u32,
    /// Their length in all.
    pub total: Seconds,
}

/// A print whose outcome nobody reported.
#[derive(Clone, Debug)]
pub struct UnreportedPrint {
    /// Its id.
    pub id: i64,
    /// The printer's name.
    pub printer: String,
    /// The job's name.
    pub name: Option<String>,
    /// Its first `printing` reading.
    pub started: Timestamp,
}

/// What the whole record says of one failure mode.
#[derive(Clone, Debug)]
pub struct LearnedRow {
    /// The mode's word.
    pub mode: &'static str,
    /// How much is known.
    pub state: State,
    /// Tool-runs with a known outcome.
    pub n: u32,
    /// Tool-runs that it happened on.
    pub events: u32,
    /// Prints of which it was told without a tool that took part.
    pub unplaced: u32,
    /// The likeliest groups of factors with their share of the explaining, at most three.
    pub groups: Vec<(Group, f64)>,
    /// The probability that nothing recorded carries it.
    pub nothing: f64,
    /// What would settle it.
    pub settling: Settling,
    /// That in prints; `None` where it is no number of prints.
    pub more_prints: Option<usize>,
}
