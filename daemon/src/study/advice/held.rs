//! The settings that a tool has now. Owns which word on a setting is the newest; what was in force in a print is `runs`'.

use crate::entry::{PrinterName, Settings, ToolNumber};
use crate::store::{EndedPrint, Reader, StoreError};
use crate::study::settings::waiting_set_point;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;

/// A set point that is no warmer is a heater that is off.
const OFF: Celsius = Celsius::new(25.0);

/// What was typed in by `until`; over it what its newest job file asks for; over that what was typed in since. Where
/// neither tells a standby temperature, the set point of its newest waits. `prints` are the printer's newest, oldest first;
/// none of them begins after `until`.
pub(super) fn held(
    reader: &Reader,
    printer: &PrinterName,
    tool: ToolNumber,
    prints: &[EndedPrint],
    until: Timestamp,
) -> Result<Settings, StoreError> {
    let asked = prints.iter().rev().find_map(|print| {
        let of_tool = print.asked.iter().find(|(of, _)| *of == tool);
        of_tool.map(|(_, asked)| (print.started, asked))
    });
    let asked_at = asked.map_or(until, |(started, _)| started);
    let changes: Vec<_> = reader.settings_changes(printer)?.into_iter().map(|row| row.change).collect();
    let own = || changes.iter().filter(|change| change.tool == tool && change.at <= until);
    let mut settings = Settings::default();
    own().filter(|change| change.at <= asked_at).for_each(|change| settings.update(&change.settings));
    if let Some((_, asked)) = asked {
        settings.update(asked);
    }
    own().filter(|change| change.at > asked_at).for_each(|change| settings.update(&change.settings));
    if settings.standby.is_none() {
        settings.standby = measured_standby(reader, printer, tool, prints)?;
    }
    Ok(settings)
}

/// The set point that was in force over most of the time that the tool waited in its newest print with a wait; `None` if
/// that is off.
fn measured_standby(
    reader: &Reader,
    printer: &PrinterName,
    tool: ToolNumber,
    prints: &[EndedPrint],
) -> Result<Option<Celsius>, StoreError> {
    for print in prints.iter().rev() {
        if let Some(target) = waiting_set_point(reader, printer, tool, print.id)? {
            return Ok((target > OFF).then_some(target));
        }
    }
    Ok(None)
}
