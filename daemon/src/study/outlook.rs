//! The risk of each failure mode for a print that has not happened. Owns what the record adds to what is known of the
//! run; the forecast is `analysis`'s.

use super::is_failure;
use super::learned::{study, told};
use super::runs::standing;
use crate::entry::{Mode, PrinterName, ToolNumber};
use crate::store::{Reader, StoreError};
use dwell_analysis::estimate::{Estimate, Refusal};
use dwell_analysis::risk::{Features, State, ToolRun, forecast};

/// The risk of one failure mode, and how much is known of what goes with it.
pub type Risk = (Mode, State, Result<Estimate, Refusal>);

/// The risk of each failure mode for a tool's next run that is like `features`, with its 90 % interval and how much is
/// known of what goes with the mode. What no job file tells (the liner's hours, whether the filament was dried and an
/// ooze shield is printed) is taken from the record where `features` leave it open.
///
/// # Errors
/// If the record can't be read; a mode of which too little is known is a refusal of its own.
pub fn risks(
    reader: &Reader,
    printer: &PrinterName,
    tool: ToolNumber,
    features: &Features,
) -> Result<Vec<Risk>, StoreError> {
    let study = study(reader)?;
    let runs: Vec<ToolRun> = study.runs.iter().map(|run| run.run).collect();
    let stands = standing(reader, printer, tool)?;
    let next = Features {
        liner_hours: features.liner_hours.or(stands.liner_hours),
        dried: features.dried.or(stands.dried),
        ooze_shield: features.ooze_shield.or(stands.ooze_shield),
        ..*features
    };
    let risk = |lesson: &super::Lesson| {
        let found = forecast(&runs, &told(&study.runs, lesson.mode), &next);
        (lesson.mode, lesson.learned.state, found)
    };
    Ok(study.lessons.iter().filter(|lesson| is_failure(lesson.mode)).map(risk).collect())
}
