//! What can be wrong with a line. Owns the kinds and their words; a fault is counted and never ends the reading.

use std::fmt;

/// What is wrong with a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum LineFault {
    /// Longer than 256 characters. It is read all the same.
    TooLong,
    /// A line number of more than five digits. It is read all the same.
    LineNumberDigits,
    /// A line number with a sign, or not at its place.
    LineNumber,
    /// The checksum does not fit the line.
    Checksum,
    /// A comment that does not close on its line.
    CommentOpen,
    /// A comment within a comment.
    CommentNested,
    /// A number without a digit.
    NoDigit,
    /// A number with two decimal points.
    TwoPoints,
    /// A number of no use: beyond what any machine has.
    OutOfRange,
    /// A letter twice; only G and M may.
    LetterTwice,
    /// Two codes of which only one can be in force.
    CodesClash,
    /// More than four M codes.
    TooManyM,
    /// A parameter that is not numbered 1 to 5399.
    Parameter,
    /// An expression in brackets.
    Expression,
    /// A tool number below zero.
    NegativeTool,
    /// Neither a word nor a comment.
    NotAWord,
    /// An arc that no circle fits.
    Arc,
}

impl LineFault {
    /// Whether what the line means is clear, so that it is read all the same.
    #[must_use]
    pub const fn is_harmless(self) -> bool {
        matches!(self, Self::TooLong | Self::LineNumberDigits | Self::CommentOpen)
    }
}

impl fmt::Display for LineFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLong => "longer than 256 characters (read all the same)",
            Self::LineNumberDigits => "a line number of more than five digits (read all the same)",
            Self::LineNumber => "a line number with a sign or not at the line's beginning",
            Self::Checksum => "a checksum that does not fit the line",
            Self::CommentOpen => "a comment that does not close on its line",
            Self::CommentNested => "a comment within a comment",
            Self::NoDigit => "a number without a digit",
            Self::TwoPoints => "a number with two decimal points",
            Self::OutOfRange => "a number beyond what any machine has",
            Self::LetterTwice => "a letter twice",
            Self::CodesClash => "two codes of which only one can be in force",
            Self::TooManyM => "more than four M codes",
            Self::Parameter => "a parameter that is not numbered 1 to 5399",
            Self::Expression => "an expression in brackets",
            Self::NegativeTool => "a tool number below zero",
            Self::NotAWord => "neither a word nor a comment",
            Self::Arc => "an arc that no circle fits",
        })
    }
}
