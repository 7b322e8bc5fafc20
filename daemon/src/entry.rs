//! What enters the one path: readings, settings, part changes and outcomes, from a live host or a journal alike.
//! Owns their types and what makes one impossible; knows neither JSON nor SQL.

use dwell_analysis::polymer::{MaterialFacts, Materials};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};
use std::fmt;
use std::sync::Arc;

/// A printer's name, as in the configuration and the journal: 1 to 64 characters, none of them control characters.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PrinterName(Arc<str>);

impl PrinterName {
    /// The name, or `None` if it is empty, too long or holds control characters.
    #[must_use]
    pub fn new(name: &str) -> Option<Self> {
        let sound = !name.trim().is_empty() && name.chars().count() <= 64 && !name.chars().any(char::is_control);
        sound.then(|| Self(Arc::from(name)))
    }

    /// The bare name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for PrinterName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A tool's number, from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ToolNumber(u8);

impl ToolNumber {
    /// The most tools that one printer may have; two is the trade's case, the bound keeps tables and pages sane.
    pub const COUNT_MAX: usize = 16;

    /// T0.
    pub const FIRST: Self = Self(0);

    /// The tool of that number, or `None` if it is [`Self::COUNT_MAX`] or more.
    #[must_use]
    pub fn new(number: usize) -> Option<Self> {
        u8::try_from(number).ok().filter(|_| number < Self::COUNT_MAX).map(Self)
    }

    /// The bare number, as an index.
    #[must_use]
    pub fn idx(self) -> usize {
        usize::from(self.0)
    }
}

impl fmt::Display for ToolNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "T{}", self.0)
    }
}

/// How the hot ends are built.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum HotEnd {
    /// Two in, two out: a heater and nozzle a tool.
    #[default]
    Separate,
    /// Two in, one out: one heater and nozzle; the parked filament waits in the mixing channel, at its heat.
    Shared,
}

/// What the host says of its job.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum JobState {
    /// No job.
    None,
    /// Heating up or waiting for heat.
    Heating,
    /// Printing.
    Printing,
    /// Paused.
    Paused,
    /// Ended by itself.
    Completed,
    /// Ended by a person.
    Cancelled,
    /// Ended by a fault.
    Failed,
}

impl JobState {
    /// Whether a job is under way.
    #[must_use]
    pub const fn is_on(self) -> bool {
        match self {
            Self::Heating | Self::Printing | Self::Paused => true,
            Self::None | Self::Completed | Self::Cancelled | Self::Failed => false,
        }
    }
}

/// How a print ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PrintEnd {
    /// By itself.
    Completed,
    /// By a person.
    Cancelled,
    /// By a fault.
    Failed,
    /// Nobody saw it.
    Unknown,
}

/// Declares an enum's words, once for JSON, SQL and pages.
macro_rules! words {
    ($name:ident { $($variant:ident = $word:literal),+ $(,)? }) => {
        impl $name {
            /// Every value, in declaration order.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The word that journals, tables and pages use.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// The value of that word, or `None`.
            #[must_use]
            pub fn of_word(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)+ _ => None }
            }
        }
    };
}
pub(crate) use words;
// Here, so that it finds the words.
mod heater_fact;
mod job_file;
mod undo;
pub use heater_fact::HeaterFact;
pub use job_file::{FileTool, FileTurn, JobFile, JobFileFrom};
pub use undo::Undo;

words!(HotEnd { Separate = "separate", Shared = "shared" });
words!(JobState {
    None = "none",
    Heating = "heating",
    Printing = "printing",
    Paused = "paused",
    Completed = "completed",
    Cancelled = "cancelled",
    Failed = "failed",
});
words!(PrintEnd { Completed = "completed", Cancelled = "cancelled", Failed = "failed", Unknown = "unknown" });

/// What is known of the job at one poll.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// The host's word for it, understood.
    pub state: JobState,
    /// The job file's name.
    pub name: Option<Arc<str>>,
    /// Progress in millionths, 0 to 1,000,000: an integer, so that a stored reading is the reading.
    pub fraction_millionths: Option<u32>,
    /// Bytes of the job file read so far.
    pub byte: Option<u64>,
}

