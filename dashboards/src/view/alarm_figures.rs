//! How the alarms did over a time: the figures of alarm practice, and what EEMUA 191 asks of them.

use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// The figures of all alarms of one record over a time. Alarms that called nobody by design or since a person wanted to
/// hear nothing of them are counted in `quiet` alone.
#[derive(Clone, Debug)]
pub struct AlarmFigures {
    /// The beginning of what was looked at: as asked, or the first reading where the record is younger.
    pub from: Timestamp,
    /// Its end.
    pub to: Timestamp,
    /// Alarms raised in that time that called somebody.
    pub n_alarms: usize,
    /// Alarms raised in that time that called nobody.
    pub quiet: QuietAlarms,
    /// Alarms a day: mean, and a 90 % interval that is as wide as the days differ; or why there is none.
    pub a_day: Result<Estimate, String>,
    /// Alarms of each whole 24 h of the time, the first first.
    pub days: Vec<usize>,
    /// Most alarms in any 10 minutes.
    pub most_in_ten_minutes: usize,
    /// Share of 10-minute spans with more than 10 alarms, 0 to 1; `None` when the time is shorter than one.
    pub busy_ten_minutes: Option<f64>,
    /// Share of hours with more than 30 alarms, 0 to 1; `None` when the time is shorter than one.
    pub busy_hours: Option<f64>,
    /// Time in a flood: from 10 alarms in 10 minutes on, until fewer than 5.
    pub in_flood: Seconds,
    /// The same as a share of the time, 0 to 1.
    pub flood_share: Option<f64>,
    /// By priority, low first.
    pub priorities: [PriorityShare; 3],
    /// The ten subjects with the most alarms, the most frequent first.
    pub most_frequent: Vec<SubjectCount>,
    /// Share of all alarms that those ten raised, 0 to 1; `None` without an alarm.
    pub most_frequent_share: Option<f64>,
    /// Subjects that chattered: three alarms within 30 minutes at least once, the worst first. `n` is the most in 30 minutes.
    pub chattering: Vec<SubjectCount>,
    /// Alarms that stand at the end and have for more than 24 h, the oldest first.
    pub stale: Vec<StaleAlarm>,
    /// How soon somebody acknowledged them.
    pub acknowledged: AcknowledgeTimes,
    /// What people said of them.
    pub marked: MarkedAlarms,
}

/// Alarms that called nobody, by why.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct QuietAlarms {
    /// Suppressed by design, as while a printer is set up.
    pub n_suppressed: usize,
    /// Shelved by a person.
    pub n_shelved: usize,
    /// Taken out of service by a person.
    pub n_out_of_service: usize,
}

/// Alarms of one priority.
#[derive(Clone, Debug)]
pub struct PriorityShare {
    /// The priority's word.
    pub priority: &'static str,
    /// How many.
    pub n: usize,
    /// Share of all with its exact 90 % interval, 0 to 1, or why there is none.
    pub share: Result<Estimate, String>,
    /// The share that EEMUA 191 asks for, 0 to 1.
    pub benchmark: f64,
}

/// What alarms were about, and how many.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SubjectCount {
    /// The printer's name; `None` is the record itself.
    pub printer: Option<String>,
    /// The tool's number, from 0; `None` is the printer as a whole, or the record.
    pub tool: Option<usize>,
    /// The rule's word.
    pub rule: &'static str,
    /// How many alarms.
    pub n: usize,
}

/// An alarm that has stood for long.
#[derive(Clone, Debug, PartialEq)]
pub struct StaleAlarm {
    /// As in [`SubjectCount`].
    pub printer: Option<String>,
    /// As in [`SubjectCount`].
    pub tool: Option<usize>,
    /// The rule's word.
    pub rule: &'static str,
    /// When it was raised.
    pub raised: Timestamp,
    /// How long it has stood.
    pub stood: Seconds,
}

/// Time from raised to acknowledged. Those not acknowledged yet count as waiting for at least as long as they have (the
/// product-limit estimate of Kaplan and Meier), so that a slow watch can't look quick.
#[derive(Clone, Debug)]
pub struct AcknowledgeTimes {
    /// Alarms that somebody was to acknowledge.
    pub n_asked: usize,
    /// Those that nobody has.
    pub n_never: usize,
    /// Alarms that a graver one took the place of before anybody acknowledged them: nobody was to.
    pub n_superseded: usize,
    /// Time within which half are acknowledged, or why it can't be told.
    pub median: Result<Seconds, String>,
    /// Time within which 9 in 10 are, or why it can't be told.
    pub nine_in_ten: Result<Seconds, String>,
}

/// What people said of alarms.
#[derive(Clone, Debug)]
pub struct MarkedAlarms {
    /// Marked as rightly raised.
    pub n_right: usize,
    /// Marked as false.
    pub n_false: usize,
    /// Not marked: nothing is known of them.
    pub n_unmarked: usize,
    /// The share of false ones among the marked with its exact 90 % interval, 0 to 1, or why there is none.
    pub false_share: Result<Estimate, String>,
}

/// The figures of EEMUA 191 as three restatements give them, per operator and over at least 30 days. One restatement
/// says that the 2016 edition of ANSI/ISA-18.2 dropped those a day.
pub mod benchmark {
    use super::Seconds;

    /// Over a time shorter than this, figures are not to be held against the benchmarks.
    pub const DAYS_MIN: f64 = 30.0;
    /// Alarms a day that are acceptable.
    pub const A_DAY_ACCEPTABLE: f64 = 150.0;
    /// Alarms a day that can be managed at most.
    pub const A_DAY_MANAGEABLE: f64 = 300.0;
    /// Alarms a day for one person at home, who sits at no desk to watch: a proposal, no source.
    pub const A_DAY_AT_HOME: f64 = 1.0;
    /// In 10 minutes, more alarms than these are too many (one restatement says 5 in 100 of such spans may be).
    pub const IN_TEN_MINUTES: usize = 10;
    /// In an hour, more alarms than these are too many.
    pub const IN_AN_HOUR: usize = 30;
    /// The share of spans, hours and of the time in a flood that is to stay under this.
    pub const BUSY_SHARE: f64 = 0.01;
    /// The ten most frequent are to raise between these shares of all.
    pub const MOST_FREQUENT: (f64, f64) = (0.01, 0.05);
    /// How long an alarm may stand before it is stale.
    pub const STALE_AFTER: Seconds = Seconds::minutes(24.0 * 60.0);
    /// Stale alarms are to be fewer than these.
    pub const STALE: usize = 5;
    /// Shares by priority: low, medium, high.
    pub const PRIORITIES: [f64; 3] = [0.80, 0.15, 0.05];
    /// Alarms of one subject within [`CHATTER_WITHIN`] that make it chatter: ours, no figure for a home was found. EEMUA 191
    /// wants none to.
    pub const CHATTER: usize = 3;
    /// As told at [`CHATTER`].
    pub const CHATTER_WITHIN: Seconds = Seconds::minutes(30.0);
    /// In 10 minutes, alarms from which on it is a flood.
    pub const FLOOD_FROM: usize = 10;
    /// In 10 minutes, alarms under which a flood is over (ANSI/ISA-18.2, from memory).
    pub const FLOOD_UNTIL: usize = 5;
}
