//! The risk of each failure mode for a print that has not happened. Owns what the record adds to what is known of the
//! run; the forecast is `analysis`'s.

use super::kept::last;
use super::learned::learner;
use super::runs::{Standing, runs_as, standing};
use crate::entry::{Mode, PrinterName, ToolNumber};
use crate::preflight::RiskKnown;
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::{Materials, Melt};
use dwell_analysis::risk::{Features, ToolRun};
use dwell_analysis::units::{CubicMm, DoseMinutes};

/// A tool's run to come, as its job file has it.
#[derive(Clone, Copy, Debug)]
pub struct Ahead {
    /// The tool.
    pub tool: ToolNumber,
    /// What the run will be like; of the stagnant melt what this run alone does to it.
    pub features: Features,
    /// What it extrudes, which flushes some of the melt that was there before.
    pub extruded: CubicMm,
}

impl Ahead {
    /// The whole run, by a tool that stands so.
    fn with(&self, stands: &Standing) -> Features {
        let features = self.features;
        // Doses add up: what was there before fades as if nothing came on top.
        let stagnant = features.stagnant.zip(stands.stagnant).map(|(added, held)| {
            let mut melt = Melt { mixed: DoseMinutes::ZERO, stagnant: held };
            melt.extrude(self.extruded);
            added + melt.stagnant
        });
        Features {
            stagnant,
            liner_hours: features.liner_hours.or(stands.liner_hours),
            liner_wear: features.liner_wear.or(stands.liner_wear),
            liner_cycles: features.liner_cycles.or(stands.liner_cycles),
            nozzle_hours: features.nozzle_hours.or(stands.nozzle_hours),
            dried: features.dried.or(stands.dried),
            ooze_shield: features.ooze_shield.or(stands.ooze_shield),
            ..features
        }
    }
}

/// The risk of each failure mode for each of these runs, by mode, then by tool, with its 90 % interval and how much is
/// known of what goes with the mode. What no job file tells (the age of liner and nozzle, what the melt took before,
/// whether the filament was dried and an ooze shield is printed) is taken from the record. Silence is read as it was when
/// was learned last, so that a preflight and the pages speak of the same record.
///
/// # Errors
/// If the record can't be read; a mode of which too little is known is a refusal of its own.
pub fn risks(
    reader: &Reader,
    materials: &Materials,
    printer: &PrinterName,
    ahead: &[Ahead],
) -> Result<Vec<RiskKnown>, StoreError> {
    let record = runs_as(reader, materials, last(reader)?)?;
    let inputs: Vec<ToolRun> = record.iter().map(|run| run.run).collect();
    let stands = standing(reader, materials, printer)?;
    let next: Vec<Features> = ahead.iter().map(|run| run.with(&stands(run.tool))).collect();
    let mut risks = Vec::with_capacity(Mode::ALL.len() * next.len());
    for mode in Mode::ALL.iter().copied() {
        let Some(learner) = learner(&record, &inputs, mode) else { continue };
        let forecasts: Vec<_> = next.iter().map(|next| learner.forecast(next)).collect();
        let known = learner.learned();
        for (run, probability) in ahead.iter().zip(forecasts) {
            let (state, n, events) = (known.state, known.n, known.events);
            risks.push(RiskKnown { tool: run.tool, mode, state, n, events, probability });
        }
    }
    Ok(risks)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use dwell_analysis::polymer::{Material, STAGNANT_VOLUME};

    #[test]
    fn a_run_to_come_has_the_age_of_the_parts_and_the_melt_that_it_begins_with() {
        let stands = Standing {
            liner_hours: Some(90.0),
            liner_wear: Some(120.0),
            liner_cycles: Some(40.0),
            nozzle_hours: Some(300.0),
            stagnant: Some(DoseMinutes::new(10.0)),
            dried: Some(true),
            ooze_shield: Some(false),
        };
        let told = Features { stagnant: Some(DoseMinutes::new(2.0)), ..Features::of(Material::Petg) };
        let ahead = Ahead { tool: ToolNumber::new(0).unwrap(), features: told, extruded: STAGNANT_VOLUME };
        let expected = Features {
            // A hold-up's volume leaves an eth of what it held.
            stagnant: Some(DoseMinutes::new(2.0 + 10.0 * (-1.0_f64).exp())),
            liner_hours: Some(90.0),
            liner_wear: Some(120.0),
            liner_cycles: Some(40.0),
            nozzle_hours: Some(300.0),
            dried: Some(true),
            ooze_shield: Some(false),
            ..told
        };
        assert_eq!(ahead.with(&stands), expected);
        assert_eq!(ahead.with(&Standing::default()), Features { stagnant: None, ..told });
    }
}
