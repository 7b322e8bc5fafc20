//! A word on a print that is taken back. Owns what names the word; what stands without it is worked out by who reads.

use super::{Mode, ToolNumber};
use dwell_analysis::time::Timestamp;
use std::sync::Arc;

/// A person takes back what was said of a print. Both stay in the record: the word, and that it was taken back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Undo {
    /// When it was taken back.
    pub at: Timestamp,
    /// The job's name.
    pub job: Arc<str>,
    /// When the print began, as in [`super::Outcome`].
    pub started: Timestamp,
    /// When the word was said.
    pub said: Timestamp,
    /// Of which tool it was said; `None` spoke of the whole print.
    pub tool: Option<ToolNumber>,
    /// What was said.
    pub mode: Mode,
}
