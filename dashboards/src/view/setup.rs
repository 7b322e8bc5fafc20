//! What the page *Setup* shows: what is understood of each host, how good the data are, what is kept and who is told.

use super::{Frame, HeaterView, HostClock, Refused, StuckWay, Trouble};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// The page.
#[derive(Clone, Debug)]
pub struct SetupView {
    /// As every page.
    pub frame: Frame,
    /// Now.
    pub at: Timestamp,
    /// The printers, in the configuration's order.
    pub printers: Vec<PrinterSetup>,
    /// The heaters of all tools, and when that was worked out; `None` until it was for the first time.
    pub heaters: Option<(Timestamp, Vec<HeaterView>)>,
    /// The record.
    pub record: RecordSetup,
    /// The ways to reach a person; empty where the configuration is not known.
    pub channels: Vec<ChannelSetup>,
    /// Figures of the materials in use.
    pub materials: Vec<MaterialFigure>,
    /// Alarm rules that differ from what is usual.
    pub tuned: Vec<TunedRule>,
}

/// One printer.
#[derive(Clone, Debug)]
pub struct PrinterSetup {
    /// Its name.
    pub name: String,
    /// It is being set up: its alarms call nobody.
    pub is_commissioning: bool,
    /// What its host is asked for.
    pub documents: Vec<DocumentSetup>,
    /// When the fields below were read; `None` before the first poll since the start.
    pub read: Option<Timestamp>,
    /// What was understood of each field that the configuration names.
    pub fields: Vec<FieldSetup>,
    /// Fields that a host may tell and the configuration does not name.
    pub unnamed: Vec<String>,
    /// What is wrong with its polls.
    pub troubles: Vec<Trouble>,
    /// Its clock, once that is known.
    pub clock: Option<HostClock>,
    /// How good its data are.
    pub quality: Quality,
}

/// A document of a host.
#[derive(Clone, Debug)]
pub struct DocumentSetup {
    /// As the configuration names it.
    pub name: String,
    /// Where it is, without what may hold a key.
    pub address: String,
    /// How often it is asked for.
    pub every: Seconds,
    /// Whether it came; `None` before the first poll.
    pub came: Option<bool>,
}

/// A field at the newest look.
#[derive(Clone, Debug)]
pub struct FieldSetup {
    /// What it tells, as in `T0 actual`.
    pub field: String,
    /// The document's name.
    pub document: Option<String>,
    /// Where in it.
    pub path: String,
    /// What stands there.
    pub found: Option<String>,
    /// What it was understood as, or why it was not.
    pub understood: Result<String, String>,
}

/// How good a printer's data of the last four weeks are.
#[derive(Clone, Debug, Default)]
pub struct Quality {
    /// Since when it is counted: four weeks ago, or the first reading; `None` without any.
    pub since: Option<Timestamp>,
    /// Share of that time in contact.
    pub contact: Option<f64>,
    /// The same day by day, the oldest first; `None` before the first reading.
    pub days: Vec<Option<f64>>,
    /// Stretches without contact.
    pub n_gaps: u32,
    /// The longest of them.
    pub gap_longest: Option<Seconds>,
    /// Readings left out, by reason.
    pub refused: Vec<Refused>,
    /// Time between two of the newest readings, the middle one.
    pub interval: Option<Seconds>,
    /// How often the host is to be polled.
    pub poll: Option<Seconds>,
    /// What the newest readings lack, with the share of them that do.
    pub missing: Vec<(String, f64)>,
    /// Prints that ended.
    pub n_prints: u32,
    /// Those of them without an outcome.
    pub n_unreported: u32,
    /// Tool changes by where they came from: `host`, `job_file` or `set_points`.
    pub sources: Vec<(&'static str, u32)>,
    /// Times that host and job file did not agree on the tool at work.
    pub n_disagreements: u32,
}

/// The record and its copies.
#[derive(Clone, Debug)]
pub struct RecordSetup {
    /// The database file.
    pub file: String,
    /// Its size with what is not folded in yet, bytes; `None` if that can't be told.
    pub bytes: Option<u64>,
    /// Version of its tables.
    pub schema: u32,
    /// The first reading.
    pub oldest: Option<Timestamp>,
    /// Days with readings that are kept whole, and those after them that are kept by the minute; `None` where the
    /// configuration is not known.
    pub keep_days: Option<(u32, u32)>,
    /// The backups; `None` where the configuration is not known.
    pub backups: Option<BackupsSetup>,
    /// Why it can't be written now, if it can't.
    pub unwritten: Option<String>,
}

/// The daily backups.
#[derive(Clone, Debug)]
pub struct BackupsSetup {
    /// Where they are.
    pub folder: String,
    /// How many are kept; none are taken where that is 0.
    pub keep: usize,
    /// How many there are, or why that can't be told.
    pub found: Result<usize, String>,
    /// The newest one's day, and its size in bytes.
    pub newest: Option<(String, u64)>,
}

/// A way to reach a person.
#[derive(Clone, Debug)]
pub struct ChannelSetup {
    /// Its name.
    pub name: String,
    /// The kind's word: `webhook`, `mail`, `mqtt`, `command`, `log`.
    pub kind: &'static str,
    /// From which priority on it is told.
    pub from: &'static str,
    /// When it is quiet, such as `22:00 to 07:00`.
    pub quiet: Option<String>,
    /// When it delivered last, as far as the record goes back.
    pub delivered: Option<Timestamp>,
    /// How it is stuck, if it is.
    pub stuck: Option<StuckWay>,
}

/// A figure of a material in use.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MaterialFigure {
    /// The material's name.
    pub material: String,
    /// What it is.
    pub figure: &'static str,
    /// Its value.
    pub value: String,
    /// Its unit.
    pub unit: &'static str,
    /// What it rests on.
    pub source: String,
}

/// An alarm rule as it is in force, each figure beside what is usual where it differs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TunedRule {
    /// The rule's word.
    pub rule: &'static str,
    /// The printer's name, or `any`.
    pub printer: String,
    /// The material's name, or `any`.
    pub material: String,
    /// Priority, time to raise, time to return, bound.
    pub figures: [String; 4],
}
