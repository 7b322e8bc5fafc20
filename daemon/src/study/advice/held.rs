//! The settings that a tool has now. Owns which word on a setting is the newest; what was in force in a print is `runs`'.

use crate::entry::{PrinterName, Settings, ToolNumber};
use crate::store::{EndedPrint, HotDoing, Reader, StoreError};
use crate::study::settings::waiting_set_point;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};

/// A set point that is no warmer is a heater that is off.
const OFF: Celsius = Celsius::new(25.0);

/// So many of the newest prints with a wait have to tell the same set point for it to count over what was typed in.
const PRINTS_AGREE: usize = 2;
/// Set points that differ by more are not the same one, K.
const SAME: f64 = 5.0;
/// A visit that is shorter tells of warming up.
const VISIT_LEAST: Seconds = Seconds::new(30.0);

/// What was typed in by `until`; over it what its newest job file asks for; over that what was typed in since. Over a standby
/// temperature that the newest waits contradict, and where none was told, their set point counts; where no print
/// temperature was told, the one that was measured at work. `prints` are the printer's newest, oldest first; none of them
/// begins after `until`.
pub(super) fn held(
    reader: &Reader,
    printer: &PrinterName,
    tool: ToolNumber,
    prints: &[EndedPrint],
    until: Timestamp,
) -> Result<Settings, StoreError> {
    let changes: Vec<_> = reader.settings_changes(printer)?.into_iter().map(|row| row.change).collect();
    let own = || changes.iter().filter(|change| change.tool == tool && change.at <= until);
    let (mut material, mut loaded_at) = (None, None);
    for change in own().filter(|change| change.settings.material.is_some()) {
        if material != change.settings.material {
            (material, loaded_at) = (change.settings.material.clone(), Some(change.at));
        }
    }
    // A file that was printed with another material asks for that one's settings.
    let with_it = prints.iter().rev().take_while(|print| loaded_at.is_none_or(|at| print.started >= at));
    let asked = with_it.into_iter().find_map(|print| {
        let of_tool = print.asked.iter().find(|(of, _)| *of == tool);
        of_tool.map(|(_, asked)| (print.started, asked))
    });
    let asked_at = asked.map_or(until, |(started, _)| started);
    let mut settings = Settings::default();
    own().filter(|change| change.at <= asked_at).for_each(|change| settings.update(&change.settings));
    if let Some((_, asked)) = asked {
        settings.update(asked);
    }
    own().filter(|change| change.at > asked_at).for_each(|change| settings.update(&change.settings));
    let typed = own().filter(|change| change.settings.standby.is_some()).map(|change| change.at).max();
    let told = typed.max(asked.filter(|(_, asked)| asked.standby.is_some()).map(|(started, _)| started));
    // Only what ran since it was told can contradict it.
    let since = prints.partition_point(|print| told.is_some_and(|told| print.started < told));
    let measured = measured_standby(reader, printer, tool, prints.get(since..).unwrap_or_default())?;
    settings.standby = match (settings.standby, measured) {
        (None, _) if told.is_none() => measured_standby(reader, printer, tool, prints)?.map(|(at, _)| at),
        (Some(told), Some((at, n))) if n >= PRINTS_AGREE && (told - at).get().abs() > SAME => Some(at),
        (told, _) => told,
    };
    if settings.print.is_none() {
        settings.print = working_temperature(reader, printer, tool, prints)?;
    }
    Ok(settings)
}

/// The set point that was in force over most of the time that the tool waited in its newest print with a wait, and how many
/// of the newest told the same; `None` if that is off.
fn measured_standby(
    reader: &Reader,
    printer: &PrinterName,
    tool: ToolNumber,
    prints: &[EndedPrint],
) -> Result<Option<(Celsius, usize)>, StoreError> {
    let mut found: Option<(Celsius, usize)> = None;
    for print in prints.iter().rev() {
        let Some(target) = waiting_set_point(reader, printer, tool, print.id)? else { continue };
        found = match found {
            None => Some((target, 1)),
            Some((at, n)) if (at - target).get().abs() <= SAME => Some((at, n + 1)),
            Some(_) => break,
        };
        if found.is_some_and(|(_, n)| n >= PRINTS_AGREE) {
            break;
        }
    }
    Ok(found.filter(|(target, _)| *target > OFF))
}

/// The temperature of the tool at work in the newest of these prints in which it worked, to the degree.
fn working_temperature(
    reader: &Reader,
    printer: &PrinterName,
    tool: ToolNumber,
    prints: &[EndedPrint],
) -> Result<Option<Celsius>, StoreError> {
    let mut newest: Option<(i64, f64, f64)> = None;
    reader.hot_times(printer, tool, |hot| {
        let worked = hot.lasted.filter(|lasted| *lasted >= VISIT_LEAST && matches!(hot.doing, HotDoing::Work));
        let Some(((lasted, mean), print)) = worked.zip(hot.mean).zip(hot.print) else { return };
        let (weighted, seconds) = (mean.get() * lasted.get(), lasted.get());
        newest = match newest.filter(|(id, _, _)| *id == print) {
            Some((_, sum, all)) => Some((print, sum + weighted, all + seconds)),
            None if prints.iter().any(|known| known.id == print) => Some((print, weighted, seconds)),
            None => newest,
        };
    })?;
    Ok(newest.map(|(_, weighted, seconds)| Celsius::new((weighted / seconds).round())))
}
