//! What the whole record says of each failure mode.

use super::runs::{Run, runs};
use crate::entry::Mode;
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::{Learned, Told, ToolRun, learn_told};

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
pub fn study(reader: &Reader, materials: &Materials) -> Result<Study, StoreError> {
    let runs = runs(reader, materials)?;
    let inputs: Vec<ToolRun> = runs.iter().map(|run| run.run).collect();
    let lesson = |mode: Mode| {
        let happened: Vec<Option<bool>> = runs.iter().map(|run| run.happened(mode)).collect();
        let learned = learn_told(&inputs, &told(&runs, mode));
        Lesson { mode, happened, learned }
    };
    let modes = Mode::ALL.iter().copied().filter(|mode| super::is_failure(*mode));
    let lessons = modes.map(lesson).collect();
    Ok(Study { runs, lessons })
}

/// What people said of a mode, in the order in which forecasts may know it.
pub(super) fn told(runs: &[Run], mode: Mode) -> Vec<Told> {
    let mut told = Vec::new();
    for (at, run) in runs.iter().enumerate() {
        for (from, happened) in run.tellings(mode) {
            // Recorded before a print began, not at the instant.
            let next = runs.partition_point(|later| later.started <= from);
            let before = runs.get(next).map_or(usize::MAX, |later| later.run.print);
            told.push(Told { run: at, before: before.max(run.run.print + 1), happened });
        }
    }
    told.sort_by_key(|word| word.before);
    told
}
