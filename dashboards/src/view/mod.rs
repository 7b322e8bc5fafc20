//! What pages and the report show, as plain structs with units. Owns no text and no shape: whoever fills a view
//! reads the store, whoever serializes one finds every number that a person sees.

mod advice;
mod alarm_figures;
mod alarms;
mod causes;
mod changes;
mod day;
mod foreseen;
mod heaters;
mod heatplan;
mod learned;
mod message;
mod now;
mod outcomes;
mod parts;
mod preflight;
mod prints;
mod report;
mod reports;
mod setup;
mod sign_in;
mod trials;

pub use advice::{AdviceView, AskedView, MeantView, MiddleWait, SuggestionView};
pub use alarm_figures::{
    AcknowledgeTimes, AlarmFigures, MarkedAlarms, PriorityShare, QuietAlarms, StaleAlarm, SubjectCount, benchmark,
};
pub use alarms::{AlarmChangeView, AlarmsView, HoldView, LinkActView, LinkStage, LinkView, PastAlarm, StuckWay};
pub use causes::{CausesTold, CausesView};
pub use changes::{ChangesPage, ChangesView, OfferView, PageNotice, PlannedView, RefusedOffer, TrialCard};
pub use day::{DayCounts, DayRecord};
pub use foreseen::{Foreseen, ForeseenRow};
pub use heaters::{DriftView, HeaterTold, HeaterView, StandbyDrop};
pub use heatplan::{HeatPlanTool, HeatPlanView};
pub use learned::{BothReadings, LearnView, ModeView, ReadingView, ResponseView, SilenceView};
pub use message::{AlarmLinks, AlarmWords, MessageChart, MessageKind, MessageView, NoticeView};
pub use now::{
    Ahead, Contact, DoingNow, Heard, HostClock, JobNow, NowView, PacedEnd, PrinterNow, Refused, Reheat, ToolNowView,
    Trouble, Unwritten,
};
pub use outcomes::{JustDone, OutcomeForm, SilentPrint, SilentPrints, WordFate, WordRow};
pub use parts::{
    LinerStands, LivesView, PartExpected, PartNow, PartTold, PartTyped, PartView, PartsPage, PastPart, PrinterParts,
    Replace, ToolParts,
};
pub use preflight::{
    FindingView, JOB_BEGINS, Pace, PreflightCame, PreflightForm, PreflightPage, PreflightView, PurgeSpot, RestartAhead,
    RetractionsAhead, RiskAhead, SpreadView, ToolAhead, UnreadView, VisitAhead, Waits,
};
pub use prints::{
    ChangeRow, DisagreementRow, JobFileView, OutcomeRow, PrintRow, PrintTool, PrintView, PrintsFilter, PrintsView,
    SETTINGS, Setting, SettingsView, SpanRow,
};
pub use report::{
    Before, ContactRow, Failures, GapSum, IfSilent, LearnedRow, ModeRow, RateInterval, Recorded, ReportView, ToolIdle,
    ToolSettings, UnreportedPrint,
};
pub use reports::{ArchiveWeek, ReportsView};
pub use setup::{
    BackupsSetup, ChannelSetup, DocumentSetup, FieldSetup, MaterialFigure, PrinterSetup, Quality, RecordSetup,
    SetupView, TunedRule,
};
pub use sign_in::{SignInStage, SignInView};
pub use trials::{
    Applied, ClosedView, HeldView, KnownBy, ReviewView, TrialFigures, TrialPrint, TrialState, TrialView, WasSet,
};

use crate::week::IsoWeek;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;
use jiff::tz::TimeZone;

/// What every page needs, whatever it shows.
#[derive(Clone, Debug)]
pub struct Frame {
    /// The clock that times are shown on.
    pub zone: TimeZone,
    /// The week that *Report* in the navigation leads to: the current one.
    pub week: IsoWeek,
    /// The printer is a simulated one and its history invented.
    pub rehearsal: bool,
    /// Who comes from elsewhere signs in, so that there is a way to sign out.
    pub signs_in: bool,
}

/// What a stretch of a tool's time was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LaneKind {
    /// At work in a print.
    Working,
    /// Heated and not at work.
    Waiting,
    /// Not heated.
    Cold,
    /// No reading: nothing is known.
    Gap,
    /// Readings that tell too little.
    Unknown,
}

/// A stretch of a tool's time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LanePiece {
    /// Its beginning.
    pub from: Timestamp,
    /// Its end; not before its beginning.
    pub to: Timestamp,
    /// What it was.
    pub kind: LaneKind,
    /// Mean temperature over it, °C; `None` where the host told none.
    pub mean: Option<Celsius>,
}

/// An alarm, standing or returned.
#[derive(Clone, Debug)]
pub struct AlarmView {
    /// Its number in the record; `None` while it is in memory alone.
    pub id: Option<i64>,
    /// The printer's name; `None` is the record itself.
    pub printer: Option<String>,
    /// The tool's number, from 0; `None` is the printer as a whole, or the record.
    pub tool: Option<usize>,
    /// The rule's word, such as `residence_budget`.
    pub rule: &'static str,
    /// The priority's word, such as `medium`.
    pub priority: &'static str,
    /// The state's word by IEC 62682, such as `unacknowledged`.
    pub state: &'static str,
    /// When it was raised.
    pub raised: Timestamp,
    /// When its condition went away; `None` while it stands.
    pub returned: Option<Timestamp>,
    /// When a person acknowledged it first; `None` if nobody has.
    pub acknowledged: Option<Timestamp>,
    /// Whether it was rightly raised, as a person said; `None` if nobody did.
    pub is_right: Option<bool>,
    /// What was found.
    pub cause: String,
    /// What it leads to.
    pub consequence: String,
    /// What to do.
    pub action: String,
}
