//! What the whole record says of each failure mode.

use super::Learning;
use super::runs::{Run, runs_as};
use crate::entry::Mode;
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::{FailureMode, Learned, Learner, Told, ToolRun};

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

/// Studies the whole record anew.
///
/// # Errors
/// If the record can't be read.
pub(super) fn study(reader: &Reader, materials: &Materials, learning: Learning) -> Result<Study, StoreError> {
    let runs = runs_as(reader, materials, learning)?;
    let inputs: Vec<ToolRun> = runs.iter().map(|run| run.run).collect();
    let lesson = |mode: Mode| {
        let happened: Vec<Option<bool>> = runs.iter().map(|run| run.happened(mode)).collect();
        let learned = learner(&runs, &inputs, mode)?.learned();
        Some(Lesson { mode, happened, learned })
    };
    let lessons = Mode::ALL.iter().copied().filter_map(lesson).collect();
    Ok(Study { runs, lessons })
}

/// What the record says of a mode; nothing of what is no failure.
pub(super) fn learner(runs: &[Run], inputs: &[ToolRun], mode: Mode) -> Option<Learner> {
    failure_mode(mode).map(|failure| Learner::of(failure, inputs, &told(runs, mode)))
}

const fn failure_mode(mode: Mode) -> Option<FailureMode> {
    match mode {
        Mode::Clean => None,
        Mode::Jam => Some(FailureMode::Jam),
        Mode::Stringing => Some(FailureMode::Stringing),
        Mode::Liner => Some(FailureMode::Liner),
        Mode::Blob => Some(FailureMode::Blob),
        Mode::UnderExtrusion => Some(FailureMode::UnderExtrusion),
        Mode::Scrape => Some(FailureMode::Scrape),
        Mode::Misalignment => Some(FailureMode::Misalignment),
        Mode::Adhesion => Some(FailureMode::Adhesion),
        Mode::Other => Some(FailureMode::Other),
    }
}

/// What a mode is noted as by mistake, or noted for it: common practice, no source.
const fn mixed_up_with(mode: Mode) -> Option<Mode> {
    match mode {
        Mode::Jam => Some(Mode::UnderExtrusion),
        Mode::UnderExtrusion => Some(Mode::Jam),
        Mode::Stringing => Some(Mode::Blob),
        Mode::Blob => Some(Mode::Stringing),
        Mode::Clean | Mode::Liner | Mode::Scrape | Mode::Misalignment | Mode::Adhesion | Mode::Other => None,
    }
}

/// What people said of a mode, in the order in which forecasts may know it.
fn told(runs: &[Run], mode: Mode) -> Vec<Told> {
    let mut told = Vec::new();
    for (at, run) in runs.iter().enumerate() {
        let others: Vec<Option<bool>> = match mixed_up_with(mode) {
            Some(other) => run.tellings(other).map(|(_, happened)| happened).collect(),
            None => Vec::new(),
        };
        for (nth, (from, happened)) in run.tellings(mode).enumerate() {
            let is_doubtful = happened == Some(false) && others.get(nth) == Some(&Some(true));
            // Recorded before a print began, not at the instant.
            let next = runs.partition_point(|later| later.started <= from);
            let before = runs.get(next).map_or(usize::MAX, |later| later.run.print);
            told.push(Told { run: at, before: before.max(run.run.print + 1), happened, is_doubtful });
        }
    }
    told.sort_by_key(|word| word.before);
    told
}
