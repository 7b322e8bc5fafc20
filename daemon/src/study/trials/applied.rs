//! What was really set in a print of a trial, and how that is known. Owns which of the record's words counts: set points
//! that were measured, then the job file, then what was typed in.

use crate::change;
use crate::entry::{HotEnd, Part, PartEvent, Settings};
use crate::store::{Reader, StoreError, TrialRow};
use crate::study::runs::Run;
use crate::study::settings::waiting_set_point;
use crate::study::typed_at;
use dwell_analysis::advice::{Change, PartKind, Step};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{Applied, KnownBy, WasSet};

/// A part may have been changed so long before somebody took the advice up.
const CHANGED_BEFORE: Seconds = Seconds::minutes(24.0 * 60.0);

/// When the part that a trial is of was fitted.
pub(super) struct PartsTold(Vec<Timestamp>);

impl PartsTold {
    pub(super) fn of(reader: &Reader, trial: &TrialRow) -> Result<Self, StoreError> {
        let kind = match trial.change {
            Change::Replace(PartKind::Liner) => Part::Liner,
            Change::Replace(PartKind::Nozzle) => Part::Nozzle,
            Change::AllMetal => Part::HeatBreak,
            _ => return Ok(Self(Vec::new())),
        };
        let printer = reader.printers()?.into_iter().find(|row| row.name == trial.printer);
        // Tools that share a hot end share its nozzle.
        let is_shared = kind == Part::Nozzle && printer.is_some_and(|row| row.hot_end == HotEnd::Shared);
        let since = trial.adopted - CHANGED_BEFORE;
        let rows = reader.parts(Some(&trial.printer))?.into_iter().map(|row| row.change).filter(|change| {
            let is_of_it = change.part == kind || change.part == Part::HotEnd;
            change.event == PartEvent::Fitted
                && is_of_it
                && (is_shared || change.tool == trial.tool)
                && change.at > since
        });
        Ok(Self(rows.map(|change| change.at).collect()))
    }
}

/// What a print had.
pub(super) fn applied(reader: &Reader, trial: &TrialRow, parts: &PartsTold, run: &Run) -> Result<Applied, StoreError> {
    match trial.change {
        Change::Replace(_) | Change::AllMetal => {
            let is_fitted = parts.0.iter().any(|at| *at <= run.started);
            let set = if is_fitted { WasSet::Changed } else { WasSet::AsBefore };
            Ok(Applied { set, value: None, by: KnownBy::PartsTold })
        }
        // Nothing tells of a cleaning.
        Change::Clean => Ok(Applied { set: WasSet::NotKnown, value: None, by: KnownBy::NotKnown }),
        Change::Standby(step) => match waiting_set_point(reader, &run.printer, run.tool, run.print)? {
            Some(to) => Ok(beside(trial, Change::Standby(Step { from: step.from, to }), KnownBy::SetPoints)),
            None => told(reader, trial, run),
        },
        _ => told(reader, trial, run),
    }
}

/// By its job file, else by what was typed in.
fn told(reader: &Reader, trial: &TrialRow, run: &Run) -> Result<Applied, StoreError> {
    let file = reader.job_file(run.print)?.filter(|row| row.dropped.is_none());
    let asked =
        file.as_ref().and_then(|row| row.file.settings(run.tool)).and_then(|asked| set_to(&trial.change, asked));
    if let Some(asked) = asked {
        return Ok(beside(trial, asked, KnownBy::JobFile));
    }
    let typed = typed_at(reader, &run.printer, run.started, run.tool.idx() + 1)?.pop().unwrap_or_default();
    let typed = set_to(&trial.change, &typed).or_else(|| material_of(&trial.change, run));
    Ok(match typed {
        Some(typed) => beside(trial, typed, KnownBy::TypedIn),
        None => Applied { set: WasSet::NotKnown, value: None, by: KnownBy::NotKnown },
    })
}

fn material_of(change: &Change, run: &Run) -> Option<Change> {
    match change {
        Change::Material(step) => Some(Change::Material(Step { from: step.from, to: run.run.features.material })),
        _ => None,
    }
}

/// The same setting, as it was set.
fn set_to(change: &Change, settings: &Settings) -> Option<Change> {
    Some(match *change {
        Change::Standby(Step { from, .. }) => Change::Standby(Step { from, to: settings.standby? }),
        Change::Retract(Step { from, .. }) => Change::Retract(Step { from, to: settings.retract? }),
        Change::RetractSpeed(Step { from, .. }) => Change::RetractSpeed(Step { from, to: settings.retract_mm_s? }),
        Change::Prime(Step { from, .. }) => Change::Prime(Step { from, to: settings.prime? }),
        Change::OozeShield(Step { from, .. }) => Change::OozeShield(Step { from, to: settings.ooze_shield? }),
        Change::PrintTemperature(Step { from, .. }) => Change::PrintTemperature(Step { from, to: settings.print? }),
        Change::Dried(Step { from, .. }) => Change::Dried(Step { from, to: settings.dried? }),
        // Its family, as a run has it.
        Change::Material(_) | Change::Replace(_) | Change::Clean | Change::AllMetal => return None,
    })
}

/// Which of the two a value is.
fn beside(trial: &TrialRow, value: Change, by: KnownBy) -> Applied {
    let before = change::taken_back(&trial.change);
    let set = if change::is_alike(&trial.change, &value) {
        WasSet::Changed
    } else if before.is_none_or(|before| change::is_alike(&before, &value)) {
        // What was in force before is not known: whatever it is, it is not the change.
        WasSet::AsBefore
    } else {
        WasSet::Neither
    };
    Applied { set, value: Some(value), by }
}
