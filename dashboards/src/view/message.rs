//! What a message to a person shows of alarms, as plain structs. Owns no text: `crate::message` makes it of them.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;
use jiff::tz::TimeZone;

/// What goes to a person at once.
#[derive(Clone, Debug)]
pub struct MessageView {
    /// Why these go together.
    pub kind: MessageKind,
    /// When it was made.
    pub made: Timestamp,
    /// The clock that times are shown on.
    pub zone: TimeZone,
    /// The changes that it tells, in order of time; none in a test.
    pub notices: Vec<NoticeView>,
    /// How many others were dropped since the message before, as more waited than is kept.
    pub n_dropped: u32,
    /// The last while of the tool that a single notice speaks of; `None` where no temperature is known.
    pub chart: Option<MessageChart>,
    /// Where all alarms are listed; `None` without an address that opens that page.
    pub list: Option<String>,
}

/// Why notices go together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MessageKind {
    /// One notice by itself.
    Single,
    /// Several that came close together, or could not be sent earlier.
    Group,
    /// What came in quiet hours.
    Digest,
    /// A person wants to see whether it arrives.
    Test,
}

/// One change of one alarm.
#[derive(Clone, Debug)]
pub struct NoticeView {
    /// The printer's name; `None` is the record itself.
    pub printer: Option<String>,
    /// The tool's number, from 0; `None` is the printer as a whole, or the record.
    pub tool: Option<usize>,
    /// The rule's word, such as `residence_budget`.
    pub rule: &'static str,
    /// The priority's word, such as `medium`.
    pub priority: &'static str,
    /// When the alarm was raised, which identifies it with printer, tool and rule.
    pub raised: Timestamp,
    /// When its condition went away, if that is what is told; `None` tells that it stands.
    pub returned: Option<Timestamp>,
    /// What was found, what it leads to and what to do; `None` where the notice of a return does not repeat it.
    pub words: Option<AlarmWords>,
    /// Links that act on it; `None` without an address, or where there is nothing left to do.
    pub links: Option<AlarmLinks>,
}

/// What an alarm says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlarmWords {
    /// What was found.
    pub cause: String,
    /// What it leads to.
    pub consequence: String,
    /// What to do.
    pub action: String,
}

/// Links that act on one alarm.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlarmLinks {
    /// Acknowledges it.
    pub acknowledge: String,
    /// Shelves it for an hour.
    pub shelve: String,
    /// Until when they work.
    pub until: Timestamp,
}

/// A tool's temperature, or the bed's.
#[derive(Clone, Debug)]
pub struct MessageChart {
    /// Whose, such as `T1` or `bed`.
    pub name: String,
    /// Readings in order of time, °C; where nothing was heard there are none.
    pub points: Vec<(Timestamp, Celsius)>,
    /// The set point at the end, °C; 0 is a heater that is off, `None` where the host tells none.
    pub target: Option<Celsius>,
    /// The temperature that the alarm is about, °C; `None` where its rule has none.
    pub limit: Option<Celsius>,
}
