//! What stands out in a job file, as data. Owns the kinds, their words for scripts, how grave each is and their order;
//! the sentences stand in `words`, the rules in `judge`.

use super::known::Habit;
use crate::entry::ToolNumber;
use dwell_analysis::units::{Celsius, DoseMinutes, Millimetres, Seconds};

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Gravity {
    /// It spoils prints or parts as it stands.
    Grave,
    /// Better looked at before printing.
    Look,
    /// Good to know.
    Note,
}

impl Gravity {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Grave => "grave",
            Self::Look => "look",
            Self::Note => "note",
        }
    }
}

/// Something that stands out.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// On which tool; `None` is the job as a whole.
    pub tool: Option<ToolNumber>,
    /// What.
    pub matter: Matter,
}

/// So many of so many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counted {
    /// So many.
    pub n: u32,
    /// Of so many.
    pub of: u32,
}

/// Where in a job: a turn of a tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// When, from the file's beginning on.
    pub at: Seconds,
    /// First byte of the line that calls the tool.
    pub byte: u64,
}

/// Changes from one tool to another, and how many of them it concerns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Path {
    /// The tool that is left.
    pub from: ToolNumber,
    /// The tool that is called.
    pub to: ToolNumber,
    /// How many.
    pub counted: Counted,
}

/// The wait at whose end the melt is oldest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorstWait {
    /// When it begins, from the file's beginning on.
    pub at: Seconds,
    /// How long it lasts.
    pub lasts: Seconds,
    /// Its mean temperature.
    pub mean: Option<Celsius>,
}

