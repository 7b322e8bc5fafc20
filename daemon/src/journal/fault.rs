//! Why a journal can't be read. Owns the words for it.

use crate::stamp;
use dwell_analysis::time::Timestamp;
use std::fmt::Display;

/// Why a line can't be read.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// Not a JSON object of the journal's shape.
    #[error("not a journal line: {0}")]
    Json(#[from] serde_json::Error),
    /// A key that this kind of line needs.
    #[error("`{0}` is missing")]
    Missing(&'static str),
    /// A key whose value means nothing.
    #[error("`{key}` is {found}; {want}")]
    Value {
        /// The key.
        key: &'static str,
        /// What stood there.
        found: String,
        /// What would be right.
        want: &'static str,
    },
    /// Ahead of the reader's clock.
    #[error(
        "`at` is {}, more than a day ahead of this machine's clock ({})", stamp::write(*.at), stamp::write(*.now)
    )]
    Future {
        /// The line's stamp.
        at: Timestamp,
        /// The clock.
        now: Timestamp,
    },
}

/// At which line a journal stops, and why.
#[derive(Debug, thiserror::Error)]
#[error("line {number}: {what}")]
pub struct LineFault {
    /// The line, from 1.
    number: u64,
    what: String,
}

impl LineFault {
    /// A journal that stops at that line.
    pub(crate) fn new(number: u64, what: impl Display) -> Self {
        Self { number, what: what.to_string() }
    }
}

#[expect(clippy::needless_pass_by_value, reason = "numbers and texts alike, built where they are named")]
pub(super) fn wrong(key: &'static str, found: impl ToString, want: &'static str) -> Fault {
    Fault::Value { key, found: found.to_string(), want }
}
