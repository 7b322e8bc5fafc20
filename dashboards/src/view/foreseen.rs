//! What was expected of a print before it began, beside what happened.

/// What was expected of a print.
#[derive(Clone, Debug)]
pub enum Foreseen {
    /// It has not ended: what it went through is not known yet.
    Running,
    /// The record is still being worked out.
    NotYet,
    /// It ended after the record was worked out last, or no tool of it was seen at work or waiting hot.
    NotAmong,
    /// Nobody had spoken of any print before it.
    NothingKnown,
    /// One row a tool and failure mode, the likeliest first.
    Known(Vec<ForeseenRow>),
}

/// One failure mode of one tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForeseenRow {
    /// The tool's number, from 0.
    pub tool: usize,
    /// The mode's word.
    pub mode: &'static str,
    /// The chance that was forecast from what was known before the print, 0 to 1.
    pub chance: f64,
    /// The rate until then, whatever the print: (events + 1/2) / (n + 1).
    pub base: f64,
    /// Tool-runs whose outcome was known then.
    pub n: usize,
    /// Those in which it had happened.
    pub events: usize,
    /// Whether it happened; `None` if nobody said.
    pub happened: Option<bool>,
}
