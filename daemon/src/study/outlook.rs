//! The risk of each failure mode for a print that has not happened. Owns what the record adds to what is known of the
//! run; the forecast is `analysis`'s.

use super::learned::learner;
use super::runs::{runs, standing};
use crate::entry::{Mode, PrinterName, ToolNumber};
use crate::preflight::RiskKnown;
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::{Features, ToolRun};

/// The risk of each failure mode for the next run of each of these tools that is like its features, by mode, then by
/// tool, with its 90 % interval and how much is known of what goes with the mode. What no job file tells (the liner's
/// hours, whether the filament was dried and an ooze shield is printed) is taken from the record where the features
/// leave it open.
///
/// # Errors
/// If the record can't be read; a mode of which too little is known is a refusal of its own.
pub fn risks(
    reader: &Reader,
    materials: &Materials,
    printer: &PrinterName,
    ahead: &[(ToolNumber, Features)],
) -> Result<Vec<RiskKnown>, StoreError> {
    let record = runs(reader, materials)?;
    let inputs: Vec<ToolRun> = record.iter().map(|run| run.run).collect();
    let stands = standing(reader, materials, printer)?;
    let next = |(tool, features): &(ToolNumber, Features)| {
        let stands = stands(*tool);
        let next = Features {
            liner_hours: features.liner_hours.or(stands.liner_hours),
            dried: features.dried.or(stands.dried),
            ooze_shield: features.ooze_shield.or(stands.ooze_shield),
            ..*features
        };
        (*tool, next)
    };
    let (tools, next): (Vec<ToolNumber>, Vec<Features>) = ahead.iter().map(next).unzip();
    let mut risks = Vec::with_capacity(Mode::ALL.len() * next.len());
    for mode in Mode::ALL.iter().copied() {
        let Some(learner) = learner(&record, &inputs, mode) else { continue };
        let forecasts: Vec<_> = next.iter().map(|next| learner.forecast(next)).collect();
        let known = learner.learned();
        for (tool, probability) in tools.iter().zip(forecasts) {
            let (state, n, events) = (known.state, known.n, known.events);
            risks.push(RiskKnown { tool: *tool, mode, state, n, events, probability });
        }
    }
    Ok(risks)
}