/// Hundredths of a degree Celsius. Readings are held in whole hundredths, so that what is stored, written to a
/// journal and replayed is the same number to the last digit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct CentiCelsius(i32);

impl CentiCelsius {
    /// Below absolute zero nothing is; above 1000 °C no desktop heater is: such a number is a fault of the map.
    const RANGE: std::ops::RangeInclusive<f64> = -273.15..=1000.0;

    /// The nearest hundredth, or `None` outside -273.15 to 1000 °C (NaN included).
    #[must_use]
    #[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "in range, checked above the cast")]
    pub fn nearest(degrees: f64) -> Option<Self> {
        Self::RANGE.contains(&degrees).then(|| Self((degrees * 100.0).round() as i32))
    }

    /// The value of so many hundredths, unchecked: for numbers that were checked when they were stored.
    #[must_use]
    pub const fn from_hundredths(hundredths: i32) -> Self {
        Self(hundredths)
    }

    /// The bare number of hundredths.
    #[must_use]
    pub const fn hundredths(self) -> i32 {
        self.0
    }

    /// The temperature.
    #[must_use]
    pub fn celsius(self) -> Celsius {
        Celsius::new(f64::from(self.0) / 100.0)
    }
}

/// One heater at one poll. Absent means that the host did not tell.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Heater {
    /// Measured temperature.
    pub actual: Option<CentiCelsius>,
    /// Set point; 0 °C is a heater that is off.
    pub target: Option<CentiCelsius>,
    /// Heater duty in thousandths, 0 to 1000.
    pub duty_thousandths: Option<u16>,
    /// Speed of the part fan that blows at its nozzle, in thousandths, 0 to 1000.
    pub fan_thousandths: Option<u16>,
}

/// One poll, understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// When it was taken.
    pub at: Timestamp,
    /// The time since the reading before is not known to have passed (the clock was set, the machine slept): a gap.
    pub after_gap: bool,
    /// The job.
    pub job: Job,
    /// The tool that the host says is at work; may be out of range, the tracker refuses it then.
    pub active_tool: Option<usize>,
    /// One entry a tool, T0 first.
    pub tools: Vec<Heater>,
    /// The heated bed.
    pub bed: Option<Heater>,
}

/// Settings of one tool, in force from `at`; a key left out keeps its value.
#[derive(Clone, Debug, PartialEq)]
pub struct SettingsChange {
    /// From when.
    pub at: Timestamp,
    /// Which tool.
    pub tool: ToolNumber,
    /// What changes.
    pub settings: Settings,
}

/// A tool's settings as far as they are known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// The material's name as people wrote it; [`Settings::facts`] understands it.
    pub material: Option<Arc<str>>,
    /// Print temperature.
    pub print: Option<Celsius>,
    /// Standby temperature.
    pub standby: Option<Celsius>,
    /// Retraction length.
    pub retract: Option<Millimetres>,
    /// Retraction speed, mm/s.
    pub retract_mm_s: Option<f64>,
    /// Volume primed after a tool change.
    pub prime: Option<CubicMm>,
    /// Whether an ooze shield is printed.
    pub ooze_shield: Option<bool>,
    /// Whether the filament was dried.
    pub dried: Option<bool>,
}

impl Settings {
    /// The material's row in the table.
    #[must_use]
    pub fn facts<'m>(&self, materials: &'m Materials) -> &'m MaterialFacts {
        materials.of(self.material.as_deref())
    }

    /// Takes over every key that `newer` tells.
    pub fn update(&mut self, newer: &Self) {
        fn take<T: Clone>(held: &mut Option<T>, newer: Option<&T>) {
            if let Some(value) = newer {
                *held = Some(value.clone());
            }
        }
        take(&mut self.material, newer.material.as_ref());
        take(&mut self.print, newer.print.as_ref());
        take(&mut self.standby, newer.standby.as_ref());
        take(&mut self.retract, newer.retract.as_ref());
        take(&mut self.retract_mm_s, newer.retract_mm_s.as_ref());
        take(&mut self.prime, newer.prime.as_ref());
        take(&mut self.ooze_shield, newer.ooze_shield.as_ref());
        take(&mut self.dried, newer.dried.as_ref());
    }
}

