//! What the alarm ledger says has happened.

use crate::entry::ToolNumber;
use dwell_analysis::time::Timestamp;

/// Which rule raised an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Rule {
    /// The waiting melt's dose is over its material's residence limit.
    ResidenceBudget,
    /// The tool has waited over a temperature for longer than allowed.
    IdleHot,
    /// The host has fallen silent while a heater was hot.
    HostSilent,
    /// The host wants a sign-in, or another one: nothing is watched until a person puts that right.
    HostRefuses,
    /// The disk takes nothing: what is seen is kept in memory alone.
    RecordFull,
    /// The record was found damaged and set aside.
    RecordDamaged,
}

impl Rule {
    /// Every rule.
    pub const ALL: [Self; 6] = [
        Self::ResidenceBudget,
        Self::IdleHot,
        Self::HostSilent,
        Self::HostRefuses,
        Self::RecordFull,
        Self::RecordDamaged,
    ];

    /// The word that tables, JSON and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::ResidenceBudget => "residence_budget",
            Self::IdleHot => "idle_hot",
            Self::HostSilent => "host_silent",
            Self::HostRefuses => "host_refuses",
            Self::RecordFull => "record_full",
            Self::RecordDamaged => "record_damaged",
        }
    }

    /// The rule of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.word() == word)
    }
}

/// What an alarm is about: a rule, and the tool that it speaks of; `None` is the printer as a whole, or the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Subject {
    /// The rule.
    pub rule: Rule,
    /// The tool.
    pub tool: Option<ToolNumber>,
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

    /// Whether the alarm comes; else it goes.
    #[must_use]
    pub fn is_raise(&self) -> bool {
        match self {
            Self::Raised { .. } => true,
            Self::Returned { .. } => false,
        }
    }
}
