//! The views of *Prints*: the list, and one print with its tools, changes, spans and outcomes.

use super::{Foreseen, Frame, JustDone, LanePiece, OutcomeForm, SilentPrints, WordRow};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};

/// The list of prints.
#[derive(Clone, Debug)]
pub struct PrintsView {
    /// Zone, week and rehearsal.
    pub frame: Frame,
    /// Newest first, one page of them.
    pub rows: Vec<PrintRow>,
    /// How many prints are found on all pages.
    pub n_found: u32,
    /// How many prints the record has.
    pub n_all: u32,
    /// Which page this is, from 1.
    pub page: u32,
    /// How many pages there are, at least 1.
    pub n_pages: u32,
    /// What is looked for.
    pub filter: PrintsFilter,
    /// The printers that can be looked for.
    pub printers: Vec<String>,
    /// What the forms need.
    pub form: OutcomeForm,
    /// Prints that wait for a word; empty where something else is looked for.
    pub silent: SilentPrints,
    /// What a form has just done.
    pub done: Option<JustDone>,
}

/// What is looked for in the list, as its form says it; an empty text is anything.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PrintsFilter {
    /// The printer's name.
    pub printer: String,
    /// `running`, or how it ended.
    pub end: String,
    /// `none` for not reported, `clean`, `failure` for any, or a failure mode's word.
    pub said: String,
    /// What the name has in it.
    pub name: String,
    /// The first day, as `2026-03-02`.
    pub from: String,
    /// The last day.
    pub to: String,
}

/// A print in the list.
#[derive(Clone, Debug)]
pub struct PrintRow {
    /// Its id.
    pub id: i64,
    /// The printer's name.
    pub printer: String,
    /// The job's name.
    pub name: Option<String>,
    /// Its first `printing` reading.
    pub started: Timestamp,
    /// Its end; `None` while it runs.
    pub ended: Option<Timestamp>,
    /// The end's word: `completed`, `cancelled`, `failed` or `unknown`; `None` while it runs.
    pub end: Option<&'static str>,
    /// Tool changes seen.
    pub tool_changes: u32,
    /// The largest dose of a single idle span in it, equivalent minutes; `None` if no span was measured.
    pub dose_worst: Option<DoseMinutes>,
    /// Outcomes in force; empty is not reported.
    pub outcomes: Vec<OutcomeRow>,
}

/// An outcome that a person reported.
#[derive(Clone, Debug)]
pub struct OutcomeRow {
    /// When it was said.
    pub at: Timestamp,
    /// For which tool, from 0; `None` speaks of the whole print.
    pub tool: Option<usize>,
    /// The mode's word, such as `clean` or `jam`.
    pub mode: &'static str,
    /// 1 slight, 2 serious, 3 grave.
    pub severity: Option<i64>,
    /// In the person's words.
    pub note: Option<String>,
}

/// One print.
#[derive(Clone, Debug)]
pub struct PrintView {
    /// Zone, week and rehearsal.
    pub frame: Frame,
    /// The facts of the list.
    pub print: PrintRow,
    /// Until when its tools are shown: its end, or the newest reading while it runs.
    pub until: Timestamp,
    /// Time without contact inside it.
    pub gap: Seconds,
    /// The part of it that the lanes show: from when to when.
    pub shown: (Timestamp, Timestamp),
    /// Its tools, T0 first.
    pub tools: Vec<PrintTool>,
    /// Its job file; `None` if none was read.
    pub job_file: Option<JobFileView>,
    /// Tool changes, in time order.
    pub changes: Vec<ChangeRow>,
    /// Where the host and the job file name different tools, in time order.
    pub disagreements: Vec<DisagreementRow>,
    /// Idle spans in it, in time order.
    pub spans: Vec<SpanRow>,
    /// Every word on it, oldest first.
    pub words: Vec<WordRow>,
    /// What was expected of it before it began.
    pub foreseen: Foreseen,
    /// The form to report an outcome.
    pub form: OutcomeForm,
    /// What a form has just done.
    pub done: Option<JustDone>,
}

