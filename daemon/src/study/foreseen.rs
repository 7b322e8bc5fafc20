//! What was expected of a print before it began, beside what happened: the forward-only forecasts of the study, with
//! the rate until then. Forecasts nothing itself.

use super::learned::Study;
use super::outcomes::happened;
use super::runs::Run;
use crate::store::OutcomeRow;
use dwell_analysis::risk::running_rate;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::{Foreseen, ForeseenRow};

/// What was expected of a print that began then and has ended; `held` are the words on it that stand now.
#[must_use]
pub fn foreseen(study: &Study, print: i64, started: Timestamp, held: &[OutcomeRow]) -> Foreseen {
    let places = study.runs_of(print, started);
    let runs: Vec<(usize, &Run)> = places.filter_map(|at| Some((at, study.runs.get(at)?))).collect();
    if runs.is_empty() {
        return Foreseen::NotAmong;
    }
    let tools: Vec<_> = runs.iter().map(|(_, run)| run.tool).collect();
    let mut rows = Vec::new();
    for lesson in &study.lessons {
        let (n, events) = lesson.known_before(started);
        for (at, run) in &runs {
            let Some(chance) = lesson.learned.predictions.get(*at).copied().flatten() else { continue };
            // Silence may count, but not what a word came to that was taken back since; a word that stands counts over
            // what was worked out before it was said.
            let happened = match held {
                [] if study.silence_means_clean && !run.is_reported => lesson.happened.get(*at).copied().flatten(),
                [] => None,
                held => happened(held, lesson.mode, run.tool, &tools),
            };
            let (tool, mode, base) = (run.tool.idx(), lesson.mode.word(), running_rate(events, n));
            rows.push(ForeseenRow { tool, mode, chance, base, n, events, happened });
        }
    }
    rows.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    if rows.is_empty() { Foreseen::NothingKnown } else { Foreseen::Known(rows) }
}
