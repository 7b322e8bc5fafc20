//! The *Alarms* page's view, and the page that a link in a message opens.

use super::{AlarmFigures, AlarmView, Frame};
use dwell_analysis::time::Timestamp;
use jiff::tz::TimeZone;

/// Everything on the *Alarms* page.
#[derive(Clone, Debug)]
pub struct AlarmsView {
    /// Zone, week and rehearsal.
    pub frame: Frame,
    /// When this view was taken.
    pub at: Timestamp,
    /// Shows that a form is ours.
    pub token: String,
    /// The record takes nothing at present: nothing can be said of an alarm, and the history ends where the record does.
    pub is_unwritten: bool,
    /// Ways to reach people that do not deliver.
    pub stuck: Vec<StuckWay>,
    /// Every alarm that is not normal, in any order; one without a number waits in memory to be written.
    pub open: Vec<AlarmView>,
    /// Holds in force: what calls nobody because a person said so.
    pub holds: Vec<HoldView>,
    /// How the alarms did in the last 30 days; `None` before anything was recorded.
    pub figures: Option<AlarmFigures>,
    /// Alarms of the last 30 days that called somebody, the newest first.
    pub past: Vec<PastAlarm>,
    /// How many more there were than `past` holds.
    pub n_more: usize,
    /// How many of the last 30 days were recorded and called nobody.
    pub n_quiet: usize,
}

/// A way to reach people that has tried several times in vain.
#[derive(Clone, Debug)]
pub struct StuckWay {
    /// Its name in the configuration.
    pub name: String,
    /// Tries so far.
    pub n_tries: u32,
    /// When the next one is due; gone by if it is under way.
    pub next: Timestamp,
    /// When the oldest change that waits came about.
    pub since: Timestamp,
    /// Changes in the message that is tried.
    pub n_in_message: u32,
    /// Changes that came after them, whether the way carries them or not.
    pub n_behind: u32,
}

/// A time in which a rule calls nobody because a person said so.
#[derive(Clone, Debug)]
pub struct HoldView {
    /// The printer's name; `None` is the record itself.
    pub printer: Option<String>,
    /// The tool's number, from 0; `None` is the printer as a whole, or the record.
    pub tool: Option<usize>,
    /// The rule's word.
    pub rule: &'static str,
    /// `shelved` or `out of service`.
    pub kind: &'static str,
    /// When it began.
    pub began: Timestamp,
    /// When it ends by itself; `None` is when a person ends it.
    pub until: Option<Timestamp>,
    /// Who said so.
    pub by: String,
    /// Why, in their words.
    pub why: Option<String>,
    /// The number of an alarm of the same rule on the same thing, through which it is ended.
    pub alarm: Option<i64>,
}

/// An alarm with what became of it.
#[derive(Clone, Debug)]
pub struct PastAlarm {
    /// The alarm.
    pub alarm: AlarmView,
    /// The changes of its state, in order.
    pub changes: Vec<AlarmChangeView>,
}

/// A change of an alarm's state.
#[derive(Clone, Debug)]
pub struct AlarmChangeView {
    /// When.
    pub at: Timestamp,
    /// The state's word from then on.
    pub to: &'static str,
    /// Who; `dwellwatch` where no person did it.
    pub by: String,
    /// Why, in their words.
    pub why: Option<String>,
}

/// What a link in a message shows before anything is done, or when it is done.
#[derive(Clone, Debug)]
pub struct LinkView {
    /// The clock that times are shown on.
    pub zone: TimeZone,
    /// When this view was taken.
    pub at: Timestamp,
    /// The alarm.
    pub alarm: AlarmView,
    /// What the link does.
    pub act: LinkActView,
    /// How far it is.
    pub stage: LinkStage,
    /// Until when it is shelved, where the link has just done that.
    pub shelved_until: Option<Timestamp>,
}

/// What a link does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinkActView {
    /// Acknowledges the alarm.
    Acknowledge,
    /// Shelves its rule for so many minutes.
    Shelve(u32),
}

/// How far a link is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LinkStage {
    /// It asks.
    Asks,
    /// It has just been done.
    Done,
    /// There is nothing to do, for that reason.
    Needless(String),
}