/// One tool over one print.
#[derive(Clone, Debug)]
pub struct PrintTool {
    /// Its number, from 0.
    pub number: usize,
    /// Settings in force when the print began.
    pub settings: SettingsView,
    /// Since when each of them is as it was typed in, in the order of the table; `None` if it never was.
    pub typed: [Option<Timestamp>; SETTINGS],
    /// What was typed in before, of those that were changed lately.
    pub before: SettingsView,
    /// The part of the print that is shown.
    pub lane: Vec<LanePiece>,
    /// Time waited hot, in contact; `None` while it waits.
    pub idle: Option<Seconds>,
    /// The longest single idle span, in contact.
    pub idle_max: Option<Seconds>,
    /// The largest dose of a single idle span, equivalent minutes.
    pub dose_max: Option<DoseMinutes>,
    /// Melt expected to have left the nozzle, mm3; `None` where nothing was measured.
    pub ooze: Option<CubicMm>,
}

/// How many settings a tool has.
pub const SETTINGS: usize = 8;

/// A setting that may be known from two sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Setting<T> {
    /// A person typed it in, and no job file says anything else.
    Typed(T),
    /// The job file asks for it.
    JobFile {
        /// What counts.
        value: T,
        /// What was typed in, if that differs.
        typed: Option<T>,
    },
}

/// A tool's settings as far as they are known.
#[derive(Clone, Debug, Default)]
pub struct SettingsView {
    /// The material's name as people wrote it.
    pub material: Option<String>,
    /// Print temperature, °C.
    pub print: Option<Setting<Celsius>>,
    /// Standby temperature, °C.
    pub standby: Option<Setting<Celsius>>,
    /// Retraction length, mm.
    pub retract: Option<Setting<Millimetres>>,
    /// Retraction speed, mm/s.
    pub retract_mm_s: Option<Setting<f64>>,
    /// Volume primed after a tool change, mm3.
    pub prime: Option<Setting<CubicMm>>,
    /// Whether an ooze shield is printed.
    pub ooze_shield: Option<bool>,
    /// Whether the filament was dried.
    pub dried: Option<bool>,
}

impl<T: Copy> Setting<T> {
    /// What counts.
    #[must_use]
    pub const fn value(self) -> T {
        match self {
            Self::Typed(value) | Self::JobFile { value, .. } => value,
        }
    }
}

/// The job file of a print.
#[derive(Clone, Copy, Debug)]
pub struct JobFileView {
    /// Where it was found: `host` or `folder`.
    pub from: &'static str,
    /// How long it is expected to take from the first filament on.
    pub expected: Seconds,
    /// It has turned out not to be this print's: nothing of it counts.
    pub is_foreign: bool,
}

/// A stretch in which the host named another tool than the job file has at work.
#[derive(Clone, Copy, Debug)]
pub struct DisagreementRow {
    /// When it was noticed.
    pub at: Timestamp,
    /// The host's tool, which counts, from 0.
    pub host: usize,
    /// The job file's, from 0.
    pub file: usize,
}

/// A tool change.
#[derive(Clone, Copy, Debug)]
pub struct ChangeRow {
    /// When it was seen.
    pub at: Timestamp,
    /// The tool before, from 0.
    pub from: usize,
    /// The tool at work from then on, from 0.
    pub to: usize,
    /// How this is known: `host`, `job_file` or `set_points`.
    pub source: &'static str,
}

/// An idle span.
#[derive(Clone, Debug)]
pub struct SpanRow {
    /// The printer's name.
    pub printer: String,
    /// The print that it waits in, if any.
    pub print: Option<i64>,
    /// The tool's number, from 0.
    pub tool: usize,
    /// Why it waits: `in_print`, `paused` or `no_print`.
    pub context: &'static str,
    /// Its beginning.
    pub began: Timestamp,
    /// Its end; `None` while it lasts.
    pub ended: Option<Timestamp>,
    /// Time waited in contact.
    pub idle: Seconds,
    /// Time without contact or temperature inside it.
    pub gap: Seconds,
    /// Time-weighted mean temperature, °C.
    pub mean: Option<Celsius>,
    /// Highest temperature read, °C.
    pub max: Option<Celsius>,
    /// Set point in force longest, °C.
    pub target: Option<Celsius>,
    /// Dose taken within it, equivalent minutes; `None` if nothing was measured.
    pub dose: Option<DoseMinutes>,
    /// The material's residence limit, equivalent minutes.
    pub limit: DoseMinutes,
    /// Melt expected to have left the nozzle, mm3.
    pub ooze: Option<CubicMm>,
}
