//! What the whole record says of each failure mode.

use super::runs::{Run, runs};
use crate::entry::Mode;
use crate::store::{Reader, StoreError};
use dwell_analysis::risk::{Learned, ToolRun, learn};

/// What was learned of one failure mode.
#[derive(Clone, Debug)]
pub struct Lesson {
    /// The mode.
    pub mode: Mode,
    /// What happened on each tool-run, in the study's order.
    pub happened: Vec<Option<bool>>,
    /// What the learner makes of it.
    pub learned: Learned,
}

/// The record's tool-runs and what was learned from them.
#[derive(Clone, Debug)]
pub struct Study {
    /// Oldest print first.
    pub runs: Vec<Run>,
    /// One a failure mode.
    pub lessons: Vec<Lesson>,
}

/// Studies the whole record.
///
/// # Errors
/// If the record can't be read.
pub fn study(reader: &Reader) -> Result<Study, StoreError> {
    let runs = runs(reader)?;
    let inputs: Vec<ToolRun> = runs.iter().map(|run| run.run).collect();
    let lesson = |mode: Mode| {
        let happened: Vec<Option<bool>> = runs.iter().map(|run| run.happened(mode)).collect();
        let learned = learn(&inputs, &happened);
        Lesson { mode, happened, learned }
    };
    let modes = Mode::ALL.iter().copied().filter(|mode| super::is_failure(*mode));
    let lessons = modes.map(lesson).collect();
    Ok(Study { runs, lessons })
}
