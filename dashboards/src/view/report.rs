//! The weekly report's view. Every number that the report shows is a field here.

use super::{AlarmFigures, AlarmView, Refused, SettingsView, SpanRow};
use crate::week::IsoWeek;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Probability, Seconds};
use jiff::tz::TimeZone;

/// Everything in the weekly report.
#[derive(Clone, Debug)]
pub struct ReportView {
    /// The week.
    pub week: IsoWeek,
    /// The clock that its days and times are on.
    pub zone: TimeZone,
    /// The week's first instant.
    pub from: Timestamp,
    /// The first instant after it.
    pub to: Timestamp,
    /// Up to when the record was read; before `to` while the week runs.
    pub as_of: Timestamp,
    /// The first reading of the whole record; `None` if there is none.
    pub first_reading: Option<Timestamp>,
    /// The printer is a simulated one and its history invented.
    pub rehearsal: bool,
    /// Prints by the day they began, Monday first.
    pub days: [DayRecord; 7],
    /// One row a failure mode: this week's prints.
    pub modes: Vec<ModeRow>,
    /// Time waited hot, one row a tool.
    pub idle: Vec<ToolWeek>,
    /// The idle spans with the largest dose, largest first, at most ten.
    pub worst: Vec<SpanRow>,
    /// What each tool was set to in its newest print of the week, and how that is known.
    pub settings: Vec<ToolSettings>,
    /// How often in the week the host named another tool than the job file has at work; the host's counts.
    pub disagreements: u32,
    /// Alarms raised in the week that called somebody, in time order.
    pub alarms: Vec<AlarmView>,
    /// How many more were recorded and called nobody.
    pub n_quiet_alarms: usize,
    /// How the alarms of the week did; `None` where nothing was recorded.
    pub alarm_figures: Option<AlarmFigures>,
    /// Time without contact.
    pub gaps: GapSum,
    /// Readings left out in the week, by reason.
    pub refused: Vec<Refused>,
    /// Prints of the week that ended and have no outcome.
    pub unreported: Vec<UnreportedPrint>,
    /// What the whole record says of each failure mode.
    pub learned: Vec<LearnedRow>,
}

/// What is known of one day's prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DayRecord {
    /// The day has not come yet.
    NotYet,
    /// No reading on that day.
    NoRecord,
    /// Counted.
    Counted(DayCounts),
}

/// Prints that began on one day. The first five add up to all of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DayCounts {
    /// Ended by themselves.
    pub completed: u32,
    /// Ended by a person.
    pub cancelled: u32,
    /// Ended by a fault.
    pub failed: u32,
    /// Nobody saw the end.
    pub unknown: u32,
    /// Still running.
    pub running: u32,
    /// Of all these, with a reported failure (any mode but `clean`).
    pub with_failure: u32,
    /// Of all these, ended and without any reported outcome.
    pub unreported: u32,
}

impl DayCounts {
    /// All prints of the day.
    #[must_use]
    pub const fn all(self) -> u32 {
        self.completed + self.cancelled + self.failed + self.unknown + self.running
    }
}

/// How often one failure mode happened.
#[derive(Clone, Debug)]
pub struct ModeRow {
    /// The mode's word.
    pub mode: &'static str,
    /// Tool-runs (one tool in one print) that it happened on.
    pub events: u32,
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

/// Time that one tool waited hot, day by day.
#[derive(Clone, Debug)]
pub struct ToolWeek {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// Time waited in contact, Monday first; `None` on a day without a reading.
    pub days: [Option<Seconds>; 7],
}

/// What a tool was set to.
#[derive(Clone, Debug)]
pub struct ToolSettings {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// Its newest print of the week.
    pub print: i64,
    /// That print's job.
    pub name: Option<String>,
    /// In force in it.
    pub settings: SettingsView,
    /// Prints of the week that it was seen in.
    pub n: u32,
    /// Of these, with a job file that was read.
    pub n_files: u32,
}

/// Time without contact in the week.
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
#[derive(Clone, Copy, Debug)]
pub struct LearnedRow {
    /// The mode's word.
    pub mode: &'static str,
    /// `learned`, `leaning` or `too_little`.
    pub state: &'static str,
    /// Tool-runs with a known outcome.
    pub n: u32,
    /// Tool-runs that it happened on.
    pub events: u32,
}
