//! The risk of each failure mode for a print that has not happened. Owns what the record adds to what is known of the
//! run; the forecast is `analysis`'s.

use super::learned::{study, told};
use super::runs::standing;
use crate::entry::{PrinterName, ToolNumber};
use crate::preflight::RiskKnown;
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::{Features, ToolRun, forecasts};

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
    let study = study(reader, materials)?;
    let runs: Vec<ToolRun> = study.runs.iter().map(|run| run.run).collect();
    let stands = standing(reader, printer)?;
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
    let mut risks = Vec::with_capacity(study.lessons.len() * next.len());
    for lesson in &study.lessons {
        let told = told(&study.runs, lesson.mode);
        for (tool, probability) in tools.iter().zip(forecasts(&runs, &told, &next)) {
            risks.push(RiskKnown {
                tool: *tool,
                mode: lesson.mode,
                state: lesson.learned.state,
                n: lesson.learned.n,
                events: lesson.learned.events,
                probability,
            });
        }
    }
    Ok(risks)
}