/// What stands out.
#[derive(Clone, Debug, PartialEq)]
pub enum Matter {
    /// A tool number that the printer does not have.
    NoSuchTool {
        /// Which of those that any printer may have.
        tools: Vec<ToolNumber>,
        /// How many it has.
        n_tools: Option<usize>,
        /// Commands to numbers that no printer may have.
        out_of_range: u64,
    },
    /// Filament is pushed before the file has set any temperature.
    ColdPush {
        /// First pushes of visits.
        counted: Counted,
        /// The first.
        first: Place,
        /// Macros are called, which may set one.
        has_macros: bool,
    },
    /// Filament is pushed before the hot end is back at its set point, or its melt flows.
    ColdRestart {
        /// First pushes of visits.
        counted: Counted,
        /// The coldest.
        worst: Place,
        /// The temperature expected there.
        expected: Celsius,
        /// The set point there.
        target: Celsius,
        /// The least at which the material is pushed.
        floor: Celsius,
        /// How long before it the heat was raised.
        raised_ahead: Option<Seconds>,
    },
    /// A set point over the liner's rating.
    OverLiner {
        /// The highest set point.
        set: Celsius,
        /// The rating.
        rating: Celsius,
        /// Nobody told it.
        is_assumed: bool,
    },
    /// The melt waits until it is spent.
    OverResidence {
        /// Dose at worst.
        dose: DoseMinutes,
        /// The material's limit.
        limit: DoseMinutes,
        /// Where.
        worst: Option<WorstWait>,
    },
    /// A tool is left without a lower set point.
    NoStandby {
        /// Times that it is left.
        counted: Counted,
        /// By which tool comes next, as far as the visits are held.
        paths: Vec<Path>,
        /// Its longest wait.
        longest: Seconds,
    },
    /// The job stands still for heat after a change.
    LateReheat {
        /// Changes to it.
        counted: Counted,
        /// All together.
        total: Seconds,
        /// At the longest.
        longest: Seconds,
        /// The longest.
        worst: Place,
    },
    /// A shared nozzle is not flushed after a change.
    NoPurge {
        /// Changes to it.
        counted: Counted,
        /// The first.
        first: Place,
    },
    /// Another retraction than past prints used.
    OtherRetraction {
        /// Length most used.
        length: Millimetres,
        /// What past prints used.
        habit: Habit,
    },
    /// One spot of filament passes the drive very often.
    GroundFilament {
        /// How often.
        passes: u32,
    },
    /// Hot long after its last use.
    HotAfterLast {
        /// When that begins, from the file's beginning on.
        at: Seconds,
        /// How long.
        lasts: Seconds,
        /// Set to.
        target: Celsius,
    },
    /// Hot long before its first use.
    HotBeforeFirst {
        /// When that begins, from the file's beginning on.
        at: Seconds,
        /// How long.
        lasts: Seconds,
        /// Set to.
        target: Celsius,
    },
    /// Heated and never used.
    HeatedUnused {
        /// Set to.
        set: Celsius,
    },
    /// Macros, whose doings stand elsewhere.
    Macros {
        /// Names and how often.
        names: Vec<(String, u64)>,
    },
    /// It waits for a person.
    Pauses {
        /// How often.
        n: u32,
    },
    /// Lines that could not be read.
    LinesNotRead {
        /// How many.
        n: u64,
        /// What is wrong with most of them.
        fault: String,
        /// The number of the first such line.
        first_line: u64,
    },
    /// No filament is laid.
    NoFilament,
    /// The residence budget is more than half used.
    NearResidence {
        /// Dose at worst.
        dose: DoseMinutes,
        /// The material's limit.
        limit: DoseMinutes,
        /// Where.
        worst: Option<WorstWait>,
    },
    /// A set point over what users of a liner stay under.
    NearLiner {
        /// The highest set point.
        set: Celsius,
        /// The rating.
        rating: Celsius,
    },
    /// A standby at which the melt does not flow by far.
    DeepStandby {
        /// The lowest; 0 °C is off.
        lowest: Celsius,
        /// Where the material begins to flow.
        first_flow: Celsius,
        /// Where it turns to glass.
        glass: Celsius,
        /// From there to the print's set point, if known.
        reheat: Option<Seconds>,
    },
    /// A long retraction of a tool whose past prints are not known.
    LongRetraction {
        /// Length most used.
        length: Millimetres,
    },
    /// Retractions by a length that the file does not tell.
    UntoldRetractions {
        /// How many.
        n: u64,
        /// Of all.
        of: u64,
    },
    /// Codes that are not known.
    UnknownCodes {
        /// As written, and how often.
        codes: Vec<(String, u64)>,
        /// Codes, macros and faults that were too many to be held.
        other: u64,
    },
    /// The axes seek their origin, which takes a time that is not known.
    Homings {
        /// How often.
        n: u32,
    },
    /// The job waits for the chamber, which takes a time that is not known.
    ChamberWaits {
        /// How often.
        n: u32,
    },
    /// More visits than are held.
    VisitsLeftOut {
        /// How many.
        n: u64,
    },
}

/// Stands of the melt or the job that take this long are more than a note.
const LONG: Seconds = Seconds::minutes(10.0);

/// A minute of standing still is worth a look; a few seconds are not.
const STANDSTILL: Seconds = Seconds::minutes(1.0);

/// Under this a lower set point has hardly come into effect before the heat is wanted again.
pub(super) const SHORT_WAIT: Seconds = Seconds::minutes(2.0);

