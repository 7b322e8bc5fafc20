//! How sure a finding is. Owns the three steps; what earns one is judged where the evidence is.

use std::fmt;

/// How sure a finding is, least first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Certainty {
    /// One of several that fit: a person has to look.
    Guess,
    /// Nothing speaks against it, and something would if it were wrong most of the time.
    Likely,
    /// The evidence allows nothing else.
    Sure,
}

impl Certainty {
    /// The word of comments and questions.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Guess => "a guess",
            Self::Likely => "likely",
            Self::Sure => "sure",
        }
    }

    /// One step less.
    #[must_use]
    pub const fn lower(self) -> Self {
        match self {
            Self::Guess | Self::Likely => Self::Guess,
            Self::Sure => Self::Likely,
        }
    }
}

impl fmt::Display for Certainty {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}
