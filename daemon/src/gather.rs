//! Brings together what a preflight is made of: a file's outline, and what configuration and record know of the
//! printer. Owns which of them counts, and what is no job file; judges nothing.

use crate::config::Printer;
use crate::entry::{PrinterName, Settings, ToolNumber};
use crate::jobfile::{self, JobOutline, Machine, MachineTool};
use crate::preflight::{Habit, Known, ToolKnown, judge, view};
use crate::store::{Reader, StoreError};
use crate::study::runs;
use dwell_analysis::units::Millimetres;
use dwell_dashboards::view::PreflightView;
use std::io::{self, Read};
use std::path::Path;

/// Why a file is not judged.
#[derive(Debug, thiserror::Error)]
pub enum Unreadable {
    /// Its bytes don't come.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// Nothing in it is understood.
    #[error(
        "no job file: of {lines} lines none asks a printer for anything; G-code as text, or packed, would be right"
    )]
    NoCommand {
        /// How many lines it has.
        lines: u64,
    },
    /// Hardly anything in it is understood.
    #[error(
        "no job file: {faults} of {lines} lines can't be read, the first is line {first}, and no filament is laid; \
         G-code as text, or packed, would be right"
    )]
    Garbled {
        /// Lines that can't be read.
        faults: u64,
        /// Lines.
        lines: u64,
        /// The number of the first that can't.
        first: u64,
    },
}

/// Reads a job file to its end for a printer.
pub type OutlineOf = fn(&mut dyn Read, &Known) -> Result<JobOutline, Unreadable>;

/// Reads a job file to its end, packed or not, for a printer.
///
/// # Errors
/// If its bytes don't come.
pub fn outline_of(source: &mut dyn Read, known: &Known) -> Result<JobOutline, Unreadable> {
    Ok(jobfile::outline_of(source, machine(known))?)
}

/// The printer as far as a job's outline depends on it.
fn machine(known: &Known) -> Machine {
    let tool = |tool: &ToolKnown| MachineTool { material: tool.kind(), heater: tool.heater.heater };
    Machine {
        hot_end: known.hot_end.unwrap_or_default(),
        tools: known.tools.iter().map(tool).collect(),
        ..Machine::default()
    }
}

/// Reads a job file of that name and judges it.
///
/// # Errors
/// If it can't be read, or is no job file.
pub fn look(name: &str, source: &mut dyn Read, known: &Known, read: OutlineOf) -> Result<PreflightView, Unreadable> {
    let outline = read(source, known)?;
    must_be_a_job(&outline)?;
    Ok(view(name, &outline, known, &judge(&outline, known)))
}

/// A text of another kind has no command that is known; a picture has hardly a line that can be read.
fn must_be_a_job(outline: &JobOutline) -> Result<(), Unreadable> {
    let lines = outline.lines;
    let asks = !outline.tools.is_empty() || outline.ends.get() > 0.0 || outline.homings > 0 || outline.pauses > 0;
    if outline.begins.is_none() && !asks {
        return Err(Unreadable::NoCommand { lines });
    }
    let faults = || outline.unread.faults.iter().filter(|(fault, _, _)| !fault.is_harmless());
    let n_faults: u64 = faults().map(|(_, n, _)| n).sum();
    let first = faults().map(|(_, _, first)| *first).min();
    match first.filter(|_| outline.begins.is_none() && n_faults.saturating_mul(2) > lines) {
        Some(first) => Err(Unreadable::Garbled { faults: n_faults, lines, first }),
        None => Ok(()),
    }
}

/// A printer as its section of the configuration has it.
#[must_use]
pub fn configured(printer: &Printer) -> Known {
    Known {
        printer: Some(printer.name.clone()),
        hot_end: Some(printer.map.hot_end),
        n_tools: Some(printer.settings.len()),
        tools: printer.settings.iter().map(tool_known).collect(),
        ..Known::default()
    }
}

fn tool_known(settings: &Settings) -> ToolKnown {
    ToolKnown { material: settings.material.clone(), ..ToolKnown::default() }
}

/// The same with what the record knows of that printer; where both speak, the record is newer.
///
/// # Errors
/// If the record can't be read.
pub fn recorded(mut known: Known, reader: &Reader, printer: &PrinterName) -> Result<Known, StoreError> {
    known.printer = Some(printer.clone());
    if let Some(row) = reader.printers()?.into_iter().find(|row| row.name == *printer) {
        known.hot_end.get_or_insert(row.hot_end);
        let n_tools = *known.n_tools.get_or_insert(row.n_tools);
        known.tools.resize_with(n_tools.max(known.tools.len()), ToolKnown::default);
    }
    for change in reader.settings_changes(printer)?.into_iter().map(|row| row.change) {
        if let Some((tool, material)) = known.tools.get_mut(change.tool.idx()).zip(change.settings.material) {
            tool.material = Some(material);
        }
    }
    for (number, habit) in habits(reader, printer)? {
        if let Some(tool) = known.tools.get_mut(number.idx()) {
            tool.retraction = Some(habit);
        }
    }
    Ok(known)
}

/// What each tool's past prints drew back, as far as that is known.
fn habits(reader: &Reader, printer: &PrinterName) -> Result<Vec<(ToolNumber, Habit)>, StoreError> {
    let mut lengths: Vec<(ToolNumber, f64)> = runs(reader)?
        .into_iter()
        .filter(|run| run.printer == *printer)
        .filter_map(|run| run.run.features.retract.map(|length| (run.tool, length.get())))
        .collect();
    lengths.sort_by(|(tool, a), (other, b)| tool.cmp(other).then(a.total_cmp(b)));
    let habit = |of: &[(ToolNumber, f64)]| {
        let length = |at: usize| of.get(at).map(|(_, length)| Millimetres::new(*length));
        let (tool, _) = *of.first()?;
        let (low, median, high) = (length(0)?, length(of.len() / 2)?, length(of.len() - 1)?);
        Some((tool, Habit { low, median, high, n: of.len() }))
    };
    Ok(lengths.chunk_by(|(a, _), (b, _)| a == b).filter_map(habit).collect())
}

/// The last part of a path, as people call the file.
#[must_use]
pub fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobfile::{LineFault, Unread};
    use crate::preflight::sample::lantern;

    fn refused(change: impl FnOnce(&mut JobOutline)) -> Option<String> {
        let mut outline = lantern();
        (outline.begins, outline.unread) = (None, Unread::default());
        change(&mut outline);
        must_be_a_job(&outline).err().map(|refusal| refusal.to_string())
    }

    #[test]
    fn a_text_without_a_command_and_a_picture_are_no_job_files() {
        let empty = |outline: &mut JobOutline| {
            outline.tools.clear();
            outline.ends = dwell_analysis::units::Seconds::ZERO;
        };
        assert_eq!(refused(|_| ()), None, "a job that only heats is one");
        let prose = refused(|outline| {
            empty(outline);
            outline.unread.macros = vec![("DEAR".to_owned(), 1)];
        });
        assert!(prose.is_some_and(|why| why.contains("of 4567 lines none")));
        let picture = refused(|outline| outline.unread.faults = vec![(LineFault::NotAWord, 4000, 3)]);
        assert!(picture.is_some_and(|why| why.contains("4000 of 4567 lines can't be read, the first is line 3")));
        let long_lines = refused(|outline| outline.unread.faults = vec![(LineFault::TooLong, 4000, 3)]);
        assert_eq!(long_lines, None);
    }
}
