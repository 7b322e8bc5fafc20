//! What the pages of *Causes* show.

use super::{Frame, LearnView};
use dwell_analysis::time::Timestamp;

/// What was worked out of the record, on a page.
#[derive(Debug)]
pub struct CausesView<'a> {
    /// What every page needs.
    pub frame: Frame,
    /// `None` until it was worked out for the first time.
    pub told: Option<CausesTold<'a>>,
}

/// What was worked out, and how old that is.
#[derive(Debug)]
pub struct CausesTold<'a> {
    /// What the record says of each failure mode.
    pub learned: &'a LearnView,
    /// When that was worked out.
    pub made: Timestamp,
    /// Words on prints that were said since and are not in it.
    pub words_since: u32,
    /// Whether anything was recorded since that would be learned from.
    pub is_behind: bool,
}
