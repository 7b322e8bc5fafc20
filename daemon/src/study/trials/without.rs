//! What a print of a trial would have come to without the change, by what was known when it was adopted. Owns what is set
//! back; the forecast is the risk model's.

use crate::store::TrialRow;
use crate::study::learned::learner;
use crate::study::runs::Run;
use dwell_analysis::advice::{Change, PartKind};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::{Features, Learner, ToolRun};
use dwell_dashboards::view::{Applied, WasSet};

/// What was known before a trial.
pub(super) struct Without<'t> {
    trial: &'t TrialRow,
    /// One a mode that the trial is judged by.
    learners: Vec<Learner>,
    /// The tool's newest run before it.
    newest: Option<Features>,
}

impl<'t> Without<'t> {
    /// Learns from the runs that had begun, and the words that had been said, when the trial was adopted.
    pub(super) fn of(trial: &'t TrialRow, runs: &[Run]) -> Self {
        let known = runs.iter().filter(|run| run.started <= trial.adopted);
        let known: Vec<Run> = known.map(|run| run.known_by(trial.adopted)).collect();
        let inputs: Vec<ToolRun> = known.iter().map(|run| run.run).collect();
        let learners = trial.modes.iter().filter_map(|mode| learner(&known, &inputs, *mode)).collect();
        let own = known.iter().rfind(|run| run.printer == trial.printer && run.tool == trial.tool);
        Self { trial, learners, newest: own.map(|run| run.run.features) }
    }

    /// The chance that any of the modes happens, with a 90 % interval that is at least as wide as it must be; `None`
    /// where of one of them nothing can be forecast.
    pub(super) fn chance(&self, run: &Run, applied: &Applied) -> Option<Estimate> {
        let features = match applied.set {
            WasSet::AsBefore => run.run.features,
            WasSet::Changed | WasSet::Neither | WasSet::NotKnown => self.set_back(&run.run.features),
        };
        let each: Option<Vec<Estimate>> = self.learners.iter().map(|known| known.forecast(&features).ok()).collect();
        let each = each.filter(|each| !each.is_empty())?;
        let any = |pick: fn(&Estimate) -> f64| 1.0 - each.iter().map(|of| 1.0 - pick(of)).product::<f64>();
        let n = each.iter().map(|of| of.n).min().unwrap_or(0);
        Some(Estimate { value: any(|of| of.value), low: any(|of| of.low), high: any(|of| of.high), n })
    }

    /// The run as it would have been.
    fn set_back(&self, run: &Features) -> Features {
        let mut run = *run;
        match self.trial.change {
            Change::Standby(step) => {
                // What it took while it waited is the change's doing.
                run = Features {
                    dose_max: None,
                    dose_sum: None,
                    idle_mean: None,
                    idle_max: None,
                    restarts: None,
                    stagnant: None,
                    restart_deficit: None,
                    ooze: None,
                    standby: step.from,
                    ..run
                };
            }
            Change::Retract(step) => run.retract = step.from,
            Change::RetractSpeed(step) => run.retract_mm_s = step.from,
            Change::Prime(step) => run.prime = step.from,
            Change::OozeShield(step) => run.ooze_shield = step.from,
            Change::PrintTemperature(step) => run.print_temperature = step.from,
            Change::Dried(step) => run.dried = step.from,
            Change::Material(step) => run.material = step.from.unwrap_or(run.material),
            Change::Replace(part) => self.worn(part, &mut run),
            Change::Clean | Change::AllMetal => {}
        }
        run
    }

    /// As old as the part was when the trial began, and what it went through since.
    fn worn(&self, part: PartKind, run: &mut Features) {
        let Some(before) = &self.newest else { return };
        // One that is as old as before was not replaced yet.
        let on_top = |before: Option<f64>, now: Option<f64>| {
            let (before, now) = (before?, now?);
            Some(if now < before { before + now } else { now })
        };
        match part {
            PartKind::Liner => {
                run.liner_hours = on_top(before.liner_hours, run.liner_hours);
                run.liner_wear = on_top(before.liner_wear, run.liner_wear);
                run.liner_cycles = on_top(before.liner_cycles, run.liner_cycles);
            }
            PartKind::Nozzle => run.nozzle_hours = on_top(before.nozzle_hours, run.nozzle_hours),
        }
    }
}
