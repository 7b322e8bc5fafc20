//! What a print of a trial would have come to without the change, by what was known when it was adopted. Owns what is set
//! back; how a run goes under other settings is `analysis`'s, and so is the forecast.

use crate::change::taken_back;
use crate::store::{PrinterRow, Reader, StoreError, TrialRow};
use crate::study::heaters::{heater_fits, placed_heater};
use crate::study::learned::learner;
use crate::study::runs::{Run, courses};
use dwell_analysis::advice::{Ages, Change, Course, Held, LinerKnown, PartKind, Situation, Times, under};
use dwell_analysis::estimate::{Confidence, Estimate, rate};
use dwell_analysis::polymer::{Material, Materials};
use dwell_analysis::risk::{Features, Learner, ToolRun};
use dwell_analysis::thermal::{AMBIENT, Heater, HeaterFit};
use dwell_analysis::units::Probability;
use dwell_dashboards::view::{Applied, WasSet};
use std::collections::HashMap;

/// What was known before a trial.
pub(super) struct Without<'t> {
    trial: &'t TrialRow,
    materials: &'t Materials,
    /// One a mode that the trial is judged by.
    learners: Vec<Learner>,
    /// The tool's newest run before it.
    newest: Option<Features>,
    /// Its prints with their single waits, by their numbers.
    courses: HashMap<i64, Course>,
    fit: Option<HeaterFit>,
}

impl<'t> Without<'t> {
    /// Learns from the runs that had begun, and the words that had been said, when the trial was adopted. `own` are the
    /// trial's, oldest first.
    pub(super) fn of(
        reader: &Reader,
        materials: &'t Materials,
        trial: &'t TrialRow,
        runs: &[Run],
        own: &[&Run],
    ) -> Result<Self, StoreError> {
        let known = runs.iter().filter(|run| run.started <= trial.adopted);
        let known: Vec<Run> = known.map(|run| run.known_by(trial.adopted)).collect();
        let inputs: Vec<ToolRun> = known.iter().map(|run| run.run).collect();
        let learners = trial.modes.iter().filter_map(|mode| learner(&known, &inputs, *mode)).collect();
        let newest = known.iter().rfind(|run| run.printer == trial.printer && run.tool == trial.tool);
        let newest = newest.map(|run| run.run.features);
        let printer = reader.printers()?.into_iter().find(|row| row.name == trial.printer);
        let courses = printer.map_or_else(|| Ok(HashMap::new()), |row| waits(reader, materials, trial, &row, own))?;
        let fit = match trial.change {
            // The others leave waits as they were.
            Change::Standby(_) | Change::PrintTemperature(_) | Change::Material(_) => {
                heater_fits(reader, &trial.printer)?.into_iter().nth(trial.tool.idx()).and_then(Result::ok)
            }
            _ => None,
        };
        Ok(Self { trial, materials, learners, newest, courses, fit })
    }

    /// The chance that any of the modes happens, with a 90 % interval that is at least as wide as it must be; `None`
    /// where nothing can be forecast of any of them. Of one that is too rare to be forecast what it came to so far
    /// counts, and nothing of one that never happened: the others still go by the print's own course.
    pub(super) fn chance(&self, run: &Run, applied: &Applied) -> Option<Estimate> {
        let features = match applied.set {
            WasSet::AsBefore => run.run.features,
            WasSet::Changed | WasSet::Neither | WasSet::NotKnown => self.set_back(run, applied),
        };
        let made: Vec<Option<Estimate>> = self.learners.iter().map(|known| known.forecast(&features).ok()).collect();
        if made.iter().all(Option::is_none) {
            return None;
        }
        let each = made.into_iter().zip(&self.learners).filter_map(|(made, known)| made.or_else(|| so_far(known)));
        let each: Vec<Estimate> = each.collect();
        let any = |pick: fn(&Estimate) -> f64| 1.0 - each.iter().map(|of| 1.0 - pick(of)).product::<f64>();
        let n = each.iter().map(|of| of.n).min().unwrap_or(0);
        Some(Estimate { value: any(|of| of.value), low: any(|of| of.low), high: any(|of| of.high), n })
    }