impl Matter {
    /// The word for scripts.
    #[must_use]
    pub const fn id(&self) -> &'static str {
        match self {
            Self::NoSuchTool { .. } => "no_such_tool",
            Self::ColdPush { .. } => "cold_push",
            Self::ColdRestart { .. } => "cold_restart",
            Self::OverLiner { .. } => "over_liner",
            Self::OverResidence { .. } => "over_residence",
            Self::NoStandby { .. } => "no_standby",
            Self::LateReheat { .. } => "late_reheat",
            Self::NoPurge { .. } => "no_purge",
            Self::OtherRetraction { .. } => "other_retraction",
            Self::GroundFilament { .. } => "ground_filament",
            Self::HotAfterLast { .. } => "hot_after_last",
            Self::HotBeforeFirst { .. } => "hot_before_first",
            Self::HeatedUnused { .. } => "heated_unused",
            Self::Macros { .. } => "macros",
            Self::Pauses { .. } => "pauses",
            Self::LinesNotRead { .. } => "lines_not_read",
            Self::NoFilament => "no_filament",
            Self::NearResidence { .. } => "near_residence",
            Self::NearLiner { .. } => "near_liner",
            Self::DeepStandby { .. } => "deep_standby",
            Self::LongRetraction { .. } => "long_retraction",
            Self::UntoldRetractions { .. } => "untold_retractions",
            Self::UnknownCodes { .. } => "unknown_codes",
            Self::Homings { .. } => "homings",
            Self::ChamberWaits { .. } => "chamber_waits",
            Self::VisitsLeftOut { .. } => "visits_left_out",
        }
    }

    /// How grave it is.
    #[must_use]
    pub fn gravity(&self) -> Gravity {
        let over = |time: &Seconds, bound: Seconds| if *time >= bound { Gravity::Look } else { Gravity::Note };
        match self {
            Self::ColdPush { has_macros: false, .. }
            | Self::NoSuchTool { .. }
            | Self::ColdRestart { .. }
            | Self::OverLiner { .. }
            | Self::OverResidence { .. } => Gravity::Grave,
            Self::NoStandby { longest, .. } => over(longest, SHORT_WAIT),
            Self::LateReheat { total, .. } => over(total, STANDSTILL),
            Self::HotAfterLast { lasts, .. } | Self::HotBeforeFirst { lasts, .. } => over(lasts, LONG),
            Self::ColdPush { .. }
            | Self::NoPurge { .. }
            | Self::OtherRetraction { .. }
            | Self::GroundFilament { .. }
            | Self::HeatedUnused { .. }
            | Self::Macros { .. }
            | Self::Pauses { .. }
            | Self::LinesNotRead { .. }
            | Self::NoFilament => Gravity::Look,
            Self::NearResidence { .. }
            | Self::NearLiner { .. }
            | Self::DeepStandby { .. }
            | Self::LongRetraction { .. }
            | Self::UntoldRetractions { .. }
            | Self::UnknownCodes { .. }
            | Self::Homings { .. }
            | Self::ChamberWaits { .. }
            | Self::VisitsLeftOut { .. } => Gravity::Note,
        }
    }

    /// How many of how many, where it counts something.
    #[must_use]
    pub fn counted(&self) -> (Option<u64>, Option<u64>) {
        match self {
            Self::ColdPush { counted, .. }
            | Self::ColdRestart { counted, .. }
            | Self::NoStandby { counted, .. }
            | Self::LateReheat { counted, .. }
            | Self::NoPurge { counted, .. } => (Some(counted.n.into()), Some(counted.of.into())),
            Self::UntoldRetractions { n, of } => (Some(*n), Some(*of)),
            Self::GroundFilament { passes: n }
            | Self::Pauses { n }
            | Self::Homings { n }
            | Self::ChamberWaits { n } => (Some((*n).into()), None),
            Self::LinesNotRead { n, .. } | Self::VisitsLeftOut { n } => (Some(*n), None),
            Self::Macros { names: held } | Self::UnknownCodes { codes: held, .. } => {
                (Some(held.iter().map(|(_, n)| n).sum()), None)
            }
            _ => (None, None),
        }
    }

    /// When it is at worst, and the first byte of that line.
    #[must_use]
    pub fn place(&self) -> (Option<Seconds>, Option<u64>) {
        match self {
            Self::ColdPush { first: place, .. }
            | Self::ColdRestart { worst: place, .. }
            | Self::LateReheat { worst: place, .. }
            | Self::NoPurge { first: place, .. } => (Some(place.at), Some(place.byte)),
            Self::OverResidence { worst, .. } | Self::NearResidence { worst, .. } => (worst.map(|wait| wait.at), None),
            Self::HotAfterLast { at, .. } | Self::HotBeforeFirst { at, .. } => (Some(*at), None),
            _ => (None, None),
        }
    }
}

/// The gravest first; within a gravity by tool, the job as a whole last.
pub(super) fn sort(findings: &mut [Finding]) {
    findings.sort_by_key(|finding| (finding.matter.gravity(), finding.tool.is_none(), finding.tool));
}
