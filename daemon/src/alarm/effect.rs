//! What the alarm ledger says has happened.

use super::rule::{Priority, Rule};
use crate::entry::ToolNumber;
use dwell_analysis::time::Timestamp;

/// What an alarm is about: a rule, and the tool that it speaks of; `None` is the printer as a whole, or the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Subject {
    /// The rule.
    pub rule: Rule,
    /// The tool.
    pub tool: Option<ToolNumber>,
}

/// Why nobody is to hear of an alarm by design.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Suppressed {
    /// The printer is being set up; when it no longer is, what stands calls.
    Commissioning,
    /// The same, or what is graver, called lately; the alarm ends with its condition.
    SaidLately,
}

impl Suppressed {
    /// The word that the record keeps.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Commissioning => "commissioning",
            Self::SaidLately => "said lately",
        }
    }
}

/// A change in an alarm's life. An alarm is known by printer, subject and the time it was raised.
#[derive(Clone, Debug, PartialEq)]
pub enum AlarmEffect {
    /// The condition held for its on-delay: raised once.
    Raised {
        /// What it is about.
        subject: Subject,
        /// When.
        at: Timestamp,
        /// How soon a person has to act.
        priority: Priority,
        /// Why it is suppressed by design, if it is: recorded, and calls nobody.
        suppressed: Option<Suppressed>,
        /// What was found.
        cause: String,
        /// What it leads to.
        consequence: String,
        /// What to do.
        action: String,
    },
    /// The condition has been away for its off-delay.
    Returned {
        /// What it is about.
        subject: Subject,
        /// Identifies the alarm.
        raised: Timestamp,
        /// When.
        at: Timestamp,
        /// A graver alarm on the same thing has taken its place: it is over, and nobody need acknowledge it.
        is_superseded: bool,
    },
}

impl AlarmEffect {
    /// What identifies the alarm, with its printer: its subject and when it was raised.
    #[must_use]
    pub fn key(&self) -> (Subject, Timestamp) {
        match self {
            Self::Raised { subject, at: raised, .. } | Self::Returned { subject, raised, .. } => (*subject, *raised),
        }
    }

    /// When it happened.
    #[must_use]
    pub fn at(&self) -> Timestamp {
        match self {
            Self::Raised { at, .. } | Self::Returned { at, .. } => *at,
        }
    }

    /// Whether it comes, and nobody is to hear of it by design.
    #[must_use]
    pub fn is_suppressed(&self) -> bool {
        match self {
            Self::Raised { suppressed, .. } => suppressed.is_some(),
            Self::Returned { .. } => false,
        }
    }

    /// Whether the alarm comes; else it goes.
    #[must_use]
    pub fn is_raise(&self) -> bool {
        match self {
            Self::Raised { .. } => true,
            Self::Returned { .. } => false,
        }
    }
}
