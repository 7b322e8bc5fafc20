//! The *Now* page's view: each printer as of its newest reading.

use super::{AlarmView, Frame, HoldView, LanePiece, Setting};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};

/// Everything on the *Now* page.
#[derive(Clone, Debug)]
pub struct NowView {
    /// Zone, week and rehearsal.
    pub frame: Frame,
    /// When this view was taken; `None` before anything was recorded.
    pub at: Option<Timestamp>,
    /// What the disk has not taken; `None` while the record is written.
    pub unwritten: Option<Unwritten>,
    /// The printers, in the order of the configuration.
    pub printers: Vec<PrinterNow>,
    /// Alarms that stand, and those that returned lately.
    pub alarms: Vec<AlarmView>,
    /// Alarms that came and went before those, and that nobody has looked at.
    pub n_unseen: u32,
    /// Prints lately that ended and wait for a word on how they came out.
    pub n_silent: u32,
    /// Holds in force.
    pub holds: Vec<HoldView>,
    /// Shows that a form is ours.
    pub token: String,
    /// The store's revision that this was read at.
    pub revision: u64,
    /// What the live feed knows this view by; empty where there is none.
    pub made: String,
}

/// What is in memory alone while the disk takes nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unwritten {
    /// The oldest instant that may be missing from the record.
    pub since: Option<Timestamp>,
    /// Why, in words.
    pub cause: String,
    /// Steps that wait: readings, alone or with events.
    pub n_steps: u32,
    /// Those with events.
    pub n_events: u32,
    /// Alarms raised or returned in them.
    pub n_alarms: u32,
    /// Readings that were dropped, since the memory was full.
    pub readings_dropped: u32,
    /// Steps with events that were dropped, since the memory was full.
    pub events_dropped: u32,
    /// When the first reading will have to be dropped, if that can be told.
    pub lasts_until: Option<Timestamp>,
}

/// One printer.
#[derive(Clone, Debug)]
pub struct PrinterNow {
    /// Its name.
    pub name: String,
    /// `separate` or `shared`.
    pub hot_end: &'static str,
    /// Whether it is being set up: its alarms are recorded and call nobody.
    pub is_commissioning: bool,
    /// Whether it answers.
    pub contact: Contact,
    /// What is wrong with its polls, a line each; a reading may come all the same.
    pub troubles: Vec<Trouble>,
    /// How far its host's clock is from ours, once that is known.
    pub host_clock: Option<HostClock>,
    /// What the host last said of its job; `None` before the first reading.
    pub job: Option<JobNow>,
    /// What its lanes' expected next rests on.
    pub ahead: Ahead,
    /// How well it was heard of late; `None` before the first reading.
    pub heard: Option<Heard>,
    /// Its tools as of the newest reading, T0 first.
    pub tools: Vec<ToolNowView>,
    /// Readings left out so far, by reason; reasons that never came up are absent.
    pub refused: Vec<Refused>,
}

/// Whether the printer's host answers.
#[derive(Clone, Debug)]
pub enum Contact {
    /// It does.
    In {
        /// Since when.
        since: Timestamp,
        /// The newest reading.
        newest: Timestamp,
    },
    /// It did, and does not now.
    Silent {
        /// The newest reading.
        since: Timestamp,
    },
    /// It never did.
    Never,
}

/// Something that is wrong with the polls.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// Since when.
    pub since: Timestamp,
    /// What, in one line.
    pub cause: String,
}

/// A host's clock against ours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HostClock {
    /// How far it is ahead; negative is behind.
    pub ahead: Seconds,
    /// True to this, either way.
    pub within: Seconds,
}

/// What the host said of its job.
#[derive(Clone, Debug)]
pub struct JobNow {
    /// The state's word, such as `printing`.
    pub state: &'static str,
    /// The job's name.
    pub name: Option<String>,
    /// Share done, 0 to 1.
    pub fraction: Option<f64>,
    /// When the print began, if one runs.
    pub started: Option<Timestamp>,
}

