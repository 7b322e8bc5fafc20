//! What was worked out of trials, brought up to what people said since: trials that have begun or ended, what the next
//! print is to have, what was declined. Owns that this takes a few reads of rows and never goes through the record.

use super::holds::told_other;
use super::{bare, open, over, page, shown};
use crate::store::{Reader, StoreError, TrialRow};
use dwell_analysis::polymer::Materials;
use dwell_dashboards::view::{ReviewView, TrialState, TrialView};

/// The same as it stands now. A trial that has begun since has no print yet: one that ended would have been worked out.
///
/// # Errors
/// If the record can't be read.
pub(in crate::study) fn brought_up_to_date(
    reader: &Reader,
    materials: &Materials,
    worked: &ReviewView,
) -> Result<ReviewView, StoreError> {
    let trials = reader.trials()?;
    let views = trials.iter().map(|trial| now(reader, materials, trial, worked)).collect::<Result<_, _>>()?;
    page(reader, &trials, views)
}

fn now(reader: &Reader, materials: &Materials, trial: &TrialRow, worked: &ReviewView) -> Result<TrialView, StoreError> {
    let is_ended = |view: &TrialView| matches!(view.state, TrialState::Ended { .. });
    // What was given up and taken up again within one reading has two trials of the same instant.
    let is_it = |view: &&TrialView| {
        view.id == trial.suggestion && view.adopted == trial.adopted && (trial.ended.is_some() || !is_ended(view))
    };
    let known = worked.trials.iter().find(is_it).cloned();
    if let Some(ended) = &trial.ended {
        let state = over(ended);
        let known = known.unwrap_or_else(|| bare(trial, state.clone()));
        return Ok(TrialView { state, figures: ended.figures.map(shown), held: None, ..known });
    }
    let more = known.as_ref().and_then(|view| match view.state {
        TrialState::Open { more, .. } => Some(more),
        TrialState::Ended { .. } => None,
    });
    let made = known.as_ref().map_or(0, |view| view.prints.len());
    let state = open(reader, trial, made, more.unwrap_or(trial.plan.prints))?;
    Ok(match known {
        Some(view) => TrialView { state, ..view },
        None => TrialView { held: told_other(reader, materials, trial)?, ..bare(trial, state) },
    })
}
