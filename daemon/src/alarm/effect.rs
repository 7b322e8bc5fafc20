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
}

impl Rule {
    /// Every rule.
    pub const ALL: [Self; 2] = [Self::ResidenceBudget, Self::IdleHot];

    /// The word that tables, JSON and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::ResidenceBudget => "residence_budget",
            Self::IdleHot => "idle_hot",
        }
    }

    /// The rule of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.word() == word)
    }
}

/// A change in an alarm's life. An alarm is known by printer, tool, rule and the time it was raised.
#[derive(Clone, Debug, PartialEq)]
pub enum AlarmEffect {
    /// The condition held for its on-delay: raised once.
    Raised {
        /// The tool.
        tool: ToolNumber,
        /// The rule.
        rule: Rule,
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
        /// The tool.
        tool: ToolNumber,
        /// The rule.
        rule: Rule,
        /// Identifies the alarm.
        raised: Timestamp,
        /// When.
        at: Timestamp,
    },
}
