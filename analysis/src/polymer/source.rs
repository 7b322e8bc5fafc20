//! Where a figure is from. Owns the marks that a person is shown beside it; the figures are the table's.

use std::fmt;

/// What a figure rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Read in this public source.
    Read(&'static str),
    /// From memory, not read again; what else is to be said of it.
    Memory(&'static str),
    /// Another polymer's figure, for want of its own: whose, and from where.
    Borrowed(&'static str),
    /// A choice that nothing measured stands behind; why it was made.
    Proposal(&'static str),
    /// Set by the person who runs this.
    Configuration,
}

/// A figure together with what it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sourced<T> {
    /// The figure.
    pub value: T,
    /// What it rests on.
    pub source: Source,
}

/// A figure that is known within bounds only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// What is reckoned with.
    pub value: f64,
    /// Lowest that it may well be.
    pub low: f64,
    /// Highest that it may well be.
    pub high: f64,
}

impl Source {
    /// Whether the figure is another polymer's.
    #[must_use]
    pub const fn is_borrowed(self) -> bool {
        matches!(self, Self::Borrowed(_))
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (mark, text) = match self {
            Self::Read(text) => return f.write_str(text),
            Self::Configuration => return f.write_str("configuration"),
            Self::Memory(text) => ("from memory", text),
            Self::Borrowed(text) => ("borrowed", text),
            Self::Proposal(text) => ("a proposal", text),
        };
        if text.is_empty() { f.write_str(mark) } else { write!(f, "{mark}: {text}") }
    }
}

impl<T> Sourced<T> {
    /// A figure and what it rests on.
    #[must_use]
    pub const fn new(value: T, source: Source) -> Self {
        Self { value, source }
    }
}

impl Band {
    /// A figure between two bounds.
    #[must_use]
    pub const fn new(value: f64, low: f64, high: f64) -> Self {
        Self { value, low, high }
    }

    /// A figure that is taken as it is.
    #[must_use]
    pub const fn exact(value: f64) -> Self {
        Self::new(value, value, value)
    }
}
