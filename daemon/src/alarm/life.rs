//! The life of an alarm by IEC 62682: its states and what moves it from one to another. Owns the table; stores nothing.

/// Where an alarm is in its life.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// Nothing is the matter.
    Normal,
    /// Its condition stands, and nobody has looked at it.
    Unacknowledged,
    /// Its condition stands, and somebody has looked at it.
    Acknowledged,
    /// Its condition is gone, and nobody has looked at it.
    ReturnedUnacknowledged,
    /// A person wants to hear nothing of it for a time.
    Shelved,
    /// By design nobody is to hear of it now.
    SuppressedByDesign,
    /// A person has taken it out of use.
    OutOfService,
}

impl State {
    /// Every state.
    pub const ALL: [Self; 7] = [
        Self::Normal,
        Self::Unacknowledged,
        Self::Acknowledged,
        Self::ReturnedUnacknowledged,
        Self::Shelved,
        Self::SuppressedByDesign,
        Self::OutOfService,
    ];

    /// The word that tables, JSON and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Unacknowledged => "unacknowledged",
            Self::Acknowledged => "acknowledged",
            Self::ReturnedUnacknowledged => "returned unacknowledged",
            Self::Shelved => "shelved",
            Self::SuppressedByDesign => "suppressed by design",
            Self::OutOfService => "out of service",
        }
    }

    /// The state of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }
}
