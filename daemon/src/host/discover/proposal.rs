//! What is proposed for a printer, field by field, with what speaks for it. Holds no judgement of its own.

use super::certainty::Certainty;
use super::found::{Secret, SecretPlace};
use super::leaf::Leaf;
use crate::entry::HotEnd;
use std::fmt;

/// A field of the printer's section.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// `printer.time`.
    Time,
    /// `printer.job.state`.
    State,
    /// `printer.job.name`.
    Name,
    /// `printer.job.fraction`.
    Fraction,
    /// `printer.job.byte`.
    Byte,
    /// `printer.active_tool`.
    ActiveTool,
    /// A tool's measured temperature.
    ToolActual(usize),
    /// A tool's set point.
    ToolTarget(usize),
    /// A tool's heater duty.
    ToolDuty(usize),
    /// The bed's measured temperature.
    BedActual,
    /// The bed's set point.
    BedTarget,
}

/// Where a value stands and how it is read: one table of the configuration.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Index of its document in [`super::Found::documents`].
    pub document: usize,
    /// `JSONPath` or JSON Pointer.
    pub path: String,
    /// The other keys of its table, in their order, as `scale` or `words`.
    pub form: Vec<(&'static str, toml::Value)>,
}

/// One field.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposed {
    /// Which.
    pub kind: Kind,
    /// Where; several are asked in turn.
    pub places: Vec<Place>,
    /// How sure.
    pub certainty: Certainty,
    /// What speaks for it, in a line.
    pub why: String,
    /// What else it could be, best first.
    pub alternatives: Vec<Place>,
}

/// A printer's section, before it is text.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// The printer's name.
    pub name: String,
    /// How the hot ends are built, how sure, and why.
    pub hot_end: (HotEnd, Certainty, String),
    /// How many tools.
    pub tools: usize,
    /// What was found, in the configuration's order.
    pub fields: Vec<Proposed>,
    /// Texts of the state that were seen or told and are not understood.
    pub open_words: Vec<String>,
    /// What could not be told, a line each.
    pub open: Vec<String>,
    /// Answers that point at a place where nothing stands, as they were given.
    pub lost_answers: Vec<String>,
    /// Texts that the host has of a tool's material: `(tool, text, path)`.
    pub materials: Vec<(usize, String, String)>,
    /// What the host was shown while it was searched, for the same to be written down.
    pub given: Vec<Given>,
    /// File of the certificates that were trusted.
    pub authority: Option<String>,
    /// How sure it is which tool is which.
    pub(super) order: Certainty,
    /// Names and whole addresses of the documents that the fields need.
    pub(super) documents: Vec<(String, String)>,
    /// What the host wants to be shown.
    pub(super) secrets: Vec<Secret>,
}

/// A key that was shown to the host, by where it goes and where it comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given {
    /// Where it goes.
    pub place: SecretPlace,
    /// Where it comes from.
    pub source: SecretSource,
}

/// Where a key comes from; never the key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SecretSource {
    /// A variable of the surroundings.
    Env(String),
    /// A file.
    File(String),
}

impl Proposal {
    /// The field of that kind.
    #[must_use]
    pub fn field(&self, kind: Kind) -> Option<&Proposed> {
        self.fields.iter().find(|field| field.kind == kind)
    }
}

impl Proposed {
    /// A field that stands in one place.
    pub(super) fn one(kind: Kind, place: Place, certainty: Certainty, why: impl Into<String>) -> Self {
        Self { kind, places: vec![place], certainty, why: why.into(), alternatives: Vec::new() }
    }
}

impl Place {
    /// The place of a leaf, read as it is.
    pub(super) fn of(leaf: &Leaf) -> Self {
        Self { document: leaf.document, path: leaf.path.clone(), form: Vec::new() }
    }

    /// The same, with one key more.
    pub(super) fn with(mut self, key: &'static str, value: impl Into<toml::Value>) -> Self {
        self.form.push((key, value.into()));
        self
    }

    /// The same, with a table of words if there are any.
    pub(super) fn with_words<V: Into<toml::Value>>(self, words: impl IntoIterator<Item = (String, V)>) -> Self {
        let table: toml::Table = words.into_iter().map(|(word, value)| (word, value.into())).collect();
        if table.is_empty() { self } else { self.with("words", toml::Value::Table(table)) }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Time => f.write_str("time"),
            Self::State => f.write_str("state"),
            Self::Name => f.write_str("job_name"),
            Self::Fraction => f.write_str("fraction"),
            Self::Byte => f.write_str("byte"),
            Self::ActiveTool => f.write_str("active_tool"),
            Self::ToolActual(tool) => write!(f, "tool.{tool}.actual"),
            Self::ToolTarget(tool) => write!(f, "tool.{tool}.target"),
            Self::ToolDuty(tool) => write!(f, "tool.{tool}.duty"),
            Self::BedActual => f.write_str("bed.actual"),
            Self::BedTarget => f.write_str("bed.target"),
        }
    }
}
