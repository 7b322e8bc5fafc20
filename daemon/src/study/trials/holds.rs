//! Whether a trial's tool holds what the trial is of. Owns which materials count.

use super::Record;
use crate::store::{Reader, StoreError, TrialRow};
use dwell_analysis::advice::Change;
use dwell_analysis::polymer::{Material, Materials};
use dwell_dashboards::view::HeldView;

/// The materials that a print of a trial may have; `None` is any.
pub(super) fn kinds(materials: &Materials, trial: &TrialRow) -> Option<Vec<Material>> {
    let name = trial.material.as_deref()?;
    let other = match trial.change {
        Change::Material(step) => Some(step.to),
        _ => None,
    };
    Some(std::iter::once(materials.of(Some(name)).kind).chain(other).collect())
}

/// What the tool holds since when by what was told, where that is none of them and the trial is open.
pub(super) fn told_other(
    reader: &Reader,
    materials: &Materials,
    trial: &TrialRow,
) -> Result<Option<HeldView>, StoreError> {
    let Some(kinds) = kinds(materials, trial).filter(|_| trial.ended.is_none()) else { return Ok(None) };
    let mut held: Option<HeldView> = None;
    for row in reader.settings_changes(&trial.printer)? {
        let Some(name) = row.change.settings.material.filter(|_| row.change.tool == trial.tool) else { continue };
        if kinds.contains(&materials.of(Some(&name)).kind) {
            held = None;
        } else if held.as_ref().is_none_or(|held| !held.material.eq_ignore_ascii_case(&name)) {
            held = Some(HeldView { material: name.to_string(), since: row.change.at });
        }
    }
    Ok(held)
}

impl Record<'_> {
    /// The same. A print since then that had one of them all the same, by its job file, says more.
    pub(super) fn other_material(&self, trial: &TrialRow) -> Result<Option<HeldView>, StoreError> {
        let held = told_other(self.reader, self.materials, trial)?;
        let counts = |since| self.counting(trial).any(|run| run.started > since);
        Ok(held.filter(|held| !counts(held.since)))
    }
}