    /// The run as it would have been.
    fn set_back(&self, run: &Run, applied: &Applied) -> Features {
        let features = run.run.features;
        let back = taken_back(&self.trial.change).zip(self.situation());
        match (self.trial.change, back, self.courses.get(&run.print)) {
            (Change::Replace(part), _, _) => self.worn(part, &features),
            (Change::Clean | Change::AllMetal, _, _) => features,
            (_, Some((back, situation)), Some(course)) => {
                // What was measured counts over what anybody told.
                let features = match applied.value {
                    Some(Change::Standby(step)) => Features { standby: Some(step.to), ..course.features },
                    _ => course.features,
                };
                under(&back, &Course { features, waits: course.waits.clone() }, &situation)
            }
            (change, _, _) => unknown(&change, &features),
        }
    }

    /// What the tool is like; all else stays as it was in each run.
    fn situation(&self) -> Option<Situation<'_>> {
        let material = match self.trial.change {
            Change::Material(step) => step.from.map(Material::name),
            _ => None,
        };
        let fit = self.fit.as_ref();
        Some(Situation {
            facts: self.materials.of(material.or(self.trial.material.as_deref())),
            held: Held::default(),
            liner: LinerKnown::Assumed,
            is_shared: false,
            drive: None,
            times: Times {
                heater: fit.map_or(Heater::HOT_END, placed_heater),
                surroundings: fit.map_or(AMBIENT, |fit| fit.surroundings(fit.usual)),
                fit,
            },
            courses: &[],
            tried: &[],
            ages: Ages::default(),
            liner_outlook: None,
            accepted: Probability::new(0.0)?,
            neighbour: None,
            lessons: &[],
        })
    }

    /// As old as the part was when the trial began, and what it went through since.
    fn worn(&self, part: PartKind, run: &Features) -> Features {
        let mut run = *run;
        let Some(before) = &self.newest else { return run };
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
        run
    }
}

/// How often a mode happened, whatever the runs were like; `None` if it never did.
fn so_far(known: &Learner) -> Option<Estimate> {
    let (n, events) = known.known();
    if events == 0 { None } else { rate(events, n, Confidence::Percent90).ok() }
}

/// The trial's prints with their single waits.
fn waits(
    reader: &Reader,
    materials: &Materials,
    trial: &TrialRow,
    printer: &PrinterRow,
    own: &[&Run],
) -> Result<HashMap<i64, Course>, StoreError> {
    let mut prints = reader.ended_prints(&trial.printer)?;
    prints.retain(|print| own.iter().any(|run| run.print == print.id));
    let (found, _) = courses(reader, printer, trial.tool, &prints, materials)?;
    // The tool was hot in each of them.
    Ok(prints.iter().map(|print| print.id).zip(found).collect())
}

/// A run of which it is not known what would have been set.
fn unknown(change: &Change, run: &Features) -> Features {
    let run = *run;
    match change {
        // What it took while it waited is the change's doing.
        Change::Standby(_) => Features {
            dose_max: None,
            dose_sum: None,
            idle_mean: None,
            idle_max: None,
            restarts: None,
            stagnant: None,
            restart_deficit: None,
            ooze: None,
            standby: None,
            ..run
        },
        Change::Retract(_) => Features { retract: None, ..run },
        Change::RetractSpeed(_) => Features { retract_mm_s: None, ..run },
        Change::Prime(_) => Features { prime: None, ..run },
        Change::OozeShield(_) => Features { ooze_shield: None, ..run },
        Change::PrintTemperature(_) => Features { print_temperature: None, ..run },
        Change::Dried(_) => Features { dried: None, ..run },
        Change::Material(_) | Change::Replace(_) | Change::Clean | Change::AllMetal => run,
    }
}