/// What the expected next of a printer's tools rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ahead {
    /// The job file, placed by where the host is in it.
    JobFile {
        /// When the print is expected to end.
        ends: Timestamp,
        /// The printer's pace against its job files; without it the end is by the file alone.
        pace: Option<PacedEnd>,
    },
    /// Nothing prints.
    NoPrint,
    /// The print is paused: when it goes on is not known.
    Paused,
    /// No job file of this print was read.
    NoFile,
    /// The job file that was read has turned out to be another print's.
    ForeignFile,
    /// The host does not tell how far it is in the file.
    NoPlace,
    /// The newest reading is too old to build on.
    Silent,
}

/// An expected end by a printer's pace, and how early or late it may be by the pace's 90 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PacedEnd {
    /// The early end of it.
    pub early: Timestamp,
    /// The late end of it.
    pub late: Timestamp,
    /// Prints that the pace was learned from.
    pub n: usize,
}

/// How well a printer was heard over the time that its lanes look back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heard {
    /// The time looked at: from the lanes' beginning, or from the first reading there is.
    pub over: Seconds,
    /// Time of it in contact.
    pub contact: Seconds,
    /// Gaps in it.
    pub gaps: u32,
    /// The longest of them.
    pub longest: Seconds,
    /// Age of the newest reading.
    pub age: Seconds,
}

/// How long a waiting tool takes to its printing temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reheat {
    /// So long.
    Takes {
        /// The printing temperature.
        to: Celsius,
        /// Seconds, with a 90 % interval, from so many steps of its heater.
        time: Estimate,
    },
    /// It is at it, or above.
    Hot {
        /// The printing temperature.
        to: Celsius,
    },
    /// Nobody has told its printing temperature.
    NoTarget,
    /// Its heater has not been learned: too few steps were recorded.
    NotLearned,
    /// It got a part that makes it another heater since that was learned.
    Changed,
    /// Its heater does not get there.
    OutOfReach {
        /// The printing temperature.
        to: Celsius,
    },
}

/// One tool as of the newest reading.
#[derive(Clone, Debug)]
pub struct ToolNowView {
    /// Its number, from 0.
    pub number: usize,
    /// The material's name as people wrote it; `None` if nobody told.
    pub material: Option<String>,
    /// What it does.
    pub doing: DoingNow,
    /// Measured temperature, °C.
    pub actual: Option<Celsius>,
    /// Set point, °C; 0 is a heater that is off.
    pub target: Option<Celsius>,
    /// Dose of the melt in the nozzle now, equivalent minutes.
    pub dose: DoseMinutes,
    /// The material's residence limit, equivalent minutes.
    pub limit: DoseMinutes,
    /// Time until the dose reaches the limit at the present temperature; `None` when cold or at work, without a
    /// temperature, or where the limit is never reached.
    pub time_left: Option<Seconds>,
    /// The last two hours.
    pub history: Vec<LanePiece>,
    /// What is expected next, from the newest reading on; nothing where nothing can be said.
    pub next: Vec<LanePiece>,
    /// When it is expected at work again, by the job file; `None` where the file has no further turn of it, or says nothing.
    pub works: Option<Timestamp>,
    /// The temperature that it is to wait at, if that was told.
    pub standby: Option<Setting<Celsius>>,
    /// How long it takes to its printing temperature; `None` where it does not wait, or no temperature is told.
    pub reheat: Option<Reheat>,
}

/// What a tool does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DoingNow {
    /// At work in a print.
    Working {
        /// Since when.
        since: Timestamp,
    },
    /// Heated and not at work.
    Waiting {
        /// The context's word: `in_print`, `paused` or `no_print`.
        context: &'static str,
        /// Since when.
        since: Timestamp,
        /// Time waited in contact, so far.
        idle: Seconds,
    },
    /// Not heated.
    Cold,
    /// The host tells too little to say.
    Unknown,
}

/// Readings left out for one reason.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refused {
    /// The reason's word, such as `out_of_order`.
    pub reason: &'static str,
    /// How many.
    pub n: u32,
}