/// A part of a tool that wears.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Part {
    /// The PTFE tube above the nozzle.
    Liner,
    /// The nozzle.
    Nozzle,
    /// The heat break.
    HeatBreak,
    /// The heater.
    Heater,
    /// The whole hot end.
    HotEnd,
}
words!(Part {
    Liner = "liner",
    Nozzle = "nozzle",
    HeatBreak = "heat_break",
    Heater = "heater",
    HotEnd = "hot_end",
});

/// What happened to a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PartEvent {
    /// Put in.
    Fitted,
    /// Taken out.
    Removed,
}
words!(PartEvent { Fitted = "fitted", Removed = "removed" });

/// Why a part was changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PartReason {
    /// It had failed.
    Failed,
    /// Before it failed.
    Preventive,
}
words!(PartReason { Failed = "failed", Preventive = "preventive" });

/// A part fitted or removed.
#[derive(Clone, Debug, PartialEq)]
pub struct PartChange {
    /// When.
    pub at: Timestamp,
    /// On which tool.
    pub tool: ToolNumber,
    /// Which part.
    pub part: Part,
    /// Fitted or removed.
    pub event: PartEvent,
    /// Why.
    pub reason: Option<PartReason>,
    /// In the person's words.
    pub note: Option<String>,
}

/// What a print came to, for one tool or for the whole print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Mode {
    /// Nothing went wrong.
    Clean,
    /// The nozzle or its path was blocked.
    Jam,
    /// Strings on the part.
    Stringing,
    /// The liner failed.
    Liner,
    /// Blobs on the part.
    Blob,
    /// Too little came out.
    UnderExtrusion,
    /// The idle nozzle touched the print.
    Scrape,
    /// The tools' prints did not meet.
    Misalignment,
    /// The part came off.
    Adhesion,
    /// Something else.
    Other,
}
words!(Mode {
    Clean = "clean",
    Jam = "jam",
    Stringing = "stringing",
    Liner = "liner",
    Blob = "blob",
    UnderExtrusion = "under_extrusion",
    Scrape = "scrape",
    Misalignment = "misalignment",
    Adhesion = "adhesion",
    Other = "other",
});

/// How bad a failure was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Severity {
    /// A blemish.
    Slight,
    /// The part is spoilt.
    Serious,
    /// The printer is down.
    Grave,
}

impl Severity {
    /// The severity of 1, 2 or 3.
    #[must_use]
    pub const fn new(number: i64) -> Option<Self> {
        match number {
            1 => Some(Self::Slight),
            2 => Some(Self::Serious),
            3 => Some(Self::Grave),
            _ => None,
        }
    }

    /// 1, 2 or 3.
    #[must_use]
    pub const fn number(self) -> i64 {
        match self {
            Self::Slight => 1,
            Self::Serious => 2,
            Self::Grave => 3,
        }
    }
}

/// What a person says of a print. Later words on a print count over earlier ones.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// When it was said.
    pub at: Timestamp,
    /// The job's name.
    pub job: Arc<str>,
    /// When the print began, within 60 s of its first `printing` reading.
    pub started: Timestamp,
    /// For which tool; `None` speaks of the whole print.
    pub tool: Option<ToolNumber>,
    /// What happened.
    pub mode: Mode,
    /// How bad.
    pub severity: Option<Severity>,
    /// In the person's words.
    pub note: Option<String>,
}

/// One thing that enters the path for a printer.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// A poll.
    Reading(Reading),
    /// Settings from now on.
    Settings(SettingsChange),
    /// A part change.
    Part(PartChange),
    /// An outcome.
    Outcome(Outcome),
    /// An outcome that is taken back.
    Undo(Undo),
    /// The job file of the print that is on.
    JobFile(JobFile),
    /// What is known of a heater.
    Heater(HeaterFact),
}
