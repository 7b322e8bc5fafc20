//! What the tracker says has happened. Effects name prints and spans by what identifies them in the world
//! (printer, start), never by a row's number: the store finds the rows.

use crate::entry::{PrintEnd, Reading, ToolNumber};
use dwell_analysis::idle::SpanMeasure;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use std::sync::Arc;

/// Why a heated tool waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Context {
    /// Another tool prints.
    InPrint,
    /// The print is paused.
    Paused,
    /// Nothing prints.
    NoPrint,
}

impl Context {
    /// The word that tables, JSON and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::InPrint => "in_print",
            Self::Paused => "paused",
            Self::NoPrint => "no_print",
        }
    }

    /// The context of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::InPrint, Self::Paused, Self::NoPrint].into_iter().find(|context| context.word() == word)
    }
}

/// Where it is known from which tool is at work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ToolSource {
    /// The host says so.
    Host,
    /// Inferred from set points that swap.
    SetPoints,
    /// The job file says so of the place that the host is at in it.
    JobFile,
}

impl ToolSource {
    /// The word that tables and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Host => "host",
            Self::SetPoints => "set_points",
            Self::JobFile => "job_file",
        }
    }

    /// The source of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::Host, Self::SetPoints, Self::JobFile].into_iter().find(|source| source.word() == word)
    }
}

/// Why a reading was left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum RefusalReason {
    /// The active tool's number is not one of the printer's tools.
    ToolOutOfRange,
    /// It is not newer than the printer's last reading.
    OutOfOrder,
}

impl RefusalReason {
    /// The word that tables and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::ToolOutOfRange => "tool_out_of_range",
            Self::OutOfOrder => "out_of_order",
        }
    }
}

/// What one tool does right now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Doing {
    /// At work in a print.
    Working {
        /// Since when.
        since: Timestamp,
    },
    /// Heated and not at work.
    Waiting {
        /// Since when.
        since: Timestamp,
        /// Why.
        context: Context,
        /// Time waited in contact, so far.
        idle: Seconds,
    },
    /// Not heated.
    Cold,
    /// The host tells too little to say.
    Unknown,
}

/// A tool as of the newest reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToolNow {
    /// What it does.
    pub doing: Doing,
    /// Measured temperature; `None` when the host did not tell.
    pub actual: Option<Celsius>,
    /// Set point.
    pub target: Option<Celsius>,
    /// Dose of the melt that is in the nozzle now, carried over short visits and flushed by extrusion.
    pub dose: DoseMinutes,
    /// The material's residence limit.
    pub limit: DoseMinutes,
}

/// Something that happened, to be committed.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// A reading was taken in. Batched; every other effect is committed at once.
    Sample {
        /// The reading.
        reading: Reading,
        /// What each tool does as of it.
        tools: Vec<ToolNow>,
    },
    /// A reading was left out, and counted.
    Refused {
        /// The reading's stamp.
        at: Timestamp,
        /// Why.
        reason: RefusalReason,
    },
    /// A print began with this first `printing` reading.
    PrintStarted {
        /// Identifies the print, with its printer.
        started: Timestamp,
        /// The job's name.
        name: Option<Arc<str>>,
    },
    /// The print was paused.
    PrintPaused {
        /// The print.
        started: Timestamp,
        /// When.
        at: Timestamp,
    },
    /// The print went on.
    PrintResumed {
        /// The print.
        started: Timestamp,
        /// When.
        at: Timestamp,
    },
    /// The print ended.
    PrintEnded {
        /// The print.
        started: Timestamp,
        /// When, as far as contact tells.
        at: Timestamp,
        /// How.
        end: PrintEnd,
        /// Progress that was last told while it was on, in millionths; `None` if it never was.
        fraction_millionths: Option<u32>,
    },
    /// Another tool went to work in a print. The first tool of a print is not a change.
    ToolChanged {
        /// The print.
        started: Timestamp,
        /// When it was seen; true to one poll, or to the gap before it. By the job file, where it falls between polls.
        at: Timestamp,
        /// The tool before.
        from: ToolNumber,
        /// The tool at work from now on.
        to: ToolNumber,
        /// How this is known.
        source: ToolSource,
    },
    /// For some time the host has not named the tool that the job file has at that place; the host is believed. Told
    /// once an episode.
    ToolDisagreed {
        /// The print.
        started: Timestamp,
        /// The reading at which it had lasted for long enough.
        at: Timestamp,
        /// The tool by the host.
        host: ToolNumber,
        /// The tool by the job file.
        file: ToolNumber,
    },
    /// The host reads beyond the job file's end, or the file calls a tool that the printer lacks: it is not this
    /// print's, and nothing more is placed by it.
    JobFileDropped {
        /// The print.
        started: Timestamp,
        /// The reading that showed it.
        at: Timestamp,
    },
    /// A tool's turn at work began.
    VisitBegan {
        /// The print.
        started: Timestamp,
        /// The tool.
        tool: ToolNumber,
        /// Identifies the visit, with printer and tool.
        began: Timestamp,
    },
    /// A tool's turn at work ended.
    VisitEnded {
        /// The tool.
        tool: ToolNumber,
        /// The visit.
        began: Timestamp,
        /// When.
        ended: Timestamp,
        /// Time without contact inside it.
        gap: Seconds,
        /// Time-weighted mean temperature at work; `None` where none was measured.
        mean: Option<Celsius>,
        /// Highest temperature at work.
        max: Option<Celsius>,
    },
    /// A heated tool began to wait.
    SpanBegan {
        /// The tool.
        tool: ToolNumber,
        /// Identifies the span, with printer and tool.
        began: Timestamp,
        /// Why it waits.
        context: Context,
        /// The print that it waits in, if any.
        print: Option<Timestamp>,
        /// The set point at its beginning.
        target: Option<Celsius>,
    },
    /// A heated tool stopped waiting.
    SpanEnded {
        /// The tool.
        tool: ToolNumber,
        /// The span.
        began: Timestamp,
        /// When.
        ended: Timestamp,
        /// What it came to.
        measure: SpanMeasure,
        /// The temperature at its end; `None` when the host did not tell.
        end: Option<Celsius>,
        /// The set point that was in force longest within it.
        target: Option<Celsius>,
    },
    /// No reading for longer than the limit of silence.
    ContactLost {
        /// The last reading before it.
        since: Timestamp,
    },
    /// Readings again.
    ContactRegained {
        /// The last reading before the gap.
        since: Timestamp,
        /// The first reading after it.
        at: Timestamp,
    },
}
