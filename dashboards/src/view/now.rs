//! The *Now* page's view: each printer as of its newest reading.

use super::{AlarmView, Frame, HoldView, LanePiece};
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
    /// Holds in force.
    pub holds: Vec<HoldView>,
    /// Shows that a form is ours.
    pub token: String,
    /// The store's revision that this was read at.
    pub revision: u64,
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
